"""Rows of text into typed records: every cell checked, every problem kept.

Pure. A record is a frozen dataclass whose fields were made by ``column``: the field's
name is the column's name in the file, its metadata says how a cell is read and what it
means. The same metadata describes the file to others (docs, Table Schema).
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any, Generic, NamedTuple, TypeVar

from quoting.domain.errors import Problem

Record_co = TypeVar("Record_co", covariant=True)


class CellError(ValueError):
    """A cell's text cannot be read; its argument, if any, says more than the kind."""


class Kind(NamedTuple):
    """How one sort of cell is read.

    Attributes:
        type: the Table Schema type of the cell's text.
        allowed: what may stand there, for the error message.
        read: text (stripped, not empty; decimal point) to value; raises CellError.
        choices: every allowed text, where there is a closed list.
        numeric: whether the text follows the file's decimal mark.
    """

    type: str
    allowed: str
    read: Callable[[str], Any]
    choices: tuple[str, ...] = ()
    numeric: bool = False


_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_MOST_DIGITS = 12
_MOST_DIGITS_OF_WHOLE = 9
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.+-]*")
_NUMBER_START = re.compile(r"[A-Z0-9](?:[A-Z0-9/-]{0,8}[A-Z0-9])?")
_LIST = re.compile(r"[\s;]+")


def _decimal(text: str) -> Decimal:
    if not _NUMBER.fullmatch(text):
        raise CellError
    if max(map(len, text.lstrip("-").split("."))) > _MOST_DIGITS:
        raise CellError(f"at most {_MOST_DIGITS} digits on each side of the point")
    return Decimal(text)


def _not_negative(text: str) -> Decimal:
    if (value := _decimal(text)) < 0:
        raise CellError
    return value


def _positive(text: str) -> Decimal:
    if (value := _decimal(text)) <= 0:
        raise CellError
    return value


def _share(text: str) -> Decimal:
    if not 0 <= (value := _decimal(text)) <= 1:
        raise CellError
    return value


def _below_hundred(text: str) -> Decimal:
    if not 0 <= (value := _decimal(text)) < 100:
        raise CellError
    return value


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdecimal():
        raise CellError
    if len(text) > _MOST_DIGITS_OF_WHOLE:
        raise CellError(f"at most {_MOST_DIGITS_OF_WHOLE} digits")
    return int(text)


def _yes_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise CellError
    return text == "yes"


def _code(text: str) -> str:
    if not _CODE.fullmatch(text):
        raise CellError
    return text


def _number_start(text: str) -> str:
    if not _NUMBER_START.fullmatch(text):
        raise CellError
    return text


def _codes(text: str) -> tuple[str, ...]:
    codes = tuple(_code(part) for part in _LIST.split(text) if part)
    if twice := [code for code in codes if codes.count(code) > 1]:
        raise CellError(f"{twice[0]} stands there twice")
    return codes


def _texts(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CellError from None


TEXT = Kind("string", "any text", str)
TEXTS = Kind("string", "texts separated by semicolons", _texts)
CODE = Kind("string", "a code of letters, digits and . _ + - such as SCUT", _code)
CODES = Kind("string", "codes separated by spaces, such as SCUT VREF", _codes)
NUMBER = Kind("number", "a decimal number such as 6.50", _decimal, numeric=True)
NOT_NEGATIVE = Kind(
    "number", "a decimal number, 0 or more, such as 6.50", _not_negative, numeric=True
)
POSITIVE = Kind(
    "number", "a decimal number above 0, such as 0.05", _positive, numeric=True
)
SHARE = Kind("number", "a share from 0 to 1, such as 0.5", _share, numeric=True)
PERCENT = Kind(
    "number", "a per cent figure, 0 or more, such as 12.5", _not_negative, numeric=True
)
MARGIN = Kind(
    "number", "a per cent figure from 0 to below 100", _below_hundred, numeric=True
)
NUMBER_START = Kind(
    "string",
    "1 to 10 signs of A-Z, 0-9, / and -, neither / nor - first or last, such as 2027/I",
    _number_start,
)
WHOLE = Kind("integer", "a whole number, 0 or more", _whole)
YES_NO = Kind("string", "yes or no", _yes_no, ("yes", "no"))
DATE = Kind("date", "a date such as 2026-03-01", _date)


def choice(*words: str) -> Kind:
    """Return a kind that allows exactly one of *words*.

    >>> choice("A4", "Letter").allowed
    'one of A4, Letter'
    """

    def read(text: str) -> str:
        if text not in words:
            raise CellError
        return text

    return Kind("string", "one of " + ", ".join(words), read, words)


def choices(*words: str) -> Kind:
    """Return a kind that allows any of *words*, separated by spaces."""

    def read(text: str) -> tuple[str, ...]:
        parts = tuple(_LIST.split(text))
        if any(part not in words for part in parts):
            raise CellError
        return parts

    return Kind("string", "any of " + ", ".join(words), read)


class Column(NamedTuple):
    """What one column of a table means and allows."""

    kind: Kind
    about: str
    refers: str = ""  # the table whose codes may stand here
    key: bool = False


def column(
    kind: Kind,
    about: str,
    *,
    default: Any = MISSING,
    refers: str = "",
    key: bool = False,
) -> Any:
    """Declare a field of a record as a column; without a default a cell is required."""
    return field(default=default, metadata={"column": Column(kind, about, refers, key)})


@dataclass(frozen=True, slots=True)
class Table(Generic[Record_co]):
    """A file of rows of one record type."""

    name: str  # of the file, without ending
    record: type[Record_co]
    about: str

    @property
    def file(self) -> str:
        """Return the file's name."""
        return f"{self.name}.csv"

    def columns(self) -> Mapping[str, Column]:
        """Return the columns by name, in the order of the file."""
        return {f.name: f.metadata["column"] for f in fields(self.record)}  # type: ignore[arg-type]

    def required(self) -> tuple[str, ...]:
        """Return the names of the columns whose cells may not be empty."""
        return tuple(
            f.name
            for f in fields(self.record)  # type: ignore[arg-type]
            if f.default is MISSING
        )


class Sheet(NamedTuple):
    """A file as read from disk: text cells, not yet understood.

    Attributes:
        file: its name, for messages.
        header: the names in its first line.
        rows: line number (from 1, as an editor counts) and cells.
        decimal_mark: ``.`` or ``,``.
    """

    file: str
    header: Sequence[str]
    rows: Iterable[tuple[int, Sequence[str]]]
    decimal_mark: str = "."


class Placed(NamedTuple, Generic[Record_co]):
    """A record and the line it stands on."""

    row: int
    record: Record_co


class Cells(NamedTuple):
    """What could be read of one row.

    Attributes:
        row: the line it stands on.
        values: by column, those that could be read.
        whole: whether nothing in the row is a problem.
    """

    row: int
    values: Mapping[str, Any]
    whole: bool


def read(
    table: Table[Record_co], sheet: Sheet
) -> tuple[list[Placed[Record_co]], list[Problem]]:
    """Read every row of *sheet*.

    Returns:
        The records of the rows without a problem, in order, and every problem.
        Rows whose cells are all empty are passed over.
    """
    rows, problems = read_cells(table, sheet)
    return records(table, rows), problems


def records(table: Table[Record_co], rows: Iterable[Cells]) -> list[Placed[Record_co]]:
    """Return the records of the rows without a problem."""
    return [
        Placed(entry.row, table.record(**entry.values)) for entry in rows if entry.whole
    ]


def read_cells(table: Table[Any], sheet: Sheet) -> tuple[list[Cells], list[Problem]]:
    """Read every cell of *sheet*; a row with a problem keeps what could be read."""
    known = table.columns()
    problems = list(_header_problems(table, sheet))
    if problems:
        return [], problems
    needed = table.required()
    readers = [
        (index, name, known[name].kind, name in needed)
        for index, name in enumerate(sheet.header)
        if name
    ]
    nameless = [index for index, name in enumerate(sheet.header) if not name]
    rows: list[Cells] = []
    for row, cells in sheet.rows:
        if not any(cell and not cell.isspace() for cell in cells):
            continue
        before = len(problems)
        values: dict[str, Any] = {}
        if len(cells) > len(sheet.header):
            found = f"{len(cells)} cells"
            allowed = f"at most {len(sheet.header)}; quote a text that has a separator"
            problems.append(Problem(sheet.file, row, "", found, allowed))
        problems += [
            Problem(sheet.file, row, "", cells[index], "the column has no name")
            for index in nameless
            if index < len(cells) and cells[index].strip()
        ]
        for index, name, kind, required in readers:
            text = cells[index].strip() if index < len(cells) else ""
            if not text:
                if required:
                    problems.append(
                        Problem(sheet.file, row, name, "", f"empty; {kind.allowed}")
                    )
                continue
            try:
                values[name] = _read(kind, _point(text, kind, sheet.decimal_mark))
            except CellError as error:
                said = str(error) or f"allowed: {_allowed(kind, sheet.decimal_mark)}"
                problems.append(Problem(sheet.file, row, name, text, said))
        rows.append(Cells(row, values, len(problems) == before))
    return rows, problems


def _read(kind: Kind, text: str) -> Any:
    if _CONTROL.search(text):
        raise CellError("holds a control character; type the text again")
    return kind.read(text)


def _point(text: str, kind: Kind, mark: str) -> str:
    if not kind.numeric or mark == ".":
        return text
    if "." in text:
        raise CellError
    return text.replace(mark, ".")


def _allowed(kind: Kind, mark: str) -> str:
    if kind.numeric and mark != ".":
        return kind.allowed.replace(".", mark)
    return kind.allowed


def _header_problems(table: Table[Any], sheet: Sheet) -> Iterator[Problem]:
    known = table.columns()
    seen: set[str] = set()
    for name in sheet.header:
        if name and name in seen:
            yield Problem(sheet.file, 1, name, name, "the column stands there twice")
        elif name and name not in known:
            yield Problem(
                sheet.file, 1, name, name, f"known columns: {', '.join(known)}"
            )
        seen.add(name)
    for name in table.required():
        if name not in seen:
            yield Problem(sheet.file, 1, name, "", "the column is missing")


_MONTH = (
    "jan(uary)?|feb(ruary)?|mar(ch)?|apr(il)?|may|june?|july?|aug(ust)?|"
    "sept?(ember)?|oct(ober)?|nov(ember)?|dec(ember)?"
)
_CHANGED_BY_SPREADSHEETS = re.compile(
    r"\d+(\.\d+)?e[+-]?\d+|0\d+|\d+\.\d*0|true|false|"
    r"\d{1,2}-\d{1,2}(-\d{1,4})?|\d{4}-\d{1,2}(-\d{1,2})?|"
    rf"({_MONTH})-?\d{{1,4}}|\d{{1,2}}-?({_MONTH})(-?\d{{1,4}})?",
    re.IGNORECASE,
)


def changed_by_spreadsheets(code: str) -> bool:
    """Tell whether a spreadsheet would turn *code* into a number, a date or a word.

    Source:
        Ziemann, Eren and El-Osta, "Gene name errors are widespread in the scientific
        literature", Genome Biology 17:177 (2016).

    >>> [changed_by_spreadsheets(code) for code in ("1E3", "007", "1-2", "SCUT")]
    [True, True, True, False]
    """
    return _CHANGED_BY_SPREADSHEETS.fullmatch(code) is not None


def near(code: str, known: Iterable[str]) -> str:
    """Return the end of a message that names the codes most like a wrong one.

    >>> near("SCTU", ["SCUT", "VREF"])
    '; near it: SCUT'
    """
    from difflib import get_close_matches  # only when there is something to mend

    found = get_close_matches(code, sorted(known), n=3)
    return f"; near it: {', '.join(found)}" if found else ""
