"""The mathematics of learning, held against published values.

Every check puts published data through our own fit, solver or prediction, with the
beliefs set as the source has them. Data and their sources:

- NIST Statistical Reference Datasets (StRD): Norris (linear regression), SiRstv and
  AtmWtAg (analysis of variance), certified values read from the files in scipy's
  wheels; Longley (Longley 1967, J. Am. Stat. Assoc. 62), certified values from memory,
  confirmed by computation. data/statistics/longley.csv.
- Dyestuff: Davies (1947), Statistical Methods in Research and Production; Dyestuff2:
  Box and Tiao (1973), Bayesian Inference in Statistical Analysis; Penicillin: Davies
  and Goldsmith (1972), Statistical Methods in Research and Production. As in R's lme4,
  whose documentation gives the estimates (Bates et al. 2015, J. Stat. Softw. 67(1)).
  data/statistics/dyestuff.csv, dyestuff2.csv, penicillin.csv.
- Batting averages: Efron and Morris (1975), J. Am. Stat. Assoc. 70.
- Eight schools: Rubin (1981), J. Educ. Stat. 6; Gelman et al., Bayesian Data
  Analysis, 3rd edition, chapter 5. Conditional means: computed from the closed form.
- Mixed models: statsmodels (Seabold and Perktold 2010, Proc. 9th Python in Science
  Conf.), as a reference library.
- Stack loss: Brownlee (1965), Statistical Theory and Methodology.
  data/statistics/stack_loss.csv.
"""

import csv
import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm
from numpy.typing import NDArray
from simulated_shop import pinball

from quoting.domain.calibration import (
    Assumptions,
    BookTime,
    Calibration,
    Cell,
    Clocking,
    Effect,
    Grouped,
    History,
    PastJob,
    Solution,
    Spread,
    effective,
    fit,
    recency,
)
from quoting.domain.labour import Recalibration, Total, learn

Floats = NDArray[np.float64]

TODAY = date(2025, 6, 30)
DATA = Path(__file__).parent.parent / "data" / "statistics"
NIST = Path(scipy.stats.__file__).parent / "tests" / "data"

#: A spread that no data moves, and one that no belief moves.
SURE, OPEN = 1e15, 0
NONE = Spread(SURE, 1e-7)

#: No effect but a free mean, no incident, no drift.
PLAIN = Assumptions(
    pace=1e4,
    operation=NONE,
    part=NONE,
    machinist=NONE,
    family=NONE,
    trend=1e-7,
    noise=Spread(OPEN, 0.25),
    job=NONE,
    incidents=(0, 40),
    job_incidents=0,
    means=False,
    rounds=20_000,
    settled=1e-9,
)


def rows_of(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of data."""
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def nist(name: str, first: int) -> Floats:
    """Return the data of a NIST file that begin on line *first*."""
    return np.loadtxt(NIST / name, skiprows=first - 1)


def least_squares(
    x: Floats,
    y: Floats,
    *,
    weights: Floats | None = None,
    prior: Floats | None = None,
    start: Floats | None = None,
) -> tuple[Floats, Solution]:
    """Return our solver's estimate, refined until it stands still."""
    number, width = x.shape
    grouped = Grouped.of([1] * number, np.ones(number))
    estimate = np.zeros(width) if start is None else start
    for _ in range(8):
        solution = grouped.solve(
            x,
            y - x @ estimate,
            np.ones(number) if weights is None else weights,
            np.zeros(number),
            np.zeros(width) if prior is None else prior,
            estimate,
        )
        estimate = estimate + solution.step
    return estimate, solution


def measured(
    values: Sequence[float],
    *,
    machinists: Sequence[str] | None = None,
    families: Sequence[str] | None = None,
) -> History:
    """Return each value as the log of the minutes of one job of one operation."""
    jobs = tuple(
        PastJob(
            f"J{number:04}",
            TODAY,
            (Cell("o", 1),),
            (Clocking("a", (), math.exp(value)),),
            family=families[number] if families else "",
            machinist=machinists[number] if machinists else "",
        )
        for number, value in enumerate(values)
    )
    return History((BookTime("o", 0, 1),), jobs, TODAY)


def at(learnt: Calibration, kind: str, of: str = "") -> float:
    """Return an effect on the log scale."""
    return float(learnt.estimate[learnt.model.index[Effect(kind, of)]])


def test_norris_comes_out_as_certified_by_nist() -> None:
    data = nist("nist_linregress/Norris.dat", 61)
    y, x = data[:, 0], np.column_stack([np.ones(36), data[:, 1]])
    estimate, solution = least_squares(x, y)
    sd = math.sqrt(np.sum((y - x @ estimate) ** 2) / 34)
    assert estimate == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-8)
    assert sd == pytest.approx(0.884796396144373, rel=1e-8)
    assert sd * np.sqrt(np.diag(solution.covariance)) == pytest.approx(
        [0.232818234301152, 0.429796848199937e-3], rel=1e-8
    )


def test_longley_comes_out_in_spite_of_its_condition() -> None:
    data = np.array([[float(v) for v in row.values()] for row in rows_of("longley")])
    y, x = data[:, 0], np.column_stack([np.ones(16), data[:, 1:]])
    estimate, _ = least_squares(x, y)
    certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ]
    assert estimate == pytest.approx(certified, rel=1e-6)
    sd = math.sqrt(np.sum((y - x @ estimate) ** 2) / 9)
    assert sd == pytest.approx(304.854073561965, rel=1e-6)


def between(values: Floats, groups: Sequence[str]) -> tuple[float, float]:
    """Return the variances between and within groups, as our fit finds them.

    The groups are machinists; with a free mean, no belief in the spread and none in
    the noise this is restricted maximum likelihood.
    """
    learnt = fit(
        measured(values.tolist(), machinists=groups),
        replace(PLAIN, machinist=Spread(OPEN, 0.1)),
    )
    return learnt.spreads["machinist"] ** 2, learnt.noise**2


def test_variance_between_instruments_is_that_of_the_analysis_of_variance() -> None:
    # SiRstv, five instruments, five readings each, balanced: between variance
    # (MSB - MSW) / 5 = (1.27865654e-2 - 1.0831828e-2) / 5.
    data = nist("nist_anova/SiRstv.dat", 61)
    groups = [f"{number:.0f}" for number in data[:, 0]]
    variance, noise = between(data[:, 1] - 196, groups)
    assert noise == pytest.approx(1.0831828e-2, rel=1e-4)
    assert variance == pytest.approx(3.9095e-4, rel=1e-3)
    assert (5 * variance + noise) / noise == pytest.approx(1.18046237440255, rel=1e-4)


def test_variance_between_instruments_is_found_on_stiff_data() -> None:
    # AtmWtAg, two instruments, 24 readings each, seven leading digits in common.
    data = nist("nist_anova/AtmWtAg.dat", 61)
    groups = [f"{number:.0f}" for number in data[:, 0]]
    variance, noise = between((data[:, 1] - 107.868) * 1e4, groups)
    assert noise / 1e8 == pytest.approx(2.28155932971014e-10, rel=1e-4)
    assert (24 * variance + noise) / noise == pytest.approx(15.9467335677930, rel=1e-3)


def test_dyestuff_batches_are_shrunk_as_published() -> None:
    # Yields in grams; thousandths keep the exponential in range.
    rows = rows_of("dyestuff")
    learnt = fit(
        measured(
            [float(row["Yield"]) / 1000 - 1.5 for row in rows],
            machinists=[row["Batch"] for row in rows],
        ),
        replace(PLAIN, machinist=Spread(OPEN, 0.1)),
    )
    assert 1500 + 1000 * at(learnt, "pace") == pytest.approx(1527.5, rel=1e-6)
    assert 1e6 * learnt.spreads["machinist"] ** 2 == pytest.approx(1764.05, rel=1e-3)
    assert 1e6 * learnt.noise**2 == pytest.approx(2451.25, rel=1e-3)
    assert [1000 * at(learnt, "machinist", batch) for batch in "ABCDEF"] == (
        pytest.approx([-17.607, 0.391, 28.562, -23.085, 56.733, -44.995], abs=0.01)
    )


def test_a_factor_that_rows_of_a_job_share_is_estimated_as_published() -> None:
    # Each batch as a job of five rows: maximum likelihood between variance 1388.333
    # at the within variance 2451.25 (balanced data).
    rows = rows_of("dyestuff")
    codes = [f"o{number}" for number in range(5)]
    jobs = []
    for batch in "ABCDEF":
        values = [float(row["Yield"]) for row in rows if row["Batch"] == batch]
        clockings = tuple(
            Clocking(code, (code,), math.exp(value / 1000 - 1.5))
            for code, value in zip(codes, values, strict=True)
        )
        cells = tuple(Cell(code, 1) for code in codes)
        jobs.append(PastJob(batch, TODAY, cells, clockings))
    learnt = fit(
        History(tuple(BookTime(code, 0, 1) for code in codes), tuple(jobs), TODAY),
        replace(
            PLAIN,
            noise=Spread(SURE, math.sqrt(2451.25) / 1000),
            job=Spread(OPEN, 0.05),
        ),
    )
    assert 1e6 * learnt.job**2 == pytest.approx(1388.333, rel=1e-3)
    assert 1500 + 1000 * at(learnt, "pace") == pytest.approx(1527.5, rel=1e-6)


def test_batches_that_do_not_differ_have_no_spread() -> None:
    # Dyestuff2: between variance 0 on the boundary, residual variance 13.8063. The
    # approach to 0 is slow, so that it ends a little above it.
    rows = rows_of("dyestuff2")
    history = measured(
        [float(row["Yield"]) / 10 for row in rows],
        machinists=[row["Batch"] for row in rows],
    )
    learnt = fit(history, replace(PLAIN, machinist=Spread(OPEN, 0.1), settled=1e-3))
    assert 100 * learnt.spreads["machinist"] ** 2 < 0.05
    assert 100 * learnt.noise**2 == pytest.approx(13.8063, rel=5e-3)
    assert [10 * at(learnt, "machinist", batch) for batch in "ABCDEF"] == (
        pytest.approx([0] * 6, abs=0.05)
    )
    usual = fit(history, replace(PLAIN, machinist=Spread(4, 0.08)))
    assert 0 < usual.spreads["machinist"] < 0.1


def test_crossed_spreads_of_plates_and_samples_come_out_as_published() -> None:
    # Penicillin: 24 plates x 6 samples; tenths keep the exponential in range.
    rows = rows_of("penicillin")
    learnt = fit(
        measured(
            [(float(row["diameter"]) - 23) / 10 for row in rows],
            families=[row["plate"] for row in rows],
            machinists=[row["sample"] for row in rows],
        ),
        replace(PLAIN, machinist=Spread(OPEN, 0.1), family=Spread(OPEN, 0.1)),
    )
    assert 10 * learnt.spreads["family"] == pytest.approx(0.8467, rel=1e-3)
    assert 10 * learnt.spreads["machinist"] == pytest.approx(1.9316, rel=1e-3)
    assert 10 * learnt.noise == pytest.approx(0.5499, rel=1e-3)
    assert 23 + 10 * at(learnt, "pace") == pytest.approx(22.9722, rel=1e-5)


HITS = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)
SEASON = (
    *(0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269),
    *(0.230, 0.264, 0.256, 0.303, 0.264, 0.226, 0.286, 0.316, 0.200),
)


def test_pooling_foretells_the_season_better_than_each_record_alone() -> None:
    # Efron and Morris: 18 players, hits of 45 at bat. Kept share of a deviation
    # 1 - 15 v / SS with v = m (1 - m) / 45: .21165; our prior variance is then
    # v x .21165 / (1 - .21165).
    early = np.array(HITS) / 45
    mean = early.mean()
    variance = mean * (1 - mean) / 45
    kept = 1 - 15 * variance / np.sum((early - mean) ** 2)
    codes = [f"o{number:02}" for number in range(18)]
    jobs = tuple(
        PastJob(code, TODAY, (Cell(code, 1),), (Clocking("a", (), math.exp(value)),))
        for code, value in zip(codes, early.tolist(), strict=True)
    )
    learnt = fit(
        History(tuple(BookTime(code, 0, 1) for code in codes), jobs, TODAY),
        replace(
            PLAIN,
            operation=Spread(SURE, math.sqrt(variance * kept / (1 - kept))),
            noise=Spread(SURE, math.sqrt(variance)),
        ),
    )
    pooled = np.array(
        [at(learnt, "pace") + at(learnt, "operation", code) for code in codes]
    )
    assert kept == pytest.approx(0.21165, abs=1e-5)
    assert mean == pytest.approx(0.26543, abs=1e-5)
    assert (pooled[0], pooled[-1]) == pytest.approx((0.29391, 0.24218), abs=1e-4)
    alone = np.sum((early - SEASON) ** 2)
    together = np.sum((pooled - SEASON) ** 2)
    assert (alone, together) == pytest.approx((0.0755, 0.0214), abs=1e-4)


EFFECT = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERROR = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def schools(tau: float) -> tuple[Floats, Solution]:
    """Return mean and school effects, and their posterior, at a given spread."""
    x = np.column_stack([np.ones(8), np.eye(8)])
    prior = np.array([0.0, *[tau**-2] * 8])
    return least_squares(x, EFFECT, weights=ERROR**-2, prior=prior)


@pytest.mark.parametrize(
    ("tau", "expected"),
    [
        (5, [9.8659, 7.8808, 6.8856, 7.7053, 5.7635, 6.6779, 9.8808, 8.1482]),
        (10, [14.2414, 8.0632, 5.0011, 7.6168, 3.0842, 4.9018, 13.0632, 9.0400]),
    ],
)
def test_eight_schools_are_pooled_as_their_errors_and_spread_say(
    tau: float, expected: list[float]
) -> None:
    estimate, _ = schools(tau)
    assert estimate[0] + estimate[1:] == pytest.approx(expected, abs=1e-3)


def test_eight_schools_without_a_spread_have_one_mean() -> None:
    estimate, solution = least_squares(np.ones((8, 1)), EFFECT, weights=ERROR**-2)
    assert estimate[0] == pytest.approx(7.6856, abs=1e-4)
    assert math.sqrt(solution.covariance[0, 0]) == pytest.approx(4.0719, abs=1e-4)


def test_eight_schools_averaged_over_an_unknown_spread() -> None:
    taus = np.linspace(0.05, 150, 3000)
    means, densities = [], []
    for tau in taus:
        estimate, solution = schools(tau)
        variance = ERROR**2 + tau**2
        log = -0.5 * np.sum(np.log(variance) + (EFFECT - estimate[0]) ** 2 / variance)
        densities.append(math.sqrt(solution.covariance[0, 0]) * math.exp(log))
        means.append([estimate[0], *(estimate[0] + estimate[1:])])
    weights = np.array(densities) / np.sum(densities)
    averaged = weights @ np.array(means)
    assert averaged == pytest.approx(
        [7.93, 11.40, 7.90, 6.13, 7.65, 5.13, 6.14, 10.67, 8.46], abs=0.05
    )
    median = taus[np.searchsorted(np.cumsum(weights), 0.5)]
    assert median == pytest.approx(5.24, abs=0.1)


def reweighted(
    x: Floats, y: Floats, weight: Callable[[Floats], Floats], rounds: int
) -> Floats:
    """Return the estimate whose weights follow from its own residuals."""
    estimate, _ = least_squares(x, y)
    for _ in range(rounds):
        weights = weight(y - x @ estimate)
        estimate, _ = least_squares(x, y, weights=weights, start=estimate)
    return estimate


def test_stack_loss_by_least_squares_huber_and_student() -> None:
    data = np.array([[float(v) for v in row.values()] for row in rows_of("stack_loss")])
    y, x = data[:, 0], np.column_stack([np.ones(21), data[:, 1:]])

    plain, _ = least_squares(x, y)
    assert plain == pytest.approx([-39.919674, 0.715640, 1.295286, -0.152123], abs=1e-4)

    def huber(residual: Floats) -> Floats:
        scale = np.median(np.abs(residual)) / 0.6744897501960817
        return 1.345 / np.maximum(np.abs(residual) / scale, 1.345)

    assert reweighted(x, y, huber, 60) == pytest.approx(
        [-41.0265, 0.829384, 0.926066, -0.127847], abs=1e-3
    )

    scale = [1.0]

    def student(residual: Floats) -> Floats:
        weights = 5 / (4 + residual**2 / scale[0])
        scale[0] = float(np.mean(weights * residual**2))
        return np.asarray(5 / (4 + residual**2 / scale[0]), float)

    assert reweighted(x, y, student, 400) == pytest.approx(
        [-40.06809, 0.857091, 0.745269, -0.115125], abs=1e-3
    )
    assert math.sqrt(scale[0]) == pytest.approx(2.02453, abs=1e-3)


def test_two_rows_of_a_job_are_weighted_by_the_inverse_of_their_covariance() -> None:
    # [[.0769, .0144], [.0144, .0769]]: determinant .00570625; .0769 / it = 13.476451.
    solution = Grouped.of([2], np.ones(1)).solve(
        np.eye(2),
        np.zeros(2),
        np.full(2, 1 / 0.0625),
        np.array([0.0144]),
        np.zeros(2),
        np.zeros(2),
    )
    assert solution.information == pytest.approx(
        np.array([[13.476451, -2.523549], [-2.523549, 13.476451]]), abs=1e-6
    )


def test_jobs_of_several_rows_are_solved_as_with_the_whole_covariance_matrix() -> None:
    generator = np.random.default_rng(1)
    sizes = [3, 1, 4, 2]
    x, y = generator.normal(size=(10, 3)), generator.normal(size=10)
    precision, shared = generator.uniform(1, 9, 10), generator.uniform(0.1, 1, 4)
    weight = np.array([1, 0.5, 0.25, 0.7])
    solution = Grouped.of(sizes, weight).solve(
        x, y, precision, shared, np.full(3, 2.0), np.zeros(3)
    )
    job = np.repeat(np.arange(4), sizes)
    same = job[:, None] == job
    covariance = np.diag(1 / precision) + same * shared[job]
    inverse = np.linalg.inv(covariance) * weight[job]
    full = x.T @ inverse @ x + 2 * np.eye(3)
    assert solution.covariance == pytest.approx(np.linalg.inv(full), rel=1e-9)
    assert solution.step == pytest.approx(
        np.linalg.solve(full, x.T @ inverse @ y), rel=1e-9
    )


#: The book is known to be right, and nothing goes wrong.
BOOK = replace(
    PLAIN,
    pace=1e-9,
    noise=Spread(SURE, 0.25),
    job=Spread(SURE, 0.12),
    means=True,
)


def test_a_learning_curve_by_units_adds_up_as_the_book_multiplies() -> None:
    # Wright (1936), J. Aeronaut. Sci. 3, in the unit reading (Crawford): on an 80 %
    # curve unit u takes u to the power log2 .8 of the first. Wright's own reading is
    # of cumulative averages: unit 2 takes 60 there.
    power = math.log2(0.8)
    labour = learn(History((BookTime("o", 0, 100),), (), TODAY), BOOK)
    units = [Cell("o", 1, factor=u**power) for u in range(1, 11)]
    single = [labour.total([cell]).mean for cell in units]
    assert power == pytest.approx(-0.3219281, abs=1e-7)
    assert [single[0], single[1], single[2], single[3], single[7]] == pytest.approx(
        [100, 80, 70.2104, 64, 51.2], abs=1e-4
    )
    assert labour.total(units[:4]).mean == pytest.approx(314.2104, abs=1e-4)
    assert labour.total(units).mean == pytest.approx(631.5373, abs=1e-4)


def test_one_operation_is_lognormal() -> None:
    # Mean 100, coefficient of variation .30: s = sqrt(ln 1.09) = .293560.
    s = math.sqrt(math.log(1.09))
    history = History((BookTime("o", 0, 100),), (), TODAY)
    labour = learn(history, replace(BOOK, noise=Spread(SURE, s), job=NONE))
    total = labour.total([Cell("o", 1)])
    reference = scipy.stats.lognorm(s, scale=100 * math.exp(-(s**2) / 2))
    assert s == pytest.approx(0.293560, abs=1e-6)
    for p, minutes in ((0.5, 95.7826), (0.8, 122.6271), (0.9, 139.5320)):
        assert total.quantile(p) == pytest.approx(minutes, abs=1e-3)
        assert total.quantile(p) == pytest.approx(reference.ppf(p), rel=1e-8)


@pytest.mark.parametrize(
    ("incidents", "expected"),
    [
        ((0, 40), [246.977, 296.918, 335.090, 356.958]),
        ((2, 40), [243.558, 296.918, 337.291, 361.969]),
    ],
)
def test_ten_equal_operations_vary_less_than_one(
    incidents: tuple[float, float], expected: list[float]
) -> None:
    # Delta method: variance .12 squared + .25 squared / 10; the mixture's quantiles
    # solved independently from the normal distribution.
    book = tuple(BookTime(f"o{number}", 0, 30) for number in range(10))
    labour = learn(History(book, (), TODAY), replace(BOOK, incidents=incidents))
    total = labour.total([Cell(time.operation, 1) for time in book])
    levels = total.quantiles(np.array([0.1, 0.5, 0.8, 0.9]))
    assert levels == pytest.approx(expected, abs=1e-3)
    share, sd = incidents[0] / 40, math.sqrt(0.02065)
    z = np.log(levels) - math.log(300) + 0.010325
    mixed = (1 - share) * scipy.stats.norm.cdf(z / sd)
    mixed += share * scipy.stats.norm.cdf(z / math.hypot(sd, 0.8))
    assert mixed == pytest.approx([0.1, 0.5, 0.8, 0.9], abs=1e-8)


def test_older_jobs_count_by_their_half_life() -> None:
    # Definition; effective number by Kish (1965), Survey Sampling:
    # (1 + .707107 + .5 + .25)^2 / (1 + .5 + .25 + .0625) = 3.33096.
    weights = recency(np.array([0.0, 365, 730, 1460]), half_life=730)
    assert weights == pytest.approx([1, 0.707107, 0.5, 0.25], abs=1e-6)
    assert effective(weights) == pytest.approx(3.33096, abs=1e-5)


def test_the_loss_that_quantiles_are_judged_by_is_the_published_one() -> None:
    # Koenker and Bassett (1978), Econometrica 46; examples of the documentations of
    # scikit-learn (mean_pinball_loss) and sktime (PinballLoss).
    actual = [1, 2, 3]
    assert pinball(actual, [0, 2, 3], 0.1) == pytest.approx(0.033333, abs=1e-6)
    assert pinball(actual, [1, 2, 4], 0.1) == pytest.approx(0.3)
    assert pinball(actual, [0, 2, 3], 0.9) == pytest.approx(0.3)
    assert pinball(actual, [1, 2, 4], 0.9) == pytest.approx(0.033333, abs=1e-6)
    assert pinball([3, -0.5, 2, 7, 2], [1.25, 0, 1, 4, 0.625], 0.05) == pytest.approx(
        0.16625, abs=1e-6
    )


def test_predictions_hold_their_share_of_what_they_predict() -> None:
    # Gneiting, Balabdaoui and Raftery (2007), J. R. Stat. Soc. B 69: of exact
    # predictions a share p of outcomes lies below level p. 1,000 draws, 2 sds.
    none = np.array([])
    total = Total(300, math.log(300), 0.02, 0.05, 0.8, Recalibration.of(none, none), 0)
    generator = np.random.default_rng(7)
    wide = generator.random(1000) < 0.05
    sd = np.sqrt(0.02 + np.where(wide, 0.64, 0))
    outcomes = 300 * np.exp(generator.normal(size=1000) * sd)
    for inside in (0.5, 0.8, 0.9):
        low, high = total.quantiles(np.array([(1 - inside) / 2, (1 + inside) / 2]))
        share = np.mean((low <= outcomes) & (outcomes <= high))
        margin = 2 * math.sqrt(inside * (1 - inside) / 1000)
        assert share == pytest.approx(inside, abs=margin)


def test_quotes_with_wrong_spread_are_set_right_by_what_came() -> None:
    # Kuleshov, Fenner and Ermon (2018), ICML: predictions of half the true sd, 2,000
    # past outcomes; afterwards a share p lies below level p again.
    generator = np.random.default_rng(8)
    past, future = generator.normal(size=2000), generator.normal(size=2000)
    half = scipy.stats.norm(scale=0.5)
    learnt = Recalibration.of(half.cdf(past), np.ones(2000))
    for p in (0.1, 0.5, 0.8, 0.9):
        level = half.ppf(learnt.nominal(np.array([p]))[0])
        assert np.mean(future <= level) == pytest.approx(p, abs=0.03)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_spreads_come_out_as_those_of_a_library_for_mixed_models(seed: int) -> None:
    # statsmodels MixedLM, restricted maximum likelihood: a random intercept of each of
    # 14 machinists over 10 jobs each, with the hyper-priors of ours made flat.
    draw = np.random.Generator(np.random.PCG64(seed))
    people = np.repeat(np.arange(14), 10)
    values = 0.4 + draw.normal(0, 0.3, 14)[people] + draw.normal(0, 0.2, len(people))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about its own way to the optimum
        theirs = sm.MixedLM(values, np.ones((len(values), 1)), groups=people).fit()
    ours = fit(
        measured(values.tolist(), machinists=[f"M{each:02}" for each in people]),
        replace(PLAIN, machinist=Spread(OPEN, 0.1), settled=1e-4, rounds=2000),
    )

    spread = math.sqrt(float(theirs.cov_re[0, 0]))
    assert ours.spreads["machinist"] == pytest.approx(spread, rel=2e-3)
    assert ours.noise == pytest.approx(math.sqrt(theirs.scale), rel=2e-3)
    assert at(ours, "pace") == pytest.approx(float(theirs.fe_params[0]), abs=2e-3)
