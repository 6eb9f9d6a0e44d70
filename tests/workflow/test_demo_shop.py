"""The invented shop is a lawful one: what its people typed could have been typed."""

from contextlib import closing
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from quoting.domain.life import OrderState, QuoteState
from quoting.resources import folder
from quoting.store import audit
from quoting.store.database import Database
from quoting.store.models import (
    Approval,
    Ask,
    Attempt,
    Customer,
    DepositTaken,
    Order,
    Quote,
    Record,
    Revision,
    Trail,
    User,
)
from quoting.workflow import demo_shop, people, quotes
from quoting.workflow.search import search
from quoting.workflow.today import UNCOLLECTED_AFTER, today

ON = date(2026, 11, 26)
#: Tables that hold secrets or hashes with salt, and so differ every time.
SECRET = {"setup", "users"}
#: Columns that say how long something took.
TIMED = {"milliseconds"}


def filled(path, **how):
    """Return an invented shop and who can sign in there."""
    database = Database(f"sqlite:///{path}")
    database.upgrade()
    rates = folder("rates_demo")
    return database, demo_shop.fill(database, rates, on=ON, **{"seed": 7, **how})


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    database, sign_ins = filled(tmp_path_factory.mktemp("demo") / "shop.db")
    with closing(database):
        yield database, sign_ins


@pytest.fixture
def session(shop):
    with shop[0].reading() as session:
        yield session


def test_every_order_was_booked_in_on_a_yes_said_before(session):
    orders = session.scalars(select(Order)).all()

    assert orders
    for order in orders:
        yes = select(Approval).where(Approval.quote_id == order.quote_id)
        first = session.scalars(yes.order_by(Approval.id)).first()
        assert first is not None
        assert first.said_at <= order.booked
        assert order.quote.state == QuoteState.ACCEPTED


@pytest.mark.parametrize(
    ("model", "mask"),
    [(Quote, "Q-{:05}"), (Order, "W-{:05}"), (DepositTaken, "D-{:05}")],
)
def test_numbers_run_from_one_without_a_gap_in_the_order_of_days(session, model, mask):
    rows = session.scalars(select(model).order_by(model.id)).all()

    assert len(rows) > 20
    assert [row.number for row in rows] == [
        mask.format(number) for number in range(1, len(rows) + 1)
    ]
    days = {
        number: session.scalar(
            select(Revision.on).where(Revision.quote_id == row.id, Revision.number == 1)
        )
        if model is Quote
        else row.on
        for number, row in enumerate(rows)
    }
    assert list(days.values()) == sorted(days.values())


def test_the_trail_is_unbroken_and_runs_forward(session):
    times = session.scalars(select(Trail.at).order_by(Trail.id)).all()

    assert audit.broken(session) is None
    assert times == sorted(times)


def test_nothing_happened_on_the_last_morning_or_later(session):
    happened = [
        *session.scalars(select(Trail.at)),
        *session.scalars(select(Approval.said_at)),
        *session.scalars(select(Attempt.at)),
        *session.scalars(select(Ask.sent)),
        *session.scalars(select(User.created)),
        *session.scalars(select(Revision.saved)),
    ]
    days = [
        day
        for order in session.scalars(select(Order))
        for day in (
            order.on,
            order.ready,
            order.told,
            order.collected,
            order.waits_since,
        )
        if day
    ]

    assert max(at.date() for at in happened) < ON
    assert max(days) < ON
    assert min(at.date() for at in happened) == ON - timedelta(days=demo_shop.DAYS)


def test_a_year_holds_some_hundreds_of_quotes_of_dozens_of_customers(session):
    customers = session.scalars(select(Customer)).all()

    assert 240 <= len(session.scalars(select(Quote)).all()) <= 320
    assert len(customers) == 40
    assert {bool(row.terms) for row in customers} == {True, False}
    assert any(row.up_to for row in customers)
    assert any(row.contacts for row in customers)


def test_every_state_can_be_seen(session):
    found = {quotes.state_on(quote, ON) for quote in session.scalars(select(Quote))}
    assert found == set(QuoteState)
    assert set(session.scalars(select(Order.state))) == set(OrderState)


def test_the_morning_has_something_in_every_list(session):
    morning = today(session, ON)

    assert all(getattr(morning, name) for name in morning._fields)
    assert all(quote.call_back <= ON for quote in morning.to_call)
    assert {order.waits_for for order in morning.waiting} >= {
        "a yes", "parts", "outwork", "a machine", "the customer",
    }  # fmt: skip
    assert max((ON - order.told).days for order in morning.uncollected) > 60
    assert UNCOLLECTED_AFTER < 60


def test_four_heads_came_off_one_van_and_four_on_one_order(session):
    heads = [len(order.heads) for order in session.scalars(select(Order))]
    batches = [order.batch for order in session.scalars(select(Order)) if order.batch]

    assert {1, 2, 4} <= set(heads)
    assert len(batches) == 4
    assert len(set(batches)) == 1


def test_the_invented_people_can_sign_in(shop, session):
    _, sign_ins = shop

    for person in sign_ins:
        row = people.recognise(session, person.sign_in, person.password)
        assert (row.name, row.roles.split()) == (person.name, list(person.roles))


def test_a_customer_is_found_by_the_beginning_of_a_name(session):
    hits = search(session, "osg dau")

    assert hits[0].title == "Osgood & Daughters Garage"
    assert {hit.subject for hit in hits} == {"customer", "quote"}


def content(database):
    """Return every row of every table that holds no secret, without what it took."""
    with database.reading() as session:
        return {
            table.name: session.execute(
                select(*(column for column in table.c if column.name not in TIMED))
            ).all()
            for table in Record.metadata.sorted_tables
            if table.name not in SECRET
        }


def test_the_same_seed_makes_the_same_shop_and_another_another(tmp_path):
    made = []
    for name, seed in (("one", 7), ("same", 7), ("other", 8)):
        database, _ = filled(tmp_path / f"{name}.db", seed=seed, days=50)
        with closing(database):
            made.append(content(database))
    one, same, other = made

    assert len(one["quotes"]) > 20
    assert one == same
    assert one != other


def test_a_shop_that_is_in_use_is_left_alone(shop):
    before = content(shop[0])

    with pytest.raises(people.AlreadySetUpError):
        demo_shop.fill(shop[0], folder("rates_demo"), on=ON)

    assert content(shop[0]) == before
