"""Money: the currency, the one rounding function, and splitting without losing a cent.

Pure. Amounts are ``Decimal`` in the currency's major unit. Nothing here looks at the
ambient decimal context beyond its 28 digits, and nothing is a float.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_DOWN, ROUND_HALF_UP, ROUND_UP, Decimal
from fractions import Fraction
from functools import cache

from quoting.domain.errors import RuleError, translatable

ZERO = Decimal(0)
ONE = Decimal(1)
HUNDRED = Decimal(100)

HALF_UP = ROUND_HALF_UP
HALF_DOWN = ROUND_HALF_DOWN
DOWN = ROUND_DOWN
UP = ROUND_UP

#: All are symmetric about zero, so that a credit mirrors its invoice.
MODES = (HALF_UP, HALF_DOWN, DOWN, UP)


@dataclass(frozen=True, slots=True)
class Currency:
    """An ISO 4217 code and how many decimals its smallest unit has (0, 2 or 3)."""

    code: str
    digits: int

    @property
    def unit(self) -> Decimal:
        """Return the smallest unit: ``0.01`` for two digits."""
        return smallest_unit(self.digits)

    def to_minor(self, amount: Decimal) -> int:
        """Return an amount as a whole number of the smallest unit.

        Raises:
            TooFineError: the amount has a digit more than the currency.

        >>> Currency("EUR", 2).to_minor(Decimal("812.4"))
        81240
        """
        minor = amount.scaleb(self.digits)
        if minor != (whole := int(minor)):
            raise TooFineError(amount=amount, currency=self.code)
        return whole

    def from_minor(self, minor: int) -> Decimal:
        """Return the amount that a number of smallest units is.

        >>> Currency("KWD", 3).from_minor(1500)
        Decimal('1.500')
        """
        return Decimal(minor).scaleb(-self.digits)


class TooFineError(RuleError):
    """An amount has more decimals than its currency."""

    message = translatable("{amount} is finer than the smallest coin of {currency}.")


class NothingToSplitError(RuleError):
    """An amount was to be spread over weights that add up to nothing."""

    message = translatable(
        "{amount} cannot be spread: there is nothing to spread it on."
    )


@cache
def smallest_unit(digits: int) -> Decimal:
    """Return ``10 ** -digits``.

    >>> smallest_unit(3)
    Decimal('0.001')
    """
    return ONE.scaleb(-digits)


@cache
def rounder(step: Decimal, mode: str = HALF_UP) -> Callable[[Decimal], Decimal]:
    """Return ``round_to`` with *step* and *mode* filled in, for use in a loop.

    >>> rounder(Decimal("0.05"), DOWN)(Decimal("1.19"))
    Decimal('1.15')
    """
    if step.as_tuple().digits == (1,):
        return lambda amount: amount.quantize(step, mode)
    return lambda amount: (amount / step).quantize(ONE, mode) * step


def round_to(amount: Decimal, step: Decimal, mode: str = HALF_UP) -> Decimal:
    """Round *amount* to a whole multiple of *step*.

    Args:
        amount: any exact amount.
        step: 1, 2 or 5 times a power of ten (0.01 a cent, 0.05 a cash step).
        mode: one of ``MODES``; half away from zero unless told otherwise.

    Source:
        EN 16931 rounds half away from zero (its XPath ``round(abs())``);
        docs/decisions/0004-rounding.md.

    >>> round_to(Decimal("2.675"), Decimal("0.01"))
    Decimal('2.68')
    >>> round_to(Decimal("-202.27"), Decimal("0.05"))
    Decimal('-202.25')
    """
    return rounder(step, mode)(amount) + ZERO  # never -0.00


def apportion(
    amount: Decimal, weights: Sequence[Decimal], step: Decimal
) -> tuple[Decimal, ...]:
    """Split *amount* over *weights* by largest remainder; the parts add up to it.

    Args:
        amount: a whole multiple of *step*.
        weights: the exact sizes that share it; a negative one takes a negative part.
        step: the smallest part, such as 0.01.

    Returns:
        One part for each weight, in order. Equal remainders favour the larger
        weight, then the earlier one.

    Raises:
        NothingToSplitError: the weights add up to zero and *amount* is not zero.

    Source:
        The largest-remainder (Hamilton) method of apportionment.

    >>> apportion(Decimal("1.00"), [Decimal(1)] * 3, Decimal("0.01"))
    (Decimal('0.34'), Decimal('0.33'), Decimal('0.33'))
    """
    if not amount:
        return tuple(ZERO * step for _ in weights)
    if len(weights) == 1 and weights[0]:
        return (amount,)
    total = sum(weights, ZERO)
    if not total:
        raise NothingToSplitError(amount=amount)
    sign = -1 if amount < 0 else 1
    steps = int(abs(amount) / step)
    exact = [Fraction(weight) * steps / Fraction(total) for weight in weights]
    floors = [share.__floor__() for share in exact]
    order = sorted(
        range(len(weights)), key=lambda i: (floors[i] - exact[i], -weights[i], i)
    )
    for i in order[: steps - sum(floors)]:
        floors[i] += 1
    return tuple(sign * whole * step for whole in floors)


def fit(
    exact: Sequence[Fraction], amount: Decimal, step: Decimal
) -> tuple[Decimal, ...]:
    """Round *exact* amounts to multiples of *step* so that they add up to *amount*.

    Args:
        exact: amounts of either sign, near to *amount* in all; what is between their
            sum and *amount* is first spread over them by their size.
        amount: a whole multiple of *step*.
        step: the smallest part, such as 0.01.

    Returns:
        One part for each exact amount, in order: the nearest one, or where those do
        not add up the next one for those that lose least by it. Of equal ones the
        larger, then the earlier, is the one that is rounded away from zero. Where
        nothing is negative this is the method of largest remainders.

    Raises:
        NothingToSplitError: all of *exact* is nothing and *amount* is not.

    >>> fit([Fraction(2, 3)] * 3, Decimal(2), Decimal(1))
    (Decimal('1'), Decimal('1'), Decimal('0'))
    """
    size = sum(map(abs, exact))
    if not size:
        if amount:
            raise NothingToSplitError(amount=amount)
        return tuple(ZERO * step for _ in exact)
    gap = Fraction(amount) - sum(exact)
    shares = [(part + gap * abs(part) / size) / Fraction(step) for part in exact]
    near = [_nearest(share) for share in shares]
    missing = int(amount / step) - sum(near)
    sign = -1 if missing < 0 else 1

    def loss(i: int) -> tuple[Fraction, Fraction, int]:
        outwards = 1 if sign * shares[i] > 0 else -1
        return sign * (near[i] - shares[i]), -outwards * abs(exact[i]), outwards * i

    for i in sorted(range(len(exact)), key=loss)[: abs(missing)]:
        near[i] += sign
    return tuple(whole * step for whole in near)


def _nearest(share: Fraction) -> int:
    whole = int(abs(share) + Fraction(1, 2))
    return whole if share > 0 else -whole
