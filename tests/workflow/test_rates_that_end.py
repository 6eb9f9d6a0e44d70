"""A tax rate that ended yesterday, on both databases.

The demonstration's work is 414.98 before tax: 76.77 at 18.5 %. Its rates end on
``DAY``; afterwards there is none, or another.
"""

import csv
import shutil
from datetime import timedelta
from decimal import Decimal

import pytest
from accounts import agreed, do, invoice, out, report, row_of, take
from shop import DAY, Shop, now
from sqlalchemy import func, select

from quoting.domain.edition import TaxCodeEndedError
from quoting.domain.invoice import Why
from quoting.resources import folder
from quoting.store.models import DepositTaken, DocumentIssued, Entry, Series
from quoting.workflow import deposits, invoices
from quoting.workflow.invoices import Credited

FIRST = DAY + timedelta(days=1)


@pytest.fixture
def place(database, tmp_path):
    """Return a way to open a shop: the rate that follows, and how it holds deposits."""

    def open_shop(follower="", held="part_payment"):
        tables = shutil.copytree(folder("rates_demo"), tmp_path / "rates")
        file = tables / "tax" / "one_rate.csv"
        rows = list(csv.DictReader(file.read_text("utf-8").splitlines()))
        with file.open("w", encoding="utf-8", newline="") as lines:
            table = csv.DictWriter(lines, rows[0])
            table.writeheader()
            for row in rows:
                ends = row["rate"] == "18.5"
                table.writerow(row | ({"valid_to": DAY.isoformat()} if ends else {}))
                if ends and follower:
                    new = {"rate": follower, "label": f"Levy {follower} %"}
                    table.writerow(row | new | {"valid_from": FIRST.isoformat()})
        text = (tables / "shop.toml").read_text("utf-8")
        security = 'deposits = "security"'
        assert security in text
        text = text.replace(security, f'deposits = "{held}"')
        (tables / "shop.toml").write_text(text, "utf-8")
        return Shop(database, tables)

    return open_shop


def quote_in(shop):
    return agreed(shop, shop.customer("Osgood & Daughters", address="1 Row"))


def test_on_its_last_day_a_rate_still_holds(place):
    shop = place()
    assert row_of(shop, invoice(shop, quote_in(shop))).tax == 7677


@pytest.mark.parametrize("act", [invoice, lambda *a, **b: take(*a, "100.00", **b)])
def test_the_day_after_nothing_is_issued_and_the_words_say_how_to_mend_it(place, act):
    shop = place()
    quote = quote_in(shop)

    with pytest.raises(TaxCodeEndedError, match=r"LAB .* 2026-11-26\. .* tax table"):
        act(shop, quote, days=1)

    with shop.database.reading() as session:
        for table in (DocumentIssued, DepositTaken, Entry):
            assert session.scalar(select(func.count(table.id))) == 0
        used = select(func.count()).where(Series.name.in_(("invoice", "receipt")))
        assert session.scalar(used) == 0


def test_the_day_after_no_deposit_is_kept_with_the_old_tax(place):
    shop = place(held="security")
    key = take(shop, quote_in(shop), "100.00")

    def keep(session):
        row = deposits.of_key(session, key)
        at = now(days=1)
        deposits.keep_deposit(session, row, 10000, "never came", at, taxed=True)

    with (
        shop.database.transaction() as session,
        pytest.raises(TaxCodeEndedError, match="2026-11-26"),
    ):
        keep(session)

    with shop.database.reading() as session:
        assert deposits.of_key(session, key).held == 10000


def test_the_rate_that_follows_is_charged_for_what_is_supplied_from_then_on(place):
    """20 % of 414.98 is 82.996."""
    shop = place("20")
    key = invoice(shop, quote_in(shop), days=1)

    assert (row_of(shop, key).net, row_of(shop, key).tax) == (41498, 8300)
    made = report(shop)
    assert [(label, tax) for label, _, tax in made.taxes] == [
        ("Levy 20 %, Revenue Office of Ambria", Decimal("83.00"))
    ]
    assert out(made) == []


def test_what_was_supplied_on_the_last_day_is_invoiced_later_at_its_rate(place):
    shop = place("20")
    key = invoice(shop, quote_in(shop), days=1, supplied=DAY)

    assert row_of(shop, key).tax == 7677


def test_a_credit_note_has_the_rate_of_its_invoice_after_that_ended(place):
    shop = place()
    key = invoice(shop, quote_in(shop))
    note = do(
        shop, invoices.credit, key, Credited(), days=1,
        reason=Why.WORK, because="two seats were not cut",
    )  # fmt: skip

    assert row_of(shop, note).tax == 7677
    assert out(report(shop)) == []


def test_a_deposit_of_the_old_rate_comes_off_an_invoice_of_the_new_one(place):
    """What fell due with it, 18.5 x 100 / 118.5, goes back, and 20 % are due on all."""
    shop = place("20")
    quote = quote_in(shop)
    take(shop, quote, "100.00")
    key = invoice(shop, quote, days=1)

    row = row_of(shop, key)
    assert (row.tax, row.left) == (8300, 41498 + 8300 - 10000)
    made = report(shop)
    assert {label.split(",")[0]: tax for label, _, tax in made.taxes} == {
        "Levy 18.5 %": Decimal("0.00"),
        "Levy 20 %": Decimal("83.00"),
    }
    assert out(made) == []
