"""The numbers of papers, as the rate tables of their day write them."""

from datetime import date

from sqlalchemy.orm import Session

from quoting.store import numbering
from quoting.workflow import rates


def take(session: Session, series: str, on: date) -> str:
    """Take the next number of a series.

    Args:
        session: of the transaction that issues the paper.
        series: its name: ``quote``, ``credit note`` ..., as the keys of shop.toml that
            begin with ``number_`` have it.
        on: day of the paper.

    Raises:
        BackDatedError, NumberTooLongError: as ``store.numbering.take``.
        NoEditionError: no rate tables are in force on that day.
    """
    start = rates.shop_on(session, on).number_start(series)
    return numbering.take(session, series, on, start)
