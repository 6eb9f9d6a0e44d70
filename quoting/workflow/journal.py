"""Posting to the journal: the one door, and the lock of closed months."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain.journal import Posting, balanced
from quoting.domain.money import Currency
from quoting.domain.month import Month, MonthLockedError
from quoting.store.models import Entry, MonthAct
from quoting.workflow.quotes import Now

CLOSED, REOPENED, SENT = "closed", "reopened", "sent"


def last_closed(session: Session) -> Month | None:
    """Return the last month that is closed; every month before it is too."""
    row = session.scalars(
        select(MonthAct)
        .where(MonthAct.act.in_((CLOSED, REOPENED)))
        .order_by(MonthAct.id.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        return None
    month = Month.read(row.month)
    return month if row.act == CLOSED else before(month)


def before(month: Month) -> Month:
    """Return the month before another."""
    return Month(month.year - (month.month == 1), (month.month - 2) % 12 + 1)


def check_open(session: Session, on: date) -> None:
    """Refuse to change what belongs to a closed month.

    Raises:
        MonthLockedError: the month of *on* is closed.
    """
    closed = last_closed(session)
    if closed is not None and Month.of(on) <= closed:
        raise MonthLockedError(month=Month.of(on))


def post(
    session: Session,
    event: str,
    number: str,
    on: date,
    postings: Sequence[Posting],
    currency: Currency,
    now: Now,
    *,
    tax_date: date | None = None,
    customer_id: int | None = None,
    narrative: str = "",
) -> None:
    """Add an entry to the journal.

    Args:
        session: of the transaction that makes what is posted.
        event: what happened.
        number: of its document.
        on: its day.
        postings: as a function of ``domain.journal`` gives them.
        currency: of the amounts.
        now: who does it.
        tax_date: tax point, where that is another day.
        customer_id: whose.
        narrative: in words.

    Raises:
        MonthLockedError: the month of *on* is closed.
        UnbalancedError: the postings do not balance.
    """
    check_open(session, on)
    for line, posting in enumerate(balanced(postings), 1):
        tax = posting.tax
        session.add(
            Entry(
                event=event,
                document_number=number,
                line=line,
                on=on,
                tax_date=tax_date or on,
                role=posting.role,
                detail=posting.detail,
                amount=currency.to_minor(posting.amount),
                base=currency.to_minor(posting.base),
                authority=tax.authority if tax else "",
                category=tax.category if tax else "",
                rate=_rate(tax.rate) if tax else "",
                currency=currency.code,
                customer_id=customer_id,
                narrative=narrative,
                at=now.at,
                by=now.who,
            )
        )
    session.flush()


def _rate(rate: Decimal) -> str:
    return f"{rate.normalize():f}"
