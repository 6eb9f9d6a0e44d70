"""The work of an order as it is learnt from: compact JSON, kept with the order.

Quantities, set-ups and what the book multiplies are those of the priced job; so a
later fit needs neither prices nor the tables of that day.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS, Head
from quoting.domain.job import Job
from quoting.domain.money import ZERO
from quoting.domain.pricing import Priced

if TYPE_CHECKING:
    from quoting.domain.calibration import Cell
    from quoting.domain.lines import Line


class Done(NamedTuple):
    """An operation of a job: units, set-ups, and what multiplies its book minutes."""

    operation: str
    quantity: Decimal
    setups: Decimal
    factor: Decimal


@dataclass(frozen=True, slots=True)
class WorkDone:
    """What was done in a job, on what, and why it came.

    Attributes:
        operations: with minutes in the book, in process order.
        counts: what there was of each thing that a finding may look at.
        sets: codes of the sets of work in it, joined by spaces.
        family: code of the layout of its heads.
        reason: code of why it came; may be empty.
        condition: how the heads looked; may be empty.
        material: of the heads, where all are alike.
        hardness: of their seats, where all are alike.
        open_ended: it holds hours that no operation accounts for.
    """

    operations: tuple[Done, ...]
    counts: Mapping[str, int]
    sets: str = ""
    family: str = ""
    reason: str = ""
    condition: str = ""
    material: str = ""
    hardness: str = ""
    open_ended: bool = False

    @property
    def cells(self) -> "tuple[Cell, ...]":
        """Return the operations as the model has them."""
        from quoting.domain.calibration import Cell

        return tuple(
            Cell(code, float(quantity), float(setups), float(factor))
            for code, quantity, setups, factor in self.operations
        )


def work_done(edition: Edition, job: Job, priced: Priced) -> WorkDone:
    """Return the work of a priced job."""
    heads = [head for head in job.heads if not head.condemned_at]
    return WorkDone(
        operations=tuple(_operations(edition, priced, job.minutes_factor)),
        counts=_counts(heads),
        sets=" ".join(dict.fromkeys(each.set for each in priced.plan.sets)),
        family=_common(head.layout.code for head in heads),
        reason=job.reason,
        condition=_common(" ".join(sorted(head.condition)) for head in heads),
        material=_common(str(head.fact("material") or "") for head in heads),
        hardness=_common(_seats(head) for head in heads),
        open_ended=any(line.minutes for line in priced.lines if line.kind == "free"),
    )


def _operations(edition: Edition, priced: Priced, factor: Decimal) -> list[Done]:
    by: dict[str, list[Line]] = {}
    for line in priced.lines:
        if line.kind == "labour" and line.minutes:
            by.setdefault(line.code, []).append(line)
    rows = []
    for code, lines in by.items():
        operation = edition.operations[code]
        quantity = sum((line.quantity or ZERO for line in lines), ZERO)
        setups = sum((line.bases for line in lines), ZERO)
        book = operation.setup_minutes * setups + operation.unit_minutes * quantity
        if book:
            minutes = sum((line.minutes for line in lines), ZERO) / factor
            rows.append(Done(code, quantity, setups, minutes / book))
    return rows


def _counts(heads: list[Head]) -> Mapping[str, int]:
    counts: dict[str, int] = {"head": len(heads)} if heads else {}
    for head in heads:
        for word, number in head.layout.counts.items():
            if word in COUNTS and word != "head" and number:
                counts[word] = counts.get(word, 0) + number
    return counts


def _common(words: Iterable[str]) -> str:
    known = set(words)
    return known.pop() if len(known) == 1 else ""


def _seats(head: Head) -> str:
    seats = head.fact("seats")
    if isinstance(seats, frozenset):
        return " ".join(sorted(seats))
    return str(seats or "")


def write(done: WorkDone) -> str:
    """Return it as JSON that ``read`` takes; the same work gives the same text."""
    values = {
        "operations": [[code, *map(str, rest)] for code, *rest in done.operations],
        "counts": dict(done.counts),
        **{name: getattr(done, name) for name in _TEXTS if getattr(done, name)},
    }
    if done.open_ended:
        values["open_ended"] = True
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def read(text: str) -> WorkDone:
    """Return the work that ``write`` gave as *text*; empty text is no work."""
    values = json.loads(text) if text else {}
    return WorkDone(
        operations=tuple(
            Done(code, *map(Decimal, rest))
            for code, *rest in values.get("operations", ())
        ),
        counts=values.get("counts", {}),
        open_ended=values.get("open_ended", False),
        **{name: values.get(name, "") for name in _TEXTS},
    )


_TEXTS = ("sets", "family", "reason", "condition", "material", "hardness")
