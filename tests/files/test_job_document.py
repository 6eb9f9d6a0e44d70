"""A stored job reads back as the job it was, and what is no job is refused in words."""

import json
from dataclasses import fields, replace
from datetime import date

import pytest
from builders import DEMO, JOBS, ON, at, dec, edition, heads, priced
from hypothesis import given, settings
from hypothesis import strategies as st

from quoting.domain.errors import ProblemsError
from quoting.domain.head import FACTS, SIDES, Head, Layout, Side
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
    Override,
    OwnPrice,
    Selection,
    agreed_prices,
)
from quoting.domain.lengths import Length, parse_length
from quoting.domain.phrase import say
from quoting.domain.pricing import price
from quoting.files.edition import read_edition
from quoting.files.job_document import read, write
from quoting.files.job_file import OwnLayout, read_job

RT1 = edition()
RATES = read_edition(DEMO)

LAWS = settings(max_examples=60, deadline=None)


def as_data(job):
    """Return *job* with the columns of layouts of its own instead of the layouts."""
    own = [
        tuple(getattr(head.layout, field.name) for field in fields(Layout))
        for head in job.heads
        if isinstance(head.layout, OwnLayout)
    ]
    any_layout = next(iter(RATES.layouts.values()))
    shared = tuple(
        replace(head, layout=any_layout) if isinstance(head.layout, OwnLayout) else head
        for head in job.heads
    )
    return replace(job, heads=shared), own


# Every job that a job file can hold.


TEXTS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=12
).map(str.strip)
SOME_TEXT = TEXTS.filter(bool)
WORDS = st.text("abc xyzäß", min_size=1, max_size=8).map(str.strip).filter(bool)


def figures(least=0, most=9999, places=2):
    return st.decimals(least, most, places=places)


def maybe(strategy):
    return st.none() | strategy


def codes(table):
    return st.sampled_from(sorted(table))


MONEY = figures()
PAID = figures(least=dec("0.01"))
TAX = st.just("") | codes(RATES.tax_rows)
SIZES = st.sampled_from(
    ["0.15 mm", "4 thou", ".008 in", '0.006"', "0.10  mm", "1 INCH"]
).map(parse_length) | st.builds(
    Length, figures(least=dec("0.001"), places=4), st.sampled_from(["8-10 thou", "0,1"])
)
OWN = st.builds(OwnPrice, MONEY, SOME_TEXT, st.booleans())


def facts(scope):
    kinds = {n: k for n, k in FACTS.items() if scope == "head" or k.scope == "side"}

    def values(name):
        kind = kinds[name]
        if not kind.words:
            return figures()
        if kind.several:
            return st.frozensets(st.sampled_from(kind.words))
        return st.sampled_from(kind.words)

    return st.sets(codes(kinds), max_size=3).flatmap(
        lambda names: st.fixed_dictionaries({name: values(name) for name in names})
    )


OWN_LAYOUTS = st.builds(
    OwnLayout,
    code=st.sampled_from(["own", "BIG", "L04"]),
    name=WORDS,
    cylinders=st.integers(1, 8),
    inlet=st.integers(1, 2),
    exhaust=st.integers(1, 2),
    size_class=st.sampled_from(RATES.size_classes),
    material=st.sampled_from(["iron", "aluminium"]),
    aliases=st.lists(WORDS, max_size=2).map(tuple),
    weight_kg=maybe(MONEY),
    cams=st.integers(0, 2),
    datum=st.booleans(),
)


@st.composite
def came(draw, tag):
    layout = draw(st.sampled_from(list(RATES.layouts.values())) | OWN_LAYOUTS)
    places = [p for side in SIDES for p in Head(tag, layout).positions(side)]
    conditions = st.sampled_from(["complete", "bare", "dirty"])
    return Head(
        tag,
        layout,
        label=draw(TEXTS),
        facts=draw(facts("head")),
        side_facts=draw(st.dictionaries(st.sampled_from(SIDES), facts("side"))),
        position_facts=draw(
            st.dictionaries(st.sampled_from(places), facts("side"), max_size=3)
            if places
            else st.just({})
        ),
        condition=draw(st.frozensets(conditions)),
        condemned_at=draw(st.just("") | codes(RATES.operations)),
    )


@st.composite
def asked(draw, tags):
    cylinders = st.lists(st.integers(1, 8), max_size=2).map(tuple)
    places = st.sampled_from([at(), at("A1E1"), at("B3E1", "A2I2")])
    return Asked(
        draw(codes(RATES.operations)),
        draw(tags),
        Selection(
            draw(maybe(st.sampled_from(SIDES))),
            draw(cylinders),
            draw(places).positions,
            draw(maybe(PAID)),
        ),
        size=draw(maybe(SIZES)),
        own=draw(maybe(OWN)),
        warranty=draw(maybe(figures(most=1))),
        again=draw(st.booleans()),
        despite=draw(maybe(st.builds(Override, SOME_TEXT, SOME_TEXT))),
    )


PART = st.builds(
    AskedPart,
    code=codes(RATES.parts),
    description=TEXTS,
    quantity=maybe(PAID),
    price=maybe(MONEY),
    cost=maybe(MONEY),
    markup=maybe(MONEY),
    margin=maybe(figures(most=99)),
    tax_code=TAX,
    group=st.sampled_from(["parts", "exchange"]),
    discountable=st.booleans(),
    surcharge=st.just("") | codes(RATES.surcharges),
    old_unit=st.sampled_from(["", "full", "part", "none"]),
    worth=maybe(MONEY),
    own_stock=st.booleans(),
    warranty=maybe(figures(most=1)),
) | st.builds(AskedPart, description=SOME_TEXT, price=MONEY)

FREE = st.builds(
    FreeLine,
    description=SOME_TEXT,
    hours=PAID,
    rate=maybe(MONEY),
    tax_code=TAX,
    discountable=st.booleans(),
) | st.builds(FreeLine, description=SOME_TEXT, amount=MONEY)

LEFT_OUT = sorted({*RATES.operations, *RATES.parts_of})


def few(strategy):
    return st.lists(strategy, max_size=3).map(tuple)


@st.composite
def jobs(draw):
    tags = draw(st.sampled_from([(), ("A",), ("A", "B"), ("B", "AA")]))
    on = st.lists(st.sampled_from(["A", "B"]), unique=True).map(tuple)
    terms = RATES.terms[draw(codes(RATES.terms))]
    return Job(
        heads=tuple(draw(came(tag)) for tag in tags),
        reason=draw(st.just("") | codes(RATES.reasons)),
        work=draw(few(asked(on))),
        sets=draw(
            few(st.builds(AskedSet, codes(RATES.sets), on, maybe(SIZES), maybe(OWN)))
        ),
        free=draw(few(FREE)),
        parts=draw(few(PART)),
        outwork=draw(few(st.builds(Outwork, SOME_TEXT, MONEY, maybe(MONEY), TAX))),
        fees=draw(few(st.builds(AskedFee, codes(RATES.fees), MONEY))),
        terms=terms,
        agreed=agreed_prices(RATES, terms),
        exemption=draw(
            maybe(st.builds(Exemption, codes(RATES.tax_rows), SOME_TEXT, TEXTS))
        ),
        rush=draw(st.just("") | codes(RATES.rush)),
        call_it=draw(maybe(st.builds(OwnPrice, PAID, SOME_TEXT, st.just(False)))),
        deposits=draw(few(st.builds(Deposit, PAID, maybe(st.dates()), TEXTS))),
        propose=draw(st.booleans()),
        declined=draw(st.dictionaries(st.sampled_from(LEFT_OUT), TEXTS, max_size=3)),
        minutes_factor=draw(figures(least=dec("0.001"), most=9, places=3)),
    )


@LAWS
@given(jobs())
def test_a_stored_job_reads_back_as_the_job_it_was(job):
    text = write(job)

    assert as_data(read(text, RATES)) == as_data(job)
    assert write(read(text, RATES)) == text


@pytest.mark.parametrize("path", sorted(JOBS.glob("*.toml")), ids=lambda p: p.stem)
def test_the_worked_jobs_read_back_and_cost_the_same(path):
    file = read_job(path, RT1)
    for _, job in file.jobs:
        again = read(write(job), RT1)

        assert again == job
        assert price(RT1, again, ON).totals == price(RT1, job, ON).totals


@pytest.mark.parametrize(
    "text",
    [
        "16v overheated, guides exhaust",
        "v6 24v both heads, left head skim 8-10 thou, hard exhaust seats",
        "16v skim half a mm",
        "16v skim 10 thousandths of an inch",
        "16v skim 150 microns, no guides, call it 600",
        "3 loose valves, reface",
    ],
)
def test_what_a_caller_said_reads_back_in_the_callers_own_words(text):
    retail = RATES.terms[RATES.shop.terms]
    for candidate in say(text, RATES, terms=retail).candidates:
        assert read(write(candidate.job), RATES) == candidate.job


def test_a_comma_said_for_a_decimal_mark_reads_back():
    retail = RATES.terms[RATES.shop.terms]
    said = say("16v skim 0,10 mm", RATES, language="de", terms=retail)
    [candidate] = said.candidates

    [row] = read(write(candidate.job), RATES).work
    assert (row.size.mm, row.size.typed) == (dec("0.10"), "0,10 mm")


# The shape.


def test_the_keys_are_those_of_a_job_file():
    """What stands there was written down by hand from docs/job-file.md."""
    head = Head(
        "A",
        RT1.layouts["I4-16"],
        facts={"stem_mm": dec("5.5")},
        side_facts={Side.EXHAUST: {"seats": "hard"}},
    )
    job = Job(
        (head,),
        work=(
            Asked(
                "GREP",
                which=at("A3E1"),
                own=OwnPrice(dec("0.00"), "ours"),
                despite=Override("Pat", "asked for"),
            ),
        ),
        parts=(AskedPart(description="seal", quantity=dec("2"), price=dec("1.50")),),
        terms=RT1.terms["TRADE10"],
        deposits=(Deposit(dec("50"), date(2026, 3, 1)),),
        propose=False,
        declined={"SEAL": "fits his own"},
    )

    assert json.loads(write(job)) == {
        "terms": "TRADE10",
        "propose": False,
        "heads": [
            {
                "layout": "I4-16",
                "tag": "A",
                "facts": {"stem_mm": "5.5"},
                "exhaust": {"seats": "hard"},
            }
        ],
        "work": [
            {
                "op": "GREP",
                "positions": ["A3E1"],
                "price": "0.00",
                "reason": "ours",
                "despite_by": "Pat",
                "despite_reason": "asked for",
            }
        ],
        "parts": [{"description": "seal", "quantity": "2", "price": "1.50"}],
        "deposits": [{"amount": "50", "on": "2026-03-01"}],
        "declined": {"SEAL": "fits his own"},
    }


def test_a_layout_of_the_job_itself_stands_there_in_full(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(
        "date = 2026-03-02\n[[heads]]\n"
        'layout = { code = "I4-16", cylinders = 6, inlet = 1, exhaust = 1, '
        'size_class = "car", material = "iron" }\n[[work]]\nop = "VREF"\n',
        encoding="utf-8",
    )
    [(_, job)] = read_job(path, RT1).jobs
    again = read(write(job), RT1)

    assert again.heads[0].layout.cylinders == 6
    assert priced(RT1, again.heads, work=again.work).lines[0].quantity == 12


def test_terms_and_agreed_prices_are_those_of_the_edition_that_reads():
    text = write(Job(heads(RT1, "I4-16"), terms=RT1.terms["TRADE10"]))
    dearer = replace(RT1.terms["TRADE10"], discount_labour=dec("7"))
    later = replace(RT1, terms={**RT1.terms, "TRADE10": dearer})

    job = read(text, later)
    assert job.terms is dearer
    assert job.agreed == agreed_prices(later, dearer)


# What is no stored job.


@pytest.mark.parametrize(
    ("text", "column", "allowed"),
    [
        ("", "", "is not JSON"),
        ("{", "", "is not JSON"),
        ("[]", "", "no table of keys"),
        ("[" * 100_000, "", "is not JSON"),
        ('{"terms": "NOSUCH"}', "terms", "terms.csv"),
        ('{"date": "2026-03-02"}', "date", "known keys: reason, terms"),
        ('{"customer": "C1"}', "customer", "known keys"),
        ('{"reason": false}', "reason", "reasons.csv"),
        ('{"reason": null}', "reason", "reasons.csv"),
        ('{"label": "x"}', "label", "known keys"),
        ('{"heads": [{"layout": "own"}]}', "layout", "layouts.csv"),
        ('{"heads": [{"layout": "I4-16", "positions": 5}]}', "positions", "tables"),
        (
            '{"heads": [{"layout": "I4-16", "facts": {"material": []}}]}',
            "material",
            "aluminium",
        ),
        ('{"work": [{"op": "SKIM", "size": "0.1 mm ()"}]}', "size", "no length"),
        ('{"work": [{"op": "SKIM", "price": 1e3, "reason": ""}]}', "reason", "needs"),
    ],
)
def test_what_is_no_stored_job_is_refused_in_words(text, column, allowed):
    with pytest.raises(ProblemsError) as error:
        read(text, RT1)

    [problem] = error.value.problems
    assert problem.column == column
    assert allowed in problem.allowed


def test_every_problem_of_a_stored_job_is_named_at_once():
    text = '{"rush": "NO", "work": [{"op": "NO"}, {"op": "SKIM", "heads": [1, 1]}]}'
    with pytest.raises(ProblemsError) as error:
        read(text, RT1)

    assert [p.column for p in error.value.problems] == ["op", "heads", "rush"]


KEYS = (
    "heads", "work", "sets", "free", "parts", "outwork", "fees", "deposits", "exempt",
    "call_it", "declined", "reason", "propose", "layout", "tag", "facts", "inlet",
    "positions", "at", "op", "size", "price", "cylinders", "material", "seats",
)  # fmt: skip
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.sampled_from(["I4-16", "A", "A1E1", "SKIM", "0.15 mm", "iron", "", "own"])
    | st.text(max_size=5)
)
TREES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4)
    ),
    max_leaves=12,
)


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), TREES, max_size=4))
def test_whatever_stands_there_is_a_job_or_refused(values):
    try:
        job = read(json.dumps(values), RT1)
    except ProblemsError:
        return
    assert as_data(read(write(job), RT1)) == as_data(job)
