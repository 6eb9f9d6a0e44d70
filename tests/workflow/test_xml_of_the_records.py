"""EN 16931 files of documents that the shop issued, by the official rules.

Irish words and numbers, invented rates: labour and parts at 18.5 %. Every file is
worked out again to the cent from its own fields, in the price mode of its document.
"""

import re
import shutil
from decimal import Decimal

import pytest
from lxml import etree
from official_rules import official_rules
from shop import Shop, now
from sqlalchemy import select
from xml_sums import check_taxes, check_totals, rows, value

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Kind, Why
from quoting.domain.life import OrderMove
from quoting.resources import folder
from quoting.store.models import DocumentIssued
from quoting.workflow import deposits, documents, invoices, orders, quotes
from quoting.workflow.invoices import Credited, Taxed
from quoting.workflow.orders import BookedIn

IRISH = {
    "country": "IE", "language": "en", "locale": "en_IE", "currency": "EUR",
    "tax_number": "IE1234567FA", "ceiling": "", "tax_old_unit": "NOTAX",
    "iban": "IE29AIBK93115212345678", "bic": "AIBKIE2D", "deposits": "part_payment",
}  # fmt: skip
TWIN_CAM, BOTH = "16v twin cam valve job", "v6 24v x2 overheated"


@pytest.fixture(params=["one_rate", "included"])
def shop(request, database, tmp_path):
    """Return an Irish shop whose prices are before tax, and one whose contain it."""
    copy = shutil.copytree(folder("rates_demo"), tmp_path / "rates")
    text = (copy / "shop.toml").read_text("utf-8")
    for key, said in {**IRISH, "tax": request.param}.items():
        line = f'{key} = "{said}"'
        text, found = re.subn(rf"^{key} = .*$", line, text, flags=re.MULTILINE)
        text = text if found else f"{line}\n{text}"
    (copy / "shop.toml").write_text(text, "utf-8")
    return Shop(database, copy)


@pytest.fixture
def customer(shop):
    return shop.customer(
        "Osgood & Daughters", address="1 Row", postcode="00000", town="Exampleton",
        country="AT", tax_number="ATU12345678",
    )  # fmt: skip


def agreed(shop, customer, words=TWIN_CAM):
    key = shop.save(words, customer=customer)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
    return key


def delivered(shop, quote, days):
    """Let heads come in and be handed over with their delivery note."""
    at = now(days=days)
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        order = orders.book_in(session, row, BookedIn(), at)
        orders.move(session, order, order.version, OrderMove.MAKE_READY, at)
        orders.move(session, order, order.version, OrderMove.COLLECT, at)


def issue(shop, *keys, days=0, **options):
    with shop.database.transaction() as session:
        of = [quotes.quote_of(session, key) for key in keys]
        return documents.issue(session, of, now(days=days), **options).id


def credit(shop, key, amount):
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return documents.credit(
            session, row, Credited(amount=Decimal(amount)), now(),
            reason=Why.PRICE, because="agreed on the phone",
        ).id  # fmt: skip


def take(shop, quote, amount):
    """Take a deposit with its invoice; return the key of that."""
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        taken = deposits.take_deposit(session, row, Decimal(amount), "card", now())
        paper = invoices.of_number(session, taken.document_id)
        documents.on_paper(session, paper, now())
        return paper.id


def keeps_the_rules(shop, key, *, contained=False):
    """Check both files of a document; return its content and its sums."""
    with shop.database.reading() as session:
        assert session.get(DocumentIssued, key).no_xml == ""
        document = invoices.content(session, key)
        files = {
            name: documents.xml_of(session, key, name)[1] for name in ("cii", "ubl")
        }
    for name, xml in files.items():
        assert official_rules()(name, xml) == []
    tree = etree.fromstring(files["cii"])
    check_totals(tree)
    check_taxes(document, contained=contained)
    [sums] = rows(tree, "SpecifiedTradeSettlementHeaderMonetarySummation")
    return document, sums


def test_one_invoice_for_the_delivery_notes_of_a_month(shop, customer):
    keys = [agreed(shop, customer, words) for words in (TWIN_CAM, BOTH)]
    for days, key in enumerate(keys):
        delivered(shop, key, days)

    document, sums = keeps_the_rules(shop, issue(shop, *keys, days=2))

    assert document.work == (
        "W-00001, delivered 25 November 2026; W-00002, delivered 26 November 2026"
    )
    assert value(sums, "DuePayableAmount") == document.gross


def test_a_deposit_with_its_invoice_and_the_invoice_that_takes_it_off(shop, customer):
    """BT-113 is what was paid before, tax included: 100.00 of it."""
    quote = agreed(shop, customer)
    paper, sums = keeps_the_rules(shop, take(shop, quote, "100.00"), contained=True)
    assert paper.kind is Kind.DEPOSIT
    assert value(sums, "GrandTotalAmount") == 100

    document, sums = keeps_the_rules(shop, issue(shop, quote, days=1))

    assert value(sums, "TotalPrepaidAmount") == 100
    assert value(sums, "DuePayableAmount") == document.gross - 100


def test_what_is_paid_back_of_a_deposit_has_a_credit_note_by_amount(shop, customer):
    take(shop, agreed(shop, customer), "100.00")
    with shop.database.transaction() as session:
        [held] = deposits.held(session)
        documents.pay_deposit_back(session, held, 3333, "card", "cheaper job", now())
    with shop.database.reading() as session:
        note = session.scalars(
            select(DocumentIssued.id).where(DocumentIssued.kind == Kind.CREDIT)
        ).one()

    _, sums = keeps_the_rules(shop, note, contained=True)

    assert value(sums, "GrandTotalAmount") == Decimal("33.33")


def test_a_credit_note_by_amount(shop, customer):
    note = credit(shop, issue(shop, agreed(shop, customer, BOTH)), "77.77")

    _, sums = keeps_the_rules(shop, note, contained=True)

    assert value(sums, "GrandTotalAmount") == Decimal("77.77")


def test_a_business_elsewhere_owes_the_tax_of_a_month_and_of_its_credit(shop, customer):
    keys = [agreed(shop, customer, words) for words in (TWIN_CAM, BOTH)]
    key = issue(shop, *keys, taxed=Taxed(("business_in_union",)))

    for each in (key, credit(shop, key, "77.77")):
        document, sums = keeps_the_rules(shop, each)
        assert [group.tax.category for group in document.taxes] == ["AE"]
        assert value(sums, "TaxTotalAmount") == 0
