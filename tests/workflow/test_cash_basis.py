"""The tax of a month where it is due on receipt, on both databases.

The job of ``accounts`` is 414.98 before tax: 76.77 at 18.5 %, 491.75 with it. The
tax in a sum with tax is sum x 18.5 / 118.5.
"""

import random
from decimal import Decimal

import pytest
from accounts import (
    DECEMBER,
    NOVEMBER,
    agreed,
    credit,
    do,
    invoice,
    pay,
    report,
    row_of,
    take,
)
from shop import now, part_payments

from quoting.store.models import DocumentIssued
from quoting.workflow import debts, deposits, payments
from quoting.workflow.invoices import Credited

#: Days from 25 November to one of December.
LATER = 10


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage", address="1 Row")


def cash(shop, which=NOVEMBER):
    return sum((tax for _, _, tax in report(shop, which).cash_taxes), Decimal(0))


def due(shop, which=NOVEMBER):
    return sum((tax for _, _, tax in report(shop, which).taxes), Decimal(0))


def test_an_untaxed_deposit_is_taxed_when_an_invoice_takes_it_off(shop, customer):
    """100.00 has 15.61 in it; the 391.75 paid in December have 61.16: 76.77."""
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    assert cash(shop) == 0

    key = invoice(shop, quote)
    assert cash(shop) == Decimal("15.61")

    pay(shop, key, row_of(shop, key).left, days=LATER)
    assert cash(shop, DECEMBER) == Decimal("61.16")
    assert due(shop) == Decimal("76.77")


def test_a_deposit_that_was_taxed_when_it_came_is_taxed_in_that_month(shop, customer):
    """100.00 has 15.61 in it, in November; nothing of it is due again in December."""
    with shop.database.transaction() as session:
        part_payments(session)
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    assert cash(shop) == due(shop) == Decimal("15.61")

    key = invoice(shop, quote, days=LATER)
    assert cash(shop, DECEMBER) == 0

    pay(shop, key, row_of(shop, key).left, days=LATER)
    assert cash(shop, DECEMBER) == due(shop, DECEMBER) == Decimal("61.16")


def test_what_is_paid_back_takes_its_tax_along_in_its_own_month(shop, customer):
    """Paid in November; credited and paid back in December: 76.77 and -76.77."""
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, 49175)
    note = credit(shop, key, Credited(), days=LATER)
    assert cash(shop) == Decimal("76.77")
    assert cash(shop, DECEMBER) == 0  # the money is still there

    do(shop, payments.refund, note, 49175, "card", "never done", days=LATER)

    assert cash(shop, DECEMBER) == Decimal("-76.77")
    assert cash(shop) + cash(shop, DECEMBER) == due(shop) + due(shop, DECEMBER) == 0


def test_a_credit_that_pays_another_invoice_keeps_its_tax(shop, customer):
    """50.00 have 7.81 in them: taken from the first invoice, they pay the second."""
    first, second = (invoice(shop, agreed(shop, customer)) for _ in range(2))
    pay(shop, first, 49175)
    note = credit(shop, first, Credited(amount=Decimal("50.00")), days=LATER)
    do(shop, _against, note, days=LATER)
    assert cash(shop) == Decimal("76.77")
    assert cash(shop, DECEMBER) == 0

    pay(shop, second, 44175, days=LATER)
    assert cash(shop, DECEMBER) == Decimal("76.77") - Decimal("7.81")


def _against(session, note, now):
    payments.set_against(session, note, now)
    return note


def test_a_deposit_that_is_kept_is_taxed_when_it_is_kept(shop, customer):
    """118.50 kept: 18.50 of tax."""
    key = take(shop, agreed(shop, customer), "118.50")
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        deposits.keep_deposit(session, row, 11850, "never came", now(), taxed=True)
    assert cash(shop) == due(shop) == Decimal("18.50")


def test_a_debt_given_up_has_no_tax_where_it_is_due_on_receipt(shop, customer):
    """118.50 of 491.75 are written off: 76.77 - 18.50 = 58.27 were received."""
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, 49175 - 11850)
    do(shop, debts.write_off, key, "gone away")
    assert (cash(shop), due(shop)) == (Decimal("58.27"), Decimal("76.77"))

    do(shop, debts.relief, key, "half a year on", days=LATER)
    assert due(shop) + due(shop, DECEMBER) == cash(shop)


def test_money_in_another_currency_is_no_part_of_the_month(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, 49175)
    with shop.database.transaction() as session:
        session.get(DocumentIssued, key).currency = "USD"
    assert cash(shop) == 0


@pytest.mark.parametrize("taxed", [False, True])
def test_lives_that_end_settled_have_the_same_tax_on_both_bases(shop, customer, taxed):
    """Deposits, part payments and credits by chance, settled in the third month."""
    if taxed:
        with shop.database.transaction() as session:
            part_payments(session)
    rng = random.Random(7)  # noqa: S311 no secret
    keys = []
    for day in range(0, 24, 3):
        quote = agreed(shop, customer, days=day)
        if rng.random() < 0.6:
            take(shop, quote, rng.randrange(1, 40_000) / Decimal(100), days=day)
        keys.append(invoice(shop, quote, days=day))
        key = rng.choice(keys)
        if (left := row_of(shop, key).left) > 1:
            pay(shop, key, rng.randrange(1, left), days=day)
        credited = row_of(shop, keys[-1])
        if rng.random() < 0.7:
            part = Decimal(rng.randrange(1, credited.gross)) / 100
            note = credit(shop, keys[-1], Credited(amount=part), days=day + 1)
            if (left := row_of(shop, note).left) and rng.random() < 0.5:
                do(shop, payments.refund, note, left, "card", "agreed", days=day + 1)
    for key in keys:
        if left := row_of(shop, key).left:
            pay(shop, key, left, days=40)
    with shop.database.transaction() as session:
        for note in session.query(DocumentIssued).filter_by(kind="credit note"):
            if note.left:
                payments.refund(
                    session, note, note.left, "card", "agreed", now(days=41)
                )
    months = (NOVEMBER, DECEMBER, DECEMBER.next)
    received = [cash(shop, which) for which in months]
    assert sum(received) == sum(due(shop, which) for which in months)
    assert received != [due(shop, which) for which in months]
