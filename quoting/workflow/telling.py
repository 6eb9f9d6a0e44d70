"""An estimate in lines of text: for a terminal, and for whoever holds the phone."""

from collections.abc import Iterator

from quoting.domain.edition import Edition
from quoting.domain.lines import where, why
from quoting.domain.quote import Alternative, not_included
from quoting.i18n import Formats
from quoting.workflow.estimates import Estimate

MONEY = 11


def itemised(
    edition: Edition, estimate: Estimate, formats: Formats, *, costs: bool = False
) -> str:
    """Return an estimate as text: every line with its why, then the sums.

    Args:
        edition: that it was priced by.
        estimate: one or more ways; each is told in full.
        formats: the reader's locale.
        costs: also show what each line costs the shop and leaves.
    """
    return "\n".join(_lines(edition, estimate, formats, costs=costs))


def _lines(
    edition: Edition, estimate: Estimate, formats: Formats, *, costs: bool
) -> Iterator[str]:
    head = f"Quote {estimate.number}".strip()
    yield f"{head}, {formats.date(estimate.on)}"
    yield f"holds until {formats.date(estimate.valid_until)}"
    if estimate.echoed:
        yield f"understood: {'; '.join(estimate.echoed)}"
    if estimate.not_placed:
        yield f"could not place: {'; '.join(estimate.not_placed)}"
    for question in estimate.questions:
        yield f"ask: {question}"
    for number, way in enumerate(estimate.ways, 1):
        yield ""
        if way.label:
            yield f"{number}. {way.label}"
        yield from _way(edition, way, formats, costs=costs)


def _way(
    edition: Edition, way: Alternative, formats: Formats, *, costs: bool
) -> Iterator[str]:
    priced, heads = way.priced, way.job.heads
    header = f"{'':62}{formats.currency.code:>{MONEY}}"
    yield header + (f"{'cost':>{MONEY}}{'margin':>{MONEY}}" if costs else "")
    for line in priced.lines:
        text = line.description
        if line.size:
            text = f"{text}, {formats.length(line.size)}"
        place = where(line, heads, formats.quantity)
        text = f"{text}  [{place}]" if place else text
        row = f"{_cut(text, 61):62}{formats.amount(line.net):>{MONEY}}"
        if costs and line.cost is not None and line.margin is not None:
            row += f"{formats.amount(line.cost):>{MONEY}}"
            row += f"{formats.amount(line.margin):>{MONEY}}"
        yield row
        reasons = [line.because, why(line, formats.amount, formats.quantity)]
        if said := "; ".join(reason for reason in reasons if reason):
            yield f"    {said}"
    yield from _sums(way, formats)
    for notice in priced.plan.set_aside:
        yield f"rule set aside: {notice.text}"
    for notice in (*priced.notices, *priced.questions):
        yield f"note: {notice.text}"
    if excluded := not_included(edition, way.job, priced):
        yield f"not included: {', '.join(excluded)}"
    if way.condemned is not None:
        yield f"if a test condemns it: at most {formats.money(way.condemned)} with tax"


def _sums(way: Alternative, formats: Formats) -> Iterator[str]:
    totals = way.priced.totals
    yield f"{'':62}{'-' * MONEY}"
    yield f"{'net':62}{formats.amount(totals.net):>{MONEY}}"
    for group in way.priced.taxes:
        text = f"{group.tax.label} on {formats.amount(group.base)}"
        yield f"{_cut(text, 61):62}{formats.amount(group.amount):>{MONEY}}"
    yield f"{'total':62}{formats.amount(totals.total):>{MONEY}}"
    if totals.deposits:
        yield f"{'deposits':62}{formats.amount(-totals.deposits):>{MONEY}}"
        yield f"{'due':62}{formats.amount(totals.due):>{MONEY}}"


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"
