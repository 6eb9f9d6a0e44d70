"""A backup holds everything, and comes back whole or not at all."""

import hashlib
import json
import shutil
import stat
import sys
import threading
import zipfile
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from conftest import KINDS
from sqlalchemy import event, func, select, text
from store.other_program import issue

from quoting.store import audit
from quoting.store.backup import (
    DamagedBackupError,
    NewerBackupError,
    NoBackupError,
    NotEmptyError,
    backup,
    restore,
)
from quoting.store.database import Database, NotReadError, NotWrittenError
from quoting.store.models import (
    Contact,
    Customer,
    PaperMade,
    Quote,
    RateEdition,
    Record,
    Revision,
    Setup,
    Trail,
    User,
    Way,
    WayLine,
)

AT = datetime(2026, 3, 2, 17, 30, 0, 5, tzinfo=UTC)
ON = date(2026, 3, 2)
#: More than the program holds in memory at a time.
MANY = 250
EVERY_BYTE = bytes(range(256)) * 40


def fill(database):
    """Write a little of every kind of value, and a long trail."""
    with database.transaction() as session:
        session.add(Setup(secret="s" * 64, zone="Europe/Vienna"))
        session.add(
            User(sign_in="ada", name="Ada", stamp="x", active=False, created=AT)
        )
        session.add(
            Customer(
                name='Zylinder & Söhne "Ventil" \u2028 \U0001f527',
                notes="line\r\nline\ttab",
                up_to=2**53 + 1,
                created=AT,
                contacts=[Contact(name="Éva"), Contact(name="Ōmi")],
            )
        )
        edition = RateEdition(
            name="2026", valid_from=ON, files=EVERY_BYTE, sha256="0" * 64, imported=AT
        )
        session.add(edition)
        for _ in range(MANY):
            issue(session)
        quote = session.scalars(select(Quote).limit(1)).one()
        line = WayLine(place=1, kind="labour", net=-1)
        way = Way(place=1, currency="EUR", net=1, condemned=None, lines=[line])
        session.add(
            Revision(
                quote=quote,
                number=1,
                edition=edition,
                on=ON,
                valid_until=ON,
                saved=AT,
                saved_by="Ada",
                ways=[way],
            )
        )
        session.add(
            PaperMade(
                kind="quote",
                number=quote.number,
                quote_id=quote.id,
                title="Quote",
                made=ON,
                html="<p>",
                pdf=EVERY_BYTE,
                issued=AT,
                issued_by="Ada",
            )
        )


def contents(database):
    """Return every row of every table."""
    with database.reading() as session:
        return {
            table.name: session.execute(
                select(table).order_by(*table.primary_key)
            ).all()
            for table in Record.metadata.sorted_tables
        }


@pytest.fixture
def filled(database):
    fill(database)
    return database


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return a backup and what it holds, to be left as they are."""
    file = tmp_path_factory.mktemp("whole") / "backup.zip"
    with closing(Database(f"sqlite:///{file.with_name('records.db')}")) as database:
        database.upgrade()
        fill(database)
        backup(database, file, AT)
        return file, contents(database)


@pytest.fixture
def saved(whole, tmp_path):
    """Return a backup to do harm to."""
    return Path(shutil.copy(whole[0], tmp_path / "backup.zip"))


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_restored_is_what_was_backed_up(filled, kind, places, opened, tmp_path):
    made = backup(filled, tmp_path / "backup.zip", AT)
    place = opened(places.new(kind, migrated=False))
    found = restore(tmp_path / "backup.zip", place)

    backup(place, tmp_path / "again.zip", AT)
    assert contents(place) == contents(filled)
    assert (tmp_path / "again.zip").read_bytes() == (
        tmp_path / "backup.zip"
    ).read_bytes()
    assert found == made
    assert (made.at, made.revision) == (AT, "0001")
    assert {member.table: member.rows for member in made.members} == {
        name: len(rows) for name, rows in contents(filled).items()
    }


@pytest.mark.parametrize("kind", KINDS)
def test_work_goes_on_where_the_backup_ended(saved, kind, places, opened):
    place = opened(places.new(kind))
    restore(saved, place)
    with place.transaction() as session:
        number = issue(session)
        session.add(Customer(name="new", created=AT, contacts=[Contact(name="new")]))

    with place.reading() as session:
        assert number == f"Q-{MANY + 1:05}"
        assert session.scalar(select(func.max(Trail.id))) == MANY + 1
        assert audit.broken(session) is None


def test_each_part_of_a_backup_can_be_checked_by_hand(saved):
    with zipfile.ZipFile(saved) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        for member in manifest["members"]:
            held = archive.read(f"{member['table']}.jsonl")
            assert hashlib.sha256(held).hexdigest() == member["sha256"]
            assert held.count(b"\n") == member["rows"]
            for line in held.splitlines():
                assert json.loads(line).keys() == member["columns"].keys()


def test_the_same_records_make_the_same_file(filled, tmp_path):
    for name in ("one.zip", "two.zip"):
        backup(filled, tmp_path / name, AT)

    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_a_backup_shows_one_moment_while_others_write(database, tmp_path, places):
    """A quote and its entry are written together: there are as many of each."""
    ended = threading.Event()

    def work():
        while not ended.is_set():
            with database.transaction() as session:
                issue(session)

    with database.transaction() as session:
        for _ in range(MANY):
            issue(session)
    people = [threading.Thread(target=work) for _ in range(2)]
    for person in people:
        person.start()
    try:
        backups = [backup(database, tmp_path / f"{n}.zip", AT) for n in range(5)]
    finally:
        ended.set()
        for person in people:
            person.join()

    rows = [{member.table: member.rows for member in made.members} for made in backups]
    assert all(held["quotes"] == held["trail"] for held in rows)
    assert rows[0]["quotes"] < rows[-1]["quotes"]
    with closing(Database(places.new("sqlite"))) as place:
        restore(tmp_path / "4.zip", place)
        with place.reading() as session:
            assert audit.broken(session) is None
            assert session.scalar(text("SELECT next FROM series")) == (
                rows[-1]["quotes"] + 1
            )


def test_a_backup_is_for_its_owner_only(whole):
    """Windows has no such bits."""
    others = stat.S_IMODE(whole[0].stat().st_mode) & 0o077
    assert sys.platform == "win32" or others == 0


# Where it cannot be written.


def test_a_backup_that_fails_leaves_the_one_that_was_there(
    saved, places, opened, tmp_path
):
    database = opened(places.new("sqlite"))
    fill(database)
    database.close()
    records = Path(database.url.database)
    held = bytearray(records.read_bytes())
    held[len(held) // 2 :] = b"?" * (len(held) - len(held) // 2)
    records.write_bytes(held)
    before = saved.read_bytes()

    with pytest.raises(NotReadError, match="the file is damaged"):
        backup(database, saved, AT)

    assert saved.read_bytes() == before
    assert list(tmp_path.iterdir()) == [saved]


def test_records_without_tables_are_not_backed_up(places, opened, tmp_path):
    database = opened(places.new("sqlite", migrated=False))

    with pytest.raises(NotReadError, match="not of this program"):
        backup(database, tmp_path / "backup.zip", AT)

    assert list(tmp_path.iterdir()) == []


def test_a_table_of_somebody_else_is_left_out(filled, places, opened, tmp_path):
    with filled.transaction() as session:
        session.execute(text("CREATE TABLE theirs (id INTEGER, size REAL)"))

    made = backup(filled, tmp_path / "backup.zip", AT)
    restore(tmp_path / "backup.zip", opened(places.new("sqlite", migrated=False)))

    assert "theirs" not in {member.table for member in made.members}


def test_a_folder_that_is_not_there_is_said(database, tmp_path):
    with pytest.raises(NoBackupError, match="No such file"):
        backup(database, tmp_path / "none" / "backup.zip", AT)


# What is not restored.


def test_a_place_with_records_is_left_alone(saved, database):
    with database.transaction() as session:
        issue(session)
    before = contents(database)

    with pytest.raises(NotEmptyError, match="quotes, series, trail"):
        restore(saved, database)

    assert contents(database) == before


def rewritten(saved, name, change):
    """Write the backup again with one member changed, or left out for None."""
    with zipfile.ZipFile(saved) as archive:
        held = {entry: archive.read(entry) for entry in archive.namelist()}
    held[name] = change(held.get(name, b""))
    with zipfile.ZipFile(saved, "w") as archive:
        for entry, content in held.items():
            if content is not None:
                archive.writestr(entry, content)


def manifested(saved, change):
    """Write the backup again with its manifest changed."""

    def rewrite(content):
        said = json.loads(content)
        change(said)
        return json.dumps(said).encode()

    rewritten(saved, "manifest.json", rewrite)


def resealed(saved, table, change):
    """Write the backup again with a member changed and its seal made to fit."""
    rewritten(saved, f"{table}.jsonl", change)
    with zipfile.ZipFile(saved) as archive:
        held = archive.read(f"{table}.jsonl")

    def reseal(said):
        for member in said["members"]:
            if member["table"] == table:
                member["sha256"] = hashlib.sha256(held).hexdigest()
                member["rows"] = held.count(b"\n")

    manifested(saved, reseal)


def unlisted(said):
    said["members"] = said["members"][1:]


DAMAGES = {
    "a changed letter": (
        lambda saved: rewritten(
            saved, "users.jsonl", lambda held: held.replace(b"Ada", b"Bob")
        ),
        "users.jsonl was changed",
    ),
    "a row left out": (
        lambda saved: rewritten(
            saved, "trail.jsonl", lambda held: held.split(b"\n", 1)[1]
        ),
        "trail.jsonl was changed",
    ),
    "a row cut short": (
        lambda saved: rewritten(saved, "trail.jsonl", lambda held: held[:-10]),
        "trail.jsonl cannot be read",
    ),
    "a member left out": (
        lambda saved: rewritten(saved, "papers.jsonl", lambda _held: None),
        "papers.jsonl is missing",
    ),
    "a member too many": (
        lambda saved: rewritten(saved, "more.jsonl", lambda _held: b"{}"),
        "more.jsonl is not in its list",
    ),
    "a member not listed": (
        lambda saved: manifested(saved, unlisted),
        "is not in its list",
    ),
    "no manifest": (
        lambda saved: rewritten(saved, "manifest.json", lambda _held: None),
        "manifest.json is missing",
    ),
    "a manifest without a moment": (
        lambda saved: manifested(saved, lambda said: said.pop("at")),
        "manifest.json is missing or incomplete",
    ),
    "a manifest that is a list": (
        lambda saved: rewritten(saved, "manifest.json", lambda _held: b"[]"),
        "manifest.json cannot be read",
    ),
    "a number that is a word": (
        lambda saved: resealed(
            saved, "customers", lambda held: held.replace(b'"id":1', b'"id":"one"')
        ),
        "customers.jsonl cannot be read",
    ),
    "an owner that is not there": (
        lambda saved: resealed(saved, "customers", lambda _held: b""),
        "contacts.jsonl does not fit",
    ),
    "the same key twice": (
        lambda saved: resealed(saved, "users", lambda held: held * 2),
        "users.jsonl does not fit",
    ),
    "half a file": (
        lambda saved: saved.write_bytes(saved.read_bytes()[:5000]),
        "backup.zip cannot be read",
    ),
    "no backup at all": (
        lambda saved: saved.write_bytes(b"not a backup"),
        "backup.zip cannot be read",
    ),
    "no file": (lambda saved: saved.unlink(), "backup.zip cannot be read"),
}


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_backup_is_named_and_nothing_is_restored(
    saved, damage, kind, places, opened
):
    harm, said = DAMAGES[damage]
    harm(saved)
    place = opened(places.new(kind, migrated=False))

    with pytest.raises(DamagedBackupError, match=said):
        restore(saved, place)

    assert place.is_empty()


def test_a_flipped_bit_anywhere_is_found_or_harmless(whole, saved, opened, tmp_path):
    """Every 997th byte in turn: what is restored is right, or nothing is."""
    file, right = whole
    held = file.read_bytes()
    for at in range(0, len(held), 997):
        harmed = bytearray(held)
        harmed[at] ^= 0x10
        saved.write_bytes(harmed)
        place = opened(f"sqlite:///{tmp_path}/{at}.db")
        try:
            restore(saved, place)
        except (DamagedBackupError, NewerBackupError):
            assert place.is_empty()
        else:
            assert contents(place) == right


@pytest.mark.parametrize("change", [{"revision": "9999"}, {"format": 2}])
def test_a_backup_of_a_later_program_is_refused(saved, change, opened, tmp_path):
    manifested(saved, lambda said: said.update(change, program="9.9"))
    place = opened(f"sqlite:///{tmp_path}/place.db")

    with pytest.raises(NewerBackupError, match=r"9\.9"):
        restore(saved, place)

    assert place.is_empty()


def test_a_disk_that_fills_up_meanwhile_leaves_an_empty_place(saved, opened, tmp_path):
    place = opened(f"sqlite:///{tmp_path}/place.db")

    @event.listens_for(place.engine, "connect")
    def limit(connection, _entry):
        connection.execute("PRAGMA max_page_count = 100")

    with pytest.raises(NotWrittenError, match="the disk is full"):
        restore(saved, place)

    place.close()
    assert place.is_empty()
