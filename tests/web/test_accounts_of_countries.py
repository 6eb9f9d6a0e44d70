"""Accounts in other places: what their rows say, and money as they count it."""

import re
from html import unescape

import pytest
from at_the_counter import Shop, send
from shop import other_tables

from quoting.domain.life import OrderMove
from quoting.store.models import DocumentIssued, Payment
from quoting.workflow import documents, orders, quotes

NOWHERE = {"region": '""', "ceiling": '""', "tax_old_unit": '"NOTAX"'}
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

    def move(*other, **keys):
        with shop.database.transaction() as session:
            other_tables(session, other, **keys)

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


@pytest.mark.parametrize(
    ("code", "language", "locale", "demand"),
    [
        ("DE", "de", "de_DE", "An electronic till needs a certified security device"),
        ("AT", "de", "de_AT", "recorded in a register with a certified signature"),
        ("BE", "nl", "nl_BE", "are sent as e-invoices through a network since 2026"),
        ("IT", "it", "it_IT", "takings of consumers through a certified till"),
        ("PT", "pt", "pt_PT", "Software that makes invoices has to be certified"),
    ],
)
def test_accounts_warn_of_certified_registers_and_of_a_countrys_own_channel(
    place, accounts, code, language, locale, demand
):
    place(
        **NOWHERE, country=f'"{code}"', language=f'"{language}"',
        locale=f'"{locale}"', currency='"EUR"',
    )  # fmt: skip
    warning = said(accounts.get("/accounts").text)[1]
    assert demand in warning
    assert warning.endswith("ask a licensed adviser.")


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


# Cash: Canada Revenue Agency, GI-131, in steps of 0.05 with the tax unchanged.

#: HST of 13 %, and cash in steps of 0.05.
HST = (
    ("tax/one_rate.csv", "18.5", "13"),
    ("tax/one_rate.toml", 'level = "document"', 'level = "document"\ncash_step = 0.05'),
)


def owed(shop, price):
    """Issue the invoice for goods at a price before tax; return its row."""
    shop.owes(price, shop.customer())
    return shop.rows(DocumentIssued)[-1]


@pytest.mark.parametrize(
    ("price", "tax", "gross", "cash", "rounding"),
    [
        # 179.00 + 13 % of it, 23.27, are 202.27; to the nearest 0.05: 202.25.
        ("179.00", 2327, 20227, "202.25", 2),
        # 179.01 + 23.2713, so 23.27, are 202.28: 202.30.
        ("179.01", 2327, 20228, "202.30", -2),
    ],
)
def test_cash_pays_a_sum_rounded_to_its_step_in_full_and_the_tax_stays(
    shop, place, at, price, tax, gross, cash, rounding
):
    place(*HST, **CANADIAN)
    row = owed(shop, price)
    assert (row.tax, row.gross) == (tax, gross)
    page, accounts = f"/accounts/documents/{row.id}", at("accounts")
    assert f"In cash: ${cash}." in accounts.get(page).text

    answer = send(accounts, page, f"{page}/pay", amount=cash, method="cash")

    assert answer.status_code == 303, answer.text
    [paid] = shop.rows(Payment)
    assert (paid.rounding, paid.left) == (rounding, 0)
    assert shop.posted("payment") == {
        "money cash": gross - rounding,
        "cash rounding": rounding,
        "debtors": -gross,
    }
    [row] = shop.rows(DocumentIssued)
    assert (row.left, row.tax, row.gross) == (0, tax, gross)
    month = accounts.get(f"/accounts/months/{row.on:%Y-%m}").text
    assert "It reconciles" in month


def test_what_is_not_paid_in_cash_is_not_rounded(shop, place, accounts):
    """202.25 by card leave 0.02 of 202.27 owed."""
    place(*HST, **CANADIAN)
    row = owed(shop, "179.00")
    page = f"/accounts/documents/{row.id}"
    send(accounts, page, f"{page}/pay", amount="202.25", method="card")
    [paid] = shop.rows(Payment)
    assert (paid.rounding, shop.rows(DocumentIssued)[0].left) == (0, 2)
    assert "cash rounding" not in shop.posted("payment")


def test_without_a_step_nothing_is_said_of_cash(shop, accounts):
    row = owed(shop, "179.00")
    assert "In cash" not in accounts.get(f"/accounts/documents/{row.id}").text
