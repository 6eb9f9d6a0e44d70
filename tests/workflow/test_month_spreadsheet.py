"""The month's spreadsheet as a spreadsheet program reads it.

LibreOffice Calc opens the file and writes what it found as Flat OpenDocument, where
every cell names its type and its value (OpenDocument 1.3 part 3, OASIS,
office:value-type). The cells are set beside the month's CSV tables and the types that
their Data Package gives.
"""

import csv
import io
import json
import shutil
import subprocess
import zipfile
from decimal import Decimal

import pytest
from lxml import etree
from shop import DAY, now

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Why
from quoting.domain.month import Month
from quoting.store.models import DocumentIssued
from quoting.workflow import exports, invoices, payments, quotes
from quoting.workflow.invoices import Credited
from quoting.workflow.month import report

pytestmark = pytest.mark.needs_libreoffice

#: The value type of a cell by the type of its field in the Data Package.
TYPES = {
    "string": "string",
    "date": "date",
    "datetime": "string",
    "integer": "float",
    "number": "float",
}
NAMES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
}


@pytest.fixture
def month(shop):
    """Return the archive and the spreadsheet of a month in which much happened."""
    customer = shop.customer('=1+1; "Éclair" & Daughters', address="1 Row")
    key = shop.save("16v twin cam valve job", customer=customer)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
        issued = invoices.issue(session, [quote], now()).id
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, issued)
        payments.pay(session, row.gross, "card", now(days=1), document=row)
        note = invoices.credit(
            session,
            row,
            Credited(amount=Decimal("12.35")),
            now(days=2),
            reason=Why.PRICE,
            because="agreed on the phone",
        )
        payments.refund(session, note, 500, "card", "-5 as promised", now(days=3))
    with shop.database.reading() as session:
        made = report(session, Month.of(DAY), DAY)
        return [exports.write(session, made, what)[1] for what in ("csv", "xlsx")]


def exported(archive):
    """Return each table of a month's archive: its names, and rows of typed cells."""
    with zipfile.ZipFile(io.BytesIO(archive)) as packed:
        package = json.loads(packed.read("datapackage.json"))
        for resource in package["resources"]:
            fields = resource["schema"]["fields"]
            text = packed.read(resource["path"]).decode()
            names, *rows = csv.reader(io.StringIO(text, newline=""))
            yield (
                resource["path"].removesuffix(".csv"),
                [("string", name) for name in names],
                *(
                    [
                        _cell(TYPES[field["type"]], text)
                        for field, text in zip(fields, row, strict=True)
                    ]
                    for row in rows
                ),
            )


def _cell(kind, text):
    if not text:
        return None
    return kind, Decimal(text) if kind == "float" else text


def calculated(spreadsheet, folder):
    """Return each sheet as LibreOffice reads it: its name, and rows of typed cells."""
    (folder / "month.xlsx").write_bytes(spreadsheet)
    subprocess.run(
        [
            shutil.which("soffice"),
            f"-env:UserInstallation={(folder / 'settings').as_uri()}",
            "--headless",
            "--convert-to",
            "fods",
            "--outdir",
            folder,
            folder / "month.xlsx",
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    for sheet in etree.parse(folder / "month.fods").iterfind(".//table:table", NAMES):
        rows = [
            [*_found(row)]
            for row in sheet.iterfind(".//table:table-row", NAMES)
            if row.find("table:table-cell[@office:value-type]", NAMES) is not None
            for _ in range(_times(row, "rows"))
        ]
        width = len(rows[0])
        yield (
            sheet.get(_name("table:name")),
            *((row + [None] * width)[:width] for row in rows),
        )


def _found(row):
    for cell in row.iterfind("table:table-cell", NAMES):
        assert cell.get(_name("table:formula")) is None
        match cell.get(_name("office:value-type")):
            case "float":
                found = "float", Decimal(cell.get(_name("office:value")))
            case "date":
                found = "date", cell.get(_name("office:date-value"))
            case None:
                found = None
            case kind:
                lines = cell.iterfind("text:p", NAMES)
                found = kind, "\n".join("".join(each.itertext()) for each in lines)
        if found or cell.getnext() is not None:
            yield from [found] * _times(cell, "columns")


def _times(element, what):
    return int(element.get(_name(f"table:number-{what}-repeated"), "1"))


def _name(prefixed):
    prefix, name = prefixed.split(":")
    return f"{{{NAMES[prefix]}}}{name}"


def test_a_spreadsheet_program_finds_every_figure_date_and_text(month, tmp_path):
    archive, spreadsheet = month
    sheets = {name: rows for name, *rows in calculated(spreadsheet, tmp_path)}
    [[(_, said)]] = sheets.pop("README")
    assert said.startswith("Figures of one month as the shop's records have them.")
    tables = {name: rows for name, *rows in exported(archive)}
    assert list(sheets) == list(tables)
    for name, rows in tables.items():
        assert sheets[name] == rows, name
    documents = sheets["documents"]
    assert documents[1][6] == ("string", '\'=1+1; "Éclair" & Daughters')
    assert documents[2][2] == ("date", "2026-11-27")
    assert documents[2][10] == ("float", Decimal("12.35"))
