"""The difference sheet: what changed since the customer said yes, and what it costs.

Cost and margin never stand on it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.difference import Change, changes
from quoting.domain.edition import Edition
from quoting.domain.money import ZERO
from quoting.domain.quote import Alternative, Customer
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.priced_table import NOTHING, how, job_facts, text_of


@dataclass(frozen=True, slots=True)
class Revision:
    """A job as it was agreed, and as it is now.

    Attributes:
        number: of the quote or work order.
        on: the day of the sheet.
        customer: whose job it is.
        before: what the customer said yes to.
        after: what is asked for now, priced in the same price mode.
        agreed: the day of the yes, if known.
        reply_by: the day an answer is needed, if one was named.
        reasons: why a line changed, by its code, or by its words where it has none.
    """

    number: str
    on: date
    customer: Customer
    before: Alternative
    after: Alternative
    agreed: date | None = None
    reply_by: date | None = None
    reasons: Mapping[str, str] = field(default_factory=dict)


class _Row(NamedTuple):
    text: str
    small: Sequence[str]
    amounts: Sequence[str]


class _Section(NamedTuple):
    title: str
    rows: Sequence[_Row]


_TITLES = {"added": "New", "changed": "Changed", "gone": "No longer"}


def difference_sheet(
    edition: Edition, revision: Revision, formats: Formats, size: str = ""
) -> Paper:
    """Return the sheet that shows an agreed job beside what it is now.

    Args:
        edition: that the job is priced by now.
        revision: the job before and after.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    before, after = revision.before, revision.after
    was, now = (way.priced.totals.total for way in (before, after))
    charged = any(way.priced.totals.tax for way in (before, after))
    taxed = "with tax" if charged else "no tax is charged"
    pairs = changes(before.priced, after.priced)
    return fill(
        "difference",
        shop=edition.shop,
        formats=formats,
        size=size,
        kind="What changed,",
        number=revision.number,
        made=revision.on,
        block=[("date", formats.date(revision.on))],
        values={
            "customer": revision.customer,
            "facts": [
                ("date", formats.date(revision.on)),
                *job_facts(edition, after.job, revision.customer),
            ],
            "figures": [
                (before.label, f"as agreed, {taxed}", formats.money(was)),
                (after.label, f"now, {taxed}", formats.money(now)),
                ("", _direction(now - was), formats.money(abs(now - was))),
            ],
            "days": [
                (label, formats.date(day))
                for label, day in (
                    ("you said yes on", revision.agreed),
                    ("please answer by", revision.reply_by),
                )
                if day
            ],
            "code": formats.currency.code,
            "sections": list(_sections(edition, revision, pairs, formats)),
            "as_before": _as_before(pairs, formats),
            "sums": list(_sums(revision, formats)),
        },
    )


def _direction(change: Decimal) -> str:
    if not change:
        return "the same"
    return "more" if change > 0 else "less"


def _sections(
    edition: Edition, revision: Revision, pairs: Sequence[Change], formats: Formats
) -> Iterator[_Section]:
    for kind, title in _TITLES.items():
        rows = [
            _row(edition, revision, pair, formats)
            for pair in pairs
            if pair.kind == kind
        ]
        if rows:
            yield _Section(title, rows)


def _row(edition: Edition, revision: Revision, pair: Change, formats: Formats) -> _Row:
    before, after, line = pair.before, pair.after, pair.line
    was = how(before, revision.before.job, formats) if before else ""
    now = how(after, revision.after.job, formats) if after else ""
    if before and after:
        both = [f"before: {was}" if was else "", f"now: {now}" if now else ""]
        told = both if was != now else [now]
    else:
        told = [now or was]
    reason = revision.reasons.get(line.code or line.description, "")
    return _Row(
        text=text_of(edition, line, formats),
        small=[text for text in (reason, *told) if text],
        amounts=[
            formats.amount(before.net) if before else NOTHING,
            formats.amount(after.net) if after else NOTHING,
            _signed(pair.amount, formats),
        ],
    )


def _signed(change: Decimal, formats: Formats) -> str:
    return f"+{formats.amount(change)}" if change > 0 else formats.amount(change)


def _as_before(pairs: Sequence[Change], formats: Formats) -> _Row | None:
    """Return one row for every line that is as it was; None where there is none."""
    same = [pair.line for pair in pairs if pair.kind == "same"]
    if not same:
        return None
    net = formats.amount(sum((line.net for line in same), ZERO))
    many = f"{len(same)} lines" if len(same) > 1 else "one line"
    return _Row(f"As before, {many}", (), (net, net, formats.amount(ZERO)))


def _sums(revision: Revision, formats: Formats) -> Iterator[_Row]:
    """Yield net, each tax and total: before, after and the difference."""
    before, after = revision.before.priced, revision.after.priced

    def row(text: str, was: Decimal, now: Decimal) -> _Row:
        change = _signed(now - was, formats)
        return _Row(text, (), (formats.amount(was), formats.amount(now), change))

    total = row("Total with tax", before.totals.total, after.totals.total)
    if not after.inclusive:
        yield row("Net", before.totals.net, after.totals.net)
    for tax in dict.fromkeys(group.tax for p in (before, after) for group in p.taxes):
        was, now = (
            sum((group.amount for group in p.taxes if group.tax == tax), ZERO)
            for p in (before, after)
        )
        yield row(f"{tax.label} in it" if after.inclusive else tax.label, was, now)
    yield total
