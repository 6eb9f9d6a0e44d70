"""A month's files: the rows of its tables, written, and compared with what was sent."""

from collections.abc import Iterator
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import Executable, select
from sqlalchemy.orm import Session

from quoting.domain.month import Month, Report
from quoting.domain.month import Row as Listed
from quoting.files.month_files import (
    DAY,
    MONEY,
    TEXT,
    WHOLE,
    Column,
    Row,
    Table,
    archive,
    csv_archive,
    differing,
    digest,
    spreadsheet,
)
from quoting.i18n import Formats
from quoting.store.database import Database
from quoting.store.models import (
    Allocation,
    DepositTaken,
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
    MonthAct,
    Payment,
    Quote,
)
from quoting.workflow import journal, month
from quoting.workflow.quotes import Now

NOTICE = (
    "Figures of one month as the shop's records have them. They are no advice: what "
    "they mean for tax is for a licensed adviser to say."
)
_OUT = "THIS MONTH DOES NOT RECONCILE: {names}. "


class Sent(NamedTuple):
    """A file of a month, and how it compares with the last one that was sent.

    Attributes:
        before: when one was sent before; None: never.
        differs: the rows that differ from it, table and key.
    """

    name: str
    data: bytes
    kind: str
    before: MonthAct | None
    differs: tuple[str, ...]


def tables(session: Session, made: Report) -> tuple[Table, ...]:
    """Return the tables of a month; their rows are read when they are written."""
    which = made.month
    code = made.currency.code
    return (
        _documents(session, which, code),
        _lines(session, which, code),
        _tax_rows(session, which, code),
        _receipts(session, which, code),
        _allocations(session, which),
        _held("deposits", "Deposits held at the end of the month", made, made.deposits),
        _held(
            "surcharges",
            "Exchange surcharges held at the end of the month",
            made,
            made.surcharges,
        ),
        _held("open_items", "Owed at the end of the month", made, made.owed),
        _held("credits", "Open credit and money on account", made, made.credits),
        _held("work_in_progress", "Work not invoiced", made, made.work),
        _journal(session, which, code),
        _controls(made),
    )


def _within(column: Any, which: Month) -> Any:
    return column.between(which.first, which.last)


def _streamed(session: Session, query: Executable) -> Iterator[Row]:
    yield from session.execute(query).yield_per(1000)


def _documents(session: Session, which: Month, code: str) -> Table:
    of = DocumentIssued
    return Table(
        "documents",
        "Invoices, deposit invoices and credit notes",
        (
            Column("number", TEXT, "of the document"),
            Column("kind", TEXT, "invoice, deposit invoice or credit note"),
            Column("date", DAY, "of the document"),
            Column("supplied", DAY, "day of supply: the tax point of the rates"),
            Column("pay_by", DAY, "last day to pay"),
            Column("customer", WHOLE, "key of the customer"),
            Column("buyer", TEXT, "as named on the document"),
            Column("currency", TEXT, "ISO 4217"),
            Column("net", MONEY, "before tax; of a credit note what is taken back"),
            Column("tax", MONEY, "all taxes"),
            Column("gross", MONEY, "net and tax"),
            Column("deposits", MONEY, "received before and taken off"),
            Column("reason", TEXT, "of a credit note"),
        ),
        _streamed(
            session,
            select(
                of.number, of.kind, of.on, of.supplied, of.pay_by, of.customer_id,
                of.buyer, of.currency, of.net, of.tax, of.gross, of.deducted, of.reason,
            )
            .where(_within(of.on, which), of.currency == code)
            .order_by(of.id),
        ),
    )  # fmt: skip


def _lines(session: Session, which: Month, code: str) -> Table:
    of, line = DocumentIssued, DocumentLine
    return Table(
        "lines",
        "Lines of the documents",
        (
            Column("document", TEXT, "number of the document"),
            Column("place", WHOLE, "of the line; of a credit note that it credits"),
            Column("kind", TEXT, "labour, part, discount ..."),
            Column("code", TEXT, "the shop's own"),
            Column("description", TEXT, "as printed"),
            Column("income", TEXT, "income group"),
            Column("work_order", TEXT, "where the document has several"),
            Column("net", MONEY, "before tax"),
            Column("tax", MONEY, "its share of the document's tax"),
        ),
        _streamed(
            session,
            select(
                of.number, line.place, line.kind, line.code, line.description,
                line.income, line.work, line.net, line.tax,
            )
            .join(of, of.id == line.document_id)
            .where(_within(of.on, which), of.currency == code)
            .order_by(of.id, line.place),
        ),
        keys=2,
    )  # fmt: skip


def _tax_rows(session: Session, which: Month, code: str) -> Table:
    of, tax = DocumentIssued, DocumentTax
    return Table(
        "tax_summary",
        "Tax tables of the documents",
        (
            Column("document", TEXT, "number of the document"),
            Column("place", WHOLE, "of the row"),
            Column("authority", TEXT, "who levies the tax"),
            Column("category", TEXT, "EN 16931 category"),
            Column("rate", TEXT, "per cent"),
            Column("label", TEXT, "as printed"),
            Column("reason", TEXT, "why nothing is charged"),
            Column("base", MONEY, "what it is worked out on"),
            Column("tax", MONEY, "the tax"),
        ),
        _streamed(
            session,
            select(
                of.number, tax.place, tax.authority, tax.category, tax.rate,
                tax.label, tax.reason, tax.base, tax.amount,
            )
            .join(of, of.id == tax.document_id)
            .where(_within(of.on, which), of.currency == code)
            .order_by(of.id, tax.place),
        ),
        keys=2,
    )  # fmt: skip


def _receipts(session: Session, which: Month, code: str) -> Table:
    of = Payment
    payments = (
        select(
            of.number, of.on, of.method, of.customer_id, of.currency, of.amount,
            of.rounding, of.note, of.by,
        )
        .where(_within(of.on, which), of.currency == code)
        .order_by(of.id)
    )  # fmt: skip
    taken = (
        select(
            DepositTaken.number, DepositTaken.on, DepositTaken.method,
            Quote.customer_id, DepositTaken.currency, DepositTaken.amount,
            DepositTaken.taken_by,
        )
        .join(Quote, Quote.id == DepositTaken.quote_id)
        .where(_within(DepositTaken.on, which), DepositTaken.currency == code)
        .order_by(DepositTaken.id)
    )  # fmt: skip

    def rows() -> Iterator[Row]:
        yield from _streamed(session, payments)
        for row in _streamed(session, taken):
            yield (*row[:-1], 0, "deposit", row[-1])

    return Table(
        "receipts",
        "Money in and out",
        (
            Column("number", TEXT, "of the receipt"),
            Column("date", DAY, "of the money"),
            Column("method", TEXT, "how"),
            Column("customer", WHOLE, "key of the customer"),
            Column("currency", TEXT, "ISO 4217"),
            Column("amount", MONEY, "received; below nothing: paid back"),
            Column("cash_rounding", MONEY, "settled besides"),
            Column("note", TEXT, "in words; deposit: held for a job"),
            Column("by", TEXT, "who took it"),
        ),
        rows(),
    )


def _allocations(session: Session, which: Month) -> Table:
    of = Allocation
    return Table(
        "allocations",
        "What money and credit notes were set against",
        (
            Column("id", WHOLE, "of the allocation"),
            Column("date", DAY, "of it"),
            Column("document", WHOLE, "key of the document that it pays"),
            Column("payment", WHOLE, "key of the payment"),
            Column("credit_note", WHOLE, "key of the credit note"),
            Column("deposit", WHOLE, "key of the deposit"),
            Column("refund", WHOLE, "key of what was paid back"),
            Column("amount", MONEY, "set against it"),
        ),
        _streamed(
            session,
            select(
                of.id, of.on, of.document_id, of.payment_id, of.credit_id,
                of.deposit_id, of.refund_id, of.amount,
            )
            .where(_within(of.on, which))
            .order_by(of.id),
        ),
    )  # fmt: skip


def _held(name: str, title: str, made: Report, rows: tuple[Listed, ...]) -> Table:
    minor = made.currency.to_minor
    return Table(
        name,
        title,
        (
            Column("number", TEXT, "of the document"),
            Column("who", TEXT, "whose"),
            Column("since", DAY, "day of the document"),
            Column("amount", MONEY, "open or held"),
            Column("note", TEXT, "in words"),
        ),
        [(row.what, row.who, row.on, minor(row.amount), row.note) for row in rows],
        keys=0,
    )


def _journal(session: Session, which: Month, code: str) -> Table:
    names = {(a.role, a.detail): a for a in month.account_names(session)}
    of = Entry
    query = (
        select(
            of.id, of.on, of.tax_date, of.event, of.document_number, of.line, of.role,
            of.detail, of.amount, of.currency, of.rate, of.base, of.customer_id,
            of.narrative, of.at, of.by,
        )
        .where(_within(of.on, which), of.currency == code)
        .order_by(of.id)
    )  # fmt: skip

    def rows() -> Iterator[Row]:
        for row in session.execute(query).yield_per(1000):
            named = names[row[6], row[7]]
            amount = row[8]
            taxed = row[6] == "output tax"
            yield (
                *row[:6],
                named.code,
                named.name,
                max(amount, 0),
                max(-amount, 0),
                row[9],
                row[7] if taxed else "",
                row[10],
                abs(row[11]) if taxed else None,
                row[12],
                row[13],
                row[14].isoformat(),
                row[15],
            )

    return Table(
        "journal",
        "The journal: every entry balances",
        (
            Column("entry_id", WHOLE, "of the line"),
            Column("posted_date", DAY, "of the entry"),
            Column("tax_date", DAY, "tax point"),
            Column("doc_type", TEXT, "what happened"),
            Column("doc_no", TEXT, "number of its document"),
            Column("line_no", WHOLE, "of the line in its entry"),
            Column("account_code", TEXT, "the shop's own"),
            Column("account_name", TEXT, "the shop's own"),
            Column("debit", MONEY, "debit"),
            Column("credit", MONEY, "credit"),
            Column("currency", TEXT, "ISO 4217"),
            Column("tax_code", TEXT, "label of the tax"),
            Column("tax_rate", TEXT, "per cent"),
            Column("tax_base", MONEY, "what the tax was worked out on"),
            Column("customer_id", WHOLE, "key of the customer"),
            Column("narrative", TEXT, "in words"),
            Column("entered_at", TEXT, "when, in UTC"),
            Column("entered_by", TEXT, "who"),
        ),
        rows(),
    )


def _controls(made: Report) -> Table:
    return Table(
        "controls",
        "Identities: both sides must be the same",
        (
            Column("identity", TEXT, "what must be the same"),
            Column("left", TEXT, "one side"),
            Column("right", TEXT, "the other"),
            Column("out", TEXT, "their difference"),
            Column("holds", TEXT, "yes or no"),
        ),
        [
            (
                check.name,
                str(check.left),
                str(check.right),
                str(check.out),
                "yes" if check.holds else "no",
            )
            for check in made.checks
        ],
    )


def notice(made: Report) -> str:
    """Return what stands on top of a month's files."""
    out = "; ".join(check.name for check in made.checks if not check.holds)
    return (_OUT.format(names=out) if out else "") + NOTICE


def write(
    session: Session, which: Month, what: str, today: date
) -> tuple[str, bytes, str]:
    """Return one file of a month: its name, bytes and media type.

    Args:
        session: to read from.
        which: the month.
        what: ``csv``, ``xlsx``, ``xml`` or ``pdf``.
        today: the shop's day.

    Raises:
        NoPdfError: the machine lacks what a PDF needs.
    """
    made = month.report(session, which, today)
    digits, said = made.currency.digits, notice(made)
    match what:
        case "xlsx":
            data = spreadsheet(tables(session, made), digits=digits, notice=said)
            return f"month-{which}.xlsx", data, _XLSX
        case "pdf":
            return f"month-{which}.pdf", _pdf(session, made), "application/pdf"
        case "xml":
            return f"month-{which}-xml.zip", _xml(session, which), "application/zip"
        case _:
            data = csv_archive(
                tables(session, made),
                name=f"month-{which}",
                digits=digits,
                notice=said,
            )
            return f"month-{which}-csv.zip", data, "application/zip"


_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _pdf(session: Session, made: Report) -> bytes:
    from quoting.papers.month_report import month_report
    from quoting.papers.pdf import to_pdf

    shop = month.edition_on(session, made.month, made.month.last).shop
    formats = Formats(shop.locale, made.currency)
    return to_pdf(month_report(made, shop, formats, shop.paper))


def _xml(session: Session, which: Month) -> bytes:
    of = DocumentIssued
    rows = session.execute(
        select(of.number, of.xml)
        .where(_within(of.on, which), of.xml.is_not(None))
        .order_by(of.id)
    ).yield_per(100)
    return archive((f"{number}.xml", xml) for number, xml in rows if xml)


def send(database: Database, which: Month, what: str, now: Now) -> Sent:
    """Write a file of a month, and note that it was sent.

    Returns:
        The file; where one was sent before also what differs from it.
    """
    with database.transaction() as session:
        name, data, kind = write(session, which, what, now.on)
        made = month.report(session, which, now.on)
        told = digest(tables(session, made))
        before = last_sent(session, which)
        differs = differing(before.sent, told) if before and before.sent else ()
        session.add(
            MonthAct(
                month=str(which),
                act=journal.SENT,
                at=now.at,
                by=now.who,
                why=_said(before, differs),
                sent=told,
            )
        )
    return Sent(name, data, kind, before, differs)


def compared(file: Sent) -> str:
    """Return in words how a file compares with the last one that was sent."""
    return _said(file.before, file.differs)


def _said(before: MonthAct | None, differs: tuple[str, ...]) -> str:
    if before is None:
        return "for the first time"
    if not differs:
        return f"same as sent {before.at:%Y-%m-%d}"
    more = f" and {len(differs) - 3} more" if len(differs) > 3 else ""
    return f"{len(differs)} rows differ: {', '.join(differs[:3])}{more}"


def last_sent(session: Session, which: Month) -> MonthAct | None:
    """Return when a month was sent last; None: never."""
    return session.scalars(
        select(MonthAct)
        .where(MonthAct.month == str(which), MonthAct.act == journal.SENT)
        .order_by(MonthAct.id.desc())
        .limit(1)
    ).one_or_none()
