"""A job: the heads that came, the work asked for, and on what terms.

Pure. What stands here is what a person said or chose; nothing in it is worked out.
Amounts are Decimal in the edition's currency and price mode, shares run from 0 to 1,
rates are per cent. Records that a job file writes down as they are have columns.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import Head, Position, Side
from quoting.domain.lengths import Length
from quoting.domain.rates import GROUPS, AgreedPrice, Terms
from quoting.domain.tables import (
    CODE,
    DATE,
    NOT_NEGATIVE,
    PERCENT,
    POSITIVE,
    TEXT,
    YES_NO,
    choice,
    column,
)


class Selection(NamedTuple):
    """Which valves, cylinders or pieces an operation is asked for; all by default.

    Attributes:
        side: inlet or exhaust only.
        cylinders: these cylinders only.
        positions: exactly these valves.
        number: so many, not yet known which; or a chosen or measured quantity.
    """

    side: Side | None = None
    cylinders: tuple[int, ...] = ()
    positions: tuple[Position, ...] = ()
    number: Decimal | None = None


ALL = Selection()


class OwnPrice(NamedTuple):
    """A price that somebody set by hand, and why."""

    amount: Decimal
    reason: str
    discountable: bool = False


class Override(NamedTuple):
    """Who sets a rule of the house aside, and why."""

    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Asked:
    """One operation asked for.

    Attributes:
        operation: its code.
        heads: tags of the heads; empty: every head that came.
        which: what of each head.
        size: such as the depth of a skim.
        own: a price set by hand for all of it.
        warranty: the share that the shop bears, 1 for all of it.
        again: the machinist sets up again for it, so another base is due.
        despite: who sets aside a rule that forbids it.
        because: why it is proposed, where nobody asked for it.
        set: code of the set of work it belongs to.
    """

    operation: str
    heads: tuple[str, ...] = ()
    which: Selection = ALL
    size: Length | None = None
    own: OwnPrice | None = None
    warranty: Decimal | None = None
    again: bool = False
    despite: Override | None = None
    because: str = ""
    set: str = ""


@dataclass(frozen=True, slots=True)
class AskedSet:
    """One set of work asked for; ``own`` is a price set by hand for the whole set."""

    set: str
    heads: tuple[str, ...] = ()
    size: Length | None = None
    own: OwnPrice | None = None


@dataclass(frozen=True, slots=True)
class FreeLine:
    """Work that no table knows: hours at a rate, or an amount."""

    description: str = column(TEXT, "What is done")
    hours: Decimal | None = column(POSITIVE, "Hours", default=None)
    rate: Decimal | None = column(
        NOT_NEGATIVE, "Price of an hour; missing: the shop's", default=None
    )
    amount: Decimal | None = column(NOT_NEGATIVE, "Or an amount", default=None)
    tax_code: str = column(CODE, "Tax code", default="", refers="tax_codes")
    group: str = column(choice(*GROUPS), "Income group", default="labour")
    discountable: bool = column(YES_NO, "Whether it is discounted", default=False)


@dataclass(frozen=True, slots=True)
class AskedPart:
    """A part: of the table by its code, or described here.

    Attributes:
        quantity: how many; None: as many as the operation it is consumed by has units.
        own_stock: the customer brings it, so it costs nothing and has no warranty.
        warranty: the share that the shop bears.
        old_unit: grade of the old unit if it is handed in with the sale.
        worth: of one old unit as agreed; counts where tax is due on it.
    """

    code: str = ""
    description: str = ""
    quantity: Decimal | None = None
    price: Decimal | None = None
    cost: Decimal | None = None
    markup: Decimal | None = None
    margin: Decimal | None = None
    tax_code: str = ""
    group: str = "parts"
    discountable: bool = True
    surcharge: str = ""
    old_unit: str = ""
    worth: Decimal | None = None
    own_stock: bool = False
    warranty: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Outwork:
    """Work that another shop does: its cost, and a mark-up."""

    description: str = column(TEXT, "What is done")
    cost: Decimal = column(NOT_NEGATIVE, "What the other shop charges")
    markup: Decimal | None = column(
        PERCENT, "Mark-up; missing: the shop's", default=None
    )
    tax_code: str = column(CODE, "Tax code", default="", refers="tax_codes")


@dataclass(frozen=True, slots=True)
class AskedFee:
    """A fee asked for, or with quantity 0 one that is left out."""

    code: str
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Deposit:
    """Money taken before the work is invoiced."""

    amount: Decimal = column(POSITIVE, "Amount")
    on: date | None = column(DATE, "Day", default=None)
    method: str = column(TEXT, "How it was paid", default="")


@dataclass(frozen=True, slots=True)
class Exemption:
    """Why this customer owes no tax."""

    code: str = column(CODE, "Tax code that replaces every other", refers="tax_codes")
    reason: str = column(TEXT, "Reason, as printed")
    certificate: str = column(TEXT, "Number of the certificate", default="")


@dataclass(frozen=True, slots=True)
class Job:
    """Everything that one calculation of a price takes, beside the edition.

    Attributes:
        heads: that came; none where loose parts came.
        reason: code of why it came.
        propose: whether what work brings along and uses up is put in by itself.
        declined: codes of operations and part kinds left out, with the reason.
        minutes_factor: percentile of the job's timed minutes over their mean.
        answers: what taxes hang on and was answered with yes, as ``country.Answer``.
        aside: by its code, who sets a rule of the tax aside, and why.
        call_it: "600 all in": the gross total agreed, and why.
    """

    heads: tuple[Head, ...]
    reason: str = ""
    work: tuple[Asked, ...] = ()
    sets: tuple[AskedSet, ...] = ()
    free: tuple[FreeLine, ...] = ()
    parts: tuple[AskedPart, ...] = ()
    outwork: tuple[Outwork, ...] = ()
    fees: tuple[AskedFee, ...] = ()
    terms: Terms | None = None
    agreed: Mapping[tuple[str, str], AgreedPrice] = field(default_factory=dict)
    exemption: Exemption | None = None
    rush: str = ""
    call_it: OwnPrice | None = None
    deposits: tuple[Deposit, ...] = ()
    propose: bool = True
    declined: Mapping[str, str] = field(default_factory=dict)
    minutes_factor: Decimal = Decimal(1)
    answers: tuple[str, ...] = ()
    aside: Mapping[str, Override] = field(default_factory=dict)


def agreed_prices(
    edition: Edition, terms: Terms
) -> Mapping[tuple[str, str], AgreedPrice]:
    """Return what *terms* agree: by operation or set, and size class (or empty)."""
    return {
        (code, size_class): agreed
        for (of, code, size_class), agreed in edition.agreed_prices.items()
        if of == terms.code
    }
