"""Issued documents on paper: invoice, deposit invoice and credit note.

The paper says what the frozen document says, and nothing is worked out anew. What it
is called and which tax label it uses are the country's, and come with it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil

from quoting.domain.country import Wording, address_lines
from quoting.domain.edition import Edition
from quoting.domain.invoice import Deducted, Document, Item, Kind, Party
from quoting.domain.money import ZERO
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.domain.tax import Tax
from quoting.i18n import Formats
from quoting.papers.fonts import printable
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.payment_code import in_fours, payment_code
from quoting.papers.priced_table import (
    FIGURE_MM,
    GAP_MM,
    LETTERS,
    NOTHING,
    Row,
    Section,
    Sum,
    Table,
    kept_together,
)

_WORK, _GOODS, _REST = "Work", "Parts and outwork", "Charges and discounts"
_SECTION_OF = {
    "labour": _WORK,
    "free": _WORK,
    "deposit": _WORK,
    "part": _GOODS,
    "exchange": _GOODS,
    "worth": _GOODS,
    "surcharge": _GOODS,
    "outwork": _GOODS,
}
#: What a document is called where no country says otherwise.
_TITLES = {
    Kind.INVOICE: "Invoice",
    Kind.DEPOSIT: "Deposit invoice",
    Kind.CREDIT: "Credit note",
}
#: Order of an address where no country says otherwise.
PLAIN_ORDER = ("street", "postcode town", "region")
#: Categories for which the buyer's tax number stands on the document too.
_BUYER_OWES = frozenset(("AE", "K"))


@dataclass(frozen=True, slots=True)
class Labels:
    """What an issued document calls its sums and days; in English unless told.

    Attributes:
        net, total: sums before tax and with it.
        net_within, total_first: the same where the prices contain their tax.
        base: what stands before the sum that a tax is worked out on.
        tax: heading of the taxes; empty: in plain English.
        to_pay, pay_by, supplied, credited, corrects: of the cells at the top.
    """

    net: str = "Net"
    total: str = "Total"
    net_within: str = "Net of tax"
    total_first: str = "Total with tax"
    base: str = "on "
    tax: str = ""
    to_pay: str = "to pay"
    pay_by: str = "pay by"
    supplied: str = "supplied"
    credited: str = "credited"
    corrects: str = "corrects"


_ENGLISH = Labels()


def labels_of(words: Wording | None) -> Labels:
    """Return the labels of a country's row; in English where it has none."""
    if words is None:
        return _ENGLISH
    return Labels(
        net=words.net or _ENGLISH.net,
        total=words.total or _ENGLISH.total,
        net_within=words.net or _ENGLISH.net_within,
        total_first=words.total or _ENGLISH.total_first,
        base="" if words.net else _ENGLISH.base,
        tax=words.tax,
        to_pay=words.to_pay or _ENGLISH.to_pay,
        pay_by=words.pay_by or _ENGLISH.pay_by,
        supplied=words.supplied or _ENGLISH.supplied,
        credited=words.credited or _ENGLISH.credited,
        corrects=words.corrects or _ENGLISH.corrects,
    )


def issued_paper(
    document: Document,
    shop: Shop,
    formats: Formats,
    size: str = "",
    *,
    title: str = "",
    tax_number: str = "",
    register_number: str = "",
    of_region: tuple[str, str] = ("", ""),
    labels: Labels = _ENGLISH,
    order: Sequence[str] = PLAIN_ORDER,
    specimen: bool = False,
) -> Paper:
    """Return the paper of an issued document.

    Args:
        document: with its number.
        shop: whose name over the door, notice and guarantee stand on the paper; name
            in law, address and numbers are the document's.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        title: what the country calls it; empty: in plain English.
        tax_number: what the country calls that; empty: in plain English.
        register_number: likewise.
        of_region: what the shop's state or province calls its own tax number, and the
            number; empty: there is none.
        labels: what the country calls sums and days.
        order: of an address, as the ``address`` of a country has it.
        specimen: say on top that it is not issued.

    Source:
        Council Directive 2006/112/EC, Art. 226, for what an invoice shows; Art. 219
        for what a credit note refers to.
    """
    formats = on_paper(formats)
    credit = document.kind is Kind.CREDIT
    seller, buyer = document.seller, document.buyer or Party("")
    owes = any(group.tax.category in _BUYER_OWES for group in document.taxes)
    taxed = any(each.taxes for each in document.deposits)
    numbers = tax_number or "tax number"
    return fill(
        "issued",
        shop=_at_the_head(shop, seller, order),
        formats=formats,
        size=size,
        kind=title or _TITLES[document.kind],
        number=document.number,
        made=document.on,
        block=[
            ("date", formats.date(document.on)),
            *([("specimen", "not issued")] if specimen else []),
        ],
        values={
            "specimen": specimen,
            "customer": Customer(
                buyer.name, address=_address(buyer, document, order, formats)
            ),
            "facts": [
                ("date", formats.date(document.on)),
                ("seller", "" if seller.name == shop.name else seller.name),
                (numbers, seller.tax_number),
                of_region,
                (register_number or "register", seller.register_number),
                (f"your {numbers}", buyer.tax_number if owes else ""),
                ("your order", document.order_number),
                ("registration", document.registration),
                ("head", "; ".join(document.heads)),
                ("our quote", document.quote),
                ("work order", document.work),
            ],
            "label": labels.credited if credit else labels.to_pay,
            "to_pay": formats.money(document.gross if credit else document.due),
            "paid": _paid(document, formats),
            "cells": [
                (
                    labels.pay_by,
                    formats.date(document.pay_by) if document.pay_by else "",
                ),
                (labels.supplied, _other_day(document, formats)),
                *(
                    (labels.corrects, f"{number}, {formats.date(on)}")
                    for number, on in document.refers
                ),
                ("why", document.reason.value if document.reason else ""),
            ],
            "because": document.because,
            "table": _table(document, formats, labels),
            "caption": _caption(document),
            "currency": formats.currency.code,
            "tax_name": labels.tax,
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
            "taxed": taxed,
            "deposits": list(_deposits(document.deposits, formats, taxed=taxed)),
            "rest": list(_rest(document, formats)) if taxed else [],
            "legends": document.legends,
            "ways": [] if credit else list(_ways_to_pay(document)),
            "code": "" if credit else payment_code(document),
            "guarantee": "" if credit else shop.guarantee,
        },
    )


def number_of_region(edition: Edition) -> tuple[str, str]:
    """Return what the shop's state or province calls its own tax number, and that."""
    shop, region = edition.shop, edition.region
    if not shop.region_tax_number:
        return "", ""
    named = region.tax_number if region else ""
    return named or f"tax number {shop.region}".strip(), shop.region_tax_number


def _at_the_head(shop: Shop, seller: Party, order: Sequence[str]) -> Shop:
    """Return the shop as the head of the paper names it: where it was when issued."""
    return replace(
        shop, address=_lines(seller, order), phone=seller.phone, email=seller.email
    )


def _lines(party: Party, order: Sequence[str]) -> tuple[str, ...]:
    return address_lines(
        order,
        street=party.address,
        postcode=party.postcode,
        town=party.town,
        region=party.region,
    )


def _address(
    buyer: Party, document: Document, order: Sequence[str], formats: Formats
) -> tuple[str, ...]:
    """Return the buyer's address, with the country where it is not the seller's."""
    lines = _lines(buyer, order)
    if not buyer.country or buyer.country == document.seller.country:
        return lines
    name = formats.locale.territories.get(buyer.country, buyer.country)
    return (*lines, name.upper())


def _ways_to_pay(document: Document) -> Iterator[str]:
    """Yield how to pay, a sentence each, where there is something to pay."""
    if document.due <= 0:
        return
    if document.terms:
        yield document.terms
    bank = document.bank
    if bank.iban:
        holder = bank.holder or document.seller.name
        bic = f", BIC {bank.bic}" if bank.bic else ""
        yield (
            f"By transfer to {holder}, IBAN {in_fours(bank.iban)}{bic}, "
            f"naming {document.number}."
        )


def _caption(document: Document) -> str:
    return {
        Kind.INVOICE: "What was done",
        Kind.DEPOSIT: "What it is for",
        Kind.CREDIT: "What is credited",
    }[document.kind]


def _other_day(document: Document, formats: Formats) -> str:
    if document.supplied == document.on or document.kind is Kind.CREDIT:
        return ""
    return formats.date(document.supplied)


def _paid(document: Document, formats: Formats) -> str:
    if not document.deposits:
        return ""
    whole, taken = formats.money(document.gross), formats.money(document.deducted)
    return f"{whole} less {taken} received before"


def _table(document: Document, formats: Formats, labels: Labels) -> Table:
    letters = dict(zip([group.tax for group in document.taxes], LETTERS, strict=False))
    sections = [
        _section(title, items, document, letters, formats)
        for title, items in _sections(document.items)
    ]
    if len(sections) == 1:
        sections = [sections[0]._replace(title="")]
    sums = list(_sums(document, formats, labels))
    widest = max(len(printable(amount)) for each in sums for amount in each.amounts)
    return Table(
        columns=[formats.currency.code],
        sections=kept_together(sections),
        sums=sums,
        amount_mm=GAP_MM + ceil(FIGURE_MM * widest),
        lettered=True,
    )


def _section(
    title: str,
    items: Sequence[Item],
    document: Document,
    letters: dict[Tax, str],
    formats: Formats,
) -> Section:
    """Return items under a heading; those that charge nothing stand in one row."""
    rows = [_row(item, document, letters, formats) for item in items if _charges(item)]
    free = [item.description for item in items if not _charges(item)]
    said = "; ".join(text[:1].lower() + text[1:] for text in free)
    return Section(title, rows, said, last=False)


def _charges(item: Item) -> bool:
    return any(bit.amount or bit.tax for bit in item.bits)


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


def _sums(document: Document, formats: Formats, labels: Labels) -> Iterator[Sum]:
    """Yield the sums in the words of the quote: from the net up, or with tax first."""
    amount = formats.amount
    contained = document.policy.inclusive and any(row.amount for row in document.taxes)
    if contained:
        yield Sum(labels.total_first, "", [amount(document.gross)], strong=True)
    else:
        yield Sum(labels.net, "", [amount(document.net)])
    for tax, base, owed in document.taxes:
        yield Sum(
            f"{tax.label} in it" if contained else tax.label,
            tax.reason or f"{labels.base}{amount(base)}",
            [amount(owed)],
        )
    if len(document.taxes) > 1:
        yield Sum("All taxes", "", [amount(document.tax)])
    if contained:
        yield Sum(labels.net_within, "", [amount(document.net)])
    else:
        yield Sum(labels.total, "", [amount(document.gross)], strong=True)
    if document.deposits:
        yield Sum("Deposits received", "", [amount(-document.deducted)])
        to_pay = f"{labels.to_pay[:1].upper()}{labels.to_pay[1:]}"
        yield Sum(to_pay, "", [amount(document.due)], strong=True)


def _deposits(
    deposits: Iterable[Deducted], formats: Formats, *, taxed: bool
) -> Iterator[tuple[str, str, list[str]]]:
    """Yield of each deposit its number, day, gross; net and tax before that if asked.

    One whose tax was not due on receipt has neither.
    """
    for each in deposits:
        amounts = [NOTHING, NOTHING] if taxed else []
        if each.taxes:
            net = each.gross - each.tax
            amounts = [formats.amount(net), formats.amount(each.tax)]
        amounts.append(formats.amount(each.gross))
        yield each.number or "deposit", formats.date(each.on), amounts


def _rest(document: Document, formats: Formats) -> Iterator[tuple[str, list[str]]]:
    """Yield what is left of each tax row after taxed deposits, by subtraction."""
    taken = [group for each in document.deposits for group in each.taxes]
    for tax, base, owed in document.taxes:
        net = base - sum((group.base for group in taken if group.tax == tax), ZERO)
        left = owed - sum((group.amount for group in taken if group.tax == tax), ZERO)
        yield tax.label, [formats.amount(each) for each in (net, left, net + left)]
