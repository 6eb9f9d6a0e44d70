"""Drafts of an edition: the one in force with other minutes, and what that changes.

A draft is a whole, checked edition. It prices nothing before the owner puts it in force
from a day. Functions take a session of a transaction and never commit.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import reduce
from itertools import chain, count
from statistics import median_low
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import HUNDRED, ONE, ZERO, round_to
from quoting.domain.pricing import Priced, price
from quoting.domain.rates import Operation
from quoting.files import job_document
from quoting.files.edits import CsvFile, with_key
from quoting.store.models import Quote, RateEdition, Revision, Way
from quoting.workflow import rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now, note

#: Longer than this nobody stands at one operation; a figure above it is a slip.
MOST_MINUTES = 10_000
#: So many of the last quotes show what a draft changes.
LAST_QUOTES = 60

#: New minutes by column, by what tells the rows of their table apart.
_Minutes = Mapping[tuple[str, ...], Mapping[str, Decimal]]

_FINEST = Decimal("0.001")
_TENTH = Decimal("0.1")
_SIXTY = Decimal(60)
_SHOP, _OPERATIONS, _CLASSES = "shop.toml", "operations.csv", "class_prices.csv"
_TIMES_OF = re.compile(r", times of \d{4}-\d{2}-\d{2}( \(\d+\))?$")


class AbsurdMinutesError(RuleError):
    """Minutes are negative, or more than anybody works at one operation."""

    message = translatable(
        "{operation}: {minutes} minutes are not between 0 and {most}."
    )


class NamedTwiceError(RuleError):
    """Two new times are given for one operation."""

    message = translatable("{operation} has new times twice: say which count.")


class NothingChangedError(RuleError):
    """Every minute stands in the tables already."""

    message = translatable(
        "These are the minutes of {edition} already: there is nothing to draft."
    )


class NoDraftError(RuleError):
    """An edition is no draft any more."""

    message = translatable("{edition} is no draft any more.")


class PastDayError(RuleError):
    """A draft would come into force on a day that has been priced by another."""

    message = translatable(
        "Prices of days before {today} are told already: put it in force from today "
        "or a later day."
    )


class OvertakenError(RuleError):
    """On the day of a draft another edition is in force than it was made of."""

    message = translatable(
        "On {day} {other} is in force, and this draft was made of {edition}: it would "
        "take back what changed since. Draft the times anew."
    )


@dataclass(frozen=True, slots=True)
class NewTimes:
    """Minutes of an operation, rounded to a thousandth; None: as they are."""

    operation: str
    setup: Decimal | None = None
    unit: Decimal | None = None


class Sums(NamedTuple):
    """What a job takes and comes to.

    Attributes:
        minutes: of shop time.
        cost: of its labour, in the shop's currency.
        price: before tax, in the shop's currency.
    """

    minutes: Decimal = ZERO
    cost: Decimal = ZERO
    price: Decimal = ZERO

    def plus(self, other: "Sums") -> "Sums":
        """Return both together."""
        return Sums(
            self.minutes + other.minutes,
            self.cost + other.cost,
            self.price + other.price,
        )

    @property
    def margin(self) -> Decimal:
        """Return what the price leaves over the labour's cost."""
        return self.price - self.cost


class Repriced(NamedTuple):
    """The first way of a quote under the edition that a draft was made of, and it."""

    quote_id: int
    number: str
    before: Sums
    after: Sums

    @property
    def weight(self) -> tuple[Decimal, Decimal]:
        """Return how far price and labour cost move."""
        return (
            abs(self.after.price - self.before.price),
            abs(self.after.cost - self.before.cost),
        )


class Retimed(NamedTuple):
    """An operation whose minutes change.

    Attributes:
        operation: as it was.
        setup: old and new minutes to set up.
        unit: old and new minutes of one unit.
        quantity: how many units a quote has of it, as a rule.
        before: what such a quantity takes and comes to on a head that no size class
            prices otherwise, the set-up with it.
        after: the same by the draft.
    """

    operation: Operation
    setup: tuple[Decimal, Decimal]
    unit: tuple[Decimal, Decimal]
    quantity: Decimal
    before: Sums
    after: Sums

    @property
    def timed(self) -> bool:
        """Tell whether its minutes make its price; else only what it leaves over."""
        return self.operation.priced_by == "time"


@dataclass(frozen=True, slots=True)
class Effect:
    """What a draft changes.

    Attributes:
        operations: whose minutes change, in process order.
        quotes: the last ones that change, those that move furthest first.
        alike: how many of the last quotes stay as they are.
        left_out: how many cannot be priced by both editions.
        before: the sums of all that can, by the edition it was made of.
        after: the same by the draft.
    """

    operations: tuple[Retimed, ...]
    quotes: tuple[Repriced, ...]
    alike: int
    left_out: int
    before: Sums
    after: Sums


def change(before: Decimal, after: Decimal) -> Decimal | None:
    """Return by how many per cent a figure moves, to a tenth; None: it was nothing.

    >>> change(Decimal(8), Decimal(9)), change(Decimal(0), Decimal(9))
    (Decimal('12.5'), None)
    """
    if not before:
        return None
    return round_to((after - before) * HUNDRED / before, _TENTH)


def draft(
    session: Session, of: Sequence[NewTimes], now: Now, *, why: str
) -> RateEdition:
    """Keep the edition in force with other minutes as a draft.

    Where a size class has minutes of its own, they change in the same proportion; they
    stay where the operation itself had none. Nothing else in the files changes but
    the edition's name and day.

    Args:
        session: of the transaction.
        of: the new minutes, one entry for an operation.
        now: who drafts it, and when.
        why: where the minutes come from.

    Raises:
        NoSuchRecordError: there is no such operation.
        AbsurdMinutesError: minutes that nobody works.
        NamedTwiceError: an operation stands there twice.
        NothingChangedError: these are the minutes already.
        ProblemsError: the tables would not hold together; nothing is kept.
    """
    current = rates.in_force(session, now.on)
    edition = current.edition
    wanted = _wanted(edition, of)
    if not wanted:
        raise NothingChangedError(edition=edition.shop.edition)
    files = rates.files_of(session.get_one(RateEdition, current.id))
    files[_OPERATIONS] = _with_minutes(edition, files[_OPERATIONS], wanted)
    if _CLASSES in files:
        by_class = _by_class(edition, wanted)
        files[_CLASSES] = _with_minutes(edition, files[_CLASSES], by_class)
    name = _name(session, edition.shop.edition, now.on)
    files[_SHOP] = with_key(_SHOP, files[_SHOP], "edition", name)
    files[_SHOP] = with_key(_SHOP, files[_SHOP], "valid_from", now.on)
    row = RateEdition(draft=True, made_of_id=current.id, imported=now.at)
    rates.fill(row, files)
    session.add(row)
    session.flush()
    note(
        session,
        "edition",
        row.id,
        now,
        "edition drafted",
        old=edition.shop.edition,
        new=row.name,
        why=why,
    )
    return row


def _wanted(edition: Edition, of: Sequence[NewTimes]) -> _Minutes:
    """Return the minutes that differ from those of the tables."""
    wanted: dict[tuple[str, ...], dict[str, Decimal]] = {}
    for new in of:
        operation = edition.operations.get(new.operation)
        if operation is None:
            raise NoSuchRecordError(what="operation", key=new.operation)
        if (new.operation,) in wanted:
            raise NamedTwiceError(operation=operation.name)
        wanted[new.operation,] = dict(_differing(operation, new))
    return {key: minutes for key, minutes in wanted.items() if minutes}


def _differing(operation: Operation, new: NewTimes) -> Iterator[tuple[str, Decimal]]:
    for column, given in (("setup_minutes", new.setup), ("unit_minutes", new.unit)):
        if given is None:
            continue
        if not (given.is_finite() and 0 <= given <= MOST_MINUTES):
            raise AbsurdMinutesError(
                operation=operation.name, minutes=given, most=MOST_MINUTES
            )
        minutes = round_to(given, _FINEST)
        if minutes != getattr(operation, column):
            yield column, minutes


def _by_class(edition: Edition, wanted: _Minutes) -> _Minutes:
    """Return the minutes of size classes, changed in proportion."""
    return {
        (code, size_class): {
            column: round_to(own * minutes / listed, _FINEST)
            for column, minutes in wanted.get((code,), {}).items()
            if (own := getattr(row, column)) is not None
            and (listed := getattr(edition.operations[code], column))
        }
        for (code, size_class), row in edition.class_prices.items()
    }


def _with_minutes(edition: Edition, content: bytes, wanted: _Minutes) -> bytes:
    """Return a table with other minutes in the rows that are wanted."""
    table = CsvFile(content)
    keys = ("code",) if "code" in table.header else ("operation", "size_class")
    for place, row in enumerate(table.rows()):
        key = tuple(row.get(column, "") for column in keys)
        for column, minutes in wanted.get(key, {}).items():
            figure = f"{minutes.normalize():f}"
            table.put(place, column, figure.replace(".", edition.shop.decimal_mark))
    return table.content


def _name(session: Session, made_of: str, on: date) -> str:
    """Return a name that no other edition has."""
    stem = f"{_TIMES_OF.sub('', made_of)}, times of {on.isoformat()}"
    taken = set(session.scalars(select(RateEdition.name)))
    names = chain([stem], (f"{stem} ({number})" for number in count(2)))
    return next(name for name in names if name not in taken)


def every(session: Session) -> Sequence[RateEdition]:
    """Return all editions, drafts too, the latest first day first."""
    days = RateEdition.valid_from.desc(), RateEdition.id.desc()
    return session.scalars(select(RateEdition).order_by(*days)).all()


def made(session: Session, edition_id: int) -> RateEdition:
    """Return an edition that was made of another, a draft or put in force.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(RateEdition, edition_id)
    if row is None or row.made_of_id is None:
        raise NoSuchRecordError(what="draft of an edition", key=edition_id)
    return row


def put_in_force(
    session: Session, row: RateEdition, valid_from: date, now: Now
) -> None:
    """Let a draft hold from a day on; from then on it never changes.

    Raises:
        NoDraftError: it holds already.
        PastDayError: the day is past.
        OvertakenError: another edition than it was made of is in force on that day.
        ProblemsError: the tables do not hold together on that day.
    """
    _check_draft(row)
    if valid_from < now.on:
        raise PastDayError(today=now.on.isoformat())
    there = rates.in_force(session, valid_from)
    if there.id != row.made_of_id:
        raise OvertakenError(
            day=valid_from.isoformat(),
            other=there.edition.shop.edition,
            edition=row.made_of.name if row.made_of else "",
        )
    files = rates.files_of(row)
    files[_SHOP] = with_key(_SHOP, files[_SHOP], "valid_from", valid_from)
    rates.fill(row, files)
    row.draft = False
    session.flush()
    day = valid_from.isoformat()
    new = f"{row.name}, in force from {day}"
    note(session, "edition", row.id, now, "draft put in force", old="draft", new=new)


def throw_away(session: Session, row: RateEdition, now: Now) -> None:
    """Take a draft out of the records; the trail tells that there was one.

    Raises:
        NoDraftError: it is in force.
    """
    _check_draft(row)
    note(session, "edition", row.id, now, "draft thrown away", old=row.name)
    session.delete(row)
    session.flush()


def _check_draft(row: RateEdition) -> None:
    if not row.draft:
        raise NoDraftError(edition=row.name)


# What it changes.


def effect(session: Session, row: RateEdition, on: date) -> Effect:
    """Price the first way of the last quotes again, by both editions.

    Args:
        session: of a transaction.
        row: an edition that was made of another.
        on: the day of taxes and part prices.
    """
    editions = [
        rates.edition_of(session, key, on)
        for key in (row.made_of_id, row.id)
        if key is not None
    ]
    before, after = editions
    quotes: list[Repriced] = []
    quantities: dict[str, list[Decimal]] = {}
    last = _last_jobs(session)
    for key, number, job in last:
        try:
            old, new = (
                price(edition, job_document.read(job, edition), on)
                for edition in editions
            )
        except RuleError:
            continue
        quotes.append(Repriced(key, number, _sums(old), _sums(new)))
        for code, quantity in _quantities(old).items():
            quantities.setdefault(code, []).append(quantity)
    moved = [quote for quote in quotes if quote.before != quote.after]
    return Effect(
        operations=tuple(_retimed(before, after, quantities)),
        quotes=tuple(sorted(moved, key=lambda quote: quote.weight, reverse=True)),
        alike=len(quotes) - len(moved),
        left_out=len(last) - len(quotes),
        before=_sum(quote.before for quote in quotes),
        after=_sum(quote.after for quote in quotes),
    )


class _Kept(NamedTuple):
    """The job of a quote as it is kept."""

    quote_id: int
    number: str
    job: str


def _last_jobs(session: Session) -> Sequence[_Kept]:
    revised = aliased(Revision)
    latest = (
        select(func.max(revised.number))
        .where(revised.quote_id == Quote.id)
        .scalar_subquery()
    )
    rows = session.execute(
        select(Quote.id, Quote.number, Way.job)
        .join(Revision, Revision.quote_id == Quote.id)
        .join(Way, Way.revision_id == Revision.id)
        .where(Revision.number == latest, Way.place == 1)
        .order_by(Quote.id.desc())
        .limit(LAST_QUOTES)
    )
    return [_Kept._make(row) for row in rows]


def _sums(priced: Priced) -> Sums:
    cost = sum((line.cost or ZERO for line in priced.lines if line.minutes), ZERO)
    return Sums(priced.totals.minutes, cost, priced.totals.net)


def _sum(sums: Iterable[Sums]) -> Sums:
    return reduce(Sums.plus, sums, Sums())


def _quantities(priced: Priced) -> Mapping[str, Decimal]:
    """Return how many units a job has of each operation."""
    counted: dict[str, Decimal] = {}
    for line in priced.lines:
        if line.kind == "labour" and line.quantity:
            counted[line.code] = counted.get(line.code, ZERO) + line.quantity
    return counted


def _retimed(
    before: Edition, after: Edition, quantities: Mapping[str, Sequence[Decimal]]
) -> Iterator[Retimed]:
    for code, old in before.operations.items():
        new = after.operations[code]
        setup = old.setup_minutes, new.setup_minutes
        unit = old.unit_minutes, new.unit_minutes
        if setup[0] == setup[1] and unit[0] == unit[1]:
            continue
        usual = median_low(quantities.get(code, (ONE,)))
        both = (_usual(edition, old, usual) for edition in (before, after))
        yield Retimed(old, setup, unit, usual, *both)


def _usual(edition: Edition, operation: Operation, quantity: Decimal) -> Sums:
    """Return what a quantity of an operation takes and comes to, with its set-up."""
    rate = edition.rates("")[operation.code]
    centre = edition.work_centres[operation.work_centre]
    minutes = rate.setup + rate.each * quantity
    exact = rate.base + rate.inlet * quantity
    if rate.timed:
        exact = minutes * centre.hourly_rate / _SIXTY
    cent = edition.currency.unit
    return Sums(
        minutes,
        round_to(minutes * centre.cost_rate / _SIXTY, cent),
        round_to(max(exact, rate.minimum), cent),
    )
