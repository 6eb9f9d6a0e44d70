"""What was held and what was not invoiced when a month ended, out of dated rows.

Only what is dated in the month or before it counts, whatever became of it since, so a
month that is over reads the same whenever it is read. What ended later is found by the
day on which it ended.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import and_, func, or_, select, union
from sqlalchemy.orm import Session, aliased, joinedload

from quoting.domain.money import Currency
from quoting.domain.month import Month, Row
from quoting.store.models import (
    Approval,
    Customer,
    DepositMoved,
    DepositTaken,
    DocumentIssued,
    DocumentLine,
    Order,
    OrderInvoiced,
    Quote,
    SurchargeHeld,
    Trail,
)
from quoting.workflow import people
from quoting.workflow.deposits import MOVED

#: Keys in one statement: less than the fewest that a database takes.
_CHUNK = 900


def some(session: Session, query: Any, key: Any, keys: Iterable[Any]) -> Iterator[Any]:
    """Yield the rows of a query for many keys, some keys at a time."""
    wanted = list(dict.fromkeys(keys))
    for start in range(0, len(wanted), _CHUNK):
        yield from session.execute(query.where(key.in_(wanted[start : start + _CHUNK])))


def ended(session: Session, month: Month) -> datetime:
    """Return the instant at which a month ended where the shop is."""
    midnight = datetime.combine(
        month.next.first, time(), ZoneInfo(people.zone(session))
    )
    return midnight.astimezone(UTC)


def names(session: Session, month: Month, keys: Iterable[int]) -> dict[int, str]:
    """Return what customers were called when a month ended, by key.

    Source:
        The trail: who is written down anew has the former name first in its entry.
    """
    wanted = list(keys)
    known = select(Customer.id, Customer.name)
    found = dict(tuple(row) for row in some(session, known, Customer.id, wanted))
    later = (
        select(Trail.subject_id, Trail.old)
        .where(
            Trail.subject == "customer",
            Trail.old != "",
            Trail.at >= ended(session, month),
        )
        .order_by(Trail.id.desc())
    )
    for key, old in some(session, later, Trail.subject_id, wanted):
        found[key] = old.split(" | ")[0]
    return found


# Deposits.


def deposits(session: Session, month: Month, currency: Currency) -> tuple[Row, ...]:
    """Return the deposits held when a month ended; net where taxed on receipt.

    The note of a row is the number of the quote that the deposit was held for.
    """
    held = _held(session, month.last, currency)
    taken = [row for row, _, _ in held]
    quotes = _held_for(session, month, taken)
    called = names(
        session, month, (q.customer_id for q in quotes.values() if q.customer_id)
    )
    rows = []
    for row, minor, buyer in held:
        quote = quotes[row.id]
        who = called.get(quote.customer_id or 0, "") or quote.caller or buyer
        amount = currency.from_minor(minor)
        rows.append(Row(row.number, who, row.on, amount, quote.number))
    return tuple(rows)


def taxed_deposits(session: Session, last: date, currency: Currency) -> Decimal:
    """Return what was held at the end of a day of deposits taxed on receipt, net."""
    held = _held(session, last, currency)
    return currency.from_minor(sum(minor for row, minor, _ in held if row.document_id))


def _held(
    session: Session, last: date, currency: Currency
) -> list[tuple[DepositTaken, int, str]]:
    """Return the deposits held at the end of a day: how much, and on whose paper.

    In the smallest unit, net where tax fell due on receipt.
    """
    later = select(DepositMoved.deposit_id).where(DepositMoved.on > last)
    taken = session.scalars(
        select(DepositTaken)
        .where(
            DepositTaken.on <= last,
            DepositTaken.currency == currency.code,
            or_(DepositTaken.held > 0, DepositTaken.id.in_(later)),
        )
        .options(joinedload(DepositTaken.quote))
        .order_by(DepositTaken.on, DepositTaken.id)
    ).all()
    gone = _gone(session, last, [row.id for row in taken])
    papers = {
        key: (tax, buyer)
        for key, tax, buyer in some(
            session,
            select(DocumentIssued.id, DocumentIssued.tax, DocumentIssued.buyer),
            DocumentIssued.id,
            (row.document_id for row in taken if row.document_id),
        )
    }
    held = []
    for row in taken:
        gross, tax = gone.get(row.id, (0, 0))
        before, buyer = papers.get(row.document_id or 0, (0, ""))
        if minor := row.amount - before - gross + tax:
            held.append((row, minor, buyer))
    return held


def _gone(
    session: Session, last: date, keys: Sequence[int]
) -> dict[int, tuple[int, int]]:
    """Return what had left deposits, and the tax in it that fell due on receipt."""
    of = DepositMoved
    query = (
        select(of.deposit_id, func.sum(of.gross), func.sum(of.tax_before))
        .where(of.how != MOVED, of.on <= last)
        .group_by(of.deposit_id)
    )
    return {
        key: (int(gross), int(tax))
        for key, gross, tax in some(session, query, of.deposit_id, keys)
    }


def _held_for(
    session: Session, month: Month, taken: Sequence[DepositTaken]
) -> dict[int, Quote]:
    """Return by deposit the quote that it was held for when the month ended.

    Source:
        The trail: one that is moved names the quote that it came from.
    """
    quotes = {row.id: row.quote for row in taken}
    of = DepositMoved
    moved = (
        select(of.deposit_id, Trail.old)
        .join(
            Trail,
            and_(
                Trail.subject == "quote",
                Trail.subject_id == of.quote_id,
                Trail.what == "deposit moved",
                Trail.at == of.at,
            ),
        )
        .join(DepositTaken, DepositTaken.id == of.deposit_id)
        .where(of.how == MOVED, of.on > month.last, Trail.new == DepositTaken.number)
        .order_by(of.id.desc())
    )
    were = dict(tuple(row) for row in some(session, moved, of.deposit_id, quotes))
    by_number = {
        quote.number: quote
        for (quote,) in some(session, select(Quote), Quote.number, were.values())
    }
    return quotes | {key: by_number[number] for key, number in were.items()}


# Exchange surcharges.


def surcharges(session: Session, month: Month, currency: Currency) -> tuple[Row, ...]:
    """Return the exchange surcharges held when a month ended, net.

    A row is what a document charged under one code, less what its credit notes gave
    back and what was kept by then.
    """
    of, held = DocumentIssued, SurchargeHeld
    corrected = aliased(DocumentIssued)
    wanted: Any = union(
        select(held.document_id).where(held.held > 0),
        select(held.document_id).where(held.kept_on > month.last),
        select(corrected.corrects_id).where(corrected.on > month.last),
    )
    found = session.execute(
        select(held, of)
        .join(of, of.id == held.document_id)
        .where(
            held.document_id.in_(wanted),
            of.on <= month.last,
            of.currency == currency.code,
        )
        .order_by(of.on, held.id)
    ).all()
    documents = {document.id: document for _, document in found}
    code, left = _charged(session, documents)
    note, line = aliased(DocumentIssued), DocumentLine
    given_back = (
        select(note.corrects_id, line.place, line.net)
        .join(line, line.document_id == note.id)
        .where(note.on <= month.last, line.income == "surcharges")
    )
    for key, place, net in some(session, given_back, note.corrects_id, documents):
        left[key, code[key, place]] -= net
    said: dict[tuple[int, str], str] = {}
    for row, document in found:
        at = document.id, code[document.id, row.place]
        said.setdefault(at, row.description)
        if row.kept_on is not None and row.kept_on <= month.last:
            left[at] -= row.kept
    money = currency.from_minor
    return tuple(
        Row(
            documents[key].number,
            documents[key].buyer,
            documents[key].on,
            money(left[key, of_code]),
            about,
        )
        for (key, of_code), about in said.items()
        if left[key, of_code]
    )


def _charged(
    session: Session, documents: Iterable[int]
) -> tuple[dict[tuple[int, int], str], dict[tuple[int, str], int]]:
    """Return the code of each surcharge by document and place, and nets by code."""
    line = DocumentLine
    code: dict[tuple[int, int], str] = {}
    nets: dict[tuple[int, str], int] = {}
    query = select(line.document_id, line.place, line.code, line.net).where(
        line.income == "surcharges"
    )
    for key, place, named, net in some(session, query, line.document_id, documents):
        code[key, place] = named
        nets[key, named] = nets.get((key, named), 0) + net
    return code, nets


# Work.


def work(
    session: Session,
    month: Month,
    currency: Currency,
    held: Iterable[Row],
) -> tuple[Row, ...]:
    """Return the orders that no invoice stood for when a month ended, delivered or not.

    Args:
        session: to read from.
        month: over or still running.
        currency: of the list; what was said yes to in another is left out.
        held: the deposits held then, as ``deposits`` gives them.
    """
    orders = _not_invoiced(session, month.last)
    by_quote: dict[str, Decimal] = {}
    for row in held:
        by_quote[row.note] = by_quote.get(row.note, Decimal(0)) + row.amount
    nets = _agreed(session, month, orders)
    states = _states(session, month, orders)
    called = names(session, month, (order.customer_id for order in orders))
    rows = []
    for order in orders:
        code, net = nets.get(order.quote_id, (currency.code, order.way.net))
        if code != currency.code:
            continue
        note = states.get(order.id, order.state)
        if against := by_quote.get(order.quote.number):
            note += f"; {against} held in deposits"
        who = called[order.customer_id]
        rows.append(Row(order.number, who, order.on, currency.from_minor(net), note))
    return tuple(rows)


def _not_invoiced(session: Session, last: date) -> Sequence[Order]:
    of, note = aliased(DocumentIssued), aliased(DocumentIssued)
    credited = (
        select(func.coalesce(func.sum(note.gross), 0))
        .where(note.corrects_id == of.id, note.on <= last)
        .scalar_subquery()
    )
    invoiced = select(OrderInvoiced.order_id).join(
        of, of.id == OrderInvoiced.document_id
    )
    stood = invoiced.where(
        OrderInvoiced.order_id == Order.id,
        of.on <= last,
        or_(of.gross == 0, credited < of.gross),
    )
    return session.scalars(
        select(Order)
        .where(
            Order.on <= last,
            or_(Order.invoiced.is_(False), Order.id.in_(invoiced.where(of.on > last))),
            ~stood.exists(),
        )
        .options(joinedload(Order.quote), joinedload(Order.way))
        .order_by(Order.on, Order.id)
    ).all()


def _agreed(
    session: Session, month: Month, orders: Iterable[Order]
) -> Mapping[int, tuple[str, int]]:
    """Return by quote the currency and net of the last yes of the month or before."""
    query = (
        select(Approval)
        .where(Approval.recorded < ended(session, month))
        .options(joinedload(Approval.way))
        .order_by(Approval.id)
    )
    keys = [order.quote_id for order in orders]
    return {
        yes.quote_id: (yes.currency, yes.way.net)
        for (yes,) in some(session, query, Approval.quote_id, keys)
    }


def _states(
    session: Session, month: Month, orders: Iterable[Order]
) -> Mapping[int, str]:
    """Return by order, where it moved on since, its state when the month ended."""
    later = (
        select(Trail.subject_id, Trail.old)
        .where(
            Trail.subject == "order",
            Trail.what.startswith("work order: "),
            Trail.at >= ended(session, month),
        )
        .order_by(Trail.id.desc())
    )
    keys = [order.id for order in orders]
    return dict(tuple(row) for row in some(session, later, Trail.subject_id, keys))
