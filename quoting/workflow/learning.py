"""Learning: the shop's records, what they say, and what of that is in use.

Records are gathered in one reading transaction, learnt from outside of any, and the
result is kept in one short one; so nobody waits, and whoever is stopped in between
leaves what was learnt before. A fit that fails is kept with its reason, and the last
good one stays in use. Needs numpy only where something is learnt or asked.
"""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from time import perf_counter
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session, undefer

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import COUNTS
from quoting.domain.life import OrderState
from quoting.files import work_done
from quoting.files.past_jobs import JOIN, read_jobs, write_jobs
from quoting.store.database import Database
from quoting.store.models import (
    Changeover,
    Clocked,
    EarlierJobs,
    Found,
    Learning,
    Order,
    OrderHead,
    Setup,
)
from quoting.workflow import bench, people, rates
from quoting.workflow.quotes import Now, note

if TYPE_CHECKING:
    from quoting.domain.calibration import (
        Assumptions,
        BookTime,
        Clocking,
        History,
        PastJob,
    )
    from quoting.domain.extras import Inspection
    from quoting.files.learnt_state import LearntState
    from quoting.files.past_jobs import PastJobs
    from quoting.files.work_done import WorkDone

#: Orders whose work is done; of others the whole job's minutes are not known yet.
_DONE = (OrderState.READY, OrderState.COLLECTED)
_OVER = (*_DONE, OrderState.CONDEMNED)

#: Records that stand beside what they were expected to be: the latest.
_POINTS = 3000

#: What may be chosen: as in the book, or what so many per cent of jobs stay within.
CONFIDENCES = (0, 50, 80, 90)


class NoSuchConfidenceError(RuleError):
    """A confidence is none of those that may be chosen."""

    message = translatable("Timed work is priced as in the book, or at 50, 80 or 90 %.")


@dataclass(frozen=True, slots=True)
class Records:
    """What the shop wrote down, ready to be learnt from.

    Attributes:
        history: minutes.
        inspections: findings.
        shares: by finding, the share that the edition expects before any job.
        edition_id: of the edition in force.
        sha256: of all of it; the same records give the same.
    """

    history: "History"
    inspections: "tuple[Inspection, ...]"
    shares: dict[str, float]
    edition_id: int
    sha256: str


class Signs(NamedTuple):
    """By what one sees that the records are the same as last time."""

    clocked: int
    aside: int
    found: str
    over: int
    changeovers: int
    earlier: int
    edition: int
    machinists: bool


def signs(session: Session, on: date) -> Signs:
    """Return by what one sees, without reading them, whether records are new."""
    latest = session.scalar(select(func.max(Found.at)))
    return Signs(
        session.scalar(select(func.max(Clocked.id))) or 0,
        session.scalar(select(func.count()).where(Clocked.aside != "")) or 0,
        f"{latest} {session.scalar(select(func.count(Found.id)))}",
        session.scalar(select(func.count(Order.id)).where(Order.state.in_(_OVER))) or 0,
        session.scalar(select(func.max(Changeover.id))) or 0,
        session.scalar(select(func.max(EarlierJobs.id))) or 0,
        rates.in_force(session, on).id,
        _by_machinist(session),
    )


def gather(session: Session, on: date) -> Records:
    """Return what the shop wrote down until a day.

    Raises:
        NoEditionError: there are no rate tables.
    """
    from quoting.domain.calibration import History, Marker

    in_force = rates.in_force(session, on)
    book = book_of(in_force.edition)
    named = _by_machinist(session)
    clockings = _clockings(session)
    jobs, inspections = [], []
    found = _found(session)
    ends = [f.code for f in in_force.edition.findings.values() if f.condemns]
    heads = {
        key: (number, gone)
        for key, number, gone in session.execute(
            select(
                OrderHead.order_id,
                func.count(),
                func.count().filter(OrderHead.condemned),
            ).group_by(OrderHead.order_id)
        )
    }
    rows = session.scalars(
        select(Order)
        .where(Order.state.in_(_OVER), Order.on <= on)
        .order_by(Order.id)
        .options(undefer(Order.work))
    )
    for order in rows:
        done = work_done.read(order.work)
        seen = found.get(order.id, [])
        if order.id in heads:
            seen = [*seen, *((code, *heads[order.id]) for code in ends)]
        inspections += list(_inspections(order, done, seen))
        written = clockings.get(order.id, [])
        if written and order.state in _DONE:
            jobs.append(_past_job(order, done, written, named=named))
    markers = [
        Marker(row.on, bench.codes_of(row), row.what)
        for row in session.scalars(select(Changeover).order_by(Changeover.id))
    ]
    for text in session.scalars(select(EarlierJobs.content).order_by(EarlierJobs.id)):
        earlier = read_jobs(text)
        jobs += [job if named else replace(job, machinist="") for job in earlier.jobs]
        inspections += earlier.inspections
        markers += earlier.markers
    history = History(
        book=book,
        jobs=tuple(jobs),
        today=on,
        markers=tuple(markers),
        material=_commonest(job.material for job in jobs),
        hardness=_commonest(job.hardness for job in jobs),
    )
    shares = {
        code: float(finding.share)
        for code, finding in in_force.edition.findings.items()
        if finding.share is not None and 0 < finding.share < 1
    }
    told = repr((history, inspections, sorted(shares.items())))
    return Records(
        history=history,
        inspections=tuple(inspections),
        shares=shares,
        edition_id=in_force.id,
        sha256=hashlib.sha256(told.encode()).hexdigest(),
    )


def bring_in(session: Session, past: "PastJobs", now: Now) -> EarlierJobs:
    """Keep past jobs of a folder beside the shop's own; the same ones only once."""
    content = write_jobs(past)
    seal = hashlib.sha256(content.encode()).hexdigest()
    there = session.scalar(select(EarlierJobs).where(EarlierJobs.sha256 == seal))
    if there is not None:
        return there
    row = EarlierJobs(
        sha256=seal, jobs=len(past.jobs), at=now.at, by=now.who, content=content
    )
    session.add(row)
    session.flush()
    note(
        session,
        "earlier jobs",
        row.id,
        now,
        "earlier jobs brought in",
        new=f"{row.jobs} jobs",
    )
    return row


def book_of(edition: Edition) -> "tuple[BookTime, ...]":
    """Return the minutes of an edition's operations as the book that is learnt around.

    What a modifier of the tables changes by material or seats, those may change
    otherwise too.
    """
    from quoting.domain.calibration import BookTime

    by: dict[str, set[str]] = {"material": set(), "seats": set()}
    for modifier in edition.modifiers.values():
        if modifier.fact in by and modifier.works_on != "price":
            by[modifier.fact] |= set(modifier.operations)
    return tuple(
        BookTime(
            code,
            float(operation.setup_minutes),
            float(operation.unit_minutes),
            by_material=code in by["material"],
            by_hardness=code in by["seats"],
        )
        for code, operation in edition.operations.items()
    )


def _clockings(session: Session) -> "dict[int, list[Clocked]]":
    rows: dict[int, list[Clocked]] = {}
    query = select(Clocked).where(Clocked.aside == "").order_by(Clocked.id)
    for row in session.scalars(query):
        rows.setdefault(row.order_id, []).append(row)
    return rows


def _found(session: Session) -> dict[int, list[tuple[str, int, int]]]:
    rows: dict[int, list[tuple[str, int, int]]] = {}
    for row in session.scalars(select(Found).order_by(Found.order_id, Found.finding)):
        seen = (row.finding, row.at_risk, row.affected)
        rows.setdefault(row.order_id, []).append(seen)
    return rows


def _past_job(
    order: Order, done: "WorkDone", written: Sequence[Clocked], *, named: bool
) -> "PastJob":
    from quoting.domain.calibration import PastJob

    people = {row.person for row in written}
    return PastJob(
        job=order.number,
        on=order.ready or order.on,
        cells=done.cells,
        clockings=tuple(_added_up(written, done)),
        family=done.family,
        machinist=people.pop() if named and len(people) == 1 else "",
        material=done.material,
        hardness=done.hardness,
    )


def _added_up(written: Iterable[Clocked], done: "WorkDone") -> "list[Clocking]":
    """Return one record for the same work, however often somebody went back to it.

    Minutes of a whole job that holds hours no operation accounts for say nothing of
    its operations.
    """
    from quoting.domain.calibration import Clocking

    everything = {each.operation for each in done.operations}
    by: dict[str, list[Clocked]] = {}
    whole = any(not row.operations for row in written)
    for row in written:
        if row.operations and whole and everything <= set(row.operations.split(JOIN)):
            continue  # the whole job, written down both ways
        if row.operations or not done.open_ended:
            by.setdefault(row.operations, []).append(row)
    return [
        Clocking(
            str(rows[0].id),
            tuple(codes.split(JOIN)) if codes else (),
            sum(float(row.minutes) for row in rows),
        )
        for codes, rows in by.items()
    ]


def _inspections(
    order: Order, done: "WorkDone", seen: Iterable[tuple[str, int, int]]
) -> "Iterable[Inspection]":
    from quoting.domain.extras import Circumstances, Inspection

    circumstances = Circumstances(
        family=done.family, reason=done.reason, condition=done.condition
    )
    for finding, at_risk, affected in seen:
        yield Inspection(
            order.number, order.on, finding, at_risk, affected, circumstances
        )


def _commonest(levels: Iterable[str]) -> str:
    known: dict[str, int] = {}
    for level in levels:
        if level:
            known[level] = known.get(level, 0) + 1
    return min(known, key=lambda level: (-known[level], level), default="")


# Learning.


def learn(database: Database, now: Now, why: str) -> int:
    """Learn from the records, unless that was done; return the key of what is in use.

    Raises:
        NoEditionError: there are no rate tables.
    """
    with database.reading() as session:
        records = gather(session, now.on)
        last = latest(session)
        if last is not None and last.sha256 == records.sha256:
            return last.id
    row = attempt(records, now, why)
    with database.transaction() as session:
        return keep(session, row, now)


def attempt(
    records: Records, now: Now, why: str, assumptions: "Assumptions | None" = None
) -> Learning:
    """Learn from records; return what is to be kept of it, a failure as well.

    Args:
        records: as gathered.
        now: who learns.
        why: in words.
        assumptions: what is believed before any job was seen; None: the usual.
    """
    began = perf_counter()
    state, said = "", ""
    try:
        state = _learnt(records, assumptions)
    except RuleError as error:
        said = str(error)
    return Learning(
        at=now.at,
        by=now.who,
        why=why,
        on=now.on,
        edition_id=records.edition_id,
        sha256=records.sha256,
        jobs=len(records.history.jobs),
        rows=sum(len(job.clockings) for job in records.history.jobs),
        milliseconds=round(1000 * (perf_counter() - began)),
        good=not said,
        said=said,
        state=state,
    )


def keep(session: Session, row: Learning, now: Now) -> int:
    """Keep what was learnt, or why it could not be; return its key."""
    session.add(row)
    session.flush()
    note(
        session,
        "learning",
        row.id,
        now,
        "learnt from the records" if row.good else "learning failed",
        new=f"{row.jobs} jobs, {row.rows} records" if row.good else row.said,
        why=row.why,
    )
    return row.id


def _learnt(records: Records, assumptions: "Assumptions | None") -> str:
    from quoting.domain import extras, labour
    from quoting.domain.calibration import USUAL, against
    from quoting.files import learnt_state

    minutes = labour.learn(records.history, assumptions or USUAL)
    points = against(minutes.calibration, records.history.jobs)[-_POINTS:]
    tendencies = extras.learn(
        records.inspections, records.history.today, records.shares
    )
    return learnt_state.write(learnt_state.LearntState(minutes, tendencies, points))


#: Seconds between two looks for new records.
_PAUSE = 30.0


def keep_learning(
    database: Database,
    clock: Callable[[], datetime],
    *,
    pause: Callable[[float], bool],
) -> None:
    """Learn whenever the records have changed, until *pause* says that it is over.

    Args:
        database: the records.
        clock: returns an aware instant.
        pause: waits so many seconds and returns whether to stop.
    """
    seen: Signs | None = None
    while not pause(_PAUSE):
        at = clock()
        try:
            with database.reading() as session:
                on = at.astimezone(ZoneInfo(people.zone(session))).date()
                now = signs(session, on)
            if now != seen:
                learn(database, Now("the program", at, on), "new records")
                seen = now
        except RuleError:
            continue  # no tables yet, or others are writing: it looks again


def latest(session: Session) -> Learning | None:
    """Return the last attempt to learn, whether it came to something or not."""
    return session.scalar(select(Learning).order_by(Learning.id.desc()).limit(1))


def in_use(session: Session) -> Learning | None:
    """Return what was learnt last and is in use; None: nothing yet."""
    return session.scalar(
        select(Learning).where(Learning.good).order_by(Learning.id.desc()).limit(1)
    )


def state(session: Session) -> "tuple[int, LearntState] | None":
    """Return what is in use, ready to be asked, and its key; None: nothing yet."""
    found = session.execute(
        select(Learning.id, Learning.sha256)
        .where(Learning.good)
        .order_by(Learning.id.desc())
        .limit(1)
    ).one_or_none()
    if found is None:
        return None
    key, sha256 = found
    of = (str(session.get_bind().engine.url), key, sha256)
    kept = _KEPT.get(of)
    if kept is None:
        query = select(Learning.state).where(Learning.id == key)
        kept = _read(session.scalars(query).one())
        _KEPT.clear()
        _KEPT[of] = kept
    return key, kept


#: What was read last; reading it again takes longer than asking it.
_KEPT: "dict[tuple[str, int, str], LearntState]" = {}


def _read(text: str) -> "LearntState":
    from quoting.files import learnt_state

    return learnt_state.read(text)


def past_jobs(session: Session, on: date) -> "PastJobs":
    """Return the records as a folder of past jobs has them.

    Raises:
        NoEditionError: there are no rate tables.
    """
    from quoting.files.past_jobs import PastJobs

    records, edition = gather(session, on), rates.in_force(session, on).edition
    return PastJobs(
        book=records.history.book,
        jobs=records.history.jobs,
        future=(),
        inspections=records.inspections,
        markers=records.history.markers,
        brings={
            code: finding.operations
            for code, finding in edition.findings.items()
            if finding.operations
        },
        units={
            code: COUNTS[operation.counted_by].singular
            for code, operation in edition.operations.items()
        },
    )


# What the owner chooses.


def choose(session: Session, *, confidence: int, by_machinist: bool, now: Now) -> None:
    """Choose how timed work is priced, and whether people are told apart.

    Raises:
        NoSuchConfidenceError: there is no such confidence.
    """
    if confidence not in CONFIDENCES:
        raise NoSuchConfidenceError
    setup = session.scalars(select(Setup)).one()
    old = f"{setup.confidence} %, by machinist: {setup.by_machinist}"
    setup.confidence, setup.by_machinist = confidence, by_machinist
    session.flush()
    note(
        session,
        "learning",
        0,
        now,
        "learning set up",
        old=old,
        new=f"{confidence} %, by machinist: {by_machinist}",
    )


def chosen(session: Session) -> tuple[int, bool]:
    """Return the confidence of timed prices, and whether people are told apart."""
    setup = session.scalars(select(Setup)).one_or_none()
    return (0, True) if setup is None else (setup.confidence, setup.by_machinist)


def _by_machinist(session: Session) -> bool:
    return chosen(session)[1]


def changeovers(session: Session) -> list[Changeover]:
    """Return the days from which something went differently, the latest first."""
    query = select(Changeover).order_by(Changeover.on.desc(), Changeover.id.desc())
    return list(session.scalars(query))
