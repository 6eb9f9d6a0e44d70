"""How long a month of 10,000 invoices with 100,000 lines takes, and its files.

Only run with ``--benchmark-enable``. The floor of the totals and the CSV is plain SQL
that reads the same rows; of the spreadsheet the library alone on the same rows; of the
archive ``zipfile`` on the same bytes.
"""

import io
import sys
import tracemalloc
import zipfile
from datetime import UTC, date, datetime, timedelta

import pytest
import xlsxwriter
from builders import DEMO
from floors import against
from sqlalchemy import insert, text

from quoting.domain.month import Month
from quoting.files.month_files import spreadsheet
from quoting.store.database import Database
from quoting.store.models import (
    DocumentCode,
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
)
from quoting.workflow import exports, month, month_tables, rates

INVOICES, LINES = 10_000, 10
MONTH = Month(2026, 10)
AT = datetime(2026, 10, 1, 8, tzinfo=UTC)
TODAY = date(2026, 11, 2)
XML = b"<x/>" * 400
#: One line of 10.00 and its tax at 18.5 %; an invoice is ten of them.
NET, TAX = 1000, 185


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """Return records with one large month, and a smaller one for nine years before."""
    database = Database(f"sqlite:///{tmp_path_factory.mktemp('month') / 'shop.db'}")
    database.upgrade()
    with database.transaction() as session:
        rates.bring_in(session, DEMO, at=AT, who="benchmark")
    at = 1
    for years in range(9, 0, -1):
        on = MONTH.first - timedelta(days=365 * years)
        at = write(database, on, at, INVOICES // 10)
    write(database, MONTH.first, at, INVOICES)
    yield database
    database.close()


def write(database, first, at, count):
    """Write so many settled invoices from a day on; return the next key."""
    net, tax = LINES * NET, LINES * TAX
    gross = net + tax
    with database.transaction() as session:
        connection = session.connection()
        keys = range(at, at + count)
        days = [first + timedelta(days=i * 28 // count) for i in range(count)]

        def put(table, rows):
            connection.execute(insert(table), rows)

        put(
            DocumentIssued,
            [
                {
                    "id": key, "kind": "invoice", "number": f"I-{key:05}", "on": on,
                    "supplied": on, "currency": "GBP", "net": net, "tax": tax,
                    "gross": gross, "deducted": 0, "left": 0, "settled": on,
                    "reason": "", "because": "", "certificate": "", "issued": AT,
                    "issued_by": "Ada", "content": "{}", "buyer": f"Customer {key}",
                    "no_xml": "", "xml": XML,
                }
                for key, on in zip(keys, days, strict=True)
            ],
        )  # fmt: skip
        put(
            DocumentLine,
            [
                {
                    "document_id": key, "place": place, "kind": "labour",
                    "code": "SCUT", "description": "Cut seats, all sixteen of them",
                    "work": "",
                    "income": "labour", "net": NET, "tax": TAX,
                }
                for key in keys
                for place in range(1, LINES + 1)
            ],
        )  # fmt: skip
        put(
            DocumentCode,
            [
                {"document_id": key, "code": "LAB", "net": net, "tax": tax}
                for key in keys
            ],
        )
        put(
            DocumentTax,
            [
                {
                    "document_id": key, "place": 1, "authority": "Office",
                    "category": "S", "rate": "18.5", "label": "Levy", "reason": "",
                    "base": net, "amount": tax,
                }
                for key in keys
            ],
        )  # fmt: skip
        entries = (
            ("debtors", "", gross), ("income", "labour", -net),
            ("output tax", "Levy", -tax), ("money", "card", gross),
            ("debtors", "", -gross),
        )  # fmt: skip
        put(
            Entry,
            [
                {
                    "event": "invoice", "document_number": f"I-{key:05}", "line": line,
                    "on": on, "tax_date": on, "role": role, "detail": detail,
                    "amount": amount, "base": 0, "authority": "", "category": "",
                    "rate": "", "currency": "GBP", "narrative": "", "at": AT,
                    "by": "Ada",
                }
                for key, on in zip(keys, days, strict=True)
                for line, (role, detail, amount) in enumerate(entries, 1)
            ],
        )  # fmt: skip
    return at + count


PLAIN = (
    "select * from documents where \"on\" between '2026-10-01' and '2026-10-31'",
    "select l.* from document_lines l join documents d on d.id = l.document_id "
    "where d.\"on\" between '2026-10-01' and '2026-10-31'",
    "select t.* from document_taxes t join documents d on d.id = t.document_id "
    "where d.\"on\" between '2026-10-01' and '2026-10-31'",
    "select * from entries where \"on\" between '2026-10-01' and '2026-10-31'",
)


def test_totals_and_csv_beside_plain_sql(benchmark, full):
    def plain():
        with full.reading() as session:
            return sum(len(session.execute(text(query)).all()) for query in PLAIN)

    def ours():
        with full.reading() as session:
            made = month.report(session, MONTH, TODAY)
            return len(exports.write(session, made, "csv")[1])

    assert benchmark.pedantic(ours, rounds=3) > 0
    against(benchmark, "plain SQL reading the same rows", plain, repeat=3)


def test_the_report_alone(benchmark, full):
    def ours():
        with full.reading() as session:
            return month.report(session, MONTH, TODAY)

    made = benchmark.pedantic(ours, rounds=3)
    assert made.moved.invoiced_net == INVOICES * LINES * NET // 100


def test_the_spreadsheet_beside_the_library_alone(benchmark, full):
    with full.reading() as session:
        made = month.report(session, MONTH, TODAY)
        tables = [
            table._replace(rows=list(table.rows))
            for table in month_tables.tables(session, made)
        ]

    def alone():
        book = xlsxwriter.Workbook(io.BytesIO(), {"constant_memory": True})
        for table in tables:
            sheet = book.add_worksheet(table.name[:31])
            for line, row in enumerate(table.rows):
                for at, value in enumerate(row):
                    if isinstance(value, int):
                        sheet.write_number(line, at, value)
                    else:
                        sheet.write_string(line, at, str(value))
        book.close()

    def ours():
        return len(spreadsheet(tables, digits=2, notice=()))

    assert benchmark.pedantic(ours, rounds=1) > 0
    against(benchmark, "XlsxWriter on the same rows", alone, repeat=1)


def test_the_archive_beside_zipfile(benchmark, full):
    files = [(f"I-{n:05}.xml", XML) for n in range(INVOICES)]
    with full.reading() as session:
        made = month.report(session, MONTH, TODAY)

    def alone():
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
            for name, data in files:
                packed.writestr(name, data)

    def ours():
        with full.reading() as session:
            return len(exports.write(session, made, "xml")[1])

    assert benchmark.pedantic(ours, rounds=3) > 0
    against(benchmark, "zipfile on the same bytes", alone, repeat=3)


@pytest.mark.parametrize("what", ["csv", "xlsx", "xml"])
def test_the_memory_that_files_of_ten_times_as_many_invoices_take(full, what):
    """What Python holds at most while a file is made, above what it held before."""
    peaks = []
    for which in (Month(MONTH.year - 1, MONTH.month), MONTH):
        with full.reading() as session:
            made = month.report(session, which, TODAY)
            tracemalloc.start()
            assert exports.write(session, made, what)[1]
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
    small, large = (peak / 2**20 for peak in peaks)
    sys.stderr.write(
        f"\n{what}: {small:.1f} MB for {INVOICES // 10} invoices, {large:.1f} MB for"
        f" {INVOICES}, {large / small:.1f} times as much\n"
    )
