"""From a priced job to the bench: steps in process order, readings, reminders.

Pure. Nothing here carries a price; minutes are Decimal minutes of shop time as planned.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quoting.domain.edition import Edition
from quoting.domain.head import Head, Position, Side
from quoting.domain.job import Job
from quoting.domain.lengths import Length
from quoting.domain.money import ZERO
from quoting.domain.pricing import Priced
from quoting.domain.quote import Customer
from quoting.domain.rates import Caution, Limit, Operation, WorkCentre
from quoting.domain.work import Task

#: How many reminders are printed in full; any others are named in one more line.
MOST_CAUTIONS = 6

CLOSING = (
    "Follow the safety data sheet, local law and your shop's trained procedure; "
    "this note is a reminder, not instruction."
)


@dataclass(frozen=True, slots=True)
class Place:
    """What a step does on one head.

    ``positions`` are the valves where it is not done to all that are counted.
    """

    tag: str
    quantity: Decimal
    positions: tuple[Position, ...]
    side: Side | None


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the route card.

    Attributes:
        number: from 1, in process order.
        phase: such as ``out`` or ``back in`` of what is done in two places, else empty.
        minutes: planned for all of it; of two phases the first carries them.
        sizes: such as the depth of a skim, as typed.
        readings: what is read while doing it.
        gate: nothing after it starts before its result is known.
    """

    number: int
    operation: Operation
    centre: WorkCentre
    phase: str
    places: tuple[Place, ...]
    minutes: Decimal
    sizes: tuple[Length, ...]
    readings: tuple[Limit, ...]
    gate: bool


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """What a shop needs to do a job."""

    number: str
    on: date
    customer: Customer
    job: Job
    steps: tuple[Step, ...]
    cautions: tuple[Caution, ...]
    promised: date | None = None


def work_order(
    edition: Edition,
    job: Job,
    priced: Priced,
    *,
    number: str,
    on: date,
    customer: Customer,
    promised: date | None = None,
) -> WorkOrder:
    """Return the work order of a priced job: its route card and its cautions.

    Args:
        edition: that the job was priced by.
        job: what is to be done.
        priced: the job, priced; its prices are not taken over.
        number: of the work order.
        on: its day.
        customer: whose heads they are.
        promised: the day it is to be ready, if one was named.
    """
    steps = route(edition, priced)
    codes = [step.operation.code for step in steps]
    return WorkOrder(
        number=number,
        on=on,
        customer=customer,
        job=job,
        steps=steps,
        cautions=cautions(edition, job.heads, codes),
        promised=promised,
    )


def route(edition: Edition, priced: Priced) -> tuple[Step, ...]:
    """Return every step of a priced job in process order.

    What has two places, such as prechambers, stands there twice: out and back in, its
    minutes on the first.
    """
    minutes: dict[str, Decimal] = {}
    for line in priced.lines:
        if line.kind == "labour":
            minutes[line.code] = minutes.get(line.code, ZERO) + line.minutes
    done: dict[str, list[Task]] = {}
    for task in priced.plan.tasks:
        done.setdefault(task.operation.code, []).append(task)
    stops: list[tuple[int, str, Operation]] = []
    for code in done:
        operation = edition.operations[code]
        if operation.place_back is None:
            stops.append((operation.place, "", operation))
        else:
            out, back = operation.phases
            stops.append((operation.place, out, operation))
            stops.append((operation.place_back, back, operation))
    stops.sort(key=lambda stop: stop[0])
    return tuple(
        _step(number, edition, phase, operation, done[operation.code], minutes)
        for number, (_, phase, operation) in enumerate(stops, 1)
    )


def _step(
    number: int,
    edition: Edition,
    phase: str,
    operation: Operation,
    tasks: Sequence[Task],
    minutes: dict[str, Decimal],
) -> Step:
    first = phase != operation.phases[1]
    sizes = [task.asked.size for task in tasks if task.asked.size is not None]
    heads = [head for t in tasks for p in t.portions for head in p.zone.heads]
    return Step(
        number=number,
        operation=operation,
        centre=edition.work_centres[operation.work_centre],
        phase=phase,
        places=tuple(_places(tasks)),
        minutes=minutes.get(operation.code, ZERO) if first else ZERO,
        sizes=tuple(dict.fromkeys(sizes)),
        readings=tuple(
            limit
            for code in (operation.readings if first else ())
            for limit in limits_for(edition, code, heads)
        ),
        gate=operation.gate and first,
    )


def _places(tasks: Iterable[Task]) -> Iterable[Place]:
    for task in tasks:
        for portion in task.portions:
            zone = portion.zone
            side = zone.side or portion.side
            if not zone.heads:
                yield Place("", portion.quantity, (), side)
            for head in zone.heads:
                own = tuple(p for p in portion.positions if p.tag == head.tag)
                whole = zone.side is not None and own == head.positions(zone.side)
                each = portion.quantity / len(zone.heads)
                yield Place(head.tag, each, () if whole else own, side)


def limits_for(edition: Edition, code: str, heads: Sequence[Head]) -> tuple[Limit, ...]:
    """Return the rows of a reading that apply to *heads*: for each side the first.

    A row for the layout comes before one for the size class, and that before a
    general one.
    """
    layouts = {head.layout.code for head in heads}
    classes = {head.layout.size_class for head in heads}
    rows = [
        limit
        for limit in edition.limits
        if limit.code == code
        and (not limit.layout or limit.layout in layouts)
        and (not limit.size_class or limit.size_class in classes)
    ]
    if not any(limit.side for limit in rows):
        return tuple(sorted(rows, key=_broad)[:1])
    found: list[Limit] = []
    for side in Side:
        if any(head.positions(side) for head in heads):
            fitting = [limit for limit in rows if limit.side in ("", side.word)]
            found += sorted(fitting, key=_broad)[:1]
    return tuple(dict.fromkeys(found))


def _broad(limit: Limit) -> tuple[bool, bool, bool]:
    """Sort a limit for the layout first, then one for the class, then for a side."""
    return not limit.layout, not limit.size_class, not limit.side


def cautions(
    edition: Edition, heads: Sequence[Head], operations: Iterable[str]
) -> tuple[Caution, ...]:
    """Return the reminders that this work on these heads calls for.

    The most dangerous comes first. A row with operations needs one of them, a row with
    a fact needs it on one of the heads, a row with both needs both.
    """
    codes = set(operations)
    known = [
        facts
        for head in heads
        for facts in (
            head.known(),
            *(head.known(side) for side in Side if head.positions(side)),
            *(head.known(position) for position in head.position_facts),
        )
    ]
    return tuple(
        caution
        for caution in edition.cautions
        if (not caution.operations or not codes.isdisjoint(caution.operations))
        and (
            not caution.fact or any(caution.condition.met_by(facts) for facts in known)
        )
    )
