"""How long a refit of five thousand jobs takes beside a mixed model of clocked rows.

The mixed model is that of a general library on the rows clocked by themselves: job and
operation effects on the logarithm of minutes. It sees a part of the rows only, and
tells neither set-ups from units nor incidents from work.
"""

import warnings

import numpy as np
import statsmodels.formula.api as smf
from floors import against
from pandas import DataFrame
from simulated_shop import simulate

from quoting.domain.labour import learn
from quoting.files.learnt_state import LearntState, read, write

SEED, JOBS = 300, 5000


def test_a_refit_of_five_thousand_jobs(benchmark):
    """Whole jobs, groups and single operations of 5,000 jobs in one fit."""
    shop = simulate(SEED, JOBS)

    labour = benchmark(learn, shop.history)

    assert labour.calibration.rows > JOBS
    book = {time.operation: time for time in shop.history.book}
    rows = DataFrame(
        [
            {
                "job": job.job,
                "operation": cell.operation,
                "ratio": np.log(
                    clocking.minutes
                    / (
                        book[cell.operation].setup * cell.setups
                        + book[cell.operation].unit * cell.quantity
                    )
                ),
            }
            for job in shop.history.jobs
            for clocking in job.clockings
            if len(clocking.operations) == 1 and clocking.minutes
            for cell in job.cells
            if cell.operation == clocking.operations[0]
        ]
    )

    def mixed():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = smf.mixedlm("ratio ~ 0 + operation", rows, groups=rows["job"])
            return model.fit()

    against(benchmark, f"a mixed model of the {len(rows)} rows clocked alone", mixed)


def test_what_was_learnt_is_read_in_a_moment(benchmark):
    """The state that a program reads once, after a start or a refit."""
    shop = simulate(SEED, JOBS)
    text = write(LearntState(learn(shop.history), {}, ()))

    state = benchmark(read, text)

    assert state.labour.calibration.rows > JOBS
