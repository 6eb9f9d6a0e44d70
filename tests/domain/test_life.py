"""What may change when: every move in every state, and the rules of the house."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting.domain.job import Override
from quoting.domain.life import (
    ORDER_RULES,
    QUOTE_RULES,
    DepositTaxedError,
    DepositTooLateError,
    GateError,
    HeadsGoOnError,
    IllegalMoveError,
    OrderMove,
    OrderState,
    OverCreditError,
    Part,
    QuoteMove,
    QuoteState,
    WaitsFor,
    check_credit,
    check_deposit,
    check_gate,
    editable,
    edition_for_revision,
    heads_may_change,
    lapsed_on,
    may,
    moves_of_order,
    moves_of_quote,
    next_order_state,
    next_state,
    sets_aside,
)

PAT = Override("Pat", "a regular")
GOES_ON = {"A": True, "B": False}
ALL_CONDEMNED = {"A": True, "B": True}

#: After each move, by the state before; - is refused, ! needs the owner by name.
#: Written down from the words of contract law and the shop's day, not from the code.
QUOTES = """
                   draft    offered   accepted  declined  lapsed
edit               draft    -         -         -         -
offer              offered  -         -         -         -
accept             -        accepted  accepted  -         !accepted
decline            -        declined  -         -         declined
lapse              -        lapsed    -         -         -
revise             draft    offered   accepted  offered   offered
take_the_yes_back  -        -         !offered  -         -
"""

#: Likewise, of an order with one head that goes on; condemned where all of them are.
ORDERS = """
                   none       booked_in     on_the_bench  ready         collected  condemned
book_in            booked_in  -             -             -             -          -
start              -          on_the_bench  -             -             -          -
make_ready         -          ready         ready         -             -          -
back_to_the_bench  -          -             -             on_the_bench  -          on_the_bench
condemn            -          condemned     condemned     condemned     -          -
tell               -          -             -             ready         -          condemned
hand_over          -          !collected    !collected    collected     -          collected
reopen             -          -             -             -             !ready     -
"""  # noqa: E501 a table


def grid(text, states, moves):
    """Return state, move, whether it needs the owner, and the state after or None."""

    def state(word):
        return None if word in ("-", "none") else states(word.replace("_", " "))

    header, *rows = [line.split() for line in text.strip().splitlines()]
    return [
        (state(before), moves(name.replace("_", " ")), after[0] == "!",
         state(after.lstrip("!")))
        for name, *cells in rows
        for before, after in zip(header, cells, strict=True)
    ]  # fmt: skip


QUOTE_GRID = grid(QUOTES, QuoteState, QuoteMove)
ORDER_GRID = grid(ORDERS, OrderState, OrderMove)
EVERY_STATE = (*QuoteState, *OrderState)


def heads_for(move):
    return ALL_CONDEMNED if move is OrderMove.CONDEMN else GOES_ON


def order_after(state, move, despite=None):
    return next_order_state(state, move, condemned=heads_for(move), despite=despite)


# Every move in every state.


def test_the_grids_have_every_move_in_every_state():
    assert len(QUOTE_GRID) == len(QuoteState) * len(QuoteMove)
    assert len({row[:2] for row in QUOTE_GRID}) == len(QUOTE_GRID)
    assert len(ORDER_GRID) == (len(OrderState) + 1) * len(OrderMove)
    assert len({row[:2] for row in ORDER_GRID}) == len(ORDER_GRID)


@pytest.mark.parametrize(("state", "move", "by_owner", "after"), QUOTE_GRID)
def test_a_quote_moves_as_contract_law_has_it(state, move, by_owner, after):
    if after is None or by_owner:
        with pytest.raises(IllegalMoveError) as refused:
            next_state(state, move)
        says_what_is_wrong(refused.value, "quote", state, QUOTE_RULES[move])
    if after is None:
        with pytest.raises(IllegalMoveError):
            next_state(state, move, despite=PAT)
    else:
        assert next_state(state, move, despite=PAT if by_owner else None) is after


@pytest.mark.parametrize(("state", "move", "by_owner", "after"), ORDER_GRID)
def test_a_work_order_moves_as_the_work_does(state, move, by_owner, after):
    if after is None or by_owner:
        with pytest.raises(IllegalMoveError) as refused:
            order_after(state, move)
        said = "not here yet" if state is None else state
        says_what_is_wrong(refused.value, "work order", said, ORDER_RULES[move])
    if after is None:
        with pytest.raises(IllegalMoveError):
            order_after(state, move, PAT)
    else:
        assert order_after(state, move, PAT if by_owner else None) is after


def says_what_is_wrong(refused, what, state, rule):
    begins = f"You cannot {rule.says}: the {what} is {state}. "
    mend = str(refused).removeprefix(begins)

    assert str(refused).startswith(begins)
    assert mend[0].isupper()
    assert mend.endswith(".")


def test_a_lapsed_quote_is_refused_with_the_way_out():
    with pytest.raises(IllegalMoveError) as refused:
        next_state(QuoteState.LAPSED, QuoteMove.ACCEPT)

    assert str(refused.value) == (
        "You cannot accept the quote: the quote is lapsed. Make a new revision first, "
        "or let the owner accept it as it is, by name and with a reason."
    )


def test_a_refusal_names_the_owner_where_the_owner_can_help():
    mends = [
        rules[move].mend[state]
        for rows, rules in ((QUOTE_GRID, QUOTE_RULES), (ORDER_GRID, ORDER_RULES))
        for state, move, by_owner, _ in rows
        if by_owner
    ]

    assert len(mends) == 5
    assert all("owner" in mend and "reason" in mend for mend in mends)


def test_what_may_happen_is_listed_without_what_needs_the_owner():
    for state in QuoteState:
        free = {
            m for s, m, owner, after in QUOTE_GRID if s is state and after and not owner
        }
        assert set(moves_of_quote(state)) == free
    for state in (None, *OrderState):
        free = {
            m for s, m, owner, after in ORDER_GRID if s is state and after and not owner
        }
        assert set(moves_of_order(state)) == free


# Nothing is out of reach, and what is final is final.


def reached(start, step, moves):
    """Return every state that can be reached from *start*, *start* among them."""
    found, front = {start}, [start]
    while front:
        state = front.pop()
        for move in moves:
            try:
                after = step(state, move)
            except IllegalMoveError:
                continue
            if after not in found:
                found.add(after)
                front.append(after)
    return found


def test_every_state_is_reached_without_setting_a_rule_aside():
    assert reached(QuoteState.DRAFT, next_state, QuoteMove) == set(QuoteState)
    assert reached(None, order_after, OrderMove) == {None, *OrderState}


def test_what_is_collected_is_final_but_for_a_named_reopening():
    assert moves_of_order(OrderState.COLLECTED) == ()
    for move in set(OrderMove) - {OrderMove.REOPEN}:
        with pytest.raises(IllegalMoveError, match="The owner can reopen it"):
            order_after(OrderState.COLLECTED, move, PAT)
    assert order_after(OrderState.COLLECTED, OrderMove.REOPEN, PAT) is OrderState.READY


@pytest.mark.parametrize(
    "despite", [None, Override("", "hurry"), Override("Pat", " "), Override(" ", "")]
)
def test_an_override_without_name_or_reason_is_none(despite):
    assert not sets_aside(despite)
    with pytest.raises(IllegalMoveError):
        next_state(QuoteState.LAPSED, QuoteMove.ACCEPT, despite=despite)
    with pytest.raises(IllegalMoveError):
        order_after(OrderState.COLLECTED, OrderMove.REOPEN, despite)


# Condemned is said of heads; the order follows them.


@pytest.mark.parametrize(
    ("heads", "named"),
    [
        ({"A": False}, "Head A goes on"),
        ({"A": True, "B": False}, "Head B goes on"),
        ({"A": False, "B": True, "C": False}, "Head A, C goes on"),
    ],
)
def test_an_order_is_condemned_only_when_all_its_heads_are(heads, named):
    with pytest.raises(HeadsGoOnError, match=named):
        next_order_state(
            OrderState.ON_THE_BENCH, OrderMove.CONDEMN, condemned=heads, despite=PAT
        )


def test_loose_parts_are_not_condemned():
    with pytest.raises(IllegalMoveError, match="No head came"):
        next_order_state(OrderState.ON_THE_BENCH, OrderMove.CONDEMN, condemned={})


def test_heads_that_are_all_condemned_do_not_become_ready_or_go_on():
    for state, move, mend in (
        (OrderState.ON_THE_BENCH, OrderMove.MAKE_READY, "condemn the work order"),
        (OrderState.CONDEMNED, OrderMove.BACK_TO_THE_BENCH, "which of them goes on"),
    ):
        with pytest.raises(IllegalMoveError, match=mend):
            next_order_state(state, move, condemned=ALL_CONDEMNED)


def test_a_reopened_order_is_condemned_again_if_its_heads_are():
    after = next_order_state(
        OrderState.COLLECTED, OrderMove.REOPEN, condemned=ALL_CONDEMNED, despite=PAT
    )

    assert after is OrderState.CONDEMNED


@given(
    st.lists(st.tuples(st.sampled_from(OrderMove), st.booleans()), max_size=30),
    st.booleans(),
)
def test_on_any_way_an_order_is_condemned_just_when_all_its_heads_are(walk, by_owner):
    """Heads are condemned before the order, and make it neither ready nor go on."""
    state = None
    for move, all_condemned in walk:
        heads = ALL_CONDEMNED if all_condemned else GOES_ON
        try:
            after = next_order_state(
                state, move, condemned=heads, despite=PAT if by_owner else None
            )
        except (IllegalMoveError, HeadsGoOnError):
            continue
        if after is OrderState.CONDEMNED and state is not OrderState.CONDEMNED:
            assert all_condemned
        if after is OrderState.READY and state is not OrderState.READY:
            assert not all_condemned
        if state is OrderState.COLLECTED:
            assert by_owner
        assert after is not None
        state = after


# Who may.


@pytest.mark.parametrize("move", [*QuoteMove, *OrderMove])
def test_the_owner_may_everything_and_alone_sets_rules_aside(move):
    everybody_else = {"counter", "bench", "accounts"}

    assert may({"owner"}, move)
    assert may({"owner"}, move, despite=True)
    assert not may(everybody_else, move, despite=True)
    assert not may(set(), move)
    assert not may({"accounts"}, move)


def test_the_bench_works_and_the_counter_deals_with_the_customer():
    bench = {move for move in OrderMove if may({"bench"}, move)}
    counter = {move for move in OrderMove if may({"counter"}, move)}

    assert bench == {
        OrderMove.START,
        OrderMove.MAKE_READY,
        OrderMove.BACK_TO_THE_BENCH,
        OrderMove.CONDEMN,
    }
    assert counter == set(OrderMove) - {OrderMove.REOPEN}
    assert not any(may({"bench"}, move) for move in QuoteMove)


# What may change.


def test_work_and_prices_change_only_in_a_draft():
    assert [s for s in EVERY_STATE if Part.WORK in editable(s)] == [QuoteState.DRAFT]


def test_heads_change_while_they_are_here():
    assert [s for s in OrderState if not heads_may_change(s)] == [OrderState.COLLECTED]


def test_how_far_without_asking_is_settled_before_the_work_is_done():
    assert {s for s in OrderState if Part.AUTHORITY in editable(s)} == {
        OrderState.BOOKED_IN,
        OrderState.ON_THE_BENCH,
    }


def test_minutes_may_come_in_after_the_heads_are_gone_and_nothing_else():
    assert editable(OrderState.COLLECTED) == {Part.MINUTES}


def test_a_part_is_editable_somewhere():
    assert set().union(*(editable(state) for state in EVERY_STATE)) == set(Part)


def test_what_is_waited_for_is_named_in_the_shops_words():
    assert list(WaitsFor) == [
        "a yes", "parts", "outwork", "a machine", "the customer", "payment",
        "collection",
    ]  # fmt: skip


# Editions and dates.


@pytest.mark.parametrize("state", QuoteState)
def test_only_what_is_accepted_keeps_its_edition(state):
    kept = edition_for_revision(state, "spring", "autumn")

    assert kept == ("spring" if state is QuoteState.ACCEPTED else "autumn")


@given(st.dates(max_value=date(9999, 12, 30)))
def test_the_last_day_of_an_offer_still_counts(last):
    assert not lapsed_on(last, last)
    assert lapsed_on(last, last + timedelta(days=1))


# Rules of the house.


def test_work_after_a_test_waits_for_its_result():
    with pytest.raises(GateError) as refused:
        check_gate(gate="the pressure test", step="Cut seats", passed=False)

    assert str(refused.value).startswith("Cut seats comes after the pressure test")
    check_gate(gate="the pressure test", step="Cut seats", passed=True)
    check_gate(gate="the pressure test", step="Cut seats", passed=False, despite=PAT)


def test_heads_are_held_back_where_more_would_be_owed_than_agreed():
    owed, limit = Decimal("2612.40"), Decimal("2500.00")
    with pytest.raises(OverCreditError) as refused:
        check_credit(owed, limit)

    # 2612.40 - 2500.00 = 112.40
    assert "2612.40 would be owed, 112.40 more than the limit of 2500.00" in str(
        refused.value
    )
    check_credit(limit, limit)
    check_credit(owed, None)
    check_credit(owed, limit, despite=PAT)
    with pytest.raises(OverCreditError):
        check_credit(owed, limit, despite=Override("Pat", ""))


@pytest.mark.parametrize(
    "order", [None, *(state for state in OrderState if state != OrderState.COLLECTED)]
)
def test_a_deposit_may_be_taken_from_the_first_save_until_the_heads_are_collected(
    order,
):
    check_deposit(order, taxed_on_receipt=False)
    with pytest.raises(DepositTaxedError, match="invoice for the deposit comes first"):
        check_deposit(order, taxed_on_receipt=True)


@pytest.mark.parametrize("taxed", [False, True])
def test_money_for_what_is_collected_is_no_deposit(taxed):
    with pytest.raises(DepositTooLateError, match="payment, no deposit"):
        check_deposit(OrderState.COLLECTED, taxed_on_receipt=taxed)
