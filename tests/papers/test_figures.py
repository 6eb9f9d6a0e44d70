"""The head plan as SVG: what it says, shows without colour, and lets one pick."""

import logging
import re
import xml.etree.ElementTree as ET
from importlib.metadata import files
from io import BytesIO
from itertools import combinations, pairwise, product
from math import hypot

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.head import SIDES, Head, Layout, Position, Side, at_the_bench
from quoting.papers.figures import STYLE, NotOnPlanError, State, head_plan
from quoting.papers.svg import PHONE

SVG = "{http://www.w3.org/2000/svg}"


def a_head(tag="A", label="", *, cylinders=4, inlet=2, exhaust=2, **more):
    layout = Layout("L", "a head", cylinders, inlet, exhaust, "car", "iron", **more)
    return Head(tag, layout, label)


def a_pair(**more):
    return [a_head("A", "left", **more), a_head("B", "right", **more)]


def every_position(*heads):
    return [p for head in heads for side in SIDES for p in head.positions(side)]


def parse(svg):
    return ET.fromstring(svg)  # noqa: S314  our own text


def valves(root):
    return {
        node.get("data-position"): node
        for node in root.iter(f"{SVG}g")
        if node.get("data-position")
    }


def described(svg):
    return parse(svg).find(f"{SVG}desc").text


PRESETS = {
    "pushrod four": [a_head(inlet=1, exhaust=1, valve_order="line", spark_plugs=1)],
    "crossflow four": [a_head(inlet=1, exhaust=1, spark_plugs=1)],
    "twelve valves": [a_head(exhaust=1, spark_plugs=1)],
    "sixteen valves": [a_head(spark_plugs=1)],
    "twenty valves": [a_head(inlet=3, spark_plugs=1)],
    "three cylinders": [a_head(cylinders=3, spark_plugs=1, timing_end="right")],
    "six in tandem": [a_head(cylinders=6, valve_order="tandem", injectors=1)],
    "vee six": a_pair(cylinders=3, spark_plugs=1),
    "vee eight": a_pair(spark_plugs=1),
    "flat four": a_pair(cylinders=2, inlet=1, exhaust=1, spark_plugs=2),
    "single": [a_head(cylinders=1, spark_plugs=1)],
    "prechambers": [
        a_head(
            inlet=1,
            exhaust=1,
            valve_order="line",
            prechambers=1,
            injectors=1,
            glow_plugs=1,
        )
    ],
    "two-stroke six": [a_head(cylinders=6, inlet=0, exhaust=4, injectors=1)],
    "side valve": [a_head(inlet=0, exhaust=0, spark_plugs=1)],
    "plant singles": [a_head(tag, cylinders=1, injectors=1) for tag in "ABCDEF"],
    "eight": [a_head(cylinders=8, injectors=1, glow_plugs=1)],
    "five inlets in line": [
        a_head(cylinders=2, inlet=5, exhaust=0, valve_order="line")
    ],
    "four inlets, one exhaust": a_pair(inlet=4, exhaust=1, spark_plugs=1),
}
SHOWN = [
    pytest.param(heads, widest, controls, id=f"{name}-{widest}-{controls}")
    for (name, heads), widest, controls in product(
        PRESETS.items(), (None, PHONE), (False, True)
    )
]


def mixed(heads):
    """Give the positions every state in turn."""
    marks = [State.TO_DO, State.OUTSIDE, State.DONE, State.OPEN]
    return {p: marks[n % 4] for n, p in enumerate(every_position(*heads))}


# --- One SVG element, safe wherever it stands ---


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_the_figure_is_inert_xml_that_needs_nothing_from_elsewhere(
    heads, widest, controls
):
    svg = head_plan(heads, mixed(heads), widest=widest, controls=controls)

    for node in parse(svg).iter():
        assert node.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "g", "path", "circle", "rect", "text",
        }  # fmt: skip
        for name in node.attrib:
            assert "href" not in name
            assert not name.startswith("on")
            assert name not in {"style", "filter", "clip-path", "mask"}
    assert "url(" not in svg
    assert re.findall(r"\w+://[^\"]+", svg) == ["http://www.w3.org/2000/svg"]


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_every_position_is_on_the_figure_once(heads, widest, controls):
    svg = head_plan(heads, widest=widest, controls=controls)

    found = re.findall(r'data-position="(\w+)"', svg)
    assert sorted(found) == sorted(p.filed for p in every_position(*heads))


def test_the_same_head_always_gives_the_same_text():
    heads = a_pair()

    assert head_plan(heads, mixed(heads)) == head_plan(heads, mixed(heads))


def test_ids_begin_with_the_figure_s_name_so_that_two_stand_in_one_page():
    first, second = (
        re.findall(r' id="([^"]+)"', head_plan([a_head()], name=name))
        for name in ("before", "after")
    )

    assert first == ["before-title", "before-says"]
    assert set(first).isdisjoint(second)


@pytest.mark.parametrize("controls", [False, True])
def test_what_names_and_describes_the_figure_exists(controls):
    root = parse(head_plan([a_head()], name="one", controls=controls))

    ids = {node.get("id") for node in root.iter() if node.get("id")}
    assert {root.get("aria-labelledby"), root.get("aria-describedby")} == ids


@pytest.mark.parametrize(
    "label", ["<&\">'", "]]>", "<script>alert(1)</script>", "Zoë's 🔧", "左", "a\tb"]
)
@pytest.mark.parametrize("controls", [False, True])
def test_a_hostile_label_stays_text(label, controls):
    root = parse(head_plan([a_head(label=label)], controls=controls))

    assert label in root.find(f"{SVG}title").text
    assert not list(root.iter(f"{SVG}script"))


@given(st.text())
def test_any_label_gives_xml(label):
    svg = head_plan([a_head(label=label, cylinders=1)])

    parse(svg.encode())


def test_a_long_label_is_cut_on_the_drawing_and_whole_in_the_name():
    label = "left, with the broken stud and the tappet cover still on"
    root = parse(head_plan([a_head(label=label, cylinders=1)]))

    [shown] = [t.text for t in root.iter(f"{SVG}text") if (t.text or "")[:4] == "left"]
    assert shown.endswith("…")
    assert label.startswith(shown[:-1])
    assert label in root.find(f"{SVG}title").text


# --- What it says in words ---


def test_a_picture_says_what_is_marked():
    head = a_head()
    states = dict.fromkeys(head.positions(Side.EXHAUST), State.TO_DO)
    states[Position("A", 2, Side.INLET, 2)] = State.OUTSIDE
    root = parse(head_plan([head], states))

    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "Plan of head A"
    assert root.find(f"{SVG}desc").text == (
        "Head A: 4 cylinders, 16 valves. Outside its limit: cylinder 2, inlet 2. "
        "To be done: all 8 exhaust valves."
    )


@pytest.mark.parametrize(
    ("marked", "words"),
    [
        ("A1I1 A1I2 A2I1 A2I2 A1E1 A1E2 A2E1 A2E2", "all 8 valves"),
        ("A1I1 A1I2 A2I1 A2I2", "all 4 inlet valves"),
        ("A1I1 A1I2 A2I1 A2I2 A2E1", "all 4 inlet valves; cylinder 2, exhaust 1"),
        ("A1I1 A2E1", "cylinder 1, inlet 1; cylinder 2, exhaust 1"),
    ],
)
def test_marked_valves_are_named_as_short_as_is_clear(marked, words):
    head = a_head(cylinders=2)
    states = {p: State.DONE for p in every_position(head) if p.filed in marked.split()}

    assert described(head_plan([head], states)).endswith(f". Done: {words}.")


def test_a_head_of_one_side_names_that_side():
    head = a_head(inlet=0, exhaust=2)
    states = dict.fromkeys(every_position(head), State.TO_DO)

    assert "To be done: all 8 exhaust valves." in described(head_plan([head], states))


def test_many_of_a_side_are_counted_and_named_as_at_the_bench():
    head = a_head()
    states = dict.fromkeys(head.positions(Side.EXHAUST)[:5], State.TO_DO)

    assert "To be done: 5 of 8 exhaust valves (1E1, 1E2, 2E1, 2E2, 3E1)." in described(
        head_plan([head], states)
    )


def test_a_head_without_marks_says_what_it_is():
    assert described(head_plan([a_head(cylinders=1, inlet=0, exhaust=1)])) == (
        "Head A: 1 cylinder, 1 valve."
    )


def test_each_of_several_heads_is_described_by_its_own_marks():
    pair = a_pair()
    states = {Position("B", 3, Side.EXHAUST, 1): State.OUTSIDE}
    root = parse(head_plan(pair, states))

    assert root.find(f"{SVG}title").text == "Plan of heads A (left), B (right)"
    assert root.find(f"{SVG}desc").text == (
        "Head A: 4 cylinders, 16 valves. Head B: 4 cylinders, 16 valves. "
        "Outside its limit: cylinder 3, exhaust 1."
    )


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_every_valve_carries_its_name_of_the_bench(heads, widest, controls):
    root = parse(head_plan(heads, mixed(heads), widest=widest, controls=controls))

    shown = {
        place: node.find(f"{SVG}text").text for place, node in valves(root).items()
    }
    assert shown == {p.filed: at_the_bench(p, heads) for p in every_position(*heads)}


def test_one_head_of_several_keeps_its_tag_in_every_name():
    root = parse(head_plan(a_pair(), only="B"))

    assert set(valves(root)) == {p.filed for p in every_position(a_head("B"))}
    assert valves(root)["B3E1"].find(f"{SVG}text").text == "B3E1"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, ["inlet side", "exhaust side"]),
        ({"valve_order": "line"}, []),
        ({"valve_order": "tandem"}, []),
        ({"inlet": 0}, []),
        ({"inlet": 0, "exhaust": 0}, []),
    ],
)
def test_sides_are_named_only_where_they_lie_apart(more, words):
    texts = [t.text for t in parse(head_plan([a_head(**more)])).iter(f"{SVG}text")]

    assert [text for text in texts if text.endswith(" side")] == words


@pytest.mark.parametrize("end", ["left", "right"])
def test_the_timing_end_the_view_and_every_cylinder_are_written_on_it(end):
    root = parse(head_plan([a_head(cylinders=6, timing_end=end)], widest=PHONE))

    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert [text for text in texts if text.isdecimal()] == list("123456")
    assert {"timing", "end", "seen from the face"} <= set(texts)


def test_the_key_explains_the_signs_that_are_used_and_no_other():
    def key(*heads, **more):
        texts = [t.text for t in parse(head_plan(heads, **more)).iter(f"{SVG}text")]
        return texts[texts.index("seen from the face") + 1 :]

    first = Position("A", 1, Side.INLET, 1)
    assert key(a_head()) == []
    assert key(a_head(spark_plugs=1)) == ["spark plug"]
    assert key(a_head(), states={first: State.DONE}) == ["done"]
    assert key(a_head(), picked=[first]) == ["picked"]
    assert key(a_head(), controls=True) == ["picked"]
    assert key(a_head(inlet=1, injectors=1, glow_plugs=1, prechambers=1)) == [
        "prechamber",
        "injector, behind the face",
        "glow plug, behind the face",
    ]


# --- Picking ---


def test_as_controls_every_valve_is_a_named_check_box():
    head = a_head(cylinders=1, exhaust=1)
    states = {Position("A", 1, Side.EXHAUST, 1): State.OUTSIDE}
    root = parse(
        head_plan(
            [head], states, picked=[Position("A", 1, Side.INLET, 2)], controls=True
        )
    )

    assert root.get("role") == "group"
    boxes = [node for node in root.iter() if node.get("role") == "checkbox"]
    assert [
        (node.get("aria-label"), node.get("aria-checked"), node.get("tabindex"))
        for node in boxes
    ] == [
        ("cylinder 1, inlet 1", "false", "0"),
        ("cylinder 1, inlet 2", "true", "0"),
        ("cylinder 1, exhaust 1, outside its limit", "false", "0"),
    ]


def test_of_several_heads_the_name_of_a_check_box_says_which():
    root = parse(head_plan(a_pair(), controls=True))

    assert valves(root)["B3E1"].get("aria-label") == "head B, cylinder 3, exhaust 1"


def test_a_keyboard_walks_from_the_timing_end():
    root = parse(head_plan([a_head(timing_end="right")], controls=True, widest=PHONE))

    order = [int(place[1]) for place in valves(root)]
    assert order == sorted(order)


def test_a_picture_has_nothing_to_reach():
    svg = head_plan([a_head()], picked=[Position("A", 1, Side.INLET, 1)])

    assert "tabindex" not in svg
    assert "checkbox" not in svg


def test_what_is_not_a_valve_is_silent_beside_check_boxes():
    """Words are in the name and description; the rest would be read out as noise."""
    root = parse(head_plan([a_head(spark_plugs=1)], controls=True))
    silent = {
        node
        for group in root.iter(f"{SVG}g")
        if group.get("aria-hidden") == "true"
        for node in group.iter()
    }
    boxes = {node for valve in valves(root).values() for node in valve.iter()}

    texts = set(root.iter(f"{SVG}text"))
    assert texts <= silent | boxes
    assert silent.isdisjoint(boxes)


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_on_a_screen_of_390_pixels_every_valve_is_a_target_by_wcag_2_2(
    heads, widest, controls
):
    """Success criterion 2.5.8: 24 by 24 CSS pixels; 16 pixels of margin a side."""
    if widest != PHONE:
        widest = 358
    root = parse(head_plan(heads, mixed(heads), widest=widest, controls=controls))

    scale = min(1, (390 - 32) / float(root.get("width")))
    for valve in valves(root).values():
        assert 2 * edge(valve) * scale >= 24


def test_the_style_hides_the_ring_until_the_box_is_checked():
    root = parse(
        head_plan([a_head()], picked=[Position("A", 1, Side.INLET, 1)], controls=True)
    )

    for place, node in valves(root).items():
        [ring] = [c for c in node.iter(f"{SVG}circle") if c.get("class") == "ring"]
        assert (ring.get("visibility") == "hidden") == (place != "A1I1")
    assert '[aria-checked="true"] .ring { visibility: visible; }' in STYLE


def test_every_class_of_the_style_is_in_a_figure_and_brings_its_fallback():
    heads = PRESETS["sixteen valves"]
    svg = head_plan(heads, mixed(heads), controls=True)

    used = {
        word for group in re.findall(r'class="([^"]+)"', svg) for word in group.split()
    }
    assert set(re.findall(r"\.([a-z]+(?:-[a-z]+)*)", STYLE)) <= used
    assert len(re.findall(r"var\(--\w+, #\w{6}\)", STYLE)) == STYLE.count("var(")


# --- States without colour ---


def shape(node):
    """Return what a valve is drawn of, without colour and without its words."""
    return [
        (child.tag.removeprefix(SVG), child.get("class"), child.get("stroke-width"))
        for child in node
        if child.tag != f"{SVG}text"
    ]


def luminance(colour):
    """Return the relative luminance of WCAG 2.2."""
    digits = colour.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    linear = []
    for at in (0, 2, 4):
        share = int(digits[at : at + 2], 16) / 255
        linear.append(
            share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
        )
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def edge(node):
    """Return the outer radius of a valve's disc, its line included."""
    disc = node.find(f"{SVG}circle")
    return float(disc.get("r")) + float(disc.get("stroke-width")) / 2


def in_state(state, *, picked=False, **more):
    head = a_head(**more)
    first = every_position(head)[0]
    svg = head_plan([head], {first: state}, picked=[first] if picked else [])
    return valves(parse(svg))[first.filed]


def test_each_state_has_a_shape_of_its_own():
    def marks(state):
        return {kind for _, kind, _ in shape(in_state(state))} & {"hatch", "check"}

    assert marks(State.OPEN) == marks(State.TO_DO) == set()
    assert marks(State.OUTSIDE) == {"hatch"}
    assert marks(State.DONE) == {"check"}


def test_to_be_done_is_filled_and_every_other_state_open():
    """A dark disc on light paper: 7 : 1, so that it shows on any printer."""
    assert contrast(in_state(State.TO_DO).get("fill"), "#ffffff") > 7
    for state in (State.OPEN, State.OUTSIDE, State.DONE):
        assert contrast(in_state(state).get("fill"), "#ffffff") < 1.1


def test_outside_its_limit_has_a_ring_at_least_twice_as_heavy():
    def line(state):
        return float(in_state(state).find(f"{SVG}circle").get("stroke-width"))

    assert line(State.OUTSIDE) >= 2 * max(
        line(State.OPEN), line(State.TO_DO), line(State.DONE)
    )


@pytest.mark.parametrize("state", State)
def test_picking_adds_a_second_ring_outside_the_valve(state):
    plain, picked = in_state(state), in_state(state, picked=True)

    assert shape(picked)[:-1] == shape(plain)
    ring = picked.findall(f"{SVG}circle")[-1]
    inner = float(ring.get("r")) - float(ring.get("stroke-width")) / 2
    assert inner - edge(picked) > 1


@pytest.mark.parametrize("state", State)
def test_words_on_a_valve_stand_out_from_its_disc(state):
    """WCAG 2.2, success criterion 1.4.3: 4.5 : 1."""
    node = in_state(state)

    assert contrast(node.find(f"{SVG}text").get("fill"), node.get("fill")) >= 4.5


@pytest.mark.parametrize("state", State)
def test_a_valve_is_equally_large_in_every_state(state):
    assert edge(in_state(state)) == pytest.approx(edge(in_state(State.OPEN)), abs=0.02)


# --- What fits, by the metrics of a published font ---

FONT = next(
    file.locate()
    for file in files("font-source-sans-pro")
    if file.name == "SourceSansPro-Bold.ttf"
)


@pytest.fixture(scope="module")
def ems():
    """Width of a text in ems, set in the bold of Source Sans Pro."""
    with TTFont(FONT) as font:
        glyphs, unit = font.getBestCmap(), font["head"].unitsPerEm
        advances = {code: font["hmtx"][name][0] / unit for code, name in glyphs.items()}
    return lambda text: sum(advances[ord(letter)] for letter in text)


CAPITAL = 0.66  # height of a capital in ems, as the font's OS/2 table says
SPLITS = [(i, e) for i in range(6) for e in range(6 - i) if i + e]


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("order", ["side", "line", "tandem"])
def test_every_label_lies_inside_its_valve_and_is_legible(state, order, ems):
    """8 CSS pixels are 6 points; less only where more than two exhausts crowd."""
    for inlet, exhaust in SPLITS:
        pair = a_pair(cylinders=2, inlet=inlet, exhaust=exhaust, valve_order=order)
        states = dict.fromkeys(every_position(*pair), state)
        for node in valves(parse(head_plan(pair, states))).values():
            text = node.find(f"{SVG}text")
            size, base = float(text.get("font-size")), float(text.get("y"))
            half = ems(text.text) * size / 2
            heavy = 3 if state is State.OUTSIDE else 1.3
            for corner in (base, base - CAPITAL * size):
                assert hypot(half, corner) < edge(node) - heavy
            assert size >= (8 if inlet <= 3 and exhaust <= 2 else 6)


def segments(path):
    """Return the strokes of a path of M and L, as ((x, y), (x, y))."""
    for piece in path.split("M")[1:]:
        points = [tuple(map(float, pair.split())) for pair in piece.split("L")]
        yield from pairwise(points)


def test_hatching_stays_within_the_ring_and_leaves_the_label_clear(ems):
    for inlet, exhaust in SPLITS:
        pair = a_pair(cylinders=1, inlet=inlet, exhaust=exhaust)
        states = dict.fromkeys(every_position(*pair), State.OUTSIDE)
        for node in valves(parse(head_plan(pair, states))).values():
            text = node.find(f"{SVG}text")
            size, base = float(text.get("font-size")), float(text.get("y"))
            half = ems(text.text) * size / 2
            [hatch] = [p for p in node.iter(f"{SVG}path") if p.get("class") == "hatch"]
            strokes = list(segments(hatch.get("d")))
            assert len(strokes) > 6
            for (ax, ay), (bx, by) in strokes:
                assert max(hypot(ax, ay), hypot(bx, by)) < edge(node)
                for step in range(11):
                    x, y = ax + (bx - ax) * step / 10, ay + (by - ay) * step / 10
                    assert abs(x) > half or not base - CAPITAL * size < y < base


def placed(root):
    """Yield every node with the shift of the groups that it stands in."""

    def walk(node, x, y):
        move = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", node.get("transform", ""))
        if move:
            x, y = x + float(move[1]), y + float(move[2])
        yield node, x, y
        for child in node:
            yield from walk(child, x, y)

    yield from walk(root, 0.0, 0.0)


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_words_beside_the_valves_collide_with_nothing(heads, widest, controls, ems):
    root = parse(head_plan(heads, mixed(heads), widest=widest, controls=controls))
    width, height = float(root.get("width")), float(root.get("height"))
    boxes, discs = [], []
    for node, x, y in placed(root):
        if node.get("data-position"):
            discs.append((x, y, edge(node)))
        elif node.tag == f"{SVG}text" and node.get("class"):
            size = float(node.get("font-size"))
            wide = ems(node.text) * size
            anchored = {"start": 0, "middle": wide / 2}[node.get("text-anchor")]
            left = x + float(node.get("x")) - anchored
            base = y + float(node.get("y"))
            boxes.append((left, base - 0.75 * size, left + wide, base + 0.25 * size))
    for a, b, c, d in boxes:
        assert a >= 0
        assert b >= 0
        assert c <= width
        assert d <= height
    for (a, b, c, d), (e, f, g, h) in combinations(boxes, 2):
        assert c <= e or g <= a or d <= f or h <= b
    for (a, b, c, d), (x, y, r) in product(boxes, discs):
        assert hypot(max(a - x, x - c, 0), max(b - y, y - d, 0)) > r


@pytest.mark.parametrize(("heads", "widest", "controls"), SHOWN)
def test_the_view_box_is_the_natural_size(heads, widest, controls):
    root = parse(head_plan(heads, widest=widest, controls=controls))

    assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"


def test_several_small_heads_stand_side_by_side():
    singles = PRESETS["plant singles"]
    one = parse(head_plan(singles, only="A"))
    six = parse(head_plan(singles))

    assert float(six.get("width")) > 3 * float(one.get("width"))
    assert float(six.get("height")) < 3 * float(one.get("height"))


@pytest.mark.parametrize("name", PRESETS)
def test_on_a_phone_no_figure_is_wider_than_asked(name):
    root = parse(head_plan(PRESETS[name], widest=PHONE))

    assert float(root.get("width")) <= PHONE


# --- What is refused ---


def test_a_mark_on_a_valve_that_no_head_has_is_refused_by_name():
    states = {
        Position("A", 5, Side.INLET, 1): State.DONE,
        Position("B", 1, Side.EXHAUST, 1): State.DONE,
        Position("A", 1, Side.INLET, 1): State.DONE,
    }

    with pytest.raises(NotOnPlanError, match=r"^Not on the plan: A5I1, B1E1\.$"):
        head_plan([a_head()], states)


def test_picking_a_valve_that_no_head_has_is_refused():
    with pytest.raises(NotOnPlanError, match="A1E3"):
        head_plan([a_head()], picked=[Position("A", 1, Side.EXHAUST, 3)])


def test_a_head_that_did_not_come_is_refused():
    with pytest.raises(NotOnPlanError, match="head C"):
        head_plan(a_pair(), only="C")


# --- On paper ---


@pytest.mark.needs_pdf
def test_the_paper_maker_understands_every_word_of_the_figure(caplog):
    from pypdf import PdfReader
    from weasyprint import HTML

    heads = PRESETS["prechambers"] + [a_head("B", "right", timing_end="right")]
    figure = head_plan(heads, mixed(heads), widest=PHONE)
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        pdf = HTML(string=f"<title>Plan</title>{figure}").write_pdf()

    assert caplog.messages == []
    [page] = PdfReader(BytesIO(pdf)).pages
    words = page.extract_text()
    for position in every_position(*heads):
        assert at_the_bench(position, heads) in words
