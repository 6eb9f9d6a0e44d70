"""A shop with its rate tables in the records, and short ways to fill them."""

import re
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from quoting.domain.phrase import say
from quoting.resources import folder
from quoting.workflow import customers, quotes, rates
from quoting.workflow.quotes import Asked, Now

DAY = date(2026, 11, 25)


def now(who="Ada Tallow", days=0):
    """Return who does something, at noon so many days after ``DAY``."""
    on = DAY + timedelta(days=days)
    return Now(who, datetime(on.year, on.month, on.day, 12, tzinfo=UTC), on)


def other_tables(session, other=(), **keys):
    """Bring in the demonstration's tables with other keys in shop.toml, as TOML.

    *other*: of further files a name, a text in it, and what stands there instead.
    """
    with TemporaryDirectory() as name:
        tables = Path(shutil.copytree(folder("rates_demo"), Path(name) / "rates"))
        shop = tables / "shop.toml"
        text = shop.read_text("utf-8")
        for key, value in keys.items():
            line = f"{key} = {value}"
            text, found = re.subn(rf"^{key} = .*$", line, text, flags=re.MULTILINE)
            text = text if found else f"{line}\n{text}"
        shop.write_text(text, "utf-8")
        for file, old, new in other:
            text = (tables / file).read_text("utf-8")
            assert old in text
            (tables / file).write_text(text.replace(old, new), "utf-8")
        rates.bring_in(session, tables, at=now().at, who="Ada")


def part_payments(session):
    """Bring in tables by which tax falls due when a deposit is received."""
    other_tables(session, deposits='"part_payment"')


class Shop:
    """The records, and short ways to fill them."""

    def __init__(self, database, tables=None):
        self.database = database
        tables = tables or folder("rates_demo")
        with database.transaction() as session:
            rates.bring_in(session, tables, at=now().at, who="Ada")
        with database.reading() as session:
            self.edition = rates.in_force(session, DAY).edition

    def job(self, words):
        """Return the one job that words mean."""
        [candidate] = say(words, self.edition).candidates
        assert not candidate.refused
        return candidate.job

    def save(self, *words, customer=None, days=0, **about):
        """Save a quote of one way for each text; return its key."""
        with self.database.transaction() as session:
            ways = [Asked(f"way {i}", self.job(w)) for i, w in enumerate(words, 1)]
            row = quotes.save(
                session,
                quotes.About(customer_id=customer, **about),
                ways,
                now(days=days),
                said="; ".join(words),
            )
            return row.id

    def customer(self, name, **details):
        """Write down a customer; return the key."""
        with self.database.transaction() as session:
            what = customers.Details(name, **details)
            return customers.save(session, what, at=now().at, who="Ada").id
