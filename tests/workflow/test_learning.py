"""What the shop's own records say, on both databases."""

import re
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from math import isclose
from pathlib import Path

import pytest
from lxml.html import fromstring
from shop import DAY, now
from sqlalchemy import select

from quoting.domain.calibration import USUAL
from quoting.domain.consent import Consent, How
from quoting.domain.errors import ProblemsError
from quoting.domain.job import Asked
from quoting.domain.life import OrderMove
from quoting.domain.pricing import price
from quoting.files import work_done
from quoting.store.models import Clocked, Learning, Order, PaperMade
from quoting.workflow import (
    bench,
    counter_papers,
    learning,
    orders,
    own_record,
    people,
    quotes,
)
from quoting.workflow.orders import BookedIn

TWIN_CAM = "16v twin cam valve job"


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage")


def done(shop, customer, minutes=(), words=TWIN_CAM, found=None, days=0):
    """Do a job from the quote to the shelf; minutes are (minutes, operations)."""
    key = shop.save(words, customer=customer, days=days)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        at = now(days=days)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
        order = orders.book_in(session, quote, BookedIn(), at)
        for figure, operations in minutes:
            bench.clock(session, order, Decimal(figure), at, operations=operations)
        bench.write_found(session, order, found or {}, at)
        orders.move(session, order, order.version, OrderMove.MAKE_READY, at)
        return order.id


def history(shop, days=60):
    with shop.database.reading() as session:
        return learning.gather(session, now(days=days).on).history


def state(shop):
    with shop.database.reading() as session:
        return learning.state(session)


def test_the_work_of_an_order_is_what_the_book_has_it_take(shop, customer):
    """Book minutes, set-up and unit, times quantities are those of the route card."""
    key = done(shop, customer)
    with shop.database.reading() as session:
        order = session.get(Order, key)
        work = bench.work_of(order)
        book = {
            code: (op.setup_minutes, op.unit_minutes)
            for code, op in shop.edition.operations.items()
        }
        planned = sum(Decimal(step.minutes) for step in order.steps)
    minutes = sum(
        each.factor
        * (
            book[each.operation][0] * each.setups
            + book[each.operation][1] * each.quantity
        )
        for each in work.operations
    )
    assert isclose(minutes, planned, rel_tol=1e-9)
    assert (work.family, work.counts["valve"], work.counts["head"]) == ("L04", 16, 1)
    assert work_done.read(work_done.write(work)) == work


def test_minutes_of_the_same_work_are_added_up_and_those_set_aside_are_not(
    shop, customer
):
    key = done(shop, customer, [("60", ()), ("35.5", ()), ("20", ("SCUT",))])
    [job] = history(shop).jobs
    assert [(c.operations, c.minutes) for c in job.clockings] == [
        ((), 95.5), (("SCUT",), 20.0),
    ]  # fmt: skip
    with shop.database.transaction() as session:
        row = session.get(Clocked, 1)
        assert row.order_id == key
        bench.leave_out(session, row, "lunch", now())
    [job] = history(shop).jobs
    assert [c.minutes for c in job.clockings] == [35.5, 20.0]


def test_an_order_that_is_still_on_the_bench_is_not_learnt_from(shop, customer):
    key = done(shop, customer, [("95", ())])
    with shop.database.transaction() as session:
        session.get(Order, key).state = "on the bench"
    assert history(shop).jobs == ()


def test_the_heads_condemned_are_counted_with_those_that_were_not(shop, customer):
    done(shop, customer)
    with shop.database.reading() as session:
        seen = learning.gather(session, DAY).inspections
    [end] = [each for each in seen if each.finding == "condemned"]
    assert (end.at_risk, end.affected) == (1, 0)


def test_what_was_learnt_is_kept_and_asked_without_a_refit(shop, customer):
    """Twelve jobs at 1.3 times the book's minutes make every time longer."""
    book = sum(shop_minutes(shop))
    for i in range(12):
        done(shop, customer, [(str(round(1.3 * book)), ())], days=i)
    key = learning.learn(shop.database, now(days=20), "asked for")
    found, kept = state(shop)
    assert found == key
    line = kept.labour.line("SCUT")
    assert line.unit.median > 1.1 * line.book_unit
    assert len(kept.points) == 12
    assert all(isclose(p.minutes, round(1.3 * book)) for p in kept.points)


def shop_minutes(shop):
    priced = price(shop.edition, shop.job(TWIN_CAM), DAY)
    return [float(line.minutes) for line in priced.lines]


def test_the_same_records_are_learnt_from_once(shop, customer):
    done(shop, customer, [("95", ())])
    first = learning.learn(shop.database, now(), "asked for")
    assert learning.learn(shop.database, now(), "asked for") == first
    done(shop, customer, [("95", ())], days=1)
    assert learning.learn(shop.database, now(days=2), "after W-00002") > first


def test_without_records_every_time_is_the_books(shop):
    learning.learn(shop.database, now(), "asked for")
    _, kept = state(shop)
    line = kept.labour.line("SCUT")
    assert (line.unit.median, line.own_weight) == (line.book_unit, 0)


def test_a_fit_that_fails_is_said_and_the_last_good_one_stays(shop, customer):
    """One round is too few for any fit to settle."""
    done(shop, customer, [("95", ())])
    good = learning.learn(shop.database, now(), "asked for")
    done(shop, customer, [("120", ())], days=1)
    at = now(days=2)
    with shop.database.transaction() as session:
        records = learning.gather(session, at.on)
        strict = replace(USUAL, rounds=0)
        row = learning.attempt(records, at, "asked for", strict)
        bad = learning.keep(session, row, at)

    assert bad > good
    with shop.database.reading() as session:
        row = session.get(Learning, bad)
        assert (row.good, "no stable times" in row.said) == (False, True)
        assert learning.in_use(session).id == good
        assert learning.latest(session).id == bad


def test_people_are_not_told_apart_where_the_owner_does_not_want_it(shop, customer):
    done(shop, customer, [("95", ())])
    assert [job.machinist for job in history(shop).jobs] == ["Ada Tallow"]
    with shop.database.transaction() as session:
        people.setup(session)
        learning.choose(session, confidence=80, by_machinist=False, now=now())
    assert [job.machinist for job in history(shop).jobs] == [""]


def test_new_records_show_in_the_signs(shop, customer):
    with shop.database.reading() as session:
        before = learning.signs(session, DAY)
        assert learning.signs(session, DAY) == before
    done(shop, customer, [("95", ())])
    with shop.database.reading() as session:
        assert learning.signs(session, DAY) != before


def test_new_records_are_learnt_from_by_themselves_and_only_once(shop, customer):
    looks = iter([False, False, True])
    done(shop, customer, [("95", ())])

    def pause(_seconds):
        return next(looks)

    learning.keep_learning(shop.database, lambda: now(days=1).at, pause=pause)
    with shop.database.reading() as session:
        row = learning.in_use(session)
        assert (row.id, row.jobs, row.why) == (1, 1, "new records")


def test_findings_that_cannot_be_change_nothing(shop, customer):
    key = done(shop, customer, found={"bowed": (1, 0)})
    with shop.database.reading() as session:
        order = orders.order_of(session, key)
        with pytest.raises(ProblemsError, match="2 of 1 cannot be"):
            bench.write_found(session, order, {"bowed": (1, 2)}, now())
        rows = bench.found(session, order)
        assert [(row.at_risk, row.affected) for row in rows] == [(1, 0)]


# What was foretold.


WORN = {"guides-worn": (16, 4), "bowed": (1, 0)}
SOUND = {"guides-worn": (16, 0), "bowed": (1, 0)}


def foretold(shop, customer, *found):
    """Learn from a dozen jobs with findings; return the key of a quote after them."""
    for i in range(12):
        done(shop, customer, [("300", ())], found=found[i % len(found)], days=i)
    learning.learn(shop.database, now(days=20), "asked for")
    key = shop.save(TWIN_CAM, customer=customer, days=21)
    with shop.database.transaction() as session:
        own_record.foretell(session, quotes.quote_of(session, key).revisions[-1])
    return key


def quote_text(shop, key):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        paper = counter_papers.quote(session, quote, now(days=21))
        html = session.scalar(select(PaperMade.html).where(PaperMade.id == paper))
    return fromstring(html).text_content()


def test_a_quote_says_in_words_what_may_come_on_top_and_what_it_costs(shop, customer):
    """One guide and all sixteen are priced as if they had been asked for."""
    text = quote_text(shop, foretold(shop, customer, WORN))
    said = "Worn valve guides: £51.57 for one, £506.19 for all."

    assert said in " ".join(text.split())
    assert "Amounts are with tax, and on top of the price above; we ask you" in text
    assert "of your" not in text
    assert not re.search(r"\d\s?%.*worn|worn.*\d\s?%", text)


def test_one_guide_more_costs_what_it_costs_when_it_is_asked_for(shop, customer):
    """The same figures by the calculation: the job with guide 1E1, and with all."""
    key = foretold(shop, customer, WORN)
    with shop.database.reading() as session:
        [[each, *_]] = own_record.on_top(
            session, quotes.quote_of(session, key).revisions[-1]
        )
    as_asked = shop.job(TWIN_CAM)
    before = price(shop.edition, as_asked, DAY).totals.total
    every = replace(as_asked, work=(*as_asked.work, Asked(operation="GREP")))
    assert each.all[1] == price(shop.edition, every, DAY).totals.total - before


def test_what_was_never_found_is_not_spoken_of_on_a_quote(shop, customer):
    text = quote_text(shop, foretold(shop, customer, SOUND))
    assert "What may come on top" not in text


def test_a_quote_keeps_the_model_it_was_priced_with(shop, customer):
    key = foretold(shop, customer, WORN)
    before = quote_text(shop, key)
    for i in range(30, 42):
        done(shop, customer, [("600", ())], found=WORN, days=i)
    learning.learn(shop.database, now(days=50), "asked for")

    assert quote_text(shop, key) == before


def test_money_that_was_said_is_held_against_what_the_head_needed(shop, customer):
    key = foretold(shop, customer, WORN, SOUND)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        at = now(days=22)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
        order = orders.book_in(session, quote, BookedIn(), at)
        bench.clock(session, order, Decimal(300), at)
        orders.move(session, order, order.version, OrderMove.MAKE_READY, at)
    with shop.database.reading() as session:
        [job] = own_record.came(session)
    assert job.money.low == job.total <= job.money.likely <= job.money.high
    assert own_record.within_money([job]) == own_record.Coverage(1, 1, 0.8)
    assert own_record.coverage([job], 0.8).inside == 1


# A program that is stopped while it learns.


def test_a_refit_that_is_killed_leaves_what_was_learnt(shop, customer):
    """It is killed once while it works and once while it would keep the result."""
    done(shop, customer, [("95", ())])
    good = learning.learn(shop.database, now(), "asked for")
    done(shop, customer, [("120", ())], days=1)
    url = shop.database.url.render_as_string(hide_password=False)
    for task in ("learn", "keep"):
        program = Path(__file__).with_name("learning_program.py")
        with subprocess.Popen(
            [sys.executable, program, url, task], stdout=subprocess.PIPE, text=True
        ) as running:
            assert running.stdout.readline() == "begun\n"
            running.kill()
        with shop.database.reading() as session:
            assert learning.in_use(session).id == good
            assert learning.latest(session).id == good
    assert learning.learn(shop.database, now(days=2), "asked for") > good
