"""How old debts are: what each customer owes, by the days since a day of the invoice.

Pure. Amounts are Decimal in one currency. Open credit notes and money on account are
set against nobody's debt here; they stand beside it, so that the total is the balance
of the debtors account.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quoting.domain.money import ZERO

#: The last day of each band but the last, which has no end.
LAST_DAYS = (30, 60, 90)
#: What the bands are called.
BANDS = ("up to 30 days", "31 to 60", "61 to 90", "over 90")


class Since(StrEnum):
    """The day from which a debt's days are counted."""

    INVOICED = "day of the invoice"
    DUE = "last day to pay"


class Owed(NamedTuple):
    """What is still open on an invoice.

    Attributes:
        number, who: of the invoice, and who owes it.
        on: its day.
        pay_by: the last day to pay; None where none was set: its day.
        amount: open.
    """

    number: str
    who: str
    on: date
    pay_by: date | None
    amount: Decimal

    def days(self, at: date, since: Since) -> int:
        """Return how old it is *at* a day; below 0 while it is not due yet."""
        begins = self.on if since is Since.INVOICED else self.pay_by or self.on
        return (at - begins).days


@dataclass(frozen=True, slots=True)
class Aged:
    """What somebody owes by age, and what they have paid or been credited beside it.

    Attributes:
        bands: open on invoices of 0 to 30, 31 to 60, 61 to 90 and more days; not due
            yet counts as 0.
        unallocated: open credit notes and money on account, set against nothing yet.
    """

    bands: tuple[Decimal, ...] = (ZERO,) * (len(LAST_DAYS) + 1)
    unallocated: Decimal = ZERO

    @property
    def owed(self) -> Decimal:
        """Return what is open on invoices."""
        return sum(self.bands, ZERO)

    @property
    def balance(self) -> Decimal:
        """Return it less what is unallocated; below nothing for one in credit."""
        return self.owed - self.unallocated

    def __add__(self, other: "Aged") -> "Aged":
        """Return both together, band by band."""
        bands = tuple(a + b for a, b in zip(self.bands, other.bands, strict=True))
        return Aged(bands, self.unallocated + other.unallocated)


def band(days: int) -> int:
    """Return the place of the band that a debt of so many days is in.

    >>> [band(days) for days in (-5, 30, 31, 60, 61, 90, 91)]
    [0, 0, 1, 1, 2, 2, 3]
    """
    return sum(days > last for last in LAST_DAYS)


def aged(
    owed: Iterable[Owed],
    unallocated: Iterable[tuple[str, Decimal]],
    at: date,
    since: Since = Since.INVOICED,
) -> Mapping[str, Aged]:
    """Return for everybody what they owe by age, in the order first met.

    The balances of all together are that of the debtors account.

    Args:
        owed: every open invoice.
        unallocated: whose, and how much, of every open credit note and all money that
            is set against no invoice.
        at: the day to count the days to, such as the last of a month.
        since: the day to count them from.

    Source:
        Bands of thirty days with the thirtieth day in the first: common practice, no
        source.

    >>> debt = Owed("I-1", "A. Customer", date(2026, 1, 31), None, Decimal("80.00"))
    >>> aged([debt], [], date(2026, 3, 31))["A. Customer"].bands[1]
    Decimal('80.00')
    """
    by: dict[str, Aged] = {}
    for each in owed:
        bands = [ZERO] * (len(LAST_DAYS) + 1)
        bands[band(each.days(at, since))] = each.amount
        by[each.who] = by.get(each.who, Aged()) + Aged(tuple(bands))
    for who, amount in unallocated:
        by[who] = by.get(who, Aged()) + Aged(unallocated=amount)
    return by
