"""Another program that learns, until it is killed: python learning_program.py URL TASK.

``learn`` stops after the fit and before anything is kept, ``keep`` when the result is
written and not yet committed.
"""

import sys
import time
from datetime import UTC, date, datetime

from quoting.store.database import Database
from quoting.workflow import learning
from quoting.workflow.quotes import Now

NOW = Now("Ada Tallow", datetime(2026, 11, 27, 12, tzinfo=UTC), date(2026, 11, 27))


def wait():
    """Say that it is so far, and wait for the end."""
    sys.stdout.write("begun\n")
    sys.stdout.flush()
    time.sleep(60)


if __name__ == "__main__":
    url, task = sys.argv[1:]
    database = Database(url)
    with database.reading() as session:
        records = learning.gather(session, NOW.on)
    row = learning.attempt(records, NOW, "asked for")
    if task == "learn":
        wait()
    with database.transaction() as session:
        learning.keep(session, row, NOW)
        wait()
