"""Rate tables with something wrong: named by file, row and column, all at once."""

import csv
from dataclasses import replace
from decimal import Decimal

import pytest
from builders import RT1, edition

from quoting.domain.edition import assemble
from quoting.domain.errors import ProblemsError
from quoting.domain.rates import TABLES
from quoting.domain.tables import Sheet
from quoting.domain.tax import Policy

RATES = edition()


#: A country and a region, so that other tables have some to name.
PLACES = {
    "countries": (
        "code,name,currency,address,source,checked,as_of\n"
        "XA,Ambria,XTS,street; town,invented,from memory,2026-01-01"
    ),
    "regions": (
        "country,code,name,labour,parts,outwork,tax,source,checked,as_of\n"
        "XA,N,North,taxed,taxed,taxed,Levy,invented,from memory,2026-01-01"
    ),
}


def text_of(table):
    """Return RT-1's table as text; of one that it lacks the column names alone."""
    path = RT1 / ("tax/one_rate.csv" if table == "tax_codes" else f"{table}.csv")
    if path.is_file():
        return path.read_text("utf-8")
    return PLACES.get(table) or ",".join(TABLES[table].columns())


def sheet(table, text):
    rows = list(csv.reader(text.splitlines()))
    return Sheet(f"{table}.csv", rows[0], list(enumerate(rows[1:], 2)))


def assembled(*, shop=None, **tables):
    """Assemble RT-1 with some tables replaced by other text."""
    texts = {name: tables.get(name) or text_of(name) for name in TABLES}
    sheets = {name: sheet(name, text) for name, text in texts.items()}
    return assemble(replace(RATES.shop, **(shop or {})), Policy(), sheets)


def problems(**tables):
    with pytest.raises(ProblemsError) as wrong:
        assembled(**tables)
    return wrong.value.problems


def more(table, *rows):
    """Return a table of RT-1 with rows added, each given by column; and their lines."""
    lines = text_of(table).splitlines()
    header = lines[0].split(",")
    for row in rows:
        names = list(dict.fromkeys([*header, *row]))
        if names != header:
            lines[0] = ",".join(names)
            header = names
        lines.append(",".join(row.get(name, "") for name in header))
    return "\n".join(lines), [len(lines) - len(rows) + i + 1 for i in range(len(rows))]


OPERATION = {
    "code": "NEW", "name": "New", "work_centre": "SHOP", "place": "999",
    "counted_by": "valve", "tax_code": "LAB",
}  # fmt: skip
LAYOUT = {
    "code": "NEW", "name": "New", "cylinders": "4", "inlet": "2", "exhaust": "2",
    "size_class": "car", "material": "iron",
}  # fmt: skip
PART = {
    "code": "P", "name": "Part", "kind": "seal", "tax_code": "PAR",
    "as_of": "2026-01-01", "price": "2.00",
}  # fmt: skip
LIMIT = {
    "code": "FLAT", "name": "Flatness", "place": "head", "unit": "mm",
    "maximum": "0.10", "source": "shop",
}  # fmt: skip
CAUTION = {"code": "C", "name": "c", "rank": "1", "text": "Careful."}
MODIFIER = {
    "code": "M", "name": "m", "fact": "material", "test": "is", "values": "iron",
    "operations": "SKIM", "factor": "1.10", "scales": "unit",
}  # fmt: skip
RELATION = {
    "operation": "VREF", "relation": "brings", "other": "VTIP", "reason": "it must",
}  # fmt: skip
TAX = {
    "code": "X", "label": "Tax", "authority": "XA", "category": "S", "rate": "7.25",
}  # fmt: skip
SURCHARGE = {
    "code": "C", "name": "c", "amount": "10", "tax_code": "SUR", "tax_returned": "yes",
}  # fmt: skip
KNOWN = {"source": "invented", "checked": "from memory", "as_of": "2026-01-01"}
COUNTRY = {
    "code": "XB", "name": "Norvale", "currency": "XTS", "address": "street; town",
    **KNOWN,
}  # fmt: skip
WORDING = {
    "country": "XA", "language": "en", "invoice": "Invoice",
    "deposit_invoice": "Deposit invoice", "credit_note": "Credit note", "tax": "Levy",
    "tax_number": "Levy no.", **KNOWN,
}  # fmt: skip
REGION = {
    "country": "XA", "code": "S", "name": "South", "labour": "taxed", "parts": "taxed",
    "outwork": "taxed", "tax": "Levy", **KNOWN,
}  # fmt: skip
RULE = {
    "code": "R", "country": "XA", "rule": "lump_sum", "groups": "labour parts",
    "tax_code": "PAR", "says": "so", **KNOWN,
}  # fmt: skip
FINDING = {
    "code": "f", "name": "Guides worn", "counted_by": "guide", "operations": "GREP",
    "says": "worn valve guides",
}  # fmt: skip
BASES = {
    "countries": COUNTRY, "wording": WORDING, "regions": REGION, "tax_rules": RULE,
    "operations": OPERATION, "layouts": LAYOUT, "parts": PART, "limits": LIMIT,
    "cautions": CAUTION, "modifiers": MODIFIER, "relations": RELATION,
    "tax_codes": TAX, "surcharges": SURCHARGE,
    "class_prices": {"operation": "SKIM", "size_class": "large", "base": "70"},
    "agreed_prices": {"terms": "TRADE10", "operation": "LEAK", "base": "40"},
    "rush": {"code": "R", "name": "Rush", "percent": "25"},
    "sundries": {"code": "S", "name": "s", "percent": "4", "tax_code": "SUN"},
    "fees": {"code": "F", "name": "f", "price": "5", "tax_code": "FEE", "per": "job"},
    "terms": {"code": "T", "name": "t"},
    "sets": {"code": "S", "name": "s", "operations": "STRP WASH"},
    "set_prices": {"set": "VJOB", "price": "300", "size_class": "large"},
    "reasons": {"code": "R", "name": "r"},
    "findings": FINDING,
    "work_centres": {
        "code": "W", "name": "w", "hourly_rate": "70", "cost_rate": "35",
    },
}  # fmt: skip


@pytest.mark.parametrize("table", BASES)
def test_the_rows_that_the_tests_start_from_are_good(table):
    text, _ = more(table, BASES[table])

    edition, warnings = assembled(**{table: text})

    assert warnings == ()
    assert edition.shop.name == "Shop One"


@pytest.mark.parametrize(
    ("table", "changed", "column", "found", "allowed"),
    [
        # Counts that a head cannot have.
        ("layouts", {"cylinders": "0"}, "cylinders", "0", "1 to 8"),
        ("layouts", {"cylinders": "9"}, "cylinders", "9", "1 to 8"),
        ("layouts", {"inlet": "3", "exhaust": "3"}, "inlet", "3 + 3", "at most 5"),
        ("layouts", {"heads": "0"}, "heads", "0", "1 or more"),
        ("layouts", {"cams": "0", "journals_per_cam": "5"}, "cams", "0", "needs a cam"),
        ("layouts", {"prechambers": "1"}, "chamber", "open", "prechamber"),
        ("layouts", {"springs_per_valve": "4"}, "springs_per_valve", "4", "0 to 3"),
        ("layouts", {"order": "E I I E"}, "order", "E I I E", "valve order line"),
        ("layouts", {"order": "E I I E", "valve_order": "line"}, "order", "E I I E",
         "4 cylinders in turn"),
        ("layouts", {"cylinders": "four"}, "cylinders", "four", "whole number"),
        ("layouts", {"inlet": "-2"}, "inlet", "-2", "whole number"),
        ("layouts", {"inlet": "2.5"}, "inlet", "2.5", "whole number"),
        ("layouts", {"material": "steel"}, "material", "steel", "one of aluminium"),
        ("layouts", {"stem_inlet_mm": "0"}, "stem_inlet_mm", "0", "above 0"),
        # Prices of operations.
        ("operations", {"base": "-1.00"}, "base", "-1.00", "0 or more"),
        ("operations", {"unit": "1,50"}, "unit", "1", "decimal number"),
        ("operations", {"unit": "six"}, "unit", "six", "decimal number"),
        ("operations", {"priced_by": "time", "base": "5"}, "base", "5", "by time"),
        ("operations", {"unit": "5", "unit_inlet": "5", "unit_exhaust": "6"}, "unit",
         "5", "either unit"),
        ("operations", {"unit_inlet": "5"}, "unit_exhaust", "", "together"),
        ("operations", {"unit_inlet": "5", "unit_exhaust": "6", "counted_by": "head"},
         "unit_inlet", "5", "use unit"),
        ("operations", {"included": "0.10"}, "step", "", "included needs a step"),
        ("operations", {"step": "0"}, "step", "0", "above 0"),
        ("operations", {"place_back": "998"}, "place_back", "998", "above 999"),
        ("operations", {"place_back": "1001", "phases": "out"}, "phases", "out", "two"),
        ("operations", {"base_per": "job", "pair_break": "0.5"}, "pair_break", "0.5",
         "no pair"),
        ("operations", {"pair_break": "1.5"}, "pair_break", "1.5", "from 0 to 1"),
        ("operations", {"counted_by": "piston"}, "counted_by", "piston", "one of"),
        ("operations", {"work_centre": "SHED"}, "work_centre", "SHED",
         "a code of work_centres.csv"),
        ("operations", {"tax_code": "LABR"}, "tax_code", "LABR", "near it: LAB"),
        ("operations", {"consumes": "seals"}, "consumes", "seals", "kind of parts.csv"),
        ("operations", {"readings": "BORE"}, "readings", "BORE", "limits.csv"),
        ("operations", {"code": "SCUT"}, "code", "SCUT", "already in row"),
        ("operations", {"code": "cut seats"}, "code", "cut seats", "a code"),
        ("operations", {"code": ""}, "code", "", "empty"),
        ("operations", {"name": " "}, "name", "", "empty"),
        ("operations", {"gate": "true"}, "gate", "true", "yes or no"),
        ("operations", {"left_out_when": "wet"}, "left_out_when", "wet", "any of"),
        ("class_prices", {"operation": "SKIMM"}, "operation", "SKIMM", "near it: SKIM"),
        ("class_prices", {"size_class": "huge"}, "size_class", "huge", "car, large"),
        ("class_prices", {"unit_inlet": "5"}, "unit_exhaust", "", "together"),
        # What customers have agreed.
        ("agreed_prices", {"terms": "NOBODY"}, "terms", "NOBODY", "terms.csv"),
        ("agreed_prices", {"set": "VJOB"}, "operation", "LEAK", "either"),
        ("agreed_prices", {"operation": ""}, "operation", "", "either"),
        ("agreed_prices", {"operation": "", "set": "VJOB", "base": ""}, "price", "",
         "a set needs a price"),
        ("agreed_prices", {"price": "40"}, "price", "40", "base and unit"),
        ("terms", {"discount_labour": "-5"}, "discount_labour", "-5", "0 or more"),
        ("terms", {"discount_labour": "10 %"}, "discount_labour", "10 %", "per cent"),
        ("terms", {"sundries": "SUNN"}, "sundries", "SUNN", "near it: SUN"),
        ("terms", {"exempt_code": "FREE"}, "exempt_code", "FREE", "tax_codes.csv"),
        ("terms", {"payment_days": "30.5"}, "payment_days", "30.5", "whole number"),
        # Facts.
        ("modifiers", {"fact": "colour"}, "fact", "colour", "one of material"),
        ("modifiers", {"values": "steel"}, "values", "steel", "aluminium, iron"),
        ("modifiers", {"values": ""}, "values", "", "empty"),
        ("modifiers", {"test": "under"}, "test", "under", "allowed: is"),
        ("modifiers", {"fact": "stem_mm", "values": "6"}, "test", "is", "under or"),
        ("modifiers", {"fact": "stem_mm", "test": "under", "values": "5 6"}, "test",
         "under", "one value"),
        ("modifiers", {"fact": "stem_mm", "test": "under", "values": "thin"}, "values",
         "thin", "decimal number"),
        ("modifiers", {"factor": "0"}, "factor", "0", "above 0"),
        ("modifiers", {"operations": "SKIM SCAT"}, "operations", "SCAT", "near it: SC"),
        # What operations have to do with each other.
        ("relations", {"relation": "likes"}, "relation", "likes", "one of brings"),
        ("relations", {"other": ""}, "other", "", "needs the other operation"),
        ("relations", {"other": "VREF"}, "other", "VREF", "another operation"),
        ("relations", {"other": "VTOP"}, "other", "VTOP", "near it: VTIP"),
        ("relations", {"relation": "not_on", "fact": "material", "values": "iron"},
         "other", "VTIP", "empty for not_on"),
        ("relations", {"relation": "not_on", "other": ""}, "fact", "", "needs a fact"),
        ("relations", {"values": "iron"}, "fact", "", "values need a fact"),
        ("relations", {"reason": ""}, "reason", "", "empty"),
        # Charges.
        ("rush", {"amount": "35"}, "percent", "25", "either"),
        ("rush", {"percent": ""}, "percent", "", "either"),
        ("sundries", {"cap": "-1"}, "cap", "-1", "0 or more"),
        ("fees", {"per": "valve"}, "per", "valve", "head, job, each"),
        ("fees", {"operations": "WISH"}, "operations", "WISH", "near it: WASH"),
        ("parts", {"price": ""}, "price", "", "a price or a cost"),
        ("parts", {"cost": "1", "markup": "40", "margin": "30"}, "margin", "30",
         "either"),
        ("parts", {"markup": "40"}, "cost", "", "needs a cost"),
        ("parts", {"cost": "1", "margin": "100"}, "margin", "100", "below 100"),
        ("parts", {"as_of": "yesterday"}, "as_of", "yesterday", "a date"),
        ("parts", {"as_of": "2026-02-30"}, "as_of", "2026-02-30", "a date"),
        ("parts", {"as_of": "01/02/2026"}, "as_of", "01/02/2026", "2026-03-01"),
        ("parts", {"layout": "I6-24"}, "layout", "I6-24", "layouts.csv"),
        ("parts", {"surcharge": "OLD"}, "surcharge", "OLD", "surcharges.csv"),
        ("surcharges", {"tax_returned": "no"}, "untaxed_code", "", "needed"),
        ("surcharges", {"share_part": "60"}, "share_part", "60", "from 0 to 1"),
        # Sets and reasons.
        ("sets", {"operations": "STRP WASCH"}, "operations", "WASCH", "near it: WASH"),
        ("sets", {"operations": "STRP THRD"}, "operations", "THRD", "only a person"),
        ("sets", {"operations": "STRP WASH STRP"}, "operations",
         "STRP WASH STRP", "STRP stands there twice"),
        ("modifiers", {"operations": "SKIM SKIM"}, "operations", "SKIM SKIM",
         "SKIM stands there twice"),
        ("set_prices", {"set": "NOSET"}, "set", "NOSET", "sets.csv"),
        ("set_prices", {"size_class": ""}, "set", "VJOB", "already in row 2"),
        ("reasons", {"set": "NOSET"}, "set", "NOSET", "sets.csv"),
        # What inspections look for.
        ("findings", {"operations": "GREPP"}, "operations", "GREPP", "near it: GREP"),
        ("findings", {"operations": ""}, "operations", "", "unless it condemns"),
        ("findings", {"condemns": "yes", "counted_by": "head"}, "operations", "GREP",
         "empty where it condemns"),
        ("findings", {"condemns": "yes", "operations": ""}, "counted_by", "guide",
         "counted by head"),
        ("findings", {"condemns": "yes", "operations": "", "counted_by": "head",
         "all_of_most": "yes"}, "all_of_most", "yes", "no where it condemns"),
        ("findings", {"operations": "GREP SKIM"}, "operations", "SKIM",
         "counted by head, which cannot be told"),
        ("findings", {"counted_by": "head", "operations": "THRD"}, "operations",
         "THRD", "counted by hole"),
        ("findings", {"counted_by": "hole"}, "operations", "GREP", "counted by hole"),
        ("findings", {"counted_by": "week"}, "counted_by", "week", "one of head"),
        ("findings", {"share": "1.2"}, "share", "1.2", "from 0 to 1"),
        ("findings", {"share": "15 %"}, "share", "15 %", "from 0 to 1"),
        ("findings", {"fact": "seats", "values": "worn"}, "values", "worn", "insert"),
        ("findings", {"says": ""}, "says", "", "empty"),
        # Tax.
        ("tax_codes", {"rate": "0"}, "rate", "0", "above 0 for category S"),
        ("tax_codes", {"category": "E"}, "rate", "7.25", "0 for every other"),
        ("tax_codes", {"category": "X"}, "category", "X", "one of S, Z, E"),
        ("tax_codes", {"rate": "7,25"}, "rate", "7", "0 or more"),
        ("tax_codes", {"valid_from": "2026-04-01", "valid_to": "2026-03-31"},
         "valid_to", "2026-03-31", "not before"),
        # Places.
        ("countries", {"code": "XA"}, "code", "XA", "already in row 2"),
        ("countries", {"simplified_up_to": "100", "buyer_from": "100"}, "buyer_from",
         "100", "above simplified_up_to, 100"),
        ("countries", {"simplified_up_to": "-1"}, "simplified_up_to", "-1", "0 or"),
        ("countries", {"surcharge_addon": "10"}, "surcharge_addon", "10", "is added"),
        ("countries", {"address": "street; city"}, "address", "city", "postcode, town"),
        ("countries", {"address": "street town"}, "address", "street town", "its own"),
        ("countries", {"address": "street; -"}, "address", "-", "allowed words"),
        ("countries", {"number_length": "6"}, "number_length", "6", "7 or more"),
        ("countries", {"deposit_tax": "later"}, "deposit_tax", "later", "one of rec"),
        ("countries", {"checked": "surely"}, "checked", "surely", "from memory"),
        ("countries", {"source": ""}, "source", "", "empty"),
        ("countries", {"as_of": "2026"}, "as_of", "2026", "a date"),
        ("wording", {"country": "XX"}, "country", "XX", "countries.csv"),
        ("wording", {"invoice": ""}, "invoice", "", "empty"),
        ("regions", {"code": "N"}, "country", "XA N", "already in row 2"),
        ("regions", {"labour": "half"}, "labour", "half", "untaxed_apart"),
        ("tax_rules", {"country": "XX"}, "country", "XX", "countries.csv"),
        ("tax_rules", {"region": "S"}, "region", "S", "has of XA: N"),
        ("tax_rules", {"rule": "all_free"}, "rule", "all_free", "any_part_taxes_all"),
        ("tax_rules", {"groups": "labour wages"}, "groups", "wages", "labour, parts"),
        ("tax_rules", {"tax_code": "PARS"}, "tax_code", "PARS", "near it: PAR"),
        ("tax_rules", {"otherwise": "LAB"}, "says_otherwise", "", "needs its words"),
        ("tax_rules", {"rule": "materials_share_over"}, "over", "", "over 2 of 3"),
        ("tax_rules", {"rule": "materials_share_over", "over": "3", "of": "3"}, "over",
         "3", "over 2 of 3"),
        ("tax_rules", {"over": "2"}, "over", "2", "only for materials_share_over"),
        ("tax_rules", {"of": "3"}, "of", "3", "only for materials_share_over"),
        ("tax_rules", {"unless": "lump_sum"}, "unless", "lump_sum", "another answer"),
        # Readings.
        ("limits", {"minimum": "0.20"}, "maximum", "0.10", "not below 0.20"),
        ("limits", {"source": ""}, "source", "", "maker or shop"),
        ("limits", {"operation": "SKEM"}, "operation", "SKEM", "near it:"),
        ("cautions", {"fact": "valves"}, "values", "", "needs a value"),
        ("cautions", {"rank": "first"}, "rank", "first", "whole number"),
    ],
)  # fmt: skip
def test_one_thing_wrong_is_named_with_its_place_and_what_is_allowed(
    table, changed, column, found, allowed
):
    if "," in "".join(changed.values()):
        changed = {key: f'"{text}"' for key, text in changed.items()}
        found = changed[column].strip('"')
    text, [row] = more(table, {**BASES[table], **changed})

    some = problems(**{table: text})

    assert (some[0].file, some[0].row) == (f"{table}.csv", row)
    assert (some[0].column, some[0].found) == (column, found)
    assert allowed in some[0].allowed
    assert len(some) == 1
    assert str(row) in str(some[0])
    assert f"column {column}" in str(some[0])


@pytest.mark.parametrize(
    "key", ["sundries", "terms", "tax_labour", "tax_parts", "tax_outwork"]
)
def test_a_key_of_the_shop_that_names_no_row_is_named(key):
    [problem] = problems(shop={key: "NOPE"})

    assert (problem.file, problem.column, problem.found) == ("shop.toml", key, "NOPE")
    assert "allowed: a code of" in problem.allowed


IN_XA = {"country": "XA", "language": "en"}


def test_a_country_may_follow_itself_from_a_day_on():
    text, _ = more("countries", {**COUNTRY, "code": "XA", "valid_from": "2027-01-01"})
    words, _ = more("wording", WORDING)
    assembled_one, _ = assembled(countries=text, wording=words, shop=IN_XA)

    assert len(assembled_one.countries) == 2


@pytest.mark.parametrize(
    ("shop", "column", "found", "allowed"),
    [
        ({"country": "XX"}, "country", "XX", "a code of countries.csv"),
        ({"country": "XA", "region": "S"}, "region", "S", "regions.csv has of XA: N"),
        ({"country": "XA", "language": "de"}, "language", "de", "has of XA: en"),
        ({"country": "XA", "language": "", "locale": "fr_FR"}, "locale", "fr", "en"),
        ({"country": "", "region": "N", "language": ""}, "region", "N", "a country"),
        ({"country": "", "language": "de"}, "language", "de", "needs a country"),
    ],
)
def test_a_place_of_the_shop_that_the_tables_lack_is_named(
    shop, column, found, allowed
):
    text, _ = more("wording", WORDING)
    some = problems(wording=text, shop=shop)

    assert [(p.file, p.column, p.found) for p in some] == [("shop.toml", column, found)]
    assert allowed in some[0].allowed


@pytest.mark.parametrize(
    ("shop", "column", "found", "allowed"),
    [
        ({"number_refund": "I"}, "number_refund", "I", "than that of number_invoice"),
        ({"number_quote": "W"}, "number_order", "W", "than that of number_quote"),
    ],
)
def test_two_series_whose_numbers_would_be_the_same_are_named(
    shop, column, found, allowed
):
    [problem] = problems(shop=shop)
    assert (problem.file, problem.column, problem.found) == ("shop.toml", column, found)
    assert allowed in problem.allowed


@pytest.mark.parametrize("key", ["invoice", "deposit_invoice", "credit_note"])
def test_a_documents_number_is_no_longer_than_its_country_allows(key):
    """Of 10 signs 4 are left before a dash and five digits."""
    text, _ = more("countries", {**COUNTRY, "code": "XB", "number_length": "10"})
    words, _ = more("wording", {**WORDING, "country": "XB"})
    tables = {"countries": text, "wording": words}
    shop = {"country": "XB", "language": "en"}
    assembled(**tables, shop={**shop, f"number_{key}": "2027"})

    [problem] = problems(**tables, shop={**shop, f"number_{key}": "2027I"})
    assert (problem.column, problem.found) == (f"number_{key}", "2027I")
    assert problem.allowed == (
        "allowed: at most 4 signs, as number_length of XB in countries.csv is 10"
    )
    assembled(**tables, shop={**shop, "number_quote": "2027Q"})


def test_a_country_whose_rows_all_begin_after_the_edition_is_named():
    text = "\n".join(
        f"{line},{cell}"
        for line, cell in zip(
            text_of("countries").splitlines(), ("valid_from", "2099-01-01"), strict=True
        )
    )
    words, _ = more("wording", WORDING)
    [problem] = problems(countries=text, wording=words, shop=IN_XA)

    assert (problem.file, problem.column) == ("shop.toml", "country")
    assert "needs a row in force on" in problem.allowed


@pytest.mark.parametrize(
    ("code", "allowed"),
    [("", "needed where surcharge_tax is added"), ("PAR", "a code of rate 0")],
)
@pytest.mark.parametrize("place", ["countries", "regions"])
def test_a_place_that_taxes_the_worth_of_old_units_needs_a_code_of_no_tax(
    place, code, allowed
):
    lines = text_of(place).splitlines()
    cells = zip(lines, ("surcharge_tax", "added"), strict=True)
    tables = {
        place: "\n".join(f"{line},{cell}" for line, cell in cells),
        "wording": more("wording", WORDING)[0],
    }
    shop = {**IN_XA, "region": "N"}
    [problem] = problems(shop={**shop, "tax_old_unit": code}, **tables)

    assert (problem.file, problem.column) == ("shop.toml", "tax_old_unit")
    assert (problem.found, problem.allowed) == (code, allowed)
    assert assembled(shop={**shop, "tax_old_unit": "EXEMPT"}, **tables)[1] == ()


@pytest.mark.parametrize(
    ("key", "good", "bad"),
    [
        # A sample that is often printed: another last digit, two digits exchanged.
        ("iban", "GB82 WEST 1234 5698 7654 32", "GB82 WEST 1234 5698 7654 33"),
        ("iban", "gb82west12345698765432", "GB82WEST21345698765432"),
        ("iban", "GB82WEST12345698765432", "GB82"),
        ("bic", "ZZZZXA9X", "ZZZZXA9"),
        ("bic", "ZZZZXA9XABC", "zzzzxa9x"),
    ],
)
def test_an_account_that_cannot_be_one_is_named(key, good, bad):
    """ISO 13616 (modulo 97) and ISO 9362; the sample number is from memory."""
    assert assembled(shop={key: good})[1] == ()
    [problem] = problems(shop={key: bad})

    assert (problem.file, problem.column, problem.found) == ("shop.toml", key, bad)


def tax_rows(*rows):
    rows = ({**TAX, "valid_from": a, "valid_to": b, **c} for a, b, c in rows)
    return more("tax_codes", *rows)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (("", ""), ("", "")),
        (("2025-01-01", "2025-12-31"), ("2025-12-31", "")),
        (("2025-01-01", ""), ("2026-01-01", "")),
        (("", "2025-12-31"), ("2025-06-01", "2025-06-30")),
        (("2025-06-01", "2025-06-30"), ("", "")),
    ],
)
def test_two_rates_of_one_code_at_one_time_are_an_error(first, second):
    text, [one, other] = tax_rows((*first, {}), (*second, {"rate": "8"}))
    [problem] = problems(tax_codes=text)

    assert (problem.row, problem.column, problem.found) == (other, "valid_from", "X")
    assert problem.allowed == f"the time overlaps row {one}"


def test_a_rate_may_follow_another_on_the_next_day():
    text, _ = tax_rows(
        ("", "2025-12-31", {}), ("2026-01-01", "2026-06-30", {"rate": "8"}),
        ("2026-07-01", "", {"rate": "9"}),
    )  # fmt: skip

    edition, _ = assembled(tax_codes=text)
    assert [row.rate for row in edition.tax_rows["X"]] != []


def test_two_taxes_of_one_code_may_hold_at_one_time():
    text, _ = tax_rows(("", "", {"order": "1"}), ("", "", {"order": "2"}))

    edition, _ = assembled(tax_codes=text)
    assert len(edition.tax_rows["X"]) == 2


def brings(*pairs, relation="brings"):
    rows = (
        {**RELATION, "operation": a, "other": b, "relation": relation} for a, b in pairs
    )
    header = "operation,relation,other,reason"
    lines = [",".join(row[name] for name in header.split(",")) for row in rows]
    return "\n".join([header, *lines])


@pytest.mark.parametrize(
    ("pairs", "row", "circle"),
    [
        (["SCUT VREF", "VREF SCUT"], 3, "SCUT brings VREF brings SCUT"),
        (
            ["SCUT VREF", "VREF VTIP", "VTIP SCUT"],
            4,
            "SCUT brings VREF brings VTIP brings SCUT",
        ),
        (
            ["GREP SCUT", "SCUT VREF", "SCUT VTIP", "VTIP SCUT"],
            5,
            "SCUT brings VTIP brings SCUT",
        ),
    ],
)
def test_work_that_brings_itself_along_is_named_as_a_circle(pairs, row, circle):
    [problem] = problems(relations=brings(*(pair.split() for pair in pairs)))

    assert (problem.row, problem.column) == (row, "other")
    assert problem.allowed == f"a circle: {circle}"


def test_work_that_two_operations_bring_along_is_no_circle():
    pairs = ("GREP SCUT", "GLIN SCUT", "SCUT VACT", "GREP VACT")

    edition, _ = assembled(relations=brings(*(pair.split() for pair in pairs)))
    assert len(edition.relations) == 4


@pytest.mark.parametrize("code", ["1E3", "007", "1-2", "MAR1"])
def test_a_code_that_a_spreadsheet_alters_is_warned_of_and_read(code):
    text, [row] = more("operations", {**OPERATION, "code": code})

    edition, [warning] = assembled(operations=text)

    assert code in edition.operations
    assert (warning.row, warning.column, warning.found) == (row, "code", code)
    assert warning.warning
    assert "warning" in str(warning)


def test_every_problem_of_every_table_is_named_at_once():
    operations, [new, twice] = more(
        "operations", {**OPERATION, "base": "-1", "unit": "six"},
        {**OPERATION, "code": "SCUT"},
    )  # fmt: skip
    layouts, [layout] = more("layouts", {**LAYOUT, "cylinders": "0", "inlet": "6"})
    taxes, [tax] = more("tax_codes", {**TAX, "rate": "0"})
    some = problems(
        operations=operations, layouts=layouts, tax_codes=taxes, shop={"terms": "NOPE"}
    )

    assert {(p.file, p.row, p.column) for p in some} == {
        ("operations.csv", new, "base"),
        ("operations.csv", new, "unit"),
        ("operations.csv", twice, "code"),
        ("layouts.csv", layout, "cylinders"),
        ("layouts.csv", layout, "inlet"),
        ("tax_codes.csv", tax, "rate"),
        ("shop.toml", None, "terms"),
    }


def test_a_row_with_two_sorts_of_mistakes_has_both_named():
    """A price that is no number, an unknown tax code and a code that is taken."""
    text, [row] = more(
        "operations", {**OPERATION, "code": "SCUT", "base": "six", "tax_code": "VAT"}
    )
    some = problems(operations=text)

    assert {(p.row, p.column) for p in some} == {
        (row, "base"), (row, "tax_code"), (row, "code"),
    }  # fmt: skip


def test_problems_stand_in_the_order_of_files_and_rows():
    operations, _ = more(
        "operations", {**OPERATION, "tax_code": "VAT"}, {**OPERATION, "base": "-1"}
    )
    centres, _ = more("work_centres", {**BASES["work_centres"], "cost_rate": "-1"})
    some = problems(operations=operations, work_centres=centres, shop={"terms": "NO"})

    places = [(p.file, p.row or 0) for p in some]
    assert [file for file, _ in places] == [
        "shop.toml", "work_centres.csv", "operations.csv", "operations.csv",
        "operations.csv",
    ]  # fmt: skip
    assert places[2:] == sorted(places[2:])


def test_a_reference_to_a_row_that_cannot_be_read_is_no_second_mistake():
    """The new operation has a wrong price; the set that names it is not to blame."""
    operations, [row] = more("operations", {**OPERATION, "base": "-1"})
    sets, _ = more("sets", {"code": "S", "name": "s", "operations": "STRP NEW"})

    [problem] = problems(operations=operations, sets=sets)
    assert (problem.row, problem.column) == (row, "base")


def test_warnings_stand_beside_the_problems():
    text, _ = more(
        "operations", {**OPERATION, "code": "1E3"}, {**OPERATION, "base": "-1"}
    )
    some = problems(operations=text)

    assert sorted(p.warning for p in some) == [False, True]


def test_the_message_names_every_problem_on_a_line():
    text, _ = more("operations", {**OPERATION, "base": "-1", "unit": "six"})

    with pytest.raises(ProblemsError, match="2 problems:") as wrong:
        assembled(operations=text)

    assert str(wrong.value).splitlines()[1:] == [
        str(problem) for problem in wrong.value.problems
    ]


@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("set_prices", {"price": "300.005"}),
        ("rush", {"percent": "", "amount": "35.005"}),
        ("sundries", {"cap": "25.005"}),
        ("operations", {"minimum": "15.005"}),
        ("agreed_prices", {"operation": "", "set": "VJOB", "base": "",
                           "price": "300.005"}),
    ],
)  # fmt: skip
def test_an_amount_that_stands_on_a_line_has_no_more_decimals_than_the_currency(
    table, values
):
    """300.005 in a currency of two decimals would leave half a cent in the sums.

    Prices of one unit may have more: 0.0088 a piece is rounded with its line.
    """
    text, [row] = more(table, {**BASES[table], **values})
    [problem] = problems(**{table: text})

    assert (problem.row, problem.column) == (row, list(values)[-1])
    assert "decimals" in problem.allowed


@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("operations", {"base": "0.125", "unit": "0.0088"}),
        ("parts", {"cost": "0.0375", "price": ""}),
        ("fees", {"price": "0.125"}),
    ],
)
def test_a_price_of_one_may_have_more_decimals(table, values):
    text, _ = more(table, {**BASES[table], **values})

    edition, warnings = assembled(**{table: text})
    assert (edition.shop.digits, warnings) == (2, ())


@pytest.mark.parametrize("key", ["job_minimum", "no_fix_cap"])
def test_a_minimum_or_cap_of_the_shop_has_no_more_decimals_than_the_currency(key):
    [problem] = problems(shop={key: Decimal("45.005")})

    assert (problem.file, problem.column, problem.found) == ("shop.toml", key, "45.005")


def test_a_currency_without_decimals_has_whole_amounts_only():
    """RT-1's 45.00 is a whole amount, its VREF minimum 15.00 too; 380.50 is not."""
    yen = {"currency": "JPY", "digits": 0}
    text, [row] = more("set_prices", {**BASES["set_prices"], "price": "380.50"})
    [problem] = problems(shop=yen, set_prices=text)

    assert (problem.row, problem.found) == (row, "380.50")
    assert "0 decimals, as JPY has" in problem.allowed
