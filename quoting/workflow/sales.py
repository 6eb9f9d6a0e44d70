"""A sale over the counter: asked for, priced, paid and receipted in one go.

It is a quote that is accepted, invoiced and paid at once, so its number, its yes, its
invoice and its money stand on record like those of any other.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from quoting.domain.consent import Consent, How
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Job
from quoting.domain.quote import Alternative, offer
from quoting.domain.tax import to_pay_in_cash
from quoting.store.models import Quote
from quoting.workflow import documents, quotes, rates
from quoting.workflow.payments import Method
from quoting.workflow.quotes import About, Asked, Now

#: What a buyer is called who leaves no name.
CASH_CUSTOMER = "cash customer"


class PriceMovedError(RuleError):
    """What is to be paid is not what was shown."""

    message = translatable(
        "It comes to {total} now, not to the {shown} that was shown. Look at it again, "
        "then take the money."
    )


class NothingToPayError(RuleError):
    """A sale comes to nothing."""

    message = translatable("There is nothing to pay: say first what is sold.")


@dataclass(frozen=True, slots=True)
class Sale:
    """What is sold to whom.

    Attributes:
        job: what is sold.
        shown: the total that the buyer was told.
        method: how it is paid.
        customer_id: who buys, if known.
        name: who buys, if not; may be empty.
        said: what was asked for, in words.
    """

    job: Job
    shown: Decimal
    method: str
    customer_id: int | None = None
    name: str = ""
    said: str = ""


def priced(edition: Edition, job: Job, on: date) -> Alternative:
    """Return what a sale comes to.

    Raises:
        RuleError: the work cannot be priced.
    """
    return offer(edition, "", job, on)


def sell(session: Session, sale: Sale, now: Now) -> Quote:
    """Put a paid sale on record with its invoice; all of it or nothing.

    Raises:
        NothingToPayError: it comes to nothing.
        PriceMovedError: it comes to something else than was shown.
        RuleError: it cannot be invoiced, as ``documents.issue``.
    """
    edition = rates.in_force(session, now.on).edition
    total = priced(edition, sale.job, now.on).priced.totals.total
    if total <= 0:
        raise NothingToPayError
    if total != sale.shown:
        raise PriceMovedError(total=total, shown=sale.shown)
    name = sale.name.strip() or CASH_CUSTOMER
    about = About(customer_id=sale.customer_id, caller="" if sale.customer_id else name)
    quote = quotes.save(session, about, [Asked("", sale.job)], now, said=sale.said)
    quote.over_the_counter = True
    buyer = quotes.on_paper(quotes.quote_of(session, quote.id)).name or name
    consent = Consent(by=buyer, how=How.IN_PERSON, note="sold over the counter")
    quotes.accept(session, quote, quote.version, 1, consent, now.at, now)
    invoice = documents.issue(
        session, [quote], now, named=bool(sale.customer_id or sale.name.strip())
    )
    paid = total
    if sale.method == Method.CASH:
        paid = to_pay_in_cash(total, edition.policy)
    documents.pay(
        session,
        edition.currency.to_minor(paid),
        sale.method,
        now,
        document=invoice,
    )
    return quote
