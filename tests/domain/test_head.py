"""Heads: what a layout counts, how a valve is named, what is known of it."""

from dataclasses import replace

import pytest
from builders import DEMO, RT1, dec, edition, heads

from quoting.domain.head import (
    COUNTS,
    FACTS,
    Head,
    Layout,
    Position,
    PositionError,
    Side,
    at_the_bench,
    in_words,
    parse_position,
    tags,
)
from quoting.domain.zones import alike

RATES = edition(RT1)
A3E1 = Position("A", 3, Side.EXHAUST, 1)


# Positions.


@pytest.mark.parametrize(
    ("text", "position"),
    [
        ("A3E1", A3E1),
        ("a3e1", A3E1),
        ("A3E", A3E1),
        ("B12I2", Position("B", 12, Side.INLET, 2)),
        ("AA1I5", Position("AA", 1, Side.INLET, 5)),
    ],
)
def test_a_position_is_tag_cylinder_side_and_number(text, position):
    assert parse_position(text) == position


@pytest.mark.parametrize("text", ["3E1", "3E", "12I2", "3e1", "1I1"])
def test_a_position_without_its_tag_is_refused_for_what_a_spreadsheet_makes_of_it(text):
    """3E1 is 3 x 10^1, thirty, to a spreadsheet and to TOML."""
    with pytest.raises(PositionError) as refused:
        parse_position(text)

    assert f"write A{text.upper()} with the head's tag" in str(refused.value)
    assert f"reads {text} as a number" in str(refused.value)


@pytest.mark.parametrize(
    "text",
    ["", "A", "AE1", "A0E1", "A3X1", "A3E0", "A3E10", "A3", "ABC3E1", "A-3E1", "A3E1 ",
     "A3.E1", "30", "A100E1"],
)  # fmt: skip
def test_what_is_no_position_is_refused_by_name(text):
    with pytest.raises(PositionError) as refused:
        parse_position(text)

    assert repr(text) in str(refused.value)


@pytest.mark.parametrize("layout", ["I4-16", "V8-8", "M1-4", "I4-20"])
def test_the_form_for_files_is_read_back_as_the_same_valve(layout):
    [head] = heads(RATES, layout)
    valves = [p for side in Side for p in head.positions(side)]

    assert [parse_position(p.filed) for p in valves] == valves
    assert len(set(valves)) == head.layout.valves


def test_a_valve_is_named_in_full_for_customers():
    assert in_words(A3E1) == "cylinder 3, exhaust 1"


@pytest.mark.parametrize(
    ("layouts", "position", "said"),
    [
        (["I4-16"], "A3E1", "3E1"),
        (["V8-8"], "A3E1", "3E"),
        (["I4-12"], "A3E1", "3E"),
        (["I4-12"], "A3I2", "3I2"),
        (["I4-16", "V8-8"], "A3E1", "A3E1"),
        (["I4-16", "V8-8"], "B3E1", "B3E"),
    ],
)
def test_the_bench_says_the_shortest_clear_form(layouts, position, said):
    """No tag with one head, no number where that side has one valve a cylinder."""
    assert at_the_bench(parse_position(position), heads(RATES, *layouts)) == said


def test_tags_go_on_after_z():
    some = [tag for tag, _ in zip(tags(), range(30), strict=False)]

    assert (some[0], some[25:29]) == ("A", ["Z", "AA", "AB", "AC"])
    assert len(set(tags())) == 26 + 26 * 26


# Counts.


@pytest.mark.parametrize(
    ("layout", "counts"),
    [
        ("I4-16", "valve 16 cylinder 4 cam 2 journal 10 spark_plug 4 spring 16 head 1"),
        ("I4-20", "valve 20 guide 20 seat 20 cylinder 4"),
        ("V8-8", "valve 8 cam 0 journal 0 injector 0"),
        ("M1-4", "valve 4 cylinder 1 cam 2 journal 4"),
        ("D4-8", "valve 8 injector 4 glow_plug 4 prechamber 4 spark_plug 0"),
    ],
)
def test_a_layout_counts_one_head(layout, counts):
    words = counts.split()
    expected = dict(zip(words[::2], map(int, words[1::2]), strict=True))

    assert {name: RATES.layouts[layout].counts[name] for name in expected} == expected


@pytest.mark.parametrize("rates", [RATES, edition(DEMO)], ids=["rt1", "demo"])
def test_every_count_is_known_or_left_to_a_person(rates):
    by_people = {n for n, count in COUNTS.items() if count.by in ("chosen", "measured")}

    for layout in rates.layouts.values():
        assert set(layout.counts) == set(COUNTS) - by_people
        assert all(count >= 0 for count in layout.counts.values())
        assert layout.counts["valve"] == sum(
            len(Head("A", layout).positions(side)) for side in Side
        )


def test_a_face_is_counted_in_whole_square_centimetres():
    """430 mm x 160 mm = 68,800 mm² = 688 cm²; 405.5 x 150.5 = 610.2775 cm²: 610."""
    layout = RATES.layouts["I4-16"]
    face = {"face_length_mm": dec("430"), "face_width_mm": dec("160")}
    odd = {"face_length_mm": dec("405.5"), "face_width_mm": dec("150.5")}

    assert replace(layout, **face).counts["face_cm2"] == 688
    assert replace(layout, **odd).counts["face_cm2"] == 610
    assert layout.counts["face_cm2"] == 0  # its size is not known


def test_cylinders_are_numbered_within_a_head():
    """A V8 names an engine: its second head counts from 1 again."""
    [_, right] = heads(RATES, "V8-8", "V8-8")

    assert [p.filed for p in right.positions(Side.EXHAUST)] == [
        "B1E1", "B2E1", "B3E1", "B4E1",
    ]  # fmt: skip


def test_a_side_that_a_layout_lacks_has_no_positions():
    uniflow = Layout(
        code="U", name="Uniflow", cylinders=3, inlet=0, exhaust=4, size_class="car",
        material="iron",
    )  # fmt: skip

    assert Head("A", uniflow).positions(Side.INLET) == ()
    assert len(Head("A", uniflow).positions(Side.EXHAUST)) == 12


# Facts: the narrower word wins.


def known_head():
    [head] = heads(RATES, "I4-16")
    return replace(
        head,
        facts={"material": "iron", "stem_mm": dec("6")},
        side_facts={Side.EXHAUST: {"seats": "hard", "stem_mm": dec("5.5")}},
        position_facts={A3E1: {"seats": "copper_alloy"}},
    )


@pytest.mark.parametrize(
    ("name", "place", "fact"),
    [
        ("material", None, "iron"),  # this head, against aluminium in the layout
        ("train", None, "dohc"),  # the layout
        ("cooling", A3E1, "water"),
        ("seats", Side.INLET, "insert"),
        ("seats", Side.EXHAUST, "hard"),
        ("seats", A3E1, "copper_alloy"),
        ("seats", Position("A", 1, Side.EXHAUST, 1), "hard"),
        ("stem_mm", Side.INLET, dec("6")),  # this head, against 7 in the layout
        ("stem_mm", Side.EXHAUST, dec("5.5")),
        ("stem_mm", A3E1, dec("5.5")),
        ("seats", None, None),
        ("deposits", None, None),
    ],
)
def test_the_narrower_word_wins(name, place, fact):
    assert known_head().fact(name, place) == fact


def test_every_fact_of_a_layout_is_one_that_prices_may_look_at():
    for layout in edition(DEMO).layouts.values():
        head = Head("A", layout)
        for place in (None, *Side):
            for name, value in head.known(place).items():
                words = FACTS[name].words
                values = value if isinstance(value, frozenset) else {value}
                assert not words or values <= set(words), (layout.code, name)


# Alike heads.


def test_heads_of_which_the_same_is_known_are_looked_at_together():
    came = heads(RATES, "V6-12", "V6-12", "V6-12L", "V6-12")

    assert [group.tags for group in alike(came)] == [("A", "B", "D"), ("C",)]


@pytest.mark.parametrize(
    "other",
    [
        {"facts": {"material": "iron"}},
        {"side_facts": {Side.EXHAUST: {"seats": "hard"}}},
        {"condition": frozenset({"bare"})},
        {"condemned_at": "LEAK"},
        {"position_facts": {Position("B", 1, Side.INLET, 1): {"seats": "hard"}}},
    ],
)
def test_a_head_of_which_something_else_is_known_stands_apart(other):
    [a, b] = heads(RATES, "V6-12", "V6-12")

    assert [g.tags for g in alike((a, replace(b, **other)))] == [("A",), ("B",)]


def test_a_label_does_not_set_a_head_apart():
    [a, b] = heads(RATES, "V6-12", "V6-12")
    came = (replace(a, label="left"), replace(b, label="right"))

    assert [group.tags for group in alike(came)] == [("A", "B")]


def test_a_head_relabelled_is_shown_with_its_new_label():
    """What is kept of alike heads must not bring an old label back."""
    [a, b] = heads(RATES, "V6-12", "V6-12")
    first = alike((replace(a, label="left"), b))
    second = alike((replace(a, label="right"), b))

    assert first[0].heads[0].label == "left"
    assert second[0].heads[0].label == "right"
