"""A CSV file as rows of text cells, whichever way a spreadsheet saved it."""

import csv
import io
from pathlib import Path
from typing import Any

from quoting.domain.errors import Problem
from quoting.domain.tables import Sheet, Table


def read_sheet(
    table: Table[Any], path: Path, file: str, *, required: bool, mark: str = "."
) -> tuple[Sheet, list[Problem]]:
    """Return the cells of a CSV file, and what keeps it from being read.

    Args:
        table: what the file holds; a sheet that cannot be read has its columns.
        path: where it is.
        file: its name in messages.
        required: whether it is a problem that there is no such file.
        mark: the decimal mark of its numbers.
    """
    empty = Sheet(file, list(table.columns()), [], mark)

    def unread(row: int | None, allowed: str) -> tuple[Sheet, list[Problem]]:
        return empty, [Problem(file, row, "", "", allowed)]

    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return unread(None, "the file is missing") if required else (empty, [])
    except OSError as error:
        return unread(None, f"cannot be read: {error.strerror}")
    except UnicodeDecodeError as error:
        row = error.object[: error.start].count(b"\n") + 1
        return unread(row, "is not UTF-8 text; save the sheet as CSV UTF-8")
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter(text), strict=True
    )
    try:
        first = next(reader, [])
        rows = [(reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        return unread(reader.line_num, f"is not CSV: {error}")
    if not first:
        return unread(1, "the line of column names is missing")
    return Sheet(file, [cell.strip() for cell in first], rows, mark), []


def delimiter(text: str) -> str:
    """Return what separates the names in the first line: comma, semicolon or tab."""
    line = text.partition("\n")[0]
    return max((",", ";", "\t"), key=line.count)
