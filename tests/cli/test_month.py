"""The month on the command line: its files, and whether it reconciles."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import frictionless
import openpyxl
import page as validator
import pytest
from click.testing import CliRunner
from pypdf import PdfReader
from shop import Shop, now

from quoting.cli import main
from quoting.domain.consent import Consent, How
from quoting.store.database import Database
from quoting.store.models import DocumentIssued
from quoting.workflow import documents, people, quotes

pytestmark = pytest.mark.needs_pdf


@pytest.fixture
def records(tmp_path):
    """Return the address of records with one invoice of November 2026."""
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    database = Database(url)
    database.upgrade()
    shop = Shop(database)
    name = "=cmd|' /C calc'!A0"  # as a hostile customer would be called
    customer = shop.customer(name, address="1 Row")
    key = shop.save("16v twin cam valve job", customer=customer)
    with database.transaction() as session:
        people.open_shop(session, "ada", "Ada", "three short words", "UTC", at=now().at)
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
        documents.issue(session, [quote], now())
    database.close()
    return url


def run(records, out, *more):
    words = ["month", "2026-11", "--out", str(out), "--database", records, *more]
    return CliRunner().invoke(main, words)


def test_the_files_of_a_month_are_valid_and_the_same_again(records, tmp_path):
    first = run(records, tmp_path / "one")
    assert first.exit_code == 0, first.output
    assert "2026-11 reconciles" in first.output
    assert first.output.count("bytes, for the first time\n") == 4
    second = run(records, tmp_path / "two")
    assert second.output.count("bytes, same as sent ") == 4
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert names == [
        "month-2026-11-csv.zip",
        "month-2026-11-xml.zip",
        "month-2026-11.pdf",
        "month-2026-11.xlsx",
    ]
    for name in names:
        data = (tmp_path / "one" / name).read_bytes()
        assert data == (tmp_path / "two" / name).read_bytes()


def test_the_tables_are_a_valid_data_package(records, tmp_path):
    """Data Package v2, checked by the package ``frictionless``."""
    run(records, tmp_path / "out")
    place = tmp_path / "package"
    with zipfile.ZipFile(tmp_path / "out" / "month-2026-11-csv.zip") as packed:
        packed.extractall(place)
    report = frictionless.validate(str(place / "datapackage.json"))
    assert report.valid, report.flatten(["title", "message"])
    documents_csv = (place / "documents.csv").read_bytes()
    assert b"'=cmd|" in documents_csv  # no formula
    assert documents_csv.count(b"\r\n") == 2
    (place / "documents.csv").write_bytes(
        documents_csv.replace(b"2026-11-25", b"never")
    )
    assert not frictionless.validate(str(place / "datapackage.json")).valid


def test_the_spreadsheet_has_typed_cells(records, tmp_path):
    run(records, tmp_path / "out")
    book = openpyxl.load_workbook(tmp_path / "out" / "month-2026-11.xlsx")
    head, row = list(book["documents"].iter_rows(values_only=True))
    told = dict(zip(head, row, strict=True))
    database = Database(records)
    with database.reading() as session:
        [kept] = session.query(DocumentIssued).all()
        assert Decimal(str(told["gross"])) == Decimal(kept.gross) / 100
    database.close()
    assert told["date"].date() == date(2026, 11, 25)
    assert told["buyer"].startswith("'=cmd")
    assert not any(
        cell.data_type == "f" for sheet in book for line in sheet for cell in line
    )


def test_a_month_that_does_not_reconcile_says_so_and_fails(records, tmp_path):
    database = Database(records)
    with database.transaction() as session:
        session.query(DocumentIssued).one().net += 1
    database.close()
    answer = run(records, tmp_path / "out")
    assert answer.exit_code == 1
    assert "2026-11 does not reconcile." in answer.output
    with zipfile.ZipFile(tmp_path / "out" / "month-2026-11-csv.zip") as packed:
        readme = packed.read("README.txt").decode()
    said = "THIS MONTH DOES NOT RECONCILE: lines = documents"
    assert readme.startswith(said)
    with zipfile.ZipFile(tmp_path / "out" / "month-2026-11-xml.zip") as packed:
        assert packed.read("README.txt").decode().startswith(said)
    book = openpyxl.load_workbook(tmp_path / "out" / "month-2026-11.xlsx")
    assert book.worksheets[0]["A1"].value.startswith(said)
    pdf = PdfReader(tmp_path / "out" / "month-2026-11.pdf")
    first = " ".join(pdf.pages[0].extract_text().split())
    assert "This month does not reconcile: lines = documents, before tax" in first


def test_no_month_is_refused_with_what_is_allowed(records, tmp_path):
    answer = CliRunner().invoke(
        main, ["month", "October", "--out", str(tmp_path), "--database", records]
    )
    assert answer.exit_code != 0
    assert "write it like 2026-10" in answer.output


def test_the_report_is_pdf_ua_1_and_says_what_the_month_says(records, tmp_path):
    """ISO 14289-1, checked by ``page-validation``."""
    run(records, tmp_path / "out")
    pdf = (tmp_path / "out" / "month-2026-11.pdf").read_bytes()
    profile = validator.ValidationProfile.PDF_UA_1
    report = validator.validate_pdf_bytes(pdf, profile=profile)
    assert report.is_compliant, report.failures
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    database = Database(records)
    with database.reading() as session:
        [kept] = session.query(DocumentIssued).all()
    database.close()
    assert f"{kept.net / 100:,.2f}" in text
    assert "It reconciles" in text
