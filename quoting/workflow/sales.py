"""A sale over the counter: asked for, priced, paid and receipted in one go.

It is a quote that is accepted and paid at once, so its number, its yes and its money
stand on record like those of any other. Its invoice comes from the accounts.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from quoting.domain.consent import Consent, How
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Job
from quoting.domain.life import check_deposit
from quoting.domain.quote import Alternative, offer
from quoting.store.models import Quote
from quoting.workflow import counter_papers, orders, quotes, rates
from quoting.workflow.quotes import OVER_THE_COUNTER, About, Asked, Now

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
    """Put a paid sale on record and issue its receipt; all of it or nothing.

    Raises:
        DepositTaxedError: tax falls due when money is taken before the invoice.
        NothingToPayError: it comes to nothing.
        PriceMovedError: it comes to something else than was shown.
    """
    check_deposit(None, taxed_on_receipt=orders.deposits_taxed(session))
    edition = rates.in_force(session, now.on).edition
    total = priced(edition, sale.job, now.on).priced.totals.total
    if total <= 0:
        raise NothingToPayError
    if total != sale.shown:
        raise PriceMovedError(total=total, shown=sale.shown)
    name = sale.name.strip() or CASH_CUSTOMER
    about = About(customer_id=sale.customer_id, caller="" if sale.customer_id else name)
    quote = quotes.save(session, about, [Asked("", sale.job)], now, said=sale.said)
    buyer = quotes.on_paper(quotes.quote_of(session, quote.id)).name or name
    consent = Consent(by=buyer, how=How.IN_PERSON, note=OVER_THE_COUNTER)
    quotes.accept(session, quote, quote.version, 1, consent, now.at, now)
    taken = orders.take_deposit(session, quote, total, sale.method, now)
    counter_papers.receipt(session, quote, taken, now)
    return quote
