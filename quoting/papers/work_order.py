"""The work order with its route card: what to do, in which order, to which valves.

No price ever stands on it.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import groupby
from math import ceil
from typing import Any, NamedTuple, TypeVar

from quoting.domain.edition import Edition
from quoting.domain.head import Fact, Head, Side, at_the_bench
from quoting.domain.lines import noun
from quoting.domain.pricing import Priced
from quoting.domain.rates import Limit
from quoting.domain.work_order import (
    CLOSING,
    MOST_CAUTIONS,
    Place,
    Step,
    WorkOrder,
    limits_for,
)
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.priced_table import job_facts, marked_plan

#: Readings, and heads, beside each other in one table; more go into a further one.
MOST_READINGS = 6
MOST_HEADS = 4


def work_order_paper(
    edition: Edition,
    order: WorkOrder,
    priced: Priced,
    formats: Formats,
    size: str = "",
) -> Paper:
    """Return the work order of a priced job.

    Args:
        edition: that the job was priced by.
        order: its steps and cautions.
        priced: the job; only its work, parts and marked valves are looked at.
        formats: the shop's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    job = order.job
    plan = marked_plan(edition, job, priced, "plan")
    full = order.cautions[:MOST_CAUTIONS]
    return fill(
        "work_order",
        shop=edition.shop,
        formats=formats,
        size=size,
        kind="Work order",
        number=order.number,
        made=order.on,
        block=[
            ("customer", order.customer.name),
            ("promised", formats.date(order.promised) if order.promised else ""),
        ],
        values={
            "customer": order.customer,
            "facts": [
                ("date", formats.date(order.on)),
                ("promised", formats.date(order.promised) if order.promised else ""),
                *job_facts(edition, job, order.customer),
            ],
            "heads": list(_heads(job.heads, formats)),
            "several": len(job.heads) > 1,
            "plan": plan,
            "cautions": [caution.text for caution in full],
            "also": ", ".join(c.name for c in order.cautions[MOST_CAUTIONS:]),
            "closing": CLOSING,
            "set_aside": [notice.text for notice in priced.plan.set_aside],
            "steps": [
                {"again": again, **_step(step, job.heads, formats)}
                for _, steps in groupby(order.steps, key=lambda step: step.centre)
                for again, step in enumerate(steps)
            ],
            "beside": list(_beside(priced, formats)),
            "parts_needed": [
                {
                    "text": line.description,
                    "quantity": formats.quantity(line.quantity or Decimal(1)),
                    "whose": "the customer's own" if line.reason else "ours",
                }
                for line in priced.lines
                if line.kind in ("part", "exchange")
            ],
            "sheets": list(_sheets(edition, order, formats)),
        },
    )


def _heads(heads: Sequence[Head], formats: Formats) -> Iterator[Mapping[str, str]]:
    """Yield what is known of the heads, alike heads said once."""
    said: dict[tuple[str, str, str], list[Head]] = {}
    for head in heads:
        known = "; ".join(_known(head, formats))
        condition = ", ".join(sorted(head.condition))
        said.setdefault((head.layout.name, known, condition), []).append(head)
    for (layout, known, condition), alike in said.items():
        yield {
            "tags": ", ".join(head.tag for head in alike),
            "labels": ", ".join(head.label for head in alike if head.label),
            "layout": layout,
            "known": known,
            "condition": condition,
        }


def _beside(priced: Priced, formats: Formats) -> Iterator[Mapping[str, str]]:
    """Yield the work that no table knows, and what another shop does."""
    for line in priced.lines:
        if line.kind in ("free", "outwork"):
            yield {
                "text": line.description,
                "who": "here" if line.kind == "free" else "another shop",
                "minutes": formats.minutes(line.minutes) if line.minutes else "",
            }


def _known(head: Head, formats: Formats) -> Iterator[str]:
    yield _word(head.fact("material"), formats)
    sides = [side for side in Side if head.positions(side)]
    for name, what in (("seats", "seats"), ("valves", "valves"), ("stem_mm", "stems")):
        values = {side: _word(head.fact(name, side), formats) for side in sides}
        unit = " mm" if name == "stem_mm" else ""
        shown = {value for value in values.values() if value}
        if len(shown) == 1:
            yield f"{what} {shown.pop()}{unit}"
        else:
            yield from (f"{s.word} {what} {v}{unit}" for s, v in values.items() if v)
    weight = head.fact("weight_kg")
    if isinstance(weight, Decimal):
        yield f"{formats.quantity(weight)} kg"


def _word(fact: Fact | None, formats: Formats) -> str:
    if fact is None:
        return ""
    if isinstance(fact, Decimal):
        return formats.quantity(fact)
    words = fact if isinstance(fact, str) else ", ".join(sorted(fact))
    return words.replace("_", " ")


def _step(step: Step, heads: Sequence[Head], formats: Formats) -> Mapping[str, Any]:
    phase = f", {step.phase}" if step.phase else ""
    small = [formats.length(size) for size in step.sizes]
    if readings := len({limit.code for limit in step.readings}):
        small.append(f"{readings} reading{'s' if readings > 1 else ''} on the sheet.")
    if step.operation.elapsed_minutes and step.minutes:
        stands = formats.quantity(step.operation.elapsed_minutes)
        small.append(f"Stands {stands} min.")
    return {
        "number": step.number,
        "centre": step.centre.name,
        "text": f"{step.operation.name}{phase}",
        "where": _where(step, heads, formats),
        "small": small,
        "minutes": formats.minutes(step.minutes) if step.minutes else "",
        "gate": step.gate,
    }


def _where(step: Step, heads: Sequence[Head], formats: Formats) -> str:
    """Return the places of a step in bench names, alike heads said once."""
    by_head: dict[str, list[Place]] = {}
    for place in step.places:
        by_head.setdefault(place.tag, []).append(place)
    said: dict[str, list[str]] = {}
    for tag, places in by_head.items():
        said.setdefault(_on_head(step, places, heads, formats), []).append(tag)
    if len(said) == 1 and len(by_head) == max(1, len(heads)):
        [words] = said
        each = " each" if len(heads) > 1 and words[:1].isdigit() else ""
        return words + each
    return "; ".join(f"{' and '.join(tags)}: {words}" for words, tags in said.items())


def _on_head(
    step: Step, places: Sequence[Place], heads: Sequence[Head], formats: Formats
) -> str:
    counted_by = step.operation.counted_by
    if counted_by in ("head", "job"):
        return "the head" if counted_by == "head" else ""
    named = [p for place in places for p in place.positions]
    whole = [place for place in places if not place.positions]
    words = [" ".join(at_the_bench(position, heads) for position in named)]
    if whole:
        quantity = sum((place.quantity for place in whole), Decimal(0))
        sides = {place.side for place in whole}
        side = sides.pop() if len(sides) == 1 else None
        words.append(
            f"{formats.quantity(quantity)} {f'{side.word} ' if side else ''}"
            f"{noun(counted_by, quantity)}"
        )
    return ", ".join(word for word in words if word)


def _limit(limit: Limit, formats: Formats) -> str:
    low, high = limit.minimum, limit.maximum
    if low is not None and high is not None:
        return f"{formats.quantity(low)} to {formats.quantity(high)}"
    if high is not None:
        return f"≤\N{NO-BREAK SPACE}{formats.quantity(high)}"
    return "" if low is None else f"≥\N{NO-BREAK SPACE}{formats.quantity(low)}"


# The sheets: a box for every reading, as found and as left.


class _Reading(NamedTuple):
    """What is read at one kind of place, and what it must keep within."""

    place: str
    name: str
    unit: str
    limit: str


def _sheets(
    edition: Edition, order: WorkOrder, formats: Formats
) -> Iterator[Mapping[str, Any]]:
    """Yield a sheet for all heads that have the same readings."""
    heads = order.job.heads
    alike: dict[tuple[_Reading, ...], list[Head]] = {}
    for head in heads:
        alike.setdefault(tuple(_readings(edition, order, head, formats)), []).append(
            head
        )
    for readings, these in alike.items():
        by_place: dict[str, list[_Reading]] = {}
        for reading in readings:
            by_place.setdefault(reading.place, []).append(reading)
        whole = by_place.pop("head", [])
        if readings:
            yield {
                "heads": _named(these) if len(alike) > 1 else "",
                "whole": whole,
                "parts": list(_parts(these, MOST_HEADS)) if whole else [],
                "tables": [
                    {
                        "place": place,
                        "columns": columns,
                        "groups": _rows(place, these, heads),
                    }
                    for place, its in by_place.items()
                    for columns in _parts(its, MOST_READINGS)
                ],
            }


def _named(heads: Sequence[Head]) -> str:
    tags = [head.tag for head in heads]
    return f", head{'s' if len(tags) > 1 else ''} {', '.join(tags)}"


_Item = TypeVar("_Item")


def _parts(items: Sequence[_Item], most: int) -> Iterator[Sequence[_Item]]:
    """Yield the items in as few parts as hold *most* each, about equally filled."""
    count = ceil(len(items) / most)
    size = ceil(len(items) / count)
    for start in range(0, len(items), size):
        yield items[start : start + size]


#: Read at each valve's place, so they share one table.
_ON_POSITIONS = ("valve", "guide", "seat", "spring")


def _readings(
    edition: Edition, order: WorkOrder, head: Head, formats: Formats
) -> Iterator[_Reading]:
    codes = dict.fromkeys(
        code
        for step in order.steps
        if any(place.tag == head.tag for place in step.places)
        for code in step.operation.readings
    )
    for code in codes:
        if limits := limits_for(edition, code, [head]):
            first = limits[0]
            place = "valve" if first.place in _ON_POSITIONS else first.place
            if place == "head" or _rows(place, [head], [head]):
                yield _Reading(place, first.name, first.unit, _within(limits, formats))


def _within(limits: Sequence[Limit], formats: Formats) -> str:
    words = {limit.side: _limit(limit, formats) for limit in limits}
    if len(set(words.values())) == 1:
        text = next(iter(words.values()))
    else:
        text = ", ".join(f"{side} {said}" for side, said in words.items() if said)
    return f"{text} ({limits[0].source})" if text else "no limit known"


def _rows(
    place: str, these: Sequence[Head], heads: Sequence[Head]
) -> Sequence[Sequence[str]]:
    """Return the names of the places to read at, those of a head and side together."""
    if place == "valve":
        groups = [
            [at_the_bench(position, heads) for position in head.positions(side)]
            for head in these
            for side in Side
        ]
    else:
        groups = [
            [
                f"{head.tag if len(heads) > 1 else ''} {place} {number}".strip()
                for number in range(1, head.layout.counts[place] + 1)
            ]
            for head in these
        ]
    return [group for group in groups if group]
