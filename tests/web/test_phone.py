"""What the owner gets while the caller waits."""

import json
import re
from decimal import Decimal
from html import unescape

import pytest
from at_the_counter import Shop
from sqlalchemy import event, select

from quoting.domain.job import Override
from quoting.domain.phrase import say
from quoting.domain.pricing import price
from quoting.files import job_document
from quoting.store.models import PartPrice, Quote
from quoting.workflow import quotes, rates

CALL = "v6 24v x2 overheated"


@pytest.fixture
def phone(at):
    """Return the owner's browser, and a short way to price."""
    browser = at("owner")

    def priced(address="/phone/price", *, live=False, **fields):
        text = browser.get("/phone").text
        tokens = {
            "form_token": re.search(r'name="form_token" value="([^"]+)"', text)[1],
            "once": re.search(r'name="once" value="([^"]+)"', text)[1],
        }
        headers = {"X-Live": "1"} if live else {}
        return browser.client.post(address, data={**tokens, **fields}, headers=headers)

    priced.browser = browser
    return priced


@pytest.fixture
def edition(database, clock):
    with database.reading() as session:
        return rates.in_force(session, clock().date()).edition


def figure(text):
    """Return the one big figure of a page."""
    return Decimal(re.search(r'class="big">£([\d,.]+)<', text)[1].replace(",", ""))


def the_job(edition, words):
    [candidate] = say(words, edition).candidates
    return candidate.job


def told(edition, words, clock):
    return price(edition, the_job(edition, words), clock().date()).totals


def saved(database):
    with database.reading() as session:
        return list(session.scalars(select(Quote)))


def test_a_call_is_priced_to_the_cent_of_the_calculation(phone, edition, clock):
    page = phone(said=CALL)

    assert figure(page.text) == told(edition, CALL, clock).total


def test_the_script_gets_the_parts_that_changed_and_nothing_else(phone):
    page = phone(said=CALL, live=True)

    assert page.status_code == 200
    assert "<html" not in page.text
    assert set(re.findall(r'data-live="(\w+)"', page.text)) == {
        "heard", "tell", "work", "head", "matches",
    }  # fmt: skip


def test_what_the_tax_hangs_on_is_asked_during_the_call(phone, database, edition):
    page = phone(said=CALL, tax_asked="1").text
    assert "Is it delivered outside the state or country" in page
    assert figure(page) > Decimal(re.search(r"£([\d,.]+) before tax", page)[1])

    outside = {"said": CALL, "tax_asked": "1", "tax_yes": "delivery_outside"}
    page = phone(**outside).text
    assert "It came for the work and leaves the country again" in page
    assert "no tax is charged" in page
    assert 'value="delivery_outside" checked' in page

    aside = phone(**outside, **{"aside-GB-EXPORT": "no proof of it"}).text
    assert "no tax is charged" not in aside
    assert 'name="aside-GB-EXPORT" value="no proof of it"' in aside

    phone("/phone/save", **outside, **{"aside-GB-EXPORT": "no proof of it"})
    [quote] = saved(database)
    with database.reading() as session:
        job = job_document.read(quotes.job_text(session, quote.id), edition)
    assert job.answers == ("delivery_outside",)
    assert job.aside == {"GB-EXPORT": Override("Olive Owner", "no proof of it")}
    again = phone.browser.get(f"/phone/revise/{quote.id}").text
    assert 'value="delivery_outside" checked' in again
    assert 'value="no proof of it"' in again


def test_half_a_description_shows_the_candidates_side_by_side(phone):
    page = phone(said="v6 x2 overheated")

    assert "Which head is it?" in page.text
    assert len(re.findall(r'class="candidate"', page.text)) >= 2


def test_picking_a_candidate_prices_that_one(phone, edition, clock):
    page = phone(said="v6 x2 overheated", layout="L08")

    assert figure(page.text) == told(edition, CALL, clock).total


def test_what_could_not_be_placed_is_shown_word_for_word(phone):
    page = phone(said=f"{CALL}, frobnicate it")

    assert "<mark>frobnicate" in page.text


def test_the_next_key_prices_by_the_part_price_that_came_meanwhile(
    phone, database, edition, clock
):
    before = figure(phone(said=CALL, live=True).text)
    part = next(
        line.code
        for line in price(edition, the_job(edition, CALL), clock().date()).lines
        if line.kind == "part"
    )
    with database.transaction() as session:
        session.add(
            PartPrice(
                part=part, valid_from=clock().date(), price=1_000_000, currency="GBP",
                supplier="",
            )
        )  # fmt: skip
    after = figure(phone(said=CALL, live=True).text)

    assert after >= before + 10_000


def test_the_next_key_knows_the_answer_that_was_changed_meanwhile(phone, database):
    said = "16v frobnicate"
    told = []
    for codes in ("SKIM", "WASH"):
        with database.transaction() as session:
            quotes.remember_answer(session, "frobnicate", codes)
        told.append(phone(said=said, live=True).text)

    assert ["own-SKIM" in told[0], "own-SKIM" in told[1]] == [True, False]
    assert "own-WASH" in told[1]


def test_what_is_left_out_costs_nothing_and_can_be_put_back(phone, edition, clock):
    whole = phone(said=CALL).text
    less = phone(said=CALL, out="STRP").text
    lines = told(edition, CALL, clock)

    assert figure(less) < figure(whole) == lines.total
    assert 'name="out" value="STRP" checked' in less


def test_an_own_price_replaces_the_list_price_of_its_line(phone):
    less = phone(said="16v skim", **{"own-SKIM": "40.00"}).text

    assert re.search(r"£40\.00", less)
    assert 'name="own-SKIM" inputmode="decimal" value="40.00"' in less


def test_call_it_brings_all_of_it_to_the_figure(phone):
    assert figure(phone(said=CALL, call_it="900").text) == Decimal(900)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("call_it", "9oo", "is no figure here"),
        ("call_it", "1,2", "is no figure here"),
        ("call_it", "12.345", "finer than the smallest coin"),
        ("heads", "many", "1 to 26"),
        ("heads", "9" * 5000, "1 to 26"),
        ("arrives", "tomorrow", "2026-12-24"),
        ("own-SKIM", "-5", "neither negative nor endless"),
    ],
)
def test_what_cannot_be_read_is_said_and_stays_as_typed(phone, field, typed, said):
    page = phone(said="16v skim", **{field: typed})

    assert said in page.text
    assert f'value="{typed}"' in page.text


def test_a_saved_call_is_a_numbered_quote_at_the_price_that_was_told(
    phone, database, edition, clock
):
    page = phone("/phone/save", said=CALL, caller="Osgood", do="offered")

    assert page.status_code == 303
    [row] = saved(database)
    with database.reading() as session:
        quote = quotes.quote_of(session, row.id)
        [way] = quote.revisions[0].ways
        assert (quote.number, quote.state, quote.caller) == (
            "Q-00001", "offered", "Osgood",
        )  # fmt: skip
        assert way.total == edition.currency.to_minor(told(edition, CALL, clock).total)


def test_a_double_click_saves_one_quote_and_leads_to_it_twice(at, database):
    browser = at("owner")
    text = browser.get("/phone").text
    fields = {
        "form_token": re.search(r'name="form_token" value="([^"]+)"', text)[1],
        "once": re.search(r'name="once" value="([^"]+)"', text)[1],
        "said": CALL,
    }
    first = browser.client.post("/phone/save", data=fields)
    second = browser.client.post("/phone/save", data=fields)

    assert first.status_code == second.status_code == 303
    assert first.headers["Location"] == second.headers["Location"]
    assert len(saved(database)) == 1


def test_nothing_is_saved_while_the_head_is_open_and_what_was_typed_stays(
    phone, database
):
    page = phone("/phone/save", said="v6 x2 overheated", caller="Zoë & Søn")

    assert page.status_code == 422
    assert "choose which head it is" in page.text
    assert 'value="Zoë &amp; Søn"' in page.text
    assert saved(database) == []


def test_a_draft_is_kept_back(phone, database):
    phone("/phone/save", said=CALL, do="draft")

    assert [row.state for row in saved(database)] == ["draft"]


def test_two_ways_stand_side_by_side_in_one_quote(phone, database):
    kept = phone("/phone/keep", said=CALL, label="repair").text
    way = re.search(r'name="way" value="([^"]+)"', kept)[1]
    base = re.search(r'name="base" value="([^"]*)"', kept)[1]
    page = phone(
        "/phone/save", said="guides exhaust", label="with guides",
        way=unescape(way), base=unescape(base),
    )  # fmt: skip

    assert page.status_code == 303
    with database.reading() as session:
        quote = quotes.quote_of(session, 1)
        first, second = quote.revisions[0].ways
        assert (first.label, second.label) == ("repair", "with guides")
        assert second.total > first.total


def test_a_revision_keeps_its_number_and_counts_up(phone, at, database):
    phone("/phone/save", said=CALL)
    browser = at("counter")
    text = browser.get("/phone/revise/1").text
    fields = {
        name: unescape(re.search(rf'name="{name}" value="([^"]*)"', text)[1])
        for name in ("form_token", "once", "base", "quote", "version")
    }
    page = browser.client.post(
        "/phone/save", data={**fields, "said": "guides exhaust", "why": "worn"}
    )

    assert page.status_code == 303
    with database.reading() as session:
        quote = quotes.quote_of(session, 1)
        before, after = quote.revisions
        assert quote.number == "Q-00001"
        assert after.ways[0].total > before.ways[0].total


def test_the_second_to_save_a_revision_is_told_and_loses_nothing(phone, at):
    phone("/phone/save", said=CALL)
    browser = at("counter")
    text = browser.get("/phone/revise/1").text
    fields = {
        name: unescape(re.search(rf'name="{name}" value="([^"]*)"', text)[1])
        for name in ("form_token", "base", "quote", "version")
    }
    browser.client.post("/phone/save", data={**fields, "once": "a", "said": "skim"})
    page = browser.client.post(
        "/phone/save", data={**fields, "once": "b", "said": "my own words"}
    )

    assert page.status_code == 409
    assert "Colin Counter saved Q-00001" in page.text
    assert 'value="my own words"' in page.text


def test_cost_is_for_the_owner_only(phone, at):
    browser = at("counter")
    token = browser.token("/phone")
    theirs = browser.client.post(
        "/phone/price", data={"form_token": token, "said": CALL}
    )

    assert "Cost and margin" in phone(said=CALL).text
    assert "Cost and margin" not in theirs.text


def test_same_as_last_time_begins_with_that_job(phone, edition, clock):
    phone("/phone/save", said=CALL, casting="048 103-373")
    before = phone(said="", casting="048103373").text
    again = phone("/phone/again/1", said="", casting="048103373").text

    assert "Same as last time" in before
    assert figure(again) == told(edition, CALL, clock).total


@pytest.mark.parametrize(
    "typed",
    [
        "<script>alert(1)</script>",
        "\u202eabc",
        "\U0001d54f" * 500,
        "'; DROP TABLE quotes; --",
        "{{7*7}}",
    ],
)  # fmt: skip
def test_nothing_that_is_typed_does_any_harm(phone, typed):
    page = phone(said=f"16v skim, {typed}", caller=typed, label=typed)

    assert page.status_code == 200
    assert "<script>alert" not in page.text
    assert "49" not in re.findall(r'name="caller" value="(\d*)"', page.text)


def test_a_base_that_was_tampered_with_is_refused_in_words(phone):
    for text in ("{", "[]", json.dumps({"heads": [{"layout": "NONE"}]}), "x" * 5000):
        page = phone(said="16v skim", base=text)
        assert page.status_code == 200
        assert 'href="#base"' in page.text


@pytest.mark.parametrize(
    ("field", "sent", "said"),
    [
        ("customer_id", "999", "pick who calls again"),
        ("customer_id", "none", "pick who calls again"),
        ("customer_id", "9" * 5000, "pick who calls again"),
        ("way", "repair", "Kept before and no more: repair."),
        ("way", "repair\n{}", "Kept before and no more: repair."),
        ("way", 'repair\n{"heads": [{"layout": "NONE"}]}', "NONE"),
        ("quote", "none", "No quote is revised here"),
    ],
)
@pytest.mark.parametrize("address", ["/phone/price", "/phone/keep", "/phone/save"])
def test_a_hidden_field_that_was_tampered_with_gives_the_form_back(
    phone, database, address, field, sent, said
):
    page = phone(address, said=CALL, caller="Osgood", **{field: sent})

    assert page.status_code == (200 if address == "/phone/price" else 422)
    assert said in unescape(page.text)
    assert f'value="{CALL}"' in page.text
    assert 'name="caller" value="Osgood"' in page.text
    assert f'name="{field}" value="{sent}"' not in unescape(page.text)
    assert saved(database) == []


def test_a_quote_that_is_not_on_record_is_not_revised(phone):
    page = phone("/phone/save", said=CALL, quote="999", version="1")

    assert page.status_code == 404
    assert f'value="{CALL}"' in page.text


@pytest.mark.parametrize("version", ["", "none", "-1", "9" * 5000])
def test_a_revision_without_its_version_is_not_saved_over_another(
    phone, database, version
):
    phone("/phone/save", said=CALL)
    page = phone("/phone/save", said="16v skim", quote="1", version=version)

    assert page.status_code == 409
    with database.reading() as session:
        assert len(quotes.quote_of(session, 1).revisions) == 1


def test_where_the_disk_is_full_a_clear_page_keeps_what_was_typed(at, database):
    browser = at("owner")
    text = browser.get("/phone").text
    database.engine.dispose()

    @event.listens_for(database.engine, "connect")
    def limit(connection, _entry):
        [pages] = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")

    page = browser.client.post(
        "/phone/save",
        data={
            "form_token": re.search(r'name="form_token" value="([^"]+)"', text)[1],
            "once": "one",
            "said": CALL,
            "caller": "Zoë",
            "free_what": [f"Line {number}" for number in range(200)],
            "free_amount": ["1.50"] * 200,
        },
    )

    assert page.status_code == 503
    assert "the disk is full" in page.text
    assert f'value="{CALL}"' in page.text
    assert 'value="Line 199"' in page.text
    assert saved(database) == []


def test_a_quote_of_two_hundred_lines_is_priced_saved_and_shown(phone, at, database):
    rows = {f"free_{name}": [] for name in ("what", "amount")}
    for number in range(200):
        rows["free_what"].append(
            f"Line {number}, \U0001f527 \u0627\u0644\u0639\u0645\u0644"
        )
        rows["free_amount"].append("1.50")
    page = phone(
        "/phone/save", said="16v skim", caller="\u0648\u0631\u0634\u0629", **rows
    )

    assert page.status_code == 303
    shown = at("counter").get(page.headers["Location"])
    assert shown.status_code == 200
    assert "Line 199" in shown.text
    with database.reading() as session:
        [way] = quotes.quote_of(session, 1).revisions[0].ways
        assert sum(line.net for line in way.lines) == way.net
        assert len([line for line in way.lines if line.kind == "free"]) == 200


def test_who_would_owe_more_than_their_limit_is_named_while_they_call(
    phone, database, clock
):
    """Owed: 2,000.00 and 18.5 % tax, 2,370.00; the limit of TRADE10 is 2,500.00.

    A job called 130.00 all in makes it 2,500.00, one of 130.01 makes it too much.
    """
    shop = Shop(database, clock)
    customer = shop.customer(terms="TRADE10")
    shop.owes("2000.00", customer)
    call = {"said": CALL, "customer_id": str(customer)}

    within = phone(**call, call_it="130.00").text
    beyond = phone(**call, call_it="130.01", live=True).text

    assert "than the limit" not in within
    assert (
        "Brook Farm Engines owes £2,370.00 and would owe £2,500.01 with this, more "
        "than the limit of £2,500.00."
    ) in beyond
    assert "heads will not be handed over without the owner" in beyond

    kept = phone("/phone/save", **call, call_it="130.01")
    page = phone.browser.get(kept.location).text
    assert "would owe £2,500.01 with this" in page


def test_who_owes_too_much_already_is_named_before_anything_is_asked(
    phone, database, clock
):
    """2,200.00 and 18.5 % tax are 2,607.00."""
    shop = Shop(database, clock)
    customer = shop.customer(terms="TRADE10")
    shop.owes("2200.00", customer)

    page = phone(customer_id=str(customer)).text

    assert (
        "Brook Farm Engines owes £2,607.00, more than the limit of £2,500.00." in page
    )


def test_nothing_is_said_of_a_limit_that_the_terms_do_not_name(phone, database, clock):
    shop = Shop(database, clock)
    customer = shop.customer()
    shop.owes("20000.00", customer)

    assert "than the limit" not in phone(said=CALL, customer_id=str(customer)).text
