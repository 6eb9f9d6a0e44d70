"""A month is closed and locked, and reopened by name and with a reason."""

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from quoting.domain.errors import RuleError, translatable
from quoting.domain.month import EarlierOpenError, Month, NotClosedError, OpenMonthError
from quoting.store.models import MonthAct, MonthBalance
from quoting.workflow import exports, journal
from quoting.workflow.month import balances, report
from quoting.workflow.payments import NoReasonError
from quoting.workflow.quotes import Now, note


class UnreconciledError(RuleError):
    """A month whose figures do not agree is not closed."""

    message = translatable(
        "{month} does not reconcile: {names}. Close it all the same only by name and "
        "with a reason."
    )


def close(session: Session, month: Month, now: Now, *, why: str = "") -> None:
    """Close a month: nothing dated in it, or before it, is changed any more.

    Args:
        session: of a transaction.
        month: to be closed.
        now: who closes it.
        why: why it is closed although it does not reconcile; empty: only if it does.

    Balances are kept, and a digest of every row of its tables, by which its files tell
    whether it still is what it was.

    Raises:
        EarlierOpenError: an earlier month is to be closed first.
        OpenMonthError: it is not over.
        UnreconciledError: an identity does not hold, and *why* is empty.
    """
    if Month.of(now.on) <= month:
        raise OpenMonthError(month=month, first=month.next.first.isoformat())
    closed = journal.last_closed(session)
    if closed is not None and month != closed.next:
        raise EarlierOpenError(other=closed.next)
    made = report(session, month, now.on)
    is_now = exports.told(session, made)
    if not made.reconciles and not why.strip():
        names = "; ".join(check.name for check in made.checks if not check.holds)
        raise UnreconciledError(month=month, names=names)
    code = made.currency.code
    for (role, detail), amount in balances(session, month.next.first, code).items():
        if amount:
            session.add(
                MonthBalance(
                    month=str(month),
                    role=role,
                    detail=detail,
                    currency=code,
                    amount=amount,
                )
            )
    row = _act(session, month, journal.CLOSED, now, why)
    row.sha256, row.sent = is_now.seal, is_now.rows
    session.flush()


def reopen(session: Session, month: Month, why: str, now: Now) -> None:
    """Open a closed month again; only the last one that was closed can be.

    Raises:
        EarlierOpenError: a later month is to be reopened first.
        NoReasonError: *why* is empty.
        NotClosedError: it is not closed.
    """
    if not why.strip():
        raise NoReasonError
    closed = journal.last_closed(session)
    if closed is None or month > closed:
        raise NotClosedError(month=month)
    if month != closed:
        raise EarlierOpenError(other=closed)
    session.execute(delete(MonthBalance).where(MonthBalance.month == str(month)))
    _act(session, month, journal.REOPENED, now, why)


def _act(session: Session, month: Month, act: str, now: Now, why: str) -> MonthAct:
    row = MonthAct(month=str(month), act=act, at=now.at, by=now.who, why=why.strip())
    session.add(row)
    session.flush()
    note(
        session,
        "month",
        month.year * 100 + month.month,
        now,
        f"month {act}",
        new=str(month),
        why=why,
    )
    return row


def acts(session: Session, month: Month) -> list[MonthAct]:
    """Return what was done with a month, the latest first."""
    return list(
        session.scalars(
            select(MonthAct)
            .where(MonthAct.month == str(month))
            .order_by(MonthAct.id.desc())
        )
    )
