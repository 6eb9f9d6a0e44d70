"""The documents are true: commands run, tables are the code's own, sums add up.

Where a table of a document is compared with the code, the failure shows the table as
it ought to be.
"""

import ast
import csv
import json
import re
import shlex
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from decimal import Decimal
from fractions import Fraction
from itertools import dropwhile, takewhile
from math import ceil, floor
from pathlib import Path
from typing import Any, NamedTuple

import click
import pytest
from click.testing import CliRunner

from quoting.cli import main
from quoting.domain.head import CONDITIONS, COUNTS, FACTS
from quoting.domain.phrase import say
from quoting.domain.rates import GROUPS, PLACES, TABLES
from quoting.domain.tables import Column, Table
from quoting.files.edition import POLICY, SHOP, read_edition
from quoting.files.job_file import FACT_KEYS, SECTIONS, TOP
from quoting.files.result import TOTALS
from quoting.files.toml import as_text, load
from quoting.resources import folder
from quoting.workflow.estimates import from_file

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
RATES = folder("rates_demo")
PAGES = (ROOT / "README.md", *sorted(DOCS.glob("*.md")))


def page(name: str) -> str:
    return (DOCS / f"{name}.md").read_text("utf-8")


def blocks(text: str) -> list[tuple[str, str]]:
    """Return language and body of every fenced block."""
    return re.findall(r"^```(\w+)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def prose(text: str) -> str:
    """Return a page without its fenced blocks."""
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


def section(text: str, heading: str) -> str:
    """Return the prose under a heading, up to the next one."""
    under = rf"^#+ {re.escape(heading)}$(.*?)(?=^#+ |\Z)"
    found = re.search(under, prose(text), re.MULTILINE | re.DOTALL)
    assert found, f"no heading {heading}"
    return found[1]


def table_in(text: str) -> list[str]:
    """Return the lines of the first table."""
    lines = dropwhile(lambda line: not line.startswith("|"), text.splitlines())
    return list(takewhile(lambda line: line.startswith("|"), lines))


# Commands.


class Command(NamedTuple):
    """A command of a document, the exit code it states, and the output it shows."""

    words: Sequence[str]
    code: int
    output: str

    @property
    def papers(self) -> Sequence[str]:
        """Return the PDF files that it writes."""
        if self.words[1] == "demo":
            named = "--out" in self.words
            out = self.words[-1] if named else "quoting-demo"
            return [f"{out}/{name}.pdf" for name in ("quote", "work-order", "invoice")]
        return [word for word in self.words if word.endswith(".pdf")]


def commands(text: str) -> Iterator[Command]:
    for language, body in blocks(text):
        joined = body.replace("\\\n", " ")
        if language == "sh":
            for line in joined.splitlines():
                if line.startswith("quoting "):
                    yield _command(line, "")
        elif language == "console":
            for typed in re.split(r"^\$ ", joined, flags=re.MULTILINE)[1:]:
                line, _, output = typed.partition("\n")
                if line.startswith("quoting "):
                    yield _command(line, output)


def _command(line: str, output: str) -> Command:
    code = re.search(r"# exit code (\d)", line)
    words = shlex.split(line, comments=True)
    return Command(words, int(code[1]) if code else 0, output)


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder in which the documents' commands may be typed."""
    shutil.copytree(RATES, tmp_path / "rates_demo")
    for name in ("rt1", "jobs"):
        shutil.copytree(ROOT / "tests" / name, tmp_path / "tests" / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def prepare(directory: Path, text: str) -> None:
    """Copy the folders and save the files that a document tells its reader to."""
    for source, target in re.findall(r"^cp -r (\S+) (\S+)$", text, re.MULTILINE):
        shutil.copytree(directory / source, directory / target)
    for language, body in blocks(text):
        first, _, rest = body.partition("\n")
        if language == "toml" and (named := re.fullmatch(r"# (\S+\.toml)", first)):
            (directory / named[1]).write_text(body, "utf-8")
        elif language == "toml" and (named := re.fullmatch(r"# in (\S+\.toml)", first)):
            _change(directory / named[1], rest)


def _change(file: Path, lines: str) -> None:
    text = file.read_text("utf-8")
    for line in lines.splitlines():
        key = line.partition(" = ")[0]
        text, changed = re.subn(rf"^{key} = .*$", line, text, flags=re.MULTILINE)
        assert changed == 1, f"{file.name} has no {key}"
    file.write_text(text, "utf-8")


def run(command: Command, directory: Path) -> None:
    words, written = list(command.words[1:]), None
    if ">" in words:
        at = words.index(">")
        written, words = words[at + 1], words[:at]
    result = CliRunner().invoke(main, words, catch_exceptions=False)
    assert result.exit_code == command.code, result.output
    if written:
        (directory / written).write_text(result.output, "utf-8")
    if command.output:
        lines = command.output.splitlines(keepends=True)
        shown = "".join(
            r"(?:.*\n)*?" if line == "...\n" else re.escape(line) for line in lines
        )
        assert re.fullmatch(shown, result.output), result.output


def with_commands(*, papers: bool) -> list[Any]:
    """Return the pages that have commands which make papers, or which do not."""
    return [
        pytest.param(path, id=path.stem)
        for path in PAGES
        if any(bool(c.papers) is papers for c in commands(path.read_text("utf-8")))
    ]


@pytest.mark.parametrize("path", with_commands(papers=False))
def test_the_commands_of_a_page_do_what_it_says(path: Path, checkout: Path) -> None:
    text = path.read_text("utf-8")
    prepare(checkout, text)
    for command in commands(text):
        if not command.papers:
            run(command, checkout)


@pytest.mark.needs_pdf
@pytest.mark.parametrize("path", with_commands(papers=True))
def test_the_papers_of_a_page_are_made(path: Path, checkout: Path) -> None:
    text = path.read_text("utf-8")
    prepare(checkout, text)
    for command in commands(text):
        if command.papers:
            run(command, checkout)
            for paper in command.papers:
                assert (checkout / paper).read_bytes().startswith(b"%PDF-")
                (checkout / paper).unlink()


def every_command(
    command: click.Command = main, name: str = "quoting"
) -> Iterator[tuple[str, click.Command]]:
    yield name, command
    if isinstance(command, click.Group):
        for word, below in command.commands.items():
            yield from every_command(below, f"{name} {word}")


@pytest.mark.parametrize(("name", "command"), list(every_command()))
def test_a_command_has_help_and_stands_in_the_guide(
    name: str, command: click.Command
) -> None:
    guide = section(page("guide"), "Every command")
    assert command.help
    assert f"`{name}" in guide or name == "quoting rates"
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, option.name
            assert any(f"`{word}" in guide for word in option.opts), option.name


def test_what_the_guide_says_one_may_say_is_understood() -> None:
    rows = table_in(section(page("guide"), "On the phone"))[2:]
    examples = [words for row in rows for words in re.findall(r"`([^`]+)`", row)]
    edition = read_edition(RATES)

    assert len(examples) > 20
    for words in examples:
        said = say(words, edition)
        assert said.not_placed == (), words
        assert said.understood, words


# Tables and keys, as the code has them.

#: Stands where an empty cell says nothing.
NOTHING = "\N{EN DASH}"


def described(
    table: Table[Any], examples: Mapping[str, Mapping[str, str]], what: str = "key"
) -> list[str]:
    """Return a table of the columns of *table*, with a column for each example."""
    header = [what, "meaning", "may stand there", "if empty", *examples]
    rows = [header, ["---"] * len(header)]
    defaults = {f.name: f.default for f in fields(table.record)}
    for name, about in table.columns().items():
        rows.append(
            [
                f"`{name}`",
                about.about,
                _allowed(about),
                _default(about, defaults[name]),
                *(_cut(values.get(name, "")) for values in examples.values()),
            ]
        )
    return [
        "".join(f"| {cell} " if cell else "| " for cell in row) + "|" for row in rows
    ]


def _allowed(about: Column) -> str:
    if not about.refers:
        return about.kind.allowed
    several = about.kind.allowed.startswith("codes")
    article = "codes" if several else "a code"
    if about.refers == "part kinds":
        return "a kind of `parts.csv`"
    file = "tax/*.csv" if about.refers == "tax_codes" else f"{about.refers}.csv"
    return f"{article} of `{file}`" + (", separated by spaces" if several else "")


def _default(about: Column, default: object) -> str:
    if default is MISSING:
        return "needed"
    for word in about.kind.choices:
        if about.kind.read(word) == default:
            return f"`{word}`"
    if default is None or default in ("", ()):
        return NOTHING
    if isinstance(default, tuple):
        return f"`{'; '.join(default)}`"
    return f"`{default:f}`" if isinstance(default, Decimal) else f"`{default}`"


def _cut(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:59].rstrip()}…"


def example(file: str, key: str) -> Mapping[str, str]:
    """Return the first row of a demonstration table whose first cells are *key*."""
    with (RATES / file).open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            words = [cell for cell in row.values() if cell][: len(key.split())]
            if words == key.split():
                return row
    raise AssertionError(f"{file} has no row {key}")


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
def test_a_rate_table_is_described_column_by_column(table: Table[Any]) -> None:
    taxes = table.name == "tax_codes"
    heading = "tax/*.csv" if taxes else table.file
    file = "tax/several_rates.csv" if taxes else table.file
    text = section(page("rate-tables"), f"`{heading}`")
    assert text.lstrip().startswith(f"{table.about}.")

    found = table_in(text)
    keys = [cell.strip() for cell in found[0].split("|")[5:-1]]

    assert keys
    examples = {key: example(file, key) for key in keys}
    assert found == described(table, examples, "column")


@pytest.mark.parametrize(
    ("heading", "table", "file"),
    [
        ("`shop.toml`", SHOP, "shop.toml"),
        ("`tax/*.toml`", POLICY, "tax/included.toml"),
    ],
)
def test_a_file_of_keys_is_described_key_by_key(
    heading: str, table: Table[Any], file: str
) -> None:
    values = {key: as_text(value) for key, value in load(RATES / file).values.items()}

    assert table_in(section(page("rate-tables"), heading)) == described(
        table, {file: values}
    )


def test_every_count_is_described() -> None:
    rows = [
        f"| `{name}` | {', '.join(dict.fromkeys(count[:2]))} | {count.by} |"
        for name, count in COUNTS.items()
    ]
    assert table_in(section(page("rate-tables"), "Counts"))[2:] == rows


def test_every_fact_is_described() -> None:
    rows = [
        f"| `{name}` | {kind.scope} | {', '.join(kind.words) or 'a number'} "
        f"| {'several' if kind.several else 'one'} |"
        for name, kind in FACTS.items()
    ]
    assert table_in(section(page("rate-tables"), "Facts"))[2:] == rows


@pytest.mark.parametrize("name", ["", *SECTIONS])
def test_a_section_of_the_job_file_is_described_key_by_key(name: str) -> None:
    heading, table = "The top of the file", TOP
    if name:
        several, table = SECTIONS[name].many, SECTIONS[name].table
        heading = f"`[[{name}]]`" if several else f"`[{name}]`"
    text = section(page("job-file"), heading)
    assert not name or text.lstrip().startswith(f"{table.about}.")

    assert table_in(text) == described(table, {})


def test_what_is_no_column_of_the_job_file_is_described_too() -> None:
    text = page("job-file")
    for key in (*FACT_KEYS, "at", "label"):
        assert f"`{key}`" in text
    for heading in ("`[declined]`", "`[[alternatives]]`"):
        assert section(text, heading)


def test_every_example_of_the_job_file_can_be_priced(checkout: Path) -> None:
    text = page("job-file")
    prepare(checkout, text)
    refused = {word for c in commands(text) if c.code for word in c.words}
    files = {path.name for path in checkout.glob("*.toml")} - refused
    rates = read_edition(RATES)
    used = set()
    for name in files:
        for way in from_file(checkout / name, rates).ways:
            assert way.priced.lines
        used |= set(keys_of(load(checkout / name).values))

    keys = {key for part in SECTIONS.values() for key in part.table.columns()}
    assert used >= {*SECTIONS, *keys, *TOP.columns(), *FACT_KEYS, "declined"}


def keys_of(value: object) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield key
            yield from keys_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner)


def test_every_field_of_the_json_answer_is_described() -> None:
    job = str(RATES / "demo_job.toml")
    result = CliRunner().invoke(main, ["price", job, "--json"])
    answer = json.loads(result.output)

    text = page("job-file").partition("## The answer as JSON")[2]
    documented = re.findall(r"^\| `(\w+)` \|", text, re.MULTILINE)

    assert set(documented) == set(keys_of(answer))


# The glossary.


def test_the_glossary_has_the_words_of_the_program() -> None:
    entries = {
        word.strip().lower()
        for line in page("glossary").splitlines()
        if line.startswith("| ")
        for word in line.split("|")[1].split(",")
    }
    words = {
        *TOTALS,
        *GROUPS,
        *PLACES,
        *CONDITIONS,
        *(count.singular for count in COUNTS.values()),
        *FACTS,
    }
    spoken = {re.sub(r"_(mm|kg)$", "", word).replace("_", " ") for word in words}
    missing = {
        word
        for word in spoken
        if not entries & {word, word.removesuffix("s"), word.replace(" ", "-")}
    }
    assert missing == set()


def test_the_glossary_says_each_word_once() -> None:
    labels = re.findall(r"^\| ([^|]+) \|", page("glossary"), re.MULTILINE)
    said = [label for label in labels if label not in ("word", "---")]
    assert len(said) == len(set(said)) > 150


# The sums of the costing page, worked out apart from the program.


def sums(text: str) -> Iterator[tuple[str, list[Fraction]]]:
    """Yield every line that is all figures, with the value of each of its sides."""
    for language, body in blocks(text):
        for line in body.splitlines() if language == "text" else ():
            figures = line.rpartition(": ")[2].strip()
            if re.fullmatch(
                r"(?:[\d.\s+*/()=,-]|\bx\b|% of|round|min|max|ceil)+", figures
            ):
                sides = re.sub(r"\s*% of\s*", " / 100 * ", figures)
                sides = re.sub(r"\bx\b", "*", sides)
                yield line, [worked_out(side) for side in sides.split(" = ")]


def half_away_from_zero(exact: Fraction) -> Fraction:
    cents = floor(abs(exact) * 100 + Fraction(1, 2))
    return Fraction(cents if exact >= 0 else -cents, 100)


FUNCTIONS: Mapping[str, Callable[..., Fraction]] = {
    "round": half_away_from_zero,
    "min": min,
    "max": max,
    "ceil": lambda exact: Fraction(ceil(exact)),
}


def worked_out(text: str) -> Fraction:
    source = text.strip()
    return _value(ast.parse(source, mode="eval").body, source)


def _value(node: ast.expr, source: str) -> Fraction:
    match node:
        case ast.Constant():
            return Fraction(ast.get_source_segment(source, node) or "")
        case ast.UnaryOp(op=ast.USub()):
            return -_value(node.operand, source)
        case ast.BinOp():
            left, right = _value(node.left, source), _value(node.right, source)
            match node.op:
                case ast.Add():
                    return left + right
                case ast.Sub():
                    return left - right
                case ast.Mult():
                    return left * right
                case ast.Div():
                    return left / right
        case ast.Call(func=ast.Name(id=name)):
            return FUNCTIONS[name](*(_value(given, source) for given in node.args))
    raise AssertionError(f"not a sum: {source}")


def test_the_worked_sums_of_the_costing_page_hold() -> None:
    found = list(sums(page("costing")))

    assert len(found) > 50
    assert [line for line, sides in found if len(set(sides)) != 1] == []
    assert all(len(sides) > 1 for _, sides in found)


def test_a_wrong_sum_would_be_found() -> None:
    [(_, sides)] = sums("```text\nSCUT: 15.00 + 8 x 6.50 = 67.01\n```\n")
    assert sides == [67, Fraction("67.01")]


# The tables described for other programs.


def test_the_descriptor_in_the_demonstration_folder_is_the_one_printed() -> None:
    printed = CliRunner().invoke(main, ["rates", "describe"]).output
    assert (RATES / "datapackage.json").read_text("utf-8") == printed


def faults(directory: Path) -> set[tuple[str, str]]:
    """Return table and kind of every fault that a reader of the standard finds.

    Source:
        Data Package and Table Schema; read by frictionless, which knows nothing of
        this program. Columns are matched by name (``fieldsMatch`` of version 2),
        because a rate table may leave columns out and have them in any order.
    """
    from frictionless import Package

    text = (directory / "datapackage.json").read_text("utf-8")
    descriptor = json.loads(text)
    report = Package.from_descriptor(descriptor, basepath=str(directory)).validate()
    return {(task.name, fault.type) for task in report.tasks for fault in task.errors}


def test_a_reader_of_the_standard_finds_no_fault_in_the_demonstration() -> None:
    assert faults(RATES) == set()


def test_a_reader_of_the_standard_finds_seeded_faults(checkout: Path) -> None:
    rates = checkout / "rates_demo"
    for file, old, new in (
        ("set_prices.csv", "TEST,small,,head,65.00", "TEST,small,,house,cheap"),
        ("fees.csv", "code,name,", "code,nmae,"),
        ("work_centres.csv", "IN,Inspection", "ST,Inspection"),
        ("sundries.csv", "NONE,No sundries,0", "NONE,No sundries,"),
    ):
        text = (rates / file).read_text("utf-8")
        assert old in text
        (rates / file).write_text(text.replace(old, new), "utf-8")

    assert faults(rates) == {
        ("set-prices", "constraint-error"),
        ("set-prices", "type-error"),
        ("fees", "extra-label"),
        ("fees", "missing-label"),
        ("work-centres", "primary-key"),
        ("sundries", "constraint-error"),
    }


# Links and words.


def every_page() -> list[Any]:
    found = [*ROOT.glob("*.md"), *sorted(DOCS.rglob("*.md"))]
    return [pytest.param(path, id=path.stem) for path in found]


def anchors(path: Path) -> set[str]:
    headings = re.findall(r"^#+ (.*)$", prose(path.read_text("utf-8")), re.MULTILINE)
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
        for heading in headings
    }


@pytest.mark.parametrize("path", every_page())
def test_every_link_and_picture_is_there(path: Path) -> None:
    text = prose(path.read_text("utf-8"))
    targets = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'src="([^"]+)"', text)
    for target in targets:
        if re.match(r"(https?|mailto):", target):
            continue
        name, _, anchor = target.partition("#")
        file = (path.parent / name) if name else path
        assert file.exists(), target
        if anchor:
            assert anchor in anchors(file), target


#: What has no place in the project, cut apart so that it does not find itself.
FORBIDDEN = tuple(
    "".join(pieces)
    for pieces in (
        ("/wo", "rk/"), ("/t", "mp/"), ("/ro", "ot/"), ("sha", "red/"),
        ("py", "pi.org"), ("python", "hosted"), ("tran", "script"), ("chat", "bot"),
        ("language ", "model"), ("product", ".md"), ("pricing", ".md"),
        ("trade", ".md"), ("worked-", "cases.md"), ("architecture", ".md"),
        ("tax-and-", "documents"), ("look", ".md"), ("design ", "paper"),
    )
)  # fmt: skip

TEXTS = (".py", ".md", ".toml", ".csv", ".json", ".html", ".css", ".svg", ".po", ".yml")


def test_nothing_speaks_of_anything_but_the_project() -> None:
    found = [
        (path.relative_to(ROOT).as_posix(), word)
        for top in ("quoting", "templates", "rates_demo", "docs", "tests", ".")
        for path in (ROOT.glob("*") if top == "." else (ROOT / top).rglob("*"))
        if path.suffix in TEXTS
        for word in FORBIDDEN
        if word in path.read_text("utf-8").lower()
    ]
    assert found == []
