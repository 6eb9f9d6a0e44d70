"""The till at the end of a day: expected, counted, taken to the bank."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.store import numbering
from quoting.store.models import (
    CashCount,
    Entry,
)
from quoting.workflow import journal, quotes, rates
from quoting.workflow.payments import MoreThanHeldError, NoReasonError
from quoting.workflow.quotes import Now


def expected_cash(session: Session) -> int:
    """Return what should lie in the till, in the smallest unit."""
    return int(
        session.scalar(
            select(func.coalesce(func.sum(Entry.amount), 0)).where(
                Entry.role == posting.Role.MONEY, Entry.detail == posting.CASH
            )
        )
        or 0
    )


def count_cash(
    session: Session, counted: int, banked: int, note: str, now: Now
) -> CashCount:
    """Write down what the till holds at the end of a day, and what goes to the bank.

    Raises:
        MonthLockedError: the month is closed.
        MoreThanHeldError: more is banked than was counted.
        NoReasonError: it differs from what is expected, and *note* is empty.
    """
    expected = expected_cash(session)
    if not 0 <= banked <= counted:
        raise MoreThanHeldError(given=banked, left=counted, what="cash")
    if counted != expected and not note.strip():
        raise NoReasonError
    currency = rates.in_force(session, now.on).edition.currency
    number = numbering.take(session, "cash count", now.on)
    money = currency.from_minor
    journal.post(
        session,
        "cash count",
        number,
        now.on,
        posting.of_cash_count(money(counted - expected), money(banked)),
        currency,
        now,
        narrative=note,
    )
    row = CashCount(
        number=number,
        on=now.on,
        currency=currency.code,
        counted=counted,
        expected=expected,
        banked=banked,
        note=note.strip(),
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    quotes.note(
        session,
        "cash count",
        row.id,
        now,
        "cash counted",
        old=str(money(expected)),
        new=str(money(counted)),
        why=note,
    )
    return row


def cash_counts(session: Session, most: int = 30) -> list[CashCount]:
    """Return how the till was counted, the latest first."""
    return list(
        session.scalars(select(CashCount).order_by(CashCount.id.desc()).limit(most))
    )
