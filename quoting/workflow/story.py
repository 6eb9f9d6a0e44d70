"""The story of a document: from the call to the last penny, in order, on one page.

It says who did what and why, and what it came to; never what it cost the shop, nor how
long it took.
"""

from collections.abc import Collection, Iterable, Iterator
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
    about = _About(quote_ids, [document.id for document in documents])
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
        yield from _of_money(session, document, money, about)
        if document.kind == Kind.INVOICE:
            yield from _of_the_rest(session, document, money, about)


class _About(NamedTuple):
    """What a story is about: keys of quotes and of documents."""

    quotes: Collection[int]
    documents: Collection[int]


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
    session: Session, document: DocumentIssued, currency: Currency, about: _About
) -> Iterator[Told]:
    used = or_(
        Allocation.document_id == document.id, Allocation.credit_id == document.id
    )
    for set_off in session.scalars(
        select(Allocation).where(used).order_by(Allocation.id)
    ):
        amount = currency.from_minor(set_off.amount)
        key = set_off.refund_id or set_off.payment_id
        payment = session.get(Payment, key) if key else None
        if payment is None:
            what, number, opens = _set_against(session, set_off, document, about)
            if what:
                yield Told(set_off.at, set_off.by, what, number, amount, key=opens)
        elif payment.amount > 0 and set_off.at > payment.at:
            yield Told(
                set_off.at,
                set_off.by,
                "paid by money on account",
                payment.number,
                amount,
                key=_receipt(payment),
            )
        else:
            how = "paid back" if payment.amount < 0 else "paid"
            yield Told(
                payment.at,
                payment.by,
                f"{how}, {payment.method}",
                payment.number,
                amount,
                payment.note,
                _receipt(payment),
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


def _receipt(payment: Payment) -> tuple[str, int] | None:
    return ("payment", payment.id) if payment.paper_id else None


def _set_against(
    session: Session, set_off: Allocation, document: DocumentIssued, about: _About
) -> tuple[str, str, tuple[str, int] | None]:
    """Return what was set against a document without money, its number and its key.

    Nothing where another part of the story tells it.
    """
    if set_off.credit_id == document.id and set_off.document_id:
        other = session.get_one(DocumentIssued, set_off.document_id)
        return "credit note set against", other.number, ("document", other.id)
    if set_off.credit_id and set_off.credit_id not in about.documents:
        note = session.get_one(DocumentIssued, set_off.credit_id)
        return "paid by a credit note", note.number, ("document", note.id)
    if set_off.deposit_id:
        deposit = session.get_one(DepositTaken, set_off.deposit_id)
        if deposit.quote_id not in about.quotes:
            return "paid from a deposit", deposit.number, None
    return "", "", None


def _of_the_rest(
    session: Session, document: DocumentIssued, currency: Currency, about: _About
) -> Iterator[Told]:
    """Yield what became of the money that payments brought beyond an invoice."""
    first: dict[int, int] = {}
    for set_off in session.scalars(
        select(Allocation)
        .where(
            Allocation.document_id == document.id, Allocation.payment_id.is_not(None)
        )
        .order_by(Allocation.id)
    ):
        first.setdefault(set_off.payment_id or 0, set_off.id)
    for later in session.scalars(
        select(Allocation)
        .where(Allocation.payment_id.in_(first))
        .order_by(Allocation.id)
    ):
        payment_id = later.payment_id or 0
        if later.id < first[payment_id] or later.document_id in about.documents:
            continue
        amount = currency.from_minor(later.amount)
        if later.refund_id:
            refund = session.get_one(Payment, later.refund_id)
            yield Told(
                refund.at,
                refund.by,
                f"over-payment paid back, {refund.method}",
                refund.number,
                amount,
                refund.note,
                _receipt(refund),
            )
        elif later.document_id:
            payment = session.get_one(Payment, payment_id)
            other = session.get_one(DocumentIssued, later.document_id)
            yield Told(
                later.at,
                later.by,
                f"rest of {payment.number} set against",
                other.number,
                amount,
                key=("document", other.id),
            )
