"""What the bench of the invented shop writes down: minutes and findings.

The shop is invented, and what is true of it with it: it takes longer than its book at
seats and shorter at skims, people differ a little, now and then the clock runs over
lunch, and overheated heads are bowed more often than others. What is learnt from its
records should come near to that.
"""

import random
from decimal import Decimal

from sqlalchemy.orm import Session

from quoting.domain.rates import Finding
from quoting.files.work_done import Done, WorkDone
from quoting.store.models import Order
from quoting.workflow import bench, rates
from quoting.workflow.quotes import Now

#: What a job takes against the book, by operation; others as in the book.
TRUE = {
    "SCUT": 1.18,
    "VREF": 1.10,
    "SKIM": 0.85,
    "ASSY": 1.12,
    "STRP": 0.92,
    "GREP": 1.25,
    "LEAK": 1.05,
}
#: What people take against the shop.
PEOPLE = {"Ivo Stannick": 1.0, "Maud Collet": 0.93}
_PACE = 1.06
_OF_A_JOB, _OF_AN_OPERATION = 0.10, 0.20
_INCIDENTS, _LONGER = 0.04, (1.8, 2.6)

#: Shares of jobs that are clocked as a whole, and by single operations too.
_WHOLE, _SINGLE = 0.68, 0.24
_INSPECTED = 0.85

#: Share affected of a finding by why the head came; others by the tables' own share.
_OFTEN = {
    ("bowed", "OVERHEATED"): 0.35,
    ("bowed", "GASKET"): 0.2,
    ("guides-worn", "OILUSE"): 0.4,
    ("valves-spent", "BELTFAIL"): 0.45,
    ("valves-spent", "NOSTART"): 0.2,
}
#: Where one is affected, the share of the others that are as well.
_ALIKE = 0.5


def write_down(session: Session, order: Order, rng: random.Random, now: Now) -> None:
    """Write minutes and findings of a work order down, as the invented bench does."""
    work = bench.work_of(order)
    person = rng.choice(tuple(PEOPLE))
    of_all = PEOPLE[person] * _PACE * rng.lognormvariate(0, _OF_A_JOB)
    edition = rates.in_force(session, now.on).edition
    book = {
        code: (float(each.setup_minutes), float(each.unit_minutes))
        for code, each in edition.operations.items()
    }
    took = {
        each.operation: _book(each, book[each.operation])
        * of_all
        * TRUE.get(each.operation, 1.0)
        * rng.lognormvariate(0, _OF_AN_OPERATION)
        for each in work.operations
    }
    draw = rng.random()
    if took and draw < _WHOLE + _SINGLE:
        minutes = sum(took.values()) * _slip(rng)
        bench.clock(session, order, _whole(minutes), now, person=person)
    if took and draw > _WHOLE:
        for code in rng.sample(sorted(took), min(3, len(took))):
            minutes = took[code] * _slip(rng)
            bench.clock(
                session, order, _whole(minutes), now, operations=[code], person=person
            )
    if rng.random() < _INSPECTED:
        found = {
            code: (number, _affected(finding, work, number, rng))
            for code, finding in edition.findings.items()
            if not finding.condemns and (number := work.counts.get(finding.counted_by))
        }
        bench.write_found(session, order, found, now)


def _book(done: Done, minutes: tuple[float, float]) -> float:
    setup, unit = minutes
    return float(done.factor) * (
        setup * float(done.setups) + unit * float(done.quantity)
    )


def _slip(rng: random.Random) -> float:
    return rng.uniform(*_LONGER) if rng.random() < _INCIDENTS else 1.0


def _whole(minutes: float) -> Decimal:
    return Decimal(max(1, round(minutes)))


def _affected(finding: Finding, work: WorkDone, number: int, rng: random.Random) -> int:
    share = _OFTEN.get((finding.code, work.reason), float(finding.share or 0))
    if rng.random() >= min(1.0, share * (2 if number > 1 else 1)):
        return 0
    return 1 + sum(rng.random() < _ALIKE for _ in range(number - 1))
