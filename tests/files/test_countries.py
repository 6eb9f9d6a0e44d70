"""The rows of the demonstration for countries: whole, honest, and on their page."""

import re
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from operator import attrgetter
from pathlib import Path

import pytest
from babel import Locale
from babel.core import get_global
from babel.languages import get_official_languages
from babel.numbers import get_territory_currencies

from quoting.domain.country import CHECKED, Country, address_lines, in_force
from quoting.domain.errors import ProblemsError
from quoting.domain.invoice import Kind
from quoting.domain.legal_form import (
    BuyerNeededError,
    Form,
    Situation,
    title,
    which_document,
)
from quoting.domain.tax_rules import asked
from quoting.files.edition import read_edition
from quoting.i18n import LETTER
from quoting.resources import folder

RATES = folder("rates_demo")
PAGE = Path(__file__).parents[2] / "docs" / "countries.md"
DEMO = read_edition(RATES)
ON = date(2026, 11, 10)


def row_of(code: str) -> Country:
    found = in_force((row for row in DEMO.countries if row.code == code), ON)
    assert found, code
    return found


def form(code: str, gross: str, *, named: bool = False) -> Form | str:
    """Return the form of an invoice, or ``refused``."""
    row = row_of(code)
    try:
        return which_document(row, Decimal(gross), row.currency, named=named)
    except BuyerNeededError:
        return "refused"


# Published limits, from both sides.


@pytest.mark.parametrize(
    ("code", "gross", "expected"),
    [
        # UStAE 14.6 (1) on UStDV 33: total of no more than 250.
        ("DE", "250.00", "simplified"),
        ("DE", "250.01", "refused"),
        # Revenue (IE), Other types of VAT invoices: no greater than 100.
        ("IE", "100.00", "simplified"),
        ("IE", "100.01", "refused"),
        # VAT Regulations 1995 (UK) reg. 16A: consideration of no more than 250.
        ("GB", "250.00", "simplified"),
        ("GB", "250.01", "refused"),
        # UStR 2000 (AT) no. 1625: total of no more than 400.
        ("AT", "400.00", "simplified"),
        ("AT", "400.01", "refused"),
        # MWSTG 26 (3) with MWSTV 57 (CH), as quoted: up to 400.
        ("CH", "400.00", "simplified"),
        ("CH", "400.01", "refused"),
        # GST Act 1999 (AU) s. 29-80, as quoted, and s. 29-70: 1,000 or more.
        ("AU", "82.50", "simplified"),
        ("AU", "82.51", "full"),
        ("AU", "999.99", "full"),
        ("AU", "1000.00", "refused"),
        # GST Act 1985 (NZ) ss 19E to 19N, steps as quoted: more than 1,000.
        ("NZ", "199.99", "simplified"),
        ("NZ", "200.00", "full"),
        ("NZ", "1000.00", "full"),
        ("NZ", "1000.01", "refused"),
        # SOR/91-45 s. 3 (CA), steps as quoted: less than 100, 500 or more.
        ("CA", "99.99", "simplified"),
        ("CA", "100.00", "full"),
        ("CA", "499.99", "full"),
        ("CA", "500.00", "refused"),
        # CGI annex II 242 nonies A (FR): the buyer is always named.
        ("FR", "1.00", "refused"),
        # No federal law of invoices (US): from memory.
        ("US", "99999.99", "full"),
    ],
)
def test_an_invoice_without_a_buyer_keeps_to_the_published_limits(
    code: str, gross: str, expected: str
) -> None:
    assert form(code, gross) == expected
    assert form(code, gross, named=True) is Form.FULL


@pytest.mark.parametrize(
    ("code", "lines"),
    [
        ("DE", ["Musterweg 1", "Hof 2", "00000 Beispielstadt"]),
        ("FR", ["Musterweg 1", "Hof 2", "00000 BEISPIELSTADT"]),
        ("GB", ["Musterweg 1", "Hof 2", "Beispielstadt", "00000"]),
        ("US", ["Musterweg 1", "Hof 2", "Beispielstadt, XR 00000"]),
        ("CA", ["Musterweg 1", "Hof 2", "BEISPIELSTADT XR 00000"]),
    ],
)
def test_an_address_has_the_order_of_its_country(code: str, lines: list[str]) -> None:
    """Orders from memory, as the rows say."""
    street, town = ["Musterweg 1", "Hof 2"], "Beispielstadt"
    order = row_of(code).address

    made = address_lines(order, street=street, postcode="00000", town=town, region="XR")

    assert list(made) == lines


# What Unicode CLDR 47 knows of the countries, through Babel.


@pytest.mark.parametrize("row", DEMO.countries, ids=attrgetter("code"))
def test_name_currency_languages_and_paper_are_those_of_the_country(
    row: Country,
) -> None:
    assert Locale("en").territories[row.code] == row.name
    assert get_territory_currencies(row.code) == [row.currency]
    assert (row.paper == "Letter") == (row.code in LETTER)
    spoken = {language for country, language in DEMO.wording if country == row.code}
    official = get_official_languages(row.code, de_facto=True, regional=True)
    assert spoken <= set(official)


@pytest.mark.parametrize(("code", "step"), [("CA", 5), ("CH", 5), ("GB", 0), ("US", 0)])
def test_the_step_of_cash_is_that_of_the_currency(code: str, step: int) -> None:
    """CLDR 47, currency fractions: cash rounding in hundredths; 0 is none.

    It lacks the steps of AUD and NZD, and the euro's differs by country.
    """
    row = row_of(code)
    fractions = get_global("currency_fractions")
    known = fractions.get(row.currency, fractions["DEFAULT"])
    cash_step = known[3]

    assert cash_step == step
    assert (row.cash_step or 0) * 100 == step
    assert {"AUD", "NZD"}.isdisjoint(fractions)


def test_a_german_credit_note_is_not_called_by_the_word_for_self_billing() -> None:
    """UStG 14 (2): Gutschrift is an invoice that the buyer writes."""
    german = DEMO.wording["DE", "de"]
    assert "Gutschrift" not in title(german, Kind.CREDIT)


@pytest.mark.parametrize("code", ["FR", "IT", "ES", "PT", "PL", "DE", "AT", "BE"])
def test_what_a_country_demands_of_tills_or_channels_is_said_and_left_to_an_adviser(
    code: str,
) -> None:
    warning = row_of(code).warning
    assert re.search(r"till|register|invoice", warning)
    assert warning.endswith("ask a licensed adviser.")


# The table as a whole.


def test_every_country_has_words_and_every_row_of_a_full_one_has_its_legends() -> None:
    spoken = {country for country, _ in DEMO.wording}
    assert {row.code for row in DEMO.countries} == spoken
    for code in ("DE", "FR", "IE", "GB", "CA", "AU", "NZ", "CH"):
        for (country, language), words in DEMO.wording.items():
            if country == code:
                for each in (
                    Situation.EXEMPT,
                    Situation.EXPORT,
                    Situation.OUTSIDE_SCOPE,
                    Situation.CREDIT_WORDS,
                    Situation.UNREGISTERED,
                    Situation.TAX_INCLUDED,
                    Situation.SETTLEMENT_DISCOUNT,
                ):
                    assert getattr(words, each), (code, language, each)
    european = [row.code for row in DEMO.countries if row.en16931]
    assert "GB" in european
    for (country, language), words in DEMO.wording.items():
        if country in european:
            assert words.reverse_charge, (country, language)


def test_every_row_says_where_it_comes_from_and_that_an_adviser_confirms_it() -> None:
    rows = (
        *DEMO.countries,
        *DEMO.wording.values(),
        *DEMO.regions.values(),
        *DEMO.tax_rules.values(),
    )
    for row in rows:
        assert row.source.endswith("; an example: have a licensed adviser confirm it")
        weakest = max(
            (mark for mark in CHECKED if mark in row.source.lower()),
            key=CHECKED.index,
            default="from memory",
        )
        assert row.checked == weakest, row.source


def test_a_region_has_a_country_and_every_question_is_asked_somewhere() -> None:
    codes = {row.code for row in DEMO.countries}
    assert {region.country for region in DEMO.regions.values()} == {"US", "CA"}
    assert codes >= {rule.country for rule in DEMO.tax_rules.values()}
    assert len(asked(DEMO.tax_rules.values())) == 7


def test_the_demonstration_shop_has_its_place() -> None:
    country = DEMO.country(ON)
    assert country
    assert (country.code, DEMO.region) == ("GB", None)
    assert DEMO.words is DEMO.wording["GB", "en"]
    assert [rule.code for rule in DEMO.rules] == ["GB-EXPORT"]
    assert DEMO.shop.street == ("4 Tallow Lane",)


def test_a_row_with_a_mistake_is_named_in_its_file(tmp_path: Path) -> None:
    import shutil

    copy = Path(shutil.copytree(RATES, tmp_path / "rates"))
    for file, old, new in (
        ("countries.csv", "GB,United Kingdom,,GBP,250,250.01", "GB,UK,,GBP,250,250"),
        ("wording.csv", "IE,en,Invoice", "IX,en,Invoice"),
        ("regions.csv", "US,FL,Florida,taxed_with_parts", "US,FL,Florida,perhaps"),
        ("tax_rules.csv", "FL-PARTS,US,FL", "FL-PARTS,US,GA"),
    ):
        text = (copy / file).read_text("utf-8")
        assert old in text
        (copy / file).write_text(text.replace(old, new), "utf-8")

    with pytest.raises(ProblemsError) as refused:
        read_edition(copy)

    assert [(p.file, p.column, p.found) for p in refused.value.problems] == [
        ("countries.csv", "buyer_from", "250"),
        ("wording.csv", "country", "IX"),
        ("regions.csv", "labour", "perhaps"),
        ("tax_rules.csv", "region", "GA"),
    ]


# The page.


def lines_of(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    cells = [header, ["---"] * len(header), *rows]
    return "\n".join(
        "| " + " | ".join("-" if c in (None, "") else str(c) for c in row) + " |"
        for row in cells
    )


def yes(flag: bool) -> str:
    return "yes" if flag else "no"


TABLES = {
    "Limits, deposits, cash, keeping": lines_of(
        (
            "code",
            "country",
            "from",
            "simplified up to",
            "buyer named from",
            "tax on a deposit",
            "on a security",
            "on a surcharge",
            "cash",
            "credit note, days",
            "kept, years",
            "EN 16931",
        ),
        (
            (
                row.code,
                row.name,
                row.valid_from,
                row.simplified_up_to and f"{row.simplified_up_to} {row.currency}",
                None if row.buyer_from is None else f"{row.buyer_from} {row.currency}",
                row.deposit_tax,
                row.security_tax,
                row.surcharge_tax,
                row.cash_step,
                row.credit_note_days,
                row.retention_years,
                yes(row.en16931),
            )
            for row in DEMO.countries
        ),
    ),
    "What a country demands that the program does not do": lines_of(
        ("code", "demand"),
        ((row.code, row.warning) for row in DEMO.countries if row.warning),
    ),
    "Words": lines_of(
        ("code", "language", "invoice", "deposit", "credit note", "tax", "number"),
        (
            (
                row.country,
                row.language,
                row.invoice,
                row.deposit_invoice,
                row.credit_note,
                row.tax,
                row.tax_number,
            )
            for row in DEMO.wording.values()
        ),
    ),
    "States and provinces": lines_of(
        ("code", "name", "labour", "parts", "outwork", "tax", "surcharge", "note"),
        (
            (
                f"{row.country}-{row.code}",
                row.name,
                row.labour,
                row.parts,
                row.outwork,
                row.tax,
                row.surcharge_tax,
                row.note,
            )
            for row in DEMO.regions.values()
        ),
    ),
    "Rules for a whole document": lines_of(
        ("code", "rule", "income groups", "where it holds", "where not"),
        (
            (
                row.code,
                row.rule,
                ", ".join(row.groups),
                row.says,
                row.says_otherwise,
            )
            for row in DEMO.tax_rules.values()
        ),
    ),
    "Sources": lines_of(
        ("row", "known", "source"),
        (
            (name, row.checked, row.source.partition("; an example: have")[0])
            for name, row in (
                *((row.code, row) for row in DEMO.countries),
                *((f"{c} {lang}", row) for (c, lang), row in DEMO.wording.items()),
                *((f"{c}-{code}", row) for (c, code), row in DEMO.regions.items()),
                *((row.code, row) for row in DEMO.tax_rules.values()),
            )
        ),
    ),
}


@pytest.mark.parametrize("heading", TABLES)
def test_the_page_of_countries_shows_the_rows_as_they_are(heading: str) -> None:
    under = PAGE.read_text("utf-8").partition(f"## {heading}\n")[2]
    table = "\n".join(
        line
        for line in under.partition("\n## ")[0].splitlines()
        if line.startswith("|")
    )
    assert table == TABLES[heading]


def test_the_page_says_what_all_of_it_is() -> None:
    text = PAGE.read_text("utf-8")
    assert "an example, to be confirmed by a licensed adviser" in text
