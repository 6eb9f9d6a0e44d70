"""What is offered to whom: a quote with its alternatives.

Pure. Dates are arguments; nothing here is worked out but what is said on the paper.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from quoting.domain.edition import Edition
from quoting.domain.job import Job
from quoting.domain.pricing import Priced, no_fix, price
from quoting.domain.tables import TEXT, TEXTS, column
from quoting.domain.work import Plan


@dataclass(frozen=True, slots=True)
class Customer:
    """Whose head it is, and the customer's own references for this job."""

    name: str = column(TEXT, "Name", default="")
    address: tuple[str, ...] = column(TEXTS, "Lines of the address", default=())
    phone: str = column(TEXT, "Telephone", default="")
    email: str = column(TEXT, "E-mail", default="")
    order_number: str = column(TEXT, "The customer's order number", default="")
    registration: str = column(TEXT, "Registration of the vehicle", default="")
    engine: str = column(TEXT, "What the head belongs to", default="")


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to do the job, priced.

    Attributes:
        label: such as "repair" or "12 valves".
        condemned: the most that is owed, with tax, if a test condemns the heads; None
            where no test decides.
    """

    label: str
    job: Job
    priced: Priced
    condemned: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Quote:
    """A numbered offer with up to three alternatives; the first leads."""

    number: str
    on: date
    valid_until: date
    customer: Customer
    alternatives: tuple[Alternative, ...]
    ready: date | None = None


MOST_ALTERNATIVES = 3


def offer(
    edition: Edition,
    label: str,
    job: Job,
    tax_point: date,
    *,
    work: Plan | None = None,
) -> Alternative:
    """Price one alternative and what it costs if the heads are condemned.

    Args:
        edition: the rate tables.
        label: of the alternative.
        job: what is asked for.
        tax_point: the day whose taxes are due.
        work: the plan of the job, if it stands already.

    Raises:
        RuleError: as ``pricing.price``.
    """
    priced = price(edition, job, tax_point, work=work)
    gate = last_gate(edition, priced)
    if gate is None or any(head.condemned_at for head in job.heads):
        return Alternative(label, job, priced)
    condemned = no_fix(edition, job, gate, tax_point, work=priced.plan)
    return Alternative(label, job, priced, condemned.totals.total)


def last_gate(edition: Edition, priced: Priced) -> str | None:
    """Return the code of the last test of a job that decides if the work goes on."""
    gates = [
        task.operation.code
        for task in priced.plan.tasks
        if edition.operations[task.operation.code].gate
    ]
    return gates[-1] if gates else None


def holds_until(edition: Edition, on: date) -> date:
    """Return the last day that a quote of *on* holds: so many days later.

    How many is the shop's own rule; whether an offer binds is for local law to say.
    """
    return on + timedelta(days=edition.shop.validity_days)


def not_included(edition: Edition, job: Job, priced: Priced) -> tuple[str, ...]:
    """Return what the quote says is not included, less what the job contains.

    The texts come from the reason why it came and from the sets of work; one that
    names an operation, part kind or part of the job by name or alias is left out.
    """
    texts: list[str] = []
    if job.reason:
        texts += edition.reasons[job.reason].leaves_out
    for asked in priced.plan.sets:
        texts += edition.sets[asked.set].leaves_out
    contained = set(_contained(edition, priced))
    return tuple(text for text in dict.fromkeys(texts) if text.lower() not in contained)


def _contained(edition: Edition, priced: Priced) -> Iterable[str]:
    for line in priced.lines:
        yield line.description.lower()
        if operation := edition.operations.get(line.code):
            yield from (alias.lower() for alias in operation.aliases)
            yield from (operation.consumes, f"{operation.consumes}s")
        if part := edition.parts.get(line.code):
            yield from (part.kind.lower(), f"{part.kind.lower()}s")
