"""Statement of account and receipt for a payment: what stands on them, and as PDF."""

from datetime import date
from decimal import Decimal

import page as validator
import pytest
from printing import Shown, shop

from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.pdf import to_pdf
from quoting.papers.receipt import Paid, PaymentReceipt, payment_receipt
from quoting.papers.statement import Open, Settled, statement

GARAGE = Customer("Osgood & Daughters Garage", ("4 Ferry Steps", "Marlhaven"))
ON = date(2026, 3, 31)
OWED = [
    Open("I-00007", "invoice", date(2025, 12, 1), date(2025, 12, 31),
         Decimal("1200.00"), Decimal("200.00")),
    Open("I-00031", "invoice", date(2026, 3, 2), date(2026, 4, 1),
         Decimal("769.04"), Decimal("769.04")),
]  # fmt: skip
FAVOUR = [
    Open("C-00002", "credit note", date(2026, 3, 9), None,
         Decimal("-15.54"), Decimal("-15.54")),
    Open("P-00040", "on account", date(2026, 3, 20), None,
         Decimal("-300.00"), Decimal("-12.00")),
]  # fmt: skip


def account(rows=(*OWED, *FAVOUR), customer=GARAGE, **more):
    rates = shop()
    formats = Formats("en_GB", rates.currency)
    return statement(customer, rows, rates.shop, formats, on=ON, **more)


def receipt(**changed):
    rates = shop()
    told = {
        "number": "P-00040",
        "on": date(2026, 3, 20),
        "customer": GARAGE,
        "amount": Decimal("300.00"),
        "method": "bank transfer",
        "pays": (Paid("I-00012", Decimal("288.00"), Decimal("0.00")),),
        "on_account": Decimal("12.00"),
        "taken_by": "Ada",
    }
    formats = Formats("en_GB", rates.currency)
    return payment_receipt(rates.shop, PaymentReceipt(**{**told, **changed}), formats)


def test_a_statement_shows_what_is_owed_by_age_and_what_stands_against_it():
    """200.00 is 120 days old, 769.04 is 29; 969.04 - 15.54 - 12.00 = 941.50."""
    this = Shown(account()).text

    assert "owed £941.50" in this
    assert "up to 30 days 769.04 31 to 60 0.00 61 to 90 0.00 over 90 200.00" in this
    assert "invoice I-00007 1 December 2025 31 December 2025 1,200.00 200.00" in this
    assert "In all 969.04" in this
    assert "In your favour" in this
    assert "credit note C-00002 9 March 2026 15.54 15.54" in this
    assert "on account P-00040 20 March 2026 300.00 12.00 In all 27.54" in this
    assert "IBAN GB83 ZZZZ 0000 0004 1704 17, BIC ZZZZGB99" in this


def test_a_statement_shows_what_was_settled_and_when():
    one = Settled(
        "I-00012",
        "invoice",
        date(2026, 1, 15),
        Decimal("288.00"),
        date(2026, 3, 20),
    )
    this = Shown(account(settled=[one])).text

    assert "Settled number of settled on GBP" in this
    assert "invoice I-00012 15 January 2026 20 March 2026 288.00" in this
    assert "Settled" not in Shown(account()).text


def test_a_customer_in_credit_is_asked_for_nothing():
    this = Shown(account(FAVOUR)).text

    assert "in your favour £27.54" in this
    assert "Nothing is open." in this
    assert "How to pay" not in this


def test_a_receipt_says_how_much_how_and_what_it_pays():
    this = Shown(receipt()).text

    assert "Receipt P-00040" in this
    assert "received £300.00" in this
    assert "paid by bank transfer" in this
    assert "stays on your account £12.00" in this
    assert "I-00012 288.00 0.00" in this
    assert "This is a receipt for a payment, not an invoice." in this
    assert "Ada received for Tallow Lane Heads" in this


def test_cash_that_was_rounded_says_by_how_much():
    this = Shown(
        receipt(
            method="cash",
            amount=Decimal("288.00"),
            rounding=Decimal("0.02"),
            on_account=Decimal(0),
        )
    ).text

    assert "rounding of cash £0.02" in this
    assert "stays on your account" not in this


@pytest.mark.needs_pdf
@pytest.mark.parametrize("made", [account, receipt])
@pytest.mark.parametrize(
    "name",
    ["Osgood \N{HAMMER AND WRENCH}", "\u0645\u062d\u0631\u0643", "A" * 200, ""],
)
def test_they_are_pdf_ua_1_whatever_the_name(made, name):
    """ISO 14289-1, by page-validation."""
    pdf = to_pdf(made(customer=Customer(name)))
    profile = validator.ValidationProfile.PDF_UA_1
    assert validator.validate_pdf_bytes(pdf, profile=profile).failures == []
