"""The shop's own record: what was foretold of jobs, and what they came to.

What an alternative may take is kept when it is offered, with the model that said so.
A range that holds less often than it says is too narrow, and the record says so.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased, joinedload, undefer

from quoting.domain.life import OrderState
from quoting.files import work_done
from quoting.store.models import Approval, Clocked, Foretold, Order, Revision
from quoting.workflow import learning, prospects, quotes

if TYPE_CHECKING:
    from quoting.papers.quote import OnTop

#: Shares of jobs that minutes are kept for.
SHARES = {"p05": 0.05, "p10": 0.1, "p50": 0.5, "p80": 0.8, "p90": 0.9, "p95": 0.95}
#: Jobs that the record looks back on: the latest.
_MOST = 1000
#: So many jobs at least before a range is called too narrow.
_ENOUGH = 20


class Money(NamedTuple):
    """What a job may come to, with tax, in the smallest unit."""

    low: int
    likely: int
    high: int


def foretell(session: Session, revision: Revision) -> None:
    """Keep what each alternative of a revision may take and come to.

    By what is in use; nothing is kept where nothing was learnt yet, or no work has
    minutes.

    Args:
        session: of the transaction that offers it.
        revision: just saved.
    """
    import numpy as np

    found = learning.state(session)
    if found is None:
        return
    key, state = found
    edition = quotes.edition_of(session, revision)
    minor = edition.currency.to_minor
    for way in revision.ways:
        offered = quotes.alternative(edition, way, revision.on)
        priced = offered.priced
        total = prospects.total_of(
            state, work_done.work_done(edition, offered.job, priced)
        )
        if total is None:
            continue
        money = prospects.money(state, edition, offered.job, priced, revision.on)
        shares = total.quantiles(np.array(list(SHARES.values()))).tolist()
        minutes = {
            name: round(share, 1) for name, share in zip(SHARES, shares, strict=True)
        }
        session.add(
            Foretold(
                way_id=way.id,
                learning_id=key,
                minutes=json.dumps(minutes),
                low=minor(money.low.total) if money.varies else None,
                likely=minor(money.likely.total) if money.varies else None,
                high=minor(money.high.total) if money.varies else None,
                told=json.dumps(
                    [
                        {
                            "finding": each.finding.code,
                            "says": each.finding.says,
                            "one": [minor(each.one.net), minor(each.one.total)],
                            "all": [minor(each.all.net), minor(each.all.total)],
                        }
                        for each in money.extras
                        if each.alike.with_any
                    ]
                ),
            )
        )
    session.flush()


def on_top(session: Session, revision: Revision) -> "list[list[OnTop]]":
    """Return of each alternative what was said of what may come on top of it."""
    from quoting.papers.quote import OnTop

    money = quotes.currency_of(session, revision.quote).from_minor
    told = {
        key: json.loads(text)
        for key, text in session.execute(
            select(Foretold.way_id, Foretold.told).where(
                Foretold.way_id.in_([way.id for way in revision.ways])
            )
        )
    }

    def both(amounts: list[int]) -> tuple[Decimal, Decimal]:
        net, total = amounts
        return money(net), money(total)

    return [
        [
            OnTop(each["says"], both(each["one"]), both(each["all"]))
            for each in told.get(way.id, ())
        ]
        for way in revision.ways
    ]


@dataclass(frozen=True, slots=True)
class Came:
    """A job that is done, and what was foretold of it.

    Attributes:
        order: its number.
        order_id: its key.
        on: the day it was ready.
        sets: the sets of work in it.
        foretold: minutes by the name of their share.
        minutes: as written down; None where the whole job was not.
        money: foretold; None where nothing was claimed.
        total: what it needed, with tax, in the smallest unit.
    """

    order: str
    order_id: int
    on: date
    sets: str
    foretold: Mapping[str, float]
    minutes: float | None
    money: Money | None
    total: int

    def inside(self, low: str, high: str) -> bool:
        """Tell whether the minutes lie between two that were foretold."""
        return (
            self.minutes is not None
            and self.foretold[low] <= self.minutes <= self.foretold[high]
        )


class Coverage(NamedTuple):
    """How often ranges held.

    Attributes:
        jobs: how many came.
        inside: how many stayed inside.
        nominal: share that should.
    """

    jobs: int
    inside: int
    nominal: float

    @property
    def share(self) -> float:
        """Return the share that stayed inside; of no jobs the nominal one."""
        return self.inside / self.jobs if self.jobs else self.nominal

    @property
    def reach(self) -> float:
        """Return how far that share may be off by chance: two sds of a binomial."""
        spread = self.nominal * (1 - self.nominal)
        return 2 * sqrt(spread / self.jobs) if self.jobs else 1.0

    @property
    def too_narrow(self) -> bool:
        """Tell whether they hold less often than chance explains."""
        return self.jobs >= _ENOUGH and self.share < self.nominal - self.reach


#: The two ranges of minutes that are shown, by the share they should hold.
RANGES = {0.8: ("p10", "p90"), 0.9: ("p05", "p95")}


def came(session: Session) -> list[Came]:
    """Return the jobs done of which something was foretold, the oldest first.

    Minutes are those foretold of the work that was done; the money is what was said
    of the alternative that was first said yes to, before anything was inspected.
    """
    written = (
        select(
            Clocked.order_id,
            func.aggregate_strings(Clocked.minutes, " ").label("minutes"),
        )
        .where(Clocked.operations == "", Clocked.aside == "")
        .group_by(Clocked.order_id)
        .subquery()
    )
    yes = (
        select(Approval.quote_id, func.min(Approval.id).label("first"))
        .group_by(Approval.quote_id)
        .subquery()
    )
    said = aliased(Foretold)
    rows = session.execute(
        select(Order, Foretold.minutes, said, written.c.minutes)
        .join(Foretold, Foretold.way_id == Order.way_id)
        .join(yes, yes.c.quote_id == Order.quote_id)
        .join(Approval, Approval.id == yes.c.first)
        .join(said, said.way_id == Approval.way_id, isouter=True)
        .join(written, written.c.order_id == Order.id, isouter=True)
        .where(Order.state.in_((OrderState.READY, OrderState.COLLECTED)))
        .order_by(Order.id.desc())
        .limit(_MOST)
        .options(undefer(Order.work), joinedload(Order.way))
    )
    jobs = [_came(order, *rest) for order, *rest in rows]
    return sorted(jobs, key=lambda job: (job.on, job.order_id))


def _came(
    order: Order, foretold: str, said: Foretold | None, written: str | None
) -> Came:
    work = work_done.read(order.work)
    money = None
    if said is not None and said.low is not None:
        money = Money(said.low, said.likely or said.low, said.high or said.low)
    return Came(
        order=order.number,
        order_id=order.id,
        on=order.ready or order.on,
        sets=work.sets,
        foretold=json.loads(foretold),
        minutes=(
            sum(map(float, written.split()))
            if written and not work.open_ended
            else None
        ),
        money=money,
        total=order.way.total,
    )


def coverage(jobs: Iterable[Came], nominal: float) -> Coverage:
    """Return how often the minutes of jobs stayed inside a range."""
    low, high = RANGES[nominal]
    known = [job for job in jobs if job.minutes is not None]
    return Coverage(len(known), sum(job.inside(low, high) for job in known), nominal)


def within_money(jobs: Iterable[Came]) -> Coverage:
    """Return how often what a job needed stayed within what was said on the phone."""
    known = [job for job in jobs if job.money is not None]
    inside = sum(
        job.money.low <= job.total <= job.money.high for job in known if job.money
    )
    return Coverage(len(known), inside, 0.8)


def by_month(jobs: Iterable[Came]) -> Mapping[str, Sequence[Came]]:
    """Return jobs by the month they were ready in, in order."""
    return _by(jobs, lambda job: f"{job.on:%Y-%m}")


def by_sets(jobs: Iterable[Came]) -> Mapping[str, Sequence[Came]]:
    """Return jobs by the sets of work in them, in order."""
    return _by(jobs, lambda job: job.sets)


def _by(jobs: Iterable[Came], key: Callable[[Came], str]) -> dict[str, list[Came]]:
    found: dict[str, list[Came]] = {}
    for job in jobs:
        found.setdefault(key(job), []).append(job)
    return dict(sorted(found.items()))
