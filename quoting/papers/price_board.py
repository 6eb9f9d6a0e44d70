"""The price board: what an edition charges, to hang on the wall.

It is also what the shop prices by when the machine is down.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS
from quoting.domain.money import ONE
from quoting.domain.rates import Operation, Rate
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper


def price_board(edition: Edition, formats: Formats, on: date, size: str = "") -> Paper:
    """Return the board of the operations and sets that an edition shows on it."""
    formats = on_paper(formats)
    classes = edition.size_classes
    return fill(
        "price_board",
        shop=edition.shop,
        formats=formats,
        size=size,
        kind="Price board",
        number="",
        made=on,
        block=[("edition", edition.shop.edition), ("printed", formats.date(on))],
        values={
            "facts": [
                ("edition", edition.shop.edition),
                ("in force from", formats.date(edition.shop.valid_from)),
                ("prices", _mode(edition, formats)),
            ],
            "tables": [t for t in _tables(edition, classes, formats) if t["rows"]],
            "notes": list(_notes(edition, formats)),
        },
    )


def _mode(edition: Edition, formats: Formats) -> str:
    tax = "with tax" if edition.policy.inclusive else "before tax"
    return f"in {formats.currency.code}, {tax}"


#: Size classes beside each other in one table; more go into a further one.
MOST_CLASSES = 6


def _tables(
    edition: Edition, classes: Sequence[str], formats: Formats
) -> Iterator[Mapping[str, Any]]:
    """Yield the sets and the operations, each for some of the size classes."""
    for start in range(0, len(classes), MOST_CLASSES):
        some = classes[start : start + MOST_CLASSES]
        yield {
            "title": "Sets of work, a head",
            "what": "set",
            "classes": some,
            "rows": list(_sets(edition, some, formats)),
        }
        yield {
            "title": "Single operations",
            "what": "operation",
            "classes": some,
            "rows": [
                _operation(edition, operation, some, formats)
                for operation in edition.operations.values()
                if operation.on_board
            ],
        }


class _Figures(NamedTuple):
    """What is charged for one thing, in each size class; empty where nothing is."""

    of: str
    prices: Sequence[str]


def _sets(
    edition: Edition, classes: Sequence[str], formats: Formats
) -> Iterator[Mapping[str, Any]]:
    prices = {
        (row.set, row.size_class): row.price
        for row in edition.set_prices
        if not row.layout
    }
    for work_set in edition.sets.values():
        found = [
            prices.get((work_set.code, each), prices.get((work_set.code, "")))
            for each in classes
        ]
        if work_set.on_board and any(price is not None for price in found):
            left_out = ", ".join(work_set.leaves_out)
            shown = ["" if p is None else formats.amount(p) for p in found]
            yield {
                "text": work_set.name,
                "small": [f"without {left_out}"] if left_out else [],
                "figures": [_Figures("head", shown)],
            }


def _operation(
    edition: Edition, operation: Operation, classes: Sequence[str], formats: Formats
) -> Mapping[str, Any]:
    small = []
    if operation.step is not None:
        unit = operation.step_unit
        small.append(
            f"first {formats.number(operation.included)} {unit} in it, then a step "
            f"of {formats.number(operation.step)} {unit}"
        )
    if operation.minimum:
        small.append(f"at least {formats.amount(operation.minimum)}")
    if operation.priced_by == "time":
        centre = edition.work_centres[operation.work_centre]
        small.append(f"{formats.amount(centre.hourly_rate)} an hour")
    rates = [edition.rates(each)[operation.code] for each in classes]
    return {
        "text": operation.name,
        "small": small,
        "figures": list(_figures(operation, rates, formats)),
    }


def _figures(
    operation: Operation, rates: Sequence[Rate], formats: Formats
) -> Iterator[_Figures]:
    noun = "step" if operation.step else COUNTS[operation.counted_by].singular
    timed = operation.priced_by == "time"
    show = formats.minutes if timed else formats.amount
    if timed:
        figures = {
            f"set-up, a {operation.base_per}, min": [rate.setup for rate in rates],
            f"{noun}, min": [rate.each for rate in rates],
        }
    else:
        figures = {f"base, a {operation.base_per}": [rate.base for rate in rates]}
        if any(rate.inlet != rate.exhaust for rate in rates):
            figures[f"inlet {noun}"] = [rate.inlet for rate in rates]
            figures[f"exhaust {noun}"] = [rate.exhaust for rate in rates]
        else:
            figures[noun] = [rate.inlet for rate in rates]
    for of, prices in figures.items():
        if any(prices):
            yield _Figures(of, [show(price) if price else "" for price in prices])


def _notes(edition: Edition, formats: Formats) -> Iterator[str]:
    yield "Where there is a base, the price of each unit comes on top of it."
    shop = edition.shop
    if shop.job_minimum:
        yield f"Least labour of a job: {formats.amount(shop.job_minimum)}."
    for modifier in edition.modifiers.values():
        if modifier.works_on != "minutes" and modifier.factor != ONE:
            part = "unit price" if modifier.scales == "unit" else "whole line"
            names = ", ".join(edition.operations[c].name for c in modifier.operations)
            factor = formats.number(modifier.factor)
            yield f"{modifier.name.capitalize()}: {part} x {factor} ({names})."
    for fee in edition.fees.values():
        if fee.operations:
            yield f"{fee.name}: {formats.amount(fee.price)} a {fee.per}."
