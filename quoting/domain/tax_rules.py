"""Rules by which a document as a whole decides the tax of its lines; and who owes none.

Pure. A rule only ever proposes, with its words; a person may set it aside by name and
with a reason. Rules are rows of the shop's tables, examples that a licensed adviser
confirms.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from quoting.domain.country import BY_LINES, Answer, TaxRule
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Exemption, Override
from quoting.domain.life import sets_aside
from quoting.domain.lines import Line
from quoting.domain.money import HUNDRED, ZERO
from quoting.domain.tax import effective_rates

if TYPE_CHECKING:
    from quoting.domain.pricing import Priced

#: Income groups that are goods.
MATERIALS = frozenset(("parts", "exchange"))

_WHOLE = Fraction(HUNDRED)


class Change(NamedTuple):
    """A tax code that a rule proposes for all lines of an income group.

    Attributes:
        rule: the row that proposes it.
        holds: whether the rule holds; where not, it is what the row has otherwise.
        group: the income group.
        was: the codes that its lines have.
        becomes: the code that they would have.
    """

    rule: TaxRule
    holds: bool
    group: str
    was: tuple[str, ...]
    becomes: str

    @property
    def why(self) -> str:
        """Return why, as shown to people."""
        return self.rule.says if self.holds else self.rule.says_otherwise


def asked(rules: Iterable[TaxRule]) -> tuple[Answer, ...]:
    """Return what somebody has to answer before *rules* can be applied."""
    needed = {
        word
        for rule in rules
        for word in (rule.rule, rule.unless)
        if word and word not in BY_LINES
    }
    return tuple(answer for answer in Answer if answer in needed)


def first_named(
    said: Mapping[str, Override], before: Mapping[str, Override]
) -> dict[str, Override]:
    """Return who sets which rule aside: who did so before, if the reason is the same.

    Both mappings are by the code of a rule; one that is no longer said is gone.
    """
    return {
        code: before[code]
        if code in before and before[code].reason == now.reason
        else now
        for code, now in said.items()
    }


def may_decide(rules: Iterable[TaxRule], yes: Collection[str]) -> bool:
    """Tell whether any of *rules* can change a tax code, whatever the lines are.

    Most jobs answer nothing with yes, and most rules wait for that.
    """
    return any(
        rule.rule in BY_LINES or rule.rule in yes or rule.otherwise for rule in rules
    )


def proposed(
    rules: Iterable[TaxRule],
    priced: "Priced",
    yes: Collection[str] = (),
    aside: Mapping[str, Override] | None = None,
) -> tuple[Change, ...]:
    """Return the tax codes that the rules of a place propose for a priced job.

    Where several rules decide an income group, the first row that holds does; only
    where none holds, the first that has a code otherwise. Where a rule is set aside
    the next row that decides its groups does.

    Args:
        rules: of the place, in table order.
        priced: by the codes of its rows, for a customer who owes tax.
        yes: what was answered with yes.
        aside: who sets a rule aside and why, by the code of its row; one without a
            name or a reason counts as none.

    Returns:
        Changes only: a group whose lines all have the code already is not among them.

    Source:
        Any part taxes all: Florida Administrative Code 12A-1.006 (1) and (4), and
        TAA 25A-007. Share of materials: VAT Consolidation Act 2010 (IE) s. 41: the cost
        of the goods to the supplier, against the whole price, both without tax. Place
        of delivery: New York TSB-A-16(16)S (seen quoted).
    """
    was: dict[str, dict[str, None]] = {}
    for line in priced.lines:
        if line.tax_code:
            was.setdefault(line.group, {})[line.tax_code] = None
    holding: dict[str, Change] = {}
    otherwise: dict[str, Change] = {}
    for rule in rules:
        if sets_aside((aside or {}).get(rule.code)):
            continue
        if rule.unless and rule.unless in yes:
            continue
        holds = _holds(rule, priced, yes)
        becomes = rule.tax_code if holds else rule.otherwise
        into = holding if holds else otherwise
        for group in rule.groups if becomes else ():
            if group in was:
                into.setdefault(
                    group, Change(rule, holds, group, tuple(was[group]), becomes)
                )
    decided = {**otherwise, **holding}
    return tuple(
        change
        for group in was
        if (change := decided.get(group)) and change.was != (change.becomes,)
    )


def _holds(rule: TaxRule, priced: "Priced", yes: Collection[str]) -> bool:
    match rule.rule:
        case "any_part_taxes_all":
            return any(line.net > 0 for line in priced.lines if line.group in MATERIALS)
        case "materials_share_over":
            return _mostly_materials(rule, priced)
        case word:
            return word in yes


def _mostly_materials(rule: TaxRule, priced: "Priced") -> bool:
    materials = sum(
        (_worth(line, priced) for line in priced.lines if line.group in MATERIALS),
        Fraction(0),
    )
    charged = sum((_net(line, priced) for line in priced.lines), Fraction(0))
    return materials * (rule.of or 0) > charged * (rule.over or 0)


def _worth(line: Line, priced: "Priced") -> Fraction:
    """Return what materials cost the shop; their price where that is not known."""
    return _net(line, priced) if line.cost is None else Fraction(line.cost)


def _net(line: Line, priced: "Priced") -> Fraction:
    if not priced.inclusive:
        return Fraction(line.net)
    parts = (
        Fraction(amount) * _WHOLE / (_WHOLE + _rate(code, priced))
        for code, amount in line.shares
    )
    return sum(parts, Fraction(0))


def _rate(code: str, priced: "Priced") -> Fraction:
    return Fraction(sum(effective_rates(priced.taxes_of[code]), ZERO))


# Who owes no tax, and can prove it.


class CertificateEndedError(RuleError):
    """A certificate does not cover the day of the document."""

    message = translatable(
        "The certificate {number} of {issuer} held until {valid_to}; on {on} tax is "
        "charged. Ask the customer for a new one, or charge the tax."
    )


class CertificateIncompleteError(RuleError):
    """A certificate has no number or nobody who issued it."""

    message = translatable(
        "A certificate needs its number and who issued it; without both tax is charged."
    )


@dataclass(frozen=True, slots=True)
class Certificate:
    """The paper by which a customer owes no tax.

    Attributes:
        number: as printed on it.
        issuer: who issued it.
        valid_to: the last day that it covers; None: it has no end.
    """

    number: str
    issuer: str
    valid_to: date | None = None

    def still_valid(self, on: date) -> bool:
        """Tell whether it covers a day, its last one included.

        >>> Certificate("77", "XA Revenue", date(2026, 6, 30)).still_valid(
        ...     date(2026, 7, 1)
        ... )
        False
        """
        return self.valid_to is None or on <= self.valid_to


def exempted(
    certificate: Certificate, *, code: str, reason: str, on: date
) -> Exemption:
    """Return the exemption that a certificate gives a document of a day.

    Args:
        certificate: the customer's.
        code: the tax code that replaces every other.
        reason: why no tax is charged, as printed.
        on: the tax point of the document.

    Raises:
        CertificateIncompleteError: number or issuer is missing.
        CertificateEndedError: it does not cover the day.
    """
    number, issuer = certificate.number.strip(), certificate.issuer.strip()
    if not number or not issuer:
        raise CertificateIncompleteError
    if certificate.valid_to is not None and not certificate.still_valid(on):
        raise CertificateEndedError(
            number=number,
            issuer=issuer,
            valid_to=certificate.valid_to.isoformat(),
            on=on.isoformat(),
        )
    return Exemption(code=code, reason=reason, certificate=f"{number} ({issuer})")
