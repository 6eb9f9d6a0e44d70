"""How a price comes about, rule by rule; the sums stand in the docstrings.

Edition RT-1 is an invented shop's. The rules are common practice, no source, unless a
test names one.
"""

from dataclasses import replace

import pytest
from builders import (
    ON,
    at,
    dec,
    edition,
    heads,
    priced,
    with_agreed_price,
    with_class_price,
    with_modifier,
    with_operation,
    with_relation,
    with_worth_taxed,
)

from quoting.domain.head import Side
from quoting.domain.job import (
    Asked,
    AskedFee,
    AskedPart,
    AskedSet,
    Deposit,
    Exemption,
    FreeLine,
    Job,
    Outwork,
    OwnPrice,
    Selection,
    agreed_prices,
)
from quoting.domain.lengths import parse_length
from quoting.domain.lines import why
from quoting.domain.money import ZERO
from quoting.domain.part_lines import (
    PartQuantityError,
    UnknownPartError,
    UnpricedPartError,
    WorthTwiceError,
)
from quoting.domain.pricing import no_fix
from quoting.domain.rates import (
    Fee,
    Modifier,
    Part,
    Rush,
    SetPrice,
    Sundries,
    Surcharge,
    Terms,
    WorkSet,
)

#: RT-1 without relations: work comes to what is asked for.
RATES = replace(edition(), relations=[])
#: ... and without sundries and job minimum, for sums of labour alone.
PLAIN = replace(edition(sundries="NONE", job_minimum="0"), relations=[])

HARD_EXHAUST = {"side_facts": {Side.EXHAUST: {"seats": "hard"}}}
INLET = Selection(side=Side.INLET)
EXHAUST = Selection(side=Side.EXHAUST)


def number(text, side=None):
    return Selection(side=side, number=dec(text))


def nets(result, kind="labour"):
    """Return ``code-side:heads net`` of the lines of one kind, in order."""
    return [
        f"{line.code}{f'-{line.side.word[:2]}' if line.side else ''}"
        f":{''.join(line.heads)} {line.net}"
        for line in result.lines
        if line.kind == kind
    ]


def only(result, kind):
    """Return the one line of a kind."""
    [line] = [line for line in result.lines if line.kind == kind]
    return line


def kinds(result):
    return {line.kind for line in result.lines}


def terms(**discounts):
    return Terms(code="T", name="Trade", **{k: dec(v) for k, v in discounts.items()})


TRADE = terms(discount_labour="10", discount_parts="5", discount_exchange="20")


# Bases: one a head, on the first line that has work on that head.


def test_a_heads_base_stands_on_the_first_line_with_work_on_that_head():
    """Inlet on A only, exhaust on both: A's 15.00 with the inlets, B's with the rest.

    A inlet 15 + 6 x 6.50 = 54.00; exhaust of A and B 15 + 12 x 7.00 = 99.00.
    """
    rows = (Asked("SCUT", heads=("A",), which=INLET), Asked("SCUT", which=EXHAUST))

    assert nets(priced(PLAIN, heads(PLAIN, "V6-12", "V6-12"), work=rows)) == [
        "SCUT-in:A 54.00",
        "SCUT-ex:AB 99.00",
    ]


def test_lines_stand_inlet_first_then_exhaust_then_by_tag():
    """B's exhaust seats are hard: 6 x 7.00 x 1.35 = 56.70 apart from A's 42.00."""
    came = heads(PLAIN, "V6-12", "V6-12")
    came = (came[0], replace(came[1], **HARD_EXHAUST))
    result = priced(PLAIN, came, work=(Asked("SCUT"),))

    assert nets(result) == ["SCUT-in:AB 108.00", "SCUT-ex:A 42.00", "SCUT-ex:B 56.70"]
    assert [line.bases for line in result.lines] == [2, 0, 0]


def test_work_on_one_of_three_heads_has_one_base():
    """A differs from B and C, which are alike: 12.00 + 16.00 for one guide on B."""
    came = heads(PLAIN, "V8-8", "V8-8", "V8-8")
    came = (replace(came[0], **HARD_EXHAUST), *came[1:])
    result = priced(PLAIN, came, work=(Asked("GREP", which=at("B1E")),))

    assert nets(result) == ["GREP-ex:B 28.00"]


def test_a_base_for_the_job_is_due_once_however_many_heads():
    """60.00 + (8 + 8) x 28.00 = 508.00."""
    came = heads(PLAIN, "V6-12", "V6-12")

    assert nets(priced(PLAIN, came, work=(Asked("LBOR"),))) == ["LBOR:AB 508.00"]


def test_loose_parts_have_one_base():
    """12.00 + 2 x 16.00 = 44.00 for two loose exhaust guides."""
    result = priced(PLAIN, work=(Asked("GREP", which=number("2", Side.EXHAUST)),))

    assert nets(result) == ["GREP-ex: 44.00"]


@pytest.mark.parametrize(
    ("share", "expected"),
    [("1", "135.00"), ("0.5", "90.00"), ("0", "45.00"), ("0.75", "112.50")],
)
def test_a_second_and_a_third_head_pay_their_share_of_the_base(share, expected):
    """45.00 x (1 + 2 x 0.75) = 112.50."""
    rates = with_operation(PLAIN, "SKIM", pair_break=dec(share))
    came = heads(rates, "V6-12", "V6-12", "V6-12")

    assert nets(priced(rates, came, work=(Asked("SKIM"),))) == [f"SKIM:ABC {expected}"]


@pytest.mark.parametrize("order", [("V6-12", "V6-12L"), ("V6-12L", "V6-12")])
def test_of_two_different_bases_the_dearer_is_due_in_full(order):
    """70.00 in full and half of 45.00, whichever head was taken in first."""
    rates = with_operation(PLAIN, "SKIM", pair_break=dec("0.5"))
    rates = with_class_price(
        rates, operation="SKIM", size_class="large", base=dec("70"), unit=dec("8")
    )
    result = priced(rates, heads(rates, *order), work=(Asked("SKIM"),))

    assert sorted(line.net for line in result.lines) == [dec("22.50"), dec("70.00")]


def test_a_base_is_due_again_where_the_machinist_sets_up_again():
    """12 + 16 = 28.00 for the first guide and again for the one found later."""
    rows = (
        Asked("GREP", which=at("A1E1")),
        Asked("GREP", which=at("A2E1"), again=True),
    )

    assert nets(priced(PLAIN, heads(PLAIN, "I4-16"), work=rows)) == [
        "GREP-ex:A 28.00", "GREP-ex:A 28.00",
    ]  # fmt: skip


def test_more_work_without_a_new_set_up_has_no_base_of_its_own():
    rows = (Asked("GREP", which=at("A1E1")), Asked("GREP", which=at("A2E1")))

    assert nets(priced(PLAIN, heads(PLAIN, "I4-16"), work=rows)) == ["GREP-ex:A 44.00"]


def test_a_face_that_is_skimmed_again_is_paid_again():
    """45.00 for the first 0.10 mm, then set up again: 45.00 + 2 x 6.00 for 0.20 mm."""
    rows = (Asked("SKIM"), Asked("SKIM", size=parse_length("0.20 mm"), again=True))

    assert nets(priced(PLAIN, heads(PLAIN, "I4-16"), work=rows)) == [
        "SKIM:A 45.00", "SKIM:A 57.00",
    ]  # fmt: skip


def test_a_base_for_the_job_is_due_once_more_when_set_up_again():
    """60 + 16 x 28 = 508.00; two more on B: 60 + 2 x 28 = 116.00."""
    rows = (
        Asked("LBOR"),
        Asked("LBOR", heads=("B",), which=number("2"), again=True),
    )
    result = priced(PLAIN, heads(PLAIN, "V6-12", "V6-12"), work=rows)

    assert nets(result) == ["LBOR:AB 508.00", "LBOR:B 116.00"]


# Where base and unit price come from.


def test_a_class_that_gives_only_a_base_has_no_unit_price():
    """SCUT in class large: base 30.00 for all of it, whatever the row's 6.50 and 7."""
    rates = with_class_price(
        PLAIN, operation="SCUT", size_class="large", base=dec("30")
    )

    assert nets(priced(rates, heads(rates, "V6-12L"), work=(Asked("SCUT"),))) == [
        "SCUT:A 30.00"
    ]
    assert nets(priced(rates, heads(rates, "V6-12"), work=(Asked("SCUT"),))) == [
        "SCUT-in:A 54.00", "SCUT-ex:A 42.00",
    ]  # fmt: skip


def test_a_class_that_gives_only_a_unit_price_has_no_base():
    """12 x 8.00 = 96.00."""
    rates = with_class_price(PLAIN, operation="SCUT", size_class="large", unit=dec("8"))

    assert nets(priced(rates, heads(rates, "V6-12L"), work=(Asked("SCUT"),))) == [
        "SCUT:A 96.00"
    ]


def test_a_class_with_minutes_alone_leaves_the_price_to_the_row():
    """Price 54.00 + 42.00; 30 + 12 x 5 = 90 min on the large head."""
    rates = with_class_price(
        PLAIN, operation="SCUT", size_class="large", setup_minutes=dec("30"),
        unit_minutes=dec("5"),
    )  # fmt: skip
    result = priced(rates, heads(rates, "V6-12L"), work=(Asked("SCUT"),))

    assert nets(result) == ["SCUT-in:A 54.00", "SCUT-ex:A 42.00"]
    assert result.totals.minutes == 90


def test_heads_that_cost_alike_but_take_longer_keep_their_own_minutes():
    """A 10 min, B of class large 60 min: one line of 90.00, 70 minutes."""
    rates = with_operation(PLAIN, "SKIM", setup_minutes=dec("10"))
    rates = with_class_price(
        rates, operation="SKIM", size_class="large", setup_minutes=dec("60")
    )
    result = priced(rates, heads(rates, "V6-12", "V6-12L"), work=(Asked("SKIM"),))

    assert sum(line.net for line in result.lines) == dec("90.00")
    assert result.totals.minutes == 70


def test_a_class_that_no_row_names_costs_what_the_operation_says():
    result = priced(PLAIN, heads(PLAIN, "V6-12L"), work=(Asked("SKIM"),))

    assert nets(result) == ["SKIM:A 45.00"]


def agreed(rates, **row):
    rates = with_agreed_price(rates, terms="TRADE10", **row)
    mine = rates.terms["TRADE10"]
    return rates, {"terms": mine, "agreed": agreed_prices(rates, mine)}


def test_an_agreed_price_comes_before_the_class_and_the_row():
    """Agreed 50.00 + 1 step x 7.00 in class large; without a step price none."""
    rates = with_class_price(
        PLAIN, operation="SKIM", size_class="large", base=dec("70"), unit=dec("8")
    )
    rates, mine = agreed(
        rates, operation="SKIM", size_class="large", base=dec("50"), unit=dec("7")
    )
    asked = Asked("SKIM", size=parse_length("0.15 mm"))

    assert nets(priced(rates, heads(rates, "V6-12L"), work=(asked,), **mine)) == [
        "SKIM:A 57.00"
    ]
    assert nets(priced(rates, heads(rates, "V6-12"), work=(asked,), **mine)) == [
        "SKIM:A 51.00"
    ]


def test_an_agreed_price_of_the_class_comes_before_a_general_one():
    rates, _ = agreed(PLAIN, operation="LEAK", base=dec("40"))
    rates, mine = agreed(rates, operation="LEAK", size_class="large", base=dec("44"))
    result = priced(
        rates, heads(rates, "V6-12", "V6-12L"), work=(Asked("LEAK"),), **mine
    )

    assert nets(result) == ["LEAK:A 40.00", "LEAK:B 44.00"]


def test_an_agreed_price_is_neither_discounted_nor_lifted_to_the_minimum():
    """VREF agreed at 1.00 a valve: 2.00, no discount, not lifted to 15.00."""
    rates, mine = agreed(PLAIN, operation="VREF", unit=dec("1.00"))
    result = priced(rates, work=(Asked("VREF", which=number("2")),), **mine)

    assert nets(result) == ["VREF: 2.00"]
    assert "discount" not in kinds(result)


def test_an_agreed_price_that_equals_the_list_price_of_another_head_is_no_discount():
    """LEAK 40.00 agreed for class car, 40.00 in the list for large: 4.00 off one."""
    rates = with_class_price(
        PLAIN, operation="LEAK", size_class="large", base=dec("40")
    )
    rates, mine = agreed(rates, operation="LEAK", size_class="car", base=dec("40"))
    result = priced(
        rates, heads(rates, "V6-12", "V6-12L"), work=(Asked("LEAK"),), **mine
    )

    assert result.totals.labour == dec("80.00")
    assert result.totals.discount == dec("4.00")


def test_an_agreed_price_for_an_operation_by_time_is_by_count():
    """By time 20 min = 26.00; agreed 18.00 a head."""
    rates = timed("LEAK", setup="20")
    rates, mine = agreed(rates, operation="LEAK", base=dec("18"))
    result = priced(rates, heads(rates, "I4-16"), work=(Asked("LEAK"),), **mine)

    assert nets(result) == ["LEAK:A 18.00"]
    assert result.totals.minutes == 20


# The operation's minimum.


@pytest.mark.parametrize(
    ("valves", "expected", "short"),
    [("1", "15.00", "10.75"), ("3", "15.00", "2.25"), ("4", "17.00", "0")],
)
def test_an_operation_is_lifted_to_its_minimum(valves, expected, short):
    """VREF 4.25 each, at least 15.00."""
    result = priced(PLAIN, work=(Asked("VREF", which=number(valves)),))

    assert nets(result) == [f"VREF: {expected}"]
    assert result.lines[0].minimum == dec(short)


def test_the_minimum_is_that_of_all_its_lines_and_lifts_the_last():
    """Inlet 6.50 + exhaust 7.00 = 13.50 of 20.00: 6.50 more on the exhaust line."""
    rates = with_operation(PLAIN, "SCUT", base=ZERO, minimum=dec("20.00"))
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("SCUT", which=at("A1I1", "A1E1")),)
    )

    assert nets(result) == ["SCUT-in:A 6.50", "SCUT-ex:A 13.50"]


def test_a_class_has_a_minimum_of_its_own():
    rates = with_class_price(
        PLAIN, operation="VREF", size_class="single", minimum=dec("8.00")
    )

    one = Asked("VREF", which=at("A1E1"))
    assert nets(priced(rates, heads(rates, "M1-4"), work=(one,))) == ["VREF-ex:A 8.00"]
    assert nets(priced(rates, heads(rates, "I4-16"), work=(one,))) == [
        "VREF-ex:A 15.00"
    ]


def test_what_lifts_to_the_minimum_is_discounted_like_the_operation():
    """Nothing but a minimum of 20.00: 10 % is 2.00."""
    rates = with_operation(PLAIN, "VREF", unit=None, minimum=dec("20.00"))
    result = priced(rates, heads(rates, "I4-16"), work=(Asked("VREF"),), terms=TRADE)

    assert (result.totals.labour, result.totals.discount) == (dec("20.00"), dec("2.00"))


# By time.


def timed(code, setup="0", each="0", rates=PLAIN, **values):
    return with_operation(
        rates, code, priced_by="time", base=None, unit=None, unit_inlet=None,
        unit_exhaust=None, minimum=ZERO, setup_minutes=dec(setup),
        unit_minutes=dec(each), **values,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("setup", "each", "minutes", "net"),
    [
        ("20", "0", "20", "26.00"),
        ("7", "0", "7", "9.10"),
        ("0", "0.1", "1.6", "2.08"),
        ("0", "0.01", "0.16", "0.21"),
        ("8", "2.8", "52.8", "68.64"),
    ],
)
def test_minutes_are_sold_at_the_hourly_rate_of_the_work_centre(
    setup, each, minutes, net
):
    """20 minutes are no finite part of an hour: 20 x 78.00 / 60 = 26.00 exactly."""
    rates = timed("VREF", setup, each)
    result = priced(rates, heads(rates, "I4-16"), work=(Asked("VREF"),))

    assert (str(result.totals.minutes), nets(result)) == (minutes, [f"VREF:A {net}"])


def test_set_up_minutes_have_a_pair_break_too():
    """20 x (1 + 0.5) = 30 min, 39.00."""
    rates = timed("SKIM", "20", pair_break=dec("0.5"))
    result = priced(rates, heads(rates, "V6-12", "V6-12"), work=(Asked("SKIM"),))

    assert nets(result) == ["SKIM:AB 39.00"]


def test_the_factor_on_minutes_moves_times_costs_and_what_is_sold_by_time():
    """52.8 x 1.25 = 66.0 min at 78.00 an hour 85.80, at 40.00 cost 44.00.

    What is priced by count keeps its price: LEAK 55.00, 30 x 1.25 = 37.5 min.
    """
    rates = timed("VREF", "8", "2.8")
    rates = with_operation(rates, "LEAK", setup_minutes=dec("30"))
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK"), Asked("VREF")),
        minutes_factor=dec("1.25"),
    )  # fmt: skip

    assert nets(result) == ["LEAK:A 55.00", "VREF:A 85.80"]
    assert [line.minutes for line in result.lines] == [dec("37.5"), dec("66")]
    assert [line.cost for line in result.lines] == [dec("25.00"), dec("44.00")]


def test_valves_not_known_which_are_timed_at_the_longer_side():
    """3 x 4.5 x 1.35 = 18.225, with 20 for the set-up 38.225 min, 49.69: at most."""
    rates = timed("SCUT", "20", "4.5")
    came = heads(rates, "I4-16", **HARD_EXHAUST)
    result = priced(rates, came, work=(Asked("SCUT", which=number("3")),))

    assert nets(result) == ["SCUT-ex:A 49.69"]
    assert result.lines[0].at_most
    assert len(result.questions) == 1


# A bare number, not yet known which.


def test_a_number_without_a_side_is_priced_at_the_dearer_side_and_asked_back():
    """12.00 + 3 x 16.00 = 60.00 at most; inlets would be 55.50."""
    asked = Asked("GREP", which=number("3"))
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=(asked,))

    assert nets(result) == ["GREP-ex:A 60.00"]
    assert result.lines[0].at_most
    [question] = result.questions
    assert question.text.startswith("Replace guides: are the 3 inlet or exhaust?")


def test_a_number_on_a_side_is_priced_at_that_side_and_nothing_is_asked():
    """12.00 + 3 x 14.50 = 55.50."""
    asked = Asked("GREP", which=number("3", Side.INLET))
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=(asked,))

    assert nets(result) == ["GREP-in:A 55.50"]
    assert (result.lines[0].at_most, result.questions) == (False, ())


def test_a_number_needs_no_side_where_both_cost_the_same():
    """10.00 + 3 x 7.50 = 32.50."""
    asked = Asked("GKNU", which=number("3"))
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=(asked,))

    assert nets(result) == ["GKNU:A 32.50"]
    assert (result.lines[0].at_most, result.questions) == (False, ())


def test_a_fact_can_make_the_other_side_the_dearer_one():
    """Hard inlet seats: 6.50 x 1.35 = 8.775 beats 7.00; 15 + 2 x 8.775 = 32.55."""
    came = heads(PLAIN, "I4-16", side_facts={Side.INLET: {"seats": "hard"}})
    result = priced(PLAIN, came, work=(Asked("SCUT", which=number("2")),))

    assert nets(result) == ["SCUT-in:A 32.55"]
    assert result.lines[0].at_most


# Modifiers.


def modified(rates, code, **values):
    row = Modifier(
        code=code, name=code.lower(), fact="material", values=("iron",), **values
    )
    return replace(rates, modifiers={**rates.modifiers, code: row})


def test_a_modifier_of_the_unit_leaves_the_base_and_one_of_the_line_does_not():
    """IRON on the whole SKIM: (45 + 2 x 6) x 1.10 = 62.70; on the unit 45 + 13.20."""
    came = heads(PLAIN, "V8-8")
    asked = Asked("SKIM", size=parse_length("0.20 mm"))
    unit = with_modifier(PLAIN, "IRON", scales="unit")

    assert nets(priced(PLAIN, came, work=(asked,))) == ["SKIM:A 62.70"]
    assert nets(priced(unit, came, work=(asked,))) == ["SKIM:A 58.20"]


@pytest.mark.parametrize(
    ("works_on", "net", "minutes"),
    [("both", "49.50", "33"), ("price", "49.50", "30"), ("minutes", "45.00", "33")],
)
def test_a_modifier_works_on_price_on_minutes_or_on_both(works_on, net, minutes):
    rates = with_operation(PLAIN, "SKIM", setup_minutes=dec("30"))
    rates = with_modifier(rates, "IRON", works_on=works_on)
    result = priced(rates, heads(rates, "V8-8"), work=(Asked("SKIM"),))

    assert nets(result) == [f"SKIM:A {net}"]
    assert result.totals.minutes == dec(minutes)


@pytest.mark.parametrize(
    ("works_on", "net"), [("both", "42.90"), ("price", "39.00"), ("minutes", "42.90")]
)
def test_what_is_priced_by_time_has_only_minutes_to_multiply(works_on, net):
    """30 min 39.00; x 1.10 is 33 min 42.90, and never 1.10 twice."""
    rates = with_modifier(timed("SKIM", "30"), "IRON", works_on=works_on)
    result = priced(rates, heads(rates, "V8-8"), work=(Asked("SKIM"),))

    assert nets(result) == [f"SKIM:A {net}"]


def test_modifiers_multiply_in_table_order_and_are_named_in_it():
    """45.00 x 1.10 x 1.20 = 59.40, rounded once; unit 6.00 x 1.5 first."""
    rates = modified(
        PLAIN, "DEEP", operations=("SKIM",), factor=dec("1.5"), scales="unit"
    )
    rates = modified(
        rates, "OLD", operations=("SKIM",), factor=dec("1.2"), scales="line"
    )
    asked = Asked("SKIM", size=parse_length("0.15 mm"))
    result = priced(rates, heads(rates, "V8-8"), work=(asked,))

    assert nets(result) == ["SKIM:A 71.28"], "(45 + 6 x 1.5) x 1.10 x 1.20"
    assert [m.code for m in result.lines[0].modifiers] == ["IRON", "DEEP", "OLD"]


def test_a_number_under_or_over_a_limit_is_a_fact():
    """A stem of exactly 6 mm is not under 6: 16.00, not 18.40."""
    asked = Asked("GREP", which=at("A1E1"))
    for stem, net in (("5.99", "30.40"), ("6", "28.00"), ("6.01", "28.00")):
        came = heads(PLAIN, "I4-16", facts={"stem_mm": dec(stem)})
        assert nets(priced(PLAIN, came, work=(asked,))) == [f"GREP-ex:A {net}"]


def test_a_fact_of_one_valve_is_a_line_of_its_own():
    """One hard inlet seat: 7 x 6.50 + 15 = 60.50 and 6.50 x 1.35 = 8.775, 8.78."""
    [head] = heads(PLAIN, "I4-16")
    hard = {at("A2I1").positions[0]: {"seats": "hard"}}
    result = priced(
        PLAIN, (replace(head, position_facts=hard),),
        work=(Asked("SCUT", which=INLET),),
    )  # fmt: skip

    assert nets(result) == ["SCUT-in:A 60.50", "SCUT-in:A 8.78"]
    assert [v.filed for v in result.lines[1].positions] == ["A2I1"]


# Steps.


def test_sizes_may_differ_by_head():
    """A 0.15 mm 45 + 6, B 0.25 mm 45 + 3 x 6: 51.00 + 63.00, four steps in all."""
    rows = (
        Asked("SKIM", heads=("A",), size=parse_length("0.15 mm")),
        Asked("SKIM", heads=("B",), size=parse_length("0.25 mm")),
    )
    result = priced(PLAIN, heads(PLAIN, "V6-12", "V6-12"), work=rows)

    assert sum(line.net for line in result.lines) == dec("114.00")
    assert sum(line.quantity for line in result.lines) == 4
    assert [line.size.typed for line in result.lines] == ["0.15 mm", "0.25 mm"]


def test_the_size_that_was_typed_is_kept_and_priced_on_the_grid():
    """6 thou is 0.1524 mm, 0.15 on the grid: one step, 51.00."""
    asked = Asked("SKIM", size=parse_length("6 thou"))
    [line] = priced(PLAIN, heads(PLAIN, "I4-16"), work=(asked,)).lines

    assert (line.net, line.size.typed) == (dec("51.00"), "6 thou")


# A price set by hand, and free lines.


def own(amount, **values):
    return OwnPrice(dec(amount), "agreed at the counter", **values)


def test_a_price_set_by_hand_is_for_all_of_it_and_keeps_the_list_price_beside_it():
    """100.00 over 67.00 and 56.00: 54.47 and 45.53; rounded down and up to 100.00."""
    result = priced(
        PLAIN, heads(PLAIN, "I4-16"), work=(Asked("SCUT", own=own("100.00")),),
        terms=TRADE,
    )  # fmt: skip

    assert nets(result) == ["SCUT-in:A 54.47", "SCUT-ex:A 45.53"]
    assert [line.list_net for line in result.lines] == [dec("67.00"), dec("56.00")]
    assert {line.reason for line in result.lines} == {"agreed at the counter"}
    assert "discount" not in kinds(result)


def test_a_price_set_by_hand_is_discounted_only_if_marked():
    result = priced(
        PLAIN, heads(PLAIN, "I4-16"), terms=TRADE,
        work=(Asked("LEAK", own=own("50.00", discountable=True)),),
    )  # fmt: skip

    assert only(result, "discount").net == dec("-5.00")


@pytest.mark.parametrize("amount", ["5.00", "0", "0.01"])
def test_a_price_set_by_hand_is_not_lifted_to_the_operations_minimum(amount):
    result = priced(PLAIN, work=(Asked("VREF", which=number("2"), own=own(amount)),))

    assert sum(line.net for line in result.lines) == dec(amount)


def test_the_other_rows_of_the_operation_keep_their_price():
    """A at 30.00 by hand, B at the list's 45.00."""
    rows = (Asked("SKIM", heads=("A",), own=own("30.00")), Asked("SKIM", heads=("B",)))
    result = priced(PLAIN, heads(PLAIN, "V6-12", "V6-12"), work=rows)

    assert nets(result) == ["SKIM:A 30.00", "SKIM:B 45.00"]


def test_a_price_set_by_hand_is_never_dropped_without_a_word():
    """The row beside it asks for the same head: 40.00 stands, or it is said why not."""
    rows = (Asked("SKIM"), Asked("SKIM", own=own("40.00")))
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=rows)

    assert result.totals.labour == dec("40.00") or result.notices


def test_a_free_line_is_hours_at_a_rate_or_an_amount():
    """1.5 h x 78.00 = 117.00; 0.33 h x 90.00 = 29.70; 12.345 is rounded to 12.35."""
    free = (
        FreeLine("seized valves", hours=dec("1.5")),
        FreeLine("at night", hours=dec("0.33"), rate=dec("90")),
        FreeLine("pattern made", amount=dec("12.345")),
    )
    result = priced(PLAIN, heads(PLAIN, "I4-16"), free=free)

    assert [line.net for line in result.lines] == [
        dec("117.00"), dec("29.70"), dec("12.35"),
    ]  # fmt: skip
    assert result.totals.labour == dec("159.05")
    assert [line.minutes for line in result.lines] == [90, dec("19.8"), 0]
    assert [line.cost for line in result.lines] == [dec("60.00"), dec("13.20"), 0]


def test_a_free_line_has_its_own_tax_code_and_income_group():
    free = FreeLine("gasket", amount=dec("40"), tax_code="B", group="parts")
    result = priced(PLAIN, heads(PLAIN, "I4-16"), free=(free,))

    assert (result.totals.labour, result.totals.parts) == (0, dec("40.00"))
    assert [(g.tax.rate, g.amount) for g in result.taxes] == [(5, dec("2.00"))]


@pytest.mark.parametrize(
    ("group", "off"), [("labour", "10.00"), ("parts", "5.00"), ("exchange", "20.00")]
)
def test_a_free_line_that_is_marked_has_the_discount_of_its_group(group, off):
    free = FreeLine("something", amount=dec("100"), group=group, discountable=True)
    marked = priced(PLAIN, free=(free,), terms=TRADE)
    unmarked = priced(PLAIN, free=(replace(free, discountable=False),), terms=TRADE)

    assert marked.totals.discount == dec(off)
    assert unmarked.totals.discount == 0


# Sets of work at one price.


def with_set(rates, operations, *prices):
    return replace(
        rates,
        sets={"S": WorkSet(code="S", name="Set", operations=tuple(operations.split()))},
        set_prices=[SetPrice(set="S", **row) for row in prices],
    )


TEST_SET = "WASH LEAK"  # 28.00 + 55.00 = 83.00


def test_a_set_costs_its_price_and_its_lines_stand_above_the_difference():
    """WASH 28.00 + LEAK 55.00 = 83.00, one price 70.00: -13.00."""
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    result = priced(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),))

    assert [(line.kind, line.net) for line in result.lines[:3]] == [
        ("labour", dec("28.00")),
        ("labour", dec("55.00")),
        ("set_price", dec("-13.00")),
    ]
    assert result.totals.labour == dec("70.00")


def test_a_set_without_a_price_costs_the_sum_of_its_lines():
    rates = with_set(PLAIN, TEST_SET)
    result = priced(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),))

    assert result.totals.labour == dec("83.00")
    assert "set_price" not in kinds(result)


@pytest.mark.parametrize(("per", "labour"), [("head", "140.00"), ("job", "70.00")])
def test_a_sets_price_is_a_heads_or_a_jobs(per, labour):
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70"), "per": per})
    result = priced(rates, heads(rates, "V6-12", "V6-12"), sets=(AskedSet("S"),))

    assert result.totals.labour == dec(labour)


def test_the_narrowest_row_of_a_sets_prices_holds():
    """Any 70, class large 90, layout I4-20 80."""
    rates = with_set(
        PLAIN, TEST_SET, {"price": dec("70")},
        {"price": dec("90"), "size_class": "large"},
        {"price": dec("80"), "layout": "I4-20"},
    )  # fmt: skip

    for layout, labour in (("I4-16", "70"), ("V6-12L", "90"), ("I4-20", "80")):
        result = priced(rates, heads(rates, layout), sets=(AskedSet("S"),))
        assert result.totals.labour == dec(labour)


def test_a_set_asked_for_in_two_rows_is_priced_once_a_head():
    """One row a head: 2 x 70.00, and every line once."""
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    came = heads(rates, "V6-12", "V6-12")
    rows = (AskedSet("S", heads=("A",)), AskedSet("S", heads=("B",)))
    result = priced(rates, came, sets=rows)

    assert result.totals.labour == dec("140.00")
    done = [line for line in result.lines if line.kind == "labour"]
    assert sum(line.net for line in done) == 2 * dec("83.00")


def test_what_is_left_out_of_a_set_lowers_its_price_in_proportion():
    """70 x 55 / 83 = 46.385..., 46.39; the fees that went with the wash go too."""
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    declined = {"WASH": "washed it himself"}
    result = priced(
        rates, heads(rates, "I4-16"), sets=(AskedSet("S"),), declined=declined
    )

    assert nets(result) == ["LEAK:A 55.00"]
    assert only(result, "set_price").net == dec("-8.61")
    assert result.totals.labour == dec("46.39")
    assert result.totals.fees == 0


def test_what_the_arrival_leaves_out_lowers_a_sets_price_too():
    rates = with_operation(PLAIN, "WASH", left_out_when=("clean",))
    rates = with_set(rates, TEST_SET, {"price": dec("70")})
    came = heads(rates, "I4-16", condition=frozenset({"clean"}))

    assert priced(rates, came, sets=(AskedSet("S"),)).totals.labour == dec("46.39")


def test_a_set_of_which_nothing_is_left_costs_nothing():
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    gone = {"WASH": "no", "LEAK": "no"}
    result = priced(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),), declined=gone)

    assert result.lines == ()


def test_extra_work_outside_a_set_is_priced_normally():
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    result = priced(
        rates, heads(rates, "I4-16"), sets=(AskedSet("S"),), work=(Asked("SKIM"),)
    )

    assert result.totals.labour == dec("70.00") + dec("45.00")


def test_the_difference_of_a_set_is_discounted_as_its_lines_are():
    """10 % of 70.00; where LEAK is not discountable, 10 % of 28 - 4.39 = 2.36."""
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    came = heads(rates, "I4-16")
    partly = with_operation(rates, "LEAK", discountable=False)

    all_of_it = priced(rates, came, sets=(AskedSet("S"),), terms=TRADE)
    assert all_of_it.totals.discount == dec("7.00")
    some_of_it = priced(partly, came, sets=(AskedSet("S"),), terms=TRADE)
    assert some_of_it.totals.discount == dec("2.36")


def test_a_discount_on_a_set_lies_on_the_codes_of_what_is_discounted():
    """WASH 28.00 at 20 %, LEAK 55.00 at 5 % and not discountable, together 70.00.

    The difference -13.00 is -4.39 and -8.61; 10 % of 23.61 is 2.36, all of it at 20 %:
    20 % of 21.25 = 4.25 and 5 % of 46.39 = 2.32.
    """
    rates = with_operation(PLAIN, "LEAK", discountable=False, tax_code="B")
    rates = replace(rates, fees={})
    rates = with_set(rates, TEST_SET, {"price": dec("70")})
    result = priced(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),), terms=TRADE)

    assert dict(only(result, "discount").shares) == {"LAB": dec("-2.36")}
    assert [(g.base, g.amount) for g in result.taxes] == [
        (dec("21.25"), dec("4.25")),
        (dec("46.39"), dec("2.32")),
    ]


def test_an_agreed_set_price_is_not_discounted():
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    rates, mine = agreed(rates, set="S", price=dec("66"))
    result = priced(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),), **mine)

    assert result.totals.labour == dec("66.00")
    assert result.totals.discount == 0


def test_a_set_price_set_by_hand_is_not_discounted_and_is_for_all_heads():
    rates = with_set(PLAIN, TEST_SET, {"price": dec("70")})
    sets = (AskedSet("S", own=own("120.00")),)
    result = priced(rates, heads(rates, "V6-12", "V6-12"), sets=sets, terms=TRADE)

    assert result.totals.labour == dec("120.00")
    assert result.totals.discount == 0


def test_a_size_given_with_the_set_is_that_of_its_skim():
    """28.00 + 45.00 + 2 x 6.00 = 85.00 listed; the set price 80.00 holds all of it."""
    rates = with_set(PLAIN, "WASH SKIM", {"price": dec("80")})
    sets = (AskedSet("S", size=parse_length("0.20 mm")),)
    result = priced(rates, heads(rates, "I4-16"), sets=sets)

    assert nets(result) == ["WASH:A 28.00", "SKIM:A 57.00"]
    assert result.totals.labour == dec("80.00")


# Discounts, rush, make-up, sundries.


def test_each_income_group_has_its_own_discount():
    """10 % of 55.00; 5 % of 40.00; 20 % of 300.00: 5.50 + 2.00 + 60.00."""
    parts = (
        AskedPart(description="valve", price=dec("40")),
        AskedPart(description="head", price=dec("300"), group="exchange"),
    )
    result = priced(
        PLAIN, heads(PLAIN, "I4-16"), work=(Asked("LEAK"),), parts=parts, terms=TRADE
    )

    assert [line.net for line in result.lines if line.kind == "discount"] == [
        dec("-5.50"), dec("-2.00"), dec("-60.00"),
    ]  # fmt: skip
    assert result.totals.discount == dec("67.50")


def test_outwork_fees_and_surcharges_are_never_discounted():
    result = priced(
        PLAIN, terms=TRADE, outwork=(Outwork("weld", dec("100")),),
        fees=(AskedFee("DISP", dec("1")),),
        parts=(AskedPart(description="head", price=dec("0"), surcharge="CORE"),),
    )  # fmt: skip

    assert result.totals.discount == 0
    assert (result.totals.outwork, result.totals.fees, result.totals.surcharges) == (
        dec("115.00"), dec("6.50"), dec("150.00"),
    )  # fmt: skip


def test_an_operation_that_is_not_discountable_pays_in_full():
    rates = with_operation(PLAIN, "LEAK", discountable=False)
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK"), Asked("WASH")), terms=TRADE
    )

    assert result.totals.discount == dec("2.80")


def hurried(**row):
    return replace(PLAIN, rush={"R": Rush(code="R", name="Rush", **row)})


def test_rush_is_worked_out_on_labour_before_the_discount():
    """25 % of 55.00 = 13.75, whatever the 10 % off."""
    rates = hurried(percent=dec("25"))
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK"),), rush="R", terms=TRADE
    )

    assert result.totals.rush == dec("13.75")
    assert result.totals.net == dec("55.00") - dec("5.50") + dec("13.75")


def test_rush_may_be_a_fixed_amount_also_where_no_labour_is():
    rates = hurried(amount=dec("35"))
    part = (AskedPart(description="valve", price=dec("10")),)

    for work in ((Asked("LEAK"),), ()):
        result = priced(rates, heads(rates, "I4-16"), work=work, parts=part, rush="R")
        assert result.totals.rush == dec("35.00")


def test_a_fixed_rush_on_work_that_costs_nothing_is_still_due():
    rates = hurried(amount=dec("35"))
    free = (Asked("LEAK", own=own("0")),)
    result = priced(rates, heads(rates, "I4-16"), work=free, rush="R")

    assert (result.totals.rush, result.totals.tax) == (dec("35.00"), dec("7.00"))


def test_no_rush_is_worked_out_on_parts():
    rates = hurried(percent=dec("25"))
    part = (AskedPart(description="valve", price=dec("10")),)

    assert priced(rates, parts=part, rush="R").totals.rush == 0


def least(amount):
    return replace(edition(sundries="NONE", job_minimum=amount), relations=[])


@pytest.mark.parametrize(
    ("rush", "expected"), [("", "20.50"), ("RUSH", "6.75"), ("BIG", "0")]
)
def test_the_make_up_brings_discounted_labour_and_rush_to_the_jobs_minimum(
    rush, expected
):
    """70.00 less 55.00 - 5.50: 20.50; with rush 13.75 only 6.75; with 27.50 none."""
    rates = least("70.00")
    rates = replace(
        rates,
        rush={**rates.rush, "BIG": Rush(code="BIG", name="Rush", percent=dec("50"))},
    )
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK"),), rush=rush, terms=TRADE
    )

    assert result.totals.make_up == dec(expected)


def test_there_is_no_make_up_without_labour():
    part = (AskedPart(description="valve", price=dec("10")),)

    assert priced(least("45.00"), parts=part).totals.make_up == 0


def test_there_is_no_make_up_on_warranty_work():
    rates = least("100.00")
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK", warranty=dec("1")),)
    )

    assert result.totals.make_up == 0
    assert result.totals.net == 0


def test_parts_do_not_count_towards_the_jobs_minimum():
    part = (AskedPart(description="valve", price=dec("500")),)
    result = priced(
        least("45.00"), work=(Asked("VREF", which=number("2")),), parts=part
    )

    assert result.totals.make_up == dec("30.00")


@pytest.mark.parametrize(
    ("cap", "expected"), [(None, "3.96"), ("3.00", "3.00"), ("5.00", "3.96")]
)
def test_sundries_are_a_share_of_discounted_labour_up_to_a_cap(cap, expected):
    """8 % of 55.00 - 5.50 = 3.96."""
    row = Sundries(
        code="SUN", name="Sundries", percent=dec("8"), tax_code="SUN",
        cap=cap and dec(cap),
    )  # fmt: skip
    rates = replace(least("0"), sundries={"SUN": row, "NONE": row})
    result = priced(rates, heads(rates, "I4-16"), work=(Asked("LEAK"),), terms=TRADE)

    assert result.totals.sundries == dec(expected)


def test_terms_may_have_sundries_of_their_own():
    rates = replace(edition(job_minimum="0"), relations=[])
    mine = replace(TRADE, sundries="NONE")
    came = heads(rates, "I4-16")

    assert priced(rates, came, work=(Asked("LEAK"),)).totals.sundries == dec("2.20")
    assert priced(rates, came, work=(Asked("LEAK"),), terms=mine).totals.sundries == 0


# Parts.


@pytest.mark.parametrize(
    ("part", "unit", "net"),
    [
        ({"price": "12.00"}, "12.00", "36.00"),
        ({"cost": "6.35"}, "8.89", "26.67"),
        ({"cost": "6.35", "markup": "25"}, "7.94", "23.82"),
        ({"cost": "6.35", "markup": "0"}, "6.35", "19.05"),
        ({"cost": "6.00", "margin": "40"}, "10.00", "30.00"),
        ({"cost": "1.00", "margin": "35"}, "1.54", "4.62"),
        ({"price": "12.00", "cost": "6.00", "markup": "25"}, "12.00", "36.00"),
    ],
)
def test_a_part_costs_its_list_price_or_its_cost_with_mark_up_or_margin(
    part, unit, net
):
    """6.35 x 1.4 = 8.89; 6.35 x 1.25 = 7.9375, 7.94; 6 / 0.6 = 10; 1 / 0.65 = 1.54.

    The price of one is rounded, then multiplied.
    """
    given = {key: dec(text) for key, text in part.items()}
    asked = AskedPart(description="guide", quantity=dec("3"), **given)
    [line] = priced(PLAIN, parts=(asked,)).lines

    assert (line.unit_price, line.net) == (dec(unit), dec(net))


def test_a_quantity_of_parts_may_be_broken():
    """2.5 m of hose at 3.33 = 8.325, 8.33."""
    part = AskedPart(description="hose", quantity=dec("2.5"), price=dec("3.33"))

    assert priced(PLAIN, parts=(part,)).totals.parts == dec("8.33")


def test_the_customers_own_part_costs_nothing_and_has_no_warranty():
    part = AskedPart(description="seals", quantity=dec("16"), own_stock=True)
    [line] = priced(PLAIN, parts=(part,)).lines

    assert (line.net, line.cost) == (0, 0)
    assert line.reason == "supplied by customer, no warranty on the part"


def test_a_part_described_by_hand_needs_a_price():
    with pytest.raises(UnpricedPartError, match="mystery"):
        priced(PLAIN, parts=(AskedPart(description="mystery"),))


def test_an_unknown_part_is_refused():
    with pytest.raises(UnknownPartError, match="NOPE"):
        priced(PLAIN, parts=(AskedPart(code="NOPE", quantity=dec("1")),))


def stocked(*rows, rates=PLAIN):
    """Return rates whose SEAL operation uses up a stem seal a valve, of these rows."""
    parts = {
        f"P{index}": Part(
            code=f"P{index}", name=f"Seal {index}", kind="seal", tax_code="PAR",
            as_of=rates.shop.valid_from, **row,
        )
        for index, row in enumerate(rows)
    }  # fmt: skip
    return replace(with_operation(rates, "SEAL", consumes="seal"), parts=parts)


SEAL = {"price": dec("2.00")}


def test_what_an_operation_uses_up_is_proposed_at_its_own_count():
    """Two valves, two seals: 4.00."""
    rates = stocked(SEAL)
    asked = Asked("SEAL", which=at("A1E1", "A2I2"))
    part = only(priced(rates, heads(rates, "I4-16"), work=(asked,)), "part")

    assert (part.quantity, part.net) == (2, dec("4.00"))
    assert part.because == "for: fit stem seals"


def test_what_is_used_up_follows_what_brought_the_work_along():
    rates = with_relation(stocked(SEAL), "GREP", relation="brings", other="SEAL")
    asked = Asked("GREP", which=number("3", Side.EXHAUST))

    part = only(priced(rates, heads(rates, "I4-16"), work=(asked,)), "part")
    assert part.quantity == 3


def test_a_part_that_is_used_up_can_be_changed_declined_or_brought_along():
    rates = stocked(SEAL, {"price": dec("5.00")})
    came, work = heads(rates, "I4-16"), (Asked("SEAL"),)

    dearer = priced(rates, came, work=work, parts=(AskedPart("P1"),))
    assert (only(dearer, "part").quantity, dearer.totals.parts) == (16, dec("80.00"))
    fewer = priced(rates, came, work=work, parts=(AskedPart("P0", quantity=dec("15")),))
    assert fewer.totals.parts == dec("30.00")
    brought = priced(rates, came, work=work, parts=(AskedPart("P0", own_stock=True),))
    assert (only(brought, "part").quantity, brought.totals.parts) == (16, 0)
    declined = priced(rates, came, work=work, declined={"seal": "none wanted"})
    assert "part" not in kinds(declined)
    unproposed = priced(rates, came, work=work, propose=False)
    assert "part" not in kinds(unproposed)


def test_a_part_of_the_table_without_a_number_needs_work_that_uses_it():
    rates = stocked(SEAL)

    with pytest.raises(PartQuantityError, match="Seal 0"):
        priced(rates, heads(rates, "I4-16"), parts=(AskedPart("P0"),))


@pytest.mark.parametrize(
    ("layout", "expected"),
    [
        ("I4-16", {"P1": 16}),
        ("V8-8", {"P0": 4, "P2": 4}),
        ("M1-4", {"P3": 4}),
        ("D4-8", {"P4": 8}),
    ],
)
def test_the_row_that_fits_most_narrowly_is_proposed(layout, expected):
    """P1 for 7 mm stems; P2 for exhausts of 9 mm; P3 a layout; P4 size and layout."""
    rates = stocked(
        SEAL,
        {**SEAL, "stem_mm": dec("7")},
        {**SEAL, "stem_mm": dec("9"), "side": "exhaust"},
        {**SEAL, "layout": "M1-4"},
        {**SEAL, "layout": "D4-8", "size_class": "car"},
    )
    lines = priced(rates, heads(rates, layout), work=(Asked("SEAL"),)).lines

    assert {ln.code: ln.quantity for ln in lines if ln.kind == "part"} == expected


def test_a_part_that_no_row_fits_is_asked_back():
    rates = stocked({**SEAL, "stem_mm": dec("5")})
    result = priced(rates, heads(rates, "I4-16"), work=(Asked("SEAL"),))

    assert "part" not in kinds(result)
    assert [q.text for q in result.questions] == [
        "No price for seal in the parts table; give one."
    ]


def test_a_part_of_the_table_has_its_own_tax_code_group_and_cost():
    rates = stocked({"cost": dec("1.00"), "income_group": "exchange"})
    [line] = [
        line
        for line in priced(
            rates, parts=(AskedPart("P0", quantity=dec("2")),), terms=TRADE
        ).lines
        if line.kind == "exchange"
    ]

    assert (line.net, line.cost, line.margin) == (
        dec("2.80"), dec("2.00"), dec("0.80"),
    )  # fmt: skip
    assert (line.group, line.tax_code) == ("exchange", "PAR")


# Exchange surcharges.


def surcharged(**values):
    row = Surcharge(
        code="CORE", name="Exchange surcharge", amount=dec("150"),
        **{"tax_code": "SUR", **values},
    )  # fmt: skip
    return replace(PLAIN, surcharges={"CORE": row})


def exchange(old_unit="", quantity="1"):
    return (
        AskedPart(
            description="exchange head", group="exchange", price=dec("400"),
            quantity=dec(quantity), surcharge="CORE", old_unit=old_unit,
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("row", "tax"),
    [
        ({}, "80.00"),
        ({"tax_returned": False, "untaxed_code": "EXEMPT"}, "110.00"),
        ({"tax_code": "EXEMPT"}, "80.00"),
    ],
)
def test_the_three_ways_a_surcharge_is_taxed(row, tax):
    """400.00 and 150.00 at 20 %, the old unit handed in with the sale.

    Taxed and returned with its tax: 80.00. Taxed, the tax kept: 80 + 30. Not taxed at
    all: 80.00. The three are examples of treatments that states describe; ask an
    adviser.
    """
    result = priced(surcharged(**row), parts=exchange("full"))

    assert result.totals.surcharges == 0
    assert result.totals.tax == dec(tax)


@pytest.mark.parametrize(
    ("percent", "worth", "tax", "total"),
    [
        ("10", None, "88.00", "488.00"),
        (None, "50", "90.00", "490.00"),
        ("10", "50", "90.00", "490.00"),
        (None, None, "80.00", "480.00"),
    ],
)
def test_tax_is_due_on_the_worth_of_the_old_unit_as_well(percent, worth, tax, total):
    """Tax at 20 % on 400.00 and the worth, by UStAE 10.5 (3) (seen quoted).

    A tenth: 400 + 40, tax 88.00, to pay 400 + 88. Agreed at 50: 450, tax 90.00. The
    worth itself is not paid.
    """
    part = replace(exchange()[0], surcharge="", worth=worth and dec(worth))
    result = priced(with_worth_taxed(PLAIN, percent), parts=(part,))

    assert result.totals.tax == dec(tax)
    assert result.totals.total == dec(total)
    assert result.totals.exchange == dec("400.00")


def test_the_worth_is_a_per_cent_of_the_discounted_price():
    """A tenth of 400.00 less 25 % is 30.00; tax on 300 + 30 at 20 % is 66.00."""
    rates = with_worth_taxed(PLAIN, "10")
    terms = replace(rates.terms[rates.shop.terms], discount_exchange=dec("25"))
    part = replace(exchange()[0], surcharge="")
    result = priced(rates, parts=(part,), terms=terms)

    assert [line.net for line in result.lines if line.kind == "worth"] == [
        dec("30.00"), dec("-30.00"),
    ]  # fmt: skip
    assert result.totals.tax == dec("66.00")


def test_prices_that_contain_their_tax_stay_what_they_are():
    """440.00 with 20 % in it has 73.33 of tax; 400.00 are paid."""
    rates = replace(PLAIN, policy=replace(PLAIN.policy, inclusive=True))
    part = replace(exchange()[0], surcharge="")
    result = priced(with_worth_taxed(rates, "10"), parts=(part,))

    assert result.totals.tax == dec("73.33")
    assert result.totals.total == dec("400.00")


def test_the_worth_says_how_it_comes_about():
    """A tenth of 400.00 less 25 %; 2 units of 25.00 as agreed."""
    rates = with_worth_taxed(PLAIN, "10")
    terms = replace(rates.terms[rates.shop.terms], discount_exchange=dec("25"))
    part = replace(exchange(quantity="2")[0], surcharge="")
    agreed = replace(part, worth=dec("25"))
    result = priced(rates, parts=(part, agreed), terms=terms)

    assert [why(line) for line in result.lines if line.kind == "worth"] == [
        "10 % of 600.00", "", "2 pieces x 25", "",
    ]  # fmt: skip


def test_a_surcharge_is_the_worth_where_nothing_else_is_agreed():
    """400.00 and 150.00 at 20 % are 110.00: the tax stays when the 150.00 go back."""
    result = priced(with_worth_taxed(surcharged()), parts=exchange("full"))

    assert result.totals.surcharges == 0
    assert result.totals.tax == dec("110.00")
    with pytest.raises(WorthTwiceError, match="give one of the two"):
        priced(
            with_worth_taxed(surcharged()),
            parts=(replace(exchange()[0], worth=dec("50")),),
        )


def test_with_a_per_cent_a_surcharge_goes_back_with_its_tax():
    """400.00 and a tenth of it at 20 %: 88.00, whether the 150.00 went back or not."""
    back = priced(with_worth_taxed(surcharged(), "10"), parts=exchange("full"))
    held = priced(with_worth_taxed(surcharged(), "10"), parts=exchange())

    assert back.totals.tax == dec("88.00")
    assert held.totals.tax == dec("88.00") + dec("30.00")


@pytest.mark.parametrize(
    ("grade", "left"),
    [("", "150.00"), ("full", "0"), ("part", "60.00"), ("none", "150.00")],
)
def test_the_share_that_goes_back_is_by_the_grade_of_the_old_unit(grade, left):
    rates = surcharged(share_part=dec("0.6"))

    assert priced(rates, parts=exchange(grade)).totals.surcharges == dec(left)


def test_a_surcharge_goes_with_each_unit():
    result = priced(surcharged(), parts=exchange(quantity="2"))

    assert result.totals.surcharges == dec("300.00")


def test_a_part_of_the_table_brings_its_surcharge_along():
    rates = stocked({**SEAL, "surcharge": "CORE"}, rates=surcharged())
    result = priced(rates, parts=(AskedPart("P0", quantity=dec("1")),))

    assert result.totals.surcharges == dec("150.00")


# Outwork and fees.


def test_outwork_is_cost_and_mark_up():
    """62.00 x 1.15 = 71.30; at 10 % of its own 68.20; 0.33 x 1.15 = 0.3795, 0.38."""
    outwork = (
        Outwork("weld", dec("62.00")),
        Outwork("weld", dec("62.00"), markup=dec("10")),
        Outwork("stamp", dec("0.33")),
    )
    result = priced(PLAIN, outwork=outwork)

    assert [line.net for line in result.lines] == [
        dec("71.30"), dec("68.20"), dec("0.38"),
    ]  # fmt: skip
    assert [line.margin for line in result.lines] == [
        dec("9.30"), dec("6.20"), dec("0.05"),
    ]  # fmt: skip


def test_outwork_may_have_a_tax_code_of_its_own():
    result = priced(PLAIN, outwork=(Outwork("weld", dec("100"), tax_code="B"),))

    assert result.totals.tax == dec("5.75")


def test_a_wash_fee_is_due_once_a_head_whatever_it_was_washed_in():
    """WASH and HOTK on A, WASH on B: two heads, 13.00."""
    rows = (Asked("WASH"), Asked("HOTK", heads=("A",)))
    result = priced(PLAIN, heads(PLAIN, "V8-8", "V8-8"), work=rows)

    assert (only(result, "fee").quantity, result.totals.fees) == (2, dec("13.00"))


@pytest.mark.parametrize(
    ("per", "asked", "fees"),
    [
        ("job", None, "6.50"),
        ("each", None, "6.50"),
        ("head", "0", "0"),
        ("head", "3", "19.50"),
        ("each", "2.5", "16.25"),
    ],
)
def test_a_fee_is_a_heads_a_jobs_or_as_often_as_asked(per, asked, fees):
    row = Fee(
        code="DISP", name="Disposal", price=dec("6.50"), tax_code="FEE", per=per,
        operations=("WASH",),
    )  # fmt: skip
    rates = replace(PLAIN, fees={"DISP": row})
    rows = (AskedFee("DISP", dec(asked)),) if asked else ()
    result = priced(
        rates, heads(rates, "V8-8", "V8-8"), work=(Asked("WASH"),), fees=rows
    )

    assert result.totals.fees == dec(fees)


# Condemned at the test.


def condemned(rates, *layouts, gates, **values):
    """Return heads of which those with a gate were condemned at it."""
    return tuple(
        replace(head, condemned_at=gate, **values)
        for head, gate in zip(heads(rates, *layouts), gates, strict=True)
    )


ROWS = tuple(map(Asked, ("STRP", "WASH", "MEAS", "LEAK", "SCUT", "SKIM", "ASSY")))


@pytest.mark.parametrize(
    ("cap", "per", "net"),
    [
        ("95.00", "job", "95.00"),
        ("95.00", "head", "190.00"),
        ("500.00", "head", "278.00"),
        (None, "head", "278.00"),
    ],
)
def test_condemned_heads_pay_up_to_the_gate_and_never_above_the_cap(cap, per, net):
    """A head of 12 valves: 26 + 28 + 30 + 55 = 139.00; two of them 278.00."""
    rates = least("45.00")
    shop = replace(rates.shop, no_fix_cap=cap and dec(cap), no_fix_per=per)
    rates = replace(rates, shop=shop)
    came = condemned(rates, "V6-12", "V6-12", gates=("LEAK", "LEAK"))
    result = priced(rates, came, work=ROWS, rush="RUSH")

    assert result.totals.net == dec(net)
    assert {line.code for line in result.lines if line.kind == "labour"} == {
        "STRP", "WASH", "MEAS", "LEAK",
    }  # fmt: skip
    assert kinds(result) <= {"labour", "no_fix"}


def test_the_discount_comes_off_before_the_cap_is_looked_at():
    """139.00 less 10 % = 125.10, capped at 95.00: less 30.10."""
    came = condemned(RATES, "I4-12", gates=("LEAK",))
    result = priced(RATES, came, work=ROWS, terms=TRADE)

    assert result.totals.discount == dec("13.90")
    assert only(result, "no_fix").net == dec("-30.10")
    assert result.totals.net == dec("95.00")


def test_outwork_and_parts_used_up_to_the_gate_are_charged_beside_the_cap():
    """95.00 + 115.00 + 12.00 = 222.00."""
    came = condemned(RATES, "I4-12", gates=("LEAK",))
    result = priced(
        RATES, came, work=ROWS, outwork=(Outwork("X-ray", dec("100")),),
        parts=(AskedPart(description="test plate", price=dec("12")),),
    )  # fmt: skip

    assert result.totals.net == dec("222.00")


def test_parts_that_work_after_the_gate_would_use_up_are_not_charged():
    rates = stocked(SEAL, rates=RATES)
    came = condemned(rates, "I4-12", gates=("LEAK",))
    result = priced(rates, came, work=(*ROWS, Asked("SEAL")))

    assert "part" not in kinds(result)


def test_where_one_head_goes_on_each_is_priced_as_a_job_of_its_own():
    """A is condemned: 139.00 capped at 95.00. B stands alone, with full bases.

    26 + 28 + 30 + 55 + 54 + 42 + 45 + 48.40 = 328.40, sundries 13.14, disposal 6.50.
    """
    rates = with_operation(RATES, "SKIM", pair_break=dec("0.5"))
    came = condemned(rates, "V6-12", "V6-12", gates=("LEAK", ""))
    result = priced(rates, came, work=ROWS)
    alone = priced(rates, came[1:], work=ROWS)

    assert nets(result, "no_fix") == [":A -44.00"]
    assert result.totals.sundries == alone.totals.sundries == dec("13.14")
    assert result.totals.fees == alone.totals.fees == dec("6.50")
    assert alone.totals.labour == dec("328.40")
    assert result.totals.net == alone.totals.net + dec("95.00")


def test_what_is_counted_by_the_job_goes_on_with_the_head_that_goes_on():
    """A report after the gate, 20.00 a job: it is still written for B."""
    rates = with_operation(
        PLAIN, "CCMS", counted_by="job", base=None, unit=dec("20"), base_per="job"
    )
    came = condemned(rates, "V6-12", "V6-12", gates=("LEAK", ""))
    result = priced(rates, came, work=(Asked("LEAK"), Asked("CCMS")))

    assert [line.net for line in result.lines if line.code == "CCMS"] == [dec("20")]


def test_a_condemned_heads_set_is_reduced_to_what_was_done():
    """380 x 84 / 315.40 = 101.20 up to MEAS, capped at 95.00."""
    came = condemned(RATES, "V6-12", gates=("MEAS",))
    result = priced(RATES, came, sets=(AskedSet("VJOB"),))

    assert only(result, "set_price").unit_price == dec("101.20")
    assert result.totals.net == dec("95.00")


def test_the_set_of_the_head_that_goes_on_costs_one_heads_price():
    """B's valve job 380.00, sundries 15.20, disposal 6.50; A 95.00."""
    came = condemned(RATES, "V6-12", "V6-12", gates=("MEAS", ""))
    result = priced(RATES, came, sets=(AskedSet("VJOB"),))

    figures = [line.unit_price for line in result.lines if line.kind == "set_price"]
    assert figures == [dec("101.20"), dec("380.00")]
    assert result.totals.net == dec("95.00") + dec("380.00") + dec("15.20") + dec(
        "6.50"
    )


def test_the_price_if_condemned_can_be_asked_for_beforehand():
    """T07 before the test: at most 95.00 + 20 %."""
    job = Job(heads(RATES, "I4-12"), work=ROWS, rush="RUSH", terms=TRADE)
    stopped = no_fix(RATES, job, "LEAK", ON)

    assert (stopped.totals.net, stopped.totals.total) == (dec("95.00"), dec("114.00"))


# Warranty.


@pytest.mark.parametrize(
    ("share", "net"), [("1", "0"), ("0.5", "27.50"), ("0.333", "36.68"), ("0", "55.00")]
)
def test_warranty_is_list_price_without_discount_less_the_shops_share(share, net):
    """55.00 x 0.333 = 18.315, 18.32 less: 36.68."""
    asked = Asked("LEAK", warranty=dec(share))
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=(asked,), terms=TRADE)

    assert nets(result) == ["LEAK:A 55.00"]
    assert result.totals.discount == 0
    assert result.totals.net == dec(net)


def test_rush_make_up_sundries_and_discount_are_worked_out_on_paid_lines_alone():
    """WASH 28.00 paid: rush 7.00, discount 2.80, make-up 12.80, sundries 1.01.

    LEAK 55.00 on warranty is there and taken off again.
    """
    rows = (Asked("WASH"), Asked("LEAK", warranty=dec("1")))
    came = heads(RATES, "I4-16")
    result = priced(RATES, came, work=rows, rush="RUSH", terms=TRADE)
    paid = priced(RATES, came, work=rows[:1], rush="RUSH", terms=TRADE)

    assert (result.totals.rush, result.totals.discount) == (dec("7.00"), dec("2.80"))
    assert (result.totals.make_up, result.totals.sundries) == (
        dec("12.80"), dec("1.01"),
    )  # fmt: skip
    assert result.totals.total == paid.totals.total


def test_the_cost_of_warranty_work_is_recorded():
    rates = with_operation(PLAIN, "LEAK", setup_minutes=dec("45"))
    asked = Asked("LEAK", warranty=dec("1"))
    result = priced(rates, heads(rates, "I4-16"), work=(asked,))

    assert (result.totals.cost, result.totals.minutes) == (dec("30.00"), 45)


def test_a_part_may_be_on_warranty():
    part = AskedPart(description="valve", price=dec("40"), warranty=dec("1"))

    assert priced(PLAIN, parts=(part,), terms=TRADE).totals.net == 0


# An agreed round figure, deposits, exemption, prices that contain tax.


def test_a_round_figure_leaves_the_lines_as_they_are():
    """55.00 + 20 % = 66.00, called 60.00: net 50.00, less 5.00."""
    came = heads(PLAIN, "I4-16")
    plain = priced(PLAIN, came, work=(Asked("LEAK"),))
    called = priced(PLAIN, came, work=(Asked("LEAK"),), call_it=own("60.00"))

    assert called.lines[: len(plain.lines)] == plain.lines
    assert only(called, "call_it").net == dec("-5.00")
    assert only(called, "call_it").reason == "agreed at the counter"
    assert (called.totals.net, called.totals.tax, called.totals.total) == (
        dec("50.00"), dec("10.00"), dec("60.00"),
    )  # fmt: skip


def test_a_round_figure_may_be_above_the_price_too():
    result = priced(
        PLAIN, heads(PLAIN, "I4-16"), work=(Asked("LEAK"),), call_it=own("72.00")
    )

    assert only(result, "call_it").net == dec("5.00")


def test_a_round_figure_that_is_the_price_needs_no_line():
    result = priced(
        PLAIN, heads(PLAIN, "I4-16"), work=(Asked("LEAK"),), call_it=own("66.00")
    )

    assert "call_it" not in kinds(result)


def test_deposits_come_off_what_is_due_and_nothing_else():
    """66.00 - 20.00 - 15.50 = 30.50; more than the price leaves a credit."""
    came, work = heads(PLAIN, "I4-16"), (Asked("LEAK"),)
    some = (Deposit(dec("20.00")), Deposit(dec("15.50")))
    result = priced(PLAIN, came, work=work, deposits=some)

    assert (result.totals.total, result.totals.due) == (dec("66.00"), dec("30.50"))
    over = priced(PLAIN, came, work=work, deposits=(Deposit(dec("100.00")),))
    assert (over.totals.due, over.totals.tax) == (dec("-34.00"), dec("11.00"))


def test_terms_can_exempt_a_customer_with_a_reason():
    exempt = replace(TRADE, exempt_code="EXEMPT", exempt_reason="embassy")
    result = priced(PLAIN, heads(PLAIN, "I4-16"), work=(Asked("LEAK"),), terms=exempt)

    assert result.totals.tax == 0
    assert [g.tax.reason for g in result.taxes] == ["embassy"]


def inclusive(rates):
    return replace(rates, policy=replace(rates.policy, inclusive=True))


EXEMPTION = Exemption("EXEMPT", "institute")


def test_without_tax_minimum_cap_and_fixed_amounts_are_reduced_too():
    """20 % is in all prices; this customer owes none. VREF lifted to 15.00: 12.50.

    Job minimum 45.00 -> 37.50: make-up 25.00. Rush 35.00 -> 29.17 lowers it to 0.
    """
    rates = inclusive(least("45.00"))
    rates = replace(rates, rush={"R": Rush(code="R", name="Rush", amount=dec("35"))})
    work = (Asked("VREF", which=number("2")),)
    result = priced(rates, work=work, exemption=EXEMPTION)
    rushed = priced(rates, work=work, exemption=EXEMPTION, rush="R")

    assert nets(result) == ["VREF: 12.50"]
    assert (result.totals.make_up, result.totals.total) == (
        dec("25.00"), dec("37.50"),
    )  # fmt: skip
    assert (rushed.totals.rush, rushed.totals.make_up) == (dec("29.17"), 0)


def test_without_tax_the_sundries_cap_is_reduced_and_the_share_is_of_what_is_left():
    """813.00 / 1.2 = 677.50, 4 % = 27.10; the cap 25.00 / 1.2 = 20.83."""
    rates = inclusive(replace(edition(job_minimum="0"), relations=[]))
    result = priced(
        rates, heads(rates, "I4-16"), work=(Asked("LEAK", own=own("813.00")),),
        exemption=EXEMPTION,
    )  # fmt: skip

    assert result.totals.labour == dec("677.50")
    assert result.totals.sundries == dec("20.83")


def test_without_tax_parts_outwork_and_fees_are_reduced_by_their_own_code():
    """40.00 / 1.05 = 38.10; 115.00 / 1.2 = 95.83; 6.50 / 1.2 = 5.42."""
    result = priced(
        inclusive(PLAIN), exemption=EXEMPTION,
        parts=(AskedPart(description="valve", price=dec("40"), tax_code="B"),),
        outwork=(Outwork("weld", dec("100")),), fees=(AskedFee("DISP", dec("1")),),
    )  # fmt: skip

    assert (result.totals.parts, result.totals.outwork, result.totals.fees) == (
        dec("38.10"), dec("95.83"), dec("5.42"),
    )  # fmt: skip
    assert result.totals.tax == 0


def test_an_inclusive_edition_prices_and_totals_with_tax():
    """55.00 contains 9.17 of 20 %; 10 % off is 5.50 with tax, 49.50 contains 8.25."""
    came, work = heads(PLAIN, "I4-16"), (Asked("LEAK"),)
    result = priced(inclusive(PLAIN), came, work=work)
    off = priced(inclusive(PLAIN), came, work=work, terms=TRADE)

    assert (result.totals.net, result.totals.tax, result.totals.total) == (
        dec("45.83"), dec("9.17"), dec("55.00"),
    )  # fmt: skip
    assert (off.totals.discount, off.totals.tax, off.totals.total) == (
        dec("5.50"), dec("8.25"), dec("49.50"),
    )  # fmt: skip


def test_cost_and_margin_of_labour_come_from_its_minutes():
    """37 min at 40.00 an hour: 24.666..., 24.67; 55.00 - 24.67 = 30.33."""
    rates = with_operation(PLAIN, "LEAK", setup_minutes=dec("37"))
    [line] = priced(rates, heads(rates, "I4-16"), work=(Asked("LEAK"),)).lines

    assert (line.cost, line.margin) == (dec("24.67"), dec("30.33"))


def test_the_same_input_gives_the_same_output_again():
    came = heads(RATES, "V6-12", "V6-12", **HARD_EXHAUST)
    job = {"work": ROWS, "rush": "RUSH", "terms": TRADE}

    assert priced(RATES, came, **job) == priced(RATES, came, **job)


def test_a_price_for_one_head_is_not_taken_for_the_price_of_both():
    """LEAK on B alone is 55.00; asked for on both right after, 110.00."""
    rates = replace(PLAIN)
    came = heads(rates, "V6-12", "V6-12")

    for tags, net in ((("B",), "55.00"), ((), "110.00"), (("A",), "55.00")):
        result = priced(rates, came, work=(Asked("LEAK", heads=tags),))
        assert result.totals.net == dec(net)
