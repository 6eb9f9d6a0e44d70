"""Short ways to let money happen to a shop's documents, each in its own transaction."""

from datetime import timedelta
from decimal import Decimal

from shop import DAY, now

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Why
from quoting.domain.month import Month
from quoting.store.models import DocumentIssued
from quoting.workflow import deposits, invoices, month, payments, quotes

#: 414.98 before tax in the demo edition: 76.77 at 18.5 %, 491.75 with it.
TWIN_CAM = "16v twin cam valve job"
NOVEMBER = Month.of(DAY)
DECEMBER = NOVEMBER.next


def agreed(shop, customer, words=TWIN_CAM, days=0):
    """Save a quote and a yes to it; return the quote's key."""
    key = shop.save(words, customer=customer, days=days)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        at = now(days=days)
        quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
    return key


def invoice(shop, *keys, days=0, **options):
    """Issue the invoice for quotes; return its key."""
    with shop.database.transaction() as session:
        rows = [quotes.quote_of(session, key) for key in keys]
        return invoices.issue(session, rows, now(days=days), **options).id


def do(shop, act, key, *given, days=0, **options):
    """Do something with a document; return the key of what came of it."""
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return act(session, row, *given, now(days=days), **options).id


def credit(shop, key, what, days=0):
    """Credit an invoice; return the credit note's key."""
    return do(
        shop,
        invoices.credit,
        key,
        what,
        days=days,
        reason=Why.PRICE,
        because="agreed on the phone",
    )


def pay(shop, key, amount, method="card", days=0):
    """Pay so many of the smallest unit for a document."""
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return payments.pay(session, amount, method, now(days=days), document=row).id


def take(shop, quote, amount, days=0):
    """Take a deposit for a quote; return its key."""
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        at = now(days=days)
        return deposits.take_deposit(session, row, Decimal(amount), "cash", at).id


def row_of(shop, key):
    """Return a document as it is kept."""
    with shop.database.reading() as session:
        return session.get(DocumentIssued, key)


def report(shop, which=NOVEMBER, days=90):
    """Return a month as it is reported so many days after ``DAY``."""
    with shop.database.reading() as session:
        return month.report(session, which, DAY + timedelta(days=days))


def out(made):
    """Return the identities that do not hold."""
    return [(c.name, c.left, c.right, c.terms) for c in made.checks if not c.holds]
