"""The app as a program of its own: it starts, answers, says what it did, and stops."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime
from http.cookiejar import CookieJar
from urllib.error import URLError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, build_opener

import pytest
from sqlalchemy import func, select

from quoting.papers.html import Paper
from quoting.store.database import Database
from quoting.store.models import PaperMade, Quote
from quoting.workflow import issuing

#: Seconds after which what did not happen does not happen: a year may be lived first.
PATIENCE = 240


class Served:
    """A program that serves the app, and a browser at it."""

    def __init__(self, place, words, environment):
        with socket.socket() as door:
            door.bind(("127.0.0.1", 0))
            self.port = door.getsockname()[1]
        self.log = place / "log.txt"
        with self.log.open("w") as log:
            self.program = subprocess.Popen(
                [sys.executable, "-m", "quoting", *words, "--port", str(self.port)],
                stdout=log, stderr=log, cwd=place,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **environment},
            )  # fmt: skip
        self.browser = build_opener(HTTPCookieProcessor(CookieJar()))

    @property
    def said(self):
        """Return what the program said so far."""
        return self.log.read_text()

    def get(self, page, **fields):
        """Return a page; fields are sent to it."""
        address = f"http://127.0.0.1:{self.port}{page}"
        data = urlencode(fields).encode() if fields else None
        with self.browser.open(address, data, timeout=PATIENCE) as answer:
            return answer.read().decode()

    def answers(self):
        """Tell whether the app answers yet."""
        try:
            return bool(self.get("/"))
        except URLError:
            return False

    def wait_until(self, happens):
        """Wait until something happens while the program runs."""
        end = time.monotonic() + PATIENCE
        while not happens():
            assert self.program.poll() is None, self.said
            assert time.monotonic() < end, self.said
            time.sleep(0.1)

    def stop(self):
        """Stop the program as Ctrl+C does; return its exit code."""
        self.program.send_signal(signal.SIGINT)
        return self.program.wait(PATIENCE)


@contextmanager
def serving(place, *words, **environment):
    """Serve the app from a folder until the block ends.

    What is started in the background is deaf to Ctrl+C, and so are its own programs.
    """
    signal.signal(signal.SIGINT, signal.default_int_handler)
    served = Served(place, words, environment)
    try:
        served.wait_until(served.answers)
        yield served
    finally:
        if served.program.poll() is None:
            served.program.kill()
            served.program.wait(PATIENCE)


def test_the_invented_shop_is_served_where_one_says_and_kept_there(tmp_path):
    place = tmp_path / "kept.db"
    with serving(
        tmp_path, "demo", "--serve", "--database", f"sqlite:///{place}"
    ) as app:
        [(name, password)] = re.findall(r"(counter) +password '(.+)'", app.said)
        token = re.search(r'name="form_token" value="([^"]+)"', app.get("/sign-in"))[1]
        page = app.get(
            "/sign-in", sign_in=name, password=password, form_token=token
        )  # fmt: skip
        assert f"http://127.0.0.1:{app.port}/" in app.said
        assert "Tallow Lane Heads" in page
        assert "Counter</a>" in page
        assert app.stop() == 0

    with closing(Database(f"sqlite:///{place}")) as records, records.reading() as kept:
        assert kept.scalar(select(func.count()).select_from(Quote)) > 200


def issue(records):
    """Issue a paper whose file nobody makes; return its key."""
    page = "<html lang='en'><title>Slip</title><p>Slip</p></html>"
    with records.transaction() as session:
        return issuing.issue(
            session, Paper(page, "Slip", date(2026, 11, 25)), kind="slip",
            number="W-00001", quote_id=None, who="Ada",
            at=datetime(2026, 11, 25, 12, tzinfo=UTC),
        )  # fmt: skip


@pytest.fixture
def left(tmp_path):
    """Return records with a paper that lost its program before its file was made."""
    with closing(Database(f"sqlite:///{tmp_path / 'quoting.db'}")) as records:
        records.upgrade()
        records.key = issue(records)
        yield records


def file_kept(records):
    with records.reading() as session:
        query = select(PaperMade.pdf).where(PaperMade.id == records.key)
        return session.scalar(query)


@pytest.mark.needs_pdf
def test_a_start_makes_the_files_that_the_last_one_left(tmp_path, left):
    with serving(tmp_path, "serve") as app:
        app.wait_until(lambda: "Papers that got their files: 1." in app.said)
        assert app.stop() == 0

    assert file_kept(left).startswith(b"%PDF")


def test_a_start_without_what_a_pdf_needs_serves_and_says_so(tmp_path, left):
    """A stand-in for the library that fails to load as it does without Pango."""
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load pango')\n")
    with serving(tmp_path, "serve", PYTHONPATH=str(tmp_path)) as app:
        app.wait_until(lambda: "Papers wait for their files." in app.said)
        assert "cannot load pango" in app.said
        assert app.get("/")
        assert app.stop() == 0

    assert file_kept(left) is None
