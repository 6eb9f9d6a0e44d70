"""The hybrid file: PDF/A-3a and PDF/UA-1 with the EN 16931 XML in it.

ISO 19005-3 and ISO 14289-1 are checked by ``page-validation``; metadata and attachment
are read back by ``pikepdf``, the text by ``pypdf``.
"""

import io
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import page as validator
import pikepdf
import pytest
from documents import BUYER, KINDS, SELLER, invoice, paper
from pypdf import PdfReader

from quoting.domain.invoice import tax_rows
from quoting.papers.einvoice import cii
from quoting.papers.html import Paper
from quoting.papers.pdf import to_hybrid, to_pdf

pytestmark = pytest.mark.needs_pdf

LONG = (
    "Amalgamated Upper and Lower Marlhaven Agricultural, Marine, Stationary and "
    "Narrow-Gauge Engine Owners' Mutual Repair Association, Northern Branch"
)


def hybrid(document):
    return to_hybrid(paper(document), cii(document))


def failures(pdf):
    """Return the rules of PDF/A-3a and PDF/UA-1 that a file breaks."""
    return [
        failure
        for profile in ("PDF_A_3A", "PDF_UA_1")
        for failure in validator.validate_pdf_bytes(
            pdf, profile=getattr(validator.ValidationProfile, profile)
        ).failures
    ]


def text_of(pdf):
    """Return the text of all pages without white space."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s", "", "".join(page.extract_text() for page in pages))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_pdf_a_3a_and_pdf_ua_1_carries_its_xml_and_shows_its_totals(kind):
    document = KINDS[kind]()
    xml = cii(document)
    pdf = to_hybrid(paper(document), xml)
    assert failures(pdf) == []
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.attachments["factur-x.xml"].get_file().read_bytes() == xml
    text = text_of(pdf)
    rows = [amount for _, *amounts in document.taxes for amount in amounts]
    for amount in (document.net, document.tax, document.gross, document.due, *rows):
        assert f"{amount:,.2f}" in text


def test_the_metadata_names_the_profile_in_one_block_and_the_xml_once():
    """XMP (ISO 16684-1) has one rdf:RDF; Factur-X names profile and file in it."""
    with pikepdf.open(io.BytesIO(hybrid(invoice("T01")))) as opened:
        packet = opened.Root.Metadata.read_bytes().decode()
        assert packet.count("<rdf:RDF") == 1
        metadata = opened.open_metadata()
        factur_x = "{urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#}"
        assert metadata[f"{factur_x}ConformanceLevel"] == "EN 16931"
        assert metadata[f"{factur_x}DocumentFileName"] == "factur-x.xml"
        assert metadata[f"{factur_x}DocumentType"] == "INVOICE"
        assert metadata.pdfa_status == "3A"
        assert metadata["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
        [attached] = opened.Root.AF
        assert attached.AFRelationship == "/Alternative"
        assert attached.UF == "factur-x.xml"
        assert attached.EF.F.Subtype == "/text/xml"


def test_the_same_document_gives_the_same_bytes():
    assert hybrid(invoice("T01")) == hybrid(invoice("T01"))


def test_no_stream_ends_so_that_a_byte_could_be_missed():
    """ISO 19005-3, 6.1.7.1: Length is all before the end of line before endstream.

    Chance ends one compressed stream in 256 with a carriage return; of these files it
    does for two at least.
    """
    html = '<html lang="en"><title>T</title><meta name="author" content="A">'
    bare = Paper(html, "T", date(2026, 3, 2))
    for n in range(100):
        assert b"\r\nendstream" not in to_hybrid(bare, f"<n>{3**n}</n>".encode())


def test_the_validator_sees_what_is_broken():
    """A negative control: a plain PDF/UA file, and a hybrid whose XML is not named."""
    assert failures(to_pdf(paper(invoice("T01"))))
    broken = io.BytesIO()
    with pikepdf.open(io.BytesIO(hybrid(invoice("T01")))) as opened:
        del opened.Root.AF
        opened.save(broken, fix_metadata_version=False)
    assert failures(broken.getvalue())


@pytest.mark.parametrize(
    "name",
    [
        "Osgood \U0001f529 \N{HAMMER AND WRENCH}",
        "\u0645\u062d\u0631\u0643 \u0627\u0644\u0631\u0623\u0633",
        "private \ue000\U000f0000 use",
        "con\x00trol\x07s \uffff",
        "Jose\N{COMBINING ACUTE ACCENT} \N{ZERO WIDTH JOINER}",
        LONG,
    ],
)
def test_a_name_that_no_font_has_does_not_break_the_file(name):
    document = invoice("T01", buyer=replace(BUYER, name=name))
    assert failures(hybrid(document)) == []


def test_sixty_lines_are_all_there_on_several_pages():
    one = invoice("T01")
    first, *_ = one.items
    items = tuple(
        replace(first, place=n, description=f"Repair number {n}") for n in range(1, 61)
    )
    rows = tax_rows(items, one.taxes_of)
    document = replace(one, items=items, taxes=rows, seller=replace(SELLER, name=LONG))
    pdf = hybrid(document)
    assert failures(pdf) == []
    text = text_of(pdf)
    assert len(PdfReader(io.BytesIO(pdf)).pages) > 1
    assert [f"Repairnumber{n}" in text for n in range(1, 61)] == [True] * 60
    assert f"{60 * first.net:,.2f}" in text
    assert document.net == 60 * first.net > Decimal(0)
