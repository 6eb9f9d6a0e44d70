"""A shop's past jobs, read from a folder of CSV tables."""

import datetime
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from quoting.domain.errors import Problem, ProblemsError
from quoting.domain.tables import (
    CODE,
    DATE,
    NOT_NEGATIVE,
    NUMBER,
    POSITIVE,
    TEXT,
    WHOLE,
    CellError,
    Cells,
    Kind,
    Table,
    choice,
    column,
    read_cells,
    records,
)
from quoting.files.sheet import read_sheet

if TYPE_CHECKING:
    from quoting.domain.calibration import BookTime, History, Marker, PastJob
    from quoting.domain.extras import Inspection

#: What joins operations that were clocked together.
JOIN = "+"

#: What stands in front of the finding that an operation is done for.
FOUND = "found:"


def _operation(text: str) -> str:
    if JOIN in text:
        raise CellError
    return str(CODE.read(text))


def _joined(text: str) -> tuple[str, ...]:
    codes = tuple(_operation(part.strip()) for part in text.split(JOIN))
    for code, times in Counter(codes).items():
        if times > 1:
            raise CellError(f"{code} stands there twice")
    return codes


OPERATION = Kind(
    "string", "a code of letters, digits and . _ - such as SCUT", _operation
)
OPERATIONS = Kind("string", "codes joined by +, such as SCUT+VREF", _joined)
CONCERNED = choice("0", "1")
SPLIT = choice("history", "future")


@dataclass(frozen=True, slots=True)
class OperationRow:
    """A row of ``operations.csv``."""

    op: str = column(OPERATION, "Code of the operation", key=True)
    book_setup: Decimal = column(NOT_NEGATIVE, "Minutes a set-up in the book")
    book_unit: Decimal = column(NOT_NEGATIVE, "Minutes a unit in the book")
    driver: str = column(
        TEXT,
        "What its units are, such as valve; found:CODE where a finding brings it",
        default="",
    )
    scope_material: str = column(
        CONCERNED, "1 where the material of the head changes its minutes", default="0"
    )
    scope_hardness: str = column(
        CONCERNED, "1 where the hardness of the seats changes them", default="0"
    )
    group: str = column(TEXT, "What it belongs to; for the reader", default="")
    centre: str = column(TEXT, "Where it is done; for the reader", default="")


@dataclass(frozen=True, slots=True)
class JobRow:
    """A row of ``jobs.csv``."""

    job: str = column(TEXT, "Number of the job", key=True)
    date: datetime.date = column(DATE, "Day on which it was done")
    split: str = column(
        SPLIT,
        "history where it is learnt from, future where its minutes are wanted",
        default="history",
    )
    family: str = column(TEXT, "Which heads behave alike", default="")
    band: str = column(TEXT, "Age or mileage, in bands of your own", default="")
    reason: str = column(TEXT, "Why it came", default="")
    condition: str = column(TEXT, "How it looked on arrival", default="")
    material: str = column(TEXT, "Material of the head", default="")
    hardness: str = column(TEXT, "Hardness of the seats", default="")
    machinist: str = column(TEXT, "Who did it", default="")
    day: Decimal | None = column(
        NUMBER, "The same day as a number; for the reader", default=None
    )
    clock: str = column(TEXT, "How it was clocked; for the reader", default="")
    cylinders: int | None = column(WHOLE, "Cylinders; for the reader", default=None)
    valves_per_cyl: int | None = column(
        WHOLE, "Valves a cylinder; for the reader", default=None
    )
    heads: int | None = column(WHOLE, "Heads; for the reader", default=None)


@dataclass(frozen=True, slots=True)
class CellRow:
    """A row of ``cells.csv``."""

    job: str = column(TEXT, "Number of the job", refers="jobs")
    op: str = column(OPERATION, "An operation that was done in it", refers="operations")
    qty: Decimal = column(POSITIVE, "How many units")
    setups: Decimal = column(POSITIVE, "How many set-ups", default=Decimal(1))


@dataclass(frozen=True, slots=True)
class ClockingRow:
    """A row of ``clockings.csv``."""

    row: str = column(TEXT, "Number of the record", key=True)
    job: str = column(TEXT, "Number of the job", refers="jobs")
    minutes: Decimal | None = column(
        NUMBER, "Minutes that were written down", default=None
    )
    ops: tuple[str, ...] = column(
        OPERATIONS,
        "What they were spent on; empty is the whole job",
        default=(),
        refers="operations",
    )


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A row of ``findings.csv``."""

    job: str = column(TEXT, "Number of the job", refers="jobs", key=True)
    finding: str = column(CODE, "What was looked for", key=True)
    at_risk: int = column(WHOLE, "How many were looked at")
    affected: int = column(WHOLE, "How many had it, 0 as well")


@dataclass(frozen=True, slots=True)
class EventRow:
    """A row of ``events.csv``."""

    date: datetime.date = column(DATE, "Day from which it holds")
    ops: tuple[str, ...] = column(
        OPERATIONS, "Operations that go differently since", refers="operations"
    )
    what: str = column(TEXT, "What changed", default="")
    day: Decimal | None = column(
        NUMBER, "The same day as a number; for the reader", default=None
    )


TABLES: Mapping[str, Table[Any]] = {
    table.name: table
    for table in (
        Table(
            "operations",
            OperationRow,
            "What the shop does, and the book's minutes",
        ),
        Table("jobs", JobRow, "The jobs, past ones and some to come"),
        Table("cells", CellRow, "What was done in each job"),
        Table("clockings", ClockingRow, "What was written down of each past job"),
        Table("findings", FindingRow, "What was looked for in each job"),
        Table("events", EventRow, "Days from which something goes differently"),
    )
}

#: A shop may have looked for nothing, and nothing may have changed.
OPTIONAL = ("findings", "events")


@dataclass(frozen=True, slots=True)
class PastJobs:
    """What a folder of past jobs holds.

    Attributes:
        book: the times of the operations.
        jobs: the past jobs.
        future: jobs to come, without clockings.
        inspections: of the past jobs.
        markers: days from which something goes differently.
        brings: by finding, the operations that are done about it.
        units: by operation, what a unit of it is called.
    """

    book: "tuple[BookTime, ...]"
    jobs: "tuple[PastJob, ...]"
    future: "tuple[PastJob, ...]"
    inspections: "tuple[Inspection, ...]"
    markers: "tuple[Marker, ...]"
    brings: Mapping[str, tuple[str, ...]]
    units: Mapping[str, str]

    def history(
        self, today: datetime.date | None = None, material: str = "", hardness: str = ""
    ) -> "History":
        """Return what minutes are learnt from.

        Args:
            today: the day for which times are wanted; that of the last past job.
            material: that the book is written for; the one of most past jobs.
            hardness: that the book is written for; the one of most past jobs.
        """
        from quoting.domain.calibration import History

        return History(
            book=self.book,
            jobs=self.jobs,
            today=today
            or max((job.on for job in self.jobs), default=datetime.date.min),
            markers=self.markers,
            material=material or _commonest(job.material for job in self.jobs),
            hardness=hardness or _commonest(job.hardness for job in self.jobs),
        )


def _commonest(levels: Iterator[str]) -> str:
    known = Counter(level for level in levels if level)
    return min(known, key=lambda level: (-known[level], level), default="")


def read_past_jobs(folder: Path) -> PastJobs:
    """Read the past jobs in *folder*; other files there are passed over.

    Raises:
        ProblemsError: with every problem of every file.
    """
    if not folder.is_dir():
        raise ProblemsError([Problem(str(folder), None, "", "", "is no folder")])
    problems: list[Problem] = []
    read: dict[str, list[Cells]] = {}
    for name, table in TABLES.items():
        sheet, wrong = read_sheet(
            table, folder / table.file, table.file, required=name not in OPTIONAL
        )
        rows, mistaken = read_cells(table, sheet)
        problems += wrong + mistaken
        if rows or not (wrong or mistaken):
            read[name] = rows
    for check in (_duplicates, _references, _of_single_rows, _of_jobs):
        problems += check(read)
    if problems:
        raise ProblemsError(_in_order(problems))
    return _assembled(
        {
            name: [placed.record for placed in records(TABLES[name], rows)]
            for name, rows in read.items()
        }
    )


#: What could be read of each table; a table of which nothing could is not there.
_Tables = Mapping[str, list[Cells]]


def _in_order(problems: Iterable[Problem]) -> list[Problem]:
    order = {table.file: number for number, table in enumerate(TABLES.values())}
    return sorted(problems, key=lambda wrong: (order[wrong.file], wrong.row or 0))


def _duplicates(read: _Tables) -> Iterator[Problem]:
    for name, rows in read.items():
        columns = TABLES[name].columns()
        keys = [key for key, about in columns.items() if about.key]
        first: dict[tuple[str, ...], int] = {}
        for row, values, _ in rows if keys else ():
            if not values.keys() >= set(keys):
                continue
            key = tuple(values[part] for part in keys)
            if first.setdefault(key, row) != row:
                allowed = f"already in row {first[key]}"
                file = TABLES[name].file
                yield Problem(file, row, keys[0], " ".join(key), allowed)


def _references(read: _Tables) -> Iterator[Problem]:
    known = {
        "operations": {cells.values.get("op") for cells in read.get("operations", ())},
        "jobs": {cells.values.get("job") for cells in read.get("jobs", ())},
    }
    for name, rows in read.items():
        for part, about in TABLES[name].columns().items():
            if about.refers not in read:
                continue
            for row, values, _ in rows:
                value = values.get(part, ())
                for code in (value,) if isinstance(value, str) else value:
                    if code not in known[about.refers]:
                        allowed = f"no such row in {about.refers}.csv"
                        yield Problem(TABLES[name].file, row, part, code, allowed)


def _of_single_rows(read: _Tables) -> Iterator[Problem]:
    for row, values, _ in read.get("findings", ()):
        at_risk, affected = values.get("at_risk"), values.get("affected")
        if at_risk == 0:
            allowed = "1 or more; leave the row out where nobody looked"
            yield Problem("findings.csv", row, "at_risk", "0", allowed)
        elif at_risk is not None and affected is not None and affected > at_risk:
            allowed = f"at most the {at_risk} at risk"
            yield Problem("findings.csv", row, "affected", str(affected), allowed)


def _of_jobs(read: _Tables) -> Iterator[Problem]:
    if not read.keys() >= {"operations", "jobs", "cells", "clockings"}:
        return
    timed = {
        values.get("op")
        for _, values, _ in read["operations"]
        if any(values.get(part, 1) for part in ("book_setup", "book_unit"))
    }
    timed_jobs = {
        values.get("job") for _, values, _ in read["cells"] if values.get("op") in timed
    }
    future = {}
    for row, values, whole in read["jobs"]:
        if whole and values.get("split") == "future":
            future[values["job"]] = row
            if values["job"] not in timed_jobs:
                allowed = "no row in cells.csv names work of it that has minutes"
                yield Problem("jobs.csv", row, "job", values["job"], allowed)
    for row, values, _ in read["clockings"]:
        job = values.get("job", "")
        if job in future:
            allowed = f"is a future job in row {future[job]} of jobs.csv"
            yield Problem("clockings.csv", row, "job", job, allowed)


def _assembled(rows: Mapping[str, list[Any]]) -> PastJobs:
    from quoting.domain.calibration import (
        BookTime,
        Cell,
        Clocking,
        Marker,
        PastJob,
    )
    from quoting.domain.extras import Circumstances, Inspection

    cells: defaultdict[str, list[Cell]] = defaultdict(list)
    for cell in rows["cells"]:
        cells[cell.job].append(Cell(cell.op, float(cell.qty), float(cell.setups)))
    clockings: defaultdict[str, list[Clocking]] = defaultdict(list)
    for row in rows["clockings"]:
        minutes = None if row.minutes is None else float(row.minutes)
        clockings[row.job].append(Clocking(row.row, row.ops, minutes))
    jobs = {
        job.job: PastJob(
            job=job.job,
            on=job.date,
            cells=tuple(cells[job.job]),
            clockings=tuple(clockings[job.job]),
            family=job.family,
            machinist=job.machinist,
            material=job.material,
            hardness=job.hardness,
        )
        for job in rows["jobs"]
    }
    brings: defaultdict[str, list[str]] = defaultdict(list)
    for row in rows["operations"]:
        if row.driver.startswith(FOUND):
            brings[row.driver.removeprefix(FOUND).strip()].append(row.op)
    circumstances = {
        job.job: Circumstances(job.family, job.band, job.reason, job.condition)
        for job in rows["jobs"]
    }
    past = {job.job: job for job in rows["jobs"] if job.split == "history"}
    return PastJobs(
        book=tuple(
            BookTime(
                row.op,
                float(row.book_setup),
                float(row.book_unit),
                by_material=row.scope_material == "1",
                by_hardness=row.scope_hardness == "1",
            )
            for row in rows["operations"]
        ),
        jobs=tuple(job for job in jobs.values() if job.job in past),
        future=tuple(job for job in jobs.values() if job.job not in past),
        inspections=tuple(
            Inspection(
                row.job,
                past[row.job].date,
                row.finding,
                row.at_risk,
                row.affected,
                circumstances[row.job],
            )
            for row in rows["findings"]
            if row.job in past
        ),
        markers=tuple(Marker(row.date, row.ops, row.what) for row in rows["events"]),
        brings={finding: tuple(codes) for finding, codes in brings.items()},
        units={
            row.op: "unit" if FOUND in row.driver else row.driver or "unit"
            for row in rows["operations"]
        },
    )


def write_jobs(past: PastJobs) -> str:
    """Return the past jobs, their inspections and markers as text for ``read_jobs``."""
    return json.dumps(
        {
            "jobs": [
                {
                    "job": job.job,
                    "on": job.on.isoformat(),
                    "cells": [
                        [c.operation, c.quantity, c.setups, c.factor] for c in job.cells
                    ],
                    "clockings": [
                        [c.row, c.operations, c.minutes] for c in job.clockings
                    ],
                    **{name: getattr(job, name) for name in _OF_A_JOB},
                }
                for job in past.jobs
            ],
            "inspections": [
                [
                    each.job,
                    each.on.isoformat(),
                    each.finding,
                    each.at_risk,
                    each.affected,
                    each.circumstances,
                ]
                for each in past.inspections
            ],
            "markers": [[m.on.isoformat(), m.operations, m.what] for m in past.markers],
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


_OF_A_JOB = ("family", "machinist", "material", "hardness")


class Earlier(NamedTuple):
    """What ``read_jobs`` gives back."""

    jobs: "tuple[PastJob, ...]"
    inspections: "tuple[Inspection, ...]"
    markers: "tuple[Marker, ...]"


def read_jobs(text: str) -> Earlier:
    """Return what ``write_jobs`` wrote."""
    from quoting.domain.calibration import Cell, Clocking, Marker, PastJob
    from quoting.domain.extras import Circumstances, Inspection

    day, values = datetime.date.fromisoformat, json.loads(text)
    return Earlier(
        tuple(
            PastJob(
                job=row["job"],
                on=day(row["on"]),
                cells=tuple(Cell(*cell) for cell in row["cells"]),
                clockings=tuple(
                    Clocking(name, tuple(codes), minutes)
                    for name, codes, minutes in row["clockings"]
                ),
                **{name: row[name] for name in _OF_A_JOB},
            )
            for row in values["jobs"]
        ),
        tuple(
            Inspection(job, day(on), finding, at_risk, affected, Circumstances(*about))
            for job, on, finding, at_risk, affected, about in values["inspections"]
        ),
        tuple(
            Marker(day(on), tuple(codes), what) for on, codes, what in values["markers"]
        ),
    )
