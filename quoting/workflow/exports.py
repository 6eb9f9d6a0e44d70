"""A month's files: the rows of its tables, written, and compared with what was sent."""

from collections.abc import Iterator
from itertools import chain
from typing import Any, NamedTuple

from sqlalchemy import Executable, Select, and_, case, func, literal, select
from sqlalchemy.orm import Session

from quoting.domain.journal import Role
from quoting.domain.month import Month, Report
from quoting.domain.month import Row as Listed
from quoting.files.month_files import (
    DAY,
    INSTANT,
    MONEY,
    TEXT,
    WHOLE,
    Column,
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
    return (
        _documents(session, made),
        _lines(session, made),
        _tax_rows(session, made),
        _receipts(session, made),
        _allocations(session, made),
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
        _journal(session, made),
        _controls(made),
    )


def _within(column: Any, which: Month) -> Any:
    return column.between(which.first, which.last)


def _of_month(made: Report, of: Any, *columns: Any) -> Select[Any]:
    """Select columns of what the month has of one kind, day by day."""
    return (
        select(*columns)
        .select_from(of)
        .where(_within(of.on, made.month), of.currency == made.currency.code)
        .order_by(of.on, of.id)
    )


#: Rows come from the database so many at a time.
_STREAMED = {"yield_per": 1000}


def _streamed(session: Session, query: Executable) -> Iterator[Any]:
    found = session.connection().execute(query, execution_options=_STREAMED)
    for rows in found.partitions():
        yield from rows


def _documents(session: Session, made: Report) -> Table:
    of = DocumentIssued
    columns = {
        Column("number", TEXT, "of the document"): of.number,
        Column("kind", TEXT, "invoice, deposit invoice or credit note"): of.kind,
        Column("date", DAY, "of the document"): of.on,
        Column("supplied", DAY, "day of supply: the tax point of the rates"): (
            of.supplied
        ),
        Column("pay_by", DAY, "last day to pay"): of.pay_by,
        Column("customer", WHOLE, "key of the customer"): of.customer_id,
        Column("buyer", TEXT, "as named on the document"): of.buyer,
        Column("currency", TEXT, "ISO 4217"): of.currency,
        Column("net", MONEY, "before tax; of a credit note what is taken back"): of.net,
        Column("tax", MONEY, "all taxes"): of.tax,
        Column("gross", MONEY, "net and tax"): of.gross,
        Column("deposits", MONEY, "received before and taken off"): of.deducted,
        Column("reason", TEXT, "of a credit note"): of.reason,
    }
    query = _of_month(made, of, *columns.values())
    title = "Invoices, deposit invoices and credit notes"
    return Table("documents", title, (*columns,), _streamed(session, query))


def _lines(session: Session, made: Report) -> Table:
    of, line = DocumentIssued, DocumentLine
    columns = {
        Column("document", TEXT, "number of the document"): of.number,
        Column("place", WHOLE, "of the line; of a credit note that it credits"): (
            line.place
        ),
        Column("kind", TEXT, "labour, part, discount ..."): line.kind,
        Column("code", TEXT, "the shop's own"): line.code,
        Column("description", TEXT, "as printed"): line.description,
        Column("income", TEXT, "income group"): line.income,
        Column("work_order", TEXT, "where the document has several"): line.work,
        Column("net", MONEY, "before tax"): line.net,
        Column("tax", MONEY, "its share of the document's tax"): line.tax,
    }
    title = "Lines of the documents"
    return _of_documents(session, made, line, "lines", title, columns)


def _tax_rows(session: Session, made: Report) -> Table:
    of, tax = DocumentIssued, DocumentTax
    columns = {
        Column("document", TEXT, "number of the document"): of.number,
        Column("place", WHOLE, "of the row"): tax.place,
        Column("authority", TEXT, "who levies the tax"): tax.authority,
        Column("category", TEXT, "EN 16931 category"): tax.category,
        Column("rate", TEXT, "per cent"): tax.rate,
        Column("label", TEXT, "as printed"): tax.label,
        Column("reason", TEXT, "why nothing is charged"): tax.reason,
        Column("base", MONEY, "what it is worked out on"): tax.base,
        Column("tax", MONEY, "the tax"): tax.amount,
    }
    title = "Tax tables of the documents"
    return _of_documents(session, made, tax, "tax_summary", title, columns)


def _of_documents(
    session: Session,
    made: Report,
    rows: Any,
    name: str,
    title: str,
    columns: dict[Column, Any],
) -> Table:
    """Return a table of what stands in the month's documents, place by place."""
    of = DocumentIssued
    query = (
        _of_month(made, of, *columns.values())
        .join(rows, rows.document_id == of.id)
        .order_by(rows.place)
    )
    return Table(name, title, (*columns,), _streamed(session, query), keys=2)


def _receipts(session: Session, made: Report) -> Table:
    of, held = Payment, DepositTaken
    columns = {
        Column("number", TEXT, "of the receipt"): (of.number, held.number),
        Column("date", DAY, "of the money"): (of.on, held.on),
        Column("method", TEXT, "how"): (of.method, held.method),
        Column("customer", WHOLE, "key of the customer"): (
            of.customer_id,
            Quote.customer_id,
        ),
        Column("currency", TEXT, "ISO 4217"): (of.currency, held.currency),
        Column("amount", MONEY, "received; below nothing: paid back"): (
            of.amount,
            held.amount,
        ),
        Column("cash_rounding", MONEY, "settled besides"): (of.rounding, literal(0)),
        Column("note", TEXT, "in words; deposit: held for a job"): (
            of.note,
            literal("deposit"),
        ),
        Column("by", TEXT, "who took it"): (of.by, held.taken_by),
    }
    paid, taken = zip(*columns.values(), strict=True)
    deposits = _of_month(made, held, *taken).join(Quote, Quote.id == held.quote_id)
    rows = chain(
        _streamed(session, _of_month(made, of, *paid)), _streamed(session, deposits)
    )
    return Table("receipts", "Money in and out", (*columns,), rows)


def _allocations(session: Session, made: Report) -> Table:
    of = Allocation
    columns = {
        Column("id", WHOLE, "of the allocation"): of.id,
        Column("date", DAY, "of it"): of.on,
        Column("document", WHOLE, "key of the document that it pays"): of.document_id,
        Column("payment", WHOLE, "key of the payment"): of.payment_id,
        Column("credit_note", WHOLE, "key of the credit note"): of.credit_id,
        Column("deposit", WHOLE, "key of the deposit"): of.deposit_id,
        Column("refund", WHOLE, "key of what was paid back"): of.refund_id,
        Column("amount", MONEY, "set against it"): of.amount,
    }
    query = select(*columns.values()).where(_within(of.on, made.month)).order_by(of.id)
    title = "What money and credit notes were set against"
    return Table("allocations", title, (*columns,), _streamed(session, query))


def _journal(session: Session, made: Report) -> Table:
    of = Entry
    taxed = of.role == Role.TAX
    codes, names = [], []
    for account in month.account_names(session):
        posted_to = and_(of.role == account.role, of.detail == account.detail)
        codes.append((posted_to, literal(account.code)))
        names.append((posted_to, literal(account.name)))
    columns = {
        Column("entry_id", WHOLE, "of the line"): of.id,
        Column("posted_date", DAY, "of the entry"): of.on,
        Column("tax_date", DAY, "tax point"): of.tax_date,
        Column("doc_type", TEXT, "what happened"): of.event,
        Column("doc_no", TEXT, "number of its document"): of.document_number,
        Column("line_no", WHOLE, "of the line in its entry"): of.line,
        Column("account_code", TEXT, "the shop's own"): _first(codes),
        Column("account_name", TEXT, "the shop's own"): _first(names),
        Column("debit", MONEY, "debit"): case((of.amount > 0, of.amount), else_=0),
        Column("credit", MONEY, "credit"): case((of.amount < 0, -of.amount), else_=0),
        Column("currency", TEXT, "ISO 4217"): of.currency,
        Column("tax_code", TEXT, "label of the tax"): case(
            (taxed, of.detail), else_=""
        ),
        Column("tax_rate", TEXT, "per cent"): of.rate,
        Column("tax_base", MONEY, "what the tax was worked out on"): (
            case((taxed, func.abs(of.base)))
        ),
        Column("customer_id", WHOLE, "key of the customer"): of.customer_id,
        Column("narrative", TEXT, "in words"): of.narrative,
        Column("entered_at", INSTANT, "when, in UTC"): of.at,
        Column("entered_by", TEXT, "who"): of.by,
    }
    query = _of_month(made, of, *columns.values())
    title = "The journal: every entry balances"
    return Table("journal", title, (*columns,), _streamed(session, query))


def _first(choices: list[tuple[Any, Any]]) -> Any:
    return case(*choices, else_="") if choices else literal("")


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
        [
            (
                row.what,
                row.who,
                row.on,
                minor(row.amount),
                row.by.isoformat() if row.by else row.note,
            )
            for row in rows
        ],
        keys=0,
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


def write(session: Session, made: Report, what: str) -> tuple[str, bytes, str]:
    """Return one file of a month: its name, bytes and media type.

    Args:
        session: to read from.
        made: the month's report.
        what: ``csv``, ``xlsx``, ``xml`` or ``pdf``.

    Raises:
        NoPdfError: the machine lacks what a PDF needs.
    """
    which, digits, said = made.month, made.currency.digits, notice(made)
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
        made = month.report(session, which, now.on)
        name, data, kind = write(session, made, what)
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
