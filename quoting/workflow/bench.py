"""What is written down at the bench: minutes, and what inspections found.

The whole job is the first thing that minutes are written down for; single operations
say more. Both are what times and likely extras are learnt from.
"""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain.errors import Problem, ProblemsError, RuleError, translatable
from quoting.domain.money import ZERO
from quoting.domain.rates import Finding
from quoting.files import work_done
from quoting.files.past_jobs import JOIN
from quoting.files.work_done import WorkDone
from quoting.store.models import Changeover, Clocked, Found, Order
from quoting.workflow import quotes, rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now, note

#: A week of days and nights: no job of one work order takes longer.
MOST_MINUTES = Decimal(10_000)
#: No work order brings more of anything to look at.
_MOST_AT_RISK = 10_000
_MINUTES = re.compile(
    r"(?:(?P<hours>[0-9]{1,3}):)?(?P<minutes>[0-9]{1,5}(?:[.,][0-9]{1,3})?)"
)
#: So much of what was sent a refusal repeats.
_SHOWN = 40


class NoSuchMinutesError(RuleError):
    """Minutes are none, or more than any job takes."""

    message = translatable(
        "{minutes!r} cannot be: write minutes, more than 0 and at most {most}, such "
        "as 95, or 1:35 for hours and minutes."
    )


class NotInOrderError(RuleError):
    """Minutes were written down for work that the order does not hold."""

    message = translatable("{number} holds no {operation}; its work is {known}.")


class NotAtRiskError(RuleError):
    """More was found than was looked at, or nothing was looked at."""

    message = translatable(
        "{affected} of {at_risk} cannot be; write how many were looked at, and of "
        "those how many had it. Leave both empty where nobody looked."
    )


class NoSuchFindingError(RuleError):
    """A finding is none that the tables know."""

    message = translatable("inspections look for no such thing.")


class CondemnedInsteadError(RuleError):
    """A finding that condemns a head is written down as one to be put right."""

    message = translatable("a head that has it is condemned; say so of the head.")


class NoSuchWorkError(RuleError):
    """Work goes differently that the tables do not know."""

    message = translatable("The tables hold no operation {operation}.")


class NoReasonToLeaveOutError(RuleError):
    """A record is left out of what is learnt from, and nobody says why."""

    message = translatable("Say why these minutes are not learnt from.")


def read_minutes(text: str) -> Decimal:
    """Return minutes as typed: ``95``, ``95.5`` or as hours and minutes ``1:35``.

    Raises:
        NoSuchMinutesError: they are none, or too many.

    >>> read_minutes("1:35"), read_minutes(" 95,5 ")
    (Decimal('95'), Decimal('95.5'))
    """
    read = _MINUTES.fullmatch(text.strip())
    minutes = Decimal((read["minutes"] if read else "0").replace(",", "."))
    if read and read["hours"]:
        minutes = 60 * Decimal(read["hours"]) + minutes if minutes < 60 else ZERO
    if not 0 < minutes <= MOST_MINUTES:
        raise NoSuchMinutesError(minutes=_shown(text.strip()), most=MOST_MINUTES)
    return minutes


def clock(
    session: Session,
    order: Order,
    minutes: Decimal,
    now: Now,
    *,
    operations: Sequence[str] = (),
    person: str = "",
) -> Clocked:
    """Write down minutes for a whole work order, or for some of its operations.

    Raises:
        NoSuchMinutesError: they are none, or too many.
        NotInOrderError: the order holds no such operation.
    """
    if not 0 < minutes <= MOST_MINUTES:
        raise NoSuchMinutesError(minutes=minutes, most=MOST_MINUTES)
    known = list(dict.fromkeys(step.operation for step in order.steps))
    for operation in operations:
        if operation not in known:
            raise NotInOrderError(
                number=order.number,
                operation=_shown(operation),
                known=", ".join(known),
            )
    row = Clocked(
        order_id=order.id,
        operations=JOIN.join(code for code in known if code in operations),
        minutes=f"{minutes.normalize():f}",
        person=person or now.who,
        on=now.on,
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    said = f"{row.minutes} min, {row.operations or 'the whole job'}, {row.person}"
    _note(session, order, now, "minutes written down", new=said)
    return row


def leave_out(session: Session, row: Clocked, why: str, now: Now) -> None:
    """Keep minutes and no longer learn from them; with no reason, learn from them.

    Somebody else's reason, given meanwhile, is replaced.

    Raises:
        NoReasonToLeaveOutError: they count now, and *why* is empty.
    """
    if not row.aside and not why.strip():
        raise NoReasonToLeaveOutError
    old, row.aside = row.aside, why.strip()
    session.flush()
    order = session.get_one(Order, row.order_id)
    what = "minutes left out" if row.aside else "minutes counted again"
    _note(session, order, now, what, old=row.minutes, why=row.aside or old)


def clocked_of(session: Session, key: int) -> Clocked:
    """Return minutes by key.

    Raises:
        NoSuchRecordError: there are none.
    """
    row = session.get(Clocked, key)
    if row is None:
        raise NoSuchRecordError(what="minutes", key=key)
    return row


def clocked(session: Session, order: Order) -> list[Clocked]:
    """Return the minutes of a work order, in the order written down."""
    query = select(Clocked).where(Clocked.order_id == order.id).order_by(Clocked.id)
    return list(session.scalars(query))


def write_found(
    session: Session,
    order: Order,
    counts: Mapping[str, tuple[int | None, int | None]],
    now: Now,
) -> None:
    """Write down what inspections of a work order found; nothing found as well.

    Args:
        session: of a transaction.
        order: whose heads were inspected.
        counts: by code of a finding how many were looked at, and how many of those
            had it; both None where nobody looked, which takes a record back.
        now: who writes it down.

    Raises:
        ProblemsError: some of it cannot be; with every problem, nothing is changed.
    """
    known = quotes.edition_of(session, order.quote.revisions[-1]).findings
    problems = [
        Problem(
            known[code].name if code in known else _shown(code),
            None,
            "",
            "",
            str(error),
        )
        for code, (at_risk, affected) in counts.items()
        if (error := _impossible(known.get(code), at_risk, affected)) is not None
    ]
    if problems:
        raise ProblemsError(problems)
    there = {row.finding: row for row in found(session, order)}
    said = []
    for code, (at_risk, affected) in counts.items():
        row = there.get(code)
        if at_risk is None or affected is None:
            if row is not None:
                session.delete(row)
                said.append(f"{code}: not looked at")
            continue
        if row is None:
            row = Found(order_id=order.id, finding=code)
            session.add(row)
        elif (row.at_risk, row.affected) == (at_risk, affected):
            continue
        row.at_risk, row.affected = at_risk, affected
        row.on, row.at, row.by = now.on, now.at, now.who
        said.append(f"{code}: {affected} of {at_risk}")
    session.flush()
    if said:
        _note(session, order, now, "findings written down", new="; ".join(said))


def _impossible(
    finding: Finding | None, at_risk: int | None, affected: int | None
) -> RuleError | None:
    if at_risk is None and affected is None:
        return None
    if finding is None:
        return NoSuchFindingError()
    if finding.condemns:
        return CondemnedInsteadError()
    if (
        at_risk is None
        or affected is None
        or not 0 <= affected <= at_risk
        or not 0 < at_risk <= _MOST_AT_RISK
    ):
        return NotAtRiskError(
            affected="nothing" if affected is None else affected,
            at_risk="nothing" if at_risk is None else at_risk,
        )
    return None


def found(session: Session, order: Order) -> list[Found]:
    """Return what inspections of a work order found."""
    query = select(Found).where(Found.order_id == order.id).order_by(Found.finding)
    return list(session.scalars(query))


def codes_of(row: Clocked | Changeover) -> tuple[str, ...]:
    """Return the operations that a record names; none is the whole job."""
    return tuple(code for code in row.operations.split(JOIN) if code)


def work_of(order: Order) -> WorkDone:
    """Return what the work order holds, as it is learnt from."""
    return work_done.read(order.work)


def change_over(
    session: Session, operations: Sequence[str], what: str, now: Now
) -> Changeover:
    """Write down that some operations go differently from today on.

    Raises:
        NoSuchWorkError: the tables hold no such operation.
    """
    known = rates.in_force(session, now.on).edition.operations
    for operation in operations:
        if operation not in known:
            raise NoSuchWorkError(operation=_shown(operation))
    row = Changeover(
        on=now.on,
        operations=JOIN.join(dict.fromkeys(operations)),
        what=what.strip(),
        at=now.at,
        by=now.who,
    )
    session.add(row)
    session.flush()
    note(
        session,
        "changeover",
        row.id,
        now,
        "goes differently from now on",
        new=f"{row.operations}: {row.what}",
    )
    return row


def _shown(text: str) -> str:
    return f"{text[:_SHOWN]}…" if len(text) > _SHOWN else text


def _note(session: Session, order: Order, now: Now, what: str, **told: str) -> None:
    note(
        session,
        "order",
        order.id,
        now,
        what,
        **told,
    )
