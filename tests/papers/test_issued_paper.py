"""What stands on issued documents: invoice, deposit invoice and credit note.

Council Directive 2006/112/EC, Art. 226 (what an invoice shows) and Art. 219 (a credit
note refers to its invoice).
"""

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from documents import BANK, BUYER, KINDS, SELLER, invoice, paper, taxed
from printing import Printed, Shown

from quoting.domain.country import address_lines
from quoting.domain.invoice import Bank, Deducted, Party, tax_rows


def text(document, **words):
    return Shown(paper(document, **words)).text


def test_an_invoice_names_both_parties_its_days_numbers_and_references():
    document = invoice(
        "T01",
        work="W-0001",
        heads=("Four-cylinder",),
        seller=replace(SELLER, register_number="HRB 7"),
    )
    this = text(document)

    for words in (
        "Invoice I-00001", "date 2 March 2026", "seller Tallow Lane Heads",
        "4 Tallow Lane · ZZ99 9ZZ Exampleton", "tax number IE1234567FA",
        "register HRB 7",
        "Osgood & <Daughters> 1 Row Unit 2 Back yard Left door GERMANY",
        "your order PO 7", "registration AB 123", "head Four-cylinder",
        "our quote Q-00001", "work order W-0001", "pay by 1 April 2026",
        "supplied 27 February 2026", "to pay €769.04",
    ):  # fmt: skip
        assert words in this


def test_every_charge_its_tax_letter_and_the_tax_table_are_shown():
    """T01 comes to 640.87 net; 20 % of it is 128.174, so 128.17, and 769.04 in all."""
    document = invoice("T01")
    this = text(document)

    for item in document.items:
        assert re.search(rf"{item.description} .*?A {item.amount:,.2f}", this)
    assert "Net 640.87 Tax 20 % on 640.87 128.17 Total 769.04" in this
    assert "A Tax 20 % 640.87 128.17" in this


def test_taxes_of_several_rates_have_a_letter_and_a_row_each_and_one_sum():
    document = invoice("T02")
    standard, reduced = "LAB", "PAR"
    lower = replace(document.taxes_of[reduced][0], rate=Decimal(5), label="Tax 5 %")
    codes = {**document.taxes_of, reduced: (lower,)}
    rows = tax_rows(document.items, codes)
    this = text(replace(document, taxes_of=codes, taxes=rows))

    for letter, (tax, base, amount) in zip("AB", rows, strict=True):
        assert f"{letter} {tax.label} {base:,.2f} {amount:,.2f}" in this
    assert f"All taxes {document.tax:,.2f}" in this
    assert {bit.code for item in document.items for bit in item.bits} >= {
        standard,
        reduced,
    }


def test_prices_that_contain_tax_add_up_to_the_total_first():
    document = KINDS["prices with their tax"]()
    this = text(document)

    assert f"Total with tax {document.gross:,.2f} Tax 20 % in it" in this
    assert f"Net of tax {document.net:,.2f}" in this
    assert sum(item.amount for item in document.items) == document.gross


def test_where_the_buyer_owes_the_tax_both_tax_numbers_stand_on_it():
    """Art. 226 (3), (4) and (11a)."""
    this = text(KINDS["reverse charge"]())

    assert "tax number IE1234567FA" in this
    assert "your tax number DE123456789" in this
    assert "Reverse charge" in this
    assert "your tax number" not in text(invoice("T01"))


def test_a_document_on_which_no_tax_is_charged_says_why_or_that_there_is_none():
    assert "exempt body, certificate 7" in text(KINDS["exempt"]())
    assert "No tax is charged" in text(replace(invoice("T01"), taxes=()))


def test_each_deposit_is_taken_off_with_number_and_day_and_taxed_ones_with_their_tax():
    """796.61 - 41.67 = 754.94; 159.32 - 8.33 = 150.99; 955.93 - 60.00 = 895.93."""
    this = text(KINDS["deposits taken off"]())

    assert "A-00001 1 February 2026 41.67 8.33 50.00" in this
    assert "D-00002 3 February 2026 \N{EN DASH} \N{EN DASH} 10.00" in this
    assert "left of Tax 20 % 754.94 150.99 905.93" in this
    assert "Deposits received -60.00 To pay 895.93" in this
    assert "to pay €895.93 €955.93 less €60.00 received before" in this


def test_a_deposit_that_was_not_taxed_has_no_columns_of_tax():
    taken = (Deducted("D-00002", date(2026, 2, 3), Decimal("10.00")),)
    this = text(invoice("T01", deposits=taken))

    assert "number of EUR D-00002 3 February 2026 10.00" in this
    assert "tax in it" not in this


def test_a_credit_note_names_its_invoice_and_why_and_asks_for_no_money():
    this = text(KINDS["credit of a line"]())

    assert "Credit note C-00001" in this
    assert "corrects I-00001, 2 March 2026" in this
    assert "why work not done or not accepted" in this
    assert "Two seats were not cut." in this
    assert "credited €15.54" in this
    for words in ("How to pay", "IBAN", "pay by", "to pay", "Guarantee"):
        assert words not in this


def test_a_deposit_invoice_says_what_it_is_for():
    this = text(KINDS["deposit invoice"]())

    assert "Deposit invoice" in this
    assert "Deposit for Q-00001" in this
    assert "Total 120.00" in this


def test_how_to_pay_is_said_with_the_account_as_it_is_printed():
    """ISO 13616-1: the print format of an IBAN is groups of four."""
    document = invoice("T01", terms="Within 30 days.", bank=replace(BANK, holder=""))
    tight = replace(BANK, iban="IE29AIBK93115212345678", holder="")
    line = (
        "By transfer to Tallow Lane Heads, IBAN IE29 AIBK 9311 5212 3456 78, "
        "BIC AIBKIE2D, naming I-00001."
    )

    assert f"How to pay Within 30 days. {line}" in text(document)
    assert line in text(replace(document, bank=tight))
    assert "How to pay" not in text(invoice("T01", bank=Bank()))
    assert "How to pay" not in text(KINDS["more was held than is due"]())


def test_legends_and_the_countrys_words_stand_on_it():
    document = invoice("T01", legends=("First legend.", "Second <legend>."))
    this = text(
        document, title="Rechnung", tax_number="USt-IdNr.", register_number="Register"
    )

    assert "Rechnung I-00001" in this
    assert "USt-IdNr. IE1234567FA" in this
    assert "First legend. Second <legend>." in this


def test_addresses_follow_the_order_of_the_country():
    order = ("street", "postcode TOWN")
    parts = {"postcode": "90210", "town": "Exampleton"}
    at_home = Party("Buyer", ("1 Mill Road",), country="IE", **parts)
    this = text(invoice("T01", buyer=at_home), order=order)

    assert " ".join(address_lines(order, street=["1 Mill Road"], **parts)) in this
    assert "Buyer 1 Mill Road 90210 EXAMPLETON date" in this
    assert "ZZ99 9ZZ EXAMPLETON" in this


def test_a_simplified_document_names_nobody():
    this = text(invoice("T01", buyer=None))

    assert BUYER.name not in this
    assert " for " not in this[: this.index("to pay")]


def test_what_is_without_charge_is_named_in_one_row():
    document = invoice("T01")
    first, second, *others = document.items
    free = tuple(
        replace(
            item,
            bits=tuple(
                bit._replace(amount=Decimal(0), net=Decimal(0), taxes=(Decimal(0),))
                for bit in item.bits
            ),
        )
        for item in (first, second)
    )
    this = text(replace(document, items=(*free, *others)))

    said = "; ".join(
        item.description[0].lower() + item.description[1:] for item in free
    )
    assert f"Without charge: {said}" in this


def test_a_collective_invoice_has_a_heading_for_each_work_order():
    document = invoice("T01")
    half = len(document.items) // 2
    items = tuple(
        replace(item, work="W-00001" if n < half else "W-00002")
        for n, item in enumerate(document.items)
    )
    headings = re.findall(
        r'scope="rowgroup" colspan="4">([^<]+)',
        paper(replace(document, items=items)).html,
    )

    assert headings == ["W-00001", "W-00002"]


def test_a_specimen_is_headed_as_such():
    html = paper(invoice("T01"), specimen=True).html

    assert html.index("specimen, not issued") < html.index("<h1>Invoice I-00001</h1>")
    assert "specimen" not in paper(invoice("T01")).html


@pytest.mark.needs_pdf
@pytest.mark.parametrize("count", [13, 16, 19, 22])
def test_the_sums_are_never_alone_on_a_page(count):
    document = invoice("T01")
    first, *_ = document.items
    items = tuple(
        replace(first, place=n, description=f"Repair number {n}")
        for n in range(1, count + 1)
    )
    rows = tax_rows(items, document.taxes_of)
    pages = Printed(paper(replace(document, items=items, taxes=rows))).pages

    [at] = [page for page in pages if " Total " in page]
    assert len(re.findall(r"Repair number", at[: at.index(" Net ")])) >= 2
    assert re.search(r" Net .* Tax 20 % on .* Total ", at)


def test_what_is_zero_rated_has_a_row_with_its_base():
    zero = taxed(invoice("T01"), "Z", "")

    assert "A Not taxed 640.87 0.00" in text(zero)
    assert "Total 640.87" in text(zero)
