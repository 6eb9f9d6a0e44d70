"""What stands in the form on the phone, and the jobs that it comes to.

Which words ask for what is common practice, no source; the say-it line has tests of
its own. Here the layers are tested: what stood there, what is said, what is put in by
hand, what is left out.
"""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from builders import DEMO, ON, at, dec, edition, heads
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from quoting.domain.enquiry import NO_HEAD, Enquiry, Figures, jobs, to_tell
from quoting.domain.errors import RuleError
from quoting.domain.head import Position, Side
from quoting.domain.job import (
    Asked,
    AskedFee,
    AskedPart,
    AskedSet,
    Deposit,
    Exemption,
    FreeLine,
    Job,
    Outwork,
    OwnPrice,
    Selection,
    agreed_prices,
)
from quoting.domain.lengths import parse_length
from quoting.domain.phrase import say
from quoting.domain.pricing import no_fix, price
from quoting.domain.quote import offer
from quoting.domain.words import split
from quoting.domain.work import RefusedError, plan
from quoting.files.edition import read_edition

RATES = read_edition(DEMO)
RT1 = edition()
TAX_POINT = date(2026, 11, 25)

LAWS = settings(max_examples=80, deadline=None)


def job_on(*layouts, **job):
    return Job(heads(RATES, *layouts), **job)


def only(**enquiry):
    """Return the one job of an enquiry that nothing refuses."""
    [candidate] = jobs(Enquiry(**enquiry), RATES).candidates
    assert candidate.refused == ()
    return candidate.job


def codes_of(job):
    return [row.operation for row in job.work]


def lines_of(job):
    return price(RATES, job, TAX_POINT).lines


def net_of(job, code):
    return sum(line.net for line in lines_of(job) if line.code == code)


# The words, and the head that they are about.


def test_words_that_fit_several_heads_give_candidates_side_by_side():
    understood = jobs(Enquiry(said="v6 both heads overheated"), RATES)

    layouts = [c.job.heads[0].layout.code for c in understood.candidates]
    assert layouts == ["L08", "L30", "L31"]
    assert {c.label for c in understood.candidates} == {
        "24 valves", "12 valves", "18 valves",
    }  # fmt: skip


@pytest.mark.parametrize("layout", ["L08", "L30", "L31"])
def test_picking_a_layout_leaves_one_candidate_with_all_that_was_said(layout):
    job = only(said="v6 both heads overheated, guides exhaust", layout=layout)

    assert [head.layout.code for head in job.heads] == [layout, layout]
    assert job.reason == "OVERHEATED"
    assert job.work == (Asked("GREP", which=Selection(Side.EXHAUST)),)


def test_a_picked_layout_wins_over_words_and_shows_which_were_set_aside():
    text = "16v twin cam, skim 4 thou please"
    understood = jobs(Enquiry(said=text, layout="L01"), RATES)

    [candidate] = understood.candidates
    assert candidate.job.heads[0].layout.code == "L01"
    assert codes_of(candidate.job) == ["SKIM"]
    assert understood.not_placed == ("16v", "twin cam")
    assert understood.echoed == ("Skim the face: 4 thou = 0.1016 mm",)


def test_words_alone_name_no_head_and_price_nothing():
    understood = jobs(Enquiry(said="skim"), RATES)

    assert understood.candidates == ()
    assert [question.word for question in understood.questions] == ["head"]


def test_nothing_in_the_form_is_no_candidate():
    assert jobs(Enquiry(), RATES).candidates == ()
    assert jobs(Enquiry(work=(Asked("SKIM"),)), RATES).candidates == ()


@pytest.mark.parametrize(
    "enquiry",
    [
        {"said": "reface 2 valves"},
        {"work": (Asked("VREF", which=Selection(number=dec("2"))),)},
        {"said": "\N{HOT BEVERAGE}", "free": (FreeLine("weld", amount=dec("30")),)},
    ],
)
def test_loose_parts_need_no_head(enquiry):
    [candidate] = jobs(Enquiry(**enquiry), RATES).candidates

    assert (candidate.label, candidate.job.heads) == (NO_HEAD, ())
    assert lines_of(candidate.job)


def test_how_many_heads_came_is_put_in_by_hand_and_no_longer_asked():
    understood = jobs(Enquiry(said="v6 24v, skim left head", heads=2), RATES)

    [candidate] = understood.candidates
    assert [(h.tag, h.label) for h in candidate.job.heads] == [
        ("A", "left"), ("B", "right"),
    ]  # fmt: skip
    assert candidate.job.work[0].heads == ("A",)
    assert understood.questions == ()


# What stood there, and what is said now.


def test_what_is_said_is_added_to_what_stood_there():
    base = job_on("L08", "L08", work=(Asked("LEAK"),), reason="OVERHEATED")
    job = only(base=base, said="guides exhaust on the left head, both bare")

    assert job.work == (
        Asked("LEAK"),
        Asked("GREP", ("A",), Selection(Side.EXHAUST)),
    )
    assert job.reason == "OVERHEATED"
    assert [head.condition for head in job.heads] == [frozenset({"bare"})] * 2


def test_what_is_said_of_an_operation_takes_the_place_of_what_stood_there():
    base = job_on("L04", work=(Asked("SKIM", size=parse_length("0.10 mm")),))
    job = only(base=base, said="skim 0.15 mm, no guides")

    assert [row.size.typed for row in job.work] == ["0.15 mm"]
    assert job.declined == {"GREP": "left out, as asked"}


def test_what_is_known_of_the_heads_stays_when_more_is_said_of_them():
    base = Job(heads(RATES, "L04", label="left", facts={"face": "bowed"}))
    [head] = only(base=base, said="bare, hard exhaust seats, skim").heads

    assert (head.label, head.facts) == ("left", {"face": "bowed"})
    assert head.side_facts == {Side.EXHAUST: {"seats": "hard"}}
    assert head.condition == frozenset({"bare"})


def test_words_that_name_another_head_take_the_place_of_the_heads():
    base = job_on("L08", work=(Asked("LEAK"),))
    job = only(base=base, said="16v skim")

    assert [head.layout.code for head in job.heads] == ["L04"]
    assert codes_of(job) == ["LEAK", "SKIM"]


def test_words_count_the_heads_that_stood_there_anew():
    assert len(only(base=job_on("L08"), said="both heads, skim").heads) == 2
    assert len(only(base=job_on("L08", "L08"), said="skim").heads) == 2
    assert len(only(base=job_on("L08"), heads=3).heads) == 3


def test_a_layout_changed_under_picked_valves_is_refused_with_the_reason():
    base = job_on("L04", work=(Asked("GREP", which=at("A1E2")),))
    [candidate] = jobs(Enquiry(base=base, layout="L01"), RATES).candidates

    assert candidate.job.work == base.work
    assert "A1E2 is not on" in candidate.refused[0]


def test_facts_of_valves_that_another_layout_lacks_go_with_the_old_one():
    [valve, gone] = at("A1E1", "A1E2").positions
    known = {valve: {"seats": "hard"}, gone: {"seats": "hard"}}
    base = Job(heads(RATES, "L04", position_facts=known))

    [head] = only(base=base, layout="L01").heads
    assert head.position_facts == {valve: {"seats": "hard"}}


# Put in by hand.


def test_work_by_hand_takes_the_place_of_what_words_ask_for():
    by_hand = Asked("GREP", which=Selection(Side.INLET))
    job = only(said="16v guides exhaust, skim", work=(by_hand,))

    assert job.work == (Asked("SKIM"), by_hand)


def test_the_rest_of_the_form_goes_into_the_job():
    job = only(
        said="16v skim, call it 600",
        base=job_on("L04", free=(FreeLine("a", amount=dec("1")),), rush="RUSH"),
        free=(FreeLine("b", amount=dec("2")),),
        sets=(AskedSet("TEST"),),
        parts=(AskedPart(description="c", price=dec("3")),),
        outwork=(Outwork("d", dec("4")),),
        fees=(AskedFee("DELV", dec("1")),),
        deposits=(Deposit(dec("50")),),
        call_it=OwnPrice(dec("500"), "round"),
        reason="GASKET",
        condition=("bare", "clean"),
    )

    assert [free.description for free in job.free] == ["a", "b"]
    assert (job.reason, job.rush) == ("GASKET", "RUSH")
    assert (job.sets, job.fees) == ((AskedSet("TEST"),), (AskedFee("DELV", dec("1")),))
    assert (job.parts[0].description, job.outwork[0].cost) == ("c", dec("4"))
    assert (job.call_it.amount, job.deposits[0].amount) == (dec("500"), dec("50"))
    assert job.heads[0].condition == frozenset({"bare", "clean"})


def test_terms_and_exemption_of_the_customer_hold_over_those_of_the_base():
    trade, agreed = RATES.terms["TRADE10"], RATES.terms["AGREED"]
    exempt = Exemption("EXEMPT", "institute")
    base = job_on("L04", terms=trade)
    [candidate] = jobs(
        Enquiry(base=base, said="skim"), RATES, terms=agreed, exemption=exempt
    ).candidates

    assert candidate.job.terms is agreed
    assert candidate.job.agreed == agreed_prices(RATES, agreed)
    assert candidate.job.exemption == exempt
    assert only(base=base, said="skim").terms is trade


def test_picked_valves_take_the_place_of_any_selection_even_a_sets():
    """Twelve or thirteen guides in all are no more three of them."""
    three = at("A1E1", "A2E1", "A3E2").positions
    job = only(said="16v", sets=(AskedSet("GUIDES"),), positions={"GREP": three})

    assert [
        line.positions for line in lines_of(job) if line.code == "GREP"
    ] == [three]  # fmt: skip


def test_no_valve_picked_leaves_the_operation_out():
    job = only(said="16v", sets=(AskedSet("GUIDES"),), positions={"GREP": ()})

    assert net_of(job, "GREP") == 0


def test_a_size_goes_to_work_of_a_set_and_leaves_it_in_its_set():
    job = only(said="16v overheated", sizes={"SKIM": parse_length("0.30 mm")})
    [line] = [line for line in lines_of(job) if line.code == "SKIM"]

    assert (line.size.typed, line.set) == ("0.30 mm", "OVERHEAT")


def test_sizes_by_hand_are_echoed_in_both_units():
    understood = jobs(
        Enquiry(said="16v skim", sizes={"SKIM": parse_length("10 thou")}), RATES
    )
    assert understood.echoed == ("Skim the face: 10 thou = 0.254 mm",)


def test_what_the_form_answers_is_not_asked():
    asks = jobs(Enquiry(said="16v"), RATES)
    answered = jobs(Enquiry(said="16v", sets=(AskedSet("TEST"),)), RATES)

    assert [question.word for question in asks.questions] == ["work"]
    assert answered.questions == ()


# Left out.


BASES = [
    job_on("L04", reason="OVERHEATED"),
    job_on("L08", "L08", work=(Asked("GREP", which=at("A1E1", "B2I1")),)),
    job_on("L01", sets=(AskedSet("GUIDES"), AskedSet("TEST")), reason="GASKET"),
    job_on(
        "L04",
        work=(
            Asked("SKIM", size=parse_length("0.2 mm")),
            Asked("LEAK", warranty=dec("1")),
        ),
        parts=(AskedPart("SEAL-5_5", quantity=dec("4")),),
        fees=(AskedFee("DELV", dec("2")),),
        declined={"stem_seal": "his own"},
        propose=False,
        minutes_factor=dec("1.2"),
    ),
    Job((), parts=(AskedPart(description="exchange head", price=dec("420")),)),
    Job((), work=(Asked("VREF", which=Selection(number=dec("2"))),)),
]  # fmt: skip

EVERY_CODE = sorted(
    {
        *RATES.operations, *RATES.sets, *RATES.parts, *RATES.parts_of, *RATES.fees,
        "NOSUCH",
    }
)  # fmt: skip
SPOKEN = [
    "", " ", "16v overheated, guides exhaust", "v6 both heads, left head skim 4 thou",
    "3 guides", "no guides, stem seals", "bare, iron, hard exhaust seats", "x2",
    "valve job", "9 cyl 7v skim", "reface 2 valves", "call it 600, rush", "B2E1 guide",
]  # fmt: skip


@pytest.mark.parametrize("base", BASES)
def test_what_stood_there_alone_comes_back_as_it_was(base):
    [candidate] = jobs(Enquiry(base=base), RATES).candidates

    assert candidate.job == base
    assert candidate.refused == ()


@LAWS
@given(
    st.sampled_from(BASES),
    st.sampled_from(["", "guides, skim, stem seals", "no skim"]),
    st.lists(st.sampled_from(EVERY_CODE), min_size=1, max_size=4),
)
def test_what_is_left_out_has_no_line(base, said, codes):
    left_out = dict.fromkeys(codes, "not wanted")
    enquiry = Enquiry(base=base, said=said, left_out=left_out)

    for candidate in jobs(enquiry, RATES).candidates:
        if candidate.refused:
            continue
        for line in lines_of(candidate.job):
            assert line.code not in left_out
            if line.kind == "part" and line.code:
                assert RATES.parts[line.code].kind not in left_out


def test_what_was_left_out_and_is_asked_for_again_comes_back_into_its_set():
    base = job_on("L04", sets=(AskedSet("VALVEJOB"),), declined={"SEAL": "has some"})
    whole = replace(base, declined={})
    job = only(base=base, said="stem seals")

    assert price(RATES, job, TAX_POINT).totals == price(RATES, whole, TAX_POINT).totals


# Prices set by hand.


@LAWS
@given(
    st.sampled_from(BASES[:4]),
    st.integers(0, 50000).map(lambda cents: Decimal(cents) / 100),
    st.data(),
)
def test_a_price_set_by_hand_is_what_all_of_the_operation_costs(base, amount, data):
    """Whether it was asked for, comes from a set or is brought along."""
    before = lines_of(base)
    codes = sorted({line.code for line in before if line.kind == "labour"})
    code = data.draw(st.sampled_from(codes))
    job = only(base=base, own={code: OwnPrice(amount, "as last time")})

    assert net_of(job, code) == amount
    assert worked_and_used(lines_of(job)) == worked_and_used(before)


def worked_and_used(lines):
    return {line.code for line in lines if line.kind in ("labour", "part")}


def test_a_price_by_hand_of_work_brought_along_stays_on_its_valves():
    three = at("A1E1", "A2E1", "A3E2")
    own = {"SCUT": OwnPrice(dec("20"), "as last time")}
    job = only(base=job_on("L04", work=(Asked("GREP", which=three),)), own=own)
    [line] = [line for line in lines_of(job) if line.code == "SCUT"]

    assert (line.net, line.positions) == (dec("20"), three.positions)
    assert line.list_net > 0


@pytest.mark.parametrize("base", [BASES[0], BASES[2]])
def test_a_price_by_hand_of_a_set_is_what_the_set_costs(base):
    [code, *_] = [a.set for a in plan(RATES, base).sets]
    job = only(base=base, own={code: OwnPrice(dec("333.33"), "round figure")})

    in_set = [line for line in lines_of(job) if line.set == code]
    assert sum(line.net for line in in_set) == dec("333.33")


def test_a_price_by_hand_of_a_part_is_the_price_of_one():
    """Sixteen seals at 2.00."""
    base = job_on("L04", sets=(AskedSet("VALVEJOB"),))
    [code] = [line.code for line in lines_of(base) if line.kind == "part"]
    job = only(base=base, own={code: OwnPrice(dec("2.00"), "from stock")})

    assert net_of(job, code) == dec("32.00")


def test_a_price_by_hand_of_two_rows_stands_on_the_first():
    rows = (Asked("GREP", heads=("A",)), Asked("GREP", heads=("B",)))
    job = only(
        base=job_on("L08", "L08", work=rows), own={"GREP": OwnPrice(dec("9"), "x")}
    )

    assert [row.own.amount for row in job.work] == [dec("9"), dec("0")]


# Whatever stands in the form.


@LAWS
@given(st.sampled_from([text for text in SPOKEN if text.strip()]))
def test_words_alone_give_the_jobs_that_they_say(text):
    said = say(text, RATES)
    understood = jobs(Enquiry(said=text), RATES)

    assert understood.candidates == said.candidates
    assert understood.said == said
    assert understood.questions == said.questions


def maybe(strategy):
    return st.none() | strategy


def few(strategy):
    return st.lists(strategy, max_size=2).map(tuple)


def by_code(strategy):
    return st.dictionaries(st.sampled_from(EVERY_CODE), strategy, max_size=3)


POSITIONS = st.builds(
    Position,
    st.sampled_from(["A", "B", "Z"]),
    st.integers(0, 9),
    st.sampled_from(list(Side)),
    st.integers(0, 4),
)
NUMBERS = st.decimals(0, 99, places=1)
TAGS = st.sampled_from([(), ("A",), ("B",), ("A", "B"), ("Q",)])
SIZES = st.sampled_from(["0.15 mm", "4 thou", "900 in"]).map(parse_length)
OWN = st.builds(OwnPrice, NUMBERS, st.just("so"), st.booleans())
WORK = st.builds(
    Asked,
    st.sampled_from(EVERY_CODE),
    TAGS,
    st.builds(
        Selection, maybe(st.sampled_from(list(Side))), few(st.integers(0, 9)),
        few(POSITIONS), maybe(NUMBERS),
    ),
    size=maybe(SIZES),
    own=maybe(OWN),
    again=st.booleans(),
)  # fmt: skip
ENQUIRIES = st.builds(
    Enquiry,
    said=st.sampled_from(SPOKEN) | st.text(max_size=30),
    base=maybe(st.sampled_from(BASES)),
    layout=st.sampled_from(["", *RATES.layouts, "NOSUCH"]),
    heads=maybe(st.integers(-3, 60)),
    reason=st.sampled_from(["", *RATES.reasons, "NOSUCH"]),
    condition=maybe(few(st.sampled_from(["bare", "clean", "odd"]))),
    work=few(WORK),
    sets=few(st.builds(AskedSet, st.sampled_from(EVERY_CODE), TAGS, maybe(SIZES))),
    left_out=by_code(st.just("not wanted")),
    own=by_code(OWN),
    positions=by_code(few(POSITIONS)),
    sizes=by_code(SIZES),
    parts=few(st.builds(AskedPart, st.sampled_from(EVERY_CODE))),
    fees=few(st.builds(AskedFee, st.sampled_from(EVERY_CODE), NUMBERS)),
    rush=st.sampled_from(["", "RUSH", "NOSUCH"]),
)


@settings(max_examples=250, deadline=None)
@given(ENQUIRIES)
def test_whatever_stands_in_the_form_is_a_job_or_refused(enquiry):
    understood = jobs(enquiry, RATES)

    assert len(understood.candidates) <= (1 if enquiry.layout in RATES.layouts else 3)
    for candidate in understood.candidates:
        if candidate.refused:
            continue
        try:
            assert price(RATES, candidate.job, TAX_POINT).lines is not None
        except RefusedError:  # what is refused was said to be
            raise
        except RuleError:
            assume(False)  # a part without a number, and the like


@LAWS
@given(ENQUIRIES, st.sampled_from(sorted(RATES.layouts)))
def test_picking_a_layout_makes_exactly_one_candidate(enquiry, layout):
    [candidate] = jobs(replace(enquiry, layout=layout), RATES).candidates

    assert {head.layout.code for head in candidate.job.heads} == {layout}
    if enquiry.heads is not None and enquiry.heads > 0:
        assert len(candidate.job.heads) == min(enquiry.heads, 26)


@LAWS
@given(
    st.sampled_from(SPOKEN) | st.text(max_size=30),
    st.sampled_from(["", "L01", "L08"]),
    maybe(st.sampled_from(BASES)),
)
def test_every_word_is_told_in_its_place(text, layout, base):
    understood = jobs(Enquiry(said=text, layout=layout, base=base), RATES)

    for heard in understood.said.heard if understood.said else ():
        assert text[heard.start : heard.end] == heard.said
    told = {
        at
        for heard in (understood.said.heard if understood.said else ())
        for at in range(heard.start, heard.end)
    }
    for word in split(text) if understood.said else ():
        assert told.issuperset(range(word.start, word.end))


def test_a_code_that_is_in_no_table_is_refused_by_name():
    [candidate] = jobs(
        Enquiry(said="16v skim", sets=(AskedSet("NOSUCH"),), reason="NEVER"), RATES
    ).candidates

    assert candidate.refused == (
        "There is no NEVER in reasons of the rate tables.",
        "There is no NOSUCH in sets of the rate tables.",
    )


# What the caller is told.


def described(amount):
    return (AskedPart(description="exchange head", price=dec(amount)),)


def test_the_caller_is_told_the_total_that_their_terms_say_first():
    """One part of 100.00 with 20 % tax; on trade terms 10 % less: 90.00 and 108.00."""
    trade = replace(RT1.terms["TRADE10"], discount_parts=dec("10"), headline="net")
    job = Job((), parts=described("100.00"))
    retail = to_tell(RT1, offer(RT1, "", job, ON), ON, trade)
    theirs = to_tell(RT1, offer(RT1, "", replace(job, terms=trade), ON), ON, trade)

    assert retail.price == Figures(dec("120.00"), dec("100.00"), with_tax=True)
    assert retail.trade == Figures(dec("90.00"), dec("108.00"), with_tax=False)
    assert (theirs.price, theirs.trade) == (retail.trade, None)


def test_a_total_agreed_with_this_caller_is_no_price_for_trade():
    trade = replace(RT1.terms["TRADE10"], headline="net")
    job = Job((), parts=described("100.00"), call_it=OwnPrice(dec("60"), "old friend"))
    told = to_tell(RT1, offer(RT1, "", job, ON), ON, trade)

    assert told.price.first == dec("60.00")
    assert told.trade.first == dec("100.00")


def test_the_caller_is_told_what_a_condemned_head_costs_and_what_is_not_included():
    job = job_on("L04", reason="OVERHEATED")
    told = to_tell(RATES, offer(RATES, "", job, TAX_POINT), TAX_POINT)

    assert told.condemned == no_fix(RATES, job, "LEAK", TAX_POINT).totals.total
    assert "whatever the tests find" in told.not_included
    days = timedelta(days=RATES.shop.validity_days)
    assert told.valid_until == TAX_POINT + days
