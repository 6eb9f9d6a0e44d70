"""Forms of the counter: what was typed is read, or given back with what is in its way.

A form is sent once (its ``once`` token) and against the state that was seen (its
``version``, and as ``seen`` the last entry of the trail). When it is refused its page
is shown again: what was typed stands in it, with what others changed meanwhile.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from flask import g, redirect, request
from flask.typing import ResponseReturnValue

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import Currency
from quoting.i18n import Formats
from quoting.store.database import ChangedMeanwhileError
from quoting.web.errors import lines_of, status_of
from quoting.web.wiring import wiring

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

_Choice = TypeVar("_Choice", bound=StrEnum)

#: No sum of a workshop is longer; it keeps figures within what is counted exactly.
MOST = Decimal(10_000_000)
_MOST_DIGITS = 12


class UnreadableDayError(RuleError):
    """A day is written in no way that is read."""

    message = translatable("{text!r} is no day; write it like 2026-12-24.")


class UnreadableHourError(RuleError):
    """An instant is written in no way that is read."""

    message = translatable("{text!r} is no day and time; write it like {example}.")


class NoSuchAmountError(RuleError):
    """An amount is negative, nothing, or endless."""

    message = translatable("An amount is more than nothing and below {most}.")


class MissingError(RuleError):
    """Something that cannot be left empty is empty."""

    message = translatable("{what}: say it first.")


@dataclass(frozen=True, slots=True)
class Sent:
    """A form that was sent and refused; empty where a page is only looked at.

    Attributes:
        form: its name on the page.
        said: why it was refused.
        changed: it was typed against a state that others changed.
        seen: the last entry of the trail that was seen when it was typed.
    """

    form: str = ""
    said: tuple[str, ...] = ()
    changed: bool = False
    seen: int = 0

    def typed(self, form: str, name: str, default: object = "") -> str:
        """Return what was typed into a field, or else its default."""
        given = request.form.get(name, "") if form == self.form else default
        return "" if given is None else str(given)

    def chosen(self, form: str, name: str, value: object, *, default: bool) -> bool:
        """Tell whether a box stood checked, or else whether it does by default."""
        if form != self.form:
            return default
        return str(value) in request.form.getlist(name)


def send(
    form: str,
    do: "Callable[[Session], str]",
    again: Callable[[Sent], str],
) -> ResponseReturnValue:
    """Do in one transaction what a form asks for, or show its page again.

    Args:
        form: its name on the page.
        do: does it and returns where it leads; not called for a form sent before.
        again: returns the page with the form as it was sent.
    """
    try:
        with wiring().transaction() as session:
            address = wiring().once(session, lambda: do(session))
    except RuleError as error:
        changed = isinstance(error, ChangedMeanwhileError)
        said = tuple(lines_of(error))
        return again(Sent(form, said, changed, number("seen"))), status_of(error)
    return redirect(address, 303)


# Reading.


def text(name: str) -> str:
    """Return what was typed, without the space around it."""
    return request.form.get(name, "").strip()


def needed(name: str, what: str) -> str:
    """Return what was typed.

    Raises:
        MissingError: it is empty; *what* says what belongs there.
    """
    if given := text(name):
        return given
    raise MissingError(what=what)


def number(name: str) -> int:
    """Return a key or count; 0 where there is none."""
    given = text(name)
    digits = given.isascii() and given.isdecimal() and len(given) < _MOST_DIGITS
    return int(given) if digits else 0


def day(name: str) -> date | None:
    """Return a day; None where none was typed.

    Raises:
        UnreadableDayError: it is none.
    """
    given = text(name)
    try:
        return date.fromisoformat(given) if given else None
    except ValueError:
        raise UnreadableDayError(text=given) from None


def instant(name: str) -> datetime:
    """Return an instant, typed as the shop's clock shows it; empty: now.

    Raises:
        UnreadableHourError: it is none.
    """
    given = text(name)
    if not given:
        return wiring().clock()
    try:
        return datetime.fromisoformat(given).replace(tzinfo=_zone())
    except ValueError:
        example = clock_face(wiring().clock())
        raise UnreadableHourError(text=given, example=example) from None


def amount(name: str, formats: Formats) -> Decimal | None:
    """Return an amount as the shop writes it; None where none was typed.

    Raises:
        RuleError: as ``figure``.
    """
    given = text(name)
    return figure(given, formats) if given else None


def figure(given: str, formats: Formats) -> Decimal:
    """Return the amount of money that a text writes.

    Raises:
        UnreadableFigureError: it is no figure.
        TooFineError: the currency has no such coin.
        NoSuchAmountError: it is not above nothing.
    """
    read = formats.read(given)
    if not 0 < read < MOST:
        raise NoSuchAmountError(most=formats.amount(MOST))
    formats.currency.to_minor(read)
    return read


def choice(name: str, choices: type[_Choice], what: str) -> _Choice:
    """Return which of *choices* was chosen.

    Raises:
        MissingError: none of them.
    """
    given = text(name)
    for one in choices:
        if one.value == given:
            return one
    raise MissingError(what=what)


# Showing.


@dataclass(frozen=True, slots=True)
class Shows:
    """How a page writes the shop's money, days and hours."""

    formats: Formats

    @property
    def currency(self) -> Currency:
        """Return the shop's currency."""
        return self.formats.currency

    def minor(self, units: int) -> str:
        """Return an amount that is kept in the smallest unit."""
        return self.formats.money(self.currency.from_minor(units))

    def bare(self, units: int | None) -> str:
        """Return such an amount as it is typed; empty for none."""
        return (
            ""
            if units is None
            else self.formats.amount(self.currency.from_minor(units))
        )

    def date(self, on: date | None) -> str:
        """Return a day in words; empty for none."""
        return self.formats.date(on) if on else ""

    def minutes(self, kept: str) -> str:
        """Return minutes that are kept as an exact figure; empty for none."""
        figure = Decimal(kept or 0)
        return self.formats.minutes(figure) if figure else ""

    def when(self, at: datetime) -> str:
        """Return an instant as the shop's calendar and clock have it."""
        local = at.astimezone(_zone())
        return f"{self.formats.date(local.date())}, {local:%H:%M}"


def shows(edition: Edition) -> Shows:
    """Return how the pages of a shop write."""
    return Shows(Formats(edition.shop.locale, edition.currency))


def pairs(choices: Iterable[str]) -> list[tuple[str, str]]:
    """Return choices as a list to pick from has them: value and words."""
    return [(str(one), str(one)) for one in choices]


def clock_face(at: datetime) -> str:
    """Return an instant as a field for day and time takes it."""
    return f"{at.astimezone(_zone()):%Y-%m-%dT%H:%M}"


def _zone() -> ZoneInfo:
    return ZoneInfo(g.get("zone", "UTC"))
