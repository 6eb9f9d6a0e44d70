"""Where a shop differs from its country: invented rows, so no limit hides here."""

from dataclasses import replace
from datetime import date

import pytest
from builders import dec, edition

from quoting.domain.country import Country
from quoting.domain.money import DOWN, HALF_DOWN, HALF_UP
from quoting.domain.place import (
    cash_differs,
    kept_until,
    late_for_credit,
    net_to_consumers,
    paper_differs,
)
from quoting.domain.tax import Policy

ON = date(2026, 3, 2)


def country(**values):
    """Return the country XA, which asks for nothing but what *values* say."""
    row = {
        "code": "XA",
        "name": "Ambria",
        "currency": edition().shop.currency,
        "address": ("street", "postcode town"),
        "source": "invented",
        "checked": "from memory",
        "as_of": ON,
    }
    return Country(**{**row, **values})


def shop_in(row, policy=None):
    """Return an edition of a shop in a country, or in none."""
    at = edition()
    shop = replace(at.shop, country=row.code if row else "", paper="A4")
    rows = (row,) if row else ()
    return replace(at, shop=shop, countries=rows, policy=policy or Policy())


@pytest.mark.parametrize(
    ("step", "tie", "shops", "mode", "differs"),
    [
        (None, "half_up", None, HALF_UP, False),
        (None, "half_down", None, HALF_UP, False),
        ("0.10", "half_down", "0.1", HALF_DOWN, False),
        ("0.05", "half_up", "0.05", HALF_UP, False),
        ("0.05", "half_up", None, HALF_UP, True),
        (None, "half_up", "0.05", HALF_UP, True),
        ("0.10", "half_up", "0.05", HALF_UP, True),
        ("0.10", "half_down", "0.10", HALF_UP, True),
        ("0.10", "half_up", "0.10", DOWN, True),
    ],
)
def test_cash_is_rounded_as_the_row_says_or_it_is_said(step, tie, shops, mode, differs):
    row = country(cash_step=step and dec(step), cash_tie=tie)
    policy = Policy(cash_step=shops and dec(shops), cash_mode=mode)
    assert cash_differs(shop_in(row, policy), ON) is differs


def test_cash_in_another_currency_is_not_compared():
    row = country(cash_step=dec("0.05"), currency="XXX")
    assert not cash_differs(shop_in(row), ON)


@pytest.mark.parametrize(
    ("gross_first", "inclusive", "said"),
    [
        (True, False, True),
        (True, True, False),
        (False, False, False),
        (False, True, False),
    ],
)
def test_prices_before_tax_are_said_where_consumers_are_told_them_with_it(
    gross_first, inclusive, said
):
    row = country(consumer_gross=gross_first)
    policy = Policy(inclusive=inclusive)
    assert net_to_consumers(shop_in(row, policy), ON) is said


def test_without_a_country_nothing_differs():
    nowhere = shop_in(None, Policy(cash_step=dec("0.05")))
    for differs in (cash_differs, net_to_consumers, paper_differs):
        assert not differs(nowhere, ON)


@pytest.mark.parametrize(("paper", "differs"), [("A4", False), ("Letter", True)])
def test_other_paper_than_the_countrys_is_said(paper, differs):
    assert paper_differs(shop_in(country(paper=paper)), ON) is differs


def test_a_document_is_kept_to_the_end_of_the_year_after_its_years():
    assert kept_until(country(retention_years=8), date(2026, 1, 1)) == date(
        2034, 12, 31
    )
    assert kept_until(country(retention_years=10**9), ON) == date(9999, 12, 31)
    assert kept_until(country(), ON) is None


@pytest.mark.parametrize(
    ("days", "on", "late"),
    [
        (14, date(2026, 3, 16), 0),
        (14, date(2026, 3, 17), 15),
        (0, date(2026, 3, 3), 1),
        (None, date(2036, 3, 2), 0),
    ],
)
def test_a_credit_note_may_be_late_once_its_invoice_is_older_than_the_days(
    days, on, late
):
    assert late_for_credit(country(credit_note_days=days), ON, on) == late
