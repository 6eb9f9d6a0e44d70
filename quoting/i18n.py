"""Money, figures, dates and lengths as people of a place write them.

Every paper follows its reader's locale, which is an argument, never the machine's.
Amounts are already rounded when they come here: nothing is rounded for display.
"""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from quoting.domain.errors import RuleError, translatable
from quoting.domain.lengths import Length
from quoting.domain.money import HUNDRED, Currency, round_to

if TYPE_CHECKING:
    from babel import Locale

#: Where paper is US Letter; A4 elsewhere. Unicode CLDR, supplemental data,
#: paper size by territory.
LETTER = frozenset(
    ("BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE")
)


class UnknownLocaleError(RuleError):
    """No such locale."""

    message = translatable(
        "There is no locale {name!r}; write a language and a country, such as de_DE."
    )


@dataclass(frozen=True)
class Formats:
    """How one reader's locale writes one currency, figures and dates."""

    name: str
    currency: Currency

    @cached_property
    def locale(self) -> "Locale":
        """Return the locale's data.

        Raises:
            UnknownLocaleError: *name* names none.
        """
        from babel import Locale
        from babel.core import UnknownLocaleError as NoSuchLocale

        try:
            return Locale.parse(self.name.replace("-", "_"))
        except (NoSuchLocale, ValueError):
            raise UnknownLocaleError(name=self.name) from None

    @property
    def paper(self) -> str:
        """Return the paper of the locale's country: ``A4`` or ``Letter``."""
        return "Letter" if self.locale.territory in LETTER else "A4"

    @property
    def direction(self) -> str:
        """Return ``ltr`` or ``rtl``."""
        return self.locale.text_direction

    def money(self, amount: Decimal) -> str:
        """Return an amount with its currency sign."""
        from babel.numbers import format_currency

        return format_currency(
            self._exact(amount),
            self.currency.code,
            locale=self.locale,
            decimal_quantization=False,
        )

    def amount(self, amount: Decimal) -> str:
        """Return an amount without its currency, in the currency's decimals."""
        from babel.numbers import format_decimal

        return format_decimal(
            self._exact(amount),
            self._bare_pattern,
            locale=self.locale,
            decimal_quantization=False,
        )

    @cached_property
    def _bare_pattern(self) -> str:
        """Return the locale's currency pattern without the sign."""
        pattern = self.locale.currency_formats["standard"].pattern
        bare = re.sub(r"[\s\u200e\u200f]*\u00a4[\s\u200e\u200f]*", "", pattern)
        digits = self.currency.digits
        return re.sub(r"\.0+", "." + "0" * digits if digits else "", bare)

    def _exact(self, amount: Decimal) -> Decimal:
        """Return the amount with the currency's decimals, which it must already fit."""
        shown = round_to(amount, self.currency.unit)
        return shown if shown == amount else amount

    def number(self, figure: Decimal) -> str:
        """Return a figure with exactly the decimals it has."""
        from babel.numbers import format_decimal

        return format_decimal(figure, locale=self.locale, decimal_quantization=False)

    def quantity(self, figure: Decimal) -> str:
        """Return a quantity without closing zeros: 16, 1.5."""
        whole = figure.to_integral_value()
        return self.number(whole if whole == figure else figure.normalize())

    def percent(self, rate: Decimal) -> str:
        """Return a rate in per cent, whole or broken, never rounded."""
        from babel.numbers import format_percent

        return format_percent(
            (rate / HUNDRED).normalize(), locale=self.locale, decimal_quantization=False
        )

    def date(self, day: date) -> str:
        """Return a date with the month's name, which nobody can misread."""
        from babel.dates import format_date

        return format_date(day, "long", locale=self.locale)

    def length(self, length: Length) -> str:
        """Return a length in both units: 0.15 mm (0.0059 in)."""
        mm = round_to(length.mm, Decimal("0.001"))
        inches = round_to(length.inches, Decimal("0.0001"))
        shown = max(mm.normalize(), round_to(mm, Decimal("0.01")), key=_decimals)
        return f"{self.number(shown)} mm ({self.number(inches)} in)"

    def minutes(self, minutes: Decimal) -> str:
        """Return minutes to one decimal, for people to read."""
        return self.number(round_to(minutes, Decimal("0.1")))


def _decimals(figure: Decimal) -> int:
    exponent = figure.as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0
