"""The quote: what will be done and why, to which valves, for how much.

Cost and margin never stand on it.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.quote import Alternative, Quote, not_included
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.priced_table import (
    LETTERS,
    MarkedPlan,
    head_fact,
    job_facts,
    marked_plan,
    priced_table,
)


class OnTop(NamedTuple):
    """What an inspection may find of one alternative, and what it then costs.

    Attributes:
        says: what it may find, in the customer's words.
        one: what it adds for one that is affected; net, and with tax.
        all: what it adds for all of them.
    """

    says: str
    one: tuple[Decimal, Decimal]
    all: tuple[Decimal, Decimal]


def quote_paper(
    edition: Edition,
    quote: Quote,
    formats: Formats,
    size: str = "",
    on_top: Sequence[Sequence[OnTop]] = (),
) -> Paper:
    """Return the quote with its alternatives side by side.

    Args:
        edition: that it was priced by.
        quote: one to three alternatives.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        on_top: of each alternative what may come on top.
    """
    formats = on_paper(formats)
    ways = quote.alternatives
    first = ways[0]
    return fill(
        "quote",
        shop=edition.shop,
        formats=formats,
        size=size,
        kind="Quote",
        number=quote.number,
        made=quote.on,
        block=[
            ("date", formats.date(quote.on)),
            ("holds until", formats.date(quote.valid_until)),
        ],
        values={
            "customer": quote.customer,
            "facts": [
                ("date", formats.date(quote.on)),
                *job_facts(edition, first.job, quote.customer),
                _heads(ways),
            ],
            "options": [
                _option(edition, way, letter, formats)
                for way, letter in zip(ways, _letters(ways), strict=True)
            ],
            "valid_until": formats.date(quote.valid_until),
            "ready": formats.date(quote.ready) if quote.ready else "",
            "taxed": any(way.priced.totals.tax for way in ways),
            "plans": list(_plans(edition, ways)),
            "table": priced_table(
                edition, [(way.job, way.priced) for way in ways], formats
            ),
            "notes": list(_notes(edition, ways, formats, on_top)),
        },
    )


def _notes(
    edition: Edition,
    ways: Sequence[Alternative],
    formats: Formats,
    on_top: Sequence[Sequence[OnTop]],
) -> Iterable[tuple[str, Sequence[str]]]:
    """Yield what one should know beside the price: its heading and its sentences."""
    if found := list(_on_top(edition, ways, formats, on_top)):
        yield "What may come on top", found
    if excluded := list(_excluded(edition, ways)):
        yield "Not included", [f"{', '.join(excluded)}."]
    if condemned := list(_condemned(ways, formats)):
        yield "If it cannot be repaired", condemned
    if left_out := list(_left_out(ways)):
        yield "Left out, left open", left_out
    if edition.ceiling is not None and edition.ceiling.legend:
        yield "If more turns out to be needed", [edition.ceiling.legend]
    if guarantee := edition.shop.guarantee:
        yield "Guarantee", [guarantee]


def _on_top(
    edition: Edition,
    ways: Sequence[Alternative],
    formats: Formats,
    on_top: Sequence[Sequence[OnTop]],
) -> Iterable[str]:
    """Yield what may come on top, in words and amounts; never how often it does."""
    said: dict[str, list[str]] = {}
    modes = set()
    for way, letter, found in zip(ways, _letters(ways), on_top, strict=False):
        terms = way.job.terms or edition.terms[edition.shop.terms]
        gross = int(terms.headline != "net")
        for each in found:
            one, every = formats.money(each.one[gross]), formats.money(each.all[gross])
            amount = one if one == every else f"{one} for one, {every} for all"
            said.setdefault(each.says, []).append(f"{letter} {amount}".strip())
            modes.add("with tax" if gross else "before tax")
    for finding, amounts in said.items():
        yield f"{finding[:1].upper()}{finding[1:]}: {'; '.join(amounts)}."
    if said:
        mode = f"{' and '.join(sorted(modes))}, and on top of the price above"
        yield f"Amounts are {mode}; we ask you before we do any of it."


def _letters(ways: Sequence[Alternative]) -> Sequence[str]:
    return LETTERS[: len(ways)] if len(ways) > 1 else [""]


def _heads(ways: Sequence[Alternative]) -> tuple[str, str]:
    """Return which heads the quote is for; by letter where alternatives differ."""
    said: dict[tuple[str, str], list[str]] = {}
    for way, letter in zip(ways, _letters(ways), strict=True):
        said.setdefault(head_fact(way.job), []).append(letter)
    if len(said) == 1:
        return next(iter(said))
    words = [f"{', '.join(of)}: {heads}" for (_, heads), of in said.items()]
    return "heads", "; ".join(words)


def _option(
    edition: Edition, way: Alternative, letter: str, formats: Formats
) -> dict[str, Any]:
    totals = way.priced.totals
    terms = way.job.terms or edition.terms[edition.shop.terms]
    net, gross = formats.money(totals.net), formats.money(totals.total)
    if not totals.tax:
        said, figure, other = "no tax is charged", gross, ""
    elif terms.headline == "net":
        said, figure, other = "before tax", net, f"{gross} with tax"
    else:
        said, figure, other = "with tax", gross, f"{net} before tax"
    return {
        "letter": letter,
        "label": way.label,
        "said": said,
        "figure": figure,
        "other": other,
    }


def _plans(edition: Edition, ways: Sequence[Alternative]) -> Iterable[MarkedPlan]:
    """Yield the plans worth looking at: those that single valves out, else the first.

    Alternatives of other heads have each their own.
    """
    plans: dict[tuple[str, ...], list[MarkedPlan]] = {}
    for index, (way, letter) in enumerate(zip(ways, _letters(ways), strict=True)):
        if plan := marked_plan(edition, way.job, way.priced, f"plan{index}"):
            if letter:
                plan = plan._replace(words=f"{letter}. {plan.words}")
            layouts = tuple(head.layout.code for head in way.job.heads)
            plans.setdefault(layouts, []).append(plan)
    for drawn in plans.values():
        yield from [plan for plan in drawn if plan.singled_out] or drawn[:1]


def _excluded(edition: Edition, ways: Sequence[Alternative]) -> Iterable[str]:
    """Yield what is not included; with its letters where only some leave it out."""
    missing: dict[str, list[str]] = {}
    for way, letter in zip(ways, _letters(ways), strict=True):
        for text in not_included(edition, way.job, way.priced):
            missing.setdefault(text, []).append(letter)
    for text, letters in missing.items():
        yield text if len(letters) == len(ways) else f"{text} ({', '.join(letters)})"


def _condemned(ways: Sequence[Alternative], formats: Formats) -> Iterable[str]:
    amounts: dict[str, list[str]] = {}
    for way, letter in zip(ways, _letters(ways), strict=True):
        if way.condemned is not None:
            amounts.setdefault(formats.money(way.condemned), []).append(letter)
    for amount, letters in amounts.items():
        of = f"{', '.join(letters)}: " if 0 < len(letters) < len(ways) else ""
        yield (
            f"{of}We stop at the test that shows it, and you pay at most {amount} "
            "with tax."
        )


def _left_out(ways: Sequence[Alternative]) -> Iterable[str]:
    yield from dict.fromkeys(
        notice.text
        for way in ways
        for notice in (*way.priced.notices, *way.priced.questions)
    )
