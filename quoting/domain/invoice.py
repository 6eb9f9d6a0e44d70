"""Documents of money: invoice, deposit invoice and credit note, frozen when issued.

Pure. A document is made from priced work, or from the document that it corrects; it
holds everything that its paper says, so nothing is ever worked out again. Amounts are
Decimal in the document's currency; those of a credit note are positive, its kind says
which way they go.

An item is made of bits. A bit is what the item charges under one tax code: of its own,
or as the part of an adjustment (a discount, the price of a set ...) that another item
bears. Bits carry net and tax, so a credit of one line takes with it exactly what hangs
on that line, and credits in any order come to nothing in the end.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quoting.domain.lines import Line
from quoting.domain.money import (
    HUNDRED,
    ONE,
    ZERO,
    Currency,
    NothingToSplitError,
    apportion,
)
from quoting.domain.pricing import Priced
from quoting.domain.rates import Shop
from quoting.domain.tax import (
    Amount,
    Assessment,
    Group,
    Part,
    Policy,
    Tax,
    Taxes,
    assess,
    bases_of,
    taxes_by_line,
)


class Kind(StrEnum):
    """What a document is; each kind has a series of numbers of its own."""

    INVOICE = "invoice"
    DEPOSIT = "deposit invoice"
    CREDIT = "credit note"


class Why(StrEnum):
    """Why something is credited; the words beside it say more."""

    PRICE = "price agreed afterwards"
    WORK = "work not done or not accepted"
    RETURNED = "part or old unit returned"
    MISTAKE = "mistake on the invoice"
    GOODWILL = "goodwill"


@dataclass(frozen=True, slots=True)
class Party:
    """Seller or buyer, as the document names them.

    Attributes:
        name: in full.
        address: street lines.
        postcode, town, region: of the address.
        country: ISO 3166-1 alpha-2 code.
        tax_number: with the country's letters, such as a VAT number.
        register_number: in a register of companies.
        email, phone: to reach them.
    """

    name: str
    address: tuple[str, ...] = ()
    postcode: str = ""
    town: str = ""
    region: str = ""
    country: str = ""
    tax_number: str = ""
    register_number: str = ""
    email: str = ""
    phone: str = ""

    @property
    def vat_identifier(self) -> str:
        """Return its tax number if that is a VAT identifier; else empty.

        A VAT identifier begins with its country.
        """
        number = "".join(self.tax_number.split()).upper()
        prefixes = (self.country, _VAT_PREFIX.get(self.country))
        return number if number[:2] in prefixes else ""


#: Countries whose VAT identifiers begin otherwise (EN 16931 BR-CO-09).
_VAT_PREFIX = {"GR": "EL", "GB": "XI"}


@dataclass(frozen=True, slots=True)
class Bank:
    """Where to pay: an account by IBAN, its BIC and holder."""

    iban: str = ""
    bic: str = ""
    holder: str = ""


class Bit(NamedTuple):
    """What an item charges under one tax code.

    Attributes:
        code: the tax code.
        amount: in the document's price mode.
        net: what of it is net.
        taxes: what it owes of each tax that the code names; those of all bits add up
            to the document's rows.
        of: place of the item that bears it; 0: the item itself.
    """

    code: str
    amount: Decimal
    net: Decimal
    taxes: tuple[Decimal, ...]
    of: int = 0

    @property
    def tax(self) -> Decimal:
        """Return all its taxes together."""
        return sum(self.taxes, ZERO)

    @property
    def gross(self) -> Decimal:
        """Return net and tax together."""
        return self.net + self.tax


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a document.

    Attributes:
        place: counted from 1; on a credit note that of the line it credits.
        kind: as of a priced line.
        group: its income group; surcharges are held, not earned.
        bits: what it charges, by tax code and bearer.
        detail: the arithmetic in words.
        quantity, noun: units charged and what they are.
        work: number of the work order it belongs to, where the document has several.
    """

    place: int
    kind: str
    code: str
    description: str
    group: str
    bits: tuple[Bit, ...]
    detail: str = ""
    quantity: Decimal | None = None
    noun: str = ""
    work: str = ""

    @property
    def amount(self) -> Decimal:
        """Return what it charges, in the document's price mode."""
        return sum((bit.amount for bit in self.bits), ZERO)

    @property
    def net(self) -> Decimal:
        """Return what it charges before tax."""
        return sum((bit.net for bit in self.bits), ZERO)

    @property
    def tax(self) -> Decimal:
        """Return its share of the document's tax."""
        return sum((bit.tax for bit in self.bits), ZERO)

    @property
    def codes(self) -> tuple[str, ...]:
        """Return its tax codes."""
        return tuple(dict.fromkeys(bit.code for bit in self.bits))


class Reference(NamedTuple):
    """Another document that this one refers to."""

    number: str
    on: date


class CodeShare(NamedTuple):
    """What of an amount stands under one tax code."""

    code: str
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Deducted:
    """A deposit that an invoice takes off what is to be paid.

    Attributes:
        number, on: of its receipt, or of its deposit invoice.
        gross: what is taken off.
        taxes: where its tax fell due on receipt: base and tax by group, as on the
            deposit invoice; else empty.
        codes: the same by tax code.
    """

    number: str
    on: date
    gross: Decimal
    taxes: tuple[Group, ...] = ()
    codes: tuple[CodeShare, ...] = ()

    @property
    def tax(self) -> Decimal:
        """Return the tax that was already due on it."""
        return sum((group.amount for group in self.taxes), ZERO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """What was issued, or would be: without a number it is not issued.

    Attributes:
        supplied: day of supply, the tax point of the rates.
        pay_by: last day to pay; None on a credit note.
        buyer: None where a simplified document names nobody.
        taxes: one row for each authority, category and rate; they add up to ``tax``.
        taxes_of: the taxes that each tax code names.
        refers: the invoice that a credit note corrects.
        order_number, registration: the customer's own references.
        quote, work: numbers of the shop's quote and work order.
        legends: what the country has a document say.
        terms: what who pays early may take off, in words; empty: nothing.
    """

    kind: Kind
    number: str = ""
    on: date
    supplied: date
    pay_by: date | None = None
    currency: Currency
    locale: str
    seller: Party
    buyer: Party | None
    bank: Bank = Bank()
    policy: Policy
    items: tuple[Item, ...]
    taxes: tuple[Group, ...]
    taxes_of: Mapping[str, Taxes]
    deposits: tuple[Deducted, ...] = ()
    refers: tuple[Reference, ...] = ()
    reason: Why | None = None
    because: str = ""
    order_number: str = ""
    registration: str = ""
    quote: str = ""
    work: str = ""
    heads: tuple[str, ...] = ()
    legends: tuple[str, ...] = ()
    terms: str = ""

    @property
    def net(self) -> Decimal:
        """Return the sum before tax."""
        return sum((item.net for item in self.items), ZERO)

    @property
    def tax(self) -> Decimal:
        """Return the sum of the tax rows."""
        return sum((group.amount for group in self.taxes), ZERO)

    @property
    def gross(self) -> Decimal:
        """Return net and tax together."""
        return self.net + self.tax

    @property
    def deducted(self) -> Decimal:
        """Return what deposits take off."""
        return sum((each.gross for each in self.deposits), ZERO)

    @property
    def due(self) -> Decimal:
        """Return gross less deposits; below nothing where more was held than is due."""
        return self.gross - self.deducted

    @property
    def income(self) -> Mapping[str, Decimal]:
        """Return the nets by income group; discounts stand apart."""
        nets: dict[str, Decimal] = {}
        for item in self.items:
            group = "discounts" if item.kind == "discount" else item.group
            nets[group] = nets.get(group, ZERO) + item.net
        return nets


class Work(NamedTuple):
    """Priced work that goes on an invoice; *number* is its work order's."""

    priced: Priced
    number: str = ""


def items_of(
    work: Sequence[Work],
    policy: Policy,
    unit: Decimal,
) -> tuple[tuple[Item, ...], tuple[Group, ...]]:
    """Return the items of an invoice, and its tax rows.

    How each comes about is left to whoever knows the reader.

    Args:
        work: one priced job, or for a collective invoice several of one price mode.
        policy: how tax is worked out; it is rounded once for the whole document.
        unit: the currency's smallest unit.

    Source:
        EN 16931 BR-S-08 and BR-CO-17 for the tax; shares of adjustments and of tax by
        largest remainder: docs/decisions/0004-rounding.md.
    """
    drafts: list[tuple[Item, list[_Share]]] = []
    taxes_of: dict[str, Taxes] = {}
    for priced, number in work:
        shares = _shares(priced, len(drafts), unit)
        taxes_of.update(priced.taxes_of)
        for line, parts in zip(priced.lines, shares, strict=True):
            item = Item(
                place=len(drafts) + 1,
                kind=line.kind,
                code=line.code,
                description=line.description,
                group=_income(line),
                bits=(),
                quantity=line.quantity,
                noun=line.noun,
                work=number,
            )
            drafts.append((item, parts))
    if len(work) == 1:
        priced, totals = work[0].priced, work[0].priced.totals
        assessment = Assessment(priced.taxes, totals.net, totals.tax, totals.total)
    else:
        assessment = assess(_charged(work, taxes_of), policy, unit)
    amounts = [
        Amount(part.amount, taxes_of[part.code], part.code, item.quantity or ONE)
        for item, parts in drafts
        for part in parts
    ]
    tax = iter(taxes_by_line(amounts, assessment, policy, unit))
    items = tuple(
        replace(item, bits=tuple(_bit(part, next(tax), policy) for part in parts))
        for item, parts in drafts
    )
    return items, tax_rows(items, taxes_of)


def _charged(work: Sequence[Work], taxes_of: Mapping[str, Taxes]) -> list[Amount]:
    return [
        Amount(amount, taxes_of[code], code, line.quantity or ONE)
        for priced, _ in work
        for line in priced.lines
        for code, amount in line.shares
    ]


def _income(line: Line) -> str:
    return "sundries" if line.kind == "sundries" else line.group


class _Share(NamedTuple):
    code: str
    amount: Decimal
    of: int = 0


def _bit(share: _Share, taxes: tuple[Decimal, ...], policy: Policy) -> Bit:
    within = sum(taxes, ZERO) if policy.inclusive else ZERO
    return Bit(share.code, share.amount, share.amount - within, taxes, share.of)


#: Adjustments that hang on lines; rush, make-up and sundries stand for themselves.
_BORNE = frozenset(("set_price", "discount", "no_fix", "warranty", "call_it"))


def _shares(priced: Priced, before: int, unit: Decimal) -> list[list[_Share]]:
    """Return for each line its amounts by tax code and by the place that bears them."""
    lines = priced.lines
    shares: list[list[_Share]] = []
    for i, line in enumerate(lines):
        if line.kind not in _BORNE:
            shares.append([_Share(code, amount) for code, amount in line.shares])
            continue
        weights = _weights(priced, shares, i, before)
        parts: list[_Share] = []
        for code, amount in line.shares:
            parts += _spread(code, amount, weights.get(code, {}), unit)
        shares.append(parts)
    return shares


def _spread(
    code: str, amount: Decimal, weights: Mapping[int, Decimal], unit: Decimal
) -> Iterator[_Share]:
    try:
        parts = apportion(amount, list(weights.values()), unit)
    except NothingToSplitError:
        yield _Share(code, amount)  # what it was worked out on comes to nothing
        return
    for place, part in zip(weights, parts, strict=True):
        if part:
            yield _Share(code, part, place)


def _weights(
    priced: Priced, shares: Sequence[Sequence[_Share]], i: int, before: int
) -> dict[str, dict[int, Decimal]]:
    """Return by tax code how much each place counts in what line *i* was worked on."""
    lines = priced.lines
    line = lines[i]
    weights: dict[str, dict[int, Decimal]] = {}
    for j, each in _worked_on(lines, i):
        counted = dict(each.discounted) if line.kind == "discount" else None
        for code, amount, of in shares[j]:
            worth = _worth(amount, code, each, counted)
            at = weights.setdefault(_under(line, code, priced.taxes_of), {})
            place = of or before + j + 1
            at[place] = at.get(place, ZERO) + worth
    return weights


def _under(line: Line, code: str, taxes_of: Mapping[str, Taxes]) -> str:
    """Return the code that *line* adjusts *code* under: one agreed total does alike."""
    alike = line.kind == "call_it" and taxes_of[code] == taxes_of[line.tax_code]
    return line.tax_code if alike else code


def _worth(
    amount: Decimal, code: str, line: Line, counted: Mapping[str, Decimal] | None
) -> Decimal:
    if counted is None:
        return amount
    whole = dict(line.shares)[code]
    return amount * counted.get(code, ZERO) / whole if whole else ZERO


def _worked_on(lines: Sequence[Line], i: int) -> Iterator[tuple[int, Line]]:
    """Yield the lines that adjustment *i* was worked out on, as pricing has it."""
    line = lines[i]
    for j in range(_first(lines, i), i):
        each = lines[j]
        match line.kind:
            case "set_price":
                meant = each.set == line.set
            case "discount":
                meant = each.group == line.group and bool(each.discounted)
            case "no_fix":
                meant = each.group == "labour"
            case "warranty":
                meant = each.warranty is not None and (
                    each.warranty * HUNDRED == line.unit_price
                )
            case _:
                meant = True
        if meant:
            yield j, each


def _first(lines: Sequence[Line], i: int) -> int:
    """Return where the lines begin that *i* is about: condemned heads stand apart."""
    line = lines[i]
    if line.kind == "no_fix":
        return next((j for j in range(i) if {*lines[j].heads} & {*line.heads}), 0)
    if line.kind not in ("set_price", "discount"):
        return 0
    about = (line.kind, line.group, line.set)
    same = (
        j for j in range(i) if (lines[j].kind, lines[j].group, lines[j].set) == about
    )
    return max((j + 1 for j in same), default=0)


def tax_rows(items: Iterable[Item], taxes_of: Mapping[str, Taxes]) -> tuple[Group, ...]:
    """Return the tax rows that *items* add up to, in the order first met."""
    rows: dict[Tax, Group] = {}
    for bit in (bit for item in items for bit in item.bits):
        taxes = taxes_of[bit.code]
        bases = bases_of(taxes, bit.net, bit.taxes)
        for tax, base, owed in zip(taxes, bases, bit.taxes, strict=True):
            before = rows.get(tax, Group(tax, ZERO, ZERO))
            rows[tax] = Group(tax, before.base + base, before.amount + owed)
    return tuple(rows.values())


# Deposit invoices.


def deposit_bits(parts: Sequence[tuple[str, Part]], policy: Policy) -> tuple[Bit, ...]:
    """Return the bits of a deposit invoice's one item.

    Args:
        parts: a tax code and what of the deposit is under it, for each code, as
            ``tax.split_gross`` gives them.
        policy: of the document.
    """
    return tuple(
        Bit(code, part.gross if policy.inclusive else part.net, part.net, part.tax)
        for code, part in parts
    )


def seller(shop: Shop) -> Party:
    """Return a shop as its documents name it: by its name in law."""
    return Party(
        name=shop.legal_name or shop.name,
        address=shop.street,
        postcode=shop.postcode,
        town=shop.town,
        region=shop.region,
        country=shop.country,
        tax_number=shop.tax_number,
        register_number=shop.register_number,
        email=shop.email,
        phone=shop.phone,
    )


def bank(shop: Shop) -> Bank:
    """Return where a shop is paid by transfer."""
    return Bank(shop.iban, shop.bic, shop.account_holder)
