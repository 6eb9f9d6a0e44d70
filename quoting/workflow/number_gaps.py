"""The numbers that a month used of each series, and the gaps between them."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from quoting.domain.invoice import Kind
from quoting.domain.month import Month, Range
from quoting.store.models import (
    CashCount,
    DepositMoved,
    DepositTaken,
    DocumentIssued,
    GivenUp,
    Payment,
    SurchargeHeld,
)


def used(session: Session, month: Month) -> tuple[Range, ...]:
    """Return the numbers of each series that a month used, with what is missing.

    Numbers count on from month to month, so the first of a month comes after the last
    one that was used before it.
    """
    found = []
    for series, query, on in _series():
        rows = session.scalars(query.where(on.between(month.first, month.last))).all()
        if rows:
            last = session.scalars(_last(query, on, month.first)).first()
            found.append(between(series, rows, last))
    return tuple(found)


def _series() -> Iterator[tuple[str, Select[Any], Any]]:
    """Yield each series: its numbers, and the day on which each was used."""
    of, moved, held = DocumentIssued, DepositMoved, SurchargeHeld
    for kind in Kind:
        yield kind, select(of.number).where(of.kind == kind), of.on
    yield "receipt", select(DepositTaken.number), DepositTaken.on
    yield "payment", select(Payment.number).where(Payment.amount >= 0), Payment.on
    yield "refund", select(Payment.number).where(Payment.amount < 0), Payment.on
    yield "given up", select(GivenUp.number), GivenUp.on
    paper = aliased(DocumentIssued)
    settled = select(moved.number).where(
        moved.number != "",
        ~select(paper.id).where(paper.number == moved.number).exists(),
    )
    yield "deposit settled", settled, moved.on
    kept = select(held.kept_number).where(held.kept_number != "")
    yield "surcharge kept", kept, held.kept_on
    yield "cash count", select(CashCount.number), CashCount.on


def _last(query: Select[Any], on: Any, first: date) -> Select[Any]:
    """Return the query for the number that was used last before a day."""
    [number] = query.selected_columns
    latest = on.desc(), func.length(number).desc(), number.desc()
    return query.where(on < first).order_by(*latest).limit(1)


def between(series: str, numbers: Sequence[str], before: str | None) -> Range:
    """Return the numbers that a series used, and those missing among them.

    Args:
        series: as it is called.
        numbers: used, in any order; at least one.
        before: the last number of before; None: these are the first.

    >>> between("invoice", ["I-00005", "I-00007"], "I-00003").missing
    ('I-00004', 'I-00006')
    """
    counted = {_count(number): number for number in numbers}
    low, high = min(counted), max(counted)
    begin = low if before is None else _count(before) + 1
    first = counted[low]
    digits = len(first) - len(first.rstrip("0123456789"))
    mask = first[: len(first) - digits]
    missing = tuple(
        f"{mask}{at:0{digits}}" for at in range(begin, high) if at not in counted
    )
    return Range(series, first, counted[high], len(counted), missing)


def _count(number: str) -> int:
    return int(number[len(number.rstrip("0123456789")) :])
