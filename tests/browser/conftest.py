"""A shop behind a real server, and a real browser at it."""

import shutil
import threading
from contextlib import closing, contextmanager
from typing import NamedTuple

import pytest
from browsing import NAMES, PASSWORD, QUICK, START, Clock, records

from quoting.resources import folder
from quoting.settings import Settings
from quoting.store.database import Database
from quoting.web.app import create_app
from quoting.workflow import people, rates

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

#: Milliseconds after which what does not come is not there.
PATIENCE = 10_000


class House(NamedTuple):
    """A shop that is served: where, the records behind it, and its clock."""

    address: str
    database: Database
    clock: Clock


@pytest.fixture(scope="session")
def chromium():
    """Return a running Chromium."""
    from browsing import CHROMIUM
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session", autouse=True)
def quick():
    """Hash passwords quickly."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(people, "HASHER", QUICK)
        yield


@pytest.fixture(scope="session")
def models(tmp_path_factory, quick):  # noqa: ARG001  (its passwords are hashed so)
    """Return a file of records without and one with people, to be copied."""
    place = tmp_path_factory.mktemp("models")
    new, manned = place / "new.db", place / "manned.db"
    with closing(Database(f"sqlite:///{new}")) as database:
        database.upgrade()
    shutil.copyfile(new, manned)
    with closing(Database(f"sqlite:///{manned}")) as database:
        _let_in(database)
    return {False: new, True: manned}


@pytest.fixture(scope="session")
def serving(models):
    """Return what serves a shop from a folder, with or without its people."""
    from waitress.server import create_server

    @contextmanager
    def serve(place, *, manned=True):
        shutil.copyfile(models[manned], place / "shop.db")
        url = f"sqlite:///{place / 'shop.db'}"
        clock = Clock()
        app = create_app(Settings(database=url, secret="for tests"), clock=clock)
        server = create_server(app, host="127.0.0.1", port=0, threads=4)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        yield House(f"http://127.0.0.1:{server.effective_port}", records(app), clock)
        server.close()
        thread.join(5)
        records(app).close()

    return serve


def _let_in(database):
    with database.transaction() as session:
        for role, name in NAMES.items():
            people.add(session, role, name, [role], PASSWORD, at=START, who="test")
        people.setup(session).zone = "Europe/London"
        rates.bring_in(session, folder("rates_demo"), at=START, who="test")


@pytest.fixture
def house(serving, tmp_path):
    """Return a fresh shop."""
    with serving(tmp_path) as house:
        yield house


@pytest.fixture
def seat(chromium, house):
    """Return what seats somebody at a browser of their own and signs them in."""
    contexts = []

    def sit(role, *, scripts=True, width=1280, height=720):
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            java_script_enabled=scripts,
            base_url=house.address,
        )
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        return sign_in(context.new_page(), role)

    yield sit
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def signing_in():
    """Return what signs somebody in at a page."""
    return sign_in


def sign_in(page, role):
    """Sign in by the form; return the page."""
    page.goto("/sign-in")
    page.fill("[name=sign_in]", role)
    page.fill("[name=password]", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    return page
