"""Laws of double entry over random lives of a shop, on both databases.

Each life is two months of deposits, invoices, credits, payments and whatever else can
happen to money, in a currency of no, two or three digits. It is undone afterwards, so
one database serves them all.
"""

import random
from collections import Counter
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from accounts import NOVEMBER, out
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lives import ACTS, Life, NothingThereError, Place, Step, shop_in
from shop import DAY, now
from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from quoting.domain.invoice import Kind
from quoting.domain.journal import Role
from quoting.domain.month import Month, MonthLockedError
from quoting.store.models import DepositTaken, DocumentIssued, Entry, GivenUp, Payment
from quoting.workflow import closing, debts, month

PLACES = [
    Place("JPY", 0, "10"),
    Place("JPY", 0, "5", inclusive=True, on_receipt=True),
    Place("EUR", 2, "0.05", on_receipt=True),
    Place("GBP", 2, "0.05", inclusive=True),
    Place("KWD", 3, "0.005"),
    Place("TND", 3, "0.010", on_receipt=True),
]
#: Days in which a life is over, and after which its months may be closed.
LAST, LATER = 60, 200

steps = st.lists(
    st.builds(
        Step,
        wait=st.integers(0, 3),
        act=st.sampled_from(ACTS),
        which=st.integers(0, 20),
        part=st.integers(0, 1000),
    ),
    min_size=12,
    max_size=50,
)


def in_place(place):
    kind = "on receipt" if place.on_receipt else "on invoice"
    return f"{place.currency}, {kind}{', in the price' * place.inclusive}"


@pytest.fixture(params=PLACES, ids=in_place)
def living(request, database):
    """Return a function that lets a life happen and hands it to a check."""
    shop = shop_in(request.param, database)
    customers = [
        shop.customer("Osgood & Daughters Garage", address="1 Row"),
        shop.customer("Nettle Yard Autos", address="2 Row"),
    ]

    def live(steps, check, kind=Life):
        with database.transaction() as session:
            life = kind(session, customers)
            life.live(steps)
            check(life)
            session.rollback()

    return live


class Settled(Life):
    """A life in which a debt is given up at once and for good.

    Where it is given up piece by piece, or credited afterwards, each piece rounds its
    tax and the two bases may be a unit apart.
    """

    def _credit(self, row, what):
        if debts.of_document(self.session, row):
            raise NothingThereError
        return super()._credit(row, what)

    def _open(self, which, kind=Kind.INVOICE):
        row = super()._open(which, kind)
        if debts.of_document(self.session, row):
            raise NothingThereError
        return row


few = settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@few
@given(steps=steps)
def test_whatever_is_done_every_month_reconciles(living, steps):
    living(steps, reconciles)


@few
@given(steps=steps)
def test_when_all_is_settled_both_bases_have_the_same_tax(living, steps):
    living(steps, bases_agree, Settled)


@pytest.mark.parametrize("living", PLACES[2:3], ids=in_place, indirect=True)
def test_a_taxed_deposit_kept_in_part_and_then_paid_back_leaves_nothing(living):
    """Several taxes in it: the part that is paid back takes what is left of each."""
    living(
        [
            Step(0, "agree", 9, 794),
            Step(2, "take_deposit", 10, 92),
            Step(1, "keep_deposit", 1, 853),
        ],
        bases_agree,
    )


@pytest.mark.parametrize("living", PLACES[2:3], ids=in_place, indirect=True)
def test_two_months_of_hundreds_of_documents(living):
    """One long life, by the same chance every time, in which nearly all is done."""
    chance = random.Random(1)  # noqa: S311 no secret
    acts = (*ACTS, *["agree", "invoice"] * 3, *["credit_amount", "take_deposit"] * 2)
    long = [
        Step(
            chance.random() < 0.1,
            chance.choice(acts),
            chance.randrange(1000),
            chance.randrange(1001),
        )
        for _ in range(550)
    ]

    def check(life):
        kinds = (DocumentIssued, Payment, DepositTaken)
        counts = [life.session.scalar(select(func.count(of.id))) for of in kinds]
        assert counts[0] > 150
        assert sum(counts) > 250
        untaxed = "apply_deposit"  # there are none where tax is due on receipt
        assert set(life.done) == set(ACTS) - {untaxed}
        reconciles(life)

    living(long, check)


def reports(life):
    """Return the report of every month from the first to after the last."""
    which, made = NOVEMBER, []
    while which <= Month.of(life.today).next:
        made.append(month.report(life.session, which, DAY + timedelta(days=LATER)))
        which = which.next
    return made


def balances(session):
    """Return what the journal has by role, as plain sums over all its entries."""
    of = Entry
    sums = select(of.role, func.sum(of.amount)).group_by(of.role)
    return {role: int(amount) for role, amount in session.execute(sums)}


def unbalanced(session):
    """Return the entries whose debits and credits differ."""
    of = Entry
    sums = (
        select(of.document_number)
        .group_by(of.event, of.document_number)
        .having(func.sum(of.amount) != 0)
    )
    return session.scalars(sums).all()


def overtaken(session):
    """Return the invoices of which more was credited and given up than they charged."""
    of, note = DocumentIssued, aliased(DocumentIssued)
    credited = select(func.sum(note.gross)).where(note.corrects_id == of.id)
    gone = select(func.sum(GivenUp.gross)).where(GivenUp.document_id == of.id)
    both = sum(func.coalesce(each.scalar_subquery(), 0) for each in (credited, gone))
    return session.scalars(select(of.number).where(both > of.gross)).all()


def reconciles(life):
    """Check each month, what it hands to the next, and that closing changes nothing."""
    assert unbalanced(life.session) == []
    assert overtaken(life.session) == []
    made = reports(life)
    for each in made:
        assert out(each) == []
        assert each.reconciles
    minor, posted = life.edition.currency.to_minor, balances(life.session)
    for name, role, sign in (
        ("debtors", Role.DEBTORS, 1),
        ("deposits", Role.DEPOSITS, -1),
        ("surcharges", Role.SURCHARGES, -1),
        ("tax", Role.TAX, -1),
    ):
        held = [getattr(each.ledger, name) for each in made]
        assert held[0].opening == 0
        for earlier, later in pairwise(held):
            assert later.opening == earlier.closing
        assert sign * minor(held[-1].closing) == posted.get(role, 0)
    income = sum((sum(each.ledger.income.values()) for each in made), Decimal(0))
    assert -minor(income) == posted.get(Role.INCOME, 0)
    closes(life, made)


def closes(life, made):
    """Close every month but the last; no figure changes and nothing goes in."""
    for each in made[:-1]:
        closing.close(life.session, each.month, now(days=LATER))
    again = reports(life)
    assert [each.ledger for each in again] == [each.ledger for each in made]
    assert [each.checks for each in again] == [each.checks for each in made]
    life.agree(1, 500)
    with pytest.raises(MonthLockedError), life.session.begin_nested():
        life.invoice(1, 0)


def bases_agree(life):
    """Settle everything: nothing is open, and tax as invoiced is tax as received."""
    life.days = max(life.days, LAST)
    life.settle()
    made = reports(life)
    for each in made:
        assert out(each) == []
    last = made[-1]
    for held in (last.ledger.debtors, last.ledger.deposits, last.ledger.surcharges):
        assert held.closing == 0
    assert by_label(made, "cash_taxes") == by_label(made, "taxes")


def by_label(made, name):
    """Return the tax of all months together, by its label."""
    sums = Counter()
    for each in made:
        for label, _, tax in getattr(each, name):
            sums[label] += tax
    return {label: tax for label, tax in sums.items() if tax != Decimal(0)}
