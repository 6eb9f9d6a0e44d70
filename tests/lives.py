"""Random lives of a shop's money: what is done, drawn as data, and done in order.

A life is a list of steps. What a step is about is chosen among what there is by then,
so most steps can be done; one that is refused leaves nothing.
"""

import shutil
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from builders import RT1
from shop import DAY, Shop, now
from sqlalchemy import select

from quoting.domain.consent import Consent, How
from quoting.domain.errors import ProblemsError, RuleError
from quoting.domain.invoice import Kind, Why
from quoting.domain.job import AskedPart, FreeLine, Job, Outwork
from quoting.domain.tax import to_pay_in_cash
from quoting.store.models import (
    DocumentIssued,
    OrderInvoiced,
    Payment,
    Quote,
    SurchargeHeld,
)
from quoting.workflow import (
    debts,
    deposits,
    invoices,
    payments,
    quotes,
    rates,
    surcharges,
    till,
)
from quoting.workflow.invoices import Credited

#: Labour at one rate; parts and surcharges at two, the second one on the first as well.
TAXES = """\
code,label,authority,category,rate,order,base,reason
LAB,Low,XA,S,13.5,1,net,
OUT,Low,XA,S,13.5,1,net,
FEE,Low,XA,S,13.5,1,net,
SUN,Low,XA,S,13.5,1,net,
PAR,Union,XA,S,5,1,net,
PAR,Isle,XB,S,9.975,2,net_and_prior,
SUR,Union,XA,S,5,1,net,
SUR,Isle,XB,S,9.975,2,net_and_prior,
EXEMPT,Not taxed,XA,E,0,1,net,exempt
"""
COUNTRY = """\
code,name,currency,deposit_tax,address,source,checked,as_of
XA,Ambria,{currency},receipt,street; town,invented,from memory,2026-01-01
"""
WORDING = """\
country,language,invoice,deposit_invoice,credit_note,tax,tax_number,source,checked,as_of
XA,en,Invoice,Deposit invoice,Credit note,Levy,Levy no.,invented,from memory,2026-01-01
"""


class Place(NamedTuple):
    """Where a shop is: its money, and how it rounds and taxes."""

    currency: str
    digits: int
    cash_step: str
    inclusive: bool = False
    on_receipt: bool = False


class Step(NamedTuple):
    """Something that is done.

    Attributes:
        wait: days after the step before.
        act: what; the name of a method of ``Life``.
        which: chooses among what there is.
        part: thousandths of the most that could be taken.
    """

    wait: int
    act: str
    which: int
    part: int


def shop_in(place, database):
    """Return a shop in a place, in empty records."""
    with TemporaryDirectory() as name:
        folder = Path(shutil.copytree(RT1, Path(name) / "rates"))
        (folder / "tax" / "one_rate.csv").write_text(TAXES)
        (folder / "tax" / "one_rate.toml").write_text(
            f"inclusive = {str(place.inclusive).lower()}\n"
            f"cash_step = {place.cash_step}\n"
        )
        settings = (folder / "shop.toml").read_text()
        held = "part_payment" if place.on_receipt else "security"
        for old, new in (
            ('"XTS"', f'"{place.currency}"'),
            ("digits = 2", f"digits = {place.digits}"),
            (
                'terms = "RETAIL"',
                'terms = "RETAIL"\ncountry = "XA"\nlanguage = "en"\n'
                f'deposits = "{held}"',
            ),
        ):
            assert old in settings
            settings = settings.replace(old, new)
        (folder / "shop.toml").write_text(settings)
        (folder / "countries.csv").write_text(COUNTRY.format(currency=place.currency))
        (folder / "wording.csv").write_text(WORDING)
        return Shop(database, folder)


class Life:
    """What happens to a shop, in one transaction."""

    def __init__(self, session, customers):
        self.session, self.customers = session, customers
        self.edition = rates.in_force(session, DAY).edition
        self.days = 0
        self.done = []

    @property
    def now(self):
        """Return who does something, and when."""
        return now(days=self.days)

    @property
    def today(self):
        """Return the shop's day."""
        return DAY + timedelta(days=self.days)

    def live(self, steps):
        """Do one step after the other; ``done`` says which were."""
        for step in steps:
            self.days += step.wait
            with suppress(RuleError, ProblemsError), self.session.begin_nested():
                getattr(self, step.act)(step.which, step.part)
                self.done.append(step.act)

    # What there is.

    def _one(self, which, query):
        found = self.session.scalars(query).all()
        if not found:
            raise NothingThereError
        return found[which % len(found)]

    def _open(self, which, kind=Kind.INVOICE):
        of = DocumentIssued
        query = select(of).where(of.kind == kind, of.left > 0).order_by(of.id)
        return self._one(which, query)

    def _invoice(self, which):
        of = DocumentIssued
        query = select(of).where(of.kind == Kind.INVOICE).order_by(of.id)
        return self._one(which, query)

    def _waiting(self):
        """Return the quotes whose work was never invoiced."""
        done = select(OrderInvoiced.quote_id)
        query = select(Quote).where(Quote.id.not_in(done)).order_by(Quote.id)
        found = self.session.scalars(query).all()
        if not found:
            raise NothingThereError
        return found

    def _deposit(self, which):
        held = deposits.held(self.session)
        if not held:
            raise NothingThereError
        return held[which % len(held)]

    # What is done. Each takes ``which`` and ``part`` of a step.

    def agree(self, which, part):
        """Save a quote, with an exchange surcharge now and then, and the yes to it."""
        unit = self.edition.currency.unit
        job = Job(
            (),
            free=(
                FreeLine("Rebuild", amount=(part * 83 + 7) * unit, tax_code="LAB"),
                FreeLine("Gasket", amount=(part * 11 + 1) * unit, tax_code="PAR"),
            ),
            parts=(
                AskedPart(
                    description="Exchange head",
                    price=(part * 29 + 3) * unit,
                    surcharge="CORE" if which % 2 else "",
                ),
            )
            if which % 3
            else (),
            outwork=(Outwork("Welding", (part * 5 + 1) * unit),) if which % 5 else (),
            propose=False,
        )
        about = quotes.About(customer_id=self.customers[which % len(self.customers)])
        quote = quotes.save(self.session, about, [quotes.Asked("", job)], self.now)
        yes = Consent(by="Mabel Osgood", how=How.PHONE)
        quotes.accept(self.session, quote, quote.version, 1, yes, self.now.at, self.now)

    def take_deposit(self, which, part):
        """Take up to a half more than the job comes to."""
        waiting = self._waiting()
        quote = waiting[which % len(waiting)]
        most = quote.revisions[-1].ways[0].total * 3 // 2
        amount = self.edition.currency.from_minor(max(1, most * part // 1000))
        deposits.take_deposit(
            self.session, quote, amount, ("cash", "card")[which % 2], self.now
        )

    def invoice(self, which, _part):
        """Invoice a job; now and then all that waits of its customer together."""
        waiting = self._waiting()
        quote = waiting[which % len(waiting)]
        of = [quote]
        if which % 4 == 0:
            of = [row for row in waiting if row.customer_id == quote.customer_id]
        invoices.issue(self.session, of, self.now, deposits=which % 7 != 0)

    def invoice_again(self, which, _part):
        """Invoice a job again, which is refused unless all of it was credited."""
        done = select(OrderInvoiced.quote_id)
        query = select(Quote).where(Quote.id.in_(done)).order_by(Quote.id)
        invoices.issue(self.session, [self._one(which, query)], self.now)

    def pay(self, which, part):
        """Pay a part or, from two thirds on, more than is owed on an invoice."""
        row = self._open(which)
        amount = max(1, row.left * part * 3 // 2000)
        payments.pay(self.session, amount, "card", self.now, document=row)

    def pay_in_cash(self, which, _part):
        """Pay an invoice in full, rounded to the coins there are."""
        row = self._open(which)
        currency = self.edition.currency
        due = to_pay_in_cash(currency.from_minor(row.left), self.edition.policy)
        payments.pay(
            self.session, currency.to_minor(due), "cash", self.now, document=row
        )

    def pay_by_hand(self, which, part):
        """Say which invoice is paid, perhaps not the oldest; keep some on account."""
        row = self._open(which)
        amount = max(1, row.left * part // 1000)
        payments.pay(
            self.session,
            amount + which,
            "bank transfer",
            self.now,
            customer_id=row.customer_id,
            by_hand={row.number: amount},
        )

    def _credit(self, row, what):
        return invoices.credit(
            self.session, row, what, self.now, reason=Why.PRICE, because="agreed"
        )

    def credit_all(self, which, _part):
        """Credit all that is left of an invoice."""
        self._credit(self._invoice(which), Credited())

    def credit_amount(self, which, part):
        """Credit up to half of an invoice."""
        row = self._invoice(which)
        amount = self.edition.currency.from_minor(max(1, row.gross * part // 2000))
        self._credit(row, Credited(amount=amount))

    def credit_line(self, which, part):
        """Credit a line, sometimes without its tax."""
        row = self._invoice(which)
        items = invoices.content(self.session, row.id).items
        place = items[part % len(items)].place
        share = Decimal(part or 1) / 1000
        keep = frozenset([place] if which % 5 == 0 else [])
        self._credit(row, Credited(lines={place: share}, keep_tax=keep))

    def refund(self, which, part):
        """Pay a credit note back, or money on account."""
        row = self._credit_left(which)
        amount = max(1, row.left * part // 1000)
        payments.refund(self.session, row, amount, "card", "asked for it", self.now)

    def set_against(self, which, _part):
        """Set a credit note or money on account against what is owed."""
        payments.set_against(self.session, self._credit_left(which), self.now)

    def _credit_left(self, which):
        if which % 2:
            return self._open(which // 2, Kind.CREDIT)
        query = select(Payment).where(Payment.left > 0).order_by(Payment.id)
        return self._one(which // 2, query)

    def write_off(self, which, _part):
        """Give a debt up, and take the tax in it back."""
        row = self._open(which)
        debts.write_off(self.session, row, "gone away", self.now)
        debts.relief(self.session, row, "half a year on", self.now)

    def settle_early(self, which, part):
        """Let up to 5 % of what is owed go for paying early."""
        row = self._open(which)
        gross = max(1, row.left * part // 20_000)
        debts.settle_early(self.session, row, gross, "paid early", self.now)

    def pay_deposit_back(self, which, part):
        """Pay a deposit back, or a part of it."""
        row = self._deposit(which)
        gross = max(1, row.held * part // 1000)
        deposits.pay_deposit_back(
            self.session, row, gross, "cash", "cheaper job", self.now
        )

    def keep_deposit(self, which, part):
        """Keep a deposit, or a part of it, taxed or not."""
        row = self._deposit(which)
        gross = max(1, row.held * part // 1000)
        deposits.keep_deposit(
            self.session, row, gross, "never came", self.now, taxed=which % 3 != 0
        )

    def move_deposit(self, which, part):
        """Hold a deposit for another job of the same customer."""
        row = self._deposit(which)
        whose = [
            quote
            for quote in self._waiting()
            if quote.customer_id == row.quote.customer_id and quote.id != row.quote_id
        ]
        if not whose:
            raise NothingThereError
        to = whose[part % len(whose)].number
        deposits.move_deposit(self.session, row, to, "same customer", self.now)

    def apply_deposit(self, which, part):
        """Pay an invoice from an untaxed deposit."""
        row = self._open(which)
        held = deposits.held_for(self.session, row)
        if not held:
            raise NothingThereError
        taken = held[part % len(held)]
        most = min(taken.held, row.left)
        gross = max(1, most * part // 1000)
        deposits.apply_deposit(self.session, taken, row, gross, self.now)

    def _surcharge(self, which):
        of = SurchargeHeld
        return self._one(which, select(of).where(of.held > 0).order_by(of.id))

    def return_old_unit(self, which, part):
        """Credit an exchange surcharge, in whole or in part."""
        held = self._surcharge(which)
        row = self.session.get(DocumentIssued, held.document_id)
        share = Decimal(1) if which % 2 else Decimal(part or 1) / 1000
        self._credit(row, Credited(lines={held.place: share}))

    def keep_surcharge(self, which, _part):
        """Keep an exchange surcharge."""
        surcharges.keep(self.session, self._surcharge(which), "cracked", self.now)

    def count_cash(self, which, part):
        """Count the till, a little more or less than expected; bank some of it."""
        lies = max(0, till.expected_cash(self.session) + which % 5 - 2)
        till.count_cash(self.session, lies, lies * part // 1000, "miscounted", self.now)

    def settle(self):
        """Let everything that is open or held be settled."""
        of = DocumentIssued
        for deposit in deposits.held(self.session):
            deposits.pay_deposit_back(
                self.session, deposit, deposit.held, "card", "closing", self.now
            )
        for row in self.session.scalars(select(of).where(of.left > 0).order_by(of.id)):
            if row.kind == Kind.INVOICE:
                payments.pay(self.session, row.left, "card", self.now, document=row)
            else:
                payments.refund(
                    self.session, row, row.left, "card", "closing", self.now
                )
        for row in self.session.scalars(select(Payment).where(Payment.left > 0)):
            payments.refund(self.session, row, row.left, "card", "closing", self.now)
        for held in surcharges.held(self.session):
            surcharges.keep(self.session, held, "closing", self.now)


class NothingThereError(RuleError):
    """There is nothing yet that a step could be about."""

    message = "nothing there"


#: What is done, as often as it stands here.
ACTS = (
    *["agree", "invoice"] * 3,
    "invoice_again",
    *["take_deposit", "pay"] * 2,
    "pay_in_cash", "pay_by_hand", "credit_all", "credit_amount", "credit_line",
    *["refund"] * 2, "set_against", "write_off", "settle_early", "pay_deposit_back",
    "keep_deposit", "move_deposit", "apply_deposit", "return_old_unit",
    "keep_surcharge", "count_cash",
)  # fmt: skip
