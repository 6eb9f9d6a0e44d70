"""The statement of account: what a customer owes, by age, and what they are owed."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.ageing import BANDS, LAST_DAYS, band
from quoting.domain.money import ZERO
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.payment_code import in_fours


class Open(NamedTuple):
    """A document that is open: an invoice, a credit note, or money on account.

    Attributes:
        left: owed of it; below nothing: in the customer's favour.
    """

    number: str
    what: str
    on: date
    pay_by: date | None
    gross: Decimal
    left: Decimal


class Settled(NamedTuple):
    """A document of which nothing is left, and the day since when."""

    number: str
    what: str
    on: date
    gross: Decimal
    settled: date


def statement(
    customer: Customer,
    rows: Sequence[Open],
    shop: Shop,
    formats: Formats,
    size: str = "",
    *,
    on: date,
    settled: Iterable[Settled] = (),
) -> Paper:
    """Return a statement of account.

    Args:
        customer: whose.
        rows: everything that is open, the oldest first.
        shop: that is owed.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        on: the day of the statement.
        settled: what was settled lately, the oldest first.
    """
    formats = on_paper(formats)
    owed = [row for row in rows if row.left > 0]
    favour = [row for row in rows if row.left < 0]
    whole = sum((row.left for row in rows), ZERO)
    day = formats.date(on)
    return fill(
        "statement",
        shop=shop,
        formats=formats,
        size=size,
        kind="Statement of account",
        number="",
        made=on,
        block=[("customer", customer.name), ("date", day)],
        values={
            "customer": customer,
            "facts": [("date", day), ("currency", formats.currency.code)],
            "label": "in your favour" if whole < 0 else "owed",
            "whole": formats.money(abs(whole)),
            "ages": list(_ages(owed, on, formats)),
            "owed": [_row(row, formats) for row in owed],
            "owed_whole": formats.amount(_left(owed)),
            "favour": [_row(row, formats) for row in favour],
            "favour_whole": formats.amount(-_left(favour)),
            "settled": [
                {
                    "what": f"{row.what} {row.number}",
                    "on": formats.date(row.on),
                    "day": formats.date(row.settled),
                    "gross": formats.amount(row.gross),
                }
                for row in settled
            ],
            "currency": formats.currency.code,
            "way": _way_to_pay(shop) if whole > 0 else "",
        },
    )


def _left(rows: Iterable[Open]) -> Decimal:
    return sum((row.left for row in rows), ZERO)


def _ages(
    owed: Iterable[Open], on: date, formats: Formats
) -> Iterable[tuple[str, str]]:
    """Yield what is owed by the days since the invoice."""
    bands = [ZERO] * (len(LAST_DAYS) + 1)
    for row in owed:
        bands[band((on - row.on).days)] += row.left
    for name, amount in zip(BANDS, bands, strict=True):
        yield name, formats.amount(amount)


def _row(row: Open, formats: Formats) -> dict[str, str]:
    """Return a row; what is left is told without a sign, its heading says whose."""
    return {
        "what": f"{row.what} {row.number}",
        "on": formats.date(row.on),
        "day": formats.date(row.pay_by) if row.pay_by else "",
        "gross": formats.amount(abs(row.gross)),
        "left": formats.amount(abs(row.left)),
    }


def _way_to_pay(shop: Shop) -> str:
    if not shop.iban:
        return ""
    holder = shop.account_holder or shop.name
    bic = f", BIC {shop.bic}" if shop.bic else ""
    return f"By transfer to {holder}, IBAN {in_fours(shop.iban)}{bic}."
