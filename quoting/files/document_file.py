"""An issued document kept by the shop: everything its paper says, as compact JSON.

Amounts are exact decimals written as text, days are ISO 8601. Equal documents give the
same text, and ``read`` gives the same document back.
"""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import Document


class UnreadableDocumentError(RuleError):
    """A text is no document that was kept."""

    message = translatable("This is no document of the records: {why}.")


def write(document: Document) -> str:
    """Return *document* as JSON that ``read`` takes."""
    return json.dumps(_plain(document), ensure_ascii=False, separators=(",", ":"))


def read(text: str) -> Document:
    """Return the document that ``write`` gave as *text*.

    Raises:
        UnreadableDocumentError: it is none.
    """
    try:
        made: Document = _made(Document, json.loads(text))
    except (ValueError, TypeError, RecursionError) as error:
        raise UnreadableDocumentError(why=error) from None
    return made


def _plain(value: Any) -> Any:
    if isinstance(value, str | int | NoneType):
        return value
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if hasattr(value, "_asdict"):
        return {name: _plain(each) for name, each in value._asdict().items()}
    if isinstance(value, Mapping):
        return {name: _plain(each) for name, each in sorted(value.items())}
    return [_plain(each) for each in value]


def _made(kind: Any, value: Any) -> Any:
    """Return what ``_plain`` wrote as *value*, of a type as a field names it."""
    origin, inside = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return None if value is None else _made(inside[0], value)
    if origin is tuple:
        return tuple(_made(inside[0], each) for each in _the(list, value))
    if origin is not None:
        return {
            name: _made(inside[1], each) for name, each in _the(dict, value).items()
        }
    if kind is Decimal:
        return _figure(_the(str, value))
    if kind is date:
        return date.fromisoformat(_the(str, value))
    if issubclass(kind, StrEnum):
        return kind(value)
    if hints := _hints(kind):
        given = _the(dict, value)
        if unknown := sorted(given.keys() - hints):
            raise ValueError(f"{kind.__name__} has no {', '.join(unknown)}")
        return kind(**{name: _made(hints[name], each) for name, each in given.items()})
    return _the(kind, value)


def _the(kind: Any, value: Any) -> Any:
    if type(value) is not kind:
        raise TypeError(f"{value!r} is not of the type {kind.__name__}")
    return value


def _figure(text: str) -> Decimal:
    try:
        if (figure := Decimal(text)).is_finite():
            return figure
    except InvalidOperation:
        pass
    raise ValueError(f"{text!r} is no figure")


@cache
def _hints(kind: type) -> dict[str, Any]:
    if is_dataclass(kind) or hasattr(kind, "_fields"):
        return get_type_hints(kind)
    return {}
