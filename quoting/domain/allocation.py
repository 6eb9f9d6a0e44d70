"""What a payment pays: which documents, and how much of each tax is in it.

Pure. Amounts of money are Decimal in one currency; ``within`` counts in smallest
units.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from quoting.domain.errors import Problem, ProblemsError
from quoting.domain.money import ONE, ZERO, fit, round_to


def in_order(owed: Mapping[str, Decimal], amount: Decimal) -> dict[str, Decimal]:
    """Return what *amount* pays of each document, the first one first.

    Args:
        owed: by number what is owed, in the order in which it is paid.
        amount: to be set against it; what is left over pays nothing.

    Source:
        The oldest debt first: common practice, no source.

    >>> in_order({"I-1": Decimal(30), "I-2": Decimal(50)}, Decimal(40))
    {'I-1': Decimal('30'), 'I-2': Decimal('10')}
    """
    shares: dict[str, Decimal] = {}
    for number, left in owed.items():
        if (part := min(left, amount)) > 0:
            shares[number] = part
            amount -= part
    return shares


def by_name(
    said: Mapping[str, Decimal], owed: Mapping[str, Decimal], amount: Decimal
) -> dict[str, Decimal]:
    """Return what somebody says that *amount* pays, if it can.

    Args:
        said: by number how much it pays.
        owed: by number what is owed.
        amount: to be set against it.

    Raises:
        ProblemsError: with every share that is too much, and all together.
    """
    problems = [
        Problem("payment", None, number, str(share), _wrong(number, share, owed))
        for number, share in said.items()
        if share <= 0 or share > owed.get(number, ZERO)
    ]
    if (together := sum(said.values(), ZERO)) > amount:
        problems.append(
            Problem(
                "payment", None, "", str(together), f"is more than the {amount} paid"
            )
        )
    if problems:
        raise ProblemsError(problems)
    return dict(said)


def _wrong(number: str, share: Decimal, owed: Mapping[str, Decimal]) -> str:
    if number not in owed:
        return "nothing is owed on it"
    if share <= 0:
        return "is not more than nothing"
    return f"is more than the {owed[number]} that is owed"


def within(
    rows: Sequence[tuple[int, int]], whole: int, before: int, amount: int
) -> tuple[tuple[int, int], ...]:
    """Return base and tax of each row of a document that are in a payment for it.

    Everything that was paid so far is split over the rows by largest remainder; the
    payment has what earlier ones did not. So the parts of a document that is paid in
    full are its rows, and where no two taxes stand on the same base those of a payment
    add up to it.

    Args:
        rows: base and tax of each row, in smallest units.
        whole: gross of the document.
        before: paid of it before.
        amount: paid now.

    Source:
        Cash accounting: the tax in what was received, in proportion to the invoice it
        pays (such as HMRC Notice 731; from memory, not checked).

    >>> within([(53050, 7162), (26735, 6149)], 93096, 0, 90000)
    ((51286, 6924), (25846, 5944))
    """
    after = _split(rows, whole, before + amount)
    earlier = _split(rows, whole, before)
    return tuple(
        (base - was_base, tax - was_tax)
        for (base, tax), (was_base, was_tax) in zip(after, earlier, strict=True)
    )


def _split(
    rows: Sequence[tuple[int, int]], whole: int, paid: int
) -> list[tuple[int, int]]:
    """Return base and tax of each row in what was paid: first its gross, then its tax.

    Where two taxes stand on one base it counts in the row of each.
    """
    if not whole:
        return [(0, 0) for _ in rows]
    shares = [Fraction(paid * (base + tax), whole) for base, tax in rows]
    together = round_to(Decimal(paid * sum(map(sum, rows))) / whole, ONE)
    split = []
    for (base, tax), part in zip(rows, fit(shares, together, ONE), strict=True):
        owed = round_to(part * tax / (base + tax), ONE) if part else ZERO
        split.append((int(part - owed), int(owed)))
    return split
