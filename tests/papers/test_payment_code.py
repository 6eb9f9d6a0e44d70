"""The code for a banking app, read by a second library (zxing-cpp).

European Payments Council, EPC069-12 v2.1, sections 3.2 and 3.3.
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from documents import BANK, KINDS, invoice
from printing import drawn
from zxingcpp import read_barcodes

from quoting.domain.invoice import Bank, Deducted
from quoting.domain.money import Currency
from quoting.papers.payment_code import payment_code


def read(document):
    """Return the code of a document as it is read off its picture."""
    picture, _ = drawn(payment_code(document))
    [code] = read_barcodes(picture)
    return code


def test_the_code_says_whom_to_pay_what():
    code = read(invoice("T01"))

    assert code.text.split("\n") == [
        "BCD",
        "002",
        "1",
        "SCT",
        "AIBKIE2D",
        "Tallow Lane Heads",
        "IE29AIBK93115212345678",
        "EUR769.04",
        "",
        "",
        "I-00001",
    ]
    assert code.ec_level == "M"


def test_what_deposits_took_off_is_not_asked_for_again():
    """769.04 less 500.04 is 269.00."""
    taken = (Deducted("D-00001", date(2026, 2, 1), Decimal("500.04")),)
    code = read(invoice("T01", deposits=taken))

    assert Decimal(code.text.split("\n")[7].removeprefix("EUR")) == Decimal("269.00")


@pytest.mark.parametrize(
    ("holder", "name"),
    [
        ("", "Tallow Lane Heads"),
        ("H" * 90, "H" * 70),
        ("Heads\nBCD\r002\tand\x00sons ", "Heads BCD 002 and sons"),
        ("Zylinderköpfe Žižkov Ελλάς", "Zylinderköpfe Žižkov Ελλάς"),
    ],
)
def test_the_holder_keeps_to_his_line_and_to_seventy_characters(holder, name):
    code = read(invoice("T01", bank=replace(BANK, holder=holder)))

    assert code.text.split("\n")[5] == name
    assert len(code.bytes) <= 331


@pytest.mark.parametrize(
    "changed",
    [
        {"currency": Currency("GBP", 2)},
        {"bank": Bank()},
        {"bank": replace(BANK, iban="I" * 35)},
        {"bank": replace(BANK, bic="AIBKIE")},
        {"bank": replace(BANK, holder="\N{NUT AND BOLT}" * 70)},
        {"deposits": (Deducted("D", date(2026, 2, 1), Decimal("769.04")),)},
        {"deposits": (Deducted("D", date(2026, 2, 1), Decimal(-1000000000)),)},
    ],
)
def test_there_is_none_where_the_standard_does_not_apply(changed):
    """Euro, an account, 0.01 to 999,999,999.99, at most 331 bytes."""
    assert payment_code(invoice("T01", **changed)) == ""


def test_none_stands_on_a_document_on_which_more_was_held_than_is_due():
    assert payment_code(KINDS["more was held than is due"]()) == ""
