"""A month's files for the accountant: CSV with its descriptor, a spreadsheet, XML.

Rows are read once and written as they come, so memory holds the packed file alone.
Amounts come in as whole numbers of the smallest unit and go out as exact decimals with
a point, or as typed cells. The same rows give the same bytes.

Source:
    RFC 4180 (CSV), ISO 8601 (days), ISO 4217 (currencies), Data Package v2
    (datapackage.org), ECMA-376 (XLSX).
"""

import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any, NamedTuple

#: Kinds of columns, as Table Schema names their types.
TEXT, DAY, INSTANT = "string", "date", "datetime"
WHOLE, MONEY = "integer", "number"
#: What begins a formula in a spreadsheet; such a text is written behind this mark.
_FORMULA, _GUARD = ("=", "+", "-", "@", "\t", "\r"), "'"
#: The day of every file in an archive, and of a spreadsheet's own data.
_STILL = (1980, 1, 1, 0, 0, 0)
#: From this day on a spreadsheet counts days, for any from March 1900 on.
_FIRST_DAY = date(1899, 12, 30)
#: What stands in quotes in CSV (RFC 4180, 2.6).
_PARTING = re.compile('[",\r\n]')
#: Rows that are made into text at a time.
_AT_A_TIME = 2000

Row = Sequence[object]


class Column(NamedTuple):
    """A column of a table: its name, kind and meaning.

    ``own`` says that its words are the shop's own names, which may be changed without
    changing what happened.
    """

    name: str
    kind: str
    meaning: str
    own: bool = False


class Table(NamedTuple):
    """A table of the month.

    Attributes:
        name: of the file, without ending.
        title: in words.
        columns: in their order; the first ``keys`` of them tell rows apart.
        rows: values in the order of the columns; amounts as whole smallest units.
        keys: how many columns tell rows apart; 0: none do.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: Iterable[Row]
    keys: int = 1


def decimal_text(minor: int, digits: int) -> str:
    """Return a number of smallest units as an exact decimal.

    >>> decimal_text(-5, 2), decimal_text(1500, 3), decimal_text(7, 0)
    ('-0.05', '1.500', '7')
    """
    if not digits:
        return str(minor)
    whole = str(abs(minor)).zfill(digits + 1)
    sign = "-" if minor < 0 else ""
    return f"{sign}{whole[:-digits]}.{whole[-digits:]}"


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    >>> guarded("=1+1"), guarded("Osgood")
    ("'=1+1", 'Osgood')
    """
    return _GUARD + text if text.startswith(_FORMULA) else text


def csv_archive(
    tables: Iterable[Table], *, name: str, digits: int, notice: Sequence[str]
) -> bytes:
    """Return the tables as a Data Package in one ZIP file.

    Args:
        tables: of the month.
        name: of the package, such as ``month-2026-10``.
        digits: decimals of the currency.
        notice: what stands on top of the README; says so if the month does not
            reconcile.
    """
    target = io.BytesIO()
    resources, words = [], [*notice, ""]
    with zipfile.ZipFile(target, "w") as packed:
        for table in tables:
            written = _Written(f"{table.name}.csv")
            with packed.open(_entry(written.name), "w") as file:
                for data in _csv(table, digits, written):
                    file.write(data)
            resources.append(_resource(table, written))
            words.append(f"{written.name}: {table.title}, {written.rows} rows")
            words += [*_dictionary(table), ""]
        package = {
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": name,
            "resources": resources,
        }
        described = json.dumps(package, indent=2, ensure_ascii=False) + "\n"
        packed.writestr(_entry("datapackage.json"), described.encode())
        packed.writestr(_entry("README.txt"), "\r\n".join(words).encode())
    return target.getvalue()


def _dictionary(table: Table) -> Iterator[str]:
    for column in table.columns:
        yield f"  {column.name}: {column.meaning}"


class _Written:
    """What was written to a file so far."""

    def __init__(self, name: str) -> None:
        self.name, self.rows, self.size = name, 0, 0
        self.hash = hashlib.sha256()

    def add(self, data: bytes, rows: int) -> bytes:
        self.rows += rows
        self.size += len(data)
        self.hash.update(data)
        return data


def _csv(table: Table, digits: int, written: _Written) -> Iterator[bytes]:
    """Yield a table as CSV, some thousand rows at a time, column by column."""
    line = ",".join(["%s"] * len(table.columns)) + "\r\n"
    names = line % tuple(_quoted(column.name) for column in table.columns)
    yield written.add(names.encode(), 0)
    rows = iter(table.rows)
    while some := list(islice(rows, _AT_A_TIME)):
        columns = zip(table.columns, zip(*some, strict=True), strict=True)
        cells = [_cells(column.kind, values, digits) for column, values in columns]
        lines = "".join(map(line.__mod__, zip(*cells, strict=True)))
        yield written.add(lines.encode(), len(some))


def _cells(kind: str, values: Sequence[Any], digits: int) -> Iterable[str]:
    """Return a column as cells; a value that comes again is written once."""
    distinct = set(values)
    distinct.discard(None)
    if kind == TEXT:
        cells = {value: _quoted(guarded(value)) for value in distinct}
    elif kind == MONEY:
        cells = {value: decimal_text(value, digits) for value in distinct}
    elif kind == INSTANT:
        cells = {value: value.isoformat() for value in distinct}
    else:
        cells = {value: str(value) for value in distinct}
    cells[None] = ""
    return map(cells.__getitem__, values)


def _quoted(text: str) -> str:
    """Return a cell; one that holds what parts cells or lines stands in quotes."""
    return '"' + text.replace('"', '""') + '"' if _PARTING.search(text) else text


def _resource(table: Table, written: _Written) -> dict[str, object]:
    schema: dict[str, object] = {
        "fields": [
            {"name": c.name, "type": c.kind, "description": c.meaning}
            for c in table.columns
        ]
    }
    if table.keys:
        schema["primaryKey"] = [c.name for c in table.columns[: table.keys]]
    return {
        "name": table.name.replace("_", "-"),
        "title": table.title,
        "path": written.name,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": written.size,
        "hash": f"sha256:{written.hash.hexdigest()}",
        "schema": schema,
    }


def spreadsheet(
    tables: Iterable[Table], *, digits: int, notice: Sequence[str]
) -> bytes:
    """Return the tables as one spreadsheet with typed cells, a sheet for each.

    The first sheet, ``README``, says what stands in *notice*.
    """
    import xlsxwriter

    target = io.BytesIO()
    book = xlsxwriter.Workbook(
        target, {"constant_memory": True, "strings_to_urls": False}
    )
    book.set_properties({"created": _created(), "comments": " ".join(notice)})
    head = book.add_format({"bold": True})
    money = book.add_format(
        {"num_format": "#,##0" + ("." + "0" * digits if digits else "")}
    )
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    styles = {MONEY: money, DAY: day}
    first = book.add_worksheet("README")
    first.set_column(0, 0, 100)
    for line, said in enumerate(notice):
        first.write_string(line, 0, said, head if line < len(notice) - 1 else None)
    for table in tables:
        sheet = book.add_worksheet(table.name[:31])
        sheet.freeze_panes(1, 0)
        for at, column in enumerate(table.columns):
            sheet.write_string(0, at, column.name, head)
        columns = [(c.kind, styles.get(c.kind)) for c in table.columns]
        text, number = sheet.write_string, sheet.write_number
        for line, row in enumerate(table.rows, 1):
            for at, (kind, style) in enumerate(columns):
                value: Any = row[at]
                if value is None or value == "":
                    continue
                if kind == TEXT:
                    text(line, at, guarded(value))
                elif kind == MONEY:
                    number(line, at, value / 10**digits, style)
                elif kind == DAY:
                    number(line, at, (value - _FIRST_DAY).days, style)
                elif kind == WHOLE:
                    number(line, at, value)
                else:
                    text(line, at, value.isoformat())
    book.close()
    return target.getvalue()


def _created() -> datetime:
    return datetime(*_STILL, tzinfo=UTC).replace(tzinfo=None)


def archive(files: Iterable[tuple[str, bytes]], *, notice: Sequence[str]) -> bytes:
    """Return files in one ZIP file behind a README; the same ones give the same."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as packed:
        packed.writestr(_entry("README.txt"), "\r\n".join([*notice, ""]).encode())
        for name, data in files:
            packed.writestr(_entry(name), data)
    return target.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _STILL)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    return entry


# What was sent before.


class Digest(NamedTuple):
    """What tells whether rows are the same another time.

    Attributes:
        rows: of every row its table, its key and a short hash; packed.
        seal: SHA-256 of all rows without the shop's own names, in hexadecimal.
    """

    rows: bytes
    seal: str


def digest(tables: Iterable[Table]) -> Digest:
    """Return the digest of all rows of some tables."""
    lines, seal = [], hashlib.sha256()
    for table in tables:
        bare = [at for at, column in enumerate(table.columns) if not column.own]
        for row in table.rows:
            lines.append(json.dumps([table.name, _key(table, row), _short(row)]))
            seal.update(_bytes([row[at] for at in bare]))
    return Digest(zlib.compress("\n".join(lines).encode(), 6), seal.hexdigest())


def _key(table: Table, row: Row) -> str:
    return " ".join(str(value) for value in row[: table.keys or len(row)])


def _short(row: Row) -> str:
    return hashlib.sha256(_bytes(row)).hexdigest()[:16]


def _bytes(row: Row) -> bytes:
    return ("\x1f".join(map(str, row)) + "\x1e").encode()


def differing(before: bytes, after: bytes) -> tuple[str, ...]:
    r"""Return which rows differ between those of two digests: table and key, in order.

    >>> first = Table("t", "", (Column("a", TEXT, ""),), [("1",)])
    >>> other = Table("t", "", (Column("a", TEXT, ""),), [("1",), ("2\t",)])
    >>> differing(digest([first]).rows, digest([other]).rows)
    ('t 2\t',)
    """
    old, new = _told(before), _told(after)
    rows = dict.fromkeys([*old, *new])
    return tuple(
        f"{name} {key}"
        for name, key in rows
        if old.get((name, key)) != new.get((name, key))
    )


def _told(packed: bytes) -> dict[tuple[str, str], str]:
    told = {}
    for line in zlib.decompress(packed).decode().splitlines():
        name, key, short = json.loads(line)
        told[name, key] = short
    return told
