"""What a view needs: the records, the clock, who is there, the edition in force.

A view opens the transaction (``with wiring().transaction() as session:``) and hands
the session down; nothing below commits. ``wiring()`` works inside a request.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, cast
from zoneinfo import ZoneInfo

from flask import Flask, current_app, g, request
from sqlalchemy.orm import Session

from quoting.settings import Settings
from quoting.store.database import Database
from quoting.workflow import once, rates
from quoting.workflow.people import Person
from quoting.workflow.quotes import Now
from quoting.workflow.rates import InForce

Clock = Callable[[], datetime]

_NAME = "quoting"


def clock() -> datetime:
    """Return this instant."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Begun(AbstractContextManager[Session]):
    """A reading transaction that the gate began, for the view to go on with."""

    session: Session
    rest: ExitStack

    def __enter__(self) -> Session:
        """Return its session."""
        return self.session

    def __exit__(self, *raised: Any) -> bool | None:
        """End the transaction."""
        return self.rest.__exit__(*raised)


@dataclass(frozen=True, slots=True)
class Wiring:
    """The parts of one running app.

    Attributes:
        clock: returns an aware instant; tests give their own.
    """

    database: Database
    settings: Settings
    clock: Clock

    def transaction(self) -> AbstractContextManager[Session]:
        """Open a transaction that commits when its block ends; see ``Database``."""
        self.let_go()
        return self.database.transaction()

    def reading(self) -> AbstractContextManager[Session]:
        """Open a transaction that only reads, or go on with the one of the gate."""
        return self._begun() or self.database.reading()

    def go_on_with(self, session: Session, rest: ExitStack) -> None:
        """Leave a reading transaction to the view, which need not begin its own."""
        g.begun = Begun(session, rest)

    def let_go(self) -> None:
        """End what the gate began and no view went on with."""
        if begun := self._begun():
            begun.rest.close()

    def _begun(self) -> Begun | None:
        return cast(Begun | None, g.pop("begun", None))

    @property
    def person(self) -> Person | None:
        """Return who is signed in, or the bench device; None: nobody."""
        return cast(Person | None, g.get("person"))

    @property
    def who(self) -> str:
        """Return the name under which something is done; empty: nobody is there."""
        return self.person.name if self.person else ""

    def today(self) -> date:
        """Return the shop's own calendar day."""
        return self.day(self.clock())

    def day(self, at: datetime) -> date:
        """Return the shop's calendar day of an instant."""
        return at.astimezone(ZoneInfo(g.get("zone", "UTC"))).date()

    def now(self) -> Now:
        """Return who is doing something and when, as the workflow asks for it."""
        return Now(who=self.who, at=self.clock(), on=self.today())

    def once(self, session: Session, make: Callable[[], str]) -> str:
        """Return the address of what a form makes, made once however often it is sent.

        Args:
            session: of the transaction that makes it.
            make: makes it and returns its address; not called for a form that was
                sent before.
        """
        token = request.form.get("once", "")
        made = once.already(session, token)
        if made is None:
            made = make()
            once.remember(session, token, made, at=self.clock())
        return made

    def edition(self, on: date | None = None) -> InForce:
        """Return the edition in force on a day, the shop's today if none is given.

        Raises:
            NoEditionError: there is none.
        """
        with self.reading() as session:
            return rates.in_force(session, on or self.today())


def wire(app: Flask, parts: Wiring) -> None:
    """Give an app its parts."""
    app.extensions[_NAME] = parts


def wiring() -> Wiring:
    """Return the parts of the app that answers this request."""
    return cast(Wiring, current_app.extensions[_NAME])
