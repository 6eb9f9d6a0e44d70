"""Tax: amounts with their tax codes in, groups and totals out, by a stored policy.

Pure. Rates are per cent, amounts Decimal in the currency's major unit. A line has one
tax code; a code names one or more taxes in order. Nothing here knows a country: rates,
labels and rounding rules are rows of the shop's tables, and every document keeps the
policy it was worked out with.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from quoting.domain.money import (
    DOWN,
    HALF_DOWN,
    HALF_UP,
    HUNDRED,
    ONE,
    UP,
    ZERO,
    apportion,
    fit,
    round_to,
)
from quoting.domain.tables import POSITIVE, WHOLE, YES_NO, CellError, choice, column


@dataclass(frozen=True, slots=True)
class Tax:
    """One tax that a code names; label and reason do not tell two taxes apart.

    Attributes:
        authority: who levies it.
        category: EN 16931 category code (S, Z, E, AE, O ...).
        rate: per cent.
        label: as printed, such as "VAT 20 %".
        on_prior: whether it is worked out on the net plus the taxes before it.
        reason: why nothing is charged, where nothing is.
    """

    authority: str
    category: str
    rate: Decimal
    label: str = field(default="", compare=False)
    on_prior: bool = False
    reason: str = field(default="", compare=False)


Taxes = tuple[Tax, ...]


_MODE_WORDS = {"half_up": HALF_UP, "half_down": HALF_DOWN, "down": DOWN, "up": UP}


def _mode(text: str) -> str:
    if text not in _MODE_WORDS:
        raise CellError
    return _MODE_WORDS[text]


_MODE = choice(*_MODE_WORDS)._replace(read=_mode)


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """How a document's tax is worked out; stored with the document."""

    level: str = column(
        choice("document", "line", "unit"),
        "Round once per group and document, per line, or per unit",
        default="document",
    )
    document_mode: str = column(_MODE, "Rounding of each group", default=HALF_UP)
    line_digits: int | None = column(
        WHOLE, "Decimals that a line's tax is rounded to; empty: not", default=None
    )
    line_mode: str = column(_MODE, "Rounding of a line's tax", default=HALF_UP)
    unit_step: Decimal | None = column(
        POSITIVE, "Step that the tax in one unit is rounded to", default=None
    )
    unit_mode: str = column(_MODE, "Rounding of the tax in one unit", default=HALF_UP)
    unit_never_nil: bool = column(
        YES_NO, "Whether a unit's tax is at least one step", default=False
    )
    aggregate: bool = column(
        YES_NO, "Whether the taxes of one code are rounded together", default=False
    )
    prior_rounded: bool = column(
        YES_NO, "Whether a tax on taxes stands on rounded ones", default=True
    )
    inclusive: bool = column(
        YES_NO, "Whether the document's prices contain their tax", default=False
    )
    cash_step: Decimal | None = column(
        POSITIVE, "Step of what is paid in cash; empty: no rounding", default=None
    )
    cash_mode: str = column(_MODE, "Rounding to that step", default=HALF_UP)


class Amount(NamedTuple):
    """What a document charges under one code: net, or gross where inclusive."""

    amount: Decimal
    taxes: Taxes
    code: str = ""
    quantity: Decimal = ONE


class Group(NamedTuple):
    """One row of a document's tax table."""

    tax: Tax
    base: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Assessment:
    """A document's tax: its groups, and net + tax = gross."""

    groups: tuple[Group, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal


def effective_rates(taxes: Taxes) -> tuple[Decimal, ...]:
    """Return each tax as per cent of the net; a compound one with what it stands on.

    >>> gst = Tax("federal", "S", Decimal(5))
    >>> qst = Tax("province", "S", Decimal("9.5"), on_prior=True)
    >>> effective_rates((gst, qst))
    (Decimal('5'), Decimal('9.975'))
    """
    rates: list[Decimal] = []
    for tax in taxes:
        prior = sum(rates, ZERO) if tax.on_prior else ZERO
        rates.append(tax.rate * (HUNDRED + prior) / HUNDRED if prior else tax.rate)
    return tuple(rates)


def contained(
    gross: Decimal, taxes: Taxes, unit: Decimal, mode: str = HALF_UP
) -> tuple[Decimal, ...]:
    """Return the tax of each of *taxes* inside *gross*: gross x e / (100 + E), rounded.

    e is the tax as per cent of the net, E the sum of them all; *unit* is the smallest
    one of the currency.

    Source:
        docs/costing.md, step 10: prices that contain tax.

    >>> contained(Decimal("249.99"), (Tax("X", "S", Decimal("13.5")),), Decimal("0.01"))
    (Decimal('29.73'),)
    """
    rates = effective_rates(taxes)
    whole = HUNDRED + sum(rates, ZERO)
    return tuple(round_to(gross * rate / whole, unit, mode) for rate in rates)


def without_tax(gross: Decimal, taxes: Taxes, unit: Decimal) -> Decimal:
    """Return what *gross* is for somebody who owes no tax: gross x 100 / (100 + E).

    E is the sum of the taxes as per cent of the net; the result is rounded to *unit*.

    Source:
        docs/costing.md, step 10: a customer who owes no tax.

    >>> without_tax(Decimal("7.72"), (Tax("X", "S", Decimal(20)),), Decimal("0.01"))
    Decimal('6.43')
    """
    whole = HUNDRED + sum(effective_rates(taxes), ZERO)
    return round_to(gross * HUNDRED / whole, unit)


def assess(amounts: Iterable[Amount], policy: Policy, unit: Decimal) -> Assessment:
    """Work out the tax of a document.

    Args:
        amounts: of every line, each already rounded to *unit*; gross amounts where
            the policy is inclusive, else net ones. Their order never matters to the
            totals, only to the order of the groups.
        policy: how to round.
        unit: the currency's smallest unit.

    Returns:
        One group for each (authority, category, rate), in the order first met.

    Source:
        EN 16931 BR-CO-17 and BR-S-08: one breakdown per category and rate, tax
        rounded once on the sum of its nets. Other levels: A New Tax System (Goods
        and Services Tax) Act 1999 s 9-90; Notice 700 s 17.5; Streamlined Sales and
        Use Tax Agreement s 324.
    """
    chains = _by_taxes(amounts)
    if policy.inclusive:
        return _inclusive(chains, policy, unit)
    exact: dict[Tax, Decimal] = {}
    bases: dict[Tax, Decimal] = {}
    total_net = ZERO
    for taxes, amounts_of in chains.items():
        net = sum((entry.amount for entry in amounts_of), ZERO)
        total_net += net
        for tax, (base, owed) in zip(
            taxes, _owed(taxes, net, amounts_of, policy, unit), strict=True
        ):
            bases[tax] = bases.get(tax, ZERO) + base
            exact[tax] = exact.get(tax, ZERO) + owed
    groups = tuple(
        Group(tax, bases[tax], round_to(owed, unit, policy.document_mode))
        for tax, owed in exact.items()
    )
    total = sum((group.amount for group in groups), ZERO)
    return Assessment(groups, total_net, total, total_net + total)


def _by_taxes(amounts: Iterable[Amount]) -> dict[Taxes, list[Amount]]:
    chains: dict[Taxes, list[Amount]] = {}
    for entry in amounts:
        chains.setdefault(entry.taxes, []).append(entry)
    return chains


def _owed(
    taxes: Taxes,
    net: Decimal,
    amounts: Sequence[Amount],
    policy: Policy,
    unit: Decimal,
) -> list[tuple[Decimal, Decimal]]:
    """Return (base, tax before the group's rounding) of each tax of one code."""
    rates = effective_rates(taxes)
    if policy.aggregate:
        whole = round_to(net * sum(rates, ZERO) / HUNDRED, unit, policy.document_mode)
        shown = apportion(whole, rates, unit)
        return [(net, owed) for owed in shown]
    owed: list[tuple[Decimal, Decimal]] = []
    prior = ZERO
    for tax, rate in zip(taxes, rates, strict=True):
        base = net + prior if tax.on_prior else net
        if policy.level == "document":
            exact = base * tax.rate / HUNDRED
        else:
            exact = sum((_of_line(entry, rate, policy) for entry in amounts), ZERO)
        owed.append((base, exact))
        prior += (
            round_to(exact, unit, policy.document_mode)
            if policy.prior_rounded
            else exact
        )
    return owed


def _of_line(entry: Amount, rate: Decimal, policy: Policy) -> Decimal:
    exact = entry.amount * rate / HUNDRED
    if policy.level == "unit" and policy.unit_step is not None and entry.quantity:
        in_one = exact / entry.quantity
        rounded = round_to(in_one, policy.unit_step, policy.unit_mode)
        if policy.unit_never_nil and in_one and not rounded:
            rounded = policy.unit_step.copy_sign(in_one)
        exact = rounded * entry.quantity
    if policy.line_digits is None:
        return exact
    return round_to(exact, ONE.scaleb(-policy.line_digits), policy.line_mode)


def _inclusive(
    chains: Mapping[Taxes, Sequence[Amount]], policy: Policy, unit: Decimal
) -> Assessment:
    grosses = {
        taxes: sum((entry.amount for entry in entries), ZERO)
        for taxes, entries in chains.items()
    }
    # The exact tax of each group over the codes that name it, rounded once ...
    parts: dict[Tax, dict[Taxes, Decimal]] = {}
    for taxes, entries in chains.items():
        rates = effective_rates(taxes)
        whole = HUNDRED + sum(rates, ZERO)
        for tax, rate in zip(taxes, rates, strict=True):
            if policy.level == "document":
                exact = grosses[taxes] * rate / whole
            else:
                exact = sum(
                    (_of_line(e, rate * HUNDRED / whole, policy) for e in entries), ZERO
                )
            parts.setdefault(tax, {})[taxes] = exact
    owed = {
        tax: round_to(sum(by.values(), ZERO), unit, policy.document_mode)
        for tax, by in parts.items()
    }
    # ... and handed back to the codes, so that each code's net is gross - taxes.
    inside: dict[Taxes, dict[Tax, Decimal]] = {taxes: {} for taxes in chains}
    for tax, by in parts.items():
        shares = apportion(owed[tax], list(by.values()), unit) if owed[tax] else ()
        for taxes, share in zip(by, shares, strict=False):
            inside[taxes][tax] = share
    bases = dict.fromkeys(parts, ZERO)
    for taxes, by_tax in inside.items():
        within = [by_tax.get(tax, ZERO) for tax in taxes]
        net = grosses[taxes] - sum(within, ZERO)
        for tax, base in zip(taxes, bases_of(taxes, net, within), strict=True):
            bases[tax] += base
    groups = tuple(Group(tax, bases[tax], owed[tax]) for tax in parts)
    gross = sum(grosses.values(), ZERO)
    tax_total = sum(owed.values(), ZERO)
    return Assessment(groups, gross - tax_total, tax_total, gross)


def bases_of(
    taxes: Taxes, net: Decimal, owed: Sequence[Decimal]
) -> tuple[Decimal, ...]:
    """Return what each of *taxes* is worked out on: *net*, or net and taxes before.

    >>> gst = Tax("federal", "S", Decimal(5))
    >>> qst = Tax("province", "S", Decimal("9.5"), on_prior=True)
    >>> bases_of((gst, qst), Decimal("100.00"), (Decimal("5.00"), Decimal("9.98")))
    (Decimal('100.00'), Decimal('105.00'))
    """
    return tuple(
        net + sum(owed[:i], ZERO) if tax.on_prior else net
        for i, tax in enumerate(taxes)
    )


def taxes_by_line(
    amounts: Sequence[Amount], assessment: Assessment, policy: Policy, unit: Decimal
) -> tuple[tuple[Decimal, ...], ...]:
    """Return each line's share of each of its taxes; they add up to every group.

    Args:
        amounts: of the lines, as they were given to ``assess``.
        assessment: what it made of them.
        policy: that it was given.
        unit: the currency's smallest unit.

    Returns:
        For each line one amount for each of its taxes, in their order.

    Raises:
        NothingToSplitError: a group has a tax and none of its lines has any.

    Source:
        Largest remainder of each group's tax over the exact taxes of its lines:
        docs/decisions/0004-rounding.md.
    """
    shown = [[ZERO] * len(entry.taxes) for entry in amounts]
    for group in assessment.groups:
        members = [i for i, entry in enumerate(amounts) if group.tax in entry.taxes]
        exact = [_exact(amounts[i], group.tax, policy) for i in members]
        for i, part in zip(members, fit(exact, group.amount, unit), strict=True):
            shown[i][amounts[i].taxes.index(group.tax)] += part
    return tuple(map(tuple, shown))


def shown_by_line(
    amounts: Sequence[Amount], assessment: Assessment, policy: Policy, unit: Decimal
) -> tuple[Decimal, ...]:
    """Return a tax for each line such that shown lines add up to the document's tax.

    The sums of what ``taxes_by_line`` gives.

    Raises:
        NothingToSplitError: as there.
    """
    shares = taxes_by_line(amounts, assessment, policy, unit)
    return tuple(sum(taxes, ZERO) for taxes in shares)


def _exact(entry: Amount, tax: Tax, policy: Policy) -> Fraction:
    rates = effective_rates(entry.taxes)
    whole = HUNDRED + sum(rates, ZERO) if policy.inclusive else HUNDRED
    rate = rates[entry.taxes.index(tax)]
    return Fraction(entry.amount) * Fraction(rate) / Fraction(whole)


class Part(NamedTuple):
    """What a payment covers of the amounts under one code."""

    taxes: Taxes
    gross: Decimal
    tax: tuple[Decimal, ...]

    @property
    def net(self) -> Decimal:
        """Return gross less its taxes."""
        return self.gross - sum(self.tax, ZERO)


def split_gross(
    gross: Decimal, amounts: Iterable[Amount], policy: Policy, unit: Decimal
) -> tuple[Part, ...]:
    """Split a round gross figure over the codes of a document, by their gross.

    For a deposit that is taxed on receipt, and for "call it 600 all in".

    Args:
        gross: a multiple of *unit*.
        amounts: of the document, net or gross as its policy says.
        policy: of the document.
        unit: the currency's smallest unit.

    Returns:
        One part for each distinct tuple of taxes, in order; the grosses add up.

    Raises:
        NothingToSplitError: there are no amounts, or their grosses cancel out.

    Source:
        docs/costing.md, step 8: "call it 600 all in".
    """
    chains = _by_taxes(amounts)
    weights = [assess(entries, policy, unit).gross for entries in chains.values()]
    if weights and not any(weights):
        weights[0] = ONE  # all of it was free of charge so far
    return tuple(
        Part(taxes, share, contained(share, taxes, unit, policy.document_mode))
        for taxes, share in zip(chains, apportion(gross, weights, unit), strict=True)
    )


def to_pay_in_cash(due: Decimal, policy: Policy) -> Decimal:
    """Return *due* rounded to the policy's cash step; the tax is not touched.

    Source:
        Canada Revenue Agency, GI-131: to the nearest 0.05, the tax unchanged.

    >>> to_pay_in_cash(Decimal("202.27"), Policy(cash_step=Decimal("0.05")))
    Decimal('202.25')
    """
    if policy.cash_step is None:
        return due
    return round_to(due, policy.cash_step, policy.cash_mode)
