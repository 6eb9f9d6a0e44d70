"""The page about a month's files describes each table and column that they have."""

import re
from pathlib import Path

from shop import DAY

from quoting.domain.month import Month
from quoting.workflow import month, month_tables

PAGE = Path(__file__).parents[2] / "docs" / "month-files.md"


def described():
    """Return by table its title, and name and type of each column."""
    _, *sections = re.split(
        r"^### `(\w+)`$", PAGE.read_text("utf-8"), flags=re.MULTILINE
    )
    for name, text in zip(sections[::2], sections[1::2], strict=True):
        columns = re.findall(r"^\| `(\w+)` \| (\w+) \| \S.* \|$", text, re.MULTILINE)
        yield name, text.strip(), columns


def test_the_page_describes_every_table_and_column_in_order(shop):
    with shop.database.reading() as session:
        made = month.report(session, Month.of(DAY), DAY)
        tables = month_tables.tables(session, made)
    pages = list(described())
    assert [(name, columns) for name, _, columns in pages] == [
        (table.name, [(column.name, column.kind) for column in table.columns])
        for table in tables
    ]
    for table, (_, text, _) in zip(tables, pages, strict=True):
        assert text.startswith(f"{table.title}. ")
