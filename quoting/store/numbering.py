"""Numbers without gaps: taken inside the transaction that uses them.

A number that is taken in a transaction which does not commit was never taken. The row
of the series is locked until then, so two people never get the same one.
"""

from datetime import date

from sqlalchemy import select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from quoting.domain.errors import RuleError, translatable
from quoting.store.models import Series

#: What each series puts before its number (common practice, no source).
MASKS = {
    "quote": "Q-{:05}",
    "order": "W-{:05}",
    "receipt": "D-{:05}",
    "invoice": "I-{:05}",
    "deposit invoice": "A-{:05}",
    "credit note": "C-{:05}",
    "payment": "P-{:05}",
    "refund": "R-{:05}",
    "given up": "G-{:05}",
    "deposit settled": "S-{:05}",
    "surcharge kept": "K-{:05}",
    "cash count": "T-{:05}",
}


class BackDatedError(RuleError):
    """A paper would be dated before the last one of its series."""

    message = translatable(
        "The last number of this series is of {last}; a paper of {on} would stand "
        "after it with an earlier day. Use {last} or later."
    )


def take(session: Session, series: str, on: date) -> str:
    """Take the next number of a series.

    Args:
        session: of the transaction that issues the paper.
        series: a key of ``MASKS``.
        on: day of the paper.

    Raises:
        BackDatedError: *on* is before the day of the last number; none is taken.

    Source:
        Council Directive 2006/112/EC, Art. 226(2): a sequential number, based on one
        or more series, which uniquely identifies the document.
    """
    _first(session, series)
    row = session.scalars(
        select(Series).where(Series.name == series).with_for_update()
    ).one()
    if row.last_on is not None and on < row.last_on:
        raise BackDatedError(last=row.last_on.isoformat(), on=on.isoformat())
    number = row.next
    row.next, row.last_on = number + 1, on
    session.flush()
    return MASKS[series].format(number)


def _first(session: Session, series: str) -> None:
    on_file = session.get_bind().dialect.name == "sqlite"
    insert = sqlite.insert if on_file else postgresql.insert
    session.execute(
        insert(Series)
        .values(name=series, next=1, last_on=None)
        .on_conflict_do_nothing()
    )
