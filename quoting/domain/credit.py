"""Credit notes: what of an issued invoice is taken back, and never more than is left.

Pure. A line takes with it what hangs on it: its share of the discounts, of its set's
price, of every other adjustment and of the tax, as they were fixed at issue. What is
credited last takes what is left of each, so credits in any order that take back all of
an invoice add up to it exactly.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import Bit, Document, Item, Kind, Reference, Why, tax_rows
from quoting.domain.money import HUNDRED, ZERO, fit, round_to

if TYPE_CHECKING:
    from quoting.domain.tax import Taxes


class NothingLeftError(RuleError):
    """All of an invoice, or of a line, is credited already."""

    message = translatable("All of {what} is credited already; nothing was issued.")


class TooMuchCreditedError(RuleError):
    """More is to be credited than is left."""

    message = translatable("{given} is more than the {left} that is left of {what}.")


class NothingCreditedError(RuleError):
    """A credit note would credit nothing."""

    message = translatable("Say what is credited: lines, an amount, or all of it.")


class NotAShareError(RuleError):
    """A line is to be credited by a share that is none."""

    message = translatable(
        "{percent} per cent of {what} cannot be credited: write more than 0 and at "
        "most 100, where 100 is all of the line."
    )


class Left(NamedTuple):
    """A bit of an invoice at *place* as it was issued, and what is left of it."""

    place: int
    whole: Bit
    rest: Bit


def left_of(invoice: Document, notes: Iterable[Document]) -> tuple[Left, ...]:
    """Return each bit of an invoice with what no credit note has taken back yet."""
    rest = {
        (item.place, bit.code, bit.of): bit
        for item in invoice.items
        for bit in item.bits
    }
    whole = dict(rest)
    for note in notes:
        for item in note.items:
            for bit in item.bits:
                key = (item.place, bit.code, bit.of)
                rest[key] = _less(rest[key], bit)
    return tuple(Left(key[0], whole[key], bit) for key, bit in rest.items())


def _less(bit: Bit, taken: Bit) -> Bit:
    taxes = tuple(a - b for a, b in zip(bit.taxes, taken.taxes, strict=True))
    return bit._replace(
        amount=bit.amount - taken.amount, net=bit.net - taken.net, taxes=taxes
    )


def left_of_line(left: Iterable[Left], place: int) -> Decimal:
    """Return what may still be credited for a line, with all that hangs on it."""
    return sum((bit.rest.gross for bit in left if _hangs_on(bit, place)), ZERO)


def _hangs_on(bit: Left, place: int) -> bool:
    return (bit.whole.of or bit.place) == place


def credit_all(invoice: Document, notes: Sequence[Document]) -> tuple[Item, ...]:
    """Return the items of a credit note for all that is left.

    Raises:
        NothingLeftError: nothing is.
    """
    items = _items(invoice, [(bit.place, bit.rest) for bit in left_of(invoice, notes)])
    if not items:
        raise NothingLeftError(what=invoice.number)
    return items


def credit_lines(
    invoice: Document,
    notes: Sequence[Document],
    lines: Mapping[int, Decimal],
    *,
    keep_tax: Collection[int] = (),
) -> tuple[Item, ...]:
    """Return the items of a credit note for some lines, whole or in part.

    A line takes with it, in proportion, its share of the discounts, of its set's
    price, of every other adjustment and of the tax. A part that reaches what is left
    takes all of that.

    Args:
        invoice: to be corrected.
        notes: issued for it before.
        lines: by place the share of the line as it was charged, above 0 to 1.
        keep_tax: places of lines whose tax stays charged, as that of an exchange
            surcharge where the law has it so.

    Raises:
        NotAShareError: a share is none.
        NothingCreditedError: no line was chosen.
        NothingLeftError: nothing is left of a line.
        TooMuchCreditedError: less is left of a line than is to be credited.
    """
    left = left_of(invoice, notes)
    names = {item.place: item.description for item in invoice.items}
    taken: list[tuple[int, Bit]] = []
    for place, share in lines.items():
        if not 0 < share <= 1:
            percent = f"{(share * HUNDRED).normalize():f}"
            raise NotAShareError(percent=percent, what=names.get(place, str(place)))
        bits = [bit for bit in left if _hangs_on(bit, place)]
        if not any(bit.rest.gross for bit in bits):
            raise NothingLeftError(what=names.get(place, str(place)))
        part = _part_of_line(bits, share, invoice, names[place])
        taken += map(_untaxed, part) if place in keep_tax else part
    if not (items := _items(invoice, taken)):
        raise NothingCreditedError
    return items


def _untaxed(taken: tuple[int, Bit]) -> tuple[int, Bit]:
    """Return a bit without its tax, which stays charged."""
    place, bit = taken
    return place, bit._replace(amount=bit.net, taxes=(ZERO,) * len(bit.taxes))


def _part_of_line(
    bits: Sequence[Left], share: Decimal, invoice: Document, name: str
) -> list[tuple[int, Bit]]:
    own = [bit for bit in bits if not bit.whole.of] or bits
    exact = share * sum((bit.whole.amount for bit in own), ZERO)
    asked = round_to(exact, invoice.currency.unit)
    rest = sum((bit.rest.amount for bit in own), ZERO)
    if abs(asked) > abs(rest):
        raise TooMuchCreditedError(given=abs(asked), left=abs(rest), what=name)
    if asked == rest:
        return [(bit.place, bit.rest) for bit in bits]
    return [(bit.place, _part(bit.rest, exact, rest, invoice)) for bit in bits]


def _part(bit: Bit, part: Decimal, of: Decimal, invoice: Document) -> Bit:
    """Return as much of what is left of a bit as *part* is of *of*."""
    unit = invoice.currency.unit
    amount = round_to(bit.amount * part / of, unit)
    taxes = _in_proportion(bit.taxes, round_to(bit.tax * part / of, unit), unit)
    within = sum(taxes, ZERO) if invoice.policy.inclusive else ZERO
    return bit._replace(amount=amount, net=amount - within, taxes=taxes)


def _in_proportion(
    amounts: Sequence[Decimal], whole: Decimal, unit: Decimal
) -> tuple[Decimal, ...]:
    """Return parts of *amounts* that add up to *whole*, none more than its amount."""
    of = sum(amounts, ZERO)
    ratio = Fraction(whole) / Fraction(of) if of else Fraction(0)
    return fit([Fraction(amount) * ratio for amount in amounts], whole, unit)


def credit_amount(
    invoice: Document, notes: Sequence[Document], gross: Decimal
) -> tuple[Item, ...]:
    """Return the items of a credit note for an amount with tax, over all that is left.

    What is taxed alike bears its share of it together, by what is left of that; so do
    its tax, which is rounded once, and its lines.

    Args:
        invoice: to be corrected.
        notes: issued for it before.
        gross: above 0, a multiple of the smallest unit.

    Raises:
        NothingCreditedError: it is not above 0.
        NothingLeftError: nothing is left.
        TooMuchCreditedError: less is left.
    """
    if gross <= 0:
        raise NothingCreditedError
    alike: dict[Taxes, list[Left]] = {}
    for bit in left_of(invoice, notes):
        alike.setdefault(invoice.taxes_of[bit.whole.code], []).append(bit)
    left = [sum((bit.rest.gross for bit in bits), ZERO) for bits in alike.values()]
    rest = sum(left, ZERO)
    if not rest:
        raise NothingLeftError(what=invoice.number)
    if gross > rest:
        raise TooMuchCreditedError(given=gross, left=rest, what=invoice.number)
    parts = _in_proportion(left, gross, invoice.currency.unit)
    return _items(
        invoice,
        [
            taken
            for bits, part in zip(alike.values(), parts, strict=True)
            for taken in _part_of_alike(bits, part, invoice)
        ],
    )


def _part_of_alike(
    bits: Sequence[Left], gross: Decimal, invoice: Document
) -> Iterator[tuple[int, Bit]]:
    """Yield what bits that are taxed alike give of *gross*; tax is rounded once."""
    unit, mode = invoice.currency.unit, invoice.policy.document_mode
    columns = list(zip(*((bit.rest.net, *bit.rest.taxes) for bit in bits), strict=True))
    net, *taxes = (sum(column, ZERO) for column in columns)
    tax = sum(taxes, ZERO)
    owed = round_to(gross * tax / (net + tax), unit, mode) if gross else ZERO
    wholes = (gross - owed, *_in_proportion(taxes, owed, unit))
    parts = [
        _in_proportion(column, whole, unit)
        for column, whole in zip(columns, wholes, strict=True)
    ]
    for bit, (part, *shares) in zip(bits, zip(*parts, strict=True), strict=True):
        within = sum(shares, ZERO) if invoice.policy.inclusive else ZERO
        yield (
            bit.place,
            bit.rest._replace(amount=part + within, net=part, taxes=tuple(shares)),
        )


def _items(invoice: Document, taken: Iterable[tuple[int, Bit]]) -> tuple[Item, ...]:
    by_place: dict[int, list[Bit]] = {}
    for place, bit in taken:
        if bit.amount or bit.net or bit.tax:
            by_place.setdefault(place, []).append(bit)
    return tuple(
        replace(item, bits=tuple(by_place[item.place]), quantity=None, detail="")
        for item in invoice.items
        if item.place in by_place
    )


def credit_note(
    invoice: Document,
    items: tuple[Item, ...],
    *,
    on: date,
    reason: Why,
    because: str,
    legends: tuple[str, ...] = (),
) -> Document:
    """Return the credit note that takes *items* of *invoice* back.

    Args:
        invoice: as it was issued.
        items: as ``credit_all``, ``credit_lines`` or ``credit_amount`` gives them.
        on: its day; the rates stay those of the invoice.
        reason: as a code.
        because: in words.
        legends: what the country has a credit note say.

    Raises:
        ReasonNeededError: *because* is empty.

    Source:
        Council Directive 2006/112/EC, Art. 219: a document that amends an invoice
        refers to it specifically and unambiguously.
    """
    if not because.strip():
        raise ReasonNeededError
    return replace(
        invoice,
        kind=Kind.CREDIT,
        number="",
        on=on,
        pay_by=None,
        items=items,
        taxes=tax_rows(items, invoice.taxes_of),
        deposits=(),
        refers=(Reference(invoice.number, invoice.on),),
        reason=reason,
        because=because.strip(),
        legends=legends,
        terms="",
    )


class ReasonNeededError(RuleError):
    """Something needs a reason in words."""

    message = translatable("Say why in a few words; it stands on the paper.")
