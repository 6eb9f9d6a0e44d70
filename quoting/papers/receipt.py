"""The deposit receipt: money taken, for what. It is no invoice and shows no tax."""

from quoting.domain.counter import DepositReceipt
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
    return fill(
        "receipt",
        shop=shop,
        formats=formats,
        size=size,
        kind="Deposit receipt",
        number=receipt.number,
        made=receipt.on,
        block=[("date", formats.date(receipt.on))],
        values={
            "customer": customer,
            "facts": [
                ("date", formats.date(receipt.on)),
                ("your order", customer.order_number),
                ("registration", customer.registration),
                ("engine", customer.engine),
            ],
            "amount": formats.money(deposit.amount),
            "cells": [
                ("received on", on),
                ("paid by", deposit.method),
                ("for quote", receipt.quote),
                ("for work order", receipt.order),
            ],
            "taken_by": receipt.taken_by,
        },
    )
