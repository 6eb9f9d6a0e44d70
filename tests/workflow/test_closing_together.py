"""A month that is closed while somebody invoices in it, on both databases.

Either the invoice is there before the month closes and stands in it, or it is refused;
what was exported of a closed month never changes.
"""

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier, Event

import pytest
from accounts import NOVEMBER, agreed, out, report
from shop import now
from sqlalchemy import func, select

from quoting.domain.month import MonthLockedError
from quoting.store.models import DocumentIssued, Entry
from quoting.workflow import closing, exports, invoices, month, quotes

#: The last day of the month, and days from ``DAY`` to one on which it can be closed.
LAST, LATER = date(2026, 11, 30), 7
#: How long one waits for what has to come, and for what must not come, in seconds.
LONG, SHORT = 30, 0.3


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage", address="1 Row")


@pytest.fixture
def others():
    """Return people who work at the same time."""
    with ThreadPoolExecutor(8) as pool:
        yield pool


def issue(shop, quote, begun=None, go_on=None):
    """Issue an invoice of the month's last day; wait in the middle if told to."""
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        number = invoices.issue(session, [row], now(days=LATER), on=LAST).number
        if begun:
            begun.set()
            assert go_on.wait(LONG)
        return number


def close(shop, begun=None, go_on=None):
    """Close the month; return its files as they are then."""
    with shop.database.transaction() as session:
        closing.close(session, NOVEMBER, now(days=LATER))
        if begun:
            begun.set()
            assert go_on.wait(LONG)
    return files(shop)


def files(shop):
    with shop.database.reading() as session:
        made = month.report(session, NOVEMBER, now(days=LATER).on)
        return exports.write(session, made, "csv")[1]


def numbers(shop):
    with shop.database.reading() as session:
        of = DocumentIssued
        return session.scalars(select(of.number).order_by(of.id)).all()


def test_who_invoices_first_is_in_the_month_that_closes_after(shop, customer, others):
    quote = agreed(shop, customer)
    begun, go_on = Event(), Event()
    issuing = others.submit(issue, shop, quote, begun, go_on)
    assert begun.wait(LONG)
    closing = others.submit(close, shop)
    with pytest.raises(TimeoutError):  # it waits for its turn
        closing.result(SHORT)

    go_on.set()

    assert issuing.result(LONG) == "I-00001"
    closed = closing.result(LONG)
    assert report(shop).moved.invoiced_net > 0
    assert out(report(shop)) == []
    assert files(shop) == closed


def test_who_invoices_into_a_month_that_is_closing_is_refused(shop, customer, others):
    quote = agreed(shop, customer)
    begun, go_on = Event(), Event()
    closing = others.submit(close, shop, begun, go_on)
    assert begun.wait(LONG)
    issuing = others.submit(issue, shop, quote)
    with pytest.raises(TimeoutError):
        issuing.result(SHORT)

    go_on.set()

    closed = closing.result(LONG)
    with pytest.raises(MonthLockedError, match="2026-11"):
        issuing.result(LONG)
    assert numbers(shop) == []
    with shop.database.reading() as session:
        assert session.scalar(select(func.count(Entry.id))) == 0
    assert files(shop) == closed


def test_several_invoice_while_the_month_is_closed(shop, customer, others):
    """Whoever was in time is in the month, without a gap, and nobody comes after."""
    keys = [agreed(shop, customer) for _ in range(7)]
    together = Barrier(8)

    def at_once(act, *given):
        together.wait(LONG)
        return act(shop, *given)

    closing = others.submit(at_once, close)
    issuing = [others.submit(at_once, issue, key) for key in keys]
    closed = closing.result(LONG)
    refused = [error for each in issuing if (error := each.exception(LONG))]

    assert all(isinstance(error, MonthLockedError) for error in refused)
    made = report(shop)
    issued = len(keys) - len(refused)
    assert numbers(shop) == [f"I-{n:05}" for n in range(1, issued + 1)]
    assert made.moved.invoiced_net == issued * made.currency.from_minor(41498)
    assert out(made) == []
    assert files(shop) == closed
