"""A year of the shop is the sum of its twelve months, whatever was done in it."""

from collections import Counter
from contextlib import suppress
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shop import DAY, Shop, now
from sqlalchemy import func, select

from quoting.domain.consent import Consent, How
from quoting.domain.errors import RuleError
from quoting.domain.invoice import Why
from quoting.domain.job import FreeLine, Job
from quoting.domain.month import Month
from quoting.store.models import DocumentIssued, Entry, Payment
from quoting.workflow import closing, debts, deposits, invoices, month, payments, quotes
from quoting.workflow.invoices import Credited

YEAR = 2027
FIRST, LAST = date(YEAR, 1, 1), date(YEAR, 12, 31)
LATER = date(YEAR + 1, 4, 1)

#: From weeks before the year to weeks after it.
days = st.dates(FIRST - timedelta(days=30), LAST + timedelta(days=30))
acts = st.sampled_from(["invoice", "invoice", "deposit", "pay", "credit", "give up"])
amounts = st.integers(1, 90_000)


@settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    events=st.lists(st.tuples(days, acts, amounts), min_size=4, max_size=24).map(
        sorted
    ),
    closed=st.integers(0, 12),
)
def test_a_year_is_the_sum_of_its_twelve_months(places, opened, events, closed):
    """Journal, documents and payments, each summed over the year by themselves.

    What stands in a month stays the same when months are closed, as balances are then
    taken from what was kept.
    """
    shop = Shop(opened(places.new("sqlite")))
    customer = shop.customer("Osgood Garage")
    for on, act, amount in events:
        with suppress(RuleError):  # lawfully refused, and nothing of it is kept
            _do(shop, act, amount, customer, now(days=(on - DAY).days))
    made = _months(shop)
    assert _together(made) == _year(shop)
    for earlier, later in pairwise(made):
        for name in ("debtors", "deposits", "tax"):
            ended = getattr(earlier.ledger, name).closing
            assert getattr(later.ledger, name).opening == ended
    _close(shop, closed)
    assert [each.ledger for each in _months(shop)] == [each.ledger for each in made]


def _do(shop, act, amount, customer, at):
    """Do one thing with the newest invoice, or make one."""
    with shop.database.transaction() as session:
        if act in ("invoice", "deposit"):
            price = Decimal(amount) / 100
            work = Job((), free=(FreeLine("work", amount=price),), propose=False)
            asked = [quotes.Asked("", work)]
            quote = quotes.save(session, quotes.About(customer_id=customer), asked, at)
            yes = Consent(by="Mabel Osgood", how=How.PHONE)
            quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
            if act == "deposit":
                deposits.take_deposit(session, quote, price / 2, "cash", at)
            invoices.issue(session, [quote], at)
            return
        row = session.scalars(
            select(DocumentIssued)
            .where(DocumentIssued.kind == "invoice")
            .order_by(DocumentIssued.left.desc())
            .limit(1)
        ).first()
        if row is None:
            return
        match act:
            case "pay":
                payments.pay(session, amount, "card", at, document=row)
            case "credit":
                what = Credited(amount=Decimal(amount) / 200)
                reason, because = Why.GOODWILL, "agreed"
                invoices.credit(session, row, what, at, reason=reason, because=because)
            case _:
                debts.settle_early(session, row, max(1, amount // 50), "early", at)
                debts.write_off(session, row, "gone away", at)
                debts.relief(session, row, "gone away", at)


def _months(shop):
    """Return the report of each month of the year."""
    with shop.database.reading() as session:
        return [
            month.report(session, Month(YEAR, number), LATER) for number in range(1, 13)
        ]


def _close(shop, count):
    """Close every month up to the year, and so many of it."""
    which = Month.of(DAY)
    while which < Month(YEAR, count + 1):
        with shop.database.transaction() as session:
            closing.close(session, which, now(days=(LATER - DAY).days))
        which = which.next


def _together(made):
    """Return the figures of the months added up, in the smallest unit."""
    sums = Counter()
    for each in made:
        ledger, moved = each.ledger, each.moved
        sums["debtors"] += ledger.debtors.change
        sums["deposits held"] -= ledger.deposits.change
        sums["output tax"] -= ledger.tax.change
        sums["income"] -= sum(ledger.income.values())
        sums["invoice, net"] += moved.invoiced_net
        sums["invoice, tax"] += moved.invoiced_tax
        sums["credit note, net"] += moved.credited_net
        sums["credit note, tax"] += moved.credited_tax
        sums["received"] += moved.received
        sums["by code, net"] += sum(row.net for row in each.codes)
        sums["by code, tax"] += sum(row.tax for row in each.codes)
    return {name: int(amount * 100) for name, amount in sums.items() if amount}


def _year(shop):
    """Return the same figures of the whole year, as plain sums of the records."""
    of, sums = DocumentIssued, Counter()
    with shop.database.reading() as session:
        roles = select(Entry.role, func.sum(Entry.amount)).group_by(Entry.role)
        for role, amount in session.execute(roles.where(_within(Entry.on))):
            if role in ("debtors", "deposits held", "output tax", "income"):
                sums[role] += int(amount)
        kinds = select(of.kind, func.sum(of.net), func.sum(of.tax)).group_by(of.kind)
        for kind, net, tax in session.execute(kinds.where(_within(of.on))):
            sign = -1 if kind == "credit note" else 1
            sums[f"{kind}, net"] += int(net)
            sums[f"{kind}, tax"] += int(tax)
            sums["by code, net"] += sign * int(net)
            sums["by code, tax"] += sign * int(tax)
        paid = select(func.sum(Payment.amount)).where(_within(Payment.on))
        sums["received"] += int(session.scalar(paid) or 0)
    return {name: amount for name, amount in sums.items() if amount}


def _within(column):
    return column.between(FIRST, LAST)
