"""From what was asked for to what is done: selections, company, and what is left out.

The figures are counts of heads that can be checked on one's fingers. The rules are
common practice, no source.
"""

from dataclasses import replace

import pytest
from builders import at, dec, edition, heads, with_operation, with_relation

from quoting.domain.head import Head, Layout, Side, parse_position
from quoting.domain.job import Asked, AskedSet, Job, Override, Selection
from quoting.domain.rates import Reason, WorkSet
from quoting.domain.work import (
    NoHeadError,
    NotBySelectionError,
    NothingToCountError,
    NotOnFactError,
    NotOnThisHeadError,
    NotWithError,
    NumberNeededError,
    OneHeadNeededError,
    RefusedError,
    UnknownHeadError,
    UnknownOperationError,
    WholeNumberNeededError,
    plan,
)

RATES = edition()
#: A head whose inlet is a port in the cylinder wall: it has exhaust valves only.
UNIFLOW = Layout(
    code="U4", name="Uniflow two-stroke head", cylinders=4, inlet=0, exhaust=2,
    size_class="car", material="iron",
)  # fmt: skip
HARD_EXHAUST = {"side_facts": {Side.EXHAUST: {"seats": "hard"}}}


def alone(rates):
    """Return *rates* without relations: work comes to what was asked for."""
    return replace(rates, relations=[])


BARE = alone(RATES)


def planned(rates, came, *work, **job):
    return plan(rates, Job(came, work=work, **job))


def done(rates, came, *work, **job):
    """Return what each operation is done to: (tags, valves as text, quantity)."""
    found = {}
    for task in planned(rates, came, *work, **job).tasks:
        found.setdefault(task.operation.code, []).extend(
            ("".join(p.zone.tags), " ".join(v.filed for v in p.positions), p.quantity)
            for p in task.portions
        )
    return found


def quantity(rates, came, *work):
    """Return how many units the rows come to on each head."""
    by_head = {}
    for task in planned(rates, came, *work).tasks:
        for portion in task.portions:
            each = portion.quantity / len(portion.zone.tags)
            for tag in portion.zone.tags:
                by_head[tag] = by_head.get(tag, 0) + each
    return by_head


def refusal(rates, came, *work, **job):
    """Return the one refusal of the first row."""
    with pytest.raises(RefusedError) as refused:
        planned(rates, came, *work, **job)
    [only] = refused.value.refusals
    assert (only.table, only.row) == ("work", 0)
    return only.error


# What it is counted by.


@pytest.mark.parametrize(
    ("code", "layout", "count"),
    [
        ("WASH", "I4-20", 1),
        ("VREF", "I4-20", 20),
        ("GKNU", "I4-12", 12),
        ("SCUT", "V6-12", 12),
        ("SSHM", "I4-16", 16),
        ("CAMI", "I4-16", 2),
        ("LBOR", "I4-16", 10),
        ("CCMS", "M1-4", 1),
        ("PRCH", "D4-8", 4),
        ("SPKI", "V8-8", 4),
        ("INJS", "D4-8", 4),
    ],
)
def test_an_operation_takes_its_count_from_the_layout_of_one_head(code, layout, count):
    assert quantity(BARE, heads(BARE, layout), Asked(code)) == {"A": count}


def test_every_head_that_came_is_meant_and_none_that_did_not():
    """A V8 of two heads of eight valves: with one of them here, eight."""
    assert quantity(BARE, heads(BARE, "V8-8", "V8-8"), Asked("VREF")) == {
        "A": 8,
        "B": 8,
    }
    assert quantity(BARE, heads(BARE, "V8-8"), Asked("VREF")) == {"A": 8}


def test_springs_are_counted_by_the_valve_and_by_the_spring():
    layout = replace(BARE.layouts["I4-16"], springs_per_valve=2)

    assert quantity(BARE, (Head("A", layout),), Asked("SPRT")) == {"A": 32}
    three = Asked("SPRT", which=at("A1E1", "A2E1", "A3E2"))
    assert quantity(BARE, (Head("A", layout),), three) == {"A": 6}


def test_heads_can_be_named():
    came = heads(BARE, "V6-12", "V6-12", "V6-12")

    assert quantity(BARE, came, Asked("WASH", heads=("A", "C"))) == {"A": 1, "C": 1}


def test_a_head_that_did_not_come_is_refused():
    error = refusal(BARE, heads(BARE, "V8-8"), Asked("WASH", heads=("B",)))

    assert isinstance(error, UnknownHeadError)
    assert str(error) == "No head B came; these did: A."


def test_what_only_a_person_knows_needs_a_number():
    error = refusal(BARE, heads(BARE, "I4-16"), Asked("THRD"))

    assert isinstance(error, NumberNeededError)
    assert "holes" in str(error)
    three = Asked("THRD", which=Selection(number=dec("3")))
    assert quantity(BARE, heads(BARE, "I4-16"), three) == {"A": 3}


@pytest.mark.parametrize(
    ("counted_by", "number", "refused"),
    [
        ("hole", "1.5", True),
        ("valve", "2.5", True),
        ("valve", "2.0", False),
        ("cm", "3.5", False),
        ("hour", "0.25", False),
    ],
)
def test_only_what_is_measured_may_be_broken(counted_by, number, refused):
    rates = with_operation(BARE, "THRD", counted_by=counted_by)
    asked = Asked("THRD", which=Selection(number=dec(number)))

    if refused:
        error = refusal(rates, heads(rates, "I4-16"), asked)
        assert isinstance(error, WholeNumberNeededError)
    else:
        assert quantity(rates, heads(rates, "I4-16"), asked) == {"A": dec(number)}


# Selecting.


@pytest.mark.parametrize(
    ("which", "valves"),
    [
        (Selection(), 16),
        (Selection(side=Side.INLET), 8),
        (Selection(side=Side.EXHAUST), 8),
        (Selection(cylinders=(2,)), 4),
        (Selection(cylinders=(1, 4)), 8),
        (Selection(cylinders=(1, 1)), 4),
        (Selection(side=Side.EXHAUST, cylinders=(3,)), 2),
        (at("A3E1"), 1),
        (at("A3E1", "A3E1"), 1),
        (at("A1I1", "A2I2", "A3E2"), 3),
        (Selection(number=dec("3")), 3),
        (Selection(side=Side.INLET, number=dec("5")), 5),
    ],
)
def test_valves_are_picked_by_side_cylinder_position_or_number(which, valves):
    came = heads(BARE, "I4-16")

    assert quantity(BARE, came, Asked("VREF", which=which)) == {"A": valves}


def test_the_valves_picked_are_the_ones_that_were_named():
    picked = done(
        BARE, heads(BARE, "V8-8", "V8-8"), Asked("GREP", which=at("B3E", "B1E"))
    )

    assert picked == {"GREP": [("B", "B1E1 B3E1", 2)]}


def test_plugs_and_injectors_are_picked_by_cylinder():
    came = heads(BARE, "D4-8", "D4-8")

    assert quantity(BARE, came, Asked("INJS", which=Selection(cylinders=(1, 3)))) == {
        "A": 2,
        "B": 2,
    }


def test_all_over_a_side_that_is_not_there_gives_nothing_there():
    came = (Head("A", UNIFLOW),)

    assert done(BARE, came, Asked("SCUT")) == {
        "SCUT": [("A", " ".join(f"A{c}E{n}" for c in "1234" for n in "12"), 8)]
    }


@pytest.mark.parametrize(
    ("which", "missing"),
    [
        (Selection(side=Side.INLET), "the inlet side"),
        (Selection(cylinders=(5,)), "cylinder 5"),
        (at("A1I1"), "A1I1"),
        (at("A5E1"), "A5E1"),
        (at("A1E3"), "A1E3"),
        (Selection(number=dec("9")), "9 seats"),
        (Selection(side=Side.INLET, number=dec("1")), "1 inlet seats"),
        (at("B1E1"), "B1E1"),
    ],
)
def test_naming_what_the_layout_lacks_is_refused_with_the_reason(which, missing):
    error = refusal(BARE, (Head("A", UNIFLOW),), Asked("SCUT", which=which))

    assert isinstance(error, NotOnThisHeadError)
    assert f"{missing} is not on Uniflow two-stroke head" in str(error)
    assert "it has" in str(error)


@pytest.mark.parametrize("cylinder", [0, 5, 99])
def test_a_cylinder_beyond_the_layout_is_refused_for_plugs_too(cylinder):
    asked = Asked("SPKI", which=Selection(cylinders=(1, cylinder)))
    error = refusal(BARE, heads(BARE, "I4-16"), asked)

    assert isinstance(error, NotOnThisHeadError)
    assert f"cylinder {cylinder}" in str(error)


@pytest.mark.parametrize("code", ["INJS", "PRCH", "CAMI", "LBOR"])
def test_what_no_head_of_the_job_has_is_refused(code):
    error = refusal(BARE, heads(BARE, "V8-8", "V8-8"), Asked(code))

    assert isinstance(error, NothingToCountError)
    assert "V8 OHV head of 8 valves has no" in str(error)


def test_what_no_head_has_is_refused_when_its_cylinders_are_named_too():
    asked = Asked("INJS", which=Selection(cylinders=(1,)))

    assert isinstance(
        refusal(BARE, heads(BARE, "I4-16"), asked),
        (NothingToCountError, NotOnThisHeadError),
    )


@pytest.mark.parametrize(
    "which",
    [
        Selection(side=Side.INLET, positions=(parse_position("A1E1"),)),
        Selection(cylinders=(2,), positions=(parse_position("A1E1"),)),
    ],
)
def test_a_selection_that_contradicts_itself_is_refused(which):
    error = refusal(BARE, heads(BARE, "I4-16"), Asked("SCUT", which=which))

    assert isinstance(error, NotOnThisHeadError)


def test_what_one_head_has_and_another_has_not_is_done_where_it_is():
    came = heads(BARE, "I4-16", "V8-8")

    assert quantity(BARE, came, Asked("CAMI")) == {"A": 2}


@pytest.mark.parametrize(
    ("code", "which"),
    [
        ("WASH", Selection(side=Side.INLET)),
        ("CAMI", Selection(cylinders=(1,))),
        ("CAMI", at("A1I1")),
        ("SPKI", at("A1E1")),
        ("SPKI", Selection(side=Side.EXHAUST)),
    ],
)
def test_a_valve_of_what_is_not_counted_by_valves_is_refused(code, which):
    error = refusal(BARE, heads(BARE, "I4-16"), Asked(code, which=which))

    assert isinstance(error, NotBySelectionError)


def test_a_bare_number_stands_on_one_head():
    came = heads(BARE, "V8-8", "V8-8")
    three = Selection(number=dec("3"))

    assert quantity(BARE, came, Asked("VREF", heads=("B",), which=three)) == {"B": 3}
    error = refusal(BARE, came, Asked("VREF", heads=("A", "B"), which=three))
    assert isinstance(error, OneHeadNeededError)


def test_a_bare_number_on_an_unnamed_head_of_two_is_asked_back():
    came = heads(BARE, "V8-8", "I4-16")
    work = planned(BARE, came, Asked("VREF", which=Selection(number=dec("12"))))

    assert work.tasks[0].portions[0].zone.tags == ("B",), "only B has twelve"
    assert [q.text for q in work.questions] == [
        "Reface valves: which head are the 12 on?"
    ]


def test_nothing_is_asked_back_where_there_is_one_head():
    work = planned(
        BARE, heads(BARE, "I4-16"), Asked("VREF", which=Selection(number=dec("3")))
    )

    assert work.questions == ()


def test_an_unknown_operation_is_refused():
    error = refusal(BARE, heads(BARE, "I4-16"), Asked("POLISH"))

    assert isinstance(error, UnknownOperationError)
    assert "POLISH" in str(error)


def test_every_row_that_cannot_be_is_refused_at_once_and_named():
    rows = (Asked("POLISH"), Asked("WASH"), Asked("INJS"), Asked("THRD"))

    with pytest.raises(RefusedError) as refused:
        planned(BARE, heads(BARE, "I4-16"), *rows)

    assert [(r.table, r.row) for r in refused.value.refusals] == [
        ("work", 0), ("work", 2), ("work", 3),
    ]  # fmt: skip
    assert len(str(refused.value).splitlines()) == 3


def test_a_set_on_a_head_that_did_not_come_is_refused_by_its_row():
    sets = (AskedSet("VJOB"), AskedSet("VJOB", heads=("B",)))

    with pytest.raises(RefusedError) as refused:
        planned(BARE, heads(BARE, "I4-16"), sets=sets)

    assert [(r.table, r.row) for r in refused.value.refusals] == [("sets", 1)]


# Loose parts, and no head.


def test_loose_parts_need_an_explicit_number():
    error = refusal(BARE, (), Asked("VREF"))

    assert isinstance(error, NoHeadError)
    assert "say how many valves" in str(error)


@pytest.mark.parametrize(
    ("asked", "count"),
    [
        (Asked("VREF", which=Selection(number=dec("2"))), 2),
        (Asked("THRD", which=Selection(number=dec("1"))), 1),
        (Asked("SPRT", which=Selection(side=Side.INLET, number=dec("8"))), 8),
        (Asked("SKIM", which=Selection(number=dec("1"))), 1),
    ],
)
def test_loose_parts_are_worked_on_by_number(asked, count):
    [task] = planned(BARE, (), asked).tasks

    assert [(p.zone.tags, p.quantity) for p in task.portions] == [((), count)]


def test_an_operation_counted_by_the_job_needs_no_head():
    rates = with_operation(BARE, "CCMS", counted_by="job")
    [task] = planned(rates, (), Asked("CCMS")).tasks

    assert [p.quantity for p in task.portions] == [1]


# What the heads are known to be, and how they arrived.


def test_facts_may_differ_by_head_by_side_and_by_valve():
    """A hard exhaust side; on B one inlet seat too: three zones to price apart."""
    [a, b] = heads(BARE, "V8-8", "V8-8", **HARD_EXHAUST)
    b = replace(b, position_facts={parse_position("B2I"): {"seats": "hard"}})
    [task] = planned(BARE, (a, b), Asked("SCUT")).tasks

    known = {
        position.filed: portion.zone.facts["seats"]
        for portion in task.portions
        for position in portion.positions
    }
    assert {place for place, seats in known.items() if seats == "hard"} == {
        "A1E1", "A2E1", "A3E1", "A4E1", "B1E1", "B2E1", "B3E1", "B4E1", "B2I1",
    }  # fmt: skip
    assert len(known) == 16


def with_set(rates, operations, **arrival):
    """Return *rates* with a set S, and operations left out on some arrivals."""
    for code, conditions in arrival.items():
        rates = with_operation(rates, code, left_out_when=tuple(conditions.split()))
    work_set = WorkSet(code="S", name="Set", operations=tuple(operations.split()))
    return replace(rates, sets={"S": work_set}, set_prices=())


def test_a_bare_clean_head_needs_no_strip_wash_or_assembly():
    rates = with_set(
        BARE, "STRP WASH MEAS SCUT ASSY",
        STRP="bare stripped", WASH="clean", ASSY="bare",
    )  # fmt: skip
    came = heads(rates, "I4-16", condition=frozenset({"bare", "clean"}))

    assert set(done(rates, came, sets=(AskedSet("S"),))) == {"MEAS", "SCUT"}
    dirty = heads(rates, "I4-16", condition=frozenset({"bare", "dirty"}))
    assert set(done(rates, dirty, sets=(AskedSet("S"),))) == {"WASH", "MEAS", "SCUT"}


def test_each_head_is_left_out_by_its_own_arrival():
    rates = with_set(BARE, "STRP WASH", WASH="clean")
    [a, b] = heads(rates, "V6-12", "V6-12")
    came = (a, replace(b, condition=frozenset({"clean"})))

    found = done(rates, came, sets=(AskedSet("S"),))
    assert sum(n for _, _, n in found["STRP"]) == 24
    assert found["WASH"] == [("A", "", 1)]


def test_what_was_asked_for_by_itself_is_done_however_the_head_arrived():
    rates = with_operation(BARE, "WASH", left_out_when=("clean",))
    came = heads(rates, "I4-16", condition=frozenset({"clean"}))

    assert quantity(rates, came, Asked("WASH")) == {"A": 1}


def test_why_it_came_proposes_a_set():
    rates = with_set(BARE, "STRP WASH LEAK")
    rates = replace(rates, reasons={"HOT": Reason(code="HOT", name="Hot", set="S")})
    came = heads(rates, "I4-16")

    assert set(done(rates, came, reason="HOT")) == {"STRP", "WASH", "LEAK"}
    assert planned(rates, came, reason="HOT").sets == (AskedSet("S"),)


def test_why_it_came_proposes_nothing_beside_a_set_that_was_chosen():
    rates = with_set(BARE, "STRP")
    rates = replace(
        rates,
        sets={**rates.sets, "T": WorkSet(code="T", name="T", operations=("LEAK",))},
        reasons={"HOT": Reason(code="HOT", name="Hot", set="S")},
    )
    came = heads(rates, "I4-16")

    assert set(done(rates, came, reason="HOT", sets=(AskedSet("T"),))) == {"LEAK"}
    assert set(done(rates, came, reason="HOT", propose=False)) == set()


def test_a_part_of_a_set_that_was_asked_for_too_is_done_once():
    rates = with_set(BARE, "STRP VREF")
    came = heads(rates, "I4-16")

    found = done(rates, came, Asked("VREF"), sets=(AskedSet("S"),))
    assert found["VREF"] == [
        ("A", " ".join(f"A{c}I{n}" for c in "1234" for n in "12"), 8),
        ("A", " ".join(f"A{c}E{n}" for c in "1234" for n in "12"), 8),
    ]


# What work brings along.


def test_work_is_brought_along_at_the_same_valves_only():
    """New guides at two valves: their seats, heights, vacuum test and seals, there."""
    asked = Asked("GREP", which=at("A1E1", "A3E2"))

    assert done(RATES, heads(RATES, "I4-16"), asked) == {
        code: [("A", "A1E1 A3E2", 2)]
        for code in ("GREP", "SCUT", "SHGT", "VACT", "SEAL")
    }


def test_what_is_brought_along_says_why():
    asked = Asked("GREP", which=at("A1E1"))
    tasks = planned(RATES, heads(RATES, "I4-16"), asked).tasks

    assert {task.operation.code: task.asked.because for task in tasks} == {
        "GREP": "",
        "SCUT": "new guides move the axis of the seats",
        "SHGT": "cut seats change the stem heights",
        "VACT": "cut seats are proved by a vacuum test",
        "SEAL": "new guides take new stem seals",
    }


def test_what_is_brought_along_can_be_declined_with_a_reason():
    asked = Asked("GREP", which=at("A1E1"))
    declined = {"SEAL": "fits his own"}
    work = planned(RATES, heads(RATES, "I4-16"), asked, declined=declined)

    assert "SEAL" not in {t.operation.code for t in work.tasks}
    assert [n.text for n in work.notices] == ["Fit stem seals declined: fits his own"]


def test_what_was_declined_brings_nothing_along_itself():
    asked = Asked("GREP", which=at("A1E1"))

    assert set(
        done(RATES, heads(RATES, "I4-16"), asked, declined={"SCUT": "cut last week"})
    ) == {"GREP", "SEAL"}


def test_what_is_brought_along_goes_away_with_what_brought_it():
    came = heads(RATES, "I4-16")

    assert set(done(RATES, came, Asked("WASH"))) == {"WASH"}


def test_what_was_chosen_too_stays_as_it_was_chosen():
    """All seats were asked for; the guide at one valve adds nothing to them."""
    came = heads(RATES, "I4-16")
    guide = Asked("GREP", which=at("A1E1"))
    both = done(RATES, came, Asked("SCUT"), guide)

    assert sum(n for _, _, n in both["SCUT"]) == 16
    assert both["SCUT"] == done(RATES, came, Asked("SCUT"))["SCUT"]


def test_what_was_chosen_in_part_is_filled_up_where_it_was_not():
    came = heads(RATES, "I4-16")
    found = done(
        RATES, came, Asked("SCUT", which=at("A1E1")),
        Asked("GREP", which=at("A1E1", "A2E1")),
    )  # fmt: skip

    assert found["SCUT"] == [("A", "A1E1", 1), ("A", "A2E1", 1)]


def test_a_number_of_valves_brings_along_the_same_number():
    asked = Asked("GREP", which=Selection(side=Side.EXHAUST, number=dec("3")))
    found = done(RATES, heads(RATES, "I4-16"), asked)

    assert set(found) == {"GREP", "SCUT", "SHGT", "VACT", "SEAL"}
    assert all(rows == [("A", "", 3)] for rows in found.values())


def test_nothing_is_brought_along_unless_it_is_to_be():
    asked = Asked("GREP", which=at("A1E1"))

    assert set(done(RATES, heads(RATES, "I4-16"), asked, propose=False)) == {"GREP"}


def test_a_set_brings_nothing_along_beyond_its_own_list():
    """SCUT in a set would bring SHGT and VACT; asked for by itself it does."""
    rates = with_set(RATES, "STRP SCUT")
    came = heads(rates, "I4-16")

    assert set(done(rates, came, sets=(AskedSet("S"),))) == {"STRP", "SCUT"}
    assert set(done(rates, came, Asked("SCUT"))) == {"SCUT", "SHGT", "VACT"}


def test_work_outside_a_set_still_brings_along():
    rates = with_set(RATES, "STRP")
    asked = Asked("GREP", which=at("A1E1"))

    assert set(done(rates, heads(rates, "I4-16"), asked, sets=(AskedSet("S"),))) == {
        "STRP", "GREP", "SCUT", "SHGT", "VACT", "SEAL",
    }  # fmt: skip


def test_what_the_customer_has_done_is_not_brought_along():
    rates = with_operation(RATES, "SEAL", left_out_when=("bare",))
    came = heads(rates, "I4-16", condition=frozenset({"bare"}))

    assert "SEAL" not in done(rates, came, Asked("GREP"))


def test_work_on_a_fact_is_brought_along_only_where_the_fact_holds():
    rates = with_relation(
        BARE, "SCUT", relation="brings", other="VTIP", fact="seats", values=("hard",)
    )
    came = heads(rates, "I4-16", **HARD_EXHAUST)

    [(_, valves, number)] = done(rates, came, Asked("SCUT"))["VTIP"]
    assert (number, set(valves[2::5])) == (8, {"E"})
    assert "VTIP" not in done(rates, heads(rates, "I4-16"), Asked("SCUT"))


def test_work_beside_other_work_is_brought_along_only_then():
    rates = with_relation(BARE, "SCUT", relation="brings", other="VTIP", beside="VREF")
    came = heads(rates, "I4-16")

    assert "VTIP" not in done(rates, came, Asked("SCUT"))
    assert "VTIP" in done(rates, came, Asked("SCUT"), Asked("VREF"))


def test_work_on_the_head_is_brought_along_once_a_head():
    rates = with_relation(BARE, "STRT", relation="brings", other="SKIM")
    came = heads(rates, "V6-12", "V6-12")

    assert done(rates, came, Asked("STRT", heads=("B",)))["SKIM"] == [("B", "", 1)]
    both = done(rates, came, Asked("STRT"), Asked("SKIM", heads=("A",)))
    assert sorted(both["SKIM"]) == [("A", "", 1), ("B", "", 1)]


def test_work_whose_amount_only_a_person_knows_is_asked_for():
    rates = with_relation(BARE, "STRT", relation="brings", other="THRD")
    work = planned(rates, heads(rates, "I4-16"), Asked("STRT"))

    assert {t.operation.code for t in work.tasks} == {"STRT"}
    assert [q.text for q in work.questions] == ["it must: how much Repair threads?"]


# What excludes, needs or replaces what.


def replacing(rates=BARE):
    """Return rates with a new valve, VNEW, that replaces the reface at its place."""
    new = replace(rates.operations["VREF"], code="VNEW", name="New valve", place=155)
    operations = {**rates.operations, "VNEW": new}
    return with_relation(
        replace(rates, operations=operations), "VNEW", relation="replaces", other="VREF"
    )


def test_a_new_valve_replaces_the_reface_at_its_position():
    rates = replacing()
    came = heads(rates, "I4-16")
    found = done(rates, came, Asked("VREF"), Asked("VNEW", which=at("A3E1")))

    assert sum(n for _, _, n in found["VREF"]) == 15
    assert not any("A3E1" in valves for _, valves, _ in found["VREF"])
    assert found["VNEW"] == [("A", "A3E1", 1)]


def test_a_shop_that_touches_new_valves_up_has_no_such_row():
    rates = replace(replacing(), relations=[])
    came = heads(rates, "I4-16")

    found = done(rates, came, Asked("VREF"), Asked("VNEW", which=at("A3E1")))
    assert sum(n for _, _, n in found["VREF"]) == 16


def test_all_new_valves_leave_nothing_to_reface():
    rates = replacing()

    assert set(done(rates, heads(rates, "I4-16"), Asked("VREF"), Asked("VNEW"))) == {
        "VNEW"
    }


def test_a_notice_of_replacement_is_only_given_where_something_was_replaced():
    rates = replacing()
    came = heads(rates, "I4-16")
    apart = planned(
        rates, came, Asked("VREF", which=at("A1I1")), Asked("VNEW", which=at("A3E1"))
    )
    same = planned(rates, came, Asked("VREF"), Asked("VNEW", which=at("A3E1")))

    assert [n.text for n in same.notices] == ["Reface valves: it must"]
    assert apart.notices == ()


def excluding(**condition):
    return with_relation(BARE, "GLIN", relation="not_with", other="GREP", **condition)


def test_two_that_cannot_be_together_are_refused_with_the_reason():
    error = refusal(excluding(), heads(BARE, "I4-16"), Asked("GLIN"), Asked("GREP"))

    assert isinstance(error, NotWithError)
    assert str(error) == "Line guides and Replace guides: it must."


def test_two_that_cannot_be_together_may_be_done_to_different_valves():
    rows = (Asked("GLIN", which=at("A1E1")), Asked("GREP", which=at("A2E1")))

    assert set(done(excluding(), heads(BARE, "I4-16"), *rows)) == {"GLIN", "GREP"}


def test_two_that_cannot_be_together_may_be_done_to_different_heads():
    rows = (Asked("GLIN", heads=("A",)), Asked("GREP", heads=("B",)))

    assert set(done(excluding(), heads(BARE, "V6-12", "V6-12"), *rows)) == {
        "GLIN",
        "GREP",
    }


def test_the_owner_sets_such_a_rule_aside_by_name_and_with_a_reason():
    override = Override("owner", "customer insists")
    rows = (Asked("GLIN"), Asked("GREP", despite=override))

    assert set(done(excluding(), heads(BARE, "I4-16"), *rows)) == {"GLIN", "GREP"}
    [record] = planned(excluding(), heads(BARE, "I4-16"), *rows).set_aside
    assert record.text.endswith(": owner, customer insists")


def test_two_that_cannot_be_together_on_iron_may_be_on_aluminium():
    rates = excluding(fact="material", values=("iron",))
    rows = (Asked("GLIN"), Asked("GREP"))

    assert set(done(rates, heads(rates, "I4-16"), *rows)) == {"GLIN", "GREP"}
    assert isinstance(refusal(rates, heads(rates, "D4-8"), *rows), NotWithError)


def test_what_replaces_on_sodium_valves_replaces_only_there():
    rates = replacing()
    [row] = rates.relations
    rates = replace(rates, relations=[replace(row, fact="valves", values=("sodium",))])
    came = heads(rates, "I4-16", side_facts={Side.EXHAUST: {"valves": "sodium"}})
    found = done(rates, came, Asked("VREF"), Asked("VNEW"))

    [(_, valves, number)] = found["VREF"]
    assert (number, set(valves[2::5])) == (8, {"I"})


def caustic(fact="material", values=("aluminium",)):
    return with_relation(
        BARE, "HOTK", relation="not_on", fact=fact, values=values,
        reason="caustic eats it",
    )  # fmt: skip


def test_what_may_not_be_done_on_a_material_is_refused_with_the_reason():
    error = refusal(caustic(), heads(BARE, "I4-16"), Asked("HOTK"))

    assert isinstance(error, NotOnFactError)
    assert str(error) == "Hot tank on head A: caustic eats it."
    assert set(done(caustic(), heads(BARE, "V8-8"), Asked("HOTK"))) == {"HOTK"}


def test_what_may_not_be_done_for_what_is_in_the_head_is_refused():
    rates = caustic("in_head", ("alloy_parts",))
    came = heads(rates, "V8-8", facts={"in_head": frozenset({"alloy_parts"})})

    assert isinstance(refusal(rates, came, Asked("HOTK")), NotOnFactError)


def test_of_two_heads_the_one_it_may_be_done_on_is_done_and_the_other_noted():
    rates = caustic()
    came = heads(rates, "I4-16", "V8-8")
    work = planned(rates, came, Asked("HOTK"))

    assert [p.zone.tags for t in work.tasks for p in t.portions] == [("B",)]
    assert [n.text for n in work.notices] == [
        "Hot tank left out, head A: caustic eats it"
    ]


def test_naming_the_head_it_may_not_be_done_on_is_refused():
    rates = caustic()
    came = heads(rates, "I4-16", "V8-8")

    assert isinstance(
        refusal(rates, came, Asked("HOTK", heads=("A", "B"))), NotOnFactError
    )


def test_valves_it_may_not_be_done_on_are_left_out_by_their_side():
    rates = with_relation(
        BARE, "VREF", relation="not_on", fact="valves", values=("plated",),
        reason="a plated face is not ground",
    )  # fmt: skip
    came = heads(rates, "M1-4", side_facts={Side.EXHAUST: {"valves": "plated"}})
    work = planned(rates, came, Asked("VREF"))

    assert quantity(rates, came, Asked("VREF")) == {"A": 2}
    assert [n.text for n in work.notices] == [
        "Reface valves left out, exhaust side: a plated face is not ground"
    ]
    named = Asked("VREF", which=Selection(side=Side.EXHAUST))
    assert isinstance(refusal(rates, came, named), NotOnFactError)


def test_a_set_leaves_out_what_may_not_be_done():
    rates = with_set(caustic(), "STRP HOTK")
    work = planned(rates, heads(rates, "I4-16"), sets=(AskedSet("S"),))

    assert {t.operation.code for t in work.tasks} == {"STRP"}
    assert [t.operation.code for t in work.left_out] == ["HOTK"]
    assert [n.text for n in work.notices] == [
        "Hot tank left out, head: caustic eats it"
    ]


def test_what_may_not_be_done_is_not_brought_along():
    rates = with_relation(caustic(), "STRP", relation="brings", other="HOTK")

    assert set(done(rates, heads(rates, "I4-16"), Asked("STRP"))) == {"STRP"}


def test_the_owner_sets_a_material_rule_aside_by_name_and_with_a_reason():
    asked = Asked("HOTK", despite=Override("owner", "neutral bath today"))
    rates = caustic()

    assert set(done(rates, heads(BARE, "I4-16"), asked)) == {"HOTK"}
    [record] = planned(rates, heads(BARE, "I4-16"), asked).set_aside
    assert record.text == (
        "Hot tank on head A, although caustic eats it: owner, neutral bath today"
    )


def needing(**condition):
    return with_relation(
        BARE, "MAGP", relation="needs", other="WASH",
        reason="cracks show on clean metal", **condition,
    )  # fmt: skip


def test_what_needs_other_work_first_says_so():
    rates = needing()
    came = heads(rates, "V8-8")

    assert [n.text for n in planned(rates, came, Asked("MAGP")).notices] == [
        "Magnetic crack check: hot wash comes first and is not in this price "
        "(cracks show on clean metal)"
    ]
    assert planned(rates, came, Asked("MAGP"), Asked("WASH")).notices == ()


def test_what_the_customer_has_done_already_is_not_needed_first():
    rates = with_operation(needing(), "WASH", left_out_when=("clean",))
    came = heads(rates, "V8-8", condition=frozenset({"clean"}))

    assert planned(rates, came, Asked("MAGP")).notices == ()


def test_what_is_needed_on_iron_is_not_needed_on_aluminium():
    rates = needing(fact="material", values=("iron",))

    assert planned(rates, heads(rates, "I4-16"), Asked("MAGP")).notices == ()
    assert len(planned(rates, heads(rates, "V8-8"), Asked("MAGP")).notices) == 1


# Order, and once only.


def test_tasks_stand_in_process_order_whatever_the_order_of_the_rows():
    came = heads(BARE, "I4-16")
    codes = ["ASSY", "SKIM", "STRP", "LEAK", "WASH"]

    for rows in (codes, codes[::-1]):
        tasks = planned(BARE, came, *map(Asked, rows)).tasks
        assert [t.operation.code for t in tasks] == [
            "STRP", "WASH", "LEAK", "SKIM", "ASSY",
        ]  # fmt: skip


def test_a_valve_that_two_rows_name_is_worked_on_once():
    rows = (Asked("SCUT", which=Selection(side=Side.EXHAUST)), Asked("SCUT"))
    found = done(BARE, heads(BARE, "I4-16"), *rows)

    assert sum(n for _, _, n in found["SCUT"]) == 16


def test_a_head_that_two_rows_name_is_worked_on_once():
    rows = (Asked("WASH"), Asked("WASH", heads=("B",)))

    assert quantity(BARE, heads(BARE, "V8-8", "V8-8"), *rows) == {"A": 1, "B": 1}


def test_numbers_of_two_rows_add_up():
    """Two broken studs, then one more: three."""
    rows = [Asked("THRD", which=Selection(number=dec(n))) for n in ("2", "1")]

    found = done(BARE, heads(BARE, "I4-16"), *rows)["THRD"]
    assert sum(n for _, _, n in found) == 3
