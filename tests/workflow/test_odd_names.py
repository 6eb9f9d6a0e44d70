"""Customers whose names no font has, or with signs that no file may hold.

Whatever stands in the records, every paper and file of theirs can be made and read.
"""

import csv
import io
import re
import zipfile

import pytest
from accounts import agreed, pay, report
from official_rules import official_rules
from openpyxl import load_workbook
from pypdf import PdfReader
from shop import now

from quoting.store.models import Customer, DocumentIssued
from quoting.workflow import documents, exports, quotes

NAMES = {
    "ideographs": "\u5c71\u7530 Heads",
    "Arabic": "\u0645\u062d\u0631\u0643 Heads",
    "pictures": "Osgood \U0001f529 Heads",
    "private use and no character": "Osgood \ue000\uffff Heads",
    "controls": "Os\x07good\x1b[31m\x7f\x85 Heads",
    "lines": "Osgood\r\nHeads\x0b\x0c",
    "turned around": "\u202eOsgood\u2066 Heads",
    "a formula": "=1+1 Heads",
}


@pytest.mark.needs_pdf
@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_every_paper_and_file_can_be_made_and_read(shop, name):
    customer = shop.customer(name, address="1 Row\x07", country="GB")
    quote = agreed(shop, customer)
    with shop.database.transaction() as session:
        of = [quotes.quote_of(session, quote)]
        key = documents.issue(session, of, now()).id
    pay(shop, key, 100)
    with shop.database.transaction() as session:
        documents.statement(session, session.get(Customer, customer), now())

    pdf = PdfReader(io.BytesIO(documents.file_of(shop.database, key).pdf))
    assert "Heads" in "".join(page.extract_text() for page in pdf.pages)
    with shop.database.reading() as session:
        assert session.get(DocumentIssued, key).no_xml == ""
        for syntax in ("cii", "ubl"):
            xml = documents.xml_of(session, key, syntax)[1]
            assert official_rules()(syntax, xml) == []
        made = report(shop)
        archive = zipfile.ZipFile(io.BytesIO(exports.write(session, made, "csv")[1]))
        book = load_workbook(io.BytesIO(exports.write(session, made, "xlsx")[1]))
    text = archive.read("documents.csv").decode("utf-8-sig")
    [row] = csv.DictReader(io.StringIO(text, newline=""))
    kept = ("'" if name.startswith("=") else "") + name.strip()
    assert row["buyer"] == kept
    head, cells = book["documents"].iter_rows(values_only=True)
    assert _decoded(cells[head.index("buyer")]) == kept


def _decoded(text):
    """Return a cell's text; ECMA-376 part 1, 22.9.2.19: _xHHHH_ is a character."""
    return re.sub("_x([0-9A-F]{4})_", lambda sign: chr(int(sign[1], 16)), text)
