"""The route card: what is done in which order, to what, with which readings.

Nothing on it has a price.
"""

from dataclasses import fields, is_dataclass, replace

from builders import DEMO, ON, at, dec, edition, heads, priced, with_operation

from quoting.domain.head import Side
from quoting.domain.job import Asked, Job, Selection
from quoting.domain.lengths import parse_length
from quoting.domain.lines import Line
from quoting.domain.money import ZERO
from quoting.domain.quote import Customer
from quoting.domain.rates import Caution, Limit
from quoting.domain.work_order import (
    MOST_CAUTIONS,
    cautions,
    limits_for,
    route,
    work_order,
)

RATES = replace(edition(), relations=[])


def routed(rates, came, *work, **job):
    return route(rates, priced(rates, came, work=work, **job))


def names(steps):
    return [f"{s.operation.code} {s.phase}".strip() for s in steps]


# Order.


def test_steps_stand_in_process_order_and_are_numbered():
    steps = routed(
        RATES, heads(RATES, "I4-16"), *map(Asked, ("ASSY", "SKIM", "STRP", "LEAK"))
    )

    assert names(steps) == ["STRP", "LEAK", "SKIM", "ASSY"]
    assert [step.number for step in steps] == [1, 2, 3, 4]


def prechambers():
    """Return RT-1 whose prechambers come out before SKIM and go back in after it."""
    return with_operation(
        RATES, "PRCH", place=205, place_back=215, setup_minutes=dec("10"),
        unit_minutes=dec("5"), readings=("PROT",),
    )  # fmt: skip


def test_what_goes_out_and_back_in_has_two_places_and_one_price():
    rates = prechambers()
    came = heads(rates, "D4-8")
    result = priced(rates, came, work=tuple(map(Asked, ("PRCH", "SKIM"))))

    assert names(route(rates, result)) == ["PRCH out", "SKIM", "PRCH back in"]
    assert sorted(line.code for line in result.lines if line.kind == "labour") == [
        "PRCH",
        "SKIM",
    ]


def test_of_two_places_the_first_carries_the_minutes():
    """10 + 4 x 5 = 30 minutes, once."""
    rates = prechambers()
    steps = routed(rates, heads(rates, "D4-8"), Asked("PRCH"))

    assert [step.minutes for step in steps] == [30, ZERO]


def test_the_minutes_of_the_steps_are_those_of_the_price():
    rates = edition(DEMO)
    came = heads(rates, "L04")
    work = tuple(map(Asked, ("STRP", "WASH", "LEAK", "SCUT", "VREF", "SKIM", "ASSY")))
    result = priced(rates, came, work=work, minutes_factor=dec("1.2"))

    assert sum(step.minutes for step in route(rates, result)) == result.totals.minutes
    assert result.totals.minutes > 0


def test_the_gate_is_marked():
    steps = routed(RATES, heads(RATES, "I4-16"), *map(Asked, ("STRP", "LEAK", "SCUT")))

    assert [(step.operation.code, step.gate) for step in steps] == [
        ("STRP", False), ("LEAK", True), ("SCUT", False),
    ]  # fmt: skip


def test_what_is_condemned_has_no_steps_after_the_gate():
    [head] = heads(RATES, "I4-16")
    came = (replace(head, condemned_at="LEAK"),)

    assert names(routed(RATES, came, *map(Asked, ("STRP", "LEAK", "SCUT")))) == [
        "STRP", "LEAK",
    ]  # fmt: skip


# Places.


def test_a_step_names_its_valves_unless_it_is_all_of_a_side():
    came = heads(RATES, "V8-8", "V8-8")
    [step] = routed(
        RATES, came, Asked("GREP", which=at("B1E", "B3E")),
    )  # fmt: skip
    [everywhere] = routed(
        RATES, came, Asked("GREP", which=Selection(side=Side.EXHAUST))
    )

    [place] = step.places
    assert (place.tag, place.quantity, place.side) == ("B", 2, Side.EXHAUST)
    assert [p.filed for p in place.positions] == ["B1E1", "B3E1"]
    assert [(p.tag, p.quantity, p.positions) for p in everywhere.places] == [
        ("A", 4, ()), ("B", 4, ()),
    ]  # fmt: skip


def test_a_number_not_known_which_stands_on_its_head():
    asked = Asked("GREP", heads=("B",), which=Selection(number=dec("3")))
    [step] = routed(RATES, heads(RATES, "V8-8", "V8-8"), asked)

    assert [(p.tag, p.quantity, p.positions) for p in step.places] == [("B", 3, ())]


def test_loose_parts_have_no_tag():
    [step] = routed(RATES, (), Asked("VREF", which=Selection(number=dec("2"))))

    assert [(p.tag, p.quantity) for p in step.places] == [("", 2)]


def test_sizes_stand_as_they_were_typed():
    rows = (
        Asked("SKIM", heads=("A",), size=parse_length("6 thou")),
        Asked("SKIM", heads=("B",), size=parse_length("0.25 mm")),
    )
    [step] = routed(RATES, heads(RATES, "V6-12", "V6-12"), *rows)

    assert [size.typed for size in step.sizes] == ["6 thou", "0.25 mm"]


# Readings and their limits.


def limit(**values):
    return Limit(
        **{
            "code": "FLAT", "name": "Flatness", "place": "head", "unit": "mm",
            "maximum": dec("0.10"), "source": "shop", **values,
        }
    )  # fmt: skip


def limits(layout, *rows):
    rates = replace(RATES, limits=rows)
    return [row.maximum for row in limits_for(rates, "FLAT", heads(rates, layout))]


def test_the_narrowest_row_of_a_limit_holds():
    """Any head 0.10, class large 0.08, layout V6-12 0.05."""
    rows = (
        limit(),
        limit(size_class="large", maximum=dec("0.08")),
        limit(layout="V6-12", maximum=dec("0.05")),
    )

    assert limits("I4-16", *rows) == limits("I4-16", *rows[::-1]) == [dec("0.10")]
    assert limits("V6-12L", *rows) == limits("V6-12L", *rows[::-1]) == [dec("0.08")]
    assert limits("V6-12", *rows) == limits("V6-12", *rows[::-1]) == [dec("0.05")]


def test_of_two_equally_narrow_rows_the_upper_holds():
    assert limits("I4-16", limit(), limit(maximum=dec("0.50"))) == [dec("0.10")]


def test_a_row_of_another_layout_or_class_never_holds():
    rows = (limit(size_class="plant"), limit(layout="D4-8"))

    assert limits("I4-16", *rows) == []


def test_inlet_and_exhaust_have_their_own_limits():
    rows = (
        limit(side="inlet", maximum=dec("0.05")),
        limit(side="exhaust", maximum=dec("0.07")),
    )

    assert limits("I4-16", *rows) == [dec("0.05"), dec("0.07")]


def test_a_limit_for_this_very_layout_beats_a_general_one_for_a_side():
    """The maker's figure for the layout, both sides, against the shop's for any."""
    rows = (
        limit(side="inlet", maximum=dec("0.05")),
        limit(side="exhaust", maximum=dec("0.07")),
        limit(layout="I4-16", maximum=dec("0.02"), source="maker"),
    )

    assert set(limits("I4-16", *rows)) == {dec("0.02")}


def test_readings_are_taken_at_the_first_of_two_places():
    rates = replace(prechambers(), limits=[limit(code="PROT")])
    steps = routed(rates, heads(rates, "D4-8"), Asked("PRCH"))

    assert [[r.code for r in step.readings] for step in steps] == [["PROT"], []]


# Cautions.


def caution(code, rank, **values):
    return Caution(code=code, name=code.lower(), rank=rank, text=f"{code}!", **values)


def reminded(rows, came, *codes):
    rates = replace(RATES, cautions=rows)
    return [row.code for row in cautions(rates, came, codes)]


ROWS = [
    caution("SODIUM", 1, fact="valves", values=("sodium",)),
    caution("TANK", 2, operations=("HOTK",)),
    caution("BLAST", 3, operations=("BLST",), fact="deposits", values=("lead",)),
    caution("DUST", 4),
]


def test_a_caution_comes_with_its_work_its_fact_or_both():
    plain = heads(RATES, "V8-8")
    sodium = heads(RATES, "V8-8", side_facts={Side.EXHAUST: {"valves": "sodium"}})
    lead = heads(RATES, "V8-8", facts={"deposits": "lead"})

    assert reminded(ROWS, plain, "WASH") == ["DUST"]
    assert reminded(ROWS, plain, "HOTK") == ["TANK", "DUST"]
    assert reminded(ROWS, sodium, "WASH") == ["SODIUM", "DUST"]
    assert reminded(ROWS, lead, "WASH") == ["DUST"]
    assert reminded(ROWS, lead, "BLST") == ["BLAST", "DUST"]


def test_one_valve_or_one_of_two_heads_is_enough():
    [a, b] = heads(RATES, "V8-8", "V8-8")
    valve = {at("B2E").positions[0]: {"valves": "sodium"}}

    assert "SODIUM" in reminded(ROWS, (a, replace(b, position_facts=valve)), "WASH")


def test_an_order_with_many_dangers_reminds_of_all_of_them():
    """More than six: six are printed in full, the rest are named in one more line."""
    rates = edition(DEMO)
    came = heads(
        rates, "L05", facts={"gasket": "old", "deposits": "lead"},
        side_facts={Side.EXHAUST: {"valves": "sodium", "seats": "copper_alloy"}},
    )  # fmt: skip
    codes = ("STRP", "WASH", "LEAK", "SKIM", "ASSY", "BLST", "WELD", "GREP")
    found = cautions(rates, came, codes)

    assert len(found) > MOST_CAUTIONS
    assert found[0].code == "SODIUM"
    assert {"SODIUM", "BERYLLIUM", "ASBESTOS"} <= {c.code for c in found}


# No prices.


def figures(value):
    """Yield the name of every dataclass and field that a value holds."""
    if is_dataclass(value):
        for each in fields(value):
            yield type(value), each.name
            yield from figures(getattr(value, each.name))
    elif isinstance(value, tuple | frozenset):
        for each in value:
            yield from figures(each)
    elif isinstance(value, dict):
        for each in value.values():
            yield from figures(each)


def test_a_work_order_holds_no_line_and_no_sum():
    job = Job(heads(RATES, "I4-16"), work=(Asked("LEAK"), Asked("SKIM")))
    order = work_order(
        RATES, job, priced(RATES, job.heads, work=job.work), number="17", on=ON,
        customer=Customer(name="C1"),
    )  # fmt: skip
    held = set(figures(order.steps))

    assert held, "the search sees something"
    assert Line not in {of for of, _ in held}
    assert not [name for _, name in held if name in ("net", "amount", "total")]
    assert (order.number, order.on, order.customer.name) == ("17", ON, "C1")
