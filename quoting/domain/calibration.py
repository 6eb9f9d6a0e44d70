"""What past jobs say about minutes: a shop's own times around the book's.

Every clocked row (an operation, a group of operations or a whole job) is the same kind
of fact: the logarithm of its minutes lies around the logarithm of the sum of its
operations' mean minutes. A mean is the book's, times the shop's pace, the operation's
deviation and those of its set-up and unit part, each drawn towards "as in the book".
So no minute can become negative, and without history everything is the book.

Pure. Minutes are float minutes of shop time, quantities are units of the operation,
deviations are natural logarithms of a factor. No money passes through here. Needs
numpy: import this module where it is used, not at the top.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import Enum
from statistics import fmean
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quoting.domain.errors import RuleError, translatable

Floats = NDArray[np.float64]


class NotConvergedError(RuleError):
    """The fit did not settle; the last good one stays in use."""

    message = translatable(
        "The past jobs gave no stable times after {rounds} rounds; "
        "the times learnt before stay in use."
    )


@dataclass(frozen=True, slots=True)
class BookTime:
    """What the book says an operation takes.

    Attributes:
        operation: its code.
        setup: minutes a set-up, not negative.
        unit: minutes a unit, not negative.
        by_material: the material of the head changes its minutes.
        by_hardness: the hardness of the seats changes its minutes.
    """

    operation: str
    setup: float
    unit: float
    by_material: bool = False
    by_hardness: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """An operation done in one job.

    Attributes:
        operation: its code.
        quantity: units, those of a modified unit weighted by the modifier (8 plain
            and 8 at 1.2 are 17.6).
        setups: how many set-ups.
        factor: what the book multiplies the whole line by.
    """

    operation: str
    quantity: float
    setups: float = 1.0
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Clocking:
    """Minutes recorded on one, several or all operations of a job.

    ``operations`` is empty where the whole job is meant, ``minutes`` is None where
    nothing was written down.
    """

    row: str
    operations: tuple[str, ...]
    minutes: float | None


@dataclass(frozen=True, slots=True)
class PastJob:
    """A finished job: what was done, what it was done on, what it took.

    Text that is not known is empty.
    """

    job: str
    on: date
    cells: tuple[Cell, ...]
    clockings: tuple[Clocking, ...]
    family: str = ""
    machinist: str = ""
    material: str = ""
    hardness: str = ""


@dataclass(frozen=True, slots=True)
class Marker:
    """A day from which some operations go differently: a new machine, a new way."""

    on: date
    operations: tuple[str, ...]
    what: str = ""


@dataclass(frozen=True, slots=True)
class History:
    """All that a shop knows about its minutes.

    Attributes:
        book: the times of the edition, each operation once.
        jobs: the past jobs, in any order.
        today: the day for which times are wanted.
        markers: days from which some operations go differently.
        material: the material that the book is written for.
        hardness: the hardness that the book is written for.
    """

    book: tuple[BookTime, ...]
    jobs: tuple[PastJob, ...]
    today: date
    markers: tuple[Marker, ...] = ()
    material: str = ""
    hardness: str = ""


class Why(Enum):
    """Why a record was not learnt from."""

    NO_MINUTES = translatable("no minutes, or none above 0")
    NOT_BELIEVABLE = translatable("more than 30 times the book, or less than a 30th")
    JOB_TWICE = translatable("the job is there twice; the first was taken")
    ROW_TWICE = translatable("the row is there twice; the first was taken")
    WORK_TWICE = translatable(
        "the same work was clocked twice in one job; make one row of it"
    )
    NOT_IN_EDITION = translatable("the edition has no such operation, or no minutes")
    NOT_IN_JOB = translatable("the job has no such operation")
    NO_QUANTITY = translatable("quantity, set-ups and factor leave it no minutes")
    AFTER_TODAY = translatable("the job is dated after today")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A record that was not learnt from: its job, row, operation, and why.

    ``row`` and ``operation`` are empty where the whole job or row is meant.
    """

    job: str
    row: str
    operation: str
    why: Why


@dataclass(frozen=True, slots=True)
class Incident:
    """A row that looks like an interruption or a clock left running, not like work.

    Attributes:
        job: the job.
        row: the row.
        operations: what was clocked.
        minutes: as recorded.
        expected: minutes that such work takes in this job.
        probability: of an incident, 0 to 1; more than 0.5.
    """

    job: str
    row: str
    operations: tuple[str, ...]
    minutes: float
    expected: float
    probability: float


@dataclass(frozen=True, slots=True)
class Point:
    """A record against what the shop's own times say of that very work.

    Attributes:
        job: the job.
        on: its day.
        operations: what was clocked, in the order of the job.
        minutes: as recorded.
        expected: mean minutes of such work by who did it, on such a head, that day.
        incident: it looks like an interruption, not like work.
    """

    job: str
    on: date
    operations: tuple[str, ...]
    minutes: float
    expected: float
    incident: bool


class Spread(NamedTuple):
    """A standard deviation on the log scale, and how many observations it is worth."""

    worth: float
    sd: float

    def updated(self, squares: float, number: float) -> float:
        """Return the sd after *number* more observations whose squares add up so.

        >>> Spread(worth=4, sd=0.2).updated(squares=0.24, number=4)
        0.22360679774997896
        """
        return float(
            np.sqrt((self.worth * self.sd**2 + squares) / (self.worth + number))
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumptions:
    """What is believed before any job was seen; sds on the log scale.

    Attributes:
        pace: sd of the whole shop's pace against the book.
        operation: spread of operations around the pace.
        part: spread of set-up and unit around their operation.
        machinist: spread of machinists.
        family: spread of head families.
        material: sd of the effect of another material.
        hardness: sd of the effect of another hardness.
        trend: sd of a yearly change.
        marker: sd of a marked change.
        noise: spread of one operation's time.
        job: spread of a factor that all rows of a job share.
        incidents: how many of how many rows went wrong.
        job_incidents: share of jobs that went wrong throughout.
        incident_sd: sd of what an incident multiplies a time by.
        half_life: days after which a job counts half.
        means: a row's mean, not its median, is what the minutes add up to.
        rounds: after so many the fit has failed.
        settled: part of an sd, or of a variance, that may still move at the end.
    """

    pace: float = 0.25
    operation: Spread = Spread(4, 0.20)
    part: Spread = Spread(8, 0.10)
    machinist: Spread = Spread(4, 0.08)
    family: Spread = Spread(6, 0.06)
    material: float = 0.20
    hardness: float = 0.20
    trend: float = 0.08
    marker: float = 0.30
    noise: Spread = Spread(20, 0.25)
    job: Spread = Spread(10, 0.12)
    incidents: tuple[float, float] = (2, 40)
    job_incidents: float = 0.02
    incident_sd: float = 0.8
    half_life: float = 730
    means: bool = True
    rounds: int = 200
    settled: float = 0.02


USUAL = Assumptions()


class Effect(NamedTuple):
    """A column of the model: what kind of effect, and of what.

    ``kind`` is one of pace, operation, setup, unit, material, hardness, machinist,
    family, trend, marker; ``on`` is the day of a marker.
    """

    kind: str
    of: str = ""
    on: date | None = None


class WholeJob(NamedTuple):
    """A past job whose minutes are known altogether.

    ``wrong`` is the mean probability of an incident of its rows.
    """

    job: PastJob
    minutes: float
    wrong: float


class Means(NamedTuple):
    """Rows at one set of effects.

    Attributes:
        minutes: mean minutes; one a row.
        shares: of each entry in its row.
        gradient: of the log of the minutes; a row a row, a column an effect.
        squares: sums of the squared shares; one a row.
    """

    minutes: Floats
    shares: Floats
    gradient: Floats
    squares: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """Rows of cells as arrays, ready for any set of effects.

    An entry is one cell in one row. A pair of ``entry`` and ``column`` is an effect
    that changes the entry's minutes as a whole; a column past the last is no effect.

    Attributes:
        common: effects that a row's entries share; a row a row, a column an effect.
        starts: the first entry of each row.
        row: the row of each entry.
        setup: book minutes of each entry's set-ups.
        unit: book minutes of each entry's units.
        setup_column: the effect on the set-up.
        unit_column: the effect on the units.
        entry: the entries of the pairs.
        column: the columns of the pairs.
    """

    common: Floats
    starts: NDArray[np.intp]
    row: NDArray[np.intp]
    setup: Floats
    unit: Floats
    setup_column: NDArray[np.intp]
    unit_column: NDArray[np.intp]
    entry: NDArray[np.intp]
    column: NDArray[np.intp]

    def at(self, effects: Floats) -> Means:
        """Return the rows' means where the effects are these."""
        number, width = self.common.shape
        known = np.append(effects, 0.0)
        log = (self.common @ effects)[self.row] + np.bincount(
            self.entry, known[self.column], minlength=len(self.row)
        )
        setup = self.setup * np.exp(log + known[self.setup_column])
        unit = self.unit * np.exp(log + known[self.unit_column])
        minutes = np.add.reduceat(setup + unit, self.starts)
        setup, unit = setup / minutes[self.row], unit / minutes[self.row]
        shares = setup + unit
        cells = np.concatenate([self.row[self.entry], self.row, self.row])
        columns = np.concatenate([self.column, self.setup_column, self.unit_column])
        gradient = np.bincount(
            cells * (width + 1) + columns,
            np.concatenate([shares[self.entry], setup, unit]),
            minlength=number * (width + 1),
        ).reshape(number, width + 1)[:, :width]
        squares = np.add.reduceat(shares * shares, self.starts)
        return Means(minutes, shares, gradient + self.common, squares)


class Model:
    """The effects of a history, and how rows of cells depend on them."""

    def __init__(
        self,
        history: History,
        effects: Sequence[Effect],
        shares: Mapping[str, Mapping[str, float]],
    ) -> None:
        self.today = history.today
        self.effects = tuple(effects)
        self.shares = shares
        self.index = {effect: column for column, effect in enumerate(self.effects)}
        self.operation = {time.operation: i for i, time in enumerate(history.book)}
        self.setup = np.array([time.setup for time in history.book])
        self.unit = np.array([time.unit for time in history.book])
        self.by_material = np.array([time.by_material for time in history.book], bool)
        self.by_hardness = np.array([time.by_hardness for time in history.book], bool)
        codes = list(self.operation)
        self.columns = {
            kind: np.array([self._column(kind, code) for code in codes], np.intp)
            for kind in ("operation", "setup", "unit")
        }
        self.markers = {
            on: np.array([self._column("marker", code, on) for code in codes], np.intp)
            for on in sorted({effect.on for effect in effects if effect.on})
        }

    def _column(self, kind: str, of: str, on: date | None = None) -> int:
        return self.index.get(Effect(kind, of, on), len(self.effects))

    def design(
        self,
        rows: Sequence[tuple[PastJob, Sequence[Cell]]],
        rates: Mapping[str, float] | None = None,
    ) -> Design:
        """Return the rows as arrays; with *rates* minutes count that much each."""
        number, width = len(rows), len(self.effects)
        lengths = np.array([len(cells) for _, cells in rows], np.intp)
        flat = [cell for _, cells in rows for cell in cells]
        of = np.array([self.operation[cell.operation] for cell in flat], np.intp)
        factor = np.array([cell.factor for cell in flat], float)
        if rates is not None:
            factor = factor * np.array([rates[cell.operation] for cell in flat])
        setups = np.array([cell.setups for cell in flat], float)
        quantity = np.array([cell.quantity for cell in flat], float)
        row = np.repeat(np.arange(number), lengths)
        pairs = [(np.arange(len(flat)), self.columns["operation"][of])]
        pairs += self._levels("material", rows, row, self.by_material[of])
        pairs += self._levels("hardness", rows, row, self.by_hardness[of])
        for on, columns in self.markers.items():
            since = np.array([job.on >= on for job, _ in rows], bool)
            entries = np.flatnonzero(since[row])
            pairs.append((entries, columns[of[entries]]))
        return Design(
            common=self._common(rows, number, width),
            starts=np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(np.intp),
            row=row,
            setup=self.setup[of] * setups * factor,
            unit=self.unit[of] * quantity * factor,
            setup_column=self.columns["setup"][of],
            unit_column=self.columns["unit"][of],
            entry=np.concatenate([entries for entries, _ in pairs]),
            column=np.concatenate([columns for _, columns in pairs]),
        )

    def _of_jobs(
        self, kind: str, rows: Sequence[tuple[PastJob, Sequence[Cell]]]
    ) -> NDArray[np.intp]:
        none = len(self.effects)
        known = {
            effect.of: column
            for column, effect in enumerate(self.effects)
            if effect.kind == kind
        }
        return np.array([known.get(getattr(job, kind), none) for job, _ in rows])

    def _levels(
        self,
        kind: str,
        rows: Sequence[tuple[PastJob, Sequence[Cell]]],
        row: NDArray[np.intp],
        concerned: NDArray[np.bool_],
    ) -> list[tuple[NDArray[np.intp], NDArray[np.intp]]]:
        columns = self._of_jobs(kind, rows)
        entries = np.flatnonzero(concerned & (columns[row] < len(self.effects)))
        return [(entries, columns[row[entries]])]

    def _common(
        self, rows: Sequence[tuple[PastJob, Sequence[Cell]]], number: int, width: int
    ) -> Floats:
        common = np.zeros((number, width))
        common[:, self.index[Effect("pace")]] = 1
        years = np.array([(job.on - self.today).days / 365.25 for job, _ in rows])
        common[:, self.index[Effect("trend")]] = np.minimum(years, 0)
        for kind, shares in self.shares.items():
            usual = np.zeros(width)
            for level, share in shares.items():
                usual[self._column(kind, level)] = share
            columns = self._of_jobs(kind, rows)
            seen = np.flatnonzero(columns < width)
            common[seen, columns[seen]] = 1
            common[[not getattr(job, kind) for job, _ in rows]] += usual
        return common


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What was learnt; enough to estimate with.

    Attributes:
        history: what it was learnt from, without its jobs.
        assumptions: what was believed before.
        model: the effects, and how rows depend on them.
        estimate: the effects, natural logarithms of factors.
        covariance: of the estimate.
        prior: variances of the effects if no job were known.
        spreads: sds of operations, parts, machinists and families, as learnt.
        noise: sd of the log of one operation's time.
        job: sd of the log of the factor that a job's rows share.
        incident: share of rows that go wrong.
        rows: rows learnt from.
        jobs: jobs learnt from, by operation.
        clocked: rows of that operation alone, by operation.
        usual: mean units in a job, by operation.
        effective_jobs: how many jobs of today the weighted ones are worth (Kish 1965).
        step: minutes that the clock counts in; 0 if in none.
        whole_jobs: past jobs whose minutes are known altogether.
        incidents: rows that look wrong, the likeliest first.
        left_out: records that were not learnt from.
        rounds: how often the fit went round.
    """

    history: History
    assumptions: Assumptions
    model: Model
    estimate: Floats
    covariance: Floats
    prior: Floats
    spreads: Mapping[str, float]
    noise: float
    job: float
    incident: float
    rows: int
    jobs: Mapping[str, int]
    clocked: Mapping[str, int]
    usual: Mapping[str, float]
    effective_jobs: float
    step: float
    whole_jobs: tuple[WholeJob, ...]
    incidents: tuple[Incident, ...]
    left_out: tuple[LeftOut, ...]
    rounds: int

    def unknown(self, kind: str, of: str) -> float:
        """Return the variance of the log that not knowing a level adds.

        Args:
            kind: machinist or family.
            of: 0 for one that the shop knows, that of any for a new one, that of the
                shop's mixture where it is empty.
        """
        shares = self.model.shares[kind]
        if of in shares or not shares:
            return 0.0
        if of:
            return self.spreads[kind] ** 2
        columns = [self.model.index[Effect(kind, level)] for level in shares]
        weights, effects = np.array(list(shares.values())), self.estimate[columns]
        block = self.covariance[np.ix_(columns, columns)]
        between = weights @ (effects - weights @ effects) ** 2
        within = weights @ np.diag(block) - weights @ block @ weights
        return float(between + within)


def recency(days: Floats, half_life: float) -> Floats:
    """Return what jobs of that age count, against 1 for one of today.

    >>> recency(np.array([0, 730, 1460]), half_life=730).tolist()
    [1.0, 0.5, 0.25]
    """
    return np.exp2(-days / half_life)


def effective(weights: Floats) -> float:
    """Return how many jobs of weight 1 these weights are worth (Kish 1965).

    >>> effective(np.array([1.0, 1.0, 0.0]))
    2.0
    """
    squares = float(weights @ weights)
    return float(weights.sum()) ** 2 / squares if squares else 0.0


def clock_step(minutes: Sequence[float]) -> float:
    """Return the coarsest step that nearly all recorded minutes are multiples of.

    0 where they come in no step that clocks have.

    >>> clock_step([15, 30, 90, 45])
    15.0
    """
    for step in (15, 10, 6, 5, 1):
        if sum(not each % step for each in minutes) > 0.98 * len(minutes):
            return float(step)
    return 0.0


class Solution(NamedTuple):
    """One solve of the least squares: the step, its covariance, what the rows say.

    ``information`` is that of the rows alone, without the prior.
    """

    step: Floats
    covariance: Floats
    information: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Grouped:
    """Rows that lie together in jobs.

    Attributes:
        starts: the first row of each job.
        job: the job of each row.
        weight: what each job counts.
    """

    starts: NDArray[np.intp]
    job: NDArray[np.intp]
    weight: Floats

    @classmethod
    def of(cls, sizes: Sequence[int], weight: Floats) -> "Grouped":
        """Return jobs of that many rows each."""
        lengths = np.array(sizes, np.intp)
        starts = np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(np.intp)
        return cls(starts, np.repeat(np.arange(len(lengths)), lengths), weight)

    def sums(self, values: Floats) -> Floats:
        """Return the sums of the jobs' rows."""
        return np.asarray(np.add.reduceat(values, self.starts, axis=0), float)

    def solve(
        self,
        gradient: Floats,
        residual: Floats,
        precision: Floats,
        shared: Floats,
        prior_precision: Floats,
        estimate: Floats,
    ) -> Solution:
        """Return the generalised least squares step from *estimate*, prior mean 0.

        The rows of a job have the covariance diag(1 / *precision*) + *shared* of the
        job; its inverse is taken by Woodbury's identity, one term a job.
        """
        own = self.weight[self.job] * precision
        rows = np.sqrt(own)[:, None] * gradient
        sums = self.sums(precision[:, None] * gradient)
        errors = self.sums(precision * residual)
        pull = self.weight * shared / (1 + shared * self.sums(precision))
        jobs = np.sqrt(pull)[:, None] * sums
        information = rows.T @ rows - jobs.T @ jobs
        right = gradient.T @ (own * residual) - sums.T @ (pull * errors)
        right -= prior_precision * estimate
        full = information + np.diag(prior_precision)
        scale = 1 / np.sqrt(np.diag(full))
        root = np.linalg.cholesky(full * scale * scale[:, None])
        inverse = np.linalg.solve(root, np.diag(scale))
        covariance = inverse.T @ inverse
        step = inverse.T @ (inverse @ right)
        return Solution(step, covariance, information)


def incident_probability(
    share: float, residual: Floats, variance: Floats, incident_sd: float
) -> Floats:
    """Return how likely each residual is an incident's.

    Two normals at 0 are mixed: a *share* is wider by *incident_sd* squared.

    >>> incident_probability(0.5, np.array([0.0]), np.array([1.0]), 0.0).tolist()
    [0.5]
    """
    wide = variance + incident_sd**2
    exponent = residual**2 * (1 / variance - 1 / wide) / 2
    odds = share / (1 - share) * np.sqrt(variance / wide)
    odds = odds * np.exp(np.minimum(exponent, 500))
    return np.asarray(odds / (1 + odds), float)


class _Row(NamedTuple):
    job: PastJob
    row: str
    operations: tuple[str, ...]
    minutes: float
    cells: Sequence[Cell]


#: More than so many times the book, or less than one part in so many, is no work time.
_BELIEVABLE = 30


class _Sifter:
    """Tells the rows to learn from, and lists the rest."""

    def __init__(self, history: History) -> None:
        self.today = history.today
        self.jobs = history.jobs
        self.book = {
            time.operation: time
            for time in history.book
            if time.setup > 0 or time.unit > 0
        }
        self.left_out: list[LeftOut] = []

    def rows(self) -> list[_Row]:
        """Return the rows to learn from, by job and row."""
        rows: list[_Row] = []
        seen: set[str] = set()
        for job in self.jobs:
            if job.job in seen:
                self._leave(job, Why.JOB_TWICE)
            elif job.on > self.today:
                self._leave(job, Why.AFTER_TODAY)
            else:
                rows += self._of(job)
            seen.add(job.job)
        rows.sort(key=lambda row: (row.job.job, row.row))
        self.left_out.sort(key=lambda left: (left.job, left.row, left.operation))
        return rows

    def _leave(
        self, job: PastJob, why: Why, row: str = "", operation: str = ""
    ) -> None:
        self.left_out.append(LeftOut(job.job, row, operation, why))

    def _of(self, job: PastJob) -> Iterator[_Row]:
        cells, bad = self._cells(job)
        everything = (*cells, *bad)
        rows: dict[str, tuple[tuple[str, ...], float]] = {}
        for clocking in job.clockings:
            name, minutes = clocking.row, clocking.minutes
            if name in rows:
                self._leave(job, Why.ROW_TWICE, name)
            elif minutes is None or not 0 < minutes < math.inf:
                self._leave(job, Why.NO_MINUTES, name)
            else:
                rows[name] = clocking.operations or everything, minutes
        work = [frozenset(operations) for operations, _ in rows.values()]
        for done, (name, (operations, minutes)) in zip(work, rows.items(), strict=True):
            missing = [code for code in operations if code not in cells]
            of = [cell for code in cells if code in done for cell in cells[code]]
            if len(work) > 1 and work.count(done) > 1:
                self._leave(job, Why.WORK_TWICE, name)
            elif missing or not of:
                code = missing[0] if missing else ""
                self._leave(job, bad.get(code, Why.NOT_IN_JOB), name, code)
            elif not self._believable(minutes, of):
                self._leave(job, Why.NOT_BELIEVABLE, name)
            else:
                yield _Row(job, name, operations, minutes, of)

    def _cells(self, job: PastJob) -> tuple[dict[str, list[Cell]], dict[str, Why]]:
        cells: dict[str, list[Cell]] = {}
        bad: dict[str, Why] = {}
        for cell in job.cells:
            code, numbers = cell.operation, (cell.quantity, cell.setups, cell.factor)
            if code not in self.book:
                bad[code] = Why.NOT_IN_EDITION
            elif not (
                min(numbers) >= 0
                and math.isfinite(sum(numbers))
                and self._minutes(cell) > 0
            ):
                bad[code] = Why.NO_QUANTITY
            elif code in cells:
                cells[code].append(cell)
            else:
                cells[code] = [cell]
        for code, why in bad.items():
            self._leave(job, why, operation=code)
            cells.pop(code, None)
        return cells, bad

    def _minutes(self, cell: Cell) -> float:
        time = self.book[cell.operation]
        return cell.factor * (time.setup * cell.setups + time.unit * cell.quantity)

    def _believable(self, minutes: float, cells: Sequence[Cell]) -> bool:
        book = sum(self._minutes(cell) for cell in cells)
        return book / _BELIEVABLE <= minutes <= book * _BELIEVABLE


def fit(history: History, assumptions: Assumptions = USUAL) -> Calibration:
    """Learn a shop's minutes from its past jobs.

    Gauss-Newton steps for the effects alternate with expectation-maximisation updates
    of the variances and of the share of incidents; the spreads of operations, parts,
    machinists and families are empirical Bayes. The order of jobs and rows does not
    matter and nothing is drawn at random. Without a usable row the result is the book.

    Raises:
        NotConvergedError: the fit did not settle.
    """
    sifter = _Sifter(history)
    rows = sifter.rows()
    fitting = _Fit(replace(history, jobs=()), assumptions, rows)
    try:
        with np.errstate(over="raise", divide="raise", invalid="raise"):
            fitting.run()
    except (FloatingPointError, np.linalg.LinAlgError) as error:
        raise NotConvergedError(rounds=fitting.rounds) from error
    return fitting.calibration(tuple(sifter.left_out))


def against(learnt: Calibration, jobs: Sequence[PastJob]) -> tuple[Point, ...]:
    """Return the records of past jobs against what was learnt, the oldest first."""
    history = replace(learnt.history, jobs=tuple(jobs))
    rows = _Sifter(history).rows()
    if not rows:
        return ()
    design = learnt.model.design([(row.job, row.cells) for row in rows])
    wrong = {(incident.job, incident.row) for incident in learnt.incidents}
    points = [
        Point(
            row.job.job,
            row.job.on,
            row.operations,
            row.minutes,
            expected,
            (row.job.job, row.row) in wrong,
        )
        for row, expected in zip(
            rows, design.at(learnt.estimate).minutes.tolist(), strict=True
        )
    ]
    return tuple(sorted(points, key=lambda point: (point.on, point.job)))


def _effects(history: History, rows: Sequence[_Row]) -> Iterator[Effect]:
    jobs = {row.job.job: row.job for row in rows}.values()
    yield Effect("pace")
    for time in history.book:
        yield Effect("operation", time.operation)
    for time in history.book:
        if time.setup > 0:
            yield Effect("setup", time.operation)
        if time.unit > 0:
            yield Effect("unit", time.operation)
    for kind in ("material", "hardness"):
        levels = {getattr(job, kind) for job in jobs}
        for level in sorted(levels - {"", getattr(history, kind)}):
            yield Effect(kind, level)
    for kind in ("machinist", "family"):
        for level in sorted({getattr(job, kind) for job in jobs} - {""}):
            yield Effect(kind, level)
    yield Effect("trend")
    known = {time.operation for time in history.book}
    for on in sorted({m.on for m in history.markers if m.on <= history.today}):
        marked = {code for m in history.markers if m.on == on for code in m.operations}
        for code in sorted(marked & known):
            yield Effect("marker", code, on)


def _shares(jobs: Sequence[PastJob], weight: Floats, kind: str) -> dict[str, float]:
    known: dict[str, float] = {}
    for job, counts in zip(jobs, weight.tolist(), strict=True):
        if level := getattr(job, kind):
            known[level] = known.get(level, 0.0) + counts
    whole = sum(known.values())
    return {level: known[level] / whole for level in sorted(known) if whole}


#: Spreads that the past jobs correct, and the kinds of effect they belong to.
_SPREADS = {
    "operation": ("operation",),
    "part": ("setup", "unit"),
    "machinist": ("machinist",),
    "family": ("family",),
}

#: Passes over precisions and variances in one round.
_PASSES = 6

#: The longest step of an effect in one round.
_LONGEST = 0.5


class _Fit:
    def __init__(
        self, history: History, assumptions: Assumptions, rows: Sequence[_Row]
    ) -> None:
        self.history, self.assumptions, self.rows = history, assumptions, rows
        sizes = Counter(row.job.job for row in rows)
        self.jobs = list({row.job.job: row.job for row in rows}.values())
        ages = np.array([(history.today - job.on).days for job in self.jobs], float)
        weight = recency(ages, assumptions.half_life)
        kinds = ("machinist", "family")
        shares = {kind: _shares(self.jobs, weight, kind) for kind in kinds}
        self.model = Model(history, list(_effects(history, rows)), shares)
        self.kinds = np.array([effect.kind for effect in self.model.effects])
        self.estimate = np.zeros(len(self.kinds))
        self.spreads: dict[str, float] = {
            kind: getattr(assumptions, kind).sd for kind in _SPREADS
        }
        self.covariance = np.diag(self.prior())
        self.effective_parameters = 0.0
        self.noise, self.job = assumptions.noise.sd**2, assumptions.job.sd**2
        self.incident = assumptions.incidents[0] / assumptions.incidents[1]
        self.step = clock_step([row.minutes for row in rows]) if rows else 0.0
        self.rounds = 0
        if not rows:
            return
        self.grouped = Grouped.of(list(sizes.values()), weight)
        self.several = np.array(list(sizes.values())) > 1
        self.stranger = np.array([not job.machinist for job in self.jobs], float)
        self.stranger *= bool(shares["machinist"])
        self.design = self.model.design([(row.job, row.cells) for row in rows])
        self.log = np.log(np.array([row.minutes for row in rows]))
        self.wrong, self.others = np.zeros(len(rows)), np.zeros(len(rows))
        self.precision = np.zeros(len(rows))

    def prior(self) -> Floats:
        """Return the variances of the effects before any job."""
        prior = np.empty(len(self.kinds))
        for kind in set(self.kinds.tolist()):
            prior[self.kinds == kind] = self._prior_sd(kind) ** 2
        return prior

    def _prior_sd(self, kind: str) -> float:
        for spread, kinds in _SPREADS.items():
            if kind in kinds:
                return self.spreads[spread]
        sd: float = getattr(self.assumptions, kind)
        return sd

    def run(self) -> None:
        """Go round until effects and variances settle."""
        if not self.rows:
            return
        assumptions, grouped = self.assumptions, self.grouped
        while self.rounds < assumptions.rounds:
            self.rounds += 1
            before = self._variances()
            means = self.design.at(self.estimate)
            shift = (self.job + self.noise * means.squares) / 2 * assumptions.means
            residual = self.log - np.log(means.minutes) + shift
            rounding = self.step**2 / 12 / means.minutes**2
            if self.rounds == 1:
                self.precision = 0.8 / (self.noise * means.squares + rounding)
            for _ in range(_PASSES):
                shared = self._pass(residual, means.squares, rounding)
            solution = grouped.solve(
                means.gradient,
                residual,
                self.precision,
                shared,
                1 / self.prior(),
                self.estimate,
            )
            step, self.covariance = solution.step, solution.covariance
            self.effective_parameters = float(
                np.sum(solution.information * self.covariance)
            )
            moved = np.abs(step / np.sqrt(np.diag(self.covariance))).max()
            longest = float(np.abs(step).max())
            if longest > _LONGEST:
                step = step / 2 ** math.ceil(math.log2(longest / _LONGEST))
            self.estimate = self.estimate + step
            self._correct_spreads()
            after = self._variances()
            changed = np.abs(after / before - 1).max()
            if moved < assumptions.settled and changed < assumptions.settled:
                return
        raise NotConvergedError(rounds=self.rounds)

    def _variances(self) -> Floats:
        spreads = [spread**2 for spread in self.spreads.values()]
        return np.array([self.noise, self.job, *spreads])

    def _pass(self, residual: Floats, squares: Floats, rounding: Floats) -> Floats:
        """Update precisions and variances once; return each job's shared variance."""
        assumptions, grouped = self.assumptions, self.grouped
        wide, omega = assumptions.incident_sd, grouped.weight
        row_variance = self.noise * squares + rounding
        job_variance = self.job + self.spreads["machinist"] ** 2 * self.stranger

        precision = grouped.sums(self.precision)
        pulled = grouped.sums(self.precision * residual)
        job_wrong = incident_probability(
            assumptions.job_incidents,
            pulled / precision,
            job_variance + 1 / precision,
            wide,
        )
        job_wrong = np.where(self.several, job_wrong, 0.0)
        known = (1 - job_wrong) / job_variance + job_wrong / (job_variance + wide**2)

        without = (known + precision)[grouped.job] - self.precision
        others = (pulled[grouped.job] - self.precision * residual) / without
        self.wrong = incident_probability(
            self.incident, residual - others, row_variance + 1 / without, wide
        )
        right = 1 - self.wrong
        self.precision = right / row_variance + self.wrong / (row_variance + wide**2)
        self.others = others  # what the job's other rows say of its shared factor

        whole = known + grouped.sums(self.precision)
        factor = grouped.sums(self.precision * residual) / whole
        left = (residual - factor[grouped.job]) ** 2 + (1 / whole)[grouped.job]
        own = self.noise * squares / row_variance
        left = own**2 * left + own * (1 - own) * row_variance
        rows = omega[grouped.job]
        free = float(rows @ right) * (1 - self.effective_parameters / len(rows))
        noise = assumptions.noise.updated(float(rows @ (right * left / squares)), free)
        own = self.job / job_variance
        left = own**2 * (factor**2 + 1 / whole) + own * (1 - own) * job_variance
        counted = omega * (1 - job_wrong)
        job = assumptions.job.updated(float(counted @ left), float(counted.sum()))
        self.noise, self.job = noise**2, job**2
        wrong, of = assumptions.incidents
        self.incident = (wrong + float(rows @ self.wrong)) / (of + float(rows.sum()))
        return np.asarray(1 / known, float)

    def _correct_spreads(self) -> None:
        squares = self.estimate**2 + np.diag(self.covariance)
        for spread, kinds in _SPREADS.items():
            of = np.isin(self.kinds, kinds)
            before: Spread = getattr(self.assumptions, spread)
            self.spreads[spread] = before.updated(squares[of].sum(), of.sum())

    def calibration(self, left_out: tuple[LeftOut, ...]) -> Calibration:
        """Return the fit as it stands."""
        rows = self.rows
        done: dict[str, set[str]] = {}
        for row in rows:
            done.setdefault(row.job.job, set()).update(row.operations)
        jobs = Counter(code for codes in done.values() for code in codes)
        quantity: defaultdict[str, float] = defaultdict(float)
        for job in self.jobs:
            for cell in job.cells:
                if cell.operation in done[job.job]:
                    quantity[cell.operation] += cell.quantity
        alone = [row.operations[0] for row in rows if len(row.operations) == 1]
        return Calibration(
            history=self.history,
            assumptions=self.assumptions,
            model=self.model,
            estimate=self.estimate,
            covariance=self.covariance,
            prior=self.prior(),
            spreads=dict(self.spreads),
            noise=math.sqrt(self.noise),
            job=math.sqrt(self.job),
            incident=self.incident,
            rows=len(rows),
            jobs=dict(jobs),
            clocked=dict(Counter(alone)),
            usual={code: quantity[code] / jobs[code] for code in sorted(jobs)},
            effective_jobs=effective(self.grouped.weight) if rows else 0.0,
            step=self.step,
            whole_jobs=tuple(self._whole_jobs()),
            incidents=tuple(self._incidents()),
            left_out=left_out,
            rounds=self.rounds,
        )

    def _whole_jobs(self) -> Iterator[WholeJob]:
        wrong = self.wrong.tolist() if self.rows else []
        start = 0
        for end in range(1, len(self.rows) + 1):
            job = self.rows[start].job
            if end < len(self.rows) and self.rows[end].job is job:
                continue
            everything = {cell.operation for cell in job.cells}
            rows = range(start, end)
            for row in rows:
                if len(self.rows[row].cells) == len(job.cells):
                    rows = range(row, row + 1)
            clocked = [code for row in rows for code in self.rows[row].operations]
            if len(clocked) == len(everything) and everything.issuperset(clocked):
                minutes = math.fsum(self.rows[row].minutes for row in rows)
                yield WholeJob(job, minutes, fmean(wrong[row] for row in rows))
            start = end

    def _incidents(self) -> Iterator[Incident]:
        if not self.rows:
            return
        means = self.design.at(self.estimate)
        shift = (self.job + self.noise * means.squares) / 2 * self.assumptions.means
        expected = means.minutes * np.exp(self.others - shift)
        for number in np.argsort(-self.wrong, kind="stable"):
            row, wrong = self.rows[number], float(self.wrong[number])
            if wrong <= 0.5:
                return
            yield Incident(
                row.job.job,
                row.row,
                row.operations,
                row.minutes,
                float(expected[number]),
                wrong,
            )
