"""Old debts: the bands, the day they are counted from, and the control account.

Bands of thirty days, the thirtieth in the first: common practice, no source.
"""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from builders import dec
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.ageing import Aged, Owed, Since, aged, band

AT = date(2026, 3, 31)


def debt(number, who, on, amount, pay_by=None):
    return Owed(number, who, on, pay_by, dec(amount))


@pytest.mark.parametrize(
    ("days", "expected"),
    [(-1, 0), (0, 0), (30, 0), (31, 1), (60, 1), (61, 2), (90, 2), (91, 3), (999, 3)],
)
def test_the_thirtieth_day_is_in_the_first_band_and_the_ninetieth_in_the_third(
    days, expected
):
    assert band(days) == expected
    owed = [debt("I-1", "A", AT - timedelta(days=days), "10.00")]
    assert aged(owed, [], AT)["A"].bands[expected] == dec("10.00")


def test_debts_by_the_day_of_the_invoice():
    """To 31 March: 1 March 30 days, 28 February 31, 30 January 60, 1 December 120."""
    owed = [
        debt("I-1", "A", date(2026, 3, 1), "10.00"),
        debt("I-2", "A", date(2026, 2, 28), "20.00"),
        debt("I-3", "B", date(2026, 1, 30), "5.50"),
        debt("I-4", "A", date(2025, 12, 1), "1.25"),
    ]
    by = aged(owed, [], AT)

    assert list(by) == ["A", "B"]
    assert by["A"].bands == (dec("10.00"), dec("20.00"), 0, dec("1.25"))
    assert by["B"].bands == (0, dec("5.50"), 0, 0)
    assert by["A"].owed == by["A"].balance == dec("31.25")


def test_the_same_debts_by_the_last_day_to_pay():
    """Invoiced 120 days ago with 90 days to pay it is 30 days late; not due yet is 0.

    Where no last day was set the day of the invoice counts.
    """
    owed = [
        debt("I-1", "A", date(2025, 12, 1), "10.00", date(2026, 3, 1)),
        debt("I-2", "A", date(2026, 2, 1), "20.00", date(2026, 5, 2)),
        debt("I-3", "A", date(2025, 12, 1), "40.00"),
    ]

    assert aged(owed, [], AT, Since.DUE)["A"].bands == (
        dec("30.00"), 0, 0, dec("40.00"),
    )  # fmt: skip
    assert aged(owed, [], AT, Since.INVOICED)["A"].bands == (
        0, dec("20.00"), 0, dec("50.00"),
    )  # fmt: skip


def test_money_on_account_stands_beside_the_debts_and_hides_none():
    """A owes 100.00 and paid 30.00 on account; C only left 12.00, so is in credit."""
    by = aged(
        [debt("I-1", "A", date(2026, 1, 1), "100.00")],
        [("A", dec("30.00")), ("C", dec("12.00"))],
        AT,
    )

    assert by["A"].bands == (0, 0, dec("100.00"), 0)
    assert (by["A"].owed, by["A"].unallocated) == (dec("100.00"), dec("30.00"))
    assert by["A"].balance == dec("70.00")
    assert (by["C"].owed, by["C"].balance) == (0, dec("-12.00"))


AMOUNTS = st.integers(1, 10**7).map(lambda n: Decimal(n) / 100)
NAMES = st.sampled_from("ABC")
DAYS = st.dates(date(2025, 1, 1), AT)


@given(
    st.lists(st.builds(Owed, st.just("I-1"), NAMES, DAYS, st.none() | DAYS, AMOUNTS)),
    st.lists(st.tuples(NAMES, AMOUNTS)),
    st.sampled_from(Since),
)
def test_the_balances_add_up_to_the_debtors_account(owed, unallocated, since):
    by = aged(owed, unallocated, AT, since)

    control = sum(each.amount for each in owed) - sum(a for _, a in unallocated)
    together = sum(by.values(), Aged())
    assert together.balance == control
    assert sum(together.bands) == together.owed
    assert {*by} == {each.who for each in owed} | {who for who, _ in unallocated}
