"""Editions and jobs for tests: plain functions, keyword-only, valid by default."""

import re
import shutil
import tempfile
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from quoting.domain.country import Country
from quoting.domain.edition import Edition
from quoting.domain.head import Head, parse_position, tags
from quoting.domain.job import Job, Selection
from quoting.domain.pricing import Priced, price
from quoting.domain.rates import AgreedPrice, ClassPrice, Relation
from quoting.files.edition import read_edition

TESTS = Path(__file__).parent
RT1 = TESTS / "rt1"
JOBS = TESTS / "jobs"
DEMO = TESTS.parent / "rates_demo"
ON = date(2026, 3, 2)


def edition(folder: Path = RT1, **shop: str) -> Edition:
    """Return the edition of *folder* with other values in its shop.toml."""
    if not shop:
        return read_edition(folder)
    with tempfile.TemporaryDirectory() as name:
        copy = Path(shutil.copytree(folder, Path(name) / "edition"))
        text = (copy / "shop.toml").read_text(encoding="utf-8")
        for key, value in shop.items():
            text = re.sub(rf"^{key} = .*\n", "", text, flags=re.MULTILINE)
            text += f'{key} = "{value}"\n'
        (copy / "shop.toml").write_text(text, encoding="utf-8")
        return read_edition(copy)


def with_operation(edition: Edition, code: str, **values: object) -> Edition:
    """Return *edition* with one operation's row changed."""
    changed = replace(edition.operations[code], **values)
    return replace(edition, operations={**edition.operations, code: changed})


def with_modifier(edition: Edition, code: str, **values: object) -> Edition:
    """Return *edition* with one modifier's row changed."""
    changed = replace(edition.modifiers[code], **values)
    return replace(edition, modifiers={**edition.modifiers, code: changed})


def with_worth_taxed(edition: Edition, percent: str | None = None) -> Edition:
    """Return *edition* of a place that taxes the worth of an old unit as well."""
    place = Country(
        code="XA",
        name="Ambria",
        currency=edition.currency.code,
        surcharge_tax="added",
        surcharge_addon=percent and dec(percent),
        address=("street",),
        source="invented",
        checked="from memory",
        as_of=ON,
    )
    shop = replace(edition.shop, country="XA", tax_old_unit="EXEMPT")
    return replace(edition, shop=shop, countries=[place])


def with_class_price(edition: Edition, **values: object) -> Edition:
    """Return *edition* with one more row of class_prices."""
    row = ClassPrice(**values)
    rows = {**edition.class_prices, (row.operation, row.size_class): row}
    return replace(edition, class_prices=rows)


def with_agreed_price(edition: Edition, **values: object) -> Edition:
    """Return *edition* with one more row of agreed_prices."""
    row = AgreedPrice(**values)
    key = (row.terms, row.operation or row.set, row.size_class)
    return replace(edition, agreed_prices={**edition.agreed_prices, key: row})


def with_relation(edition: Edition, operation: str, **values: object) -> Edition:
    """Return *edition* with one more row of relations; its reason is ``it must``."""
    row = Relation(operation=operation, **{"reason": "it must", **values})
    return replace(edition, relations=[*edition.relations, row])


def heads(edition: Edition, *layouts: str, **known: object) -> tuple[Head, ...]:
    """Return a head of each layout, tagged A, B ...; of all of them *known* holds."""
    return tuple(
        Head(tag, edition.layouts[code], **known)
        for tag, code in zip(tags(), layouts, strict=False)
    )


def at(*positions: str) -> Selection:
    """Return the selection of exactly these valves, such as A3E1."""
    return Selection(positions=tuple(map(parse_position, positions)))


def priced(edition: Edition, heads: tuple[Head, ...] = (), **job: object) -> Priced:
    """Price a job on *heads*, taxed as on ``ON``."""
    return price(edition, Job(heads, **job), ON)


def dec(text: str) -> Decimal:
    """Return *text* as a Decimal."""
    return Decimal(text)
