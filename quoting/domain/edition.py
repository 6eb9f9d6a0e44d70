"""An edition: all rate tables of one date, put together and checked as a whole.

Pure. ``assemble`` turns sheets of text into an ``Edition`` or names every problem of
every table at once.
"""

from collections.abc import Iterable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

from quoting.domain.country import (
    Country,
    Region,
    TaxRule,
    Wording,
    in_force,
    surcharge_tax,
)
from quoting.domain.edition_problems import ReadTables, problems_of
from quoting.domain.errors import Problem, ProblemsError, RuleError, translatable
from quoting.domain.head import Layout
from quoting.domain.money import Currency
from quoting.domain.rates import (
    RELATIONS,
    TABLES,
    AgreedPrice,
    Caution,
    Ceiling,
    ClassPrice,
    Condition,
    Fee,
    Finding,
    Limit,
    Modifier,
    Operation,
    Part,
    Rate,
    Reason,
    Relation,
    Rush,
    SetPrice,
    Shop,
    Sundries,
    Surcharge,
    TaxRow,
    Terms,
    WorkCentre,
    WorkSet,
    rate,
)
from quoting.domain.tables import Cells, Placed, Sheet, read_cells, records
from quoting.domain.tax import Policy, Tax, Taxes


@dataclass(frozen=True, eq=False)
class Edition:
    """A complete, checked edition of the rate tables; never changed once used."""

    shop: Shop
    policy: Policy
    work_centres: Mapping[str, WorkCentre]
    operations: Mapping[str, Operation]  # in process order
    class_prices: Mapping[tuple[str, str], ClassPrice]
    layouts: Mapping[str, Layout]
    parts: Mapping[str, Part]
    fees: Mapping[str, Fee]
    rush: Mapping[str, Rush]
    sundries: Mapping[str, Sundries]
    surcharges: Mapping[str, Surcharge]
    terms: Mapping[str, Terms]
    ceilings: Mapping[str, Ceiling]
    agreed_prices: Mapping[tuple[str, str, str], AgreedPrice]
    modifiers: Mapping[str, Modifier]  # in table order
    relations: Sequence[Relation]
    sets: Mapping[str, WorkSet]
    set_prices: Sequence[SetPrice]
    reasons: Mapping[str, Reason]
    findings: Mapping[str, Finding]  # in table order
    tax_rows: Mapping[str, Sequence[TaxRow]]
    limits: Sequence[Limit]
    cautions: Sequence[Caution]  # most dangerous first
    countries: Sequence[Country]
    wording: Mapping[tuple[str, str], Wording]  # by country and language
    regions: Mapping[tuple[str, str], Region]  # by country and code
    tax_rules: Mapping[str, TaxRule]

    @cached_property
    def currency(self) -> Currency:
        """Return the currency that the edition's prices are in."""
        return Currency(self.shop.currency, self.shop.digits)

    @property
    def ceiling(self) -> Ceiling | None:
        """Return the row of ceilings that the shop works by, if it names one."""
        return self.ceilings.get(self.shop.ceiling)

    def country(self, on: date) -> Country | None:
        """Return the shop's country as its row says on a day; None: no rules hold."""
        code = self.shop.country
        return in_force((row for row in self.countries if row.code == code), on)

    @property
    def region(self) -> Region | None:
        """Return the state or province that the shop is in, if it names one."""
        return self.regions.get((self.shop.country, self.shop.region))

    @property
    def words(self) -> Wording | None:
        """Return what the shop's documents say in their language, if it is known."""
        return self.wording.get((self.shop.country, self.shop.spoken))

    def tax_on_deposits(self, on: date) -> str:
        """Return when tax falls due on a deposit, on a day.

        Returns:
            ``receipt``; ``applied``: when it pays an invoice; ``forfeited``: then, or
            when it is kept.
        """
        country = self.country(on)
        if country is None:
            return "applied"
        security = self.shop.deposits == "security"
        return country.security_tax if security else country.deposit_tax

    def old_units_taxed(self, on: date) -> bool:
        """Tell whether tax is due on the worth of an old unit as well, on a day."""
        country = self.country(on)
        return country is not None and surcharge_tax(country, self.region) == "added"

    def worth_of_old_units(self, on: date) -> Decimal | None:
        """Return their worth in per cent of the price, on a day; None: as agreed."""
        country = self.country(on)
        return country.surcharge_addon if country else None

    def gives_tax_back(self, surcharge: Surcharge, on: date) -> bool:
        """Tell whether the tax on a surcharge goes back with it.

        Where tax is due on the worth of the old unit as agreed, the surcharge is that
        worth, so its tax stays.
        """
        is_worth = self.old_units_taxed(on) and self.worth_of_old_units(on) is None
        return surcharge.tax_returned and not is_worth

    @cached_property
    def rules(self) -> Sequence[TaxRule]:
        """Return the rules by which the shop's documents decide their tax."""
        return [
            rule
            for rule in self.tax_rules.values()
            if rule.country == self.shop.country
            and rule.region in ("", self.shop.region)
        ]

    @cached_property
    def kept(self) -> MutableMapping[Any, Any]:
        """Return where pricing keeps lines it will be asked for again, by heads."""
        return WeakKeyDictionary()

    @property
    def size_classes(self) -> Sequence[str]:
        """Return the size classes: in the shop's order, else as layouts name them."""
        named = dict.fromkeys(ly.size_class for ly in self.layouts.values())
        return self.shop.size_classes or tuple(named)

    def rates(self, size_class: str) -> Mapping[str, Rate]:
        """Return every list rate on heads of a size class, by operation.

        Prices are in the currency and price mode of the edition, minutes in minutes of
        shop time. A class that no row names costs what the operations' own rows say.
        """
        rates = self._rates
        return rates.get(size_class) or rates[""]

    @cached_property
    def _rates(self) -> Mapping[str, Mapping[str, Rate]]:
        return {
            size_class: {
                code: rate(operation, self.class_prices.get((code, size_class)))
                for code, operation in self.operations.items()
            }
            for size_class in ("", *self.size_classes)
        }

    @cached_property
    def modifiers_of(self) -> Mapping[str, tuple[tuple[Modifier, Condition], ...]]:
        """Return each operation's modifiers with their conditions, in table order."""
        by: dict[str, list[tuple[Modifier, Condition]]] = {}
        for modifier in self.modifiers.values():
            condition = modifier.condition
            for code in modifier.operations:
                by.setdefault(code, []).append((modifier, condition))
        return {code: tuple(found) for code, found in by.items()}

    @cached_property
    def parts_of(self) -> Mapping[str, tuple[Part, ...]]:
        """Return the parts of each kind, in table order."""
        by: dict[str, list[Part]] = {}
        for part in self.parts.values():
            by.setdefault(part.kind, []).append(part)
        return {kind: tuple(found) for kind, found in by.items()}

    def related(
        self, relation: str
    ) -> Mapping[str, Sequence[tuple[Relation, Condition]]]:
        """Return the relations of one kind with their conditions, by operation.

        Args:
            relation: one of ``RELATIONS``.
        """
        return self._related[relation]

    @cached_property
    def _related(
        self,
    ) -> Mapping[str, Mapping[str, Sequence[tuple[Relation, Condition]]]]:
        kinds: dict[str, dict[str, list[tuple[Relation, Condition]]]] = {
            kind: {} for kind in RELATIONS
        }
        for row in self.relations:
            of = kinds[row.relation].setdefault(row.operation, [])
            of.append((row, row.condition))
        return kinds

    def taxes(self, code: str, on: date) -> Taxes:
        """Return the taxes that *code* names on a day, in order; rates are per cent.

        Raises:
            NoSuchTaxCodeError: the tables hold no such code.
            TaxCodeEndedError: the code has no rate on that day.
        """
        if code not in self.tax_rows:
            known = ", ".join(sorted(self.tax_rows))
            raise NoSuchTaxCodeError(code=code[:40], known=known)
        rows = [row for row in self.tax_rows[code] if row.in_force(on)]
        if not rows:
            raise TaxCodeEndedError(code=code, on=on.isoformat())
        return tuple(
            Tax(
                row.authority,
                row.category,
                row.rate,
                row.label,
                on_prior=row.base == "net_and_prior",
                reason=row.reason,
            )
            for row in sorted(rows, key=lambda row: row.order)
        )


class NoSuchTaxCodeError(RuleError):
    """A tax code stands in no table."""

    message = translatable("There is no tax code {code}; there are {known}.")


class TaxCodeEndedError(RuleError):
    """A tax code has no rate on the day of the document."""

    message = translatable(
        "The tax code {code} has no rate in force on {on}. Add the row that holds then "
        "to the tax table, and bring the rate tables in."
    )


def assemble(
    shop: Shop,
    policy: Policy,
    sheets: Mapping[str, Sheet],
    found: Iterable[Problem] = (),
) -> tuple[Edition, tuple[Problem, ...]]:
    """Put an edition together from its sheets.

    Args:
        shop: what holds for the whole shop.
        policy: how tax is rounded.
        sheets: by table name; one for every table.
        found: problems met before, so that all are named at once.

    Returns:
        The edition and the warnings.

    Raises:
        ProblemsError: a table is missing, a cell cannot be read, or rows contradict
            each other. Every problem is named; there is no edition.
    """
    problems = list(found)
    placed: dict[str, list[Placed[Any]]] = {}
    rows: dict[str, list[Cells]] = {}
    codes: dict[str, set[str]] = {}
    for name, table in TABLES.items():
        sheet = sheets[name]
        sheet = sheet._replace(rows=list(sheet.rows))
        rows[name], wrong = read_cells(table, sheet)
        problems += wrong
        placed[name] = records(table, rows[name])
        codes[name] = _codes_in(sheet)
    codes["part kinds"] = {entry.values.get("kind", "") for entry in rows["parts"]}
    files = {name: sheets[name].file for name in TABLES}
    problems += problems_of(shop, ReadTables(placed, rows, files, codes))
    if any(not problem.warning for problem in problems):
        order = {file: place for place, file in enumerate(files.values())}
        raise ProblemsError(
            sorted(problems, key=lambda p: (order.get(p.file, -1), p.row or 0))
        )
    return _edition(shop, policy, placed), tuple(problems)


def _edition(
    shop: Shop, policy: Policy, placed: Mapping[str, list[Placed[Any]]]
) -> Edition:
    def records(name: str) -> list[Any]:
        return [entry.record for entry in placed[name]]

    def by_code(name: str) -> dict[str, Any]:
        return {record.code: record for record in records(name)}

    tax_rows: dict[str, list[TaxRow]] = {}
    for row in records("tax_codes"):
        tax_rows.setdefault(row.code, []).append(row)
    return Edition(
        shop=shop,
        policy=policy,
        work_centres=by_code("work_centres"),
        operations={
            operation.code: operation
            for operation in sorted(records("operations"), key=lambda o: o.place)
        },
        class_prices={(r.operation, r.size_class): r for r in records("class_prices")},
        layouts=by_code("layouts"),
        parts=by_code("parts"),
        fees=by_code("fees"),
        rush=by_code("rush"),
        sundries=by_code("sundries"),
        surcharges=by_code("surcharges"),
        terms=by_code("terms"),
        ceilings=by_code("ceilings"),
        agreed_prices={
            (r.terms, r.operation or r.set, r.size_class): r
            for r in records("agreed_prices")
        },
        modifiers=by_code("modifiers"),
        relations=records("relations"),
        sets=by_code("sets"),
        set_prices=records("set_prices"),
        reasons=by_code("reasons"),
        findings=by_code("findings"),
        tax_rows=tax_rows,
        limits=records("limits"),
        cautions=sorted(records("cautions"), key=lambda c: c.rank),
        countries=records("countries"),
        wording={(r.country, r.language): r for r in records("wording")},
        regions={(r.country, r.code): r for r in records("regions")},
        tax_rules=by_code("tax_rules"),
    )


def _codes_in(sheet: Sheet) -> set[str]:
    """Return the codes of a sheet's rows, those of faulty rows included."""
    if "code" not in sheet.header:
        return set()
    index = list(sheet.header).index("code")
    return {cells[index].strip() for _, cells in sheet.rows if index < len(cells)}
