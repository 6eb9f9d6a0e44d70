"""A form sent twice: the second sending leads to what the first one made.

Both functions belong in the transaction that makes it. Writers take turns, so of two
sendings at the same moment one finds what the other has done.
"""

from datetime import datetime, timedelta

from sqlalchemy import delete
from sqlalchemy.orm import Session

from quoting.store.models import Once

#: How long a form that was sent is remembered.
REMEMBERED = timedelta(days=30)


def already(session: Session, token: str) -> str | None:
    """Return where the form with this token led when it was sent before, or None."""
    row = session.get(Once, token) if token else None
    return row.result if row else None


def remember(session: Session, token: str, result: str, *, at: datetime) -> None:
    """Keep where the form with this token leads; an empty token keeps nothing."""
    if not token:
        return
    session.execute(delete(Once).where(Once.at < at - REMEMBERED))
    session.add(Once(token=token, at=at, result=result))
    session.flush()
