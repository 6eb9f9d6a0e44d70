"""The life of a quote and of a work order: the one place for what may change when.

Pure. States are said in the words of contract law (draft, offered, accepted, declined,
lapsed) and of the shop (booked in, on the bench, ready, collected, condemned). What a
work order waits for stands beside its state, not in it. Of every enumeration here the
value is both the code that is stored and the English that is read.

A rule of the house gives way to an ``Override``: the owner's, by name and with a
reason. One without either counts as none.
"""

from collections.abc import Collection, Mapping
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Generic, NamedTuple, TypeVar

from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Override


class QuoteState(StrEnum):
    """How far an offer is."""

    DRAFT = "draft"
    OFFERED = "offered"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    LAPSED = "lapsed"


class QuoteMove(StrEnum):
    """What can happen to an offer."""

    EDIT = "edit"
    OFFER = "offer"
    ACCEPT = "accept"
    DECLINE = "decline"
    LAPSE = "lapse"
    REVISE = "revise"
    TAKE_BACK = "take the yes back"


class OrderState(StrEnum):
    """How far the work is; before the heads are booked in there is None."""

    BOOKED_IN = "booked in"
    ON_THE_BENCH = "on the bench"
    READY = "ready"
    COLLECTED = "collected"
    CONDEMNED = "condemned"


class OrderMove(StrEnum):
    """What can happen to a work order."""

    BOOK_IN = "book in"
    START = "start"
    MAKE_READY = "make ready"
    BACK_TO_THE_BENCH = "back to the bench"
    CONDEMN = "condemn"
    TELL = "tell"
    COLLECT = "hand over"
    REOPEN = "reopen"


class WaitsFor(StrEnum):
    """What a work order may wait for."""

    YES = "a yes"
    PARTS = "parts"
    OUTWORK = "outwork"
    MACHINE = "a machine"
    CUSTOMER = "the customer"
    PAYMENT = "payment"
    COLLECTION = "collection"


class Part(StrEnum):
    """What of a quote or work order may change while it is in a state."""

    WORK = "work and prices"
    CUSTOMER = "customer"
    REFERENCES = "order number, registration and engine"
    CALL_BACK = "day to call back"
    HEADS = "heads and what came with them"
    AUTHORITY = "how far without asking"
    PROMISED = "promised day"
    WAITS = "what it waits for"
    STANDS = "where it stands"
    READINGS = "readings and findings"
    MINUTES = "minutes"


OWNER, COUNTER, BENCH = "owner", "counter", "bench"


class IllegalMoveError(RuleError):
    """Something cannot happen in this state; nothing was changed."""

    message = translatable("You cannot {move}: the {what} is {state}. {mend}")


class HeadsGoOnError(RuleError):
    """A work order is condemned only when all its heads are."""

    message = translatable(
        "Head {tags} goes on, so the work order is not condemned: condemn the head."
    )


_From = TypeVar("_From")
_To = TypeVar("_To")


class Rule(NamedTuple, Generic[_From, _To]):
    """What one move does, who may make it, and what it takes.

    Attributes:
        says: the move as a sentence has it: you cannot ...
        leads: from each state that it starts in to the one it ends in.
        despite: likewise, where a rule of the house has to be set aside.
        mend: of every other state, what to do instead.
        may: roles that may make it; the owner always may, and alone sets rules aside.
        needs: what has to be on record with it; empty: nothing more.
    """

    says: str
    leads: Mapping[_From, _To]
    mend: Mapping[_From, str]
    may: frozenset[str]
    despite: Mapping[_From, _To] = {}
    needs: str = ""


_Q = QuoteState
_AT_THE_COUNTER = frozenset((OWNER, COUNTER))
_OFFER_FIRST = translatable("Offer it first.")
_REVISE_FIRST = translatable("Make a new revision first.")
_REVISE_INSTEAD = translatable("A change is a new revision.")
_IS_SO = translatable("Nothing is left to do.")
_NO_YES = translatable("There is no yes on record.")
_YES_STANDS = translatable(
    "If the yes was no yes, the owner can take it back, by name and with a reason."
)

#: What can happen to a quote. A revision of an accepted quote leaves it accepted: what
#: was said yes to stays so until there is another yes.
QUOTE_RULES: Mapping[QuoteMove, Rule[QuoteState, QuoteState]] = {
    QuoteMove.EDIT: Rule(
        translatable("edit the quote"),
        leads={_Q.DRAFT: _Q.DRAFT},
        mend=dict.fromkeys(set(_Q) - {_Q.DRAFT}, _REVISE_INSTEAD),
        may=_AT_THE_COUNTER,
    ),
    QuoteMove.OFFER: Rule(
        translatable("offer the quote"),
        leads={_Q.DRAFT: _Q.OFFERED},
        mend={
            _Q.OFFERED: _REVISE_INSTEAD,
            _Q.ACCEPTED: _REVISE_INSTEAD,
            _Q.DECLINED: _REVISE_FIRST,
            _Q.LAPSED: _REVISE_FIRST,
        },
        may=_AT_THE_COUNTER,
        needs=translatable("one to three priced alternatives and the last day"),
    ),
    QuoteMove.ACCEPT: Rule(
        translatable("accept the quote"),
        leads={_Q.OFFERED: _Q.ACCEPTED, _Q.ACCEPTED: _Q.ACCEPTED},
        despite={_Q.LAPSED: _Q.ACCEPTED},
        mend={
            _Q.DRAFT: _OFFER_FIRST,
            _Q.DECLINED: _REVISE_FIRST,
            _Q.LAPSED: translatable(
                "Make a new revision first, or let the owner accept it as it is, by "
                "name and with a reason."
            ),
        },
        may=_AT_THE_COUNTER,
        needs=translatable("who said yes, how and when, and to which alternative"),
    ),
    QuoteMove.DECLINE: Rule(
        translatable("decline the quote"),
        leads={_Q.OFFERED: _Q.DECLINED, _Q.LAPSED: _Q.DECLINED},
        mend={
            _Q.DRAFT: _OFFER_FIRST,
            _Q.ACCEPTED: _YES_STANDS,
            _Q.DECLINED: _IS_SO,
        },
        may=_AT_THE_COUNTER,
    ),
    QuoteMove.LAPSE: Rule(
        translatable("let the quote lapse"),
        leads={_Q.OFFERED: _Q.LAPSED},
        mend={
            _Q.DRAFT: translatable("What was never offered does not lapse."),
            _Q.ACCEPTED: _YES_STANDS,
            _Q.DECLINED: _IS_SO,
            _Q.LAPSED: _IS_SO,
        },
        may=_AT_THE_COUNTER,
    ),
    QuoteMove.REVISE: Rule(
        translatable("revise the quote"),
        leads={
            _Q.DRAFT: _Q.DRAFT,
            _Q.OFFERED: _Q.OFFERED,
            _Q.ACCEPTED: _Q.ACCEPTED,
            _Q.DECLINED: _Q.OFFERED,
            _Q.LAPSED: _Q.OFFERED,
        },
        mend={},
        may=_AT_THE_COUNTER,
    ),
    QuoteMove.TAKE_BACK: Rule(
        translatable("take the yes back"),
        leads={},
        despite={_Q.ACCEPTED: _Q.OFFERED},
        mend={
            **dict.fromkeys(set(_Q) - {_Q.ACCEPTED}, _NO_YES),
            _Q.ACCEPTED: translatable(
                "Only the owner can, by name and with a reason, and before the heads "
                "are booked in."
            ),
        },
        may=frozenset((OWNER,)),
        needs=translatable("why the yes does not count; no heads booked in for it"),
    ),
}

_O = OrderState
_AT_THE_BENCH = frozenset((OWNER, BENCH, COUNTER))
_BOOK_IN_FIRST = translatable("Book the heads in first.")
_BACK_FIRST = translatable("Take it back to the bench first.")
_REOPEN_FIRST = translatable(
    "The owner can reopen it, by name and with a reason; a comeback is a new job."
)
_NOT_TOLD = translatable("Make it ready first.")
_AS_IT_IS = translatable(
    "Make it ready first, or let the owner hand it over as it is, by name and with a "
    "reason."
)
_IS_HERE = translatable("The heads are here already.")
_STILL_HERE = translatable("The heads were never handed over.")

#: What can happen to a work order.
ORDER_RULES: Mapping[OrderMove, Rule[OrderState | None, OrderState]] = {
    OrderMove.BOOK_IN: Rule(
        translatable("book the heads in"),
        leads={None: _O.BOOKED_IN},
        mend={
            **dict.fromkeys(set(_O), _IS_HERE),
            _O.COLLECTED: _REOPEN_FIRST,
        },
        may=_AT_THE_COUNTER,
        needs=translatable("a yes on record, whose heads they are, a tag for each"),
    ),
    OrderMove.START: Rule(
        translatable("start the work"),
        leads={_O.BOOKED_IN: _O.ON_THE_BENCH},
        mend={
            None: _BOOK_IN_FIRST,
            _O.ON_THE_BENCH: _IS_SO,
            _O.READY: _BACK_FIRST,
            _O.COLLECTED: _REOPEN_FIRST,
            _O.CONDEMNED: _BACK_FIRST,
        },
        may=_AT_THE_BENCH,
    ),
    OrderMove.MAKE_READY: Rule(
        translatable("make the work order ready"),
        leads={_O.BOOKED_IN: _O.READY, _O.ON_THE_BENCH: _O.READY},
        mend={
            None: _BOOK_IN_FIRST,
            _O.READY: _IS_SO,
            _O.COLLECTED: _REOPEN_FIRST,
            _O.CONDEMNED: _BACK_FIRST,
        },
        may=_AT_THE_BENCH,
    ),
    OrderMove.BACK_TO_THE_BENCH: Rule(
        translatable("take the work back to the bench"),
        leads={_O.READY: _O.ON_THE_BENCH, _O.CONDEMNED: _O.ON_THE_BENCH},
        mend={
            None: _BOOK_IN_FIRST,
            _O.BOOKED_IN: translatable("Start it instead."),
            _O.ON_THE_BENCH: _IS_SO,
            _O.COLLECTED: _REOPEN_FIRST,
        },
        may=_AT_THE_BENCH,
        needs=translatable("of a condemned work order, a head that goes on after all"),
    ),
    OrderMove.CONDEMN: Rule(
        translatable("condemn the work order"),
        leads=dict.fromkeys((_O.BOOKED_IN, _O.ON_THE_BENCH, _O.READY), _O.CONDEMNED),
        mend={
            None: _BOOK_IN_FIRST,
            _O.COLLECTED: _REOPEN_FIRST,
            _O.CONDEMNED: _IS_SO,
        },
        may=_AT_THE_BENCH,
        needs=translatable("that all its heads are condemned"),
    ),
    OrderMove.TELL: Rule(
        translatable("tell the customer that the heads can be collected"),
        leads={_O.READY: _O.READY, _O.CONDEMNED: _O.CONDEMNED},
        mend={
            None: _BOOK_IN_FIRST,
            _O.BOOKED_IN: _NOT_TOLD,
            _O.ON_THE_BENCH: _NOT_TOLD,
            _O.COLLECTED: _REOPEN_FIRST,
        },
        may=_AT_THE_COUNTER,
    ),
    OrderMove.COLLECT: Rule(
        translatable("hand the heads over"),
        leads={_O.READY: _O.COLLECTED, _O.CONDEMNED: _O.COLLECTED},
        despite={_O.BOOKED_IN: _O.COLLECTED, _O.ON_THE_BENCH: _O.COLLECTED},
        mend={
            None: _BOOK_IN_FIRST,
            _O.BOOKED_IN: _AS_IT_IS,
            _O.ON_THE_BENCH: _AS_IT_IS,
            _O.COLLECTED: _REOPEN_FIRST,
        },
        may=_AT_THE_COUNTER,
        needs=translatable("who took the heads away"),
    ),
    OrderMove.REOPEN: Rule(
        translatable("reopen the work order"),
        leads={},
        despite={_O.COLLECTED: _O.READY},
        mend={
            **dict.fromkeys(set(_O) - {_O.COLLECTED}, _STILL_HERE),
            None: _BOOK_IN_FIRST,
            _O.COLLECTED: _REOPEN_FIRST,
        },
        may=frozenset((OWNER,)),
        needs=translatable("why it was not collected after all"),
    ),
}


def next_state(
    state: QuoteState, move: QuoteMove, *, despite: Override | None = None
) -> QuoteState:
    """Return the state of a quote after a move.

    Args:
        state: now; a quote whose last day is over counts as lapsed.
        move: what happens.
        despite: who sets a rule of the house aside, and why.

    Raises:
        IllegalMoveError: the move is not possible in this state.

    >>> next_state(QuoteState.OFFERED, QuoteMove.ACCEPT)
    <QuoteState.ACCEPTED: 'accepted'>
    """
    return _moved("quote", state, QUOTE_RULES[move], despite)


def next_order_state(
    state: OrderState | None,
    move: OrderMove,
    *,
    condemned: Mapping[str, bool],
    despite: Override | None = None,
) -> OrderState:
    """Return the state of a work order after a move.

    Args:
        state: now; None before the heads are booked in.
        move: what happens.
        condemned: of each head by tag, whether it is condemned.
        despite: who sets a rule of the house aside, and why.

    Raises:
        IllegalMoveError: the move is not possible in this state.
        HeadsGoOnError: the order is to be condemned while a head goes on.
    """
    rule = ORDER_RULES[move]
    after = _moved("work order", state, rule, despite)
    all_condemned = bool(condemned) and all(condemned.values())
    match move:
        case OrderMove.CONDEMN if not all_condemned:
            if going_on := [tag for tag, is_so in condemned.items() if not is_so]:
                raise HeadsGoOnError(tags=", ".join(going_on))
            raise _illegal("work order", state, rule, _NO_HEADS)
        case OrderMove.MAKE_READY if all_condemned:
            raise _illegal("work order", state, rule, _CONDEMN_INSTEAD)
        case OrderMove.BACK_TO_THE_BENCH if all_condemned:
            raise _illegal("work order", state, rule, _SOUND_FIRST)
        case OrderMove.REOPEN if all_condemned:
            return OrderState.CONDEMNED
    return after


_NO_HEADS = translatable("No head came that could be condemned.")
_CONDEMN_INSTEAD = translatable(
    "All its heads are condemned: condemn the work order instead."
)
_SOUND_FIRST = translatable(
    "All its heads are condemned: write down first which of them goes on."
)


def _moved(
    what: str, state: _From, rule: Rule[_From, _To], despite: Override | None
) -> _To:
    if state in rule.leads:
        return rule.leads[state]
    if state in rule.despite and sets_aside(despite):
        return rule.despite[state]
    raise _illegal(what, state, rule, rule.mend[state])


def _illegal(
    what: str, state: object, rule: Rule[_From, _To], mend: str
) -> IllegalMoveError:
    said = "not here yet" if state is None else state
    return IllegalMoveError(what=what, state=said, move=rule.says, mend=mend)


def sets_aside(despite: Override | None) -> bool:
    """Tell whether somebody sets a rule of the house aside, by name and with a reason.

    >>> sets_aside(Override("Pat", "")), sets_aside(Override("Pat", "a regular"))
    (False, True)
    """
    return despite is not None and bool(despite.by.strip() and despite.reason.strip())


def moves_of_quote(state: QuoteState) -> tuple[QuoteMove, ...]:
    """Return what may happen to a quote in this state without an override."""
    return tuple(move for move, rule in QUOTE_RULES.items() if state in rule.leads)


def moves_of_order(state: OrderState | None) -> tuple[OrderMove, ...]:
    """Return what may happen to a work order in this state without an override."""
    return tuple(move for move, rule in ORDER_RULES.items() if state in rule.leads)


def may(
    roles: Collection[str], move: QuoteMove | OrderMove, *, despite: bool = False
) -> bool:
    """Tell whether somebody who holds *roles* may make a move.

    Args:
        roles: of owner, counter, bench and accounts.
        move: of a quote or a work order.
        despite: a rule of the house has to be set aside for it, which the owner does.

    >>> may({"bench"}, OrderMove.START), may({"bench"}, OrderMove.COLLECT)
    (True, False)
    """
    if OWNER in roles:
        return True
    rule = QUOTE_RULES[move] if isinstance(move, QuoteMove) else ORDER_RULES[move]
    return not despite and not rule.may.isdisjoint(roles)


def lapsed_on(valid_until: date, on: date) -> bool:
    """Tell whether an offer no longer holds on a day; the last day still counts.

    >>> lapsed_on(date(2026, 12, 25), date(2026, 12, 25))
    False
    """
    return on > valid_until


def state_of_offer(kept: QuoteState, valid_until: date, on: date) -> QuoteState:
    """Return how far an offer is on a day: one that no longer holds has lapsed.

    Nothing is written when the last day is over; the day alone decides.

    Args:
        kept: how far it is by what was written down of it.
        valid_until: its last day.
        on: the day.

    >>> state_of_offer(QuoteState.OFFERED, date(2026, 12, 25), date(2026, 12, 26)).value
    'lapsed'
    """
    if kept is QuoteState.OFFERED and lapsed_on(valid_until, on):
        return QuoteState.LAPSED
    return kept


_Edition = TypeVar("_Edition")


def edition_for_revision(
    state: QuoteState, kept: _Edition, current: _Edition
) -> _Edition:
    """Return the edition that a revision is priced by, or its key.

    What is accepted keeps the edition it was accepted by, for old and new lines; any
    other quote takes the one of the day.
    """
    return kept if state is QuoteState.ACCEPTED else current


_PRICED = frozenset((Part.WORK, Part.CUSTOMER, Part.REFERENCES, Part.CALL_BACK))
_OFFERED = _PRICED - {Part.WORK}
_IN_THE_SHOP = frozenset(
    (
        Part.REFERENCES,
        Part.HEADS,
        Part.AUTHORITY,
        Part.PROMISED,
        Part.WAITS,
        Part.STANDS,
        Part.READINGS,
        Part.MINUTES,
    )
)
_EDITABLE: Mapping[QuoteState | OrderState, frozenset[Part]] = {
    QuoteState.DRAFT: _PRICED,
    QuoteState.OFFERED: _OFFERED,
    QuoteState.ACCEPTED: frozenset((Part.CUSTOMER, Part.REFERENCES)),
    QuoteState.DECLINED: _OFFERED,
    QuoteState.LAPSED: _OFFERED,
    OrderState.BOOKED_IN: _IN_THE_SHOP,
    OrderState.ON_THE_BENCH: _IN_THE_SHOP,
    OrderState.READY: _IN_THE_SHOP - {Part.AUTHORITY},
    OrderState.CONDEMNED: _IN_THE_SHOP - {Part.AUTHORITY, Part.PROMISED},
    OrderState.COLLECTED: frozenset((Part.MINUTES,)),
}


def editable(state: QuoteState | OrderState) -> frozenset[Part]:
    """Return what may be changed without a new revision while the state lasts.

    Minutes may come in late, at the end of the day on which the heads were collected.

    >>> Part.WORK in editable(QuoteState.OFFERED)
    False
    """
    return _EDITABLE[state]


def heads_may_change(state: OrderState) -> bool:
    """Tell whether what is written down of the heads may still change."""
    return Part.HEADS in editable(state)


# Rules of the house beside the states.


class GateError(RuleError):
    """Work after a test may not start before its result."""

    message = translatable(
        "{step} comes after {gate}, which has no result yet. Write the result down "
        "first, or let the owner go on without it, by name and with a reason."
    )


def check_gate(
    *, gate: str, step: str, passed: bool, despite: Override | None = None
) -> None:
    """Refuse work that comes after a test which the head has not passed yet.

    Args:
        gate: name of the test.
        step: name of the work.
        passed: whether the head has passed it.
        despite: who goes past the gate, and why.

    Raises:
        GateError: it has not, and nobody sets the rule aside.
    """
    if not passed and not sets_aside(despite):
        raise GateError(gate=gate, step=step)


class OverCreditError(RuleError):
    """With these heads the customer would owe more than agreed."""

    message = translatable(
        "{owed} would be owed, {over} more than the limit of {limit}. Take a payment "
        "first, or let the owner release the heads, by name and with a reason."
    )


def check_credit(
    owed: Decimal, limit: Decimal | None, *, despite: Override | None = None
) -> None:
    """Refuse to release heads where too much would be owed.

    Args:
        owed: with these heads, tax included, in the shop's currency.
        limit: of the customer's terms; None: no limit was agreed.
        despite: who releases them all the same, and why.

    Raises:
        OverCreditError: more than the limit, and nobody sets the rule aside.
    """
    if limit is not None and owed > limit and not sets_aside(despite):
        raise OverCreditError(owed=owed, limit=limit, over=owed - limit)


class DepositTooLateError(RuleError):
    """A deposit was to be taken for what is handed over."""

    message = translatable("The heads are collected: this is a payment, no deposit.")


class DepositTaxedError(RuleError):
    """Tax falls due when a deposit is received, so it needs an invoice."""

    message = translatable(
        "Where this shop is, tax falls due when a deposit is received, so the "
        "invoice for the deposit comes first. Nothing was taken."
    )


def check_deposit(order: OrderState | None, *, taxed_on_receipt: bool) -> None:
    """Refuse a deposit that may not be taken; from the first save one may.

    Args:
        order: state of the work order; None before the heads are booked in.
        taxed_on_receipt: whether tax falls due when a deposit is received.

    Raises:
        DepositTooLateError: the heads are collected.
        DepositTaxedError: tax falls due on receipt.
    """
    if order is OrderState.COLLECTED:
        raise DepositTooLateError
    if taxed_on_receipt:
        raise DepositTaxedError
