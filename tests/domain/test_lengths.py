"""Sizes as people say them: exact in both units, and priced in steps."""

from decimal import Decimal
from fractions import Fraction

import pytest
from builders import dec
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.lengths import LengthError, parse_length, steps


# The international yard and pound agreement of 1959; NIST SP 811, appendix B.6:
# 1 inch = 2.54 E+01 mm, exactly.
@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("1 in", "25.4"),
        ("1 inch", "25.4"),
        ('1"', "25.4"),
        ("1 thou", "0.0254"),
        ("1 mil", "0.0254"),
        ("0.006 in", "0.1524"),
        ("6 thou", "0.1524"),
        (".006 in", "0.1524"),
        ("0.15 mm", "0.15"),
        ("0.15mm", "0.15"),
        ("  4 THOU ", "0.1016"),
        ("12 MM", "12"),
    ],
)
def test_an_inch_is_exactly_25_4_mm(typed, mm):
    assert parse_length(typed).mm == dec(mm)


@pytest.mark.parametrize(
    ("unit", "mm"), [("mm", "6"), ("in", "152.4"), ("thou", "0.1524")]
)
def test_a_bare_number_is_in_the_shops_own_unit(unit, mm):
    length = parse_length("6", unit)

    assert (length.mm, length.typed) == (dec(mm), f"6 {unit}")


@pytest.mark.parametrize("typed", ["0.150 mm", "6 thou", ".006 in", "4 THOU"])
def test_what_was_typed_is_kept_as_it_was_typed(typed):
    assert parse_length(f" {typed} ").typed == typed


@pytest.mark.parametrize(
    "typed",
    [
        "", "  ", "mm", "0,15 mm", "-0.15 mm", "+0.15", "1.2.3", "0.15 cm", "1/8 in",
        "1e-1", "nan", "0.15 mm deep", "0.1 mm 0.2 mm", "fifteen", "0.15 m m",
    ],
)  # fmt: skip
def test_what_is_no_length_is_refused_by_name(typed):
    with pytest.raises(LengthError) as refused:
        parse_length(typed)

    assert repr(typed) in str(refused.value)
    assert "with a point" in str(refused.value)


@pytest.mark.parametrize(
    ("typed", "unit", "priced"),
    [
        ("0.1524 mm", "mm", "0.15"),
        ("0.155 mm", "mm", "0.16"),
        ("4 thou", "mm", "0.10"),
        ("6 thou", "mm", "0.15"),
        ("0.10 mm", "in", "0.0040"),
        ("0.15 mm", "in", "0.0060"),
        ("0.00425 in", "in", "0.0045"),
        ("0.00424 in", "in", "0.0040"),
    ],
)
def test_a_size_is_priced_on_a_grid_of_the_rows_own_unit(typed, unit, priced):
    """0.01 mm, or 0.0005 in: 0.10 mm is 0.003937 in, which is nearest to 0.0040."""
    assert parse_length(typed).on_grid(unit) == dec(priced)


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("0.05 mm", 0),
        ("0.10 mm", 0),
        ("4 thou", 0),  # 0.1016 mm is 0.10 on the grid: not a step for 1.6 micrometres
        ("0.104 mm", 0),
        ("0.105 mm", 1),  # 0.11 on the grid: a part of a step is a step
        ("0.11 mm", 1),
        ("0.15 mm", 1),
        ("6 thou", 1),
        ("0.16 mm", 2),
        ("0.20 mm", 2),
        ("8 thou", 2),  # 0.2032 mm is 0.20 on the grid
        ("10 thou", 3),  # 0.254 mm is 0.25 on the grid
        ("1 mm", 18),
    ],
)
def test_steps_beyond_a_tenth_of_a_millimetre_in_twentieths(typed, expected):
    """max(0, ceil((size - 0.10) / 0.05)), the size on its grid of 0.01 mm."""
    assert steps(parse_length(typed), dec("0.10"), dec("0.05"), "mm") == expected


@pytest.mark.parametrize(
    ("typed", "expected"),
    [("4 thou", 0), ("0.10 mm", 0), ("0.0045 in", 1), ("6 thou", 1), ("0.0061 in", 1),
     ("0.0065 in", 2), ("0.2 mm", 2)],
)  # fmt: skip
def test_steps_of_a_row_in_inches(typed, expected):
    """4 thou in the base, then a step each 2 thou: 0.2 mm is 0.0080 in, two steps."""
    assert steps(parse_length(typed), dec("0.004"), dec("0.002"), "in") == expected


def test_the_wrong_unit_would_cost_money():
    """15 thou is 0.381 mm, six steps; a person who means 0.15 mm pays for one."""
    of = [parse_length(text) for text in ("15 thou", "0.15 mm")]

    assert [steps(o, dec("0.10"), dec("0.05"), "mm") for o in of] == [6, 1]


typed_numbers = st.decimals("0", "50", places=4).map(lambda number: f"{number:f}")


@given(typed_numbers)
def test_a_thousandth_of_an_inch_is_a_thou(number):
    thousandth = f"{Decimal(number) / 1000:f}"

    assert parse_length(f"{number} thou").mm == parse_length(f"{thousandth} in").mm
    assert Fraction(parse_length(f"{number} in").mm) == (
        Fraction(number) * Fraction(254, 10)
    )


@given(typed_numbers, st.sampled_from(["mm", "in", "thou"]))
def test_there_and_back_between_inches_and_millimetres(number, unit):
    length = parse_length(number, unit)

    assert abs(length.inches * dec("25.4") - length.mm) < dec("1e-20")


@given(
    typed_numbers,
    st.sampled_from(["mm", "in"]),
    st.decimals("0", "2", places=2),
    st.decimals("0.01", "2", places=2),
)
def test_steps_are_the_fewest_that_reach_the_size(number, unit, included, step):
    size = parse_length(number, unit)
    taken = steps(size, included, step, unit)
    reach = [included + n * step for n in (taken - 1, taken)]

    assert taken >= 0
    assert size.on_grid(unit) <= reach[1]
    assert taken == 0 or size.on_grid(unit) > reach[0]
