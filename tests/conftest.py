"""What the machine must have for some tests, and how the suite says what it lacks."""

import os
import shutil
from contextlib import ExitStack, closing
from datetime import date
from itertools import count

import pytest

#: Marker, and what a test with it needs.
NEEDS = {
    "needs_pdf": "Pango and HarfBuzz, to make PDF files",
    "needs_postgresql": "a PostgreSQL server that QUOTING_TEST_POSTGRESQL names",
    "needs_browser": "Chromium",
    "needs_java": "Java 11 or newer, for the Nu HTML Checker",
    "needs_libreoffice": "LibreOffice Calc, to open spreadsheets",
}

left_out = pytest.StashKey()


def pytest_configure(config):
    """Register the markers."""
    config.stash[left_out] = {}
    for name, what in NEEDS.items():
        config.addinivalue_line("markers", f"{name}: needs {what}")


def pytest_collection_modifyitems(config, items):
    """Leave out what this machine cannot run, unless everything is required.

    With QUOTING_REQUIRE_ALL=1 nothing is left out: what is missing fails.
    """
    if os.environ.get("QUOTING_REQUIRE_ALL") == "1":
        return
    for name in NEEDS:
        needing = [item for item in items if item.get_closest_marker(name)]
        if needing and (reason := LACKING[name]()):
            config.hook.pytest_deselected(items=needing)
            config.stash[left_out][name] = (len(needing), reason)
            items[:] = [item for item in items if item not in needing]


def pytest_sessionfinish(session):
    """Let a process that tests beside others tell theirs what it left out."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["left_out"] = session.config.stash[left_out]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node, error):
    """Keep what such a process left out; each leaves out the same."""
    if error is None:
        node.config.stash[left_out].update(node.workeroutput["left_out"])


def pytest_terminal_summary(terminalreporter, config):
    """Name in one line what was left out."""
    for name, (many, reason) in config.stash[left_out].items():
        first = reason.splitlines()[0]
        terminalreporter.write_line(
            f"left out {many} tests that need {NEEDS[name]}: {first}", yellow=True
        )


def no_pdf():
    """Return why this machine can make no PDF; empty where it can."""
    from quoting.papers.html import Paper
    from quoting.papers.pdf import NoPdfError, to_pdf

    try:
        to_pdf(Paper("", "", date.min))
    except NoPdfError as error:
        return str(error)
    return ""


def no_postgresql():
    """Return why there is no server to make databases on; empty where there is."""
    import psycopg

    if "QUOTING_TEST_POSTGRESQL" not in os.environ:
        return "it is not set"
    try:
        server().close()
    except psycopg.OperationalError as error:
        return str(error)
    return ""


def no_browser():
    """Return why there is no browser to sit at; empty where there is."""
    from browsing import CHROMIUM

    return "" if CHROMIUM else "no program chromium, and CHROMIUM names none"


def no_java():
    """Return why there is no Java to check HTML with; empty where there is."""
    return "" if shutil.which("java") else "no program java"


def no_libreoffice():
    """Return why there is no program to open spreadsheets; empty where there is."""
    return "" if shutil.which("soffice") else "no program soffice"


LACKING = {
    "needs_pdf": no_pdf,
    "needs_postgresql": no_postgresql,
    "needs_browser": no_browser,
    "needs_java": no_java,
    "needs_libreoffice": no_libreoffice,
}


# Databases: migrated once, then copied for every test. One on a server costs a second,
# so it is emptied afterwards and lent again.

POSTGRESQL = pytest.param("postgresql", marks=pytest.mark.needs_postgresql)
KINDS = ["sqlite", POSTGRESQL]


def server(name=None):
    """Return a connection to the test server, outside of any transaction."""
    import psycopg

    address = os.environ["QUOTING_TEST_POSTGRESQL"]
    options = {"dbname": name} if name else {}
    return psycopg.connect(address, autocommit=True, **options)


#: What a database has beside its rows.
SHAPE = (
    "SELECT table_name, column_name, data_type, column_default"
    " FROM information_schema.columns WHERE table_schema = 'public' ORDER BY 1, 2",
    "SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' ORDER BY 1",
    "SELECT tgenabled, pg_get_triggerdef(oid) FROM pg_trigger"
    " WHERE NOT tgisinternal ORDER BY 2",
    "SELECT setconfig FROM pg_db_role_setting JOIN pg_database d ON d.oid = setdatabase"
    " WHERE datname = current_database()",
    "SELECT version_num FROM alembic_version",
)


def shape_of(connection):
    """Return what the database of a connection has beside its rows."""
    return [connection.execute(query).fetchall() for query in SHAPE]


def empty(connection):
    """Take every row out of a database and number from one again."""
    from psycopg.sql import SQL, Identifier

    from quoting.store.models import Record, Trail

    trail = Identifier(Trail.__tablename__)
    connection.execute(SQL("ALTER TABLE {} DISABLE TRIGGER USER").format(trail))
    for table in reversed(Record.metadata.sorted_tables):
        connection.execute(SQL("DELETE FROM {}").format(Identifier(table.name)))
    connection.execute(SQL("ALTER TABLE {} ENABLE TRIGGER USER").format(trail))
    begun = connection.execute(
        "SELECT sequencename FROM pg_sequences WHERE last_value IS NOT NULL"
    )
    for (name,) in begun.fetchall():
        connection.execute(SQL("ALTER SEQUENCE {} RESTART").format(Identifier(name)))


class Places:
    """Makes places for records, empty or migrated, and removes them in the end."""

    numbers = count(1)

    def __init__(self, folder, ending, models=None):
        self.folder = folder
        self.ending = ending
        self.models = models or self
        self.migrated = {}
        self.spare, self.shape = [], None

    def new(self, kind, *, migrated=True):
        """Return the URL of a new place."""
        from sqlalchemy import make_url

        like = self.models.model(kind) if migrated else None
        number = next(self.numbers)
        if kind == "sqlite":
            file = self.folder / f"records-{number}.db"
            if like:
                shutil.copyfile(like, file)
            return f"sqlite:///{file}"
        if like and self.models.spare:
            name = self.models.spare.pop()
        else:
            name = f"quoting_test_{os.getpid()}_{number}"
            with server() as connection:
                template = like or "template0"
                connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
            self.models.ending.callback(self._drop, name)
            if like and self.models.shape is None:
                with server(name) as connection:
                    self.models.shape = shape_of(connection)
        self.ending.callback(self._give_back if like else self._drop, name)
        url = make_url(os.environ["QUOTING_TEST_POSTGRESQL"]).set(database=name)
        return url.render_as_string(hide_password=False)

    def model(self, kind):
        """Return the file or name of migrated records, to be copied only."""
        from quoting.store.database import Database

        if kind not in self.migrated:
            with closing(Database(self.new(kind, migrated=False))) as database:
                database.upgrade()
                self.migrated[kind] = database.url.database
        return self.migrated[kind]

    def _drop(self, name):
        with server() as connection:
            connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def _give_back(self, name):
        with server(name) as connection:
            connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
            as_new = shape_of(connection) == self.models.shape
            if as_new:
                empty(connection)
        if as_new:
            self.models.spare.append(name)
        else:
            self._drop(name)


@pytest.fixture(scope="session")
def models_of_places(tmp_path_factory):
    """Return what holds one migrated place of each kind."""
    with ExitStack() as ending:
        yield Places(tmp_path_factory.mktemp("models"), ending)


@pytest.fixture
def places(tmp_path_factory, models_of_places):
    """Return what makes places for records until the test ends."""
    with ExitStack() as ending:
        yield Places(tmp_path_factory.mktemp("places"), ending, models_of_places)


@pytest.fixture
def opened():
    """Return what opens the records at a URL until the test ends."""
    from quoting.store.database import Database

    with ExitStack() as ending:

        def open_(url, **options):
            return ending.enter_context(closing(Database(url, **options)))

        yield open_


@pytest.fixture(params=KINDS)
def database(request, places, opened):
    """Return migrated records without a row, on each kind of database in turn."""
    return opened(places.new(request.param))
