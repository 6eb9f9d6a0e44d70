"""Deposits: money taken before there is an invoice, and what becomes of it.

Where tax falls due on receipt a deposit comes with its own invoice. Amounts are in the
smallest unit of the shop's currency; everything is posted in the transaction that
keeps it.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import (
    Document,
    Item,
    Kind,
    Why,
    bank,
    deposit_bits,
    seller,
    tax_rows,
)
from quoting.domain.life import OrderState, QuoteState, check_deposit
from quoting.domain.money import ZERO, Currency
from quoting.domain.tax import Amount, Group, contained, split_gross
from quoting.store.models import (
    DepositMoved,
    DepositTaken,
    DocumentIssued,
    Quote,
)
from quoting.workflow import (
    debts,
    invoices,
    journal,
    numbers,
    orders,
    payments,
    quotes,
    rates,
)
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now


class AnothersQuoteError(RuleError):
    """A deposit was to be held for the work of another customer."""

    message = translatable(
        "{number} is another customer's. Pay the deposit back, and take it anew there."
    )


class TaxedDepositError(RuleError):
    """A deposit whose tax fell due on receipt cannot pay an invoice afterwards."""

    message = translatable(
        "Tax fell due when {number} was received. Pay it back with a credit note and "
        "take the payment anew, or credit the invoice and issue it with the deposit."
    )


def take_deposit(
    session: Session, quote: Quote, amount: Decimal, method: str, now: Now
) -> DepositTaken:
    """Take a deposit; where tax falls due on receipt, with its invoice.

    Raises:
        DepositTooLateError: the heads are collected.
        MonthLockedError: the month is closed.
        NothingPaidError: it is not above nothing.
        TooFineError: the currency has no such coin.
    """
    if amount <= 0:
        raise payments.NothingPaidError
    order = OrderState(quote.order.state) if quote.order else None
    check_deposit(order, taxed_on_receipt=False)
    edition = _edition(session, quote, now.on)
    currency = edition.currency
    minor = currency.to_minor(amount)
    number = numbers.take(session, "receipt", now.on)
    document_id = None
    if taxed_on_receipt(session, now.on):
        document = _deposit_invoice(session, quote, edition, amount, now)
        document_id = invoices.keep(
            session,
            document,
            now,
            customer_id=quote.customer_id,
            quote_id=quote.id,
            method=method,
        ).id
    else:
        journal.post(
            session,
            "deposit received",
            number,
            now.on,
            posting.of_deposit(amount, method),
            currency,
            now,
            customer_id=quote.customer_id,
            narrative=f"deposit for {quote.number}",
        )
    row = DepositTaken(
        quote_id=quote.id,
        number=number,
        amount=minor,
        held=minor,
        currency=currency.code,
        on=now.on,
        method=method,
        taken=now.at,
        taken_by=now.who,
        document_id=document_id,
    )
    session.add(row)
    session.flush()
    said = f"{number}: {amount} {currency.code}, {method}"
    quotes.note(session, "quote", quote.id, now, "deposit taken", new=said)
    return row


def taxed_on_receipt(session: Session, on: date) -> bool:
    """Tell whether tax falls due here when a deposit is received."""
    return rates.in_force(session, on).edition.tax_on_deposits(on) == "receipt"


def taxed_if_kept(session: Session, on: date) -> bool:
    """Tell whether tax falls due here when an untaxed deposit is kept."""
    edition = rates.in_force(session, on).edition
    security = edition.shop.deposits == "security"
    return not security or edition.tax_on_deposits(on) == "forfeited"


def _edition(session: Session, quote: Quote, on: date) -> Edition:
    if quote.revisions:
        return quotes.edition_of(session, quote.revisions[-1])
    return rates.in_force(session, on).edition


def _deposit_invoice(
    session: Session, quote: Quote, edition: Edition, amount: Decimal, now: Now
) -> Document:
    """Return the invoice for a deposit: split over the tax codes of what it is for."""
    agreed = orders.latest_yes(session, quote)
    way = agreed.way if agreed else quote.revisions[-1].ways[0]
    priced = quotes.alternative(edition, way, now.on).priced
    unit, policy = edition.currency.unit, edition.policy
    sums: dict[str, Decimal] = {}
    for line in priced.lines:
        for code, net in line.shares:
            sums[code] = sums.get(code, ZERO) + net
    amounts = [Amount(net, priced.taxes_of[code], code) for code, net in sums.items()]
    codes = {amount.taxes: amount.code for amount in reversed(amounts)}
    parts = split_gross(amount, amounts, policy, unit)
    bits = deposit_bits([(codes[part.taxes], part) for part in parts], policy)
    item = Item(1, "deposit", "", f"Deposit for {quote.number}", "deposits", bits)
    shop = edition.shop
    return Document(
        kind=Kind.DEPOSIT,
        on=now.on,
        supplied=now.on,
        pay_by=now.on,
        currency=edition.currency,
        locale=shop.locale,
        seller=seller(shop),
        buyer=invoices.buyer(quote, edition),
        bank=bank(shop),
        policy=policy,
        items=(item,),
        taxes=tax_rows([item], priced.taxes_of),
        taxes_of=priced.taxes_of,
        order_number=quote.order_number,
        registration=quote.registration,
        quote=quote.number,
        work=quote.order.number if quote.order else "",
    )


APPLIED, PAID_BACK, KEPT, MOVED = invoices.APPLIED, "paid back", "kept", "moved"


def pay_deposit_back(
    session: Session,
    deposit: DepositTaken,
    gross: int,
    method: str,
    why: str,
    now: Now,
) -> DepositMoved:
    """Pay a deposit back, or a part of it; one that was taxed gets a credit note.

    Raises:
        MoreThanHeldError: less is held.
        NoReasonError: *why* is empty.
    """
    _take_out(session, deposit, gross, why)
    currency = _currency(session, deposit.quote)
    amount = currency.from_minor(gross)
    tax = 0
    if deposit.document_id is not None:
        paper = invoices.of_number(session, deposit.document_id)
        note = invoices.credit(
            session,
            paper,
            invoices.Credited(amount=amount),
            now,
            reason=Why.RETURNED,
            because=why,
            method=method,
        )
        number, tax = note.number, note.tax
    else:
        number = numbers.take(session, "deposit settled", now.on)
        journal.post(
            session,
            "deposit paid back",
            number,
            now.on,
            posting.of_deposit(-amount, method),
            currency,
            now,
            customer_id=deposit.quote.customer_id,
            narrative=why,
        )
    return _moved(
        session, deposit, PAID_BACK, gross, now, why, number, method, tax_before=tax
    )


def keep_deposit(
    session: Session,
    deposit: DepositTaken,
    gross: int,
    why: str,
    now: Now,
    *,
    taxed: bool,
) -> DepositMoved:
    """Keep a deposit for what was not taken up after all.

    Args:
        session: of a transaction.
        deposit: to be kept.
        gross: how much of it.
        why: in words.
        now: who does it.
        taxed: whether tax falls due on it now, at the rate of the shop's labour; one
            that was taxed on receipt is not taxed again.

    Raises:
        MoreThanHeldError: less is held.
        NoReasonError: *why* is empty.
    """
    _take_out(session, deposit, gross, why)
    edition = _edition(session, deposit.quote, now.on)
    unit, currency = edition.currency.unit, edition.currency
    amount = currency.from_minor(gross)
    before = invoices.taxes_within(session, deposit, amount)
    rows: tuple[Group, ...] = ()
    if not before and taxed:
        taxes = edition.taxes(edition.shop.tax_labour, now.on)
        within = contained(amount, taxes, unit)
        net = amount - sum(within, ZERO)
        rows = tuple(
            Group(tax, net, owed) for tax, owed in zip(taxes, within, strict=True)
        )
    number = numbers.take(session, "deposit settled", now.on)
    journal.post(
        session,
        "deposit kept",
        number,
        now.on,
        posting.of_deposit_kept(amount, before or rows, taxed_before=bool(before)),
        currency,
        now,
        customer_id=deposit.quote.customer_id,
        narrative=why,
    )
    minor = currency.to_minor
    return _moved(
        session,
        deposit,
        KEPT,
        gross,
        now,
        why,
        number,
        tax_before=minor(sum((row.amount for row in before), ZERO)),
        tax_now=minor(sum((row.amount for row in rows), ZERO)),
    )


def move_deposit(
    session: Session, deposit: DepositTaken, number: str, why: str, now: Now
) -> DepositMoved:
    """Hold what is left of a deposit for another job, by the number of its quote.

    Raises:
        AnothersQuoteError: that quote is another customer's.
        NoSuchRecordError: no quote has that number.
        NothingHeldError: nothing is held.
        NoReasonError: *why* is empty.
    """
    if not why.strip():
        raise payments.NoReasonError
    if not deposit.held:
        raise payments.NothingHeldError(what=deposit.number)
    to = session.scalar(select(Quote).where(Quote.number == number.strip().upper()))
    if to is None:
        raise NoSuchRecordError(what="quote", key=number)
    known = {quote.customer_id for quote in (to, deposit.quote)} - {None}
    if len(known) > 1:
        raise AnothersQuoteError(number=to.number)
    old = deposit.quote.number
    row = _moved(session, deposit, MOVED, deposit.held, now, why, "", to=to)
    deposit.quote_id = to.id
    session.flush()
    quotes.note(
        session, "quote", to.id, now, "deposit moved", old=old, new=deposit.number
    )
    return row


def apply_deposit(
    session: Session,
    deposit: DepositTaken,
    document: DocumentIssued,
    gross: int,
    now: Now,
) -> DepositMoved:
    """Pay an issued invoice from a deposit on which no tax fell due.

    Raises:
        MoreThanHeldError: less is held, or less is owed.
        TaxedDepositError: tax fell due on it.
    """
    if deposit.document_id is not None:
        raise TaxedDepositError(number=deposit.number)
    debts.owes(session, document, gross)
    _take_out(session, deposit, gross, "applied")
    currency = _currency(session, deposit.quote)
    amount = currency.from_minor(gross)
    number = numbers.take(session, "deposit settled", now.on)
    journal.post(
        session,
        "deposit applied",
        number,
        now.on,
        posting.of_deposit_applied(amount),
        currency,
        now,
        customer_id=document.customer_id,
        narrative=f"{deposit.number} to {document.number}",
    )
    payments.allocate(session, document, gross, now, now.on, deposit_id=deposit.id)
    return _moved(session, deposit, APPLIED, gross, now, "", number, document=document)


def _take_out(session: Session, deposit: DepositTaken, gross: int, why: str) -> None:
    if not why.strip():
        raise payments.NoReasonError
    if not 0 < gross <= deposit.held:
        money = _currency(session, deposit.quote).from_minor
        raise payments.MoreThanHeldError(
            given=money(gross), left=money(deposit.held), what=deposit.number
        )


def _moved(
    session: Session,
    deposit: DepositTaken,
    how: str,
    gross: int,
    now: Now,
    why: str,
    number: str,
    method: str = "",
    *,
    tax_before: int = 0,
    tax_now: int = 0,
    document: DocumentIssued | None = None,
    to: Quote | None = None,
) -> DepositMoved:
    if how != MOVED:
        deposit.held -= gross
    row = DepositMoved(
        deposit_id=deposit.id,
        number=number,
        how=how,
        on=now.on,
        gross=gross,
        tax_before=tax_before,
        tax_now=tax_now,
        document_id=document.id if document else None,
        quote_id=to.id if to else None,
        method=method,
        why=why,
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    amount = _currency(session, deposit.quote).from_minor(gross)
    said = f"{deposit.number}: {amount} {deposit.currency}"
    quotes.note(
        session, "quote", deposit.quote_id, now, f"deposit {how}", new=said, why=why
    )
    return row


def left_over(session: Session, on: date, days: int = 60) -> list[DepositTaken]:
    """Return deposits held longer than so many days, the oldest first."""
    return list(
        session.scalars(
            select(DepositTaken)
            .where(DepositTaken.held > 0, DepositTaken.on < on - timedelta(days=days))
            .order_by(DepositTaken.on, DepositTaken.id)
        )
    )


class JobOver(StrEnum):
    """Why nothing more is done for a job."""

    INVOICED = "invoiced"
    HANDED_OVER = "handed over"
    CONDEMNED = "condemned"
    DECLINED = "declined"
    LAPSED = "lapsed"


_OVER_BY_ORDER = {
    OrderState.COLLECTED: JobOver.HANDED_OVER,
    OrderState.CONDEMNED: JobOver.CONDEMNED,
}
_OVER_BY_QUOTE = {
    QuoteState.DECLINED: JobOver.DECLINED,
    QuoteState.LAPSED: JobOver.LAPSED,
}


class StillHeld(NamedTuple):
    """Deposits that are held though their job is over.

    Attributes:
        deposits: with what is held of each, the oldest first.
        quote: that they are held for.
        why: the job is over.
    """

    deposits: tuple[DepositTaken, ...]
    quote: Quote
    why: JobOver


def still_held(session: Session, of: Sequence[Quote], on: date) -> list[StillHeld]:
    """Return what is held for jobs that are over on a day."""
    found = []
    for quote in of:
        rows = [row for row in orders.deposits(session, quote) if row.held > 0]
        if rows and (why := _over(session, quote, on)):
            found.append(StillHeld(tuple(rows), quote, why))
    return found


def _over(session: Session, quote: Quote, on: date) -> JobOver | None:
    if invoices.invoice_of(session, quote) is not None:
        return JobOver.INVOICED
    if quote.order is not None:
        return _OVER_BY_ORDER.get(OrderState(quote.order.state))
    return _OVER_BY_QUOTE.get(quotes.state_on(quote, on))


def of_key(session: Session, deposit_id: int) -> DepositTaken:
    """Return a deposit by key.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(DepositTaken, deposit_id)
    if row is None:
        raise NoSuchRecordError(what="deposit", key=deposit_id)
    return row


def _currency(session: Session, quote: Quote) -> Currency:
    return quotes.currency_of(session, quote)


def held_for(session: Session, document: DocumentIssued) -> list[DepositTaken]:
    """Return the deposits that could pay an invoice: its customer's, not taxed."""
    if document.customer_id is None or document.left <= 0:
        return []
    return list(
        session.scalars(
            select(DepositTaken)
            .join(Quote, Quote.id == DepositTaken.quote_id)
            .where(
                Quote.customer_id == document.customer_id,
                DepositTaken.held > 0,
                DepositTaken.document_id.is_(None),
            )
            .order_by(DepositTaken.id)
        )
    )


def held(session: Session) -> list[DepositTaken]:
    """Return every deposit that is held, the oldest first."""
    return list(
        session.scalars(
            select(DepositTaken)
            .where(DepositTaken.held > 0)
            .order_by(DepositTaken.on, DepositTaken.id)
        )
    )
