"""The journal of one job to the cent, through every event that money can meet.

An invented job under two invented rates, 13.5 % and 23 %: a deposit that is taxed on
receipt, the invoice, a payment, the old unit handed in, a price credited, and a debt
written off. The sums are double entry and stand where they are worked out; they can be
followed with a pocket calculator. Tax in a deposit, in a debt written off and in what
was received is gross x rate / (100 + rate), as in HMRC Notice 700 section 3.6 (from
memory, not checked).
"""

import shutil
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from builders import RT1
from sqlalchemy import select

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Why
from quoting.domain.job import AskedPart, FreeLine, Job, Outwork
from quoting.domain.month import Month
from quoting.store.models import DocumentIssued, Entry
from quoting.workflow import (
    customers,
    debts,
    deposits,
    invoices,
    month,
    payments,
    quotes,
    rates,
    surcharges,
)
from quoting.workflow.invoices import Credited

#: Labour and outwork at the low rate, parts and surcharges at the high one.
TAXES = "code,label,authority,category,rate\n" + "".join(
    f"{code},{label},XA,S,{rate}\n"
    for label, rate, codes in (
        ("Low", "13.5", "LAB OUT FEE"),
        ("High", "23", "PAR SUR SUN"),
    )
    for code in codes.split()
)
#: A country where tax falls due when a deposit is received.
COUNTRY = """\
code,name,currency,deposit_tax,address,source,checked,as_of
XA,Ambria,XTS,receipt,street; town,invented,from memory,2026-01-01
"""
WORDING = """\
country,language,invoice,deposit_invoice,credit_note,tax,tax_number,source,checked,as_of
XA,en,Invoice,Deposit invoice,Credit note,Levy,Levy no.,invented,from memory,2026-01-01
"""
PART, CORE = "287.35", "150.00"


@pytest.fixture
def job(database, tmp_path):
    """Return the key of the quote that was said yes to, in a shop with these taxes."""
    folder = shutil.copytree(RT1, tmp_path / "rates")
    (folder / "tax" / "one_rate.csv").write_text(TAXES)
    settings = (folder / "shop.toml").read_text()
    for old, new in (
        ('sundries = "SUN"', 'sundries = "NONE"'),
        ('job_minimum = "45.00"', 'job_minimum = "0"'),
        ("outwork_markup = 15", "outwork_markup = 0"),
        ('terms = "RETAIL"', 'terms = "RETAIL"\ncountry = "XA"\nlanguage = "en"'),
    ):
        assert old in settings
        settings = settings.replace(old, new)
    (folder / "shop.toml").write_text(settings)
    (folder / "countries.csv").write_text(COUNTRY)
    (folder / "wording.csv").write_text(WORDING)
    start = at("2026-02-03")
    with database.transaction() as session:
        rates.bring_in(session, folder, at=start.at, who=start.who)
        whose = customers.save(
            session, customers.Details("Osgood Garage"), at=start.at, who=start.who
        )
        asked = Job(
            (),
            free=(FreeLine("Rebuild", amount=Decimal("412.50"), tax_code="LAB"),),
            parts=(
                AskedPart(
                    description="Exchange head", price=Decimal(PART), surcharge="CORE"
                ),
            ),
            outwork=(Outwork("Welding", Decimal("118.00")),),
            propose=False,
        )
        about = quotes.About(customer_id=whose.id)
        quote = quotes.save(session, about, [quotes.Asked("", asked)], start)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, start.at, start)
        return quote.id


def at(day):
    """Return who does something, at noon of a day."""
    on = date.fromisoformat(day)
    return quotes.Now("Ada", datetime(on.year, on.month, on.day, 12, tzinfo=UTC), on)


class Life:
    """What happens to the job, each in a transaction of its own."""

    def __init__(self, database, job):
        self.database, self.job, self.key = database, job, None

    def deposit(self):
        """Take 300.00 at the bank on 3 February."""
        with self.database.transaction() as session:
            quote = quotes.quote_of(session, self.job)
            amount = Decimal("300.00")
            deposits.take_deposit(session, quote, amount, "bank", at("2026-02-03"))

    def invoice(self):
        """Issue the invoice on 20 February."""
        with self.database.transaction() as session:
            quote = quotes.quote_of(session, self.job)
            self.key = invoices.issue(session, [quote], at("2026-02-20")).id

    def payment(self):
        """Receive 600.00 on 2 March."""
        with self.database.transaction() as session:
            row = session.get(DocumentIssued, self.key)
            payments.pay(session, 60_000, "bank", at("2026-03-02"), document=row)

    def old_unit(self):
        """Credit the surcharge on 5 March: the old unit was handed in."""
        self._credit("2026-03-05", "surcharge", Decimal(1), Why.RETURNED)

    def price(self):
        """Credit 20.00 of the part's price on 9 March."""
        self._credit("2026-03-09", "part", 20 / Decimal(PART), Why.PRICE)

    def _credit(self, on, kind, share, why):
        with self.database.transaction() as session:
            row = session.get(DocumentIssued, self.key)
            items = invoices.content(session, self.key).items
            [place] = [item.place for item in items if item.kind == kind]
            what = Credited(lines={place: share})
            invoices.credit(session, row, what, at(on), reason=why, because="agreed")

    def given_up(self):
        """Write the rest off on 30 September, and take its tax back."""
        with self.database.transaction() as session:
            row = session.get(DocumentIssued, self.key)
            debts.write_off(session, row, "gone away", at("2026-09-30"))
            debts.relief(session, row, "half a year on", at("2026-09-30"))

    def lapse(self):
        """Keep the surcharge on 5 March: no old unit came."""
        with self.database.transaction() as session:
            [held] = surcharges.held(session)
            surcharges.keep(session, held, "30 days are over", at("2026-03-05"))

    def journal(self):
        """Return each entry, in order: its day, event, and what it posts."""
        entries = {}
        with self.database.reading() as session:
            for row in session.scalars(select(Entry).order_by(Entry.id)):
                entry = entries.setdefault((f"{row.on:%d %b}", row.event), {})
                name = f"{row.role}, {row.detail}" if row.detail else str(row.role)
                assert name not in entry
                entry[name] = f"{Decimal(row.amount) / 100:.2f}"
        return [(*event, entry) for event, entry in entries.items()]

    def balances(self):
        """Return what each account comes to in the end, those at nothing left out."""
        sums = {}
        for _, _, entry in self.journal():
            for name, amount in entry.items():
                sums[name] = sums.get(name, 0) + Decimal(amount)
        return {name: str(amount) for name, amount in sums.items() if amount}


@pytest.fixture
def life(database, job):
    """Return the life of the job up to the payment."""
    life = Life(database, job)
    life.deposit()
    life.invoice()
    life.payment()
    return life


def test_the_journal_of_one_job_to_the_cent(life):
    """Debits are above nothing, credits below.

    412.50 + 118.00 = 530.50 at 13.5 % is 71.62; 287.35 + 150.00 = 437.35 at 23 % is
    100.59; together 1140.06. The deposit of 300.00 splits 602.12 : 537.94 into 158.44
    and 141.56, with 18.85 and 26.47 of tax in them, so 254.68 net. The invoice owes
    the rest of the tax, 52.77 and 74.12, and asks for 840.06.

    840.06 - 600.00 - 184.50 (150.00 and 34.50) - 24.60 (20.00 and 4.60) = 30.96, which
    is written off. Credits taken off, 602.12 stand at the low rate and 328.84 at the
    high one; 30.96 of 930.96 is 20.02 and 10.94, with 20.02 x 13.5/113.5 = 2.38 and
    10.94 x 23/123 = 2.05 of tax in them.
    """
    life.old_unit()
    life.price()
    life.given_up()
    assert life.journal() == [
        ("03 Feb", "deposit invoice", {
            "money, bank": "300.00", "deposits held": "-254.68",
            "output tax, Low": "-18.85", "output tax, High": "-26.47",
        }),
        ("20 Feb", "invoice", {
            "debtors": "840.06", "deposits held": "254.68",
            "income, labour": "-412.50", "income, outwork": "-118.00",
            "income, parts": "-287.35", "exchange surcharges held": "-150.00",
            "output tax, Low": "-52.77", "output tax, High": "-74.12",
        }),
        ("02 Mar", "payment", {"money, bank": "600.00", "debtors": "-600.00"}),
        ("05 Mar", "credit note", {
            "exchange surcharges held": "150.00", "output tax, High": "34.50",
            "debtors": "-184.50",
        }),
        ("09 Mar", "credit note", {
            "income, parts": "20.00", "output tax, High": "4.60", "debtors": "-24.60",
        }),
        ("30 Sep", "write-off", {"bad debts": "30.96", "debtors": "-30.96"}),
        ("30 Sep", "relief", {
            "output tax, Low": "2.38", "output tax, High": "2.05", "bad debts": "-4.43",
        }),
    ]  # fmt: skip


def test_the_tax_that_is_kept_is_that_in_the_money_received(life):
    """Nothing is owed or held any more; the bank has 300.00 and 600.00.

    Of the 900.00, 900 x 602.12 / 930.96 = 582.10 are at the low rate and 317.90 at the
    high one: 582.10 x 13.5/113.5 = 69.24 and 317.90 x 23/123 = 59.44 of tax. Sales are
    412.50 + 118.00 + 267.35 = 797.85; 900.00 - 69.24 - 59.44 = 797.85 - 26.53.
    """
    life.old_unit()
    life.price()
    life.given_up()
    assert life.balances() == {
        "money, bank": "900.00",
        "income, labour": "-412.50",
        "income, outwork": "-118.00",
        "income, parts": "-267.35",
        "output tax, Low": "-69.24",
        "output tax, High": "-59.44",
        "bad debts": "26.53",
    }


def test_a_surcharge_that_lapses_is_earned_without_new_tax(life):
    life.lapse()
    assert life.journal()[-1] == (
        "05 Mar",
        "surcharge kept",
        {"exchange surcharges held": "150.00", "income, surcharges kept": "-150.00"},
    )


def test_every_month_of_the_job_reconciles(life):
    life.old_unit()
    life.price()
    life.given_up()
    with life.database.reading() as session:
        for number in range(1, 13):
            made = month.report(session, Month(2026, number), date(2026, 12, 31))
            assert made.reconciles, made.month


def test_where_tax_is_due_on_receipt_the_job_ends_with_the_same_tax(life):
    """69.24 and 59.44 of the 900.00 that were received, by month.

    18.85 and 26.47 with the deposit. In March 600.00 more are there, and
    184.50 and 24.60 of the high rate are credited: 900.00 are split 602.12 : 328.84,
    so 582.10 and 317.90, with 69.24 and 59.44 of tax; less February's, 50.39 and 32.97.
    """
    life.old_unit()
    life.price()
    life.given_up()
    with life.database.reading() as session:
        made = [
            month.report(session, Month(2026, number), date(2026, 12, 31))
            for number in range(1, 13)
        ]
    by_month = {
        each.month.month: {label: tax for label, _, tax in each.cash_taxes}
        for each in made
        if each.cash_taxes
    }
    low, high = "Low, XA", "High, XA"
    assert by_month == {
        2: {low: Decimal("18.85"), high: Decimal("26.47")},
        3: {low: Decimal("50.39"), high: Decimal("32.97")},
    }
    accrual = {low: Decimal(0), high: Decimal(0)}
    for label, _, tax in (row for each in made for row in each.taxes):
        accrual[label] += tax
    assert accrual == {low: Decimal("69.24"), high: Decimal("59.44")}
