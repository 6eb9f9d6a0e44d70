"""Part prices: seen by the counter, entered by the owner, never behind an offer."""

from decimal import Decimal
from html import unescape

import pytest
from at_the_counter import FOUR, Shop, send

from quoting.store.models import PartPrice

PAGE = "/rates/parts"
#: A part that the words of ``FOUR`` use up, one that they do not, and a day on.
USED, UNUSED, DAY, LATER = "SEAL-6", "SEAL-9", "2026-11-26", "2026-12-01"


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def owner(at):
    return at("owner")


def enter(browser, **fields):
    """Fill the form in and send it."""
    typed = {"part": UNUSED, "valid_from": DAY, "price": "1.50", **fields}
    return send(browser, PAGE, PAGE, **typed)


def row(text, code):
    """Return the row of a part."""
    [found] = [part for part in text.split("<tr>") if f"<small>{code}</small>" in part]
    return unescape(found)


def test_a_price_holds_from_its_day_and_stands_in_the_list(shop, owner, clock):
    enter(owner, valid_from=LATER, price="1.50", cost="0.90", supplier="Copse Lane")
    listed = shop.edition.parts[UNUSED]

    before = row(owner.get(PAGE).text, UNUSED)
    clock.on(days=5)
    after = shop.edition.parts[UNUSED]

    assert "from 1 December 2026: £1.50, costs us £0.90" in before
    assert listed.price != Decimal("1.50")
    assert (after.price, after.cost) == (Decimal("1.50"), Decimal("0.90"))
    assert (after.supplier, after.as_of.isoformat()) == ("Copse Lane", LATER)


def test_what_is_left_empty_stays_as_it_was_but_the_price_follows_the_cost(shop, owner):
    before = shop.edition.parts[UNUSED]

    enter(owner, price="", cost="2.00")

    after = shop.edition.parts[UNUSED]
    assert (after.price, after.cost) == (None, Decimal("2.00"))
    assert after.supplier == before.supplier
    markup = shop.edition.shop.parts_markup
    sells = 2 + 2 * markup / 100
    assert f"£{sells:.2f} <small>by mark-up" in row(owner.get(PAGE).text, UNUSED)


def test_every_problem_is_said_at_once_and_what_was_typed_stays(shop, owner):
    answer = enter(
        owner, part="NONE", valid_from="soon", price="dear", cost="-1",
        supplier="x" * 81,
    )  # fmt: skip

    text = unescape(answer.text)
    assert answer.status_code == 422
    for problem in (
        "Part: say it first.",
        "From: 'soon' is no day; write it like 2026-12-24.",
        "Price of one: 'dear' is no figure here",
        "What one costs us: An amount is more than nothing and below",
        "Supplier: 81 characters are more than the 80",
    ):
        assert f"<p>{problem}" in text
    for typed in ("soon", "dear", "-1", "x" * 81):
        assert f'value="{typed}"' in text
    assert text.count('aria-invalid="true"') == 5
    assert shop.rows(PartPrice) == []


def test_a_price_or_a_cost_must_be_said(shop, owner):
    answer = enter(owner, price="", cost="")

    assert answer.status_code == 422
    assert "what it costs, or both" in answer.text
    assert shop.rows(PartPrice) == []


def test_a_price_with_which_something_was_offered_stays(shop, owner):
    key = shop.quote(("", FOUR))
    before = shop.read(key).revisions[0].ways[0].total

    refused = enter(owner, part=USED, valid_from=DAY)
    taken = enter(owner, part=USED, valid_from="2026-11-27", price="9.99")

    assert refused.status_code == 422
    assert "Q-00001 of 2026-11-26 was priced with Stem seal, 6 mm" in refused.text
    assert taken.status_code == 303
    assert shop.told(FOUR).total * 100 == before


def test_a_price_before_the_one_that_holds_is_refused(owner):
    answer = enter(owner, valid_from="2026-11-01")

    assert answer.status_code == 422
    assert "has a price of 2026-11-02 already" in answer.text


def test_a_second_price_of_the_same_day_corrects_the_first(shop, owner):
    enter(owner, price="1.50")
    enter(owner, price="1.60")

    [kept] = shop.rows(PartPrice)
    assert kept.price == 160
    assert shop.edition.parts[UNUSED].price == Decimal("1.60")


def test_a_form_sent_twice_enters_one_price(shop, owner):
    page = owner.get(PAGE).text
    assert page.count('name="once"') == 1
    fields = {"part": UNUSED, "valid_from": DAY, "price": "1.50"}
    fields |= {
        name: page.split(f'name="{name}" value="')[1].split('"')[0]
        for name in ("form_token", "once")
    }

    answers = [owner.client.post(PAGE, data=fields) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [303, 303]
    assert len(shop.rows(PartPrice)) == 1


def test_the_part_of_a_row_is_chosen_in_the_form(owner):
    page = owner.get(f"{PAGE}?part={UNUSED}").text

    assert f'<option value="{UNUSED}" selected>' in page
    assert f'value="{DAY}"' in page


@pytest.mark.parametrize("sought", ["seal 9", "SEAL-9", "copse stem", "oil seal 9"])
def test_a_part_is_found_by_code_name_supplier_or_another_word(owner, sought):
    page = owner.get(f"{PAGE}?q={sought}").text

    assert row(page, UNUSED)
    assert "Valve guide" not in page.split("<table")[1]


def test_what_is_typed_finds_while_one_types(owner):
    live = owner.client.get(f"{PAGE}?q=seal-9", headers={"X-Live": "1"})

    assert "<h1>" not in live.text
    assert row(live.text, UNUSED)
    assert "No part begins" in owner.get(f"{PAGE}?q=zzzz").text


def test_the_counter_sees_prices_and_neither_costs_nor_the_form(owner, at):
    enter(owner, price="1.50", cost="0.77")
    counter = at("counter")

    page = counter.get(PAGE).text

    assert "£1.50" in row(page, UNUSED)
    assert "£0.77" not in page
    assert "Keep this price" not in page
    answer = counter.client.post(PAGE, data={"form_token": counter.token("/counter")})
    assert answer.status_code == 403


def test_the_prices_are_a_place_of_those_who_may_see_them(owner, at):
    assert '<a href="/rates"' in owner.get("/counter").text
    assert "<h1>Part prices</h1>" in owner.get("/rates").text
    assert '<a href="/rates"' not in at("bench").get("/me").text
