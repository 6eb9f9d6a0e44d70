"""An edition of the rate tables, read from a folder of CSV and TOML files."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from quoting.domain.edition import Edition, assemble
from quoting.domain.errors import Problem, ProblemsError
from quoting.domain.rates import TABLES, Shop
from quoting.domain.tables import Sheet, Table
from quoting.domain.tax import Policy
from quoting.files import toml
from quoting.files.sheet import read_sheet

SHOP: Table[Shop] = Table("shop", Shop, "What holds for the whole shop")
POLICY: Table[Policy] = Table("policy", Policy, "How tax is worked out and rounded")

#: Without these nothing can be priced; any other table may be missing.
REQUIRED = ("work_centres", "operations", "layouts", "terms", "sundries", "tax_codes")


def read_edition(folder: Path) -> Edition:
    """Read the edition in *folder*.

    Raises:
        ProblemsError: with every problem of every file.
    """
    return read_with_warnings(folder)[0]


def read_with_warnings(folder: Path) -> tuple[Edition, tuple[Problem, ...]]:
    """Read the edition in *folder*; return it with what is odd but allowed.

    Raises:
        ProblemsError: with every problem of every file.
    """
    if not folder.is_dir():
        raise ProblemsError([Problem(str(folder), None, "", "", "is no folder")])
    document = toml.load(folder / "shop.toml")
    shop, problems = toml.record(document, SHOP, document.values)

    if shop is None:
        raise ProblemsError([*problems, *_other_problems(folder)])
    policy = Policy()
    policy_file = folder / "tax" / f"{shop.tax}.toml"
    if policy_file.is_file():
        terms = toml.load(policy_file)
        read, wrong = toml.record(terms, POLICY, terms.values)
        problems += wrong
        policy = read or policy
    sheets = {}
    for name in TABLES:
        path = folder / f"{name}.csv"
        if name == "tax_codes":
            path = folder / "tax" / f"{shop.tax}.csv"
        sheets[name], wrong = _sheet(name, path, folder, shop.decimal_mark)
        problems += wrong
    try:
        return assemble(shop, policy, sheets, problems)
    except ProblemsError as error:
        raise ProblemsError(_placed(error.problems, document)) from None


def _placed(problems: Iterable[Problem], document: toml.Document) -> Iterator[Problem]:
    """Give what is wrong with a key of shop.toml its line."""
    for problem in problems:
        if problem.file == document.file and problem.row is None:
            yield replace(problem, row=document.line((problem.column,)))
        else:
            yield problem


def _other_problems(folder: Path) -> Iterator[Problem]:
    """Name what is wrong with the tables where shop.toml is no use either."""
    from quoting.domain.tables import read

    for name, table in TABLES.items():
        path = folder / f"{name}.csv"
        if path.is_file():
            sheet, wrong = _sheet(name, path, folder, ".")
            yield from wrong
            if not wrong:
                yield from read(table, sheet)[1]


def _sheet(
    name: str, path: Path, folder: Path, mark: str
) -> tuple[Sheet, list[Problem]]:
    file = path.relative_to(folder).as_posix()
    required = name in REQUIRED
    return read_sheet(TABLES[name], path, file, required=required, mark=mark)
