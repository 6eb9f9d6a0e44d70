"""Lengths as people type them, and the steps they are priced in.

Pure. A length is kept exactly as typed and in millimetres; one inch is 25.4 mm
exactly (the international yard and pound agreement of 1959).
"""

import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import ONE, round_to

MM_PER_INCH = Decimal("25.4")
MM_PER_THOU = Decimal("0.0254")

#: What one of each unit is in millimetres.
UNITS = {
    "mm": ONE,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
    "thou": MM_PER_THOU,
    "mil": MM_PER_THOU,
}

#: A size is priced on a grid of 0.01 mm, or of 0.0005 in where the row is in inches.
GRID = {"mm": Decimal("0.01"), "in": Decimal("0.0005")}

_TYPED = re.compile(
    r'([0-9]{1,6}(?:\.[0-9]{1,20})?|\.[0-9]{1,20})\s*(mm|in|inch|"|thou|mil)?$'
)
_METRIC = re.compile("mm|millim|micron|hundredth", re.IGNORECASE)
_TENTH_THOU = Decimal("0.0001")


class LengthError(RuleError):
    """A text is no length."""

    message = translatable(
        "{text!r} is no length: write 0.15 mm, 0.006 in or 6 thou, with a point."
    )


@dataclass(frozen=True, slots=True)
class Length:
    """A length in millimetres, and the text it was typed as."""

    mm: Decimal
    typed: str

    @property
    def inches(self) -> Decimal:
        """Return the length in inches, exactly as far as 28 digits go."""
        return self.mm / MM_PER_INCH

    @property
    def in_both_units(self) -> str:
        """Return the length as it was typed, and what it is in the other unit.

        Millimetres stand in full, inches to a ten-thousandth; ``≈`` says that they
        were rounded.

        >>> parse_length("10 thou").in_both_units
        '10 thou = 0.254 mm'
        >>> parse_length("0.10 mm").in_both_units
        '0.10 mm ≈ 0.0039 in'
        """
        if not _METRIC.search(self.typed):
            return f"{self.typed} = {self.mm.normalize():f} mm"
        inches = round_to(self.inches, _TENTH_THOU)
        sign = "=" if inches * MM_PER_INCH == self.mm else "≈"
        return f"{self.typed} {sign} {inches:f} in"

    def on_grid(self, unit: str) -> Decimal:
        """Return the length in *unit* (``mm`` or ``in``), rounded for pricing.

        Source:
            A size is priced to what is set on a machine, so that 4 thou is not billed
            as 0.1016 mm (common practice, no source); docs/costing.md, step 1.

        >>> parse_length("4 thou").on_grid("mm")
        Decimal('0.10')
        """
        return round_to(self.mm / UNITS[unit], GRID[unit])


def parse_length(text: str, unit: str = "mm") -> Length:
    """Read a length; what was typed is kept beside its millimetres.

    Args:
        text: a decimal number with a point, and its unit or none.
        unit: of a bare number: one of ``UNITS``.

    Raises:
        LengthError: *text* is no such number, or has a sign.

    >>> parse_length("0.006 in").mm
    Decimal('0.1524')
    """
    typed = text.strip().lower()
    if not (match := _TYPED.match(typed)):
        raise LengthError(text=text)
    number, given = match.groups()
    mm = Decimal(number) * UNITS[given or unit]
    return Length(mm, text.strip() if given else f"{text.strip()} {unit}")


def steps(size: Length, included: Decimal, step: Decimal, unit: str) -> int:
    """Return how many further steps *size* takes: max(0, ceil((size - included)/step)).

    Args:
        size: as typed; rounded to the pricing grid of *unit* first.
        included: what the base price covers, in *unit*.
        step: one step or part of one, in *unit*; above zero.
        unit: ``mm`` or ``in``.

    Source:
        docs/costing.md, step 1; a part of a step is charged as one (common practice,
        no source).

    >>> steps(parse_length("0.15 mm"), Decimal("0.10"), Decimal("0.05"), "mm")
    1
    """
    beyond = (size.on_grid(unit) - included) / step
    return max(0, int(beyond.to_integral_value(ROUND_CEILING)))
