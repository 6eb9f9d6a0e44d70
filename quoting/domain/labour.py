"""Minutes of a job as a shop really takes them: what is shown, and what is predicted.

Stands on ``calibration``. Pure. Minutes are float minutes of shop time. An interval is
one of 90 % unless it says otherwise. Needs numpy: import this module where it is used,
not at the top.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from quoting.domain.calibration import (
    USUAL,
    Assumptions,
    BookTime,
    Calibration,
    Cell,
    Effect,
    Floats,
    History,
    PastJob,
    fit,
    recency,
)
from quoting.domain.errors import RuleError, translatable

#: Of the normal distribution: 90 % lie within so many sds of its middle.
_NINETY = 1.645

#: Sd on the log scale of what the model leaves out of a shown time.
_MODEL_ERROR = 0.02

#: An operation is learnt from so much own weight on, and hardly known below that.
_OWN, _THIN = 0.5, 0.2

#: Say so where hardly known operations make up more than this share of a job.
_MUCH = 0.3

#: Times outside these multiples of the book's deserve a look at the book.
_PLAUSIBLE = (0.4, 2.5)

#: Pseudo-jobs at which past quotes were exactly right.
_RIGHT = 30.0

#: Where past quotes are compared with what came.
_NOMINAL = np.linspace(0, 1, 201)

#: A past job that is likelier an incident than not is left out of undisturbed ones.
_WRONG = 0.5

#: Halvings of a range of a few logs: exact to eleven decimals.
_BISECTIONS = 40


class NothingTimedError(RuleError):
    """None of the work has minutes in the book."""

    message = translatable("None of this work has minutes in the rate tables.")


@dataclass(frozen=True, slots=True)
class Interval:
    """Minutes: the middle one, and the two that hold 90 %."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Line:
    """An operation's minutes as shown: own beside the book's, on the reference head.

    The reference head is of the material and hardness that the book is written for,
    done today, by the shop's usual mixture of machinists and head families.

    Attributes:
        operation: its code.
        book_setup: minutes a set-up in the book.
        book_unit: minutes a unit in the book.
        setup: own minutes a set-up; None where the book has none.
        unit: own minutes a unit; None where the book has none.
        own_weight: how much the own jobs count against the book, 0 to 1.
        jobs: past jobs with this operation.
        clocked: rows in which it was clocked separately.
        carried: less than half own, or never done: the book, carried by the shop's
            general pace.
        check_book: own minutes are outside 0.4 to 2.5 times the book's.
    """

    operation: str
    book_setup: float
    book_unit: float
    setup: Interval | None
    unit: Interval | None
    own_weight: float
    jobs: int
    clocked: int
    carried: bool
    check_book: bool


@dataclass(frozen=True, slots=True)
class Recalibration:
    """How often past jobs stayed within the share that was quoted for them.

    Attributes:
        observed: for nominal shares 0, 0.005 ... 1 the shares that came, drawn towards
            the nominal ones by thirty pseudo-jobs.
    """

    observed: tuple[float, ...]

    @classmethod
    def of(cls, placed: Floats, weight: Floats) -> "Recalibration":
        """Return it from where jobs fell in their predictions (0 to 1).

        The probability integral transform of each job, weighted (Gneiting, Balabdaoui
        and Raftery 2007; Kuleshov, Fenner and Ermon 2018).

        >>> none = np.array([])
        >>> round(float(Recalibration.of(none, none).nominal(np.array([0.8]))[0]), 9)
        0.8
        """
        order = np.argsort(placed, kind="stable")
        counted = np.concatenate([[0.0], np.cumsum(weight[order])])
        within = counted[np.searchsorted(placed[order], _NOMINAL, side="right")]
        observed = (_RIGHT * _NOMINAL + within) / (_RIGHT + counted[-1])
        observed[0], observed[-1] = 0.0, 1.0
        return cls(tuple(observed.tolist()))

    def nominal(self, p: Floats) -> Floats:
        """Return the nominal shares at which shares *p* of the past jobs stayed."""
        return np.interp(p, np.array(self.observed), _NOMINAL)


def normal(z: Floats) -> Floats:
    """Return the standard normal distribution function.

    Exact to 14 decimals within 7 sds, constant beyond (rational approximation of
    Hart et al., Computer Approximations, 1968, no. 5666).

    >>> normal(np.array([0.0])).tolist()
    [0.5]
    """
    x = np.minimum(np.abs(z), 7.0)
    above = np.polyval(_ABOVE, x) / np.polyval(_BELOW, x) * np.exp(-x * x / 2)
    return np.where(z > 0, 1 - above, above)


_ABOVE = (
    0.0352624965998911,
    0.700383064443688,
    6.37396220353165,
    33.912866078383,
    112.079291497871,
    221.213596169931,
    220.206867912376,
)
_BELOW = (
    0.0883883476483184,
    1.75566716318264,
    16.064177579207,
    86.7807322029461,
    296.564248779674,
    637.333633378831,
    793.826512519948,
    440.413735824752,
)


@dataclass(frozen=True, slots=True)
class Total:
    """What a whole job may take: a distribution of its minutes, or of its cost.

    The log of the work is normal; a share of jobs is an incident's, and wider.

    Attributes:
        mean: of the work itself, interruptions left out.
        location: middle of the log.
        variance: of the log.
        incident: share of jobs that something interrupts.
        incident_sd: sd of the log that an interruption adds.
        recalibration: what past jobs say of the shares.
        thin_share: share of the mean in operations whose own weight is below 0.2.
    """

    mean: float
    location: float
    variance: float
    incident: float
    incident_sd: float
    recalibration: Recalibration
    thin_share: float

    @property
    def thin(self) -> bool:
        """Tell whether much of the job is hardly known; say so beside its figures."""
        return self.thin_share > _MUCH

    def quantile(self, p: float) -> float:
        """Return what a share *p* of such jobs stays within; 0 < *p* < 1."""
        return float(self.quantiles(np.array([p]))[0])

    def quantiles(self, p: Floats) -> Floats:
        """Return what each share (above 0, below 1) of such jobs stays within."""
        share = self.recalibration.nominal(p)
        reach = 8 * (np.sqrt(self.variance) + self.incident_sd * (self.incident > 0))
        low = np.full(share.shape, self.location - reach)
        high = np.full(share.shape, self.location + reach)
        for _ in range(_BISECTIONS):
            middle = (low + high) / 2
            below = self._nominal(middle) < share
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(np.exp((low + high) / 2), float)

    def _nominal(self, log: Floats) -> Floats:
        wide = self.variance + self.incident_sd**2
        sds = np.sqrt(np.array([[self.variance], [wide]]))
        core, disturbed = normal((log - self.location) / sds)
        return np.asarray(core + self.incident * (disturbed - core), float)


@dataclass(frozen=True, eq=False)
class Labour:
    """A shop's minutes, ready to be asked.

    Attributes:
        calibration: what was learnt.
        disturbed: how past jobs fell in their predictions.
        undisturbed: the same of those jobs that nothing interrupted.
    """

    calibration: Calibration
    disturbed: Recalibration
    undisturbed: Recalibration

    def line(self, operation: str) -> Line:
        """Return an operation's minutes as shown.

        Raises:
            KeyError: the book has no such operation.
        """
        learnt = self.calibration
        book = self._book[operation]
        setup = unit = None
        own: list[float] = []
        if book.setup > 0:
            setup = self._reference(Cell(operation, quantity=0, setups=1))
            own.append(setup.median / book.setup)
        if book.unit > 0:
            unit = self._reference(Cell(operation, quantity=1, setups=0))
            own.append(unit.median / book.unit)
        low, high = _PLAUSIBLE
        weight = self.own_weights.get(operation, 0.0)
        return Line(
            operation=operation,
            book_setup=book.setup,
            book_unit=book.unit,
            setup=setup,
            unit=unit,
            own_weight=weight,
            jobs=learnt.jobs.get(operation, 0),
            clocked=learnt.clocked.get(operation, 0),
            carried=weight < _OWN or not learnt.jobs.get(operation),
            check_book=any(not low <= ratio <= high for ratio in own),
        )

    def whole(self, operation: str, quantity: float, setups: float = 1.0) -> Interval:
        """Return the mean minutes of a whole operation on the reference head.

        Raises:
            KeyError: the book has no such operation.
        """
        return self._reference(Cell(operation, quantity, setups))

    def total(
        self,
        cells: Sequence[Cell],
        *,
        family: str = "",
        machinist: str = "",
        material: str = "",
        hardness: str = "",
        rates: Mapping[str, float] | None = None,
        interruptions: bool = True,
    ) -> Total:
        """Return what a new job may take.

        Args:
            cells: the work; what has no minutes in the book adds none.
            family: of the head; empty is the shop's usual mixture.
            machinist: who does it; empty is the shop's usual mixture.
            material: empty is the one that the book is written for.
            hardness: empty is the one that the book is written for.
            rates: price of a minute by operation; the total is then one of cost.
            interruptions: count jobs that something interrupts.

        Raises:
            KeyError: the book has no such operation.
            NothingTimedError: no operation has minutes in the book.
        """
        learnt = self.calibration
        cells = [cell for cell in cells if self._book_minutes(cell) > 0]
        if not cells:
            raise NothingTimedError
        job = PastJob(
            job="",
            on=learnt.history.today,
            cells=tuple(cells),
            clockings=(),
            family=family,
            machinist=machinist,
            material=material,
            hardness=hardness,
        )
        design = learnt.model.design([(job, cells)], rates)
        means = design.at(learnt.estimate)
        gradient = means.gradient[0]
        noise = learnt.job**2 + learnt.noise**2 * float(means.squares[0])
        noise += learnt.unknown("machinist", machinist)
        noise += learnt.unknown("family", family)
        mean = float(means.minutes[0])
        thin = [self.own_weights[cell.operation] < _THIN for cell in cells]
        return Total(
            mean=mean,
            location=float(np.log(mean)) - noise / 2 * learnt.assumptions.means,
            variance=noise + float(gradient @ learnt.covariance @ gradient),
            incident=learnt.incident * interruptions,
            incident_sd=learnt.assumptions.incident_sd,
            recalibration=self.disturbed if interruptions else self.undisturbed,
            thin_share=float(means.shares @ np.array(thin, float)),
        )

    def clock_next(
        self, monthly: Mapping[str, float] | None = None, count: int = 2
    ) -> tuple[str, ...]:
        """Return which operations to clock separately next, the most useful first.

        Those whose minutes are uncertain and many.

        Args:
            monthly: minutes a month by operation; without it the past jobs tell.
            count: how many at most.
        """
        learnt = self.calibration
        if monthly is None:
            monthly = {
                code: learnt.jobs[code] * self.whole(code, quantity).median
                for code, quantity in learnt.usual.items()
            }
        worth = {
            code: self._sd(Cell(code, learnt.usual.get(code, 1.0))) * minutes
            for code, minutes in monthly.items()
        }
        return tuple(sorted(worth, key=lambda code: (-worth[code], code))[:count])

    def if_clocked(self, operation: str, times: int) -> Interval:
        """Return the minutes of a usual quantity after some more clockings like it.

        As if they came out where the minutes are believed to be: only the interval
        narrows.

        Args:
            operation: its code.
            times: how often it would be clocked by itself.

        Raises:
            KeyError: the book has no such operation.
        """
        learnt = self.calibration
        cell = Cell(operation, learnt.usual.get(operation, 1.0))
        minutes, gradient = self._at(cell)
        before = float(gradient @ learnt.covariance @ gradient)
        told = times / (learnt.noise**2 + learnt.job**2)
        after = before / (1 + before * told)
        reach = math.exp(_NINETY * math.sqrt(after + _MODEL_ERROR**2))
        return Interval(minutes, minutes / reach, minutes * reach)

    def people(self) -> Mapping[str, Interval]:
        """Return by machinist what a job takes, as a factor on the shop's mixture.

        These are data about people: for the owner only.
        """
        learnt = self.calibration
        shares = learnt.model.shares["machinist"]
        columns = [learnt.model.index[Effect("machinist", name)] for name in shares]
        weights = np.array(list(shares.values()))
        found = {}
        for name in shares:
            gradient = np.zeros(len(learnt.estimate))
            gradient[columns] = -weights
            gradient[learnt.model.index[Effect("machinist", name)]] += 1
            sd = math.sqrt(float(gradient @ learnt.covariance @ gradient))
            middle = float(gradient @ learnt.estimate)
            low, high = (middle + turn * _NINETY * sd for turn in (-1, 1))
            found[name] = Interval(math.exp(middle), math.exp(low), math.exp(high))
        return found

    @cached_property
    def own_weights(self) -> Mapping[str, float]:
        """Return by operation how much own jobs count against the book, 0 to 1."""
        learnt = self.calibration
        weights: dict[str, float] = {}
        for code, time in self._book.items():
            if time.setup <= 0 and time.unit <= 0:
                continue
            part = Cell(code, float(time.unit > 0), float(time.unit <= 0))
            _, gradient = self._at(part)
            after = float(gradient @ learnt.covariance @ gradient)
            before = float(gradient**2 @ learnt.prior)
            weights[code] = max(1 - after / before, 0.0)
        return weights

    @cached_property
    def _book(self) -> Mapping[str, BookTime]:
        return {time.operation: time for time in self.calibration.history.book}

    def _book_minutes(self, cell: Cell) -> float:
        book = self._book[cell.operation]
        return cell.factor * (book.setup * cell.setups + book.unit * cell.quantity)

    def _at(self, cell: Cell) -> tuple[float, Floats]:
        learnt = self.calibration
        job = PastJob("", learnt.history.today, (cell,), ())
        means = learnt.model.design([(job, (cell,))]).at(learnt.estimate)
        return float(means.minutes[0]), means.gradient[0]

    def _sd(self, cell: Cell) -> float:
        _, gradient = self._at(cell)
        variance = float(gradient @ self.calibration.covariance @ gradient)
        return math.sqrt(variance + _MODEL_ERROR**2)

    def _reference(self, cell: Cell) -> Interval:
        minutes, _ = self._at(cell)
        reach = math.exp(_NINETY * self._sd(cell))
        return Interval(minutes, minutes / reach, minutes * reach)


def learn(history: History, assumptions: Assumptions = USUAL) -> Labour:
    """Learn a shop's minutes from its past jobs, and how far its totals can be trusted.

    Raises:
        NotConvergedError: the fit did not settle.
    """
    learnt = fit(history, assumptions)
    weight, wrong, placed, undisturbed = _past(learnt)
    calm = wrong <= _WRONG
    return Labour(
        calibration=learnt,
        disturbed=Recalibration.of(placed, weight),
        undisturbed=Recalibration.of(undisturbed[calm], weight[calm]),
    )


def _past(learnt: Calibration) -> tuple[Floats, Floats, Floats, Floats]:
    """Return weights, incident probabilities and places of past jobs as if quoted.

    Each job's own part in what was learnt is taken out of its prediction; the places
    are with and without the chance of an incident.
    """
    past = learnt.whole_jobs
    if not past:
        none = np.array([])
        return none, none, none, none
    jobs = [replace(whole.job, machinist="") for whole in past]
    ages = np.array([(learnt.history.today - job.on).days for job in jobs], float)
    weight = recency(ages, learnt.assumptions.half_life)
    wrong = np.array([whole.wrong for whole in past])
    means = learnt.model.design([(job, job.cells) for job in jobs]).at(learnt.estimate)
    unknown = {
        family: learnt.unknown("family", family)
        for family in {job.family for job in jobs}
    }
    noise = learnt.job**2 + learnt.noise**2 * means.squares
    noise += learnt.unknown("machinist", "")
    noise += np.array([unknown[job.family] for job in jobs])
    middle = np.log(means.minutes) - noise / 2 * learnt.assumptions.means
    residual = np.log(np.array([whole.minutes for whole in past])) - middle
    spread = np.sum(means.gradient @ learnt.covariance * means.gradient, axis=1)
    leverage = np.minimum(0.9, weight * spread / noise * (1 - wrong))
    residual = residual / (1 - leverage)
    variance = noise + spread / (1 - leverage)
    core = normal(residual / np.sqrt(variance))
    wide = normal(residual / np.sqrt(variance + learnt.assumptions.incident_sd**2))
    return weight, wrong, core + learnt.incident * (wide - core), core
