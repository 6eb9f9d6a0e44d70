"""The tables of a month: their columns, and the rows of each out of the records."""

from collections.abc import Iterator
from itertools import chain
from typing import Any

from sqlalchemy import Executable, Select, and_, case, func, literal, select
from sqlalchemy.orm import Session, aliased

from quoting.domain.ageing import Since
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
)
from quoting.store.models import (
    Allocation,
    DepositMoved,
    DepositTaken,
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
    Payment,
    Quote,
)
from quoting.workflow import month
from quoting.workflow.deposits import PAID_BACK


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
        _ageing(made),
        _held("work_in_progress", "Work not invoiced", made, made.work),
        _held("given_up", "Debts given up, and tax taken back", made, made.given_up),
        _held("without_tax", "Invoiced or credited without tax", made, made.exempt),
        _held("corrections", "Credits of earlier months", made, made.corrected),
        _held("till", "The till: counted less expected", made, made.till),
        _sales(made),
        _due(made),
        _numbers(made),
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
    of, corrected = DocumentIssued, aliased(DocumentIssued)
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
        Column("corrects", TEXT, "number of what a credit note corrects"): (
            corrected.number
        ),
        Column("certificate", TEXT, "by which no tax is charged"): of.certificate,
    }
    query = _of_month(made, of, *columns.values()).outerjoin(
        corrected, corrected.id == of.corrects_id
    )
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
        Column("deposits_base", MONEY, "of it what fell due with deposits"): (
            tax.before_base
        ),
        Column("deposits_tax", MONEY, "the tax in those"): tax.before_tax,
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
    of, held, moved = Payment, DepositTaken, DepositMoved
    columns = {
        Column("number", TEXT, "of the receipt"): (
            of.number,
            held.number,
            moved.number,
        ),
        Column("date", DAY, "of the money"): (of.on, held.on, moved.on),
        Column("method", TEXT, "how"): (of.method, held.method, moved.method),
        Column("customer", WHOLE, "key of the customer"): (
            of.customer_id,
            Quote.customer_id,
            Quote.customer_id,
        ),
        Column("currency", TEXT, "ISO 4217"): (
            of.currency,
            held.currency,
            held.currency,
        ),
        Column("amount", MONEY, "received; below nothing: paid back"): (
            of.amount,
            held.amount,
            -moved.gross,
        ),
        Column("cash_rounding", MONEY, "settled besides"): (
            of.rounding,
            literal(0),
            literal(0),
        ),
        Column("note", TEXT, "in words; deposit: held for a job"): (
            of.note,
            literal("deposit"),
            literal("deposit paid back: ") + held.number,
        ),
        Column("by", TEXT, "who took it"): (of.by, held.taken_by, moved.by),
    }
    paid, taken, back = zip(*columns.values(), strict=True)
    deposits = _of_month(made, held, *taken).join(Quote, Quote.id == held.quote_id)
    paid_back = (
        select(*back)
        .select_from(moved)
        .join(held, held.id == moved.deposit_id)
        .join(Quote, Quote.id == held.quote_id)
        .where(
            moved.how == PAID_BACK,
            _within(moved.on, made.month),
            held.currency == made.currency.code,
        )
        .order_by(moved.on, moved.id)
    )
    rows = chain.from_iterable(
        _streamed(session, query)
        for query in (_of_month(made, of, *paid), deposits, paid_back)
    )
    return Table("receipts", "Money in and out", (*columns,), rows)


def _allocations(session: Session, made: Report) -> Table:
    of = Allocation
    document, credit = aliased(DocumentIssued), aliased(DocumentIssued)
    payment, refund = aliased(Payment), aliased(Payment)
    columns = {
        Column("id", WHOLE, "of the allocation"): of.id,
        Column("date", DAY, "of it"): of.on,
        Column("document", TEXT, "number of the document that it pays"): (
            document.number
        ),
        Column("payment", TEXT, "number of the payment"): payment.number,
        Column("credit_note", TEXT, "number of the credit note"): credit.number,
        Column("deposit", TEXT, "number of the deposit's receipt"): DepositTaken.number,
        Column("refund", TEXT, "number of what was paid back"): refund.number,
        Column("amount", MONEY, "set against it"): of.amount,
    }
    query = (
        select(*columns.values())
        .select_from(of)
        .outerjoin(document, document.id == of.document_id)
        .outerjoin(payment, payment.id == of.payment_id)
        .outerjoin(credit, credit.id == of.credit_id)
        .outerjoin(DepositTaken, DepositTaken.id == of.deposit_id)
        .outerjoin(refund, refund.id == of.refund_id)
        .where(
            _within(of.on, made.month),
            func.coalesce(document.currency, credit.currency, payment.currency)
            == made.currency.code,
        )
        .order_by(of.id)
    )
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
        Column("account_code", TEXT, "the shop's own", own=True): _first(codes),
        Column("account_name", TEXT, "the shop's own", own=True): _first(names),
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


def _ageing(made: Report) -> Table:
    minor = made.currency.to_minor
    last = "; the last day of the month is the day to count to"
    return Table(
        "ageing",
        "Owed by age, customer by customer" + last,
        (
            Column("since", TEXT, "from which day the days are counted"),
            Column("who", TEXT, "whose"),
            Column("to_30", MONEY, "of up to 30 days"),
            Column("to_60", MONEY, "of 31 to 60"),
            Column("to_90", MONEY, "of 61 to 90"),
            Column("over_90", MONEY, "of more"),
            Column("unused", MONEY, "open credit and money on account"),
            Column("balance", MONEY, "owed less unused"),
        ),
        [
            (since.value, who, *map(minor, (*at.bands, at.unallocated, at.balance)))
            for since in Since
            for who, at in made.aged(since).items()
        ],
        keys=2,
    )


def _sales(made: Report) -> Table:
    minor = made.currency.to_minor
    return Table(
        "sales",
        "Sales by tax code",
        (
            Column("code", TEXT, "the shop's tax code"),
            Column("invoiced_net", MONEY, "on invoices, before tax"),
            Column("invoiced_tax", MONEY, "the tax on them"),
            Column("credited_net", MONEY, "on their credit notes, before tax"),
            Column("credited_tax", MONEY, "the tax on them"),
            Column(
                "deposit_net",
                MONEY,
                "deposits taxed on receipt, less those paid back or taken off invoices",
            ),
            Column("deposit_tax", MONEY, "the tax in them"),
            Column("net", MONEY, "invoiced, less credited, and deposits"),
            Column("tax", MONEY, "the same of the tax"),
            Column("gross", MONEY, "net and tax"),
        ),
        [
            (row.label, *map(minor, (*row[1:], row.net, row.tax, row.gross)))
            for row in made.codes
        ],
    )


def _due(made: Report) -> Table:
    minor = made.currency.to_minor
    return Table(
        "tax_due",
        "Tax that fell due, by the tax point and by what was received",
        (
            Column("basis", TEXT, "tax point or received"),
            Column("tax", TEXT, "its label and who levies it"),
            Column("base", MONEY, "what it is on"),
            Column("amount", MONEY, "the tax"),
        ),
        [
            (basis, label, minor(base), minor(tax))
            for basis, taxes in (
                ("tax point", made.taxes),
                ("received", made.cash_taxes),
            )
            for label, base, tax in taxes
        ],
        keys=0,
    )


def _numbers(made: Report) -> Table:
    return Table(
        "numbers",
        "Numbers that the month used",
        (
            Column("series", TEXT, "what is numbered"),
            Column("first", TEXT, "the first of the month"),
            Column("last", TEXT, "the last"),
            Column("used", WHOLE, "how many"),
            Column("missing", TEXT, "not there, since the last one of before"),
        ),
        [
            (row.series, row.first, row.last, row.used, " ".join(row.missing))
            for row in made.ranges
        ],
    )


def _controls(made: Report) -> Table:
    minor = made.currency.to_minor
    return Table(
        "controls",
        "Identities: both sides must be the same",
        (
            Column("identity", TEXT, "what must be the same"),
            Column("left", MONEY, "one side: an amount, or how many"),
            Column("right", MONEY, "the other"),
            Column("out", MONEY, "their difference"),
            Column("holds", TEXT, "yes or no"),
        ),
        [
            (
                check.name,
                *map(minor, (check.left, check.right, check.out)),
                "yes" if check.holds else "no",
            )
            for check in made.checks
        ],
    )
