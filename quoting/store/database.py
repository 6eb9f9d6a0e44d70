"""One door to the shop's records: transactions, on an SQLite file or on PostgreSQL.

A ``transaction`` commits when its block ends and rolls back when it raises. Writers
take turns from their first statement, on a file (BEGIN IMMEDIATE) as on a server (a
lock of its own), so what one reads in a transaction nobody else changes and no two
wait for each other in a ring. Who only reads sees one state of the records throughout
and waits for nobody.
"""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import URL, Engine, create_engine, event, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError

from quoting.domain.errors import RuleError, translatable

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy.engine import Connection
    from sqlalchemy.engine.interfaces import DBAPIConnection, DBAPICursor
    from sqlalchemy.pool import ConnectionPoolEntry

#: Name of the turn that writers on a server wait for; any number serves.
_TURN = 7236

#: How PostgreSQL shows a reader one state throughout, as SQLite does by itself.
_ONE_STATE = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}

#: Why the place is to blame, by how SQLite's names of errors and PostgreSQL's codes
#: begin (SQLite, Result and Error Codes; PostgreSQL 15, Appendix A).
_REASONS = {
    "SQLITE_BUSY": translatable("another program holds them"),
    "SQLITE_LOCKED": translatable("another program holds them"),
    "SQLITE_FULL": translatable("the disk is full"),
    "SQLITE_IOERR": translatable("the disk does not answer"),
    "SQLITE_READONLY": translatable("they may not be written there"),
    "SQLITE_CORRUPT": translatable("the file is damaged"),
    "SQLITE_NOTADB": translatable("the file holds something else"),
    "SQLITE_CANTOPEN": translatable("the file cannot be opened"),
    "53100": translatable("the disk is full"),
    "53": translatable("the database server is short of room"),
    "55P03": translatable("another program holds them"),
    "40": translatable("two people wrote at the same moment"),
    "25006": translatable("they may not be written there"),
    "58": translatable("the disk does not answer"),
    "57P": translatable("the database server is going down"),
    "08": translatable("the database server does not answer"),
    "no connection": translatable("the database server does not answer"),
}

_MAY_NOT_WRITE = ("SQLITE_READONLY", "25006")


class UnknownDatabaseError(RuleError):
    """A database URL that the program has no driver for."""

    message = translatable(
        "{url!r} is no place for the records; write sqlite:///FILE or "
        "postgresql://USER@HOST/NAME."
    )


class NotWrittenError(RuleError):
    """The database could not write; nothing was changed."""

    message = translatable(
        "The records could not be written ({reason}). Nothing was changed; "
        "what you typed is still here. Try again, or free some disk space first."
    )


class NotReadError(RuleError):
    """The database could not be read."""

    message = translatable("The records could not be read ({reason}). Try again.")


class ChangedMeanwhileError(RuleError):
    """Somebody else changed the same record since it was read; nothing was changed."""

    message = translatable(
        "Somebody else changed this meanwhile. Nothing of yours was saved; look at "
        "what is there now, then say it again."
    )


class UnsureError(RuleError):
    """The connection broke while it was being written: it may or may not be there."""

    message = translatable(
        "The connection to the records broke at the last moment. Look whether it is "
        "there before you say it again."
    )


class Database:
    """The shop's records behind one URL.

    Args:
        url: ``sqlite:///FILE`` or ``postgresql://USER@HOST/NAME``.
        patience: seconds that a writer waits for its turn.

    Raises:
        UnknownDatabaseError: neither of them.
    """

    def __init__(self, url: str, patience: float = 10.0) -> None:
        self.url = _place(url)
        self.is_file = self.url.get_backend_name() == "sqlite"
        engine = _of_file if self.is_file else _of_server
        self.engine = engine(self.url, round(patience * 1000))
        self._writers = self.engine.execution_options(writing=True)
        self._readers = self.engine.execution_options(
            **({} if self.is_file else _ONE_STATE)
        )

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Open a transaction that may write.

        Raises:
            NotWrittenError: the disk is full or the database stayed locked; nothing
                was changed.
            ChangedMeanwhileError: a record was changed since it was read; nothing was
                changed.
            UnsureError: the connection broke at the very end.
        """
        with _said(NotWrittenError), _session(self._writers) as session:
            yield session
            session.flush()
            _commit(session)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a transaction that only reads, and never waits for a writer.

        Raises:
            NotReadError: the database does not answer.
        """
        with _said(NotReadError), _session(self._readers) as session:
            yield session

    def upgrade(self) -> None:
        """Create the tables, or bring them to this version; all of it or nothing.

        Raises:
            NotWrittenError: the disk is full or the database stayed locked; nothing
                was changed.
        """
        from alembic import command

        if self.is_file and self.url.database:
            Path(self.url.database).absolute().parent.mkdir(parents=True, exist_ok=True)
        with self.transaction() as session:
            command.upgrade(migrations(session.connection()), "head")

    def is_empty(self) -> bool:
        """Tell whether there is no table yet."""
        if self.is_file and not Path(str(self.url.database)).exists():
            return True
        with self.reading() as session:
            return not inspect(session.connection()).get_table_names()

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


def migrations(connection: "Connection | None" = None) -> "Config":
    """Return how Alembic finds the migrations and works in an open transaction."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "quoting:migrations")
    config.attributes["connection"] = connection
    return config


def _place(given: str) -> URL:
    try:
        url = make_url(given)
    except ArgumentError:
        raise UnknownDatabaseError(url=given) from None
    kind = url.get_backend_name()
    if kind == "sqlite" and url.database not in (None, "", ":memory:"):
        return url.set(drivername="sqlite")
    if kind == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    raise UnknownDatabaseError(url=url.render_as_string(hide_password=True))


@contextmanager
def _said(refusal: type[NotWrittenError | NotReadError]) -> Iterator[None]:
    """Say in the shop's words what the place or another writer is to blame for."""
    try:
        yield
    except StaleDataError as error:
        raise ChangedMeanwhileError from error
    except DBAPIError as error:
        sign = _sign(error)
        if refusal is NotReadError and sign.startswith(_MAY_NOT_WRITE):
            raise  # a mistake of the program: it writes where it said it reads
        for start, reason in _REASONS.items():
            if sign.startswith(start):
                raise refusal(reason=reason) from error
        raise


def _session(engine: Engine) -> Session:
    return Session(engine, expire_on_commit=False)


def _commit(session: Session) -> None:
    try:
        session.commit()
    except DBAPIError as error:
        if error.connection_invalidated:
            raise UnsureError from error
        raise


def _sign(error: DBAPIError) -> str:
    """Return SQLite's name or PostgreSQL's code of what went wrong."""
    cause = error.orig
    for name in ("sqlite_errorname", "sqlstate"):
        if sign := getattr(cause, name, None):
            return str(sign)
    return "no connection" if type(cause).__name__ == "OperationalError" else ""


def _of_file(url: URL, patience: int) -> Engine:
    # The driver would begin late and by itself; ``begin`` below does it in time.
    engine = create_engine(url, connect_args={"isolation_level": None})

    @event.listens_for(engine, "connect")
    def prepare(connection: "DBAPIConnection", _entry: "ConnectionPoolEntry") -> None:
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {patience}")
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA synchronous = FULL")
        _keep_a_log(cursor, patience)
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: "Connection") -> None:
        if connection.get_execution_options().get("writing"):
            connection.exec_driver_sql("PRAGMA query_only = OFF")
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        else:
            connection.exec_driver_sql("PRAGMA query_only = ON")
            connection.exec_driver_sql("BEGIN")

    return engine


def _keep_a_log(cursor: "DBAPICursor", patience: int) -> None:
    """Let readers and a writer not wait for each other (write-ahead log).

    Programs that switch a new file at the same moment fail without waiting.
    """
    until = time.monotonic() + patience / 1000
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > until:
                raise
            time.sleep(0.01)
        else:
            return


def _of_server(url: URL, patience: int) -> Engine:
    engine = create_engine(url, pool_pre_ping=True, isolation_level="READ COMMITTED")

    @event.listens_for(engine, "connect")
    def prepare(connection: "DBAPIConnection", _entry: "ConnectionPoolEntry") -> None:
        cursor = connection.cursor()
        cursor.execute(f"SET lock_timeout = {patience}")
        # A machine that went away in the middle gives up its turn.
        cursor.execute("SET idle_in_transaction_session_timeout = '60s'")
        cursor.close()
        connection.commit()

    @event.listens_for(engine, "begin")
    def begin(connection: "Connection") -> None:
        if connection.get_execution_options().get("writing"):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_TURN})")

    return engine
