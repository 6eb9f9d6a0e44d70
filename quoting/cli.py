"""The command line: what is asked, what is answered, and exit 2 where it is refused."""

import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from quoting.domain.edition import Edition
from quoting.domain.errors import ProblemsError, RuleError
from quoting.files.edition import read_edition, read_with_warnings
from quoting.resources import folder
from quoting.workflow import estimates
from quoting.workflow.estimates import Estimate

if TYPE_CHECKING:
    from quoting.i18n import Formats
    from quoting.papers.html import Paper

FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)
RATES = click.option(
    "--rates", type=FOLDER, help="Folder of the rate tables; the demonstration's own."
)
LOCALE = click.option(
    "--locale", help="How money and dates are written, such as de_DE; the shop's own."
)
PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    help="Paper size; as the shop or the locale's country has it.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="quoting")
def main() -> None:
    """Price cylinder-head work and print its papers."""


@main.command()
@click.option(
    "--out",
    type=FOLDER,
    default=Path("quoting-demo"),
    show_default=True,
    help="Folder for the papers.",
)
@LOCALE
@PAPER
def demo(out: Path, locale: str | None, paper: str | None) -> None:
    """Price a job of the invented demonstration shop and print its papers."""
    rates = folder("rates_demo")
    try:
        edition = read_edition(rates)
        estimate = estimates.from_file(rates / "demo_job.toml", edition)
        formats = _formats(edition, locale)
        wanted = {
            out / "quote.pdf": estimates.quote_paper,
            out / "work-order.pdf": estimates.work_order_paper,
            out / "invoice.pdf": estimates.specimen_invoice,
        }
        made = {
            path: make(edition, estimate, formats, _size(edition, locale, paper))
            for path, make in wanted.items()
        }
        _say(edition, estimate, formats, costs=False)
        _write(made)
    except RuleError as error:
        _refuse(error)
    click.echo(f"\n{edition.shop.name}: {edition.shop.notice}.")
    for path in made:
        click.echo(f"written: {path}")


@main.command()
@click.argument("job", type=FILE, required=False)
@click.option("--say", "words", help="What the caller says, in plain shop words.")
@RATES
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON, exact decimals.")
@click.option("--costs", is_flag=True, help="Show cost and margin beside each line.")
@click.option("--pdf", type=FILE, help="Write the quote to this file.")
@click.option("--work-order", type=FILE, help="Write the work order to this file.")
@click.option("--invoice", type=FILE, help="Write a specimen invoice to this file.")
@click.option(
    "--alternative",
    type=int,
    default=1,
    show_default=True,
    help="Which alternative the work order and the invoice are for.",
)
@click.option(
    "--date",
    "on",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day of the price when it is said in words; today.",
)
@click.option("--terms", help="Code of the customer's terms when it is said in words.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="WORD=CODE",
    help="Answer to a question that the words raised; may be given again.",
)
@LOCALE
@PAPER
def price(
    job: Path | None,
    words: str | None,
    rates: Path | None,
    pdf: Path | None,
    work_order: Path | None,
    invoice: Path | None,
    alternative: int,
    on: datetime | None,
    terms: str | None,
    answers: tuple[str, ...],
    locale: str | None,
    paper: str | None,
    *,
    as_json: bool,
    costs: bool,
) -> None:
    """Price a JOB file, or what a caller says.

    Every problem of the job is named on standard error with its file, row and column;
    then the exit code is 2 and nothing is written.
    """
    if (job is None) == (words is None):
        raise click.UsageError("Give either a JOB file or --say with words.")
    try:
        edition = read_edition(rates or folder("rates_demo"))
        if words is not None:
            day = on.date() if on else _today()
            language = (locale or edition.shop.locale)[:2]
            estimate = estimates.from_words(
                words,
                edition,
                day,
                language=language,
                terms=terms or "",
                answers=_answers(answers),
            )
        else:
            estimate = estimates.from_file(job, edition)  # type: ignore[arg-type]
        made: dict[Path, Paper] = {}
        size = _size(edition, locale, paper)
        if pdf or work_order or invoice or not as_json:
            formats = _formats(edition, locale)
        if pdf:
            made[pdf] = estimates.quote_paper(edition, estimate, formats, size)
        if work_order:
            made[work_order] = estimates.work_order_paper(
                edition, estimate, formats, size, alternative
            )
        if invoice:
            made[invoice] = estimates.specimen_invoice(
                edition, estimate, formats, size, alternative
            )
        _write(made)
        if as_json:
            click.echo(estimates.as_json(estimate))
        else:
            _say(edition, estimate, formats, costs=costs)
    except RuleError as error:
        _refuse(error)


@main.group()
def rates() -> None:
    """Check, describe and print rate tables."""


@rates.command()
@click.argument("directory", type=FOLDER)
def check(directory: Path) -> None:
    """Name every problem of the rate tables in DIRECTORY; exit 2 if there is one."""
    try:
        edition, warnings = read_with_warnings(directory)
    except RuleError as error:
        _refuse(error)
    for warning in warnings:
        click.echo(str(warning), err=True)
    click.echo(
        f"{edition.shop.edition}: {len(edition.operations)} operations, "
        f"{len(edition.layouts)} layouts, {len(edition.parts)} parts, "
        f"{len(edition.sets)} sets of work; no problems."
    )


@rates.command()
def describe() -> None:
    """Print the Table Schema descriptor of every table (Data Package, JSON)."""
    from quoting.files.descriptor import descriptor_json

    click.echo(descriptor_json())


@rates.command()
@click.argument("directory", type=FOLDER)
@click.option("--pdf", type=FILE, required=True, help="Write the board to this file.")
@click.option(
    "--date", "on", type=click.DateTime(["%Y-%m-%d"]), help="Day printed on it; today."
)
@LOCALE
@PAPER
def board(
    directory: Path,
    pdf: Path,
    on: datetime | None,
    locale: str | None,
    paper: str | None,
) -> None:
    """Print the price board of the rate tables in DIRECTORY."""
    from quoting.papers.price_board import price_board

    try:
        edition = read_edition(directory)
        day = on.date() if on else _today()
        size = _size(edition, locale, paper)
        _write({pdf: price_board(edition, _formats(edition, locale), day, size)})
    except RuleError as error:
        _refuse(error)


def _refuse(error: RuleError) -> NoReturn:
    """Say every problem on its own line, and leave with 2."""
    problems = error.problems if isinstance(error, ProblemsError) else (error,)
    for problem in problems:
        click.echo(str(problem), err=True)
    sys.exit(2)


def _answers(given: tuple[str, ...]) -> dict[str, str]:
    """Read WORD=CODE pairs."""
    answers = {}
    for answer in given:
        word, equals, code = answer.rpartition("=")
        if not equals or not word.strip() or not code.strip():
            raise click.BadParameter(f"{answer!r} is not WORD=CODE.")
        answers[word.strip()] = code.strip()
    return answers


def _today() -> date:
    return datetime.now().astimezone().date()


def _formats(edition: Edition, locale: str | None) -> "Formats":
    from quoting.i18n import Formats

    formats = Formats(locale or edition.shop.locale, edition.currency)
    formats.locale  # noqa: B018  (an unknown locale is refused here, not on page 3)
    return formats


def _size(edition: Edition, locale: str | None, paper: str | None) -> str:
    """Return the paper asked for, else the shop's unless another locale is."""
    return paper or ("" if locale else edition.shop.paper)


def _write(papers: "dict[Path, Paper]") -> None:
    """Make every PDF, then write them: all or none."""
    if not papers:
        return
    from quoting.papers.pdf import to_pdf

    made = {path: to_pdf(paper) for path, paper in papers.items()}
    for path, content in made.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _say(
    edition: Edition, estimate: Estimate, formats: "Formats", *, costs: bool
) -> None:
    from quoting.workflow.telling import itemised

    click.echo(itemised(edition, estimate, formats, costs=costs))
