"""How long a batch of 200 invoices takes on every processor, beside one program.

Each is a PDF/A-3a file with its XML. Only run with ``--benchmark-enable``. The start of
each program counts.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from accounts import agreed
from floors import against
from shop import Shop, now
from sqlalchemy import func, select, update

from quoting.papers.pdf import XML_NAME
from quoting.store.database import Database
from quoting.store.models import PaperMade
from quoting.workflow import documents, quotes

pytestmark = pytest.mark.needs_pdf

PAPERS = 200


@pytest.fixture
def waiting(tmp_path):
    """Return records in which invoices of one page wait for their files."""
    database = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    database.upgrade()
    shop = Shop(database)
    customer = shop.customer("Osgood & Daughters Garage", address="1 Row")
    keys = [agreed(shop, customer) for _ in range(PAPERS)]
    with database.transaction() as session:
        for key in keys:
            documents.issue(session, [quotes.quote_of(session, key)], now())
    yield database
    database.close()


def make(database, programs):
    """Make every paper's file anew, by so many programs."""
    with database.transaction() as session:
        session.execute(update(PaperMade).values(pdf=None, sha256=""))
        keys = session.scalars(select(PaperMade.id).order_by(PaperMade.id)).all()
    url = database.url.render_as_string(hide_password=False)
    file = Path(__file__).with_name("paper_program.py")
    running = [
        subprocess.Popen([sys.executable, file, url, *map(str, keys[at::programs])])
        for at in range(programs)
    ]
    assert [each.wait() for each in running] == [0] * programs


def test_a_batch_on_every_processor_beside_one_program(benchmark, waiting):
    benchmark.pedantic(make, (waiting, os.cpu_count()), rounds=1)
    with waiting.reading() as session:
        made = select(func.count(PaperMade.id)).where(PaperMade.sha256 != "")
        assert session.scalar(made) == PAPERS
        one = session.scalar(select(PaperMade.pdf).limit(1))
        assert XML_NAME.encode() in one
    against(benchmark, "one program", make, waiting, 1, repeat=1)
