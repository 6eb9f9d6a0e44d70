"""The limit of what a customer may owe, said before it stops their heads.

Handing over is refused by ``payments.check_release``; this says at the call, on the
quote and at booking in that it will be. Amounts are in the smallest unit of the shop's
currency, tax included.
"""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy.orm import Session

from quoting.store.models import Customer, Quote
from quoting.workflow import invoices, orders, payments, rates


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


def with_quotes(
    session: Session, quotes: Sequence[Quote], on: date
) -> OverLimit | None:
    """Return likewise what the customer of quotes would owe when these are charged."""
    customer = quotes[0].customer
    if customer is None:
        return None
    more = sum(_to_come(session, quote) for quote in quotes)
    return over_limit(session, customer, more, on)


def _to_come(session: Session, quote: Quote) -> int:
    """Return what is still to be charged of a quote: its yes, else what leads it."""
    if invoices.invoice_of(session, quote):
        return 0
    agreed = orders.latest_yes(session, quote)
    return (agreed.way if agreed else quote.revisions[-1].ways[0]).total
