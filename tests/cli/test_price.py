"""The command line as its users meet it: answers, papers, and refusals with exit 2."""

import json
import os
import subprocess
import sys
from decimal import Decimal

import pytest
from builders import DEMO, JOBS, RT1
from click.testing import CliRunner

from quoting.cli import main


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def answer(*words):
    result = run("price", *words, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_a_job_file_is_priced_as_json_with_exact_decimal_strings():
    """T01: net 640.87, tax 128.17, total 769.04."""
    found = answer(JOBS / "T01.toml", "--rates", RT1)

    assert found["totals"]["net"] == "640.87"
    assert found["totals"]["tax"] == "128.17"
    assert found["totals"]["total"] == "769.04"
    assert found["totals"]["due"] == "769.04"
    assert found["taxes"] == [
        {
            "authority": "State",
            "category": "S",
            "rate": "20",
            "base": "640.87",
            "tax": "128.17",
        }
    ]


def test_every_field_of_the_answer_is_there():
    found = answer(JOBS / "T01.toml", "--rates", RT1)

    assert set(found) >= {
        "lines", "taxes", "totals", "not_placed", "alternatives", "candidates",
    }  # fmt: skip
    assert list(found["totals"]) == [
        "labour", "discount", "rush", "make_up", "sundries", "fees", "parts",
        "outwork", "exchange", "surcharges", "adjustment", "net", "tax", "total",
        "deposits", "due",
    ]  # fmt: skip
    for line in found["lines"]:
        assert list(line) == [
            "kind", "code", "description", "heads", "positions", "quantity", "base",
            "bases", "unit_price", "steps", "modifiers", "minimum", "net", "tax_code",
            "group", "minutes", "why",
        ]  # fmt: skip


def test_a_line_says_what_was_selected_and_how_it_was_worked_out():
    """Three exhaust guides with thin stems: 12 + 3 x 16 x 1.15 = 67.20."""
    guides = answer(JOBS / "T03.toml", "--rates", RT1)["lines"][0]

    assert guides["code"] == "GREP"
    assert guides["positions"] == ["A1E1", "A2E1", "A3E2"]
    assert (guides["base"], guides["unit_price"]) == ("12.00", "16.00")
    assert (guides["quantity"], guides["bases"]) == ("3", "1")
    assert guides["modifiers"] == ["STEM"]
    assert guides["net"] == "67.20"
    assert guides["why"] == (
        "base 12.00 + 3 exhaust guides x 16.00 x 1.15 stem under 6 mm"
    )


def test_the_lines_of_the_answer_add_up_to_its_net():
    for path in sorted(JOBS.glob("T*.toml")):
        found = answer(path, "--rates", RT1)
        lines = sum(Decimal(line["net"]) for line in found["lines"])
        assert lines == Decimal(found["totals"]["net"]), path.name


def test_alternatives_stand_beside_each_other_and_the_first_on_top():
    found = answer(DEMO / "demo_job.toml")

    labels = [way["label"] for way in found["alternatives"]]
    assert labels == ["Repair", "Repair with new exhaust guides"]
    assert found["totals"] == found["alternatives"][0]["totals"]
    assert found["lines"] == found["alternatives"][0]["lines"]
    assert found["candidates"] == []


def test_the_text_names_every_line_and_total():
    result = run("price", JOBS / "T02.toml", "--rates", RT1)

    assert result.exit_code == 0
    for text in ("Reface valves", "75.60", "796.61", "159.32", "955.93", "805.93"):
        assert text in result.stdout
    assert "margin" not in result.stdout


def test_costs_are_shown_only_when_asked_for():
    """T01 on RT-1 has no minutes; the free line of W14 costs 1.5 h x 40.00 = 60.00."""
    shown = run("price", JOBS / "W14.toml", "--rates", RT1, "--costs").stdout

    assert "margin" in shown
    assert "60.00" in shown
    assert "57.00" in shown  # 117.00 - 60.00


def test_the_locale_writes_the_figures():
    result = run("price", JOBS / "T02.toml", "--rates", RT1, "--locale", "de_DE")

    assert "796,61" in result.stdout
    assert "2. März 2026" in result.stdout


def test_an_unknown_locale_is_refused():
    result = run("price", JOBS / "T02.toml", "--rates", RT1, "--locale", "xx_YY")

    assert result.exit_code == 2
    assert "no locale 'xx_YY'" in result.stderr


@pytest.fixture
def bad_job(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(
        'date = 2026-03-02\nrush = "SOON"\n\n[[heads]]\nlayout = "I4-16"\n\n'
        '[[work]]\nop = "SKUT"\n\n[[work]]\nop = "GREP"\npositions = ["3E1"]\n'
        'price = "-4"\n',
        encoding="utf-8",
    )
    return path


def test_every_problem_is_named_with_file_row_and_column(bad_job):
    result = run("price", bad_job, "--rates", RT1)

    assert result.exit_code == 2
    assert result.stdout == ""
    rush, skut, position, price = result.stderr.splitlines()
    assert rush.startswith(
        "bad.toml, row 2, column rush: found 'SOON'; allowed: a code"
    )
    assert skut.startswith("bad.toml, row 8, column op: found 'SKUT'; allowed: a code")
    assert skut.endswith("near it: SCUT")
    assert position.startswith("bad.toml, row 12, column positions: found '3E1'")
    assert "A3E1" in position
    assert price.startswith("bad.toml, row 13, column price: found '-4'; allowed: a")


def test_a_refusal_names_the_row_that_asked_for_it(tmp_path):
    path = tmp_path / "refused.toml"
    path.write_text(
        'date = 2026-03-02\n\n[[heads]]\nlayout = "V8-8"\n\n[[work]]\nop = "CAMI"\n'
        '\n[[work]]\nop = "SCUT"\npositions = ["A9E1"]\n',
        encoding="utf-8",
    )
    result = run("price", path, "--rates", RT1)

    assert result.exit_code == 2
    assert "row 6" in result.stderr
    assert "has no cam" in result.stderr
    assert "row 9" in result.stderr
    assert "A9E1" in result.stderr


@pytest.mark.needs_pdf
def test_nothing_is_written_when_the_job_is_refused(bad_job, tmp_path):
    target = tmp_path / "quote.pdf"
    result = run("price", bad_job, "--rates", RT1, "--pdf", target)

    assert result.exit_code == 2
    assert not target.exists()


@pytest.mark.needs_pdf
def test_papers_are_all_written_or_none(tmp_path):
    """The job has no [invoice], so its number is unknown and nothing is written."""
    quote, invoice = tmp_path / "q.pdf", tmp_path / "i.pdf"
    words = ("price", JOBS / "T01.toml", "--rates", RT1, "--pdf", quote)

    refused = run(*words, "--invoice", invoice)
    assert refused.exit_code == 2
    assert "[invoice]" in refused.stderr
    assert not quote.exists()
    assert not invoice.exists()

    order = tmp_path / "new folder" / "w.pdf"
    assert run(*words, "--work-order", order).exit_code == 0
    assert quote.read_bytes().startswith(b"%PDF-")
    assert order.read_bytes().startswith(b"%PDF-")


def test_a_missing_file_is_named():
    result = run("price", "no-such-job.toml", "--rates", RT1)

    assert result.exit_code == 2
    assert "no-such-job.toml: cannot be read" in result.stderr


def test_a_job_or_words_are_needed_but_not_both():
    assert run("price").exit_code == 2
    assert run("price", JOBS / "T01.toml", "--say", "skim").exit_code == 2


@pytest.mark.needs_pdf
def test_the_demonstration_writes_three_papers_and_says_where(tmp_path):
    result = run("demo", "--out", tmp_path)

    assert result.exit_code == 0
    for name in ("quote.pdf", "work-order.pdf", "invoice.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF-")
        assert str(tmp_path / name) in result.stdout
    assert "invented" in result.stdout


def test_the_package_runs_as_a_module(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "quoting", "price", JOBS / "T04.toml", "--rates", RT1],
        cwd=tmp_path,
        env={**os.environ, "PYTHONWARNINGS": "error"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "54.72" in done.stdout


def test_pricing_as_json_loads_no_heavy_library(tmp_path):
    """A quick answer must not wait for a PDF engine or a locale library."""
    script = (
        "import sys\n"
        "from quoting.cli import main\n"
        "try:\n    main()\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'babel', 'jinja2', 'weasyprint', 'fontTools'} & set(sys.modules)\n"
        "sys.exit(f'loaded: {heavy}' if heavy else 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "price", JOBS / "T01.toml", "--rates", RT1,
         "--json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
