"""What a place asks of documents: invented countries XA, XB, so no limit hides here."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from builders import dec, edition
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.country import (
    Country,
    Region,
    TaxRule,
    Wording,
    address_lines,
    in_force,
    surcharge_tax,
)
from quoting.domain.invoice import Document, Kind, Party
from quoting.domain.legal_form import (
    BuyerNeededError,
    Form,
    LimitUnknownError,
    Situation,
    legends_for,
    situations_of,
    title,
    which_document,
)
from quoting.domain.money import Currency
from quoting.domain.tax import Group, Policy, Tax

ON = date(2026, 3, 2)
KNOWN = {"source": "invented", "checked": "from memory", "as_of": ON}


def country(**values):
    """Return the country XA: simplified up to 70, a buyer from 300 on."""
    row = {
        "code": "XA",
        "name": "Ambria",
        "currency": "XTS",
        "address": ("street", "postcode town"),
        "simplified_up_to": dec("70"),
        "buyer_from": dec("300"),
    }
    return Country(**{**KNOWN, **row, **values})


def wording(**values):
    """Return words of XA in which every legend is the name of its column."""
    row = {
        "country": "XA",
        "language": "xx",
        "invoice": "Invoice",
        "deposit_invoice": "Deposit",
        "credit_note": "Credit",
        "tax": "Levy",
        "tax_number": "Levy no.",
        **{each.value: each.value for each in Situation},
    }
    return Wording(**{**KNOWN, **row, **values})


def document(*groups, kind=Kind.INVOICE, number="XA-1", **values):
    """Return a document whose tax rows are given as category, rate, base, tax."""
    rows = {
        "kind": kind,
        "on": ON,
        "supplied": ON,
        "currency": Currency("XTS", 2),
        "locale": "en_GB",
        "seller": Party("A shop", tax_number=number),
        "buyer": None,
        "policy": Policy(),
        "items": (),
        "taxes": tuple(
            Group(Tax("XA", category, dec(rate)), dec(base), dec(tax))
            for category, rate, base, tax in groups
        ),
        "taxes_of": {},
    }
    return Document(**{**rows, **values})


TAXED = ("S", "7.25", "100.00", "7.25")


# Full, simplified, refused.


@pytest.mark.parametrize(
    ("gross", "form"),
    [
        ("0.01", Form.SIMPLIFIED),
        ("70.00", Form.SIMPLIFIED),
        ("70.01", Form.FULL),
        ("299.99", Form.FULL),
    ],
)
def test_an_invoice_that_names_nobody_is_simplified_up_to_the_limit(gross, form):
    assert which_document(country(), dec(gross), "XTS", named=False) is form


def test_from_the_second_limit_on_it_is_refused_with_the_reason():
    with pytest.raises(BuyerNeededError) as refused:
        which_document(country(), dec("300.00"), "XTS", named=False)
    said = str(refused.value)
    assert "In Ambria" in said
    assert "from 300 XTS on" in said
    assert "comes to 300.00" in said
    assert "buyer's name and address" in said


@given(st.integers(0, 100_000))
def test_a_named_buyer_is_never_refused_and_always_has_a_full_invoice(cents):
    gross = cents * dec("0.01")
    assert which_document(country(), gross, "XTS", named=True) is Form.FULL


@given(st.integers(0, 60_000), st.integers(0, 60_000))
def test_a_larger_total_is_never_let_off_more(first, second):
    order = [Form.SIMPLIFIED, Form.FULL, "refused"]

    def strictness(cents):
        try:
            made = which_document(country(), cents * dec("0.01"), "XTS", named=False)
        except BuyerNeededError:
            return order.index("refused")
        return order.index(made)

    assert strictness(min(first, second)) <= strictness(max(first, second))


def test_a_country_without_limits_takes_any_invoice_in_any_currency():
    free = country(simplified_up_to=None, buyer_from=None)
    assert which_document(free, dec("9999999"), "KWD", named=False) is Form.FULL


def test_a_country_may_have_no_simplified_invoice_at_all():
    strict = country(simplified_up_to=None, buyer_from=dec("0"))
    with pytest.raises(BuyerNeededError):
        which_document(strict, dec("0.01"), "XTS", named=False)


def test_limits_in_another_currency_are_not_compared():
    with pytest.raises(LimitUnknownError, match="in XTS; one in KWD names its buyer"):
        which_document(country(), dec("1.00"), "KWD", named=False)
    assert which_document(country(), dec("1.00"), "KWD", named=True) is Form.FULL


def test_the_row_that_began_last_is_in_force():
    always = country(buyer_from=dec("100"))
    later = country(buyer_from=dec("200"), valid_from=ON)
    rows = [later, always]

    assert in_force(rows, ON - timedelta(days=1)) is always
    assert in_force(rows, ON) is later
    assert in_force([later], ON - timedelta(days=1)) is None


# Titles and legends.


def test_each_kind_of_document_has_its_title():
    words = wording(simplified_invoice="Slip")

    assert title(words, Kind.INVOICE) == "Invoice"
    assert title(words, Kind.INVOICE, Form.SIMPLIFIED) == "Slip"
    assert title(wording(), Kind.INVOICE, Form.SIMPLIFIED) == "Invoice"
    assert title(words, Kind.DEPOSIT) == "Deposit"
    assert title(words, Kind.DEPOSIT, Form.SIMPLIFIED) == "Deposit"
    assert title(words, Kind.CREDIT) == "Credit"


@pytest.mark.parametrize(
    ("category", "legend"),
    [
        ("AE", "reverse_charge"),
        ("E", "exempt"),
        ("Z", "zero_rated"),
        ("K", "intra_community"),
        ("G", "export"),
        ("O", "outside_scope"),
    ],
)
def test_a_line_that_is_not_taxed_says_why(category, legend):
    """Categories of UNTDID 5305 as EN 16931 BR-AE, BR-E, BR-Z, BR-IC, BR-G, BR-O."""
    mixed = document(TAXED, (category, "0", "40.00", "0"))
    assert legends_for(wording(), mixed) == (legend,)


def test_a_row_that_comes_to_nothing_says_nothing():
    assert legends_for(wording(), document(TAXED, ("AE", "0", "0.00", "0"))) == ()


def test_legends_stand_in_the_order_of_the_table_and_each_once():
    mixed = document(
        ("G", "0", "1.00", "0"),
        TAXED,
        ("AE", "0", "2.00", "0"),
        ("AE", "0", "3.00", "0"),
    )
    also = [Situation.SETTLEMENT_DISCOUNT, Situation.CASH_ACCOUNTING]
    assert legends_for(wording(), mixed, also) == (
        "reverse_charge",
        "export",
        "cash_accounting",
        "settlement_discount",
    )


def test_an_empty_legend_is_not_printed():
    assert legends_for(wording(export=""), document(("G", "0", "1.00", "0"))) == ()


def test_a_shop_without_a_tax_number_that_charges_none_is_not_registered():
    untaxed = document(("E", "0", "50.00", "0"), number="")
    assert legends_for(wording(), untaxed) == ("unregistered",)
    taxed = document(TAXED, number="")
    assert Situation.UNREGISTERED not in situations_of(taxed)


def test_prices_that_contain_their_tax_say_so():
    inclusive = Policy(inclusive=True)
    assert legends_for(wording(), document(TAXED, policy=inclusive)) == (
        "tax_included",
    )
    free = document(("Z", "0", "50.00", "0"), policy=inclusive)
    assert legends_for(wording(), free) == ("zero_rated",)


def test_a_credit_note_has_its_words_and_offers_no_discount():
    note = document(TAXED, kind=Kind.CREDIT)
    also = [Situation.SETTLEMENT_DISCOUNT, Situation.CASH_ACCOUNTING]
    assert legends_for(wording(), note, also) == (
        "cash_accounting",
        "credit_words",
    )


# Addresses and surcharges.


@given(
    st.lists(st.text("abc", min_size=1), max_size=3),
    st.text("123", max_size=5),
    st.text("xyz", max_size=5),
)
def test_an_address_loses_nothing_and_has_no_empty_line(street, postcode, town):
    made = address_lines(
        ("street", "town, region postcode"), street=street, postcode=postcode, town=town
    )
    assert all(line.strip() == line != "" for line in made)
    text = " ".join(made)
    for part in (*street, postcode, town):
        assert part in text


def test_a_town_that_holds_a_word_of_the_order_is_left_alone():
    made = address_lines(("street", "TOWN region"), street=["Town street"], town="Re")
    assert made == ("Town street", "RE")
    made = address_lines(("postcode town",), street=[], postcode="region", town="x")
    assert made == ("region x",)


@pytest.mark.parametrize(
    ("of_region", "expected"), [("kept", "kept"), ("", "added"), (None, "added")]
)
def test_a_region_comes_before_its_country(of_region, expected):
    region = None
    if of_region is not None:
        region = Region(
            country="XA", code="N", name="North", labour="taxed", parts="taxed",
            outwork="taxed", tax="Levy", surcharge_tax=of_region, **KNOWN,
        )  # fmt: skip
    assert surcharge_tax(country(surcharge_tax="added"), region) == expected


# The place of the shop.


def rule(code, region=""):
    return TaxRule(
        code=code, country="XA", region=region, rule="lump_sum", groups=("labour",),
        tax_code="A", says="so", **KNOWN,
    )  # fmt: skip


def placed(**shop):
    """Return RT-1 in XA with regions N and S and words in xx and yy."""
    base = edition()
    return replace(
        base,
        shop=replace(base.shop, country="XA", **shop),
        countries=[country(), country(code="XB", name="Norvale")],
        wording={("XA", lang): wording(language=lang) for lang in ("xx", "yy", "en")},
        regions={("XA", "N"): None},
        tax_rules={
            row.code: row
            for row in (rule("ALL"), rule("NORTH", "N"), rule("SOUTH", "S"))
        },
    )


def test_the_rules_of_the_shop_are_those_of_its_country_and_region():
    assert [r.code for r in placed().rules] == ["ALL"]
    assert [r.code for r in placed(region="N").rules] == ["ALL", "NORTH"]
    assert edition().rules == []


def test_documents_speak_the_language_named_or_else_that_of_the_locale():
    assert placed(language="yy").words.language == "yy"
    assert placed(locale="en-GB").words.language == "en"
    assert placed(locale="de_DE").words is None
    assert edition().words is None


def test_a_shop_without_a_country_follows_no_rules():
    assert edition().country(ON) is None
    assert placed().country(ON).code == "XA"
    assert edition().region is None


@pytest.mark.parametrize(
    ("address", "street"),
    [
        (("1 Mill Road", "Exampleton", "ZZ1 1ZZ"), ("1 Mill Road",)),
        (("Unit 2", "1 Mill Road", "ZZ1 1ZZ Exampleton"), ("Unit 2", "1 Mill Road")),
        (("1 Mill Road",), ("1 Mill Road",)),
    ],
)
def test_the_street_is_the_address_without_postcode_and_town(address, street):
    base = edition().shop
    shop = replace(base, address=address, postcode="ZZ1 1ZZ", town="Exampleton")
    assert shop.street == street
    assert replace(shop, postcode="", town="").street == address
