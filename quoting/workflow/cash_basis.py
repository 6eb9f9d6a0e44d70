"""The tax of a month where it is due on receipt, out of what was set against what.

Most invoices have neither credit note nor anything given up: the tax in each payment
stands with it, and the database adds it up. The others are worked out as they stand on
the day before the month and on its last day; the month has the difference. So a month
costs what was done in it.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Executable, and_, case, func, or_, select, union
from sqlalchemy.orm import Session, aliased

from quoting.domain.allocation import within
from quoting.domain.cash_basis import Note, Paid, Sums, TaxKey, add, received
from quoting.domain.invoice import Kind
from quoting.domain.month import Month
from quoting.store.models import (
    Allocation,
    AllocationTax,
    DocumentIssued,
    DocumentTax,
    GivenUp,
)

#: Keys in one statement: less than the fewest that a database takes.
_CHUNK = 900
_TAX = (
    DocumentTax.authority,
    DocumentTax.category,
    DocumentTax.rate,
    DocumentTax.label,
)


def taxes(session: Session, month: Month, currency: str) -> Sums:
    """Return base and tax of what a month received, by tax, in the smallest unit.

    Deposits that were kept without having been taxed are not in it; their tax falls
    due on the same day on either basis and stands in the journal.

    Args:
        session: to read from.
        month: any.
        currency: of the documents, ISO 4217; others are left out.
    """
    return _Gather(session, month, currency).taxes()


class _Gather:
    def __init__(self, session: Session, month: Month, currency: str) -> None:
        self.session, self.currency = session, currency
        self.first, self.last = month.first, month.last

    def taxes(self) -> Sums:
        sums: Sums = {}
        for found in (self._deposits(), self._payments(), self._taken_off()):
            add(sums, found)
        changed = self._changed()
        add(sums, self._as_at(self.last, changed))
        add(sums, self._as_at(self.first - timedelta(days=1), changed), -1)
        return sums

    def _rows(self, query: Executable) -> Sequence[Any]:
        return self.session.execute(query).all()

    def _within(self, day: Any) -> Any:
        return day.between(self.first, self.last)

    def _summed(self, query: Executable) -> Sums:
        return {
            TaxKey(*key): (int(base), int(tax)) for *key, base, tax in self._rows(query)
        }

    def _is_changed(self, document: Any) -> Any:
        """Return the condition that a credit note or a debt given up changed one."""
        note = aliased(DocumentIssued)
        credited = select(note.id).where(
            note.corrects_id == document.id, note.on <= self.last
        )
        gave = select(GivenUp.id).where(
            GivenUp.document_id == document.id, GivenUp.on <= self.last
        )
        return or_(credited.exists(), gave.exists())

    def _deposits(self) -> Sums:
        """Return the tax that fell due with deposits, less that paid back with them."""
        of, corrected = DocumentIssued, aliased(DocumentIssued)
        sign = case((of.kind == Kind.CREDIT, -1), else_=1)
        return self._summed(
            select(
                *_TAX,
                func.sum(sign * DocumentTax.base),
                func.sum(sign * DocumentTax.amount),
            )
            .join(of, of.id == DocumentTax.document_id)
            .outerjoin(corrected, corrected.id == of.corrects_id)
            .where(
                self._within(of.on),
                of.currency == self.currency,
                or_(of.kind == Kind.DEPOSIT, corrected.kind == Kind.DEPOSIT),
            )
            .group_by(*_TAX)
        )

    def _payments(self) -> Sums:
        of = DocumentIssued
        return self._summed(
            select(*_TAX, func.sum(AllocationTax.base), func.sum(AllocationTax.amount))
            .select_from(Allocation)
            .join(of, of.id == Allocation.document_id)
            .join(AllocationTax, AllocationTax.allocation_id == Allocation.id)
            .join(
                DocumentTax,
                and_(
                    DocumentTax.document_id == of.id,
                    DocumentTax.place == AllocationTax.place,
                ),
            )
            .where(
                self._within(Allocation.on),
                of.currency == self.currency,
                ~self._is_changed(of),
            )
            .group_by(*_TAX)
        )

    def _taken_off(self) -> Sums:
        """Return the tax in deposits that invoices took off and that had none yet."""
        of = DocumentIssued
        sums: Sums = {}
        found = self._rows(
            select(of.id, of.gross, of.deducted).where(
                self._within(of.on),
                of.kind == Kind.INVOICE,
                of.currency == self.currency,
                of.deducted != 0,
                ~self._is_changed(of),
            )
        )
        keys = [key for key, *_ in found]
        rows, before = self._tax_rows(keys), self._taxed_before(keys)
        for key, gross, deducted in found:
            parts = within([*rows[key].values()], gross, 0, deducted)
            add(sums, dict(zip(rows[key], parts, strict=True)))
            add(sums, before[key], -1)
        return sums

    def _changed(self) -> list[Any]:
        """Return the changed invoices that anything of the month is about."""
        of, note = DocumentIssued, aliased(DocumentIssued)
        touched: Any = union(
            select(Allocation.document_id).where(self._within(Allocation.on)),
            select(note.corrects_id)
            .join(Allocation, Allocation.credit_id == note.id)
            .where(self._within(Allocation.on)),
            select(note.corrects_id).where(self._within(note.on)),
            select(of.id).where(self._within(of.on), of.deducted != 0),
        )
        return list(
            self._rows(
                select(of.id, of.on, of.gross, of.deducted).where(
                    of.id.in_(touched),
                    of.kind == Kind.INVOICE,
                    of.currency == self.currency,
                    self._is_changed(of),
                )
            )
        )

    def _as_at(self, day: date, invoices: Iterable[Any]) -> Sums:
        """Return the tax in what was received for invoices by the end of a day."""
        there = [row for row in invoices if row.on <= day]
        keys = [row.id for row in there]
        note = DocumentIssued
        notes: dict[int, list[Any]] = {}
        for row in self._some(
            select(note.corrects_id, note.id, note.gross).where(note.on <= day),
            note.corrects_id,
            keys,
        ):
            notes.setdefault(row.corrects_id, []).append(row)
        note_keys = {row.id: row.corrects_id for of in notes.values() for row in of}
        got = dict.fromkeys(keys, 0)
        against: dict[int, int] = {}
        used: dict[int, int] = {}
        by_document = select(
            Allocation.document_id, Allocation.credit_id, Allocation.amount
        ).where(Allocation.on <= day)
        for to, credit, amount in self._some(by_document, Allocation.document_id, keys):
            if note_keys.get(credit) != to:
                got[to] += amount
        for to, credit, amount in self._some(
            by_document, Allocation.credit_id, [*note_keys]
        ):
            where = against if to == note_keys[credit] else used
            where[credit] = where.get(credit, 0) + amount
        rows = self._tax_rows([*keys, *note_keys])
        before = self._taxed_before(keys)
        sums: Sums = {}
        for row in there:
            paid = Paid(
                rows[row.id],
                row.gross,
                row.deducted + got[row.id],
                before[row.id],
                tuple(
                    Note(
                        rows[each.id],
                        each.gross,
                        against.get(each.id, 0),
                        used.get(each.id, 0),
                    )
                    for each in notes.get(row.id, ())
                ),
            )
            add(sums, received(paid))
        return sums

    def _some(self, query: Any, key: Any, keys: Sequence[Any]) -> Iterable[Any]:
        """Return the rows of a query for many keys, some at a time."""
        for start in range(0, len(keys), _CHUNK):
            yield from self._rows(query.where(key.in_(keys[start : start + _CHUNK])))

    def _tax_rows(self, keys: Sequence[int]) -> dict[int, Sums]:
        return self._of_documents(keys, DocumentTax.base, DocumentTax.amount)

    def _taxed_before(self, keys: Sequence[int]) -> dict[int, Sums]:
        """Return the tax of invoices that had fallen due with deposits."""
        of = DocumentTax
        return self._of_documents(keys, of.before_base, of.before_tax)

    def _of_documents(
        self, keys: Sequence[int], base: Any, tax: Any
    ) -> dict[int, Sums]:
        of = DocumentTax
        query = select(of.document_id, *_TAX, base, tax).order_by(of.place)
        found: dict[int, Sums] = {key: {} for key in keys}
        for key, *row, on, amount in self._some(query, of.document_id, keys):
            add(found[key], {TaxKey(*row): (on, amount)})
        return found
