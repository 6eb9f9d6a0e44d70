"""How long a batch of 200 papers takes on every processor, beside one program.

Only run with ``--benchmark-enable``. The start of each program counts.
"""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from builders import JOBS, RT1
from floors import against
from sqlalchemy import func, select, update

from quoting.files.edition import read_edition
from quoting.i18n import Formats
from quoting.store.database import Database
from quoting.store.models import PaperMade
from quoting.workflow import issuing
from quoting.workflow.estimates import from_file, quote_paper

pytestmark = pytest.mark.needs_pdf

PAPERS = 200
AT = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def waiting(tmp_path):
    """Return records in which papers of one page wait for their files."""
    database = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    database.upgrade()
    edition = read_edition(RT1)
    estimate = from_file(JOBS / "T04.toml", edition)
    formats = Formats("en_GB", edition.currency)
    paper = quote_paper(edition, estimate, formats, "A4")
    with database.transaction() as session:
        for number in range(PAPERS):
            issuing.issue(
                session,
                paper,
                kind="quote",
                number=f"Q-{number:05}",
                quote_id=None,
                at=AT,
                who="Ada",
            )
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
    against(benchmark, "one program", make, waiting, 1, repeat=1)
