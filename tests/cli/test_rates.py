"""Checking, describing and printing rate tables on the command line."""

import json
import shutil

import pytest
from builders import DEMO, RT1
from click.testing import CliRunner

from quoting.cli import main


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_a_sound_edition_is_counted():
    result = run("rates", "check", DEMO)

    assert result.exit_code == 0
    assert "69 operations" in result.stdout
    assert result.stderr == ""


def test_every_problem_of_every_file_is_named_at_once(tmp_path):
    folder = shutil.copytree(RT1, tmp_path / "rates")
    operations = folder / "operations.csv"
    text = operations.read_text(encoding="utf-8")
    operations.write_text(
        text.replace("STRP,Strip,SHOP", "STRP,Strip,SHED").replace("28.00", "28,00"),
        encoding="utf-8",
    )
    fees = folder / "fees.csv"
    fees.write_text(
        fees.read_text(encoding="utf-8").replace("6.50", "minus six"), encoding="utf-8"
    )
    result = run("rates", "check", folder)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert "operations.csv, row 2, column work_centre: found 'SHED'" in result.stderr
    assert "fees.csv, row 2, column price: found 'minus six'" in result.stderr
    assert "operations.csv, row 4: found '16 cells'; at most 15" in result.stderr


def test_a_folder_that_is_none_is_named(tmp_path):
    result = run("rates", "check", tmp_path / "nothing here")

    assert result.exit_code == 2
    assert "is no folder" in result.stderr


def test_an_empty_folder_names_what_is_missing(tmp_path):
    result = run("rates", "check", tmp_path)

    assert result.exit_code == 2
    assert "shop.toml: cannot be read" in result.stderr


def test_a_code_that_a_spreadsheet_alters_is_a_warning_only(tmp_path):
    folder = shutil.copytree(RT1, tmp_path / "rates")
    fees = folder / "fees.csv"
    fees.write_text(
        fees.read_text(encoding="utf-8") + "1E3,Storage,5.00,FEE,each,\n",
        encoding="utf-8",
    )
    result = run("rates", "check", folder)

    assert result.exit_code == 0
    assert "warning: found '1E3'" in result.stderr


def test_the_descriptor_names_every_table():
    package = json.loads(run("rates", "describe").stdout)

    names = {resource["name"] for resource in package["resources"]}
    assert {"operations", "layouts", "class-prices", "cautions"} <= names
    for resource in package["resources"]:
        for field in resource["schema"]["fields"]:
            assert field["description"], (resource["name"], field["name"])


@pytest.mark.needs_pdf
def test_the_price_board_is_printed(tmp_path):
    target = tmp_path / "board.pdf"
    result = run("rates", "board", DEMO, "--pdf", target, "--date", "2026-11-25")

    assert result.exit_code == 0, result.stderr
    assert target.read_bytes().startswith(b"%PDF-")
