"""Editions are kept as they came; part prices change beside them, day by day."""

from datetime import timedelta
from decimal import Decimal

import pytest
from shop import DAY, now

from quoting.domain.errors import ProblemsError
from quoting.resources import folder
from quoting.store.models import PartPrice
from quoting.workflow import quotes, rates


def part_code(shop):
    """Return a part of the tables that has a list price."""
    return next(code for code, part in shop.edition.parts.items() if part.price)


def priced(shop, code, days, price):
    with shop.database.transaction() as session:
        session.add(
            PartPrice(
                part=code,
                valid_from=DAY + timedelta(days=days),
                price=shop.edition.currency.to_minor(Decimal(price)),
                currency=shop.edition.currency.code,
                supplier="",
            )
        )


def test_the_same_files_brought_in_again_are_the_same_edition(shop):
    with shop.database.transaction() as session:
        first = rates.in_force(session, DAY).id
        again = rates.bring_in(session, folder("rates_demo"), at=now().at, who="Ada")

    assert again == first


def test_no_tables_are_in_force_before_their_first_day(shop):
    with (
        shop.database.reading() as session,
        pytest.raises(rates.NoEditionError, match="2020-01-01"),
    ):
        rates.in_force(session, DAY.replace(2020, 1, 1))


def test_tables_with_a_problem_are_named_and_not_kept(shop, tmp_path):
    (tmp_path / "shop.toml").write_text("name = 1\n", "utf-8")
    with shop.database.transaction() as session:
        with pytest.raises(ProblemsError):
            rates.bring_in(session, tmp_path, at=now().at, who="Ada")
        assert rates.in_force(session, DAY).edition.shop.name == shop.edition.shop.name


def test_a_part_costs_what_it_costs_on_the_day(shop):
    code = part_code(shop)
    listed = shop.edition.parts[code].price
    priced(shop, code, 2, "71.20")
    priced(shop, code, 5, "74.00")
    with shop.database.reading() as session:
        on = {
            days: rates.in_force(session, DAY + timedelta(days=days))
            .edition.parts[code]
            .price
            for days in (0, 2, 4, 5, 90)
        }

    assert on == {
        0: listed,
        2: Decimal("71.20"),
        4: Decimal("71.20"),
        5: Decimal("74.00"),
        90: Decimal("74.00"),
    }


def test_a_quote_keeps_the_part_price_of_its_day(shop):
    key = shop.save("v6 24v x2 overheated")
    with shop.database.reading() as session:
        revision = quotes.quote_of(session, key).revisions[0]
        used = next(ln.code for ln in revision.ways[0].lines if ln.kind == "part")
    priced(shop, used, 1, "999.00")
    with shop.database.reading() as session:
        revision = quotes.quote_of(session, key).revisions[0]
        [way] = quotes.ways_of(session, revision)

    minor = shop.edition.currency.to_minor
    assert minor(way.priced.totals.total) == revision.ways[0].total
