"""How long screens and searches take after ten years: 60,000 jobs, 500,000 lines.

Only run with ``--benchmark-enable``. The floor of a screen is a bare Flask route that
answers one word through the same test client; that of a search is one quote looked up
by its number.
"""

import functools
import random
import re
import statistics
import sys
import threading
import time
from contextlib import closing
from datetime import UTC, date, datetime
from http.client import HTTPConnection
from itertools import cycle, islice
from urllib.parse import urlencode

import pytest
from benchmarks import big_shop
from browsing import PASSWORD, START, Browser
from builders import DEMO
from flask import Flask
from floors import against
from sqlalchemy import select
from waitress import create_server

from quoting.settings import Settings
from quoting.store.database import Database
from quoting.store.models import Order, Quote
from quoting.web.app import create_app
from quoting.workflow import people, rates
from quoting.workflow.search import search

ON = date(2026, 11, 25)
JOBS, LINES = 60_000, 500_000
#: What begins a word of thousands of records, or of none.
ADVERSARIAL = (
    "ga", "garage", "99", "+999", "00", "0000", "q-0", "w-0", "po", "po-", "tl", "cy",
    "valve", "4-cyl", "16", "alum", "garage 16v", "cylinder garage", "motors tal 999",
    "garage motors", "zz", "zzzz", "999 zz",
)  # fmt: skip


@pytest.fixture(scope="module")
def big(tmp_path_factory):
    """Return the big shop's records, and what was written."""
    database = opened(tmp_path_factory.mktemp("big"))
    start = time.perf_counter()
    shop = big_shop.fill(database, DEMO, on=ON, jobs=JOBS, lines=LINES)
    seconds = time.perf_counter() - start
    say(f"{shop.jobs} jobs, {shop.lines} lines written in {seconds:.0f} s")
    with closing(database):
        yield database, shop


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Return the records of a shop that opens this morning."""
    database = opened(tmp_path_factory.mktemp("small"))
    with database.transaction() as session:
        rates.bring_in(session, DEMO, at=START, who="benchmark")
    with closing(database):
        yield database


def opened(folder):
    database = Database(f"sqlite:///{folder / 'shop.db'}")
    database.upgrade()
    with database.transaction() as session:
        people.add(
            session, "owner", "Invented owner", ["owner"], PASSWORD,
            at=START, who="benchmark",
        )  # fmt: skip
    return database


def browser(database):
    """Return the owner's browser at an app on *database*."""
    app = create_app(
        Settings(database=str(database.url), secret="for benchmarks"),
        clock=lambda: datetime(ON.year, ON.month, ON.day, 9, tzinfo=UTC),
    )
    sat_at = Browser(app)
    assert sat_at.sign_in("owner").status_code == 303
    return sat_at


def bare():
    """Return a client of an app that says one word."""
    app = Flask("bare")
    app.get("/")(lambda: "word")
    return app.test_client()


def say(text):
    sys.stderr.write(f"\n{text}\n")


def typed(shop, rng, count=40):
    """Return what is in the box at each keystroke, from the second to the eighth."""
    sources = (shop.customers, shop.numbers, shop.registrations, shop.phones)
    for source in sources:
        for text in rng.sample(source, count):
            yield from (text[:length] for length in range(2, min(8, len(text)) + 1))


def test_search_as_one_types(big):
    database, shop = big
    rng = random.Random(5)  # noqa: S311  (a sample, no secret)
    for name, texts in (
        ("as one types", list(typed(shop, rng))),
        ("common beginnings", ADVERSARIAL),
    ):
        taken = []
        for text in texts:
            with database.reading() as session:
                start = time.perf_counter()
                search(session, text)
                taken.append((time.perf_counter() - start, text))
        times = statistics.quantiles([at for at, _ in taken], n=100)
        slowest = ", ".join(
            f"{text!r} {at * 1e3:.0f}" for at, text in islice(sorted(taken)[::-1], 4)
        )
        say(
            f"search, {name} ({len(taken)}): median {times[49] * 1e3:.1f}, "
            f"p95 {times[94] * 1e3:.1f} ms; slowest {slowest}"
        )
        assert taken


def test_search_beside_one_look_up(big, benchmark):
    database, shop = big
    name = shop.customers[3]

    with database.reading() as session:
        found = benchmark(search, session, name)
        by_number = select(Quote).where(Quote.number == shop.numbers[-1])
        against(benchmark, "one quote by its number", look_up, session, by_number)

    assert found[0].title == name


def look_up(session, query):
    session.expunge_all()
    return session.scalars(query).one()


@pytest.mark.parametrize("page", ["today", "quote", "order", "find"])
def test_a_screen(big, benchmark, page):
    database, _ = big
    with database.reading() as session:
        newest = {
            of: session.scalars(select(of.id).order_by(of.id.desc()).limit(1)).one()
            for of in (Quote, Order)
        }
    address = {
        "today": "/counter",
        "quote": f"/quotes/{newest[Quote]}",
        "order": f"/counter/orders/{newest[Order]}",
        "find": "/counter/find?q=hazel",
    }[page]
    sat_at = browser(database)

    answer = benchmark(sat_at.get, address)

    assert answer.status_code == 200
    against(benchmark, "a bare Flask route", bare().get, "/")


def test_the_price_on_the_phone_in_a_big_and_in_an_empty_shop(big, small, benchmark):
    """The floor is the same keystroke in a shop that has no job yet."""
    ask_big, ask_small = (
        asking(browser(database), *anew("v6 24v x2 overheated"))
        for database in (big[0], small)
    )

    answer = benchmark(ask_big)

    assert answer.status_code == 200
    against(benchmark, "the same in an empty shop", ask_small)


def asking(sat_at, *texts):
    """Return what asks for the price of a call as the script does, text after text."""
    fields = {"form_token": sat_at.token("/phone")}
    said = cycle(texts)
    return lambda: sat_at.client.post(
        "/phone/price", data={**fields, "said": next(said)}, headers={"X-Live": "1"}
    )


def anew(said, count=200):
    """Return the same words so many times, each a new text that was not priced yet."""
    return [said.replace(" ", " " * wide, 1) for wide in range(1, count + 1)]


#: What callers say: a short one, a pair of heads, and one of the longest.
CALLS = ("16v skim", "v6 24v x2 overheated", "16v twin cam overheated, guides all")


@pytest.mark.parametrize("said", CALLS)
@pytest.mark.parametrize("count", [1, 200])
def test_the_price_on_the_phone_beside_a_bare_route(small, said, count):
    """The floor is a bare Flask route; both by processor time, which goes alone.

    One text: a key in another field. Many: each key changes what is asked for.
    """
    ask = asking(browser(small), *anew(said, count))
    p95 = quantiles(ask, time.process_time)[94]
    floor = quantiles(functools.partial(bare().get, "/"), time.process_time)[49]

    kind = "anew" if count > 1 else "again"
    say(f"{said!r} {kind}: p95 {p95 * 1e3:.2f} ms, {p95 / floor:.1f} x a bare route")
    assert p95 > floor


def test_the_price_on_the_phone_as_one_types(small):
    """What callers say, key by key: half a word, several heads, then the price."""
    said = (*big_shop.SHORT, *big_shop.LONG)
    keys = [text[:end] for text in said for end in range(1, len(text) + 1)]
    ask = asking(browser(small), *keys)
    at = quantiles(ask, time.process_time, len(keys))

    say(f"{len(keys)} keys: median {at[49] * 1e3:.2f}, p95 {at[94] * 1e3:.2f} ms")
    assert at[94] > at[49]


@pytest.mark.parametrize("said", CALLS)
def test_the_price_on_the_phone_over_a_socket(small, said):
    """The whole form goes to the server of ``quoting serve``, each key a new price."""
    sat_at = browser(small)
    form = fields_of(sat_at.get("/phone").text)
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": f"session={sat_at.client.get_cookie('session').value}",
        "X-Live": "1",
    }
    server = create_server(sat_at.client.application, listen="127.0.0.1:0")
    threading.Thread(target=server.run, daemon=True).start()
    said = cycle(anew(said))
    with closing(HTTPConnection("127.0.0.1", server.effective_port)) as line:

        def ask():
            body = urlencode(form | {"said": next(said)}, doseq=True)
            line.request("POST", "/phone/price", body, headers)
            answer = line.getresponse()
            assert answer.status == 200
            return answer.read()

        assert b"Tell the caller" in ask()
        at = quantiles(ask, time.perf_counter)
    server.close()

    say(f"by socket: median {at[49] * 1e3:.2f}, p95 {at[94] * 1e3:.2f} ms")


def fields_of(page):
    """Return the fields of a page's form as a browser sends them, none chosen."""
    found = {}
    for tag in re.findall(r"<(?:input|select)[^>]* name=[^>]*>", page):
        if "checkbox" in tag or "radio" in tag:
            continue
        value = re.search(r' value="([^"]*)"', tag)
        name = re.search(r' name="([^"]+)"', tag)[1]
        found.setdefault(name, []).append(value[1] if value else "")
    return found


def quantiles(ask, clock, count=400):
    """Return the hundredths of what asking takes, in seconds by *clock*."""
    taken = []
    for _ in range(count + 40):
        start = clock()
        ask()
        taken.append(clock() - start)
    return statistics.quantiles(taken[40:], n=100)
