"""Accounts in other places: what their rows say, and money as they count it."""

import re
from html import unescape

import pytest
from at_the_counter import Shop, send
from shop import other_tables

from quoting.domain.life import OrderMove
from quoting.store.models import DocumentIssued
from quoting.workflow import documents, orders, quotes

NOWHERE = {"region": '""', "ceiling": '""'}
FRENCH = {**NOWHERE, "country": '"FR"', "language": '"fr"', "locale": '"fr_FR"',
          "currency": '"EUR"'}  # fmt: skip
CANADIAN = {**NOWHERE, "country": '"CA"', "language": '"en"', "locale": '"en_CA"',
            "currency": '"CAD"'}  # fmt: skip
FLORIDIAN = {**NOWHERE, "country": '"US"', "region": '"FL"', "language": '"en"',
             "locale": '"en_US"', "currency": '"USD"'}  # fmt: skip


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def place(shop):
    """Return what moves the shop to a country: keys of shop.toml, as TOML."""

    def move(**keys):
        with shop.database.transaction() as session:
            other_tables(session, **keys)

    return move


@pytest.fixture
def accounts(at):
    return at("accounts")


def said(text):
    """Return what a page says of the place, a line each, without its marks."""
    section = r'<section aria-labelledby="place">(.*?)</section>'
    part = re.search(section, text, re.DOTALL)[1]
    lines = re.findall(r"<h2[^>]*>(.*?)</h2>|<li>(.*?)</li>", part)
    return [unescape(re.sub(r"<[^>]+>", "", "".join(line))) for line in lines]


def invoice(shop):
    """Issue the invoice for one head; return its row."""
    order = shop.order()
    with shop.database.transaction() as session:
        row = orders.order_of(session, order)
        orders.move(session, row, row.version, OrderMove.MAKE_READY, shop.now)
        documents.issue(session, [quotes.quote_of(session, row.quote_id)], shop.now)
    return shop.rows(DocumentIssued)[-1]


# What the rows of a place say.


def test_accounts_say_what_a_country_demands_that_the_program_does_not_do(
    place, accounts
):
    place(**FRENCH)
    heading, demand, *rest = said(accounts.get("/accounts").text)

    assert heading == "What the rows of France say"
    assert demand.startswith(
        "Software that records payments of private customers has to be certified, and "
        "invoices between businesses go through an approved platform"
    )
    assert demand.endswith("The program does neither: ask a licensed adviser.")
    assert rest == [
        "Consumers are told the price with tax first; the tables give prices "
        "before tax, so say and advertise the total.",
        "Invoices are kept 10 years.",
    ]


def test_accounts_say_how_the_shops_state_taxes_labour_parts_and_outwork(
    place, accounts
):
    place(**FLORIDIAN)
    text = said(accounts.get("/accounts").text)

    assert text[2] == (
        "Florida, Sales tax: labour is taxed once a part is on the document; parts are "
        "taxed; outwork is taxed once a part is on the document. Labour alone is "
        "untaxed only where the records prove that no part was furnished; that a part "
        "costs little does not matter."
    )
    assert text[3] == (
        "Paper is Letter, and the shop prints on A4: paper in shop.toml."
    )


@pytest.mark.parametrize(
    ("tax", "words"),
    [
        ("one_rate", "What is paid in cash is rounded to $0.05, and the shop does not "
         'round it. Where that is to be so, write cash_step = 0.05 and cash_mode = '
         '"half_up" into tax/one_rate.toml.'),
        ("included", ""),
    ],
)  # fmt: skip
def test_accounts_say_where_the_shop_rounds_cash_otherwise_than_its_country(
    place, accounts, tax, words
):
    place(**CANADIAN, tax=f'"{tax}"')
    found = [line for line in said(accounts.get("/accounts").text) if "cash" in line]
    assert found == ([words] if words else [])


def test_the_demonstration_in_its_own_country_says_the_days_of_a_credit_note(
    accounts, place
):
    place(tax='"included"')
    assert said(accounts.get("/accounts").text)[2:] == [
        "What is paid in cash is not rounded, and the shop rounds it to £0.05. Where "
        "that is not to be so, take cash_step out of tax/included.toml.",
        "A credit note follows within 14 days of the change that it is for.",
        "Invoices are kept 6 years.",
    ]


def test_without_a_country_nothing_is_said_of_it(place, accounts):
    place(country='""', language='""', ceiling='""')
    assert "What the rows of" not in accounts.get("/accounts").text


def test_an_invoice_says_until_when_it_is_kept_and_from_when_a_credit_may_be_late(
    shop, at, accounts, clock
):
    """Dated 26 November 2026: kept 6 years, a credit note within 14 days."""
    row = invoice(shop)
    page = f"/accounts/documents/{row.id}"
    assert (
        "Kept 6 years in United Kingdom: at the least until 31 December 2032."
        in accounts.get(page).text
    )
    clock.on(days=14)
    assert "days old" not in at("accounts").get(page).text
    clock.on(days=1)
    late = at("accounts")
    assert (
        "This invoice is 15 days old, and in United Kingdom a credit note follows "
        "within 14 days of the change that it is for."
    ) in late.get(page).text
    answer = send(
        late, page, f"{page}/credit", what="amount", amount="10",
        reason_code="goodwill", because="agreed this morning",
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
