"""The till at the end of a day: expected, counted, taken to the bank."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.domain.errors import RuleError, translatable
from quoting.store.models import (
    CashCount,
    Entry,
)
from quoting.workflow import journal, numbers, quotes, rates
from quoting.workflow.payments import MoreThanHeldError
from quoting.workflow.quotes import Now


class DiffersError(RuleError):
    """The till holds other than is expected, and nobody says why."""

    message = translatable(
        "{counted} is counted and {expected} is expected: say why in the note."
    )


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
        DiffersError: it is not what is expected, and *note* is empty.
    """
    expected = expected_cash(session)
    currency = rates.in_force(session, now.on).edition.currency
    money = currency.from_minor
    if not 0 <= banked <= counted:
        raise MoreThanHeldError(
            given=money(banked), left=money(counted), what="the cash that was counted"
        )
    if counted != expected and not note.strip():
        raise DiffersError(counted=money(counted), expected=money(expected))
    number = numbers.take(session, "cash count", now.on)
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
