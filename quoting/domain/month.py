"""The month: its figures, and the identities that tell whether they reconcile.

Pure. The figures come twice, from the documents and payments themselves and from the
journal; an identity sets one beside the other. Amounts are Decimal in one currency.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.ageing import Aged, Owed, Since, aged
from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import ZERO, Currency


class UnreadableMonthError(RuleError):
    """A month is written in no way that is read."""

    message = translatable("{text!r} is no month; write it like 2026-10.")


class MonthLockedError(RuleError):
    """Something would change a month that is closed."""

    message = translatable(
        "{month} is closed. Correct it in the open month, referring back, or let the "
        "owner reopen {month} by name and with a reason."
    )


class OpenMonthError(RuleError):
    """A month cannot be closed yet."""

    message = translatable("{month} is not over yet; it can be closed from {first} on.")


class NotClosedError(RuleError):
    """A month that is not closed cannot be reopened."""

    message = translatable("{month} is not closed.")


class EarlierOpenError(RuleError):
    """Months are closed one after the other, and reopened the last one first."""

    message = translatable("{other} comes first: months lock and open in their order.")


class Month(NamedTuple):
    """A calendar month of the shop.

    >>> month = Month.read("2026-10")
    >>> str(month), month.last.isoformat(), str(month.next)
    ('2026-10', '2026-10-31', '2026-11')
    """

    year: int
    month: int

    @classmethod
    def of(cls, day: date) -> "Month":
        """Return the month of a day."""
        return cls(day.year, day.month)

    @classmethod
    def read(cls, text: str) -> "Month":
        """Return the month that a text writes.

        Raises:
            UnreadableMonthError: it is none.
        """
        try:
            return cls.of(date.fromisoformat(f"{text.strip()}-01"))
        except ValueError:
            raise UnreadableMonthError(text=text) from None

    @property
    def first(self) -> date:
        """Return its first day."""
        return date(self.year, self.month, 1)

    @property
    def last(self) -> date:
        """Return its last day."""
        return self.next.first - timedelta(days=1)

    @property
    def next(self) -> "Month":
        """Return the month after it."""
        return Month(self.year + self.month // 12, self.month % 12 + 1)

    def __str__(self) -> str:
        return f"{self.year:04}-{self.month:02}"


# What the accountant reads.


class Sales(NamedTuple):
    """What was invoiced and credited under one tax code.

    Attributes:
        label: the code.
        invoiced_net, invoiced_tax: on invoices.
        credited_net, credited_tax: on their credit notes.
        deposit_net, deposit_tax: deposits on which tax fell due when they came, less
            what of such was paid back or taken off invoices.
    """

    label: str
    invoiced_net: Decimal = ZERO
    invoiced_tax: Decimal = ZERO
    credited_net: Decimal = ZERO
    credited_tax: Decimal = ZERO
    deposit_net: Decimal = ZERO
    deposit_tax: Decimal = ZERO

    @property
    def net(self) -> Decimal:
        """Return what is left before tax."""
        return self.invoiced_net - self.credited_net + self.deposit_net

    @property
    def tax(self) -> Decimal:
        """Return the tax on it."""
        return self.invoiced_tax - self.credited_tax + self.deposit_tax

    @property
    def gross(self) -> Decimal:
        """Return both together."""
        return self.net + self.tax


class Range(NamedTuple):
    """The numbers of one series that the month used.

    ``missing`` are those between its first and last, and between the last one of
    before and its first.
    """

    series: str
    first: str
    last: str
    used: int
    missing: tuple[str, ...]


class Balance(NamedTuple):
    """What something held was worth when the month began, and when it ended."""

    opening: Decimal = ZERO
    closing: Decimal = ZERO

    @property
    def change(self) -> Decimal:
        """Return by how much it grew."""
        return self.closing - self.opening


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxMoved:
    """One tax by its label: balances of the journal, and what the documents say.

    Attributes:
        balance: what was owed of it; above nothing: to the authority.
        invoiced, credited: on invoices and their credit notes.
        deposits: on deposits taxed on receipt, less those paid back.
        before: on invoices, what had fallen due with deposits.
        otherwise: as posted for deposits kept, discounts for paying early and relief;
            their sums over all taxes are checked against what was kept and given up.
    """

    balance: Balance = Balance()
    invoiced: Decimal = ZERO
    credited: Decimal = ZERO
    deposits: Decimal = ZERO
    before: Decimal = ZERO
    otherwise: Decimal = ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """What the journal has of a month: balances and movements, debits positive.

    Attributes:
        debtors, deposits, surcharges, tax: balances as amounts owed to the shop or
            held by it: deposits, surcharges and tax with their credit as positive.
        entries: how many there are.
        income: what was earned, by group; discounts below nothing.
        entries_out: the entries whose debits and credits differ.
    """

    debtors: Balance = Balance()
    deposits: Balance = Balance()
    surcharges: Balance = Balance()
    tax: Balance = Balance()
    income: Mapping[str, Decimal] = field(default_factory=dict)
    entries: int = 0
    entries_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Movements:
    """What documents, payments and deposits themselves say of a month.

    Every amount is above nothing when the usual thing happened.

    Attributes:
        invoiced: gross of invoices, deposit invoices excepted.
        invoiced_net, invoiced_tax: of them.
        credited, credited_net, credited_tax: of credit notes, those of deposit
            invoices excepted.
        deposit_net, deposit_tax: of deposit invoices less their credit notes.
        received: from customers, deposits excepted.
        refunded: to customers, deposits excepted.
        rounding: settled by rounding to the cash step.
        written_off: gross.
        settlement: discounts for early payment, gross; settlement_tax: tax in them.
        relief: tax taken back for debts that were written off.
        deposits_received, deposits_applied, deposits_refunded, deposits_kept: gross.
        deposits_applied_tax: tax in those applied that fell due on receipt.
        deposits_kept_tax: tax that fell due when they were kept.
        deposits_kept_net: earned by keeping them; deposits_kept_untaxed: of that, by
            keeping those on which no tax had fallen due.
        deposits_tax_before: tax in those kept that fell due on receipt.
        deposits_taxed: what was held at both ends of those on which tax had fallen due
            when they came, net.
        surcharges_charged, surcharges_returned, surcharges_kept: net.
        income: nets of document lines by group, credits taken off.
        tax_nets: sum of the nets by tax code, as ``Sales.net``.
        tax_by_code: sum of their taxes.
        lines_net, lines_tax: sum of the lines of all documents, credits taken off.
        documents: how many there are.
        lines_out, taxes_out, totals_out: numbers of documents whose lines do not add up
            to their net, whose tax rows do not add up to their tax, whose net and tax
            are not their gross.
        days: gross of all documents by day, credits taken off.
        taxes: by label of the tax.
        open_items: what the single documents leave owed at the end of the month, less
            open credits and money not set against any.
        deposits_open: what the single deposits leave held, net where taxed on receipt.
        surcharges_open: what the single exchange surcharges leave held, net.
    """

    invoiced: Decimal = ZERO
    invoiced_net: Decimal = ZERO
    invoiced_tax: Decimal = ZERO
    credited: Decimal = ZERO
    credited_net: Decimal = ZERO
    credited_tax: Decimal = ZERO
    deposit_net: Decimal = ZERO
    deposit_tax: Decimal = ZERO
    received: Decimal = ZERO
    refunded: Decimal = ZERO
    rounding: Decimal = ZERO
    written_off: Decimal = ZERO
    settlement: Decimal = ZERO
    settlement_tax: Decimal = ZERO
    relief: Decimal = ZERO
    deposits_received: Decimal = ZERO
    deposits_applied: Decimal = ZERO
    deposits_refunded: Decimal = ZERO
    deposits_kept: Decimal = ZERO
    deposits_applied_tax: Decimal = ZERO
    deposits_kept_tax: Decimal = ZERO
    deposits_kept_net: Decimal = ZERO
    deposits_kept_untaxed: Decimal = ZERO
    deposits_tax_before: Decimal = ZERO
    deposits_taxed: Balance = Balance()
    surcharges_charged: Decimal = ZERO
    surcharges_returned: Decimal = ZERO
    surcharges_kept: Decimal = ZERO
    income: Mapping[str, Decimal] = field(default_factory=dict)
    tax_nets: Decimal = ZERO
    tax_by_code: Decimal = ZERO
    lines_net: Decimal = ZERO
    lines_tax: Decimal = ZERO
    documents: int = 0
    lines_out: tuple[str, ...] = ()
    taxes_out: tuple[str, ...] = ()
    totals_out: tuple[str, ...] = ()
    days: Mapping[date, Decimal] = field(default_factory=dict)
    taxes: Mapping[str, TaxMoved] = field(default_factory=dict)
    open_items: Decimal = ZERO
    deposits_open: Decimal = ZERO
    surcharges_open: Decimal = ZERO


class Check(NamedTuple):
    """An identity: two figures that must be the same, and what each is made of.

    ``counts`` tells that the figures are how many there are, and no amounts.
    """

    name: str
    left: Decimal
    right: Decimal
    terms: tuple[tuple[str, Decimal], ...]
    counts: bool = False

    @property
    def holds(self) -> bool:
        """Tell whether they are the same."""
        return self.left == self.right

    @property
    def out(self) -> Decimal:
        """Return by how much they differ."""
        return self.left - self.right


def checks(
    ledger: Ledger, moved: Movements, ranges: Sequence[Range] = ()
) -> tuple[Check, ...]:
    """Return every identity of a month, whether it holds or not.

    The left side of each comes from the journal or the closing balances, the right
    side from the documents, payments and deposits themselves.

    Source:
        Double entry: closing = opening + movements, for each control account. Numbers
        without gaps: Council Directive 2006/112/EC, Art. 226(2).
    """
    return (
        *_sales(ledger, moved),
        *_documents(moved),
        *_control_accounts(ledger, moved),
        *(_tax(label, tax) for label, tax in sorted(moved.taxes.items())),
        _count("every entry balances", "entries", ledger.entries, ledger.entries_out),
        *(
            _count(
                f"numbers without a gap: {each.series}",
                f"from the one after the last of before to {each.last}",
                each.used + len(each.missing),
                each.missing,
            )
            for each in ranges
        ),
    )


def _sales(ledger: Ledger, m: Movements) -> Iterable[Check]:
    earned = sum(ledger.income.values(), ZERO)
    kept_and_let_go = {"settlement discounts": m.settlement_tax - m.settlement}
    yield _check(
        "income, change of surcharges and of taxed deposits = net sales by tax code",
        earned + ledger.surcharges.change + m.deposits_taxed.change,
        {
            "net sales by tax code": m.tax_nets,
            "deposits kept that were not taxed": m.deposits_kept_untaxed,
            **kept_and_let_go,
        },
    )
    yield _check(
        "lines = documents, before tax",
        m.lines_net,
        {"invoiced": m.invoiced_net, "credited": -m.credited_net},
    )
    yield _check(
        "lines = documents, tax",
        m.lines_tax,
        {"invoiced": m.invoiced_tax, "credited": -m.credited_tax},
    )
    yield _check(
        "tax by code = documents",
        m.tax_by_code,
        {
            "invoiced": m.invoiced_tax,
            "credited": -m.credited_tax,
            "on deposits": m.deposit_tax,
            "in deposits applied": -m.deposits_applied_tax,
        },
    )
    yield _check(
        "income by group = lines",
        earned + ledger.surcharges.change,
        {
            **{f"lines: {group}": net for group, net in m.income.items()},
            "deposits kept": m.deposits_kept_net,
            **kept_and_let_go,
        },
    )


def _documents(m: Movements) -> Iterable[Check]:
    for name, out in (
        ("each document: lines = net", m.lines_out),
        ("each document: rows of tax = tax", m.taxes_out),
        ("each document: net and tax = gross", m.totals_out),
    ):
        yield _count(name, "documents", m.documents, out)
    yield _check(
        "the days = the month",
        m.invoiced - m.credited + m.deposit_net + m.deposit_tax,
        {day.isoformat(): gross for day, gross in sorted(m.days.items())},
    )


def _control_accounts(ledger: Ledger, m: Movements) -> Iterable[Check]:
    yield _check(
        "debtors",
        ledger.debtors.closing,
        {
            "opening": ledger.debtors.opening,
            "invoiced": m.invoiced,
            "deposits applied": -m.deposits_applied,
            "credited": -m.credited,
            "received": -m.received,
            "refunded": m.refunded,
            "cash rounding": -m.rounding,
            "settlement discounts": -m.settlement,
            "written off": -m.written_off,
        },
    )
    yield _check(
        "debtors = what single documents leave open",
        ledger.debtors.closing,
        {"open documents, less open credits and money on account": m.open_items},
    )
    yield _check(
        "deposits held",
        ledger.deposits.closing,
        {
            "opening": ledger.deposits.opening,
            "received": m.deposits_received,
            "tax due on receipt": -m.deposit_tax,
            "applied": -m.deposits_applied,
            "tax in those applied": m.deposits_applied_tax,
            "paid back": -m.deposits_refunded,
            "kept": -m.deposits_kept,
            "tax in those kept, due before": m.deposits_tax_before,
        },
    )
    yield _check(
        "deposits held = single deposits",
        ledger.deposits.closing,
        {"what the single deposits leave": m.deposits_open},
    )
    yield _check(
        "exchange surcharges held",
        ledger.surcharges.closing,
        {
            "opening": ledger.surcharges.opening,
            "charged": m.surcharges_charged,
            "returned": -m.surcharges_returned,
            "kept": -m.surcharges_kept,
        },
    )
    yield _check(
        "exchange surcharges held = single surcharges",
        ledger.surcharges.closing,
        {"what the single surcharges leave": m.surcharges_open},
    )
    yield _check(
        "output tax",
        ledger.tax.closing,
        {
            "opening": ledger.tax.opening,
            "on invoices": m.invoiced_tax,
            "on credit notes": -m.credited_tax,
            "on deposits": m.deposit_tax,
            "in deposits applied": -m.deposits_applied_tax,
            "on deposits kept": m.deposits_kept_tax,
            "in settlement discounts": -m.settlement_tax,
            "relief": -m.relief,
        },
    )


def _tax(label: str, tax: TaxMoved) -> Check:
    return _check(
        f"output tax: {label}",
        tax.balance.closing,
        {
            "opening": tax.balance.opening,
            "on invoices": tax.invoiced,
            "on credit notes": -tax.credited,
            "on deposits": tax.deposits,
            "in deposits applied": -tax.before,
            "kept, let go and relieved, as posted": tax.otherwise,
        },
    )


def _check(name: str, left: Decimal, terms: Mapping[str, Decimal]) -> Check:
    return Check(name, left, sum(terms.values(), ZERO), tuple(terms.items()))


def _count(name: str, what: str, many: int, out: Sequence[str]) -> Check:
    """Return how many of something are in order, beside how many there are."""
    terms = ((what, Decimal(many)), *((number, ZERO) for number in out))
    return Check(name, Decimal(many - len(out)), Decimal(many), terms, counts=True)


def reconciles(made: Iterable[Check]) -> bool:
    """Tell whether every identity holds."""
    return all(check.holds for check in made)


class Row(NamedTuple):
    """A row of a list in the report: what it is, whose, since when, how much.

    ``by`` is the day by which it is to be paid, where it is.
    """

    what: str
    who: str
    on: date | None
    amount: Decimal
    note: str = ""
    by: date | None = None


class Money(NamedTuple):
    """What came in and went out by one method."""

    method: str
    received: Decimal
    paid_back: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """The month as the accountant reads it; amounts in *currency*.

    Attributes:
        codes: sales by tax code.
        taxes: label, base and tax of each authority's rates, as they fall due.
        cash_taxes: the same on the basis of what was received.
        income: nets by group.
        reasons: credit notes by reason: how many, and their gross.
        money: what came in and went out, by method.
        owed: what customers owe, document by document.
        credits: open credit notes and money on account.
        deposits: what is held for jobs.
        surcharges: exchange surcharges held.
        work: orders not invoiced: what was said yes to.
        given_up: debts written off, relieved, or let go for paying early.
        exempt: what was invoiced without tax, with reason and certificate.
        till: the till as it was counted: what was there more or less than expected.
        ranges: the numbers used.
        checks: every identity.
        corrected: documents of this month that correct one of an earlier month.
    """

    month: Month
    currency: Currency
    closed: bool
    codes: tuple[Sales, ...] = ()
    taxes: tuple[tuple[str, Decimal, Decimal], ...] = ()
    cash_taxes: tuple[tuple[str, Decimal, Decimal], ...] = ()
    income: Mapping[str, Decimal] = field(default_factory=dict)
    reasons: tuple[tuple[str, int, Decimal], ...] = ()
    money: tuple[Money, ...] = ()
    owed: tuple[Row, ...] = ()
    credits: tuple[Row, ...] = ()
    deposits: tuple[Row, ...] = ()
    surcharges: tuple[Row, ...] = ()
    work: tuple[Row, ...] = ()
    given_up: tuple[Row, ...] = ()
    exempt: tuple[Row, ...] = ()
    till: tuple[Row, ...] = ()
    ranges: tuple[Range, ...] = ()
    ledger: Ledger
    moved: Movements
    checks: tuple[Check, ...]
    corrected: tuple[Row, ...] = ()

    @property
    def reconciles(self) -> bool:
        """Tell whether every identity holds."""
        return reconciles(self.checks)

    def aged(self, since: Since) -> Mapping[str, Aged]:
        """Return by customer what is owed by age on the last day of the month."""
        owed = [
            Owed(row.what, row.who, row.on or self.month.last, row.by, row.amount)
            for row in self.owed
        ]
        unused = [(row.who, row.amount) for row in self.credits]
        return aged(owed, unused, self.month.last, since)

    def ages(self, since: Since) -> Aged:
        """Return what all customers owe together, by age."""
        return sum(self.aged(since).values(), Aged())
