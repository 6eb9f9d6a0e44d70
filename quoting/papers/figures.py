"""Figures: the head plan as SVG text, for screens and for paper.

A figure is complete in itself: presentation attributes say every colour, for WeasyPrint
knows neither ``var()`` nor the page's style sheet inside SVG. On a screen ``STYLE``,
once in the page, lets the page's own colours in. No figure has a script, a link or a
font. What state a valve is in can be read without colour.

Lines follow ISO 128-2 (from memory): wide for edges, narrow for everything else,
long-dashed dotted for centre lines, dashed for what lies behind the face, a narrow line
with zigzags where the head is cut.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from enum import StrEnum
from functools import cache
from math import cos, hypot, pi, sin, sqrt
from typing import NamedTuple

from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import SIDES, Head, Position, at_the_bench, in_words
from quoting.domain.head_plan import (
    BALLOON,
    BOLT,
    BORE,
    DEVICES,
    SPROCKET,
    Chamber,
    Plan,
    Row,
    Valve,
    draw,
)
from quoting.papers.svg import (
    BLUE,
    CAP,
    FONT,
    INK,
    PAPER,
    RED,
    SOFT,
    cut,
    ems,
    n,
    text,
)

#: For pages that show figures: their colours, and what a control looks like.
STYLE = """\
.head-plan { max-width: 100%; height: auto; font-family: inherit; }
.head-plan .edges { stroke: var(--ink, #16222e); }
.head-plan .narrow { stroke: var(--soft, #5a6672); }
.head-plan .words { fill: var(--soft, #5a6672); }
.head-plan .strong { fill: var(--ink, #16222e); }
.head-plan .device { fill: var(--paper, #fcfbf8); stroke: var(--ink, #16222e); }
.head-plan .solid { fill: var(--ink, #16222e); }
.head-plan .valve { fill: var(--paper, #fcfbf8); stroke: var(--ink, #16222e); }
.head-plan .valve text { fill: var(--ink, #16222e); stroke: none; }
.head-plan .seat { stroke: var(--soft, #5a6672); }
.head-plan .to-do { fill: var(--blue, #17509a); stroke: var(--blue, #17509a); }
.head-plan .to-do .seat { stroke: var(--paper, #fcfbf8); }
.head-plan .to-do text { fill: var(--paper, #fcfbf8); }
.head-plan .outside { stroke: var(--red, #9c2f1b); }
.head-plan .check, .head-plan .ring { stroke: var(--blue, #17509a); }
.head-plan [role="checkbox"] { cursor: pointer; user-select: none; }
.head-plan [aria-checked="true"] .ring { visibility: visible; }
.head-plan [aria-checked="false"] .ring { visibility: hidden; }
.head-plan [role="checkbox"]:focus-visible {
  outline: 2px solid var(--blue, #17509a); outline-offset: 2px;
}
"""


class State(StrEnum):
    """What there is to say of a valve; the value is the word for it."""

    OPEN = "nothing to do"
    TO_DO = "to be done"
    OUTSIDE = "outside its limit"
    DONE = "done"


class NotOnPlanError(RuleError):
    """A head or valves were asked for that are not among the heads."""

    message = translatable("Not on the plan: {asked}.")


NO_STATES: Mapping[Position, State] = {}


def head_plan(
    heads: Sequence[Head],
    states: Mapping[Position, State] = NO_STATES,
    *,
    picked: Collection[Position] = (),
    controls: bool = False,
    only: str = "",
    widest: float | None = None,
    name: str = "plan",
) -> str:
    """Return the plan of *heads* as an SVG element.

    Its width and height are its natural size in CSS pixels, at which every valve is a
    target of at least 24 by 24 (WCAG 2.2, success criterion 2.5.8).

    Args:
        heads: every head that came; their number decides how valves are named.
        states: of the positions that are not open.
        picked: positions with a second ring.
        controls: make each valve a check box that a keyboard reaches, its position
            in ``data-position``; else the figure is one image, and its description
            says in words what is marked.
        only: the tag of the one head to draw; empty: all.
        widest: CSS pixels, such as ``PHONE``; a longer head is cut into rows, and
            several heads stand side by side up to it. None: no head is cut.
        name: the beginning of every id in the figure; unique in its page.

    Raises:
        NotOnPlanError: a marked position or the head *only* does not exist.
        ValveOrderError: a layout's order for valves in line does not fit it.
    """
    _refuse_strangers(heads, {*states, *picked}, only)
    drawn = [head for head in heads if only in ("", head.tag)]
    plans = [draw(head.layout, widest=widest) for head in drawn]
    titles = [_title(head, heads) for head in drawn]
    above = TITLE if any(titles) else 0.0
    places, width, bottom = _arranged(plans, above, widest)
    body = []
    for head, plan, title, (x, y) in zip(drawn, plans, titles, places, strict=True):
        body += [
            f'<g transform="translate({n(x)} {n(y)})">',
            _headline(title, plan) if title else "",
            f'<g transform="translate(0 {n(above)})">',
            *_casting(plan),
        ]
        for valve in plan.valves:
            position = Position(head.tag, valve.cylinder, valve.side, valve.number)
            body.append(
                _valve(
                    valve,
                    position,
                    states.get(position, State.OPEN),
                    heads,
                    picked=position in picked,
                    controls=controls,
                )
            )
        body.append("</g></g>")
    used = {state for position, state in states.items() if only in ("", position.tag)}
    key, height = _key(
        _entries(plans, used, picking=bool(picked) or controls),
        left=min(row.left for plan in plans for row in plan.rows),
        top=bottom,
        width=width,
    )
    label = text(name)
    says = " ".join(_says(head, states, picked, heads) for head in drawn)
    return "".join(
        (
            '<svg xmlns="http://www.w3.org/2000/svg" class="head-plan" ',
            f'role="{"group" if controls else "img"}" ',
            f'aria-labelledby="{label}-title" aria-describedby="{label}-says" ',
            f'width="{n(width)}" height="{n(height)}" ',
            f'viewBox="0 0 {n(width)} {n(height)}" fill="none" ',
            'stroke-linecap="round" stroke-linejoin="round" ',
            f"{FONT}>",
            f'<title id="{label}-title">{text(_called(drawn))}</title>',
            f'<desc id="{label}-says">{text(says)}</desc>',
            *body,
            key,
            "</svg>",
        )
    )


def _refuse_strangers(
    heads: Sequence[Head], marked: Collection[Position], only: str
) -> None:
    known = {
        position
        for head in heads
        for side in SIDES
        for position in head.positions(side)
    }
    strangers = sorted(position.filed for position in marked if position not in known)
    if not any(only in ("", head.tag) for head in heads):
        strangers.append(f"head {only}" if only else "no head came")
    if strangers:
        raise NotOnPlanError(asked=", ".join(strangers))


TITLE = 20.0  # height of a head's title
APART = 14.0  # between two heads
LINE = 480.0  # of several heads, where the caller does not say


def _arranged(
    plans: Sequence[Plan], above: float, widest: float | None
) -> tuple[list[tuple[float, float]], float, float]:
    """Return each plan's place, and the width and height of all together."""
    line = max(widest or LINE, *(plan.width for plan in plans))
    places = []
    x = y = width = bottom = 0.0
    for plan in plans:
        if x and x + plan.width > line:
            x, y = 0.0, bottom + APART
        places.append((x, y))
        width = max(width, x + plan.width)
        bottom = max(bottom, y + above + plan.height)
        x += plan.width + APART
    return places, width, bottom


# What is said.


def _title(head: Head, heads: Sequence[Head]) -> str:
    if len(heads) == 1:
        return head.label
    return f"Head {head.tag}, {head.label}" if head.label else f"Head {head.tag}"


def _called(drawn: Sequence[Head]) -> str:
    return ("Plan of head " if len(drawn) == 1 else "Plan of heads ") + ", ".join(
        f"{head.tag} ({head.label})" if head.label else head.tag for head in drawn
    )


def _says(
    head: Head,
    states: Mapping[Position, State],
    picked: Collection[Position],
    heads: Sequence[Head],
) -> str:
    cylinders, valves = head.layout.cylinders, head.layout.valves
    marked: dict[str, Collection[Position]] = {
        state.value: {position for position, its in states.items() if its is state}
        for state in (State.OUTSIDE, State.TO_DO, State.DONE)
    }
    sentences = [
        f"Head {head.tag}: {cylinders} cylinder{'s' * (cylinders != 1)}, "
        f"{valves} valve{'s' * (valves != 1)}."
    ]
    for words, positions in (marked | {"picked": picked}).items():
        if which := _which(head, positions, heads):
            sentences.append(f"{words.capitalize()}: {which}.")
    return " ".join(sentences)


def _which(head: Head, marked: Collection[Position], heads: Sequence[Head]) -> str:
    """Name the *marked* valves of *head* as short as is clear; empty for none."""
    found = {
        side: [position for position in head.positions(side) if position in marked]
        for side in SIDES
    }
    total = sum(map(len, found.values()))
    if total == head.layout.valves and all(found.values()):
        return f"all {total} valves"
    words = []
    for side, positions in found.items():
        of_all = len(head.positions(side))
        if len(positions) == of_all > 1:
            words.append(f"all {of_all} {side.word} valves")
        elif len(positions) > 3:
            names = ", ".join(at_the_bench(position, heads) for position in positions)
            words.append(f"{len(positions)} of {of_all} {side.word} valves ({names})")
        else:
            words += map(in_words, positions)
    return "; ".join(words)


def _spoken(position: Position, state: State, heads: Sequence[Head]) -> str:
    head = f"head {position.tag}, " if len(heads) > 1 else ""
    marked = "" if state is State.OPEN else f", {state.value}"
    return head + in_words(position) + marked


def _control(spoken: str, picked: bool) -> str:
    checked = "true" if picked else "false"
    return (
        f'role="checkbox" tabindex="0" aria-checked="{checked}" '
        f'aria-label="{text(spoken)}" '
    )


# How words fit.

SMALL = 9.5  # size of words beside the drawing


def _words(
    words: str,
    x: float,
    y: float,
    size: float = SMALL,
    anchor: str = "middle",
    *,
    strong: bool = False,
) -> str:
    kind, fill, weight = ("strong", INK, 600) if strong else ("words", SOFT, 400)
    return (
        f'<text class="{kind}" x="{n(x)}" y="{n(y)}" font-size="{n(size)}" '
        f'font-weight="{weight}" text-anchor="{anchor}" fill="{fill}">'
        f"{text(words)}</text>"
    )


def _headline(title: str, plan: Plan) -> str:
    left, size = min(row.left for row in plan.rows), 12.0
    shown = cut(title, (plan.width - left) / size)
    return _words(shown, left, size, size, "start", strong=True)


# Valves.


class _Ink(NamedTuple):
    kind: str  # class
    fill: str
    stroke: str


_INKS = {
    State.OPEN: _Ink("valve", PAPER, INK),
    State.TO_DO: _Ink("valve to-do", BLUE, BLUE),
    State.OUTSIDE: _Ink("valve outside", PAPER, RED),
    State.DONE: _Ink("valve done", PAPER, INK),
}


def _look(state: State) -> str:
    ink = _INKS[state]
    return f'class="{ink.kind}" fill="{ink.fill}" stroke="{ink.stroke}"'


def _valve(
    valve: Valve,
    position: Position,
    state: State,
    heads: Sequence[Head],
    *,
    picked: bool,
    controls: bool,
) -> str:
    control = _control(_spoken(position, state, heads), picked) if controls else ""
    ring = _ring(valve.radius, picked) if picked or controls else ""
    return (
        f'<g {_look(state)} data-position="{text(position.filed)}" {control}'
        f'transform="translate({n(valve.x)} {n(valve.y)})">'
        f"{_face(valve.radius, at_the_bench(position, heads), state)}{ring}</g>"
    )


LABEL = 12.0  # the largest size of a valve's label
SEAT = 2.8  # from a valve's edge to the circle that stands for its seat
HEAVY = 3.0  # the ring of a valve outside its limit


@cache
def _face(radius: float, label: str, state: State) -> str:
    """Return a valve around (0, 0): its disc, what marks it, its label."""
    wide = ems(label)
    raised = 0.16 * radius if state is State.DONE else 0.0
    heavy = state is State.OUTSIDE
    size = _fitting(wide, radius - SEAT - 0.6, raised)
    seat = size >= 10 and state in (State.OPEN, State.TO_DO)
    if not (seat or heavy):
        size = _fitting(wide, radius - 1.6, raised)
    line = HEAVY if heavy else 1.3
    parts = [f'<circle r="{n(radius - line / 2)}" stroke-width="{line:g}"/>']
    if seat:
        parts.append(
            f'<circle class="seat" r="{n(radius - SEAT)}" fill="none" '
            f'stroke="{PAPER if state is State.TO_DO else SOFT}" stroke-width=".6"/>'
        )
    if heavy:
        clear = (wide * size / 2 + 1.2, CAP * size + 1.6)
        parts.append(_hatch(radius - HEAVY + 0.4, 4.2, *clear))
    if state is State.DONE:
        parts.append(_check([(-0.30, 0.46), (-0.08, 0.68), (0.34, 0.26)], radius, 2.2))
    return "".join(parts) + (
        f'<text y="{n(CAP * size - raised)}" font-size="{n(size)}" '
        f'font-weight="{400 if state is State.OPEN else 600}" text-anchor="middle" '
        f'fill="{PAPER if state is State.TO_DO else INK}" stroke="none">'
        f"{text(label)}</text>"
    )


def _fitting(wide: float, room: float, raised: float) -> float:
    """Return the size at which a label's corners stay within *room* of the centre."""
    size = LABEL
    while hypot(wide * size / 2, CAP * size + raised) > room:
        size -= 0.25
    return size


def _hatch(radius: float, step: float, half_width: float, half_height: float) -> str:
    """Return the hatching of a disc, broken around its label."""
    pieces = []
    lines = int(radius * sqrt(2) / step)
    for line in range(-lines, lines + 1):
        # From edge to edge on x + y = c, less what would run through the label.
        c = line * step
        half = sqrt(2 * radius * radius - c * c) / 2
        start, end = c / 2 - half, c / 2 + half
        left = max(-half_width, c - half_height)
        right = min(half_width, c + half_height)
        if left >= right:
            left = right = end
        pieces += [
            f"M{n(a)} {n(c - a)}L{n(b)} {n(c - b)}"
            for a, b in ((start, min(left, end)), (max(right, start), end))
            if b - a > 0.8
        ]
    return f'<path class="hatch" d="{"".join(pieces)}" stroke-width="1"/>'


def _check(points: Sequence[tuple[float, float]], scale: float, line: float) -> str:
    path = "L".join(f"{n(x * scale)} {n(y * scale)}" for x, y in points)
    return (
        f'<path class="check" d="M{path}" fill="none" stroke="{BLUE}" '
        f'stroke-width="{line:g}"/>'
    )


def _ring(radius: float, picked: bool) -> str:
    hidden = "" if picked else ' visibility="hidden"'
    return (
        f'<circle class="ring" r="{n(radius + 2)}" fill="none" stroke="{BLUE}" '
        f'stroke-width="1.7"{hidden}/>'
    )


# The casting.

CORNER = 10.0


def _casting(plan: Plan) -> Iterator[str]:
    yield '<g aria-hidden="true">'
    for row in plan.rows:
        yield _centre_lines(plan, row)
        yield f'<g class="edges" stroke="{INK}">{_outline(row)}'
        yield from map(_rim, row.chambers)
        yield "</g>"
        yield _bolts(row)
        for device in row.devices:
            yield (
                f'<g {_DEVICE} transform="translate({n(device.x)} {n(device.y)})">'
                f"{_sign(device.kind, device.hidden)}</g>"
            )
        for chamber in row.chambers:
            yield _balloon(chamber.cylinder, chamber.x, row.bottom)
        middle = (row.left + row.right) / 2
        lines = (row.top - 5, row.bottom + BALLOON + 10)
        for side, y in zip(plan.sides, lines, strict=False):
            yield _words(f"{side.word} side", middle, y)
    yield _timing_end(*plan.sprocket)
    yield "</g>"


def _narrow(path: str, more: str = "") -> str:
    return f'<path class="narrow" d="{path}" stroke="{SOFT}" stroke-width=".7"{more}/>'


def _centre_lines(plan: Plan, row: Row) -> str:
    left = row.left + (0 if row.cut_left else 3)
    right = row.right - (0 if row.cut_right else 3)
    if row is plan.rows[0]:
        x, clear = plan.sprocket[0], SPROCKET + 1
        left, right = (x + clear, right) if x < left else (left, x - clear)
    along = f"M{n(left)} {n(row.axis)}H{n(right)}"
    across = "".join(
        f"M{n(chamber.x)} {n(row.top + 5)}V{n(row.bottom - BALLOON)}"
        for chamber in row.chambers
    )
    return _narrow(along + across, ' stroke-dasharray="9 2.5 1 2.5"')


def _outline(row: Row) -> str:
    left, right, top, bottom, c = row.left, row.right, row.top, row.bottom, CORNER
    if row.cut_left:
        path = f"M{n(left)} {n(top)}"
    else:
        path = (
            f"M{n(left + c)} {n(bottom)}a{c:g} {c:g} 0 0 1 {-c:g} {-c:g}"
            f"V{n(top + c)}a{c:g} {c:g} 0 0 1 {c:g} {-c:g}"
        )
    if row.cut_right:
        path += f"H{n(right)}M{n(right)} {n(bottom)}"
    else:
        path += (
            f"H{n(right - c)}a{c:g} {c:g} 0 0 1 {c:g} {c:g}"
            f"V{n(bottom - c)}a{c:g} {c:g} 0 0 1 {-c:g} {c:g}"
        )
    path += f"H{n(left if row.cut_left else left + c)}"
    cuts = [x for x, cut in ((left, row.cut_left), (right, row.cut_right)) if cut]
    return f'<path class="outline" d="{path}" stroke-width="1.6"/>' + "".join(
        _narrow(_broken(x, row), ' fill="none"') for x in cuts
    )


def _broken(x: float, row: Row) -> str:
    zigzag, height, away = "l4 3l-8 5l4 3", 11, 44
    return (
        f"M{n(x)} {n(row.top - 5)}V{n(row.axis - away)}{zigzag}"
        f"V{n(row.axis + away - height)}{zigzag}V{n(row.bottom + 5)}"
    )


def _rim(chamber: Chamber) -> str:
    half = chamber.half_line + BORE
    return (
        f'<rect class="bore" x="{n(chamber.x - half)}" y="{n(chamber.y - BORE)}" '
        f'width="{n(2 * half)}" height="{2 * BORE:g}" rx="{BORE:g}" '
        f'stroke-width="1.2"/>'
    )


def _bolts(row: Row) -> str:
    r, cross = BOLT, BOLT + 1.8
    return _narrow(
        "".join(
            f"M{n(x - r)} {n(y)}a{r:g} {r:g} 0 1 1 {2 * r:g} 0"
            f"a{r:g} {r:g} 0 1 1 {-2 * r:g} 0"
            f"M{n(x - cross)} {n(y)}h{2 * cross:g}"
            f"M{n(x)} {n(y - cross)}v{2 * cross:g}"
            for x, y in row.bolts
        )
    )


_DEVICE = f'class="device" fill="{PAPER}" stroke="{INK}"'


@cache
def _sign(kind: str, hidden: bool) -> str:
    """Return the sign of a plug, injector or prechamber around (0, 0)."""
    dash = ' stroke-dasharray="1.8 1.2"' if hidden else ""
    dot = f'<circle class="solid" r="{{}}" fill="{INK}" stroke="none"/>'
    inside = {
        "spark_plug": dot.format("2") + '<path d="M0 -4.1V-1.6" stroke-width="1.2"/>',
        "injector": '<path d="M-3 0H-1.2M1.2 0H3M0 -3V-1.2M0 1.2V3" stroke-width="1"/>',
        "glow_plug": dot.format("1.3"),
        "prechamber": '<path d="M-3.4 3H3.4" stroke-width="2.6"/>',
    }
    return (
        f'<circle r="{n(DEVICES[kind] - 0.5)}" stroke-width="1"{dash}/>{inside[kind]}'
    )


def _balloon(cylinder: int, x: float, y: float) -> str:
    return (
        f'<circle {_DEVICE} cx="{n(x)}" cy="{n(y)}" r="{BALLOON - 0.5:g}" '
        'stroke-width="1"/>' + _words(str(cylinder), x, y + CAP * 11, 11, strong=True)
    )


def _timing_end(x: float, y: float) -> str:
    return (
        f'<g class="edges" transform="translate({n(x)} {n(y)})" stroke="{INK}">'
        f'<path d="{_SPROCKET}" stroke-width="1"/><circle r="3" stroke-width="1"/></g>'
        + _words("timing", x, y + SPROCKET + 11, 8, strong=True)
        + _words("end", x, y + SPROCKET + 20, 8, strong=True)
    )


def _toothed(teeth: int) -> str:
    root, tip = 0.78 * SPROCKET, SPROCKET
    tooth = ((0.0, root), (0.3, root), (0.42, tip), (0.78, tip), (0.9, root))
    turns = [((n + share) / teeth, r) for n in range(teeth) for share, r in tooth]
    points = [(r * cos(2 * pi * turn), r * sin(2 * pi * turn)) for turn, r in turns]
    return "M" + "L".join(f"{n(x)} {n(y)}" for x, y in points) + "Z"


# The key.


def _entries(
    plans: Sequence[Plan], used: Collection[State], *, picking: bool
) -> Iterator[tuple[str, str]]:
    """Yield sign and words of everything in the figure that needs a word."""
    yield "", "seen from the face"
    devices = {(one.kind, one.hidden) for plan in plans for one in plan.devices}
    for kind, radius in DEVICES.items():
        for hidden in (False, True):
            if (kind, hidden) in devices:
                scale = n(min(1.0, 6 / radius))
                sign = _sign(kind, hidden)
                yield (
                    f'<g {_DEVICE} transform="scale({scale})">{sign}</g>',
                    kind.replace("_", " ") + (", behind the face" if hidden else ""),
                )
    for state, mark in (
        (State.TO_DO, '<circle r="5.4" stroke-width="1"/>'),
        (State.OUTSIDE, '<circle r="5" stroke-width="1.8"/>' + _hatch(4.4, 2.8, 0, 0)),
        (
            State.DONE,
            '<circle r="5.4" stroke-width="1"/>'
            + _check([(-2.5, 0), (-0.6, 2), (2.8, -1.8)], 1, 1.6),
        ),
    ):
        if state in used:
            yield f"<g {_look(state)}>{mark}</g>", state.value
    if picking:
        mark = '<circle r="3.2" stroke-width="1"/>' + _ring(3.6, picked=True)
        yield f"<g {_look(State.OPEN)}>{mark}</g>", "picked"


def _key(
    entries: Iterator[tuple[str, str]], *, left: float, top: float, width: float
) -> tuple[str, float]:
    """Return the key under a drawing, and the height of the figure with it."""
    parts = ['<g aria-hidden="true">']
    x, y = left, top + 8
    for sign, words in entries:
        lead = 16.0 if sign else 0.0
        wide = lead + 0.84 * SMALL * ems(words)
        if x > left and x + wide > width:
            x, y = left, y + 15
        if sign:
            parts.append(f'<g transform="translate({n(x + 6)} {n(y)})">{sign}</g>')
        parts.append(_words(words, x + lead, y + CAP * SMALL, anchor="start"))
        x += wide + 8
    return "".join(parts) + "</g>", y + 8


_SPROCKET = _toothed(11)
