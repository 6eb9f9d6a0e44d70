"""Where work is done on the heads that came: alike heads, their zones, portions.

Pure. Heads of one layout of which the same is known are priced alike, so they are
looked at once; within them a *zone* is what is known alike of valves on one side.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import NamedTuple

from quoting.domain.head import COUNTS, SIDES, Fact, Head, Position, Side


@dataclass(frozen=True, eq=False)
class Zone:
    """Valves of one side of alike heads of which the same is known; or the heads.

    Attributes:
        alike: the heads; None where loose parts came.
        side: of the valves; None for heads as such.
        positions: the valves; none for heads as such.
        facts: what is known here.
    """

    alike: "Alike | None"
    side: Side | None
    positions: tuple[Position, ...]
    facts: Mapping[str, Fact]

    @property
    def heads(self) -> Sequence[Head]:
        """Return the heads that the zone is on, by tag; none for loose parts."""
        return self.alike.heads if self.alike else ()

    @property
    def tags(self) -> tuple[str, ...]:
        """Return the tags of its heads."""
        return self.alike.tags if self.alike else ()


LOOSE = Zone(None, None, (), {})


class Portion(NamedTuple):
    """What an operation is done to within one zone.

    Attributes:
        zone: where; for a number of valves not yet known which, the head as such.
        positions: the valves, where they are known.
        quantity: how many of what the operation is counted by.
        side: of a number of valves not yet known which, if it is known.
    """

    zone: Zone
    positions: tuple[Position, ...]
    quantity: Decimal
    side: Side | None = None


class Alike:
    """Heads of one layout of which the same is known."""

    def __init__(self, heads: Sequence[Head]) -> None:
        self.heads = heads
        self.tags = tuple(head.tag for head in heads)
        self.layout = heads[0].layout
        self.size_class = self.layout.size_class
        self.condition = heads[0].condition
        self.whole = Zone(self, None, (), heads[0].known())
        self._all: dict[str, tuple[Portion, ...]] = {}

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """Return the zones of their valves, inlet first."""
        return tuple(self._zones())

    def _zones(self) -> Iterator[Zone]:
        first = self.heads[0]
        for side in SIDES:
            positions = [p for head in self.heads for p in head.positions(side)]
            known = first.position_facts
            plain = tuple(p for p in positions if p not in known)
            if plain:
                yield Zone(self, side, plain, first.known(side))
            same: dict[tuple[tuple[str, object], ...], list[Position]] = {}
            for position in positions if known else ():
                if position in known:
                    facts = tuple(sorted(known[position].items(), key=str))
                    same.setdefault(facts, []).append(position)
            for group in same.values():
                yield Zone(self, side, tuple(group), first.known(group[0]))

    def all_of(self, counted_by: str) -> tuple[Portion, ...]:
        """Return the portions of everything that *counted_by* counts on these heads."""
        if (found := self._all.get(counted_by)) is None:
            found = self._all[counted_by] = self._everything(counted_by)
        return found

    def _everything(self, counted_by: str) -> tuple[Portion, ...]:
        if COUNTS[counted_by].by == "position":
            return self.some_of(counted_by, None)
        count = self.layout.counts.get(counted_by, 0)
        if counted_by != "job":
            count *= len(self.heads)
        return (Portion(self.whole, (), Decimal(count)),) if count else ()

    def some_of(
        self, counted_by: str, wanted: Callable[[Position], bool] | None
    ) -> tuple[Portion, ...]:
        """Return the portions of the valves that are *wanted*; of all where None."""
        each = self.layout.a_valve(counted_by)
        portions = []
        for zone in self.zones:
            positions = zone.positions
            if wanted is not None:
                positions = tuple(filter(wanted, positions))
            if quantity := len(positions) * each:
                portions.append(Portion(zone, positions, Decimal(quantity)))
        return tuple(portions)


@lru_cache(maxsize=512)
def alike(heads: tuple[Head, ...]) -> tuple[Alike, ...]:
    """Gather heads that are priced alike, in the order of their first.

    A condemned head, and one of whose single valves something is known, stands alone.
    The heads of a job come by here at every keystroke, so the last ones are kept.
    """
    groups: list[list[Head]] = []
    for head in heads:
        for group in groups:
            if _alike(group[0], head):
                group.append(head)
                break
        else:
            groups.append([head])
    return tuple(Alike(group) for group in groups)


def _alike(one: Head, other: Head) -> bool:
    return (
        one.layout is other.layout
        and not (one.position_facts or other.position_facts)
        and not (one.condemned_at or other.condemned_at)
        and one.condition == other.condition
        and one.facts == other.facts
        and one.side_facts == other.side_facts
    )
