"""Issued documents for tests, one of every kind, of the worked jobs and in euro."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from builders import JOBS, edition, with_worth_taxed

from quoting.domain.credit import credit_all, credit_amount, credit_lines, credit_note
from quoting.domain.invoice import (
    Bank,
    Bit,
    Deducted,
    Document,
    Item,
    Kind,
    Party,
    Why,
    Work,
    deposit_bits,
    items_of,
    tax_rows,
)
from quoting.domain.money import Currency
from quoting.domain.pricing import price
from quoting.domain.tax import Group, Part, Tax
from quoting.files.job_file import read_job
from quoting.i18n import Formats
from quoting.papers.issued import issued_paper

SELLER = Party(
    "Tallow Lane Heads", ("4 Tallow Lane",), "ZZ99 9ZZ", "Exampleton", "", "IE",
    "IE1234567FA", "", "counter@tallowlane.example.invalid", "+44 1632 960417",
)  # fmt: skip
BUYER = Party(
    "Osgood & <Daughters>", ("1 Row", "Unit 2", "Back yard", "Left door"), "", "",
    "", "DE", "DE123456789", "", "mabel@osgood.example.invalid",
)  # fmt: skip
#: The IBAN of the standard's own examples (ISO 13616 registry, Ireland).
BANK = Bank("IE29 AIBK 9311 5212 3456 78", "AIBKIE2D", "Tallow Lane Heads")


EDITION = edition()
INCLUSIVE = replace(EDITION, policy=replace(EDITION.policy, inclusive=True))


def invoice(name, rates=EDITION, **changed):
    """Return the invoice of one of the worked jobs, in euro."""
    file = read_job(JOBS / f"{name}.toml", rates)
    [(_, job)] = file.jobs
    priced = price(rates, job, file.tax_point)
    unit = rates.currency.unit
    items, taxes = items_of([Work(priced)], rates.policy, unit)
    made = Document(
        kind=Kind.INVOICE,
        number="I-00001",
        on=date(2026, 3, 2),
        supplied=date(2026, 2, 27),
        pay_by=date(2026, 4, 1),
        currency=Currency("EUR", 2),
        locale="en_IE",
        seller=SELLER,
        buyer=BUYER,
        bank=BANK,
        policy=rates.policy,
        items=items,
        taxes=taxes,
        taxes_of=priced.taxes_of,
        order_number="PO 7",
        registration="AB 123",
        quote="Q-00001",
    )
    return replace(made, **changed)


def taxed(document, category, reason):
    """Return a document whose every tax is of one category that charges nothing."""
    tax = Tax("Office", category, Decimal(0), "Not taxed", reason=reason)
    items = tuple(
        replace(
            item,
            bits=tuple(
                bit._replace(taxes=(Decimal(0),), amount=bit.net) for bit in item.bits
            ),
        )
        for item in document.items
    )
    codes = dict.fromkeys(document.taxes_of, (tax,))
    rows = tax_rows(items, codes)
    policy = replace(document.policy, inclusive=False)
    return replace(document, items=items, taxes=rows, taxes_of=codes, policy=policy)


def deposited(document):
    """Return a document that takes off a taxed deposit and an untaxed one."""
    first = document.taxes[0].tax
    taken = (Group(first, Decimal("41.67"), Decimal("8.33")),)
    return replace(
        document,
        deposits=(
            Deducted("A-00001", date(2026, 2, 1), Decimal("50.00"), taken),
            Deducted("D-00002", date(2026, 2, 3), Decimal("10.00")),
        ),
    )


def deposit():
    document = invoice("T01")
    [group] = document.taxes
    part = Part((group.tax,), Decimal("120.00"), (Decimal("20.00"),))
    [code, *_] = document.taxes_of
    bits = deposit_bits([(code, part)], document.policy)
    item = Item(1, "deposit", "", "Deposit for Q-00001", "deposits", bits)
    rows = tax_rows([item], document.taxes_of)
    return replace(document, kind=Kind.DEPOSIT, items=(item,), taxes=rows)


def of_a_month():
    """Return one invoice for the work of two delivery notes, of several rates."""
    done = []
    for name, number in (("T02", "W-00001"), ("T09", "W-00002")):
        file = read_job(JOBS / f"{name}.toml", EDITION)
        [(_, job)] = file.jobs
        done.append(Work(price(EDITION, job, file.tax_point), number))
    items, taxes = items_of(done, EDITION.policy, EDITION.currency.unit)
    codes = {
        code: taxes for each in done for code, taxes in each.priced.taxes_of.items()
    }
    return invoice(
        "T02",
        items=items,
        taxes=taxes,
        taxes_of=codes,
        quote="",
        work="W-00001, delivered 12 February 2026; W-00002, delivered 27 February 2026",
    )


def sundries_of_a_cent():
    """Return an invoice of 45.00 and of sundries that are nothing but their tax.

    In 0.01 is 1.5 % tax, rounded up: 0.01 x 1.5 / 101.5 is 0.01, and 0.00 before tax.
    """
    free, some = Tax("Office", "E", Decimal(0), "Exempt"), Decimal("0.01")
    taxed = Tax("Office", "S", Decimal("1.5"), "Tax 1.5 %")
    work = Bit("LAB", Decimal(45), Decimal(45), (Decimal(0),))
    return invoice(
        "T01",
        policy=replace(INCLUSIVE.policy, document_mode="ROUND_UP"),
        items=(
            Item(1, "free", "", "work", "labour", (work,)),
            Item(2, "sundries", "SUN", "Sundries", "sundries",
                 (Bit("SUN", some, Decimal(0), (some,)),)),
        ),
        taxes=(Group(free, Decimal(45), Decimal(0)), Group(taxed, Decimal(0), some)),
        taxes_of={"LAB": (free,), "SUN": (taxed,)},
    )  # fmt: skip


def credited(document, items, number="C-00001"):
    note = credit_note(
        document,
        items,
        on=date(2026, 3, 9),
        reason=Why.WORK,
        because="Two seats were not cut.",
    )
    return replace(note, number=number)


def in_part(name):
    document = invoice(name)
    return credited(document, credit_lines(document, [], {1: Decimal("0.37")}))


KINDS = {
    "one rate": lambda: invoice("T01"),
    "discount and sundries": lambda: invoice("T02"),
    "set price": lambda: invoice("T05"),
    "condemned": lambda: invoice("T07"),
    "exchange surcharge": lambda: invoice("T08"),
    "worth of an old unit": lambda: invoice("T08", with_worth_taxed(EDITION, "10")),
    "several rates": lambda: invoice("T09"),
    "exempt": lambda: taxed(invoice("T01"), "E", "exempt body, certificate 7"),
    "zero-rated": lambda: taxed(invoice("T01"), "Z", ""),
    "reverse charge": lambda: taxed(invoice("T02"), "AE", "Reverse charge"),
    "export": lambda: taxed(invoice("T01"), "G", "work on goods for export"),
    "goods to another country": lambda: taxed(invoice("T01"), "K", "goods, Art. 138"),
    "outside the tax": lambda: taxed(invoice("T01"), "O", "not in the tax's scope"),
    "prices with their tax": lambda: invoice("T09", INCLUSIVE),
    "credit of what only adjusts": lambda: credited(
        invoice("T01"), credit_lines(invoice("T01"), [], {15: Decimal(1)})
    ),
    "sundries of a cent": sundries_of_a_cent,
    "one invoice of a month": of_a_month,
    "deposits taken off": lambda: deposited(invoice("T02")),
    "deposit invoice": deposit,
    "whole credit note": lambda: credited(
        invoice("T02"), credit_all(invoice("T02"), [])
    ),
    "credit of a line": lambda: in_part("T02"),
    "credit of an amount": lambda: credited(
        invoice("T09"), credit_amount(invoice("T09"), [], Decimal("77.77"))
    ),
    "no bank": lambda: invoice("T03", bank=Bank()),
    "more was held than is due": lambda: replace(
        invoice("T04"),
        deposits=(Deducted("D-00001", date(2026, 2, 1), Decimal("500.00")),),
    ),
}


def paper(document, size="A4", **words):
    """Return the paper of a document, in English and euro."""
    formats = Formats("en_IE", document.currency)
    return issued_paper(document, EDITION.shop, formats, size, **words)
