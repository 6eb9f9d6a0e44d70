"""Numbers without gaps: taken inside the transaction that uses them.

A number that is taken in a transaction which does not commit was never taken. The row
of the series is locked until then, so two people never get the same one. What the
numbers begin with may change: the series counts on.
"""

from datetime import date

from sqlalchemy import select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from quoting.domain.errors import RuleError, translatable
from quoting.store.models import Series

#: A number has no more signs than a document's may have (common practice, no source).
MOST_SIGNS = 16


class BackDatedError(RuleError):
    """A paper would be dated before the last one of its series."""

    message = translatable(
        "The last number of this series is of {last}; a paper of {on} would stand "
        "after it with an earlier day. Use {last} or later."
    )


class NumberTooLongError(RuleError):
    """The count of a series has grown, and what stands before it leaves no room."""

    message = translatable(
        "{number} has more than {most} signs. Have the numbers of the series {series} "
        "begin with less than {start}: shop.toml says with what."
    )


def written(start: str, count: int) -> str:
    """Return a number: what it begins with, a dash, at least five digits.

    >>> written("2027/I", 12)
    '2027/I-00012'
    """
    return f"{start}-{count:05}"


def take(session: Session, series: str, on: date, start: str) -> str:
    """Take the next number of a series.

    Args:
        session: of the transaction that issues the paper.
        series: its name, such as ``credit note``.
        on: day of the paper.
        start: what the number begins with.

    Raises:
        BackDatedError: *on* is before the day of the last number; none is taken.
        NumberTooLongError: it has more than ``MOST_SIGNS``; none is taken.

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
    number = written(start, row.next)
    if len(number) > MOST_SIGNS:
        raise NumberTooLongError(
            number=number, most=MOST_SIGNS, series=series, start=start
        )
    row.next, row.last_on = row.next + 1, on
    session.flush()
    return number


def _first(session: Session, series: str) -> None:
    on_file = session.get_bind().dialect.name == "sqlite"
    insert = sqlite.insert if on_file else postgresql.insert
    session.execute(
        insert(Series)
        .values(name=series, next=1, last_on=None)
        .on_conflict_do_nothing()
    )
