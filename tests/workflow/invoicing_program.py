"""Another program that issues invoices: python invoicing_program.py URL TASK KEY...

``issue`` issues one for each quote named, each in a transaction of its own. ``half``
issues one, and stops before it is kept until it is killed.
"""

import sys
import time
from datetime import UTC, date, datetime

from quoting.store.database import Database
from quoting.workflow import documents, quotes
from quoting.workflow.quotes import Now

NOW = Now("Ada Tallow", datetime(2026, 11, 25, 12, tzinfo=UTC), date(2026, 11, 25))

if __name__ == "__main__":
    url, task, *keys = sys.argv[1:]
    database = Database(url)
    for key in map(int, keys):
        with database.transaction() as session:
            row = documents.issue(session, [quotes.quote_of(session, key)], NOW)
            if task == "half":
                sys.stdout.write(f"{row.number}\n")
                sys.stdout.flush()
                time.sleep(60)
    sys.stdout.write("done\n")
