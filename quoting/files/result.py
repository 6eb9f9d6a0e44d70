"""A priced job as JSON: every amount an exact decimal string."""

import json
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from quoting.domain.lines import Line, plain, why
from quoting.domain.pricing import Priced

#: The totals, in the order of the output.
TOTALS = (
    "labour", "discount", "rush", "make_up", "sundries", "fees", "parts", "outwork",
    "exchange", "surcharges", "adjustment", "net", "tax", "total", "deposits", "due",
)  # fmt: skip


def as_json(
    alternatives: Sequence[tuple[str, Priced]],
    candidates: Sequence[tuple[str, Priced]] = (),
    not_placed: Iterable[str] = (),
    questions: Iterable[str] = (),
) -> str:
    """Return priced jobs as JSON text.

    Args:
        alternatives: label and result of each alternative of a quote.
        candidates: label and result of each head that half a description may mean.
        not_placed: the caller's words that nothing was made of.
        questions: what must be asked back.

    Returns:
        An object with ``lines``, ``taxes`` and ``totals`` of the first result on top.
    """
    first = next(iter([*alternatives, *candidates]), None)
    result = {
        **(_priced(first[1]) if first else {"lines": [], "taxes": [], "totals": {}}),
        "not_placed": list(not_placed),
        "questions": list(questions),
        "alternatives": [{"label": lb, **_priced(p)} for lb, p in alternatives],
        "candidates": [{"label": lb, **_priced(p)} for lb, p in candidates],
    }
    return json.dumps(result, ensure_ascii=False, indent=1)


def _priced(priced: Priced) -> Mapping[str, Any]:
    return {
        "lines": [_line(line) for line in priced.lines],
        "taxes": [
            {
                "authority": group.tax.authority,
                "category": group.tax.category,
                "rate": _text(group.tax.rate),
                "base": _text(group.base),
                "tax": _text(group.amount),
            }
            for group in priced.taxes
        ],
        "totals": {name: _text(getattr(priced.totals, name)) for name in TOTALS},
    }


def _line(line: Line) -> Mapping[str, Any]:
    stepped = line.noun == "step"
    return {
        "kind": line.kind,
        "code": line.code,
        "description": line.description,
        "heads": list(line.heads),
        "positions": [position.filed for position in line.positions],
        "quantity": _text(line.quantity),
        "base": _text(line.base),
        "bases": _text(line.bases),
        "unit_price": _text(line.unit_price),
        "steps": _text(line.quantity) if stepped else None,
        "modifiers": [modifier.code for modifier in line.modifiers],
        "minimum": _text(line.minimum),
        "net": _text(line.net),
        "tax_code": line.tax_code,
        "group": line.group,
        "minutes": _text(line.minutes),
        "why": why(line),
    }


def _text(amount: Decimal | None) -> str | None:
    return None if amount is None else plain(amount)
