"""The command line: what is asked, what is answered, and exit 2 where it is refused."""

import os
import sys
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from getpass import getuser
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, NoReturn
from zoneinfo import ZoneInfo

import click

from quoting.domain.edition import Edition
from quoting.domain.errors import ProblemsError, RuleError
from quoting.files.edition import read_edition, read_with_warnings
from quoting.resources import folder
from quoting.workflow import estimates
from quoting.workflow.estimates import Estimate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy.orm import Session

    from quoting.files.learnt import Learnt
    from quoting.files.past_jobs import PastJobs
    from quoting.i18n import Formats
    from quoting.papers.html import Paper
    from quoting.settings import Settings

# The matrices of learning are small: threads would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

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
DATABASE = click.option(
    "--database",
    metavar="URL",
    help="Where the records are, such as sqlite:///FILE; QUOTING_DATABASE's own.",
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
@click.option(
    "--serve",
    "in_the_browser",
    is_flag=True,
    help="Open the app on the shop instead, with an invented year behind it.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8000,
    show_default=True,
    help="Port to answer at.",
)
@click.option(
    "--database",
    metavar="URL",
    help="Keep the invented year there; else it is gone when the app is closed.",
)
def demo(
    out: Path,
    locale: str | None,
    paper: str | None,
    port: int,
    database: str | None,
    *,
    in_the_browser: bool,
) -> None:
    """Price a job of the invented demonstration shop and print its papers."""
    if in_the_browser:
        _serve_demo(port, database)
        return
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


def _serve_demo(port: int, database: str | None) -> None:
    """Live through the invented year, say who can sign in, and open the app."""
    from contextlib import closing
    from tempfile import TemporaryDirectory

    from quoting.store.database import Database
    from quoting.workflow import demo_shop

    with TemporaryDirectory(ignore_cleanup_errors=True) as place:
        try:
            url = _records(database or f"sqlite:///{Path(place) / 'demo.db'}").database
            click.echo("An invented year is being lived through ...")
            with closing(Database(url)) as records:
                sign_ins = demo_shop.fill(records, folder("rates_demo"), on=_today())
        except RuleError as error:
            _refuse(error)
        click.echo("Shop, people, customers and figures are all invented. Sign in as:")
        for person in sign_ins:
            click.echo(f"  {person.sign_in:10} password {person.password!r}")
        context = click.get_current_context()
        context.invoke(serve, host="127.0.0.1", port=port, database=url)


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


@main.command()
@click.argument("directory", type=FOLDER, required=False)
@click.option(
    "--out",
    type=FOLDER,
    help="Folder for estimates, predictions and the report; needed with DIRECTORY.",
)
@click.option(
    "--date",
    "on",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day for which times are wanted; that of the last past job.",
)
@click.option(
    "--material",
    default="",
    help="Material of head that the book is written for; that of most past jobs.",
)
@click.option(
    "--hardness",
    default="",
    help="Hardness of seats that the book is written for; that of most past jobs.",
)
@click.option(
    "--keep",
    is_flag=True,
    help="Keep the jobs of DIRECTORY with the shop's own, and learn from all of them.",
)
@DATABASE
def learn(
    directory: Path | None,
    out: Path | None,
    on: datetime | None,
    material: str,
    hardness: str,
    keep: bool,
    database: str | None,
) -> None:
    """Learn minutes and likely extras from past jobs.

    With DIRECTORY from the tables there: every problem is named on standard error with
    its file, row and column; then the exit code is 2 and nothing is written. Without
    it from the shop's own records: what they say is in use from then on.
    """
    from quoting.domain import extras, labour
    from quoting.files.learnt import Learnt
    from quoting.files.past_jobs import read_past_jobs

    if directory is not None and out is None and not keep:
        raise click.UsageError("Say where the files go (--out FOLDER), or --keep.")
    try:
        past = None if directory is None else read_past_jobs(directory)
        if past is None or keep:
            _learn_from_records(database, out, past)
            return
        history = past.history(on.date() if on else None, material, hardness)
        minutes = labour.learn(history)
        tendencies = extras.learn(past.inspections, history.today)
        _say_learnt(Learnt(past, minutes, tendencies), out)
    except RuleError as error:
        _refuse(error)


def _say_learnt(learnt: "Learnt", out: Path | None) -> None:
    past = learnt.past
    written = learnt.write(out) if out else ()
    click.echo(
        f"{len(past.jobs)} past jobs and {len(past.book)} operations; "
        f"{len(past.future)} jobs to come."
    )
    for path in written:
        click.echo(f"written: {path}")


def _learn_from_records(
    database: str | None, out: Path | None, also: "PastJobs | None"
) -> None:
    from quoting.files.learnt import Learnt
    from quoting.store.database import Database
    from quoting.workflow import learning, people
    from quoting.workflow.quotes import Now

    with closing(Database(_records(database).database)) as records:
        at = datetime.now(UTC)
        with records.reading() as session:
            on = at.astimezone(ZoneInfo(people.zone(session))).date()
        now = Now("command line", at, on)
        if also is not None:
            with records.transaction() as session:
                learning.bring_in(session, also, now)
        key = learning.learn(records, now, "asked for")
        with records.reading() as session:
            tried, past = learning.latest(session), learning.past_jobs(session, on)
            found = learning.state(session)
    if tried is not None and not tried.good:
        click.echo(tried.said, err=True)
    if found is None or found[0] != key:
        raise SystemExit(2)
    state = found[1]
    _say_learnt(Learnt(past, state.labour, state.tendencies), out)


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


@rates.command("import")
@click.argument("directory", type=FOLDER)
@DATABASE
def bring_in(directory: Path, database: str | None) -> None:
    """Bring the rate tables in DIRECTORY into the records, as a dated edition."""
    from quoting.workflow import rates as kept

    try:
        with _opened(database) as session:
            kept.bring_in(
                session, directory, at=datetime.now(UTC), who=_at_the_command_line()
            )
            edition = read_edition(directory)
    except RuleError as error:
        _refuse(error)
    click.echo(
        f"{edition.shop.edition} of {edition.shop.name} is in force from "
        f"{edition.shop.valid_from.isoformat()}."
    )


@main.command()
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to answer at; 0.0.0.0 lets other machines in.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8000,
    show_default=True,
    help="Port to answer at.",
)
@DATABASE
def serve(host: str, port: int, database: str | None) -> None:
    """Open the app in the browser; the first start makes the records."""
    import waitress  # type: ignore[import-untyped]

    from quoting.web.app import create_app

    try:
        settings = _records(database)
        app = create_app(settings)
    except RuleError as error:
        _refuse(error)
    click.echo(f"Open http://{host}:{port}/ in a browser. Ctrl+C closes the app.")
    for work in (_finish_papers, _keep_learning):
        Thread(target=work, args=(settings.database,), daemon=True).start()
    # Over HTTPS the app stands behind a proxy of this machine, which says who asks.
    behind = {
        "trusted_proxy": "127.0.0.1",
        "trusted_proxy_headers": {"x-forwarded-for"},
        "clear_untrusted_proxy_headers": True,
    }
    waitress.serve(
        app,
        host=host,
        port=port,
        ident=None,
        threads=8,
        **(behind if settings.secure else {}),
    )


def _keep_learning(database: str) -> None:
    """Learn from new records as they come in, without anyone waiting."""
    from quoting.store.database import Database
    from quoting.workflow import learning

    with closing(Database(database)) as records:
        learning.keep_learning(records, lambda: datetime.now(UTC), pause=Event().wait)


def _finish_papers(database: str) -> None:
    """Make the files of papers that lost their program, and say how many or why not."""
    from quoting.store.database import Database
    from quoting.workflow import issuing

    try:
        with closing(Database(database)) as records:
            count = issuing.finish(records)
    except RuleError as error:
        click.echo(f"Papers wait for their files. {error}", err=True)
    else:
        if count:
            click.echo(f"Papers that got their files: {count}.", err=True)


@main.group()
def user() -> None:
    """Let people in from the command line."""


@user.command("add")
@click.argument("name")
@click.option(
    "--role",
    "roles",
    multiple=True,
    required=True,
    type=click.Choice(["owner", "counter", "bench", "accounts"]),
    help="What the person may do; may be given again.",
)
@click.option("--sign-in", help="What the person signs in with; NAME.")
@click.option("--initials", default="", help="Initials to sign work with.")
@click.option(
    "--password-stdin", is_flag=True, help="Read the password from standard input."
)
@DATABASE
def add_user(
    name: str,
    roles: tuple[str, ...],
    sign_in: str | None,
    initials: str,
    database: str | None,
    *,
    password_stdin: bool,
) -> None:
    """Open an account for NAME; the password is asked for."""
    from quoting.workflow import people

    if password_stdin:
        password = sys.stdin.readline().rstrip("\r\n")
    else:
        password = click.prompt(
            "Password", hide_input=True, confirmation_prompt=True, err=True
        )
    try:
        with _opened(database) as session:
            row = people.add(
                session,
                sign_in or name,
                name,
                roles,
                password,
                initials=initials,
                at=datetime.now(UTC),
                who=_at_the_command_line(),
            )
    except RuleError as error:
        _refuse(error)
    click.echo(f"{row.name} can sign in as {row.sign_in}.")


@main.command()
@click.argument("file", type=FILE)
@DATABASE
def backup(file: Path, database: str | None) -> None:
    """Write everything that is kept into FILE, while others go on working."""
    from quoting.store.backup import backup as write
    from quoting.store.database import Database

    try:
        settings = _records(database)
        with closing(Database(settings.database)) as records:
            manifest = write(records, file, datetime.now(UTC))
    except RuleError as error:
        _refuse(error)
    rows = sum(member.rows for member in manifest.members)
    click.echo(f"{file} holds {rows} rows of {len(manifest.members)} tables.")


@main.command()
@click.argument("month")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for the files; made if it is not there.",
)
@DATABASE
def month(month: str, out: Path, database: str | None) -> None:
    """Write the files of MONTH, such as 2026-10, for the accountant.

    CSV tables as a Data Package, a spreadsheet, the month's EN 16931 XML and a report
    as PDF, each in one file. Says whether the month reconciles; exit code 1 if it
    does not.
    """
    from zoneinfo import ZoneInfo

    from quoting.domain.month import Month
    from quoting.store.database import Database
    from quoting.workflow import exports
    from quoting.workflow.month import report
    from quoting.workflow.people import zone
    from quoting.workflow.quotes import Now

    try:
        which = Month.read(month)
        settings = _records(database)
        with closing(Database(settings.database)) as records:
            with records.reading() as session:
                at = datetime.now(UTC)
                today = at.astimezone(ZoneInfo(zone(session))).date()
                made = report(session, which, today)
            now = Now(_at_the_command_line(), at, today)
            out.mkdir(parents=True, exist_ok=True)
            for what in exports.KINDS:
                file = exports.send(records, which, what, now, _begun(what))
                (out / file.name).write_bytes(file.data)
                said = f"{len(file.data)} bytes, {exports.compared(file)}"
                click.echo(f"{out / file.name}: {said}")
    except RuleError as error:
        _refuse(error)
    for check in made.checks:
        if not check.holds:
            click.echo(f"Out by {check.out}: {check.name}", err=True)
    if not made.reconciles:
        click.echo(f"{which} does not reconcile.", err=True)
        raise SystemExit(1)
    click.echo(f"{which} reconciles: {len(made.checks)} identities hold.")


@main.command()
@click.argument("file", type=FILE)
@DATABASE
def restore(file: Path, database: str | None) -> None:
    """Bring back what FILE holds, into a place that is still empty."""
    from quoting.settings import from_environment
    from quoting.store.backup import restore as bring_back
    from quoting.store.database import Database

    try:
        url = database or from_environment().database
        with closing(Database(url)) as records:
            manifest = bring_back(file, records)
    except RuleError as error:
        _refuse(error)
    rows = sum(member.rows for member in manifest.members)
    click.echo(f"{rows} rows of {len(manifest.members)} tables are back.")


def _begun(what: str) -> "Callable[[str], None]":
    """Return what tells on a terminal which table of a file is being worked on."""

    def tell(table: str) -> None:
        if sys.stderr.isatty():
            click.echo(f"\r\033[K{what}: {table}\r", nl=False, err=True)

    return tell


def _records(database: str | None) -> "Settings":
    """Return the settings, after making the records or bringing them up to date."""
    from quoting.settings import from_environment
    from quoting.store.database import Database

    settings = from_environment()
    if database:
        settings = replace(settings, database=database)
    with closing(Database(settings.database)) as records:
        records.upgrade()
    return settings


@contextmanager
def _opened(database: str | None) -> "Iterator[Session]":
    """Open a transaction on the records, which are made or brought up to date first."""
    from quoting.store.database import Database

    with (
        closing(Database(_records(database).database)) as records,
        records.transaction() as session,
    ):
        yield session


def _at_the_command_line() -> str:
    """Return who does something, for the audit trail."""
    try:
        return f"{getuser()} at the command line"
    except (OSError, KeyError):  # no login name, as in a bare container
        return "the command line"


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
