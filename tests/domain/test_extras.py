"""What may come on top: published distributions, hand-worked bills, laws, a known shop.

The worked sums stand in the tests. The simulated shops are invented.
"""

import math
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_shop import Circumstances as Known
from simulated_shop import Shop, simulate

from quoting.domain import labour
from quoting.domain.calibration import BookTime, History
from quoting.domain.extras import (
    ANY,
    LEAST_JOBS,
    BetaBinomial,
    Circumstances,
    Counts,
    Draws,
    Extra,
    Inspection,
    MisfitError,
    Sum,
    all_if_most,
    labour_factors,
    learn,
    minutes_range,
    pooled_correlation,
    timed,
)
from quoting.domain.labour import Recalibration, Total

TODAY = date(2025, 6, 30)

shares = st.floats(0.01, 0.99)
correlations = st.floats(0, 0.95)


def logit(share: float) -> float:
    return math.log(share / (1 - share))


def expit(log: float) -> float:
    return 1 / (1 + math.exp(-log))


def inspections(
    *counts: tuple[int, int],
    on: date = TODAY,
    about: Circumstances = ANY,
    finding: str = "cracked",
) -> list[Inspection]:
    """Return one inspection for each number affected and number at risk."""
    return [
        Inspection(f"{about}{number}", on, finding, at_risk, affected, about)
        for number, (affected, at_risk) in enumerate(counts)
    ]


# The distribution of the count.


def test_the_beta_binomial_is_that_of_the_closed_form() -> None:
    # Skellam (1948): P(k) = C(n, k) B(k + a, n - k + b) / B(a, b); n 4, a 2, b 3:
    # 12/56, 12/42, 9/35, 6/35, 1/14. Mean share a / (a + b), correlation
    # 1 / (a + b + 1).
    counted = BetaBinomial(4, 2 / 5, 1 / 6).probabilities()

    assert counted == pytest.approx([12 / 56, 12 / 42, 9 / 35, 6 / 35, 1 / 14])
    assert counted @ np.arange(5) == pytest.approx(1.6)
    assert counted @ (np.arange(5) - 1.6) ** 2 == pytest.approx(1.44)


@given(st.integers(1, 48), shares, st.floats(0.01, 0.95))
def test_the_beta_binomial_is_that_of_the_reference_library(
    number: int, mean: float, correlation: float
) -> None:
    worth = (1 - correlation) / correlation
    reference = scipy.stats.betabinom(number, mean * worth, (1 - mean) * worth)

    counted = BetaBinomial(number, mean, correlation).probabilities()

    assert counted == pytest.approx(reference.pmf(np.arange(number + 1)), abs=1e-9)


@given(st.integers(1, 48), shares)
def test_without_correlation_the_count_is_binomial(number: int, mean: float) -> None:
    reference = scipy.stats.binom(number, mean).pmf(np.arange(number + 1))

    assert BetaBinomial(number, mean, 0).probabilities() == pytest.approx(
        reference, abs=1e-9
    )


@given(st.integers(1, 48), shares, correlations)
def test_the_count_has_the_mean_and_the_variance_of_alike_ones(
    number: int, mean: float, correlation: float
) -> None:
    counted = BetaBinomial(number, mean, correlation).probabilities()
    affected = np.arange(number + 1)
    centre = number * mean
    variance = centre * (1 - mean) * (1 + (number - 1) * correlation)

    assert counted.sum() == pytest.approx(1)
    assert counted @ affected == pytest.approx(centre)
    assert counted @ (affected - centre) ** 2 == pytest.approx(variance)


#: Boys in 6,115 families of 12 children: Geissler (1889), Beitraege zur Frage des
#: Geschlechtsverhaeltnisses der Geborenen, as printed by Lindsey and Altham (1998),
#: "Analysis of the human sex ratio by using overdispersion models", Appl. Stat. 47.
BOYS = (3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7)


def log_likelihood(mean: float, correlation: float) -> float:
    counted = BetaBinomial(12, mean, correlation).probabilities()
    return float(np.array(BOYS) @ np.log(counted))


def test_the_families_of_geissler_have_their_published_fit() -> None:
    # Most likely alpha 34.10 and beta 31.58; AIC 24,989.74, binomial 25,070.34.
    def loss(at: np.ndarray) -> float:
        return -log_likelihood(expit(at[0]), expit(at[1]))

    best = scipy.optimize.minimize(
        loss, [0.0, -4.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-9}
    ).x
    mean, correlation = expit(best[0]), expit(best[1])
    worth = (1 - correlation) / correlation
    boys = sum(k * families for k, families in enumerate(BOYS)) / (12 * sum(BOYS))

    assert mean * worth == pytest.approx(34.10, abs=0.05)
    assert (1 - mean) * worth == pytest.approx(31.58, abs=0.05)
    assert 4 - 2 * log_likelihood(mean, correlation) == pytest.approx(
        24989.74, abs=0.01
    )
    assert 2 - 2 * log_likelihood(boys, 0) == pytest.approx(25070.34, abs=0.01)


def test_the_share_of_geissler_s_families_is_learnt_with_its_correlation() -> None:
    # The mean of the counts: 38,100 boys of 73,380; 1 / (34.10 + 31.58 + 1) = 0.015
    # lies between two correlations that are tried.
    families = [
        inspection
        for boys, number in enumerate(BOYS)
        for inspection in inspections((boys, 12)) * number
    ]
    learnt = learn(families, TODAY, {"cracked": 0.5})["cracked"]

    assert learnt.expect(12).outcome.mean == pytest.approx(38100 / 73380, abs=1e-4)
    assert learnt.correlation in (0.01, 0.02)


# The fit.


def test_the_shop_s_share_is_drawn_towards_the_book_s_as_the_equation_says() -> None:
    # Heads one by one: 27 of 300 cracked, book 6 %. The most likely logit m solves
    # 27 - 300 expit(m) = (m - logit 0.06) / 1^2.
    jobs = inspections(*[(1, 1)] * 27, *[(0, 1)] * 273)

    learnt = learn(jobs, TODAY, {"cracked": 0.06})["cracked"]

    root = scipy.optimize.brentq(
        lambda m: 27 - 300 * expit(m) - (m - logit(0.06)), -6, 0
    )
    assert learnt.estimate[0] == pytest.approx(root, abs=1e-9)
    information = 300 * expit(root) * (1 - expit(root)) + 1
    assert learnt.covariance[0, 0] == pytest.approx(1 / information, rel=1e-6)


def test_the_estimate_is_the_peak_that_a_general_optimiser_finds() -> None:
    # With one head a job the count is Bernoulli whatever the correlation, so the
    # penalised likelihood at the learnt spreads is that of a logistic regression.
    draw = np.random.Generator(np.random.PCG64(4))
    abouts = [
        Circumstances(band=band, reason=reason)
        for band in ("young", "old")
        for reason in ("overheated", "belt", "oil")
    ]
    jobs = [
        Inspection(str(number), TODAY, "cracked", 1, int(draw.random() < 0.3), about)
        for number in range(40)
        for about in abouts
    ]
    learnt = learn(jobs, TODAY, {"cracked": 0.2})["cracked"]

    names = [(of, level) for of in learnt.levels for level in learnt.levels[of]]
    design = np.array(
        [
            [1.0, *(getattr(each.circumstances, of) == level for of, level in names)]
            for each in jobs
        ]
    )
    affected = np.array([each.affected for each in jobs])
    sds = np.array([1.0, *(learnt.spreads[of] for of, _ in names)])
    centre = np.array([logit(0.2), *(0.0 for _ in names)])

    def loss(at: np.ndarray) -> float:
        log = design @ at
        likely = affected @ log - np.logaddexp(0, log).sum()
        return float(-likely + (((at - centre) / sds) ** 2).sum() / 2)

    peak = scipy.optimize.minimize(loss, centre, method="BFGS", options={"gtol": 1e-8})
    assert learnt.estimate == pytest.approx(peak.x, abs=2e-4)


def test_without_jobs_of_now_the_share_is_the_book_s() -> None:
    long_ago = TODAY - timedelta(days=36500)
    learnt = learn(inspections((8, 8), on=long_ago), TODAY, {"cracked": 0.06})

    assert learnt["cracked"].estimate[0] == pytest.approx(logit(0.06), abs=1e-9)


def test_a_job_of_two_years_ago_counts_half() -> None:
    old = TODAY - timedelta(days=730)
    halves = inspections(*[(1, 1)] * 8, *[(0, 1)] * 12, on=old)
    wholes = inspections(*[(1, 1)] * 4, *[(0, 1)] * 6)

    assert learn(halves, TODAY)["cracked"].estimate == pytest.approx(
        learn(wholes, TODAY)["cracked"].estimate
    )


def test_jobs_after_the_day_do_not_count() -> None:
    jobs = inspections((0, 4), (1, 4))
    later = inspections((4, 4), on=TODAY + timedelta(days=1))

    assert learn(jobs + later, TODAY)["cracked"].counts() == Counts(2, 1, 8, 1)


@settings(max_examples=20, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_inspections_does_not_matter(random: object) -> None:
    jobs = [
        *inspections((3, 8), (0, 8), (8, 8), about=Circumstances(band="old")),
        *inspections((0, 8), (1, 8), about=Circumstances(band="young")),
    ]
    shuffled = list(jobs)
    random.shuffle(shuffled)  # type: ignore[attr-defined]

    first, second = learn(jobs, TODAY)["cracked"], learn(shuffled, TODAY)["cracked"]

    assert (first.estimate == second.estimate).all()
    assert first.correlation == second.correlation


def test_all_or_none_is_learnt_as_a_high_correlation() -> None:
    together = learn(inspections(*[(8, 8), (0, 8)] * 20), TODAY)["cracked"]
    apart = learn(inspections(*[(4, 8)] * 40), TODAY)["cracked"]

    assert together.correlation >= 0.85
    assert apart.correlation <= 0.02


@pytest.mark.parametrize(("affected", "at_risk"), [(9, 8), (-1, 8), (0, 0)])
def test_a_count_that_is_not_possible_is_refused(affected: int, at_risk: int) -> None:
    with pytest.raises(MisfitError, match=f"{affected} affected of {at_risk} at risk"):
        learn(inspections((affected, at_risk)), TODAY)


def test_nothing_inspected_is_nothing_learnt() -> None:
    assert learn([], TODAY) == {}


# What is expected of a job.


def test_an_uncertain_share_makes_the_heads_of_a_job_more_alike() -> None:
    # 0.5 + 0.5 * 0.004 / (0.3 * 0.7) = 0.509524.
    assert pooled_correlation(0.5, 0.3, 0.004) == pytest.approx(0.509524, abs=5e-7)


def of_two_bands(*, old: int, young: int) -> list[Inspection]:
    """Return jobs of one head: 12 of 24 old ones cracked, 2 of 24 young ones."""
    return [
        *inspections(*[(1, 1)] * old, about=Circumstances(band="old")),
        *inspections(*[(0, 1)] * (24 - old), about=Circumstances(band="old")),
        *inspections(*[(1, 1)] * young, about=Circumstances(band="young")),
        *inspections(*[(0, 1)] * (24 - young), about=Circumstances(band="young")),
    ]


def test_a_band_is_drawn_from_its_own_share_towards_the_shop_s() -> None:
    learnt = learn(of_two_bands(old=12, young=2), TODAY)["cracked"]

    old = learnt.expect(1, Circumstances(band="old"))
    young = learnt.expect(1, Circumstances(band="young"))
    shop = 14 / 48

    assert 2 / 24 < young.outcome.mean < shop < old.outcome.mean < 12 / 24
    assert old.low < old.outcome.mean < old.high
    assert old.any == pytest.approx(old.outcome.mean)


def test_what_is_not_known_is_the_shop_s_usual_mixture() -> None:
    learnt = learn(of_two_bands(old=12, young=2), TODAY)["cracked"]

    unknown = learnt.expect(1)
    old, young = (
        learnt.expect(1, Circumstances(band=band)) for band in ("old", "young")
    )

    mixed = (old.outcome.mean + young.outcome.mean) / 2
    assert unknown.outcome.mean == pytest.approx(mixed, abs=0.02)
    assert unknown.high - unknown.low > max(old.high - old.low, young.high - young.low)


def test_a_level_never_met_may_lie_as_far_off_as_those_that_were() -> None:
    learnt = learn(of_two_bands(old=12, young=2), TODAY)["cracked"]
    row = np.array([1.0, 0.0, 0.0])
    sd = math.sqrt(row @ learnt.covariance @ row + learnt.spreads["band"] ** 2)

    met = learnt.expect(1, Circumstances(band="ancient"))

    assert met.low == pytest.approx(expit(learnt.estimate[0] - 1.645 * sd))
    assert met.high == pytest.approx(expit(learnt.estimate[0] + 1.645 * sd))


def test_a_predictor_that_the_history_lacks_changes_nothing() -> None:
    learnt = learn(of_two_bands(old=12, young=2), TODAY)["cracked"]
    old = Circumstances(band="old")

    assert learnt.expect(4, old._replace(reason="overheated")) == learnt.expect(4, old)


def test_raw_counts_are_of_the_jobs_most_alike_of_which_there_are_enough() -> None:
    hot = Circumstances("four-8", "old", "overheated", "corroded")
    jobs = [
        *inspections(*[(1, 2)] * 4, *[(0, 2)] * 7, about=hot),
        *inspections(*[(0, 1)] * 9, about=hot._replace(condition="clean")),
        *inspections((1, 1), about=hot._replace(reason="belt")),
    ]
    learnt = learn(jobs, TODAY)["cracked"]

    alike = learnt.expect(1, hot)
    assert (alike.alike, alike.alike_in) == (Counts(11, 4, 22, 4), hot)
    # Nine clean ones are too few: with any condition there are twenty.
    wider = learnt.expect(1, hot._replace(condition="clean"))
    assert wider.alike == Counts(20, 4, 31, 4)
    assert wider.alike_in == hot._replace(condition="")
    # Of that family there is none, whatever else is given up: the whole shop.
    other = learnt.expect(1, hot._replace(family="six-12"))
    assert (other.alike, other.alike_in) == (other.shop, ANY)
    assert other.shop == Counts(21, 5, 32, 5)


def test_nothing_is_claimed_of_fewer_jobs_than_stated() -> None:
    few = learn(inspections(*[(1, 4)] * (LEAST_JOBS - 1)), TODAY)["cracked"]
    enough = learn(inspections(*[(1, 4)] * LEAST_JOBS), TODAY)["cracked"]

    assert not few.expect(4).claimed
    assert enough.expect(4).claimed


def learnt_error(shop: Shop, *, knowing: Sequence[str]) -> float:
    """Return how far expected shares lie from the true ones, root mean square."""

    def about(job: str) -> Circumstances:
        known = shop.circumstances[job]
        return Circumstances(**{of: getattr(known, of) for of in knowing})

    on = {job.job: job.on for job in shop.history.jobs}
    learnt = learn(
        [
            Inspection(
                each.job,
                on[each.job],
                each.finding,
                each.at_risk,
                each.affected,
                about(each.job),
            )
            for each in shop.findings
        ],
        shop.history.today,
    )
    errors = []
    for each in shop.found_later:
        true = shop.probability[each.finding, Known(*shop.circumstances[each.job])]
        expected = learnt[each.finding].expect(each.at_risk, about(each.job))
        errors.append(expected.outcome.mean - true)
    return math.sqrt(sum(error**2 for error in errors) / len(errors))


@pytest.mark.parametrize("seed", [11, 12])
def test_reason_and_condition_bring_the_shares_nearer_to_the_truth(seed: int) -> None:
    shop = simulate(seed, 400)
    everything = ("family", "band", "reason", "condition")

    error = learnt_error(shop, knowing=everything)

    assert error < 0.08
    assert error < 0.7 * learnt_error(shop, knowing=("family", "band"))
    assert error < 0.5 * learnt_error(shop, knowing=())


# The bill.

CRACKED = Extra("cracked", (0.94, 0.06), (0, 60))
WARPED = Extra("warped", (0.82, 0.18), (0, 16))
#: Two guides of alpha 0.3 and beta 0.7: (0.7 * 1.7, 2 * 0.3 * 0.7, 0.3 * 1.3) / 2.
GUIDES = Extra("guides-worn", (0.595, 0.21, 0.195), (0, 23.5, 35))


def test_two_extras_add_up_as_worked_by_hand() -> None:
    # 0.94 * 0.82 = 0.7708; 0.94 * 0.18 = 0.1692; 0.06 * 0.82 = 0.0492;
    # 0.06 * 0.18 = 0.0108; mean 0.06 * 60 + 0.18 * 16 = 6.48.
    whole = Sum.of([CRACKED, WARPED], grid=1)

    assert whole.probabilities[[0, 16, 60, 76]] == pytest.approx(
        [0.7708, 0.1692, 0.0492, 0.0108]
    )
    assert whole.mean == pytest.approx(6.48)


def test_two_guides_more_add_up_as_worked_by_hand() -> None:
    # Up to 0: 0.7708 * 0.595 = 0.458626; up to 16: + 0.1692 * 0.595 = 0.559300;
    # up to 23.5: + 0.7708 * 0.21 = 0.721168; up to 35: + 0.7708 * 0.195 = 0.871474;
    # up to 39.5: + 0.1692 * 0.21 = 0.907006. Mean 6.48 + 0.21 * 23.5 + 0.195 * 35.
    guides = BetaBinomial(2, 0.3, 0.5).probabilities()
    assert guides == pytest.approx(GUIDES.probabilities)

    whole = Sum.of([CRACKED, WARPED, GUIDES], grid=0.5)
    within = np.cumsum(whole.probabilities)

    at = [round(2 * cost) for cost in (0, 16, 23.5, 35, 39.5)]
    assert within[at] == pytest.approx(
        [0.458626, 0.559300, 0.721168, 0.871474, 0.907006], abs=5e-7
    )
    assert [whole.quantile(p) for p in (0.5, 0.8, 0.9)] == [16, 35, 39.5]
    assert whole.mean == pytest.approx(18.24)


def test_a_share_that_is_reached_exactly_needs_no_more() -> None:
    thirds = [Extra(str(n), (0.9, 0.1), (0, 10)) for n in range(2)]

    assert Sum.of(thirds, grid=1).quantile(0.81) == 0
    assert Sum.of(thirds, grid=1).quantile(0.99) == 10


def test_no_extra_adds_nothing() -> None:
    assert Sum.of([], grid=0.5).quantile(0.9) == 0


@st.composite
def extras(draw: st.DrawFn) -> Extra:
    outcome = BetaBinomial(draw(st.integers(1, 6)), draw(shares), draw(correlations))
    setup, unit = draw(st.integers(0, 40)), draw(st.integers(1, 40))
    return Extra.of("found", outcome.probabilities(), setup, unit)


@given(st.lists(extras(), max_size=4), extras(), st.sampled_from((0.1, 0.5, 0.8, 0.9)))
def test_one_extra_more_never_makes_the_sum_less(
    some: list[Extra], more: Extra, p: float
) -> None:
    before, after = Sum.of(some, grid=1), Sum.of([*some, more], grid=1)

    assert after.quantile(p) >= before.quantile(p)
    assert after.mean == pytest.approx(before.mean + more.mean)
    assert after.probabilities.sum() == pytest.approx(1)


@given(extras())
def test_doing_all_where_most_are_affected_is_never_less(extra: Extra) -> None:
    counted = np.array(extra.probabilities)
    number = len(counted) - 1

    done = all_if_most(counted)

    assert done.sum() == pytest.approx(1)
    assert (np.cumsum(done) <= np.cumsum(counted) + 1e-12).all()
    assert done[: number // 2 + 1] == pytest.approx(counted[: number // 2 + 1])
    assert done[number // 2 + 1 : number].sum() == 0


def total(mean: float = 200, sd: float = 0.2) -> Total:
    """Return work whose mean minutes are so many, scattered lognormally."""
    none = np.array([])
    return Total(
        mean=mean,
        location=math.log(mean) - sd**2 / 2,
        variance=sd**2,
        incident=0,
        incident_sd=0.8,
        recalibration=Recalibration.of(none, none),
        thin_share=0,
    )


def test_drawn_extras_add_on_average_what_they_are_worth() -> None:
    some = [CRACKED, WARPED, GUIDES]
    adds = Draws.of(some).adds()
    error = adds.std(axis=0) / math.sqrt(len(adds))

    worth = np.array([extra.mean for extra in some])
    assert worth == pytest.approx([3.6, 2.88, 0.21 * 23.5 + 0.195 * 35])
    assert (abs(adds.mean(axis=0) - worth) < 4 * error).all()


def test_drawn_minutes_have_the_mean_of_base_and_extras() -> None:
    # Factors of mean 1 by construction of the lognormal; the thousand strata lose
    # a little of its tail.
    base, some = total(), [CRACKED, WARPED, GUIDES]
    factors = labour_factors(base, 20_000)
    minutes = (base.mean + Draws.of(some).adds().sum(axis=1)) * factors
    error = minutes.std() / math.sqrt(len(minutes))

    assert factors.mean() == pytest.approx(1, abs=1e-3)
    assert abs(minutes.mean() - (200 + 18.24)) < 4 * error


def test_each_extra_turns_up_as_often_as_it_should() -> None:
    affected = Draws.of([GUIDES, CRACKED]).affected

    for count, chance in enumerate(GUIDES.probabilities):
        error = math.sqrt(chance * (1 - chance) / len(affected))
        assert abs((affected[:, 0] == count).mean() - chance) < 4 * error
    # Independent: both together as often as the product says.
    both = ((affected[:, 0] > 0) & (affected[:, 1] > 0)).mean()
    assert abs(both - 0.405 * 0.06) < 4 * math.sqrt(0.0243 * 0.9757 / len(affected))


def test_the_draws_are_the_same_every_time() -> None:
    some = [CRACKED, GUIDES]

    assert (Draws.of(some).affected == Draws.of(some).affected).all()
    assert minutes_range(total(), some) == minutes_range(total(), some)


def test_without_extras_the_range_is_that_of_the_work() -> None:
    found = minutes_range(total(), [])

    # Lognormal: 200 * exp(-0.02 + z * 0.2), z of the normal distribution.
    for minutes, z in (
        (found.low, -1.281552),
        (found.likely, 0),
        (found.safe, 0.841621),
        (found.high, 1.281552),
    ):
        assert minutes == pytest.approx(200 * math.exp(-0.02 + z * 0.2), rel=2e-3)
    assert found.floor == pytest.approx(200 * math.exp(-0.02))
    assert found.condemned == 0
    assert found.weightiest == ()


def test_with_sure_work_the_range_is_the_exact_one() -> None:
    some = [CRACKED, WARPED, GUIDES]
    found = minutes_range(total(sd=1e-6), some)

    assert found.likely == pytest.approx(216, abs=0.01)
    assert found.safe == pytest.approx(235, abs=0.01)
    assert found.low == pytest.approx(200, abs=0.01)


@settings(max_examples=25, deadline=None)
@given(st.lists(extras(), max_size=4), extras())
def test_a_range_is_in_order_and_grows_with_what_may_come(
    some: list[Extra], more: Extra
) -> None:
    before = minutes_range(total(), some, number=2_000)
    after = minutes_range(total(), [more, *some], number=2_000)
    ordered = (before.low, before.likely, before.safe, before.high)

    assert all(a < b for a, b in pairwise(ordered))
    assert after.floor == before.floor
    # Other draws, so that the order holds but for chance.
    assert after.high > before.high * 0.9
    assert len(after.weightiest) <= 3


def test_the_extras_that_lengthen_a_job_are_named_the_weightiest_first() -> None:
    # Four coins make sixteen totals, 0 to 65. The tenth around 90 % holds a quarter
    # of 55 = 30 + 20 + 5, five eighths of 60 = 30 + 20 + 10 and an eighth of all
    # four; the tenth around 50 % has each coin in half. So 30 - 15, 20 - 10,
    # 7.5 - 5, and less than nothing for the 5.
    coins = [Extra(str(adds), (0.5, 0.5), (0, adds)) for adds in (5, 10, 20, 30)]

    found = minutes_range(total(sd=1e-6), coins).weightiest

    assert [name for name, _ in found] == ["30", "20", "10"]
    assert [by for _, by in found] == pytest.approx([15, 10, 2.5], abs=1)


def test_being_condemned_is_an_outcome_of_its_own() -> None:
    ends = [
        Extra("condemned", (0.9, 0.1), (0, 999), condemns=True),
        Extra("lost", (0.8, 0.2), (0, 999), condemns=True),
    ]
    found = minutes_range(total(), [GUIDES, *ends])
    without = minutes_range(total(), [GUIDES])

    # 1 - 0.9 * 0.8; what goes on takes what it took, but for other draws.
    assert found.condemned == pytest.approx(0.28)
    assert found.high == pytest.approx(without.high, rel=0.02)
    assert Sum.of([GUIDES, *ends], grid=0.5).mean == pytest.approx(GUIDES.mean)


def test_heads_expected_to_be_condemned_end_the_job() -> None:
    jobs = inspections(*[(1, 2)] * 3, *[(0, 2)] * 27, finding="condemned")
    expected = learn(jobs, TODAY)["condemned"].expect(2)

    found = minutes_range(total(), [Extra.ending(expected)])

    assert found.condemned == pytest.approx(expected.any)
    assert 0.05 < found.condemned < 0.15
    assert found.weightiest == ()


# The minutes of an extra.


def no_history() -> labour.Labour:
    """Return a shop that has only its book."""
    book = (BookTime("new-guides", 12, 5), BookTime("ream-guides", 5, 1.5))
    return labour.learn(History(book, (), TODAY))


def test_a_finding_adds_the_minutes_of_all_that_is_done_about_it() -> None:
    jobs = inspections(*[(1, 4)] * 20, finding="guides-worn")
    expected = learn(jobs, TODAY)["guides-worn"].expect(4)

    extra = timed(expected, no_history(), ("new-guides", "ream-guides"))

    # Set-ups 12 + 5, units 5 + 1.5: 23.5, 30, 36.5, 43.
    assert extra.adds == pytest.approx((0, 23.5, 30, 36.5, 43))
    assert extra.probabilities == pytest.approx(expected.outcome.probabilities())


def test_more_than_half_worn_may_mean_that_all_are_done() -> None:
    jobs = inspections(*[(1, 4)] * 20, finding="guides-worn")
    expected = learn(jobs, TODAY)["guides-worn"].expect(4)

    extra = timed(expected, no_history(), ("new-guides",), all_of_most=True)

    counted = expected.outcome.probabilities()
    assert extra.probabilities == pytest.approx(
        (*counted[:3], 0, counted[3] + counted[4])
    )
    assert extra.adds == pytest.approx((0, 17, 22, 27, 32))
