"""Money, figures, dates and lengths as people of a place write them.

Every paper follows its reader's locale, which is an argument, never the machine's.
Money is already rounded when it comes here and is never rounded for display.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
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


class UnreadableFigureError(RuleError):
    """A figure is not written as people of the locale write one."""

    message = translatable("{text!r} is no figure here; write it like {example}.")


def _anything(_text: str) -> bool:
    return True


@dataclass(frozen=True)
class Formats:
    """How one reader's locale writes one currency, figures and dates.

    Attributes:
        name: a language and mostly a country, such as de_DE.
        legible: whether a text can be shown. What cannot is written with the ISO 4217
            code, as a plain figure or as an ISO 8601 date instead.
    """

    name: str
    currency: Currency
    legible: Callable[[str], bool] = _anything

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

    def money(self, amount: Decimal) -> str:
        """Return an amount with its currency sign."""
        return _money(self, amount)

    def _written(self, amount: Decimal) -> str:
        from babel.numbers import format_currency

        written = format_currency(
            self._exact(amount),
            self.currency.code,
            self._money_pattern,
            locale=self.locale,
            currency_digits=False,
            decimal_quantization=False,
        )
        written = self._minus(written, amount)
        if self.legible(written):
            return written
        return f"{self.currency.code}{_NBSP}{self.amount(amount)}"

    def read(self, text: str) -> Decimal:
        """Return the figure that somebody typed.

        Raises:
            UnreadableFigureError: it is not written as the locale writes figures, or
                could be two figures.

        >>> from quoting.domain.money import Currency
        >>> Formats("de_DE", Currency("EUR", 2)).read("1.234,5")
        Decimal('1234.5')
        """
        from babel.numbers import NumberFormatError, parse_decimal

        typed = "".join(text.split())
        if "CH" in self.name:
            typed = typed.replace("'", "\N{RIGHT SINGLE QUOTATION MARK}")
        figure = typed if _FIGURE.fullmatch(typed) else ""
        try:
            return parse_decimal(figure, locale=self.locale, strict=True)
        except NumberFormatError:
            example = self.amount(Decimal("1234.5").quantize(self.currency.unit))
            raise UnreadableFigureError(text=text, example=example) from None

    def amount(self, amount: Decimal) -> str:
        """Return an amount without its currency, in the currency's decimals."""
        return _amount(self, amount)

    def _without_sign(self, amount: Decimal) -> str:
        from babel.numbers import format_decimal

        exact = self._exact(amount)
        written = format_decimal(
            exact,
            _SIGN.sub("", self._pattern),
            locale=self.locale,
            decimal_quantization=False,
        )
        return self._or_plain(written, exact)

    @cached_property
    def _pattern(self) -> str:
        """Return the locale's pattern of money, with the currency's own decimals."""
        decimals = "." + "0" * self.currency.digits if self.currency.digits else ""
        pattern = self.locale.currency_formats["standard"].pattern
        return re.sub(r"\.0+", decimals, pattern)

    @cached_property
    def _money_pattern(self) -> str:
        """Return it with a space where letters of the sign would touch a figure.

        Source:
            Unicode UTS #35 part 3, currency spacing.
        """
        from babel.numbers import get_currency_symbol

        sign = get_currency_symbol(self.currency.code, self.locale)
        pattern = self._pattern
        if not _stands_alone(sign[-1]):
            pattern = re.sub(r"\u00a4(?=[#0])", f"\u00a4{_NBSP}", pattern)
        if not _stands_alone(sign[0]):
            pattern = re.sub(r"(?<=0)\u00a4", f"{_NBSP}\u00a4", pattern)
        return pattern

    def _or_plain(self, written: str, figure: Decimal) -> str:
        written = self._minus(written, figure)
        return written if self.legible(written) else f"{figure:f}"

    def _minus(self, written: str, figure: Decimal) -> str:
        """Return it with the locale's minus sign, which a pattern's hyphen stands for.

        Source:
            Unicode UTS #35 part 3, special pattern characters.
        """
        from babel.numbers import get_minus_sign_symbol

        minus = get_minus_sign_symbol(self.locale)
        return written.replace("-", minus, 1) if figure < 0 else written

    def _exact(self, amount: Decimal) -> Decimal:
        """Return the amount with the currency's decimals, which it must already fit."""
        shown = round_to(amount, self.currency.unit)
        return shown if shown == amount else amount

    def number(self, figure: Decimal) -> str:
        """Return a figure with exactly the decimals it has."""
        from babel.numbers import format_decimal

        decimals = "." + "0" * _decimals(figure) if _decimals(figure) else ""
        pattern = self.locale.decimal_formats[None].pattern
        written = format_decimal(
            figure,
            re.sub(r"\.[0#]+", decimals, pattern),
            locale=self.locale,
            decimal_quantization=False,
        )
        return self._or_plain(written, figure)

    def quantity(self, figure: Decimal) -> str:
        """Return a quantity without closing zeros: 16, 1.5."""
        return _quantity(self, figure)

    def _bare(self, figure: Decimal) -> str:
        whole = figure.to_integral_value()
        return self.number(whole if whole == figure else figure.normalize())

    def percent(self, rate: Decimal) -> str:
        """Return a rate in per cent, whole or broken, never rounded."""
        from babel.numbers import format_percent

        written = format_percent(
            (rate / HUNDRED).normalize(), locale=self.locale, decimal_quantization=False
        )
        return written if self.legible(written) else f"{self.quantity(rate)}%"

    def month(self, day: date) -> str:
        """Return a day's month and year, short: for an axis, where room is scarce."""
        from babel.dates import format_skeleton

        written = format_skeleton("yMMM", day, locale=self.locale)
        return written if self.legible(written) else day.isoformat()[:7]

    def date(self, day: date) -> str:
        """Return a date with the month's name, which nobody can misread."""
        from babel.dates import format_date

        written = format_date(day, "long", locale=self.locale)
        return written if self.legible(written) else day.isoformat()

    def length(self, length: Length) -> str:
        """Return a length in both units: 0.15 mm (0.0059 in).

        Rounded to a micrometre and to a ten-thousandth of an inch, whichever it was
        typed in; ``Length.in_both_units`` repeats what was typed.
        """
        mm = round_to(length.mm, Decimal("0.001"))
        inches = round_to(length.inches, Decimal("0.0001"))
        shown = max(mm.normalize(), round_to(mm, Decimal("0.01")), key=_decimals)
        return f"{self.number(shown)} mm ({self.number(inches)} in)"

    def minutes(self, minutes: Decimal) -> str:
        """Return minutes with one decimal, for people to read."""
        return self.number(round_to(minutes, Decimal("0.1")))


# A page writes the same figures at every key; equal figures are written alike.
_KEPT = 4096


@lru_cache(_KEPT)
def _money(formats: Formats, amount: Decimal) -> str:
    return formats._written(amount)


@lru_cache(_KEPT)
def _amount(formats: Formats, amount: Decimal) -> str:
    return formats._without_sign(amount)


@lru_cache(_KEPT)
def _quantity(formats: Formats, figure: Decimal) -> str:
    return formats._bare(figure)


_NBSP = "\u00a0"
_FIGURE = re.compile("[-\u2212]?[0-9.,'\u2019]{1,20}")
_SIGN = re.compile("[\\s\u200e\u200f]*\u00a4[\\s\u200e\u200f]*")


def _stands_alone(char: str) -> bool:
    """Return whether a figure may touch *char*: a symbol or a space."""
    return unicodedata.category(char)[0] in "SZ"


def _decimals(figure: Decimal) -> int:
    exponent = figure.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0
