"""The month on paper: its figures and identities, for whoever keeps the books."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.ageing import BANDS, Since
from quoting.domain.money import ZERO
from quoting.domain.month import Check, Report, Row, Sales
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper


class _Table(NamedTuple):
    """A table of the report.

    Attributes:
        title: above it.
        heads: of its columns.
        rows: of cells.
        amounts: how many columns, the last ones, are figures.
        summed: the last row is that of the sums.
        widths: of the columns, in per cent; empty: as they come.
    """

    title: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    amounts: int
    summed: bool = False
    widths: Sequence[int] = ()


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
    yield from _sums(report, formats)
    for title, rows in (
        ("Owed", report.owed),
        ("Open credit and money on account", report.credits),
        ("Deposits held", report.deposits),
        ("Exchange surcharges held", report.surcharges),
        ("Work not invoiced", report.work),
        ("Debts given up", report.given_up),
        ("Without tax", report.exempt),
        ("Corrections of earlier months", report.corrected),
        ("Till: more or less than expected", report.till),
    ):
        yield _list(title, rows, formats)
    yield _Table(
        "Numbers",
        ("series", "first", "last", "missing", "used"),
        [
            (r.series, r.first, r.last, ", ".join(r.missing) or "none", str(r.used))
            for r in report.ranges
        ],
        1,
    )
    yield _Table(
        "Identities",
        ("what must be the same", "one side", "the other"),
        [
            (c.name, *(_figure(c, each, formats) for each in (c.left, c.right)))
            for c in report.checks
        ],
        2,
        widths=(60, 20, 20),
    )


def _sums(report: Report, formats: Formats) -> Iterable[_Table]:
    money = formats.amount
    codes = [_of_code(row) for row in report.codes]
    whole = [sum(column, ZERO) for column in zip(*codes, strict=True)]
    yield _Table(
        "Sales by tax code",
        ("code", "invoiced", "credited", "deposits", "net", "tax", "with tax"),
        [
            (label, *map(money, row))
            for label, row in zip(
                [*(row.label for row in report.codes), "in all"],
                [*codes, whole],
                strict=True,
            )
        ]
        if codes
        else [],
        6,
        summed=True,
    )
    for title, taxes in (
        ("Tax that fell due", report.taxes),
        ("If tax is due on receipt", report.cash_taxes),
    ):
        yield _Table(
            title,
            ("tax", "on", "tax"),
            [(label, money(base), money(tax)) for label, base, tax in taxes],
            2,
            widths=(60, 20, 20),
        )
    yield _Table(
        "Income",
        ("group", "net"),
        [(group, money(net)) for group, net in report.income.items()],
        1,
    )
    yield _Table(
        "Money, by method",
        ("method", "in", "out"),
        [(r.method, money(r.received), money(r.paid_back)) for r in report.money],
        2,
        widths=(60, 20, 20),
    )
    yield _Table(
        "Credit notes, by reason",
        ("reason", "how many", "with tax"),
        [(why, str(many), money(gross)) for why, many, gross in report.reasons],
        2,
        widths=(60, 20, 20),
    )
    yield _Table(
        "Debtors by age",
        ("days since", *BANDS, "unused credit", "balance"),
        [(since, *map(money, _aged(report, since))) for since in Since],
        6,
        widths=(20, 14, 12, 12, 13, 15, 14),
    )


def _of_code(row: Sales) -> tuple[Decimal, ...]:
    return (
        row.invoiced_net,
        row.credited_net,
        row.deposit_net,
        row.net,
        row.tax,
        row.gross,
    )


def _aged(report: Report, since: Since) -> tuple[Decimal, ...]:
    ages = report.ages(since)
    return *ages.bands, ages.unallocated, ages.balance


def _figure(check: Check, amount: Decimal, formats: Formats) -> str:
    return formats.number(amount) if check.counts else formats.amount(amount)


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
        whole = sum((row.amount for row in rows), ZERO)
        told.append(("in all", "", "", "", formats.amount(whole)))
    return _Table(
        title,
        ("what", "whose", "since", "note", "amount"),
        told,
        1,
        summed=True,
        widths=(13, 25, 21, 28, 13),
    )
