"""A month that is over reads the same whenever it is read, on both databases."""

from decimal import Decimal

import pytest
from accounts import DECEMBER, NOVEMBER, agreed, credit, invoice, out, report, take
from shop import now

from quoting.domain.consent import Consent, How
from quoting.domain.job import AskedPart, Job
from quoting.domain.life import OrderMove
from quoting.store.models import Order
from quoting.workflow import customers, deposits, orders, people, quotes, surcharges
from quoting.workflow.invoices import Credited
from quoting.workflow.orders import BookedIn
from quoting.workflow.quotes import About, Asked

#: Days from 25 November to one of December.
LATER = 10


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage", address="1 Row")


def lists(shop, which=NOVEMBER):
    made = report(shop, which)
    assert out(made) == []
    return made.deposits, made.surcharges, made.work, made.credits, made.owed


def test_a_surcharge_that_is_kept_or_credited_later_was_held_then(shop, customer):
    """150.00 each: one is kept in December, 60 % of the other credited."""
    keys = [_exchange(shop, customer) for _ in range(2)]
    before = lists(shop)
    assert [row.amount for row in before[1]] == [Decimal(150), Decimal(150)]
    with shop.database.transaction() as session:
        first, second = surcharges.held(session)
        place = second.place
        surcharges.keep(session, first, "cracked through", now(days=LATER))
    credit(shop, keys[1], Credited(lines={place: Decimal("0.6")}), days=LATER)

    assert lists(shop) == before
    assert [row.amount for row in lists(shop, DECEMBER)[1]] == [Decimal(60)]


def _exchange(shop, customer):
    """Invoice an exchange head with its surcharge; return the invoice's key."""
    unit = next(c for c, p in shop.edition.parts.items() if p.surcharge == "OLDCAR")
    job = Job((), parts=(AskedPart(code=unit, quantity=Decimal(1)),))
    with shop.database.transaction() as session:
        about = About(customer_id=customer)
        quote = quotes.save(session, about, [Asked("", job)], now(), said="exchange")
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
        key = quote.id
    return invoice(shop, key)


def test_a_deposit_that_goes_or_is_moved_later_was_held_for_its_job_then(
    shop, customer
):
    first, _ = agreed(shop, customer), agreed(shop, customer)
    key = take(shop, first, "100.00")
    before = lists(shop)
    assert [(row.amount, row.note) for row in before[0]] == [(100, "Q-00001")]
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        at = now(days=LATER)
        deposits.move_deposit(session, row, "Q-00002", "same customer", at)
        deposits.pay_deposit_back(session, row, 2500, "cash", "cheaper", at)

    assert lists(shop) == before
    assert [(row.amount, row.note) for row in lists(shop, DECEMBER)[0]] == [
        (75, "Q-00002")
    ]


def test_a_customer_who_is_called_otherwise_later_keeps_the_name_of_then(
    shop, customer
):
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    _booked(shop, quote)
    before = lists(shop)
    _called(shop, customer, "Osgood and Partners", days=LATER)
    _called(shop, customer, "Osgood Engines", days=40)

    assert lists(shop) == before
    assert {row.who for rows in before for row in rows} == {"Osgood & Daughters Garage"}
    assert lists(shop, DECEMBER)[0][0].who == "Osgood and Partners"
    assert lists(shop, DECEMBER.next)[0][0].who == "Osgood Engines"


def _called(shop, customer, name, days):
    with shop.database.transaction() as session:
        at = now(days=days)
        details = customers.Details(name, address="1 Row")
        customers.save(session, details, at=at.at, who=at.who, customer_id=customer)


def _booked(shop, quote):
    """Book in the heads of a quote; return the order's key."""
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        return orders.book_in(session, row, BookedIn(), now()).id


def _handed_over(shop, order, days=0):
    with shop.database.transaction() as session:
        row, at = session.get(Order, order), now(days=days)
        for step, more in (
            (OrderMove.MAKE_READY, {}),
            (OrderMove.COLLECT, {"collected_by": "Mabel Osgood"}),
        ):
            orders.move(session, row, row.version, step, at, **more)


def test_work_that_was_handed_over_and_not_invoiced_is_in_progress(shop, customer):
    """414.98 before tax, with 100.00 held against it."""
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    order = _booked(shop, quote)
    _handed_over(shop, order)
    before = lists(shop)
    assert [(row.what, row.amount, row.note) for row in before[2]] == [
        ("W-00001", Decimal("414.98"), "collected; 100.00 held in deposits")
    ]

    key = invoice(shop, quote, days=LATER)
    assert lists(shop) == before
    assert lists(shop, DECEMBER)[2] == ()

    credit(shop, key, Credited(), days=LATER + 1)
    assert lists(shop) == before
    assert [row.what for row in lists(shop, DECEMBER)[2]] == ["W-00001"]


def test_work_says_how_far_it_was_when_the_month_ended(shop, customer):
    order = _booked(shop, agreed(shop, customer))
    before = lists(shop)
    assert [row.note for row in before[2]] == ["booked in"]
    _handed_over(shop, order, days=LATER)

    assert lists(shop) == before
    assert [row.note for row in lists(shop, DECEMBER)[2]] == ["collected"]


def test_a_month_ends_at_midnight_where_the_shop_is(shop, customer):
    """Auckland's December begins at 11:00 UTC of 30 November."""
    with shop.database.transaction() as session:
        people.setup(session).zone = "Pacific/Auckland"
    order = _booked(shop, agreed(shop, customer))
    _handed_over(shop, order, days=5)  # noon UTC
    assert [row.note for row in lists(shop)[2]] == ["booked in"]
