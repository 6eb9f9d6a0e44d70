"""What every step of one calculation stands on: rounding, tax codes, the price mode.

Pure. One ``Basis`` belongs to one calculation and is thrown away with it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal

from quoting.domain.edition import Edition
from quoting.domain.job import Job
from quoting.domain.lines import Line, Share
from quoting.domain.money import HUNDRED, ZERO, apportion, rounder
from quoting.domain.tax import Taxes, without_tax
from quoting.domain.work import Notice


class Basis:
    """Edition, job and tax point, and what follows from them for every amount.

    Attributes:
        unit: the currency's smallest unit.
        cents: rounds an amount to it.
        terms: what the customer has agreed with the shop.
        exempt: the tax code that replaces every other; empty where none does.
        relieved: the customer owes no tax, but the edition's prices contain it.
        by_group: the tax code that a rule of the place gives an income group.
        questions: what the calculation must ask back.
    """

    questions: list[Notice]

    def __init__(
        self,
        edition: Edition,
        job: Job,
        tax_point: date,
        by_group: Mapping[str, str] | None = None,
    ) -> None:
        shop = edition.shop
        self.edition = edition
        self.job = job
        self.tax_point = tax_point
        self.unit = edition.currency.unit
        self.cents = rounder(self.unit)
        self.terms = job.terms or edition.terms[shop.terms]
        self.sundries = edition.sundries[self.terms.sundries or shop.sundries]
        exemption = job.exemption
        self.exempt = exemption.code if exemption else self.terms.exempt_code
        self.inclusive = edition.policy.inclusive
        self.relieved = self.inclusive and bool(self.exempt)
        self.by_group = {} if self.exempt else by_group or {}
        self.questions = []
        self._taxes: dict[str, Taxes] = {}

    def charged(self, code: str, group: str) -> str:
        """Return the tax code that is charged for *code* in an income group."""
        return self.exempt or self.by_group.get(group, code)

    def taxes(self, code: str) -> Taxes:
        """Return the taxes of *code* on the tax point, with the customer's reason.

        Raises:
            TaxCodeEndedError: the code has no rate on that day.
        """
        if (taxes := self._taxes.get(code)) is None:
            taxes = self.edition.taxes(code, self.tax_point)
            if code == self.exempt and (reason := self._reason()):
                taxes = tuple(replace(tax, reason=reason) for tax in taxes)
            self._taxes[code] = taxes
        return taxes

    def _reason(self) -> str:
        exemption = self.job.exemption
        if exemption is None:
            return self.terms.exempt_reason
        if exemption.certificate:
            return f"{exemption.reason}, certificate {exemption.certificate}"
        return exemption.reason

    def percent(self, rate: Decimal, of: Decimal) -> Decimal:
        """Return *rate* per cent *of* an amount, rounded to the smallest unit."""
        return self.cents(rate * of / HUNDRED)

    def owed(self, amount: Decimal, code: str, group: str) -> Decimal:
        """Return what this customer owes of a rounded *amount* under tax *code*.

        A price that contains tax stays what it is where a rule changes the rate, and
        loses the tax where a rule, or who the customer is, takes it away.

        Raises:
            TaxCodeEndedError: as ``taxes``, where the customer owes no tax.

        Source:
            docs/costing.md, step 10: a customer who owes no tax.
        """
        if self.relieved or (self.by_group and self._freed(code, group)):
            return without_tax(amount, self.taxes(code), self.unit)
        return amount

    def _freed(self, code: str, group: str) -> bool:
        charged = self.charged(code, group)
        return (
            self.inclusive
            and charged != code
            and not any(tax.rate for tax in self.taxes(charged))
            and any(tax.rate for tax in self.taxes(code))
        )

    def share(self, amount: Decimal, code: str, group: str) -> Share:
        """Return the tax code that is charged for *code*, and what is owed under it.

        Raises:
            TaxCodeEndedError: as ``owed``.
        """
        return self.charged(code, group), self.owed(amount, code, group)

    def fixed(self, amount: Decimal) -> Decimal:
        """Return what this customer owes of a minimum, a cap or a fixed amount.

        Raises:
            TaxCodeEndedError: as ``owed``, for the code of the sundries.
        """
        return self.owed(amount, self.sundries.tax_code, "sundries")

    def spread(
        self,
        kind: str,
        net: Decimal,
        weights: Mapping[str, Decimal],
        *,
        description: str,
        code: str = "",
        group: str = "labour",
        of: Decimal | None = None,
        rate: Decimal | None = None,
    ) -> Line:
        """Make a line that has no tax code of its own: it is spread over others'.

        Args:
            kind: of the line.
            net: its amount, a multiple of the smallest unit.
            weights: nets by tax code of the lines that it was worked out on.
            description: of the line.
            code: of the line.
            group: its income group.
            of: what it is a percentage of, if it is one.
            rate: the percentage.

        Raises:
            NothingToSplitError: the weights add up to nothing and *net* does not.

        Source:
            Largest remainder, ties by net and then by table order:
            docs/decisions/0004-rounding.md.
        """
        codes = [each for each in self.edition.tax_rows if each in weights]
        nets = apportion(net, [weights[each] for each in codes], self.unit)
        return Line(
            kind=kind,
            code=code,
            description=description,
            net=net,
            group=group,
            shares=tuple(zip(codes, nets, strict=True)),
            tax_code=codes[0] if len(codes) == 1 else "",
            base=of,
            unit_price=rate,
            cost=ZERO,
        )


def total(amounts: Iterable[Decimal]) -> Decimal:
    """Return the sum of *amounts*, 0 of none."""
    return sum(amounts, ZERO)


def by_code(shares: Iterable[Share]) -> dict[str, Decimal]:
    """Add amounts up by tax code, in the order first met."""
    nets: dict[str, Decimal] = {}
    for code, net in shares:
        nets[code] = nets[code] + net if code in nets else net
    return nets


def codes_of(lines: Iterable[Line]) -> dict[str, Decimal]:
    """Add the nets of *lines* up by tax code."""
    return by_code([share for line in lines for share in line.shares])
