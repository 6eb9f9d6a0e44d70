"""Invented shops whose true minutes and findings are known.

Everything here is invented: the shops, their books, their people and their heads. A
shop works at its own pace around the book, has slower and quicker machinists, buys a
machine, forgets to clock off now and then, and finds worn guides more often on old and
overheated engines. Minutes are minutes of shop time.
"""

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import product
from pathlib import Path
from random import Random
from typing import NamedTuple

from quoting.domain.calibration import (
    BookTime,
    Cell,
    Clocking,
    History,
    Marker,
    PastJob,
)

TODAY = date(2025, 6, 30)
DAYS = 900


class Kind(NamedTuple):
    """An operation of the book: what it is counted by, and where it is done."""

    book: BookTime
    counted_by: str
    place: str


class Family(NamedTuple):
    """A kind of head that comes in."""

    name: str
    cylinders: int
    valves_each: int
    material: str
    share: float


class Finding(NamedTuple):
    """Something that may be found: of what, how often, and the work that it makes."""

    name: str
    of: str
    logit: float
    correlation: float
    operation: str


class Found(NamedTuple):
    """What one inspected job showed; ``affected`` of ``at_risk``."""

    job: str
    finding: str
    at_risk: int
    affected: int


class Circumstances(NamedTuple):
    """What is known of a job before it is inspected."""

    family: str
    band: str
    reason: str
    condition: str


class Done(NamedTuple):
    """A job of the days to come: its true mean, and what it then took."""

    job: PastJob
    mean: float
    minutes: float


OPERATIONS = (
    Kind(BookTime("dismantle", 6, 1.4), "valve", "bench"),
    Kind(BookTime("clean", 10, 8), "head", "wash"),
    Kind(BookTime("measure", 7, 0.9), "valve", "bench"),
    Kind(BookTime("water-test", 16, 15), "head", "test"),
    Kind(BookTime("ream-guides", 5, 1.7, by_material=True), "valve", "bench"),
    Kind(
        BookTime("cut-seats", 12, 4.2, by_material=True, by_hardness=True),
        "valve",
        "seat",
    ),
    Kind(BookTime("grind-valves", 8, 2.3), "valve", "valve"),
    Kind(BookTime("face", 17, 13, by_material=True), "head", "mill"),
    Kind(BookTime("build-up", 9, 2.6), "valve", "bench"),
    Kind(BookTime("new-guides", 11, 5.5, by_material=True), "found", "bench"),
    Kind(
        BookTime("new-seats", 14, 10, by_material=True, by_hardness=True),
        "found",
        "seat",
    ),
    Kind(BookTime("close-crack", 22, 30, by_material=True), "found", "weld"),
)
FAMILIES = (
    Family("four-8", 4, 2, "aluminium", 0.25),
    Family("four-16", 4, 4, "aluminium", 0.35),
    Family("four-8-iron", 4, 2, "iron", 0.15),
    Family("three-12", 3, 4, "aluminium", 0.10),
    Family("six-12-iron", 6, 2, "iron", 0.10),
    Family("single-4", 1, 4, "aluminium", 0.05),
)
PACKAGES = (
    (
        "dismantle clean measure ream-guides cut-seats grind-valves face build-up",
        0.45,
    ),
    ("clean water-test face", 0.30),
    ("dismantle clean measure cut-seats grind-valves build-up", 0.25),
)
MACHINISTS = (("first", 0.5), ("second", 0.3), ("third", 0.2))
BANDS = (("young", 0.3), ("middle", 0.4), ("old", 0.3))
REASONS = (("overheated", 0.25), ("belt", 0.25), ("oil", 0.5))
CONDITIONS = (("clean", 0.6), ("corroded", 0.4))
FINDINGS = (
    Finding("guides-worn", "valve", -0.7, 0.50, "new-guides"),
    Finding("seats-bad", "valve", -2.3, 0.30, "new-seats"),
    Finding("cracked", "head", -2.4, 0.20, "close-crack"),
)
#: What a band, a reason and a condition add to the logit of every finding.
BAND_EFFECT = {"young": -0.8, "middle": 0.0, "old": 0.8}
REASON_EFFECT = {"overheated": 0.7, "belt": 0.2, "oil": -0.4}
CONDITION_EFFECT = {"clean": -0.3, "corroded": 0.5}


@dataclass(frozen=True)
class Shop:
    """One invented shop: what it wrote down, and what is true of it.

    Attributes:
        history: what the shop knows of its minutes.
        future: jobs of the days after, recorded as the past ones are.
        setup: true minutes a set-up today, by operation.
        unit: true minutes a unit today, by operation.
        circumstances: of every job, past and future, by job.
        findings: of the past jobs.
        found_later: of the future jobs.
        probability: true mean share affected, by finding and circumstances.
        incidents: rows that went wrong.
    """

    history: History
    future: tuple[Done, ...]
    setup: Mapping[str, float]
    unit: Mapping[str, float]
    circumstances: Mapping[str, Circumstances]
    findings: tuple[Found, ...]
    found_later: tuple[Found, ...]
    probability: Mapping[tuple[str, Circumstances], float]
    incidents: frozenset[str]


def pinball(actual: Sequence[float], predicted: Sequence[float], p: float) -> float:
    """Return the mean loss of predicted quantiles (Koenker and Bassett 1978)."""
    losses = [
        max(p * (y - q), (p - 1) * (y - q))
        for y, q in zip(actual, predicted, strict=True)
    ]
    return math.fsum(losses) / len(losses)


def simulate(
    seed: int,
    jobs: int = 120,
    *,
    future: int = 200,
    clocked: float = 0.3,
    incidents: float = 0.05,
    drift: bool = True,
    to_book: bool = False,
) -> Shop:
    """Return an invented shop.

    Args:
        seed: the same one gives the same shop.
        jobs: past jobs.
        future: jobs of the four months after.
        clocked: share of jobs whose operations are clocked one by one.
        incidents: share of rows that go wrong.
        drift: 4 % a year quicker, and a new seat machine on day 500.
        to_book: the shop works as the book says.
    """
    return _Simulation(
        seed, clocked=clocked, incidents=incidents, drift=drift, to_book=to_book
    ).shop(jobs, future)


class _Simulation:
    def __init__(
        self,
        seed: int,
        *,
        clocked: float,
        incidents: float,
        drift: bool,
        to_book: bool,
    ) -> None:
        self.random = Random(seed)  # noqa: S311  nothing secret
        self.clocked, self.incidents, self.drift = clocked, incidents, drift
        draw = self.random
        self.deviation = {}
        self.noise = {}
        for kind in OPERATIONS:
            whole = 0.0 if to_book else draw.uniform(-0.3, 0.4)
            parts = (0.0, 0.0) if to_book else (draw.gauss(0, 0.1), draw.gauss(0, 0.1))
            code = kind.book.operation
            self.deviation[code] = (whole + parts[0], whole + parts[1])
            self.noise[code] = draw.uniform(0.15, 0.35)
        self.job_noise = draw.uniform(0.08, 0.15)
        self.iron, self.hard = draw.uniform(0.05, 0.2), draw.uniform(0.1, 0.3)
        self.machinist = _centred({name: draw.gauss(0, 0.1) for name, _ in MACHINISTS})
        self.family = _centred({f.name: draw.gauss(0, 0.06) for f in FAMILIES})
        self.prone = {
            (finding.name, family.name): draw.gauss(0, 0.4)
            for finding in FINDINGS
            for family in FAMILIES
        }
        self.wrong: set[str] = set()

    def shop(self, jobs: int, future: int) -> Shop:
        """Return the shop after *jobs* past jobs, with *future* ones to come."""
        draw = self.random
        circumstances: dict[str, Circumstances] = {}
        found: list[Found] = []
        past: list[PastJob] = []
        for number, day in enumerate(sorted(draw.randrange(DAYS) for _ in range(jobs))):
            job, about, seen = self._job(f"P{number:05}", day)
            circumstances[job.job] = about
            found += seen
            past.append(self._recorded(job, day)[0])
        later: list[Found] = []
        done: list[Done] = []
        for number in range(future):
            day = DAYS + draw.randrange(120)
            job, about, seen = self._job(f"Q{number:05}", day)
            circumstances[job.job] = about
            later += seen
            recorded, mean = self._recorded(job, day)
            minutes = math.fsum(row.minutes or 0 for row in recorded.clockings)
            done.append(Done(job, mean, minutes))
        marker = Marker(
            TODAY - timedelta(days=DAYS - 500),
            ("cut-seats", "new-seats"),
            "new seat machine",
        )
        now = {kind.book.operation: self._times(kind, DAYS + 60) for kind in OPERATIONS}
        return Shop(
            history=History(
                book=tuple(kind.book for kind in OPERATIONS),
                jobs=tuple(past),
                today=TODAY,
                markers=(marker,) if self.drift else (),
                material="aluminium",
                hardness="standard",
            ),
            future=tuple(done),
            setup={code: times[0] for code, times in now.items()},
            unit={code: times[1] for code, times in now.items()},
            circumstances=circumstances,
            findings=tuple(found),
            found_later=tuple(later),
            probability=self._probabilities(),
            incidents=frozenset(self.wrong),
        )

    def _probabilities(self) -> dict[tuple[str, Circumstances], float]:
        every = product(
            [family.name for family in FAMILIES],
            [name for name, _ in BANDS],
            [name for name, _ in REASONS],
            [name for name, _ in CONDITIONS],
        )
        return {
            (finding.name, about): self._probability(finding, about)
            for about in (Circumstances(*each) for each in every)
            for finding in FINDINGS
        }

    def _probability(self, finding: Finding, about: Circumstances) -> float:
        logit = (
            finding.logit
            + BAND_EFFECT[about.band]
            + REASON_EFFECT[about.reason]
            + CONDITION_EFFECT[about.condition]
            + self.prone[finding.name, about.family]
        )
        return 1 / (1 + math.exp(-logit))

    def _job(self, name: str, day: int) -> tuple[PastJob, Circumstances, list[Found]]:
        draw = self.random
        family = draw.choices(FAMILIES, [family.share for family in FAMILIES])[0]
        about = Circumstances(
            family.name, self._one(BANDS), self._one(REASONS), self._one(CONDITIONS)
        )
        work = self._one(PACKAGES).split()
        counts = {"valve": family.cylinders * family.valves_each, "head": 1}
        quantity = {
            kind.book.operation: counts[kind.counted_by]
            for kind in OPERATIONS
            if kind.book.operation in work
        }
        found = []
        for finding in FINDINGS:
            if "measure" not in work and finding.of == "valve":
                continue
            at_risk = counts[finding.of]
            share = self._probability(finding, about)
            affected = self._affected(at_risk, share, finding.correlation)
            found.append(Found(name, finding.name, at_risk, affected))
            if affected:
                quantity[finding.operation] = affected
        job = PastJob(
            job=name,
            on=TODAY - timedelta(days=DAYS - day),
            cells=tuple(Cell(code, float(of)) for code, of in quantity.items()),
            clockings=(),
            family=family.name,
            machinist=self._one(MACHINISTS),
            material=family.material,
            hardness="hard" if draw.random() < 0.2 else "standard",
        )
        return job, about, found

    def _one(self, choices: Iterable[tuple[str, float]]) -> str:
        names, shares = zip(*choices, strict=True)
        return str(self.random.choices(names, shares)[0])

    def _affected(self, at_risk: int, share: float, correlation: float) -> int:
        worth = (1 - correlation) / correlation
        chance = self.random.betavariate(share * worth, (1 - share) * worth)
        return sum(self.random.random() < chance for _ in range(at_risk))

    def _times(self, kind: Kind, day: int) -> tuple[float, float]:
        setup, unit = self.deviation[kind.book.operation]
        if self.drift:
            setup, unit = setup - 0.04 * day / 365, unit - 0.04 * day / 365
            if kind.place == "seat" and day >= 500:
                unit -= 0.3
        return kind.book.setup * math.exp(setup), kind.book.unit * math.exp(unit)

    def _recorded(self, job: PastJob, day: int) -> tuple[PastJob, float]:
        """Return the job as written down, and the true mean of its minutes."""
        draw = self.random
        minutes: dict[str, float] = {}
        mean = 0.0
        whole = self._mean_one(self.job_noise)
        kinds = {kind.book.operation: kind for kind in OPERATIONS}
        for cell in job.cells:
            kind = kinds[cell.operation]
            setup, unit = self._times(kind, day)
            log = self.machinist[job.machinist] + self.family[job.family]
            log += self.iron * (kind.book.by_material and job.material == "iron")
            log += self.hard * (kind.book.by_hardness and job.hardness == "hard")
            one = (setup + unit * cell.quantity) * math.exp(log)
            mean += one
            noise = self._mean_one(self.noise[cell.operation])
            minutes[cell.operation] = one * whole * noise
        rows = [tuple(minutes)]
        if draw.random() < self.clocked:
            rows = [(code,) for code in minutes]
        clockings = []
        for number, operations in enumerate(rows):
            row = f"{job.job}-{number}"
            took = math.fsum(minutes[code] for code in operations)
            if draw.random() < self.incidents:
                self.wrong.add(row)
                slow = draw.random() < 0.75
                took *= draw.uniform(1.8, 4) if slow else draw.uniform(0.25, 0.55)
            clockings.append(Clocking(row, operations, max(1.0, float(round(took)))))
        known = job.machinist if draw.random() < 0.9 else ""
        return (
            PastJob(
                job.job,
                job.on,
                job.cells,
                tuple(clockings),
                job.family,
                known,
                job.material,
                job.hardness,
            ),
            mean,
        )

    def _mean_one(self, variation: float) -> float:
        variance = math.log(1 + variation**2)
        return math.exp(self.random.gauss(0, math.sqrt(variance)) - variance / 2)


def _centred(effects: dict[str, float]) -> dict[str, float]:
    mean = math.fsum(effects.values()) / len(effects)
    return {name: effect - mean for name, effect in effects.items()}


def write(shop: Shop, folder: Path) -> None:
    """Write what the shop knows as tables of past jobs, its future jobs among them."""
    history = shop.history
    families = {family.name: family for family in FAMILIES}
    jobs, cells = [], []
    for split, job in [
        *(("history", job) for job in history.jobs),
        *(("future", done.job) for done in shop.future),
    ]:
        about, family = shop.circumstances[job.job], families[job.family]
        single = all(len(row.operations) == 1 for row in job.clockings)
        jobs.append(
            {
                "job": job.job,
                "date": job.on,
                "day": (job.on - TODAY).days + DAYS,
                "split": split,
                "clock": "op" if single else "total",
                "family": job.family,
                "cylinders": family.cylinders,
                "valves_per_cyl": family.valves_each,
                "heads": 1,
                "material": job.material,
                "hardness": job.hardness,
                "band": about.band,
                "machinist": job.machinist if split == "history" else "",
                "reason": about.reason,
                "condition": about.condition,
            }
        )
        cells += [
            {"job": job.job, "op": cell.operation, "qty": f"{cell.quantity:g}"}
            for cell in job.cells
        ]
    tables: dict[str, list[dict[str, object]]] = {
        "operations": [
            {
                "op": kind.book.operation,
                "group": kind.place,
                "driver": kind.counted_by,
                "book_setup": kind.book.setup,
                "book_unit": kind.book.unit,
                "centre": kind.place,
                "scope_material": int(kind.book.by_material),
                "scope_hardness": int(kind.book.by_hardness),
            }
            for kind in OPERATIONS
        ],
        "jobs": jobs,
        "cells": cells,
        "clockings": [
            {
                "row": row.row,
                "job": job.job,
                "ops": "+".join(row.operations),
                "minutes": f"{row.minutes:g}",
            }
            for job in history.jobs
            for row in job.clockings
        ],
        "findings": [found._asdict() for found in shop.findings + shop.found_later],
        "events": [
            {
                "date": marker.on,
                "day": (marker.on - TODAY).days + DAYS,
                "ops": "+".join(marker.operations),
                "what": marker.what,
            }
            for marker in history.markers
        ],
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        header = list(rows[0]) if rows else ["date", "day", "ops", "what"]
        path = folder / f"{name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, header, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
