"""What parts cost and sell for, from a day on: prices newer than the edition's.

A price that an offer was made with stays what it was, so that the offer can always be
worked out again. Functions take a session of a transaction and never commit.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import AskedPart, Job
from quoting.domain.money import ONE
from quoting.domain.pricing import price
from quoting.domain.rates import Part
from quoting.store.models import PartPrice, Quote, Revision, Way, WayLine
from quoting.workflow import rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now, note
from quoting.workflow.search import fold

#: Kinds of line that a part stands on.
_KINDS = ("part", "exchange")


class NoPriceError(RuleError):
    """Neither price nor cost is said."""

    message = translatable("Say what the part sells for, what it costs, or both.")


class OlderPriceError(RuleError):
    """A price would begin before the one that holds now."""

    message = translatable(
        "{part} has a price of {on} already: let the new one begin on that day or "
        "later."
    )


class OfferedWithError(RuleError):
    """An offer was made with the price that holds on a day."""

    message = translatable(
        "{quote} of {on} was priced with {part}: let the new price begin after that "
        "day."
    )


@dataclass(frozen=True, slots=True)
class NewPrice:
    """What a part sells for and costs from a day on, in the shop's currency.

    Attributes:
        price: list price of one; None: what one costs, with the mark-up.
        cost: what one costs the shop; None: what it cost before.
        supplier: where it is bought; empty: where it was bought before.
    """

    part: str
    valid_from: date
    price: Decimal | None = None
    cost: Decimal | None = None
    supplier: str = ""


class Listed(NamedTuple):
    """A part with the price of a day, and the prices that are still to come."""

    part: Part
    coming: tuple[PartPrice, ...] = ()


def listed(session: Session, on: date, sought: str = "") -> list[Listed]:
    """Return the parts that every word of *sought* begins a word of.

    Args:
        session: of a transaction.
        on: the day of the prices.
        sought: words of code, name, supplier or other words for it; empty: all parts.

    Raises:
        NoEditionError: no rate tables are in force.
    """
    coming: dict[str, tuple[PartPrice, ...]] = {}
    for row in _rows(session):
        if row.valid_from > on:
            coming[row.part] = (*coming.get(row.part, ()), row)
    terms = fold(sought)
    return [
        Listed(part, coming.get(part.code, ()))
        for part in rates.in_force(session, on).edition.parts.values()
        if _is_meant(part, terms)
    ]


def _rows(session: Session) -> Sequence[PartPrice]:
    return session.scalars(select(PartPrice).order_by(PartPrice.valid_from)).all()


def _is_meant(part: Part, terms: Sequence[str]) -> bool:
    texts = (part.code, part.name, part.supplier, *part.aliases)
    words = [word for text in texts for word in fold(text)]
    return all(any(word.startswith(term) for word in words) for term in terms)


def selling(edition: Edition, parts: Iterable[Part], on: date) -> dict[str, Decimal]:
    """Return by code what one of each part sells for, without any discount.

    A part with neither price nor cost is left out.
    """
    asked = tuple(
        AskedPart(part.code, quantity=ONE)
        for part in parts
        if (part.price, part.cost) != (None, None)
    )
    lines = price(edition, Job((), parts=asked), on).lines
    return {
        line.code: line.unit_price
        for line in lines
        if line.kind in _KINDS and line.unit_price is not None
    }


def enter(session: Session, new: NewPrice, now: Now) -> PartPrice:
    """Keep the price of a part from a day on; one of the same day is corrected.

    Raises:
        NoSuchRecordError: there is no such part.
        NoPriceError: neither price nor cost is said.
        OlderPriceError: the price that holds now is of a later day.
        OfferedWithError: something was offered with the part on that day or since.
    """
    edition = rates.in_force(session, now.on).edition
    part = edition.parts.get(new.part)
    if part is None:
        raise NoSuchRecordError(what="part", key=new.part)
    if new.price is None and new.cost is None:
        raise NoPriceError
    if new.valid_from < part.as_of:
        raise OlderPriceError(part=part.name, on=part.as_of.isoformat())
    _check_not_offered(session, part, new.valid_from)
    row = session.scalars(
        select(PartPrice).where(
            PartPrice.part == new.part, PartPrice.valid_from == new.valid_from
        )
    ).one_or_none()
    old = "" if row is None else _told(row)
    if row is None:
        row = PartPrice(part=new.part, valid_from=new.valid_from)
        session.add(row)
    minor = edition.currency.to_minor
    row.price = None if new.price is None else minor(new.price)
    row.cost = None if new.cost is None else minor(new.cost)
    row.currency, row.supplier = edition.currency.code, new.supplier
    session.flush()
    note(
        session,
        "part price",
        row.id,
        now,
        "part price corrected" if old else "part price entered",
        old=old,
        new=_told(row),
    )
    return row


def _check_not_offered(session: Session, part: Part, since: date) -> None:
    offered = session.execute(
        select(Quote.number, Revision.on)
        .join(Revision, Revision.quote_id == Quote.id)
        .join(Way, Way.revision_id == Revision.id)
        .join(WayLine, WayLine.way_id == Way.id)
        .where(
            Revision.on >= since,
            WayLine.kind.in_(_KINDS),
            WayLine.code == part.code,
        )
        .order_by(Revision.on.desc(), Quote.id.desc())
        .limit(1)
    ).first()
    if offered is not None:
        day = offered.on.isoformat()
        raise OfferedWithError(quote=offered.number, on=day, part=part.name)


def _told(row: PartPrice) -> str:
    told = [f"{row.part} from {row.valid_from.isoformat()}"]
    for name, minor in (("price", row.price), ("cost", row.cost)):
        if minor is not None:
            told.append(f"{name} {minor} of the smallest unit of {row.currency}")
    return ", ".join([*told, *([row.supplier] if row.supplier else [])])
