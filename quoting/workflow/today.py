"""Every morning: whom to ring, what waits, what is ready and not told, uncollected."""

from datetime import date, timedelta
from typing import NamedTuple

from sqlalchemy import or_, select
from sqlalchemy.orm import Session, joinedload

from quoting.domain.life import OrderState, QuoteState
from quoting.store.models import Order, Quote

#: Days after which heads that are ready and told count as uncollected
#: (common practice, no source; what may be done with them is for local law).
UNCOLLECTED_AFTER = 14
_MOST = 50


class Today(NamedTuple):
    """What the counter should look at, each list with the oldest first.

    Attributes:
        to_call: quotes whose caller is to be rung back by today; one that lapsed since
            only where the day was set for after it.
        came: accepted quotes whose heads are not here yet, sales left out.
        waiting: work orders that wait for something.
        working: work orders in the shop that wait for nothing, by promised day.
        ready: work orders that are ready and nobody was told.
        uncollected: told a while ago and still here.
    """

    to_call: list[Quote]
    came: list[Quote]
    waiting: list[Order]
    working: list[Order]
    ready: list[Order]
    uncollected: list[Order]


def today(session: Session, on: date) -> Today:
    """Return what the counter should look at on a day; at most 50 of each."""
    quotes = select(Quote).options(joinedload(Quote.customer)).limit(_MOST)
    orders = (
        select(Order)
        .options(
            joinedload(Order.customer), joinedload(Order.quote), joinedload(Order.heads)
        )
        .limit(_MOST)
    )
    here = Order.state.in_((OrderState.BOOKED_IN, OrderState.ON_THE_BENCH))
    done = Order.state.in_((OrderState.READY, OrderState.CONDEMNED))
    return Today(
        to_call=list(
            session.scalars(
                quotes.where(
                    Quote.call_back <= on,
                    Quote.state.in_((QuoteState.OFFERED, QuoteState.DRAFT)),
                    or_(
                        Quote.state == QuoteState.DRAFT,
                        Quote.valid_until >= on,
                        Quote.valid_until < Quote.call_back,
                    ),
                ).order_by(Quote.call_back, Quote.id)
            )
        ),
        came=list(
            session.scalars(
                quotes.outerjoin(Order, Order.quote_id == Quote.id)
                .where(
                    Quote.state == QuoteState.ACCEPTED,
                    Order.id.is_(None),
                    Quote.over_the_counter.is_(False),
                )
                .order_by(Quote.on, Quote.id)
            )
        ),
        waiting=_unique(
            session,
            orders.where(here, Order.waits_for != "").order_by(Order.waits_since),
        ),
        working=_unique(
            session,
            orders.where(here, Order.waits_for == "").order_by(
                Order.promised.is_(None), Order.promised, Order.id
            ),
        ),
        ready=_unique(
            session, orders.where(done, Order.told.is_(None)).order_by(Order.ready)
        ),
        uncollected=_unique(
            session,
            orders.where(
                done, Order.told <= on - timedelta(days=UNCOLLECTED_AFTER)
            ).order_by(Order.told),
        ),
    )


def _unique(session: Session, query: object) -> list[Order]:
    return list(session.scalars(query).unique())  # type: ignore[call-overload]
