"""Rate tables and job files as they really come, and what is said of bad ones."""

import re
import shutil
from datetime import date

import pytest
from builders import JOBS, RT1, dec, edition, priced

from quoting.domain.errors import ProblemsError
from quoting.domain.head import Side, parse_position
from quoting.domain.job import Exemption
from quoting.domain.pricing import price
from quoting.domain.work import RefusedError
from quoting.files.edition import read_edition, read_with_warnings
from quoting.files.job_file import read_job

RATES = edition()


@pytest.fixture
def folder(tmp_path):
    """Return a copy of RT-1 to be spoilt."""
    return shutil.copytree(RT1, tmp_path / "rates")


def rewritten(path, change):
    text = path.read_text("utf-8")
    path.write_bytes(change(text).encode())


def separated(text, mark):
    """Return a table of RT-1, which quotes nothing, with another separator."""
    assert '"' not in text
    return text.replace(",", mark)


def problems(folder):
    with pytest.raises(ProblemsError) as wrong:
        read_edition(folder)
    return wrong.value.problems


def places(found):
    return [(p.file, p.row, p.column) for p in found]


# Tables as spreadsheets write them.


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: separated(text, ";"),
        lambda text: separated(text, "\t"),
        lambda text: "\ufeff" + separated(text, ";").replace("\n", "\r\n"),
        lambda text: text + "\n\n,,,\n   \n",
        lambda text: separated(text, ";") + ";;;;;;\n;;;;;;\n",
        lambda text: "\n".join(f"{line},," for line in text.splitlines()),
        lambda text: re.sub(r"[^,\n]+", r'"\g<0>"', text),
        lambda text: re.sub(r"(?m)^|,(?=[^,\n])", r"\g<0> ", text),
        lambda text: text.rstrip("\n"),
    ],
    ids=[
        "byte-order mark", "CRLF", "CR", "semicolons", "tabs", "as a European export",
        "trailing blank rows", "trailing rows of separators", "empty columns",
        "everything quoted", "spaces", "no last newline",
    ],
)  # fmt: skip
def test_a_table_is_read_however_a_spreadsheet_wrote_it(folder, change):
    for name in ("operations", "fees", "modifiers", "terms", "layouts"):
        rewritten(folder / f"{name}.csv", change)

    there = read_edition(folder)

    for table in ("operations", "fees", "modifiers", "terms", "layouts"):
        assert list(getattr(there, table)) == list(getattr(RATES, table))
    assert there.operations["SCUT"].unit_exhaust == dec("7.00")
    assert there.fees["DISP"].operations == ("WASH", "HOTK")


def test_a_decimal_comma_is_read_where_the_shop_says_so(folder):
    for path in [*folder.glob("*.csv"), *folder.glob("tax/*.csv")]:
        rewritten(path, lambda text: separated(text, ";").replace(".", ","))
    rewritten(folder / "shop.toml", lambda text: text + 'decimal_mark = ","\n')

    there = read_edition(folder)

    assert there.operations["SCUT"].unit_inlet == dec("6.50")
    assert there.layouts["M1-4"].stem_inlet_mm == dec("4.5")
    assert there.modifiers["HARD"].factor == dec("1.35")


@pytest.mark.parametrize("price", ["1.234,5", "6.50", "1 234,50"])
def test_a_point_among_decimal_commas_is_refused(folder, price):
    for path in [*folder.glob("*.csv"), *folder.glob("tax/*.csv")]:
        rewritten(path, lambda text: separated(text, ";").replace(".", ","))
    rewritten(folder / "shop.toml", lambda text: text + 'decimal_mark = ","\n')
    rewritten(folder / "fees.csv", lambda text: text.replace("6,50", price))

    [problem] = problems(folder)

    assert (problem.file, problem.row, problem.column) == ("fees.csv", 2, "price")
    assert (problem.found, "6,50" in problem.allowed) == (price, True)


def test_a_decimal_comma_is_refused_where_the_shop_has_a_point(folder):
    """Four decimals and a quarter: never read as 1 and 25, nor as 125."""
    rewritten(folder / "fees.csv", lambda text: text.replace("6.50", '"1.234,5"'))

    [problem] = problems(folder)
    assert (problem.row, problem.column, problem.found) == (2, "price", "1.234,5")


def test_a_text_may_hold_separators_quotes_and_line_breaks(folder):
    rewritten(
        folder / "relations.csv",
        lambda text: text + 'VREF,needs,WASH,"clean, dry and\n""free of oil"""\n',
    )
    relations = read_edition(folder).relations

    assert relations[-1].reason == 'clean, dry and\n"free of oil"'


def test_rows_after_a_line_break_in_a_cell_keep_the_line_an_editor_shows(folder):
    rewritten(
        folder / "relations.csv",
        lambda text: text + 'VREF,needs,WASH,"clean\nand dry"\nVREF,likes,WASH,so\n',
    )
    [problem] = problems(folder)

    assert (problem.row, problem.found) == (8, "likes")


def test_a_quote_that_is_never_closed_swallows_no_rows(folder):
    """One stray quotation mark, and every row below it would be inside one cell."""
    (folder / "reasons.csv").write_text(
        'code,name,leaves_out\nHOT,Overheated,"whatever\nOIL,Uses oil,rings\n', "utf-8"
    )
    [problem] = problems(folder)

    assert problem.file == "reasons.csv"


@pytest.mark.parametrize("mark", ["\u2028", "\x85"])
def test_a_character_that_only_looks_like_a_line_break_breaks_no_row(folder, mark):
    rewritten(
        folder / "fees.csv", lambda text: text.replace("Wash disposal", f"Wash{mark}it")
    )

    assert read_edition(folder).fees["DISP"].name == f"Wash{mark}it"


@pytest.mark.parametrize("mark", ["\x00", "\x07", "\x0b", "\x0c", "\x1b", "\x7f"])
def test_a_control_character_is_named_with_its_place(folder, mark):
    """No paper and no XML can carry one: XML 1.0, production 2."""
    rewritten(
        folder / "fees.csv", lambda text: text.replace("Wash disposal", f"Wash{mark}it")
    )
    [problem] = problems(folder)

    assert (problem.file, problem.row, problem.column) == ("fees.csv", 2, "name")
    assert "control character" in problem.allowed


@pytest.mark.parametrize("figure", ["1" * 13, "0." + "1" * 13, "1e9", "\u0663"])
def test_a_figure_that_nobody_writes_is_named(folder, figure):
    rewritten(folder / "fees.csv", lambda text: text.replace("6.50", figure))
    [problem] = problems(folder)

    assert (problem.file, problem.column) == ("fees.csv", "price")


def test_cautions_stand_most_dangerous_first(folder):
    (folder / "cautions.csv").write_text(
        "code,name,rank,text\nLOW,low,30,Low!\nTOP,top,1,Top!\nMID,mid,7,Mid!\n",
        "utf-8",
    )

    assert [c.code for c in read_edition(folder).cautions] == ["TOP", "MID", "LOW"]


def test_operations_stand_in_process_order_whatever_the_order_of_the_rows(folder):
    rewritten(
        folder / "operations.csv",
        lambda text: "\n".join(
            [text.splitlines()[0], *reversed(text.splitlines()[1:])]
        ),
    )

    assert list(read_edition(folder).operations) == list(RATES.operations)


# Files that are missing or are something else.


@pytest.mark.parametrize(
    "file",
    ["work_centres.csv", "operations.csv", "layouts.csv", "terms.csv", "sundries.csv",
     "tax/one_rate.csv"],
)  # fmt: skip
def test_a_table_without_which_nothing_can_be_priced_is_named_as_missing(folder, file):
    (folder / file).unlink()

    found = problems(folder)
    assert (file, None, "") in places(found)
    assert "the file is missing" in {p.allowed for p in found}


def test_a_table_that_a_shop_need_not_have_may_be_missing(folder):
    for name in ("rush", "surcharges", "sets", "set_prices", "modifiers", "relations"):
        (folder / f"{name}.csv").unlink()
    there = read_edition(folder)

    assert (there.rush, there.sets, list(there.relations)) == ({}, {}, [])


def test_a_folder_without_shop_toml_is_refused(folder):
    (folder / "shop.toml").unlink()

    [problem] = problems(folder)
    assert (problem.file, problem.row) == ("shop.toml", None)
    assert "cannot be read" in problem.allowed


def test_a_folder_that_is_none_is_refused(tmp_path):
    [problem] = problems(tmp_path / "nothing")

    assert problem.allowed == "is no folder"


@pytest.mark.parametrize("encoding", ["latin-1", "cp1252", "utf-16"])
def test_a_table_that_is_not_utf_8_says_so(folder, encoding):
    path = folder / "fees.csv"
    text = path.read_text("utf-8").replace("Wash disposal", "Spülgebühr")
    path.write_bytes(text.encode(encoding))

    [problem] = problems(folder)
    assert problem.file == "fees.csv"
    assert "not UTF-8" in problem.allowed
    assert problem.row == (1 if encoding == "utf-16" else 2)


def test_an_empty_table_lacks_its_column_names(folder):
    (folder / "fees.csv").write_text("", "utf-8")

    [problem] = problems(folder)
    assert (problem.file, problem.row) == ("fees.csv", 1)
    assert "column names" in problem.allowed


def test_a_folder_where_a_table_should_be_is_named(folder):
    (folder / "fees.csv").unlink()
    (folder / "fees.csv").mkdir()

    [problem] = problems(folder)
    assert problem.file == "fees.csv"
    assert "cannot be read" in problem.allowed


def test_problems_of_all_files_are_named_at_once_and_nothing_is_read(folder):
    rewritten(folder / "fees.csv", lambda text: text.replace("6.50", "six"))
    rewritten(folder / "rush.csv", lambda text: text.replace("percent", "per_cent"))
    rewritten(folder / "shop.toml", lambda text: text.replace('"SUN"', '"SON"'))
    (folder / "terms.csv").unlink()
    found = problems(folder)

    assert {(p.file, p.column) for p in found} >= {
        ("fees.csv", "price"), ("rush.csv", "per_cent"), ("terms.csv", ""),
        ("shop.toml", "sundries"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("line", "column", "allowed"),
    [
        ('hourly_rate = "78,00"', "hourly_rate", "decimal number"),
        ('hourly_rate = "-1"', "hourly_rate", "0 or more"),
        ('valid_from = "soon"', "valid_from", "a date"),
        ('paper = "A5"', "paper", "A4, Letter"),
        ('colour = "red"', "colour", "known keys: "),
        ("digits = 2.5", "digits", "whole number"),
        ('no_fix_per = "valve"', "no_fix_per", "head, job"),
        ('decimal_mark = ";"', "decimal_mark", "one of"),
        ('number_invoice = "I-"', "number_invoice", "neither / nor - first or last"),
        ('number_invoice = "inv"', "number_invoice", "signs of A-Z, 0-9, / and -"),
        ('number_invoice = "I#####"', "number_invoice", "signs of A-Z, 0-9, / and -"),
        ('number_invoice = "WORKSHOP/26"', "number_invoice", "1 to 10 signs"),
    ],
)
def test_a_key_of_the_shop_that_cannot_be_is_named_with_its_line(
    folder, line, column, allowed
):
    key = line.split(" = ")[0]
    path = folder / "shop.toml"
    kept = [t for t in path.read_text("utf-8").splitlines() if not t.startswith(key)]
    path.write_text("\n".join([*kept, line]), "utf-8")

    [problem] = problems(folder)
    assert (problem.file, problem.row) == ("shop.toml", len(kept) + 1)
    assert problem.column == column
    assert allowed in problem.allowed


@pytest.mark.parametrize("key", ["name", "currency", "tax", "sundries", "hourly_rate"])
def test_a_key_that_the_shop_must_have_is_named_as_missing(folder, key):
    rewritten(
        folder / "shop.toml",
        lambda text: re.sub(rf"^{key} = .*\n", "", text, flags=re.MULTILINE),
    )

    found = [p for p in problems(folder) if p.file == "shop.toml"]
    assert [(p.column, p.allowed) for p in found] == [(key, "is missing")]


def test_a_key_of_the_shop_that_names_no_row_is_named_with_its_line(folder):
    path = folder / "shop.toml"
    rewritten(path, lambda text: text.replace('"RETAIL"', '"WHOLESALE"'))
    line = 1 + path.read_text("utf-8").splitlines().index('terms = "WHOLESALE"')

    [problem] = problems(folder)
    assert (problem.file, problem.row, problem.column) == ("shop.toml", line, "terms")


@pytest.mark.parametrize(
    ("line", "column"),
    [('level = "invoice"', "level"), ("line_digits = -1", "line_digits"),
     ('document_mode = "half_even"', "document_mode"), ("rounding = 1", "rounding")],
)  # fmt: skip
def test_a_tax_policy_that_cannot_be_is_named_with_its_line(folder, line, column):
    (folder / "tax" / "one_rate.toml").write_text(f"# how\n{line}\n", "utf-8")

    [problem] = problems(folder)
    assert (problem.file, problem.row, problem.column) == ("one_rate.toml", 2, column)


def test_a_tax_policy_is_read(folder):
    (folder / "tax" / "one_rate.toml").write_text(
        'level = "line"\nline_digits = 3\nline_mode = "down"\ninclusive = true\n'
        'cash_step = "0.05"\n', "utf-8",
    )  # fmt: skip
    policy = read_edition(folder).policy

    assert (policy.level, policy.line_digits, policy.line_mode) == (
        "line", 3, "ROUND_DOWN",
    )  # fmt: skip
    assert (policy.inclusive, policy.cash_step) == (True, dec("0.05"))


def test_what_is_odd_but_allowed_is_a_warning(folder):
    rewritten(folder / "fees.csv", lambda text: text.replace("DISP", "1E3"))

    there, [warning] = read_with_warnings(folder)
    assert "1E3" in there.fees
    assert (warning.file, warning.row, warning.column) == ("fees.csv", 2, "code")


# Job files.


HEADED = 'date = 2026-03-02\n[[heads]]\nlayout = "I4-16"\n'


def job_of(tmp_path, text, rates=RATES):
    path = tmp_path / "job.toml"
    path.write_bytes(text.encode())
    return read_job(path, rates)


def only(tmp_path, text, rates=RATES):
    """Return the one job of a file."""
    [(_, job)] = job_of(tmp_path, text, rates).jobs
    return job


def wrong(tmp_path, text, rates=RATES):
    with pytest.raises(ProblemsError) as found:
        job_of(tmp_path, text, rates)
    return found.value.problems


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\n\n# a note\n" + text,
    ],
    ids=["byte-order mark", "CRLF", "empty lines and notes"],
)
def test_a_job_file_is_read_however_an_editor_wrote_it(tmp_path, change):
    job = only(tmp_path, change((JOBS / "T01.toml").read_text("utf-8")))

    assert [asked.operation for asked in job.work][:3] == ["STRP", "WASH", "MEAS"]


@pytest.mark.parametrize(
    ("text", "column", "found", "allowed"),
    [
        # Keys at the top.
        ('terms = "NOBODY"', "terms", "NOBODY", "a code of terms.csv"),
        ('rush = "RASH"', "rush", "RASH", "near it: RUSH"),
        ('reason = "HOT"', "reason", "HOT", "reasons.csv"),
        ('propose = "perhaps"', "propose", "perhaps", "yes or no"),
        ("minutes_factor = 0", "minutes_factor", "0", "above 0"),
        ('valid_until = "soon"', "valid_until", "soon", "a date"),
        ("colour = 1", "colour", "colour", "known keys: "),
        # Work.
        ('[[work]]\nop = "SCAT"', "op", "SCAT", "near it: SC"),
        ('[[work]]\nop = ""', "op", "", ""),
        ("[[work]]\nnumber = 2", "op", "", "is missing"),
        ('[[work]]\nop = "VREF"\nwhich = "outlet"', "which", "outlet",
         "all, inlet, exhaust"),
        ('[[work]]\nop = "VREF"\nnumber = "two"', "number", "two", "decimal number"),
        ('[[work]]\nop = "VREF"\nnumber = -2', "number", "-2", "above 0"),
        ('[[work]]\nop = "VREF"\ncylinders = ["one"]', "cylinders", "one", "[1, 2]"),
        ('[[work]]\nop = "VREF"\npositions = ["3E1"]', "positions", "3E1",
         "write A3E1 with the head's tag"),
        ('[[work]]\nop = "VREF"\npositions = ["valve 3"]', "positions", "valve 3",
         "A3E1"),
        ('[[work]]\nop = "SKIM"\nsize = "0,15 mm"', "size", "0,15 mm", "with a point"),
        ('[[work]]\nop = "SKIM"\nsize = "thin"', "size", "thin", "no length"),
        ('[[work]]\nop = "SKIM"\nprice = "forty"', "price", "forty", "decimal number"),
        ('[[work]]\nop = "SKIM"\nprice = -40', "price", "-40", "0 or more"),
        ('[[work]]\nop = "SKIM"\nprice = 40', "reason", "", "needs a reason"),
        ('[[work]]\nop = "SKIM"\nwarranty = 50', "warranty", "50", "from 0 to 1"),
        ('[[work]]\nop = "SKIM"\ndespite_reason = "he may"', "despite_by", "",
         "a name is needed"),
        ('[[work]]\nop = "SKIM"\ndespite_by = "owner"', "despite_reason", "",
         "a reason is needed"),
        ('[[work]]\nop = "SKIM"\nside = "inlet"', "side", "side", "known keys: "),
        # Heads.
        ('[[heads]]\nlayout = "I6-24"', "layout", "I6-24", "layouts.csv"),
        ('[[heads]]\nlabel = "left"', "layout", "", "is missing"),
        ('[[heads]]\nlayout = "V8-8"\ntag = "A"', "tag", "A", "another head"),
        ('[[heads]]\nlayout = "V8-8"\ncondition = ["wet"]', "condition", "wet",
         "any of complete"),
        ('[[heads]]\nlayout = "V8-8"\ncondemned_at = "LIKE"', "condemned_at", "LIKE",
         "operations.csv"),
        ('[[heads]]\nlayout = "V8-8"\nfacts = { colour = "red" }', "colour", "colour",
         "known facts"),
        ('[[heads]]\nlayout = "V8-8"\nfacts = { material = "tin" }', "material", "tin",
         "aluminium, iron"),
        ('[[heads]]\nlayout = "V8-8"\nfacts = { stem_mm = "thin" }', "stem_mm", "thin",
         "a number"),
        ('[[heads]]\nlayout = "V8-8"\nexhaust = { material = "iron" }', "material",
         "material", "known facts: seats"),
        ('[[heads]]\nlayout = "V8-8"\ncolour = "red"', "colour", "colour",
         "known keys: "),
        # Everything else.
        ('[[sets]]\nset = "VJIB"', "set", "VJIB", "near it: VJOB"),
        ('[[free]]\ndescription = "x"', "hours", "", "either hours or an amount"),
        ('[[free]]\ndescription = "x"\nhours = 1\namount = 2', "hours", "1", "either"),
        ('[[free]]\ndescription = "x"\namount = 2\ngroup = "gold"', "group", "gold",
         "one of labour"),
        ("[[free]]\nhours = 1", "description", "", "is missing"),
        ("[[parts]]\nquantity = 2", "part", "", "either a part or a description"),
        ('[[parts]]\npart = "SEAL-7"', "part", "SEAL-7", "parts.csv"),
        ('[[parts]]\ndescription = "x"\nquantity = 0', "quantity", "0", "above 0"),
        ('[[parts]]\ndescription = "x"\ntax_code = "VAT"', "tax_code", "VAT",
         "a code of tax_codes"),
        ('[[parts]]\ndescription = "x"\nsurcharge = "CARE"', "surcharge", "CARE",
         "near it: CORE"),
        ('[[parts]]\ndescription = "x"\nold_unit = "fair"', "old_unit", "fair",
         "full, part, none"),
        ('[[outwork]]\ndescription = "weld"', "cost", "", "is missing"),
        ('[[fees]]\nfee = "DIPS"\nquantity = 1', "fee", "DIPS", "near it: DISP"),
        ('[[deposits]]\namount = "a lot"', "amount", "a lot", "decimal number"),
        ("[[deposits]]\namount = 0", "amount", "0", "above 0"),
        ('[exempt]\ncode = "FREE"\nreason = "x"', "code", "FREE", "tax_codes"),
        ('[exempt]\ncode = "EXEMPT"', "reason", "", "is missing"),
        ("[call_it]\namount = 600", "reason", "", "is missing"),
        ('[call_it]\namount = 0\nreason = "x"', "amount", "0", "above 0"),
        ('[invoice]\nnumber = "1"', "date", "", "is missing"),
        ('[declined]\nSEEL = "x"', "SEEL", "SEEL", "near it: SEAL"),
        # Shapes.
        ("[work]\nop = 1", "work", "{ op }", "[[work]]"),
        ('work = "SCUT"', "work", "SCUT", "[[work]]"),
        ("[[customer]]\nname = 1", "customer", "{ name }", "[customer]"),
        ("[alternatives]\nlabel = 1", "alternatives", "{ label }",
         "[[alternatives]]"),
    ],
)  # fmt: skip
def test_one_thing_wrong_with_a_job_is_named_with_its_line(
    tmp_path, text, column, found, allowed
):
    above = [] if text.startswith("[") else text.splitlines()
    below = text.splitlines() if text.startswith("[") else []
    lines = [*above, *HEADED.splitlines(), *below]
    [problem] = wrong(tmp_path, "\n".join(lines))

    assert (problem.file, problem.column) == ("job.toml", column)
    assert problem.found == found
    assert allowed in problem.allowed
    first = 1 if above else len(lines) - len(below) + 1
    own = [n for n, t in enumerate(above or below) if re.search(rf"\b{column} = ", t)]
    assert problem.row == first + (own[-1] if own else 0)


def test_a_job_needs_its_date(tmp_path):
    [problem] = wrong(tmp_path, '[[heads]]\nlayout = "I4-16"\n')

    assert (problem.column, problem.allowed) == ("date", "is missing")


@pytest.mark.parametrize("text", ["2026-02-30", "02.03.2026", "tomorrow"])
def test_a_date_that_is_no_date_is_refused(tmp_path, text):
    [problem] = wrong(tmp_path, f'date = "{text}"\n')

    assert (problem.row, problem.column, problem.found) == (1, "date", text)


def test_what_is_no_toml_is_named_with_its_line(tmp_path):
    [problem] = wrong(tmp_path, 'date = 2026-03-02\n[[work]\nop = "SCUT"\n')

    assert problem.row == 2
    assert "is not TOML" in problem.allowed


def test_a_key_twice_in_one_table_is_named(tmp_path):
    [problem] = wrong(tmp_path, "date = 2026-03-02\ndate = 2026-03-03\n")

    assert "is not TOML" in problem.allowed


def test_a_job_file_that_is_not_there_or_not_utf_8_says_so(tmp_path):
    with pytest.raises(ProblemsError, match="cannot be read"):
        read_job(tmp_path / "none.toml", RATES)
    path = tmp_path / "job.toml"
    path.write_bytes("date = 2026-03-02\n# Spülen\n".encode("latin-1"))
    with pytest.raises(ProblemsError, match="not UTF-8"):
        read_job(path, RATES)


def test_every_problem_of_a_job_is_named_at_once_in_the_order_of_lines(tmp_path):
    text = HEADED + (
        '[[work]]\nop = "SCAT"\nsize = "thin"\n'
        '[[work]]\nop = "VREF"\npositions = ["3E1"]\nwhich = "outlet"\n'
        '[[parts]]\nquantity = 2\n[[deposits]]\namount = "a lot"\n'
    )
    found = wrong(tmp_path, text)

    assert {(p.row, p.column) for p in found} >= {
        (5, "op"), (6, "size"), (9, "positions"), (10, "which"), (14, "amount"),
    }  # fmt: skip
    assert [p.row for p in found] == sorted(p.row for p in found)


def test_facts_are_read_for_the_head_its_sides_and_its_valves(tmp_path):
    text = HEADED + (
        'facts = { stem_mm = "5.5", in_head = ["copper_tubes", "brass_plugs"] }\n'
        'exhaust = { seats = "hard" }\n'
        '[[heads.positions]]\nat = ["A2I1", "A3I1"]\nseats = "copper_alloy"\n'
    )
    [head] = only(tmp_path, text).heads

    assert head.facts["stem_mm"] == dec("5.5")
    assert head.facts["in_head"] == frozenset({"copper_tubes", "brass_plugs"})
    assert head.side_facts == {Side.EXHAUST: {"seats": "hard"}}
    assert head.fact("seats", parse_position("A2I1")) == "copper_alloy"
    assert head.fact("seats", parse_position("A1I1")) == "insert"


@pytest.mark.parametrize(
    ("rows", "column", "found"),
    [
        ('at = ["B2I1"]\nseats = "hard"', "at", "B2I1"),
        ('at = ["2I1"]\nseats = "hard"', "at", "2I1"),
        ('at = ["A2I1"]\nmaterial = "iron"', "material", "material"),
        ('at = ["A9I1"]\nseats = "hard"', "at", "A9I1"),
        ('seats = "hard"', "at", ""),
    ],
)
def test_a_fact_of_a_valve_that_cannot_be_is_named(tmp_path, rows, column, found):
    [problem] = wrong(tmp_path, f"{HEADED}[[heads.positions]]\n{rows}\n")

    assert (problem.column, problem.found) == (column, found)
    assert problem.row in (4, 5, 6)


def test_a_layout_may_be_given_in_the_job(tmp_path):
    text = (
        "date = 2026-03-02\n[[heads]]\n"
        'layout = { cylinders = 6, inlet = 1, exhaust = 1, size_class = "car", '
        'material = "iron" }\n[[work]]\nop = "VREF"\n'
    )
    job = only(tmp_path, text)

    assert job.heads[0].layout.name == "6 cylinders, 1 + 1 valves each"
    assert priced(RATES, job.heads, work=job.work).lines[0].quantity == 12


@pytest.mark.parametrize(
    ("layout", "column"),
    [
        ('{ cylinders = 0, inlet = 2, exhaust = 2, size_class = "car", '
         'material = "iron" }', "cylinders"),
        ('{ cylinders = 4, inlet = 3, exhaust = 3, size_class = "car", '
         'material = "iron" }', "inlet"),
        ('{ cylinders = 4, inlet = 2, exhaust = 2, size_class = "huge", '
         'material = "iron" }', "size_class"),
        ("{ cylinders = 4, inlet = 2, exhaust = 2 }", "material"),
        ('{ cylinders = "four", inlet = 2, exhaust = 2, size_class = "car", '
         'material = "iron" }', "cylinders"),
        ('{ pistons = 4, cylinders = 4, inlet = 2, exhaust = 2, size_class = "car", '
         'material = "iron" }', "pistons"),
    ],
)  # fmt: skip
def test_a_layout_given_in_the_job_is_checked_like_one_of_the_table(
    tmp_path, layout, column
):
    found = wrong(tmp_path, f"date = 2026-03-02\n[[heads]]\nlayout = {layout}\n")

    assert column in {p.column for p in found}
    assert {p.row for p in found} == {3}


def test_heads_are_tagged_in_order_unless_they_have_a_tag(tmp_path):
    text = (
        "date = 2026-03-02\n"
        + '[[heads]]\nlayout = "V6-12"\n' * 2
        + '[[heads]]\nlayout = "V6-12"\ntag = "x"\n'
    )

    assert [head.tag for head in only(tmp_path, text).heads] == ["A", "B", "X"]


def test_a_tag_given_by_hand_is_not_given_again(tmp_path):
    """A is taken by hand for the second head; the first is B, or it is said."""
    text = (
        'date = 2026-03-02\n[[heads]]\nlayout = "V6-12"\ntag = "B"\n'
        '[[heads]]\nlayout = "V6-12"\n[[heads]]\nlayout = "V6-12"\n'
    )
    tags = [head.tag for head in only(tmp_path, text).heads]

    assert len(set(tags)) == 3
    assert tags[0] == "B"


def test_alternatives_share_the_file_and_replace_what_is_their_own(tmp_path):
    text = HEADED + (
        '[customer]\nname = "C1"\n[[work]]\nop = "LEAK"\n'
        '[[alternatives]]\nlabel = "test only"\n'
        '[[alternatives]]\nlabel = "skim"\nterms = "TRADE10"\n'
        '[[alternatives.work]]\nop = "SKIM"\nsize = "0.15 mm"\n'
    )
    file = job_of(tmp_path, text)

    assert [label for label, _ in file.jobs] == ["test only", "skim"]
    [test, skim] = [job for _, job in file.jobs]
    assert [a.operation for a in test.work] == ["LEAK"]
    assert [a.operation for a in skim.work] == ["SKIM"]
    assert (test.terms.code, skim.terms.code) == ("RETAIL", "TRADE10")
    assert test.heads == skim.heads
    assert file.customer.name == "C1"


def test_a_mistake_of_an_alternative_is_named_at_its_own_line(tmp_path):
    text = HEADED + (
        '[[work]]\nop = "LEAK"\n'  # lines 4 and 5
        '[[alternatives]]\nlabel = "one"\n'
        '[[alternatives]]\nlabel = "two"\nrush = "RASH"\npropose = "perhaps"\n'
        '[[alternatives.work]]\nop = "SCAT"\n'
    )
    found = wrong(tmp_path, text)

    assert {(p.row, p.column) for p in found} == {
        (10, "rush"), (11, "propose"), (13, "op"),
    }  # fmt: skip


def test_four_alternatives_are_one_too_many(tmp_path):
    [problem] = wrong(tmp_path, HEADED + '[[alternatives]]\nlabel = "x"\n' * 4)

    assert (problem.column, problem.found) == ("alternatives", "4")
    assert "at most 3" in problem.allowed


def test_what_the_heads_cannot_have_is_named_at_its_row(tmp_path):
    """The file is sound, the work is not: every refused row with its line."""
    text = HEADED + (
        '[[work]]\nop = "LEAK"\n[[work]]\nop = "INJS"\n[[work]]\nop = "SCUT"\n'
        'positions = ["A9E1"]\n'
    )
    file = job_of(tmp_path, text)
    [(_, job)] = file.jobs

    with pytest.raises(RefusedError) as refused:
        price(RATES, job, file.tax_point)

    found = file.problems(refused.value, 0).problems
    assert [p.row for p in found] == [6, 8]


def test_dates_of_the_file(tmp_path):
    file = job_of(
        tmp_path,
        "valid_until = 2026-03-09\ntax_point = 2026-04-01\nready = 2026-03-05\n"
        + HEADED,
    )
    plain = job_of(tmp_path, HEADED)

    assert (file.on, file.valid_until, file.tax_point, file.ready) == (
        date(2026, 3, 2), date(2026, 3, 9), date(2026, 4, 1), date(2026, 3, 5),
    )  # fmt: skip
    assert (plain.valid_until, plain.tax_point) == (date(2026, 4, 1), date(2026, 3, 2))


def test_decimals_of_a_job_file_stay_exact(tmp_path):
    """0.1 + 0.2 hours as TOML numbers, not as binary floats."""
    text = HEADED + (
        '[[free]]\ndescription = "x"\nhours = 0.1\nrate = 0.3\n'
        '[[parts]]\ndescription = "y"\nquantity = 2.50\nprice = 1_000.10\n'
    )
    job = only(tmp_path, text)

    assert (job.free[0].hours, job.free[0].rate) == (dec("0.1"), dec("0.3"))
    assert (str(job.parts[0].quantity), job.parts[0].price) == ("2.50", dec("1000.10"))


def test_the_sections_of_a_job_come_through(tmp_path):
    text = HEADED + (
        '[exempt]\ncode = "EXEMPT"\nreason = "institute"\ncertificate = "C-5"\n'
        '[[fees]]\nfee = "DISP"\nquantity = 0\n'
        '[[outwork]]\ndescription = "weld"\ncost = "62.00"\nmarkup = 10\n'
        '[[deposits]]\namount = "50"\non = 2026-03-01\nmethod = "card"\n'
        '[call_it]\namount = "600.00"\nreason = "on the phone"\n'
        '[declined]\nSEAL = "fits his own"\n'
    )
    job = only(tmp_path, text)

    assert job.exemption == Exemption("EXEMPT", "institute", "C-5")
    assert [(fee.code, fee.quantity) for fee in job.fees] == [("DISP", 0)]
    assert [(o.cost, o.markup) for o in job.outwork] == [(dec("62.00"), dec("10"))]
    assert [(d.amount, d.on, d.method) for d in job.deposits] == [
        (dec("50"), date(2026, 3, 1), "card")
    ]
    assert job.call_it[:2] == (dec("600.00"), "on the phone")
    assert job.declined == {"SEAL": "fits his own"}


def test_a_price_of_the_day_before_the_edition_is_refused(tmp_path):
    """RT-1 is in force from 2026-01-01."""
    [problem] = wrong(tmp_path, HEADED.replace("2026-03-02", "2025-12-31"))

    assert (problem.row, problem.column) == (1, "date")
    assert "2026-01-01" in problem.allowed


@pytest.mark.parametrize(
    "text",
    [
        '[[work]]\nop = "SKIM"\nprice = "40.005"\nreason = "x"\n',
        '[[sets]]\nset = "VJOB"\nprice = "400.005"\nreason = "x"\n',
        '[call_it]\namount = "600.005"\nreason = "x"\n',
        '[[deposits]]\namount = "50.005"\n',
    ],
)
def test_an_amount_that_stands_on_a_line_has_no_more_decimals_than_the_currency(
    tmp_path, text
):
    """Nobody can pay 600.005 in a currency of two decimals."""
    [problem] = wrong(tmp_path, HEADED + text)

    assert problem.found.endswith("005")
    assert "decimals" in problem.allowed
