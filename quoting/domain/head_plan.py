"""The head plan: where everything on a head's face is drawn, from its layout alone.

Pure geometry, no markup. The head is *seen from the face*, its inlet side above; x runs
along it, y across it and downwards. One drawing unit is meant as one CSS pixel at
natural size: every bore is equally large whatever the layout, so that words and lines
keep their size too, and with up to five valves a cylinder every valve is at least 24
units across, the target size of WCAG 2.2, success criterion 2.5.8.

The plan is a scheme. It shows order, number and neighbourhood as they are, and the
larger valve larger; it is not to scale, and the bolts only say where bolts may stand.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import acos, ceil, cos, degrees, hypot, radians, sin

from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import SIDES, Layout, Side

BORE = 48.0  # radius
GAP = 5.5  # between two valves: room for the rings that pick both
RIM = 3.0  # between a valve and its chamber
CLEARANCE = 1.5  # between a plug and whatever is beside it
LAND = 8.0  # metal between two bores
END = 10.0  # metal beyond the last bore
HALF_WIDTH = 62.0  # from the centre line to the head's edge
BOLT = 3.6
BOLT_ROW = 46.0  # from the centre line
TIMING_COLUMN = 32.0  # the sign and its words, beside the head
SPROCKET = 9.5
BALLOON = 8.5  # the circle around a cylinder's number
MARGIN = 1.5
SIDE_WORDS = 15.0  # height of the line that names a side
ROWS_APART = 7.0

#: Radius of what stands beside the valves, in the order in which it finds its place.
DEVICES = {"prechamber": 8.5, "spark_plug": 4.6, "injector": 4.6, "glow_plug": 3.2}


class ValveOrderError(RuleError):
    """The order given for valves in line cannot be that of this layout."""

    message = translatable(
        "The valve order {order!r} does not give each of {cylinders} cylinders "
        "{inlet} times I and {exhaust} times E in turn."
    )


@dataclass(frozen=True, slots=True)
class Valve:
    """A valve's head: which one, its centre and its radius."""

    cylinder: int
    side: Side
    number: int
    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class Device:
    """A spark plug, injector, glow plug or prechamber: its centre and its radius.

    Attributes:
        kind: a name of ``DEVICES``.
        hidden: it lies behind the face and is drawn dashed.
    """

    kind: str
    cylinder: int
    x: float
    y: float
    radius: float
    hidden: bool


@dataclass(frozen=True, slots=True)
class Chamber:
    """The rim of a combustion chamber: all points ``BORE`` from a line along the head.

    Attributes:
        half_line: half the length of that line; 0 for a round chamber.
    """

    cylinder: int
    x: float
    y: float
    half_line: float


@dataclass(frozen=True, slots=True)
class Row:
    """A piece of the head: all of it, or what stands between two cuts."""

    left: float
    right: float
    axis: float  # y of the centre line along the head
    cut_left: bool
    cut_right: bool
    chambers: tuple[Chamber, ...]
    valves: tuple[Valve, ...]
    devices: tuple[Device, ...]
    bolts: tuple[tuple[float, float], ...]

    @property
    def top(self) -> float:
        """Return the y of the head's upper edge."""
        return self.axis - HALF_WIDTH

    @property
    def bottom(self) -> float:
        """Return the y of the head's lower edge."""
        return self.axis + HALF_WIDTH


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of one head; its upper left corner is the origin.

    Attributes:
        rows: one, or several where a long head is cut; the timing end's row is first.
        sprocket: where the sign of the timing end stands.
        sides: the sides that stand apart and can be named: above, then below.
    """

    width: float
    height: float
    rows: tuple[Row, ...]
    sprocket: tuple[float, float]
    sides: tuple[Side, ...]

    @property
    def valves(self) -> tuple[Valve, ...]:
        """Return every valve, from the timing end; inlets first in a cylinder."""
        return tuple(valve for row in self.rows for valve in row.valves)

    @property
    def devices(self) -> tuple[Device, ...]:
        """Return every plug, injector and prechamber, from the timing end."""
        return tuple(device for row in self.rows for device in row.devices)

    @property
    def chambers(self) -> tuple[Chamber, ...]:
        """Return every chamber, from the timing end."""
        return tuple(chamber for row in self.rows for chamber in row.chambers)


def draw(layout: Layout, *, widest: float | None = None) -> Plan:
    """Return the plan of a head of *layout*.

    Args:
        layout: of the head. Valves in line without an order: each two neighbours turn
            the same valves to each other and exhausts stand at the timing end. Valves
            are numbered from the timing end, in tandem from the upper edge.
        widest: drawing units; a head longer than that is cut into as few rows as
            possible, of one cylinder at least. None: never cut.

    Raises:
        ValveOrderError: the layout's order for valves in line does not fit it.

    >>> plan = draw(Layout("T", "Twin", 2, 1, 1, "car", "iron"))
    >>> [f"{valve.cylinder}{valve.side}" for valve in plan.valves]
    ['1I', '1E', '2I', '2E']
    """
    fittings = tuple((kind, getattr(layout, f"{kind}s")) for kind in DEVICES)
    cells = [
        _cell(layout.valve_order, letters, layout.inlet, layout.exhaust, fittings)
        for letters in _letters(layout)
    ]
    pitch = 2 * (BORE + cells[0].chamber.half_line) + LAND
    ends = 2 * (END - LAND / 2)
    across = layout.cylinders
    if widest is not None:
        room = widest - TIMING_COLUMN - ends - MARGIN
        across = min(max(int(room // pitch), 1), layout.cylinders)
    count = ceil(layout.cylinders / across)
    across = ceil(layout.cylinders / count)
    apart = layout.valve_order == "side" and layout.inlet and layout.exhaust
    words = SIDE_WORDS if apart else MARGIN
    height = words + 2 * HALF_WIDTH + BALLOON + words
    rows = tuple(
        _row(
            cells[first : first + across],
            first,
            layout.cylinders,
            pitch,
            words + HALF_WIDTH + index * (height + ROWS_APART),
        )
        for index, first in enumerate(range(0, layout.cylinders, across))
    )
    plan = Plan(
        width=_rounded(TIMING_COLUMN + across * pitch + ends + MARGIN),
        height=_rounded(len(rows) * (height + ROWS_APART) - ROWS_APART),
        rows=rows,
        sprocket=(TIMING_COLUMN / 2, rows[0].axis),
        sides=SIDES if apart else (),
    )
    return _mirrored(plan) if layout.timing_end == "right" else plan


@dataclass(frozen=True, slots=True)
class _Cell:
    """One cylinder drawn around (0, 0), the timing end to the left."""

    chamber: Chamber
    valves: tuple[Valve, ...]
    devices: tuple[Device, ...]


def _letters(layout: Layout) -> list[str]:
    """Return each cylinder's valves from the timing end; empty unless in line."""
    if layout.valve_order != "line":
        return [""] * layout.cylinders
    inlets, exhausts = "I" * layout.inlet, "E" * layout.exhaust
    if not layout.order:
        pair = (exhausts + inlets, inlets + exhausts)
        return [pair[cylinder % 2] for cylinder in range(layout.cylinders)]
    letters = "".join(layout.order.split())
    each = layout.inlet + layout.exhaust
    found = [letters[at : at + each] for at in range(0, len(letters), each or 1)]
    wanted = sorted(exhausts + inlets)
    if len(found) != layout.cylinders or any(sorted(one) != wanted for one in found):
        raise ValveOrderError(
            order=layout.order,
            cylinders=layout.cylinders,
            inlet=layout.inlet,
            exhaust=layout.exhaust,
        )
    return found


@cache
def _cell(
    valve_order: str,
    letters: str,
    inlet: int,
    exhaust: int,
    fittings: tuple[tuple[str, int], ...],
) -> _Cell:
    half_line = 0.0
    if valve_order == "line":
        placed, half_line = _in_line(letters, inlet, exhaust)
    else:
        placed = _around(inlet, exhaust)
    if valve_order == "tandem":
        placed = [(side, y, x, radius) for side, x, y, radius in placed]
        placed.sort(key=lambda valve: (valve[2], valve[1]))
    else:
        placed.sort(key=lambda valve: (valve[1], valve[2]))
    valves = tuple(
        Valve(0, side, number, x, y, radius)
        for wanted in SIDES
        for number, (side, x, y, radius) in enumerate(
            (valve for valve in placed if valve[0] is wanted), start=1
        )
    )
    return _Cell(
        Chamber(0, 0.0, 0.0, half_line), valves, _beside(valves, half_line, fittings)
    )


_Placed = tuple[Side, float, float, float]


def _in_line(letters: str, inlet: int, exhaust: int) -> tuple[list[_Placed], float]:
    """Return the valves of one cylinder in one row, and the chamber's half line."""
    scale = 0.45 if len(letters) <= 2 else 0.36
    radius = _radii(inlet, exhaust, scale * BORE)
    row = [Side(letter) for letter in letters]
    length = sum(2 * radius[side] for side in row) + GAP * max(len(row) - 1, 0)
    x = -length / 2
    placed = []
    for side in row:
        placed.append((side, _rounded(x + radius[side]), 0.0, radius[side]))
        x += 2 * radius[side] + GAP
    return placed, _rounded(max(length / 2 + RIM - BORE, 0.0))


def _radii(inlet: int, exhaust: int, larger: float) -> dict[Side, float]:
    """Return the radius of each side's valves, the larger ones' given.

    As many inlets as exhausts or fewer: an inlet is the larger valve. More inlets, as
    with three or five valves a cylinder: an exhaust is a little larger than each of
    them, the inlets have the larger area together (common practice, no source).
    """
    if not (inlet and exhaust):
        inlet_share, exhaust_share = 0.94, 0.94
    elif inlet > exhaust:
        inlet_share, exhaust_share = 0.94, 1.0
    else:
        inlet_share, exhaust_share = 1.0, 0.88
    return {
        Side.INLET: _rounded(larger * inlet_share),
        Side.EXHAUST: _rounded(larger * exhaust_share),
    }


def _around(inlet: int, exhaust: int) -> list[_Placed]:
    """Return the valves of one cylinder around its centre, inlets above.

    They are as large as the bore allows; what room is left goes evenly between them.
    """
    larger = (0.45 if inlet <= 1 and exhaust <= 1 else 0.40) * BORE
    while (placed := _ring(inlet, exhaust, _radii(inlet, exhaust, larger))) is None:
        larger -= 0.1
    return placed


#: The most degrees that the valves of one side may spread where both sides have some.
_SPREAD = 170.0


def _ring(inlet: int, exhaust: int, radius: dict[Side, float]) -> list[_Placed] | None:
    """Return the ring of valves, or None where they are too large for it."""
    row = [Side.INLET] * inlet + [Side.EXHAUST] * exhaust
    if not row:
        return []
    if len(row) == 1:
        steps = [360.0]
    else:
        steps = [_apart(radius[a], radius[b]) for a, b in pairwise([*row, row[0]])]
    spare = (360.0 - sum(steps)) / len(row)
    if spare < 0:
        return None
    step = {}
    for side, count, at in ((Side.INLET, inlet, 0), (Side.EXHAUST, exhaust, inlet)):
        if count > 1:
            most = _SPREAD / (count - 1) if inlet and exhaust else 360.0
            step[side] = min(steps[at] + spare, most)
            if step[side] < steps[at]:
                return None
    placed = []
    for side, count, middle in (
        (Side.INLET, inlet, -90.0),
        (Side.EXHAUST, exhaust, 90.0 if inlet else -90.0),
    ):
        reach = BORE - RIM - radius[side]
        for index in range(count):
            angle = middle + (index - (count - 1) / 2) * step.get(side, 0.0)
            x, y = reach * cos(radians(angle)), reach * sin(radians(angle))
            placed.append((side, _rounded(x), _rounded(y), radius[side]))
    return placed


def _apart(one: float, other: float) -> float:
    """Return the degrees between neighbours in the ring that leave ``GAP`` between."""
    a, b = BORE - RIM - one, BORE - RIM - other
    cosine = (a * a + b * b - (one + other + GAP) ** 2) / (2 * a * b)
    return degrees(acos(max(cosine, -1.0)))


def _beside(
    valves: Sequence[Valve], half_line: float, fittings: Iterable[tuple[str, int]]
) -> tuple[Device, ...]:
    """Find each device the free place nearest to the chamber's centre.

    What works through a prechamber lies behind the face and is drawn at its side of
    the head, outside the chamber; so is whatever finds no place inside. A count beyond
    all reason is not drawn to the end.
    """
    taken = [(valve.x, valve.y, valve.radius) for valve in valves]
    devices: list[Device] = []
    home: tuple[float, float] | None = None
    for kind, count in fittings:
        radius = DEVICES[kind]
        behind = home is not None and kind in ("injector", "glow_plug")
        for _ in range(count):
            inside = () if behind else _inside(half_line, radius)
            places = (*inside, *_corners(half_line, home or (0.0, 0.0)))
            place = next((at for at in places if _is_free(at, radius, taken)), None)
            if place is None:
                break
            devices.append(Device(kind, 0, *place, radius, behind))
            taken.append((*place, radius))
            if kind == "prechamber":
                home = place
    return tuple(devices)


def _is_free(
    place: tuple[float, float],
    radius: float,
    taken: Iterable[tuple[float, float, float]],
) -> bool:
    x, y = place
    return all(hypot(x - a, y - b) >= radius + r + CLEARANCE for a, b, r in taken)


@cache
def _inside(half_line: float, radius: float) -> tuple[tuple[float, float], ...]:
    reach = BORE - radius - CLEARANCE
    found = [(0.0, 0.0)]
    for distance in range(1, int(half_line + reach) + 1):
        for angle in (90, 270, 0, 180, 45, 135, 225, 315, 70, 110, 250, 290):
            x = _rounded(distance * cos(radians(angle)))
            y = _rounded(distance * sin(radians(angle)))
            if hypot(max(abs(x) - half_line, 0.0), y) <= reach:
                found.append((x, y))
    return tuple(found)


def _corners(half_line: float, home: tuple[float, float]) -> list[tuple[float, float]]:
    x, y = half_line + 37.0, 50.0
    places = [(x, y), (-x, y), (x, -y), (-x, -y)]
    return sorted(
        places, key=lambda place: hypot(place[0] - home[0], place[1] - home[1])
    )


def _row(
    cells: Sequence[_Cell], first: int, cylinders: int, pitch: float, axis: float
) -> Row:
    left = TIMING_COLUMN
    start = left + END - LAND / 2
    cut_left, cut_right = first > 0, first + len(cells) < cylinders
    centres = [start + (index + 0.5) * pitch for index in range(len(cells))]
    moved = [
        _moved(cell, first + index, _rounded(x), axis)
        for index, (cell, x) in enumerate(zip(cells, centres, strict=True), start=1)
    ]
    between = [
        start + index * pitch
        for index in range(len(cells) + 1)
        if not ((index == 0 and cut_left) or (index == len(cells) and cut_right))
    ]
    end = start + len(cells) * pitch
    return Row(
        left=_rounded(start if cut_left else left),
        right=_rounded(end if cut_right else end + END - LAND / 2),
        axis=axis,
        cut_left=cut_left,
        cut_right=cut_right,
        chambers=tuple(cell.chamber for cell in moved),
        valves=tuple(valve for cell in moved for valve in cell.valves),
        devices=tuple(device for cell in moved for device in cell.devices),
        bolts=tuple(
            (_rounded(x), axis + y) for x in between for y in (-BOLT_ROW, BOLT_ROW)
        ),
    )


def _moved(cell: _Cell, cylinder: int, x: float, y: float) -> _Cell:
    rim = cell.chamber
    return _Cell(
        replace(rim, cylinder=cylinder, x=_rounded(x + rim.x), y=_rounded(y + rim.y)),
        tuple(
            replace(
                one, cylinder=cylinder, x=_rounded(x + one.x), y=_rounded(y + one.y)
            )
            for one in cell.valves
        ),
        tuple(
            replace(
                one, cylinder=cylinder, x=_rounded(x + one.x), y=_rounded(y + one.y)
            )
            for one in cell.devices
        ),
    )


def _mirrored(plan: Plan) -> Plan:
    def across(x: float) -> float:
        return _rounded(plan.width - x)

    def row(of: Row) -> Row:
        return Row(
            left=across(of.right),
            right=across(of.left),
            axis=of.axis,
            cut_left=of.cut_right,
            cut_right=of.cut_left,
            chambers=tuple(replace(c, x=across(c.x)) for c in of.chambers),
            valves=tuple(replace(v, x=across(v.x)) for v in of.valves),
            devices=tuple(replace(d, x=across(d.x)) for d in of.devices),
            bolts=tuple((across(x), y) for x, y in of.bolts),
        )

    x, y = plan.sprocket
    return replace(
        plan, rows=tuple(row(one) for one in plan.rows), sprocket=(across(x), y)
    )


def _rounded(value: float) -> float:
    return round(value, 2)
