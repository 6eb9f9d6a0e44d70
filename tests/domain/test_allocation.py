"""Payments: what they pay, and the tax that is in them.

The sums stand in the docstrings and can be followed with a pocket calculator; their
figures are invented unless a source is named.
"""

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from builders import dec
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.allocation import by_name, in_order, within
from quoting.domain.errors import ProblemsError
from quoting.domain.tax import Policy, to_pay_in_cash

# Which documents.


def owed(**amounts):
    return {number: dec(amount) for number, amount in amounts.items()}


def test_the_first_is_paid_first_and_the_rest_pays_a_part_of_the_next():
    """100.00 pays 60.00 of I1 and 40.00 of the 70.00 of I2, nothing of I3."""
    assert in_order(owed(I1="60.00", I2="70.00", I3="5.00"), dec("100.00")) == owed(
        I1="60.00", I2="40.00"
    )


def test_what_is_more_than_all_that_is_owed_stays_on_account():
    """150.00 for 60.00 and 70.00: 20.00 pay nothing."""
    shares = in_order(owed(I1="60.00", I2="70.00"), dec("150.00"))

    assert shares == owed(I1="60.00", I2="70.00")
    assert dec("150.00") - sum(shares.values()) == dec("20.00")


def test_where_nothing_is_owed_nothing_is_paid():
    assert in_order({}, dec("10.00")) == {}
    assert in_order(owed(I1="0.00", I2="3.00"), dec("2.00")) == owed(I2="2.00")


def test_cash_pays_a_rounded_sum_in_full():
    """202.27 is paid with 202.25 in cash; 0.02 more are settled by the rounding.

    Canada Revenue Agency, GI-131, examples 1 and 7: 179.00 + 13 % 23.27 = 202.27.
    """
    due = dec("202.27")
    paid = to_pay_in_cash(due, Policy(cash_step=dec("0.05")))
    rounding = due - paid

    assert (paid, -rounding) == (dec("202.25"), dec("-0.02"))
    assert in_order({"I1": due}, paid + rounding) == {"I1": due}
    # The tax in it is that of the invoice, untouched by the rounding.
    assert within([(17900, 2327)], 20227, 0, 20227) == ((17900, 2327),)


def test_somebody_says_what_is_paid():
    said = owed(I2="30.00", I1="20.00")

    assert by_name(said, owed(I1="60.00", I2="70.00"), dec("55.00")) == said
    assert by_name({}, owed(I1="60.00"), dec("55.00")) == {}


def test_everything_wrong_with_what_somebody_says_is_named_at_once():
    """80.00 of 60.00, something unknown, less than nothing, and 88.00 of 50.00."""
    said = owed(I1="80.00", I9="10.00", I2="-2.00")

    with pytest.raises(ProblemsError) as refused:
        by_name(said, owed(I1="60.00", I2="70.00"), dec("50.00"))
    assert [str(problem) for problem in refused.value.problems] == [
        "payment, column I1: found '80.00'; is more than the 60.00 that is owed",
        "payment, column I9: found '10.00'; nothing is owed on it",
        "payment, column I2: found '-2.00'; is not more than nothing",
        "payment: found '88.00'; is more than the 50.00 paid",
    ]


AMOUNTS = st.integers(0, 10**6).map(lambda n: Decimal(n) / 100)
DEBTS = st.lists(AMOUNTS, max_size=6).map(
    lambda some: {f"I{place}": amount for place, amount in enumerate(some)}
)


@given(DEBTS, AMOUNTS)
def test_a_payment_pays_all_it_can_and_no_debt_before_an_earlier_one(debts, amount):
    shares = in_order(debts, amount)

    assert sum(shares.values()) == min(amount, sum(debts.values()))
    assert all(0 < share <= debts[number] for number, share in shares.items())
    open_before = [
        number for number, left in debts.items() if shares.get(number, 0) < left
    ]
    if open_before:
        first_open = list(debts).index(open_before[0])
        assert all(list(debts).index(number) <= first_open for number in shares)


@given(DEBTS, AMOUNTS)
def test_what_the_order_gives_may_be_said_as_well(debts, amount):
    shares = in_order(debts, amount)

    assert by_name(shares, debts, amount) == shares


# Which tax.

#: Labour and outwork 530.50 at 13.5 %, a part and its surcharge 437.35 at 23 %.
ROWS = [(53050, 7162), (43735, 10059)]
WHOLE = 114006


def test_the_tax_in_all_that_was_received_by_rate():
    """900.00 over 602.12 : 328.84 of 930.96 is 582.10 and 317.90.

    Tax in them 582.10 x 13.5/113.5 = 69.2366 and 317.90 x 23/123 = 59.4447.
    """
    [low, high] = within([(53050, 7162), (26735, 6149)], 93096, 0, 90000)

    assert (sum(low), sum(high)) == (58210, 31790)
    assert (low[1], high[1]) == (6924, 5944)


def test_a_payment_has_its_share_of_every_rate():
    """600.00 of 1140.06: 602.12 x 0.526288 = 316.89 and 537.94 x 0.526288 = 283.11.

    Tax in them 316.89 x 71.62/602.12 = 37.69 and 283.11 x 100.59/537.94 = 52.94.
    """
    assert within(ROWS, WHOLE, 0, 60000) == ((27920, 3769), (23017, 5294))


def test_the_last_payment_has_what_the_others_left():
    """1140.06 less 600.00: tax 71.62 - 37.69 = 33.93 and 100.59 - 52.94 = 47.65."""
    assert within(ROWS, WHOLE, 60000, 54006) == ((25130, 3393), (20718, 4765))


def test_a_cent_that_two_rows_would_both_have_goes_to_one():
    """1 of two rows of 1: half for each, so the first has it; the second gets the next.

    Rounded row by row both would have it, and the second payment nothing.
    """
    assert within([(1, 0), (1, 0)], 2, 0, 1) == ((1, 0), (0, 0))
    assert within([(1, 0), (1, 0)], 2, 1, 1) == ((0, 0), (1, 0))


def test_two_taxes_on_one_base_have_it_both():
    """Half of 100.00 + 5.00 + 9.98: each row has the base of 50.00; 2.50 and 4.99.

    Two taxes side by side: Revenu Québec, "Calculating the taxes".
    """
    assert within([(10000, 500), (10000, 998)], 11498, 0, 5749) == (
        (5000, 250),
        (5000, 499),
    )


def test_there_is_no_tax_in_a_payment_for_a_document_of_nothing():
    assert within([(0, 0)], 0, 0, 0) == ((0, 0),)
    assert within([], 500, 0, 500) == ()


@st.composite
def documents(draw):
    """Return rows at different rates, their gross, and payments of all of it."""
    nets = draw(st.lists(st.integers(0, 200_000), min_size=1, max_size=4))
    rates = [draw(st.sampled_from([0, 50, 75, 135, 200, 230])) for _ in nets]
    rows = [
        (net, (net * rate + 500) // 1000) for net, rate in zip(nets, rates, strict=True)
    ]
    whole = sum(map(sum, rows))
    cuts = draw(st.lists(st.integers(0, whole), max_size=4))
    stops = [0, *sorted(cuts), whole]
    return rows, whole, list(pairwise(stops))


@given(documents())
def test_the_parts_of_a_paid_document_are_its_rows(document):
    rows, whole, payments = document
    parts = [within(rows, whole, was, now - was) for was, now in payments]

    for place, row in enumerate(rows):
        assert (
            tuple(map(sum, zip(*(part[place] for part in parts), strict=True))) == row
        )


@given(documents())
def test_the_parts_of_a_payment_add_up_to_it(document):
    rows, whole, payments = document
    for was, now in payments:
        parts = within(rows, whole, was, now - was)
        assert sum(map(sum, parts)) == now - was


@given(documents())
def test_the_tax_in_all_that_was_paid_is_near_its_exact_share(document):
    rows, whole, payments = document
    for _, paid in payments:
        for (base, tax), (_, part) in zip(
            rows, within(rows, whole, 0, paid), strict=True
        ):
            exact = Fraction(tax * paid, whole) if whole else Fraction(0)
            assert abs(part - exact) < Fraction(3, 2)
            assert 0 <= part <= tax
            assert base + tax or part == 0
