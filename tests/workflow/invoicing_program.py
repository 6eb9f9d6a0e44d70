"""Another program that issues invoices: python invoicing_program.py URL TASK KEY...

``issue`` issues one for each quote named, each in a transaction of its own; where
others hold the records for too long it tries again, as it is told to. ``half`` issues
one, and stops before it is kept until it is killed.
"""

import sys
import time
from datetime import UTC, date, datetime

from quoting.store.database import Database, NotWrittenError
from quoting.workflow import documents, quotes
from quoting.workflow.quotes import Now

NOW = Now("Ada Tallow", datetime(2026, 11, 25, 12, tzinfo=UTC), date(2026, 11, 25))


def issue(database, key, half):
    """Issue the invoice for a quote."""
    with database.transaction() as session:
        row = documents.issue(session, [quotes.quote_of(session, key)], NOW)
        if half:
            sys.stdout.write(f"{row.number}\n")
            sys.stdout.flush()
            time.sleep(60)


def issue_in_the_end(database, key):
    """Issue the invoice for a quote, however often others come first."""
    try:
        issue(database, key, half=False)
    except NotWrittenError:
        sys.stderr.write("tried again\n")
        issue_in_the_end(database, key)


if __name__ == "__main__":
    url, task, *keys = sys.argv[1:]
    database = Database(url)
    for key in map(int, keys):
        if task == "half":
            issue(database, key, half=True)
        else:
            issue_in_the_end(database, key)
    sys.stdout.write("done\n")
