"""A yes on record, and how far the work may go without another one.

Pure. Amounts are Decimal in the quote's currency. What may exceed an estimate is law
that differs by place: the rule is a row of data, an example that a licensed adviser
confirms, never a constant here.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Override
from quoting.domain.life import sets_aside
from quoting.domain.money import DOWN, HUNDRED, ZERO, round_to
from quoting.domain.rates import Ceiling, Terms


class How(StrEnum):
    """How a yes was said; the value is both what is stored and what is read."""

    IN_PERSON = "in person"
    SIGNED = "signed"
    PHONE = "by phone"
    TEXT = "text message"
    EMAIL = "e-mail"
    ORDER = "written order"

    @property
    def written(self) -> bool:
        """Tell whether something in writing can be filed with it."""
        return self not in (How.IN_PERSON, How.PHONE)


class NamelessYesError(RuleError):
    """Nobody is named who said yes."""

    message = translatable("A yes needs the name of who said it.")


@dataclass(frozen=True, slots=True)
class Consent:
    """Who said yes, how and when, to what and up to how much.

    Attributes:
        by: who said it.
        how: in which way.
        up_to: the most that may be spent, with tax; None: the total of what was said
            yes to.
        note: the words, or where the written reply is kept.
        on: the day on which it was said, in the shop; None: when it is recorded.
        at: the time of that day, as 14:05.
        contact: the number or address by which it came.
        alternative: its place in the quote, from 1; None: the quote has one.
        revision: its number; None: the latest.

    Raises:
        NamelessYesError: *by* is blank.

    Source:
        What is kept of a yes: 16 CCR 3353 and 3354 (California: date, time, name,
        manner, number).
    """

    by: str
    how: How
    up_to: Decimal | None = None
    note: str = ""
    on: date | None = None
    at: str = ""
    contact: str = ""
    alternative: int | None = None
    revision: int | None = None

    def __post_init__(self) -> None:
        if not self.by.strip():
            raise NamelessYesError


class NeedsYesError(RuleError):
    """The work comes to more than may be charged without another yes."""

    message = translatable(
        "This comes to {amount}, {over} more than the {limit} that may be charged "
        "without asking. Record a yes first, or let the owner go on without one, by "
        "name and with a reason."
    )


class HardCeilingError(NeedsYesError):
    """It does, and where the shop is nobody may set that aside."""

    message = translatable(
        "This comes to {amount}, {over} more than the {limit} that may be charged "
        "without asking ({rule}). Record a yes first: not even the owner may go on "
        "without one."
    )


def on_basis(
    amount: Decimal,
    ceiling: Ceiling | None,
    *,
    net: Decimal,
    total: Decimal,
    unit: Decimal,
) -> Decimal:
    """Return an amount that was said with tax as *ceiling* compares it.

    Args:
        amount: with tax: a total, or "up to X without asking".
        ceiling: the rule; None compares totals.
        net: of the priced job that the amount is about, before tax.
        total: of the same job, with tax.
        unit: the currency's smallest; a share of tax is rounded down to it.

    Returns:
        The amount itself, or where the rule compares before tax its share that is no
        tax: of a job's total exactly its net.

    >>> row = Ceiling(code="X", name="before tax", basis="pre_tax")
    >>> net, total, cent = Decimal(400), Decimal(480), Decimal("0.01")
    >>> on_basis(Decimal(500), row, net=net, total=total, unit=cent)
    Decimal('416.66')
    """
    if ceiling is None or ceiling.basis == "total" or not total:
        return amount
    return round_to(amount * net / total, unit, DOWN)


def most_without_asking(
    accepted: Decimal,
    ceiling: Ceiling | None,
    standing: Decimal | None = None,
    terms: Terms | None = None,
    *,
    unit: Decimal,
) -> Decimal:
    """Return the most that may be charged on a yes to *accepted*.

    The rule gives an excess; the per cent of the customer's own terms replaces it, but
    under a rule that is hard or a promise only where it is less. An amount that the
    customer named for this job replaces both, unless the rule is a promise; it never
    takes back the yes itself.

    Args:
        accepted: what was said yes to, on the basis of *ceiling*.
        ceiling: the rule; None: no excess but by the customer's own word.
        standing: "up to X without asking", on the same basis.
        terms: the customer's.
        unit: the currency's smallest; the excess is rounded down to it.

    Source:
        The rows' own sources; the shape is that of Florida Statutes 559.909, MCL
        257.1307e and RCW 46.71.025. Which of customer and rule comes first is the
        shop's choice (common practice, no source).

    >>> tenth = Ceiling(code="X", name="a tenth", percent=Decimal(10))
    >>> most_without_asking(Decimal("333.33"), tenth, unit=Decimal("0.01"))
    Decimal('366.66')
    """
    excess = _excess(accepted, ceiling) if ceiling else ZERO
    if terms is not None and terms.ceiling is not None:
        own = accepted * terms.ceiling / HUNDRED
        narrows = ceiling is not None and (ceiling.hard or ceiling.binding)
        excess = min(own, excess) if narrows else own
    if standing is not None and not (ceiling and ceiling.binding):
        return max(accepted, standing)
    return accepted + round_to(excess, unit, DOWN)


def _excess(accepted: Decimal, row: Ceiling) -> Decimal:
    excess = accepted * row.percent / HUNDRED
    if row.amount is not None:
        choose = max if row.combine == "greater" else min
        excess = choose(excess, row.amount)
    return excess if row.cap is None else min(excess, row.cap)


def check_ceiling(
    amount: Decimal,
    limit: Decimal,
    ceiling: Ceiling | None,
    *,
    despite: Override | None = None,
) -> None:
    """Refuse to charge *amount* where it exceeds *limit* and nobody said yes to it.

    Args:
        amount: that the work comes to, on the basis of *ceiling*.
        limit: as ``most_without_asking`` has it.
        ceiling: the rule.
        despite: who goes on without a yes, and why; a hard rule does not give way.

    Raises:
        NeedsYesError: it exceeds the limit, and nobody sets the rule aside.
        HardCeilingError: it exceeds the limit, and nobody may.
    """
    if amount <= limit:
        return
    over = amount - limit
    if ceiling is not None and ceiling.hard:
        raise HardCeilingError(amount=amount, over=over, limit=limit, rule=ceiling.name)
    if not sets_aside(despite):
        raise NeedsYesError(amount=amount, over=over, limit=limit)


def must_be_written(amount: Decimal, ceiling: Ceiling | None) -> bool:
    """Tell whether an estimate of *amount* has to be in writing before work starts.

    Args:
        amount: of the estimate, on the basis of *ceiling*.
        ceiling: the rule.
    """
    trigger = None if ceiling is None else ceiling.written_trigger
    return trigger is not None and amount > trigger
