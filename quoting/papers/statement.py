"""The statement of account: what a customer owes, by age, and what they are owed."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.ageing import LAST_DAYS, band
from quoting.domain.money import ZERO
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper


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


def statement(
    customer: Customer,
    rows: Sequence[Open],
    shop: Shop,
    formats: Formats,
    size: str = "",
    *,
    on: date,
) -> Paper:
    """Return a statement of account.

    Args:
        customer: whose.
        rows: everything that is open, the oldest first.
        shop: that is owed.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        on: the day of the statement.
    """
    formats = on_paper(formats)
    bands = [ZERO] * (len(LAST_DAYS) + 1)
    for row in rows:
        if row.left > 0:
            bands[band((on - row.on).days)] += row.left
    whole = sum((row.left for row in rows), ZERO)
    return fill(
        "statement",
        shop=shop,
        formats=formats,
        size=size,
        kind="Statement of account",
        number="",
        made=on,
        block=[("date", formats.date(on))],
        values={
            "customer": customer,
            "facts": [("date", formats.date(on)), ("currency", formats.currency.code)],
            "label": "in your favour" if whole < 0 else "owed",
            "whole": formats.money(abs(whole)),
            "ages": [
                (name, formats.amount(amount))
                for name, amount in zip(_AGES, bands, strict=True)
            ],
            "rows": [
                (
                    row.number,
                    row.what,
                    formats.date(row.on),
                    formats.date(row.pay_by) if row.pay_by else "",
                    formats.amount(row.gross),
                    formats.amount(row.left),
                )
                for row in rows
            ],
            "currency": formats.currency.code,
            "iban": shop.iban,
            "holder": shop.account_holder or shop.name,
        },
    )


_AGES = ("up to 30 days", "31 to 60", "61 to 90", "over 90")
