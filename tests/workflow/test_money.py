"""Invoices, payments, deposits and the month, on both databases.

The journal of one job follows the sample of its entries that stands in docs/money.md;
the identities are those of double entry. Sums are worked by hand where they stand.
"""

import csv
import shutil
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from shop import DAY, Shop, now, other_tables, part_payments
from sqlalchemy import func, select

from quoting.domain.consent import Consent, How, NeedsYesError
from quoting.domain.credit import NothingLeftError, TooMuchCreditedError
from quoting.domain.errors import ProblemsError
from quoting.domain.invoice import Kind, Why
from quoting.domain.job import AskedPart, FreeLine, Job, Override
from quoting.domain.month import (
    EarlierOpenError,
    Month,
    MonthLockedError,
    NotClosedError,
    OpenMonthError,
)
from quoting.resources import folder
from quoting.store.models import (
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
    SurchargeHeld,
)
from quoting.store.numbering import BackDatedError
from quoting.workflow import (
    closing,
    debts,
    deposits,
    documents,
    invoices,
    month,
    payments,
    quotes,
    story,
    surcharges,
    till,
)
from quoting.workflow.invoices import (
    AlreadyInvoicedError,
    Credited,
    DepositInvoiceError,
    MixedInvoiceError,
)
from quoting.workflow.quotes import About, Asked

TWIN_CAM = "16v twin cam valve job"

MONTH = Month.of(DAY)


@pytest.fixture
def customer(shop):
    return shop.customer("Osgood & Daughters Garage", address="1 Row\nExampleton")


def agreed(shop, customer, words=TWIN_CAM, days=0):
    """Save a quote and a yes to it; return the quote's key."""
    key = shop.save(words, customer=customer, days=days)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        at = now(days=days)
        quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
    return key


def invoice(shop, *keys, days=0, **options):
    """Issue the invoice for quotes; return its key."""
    with shop.database.transaction() as session:
        rows = [quotes.quote_of(session, key) for key in keys]
        return invoices.issue(session, rows, now(days=days), **options).id


def do(shop, act, key, *given, days=0, **options):
    """Do something with a document in a transaction of its own; return its key."""
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return act(session, row, *given, now(days=days), **options).id


def credit(shop, key, what, days=0):
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return invoices.credit(
            session,
            row,
            what,
            now(days=days),
            reason=Why.PRICE,
            because="agreed on the phone",
        ).id


def pay(shop, key, amount, method="card", days=0):
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, key)
        return payments.pay(session, amount, method, now(days=days), document=row).id


def row_of(shop, key):
    with shop.database.reading() as session:
        return session.get(DocumentIssued, key)


def report(shop, which=MONTH, days=90):
    with shop.database.reading() as session:
        return month.report(session, which, DAY + timedelta(days=days))


def out(made):
    """Return the identities that do not hold."""
    return [(c.name, c.left, c.right, c.terms) for c in made.checks if not c.holds]


# Issuing.


def test_an_invoice_charges_what_was_said_yes_to(shop, customer):
    quote = agreed(shop, customer)
    key = invoice(shop, quote)
    with shop.database.reading() as session:
        row = session.get(DocumentIssued, key)
        way = quotes.quote_of(session, quote).revisions[0].ways[0]
        assert (row.net, row.tax, row.gross) == (way.net, way.tax, way.total)
        assert (row.number, row.left, row.kind) == ("I-00001", row.gross, "invoice")
        lines = session.execute(
            select(func.sum(DocumentLine.net), func.sum(DocumentLine.tax))
        ).one()
        assert tuple(map(int, lines)) == (row.net, row.tax)
        taxes = session.scalar(select(func.sum(DocumentTax.amount)))
        assert int(taxes) == row.tax
        entries = session.scalar(select(func.sum(Entry.amount)))
        assert int(entries) == 0


def test_work_is_invoiced_once_and_again_when_that_invoice_is_credited(shop, customer):
    quote = agreed(shop, customer)
    key = invoice(shop, quote)
    with pytest.raises(AlreadyInvoicedError, match="I-00001"):
        invoice(shop, quote)
    credit(shop, key, Credited())
    again = invoice(shop, quote)
    assert row_of(shop, again).number == "I-00002"


def test_what_exceeds_the_yes_needs_another_or_the_owners_word(shop, customer):
    quote = agreed(shop, customer)
    storage = {quote: [FreeLine("Six weeks of storage", amount=Decimal("90.00"))]}
    with pytest.raises(NeedsYesError):
        invoice(shop, quote, extra=storage)
    with shop.database.reading() as session:
        assert session.scalar(select(func.count(DocumentIssued.id))) == 0
    word = Override("Ada Tallow", "they know, it stands in the terms")
    key = invoice(shop, quote, extra=storage, despite=word)
    row = row_of(shop, key)
    with shop.database.reading() as session:
        told = story.of_document(session, row)
    assert row.number == "I-00001"
    assert any("invoice issued" in each.what for each in told)


def test_one_invoice_for_a_month_of_one_customer(shop, customer):
    keys = [agreed(shop, customer, days=day) for day in (0, 1, 2)]
    key = invoice(shop, *keys, days=3)
    with shop.database.reading() as session:
        row = session.get(DocumentIssued, key)
        ways = [quotes.quote_of(session, key).revisions[0].ways[0] for key in keys]
        assert row.net == sum(way.net for way in ways)
        paper = invoices.content(session, key)
        assert {item.work for item in paper.items} == {"Q-00001", "Q-00002", "Q-00003"}
    other = shop.customer("Nettle Yard Autos")
    strange = agreed(shop, other, days=4)
    another = agreed(shop, customer, days=4)
    with pytest.raises(MixedInvoiceError, match="Q-00004"):
        invoice(shop, another, strange, days=4)


def test_no_invoice_is_dated_before_the_last_one(shop, customer):
    first, second = agreed(shop, customer), agreed(shop, customer)
    invoice(shop, first, days=2)
    with pytest.raises(BackDatedError):
        invoice(shop, second, days=1)
    assert row_of(shop, invoice(shop, second, days=2)).number == "I-00002"


# Credit notes.


def test_a_credit_note_gives_back_no_more_than_is_left(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    gross = row_of(shop, key).gross
    whole = Decimal(gross) / 100
    credit(shop, key, Credited(amount=Decimal("100.00")))
    with pytest.raises(TooMuchCreditedError):
        credit(shop, key, Credited(amount=whole))
    credit(shop, key, Credited())
    with pytest.raises(NothingLeftError):
        credit(shop, key, Credited())
    assert row_of(shop, key).left == 0
    with shop.database.reading() as session:
        sums = session.execute(
            select(
                func.sum(DocumentIssued.net),
                func.sum(DocumentIssued.tax),
                func.sum(DocumentIssued.gross),
            ).where(DocumentIssued.corrects_id == key)
        ).one()
    row = row_of(shop, key)
    assert tuple(map(int, sums)) == (row.net, row.tax, row.gross)


def test_a_credit_note_for_a_paid_invoice_can_be_paid_back_once(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    gross = row_of(shop, key).gross
    pay(shop, key, gross)
    note = credit(shop, key, Credited(amount=Decimal("50.00")))
    assert row_of(shop, note).left == 5000
    do(shop, payments.refund, note, 5000, "card", "paid too much")
    with pytest.raises(payments.NothingHeldError):
        do(shop, payments.refund, note, 1, "card", "again")
    assert out(report(shop)) == []


# Payments.


def test_money_pays_the_oldest_first_and_the_rest_stays_on_account(shop, customer):
    first, second = (
        invoice(shop, agreed(shop, customer, days=d), days=d) for d in (0, 1)
    )
    owed = row_of(shop, first).gross
    with shop.database.transaction() as session:
        payments.pay(session, owed + 10, "card", now(days=1), customer_id=customer)
    assert row_of(shop, first).left == 0
    assert row_of(shop, second).left == row_of(shop, second).gross - 10
    with shop.database.transaction() as session:
        left = payments.owed_by(session, customer)
        paid = payments.pay(
            session, left + 500, "card", now(days=2), customer_id=customer
        )
        assert paid.left == 500
    third = invoice(shop, agreed(shop, customer, days=3), days=3)
    with shop.database.transaction() as session:
        paid = payments.payment_of(session, paid.id)
        assert payments.set_against(session, paid, now(days=3)) == 500
    assert row_of(shop, third).left == row_of(shop, third).gross - 500
    assert out(report(shop)) == []


def test_what_somebody_says_a_payment_pays_is_checked_all_at_once(shop, customer):
    keys = [invoice(shop, agreed(shop, customer, days=d), days=d) for d in (0, 1)]
    second = row_of(shop, keys[1])
    with shop.database.transaction() as session:
        payments.pay(
            session,
            1000,
            "card",
            now(days=1),
            customer_id=customer,
            by_hand={second.number: 1000},
        )
    assert row_of(shop, keys[1]).left == second.gross - 1000
    with (
        pytest.raises(ProblemsError) as refused,
        shop.database.transaction() as session,
    ):
        payments.pay(
            session,
            1000,
            "card",
            now(days=1),
            customer_id=customer,
            by_hand={"I-00009": 500, second.number: second.gross + 1},
        )
    assert len(refused.value.problems) == 3
    assert row_of(shop, keys[1]).left == second.gross - 1000


def test_nobody_pays_twice_without_an_account(shop):
    quote = shop.save("16v twin cam skim 0.10", caller="a man with a van")
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        yes = Consent(by="the man", how=How.IN_PERSON)
        quotes.accept(session, row, row.version, 1, yes, now().at, now())
    key = invoice(shop, quote, named=False)
    gross = row_of(shop, key).gross
    pay(shop, key, gross)
    with pytest.raises(payments.NobodysMoneyError):
        pay(shop, key, 100)
    with shop.database.reading() as session:
        assert (
            session.scalar(select(func.count(Entry.id)).where(Entry.event == "payment"))
            == 2
        )


# Deposits.


def take(shop, quote, amount, days=0):
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        return deposits.take_deposit(
            session, row, Decimal(amount), "cash", now(days=days)
        ).id


def test_a_deposit_comes_off_the_invoice_and_never_more_than_is_due(shop, customer):
    quote = agreed(shop, customer)
    take(shop, quote, "100.00")
    take(shop, quote, "9000.00")
    key = invoice(shop, quote)
    row = row_of(shop, key)
    assert (row.deducted, row.left) == (row.gross, 0)
    with shop.database.reading() as session:
        held = [each.held for each in deposits.held(session)]
    assert held == [910_000 - row.gross]
    assert out(report(shop)) == []


def test_where_tax_falls_due_on_receipt_a_deposit_has_an_invoice(shop, customer):
    """The tax of invoice and deposit invoice together is that of the job."""
    with shop.database.transaction() as session:
        part_payments(session)
    quote = agreed(shop, customer)
    take(shop, quote, "150.00")
    key = invoice(shop, quote, days=1)
    with shop.database.reading() as session:
        paper = session.scalars(
            select(DocumentIssued).where(DocumentIssued.kind == Kind.DEPOSIT)
        ).one()
        assert (paper.number, paper.gross, paper.left) == ("A-00001", 15000, 0)
        row = session.get(DocumentIssued, key)
        assert row.left == row.gross - 15000
        posted = session.scalar(
            select(func.sum(Entry.amount)).where(Entry.role == "output tax")
        )
        assert -int(posted) == row.tax
        document = invoices.content(session, key)
    assert document.deposits[0].number == "A-00001"
    assert document.deposits[0].tax == Decimal(paper.tax) / 100
    assert out(report(shop)) == []


def test_what_becomes_of_a_deposit(shop, customer):
    first, second = agreed(shop, customer), agreed(shop, customer)
    key = take(shop, first, "100.00")
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        deposits.pay_deposit_back(session, row, 2500, "cash", "cheaper job", now())
        deposits.move_deposit(session, row, "q-00002", "same customer", now())
        assert (row.held, row.quote_id) == (7500, second)
        with pytest.raises(payments.MoreThanHeldError):
            deposits.pay_deposit_back(session, row, 7501, "cash", "too much", now())
        with pytest.raises(payments.NoReasonError):
            deposits.keep_deposit(session, row, 7500, " ", now(), taxed=True)
        kept = deposits.keep_deposit(
            session, row, 5000, "never came back", now(), taxed=True
        )
        # 18.5 / 118.5 of 50.00 is 7.8059...
        assert (kept.tax_now, row.held) == (781, 2500)
    invoiced = invoice(shop, first)
    with shop.database.transaction() as session:
        row = deposits.of_key(session, key)
        document = session.get(DocumentIssued, invoiced)
        before = document.left
        deposits.apply_deposit(session, row, document, 2500, now())
        assert document.left == before - 2500
    made = report(shop)
    assert out(made) == []
    assert made.deposits == ()
    assert made.income["deposits kept"] == Decimal("42.19")


def test_a_deposit_held_long_is_left_over(shop, customer):
    key = take(shop, agreed(shop, customer), "100.00")
    with shop.database.reading() as session:
        on = DAY + timedelta(days=60)
        assert deposits.left_over(session, on) == []
        later = deposits.left_over(session, on + timedelta(days=1))
        assert [row.id for row in later] == [key]


# Debts, surcharges, the till.


def test_a_debt_is_written_off_and_its_tax_taken_back(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    row = row_of(shop, key)
    pay(shop, key, row.gross - 3000)
    do(shop, debts.write_off, key, "gone away")
    with pytest.raises(debts.NothingOwedError):
        do(shop, debts.write_off, key, "again")
    relief = do(shop, debts.relief, key, "half a year on", days=1)
    with pytest.raises(debts.NothingOwedError):
        do(shop, debts.relief, key, "again", days=1)
    made = report(shop)
    # 30.00 at 18.5 %: 4.6835...; what was received has the rest of the invoice's tax.
    received = Decimal(row.gross - 3000) / 100
    tax = Decimal(row.tax) / 100 - (received * Decimal("18.5") / Decimal("118.5"))
    assert made.moved.relief == tax.quantize(Decimal("0.01"))
    assert out(made) == []
    assert relief
    assert row_of(shop, key).left == 0


def test_a_discount_for_paying_early_takes_its_tax_along(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    gross = row_of(shop, key).gross
    do(shop, debts.settle_early, key, 1185, "2 % within ten days")
    assert row_of(shop, key).left == gross - 1185
    made = report(shop)
    assert made.moved.settlement_tax == Decimal("1.85")
    assert made.income["settlement discounts"] == Decimal("-10.00")
    assert out(made) == []


def settle(shop, key, act, *given, days=1, **how):
    """Do something with a deposit in a transaction of its own."""
    with shop.database.transaction() as session:
        return act(
            session, deposits.of_key(session, key), *given, now(days=days), **how
        )


def test_the_parts_of_a_taxed_deposit_have_its_tax_to_the_last_cent(shop, customer):
    """Kept as 33.33, 33.33 and 33.34: the tax of the three is that of the 100.00."""
    with shop.database.transaction() as session:
        part_payments(session)
    key = take(shop, agreed(shop, customer), "100.00")
    parts = [
        settle(shop, key, deposits.keep_deposit, gross, "no show", taxed=True)
        for gross in (3333, 3333, 3334)
    ]
    with shop.database.reading() as session:
        paper = session.scalars(select(DocumentIssued)).one()
    assert sum(part.tax_before for part in parts) == paper.tax
    made = report(shop)
    assert made.ledger.deposits.closing == 0
    assert out(made) == []


def test_what_is_left_of_a_taxed_deposit_has_the_tax_that_its_credit_left(
    shop, customer
):
    """10.01 is paid back by a credit note, the rest kept: together its tax."""
    with shop.database.transaction() as session:
        part_payments(session)
    key = take(shop, agreed(shop, customer), "100.00")
    back = settle(shop, key, deposits.pay_deposit_back, 1001, "cash", "too much")
    kept = settle(shop, key, deposits.keep_deposit, 8999, "no show", taxed=True)
    with shop.database.reading() as session:
        paper = session.scalars(
            select(DocumentIssued).where(DocumentIssued.kind == Kind.DEPOSIT)
        ).one()
    assert back.tax_before + kept.tax_before == paper.tax
    assert report(shop).ledger.deposits.closing == 0


def test_the_invoice_of_a_deposit_is_credited_by_paying_the_deposit_back(
    shop, customer
):
    with shop.database.transaction() as session:
        part_payments(session)
    key = take(shop, agreed(shop, customer), "100.00")
    with shop.database.reading() as session:
        [paper] = session.scalars(select(DocumentIssued.id))
    with pytest.raises(DepositInvoiceError, match="list of deposits held"):
        credit(shop, paper, Credited(), days=1)
    settle(shop, key, documents.pay_deposit_back, 10_000, "cash", "not taken up")
    with shop.database.reading() as session:
        note = session.scalars(
            select(DocumentIssued).where(DocumentIssued.kind == Kind.CREDIT)
        ).one()
        assert (note.gross, note.left) == (10_000, 0)
        assert note.paper_id
        assert deposits.of_key(session, key).held == 0
    assert out(report(shop)) == []


def test_a_deposit_is_not_held_for_the_work_of_another(shop, customer):
    key = take(shop, agreed(shop, customer), "50.00")
    agreed(shop, shop.customer("Nettle Yard Autos"))
    with pytest.raises(deposits.AnothersQuoteError, match="Q-00002"):
        settle(shop, key, deposits.move_deposit, "Q-00002", "asked by phone")


def test_a_credit_note_is_never_paid(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, row_of(shop, key).gross)
    note = credit(shop, key, Credited(amount=Decimal(20)), days=1)
    with pytest.raises(payments.NotOwedError, match="pay it out"):
        pay(shop, note, 2000, days=1)
    assert row_of(shop, note).left == 2000
    assert out(report(shop)) == []


def test_what_was_let_go_for_paying_early_is_not_credited_as_well(shop, customer):
    """491.75 less 10.00: 481.75 were paid and go back, of the tax what was left.

    10.00 x 18.5 / 118.5 is 1.56; 76.77 less that is 75.21.
    """
    quote = agreed(shop, customer)
    key = invoice(shop, quote)
    do(shop, debts.settle_early, key, 1000, "paid early")
    pay(shop, key, 48175)

    note = row_of(shop, credit(shop, key, Credited(), days=1))

    assert (note.gross, note.tax, note.left) == (48175, 7521, 48175)
    made = report(shop)
    assert made.ledger.tax.closing == 0
    assert out(made) == []
    assert row_of(shop, invoice(shop, quote, days=1)).number == "I-00002"


def test_what_was_written_off_is_not_credited_to_who_never_paid_it(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, 10000)
    do(shop, debts.write_off, key, "gone away")

    note = row_of(shop, credit(shop, key, Credited(), days=1))

    assert note.gross == 10000
    with pytest.raises(NothingLeftError):
        credit(shop, key, Credited(), days=1)
    assert out(report(shop)) == []


def test_refusals_say_money_as_people_write_it(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, row_of(shop, key).gross)
    note = credit(shop, key, Credited(amount=Decimal(20)), days=1)
    with pytest.raises(
        payments.MoreThanHeldError, match=r"30\.00 is more than the 20\.00"
    ):
        do(shop, payments.refund, note, 3000, "cash", "for luck", days=1)


def test_a_surcharge_that_was_kept_is_not_credited_any_more(shop, customer):
    """60 % of it came back, the rest was kept: a credit for all leaves that out."""
    key = surcharged(shop, customer)
    gross = row_of(shop, key).gross
    with shop.database.reading() as session:
        [held] = surcharges.held(session)
    part = credit(shop, key, Credited(lines={held.place: Decimal("0.6")}), days=1)
    with shop.database.transaction() as session:
        row = session.get(SurchargeHeld, held.id)
        kept = row.held
        surcharges.keep(session, row, "cracked through", now(days=2))
    with pytest.raises(NothingLeftError):
        credit(shop, key, Credited(lines={held.place: Decimal("0.4")}), days=3)

    rest = credit(shop, key, Credited(), days=3)

    # 60.00 of the 150.00 were kept, with their tax of 18.5 %: 71.10 stay charged.
    assert kept == 6000
    assert gross - row_of(shop, part).gross - row_of(shop, rest).gross == 7110
    made = report(shop)
    assert made.ledger.surcharges.closing == 0
    assert out(made) == []


def surcharged(shop, customer, code="OLDCAR", **part):
    """Invoice a job with an exchange unit; return the invoice's key."""
    unit = next(c for c, part in shop.edition.parts.items() if part.surcharge == code)
    asked = AskedPart(code=unit, quantity=Decimal(1), **part)
    return sold(shop, customer, replace(shop.job(TWIN_CAM), parts=(asked,)))


def sold(shop, customer, job):
    """Invoice a job that was said yes to; return the invoice's key."""
    with shop.database.transaction() as session:
        quote = quotes.save(
            session, About(customer_id=customer), [Asked("", job)], now(), said="x"
        )
        yes = Consent(by="Mabel", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, now().at, now())
        key = quote.id
    return invoice(shop, key)


def test_an_exchange_surcharge_is_held_until_the_old_unit_is_judged(shop, customer):
    key = surcharged(shop, customer)
    with shop.database.reading() as session:
        [held] = surcharges.held(session)
        charged = held.held
    credit(shop, key, Credited(lines={held.place: Decimal("0.6")}), days=1)
    with shop.database.transaction() as session:
        row = session.get(SurchargeHeld, held.id)
        assert row.held == charged - round(charged * 0.6)
        rest = row.held
        surcharges.keep(session, row, "cracked through", now(days=2))
        assert row.held == 0
    made = report(shop)
    assert out(made) == []
    assert made.ledger.surcharges.closing == 0
    assert made.income["surcharges kept"] == Decimal(rest) / 100


@pytest.mark.parametrize(("grade", "held"), [("full", []), ("part", [6000])])
def test_an_old_unit_that_came_with_the_work_is_not_waited_for(
    shop, customer, grade, held
):
    """Of 150.00 a damaged one brings 60 % back: 60.00 stay to be kept."""
    surcharged(shop, customer, old_unit=grade)
    with shop.database.reading() as session:
        assert [row.held for row in surcharges.held(session)] == held
    assert out(report(shop)) == []


@pytest.fixture
def adding(database, tmp_path):
    """Return a shop where tax is due on the worth of an old unit, as agreed."""
    tables = shutil.copytree(folder("rates_demo"), tmp_path / "rates")
    with (tables / "countries.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (tables / "countries.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, rows[0])
        table.writeheader()
        table.writerows(
            row | ({"surcharge_tax": "added"} if row["code"] == "GB" else {})
            for row in rows
        )
    with (tables / "shop.toml").open("a", encoding="utf-8") as file:
        file.write('tax_old_unit = "UNTAXED"\n')
    return Shop(database, tables)


def test_the_worth_of_an_old_unit_is_taxed_and_credited_with_its_head(adding):
    """An exchange head of 595.00, its old unit worth 60.00: tax on 655.00 at 18.5 %.

    121.175 is 121.18; the customer pays 595.00 and that. Credited whole nothing is
    left, of the tax neither.
    """
    head = AskedPart(
        description="Exchange head", group="exchange", price=Decimal(595),
        tax_code="PAR", worth=Decimal(60),
    )  # fmt: skip
    key = sold(
        adding,
        adding.customer("Osgood & Daughters", address="1 Row"),
        Job(heads=(), parts=(head,)),
    )
    row = row_of(adding, key)
    assert (row.net, row.tax, row.gross) == (59500, 12118, 71618)
    with adding.database.reading() as session:
        lines = list(
            session.execute(
                select(DocumentLine.description, DocumentLine.net)
                .where(DocumentLine.document_id == key)
                .order_by(DocumentLine.place)
            )
        )
    assert [net for _, net in lines] == [59500, 6000, -6000]
    assert out(report(adding)) == []

    note = row_of(adding, credit(adding, key, Credited(), days=1))

    assert (note.net, note.tax, note.gross) == (59500, 12118, 71618)
    made = report(adding)
    assert out(made) == []
    assert made.income == {"exchange": 0}


def test_a_surcharge_that_is_the_worth_of_the_old_unit_keeps_its_tax(adding):
    """As agreed: the 150.00 of OLDCAR are that worth, their tax stays when they go."""
    surcharged(adding, adding.customer("Osgood & Daughters", address="1 Row"))
    with adding.database.reading() as session:
        [held] = surcharges.held(session)

    assert (held.held, held.tax_back) == (15000, False)


def test_a_surcharge_says_by_when_and_whether_its_tax_goes_back(shop, customer):
    """The table: 280.00, taxed, 45 days, its tax is kept."""
    key = surcharged(shop, customer, code="OLDBIG")
    with shop.database.reading() as session:
        [held] = surcharges.held(session)
    assert (held.held, held.tax_back) == (28000, False)
    assert held.return_by == DAY + timedelta(days=45)
    lines = {held.place: Decimal(1)}
    note = credit(shop, key, Credited(lines, keep_tax=frozenset(lines)), days=1)
    row = row_of(shop, note)
    assert (row.net, row.tax, row.gross) == (28000, 0, 28000)
    assert out(report(shop)) == []


def test_the_till_is_counted_against_what_it_should_hold(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    pay(shop, key, 20000, "cash")
    with shop.database.transaction() as session:
        assert till.expected_cash(session) == 20000
        with pytest.raises(till.DiffersError):
            till.count_cash(session, 19950, 15000, "", now())
        row = till.count_cash(session, 19950, 15000, "wrong change", now())
        assert (row.expected, row.counted) == (20000, 19950)
        assert till.expected_cash(session) == 4950
    assert out(report(shop)) == []


# The month.


def test_a_closed_month_takes_nothing_more(shop, customer):
    quote = agreed(shop, customer)
    key = invoice(shop, quote)
    gross = row_of(shop, key).gross
    later = 10  # in December
    with shop.database.transaction() as session, pytest.raises(OpenMonthError):
        closing.close(session, MONTH, now())
    with shop.database.transaction() as session:
        closing.close(session, MONTH, now(days=later))
    with pytest.raises(MonthLockedError, match="2026-11"):
        pay(shop, key, gross)
    with pytest.raises(MonthLockedError):
        credit(shop, key, Credited())
    credit(shop, key, Credited(amount=Decimal("10.00")), days=later)
    made = report(shop, MONTH.next)
    assert [row.note for row in made.corrected] == ["I-00001, 2026-11-25"]
    assert out(made) == []


def test_months_close_in_order_and_open_the_last_one_first(shop, customer):
    invoice(shop, agreed(shop, customer))
    december = MONTH.next
    with shop.database.transaction() as session:
        closing.close(session, MONTH, now(days=90))
        with pytest.raises(EarlierOpenError):
            closing.close(session, december.next, now(days=90))
        closing.close(session, december, now(days=90))
        with pytest.raises(EarlierOpenError, match="2026-12"):
            closing.reopen(session, MONTH, "forgot one", now(days=90))
        with pytest.raises(payments.NoReasonError):
            closing.reopen(session, december, "", now(days=90))
        closing.reopen(session, december, "forgot one", now(days=90))
        closing.reopen(session, MONTH, "forgot one", now(days=90))
        with pytest.raises(NotClosedError):
            closing.reopen(session, MONTH, "again", now(days=90))
        assert [act.act for act in closing.acts(session, MONTH)] == [
            "reopened",
            "closed",
        ]
    assert out(report(shop)) == []


def test_a_month_that_does_not_reconcile_says_which_figures_differ(shop, customer):
    key = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        session.get(DocumentIssued, key).net += 1
    made = report(shop)
    assert not made.reconciles
    assert [name for name, *_ in out(made)] == [
        "lines = documents, before tax",
        "each document: lines = net",
        "each document: net and tax = gross",
    ]
    with (
        shop.database.transaction() as session,
        pytest.raises(closing.UnreconciledError, match="before tax"),
    ):
        closing.close(session, MONTH, now(days=10))


def test_numbers_begin_as_the_tables_of_their_day_say_and_count_on(shop, customer):
    first = invoice(shop, agreed(shop, customer))
    with shop.database.transaction() as session:
        other_tables(session, number_invoice='"2027/I"', number_quote='"OFFER"')
    quote = agreed(shop, customer, days=1)
    with shop.database.reading() as session:
        assert quotes.quote_of(session, quote).number == "OFFER-00002"
    with shop.database.transaction() as session:
        rows = [quotes.quote_of(session, quote)]
        second = documents.issue(session, rows, now(days=1)).id

    assert [row_of(shop, key).number for key in (first, second)] == [
        "I-00001",
        "2027/I-00002",
    ]
    with shop.database.reading() as session:
        name, _ = documents.xml_of(session, second, "ubl")
    assert name == "2027-I-00002-ubl.xml"
    made = report(shop)
    [used] = made.ranges
    assert (used.first, used.last, used.missing) == ("I-00001", "2027/I-00002", ())
    assert out(made) == []


def test_a_number_that_is_missing_is_named(shop, customer):
    keys = [invoice(shop, agreed(shop, customer)) for _ in range(3)]
    with shop.database.transaction() as session:
        session.get(DocumentIssued, keys[1]).number = "I-00077"
    made = report(shop)
    [used] = made.ranges
    assert (used.used, used.missing[:1]) == (3, ("I-00002",))
    assert not made.reconciles


def test_the_story_of_a_job_is_told_in_order_without_cost_or_minutes(shop, customer):
    quote = agreed(shop, customer)
    key = invoice(shop, quote)
    pay(shop, key, row_of(shop, key).gross, days=1)
    note = credit(shop, key, Credited(amount=Decimal("20.00")), days=20)
    do(shop, payments.refund, note, 2000, "card", "goodwill", days=21)
    with shop.database.reading() as session:
        told = story.of_document(session, session.get(DocumentIssued, note))
        again = story.of_quote(session, quotes.quote_of(session, quote))
    assert [each.what for each in told] == [
        "quote saved",
        "yes of Mabel Osgood, by phone",
        "invoice issued",
        "paid, card",
        "credit note issued",
        "paid back, card",
    ]
    assert told == again
    assert not any("min" in each.what or "cost" in each.what for each in told)


def told_of(shop, key):
    """Return what the story of a document says of money: what, number, amount, why."""
    with shop.database.reading() as session:
        told = story.of_document(session, session.get(DocumentIssued, key))
    return [
        (each.what, each.number, each.amount, each.why)
        for each in told
        if "paid" in each.what or "set against" in each.what
    ]


def test_the_story_says_what_became_of_an_over_payment(shop, customer):
    """£25.00 too much: £15.00 are paid back, £10.00 pay a part of the next invoice."""
    first = invoice(shop, agreed(shop, customer))
    gross = row_of(shop, first).gross
    paid = pay(shop, first, gross + 2500, days=1)
    with shop.database.transaction() as session:
        row = payments.payment_of(session, paid)
        payments.refund(session, row, 1500, "bank transfer", "by mistake", now(days=2))
    second = invoice(shop, agreed(shop, customer, days=3), days=3)
    with shop.database.transaction() as session:
        row = payments.payment_of(session, paid)
        assert payments.set_against(session, row, now(days=4)) == 1000

    money = Decimal(gross) / 100
    assert told_of(shop, first) == [
        ("paid, card", "P-00001", money, ""),
        ("over-payment paid back, bank transfer", "R-00001", 15, "by mistake"),
        ("rest of P-00001 set against", "I-00002", 10, ""),
    ]
    assert told_of(shop, second) == [("paid by money on account", "P-00001", 10, "")]


def test_one_payment_for_two_invoices_is_told_by_both_and_once_by_each(shop, customer):
    one, two = (invoice(shop, agreed(shop, customer, days=d), days=d) for d in (0, 1))
    gross = row_of(shop, one).gross
    with shop.database.transaction() as session:
        payments.pay(session, gross + 700, "card", now(days=1), customer_id=customer)

    assert told_of(shop, one) == [
        ("paid, card", "P-00001", Decimal(gross) / 100, ""),
        ("rest of P-00001 set against", "I-00002", 7, ""),
    ]
    assert told_of(shop, two) == [("paid, card", "P-00001", 7, "")]


def test_the_story_says_which_credit_and_whose_deposit_paid_an_invoice(shop, customer):
    first = invoice(shop, agreed(shop, customer))
    pay(shop, first, row_of(shop, first).gross)
    note = credit(shop, first, Credited(amount=Decimal(20)))
    other = agreed(shop, customer)
    with shop.database.transaction() as session:
        quote = quotes.quote_of(session, other)
        held = deposits.take_deposit(session, quote, Decimal(30), "card", now()).id
    second = invoice(shop, agreed(shop, customer, days=1), days=1)
    with shop.database.transaction() as session:
        row = session.get(DocumentIssued, second)
        assert (
            payments.set_against(
                session, session.get(DocumentIssued, note), now(days=2)
            )
            == 2000
        )
        deposit = deposits.of_key(session, held)
        deposits.apply_deposit(session, deposit, row, 3000, now(days=3))

    assert told_of(shop, second) == [
        ("paid by a credit note", "C-00001", 20, ""),
        ("paid from a deposit", "D-00001", 30, ""),
    ]
    assert told_of(shop, first)[1:] == [("credit note set against", "I-00002", 20, "")]


def test_a_month_before_the_first_rate_tables_is_empty_and_reconciles(shop):
    made = report(shop, Month(2026, 9))
    assert made.reconciles
    assert made.codes == ()
