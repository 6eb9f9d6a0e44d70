"""Another program that makes papers: python paper_program.py URL KEY..."""

import sys

from quoting.store.database import Database
from quoting.workflow import issuing

if __name__ == "__main__":
    url, *keys = sys.argv[1:]
    database = Database(url)
    for key in map(int, keys):
        issuing.file_of(database, key)
