"""The one calculation: an edition, a job and a tax point in, a priced job out.

Pure: no database, clock, locale or web; the same input gives the same output for ever.
Phone page, quote, revision, work order, invoice and rehearsal all call ``price``.
Amounts are Decimal in the edition's currency and price mode, minutes Decimal minutes
of shop time. Amounts are rounded once a line and where docs/costing.md says so,
nowhere else.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from quoting.domain.basis import Basis, by_code, codes_of, total
from quoting.domain.edition import Edition
from quoting.domain.head import Head
from quoting.domain.job import AskedSet, Job, OwnPrice
from quoting.domain.labour_lines import free_line, labour_lines
from quoting.domain.lines import Line
from quoting.domain.money import HUNDRED, ONE, ZERO
from quoting.domain.part_lines import fee_lines, outwork_lines, part_lines
from quoting.domain.tax import (
    Amount,
    Assessment,
    Group,
    Tax,
    Taxes,
    assess,
    bases_of,
    split_gross,
    to_pay_in_cash,
)
from quoting.domain.tax_rules import Change, may_decide, proposed
from quoting.domain.work import Notice, Plan, Task, plan
from quoting.domain.zones import Portion, Zone


@dataclass(frozen=True, slots=True)
class Totals:
    """The sums of a priced job.

    labour - discount + rush + make_up + sundries + fees + parts + outwork + exchange
    + surcharges + adjustment is the sum of all lines: the net, or where prices
    contain tax the total.
    """

    labour: Decimal
    discount: Decimal
    rush: Decimal
    make_up: Decimal
    sundries: Decimal
    fees: Decimal
    parts: Decimal
    outwork: Decimal
    exchange: Decimal
    surcharges: Decimal
    adjustment: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    deposits: Decimal
    due: Decimal
    cash: Decimal
    minutes: Decimal
    cost: Decimal


@dataclass(frozen=True, slots=True)
class Priced:
    """A priced job.

    Attributes:
        lines: in the order they are printed.
        taxes: one row for each authority, category and rate.
        taxes_of: the taxes that each tax code of the lines names.
        totals: the sums.
        plan: the work that was priced.
        inclusive: the lines contain tax.
        notices: what was left out, and why.
        questions: what must be asked back.
        exempt: the tax code that replaces every other; empty where none does.
        changes: the tax codes that a rule of the place gave, and why.
    """

    lines: tuple[Line, ...]
    taxes: tuple[Group, ...]
    taxes_of: Mapping[str, Taxes]
    totals: Totals
    plan: Plan
    inclusive: bool
    notices: tuple[Notice, ...]
    questions: tuple[Notice, ...]
    exempt: str = ""
    changes: tuple[Change, ...] = ()


def price(
    edition: Edition, job: Job, tax_point: date, *, work: Plan | None = None
) -> Priced:
    """Price *job* by *edition*, taxed as on *tax_point*.

    Args:
        edition: the rate tables.
        job: what is asked for.
        tax_point: the day whose taxes are due.
        work: the plan of the job, if it stands already; terms do not change it.

    Returns:
        The priced job; its lines add up to its net (or, where the edition's prices
        contain tax, to its total) without any rounding left over.

    Raises:
        RefusedError: the heads cannot have the work asked for.
        UnknownPartError, PartQuantityError, UnpricedPartError: a part is unclear.
        TaxCodeEndedError: a tax code has no rate on *tax_point*.
        NothingToSplitError: a total was agreed for a job that has no lines.

    Source:
        Order of steps and places of rounding: docs/costing.md. Tax: EN 16931
        BR-CO-10, BR-CO-13 to BR-CO-17, BR-S-08.
    """
    work = work or plan(edition, job)
    priced = _price(Basis(edition, job, tax_point), work)
    if priced.exempt or not may_decide(edition.rules, job.answers):
        return priced
    changes = proposed(edition.rules, priced, job.answers, job.aside)
    if not changes:
        return priced
    codes = {change.group: change.becomes for change in changes}
    decided = _price(Basis(edition, job, tax_point, codes), work)
    return replace(decided, changes=changes)


def _price(basis: Basis, work: Plan) -> Priced:
    edition, job = basis.edition, basis.job
    going = [head for head in job.heads if not head.condemned_at]
    if len(going) < len(job.heads):
        work = _as_far_as_it_goes(edition, job, work)
        lines, labour = _condemned(basis, work, going)
    else:
        lines, labour = [], labour_lines(basis, work)
    labour += [free_line(basis, free) for free in job.free]
    lines += labour
    if going or not job.heads:
        lines += _on_paid_labour(basis, labour)
    else:
        lines += _discounts(basis, labour, ("labour",))
    lines += part_lines(basis, work)
    lines += _discounts(basis, lines, ("parts", "exchange"))
    lines += outwork_lines(basis)
    lines += fee_lines(basis, work, going)
    lines += _warranty(basis, lines)
    amounts = _amounts(basis, lines)
    if job.call_it:
        adjustments, assessment = _call_it(basis, amounts, job.call_it)
        lines += adjustments
    else:
        assessment = assess(amounts, edition.policy, basis.unit)
    return Priced(
        lines=tuple(lines),
        taxes=assessment.groups,
        taxes_of={code: basis.taxes(code) for line in lines for code, _ in line.shares},
        totals=_totals(job, lines, assessment, edition),
        plan=work,
        inclusive=basis.inclusive,
        notices=work.notices,
        questions=(*work.questions, *basis.questions),
        exempt=basis.exempt,
    )


def no_fix(
    edition: Edition,
    job: Job,
    gate: str,
    tax_point: date,
    *,
    work: Plan | None = None,
) -> Priced:
    """Price *job* as if every head were condemned at the test *gate*.

    Parts, outwork and free lines are left out: nobody begins them before the test.

    Args:
        edition: the rate tables.
        job: what is asked for.
        gate: code of the test.
        tax_point: the day whose taxes are due.
        work: the plan of the job, if it stands already.

    Raises:
        RuleError: as ``price``.

    Source:
        docs/costing.md, step 8: the no-fix price (common practice, no source).
    """
    heads = tuple(replace(head, condemned_at=gate) for head in job.heads)
    stopped = replace(
        job, heads=heads, free=(), parts=(), outwork=(), rush="", call_it=None
    )
    # Condemned heads stand alone, so what is done to several is planned anew.
    return price(edition, stopped, tax_point, work=work if len(heads) == 1 else None)


# Steps 2 to 5: discount, rush, make-up and sundries, all on the paid labour.


def _on_paid_labour(basis: Basis, labour: Sequence[Line]) -> Iterator[Line]:
    shop = basis.edition.shop
    paid = [ln for ln in labour if ln.group == "labour" and ln.warranty is None]
    gross = total([line.net for line in paid])
    discounts = list(_discounts(basis, paid, ("labour",)))
    yield from discounts
    discounted = gross + total(line.net for line in discounts)
    on = codes_of(paid) if gross else {basis.charged(shop.tax_labour, "labour"): ONE}
    hurried = ZERO
    if basis.job.rush:
        rush = basis.edition.rush[basis.job.rush]
        if rush.amount is not None:
            hurried = basis.fixed(rush.amount)
        else:
            hurried = basis.percent(rush.percent or ZERO, gross)
        if hurried:
            yield basis.spread(
                "rush",
                hurried,
                on,
                description=rush.name,
                code=rush.code,
                of=gross,
                rate=rush.percent,
            )
    least = basis.fixed(shop.job_minimum)
    if gross and (short := least - (discounted + hurried)) > 0:
        yield basis.spread("make_up", short, on, description="Minimum charge", of=least)
    yield from _sundries(basis, discounted)


def _sundries(basis: Basis, discounted: Decimal) -> Iterator[Line]:
    row = basis.sundries
    net = basis.percent(row.percent, discounted)
    if row.cap is not None:
        net = min(basis.fixed(row.cap), net)
    if net > 0:
        code = basis.charged(row.tax_code, "sundries")
        yield Line(
            kind="sundries",
            code=row.code,
            description=row.name,
            net=net,
            group="sundries",
            shares=((code, net),),
            tax_code=code,
            base=discounted,
            unit_price=row.percent,
        )


def _discounts(
    basis: Basis, lines: Sequence[Line], groups: Iterable[str]
) -> Iterator[Line]:
    terms = basis.terms
    for group in groups:
        if not (rate := terms.discount(group)):
            continue
        on = by_code(
            [share for ln in lines if ln.group == group for share in ln.discounted]
        )
        worth = total(on.values())
        if amount := basis.percent(rate, worth):
            yield basis.spread(
                "discount",
                -amount,
                on,
                description=terms.name,
                code=terms.code,
                group=group,
                of=worth,
                rate=rate,
            )


# Step 8: adjustments.


def _condemned(
    basis: Basis, work: Plan, going: Sequence[Head]
) -> tuple[list[Line], list[Line]]:
    """Return the lines of condemned heads, and the labour of those that go on.

    Where another head goes on, each condemned one is priced as a job of its own.
    """
    condemned = [head for head in basis.job.heads if head.condemned_at]
    alone = [[head] for head in condemned] if going else [condemned]
    lines = [line for heads in alone for line in _no_fix_lines(basis, work, heads)]
    return lines, labour_lines(basis, _of_heads(basis, work, going)) if going else []


def _no_fix_lines(basis: Basis, work: Plan, heads: Sequence[Head]) -> list[Line]:
    """Return labour up to the gate, its discount, and what brings it to the cap."""
    shop = basis.edition.shop
    lines = labour_lines(basis, _of_heads(basis, work, heads))
    lines += _discounts(basis, lines, ("labour",))
    labour = total(line.net for line in lines)
    if shop.no_fix_cap is None:
        return lines
    each = len(heads) if shop.no_fix_per == "head" else 1
    cap = basis.fixed(shop.no_fix_cap) * each
    if labour > cap:
        adjustment = basis.spread(
            "no_fix",
            cap - labour,
            codes_of(lines),
            description="Condemned at the test: price of a head without repair",
            of=cap,
        )
        lines.append(adjustment._replace(heads=tuple(head.tag for head in heads)))
    return lines


def _as_far_as_it_goes(edition: Edition, job: Job, work: Plan) -> Plan:
    """Return the plan without what comes after the gate on condemned heads."""
    done: list[Task] = []
    dropped: list[Task] = []
    last = {
        head.tag: edition.operations[head.condemned_at].place
        for head in job.heads
        if head.condemned_at
    }

    def reached(task: Task, zone: Zone) -> bool:
        gate = last.get(zone.tags[0]) if zone.tags else None
        return gate is None or task.operation.place <= gate

    for task in work.tasks:
        kept: list[Portion] = []
        missed: list[Portion] = []
        for portion in task.portions:
            (kept if reached(task, portion.zone) else missed).append(portion)
        if kept:
            done.append(task.on(kept) if missed else task)
        if missed and task.asked.set:
            dropped.append(task.on(missed))
    return replace(work, tasks=tuple(done), left_out=(*work.left_out, *dropped))


def _of_heads(basis: Basis, work: Plan, heads: Sequence[Head]) -> Plan:
    """Return the part of a plan that is done to *heads*."""
    if len(heads) == len(basis.job.heads):
        return work
    tags = {head.tag for head in heads}

    def kept(tasks: Iterable[Task]) -> tuple[Task, ...]:
        narrowed = (
            task.on(p for p in task.portions if tags.issuperset(p.zone.tags))
            for task in tasks
        )
        return tuple(task for task in narrowed if task.portions)

    def of_these(asked: AskedSet) -> AskedSet:
        every = asked.heads or tuple(head.tag for head in basis.job.heads)
        on = tuple(tag for tag in every if tag in tags)
        own = asked.own
        if own is not None:
            share = basis.cents(own.amount * len(on) / len(every))
            own = own._replace(amount=share)
        return replace(asked, heads=on, own=own)

    sets = [of_these(asked) for asked in work.sets]
    return replace(
        work,
        tasks=kept(work.tasks),
        left_out=kept(work.left_out),
        sets=tuple(asked for asked in sets if asked.heads),
    )


def _warranty(basis: Basis, lines: Sequence[Line]) -> Iterator[Line]:
    for share in sorted({ln.warranty for ln in lines if ln.warranty is not None}):
        on = [line for line in lines if line.warranty == share]
        amount = basis.cents(share * total(line.net for line in on))
        if amount:
            yield basis.spread(
                "warranty",
                -amount,
                codes_of(on),
                description="Warranty",
                of=total(line.net for line in on),
                rate=share * HUNDRED,
            )


def _call_it(
    basis: Basis, amounts: Sequence[Amount], agreed: OwnPrice
) -> tuple[list[Line], Assessment]:
    """Bring the document to the gross total that was agreed."""
    parts = split_gross(agreed.amount, amounts, basis.edition.policy, basis.unit)
    lines: list[Line] = []
    groups: dict[Tax, Group] = {}
    for part in parts:
        of = [amount for amount in amounts if amount.taxes == part.taxes]
        after = part.gross if basis.inclusive else part.net
        if change := after - total(amount.amount for amount in of):
            code = of[0].code
            lines.append(
                Line(
                    kind="call_it",
                    code="",
                    description="Price agreed for all of it",
                    net=change,
                    group="labour",
                    shares=((code, change),),
                    tax_code=code,
                    cost=ZERO,
                    reason=agreed.reason,
                )
            )
        bases = bases_of(part.taxes, part.net, part.tax)
        for tax, base, owed in zip(part.taxes, bases, part.tax, strict=True):
            before = groups.get(tax, Group(tax, ZERO, ZERO))
            groups[tax] = Group(tax, before.base + base, before.amount + owed)
    net = total(part.net for part in parts)
    return lines, Assessment(
        tuple(groups.values()), net, agreed.amount - net, agreed.amount
    )


# Steps 9 to 12: net, tax, due, cash.


def _amounts(basis: Basis, lines: Iterable[Line]) -> list[Amount]:
    if basis.edition.policy.level == "document":
        nets = codes_of(lines)
        return [Amount(net, basis.taxes(code), code) for code, net in nets.items()]
    return [
        Amount(net, basis.taxes(code), code, line.quantity or ONE)
        for line in lines
        for code, net in line.shares
    ]


#: Which total a line adds to, where that is not its income group's.
_TOTAL_OF = {
    "discount": "discount",
    "rush": "rush",
    "make_up": "make_up",
    "sundries": "sundries",
    "no_fix": "adjustment",
    "warranty": "adjustment",
    "call_it": "adjustment",
}

_GROUP_TOTALS = ("labour", "parts", "exchange", "outwork", "fees", "surcharges")


def _totals(
    job: Job, lines: Sequence[Line], assessment: Assessment, edition: Edition
) -> Totals:
    sums = dict.fromkeys((*_TOTAL_OF.values(), *_GROUP_TOTALS), ZERO)
    for line in lines:
        sums[_TOTAL_OF.get(line.kind, line.group)] += line.net
    sums["discount"] = ZERO - sums["discount"]
    deposits = total(deposit.amount for deposit in job.deposits)
    due = assessment.gross - deposits
    return Totals(
        **sums,
        net=assessment.net,
        tax=assessment.tax,
        total=assessment.gross,
        deposits=deposits,
        due=due,
        cash=to_pay_in_cash(due, edition.policy),
        minutes=total([line.minutes for line in lines]),
        cost=total([line.cost for line in lines if line.cost is not None]),
    )
