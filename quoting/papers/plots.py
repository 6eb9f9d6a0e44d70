"""Plots: what a shop's own jobs say about its times and its prices, as SVG.

A plot is complete in itself: its name, its sentence in words, its axes and its key; no
script, link, id or font. What it says is said by shape, hatching and dashes first, so
that it reads in black and white too. It is drawn for the width of a phone and scales.
On a screen the app's style sheet lets the page's own colours in.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from markupsafe import Markup

from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import HUNDRED
from quoting.i18n import Formats
from quoting.papers.svg import (
    BLUE,
    CAP,
    FONT,
    INK,
    LINE,
    PAPER,
    PHONE,
    SOFT,
    cut,
    ems,
    n,
    text,
)

#: Minutes and factors outside of these are mistakes, not times.
LEAST, MOST = 0.001, 1_000_000.0


class NotPlottableError(RuleError):
    """A figure has no place on its axis."""

    message = translatable("{figure} has no place in a plot of {what}.")


def _place(figure: float, what: str, least: float = LEAST, most: float = MOST) -> None:
    if not least <= figure <= most:
        raise NotPlottableError(figure=figure, what=what)


@dataclass(frozen=True, slots=True)
class Point:
    """One job: what its work takes by the shop's own times, and what it took.

    Attributes:
        expected: minutes, ``LEAST`` to ``MOST``.
        minutes: recorded, as many.
        incident: something went wrong or was written down wrong.
        label: the job's number.

    Raises:
        NotPlottableError: minutes that are none, endless or no number.
    """

    expected: float
    minutes: float
    incident: bool
    label: str

    def __post_init__(self) -> None:
        _place(self.expected, "expected minutes")
        _place(self.minutes, "recorded minutes")

    @property
    def factor(self) -> float:
        """Return recorded over expected."""
        return self.minutes / self.expected


@dataclass(frozen=True, slots=True)
class Moment:
    """One job in time: its recorded over its expected minutes.

    Raises:
        NotPlottableError: the factor is not ``LEAST`` to ``MOST``.
    """

    on: date
    factor: float
    incident: bool

    def __post_init__(self) -> None:
        _place(self.factor, "recorded over expected")


@dataclass(frozen=True, slots=True)
class Covered:
    """How many of some jobs ended inside the range that was said for them.

    Attributes:
        label: the month or set of work.
        jobs: how many; where none the shares say nothing.
        inside: the share that ended inside, 0 to 1.
        nominal: the share that should: 0.8 or 0.9.
        low: the lower end of the binomial interval of *inside*.
        high: its upper end.

    Raises:
        NotPlottableError: a share is not 0 to 1, or the interval is without *inside*.
    """

    label: str
    jobs: int
    inside: float
    nominal: float
    low: float
    high: float

    def __post_init__(self) -> None:
        _place(self.nominal, "shares", 0, 1)
        if self.jobs:
            _place(self.low, "shares", -_FUZZ, 1)
            _place(self.inside, "shares", self.low - _FUZZ, self.high + _FUZZ)
            _place(self.high, "shares", 0, 1 + _FUZZ)

    @property
    def held(self) -> bool:
        """Return whether the interval reaches what was promised."""
        return self.low <= self.nominal <= self.high


_FUZZ = 1e-9  # what an interval's float arithmetic may be out by


# The four plots.


def jobs_against_estimate(
    points: Sequence[Point],
    *,
    band: float,
    unit: str,
    title: str,
    formats: Formats,
    share: Decimal = Decimal(80),
) -> Markup:
    """Return recorded minutes against the shop's own times, as SVG.

    Both axes are logarithmic and alike, so that a factor is the same length all over.

    Args:
        points: in any order.
        band: the factor within which most jobs are expected to end, 1 or more.
        unit: of the minutes, as the axes name it.
        title: the name of the plot.
        formats: how its reader writes figures.
        share: how many jobs the band is to hold, in per cent.

    Raises:
        NotPlottableError: *band* is below 1 or beyond ``MOST``.
    """
    _place(band, "bands", least=1)
    values = [value for point in points for value in (point.expected, point.minutes)]
    low, high = _span(values or [10, 1000], apart=5)
    sheet = _Sheet(title)
    labels = _ticks(low, high, formats.quantity)
    sheet.words(f"recorded, {unit}", 0, anchor="start")
    sheet.y += 8
    left = 6 + max(_wide(tick.label) for tick in labels)
    side = PHONE - left - RIGHT
    x = _Log(low, high, left, left + side)
    y = _Log(low, high, sheet.y + side, sheet.y)
    frame = _Box(left, sheet.y, left + side, sheet.y + side)
    labels = _apart(labels, x, _wide)
    sheet.add(
        *_grid(
            frame,
            [(x.at(tick.value), tick.label) for tick in labels],
            [(y.at(tick.value), tick.label) for tick in labels],
        ),
        _band(frame, x.at(low * min(band, high / low)) - left),
        _line(f"M{n(left)} {n(frame.bottom)}L{n(frame.right)} {n(frame.top)}"),
    )
    ordinary = [(x.at(p.expected), y.at(p.minutes)) for p in points if not p.incident]
    incidents = [(p, x.at(p.expected), y.at(p.minutes)) for p in points if p.incident]
    sheet.add(*_circles(ordinary), *(_cross(at_x, at_y) for _, at_x, at_y in incidents))
    sheet.add(*_numbered(incidents, ordinary, frame))
    if not points:
        sheet.add(_nothing(frame))
    sheet.y = frame.bottom + 17
    sheet.words(f"by the shop's own times, {unit}", PHONE - RIGHT, anchor="end")
    sheet.key(
        (_SIGN_CIRCLE, "job"),
        (_SIGN_CROSS, "incident"),
        (_SIGN_LINE, "as expected"),
        (_SIGN_BAND, f"where {formats.percent(share)} should be"),
    )
    return sheet.drawn(" ".join(_jobs_in_words(points, band, unit, formats, share)))


def drift(
    points: Sequence[Moment],
    estimate: float,
    *,
    low: float,
    high: float,
    title: str,
    formats: Formats,
    marks: Sequence[tuple[date, str]] = (),
) -> Markup:
    """Return recorded over expected against time, as SVG.

    Args:
        points: in any order.
        estimate: the factor that the shop is thought to work at now.
        low: the lower end of its interval.
        high: its upper end.
        title: the name of the plot.
        formats: how its reader writes figures and dates.
        marks: days to mark with words, such as a new machine; the last ``MARKS``
            are shown.

    Raises:
        NotPlottableError: the estimate is outside its interval, or that of the axis.
    """
    _place(low, "recorded over expected")
    _place(high, "recorded over expected")
    _place(estimate, "its own interval", low, high)
    factors = [point.factor for point in points]
    shown = sorted(marks)[-MARKS:]
    days = sorted([point.on for point in points] + [day for day, _ in shown])
    bottom, top = _span([0.5, 2, low, high, *factors], apart=5)
    sheet = _Sheet(title)
    labels = _ticks(bottom, top, lambda figure: _times(formats.quantity(figure)))
    sheet.words("recorded over expected", 0, anchor="start")
    sheet.y += 8 + (2 * BALLOON + 4 if shown else 0)
    left = 6 + max(_wide(tick.label) for tick in labels)
    frame = _Box(left, sheet.y, PHONE - RIGHT, sheet.y + 190)
    y = _Log(bottom, top, frame.bottom, frame.top)
    x = _Days(days, frame.left + 6, frame.right - 6)
    kept = _apart(labels, y, lambda _: LINE_HEIGHT)
    sheet.add(
        *_grid(
            frame,
            _dates(days, x, formats),
            [(y.at(tick.value), tick.label) for tick in kept],
        ),
        *_estimated(frame, y, estimate, low, high),
        _line(f"M{n(left)} {n(y.at(1))}H{n(frame.right)}"),
    )
    sheet.add(
        *_circles([(x.at(p.on), y.at(p.factor)) for p in points if not p.incident])
    )
    sheet.add(*(_cross(x.at(p.on), y.at(p.factor)) for p in points if p.incident))
    quarters = _quarters(points)
    sheet.add(_stepped(quarters, x, y))
    sheet.add(*_balloons([x.at(day) for day, _ in shown], frame))
    if not points:
        sheet.add(_nothing(frame))
    sheet.y = frame.bottom + 16
    sheet.key(
        (_SIGN_CIRCLE, "job"),
        (_SIGN_CROSS, "incident"),
        (_SIGN_LINE, "as expected"),
        (_SIGN_STEP, "median of a quarter"),
        (_SIGN_ESTIMATE, _estimate_in_words(estimate, low, high, formats)),
    )
    for number, (day, words) in enumerate(shown, 1):
        sheet.y += BALLOON + 1
        sheet.add(
            _balloon(number, BALLOON + 1, sheet.y),
            _words(
                cut(f"{formats.date(day)}: {words}", (PHONE - SIGN) / SIZE),
                SIGN,
                sheet.y + CAP * SIZE,
                "start",
            ),
        )
        sheet.y += BALLOON
    return sheet.drawn(
        " ".join(_drift_in_words(points, quarters, formats))
        + f" {_estimate_in_words(estimate, low, high, formats).capitalize()}."
        + "".join(f" {formats.date(day)}: {words}." for day, words in shown)
    )


def coverage(rows: Sequence[Covered], *, title: str, formats: Formats) -> Markup:
    """Return how often each row's ranges held, against how often they should, as SVG.

    A row whose binomial interval reaches the nominal share has an open circle; one
    whose does not, a filled lozenge.

    Args:
        rows: from top to bottom.
        title: the name of the plot.
        formats: how its reader writes figures and dates.
    """
    sheet = _Sheet(title)
    names = [_lines(row.label, NAMES / SIZE, 2) for row in rows]
    counts = [formats.quantity(Decimal(row.jobs)) for row in rows]
    left = 10 + max((_wide(line) for lines in names for line in lines), default=0)
    right = PHONE - 10 - max(map(_wide, [*counts, "jobs"]))
    low, step = _shares(rows, (right - left - 16) / _wide(formats.percent(HUNDRED)))
    x = _Linear(low, 100, left + 8, right - 8)
    heights = [_ROW + (len(lines) - 1) * LINE_HEIGHT for lines in names]
    sheet.y += 10
    frame = _Box(left, sheet.y + 6, right, sheet.y + 6 + (sum(heights) or 2 * _ROW))
    ticks = [
        (x.at(share), formats.percent(Decimal(share)))
        for share in range(low, 101, step)
    ]
    sheet.add(_words("jobs", PHONE, sheet.y, "end"))
    sheet.add(*_grid(frame, ticks, []))
    top = frame.top
    for row, lines, count, height in zip(rows, names, counts, heights, strict=True):
        middle = top + height / 2
        first = middle + CAP * SIZE - (len(lines) - 1) * LINE_HEIGHT / 2
        for line_number, line in enumerate(lines):
            sheet.add(_words(line, 0, first + line_number * LINE_HEIGHT, "start"))
        sheet.add(_words(count, PHONE, middle + CAP * SIZE, "end"))
        at = x.at(100 * row.nominal)
        sheet.add(_nominal(f"M{n(at)} {n(top)}v{n(height)}"))
        if row.jobs:
            sheet.add(_interval(row, x, middle))
        top += height
    if not rows:
        sheet.add(_nothing(frame))
    sheet.y = frame.bottom + 16
    promised = sorted({row.nominal for row in rows})
    said = " and ".join(formats.percent(_percent(share)) for share in promised)
    sheet.key(
        (_SIGN_HELD, "ended inside, with its interval"),
        (_SIGN_MISSED, "not what was said"),
        (_SIGN_NOMINAL, f"said: {said}" if said else "said"),
    )
    return sheet.drawn(" ".join(_coverage_in_words(rows, formats)))


def range_bar(
    floor: Decimal, low: Decimal, likely: Decimal, high: Decimal, *, formats: Formats
) -> Markup:
    """Return a price and how far it may go, as SVG; one figure where it goes nowhere.

    Args:
        floor: the price as asked, in major units of the currency of *formats*.
        low: what it is hardly ever below.
        likely: what it mostly is.
        high: what it is hardly ever above.
        formats: how its reader writes money.

    Raises:
        RangeOrderError: they do not rise.
    """
    if not floor <= low <= likely <= high:
        raise RangeOrderError(floor=floor, low=low, likely=likely, high=high)
    ends = [formats.money(low), formats.money(high)]
    above = [f"likely {formats.money(likely)}"]
    if low == high:
        ends, above = [], [formats.money(likely)]
    elif floor < low:
        above.insert(0, f"as asked {formats.money(floor)}")
    width = max(
        _BAR, *(sum(_wide(label) + 8 for label in row) for row in (ends, above))
    )
    sheet = _Sheet("Price" if low == high else "Price range", width, named=False)
    y = 28.0
    sheet.add(_path(f"M0 {n(y)}H{n(width)}", "rule", LINE, 1.4))
    if low == high:
        sheet.add(_likely(width / 2, y), _words(above[0], width / 2, 12, strong=True))
        sheet.y = y + 12
        return sheet.drawn(f"{above[0]}.")
    x = _Linear(float(floor), float(high), _BAR_END, width - _BAR_END)
    start, middle, end = (x.at(float(amount)) for amount in (low, likely, high))
    sheet.add(
        f'<path class="blue range" d="M{n(start)} {n(y)}H{n(end)}" stroke="{BLUE}" '
        'stroke-width="6" stroke-linecap="butt"/>',
        _path(f"M{n(start)} {n(y - 6)}v12M{n(end)} {n(y - 6)}v12", "edge", INK, 1.2),
        _likely(middle, y),
    )
    tops = [middle]
    if floor < low:
        at = x.at(float(floor))
        tops.insert(0, at)
        sheet.add(_lozenge(at, y, "open floor", PAPER, INK))
    sheet.add(*_row_of(above, tops, 12, width, strong=True))
    sheet.add(*_row_of(ends, [start, end], y + 21, width))
    sheet.y = y + 26
    asked = f" As asked {formats.money(floor)}." if floor < low else ""
    return sheet.drawn(f"Likely {formats.money(likely)}, {' to '.join(ends)}.{asked}")


class RangeOrderError(RuleError):
    """The ends of a range are crossed."""

    message = translatable(
        "A range rises from {floor} as asked over {low} and {likely} to {high}; "
        "it does not."
    )


_BAR = 300.0  # the least width of a range bar
_BAR_END = 26.0  # from its edge to the end of its scale


def _likely(x: float, y: float) -> str:
    return _path(f"M{n(x)} {n(y - 11)}v22", "edge likely", INK, 2.4)


def _row_of(
    labels: Sequence[str],
    centres: Sequence[float],
    y: float,
    width: float,
    *,
    strong: bool = False,
) -> Iterator[str]:
    rooms = [_wide(label) + 8 for label in labels]
    places = _spread(centres, rooms, 0, width)
    for label, x in zip(labels, places, strict=True):
        yield _words(label, x, y, strong=strong)


def _spread(
    centres: Sequence[float], widths: Sequence[float], left: float, right: float
) -> list[float]:
    """Return rising *centres*, moved so that what is *widths* wide does not overlap."""
    starts: list[float] = []
    edge = left
    for centre, width in zip(centres, widths, strict=True):
        starts.append(max(centre - width / 2, edge))
        edge = starts[-1] + width
    edge = right
    for place in reversed(range(len(starts))):
        starts[place] = edge = min(starts[place], edge - widths[place])
    return [start + width / 2 for start, width in zip(starts, widths, strict=True)]


# The sheet: what every plot has.

SIZE = 11.0  # of words
TITLE = 13.0
LINE_HEIGHT = 14.0
RIGHT = 12.0  # from the frame to the edge
SIGN = 26.0  # room of a sign in the key


class _Box(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float

    def holds(self, other: "_Box") -> bool:
        return (
            self.left <= other.left
            and self.top <= other.top
            and other.right <= self.right
            and other.bottom <= self.bottom
        )

    def meets(self, other: "_Box") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class _Sheet:
    """A drawing that grows downwards; ``y`` is where it has come to."""

    def __init__(self, title: str, width: float = PHONE, *, named: bool = True) -> None:
        self.title, self.width, self.y = title, width, 0.0
        self.parts: list[str] = []
        for line in _lines(title, width / TITLE, 2) if named else ():
            self.y += TITLE + 3
            self.add(_words(line, 0, self.y - 4, "start", size=TITLE, strong=True))
        self.y += 2 if named else 0

    def add(self, *parts: str) -> None:
        self.parts += parts

    def words(self, words: str, x: float, anchor: str) -> None:
        self.y += LINE_HEIGHT
        shown = cut(words, self.width / SIZE)
        self.add(_words(shown, x, self.y - 3, anchor))

    def key(self, *entries: tuple[str, str]) -> None:
        """Add signs with their words, in as many lines as they need."""
        x = 0.0
        self.y += 10
        for sign, words in entries:
            wide = SIGN + _wide(words)
            if x and x + wide > self.width:
                x, self.y = 0.0, self.y + LINE_HEIGHT + 2
            self.add(
                f'<g transform="translate({n(x + 10)} {n(self.y)})">{sign}</g>',
                _words(words, x + SIGN, self.y + CAP * SIZE, "start"),
            )
            x += wide + 8
        self.y += 10

    def drawn(self, says: str) -> Markup:
        width, height = n(self.width), n(math.ceil(self.y))
        drawing = "".join(
            (
                '<svg xmlns="http://www.w3.org/2000/svg" class="plot" role="img" ',
                f'width="{width}" height="{height}" viewBox="0 0 {width} {height}" ',
                f'fill="none" stroke-linejoin="round" {FONT}>',
                f"<title>{text(self.title)}</title><desc>{text(says)}</desc>",
                *self.parts,
                "</svg>",
            )
        )
        return Markup(drawing)  # noqa: S704  every word went through text()


def _wide(words: str) -> float:
    return ems(words) * SIZE


def _lines(words: str, room: float, most: int) -> list[str]:
    """Return *words* in at most so many lines of *room* ems, the last one cut."""
    rest = words.split()
    lines: list[str] = []
    while rest and len(lines) < most - 1:
        line = rest.pop(0)
        while rest and ems(f"{line} {rest[0]}") <= room:
            line += f" {rest.pop(0)}"
        lines.append(cut(line, room))
    return [*lines, cut(" ".join(rest), room)] if rest else lines


def _words(
    words: str,
    x: float,
    y: float,
    anchor: str = "middle",
    *,
    size: float = SIZE,
    strong: bool = False,
) -> str:
    kind, fill, weight = ("strong", INK, 600) if strong else ("words", SOFT, 400)
    return (
        f'<text class="{kind}" x="{n(x)}" y="{n(y)}" font-size="{n(size)}" '
        f'font-weight="{weight}" text-anchor="{anchor}" fill="{fill}">'
        f"{text(words)}</text>"
    )


def _path(d: str, kind: str, stroke: str, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path class="{kind}" d="{d}" stroke="{stroke}" stroke-width="{n(width)}"'
        f"{dashed}/>"
    )


def _line(d: str) -> str:
    return _path(d, "edge expected", INK, 1.1)


def _nominal(d: str) -> str:
    return _path(d, "blue nominal", BLUE, 2)


def _nothing(frame: _Box) -> str:
    return _words("nothing recorded yet", frame.left + 8, frame.top + 16, "start")


# Axes.


class _Linear(NamedTuple):
    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


class _Log(NamedTuple):
    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return self.start + share * (self.end - self.start)


class _Days:
    """Days from the first to the last; a single one stands in the middle."""

    def __init__(self, days: Sequence[date], start: float, end: float) -> None:
        self.first, self.last = (
            (days[0].toordinal(), days[-1].toordinal()) if days else (0, 0)
        )
        self.start, self.end = start, end

    def at(self, day: date) -> float:
        if self.first == self.last:
            return (self.start + self.end) / 2
        share = (day.toordinal() - self.first) / (self.last - self.first)
        return self.start + min(max(share, 0), 1) * (self.end - self.start)


def _span(values: Sequence[float], apart: float) -> tuple[float, float]:
    """Return the ends of a logarithmic axis, *apart* as a factor at least."""
    low, high = min(values) / 1.25, max(values) * 1.25
    more = math.sqrt(max(1, apart * low / high))
    return low / more, high * more


class _Tick(NamedTuple):
    leading: int
    decade: int
    label: str

    @property
    def value(self) -> float:
        return self.leading * 10.0**self.decade


def _ticks(low: float, high: float, written: Callable[[Decimal], str]) -> list[_Tick]:
    """Return the 1, 2, 5 of every decade between."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [
        tick
        for decade in decades
        for leading in (1, 2, 5)
        if low
        <= (
            tick := _Tick(leading, decade, written(Decimal(leading).scaleb(decade)))
        ).value
        <= high
    ]


def _apart(
    ticks: Sequence[_Tick], axis: _Log, room: Callable[[str], float]
) -> list[_Tick]:
    """Return as many ticks as have room: all, one a decade, one in some decades."""
    for every in range(len(ticks) + 1):
        kept = [
            tick
            for tick in ticks
            if not every or (tick.leading == 1 and tick.decade % every == 0)
        ]
        if all(
            abs(axis.at(b.value) - axis.at(a.value))
            >= (room(a.label) + room(b.label)) / 2 + 2
            for a, b in pairwise(kept)
        ):
            return kept
    return []


def _grid(
    frame: _Box,
    along: Sequence[tuple[float, str]],
    down: Sequence[tuple[float, str]],
) -> Iterator[str]:
    """Yield the lines and labels of an x axis and a y axis: places and words."""
    rules = [f"M{n(x)} {n(frame.top)}V{n(frame.bottom)}" for x, _ in along]
    rules += [f"M{n(frame.left)} {n(y)}H{n(frame.right)}" for y, _ in down]
    if rules:
        yield _path("".join(rules), "rule", LINE, 0.7)
    axes = f"M{n(frame.left)} {n(frame.top)}V{n(frame.bottom)}H{n(frame.right)}"
    yield _path(axes, "narrow", SOFT, 0.9)
    for x, label in along:
        if x + _wide(label) / 2 <= PHONE:
            yield _words(label, x, frame.bottom + LINE_HEIGHT)
    for y, label in down:
        yield _words(label, frame.left - 5, y + CAP * SIZE, "end")


#: Months between two dates on an axis.
_STEPS = (1, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400, 6000, 12000, 24000)
_MOST_DATES = 12  # more never have room


def _dates(
    days: Sequence[date], axis: _Days, formats: Formats
) -> list[tuple[float, str]]:
    """Return places and words: of first days of months, else of the two ends."""
    if not days:
        return []
    first, last = _month(days[0]), _month(days[-1])
    for step in _STEPS:
        months = range(first + -first % step, last + 1, step)
        if len(months) > _MOST_DATES:
            continue
        found = [date(month // 12, month % 12 + 1, 1) for month in months]
        places = [(axis.at(day), formats.month(day)) for day in found if day >= days[0]]
        if _clear(places) and len(places) > 1:
            return places
    ends = [days[0], days[-1]] if days[0] < days[-1] else [days[0]]
    labels = [formats.date(day) for day in ends]
    rooms = [_wide(label) + 6 for label in labels]
    spread = _spread([axis.at(day) for day in ends], rooms, 0, PHONE)
    return list(zip(spread, labels, strict=True))


def _month(day: date) -> int:
    return 12 * day.year + day.month - 1


def _clear(places: Sequence[tuple[float, str]]) -> bool:
    return all(
        b[0] - a[0] >= (_wide(a[1]) + _wide(b[1])) / 2 + 4 for a, b in pairwise(places)
    )


# Jobs.


def _circles(places: Sequence[tuple[float, float]]) -> Iterator[str]:
    """Yield open circles, the smaller the more there are."""
    radius = 3.0 if len(places) <= 120 else 2.2 if len(places) <= 400 else 1.7
    yield f'<g class="narrow" stroke="{SOFT}" stroke-width=".8">'
    for x, y in places:
        yield f'<circle class="job" cx="{n(x)}" cy="{n(y)}" r="{radius:g}"/>'
    yield "</g>"


_CROSS = (
    "M-4 -2.6l1.4-1.4L0-1.4l2.6-2.6L4-2.6 1.4 0 4 2.6 2.6 4 0 1.4-2.6 4-4 2.6-1.4 0z"
)


def _cross(x: float, y: float) -> str:
    return (
        f'<path class="solid incident" transform="translate({n(x)} {n(y)})" '
        f'd="{_CROSS}" fill="{INK}" stroke="{PAPER}" stroke-width=".6"/>'
    )


#: How many incidents are numbered on the plot, and named in its words.
NUMBERED = 8
_NEAR = 6.0  # from a cross to its number


def _numbered(
    incidents: Sequence[tuple[Point, float, float]],
    ordinary: Sequence[tuple[float, float]],
    frame: _Box,
) -> Iterator[str]:
    """Yield the numbers of the incidents furthest out, where there is room for them."""
    taken = [_Box(x - 4, y - 4, x + 4, y + 4) for _, x, y in incidents]
    furthest = sorted(
        incidents, key=lambda it: (-abs(math.log(it[0].factor)), it[0].label)
    )
    for point, x, y in furthest[:NUMBERED]:
        label = cut(point.label, 8)
        free = [
            box
            for box in _around(x, y, _wide(label))
            if frame.holds(box) and not any(map(box.meets, taken))
        ]
        if free:
            best = min(
                free,
                key=lambda box: sum(box.meets(_Box(a, b, a, b)) for a, b in ordinary),
            )
            taken.append(best)
            yield _words(label, best.left, best.bottom - 3, "start", strong=True)


def _around(x: float, y: float, wide: float) -> list[_Box]:
    """Return where a label may stand beside (x, y), the best place first."""
    across = (x + _NEAR, x - _NEAR - wide, x - wide / 2)
    over = (y - SIZE / 2, y - _NEAR - SIZE, y + _NEAR)
    return [
        _Box(left, top, left + wide, top + SIZE)
        for top in over
        for left in across
        if (left, top) != (across[2], over[0])
    ]


# What is expected.


def _band(frame: _Box, wide: float) -> str:
    left, top, right, bottom = frame
    upper = f"M{n(left)} {n(bottom - wide)}L{n(right - wide)} {n(top)}"
    lower = f"M{n(left + wide)} {n(bottom)}L{n(right)} {n(top + wide)}"
    around = (
        f"M{n(left)} {n(bottom)}V{n(bottom - wide)}L{n(right - wide)} {n(top)}"
        f"H{n(right)}V{n(top + wide)}L{n(left + wide)} {n(bottom)}z"
    )
    return _wash(around) + _edges(upper + lower)


def _wash(d: str) -> str:
    return f'<path class="wash" d="{d}" fill="{BLUE}" fill-opacity=".09"/>'


def _edges(d: str) -> str:
    return _path(d, "blue band", BLUE, 1, "4 2.5")


def _estimated(
    frame: _Box, y: _Log, estimate: float, low: float, high: float
) -> Iterator[str]:
    left, right = n(frame.left), n(frame.right)
    yield _wash(f"M{left} {n(y.at(low))}H{right}V{n(y.at(high))}H{left}z")
    yield _edges(f"M{left} {n(y.at(low))}H{right}M{left} {n(y.at(high))}H{right}")
    line = f"M{left} {n(y.at(estimate))}H{right}"
    yield _path(line, "blue estimate", BLUE, 1.4, "9 2.5 1.5 2.5")


#: Jobs below which a quarter's median says nothing.
ENOUGH = 3


class _Quarter(NamedTuple):
    start: date
    end: date
    middle: float


def _quarters(points: Sequence[Moment]) -> list[_Quarter]:
    """Return the quarters with ``ENOUGH`` jobs, each with the median factor."""
    found: defaultdict[int, list[Moment]] = defaultdict(list)
    for point in points:
        found[_month(point.on) // 3].append(point)
    return [
        _Quarter(
            date(quarter // 4, quarter % 4 * 3 + 1, 1),
            _after(quarter),
            median(point.factor for point in found[quarter]),
        )
        for quarter in sorted(found)
        if len(found[quarter]) >= ENOUGH
    ]


def _after(quarter: int) -> date:
    """Return the day after a quarter; the last day there is after the last one."""
    year, number = divmod(quarter + 1, 4)
    return date(year, number * 3 + 1, 1) if year <= date.max.year else date.max


def _stepped(quarters: Sequence[_Quarter], x: _Days, y: _Log) -> str:
    """Return the medians as steps that join where one quarter follows another."""
    d = ""
    for number, quarter in enumerate(quarters):
        start, end, at = x.at(quarter.start), x.at(quarter.end), y.at(quarter.middle)
        joined = number and quarters[number - 1].end == quarter.start
        if start == end:  # one day alone, or the last one of the axis
            start, end = start - 6 * (not joined), end + 6
        d += f"V{n(at)}H{n(end)}" if joined else f"M{n(start)} {n(at)}H{n(end)}"
    return _path(d, "blue quarter", BLUE, 2.6) if d else ""


#: How many marks a plot shows.
MARKS = 12
BALLOON = 8.0


def _balloon(number: int, x: float, y: float) -> str:
    return (
        f'<circle class="open" cx="{n(x)}" cy="{n(y)}" r="{BALLOON - 0.5:g}" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="1"/>'
        + _words(str(number), x, y + CAP * SIZE, strong=True)
    )


def _balloons(places: Sequence[float], frame: _Box) -> Iterator[str]:
    """Yield a line at each place, and a numbered balloon on top of it."""
    wide = 2 * BALLOON + 1
    spread = _spread(places, [wide] * len(places), frame.left, PHONE)
    for number, (x, beside) in enumerate(zip(places, spread, strict=True), 1):
        line = (
            f"M{n(x)} {n(frame.bottom)}V{n(frame.top)}L{n(beside)} {n(frame.top - 5)}"
        )
        yield _path(line, "edge mark", INK, 0.8, "1.5 2.5")
        yield _balloon(number, beside, frame.top - 5 - BALLOON)


# How often a range held.

NAMES = 112.0  # the widest label of a row
_ROW = 22.0


def _shares(rows: Sequence[Covered], room: float) -> tuple[int, int]:
    """Return where an axis of per cent begins and its steps; *room*: labels on it."""
    least = min(
        (share for row in rows for share in (row.nominal, row.low) if row.jobs),
        default=0.5,
    )
    for step in (5, 10, 20):
        low = min(100 - step, max(0, math.floor(100 * least / step - _FUZZ) * step))
        if (100 - low) / step < room:
            return low, step
    return 0, 50


def _interval(row: Covered, x: _Linear, y: float) -> str:
    low, inside, high = (
        x.at(100 * min(max(share, 0), 1)) for share in (row.low, row.inside, row.high)
    )
    line = f"M{n(low)} {n(y)}H{n(high)}M{n(low)} {n(y - 3)}v6M{n(high)} {n(y - 3)}v6"
    return _path(line, "edge interval", INK, 1) + (
        _held(inside, y)
        if row.held
        else _lozenge(inside, y, "solid missed", INK, PAPER)
    )


def _held(x: float, y: float) -> str:
    return (
        f'<circle class="open held" cx="{n(x)}" cy="{n(y)}" r="3.6" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="1.3"/>'
    )


def _lozenge(x: float, y: float, kind: str, fill: str, stroke: str) -> str:
    return (
        f'<path class="{kind}" d="M{n(x - 5)} {n(y)}l5 -5 5 5 -5 5z" fill="{fill}" '
        f'stroke="{stroke}" stroke-width="1"/>'
    )


# Signs of the key, around (0, 0).

_SIGN_CIRCLE = "".join(_circles([(0, 0)]))
_SIGN_CROSS = _cross(0, 0)
_SIGN_LINE = _line("M-10 0H10")
_SIGN_BAND = _wash("M-10 -5H10V5H-10z") + _edges("M-10 -5H10M-10 5H10")
_SIGN_STEP = _path("M-10 3H0V-3H10", "blue", BLUE, 2.6)
_SIGN_ESTIMATE = _wash("M-10 -5H10V5H-10z") + _path(
    "M-10 0H10", "blue", BLUE, 1.4, "9 2.5 1.5 2.5"
)
_SIGN_HELD = _path("M-10 0H10M-10 -3v6M10 -3v6", "edge", INK, 1) + _held(0, 0)
_SIGN_MISSED = _lozenge(0, 0, "solid", INK, PAPER)
_SIGN_NOMINAL = _nominal("M0 -7V7")


# What is said.


def _jobs_in_words(
    points: Sequence[Point], band: float, unit: str, formats: Formats, share: Decimal
) -> Iterator[str]:
    if not points:
        yield "Nothing recorded yet."
        return
    inside = sum(max(p.factor, 1 / p.factor) <= band * (1 + _FUZZ) for p in points)
    count = formats.quantity(Decimal(len(points)))
    yield (
        f"{count} {_jobs(len(points))} against the shop's own times: "
        f"{formats.percent(_percent(inside / len(points)))} within a factor of "
        f"{_figure(band, formats)}, where {formats.percent(share)} should be."
    )
    incidents = sorted(
        (point for point in points if point.incident),
        key=lambda point: (-abs(math.log(point.factor)), point.label),
    )
    if incidents:
        named = "; ".join(
            f"{point.label}, {_figure(point.minutes, formats)} {unit} where "
            f"{_figure(point.expected, formats)} were expected"
            for point in incidents[:NUMBERED]
        )
        more = len(incidents) - NUMBERED
        rest = f"; and {formats.quantity(Decimal(more))} more" if more > 0 else ""
        yield f"Incidents: {named}{rest}."


def _drift_in_words(
    points: Sequence[Moment], quarters: Sequence[_Quarter], formats: Formats
) -> Iterator[str]:
    if not points:
        yield "Nothing recorded yet."
        return
    first, last = (pick(point.on for point in points) for pick in (min, max))
    incidents = sum(point.incident for point in points)
    yield (
        f"{formats.quantity(Decimal(len(points)))} {_jobs(len(points))} from "
        f"{formats.date(first)} to {formats.date(last)}, of them "
        f"{formats.quantity(Decimal(incidents))} with an incident."
    )
    if quarters:
        middle = _times(_figure(quarters[-1].middle, formats))
        yield f"The last quarter's median: {middle}."


def _estimate_in_words(
    estimate: float, low: float, high: float, formats: Formats
) -> str:
    at, least, most = (
        _times(_figure(value, formats)) for value in (estimate, low, high)
    )
    return f"estimate {at}, from {least} to {most}"


def _coverage_in_words(rows: Sequence[Covered], formats: Formats) -> Iterator[str]:
    if not rows:
        yield "Nothing recorded yet."
    for row in rows:
        if not row.jobs:
            yield f"{row.label}: no jobs."
            continue
        inside, low, high, said = (
            formats.percent(_percent(min(max(share, 0), 1)))
            for share in (row.inside, row.low, row.high, row.nominal)
        )
        count = formats.quantity(Decimal(row.jobs))
        verdict = "" if row.held else "; not what was said"
        yield (
            f"{row.label}: {inside} of {count} {_jobs(row.jobs)} inside, said {said}, "
            f"interval {low} to {high}{verdict}."
        )


def _jobs(count: int) -> str:
    return "job" if count == 1 else "jobs"


def _percent(share: float) -> Decimal:
    return Decimal(f"{100 * share:.1f}")


def _times(figure: str) -> str:
    return f"\N{MULTIPLICATION SIGN}\N{NO-BREAK SPACE}{figure}"


def _figure(value: float, formats: Formats) -> str:
    return formats.quantity(Decimal(f"{value:.3g}"))
