"""From a yes to handing over, on both databases."""

import hashlib
from dataclasses import replace
from datetime import timedelta
from decimal import ROUND_DOWN, Decimal

import pytest
from shop import DAY, now

from quoting.domain.consent import Consent, How
from quoting.domain.life import (
    IllegalMoveError,
    OrderMove,
    WaitsFor,
)
from quoting.papers.html import Paper
from quoting.store import audit
from quoting.store.models import PaperMade
from quoting.workflow import issuing, orders, quotes
from quoting.workflow.orders import BookedIn, HeadCame
from quoting.workflow.today import today

PAIR = "v6 24v x2 overheated"


@pytest.fixture
def accepted(shop):
    """Return a customer's quote of two heads that was said yes to."""
    key = shop.save(PAIR, customer=shop.customer("Osgood & Daughters Garage"))
    say_yes(shop, key)
    return key


def say_yes(shop, key, days=0):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent("Osgood", How.IN_PERSON)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now(days=days))


def book_in(shop, key, *heads, days=0, **came):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        return orders.book_in(
            session, quote, BookedIn(heads, **came), now(days=days)
        ).id


def move(shop, key, *moves, days=0, **more):
    for step in moves:
        with shop.database.transaction() as session:
            order = orders.order_of(session, key)
            orders.move(session, order, order.version, step, now(days=days), **more)


def test_a_pair_is_booked_in_with_a_tag_and_a_place_for_each_head(shop, accepted):
    left = HeadCame("A", came_with="8 cam caps", stands="shelf 3", casting="tl 48-1")
    key = book_in(shop, accepted, left, HeadCame("B", stands="tray 4"))
    with shop.database.reading() as session:
        order = orders.order_of(session, key)

        assert (order.number, order.state) == ("W-00001", "booked in")
        assert [(h.tag, h.stands, h.casting) for h in order.heads] == [
            ("A", "shelf 3", "TL481"),
            ("B", "tray 4", ""),
        ]
        assert [step.place for step in order.steps] == sorted(
            step.place for step in order.steps
        )
        assert any(step.gate for step in order.steps)


def test_heads_are_not_booked_in_without_a_yes_or_without_knowing_whose_they_are(shop):
    nobodys = shop.save(PAIR)
    with pytest.raises(orders.NoYesError, match="not accepted"):
        book_in(shop, nobodys)
    say_yes(shop, nobodys)
    with pytest.raises(orders.WhoseHeadsError):
        book_in(shop, nobodys)


def test_the_same_heads_are_not_booked_in_twice_and_no_number_is_lost(shop, accepted):
    book_in(shop, accepted)
    with pytest.raises(orders.AlreadyBookedInError, match="W-00001"):
        book_in(shop, accepted)
    other = shop.save("16v skim", customer=shop.customer("Figtree Motors"))
    say_yes(shop, other)
    key = book_in(shop, other)
    with shop.database.reading() as session:
        assert orders.order_of(session, key).number == "W-00002"


def test_a_job_goes_its_way_to_the_customer_and_the_trail_tells_it(shop, accepted):
    key = book_in(shop, accepted)
    move(shop, key, OrderMove.START)
    move(shop, key, OrderMove.MAKE_READY, OrderMove.TELL, days=4)
    move(shop, key, OrderMove.COLLECT, days=6, collected_by="Ida Osgood")
    with shop.database.reading() as session:
        order = orders.order_of(session, key)

        assert order.state == "collected"
        assert order.ready == order.told == DAY + timedelta(days=4)
        assert (order.collected, order.collected_by) == (
            DAY + timedelta(days=6),
            "Ida Osgood",
        )
        assert order.waits_for == ""
        assert [entry.new for entry in audit.story(session, "order", key)][1:] == [
            "on the bench", "ready", "ready", "collected",
        ]  # fmt: skip


def test_what_was_never_on_the_bench_is_not_handed_over_by_itself(shop, accepted):
    key = book_in(shop, accepted)
    with pytest.raises(IllegalMoveError, match="booked in"):
        move(shop, key, OrderMove.COLLECT)
    with shop.database.reading() as session:
        assert orders.order_of(session, key).state == "booked in"


def test_today_names_what_waits_and_what_nobody_was_told(shop, accepted):
    with shop.database.reading() as session:
        assert [quote.id for quote in today(session, DAY).came] == [accepted]
    key = book_in(shop, accepted)
    with shop.database.transaction() as session:
        order = orders.order_of(session, key)
        orders.wait(session, order, order.version, WaitsFor.PARTS, "due Friday", now())
    with shop.database.reading() as session:
        [waiting] = today(session, DAY).waiting
        assert (waiting.waits_for, waiting.waits_since) == ("parts", DAY)
    move(shop, key, OrderMove.MAKE_READY, days=1)
    with shop.database.reading() as session:
        later = today(session, DAY + timedelta(days=1))
        assert [order.id for order in later.ready] == [key]
    move(shop, key, OrderMove.TELL, days=1)
    with shop.database.reading() as session:
        much_later = today(session, DAY + timedelta(days=30))
        assert much_later.ready == []
        assert [order.id for order in much_later.uncollected] == [key]


def test_what_changed_since_the_yes_adds_up_to_the_difference(shop, accepted):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, accepted)
        assert orders.changed_since_yes(session, quote) is None
        more = [quotes.Asked("", shop.job(f"{PAIR}, guides exhaust"))]
        about = quotes.about(quote)
        quotes.revise(session, quote, quote.version, about, more, now(), why="worn")
    with shop.database.reading() as session:
        quote = quotes.quote_of(session, accepted)
        changed = orders.changed_since_yes(session, quote)
        before, after = (revision.ways[0] for revision in quote.revisions)
        cents = shop.edition.currency.to_minor
        assert quote.state == "accepted"
        assert sum(cents(one.amount) for one in changed.lines) == after.net - before.net


def reach_of(shop, key):
    with shop.database.reading() as session:
        return orders.reach(session, quotes.quote_of(session, key))


def agreed(shop, key):
    """Return net and total of what was said yes to."""
    with shop.database.reading() as session:
        way = orders.latest_yes(session, quotes.quote_of(session, key)).way
        return Decimal(way.net) / 100, Decimal(way.total) / 100


def revise(shop, key, words):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        ways = [quotes.Asked("", shop.job(words))]
        about = quotes.about(quote)
        revision = quotes.revise(session, quote, quote.version, about, ways, now())
        return Decimal(revision.ways[0].net) / 100


def test_work_may_exceed_a_yes_by_what_the_shops_rule_says(shop, accepted):
    """The invented shop's: a tenth of it before tax, and never more than 50.00."""
    net, _ = agreed(shop, accepted)
    assert net > 500

    reach = reach_of(shop, accepted)

    assert (reach.limit, reach.comes_to, reach.over) == (net + 50, net, 0)
    assert reach.before_tax


def test_a_customers_terms_take_the_place_of_the_shops_rule(shop):
    """FLEET of the invented shop: 15 per cent of the yes, before tax, and no cap."""
    terms = shop.edition.terms["FLEET"]
    asked = quotes.Asked("", replace(shop.job(PAIR), terms=terms))
    with shop.database.transaction() as session:
        key = quotes.save(session, quotes.About(), [asked], now(), said=PAIR).id
    say_yes(shop, key)
    net, _ = agreed(shop, key)

    more = (net * Decimal("0.15")).quantize(Decimal("0.01"), ROUND_DOWN)

    assert reach_of(shop, key).limit == net + more > net + 50


def test_nothing_may_be_charged_before_a_yes(shop):
    assert reach_of(shop, shop.save(PAIR)) is None


def test_what_a_customer_allows_for_every_job_is_compared_before_tax(shop):
    """Allowed with tax, so its share before tax: up to x net / total, rounded down."""
    customer = shop.customer("Brook Farm Engines", up_to=150_000)
    key = shop.save(PAIR, customer=customer)
    say_yes(shop, key)
    net, total = agreed(shop, key)

    share = (1500 * net / total).quantize(Decimal("0.01"), ROUND_DOWN)

    assert net + 50 < share
    assert reach_of(shop, key).limit == share


def test_what_is_allowed_for_this_job_goes_before_what_is_for_every_job(shop):
    customer = shop.customer("Brook Farm Engines", up_to=150_000)
    key = shop.save(PAIR, customer=customer)
    say_yes(shop, key)
    net, _ = agreed(shop, key)

    book_in(shop, key, up_to=100)

    assert reach_of(shop, key).limit == net


def test_a_revision_within_reach_needs_no_yes_and_one_beyond_it_says_by_how_much(
    shop, accepted
):
    net, _ = agreed(shop, accepted)

    near = revise(shop, accepted, f"{PAIR}, test springs")
    assert net < near <= net + 50
    assert (reach_of(shop, accepted).comes_to, reach_of(shop, accepted).over) == (
        near, 0,
    )  # fmt: skip

    far = revise(shop, accepted, f"{PAIR}, guides exhaust")
    assert reach_of(shop, accepted).over == far - net - 50 > 0


def test_a_sale_over_the_counter_is_no_heads_that_are_awaited(shop, accepted):
    with shop.database.transaction() as session:
        quotes.quote_of(session, accepted).over_the_counter = True
    with shop.database.reading() as session:
        assert today(session, DAY).came == []


def test_nobody_is_rung_back_for_an_offer_that_lapsed_since(shop):
    key = shop.save(PAIR, call_back=DAY)
    validity = shop.edition.shop.validity_days

    def to_call(days):
        with shop.database.reading() as session:
            return [q.id for q in today(session, DAY + timedelta(days=days)).to_call]

    assert to_call(0) == to_call(validity) == [key]
    assert to_call(validity + 1) == []
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        day = DAY + timedelta(days=validity + 3)
        quotes.call_back(session, quote, day, now())
    assert to_call(validity + 2) == []
    assert to_call(validity + 3) == [key]


@pytest.mark.needs_pdf
def test_a_reprint_is_the_file_that_was_kept(shop, accepted):
    paper = Paper("<html lang='en'><title>Slip</title><p>Slip</p>", "Slip", DAY)
    with shop.database.transaction() as session:
        key = issuing.issue(
            session, paper, kind="slip", number="W-00001", quote_id=accepted,
            at=now().at, who="Ada",
        )  # fmt: skip
    first = issuing.file_of(shop.database, key)
    again = issuing.file_of(shop.database, key)

    assert first == again
    assert first.pdf.startswith(b"%PDF")
    assert hashlib.sha256(first.pdf).hexdigest() == first.sha256


@pytest.mark.needs_pdf
def test_a_paper_whose_program_was_lost_is_finished_from_what_is_kept(shop, accepted):
    paper = Paper("<html lang='en'><title>Slip</title><p>Slip</p>", "Slip", DAY)
    with shop.database.transaction() as session:
        key = issuing.issue(
            session, paper, kind="slip", number="W-00001", quote_id=accepted,
            at=now().at, who="Ada",
        )  # fmt: skip

    assert issuing.finish(shop.database) == 1
    assert issuing.finish(shop.database) == 0
    with shop.database.reading() as session:
        kept = session.get(PaperMade, key)
        assert kept.pdf.startswith(b"%PDF")
        assert kept.sha256 == hashlib.sha256(kept.pdf).hexdigest()
