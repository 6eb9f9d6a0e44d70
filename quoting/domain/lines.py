"""A line of a priced job, and the arithmetic behind it in words.

Pure. Amounts are Decimal in the edition's currency and price mode, minutes Decimal
minutes of shop time.
"""

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.head import (
    COUNTS,
    Head,
    Position,
    Side,
    at_the_bench,
    in_words,
)
from quoting.domain.lengths import Length
from quoting.domain.money import ONE, ZERO
from quoting.domain.rates import Modifier

Share = tuple[str, Decimal]  # a tax code and the amount under it


class Line(NamedTuple):
    """One line of a priced job; its ``net`` adds up with all others to the job's.

    Attributes:
        kind: labour, set_price, free, part, exchange, worth, surcharge, outwork, fee,
            discount, rush, make_up, sundries, no_fix, warranty or call_it.
        code: of the operation, set, part, fee ...; may be empty.
        description: in words.
        net: what it adds, in the edition's price mode.
        group: its income group.
        shares: its amounts by tax code; they add up to ``net``.
        tax_code: its one code; empty where it is spread over several lines' codes.
        heads, positions, side: what was selected.
        quantity, noun: units charged and what they are; of an operation with steps,
            its steps.
        base, bases: price of a set-up and how many of them stand on this line; of a
            percentage what it is taken of.
        unit_price: price of one unit, without modifiers; of a percentage its rate.
        modifiers: what multiplied the price or the minutes.
        minutes: of labour.
        cost: what it costs the shop, where that is known.
        discounted: the amounts, by tax code, that a discount applies to.
        because: why it is there, where nobody asked for it.
        set: code of the set of work it belongs to.
        size: as typed, where the operation has steps.
        timed: priced by its minutes at ``unit_price`` an hour.
        at_most: a dearer side was priced, because the side is not known yet.
        warranty: the share that the shop bears.
        minimum: what lifted it to the operation's minimum.
        list_net: what it would be without the price set by hand.
        reason: why a price was set by hand, or an adjustment made.
    """

    kind: str
    code: str
    description: str
    net: Decimal
    group: str
    shares: tuple[Share, ...]
    tax_code: str = ""
    heads: tuple[str, ...] = ()
    positions: tuple[Position, ...] = ()
    side: Side | None = None
    quantity: Decimal | None = None
    noun: str = ""
    base: Decimal | None = None
    bases: Decimal = ZERO
    unit_price: Decimal | None = None
    modifiers: tuple[Modifier, ...] = ()
    minutes: Decimal = ZERO
    cost: Decimal | None = None
    discounted: tuple[Share, ...] = ()
    because: str = ""
    set: str = ""
    size: Length | None = None
    timed: bool = False
    at_most: bool = False
    warranty: Decimal | None = None
    minimum: Decimal = ZERO
    list_net: Decimal | None = None
    reason: str = ""

    @property
    def margin(self) -> Decimal | None:
        """Return net less cost, where the cost is known."""
        return None if self.cost is None else self.net - self.cost


Show = Callable[[Decimal], str]


def plain(amount: Decimal) -> str:
    """Return an amount without exponent: the form of files.

    >>> plain(Decimal("1E+2"))
    '100'
    """
    return f"{amount:f}"


def why(line: Line, money: Show = plain, number: Show = plain) -> str:
    """Return the arithmetic of a line in words and figures.

    Args:
        line: of a priced job.
        money: writes an amount of money.
        number: writes any other figure.

    Returns:
        Such as ``base 15.00 + 8 inlet valves x 6.50``; empty where the line's amount
        was simply given.
    """
    text = _arithmetic(line, money, number)
    if line.minimum:
        text += f", lifted by {money(line.minimum)} to the least charge"
    if line.list_net is not None:
        text = f"set by hand ({line.reason}); list {money(line.list_net)}: {text}"
    if line.at_most:
        text = f"at most: {text}"
    return text


def _arithmetic(line: Line, money: Show, number: Show) -> str:
    price = line.unit_price
    if line.kind == "labour":
        return _labour_arithmetic(line, money, number)
    if line.kind == "set_price" and price is not None:
        return f"one price {money(price)} for the set"
    if line.base is not None and line.quantity is None:
        return _share_of(line, line.base, money, number)
    if price is None or line.quantity is None:
        return line.reason
    unit = f"{noun(line.noun, line.quantity)} x " if line.noun else "x "
    text = f"{number(line.quantity)} {unit}{money(price)}"
    return f"{text}, {line.reason}" if line.reason else text


def _share_of(line: Line, base: Decimal, money: Show, number: Show) -> str:
    if line.unit_price is not None:
        return f"{number(line.unit_price)} % of {money(base)}"
    if line.kind == "make_up":
        return f"up to {money(base)}, the least that a job pays for work"
    if line.kind == "no_fix":
        return f"down to {money(base)}, the most that a condemned head pays for work"
    return line.reason


def _labour_arithmetic(line: Line, money: Show, number: Show) -> str:
    if line.timed and line.unit_price is not None:
        text = f"{number(line.minutes.normalize())} min"
        text += f" at {money(line.unit_price)} an hour"
        return text + "".join(
            f", {m.name} x {number(m.factor)}" for m in line.modifiers
        )
    terms = []
    if line.base and line.bases:
        bases = "" if line.bases == ONE else f" x {number(line.bases.normalize())}"
        terms.append(f"base {money(line.base)}{bases}")
    if line.unit_price and line.quantity:
        side = f"{line.side.word} " if line.side else ""
        term = (
            f"{number(line.quantity.normalize())} "
            f"{side}{noun(line.noun, line.quantity)} x {money(line.unit_price)}"
        )
        units = [m for m in line.modifiers if m.scales == "unit" and _prices(m)]
        term += "".join(f" x {number(m.factor)} {m.name}" for m in units)
        terms.append(term)
    text = " + ".join(terms)
    whole = [m for m in line.modifiers if m.scales == "line" and _prices(m)]
    if whole:
        text = f"({text})" if len(terms) > 1 else text
        text += "".join(f" x {number(m.factor)} {m.name}" for m in whole)
    return text or "no charge"


def _prices(modifier: Modifier) -> bool:
    return modifier.works_on != "minutes"


def noun(counted_by: str, quantity: Decimal) -> str:
    """Return the noun of a count, singular for exactly one.

    >>> noun("guide", Decimal(3))
    'guides'
    """
    if counted_by == "step":
        return "step" if quantity == ONE else "steps"
    count = COUNTS[counted_by]
    return count.singular if quantity == ONE else count.plural


#: How many valves are named one by one before a paper falls back to bench names.
NAMED_IN_WORDS = 4


def where(line: Line, heads: Sequence[Head], number: Show = plain) -> str:
    """Return in words what of the *heads* a line is for.

    Such as ``all 16 valves``, ``8 exhaust guides``, ``cylinder 3, exhaust 1``, with
    the heads named where not all of several are meant; empty where nothing is counted.
    """
    words = _counted(line, heads, number)
    if line.positions and not _all(line, heads):
        return words  # each valve is named with its head
    if line.heads and len(line.heads) < len(heads):
        named = ", ".join(_head_name(h) for h in heads if h.tag in line.heads)
        return f"{words}, {named}" if words else named
    return words


def _all(line: Line, heads: Sequence[Head]) -> bool:
    on = [head for head in heads if head.tag in line.heads]
    sides = [line.side] if line.side else list(Side)
    everything = sum(len(head.positions(side)) for head in on for side in sides)
    return len(line.positions) == everything


def _counted(line: Line, heads: Sequence[Head], number: Show) -> str:
    if line.noun == "step":
        return f"{len(line.heads)} heads" if len(line.heads) > 1 else ""
    if not line.noun or line.quantity is None:
        return ""
    side = f"{line.side.word} " if line.side else ""
    counted = f"{number(line.quantity)} {side}{noun(line.noun, line.quantity)}"
    if not line.positions:
        return counted
    if _all(line, heads):
        return f"all {counted}" if len(line.positions) > 1 else counted
    if len(line.positions) <= NAMED_IN_WORDS:
        several = len(heads) > 1
        return "; ".join(
            f"head {p.tag}, {in_words(p)}" if several else in_words(p)
            for p in line.positions
        )
    return f"{counted}: {' '.join(at_the_bench(p, heads) for p in line.positions)}"


def _head_name(head: Head) -> str:
    return f"head {head.tag} ({head.label})" if head.label else f"head {head.tag}"
