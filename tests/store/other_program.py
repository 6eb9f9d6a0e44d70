"""Another program at the same records: python other_program.py URL TASK [COUNT].

``take`` takes that many quote numbers, each in a transaction of its own, and prints
them. ``half`` begins to issue a quote and stops in the middle until it is killed.
"""

import sys
import time
from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from quoting.store import audit, numbering
from quoting.store.database import Database
from quoting.store.models import Quote

ON = date(2026, 3, 2)
AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def issue(session: Session) -> str:
    """Take a number for a quote and write it down, with its entry in the trail."""
    quote = Quote(
        number=numbering.take(session, "quote", ON, "Q"),
        state="draft",
        on=ON,
        valid_until=ON,
    )
    session.add(quote)
    session.flush()
    audit.record(
        session, at=AT, who="Ada", what="drafted", subject="quote", subject_id=quote.id
    )
    return quote.number


if __name__ == "__main__":
    url, task, *rest = sys.argv[1:]
    database = Database(url)
    if task == "take":
        for _ in range(int(rest[0])):
            with database.transaction() as session:
                sys.stdout.write(issue(session) + "\n")
    else:
        with database.transaction() as session:
            sys.stdout.write(issue(session) + "\n")
            sys.stdout.flush()
            time.sleep(60)
