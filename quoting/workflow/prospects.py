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
    from collections.abc import Iterator

    from quoting.domain.extras import Range
    from quoting.domain.labour import Total
    from quoting.domain.outcomes import Outcomes, Possible
    from quoting.files.learnt_state import LearntState

_THOUSANDTH = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class Prospects:
    """What a job may take and come to.

    Attributes:
        money: what it may come to.
        minutes: what it may take, extras and all; None where nothing has minutes.
        thin: much of it was hardly ever done here, so its minutes are the book's.
    """

    money: "Outcomes"
    minutes: "Range | None"
    thin: bool


def prospects(
    state: "LearntState", edition: Edition, job: Job, priced: Priced, on: date
) -> Prospects:
    """Return what a priced job may take and come to.

    Args:
        state: what was learnt.
        edition: that it was priced by.
        job: what is asked for.
        priced: the job, priced.
        on: the day whose taxes are due.
    """
    from quoting.domain.extras import minutes_range, timed
    from quoting.domain.outcomes import outcomes

    work = work_done(edition, job, priced)
    possible = {
        each.finding.code: each
        for each in _possible(state, edition, work, inspected=_inspects(priced))
    }
    come_to = outcomes(edition, job, on, priced, possible.values())
    base = total_of(state, work)
    if base is None:
        return Prospects(come_to, None, thin=False)
    extras = [
        timed(
            possible[each.finding.code].expected,
            state.labour,
            [code for code in each.finding.operations if code in _known(state)],
            family=work.family,
            material=work.material,
            hardness=work.hardness,
            all_of_most=each.finding.all_of_most,
        )
        for each in come_to.extras
        if _known(state).intersection(each.finding.operations)
    ]
    return Prospects(come_to, minutes_range(base, extras), thin=base.thin)


def money(
    state: "LearntState", edition: Edition, job: Job, priced: Priced, on: date
) -> "Outcomes":
    """Return what a priced job may come to; as ``prospects``."""
    from quoting.domain.outcomes import outcomes

    work = work_done(edition, job, priced)
    possible = _possible(state, edition, work, inspected=_inspects(priced))
    return outcomes(edition, job, on, priced, possible)


def _inspects(priced: Priced) -> bool:
    """Tell whether the job holds a test that can find something."""
    return any(task.operation.gate for task in priced.plan.tasks)


def _possible(
    state: "LearntState", edition: Edition, work: WorkDone, *, inspected: bool
) -> "Iterator[Possible]":
    from quoting.domain.extras import Circumstances
    from quoting.domain.outcomes import Possible

    if not inspected:
        return
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
            [cell for cell in work.cells if cell.operation in _known(state)],
            family=work.family,
            material=work.material,
            hardness=work.hardness,
        )
    except NothingTimedError:
        return None


def _known(state: "LearntState") -> frozenset[str]:
    book = state.labour.calibration.history.book
    return frozenset(time.operation for time in book if time.setup or time.unit)


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
