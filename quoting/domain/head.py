"""Cylinder heads: what a layout has, where its valves are, what is known of a head.

Pure. Cylinders count from 1 within a head. Lengths are in millimetres, weights in
kilograms. A *fact* is a word, a number or a set of words that prices, refusals and
cautions may look at; it is known for a whole head, for one side of it, or for one
valve position, and the narrower word wins.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from functools import cache, cached_property
from typing import NamedTuple

from quoting.domain.errors import RuleError, translatable
from quoting.domain.tables import (
    CODE,
    NOT_NEGATIVE,
    POSITIVE,
    TEXT,
    TEXTS,
    WHOLE,
    YES_NO,
    choice,
    choices,
    column,
)

MOST_CYLINDERS = 8
MOST_VALVES = 5


class Side(StrEnum):
    """Which side of the engine a valve serves."""

    INLET = "I"
    EXHAUST = "E"

    @property
    def word(self) -> str:
        """Return ``inlet`` or ``exhaust``."""
        return "inlet" if self is Side.INLET else "exhaust"


SIDES = (Side.INLET, Side.EXHAUST)


class Position(NamedTuple):
    """One valve: the tag of its head, its cylinder, its side, its number there."""

    tag: str
    cylinder: int
    side: Side
    number: int

    @property
    def filed(self) -> str:
        """Return the form for files, which no spreadsheet takes for a number.

        >>> Position("A", 3, Side.EXHAUST, 1).filed
        'A3E1'
        """
        return f"{self.tag}{self.cylinder}{self.side}{self.number}"


class PositionError(RuleError):
    """A text names no valve position."""

    message = translatable("{text!r} is no position: {allowed}.")


_POSITION = re.compile(r"([A-Z]{1,2})([1-9][0-9]?)([IE])([1-9])?", re.IGNORECASE)
_BARE = re.compile(r"[1-9][0-9]?[IE][1-9]?", re.IGNORECASE)


def parse_position(text: str) -> Position:
    """Read a position in the form for files: tag, cylinder, side, number.

    The number may be left out where the side has one valve a cylinder.

    Raises:
        PositionError: *text* is no position, or lacks its tag.

    >>> parse_position("B3E1")
    Position(tag='B', cylinder=3, side=<Side.EXHAUST: 'E'>, number=1)
    """
    if _BARE.fullmatch(text):
        raise PositionError(
            text=text,
            allowed=f"write A{text.upper()} with the head's tag, for a spreadsheet "
            f"reads {text} as a number",
        )
    if not (match := _POSITION.fullmatch(text)):
        raise PositionError(text=text, allowed="tag, cylinder, I or E, number: A3E1")
    tag, cylinder, side, number = match.groups()
    return Position(tag.upper(), int(cylinder), Side(side.upper()), int(number or 1))


class Count(NamedTuple):
    """What an operation may be counted by.

    Attributes:
        singular, plural: the noun in a line's arithmetic.
        by: ``position`` (each valve place), ``cylinder`` (a layout figure for each
            cylinder), ``head`` (a layout figure for the head), ``job``, ``chosen``
            (a whole number that someone gives) or ``measured`` (any quantity).
    """

    singular: str
    plural: str
    by: str

    @property
    def by_people(self) -> bool:
        """Tell whether only a person knows how many there are."""
        return self.by in ("chosen", "measured")


COUNTS: Mapping[str, Count] = {
    "job": Count("job", "jobs", "job"),
    "head": Count("head", "heads", "head"),
    "valve": Count("valve", "valves", "position"),
    "guide": Count("guide", "guides", "position"),
    "seat": Count("seat", "seats", "position"),
    "spring": Count("spring", "springs", "position"),
    "cylinder": Count("cylinder", "cylinders", "cylinder"),
    "spark_plug": Count("plug hole", "plug holes", "cylinder"),
    "injector": Count("injector", "injectors", "cylinder"),
    "glow_plug": Count("glow plug", "glow plugs", "cylinder"),
    "prechamber": Count("prechamber", "prechambers", "cylinder"),
    "cam": Count("cam", "cams", "head"),
    "journal": Count("cam journal", "cam journals", "head"),
    "follower": Count("follower bore", "follower bores", "head"),
    "port_group": Count("port", "ports", "head"),
    "core_plug": Count("core plug", "core plugs", "head"),
    "manifold_face": Count("manifold face", "manifold faces", "head"),
    "face_cm2": Count("cm² of face", "cm² of face", "head"),
    "hole": Count("hole", "holes", "chosen"),
    "piece": Count("piece", "pieces", "chosen"),
    "cm": Count("cm", "cm", "measured"),
    "hour": Count("hour", "hours", "measured"),
    "week": Count("week", "weeks", "measured"),
    "kg": Count("kg", "kg", "measured"),
}

#: What an inspection may find some of affected.
AT_RISK = tuple(
    name
    for name, count in COUNTS.items()
    if count.by not in ("job", "measured") and name not in ("spring", "face_cm2")
)


def done_to_each(counted_by: str, at_risk: str) -> bool:
    """Tell whether how much work there is follows from how many are affected.

    Args:
        counted_by: what the work is counted by.
        at_risk: what the affected are; one of ``AT_RISK``.

    >>> done_to_each("seat", "guide"), done_to_each("hour", "head")
    (True, False)
    """
    by = COUNTS[counted_by].by
    if at_risk == "head":
        return by in ("head", "cylinder", "position")
    return counted_by == at_risk or by == COUNTS[at_risk].by == "position"


Fact = Decimal | str | frozenset[str]


class FactKind(NamedTuple):
    """Where a fact is known and what it may be; no words means a number."""

    scope: str  # head | side
    words: tuple[str, ...] = ()
    several: bool = False


FACTS: Mapping[str, FactKind] = {
    "material": FactKind(
        "head", ("aluminium", "iron", "bronze", "aluminium_iron_barrel")
    ),
    "in_head": FactKind(
        "head",
        (
            "bronze_guides",
            "copper_tubes",
            "brass_plugs",
            "alloy_parts",
            "sealed_cavity",
        ),
        several=True,
    ),
    "train": FactKind("head", ("side_valve", "ohv", "sohc", "dohc", "desmo")),
    "chamber": FactKind("head", ("open", "flat", "prechamber")),
    "datum": FactKind("head", ("yes", "no")),
    "cooling": FactKind("head", ("water", "air")),
    "use": FactKind("head", ("road", "cycle", "plant", "marine", "aircraft")),
    "deposits": FactKind("head", ("ordinary", "lead")),
    "gasket": FactKind("head", ("known", "old")),
    "face": FactKind("head", ("straight", "bowed")),
    "weight_kg": FactKind("head"),
    "seats": FactKind(
        "side", ("insert", "hard", "integral", "integral_hardened", "copper_alloy")
    ),
    "guides": FactKind("side", ("removable", "integral", "bronze")),
    "valves": FactKind("side", ("steel", "sodium", "titanium", "plated")),
    "stem_mm": FactKind("side"),
}

#: How a head may arrive; one word of each pair.
CONDITIONS = ("complete", "stripped", "bare", "dirty", "clean")

_SEATS = FACTS["seats"].words
_GUIDES = FACTS["guides"].words
_VALVES = FACTS["valves"].words


@dataclass(frozen=True, eq=False)
class Layout:
    """The layout of one head: a row of layouts.csv, or given in a job.

    Every figure is for one head; ``heads`` says how many an engine has. Two rows are
    two layouts, even if they say the same.
    """

    code: str = column(CODE, "Short code of the layout", key=True)
    name: str = column(TEXT, "Name as people say it")
    cylinders: int = column(WHOLE, "Cylinders a head, 1 to 8")
    inlet: int = column(WHOLE, "Inlet valves a cylinder")
    exhaust: int = column(WHOLE, "Exhaust valves a cylinder")
    size_class: str = column(CODE, "Size class that prices go by")
    material: str = column(
        choice(*FACTS["material"].words), "What the casting is made of"
    )
    aliases: tuple[str, ...] = column(
        TEXTS, "Other words for it, for search and the say-it line", default=()
    )
    heads: int = column(WHOLE, "Heads an engine has", default=1)
    arrangement: str = column(
        choice("inline", "vee", "flat", "single", "separate"),
        "How the engine's cylinders stand",
        default="inline",
    )
    train: str = column(
        choice(*FACTS["train"].words), "What works the valves", default="ohv"
    )
    valve_order: str = column(
        choice("side", "line", "tandem"),
        "side: inlets on one side, exhausts on the other; line: one row along the "
        "head; tandem: each cylinder's inlets beside its exhausts",
        default="side",
    )
    order: str = column(
        TEXT,
        "For valves in line: their order from the timing end, such as E I I E",
        default="",
    )
    timing_end: str = column(
        choice("left", "right"),
        "Where the timing end lies, seen from the face",
        default="left",
    )
    cams: int = column(WHOLE, "Camshafts in the head", default=0)
    journals_per_cam: int = column(WHOLE, "Bearings of each camshaft", default=0)
    followers: int = column(WHOLE, "Follower bores in the head", default=0)
    springs_per_valve: int = column(WHOLE, "Springs on each valve", default=1)
    port_groups: int = column(
        WHOLE, "Ports as a vacuum cup takes them; joined ports are one", default=0
    )
    core_plugs: int = column(WHOLE, "Core plugs in the head", default=0)
    manifold_faces: int = column(WHOLE, "Manifold faces", default=2)
    spark_plugs: int = column(WHOLE, "Spark plugs a cylinder", default=0)
    injectors: int = column(WHOLE, "Injectors a cylinder, in the head", default=0)
    glow_plugs: int = column(WHOLE, "Glow plugs a cylinder", default=0)
    prechambers: int = column(WHOLE, "Prechambers a cylinder", default=0)
    chamber: str = column(
        choice(*FACTS["chamber"].words),
        "open: chamber in the head; flat: bowl in the piston; prechamber",
        default="open",
    )
    datum: bool = column(
        YES_NO,
        "yes where valve depth is measured from the face: skim before the seats",
        default=False,
    )
    cooling: str = column(
        choice(*FACTS["cooling"].words), "water or air", default="water"
    )
    use: str = column(choice(*FACTS["use"].words), "What it works in", default="road")
    seats_inlet: str = column(choice(*_SEATS), "Inlet seats", default="insert")
    seats_exhaust: str = column(choice(*_SEATS), "Exhaust seats", default="insert")
    guides: str = column(choice(*_GUIDES), "Valve guides", default="removable")
    valves_inlet: str = column(choice(*_VALVES), "Inlet valves", default="steel")
    valves_exhaust: str = column(choice(*_VALVES), "Exhaust valves", default="steel")
    stem_inlet_mm: Decimal | None = column(
        POSITIVE, "Inlet stem diameter, mm", default=None
    )
    stem_exhaust_mm: Decimal | None = column(
        POSITIVE, "Exhaust stem diameter, mm", default=None
    )
    in_head: tuple[str, ...] = column(
        choices(*FACTS["in_head"].words),
        "What else is in the head, which decides tank and oven",
        default=(),
    )
    face_length_mm: Decimal | None = column(POSITIVE, "Face length, mm", default=None)
    face_width_mm: Decimal | None = column(POSITIVE, "Face width, mm", default=None)
    weight_kg: Decimal | None = column(NOT_NEGATIVE, "Weight, kg", default=None)
    note: str = column(TEXT, "Anything else worth knowing", default="")

    @property
    def valves(self) -> int:
        """Return the valves of one head."""
        return self.cylinders * (self.inlet + self.exhaust)

    def a_cylinder(self, side: Side) -> int:
        """Return the valves that one cylinder has on *side*."""
        return self.inlet if side is Side.INLET else self.exhaust

    def a_valve(self, counted_by: str) -> int:
        """Return how many of what is counted by position stand at one valve."""
        return self.springs_per_valve if counted_by == "spring" else 1

    @property
    def face_cm2(self) -> int:
        """Return the area of the face in whole cm², 0 where its size is not known."""
        length, width = self.face_length_mm, self.face_width_mm
        return int(length * width / 100) if length and width else 0

    @cached_property
    def counts(self) -> Mapping[str, int]:
        """Return what one head has of everything that work is counted by.

        Chosen and measured counts are missing: nobody but a person knows them.
        """
        cylinders = self.cylinders
        return {
            "job": 1,
            "head": 1,
            "valve": self.valves,
            "guide": self.valves,
            "seat": self.valves,
            "spring": self.valves * self.a_valve("spring"),
            "cylinder": cylinders,
            "spark_plug": cylinders * self.spark_plugs,
            "injector": cylinders * self.injectors,
            "glow_plug": cylinders * self.glow_plugs,
            "prechamber": cylinders * self.prechambers,
            "cam": self.cams,
            "journal": self.cams * self.journals_per_cam,
            "follower": self.followers,
            "port_group": self.port_groups,
            "core_plug": self.core_plugs,
            "manifold_face": self.manifold_faces,
            "face_cm2": self.face_cm2,
        }

    @cached_property
    def facts(self) -> Mapping[str, Fact]:
        """Return what the layout says of the whole head."""
        known: dict[str, Fact] = {
            "material": self.material,
            "train": self.train,
            "chamber": self.chamber,
            "datum": "yes" if self.datum else "no",
            "cooling": self.cooling,
            "use": self.use,
            "in_head": frozenset(self.in_head),
            "guides": self.guides,
        }
        if self.weight_kg is not None:
            known["weight_kg"] = self.weight_kg
        return known

    @cached_property
    def side_facts(self) -> Mapping[Side, Mapping[str, Fact]]:
        """Return what the layout says of each side."""
        inlet: dict[str, Fact] = {
            "seats": self.seats_inlet,
            "valves": self.valves_inlet,
        }
        exhaust: dict[str, Fact] = {
            "seats": self.seats_exhaust,
            "valves": self.valves_exhaust,
        }
        if self.stem_inlet_mm is not None:
            inlet["stem_mm"] = self.stem_inlet_mm
        if self.stem_exhaust_mm is not None:
            exhaust["stem_mm"] = self.stem_exhaust_mm
        return {Side.INLET: inlet, Side.EXHAUST: exhaust}


@cache
def _positions(
    tag: str, cylinders: int, valves: int, side: Side
) -> tuple[Position, ...]:
    return tuple(
        Position(tag, cylinder, side, number)
        for cylinder in range(1, cylinders + 1)
        for number in range(1, valves + 1)
    )


NO_FACTS: Mapping[str, Fact] = {}


@dataclass(frozen=True)
class Head:
    """A head that came: its layout, and what is known of this very one.

    Attributes:
        tag: A, B, C ... in the order they were taken in.
        label: left, right, or any text.
        facts: of the head, or of both its sides.
        side_facts: of one side.
        position_facts: of one valve.
        condition: words of ``CONDITIONS``.
        condemned_at: code of the test that condemned it, else empty.
    """

    tag: str
    layout: Layout
    label: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)
    side_facts: Mapping[Side, Mapping[str, Fact]] = field(default_factory=dict)
    position_facts: Mapping[Position, Mapping[str, Fact]] = field(default_factory=dict)
    condition: frozenset[str] = frozenset()
    condemned_at: str = ""

    def __hash__(self) -> int:
        return hash((self.tag, self.layout, self.condition, self.condemned_at))

    def positions(self, side: Side) -> tuple[Position, ...]:
        """Return the head's valves on *side*, by cylinder and number."""
        layout = self.layout
        return _positions(self.tag, layout.cylinders, layout.a_cylinder(side), side)

    def fact(self, name: str, place: Side | Position | None = None) -> Fact | None:
        """Return what is known of the head, one of its sides or one of its valves."""
        return self.known(place).get(name)

    def known(self, place: Side | Position | None = None) -> Mapping[str, Fact]:
        """Return every fact that holds at *place*; the narrower word wins."""
        facts = {**self.layout.facts, **self.facts}
        if place is None:
            return facts
        side = place if isinstance(place, Side) else place.side
        facts = {**self.layout.facts, **self.layout.side_facts[side], **self.facts}
        facts |= self.side_facts.get(side, NO_FACTS)
        if isinstance(place, Position):
            facts |= self.position_facts.get(place, NO_FACTS)
        return facts


def in_words(position: Position) -> str:
    """Return the valve's name for customers.

    >>> in_words(Position("A", 3, Side.EXHAUST, 1))
    'cylinder 3, exhaust 1'
    """
    return f"cylinder {position.cylinder}, {position.side.word} {position.number}"


def at_the_bench(position: Position, heads: Sequence[Head]) -> str:
    """Return the shortest clear form: ``3E1``, with several heads ``B3E1``.

    The number is left out where that side has one valve a cylinder.

    Args:
        position: on one of *heads*.
        heads: every head that came.

    >>> head = Head("A", Layout("T", "Twin", 2, 2, 1, "car", "iron"))
    >>> [at_the_bench(head.positions(side)[0], [head]) for side in SIDES]
    ['1I1', '1E']
    """
    layout = next(head.layout for head in heads if head.tag == position.tag)
    tag = position.tag if len(heads) > 1 else ""
    number = position.number if layout.a_cylinder(position.side) > 1 else ""
    return f"{tag}{position.cylinder}{position.side}{number}"


def tags() -> Iterable[str]:
    """Yield A to Z, then AA to ZZ.

    >>> [tag for tag, _ in zip(tags(), range(28), strict=False)][25:]
    ['Z', 'AA', 'AB']
    """
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    yield from letters
    for first in letters:
        for second in letters:
            yield first + second
