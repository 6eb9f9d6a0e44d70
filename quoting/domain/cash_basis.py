"""The tax in what was received, where tax is due on receipt and not on invoices.

Pure; whole numbers of the smallest unit. A row of tax is a base and the tax on it, by
the key that tells one tax from another.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from quoting.domain.allocation import within


class TaxKey(NamedTuple):
    """What tells one tax of a document from another."""

    authority: str
    category: str
    rate: str
    label: str


Rows = Mapping[TaxKey, tuple[int, int]]
Sums = dict[TaxKey, tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Note:
    """A credit note of an invoice as it stands on a day.

    Attributes:
        rows: that it takes back.
        gross: of it.
        against: set against its own invoice.
        used: paid back, or set against other invoices.
    """

    rows: Rows
    gross: int
    against: int
    used: int


@dataclass(frozen=True, slots=True)
class Paid:
    """An invoice and what was received for it as it stands on a day.

    Attributes:
        rows: of its tax table.
        gross: of it.
        received: for it, deposits taken off included, its own credit notes excepted.
        before: of the tax in deposits taken off, what fell due when they came.
        notes: its credit notes.
    """

    rows: Rows
    gross: int
    received: int
    before: Rows
    notes: tuple[Note, ...] = ()


def received(paid: Paid) -> Sums:
    """Return the tax in what was received for an invoice and is kept, by tax.

    What is kept of the money is split over what the invoice charges after its credit
    notes, by largest remainder. What a credit note owes the customer still has its
    tax until it is paid back or pays something else. Tax that fell due with a deposit
    is left out: it is that of the deposit's invoice.

    Source:
        Cash accounting: the tax in what was received, in proportion to the invoice it
        pays (such as HMRC Notice 731; from memory, not checked).

    >>> levy = TaxKey("Office", "S", "20", "Levy")
    >>> whole = {levy: (10000, 2000)}
    >>> received(Paid(whole, 12000, 6000, {}))[levy]
    (5000, 1000)
    >>> received(Paid(whole, 12000, 12000, {}, (Note(whole, 12000, 0, 3000),)))[levy]
    (7500, 1500)
    """
    rows, gross, kept = dict(paid.rows), paid.gross, paid.received
    for note in paid.notes:
        add(rows, note.rows, -1)
        gross -= note.gross
        kept -= note.gross - note.against
    found = _within(rows, gross, 0, max(kept, 0))
    for note in paid.notes:
        gone = note.against + note.used
        add(found, _within(note.rows, note.gross, gone, note.gross - gone))
    add(found, paid.before, -1)
    return found


def _within(rows: Rows, whole: int, before: int, amount: int) -> Sums:
    parts = within([*rows.values()], whole, before, amount)
    return dict(zip(rows, parts, strict=True))


def add(sums: Sums, rows: Rows, sign: int = 1) -> None:
    """Add rows to sums, or with a *sign* of -1 take them off."""
    for key, (base, tax) in rows.items():
        was_base, was_tax = sums.get(key, (0, 0))
        sums[key] = was_base + sign * base, was_tax + sign * tax
