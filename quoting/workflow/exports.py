"""A month's files: written, sent, and compared with what was sent and closed before."""

from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain.month import Month, Report
from quoting.files.month_files import (
    TEXT,
    Column,
    Digest,
    Table,
    archive,
    csv_archive,
    differing,
    digest,
    spreadsheet,
)
from quoting.i18n import Formats
from quoting.store.database import Database
from quoting.store.models import DocumentIssued, MonthAct
from quoting.workflow import journal, month
from quoting.workflow.month_tables import tables
from quoting.workflow.quotes import Now

NOTICE = (
    "Figures of one month as the shop's records have them. They are no advice: what "
    "they mean for tax is for a licensed adviser to say."
)
#: The files of a month.
KINDS = ("csv", "xlsx", "xml", "pdf")
_OUT = "THIS MONTH DOES NOT RECONCILE: {names}."
_CHANGED = "THIS MONTH IS NOT AS IT WAS CLOSED ON {day}: {rows}."


class Sent(NamedTuple):
    """A file of a month, and how it compares with the last one of its kind.

    Attributes:
        before: when one was sent before; None: never.
        differs: the rows that differ from it, table and key.
        changed: how the month is not what it was when it was closed; empty: it is.
    """

    name: str
    data: bytes
    kind: str
    before: MonthAct | None
    differs: tuple[str, ...]
    changed: str = ""


def notice(made: Report) -> tuple[str, ...]:
    """Return what stands on top of a month's files, the most urgent first."""
    out = "; ".join(check.name for check in made.checks if not check.holds)
    return (*((_OUT.format(names=out),) if out else ()), NOTICE)


def write(
    session: Session,
    made: Report,
    what: str,
    said: Sequence[str] = (),
    begun: Callable[[str], None] = lambda _: None,
) -> tuple[str, bytes, str]:
    """Return one file of a month: its name, bytes and media type.

    Args:
        session: to read from.
        made: the month's report.
        what: one of ``KINDS``.
        said: what stands on top of it; empty: what the month has to say.
        begun: is told each table by name.

    Raises:
        NoPdfError: the machine lacks what a PDF needs.
    """
    which, digits, said = made.month, made.currency.digits, said or notice(made)
    some = _one_by_one(session, made, begun)
    match what:
        case "xlsx":
            data = spreadsheet(some, digits=digits, notice=said)
            return f"month-{which}.xlsx", data, _XLSX
        case "pdf":
            return f"month-{which}.pdf", _pdf(session, made), "application/pdf"
        case "xml":
            data = archive(_xml(session, which), notice=said)
            return f"month-{which}-xml.zip", data, "application/zip"
        case _:
            data = csv_archive(
                some,
                name=f"month-{which}",
                digits=digits,
                notice=said,
            )
            return f"month-{which}-csv.zip", data, "application/zip"


_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _one_by_one(
    session: Session, made: Report, begun: Callable[[str], None]
) -> Iterator[Table]:
    for table in tables(session, made):
        begun(table.name)
        yield table


def _pdf(session: Session, made: Report) -> bytes:
    from quoting.papers.month_report import month_report
    from quoting.papers.pdf import to_pdf

    shop = month.edition_on(session, made.month, made.month.last).shop
    formats = Formats(shop.locale, made.currency)
    return to_pdf(month_report(made, shop, formats, shop.paper))


def _xml(session: Session, which: Month) -> Iterator[tuple[str, bytes]]:
    of = DocumentIssued
    rows = session.execute(
        select(of.number, of.xml)
        .where(of.on.between(which.first, which.last), of.xml.is_not(None))
        .order_by(of.id)
    ).yield_per(100)
    return ((f"{number.replace('/', '-')}.xml", xml) for number, xml in rows if xml)


def told(
    session: Session,
    made: Report,
    what: str = "",
    begun: Callable[[str], None] = lambda _: None,
) -> Digest:
    """Return the digest of what a file of a month holds; of all tables unless told."""
    if what != "xml":
        return digest(_one_by_one(session, made, begun))
    columns = Column("file", TEXT, "its name"), Column("sha256", TEXT, "of its bytes")
    rows = [(name, sha256(xml).hexdigest()) for name, xml in _xml(session, made.month)]
    return digest([Table("xml", "XML of documents", columns, rows)])


def send(
    database: Database,
    which: Month,
    what: str,
    now: Now,
    begun: Callable[[str], None] = lambda _: None,
) -> Sent:
    """Write a file of a month, and note that it was sent.

    Args:
        database: of the shop.
        which: month.
        what: one of ``KINDS``.
        now: who sends it.
        begun: is told each table by name when it is begun, to compare and to write it.

    Returns:
        The file; where one of its kind was sent before also what differs from it, and
        where the month is closed what differs from it as it was closed.
    """
    with database.transaction() as session:
        made = month.report(session, which, now.on)
        is_now = told(session, made, what, begun)
        before = _last(session, which, journal.SENT, what)
        differs = differing(before.sent, is_now.rows) if before and before.sent else ()
        changed = _changed(session, made, is_now) if what != "xml" else ""
        said = (changed, *notice(made)) if changed else notice(made)
        name, data, kind = write(session, made, what, said, begun)
        file = Sent(name, data, kind, before, differs, changed)
        session.add(
            MonthAct(
                month=str(which),
                act=journal.SENT,
                what=what,
                at=now.at,
                by=now.who,
                why=f"{name}: {compared(file)}",
                sha256=is_now.seal,
                sent=is_now.rows,
            )
        )
    return file


def _changed(session: Session, made: Report, is_now: Digest) -> str:
    """Return in words how a closed month is not what it was; empty: it is."""
    closed = _last(session, made.month, journal.CLOSED)
    if not made.closed or closed is None or closed.sha256 == is_now.seal:
        return ""
    rows = _some(differing(closed.sent or b"", is_now.rows))
    return _CHANGED.format(day=f"{closed.at:%Y-%m-%d}", rows=rows)


def compared(file: Sent) -> str:
    """Return in words how a file compares with the last one of its kind."""
    if file.before is None:
        said = "for the first time"
    elif not file.differs:
        said = f"same as sent {file.before.at:%Y-%m-%d}"
    else:
        said = _some(file.differs)
    return f"{said}. {file.changed}" if file.changed else said


def _some(differs: Sequence[str]) -> str:
    more = f" and {len(differs) - 3} more" if len(differs) > 3 else ""
    rows = "row differs" if len(differs) == 1 else "rows differ"
    return f"{len(differs)} {rows}: {', '.join(differs[:3])}{more}"


def _last(session: Session, which: Month, act: str, what: str = "") -> MonthAct | None:
    return session.scalars(
        select(MonthAct)
        .where(MonthAct.month == str(which), MonthAct.act == act, MonthAct.what == what)
        .order_by(MonthAct.id.desc())
        .limit(1)
    ).one_or_none()
