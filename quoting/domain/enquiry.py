"""What stands in the form while a caller waits, and the jobs that it comes to.

Pure. Layer upon layer, each over the one before: what stood there earlier (``base``),
what the caller says, what is put in by hand, what is left out. Of one operation or set
of work the latest word counts. Nothing here formats or says anything: ``ToTell`` is
what the sentence to the caller is made of.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from itertools import islice
from typing import NamedTuple, TypeVar

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import SIDES, Head, Layout, Position, tags
from quoting.domain.job import (
    ALL,
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
from quoting.domain.lengths import Length
from quoting.domain.money import ZERO
from quoting.domain.phrase import MOST_HEADS, Candidate, Heard, Said, planned, say
from quoting.domain.pricing import Priced, price
from quoting.domain.quote import Alternative, holds_until, not_included
from quoting.domain.rates import Terms
from quoting.domain.spoken import NOT_PLACED, UNDERSTOOD, Question
from quoting.domain.work import Plan, RefusedError, Task, plan

Row = TypeVar("Row")

NO_HEAD = "loose parts, no head"
#: Why a set of work leaves out what is done to picked valves only.
PICKED = "done to the valves picked only"


class NotInTheTablesError(RuleError):
    """A code stands in none of the rows that it should."""

    message = translatable("There is no {code} in {table} of the rate tables.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Enquiry:
    """Everything that the form holds.

    Attributes:
        said: what the caller says, in plain shop words.
        base: what stood in the form before: an earlier quote or job.
        layout: code of the layout picked; empty: as said, or the base's.
        heads: how many came; None: as said, or the base's.
        reason: code of why it came; empty: as said.
        condition: words of how the heads came; None: as said.
        work, sets: put in by hand; each takes the place of what words or base ask for
            of the same operation or set.
        left_out: codes of operations, sets, parts, kinds of part or fees left out, and
            why.
        own: prices set by hand: for all of an operation or set, or for one of a part;
            what has the code of work is work.
        positions: by operation the valves picked, instead of any other selection of
            it; where none is picked it is left out.
        sizes: by operation, such as the depth of a skim.
        free, outwork, deposits: beside the base's.
        parts, fees: beside the base's, instead of those of the same code.
        rush, call_it: empty or None: as said, or the base's.
        answers: what taxes hang on and was answered with yes; None: the base's.
        aside: by its code, who sets a rule of the tax aside, and why; None: the base's.
    """

    said: str = ""
    base: Job | None = None
    layout: str = ""
    heads: int | None = None
    reason: str = ""
    condition: tuple[str, ...] | None = None
    work: tuple[Asked, ...] = ()
    sets: tuple[AskedSet, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
    own: Mapping[str, OwnPrice] = field(default_factory=dict)
    positions: Mapping[str, tuple[Position, ...]] = field(default_factory=dict)
    sizes: Mapping[str, Length] = field(default_factory=dict)
    free: tuple[FreeLine, ...] = ()
    parts: tuple[AskedPart, ...] = ()
    outwork: tuple[Outwork, ...] = ()
    fees: tuple[AskedFee, ...] = ()
    call_it: OwnPrice | None = None
    rush: str = ""
    deposits: tuple[Deposit, ...] = ()
    answers: tuple[str, ...] | None = None
    aside: Mapping[str, Override] | None = None


@dataclass(frozen=True, slots=True)
class Understood:
    """What an enquiry comes to.

    Attributes:
        candidates: side by side; several where words leave the head open.
        said: how the words were taken; None where there are none.
        questions: what must be asked back.
        echoed: every size in both units.
    """

    candidates: tuple[Candidate, ...]
    said: Said | None = None
    questions: tuple[Question, ...] = ()
    echoed: tuple[str, ...] = ()

    @property
    def not_placed(self) -> tuple[str, ...]:
        """Return what could not be placed, word for word, in order."""
        return self.said.not_placed if self.said else ()


def jobs(
    enquiry: Enquiry,
    edition: Edition,
    *,
    language: str = "en",
    terms: Terms | None = None,
    exemption: Exemption | None = None,
    remembered: Mapping[str, str] | None = None,
) -> Understood:
    """Return the jobs that the form may mean, and what is left open.

    Never raises: what cannot be done stands with its reason in ``refused``.

    Args:
        enquiry: what stands in the form.
        edition: to whose tables every code belongs.
        language: of the caller; says whether 0,10 is a number.
        terms: of the customer; None: as said, or the base's.
        exemption: from tax; None: the base's.
        remembered: answers to earlier questions, as ``say`` takes them.
    """

    def hear(text: str) -> Said:
        return say(text, edition, language=language, terms=terms, remembered=remembered)

    silent = Job((), terms=terms, agreed=agreed_prices(edition, terms) if terms else {})
    said, ways = _ways(enquiry, edition, hear, silent)
    spoken = said.candidates if said else ()
    candidates = tuple(
        _candidate(edition, label, _job(enquiry, edition, way, exemption), spoken)
        for label, way in ways
    )
    return Understood(
        candidates,
        said,
        tuple(_open(said, candidates)),
        tuple(dict.fromkeys(_echoed(edition, said, candidates))),
    )


def _candidate(
    edition: Edition, label: str, job: Job, spoken: Sequence[Candidate]
) -> Candidate:
    """Return a job with its plan, which stands already where the words say the same."""
    if refused := tuple(str(error) for error in _unknown(edition, job)):
        return Candidate(label, job, refused)
    same = next((said for said in spoken if said.job == job), None)
    return same._replace(label=label) if same else planned(edition, label, job)


def _unknown(edition: Edition, job: Job) -> Iterator[NotInTheTablesError]:
    """Yield what names no row; unknown operations are for planning to refuse."""
    named = [
        ("reasons", job.reason),
        ("rush", job.rush),
        *(("sets", asked.set) for asked in job.sets),
        *(("parts", asked.code) for asked in job.parts),
        *(("surcharges", asked.surcharge) for asked in job.parts),
        *(("fees", asked.code) for asked in job.fees),
    ]
    for table, code in dict.fromkeys(named):
        if code and code not in getattr(edition, table):
            yield NotInTheTablesError(code=code, table=table)


def _open(said: Said | None, candidates: Sequence[Candidate]) -> Iterator[Question]:
    """Yield the questions that nothing else in the form has answered."""
    answered = candidates and all(
        job.work or job.sets or job.parts or job.reason or job.free
        for job in (candidate.job for candidate in candidates)
    )
    for question in said.questions if said else ():
        if not (answered and question.word == "work"):
            yield question


def _echoed(
    edition: Edition, said: Said | None, candidates: Sequence[Candidate]
) -> Iterator[str]:
    if said:
        yield from said.echoed
    for candidate in candidates:
        for asked in candidate.job.work:
            if asked.size and asked.operation in edition.operations:
                name = edition.operations[asked.operation].name
                yield f"{name}: {asked.size.in_both_units}"


# The heads, and what the words mean on them.


def _ways(
    enquiry: Enquiry, edition: Edition, hear: Callable[[str], Said], silent: Job
) -> tuple[Said | None, list[tuple[str, Job]]]:
    """Return how the words were taken, and label and words' job of each way."""
    standing = _standing(enquiry, edition)
    said, named = None, False
    if enquiry.said.strip():
        said, named = _said(enquiry, edition, hear, standing)
    if said and named:
        ways = [(way.label, way.job, way.job.heads) for way in said.candidates]
    elif standing:
        spoken = said.candidates[0].job if said and said.candidates else silent
        ways = [(standing[0].layout.name, spoken, standing)]
    else:
        needs_head = said and any(asked.word == "head" for asked in said.questions)
        alone = not needs_head and _without_head(enquiry)
        ways = [(NO_HEAD, silent, ())] if alone else []
    return said, [
        (label, replace(job, heads=_came(heads, job.heads, enquiry.heads)))
        for label, job, heads in ways
    ]


def _standing(enquiry: Enquiry, edition: Edition) -> tuple[Head, ...]:
    """Return the heads that are known beside what is said."""
    heads = enquiry.base.heads if enquiry.base else ()
    layout = edition.layouts.get(enquiry.layout)
    if layout is None:
        return heads
    return tuple(_changed(head, layout) for head in heads) or (Head("A", layout),)


def _changed(head: Head, layout: Layout) -> Head:
    """Return a head that turns out to be of another layout."""
    there = {p for side in SIDES for p in Head(head.tag, layout).positions(side)}
    known = {p: facts for p, facts in head.position_facts.items() if p in there}
    return replace(head, layout=layout, position_facts=known)


def _without_head(enquiry: Enquiry) -> bool:
    """Tell whether what stands in the form needs no head."""
    base = enquiry.base
    anything = (enquiry.work, enquiry.parts, enquiry.free, enquiry.outwork)
    counted = all(asked.which.number for asked in enquiry.work)
    return base is not None or (any(anything) and counted and not enquiry.sets)


def _said(
    enquiry: Enquiry,
    edition: Edition,
    hear: Callable[[str], Said],
    standing: Sequence[Head],
) -> tuple[Said, bool]:
    """Return how the words are taken, and whether they name heads of their own.

    What stands in the form is said before the caller's words: which head it is, and
    how many came. Words against a head that was picked are set aside and shown.
    """
    text = enquiry.said
    came = enquiry.heads or (len(standing) if enquiry.base else 0)
    count = f"x{min(max(came, 1), MOST_HEADS)}" if came else ""
    if not standing:
        before = f"{count}; " if count else ""
        said = hear(before + text)
        return _cut(said, len(before)), bool(said.candidates)
    before = f"{_spoken_as(standing[0].layout, edition)} {count}; "
    said = hear(before + text)
    if said.candidates:
        return _cut(said, len(before)), False
    alone = hear(text)
    if alone.candidates and enquiry.layout not in edition.layouts:
        return alone, True
    against = [
        run
        for run in alone.heard
        if run.how == UNDERSTOOD and not hear(before + run.said).candidates
    ]
    for run in against:
        text = text[: run.start] + " " * len(run.said) + text[run.end :]
    return _cut(hear(before + text), len(before), against), False


def _spoken_as(layout: Layout, edition: Edition) -> str:
    """Return the code of the layout of the tables that is most like *layout*."""
    if layout.code in edition.layouts:
        return layout.code

    def unlike(other: Layout) -> tuple[int, ...]:
        return (
            abs(layout.cylinders - other.cylinders),
            abs(layout.inlet - other.inlet) + abs(layout.exhaust - other.exhaust),
            layout.material != other.material,
        )

    return min(edition.layouts.values(), key=unlike, default=layout).code


def _cut(said: Said, start: int, against: Sequence[Heard] = ()) -> Said:
    """Return *said* without what stands before *start*, and with what is set aside."""
    runs = [run._replace(how=NOT_PLACED, means="") for run in against]
    for run in said.heard:
        if run.end > start:
            before = max(start - run.start, 0)
            at, end = run.start + before - start, run.end - start
            runs.append(run._replace(start=at, end=end, said=run.said[before:]))
    return replace(said, heard=tuple(sorted(runs)))


def _came(
    standing: Sequence[Head], spoken: Sequence[Head], count: int | None
) -> tuple[Head, ...]:
    """Return the heads that came, each as it stands and with what was said of it.

    Args:
        standing: the heads that are known; where none is, none came.
        spoken: the heads as the words have them, in the same order.
        count: how many came, if that was put in; else as the words have it.
    """
    if not standing:
        return ()
    came = count or len(spoken or standing)
    heads = list(standing[: min(max(came, 1), MOST_HEADS)])
    taken = {head.tag for head in heads}
    free = (tag for tag in tags() if tag not in taken)
    like = replace(standing[0], label="", position_facts={}, condemned_at="")
    more = min(came, MOST_HEADS) - len(heads)
    heads += [replace(like, tag=tag) for tag in islice(free, max(more, 0))]
    told = [_told(head, said) for head, said in zip(heads, spoken, strict=False)]
    return (*told, *heads[len(told) :])


def _told(head: Head, said: Head) -> Head:
    """Return *head* with what was *said* of it; where nothing was, as it is."""
    sides = {
        side: {**head.side_facts.get(side, {}), **said.side_facts.get(side, {})}
        for side in SIDES
        if side in head.side_facts or side in said.side_facts
    }
    return replace(
        head,
        label=said.label or head.label,
        facts={**head.facts, **said.facts},
        side_facts=sides,
        condition=said.condition or head.condition,
    )


# Layer upon layer.


def _job(
    enquiry: Enquiry, edition: Edition, said: Job, exemption: Exemption | None
) -> Job:
    base = enquiry.base or Job(())
    heads = said.heads
    if enquiry.condition is not None:
        condition = frozenset(enquiry.condition)
        heads = tuple(replace(head, condition=condition) for head in heads)
    before = _without(edition, base, said.declined)
    whole = {a.operation for a in (*said.work, *enquiry.work) if a.which == ALL}
    again = {code: why for code, why in base.declined.items() if code not in whole}
    job = replace(
        base,
        heads=heads,
        reason=enquiry.reason or said.reason or base.reason,
        work=_over(_over(before.work, said.work, _operation), enquiry.work, _operation),
        sets=_over(_over(before.sets, said.sets, _set), enquiry.sets, _set),
        free=base.free + enquiry.free,
        parts=_over(_over(before.parts, said.parts, _code), enquiry.parts, _code),
        outwork=base.outwork + enquiry.outwork,
        fees=_over(base.fees, enquiry.fees, _code),
        terms=said.terms or base.terms,
        agreed=said.agreed if said.terms else base.agreed,
        exemption=exemption or base.exemption,
        rush=enquiry.rush or said.rush or base.rush,
        call_it=enquiry.call_it or said.call_it or base.call_it,
        deposits=base.deposits + enquiry.deposits,
        declined={**again, **said.declined},
        answers=base.answers if enquiry.answers is None else enquiry.answers,
        aside=base.aside if enquiry.aside is None else enquiry.aside,
    )
    return _by_hand(enquiry, edition, job)


def _over(
    rows: Sequence[Row], later: Sequence[Row], code: Callable[[Row], str]
) -> tuple[Row, ...]:
    """Return *rows* less those of which *later* ones speak, and the later ones."""
    spoken_of = {code(row) for row in later} - {""}
    return (*(row for row in rows if code(row) not in spoken_of), *later)


def _operation(asked: Asked) -> str:
    return asked.operation


def _set(asked: AskedSet) -> str:
    return asked.set


def _code(asked: AskedPart | AskedFee) -> str:
    return asked.code


def _by_hand(enquiry: Enquiry, edition: Edition, job: Job) -> Job:
    none_picked = {code: PICKED for code, at in enquiry.positions.items() if not at}
    left_out = {**none_picked, **enquiry.left_out}
    job = _without(edition, job, left_out)
    for code, picked in enquiry.positions.items():
        if code not in left_out:
            job = _picked(job, code, picked)
    sizes = {c: size for c, size in enquiry.sizes.items() if c not in left_out}
    if sizes:
        job = _spelled_out(edition, job, sizes, sized=True)
        job = replace(job, work=tuple(_sized(asked, sizes) for asked in job.work))
    own = {c: price for c, price in enquiry.own.items() if c not in left_out}
    if own:
        job = _own_prices(edition, _spelled_out(edition, job, own), own)
    return job


def _without(edition: Edition, job: Job, left_out: Mapping[str, str]) -> Job:
    """Return *job* with nothing left of what is *left_out*, whoever asks for it."""
    if not left_out:
        return job
    declined = dict(job.declined)
    fees = job.fees
    proposed = edition.reasons.get(job.reason)
    for code, why in left_out.items():
        if code in edition.operations or code in edition.parts_of:
            declined[code] = why
        if code in edition.parts:
            declined[edition.parts[code].kind] = why
        if proposed and proposed.set == code:
            declined.update(dict.fromkeys(edition.sets[code].operations, why))
        if code in edition.fees:
            fees = _over(fees, (AskedFee(code, ZERO),), _code)
    kinds = {part.code: part.kind for part in edition.parts.values()}
    return replace(
        job,
        work=tuple(a for a in job.work if a.operation not in left_out),
        sets=tuple(a for a in job.sets if a.set not in left_out),
        parts=tuple(
            asked
            for asked in job.parts
            if not left_out.keys() & {asked.code, kinds.get(asked.code)}
        ),
        fees=fees,
        declined=declined,
    )


def _picked(job: Job, code: str, positions: tuple[Position, ...]) -> Job:
    """Return *job* with an operation on exactly these valves."""
    rows = [asked for asked in job.work if asked.operation == code]
    first = rows[0] if rows else Asked(code)
    row = replace(first, heads=(), which=Selection(positions=positions))
    work = _over(job.work, (row,), _operation)
    return replace(job, work=work, declined={**job.declined, code: PICKED})


def _sized(asked: Asked, sizes: Mapping[str, Length]) -> Asked:
    size = sizes.get(asked.operation)
    return replace(asked, size=size) if size else asked


def _own_prices(edition: Edition, job: Job, own: Mapping[str, OwnPrice]) -> Job:
    parts = (
        replace(asked, price=set_by_hand.amount, discountable=set_by_hand.discountable)
        if (set_by_hand := own.get(asked.code)) and _is_part(edition, asked.code)
        else asked
        for asked in job.parts
    )
    return replace(
        job,
        work=_with_own(job.work, own, _operation),
        sets=_with_own(job.sets, own, _set),
        parts=tuple(parts),
    )


def _is_part(edition: Edition, code: str) -> bool:
    """Tell whether a code is a part's alone; work of the same code comes first."""
    work = code in edition.operations or code in edition.sets
    return code in edition.parts and not work


Priceable = TypeVar("Priceable", Asked, AskedSet)


def _with_own(
    rows: Sequence[Priceable],
    own: Mapping[str, OwnPrice],
    code: Callable[[Priceable], str],
) -> tuple[Priceable, ...]:
    """Put a price set by hand on the first row of each code, and 0 on any other."""
    left = dict(own)
    found = []
    for row in rows:
        priced = left.get(code(row))
        found.append(row if priced is None else replace(row, own=priced))
        if priced is not None:
            left[code(row)] = priced._replace(amount=ZERO)
    return tuple(found)


# What nobody asked for and yet is planned, asked for in so many words.


def _spelled_out(
    edition: Edition, job: Job, codes: Mapping[str, object], *, sized: bool = False
) -> Job:
    """Return the same job, with rows for what of *codes* comes by itself.

    Args:
        edition: to plan by.
        job: some of whose work comes from sets, or is brought along.
        codes: of operations, sets and parts.
        sized: rows only give a size, so that work of a set stays in its set.
    """
    asked_for = {*map(_operation, job.work), *map(_set, job.sets)}
    asked_for.update(map(_code, job.parts))
    codes = {code: value for code, value in codes.items() if code not in asked_for}
    planned = _planned(edition, job) if codes else None
    if planned is None:
        return job
    tasks: dict[str, list[Task]] = {}
    for task in planned.tasks:
        if task.operation.code in codes:
            tasks.setdefault(task.operation.code, []).append(task)
    rows: list[Asked] = []
    for of in tasks.values():
        members = [task.asked for task in of if task.asked.set] if sized else []
        rows += [Asked(member.operation, member.heads) for member in members]
        if rest := [task for task in of if task.asked not in members]:
            rows += _as_planned(job, rest)
    used = {task.operation.consumes for task in planned.tasks if job.propose}
    used -= job.declined.keys()
    parts = [
        AskedPart(code)
        for code in codes
        if _is_part(edition, code) and edition.parts[code].kind in used
    ]
    named = any(asked.set in codes for asked in planned.sets)
    return replace(
        job,
        work=(*job.work, *rows),
        sets=planned.sets if named else job.sets,
        parts=(*job.parts, *parts),
    )


def _planned(edition: Edition, job: Job) -> Plan | None:
    if any(_unknown(edition, job)):
        return None
    try:
        return plan(edition, job)
    except RefusedError:
        return None


def _as_planned(job: Job, tasks: Sequence[Task]) -> Iterator[Asked]:
    """Yield rows that ask for just what *tasks* of one operation come to."""
    operation, asked = tasks[0].operation, tasks[0].asked
    plain = Asked(operation.code, size=asked.size, warranty=asked.warranty)
    portions = [portion for task in tasks for portion in task.portions]
    positions = tuple(p for portion in portions for p in portion.positions)
    if positions:
        yield replace(plain, which=Selection(positions=positions))
    for portion in portions:
        if operation.by_position and not portion.positions:
            which = Selection(portion.side, number=portion.quantity)
            yield replace(plain, heads=portion.zone.tags, which=which)
    if not operation.by_position:
        on = {tag for portion in portions for tag in portion.zone.tags}
        every = operation.counted_by == "job" or len(on) == len(job.heads)
        yield replace(plain, heads=() if every else tuple(sorted(on)))


# What the caller is told.


class Figures(NamedTuple):
    """A price in both ways; the first is the one to say.

    ``with_tax`` tells whether the first contains tax.
    """

    first: Decimal
    other: Decimal
    with_tax: bool


@dataclass(frozen=True, slots=True)
class ToTell:
    """What the sentence to the caller is made of; amounts in the edition's currency.

    Attributes:
        price: as asked.
        trade: what trade terms would make of it; None where they are these terms.
        condemned: the most that is owed, with tax, if a test condemns the heads.
        not_included: texts of what is not in the price.
        valid_until: the last day it holds.
    """

    price: Figures
    trade: Figures | None
    condemned: Decimal | None
    not_included: tuple[str, ...]
    valid_until: date


def to_tell(
    edition: Edition, way: Alternative, on: date, trade: Terms | None = None
) -> ToTell:
    """Return what a caller is told of one priced way.

    Args:
        edition: that *way* was priced by.
        way: the job and its price.
        on: day of the call, which is the tax point.
        trade: terms to compare with; a total agreed for all of it is left aside there.

    Raises:
        RuleError: as ``pricing.price``, for the job on trade terms.
    """
    job = way.job
    own = job.terms or edition.terms[edition.shop.terms]
    theirs = None
    if trade is not None and trade is not own:
        agreed = agreed_prices(edition, trade)
        on_trade = replace(job, terms=trade, agreed=agreed, call_it=None)
        priced = price(edition, on_trade, on, work=way.priced.plan)
        theirs = _figures(priced, trade)
    return ToTell(
        price=_figures(way.priced, own),
        trade=theirs,
        condemned=way.condemned,
        not_included=not_included(edition, job, way.priced),
        valid_until=holds_until(edition, on),
    )


def _figures(priced: Priced, terms: Terms) -> Figures:
    net, gross = priced.totals.net, priced.totals.total
    if terms.headline == "net":
        return Figures(net, gross, with_tax=False)
    return Figures(gross, net, with_tax=True)
