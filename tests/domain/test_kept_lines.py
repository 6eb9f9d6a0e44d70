"""Lines that pricing keeps must be those it would work out anew (decision 0007)."""

from dataclasses import replace
from datetime import date

from builders import dec, edition, with_modifier, with_operation
from hypothesis import given, settings
from hypothesis import strategies as st

from quoting.domain.head import Head, Side
from quoting.domain.job import Asked, AskedSet, Exemption, Job, OwnPrice, Selection
from quoting.domain.lengths import parse_length
from quoting.domain.pricing import price

ON = date(2026, 3, 2)
RATES = edition()
CODES = ("STRP", "WASH", "SCUT", "VREF", "SKIM", "VACT", "SEAL", "MAGP", "CAMI", "GREP")

heads = st.lists(
    st.builds(
        lambda layout, hard, bare: (layout, hard, bare),
        st.sampled_from(("I4-16", "V8-8", "V6-12", "M1-4")),
        st.booleans(),
        st.booleans(),
    ),
    min_size=1,
    max_size=3,
)
asked = st.builds(
    Asked,
    operation=st.sampled_from([code for code in CODES if code != "CAMI"]),
    size=st.sampled_from((None, parse_length("0.15 mm"), parse_length("12 thou"))),
    own=st.sampled_from((None, None, None, OwnPrice(dec("40.00"), "a friend"))),
    warranty=st.sampled_from((None, None, None, dec("1"))),
    again=st.sampled_from((False, False, False, True)),
)
jobs = st.builds(
    lambda heads, work, sets, factor, exempt, declined: Job(
        heads=tuple(
            Head(
                tag,
                RATES.layouts[layout],
                side_facts={Side.EXHAUST: {"seats": "hard"}} if hard else {},
                condition=frozenset({"bare"} if bare else set()),
            )
            for tag, (layout, hard, bare) in zip("ABC", heads, strict=False)
        ),
        work=tuple({row.operation: row for row in work}.values()),
        sets=sets,
        propose=False,
        minutes_factor=factor,
        exemption=exempt,
        declined=declined,
    ),
    heads=heads,
    work=st.lists(asked, max_size=6),
    sets=st.sampled_from(((), (AskedSet("VJOB"),))),
    factor=st.sampled_from((dec("1"), dec("1.125"))),
    exempt=st.sampled_from((None, Exemption("EXEMPT", "institute"))),
    declined=st.sampled_from(({}, {"SEAL": "his own"})),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(jobs, min_size=2, max_size=6))
def test_one_edition_and_fresh_copies_price_alike(some):
    for job in [*some, *reversed(some)]:
        kept = price(RATES, job, ON)
        fresh = price(replace(RATES), replace(job, heads=tuple(job.heads)), ON)

        assert kept.lines == fresh.lines
        assert kept.totals == fresh.totals


def test_a_changed_edition_keeps_nothing_of_the_old_one():
    """SCUT exhaust: 8 x 7.00 x 1.35 = 75.60; with the factor 2: 8 x 7.00 x 2 = 112."""
    head = Head(
        "A", RATES.layouts["I4-16"], side_facts={Side.EXHAUST: {"seats": "hard"}}
    )
    job = Job(heads=(head,), work=(Asked("SCUT"),), propose=False)

    def exhaust(rates):
        return price(rates, job, ON).lines[1].net

    assert exhaust(RATES) == dec("75.60")
    assert exhaust(with_modifier(RATES, "HARD", factor=dec("2"))) == dec("112.00")
    dearer = with_operation(RATES, "SCUT", unit_exhaust=dec("8.00"))
    assert exhaust(dearer) == dec("86.40")  # 8 x 8.00 x 1.35
    assert exhaust(RATES) == dec("75.60")


def test_single_valves_are_never_mistaken_for_all():
    head = Head("A", RATES.layouts["I4-16"])
    every = Job(heads=(head,), work=(Asked("VACT"),), propose=False)
    inlet = replace(every, work=(Asked("VACT", which=Selection(Side.INLET)),))

    assert price(RATES, every, ON).lines[0].net == dec("15.20")  # 16 x 0.95
    assert price(RATES, inlet, ON).lines[0].net == dec("7.60")  # 8 x 0.95
    assert price(RATES, every, ON).lines[0].net == dec("15.20")
