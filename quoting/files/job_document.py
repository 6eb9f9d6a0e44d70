"""A job kept by the shop: one alternative of a job file as compact JSON.

Keys and shape are those of a job file (docs/job-file.md), so the same reader checks
both. Figures are exact decimals written as text, valves stand with their head's tag.
What planning adds to a job (``because``, ``set``) is worked out anew and not kept.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Any

from quoting.domain.edition import Edition
from quoting.domain.errors import Problem, ProblemsError
from quoting.domain.head import SIDES, Fact, Head, Position
from quoting.domain.job import Asked, AskedPart, AskedSet, Job
from quoting.domain.lengths import Length, LengthError
from quoting.files.job_file import (
    AsideRow,
    CallItRow,
    FeeRow,
    HeadRow,
    JobRow,
    OwnLayout,
    PartRow,
    SetRow,
    WorkRow,
    job_in,
    read_size,
)
from quoting.files.toml import Document

#: What a stored job is called in messages.
NAME = "job"


def write(job: Job) -> str:
    """Return *job* as JSON that ``read`` takes; equal jobs give the same text.

    A layout of the tables and the terms stand by their codes.
    """
    top = JobRow(
        reason=job.reason,
        terms=job.terms.code if job.terms else "",
        rush=job.rush,
        propose=job.propose,
        minutes_factor=job.minutes_factor,
        answers=job.answers,
    )
    called = job.call_it
    sections: dict[str, Any] = {
        "heads": [_head(head) for head in job.heads],
        "work": _rows(map(_work, job.work)),
        "sets": _rows(map(_set, job.sets)),
        "free": _rows(job.free),
        "parts": _rows(map(_part, job.parts)),
        "outwork": _rows(job.outwork),
        "fees": _rows(FeeRow(fee=f.code, quantity=f.quantity) for f in job.fees),
        "deposits": _rows(job.deposits),
        "exempt": _keys(job.exemption) if job.exemption else {},
        "aside": _rows(
            AsideRow(rule=rule, by=by, reason=reason)
            for rule, (by, reason) in job.aside.items()
        ),
        "call_it": (
            _keys(CallItRow(amount=called.amount, reason=called.reason))
            if called
            else {}
        ),
        "declined": dict(job.declined),
    }
    given = {name: value for name, value in sections.items() if value}
    return json.dumps(
        {**_keys(top), **given}, ensure_ascii=False, separators=(",", ":")
    )


def read(text: str, edition: Edition) -> Job:
    """Return the job that ``write`` gave as *text*; terms and layouts are *edition*'s.

    Raises:
        ProblemsError: with every problem, such as a code that *edition* does not have.
    """
    try:
        values = json.loads(text, parse_float=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as error:
        raise _unreadable(f"is not JSON: {error}") from None
    if not isinstance(values, dict):
        raise _unreadable("is no table of keys")
    return job_in(Document(NAME, values, {}), edition)


def _unreadable(why: str) -> ProblemsError:
    return ProblemsError([Problem(NAME, None, "", "", why)])


# From what a job holds to the rows of a job file.


def _head(head: Head) -> dict[str, Any]:
    layout = head.layout
    row = HeadRow(
        layout=layout.code,
        tag=head.tag,
        label=head.label,
        condition=tuple(sorted(head.condition)),
        condemned_at=head.condemned_at,
    )
    keys = _keys(row)
    if isinstance(layout, OwnLayout):
        keys["layout"] = _keys(layout)
    if head.facts:
        keys["facts"] = _facts(head.facts)
    for side in SIDES:
        if side in head.side_facts:
            keys[side.word] = _facts(head.side_facts[side])
    if head.position_facts:
        keys["positions"] = [
            {"at": [position.filed], **_facts(facts)}
            for position, facts in head.position_facts.items()
        ]
    return keys


def _facts(facts: Mapping[str, Fact]) -> dict[str, Any]:
    return {
        name: sorted(fact) if isinstance(fact, frozenset) else _value(fact)
        for name, fact in facts.items()
    }


def _work(asked: Asked) -> WorkRow:
    side, cylinders, positions, number = asked.which
    own, despite = asked.own, asked.despite
    return WorkRow(
        op=asked.operation,
        heads=asked.heads,
        which=side.word if side else "all",
        cylinders=cylinders,
        positions=positions,
        number=number,
        size=_size(asked.size),
        price=own.amount if own else None,
        discountable=own.discountable if own else False,
        warranty=asked.warranty,
        set_up_again=asked.again,
        reason=own.reason if own else "",
        despite_by=despite.by if despite else "",
        despite_reason=despite.reason if despite else "",
    )


def _set(asked: AskedSet) -> SetRow:
    own = asked.own
    return SetRow(
        set=asked.set,
        heads=asked.heads,
        size=_size(asked.size),
        price=own.amount if own else None,
        discountable=own.discountable if own else False,
        reason=own.reason if own else "",
    )


def _part(asked: AskedPart) -> PartRow:
    given = {f.name: getattr(asked, f.name) for f in fields(asked)}
    return PartRow(part=given.pop("code"), **given)


def _size(size: Length | None) -> str:
    """Return what reads back as *size*: as typed, else in mm with what was said."""
    if size is None:
        return ""
    try:
        if read_size(size.typed) == size:
            return size.typed
    except LengthError:
        pass
    said = " ".join(size.typed.split())  # a reader refuses control characters
    return f"{size.mm:f} mm ({said})"


# From rows to keys.


def _rows(records: Iterable[object]) -> list[dict[str, Any]]:
    return [_keys(record) for record in records]


def _keys(record: Any) -> dict[str, Any]:
    """Return the columns of *record* that say more than nothing would."""
    return {
        column.name: _value(value)
        for column in fields(record)
        if (value := getattr(record, column.name)) != column.default
    }


def _value(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Position):
        return value.filed
    if isinstance(value, tuple):
        return [_value(item) for item in value]
    return value
