"""The story of a document: from the call to the last penny, in order, on one page.

It says who did what and why, and what it came to; never what it cost the shop, nor how
long it took.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from quoting.domain.invoice import Kind
from quoting.domain.money import Currency
from quoting.store.models import (
    Allocation,
    Approval,
    DepositMoved,
    DepositTaken,
    DocumentIssued,
    GivenUp,
    OrderInvoiced,
    PaperMade,
    Payment,
    Quote,
    SurchargeHeld,
    Trail,
)
from quoting.workflow import invoices, quotes


class Told(NamedTuple):
    """One thing that happened.

    Attributes:
        at: when.
        who: did it.
        what: in words.
        number: of the document it made, or is about; may be empty.
        amount: what it came to, tax included; None where it came to nothing.
        why: the reason given; may be empty.
        key: of the document, quote or payment that *number* opens: its kind and key.
    """

    at: datetime
    who: str
    what: str
    number: str = ""
    amount: Decimal | None = None
    why: str = ""
    key: tuple[str, int] | None = None


#: What the trail of an order says that belongs in the story.
_OF_ORDER = (
    "booked in",
    "work order:",
    "released over the limit",
    "head condemned",
    "promised for",
)


def of_document(session: Session, document: DocumentIssued) -> list[Told]:
    """Return the story of an invoice, deposit invoice or credit note."""
    corrected = document.corrects_id
    invoice = session.get(DocumentIssued, corrected) if corrected else document
    lead = invoice or document
    keys = set(
        session.scalars(
            select(OrderInvoiced.quote_id).where(OrderInvoiced.document_id == lead.id)
        )
    )
    if lead.quote_id is not None:
        keys.add(lead.quote_id)
    return _in_order(_told(session, sorted(keys), [lead.id]))


def of_quote(session: Session, quote: Quote) -> list[Told]:
    """Return the story of everything that came of a quote."""
    keys = list(
        session.scalars(
            select(OrderInvoiced.document_id).where(OrderInvoiced.quote_id == quote.id)
        )
    )
    keys += session.scalars(
        select(DocumentIssued.id).where(DocumentIssued.quote_id == quote.id)
    )
    return _in_order(_told(session, [quote.id], sorted(set(keys))))


def _in_order(told: Iterable[Told]) -> list[Told]:
    return sorted(told, key=lambda each: each.at)


def _told(
    session: Session, quote_ids: list[int], document_ids: list[int]
) -> Iterator[Told]:
    currency = None
    for quote in session.scalars(select(Quote).where(Quote.id.in_(quote_ids))):
        currency = quotes.currency_of(session, quote)
        yield from _of_quote(session, quote, currency)
        yield from _of_deposits(session, quote, currency)
    documents = _documents(session, document_ids)
    for document in documents:
        money = currency or invoices.content(session, document.id).currency
        yield Told(
            document.issued,
            document.issued_by,
            f"{document.kind} issued",
            document.number,
            money.from_minor(document.gross),
            ": ".join(filter(None, (document.reason, document.because))),
            ("document", document.id),
        )
        yield from _of_money(session, document, money)


def _documents(session: Session, keys: list[int]) -> list[DocumentIssued]:
    """Return documents with the credit notes that correct them."""
    return list(
        session.scalars(
            select(DocumentIssued)
            .where(
                or_(DocumentIssued.id.in_(keys), DocumentIssued.corrects_id.in_(keys))
            )
            .order_by(DocumentIssued.id)
        )
    )


def _of_quote(session: Session, quote: Quote, currency: Currency) -> Iterator[Told]:
    for revision in quote.revisions:
        number = f"{quote.number}/{revision.number}"
        yield Told(
            revision.saved,
            revision.saved_by,
            "quote saved" if revision.number == 1 else "quote revised",
            quote.number if revision.number == 1 else number,
            currency.from_minor(revision.ways[0].total),
            revision.said,
            ("quote", quote.id),
        )
    for yes in session.scalars(
        select(Approval).where(Approval.quote_id == quote.id).order_by(Approval.id)
    ):
        yield Told(
            yes.recorded,
            yes.recorded_by,
            f"yes of {yes.said_by}, {yes.how}",
            quote.number,
            currency.from_minor(yes.up_to),
            yes.note,
            ("quote", quote.id),
        )
    if quote.order is not None:
        for entry in session.scalars(
            select(Trail)
            .where(Trail.subject == "order", Trail.subject_id == quote.order.id)
            .order_by(Trail.id)
        ):
            if entry.what.startswith(_OF_ORDER):
                yield Told(
                    entry.at,
                    entry.who,
                    entry.what,
                    quote.order.number,
                    None,
                    entry.why,
                    ("order", quote.order.id),
                )
    for paper in session.scalars(
        select(PaperMade).where(PaperMade.quote_id == quote.id).order_by(PaperMade.id)
    ):
        yield Told(
            paper.issued,
            paper.issued_by,
            f"paper made: {paper.kind}",
            paper.number,
            None,
            "",
            ("paper", paper.id),
        )


def _of_deposits(session: Session, quote: Quote, currency: Currency) -> Iterator[Told]:
    moved_here = select(DepositMoved.deposit_id).where(
        DepositMoved.quote_id == quote.id
    )
    for taken in session.scalars(
        select(DepositTaken)
        .where(or_(DepositTaken.quote_id == quote.id, DepositTaken.id.in_(moved_here)))
        .order_by(DepositTaken.id)
    ):
        yield Told(
            taken.taken,
            taken.taken_by,
            f"deposit taken, {taken.method}",
            taken.number,
            currency.from_minor(taken.amount),
        )
        for move in session.scalars(
            select(DepositMoved)
            .where(DepositMoved.deposit_id == taken.id)
            .order_by(DepositMoved.id)
        ):
            yield Told(
                move.at,
                move.by,
                f"deposit {taken.number} {move.how}",
                move.number,
                currency.from_minor(move.gross),
                move.why,
            )


def _of_money(
    session: Session, document: DocumentIssued, currency: Currency
) -> Iterator[Told]:
    used = or_(
        Allocation.document_id == document.id, Allocation.credit_id == document.id
    )
    for set_off in session.scalars(
        select(Allocation).where(used).order_by(Allocation.id)
    ):
        key = set_off.refund_id or set_off.payment_id
        payment = session.get(Payment, key) if key else None
        if payment is None:
            if set_off.credit_id == document.id:
                yield Told(
                    set_off.at,
                    set_off.by,
                    "credit note set against",
                    _number(session, set_off.document_id),
                    currency.from_minor(set_off.amount),
                )
            continue
        yield Told(
            payment.at,
            payment.by,
            f"paid back, {payment.method}"
            if payment.amount < 0
            else f"paid, {payment.method}",
            payment.number,
            currency.from_minor(set_off.amount),
            payment.note,
            ("payment", payment.id) if payment.paper_id else None,
        )
    for given in session.scalars(
        select(GivenUp).where(GivenUp.document_id == document.id).order_by(GivenUp.id)
    ):
        yield Told(
            given.at,
            given.by,
            given.how,
            given.number,
            currency.from_minor(given.gross or given.tax),
            given.why,
        )
    if document.kind == Kind.INVOICE:
        for held in session.scalars(
            select(SurchargeHeld).where(
                SurchargeHeld.document_id == document.id, SurchargeHeld.kept > 0
            )
        ):
            yield Told(
                held.kept_at or document.issued,
                held.kept_by,
                f"exchange surcharge kept: {held.description}",
                held.kept_number,
                currency.from_minor(held.kept),
                held.why,
            )


def _number(session: Session, document_id: int | None) -> str:
    row = session.get(DocumentIssued, document_id) if document_id else None
    return row.number if row else ""
