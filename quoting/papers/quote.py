"""The quote: what will be done and why, to which valves, for how much.

Cost and margin never stand on it.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from markupsafe import Markup

from quoting.domain.edition import Edition
from quoting.domain.quote import Alternative, Quote, not_included
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill
from quoting.papers.priced_table import (
    LETTERS,
    MarkedPlan,
    job_facts,
    marked_plan,
    priced_table,
)


def quote_paper(
    edition: Edition, quote: Quote, formats: Formats, size: str = ""
) -> Paper:
    """Return the quote with its alternatives side by side.

    Args:
        edition: that it was priced by.
        quote: one to three alternatives.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
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
                ("number", quote.number),
                ("date", formats.date(quote.on)),
                *job_facts(edition, first.job, quote.customer),
            ],
            "options": [
                _option(edition, way, letter, formats)
                for way, letter in zip(ways, _letters(ways), strict=True)
            ],
            "valid_until": formats.date(quote.valid_until),
            "ready": formats.date(quote.ready) if quote.ready else "",
            "plans": list(_plans(edition, ways)),
            "table": priced_table(
                edition, [(way.job, way.priced) for way in ways], formats
            ),
            "excluded": list(_excluded(edition, ways)),
            "condemned": list(_condemned(ways, formats)),
            "left_out": list(_left_out(ways)),
        },
    )


def _letters(ways: Sequence[Alternative]) -> Sequence[str]:
    return LETTERS[: len(ways)] if len(ways) > 1 else [""]


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


def _plans(
    edition: Edition, ways: Sequence[Alternative]
) -> Iterable[tuple[Markup, str]]:
    """Yield the plans worth looking at: those that single valves out, else the first.

    Alternatives of other heads have each their own.
    """
    plans: dict[tuple[str, ...], list[tuple[MarkedPlan, str]]] = {}
    for index, (way, letter) in enumerate(zip(ways, _letters(ways), strict=True)):
        if plan := marked_plan(edition, way.job, way.priced, f"plan{index}"):
            words = f"{letter}. {plan.words}" if letter else plan.words
            layouts = tuple(head.layout.code for head in way.job.heads)
            plans.setdefault(layouts, []).append((plan, words))
    for drawn in plans.values():
        singled_out = [(plan, words) for plan, words in drawn if plan.singled_out]
        for plan, words in singled_out or drawn[:1]:
            yield plan.picture, words


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
            f"{of}If a test shows that it cannot be repaired, we stop there and you "
            f"pay at most {amount} with tax."
        )


def _left_out(ways: Sequence[Alternative]) -> Iterable[str]:
    return dict.fromkeys(
        notice.text
        for way in ways
        for notice in (*way.priced.notices, *way.priced.questions)
    )
