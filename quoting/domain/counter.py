"""What passes over the counter: heads in, money in, heads out.

Pure. Amounts are Decimal in the shop's currency; words are as they are printed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quoting.domain.job import Deposit
from quoting.domain.quote import Customer


@dataclass(frozen=True, slots=True)
class TaggedHead:
    """A head as its tag names it.

    Attributes:
        order: number of its work order.
        tag: A, B, C ... within that order.
        layout: in words.
        label: left, right, or any text.
    """

    order: str
    tag: str
    layout: str
    label: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """So many of something that came with a head or goes back."""

    text: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class ArrivedHead:
    """A head as it was booked in.

    Attributes:
        head: which one.
        condition: on arrival, in words; each a finding of its own.
        came_with: what was left with it, counted.
        parts_from: who supplies its parts, in words.
        place: the shelf or tray where it stands.
    """

    head: TaggedHead
    condition: tuple[str, ...] = ()
    came_with: tuple[Item, ...] = ()
    parts_from: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class Authority:
    """What a shop may do without asking again.

    Attributes:
        up_to: the most that all of the work may come to, with tax; None where every
            change needs a yes.
        second_contact: whom to ask where the customer cannot be reached.
    """

    up_to: Decimal | None = None
    second_contact: str = ""


@dataclass(frozen=True, slots=True)
class BookingIn:
    """Heads that one customer left on one day, of one work order or several.

    Attributes:
        on: the day.
        customer: whose they are.
        heads: in the order of their tags; at least one.
        deposits: money taken for them.
        authority: what may be done without asking.
        promised: the day they are to be ready, if one was named.
        condemned: the most that is owed, with tax, if a test condemns the heads; None
            where no test decides.
    """

    on: date
    customer: Customer
    heads: tuple[ArrivedHead, ...]
    deposits: tuple[Deposit, ...] = ()
    authority: Authority = Authority()
    promised: date | None = None
    condemned: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ReturnedHead:
    """A head as it is handed back.

    Attributes:
        head: which one.
        outcome: in words, such as "repaired" or "condemned at the pressure test".
        goes_with: what goes back with it, counted.
    """

    head: TaggedHead
    outcome: str = ""
    goes_with: tuple[Item, ...] = ()


@dataclass(frozen=True, slots=True)
class Delivery:
    """What is handed over on one day; no price is part of it.

    Attributes:
        number: of the delivery note.
        on: the day.
        customer: who gets it.
        heads: that go back.
        parts: new parts that go along, not fitted.
        old_parts: that were taken out and are handed back.
        guarantee: its terms; may be empty.
        guaranteed_until: its last day, where it has one.
    """

    number: str
    on: date
    customer: Customer
    heads: tuple[ReturnedHead, ...] = ()
    parts: tuple[Item, ...] = ()
    old_parts: tuple[Item, ...] = ()
    guarantee: str = ""
    guaranteed_until: date | None = None


@dataclass(frozen=True, slots=True)
class DepositReceipt:
    """Money taken before the work is invoiced, and what it is for.

    Attributes:
        number: of the receipt.
        on: its day.
        customer: who paid.
        deposit: the amount and how it was paid; its day where that is another.
        quote, order: numbers that it is for; either may be empty.
        taken_by: who took it, for the shop.
    """

    number: str
    on: date
    customer: Customer
    deposit: Deposit
    quote: str = ""
    order: str = ""
    taken_by: str = ""


def orders_of(heads: Iterable[TaggedHead]) -> tuple[str, ...]:
    """Return the numbers of the heads' work orders, each once.

    >>> orders_of(TaggedHead(o, "A", "Four") for o in ("W-2", "W-1", "W-2"))
    ('W-2', 'W-1')
    """
    return tuple(dict.fromkeys(head.order for head in heads))


def called(orders: Sequence[str]) -> str:
    """Return in a title's few words which orders a paper is for.

    >>> called(["W-1"]), called(["W-1", "W-2", "W-3"])
    ('W-1', 'W-1 and 2 more')
    """
    first = orders[0] if orders else ""
    return first if len(orders) < 2 else f"{first} and {len(orders) - 1} more"


def counted(items: Iterable[Item]) -> tuple[str, ...]:
    """Return items in words, with how many where it is not one.

    >>> counted([Item("camshaft"), Item("head bolts", 10)])
    ('camshaft', '10 head bolts')
    """
    return tuple(
        item.text if item.count == 1 else f"{item.count} {item.text}" for item in items
    )
