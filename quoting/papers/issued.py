"""Issued documents on paper: invoice, deposit invoice and credit note.

The paper says what the frozen document says, and nothing is worked out anew. What it
is called and which tax label it uses are the country's, and come with it.
"""

from collections.abc import Iterable, Iterator, Sequence
from math import ceil

from quoting.domain.invoice import Deducted, Document, Item, Kind, Party
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.domain.tax import Tax
from quoting.i18n import Formats
from quoting.papers.fonts import printable
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.payment_code import payment_code
from quoting.papers.priced_table import (
    FIGURE_MM,
    GAP_MM,
    LETTERS,
    Row,
    Section,
    Sum,
    Table,
)

_WORK, _GOODS, _REST = "Work", "Parts and outwork", "Charges and discounts"
_SECTION_OF = {
    "labour": _WORK,
    "free": _WORK,
    "deposit": _WORK,
    "part": _GOODS,
    "exchange": _GOODS,
    "outwork": _GOODS,
}
#: What a document is called where no country says otherwise.
_TITLES = {
    Kind.INVOICE: "Invoice",
    Kind.DEPOSIT: "Deposit invoice",
    Kind.CREDIT: "Credit note",
}


def issued_paper(
    document: Document,
    shop: Shop,
    formats: Formats,
    size: str = "",
    *,
    title: str = "",
) -> Paper:
    """Return the paper of an issued document.

    Args:
        document: with its number.
        shop: whose head stands on the paper.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        title: what the country calls it; empty: in plain English.
    """
    formats = on_paper(formats)
    credit = document.kind is Kind.CREDIT
    buyer = document.buyer or Party("")
    reverse = any(group.tax.category == "AE" for group in document.taxes)
    due = document.gross if credit else document.due
    return fill(
        "issued",
        shop=shop,
        formats=formats,
        size=size,
        kind=title or _TITLES[document.kind],
        number=document.number,
        made=document.on,
        block=[("date", formats.date(document.on))],
        values={
            "customer": Customer(buyer.name, address=_address(buyer)),
            "facts": [
                ("date", formats.date(document.on)),
                ("tax number", document.seller.tax_number),
                ("your tax number", buyer.tax_number if reverse else ""),
                ("your order", document.order_number),
                ("registration", document.registration),
                ("our quote", document.quote),
                ("work order", document.work),
            ],
            "label": "credited" if credit else "to pay",
            "to_pay": formats.money(due),
            "paid": _paid(document, formats),
            "cells": [
                ("pay by", formats.date(document.pay_by) if document.pay_by else ""),
                ("supplied", _other_day(document, formats)),
                *(
                    ("corrects", f"{number} of {formats.date(on)}")
                    for number, on in document.refers
                ),
            ],
            "because": document.because,
            "table": _table(document, formats),
            "caption": _caption(document),
            "currency": formats.currency.code,
            "taxes": [
                {
                    "letter": letter,
                    "label": group.tax.label,
                    "reason": group.tax.reason,
                    "base": formats.amount(group.base),
                    "amount": formats.amount(group.amount),
                }
                for letter, group in zip(LETTERS, document.taxes, strict=False)
            ],
            "deposits": list(_deposits(document.deposits, formats)),
            "rest": _rest(document, formats),
            "legends": document.legends,
            "bank": document.bank,
            "code": "" if credit else payment_code(document),
        },
    )


def _caption(document: Document) -> str:
    return {
        Kind.INVOICE: "What was done",
        Kind.DEPOSIT: "What it is for",
        Kind.CREDIT: "What is credited",
    }[document.kind]


def _address(buyer: Party) -> tuple[str, ...]:
    town = " ".join(filter(None, (buyer.postcode, buyer.town)))
    return tuple(line for line in (*buyer.address, town, buyer.region) if line)


def _other_day(document: Document, formats: Formats) -> str:
    if document.supplied == document.on or document.kind is Kind.CREDIT:
        return ""
    return formats.date(document.supplied)


def _paid(document: Document, formats: Formats) -> str:
    if not document.deposits:
        return ""
    whole, taken = formats.money(document.gross), formats.money(document.deducted)
    return f"{whole} less {taken} received before"


def _table(document: Document, formats: Formats) -> Table:
    letters = dict(zip([group.tax for group in document.taxes], LETTERS, strict=False))
    sections = [
        Section(
            title,
            [_row(item, document, letters, formats) for item in items],
            "",
            last=False,
        )
        for title, items in _sections(document.items)
    ]
    if len(sections) == 1:
        sections = [sections[0]._replace(title="")]
    sums = list(_sums(document, formats))
    widest = max(len(printable(amount)) for each in sums for amount in each.amounts)
    return Table(
        columns=[formats.currency.code],
        sections=sections,
        sums=sums,
        amount_mm=GAP_MM + ceil(FIGURE_MM * widest),
        lettered=True,
    )


def _sections(items: Sequence[Item]) -> Iterator[tuple[str, list[Item]]]:
    """Yield headings with their items: by work order, or else by what they are."""
    if any(item.work for item in items):
        for work in dict.fromkeys(item.work for item in items):
            yield work, [item for item in items if item.work == work]
        return
    for title in (_WORK, _GOODS, _REST):
        found = [i for i in items if _SECTION_OF.get(i.kind, _REST) == title]
        if found:
            yield title, found


def _row(
    item: Item, document: Document, letters: dict[Tax, str], formats: Formats
) -> Row:
    taxes = {tax for code in item.codes for tax in document.taxes_of[code]}
    return Row(
        text=item.description,
        small="",
        how=[item.detail] if item.detail else [],
        amounts=[formats.amount(item.amount)],
        letters="".join(letter for tax, letter in letters.items() if tax in taxes),
    )


def _sums(document: Document, formats: Formats) -> Iterator[Sum]:
    amount = formats.amount
    yield Sum("Before tax", "", [amount(document.net)])
    yield Sum("Tax", "", [amount(document.tax)])
    yield Sum("With tax", "", [amount(document.gross)], strong=True)
    if document.deposits:
        yield Sum("Deposits received", "", [amount(-document.deducted)])
        yield Sum("To pay", "", [amount(document.due)], strong=True)


def _deposits(deposits: Iterable[Deducted], formats: Formats) -> Iterator[list[str]]:
    """Yield of each deposit its number, day, net, tax and gross."""
    for each in deposits:
        net = formats.amount(each.gross - each.tax) if each.taxes else ""
        tax = formats.amount(each.tax) if each.taxes else ""
        day = formats.date(each.on)
        yield [each.number, day, net, tax, formats.amount(each.gross)]


def _rest(document: Document, formats: Formats) -> list[tuple[str, str, str]]:
    """Return what is left of each tax row after taxed deposits, by subtraction."""
    if not any(each.taxes for each in document.deposits):
        return []
    rows = []
    for group in document.taxes:
        base, owed = group.base, group.amount
        for each in document.deposits:
            for taken in each.taxes:
                if taken.tax == group.tax:
                    base, owed = base - taken.base, owed - taken.amount
        rows.append((group.tax.label, formats.amount(base), formats.amount(owed)))
    return rows
