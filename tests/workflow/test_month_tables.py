"""The rows of a month's files and its identities, on both databases.

The job of ``accounts`` is 414.98 before tax: 76.77 at 18.5 %, 491.75 with it.
"""

import csv
import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from accounts import (
    DECEMBER,
    NOVEMBER,
    agreed,
    credit,
    invoice,
    out,
    pay,
    report,
    row_of,
    take,
)
from shop import DAY, now, part_payments

from quoting.domain.ageing import Since
from quoting.store.models import (
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
    MonthAct,
    Payment,
)
from quoting.workflow import closing, deposits, exports, month, payments, till
from quoting.workflow.invoices import Credited

#: Days from 25 November to one of December.
LATER = 10


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage", address="1 Row")


def table(shop, name, which=NOVEMBER):
    """Return the rows of one of a month's CSV files."""
    with shop.database.reading() as session:
        made = month.report(session, which, DAY)
        _, data, _ = exports.write(session, made, "csv")
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        text = packed.read(f"{name}.csv").decode()
        return list(csv.DictReader(io.StringIO(text, newline="")))


def sent(shop, what="csv", which=NOVEMBER, days=LATER):
    return exports.send(shop.database, which, what, now(days=days))


def test_identities_are_figures_and_not_texts(shop, customer):
    """Nothing was paid: debtors 491.75; all else of the month is out by 0.00."""
    invoice(shop, agreed(shop, customer))
    rows = {row["identity"]: row for row in table(shop, "controls")}
    assert rows["debtors"] == {
        "identity": "debtors", "left": "491.75", "right": "491.75", "out": "0.00",
        "holds": "yes",
    }  # fmt: skip
    with shop.database.transaction() as session:
        session.query(DocumentIssued).one().gross -= 1
    [row] = [r for r in table(shop, "controls") if r["identity"] == "debtors"]
    assert (row["right"], row["out"], row["holds"]) == ("491.74", "0.01", "no")


def test_money_and_credit_are_told_by_their_numbers(shop, customer):
    first, second = (invoice(shop, agreed(shop, customer)) for _ in range(2))
    pay(shop, first, 49175)
    note = credit(shop, first, Credited(amount=Decimal("50.00")))
    with shop.database.transaction() as session:
        payments.set_against(session, session.get(DocumentIssued, note), now())
    used = ("document", "payment", "credit_note", "deposit", "refund", "amount")
    assert [[row[name] for name in used] for row in table(shop, "allocations")] == [
        ["I-00001", "P-00001", "", "", "", "491.75"],
        ["I-00002", "", "C-00001", "", "", "50.00"],
    ]
    [*_, corrected] = table(shop, "documents")
    assert (corrected["number"], corrected["corrects"]) == ("C-00001", "I-00001")
    assert row_of(shop, second).left == 49175 - 5000


def test_a_deposit_that_is_paid_back_is_money_out(shop, customer):
    key = take(shop, agreed(shop, customer), "100.00")
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        deposits.pay_deposit_back(session, row, 2500, "cash", "cheaper", now())
    rows = [(r["number"], r["amount"], r["note"]) for r in table(shop, "receipts")]
    assert rows == [
        ("D-00001", "100.00", "deposit"),
        ("S-00001", "-25.00", "deposit paid back: D-00001"),
    ]
    money = sum(Decimal(amount) for _, amount, _ in rows)
    [cash] = report(shop).money
    assert (cash.received - cash.paid_back, money) == (75, 75)


@pytest.mark.parametrize("name", ["Tab\tand Sons", "Two\nLines", 'Quote " Ltd'])
def test_a_file_is_the_same_as_before_whatever_somebody_is_called(shop, name):
    customer = shop.customer("Osgood", address="1 Row")
    key = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        session.get(DocumentIssued, key).buyer = name
    assert exports.compared(sent(shop)) == "for the first time"
    again = sent(shop)
    assert exports.compared(again).startswith("same as sent ")
    assert [row["who"] for row in table(shop, "open_items")] == [name]


def test_what_differs_is_told_for_each_kind_of_file(shop, customer):
    invoice(shop, agreed(shop, customer))
    sent(shop, "csv")
    pay(shop, 1, 100, days=1)
    assert exports.compared(sent(shop, "xlsx")) == "for the first time"
    assert exports.compared(sent(shop, "xml")) == "for the first time"
    again = exports.compared(sent(shop, "csv"))
    assert "receipts P-00001" in sent_rows(shop, "csv")
    assert again.startswith(f"{len(sent_rows(shop, 'csv'))} rows differ: ")
    assert exports.compared(sent(shop, "xml")).startswith("same as sent ")


def sent_rows(shop, what):
    """Return the rows by which the last two files of a kind differ."""
    from quoting.files.month_files import differing

    with shop.database.reading() as session:
        old, new = (
            row.sent
            for row in session.query(MonthAct).filter_by(what=what).order_by("id")
        )
        return differing(old, new)


def test_a_closed_month_says_whether_it_still_is_what_it_was(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        closing.close(session, NOVEMBER, now(days=LATER))
    pay(shop, key, 100, days=LATER)
    credit(shop, key, Credited(amount=Decimal("10.00")), days=LATER)
    with shop.database.transaction() as session:
        named = month.account_names(session)[0]
        month.name_accounts(session, {named.key: ("4711", "Other")}, now(days=LATER))
    assert sent(shop).changed == ""

    with shop.database.transaction() as session:
        session.query(DocumentLine).first().description = "Something else"
    changed = sent(shop)
    said = "THIS MONTH IS NOT AS IT WAS CLOSED ON 2026-12-05: "
    assert changed.changed.startswith(said)
    assert "lines I-00001 1" in changed.changed
    with zipfile.ZipFile(io.BytesIO(changed.data)) as packed:
        assert packed.read("README.txt").decode().startswith(said)


def names_out(made):
    return [name for name, *_ in out(made)]


@pytest.mark.parametrize(
    ("spoil", "named"),
    [
        ((DocumentLine, "net"), "each document: lines = net"),
        ((DocumentTax, "amount"), "each document: rows of tax = tax"),
        ((DocumentIssued, "gross"), "each document: net and tax = gross"),
    ],
)
def test_two_documents_that_are_out_do_not_make_each_other_good(
    shop, customer, spoil, named
):
    """One cent up here and down there: the sums of the month agree."""
    of, column = spoil
    for _ in range(2):
        invoice(shop, agreed(shop, customer))
    assert out(report(shop)) == []
    with shop.database.transaction() as session:
        rows = session.query(of).order_by("id").all()
        for row, cent in ((rows[0], 1), (rows[-1], -1)):
            setattr(row, column, getattr(row, column) + cent)
    made = report(shop)
    assert named in names_out(made)
    [check] = [check for check in made.checks if check.name == named]
    assert (check.counts, check.left, check.right) == (True, 0, 2)
    assert [term for term, _ in check.terms] == ["documents", "I-00001", "I-00002"]


def test_a_tax_that_is_posted_as_another_is_out_though_the_sum_holds(shop, customer):
    invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        [entry] = session.query(Entry).filter(Entry.role == "output tax").all()
        label, entry.detail = entry.detail, "Another tax"
    assert sorted(names_out(report(shop))) == [
        "output tax: Another tax",
        f"output tax: {label}",
    ]


def test_numbers_count_on_from_the_month_before_in_every_series(shop, customer):
    keys = [invoice(shop, agreed(shop, customer)) for _ in range(2)]
    pay(shop, keys[0], 100)
    later = invoice(shop, agreed(shop, customer, days=LATER), days=LATER)
    pay(shop, later, 100, days=LATER)
    used = {r.series: (r.first, r.last, r.used) for r in report(shop, DECEMBER).ranges}
    assert used == {
        "invoice": ("I-00003", "I-00003", 1),
        "payment": ("P-00002", "P-00002", 1),
    }
    with shop.database.transaction() as session:
        session.get(DocumentIssued, later).number = "I-00005"
        session.query(Payment).filter_by(number="P-00002").one().number = "P-00004"
    missing = {r.series: r.missing for r in report(shop, DECEMBER).ranges}
    assert missing == {
        "invoice": ("I-00003", "I-00004"),
        "payment": ("P-00002", "P-00003"),
    }
    assert "numbers without a gap: payment" in names_out(report(shop, DECEMBER))


def test_deposits_taxed_on_receipt_are_sales_of_the_month_in_which_they_came(
    shop, customer
):
    """100.00 has 15.61 of tax in it: 84.39 and 15.61 in November.

    December has the invoice of 414.98 and 76.77 less those: 330.59 and 61.16.
    """
    with shop.database.transaction() as session:
        part_payments(session)
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    [november] = report(shop).codes
    assert (november.deposit_net, november.deposit_tax) == (
        Decimal("84.39"), Decimal("15.61"),
    )  # fmt: skip
    assert november.gross == 100

    key = invoice(shop, quote, days=LATER)
    december = report(shop, DECEMBER).codes
    assert sum(row.invoiced_net for row in december) == Decimal("414.98")
    assert sum(row.net for row in december) == Decimal("330.59")
    assert sum(row.tax for row in december) == Decimal("61.16")
    assert row_of(shop, key).left == 49175 - 10000
    [row] = table(shop, "tax_summary", DECEMBER)
    assert (row["deposits_base"], row["deposits_tax"]) == ("84.39", "15.61")
    for which in (NOVEMBER, DECEMBER):
        assert out(report(shop, which)) == []


def test_a_deposit_that_is_paid_back_takes_its_sales_along(shop, customer):
    """60.00 of 100.00 are paid back in December: 50.63 and 9.37."""
    with shop.database.transaction() as session:
        part_payments(session)
    key = take(shop, agreed(shop, customer), "100.00")
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        at = now(days=LATER)
        deposits.pay_deposit_back(session, row, 6000, "cash", "cheaper", at)
    [code] = report(shop, DECEMBER).codes
    assert (code.net, code.tax) == (Decimal("-50.63"), Decimal("-9.37"))
    assert out(report(shop, DECEMBER)) == []


def test_debts_are_aged_from_the_invoice_and_from_the_last_day_to_pay(shop):
    """Of 25 November, to pay by 25 December: on 31 December 36 days old, 6 days late.

    50.00 that somebody paid are set against nothing.
    """
    customer = shop.customer("Osgood", address="1 Row")
    key = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        session.get(DocumentIssued, key).pay_by = date(2026, 12, 25)
    gross = Decimal(row_of(shop, key).gross) / 100
    other = shop.customer("Pell & Pell")
    with shop.database.transaction() as session:
        payments.pay(session, 5000, "card", now(), customer_id=other)
    made = report(shop, DECEMBER)
    young, old = made.ages(Since.DUE), made.ages(Since.INVOICED)
    assert young.bands == (gross, 0, 0, 0)
    assert old.bands == (0, gross, 0, 0)
    assert young.unallocated == old.unallocated == 50
    assert young.balance == made.ledger.debtors.closing == gross - 50
    rows = table(shop, "ageing", DECEMBER)
    assert [(r["since"], r["who"], r["to_60"]) for r in rows] == [
        ("day of the invoice", "Osgood", f"{gross:.2f}"),
        ("day of the invoice", "Pell & Pell", "0.00"),
        ("last day to pay", "Osgood", "0.00"),
        ("last day to pay", "Pell & Pell", "0.00"),
    ]


def test_the_till_s_differences_stand_in_the_month(shop, customer):
    """100.00 taken in cash, 99.20 counted: 0.80 too little."""
    pay(shop, invoice(shop, agreed(shop, customer)), 10000, "cash")
    with shop.database.transaction() as session:
        till.count_cash(session, 9920, 0, "miscounted change", now())
    [row] = report(shop).till
    assert (row.amount, row.note) == (Decimal("-0.80"), "miscounted change")
    [row] = table(shop, "till")
    assert (row["number"], row["amount"]) == ("T-00001", "-0.80")


def test_the_days_add_up_to_the_month(shop, customer):
    """Two invoices of 491.75 on one day, one the day after, 50.00 credited then."""
    keys = [invoice(shop, agreed(shop, customer)) for _ in range(2)]
    invoice(shop, agreed(shop, customer, days=1), days=1)
    credit(shop, keys[0], Credited(amount=Decimal("50.00")), days=1)
    [check] = [c for c in report(shop).checks if c.name == "the days = the month"]
    assert check.terms == (
        ("2026-11-25", Decimal("983.50")),
        ("2026-11-26", Decimal("441.75")),
    )
    assert check.left == Decimal("1425.25")


def test_tables_are_told_when_they_are_begun(shop):
    told = []
    exports.send(shop.database, NOVEMBER, "csv", now(days=LATER), told.append)
    half = len(told) // 2
    assert told[:half] == told[half:]
    assert (told[0], told[half - 1]) == ("documents", "controls")


def test_reasons_for_no_tax_name_a_certificate_once(shop, customer):
    key = do_exempt(shop, customer)
    made = report(shop)
    assert [row.note.count(row_of(shop, key).certificate) for row in made.exempt] == [1]


def do_exempt(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        session.get(DocumentIssued, key).certificate = "FC-77"
        [tax] = session.query(DocumentTax).all()
        tax.category, tax.reason = "E", "Exempt, certificate FC-77"
    return key
