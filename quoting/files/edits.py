"""Single cells of a CSV file and single keys of a TOML file, changed in place.

Every other byte stays as it was: line ends, quotes, order, remarks, byte-order mark.
"""

import codecs
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal

from quoting.domain.errors import Problem, ProblemsError
from quoting.files.sheet import delimiter

_QUOTED = r'"[^"]*(?:""[^"]*)*"'
_VALUE = r"""("(?:[^"\\\r\n]|\\.)*"|'[^'\r\n]*'|[^\s#"']+)"""


class CsvFile:
    r"""A CSV file whose cells can be changed one by one.

    Attributes:
        header: the names in its first line.

    >>> file = CsvFile(b'code;minutes\r\n"LEAK";12\r\n')
    >>> file.put(0, "minutes", "9,5")
    >>> file.content
    b'code;minutes\r\n"LEAK";9,5\r\n'
    """

    def __init__(self, content: bytes) -> None:
        self._begins = codecs.BOM_UTF8 if content.startswith(codecs.BOM_UTF8) else b""
        text = content.decode("utf-8-sig")
        self._between = delimiter(text)
        self._records = list(_records(text, self._between))
        self.header = [_text(cell) for cell in self._records[0][0]]

    @property
    def content(self) -> bytes:
        """Return the file as it is now."""
        records = (self._between.join(cells) + end for cells, end in self._records)
        return self._begins + "".join(records).encode()

    def rows(self) -> Iterator[Mapping[str, str]]:
        """Yield the cells of each row under the first line, by column."""
        for cells, _end in self._records[1:]:
            yield dict(zip(self.header, map(_text, cells), strict=False))

    def put(self, row: int, column: str, text: str) -> None:
        """Change a cell; a column that is missing comes last.

        Args:
            row: counted from 0, as ``rows`` yields them.
            column: its name.
            text: what stands there from now on; quoted if the cell was.
        """
        if column not in self.header:
            self.header.append(column)
            self._records[0][0].append(column)
        cells, _end = self._records[row + 1]
        place = self.header.index(column)
        cells.extend([""] * (place + 1 - len(cells)))
        quoted = cells[place].startswith('"') or self._between in text
        cells[place] = f'"{text}"' if quoted else text


def _records(text: str, between: str) -> Iterator[tuple[list[str], str]]:
    """Yield the cells of each record as they are written, and what ends it."""
    between = re.escape(between)
    cell = re.compile(rf"({_QUOTED}|[^{between}\r\n]*)({between}|\r\n|\r|\n|\Z)")
    cells: list[str] = []
    for found in cell.finditer(text):
        written, end = found.groups()
        cells.append(written)
        if end.strip("\r\n"):
            continue
        yield cells, end
        if not end:
            return
        cells = []


def _text(written: str) -> str:
    if re.fullmatch(_QUOTED, written):
        written = written[1:-1].replace('""', '"')
    return written.strip()


def with_key(file: str, content: bytes, key: str, value: str | date) -> bytes:
    r"""Return a TOML file with another value of a key that stands in no section.

    A day stays text where it is text.

    Args:
        file: its name in messages.
        content: the file.
        key: its name.
        value: what stands there from now on.

    Raises:
        ProblemsError: the key does not stand with its value on one line.

    >>> with_key("shop.toml", b'day = 2026-11-01 # a Sunday\n', "day", date(2027, 1, 1))
    b'day = 2027-01-01 # a Sunday\n'
    """
    text = content.decode()
    before = _values(text)
    if isinstance(value, date) and isinstance(before.get(key), str):
        value = value.isoformat()
    wanted = {**before, key: value}
    written = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else value
    name = re.escape(key)
    line = rf"""(?m)^\ufeff?[ \t]*(?:{name}|"{name}"|'{name}')[ \t]*=[ \t]*{_VALUE}"""
    for found in re.finditer(line, text):
        changed = f"{text[: found.start(1)]}{written}{text[found.end(1) :]}"
        try:
            if _values(changed) == wanted:
                return changed.encode()
        except tomllib.TOMLDecodeError:
            continue
    said = "write the key and its value on one line, so that it can be changed"
    raise ProblemsError([Problem(file, None, key, "", said)])


def _values(text: str) -> dict[str, object]:
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    return tomllib.loads(text, parse_float=Decimal)
