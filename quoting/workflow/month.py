"""The month: gathered from the records, checked, closed, reopened.

Sums are made by the database, in the smallest unit; they are set beside each other in
``domain.month``. What a balance was when a month was closed is kept, so a month costs
what its own rows cost, however many years stand before it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from sqlalchemy import Executable, and_, case, func, or_, select, union_all
from sqlalchemy.orm import Session, aliased

from quoting.domain.cash_basis import TaxKey, add
from quoting.domain.edition import Edition
from quoting.domain.invoice import Kind
from quoting.domain.journal import Role
from quoting.domain.money import ZERO, Currency
from quoting.domain.month import (
    Balance,
    Ledger,
    Money,
    Month,
    Movements,
    Report,
    Row,
    Sales,
    TaxMoved,
    checks,
)
from quoting.store.models import (
    AccountName,
    Allocation,
    CashCount,
    DepositMoved,
    DepositTaken,
    DocumentCode,
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    Entry,
    GivenUp,
    MonthBalance,
    Payment,
    SurchargeHeld,
)
from quoting.workflow import as_at, cash_basis, journal, number_gaps, rates
from quoting.workflow.debts import GaveUp
from quoting.workflow.deposits import APPLIED, KEPT, PAID_BACK
from quoting.workflow.quotes import Now, note


def report(session: Session, month: Month, today: date) -> Report:
    """Return a month as the accountant reads it.

    Args:
        session: to read from.
        month: over or still running.
        today: the shop's day.

    Raises:
        NoEditionError: the shop has no rate tables, so no currency.
    """
    currency = edition_on(session, month, today).currency
    return _Gather(session, month, currency).report()


def edition_on(session: Session, month: Month, today: date) -> Edition:
    """Return the edition at the end of a month, or today's for one before the first.

    Raises:
        NoEditionError: the shop has no rate tables.
    """
    try:
        return rates.in_force(session, min(month.last, today)).edition
    except rates.NoEditionError:
        return rates.in_force(session, today).edition


class _Posted(NamedTuple):
    """What a month's journal has of one kind of line, in the smallest unit."""

    role: str
    detail: str
    authority: str
    category: str
    rate: str
    event: str
    amount: int
    base: int
    into: int
    out: int


class _Lines(NamedTuple):
    """What the lines of a month's documents come to.

    Attributes:
        income: net by income group, less what was credited.
        tax: of all of them, less what was credited.
        charged: exchange surcharges on invoices, net.
        returned: exchange surcharges on credit notes, net.
    """

    income: Mapping[str, Decimal]
    tax: Decimal
    charged: Decimal
    returned: Decimal


class _Gather:
    """One month's figures out of the records."""

    def __init__(self, session: Session, month: Month, currency: Currency) -> None:
        self.session = session
        self.month = month
        self.currency = currency
        self.first, self.last = month.first, month.last

    def report(self) -> Report:
        posted = self._posted()
        opening = balances(self.session, self.first, self.currency.code)
        ledger = self._ledger(posted, opening)
        owed, unused = self._owed(), self._credits()
        which = self.session, self.month, self.currency
        deposits, surcharges = as_at.deposits(*which), as_at.surcharges(*which)
        codes = self._codes()
        moved = replace(
            self._movements(owed, unused, deposits, surcharges, codes),
            taxes=self._taxes_moved(posted, opening),
        )
        ranges = number_gaps.used(self.session, self.month)
        closed = journal.last_closed(self.session)
        return Report(
            month=self.month,
            currency=self.currency,
            closed=closed is not None and self.month <= closed,
            codes=codes,
            taxes=self._taxes(posted),
            cash_taxes=self._cash_taxes(posted),
            income=ledger.income,
            reasons=self._reasons(),
            money=self._money_by_method(posted),
            owed=owed,
            credits=unused,
            deposits=deposits,
            surcharges=surcharges,
            work=as_at.work(*which, deposits),
            given_up=self._given_up(),
            exempt=self._exempt(),
            till=self._till(),
            ranges=ranges,
            ledger=ledger,
            moved=moved,
            checks=checks(ledger, moved, ranges),
            corrected=self._corrected(),
        )

    # Small tools.

    def _money(self, minor: int | Decimal | None) -> Decimal:
        return self.currency.from_minor(int(minor or 0))

    def _rows(self, query: Executable) -> Sequence[Any]:
        return self.session.execute(query).all()

    def _within(self, day: Any) -> Any:
        return day.between(self.first, self.last)

    def _sum(self, query: Executable) -> Decimal:
        return self._money(self.session.scalar(query))

    # The journal.

    def _posted(self) -> list["_Posted"]:
        """Return what was posted in the month: its lines are read once for all sums."""
        kinds = (
            Entry.role,
            Entry.detail,
            Entry.authority,
            Entry.category,
            Entry.rate,
            Entry.event,
        )
        sums = (
            Entry.amount,
            Entry.base,
            case((Entry.amount > 0, Entry.amount), else_=0),
            case((Entry.amount < 0, -Entry.amount), else_=0),
        )
        query = (
            select(*kinds, *map(func.sum, sums))
            .where(self._within(Entry.on), Entry.currency == self.currency.code)
            .group_by(*kinds)
        )
        return [_Posted(*row[:6], *map(int, row[6:])) for row in self._rows(query)]

    def _ledger(
        self, posted: Iterable["_Posted"], opening: Mapping[tuple[str, str], int]
    ) -> Ledger:
        moved: dict[tuple[str, str], int] = {}
        for row in posted:
            account = row.role, row.detail
            moved[account] = moved.get(account, 0) + row.amount

        def balance(role: Role, sign: int) -> Balance:
            was = sum(at for (of, _), at in opening.items() if of == role)
            change = sum(at for (of, _), at in moved.items() if of == role)
            return Balance(self._money(sign * was), self._money(sign * (was + change)))

        return Ledger(
            debtors=balance(Role.DEBTORS, 1),
            deposits=balance(Role.DEPOSITS, -1),
            surcharges=balance(Role.SURCHARGES, -1),
            tax=balance(Role.TAX, -1),
            income={
                detail: self._money(-amount)
                for (role, detail), amount in sorted(moved.items())
                if role == Role.INCOME
            },
            **self._entries(),
        )

    def _entries(self) -> dict[str, Any]:
        """Return how many entries there are, and those that do not balance."""
        sums = (
            select(Entry.document_number, func.sum(Entry.amount).label("out"))
            .where(self._within(Entry.on), Entry.currency == self.currency.code)
            .group_by(Entry.event, Entry.document_number)
            .subquery()
        )
        out = self._rows(select(sums.c.document_number).where(sums.c.out != 0))
        return {
            "entries": self.session.scalar(select(func.count()).select_from(sums)) or 0,
            "entries_out": tuple(number for (number,) in out),
        }

    # Documents, payments and deposits themselves.

    def _documents(self) -> Executable:
        corrected = aliased(DocumentIssued)
        deposit = case(
            (DocumentIssued.kind == Kind.DEPOSIT, 1),
            (corrected.kind == Kind.DEPOSIT, 1),
            else_=0,
        )
        return (
            select(
                DocumentIssued.kind,
                deposit,
                func.sum(DocumentIssued.net),
                func.sum(DocumentIssued.tax),
                func.sum(DocumentIssued.gross),
            )
            .outerjoin(corrected, corrected.id == DocumentIssued.corrects_id)
            .where(
                self._within(DocumentIssued.on),
                DocumentIssued.currency == self.currency.code,
            )
            .group_by(DocumentIssued.kind, deposit)
        )

    def _movements(
        self,
        owed: Sequence[Row],
        unused: Sequence[Row],
        deposits: Sequence[Row],
        surcharges: Sequence[Row],
        codes: Sequence[Sales],
    ) -> Movements:
        sums = {
            (kind, bool(deposit)): tuple(map(self._money, rest))
            for kind, deposit, *rest in self._rows(self._documents())
        }
        nothing = (ZERO, ZERO, ZERO)
        invoiced = sums.get((Kind.INVOICE, False), nothing)
        credited = sums.get((Kind.CREDIT, False), nothing)
        taken = sums.get((Kind.DEPOSIT, True), nothing)
        given = sums.get((Kind.CREDIT, True), nothing)
        lines = self._lines()
        received, refunded, rounding = self._payments()
        gave = self._gave_up()
        moves = self._deposit_moves()
        kept = moves[KEPT]
        return Movements(
            invoiced=invoiced[2],
            invoiced_net=invoiced[0],
            invoiced_tax=invoiced[1],
            credited=credited[2],
            credited_net=credited[0],
            credited_tax=credited[1],
            deposit_net=taken[0] - given[0],
            deposit_tax=taken[1] - given[1],
            received=received,
            refunded=refunded,
            rounding=rounding,
            written_off=gave[GaveUp.WRITE_OFF][0],
            settlement=gave[GaveUp.SETTLEMENT][0],
            settlement_tax=gave[GaveUp.SETTLEMENT][1],
            relief=gave[GaveUp.RELIEF][1],
            deposits_received=self._sum(
                select(func.sum(DepositTaken.amount)).where(
                    self._within(DepositTaken.on),
                    DepositTaken.currency == self.currency.code,
                )
            ),
            deposits_applied=moves[APPLIED][0],
            deposits_applied_tax=moves[APPLIED][1],
            deposits_refunded=moves[PAID_BACK][0],
            deposits_kept=kept[0],
            deposits_tax_before=kept[1],
            deposits_kept_tax=kept[2],
            deposits_kept_net=kept[0] - kept[1] - kept[2],
            deposits_kept_untaxed=moves[_KEPT_UNTAXED][0] - moves[_KEPT_UNTAXED][2],
            deposits_taxed=self._taxed_deposits(),
            surcharges_charged=lines.charged,
            surcharges_returned=lines.returned,
            surcharges_kept=self._sum(
                select(func.sum(SurchargeHeld.kept))
                .join(DocumentIssued, DocumentIssued.id == SurchargeHeld.document_id)
                .where(
                    self._within(SurchargeHeld.kept_on),
                    DocumentIssued.currency == self.currency.code,
                )
            ),
            income=lines.income,
            tax_nets=sum((row.net for row in codes), ZERO),
            tax_by_code=sum((row.tax for row in codes), ZERO),
            lines_net=sum(lines.income.values(), ZERO),
            lines_tax=lines.tax,
            **self._each_document(),
            days=self._days(),
            open_items=sum((row.amount for row in owed), ZERO)
            - sum((row.amount for row in unused), ZERO),
            deposits_open=sum((row.amount for row in deposits), ZERO),
            surcharges_open=sum((row.amount for row in surcharges), ZERO),
        )

    def _taxed_deposits(self) -> Balance:
        ends = (self.first - timedelta(days=1), self.last)
        at = [as_at.taxed_deposits(self.session, end, self.currency) for end in ends]
        return Balance(*at)

    def _each_document(self) -> dict[str, Any]:
        """Return how many documents there are, and those that do not add up."""
        of, line, tax = DocumentIssued, DocumentLine, DocumentTax
        where = self._within(of.on), of.currency == self.currency.code
        many = select(func.count()).select_from(of).where(*where)

        def out(rows: Any, *differ: Any) -> tuple[str, ...]:
            query = (
                select(of.number)
                .outerjoin(rows, rows.document_id == of.id)
                .where(*where)
                .group_by(of.id)
                .having(or_(*differ))
            )
            return tuple(number for (number,) in self._rows(query))

        totals = select(of.number).where(*where, of.net + of.tax != of.gross)
        return {
            "documents": self.session.scalar(many) or 0,
            "lines_out": out(
                line,
                func.coalesce(func.sum(line.net), 0) != of.net,
                func.coalesce(func.sum(line.tax), 0) != of.tax,
            ),
            "taxes_out": out(tax, func.coalesce(func.sum(tax.amount), 0) != of.tax),
            "totals_out": tuple(number for (number,) in self._rows(totals)),
        }

    def _days(self) -> dict[date, Decimal]:
        of = DocumentIssued
        sign = case((of.kind == Kind.CREDIT, -1), else_=1)
        rows = self._rows(
            select(of.on, func.sum(sign * of.gross))
            .where(self._within(of.on), of.currency == self.currency.code)
            .group_by(of.on)
        )
        return {on: self._money(gross) for on, gross in rows}

    def _taxes_moved(
        self, posted: Iterable["_Posted"], opening: Mapping[tuple[str, str], int]
    ) -> dict[str, TaxMoved]:
        """Return every tax by its label: its account, and what the documents say."""
        was = {detail: -at for (of, detail), at in opening.items() if of == Role.TAX}
        change: dict[str, int] = {}
        otherwise: dict[str, int] = {}
        for row in posted:
            if row.role == Role.TAX:
                change[row.detail] = change.get(row.detail, 0) - row.amount
                if row.event not in _OF_DOCUMENTS:
                    otherwise[row.detail] = otherwise.get(row.detail, 0) - row.amount
        charged = self._charged_taxes()
        found = {}
        for label in {*was, *change, *(label for label, _ in charged)}:
            at = was.get(label, 0)
            found[label] = TaxMoved(
                balance=Balance(
                    self._money(at), self._money(at + change.get(label, 0))
                ),
                invoiced=self._money(charged.get((label, "invoiced"))),
                credited=self._money(charged.get((label, "credited"))),
                deposits=self._money(charged.get((label, "deposits"))),
                before=self._money(charged.get((label, "before"))),
                otherwise=self._money(otherwise.get(label)),
            )
        return {label: tax for label, tax in found.items() if tax != TaxMoved()}

    def _charged_taxes(self) -> dict[tuple[str, str], int]:
        """Return the taxes of the documents' own tables, by label and what it was."""
        of, corrected = DocumentIssued, aliased(DocumentIssued)
        rows = self._rows(
            select(
                DocumentTax.label,
                of.kind,
                corrected.kind,
                func.sum(DocumentTax.amount),
                func.sum(DocumentTax.before_tax),
            )
            .join(of, of.id == DocumentTax.document_id)
            .outerjoin(corrected, corrected.id == of.corrects_id)
            .where(self._within(of.on), of.currency == self.currency.code)
            .group_by(DocumentTax.label, of.kind, corrected.kind)
        )
        sums: dict[tuple[str, str], int] = {}
        for label, kind, corrects, tax, before in rows:
            what, sign = "invoiced", 1
            if Kind.DEPOSIT in (kind, corrects):
                what, sign = "deposits", -1 if kind == Kind.CREDIT else 1
            elif kind == Kind.CREDIT:
                what = "credited"
            for key, amount in ((what, sign * int(tax)), ("before", int(before))):
                sums[label, key] = sums.get((label, key), 0) + amount
        return sums

    def _lines(self) -> "_Lines":
        of_credit = DocumentIssued.kind == Kind.CREDIT
        rows = self._rows(
            select(
                DocumentLine.income,
                of_credit,
                func.sum(DocumentLine.net),
                func.sum(DocumentLine.tax),
            )
            .join(DocumentIssued, DocumentIssued.id == DocumentLine.document_id)
            .where(
                self._within(DocumentIssued.on),
                DocumentIssued.currency == self.currency.code,
                DocumentLine.income != "deposits",
            )
            .group_by(DocumentLine.income, of_credit)
            .order_by(DocumentLine.income)
        )
        sums: dict[str, dict[bool, Decimal]] = {}
        all_tax = ZERO
        for group, credit, net, tax in rows:
            sums.setdefault(group, {})[bool(credit)] = self._money(net)
            all_tax += self._money(-tax if credit else tax)
        held = sums.get("surcharges", {})
        return _Lines(
            income={
                group: by.get(False, ZERO) - by.get(True, ZERO)
                for group, by in sums.items()
            },
            tax=all_tax,
            charged=held.get(False, ZERO),
            returned=held.get(True, ZERO),
        )

    def _payments(self) -> tuple[Decimal, Decimal, Decimal]:
        inward = case((Payment.amount > 0, Payment.amount), else_=0)
        outward = case((Payment.amount < 0, -Payment.amount), else_=0)
        [(received, refunded, rounding)] = self._rows(
            select(
                func.sum(inward), func.sum(outward), func.sum(Payment.rounding)
            ).where(self._within(Payment.on), Payment.currency == self.currency.code)
        )
        return self._money(received), self._money(refunded), self._money(rounding)

    def _gave_up(self) -> dict[str, tuple[Decimal, Decimal]]:
        rows = self._rows(
            select(GivenUp.how, func.sum(GivenUp.gross), func.sum(GivenUp.tax))
            .where(self._within(GivenUp.on), GivenUp.currency == self.currency.code)
            .group_by(GivenUp.how)
        )
        found = {
            how: (self._money(gross), self._money(tax)) for how, gross, tax in rows
        }
        return {str(how): found.get(how, (ZERO, ZERO)) for how in GaveUp}

    def _deposit_moves(self) -> dict[str, tuple[Decimal, Decimal, Decimal]]:
        """Return gross, tax before and tax now of what left deposits, by how."""
        rows = self._rows(
            select(
                DepositMoved.how,
                DepositTaken.document_id.is_(None),
                func.sum(DepositMoved.gross),
                func.sum(DepositMoved.tax_before),
                func.sum(DepositMoved.tax_now),
            )
            .join(DepositTaken, DepositTaken.id == DepositMoved.deposit_id)
            .where(
                self._within(DepositMoved.on),
                DepositTaken.currency == self.currency.code,
            )
            .group_by(DepositMoved.how, DepositTaken.document_id.is_(None))
        )
        found = dict.fromkeys((APPLIED, PAID_BACK, KEPT, _KEPT_UNTAXED), (ZERO,) * 3)
        for how, untaxed, *sums in rows:
            for key in (how, _KEPT_UNTAXED) if untaxed and how == KEPT else (how,):
                was = found.get(key, (ZERO,) * 3)
                gross, before, due = map(self._money, sums)
                found[key] = was[0] + gross, was[1] + before, was[2] + due
        return found

    # Lists.

    def _codes(self) -> tuple[Sales, ...]:
        of, corrected, code = DocumentIssued, aliased(DocumentIssued), DocumentCode
        rows = self._rows(
            select(
                code.code,
                of.kind,
                corrected.kind,
                *map(func.sum, (code.net, code.tax, code.before_net, code.before_tax)),
            )
            .join(of, of.id == code.document_id)
            .outerjoin(corrected, corrected.id == of.corrects_id)
            .where(self._within(of.on), of.currency == self.currency.code)
            .group_by(code.code, of.kind, corrected.kind)
            .order_by(code.code)
        )
        sums: dict[str, Sales] = {}
        for label, kind, corrects, *minor in rows:
            net, tax, before_net, before_tax = map(self._money, minor)
            was = sums.get(label, Sales(label))
            if Kind.DEPOSIT in (kind, corrects):
                sign = -1 if kind == Kind.CREDIT else 1
                before_net, before_tax = -sign * net, -sign * tax
            elif kind == Kind.CREDIT:
                was = was._replace(
                    credited_net=was.credited_net + net,
                    credited_tax=was.credited_tax + tax,
                )
            else:
                was = was._replace(
                    invoiced_net=was.invoiced_net + net,
                    invoiced_tax=was.invoiced_tax + tax,
                )
            sums[label] = was._replace(
                deposit_net=was.deposit_net - before_net,
                deposit_tax=was.deposit_tax - before_tax,
            )
        return tuple(sums.values())

    def _taxes(
        self, posted: Iterable["_Posted"]
    ) -> tuple[tuple[str, Decimal, Decimal], ...]:
        sums: dict[tuple[str, str, str, str], tuple[int, int]] = {}
        for row in posted:
            if row.role == Role.TAX:
                key = row.authority, row.rate, row.detail, row.category
                base, tax = sums.get(key, (0, 0))
                sums[key] = base + row.base, tax + row.amount
        return tuple(
            (f"{label or category}, {authority}", self._money(-base), self._money(-tax))
            for (authority, _, label, category), (base, tax) in sorted(sums.items())
        )

    def _cash_taxes(
        self, posted: Iterable["_Posted"]
    ) -> tuple[tuple[str, Decimal, Decimal], ...]:
        sums = cash_basis.taxes(self.session, self.month, self.currency.code)
        for row in posted:
            if row.role == Role.TAX and row.event == "deposit kept":
                key = TaxKey(row.authority, row.category, row.rate, row.detail)
                add(sums, {key: (-row.base, -row.amount)})
        return tuple(
            (
                f"{key.label or key.category}, {key.authority}",
                self._money(base),
                self._money(tax),
            )
            for key, (base, tax) in sorted(sums.items())
            if base or tax
        )

    def _reasons(self) -> tuple[tuple[str, int, Decimal], ...]:
        rows = self._rows(
            select(
                DocumentIssued.reason,
                func.count(),
                func.sum(DocumentIssued.gross),
            )
            .where(
                self._within(DocumentIssued.on),
                DocumentIssued.kind == Kind.CREDIT,
                DocumentIssued.currency == self.currency.code,
            )
            .group_by(DocumentIssued.reason)
            .order_by(DocumentIssued.reason)
        )
        return tuple((why, int(n), self._money(gross)) for why, n, gross in rows)

    def _money_by_method(self, posted: Iterable["_Posted"]) -> tuple[Money, ...]:
        sums: dict[str, tuple[int, int]] = {}
        for row in posted:
            if row.role == Role.MONEY and row.event != "cash count":
                into, out = sums.get(row.detail, (0, 0))
                sums[row.detail] = into + row.into, out + row.out
        return tuple(
            Money(method, self._money(into), self._money(out))
            for method, (into, out) in sorted(sums.items())
        )

    def _still_open(self, table: Any) -> Any:
        """Return the condition that a row was open when the month ended.

        What is open is found by the day it was settled, so that settled years cost
        nothing.
        """
        unsettled = union_all(
            select(table.id).where(table.settled.is_(None)),
            select(table.id).where(table.settled > self.last),
        )
        return and_(
            table.id.in_(unsettled),
            table.on <= self.last,
            table.currency == self.currency.code,
        )

    def _owed(self) -> tuple[Row, ...]:
        documents = self.session.scalars(
            select(DocumentIssued)
            .where(
                self._still_open(DocumentIssued), DocumentIssued.kind == Kind.INVOICE
            )
            .order_by(DocumentIssued.on, DocumentIssued.id)
        ).all()
        keys = [row.id for row in documents]
        paid = self._by_key(Allocation.document_id, Allocation.amount, Allocation, keys)
        gave = self._by_key(GivenUp.document_id, GivenUp.gross, GivenUp, keys)
        rows = []
        for row in documents:
            left = row.gross - row.deducted - paid.get(row.id, 0) - gave.get(row.id, 0)
            if left:
                amount = self._money(left)
                rows.append(Row(row.number, row.buyer, row.on, amount, by=row.pay_by))
        return tuple(rows)

    def _by_key(
        self, key: Any, amount: Any, table: Any, keys: Sequence[int]
    ) -> dict[int, int]:
        sums: dict[int, int] = {}
        for start in range(0, len(keys), _CHUNK):
            query = (
                select(key, func.sum(amount))
                .where(key.in_(keys[start : start + _CHUNK]), table.on <= self.last)
                .group_by(key)
            )
            sums.update((of, int(total)) for of, total in self._rows(query))
        return sums

    def _credits(self) -> tuple[Row, ...]:
        notes = self.session.scalars(
            select(DocumentIssued)
            .where(self._still_open(DocumentIssued), DocumentIssued.kind == Kind.CREDIT)
            .order_by(DocumentIssued.on, DocumentIssued.id)
        ).all()
        payments = self.session.scalars(
            select(Payment)
            .where(self._still_open(Payment))
            .order_by(Payment.on, Payment.id)
        ).all()
        used = self._by_key(
            Allocation.credit_id, Allocation.amount, Allocation, [n.id for n in notes]
        )
        spent = self._by_key(
            Allocation.payment_id,
            Allocation.amount,
            Allocation,
            [p.id for p in payments],
        )
        called = as_at.names(
            self.session, self.month, (p.customer_id for p in payments if p.customer_id)
        )
        rows = [
            Row(n.number, n.buyer, n.on, self._money(n.gross - used.get(n.id, 0)))
            for n in notes
        ]
        rows += [
            Row(
                p.number,
                called.get(p.customer_id or 0, ""),
                p.on,
                self._money(p.amount + p.rounding - spent.get(p.id, 0)),
                "on account",
            )
            for p in payments
        ]
        return tuple(row for row in rows if row.amount)

    def _given_up(self) -> tuple[Row, ...]:
        rows = self._rows(
            select(GivenUp, DocumentIssued)
            .join(DocumentIssued, DocumentIssued.id == GivenUp.document_id)
            .where(self._within(GivenUp.on), GivenUp.currency == self.currency.code)
            .order_by(GivenUp.id)
        )
        return tuple(
            Row(
                f"{given.number}, {given.how}",
                document.buyer,
                given.on,
                self._money(given.gross or given.tax),
                f"{document.number}: {given.why}",
            )
            for given, document in rows
        )

    def _exempt(self) -> tuple[Row, ...]:
        rows = self._rows(
            select(DocumentIssued, DocumentTax)
            .join(DocumentTax, DocumentTax.document_id == DocumentIssued.id)
            .where(
                self._within(DocumentIssued.on),
                DocumentIssued.currency == self.currency.code,
                DocumentTax.category != "S",
                DocumentTax.base != 0,
            )
            .order_by(DocumentIssued.id, DocumentTax.place)
        )
        return tuple(
            Row(
                document.number,
                document.buyer,
                document.on,
                self._money(-tax.base if document.kind == Kind.CREDIT else tax.base),
                _why_untaxed(tax.reason, document.certificate),
            )
            for document, tax in rows
        )

    def _till(self) -> tuple[Row, ...]:
        rows = self.session.scalars(
            select(CashCount)
            .where(self._within(CashCount.on), CashCount.currency == self.currency.code)
            .order_by(CashCount.id)
        )
        return tuple(
            Row(
                row.number,
                row.by,
                row.on,
                self._money(row.counted - row.expected),
                row.note,
            )
            for row in rows
        )

    def _corrected(self) -> tuple[Row, ...]:
        corrected = aliased(DocumentIssued)
        rows = self._rows(
            select(DocumentIssued, corrected)
            .join(corrected, corrected.id == DocumentIssued.corrects_id)
            .where(
                self._within(DocumentIssued.on),
                DocumentIssued.currency == self.currency.code,
                corrected.on < self.first,
            )
            .order_by(DocumentIssued.id)
        )
        return tuple(
            Row(
                note.number,
                note.buyer,
                note.on,
                self._money(note.gross),
                f"{invoice.number}, {invoice.on.isoformat()}",
            )
            for note, invoice in rows
        )


#: Keys in one statement: less than the fewest that a database takes.
_CHUNK = 900


#: What of the journal's lines of a tax comes from the documents' own tables.
_OF_DOCUMENTS = frozenset((Kind.INVOICE, Kind.DEPOSIT, Kind.CREDIT))
_KEPT_UNTAXED = "kept, not taxed before"


def _why_untaxed(reason: str, certificate: str) -> str:
    if certificate in reason:
        return reason
    return "; ".join(filter(None, (reason, certificate)))


def balances(
    session: Session, before: date, currency: str
) -> dict[tuple[str, str], int]:
    """Return what each account came to before a day, by role and detail."""
    kept = session.scalar(
        select(func.max(MonthBalance.month)).where(
            MonthBalance.month < str(Month.of(before)),
            MonthBalance.currency == currency,
        )
    )
    sums: dict[tuple[str, str], int] = {}
    since = Entry.on < before
    if kept is not None:
        for row in session.scalars(
            select(MonthBalance).where(
                MonthBalance.month == kept, MonthBalance.currency == currency
            )
        ):
            sums[row.role, row.detail] = row.amount
        since = and_(since, Entry.on >= Month.read(kept).next.first)
    query = (
        select(Entry.role, Entry.detail, func.sum(Entry.amount))
        .where(since, Entry.currency == currency)
        .group_by(Entry.role, Entry.detail)
    )
    for role, detail, amount in session.execute(query):
        sums[role, detail] = sums.get((role, detail), 0) + int(amount)
    return sums


def last_closed(session: Session) -> Month | None:
    """Return the last month that is closed; None: none is."""
    return journal.last_closed(session)


def months(session: Session, today: date) -> list[Month]:
    """Return every month in which something was posted, and this one; latest first."""
    first = session.scalar(select(func.min(Entry.on)))
    month, found = Month.of(today), []
    start = Month.of(first) if first else month
    while month >= start:
        found.append(month)
        month = journal.before(month)
    return found


# The shop's own accounts.


class Named(NamedTuple):
    """An account of the journal, and what the shop calls it."""

    role: str
    detail: str
    code: str
    name: str

    @property
    def key(self) -> str:
        """Return by what a form calls it."""
        return f"{self.role}|{self.detail}"


def account_names(session: Session) -> list[Named]:
    """Return every account that was posted to, with the shop's own code and name.

    One that nobody named yet is called by what it is for.
    """
    own = {(row.role, row.detail): row for row in session.scalars(select(AccountName))}
    used = session.execute(
        select(Entry.role, Entry.detail).distinct().order_by(Entry.role, Entry.detail)
    )
    rows = []
    for role, detail in used:
        row = own.get((role, detail))
        said = f"{role}, {detail}" if detail else role
        rows.append(
            Named(role, detail, row.code if row else said, row.name if row else said)
        )
    return rows


def name_accounts(
    session: Session, given: Mapping[str, tuple[str, str]], now: Now
) -> None:
    """Write down the shop's own codes and names; *given* is by ``Named.key``."""
    known = {named.key: named for named in account_names(session)}
    own = {(row.role, row.detail): row for row in session.scalars(select(AccountName))}
    for key, (code, name) in given.items():
        named = known.get(key)
        if named is None or not code or (code, name) == (named.code, named.name):
            continue
        row = own.get((named.role, named.detail))
        if row is None:
            row = AccountName(role=named.role, detail=named.detail)
            session.add(row)
        row.code, row.name = code, name or code
        session.flush()
        note(
            session,
            "account",
            row.id,
            now,
            "account named",
            old=f"{named.code} {named.name}",
            new=f"{row.code} {row.name}",
        )
