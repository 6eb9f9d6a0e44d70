"""What changed between two priced jobs: the pairs, their law, and the sheet.

Amounts are those of the demonstration's tables; their sums stand beside them.
"""

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import page as validator
import pytest
from builders import heads, priced
from hypothesis import given, settings
from hypothesis import strategies as st
from printing import CUSTOMER, HEAD, OVERHEATED, TOP, Printed, Shown, estimate, shop

from quoting.domain.difference import changes
from quoting.domain.head import Side
from quoting.domain.job import Asked, AskedPart, FreeLine, Selection
from quoting.domain.lengths import Length
from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.difference import Revision, difference_sheet
from quoting.papers.pdf import to_pdf

DEMO = shop()
FOUR = heads(DEMO, "L04")
EXHAUST = Selection(side=Side.EXHAUST)


def job(*free, **asked):
    """Return a job of free lines, each ``(words, amount)``, and other work."""
    lines = tuple(FreeLine(words, amount=Decimal(amount)) for words, amount in free)
    return priced(DEMO, FOUR, free=lines, **asked)


def told(before, after):
    """Return the pairs as kind, words and amount, without what is the same."""
    return [
        (pair.kind, pair.line.description, pair.amount)
        for pair in changes(before, after)
        if pair.kind != "same" and pair.line.kind != "sundries"
    ]


def total_of(lines):
    return sum((line.net for line in lines), Decimal(0))


# --- The pairs ---


def test_a_line_is_added_gone_changed_or_the_same():
    before = job(("weld", "60.00"), ("dress", "12.00"), ("bolts", "9.00"))
    after = job(("weld", "75.50"), ("bolts", "9.00"), ("plugs", "20.00"))

    assert told(before, after) == [
        ("changed", "weld", Decimal("15.50")),
        ("added", "plugs", Decimal("20.00")),
        ("gone", "dress", Decimal("-12.00")),
    ]


def test_a_job_against_itself_has_no_difference():
    this = job(("weld", "60.00"), ("weld", "60.00"), work=(Asked("SCUT"),))

    assert {pair.kind for pair in changes(this, this)} == {"same"}


def test_of_lines_with_the_same_words_the_same_amounts_find_each_other():
    before = job(("weld", "60.00"), ("weld", "30.00"))
    after = job(("weld", "30.00"), ("weld", "45.00"))

    assert told(before, after) == [("changed", "weld", Decimal("-15.00"))]


def test_work_on_all_valves_instead_of_some_is_the_same_work_changed():
    """Reface 8 exhaust valves, or all 16: one line each time, 4.25 a valve."""
    before = job(work=(Asked("VREF", which=EXHAUST),))
    after = job(work=(Asked("VREF"),))

    [reface] = [pair for pair in changes(before, after) if pair.line.code == "VREF"]
    assert reface.kind == "changed"
    assert reface.amount == 8 * Decimal("4.25")


def test_of_two_heads_each_keeps_its_own_line():
    """Head A is skimmed no more, head B deeper: A's line is gone, B's is changed."""
    both = heads(DEMO, "L04", "L04")
    before, after = (
        priced(
            DEMO,
            both,
            work=tuple(
                Asked("SKIM", heads=(tag,), size=Length(Decimal(depth), "mm"))
                for tag, depth in depths.items()
            ),
        )
        for depths in ({"A": "0.10", "B": "0.20"}, {"B": "0.30"})
    )

    pairs = [pair for pair in changes(before, after) if pair.line.code == "SKIM"]
    assert [(pair.kind, pair.line.heads) for pair in pairs] == [
        ("changed", ("B",)),
        ("gone", ("A",)),
    ]


def test_a_side_that_is_added_leaves_the_other_as_it_was():
    """Exhaust seats alone, or inlet and exhaust: base 15.00, 8 x 7.00 and 8 x 6.50."""
    before = job(work=(Asked("SCUT", which=EXHAUST),))
    after = job(work=(Asked("SCUT"),))

    seats = [pair for pair in changes(before, after) if pair.line.code == "SCUT"]
    assert "gone" not in {pair.kind for pair in seats}
    assert total_of(line for line in before.lines if line.code == "SCUT") == 71
    assert total_of(line for line in after.lines if line.code == "SCUT") == 123
    assert sum(pair.amount for pair in seats) == 52


def test_a_deeper_skim_is_a_change_even_where_the_price_is_the_same():
    before, after = (
        job(work=(Asked("SKIM", size=Length(Decimal(depth), "mm")),))
        for depth in ("0.10", "0.11")
    )

    [skim] = [pair for pair in changes(before, after) if pair.line.code == "SKIM"]
    assert skim.kind == "changed"


OPERATIONS = ["SCUT", "VREF", "GREP", "SKIM", "LEAK", "STRP"]


@st.composite
def jobs(draw, rates):
    codes = draw(st.lists(st.sampled_from(OPERATIONS), unique=True))
    sides = st.sampled_from([Selection(), EXHAUST, Selection(side=Side.INLET)])
    work = tuple(
        Asked(
            code,
            which=draw(sides) if rates.operations[code].by_position else Selection(),
            size=Length(Decimal("0.15"), "mm") if code == "SKIM" else None,
        )
        for code in codes
    )
    cents = st.integers(0, 99999).map(lambda n: Decimal(n) / 100)
    words = st.sampled_from(["weld", "dress", "bolts"])
    free = st.builds(FreeLine, words, amount=cents)
    part = st.builds(
        AskedPart, description=words, quantity=st.just(Decimal(2)), price=cents
    )
    return priced(
        rates,
        FOUR,
        work=work,
        free=tuple(draw(st.lists(free, max_size=4))),
        parts=tuple(draw(st.lists(part, max_size=3))),
        terms=draw(st.sampled_from([None, rates.terms["TRADE10"]])),
    )


@settings(max_examples=60, deadline=None)
@given(st.data(), st.sampled_from(["", "included"]))
def test_the_differences_add_up_to_the_difference_of_the_nets(data, tax):
    """Law; where prices contain their tax, of the totals."""
    rates = shop(tax=tax)
    before, after = data.draw(jobs(rates)), data.draw(jobs(rates))
    pairs = changes(before, after)

    was, now = (
        way.totals.total if way.inclusive else way.totals.net for way in (before, after)
    )
    assert before.inclusive == bool(tax)
    assert sum(pair.amount for pair in pairs) == now - was
    assert sum(pair.amount for pair in changes(after, before)) == was - now


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_every_line_is_in_exactly_one_pair(data):
    before, after = data.draw(jobs(DEMO)), data.draw(jobs(DEMO))
    pairs = changes(before, after)

    assert [pair.after for pair in pairs if pair.after] == list(after.lines)
    found = [pair.before for pair in pairs if pair.before]
    assert sorted(found, key=repr) == sorted(before.lines, key=repr)


# --- The sheet ---

ON = date(2026, 11, 25)
BOTH = f"""{TOP}{CUSTOMER}{HEAD}{OVERHEATED}
[[free]]
description = "Dress the housing"
amount = "20.00"
[[alternatives]]
label = "Repair"
[[alternatives]]
label = "Repair with guides"
[[alternatives.work]]
op = "GREP"
which = "exhaust"
"""


def revision(text=BOTH, **values):
    before, after = estimate(text).ways
    customer = Customer("Osgood & Daughters Garage", order_number="OD-2231")
    return Revision("Q-0417", ON, customer, before, after, **values)


def sheet(this=None, size="", rates=DEMO):
    formats = Formats("en_GB", rates.currency)
    return difference_sheet(rates, this or revision(), formats, size)


def failures(pdf):
    """Return the rules of PDF/UA-1 that a file breaks."""
    profile = validator.ValidationProfile.PDF_UA_1
    report = validator.validate_pdf_bytes(pdf, profile=profile)
    return {failure.rule_id for failure in report.failures}


def test_new_guides_stand_with_their_reason_their_arithmetic_and_their_amount():
    """12.00 + 8 x 14.50 = 128.00."""
    reason = "Worn beyond the limit."
    this = Shown(sheet(revision(reasons={"GREP": reason}))).text

    assert (
        f"New Replace the valve guides {reason} base 12.00 + 8 exhaust guides x 14.50 "
        "\N{EN DASH} 128.00 +128.00"
    ) in this


def test_what_is_no_longer_done_is_taken_off():
    back = revision()
    back = replace(back, before=back.after, after=back.before)

    this = Shown(sheet(back)).text
    assert re.search(
        r"No longer .*Replace the valve guides .* 128\.00 \N{EN DASH} -128\.00", this
    )


def test_net_tax_and_total_stand_before_now_and_as_difference():
    this = Shown(sheet())

    way = revision()
    for words, name in (("Net", "net"), ("Levy 18.5 %", "tax"), ("Total", "total")):
        was, now = (getattr(of.priced.totals, name) for of in (way.before, way.after))
        found = re.search(rf"{re.escape(words)}[a-z ]* ([\d.,]+) ([\d.,]+) \+([\d.,]+)",
                          this.text)  # fmt: skip
        amounts = [Decimal(text.replace(",", "")) for text in found.groups()]
        assert amounts == [was, now, now - was]


def test_each_column_of_the_sheet_adds_up_to_its_net():
    html = sheet().html
    rows = re.findall(r"<tr[^>]*>(?:(?!</tr>).)*</tr>", html, re.DOTALL)
    table = [re.findall(r'<td class="num">(.*?)</td>', row) for row in rows]
    figures = [
        [Decimal(cell.replace(",", "").replace("\N{EN DASH}", "0")) for cell in cells]
        for cells in table
        if len(cells) == 3
    ]
    *lines, net, tax, total = figures

    assert [sum(column) for column in zip(*lines, strict=True)] == net
    assert [a + b for a, b in zip(net, tax, strict=True)] == total


def test_the_figures_say_what_was_agreed_when_and_what_is_more():
    this = revision(agreed=date(2026, 11, 20), reply_by=date(2026, 11, 27))
    was, now = (way.priced.totals.total for way in (this.before, this.after))
    text = Shown(sheet(this)).text

    assert f"Repair as agreed, with tax £{was:,.2f}" in text
    assert (
        f"Repair with guides now, with tax £{now:,.2f} more £{now - was:,.2f}" in text
    )
    assert "you said yes on 20 November 2026 please answer by 27 November 2026" in text
    assert "What changed since you said yes" in text


def test_nothing_changed_says_the_same():
    same = replace(revision(), after=revision().before)

    text = Shown(sheet(same)).text
    assert "the same £0.00" in text
    assert not re.search("New|No longer", text)


def test_cost_and_minutes_never_stand_on_the_sheet():
    text = Shown(sheet()).text.lower()

    assert not re.search(r"\b(cost|margin|mark-?up|minutes)\b", text)


@pytest.mark.needs_pdf
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_sheet_is_valid_pdf_ua_1_and_the_same_bytes_again(size):
    this = Printed(sheet(size=size))

    assert failures(this.pdf) == set()
    assert to_pdf(sheet(size=size)) == this.pdf


@pytest.mark.needs_pdf
@pytest.mark.parametrize("count", [14, 17, 20, 60])
def test_totals_are_never_alone_on_a_page(count):
    lines = "".join(
        f'[[alternatives.free]]\ndescription = "Repair {n}"\namount = "{n}.00"\n'
        for n in range(1, count + 1)
    )
    text = BOTH.replace("[[alternatives.work]]", f"{lines}[[alternatives.work]]")
    this = Printed(sheet(revision(text)))

    assert failures(this.pdf) == set()
    [last] = [page for page in this.pages if "Total with tax" in page]
    assert re.search(r" [+-][\d.,]+ As before, ", last)
    assert "How to say yes" in last
