"""How far work may go on a yes: the sums of each place's rule, with its source.

The rows are examples of the demonstration; whether one is right, and still in force, is
for a licensed adviser to confirm. Every sum is worked out beside its check.
"""

import csv
import shutil
from dataclasses import replace
from decimal import Decimal

import pytest
from builders import DEMO, dec
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.consent import (
    Consent,
    HardCeilingError,
    How,
    NamelessYesError,
    NeedsYesError,
    check_ceiling,
    most_without_asking,
    must_be_written,
    on_basis,
)
from quoting.domain.errors import ProblemsError
from quoting.domain.job import Override
from quoting.domain.rates import Ceiling, Terms
from quoting.files.edition import read_edition

RATES = read_edition(DEMO)
CENT = dec("0.01")
PAT = Override("Pat", "he is on a boat")
MONEY = st.decimals(0, 99999, places=2)
EXCESS = st.decimals(0, 200, places=2)


def limit(code, accepted, standing=None, percent=None):
    terms = None if percent is None else Terms(code="T", name="T", ceiling=dec(percent))
    return most_without_asking(
        dec(accepted),
        RATES.ceilings[code] if code else None,
        None if standing is None else dec(standing),
        terms,
        unit=CENT,
    )


# The rows, each against the text of its law.


@pytest.mark.parametrize(
    ("accepted", "most"),
    [
        ("60.00", "70.00"),  # 10 % is 6.00; the greater is 10.00
        ("100.00", "110.00"),  # both are 10.00
        ("300.00", "330.00"),  # 10 % is 30.00, the greater
        ("500.00", "550.00"),  # 10 % is 50.00, just the cap
        ("900.00", "950.00"),  # 10 % is 90.00; not over 50.00
    ],
)
def test_florida_the_greater_of_10_and_10_per_cent_but_not_over_50(accepted, most):
    """Source: Florida Statutes 559.909 (notice of charges above the estimate)."""
    assert limit("US-FL", accepted) == dec(most)


@pytest.mark.parametrize(
    ("accepted", "most"),
    [
        ("60.00", "66.00"),  # 10 % is 6.00, the lesser
        ("100.00", "110.00"),  # both are 10.00
        ("900.00", "910.00"),  # 10 % is 90.00; the lesser is 10.00
    ],
)
def test_michigan_the_lesser_of_10_and_10_per_cent(accepted, most):
    """Source: MCL 257.1307e; the agency's page on amended estimates."""
    assert limit("US-MI", accepted) == dec(most)


def test_washington_110_per_cent_before_tax():
    """Source: RCW 46.71.025 (110 %, exclusive of retail sales tax).

    500.00 and 9 % tax are 545.00; 110 % of 500.00 is 550.00, whatever the tax.
    """
    row = RATES.ceilings["US-WA"]
    told = on_basis(
        dec("545.00"), row, net=dec("500.00"), total=dec("545.00"), unit=CENT
    )

    assert told == dec("500.00")
    assert limit("US-WA", told) == dec("550.00")


@pytest.mark.parametrize("code", ["US-MD", "CA-ON"])
def test_maryland_and_ontario_10_per_cent(code):
    """Source: Maryland Commercial Law 14-1002; Ontario Consumer Protection Act 2002.

    412.50 + 41.25 = 453.75.
    """
    assert limit(code, "412.50") == dec("453.75")


@pytest.mark.parametrize("code", ["US-CA", "CA-QC", "AT", "GB", "DE"])
def test_nothing_beyond_the_estimate(code):
    """Nothing may be added, or a promise was made, or no figure is named.

    Source: California B&P 9884.9 (no excess without consent); Quebec CPA 168 to 172;
    Austria KSchG 5 (2); a quotation in the United Kingdom is a promise (common
    practice, no source). Germany, BGB 649, names no figure: 0 is the careful reading.
    """
    assert limit(code, "412.50") == dec("412.50")


def test_which_places_promise_a_price_and_where_not_even_the_owner_goes_on():
    """Source: as above; a duty to tell (Germany), a contract (UK) are not hard."""
    assert {c for c, row in RATES.ceilings.items() if row.binding} == {
        "US-CA", "CA-QC", "AT", "GB",
    }  # fmt: skip
    assert {c for c, row in RATES.ceilings.items() if not row.hard} == {
        "HOUSE", "DE", "GB",
    }  # fmt: skip


def test_above_which_amount_an_estimate_has_to_be_in_writing():
    """Above 100 dollars; in California always.

    Source: Florida Statutes 559.905 (text of 2012), RCW 46.71.025, California B&P
    9884.9.
    """
    for code in ("US-FL", "US-WA"):
        assert not must_be_written(dec("100.00"), RATES.ceilings[code])
        assert must_be_written(dec("100.01"), RATES.ceilings[code])
    assert must_be_written(CENT, RATES.ceilings["US-CA"])
    assert not must_be_written(dec("9999.00"), RATES.ceilings["HOUSE"])
    assert not must_be_written(dec("9999.00"), None)


def test_every_example_names_its_source_and_sends_the_owner_to_an_adviser():
    for code, row in RATES.ceilings.items():
        asked = "invented" if code == "HOUSE" else "have a licensed adviser confirm it"
        assert asked in row.source
        assert row.legend


# What the customer says beforehand.


@pytest.mark.parametrize(
    ("code", "percent", "most"),
    [
        # a rule of the house, 10 % and at most 50.00: the customer's terms replace it
        ("HOUSE", "15", "460.00"),  # 400.00 + 60.00
        ("HOUSE", "0", "400.00"),
        (None, "10", "440.00"),
        # a hard one, 40.00: terms narrow it, and do not widen it
        ("US-FL", "5", "420.00"),
        ("US-FL", "15", "440.00"),
        # a promise: nothing widens it
        ("CA-QC", "10", "400.00"),
        ("GB", "10", "400.00"),
    ],
)
def test_terms_of_the_customer_replace_a_rule_but_never_widen_a_hard_one(
    code, percent, most
):
    assert limit(code, "400.00", percent=percent) == dec(most)


def test_without_a_rule_and_without_terms_the_yes_is_the_limit():
    assert limit(None, "400.00") == dec("400.00")
    no_percent = Terms(code="T", name="T")
    assert most_without_asking(dec("400.00"), None, None, no_percent, unit=CENT) == 400


@pytest.mark.parametrize(
    ("code", "standing", "most"),
    [
        ("HOUSE", "500.00", "500.00"),
        (
            "HOUSE",
            "420.00",
            "420.00",
        ),  # less than the rule's 440.00: the customer's word
        ("HOUSE", "300.00", "400.00"),  # the yes to 400.00 stands
        (None, "500.00", "500.00"),
        ("US-FL", "500.00", "500.00"),  # an amount named by the customer
        ("CA-QC", "500.00", "400.00"),  # a promise: only a new yes
        ("US-CA", "500.00", "400.00"),
    ],
)
def test_an_amount_named_for_the_job_counts_unless_the_price_is_a_promise(
    code, standing, most
):
    assert limit(code, "400.00", standing=standing, percent="10") == dec(most)


def test_an_amount_said_with_tax_is_compared_before_tax():
    """480.00 contain 80.00 tax of 20 %; of 500.00 with tax 416.666... are no tax."""
    row = RATES.ceilings["HOUSE"]

    def before_tax(amount):
        return on_basis(
            dec(amount), row, net=dec("400.00"), total=dec("480.00"), unit=CENT
        )

    assert before_tax("480.00") == dec("400.00")
    assert before_tax("500.00") == dec("416.66")


def test_a_rule_on_totals_and_a_job_without_a_price_leave_the_amount_as_it_is():
    for row in (None, RATES.ceilings["AT"]):
        assert (
            on_basis(dec("500.00"), row, net=dec(400), total=dec(480), unit=CENT) == 500
        )
    row = RATES.ceilings["HOUSE"]
    assert on_basis(dec("500.00"), row, net=dec(0), total=dec(0), unit=CENT) == 500


@given(MONEY, MONEY, st.sampled_from([None, *RATES.ceilings]), EXCESS)
def test_the_limit_is_whole_cents_and_never_below_the_yes(
    accepted, standing, code, percent
):
    for named in (None, standing):
        most = limit(code, accepted, named, percent)
        assert most >= accepted
        assert most % CENT == 0


@given(MONEY, EXCESS)
def test_rounding_never_passes_the_rule(accepted, percent):
    row = Ceiling(code="X", name="X", percent=percent)
    most = most_without_asking(accepted, row, unit=CENT)
    exact = accepted * (100 + percent) / 100

    assert exact - CENT < most <= exact


@given(MONEY, MONEY, st.sampled_from([*RATES.ceilings]))
def test_terms_and_amounts_named_never_pass_a_promise(accepted, standing, code):
    row = replace(RATES.ceilings[code], binding=True, percent=dec("0"), amount=None)
    terms = Terms(code="T", name="T", ceiling=dec("50"))

    assert most_without_asking(accepted, row, standing, terms, unit=CENT) == accepted


# Past the limit.


def test_past_the_limit_a_yes_is_needed_and_the_refusal_says_by_how_much():
    """487.30 - 440.00 = 47.30."""
    house = RATES.ceilings["HOUSE"]
    with pytest.raises(NeedsYesError) as refused:
        check_ceiling(dec("487.30"), dec("440.00"), house)

    assert str(refused.value).startswith(
        "This comes to 487.30, 47.30 more than the 440.00 that may be charged without "
        "asking. Record a yes first"
    )
    assert refused.value.values == {
        "amount": dec("487.30"), "over": dec("47.30"), "limit": dec("440.00"),
    }  # fmt: skip


def test_up_to_the_limit_nobody_is_asked():
    for row in (None, *RATES.ceilings.values()):
        check_ceiling(dec("440.00"), dec("440.00"), row)


@pytest.mark.parametrize("code", [None, *RATES.ceilings])
def test_the_owner_goes_on_by_name_unless_the_rule_is_hard(code):
    row = RATES.ceilings[code] if code else None
    if row and row.hard:
        with pytest.raises(HardCeilingError, match="not even the owner") as refused:
            check_ceiling(dec("440.01"), dec("440.00"), row, despite=PAT)
        assert row.name in str(refused.value)
    else:
        check_ceiling(dec("440.01"), dec("440.00"), row, despite=PAT)
        for nobody in (None, Override("Pat", ""), Override("", "hurry")):
            with pytest.raises(NeedsYesError, match="by name and with a reason"):
                check_ceiling(dec("440.01"), dec("440.00"), row, despite=nobody)


# The yes itself.


def test_a_yes_needs_the_name_of_who_said_it():
    with pytest.raises(NamelessYesError, match="needs the name"):
        Consent(" ", How.PHONE)


def test_what_can_be_filed_is_what_was_written():
    assert {how for how in How if how.written} == {
        How.SIGNED, How.TEXT, How.EMAIL, How.ORDER,
    }  # fmt: skip


# The table.


def test_the_shop_works_by_the_row_that_it_names():
    assert RATES.ceiling is RATES.ceilings["HOUSE"]
    none = replace(RATES, shop=replace(RATES.shop, ceiling=""))
    assert none.ceiling is None


@pytest.fixture
def changed(tmp_path):
    """Read the demonstration with one row of ceilings.csv more."""
    folder = tmp_path / "rates"
    shutil.copytree(DEMO, folder)
    table = folder / "ceilings.csv"
    header = table.read_text("utf-8").splitlines()[0].split(",")

    def read(**row):
        with table.open("a", encoding="utf-8", newline="") as lines:
            csv.DictWriter(lines, header).writerow(
                {"code": "NEW", "name": "New", **row}
            )
        return read_edition(folder)

    return read


@pytest.mark.parametrize(
    ("row", "column", "allowed"),
    [
        (
            {"binding": "yes", "percent": "10"},
            "percent",
            "0 where the price is a promise",
        ),
        ({"binding": "yes", "amount": "10"}, "amount", "empty where the price is a"),
        ({"combine": "lesser", "percent": "10"}, "amount", "needs an amount"),
        ({"hard": "yes"}, "source", "needs its law"),
        ({"percent": "-1"}, "percent", "0 or more"),
        ({"basis": "gross"}, "basis", "pre_tax, total"),
        ({"cap": "50.005"}, "cap", "at most 2 decimals"),
        ({"amount": "0.001"}, "amount", "at most 2 decimals"),
        ({"written_trigger": "99.999"}, "written_trigger", "at most 2 decimals"),
        ({"code": "HOUSE"}, "code", "already in row 2"),
    ],
)
def test_a_row_that_contradicts_itself_is_named(changed, row, column, allowed):
    with pytest.raises(ProblemsError) as wrong:
        changed(**row)

    [problem] = wrong.value.problems
    assert (problem.file, problem.row, problem.column) == (
        "ceilings.csv", len(RATES.ceilings) + 2, column,
    )  # fmt: skip
    assert allowed in problem.allowed


def test_a_sound_row_is_read(changed):
    row = changed(percent="20", amount="25", combine="lesser", cap="20").ceilings["NEW"]

    # the lesser of 20 % of 200.00 = 40.00 and 25.00, and never more than 20.00
    assert most_without_asking(Decimal(200), row, unit=CENT) == dec("220.00")


def test_a_shop_that_names_no_row_of_the_table_is_told(tmp_path):
    folder = tmp_path / "rates"
    shutil.copytree(DEMO, folder)
    shop = folder / "shop.toml"
    text = shop.read_text("utf-8")
    shop.write_text(text.replace('ceiling = "HOUSE"', 'ceiling = "HUOSE"'), "utf-8")
    with pytest.raises(ProblemsError) as wrong:
        read_edition(folder)

    [problem] = wrong.value.problems
    assert (problem.file, problem.column) == ("shop.toml", "ceiling")
    assert "near it: HOUSE" in problem.allowed
