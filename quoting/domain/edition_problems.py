"""What is wrong with rate tables: rows by themselves, and rows against each other.

Pure. ``problems_of`` names every problem of every table at once, so that the owner
mends them in one go; only an edition without any is put together.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, fields
from datetime import date
from typing import Any, NamedTuple

from quoting.domain.country import ADDRESS_WORDS, Country, TaxRule
from quoting.domain.errors import Problem
from quoting.domain.head import (
    COUNTS,
    FACTS,
    MOST_CYLINDERS,
    MOST_VALVES,
    SIDES,
    Layout,
    done_to_each,
)
from quoting.domain.money import ONE, smallest_unit
from quoting.domain.rates import (
    DOCUMENT_STARTS,
    GROUPS,
    NUMBER_STARTS,
    TABLES,
    TABLES_OF_SHOP,
    AgreedPrice,
    Ceiling,
    ClassPrice,
    Conditional,
    Finding,
    Limit,
    Operation,
    Part,
    Relation,
    Rush,
    Shop,
    Surcharge,
    TaxRow,
)
from quoting.domain.tables import Cells, Placed, changed_by_spreadsheets, near


class ReadTables(NamedTuple):
    """What reading the sheets gave, by table.

    Attributes:
        placed: records of the rows without a problem.
        rows: what could be read of every row.
        files: names of the files.
        codes: every code seen, and the kinds of parts.
    """

    placed: Mapping[str, list[Placed[Any]]]
    rows: Mapping[str, list[Cells]]
    files: Mapping[str, str]
    codes: Mapping[str, set[str]]


def problems_of(shop: Shop, known: ReadTables) -> Iterator[Problem]:
    """Yield every problem, and every warning, of tables that were read.

    A fault of a single cell is not among them: reading has named it.
    """
    for name in TABLES:
        yield from _duplicates(name, known)
        yield from _references(name, known)
    for name, one_by_one in _ROW_CHECKS.items():
        for row, record in known.placed[name]:
            for wrong in one_by_one(record):
                yield Problem(known.files[name], row, *wrong)
    for column_name, about in TABLES_OF_SHOP.items():
        code = getattr(shop, column_name)
        if code and code not in known.codes[about]:
            yield Problem(
                "shop.toml", None, column_name, code, _codes_allowed(code, about, known)
            )
    yield from _size_classes(shop, known)
    yield from _too_fine(shop, known)
    yield from _timed_with_a_price(known)
    yield from _overlapping_taxes(known)
    yield from _circles(known)
    yield from _uncountable_in_sets(known)
    yield from _undone_findings(known)
    yield from _place_of_shop(shop, known)
    yield from _regions_of_rules(known)
    yield from _numbers(shop, known)


def _duplicates(name: str, known: ReadTables) -> Iterator[Problem]:
    keys = _KEYS[name]
    if not keys:
        return
    columns = fields(TABLES[name].record)
    default = {f.name: f.default for f in columns if f.default is not MISSING}
    first: dict[tuple[Any, ...], int] = {}
    for row, values, _ in known.rows[name]:
        given = {**default, **values}
        if not given.keys() >= set(keys):
            continue
        key = tuple(given[column_name] for column_name in keys)
        shown = " ".join(str(part) for part in key if part)
        if key in first:
            yield Problem(
                known.files[name], row, keys[0], shown, f"already in row {first[key]}"
            )
        else:
            first[key] = row
        if keys == ("code",) and changed_by_spreadsheets(shown):
            yield Problem(
                known.files[name],
                row,
                "code",
                shown,
                "a spreadsheet turns this code into a number or a date; "
                "put a letter in front",
                warning=True,
            )


def _references(name: str, known: ReadTables) -> Iterator[Problem]:
    for column_name, about in TABLES[name].columns().items():
        if not about.refers:
            continue
        allowed = known.codes[about.refers]
        for row, values, _ in known.rows[name]:
            value = values.get(column_name, "")
            for code in (value,) if isinstance(value, str) else value:
                if code and code not in allowed:
                    yield Problem(
                        known.files[name],
                        row,
                        column_name,
                        code,
                        _codes_allowed(code, about.refers, known),
                    )


def _codes_allowed(code: str, table: str, known: ReadTables) -> str:
    where = f"a code of {table}.csv" if table in TABLES else "a kind of parts.csv"
    return f"allowed: {where}{near(code, known.codes[table])}"


_Wrong = tuple[str, str, str]


def layout_mistakes(layout: Layout) -> Iterator[_Wrong]:
    """Yield what a layout cannot have: column, what was found, what is allowed.

    Source:
        Cylinders and valves a cylinder go as far as heads are built (common practice,
        no source).
    """
    if not 1 <= layout.cylinders <= MOST_CYLINDERS:
        yield "cylinders", str(layout.cylinders), f"allowed: 1 to {MOST_CYLINDERS}"
    if (valves := layout.inlet + layout.exhaust) > MOST_VALVES:
        yield (
            "inlet",
            f"{layout.inlet} + {layout.exhaust}",
            f"allowed: at most {MOST_VALVES} valves a cylinder",
        )
    if not layout.heads:
        yield "heads", "0", "allowed: 1 or more"
    if layout.journals_per_cam and not layout.cams:
        yield "cams", "0", "journals_per_cam needs a cam in the head"
    if layout.prechambers and layout.chamber != "prechamber":
        yield "chamber", layout.chamber, "prechambers need the chamber prechamber"
    if layout.order:
        letters = layout.order.split()
        each = Counter({s.value: n for s in SIDES if (n := layout.a_cylinder(s))})
        cylinders = [
            letters[i : i + valves] for i in range(0, len(letters), valves or 1)
        ]
        if layout.valve_order != "line":
            yield "order", layout.order, "only for the valve order line"
        elif [Counter(c) for c in cylinders] != [each] * layout.cylinders:
            yield (
                "order",
                layout.order,
                f"allowed: {layout.cylinders} cylinders in turn, each with "
                f"{layout.inlet} times I and {layout.exhaust} times E",
            )
    if layout.springs_per_valve > 3 and valves:
        yield "springs_per_valve", str(layout.springs_per_valve), "allowed: 0 to 3"


def _operation(operation: Operation) -> Iterator[_Wrong]:
    prices = ("base", "unit", "unit_inlet", "unit_exhaust")
    given = {name: getattr(operation, name) for name in prices}
    if operation.priced_by == "time":
        for name, value in given.items():
            if value is not None:
                yield name, str(value), "empty where the price goes by time"
    yield from _sides(operation)
    sided = given["unit_inlet"] is not None or given["unit_exhaust"] is not None
    if sided and not operation.by_position:
        yield (
            "unit_inlet",
            str(given["unit_inlet"] or given["unit_exhaust"]),
            f"{operation.counted_by} has no inlet and exhaust side; use unit",
        )
    if operation.step is None and operation.included:
        yield "step", "", "included needs a step"
    if operation.place_back is not None and operation.place_back <= operation.place:
        yield "place_back", str(operation.place_back), f"above {operation.place}"
    if len(operation.phases) != 2:
        yield "phases", "; ".join(operation.phases), "two words, such as out; back in"
    if operation.base_per == "job" and operation.pair_break != ONE:
        yield "pair_break", str(operation.pair_break), "a base per job has no pair"


def _sides(row: Operation | ClassPrice | AgreedPrice) -> Iterator[_Wrong]:
    inlet, exhaust = row.unit_inlet, row.unit_exhaust
    if row.unit is not None and (inlet is not None or exhaust is not None):
        yield "unit", str(row.unit), "either unit, or unit_inlet and unit_exhaust"
    elif (inlet is None) != (exhaust is None):
        empty = "unit_inlet" if inlet is None else "unit_exhaust"
        yield empty, "", "unit_inlet and unit_exhaust go together"


def _condition(row: Conditional) -> Iterator[_Wrong]:
    if not row.fact:
        if row.values:
            yield "fact", "", "values need a fact"
        return
    kind = FACTS[row.fact]
    if not row.values:
        yield "values", "", f"{row.fact} needs a value"
    elif kind.words:
        if row.test != "is":
            yield "test", row.test, f"{row.fact} is a word: allowed: is"
        for word in row.values:
            if word not in kind.words:
                yield "values", word, f"allowed: {', '.join(kind.words)}"
    elif row.test == "is" or len(row.values) != 1:
        yield "test", row.test, f"{row.fact} is a number: under or over, and one value"
    elif not row.values[0].replace(".", "", 1).isdecimal():
        yield "values", row.values[0], "allowed: a decimal number such as 6"


def _relation(relation: Relation) -> Iterator[_Wrong]:
    yield from _condition(relation)
    if relation.relation == "not_on":
        if relation.other:
            yield "other", relation.other, "empty for not_on"
        if not relation.fact:
            yield "fact", "", "not_on needs a fact"
    elif not relation.other:
        yield "other", "", f"{relation.relation} needs the other operation"
    elif relation.other == relation.operation:
        yield "other", relation.other, "allowed: another operation"


def _agreed(agreed: AgreedPrice) -> Iterator[_Wrong]:
    if bool(agreed.operation) == bool(agreed.set):
        yield "operation", agreed.operation, "either an operation or a set"
    elif agreed.set and agreed.price is None:
        yield "price", "", "a set needs a price"
    elif agreed.operation and agreed.price is not None:
        yield "price", str(agreed.price), "an operation has base and unit"
    yield from _sides(agreed)


def _finding(finding: Finding) -> Iterator[_Wrong]:
    yield from _condition(finding)
    if finding.condemns:
        if finding.operations:
            operations = " ".join(finding.operations)
            yield "operations", operations, "empty where it condemns"
        if finding.counted_by != "head":
            yield "counted_by", finding.counted_by, "what condemns is counted by head"
        if finding.all_of_most:
            yield "all_of_most", "yes", "no where it condemns"
    elif not finding.operations:
        yield "operations", "", "what is done about it, unless it condemns"


def _ceiling(ceiling: Ceiling) -> Iterator[_Wrong]:
    if ceiling.binding and ceiling.percent:
        yield "percent", str(ceiling.percent), "0 where the price is a promise"
    if ceiling.binding and ceiling.amount:
        yield "amount", str(ceiling.amount), "empty where the price is a promise"
    if ceiling.combine == "lesser" and ceiling.amount is None:
        yield "amount", "", "the lesser of per cent and amount needs an amount"
    if ceiling.hard and not ceiling.source:
        yield "source", "", "a stop that nobody may set aside needs its law"


def _rush(rush: Rush) -> Iterator[_Wrong]:
    if (rush.percent is None) == (rush.amount is None):
        yield "percent", str(rush.percent or ""), "either a percent or an amount"


def _part(part: Part) -> Iterator[_Wrong]:
    if part.price is None and part.cost is None:
        yield "price", "", "a price or a cost"
    if part.markup is not None and part.margin is not None:
        yield "margin", str(part.margin), "either a mark-up or a margin"
    if part.cost is None and (part.markup is not None or part.margin is not None):
        yield "cost", "", "a mark-up or margin needs a cost"


def _surcharge(surcharge: Surcharge) -> Iterator[_Wrong]:
    if not surcharge.tax_returned and not surcharge.untaxed_code:
        yield "untaxed_code", "", "needed where the tax is not returned"


def _tax_row(row: TaxRow) -> Iterator[_Wrong]:
    if (row.category == "S") != (row.rate > 0):
        yield "rate", str(row.rate), "above 0 for category S, 0 for every other"
    if row.valid_from and row.valid_to and row.valid_to < row.valid_from:
        yield "valid_to", row.valid_to.isoformat(), "not before valid_from"


def _country(country: Country) -> Iterator[_Wrong]:
    simplified, buyer = country.simplified_up_to, country.buyer_from
    if simplified is not None and buyer is not None and simplified >= buyer:
        yield "buyer_from", str(buyer), f"above simplified_up_to, {simplified}"
    if country.surcharge_addon is not None and country.surcharge_tax != "added":
        addon = str(country.surcharge_addon)
        yield "surcharge_addon", addon, "only where surcharge_tax is added"
    for line in country.address:
        words = re.findall(r"\w+", line.lower())
        if not words or any(word not in ADDRESS_WORDS for word in words):
            yield "address", line, f"allowed words: {', '.join(ADDRESS_WORDS)}"
        elif "street" in words and len(words) > 1:
            yield "address", line, "street stands in a line of its own"
    if country.number_length <= _AFTER_START:
        yield (
            "number_length",
            str(country.number_length),
            f"allowed: {_AFTER_START + 1} or more: a sign, a dash and five digits",
        )


#: A number has a dash and at least five digits after what it begins with.
_AFTER_START = 6


def _numbers(shop: Shop, known: ReadTables) -> Iterator[Problem]:
    """Yield series that give the same numbers, and documents' that are too long."""
    first: dict[str, str] = {}
    for key in NUMBER_STARTS:
        start = getattr(shop, key)
        if start in first:
            said = f"allowed: another than that of {first[start]}"
            yield Problem("shop.toml", None, key, start, said)
        first.setdefault(start, key)
    lengths = [
        row.record.number_length
        for row in known.placed["countries"]
        if row.record.code == shop.country
    ]
    most = min(lengths, default=None)
    for key in DOCUMENT_STARTS:
        start = getattr(shop, key)
        if most is not None and len(start) + _AFTER_START > most:
            said = (
                f"allowed: at most {most - _AFTER_START} signs, as number_length of "
                f"{shop.country} in countries.csv is {most}"
            )
            yield Problem("shop.toml", None, key, start, said)


def _tax_rule(rule: TaxRule) -> Iterator[_Wrong]:
    for group in rule.groups:
        if group not in GROUPS:
            yield "groups", group, f"allowed: {', '.join(GROUPS)}"
    over, of = rule.over, rule.of
    if rule.rule != "materials_share_over":
        if over is not None:
            yield "over", str(over), "only for materials_share_over"
        if of is not None:
            yield "of", str(of), "only for materials_share_over"
    elif not over or not of or over >= of:
        yield "over", str(over or ""), "such as over 2 of 3"
    if rule.otherwise and not rule.says_otherwise:
        yield "says_otherwise", "", "otherwise needs its words"
    if rule.unless == rule.rule:
        yield "unless", rule.unless, "another answer than the rule's own"


def _limit(limit: Limit) -> Iterator[_Wrong]:
    low, high = limit.minimum, limit.maximum
    if low is not None and high is not None and high < low:
        yield "maximum", str(high), f"not below {low}"
    if (low is not None or high is not None) and not limit.source:
        yield "source", "", "a limit needs its source: maker or shop"


_ROW_CHECKS: Mapping[str, Any] = {
    "layouts": layout_mistakes,
    "operations": _operation,
    "class_prices": _sides,
    "agreed_prices": _agreed,
    "modifiers": _condition,
    "relations": _relation,
    "findings": _finding,
    "cautions": _condition,
    "ceilings": _ceiling,
    "rush": _rush,
    "parts": _part,
    "surcharges": _surcharge,
    "tax_codes": _tax_row,
    "limits": _limit,
    "countries": _country,
    "tax_rules": _tax_rule,
}

#: What makes a row unique; nothing where rows may repeat.
_KEYS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(TABLES, ("code",)),
    "class_prices": ("operation", "size_class"),
    "agreed_prices": ("operation", "set", "terms", "size_class"),
    "set_prices": ("set", "size_class", "layout"),
    "relations": ("operation", "relation", "other", "fact", "values"),
    "tax_codes": (),
    "limits": ("code", "side", "size_class", "layout"),
    "countries": ("code", "valid_from"),
    "wording": ("country", "language"),
    "regions": ("country", "code"),
}


def _size_classes(shop: Shop, known: ReadTables) -> Iterator[Problem]:
    named = {entry.record.size_class for entry in known.placed["layouts"]}
    classes = set(shop.size_classes) or named
    for name in (
        "layouts",
        "class_prices",
        "agreed_prices",
        "set_prices",
        "parts",
        "limits",
    ):
        for row, record in known.placed[name]:
            if record.size_class and record.size_class not in classes:
                yield Problem(
                    known.files[name],
                    row,
                    "size_class",
                    record.size_class,
                    f"allowed: {', '.join(sorted(classes))}",
                )


#: Amounts that stand on a line, or bound one, as they are written.
_ON_A_LINE: Mapping[str, tuple[str, ...]] = {
    "operations": ("minimum",),
    "class_prices": ("minimum",),
    "agreed_prices": ("price",),
    "set_prices": ("price",),
    "rush": ("amount",),
    "sundries": ("cap",),
    "ceilings": ("amount", "cap", "written_trigger"),
}
_ON_A_LINE_OF_SHOP = ("job_minimum", "no_fix_cap")


def _too_fine(shop: Shop, known: ReadTables) -> Iterator[Problem]:
    """Find amounts that the currency has no coin for."""
    allowed = f"at most {shop.digits} decimals, as {shop.currency} has"
    unit = smallest_unit(shop.digits)
    for name, column_names in _ON_A_LINE.items():
        for row, values, _ in known.rows[name]:
            for column_name in column_names:
                amount = values.get(column_name)
                if amount is not None and amount % unit:
                    yield Problem(
                        known.files[name], row, column_name, str(amount), allowed
                    )
    for column_name in _ON_A_LINE_OF_SHOP:
        amount = getattr(shop, column_name)
        if amount is not None and amount % unit:
            yield Problem("shop.toml", None, column_name, str(amount), allowed)


def _overlapping_taxes(known: ReadTables) -> Iterator[Problem]:
    earlier: dict[tuple[str, int], list[Placed[TaxRow]]] = {}
    for entry in known.placed["tax_codes"]:
        record = entry.record
        for other in earlier.setdefault((record.code, record.order), []):
            first = max(
                record.valid_from or date.min, other.record.valid_from or date.min
            )
            last = min(record.valid_to or date.max, other.record.valid_to or date.max)
            if first <= last:
                yield Problem(
                    known.files["tax_codes"],
                    entry.row,
                    "valid_from",
                    record.code,
                    f"the time overlaps row {other.row}",
                )
        earlier[record.code, record.order].append(entry)


def _circles(known: ReadTables) -> Iterator[Problem]:
    """Find operations that bring each other along in a circle."""
    brings: dict[str, list[Placed[Relation]]] = {}
    for entry in known.placed["relations"]:
        if entry.record.relation in ("brings", "replaces"):
            brings.setdefault(entry.record.operation, []).append(entry)
    done: set[str] = set()

    def walk(code: str, path: tuple[str, ...]) -> Iterator[Problem]:
        for entry in brings.get(code, ()):
            other = entry.record.other
            if other == code:
                continue  # the row's own problem
            if other in path:
                circle = (*path[path.index(other) :], other)
                yield Problem(
                    known.files["relations"],
                    entry.row,
                    "other",
                    other,
                    f"a circle: {' brings '.join(circle)}",
                )
            elif other not in done:
                yield from walk(other, (*path, other))
        done.add(code)

    for code in brings:
        if code not in done:
            yield from walk(code, (code,))


def _timed_with_a_price(known: ReadTables) -> Iterator[Problem]:
    operations = {o.record.code: o.record for o in known.placed["operations"]}
    for row, record in known.placed["class_prices"]:
        operation = operations.get(record.operation)
        if operation and operation.priced_by == "time" and record.has_price:
            yield Problem(
                known.files["class_prices"],
                row,
                "operation",
                record.operation,
                "is priced by time; give minutes instead of prices",
            )


def _uncountable_in_sets(known: ReadTables) -> Iterator[Problem]:
    counted = {o.record.code: o.record.counted_by for o in known.placed["operations"]}
    for row, record in known.placed["sets"]:
        for code in record.operations:
            if (by := counted.get(code)) and COUNTS[by].by_people:
                yield Problem(
                    known.files["sets"],
                    row,
                    "operations",
                    code,
                    f"counted by {by}, which only a person knows; ask for it by itself",
                )


def _undone_findings(known: ReadTables) -> Iterator[Problem]:
    """Find what is done about a finding to something else than what is affected."""
    operations = {o.record.code: o.record for o in known.placed["operations"]}
    for row, record in known.placed["findings"]:
        for code in record.operations:
            operation = operations.get(code)
            if operation and not done_to_each(operation.counted_by, record.counted_by):
                yield Problem(
                    known.files["findings"],
                    row,
                    "operations",
                    code,
                    f"counted by {operation.counted_by}, which cannot be told from "
                    f"how many are affected, counted by {record.counted_by}",
                )


_BIC = re.compile("[A-Z0-9]{4}[A-Z]{2}[A-Z0-9]{2}([A-Z0-9]{3})?")


def _place_of_shop(shop: Shop, known: ReadTables) -> Iterator[Problem]:
    """Find what shop.toml says of its place that the tables do not have."""

    def wrong(column_name: str, found: str, allowed: str) -> Problem:
        return Problem("shop.toml", None, column_name, found, allowed)

    if shop.iban and not _is_iban(shop.iban):
        yield wrong("iban", shop.iban, "is no IBAN: its check digits do not fit")
    if shop.bic and not _BIC.fullmatch(shop.bic):
        yield wrong("bic", shop.bic, "allowed: 8 or 11 capitals and digits")
    if not shop.country:
        for column_name in ("region", "language"):
            if found := getattr(shop, column_name):
                yield wrong(column_name, found, "needs a country")
    if shop.country not in known.codes["countries"]:
        return
    regions = _seen(known, "regions", "code", shop.country)
    if shop.region and shop.region not in regions:
        yield wrong(
            "region", shop.region, _of_country("regions", regions, shop.country)
        )
    languages = _seen(known, "wording", "language", shop.country)
    if shop.spoken not in languages:
        column_name = "language" if shop.language else "locale"
        allowed = _of_country("wording", languages, shop.country)
        yield wrong(column_name, shop.spoken, allowed)
    days = [
        values.get("valid_from", date.min)
        for _, values, _ in known.rows["countries"]
        if values.get("code") == shop.country
    ]
    if days and min(days) > shop.valid_from:
        allowed = f"a row in force on {shop.valid_from.isoformat()}"
        yield wrong("country", shop.country, f"countries.csv needs {allowed}")
    place = {"countries": shop.country, "regions": shop.region}
    added = {
        values.get("surcharge_tax")
        for name, code in place.items()
        for _, values, _ in known.rows[name]
        if values.get("code") == code
        and values.get("country", shop.country) == shop.country
    }
    if "added" in added and not shop.tax_old_unit:
        yield wrong("tax_old_unit", "", "needed where surcharge_tax is added")
    rates = [
        values.get("rate", 0)
        for _, values, _ in known.rows["tax_codes"]
        if values.get("code") == shop.tax_old_unit
    ]
    if any(rates):
        yield wrong("tax_old_unit", shop.tax_old_unit, "a code of rate 0")


def _seen(known: ReadTables, name: str, column_name: str, country: str) -> set[str]:
    return {
        values.get(column_name, "")
        for _, values, _ in known.rows[name]
        if values.get("country") == country
    }


def _of_country(name: str, codes: Iterable[str], country: str) -> str:
    listed = ", ".join(sorted(codes)) or "none"
    return f"{name}.csv has of {country}: {listed}"


def _is_iban(text: str) -> bool:
    """Tell whether the check digits of an IBAN fit (ISO 13616: modulo 97 is 1)."""
    plain = text.replace(" ", "").upper()
    if not re.fullmatch(r"[A-Z]{2}[0-9]{2}[A-Z0-9]{11,30}", plain):
        return False
    figures = "".join(str(int(letter, 36)) for letter in plain[4:] + plain[:4])
    return int(figures) % 97 == 1


def _regions_of_rules(known: ReadTables) -> Iterator[Problem]:
    for row, record in known.placed["tax_rules"]:
        regions = _seen(known, "regions", "code", record.country)
        if record.region and record.region not in regions:
            yield Problem(
                known.files["tax_rules"],
                row,
                "region",
                record.region,
                _of_country("regions", regions, record.country),
            )
