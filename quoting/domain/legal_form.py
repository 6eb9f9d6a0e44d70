"""The form that law gives a document: full or simplified, its title, its legends.

Pure. What it asks stands in rows of the shop's tables, examples that a licensed adviser
confirms.
"""

from collections.abc import Collection
from decimal import Decimal
from enum import StrEnum

from quoting.domain.country import Country, Wording
from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import Document, Kind, Party
from quoting.domain.rates import Shop


class Form(StrEnum):
    """How much an invoice has to say."""

    FULL = "full"
    SIMPLIFIED = "simplified"


class BuyerNeededError(RuleError):
    """An invoice names nobody and has to."""

    message = translatable(
        "In {country} an invoice names its buyer from {limit} {currency} on, and this "
        "one comes to {amount}. Enter the buyer's name and address."
    )


class LimitUnknownError(RuleError):
    """An invoice names nobody, and the limits are in another currency."""

    message = translatable(
        "In {country} the limits for an invoice without a buyer are in {currency}; one "
        "in {other} names its buyer. Enter the buyer's name and address."
    )


class NumbersNeededError(RuleError):
    """The buyer owes the tax, and a VAT number is not known."""

    message = translatable(
        "Where the customer owes the tax the invoice bears the VAT numbers of both, "
        "each with the letters of its country in front. {missing}, or charge the tax."
    )


class BuyerAtHomeError(RuleError):
    """The buyer is said to be in another state, and is in the shop's own."""

    message = translatable(
        "{name} is said to owe the tax in another EU state, and has {country} as the "
        "shop does. Write down the customer's country, or charge the tax."
    )


_SHOPS_NUMBER = translatable("Enter the shop's as tax_number in shop.toml")
_BUYERS_NUMBER = translatable("Write down that of the customer")
_BOTH_NUMBERS = translatable(
    "Enter the shop's as tax_number in shop.toml and write down that of the customer"
)


def check_buyer_owes(document: Document, *, elsewhere: bool) -> None:
    """Refuse reverse charge where the document lacks what has to stand on it.

    Args:
        document: with its tax rows.
        elsewhere: the buyer is said to be in another state.

    Raises:
        BuyerAtHomeError: the buyer is in the shop's own.
        NumbersNeededError: a VAT number is not known.

    Source:
        Council Directive 2006/112/EC, Art. 226 (3) and (4).
    """
    if not any(row.tax.category == "AE" and row.base for row in document.taxes):
        return
    seller, buyer = document.seller, document.buyer or Party("")
    if elsewhere and buyer.country == seller.country:
        raise BuyerAtHomeError(name=buyer.name, country=buyer.country)
    missing = {
        (True, True): "",
        (False, True): _SHOPS_NUMBER,
        (True, False): _BUYERS_NUMBER,
        (False, False): _BOTH_NUMBERS,
    }[bool(seller.vat_identifier), bool(buyer.vat_identifier)]
    if missing:
        raise NumbersNeededError(missing=missing)


def which_document(
    country: Country, gross: Decimal, currency: str, *, named: bool
) -> Form:
    """Return the form of an invoice.

    Args:
        country: the row that is in force on the invoice's day.
        gross: total with tax.
        currency: ISO 4217 code of the total.
        named: the buyer is named, with an address.

    Returns:
        Full for a named buyer; without one simplified up to the row's limit, and above
        that full as long as the row does not ask for a buyer.

    Raises:
        BuyerNeededError: the buyer has to be named.
        LimitUnknownError: the row's limits are in another currency.
    """
    if named:
        return Form.FULL
    limited = country.simplified_up_to is not None or country.buyer_from is not None
    if limited and currency != country.currency:
        raise LimitUnknownError(
            country=country.name, currency=country.currency, other=currency
        )
    if country.buyer_from is not None and gross >= country.buyer_from:
        raise BuyerNeededError(
            country=country.name,
            limit=country.buyer_from,
            currency=country.currency,
            amount=gross,
        )
    if country.simplified_up_to is not None and gross <= country.simplified_up_to:
        return Form.SIMPLIFIED
    return Form.FULL


def title(wording: Wording, kind: Kind, form: Form = Form.FULL) -> str:
    """Return the title of a document."""
    match kind:
        case Kind.DEPOSIT:
            return wording.deposit_invoice
        case Kind.CREDIT:
            return wording.credit_note
        case Kind.INVOICE:
            simplified = form is Form.SIMPLIFIED
            return (simplified and wording.simplified_invoice) or wording.invoice


class Situation(StrEnum):
    """When a document has to say something; the value is the column that says it."""

    REVERSE_CHARGE = "reverse_charge"
    EXEMPT = "exempt"
    ZERO_RATED = "zero_rated"
    INTRA_COMMUNITY = "intra_community"
    EXPORT = "export"
    OUTSIDE_SCOPE = "outside_scope"
    CASH_ACCOUNTING = "cash_accounting"
    CREDIT_WORDS = "credit_words"
    UNREGISTERED = "unregistered"
    SETTLEMENT_DISCOUNT = "settlement_discount"
    TAX_INCLUDED = "tax_included"


#: What a category of EN 16931 (UNTDID 5305) means for the legends.
_OF_CATEGORY = {
    "AE": Situation.REVERSE_CHARGE,
    "E": Situation.EXEMPT,
    "Z": Situation.ZERO_RATED,
    "K": Situation.INTRA_COMMUNITY,
    "G": Situation.EXPORT,
    "O": Situation.OUTSIDE_SCOPE,
}


def not_shown(document: Document, shop: Shop) -> frozenset[Situation]:
    """Return what holds for a document and is not seen from its taxes.

    Args:
        document: with its terms; its legends are not looked at.
        shop: which knows whether it accounts on the cash basis.
    """
    found = set()
    if shop.cash_accounting and document.tax:
        found.add(Situation.CASH_ACCOUNTING)
    if document.terms:
        found.add(Situation.SETTLEMENT_DISCOUNT)
    return frozenset(found)


def situations_of(
    document: Document, also: Collection[Situation] = ()
) -> frozenset[Situation]:
    """Return what a document has to say something about.

    Args:
        document: with its tax rows; its legends are not looked at.
        also: what its taxes do not show, as ``not_shown`` gives it.

    Returns:
        A shop without a tax number that charges no tax is taken as not registered, and
        then needs no reason for the rates.
    """
    found = {
        _OF_CATEGORY[group.tax.category]
        for group in document.taxes
        if group.tax.category in _OF_CATEGORY and group.base
    }
    if not document.seller.tax_number and not document.tax:
        found = {Situation.UNREGISTERED}
    elif document.policy.inclusive and document.tax:
        found.add(Situation.TAX_INCLUDED)
    if document.kind is Kind.CREDIT:
        found.add(Situation.CREDIT_WORDS)
        also = {Situation.CASH_ACCOUNTING}.intersection(also)
    return frozenset(found.union(also))


def legends_for(
    wording: Wording, document: Document, also: Collection[Situation] = ()
) -> tuple[str, ...]:
    """Return the legends of a document, in the order of the table's columns.

    Args:
        wording: of the document's country and language.
        document: as ``situations_of`` takes it.
        also: as ``situations_of`` takes it.

    Source:
        Council Directive 2006/112/EC, Art. 226 (7a), (11), (11a), (14), for the
        situations; the words are the table's.
    """
    held = situations_of(document, also)
    said = (getattr(wording, each) for each in Situation if each in held)
    return tuple(text for text in said if text)
