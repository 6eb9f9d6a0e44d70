"""What stands on each paper, and what never does.

The amounts expected are those that the pricing gives, whose sums stand in the tests of
the pricing; here they are written with Python's own ``format``. Most is read from the
HTML; that every word of it is on the PDF too, is tested on all kinds of job.
"""

import re
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from printing import (
    CUSTOMER,
    HEAD,
    INVOICE,
    JOBS,
    KINDS,
    LOOSE,
    OVERHEATED,
    TOP,
    board,
    estimate,
    paper,
    shop,
    shown,
    with_lines,
)

from quoting.domain.work_order import CLOSING

AMOUNT = re.compile(r"-?\d[\d,]*\.\d\d\b")
TAXES = ["one_rate", "several_rates", "two_taxes", "compound", "included"]


def written(amount):
    return f"{amount:,.2f}"


def amounts(printed):
    """Return how often each amount stands on a paper."""
    return Counter(AMOUNT.findall(printed.text))


def due_on_paper(priced):
    """Return every amount that a customer can ask about."""
    taxes = [group.amount for group in priced.taxes]
    lines = [line.net for line in priced.lines if line.net]
    return Counter(map(written, [*lines, *taxes, priced.totals.total]))


def on(printed, words):
    return words in printed.text


# --- Every amount ---


@pytest.mark.parametrize("name", JOBS)
def test_a_quote_shows_every_line_tax_and_total_of_every_way(name):
    found = amounts(shown("quote", JOBS[name]))

    for way in estimate(JOBS[name]).ways:
        assert due_on_paper(way.priced) <= found
        assert written(way.priced.totals.net) in found


@pytest.mark.parametrize("name", JOBS)
def test_an_invoice_shows_every_line_tax_total_deposit_and_what_is_due(name):
    found = amounts(shown("invoice", JOBS[name]))

    priced = estimate(JOBS[name]).ways[0].priced
    assert due_on_paper(priced) <= found
    assert {written(group.base) for group in priced.taxes} <= set(found)
    assert written(priced.totals.due) in found
    if priced.totals.deposits:
        assert written(-priced.totals.deposits) in found


@pytest.mark.parametrize("tax", TAXES)
@pytest.mark.parametrize("kind", ["quote", "invoice"])
def test_every_kind_of_tax_is_shown_with_its_amount(kind, tax):
    this = shown(kind, JOBS["everything"], tax=tax)

    priced = estimate(JOBS["everything"], shop(tax=tax)).ways[0].priced
    assert due_on_paper(priced) <= amounts(this)
    for group in priced.taxes:
        assert on(this, group.tax.label)


def test_taxes_side_by_side_have_a_row_each_and_a_letter_on_each_line():
    """6.4 % and 1.85 % of the same net: two rows, and AB on a line of both."""
    this = shown("invoice", LOOSE, tax="two_taxes")

    assert re.search(r"A Province tax 6\.4 % 46\.43 2\.97", this.text)
    assert re.search(r"B County tax 1\.85 % 46\.43 0\.86", this.text)
    assert on(this, "AB 21.25")


def test_a_document_with_prices_that_contain_tax_says_so_and_names_the_tax_in_it():
    """100 parts in 114.75 are the tax of 14.75 %: of 46.43 they are 5.97."""
    this = shown("quote", LOOSE, tax="included")

    assert on(this, "Total with tax 46.43 Duty 14.75 % in it on 40.46 5.97")


def test_two_lines_of_the_same_words_are_two_rows():
    job = with_lines(2, "Weld")

    assert re.search(r"Weld 11\.01 Weld 12\.02", shown("quote", job).text)
    assert amounts(shown("invoice", job))["11.01"] == 1


def test_many_lines_are_all_there():
    job = with_lines(60)
    this = shown("invoice", job)

    for n in range(1, 61):
        assert on(this, f"Repair number {n} A {10 + n}.{n % 100:02}")


# --- The quote ---


@pytest.mark.parametrize("name", JOBS)
def test_a_quote_is_no_invoice_and_carries_no_tax_number(name):
    """Directive 2006/112/EC article 203: tax on an invoice is owed, even if wrong."""
    this = shown("quote", JOBS[name])

    assert "invoice" not in this.text.lower()
    assert not on(this, "INVENTED-0417")
    assert on(this, "at today's rate") == (name != "exempt")


def test_an_exempt_customer_reads_why_no_tax_is_charged():
    for kind in ("quote", "invoice"):
        this = shown(kind, JOBS["exempt"])
        assert on(this, "exempt body, certificate XA-0001")
        assert on(this, "0.00")
    assert on(shown("quote", JOBS["exempt"]), "no tax is charged")


def test_a_quote_says_how_long_it_holds_and_how_to_say_yes():
    """25 November and 30 days of validity: 25 December."""
    this = shown("quote", JOBS["two ways"])

    assert on(this, "this price holds until 25 December 2026")
    assert on(this, "can be ready on 4 December 2026")
    assert on(this, "How to say yes")
    assert on(this, "☐ A. Repair ☐ B. Repair with new exhaust guides")
    assert on(this, "If it cannot be repaired")
    assert on(this, "Not included")
    assert on(this, "12 months on our work")


def test_alternatives_stand_side_by_side_and_lack_what_they_lack():
    """New guides are in B alone: 12.00 + 8 x 14.50 = 128.00."""
    this = shown("quote", JOBS["two ways"])

    assert on(
        this,
        "Replace the valve guides base 12.00 + 8 exhaust guides x 14.50 "
        "\N{EN DASH} 128.00",
    )
    assert on(this, "guides (A)")


def test_a_side_that_only_one_alternative_has_stands_beside_that_side():
    """Cut seats, base 15.00: 8 x 6.50 inlet and 8 x 7.00 exhaust; or exhaust alone."""
    job = f"""propose = false
{TOP}{CUSTOMER}{HEAD}
[[alternatives]]
label = "All seats"
work = [{{op = "SCUT"}}]
[[alternatives]]
label = "Exhaust seats"
work = [{{op = "SCUT", which = "exhaust"}}]
"""
    this = shown("quote", job)

    assert on(this, "8 inlet seats x 6.50 67.00 \N{EN DASH} ")
    assert on(this, "B: base 15.00 + 8 exhaust seats x 7.00 56.00 71.00 ")


def test_alternatives_of_other_heads_name_theirs():
    job = f"""{TOP}{CUSTOMER}{OVERHEATED}
[[alternatives]]
label = "12 valves"
heads = [{{layout = "L30"}}, {{layout = "L30"}}]
[[alternatives]]
label = "24 valves"
heads = [{{layout = "L08"}}, {{layout = "L08"}}]
"""
    this = shown("quote", job)

    assert on(this, "A: 2 x V6 12-valve single-cam, aluminium; ")
    assert on(this, "B: 2 x V6 24-valve twin-cam, aluminium")


def test_a_trade_customer_reads_the_price_before_tax_first_and_a_private_one_with_tax():
    trade, private = (shown("quote", JOBS[n]) for n in ("two ways", "one way"))

    assert on(trade, "before tax £527.78 £625.42 with tax")
    assert on(private, "with tax £666.50 £562.45 before tax")


def test_a_part_of_the_customers_own_is_named_without_warranty():
    this = shown("quote", JOBS["everything"])

    assert on(this, "head gasket set (supplied by customer, no warranty on the part)")


@pytest.mark.parametrize("kind", ["quote", "invoice"])
@pytest.mark.parametrize("name", JOBS)
def test_what_the_work_costs_the_shop_changes_nothing_on_a_customers_paper(kind, name):
    rates = shop()
    dearer = replace(
        rates,
        shop=replace(rates.shop, cost_rate=Decimal("39.17")),
        work_centres={
            code: replace(centre, cost_rate=centre.cost_rate + Decimal("7.77"))
            for code, centre in rates.work_centres.items()
        },
    )
    costs = [
        sum(line.cost or 0 for line in estimate(JOBS[name], each).ways[0].priced.lines)
        for each in (rates, dearer)
    ]
    assert costs[0] != costs[1]

    assert paper(kind, JOBS[name], dearer).html == paper(kind, JOBS[name]).html


@pytest.mark.parametrize("kind", ["quote", "invoice"])
@pytest.mark.parametrize("name", JOBS)
def test_no_margin_and_no_probability_stands_on_a_customers_paper(kind, name):
    """The only per cents are rates: of a tax, a discount, sundries or a rush."""
    text = shown(kind, JOBS[name]).text

    assert not re.search(r"\b(cost|margin|mark-?up|probab|likely|chance)", text.lower())
    rates = {Decimal(rate) for rate in re.findall(r"([\d.]+) ?%", text)}
    assert rates <= {Decimal(rate) for rate in ("18.5", "10", "5", "4", "25", "0")}


# --- The work order ---


@pytest.mark.parametrize("name", JOBS)
def test_a_work_order_shows_no_price(name):
    text = shown("work order", JOBS[name]).text

    priced = estimate(JOBS[name]).ways[0].priced
    secret = {written(abs(line.net)) for line in priced.lines}
    secret |= {written(line.cost) for line in priced.lines if line.cost}
    secret |= {written(group.amount) for group in priced.taxes}
    secret |= {written(t) for t in (priced.totals.net, priced.totals.total)}
    assert not secret & set(AMOUNT.findall(text))
    assert not re.search(r"[£$€]|GBP|\btax\b|[Dd]iscount", text)


@pytest.mark.parametrize("name", ["two ways", "two heads", "everything"])
def test_a_work_order_is_the_same_whatever_the_work_is_sold_for(name):
    rates = shop()
    dearer = replace(
        rates,
        operations={
            code: replace(row, base=(row.base or Decimal(0)) + Decimal("7.77"))
            for code, row in rates.operations.items()
        },
        shop=replace(rates.shop, hourly_rate=Decimal("99.99")),
    )
    nets = [
        estimate(JOBS[name], each).ways[0].priced.totals.labour
        for each in (rates, dearer)
    ]
    assert nets[0] < nets[1]

    assert (
        paper("work order", JOBS[name], dearer).html
        == paper("work order", JOBS[name]).html
    )


def test_the_route_card_has_every_step_in_process_order_with_planned_minutes():
    this = shown("work order", JOBS["one way"])

    steps = ["Book in, tag and photograph", "Strip the head", "Hot wash",
             "Pressure test", "Cut seats", "Reface valves", "Skim the face",
             "Final wash", "Vacuum test", "Assemble valves and springs"]  # fmt: skip
    places = [this.text.index(step) for step in steps]
    assert places == sorted(places)
    minutes = Counter()
    for line in estimate(JOBS["one way"]).ways[0].priced.lines:
        minutes[line.code] += line.minutes
    for planned in filter(None, minutes.values()):
        assert on(this, f"{planned:.1f}")


def test_work_of_no_table_and_of_another_shop_is_on_the_work_order():
    """Half an hour typed as 0.5 hours is planned with 30 minutes."""
    this = shown("work order", JOBS["everything"])

    assert on(this, "Dress the thermostat housing here 30.0")
    assert on(this, "Weld the crack between the seats another shop")


def test_a_test_that_decides_stops_the_route_card():
    this = shown("work order", JOBS["one way"])

    assert re.search(r"Pressure test Nothing after this until its result", this.text)


MANY_CAUTIONS = (
    TOP
    + CUSTOMER
    + '[[heads]]\nlayout = "L29"\nfacts = { gasket = "old", deposits = "lead" }\n'
    + 'exhaust = { valves = "sodium" }\n'
    + "".join(
        f'[[work]]\nop = "{op}"\n'
        for op in ("STRP", "BLST", "LEAK", "GREP", "SCUT", "VREF", "MAGP", "WSHF")
    )
)


def test_six_cautions_are_full_lines_the_most_dangerous_first_and_the_rest_named():
    html = paper("work order", MANY_CAUTIONS).html
    box = html[html.index('class="caution"') : html.index("Route card")]

    full = re.findall(r"<li>(.*?)</li>", box)
    assert len(full) == 6
    ranks = {c.text: c.rank for c in shop().cautions}
    assert [ranks[text] for text in full] == sorted(ranks[text] for text in full)
    assert full[0].startswith("Sodium-filled valves")
    [rest] = re.findall(r"Also: (.*?)\.</p>", box)
    worst_of_rest = min(c.rank for c in shop().cautions if c.name in rest.split(", "))
    assert ranks[full[-1]] < worst_of_rest
    assert box.count(CLOSING.replace("'", "&#39;")) == 1


def test_the_cautions_and_whom_they_defer_to_are_on_the_paper():
    this = shown("work order", JOBS["one way"])

    assert on(this, "Before you start")
    assert on(this, CLOSING)


def test_alike_heads_are_told_once_and_read_in_one_table():
    """Six alike singles: one row of what came, one sheet for each same work."""
    this = shown("work order", JOBS["six single heads"])

    assert on(this, "A, B, C, D, E, F Single plant-diesel head")
    assert on(this, "Readings, heads A, C, F")
    assert on(this, "Readings, heads B, D, E")


def test_every_valve_has_a_place_for_each_reading_as_found_and_as_left():
    """16 valves, and the readings of the demonstration's seats, guides and valves."""
    html = paper("work order", JOBS["one way"]).html
    tables = re.findall(r'<table class="readings".*?</table>', html, re.DOTALL)
    valve_tables = [table for table in tables if ">valve</th>" in table]

    assert valve_tables
    for table in valve_tables:
        rows = re.findall(r'<tr><th scope="row">(\d[IE]\d)</th>(.*?)</tr>', table)
        assert [name for name, _ in rows] == [
            f"{cylinder}{side}{valve}"
            for side in "IE"
            for cylinder in (1, 2, 3, 4)
            for valve in (1, 2)
        ]
        columns = len(re.findall('scope="colgroup"', table))
        assert {cells.count('class="box"') for _, cells in rows} == {2 * columns}


# --- The invoice specimen ---


@pytest.mark.parametrize("name", JOBS)
def test_a_specimen_is_headed_as_such(name):
    html = shown("invoice", JOBS[name]).html

    assert html.index("specimen, not issued") < html.index("<h1>Invoice INV-0417</h1>")


def test_an_invoice_has_what_an_invoice_must_show():
    """Number, day, both parties, tax number, what was done, taxable amount and tax.

    Directive 2006/112/EC article 226; when to pay: EN 16931 BT-9. 30 days are the terms
    of the trade customer.
    """
    this = shown("invoice", JOBS["two ways"])

    for words in (
        "Invoice INV-0417", "date 4 December 2026", "Tallow Lane Heads",
        "4 Tallow Lane · Exampleton · ZZ99 9ZZ", "VAT no. INVENTED-0417",
        "seller Tallow Lane Heads (an invented shop)", "Company no. INVENTED-99417",
        "Osgood & Daughters Garage 4 Ferry Steps Marlhaven", "your order OD-2231",
        "Reface the valves 16 valves x 4.25 A 68.00",
        "A Levy 18.5 % 527.78 97.64", "Total 625.42", "Deposits received -100.00",
        "To pay 525.42", "to pay £525.42 £625.42 less £100.00 received before",
    ):  # fmt: skip
        assert on(this, words)
    [invoice] = [estimate(JOBS["two ways"]).invoice]
    last = invoice.on + timedelta(days=30)
    assert on(this, f"pay by {last.day} {last:%B %Y}")


def test_a_day_of_supply_is_shown_where_it_is_another():
    job = LOOSE.replace("[[work]]", "supplied = 2026-12-01\n[[work]]", 1)

    assert on(shown("invoice", job), "supplied 1 December 2026")
    assert not on(shown("invoice", LOOSE), "supplied 1")


# --- The price board ---


def test_the_board_shows_each_price_of_each_size_class():
    """From the tables of the demonstration: cut seats base, inlet and exhaust."""
    this = shown("price board", "")

    assert on(this, "single small car large plant")
    assert on(this, "Cut seats base, a head 12.00 15.00 15.00 18.00 28.00")
    assert on(this, "inlet seat 6.50 6.50 6.50 7.25 12.00")
    assert on(this, "exhaust seat 7.00 7.00 7.00 7.75 13.50")
    assert on(this, "in GBP, before tax")
    assert on(this, "at least 15.00")
    assert on(this, "Least labour of a job: 45.00.")


def test_more_size_classes_than_fit_go_into_a_further_table():
    rates = shop()
    classes = ("single", "small", "car", "large", "plant", "rail", "ship", "mill")
    wide = replace(rates, shop=replace(rates.shop, size_classes=classes))

    assert board(wide).html.count("Single operations</h2>") == 2
    assert board(rates).html.count("Single operations</h2>") == 1


# --- All of them ---


def test_the_demonstration_says_that_the_shop_is_invented():
    for kind in KINDS:
        assert on(shown(kind, JOBS["two ways"]), "An invented shop")


def test_bare_of_everything_optional_a_paper_has_no_empty_label():
    job = 'date = 2026-11-25\n[[work]]\nop = "VREF"\nnumber = 5\n' + INVOICE
    bare = shop(notice="", address=(), phone="", email="", guarantee="")
    for kind in KINDS:
        html = paper(kind, job, bare).html
        assert not re.search(r"<(td|th|p|h1|h2|small)[^>]*>\s*</\1>", _unboxed(html))


def _unboxed(html):
    """Return *html* without the boxes to write in and the arithmetic that is none."""
    return re.sub(r'<td class="(box|how|num)"></td>', "", html)


def test_head_of_the_job_is_named():
    assert on(shown("quote", TOP + CUSTOMER + HEAD + OVERHEATED), "head 4-cylinder")


def test_a_rule_set_aside_stands_on_the_work_order_with_name_and_reason():
    job = (
        TOP
        + HEAD
        + (
            'exhaust = { valves = "sodium" }\n'
            '[[work]]\nop = "VREF"\nwhich = "exhaust"\n'
            'despite_by = "J. Tallow"\ndespite_reason = "the maker allows it"\n'
        )
    )
    this = shown("work order", job)

    assert on(this, "Rules set aside")
    assert on(this, "J. Tallow, the maker allows it")
    assert not on(shown("work order", JOBS["one way"]), "Rules set aside")
