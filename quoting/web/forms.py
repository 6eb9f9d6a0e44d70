"""Forms of the counter: what was typed is read, or given back with what is in its way.

A form is sent once (its ``once`` token) and against the state that was seen (its
``version``, and as ``seen`` the last entry of the trail). When it is refused its page
is shown again: what was typed stands in it, with what others changed meanwhile.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, ClassVar, Generic, TypeVar, cast
from zoneinfo import ZoneInfo

import wtforms  # type: ignore[import-untyped]
from flask import g, redirect, request
from flask.typing import ResponseReturnValue

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import Currency
from quoting.i18n import Formats
from quoting.store.database import ChangedMeanwhileError
from quoting.store.models import TooLongError
from quoting.web.errors import TypedWrongError, lines_of, status_of
from quoting.web.wiring import wiring

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

_Choice = TypeVar("_Choice", bound=StrEnum)
_Value = TypeVar("_Value")

#: No sum of a workshop is longer; it keeps figures within what is counted exactly.
MOST = Decimal(10_000_000)
#: Of keys and counts the greatest that every database keeps.
MOST_KEY = 2**31 - 1
_MOST_DIGITS = len(str(MOST_KEY))


class UnreadableDayError(RuleError):
    """A day is written in no way that is read."""

    message = translatable("{text!r} is no day; write it like 2026-12-24.")


class UnreadableHourError(RuleError):
    """An instant is written in no way that is read."""

    message = translatable("{text!r} is no day and time; write it like {example}.")


class NoSuchAmountError(RuleError):
    """An amount is negative, nothing, or endless."""

    message = translatable("An amount is more than nothing and below {most}.")


class NothingTypedError(RuleError):
    """A field that is needed is empty; its label goes before."""

    message = translatable("say it first.")


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
        """Return what was typed into a field, or its default if it was not there."""
        given = request.form.get(name, default) if form == self.form else default
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
    return _whole(text(name)) or 0


def keys(given: Iterable[str]) -> list[int]:
    """Return the keys that texts write, each once; what is none is left out."""
    return list(dict.fromkeys(filter(None, map(_whole, given))))


def _whole(given: str) -> int | None:
    digits = given.isascii() and given.isdecimal() and len(given) <= _MOST_DIGITS
    return int(given) if digits and int(given) <= MOST_KEY else None


class NoCountError(RuleError):
    """A text is no whole number."""

    message = translatable("{text!r} is no count; write a whole number such as 0 or 8.")


def whole(name: str) -> int | None:
    """Return a count; None where none was typed.

    Raises:
        NoCountError: it is none.
    """
    given = text(name)
    if not given:
        return None
    if (read := _whole(given)) is None:
        raise NoCountError(text=given[:20])
    return read


def several(name: str) -> list[str]:
    """Return everything that was chosen of several."""
    return request.form.getlist(name)


def set_aside(form: Mapping[str, str]) -> dict[str, str]:
    """Return why rules of the tax are set aside, by their code."""
    return {
        name[6:]: text.strip()
        for name, text in form.items()
        if name.startswith("aside-") and text.strip()
    }


def names() -> list[str]:
    """Return the names of the fields that were sent."""
    return list(request.form)


def day(name: str) -> date | None:
    """Return a day; None where none was typed.

    Raises:
        UnreadableDayError: it is none.
    """
    given = text(name)
    return _day(given) if given else None


def _day(given: str) -> date:
    try:
        return date.fromisoformat(given)
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


# Forms that read all their fields at once.


class Field(wtforms.Field, Generic[_Value]):  # type: ignore[misc]
    """A field that is read strictly; what was typed stays as it was typed.

    Attributes:
        data: what was read; None where nothing was typed or it cannot be read.
        needed: whether it may not be empty.
        hint: what stands under it.
    """

    kind: ClassVar[str] = "text"
    data: _Value | None
    raw_data: list[str] | None

    def __init__(
        self, label: str, *, needed: bool = False, hint: str = "", **more: object
    ) -> None:
        super().__init__(label, **more)
        self.needed, self.hint = needed, hint

    @property
    def typed(self) -> str:
        """Return what stands in the field."""
        if self.raw_data:
            return self.raw_data[0]
        return "" if self.data is None else self.write(self.data)

    @property
    def value(self) -> _Value:
        """Return what was read of a field that is needed.

        Raises:
            NothingTypedError: nothing was.
        """
        if self.data is None:
            raise NothingTypedError
        return self.data

    @property
    def formats(self) -> Formats:
        """Return how the shop writes."""
        return cast(Formats, self.meta.formats)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed.

        Raises:
            ValueError: it cannot be read, or is missing; the words say why.
        """
        given = valuelist[0].strip() if valuelist else ""
        self.data = None
        try:
            if given:
                self.data = self.read(given)
            elif self.needed:
                raise NothingTypedError
        except RuleError as error:
            raise ValueError(str(error)) from None

    def read(self, given: str) -> _Value:
        """Return what a text that is not empty says.

        Raises:
            RuleError: it says nothing that belongs here.
        """
        raise NotImplementedError

    def write(self, value: _Value) -> str:
        """Return a value as it is typed."""
        return str(value)


class Text(Field[str]):
    """Words, no more of them than are kept."""

    def __init__(
        self,
        label: str,
        *,
        longest: int,
        needed: bool = False,
        hint: str = "",
        **more: object,
    ) -> None:
        super().__init__(label, needed=needed, hint=hint, **more)
        self.longest = longest

    def read(self, given: str) -> str:
        """Return them.

        Raises:
            TooLongError: they are more.
        """
        if len(given) > self.longest:
            shown = f"{given[:40]}..."
            raise TooLongError(given=len(given), longest=self.longest, text=shown)
        return given


class Lines(Text):
    """Words on several lines."""

    kind = "lines"


class Tick(Field[bool]):
    """A box that is ticked or not."""

    kind = "tick"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Tell whether it is."""
        self.data = bool(valuelist)


class Figure(Field[Decimal]):
    """An amount of money, as the shop writes it."""

    kind = "figure"

    def read(self, given: str) -> Decimal:
        """Return the amount.

        Raises:
            RuleError: as ``figure``.
        """
        return figure(given, self.formats)

    def write(self, value: Decimal) -> str:
        """Return the amount without its currency."""
        return self.formats.amount(value)


class Day(Field[date]):
    """A day."""

    kind = "date"

    def read(self, given: str) -> date:
        """Return the day.

        Raises:
            UnreadableDayError: it is none.
        """
        return _day(given)


class Choice(Field[str]):
    """One of several; ``choices`` holds the value and the words of each.

    Attributes:
        choices: set them on the form before it is checked.
    """

    kind = "choice"
    choices: list[tuple[str, str]]

    def read(self, given: str) -> str:
        """Return the value."""
        return given

    def pre_validate(self, _form: "Form") -> None:
        """Refuse what is none of the choices.

        Raises:
            ValidationError: it is none.
        """
        if self.data is not None and self.data not in dict(self.choices):
            self.data = None
            raise wtforms.ValidationError(str(NothingTypedError()))


class Form(wtforms.Form):  # type: ignore[misc]
    """A form of ``Field``s; a page gives it to the macro ``field``.

    Attributes:
        name: its name on the page, as ``send`` and ``Sent`` have it.
    """

    name: ClassVar[str]

    def __init__(self, formats: Formats, sent: Sent, **defaults: object) -> None:
        typed = request.form if sent.form == self.name else None
        super().__init__(typed, data=defaults, meta={"formats": formats})

    def check(self) -> None:
        """Refuse the form unless every field can be taken.

        Raises:
            TypedWrongError: with every problem.
        """
        if not self.validate():
            raise TypedWrongError(
                f"{field.label.text}: {problem}"
                for field in self
                for problem in field.errors
            )


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

    def country(self, code: str) -> str:
        """Return the name of a country; empty for none."""
        return str(self.formats.locale.territories.get(code, code))

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
