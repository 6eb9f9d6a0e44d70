"""TOML files with the line of every key, so that a problem can be placed."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from quoting.domain.errors import Problem, ProblemsError
from quoting.domain.tables import Sheet, Table, read

Keys = tuple[str | int, ...]
Record = TypeVar("Record")

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]")
_KEY = re.compile(r"""\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[\w-]+)*)\s*=""")
_LONGEST_FIGURE = 30
_AT_LINE = re.compile(r"\(at line (\d+)")


class Document(NamedTuple):
    """A TOML file: its name, its values, and the line of every key."""

    file: str
    values: Mapping[str, Any]
    lines: Mapping[Keys, int]

    def line(self, path: Keys) -> int | None:
        """Return the line of *path*, or of the nearest key around it."""
        while path:
            if (found := self.lines.get(path)) is not None:
                return found
            inside = [n for key, n in self.lines.items() if key[: len(path)] == path]
            if inside:
                return min(inside)
            path = path[:-1]
        return None

    def problem(self, path: Keys, found: object, allowed: str) -> Problem:
        """Return a problem placed at *path*."""
        column = str(path[-1]) if path and isinstance(path[-1], str) else ""
        text = "" if found is None else as_text(found)
        return Problem(self.file, self.line(path), column, text, allowed)


def load(path: Path) -> Document:
    """Read a TOML file; decimal numbers stay exact.

    Raises:
        ProblemsError: the file is missing, is not UTF-8, is not TOML, or holds what no
            one would write.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ProblemsError(
            [Problem(path.name, None, "", "", f"cannot be read: {error.strerror}")]
        ) from None
    except UnicodeDecodeError:
        raise ProblemsError(
            [Problem(path.name, None, "", "", "is not UTF-8 text; save it as UTF-8")]
        ) from None
    try:
        values = tomllib.loads(text.replace("\r\n", "\n"), parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        at = _AT_LINE.search(str(error))
        line = int(at.group(1)) if at else None
        raise ProblemsError(
            [Problem(path.name, line, "", "", f"is not TOML: {error}")]
        ) from None
    except RecursionError:
        raise ProblemsError(
            [Problem(path.name, None, "", "", "stands too deep in itself")]
        ) from None
    except (ValueError, ArithmeticError):
        raise ProblemsError(
            [Problem(path.name, None, "", "", "a figure in it has too many digits")]
        ) from None
    return Document(path.name, values, _lines(text))


def _lines(text: str) -> Mapping[Keys, int]:
    lines: dict[Keys, int] = {}
    counts: dict[Keys, int] = {}
    table: Keys = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            path: Keys = ()
            for part in header.group(2).split("."):
                path = (*path, part.strip().strip("\"'"))
                if path in counts and path != tuple(header.group(2).split(".")):
                    path = (*path, counts[path])
            if header.group(1) == "[[":
                counts[path] = counts.get(path, -1) + 1
                path = (*path, counts[path])
            table = path
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            parts = tuple(p.strip().strip("\"'") for p in key.group(1).split("."))
            lines.setdefault((*table, *parts), number)
    return lines


def as_text(value: object) -> str:
    """Return a TOML value as the text that a table's cell would hold."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "; ".join(as_text(item) for item in value)
    if isinstance(value, dict):
        return f"{{ {', '.join(value)} }}"
    if isinstance(value, Decimal) and abs(value.adjusted()) < _LONGEST_FIGURE:
        return f"{value:f}"
    return str(value)


def record(
    document: Document,
    table: Table[Record],
    values: Mapping[str, Any],
    path: Keys = (),
    leave: Sequence[str] = (),
    places: Mapping[str, Keys] | None = None,
) -> tuple[Record | None, list[Problem]]:
    """Read one mapping of a document as a record of *table*.

    Args:
        document: where it stands, for the messages.
        table: the record type.
        values: the mapping.
        path: its place in the document.
        leave: keys that somebody else reads.
        places: keys that stand elsewhere than in *path*, and where.

    Returns:
        The record, or None beside the problems.
    """
    taken = {key: as_text(value) for key, value in values.items() if key not in leave}
    sheet = Sheet(document.file, list(taken), [(0, list(taken.values()))])
    if not any(taken.values()):
        sheet = Sheet(document.file, list(taken), [])
    placed, problems = read(table, sheet)
    if not placed and not problems:
        problems = [
            Problem(document.file, None, name, "", "is missing")
            for name in table.required()
        ]
        if not problems:
            return table.record(), []
    tables = [key for key in taken if isinstance(values[key], dict)]
    problems += [
        Problem(document.file, None, key, taken[key], "allowed: one value, no table")
        for key in tables
    ]
    found = [
        Problem(
            problem.file,
            document.line((places or {}).get(problem.column, (*path, problem.column))),
            problem.column,
            problem.found,
            _for_toml(problem.allowed, leave),
        )
        for problem in problems
    ]
    return (placed[0].record if placed else None), found


def _for_toml(allowed: str, others: Sequence[str]) -> str:
    """Return what a table's reader said in the words of a TOML file."""
    allowed = allowed.replace("the column is missing", "is missing")
    if allowed.startswith("known columns: "):
        known = allowed.removeprefix("known columns: ")
        return f"known keys: {', '.join([known, *others])}"
    return allowed
