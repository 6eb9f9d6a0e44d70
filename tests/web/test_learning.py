"""Learning: what the owner sees of the shop's own times, and what is done with it."""

import re
from decimal import Decimal

import pytest
from at_the_counter import FOUR, Shop, send
from lxml import html

from quoting.domain.life import OrderMove
from quoting.store.models import Changeover, Foretold, Learning, RateEdition
from quoting.workflow import bench, learning, orders, own_record, quotes, rates

PAGE = "/rates/learning"


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def owner(at):
    return at("owner")


def done(shop, minutes, number=1, found=None, words=FOUR, operations=()):
    """Do so many jobs alike, each of which took *minutes*."""
    customer = shop.customer()
    for _ in range(number):
        key = shop.order(words, customer=customer)
        with shop.database.transaction() as session:
            order = orders.order_of(session, key)
            bench.clock(
                session, order, Decimal(minutes), shop.now, operations=operations
            )
            bench.write_found(session, order, found or {}, shop.now)
            orders.move(session, order, order.version, OrderMove.MAKE_READY, shop.now)
    return key


def learnt(shop):
    return learning.learn(shop.database, shop.now, "asked for")


def book(shop):
    return shop.told(FOUR).minutes


def test_a_shop_without_records_is_told_what_to_do_first(owner):
    text = owner.get(PAGE).text
    assert "Write minutes down on work orders" in text
    assert "Nothing was foretold and done yet." in owner.get("/rates/record").text


def test_learning_is_for_the_owner(at):
    for who in ("counter", "bench", "accounts", "reader"):
        assert at(who).get(PAGE).status_code == 403
        assert at(who).get("/rates/record").status_code == 403


def test_the_records_are_learnt_from_when_the_owner_asks(shop, owner):
    done(shop, round(book(shop) * Decimal("1.3")), number=6)
    answer = send(owner, PAGE, f"{PAGE}/learn")

    assert answer.status_code == 303
    [row] = shop.rows(Learning)
    assert (row.jobs, row.rows, row.good) == (6, 6, True)
    text = owner.get(PAGE).text
    assert "Learnt from 6 jobs with 6 records." in text
    assert "Your records are of whole jobs only" in text
    assert "Clock these by themselves next" in text


def test_an_operation_says_what_its_jobs_say(shop, owner):
    done(shop, 40, number=8, operations=["LEAK"])
    learnt(shop)
    text = html.fromstring(owner.get(f"{PAGE}/LEAK").text).text_content()

    assert "book 22.0 min a set-up and 22.0 min a head" in text
    assert "your last 8 jobs (8 times clocked by itself) say" in text
    assert "8 records of this operation by itself." in text


def test_an_operation_clocked_once_says_so(shop, owner):
    done(shop, 300, number=3)
    done(shop, 40, operations=["LEAK"])
    learnt(shop)
    assert "(once clocked by itself)" in owner.get(f"{PAGE}/LEAK").text


def test_plots_say_in_words_what_they_show(shop, owner):
    done(shop, 40, number=8, operations=["LEAK"])
    done(shop, 600, operations=["LEAK"])
    learnt(shop)
    page = html.fromstring(owner.get(f"{PAGE}/LEAK").text)
    plots = page.xpath("//*[local-name()='svg'][@role='img']")

    assert len(plots) == 2
    for plot in plots:
        assert plot.xpath("*[local-name()='title']")
        assert plot.xpath("*[local-name()='desc']")
    assert "an incident" in page.text_content()


def test_an_operation_that_is_not_learnt_is_not_there(owner):
    assert owner.get(f"{PAGE}/LEAK").status_code == 404


def test_records_that_look_wrong_lead_to_their_work_order(shop, owner):
    done(shop, round(book(shop)), number=12)
    key = done(shop, round(book(shop)) * 4)
    learnt(shop)
    text = owner.get(PAGE).text

    assert "Records that look like no ordinary work" in text
    assert f'href="/counter/orders/{key}#bench"' in text


@pytest.mark.parametrize(
    ("way", "least", "most"), [("100", 0.99, 1.01), ("50", 0.49, 0.51)]
)
def test_times_are_taken_all_or_part_of_the_way_into_a_draft(
    shop, owner, way, least, most
):
    done(shop, 60, number=12, operations=["LEAK"])
    learnt(shop)
    with shop.database.reading() as session:
        line = learning.state(session)[1].labour.line("LEAK")
    answer = send(owner, PAGE, f"{PAGE}/accept", take="LEAK", way=way)
    assert answer.status_code == 303, answer.text

    [row] = [row for row in shop.rows(RateEdition) if row.draft]
    assert answer.location == f"/rates/editions/{row.id}"
    with shop.database.reading() as session:
        new = rates.edition_of(session, row.id, shop.now.on).operations["LEAK"]
        old = shop.edition.operations["LEAK"]
    moved = float(new.unit_minutes - old.unit_minutes)
    assert least <= moved / (line.unit.median - line.book_unit) <= most
    assert shop.edition.operations["LEAK"].unit_minutes == old.unit_minutes


def test_taking_nothing_is_refused(shop, owner):
    done(shop, 60, number=3)
    learnt(shop)
    answer = send(owner, PAGE, f"{PAGE}/accept", way="100")
    assert answer.status_code == 422
    assert "Choose at least one operation" in answer.text


@pytest.mark.parametrize("way", ["0", "-5", "1000", "abc", "", "33"])
def test_a_way_that_is_not_offered_is_refused(shop, owner, way):
    done(shop, 60, number=3, operations=["LEAK"])
    learnt(shop)
    answer = send(owner, PAGE, f"{PAGE}/accept", take="LEAK", way=way)

    assert answer.status_code == 422
    assert "Say how far to go" in answer.text
    assert not any(row.draft for row in shop.rows(RateEdition))


def test_an_operation_that_nothing_was_learnt_of_cannot_be_taken(shop, owner):
    done(shop, 60, number=3, operations=["LEAK"])
    learnt(shop)
    answer = send(owner, PAGE, f"{PAGE}/accept", take=["LEAK", "NONE"], way="100")

    assert answer.status_code == 422
    assert "Nothing was learnt of NONE" in answer.text
    assert not any(row.draft for row in shop.rows(RateEdition))


def test_an_operation_chosen_twice_is_taken_once(shop, owner):
    done(shop, 60, number=12, operations=["LEAK"])
    learnt(shop)
    answer = send(owner, PAGE, f"{PAGE}/accept", take=["LEAK", "LEAK"], way="50")
    assert answer.status_code == 303, answer.text


def test_a_changeover_is_written_down_and_shown(shop, owner):
    answer = send(
        owner, PAGE, f"{PAGE}/changeover", what="new seat machine", operation="SCUT"
    )
    assert answer.status_code == 303
    [row] = shop.rows(Changeover)
    assert (row.operations, row.what) == ("SCUT", "new seat machine")
    assert "new seat machine (Cut seats)" in owner.get(PAGE).text
    assert send(owner, PAGE, f"{PAGE}/changeover", what="x").status_code == 422


def test_a_changeover_of_work_that_the_tables_do_not_hold_is_refused(shop, owner):
    typed = {"what": "new seat machine", "operation": ["SCUT", "x" * 200]}
    answer = send(owner, PAGE, f"{PAGE}/changeover", **typed)

    assert answer.status_code == 422
    assert "The tables hold no operation xxx" in answer.text
    assert 'value="new seat machine"' in answer.text
    assert shop.rows(Changeover) == []


@pytest.mark.parametrize("confidence", ["", "abc", "33", "-80", "1e1"])
def test_a_confidence_that_is_not_offered_changes_nothing(shop, owner, confidence):
    send(owner, PAGE, f"{PAGE}/choose", confidence="80")
    answer = send(owner, PAGE, f"{PAGE}/choose", confidence=confidence)

    assert answer.status_code == 422
    with shop.database.reading() as session:
        assert learning.chosen(session)[0] == 80


def test_people_are_shown_to_the_owner_until_that_is_switched_off(shop, owner):
    done(shop, round(book(shop)), number=3)
    learnt(shop)
    assert "Test Person: x" in owner.get(PAGE).text
    send(owner, PAGE, f"{PAGE}/choose", confidence="0")
    text = owner.get(PAGE).text
    assert "Test Person" not in text


# What was foretold, and what came.


def test_what_was_foretold_stands_beside_what_it_took(shop, owner):
    done(shop, round(book(shop)), number=3)
    learnt(shop)
    customer = shop.customer()
    key = shop.yes(shop.quote(("", FOUR), customer_id=customer))
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        own_record.foretell(session, quote.revisions[-1])
        order = orders.book_in(session, quote, orders.BookedIn(), shop.now)
        bench.clock(session, order, Decimal(round(book(shop) * 3)), shop.now)
        orders.move(session, order, order.version, OrderMove.MAKE_READY, shop.now)
    [row] = shop.rows(Foretold)
    assert row.learning_id == 1

    with shop.database.reading() as session:
        [job] = own_record.came(session)
    assert job.foretold["p10"] < job.foretold["p90"] < job.minutes
    text = owner.get("/rates/record").text
    assert "0 of 1 job stayed inside the range that should hold 80%" in text
    assert "too few jobs to judge by" in text


def test_ranges_that_hold_too_seldom_are_said_to_be_too_narrow():
    """Of 40 jobs 32 should hold 80 %; 2 sds of chance are 5.06, so 26 are too few."""
    assert own_record.Coverage(40, 26, 0.8).too_narrow
    assert not own_record.Coverage(40, 27, 0.8).too_narrow
    assert not own_record.Coverage(10, 2, 0.8).too_narrow


# The phone.


def told(browser, said=FOUR):
    text = browser.client.post(
        "/phone/range",
        data={"form_token": token(browser), "said": said},
        headers={"X-Live": "1"},
    ).text
    return html.fromstring(text).text_content()


def token(browser):
    page = browser.get("/phone").text
    return re.search(r'name="form_token" value="([^"]+)"', page)[1]


WORN = {"guides-worn": (16, 4), "bowed": (1, 0)}
SOUND = {"guides-worn": (16, 0), "bowed": (1, 0)}


def test_the_caller_is_told_what_may_come_on_top_in_raw_counts(shop, at):
    done(shop, 300, number=4, found=WORN)
    done(shop, 300, number=8, found=SOUND)
    learnt(shop)
    text = told(at("counter"))

    assert "Guides worn" in text
    assert "4 of your 12 such jobs" in text
    assert "Condemned at the test" in text
    assert "0 of your 12 such jobs" in text
    assert "%" not in text


def test_nothing_is_claimed_of_what_too_few_jobs_were_inspected_for(shop, at):
    done(shop, 300, number=3, found=WORN)
    learnt(shop)
    text = told(at("counter"))

    assert "Too few jobs were inspected to say anything of" in text
    assert "guides worn (3)" in text
    assert "of your 3" not in text


def test_minutes_are_told_to_the_owner_alone(shop, at):
    done(shop, 300, number=12, found=SOUND)
    learnt(shop)
    assert "For you:" in told(at("owner"))
    assert "For you:" not in told(at("counter"))


def test_a_shop_that_learnt_nothing_says_nothing(at):
    assert told(at("counter")).strip() == ""


def test_without_a_script_the_range_stands_on_the_page(shop, at):
    done(shop, 300, number=12, found=SOUND)
    learnt(shop)
    counter = at("counter")
    page = counter.client.post(
        "/phone/price", data={"form_token": token(counter), "said": FOUR}
    ).text
    assert "What it may come to" in page


def test_timed_work_is_priced_as_sure_as_the_owner_wants(shop, owner):
    """Blending bowls is priced by time: at 90 % it is dearer than by the book."""
    done(shop, 300, number=12)
    learnt(shop)
    said = "16v twin cam blend bowls"

    def price():
        page = owner.client.post(
            "/phone/price", data={"form_token": token(owner), "said": said}
        ).text
        return Decimal(html.fromstring(page).xpath("//*[@class='big']")[0].text[1:])

    before = price()
    send(owner, PAGE, f"{PAGE}/choose", confidence="90", by_machinist="1")
    assert price() > before
