"""What was learnt is read back to the last bit."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_shop import OPERATIONS, simulate

from quoting.domain.calibration import Cell, against
from quoting.domain.extras import ANY, Circumstances, Inspection, learn
from quoting.domain.labour import learn as learn_minutes
from quoting.files.learnt_state import LearntState, read, write


@given(st.integers(0, 20), st.sampled_from([0, 3, 40]))
@settings(max_examples=12, deadline=None)
def test_what_is_read_back_says_the_same(seed, jobs):
    shop = simulate(seed, jobs)
    labour = learn_minutes(shop.history)
    days = {job.job: job.on for job in shop.history.jobs}
    seen = [
        Inspection(
            each.job,
            days[each.job],
            each.finding,
            each.at_risk,
            each.affected,
            Circumstances(*shop.circumstances[each.job]),
        )
        for each in shop.findings
    ]
    tendencies = learn(seen, shop.history.today)
    points = against(labour.calibration, shop.history.jobs)
    kept = LearntState(labour, tendencies, points)
    again = read(write(kept))

    assert write(again) == write(kept)
    assert again.points == points
    cells = [Cell(kind.book.operation, 8) for kind in OPERATIONS[:6]]
    assert again.labour.total(cells).quantile(0.8) == labour.total(cells).quantile(0.8)
    for kind in OPERATIONS:
        code = kind.book.operation
        assert again.labour.line(code) == labour.line(code)
    assert again.labour.clock_next() == labour.clock_next()
    for finding, tendency in tendencies.items():
        assert again.tendencies[finding].expect(8, ANY) == tendency.expect(8, ANY)


def test_every_record_stands_beside_what_was_expected_of_it():
    """Half of the records lie above the middle, so no side is left out."""
    shop = simulate(5, 120)
    points = against(learn_minutes(shop.history).calibration, shop.history.jobs)
    above = sum(point.minutes > point.expected for point in points)

    assert len(points) > 120
    assert 0.3 < above / len(points) < 0.7
    assert any(point.incident for point in points)
    assert [point.on for point in points] == sorted(point.on for point in points)


def test_a_state_of_another_form_is_not_read():
    shop = simulate(1, 3)
    kept = LearntState(learn_minutes(shop.history), {}, ())
    values = {**json.loads(write(kept)), "form": 99}

    with pytest.raises(ValueError, match="99"):
        read(json.dumps(values))
