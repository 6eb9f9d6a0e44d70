"""The migrations make the tables that the program expects, and can be taken back."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from alembic import command
from conftest import KINDS
from sqlalchemy import inspect, text

from quoting.store.database import migrations
from quoting.store.models import Record


def test_the_migrations_make_what_the_models_say(database):
    with database.transaction() as session:
        command.check(migrations(session.connection()))


def test_every_table_of_the_models_is_there(database):
    with database.reading() as session:
        found = set(inspect(session.connection()).get_table_names())

    assert found == {*Record.metadata.tables, "alembic_version"}


def test_a_downgrade_leaves_nothing_and_an_upgrade_brings_it_back(database):
    with database.transaction() as session:
        command.downgrade(migrations(session.connection()), "base")
        left = inspect(session.connection()).get_table_names()
        assert left == ["alembic_version"]
        if not database.is_file:
            assert not session.scalar(
                text("SELECT count(*) FROM pg_proc WHERE proname = 'trail_is_kept'")
            )

    database.upgrade()
    with database.transaction() as session:
        command.check(migrations(session.connection()))


@pytest.mark.parametrize("kind", KINDS)
def test_programs_that_start_together_make_the_tables_once(kind, places, opened):
    url = places.new(kind, migrated=False)
    programs = [opened(url) for _ in range(4)]

    with ThreadPoolExecutor(4) as starting:
        list(starting.map(lambda program: program.upgrade(), programs))

    assert not programs[0].is_empty()


@pytest.mark.parametrize("kind", KINDS)
def test_an_upgrade_that_fails_leaves_no_table(kind, places, opened):
    database = opened(places.new(kind, migrated=False))
    with database.transaction() as session:
        session.execute(text("CREATE TABLE ways (id INTEGER)"))

    with pytest.raises(Exception, match="ways"):
        database.upgrade()

    with database.reading() as session:
        assert inspect(session.connection()).get_table_names() == ["ways"]
