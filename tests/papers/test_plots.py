"""Plots as SVG: what they say, where things stand, what one sees without colour."""

import re
from datetime import date, timedelta
from decimal import Decimal
from importlib.metadata import files
from itertools import combinations, pairwise
from math import inf, nan

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from quoting.domain.money import Currency
from quoting.i18n import Formats
from quoting.papers.plots import (
    LEAST,
    MARKS,
    MOST,
    NUMBERED,
    Covered,
    Moment,
    NotPlottableError,
    Point,
    RangeOrderError,
    coverage,
    drift,
    jobs_against_estimate,
    range_bar,
)

SVG = "{http://www.w3.org/2000/svg}"
US = Formats("en_US", Currency("USD", 2))
GERMAN = Formats("de_DE", Currency("EUR", 2))
HOSTILE = """<script>alert("1")</script> & 'seats' ]]>\x00"""


def scatter(points, *, band=1.4, unit="min", title="Jobs", formats=US):
    return jobs_against_estimate(
        points, band=band, unit=unit, title=title, formats=formats
    )


def pace(points, estimate=1.1, *, low=1.0, high=1.2, marks=(), formats=US):
    return drift(
        points,
        estimate,
        low=low,
        high=high,
        title="Pace",
        formats=formats,
        marks=marks,
    )


def held(rows, *, formats=US):
    return coverage(rows, title="Ranges", formats=formats)


def price(*amounts, formats=US):
    return range_bar(*map(Decimal, amounts), formats=formats)


def parse(svg):
    return etree.fromstring(svg.encode())


def of_class(svg, kind):
    return [
        node for node in parse(svg).iter() if kind in (node.get("class") or "").split()
    ]


def words(svg):
    return ["".join(node.itertext()) for node in parse(svg).iter(f"{SVG}text")]


def described(svg):
    return parse(svg).find(f"{SVG}desc").text


def moved(node):
    """Return where a node's ``translate`` takes it."""
    return tuple(map(float, re.findall(r"-?[\d.]+", node.get("transform"))))


def centres(svg, kind="job"):
    return [
        (float(node.get("cx")), float(node.get("cy"))) for node in of_class(svg, kind)
    ][: -1 if kind == "job" else None]  # the last one is the key's


def crosses(svg):
    return [moved(node) for node in of_class(svg, "incident")[:-1]]


def a_year_of(count):
    """Return jobs and moments that differ, every ninth of them an incident."""
    factors = [0.7 + (k * 37 % 101) / 150 for k in range(count)]
    wrong = [k % 9 == 4 for k in range(count)]
    points = [
        Point(40 + k * 53 % 700, (40 + k * 53 % 700) * f * (3 if w else 1), w, f"J-{k}")
        for k, (f, w) in enumerate(zip(factors, wrong, strict=True))
    ]
    moments = [
        Moment(date(2025, 1, 1) + timedelta(k * 29 % 365), f * (3 if w else 1), w)
        for k, (f, w) in enumerate(zip(factors, wrong, strict=True))
    ]
    return points, moments


def a_row(label="May 2026", jobs=20, inside=0.8, nominal=0.8, low=0.6, high=0.9):
    return Covered(label, jobs, inside, nominal, low, high)


LONG = "guides and seats of the exhaust side, after it had overheated " * 3
EVERY_PLOT = {
    **{
        f"{name}, {count} jobs": draw(a_year_of(count)[which])
        for count in (0, 1, 9, 150, 1000)
        for which, (name, draw) in enumerate((("scatter", scatter), ("drift", pace)))
    },
    "marks": pace(
        a_year_of(40)[1],
        marks=[(date(2025, 6, day), LONG) for day in (1, 2, 2, 3, 29)],
        formats=GERMAN,
    ),
    "marks alone": pace([], marks=[(date(2025, 6, 1), "moved house")]),
    "no row": held([]),
    "rows": held(
        [a_row(), a_row(LONG, inside=0.5, low=0.3, high=0.6), a_row(jobs=0)],
        formats=GERMAN,
    ),
    "rows of 80 and 90": held([a_row(), a_row(nominal=0.9)]),
    "1,000 rows": held([a_row(f"set {k}") for k in range(1000)]),
    "extremes": scatter(
        [Point(LEAST, MOST, True, LONG), Point(MOST, LEAST, True, "W" * 40)]
    ),
    "range": price("812.00", "812.00", "861.00", "1040.00"),
    "range above its floor": price("780.00", "812.00", "861.00", "1040.00"),
    "narrow range": price("100.00", "1039.00", "1039.50", "1040.00", formats=GERMAN),
    "long figures": price("1000000", "12345678", "1234567890", "123456789012"),
    "one figure": price("812.00", "812.00", "812.00", "812.00"),
}
every_plot = pytest.mark.parametrize("svg", EVERY_PLOT.values(), ids=EVERY_PLOT)


# --- Every plot ---


@every_plot
def test_a_plot_is_one_image_with_a_name_and_its_sentence(svg):
    root = parse(svg)

    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert [child.tag for child in root[:2]] == [f"{SVG}title", f"{SVG}desc"]
    assert root[0].text
    assert root[1].text.endswith(".")


@every_plot
def test_a_plot_is_inert_and_needs_nothing_from_elsewhere(svg):
    for node in parse(svg).iter():
        assert node.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "g", "path", "circle", "text",
        }  # fmt: skip
        assert not {"id", "style", "href", "filter", "clip-path"} & set(node.attrib)
    assert re.findall(r"\w+://[^\"]+", svg) == ["http://www.w3.org/2000/svg"]


def boxes(svg, fonts):
    """Yield what every text covers, as wide as the packaged font sets it."""
    for node in parse(svg).iter(f"{SVG}text"):
        label, size = "".join(node.itertext()), float(node.get("font-size"))
        cmap, widths, per_em = fonts[node.get("font-weight")]
        wide = size * sum(widths[cmap[ord(c)]][0] for c in label) / per_em
        x, y = float(node.get("x")), float(node.get("y"))
        left = (
            x - {"start": 0, "middle": wide / 2, "end": wide}[node.get("text-anchor")]
        )
        yield label, left, y - 0.66 * size, left + wide, y + 0.05 * size


@pytest.fixture(scope="module")
def fonts():
    found = {}
    for path in files("font-source-sans-pro"):
        for weight, name in ("400", "Regular"), ("600", "Semibold"):
            if re.search(rf"-{name}\.[ot]tf$", path.name):
                font = TTFont(path.locate())
                found[weight] = (
                    font.getBestCmap(),
                    font["hmtx"].metrics,
                    font["head"].unitsPerEm,
                )
    return found


@every_plot
def test_no_word_is_small_leaves_the_drawing_or_covers_another(svg, fonts):
    _, _, width, height = map(float, parse(svg).get("viewBox").split())
    covered = list(boxes(svg, fonts))

    for node in parse(svg).iter(f"{SVG}text"):
        assert float(node.get("font-size")) >= 11
    for label, left, top, right, bottom in covered:
        assert left >= 0, label
        assert top >= 0, label
        assert right <= width, label
        assert bottom <= height, label
    nearby = sorted(covered, key=lambda box: box[2])
    for a, b in combinations(nearby[:200], 2):
        apart = a[3] <= b[1] or b[3] <= a[1] or a[4] <= b[2] or b[4] <= a[2]
        assert apart, (a, b)


minutes = st.floats(LEAST, MOST)
jobs = st.builds(Point, minutes, minutes, st.booleans(), st.text(max_size=12))
moments = st.builds(
    Moment,
    st.dates(),
    st.floats(LEAST, MOST),
    st.booleans(),
)


def path_points(d):
    """Yield the corners of a path of M, L, H, V and their small letters."""
    x = y = 0.0
    for command, figures in re.findall(r"([MLHVlhvz])([^MLHVlhvz]*)", d):
        numbers = [float(f) for f in re.findall(r"-?\d*\.?\d+", figures)]
        if command in "HhVv":
            [by] = numbers
            x = {"H": by, "h": x + by}.get(command, x)
            y = {"V": by, "v": y + by}.get(command, y)
            yield x, y
        for dx, dy in zip(numbers[::2], numbers[1::2], strict=False):
            if command in "MLl":
                x, y = (x + dx, y + dy) if command == "l" else (dx, dy)
                yield x, y


def inside_its_view(svg):
    root = parse(svg)
    _, _, width, height = map(float, root.get("viewBox").split())
    for node in root.iter(f"{SVG}circle", f"{SVG}path"):
        around = [0.0, 0.0]
        for parent in (node, *node.iterancestors()):
            if parent.get("transform"):
                around = [a + b for a, b in zip(around, moved(parent), strict=True)]
        if node.tag == f"{SVG}circle":
            r = float(node.get("r"))
            cx, cy = float(node.get("cx") or 0), float(node.get("cy") or 0)
            corners = [(cx - r, cy - r), (cx + r, cy + r)]
        else:
            corners = path_points(node.get("d"))
        for x, y in corners:
            if not (
                -0.01 <= x + around[0] <= width + 0.01
                and -0.01 <= y + around[1] <= height + 0.01
            ):
                return False
    return True


@every_plot
def test_nothing_is_drawn_outside_the_view(svg):
    assert inside_its_view(svg)


@settings(max_examples=60, deadline=None)
@given(st.lists(jobs, max_size=12), st.floats(1, 1000))
def test_no_job_is_drawn_outside_the_view_whatever_it_took(points, band):
    assert inside_its_view(scatter(points, band=band))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(moments, max_size=12),
    st.lists(st.tuples(st.dates(), st.text()), max_size=14),
)
def test_no_moment_or_mark_is_drawn_outside_the_view_whenever_it_was(points, marks):
    assert inside_its_view(pace(points, marks=marks))


def test_the_same_figures_always_give_the_same_text():
    points, moments = a_year_of(60)

    assert scatter(points) == scatter(points)
    assert pace(moments) == pace(list(moments))


def test_words_that_look_like_markup_stay_words():
    shown = HOSTILE.replace("\x00", "\ufffd")
    for svg in (
        scatter([Point(10, 20, True, HOSTILE)], title=HOSTILE, unit=HOSTILE),
        pace([], marks=[(date(2025, 1, 1), HOSTILE)]),
        held([a_row(HOSTILE)]),
    ):
        assert shown in described(svg) or shown in parse(svg).find(f"{SVG}title").text
        assert not list(parse(svg).iter(f"{SVG}script"))


@pytest.mark.parametrize("svg", [scatter([]), pace([]), held([])])
def test_a_plot_of_nothing_says_so(svg):
    assert "nothing recorded yet" in words(svg)
    assert described(svg).startswith("Nothing recorded yet.")


# --- Recorded minutes against the shop's own times ---


def rising(places, values, *, falls=False):
    """Return whether places rise (or fall) wherever their values rise."""
    order = sorted(zip(values, places, strict=True))
    sign = -1 if falls else 1
    return all(sign * (b - a) >= -0.011 for (_, a), (_, b) in pairwise(order))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.builds(Point, minutes, minutes, st.just(False), st.just("J"))))
def test_more_minutes_stand_higher_and_more_expected_ones_further_right(points):
    places = centres(scatter(points))

    assert len(places) == len(points)
    assert rising([x for x, _ in places], [p.expected for p in points])
    assert rising([y for _, y in places], [p.minutes for p in points], falls=True)


def test_equal_factors_are_equal_lengths_on_both_axes():
    points = [Point(50, 50, False, "a"), Point(100, 100, False, "b")]
    points += [Point(200, 400, False, "c")]
    (ax, ay), (bx, by), (cx, cy) = centres(scatter(points))

    assert bx - ax == pytest.approx(cx - bx, abs=0.02)
    assert ay - by == pytest.approx(bx - ax, abs=0.02)
    assert by - cy == pytest.approx(2 * (bx - ax), abs=0.02)


def test_a_job_as_long_as_expected_stands_on_the_line():
    svg = scatter([Point(80, 80, False, "a"), Point(500, 500, False, "b")])
    (x0, y0), (x1, y1) = path_points(of_class(svg, "expected")[0].get("d"))

    for x, y in centres(svg):
        assert (y - y0) * (x1 - x0) == pytest.approx((x - x0) * (y1 - y0), abs=6)


def test_a_job_at_the_band_s_factor_stands_on_its_edge():
    svg = scatter([Point(100, 140, False, "a"), Point(300, 300, False, "b")], band=1.4)
    edge = list(path_points(of_class(svg, "band")[0].get("d")))
    (x0, y0), (x1, y1) = edge[:2]
    x, y = centres(svg)[0]

    assert y - y0 == pytest.approx((x - x0) * (y1 - y0) / (x1 - x0), abs=0.05)


def test_an_incident_is_a_filled_cross_with_its_number_and_a_job_an_open_circle():
    svg = scatter([Point(100, 300, True, "J-17"), Point(100, 110, False, "J-18")])

    [cross] = of_class(svg, "incident")[:-1]
    assert cross.tag == f"{SVG}path"
    assert cross.get("fill") != "none"
    assert "J-17" in words(svg)
    assert "J-18" not in words(svg)
    assert len(crosses(svg)) == len(centres(svg)) == 1


def test_the_incidents_furthest_out_are_numbered_and_named():
    far = [Point(100 + 90 * k, 20, True, f"far-{k}") for k in range(NUMBERED)]
    near = [Point(100 + 90 * k, 101 + 90 * k, True, f"near-{k}") for k in range(5)]
    svg = scatter(near + far)

    assert not [label for label in words(svg) if label.startswith("near")]
    assert all(point.label in described(svg) for point in far)
    assert described(svg).endswith("; and 5 more.")


def test_the_sentence_counts_the_jobs_within_the_band():
    # 140 and 100/1.4 are its ends; 141 is beyond; so 3 of 4: 75 %.
    recorded = (100, 140, 100 / 1.4, 141)
    points = [Point(100, took, False, "J") for took in recorded]

    assert described(scatter(points, band=1.4)) == (
        "4 jobs against the shop's own times: 75% within a factor of 1.4, "
        "where 80% should be."
    )


def test_axes_are_marked_at_1_2_and_5():
    svg = scatter([Point(30, 40, False, "a"), Point(900, 700, False, "b")])

    ticks = [int(w.replace(",", "")) for w in words(svg) if re.fullmatch(r"[\d,]+", w)]
    # From 30/1.25 = 24 to 900 x 1.25 = 1,125, along x and again along y.
    assert sorted(ticks) == sorted(2 * [50, 100, 200, 500, 1000])


@pytest.mark.parametrize("wrong", [0, -1, inf, nan, 2 * MOST])
def test_minutes_that_no_clock_shows_are_refused(wrong):
    with pytest.raises(NotPlottableError, match="recorded minutes"):
        Point(10, wrong, False, "J")
    with pytest.raises(NotPlottableError, match="expected minutes"):
        Point(wrong, 10, False, "J")
    with pytest.raises(NotPlottableError):
        Moment(date(2025, 1, 1), wrong, False)


def test_a_band_below_1_is_refused():
    with pytest.raises(NotPlottableError, match="bands"):
        scatter([], band=0.8)


# --- The shop's pace in time ---


@settings(max_examples=60, deadline=None)
@given(st.lists(st.builds(Moment, st.dates(), st.floats(LEAST, MOST), st.just(False))))
def test_later_stands_further_right_and_longer_higher(points):
    places = centres(pace(points))

    assert len(places) == len(points)
    assert rising([x for x, _ in places], [p.on for p in points])
    assert rising([y for _, y in places], [p.factor for p in points], falls=True)


def test_the_factor_axis_says_times_as_the_reader_writes_it():
    svg = pace([Moment(date(2025, 3, 1), 1.0, False)], formats=GERMAN)

    said = [label.replace("\xa0", " ") for label in words(svg)]
    assert {"× 0,5", "× 1", "× 2"} <= set(said)  # noqa: RUF001
    assert "1. März 2025" in said


def test_months_on_the_axis_follow_the_reader():
    days = [Moment(date(2025, month, 1), 1.0, False) for month in (1, 5, 9, 12)]

    assert "Jul 2025" in words(pace(days))
    assert "Juli 2025" in words(pace(days, formats=GERMAN))


def test_a_quarter_s_median_is_drawn_at_its_jobs_middle():
    factors = (0.8, 1.3, 5.0)  # the median of three is the second
    svg = pace([Moment(date(2025, 2, k), f, False) for k, f in enumerate(factors, 1)])

    (_, y), *_ = path_points(of_class(svg, "quarter")[0].get("d"))
    assert y == pytest.approx(centres(svg)[1][1], abs=0.02)
    assert "The last quarter's median: ×\xa01.3." in described(svg)  # noqa: RUF001


def test_too_few_jobs_give_no_median():
    svg = pace([Moment(date(2025, 2, 1), 1.3, False)] * 2)

    assert not of_class(svg, "quarter")
    assert "median" not in described(svg)


def test_a_quarter_without_jobs_breaks_the_line():
    def three(month):
        return [Moment(date(2025, month, day), 1.2, False) for day in (3, 9, 20)]

    joined = of_class(pace(three(2) + three(5)), "quarter")[0].get("d")
    broken = of_class(pace(three(2) + three(8)), "quarter")[0].get("d")

    assert joined.count("M") == 1
    assert broken.count("M") == 2


def test_marks_are_numbered_in_time_and_told_below():
    marks = [(date(2025, 9, 1), "moved house"), (date(2025, 2, 1), "new seat machine")]
    svg = pace(a_year_of(40)[1], marks=marks)

    assert "February 1, 2025: new seat machine" in words(svg)
    first, second = (
        next(iter(path_points(node.get("d")))) for node in of_class(svg, "mark")
    )
    assert first[0] < second[0]
    assert "September 1, 2025: moved house." in described(svg)


def test_the_last_marks_are_shown_where_there_are_many():
    marks = [(date(2025, 1, 1 + k), f"change {k}") for k in range(MARKS + 3)]
    svg = pace([], marks=marks)

    assert len(of_class(svg, "mark")) == MARKS
    assert not [label for label in words(svg) if label.endswith("change 2")]
    assert [label for label in words(svg) if label.endswith("change 3")]


def test_an_estimate_outside_its_interval_is_refused():
    with pytest.raises(NotPlottableError, match="interval"):
        pace([], 1.3, low=1.0, high=1.2)


# --- How often ranges held ---

shares = st.floats(0, 1)
rows = st.builds(
    lambda ends, nominal: Covered("r", 9, ends[1], nominal, ends[0], ends[2]),
    st.tuples(shares, shares, shares).map(sorted),
    st.sampled_from((0.8, 0.9)),
)


def spots(svg):
    """Return x of every row's sign and whether the row held."""
    found = []
    for node in parse(svg):
        kinds = (node.get("class") or "").split()
        if "held" in kinds:
            found.append((float(node.get("cx")), True))
        elif "missed" in kinds:
            (left, _), _, (right, _), *_ = path_points(node.get("d"))
            found.append(((left + right) / 2, False))
    return found


@settings(max_examples=60, deadline=None)
@given(st.lists(rows, max_size=12))
def test_a_larger_share_stands_further_right_and_a_miss_has_another_shape(rows):
    svg = held(rows)
    found = spots(svg)

    assert rising([x for x, _ in found], [row.inside for row in rows])
    assert [kept for _, kept in found] == [
        row.low <= row.nominal <= row.high for row in rows
    ]
    assert inside_its_view(svg)


def test_a_row_without_jobs_says_so_and_has_no_sign():
    svg = held([a_row(jobs=0)])

    assert not spots(svg)
    assert described(svg) == "May 2026: no jobs."


def test_a_row_is_told_in_words():
    # 5 of 12 by the Clopper-Pearson 95 % interval: 0.152 to 0.723 (scipy binomtest).
    svg = held([a_row("March", 12, 5 / 12, 0.8, 0.152, 0.723)])

    assert described(svg) == (
        "March: 41.7% of 12 jobs inside, said 80%, interval 15.2% to 72.3%; "
        "not what was said."
    )


def test_an_interval_without_its_share_is_refused():
    with pytest.raises(NotPlottableError, match="shares"):
        a_row(inside=0.5, low=0.6)


# --- The range of a price ---

amounts = st.lists(
    st.decimals(0, 10**6, places=2), min_size=4, max_size=4, unique=True
).map(sorted)


@given(amounts)
def test_a_range_stands_in_order(amounts):
    svg = price(*amounts)
    (low, _), (high, _) = path_points(of_class(svg, "range")[0].get("d"))
    (likely, _), *_ = path_points(of_class(svg, "likely")[0].get("d"))
    [(floor, _), *_] = path_points(of_class(svg, "floor")[0].get("d"))

    assert floor + 5 <= low <= likely <= high
    assert inside_its_view(svg)


def test_a_range_has_its_figures_in_the_reader_s_money():
    svg = price("780", "812", "861.50", "1040", formats=GERMAN)

    said = {label.replace("\xa0", " ") for label in words(svg)}
    assert said == {"as asked 780,00 €", "likely 861,50 €", "812,00 €", "1.040,00 €"}
    assert described(svg).replace("\xa0", " ") == (
        "Likely 861,50 €, 812,00 € to 1.040,00 €. As asked 780,00 €."
    )


def test_a_range_that_starts_as_asked_does_not_say_it_twice():
    svg = price("812", "812", "861", "1040")

    assert sorted(words(svg)) == ["$1,040.00", "$812.00", "likely $861.00"]


def test_a_price_that_goes_nowhere_is_one_figure():
    svg = price("812", "812", "812", "812")

    assert words(svg) == ["$812.00"]
    assert not of_class(svg, "range")


@pytest.mark.parametrize(
    "crossed", [("2", "1", "3", "4"), ("1", "3", "2", "4"), ("1", "2", "4", "3")]
)
def test_crossed_ends_are_refused(crossed):
    with pytest.raises(RangeOrderError):
        price(*crossed)
