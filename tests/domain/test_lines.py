"""What a line says: the arithmetic in words and figures, and what it is done to.

Whoever reads a line can follow it with a pocket calculator and get its net.
"""

from dataclasses import replace

import pytest
from builders import (
    at,
    dec,
    edition,
    heads,
    priced,
    with_modifier,
    with_operation,
    with_relation,
)

from quoting.domain.head import Side
from quoting.domain.job import (
    Asked,
    AskedFee,
    AskedPart,
    AskedSet,
    FreeLine,
    OwnPrice,
    Selection,
)
from quoting.domain.lengths import parse_length
from quoting.domain.lines import noun, where, why
from quoting.domain.rates import SetPrice, Surcharge, Terms, WorkSet

RATES = replace(edition(), relations=[])
HARD_EXHAUST = {"side_facts": {Side.EXHAUST: {"seats": "hard"}}}


def lines(came, *work, rates=RATES, kind="labour", **job):
    result = priced(rates, came, work=work, **job)
    return [line for line in result.lines if line.kind == kind]


def reasons(*args, **job):
    return [why(line) for line in lines(*args, **job)]


# Why: the arithmetic.


def test_base_and_units_are_named_with_their_prices():
    """15.00 + 8 x 6.50 = 67.00; 8 x 7.00 = 56.00."""
    assert reasons(heads(RATES, "I4-16"), Asked("SCUT")) == [
        "base 15.00 + 8 inlet seats x 6.50",
        "8 exhaust seats x 7.00",
    ]


def test_one_of_something_is_in_the_singular():
    assert reasons(heads(RATES, "I4-16"), Asked("GREP", which=at("A1E1"))) == [
        "base 12.00 + 1 exhaust guide x 16.00"
    ]


def test_bases_are_counted_where_there_are_several_or_a_part():
    came = heads(RATES, "V6-12", "V6-12")
    half = with_operation(RATES, "LEAK", pair_break=dec("0.5"))

    assert reasons(came, Asked("LEAK")) == ["base 55.00 x 2"]
    assert reasons(came, Asked("LEAK"), rates=half) == ["base 55.00 x 1.5"]


def test_steps_are_counted_with_the_size_beside_them():
    came = heads(RATES, "I4-16")

    assert reasons(came, Asked("SKIM")) == ["base 45.00"]
    assert reasons(came, Asked("SKIM", size=parse_length("0.15"))) == [
        "base 45.00 + 1 step x 6.00"
    ]
    assert reasons(came, Asked("SKIM", size=parse_length("0.2"))) == [
        "base 45.00 + 2 steps x 6.00"
    ]


def test_a_modifier_of_the_unit_stands_with_the_unit():
    came = heads(RATES, "I4-16", **HARD_EXHAUST)

    assert reasons(came, Asked("SCUT"))[1] == "8 exhaust seats x 7.00 x 1.35 hard seats"


def test_a_modifier_of_the_line_stands_outside_brackets():
    """(2 x 45 + 4 x 6) x 1.10 = 125.40."""
    asked = Asked("SKIM", size=parse_length("0.20 mm"))

    assert reasons(heads(RATES, "V8-8", "V8-8"), asked) == [
        "(base 45.00 x 2 + 4 steps x 6.00) x 1.10 iron"
    ]


def test_a_modifier_of_minutes_alone_is_no_part_of_a_price():
    rates = with_modifier(RATES, "IRON", works_on="minutes")

    assert reasons(heads(rates, "V8-8"), Asked("SKIM"), rates=rates) == ["base 45.00"]


def test_what_is_priced_by_time_shows_minutes_and_rate():
    """20 + 8 x 4.5 = 56 min; exhaust 8 x 4.5 x 1.35 = 48.6 min."""
    rates = with_operation(
        RATES, "SCUT", priced_by="time", base=None, unit_inlet=None, unit_exhaust=None,
        setup_minutes=dec("20"), unit_minutes=dec("4.5"),
    )  # fmt: skip
    came = heads(rates, "I4-16", **HARD_EXHAUST)

    assert reasons(came, Asked("SCUT"), rates=rates) == [
        "56 min at 78.00 an hour",
        "48.6 min at 78.00 an hour, hard seats x 1.35",
    ]


def test_a_line_lifted_to_the_minimum_says_by_how_much():
    [said] = reasons((), Asked("VREF", which=Selection(number=dec("2"))))

    assert said == "2 valves x 4.25, lifted by 6.50 to the least charge"


def test_a_price_set_by_hand_says_why_and_what_the_list_says():
    asked = Asked("SKIM", own=OwnPrice(dec("40.00"), "same customer as last week"))
    [said] = reasons(heads(RATES, "I4-16"), asked)

    assert said == ("set by hand (same customer as last week); list 45.00: base 45.00")


def test_a_price_for_valves_not_known_which_is_at_most():
    asked = Asked("GREP", which=Selection(number=dec("3")))
    [said] = reasons(heads(RATES, "I4-16"), asked)

    assert said == "at most: base 12.00 + 3 exhaust guides x 16.00"


def test_work_without_a_price_says_that_it_is_free():
    rates = with_operation(RATES, "LEAK", base=None)

    assert reasons(heads(rates, "I4-16"), Asked("LEAK"), rates=rates) == ["no charge"]


def test_percentages_name_what_they_are_taken_of():
    terms = Terms(code="T", name="Trade", discount_labour=dec("12.5"))
    job = {"rush": "RUSH", "terms": terms}
    came = heads(RATES, "I4-16")

    for kind, said in (
        ("discount", "12.5 % of 55.00"),
        ("rush", "25 % of 55.00"),
        ("sundries", "4 % of 48.12"),
    ):
        assert reasons(came, Asked("LEAK"), kind=kind, **job) == [said]


def test_parts_fees_and_hours_are_quantity_times_price():
    part = AskedPart(description="seals", quantity=dec("16"), price=dec("1.61"))
    free = FreeLine("seized valves", hours=dec("1.5"))

    assert reasons((), kind="part", parts=(part,)) == ["16 pieces x 1.61"]
    assert reasons((), kind="free", free=(free,)) == ["1.5 hours x 78.00"]
    one = (AskedFee("DISP", dec("1")),)
    assert reasons((), kind="fee", fees=one) == ["1 head x 6.50"]


def test_a_customers_own_part_says_that_it_has_no_warranty():
    part = AskedPart(description="seals", quantity=dec("16"), own_stock=True)
    [said] = reasons((), kind="part", parts=(part,))

    assert said == "16 pieces x 0, supplied by customer, no warranty on the part"


def test_an_amount_that_was_simply_given_needs_no_arithmetic():
    free = FreeLine("pattern made", amount=dec("40"))

    assert reasons((), kind="free", free=(free,)) == [""]


def test_a_set_names_its_one_price():
    rates = replace(
        RATES,
        sets={"S": WorkSet(code="S", name="Test", operations=("WASH", "LEAK"))},
        set_prices=[SetPrice(set="S", price=dec("70.00"))],
    )
    said = reasons(
        heads(rates, "I4-16"), rates=rates, kind="set_price", sets=(AskedSet("S"),)
    )

    assert said == ["one price 70.00 for the set"]


def test_a_surcharge_that_goes_back_says_the_sum_that_goes_back():
    """Back goes 60 % of 150.00, which is 90.00."""
    row = Surcharge(
        code="CORE", name="Exchange surcharge", amount=dec("150.00"), tax_code="SUR",
        share_part=dec("0.6"),
    )  # fmt: skip
    rates = replace(RATES, surcharges={"CORE": row})
    part = AskedPart(
        description="head", price=dec("0"), surcharge="CORE", old_unit="part"
    )
    charged, returned = lines((), rates=rates, kind="surcharge", parts=(part,))

    assert (why(charged), charged.net) == ("1 piece x 150.00", dec("150.00"))
    assert (why(returned), returned.net) == ("60.0 % of 150.00", dec("-90.00"))


@pytest.mark.parametrize(
    ("kind", "job"),
    [
        ("make_up", {}),
        ("no_fix", {"gate": "LEAK"}),
        ("warranty", {"warranty": dec("0.5")}),
        ("call_it", {"call_it": OwnPrice(dec("60"), "agreed on the phone")}),
    ],
)
def test_every_adjustment_says_why(kind, job):
    gate = job.pop("gate", "")
    share = job.pop("warranty", None)
    rates = replace(RATES, shop=replace(RATES.shop, no_fix_cap=dec("10")))
    [head] = heads(rates, "I4-16")
    asked = Asked("WASH", warranty=share)
    [line] = lines(
        (replace(head, condemned_at=gate),), asked, rates=rates, kind=kind, **job
    )

    assert why(line)


def test_why_is_written_in_the_readers_own_figures():
    [line] = lines(heads(RATES, "I4-16"), Asked("LEAK"))

    assert why(line, money=lambda amount: f"£{amount}") == "base £55.00"


# Where: what it is done to.


def places(came, *work, **job):
    return [where(line, came) for line in lines(came, *work, **job)]


def test_all_of_a_side_or_of_a_head_is_all():
    came = heads(RATES, "I4-16")

    assert places(came, Asked("VREF")) == ["all 16 valves"]
    assert places(came, Asked("SCUT")) == ["all 8 inlet seats", "all 8 exhaust seats"]


def test_few_valves_are_named_in_full_for_customers():
    came = heads(RATES, "I4-16")

    assert places(came, Asked("VREF", which=at("A3E1"))) == ["cylinder 3, exhaust 1"]
    four = Asked("VREF", which=at("A1I1", "A1I2", "A2I1", "A2I2"))
    assert places(came, four) == [
        "cylinder 1, inlet 1; cylinder 1, inlet 2; cylinder 2, inlet 1; "
        "cylinder 2, inlet 2"
    ]


def test_many_valves_fall_back_to_the_names_of_the_bench():
    five = Asked("VREF", which=at("A1I1", "A1I2", "A2I1", "A2I2", "A4I1"))

    assert places(heads(RATES, "I4-16"), five) == [
        "5 inlet valves: 1I1 1I2 2I1 2I2 4I1"
    ]


def test_with_several_heads_the_head_of_a_valve_is_named():
    came = heads(RATES, "V8-8", "V8-8")

    assert places(came, Asked("VREF", which=at("B3E"))) == [
        "head B, cylinder 3, exhaust 1"
    ]


def test_heads_are_named_where_not_all_of_them_are_meant():
    came = heads(RATES, "V6-12", "V6-12")
    came = (replace(came[0], label="left"), replace(came[1], label="right"))

    assert places(came, Asked("LEAK", heads=("B",))) == ["1 head, head B (right)"]
    assert places(came, Asked("LEAK")) == ["2 heads"]


def test_a_number_not_known_which_is_just_a_number():
    asked = Asked("GKNU", which=Selection(number=dec("3")))

    assert places(heads(RATES, "I4-16"), asked) == ["3 guides"]


def test_loose_parts_are_counted():
    asked = Asked("VREF", which=Selection(number=dec("2")))

    assert places((), asked) == ["2 valves"]


def test_springs_are_all_of_them_where_there_are_two_a_valve():
    rates = replace(
        RATES,
        layouts={"I4-16": replace(RATES.layouts["I4-16"], springs_per_valve=2)},
    )
    came = heads(rates, "I4-16")

    assert places(came, Asked("SSHM"), rates=rates) == ["all 32 springs"]


@pytest.mark.parametrize(
    ("counted_by", "one", "two"),
    [
        ("valve", "valve", "valves"),
        ("journal", "cam journal", "cam journals"),
        ("cm", "cm", "cm"),
        ("step", "step", "steps"),
    ],
)
def test_nouns_are_singular_for_exactly_one(counted_by, one, two):
    assert noun(counted_by, dec("1")) == noun(counted_by, dec("1.00")) == one
    assert noun(counted_by, dec("2")) == noun(counted_by, dec("0.5")) == two


def test_proposed_work_says_why_it_is_there():
    rates = with_relation(RATES, "STRT", relation="brings", other="SKIM")
    [skim] = [
        line
        for line in lines(heads(rates, "I4-16"), Asked("STRT"), rates=rates)
        if line.code == "SKIM"
    ]

    assert skim.because == "it must"


def test_margin_is_net_less_cost_and_unknown_where_the_cost_is():
    known = AskedPart(description="valve", cost=dec("10.00"), quantity=dec("2"))
    unknown = AskedPart(description="valve", price=dec("14.00"))
    one, other = lines((), kind="part", parts=(known, unknown))

    assert (one.cost, one.margin) == (dec("20.00"), dec("8.00"))
    assert (other.cost, other.margin) == (None, None)
