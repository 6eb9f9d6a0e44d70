"""Debts given up: written off, relieved of their tax, or let go for paying early.

Amounts are in the smallest unit of the currency of the invoice.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from enum import StrEnum

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.domain.allocation import within
from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import (
    Kind,
)
from quoting.domain.money import ZERO
from quoting.domain.tax import Group
from quoting.store.models import (
    DocumentIssued,
    GivenUp,
)
from quoting.workflow import invoices, journal, numbers, quotes, rates
from quoting.workflow.payments import MoreThanHeldError, NoReasonError
from quoting.workflow.quotes import Now


class NothingOwedError(RuleError):
    """A document is paid, credited or given up already."""

    message = translatable("Nothing is owed on {number} any more.")


class GaveUp(StrEnum):
    """How a debt was let go."""

    WRITE_OFF = "write-off"
    RELIEF = "relief"
    SETTLEMENT = invoices.SETTLEMENT


def write_off(
    session: Session, document: DocumentIssued, why: str, now: Now
) -> GivenUp:
    """Write off what is still owed on an invoice; its tax stays due.

    Raises:
        MonthLockedError: the month is closed.
        NoReasonError: *why* is empty.
        NothingOwedError: nothing is owed.
    """
    gross = document.left
    owes(session, document, gross)
    currency = invoices.content(session, document.id).currency
    row = _give_up(session, GaveUp.WRITE_OFF, document, gross, 0, why, now)
    journal.post(
        session,
        row.how,
        row.number,
        now.on,
        posting.of_write_off(currency.from_minor(gross)),
        currency,
        now,
        customer_id=document.customer_id,
        narrative=f"{document.number}: {why}",
    )
    return row


def relief(session: Session, document: DocumentIssued, why: str, now: Now) -> GivenUp:
    """Take back the tax in what was written off; whether one may is for an adviser.

    Raises:
        MonthLockedError: the month is closed.
        NoReasonError: *why* is empty.
        NothingOwedError: nothing was written off, or its tax is taken back.
    """
    written = _given(session, document, GaveUp.WRITE_OFF)
    if not written or _given(session, document, GaveUp.RELIEF):
        raise NothingOwedError(number=document.number)
    groups = _tax_in(session, document, written)
    currency = invoices.content(session, document.id).currency
    tax = currency.to_minor(sum((group.amount for group in groups), ZERO))
    row = _give_up(session, GaveUp.RELIEF, document, 0, tax, why, now)
    journal.post(
        session,
        row.how,
        row.number,
        now.on,
        posting.of_relief(groups),
        currency,
        now,
        customer_id=document.customer_id,
        narrative=f"{document.number}: {why}",
    )
    return row


def settle_early(
    session: Session, document: DocumentIssued, gross: int, why: str, now: Now
) -> GivenUp:
    """Let a customer take a discount for paying early, tax in it included.

    Raises:
        MonthLockedError: the month is closed.
        MoreThanHeldError: less is owed.
        NoReasonError: *why* is empty.
        NothingOwedError: nothing is owed.
    """
    owes(session, document, gross)
    groups = _tax_in(session, document, gross)
    currency = invoices.content(session, document.id).currency
    amount = currency.from_minor(gross)
    tax = sum((group.amount for group in groups), ZERO)
    row = _give_up(
        session, GaveUp.SETTLEMENT, document, gross, currency.to_minor(tax), why, now
    )
    journal.post(
        session,
        row.how,
        row.number,
        now.on,
        posting.of_settlement(amount - tax, groups),
        currency,
        now,
        customer_id=document.customer_id,
        narrative=f"{document.number}: {why}",
    )
    return row


def of_document(session: Session, document: DocumentIssued) -> list[GivenUp]:
    """Return what was given up of a document, in order."""
    query = select(GivenUp).where(GivenUp.document_id == document.id)
    return list(session.scalars(query.order_by(GivenUp.id)))


def written_off(
    session: Session, documents: Iterable[DocumentIssued]
) -> dict[int, int]:
    """Return by key of a document what of it was written off, where anything was."""
    rows = session.execute(
        select(GivenUp.document_id, func.sum(GivenUp.gross))
        .where(
            GivenUp.document_id.in_([row.id for row in documents]),
            GivenUp.how == GaveUp.WRITE_OFF,
        )
        .group_by(GivenUp.document_id)
    )
    return {key: int(gross) for key, gross in rows}


def early(session: Session, document: DocumentIssued, on: date) -> int:
    """Return what its customer's terms let paying on a day take off; 0: nothing."""
    edition = rates.in_force(session, document.on).edition
    known = document.customer.terms if document.customer else ""
    terms = edition.terms.get(known or edition.shop.terms)
    if terms is None or on > document.on + timedelta(days=terms.settlement_days):
        return 0
    currency = edition.currency
    due = currency.from_minor(document.left)
    return currency.to_minor(invoices.early_discount(due, terms, currency.unit))


def owes(session: Session, document: DocumentIssued, gross: int) -> None:
    """Refuse to take more off an invoice than is owed on it.

    Raises:
        MoreThanHeldError: less is owed.
        NothingOwedError: nothing is.
    """
    if document.left <= 0 or document.kind != Kind.INVOICE:
        raise NothingOwedError(number=document.number)
    if not 0 < gross <= document.left:
        money = rates.in_force(session, document.on).edition.currency.from_minor
        raise MoreThanHeldError(
            given=money(gross), left=money(document.left), what=document.number
        )


def _given(session: Session, document: DocumentIssued, how: GaveUp) -> int:
    kept = session.execute(
        select(func.count(), func.coalesce(func.sum(GivenUp.gross), 0)).where(
            GivenUp.document_id == document.id, GivenUp.how == how
        )
    ).one()
    return int(kept[1] or kept[0])


def _give_up(
    session: Session,
    how: GaveUp,
    document: DocumentIssued,
    gross: int,
    tax: int,
    why: str,
    now: Now,
) -> GivenUp:
    if not why.strip():
        raise NoReasonError
    row = GivenUp(
        number=numbers.take(session, "given up", now.on),
        how=how,
        document_id=document.id,
        on=now.on,
        gross=gross,
        tax=tax,
        currency=document.currency,
        why=why.strip(),
        at=now.at,
        by=now.who,
    )
    session.add(row)
    document.left -= gross
    if not document.left:
        document.settled = document.settled or now.on
    session.flush()
    quotes.note(
        session,
        "document",
        document.id,
        now,
        how,
        new=f"{row.number}: {gross} gross, {tax} tax, of the smallest unit",
        why=why,
    )
    return row


def _tax_in(session: Session, document: DocumentIssued, gross: int) -> list[Group]:
    """Return the tax in an amount of what is left of an invoice after its credits.

    The rows are those of the invoice less its credit notes; what was received has its
    share of them, the amount has the rest.
    """
    paper = invoices.content(session, document.id)
    notes = invoices.credits_of(session, document)
    rows = {group.tax: group for group in paper.taxes}
    for group in (group for note in notes for group in note.taxes):
        was = rows[group.tax]
        rows[group.tax] = Group(
            group.tax, was.base - group.base, was.amount - group.amount
        )
    minor, money = paper.currency.to_minor, paper.currency.from_minor
    sums = [(minor(row.base), minor(row.amount)) for row in rows.values()]
    whole = minor(paper.gross - sum((note.gross for note in notes), ZERO))
    shares = within(sums, whole, whole - gross, gross)
    return [
        Group(tax, money(base), money(owed))
        for tax, (base, owed) in zip(rows, shares, strict=True)
    ]
