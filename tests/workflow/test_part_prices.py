"""Part prices are entered, corrected and found, on both databases."""

from datetime import timedelta
from decimal import Decimal

import pytest
from shop import DAY, now

from quoting.store import audit
from quoting.workflow import part_prices, rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.part_prices import NewPrice

CALL = "16v twin cam overheated"
#: A part that the words use up, and one that they do not.
USED, UNUSED = "SEAL-6", "SEAL-9"


def enter(shop, part=UNUSED, days=0, **amounts):
    day = DAY + timedelta(days=days)
    with shop.database.transaction() as session:
        return part_prices.enter(session, NewPrice(part, day, **amounts), now()).id


def part_on(shop, code, days):
    with shop.database.reading() as session:
        return rates.in_force(session, DAY + timedelta(days=days)).edition.parts[code]


def test_a_price_holds_from_its_day_until_the_next(shop):
    before = part_on(shop, UNUSED, 0).price
    enter(shop, days=2, price=Decimal("1.50"))
    enter(shop, days=4, price=Decimal("1.75"), cost=Decimal("1.10"))

    prices = [part_on(shop, UNUSED, days).price for days in range(6)]

    first, second = Decimal("1.50"), Decimal("1.75")
    assert prices == [before, before, first, first, second, second]
    assert part_on(shop, UNUSED, 4).cost == Decimal("1.10")


def test_a_correction_stands_in_the_trail_with_what_was_there(shop):
    key = enter(shop, price=Decimal("1.50"))
    assert enter(shop, price=Decimal("1.60")) == key

    with shop.database.reading() as session:
        entered, corrected = audit.story(session, "part price", key)
    assert (entered.what, entered.old) == ("part price entered", "")
    assert (corrected.what, corrected.old) == ("part price corrected", entered.new)
    assert "price 160 of the smallest unit of GBP" in corrected.new


def test_an_offer_keeps_the_price_that_it_was_made_with(shop):
    shop.save(CALL)
    with pytest.raises(part_prices.OfferedWithError, match="Q-00001 of 2026-11-25"):
        enter(shop, USED, price=Decimal("9.99"))

    enter(shop, USED, days=1, price=Decimal("9.99"))

    assert part_on(shop, USED, 0).price != Decimal("9.99")


@pytest.mark.parametrize(
    ("days", "amounts", "refusal"),
    [
        (0, {}, part_prices.NoPriceError),
        (-60, {"price": Decimal(1)}, part_prices.OlderPriceError),
    ],
)
def test_a_price_that_says_nothing_or_comes_too_late_is_refused(
    shop, days, amounts, refusal
):
    with pytest.raises(refusal):
        enter(shop, days=days, **amounts)


def test_a_part_that_no_table_has_gets_no_price(shop):
    with pytest.raises(NoSuchRecordError, match="no part NONE"):
        enter(shop, "NONE", price=Decimal(1))


def test_the_list_holds_what_is_meant_with_what_is_to_come(shop):
    enter(shop, "SEAL-9_5", days=3, price=Decimal("1.50"))
    with shop.database.reading() as session:
        every = part_prices.listed(session, DAY)
        [found] = part_prices.listed(session, DAY, "copse stem 9.5 mm")

    assert len(every) == len(shop.edition.parts)
    assert found.part.code == "SEAL-9_5"
    assert [(row.valid_from, row.price) for row in found.coming] == [
        (DAY + timedelta(days=3), 150)
    ]
