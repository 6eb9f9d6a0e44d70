"""What is learnt from past jobs: hand-worked fits, laws, and records that are left out.

The worked sums stand in the tests. The simulated shops are invented.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_shop import simulate

from quoting.domain.calibration import (
    USUAL,
    Assumptions,
    BookTime,
    Calibration,
    Cell,
    Clocking,
    Effect,
    History,
    Marker,
    NotConvergedError,
    PastJob,
    Spread,
    Why,
    clock_step,
    fit,
    incident_probability,
)

TODAY = date(2025, 6, 30)

#: A spread that no data moves.
SURE = 1e15

#: Every spread as believed, no incident, medians: sums that a hand can follow.
FIXED = Assumptions(
    operation=Spread(SURE, 0.20),
    part=Spread(SURE, 0.10),
    noise=Spread(SURE, 0.25),
    job=Spread(SURE, 0.12),
    incidents=(0, 40),
    job_incidents=0,
    means=False,
)

SEAT = BookTime("cut-seats", setup=0, unit=4.5)


def job(
    name: str, *minutes: float | None, on: date = TODAY, codes: tuple[str, ...] = ()
) -> PastJob:
    """Return a job of one unit of each code, each clocked by itself."""
    codes = codes or ("cut-seats",)
    return PastJob(
        name,
        on,
        tuple(Cell(code, 1) for code in codes),
        tuple(
            Clocking(f"{name}-{number}", (code,), took)
            for number, (code, took) in enumerate(zip(codes, minutes, strict=True))
        ),
    )


def effect(learnt: Calibration, kind: str, of: str = "") -> float:
    """Return the factor by which an effect multiplies."""
    return math.exp(learnt.estimate[learnt.model.index[Effect(kind, of)]])


def unit(learnt: Calibration, code: str, book: float) -> float:
    """Return the learnt minutes a unit."""
    factors = [effect(learnt, "pace")]
    factors += [effect(learnt, kind, code) for kind in ("operation", "unit")]
    return book * math.prod(factors)


def four_rows(*, sizes: tuple[int, ...]) -> History:
    """Return rows at 1.10, 1.30, 1.15 and 1.45 times the book, in jobs of those sizes.

    Rows of one job are different operations, so that they may share a job.
    """
    minutes = [4.5 * factor for factor in (1.10, 1.30, 1.15, 1.45)]
    jobs = []
    for number, size in enumerate(sizes):
        took, minutes = minutes[:size], minutes[size:]
        jobs.append(job(f"J{number}", *took, codes=("cut-seats", "other")[:size]))
    return History((SEAT,), tuple(jobs), TODAY)


def test_four_jobs_are_pooled_with_the_book_as_the_hand_sum_says() -> None:
    # Prior variance .0625 + .04 + .01 = .1125; row variance .0625 + .0144 = .0769.
    # Mean log: (ln 1.10 + ln 1.30 + ln 1.15 + ln 1.45) / 4.
    mean = sum(math.log(factor) for factor in (1.10, 1.30, 1.15, 1.45)) / 4
    weight = 0.1125 / (0.1125 + 0.0769 / 4)

    learnt = fit(four_rows(sizes=(1, 1, 1, 1)), FIXED)

    assert weight == pytest.approx(0.85405, abs=5e-6)
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(
        4.5 * math.exp(weight * mean), rel=1e-9
    )
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(5.4174, abs=5e-5)


def test_a_mean_lies_above_the_median_by_half_the_variance() -> None:
    # Log minutes lie around log mean - .0769 / 2, so each residual grows by .03845.
    mean = sum(math.log(factor) for factor in (1.10, 1.30, 1.15, 1.45)) / 4 + 0.03845

    learnt = fit(four_rows(sizes=(1, 1, 1, 1)), replace(FIXED, means=True))

    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(
        4.5 * math.exp(0.1125 / (0.1125 + 0.0769 / 4) * mean), rel=1e-9
    )
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(5.5983, abs=5e-5)


def test_rows_of_one_job_count_less_than_rows_of_different_jobs() -> None:
    # Two jobs of two rows: variance of a job's mean .0144 + .0625 / 2 = .04565.
    history = four_rows(sizes=(1, 1, 1, 1))
    minutes = [4.5 * factor for factor in (1.10, 1.30, 1.15, 1.45)]
    cells = (Cell("cut-seats", 1), Cell("twin", 1))

    def pair(name: str, first: float, second: float) -> PastJob:
        rows = (Clocking("a", ("cut-seats",), first), Clocking("b", ("twin",), second))
        return PastJob(name, TODAY, cells, rows)

    # A twin that is known to deviate as little as it can from the pace, and an
    # operation whose deviation is all in the pace: the rows measure one quantity.
    assumptions = replace(
        FIXED,
        pace=math.sqrt(0.1125),
        operation=Spread(SURE, 1e-7),
        part=Spread(SURE, 1e-7),
    )
    learnt = fit(
        replace(
            history,
            book=(SEAT, BookTime("twin", 0, 4.5)),
            jobs=(pair("A", *minutes[:2]), pair("B", *minutes[2:])),
        ),
        assumptions,
    )

    weight = 0.1125 / (0.1125 + 0.04565 / 2)
    mean = sum(math.log(factor) for factor in (1.10, 1.30, 1.15, 1.45)) / 4
    assert weight == pytest.approx(0.83133, abs=5e-6)
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(
        4.5 * math.exp(weight * mean), rel=1e-9
    )
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(5.3907, abs=5e-5)


@pytest.mark.parametrize(
    ("factor", "probability"), [(1.2, 0.02), (1.4, 0.12), (1.6, 0.62), (2.0, 0.999)]
)
def test_a_total_is_the_likelier_an_incident_the_further_it_is_off(
    factor: float, probability: float
) -> None:
    # Ten equal operations: sd of the log sqrt(.0144 + .0625 / 10) = .1437; one row in
    # twenty goes wrong, sd .8. By hand for 2.0: density of N(0, .02065) at ln 2 is
    # 2.776 e^-11.633 = 2.461e-5, of N(0, .66065) it is .4908 e^-.3636 = .3412;
    # .05 x .3412 / (.05 x .3412 + .95 x 2.461e-5) = .9986.
    variance = np.array([0.0144 + 0.0625 / 10])
    residual = np.array([math.log(factor)])

    found = incident_probability(0.05, residual, variance, 0.8)[0]

    assert found == pytest.approx(probability, abs=0.006)


def test_no_residual_is_so_far_off_that_the_odds_overflow() -> None:
    found = incident_probability(0.05, np.array([60.0]), np.array([1e-4]), 0.8)
    assert found[0] == pytest.approx(1)


def test_without_history_everything_is_the_book() -> None:
    learnt = fit(replace(simulate(1, 10).history, jobs=()))
    assert learnt.estimate.tolist() == [0.0] * len(learnt.model.effects)
    assert learnt.rows == 0
    assert (learnt.noise, learnt.job, learnt.incident) == (0.25, 0.12, 0.05)


def test_jobs_a_hundred_years_old_say_nothing() -> None:
    history = simulate(2, 60).history
    ages = timedelta(days=36_525)
    old = tuple(replace(job, on=job.on - ages) for job in history.jobs)
    learnt = fit(replace(history, jobs=old, markers=()))
    assert np.abs(learnt.estimate).max() < 1e-9


def test_a_job_of_two_years_ago_counts_half() -> None:
    # One row, prior .1125, row variance .0769: weight of the row w .1125 / (w .1125 +
    # .0769) is .59398 today and .42244 two years (730 days) ago.
    for days, weight in ((0, 0.59398), (730, 0.42244)):
        past = job("J", 9.45, on=TODAY - timedelta(days=days))
        learnt = fit(
            History((SEAT,), (past,), TODAY),
            replace(FIXED, trend=1e-9),
        )
        assert unit(learnt, "cut-seats", 4.5) == pytest.approx(
            4.5 * 2.1**weight, rel=1e-4
        )


def test_minutes_and_book_in_seconds_give_the_same_factors() -> None:
    history = simulate(3, 60).history
    # Uneven minutes, so that no clock step is seen in either.
    rough = _with_minutes(history, lambda minutes: minutes * 1.001)
    fine = _with_minutes(rough, lambda minutes: minutes * 60)
    book = tuple(replace(b, setup=b.setup * 60, unit=b.unit * 60) for b in history.book)
    assert fit(replace(fine, book=book)).estimate == pytest.approx(
        fit(rough).estimate, abs=1e-9
    )


def test_the_order_of_jobs_does_not_matter() -> None:
    history = simulate(4, 60).history
    backwards = replace(history, jobs=history.jobs[::-1])
    assert fit(backwards).estimate.tolist() == fit(history).estimate.tolist()


def test_two_fits_of_the_same_jobs_are_the_same() -> None:
    history = simulate(5, 60).history
    first, second = fit(history), fit(history)
    assert first.estimate.tobytes() == second.estimate.tobytes()
    assert first.covariance.tobytes() == second.covariance.tobytes()


@pytest.mark.parametrize(("jobs", "most"), [(60, 0.12), (300, 0.06)])
def test_one_job_ten_times_too_long_moves_no_time_much(jobs: int, most: float) -> None:
    history = simulate(6, jobs).history
    for number in range(0, jobs, jobs // 3):
        spoilt = list(history.jobs)
        rows = tuple(
            replace(row, minutes=(row.minutes or 0) * 10)
            for row in spoilt[number].clockings
        )
        spoilt[number] = replace(spoilt[number], clockings=rows)
        before, after = fit(history), fit(replace(history, jobs=tuple(spoilt)))
        for book in history.book:
            moved = unit(after, book.operation, 1) / unit(before, book.operation, 1)
            assert abs(moved - 1) < most


def test_a_shop_a_fifth_slower_than_the_book_is_found_so() -> None:
    history = simulate(7, 60, drift=False).history
    book = {time.operation: time for time in history.book}
    jobs = tuple(
        replace(
            job,
            material="",
            hardness="",
            clockings=(Clocking("all", (), 1.2 * _book_minutes(book, job)),),
        )
        for job in history.jobs
    )
    never = BookTime("weld", 20, 30)
    learnt = fit(replace(history, jobs=jobs, book=(*history.book, never)))
    assert 1.17 < unit(learnt, "weld", 1) < 1.23
    means = learnt.model.design([(job, job.cells) for job in jobs]).at(learnt.estimate)
    factors = means.minutes / [_book_minutes(book, job) for job in jobs]
    # A mean lies above the median by half the variance, here at least half of .0144.
    medians = factors * math.exp(-(learnt.job**2) / 2)
    assert 1.17 < np.median(medians) < 1.23


def test_totals_groups_and_operations_are_learnt_from_together() -> None:
    book = (BookTime("clean", 10, 2), BookTime("face", 20, 5), BookTime("test", 15, 0))
    cells = (Cell("clean", 4), Cell("face", 2), Cell("test", 1))
    # True factors: clean 1.5 (27), face 0.8 (24), test 1 (15); together 66.
    jobs = tuple(
        PastJob(f"J{number:03}", TODAY, cells, rows)
        for number, rows in enumerate(
            [
                (Clocking("a", (), 66),),
                (Clocking("a", ("clean",), 27), Clocking("b", ("face", "test"), 39)),
                (
                    Clocking("a", ("clean",), 27),
                    Clocking("b", ("face",), 24),
                    Clocking("c", ("test",), 15),
                ),
            ]
            * 60
        )
    )
    learnt = fit(History(book, jobs, TODAY))
    means = learnt.model.design(
        [(jobs[0], (cell,)) for cell in cells] + [(jobs[0], cells)]
    ).at(learnt.estimate)
    assert means.minutes.tolist() == pytest.approx([27, 24, 15, 66], rel=0.03)
    assert [whole.minutes for whole in learnt.whole_jobs] == [66] * 180


def test_a_marked_day_separates_before_and_after() -> None:
    marked = TODAY - timedelta(days=100)
    jobs = tuple(
        job(f"J{days:03}", 9.0 if days > 100 else 6.0, on=TODAY - timedelta(days=days))
        for days in range(0, 200, 2)
    )
    history = History((SEAT,), jobs, TODAY, (Marker(marked, ("cut-seats",)),))
    learnt = fit(history)
    index = learnt.model.index[Effect("marker", "cut-seats", marked)]
    assert math.exp(learnt.estimate[index]) == pytest.approx(6 / 9, rel=0.1)


def test_a_marked_day_belongs_to_what_comes_after_it() -> None:
    marked = TODAY - timedelta(days=9)
    jobs = (job("A", 5.0, on=marked - timedelta(days=1)), job("B", 5.0, on=marked))
    learnt = fit(History((SEAT,), jobs, TODAY, (Marker(marked, ("cut-seats",)),)))
    rows = learnt.model.design([(each, each.cells) for each in jobs])
    column = learnt.model.index[Effect("marker", "cut-seats", marked)]
    assert rows.at(learnt.estimate).gradient[:, column].tolist() == [0, 1]


def test_a_steady_trend_is_carried_to_today_and_not_beyond() -> None:
    # 10 % a year quicker for three years, 5 minutes today.
    jobs = tuple(
        job(f"J{days:04}", 5.0 * 1.1 ** (days / 365.25), on=TODAY - timedelta(days))
        for days in range(0, 1096, 5)
    )
    learnt = fit(History((SEAT,), jobs, TODAY), replace(USUAL, means=False))
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(5, rel=0.02)
    later = job("L", 5.0, on=TODAY + timedelta(days=365))
    ahead = learnt.model.design([(later, later.cells)]).at(learnt.estimate)
    assert ahead.minutes[0] == pytest.approx(unit(learnt, "cut-seats", 4.5))


def test_a_row_counts_for_less_where_nobody_knows_who_did_it() -> None:
    # One known machinist, so that an unknown one is taken for him: both rows measure
    # pace, operation, unit and machinist, prior variance .1125 + .08^2 = .1189. Row
    # variance .0769, of the unknown .0769 + .08^2 = .0833.
    known = replace(job("A", 4.5 * 1.21), machinist="first")
    learnt = fit(
        History((SEAT,), (known, job("B", 4.5 * 1.51)), TODAY),
        replace(FIXED, machinist=Spread(SURE, 0.08)),
    )
    precisions = (1 / 0.0769, 1 / 0.0833)
    pulled = precisions[0] * math.log(1.21) + precisions[1] * math.log(1.51)
    expected = pulled / (sum(precisions) + 1 / 0.1189)
    found = unit(learnt, "cut-seats", 1) * effect(learnt, "machinist", "first")
    assert math.log(found) == pytest.approx(expected, rel=1e-6)


def test_a_job_gone_wrong_throughout_does_not_make_all_jobs_look_uneven() -> None:
    codes = tuple(f"o{number}" for number in range(8))
    book = tuple(BookTime(code, 0, 5) for code in codes)
    jobs = [job(f"J{n:02}", *[5.0 + n % 2] * 8, codes=codes) for n in range(30)]
    jobs.append(job("W", *[16.0] * 8, codes=codes))
    history = History(book, tuple(jobs), TODAY)
    careless = fit(history, replace(USUAL, job_incidents=0))
    assert fit(history).job < 0.8 * careless.job


def test_another_material_matters_only_where_the_book_says_so() -> None:
    book = (BookTime("face", 0, 10, by_material=True), BookTime("clean", 0, 10))
    rows = (Clocking("a", ("face",), 10), Clocking("b", ("clean",), 10))
    iron_rows = (Clocking("a", ("face",), 13), Clocking("b", ("clean",), 10))
    cells = (Cell("face", 1), Cell("clean", 1))
    jobs = [
        PastJob(f"A{number:02}", TODAY, cells, rows, material="aluminium")
        for number in range(50)
    ]
    jobs += [
        PastJob(f"B{number:02}", TODAY, cells, iron_rows, material="iron")
        for number in range(50)
    ]
    learnt = fit(History(book, tuple(jobs), TODAY, material="aluminium"))
    assert effect(learnt, "material", "iron") == pytest.approx(1.3, rel=0.03)
    iron = learnt.model.design([(jobs[-1], cells[1:])]).at(learnt.estimate)
    assert iron.minutes[0] == pytest.approx(10, rel=0.04)


def test_modifiers_of_the_book_are_not_learnt_again() -> None:
    jobs = tuple(
        PastJob(
            f"J{number:02}",
            TODAY,
            (Cell("cut-seats", 2, factor=1.5),),
            (Clocking("a", (), 4.5 * 2 * 1.5),),
        )
        for number in range(40)
    )
    learnt = fit(History((SEAT,), jobs, TODAY), replace(USUAL, means=False))
    assert unit(learnt, "cut-seats", 4.5) == pytest.approx(4.5, rel=1e-6)


def test_each_setup_takes_a_setup() -> None:
    book = (BookTime("face", 18, 14),)
    past = PastJob("J", TODAY, (Cell("face", 2, setups=2),), (Clocking("a", (), 64),))
    learnt = fit(History(book, (past,), TODAY), replace(USUAL, means=False))
    assert unit(learnt, "face", 14) == pytest.approx(14, rel=1e-9)


@pytest.mark.parametrize(
    ("minutes", "step"),
    [
        ([15, 30, 45], 15),
        ([10, 30, 50], 10),
        ([6, 12, 30, 18], 6),
        ([5, 10, 25], 5),
        ([7, 11], 1),
        ([7.5, 11], 0),
        ([15] * 99 + [7], 15),
        ([15] * 97 + [7] * 3, 1),
    ],
)
def test_the_step_of_the_clock_is_seen(minutes: list[float], step: float) -> None:
    assert clock_step(minutes) == step


@pytest.mark.parametrize("minutes", [None, 0, -3, math.nan, math.inf])
def test_a_row_without_minutes_is_listed(minutes: float | None) -> None:
    learnt = fit(History((SEAT,), (job("A", 5.0), job("B", minutes)), TODAY))
    assert learnt.rows == 1
    assert [(left.job, left.row, left.why) for left in learnt.left_out] == [
        ("B", "B-0", Why.NO_MINUTES)
    ]


@pytest.mark.parametrize("minutes", [0.1, 200])
def test_minutes_that_no_work_takes_are_listed(minutes: float) -> None:
    learnt = fit(History((SEAT,), (job("A", minutes),), TODAY))
    assert learnt.rows == 0
    assert learnt.left_out[0].why is Why.NOT_BELIEVABLE


def test_doubles_are_listed() -> None:
    twice = replace(
        job("A", 5.0),
        clockings=(
            Clocking("1", ("cut-seats",), 5),
            Clocking("1", ("cut-seats",), 6),
        ),
    )
    same_work = replace(
        job("B", 5.0),
        clockings=(
            Clocking("1", ("cut-seats",), 5),
            Clocking("2", ("cut-seats",), 6),
        ),
    )
    learnt = fit(History((SEAT,), (twice, same_work, job("A", 7.0)), TODAY))
    assert [(left.job, left.row, left.why) for left in learnt.left_out] == [
        ("A", "", Why.JOB_TWICE),
        ("A", "1", Why.ROW_TWICE),
        ("B", "1", Why.WORK_TWICE),
        ("B", "2", Why.WORK_TWICE),
    ]
    assert learnt.rows == 1


def test_an_operation_that_the_edition_no_longer_has_is_listed() -> None:
    past = PastJob(
        "A",
        TODAY,
        (Cell("cut-seats", 1), Cell("gone", 1)),
        (
            Clocking("1", ("cut-seats",), 5),
            Clocking("2", ("gone",), 5),
            Clocking("3", (), 10),
        ),
    )
    learnt = fit(History((SEAT,), (past,), TODAY))
    assert [(left.row, left.operation, left.why) for left in learnt.left_out] == [
        ("", "gone", Why.NOT_IN_EDITION),
        ("2", "gone", Why.NOT_IN_EDITION),
        ("3", "gone", Why.NOT_IN_EDITION),
    ]
    assert learnt.rows == 1
    assert not learnt.whole_jobs


@pytest.mark.parametrize(
    "cell",
    [Cell("cut-seats", 0), Cell("cut-seats", 1, -1), Cell("cut-seats", math.nan)],
)
def test_work_without_a_quantity_is_listed(cell: Cell) -> None:
    past = PastJob("A", TODAY, (cell,), (Clocking("1", (), 10),))
    learnt = fit(History((SEAT,), (past,), TODAY))
    assert [left.why for left in learnt.left_out] == [Why.NO_QUANTITY] * 2
    assert learnt.rows == 0


def test_work_that_the_set_up_covers_needs_no_quantity() -> None:
    skim = BookTime("skim", 15, 6)
    past = PastJob("A", TODAY, (Cell("skim", 0, 1),), (Clocking("1", (), 16),))
    learnt = fit(History((skim,), (past,), TODAY))
    assert (learnt.rows, learnt.left_out) == (1, ())


def test_a_row_on_work_that_the_job_does_not_have_is_listed() -> None:
    past = PastJob("A", TODAY, (Cell("cut-seats", 1),), (Clocking("1", ("face",), 10),))
    learnt = fit(History((SEAT, BookTime("face", 9, 9)), (past,), TODAY))
    assert learnt.left_out[0].why is Why.NOT_IN_JOB


def test_a_job_from_the_future_is_listed() -> None:
    learnt = fit(
        History((SEAT,), (job("A", 5.0, on=TODAY + timedelta(days=1)),), TODAY)
    )
    assert learnt.left_out[0].why is Why.AFTER_TODAY


def test_a_clock_left_running_is_listed_as_an_incident() -> None:
    jobs = [job(f"J{number:02}", 4.0 + number % 3) for number in range(40)]
    jobs.append(job("Z", 40.0))
    incidents = fit(History((SEAT,), tuple(jobs), TODAY)).incidents
    assert [(incident.job, incident.minutes) for incident in incidents] == [("Z", 40.0)]
    assert 3.5 < incidents[0].expected < 7
    assert incidents[0].probability > 0.95


def test_incidents_planted_in_a_shop_are_mostly_found() -> None:
    found = planted = right = 0
    for seed in range(10, 14):
        shop = simulate(seed, 200)
        flagged = {incident.row for incident in fit(shop.history).incidents}
        planted += len({row for row in shop.incidents if row.startswith("P")})
        found += len(flagged)
        right += len(flagged & shop.incidents)
    assert right / found > 0.75
    assert right / planted > 0.6


def test_a_fit_that_does_not_settle_says_so() -> None:
    with pytest.raises(NotConvergedError, match="after 2 rounds"):
        fit(simulate(1, 60).history, replace(USUAL, rounds=2))


def test_a_shop_of_one_row_is_learnt_from() -> None:
    learnt = fit(History((SEAT,), (job("A", 9.0),), TODAY))
    assert 4.5 < unit(learnt, "cut-seats", 4.5) < 9


def test_a_new_family_is_less_certain_than_a_known_one() -> None:
    learnt = fit(simulate(3, 120).history)
    assert learnt.unknown("family", "four-16") == 0
    assert learnt.unknown("family", "never-seen") == learnt.spreads["family"] ** 2
    assert 0 < learnt.unknown("family", "") < 2 * learnt.spreads["family"] ** 2


def test_not_knowing_who_does_it_adds_the_spread_between_and_within() -> None:
    # Two machinists, half the work each, 10 % quicker and slower than the mean, each
    # known to a variance of .0004: between .1 squared = .01, within the mean of the
    # variances less the variance of the mean, .0004 - 2 x .25 x .0004 = .0002.
    jobs = tuple(
        replace(job(f"J{who}", 4.6), machinist=who) for who in ("first", "second")
    )
    learnt = fit(History((SEAT,), jobs, TODAY))
    columns = [
        learnt.model.index[Effect("machinist", who)] for who in ("first", "second")
    ]
    estimate, covariance = (
        np.zeros(len(learnt.prior)),
        0.0004 * np.eye(len(learnt.prior)),
    )
    estimate[columns] = 0.1, -0.1
    known = replace(learnt, estimate=estimate, covariance=covariance)
    assert known.unknown("machinist", "") == pytest.approx(0.0102, rel=1e-9)


def test_a_coarse_clock_counts_for_less() -> None:
    # Steps of 15 minutes: each of a row's minutes is off by a variance of 15 x 15 / 12
    # = 18.75; on the log scale divided by the square of the minutes, here solved with
    # the posterior mean m = 30 e^(w ln 1.5), w = .1125 / (.1125 + .0769 + 18.75 / m^2).
    history = History((BookTime("cut-seats", 0, 30),), (job("J", 45.0),), TODAY)
    minutes = 30.0
    for _ in range(50):
        weight = 0.1125 / (0.1125 + 0.0769 + 18.75 / minutes**2)
        minutes = 30 * math.exp(weight * math.log(1.5))
    learnt = fit(history, replace(FIXED, settled=1e-9))
    assert learnt.step == 15
    assert unit(learnt, "cut-seats", 30) == pytest.approx(minutes, rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.floats(min_value=-1e6, max_value=1e6) | st.just(math.nan),
        min_size=1,
        max_size=8,
    )
)
def test_whatever_is_written_down_no_time_is_negative_or_absurd(
    minutes: list[float],
) -> None:
    jobs = tuple(job(f"J{number}", each) for number, each in enumerate(minutes))
    learnt = fit(History((SEAT,), jobs, TODAY))
    assert learnt.rows + len(learnt.left_out) == len(minutes)
    assert 4.5 / 30 < unit(learnt, "cut-seats", 4.5) < 4.5 * 30


def _with_minutes(history: History, change: Callable[[float], float]) -> History:
    return replace(
        history,
        jobs=tuple(
            replace(
                job,
                clockings=tuple(
                    replace(row, minutes=change(row.minutes or 0))
                    for row in job.clockings
                ),
            )
            for job in history.jobs
        ),
    )


def _book_minutes(book: dict[str, BookTime], job: PastJob) -> float:
    return sum(
        book[cell.operation].setup + book[cell.operation].unit * cell.quantity
        for cell in job.cells
    )
