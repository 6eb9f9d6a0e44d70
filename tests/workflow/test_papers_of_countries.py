"""Issued papers of shops in several countries, from the tables to the HTML.

Words are those of the demonstration's own rows; rates and shops are invented.
"""

import re
import shutil

import pytest
from official_rules import official_rules
from printing import Shown
from shop import Shop, now
from sqlalchemy import select

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Why
from quoting.domain.legal_form import BuyerAtHomeError, NumbersNeededError
from quoting.papers.html import Paper
from quoting.resources import folder
from quoting.store.models import DocumentIssued, PaperMade
from quoting.workflow import documents, quotes
from quoting.workflow.invoices import Credited, Taxed

#: One head, labour at 18.5 %.
WORDS = "16v twin cam valve job"


@pytest.fixture
def place(database, tmp_path):
    """Return a way to open a shop in a country: keys of shop.toml, as TOML."""

    def open_in(**keys):
        copy = shutil.copytree(folder("rates_demo"), tmp_path / "rates")
        file = copy / "shop.toml"
        text = file.read_text("utf-8")
        for key, value in {"region": '""', **keys}.items():
            line = f"{key} = {value}"
            text, found = re.subn(rf"^{key} = .*$", line, text, flags=re.MULTILINE)
            text = text if found else f"{line}\n{text}"
        file.write_text(text, "utf-8")
        return Shop(database, copy)

    return open_in


GERMAN = {"country": '"DE"', "language": '"de"', "locale": '"de_DE"',
          "currency": '"EUR"', "tax_number": '"DE123456789"', "ceiling": '""',
          "tax_old_unit": '"NOTAX"'}  # fmt: skip
FRENCH = {**GERMAN, "country": '"FR"', "language": '"fr"', "locale": '"fr_FR"',
          "tax_number": '"FR00123456789"'}  # fmt: skip
IRISH = {**GERMAN, "country": '"IE"', "language": '"en"', "locale": '"en_IE"',
         "tax_number": '"IE1234567FA"'}  # fmt: skip


def agreed(shop, words=WORDS, **customer):
    who = {"address": "1 Row", "postcode": "00000", "town": "Exampleton", **customer}
    key = shop.save(words, customer=shop.customer("Osgood & Daughters", **who))
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
    return key


def issue(shop, key, **options):
    """Issue the invoice for a quote; return the key of the document."""
    with shop.database.transaction() as session:
        rows = [quotes.quote_of(session, key)]
        return documents.issue(session, rows, now(), **options).id


def credit(shop, key):
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        why = {"reason": Why.GOODWILL, "because": "wie besprochen"}
        return documents.credit(session, row, Credited(), now(days=1), **why).id


def shown(shop, key):
    """Return the text of a document's paper."""
    with shop.database.reading() as session:
        row = session.get(DocumentIssued, key)
        html = session.scalar(
            select(PaperMade.html).where(PaperMade.id == row.paper_id)
        )
        return Shown(Paper(html, "", row.on)).text


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (GERMAN, ("Rechnung I-00001", "USt-IdNr. DE123456789", "00000 Exampleton",
                  "zu zahlen", "zahlbar bis 25. November 2026", "Netto",
                  "Gesamtbetrag")),
        (FRENCH, ("Facture I-00001", "N° TVA FR00123456789", "00000 EXAMPLETON",
                  "net à payer", "à payer avant le 25 novembre 2026", "Total HT",
                  "Total TTC")),
        (IRISH, ("Invoice I-00001", "VAT no. IE1234567FA", "Exampleton 00000",
                 "to pay", "pay by 25 November 2026", "Net", "Total", "VAT rate on")),
    ],
    ids=["DE", "FR", "IE"],
)  # fmt: skip
def test_an_invoice_says_title_labels_and_address_as_its_country_does(
    place, keys, words
):
    shop = place(**keys)
    text = shown(shop, issue(shop, agreed(shop)))

    for each in words:
        assert each in text
    if keys is not IRISH:
        for english in ("pay by", "Net ", "Invoice"):
            assert english not in text


def test_a_german_credit_note_says_what_it_corrects_in_german(place):
    shop = place(**GERMAN)
    text = shown(shop, credit(shop, issue(shop, agreed(shop))))

    assert "Rechnungskorrektur C-00001" in text
    assert "berichtigt I-00001, 25. November 2026" in text
    assert "Berichtigung um" in text
    assert "Berichtigt die oben genannte Rechnung." in text
    for english in ("corrects", "Net "):
        assert english not in text


def early(shop, key):
    """Return the pennies that 2 % are of what a document comes to, and the rest.

    Half a penny goes up: in whole pennies (2 x gross + 50) // 100.
    """
    with shop.database.reading() as session:
        gross = session.get(DocumentIssued, key).gross
    off = (2 * gross + 50) // 100
    return [f"{n // 100}#{n % 100:02}" for n in (gross - off, off)]


@pytest.mark.parametrize(
    ("keys", "line", "mark", "legend"),
    [
        (GERMAN, "Zahlbar bis 5. Dezember 2026: {rest} \u20ac (-{off} "
         "\u20ac, 2 %).", ",",
         "Bei Zahlung innerhalb der oben genannten Frist mindert sich das Entgelt."),
        (FRENCH, "À payer avant le 5 décembre 2026: {rest} \u20ac (-{off} "
         "\u20ac, 2 %).", ",",
         "Escompte pour paiement anticipé aux conditions ci-dessus."),
        (IRISH, "Paid by 5 December 2026, 2% or \u20ac{off} may be taken off: "
         "then \u20ac{rest} settles it.", ".",
         "A discount applies if paid within the terms above; a credit note follows."),
    ],
    ids=["DE", "FR", "IE"],
)  # fmt: skip
def test_a_discount_for_paying_early_is_told_with_its_figures_as_its_country_does(
    place, keys, line, mark, legend
):
    """The terms FLEET have 2 % off within ten days: of 25 November, 5 December."""
    shop = place(**keys, terms='"FLEET"')
    key = issue(shop, agreed(shop))
    text = shown(shop, key)
    rest, off = (figure.replace("#", mark) for figure in early(shop, key))

    assert plain(line.format(rest=rest, off=off)) in plain(text)
    assert legend in text
    assert "claimed back" not in text
    assert legend not in shown(shop, credit(shop, key))


def plain(text):
    """Return a text with plain spaces and minus signs."""
    return re.sub(r"[\N{MINUS SIGN}\N{HYPHEN}]", "-", re.sub(r"\s", " ", text))


def test_without_a_country_a_discount_is_told_in_english_and_says_nothing_of_tax(place):
    shop = place(terms='"FLEET"', country='""', language='""')
    text = shown(shop, issue(shop, agreed(shop)))

    assert re.search(r"Paid by 5 December 2026, 2% or £\S+ may be taken off: ", text)
    assert "claimed back" not in text


def test_only_a_shop_that_accounts_on_the_cash_basis_says_so(place):
    shop = place(**GERMAN, cash_accounting="true")
    legend = "Versteuerung nach vereinnahmten Entgelten"
    key = issue(shop, agreed(shop))

    assert legend in shown(shop, key)
    assert legend in shown(shop, credit(shop, key))


def test_a_shop_that_does_not_account_on_the_cash_basis_says_nothing_of_it(place):
    shop = place(**GERMAN)
    assert "vereinnahmten" not in shown(shop, issue(shop, agreed(shop)))


def test_where_a_province_has_a_number_of_its_own_both_stand_on_the_invoice(place):
    """Quebec: GST and QST each with its number, as the row of the region says."""
    shop = place(
        country='"CA"', language='"en"', locale='"en_CA"', currency='"CAD"',
        ceiling='""', region='"QC"', tax_number='"123456789 RT0001"',
        region_tax_number='"1234567890 TQ0001"',
    )  # fmt: skip
    text = shown(shop, issue(shop, agreed(shop)))

    assert "GST/HST registration no. 123456789 RT0001" in text
    assert "QST no. 1234567890 TQ0001" in text


# Where the customer owes the tax: Directive 2006/112/EC Art. 44, 196 and 226.

UNION = Taxed(("business_in_union",))
ABROAD = {"country": "AT", "tax_number": "ATU12345678"}


@pytest.mark.parametrize(
    ("keys", "legend", "numbers"),
    [
        (GERMAN, "Steuerschuldnerschaft des Leistungsempfängers", "DE123456789"),
        (FRENCH, "Autoliquidation", "FR00123456789"),
        (IRISH, "Reverse charge", "IE1234567FA"),
    ],
    ids=["DE", "FR", "IE"],
)
def test_a_business_in_another_state_owes_the_tax_itself(place, keys, legend, numbers):
    shop = place(**keys)
    key = issue(shop, agreed(shop, **ABROAD), taxed=UNION)
    text = shown(shop, key)

    for each in (legend, numbers, "ATU12345678", "AUSTRIA" if keys is IRISH else ""):
        assert each in text
    with shop.database.reading() as session:
        row = session.get(DocumentIssued, key)
        assert (row.tax, row.gross, row.no_xml) == (0, row.net, "")
        for syntax in ("cii", "ubl"):
            _, xml = documents.xml_of(session, key, syntax)
            assert official_rules()(syntax, xml) == []
            assert b"VATEX-EU-AE" in xml


@pytest.mark.parametrize(
    ("shops", "customers", "missing"),
    [
        ("DE123456789", "", "Write down that of the customer, or"),
        ("DE123456789", "U12345678", "Write down that of the customer, or"),
        ("12/345/67890", "ATU12345678", "Enter the shop's as tax_number"),
        ("12/345/67890", "", "in shop.toml and write down that of the customer"),
    ],
)
def test_without_both_numbers_nobody_is_left_to_owe_the_tax(
    place, shops, customers, missing
):
    shop = place(**{**GERMAN, "tax_number": f'"{shops}"'})
    key = agreed(shop, **{**ABROAD, "tax_number": customers})

    with pytest.raises(NumbersNeededError, match=missing):
        issue(shop, key, taxed=UNION)
    with shop.database.reading() as session:
        assert session.get(DocumentIssued, issue(shop, key)).tax


def test_a_customer_of_the_shops_own_state_does_not_owe_the_tax(place):
    shop = place(**GERMAN)
    key = agreed(shop, tax_number="DE987654321")

    with pytest.raises(BuyerAtHomeError, match=r"Osgood & Daughters .* has DE as"):
        issue(shop, key, taxed=UNION)
