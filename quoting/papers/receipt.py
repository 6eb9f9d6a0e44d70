"""Receipts: money taken, how and for what. None is an invoice or shows tax."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from quoting.domain.counter import DepositReceipt
from quoting.domain.money import ZERO
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper


def deposit_receipt(
    shop: Shop, receipt: DepositReceipt, formats: Formats, size: str = ""
) -> Paper:
    """Return the receipt for a deposit.

    Args:
        shop: that took the money.
        receipt: how much, how it was paid and for what.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    customer, deposit = receipt.customer, receipt.deposit
    on = formats.date(deposit.on or receipt.on)
    return _receipt(
        shop,
        formats,
        size,
        kind="Deposit receipt",
        receipt=receipt,
        values={
            "facts": [
                ("date", formats.date(receipt.on)),
                ("your order", customer.order_number),
                ("registration", customer.registration),
                ("engine", customer.engine),
            ],
            "label": "deposit received",
            "amount": formats.money(deposit.amount),
            "cells": [
                ("received on", on),
                ("paid by", deposit.method),
                ("for quote", receipt.quote),
                ("for work order", receipt.order),
            ],
            "pays": [],
            "words": "The amount is deducted on the invoice.",
        },
    )


class Paid(NamedTuple):
    """What of a payment is set against a document, and what is open on that after."""

    number: str
    amount: Decimal
    left: Decimal


@dataclass(frozen=True, slots=True)
class PaymentReceipt:
    """A payment as its receipt tells it.

    Attributes:
        number, on: of the receipt.
        customer: who paid; may be nobody by name.
        amount: received, above nothing.
        method: in words.
        pays: what it pays, in that order.
        rounding: what cash settles besides by the rounding of the sum; may be below
            nothing.
        on_account: what is left on the customer's account.
        taken_by: who took it.
    """

    number: str
    on: date
    customer: Customer
    amount: Decimal
    method: str
    pays: tuple[Paid, ...] = ()
    rounding: Decimal = ZERO
    on_account: Decimal = ZERO
    taken_by: str = ""


def payment_receipt(
    shop: Shop, receipt: PaymentReceipt, formats: Formats, size: str = ""
) -> Paper:
    """Return the receipt for a payment.

    Args:
        shop: that took the money.
        receipt: how much, how it was paid and for what.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    return _receipt(
        shop,
        formats,
        size,
        kind="Receipt",
        receipt=receipt,
        values={
            "facts": [("date", formats.date(receipt.on))],
            "label": "received",
            "amount": formats.money(receipt.amount),
            "cells": [
                ("paid by", receipt.method),
                ("rounding of cash", _unless_nil(receipt.rounding, formats)),
                ("stays on your account", _unless_nil(receipt.on_account, formats)),
            ],
            "pays": [
                (number, formats.amount(amount), formats.amount(left))
                for number, amount, left in receipt.pays
            ],
            "words": "",
        },
    )


def _receipt(
    shop: Shop,
    formats: Formats,
    size: str,
    *,
    kind: str,
    receipt: DepositReceipt | PaymentReceipt,
    values: Mapping[str, Any],
) -> Paper:
    return fill(
        "receipt",
        shop=shop,
        formats=formats,
        size=size,
        kind=kind,
        number=receipt.number,
        made=receipt.on,
        block=[("date", formats.date(receipt.on))],
        values={
            "customer": receipt.customer,
            "currency": formats.currency.code,
            "taken_by": receipt.taken_by,
            **values,
        },
    )


def _unless_nil(amount: Decimal, formats: Formats) -> str:
    return formats.money(amount) if amount else ""
