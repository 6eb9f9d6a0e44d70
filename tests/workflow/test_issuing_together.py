"""Invoices issued by several programs at once, and by one that is killed.

QUOTING_TEST_INVOICES says how many; 1,000 take a minute on each database and were
counted for docs/benchmarks.md.
"""

import os
import signal
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest
from shop import now
from sqlalchemy import func, select

from quoting.domain.consent import Consent, How
from quoting.store import audit
from quoting.store.models import DocumentIssued, Entry, PaperMade
from quoting.workflow import documents, quotes

PROGRAMS = 4
EACH = int(os.environ.get("QUOTING_TEST_INVOICES", "48")) // PROGRAMS


@pytest.fixture
def start():
    """Return what starts another program at the records; it is killed at the end."""
    with ExitStack() as ending:

        def program(database, task, *keys):
            url = database.url.render_as_string(hide_password=False)
            file = Path(__file__).with_name("invoicing_program.py")
            running = subprocess.Popen(
                [sys.executable, file, url, task, *map(str, keys)],
                stdout=subprocess.PIPE,
                text=True,
            )
            ending.callback(running.stdout.close)
            ending.callback(running.wait)
            ending.callback(running.kill)
            return running

        yield program


def agreed(shop, count):
    """Save quotes and a yes to each; return their keys."""
    customer = shop.customer("Osgood & Daughters Garage", address="1 Row")
    keys = [
        shop.save("16v twin cam valve job", customer=customer) for _ in range(count)
    ]
    with shop.database.transaction() as session:
        for key in keys:
            row = quotes.quote_of(session, key)
            yes = Consent(by="Mabel Osgood", how=How.PHONE)
            quotes.accept(session, row, row.version, 1, yes, now().at, now())
    return keys


def test_several_programs_issue_invoices_without_gap_or_double(shop, start):
    keys = agreed(shop, PROGRAMS * EACH)
    running = [
        start(shop.database, "issue", *keys[at * EACH : (at + 1) * EACH])
        for at in range(PROGRAMS)
    ]
    assert [program.communicate()[0] for program in running] == ["done\n"] * PROGRAMS
    with shop.database.reading() as session:
        numbers = session.scalars(
            select(DocumentIssued.number).order_by(DocumentIssued.id)
        ).all()
        assert numbers == [f"I-{n:05}" for n in range(1, PROGRAMS * EACH + 1)]
        assert session.scalar(select(func.count(PaperMade.id))) == len(numbers)
        assert int(session.scalar(select(func.sum(Entry.amount)))) == 0
        assert audit.broken(session) is None


def test_a_program_killed_while_issuing_leaves_no_half_invoice_and_no_gap(shop, start):
    [first] = agreed(shop, 1)
    program = start(shop.database, "half", first)
    assert program.stdout.readline() == "I-00001\n"

    os.kill(program.pid, signal.SIGKILL)
    program.wait()

    with shop.database.reading() as session:
        assert session.scalar(select(func.count(DocumentIssued.id))) == 0
        assert session.scalar(select(func.count(Entry.id))) == 0
    with shop.database.transaction() as session:
        row = documents.issue(session, [quotes.quote_of(session, first)], now())
        assert row.number == "I-00001"
