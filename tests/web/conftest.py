"""A shop with its people and rate tables, and browsers that they sit at."""

import shutil
from contextlib import closing

import pytest
from browsing import NAMES, PASSWORD, QUICK, START, Browser, Clock, records
from jinja2 import FileSystemBytecodeCache

from quoting.resources import folder
from quoting.settings import Settings
from quoting.store.database import Database
from quoting.web.app import create_app
from quoting.workflow import people, rates


@pytest.fixture(scope="session", autouse=True)
def quick():
    """Hash passwords quickly."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(people, "HASHER", QUICK)
        yield


@pytest.fixture(scope="session")
def manned(tmp_path_factory, quick):  # noqa: ARG001  (its passwords are hashed so)
    """Return a file with people and the demonstration's tables, to be copied."""
    url = f"sqlite:///{tmp_path_factory.mktemp('manned') / 'shop.db'}"
    with closing(Database(url)) as database:
        database.upgrade()
        with database.transaction() as session:
            for role, name in NAMES.items():
                row = people.add(
                    session, role, name, [role], PASSWORD,
                    initials=name[:2], at=START, who="test",
                )  # fmt: skip
                people.set_pin(session, row, "2468", at=START, who="test")
            people.setup(session).zone = "Europe/London"
            rates.bring_in(session, folder("rates_demo"), at=START, who="test")
        return database.url.database


@pytest.fixture
def clock():
    """Return the app's clock."""
    return Clock()


@pytest.fixture
def settings(manned, tmp_path):
    """Return settings for a shop of its own."""
    shutil.copyfile(manned, tmp_path / "shop.db")
    return Settings(database=f"sqlite:///{tmp_path / 'shop.db'}", secret="for tests")


@pytest.fixture(scope="session")
def compiled(tmp_path_factory):
    """Return where the apps keep their compiled templates for one another."""
    return FileSystemBytecodeCache(str(tmp_path_factory.mktemp("compiled")))


@pytest.fixture
def make_app(clock, compiled):
    """Return what makes an app of settings; its records are let go of at the end."""
    made = []

    def make(settings):
        app = create_app(settings, clock=clock)
        app.jinja_env.bytecode_cache = compiled
        made.append(app)
        return app

    yield make
    for app in made:
        records(app).close()


@pytest.fixture
def app(make_app, settings):
    """Return the app of the shop."""
    return make_app(settings)


@pytest.fixture
def database(app):
    """Return the records of the shop."""
    return records(app)


@pytest.fixture
def browser(app):
    """Return a browser nobody is signed in at."""
    return Browser(app)


@pytest.fixture
def at(app):
    """Return what seats somebody at a browser of their own, by a role's name."""

    def seat(role):
        browser = Browser(app)
        assert browser.sign_in(role).status_code == 303
        return browser

    return seat
