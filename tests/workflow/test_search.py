"""What is found by the beginnings of words, held to a plain look at every record."""

import random
from contextlib import closing
from datetime import UTC, datetime

import pytest

from quoting.store.database import Database
from quoting.store.models import Customer
from quoting.workflow import search as module
from quoting.workflow.search import MOST_FOUND, fold, index, search, words_of

AT = datetime(2026, 11, 25, 9, tzinfo=UTC)
WORDS = fold("ga garage gate gamma mo motors mole 1 12 123 9 99 999 zoe zeta")


@pytest.fixture
def names():
    rng = random.Random(11)  # noqa: S311  (a sample, no secret)
    return {key: " ".join(rng.sample(WORDS, 3)) for key in range(1, 121)}


@pytest.fixture
def session(tmp_path, names):
    with closing(Database(f"sqlite:///{tmp_path / 'shop.db'}")) as database:
        database.upgrade()
        with database.transaction() as session:
            for key, name in names.items():
                session.add(Customer(id=key, name=name, created=AT))
                session.flush()
                index(session, "customer", key, words_of([name]))
            yield session


def looked_at(names, text):
    """Return the newest keys whose name has a word that begins with each of text's."""
    terms = fold(text)
    if max(map(len, terms)) < 2:
        return []
    keys = [
        key
        for key, name in names.items()
        if all(any(word.startswith(term) for word in fold(name)) for term in terms)
    ]
    return sorted(keys, reverse=True)[:MOST_FOUND]


@pytest.mark.parametrize(("few", "near"), [(2_000, 2_000), (3, 40), (3, 5), (0, 200)])
def test_every_way_of_looking_finds_the_newest_with_all_words(
    session, names, monkeypatch, few, near
):
    monkeypatch.setattr(module, "_FEW", few)
    monkeypatch.setattr(module, "_NEAR", near)
    texts = [*WORDS, "ga mo", "gar 99", "mo 1 z", "garage motors 999", "ga g", "zz ga"]

    for text in texts:
        found = [hit.id for hit in search(session, text, subjects=("customer",))]
        assert found == looked_at(names, text), text


def test_a_record_is_found_by_its_new_words_only(tmp_path):
    with closing(Database(f"sqlite:///{tmp_path / 'shop.db'}")) as database:
        database.upgrade()
        with database.transaction() as session:
            session.add(Customer(id=1, name="Invented", created=AT))
            session.flush()
            index(session, "customer", 1, {"before"})
            index(session, "customer", 1, {"after"})

            assert search(session, "bef") == []
            assert [hit.id for hit in search(session, "aft")] == [1]


@pytest.mark.parametrize("text", ["+999 12 345678", "99912 345678", "999123", "12 34"])
def test_a_telephone_number_is_found_however_it_is_spaced(session, text):
    index(session, "customer", 7, words_of([], ["+999 12 345678"]))

    assert [hit.id for hit in search(session, text)] == [7]
