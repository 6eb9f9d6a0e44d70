"""What is offered: alternatives, the price if condemned, what is not included."""

from dataclasses import replace
from datetime import date

import pytest
from builders import ON, dec, edition, heads, priced

from quoting.domain.job import Asked, AskedPart, AskedSet, Job, OwnPrice
from quoting.domain.quote import holds_until, last_gate, not_included, offer
from quoting.domain.rates import Reason
from quoting.domain.work import RefusedError

RATES = replace(edition(), relations=[])
#: 12 valves: STRP 26, WASH 28, MEAS 30, LEAK 55: 139.00 up to the leak test.
ROWS = tuple(map(Asked, ("STRP", "WASH", "MEAS", "LEAK", "SCUT", "ASSY")))


def offered(rates, layout="I4-12", **job):
    job = Job(heads(rates, layout), **{"work": ROWS, **job})
    return offer(rates, "repair", job, ON)


def test_an_offer_says_what_is_owed_if_the_test_condemns_the_head():
    """139.00 capped at 95.00, with 20 % 114.00: "at most"."""
    way = offered(RATES)

    assert way.condemned == dec("114.00")
    assert way.priced.totals.total > way.condemned


def test_without_a_test_nothing_can_condemn_it():
    assert offered(RATES, work=(Asked("SKIM"),)).condemned is None


def test_a_head_that_is_condemned_already_is_not_condemned_again():
    [head] = heads(RATES, "I4-12")
    job = Job((replace(head, condemned_at="LEAK"),), work=ROWS)

    assert offer(RATES, "", job, ON).condemned is None


@pytest.mark.parametrize(
    "job",
    [
        {"rush": "RUSH"},
        {"call_it": OwnPrice(dec("300.00"), "agreed")},
        {"parts": (AskedPart(description="valves", price=dec("80")),)},
    ],
)
def test_what_is_owed_if_condemned_has_no_rush_round_figure_or_parts(job):
    assert offered(RATES, **job).condemned == dec("114.00")


def test_what_is_owed_if_condemned_is_never_above_the_cap_and_its_tax():
    """WASH and LEAK of a head are 83.00, below the cap: 99.60 with 20 %."""
    few = tuple(map(Asked, ("WASH", "LEAK", "SCUT")))

    assert offered(RATES, work=few).condemned == dec("99.60")


def test_the_last_test_of_the_job_is_the_gate():
    assert last_gate(RATES, offered(RATES).priced) == "LEAK"
    assert last_gate(RATES, priced(RATES, work=())) is None
    measured = tuple(map(Asked, ("STRP", "MEAS", "SCUT")))
    assert last_gate(RATES, offered(RATES, work=measured).priced) == "MEAS"


def test_an_offer_that_cannot_be_priced_is_refused():
    with pytest.raises(RefusedError):
        offered(RATES, work=(Asked("INJS"),))


def test_alternatives_are_priced_apart():
    repair = offered(RATES)
    skim = offered(RATES, work=(Asked("SKIM"),))

    assert (repair.priced.totals.labour, skim.priced.totals.labour) != (0, 0)
    assert repair.priced.totals.total != skim.priced.totals.total


@pytest.mark.parametrize(
    ("days", "until"), [(30, date(2026, 4, 1)), (0, ON), (365, date(2027, 3, 2))]
)
def test_a_quote_holds_as_many_days_as_the_shop_says(days, until):
    rates = replace(RATES, shop=replace(RATES.shop, validity_days=days))

    assert holds_until(rates, ON) == until


def excluding(*texts):
    """Return rates whose valve job and whose reason HOT leave these texts out."""
    work_set = replace(RATES.sets["VJOB"], leaves_out=texts)
    hot = Reason(code="HOT", name="Overheated", leaves_out=("whatever the tests find",))
    return replace(RATES, sets={"VJOB": work_set}, reasons={"HOT": hot})


def excluded(rates, **job):
    job = Job(heads(rates, "I4-16"), **job)
    return not_included(rates, job, priced(rates, job.heads, **_but_heads(job)))


def _but_heads(job):
    return {
        "work": job.work,
        "sets": job.sets,
        "reason": job.reason,
        "parts": job.parts,
    }


def test_what_the_set_and_the_reason_leave_out_is_said():
    rates = excluding("head gasket", "valve springs")

    assert excluded(rates, sets=(AskedSet("VJOB"),), reason="HOT") == (
        "whatever the tests find", "head gasket", "valve springs",
    )  # fmt: skip


def test_what_is_done_after_all_is_not_called_left_out():
    """Skim is asked for beside the valve job, which leaves it out; so is a part."""
    rates = excluding("skim", "head gasket", "carriage")
    gasket = (AskedPart(description="Head gasket", price=dec("30")),)
    job = {"sets": (AskedSet("VJOB"),), "work": (Asked("SKIM"),), "parts": gasket}

    assert excluded(rates, **job) == ("carriage",)


def test_a_text_that_two_rows_leave_out_is_said_once():
    rates = excluding("whatever the tests find", "carriage")

    assert excluded(rates, sets=(AskedSet("VJOB"),), reason="HOT") == (
        "whatever the tests find", "carriage",
    )  # fmt: skip
