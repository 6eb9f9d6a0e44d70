"""The trail: only ever added to, and a change behind its back shows."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError, StatementError

from quoting.store import audit
from quoting.store.models import Trail

AT = datetime(2026, 3, 2, 8, 30, 0, 123456, tzinfo=UTC)


def note(database, what, *, at=AT, subject_id=1):
    with database.transaction() as session:
        audit.record(
            session, at=at, who="Ada", what=what, subject="quote", subject_id=subject_id
        )


def broken(database):
    with database.reading() as session:
        return audit.broken(session)


def unguard(session):
    """Take away what the database refuses with, as someone with its password could."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("DROP TRIGGER trail_is_kept ON trail"))
    else:
        session.execute(text("DROP TRIGGER trail_refuses_update"))
        session.execute(text("DROP TRIGGER trail_refuses_delete"))


def test_a_story_holds_what_happened_to_one_subject_in_order(database):
    note(database, "drafted", subject_id=7)
    note(database, "drafted", subject_id=8)
    note(database, "offered", subject_id=7)

    with database.reading() as session:
        story = audit.story(session, "quote", 7)

    assert [(entry.what, entry.at) for entry in story] == [
        ("drafted", AT),
        ("offered", AT),
    ]


def test_an_instant_of_another_zone_keeps_the_chain_whole(database):
    note(database, "drafted", at=AT.astimezone(timezone(timedelta(hours=-5))))

    assert broken(database) is None


def test_an_instant_without_a_zone_is_refused(database):
    with pytest.raises(StatementError, match="no zone"):
        note(database, "drafted", at=AT.replace(tzinfo=None))


def test_entries_of_eight_people_at_once_are_one_unbroken_chain(database):
    with ThreadPoolExecutor(8) as people:
        list(people.map(lambda turn: note(database, f"note {turn}"), range(40)))

    with database.reading() as session:
        entries = list(session.scalars(select(Trail).order_by(Trail.id)))
        assert audit.broken(session) is None
    assert {entry.what for entry in entries} == {f"note {turn}" for turn in range(40)}
    assert [entry.before for entry in entries[1:]] == [
        entry.seal for entry in entries[:-1]
    ]


@pytest.mark.parametrize(
    "statement",
    ["UPDATE trail SET who = 'Bob'", "DELETE FROM trail WHERE what = 'second'"],
)
def test_the_database_itself_refuses_to_change_an_entry(database, statement):
    note(database, "first")
    note(database, "second")

    with (
        pytest.raises(IntegrityError, match="only ever added"),
        database.transaction() as session,
    ):
        session.execute(text(statement))

    assert broken(database) is None


@pytest.mark.parametrize("database", ["postgresql"], indirect=True)
@pytest.mark.needs_postgresql
def test_the_server_refuses_to_empty_the_trail(database):
    with (
        pytest.raises(IntegrityError, match="only ever added"),
        database.transaction() as session,
    ):
        session.execute(text("TRUNCATE trail"))


def test_the_chain_cannot_fork(database):
    note(database, "first")
    with database.reading() as session:
        first = session.scalars(select(Trail)).one()
    fork = Trail(
        at=AT,
        who="Ada",
        what="also first",
        subject="quote",
        subject_id=1,
        before=first.before,
        seal="0" * 64,
    )

    with pytest.raises(IntegrityError), database.transaction() as session:
        session.add(fork)


@pytest.mark.parametrize("column", ["who", "what", "subject", "old", "new", "why"])
def test_a_changed_word_shows_at_its_entry(database, column):
    for what in ("first", "second", "third"):
        note(database, what)
    with database.transaction() as session:
        unguard(session)
        setattr(session.get_one(Trail, 2), column, "x")

    assert broken(database) == 2


def test_a_changed_instant_or_subject_shows_at_its_entry(database):
    note(database, "first")
    note(database, "second")
    with database.transaction() as session:
        unguard(session)
        session.execute(text("UPDATE trail SET subject_id = 9 WHERE id = 1"))
    assert broken(database) == 1

    with database.transaction() as session:
        session.execute(text("UPDATE trail SET subject_id = 1 WHERE id = 1"))
        entry = session.get_one(Trail, 2)
        entry.at += timedelta(minutes=1)
    assert broken(database) == 2


def test_an_entry_taken_out_shows_at_the_next_one(database):
    for what in ("first", "second", "third"):
        note(database, what)
    with database.transaction() as session:
        unguard(session)
        session.execute(text("DELETE FROM trail WHERE id = 2"))

    assert broken(database) == 3


def test_an_entry_sealed_anew_shows_at_the_next_one(database):
    for what in ("first", "second", "third"):
        note(database, what)
    with database.transaction() as session:
        unguard(session)
        entry = session.get_one(Trail, 2)
        entry.who = "Bob"
        entry.seal = audit._seal(entry)

    assert broken(database) == 3
