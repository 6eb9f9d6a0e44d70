"""All records in one file, and back: from a file to a server as well.

The backup is a ZIP with one member of JSON lines a table, bytes in base64, and a
manifest with the versions, the columns, and of every member how many rows it has and
its SHA-256. It holds everything that the records hold, passwords' hashes too, so only
its owner may read it.

Source:
    SHA-256: FIPS 180-4. Base64: RFC 4648, section 4.
"""

import base64
import hashlib
import json
import os
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date, datetime
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import (
    Boolean,
    Connection,
    Date,
    DateTime,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    create_engine,
    func,
    inspect,
    select,
)
from sqlalchemy.exc import DataError, IntegrityError
from sqlalchemy.pool import NullPool

from quoting.domain.errors import RuleError, translatable
from quoting.store.database import Database, NotReadError, migrations

_MANIFEST = "manifest.json"
_FORMAT = 1
#: Where a migration notes which one it was; not a record.
_REVISION = "alembic_version"
#: Rows that are in memory at a time.
_AT_A_TIME = 200


class NoBackupError(RuleError):
    """A backup's file could not be written; what was there is untouched."""

    message = translatable(
        "The backup {file} could not be written ({reason}). What was there before is "
        "untouched."
    )


class DamagedBackupError(RuleError):
    """A backup is not what was written; nothing was restored."""

    message = translatable(
        "The backup is damaged: {what} {reason}. Nothing was restored."
    )


class NewerBackupError(RuleError):
    """A backup of a later program; nothing was restored."""

    message = translatable(
        "The backup is of version {program}, which is later than this program. "
        "Nothing was restored; bring the program up to date first."
    )


class NotEmptyError(RuleError):
    """There are records where a backup would be restored; nothing was changed."""

    message = translatable(
        "There are records here already ({tables}). A backup is restored into an "
        "empty place only; nothing was changed."
    )


@dataclass(frozen=True, slots=True)
class Member:
    """What a backup holds of one table.

    Attributes:
        table: the table's name.
        columns: name of each column to the kind of its values.
        rows: how many there are.
        sha256: of the member's bytes, in hexadecimal.
    """

    table: str
    columns: dict[str, str]
    rows: int
    sha256: str

    @property
    def name(self) -> str:
        """Return the member's name in the backup."""
        return f"{self.table}.jsonl"


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds.

    Attributes:
        at: when it was made.
        program: version of the program that made it.
        revision: the migration that its tables are of.
        members: its tables, those that others point to first.
    """

    at: datetime
    program: str
    revision: str
    members: tuple[Member, ...]


class _Kind(NamedTuple):
    """How the values of a column are written and read; ``read`` raises ValueError."""

    type: type
    write: Callable[[Any], Any]
    read: Callable[[Any], Any]


def _as(kind: type) -> Callable[[Any], Any]:
    def read(value: Any) -> Any:
        if type(value) is not kind:
            raise ValueError(value)
        return value

    return read


def _same(value: Any) -> Any:
    return value


#: By name, the narrower type first.
_KINDS = {
    "boolean": _Kind(Boolean, bool, _as(bool)),
    "integer": _Kind(Integer, _same, _as(int)),
    "instant": _Kind(DateTime, datetime.isoformat, datetime.fromisoformat),
    "day": _Kind(Date, date.isoformat, date.fromisoformat),
    "bytes": _Kind(
        LargeBinary,
        lambda value: base64.b64encode(value).decode("ascii"),
        lambda value: base64.b64decode(value, validate=True),
    ),
    "text": _Kind(String, _same, _as(str)),
}


def backup(database: Database, file: Path, at: datetime) -> Manifest:
    """Write all records to one file, as they stand at one moment; others may go on.

    The file is complete when it has its name; one that was there is replaced then.

    Args:
        database: the records.
        file: the backup, usually ``.zip``.
        at: the moment, with a zone.

    Raises:
        NoBackupError: the file cannot be written.
        NotReadError: the records cannot be read.
    """
    with _written(file) as part, database.reading() as session:
        connection = session.connection()
        revision = _revision(connection)
        if revision not in _known_revisions():
            raise NotReadError(reason=translatable("they are not of this program"))
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
            members = tuple(
                _write(connection, table, archive, at)
                for table in _tables(connection, revision)
            )
            manifest = Manifest(at, version("quoting"), revision, members)
            with archive.open(_entry(_MANIFEST, at), "w") as target:
                target.write(_manifest_bytes(manifest))
    return manifest


def restore(file: Path, database: Database) -> Manifest:
    """Fill an empty place with what a backup holds: all of it or nothing.

    The backup is checked as a whole before anything is written. Tables of an earlier
    version are brought to this one.

    Args:
        file: the backup.
        database: a place without a record; of either kind, whatever was backed up.

    Raises:
        DamagedBackupError: a part is missing or is not what was written.
        NewerBackupError: it is of a later program.
        NotEmptyError: there are records already.
        NotWrittenError: the disk is full or the database stayed locked.
    """
    from alembic import command

    with _opened(file) as archive:
        manifest = read_manifest(archive)
        if manifest.revision not in _known_revisions():
            raise NewerBackupError(program=manifest.program)
        for member in manifest.members:
            _check(archive, member)
        with database.transaction() as session:
            connection = session.connection()
            _expect_nothing(connection)
            config = migrations(connection)
            command.downgrade(config, "base")
            command.upgrade(config, manifest.revision)
            _fill(connection, archive, manifest)
            command.upgrade(config, "head")
    return manifest


def read_manifest(archive: zipfile.ZipFile) -> Manifest:
    """Return what a backup says it holds.

    Raises:
        DamagedBackupError: there is no manifest in it, or none that can be read.
    """
    with _blaming(_MANIFEST):
        said = json.loads(archive.read(_MANIFEST))
        if said["format"] != _FORMAT:
            raise NewerBackupError(program=said["program"])
        members = tuple(Member(**member) for member in said["members"])
        manifest = Manifest(
            datetime.fromisoformat(said["at"]),
            said["program"],
            said["revision"],
            members,
        )
    expected = {_MANIFEST, *(member.name for member in members)}
    if strangers := set(archive.namelist()) - expected:
        raise DamagedBackupError(
            what=min(strangers), reason=translatable("is not in its list")
        )
    return manifest


def _manifest_bytes(manifest: Manifest) -> bytes:
    said = {"format": _FORMAT, **asdict(manifest), "at": manifest.at.isoformat()}
    return json.dumps(said, indent=1).encode()


def _entry(name: str, at: datetime) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, at.timetuple()[:6])
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def _tables(connection: Connection, revision: str) -> list[Table]:
    """Return the tables of the records at a revision, those pointed to first."""
    from alembic import command

    with create_engine("sqlite://", poolclass=NullPool).begin() as model:
        command.upgrade(migrations(model), revision)
        names = set(inspect(model).get_table_names()) - {_REVISION}
    found = MetaData()
    found.reflect(connection, only=sorted(names))
    return found.sorted_tables


def _revision(connection: Connection) -> str:
    from alembic.runtime.migration import MigrationContext

    return str(MigrationContext.configure(connection).get_current_revision())


def _kind(kind: object) -> str:
    return next(name for name, at in _KINDS.items() if isinstance(kind, at.type))


def _columns(table: Table) -> dict[str, str]:
    return {column.name: _kind(column.type) for column in table.columns}


def _write(
    connection: Connection, table: Table, archive: zipfile.ZipFile, at: datetime
) -> Member:
    columns = _columns(table)
    member = Member(table.name, columns, 0, "")
    seal, rows = hashlib.sha256(), 0
    writers = [(name, _KINDS[kind].write) for name, kind in columns.items()]
    found = connection.execute(
        select(table).order_by(*table.primary_key.columns),
        execution_options={"yield_per": _AT_A_TIME},
    )
    with archive.open(_entry(member.name, at), "w", force_zip64=True) as target:
        for row in found:
            said = {
                name: None if value is None else write(value)
                for (name, write), value in zip(writers, row, strict=True)
            }
            line = json.dumps(said, separators=(",", ":")).encode() + b"\n"
            target.write(line)
            seal.update(line)
            rows += 1
    return Member(table.name, columns, rows, seal.hexdigest())


@contextmanager
def _written(file: Path) -> Iterator[Path]:
    """Give a file beside *file* that takes its name once everything is in it."""
    part = None
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{file.name}.", suffix=".part", dir=file.absolute().parent
        )
        os.close(handle)
        part = Path(name)
        yield part
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(file)
    except OSError as error:
        raise NoBackupError(file=file, reason=error.strerror) from error
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


@contextmanager
def _blaming(what: str) -> Iterator[None]:
    """Name the part of a backup that cannot be read."""
    try:
        yield
    except KeyError as error:
        raise DamagedBackupError(
            what=what, reason=translatable("is missing or incomplete")
        ) from error
    except (
        ValueError,
        TypeError,
        AttributeError,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
        zipfile.BadZipFile,
        zlib.error,
    ) as error:
        raise DamagedBackupError(
            what=what, reason=translatable("cannot be read")
        ) from error


@contextmanager
def _opened(file: Path) -> Iterator[zipfile.ZipFile]:
    with _blaming(str(file)):
        archive = zipfile.ZipFile(file)
    with archive:
        yield archive


def _rows(source: Iterable[bytes], member: Member) -> Iterator[dict[str, Any]]:
    readers = {name: _KINDS[kind].read for name, kind in member.columns.items()}
    for line in source:
        said = json.loads(line)
        if said.keys() != readers.keys():
            raise ValueError(line)
        yield {
            name: None if value is None else readers[name](value)
            for name, value in said.items()
        }


def _sealed(source: Iterable[bytes], seal: "hashlib._Hash") -> Iterator[bytes]:
    for line in source:
        seal.update(line)
        yield line


def _check(archive: zipfile.ZipFile, member: Member) -> None:
    """Refuse a member that is not what was written.

    Raises:
        DamagedBackupError: its bytes, its rows or a value differ.
    """
    seal = hashlib.sha256()
    with _blaming(member.name), archive.open(member.name) as source:
        rows = sum(1 for _ in _rows(_sealed(source, seal), member))
    if (rows, seal.hexdigest()) != (member.rows, member.sha256):
        raise DamagedBackupError(what=member.name, reason=translatable("was changed"))


def _expect_nothing(connection: Connection) -> None:
    found = MetaData()
    found.reflect(connection)
    full = [
        table.name
        for table in found.sorted_tables
        if table.name != _REVISION
        and connection.scalar(select(func.count()).select_from(table))
    ]
    if full:
        raise NotEmptyError(tables=", ".join(sorted(full)))


def _known_revisions() -> set[str]:
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(migrations())
    return {script.revision for script in scripts.walk_revisions()}


def _fill(connection: Connection, archive: zipfile.ZipFile, manifest: Manifest) -> None:
    members = {member.table: member for member in manifest.members}
    tables = _tables(connection, manifest.revision)
    if {name: member.columns for name, member in members.items()} != {
        table.name: _columns(table) for table in tables
    }:
        raise DamagedBackupError(
            what=_MANIFEST,
            reason=translatable("has other tables or columns than its version"),
        )
    for table in tables:
        member = members[table.name]
        try:
            with archive.open(member.name) as source:
                for rows in _batches(_rows(source, member)):
                    connection.execute(table.insert(), rows)
        except (ValueError, DataError, IntegrityError) as error:
            raise DamagedBackupError(
                what=member.name, reason=translatable("does not fit the records")
            ) from error
        if connection.dialect.name == "postgresql":
            _go_on_counting(connection, table)


def _batches(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    rows = iter(rows)
    while batch := list(islice(rows, _AT_A_TIME)):
        yield batch


def _go_on_counting(connection: Connection, table: Table) -> None:
    """Let the server give the next key after those that were restored."""
    key = table.autoincrement_column
    if key is None:
        return
    counter = func.pg_get_serial_sequence(table.name, key.name)
    if last := connection.scalar(select(func.max(key))):
        connection.execute(select(func.setval(counter, last)))
