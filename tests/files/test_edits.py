"""Single cells and keys are changed in place: every other byte stays as it was."""

import csv
import io
import tomllib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.errors import ProblemsError
from quoting.files.edits import CsvFile, with_key

#: What may stand in a cell, with all that a CSV file has to quote.
CELLS = st.text(st.sampled_from('ab1 ,;"\n\té'), max_size=6)
NAMES = ("code", "name", "minutes")


@st.composite
def tables(draw):
    """Return a CSV file as some spreadsheet writes it, and its rows."""
    row = st.tuples(CELLS, CELLS, CELLS)
    rows = draw(st.lists(row, min_size=1, max_size=5))
    text = io.StringIO(newline="")
    writer = csv.writer(
        text,
        delimiter=draw(st.sampled_from(",;\t")),
        lineterminator=draw(st.sampled_from(["\n", "\r\n"])),
        quoting=draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])),
    )
    writer.writerows([NAMES, *rows])
    mark = draw(st.sampled_from(["", "\ufeff"]))
    return (mark + text.getvalue()).encode(), rows


def read(content):
    """Return header and rows as Python's own reader has them."""
    text = content.decode("utf-8-sig")
    line = text.partition("\n")[0]
    between = max(",;\t", key=line.count)
    header, *rows = csv.reader(io.StringIO(text, newline=""), delimiter=between)
    return header, [tuple(row) for row in rows]


@given(tables())
def test_a_file_that_is_not_changed_stays_byte_by_byte(table):
    content, rows = table
    file = CsvFile(content)

    assert file.content == content
    told = [tuple(row.values()) for row in file.rows()][: len(rows)]
    assert told == [tuple(cell.strip() for cell in row) for row in rows]


@given(tables(), st.data(), st.sampled_from(["7.5", "7,5", "12"]))
def test_only_the_cell_that_is_meant_changes(table, data, figure):
    content, rows = table
    place = data.draw(st.integers(0, len(rows) - 1))
    column = data.draw(st.sampled_from(NAMES))
    file = CsvFile(content)

    file.put(place, column, figure)

    wanted = [list(row) for row in rows]
    wanted[place][NAMES.index(column)] = figure
    assert read(file.content) == (list(NAMES), [tuple(row) for row in wanted])
    begun, ended = content.split(b"\n")[0], content[-1:]
    assert (file.content.split(b"\n")[0], file.content[-1:]) == (begun, ended)


def test_a_row_and_a_header_that_end_early_are_made_longer():
    file = CsvFile(b'code,name\r\nLEAK\r\n"SKIM","Skim, flat"\r\n')

    file.put(0, "minutes", "7.5")

    assert file.content == (
        b'code,name,minutes\r\nLEAK,,7.5\r\n"SKIM","Skim, flat"\r\n'
    )


def test_a_quoted_figure_stays_quoted_and_a_row_without_end_has_none():
    file = CsvFile(b'code;minutes\n"LEAK";"4"\n"SKIM";"5"')

    file.put(1, "minutes", "7,5")

    assert file.content == b'code;minutes\n"LEAK";"4"\n"SKIM";"7,5"'


SHOP = """\ufeff# edition = "in a remark"\r
about = '''\r
edition = "in a text"\r
'''\r
edition = "2026 \\"autumn\\"" # edition = "spring"\r
'valid_from' = "2026-11-01"\r
rate = 41.00\r
[other]\r
edition = "of a section"\r
""".encode()


def test_a_key_changes_where_it_stands_and_nothing_else_does():
    changed = with_key("shop.toml", SHOP, "edition", 'times of "May"')
    changed = with_key("shop.toml", changed, "valid_from", date(2027, 5, 3))

    assert changed == SHOP.replace(
        b'"2026 \\"autumn\\""', b'"times of \\"May\\""'
    ).replace(b'"2026-11-01"', b'"2027-05-03"')
    told = tomllib.loads(changed.decode("utf-8-sig").replace("\r\n", "\n"))
    assert (told["edition"], told["valid_from"]) == ('times of "May"', "2027-05-03")


def test_a_day_that_is_no_text_stays_a_day():
    changed = with_key("f", b"day = 2026-11-01  # Sunday\n", "day", date(2027, 1, 1))

    assert tomllib.loads(changed.decode())["day"] == date(2027, 1, 1)


@pytest.mark.parametrize("written", [b'edition = """\none"""\n', b"name = 1\n"])
def test_a_key_that_stands_on_no_single_line_is_named(written):
    with pytest.raises(ProblemsError, match=r"shop\.toml, column edition: write the"):
        with_key("shop.toml", written, "edition", "other")
