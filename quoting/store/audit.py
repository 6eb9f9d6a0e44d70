"""The audit trail: who, when, what, old, new, why. Entries are only ever added.

Each entry is sealed with a hash over itself and the seal before it, so one that was
changed or taken out from between others afterwards shows. Entries cut off at the end
show only against a seal that was noted elsewhere, such as in a backup.
"""

import hashlib
import json
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.store.models import Trail


def record(
    session: Session,
    *,
    at: datetime,
    who: str,
    what: str,
    subject: str,
    subject_id: int,
    old: str = "",
    new: str = "",
    why: str = "",
) -> None:
    """Add an entry about a subject, such as ``quote`` and its key.

    Transactions that write take turns, so entries follow one another.
    """
    last = session.scalar(select(Trail.seal).order_by(Trail.id.desc()).limit(1))
    entry = Trail(
        at=at,
        who=who,
        what=what,
        subject=subject,
        subject_id=subject_id,
        old=old,
        new=new,
        why=why,
        before=last or "",
    )
    entry.seal = _seal(entry)
    session.add(entry)
    session.flush()


def story(session: Session, subject: str, subject_id: int) -> list[Trail]:
    """Return every entry about a subject, the oldest first."""
    return list(
        session.scalars(
            select(Trail)
            .where(Trail.subject == subject, Trail.subject_id == subject_id)
            .order_by(Trail.id)
        )
    )


def broken(session: Session) -> int | None:
    """Return the key of the first entry whose seal does not fit; None if all fit."""
    before = ""
    with session.scalars(
        select(Trail).order_by(Trail.id).execution_options(yield_per=1000)
    ) as entries:
        for entry in entries:
            if entry.before != before or entry.seal != _seal(entry):
                return entry.id
            before = entry.seal
    return None


def _seal(entry: Trail) -> str:
    said = (
        entry.before,
        entry.at.astimezone(UTC).isoformat(),
        entry.who,
        entry.what,
        entry.subject,
        entry.subject_id,
        entry.old,
        entry.new,
        entry.why,
    )
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()
