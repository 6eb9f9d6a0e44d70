"""What a job may come to in money, if an inspection finds more than was asked for.

Pure. Each finding that enough past jobs were inspected for is worked out as work on
top of the job: through the whole calculation, with what it brings along, its parts,
sundries, discount, minimum and tax. Single additions choose which draws are looked at;
those are priced exactly, so that what two findings share is charged once, and the
figures shown are among them. Amounts are Decimal in the edition's currency.
Needs numpy, as ``extras`` does: import this module where it is used, not at the top.

Source:
    Percentiles of drawn combinations: a Monte Carlo calculation as in JCGM 101:2008
    (from memory). Which of several is affected first is not known: exhaust before
    inlet, for they run hotter (common practice, no source).
"""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import NamedTuple

import numpy as np

from quoting.domain.edition import Edition
from quoting.domain.extras import (
    Circumstances,
    Counts,
    Draws,
    Expected,
    Extra,
    all_if_most,
    weightiest,
)
from quoting.domain.head import COUNTS, SIDES, Head, Position, Side
from quoting.domain.job import Asked, Job, Selection
from quoting.domain.pricing import Priced, no_fix, price
from quoting.domain.quote import last_gate
from quoting.domain.rates import Finding, Operation
from quoting.domain.work import Plan, RefusedError

#: Draws are priced at every twentieth, 5 to 95 of 100; shown are 10, 50, 80 and 90.
_TWENTIETHS = range(1, 20)
_SHOWN = (2, 10, 16, 18)


class Possible(NamedTuple):
    """A finding, and what is expected of it in this job."""

    finding: Finding
    expected: Expected


class Sums(NamedTuple):
    """An amount before tax, and with it."""

    net: Decimal
    total: Decimal

    @classmethod
    def of(cls, priced: Priced) -> "Sums":
        """Return the sums of a priced job."""
        return cls(priced.totals.net, priced.totals.total)

    def plus(self, other: "Sums") -> "Sums":
        """Return both together."""
        return Sums(self.net + other.net, self.total + other.total)

    def less(self, other: "Sums") -> "Sums":
        """Return what this is more than *other*."""
        return Sums(self.net - other.net, self.total - other.total)


@dataclass(frozen=True, slots=True)
class IfFound:
    """What one finding adds to the price as asked, if it is made alone.

    Attributes:
        finding: what is looked for.
        at_risk: how many of them the job does not work on already.
        alike: raw counts of the past jobs most like it: "4 of your 11 such heads".
        alike_in: what those jobs share with it; empty is not asked.
        one: what one affected adds.
        all: what all of them add.
    """

    finding: Finding
    at_risk: int
    alike: Counts
    alike_in: Circumstances
    one: Sums
    all: Sums


@dataclass(frozen=True, slots=True)
class IfCondemned:
    """What the job costs if its heads are not worth going on with.

    Attributes:
        price: of the work up to the last test, all heads condemned.
        by: the findings that condemn, with their counts.
    """

    price: Sums
    by: tuple[Possible, ...]


@dataclass(frozen=True, slots=True)
class Unclaimed:
    """A finding of which nothing is said: too few jobs were inspected for it."""

    finding: Finding
    jobs: int


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What a job may come to.

    low, likely, safe and high are exact prices of one job each, in order by the total
    that is said first; never below the price as asked. A condemned head is none of
    them: it has its own price.

    Attributes:
        floor: the price as asked, if nothing is found.
        low: 10 % of jobs that are not condemned stay within it.
        likely: 50 % do.
        safe: 80 % do.
        high: 90 % do.
        extras: what each finding adds by itself, in the order given.
        weightiest: those that most part a dear job from a middling one, at most three.
        condemned: the other outcome; None where none is claimed or no test decides.
        unclaimed: findings of which nothing is said.
        refused: findings whose work cannot be done beside what is asked for.
    """

    floor: Sums
    low: Sums
    likely: Sums
    safe: Sums
    high: Sums
    extras: tuple[IfFound, ...] = ()
    weightiest: tuple[IfFound, ...] = ()
    condemned: IfCondemned | None = None
    unclaimed: tuple[Unclaimed, ...] = ()
    refused: tuple[Finding, ...] = ()

    @property
    def varies(self) -> bool:
        """Tell whether there is a range to show, and not one figure."""
        return self.high != self.floor


def outcomes(
    edition: Edition,
    job: Job,
    tax_point: date,
    priced: Priced,
    possible: Iterable[Possible],
) -> Outcomes:
    """Return what *job* may come to.

    What the job works on already is not at risk any more. Of the rest the share
    expected is the same, for any some of alike ones are like all of them. Where a total
    was agreed for the job as asked, what is found comes on top of it.

    Args:
        edition: the rate tables.
        job: as it was asked for.
        tax_point: the day whose taxes are due.
        priced: the price of *job* by *edition* on *tax_point*.
        possible: what inspections may find; counts of threads or holes at risk are
            taken from what is expected, all others from the heads.

    Raises:
        TaxCodeEndedError: what is done about a finding has no tax rate on that day.
    """
    return _Outcomes(edition, job, tax_point, priced).of(possible)


#: One that may be affected: a valve's place, or the tag of the head it is on.
_Unit = Position | str


class _Risk(NamedTuple):
    """What of the job one finding may affect.

    Attributes:
        units: in the order in which they are taken to be affected.
        free: by operation, those that the job does not do it to already.
    """

    finding: Finding
    units: tuple[_Unit, ...]
    free: Mapping[str, Counter[_Unit]]

    def work(self, affected: int) -> Iterator[Asked]:
        """Yield the work on so many affected ones."""
        for code, free in self.free.items():
            units = Counter(self.units[:affected]) & free
            if not units:
                continue
            asked = Asked(code, because=self.finding.name)
            by = COUNTS[self.finding.counted_by].by
            if by == "position":
                positions = tuple(unit for unit in units if isinstance(unit, Position))
                yield replace(asked, which=Selection(positions=positions))
            elif self.finding.counted_by == "head":
                yield replace(asked, heads=tuple(map(str, units)))
            else:
                for tag, number in units.items():
                    which = Selection(number=Decimal(number))
                    yield replace(asked, heads=(str(tag),), which=which)


class _Found(NamedTuple):
    risk: _Risk
    extra: Extra
    shown: IfFound


class _Outcomes:
    def __init__(
        self, edition: Edition, job: Job, tax_point: date, priced: Priced
    ) -> None:
        self.edition = edition
        self.job = replace(job, call_it=None)
        self.tax_point = tax_point
        self.priced = priced
        self.going = [head for head in job.heads if not head.condemned_at]
        terms = job.terms or edition.terms[edition.shop.terms]
        self.said_first = 0 if terms.headline == "net" else 1
        self.floor = Sums.of(priced)
        self.listed = self.floor
        if job.call_it:
            listed = price(edition, self.job, tax_point, work=priced.plan)
            self.listed = Sums.of(listed)

    def of(self, possible: Iterable[Possible]) -> Outcomes:
        found: list[_Found] = []
        condemn: list[Possible] = []
        unclaimed: list[Unclaimed] = []
        refused: list[Finding] = []
        for each in possible:
            finding, expected = each
            risk = self._risk(finding, expected.outcome.number)
            if not risk.units:
                continue
            if not expected.claimed:
                unclaimed.append(Unclaimed(finding, expected.shop.jobs))
            elif finding.condemns:
                condemn.append(each)
            elif shown := self._found(risk, expected):
                found.append(shown)
            else:
                refused.append(finding)
        low, likely, safe, high, weigh = self._range(found)
        return Outcomes(
            floor=self.floor,
            low=low,
            likely=likely,
            safe=safe,
            high=high,
            extras=tuple(each.shown for each in found),
            weightiest=weigh,
            condemned=self._condemned(condemn),
            unclaimed=tuple(unclaimed),
            refused=tuple(refused),
        )

    def _risk(self, finding: Finding, number: int) -> _Risk:
        operations = [self.edition.operations[code] for code in finding.operations]
        whole = tuple(self._whole(finding, operations, number))
        free = {
            operation.code: Counter(whole)
            - _done(self.priced.plan, operation, finding, whole, self.going)
            for operation in operations
        }
        if finding.condemns:
            return _Risk(finding, whole, free)
        at_risk: Counter[_Unit] = Counter()
        for left in free.values():
            at_risk |= left
        ordered = dict.fromkeys(whole)
        units = tuple(unit for unit in ordered for _ in range(at_risk[unit]))
        return _Risk(finding, units, free)

    def _whole(
        self, finding: Finding, operations: Sequence[Operation], number: int
    ) -> Iterator[_Unit]:
        """Yield all that the finding may be made on and that can be mended."""
        condition, count = finding.condition, COUNTS[finding.counted_by]
        forbidden = self.edition.related("not_on")
        against = [
            other
            for operation in operations
            for _, other in forbidden.get(operation.code, ())
        ]
        for head in self.going:
            if any(head.condition.intersection(o.left_out_when) for o in operations):
                continue
            places: list[Position | None] = [None]
            if count.by == "position":
                places = list(_valves(head))
            for place in places:
                known = head.known(place)
                if not condition.met_by(known) or any(c.met_by(known) for c in against):
                    continue
                if place is not None:
                    yield place
                    continue
                counted = head.layout.counts.get(finding.counted_by, number)
                yield from [head.tag] * counted
                if count.by_people:
                    return

    def _found(self, risk: _Risk, expected: Expected) -> _Found | None:
        """Return what a finding adds; None where its work cannot be done."""
        number = len(risk.units)
        try:
            every = self._price(risk.work(number)).less(self.listed)
            one = every
            if number > 1:
                one = self._price(risk.work(1)).less(self.listed)
        except RefusedError:
            return None
        probabilities = expected.outcome._replace(number=number).probabilities()
        if risk.finding.all_of_most:
            probabilities = all_if_most(probabilities)
        first, last = (float(sums[self.said_first]) for sums in (one, every))
        adds = np.linspace(first, last, number).tolist()
        code = risk.finding.code
        extra = Extra(code, tuple(probabilities.tolist()), (0.0, *adds))
        shown = IfFound(
            finding=risk.finding,
            at_risk=number,
            alike=expected.alike,
            alike_in=expected.alike_in,
            one=one,
            all=every,
        )
        return _Found(risk, extra, shown)

    def _range(
        self, found: Sequence[_Found]
    ) -> tuple[Sums, Sums, Sums, Sums, tuple[IfFound, ...]]:
        if not found:
            return self.floor, self.floor, self.floor, self.floor, ()
        draws = Draws.of(each.extra for each in found)
        adds = draws.adds()
        sums = adds.sum(axis=1)
        order = np.argsort(sums, kind="stable")
        exact: dict[tuple[int, ...], Sums] = {}
        priced = []
        for twentieth in _TWENTIETHS:
            draw = order[math.ceil(twentieth * len(order) / 20) - 1]
            affected = tuple(draws.affected[draw].tolist())
            if affected not in exact:
                exact[affected] = self._together(found, affected)
            priced.append(exact[affected])
        priced.sort(key=self._headline)
        low, likely, safe, high = (priced[twentieth - 1] for twentieth in _SHOWN)
        shown = {each.shown.finding.code: each.shown for each in found}
        weigh = tuple(shown[code] for code, _ in weightiest(draws.extras, adds, sums))
        return low, likely, safe, high, weigh

    def _headline(self, sums: Sums) -> Decimal:
        return sums[self.said_first]

    def _together(self, found: Sequence[_Found], affected: Sequence[int]) -> Sums:
        """Return the exact price with all that is found, never below the floor.

        Of work that cannot be done together, such as two repairs of one guide, the
        cheaper is left out.
        """
        made = [pair for pair in zip(found, affected, strict=True) if pair[1]]
        made.sort(key=lambda pair: -pair[0].extra.adds[pair[1]])
        while made:
            work = [asked for each, number in made for asked in each.risk.work(number)]
            try:
                sums = self._price(work).less(self.listed).plus(self.floor)
            except RefusedError:
                made.pop()
                continue
            return max(self.floor, sums, key=self._headline)
        return self.floor

    def _price(self, work: Iterable[Asked]) -> Sums:
        job = replace(self.job, work=(*self.job.work, *work))
        return Sums.of(price(self.edition, job, self.tax_point))

    def _condemned(self, by: Sequence[Possible]) -> IfCondemned | None:
        gate = last_gate(self.edition, self.priced)
        if not by or gate is None or len(self.going) < len(self.job.heads):
            return None
        stopped = no_fix(
            self.edition, self.job, gate, self.tax_point, work=self.priced.plan
        )
        return IfCondemned(Sums.of(stopped), tuple(by))


def _valves(head: Head) -> Sequence[Position]:
    """Return a head's valves by cylinder, in each the exhaust ones first."""
    valves = [position for side in SIDES for position in head.positions(side)]
    return sorted(valves, key=lambda p: (p.cylinder, p.side is Side.INLET, p.number))


def _done(
    plan: Plan,
    operation: Operation,
    finding: Finding,
    whole: Sequence[_Unit],
    heads: Sequence[Head],
) -> Counter[_Unit]:
    """Count what the job does an operation to already.

    Of so many valves, not yet known which, the last ones are taken.
    """
    done: Counter[_Unit] = Counter()
    portions = [
        portion
        for task in plan.tasks
        if task.operation is operation
        for portion in task.portions
    ]
    if COUNTS[finding.counted_by].by == "position":
        for portion in portions:
            done.update(portion.positions)
        for portion in portions:
            alike = portion.zone.alike
            if portion.positions or alike is None:
                continue
            each = alike.layout.a_valve(operation.counted_by)
            number = math.ceil(portion.quantity / each)
            unknown = [
                unit
                for unit in whole
                if isinstance(unit, Position)
                and unit not in done
                and unit.tag in portion.zone.tags
                and portion.side in (None, unit.side)
            ]
            done.update(unknown[max(0, len(unknown) - number) :])
        return done
    for head in heads:
        quantity = sum(
            portion.quantity / len(portion.zone.tags)
            for portion in portions
            if head.tag in portion.zone.tags
        )
        if finding.counted_by == "head":
            complete = quantity >= head.layout.counts[operation.counted_by]
            quantity = Decimal(complete)
        done[head.tag] = int(quantity)
    return done
