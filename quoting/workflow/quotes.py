"""Quotes in the shop's records: save, revise, accept, decline, and read again.

What is offered is kept as the job asked for, with the edition it was priced by, and as
the lines and sums that were told. Functions take a session of a transaction and never
commit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload
from sqlalchemy.orm.attributes import flag_modified

from quoting.domain.consent import Consent
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Job, Override
from quoting.domain.life import (
    QuoteMove,
    QuoteState,
    edition_for_revision,
    next_state,
    state_of_offer,
)
from quoting.domain.money import Currency
from quoting.domain.quote import (
    MOST_ALTERNATIVES,
    Alternative,
    holds_until,
    offer,
)
from quoting.domain.quote import Customer as OnPaper
from quoting.domain.quote import Quote as Offer
from quoting.files import job_document
from quoting.store import audit, database
from quoting.store.models import (
    Answer,
    Approval,
    Customer,
    Quote,
    Revision,
    Way,
    WayLine,
)
from quoting.workflow import numbers, rates
from quoting.workflow.customers import (
    NoSuchRecordError,
    address_of,
    casting_key,
    customer,
)
from quoting.workflow.search import index, words_of

_ANSWERS = select(Answer.word, Answer.codes)


class NothingOfferedError(RuleError):
    """A quote would hold no work, or more ways than stand side by side."""

    message = translatable(
        "A quote holds one to {most} alternatives; this one has {count}."
    )


class ChangedMeanwhileError(database.ChangedMeanwhileError):
    """Somebody else saved the same record first."""

    message = translatable(
        "{who} saved {number} at revision {revision} while you were typing. Nothing "
        "you typed is lost: look at what changed, then send it again."
    )


class NoSuchWayError(RuleError):
    """A place names no alternative."""

    message = translatable("{number} has no alternative {place}.")


@dataclass(frozen=True, slots=True)
class About:
    """Who called about what; every field may be empty on the phone."""

    customer_id: int | None = None
    caller: str = ""
    phone: str = ""
    email: str = ""
    order_number: str = ""
    registration: str = ""
    engine: str = ""
    casting: str = ""
    call_back: date | None = None
    arrives: date | None = None


class Asked(NamedTuple):
    """One alternative to be saved: its label and the job."""

    label: str
    job: Job


@dataclass(frozen=True, slots=True)
class Now:
    """Who does something, and when: the instant and the shop's own day."""

    who: str
    at: datetime
    on: date


def save(
    session: Session,
    about: About,
    ways: Sequence[Asked],
    now: Now,
    *,
    said: str = "",
    ready: date | None = None,
    draft: bool = False,
) -> Quote:
    """Save a call as a quote: numbered, priced by the edition in force.

    Args:
        session: of the transaction.
        about: who called about what.
        ways: one to ``MOST_ALTERNATIVES`` jobs, the first leads.
        now: who saves it, and when.
        said: the caller's words.
        ready: the day that was named.
        draft: keep it back: nothing was told yet.

    Raises:
        NothingOfferedError: no alternative, or too many.
        RuleError: the work cannot be priced; nothing is saved.
    """
    current = rates.in_force(session, now.on)
    until = holds_until(current.edition, now.on)
    priced = _priced(current.edition, ways, now.on)
    quote = Quote(
        number=numbers.take(session, "quote", now.on),
        state=QuoteState.DRAFT if draft else QuoteState.OFFERED,
        on=now.on,
        valid_until=until,
    )
    _set_about(quote, about)
    session.add(quote)
    session.flush()
    _add_revision(
        session, quote, 1, current.id, priced, now, said=said, until=until, ready=ready
    )
    _index(session, quote)
    _note(session, quote, now, "quote saved", new=_sums(priced))
    return quote


def revise(
    session: Session,
    quote: Quote,
    version: int,
    about: About,
    ways: Sequence[Asked],
    now: Now,
    *,
    said: str = "",
    ready: date | None = None,
    why: str = "",
) -> Revision:
    """Add a revision to a quote; what was offered before stays as it was.

    An accepted quote keeps the edition it was accepted by; any other takes the one of
    the day.

    Args:
        session: of the transaction.
        quote: to be revised.
        version: of the quote as the person saw it.
        about: who called about what, as it is now.
        ways: what is offered now.
        now: who revises, and when.
        said: the caller's words.
        ready: the day that was named.
        why: what changed.

    Raises:
        ChangedMeanwhileError: the quote was saved since *version*.
        IllegalMoveError: a quote in this state is not revised.
        RuleError: the work cannot be priced; nothing is saved.
    """
    _unchanged(quote, version)
    state = QuoteState(quote.state)
    after = next_state(state, QuoteMove.REVISE)
    current = rates.in_force(session, now.on)
    kept = quote.revisions[-1].edition_id
    edition_id = edition_for_revision(state, kept, current.id)
    edition = (
        current.edition
        if edition_id == current.id
        else rates.edition_of(session, edition_id, now.on)
    )
    priced = _priced(edition, ways, now.on)
    old = _sums_of(quote.revisions[-1], edition.currency)
    quote.state = after
    quote.on, quote.valid_until = now.on, holds_until(edition, now.on)
    _set_about(quote, about)
    revision = _add_revision(
        session,
        quote,
        quote.revisions[-1].number + 1,
        edition_id,
        priced,
        now,
        said=said,
        until=quote.valid_until,
        ready=ready,
    )
    _index(session, quote)
    _note(session, quote, now, "quote revised", old=old, new=_sums(priced), why=why)
    return revision


def accept(
    session: Session,
    quote: Quote,
    version: int,
    place: int,
    consent: Consent,
    said_at: datetime,
    now: Now,
    *,
    despite: Override | None = None,
) -> Approval:
    """Record a yes to one alternative of the latest revision.

    Raises:
        ChangedMeanwhileError: the quote was saved since *version*.
        IllegalMoveError: the quote cannot be accepted as it stands.
        NoSuchWayError: there is no such alternative.
    """
    _unchanged(quote, version)
    way = way_at(quote, place)
    after = next_state(state_on(quote, now.on), QuoteMove.ACCEPT, despite=despite)
    currency = currency_of(session, quote)
    up_to = way.total if consent.up_to is None else currency.to_minor(consent.up_to)
    approval = Approval(
        quote_id=quote.id,
        way_id=way.id,
        said_by=consent.by,
        how=consent.how,
        said_at=said_at,
        up_to=up_to,
        currency=way.currency,
        note=consent.note,
        recorded=now.at,
        recorded_by=now.who,
    )
    session.add(approval)
    old, quote.state = quote.state, after
    quote.call_back = None
    session.flush()
    why = "" if despite is None else f"{despite.by}: {despite.reason}"
    _note(
        session,
        quote,
        now,
        "yes recorded",
        old=old,
        new=f"{way.label or 'as offered'}, {consent.by}, {consent.how}, "
        f"up to {currency.from_minor(up_to)} {currency.code}",
        why=why,
    )
    return approval


def move(
    session: Session,
    quote: Quote,
    version: int,
    step: QuoteMove,
    now: Now,
    *,
    why: str = "",
) -> None:
    """Offer, decline or lapse a quote.

    Raises:
        ChangedMeanwhileError: the quote was saved since *version*.
        IllegalMoveError: a quote in this state does not move so.
    """
    _unchanged(quote, version)
    old, quote.state = quote.state, next_state(state_on(quote, now.on), step)
    if step is not QuoteMove.OFFER:
        quote.call_back = None
    session.flush()
    _note(session, quote, now, f"quote: {step}", old=old, new=quote.state, why=why)


def whose(
    session: Session, quote: Quote, version: int, customer_id: int, now: Now
) -> None:
    """Write down whose heads a quote is for.

    Raises:
        ChangedMeanwhileError: the quote was saved since *version*.
        NoSuchRecordError: there is no such customer.
    """
    _unchanged(quote, version)
    old = quote.customer.name if quote.customer else quote.caller
    row = customer(session, customer_id)
    quote.customer_id, quote.customer = row.id, row
    if quote.order is not None:
        quote.order.customer_id, quote.order.customer = row.id, row
    session.flush()
    _index(session, quote)
    _note(session, quote, now, "whose it is", old=old, new=row.name)


def state_on(quote: Quote, on: date) -> QuoteState:
    """Return how far an offer is on a day: one that no longer holds has lapsed."""
    return state_of_offer(QuoteState(quote.state), quote.valid_until, on)


def call_back(
    session: Session,
    quote: Quote,
    on: date | None,
    now: Now,
    *,
    version: int | None = None,
) -> None:
    """Set the day on which the caller is rung again; None takes it away.

    Args:
        session: of the transaction.
        quote: whose caller it is.
        on: the day.
        now: who sets it, and when.
        version: of the quote as the person saw it; None: it was read just now.

    Raises:
        ChangedMeanwhileError: the quote was saved since *version*.
    """
    _unchanged(quote, quote.version if version is None else version)
    old = quote.call_back.isoformat() if quote.call_back else ""
    quote.call_back = on
    session.flush()
    new = on.isoformat() if on else ""
    _note(session, quote, now, "call back", old=old, new=new)


# Reading.


def quote_of(session: Session, quote_id: int) -> Quote:
    """Return a quote by key, with its revisions and alternatives.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.scalar(
        select(Quote)
        .where(Quote.id == quote_id)
        .options(
            joinedload(Quote.customer),
            selectinload(Quote.revisions).selectinload(Revision.ways),
            joinedload(Quote.order),
        )
    )
    if row is None:
        raise NoSuchRecordError(what="quote", key=quote_id)
    return row


def approvals(session: Session, quote: Quote) -> list[Approval]:
    """Return every yes on record, the oldest first."""
    return list(
        session.scalars(
            select(Approval).where(Approval.quote_id == quote.id).order_by(Approval.id)
        )
    )


def way_at(quote: Quote, place: int) -> Way:
    """Return an alternative of the latest revision, counted from 1.

    Raises:
        NoSuchWayError: there is no such alternative.
    """
    for way in quote.revisions[-1].ways:
        if way.place == place:
            return way
    raise NoSuchWayError(number=quote.number, place=place)


def currency_of(session: Session, quote: Quote) -> Currency:
    """Return the currency of a quote."""
    return edition_of(session, quote.revisions[-1]).currency


def edition_of(session: Session, revision: Revision) -> Edition:
    """Return the edition that a revision was priced by, part prices of its day."""
    return rates.edition_of(session, revision.edition_id, revision.on)


def ways_of(session: Session, revision: Revision) -> tuple[Alternative, ...]:
    """Return the alternatives of a revision, priced again by its own edition."""
    edition = edition_of(session, revision)
    return tuple(alternative(edition, way, revision.on) for way in revision.ways)


def alternative(edition: Edition, way: Way, on: date) -> Alternative:
    """Return one kept alternative, priced again."""
    return offer(edition, way.label, job_document.read(way.job, edition), on)


def offered(session: Session, quote: Quote, revision: Revision) -> Offer:
    """Return a revision as the quote's paper takes it."""
    number = quote.number
    if revision.number > 1:
        number = f"{number}/{revision.number}"
    return Offer(
        number=number,
        on=revision.on,
        valid_until=revision.valid_until,
        customer=on_paper(quote),
        alternatives=ways_of(session, revision),
        ready=revision.ready,
    )


def on_paper(quote: Quote) -> OnPaper:
    """Return whose heads they are, as papers show it."""
    known = quote.customer
    if known is None:
        name, phone, email = quote.caller, quote.phone, quote.email
    else:
        name = known.name
        phone, email = known.phone or quote.phone, known.email or quote.email
    return OnPaper(
        name=name,
        address=address_of(known) if known else (),
        phone=phone,
        email=email,
        order_number=quote.order_number,
        registration=quote.registration,
        engine=quote.engine,
    )


def job_text(session: Session, quote_id: int) -> str:
    """Return the job that was last agreed, or else offered first, as it is kept.

    Raises:
        NoSuchRecordError: there is no such quote.
    """
    quote = quote_of(session, quote_id)
    said_yes = approvals(session, quote)
    way = said_yes[-1].way if said_yes else quote.revisions[-1].ways[0]
    return way.job


def answers(session: Session) -> dict[str, str]:
    """Return what the shop means by words that fit several kinds of work."""
    rows = session.connection().execute(_ANSWERS)
    return {word: codes for word, codes in rows}  # noqa: C416  (rows are no pairs)


def remember_answer(session: Session, word: str, codes: str) -> None:
    """Keep what the shop means by a word, instead of what it meant before."""
    row = session.scalar(select(Answer).where(Answer.word == word))
    if row is None:
        session.add(Answer(word=word, codes=codes))
    else:
        row.codes = codes
    session.flush()


# Parts of the above.


def _priced(edition: Edition, ways: Sequence[Asked], on: date) -> list[Alternative]:
    if not 1 <= len(ways) <= MOST_ALTERNATIVES:
        raise NothingOfferedError(most=MOST_ALTERNATIVES, count=len(ways))
    priced = [offer(edition, label, job, on) for label, job in ways]
    if not all(way.priced.lines for way in priced):
        raise NothingOfferedError(most=MOST_ALTERNATIVES, count=0)
    return priced


def _add_revision(
    session: Session,
    quote: Quote,
    number: int,
    edition_id: int,
    priced: Sequence[Alternative],
    now: Now,
    *,
    said: str,
    until: date,
    ready: date | None,
) -> Revision:
    edition = rates.edition_of(session, edition_id, now.on)
    revision = Revision(
        number=number,
        edition_id=edition_id,
        on=now.on,
        valid_until=until,
        ready=ready,
        said=said,
        saved=now.at,
        saved_by=now.who,
        ways=[_way(edition, place, way) for place, way in enumerate(priced, 1)],
    )
    quote.revisions.append(revision)
    session.flush()
    return revision


def _way(edition: Edition, place: int, way: Alternative) -> Way:
    minor = edition.currency.to_minor
    totals = way.priced.totals
    return Way(
        place=place,
        label=way.label,
        job=job_document.write(way.job),
        currency=edition.currency.code,
        net=minor(totals.net),
        tax=minor(totals.tax),
        total=minor(totals.total),
        condemned=None if way.condemned is None else minor(way.condemned),
        cost=minor(totals.cost),
        lines=[
            WayLine(
                place=at,
                kind=line.kind,
                code=line.code,
                description=line.description,
                income=line.group,
                quantity=_figure(line.quantity),
                tax_code=line.tax_code,
                net=minor(line.net),
            )
            for at, line in enumerate(way.priced.lines, 1)
        ],
    )


def _figure(number: Decimal | None) -> str:
    return "" if number is None else f"{number:f}"


def _set_about(quote: Quote, about: About) -> None:
    for field in (
        "customer_id",
        "caller",
        "phone",
        "email",
        "order_number",
        "registration",
        "engine",
        "call_back",
        "arrives",
    ):
        setattr(quote, field, getattr(about, field))
    quote.casting = casting_key(about.casting)


def about(quote: Quote) -> About:
    """Return who called about what, as it is kept."""
    return About(
        customer_id=quote.customer_id,
        caller=quote.caller,
        phone=quote.phone,
        email=quote.email,
        order_number=quote.order_number,
        registration=quote.registration,
        engine=quote.engine,
        casting=quote.casting,
        call_back=quote.call_back,
        arrives=quote.arrives,
    )


def _index(session: Session, quote: Quote) -> None:
    owner = session.get(Customer, quote.customer_id) if quote.customer_id else None
    names = [quote.caller, quote.engine, owner.name if owner else ""]
    numbers = [
        quote.number,
        quote.phone,
        owner.phone if owner else "",
        quote.order_number,
        quote.registration,
        quote.casting,
        quote.order.number if quote.order else "",
    ]
    index(session, "quote", quote.id, words_of(names, numbers))


def find_by(session: Session, quote: Quote) -> None:
    """Write anew what a quote and its work order are found by."""
    _index(session, quote)


def _unchanged(quote: Quote, version: int) -> None:
    if quote.version != version:
        last = quote.revisions[-1]
        raise ChangedMeanwhileError(
            who=last.saved_by, number=quote.number, revision=last.number
        )
    # The version counts every change, one of what belongs to the quote as well.
    flag_modified(quote, "state")


def _sums(priced: Sequence[Alternative]) -> str:
    return "; ".join(
        f"{way.label or 'total'} {way.priced.totals.total}" for way in priced
    )


def _sums_of(revision: Revision, currency: Currency) -> str:
    return "; ".join(
        f"{way.label or 'total'} {currency.from_minor(way.total)}"
        for way in revision.ways
    )


def _note(session: Session, quote: Quote, now: Now, what: str, **told: str) -> None:
    note(session, "quote", quote.id, now, what, **told)


def note(
    session: Session,
    subject: str,
    subject_id: int,
    now: Now,
    what: str,
    *,
    old: str = "",
    new: str = "",
    why: str = "",
) -> None:
    """Add to the audit trail what somebody does now to a subject."""
    audit.record(
        session,
        at=now.at,
        who=now.who,
        what=what,
        subject=subject,
        subject_id=subject_id,
        old=old,
        new=new,
        why=why,
    )
