"""Rules by which a document decides the tax of its lines, on sums worked by hand.

Rates are those of the published examples, but stand in tables of the invented XA.
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from builders import dec, edition
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.country import Answer, TaxRule
from quoting.domain.job import AskedPart, FreeLine, Job, Outwork, Override
from quoting.domain.pricing import price
from quoting.domain.rates import TaxRow
from quoting.domain.tax import Amount, Policy, assess
from quoting.domain.tax_rules import (
    Certificate,
    CertificateEndedError,
    CertificateIncompleteError,
    asked,
    exempted,
    first_named,
    proposed,
)

ON = date(2026, 3, 2)
CENT = dec("0.01")


def rates(*, inclusive=False, **by_code):
    """Return RT-1 taxed by XA: 0 % unless a rate is given."""
    base = edition(sundries="NONE", job_minimum="0", parts_markup="0")
    rows = {}
    for code in base.tax_rows:
        rate = dec(by_code.get(code, "0"))
        category = "S" if rate else "E"
        rows[code] = [
            TaxRow(code=code, label=code, authority="XA", category=category, rate=rate)
        ]
    return replace(base, tax_rows=rows, policy=Policy(inclusive=inclusive))


def rule(kind, groups, tax_code, **values):
    row = {
        "code": kind,
        "country": "XA",
        "rule": kind,
        "groups": tuple(groups.split()),
        "tax_code": tax_code,
        "says": "it holds",
        "says_otherwise": "it does not",
        "source": "invented",
        "checked": "from memory",
        "as_of": ON,
    }
    return TaxRule(**{**row, **values})


THIRDS = rule(
    "materials_share_over", "labour parts outwork", "PAR",
    otherwise="LAB", over=2, of=3, unless="vehicle",
)  # fmt: skip
ANY_PART = rule("any_part_taxes_all", "labour outwork fees", "PAR", otherwise="EXEMPT")


def job(labour, *parts, outwork=None):
    """Return work at a price, parts as (price, cost), and outwork at its cost."""
    return Job(
        (),
        free=(FreeLine("skim", amount=dec(labour)),) if labour else (),
        parts=tuple(
            AskedPart(
                description="valve",
                price=dec(of),
                cost=None if cost is None else dec(cost),
            )
            for of, cost in parts
        ),
        outwork=(Outwork("weld", dec(outwork), dec("0")),) if outwork else (),
    )


def changes(rules, edition, job, *yes):
    return proposed(rules, price(edition, job, ON), yes)


def tax_after(rules, edition, job, *yes, despite=None):
    """Return the tax when the proposals are taken: by hand, line by line."""
    priced = price(edition, job, ON)
    becomes = {c.group: c.becomes for c in proposed(rules, priced, yes, despite)}
    amounts = [
        Amount(line.net, edition.taxes(becomes.get(line.group, line.tax_code), ON))
        for line in priced.lines
    ]
    return assess(amounts, edition.policy, CENT).tax


# Priced by the rules of the shop's place.


def by_rules(*rules, inclusive=False, **by_code):
    """Return such tables of a shop in XA whose documents follow *rules*."""
    base = rates(inclusive=inclusive, **by_code)
    return replace(
        base,
        shop=replace(base.shop, country="XA"),
        tax_rules={r.code: r for r in rules},
    )


def test_a_part_taxes_the_labour_too_where_the_place_says_so():
    """7 % of 150.00 is 10.50; by its lines alone it were 7 % of 50.00, 3.50."""
    shop = by_rules(ANY_PART, PAR="7")
    priced = price(shop, job("100.00", ("50.00", None)), ON)

    assert priced.totals.tax == dec("10.50")
    assert [(c.group, c.becomes) for c in priced.changes] == [("labour", "PAR")]
    assert {line.tax_code for line in priced.lines} == {"PAR"}


def test_a_rule_that_somebody_sets_aside_leaves_the_lines_their_tax():
    shop = by_rules(ANY_PART, PAR="7")
    work = job("100.00", ("50.00", None))
    aside = {ANY_PART.code: Override("Pat", "the adviser says otherwise")}
    priced = price(shop, replace(work, aside=aside), ON)

    assert priced.totals.tax == dec("3.50")
    assert priced.changes == ()


@pytest.mark.parametrize(
    ("answers", "tax"), [((), "20.00"), (("delivery_outside",), "0")]
)
def test_what_only_a_person_knows_takes_the_tax_away(answers, tax):
    shop = by_rules(
        rule("delivery_outside", "labour parts", "EXEMPT"), LAB="20", PAR="20"
    )
    priced = price(shop, replace(job("100.00"), answers=answers), ON)

    assert priced.totals.net == dec("100.00")
    assert priced.totals.tax == dec(tax)


def test_a_price_that_contains_tax_loses_what_a_rule_takes_away_and_no_more():
    """120.00 with 20 % in it is 100.00 where none is charged."""
    outside = rule("delivery_outside", "labour", "EXEMPT")
    shop = by_rules(outside, inclusive=True, LAB="20")
    work = replace(job("120.00"), answers=("delivery_outside",))

    assert price(shop, work, ON).totals.total == dec("100.00")
    assert price(shop, replace(work, answers=()), ON).totals.total == dec("120.00")


def test_a_price_that_contains_tax_stays_where_a_rule_changes_the_rate():
    """123.00 at 23 % in it: 23.00; the caller still pays the 123.00 that were said."""
    shop = by_rules(ANY_PART, inclusive=True, LAB="13.5", PAR="23")
    priced = price(shop, job("61.50", ("61.50", None)), ON)

    assert priced.totals.total == dec("123.00")
    assert priced.totals.tax == dec("23.00")


# A share of materials: VAT Consolidation Act 2010 (IE) s. 41.


@pytest.mark.parametrize(
    ("labour", "part", "code", "tax"),
    [
        # 2/3 of 150 is 100, and 120 is above it: 23 % of 150.00 = 34.50.
        ("30.00", "120.00", "PAR", "34.50"),
        # 2/3 of 300 is 200, and 180 is not above it: 13.5 % of 300.00 = 40.50.
        ("120.00", "180.00", "LAB", "40.50"),
        # Revenue Note for Guidance to s. 41: 220 of 300, 23 % of 300.00 = 69.00.
        ("80.00", "220.00", "PAR", "69.00"),
        # Exactly two thirds does not exceed them: 13.5 % of 300.00 = 40.50.
        ("100.00", "200.00", "LAB", "40.50"),
        ("99.99", "200.01", "PAR", "69.00"),
    ],
)
def test_materials_above_two_thirds_make_all_of_it_goods(labour, part, code, tax):
    shop = rates(LAB="13.5", PAR="23", OUT="13.5")
    work = job(labour, (part, part))
    made = changes([THIRDS], shop, work)

    assert {change.becomes for change in made} == {code}
    assert tax_after([THIRDS], shop, work) == dec(tax)


def test_what_materials_cost_counts_and_not_what_they_sell_for():
    """Cost 180, sold for 240, of 300: 180 is not above 200."""
    shop = rates(LAB="13.5", PAR="23")
    at_cost = changes([THIRDS], shop, job("60.00", ("240.00", "180.00")))
    unknown = changes([THIRDS], shop, job("60.00", ("240.00", None)))

    assert {change.becomes for change in at_cost} == {"LAB"}
    assert {change.becomes for change in unknown} == {"PAR"}


def test_the_share_is_taken_before_tax_where_prices_contain_it():
    """227.00 with 13.5 % is 200.00; 123.00 with 23 % is 100.00, and cost 200.00.

    200 is two thirds of 300 and not above it; of 350.00 with tax it would be less, of
    the parts' 123.00 nothing like it.
    """
    shop = rates(inclusive=True, LAB="13.5", PAR="23")
    even = changes([THIRDS], shop, job("227.00", ("123.00", "200.00")))
    above = changes([THIRDS], shop, job("227.00", ("123.00", "200.01")))

    assert {(c.group, c.becomes) for c in even} == {("parts", "LAB")}
    assert {(c.group, c.becomes) for c in above} == {("labour", "PAR")}


def test_a_rule_does_not_apply_where_what_it_excepts_is_so():
    """Not for vehicles and farm machinery: Revenue, two-thirds rule."""
    shop = rates(LAB="13.5", PAR="23")
    work = job("30.00", ("120.00", "120.00"))

    assert changes([THIRDS], shop, work, Answer.VEHICLE) == ()
    # 13.5 % of 30.00 = 4.05, 23 % of 120.00 = 27.60.
    assert tax_after([THIRDS], shop, work, Answer.VEHICLE) == dec("31.65")


# Any part taxes all: Florida Administrative Code 12A-1.006 (1) and (4).


def test_any_part_taxes_labour_and_outwork_too():
    """TAA 25A-007: labour-only outwork as well. 6 % of 100 + 40 + 0.50 = 8.43."""
    shop = rates(PAR="6")
    work = job("100.00", ("0.50", None), outwork="40.00")
    made = changes([ANY_PART], shop, work)

    assert [(c.group, c.was, c.becomes) for c in made] == [
        ("labour", ("LAB",), "PAR"),
        ("outwork", ("OUT",), "PAR"),
    ]
    assert {(c.holds, c.why) for c in made} == {(True, "it holds")}
    assert tax_after([ANY_PART], shop, work) == dec("8.43")


def test_labour_alone_is_not_taxed():
    shop = rates(PAR="6")
    made = changes([ANY_PART], shop, job("100.00", outwork="40.00"))

    assert {(c.becomes, c.holds, c.why) for c in made} == {
        ("EXEMPT", False, "it does not")
    }


def test_a_part_that_the_customer_brings_is_not_furnished():
    shop = rates(PAR="6")
    own = AskedPart(description="valve", price=dec("50.00"), own_stock=True)
    work = replace(job("100.00"), parts=(own,))

    assert [c.becomes for c in changes([ANY_PART], shop, work)] == ["EXEMPT"]


# Rules that a person answers.


@pytest.mark.parametrize(
    "answer", [each for each in Answer if each is not Answer.VEHICLE]
)
def test_what_a_person_says_decides(answer):
    shop = rates(LAB="6", PAR="6")
    said = rule(answer.value, "labour parts", "EXEMPT")
    work = job("100.00", ("50.00", None))

    assert changes([said], shop, work) == ()
    assert tax_after([said], shop, work) == dec("9.00")
    assert tax_after([said], shop, work, answer) == dec("0")
    assert asked([said]) == (answer,)
    assert answer.question.endswith("?")


def test_only_what_matters_is_asked_and_each_thing_once():
    vehicle = rule("lump_sum", "labour", "A", unless="vehicle")

    assert asked([ANY_PART]) == ()
    assert asked([THIRDS, vehicle]) == (Answer.LUMP_SUM, Answer.VEHICLE)


def test_the_first_row_that_holds_decides_and_else_the_first_with_a_code():
    shop = rates(LAB="6", PAR="6")
    resale = rule("customer_reseller", "labour parts", "EXEMPT")
    vehicle = rule("return_to_same_vehicle", "labour", "A", otherwise="B")
    rules = [resale, ANY_PART, vehicle]
    both = job("100.00", ("50.00", None))
    alone = job("100.00")

    def labour(work, *yes):
        made = changes(rules, shop, work, *yes)
        return next((c.becomes for c in made if c.group == "labour"), None)

    assert labour(both) == "PAR"
    assert labour(both, Answer.RESELLER) == "EXEMPT"
    assert labour(alone) == "EXEMPT"
    assert labour(alone, Answer.SAME_VEHICLE) == "A"


def test_lines_that_have_the_code_already_are_not_proposed():
    shop = rates(LAB="6", PAR="6")
    to_labour = rule("lump_sum", "labour parts", "LAB")
    made = changes([to_labour], shop, job("9.00", ("1.00", None)), Answer.LUMP_SUM)

    assert [(c.group, c.was) for c in made] == [("parts", ("PAR",))]


# Setting a rule aside.


def test_a_rule_is_set_aside_by_name_and_with_a_reason_only():
    shop = rates(LAB="13.5", PAR="23")
    work = job("30.00", ("120.00", "120.00"))
    code = THIRDS.code

    for override, tax in (
        (Override("Pat", "two invoices agreed"), "31.65"),
        (Override("Pat", " "), "34.50"),
        (Override("", "a regular"), "34.50"),
    ):
        assert tax_after([THIRDS], shop, work, despite={code: override}) == dec(tax)


def test_where_a_rule_is_set_aside_the_next_one_decides():
    """6 % of 100.00 and 50.00, resale or not, as long as resale is set aside."""
    shop = rates(PAR="6")
    resale = rule("customer_reseller", "labour parts", "EXEMPT")
    work = job("100.00", ("50.00", None))
    despite = {resale.code: Override("Pat", "no certificate")}

    assert tax_after([resale, ANY_PART], shop, work, Answer.RESELLER) == 0
    assert tax_after(
        [resale, ANY_PART], shop, work, Answer.RESELLER, despite=despite
    ) == dec("9.00")


@given(
    st.integers(0, 50_000),
    st.lists(st.tuples(st.integers(1, 50_000), st.integers(0, 50_000)), max_size=3),
    st.sets(st.sampled_from(list(Answer))),
    st.sets(st.sampled_from([THIRDS.code, ANY_PART.code, "lump_sum"])),
)
def test_a_rule_decides_its_own_groups_and_those_set_aside_nothing(
    labour, parts, yes, aside
):
    rules = [rule("lump_sum", "labour parts", "EXEMPT"), THIRDS, ANY_PART]
    shop = RATES
    work = job(
        str(labour * CENT) if labour else "",
        *((str(of * CENT), str(cost * CENT)) for of, cost in parts),
    )
    priced = price(shop, work, ON)
    made = proposed(rules, priced, yes)
    despite = {code: Override("Pat", "so") for code in aside}
    left = {change.group for change in proposed(rules, priced, yes, despite)}

    assert len({change.group for change in made}) == len(made)
    for change in made:
        assert change.group in change.rule.groups
        assert change.was != (change.becomes,)
    deciding = [each for each in rules if each.code not in aside]
    assert left <= {group for each in deciding for group in each.groups}
    if not aside:
        assert left == {change.group for change in made}


RATES = rates(LAB="13.5", PAR="23")


# Certificates.


def test_a_certificate_covers_its_last_day_and_not_the_next():
    paper = Certificate("XA-77", "Levy Office of Ambria", valid_to=ON)

    assert paper.still_valid(ON)
    assert not paper.still_valid(ON + timedelta(days=1))
    assert Certificate("XA-77", "Levy Office of Ambria").still_valid(date.max)


def test_a_document_of_a_later_day_is_refused_the_exemption_with_the_reason():
    paper = Certificate("XA-77", "Levy Office of Ambria", valid_to=ON)
    made = exempted(paper, code="EXEMPT", reason="charity", on=ON)

    assert (made.code, made.reason) == ("EXEMPT", "charity")
    assert made.certificate == "XA-77 (Levy Office of Ambria)"
    with pytest.raises(CertificateEndedError) as refused:
        exempted(paper, code="EXEMPT", reason="charity", on=date(2026, 3, 3))
    said = str(refused.value)
    assert "XA-77 of Levy Office of Ambria held until 2026-03-02" in said
    assert "on 2026-03-03 tax is charged" in said


@pytest.mark.parametrize(("number", "issuer"), [("", "XA"), ("77", " ")])
def test_a_certificate_without_number_or_issuer_exempts_nobody(number, issuer):
    with pytest.raises(CertificateIncompleteError):
        exempted(Certificate(number, issuer), code="EXEMPT", reason="charity", on=ON)


def test_an_exempted_job_is_priced_without_tax_and_says_why():
    shop = rates(LAB="13.5", PAR="23")
    paper = Certificate("XA-77", "Levy Office of Ambria", valid_to=ON)
    exemption = exempted(paper, code="EXEMPT", reason="charity", on=ON)
    work = replace(job("100.00", ("50.00", None)), exemption=exemption)
    result = price(shop, work, ON)

    assert result.totals.tax == 0
    assert [group.tax.reason for group in result.taxes] == [
        "charity, certificate XA-77 (Levy Office of Ambria)"
    ]


def test_who_set_a_rule_aside_keeps_the_name_as_long_as_the_reason_stays():
    before = {"A": Override("Olive", "no proof"), "B": Override("Olive", "scrap")}
    said = {
        "A": Override("Abel", "no proof"),
        "B": Override("Abel", "it was new"),
        "C": Override("Abel", "of no use"),
    }

    assert first_named(said, before) == {**said, "A": Override("Olive", "no proof")}
    assert first_named({}, before) == {}
