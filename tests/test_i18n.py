"""Money, dates and figures as people of a place write them, against literal texts.

Source of the texts, unless said otherwise: Unicode CLDR 47 (through Babel), each of
them the same in ICU 78.2, which carries CLDR 48.
"""

from datetime import date
from decimal import Decimal

import pytest
from babel.localedata import locale_identifiers
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.lengths import parse_length
from quoting.domain.money import Currency
from quoting.i18n import LETTER, Formats, UnknownLocaleError

NB = "\u00a0"  # no-break space
NN = "\u202f"  # narrow no-break space
MINUS = "\u2212"

CURRENCIES = {
    code: Currency(code, digits)
    for code, digits in {
        "GBP": 2, "USD": 2, "EUR": 2, "CAD": 2, "JPY": 0, "AUD": 2, "NZD": 2, "CHF": 2,
        "SEK": 2, "NOK": 2, "EGP": 2, "INR": 2, "KWD": 3, "ILS": 2, "IRR": 0, "IQD": 3,
        "LBP": 2, "BRL": 2, "TRY": 2, "KRW": 0, "VND": 0, "ZAR": 2, "MXN": 2, "CLP": 0,
    }.items()
}  # fmt: skip


def formats(locale, code):
    return Formats(locale, CURRENCIES[code])


def euros(locale="en_GB"):
    return formats(locale, "EUR")


#: 1234567.89 and -1234.50, 7.5 per cent, 7 March 2026.
TABLE = [
    ("en_GB", "GBP", "£1,234,567.89", "-£1,234.50", "7.5%", "7 March 2026"),
    ("en_US", "USD", "$1,234,567.89", "-$1,234.50", "7.5%", "March 7, 2026"),
    ("de_DE", "EUR", f"1.234.567,89{NB}€", f"-1.234,50{NB}€", f"7,5{NB}%",
     "7. März 2026"),
    ("fr_CA", "CAD", f"1{NB}234{NB}567,89{NB}$", f"-1{NB}234,50{NB}$", f"7,5{NB}%",
     "7 mars 2026"),
    ("nl_NL", "EUR", f"€{NB}1.234.567,89", f"€{NB}-1.234,50", "7,5%", "7 maart 2026"),
    ("en_AU", "AUD", "$1,234,567.89", "-$1,234.50", "7.5%", "7 March 2026"),
    ("en_NZ", "NZD", "$1,234,567.89", "-$1,234.50", "7.5%", "7 March 2026"),
    ("en_CA", "CAD", "$1,234,567.89", "-$1,234.50", "7.5%", "March 7, 2026"),
    ("en_IE", "EUR", "€1,234,567.89", "-€1,234.50", "7.5%", "7 March 2026"),
    ("fr_FR", "EUR", f"1{NN}234{NN}567,89{NB}€", f"-1{NN}234,50{NB}€", f"7,5{NB}%",
     "7 mars 2026"),
    ("hi_IN", "INR", "₹12,34,567.89", "-₹1,234.50", "7.5%", "7 मार्च 2026"),
    ("sv_SE", "SEK", f"1{NB}234{NB}567,89{NB}kr", f"{MINUS}1{NB}234,50{NB}kr",
     f"7,5{NB}%", "7 mars 2026"),
    ("nb_NO", "NOK", f"1{NB}234{NB}567,89{NB}kr", f"{MINUS}1{NB}234,50{NB}kr",
     f"7,5{NB}%", "7. mars 2026"),
    ("pt_BR", "BRL", f"R${NB}1.234.567,89", f"-R${NB}1.234,50", "7,5%",
     "7 de março de 2026"),
    ("tr_TR", "TRY", "₺1.234.567,89", "-₺1.234,50", "%7,5", "7 Mart 2026"),
    ("de_AT", "EUR", f"€{NB}1.234.567,89", f"-€{NB}1.234,50", f"7,5{NB}%",
     "7. März 2026"),
    ("en_IN", "INR", "₹12,34,567.89", "-₹1,234.50", "7.5%", "7 March 2026"),
    ("es_MX", "MXN", "$1,234,567.89", "-$1,234.50", "7.5%", "7 de marzo de 2026"),
]  # fmt: skip


@pytest.mark.parametrize(("locale", "code", "big", "negative", "rate", "day"), TABLE)
def test_money_rates_and_dates_are_written_as_in_the_country(
    locale, code, big, negative, rate, day
):
    here = formats(locale, code)

    assert here.money(Decimal("1234567.89")) == big
    assert here.money(Decimal("-1234.50")) == negative
    assert here.percent(Decimal("7.5")) == rate
    assert here.date(date(2026, 3, 7)) == day


def test_swiss_thousands_have_an_apostrophe_and_a_negative_no_space():
    """U+2019 in CLDR 47; CLDR 48 writes U+0027."""
    here = formats("de_CH", "CHF")
    plain = {here.money(Decimal(a)).replace("\u2019", "'") for a in ("1234567.89",)}

    assert plain == {f"CHF{NB}1'234'567.89"}
    assert here.money(Decimal("-1234.50")).replace("\u2019", "'") == "CHF-1'234.50"
    assert here.percent(Decimal("7.5")) == "7.5%"
    assert here.date(date(2026, 3, 7)) == "7. März 2026"


@pytest.mark.parametrize(
    ("locale", "code", "amount", "written"),
    [
        ("ja_JP", "JPY", "1234568", "\uffe51,234,568"),  # FULLWIDTH YEN SIGN
        ("ja_JP", "JPY", "-1235", "-\uffe51,235"),
        ("ko_KR", "KRW", "1234568", "₩1,234,568"),
        ("vi_VN", "VND", "1234568", f"1.234.568{NB}₫"),
        ("en_US", "KWD", "1234567.890", f"KWD{NB}1,234,567.890"),
        ("en_US", "KWD", "-1234.500", f"-KWD{NB}1,234.500"),
        ("en_GB", "CHF", "-1234.50", f"-CHF{NB}1,234.50"),
        ("ar_KW", "KWD", "1.250", f"\u200f1.250{NB}د.ك.\u200f"),
    ],
)
def test_a_currency_has_its_own_decimals_and_letters_never_touch_figures(
    locale, code, amount, written
):
    """ISO 4217: JPY, KRW, VND 0 digits, KWD 3. UTS #35 part 3, currency spacing."""
    assert formats(locale, code).money(Decimal(amount)) == written


@pytest.mark.parametrize(
    ("code", "amount", "written"),
    [
        ("IQD", "1234.500", f"IQD{NB}1,234.500"),
        ("LBP", "1234.50", f"LBP{NB}1,234.50"),
    ],
)
def test_decimals_are_those_of_the_edition_even_where_cldr_has_others(
    code, amount, written
):
    """ISO 4217 has 3 and 2 digits (from memory), CLDR 47 has 0 for both."""
    assert formats("en_US", code).money(Decimal(amount)) == written


@pytest.mark.parametrize(
    ("amount", "digits"),
    [("1234.565", 2), ("0.125", 2), ("2.5", 0), ("1234.5655", 3)],
)
def test_an_amount_is_never_rounded_for_display(amount, digits):
    """Half-even, the library's default, would give 1,234.56, 0.12 and 2."""
    here = Formats("en_GB", Currency("XTS", digits))
    exact = f"{Decimal(amount):,}"

    assert here.amount(Decimal(amount)) == exact
    assert here.money(Decimal(amount)).endswith(exact)


@pytest.mark.parametrize(
    ("locale", "code", "written"),
    [
        ("en_GB", "GBP", "-1,234.50"),
        ("de_DE", "EUR", "-1.234,50"),
        ("nl_NL", "EUR", "-1.234,50"),
        ("fr_FR", "EUR", f"-1{NN}234,50"),
        ("hi_IN", "INR", "-1,234.50"),
        ("sv_SE", "SEK", f"{MINUS}1{NB}234,50"),
        ("pt_BR", "BRL", "-1.234,50"),
    ],
)
def test_an_amount_in_a_column_is_the_money_without_its_sign(locale, code, written):
    assert formats(locale, code).amount(Decimal("-1234.50")) == written


@pytest.mark.parametrize(
    ("rate", "written"),
    [
        ("7.5", "7.5%"),
        ("8", "8%"),
        ("9.975", "9.975%"),
        ("0", "0%"),
        ("0.25", "0.25%"),
        ("100", "100%"),
        ("20.00", "20%"),
    ],
)
def test_a_rate_is_never_rounded(rate, written):
    """The library's own default writes 8% for 7.5 per cent."""
    assert euros("en_US").percent(Decimal(rate)) == written


def test_right_to_left_money_keeps_the_marks_that_order_it():
    """U+200F and U+200E, as CLDR's patterns and minus sign have them; same in ICU."""
    assert formats("he_IL", "ILS").money(Decimal("-1234.50")) == (
        f"\u200f\u200e-1,234.50{NB}\u200f₪"
    )
    assert formats("ar_EG", "EGP").money(Decimal("1234.50")) == (
        f"\u200f1,234.50{NB}ج.م.\u200f"
    )
    assert formats("fa_IR", "IRR").money(Decimal(-1235)) == (
        f"\u200e{MINUS}\u200e\u0631\u06cc\u0627\u0644{NB}1,235"
    )


# --- Figures that are no money ---


@pytest.mark.parametrize(
    ("figure", "written"),
    [("1234567.50", "1,234,567.50"), ("0.10", "0.10"), ("-3", "-3"), ("1E+1", "10")],
)
def test_a_number_keeps_the_decimals_it_has(figure, written):
    assert euros().number(Decimal(figure)) == written


@pytest.mark.parametrize(
    ("figure", "written"), [("1.50", "1.5"), ("16.00", "16"), ("1000", "1,000")]
)
def test_a_quantity_has_no_closing_zeros(figure, written):
    assert euros().quantity(Decimal(figure)) == written


@pytest.mark.parametrize(
    ("locale", "text", "written"),
    [
        ("en_GB", "0.15 mm", "0.15 mm (0.0059 in)"),
        ("en_GB", "0.2 mm", "0.20 mm (0.0079 in)"),
        ("de_DE", "0.15 mm", "0,15 mm (0,0059 in)"),
        ("en_US", "4 thou", "0.102 mm (0.0040 in)"),
        ("en_US", "0.006 in", "0.152 mm (0.0060 in)"),
    ],
)
def test_a_length_is_written_in_both_units(locale, text, written):
    """1 in = 25.4 mm: 0.15 / 25.4 = 0.0059; 4 x 0.0254 = 0.1016."""
    assert euros(locale).length(parse_length(text, "mm")) == written


def test_minutes_have_one_decimal_so_that_a_column_lines_up():
    assert euros().minutes(Decimal("100.65")) == "100.7"
    assert euros().minutes(Decimal(9)) == "9.0"


# --- Paper ---


def test_letter_is_the_paper_of_these_territories():
    """Unicode CLDR 47, supplemental data, measurementData, paperSize US-Letter."""
    assert " ".join(sorted(LETTER)) == "BZ CA CL CO CR GT MX NI PA PH PR SV US VE"


@pytest.mark.parametrize(
    ("locale", "paper"),
    [
        ("en_US", "Letter"),
        ("fr_CA", "Letter"),
        ("es_CL", "Letter"),
        ("fil_PH", "Letter"),
        ("es_PR", "Letter"),
        ("es_ES", "A4"),
        ("en_GB", "A4"),
        ("ja_JP", "A4"),
        ("pt_BR", "A4"),
        ("en", "A4"),
    ],
)
def test_the_country_decides_the_paper(locale, paper):
    assert euros(locale).paper == paper


# --- Locales ---


def test_a_hyphen_will_do_and_an_unknown_locale_is_named():
    assert euros("de-DE").date(date(2026, 3, 7)) == "7. März 2026"
    for name in ("xx_XX", "english", "", "de_DE_DE_DE", "../de"):
        with pytest.raises(UnknownLocaleError) as refused:
            euros(name).date(date(2026, 3, 7))
        assert repr(name) in str(refused.value)


def test_every_locale_writes_money_amounts_dates_and_rates():
    """All that Babel knows; Latin digits are in each figure, the year in each date."""
    for name in locale_identifiers():
        here = euros(name)
        for written in (
            here.money(Decimal("-1234.50")),
            here.amount(Decimal("-1234.50")),
        ):
            assert "".join(c for c in written if c in "0123456789") == "123450", name
        assert "2026" in here.date(date(2026, 3, 7)), name
        assert "7" in here.percent(Decimal("7.5")), name


@given(st.decimals("-9999999.99", "9999999.99", places=2))
def test_figures_survive_every_way_of_writing(amount):
    digits = f"{abs(amount):.2f}".replace(".", "")
    for locale in ("en_GB", "de_DE", "fr_FR", "en_IN", "de_CH", "sv_SE", "fa_IR"):
        for written in (euros(locale).money(amount), euros(locale).amount(amount)):
            assert "".join(c for c in written if c.isdigit()) == digits


# --- Where not everything can be shown ---


def test_what_cannot_be_shown_is_written_plainly():
    """ISO 4217 code, a plain figure, ISO 8601 date."""
    ascii_only = Formats("ar_EG", CURRENCIES["EGP"], legible=str.isascii)

    assert ascii_only.money(Decimal("-1234.50")) == f"EGP{NB}-1234.50"
    assert ascii_only.amount(Decimal("1234.50")) == "1234.50"
    assert ascii_only.date(date(2026, 3, 7)) == "2026-03-07"
    assert ascii_only.percent(Decimal("7.5")) == "7.5%"


def test_what_can_be_shown_is_left_as_it_is():
    ascii_only = Formats("en_US", CURRENCIES["USD"], legible=str.isascii)

    assert ascii_only.money(Decimal("-1234.50")) == "-$1,234.50"
    assert ascii_only.date(date(2026, 3, 7)) == "March 7, 2026"
