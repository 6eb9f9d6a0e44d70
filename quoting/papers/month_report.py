"""The month on paper: its figures and identities, for whoever keeps the books."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from quoting.domain.month import Report, Row
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper

#: Title, headings (of amounts the last ones), rows and how many columns are amounts.
_Table = tuple[str, Sequence[str], list[Sequence[str]], int]


def month_report(report: Report, shop: Shop, formats: Formats, size: str = "") -> Paper:
    """Return the report of a month.

    Args:
        report: its figures.
        shop: whose month it is.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    made = report.month.last
    return fill(
        "month",
        shop=shop,
        formats=formats,
        size=size,
        kind="Month",
        number=str(report.month),
        made=made,
        block=[("to", formats.date(made))],
        values={
            "customer": Customer(),
            "facts": [
                ("from", formats.date(report.month.first)),
                ("to", formats.date(made)),
                ("currency", report.currency.code),
                ("state", "closed" if report.closed else "open"),
            ],
            "out": [check.name for check in report.checks if not check.holds],
            "holds": len(report.checks),
            "net": formats.money(report.moved.tax_nets),
            "tax": formats.money(report.moved.tax_by_code),
            "tables": list(_tables(report, formats)),
        },
    )


def _tables(report: Report, formats: Formats) -> Iterable[_Table]:
    money = formats.amount
    yield (
        "Sales by tax code",
        ("code", "invoiced", "credited", "net", "tax", "with tax"),
        [
            (
                r.label,
                *map(money, (r.invoiced_net, r.credited_net, r.net, r.tax, r.gross)),
            )
            for r in report.codes
        ],
        5,
    )
    yield (
        "Tax that fell due",
        ("tax", "on", "tax"),
        [(label, money(base), money(tax)) for label, base, tax in report.taxes],
        2,
    )
    yield (
        "If tax is due on receipt",
        ("tax", "on", "tax"),
        [(label, money(base), money(tax)) for label, base, tax in report.cash_taxes],
        2,
    )
    yield (
        "Income",
        ("group", "net"),
        [(group, money(net)) for group, net in report.income.items()],
        1,
    )
    yield (
        "Money, by method",
        ("method", "in", "out"),
        [(r.method, money(r.received), money(r.paid_back)) for r in report.money],
        2,
    )
    yield (
        "Credit notes, by reason",
        ("reason", "how many", "with tax"),
        [(why, str(many), money(gross)) for why, many, gross in report.reasons],
        2,
    )
    yield (
        "Debtors by age",
        ("age", "owed"),
        [(name, money(amount)) for name, amount in report.ages.items()],
        1,
    )
    for title, rows in (
        ("Owed", report.owed),
        ("Open credit and money on account", report.credits),
        ("Deposits held", report.deposits),
        ("Exchange surcharges held", report.surcharges),
        ("Work in progress", report.work),
        ("Debts given up", report.given_up),
        ("Without tax", report.exempt),
        ("Corrections of closed months", report.corrected),
    ):
        yield _list(title, rows, formats)
    yield (
        "Numbers",
        ("series", "first", "last", "missing", "used"),
        [
            (r.series, r.first, r.last, ", ".join(r.missing) or "none", str(r.used))
            for r in report.ranges
        ],
        1,
    )
    yield (
        "Identities",
        ("what must be the same", "one side", "the other"),
        [(c.name, money(c.left), money(c.right)) for c in report.checks],
        2,
    )


def _list(title: str, rows: Sequence[Row], formats: Formats) -> _Table:
    told: list[Sequence[str]] = [
        (
            row.what,
            row.who,
            formats.date(row.on) if row.on else "",
            f"pay by {formats.date(row.by)}" if row.by else row.note,
            formats.amount(row.amount),
        )
        for row in rows
    ]
    if told:
        whole = sum((row.amount for row in rows), Decimal(0))
        told.append(("in all", "", "", "", formats.amount(whole)))
    return title, ("what", "whose", "since", "note", "amount"), told, 1
