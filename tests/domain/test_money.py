"""Rounding and splitting, checked against sums on paper and against exact fractions."""

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

import pytest
from builders import dec
from hypothesis import example, given
from hypothesis import strategies as st

from quoting.domain.money import (
    DOWN,
    HALF_DOWN,
    HALF_UP,
    MODES,
    UP,
    Currency,
    NothingToSplitError,
    apportion,
    fit,
    round_to,
    rounder,
    smallest_unit,
)

CENT = dec("0.01")
STEPS = [dec(step) for step in ("0.001", "0.01", "0.05", "0.10", "0.5", "1", "10")]

amounts = st.decimals(
    min_value=-(10**7), max_value=10**7, places=5, allow_nan=False, allow_infinity=False
)


# Rounding.


@pytest.mark.parametrize(
    ("amount", "cents"),
    [
        ("2.674", "2.67"),
        ("2.675", "2.68"),
        ("2.685", "2.69"),
        ("0.005", "0.01"),
        ("-0.005", "-0.01"),
        ("-2.675", "-2.68"),
        ("365.125", "365.13"),
        ("101.625", "101.63"),
        ("7", "7.00"),
    ],
)
def test_half_a_cent_goes_away_from_zero(amount, cents):
    """EN 16931 BR-CO-17 as its rules are written: round(abs(x)), then the sign."""
    assert str(round_to(dec(amount), CENT)) == cents


def test_half_even_would_have_lost_a_cent():
    """365.125 and 101.625 stand before an even digit: half-even goes down."""
    for amount in (dec("365.125"), dec("101.625")):
        assert amount.quantize(CENT, ROUND_HALF_EVEN) < round_to(amount, CENT)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        (HALF_UP, "30.17 -30.17 30.16 30.17"),
        (HALF_DOWN, "30.16 -30.16 30.16 30.17"),
        (DOWN, "30.16 -30.16 30.16 30.16"),
        (UP, "30.17 -30.17 30.17 30.17"),
    ],
)
def test_each_mode_on_a_tie_its_mirror_below_and_above(mode, expected):
    four = [dec(text) for text in ("30.165", "-30.165", "30.164", "30.166")]

    assert " ".join(str(round_to(amount, CENT, mode)) for amount in four) == expected


# Canada Revenue Agency GI-131 (elimination of the penny): a cash total ending in 1 or
# 2 goes down to 0, in 3 or 4 up to 5, in 6 or 7 down to 5, in 8 or 9 up to 10.
@pytest.mark.parametrize(
    ("ending", "paid"),
    [(0, 0), (1, 0), (2, 0), (3, 5), (4, 5), (5, 5), (6, 5), (7, 5), (8, 10), (9, 10)],
)
def test_cash_is_rounded_to_the_nearest_five_cents(ending, paid):
    total = dec("202.20") + ending * CENT

    assert round_to(total, dec("0.05")) == dec("202.20") + paid * CENT


@pytest.mark.parametrize("ending", range(10))
def test_ten_cent_cash_leaves_only_the_five_to_the_shop(ending):
    """Reserve Bank of New Zealand: 1 to 4 down, 6 to 9 up, 5 as the shop chooses."""
    total = dec("17.30") + ending * CENT

    up, down = (round_to(total, dec("0.10"), mode) for mode in (HALF_UP, HALF_DOWN))

    assert (up != down) == (ending == 5)
    assert up == dec("17.30") + (dec("0.10") if ending >= 5 else 0)


def test_a_currency_rounds_to_its_own_smallest_unit():
    """ISO 4217 minor units: JPY 0, EUR 2, KWD 3."""
    amount = dec("1234.5675")
    units = [Currency(*of).unit for of in (("JPY", 0), ("EUR", 2), ("KWD", 3))]

    assert [str(round_to(amount, unit)) for unit in units] == [
        "1235", "1234.57", "1234.568",
    ]  # fmt: skip
    assert units == [smallest_unit(digits) for digits in (0, 2, 3)]


@given(amounts, st.sampled_from(STEPS), st.sampled_from(MODES))
def test_rounding_is_to_a_whole_step_less_than_a_step_away(amount, step, mode):
    rounded = round_to(amount, step, mode)

    assert (Fraction(rounded) / Fraction(step)).denominator == 1
    assert abs(Fraction(rounded) - Fraction(amount)) < Fraction(step)


@given(amounts, st.sampled_from(STEPS), st.sampled_from([HALF_UP, HALF_DOWN]))
def test_rounding_to_the_nearest_is_never_more_than_half_a_step_away(
    amount, step, mode
):
    away = abs(Fraction(round_to(amount, step, mode)) - Fraction(amount))

    assert away <= Fraction(step) / 2


@given(amounts, st.sampled_from(STEPS), st.sampled_from(MODES))
def test_every_mode_mirrors_at_zero(amount, step, mode):
    """So that a credit takes back exactly what its invoice charged."""
    assert round_to(-amount, step, mode) == -round_to(amount, step, mode)


@given(amounts, st.sampled_from(STEPS), st.sampled_from(MODES))
def test_rounding_what_is_rounded_changes_nothing(amount, step, mode):
    once = round_to(amount, step, mode)

    assert round_to(once, step, mode) == once


@given(amounts, st.sampled_from(STEPS), st.sampled_from(MODES))
def test_the_rounder_for_loops_does_what_round_to_does(amount, step, mode):
    assert rounder(step, mode)(amount) == round_to(amount, step, mode)


def test_nothing_is_never_written_with_a_minus():
    """0 % of -25.00, or -0.004 rounded, is 0.00 on paper."""
    assert str(round_to(dec("-0.004"), CENT)) == "0.00"
    assert str(round_to(dec("-25.00") * 0, CENT)) == "0.00"
    assert str(round_to(dec("-0.02"), dec("0.05"))) == "0.00"


# Splitting.


def test_largest_remainder_as_encyclopaedias_work_it():
    """Ten seats over 100 000 votes: quotas 4.7, 1.6, 1.59, 1.2, 0.6, 0.31.

    Four, one, one and one are certain; the three that are left go to .7, .6 and .6.
    The usual printed example of the method (Hare quota); the figures from memory.
    """
    votes = [dec(v) for v in ("47000", "16000", "15900", "12000", "6000", "3100")]

    seats = apportion(dec("10"), votes, dec("1"))

    assert [int(seat) for seat in seats] == [5, 2, 1, 1, 1, 0]


def test_rush_over_two_codes():
    """9.25 over 15.00 and 22.00: 3.75 exactly and 5.50 exactly."""
    parts = apportion(dec("9.25"), [dec("15.00"), dec("22.00")], CENT)

    assert parts == (dec("3.75"), dec("5.50"))


def test_of_equal_remainders_the_larger_weight_gets_the_cent():
    """0.02 over 1 and 3 is 0.005 and 0.015: half a cent is left over either way."""
    assert apportion(dec("0.02"), [dec(1), dec(3)], CENT) == (dec("0.00"), dec("0.02"))


def test_of_equal_remainders_and_weights_the_earlier_gets_the_cent():
    assert apportion(dec("0.10"), [dec(1)] * 3, CENT) == (
        dec("0.04"), dec("0.03"), dec("0.03"),
    )  # fmt: skip


def test_splitting_nothing_gives_nothing_to_everybody():
    parts = apportion(dec("0"), [dec(0), dec(5)], CENT)

    assert [str(part) for part in parts] == ["0.00", "0.00"]


@pytest.mark.parametrize("weights", [[], [dec(0)], [dec(0), dec(0)], [dec(1), dec(-1)]])
def test_an_amount_over_nothing_is_refused(weights):
    with pytest.raises(NothingToSplitError, match="5"):
        apportion(dec("5.00"), weights, CENT)


cents = st.integers(-(10**9), 10**9).map(lambda n: n * CENT)
weights_of = st.lists(
    st.decimals("0", "100000", places=4), min_size=1, max_size=12
).filter(any)


@given(cents, weights_of)
@example(dec("600.00"), [dec("523.10"), dec("112.69")])
def test_the_parts_add_up_and_none_is_a_whole_cent_off(amount, weights):
    parts = apportion(amount, weights, CENT)
    whole = sum(map(Fraction, weights))

    assert sum(parts) == amount
    for part, weight in zip(parts, weights, strict=True):
        assert abs(Fraction(part) - Fraction(amount) * Fraction(weight) / whole) < (
            Fraction(CENT)
        )


@given(cents, weights_of)
def test_what_weighs_nothing_gets_nothing(amount, weights):
    parts = apportion(amount, [*weights, dec(0)], CENT)

    assert parts[-1] == 0


@given(cents, weights_of)
def test_splitting_a_credit_mirrors_splitting_its_invoice(amount, weights):
    mirrored = [-part for part in apportion(-amount, weights, CENT)]

    assert mirrored == list(apportion(amount, weights, CENT))


@given(cents, weights_of)
def test_only_the_proportions_of_the_weights_matter(amount, weights):
    assert apportion(amount, [w * 3 for w in weights], CENT) == apportion(
        amount, weights, CENT
    )


@given(cents, st.lists(st.integers(1, 9999).map(Decimal), min_size=1, unique=True))
def test_different_weights_get_the_same_in_any_order(amount, weights):
    there = dict(zip(weights, apportion(amount, weights, CENT), strict=True))
    back = weights[::-1]

    assert dict(zip(back, apportion(amount, back, CENT), strict=True)) == there


# Rounding what must keep its sum.


def test_what_is_nearest_stays_where_it_adds_up():
    """135.00 and -134.9595 to 0.04: the nearest, 135.00 and -134.96, do add up."""
    exact = [Fraction(135), Fraction(-1349595, 10000)]

    assert fit(exact, dec("0.04"), CENT) == (dec("135.00"), dec("-134.96"))


def test_who_loses_least_gives_way():
    """1.006, 1.007 and 1.008 to 3.02: all round up, the first has least claim to it."""
    exact = [Fraction(n, 1000) for n in (1006, 1007, 1008)]

    assert [str(part) for part in fit(exact, dec("3.02"), CENT)] == [
        "1.00", "1.01", "1.01",
    ]  # fmt: skip


def test_nothing_fits_only_nothing():
    assert fit([Fraction(0)], dec("0"), CENT) == (dec("0.00"),)
    with pytest.raises(NothingToSplitError):
        fit([Fraction(0)], CENT, CENT)


@given(cents, weights_of)
def test_without_negatives_it_is_the_largest_remainder(amount, weights):
    whole = sum(map(Fraction, weights))
    exact = [Fraction(amount) * Fraction(weight) / whole for weight in weights]
    there, back = fit(exact, amount, CENT), apportion(amount, weights, CENT)

    assert sum(there) == sum(back) == amount
    losses = [
        sorted(abs(Fraction(p) - e) for p, e in zip(parts, exact, strict=True))
        for parts in (there, back)
    ]
    assert losses[0] == losses[1]


signed = st.lists(st.integers(-(10**7), 10**7).map(lambda n: Fraction(n, 1000)))


@given(signed.filter(any), st.integers(-5, 5))
def test_parts_of_either_sign_add_up_and_mirror(exact, off):
    amount = dec(round(sum(exact) * 100) + off) * CENT
    parts = fit(exact, amount, CENT)
    mirrored = fit([-part for part in exact], -amount, CENT)

    assert sum(parts) == amount
    assert [-part for part in mirrored] == list(parts)
