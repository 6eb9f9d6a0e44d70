"""Cells into values: what is read, what is refused, and that nothing is guessed."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pytest
from builders import dec

from quoting.domain.tables import (
    CODE,
    CODES,
    DATE,
    MARGIN,
    NOT_NEGATIVE,
    NUMBER,
    PERCENT,
    POSITIVE,
    SHARE,
    TEXT,
    TEXTS,
    WHOLE,
    YES_NO,
    CellError,
    Sheet,
    Table,
    changed_by_spreadsheets,
    choice,
    choices,
    column,
    read,
)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (NUMBER, "6.50", dec("6.50")),
        (NUMBER, "-0.02", dec("-0.02")),
        (NUMBER, "007", dec("7")),
        (NOT_NEGATIVE, "0", dec("0")),
        (POSITIVE, "0.05", dec("0.05")),
        (SHARE, "0", dec("0")),
        (SHARE, "1", dec("1")),
        (SHARE, "0.5", dec("0.5")),
        (PERCENT, "12.5", dec("12.5")),
        (PERCENT, "250", dec("250")),
        (MARGIN, "99.9", dec("99.9")),
        (WHOLE, "16", 16),
        (YES_NO, "yes", True),
        (YES_NO, "no", False),
        (CODE, "I4-16", "I4-16"),
        (CODES, "STRP WASH;MEAS;  SCUT", ("STRP", "WASH", "MEAS", "SCUT")),
        (TEXT, "any text, with a comma", "any text, with a comma"),
        (TEXTS, "core plug; welch plug ;;", ("core plug", "welch plug")),
        (DATE, "2026-03-02", date(2026, 3, 2)),
        (DATE, "2028-02-29", date(2028, 2, 29)),
        (choice("inlet", "exhaust"), "inlet", "inlet"),
        (choices("bare", "clean"), "bare; clean", ("bare", "clean")),
    ],
)
def test_reads(kind, text, value):
    assert kind.read(text) == value


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (NUMBER, "1,5"),
        (NUMBER, "1.234,5"),
        (NUMBER, "1,234.5"),
        (NUMBER, "1 234"),
        (NUMBER, "1e3"),
        (NUMBER, ".5"),
        (NUMBER, "5."),
        (NUMBER, "+5"),
        (NUMBER, "--5"),
        (NUMBER, "6.50 EUR"),
        (NUMBER, "£6.50"),
        (NUMBER, "six"),
        (NUMBER, "NaN"),
        (NUMBER, "Infinity"),
        (NUMBER, "#REF!"),
        (NUMBER, "=2*3"),
        (NOT_NEGATIVE, "-0.01"),
        (POSITIVE, "0"),
        (POSITIVE, "-1"),
        (SHARE, "1.01"),
        (SHARE, "-0.1"),
        (SHARE, "50"),
        (PERCENT, "-5"),
        (PERCENT, "12.5 %"),
        (MARGIN, "100"),
        (MARGIN, "-1"),
        (WHOLE, "1.5"),
        (WHOLE, "-1"),
        (WHOLE, "4.0"),
        (WHOLE, "²"),
        (WHOLE, "four"),
        (YES_NO, "Yes"),
        (YES_NO, "TRUE"),
        (YES_NO, "1"),
        (CODE, "-SCUT"),
        (CODE, "cut seats"),
        (CODE, "SCUT/VREF"),
        (CODES, "SCUT, VREF"),
        (DATE, "2026-02-29"),
        (DATE, "02/03/2026"),
        (DATE, "2.3.2026"),
        (DATE, "2026-3-2"),
        (DATE, "soon"),
        (choice("inlet", "exhaust"), "Inlet"),
        (choices("bare", "clean"), "bare filthy"),
    ],
)
def test_refuses(kind, text):
    with pytest.raises(CellError):
        kind.read(text)


# Ziemann, Eren and El-Osta, "Gene name errors are widespread in the scientific
# literature", Genome Biology 17:177 (2016): SEPT2 and MARCH1 became dates, the
# accession 2310009E13 became 2.31E+13.
@pytest.mark.parametrize(
    "code",
    ["1E3", "2310009E13", "12e5", "1E+3", "007", "00", "1-2", "12-31", "1-2-2026",
     "2026-03-02", "3.10", "SEPT2", "MARCH1", "MAR1", "DEC-1", "2-Sep", "1.5E3",
     "TRUE"],
)  # fmt: skip
def test_a_spreadsheet_would_change_these_codes(code):
    assert changed_by_spreadsheets(code)


@pytest.mark.parametrize(
    "code",
    ["SCUT", "I4-16", "V8-8", "12", "T10", "A3E1", "B1E", "E13", "1EX", "SEAL-4_5",
     "MARK2", "SEPARATE", "DECK", "OUT", "L02", "1-2-A", "JANITOR1", "AUGER2"],
)  # fmt: skip
def test_a_spreadsheet_leaves_these_codes_alone(code):
    assert not changed_by_spreadsheets(code)


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A bench of an invented shop."""

    code: str = column(CODE, "Code", key=True)
    width: Decimal = column(POSITIVE, "Width in m")
    heads: int = column(WHOLE, "Heads that stand on it", default=1)
    note: str = column(TEXT, "Anything else", default="")


BENCHES = Table("benches", Bench, "Benches")


def sheet(*rows, header="code width heads note", mark="."):
    return Sheet("benches.csv", header.split(), list(enumerate(rows, 2)), mark)


def test_rows_become_records_with_the_line_they_stand_on():
    placed, problems = read(
        BENCHES, sheet(["B1", "1.20", "2", "by the door"], ["B2", "0.90"])
    )

    assert problems == []
    assert placed == [
        (2, Bench(code="B1", width=dec("1.20"), heads=2, note="by the door")),
        (3, Bench(code="B2", width=dec("0.90"))),
    ]


def test_columns_may_stand_in_any_order_and_the_unneeded_may_be_missing():
    placed, problems = read(BENCHES, sheet(["0.90", "B2"], header="width code"))

    assert problems == []
    assert placed[0].record == Bench(code="B2", width=dec("0.90"))


def test_empty_rows_are_passed_over():
    placed, problems = read(
        BENCHES, sheet(["B1", "1.20"], ["", " ", "\t", ""], [], ["B2", "0.90"], [""])
    )

    assert problems == []
    assert [entry.row for entry in placed] == [2, 5]


def test_every_cell_that_cannot_be_read_is_named_and_the_row_is_not_taken():
    placed, problems = read(
        BENCHES,
        sheet(["B 1", "wide", "-2", ""], ["B2", "", "two"], ["B3", "1.00"]),
    )

    assert [entry.record.code for entry in placed] == ["B3"]
    assert [(p.file, p.row, p.column, p.found) for p in problems] == [
        ("benches.csv", 2, "code", "B 1"),
        ("benches.csv", 2, "width", "wide"),
        ("benches.csv", 2, "heads", "-2"),
        ("benches.csv", 3, "width", ""),
        ("benches.csv", 3, "heads", "two"),
    ]
    assert problems[1].allowed == "allowed: a decimal number above 0, such as 0.05"
    assert problems[3].allowed.startswith("empty; ")


def test_unknown_doubled_and_missing_columns_are_named_together():
    placed, problems = read(BENCHES, sheet(["B1"], header="code code colour"))

    assert placed == []
    assert [(p.row, p.column) for p in problems] == [
        (1, "code"), (1, "colour"), (1, "width"),
    ]  # fmt: skip
    assert problems[0].allowed == "the column stands there twice"
    assert problems[1].allowed == "known columns: code, width, heads, note"
    assert problems[2].allowed == "the column is missing"


def test_a_text_with_an_unquoted_comma_is_not_cut_off():
    _, problems = read(BENCHES, sheet(["B1", "1.20", "2", "by the door", " or window"]))

    assert [(p.row, p.found) for p in problems] == [(2, "5 cells")]
    assert "quote" in problems[0].allowed


def test_empty_columns_right_of_the_table_are_passed_over():
    """A sheet in which cells further right were once touched is exported so."""
    placed, problems = read(
        BENCHES,
        Sheet("benches.csv", ["code", "width", "", ""], [(2, ["B1", "1.20", "", ""])]),
    )

    assert problems == []
    assert placed[0].record == Bench(code="B1", width=dec("1.20"))


def test_a_cell_under_no_column_name_is_not_dropped():
    placed, problems = read(
        BENCHES, Sheet("benches.csv", ["code", "width", ""], [(2, ["B1", "1.2", "3"])])
    )

    assert placed == []
    assert [(p.row, p.found, p.allowed) for p in problems] == [
        (2, "3", "the column has no name")
    ]


def test_with_a_decimal_comma_a_point_is_no_number():
    """1.234,5 is neither 1.2345 nor 1234.5 until a person says which."""
    rows = (["B1", "1,20"], ["B2", "1.20"], ["B3", "1.234,5"], ["B4", "1 234,5"])

    placed, problems = read(BENCHES, sheet(*rows, mark=","))

    assert [entry.record.width for entry in placed] == [dec("1.20")]
    assert [(p.row, p.found) for p in problems] == [
        (3, "1.20"), (4, "1.234,5"), (5, "1 234,5"),
    ]  # fmt: skip
    assert all("0,05" in p.allowed for p in problems)


def test_with_a_decimal_point_a_comma_is_no_number():
    _, problems = read(BENCHES, sheet(["B1", "1,20"], ["B3", "1.234,5"]))

    assert [(p.row, p.found) for p in problems] == [(2, "1,20"), (3, "1.234,5")]
