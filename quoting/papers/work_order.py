"""The work order with its route card: what to do, in which order, to which valves.

No price ever stands on it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

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
from quoting.papers.html import Paper, fill
from quoting.papers.priced_table import job_facts, marked_plan

#: Readings beside each other in one table; more go into a further table.
MOST_READINGS = 5


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
                ("number", order.number),
                ("date", formats.date(order.on)),
                ("promised", formats.date(order.promised) if order.promised else ""),
                *job_facts(edition, job, order.customer),
            ],
            "heads": [_head(head, formats) for head in job.heads],
            "plan": plan,
            "cautions": [caution.text for caution in full],
            "also": ", ".join(c.name for c in order.cautions[MOST_CAUTIONS:]),
            "closing": CLOSING,
            "steps": [
                {
                    "centre": centre.name if first else "",
                    **_step(step, job.heads, formats),
                }
                for centre, steps in groupby(order.steps, key=lambda step: step.centre)
                for first, step in _first_marked(steps)
            ],
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


def _first_marked(steps: Iterable[Step]) -> Iterator[tuple[bool, Step]]:
    for index, step in enumerate(steps):
        yield index == 0, step


def _head(head: Head, formats: Formats) -> Mapping[str, str]:
    return {
        "tag": head.tag,
        "label": head.label,
        "layout": head.layout.name,
        "known": "; ".join(_known(head, formats)),
        "condition": ", ".join(sorted(head.condition)),
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
        small.append(f"Stands {formats.minutes(step.operation.elapsed_minutes)} min.")
    return {
        "number": step.number,
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
        return f"≤ {formats.quantity(high)}"
    return "" if low is None else f"≥ {formats.quantity(low)}"


# The sheets: a box for every reading, as found and as left.


def _sheets(
    edition: Edition, order: WorkOrder, formats: Formats
) -> Iterator[Mapping[str, Any]]:
    heads = order.job.heads
    for head in heads:
        codes = dict.fromkeys(
            code
            for step in order.steps
            if any(place.tag == head.tag for place in step.places)
            for code in step.operation.readings
        )
        by_place: dict[str, dict[str, list[Limit]]] = {}
        for code in codes:
            for limit in limits_for(edition, code, [head]):
                place = "valve" if limit.place in _ON_POSITIONS else limit.place
                by_place.setdefault(place, {}).setdefault(code, []).append(limit)
        whole = by_place.pop("head", {})
        tables = [
            table
            for place, readings in by_place.items()
            for table in _tables(place, list(readings.values()), head, heads, formats)
        ]
        if whole or tables:
            yield {
                "head": f", head {head.tag}" if len(heads) > 1 else "",
                "whole": [_column(limits, formats) for limits in whole.values()],
                "tables": tables,
            }


#: Read at each valve's place, so they share one table.
_ON_POSITIONS = ("valve", "guide", "seat", "spring")


def _tables(
    place: str,
    readings: Sequence[Sequence[Limit]],
    head: Head,
    heads: Sequence[Head],
    formats: Formats,
) -> Iterator[Mapping[str, Any]]:
    rows = _rows(place, head, heads)
    for start in range(0, len(readings) if rows else 0, MOST_READINGS):
        some = readings[start : start + MOST_READINGS]
        columns = [_column(limits, formats) for limits in some]
        yield {"place": place, "rows": rows, "columns": columns}


def _column(limits: Sequence[Limit], formats: Formats) -> Mapping[str, str]:
    words = {limit.side: _limit(limit, formats) for limit in limits}
    if len(set(words.values())) == 1:
        text = next(iter(words.values()))
    else:
        text = ", ".join(f"{side} {said}" for side, said in words.items() if said)
    text = f"{text} ({limits[0].source})" if text else "no limit known"
    return {"name": limits[0].name, "unit": limits[0].unit, "limit": text}


def _rows(place: str, head: Head, heads: Sequence[Head]) -> list[str]:
    if place == "valve":
        return [at_the_bench(p, heads) for s in Side for p in head.positions(s)]
    layout = head.layout
    many = {
        "cylinder": layout.cylinders,
        "cam": layout.cams,
        "journal": layout.cams * layout.journals_per_cam,
        "injector": layout.cylinders * layout.injectors,
        "prechamber": layout.cylinders * layout.prechambers,
    }[place]
    return [f"{place} {number}" for number in range(1, many + 1)]
