"""What a place asks of documents and taxes: the rows of its tables, and whose they are.

Pure. Every row is a shop's reading of local law, an example that a licensed adviser
confirms, never a constant of the program. Amounts are Decimal with tax, in the
currency that the row names; rates are per cent.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from quoting.domain.errors import translatable
from quoting.domain.tables import (
    CODE,
    CODES,
    DATE,
    NOT_NEGATIVE,
    PERCENT,
    POSITIVE,
    TEXT,
    TEXTS,
    WHOLE,
    YES_NO,
    choice,
    column,
)

#: How well a row is known, the best first; what is from memory nobody has checked.
CHECKED = ("seen in the source", "seen quoted", "from memory")

#: What happens to the tax on an exchange surcharge.
SURCHARGE_TAXES = ("returned", "kept", "untaxed", "added")

_SURCHARGE_TAX = (
    "Tax on an exchange surcharge: goes back with it; is kept when it goes back; is "
    "never charged; is due on the worth of the old unit as well"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Country:
    """What a country asks of an invoice, a deposit and a price, from a day on."""

    code: str = column(CODE, "ISO 3166-1 alpha-2 code")
    name: str = column(TEXT, "Name of the country")
    valid_from: date | None = column(DATE, "First day; empty: always", default=None)
    currency: str = column(CODE, "ISO 4217 code of the amounts in this row")
    simplified_up_to: Decimal | None = column(
        NOT_NEGATIVE,
        "Up to this total an invoice may be a simplified one; empty: there is none",
        default=None,
    )
    buyer_from: Decimal | None = column(
        NOT_NEGATIVE,
        "From this total on an invoice names its buyer; empty: it never has to",
        default=None,
    )
    consumer_gross: bool = column(
        YES_NO, "Whether a consumer is told the price with tax first", default=True
    )
    deposit_tax: str = column(
        choice("receipt", "applied"),
        "When tax on a part payment falls due: on receipt, or when it is applied",
        default="applied",
    )
    security_tax: str = column(
        choice("receipt", "applied", "forfeited"),
        "When tax on a deposit held as a security falls due: on receipt, when it is "
        "applied, or when it is applied or forfeited",
        default="applied",
    )
    surcharge_tax: str = column(
        choice(*SURCHARGE_TAXES), _SURCHARGE_TAX, default="returned"
    )
    surcharge_addon: Decimal | None = column(
        PERCENT,
        "Worth of the old unit in per cent of the price, where tax is due on it; "
        "empty: as agreed",
        default=None,
    )
    cash_step: Decimal | None = column(
        POSITIVE, "Step of what is paid in cash; empty: no rounding", default=None
    )
    cash_tie: str = column(
        choice("half_up", "half_down"), "Which way a tie goes there", default="half_up"
    )
    address: tuple[str, ...] = column(
        TEXTS,
        "Order of an address, a line each, of the words street, postcode, town and "
        "region; in capitals where they are written so",
    )
    paper: str = column(choice("A4", "Letter"), "Paper size", default="A4")
    credit_note_days: int | None = column(
        WHOLE,
        "Days within which a credit note follows the change that it is for; empty: no "
        "rule",
        default=None,
    )
    retention_years: int | None = column(
        WHOLE, "Years that invoices are kept; empty: no one rule", default=None
    )
    en16931: bool = column(
        YES_NO, "Whether invoices there follow EN 16931", default=False
    )
    number_length: int = column(
        WHOLE, "Most characters of a document's number", default=16
    )
    warning: str = column(
        TEXT, "What the country demands that the program does not do", default=""
    )
    source: str = column(TEXT, "Where each of it comes from, and who confirmed it")
    checked: str = column(choice(*CHECKED), "How well its weakest source is known")
    as_of: date = column(DATE, "Day on which the row was written")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wording:
    """What documents of a country say in one of its languages."""

    country: str = column(CODE, "The country", refers="countries", key=True)
    language: str = column(CODE, "ISO 639 code of the language", key=True)
    invoice: str = column(TEXT, "Title of an invoice")
    simplified_invoice: str = column(
        TEXT, "Title of a simplified invoice; empty: as an invoice", default=""
    )
    deposit_invoice: str = column(TEXT, "Title of a deposit invoice")
    credit_note: str = column(TEXT, "Title of a credit note")
    tax: str = column(TEXT, "What the tax is called")
    tax_number: str = column(TEXT, "What the tax number is called")
    register_number: str = column(
        TEXT, "What the number in a register of companies is called", default=""
    )
    net: str = column(TEXT, "Label of the sum before tax", default="")
    total: str = column(TEXT, "Label of the sum with tax", default="")
    to_pay: str = column(TEXT, "Label of what is to be paid", default="")
    pay_by: str = column(TEXT, "Label of the last day to pay", default="")
    supplied: str = column(TEXT, "Label of the day of supply", default="")
    credited: str = column(TEXT, "Label of what a credit note gives back", default="")
    corrects: str = column(TEXT, "Label of the invoice that it corrects", default="")
    reverse_charge: str = column(TEXT, "Where the buyer owes the tax", default="")
    exempt: str = column(TEXT, "Where a line is exempt", default="")
    zero_rated: str = column(TEXT, "Where a line has a rate of zero", default="")
    intra_community: str = column(
        TEXT, "For goods into another state of the same union", default=""
    )
    export: str = column(TEXT, "For what leaves the country or the union", default="")
    outside_scope: str = column(TEXT, "For what is no object of the tax", default="")
    cash_accounting: str = column(
        TEXT, "Where the tax is due when the invoice is paid", default=""
    )
    credit_words: str = column(TEXT, "On every credit note", default="")
    unregistered: str = column(
        TEXT, "Of a shop that is not registered for the tax", default=""
    )
    settlement_discount: str = column(
        TEXT, "Where paying early is rewarded", default=""
    )
    tax_included: str = column(TEXT, "Where prices contain their tax", default="")
    source: str = column(TEXT, "Where it comes from, and who confirmed it")
    checked: str = column(choice(*CHECKED), "How well its weakest source is known")
    as_of: date = column(DATE, "Day on which the row was written")


#: How a kind of charge is taxed in a region.
REGION_TAXES = ("taxed", "untaxed", "untaxed_apart", "taxed_with_parts")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """What a state or province taxes, where that differs within a country."""

    country: str = column(CODE, "The country", refers="countries", key=True)
    code: str = column(
        CODE, "Code of the region, as ISO 3166-2 has it after the dash", key=True
    )
    name: str = column(TEXT, "Name of the region")
    labour: str = column(
        choice(*REGION_TAXES),
        "Repair labour: taxed; untaxed; untaxed where it is listed apart; taxed once a "
        "part is on the document",
    )
    parts: str = column(choice(*REGION_TAXES), "Parts, likewise")
    outwork: str = column(choice(*REGION_TAXES), "Outwork, likewise")
    tax: str = column(TEXT, "What the tax is called there")
    tax_number: str = column(
        TEXT, "What the region's own tax number is called, where it has one", default=""
    )
    surcharge_tax: str = column(
        choice(*SURCHARGE_TAXES),
        "As in the table of countries; empty: as the country",
        default="",
    )
    note: str = column(TEXT, "What else to know, for people", default="")
    source: str = column(TEXT, "Where each of it comes from, and who confirmed it")
    checked: str = column(choice(*CHECKED), "How well its weakest source is known")
    as_of: date = column(DATE, "Day on which the row was written")


class Answer(StrEnum):
    """What only a person knows of a sale, and taxes hang on."""

    LUMP_SUM = "lump_sum"
    SAME_VEHICLE = "return_to_same_vehicle"
    NEW_ITEM = "work_on_new_item"
    RESELLER = "customer_reseller"
    OUTSIDE = "delivery_outside"
    IN_UNION = "business_in_union"
    VEHICLE = "vehicle"

    @property
    def question(self) -> str:
        """Return it as a question that yes or no answers, in English."""
        return _QUESTIONS[self]


_QUESTIONS = {
    Answer.LUMP_SUM: translatable("Is one sum charged for work and parts together?"),
    Answer.SAME_VEHICLE: translatable(
        "Does the head go back on the vehicle it came from, with the customer's "
        "certificate on file?"
    ),
    Answer.NEW_ITEM: translatable("Is it work on a new part, not a repair?"),
    Answer.RESELLER: translatable(
        "Does the customer sell it on, with a certificate on file?"
    ),
    Answer.OUTSIDE: translatable(
        "Is it delivered outside the state or country, with proof kept?"
    ),
    Answer.IN_UNION: translatable(
        "Is the customer a business in another EU state, and owes the tax there?"
    ),
    Answer.VEHICLE: translatable("Is it of a motor vehicle or of farm machinery?"),
}

#: The rules that can be told from the lines; the others are an ``Answer``.
BY_LINES = ("any_part_taxes_all", "materials_share_over")

TAX_RULES = (*BY_LINES, *(a.value for a in Answer if a is not Answer.VEHICLE))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TaxRule:
    """A rule of a place by which a document as a whole decides the tax of its lines."""

    code: str = column(CODE, "Short code", key=True)
    country: str = column(CODE, "The country", refers="countries")
    region: str = column(CODE, "Only in this region; empty: everywhere", default="")
    rule: str = column(choice(*TAX_RULES), "What decides")
    over: int | None = column(
        WHOLE, "Materials are more than so many parts ...", default=None
    )
    of: int | None = column(WHOLE, "... of so many", default=None)
    unless: str = column(
        choice(*Answer), "Does not apply where this is answered with yes", default=""
    )
    groups: tuple[str, ...] = column(CODES, "Income groups whose tax it decides")
    tax_code: str = column(CODE, "Their tax code where it holds", refers="tax_codes")
    otherwise: str = column(
        CODE,
        "Their tax code where it does not hold; empty: that of the lines",
        default="",
        refers="tax_codes",
    )
    says: str = column(TEXT, "Why, as shown to people where it holds")
    says_otherwise: str = column(
        TEXT, "Why, as shown to people where it does not", default=""
    )
    source: str = column(TEXT, "Where it comes from, and who confirmed it")
    checked: str = column(choice(*CHECKED), "How well its weakest source is known")
    as_of: date = column(DATE, "Day on which the row was written")


def in_force(rows: Iterable[Country], on: date) -> Country | None:
    """Return the row of a country that holds on a day: the one that began last."""
    begun = [row for row in rows if row.valid_from is None or row.valid_from <= on]
    return max(begun, key=lambda row: row.valid_from or date.min, default=None)


def surcharge_tax(country: Country, region: Region | None) -> str:
    """Return what happens to the tax on an exchange surcharge; the region comes first.

    Returns:
        One of ``SURCHARGE_TAXES``.
    """
    return (
        region.surcharge_tax
        if region and region.surcharge_tax
        else country.surcharge_tax
    )


#: The words of an address; in capitals the text is written in capitals.
ADDRESS_WORDS = ("street", "postcode", "town", "region")
_WORD = re.compile("|".join(ADDRESS_WORDS), re.IGNORECASE)


def address_lines(
    order: Sequence[str],
    *,
    street: Sequence[str],
    postcode: str = "",
    town: str = "",
    region: str = "",
) -> tuple[str, ...]:
    """Return the lines of an address in the order of its country.

    Args:
        order: as the ``address`` of a country has it.
        street: its lines, which stay lines.
        postcode: as typed; like the others left out where it is empty.
        town: as typed.
        region: as typed.

    >>> parts = {"street": ["1 Mill Road"], "postcode": "90210", "town": "Exampleton"}
    >>> address_lines(["street", "town, region postcode"], region="CA", **parts)
    ('1 Mill Road', 'Exampleton, CA 90210')
    >>> address_lines(["street", "postcode TOWN"], **parts)
    ('1 Mill Road', '90210 EXAMPLETON')
    """
    known = {"postcode": postcode, "town": town, "region": region}

    def fill(word: re.Match[str]) -> str:
        text = known[word[0].lower()]
        return text.upper() if word[0].isupper() else text

    lines: list[str] = []
    for line in order:
        if line.lower() == "street":
            lines += [each.upper() if line.isupper() else each for each in street]
        else:
            lines.append(re.sub(r"\s+", " ", _WORD.sub(fill, line)).strip(" ,"))
    return tuple(line for line in lines if line)
