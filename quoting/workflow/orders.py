"""Work orders in the shop's records: from the heads on the counter to handing over.

A yes turns a quote into a work order when its heads are booked in. Functions take a
session of a transaction and never commit.
"""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload
from sqlalchemy.orm.attributes import flag_modified

from quoting.domain.consent import most_without_asking, on_basis
from quoting.domain.difference import Change, changes
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import at_the_bench
from quoting.domain.job import Override
from quoting.domain.life import (
    OrderMove,
    OrderState,
    WaitsFor,
    heads_may_change,
    next_order_state,
)
from quoting.domain.quote import Alternative, Customer
from quoting.domain.work_order import WorkOrder, work_order
from quoting.files import work_done
from quoting.store import database
from quoting.store.models import (
    Approval,
    Ask,
    Attempt,
    DepositTaken,
    Order,
    OrderHead,
    OrderStep,
    Photo,
    Quote,
    Way,
)
from quoting.workflow import numbers, quotes
from quoting.workflow.customers import (
    NoSuchRecordError,
    casting_key,
    known_head,
    remember_head,
)
from quoting.workflow.quotes import Now


class NoYesError(RuleError):
    """Heads cannot be booked in before there is a yes."""

    message = translatable(
        "{number} is not accepted yet: record the yes first, then book the heads in."
    )


class AlreadyBookedInError(RuleError):
    """The heads of a quote are here already."""

    message = translatable("{number} is booked in already, as {order}.")


class WhoseHeadsError(RuleError):
    """Heads stay here only if it is known whose they are."""

    message = translatable(
        "{number} names no customer: write down whose heads they are first."
    )


class HandedOverError(RuleError):
    """Heads that were handed over are written down anew."""

    message = translatable(
        "{number} is collected: what came with its heads stays as it was written down."
    )


class NoSuchHeadError(RuleError):
    """A tag names no head of a work order."""

    message = translatable("{number} has no head {tag}.")


class ReasonMissingError(RuleError):
    """A head is condemned without a word why."""

    message = translatable("Say why head {tag} is condemned: it stands on the papers.")


class Changed(NamedTuple):
    """What the latest revision changes beside what was said yes to.

    Attributes:
        agreed: the yes that counts.
        edition: that the latest revision is priced by.
        before: what was said yes to.
        after: the same alternative now, or else the one that leads.
        lines: every line before and after.
    """

    agreed: Approval
    edition: Edition
    before: Alternative
    after: Alternative
    lines: tuple[Change, ...]


class Reach(NamedTuple):
    """How far the work may go without asking, and how far what is offered now goes.

    Attributes:
        limit: the most that may be charged on the yes that counts.
        comes_to: what the latest revision comes to, on the same basis.
        before_tax: both are before tax; else with it.
    """

    limit: Decimal
    comes_to: Decimal
    before_tax: bool

    @property
    def over(self) -> Decimal:
        """Return by how much it needs another yes; 0: it needs none."""
        return max(self.comes_to - self.limit, Decimal(0))


class HeadCame(NamedTuple):
    """What is written down of one head when it is booked in."""

    tag: str
    condition: str = ""
    came_with: str = ""
    remarks: str = ""
    stands: str = ""
    casting: str = ""


class BookedIn(NamedTuple):
    """What is written down of an order when its heads are booked in.

    Attributes:
        up_to: what may be spent without asking, in the smallest unit.
        batch: what several orders that came off one van share.
    """

    heads: Sequence[HeadCame] = ()
    promised: date | None = None
    up_to: int | None = None
    second_contact: str = ""
    batch: str = ""


def book_in(session: Session, quote: Quote, came: BookedIn, now: Now) -> Order:
    """Turn an accepted quote into a work order with its heads and route card.

    Raises:
        NoYesError: no yes is on record.
        AlreadyBookedInError: there is a work order.
        WhoseHeadsError: the quote names no customer.
    """
    if quote.order is not None:
        raise AlreadyBookedInError(number=quote.number, order=quote.order.number)
    approval = latest_yes(session, quote)
    if approval is None:
        raise NoYesError(number=quote.number)
    if quote.customer_id is None:
        raise WhoseHeadsError(number=quote.number)
    revision = approval.way.revision
    edition = quotes.edition_of(session, revision)
    way = quotes.alternative(edition, approval.way, revision.on)
    number = numbers.take(session, "order", now.on)
    order = Order(
        number=number,
        quote=quote,
        way_id=approval.way_id,
        customer_id=quote.customer_id,
        state=OrderState.BOOKED_IN,
        batch=came.batch,
        booked=now.at,
        on=now.on,
        promised=came.promised or revision.ready,
        up_to=came.up_to,
        second_contact=came.second_contact,
        heads=_heads(session, way, came.heads),
        steps=_steps(edition, way, number, now.on),
        work=_work(edition, way),
    )
    session.add(order)
    quote.casting = quote.casting or next((h.casting for h in order.heads), "")
    session.flush()
    quotes.find_by(session, quote)
    tags = ", ".join(head.tag for head in order.heads)
    _note(session, order, now, "booked in", new=f"heads {tags}; {quote.number}")
    return order


def _heads(
    session: Session, way: Alternative, came: Sequence[HeadCame]
) -> list[OrderHead]:
    told = {head.tag: head for head in came}
    rows = []
    for head in way.job.heads:
        written = told.get(head.tag, HeadCame(head.tag))
        known = known_head(session, written.casting)
        if known is None and casting_key(written.casting):
            layout = head.layout.code
            known = remember_head(session, written.casting, layout=layout)
        rows.append(
            OrderHead(
                tag=head.tag,
                label=head.label,
                layout=head.layout.name,
                casting=casting_key(written.casting),
                known_head_id=known.id if known else None,
                condition=written.condition or ", ".join(sorted(head.condition)),
                came_with=written.came_with,
                remarks=written.remarks,
                stands=written.stands,
            )
        )
    return rows


def _steps(
    edition: Edition, way: Alternative, number: str, on: date
) -> list[OrderStep]:
    heads = way.job.heads
    order = work_order(
        edition,
        way.job,
        way.priced,
        number=number,
        on=on,
        customer=Customer(),
    )
    return [
        OrderStep(
            place=step.number,
            operation=step.operation.code,
            phase=step.phase,
            centre=step.centre.code,
            minutes=f"{step.minutes:f}",
            positions=" ".join(
                at_the_bench(position, heads)
                for place in step.places
                for position in place.positions
            ),
            gate=step.gate,
        )
        for step in order.steps
    ]


def _work(edition: Edition, way: Alternative) -> str:
    return work_done.write(work_done.work_done(edition, way.job, way.priced))


def agree_again(session: Session, order: Order, now: Now) -> None:
    """Let a work order follow a new yes: its route and its limit; it waits no longer.

    A step that is still to be done stays the row it was, at its new place.
    """
    approval = latest_yes(session, order.quote)
    if approval is None or order.state == OrderState.COLLECTED:
        return
    edition, _, way = on_paper(session, order)
    kept: dict[tuple[str, str], list[OrderStep]] = {}
    for step in order.steps:
        step.place = -step.place  # makes room: two steps never have the same place
        kept.setdefault((step.operation, step.phase), []).append(step)
    session.flush()
    steps = []
    for fresh in _steps(edition, way, order.number, order.on):
        same = kept.get((fresh.operation, fresh.phase))
        steps.append(_moved(same.pop(0), fresh) if same else fresh)
    for gone in (step for rows in kept.values() for step in rows):
        session.delete(gone)
    order.steps, order.work = steps, _work(edition, way)
    order.way_id = approval.way_id
    if order.up_to is not None:
        order.up_to = max(order.up_to, approval.up_to)
    if order.waits_for == WaitsFor.YES:
        order.waits_for, order.waits_since, order.next_step = "", None, ""
    flag_modified(order, "state")
    session.flush()
    new = ", ".join(step.operation for step in steps)
    _note(session, order, now, "follows the new yes", new=new)


def _moved(step: OrderStep, fresh: OrderStep) -> OrderStep:
    for name in ("place", "centre", "minutes", "positions", "gate"):
        setattr(step, name, getattr(fresh, name))
    return step


# Reading.


def order_of(session: Session, order_id: int) -> Order:
    """Return a work order by key, with its heads, steps and quote.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.scalar(
        select(Order)
        .where(Order.id == order_id)
        .options(
            joinedload(Order.customer),
            joinedload(Order.quote),
            selectinload(Order.heads),
            selectinload(Order.steps),
        )
    )
    if row is None:
        raise NoSuchRecordError(what="work order", key=order_id)
    return row


def order_called(session: Session, number: str) -> Order:
    """Return a work order by its number, as a tag has it.

    Raises:
        NoSuchRecordError: there is none.
    """
    key = session.scalar(select(Order.id).where(Order.number == number.upper()))
    if key is None:
        raise NoSuchRecordError(what="work order", key=number)
    return order_of(session, key)


def latest_yes(session: Session, quote: Quote) -> Approval | None:
    """Return the yes that counts: the last one on record."""
    return session.scalar(
        select(Approval)
        .where(Approval.quote_id == quote.id)
        .order_by(Approval.id.desc())
        .limit(1)
        .options(joinedload(Approval.way).joinedload(Way.revision))
    )


def on_paper(session: Session, order: Order) -> tuple[Edition, WorkOrder, Alternative]:
    """Return a work order as its paper takes it, of what was last said yes to."""
    approval = latest_yes(session, order.quote)
    if approval is None:
        raise NoYesError(number=order.quote.number)
    revision = approval.way.revision
    edition = quotes.edition_of(session, revision)
    way = quotes.alternative(edition, approval.way, revision.on)
    return (
        edition,
        work_order(
            edition,
            way.job,
            way.priced,
            number=order.number,
            on=order.on,
            customer=quotes.on_paper(order.quote),
            promised=order.promised,
        ),
        way,
    )


def changed_since_yes(session: Session, quote: Quote) -> Changed | None:
    """Return what the latest revision changes beside what was said yes to.

    None where nothing is on record, or nothing was saved since.
    """
    agreed = latest_yes(session, quote)
    latest = quote.revisions[-1]
    if agreed is None or agreed.way.revision_id == latest.id:
        return None
    then = agreed.way.revision
    before = quotes.alternative(quotes.edition_of(session, then), agreed.way, then.on)
    way = next((w for w in latest.ways if w.place == agreed.way.place), latest.ways[0])
    edition = quotes.edition_of(session, latest)
    after = quotes.alternative(edition, way, latest.on)
    lines = changes(before.priced, after.priced)
    return Changed(agreed, edition, before, after, lines)


def without_asking(
    quote: Quote, agreed: Approval, edition: Edition, way: Alternative
) -> Decimal:
    """Return the most that may be charged on a yes, as the shop's rule compares it.

    The shop's rule is the row of its ceilings; the customer's terms take its place or
    narrow it, and what the customer said may be spent without asking, for this job or
    else for every job of theirs, goes before both.

    Args:
        quote: what it is about.
        agreed: the yes.
        edition: that the way was priced by.
        way: what was said yes to.
    """
    money, unit = edition.currency.from_minor, edition.currency.unit
    told = way.priced.totals
    standing = quote.order.up_to if quote.order else None
    if standing is None and quote.customer is not None:
        standing = quote.customer.up_to

    def compared(minor: int) -> Decimal:
        return on_basis(
            money(minor), edition.ceiling, net=told.net, total=told.total, unit=unit
        )

    return most_without_asking(
        compared(agreed.up_to),
        edition.ceiling,
        None if standing is None else compared(standing),
        way.job.terms or edition.terms[edition.shop.terms],
        unit=unit,
    )


def reach(session: Session, quote: Quote) -> Reach | None:
    """Return how far the work may go on the last yes; None where nothing is on record.

    How far that is: ``without_asking``.
    """
    agreed = latest_yes(session, quote)
    if agreed is None:
        return None
    changed = changed_since_yes(session, quote)
    then = agreed.way.revision
    edition = quotes.edition_of(session, then)
    if changed is None:
        before = after = quotes.alternative(edition, agreed.way, then.on)
    else:
        before, after = changed.before, changed.after
    ceiling = edition.ceiling
    limit = without_asking(quote, agreed, edition, before)
    before_tax = ceiling is not None and ceiling.basis == "pre_tax"
    totals = after.priced.totals
    return Reach(limit, totals.net if before_tax else totals.total, before_tax)


def deposits(session: Session, quote: Quote) -> list[DepositTaken]:
    """Return the money taken for a quote, the oldest first."""
    return list(
        session.scalars(
            select(DepositTaken)
            .where(DepositTaken.quote_id == quote.id)
            .order_by(DepositTaken.id)
        )
    )


def attempts(session: Session, quote: Quote) -> list[Attempt]:
    """Return who tried to reach the customer, the latest first."""
    return list(
        session.scalars(
            select(Attempt)
            .where(Attempt.quote_id == quote.id)
            .order_by(Attempt.id.desc())
        )
    )


def photos(session: Session, order: Order) -> list[Photo]:
    """Return the photos of an order without their bytes, the oldest first."""
    return list(
        session.scalars(
            select(Photo).where(Photo.order_id == order.id).order_by(Photo.id)
        )
    )


def asks(session: Session, order: Order) -> list[Ask]:
    """Return the messages that asked for a yes, the latest first."""
    return list(
        session.scalars(
            select(Ask).where(Ask.order_id == order.id).order_by(Ask.id.desc())
        )
    )


# What happens to an order.


def move(
    session: Session,
    order: Order,
    version: int,
    step: OrderMove,
    now: Now,
    *,
    collected_by: str = "",
    despite: Override | None = None,
) -> None:
    """Move a work order on: start it, make it ready, tell, hand over, condemn, reopen.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
        IllegalMoveError: an order in this state does not move so.
    """
    _unchanged(order, version)
    heads = {head.tag: head.condemned for head in order.heads}
    old = order.state
    order.state = next_order_state(
        OrderState(order.state), step, condemned=heads, despite=despite
    )
    match step:
        case OrderMove.MAKE_READY:
            order.ready = now.on
            _set_waiting(order, WaitsFor.COLLECTION, now.on, "")
        case OrderMove.TELL:
            order.told = now.on
        case OrderMove.COLLECT:
            order.collected, order.collected_by = now.on, collected_by
            order.waits_for, order.waits_since, order.next_step = "", None, ""
        case OrderMove.REOPEN:
            order.collected, order.collected_by = None, ""
        case _:
            pass
    session.flush()
    why = "" if despite is None else f"{despite.by}: {despite.reason}"
    _note(session, order, now, f"work order: {step}", old=old, new=order.state, why=why)


def wait(
    session: Session, order: Order, version: int, on: str, next_step: str, now: Now
) -> None:
    """Write down what a work order waits for; an empty text: nothing any more.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
        ValueError: no such thing is waited for.
    """
    _unchanged(order, version)
    old = order.waits_for
    if on:
        _set_waiting(order, WaitsFor(on), now.on, next_step)
    else:
        order.waits_for, order.waits_since, order.next_step = "", None, next_step
    session.flush()
    _note(session, order, now, "waits for", old=old, new=on, why=next_step)


def _set_waiting(order: Order, on: WaitsFor, since: date, next_step: str) -> None:
    if order.waits_for != on:
        order.waits_for, order.waits_since = on, since
    order.next_step = next_step


def promise(
    session: Session, order: Order, version: int, on: date | None, why: str, now: Now
) -> None:
    """Write down the day that the heads are promised for; None: no day.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
    """
    _unchanged(order, version)
    old = order.promised.isoformat() if order.promised else ""
    order.promised = on
    session.flush()
    new = on.isoformat() if on else ""
    _note(session, order, now, "promised for", old=old, new=new, why=why)


def put(
    session: Session, order: Order, version: int, heads: Sequence[HeadCame], now: Now
) -> None:
    """Write down anew what came with each head, its condition and where it stands.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
        HandedOverError: the heads are not here any more.
    """
    _unchanged(order, version)
    if not heads_may_change(OrderState(order.state)):
        raise HandedOverError(number=order.number)
    told = {head.tag: head for head in heads}
    for row in order.heads:
        if row.tag not in told:
            continue
        written = told[row.tag]
        known = known_head(session, written.casting)
        row.condition, row.came_with = written.condition, written.came_with
        row.remarks, row.stands = written.remarks, written.stands
        row.casting = casting_key(written.casting)
        row.known_head_id = known.id if known else None
    session.flush()
    new = "; ".join(f"{head.tag}: {head.stands}" for head in order.heads)
    _note(session, order, now, "heads written down", new=new)


def condemn_head(
    session: Session, order: Order, version: int, tag: str, why: str, now: Now
) -> None:
    """Condemn a head; with the last one that went on, the work order is condemned.

    Raises:
        ChangedMeanwhileError: the order was saved since *version*.
        HandedOverError: the heads are not here any more.
        NoSuchHeadError: there is no such head.
        ReasonMissingError: *why* is empty.
    """
    _unchanged(order, version)
    if not heads_may_change(OrderState(order.state)):
        raise HandedOverError(number=order.number)
    head = next((head for head in order.heads if head.tag == tag), None)
    if head is None:
        raise NoSuchHeadError(number=order.number, tag=tag)
    if not why.strip():
        raise ReasonMissingError(tag=tag)
    head.condemned = True
    session.flush()
    _note(session, order, now, "head condemned", new=f"head {tag}", why=why.strip())
    if all(head.condemned for head in order.heads):
        move(session, order, order.version, OrderMove.CONDEMN, now)


def try_to_reach(
    session: Session, quote: Quote, how: str, outcome: str, now: Now
) -> Attempt:
    """Log an attempt to reach the customer."""
    row = Attempt(
        quote_id=quote.id, at=now.at, by=now.who, how=how, outcome=outcome.strip()
    )
    session.add(row)
    session.flush()
    return row


def ask(
    session: Session,
    order: Order,
    text: str,
    now: Now,
    *,
    photo_id: int | None = None,
    reply_by: date | None = None,
) -> Ask:
    """Keep a message that asks for a yes to the latest revision; the order waits."""
    row = Ask(
        order_id=order.id,
        revision_id=order.quote.revisions[-1].id,
        text=text.strip(),
        photo_id=photo_id,
        reply_by=reply_by,
        sent=now.at,
        sent_by=now.who,
    )
    session.add(row)
    by = f"reply by {reply_by.isoformat()}" if reply_by else ""
    _set_waiting(order, WaitsFor.YES, now.on, by)
    session.flush()
    _note(session, order, now, "asked for a yes", new=text, why=by)
    return row


def keep_photo(
    session: Session,
    order: Order,
    image: bytes,
    size: tuple[int, int],
    now: Now,
    *,
    tag: str = "",
    caption: str = "",
) -> Photo:
    """Keep a photo that was re-encoded before; *size* is its width and height."""
    row = Photo(
        order_id=order.id,
        tag=tag,
        caption=caption,
        image=image,
        width=size[0],
        height=size[1],
        taken=now.at,
        taken_by=now.who,
    )
    session.add(row)
    session.flush()
    return row


def _unchanged(order: Order, version: int) -> None:
    if order.version != version:
        raise database.ChangedMeanwhileError
    # The version counts every change, one of what belongs to the order as well.
    flag_modified(order, "state")


def _note(session: Session, order: Order, now: Now, what: str, **told: str) -> None:
    quotes.note(session, "order", order.id, now, what, **told)


def since(day: datetime | date | None, on: date) -> int:
    """Return how many days ago something was; 0 where it is not known."""
    if day is None:
        return 0
    return (on - (day.date() if isinstance(day, datetime) else day)).days
