"""Laws of the head plan, held over every layout a shop may enter."""

from dataclasses import replace
from itertools import combinations, pairwise, permutations, product
from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.head import SIDES, Head, Layout, Side
from quoting.domain.head_plan import (
    BOLT,
    BORE,
    DEVICES,
    ValveOrderError,
    draw,
)

SPLITS = [(i, e) for i in range(6) for e in range(6 - i)]
ORDERS = ("side", "line", "tandem")
PHONE = 358.0  # 390 CSS pixels less a margin of 16 on either side


def a_layout(*, cylinders=4, inlet=2, exhaust=2, **more):
    return Layout(
        code="L",
        name="a head",
        cylinders=cylinders,
        inlet=inlet,
        exhaust=exhaust,
        size_class="car",
        material="iron",
        **more,
    )


EVERY_LAYOUT = [
    a_layout(
        cylinders=cylinders,
        inlet=inlet,
        exhaust=exhaust,
        valve_order=order,
        timing_end=end,
        spark_plugs=1,
    )
    for cylinders, (inlet, exhaust), order, end in product(
        range(1, 9), SPLITS, ORDERS, ("left", "right")
    )
]
EVERY_PLAN = [
    (layout, draw(layout, widest=widest))
    for layout, widest in product(EVERY_LAYOUT, (None, PHONE))
]


def by_side(row, side):
    return [valve for valve in row.valves if valve.side is side]


def from_the_timing_end(layout, valves):
    return sorted(valves, key=lambda v: v.x if layout.timing_end == "left" else -v.x)


def test_every_position_is_drawn_exactly_once():
    for layout, plan in EVERY_PLAN:
        drawn = [(valve.cylinder, valve.side, valve.number) for valve in plan.valves]
        head = Head("A", layout)
        wanted = [p[1:] for side in SIDES for p in head.positions(side)]
        assert sorted(drawn) == sorted(wanted), layout


def test_every_valve_lies_within_its_own_chamber():
    for layout, plan in EVERY_PLAN:
        rims = {chamber.cylinder: chamber for chamber in plan.chambers}
        for valve in plan.valves:
            rim = rims[valve.cylinder]
            beyond = max(abs(valve.x - rim.x) - rim.half_line, 0)
            reach = hypot(beyond, valve.y - rim.y) + valve.radius
            assert reach < BORE, (layout, valve)


def test_chambers_are_round_but_for_three_and_more_valves_in_line():
    for layout, plan in EVERY_PLAN:
        crowded = layout.valve_order == "line" and layout.inlet + layout.exhaust > 2
        assert all((rim.half_line > 0) == crowded for rim in plan.chambers), layout


def test_chambers_keep_apart_and_inside_the_head():
    for layout, plan in EVERY_PLAN:
        for row in plan.rows:
            for rim in row.chambers:
                half = BORE + rim.half_line
                assert row.left < rim.x - half < rim.x + half < row.right, layout
                assert row.top < rim.y - BORE < rim.y + BORE < row.bottom, layout
            for one, other in pairwise(sorted(rim.x for rim in row.chambers)):
                assert other - one > 2 * (BORE + row.chambers[0].half_line), layout


def test_valves_of_a_cylinder_leave_room_for_two_rings_between_them():
    for layout, plan in EVERY_PLAN:
        for one, other in combinations(plan.valves, 2):
            if one.cylinder == other.cylinder:
                apart = hypot(one.x - other.x, one.y - other.y)
                assert apart - one.radius - other.radius > 5, (layout, one, other)


def test_every_valve_is_a_target_by_wcag_2_2_at_natural_size():
    """WCAG 2.2, success criterion 2.5.8: at least 24 by 24 CSS pixels."""
    for layout, plan in EVERY_PLAN:
        assert all(2 * valve.radius >= 24 for valve in plan.valves), layout


def test_common_valves_are_wide_enough_for_a_thumb():
    """Four valves a cylinder: inlets 35 CSS pixels and more, exhausts 30."""
    plan = draw(a_layout(cylinders=6), widest=PHONE)

    assert all(2 * valve.radius >= 30 for valve in plan.valves)
    assert all(2 * v.radius >= 35 for v in plan.valves if v.side is Side.INLET)


def test_cut_rows_fit_a_screen_of_390_pixels_where_one_cylinder_does():
    for layout in EVERY_LAYOUT:
        assert draw(layout, widest=PHONE).width <= PHONE, layout


@pytest.mark.parametrize(
    ("cylinders", "rows"),
    [
        (1, [[1]]),
        (2, [[1, 2]]),
        (3, [[1, 2, 3]]),
        (4, [[1, 2], [3, 4]]),
        (5, [[1, 2, 3], [4, 5]]),
        (6, [[1, 2, 3], [4, 5, 6]]),
        (7, [[1, 2, 3], [4, 5, 6], [7]]),
        (8, [[1, 2, 3], [4, 5, 6], [7, 8]]),
    ],
)
@pytest.mark.parametrize("end", ["left", "right"])
def test_a_long_head_is_cut_into_even_rows(cylinders, rows, end):
    plan = draw(a_layout(cylinders=cylinders, timing_end=end), widest=PHONE)

    assert [[rim.cylinder for rim in row.chambers] for row in plan.rows] == rows
    last = len(rows) - 1
    cuts = [(row.cut_left, row.cut_right) for row in plan.rows]
    wanted = [(index > 0, index < last) for index in range(len(rows))]
    assert cuts == (wanted if end == "left" else [pair[::-1] for pair in wanted])


def test_a_head_is_one_strip_unless_asked():
    assert len(draw(a_layout(cylinders=8)).rows) == 1


def test_a_width_that_not_even_one_cylinder_fits_still_draws_every_cylinder():
    assert len(draw(a_layout(cylinders=6), widest=10).rows) == 6


def test_everything_lies_on_the_sheet_and_rows_keep_apart():
    for layout, plan in EVERY_PLAN:
        for row in plan.rows:
            assert min(row.left, row.top) > 0, layout
            assert row.left < row.right < plan.width, layout
            assert row.bottom < plan.height, layout
        assert all(a.bottom + 5 < b.top for a, b in pairwise(plan.rows)), layout


def test_cylinder_1_is_nearest_the_timing_end():
    for layout, plan in EVERY_PLAN:
        x = plan.sprocket[0]
        for row in plan.rows:
            away = [abs(rim.x - x) for rim in row.chambers]
            assert away == sorted(away), layout
        assert [rim.cylinder for rim in plan.chambers] == list(
            range(1, layout.cylinders + 1)
        )
        assert (x < plan.rows[0].left) == (layout.timing_end == "left"), layout


def test_the_other_timing_end_gives_the_mirror_image():
    for layout, plan in EVERY_PLAN:
        if layout.timing_end == "left":
            widest = None if len(plan.rows) == 1 else PHONE
            other = draw(replace(layout, timing_end="right"), widest=widest)
            for one, mirrored in zip(
                (*plan.valves, *plan.devices, *plan.chambers),
                (*other.valves, *other.devices, *other.chambers),
                strict=True,
            ):
                assert mirrored.x == pytest.approx(plan.width - one.x)
                assert replace(mirrored, x=one.x) == one
            for row, mirrored in zip(plan.rows, other.rows, strict=True):
                assert mirrored.left == pytest.approx(plan.width - row.right)
                assert mirrored.right == pytest.approx(plan.width - row.left)
                assert [x for x, _ in mirrored.bolts] == pytest.approx(
                    [plan.width - x for x, _ in row.bolts]
                )


def test_side_by_side_inlets_lie_above_the_centre_line_and_exhausts_below():
    for layout, plan in EVERY_PLAN:
        if layout.valve_order == "side" and layout.inlet and layout.exhaust:
            assert plan.sides == (Side.INLET, Side.EXHAUST)
            for row in plan.rows:
                assert all(v.y < row.axis - 1 for v in by_side(row, Side.INLET)), layout
                assert all(v.y > row.axis + 1 for v in by_side(row, Side.EXHAUST))
        else:
            assert plan.sides == (), layout


def test_tandem_inlets_stand_at_one_end_of_each_chamber_exhausts_at_the_other():
    for layout, plan in EVERY_PLAN:
        if layout.valve_order == "tandem" and layout.inlet and layout.exhaust:
            for rim in plan.chambers:
                own = [v for v in plan.valves if v.cylinder == rim.cylinder]
                away = {
                    side: [abs(v.x - plan.sprocket[0]) for v in own if v.side is side]
                    for side in SIDES
                }
                assert max(away[Side.INLET]) < min(away[Side.EXHAUST]), layout


@pytest.mark.parametrize("side", SIDES)
def test_a_tandem_pair_stands_across_the_head(side):
    plan = draw(a_layout(valve_order="tandem"))
    one, two = [v for v in plan.valves if v.cylinder == 1 and v.side is side]

    assert one.x == pytest.approx(two.x)
    assert one.y < plan.rows[0].axis < two.y


def test_numbers_of_a_side_count_from_the_timing_end():
    for layout, plan in EVERY_PLAN:
        if layout.valve_order != "tandem":
            for row, side in product(plan.rows, SIDES):
                for _, valves in cylinders(by_side(row, side)):
                    away = [abs(v.x - plan.sprocket[0]) for v in valves]
                    assert [v.number for v in valves] == list(range(1, len(away) + 1))
                    assert away == sorted(away), layout


def cylinders(valves):
    found = {}
    for valve in valves:
        found.setdefault(valve.cylinder, []).append(valve)
    return found.items()


@pytest.mark.parametrize(
    ("count", "letters"),
    [(4, "E I I E E I I E"), (6, "E I I E E I I E E I I E"), (3, "E I I E E I")],
)
def test_in_line_without_an_order_neighbours_turn_like_valves_to_each_other(
    count, letters
):
    """E I I E E I I E: the usual order of a pushrod four (common practice)."""
    layout = a_layout(cylinders=count, inlet=1, exhaust=1, valve_order="line")

    assert read(layout, draw(layout)) == letters


def read(layout, plan):
    return " ".join(
        valve.side.value
        for row in plan.rows
        for valve in from_the_timing_end(layout, row.valves)
    )


@st.composite
def heads_in_line(draw_one):
    inlet, exhaust = draw_one(st.sampled_from([s for s in SPLITS if sum(s)]))
    each = st.sampled_from(sorted(set(permutations("I" * inlet + "E" * exhaust))))
    count = draw_one(st.integers(1, 8))
    return a_layout(
        cylinders=count,
        inlet=inlet,
        exhaust=exhaust,
        valve_order="line",
        order=" ".join(letter for _ in range(count) for letter in draw_one(each)),
        timing_end=draw_one(st.sampled_from(["left", "right"])),
    )


@given(heads_in_line(), st.sampled_from([None, PHONE]))
def test_in_line_the_letters_read_from_the_timing_end_as_the_layout_says(
    layout, widest
):
    plan = draw(layout, widest=widest)

    assert read(layout, plan) == layout.order
    assert all(valve.y == row.axis for row in plan.rows for valve in row.valves)


@pytest.mark.parametrize("order", ["I I E E", "E I", "E I I E E I", "E I I X", "EE II"])
def test_an_order_that_splits_a_cylinder_s_valves_is_refused(order):
    layout = a_layout(cylinders=2, inlet=1, exhaust=1, valve_order="line", order=order)

    with pytest.raises(ValveOrderError, match=order):
        draw(layout)


def test_where_each_cylinder_has_as_many_of_both_the_inlet_valve_is_the_larger():
    for layout, plan in EVERY_PLAN:
        if 0 < layout.inlet <= layout.exhaust:
            sizes = {
                side: {v.radius for v in plan.valves if v.side is side}
                for side in SIDES
            }
            assert min(sizes[Side.INLET]) > max(sizes[Side.EXHAUST]), layout


def test_inlets_together_have_the_larger_area_unless_they_are_fewer():
    for layout, plan in EVERY_PLAN:
        if layout.inlet >= layout.exhaust > 0:
            area = {
                side: sum(v.radius**2 for v in plan.valves if v.side is side)
                for side in SIDES
            }
            assert area[Side.INLET] > area[Side.EXHAUST], layout


FITTINGS = [
    {"spark_plugs": 1},
    {"spark_plugs": 2},
    {"injectors": 1},
    {"spark_plugs": 1, "injectors": 1},
    {"injectors": 1, "glow_plugs": 1},
    {"prechambers": 1, "injectors": 1, "glow_plugs": 1},
    {"prechambers": 1, "spark_plugs": 1},
    {"spark_plugs": 2, "injectors": 1, "glow_plugs": 1, "prechambers": 1},
]


def layouts_with(fittings):
    return [
        a_layout(
            cylinders=3, inlet=inlet, exhaust=exhaust, valve_order=order, **fittings
        )
        for (inlet, exhaust), order in product(SPLITS, ORDERS)
    ]


@pytest.mark.parametrize("fittings", FITTINGS, ids=str)
def test_plugs_injectors_and_prechambers_are_all_there_and_cover_nothing(fittings):
    for layout in layouts_with(fittings):
        plan = draw(layout)
        for cylinder, kind in product(range(1, 4), DEVICES):
            count = sum((d.cylinder, d.kind) == (cylinder, kind) for d in plan.devices)
            assert count == fittings.get(f"{kind}s", 0), (layout, kind)
        discs = [(d.x, d.y, d.radius) for d in plan.devices]
        bolts = [(x, y, BOLT) for row in plan.rows for x, y in row.bolts]
        valves = [(v.x, v.y, v.radius) for v in plan.valves]
        for x, y, r in discs:
            others = [disc for disc in (*discs, *bolts, *valves) if disc != (x, y, r)]
            assert all(hypot(x - a, y - b) > r + s for a, b, s in others), layout
            [row] = plan.rows
            assert row.left < x - r < x + r < row.right
            assert row.top < y - r < y + r < row.bottom


def test_only_what_works_through_a_prechamber_lies_behind_the_face():
    idi = {"prechambers": 1, "injectors": 1, "glow_plugs": 1}
    for layout in layouts_with(idi):
        hidden = {device.kind for device in draw(layout).devices if device.hidden}
        assert hidden == {"injector", "glow_plug"}, layout
    for layout in layouts_with({"injectors": 1, "glow_plugs": 1}):
        assert not any(device.hidden for device in draw(layout).devices), layout


def test_the_plug_of_a_four_valve_head_stands_in_the_middle():
    plan = draw(a_layout(spark_plugs=1))

    assert [(d.x, d.y) for d in plan.devices] == [(c.x, c.y) for c in plan.chambers]


def test_a_count_of_plugs_beyond_reason_still_gives_a_drawing():
    plan = draw(a_layout(inlet=3, spark_plugs=99))

    assert 0 < len(plan.devices) < 99 * 4


def test_bolts_stand_in_the_metal_between_chambers_and_edge():
    for layout, plan in EVERY_PLAN:
        for row in plan.rows:
            assert len(row.bolts) == 2 * (
                len(row.chambers) + 1 - row.cut_left - row.cut_right
            )
            for (x, y), rim in product(row.bolts, row.chambers):
                away = hypot(max(abs(x - rim.x) - rim.half_line, 0), y - rim.y)
                assert away > BORE + BOLT, layout
                assert row.left + BOLT < x < row.right - BOLT, layout


def test_the_same_layout_always_gives_the_same_plan():
    assert draw(a_layout(spark_plugs=1)) == draw(a_layout(spark_plugs=1))


def test_each_further_cylinder_adds_the_same_width():
    """So that words and lines keep their size from a single to an eight."""
    widths = [draw(a_layout(cylinders=count)).width for count in range(1, 9)]

    [each] = {round(b - a, 2) for a, b in pairwise(widths)}
    assert each > 2 * BORE
