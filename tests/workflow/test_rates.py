"""Editions are kept as they came; part prices change beside them, day by day."""

import shutil
from datetime import timedelta
from decimal import Decimal

import pytest
from shop import DAY, now
from sqlalchemy import event, select

from quoting.domain.errors import ProblemsError
from quoting.resources import folder
from quoting.store import audit
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


def price_of(shop, code):
    """Return what a part sells for on the shop's day."""
    with shop.database.reading() as session:
        return rates.in_force(session, DAY).edition.parts[code].price


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


def test_a_part_price_holds_from_the_moment_it_is_brought_in(shop):
    code = part_code(shop)
    told = [price_of(shop, code)]
    for days, price in ((-2, "71.20"), (-1, "74.00")):
        priced(shop, code, days, price)
        told.append(price_of(shop, code))

    assert told == [shop.edition.parts[code].price, Decimal("71.20"), Decimal("74.00")]


def test_a_part_price_that_is_corrected_holds_at_once(shop):
    code = part_code(shop)
    priced(shop, code, -1, "71.20")
    told = [price_of(shop, code)]
    with shop.database.transaction() as session:
        row = session.scalars(select(PartPrice)).one()
        row.price = 6990
        audit.record(
            session, at=now().at, who="Ada", what="part price corrected",
            subject="part price", subject_id=row.id, old="71.20", new="69.90",
        )  # fmt: skip
    told.append(price_of(shop, code))

    assert told == [Decimal("71.20"), Decimal("69.90")]


def test_a_part_price_that_was_taken_back_never_held_for_others(shop):
    code = part_code(shop)
    listed = price_of(shop, code)
    with shop.database.transaction() as session:
        session.add(
            PartPrice(part=code, valid_from=DAY, price=1, currency="GBP", supplier="")
        )
        session.flush()
        assert rates.in_force(session, DAY).edition.parts[code].price == Decimal("0.01")
        session.rollback()
    after = price_of(shop, code)
    priced(shop, code, 0, "71.20")

    assert (after, price_of(shop, code)) == (listed, Decimal("71.20"))


def test_what_is_brought_in_later_for_the_same_day_is_in_force_at_once(shop, tmp_path):
    price_of(shop, part_code(shop))
    text = (folder("rates_demo") / "shop.toml").read_text("utf-8")
    shutil.copytree(folder("rates_demo"), tmp_path / "later")
    renamed = text.replace(shop.edition.shop.name, "Other Lane Heads")
    (tmp_path / "later" / "shop.toml").write_text(renamed, "utf-8")
    with shop.database.transaction() as session:
        key = rates.bring_in(session, tmp_path / "later", at=now().at, who="Ada")
    with shop.database.reading() as session:
        current = rates.in_force(session, DAY)

    assert (current.id, current.edition.shop.name) == (key, "Other Lane Heads")


def test_the_same_part_prices_make_the_same_edition(shop):
    """An edition keeps lines and words beside it, so a new one must begin anew."""
    code = part_code(shop)
    priced(shop, code, -1, "71.20")
    with shop.database.reading() as session:
        before = rates.in_force(session, DAY).edition
    shop.save("v6 24v x2 overheated")
    with shop.database.reading() as session:
        assert rates.in_force(session, DAY).edition is before


def test_part_prices_are_not_read_again_while_nothing_is_written(shop):
    priced(shop, part_code(shop), -1, "71.20")
    price_of(shop, part_code(shop))
    said = []

    @event.listens_for(shop.database.engine, "before_cursor_execute")
    def note(_connection, _cursor, statement, *_rest):
        said.append(statement)

    price_of(shop, part_code(shop))
    [asked] = [text for text in said if text.startswith("SELECT")]

    assert "max(part_prices.id)" in asked
    assert "part_prices.price" not in asked
