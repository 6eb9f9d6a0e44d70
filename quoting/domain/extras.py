"""What inspections tend to find, and what a job may then come to.

A finding affects some of what is at risk: guides worn of all guides, heads cracked of
all heads. Its share has a logit that band, family, reason and condition shift, each
drawn towards no effect; the count is Beta-Binomial, because a shop finds all or few.
Heads off one engine are inspected as one job: the correlation within a job is what
they share. Different findings are independent once the circumstances are known.

Pure. Shares and probabilities are 0 to 1, minutes are float minutes of shop time. No
money is worked out here: amounts only weigh draws. Needs numpy: import this module
where it is used, not at the top.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quoting.domain.calibration import Cell, Floats, Spread, recency
from quoting.domain.errors import RuleError, translatable
from quoting.domain.labour import Labour, Total

Ints = NDArray[np.intp]

#: Of a finding that fewer jobs were inspected for nothing is claimed. A choice.
LEAST_JOBS = 10

#: The finding that a head is not worth going on with: no extra, another outcome.
CONDEMNED = "condemned"

#: What shifts a share, the first that is given up for more jobs alike standing last,
#: and how far levels lie apart before any job was seen (sd of the logit).
_PREDICTORS = {
    "family": Spread(6, 0.4),
    "band": Spread(4, 0.5),
    "reason": Spread(4, 0.5),
    "condition": Spread(4, 0.5),
}

#: Sd of the logit around the share that the shop's book gives, and without a book
#: the share that is begun with and the sd around it.
_BOOK_SD = 1.0
_NO_BOOK, _NO_BOOK_SD = 0.1, 2.0

#: Correlations that are tried, the first one, and Beta(2, 4) before any job was seen.
_CORRELATIONS = np.array([0.01, 0.02, *np.arange(1, 19) * 0.05])
_FIRST_CORRELATION = 0.30
_CORRELATION_PRIOR = np.log(_CORRELATIONS) + 3 * np.log1p(-_CORRELATIONS)

_ROUNDS = 30
_LONGEST = 2.0
_HALF_LIFE = 730.0

#: Of the normal distribution: 90 % lie within so many sds of its middle.
_NINETY = 1.645

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()

#: Draws of what turns up, strata of the labour factor among them, and where they begin.
DRAWS = 20_000
_STRATA = 1_000
_SEED = 20_260


class MisfitError(RuleError):
    """A finding affects more than was at risk, or nothing was at risk."""

    message = translatable(
        "{finding} of job {job}: {affected} affected of {at_risk} at risk is "
        "not possible."
    )


class Circumstances(NamedTuple):
    """What is known of a job before it is inspected; empty is not known."""

    family: str = ""
    band: str = ""
    reason: str = ""
    condition: str = ""


#: Nothing is known.
ANY = Circumstances()


@dataclass(frozen=True, slots=True)
class Inspection:
    """What looking for one finding in one job showed; nothing found is told too.

    Attributes:
        job: the job.
        on: its day.
        finding: what was looked for.
        at_risk: how many were looked at, all heads of the job together.
        affected: how many had it.
        circumstances: of the job.
    """

    job: str
    on: date
    finding: str
    at_risk: int
    affected: int
    circumstances: Circumstances = ANY


class Counts(NamedTuple):
    """Raw counts of inspected jobs: "4 of your 11 such jobs, 9 of 62 valves"."""

    jobs: int = 0
    with_any: int = 0
    at_risk: int = 0
    affected: int = 0

    def and_of(self, other: "Counts") -> "Counts":
        """Return both counted together.

        >>> Counts(1, 1, 8, 3).and_of(Counts(1, 0, 8, 0))
        Counts(jobs=2, with_any=1, at_risk=16, affected=3)
        """
        return Counts(*(mine + its for mine, its in zip(self, other, strict=True)))


class BetaBinomial(NamedTuple):
    """How many of a number are affected where those of one job are alike.

    Source:
        J. G. Skellam, "A probability distribution derived from the binomial
        distribution by regarding the probability of success as variable between the
        sets of trials", J. R. Stat. Soc. B 10 (1948).

    Attributes:
        number: how many are at risk.
        mean: share affected on average, above 0 and below 1.
        correlation: of two of one job, from 0 (binomial) to below 1 (all or none).
    """

    number: int
    mean: float
    correlation: float

    def probabilities(self) -> Floats:
        """Return the probabilities of 0, 1 ... *number* affected.

        >>> BetaBinomial(2, 0.3, 0.5).probabilities().round(3).tolist()
        [0.595, 0.21, 0.195]
        """
        affected = np.arange(self.number + 1)
        log = _log_likelihood(
            affected,
            np.full(self.number + 1, self.number),
            np.full(self.number + 1, self.mean),
            np.array([self.correlation]),
        )[0]
        ways = [math.log(math.comb(self.number, k)) for k in range(self.number + 1)]
        return np.asarray(np.exp(log + np.array(ways)), float)


def _log_likelihood(
    affected: Ints,
    number: Ints,
    mean: Floats,
    correlations: Floats,
) -> Floats:
    """Return log likelihoods without the binomial coefficient, a row a correlation.

    Written as Polya's urn: each one found makes the next likelier.
    """
    log = np.zeros((len(correlations), len(mean)))
    alone = (1 - correlations)[:, None]
    for drawn in range(int(number.max(initial=0))):
        more = correlations[:, None] * drawn
        for of, share in ((affected, mean), (number - affected, 1 - mean)):
            some = drawn < of
            log[:, some] += np.log(share[some] * alone + more)
        some = drawn < number
        log[:, some] -= np.log(alone + more)
    return log


@dataclass(frozen=True, slots=True)
class Expected:
    """What a finding is expected to come to in a job that was not yet inspected.

    Attributes:
        finding: what is looked for.
        outcome: how many may be affected.
        low: 5 % of such jobs' mean shares lie below.
        high: 5 % of such jobs' mean shares lie above.
        alike: the raw counts of the past jobs that are most like it.
        alike_in: what those jobs share with it; empty is not asked.
        shop: the raw counts of all past jobs.
    """

    finding: str
    outcome: BetaBinomial
    low: float
    high: float
    alike: Counts
    alike_in: Circumstances
    shop: Counts

    @property
    def claimed(self) -> bool:
        """Tell whether enough jobs were inspected to say anything to a caller."""
        return self.shop.jobs >= LEAST_JOBS

    @property
    def any(self) -> float:
        """Return the probability that at least one is affected."""
        return float(1 - self.outcome.probabilities()[0])


@dataclass(frozen=True, slots=True, eq=False)
class Tendency:
    """How often a shop makes a finding, by circumstances.

    Attributes:
        finding: what is looked for.
        levels: the levels seen of each predictor, and their shares of the past jobs.
        estimate: logits: of the shop, then of each level in the order of ``levels``.
        covariance: of the estimate.
        spreads: sds of the levels of each predictor, as learnt.
        correlation: within a job.
        seen: raw counts by circumstances.
    """

    finding: str
    levels: Mapping[str, Mapping[str, float]]
    estimate: Floats
    covariance: Floats
    spreads: Mapping[str, float]
    correlation: float
    seen: Mapping[Circumstances, Counts] = field(repr=False)

    def expect(self, at_risk: int, circumstances: Circumstances = ANY) -> Expected:
        """Return what is expected of a job.

        A level that is not known is the shop's usual mixture, a level that the shop
        has not met may lie as far off as the met ones do.

        Args:
            at_risk: how many will be looked at, 1 or more.
            circumstances: of the job.
        """
        row = _row(self.levels, circumstances)
        variance = float(row @ self.covariance @ row)
        variance += math.fsum(
            self._unknown(predictor, getattr(circumstances, predictor))
            for predictor in self.levels
        )
        logit, sd = float(row @ self.estimate), math.sqrt(variance)
        shares = _expit(logit + sd * _NODES)
        mean = float(_WEIGHTS @ shares)
        between = float(_WEIGHTS @ (shares - mean) ** 2)
        correlation = pooled_correlation(self.correlation, mean, between)
        alike, alike_in = self._alike(circumstances)
        return Expected(
            finding=self.finding,
            outcome=BetaBinomial(at_risk, mean, correlation),
            low=float(_expit(np.array(logit - _NINETY * sd))),
            high=float(_expit(np.array(logit + _NINETY * sd))),
            alike=alike,
            alike_in=alike_in,
            shop=self.counts(),
        )

    def counts(self, like: Circumstances = ANY) -> Counts:
        """Return the raw counts of past jobs of these circumstances; empty is any."""
        total = Counts()
        for circumstances, counts in self.seen.items():
            pairs = zip(like, circumstances, strict=True)
            if all(asked in ("", known) for asked, known in pairs):
                total = total.and_of(counts)
        return total

    def _unknown(self, predictor: str, level: str) -> float:
        shares = self.levels[predictor]
        if level in shares:
            return 0.0
        if level:
            return self.spreads[predictor] ** 2
        columns = [_columns(self.levels)[predictor, known] for known in shares]
        weights, effects = np.array(list(shares.values())), self.estimate[columns]
        block = self.covariance[np.ix_(columns, columns)]
        between = weights @ (effects - weights @ effects) ** 2
        within = weights @ np.diag(block) - weights @ block @ weights
        return float(between + within)

    def _alike(self, circumstances: Circumstances) -> tuple[Counts, Circumstances]:
        like = circumstances
        for given_up in (*reversed(_PREDICTORS), ""):
            counts = self.counts(like)
            if counts.jobs >= LEAST_JOBS or not given_up:
                break
            like = like._replace(**{given_up: ""})
        return counts, like


def pooled_correlation(correlation: float, mean: float, between: float) -> float:
    """Return the correlation in a job whose mean share itself is uncertain.

    Args:
        correlation: in a job whose mean share is known.
        mean: expected mean share.
        between: its variance.

    >>> round(pooled_correlation(0.5, 0.3, 0.004), 6)
    0.509524
    """
    return correlation + (1 - correlation) * between / (mean * (1 - mean))


def learn(
    inspections: Iterable[Inspection],
    today: date,
    book: Mapping[str, float] | None = None,
) -> Mapping[str, Tendency]:
    """Learn from past inspections how often each finding is made.

    Newton steps with quasi-binomial weights alternate with empirical Bayes updates of
    the spreads and a search for the correlation. Nothing is drawn at random, and the
    order of the inspections does not matter. Inspections after *today* do not count.

    Args:
        inspections: of past jobs.
        today: the day for which shares are wanted.
        book: share that the shop's book gives a finding, above 0 and below 1.

    Returns:
        By finding, in the order of their names.

    Raises:
        MisfitError: an inspection is not possible.
    """
    by: dict[str, list[Inspection]] = {}
    for inspection in inspections:
        if not 0 <= inspection.affected <= inspection.at_risk or not inspection.at_risk:
            raise MisfitError(
                finding=inspection.finding,
                job=inspection.job,
                affected=inspection.affected,
                at_risk=inspection.at_risk,
            )
        if inspection.on <= today:
            by.setdefault(inspection.finding, []).append(inspection)
    return {
        finding: _fit(finding, by[finding], today, (book or {}).get(finding))
        for finding in sorted(by)
    }


class _Alike(NamedTuple):
    circumstances: Circumstances
    at_risk: int
    affected: int


def _fit(
    finding: str, inspections: Sequence[Inspection], today: date, book: float | None
) -> Tendency:
    ages = np.array([(today - each.on).days for each in inspections], float)
    weighted: dict[_Alike, float] = {}
    seen: dict[Circumstances, Counts] = {}
    for each, counts in zip(
        inspections, recency(ages, _HALF_LIFE).tolist(), strict=True
    ):
        alike = _Alike(each.circumstances, each.at_risk, each.affected)
        weighted[alike] = weighted.get(alike, 0.0) + counts
        one = Counts(1, int(each.affected > 0), each.at_risk, each.affected)
        before = seen.get(each.circumstances, Counts())
        seen[each.circumstances] = before.and_of(one)
    rows = sorted(weighted)
    weight = np.array([weighted[row] for row in rows])
    levels = _levels(rows, weight)
    columns = _columns(levels)
    design = np.array([_row(levels, row.circumstances) for row in rows])
    number = np.array([row.at_risk for row in rows])
    affected = np.array([row.affected for row in rows])

    of = np.array(["", *(predictor for predictor, _ in columns)])
    spreads = {predictor: _PREDICTORS[predictor].sd for predictor in levels}
    centre = np.zeros(len(of))
    centre[0] = _logit(book or _NO_BOOK)
    prior = np.full(len(of), (_BOOK_SD if book else _NO_BOOK_SD) ** 2)
    estimate, correlation = centre.copy(), _FIRST_CORRELATION
    covariance = np.diag(prior)
    for turn in range(_ROUNDS):
        for predictor, sd in spreads.items():
            prior[of == predictor] = sd**2
        share = _expit(design @ estimate)
        worth = weight / (1 + (number - 1) * correlation)
        information = worth * number * share * (1 - share)
        covariance = np.linalg.inv(
            design.T @ (information[:, None] * design) + np.diag(1 / prior)
        )
        pull = design.T @ (worth * (affected - number * share))
        step = covariance @ (pull - (estimate - centre) / prior)
        estimate = estimate + np.clip(step, -_LONGEST, _LONGEST)
        squares = (estimate - centre) ** 2 + np.diag(covariance)
        for predictor in spreads:
            mine = of == predictor
            spreads[predictor] = _PREDICTORS[predictor].updated(
                squares[mine].sum(), mine.sum()
            )
        if turn % 3 == 2:
            log = _log_likelihood(
                affected, number, _expit(design @ estimate), _CORRELATIONS
            )
            best = np.argmax(log @ weight + _CORRELATION_PRIOR)
            correlation = float(_CORRELATIONS[best])
    return Tendency(
        finding=finding,
        levels=levels,
        estimate=estimate,
        covariance=covariance,
        spreads=spreads,
        correlation=correlation,
        seen=seen,
    )


def _levels(
    rows: Sequence[_Alike], weight: Floats
) -> Mapping[str, Mapping[str, float]]:
    levels: dict[str, Mapping[str, float]] = {}
    for predictor in _PREDICTORS:
        known: dict[str, float] = {}
        for row, counts in zip(rows, weight.tolist(), strict=True):
            if level := getattr(row.circumstances, predictor):
                known[level] = known.get(level, 0.0) + counts
        if known:
            whole = math.fsum(known.values())
            levels[predictor] = {level: known[level] / whole for level in sorted(known)}
    return levels


def _columns(
    levels: Mapping[str, Mapping[str, float]],
) -> Mapping[tuple[str, str], int]:
    pairs = [(predictor, level) for predictor in levels for level in levels[predictor]]
    return {pair: column for column, pair in enumerate(pairs, start=1)}


def _row(
    levels: Mapping[str, Mapping[str, float]], circumstances: Circumstances
) -> Floats:
    columns = _columns(levels)
    row = np.zeros(1 + len(columns))
    row[0] = 1
    for predictor, shares in levels.items():
        level = getattr(circumstances, predictor)
        if level in shares:
            row[columns[predictor, level]] = 1
        elif not level:
            for known, share in shares.items():
                row[columns[predictor, known]] = share
    return row


def _expit(logit: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-logit)), float)


def _logit(share: float) -> float:
    return math.log(share / (1 - share))


def all_if_most(probabilities: Floats) -> Floats:
    """Return the outcome of "if more than half are affected, all are done".

    >>> all_if_most(np.array([0.4, 0.3, 0.2, 0.1])).round(9).tolist()
    [0.4, 0.3, 0.0, 0.3]
    """
    number = len(probabilities) - 1
    most = np.arange(number + 1) > number / 2
    done = np.where(most, 0.0, probabilities)
    done[number] += probabilities[most].sum()
    return done


@dataclass(frozen=True, slots=True)
class Extra:
    """What may come on top of a job.

    Attributes:
        finding: what brings it.
        probabilities: of 0, 1, 2 ... affected.
        adds: minutes, or whatever is added up, for as many affected.
        condemns: the job ends there instead; nothing is added.
    """

    finding: str
    probabilities: tuple[float, ...]
    adds: tuple[float, ...]
    condemns: bool = False

    @classmethod
    def of(
        cls, finding: str, probabilities: Floats, setup: float, unit: float
    ) -> "Extra":
        """Return an extra of *setup* once, and *unit* for each that is affected.

        >>> Extra.of("warped", np.array([0.82, 0.18]), 6, 10).adds
        (0.0, 16.0)
        """
        counts = np.arange(len(probabilities))
        adds = np.where(counts > 0, setup + unit * counts, 0.0)
        return cls(finding, tuple(probabilities.tolist()), tuple(adds.tolist()))

    @classmethod
    def ending(cls, expected: Expected) -> "Extra":
        """Return a finding that ends the job instead of adding to it."""
        probabilities = expected.outcome.probabilities().tolist()
        return cls(
            expected.finding,
            tuple(probabilities),
            (0.0,) * len(probabilities),
            condemns=True,
        )

    @property
    def mean(self) -> float:
        """Return what it adds on average."""
        return float(np.array(self.probabilities) @ np.array(self.adds))


def timed(
    expected: Expected,
    labour: Labour,
    operations: Sequence[str],
    *,
    family: str = "",
    material: str = "",
    hardness: str = "",
    all_of_most: bool = False,
) -> Extra:
    """Return the minutes that a finding may add through its operations.

    Args:
        expected: the finding in this job.
        labour: the shop's minutes.
        operations: what is done about it, a unit of each for each that is affected.
        family: of the head.
        material: of the head.
        hardness: of its seats.
        all_of_most: if more than half are affected all are done.

    Raises:
        KeyError: the book has no such operation.
        NothingTimedError: none of the operations has minutes in the book.
    """
    probabilities = expected.outcome.probabilities()
    if all_of_most:
        probabilities = all_if_most(probabilities)

    def minutes(quantity: float) -> float:
        cells = [Cell(operation, quantity) for operation in operations]
        return labour.total(
            cells, family=family, material=material, hardness=hardness
        ).mean

    one, two = minutes(1), minutes(2)
    return Extra.of(expected.finding, probabilities, 2 * one - two, two - one)


@dataclass(frozen=True, slots=True, eq=False)
class Sum:
    """What independent extras add together, exactly, on a grid.

    Attributes:
        grid: the smallest step.
        probabilities: of 0, 1, 2 ... steps.
    """

    grid: float
    probabilities: Floats

    @classmethod
    def of(cls, extras: Iterable[Extra], grid: float) -> "Sum":
        """Return the sum of *extras*, what each adds rounded to the grid.

        One that condemns adds nothing: it ends the job.

        >>> crack = Extra("cracked", (0.94, 0.06), (0, 60))
        >>> Sum.of([crack], grid=0.5).quantile(0.95)
        60.0
        """
        whole = np.ones(1)
        for extra in extras:
            if extra.condemns:
                continue
            steps = np.rint(np.array(extra.adds) / grid).astype(np.intp)
            one = np.bincount(steps, np.array(extra.probabilities))
            whole = np.convolve(whole, one)
        return cls(grid, whole)

    def quantile(self, p: float) -> float:
        """Return the least that a share *p* of such jobs stays within; 0 < *p* < 1."""
        within = np.cumsum(self.probabilities)
        # A share that is reached exactly must not be missed by the last bit of a sum.
        steps = int(np.searchsorted(within, p - 1e-12))
        return float(min(steps, len(within) - 1) * self.grid)

    @property
    def mean(self) -> float:
        """Return the mean of the sum."""
        steps = np.arange(len(self.probabilities))
        return float(self.probabilities @ steps * self.grid)


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Which extras turn up, many times over; the same every time it is asked.

    Attributes:
        extras: what may turn up.
        affected: how many of each; a row a draw, a column an extra.
    """

    extras: tuple[Extra, ...]
    affected: Ints

    @classmethod
    def of(cls, extras: Iterable[Extra], number: int = DRAWS) -> "Draws":
        """Draw *number* times, each extra by its own probabilities."""
        kept = tuple(extras)
        random = np.random.Generator(np.random.PCG64(_SEED))
        chance = random.random((number, len(kept)))
        affected = np.empty(chance.shape, np.intp)
        for column, extra in enumerate(kept):
            within = np.cumsum(extra.probabilities)[:-1]
            affected[:, column] = np.searchsorted(within, chance[:, column], "right")
        return cls(kept, affected)

    def adds(self) -> Floats:
        """Return what each extra adds in each draw; a row a draw."""
        added = np.zeros(self.affected.shape)
        for column, extra in enumerate(self.extras):
            if not extra.condemns:
                added[:, column] = np.array(extra.adds)[self.affected[:, column]]
        return added


@dataclass(frozen=True, slots=True)
class Range:
    """Minutes that a job may take, extras and all.

    Attributes:
        floor: half of such jobs stay within it if nothing is found.
        low: 10 % of jobs that are not condemned stay within it.
        likely: 50 % do.
        safe: 80 % do.
        high: 90 % do.
        condemned: probability that the heads are condemned instead.
        weightiest: what each extra adds to the way from likely to high, at most three
            of them, the weightiest first.
    """

    floor: float
    low: float
    likely: float
    safe: float
    high: float
    condemned: float
    weightiest: tuple[tuple[str, float], ...]


def minutes_range(base: Total, extras: Iterable[Extra], number: int = DRAWS) -> Range:
    """Return what a job may take.

    Each draw's mean minutes are multiplied by one labour factor, from the quantiles of
    the work as asked in equal strata, shuffled. Being condemned is independent of the
    rest, so that jobs which go on take what all draws take.

    Args:
        base: the work as asked.
        extras: what may come on top, in minutes.
        number: of draws, 1,000 or more.
    """
    draws = Draws.of(extras, number)
    adds = draws.adds()
    minutes = (base.mean + adds.sum(axis=1)) * labour_factors(base, number)
    goes_on = (extra.probabilities[0] for extra in draws.extras if extra.condemns)
    low, likely, safe, high = np.quantile(minutes, [0.1, 0.5, 0.8, 0.9]).tolist()
    return Range(
        floor=base.quantile(0.5),
        low=low,
        likely=likely,
        safe=safe,
        high=high,
        condemned=1 - math.prod(goes_on),
        weightiest=weightiest(draws.extras, adds, minutes),
    )


def labour_factors(base: Total, number: int) -> Floats:
    """Return *number* factors on mean minutes, as the work as asked scatters.

    In strata of equal probability, in an order that is always the same.
    """
    strata = (np.arange(_STRATA) + 0.5) / _STRATA
    factors = np.resize(base.quantiles(strata) / base.mean, number)
    random = np.random.Generator(np.random.PCG64(_SEED + 1))
    return np.asarray(random.permutation(factors), float)


def weightiest(
    extras: Sequence[Extra], adds: Floats, sums: Floats
) -> tuple[tuple[str, float], ...]:
    """Return what each extra adds to the way from a middling job to a large one.

    Args:
        extras: what may turn up.
        adds: what each adds in each draw; a row a draw.
        sums: what each draw comes to, in the same unit.

    Returns:
        At most three findings with what they add, the weightiest first.
    """
    at = np.quantile(sums, [0.45, 0.55, 0.85, 0.95])
    middling = (sums >= at[0]) & (sums <= at[1])
    long = (sums >= at[2]) & (sums <= at[3])
    more = adds[long].mean(axis=0) - adds[middling].mean(axis=0)
    by = zip((extra.finding for extra in extras), more.tolist(), strict=True)
    ordered = sorted(by, key=lambda pair: (-pair[1], pair[0]))
    return tuple(pair for pair in ordered if pair[1] > 0)[:3]
