"""Where a shop's own settings differ from its country's row, and what the row asks.

Pure. A difference is said and never set right by itself: the row is an example that a
licensed adviser confirms.
"""

from datetime import MAXYEAR, date
from decimal import Decimal

from quoting.domain.country import Country
from quoting.domain.edition import Edition
from quoting.domain.money import HALF_DOWN, HALF_UP

_TIES = {HALF_UP: "half_up", HALF_DOWN: "half_down"}


def cash_differs(edition: Edition, on: date) -> bool:
    """Tell whether the shop rounds cash otherwise than its country's row says.

    Amounts of the row are in its own currency; in another nothing is compared.

    Args:
        edition: of the shop.
        on: the day.
    """
    country = edition.country(on)
    if country is None or country.currency != edition.currency.code:
        return False
    asked = _cash(country.cash_step, country.cash_tie)
    policy = edition.policy
    tie = _TIES.get(policy.cash_mode, policy.cash_mode)
    return _cash(policy.cash_step, tie) != asked


def _cash(step: Decimal | None, tie: str) -> tuple[Decimal, str] | None:
    return None if step is None else (step, tie)


def net_to_consumers(edition: Edition, on: date) -> bool:
    """Tell whether consumers are told the price with tax first, and prices lack it."""
    country = edition.country(on)
    asked = country is not None and country.consumer_gross
    return asked and not edition.policy.inclusive


def paper_differs(edition: Edition, on: date) -> bool:
    """Tell whether the shop prints on other paper than its country does."""
    country = edition.country(on)
    return country is not None and country.paper != edition.shop.paper


def kept_until(country: Country, document_on: date) -> date | None:
    """Return the day until which a document is kept at the least; None: no one rule.

    Where years are counted from is for local law; the end of the document's year is
    the later of counting from its day and from the end of its calendar year.

    >>> from quoting.domain.country import Country
    >>> row = Country(code="XA", name="Ambria", currency="XTS", address=("street",),
    ...               retention_years=6, source="invented", checked="from memory",
    ...               as_of=date(2026, 3, 2))
    >>> kept_until(row, date(2026, 11, 25))
    datetime.date(2032, 12, 31)
    """
    if country.retention_years is None:
        return None
    year = document_on.year + country.retention_years
    return date(min(year, MAXYEAR), 12, 31)


def late_for_credit(country: Country, invoice_on: date, on: date) -> int:
    """Return how many days old an invoice is where a credit note may come too late.

    The days of the row run from the change that is credited, which nobody wrote down;
    on an invoice that is no older than they are the change is not older either.

    Returns:
        0 where the country has no rule, or the invoice is no older.
    """
    age = (on - invoice_on).days
    within = country.credit_note_days
    return age if within is not None and age > within else 0
