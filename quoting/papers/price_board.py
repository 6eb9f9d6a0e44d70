"""The price board: what an edition charges, to hang on the wall.

It is also what the shop prices by when the machine is down.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS
from quoting.domain.money import ONE
from quoting.domain.rates import Operation, Rate
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill


def price_board(edition: Edition, formats: Formats, on: date, size: str = "") -> Paper:
    """Return the board of the operations and sets that an edition shows on it."""
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


def _tables(
    edition: Edition, classes: Sequence[str], formats: Formats
) -> Iterator[Mapping[str, Any]]:
    yield {
        "title": "Sets of work, a head",
        "what": "set",
        "classes": classes,
        "rows": list(_sets(edition, classes, formats)),
    }
    yield {
        "title": "Single operations",
        "what": "operation",
        "classes": classes,
        "rows": [
            _operation(edition, operation, classes, formats)
            for operation in edition.operations.values()
            if operation.on_board
        ],
    }


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
            yield {
                "text": work_set.name,
                "small": [f"without {', '.join(work_set.leaves_out)}"]
                if work_set.leaves_out
                else [],
                "per": "head",
                "prices": [[] if p is None else [formats.amount(p)] for p in found],
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
    counted = "step" if operation.step else COUNTS[operation.counted_by].singular
    centre = edition.work_centres[operation.work_centre]
    per = counted
    if operation.priced_by == "time":
        per = f"hour, {formats.amount(centre.hourly_rate)}"
    return {
        "text": operation.name,
        "small": small,
        "per": per,
        "prices": [_price(edition.rate(operation, each), formats) for each in classes],
    }


def _price(rate: Rate, formats: Formats) -> list[str]:
    """Return base and unit price, a line each."""
    if rate.timed:
        return [formats.minutes(rate.setup), f"+ {formats.minutes(rate.each)} min"]
    lines = [formats.amount(rate.base)] if rate.base else []
    plus = "+ " if rate.base else ""
    if rate.inlet != rate.exhaust:
        lines.append(f"{plus}{formats.amount(rate.inlet)} in")
        lines.append(f"{plus}{formats.amount(rate.exhaust)} ex")
    elif rate.inlet:
        lines.append(f"{plus}{formats.amount(rate.inlet)}")
    return lines


def _notes(edition: Edition, formats: Formats) -> Iterator[str]:
    yield "On top the base, below it the price of one unit; in: inlet, ex: exhaust."
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
