"""Payments: money from customers and back to them, set against what they owe.

Every amount here is in the smallest unit of the shop's currency. What is received is
set against what is owed, oldest first or as somebody says; the rest is money on
account. Everything is posted to the journal in the transaction that keeps it.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.domain.allocation import by_name, in_order, within
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import (
    Kind,
)
from quoting.domain.job import Override
from quoting.domain.life import check_credit
from quoting.domain.money import Currency
from quoting.domain.tax import to_pay_in_cash
from quoting.store.models import (
    Allocation,
    AllocationTax,
    Customer,
    DepositTaken,
    DocumentIssued,
    DocumentTax,
    Order,
    Payment,
    Quote,
)
from quoting.workflow import invoices, journal, numbers, quotes, rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now


class Method(StrEnum):
    """How money changes hands."""

    CASH = posting.CASH
    CARD = "card"
    TRANSFER = "bank transfer"
    CHEQUE = "cheque"


class NothingPaidError(RuleError):
    """A payment of nothing, or less."""

    message = translatable("Say how much: more than nothing.")


class MoreThanHeldError(RuleError):
    """More is to be taken out of something than is left in it."""

    message = translatable("{given} is more than the {left} that is left of {what}.")


class NotOwedError(RuleError):
    """A document on which nobody ever owes anything was to be paid."""

    message = translatable("{number} is a credit note: pay it out, or set it against.")


class CreditedInFullError(RuleError):
    """An invoice of which nothing stands any more was to be paid."""

    message = translatable(
        "{number} is credited in full: nothing is owed on it. Take the payment for the "
        "invoice that stands, or on the customer's account."
    )


class NothingHeldError(RuleError):
    """Nothing is left of what was to be used."""

    message = translatable("Nothing is left of {what}.")


class NoReasonError(RuleError):
    """Something that stands out needs a reason."""

    message = translatable("Say why: it stands in the story of the document.")


class NobodysMoneyError(RuleError):
    """Money on account belongs to nobody."""

    message = translatable(
        "More is paid than is owed, and there is no customer on whose account the "
        "rest could stand. Take no more than {owed}."
    )


def pay(
    session: Session,
    amount: int,
    method: str,
    now: Now,
    *,
    customer_id: int | None = None,
    document: DocumentIssued | None = None,
    by_hand: Mapping[str, int] | None = None,
    on: date | None = None,
    note: str = "",
) -> Payment:
    """Take a payment and set it against what is owed.

    One for a document pays that first, then like one of a customer the oldest; the
    rest stays on the customer's account. Cash pays a sum that is rounded to the cash
    step in full.

    Args:
        session: of a transaction.
        amount: received.
        method: how.
        now: who takes it.
        customer_id: whose; None: the document's.
        document: what it is for, if it is for one.
        by_hand: by number of a document, what of it pays that.
        on: its day; None: today.
        note: in words.

    Raises:
        CreditedInFullError: *document* is.
        MonthLockedError: the month is closed.
        NobodysMoneyError: more is paid than owed, and nobody has an account.
        NothingPaidError: it is not above nothing.
        NotOwedError: *document* is a credit note.
        RuleError: as ``domain.allocation``.
    """
    if amount <= 0:
        raise NothingPaidError
    if document is not None and document.kind == Kind.CREDIT:
        raise NotOwedError(number=document.number)
    if document is not None and not invoices.stands(session, document):
        raise CreditedInFullError(number=document.number)
    day = on or now.on
    whose = customer_id if customer_id is not None else _whose(document)
    owed = _owed(session, whose, document)
    edition = rates.in_force(session, day).edition
    currency = edition.currency
    rounding = _rounding(edition, amount, method, owed, document)
    number = numbers.take(session, "payment", day)
    row = Payment(
        number=number,
        customer_id=whose,
        on=day,
        method=method,
        currency=currency.code,
        amount=amount,
        rounding=rounding,
        left=amount + rounding,
        settled=None,
        note=note.strip(),
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    journal.post(
        session,
        "payment",
        number,
        day,
        posting.of_payment(
            currency.from_minor(amount), method, currency.from_minor(rounding)
        ),
        currency,
        now,
        customer_id=whose,
        narrative=note or (document.number if document else ""),
    )
    _distribute(session, row, owed, by_hand, now, currency)
    if row.left and whose is None:
        raise NobodysMoneyError(owed=currency.from_minor(amount + rounding - row.left))
    _note(
        session, now, "payment taken", row, f"{currency.from_minor(amount)}, {method}"
    )
    return row


def _whose(document: DocumentIssued | None) -> int | None:
    return document.customer_id if document else None


def _owed(
    session: Session, customer_id: int | None, document: DocumentIssued | None
) -> list[DocumentIssued]:
    """Return what is owed in the order in which money pays it."""
    first = [document] if document is not None and document.left > 0 else []
    if customer_id is None:
        return first
    rest = open_of(session, customer_id)
    return [*first, *(row for row in rest if document is None or row.id != document.id)]


def open_of(session: Session, customer_id: int) -> list[DocumentIssued]:
    """Return the invoices on which a customer owes something, the oldest first."""
    return list(
        session.scalars(
            select(DocumentIssued)
            .where(
                DocumentIssued.customer_id == customer_id,
                DocumentIssued.settled.is_(None),
                DocumentIssued.kind == Kind.INVOICE,
            )
            .order_by(DocumentIssued.pay_by, DocumentIssued.id)
        )
    )


def _rounding(
    edition: Edition,
    amount: int,
    method: str,
    owed: Sequence[DocumentIssued],
    document: DocumentIssued | None,
) -> int:
    """Return what cash settles besides: it pays a rounded sum in full."""
    if method != Method.CASH or edition.policy.cash_step is None:
        return 0
    sums = [document.left] if document else []
    sums.append(sum(row.left for row in owed))
    for due in sums:
        if due and _in_cash(edition, due) == amount:
            return due - amount
    return 0


def in_cash(session: Session, due: int, on: date) -> int:
    """Return what cash pays a sum that is due in full with, on a day."""
    return _in_cash(rates.in_force(session, on).edition, due)


def _in_cash(edition: Edition, due: int) -> int:
    currency = edition.currency
    cash = to_pay_in_cash(currency.from_minor(due), edition.policy)
    return currency.to_minor(cash)


def _note(session: Session, now: Now, what: str, row: Payment, said: str) -> None:
    quotes.note(
        session,
        "payment",
        row.id,
        now,
        what,
        new=f"{row.number}: {said}",
    )


def _distribute(
    session: Session,
    row: Payment,
    owed: Sequence[DocumentIssued],
    by_hand: Mapping[str, int] | None,
    now: Now,
    currency: Currency,
) -> None:
    """Set a payment against documents, in their order or as somebody says."""
    named = {each.number: each for each in owed}
    money = currency.from_minor
    if by_hand is None:
        shares = in_order(
            {each.number: money(each.left) for each in owed}, money(row.left)
        )
    else:
        shares = by_name(
            {number: money(share) for number, share in by_hand.items()},
            {each.number: money(each.left) for each in owed},
            money(row.left),
        )
    for number, share in shares.items():
        minor = currency.to_minor(share)
        row.left -= minor
        allocate(session, named[number], minor, now, row.on, payment_id=row.id)
    if not row.left:
        row.settled = row.on
    session.flush()


def allocate(
    session: Session,
    document: DocumentIssued,
    amount: int,
    now: Now,
    on: date,
    **by: int,
) -> None:
    """Set an amount against a document, with the tax that is in it."""
    before = document.gross - document.left
    document.left -= amount
    if not document.left:
        document.settled = on
    allocation = Allocation(
        document_id=document.id, on=on, amount=amount, at=now.at, by=now.who, **by
    )
    session.add(allocation)
    session.flush()
    rows = session.scalars(
        select(DocumentTax)
        .where(DocumentTax.document_id == document.id)
        .order_by(DocumentTax.place)
    ).all()
    for row, (base, tax) in zip(
        rows,
        within(
            [(row.base, row.amount) for row in rows], document.gross, before, amount
        ),
        strict=True,
    ):
        session.add(
            AllocationTax(
                allocation_id=allocation.id, place=row.place, base=base, amount=tax
            )
        )
    session.flush()


def set_against(session: Session, source: Payment | DocumentIssued, now: Now) -> int:
    """Set money on account, or an open credit note, against what its customer owes.

    Returns:
        What was set against something.
    """
    if source.customer_id is None:
        return 0
    used = 0
    for document in open_of(session, source.customer_id):
        part = min(source.left, document.left)
        if part <= 0:
            break
        source.left -= part
        used += part
        by = "payment_id" if isinstance(source, Payment) else "credit_id"
        allocate(session, document, part, now, now.on, **{by: source.id})
    if not source.left:
        source.settled = now.on
    session.flush()
    return used


def refund(
    session: Session,
    source: Payment | DocumentIssued,
    amount: int,
    method: str,
    why: str,
    now: Now,
) -> Payment:
    """Pay money on account, or an open credit note, back to the customer.

    Raises:
        MonthLockedError: the month is closed.
        MoreThanHeldError: less is left of it.
        NoReasonError: *why* is empty.
        NothingHeldError: it is no credit note, or nothing is left of it.
    """
    if not why.strip():
        raise NoReasonError
    owing = isinstance(source, DocumentIssued) and source.kind != Kind.CREDIT
    if owing or not source.left:
        raise NothingHeldError(what=source.number)
    currency = rates.in_force(session, now.on).edition.currency
    if not 0 < amount <= source.left:
        money = currency.from_minor
        raise MoreThanHeldError(
            given=money(amount), left=money(source.left), what=source.number
        )
    number = numbers.take(session, "refund", now.on)
    row = Payment(
        number=number,
        customer_id=source.customer_id,
        on=now.on,
        method=method,
        currency=currency.code,
        amount=-amount,
        rounding=0,
        left=0,
        settled=now.on,
        note=why.strip(),
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    source.left -= amount
    if not source.left:
        source.settled = now.on
    of = "payment_id" if isinstance(source, Payment) else "credit_id"
    session.add(
        Allocation(
            refund_id=row.id,
            on=now.on,
            amount=amount,
            at=now.at,
            by=now.who,
            **{of: source.id},
        )
    )
    journal.post(
        session,
        "refund",
        number,
        now.on,
        posting.of_payment(-currency.from_minor(amount), method),
        currency,
        now,
        customer_id=source.customer_id,
        narrative=why,
    )
    _note(session, now, "refund paid", row, f"{currency.from_minor(amount)}, {method}")
    return row


def payment_of(session: Session, payment_id: int) -> Payment:
    """Return a payment by key.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(Payment, payment_id)
    if row is None:
        raise NoSuchRecordError(what="payment", key=payment_id)
    return row


def owing(session: Session) -> list[tuple[int | None, str, int, date | None]]:
    """Return who owes: customer, name, how much, and since which day at the latest."""
    rows = session.execute(
        select(
            DocumentIssued.customer_id,
            func.max(DocumentIssued.buyer),
            func.sum(DocumentIssued.left),
            func.min(DocumentIssued.pay_by),
        )
        .where(DocumentIssued.settled.is_(None), DocumentIssued.kind == Kind.INVOICE)
        .group_by(DocumentIssued.customer_id)
        .order_by(func.min(DocumentIssued.pay_by))
    )
    return [(key, name, int(left), since) for key, name, left, since in rows]


def owed_by(session: Session, customer_id: int) -> int:
    """Return what a customer owes on all invoices, less open credits and money."""
    owed = session.scalar(
        select(func.sum(DocumentIssued.left)).where(
            DocumentIssued.customer_id == customer_id,
            DocumentIssued.settled.is_(None),
            DocumentIssued.kind == Kind.INVOICE,
        )
    )
    given = session.scalar(
        select(func.sum(DocumentIssued.left)).where(
            DocumentIssued.customer_id == customer_id,
            DocumentIssued.settled.is_(None),
            DocumentIssued.kind == Kind.CREDIT,
        )
    )
    paid = session.scalar(
        select(func.sum(Payment.left)).where(
            Payment.customer_id == customer_id, Payment.settled.is_(None)
        )
    )
    return int(owed or 0) - int(given or 0) - int(paid or 0)


def check_release(
    session: Session, order: Order, on: date, despite: Override | None
) -> None:
    """Refuse to hand heads over where their customer would owe more than agreed.

    What the order comes to counts as owed, whether it is invoiced yet or not.

    Raises:
        OverCreditError: it is more than the limit, and nobody sets that aside.
    """
    edition = rates.in_force(session, on).edition
    terms = edition.terms.get(order.customer.terms or edition.shop.terms)
    if terms is None or terms.credit_limit is None:
        return
    owed = owed_by(session, order.customer_id)
    if not order.invoiced:
        owed += order.way.total
    check_credit(edition.currency.from_minor(owed), terms.credit_limit, despite=despite)


class Account(NamedTuple):
    """What stands on a customer's account."""

    owed: tuple[DocumentIssued, ...]
    credit_notes: tuple[DocumentIssued, ...]
    on_account: tuple[Payment, ...]
    deposits: tuple[DepositTaken, ...]
    settled: tuple[DocumentIssued, ...]
    balance: int
    limit: int | None


def account(session: Session, customer: Customer, on: date) -> Account:
    """Return a customer's account: what is open, and what was settled lately."""
    edition = rates.in_force(session, on).edition
    terms = edition.terms.get(customer.terms or edition.shop.terms)
    limit = None
    if terms is not None and terms.credit_limit is not None:
        limit = edition.currency.to_minor(terms.credit_limit)
    of = DocumentIssued.customer_id == customer.id
    notes = session.scalars(
        select(DocumentIssued).where(
            of, DocumentIssued.settled.is_(None), DocumentIssued.kind == Kind.CREDIT
        )
    )
    settled = session.scalars(
        select(DocumentIssued)
        .where(of, DocumentIssued.settled.is_not(None))
        .order_by(DocumentIssued.id.desc())
        .limit(_LATELY)
    )
    money = session.scalars(
        select(Payment).where(
            Payment.customer_id == customer.id, Payment.settled.is_(None)
        )
    )
    held = session.scalars(
        select(DepositTaken)
        .join(Quote, Quote.id == DepositTaken.quote_id)
        .where(Quote.customer_id == customer.id, DepositTaken.held > 0)
        .order_by(DepositTaken.id)
    )
    return Account(
        tuple(open_of(session, customer.id)),
        tuple(notes),
        tuple(money),
        tuple(held),
        tuple(settled),
        owed_by(session, customer.id),
        limit,
    )


_LATELY = 12
