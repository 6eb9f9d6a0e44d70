"""Steps 6 and 7 of the calculation: parts, exchange heads, outwork and fees.

Pure. A part's unit price is rounded once, then its line.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any, NamedTuple

from quoting.domain.basis import Basis, total
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import Head
from quoting.domain.job import AskedPart
from quoting.domain.lines import Line
from quoting.domain.money import HUNDRED, ONE, ZERO
from quoting.domain.rates import Fee, Part, Surcharge, side_of
from quoting.domain.work import Notice, Plan
from quoting.domain.zones import Portion


class UnknownPartError(RuleError):
    """The edition has no such part."""

    message = translatable("There is no part {code} in the rate tables.")


class PartQuantityError(RuleError):
    """No work says how many of a part are used."""

    message = translatable("{part}: say how many; no work of this job uses it up.")


class UnpricedPartError(RuleError):
    """A part described by hand has neither a price nor a cost."""

    message = translatable("{part}: give a price, or a cost.")


class WorthTwiceError(RuleError):
    """An exchange surcharge and a worth of the old unit are both given."""

    message = translatable(
        "{part}: the exchange surcharge is the worth of the old unit that tax is due "
        "on; give one of the two."
    )


class _Use(NamedTuple):
    """What work uses up: how many of which part, and by what."""

    kind: str
    part: Part | None
    quantity: Decimal
    by: str


def part_lines(basis: Basis, work: Plan) -> list[Line]:
    """Return the lines of the parts asked for and of those that *work* uses up.

    Raises:
        UnknownPartError, PartQuantityError, UnpricedPartError: a part is unclear.
        WorthTwiceError: the worth of an old unit is given twice.
        TaxCodeEndedError: a code of a customer who owes no tax has no rate that day.

    Source:
        docs/costing.md, steps 6 and 7.
    """
    job = basis.job
    asks = job.propose or any(asked.quantity is None for asked in job.parts)
    used = _used(basis, work) if asks else []
    lines: list[Line] = []
    given = set()
    for asked in job.parts:
        if asked.code:
            given.add(_table_part(basis, asked.code).kind)
        lines += _asked(basis, asked, used)
    if not job.propose:
        return lines
    for use in used:
        if use.kind in given or use.kind in job.declined:
            continue
        if use.part is None:
            text = f"No price for {use.kind} in the parts table; give one."
            basis.questions.append(Notice(use.kind, text))
            continue
        line = _of_table(basis, use.part, AskedPart(use.part.code), use.quantity)
        lines.append(line._replace(because=f"for: {use.by.lower()}"))
    return lines


def outwork_lines(basis: Basis) -> Iterator[Line]:
    """Yield the lines of other shops' work: cost and mark-up, rounded.

    Raises:
        TaxCodeEndedError: as ``part_lines``.

    Source:
        docs/costing.md, step 7.
    """
    shop = basis.edition.shop
    for work in basis.job.outwork:
        markup = shop.outwork_markup if work.markup is None else work.markup
        code = work.tax_code or shop.tax_outwork
        price = basis.percent(HUNDRED + markup, work.cost)
        charged, net = basis.share(price, code, "outwork")
        yield Line(
            kind="outwork",
            code="",
            description=work.description,
            net=net,
            group="outwork",
            shares=((charged, net),),
            tax_code=charged,
            quantity=ONE,
            cost=work.cost,
        )


def fee_lines(basis: Basis, work: Plan, heads: Sequence[Head]) -> Iterator[Line]:
    """Yield the fees that *work* on *heads* brings, and those asked for.

    Raises:
        TaxCodeEndedError: as ``part_lines``.

    Source:
        docs/costing.md, step 7; a wash fee is due once a head (common practice, no
        source).
    """
    asked = {fee.code: fee.quantity for fee in basis.job.fees}
    tags = {head.tag for head in heads}
    for fee in basis.edition.fees.values():
        quantity = asked.get(fee.code)
        if quantity is None:
            quantity = _brought(fee, work, tags)
        if not quantity:
            continue
        price = basis.cents(quantity * fee.price)
        charged, net = basis.share(price, fee.tax_code, "fees")
        yield Line(
            kind="fee",
            code=fee.code,
            description=fee.name,
            net=net,
            group="fees",
            shares=((charged, net),),
            tax_code=charged,
            quantity=quantity,
            noun="head" if fee.per == "head" else "",
            unit_price=fee.price,
        )


def _brought(fee: Fee, work: Plan, tags: set[str]) -> Decimal:
    """Return how often work brings a fee: once a head, or once a job."""
    if not fee.operations:
        return ZERO
    heads = {
        tag
        for task in work.tasks
        if task.operation.code in fee.operations
        for portion in task.portions
        for tag in portion.zone.tags
        if tag in tags
    }
    return Decimal(len(heads) if fee.per == "head" else bool(heads))


def _used(basis: Basis, work: Plan) -> list[_Use]:
    used: dict[tuple[str, str], _Use] = {}
    for task in work.tasks:
        operation = task.operation
        if not operation.consumes:
            continue
        for portion in task.portions:
            part = _fitting(basis, operation.consumes, portion)
            key = operation.consumes, part.code if part else ""
            before = used[key].quantity if key in used else ZERO
            used[key] = _Use(
                operation.consumes, part, before + portion.quantity, operation.name
            )
    return list(used.values())


def _fitting(basis: Basis, kind: str, portion: Portion) -> Part | None:
    """Return the part of *kind* whose row fits the portion most narrowly."""
    zone = portion.zone
    layout = zone.alike.layout if zone.alike else None
    side = zone.side or portion.side
    stem_mm = zone.facts.get("stem_mm")
    code, size_class = (layout.code, layout.size_class) if layout else ("", "")
    best, narrowest = None, -1
    for part in basis.edition.parts_of.get(kind, ()):
        fits = (
            (part.size_class in ("", size_class))
            and (part.layout in ("", code))
            and (part.stem_mm is None or part.stem_mm == stem_mm)
            and (not part.side or side_of(part.side) is side)
        )
        if not fits:
            continue
        given = (part.size_class, part.layout, part.side).count("")
        narrow = 3 - given + (part.stem_mm is not None)
        if narrow > narrowest:
            best, narrowest = part, narrow
    return best


def _table_part(basis: Basis, code: str) -> Part:
    try:
        return basis.edition.parts[code]
    except KeyError:
        raise UnknownPartError(code=code) from None


def _asked(basis: Basis, asked: AskedPart, used: Sequence[_Use]) -> Iterator[Line]:
    surcharge = asked.surcharge
    if asked.code:
        part = _table_part(basis, asked.code)
        quantity = asked.quantity
        if quantity is None:
            quantity = total(use.quantity for use in used if use.kind == part.kind)
        if not quantity:
            raise PartQuantityError(part=part.name)
        line = _of_table(basis, part, asked, quantity)
        surcharge = surcharge or part.surcharge
    else:
        quantity = ONE if asked.quantity is None else asked.quantity
        line = _described(basis, asked, quantity)
    yield line
    if line.kind == "exchange":
        yield from _worth(basis, asked, line, surcharge)
    if surcharge:
        yield from _surcharge(basis, surcharge, asked.old_unit, quantity)


def _of_table(basis: Basis, part: Part, asked: AskedPart, quantity: Decimal) -> Line:
    own_price = asked.price is not None or asked.cost is not None
    described = replace(
        asked,
        description=asked.description or part.name,
        price=asked.price if own_price else part.price,
        cost=part.cost if asked.cost is None else asked.cost,
        markup=part.markup if asked.markup is None else asked.markup,
        margin=part.margin if asked.margin is None else asked.margin,
        tax_code=asked.tax_code or part.tax_code,
        group=part.income_group,
        discountable=part.discountable and asked.discountable,
    )
    return _described(basis, described, quantity)


def _described(basis: Basis, asked: AskedPart, quantity: Decimal) -> Line:
    code = asked.tax_code or basis.edition.shop.tax_parts
    if asked.own_stock:
        unit_price, cost = _NOTHING
        reason = "supplied by customer, no warranty on the part"
    else:
        unit_price, cost = _unit_price(basis, asked)
        reason = ""
    charged, net = basis.share(basis.cents(quantity * unit_price), code, asked.group)
    shares = ((charged, net),)
    return Line(
        kind="exchange" if asked.group == "exchange" else "part",
        code=asked.code,
        description=asked.description,
        net=net,
        group=asked.group,
        shares=shares,
        tax_code=charged,
        quantity=quantity,
        noun="piece",
        unit_price=unit_price,
        cost=None if cost is None else basis.cents(quantity * cost),
        discounted=shares if asked.discountable and asked.warranty is None else (),
        reason=reason,
        warranty=asked.warranty,
    )


#: Unit price and cost of what the customer brings along.
_NOTHING: tuple[Decimal, Decimal | None] = (ZERO, ZERO)


def _unit_price(basis: Basis, asked: AskedPart) -> tuple[Decimal, Decimal | None]:
    """Return price and cost of one: list, else cost with mark-up or margin."""
    if asked.price is not None:
        return asked.price, asked.cost
    if asked.cost is None:
        raise UnpricedPartError(part=asked.description)
    if asked.margin is not None:
        exact = asked.cost * HUNDRED / (HUNDRED - asked.margin)
        return basis.cents(exact), asked.cost
    shop = basis.edition.shop
    markup = shop.parts_markup if asked.markup is None else asked.markup
    return basis.percent(HUNDRED + markup, asked.cost), asked.cost


def _worth(
    basis: Basis, asked: AskedPart, exchange: Line, surcharge: str
) -> Iterator[Line]:
    """Yield the worth of the old unit and the same taken off, where tax is due on it.

    The first has the tax code of the exchange head, the second one of no tax: what is
    paid rises by the tax on the worth alone. It is as agreed, else the per cent of the
    place of the discounted price. Where nothing is agreed and the place has no per
    cent, the exchange surcharge is the worth and its tax stays.

    Raises:
        WorthTwiceError: a worth is agreed beside a surcharge that is the worth.

    Source:
        UStAE 10.5 (3) (seen quoted): the old unit's worth is part of what is paid.
    """
    edition, on = basis.edition, basis.tax_point
    if basis.exempt or not edition.old_units_taxed(on):
        return
    percent = edition.worth_of_old_units(on)
    quantity = exchange.quantity or ONE
    if asked.worth is not None:
        if surcharge and percent is None:
            raise WorthTwiceError(part=exchange.description)
        worth = basis.cents(asked.worth * quantity)
        how: dict[str, Any] = {
            "quantity": quantity, "noun": "piece", "unit_price": asked.worth
        }  # fmt: skip
    elif percent is not None:
        discount = basis.terms.discount("exchange") if exchange.discounted else ZERO
        price = exchange.net * (HUNDRED - discount) / HUNDRED
        worth = basis.percent(percent, price)
        how = {"base": price, "unit_price": percent}
    else:
        return
    if not worth:
        return
    taxed = _worth_line(exchange, "taxed with the price", exchange.tax_code, worth)
    yield taxed._replace(**how)
    untaxed, _ = basis.share(worth, edition.shop.tax_old_unit, "")
    yield _worth_line(exchange, "taken in exchange", untaxed, -worth)


def _worth_line(exchange: Line, said: str, tax_code: str, net: Decimal) -> Line:
    return Line(
        kind="worth",
        code=exchange.code,
        description=f"Worth of the old unit, {said}",
        net=net,
        group=exchange.group,
        shares=((tax_code, net),),
        tax_code=tax_code,
        cost=ZERO,
    )


def _surcharge(
    basis: Basis, code: str, old_unit: str, quantity: Decimal
) -> Iterator[Line]:
    """Yield what is charged, and what goes back for an old unit handed in at once."""
    row = basis.edition.surcharges[code]
    amount = basis.cents(quantity * row.amount)
    charged = _surcharge_line(basis, row, amount, row.tax_code)
    yield charged._replace(quantity=quantity, noun="piece", unit_price=row.amount)
    if old_unit and (back := basis.cents(amount * row.share(old_unit))):
        back_code = row.tax_code
        if not basis.edition.gives_tax_back(row, basis.tax_point):
            back_code = row.untaxed_code or basis.edition.shop.tax_old_unit
        returned = _surcharge_line(basis, row, -back, back_code)
        yield returned._replace(
            description=f"{row.name}, old unit handed in",
            base=amount,
            unit_price=row.share(old_unit) * HUNDRED,
        )


def _surcharge_line(
    basis: Basis, row: Surcharge, amount: Decimal, tax_code: str
) -> Line:
    charged, net = basis.share(amount, tax_code, "surcharges")
    return Line(
        kind="surcharge",
        code=row.code,
        description=row.name,
        net=net,
        group="surcharges",
        shares=((charged, net),),
        tax_code=charged,
        cost=ZERO,
    )
