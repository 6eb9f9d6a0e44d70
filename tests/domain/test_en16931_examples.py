"""Official example invoices of the European norm, worked out by the shop's own rules.

Source: 31 invoices, reduced to numbers, of the CEN EN 16931 validation artefacts
1.3.16, the Peppol BIS Billing 3.0 examples (2025-Q2) and the ZUGFeRD corpus, as each
entry names. Rules of EN 16931-1: BR-CO-10 to BR-CO-17, and BR-S-08 with its like for
each category. Two lines are misprinted at their source; their stated net is taken.
"""

import json
from decimal import ROUND_HALF_EVEN
from functools import cache

import pytest
from builders import TESTS, dec

from quoting.domain.money import round_to
from quoting.domain.tax import Amount, Policy, Tax, assess, shown_by_line

CENT = dec("0.01")
INVOICES = json.loads((TESTS / "data" / "en16931-examples.json").read_text("utf-8"))
NONE = dec("0")


def half_up(amount):
    return round_to(amount, CENT)


def half_even(amount):
    return amount.quantize(CENT, ROUND_HALF_EVEN)


def line_net(line, rounded=half_up):
    """Return BT-131: quantity x price / base, rounded, and charges and allowances."""
    if "misprint" in line:
        return dec(line["net"])
    exact = dec(line["quantity"]) * dec(line["price"]) / dec(line.get("per", "1"))
    besides = (_signed(kind, amount) for kind, amount in line.get("besides", ()))
    return sum(besides, rounded(exact))


def _signed(kind, amount):
    return dec(amount) if kind == "charge" else -dec(amount)


@cache
def tax(category, rate):
    return Tax("XA", category, rate)


def taxed(entry, amount):
    """Return an amount under the one tax that an entry names; O carries no rate."""
    return Amount(amount, (tax(entry["category"], dec(entry.get("rate", "0"))),))


def amounts(invoice, rounded=half_up):
    lines = [taxed(line, line_net(line, rounded)) for line in invoice["lines"]]
    besides = [
        taxed(entry, _signed(entry["kind"], entry["amount"]))
        for entry in invoice.get("besides", ())
    ]
    return lines + besides


def stated(invoice):
    """Return the tax rows that the document states, by category and rate."""
    return {
        (row["category"], dec(row.get("rate", "0"))): (
            dec(row["taxable"]),
            dec(row["tax"]),
        )
        for row in invoice["taxes"]
    }


def names(invoice):
    return f"{invoice['source'].split()[0]} {invoice['file']}"


@pytest.mark.parametrize("invoice", INVOICES, ids=names)
def test_an_official_invoice_comes_out_to_the_cent(invoice):
    totals = {name: dec(text) for name, text in invoice["totals"].items()}
    lines = [line_net(line) for line in invoice["lines"]]
    besides = invoice.get("besides", ())
    by_kind = {
        kind: sum((dec(b["amount"]) for b in besides if b["kind"] == kind), NONE)
        for kind in ("allowance", "charge")
    }
    result = assess(amounts(invoice), Policy(), CENT)
    prepaid, rounding = (
        dec(invoice.get(name, "0")) for name in ("prepaid", "rounding")
    )

    assert lines == [dec(line["net"]) for line in invoice["lines"]]
    assert sum(lines) == totals["sum_lines"]
    assert by_kind["allowance"] == totals.get("allowances", NONE)
    assert by_kind["charge"] == totals.get("charges", NONE)
    assert {
        (g.tax.category, g.tax.rate): (g.base, g.amount) for g in result.groups
    } == stated(invoice)
    assert (result.net, result.gross) == (totals["net"], totals["gross"])
    assert result.tax == stated_tax(invoice)
    assert result.gross - prepaid + rounding == totals["due"]


@pytest.mark.parametrize("invoice", INVOICES, ids=names)
def test_the_lines_of_an_official_invoice_show_taxes_that_add_up(invoice):
    entries = amounts(invoice)
    result = assess(entries, Policy(), CENT)

    shown = shown_by_line(entries, result, Policy(), CENT)

    assert sum(shown) == stated_tax(invoice)


def stated_tax(invoice):
    """Return the total tax that the document states; one of category O states none."""
    return dec(invoice["totals"].get("tax", "0"))


def half_even_tax(invoice):
    groups = assess(amounts(invoice, half_even), Policy(), CENT).groups
    return sum(half_even(g.base * g.tax.rate / 100) for g in groups)


def tax_by_the_line(invoice):
    policy = Policy(level="line", line_digits=2)
    return assess(amounts(invoice), policy, CENT).tax


def tax_cut_off(invoice):
    return assess(amounts(invoice), Policy(document_mode="ROUND_DOWN"), CENT).tax


@pytest.mark.parametrize("wrong", [half_even_tax, tax_by_the_line, tax_cut_off])
def test_the_examples_catch_a_wrong_way(wrong):
    missed = [names(i) for i in INVOICES if wrong(i) != stated_tax(i)]

    assert missed


def test_there_are_thirty_one_and_each_names_its_publisher():
    publishers = {invoice["source"].split()[0] for invoice in INVOICES}

    assert len(INVOICES) == 31
    assert publishers == {"CEN", "Peppol", "ZUGFeRD"}
