"""Handing over, and the limit of what a customer may owe, said before it stops that.

Whether heads are released is decided by ``payments.check_release``; at the call, on the
quote and at booking in it is said that they will not be. Amounts are in the smallest
unit of the shop's currency, tax included.
"""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy.orm import Session

from quoting.domain.job import Override
from quoting.domain.life import OrderMove, OverCreditError
from quoting.store.models import Customer, Order, Quote
from quoting.workflow import invoices, orders, payments, quotes, rates
from quoting.workflow.quotes import Now


class OverLimit(NamedTuple):
    """A customer owes more than agreed, or would.

    Attributes:
        name: of the customer.
        owed: on the account now.
        more: what would come on top; may be 0.
        limit: of the customer's terms.
    """

    name: str
    owed: int
    more: int
    limit: int

    @property
    def already(self) -> bool:
        """Tell whether it is too much even without what would come on top."""
        return self.owed > self.limit


def over_limit(
    session: Session,
    customer: Customer,
    more: int,
    on: date,
    *,
    revises: int | None = None,
) -> OverLimit | None:
    """Return what a customer would owe where that is beyond the limit; else None.

    Args:
        session: of a transaction.
        customer: whose account it is.
        more: what would come on top of what is owed now.
        on: the day whose terms count.
        revises: key of the quote that *more* is of; where it is invoiced already it
            counts with what is owed of it.
    """
    quote = session.get(Quote, revises) if revises else None
    if quote is not None and invoices.invoice_of(session, quote):
        more = 0
    edition = rates.in_force(session, on).edition
    terms = edition.terms.get(customer.terms or edition.shop.terms)
    if terms is None or terms.credit_limit is None:
        return None
    limit = edition.currency.to_minor(terms.credit_limit)
    owed = payments.owed_by(session, customer.id)
    if owed + more <= limit:
        return None
    return OverLimit(customer.name, owed, more, limit)


def with_quotes(session: Session, rows: Sequence[Quote], on: date) -> OverLimit | None:
    """Return likewise what the customer of quotes would owe when these are charged."""
    customer = rows[0].customer
    if customer is None:
        return None
    more = sum(_to_come(session, quote) for quote in rows)
    return over_limit(session, customer, more, on)


def _to_come(session: Session, quote: Quote) -> int:
    """Return what is still to be charged of a quote: its yes, else what leads it."""
    if invoices.invoice_of(session, quote):
        return 0
    agreed = orders.latest_yes(session, quote)
    return (agreed.way if agreed else quote.revisions[-1].ways[0]).total


def refused(session: Session, order: Order, on: date) -> OverCreditError | None:
    """Return why the heads of a work order are not handed over; None: they may be."""
    try:
        payments.check_release(session, order, on, None)
    except OverCreditError as why:
        return why
    return None


def hand_over(
    session: Session,
    order: Order,
    version: int,
    collected_by: str,
    now: Now,
    *,
    despite: Override | None,
) -> None:
    """Hand the heads of a work order over; a limit that is set aside is in the trail.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
        IllegalMoveError: it is not ready, or not here any more.
        OverCreditError: too much would be owed, and nobody sets the limit aside.
    """
    over = refused(session, order, now.on)
    payments.check_release(session, order, now.on, despite)
    orders.move(
        session, order, version, OrderMove.COLLECT, now,
        collected_by=collected_by, despite=despite,
    )  # fmt: skip
    if over is not None and despite is not None:
        quotes.note(
            session, "order", order.id, now, "released over the limit",
            old=f"limit {over.values['limit']}", new=f"{over.values['owed']} owed",
            why=f"{despite.by}: {despite.reason}",
        )  # fmt: skip
