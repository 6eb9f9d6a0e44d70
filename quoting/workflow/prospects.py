"""What a job may take and come to, by what is in use of the shop's own records.

Minutes are for the owner and the day, money is for the caller. Nothing is said of a
finding that too few jobs were inspected for. Needs numpy where something is asked.
"""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from quoting.domain.edition import Edition
from quoting.domain.job import Job
from quoting.domain.money import round_to
from quoting.domain.pricing import Priced
from quoting.domain.quote import Alternative, offer
from quoting.domain.work import Plan
from quoting.files.work_done import WorkDone, work_done

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from quoting.domain.extras import Range
    from quoting.domain.labour import Total
    from quoting.domain.outcomes import IfFound, Outcomes, Possible
    from quoting.files.learnt_state import LearntState

_THOUSANDTH = Decimal("0.001")


def money(
    state: "LearntState", edition: Edition, job: Job, priced: Priced, on: date
) -> "Outcomes":
    """Return what a priced job may come to.

    Args:
        state: what was learnt.
        edition: that it was priced by.
        job: what is asked for.
        priced: the job, priced.
        on: the day whose taxes are due.
    """
    from quoting.domain.outcomes import outcomes

    return outcomes(edition, job, on, priced, _possible(state, edition, job, priced))


@dataclass(frozen=True, slots=True)
class Minutes:
    """What a job may take.

    Attributes:
        range: with what may come on top.
        thin: much of it was hardly ever done here, so its minutes are the book's.
    """

    range: "Range"
    thin: bool


def minutes(
    state: "LearntState",
    edition: Edition,
    job: Job,
    priced: Priced,
    found: "Iterable[IfFound]",
) -> Minutes | None:
    """Return what a priced job may take; None where none of it has minutes.

    Args:
        state: what was learnt.
        edition: that it was priced by.
        job: what is asked for.
        priced: the job, priced.
        found: what may come on top of it, as ``money`` says.
    """
    from quoting.domain.extras import minutes_range, timed

    work, known = work_done(edition, job, priced), state.labour.own_weights
    base = total_of(state, work)
    if base is None:
        return None
    expected = {
        each.finding.code: each.expected
        for each in _possible(state, edition, job, priced)
    }
    extras = [
        timed(
            expected[each.finding.code],
            state.labour,
            timed_work,
            family=work.family,
            material=work.material,
            hardness=work.hardness,
            all_of_most=each.finding.all_of_most,
        )
        for each in found
        if (timed_work := [code for code in each.finding.operations if code in known])
    ]
    return Minutes(minutes_range(base, extras), base.thin)


def _possible(
    state: "LearntState", edition: Edition, job: Job, priced: Priced
) -> "Iterator[Possible]":
    """Yield what may be found, where the job holds a test that can find something."""
    from quoting.domain.extras import Circumstances
    from quoting.domain.outcomes import Possible

    if not any(task.operation.gate for task in priced.plan.tasks):
        return
    work = work_done(edition, job, priced)
    about = Circumstances(
        family=work.family, reason=work.reason, condition=work.condition
    )
    for code, finding in edition.findings.items():
        tendency = state.tendencies.get(code)
        at_risk = work.counts.get(finding.counted_by, 0)
        if tendency is not None and at_risk:
            yield Possible(finding, tendency.expect(at_risk, about))


def total_of(state: "LearntState", work: WorkDone) -> "Total | None":
    """Return what the work of a job may take; None where none of it has minutes."""
    from quoting.domain.labour import NothingTimedError

    try:
        return state.labour.total(
            [c for c in work.cells if c.operation in state.labour.own_weights],
            family=work.family,
            material=work.material,
            hardness=work.hardness,
        )
    except NothingTimedError:
        return None


def with_confidence(
    confidence: int,
    state: "LearntState",
    edition: Edition,
    way: Alternative,
    on: date,
    work: Plan | None = None,
) -> Alternative:
    """Return a way with its timed work priced so that most such jobs stay within it.

    A way without work that is priced by time stays what it is.

    Args:
        confidence: per cent of jobs that stay within the priced minutes.
        state: what was learnt.
        edition: that it is priced by.
        way: priced by the book's minutes.
        on: the day of the price.
        work: the plan of the job, if it stands already.
    """
    lines = tuple(line for line in way.priced.lines if line.timed)
    if not lines:
        return way
    by_time = work_done(edition, way.job, replace(way.priced, lines=lines))
    total = total_of(state, by_time)
    if total is None:
        return way
    factor = Decimal(total.quantile(confidence / 100) / total.mean)
    job = replace(way.job, minutes_factor=round_to(factor, _THOUSANDTH))
    return offer(edition, way.label, job, on, work=work)
