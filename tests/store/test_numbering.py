"""Numbers of papers: every one used, none twice, in the order of days."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from itertools import chain

import pytest

from quoting.store import audit
from quoting.store.models import Series
from quoting.store.numbering import BackDatedError, NumberTooLongError, take

ON = date(2026, 3, 2)


def in_a_row(many):
    return [f"Q-{number:05}" for number in range(1, many + 1)]


def test_forty_numbers_taken_by_eight_people_are_one_to_forty(database):
    def one(_turn):
        with database.transaction() as session:
            return take(session, "quote", ON, "Q")

    with ThreadPoolExecutor(8) as people:
        numbers = list(people.map(one, range(40)))

    assert sorted(numbers) == in_a_row(40)


def test_forty_numbers_taken_by_eight_programs_are_one_to_forty(
    database, other_program
):
    programs = [other_program(database, "take", 5) for _ in range(8)]
    answers = [program.communicate(timeout=60)[0].split() for program in programs]

    assert [len(numbers) for numbers in answers] == [5] * 8
    assert sorted(chain.from_iterable(answers)) == in_a_row(40)
    with database.reading() as session:
        assert audit.broken(session) is None


def test_a_number_of_a_transaction_that_fails_is_given_out_again(database):
    with database.transaction() as session:
        take(session, "quote", ON, "Q")

    def fail():
        with database.transaction() as session:
            take(session, "quote", ON, "Q")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()

    with database.transaction() as session:
        assert take(session, "quote", ON, "Q") == "Q-00002"


def test_each_series_counts_for_itself(database):
    with database.transaction() as session:
        series = {"quote": "Q", "order": "W", "receipt": "D"}
        numbers = [take(session, name, ON, start) for name, start in series.items()]

    assert numbers == ["Q-00001", "W-00001", "D-00001"]


def test_a_day_before_the_last_paper_is_refused_and_takes_no_number(database):
    with database.transaction() as session:
        take(session, "quote", ON, "Q")
    with (
        pytest.raises(BackDatedError, match="2026-03-02"),
        database.transaction() as session,
    ):
        take(session, "quote", ON - timedelta(days=1), "Q")

    with database.transaction() as session:
        assert take(session, "quote", ON, "Q") == "Q-00002"


def test_a_series_counts_on_when_its_numbers_begin_otherwise(database):
    with database.transaction() as session:
        numbers = [take(session, "invoice", ON, start) for start in ("I", "2027/I")]

    assert numbers == ["I-00001", "2027/I-00002"]


def test_no_number_is_longer_than_sixteen_signs_and_none_is_lost_by_it(database):
    """Ten signs, a dash and five digits are sixteen; the hundred-thousandth has six."""
    with database.transaction() as session:
        session.add(Series(name="invoice", next=99_999, last_on=ON))
        assert take(session, "invoice", ON, "WORKSHOP/I") == "WORKSHOP/I-99999"
    with (
        pytest.raises(NumberTooLongError, match="begin with less than WORKSHOP/I"),
        database.transaction() as session,
    ):
        take(session, "invoice", ON, "WORKSHOP/I")
    with database.transaction() as session:
        assert take(session, "invoice", ON, "I") == "I-100000"
