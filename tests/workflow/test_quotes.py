"""A call, saved: numbered, revised, said yes to, and told in the trail."""

from decimal import Decimal

import pytest
from shop import DAY, now

from quoting.domain.consent import Consent, How
from quoting.domain.errors import RuleError
from quoting.domain.job import Override
from quoting.domain.life import IllegalMoveError, QuoteMove
from quoting.domain.pricing import price
from quoting.store import audit
from quoting.workflow import quotes
from quoting.workflow.search import search

CALL = "v6 24v x2 overheated"


def yes(shop, quote_id, place=1, days=0, **more):
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, quote_id)
        consent = Consent("Osgood", How.PHONE, **more)
        return quotes.accept(
            session, quote, quote.version, place, consent, now().at, now(days=days)
        ).up_to


def test_a_saved_call_has_a_number_a_last_day_and_the_price_that_was_told(shop):
    key = shop.save(CALL, caller="Osgood")
    with shop.database.reading() as session:
        quote = quotes.quote_of(session, key)
        [way] = quote.revisions[0].ways
        told = price(shop.edition, shop.job(CALL), DAY).totals

        assert (quote.number, quote.state) == ("Q-00001", "offered")
        assert (quote.valid_until - DAY).days == shop.edition.shop.validity_days
        assert shop.edition.currency.from_minor(way.total) == told.total
        assert sum(line.net for line in way.lines) == way.net


def test_quotes_are_numbered_one_after_the_other(shop):
    keys = [shop.save(CALL) for _ in range(3)]
    with shop.database.reading() as session:
        numbers = [quotes.quote_of(session, key).number for key in keys]

    assert numbers == ["Q-00001", "Q-00002", "Q-00003"]


def test_a_kept_alternative_is_priced_again_to_the_same_cent(shop):
    key = shop.save("v6 24v x2 overheated", "v6 12v x2 overheated, call it 900 all in")
    with shop.database.reading() as session:
        revision = quotes.quote_of(session, key).revisions[0]
        again = quotes.ways_of(session, revision)

        for way, kept in zip(again, revision.ways, strict=True):
            assert shop.edition.currency.to_minor(way.priced.totals.total) == kept.total
        assert again[1].priced.totals.total == Decimal(900)


def test_what_two_people_change_at_once_is_seen_by_the_second_and_loses_nothing(shop):
    key = shop.save(CALL)
    with shop.database.reading() as session:
        seen = quotes.quote_of(session, key).version
    ways = [quotes.Asked("", shop.job(f"{CALL}, skim 0.2 mm"))]
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        quotes.revise(session, quote, seen, quotes.About(), ways, now("Ben"))
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        with pytest.raises(quotes.ChangedMeanwhileError, match="Ben saved Q-00001"):
            quotes.revise(session, quote, seen, quotes.About(), ways, now("Ada"))
    with shop.database.reading() as session:
        assert [r.number for r in quotes.quote_of(session, key).revisions] == [1, 2]


def test_a_revision_leaves_what_was_offered_before_as_it_was(shop):
    key = shop.save(CALL)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        before = [line.net for line in quote.revisions[0].ways[0].lines]
        dearer = [quotes.Asked("", shop.job("v6 24v x2 overheated, guides exhaust"))]
        quotes.revise(session, quote, quote.version, quotes.About(), dearer, now())
    with shop.database.reading() as session:
        first, second = quotes.quote_of(session, key).revisions

        assert [line.net for line in first.ways[0].lines] == before
        assert second.ways[0].total > first.ways[0].total


def test_a_yes_names_its_alternative_and_holds_up_to_its_total(shop):
    key = shop.save("v6 24v x2 overheated", "v6 12v x2 overheated")
    up_to = yes(shop, key, place=2)
    with shop.database.reading() as session:
        quote = quotes.quote_of(session, key)
        [approval] = quotes.approvals(session, quote)

        assert quote.state == "accepted"
        assert (approval.way.place, approval.how) == (2, "by phone")
        assert up_to == quote.revisions[0].ways[1].total


def test_a_lapsed_quote_needs_the_owner_by_name_or_a_new_revision(shop):
    key = shop.save(CALL)
    with pytest.raises(IllegalMoveError, match="lapsed"):
        yes(shop, key, days=400)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        quotes.accept(
            session, quote, quote.version, 1, Consent("Osgood", How.PHONE), now().at,
            now(days=400), despite=Override("Ada Tallow", "an old customer"),
        )  # fmt: skip
    with shop.database.reading() as session:
        story = audit.story(session, "quote", key)
        assert story[-1].why == "Ada Tallow: an old customer"


def test_an_alternative_that_is_not_there_cannot_be_accepted(shop):
    key = shop.save(CALL)
    with pytest.raises(quotes.NoSuchWayError, match="no alternative 2"):
        yes(shop, key, place=2)
    with shop.database.reading() as session:
        assert quotes.quote_of(session, key).state == "offered"


def test_nothing_is_saved_of_a_call_that_asks_for_nothing(shop):
    with shop.database.transaction() as session, pytest.raises(RuleError):
        quotes.save(session, quotes.About(), [], now())
    assert shop.save(CALL) is not None
    with shop.database.reading() as session:
        [hit] = search(session, "q1")
        assert hit.number == "Q-00001"


def test_the_trail_tells_who_did_what_in_order(shop):
    key = shop.save(CALL)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        decline = QuoteMove.DECLINE
        quotes.move(session, quote, quote.version, decline, now("Ben"), why="dear")
    with shop.database.reading() as session:
        story = audit.story(session, "quote", key)

        assert [(e.who, e.what, e.why) for e in story] == [
            ("Ada Tallow", "quote saved", ""),
            ("Ben", "quote: decline", "dear"),
        ]
        assert audit.broken(session) is None


@pytest.mark.parametrize(
    "typed",
    ["Osgo", "osgood 24", "07700", "9001 23", "W12 ABC", "w12abc", "PO-77", "q-1"],
)
def test_a_quote_is_found_by_the_beginning_of_any_of_its_words(shop, typed):
    key = shop.save(
        CALL, caller="Zoë Osgood", phone="07700 900123", registration="W12 ABC",
        order_number="PO-77", engine="24 valve V6",
    )  # fmt: skip
    shop.save("16v skim", caller="Somebody Else", phone="0161 4960000")
    with shop.database.reading() as session:
        assert [hit.id for hit in search(session, typed)] == [key]
