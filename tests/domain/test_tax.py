"""Tax: published sums first, then laws that hold for any rates and any rounding.

The jurisdictions XA, XB ... and their rates are invented, so that no country's rate can
hide in the code.
"""

import ast
from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from builders import dec, edition, with_operation
from hypothesis import given, settings
from hypothesis import strategies as st

import quoting.domain
from quoting.domain.edition import TaxCodeEndedError
from quoting.domain.head import Head
from quoting.domain.job import Asked, AskedPart, Deposit, Exemption, Job, OwnPrice
from quoting.domain.money import DOWN, HALF_DOWN, HALF_UP, MODES, UP, round_to
from quoting.domain.pricing import price
from quoting.domain.rates import Surcharge, TaxRow, Terms
from quoting.domain.tax import (
    Amount,
    Policy,
    Tax,
    assess,
    contained,
    effective_rates,
    shown_by_line,
    split_gross,
    to_pay_in_cash,
    without_tax,
)

CENT = dec("0.01")
ON = date(2026, 3, 2)


def tax(authority, rate, *, on_prior=False):
    """Return a tax of an authority; one of 0 % is category E."""
    value = dec(rate)
    return Tax(authority, "S" if value else "E", value, on_prior=on_prior)


def amounts(*pairs):
    """Return amounts from (amount, taxes...) pairs."""
    return [Amount(dec(amount), tuple(taxes)) for amount, *taxes in pairs]


def figures(assessment):
    """Return the tax of each group, in order, and net, tax and gross as text."""
    groups = [str(group.amount) for group in assessment.groups]
    return groups, f"{assessment.net} {assessment.tax} {assessment.gross}"


# Fourteen vectors.


def test_1_an_invoice_of_the_european_norm():
    """EN 16931-1, example 2: 1460.50 x 25 % = 365.125, so 365.13; 1.00 x 15 % = 0.15.

    1436.50 + 365.28 = 1801.78; 1000.00 were prepaid, 801.78 are due. Rounded half to
    even it would be 365.12 and a cent less all the way down.
    """
    standard, reduced, none = tax("XA", "25"), tax("XA", "15"), tax("XA", "0")
    result = assess(
        amounts(("1460.50", standard), ("1.00", reduced), ("-25.00", none)),
        Policy(),
        CENT,
    )

    assert figures(result) == (["365.13", "0.15", "0.00"], "1436.50 365.28 1801.78")
    assert result.gross - dec("1000.00") == dec("801.78")
    half_even = (dec("1460.50") * dec("0.25")).quantize(CENT, ROUND_HALF_EVEN)
    assert half_even == dec("365.12") != result.groups[0].amount


def test_2_two_taxes_side_by_side():
    """Revenu Québec, "Calculating the taxes": 5 % 5.00, 9.975 % 9.98, 114.98."""
    both = tax("federal", "5"), tax("province", "9.975")

    assert figures(assess(amounts(("100.00", *both)), Policy(), CENT)) == (
        ["5.00", "9.98"],
        "100.00 14.98 114.98",
    )


def test_2_a_tax_upon_a_tax():
    """Revenu Québec, until 2012: 9.5 % of 105.00 = 9.975, so 9.98, and 114.98 again."""
    both = tax("federal", "5"), tax("province", "9.5", on_prior=True)
    result = assess(amounts(("100.00", *both)), Policy(), CENT)

    assert figures(result) == (["5.00", "9.98"], "100.00 14.98 114.98")
    assert [group.base for group in result.groups] == [dec("100.00"), dec("105.00")]
    assert effective_rates(both) == (dec("5"), dec("9.975"))


def test_3_cash_without_pennies():
    """CRA GI-131, examples 1 and 7: 179.00 + 13 % 23.27 = 202.27, in cash 202.25."""
    policy = Policy(cash_step=dec("0.05"))
    result = assess(amounts(("179.00", tax("XA", "13"))), policy, CENT)
    paid = to_pay_in_cash(result.gross, policy)

    assert figures(result) == (["23.27"], "179.00 23.27 202.27")
    assert (paid, paid - result.gross) == (dec("202.25"), dec("-0.02"))
    assert to_pay_in_cash(result.gross, Policy()) == dec("202.27")


def test_4_one_total_for_a_consumer():
    """ACCC, "Displaying prices": 40 + 5 + 3 with 10 % is shown as 52.80 first."""
    ten = tax("XA", "10")
    result = assess(
        amounts(("40.00", ten), ("5.00", ten), ("3.00", ten)), Policy(), CENT
    )

    assert figures(result) == (["4.80"], "48.00 4.80 52.80")


@pytest.mark.parametrize(
    ("step", "mode", "never_nil", "in_a_thousand"),
    [
        ("0.001", DOWN, False, "2.00"),
        ("0.005", HALF_UP, True, "5.00"),
        ("0.005", HALF_UP, False, "0.00"),
    ],
)
def test_5_the_tax_in_one_unit(step, mode, never_nil, in_a_thousand):
    """HMRC Notice 700 s 17.5: 0.0024 a unit is 0.002 with three digits, or 0.005.

    The nearest 0.005 would be nil, which the Notice does not allow. On 1000 units of
    0.012 at 20 % that is 2.00 or 5.00, where the document's own sum is 2.40.
    """
    twenty = (tax("XA", "20"),)
    policy = Policy(
        level="unit", unit_step=dec(step), unit_mode=mode, unit_never_nil=never_nil
    )
    bulk = [Amount(dec("12.00"), twenty, quantity=dec("1000"))]

    assert assess(bulk, policy, CENT).tax == dec(in_a_thousand)
    assert assess(bulk, Policy(), CENT).tax == dec("2.40")


@pytest.mark.parametrize(
    ("policy", "expected"),
    [
        (Policy(), "109.74"),
        (Policy(level="line", line_digits=2), "109.75"),
        (
            Policy(level="line", line_digits=3, line_mode=DOWN, document_mode=DOWN),
            "109.73",
        ),
    ],
)
def test_6_the_same_four_lines_under_three_rules(policy, expected):
    """81.78, 67.83, 239.99, 159.09 at 20 %: together 548.69, tax 109.738.

    By the line 16.36 + 13.57 + 48.00 + 31.82 = 109.75; to a tenth of a penny and down
    16.356 + 13.566 + 47.998 + 31.818 = 109.738, down 109.73 (Notice 700 s 17.5).
    """
    twenty = tax("XA", "20")
    four = [(a, twenty) for a in ("81.78", "67.83", "239.99", "159.09")]

    assert assess(amounts(*four), policy, CENT).tax == dec(expected)


@pytest.mark.parametrize(
    ("policy", "expected"),
    [
        (Policy(inclusive=True), "53.95"),
        (Policy(inclusive=True, level="line", line_digits=2), "53.97"),
        (Policy(inclusive=True, level="line", line_digits=4), "53.95"),
    ],
)
def test_7_total_invoice_rule_and_taxable_supply_rule(policy, expected):
    """A New Tax System (Goods and Services Tax) Act 1999 s 9-90, both its rules.

    593.50 with 10 % in it: 1/11 is 53.954..., 53.95. By the supply 6.87 + 13.93 +
    7.49 + 15.36 + 10.32 = 53.97; kept to four decimals 53.9546, 53.95.
    """
    ten = tax("XA", "10")
    five = [(a, ten) for a in ("75.52", "153.20", "82.38", "168.92", "113.48")]
    result = assess(amounts(*five), policy, CENT)

    assert result.tax == dec(expected)
    assert (result.gross, result.net) == (dec("593.50"), dec("593.50") - dec(expected))


def test_8_half_a_cent_may_be_dropped():
    """GST Act 1985 (NZ) s 19O: of 15 % on 201.10 (30.165) and 360.50 (54.075).

    Half down 30.16 and 54.07, half up 30.17 and 54.08; half-even would give 30.16 and
    54.08, which is neither.
    """
    fifteen = tax("XA", "15")
    by_mode = [
        [
            assess(amounts((net, fifteen)), Policy(document_mode=mode), CENT).tax
            for net in ("201.10", "360.50")
        ]
        for mode in (HALF_DOWN, HALF_UP)
    ]

    assert by_mode == [
        [dec("30.16"), dec("54.07")],
        [dec("30.17"), dec("54.08")],
    ]
    half_even = [
        (dec(net) * dec("0.15")).quantize(CENT, ROUND_HALF_EVEN)
        for net in ("201.10", "360.50")
    ]
    assert half_even == [dec("30.16"), dec("54.08")]
    assert half_even not in by_mode


def test_9_shown_lines_add_up_to_the_documents_tax():
    """924.24 x 19 % = 175.6056, 175.61; rounded by the line it would be 175.59.

    Floors 44.25, 11.10, 44.44, 54.53, 21.27 are two cents short; the largest
    remainders are 0.48 of 44.2548 and 0.48 of 44.4448.
    """
    nineteen = tax("XA", "19")
    nets = ("232.92", "58.44", "233.92", "287.01", "111.95")
    lines = amounts(*((net, nineteen) for net in nets))
    policy = Policy()
    result = assess(lines, policy, CENT)
    shown = shown_by_line(lines, result, policy, CENT)

    assert result.tax == dec("175.61")
    assert [str(part) for part in shown] == [
        "44.26",
        "11.10",
        "44.45",
        "54.53",
        "21.27",
    ]
    gross = [line.amount + part for line, part in zip(lines, shown, strict=True)]
    assert [str(g) for g in gross] == ["277.18", "69.54", "278.37", "341.54", "133.22"]
    assert sum(gross) == result.gross == dec("1099.85")
    by_line = sum(round_to(line.amount * dec("0.19"), CENT) for line in lines)
    assert by_line == dec("175.59") != result.tax


@pytest.mark.parametrize(
    ("gross", "rate", "expected"),
    [("100.05", "20", "83.37 16.68 100.05"), ("249.99", "13.5", "220.26 29.73 249.99")],
)
def test_10_a_price_that_contains_its_tax(gross, rate, expected):
    """100.05 x 20/120 = 16.675, 16.68; 249.99 x 13.5/113.5 = 29.7344, 29.73."""
    line = amounts((gross, tax("XA", rate)))

    assert figures(assess(line, Policy(inclusive=True), CENT))[1] == expected


def test_10_no_net_leads_back_to_every_gross():
    """220.26 + 13.5 % is 250.00, not 249.99: so the mode stays with the document."""
    rate = tax("XA", "13.5")
    again = assess(amounts(("220.26", rate)), Policy(), CENT)

    assert again.gross == dec("250.00")
    nets = [dec("83.36") + n * CENT for n in range(4)]
    twenty = tax("XA", "20")
    grosses = [assess([Amount(n, (twenty,))], Policy(), CENT).gross for n in nets]
    assert dec("100.05") not in grosses


def test_11_a_deposit_that_is_taxed_when_it_is_received():
    """412.50 + 118.00 at 13.5 %: 71.62; 287.35 + 150.00 at 23 %: 100.59; 1140.06.

    300.00 split by gross 602.12 : 537.94 = 158.44 and 141.56; tax in them 158.44 x
    13.5/113.5 = 18.85 and 141.56 x 23/123 = 26.47; left 52.77 and 74.12; due 840.06.
    """
    low, high = tax("XA", "13.5"), tax("XA", "23")
    lines = amounts(
        ("412.50", low), ("118.00", low), ("287.35", high), ("150.00", high)
    )
    result = assess(lines, Policy(), CENT)
    first, second = split_gross(dec("300.00"), lines, Policy(), CENT)

    assert figures(result) == (["71.62", "100.59"], "967.85 172.21 1140.06")
    assert (first.gross, second.gross) == (dec("158.44"), dec("141.56"))
    assert (first.tax, second.tax) == ((dec("18.85"),), (dec("26.47"),))
    assert (first.net, second.net) == (dec("139.59"), dec("115.09"))
    left = [
        group.amount - part.tax[0]
        for group, part in zip(result.groups, (first, second), strict=True)
    ]
    assert left == [dec("52.77"), dec("74.12")]
    assert result.gross - dec("300.00") == dec("840.06")


def test_12_state_and_local_tax_rounded_apart_or_together():
    """Streamlined Sales and Use Tax Agreement s 324: 312.06 at 7.25 % and 1.5 %.

    Apart 22.62 + 4.68 = 27.30; together 8.75 % = 27.30525, 27.31.
    """
    line = amounts(("312.06", tax("state", "7.25"), tax("local", "1.5")))

    assert figures(assess(line, Policy(), CENT)) == (
        ["22.62", "4.68"],
        "312.06 27.30 339.36",
    )
    together = assess(line, Policy(aggregate=True), CENT)
    assert together.tax == sum(group.amount for group in together.groups)
    assert together.tax == dec("27.31")


def invented(**rates):
    """Return RT-1 with its tax codes in XA: 0 % unless a rate is given."""
    base = edition(sundries="NONE", job_minimum="0")
    rows = {}
    for code in base.tax_rows:
        rate = dec(rates.get(code, "0"))
        category = "S" if rate else "E"
        row = TaxRow(
            code=code, label=code, authority="XA", category=category, rate=rate
        )
        rows[code] = [row]
    return replace(base, tax_rows=rows)


@pytest.mark.parametrize(
    ("returned", "owed", "paid"),
    [(False, "3.78", "50.78"), (True, "3.29", "50.29")],
)
def test_13_an_old_unit_handed_in_with_the_sale(returned, owed, paid):
    """A part of 47.00 and a surcharge of 7.00, 7 %, the old unit handed in at once.

    California, new part: the tax of the surcharge is kept, 54.00 x 7 % = 3.78, pays
    50.78 (a state board's published example). Rebuilt part (Regulation 1546): it goes
    back too, 47.00 x 7 % = 3.29, pays 50.29.
    """
    rates = invented(PAR="7", SUR="7")
    row = Surcharge(
        code="CORE", name="Exchange surcharge", amount=dec("7.00"), tax_code="SUR",
        tax_returned=returned, untaxed_code="" if returned else "EXEMPT",
    )  # fmt: skip
    rates = replace(rates, surcharges={"CORE": row})
    part = AskedPart(
        description="water pump", price=dec("47.00"), surcharge="CORE", old_unit="full"
    )
    result = price(rates, Job((), parts=(part,)), ON)

    assert (result.totals.tax, result.totals.total) == (dec(owed), dec(paid))
    assert result.totals.surcharges == 0


def test_14_a_discount_is_spread_over_the_rates_before_tax():
    """530.50 at 13.5 %, 437.35 at 23 %: 5 % of 967.85 = 48.3925, 48.39 off.

    Largest remainder 26.52 and 21.87; 503.98 -> 68.04, 415.48 -> 95.56; 1083.06.
    """
    rates = invented(LAB="13.5", A="23")
    rates = with_operation(rates, "WASH", base=dec("530.50"))
    rates = with_operation(rates, "LEAK", base=dec("437.35"), tax_code="A")
    rates = replace(rates, fees={})
    five = Terms(code="FIVE", name="5 % off", discount_labour=dec("5"))
    job = Job(
        (Head("A", rates.layouts["I4-16"]),),
        work=(Asked("WASH"), Asked("LEAK")),
        terms=five,
    )
    result = price(rates, job, ON)

    [discount] = [line for line in result.lines if line.kind == "discount"]
    assert discount.net == dec("-48.39")
    assert dict(discount.shares) == {"LAB": dec("-26.52"), "A": dec("-21.87")}
    assert [(g.base, g.amount) for g in result.taxes] == [
        (dec("503.98"), dec("68.04")),
        (dec("415.48"), dec("95.56")),
    ]
    assert result.totals.total == dec("1083.06")


# Laws.

RATES = [dec(rate) for rate in ("0", "1.5", "5", "7.25", "9.975", "13.5", "19.6", "23")]
AUTHORITIES = ("XA", "XB", "XC")


@st.composite
def chains(draw):
    """Return the taxes of one code: none to three, each authority once, in order."""
    names = AUTHORITIES[: draw(st.integers(1, 3))]
    taxes = []
    for place, name in enumerate(names):
        rate = draw(st.sampled_from(RATES))
        on_prior = bool(place and rate and draw(st.booleans()))
        taxes.append(
            Tax(name, "S" if rate else "E", rate, label=name, on_prior=on_prior)
        )
    return tuple(taxes)


def cents(least=-200_000, most=500_000):
    """Return amounts; small and equal ones often, so that credits nearly cancel."""
    few = [n for n in (-100_000, -33_33, -1, 0, 1, 30, 33_33, 100_000) if n >= least]
    some = st.one_of(st.sampled_from(few), st.integers(least, most))
    return some.map(lambda n: n * CENT)


@st.composite
def documents(draw, amounts=cents()):  # noqa: B008
    """Return one to ten lines over one to three codes, credits among them."""
    codes = draw(st.lists(chains(), min_size=1, max_size=3))
    return draw(
        st.lists(
            st.builds(
                Amount,
                amounts,
                st.sampled_from(codes),
                quantity=st.integers(1, 20).map(Decimal),
            ),
            min_size=1,
            max_size=10,
        )
    )


charged = documents(cents(0))

policies = st.builds(
    Policy,
    level=st.sampled_from(["document", "line", "unit"]),
    document_mode=st.sampled_from(MODES),
    line_digits=st.sampled_from([None, 2, 3, 4]),
    line_mode=st.sampled_from(MODES),
    unit_step=st.sampled_from([None, dec("0.001"), dec("0.005"), dec("0.01")]),
    unit_mode=st.sampled_from(MODES),
    unit_never_nil=st.booleans(),
    aggregate=st.booleans(),
    prior_rounded=st.booleans(),
    inclusive=st.booleans(),
)


def half_up(amount):
    """Return an exact fraction rounded to cents, half away from zero."""
    scaled = abs(amount) * 100
    cents = scaled.numerator // scaled.denominator
    if scaled - cents >= Fraction(1, 2):
        cents += 1
    return Fraction(cents if amount >= 0 else -cents, 100)


@given(documents(), policies)
def test_net_and_tax_are_gross_and_the_groups_add_up(lines, policy):
    result = assess(lines, policy, CENT)
    typed = sum(line.amount for line in lines)

    assert result.net + result.tax == result.gross
    assert sum(group.amount for group in result.groups) == result.tax
    assert (result.gross if policy.inclusive else result.net) == typed
    assert all(group.amount == round_to(group.amount, CENT) for group in result.groups)


@given(charged, policies)
def test_shown_lines_add_up_to_the_tax_whatever_the_policy(lines, policy):
    result = assess(lines, policy, CENT)
    shown = shown_by_line(lines, result, policy, CENT)

    assert len(shown) == len(lines)
    assert sum(shown) == result.tax
    assert all(part == round_to(part, CENT) for part in shown)


@given(documents(), policies)
def test_shown_lines_add_up_with_credits_among_them_too(lines, policy):
    result = assess(lines, policy, CENT)

    assert sum(shown_by_line(lines, result, policy, CENT)) == result.tax


@given(documents(), st.booleans())
def test_a_shown_line_is_within_a_cent_and_a_half_of_each_of_its_exact_taxes(
    lines, inclusive
):
    """A cent of remainder, and its part of the half cent that the group was rounded."""
    policy = Policy(inclusive=inclusive, prior_rounded=False)
    shown = shown_by_line(lines, assess(lines, policy, CENT), policy, CENT)

    for line, part in zip(lines, shown, strict=True):
        rates = sum(effective_rates(line.taxes))
        exact = line.amount * rates / (100 + (rates if inclusive else 0))
        assert abs(part - exact) < len(line.taxes) * dec("0.015") + dec("1e-15")


def test_a_line_and_its_credit_show_their_own_tax():
    """1000.00 and -999.70 at 13.5 %: 0.0405, 0.04 in all; 135.00 and -134.96 shown.

    Spread in proportion alone, 0.04 of 0.0405, the two would show 133.33 and -133.29.
    """
    rate = tax("XA", "13.5")
    lines = amounts(("1000.00", rate), ("-999.70", rate))
    result = assess(lines, Policy(), CENT)

    assert result.tax == dec("0.04")
    assert shown_by_line(lines, result, Policy(), CENT) == (
        dec("135.00"),
        dec("-134.96"),
    )


def test_a_line_and_its_full_credit_show_opposite_taxes():
    rate = tax("XA", "13.5")
    lines = amounts(("33.33", rate), ("-33.33", rate))
    result = assess(lines, Policy(), CENT)

    assert shown_by_line(lines, result, Policy(), CENT) == (dec("4.50"), dec("-4.50"))


def by_tax(assessment):
    groups = {group.tax: (group.base, group.amount) for group in assessment.groups}
    return groups, assessment.net, assessment.tax, assessment.gross


@given(documents(), policies, st.randoms(use_true_random=False))
def test_the_order_of_lines_never_changes_a_total(lines, policy, random):
    shuffled = list(lines)
    random.shuffle(shuffled)

    assert by_tax(assess(shuffled, policy, CENT)) == by_tax(assess(lines, policy, CENT))


@given(documents(), cents(), st.booleans(), st.data())
def test_splitting_a_line_leaves_the_tax_of_the_document_as_it_was(
    lines, part, inclusive, data
):
    policy = Policy(inclusive=inclusive)
    index = data.draw(st.integers(0, len(lines) - 1))
    whole = lines[index]
    halves = [whole._replace(amount=part), whole._replace(amount=whole.amount - part)]
    split = [*lines[:index], *halves, *lines[index + 1 :]]

    assert by_tax(assess(split, policy, CENT)) == by_tax(assess(lines, policy, CENT))


def test_splitting_a_line_may_change_a_tax_that_is_rounded_by_the_line():
    """1.00 at 7.25 % is 0.07; two of 0.50 are 0.03625 each, 0.04, together 0.08."""
    policy = Policy(level="line", line_digits=2)
    rate = tax("XA", "7.25")

    assert assess(amounts(("1.00", rate)), policy, CENT).tax == dec("0.07")
    twice = amounts(("0.50", rate), ("0.50", rate))
    assert assess(twice, policy, CENT).tax == dec("0.08")


@given(documents(), policies)
def test_a_credit_of_everything_mirrors_the_invoice(lines, policy):
    there = assess(lines, policy, CENT)
    back = assess([x._replace(amount=-x.amount) for x in lines], policy, CENT)

    assert [(g.tax, -g.base, -g.amount) for g in back.groups] == list(there.groups)
    assert (-back.net, -back.tax, -back.gross) == (there.net, there.tax, there.gross)


@given(documents())
def test_the_tax_of_a_group_is_the_exact_fraction_rounded_once(lines):
    """Against exact fractions, for taxes that stand on the net alone."""
    plain = [
        line._replace(taxes=tuple(replace(t, on_prior=False) for t in line.taxes))
        for line in lines
    ]
    exact = {}
    for line in plain:
        for each in line.taxes:
            part = Fraction(line.amount) * Fraction(each.rate) / 100
            exact[each] = exact.get(each, 0) + part
    result = assess(plain, Policy(), CENT)

    assert {g.tax: Fraction(g.amount) for g in result.groups} == {
        each: half_up(amount) for each, amount in exact.items()
    }


@given(cents(), st.sampled_from(RATES[1:]), st.sampled_from(RATES[1:]))
def test_a_tax_upon_a_tax_stands_on_the_rounded_one(net, first, second):
    chain = (
        Tax("XA", "S", first),
        Tax("XB", "S", second, on_prior=True),
    )
    result = assess([Amount(net, chain)], Policy(), CENT)
    one = half_up(Fraction(net) * Fraction(first) / 100)
    two = half_up((Fraction(net) + one) * Fraction(second) / 100)

    assert [Fraction(group.amount) for group in result.groups] == [one, two]
    assert Fraction(result.groups[1].base) == Fraction(net) + one


@given(documents())
def test_inclusive_tax_is_the_exact_fraction_of_the_gross(lines):
    """A gross x e / (100 + E), added up over the codes of a tax, rounded once."""
    exact = {}
    for line in lines:
        rates = [Fraction(rate) for rate in effective_rates(line.taxes)]
        for each, rate in zip(line.taxes, rates, strict=True):
            part = Fraction(line.amount) * rate / (100 + sum(rates))
            exact[each] = exact.get(each, 0) + part
    result = assess(lines, Policy(inclusive=True), CENT)

    assert {g.tax: Fraction(g.amount) for g in result.groups} == {
        each: half_up(amount) for each, amount in exact.items()
    }


@given(cents(0), chains())
def test_contained_taxes_and_net_come_from_the_same_fractions(gross, chain):
    rates = [Fraction(rate) for rate in effective_rates(chain)]
    whole = 100 + sum(rates)

    assert [Fraction(t) for t in contained(gross, chain, CENT)] == [
        half_up(Fraction(gross) * rate / whole) for rate in rates
    ]
    assert Fraction(without_tax(gross, chain, CENT)) == half_up(
        Fraction(gross) * 100 / whole
    )


@given(charged, cents(0, 100_000), st.sampled_from(MODES), st.booleans())
def test_a_payment_is_split_without_losing_a_cent(lines, paid, mode, inclusive):
    policy = Policy(document_mode=mode, inclusive=inclusive)
    if not assess(lines, policy, CENT).gross:
        return
    parts = split_gross(paid, lines, policy, CENT)

    assert sum(part.gross for part in parts) == paid
    assert all(part.net + sum(part.tax) == part.gross for part in parts)
    for part in parts:
        for each, rate in zip(part.tax, effective_rates(part.taxes), strict=True):
            whole = 100 + sum(effective_rates(part.taxes))
            assert each == round_to(part.gross * rate / whole, CENT, mode)


@given(
    cents(-50_000, 50_000),
    st.sampled_from(["0.05", "0.10", "0.20", "0.50", "1"]),
    st.sampled_from([HALF_UP, HALF_DOWN]),
)
def test_cash_is_at_most_half_a_step_from_what_is_due(due, step, mode):
    paid = to_pay_in_cash(due, Policy(cash_step=dec(step), cash_mode=mode))

    assert abs(paid - due) * 2 <= dec(step)
    assert not (paid / dec(step)) % 1


def test_cash_rounding_leaves_the_tax_of_a_job_as_it_was():
    """179.00 + 13 % 23.27 = 202.27 due, 202.25 in cash; less a deposit first."""
    rates = with_operation(invented(LAB="13"), "LEAK", base=dec("179.00"))
    rates = replace(rates, policy=Policy(cash_step=dec("0.05")))
    job = Job((Head("A", rates.layouts["I4-16"]),), work=(Asked("LEAK"),))
    sums = price(rates, job, ON).totals

    assert (sums.tax, sums.total, sums.due) == (dec("23.27"), dec("202.27"), sums.total)
    assert sums.cash == dec("202.25")
    held = replace(job, deposits=(Deposit(dec("50.01")),))
    sums = price(rates, held, ON).totals
    assert (sums.due, sums.cash) == (dec("152.26"), dec("152.25"))
    assert (sums.tax, sums.total) == (dec("23.27"), dec("202.27"))


def test_a_tax_of_nothing_on_a_credit_is_written_without_a_minus():
    """0 % of -25.00 is 0.00, as the norm's example 2 prints it."""
    [group] = assess(amounts(("-25.00", tax("XA", "0"))), Policy(), CENT).groups

    assert str(group.amount) == "0.00"


def test_a_currency_without_cents_is_taxed_in_whole_units():
    """10 % of 12 345 is 1234.5: 1235 up, 1234 down.

    Consumption tax of Japan: once a rate and invoice, never by the line, in the mode
    that the seller chooses (from memory).
    """
    line = [Amount(dec("12345"), (tax("XA", "10"),))]

    for mode, expected in ((HALF_UP, "1235"), (DOWN, "1234"), (UP, "1235")):
        assert assess(line, Policy(document_mode=mode), dec("1")).tax == dec(expected)


def test_label_and_reason_do_not_tell_two_taxes_apart():
    """EN 16931 BR-S-08: one row for each category and rate."""
    one = Tax("XA", "S", dec("13.5"), label="labour 13.5 %")
    other = Tax("XA", "S", dec("13.50"), label="parts 13.5 %")
    result = assess(amounts(("10.00", one), ("10.01", other)), Policy(), CENT)

    assert [(g.base, g.amount) for g in result.groups] == [(dec("20.01"), dec("2.70"))]


def test_authority_category_and_rate_tell_two_taxes_apart():
    taxes = [
        Tax("XA", "S", dec("5")),
        Tax("XB", "S", dec("5")),
        Tax("XA", "S", dec("5.5")),
        Tax("XA", "E", dec("0")),
        Tax("XA", "Z", dec("0")),
    ]
    result = assess(amounts(*(("10.00", each) for each in taxes)), Policy(), CENT)

    assert [group.tax for group in result.groups] == taxes


# Tax codes of an edition, by day.


def dated(*rows):
    """Return RT-1 whose code LAB has these (rate, first day, last day) rows."""
    base = invented()
    listed = [
        TaxRow(
            code="LAB",
            label=f"{rate} %",
            authority="XA",
            category="S",
            rate=dec(rate),
            valid_from=first and date.fromisoformat(first),
            valid_to=last and date.fromisoformat(last),
        )
        for rate, first, last in rows
    ]
    return replace(base, tax_rows={**base.tax_rows, "LAB": listed})


LEAK_TEST = Job((Head("A", edition().layouts["I4-16"]),), work=(Asked("LEAK"),))


@pytest.mark.parametrize(
    ("on", "owed"),
    [
        (date(2026, 3, 31), "3.99"),
        (date(2026, 4, 1), "7.43"),
        (date(2026, 6, 30), "7.43"),
    ],
)
def test_the_rate_is_that_of_the_tax_point_first_and_last_day_included(on, owed):
    """7.25 % of 55.00 = 3.9875; 13.5 % = 7.425. The price stays the edition's."""
    rates = dated(("7.25", None, "2026-03-31"), ("13.5", "2026-04-01", "2026-06-30"))
    sums = price(rates, LEAK_TEST, on).totals

    assert (sums.net, sums.tax) == (dec("55.00"), dec(owed))


def test_a_code_that_ended_is_an_error_and_never_nought_per_cent():
    rates = dated(("7.25", None, "2026-03-31"))

    with pytest.raises(TaxCodeEndedError, match=r"LAB .* 2026-04-01"):
        price(rates, LEAK_TEST, date(2026, 4, 1))


def test_a_code_that_has_not_begun_is_an_error_too():
    with pytest.raises(TaxCodeEndedError):
        price(dated(("7.25", "2026-04-01", None)), LEAK_TEST, ON)


def test_taxes_of_one_code_stand_in_their_own_order():
    base = invented()
    rows = [
        TaxRow(code="LAB", label="b", authority="XB", category="S", rate=dec("9.5"),
               order=2, base="net_and_prior"),
        TaxRow(code="LAB", label="a", authority="XA", category="S", rate=dec("5")),
    ]  # fmt: skip
    rates = replace(base, tax_rows={**base.tax_rows, "LAB": rows})
    rates = with_operation(rates, "LEAK", base=dec("100.00"))

    groups = price(rates, LEAK_TEST, ON).taxes
    assert [(g.tax.authority, g.base, g.amount) for g in groups] == [
        ("XA", dec("100.00"), dec("5.00")),
        ("XB", dec("105.00"), dec("9.98")),
    ]  # fmt: skip


# An agreed round figure.


@settings(max_examples=50)
@given(
    st.sampled_from(["LAB", "PAR", "SUN", "A"]),
    cents(100, 200_000),
    st.sampled_from([HALF_UP, HALF_DOWN, DOWN]),
)
def test_a_round_figure_assessed_again_as_inclusive_gives_the_same_tax(
    code, agreed, mode
):
    """The document is stored as inclusive, under the policy it was priced by."""
    rates = invented(LAB="13.5", PAR="23", SUN="7.25", A="25")
    rates = replace(rates, policy=Policy(document_mode=mode))
    rates = with_operation(rates, "LEAK", tax_code=code)
    result = price(rates, replace(LEAK_TEST, call_it=OwnPrice(agreed, "agreed")), ON)
    again = assess(
        [Amount(result.totals.total, result.taxes_of[code])],
        replace(rates.policy, inclusive=True),
        CENT,
    )

    assert (again.net, again.tax) == (result.totals.net, result.totals.tax)
    assert result.totals.total == agreed


def test_a_round_figure_follows_the_documents_own_mode():
    """15.03 with 20 % in it: 2.505 of tax, half down 2.50, half up 2.51."""
    for mode, owed in ((HALF_DOWN, "2.50"), (HALF_UP, "2.51")):
        rates = replace(invented(LAB="20"), policy=Policy(document_mode=mode))
        called = replace(LEAK_TEST, call_it=OwnPrice(dec("15.03"), "agreed"))

        assert price(rates, called, ON).totals.tax == dec(owed)


def test_an_exempt_customer_gets_the_reason_and_the_certificate():
    rates = invented(LAB="13.5")
    exempt = Exemption("EXEMPT", "export of work on goods", "X-17")
    result = price(rates, replace(LEAK_TEST, exemption=exempt), ON)

    [group] = result.taxes
    assert (group.base, group.amount) == (dec("55.00"), dec("0.00"))
    assert group.tax.reason == "export of work on goods, certificate X-17"
    assert {line.tax_code for line in result.lines} == {"EXEMPT"}


# No country's rate and no float in the code.

DOMAIN = Path(quoting.domain.__file__).parent
MONEY_PATH = (
    "money", "tax", "lengths", "tables", "rates", "edition", "job", "basis", "lines",
    "labour_lines", "part_lines", "pricing", "work", "zones", "quote", "work_order",
)  # fmt: skip


def parsed(module):
    return ast.parse((DOMAIN / f"{module}.py").read_text("utf-8"))


def constants(tree):
    """Yield every constant of a module that is no docstring."""
    said = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and id(node) not in said:
            yield node.value


def number(value):
    """Return a constant as a number, also one that stands in a text; else None."""
    if isinstance(value, bool):
        return None
    try:
        return Decimal(str(value))
    except ArithmeticError:
        return None


def test_the_search_for_numbers_sees_texts_and_passes_over_docstrings():
    tree = ast.parse('"""Twenty: 20."""\nVAT = Decimal("0.20") * 6 + len("20 %")')

    assert {number(value) for value in constants(tree)} == {dec("0.2"), dec("6"), None}


@pytest.mark.parametrize("module", ["money", "tax", "basis", "pricing"])
def test_no_countrys_rate_stands_in_the_code(module):
    """20 per cent, 0.2 and 1.2, and the sixth and eleventh that such taxes come to."""
    forbidden = {dec(text) for text in ("20", "0.2", "1.2", "6", "11", "19", "0.05")}

    assert forbidden.isdisjoint(map(number, constants(parsed(module))))


@pytest.mark.parametrize("module", MONEY_PATH)
def test_no_float_stands_where_money_and_minutes_go(module):
    tree = parsed(module)
    names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}

    assert "float" not in names
    assert not [value for value in constants(tree) if isinstance(value, float)]


def test_a_tax_on_taxes_names_the_taxes_in_its_base_where_prices_contain_them():
    """114.98 with 5 % and 9.5 % on both: net 100.00, 5.00, 9.98 on 105.00."""
    codes = (Tax("XA", "S", dec("5")), Tax("XB", "S", dec("9.5"), on_prior=True))
    found = assess([Amount(dec("114.98"), codes)], Policy(inclusive=True), CENT)

    assert [(g.base, g.amount) for g in found.groups] == [
        (dec("100.00"), dec("5.00")),
        (dec("105.00"), dec("9.98")),
    ]
