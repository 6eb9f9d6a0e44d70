"""Rate tables: what stands in them, row by row and column by column.

Pure. Each table is a frozen record type whose fields are its columns, with their
meaning. Money is before or with tax as the edition says, minutes are Decimal minutes
of shop time, sizes carry their unit in a column of their own, rates are per cent.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple, TypeVar

from quoting.domain.country import Country, Region, TaxRule, Wording
from quoting.domain.head import (
    AT_RISK,
    CONDITIONS,
    COUNTS,
    FACTS,
    Fact,
    Layout,
    Side,
)
from quoting.domain.money import ONE, ZERO
from quoting.domain.tables import (
    CODE,
    CODES,
    DATE,
    MARGIN,
    NOT_NEGATIVE,
    NUMBER,
    NUMBER_START,
    PERCENT,
    POSITIVE,
    SHARE,
    TEXT,
    TEXTS,
    WHOLE,
    YES_NO,
    Table,
    choice,
    choices,
    column,
)

GROUPS = (
    "labour",
    "parts",
    "exchange",
    "outwork",
    "fees",
    "surcharges",
    "sundries",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkCentre:
    """A place in the shop where work is done."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "Name of the place")
    hourly_rate: Decimal = column(NOT_NEGATIVE, "What an hour here is sold for")
    cost_rate: Decimal = column(NOT_NEGATIVE, "What an hour here costs the shop")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operation:
    """Something that is done to a head and charged for."""

    code: str = column(CODE, "Short code, unique", key=True)
    name: str = column(TEXT, "Name on screen and paper")
    work_centre: str = column(CODE, "Where it is done", refers="work_centres")
    place: int = column(WHOLE, "Place in the process order; smaller comes first")
    counted_by: str = column(choice(*COUNTS), "What it is counted by")
    tax_code: str = column(CODE, "Tax code of its price", refers="tax_codes")
    aliases: tuple[str, ...] = column(
        TEXTS, "Other words for it, for search and the say-it line", default=()
    )
    says: str = column(
        TEXT, "What a customer reads on the quote; empty: the name", default=""
    )
    place_back: int | None = column(
        WHOLE, "Second place, for what goes out early and back in late", default=None
    )
    phases: tuple[str, ...] = column(
        TEXTS,
        "What the first and the second place are called",
        default=("out", "back in"),
    )
    base_per: str = column(
        choice("head", "job"), "Whether the base is due a head or a job", default="head"
    )
    priced_by: str = column(
        choice("count", "time"),
        "count: base + unit x count; time: minutes at the work centre's hourly rate",
        default="count",
    )
    base: Decimal | None = column(NOT_NEGATIVE, "Price of the set-up", default=None)
    unit: Decimal | None = column(NOT_NEGATIVE, "Price of one unit", default=None)
    unit_inlet: Decimal | None = column(
        NOT_NEGATIVE, "Price of one inlet unit, instead of unit", default=None
    )
    unit_exhaust: Decimal | None = column(
        NOT_NEGATIVE, "Price of one exhaust unit, instead of unit", default=None
    )
    minimum: Decimal = column(
        NOT_NEGATIVE, "Least charge for this operation on a job", default=ZERO
    )
    included: Decimal = column(
        NOT_NEGATIVE, "Size that the base covers, in step_unit", default=ZERO
    )
    step: Decimal | None = column(
        POSITIVE, "Size of one further step, in step_unit", default=None
    )
    step_unit: str = column(
        choice("mm", "in"), "Unit of included and step", default="mm"
    )
    setup_minutes: Decimal = column(
        NOT_NEGATIVE, "Minutes to set up, a head or a job", default=ZERO
    )
    unit_minutes: Decimal = column(NOT_NEGATIVE, "Minutes a unit", default=ZERO)
    elapsed_minutes: Decimal = column(
        NOT_NEGATIVE, "Minutes it stands without labour: soak, oven, cure", default=ZERO
    )
    income_group: str = column(
        choice(*GROUPS), "Income group of its price", default="labour"
    )
    discountable: bool = column(
        YES_NO, "Whether a customer's discount applies", default=True
    )
    pair_break: Decimal = column(
        SHARE, "Share of the base that a second and further head pays", default=ONE
    )
    gate: bool = column(
        YES_NO, "Whether its result decides if the work goes on", default=False
    )
    consumes: str = column(
        CODE, "Kind of part that each unit uses up", default="", refers="part kinds"
    )
    left_out_when: tuple[str, ...] = column(
        choices(*CONDITIONS), "Conditions on arrival that make it needless", default=()
    )
    readings: tuple[str, ...] = column(
        CODES, "Readings to write down while doing it", default=(), refers="limits"
    )
    on_board: bool = column(YES_NO, "Whether the price board shows it", default=False)

    @property
    def by_position(self) -> bool:
        """Tell whether it is done to single valve positions."""
        return COUNTS[self.counted_by].by == "position"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClassPrice:
    """An operation's own price and times on heads of one size class."""

    operation: str = column(CODE, "The operation", refers="operations")
    size_class: str = column(CODE, "The size class, as layouts name it")
    base: Decimal | None = column(NOT_NEGATIVE, "Price of the set-up", default=None)
    unit: Decimal | None = column(NOT_NEGATIVE, "Price of one unit", default=None)
    unit_inlet: Decimal | None = column(
        NOT_NEGATIVE, "Price of one inlet unit", default=None
    )
    unit_exhaust: Decimal | None = column(
        NOT_NEGATIVE, "Price of one exhaust unit", default=None
    )
    minimum: Decimal | None = column(NOT_NEGATIVE, "Least charge", default=None)
    setup_minutes: Decimal | None = column(
        NOT_NEGATIVE, "Minutes to set up", default=None
    )
    unit_minutes: Decimal | None = column(NOT_NEGATIVE, "Minutes a unit", default=None)

    @property
    def has_price(self) -> bool:
        """Tell whether the row has a price of its own, and not only minutes."""
        prices = (self.base, self.unit, self.unit_inlet, self.unit_exhaust)
        return any(price is not None for price in prices)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AgreedPrice:
    """What one customer's terms say of an operation or a set of work."""

    terms: str = column(CODE, "The terms it belongs to", refers="terms")
    operation: str = column(
        CODE, "The operation, or empty for a set", default="", refers="operations"
    )
    set: str = column(CODE, "The set of work", default="", refers="sets")
    size_class: str = column(CODE, "Only for this size class", default="")
    base: Decimal | None = column(NOT_NEGATIVE, "Price of the set-up", default=None)
    unit: Decimal | None = column(NOT_NEGATIVE, "Price of one unit", default=None)
    unit_inlet: Decimal | None = column(
        NOT_NEGATIVE, "Price of one inlet unit", default=None
    )
    unit_exhaust: Decimal | None = column(
        NOT_NEGATIVE, "Price of one exhaust unit", default=None
    )
    price: Decimal | None = column(
        NOT_NEGATIVE, "Price of the set, as its row in set_prices counts", default=None
    )


class Rate(NamedTuple):
    """What one operation costs and takes on heads of one size class.

    Attributes:
        base, inlet, exhaust: money for a set-up, and for one unit on each side.
        minimum: money; 0 for an agreed price.
        setup, each: minutes for a set-up, and for one unit.
        timed: it is priced by its minutes.
        agreed: it is a customer's agreed price.
    """

    base: Decimal
    inlet: Decimal
    exhaust: Decimal
    minimum: Decimal
    setup: Decimal
    each: Decimal
    timed: bool
    agreed: bool = False

    def unit(self, side: Side | None) -> Decimal:
        """Return the price of one unit on *side*, the inlet's where it has none."""
        return self.exhaust if side is Side.EXHAUST else self.inlet

    def under(self, agreed: AgreedPrice) -> "Rate":
        """Return the rate with base and unit price as agreed, charged by count."""
        base, inlet, exhaust = _prices(agreed)
        return self._replace(
            base=base,
            inlet=inlet,
            exhaust=exhaust,
            minimum=ZERO,
            timed=False,
            agreed=True,
        )


def rate(operation: Operation, by_class: ClassPrice | None) -> Rate:
    """Return the list rate of an operation on heads of a size class.

    Base and unit price come together from the first place that has either: the size
    class's row, else the operation's own; where it gives only one the other is 0.
    Minimum and minutes are taken one by one.

    Source:
        docs/costing.md, step 1 (common practice, no source).
    """
    minimum = operation.minimum
    setup, each = operation.setup_minutes, operation.unit_minutes
    place: ClassPrice | Operation = operation
    if by_class is not None:
        minimum = minimum if by_class.minimum is None else by_class.minimum
        setup = setup if by_class.setup_minutes is None else by_class.setup_minutes
        each = each if by_class.unit_minutes is None else by_class.unit_minutes
        if by_class.has_price:
            place = by_class
    base, inlet, exhaust = _prices(place)
    timed = operation.priced_by == "time"
    return Rate(base, inlet, exhaust, minimum, setup, each, timed)


def _prices(
    row: Operation | ClassPrice | AgreedPrice,
) -> tuple[Decimal, Decimal, Decimal]:
    unit = row.unit or ZERO
    return (
        row.base or ZERO,
        unit if row.unit_inlet is None else row.unit_inlet,
        unit if row.unit_exhaust is None else row.unit_exhaust,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terms:
    """What a customer has agreed with the shop."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "Name of these terms")
    discount_labour: Decimal = column(PERCENT, "Discount on labour", default=ZERO)
    discount_parts: Decimal = column(PERCENT, "Discount on parts", default=ZERO)
    discount_exchange: Decimal = column(
        PERCENT, "Discount on exchange heads", default=ZERO
    )
    sundries: str = column(
        CODE, "Row of sundries.csv; empty: the shop's", default="", refers="sundries"
    )
    rush: str = column(
        CODE, "Row of rush.csv when a rush is asked", default="", refers="rush"
    )
    exempt_code: str = column(
        CODE,
        "Tax code that replaces every other, for an exempt customer",
        default="",
        refers="tax_codes",
    )
    exempt_reason: str = column(TEXT, "Why no tax is charged, as printed", default="")
    headline: str = column(
        choice("net", "gross"), "Which total is said first", default="gross"
    )
    payment_days: int = column(WHOLE, "Days to pay", default=0)
    credit_limit: Decimal | None = column(
        NOT_NEGATIVE, "Most that may be owed", default=None
    )
    ceiling: Decimal | None = column(
        PERCENT, "How far work may exceed the quote without asking", default=None
    )
    settlement: Decimal = column(
        PERCENT, "Off the total with tax for who pays early", default=ZERO
    )
    settlement_days: int = column(WHOLE, "Days within which that holds", default=0)

    def discount(self, group: str) -> Decimal:
        """Return the per cent off an income group; 0 where none is ever given.

        Source:
            docs/costing.md, step 2: never on outwork, fees and exchange surcharges.
        """
        return {
            "labour": self.discount_labour,
            "parts": self.discount_parts,
            "exchange": self.discount_exchange,
        }.get(group, ZERO)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ceiling:
    """How far the work may exceed what was said yes to before the shop asks again.

    What a country or a customer allows is for local law to say; a row is the shop's
    reading of it.
    """

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "Place and kind of offer, as people say it")
    percent: Decimal = column(PERCENT, "Per cent of what was said yes to", default=ZERO)
    amount: Decimal | None = column(
        NOT_NEGATIVE, "A fixed amount beside the per cent", default=None
    )
    combine: str = column(
        choice("greater", "lesser"),
        "Which of per cent and amount counts",
        default="greater",
    )
    cap: Decimal | None = column(NOT_NEGATIVE, "Never more than this", default=None)
    basis: str = column(
        choice("pre_tax", "total"), "Which sums are compared", default="pre_tax"
    )
    binding: bool = column(
        YES_NO,
        "Whether the price is a promise: only a new yes lifts it, nothing said before",
        default=False,
    )
    hard: bool = column(
        YES_NO, "Whether not even the owner may set it aside", default=False
    )
    written_trigger: Decimal | None = column(
        NOT_NEGATIVE,
        "Above this an estimate has to be in writing; empty: no such rule",
        default=None,
    )
    legend: str = column(TEXT, "What the quote has to say, as printed", default="")
    source: str = column(
        TEXT, "Law or other source, and who confirmed the row", default=""
    )


@dataclass(frozen=True, slots=True)
class Condition:
    """A fact and the values that meet it; empty: always met."""

    fact: str
    test: str
    words: frozenset[str]
    number: Decimal = ZERO

    def met_by(self, known: Mapping[str, Fact]) -> bool:
        """Tell whether what is *known* meets it; what is not known does not."""
        if not self.fact:
            return True
        value = known.get(self.fact)
        if value is None:
            return False
        if isinstance(value, Decimal):
            return value < self.number if self.test == "under" else value > self.number
        if isinstance(value, frozenset):
            return not self.words.isdisjoint(value)
        return value in self.words


class Conditional:
    """The columns fact, test and values, as one condition."""

    __slots__ = ()
    fact: str
    test: str
    values: tuple[str, ...]

    @property
    def condition(self) -> Condition:
        """Return what must be known for the row to apply."""
        number = Decimal(self.values[0]) if self.test != "is" else ZERO
        return Condition(self.fact, self.test, frozenset(self.values), number)


_TEST = choice("is", "under", "over")

RELATIONS = ("brings", "needs", "not_with", "not_on", "replaces")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modifier(Conditional):
    """What a fact does to prices and minutes."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As printed in the arithmetic")
    fact: str = column(choice(*FACTS), "The fact it looks at")
    values: tuple[str, ...] = column(
        CODES, "Words of the fact, or one number after under or over"
    )
    operations: tuple[str, ...] = column(
        CODES, "Operations it applies to", refers="operations"
    )
    factor: Decimal = column(POSITIVE, "What it multiplies by")
    test: str = column(_TEST, "How fact and values compare", default="is")
    scales: str = column(
        choice("unit", "line"),
        "The unit part, or the line with its base",
        default="unit",
    )
    works_on: str = column(
        choice("both", "price", "minutes"), "What is multiplied", default="both"
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relation(Conditional):
    """What one operation has to do with another, or with the head."""

    operation: str = column(CODE, "The operation", refers="operations")
    relation: str = column(
        choice(*RELATIONS),
        "brings along; needs first; cannot be done with; cannot be done on a fact; "
        "replaces at the same positions",
    )
    reason: str = column(TEXT, "Why, as shown to people")
    other: str = column(
        CODE, "The other operation; empty for not_on", default="", refers="operations"
    )
    fact: str = column(choice(*FACTS), "Only where this fact ...", default="")
    test: str = column(_TEST, "... compares so ...", default="is")
    values: tuple[str, ...] = column(CODES, "... with these values", default=())
    beside: str = column(
        CODE,
        "Only where this operation is asked for too",
        default="",
        refers="operations",
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A part with its price of the day; such rows live beside the edition."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "Name on paper")
    kind: str = column(CODE, "Kind of part, as operations consume it")
    tax_code: str = column(CODE, "Tax code of its price", refers="tax_codes")
    as_of: date = column(DATE, "Day of the price")
    aliases: tuple[str, ...] = column(TEXTS, "Other words for it", default=())
    side: str = column(choice("inlet", "exhaust"), "Only for this side", default="")
    stem_mm: Decimal | None = column(
        POSITIVE, "Only for this stem diameter, mm", default=None
    )
    layout: str = column(CODE, "Only for this layout", default="", refers="layouts")
    size_class: str = column(CODE, "Only for this size class", default="")
    price: Decimal | None = column(NOT_NEGATIVE, "List price of one", default=None)
    cost: Decimal | None = column(NOT_NEGATIVE, "What one costs the shop", default=None)
    markup: Decimal | None = column(
        PERCENT, "Mark-up on cost; empty: the shop's", default=None
    )
    margin: Decimal | None = column(
        MARGIN, "Margin on the price, instead of a mark-up", default=None
    )
    income_group: str = column(
        choice("parts", "exchange"), "exchange for an exchange head", default="parts"
    )
    surcharge: str = column(
        CODE, "Exchange surcharge that goes with it", default="", refers="surcharges"
    )
    discountable: bool = column(
        YES_NO, "Whether a customer's discount applies", default=True
    )
    supplier: str = column(TEXT, "Where it is bought", default="")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fee:
    """A charge that follows from work or is asked for, such as wash disposal."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As printed")
    price: Decimal = column(NOT_NEGATIVE, "Price of one")
    tax_code: str = column(CODE, "Tax code of its price", refers="tax_codes")
    per: str = column(
        choice("head", "job", "each"), "Due a head, a job, or as often as asked"
    )
    operations: tuple[str, ...] = column(
        CODES,
        "Any of these on a head brings the fee, once",
        default=(),
        refers="operations",
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rush:
    """A level of hurry and its price."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As printed")
    percent: Decimal | None = column(PERCENT, "Per cent of the labour", default=None)
    amount: Decimal | None = column(NOT_NEGATIVE, "Or a fixed amount", default=None)
    aliases: tuple[str, ...] = column(TEXTS, "Other words for it", default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sundries:
    """What a job pays for wheels, paste, rag and oil."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As printed")
    percent: Decimal = column(PERCENT, "Per cent of the discounted labour")
    tax_code: str = column(CODE, "Tax code", refers="tax_codes")
    cap: Decimal | None = column(NOT_NEGATIVE, "Most a job pays", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surcharge:
    """An exchange surcharge: held until the old unit comes back."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As printed")
    amount: Decimal = column(NOT_NEGATIVE, "What is charged")
    tax_code: str = column(
        CODE,
        "Tax code; one that names no tax where it is not taxed",
        refers="tax_codes",
    )
    tax_returned: bool = column(
        YES_NO, "Whether its tax goes back with it", default=True
    )
    untaxed_code: str = column(
        CODE,
        "Tax code of what goes back where its tax does not",
        default="",
        refers="tax_codes",
    )
    days: int = column(WHOLE, "Days to return the old unit", default=30)
    share_full: Decimal = column(SHARE, "Share back for a sound one", default=ONE)
    share_part: Decimal = column(SHARE, "Share back for a damaged one", default=ZERO)
    share_none: Decimal = column(SHARE, "Share back for a useless one", default=ZERO)

    def share(self, grade: str) -> Decimal:
        """Return the share from 0 to 1 that goes back for an old unit.

        Args:
            grade: ``full``, ``part`` or ``none``.
        """
        return {
            "full": self.share_full,
            "part": self.share_part,
            "none": self.share_none,
        }[grade]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkSet:
    """Operations that go together."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "Name as people say it")
    operations: tuple[str, ...] = column(
        CODES, "What it consists of", refers="operations"
    )
    aliases: tuple[str, ...] = column(TEXTS, "Other words for it", default=())
    leaves_out: tuple[str, ...] = column(
        TEXTS, "What the quote says is not included", default=()
    )
    on_board: bool = column(YES_NO, "Whether the price board shows it", default=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetPrice:
    """One price for a whole set of work."""

    set: str = column(CODE, "The set of work", refers="sets")
    price: Decimal = column(NOT_NEGATIVE, "The price")
    size_class: str = column(CODE, "Only for this size class", default="")
    layout: str = column(CODE, "Only for this layout", default="", refers="layouts")
    per: str = column(choice("head", "job"), "Due a head or a job", default="head")


_Row = TypeVar("_Row", Part, SetPrice)


def narrowest(rows: Iterable[_Row], layout: Layout | None) -> _Row | None:
    """Return the row that fits a layout most narrowly, if any does.

    A row for the layout comes before one for its size class, and that before a general
    one; of equals the first. Without a layout only a general row fits.
    """
    code = layout.code if layout else ""
    size_class = layout.size_class if layout else ""
    fitting = [
        row
        for row in rows
        if row.layout in ("", code) and row.size_class in ("", size_class)
    ]
    return max(
        fitting,
        key=lambda row: (bool(row.layout), bool(row.size_class)),
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reason:
    """Why a head came."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "As people say it")
    set: str = column(CODE, "Set of work it proposes", default="", refers="sets")
    aliases: tuple[str, ...] = column(TEXTS, "Other words for it", default=())
    leaves_out: tuple[str, ...] = column(
        TEXTS, "What the quote says is not included", default=()
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding(Conditional):
    """What an inspection looks for, and what is done about it."""

    code: str = column(CODE, "Short code, as records of past jobs have it", key=True)
    name: str = column(TEXT, "Name as said at the bench")
    counted_by: str = column(choice(*AT_RISK), "What is at risk")
    says: str = column(TEXT, "What the customer reads on a quote")
    operations: tuple[str, ...] = column(
        CODES,
        "What is done about each that is affected; empty where it condemns",
        default=(),
        refers="operations",
    )
    condemns: bool = column(
        YES_NO, "Whether the head is not worth going on with", default=False
    )
    all_of_most: bool = column(
        YES_NO, "Whether all are done where more than half are affected", default=False
    )
    share: Decimal | None = column(
        SHARE,
        "Share affected, before any job was inspected; empty: not said",
        default=None,
    )
    fact: str = column(
        choice(*FACTS), "Looked for only where this fact ...", default=""
    )
    test: str = column(_TEST, "... compares so ...", default="is")
    values: tuple[str, ...] = column(CODES, "... with these values", default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TaxRow:
    """One tax that a tax code names, for a time."""

    code: str = column(CODE, "The tax code")
    label: str = column(TEXT, "As printed")
    authority: str = column(TEXT, "Who levies it")
    category: str = column(
        choice("S", "Z", "E", "AE", "K", "G", "O"), "EN 16931 category code"
    )
    rate: Decimal = column(PERCENT, "Rate")
    order: int = column(WHOLE, "Order among the taxes of one code", default=1)
    base: str = column(
        choice("net", "net_and_prior"),
        "What it is worked out on: the net, or the net and the taxes before it",
        default="net",
    )
    reason: str = column(TEXT, "Why nothing is charged, as printed", default="")
    valid_from: date | None = column(DATE, "First day; empty: always", default=None)
    valid_to: date | None = column(DATE, "Last day; empty: open", default=None)

    def in_force(self, on: date) -> bool:
        """Tell whether the row holds on a day, first and last day included."""
        return (self.valid_from is None or self.valid_from <= on) and (
            self.valid_to is None or on <= self.valid_to
        )


PLACES = (
    "head",
    "cylinder",
    "valve",
    "guide",
    "seat",
    "spring",
    "cam",
    "journal",
    "injector",
    "prechamber",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limit:
    """A reading and what it must keep within."""

    code: str = column(CODE, "The reading; rows of one code are read from the top")
    name: str = column(TEXT, "What is read")
    place: str = column(choice(*PLACES), "What it is read on")
    unit: str = column(TEXT, "Unit of the reading")
    side: str = column(choice("inlet", "exhaust"), "Only for this side", default="")
    size_class: str = column(CODE, "Only for this size class", default="")
    layout: str = column(CODE, "Only for this layout", default="", refers="layouts")
    minimum: Decimal | None = column(NUMBER, "Least allowed", default=None)
    maximum: Decimal | None = column(NUMBER, "Most allowed", default=None)
    source: str = column(
        choice("maker", "shop"), "Whose limit it is; empty: no limit known", default=""
    )
    operation: str = column(
        CODE, "What a reading outside asks for", default="", refers="operations"
    )
    hint: str = column(TEXT, "Printed figure from elsewhere; never judges", default="")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Caution(Conditional):
    """A reminder that is printed where the work can hurt someone."""

    code: str = column(CODE, "Short code", key=True)
    name: str = column(TEXT, "One word or two, for the line that names the rest")
    rank: int = column(WHOLE, "Place in the box; 1 is the most dangerous")
    text: str = column(TEXT, "The reminder, as printed")
    operations: tuple[str, ...] = column(
        CODES,
        "Any of these brings it; empty: the fact alone",
        default=(),
        refers="operations",
    )
    fact: str = column(choice(*FACTS), "Only where this fact ...", default="")
    test: str = column(_TEST, "... compares so ...", default="is")
    values: tuple[str, ...] = column(CODES, "... with these values", default=())
    source: str = column(TEXT, "Where the reminder comes from", default="")


TABLES: Mapping[str, Table[Any]] = {
    table.name: table
    for table in (
        Table("work_centres", WorkCentre, "Places in the shop and their hourly rates"),
        Table("operations", Operation, "What is done to a head and charged for"),
        Table("class_prices", ClassPrice, "Prices and times by size class"),
        Table("layouts", Layout, "Head layouts"),
        Table("parts", Part, "Parts and their prices of the day"),
        Table("fees", Fee, "Fees"),
        Table("rush", Rush, "Levels of hurry"),
        Table("sundries", Sundries, "Sundries"),
        Table("surcharges", Surcharge, "Exchange surcharges"),
        Table("terms", Terms, "Customers' terms"),
        Table("ceilings", Ceiling, "How far work may exceed a yes"),
        Table("agreed_prices", AgreedPrice, "Prices agreed with single customers"),
        Table("modifiers", Modifier, "What a fact does to prices and minutes"),
        Table("relations", Relation, "What operations have to do with each other"),
        Table("sets", WorkSet, "Sets of work"),
        Table("set_prices", SetPrice, "One price for a whole set of work"),
        Table("reasons", Reason, "Why a head came"),
        Table(
            "findings", Finding, "What inspections look for, and what is done about it"
        ),
        Table("tax_codes", TaxRow, "Tax codes and the taxes they name"),
        Table("limits", Limit, "Readings and their limits"),
        Table("cautions", Caution, "Reminders for dangerous work"),
        Table("countries", Country, "What a country asks of documents and deposits"),
        Table("wording", Wording, "What documents of a country say in a language"),
        Table("regions", Region, "What states and provinces tax"),
        Table("tax_rules", TaxRule, "Rules by which a document decides its tax"),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shop:
    """What holds for the whole shop: the keys of shop.toml."""

    name: str = column(TEXT, "Name of the shop")
    edition: str = column(TEXT, "Name of this edition of the rate tables")
    valid_from: date = column(DATE, "First day of the edition")
    currency: str = column(CODE, "ISO 4217 code")
    tax: str = column(CODE, "Which table of the folder tax/ is used")
    hourly_rate: Decimal = column(NOT_NEGATIVE, "Price of an hour of free work")
    cost_rate: Decimal = column(NOT_NEGATIVE, "What an hour of free work costs")
    sundries: str = column(CODE, "Row of sundries.csv", refers="sundries")
    terms: str = column(
        CODE, "Terms of a customer who has none of his own", refers="terms"
    )
    tax_labour: str = column(CODE, "Tax code of free lines", refers="tax_codes")
    tax_parts: str = column(CODE, "Tax code of other parts", refers="tax_codes")
    tax_outwork: str = column(CODE, "Tax code of outwork", refers="tax_codes")
    tax_old_unit: str = column(
        CODE,
        "Tax code, of no tax, of an old unit taken in exchange where tax is due on its "
        "worth as well",
        default="",
        refers="tax_codes",
    )
    deposits: str = column(
        choice("part_payment", "security"),
        "What money taken before an invoice is: a part payment, or held as a security",
        default="part_payment",
    )
    ceiling: str = column(
        CODE,
        "Row of ceilings.csv; empty: only the customer's terms count",
        default="",
        refers="ceilings",
    )
    notice: str = column(TEXT, "A line under the shop's name on paper", default="")
    address: tuple[str, ...] = column(TEXTS, "Lines of the address", default=())
    phone: str = column(TEXT, "Telephone", default="")
    email: str = column(TEXT, "E-mail", default="")
    tax_number: str = column(TEXT, "Tax number, on invoices only", default="")
    region_tax_number: str = column(
        TEXT, "Tax number of the state or province, where it has its own", default=""
    )
    cash_accounting: bool = column(
        YES_NO,
        "Whether tax is due when an invoice is paid; documents then say so, and the "
        "figures of a month do not change",
        default=False,
    )
    legal_name: str = column(
        TEXT, "Name in law, on invoices, where it differs", default=""
    )
    register_number: str = column(
        TEXT, "Number in a register of companies, on invoices", default=""
    )
    postcode: str = column(
        TEXT, "Postcode, as a line of the address has it", default=""
    )
    town: str = column(TEXT, "Town, as a line of the address has it", default="")
    country: str = column(
        CODE,
        "Row of countries.csv; empty: documents follow no country's rules",
        default="",
        refers="countries",
    )
    region: str = column(CODE, "State or province: a row of regions.csv", default="")
    language: str = column(
        CODE,
        "Language of documents: a row of wording.csv; empty: the locale's",
        default="",
    )
    iban: str = column(TEXT, "Account to pay to: its IBAN (ISO 13616)", default="")
    bic: str = column(TEXT, "Its bank's BIC (ISO 9362)", default="")
    account_holder: str = column(
        TEXT, "Whose account it is; empty: the shop's", default=""
    )
    digits: int = column(WHOLE, "Decimals of the currency's smallest unit", default=2)
    locale: str = column(TEXT, "How money and dates are written", default="en_GB")
    paper: str = column(choice("A4", "Letter"), "Paper size", default="A4")
    job_minimum: Decimal = column(NOT_NEGATIVE, "Least labour of a job", default=ZERO)
    parts_markup: Decimal = column(PERCENT, "Mark-up on parts at cost", default=ZERO)
    outwork_markup: Decimal = column(PERCENT, "Mark-up on outwork", default=ZERO)
    no_fix_cap: Decimal | None = column(
        NOT_NEGATIVE, "Most that a condemned head pays for work", default=None
    )
    no_fix_per: str = column(
        choice("head", "job"), "Whether that cap is a head's or a job's", default="head"
    )
    validity_days: int = column(WHOLE, "Days that a quote holds", default=30)
    size_unit: str = column(
        choice("mm", "thou", "in"), "Unit of a size that names none", default="mm"
    )
    size_classes: tuple[str, ...] = column(
        CODES, "Size classes in their order; empty: as layouts.csv has them", default=()
    )
    decimal_mark: str = column(
        choice(".", ","), "Decimal mark in the tables of this folder", default="."
    )
    guarantee: str = column(TEXT, "Guarantee, as printed on papers", default="")
    how_to_accept: str = column(TEXT, "How to say yes, as printed", default="")
    number_quote: str = column(
        NUMBER_START, "What the numbers of quotes begin with", default="Q"
    )
    number_order: str = column(
        NUMBER_START, "What the numbers of work orders begin with", default="W"
    )
    number_receipt: str = column(
        NUMBER_START, "What the numbers of deposits taken begin with", default="D"
    )
    number_invoice: str = column(
        NUMBER_START, "What the numbers of invoices begin with", default="I"
    )
    number_deposit_invoice: str = column(
        NUMBER_START, "What the numbers of invoices of deposits begin with", default="A"
    )
    number_credit_note: str = column(
        NUMBER_START, "What the numbers of credit notes begin with", default="C"
    )
    number_payment: str = column(
        NUMBER_START, "What the numbers of payments begin with", default="P"
    )
    number_refund: str = column(
        NUMBER_START, "What the numbers of refunds begin with", default="R"
    )
    number_given_up: str = column(
        NUMBER_START, "What the numbers of debts given up begin with", default="G"
    )
    number_deposit_settled: str = column(
        NUMBER_START, "What the numbers of deposits settled begin with", default="S"
    )
    number_surcharge_kept: str = column(
        NUMBER_START,
        "What the numbers of exchange surcharges kept begin with",
        default="K",
    )
    number_cash_count: str = column(
        NUMBER_START, "What the numbers of counts of the till begin with", default="T"
    )

    def number_start(self, series: str) -> str:
        """Return what the numbers of a series begin with, such as ``credit note``."""
        start: str = getattr(self, f"number_{series.replace(' ', '_')}")
        return start

    @property
    def spoken(self) -> str:
        """Return the language of documents: the shop's, else that of its locale."""
        return self.language or self.locale.replace("-", "_").partition("_")[0]

    @property
    def street(self) -> tuple[str, ...]:
        """Return the lines of the address without those of postcode and town."""
        own = {self.postcode, self.town, f"{self.postcode} {self.town}"} - {"", " "}
        return tuple(line for line in self.address if line not in own)


#: Keys of shop.toml that say what the numbers of a series begin with.
NUMBER_STARTS = tuple(f.name for f in fields(Shop) if f.name.startswith("number_"))
#: Those of documents that law has a number for.
DOCUMENT_STARTS = ("number_invoice", "number_deposit_invoice", "number_credit_note")

#: Keys of shop.toml that name a row of a table.
TABLES_OF_SHOP: Mapping[str, str] = {
    f.name: f.metadata["column"].refers
    for f in fields(Shop)
    if f.metadata["column"].refers
}


def side_of(word: str) -> Side | None:
    """Return the side that ``inlet`` or ``exhaust`` names; None for an empty word."""
    return {"inlet": Side.INLET, "exhaust": Side.EXHAUST}.get(word)
