"""An invented shop with a year behind it, to look round in and to test by.

Everybody and everything is made up. Telephone numbers are those that Ofcom keeps for
drama (numbers for use in TV and radio drama: 01632 960000 to 960999, 07700 900000 to
900999); mail addresses end in ``.invalid`` (RFC 2606). The year is lived through the
use cases, day by day, so what comes out is as lawful as what people type.
"""

import csv
import heapq
import random
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from sqlalchemy.orm import Session

from quoting.domain.consent import Consent, How
from quoting.domain.invoice import Why
from quoting.domain.job import Job
from quoting.domain.life import OrderMove, QuoteMove, WaitsFor
from quoting.domain.month import Month
from quoting.domain.phrase import say
from quoting.store.database import Database
from quoting.store.models import Customer, DocumentIssued, Order, Quote
from quoting.workflow import (
    closing,
    customers,
    debts,
    demo_bench,
    deposits,
    documents,
    invoices,
    learning,
    orders,
    own_record,
    payments,
    people,
    quotes,
    rates,
    till,
)
from quoting.workflow.customers import Details
from quoting.workflow.invoices import Credited
from quoting.workflow.orders import BookedIn, HeadCame
from quoting.workflow.quotes import About, Asked, Now

DAYS = 365


class SignIn(NamedTuple):
    """What one of the invented people signs in with."""

    sign_in: str
    password: str
    name: str
    initials: str
    roles: tuple[str, ...]


PEOPLE = (
    SignIn("owner", "tallow owner", "Wilmot Tallow", "WT", (people.OWNER,)),
    SignIn("counter", "tallow counter", "Posy Larkham", "PL", (people.COUNTER,)),
    SignIn("bench", "tallow bench", "Ivo Stannick", "IS", (people.BENCH,)),
    SignIn("accounts", "tallow accounts", "Odile Pence", "OP", (people.ACCOUNTS,)),
    SignIn("reader", "tallow reader", "Ottilie Ledger", "OL", (people.READER,)),
)
_OWNER, _COUNTER, _BENCH, _ACCOUNTS = (person.name for person in PEOPLE[:4])


class _Head(NamedTuple):
    """A kind of head that comes in: what callers say of it.

    Attributes:
        head: its words in the say-it line.
        engine: what it belongs to.
        works: what is asked for, a phrase each.
        found: what the bench finds besides.
    """

    head: str
    engine: str
    works: tuple[str, ...]
    found: str


_OVERHEATED = ("overheated", "skim 0.15", "leak test", "blown gasket")
_WORN = ("valve job", "seats all", "full head job")
_HEADS = (
    _Head(
        "16v twin cam", "1.8 litre twin cam", (*_OVERHEATED, *_WORN), "guides exhaust"
    ),
    _Head("16v twin cam", "1.6 litre twin cam", ("snapped belt",), "guides inlet"),
    _Head(
        "8v single cam", "1.3 litre single cam", (*_OVERHEATED, *_WORN), "guides all"
    ),
    _Head("i4 8v iron", "1.1 litre pushrod", (*_WORN, "skim 0.10"), "guides all"),
    _Head("12v single cam", "1.5 litre", _OVERHEATED, "guides exhaust"),
    _Head("8v twin cam", "1.6 litre classic twin cam", _WORN, "guides all"),
    _Head("16v diesel", "2.0 litre diesel", ("leak test", "valve job"), "guides all"),
    _Head("idi diesel", "1.9 litre diesel", ("crack check", "valve job"), "guides all"),
    _Head("tractor four", "loader", ("leak test", "valve job"), "guides exhaust"),
    _Head("tractor six 12v", "tractor", ("skim 0.20", "valve job"), "guides exhaust"),
    _Head("12v three", "1.0 litre three", _OVERHEATED, "guides exhaust"),
    _Head("20v five", "2.5 litre five", _OVERHEATED, "guides exhaust"),
    _Head("straight six 24v", "2.8 litre six", _OVERHEATED, "guides exhaust"),
    _Head("straight six ohv", "3.0 litre pushrod six", _WORN, "guides exhaust"),
    _Head("v6 24v x2", "2.7 litre V6", _OVERHEATED, "guides exhaust"),
    _Head("v8 ohv x2", "3.5 litre V8", (*_OVERHEATED, *_WORN), "knurl guides"),
    _Head("flat 4 16v x2", "2.0 litre flat four", _OVERHEATED, "guides exhaust"),
    _Head("flat 4 8v x2", "air-cooled flat four", _WORN, "guides all"),
    _Head("single 4v", "motorcycle single", ("valve job",), "guides exhaust"),
    _Head("side valve", "1930s side-valve", ("skim 0.10",), "skim 0.20"),
    _Head(
        "16v twin cam x4", "four of one fleet", ("skim 0.10", "leak test"), "seats all"
    ),
)
#: Casting numbers of heads that the shop has met before, by what callers say.
_CASTINGS = {
    "16v twin cam": "TLX 1604-2A",
    "8v single cam": "TLX 0802-7",
    "i4 8v iron": "TLX 0801-19",
    "8v twin cam": "TLX 0821-C",
    "16v diesel": "TLX 1619-5D",
    "tractor four": "TLX 0822-40",
    "12v three": "TLX 1217-3",
    "straight six 24v": "TLX 2427-1B",
    "v6 24v x2": "TLX 2408-66",
    "v8 ohv x2": "TLX 1609-8",
    "flat 4 16v x2": "TLX 1635-4",
    "single 4v": "TLX 0412-9",
}
_NOTES = (
    "Two castings carry this number: look at the plug side",
    "Thread of the end bolt pulls: look before it leaves",
    "",
)

_TRADE = (
    ("Osgood & Daughters Garage", "TRADE10", "Mabel Osgood", 15_000),
    ("Nettle Yard Autos", "TRADE10", "Corin Nettle", 10_000),
    ("Hobbin & Fell Motors", "TRADE15", "Agnes Fell", 25_000),
    ("Copperkettle Classics", "TRADE10", "Lucian Kettle", None),
    ("Pellow Steps Taxis", "FLEET", "Demelza Pellow", 30_000),
    ("Dunmarrow Plant Hire", "FLEET", "Ruan Dunmarrow", 50_000),
    ("Tithe Field Tractors", "TRADE15", "Hester Tithe", 20_000),
    ("Long Reach Boatyard", "TRADE10", "Silas Reach", 12_000),
    ("Marlhaven Coachworks", "TRADE10", "Bettina Marl", None),
    ("Saltmouth Van Centre", "AGREED", "Jago Saltmouth", 15_000),
    ("Figtree Motor Engineers", "TRADE15", "Ottoline Figg", 20_000),
    ("Wendle Vale Motorcycle Club", "CLUB", "Barnaby Wendle", None),
    ("Quillstone Race Preparation", "TRADE10", "Thea Quill", 40_000),
    ("Brambleford Bus Museum", "EXEMPT", "Edmund Bramble", None),
    ("Ushmoor Mobile Mechanics", "TRADE10", "Petra Ushmoor", 8_000),
)
_GIVEN = """
Ansel Bryony Casper Dorrit Ellery Fenella Gideon Hesper Ivor Juno Kester Lavinia
Magnus Nerys Orson Perdita Quentin Rosalind Septimus Tabitha Ulric Verity Wystan
Xanthe Yestin
"""
_SURNAMES = """
Applegarth-Low Bickerstone Cobbledick Drumbleby Eskerow Fothergrill Gorsewick
Hummerstone Inkpenny Jollifant Kettlewick Lambsfoot Mossop-Vane Nightingate
Oddercott Pockridge Quaintrell Rushbottle Snodmarsh Thistlewold Underbeck Vinnicot
Wigglesham Yarnstead Zealcombe
"""
_NO = ("too dear", "found a second-hand head", "sold the vehicle", "no reason given")
_BECAUSE = (
    "the valve job took two attempts",
    "agreed on the telephone afterwards",
    "one seat was not cut after all",
)
_FRIDAY = 4
_CAME_WITH = ("", "valves in a tray", "cams, caps and followers", "old gasket")
_PLACES = ("shelf 1", "shelf 2", "shelf 3", "tray 4", "tray 7", "floor by the door")


@dataclass(frozen=True, slots=True)
class _Plan:
    """How one job goes, in working days, and where it stops.

    Attributes:
        until: the last thing that happens.
        thinks: from the call to the answer.
        comes: from the answer to the heads being here.
        works: on the bench.
        rests: from being told to being collected.
        finds: the bench finds more and asks for another yes.
        waits: what it waits for on the bench, if anything.
        rung: days after the call on which the caller is to be rung, if not answered.
    """

    until: str = "collected"
    thinks: int = 1
    comes: int = 2
    works: int = 3
    rests: int = 2
    finds: bool = False
    waits: WaitsFor | None = None
    rung: int | None = None
    batch: str = ""
    head: _Head | None = None
    customer: int | None = None


_VAN = _Plan(batch="van of the taxis", head=_HEADS[2], customer=4)
#: What stands in the shop on its last morning: the working days that it began before.
_NOW: tuple[tuple[int, _Plan], ...] = (
    (0, _Plan("draft", rung=1)),
    (1, _Plan("draft", rung=2)),
    (2, _Plan("offered", rung=3)),
    (2, _Plan("offered", rung=3)),
    (4, _Plan("offered", rung=4)),
    (5, _Plan("offered", rung=6)),
    (2, _Plan("accepted")),
    (3, _Plan("accepted")),
    (8, _Plan("accepted")),
    (4, _Plan("booked in")),
    (5, _Plan("booked in")),
    (3, replace(_VAN, until="booked in", comes=1)),
    (3, replace(_VAN, until="booked in", comes=1)),
    (3, replace(_VAN, until="booked in", comes=1)),
    (3, replace(_VAN, until="booked in", comes=1)),
    (5, _Plan("on the bench")),
    (6, _Plan("on the bench")),
    (7, _Plan("on the bench", finds=True)),
    (8, _Plan("waiting", waits=WaitsFor.PARTS)),
    (12, _Plan("waiting", waits=WaitsFor.PARTS)),
    (9, _Plan("waiting", waits=WaitsFor.OUTWORK)),
    (15, _Plan("waiting", waits=WaitsFor.OUTWORK)),
    (6, _Plan("waiting", waits=WaitsFor.MACHINE)),
    (10, _Plan("waiting", waits=WaitsFor.CUSTOMER)),
    (6, _Plan("a yes", finds=True)),
    (9, _Plan("a yes", finds=True)),
    (9, _Plan("ready")),
    (10, _Plan("ready")),
    (12, _Plan("ready")),
    (10, _Plan("told")),
    (12, _Plan("told")),
    (28, _Plan("told")),
    (40, _Plan("told")),
    (66, _Plan("told")),
    (8, _Plan("condemned")),
    (11, _Plan("condemned and told")),
)
#: How a job of an ordinary day ends, and how often (common practice, no source).
_ENDS = {
    "collected": 66,
    "declined": 12,
    "lapsed": 14,
    "condemned, collected": 5,
    "draft": 1,
}
_A_DAY = (0, 0, 1, 1, 1, 1, 2)
#: Days before the last for which it is kept what was foretold of a job.
_FORETOLD = 200


def fill(
    database: Database, folder: Path, *, on: date, seed: int = 1, days: int = DAYS
) -> tuple[SignIn, ...]:
    """Fill an empty shop with an invented year; return who can sign in.

    Nothing is dated *on* itself: it is the morning of that day, before anybody came.
    The same seed and day make the same shop, but for secrets and hashes.

    Args:
        database: with its tables and nothing in them.
        folder: of the demonstration's rate tables.
        on: the shop's day.
        seed: of everything that is made up.
        days: how many go before it.

    Raises:
        AlreadySetUpError: somebody has an account there; nothing is changed.
    """
    start = on - timedelta(days=days)
    rng = random.Random(seed)  # noqa: S311  (what is made up need not be secret)
    with TemporaryDirectory() as name, database.transaction() as session:
        at = datetime.combine(start, time(7), UTC)
        _let_in(session, at)
        earlier = dated(folder, Path(name), start, "The autumn before")
        rates.bring_in(session, earlier, at=at, who=_OWNER)
        year = _Year(session, rng, folder, start, on)
        year.open()
        year.live()
    return PEOPLE


def dated(folder: Path, into: Path, valid_from: date, name: str) -> Path:
    """Copy an edition as one of an earlier day and another name; return its folder."""
    copy = Path(shutil.copytree(folder, into / "edition"))
    shop = copy / "shop.toml"
    text = shop.read_text(encoding="utf-8")
    for key, value in (
        ("edition", f'"{name}"'),
        ("valid_from", valid_from.isoformat()),
    ):
        text = re.sub(rf"^{key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
    shop.write_text(text, encoding="utf-8")
    parts = copy / "parts.csv"
    with parts.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    at = header.index("as_of")
    with parts.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(
            [header, *([*row[:at], valid_from, *row[at + 1 :]] for row in rows)]
        )
    return copy


def _let_in(session: Session, at: datetime) -> None:
    owner, *others = PEOPLE
    people.open_shop(session, owner.sign_in, owner.name, owner.password, "UTC", at=at)
    for person in others:
        people.add(
            session,
            person.sign_in,
            person.name,
            person.roles,
            person.password,
            at=at,
            who=owner.name,
            initials=person.initials,
        )


@dataclass(order=True)
class _Next:
    """A job that goes on, on a day; of the same day the earlier begun first."""

    day: date
    turn: int
    story: Iterator[int] = field(compare=False)


class _Year:
    """The year as it passes: its day and hour, its customers, what goes on."""

    def __init__(
        self, session: Session, rng: random.Random, folder: Path, start: date, on: date
    ) -> None:
        self.session, self.rng, self.folder = session, rng, folder
        self.day, self.on = start, on
        self.minutes = 0
        self.bench = random.Random("bench")  # noqa: S311  (what is made up)
        self.owned: list[Customer] = []
        self.agenda: list[_Next] = []
        self.begun = 0
        self.given, self.surnames = _GIVEN.split(), _SURNAMES.split()

    # The days.

    def open(self) -> None:
        """Write down the customers and the heads that were met before."""
        for name, terms, contact, up_to in _TRADE:
            self._customer(name, terms, contact, up_to)
        for given, surname in zip(self.given, self.surnames, strict=True):
            self._customer(f"{given} {surname}")
        edition = rates.in_force(self.session, self.day).edition
        for head, casting in _CASTINGS.items():
            layout = say(head, edition).candidates[0].job.heads[0].layout
            customers.remember_head(
                self.session,
                casting,
                layout=layout.code,
                name=layout.name,
                notes=self.rng.choice(_NOTES),
            )

    def live(self) -> None:
        """Live through every working day before the last morning."""
        staged = [(_back(self.on, days + 1), plan) for days, plan in _NOW]
        while self.day < self.on:
            self._bring_in_edition()
            if _works(self.day):
                for _ in range(self.rng.choice(_A_DAY)):
                    self._begin(self._ordinary())
                for day, plan in staged:
                    if day == self.day:
                        self._begin(plan)
                self._go_on()
                self._keep_books()
            self.day, self.minutes = self.day + timedelta(days=1), 0

    def _begin(self, plan: _Plan) -> None:
        self.begun += 1
        heapq.heappush(self.agenda, _Next(self.day, self.begun, self._job(plan)))

    def _go_on(self) -> None:
        while self.agenda and self.agenda[0].day <= self.day:
            due = heapq.heappop(self.agenda)
            days = next(due.story, None)
            if days is not None:
                due.day = _back(self.day, -days)
                heapq.heappush(self.agenda, due)

    def _bring_in_edition(self) -> None:
        """Bring the folder's own edition in on the day that it takes effect."""
        text = (self.folder / "shop.toml").read_text(encoding="utf-8")
        if f"valid_from = {self.day.isoformat()}" in text:
            at = self._now(_OWNER).at
            rates.bring_in(self.session, self.folder, at=at, who=_OWNER)

    def _now(self, who: str, later: int | None = None) -> Now:
        """Return the next moment of the day, some minutes *later*."""
        self.minutes += self.rng.randint(2, 9) if later is None else later
        opened = datetime.combine(self.day, time(8), UTC)
        return Now(who, opened + timedelta(minutes=self.minutes), self.day)

    def _ordinary(self) -> _Plan:
        draw = self.rng.randint
        ends, weights = zip(*_ENDS.items(), strict=True)
        waits = (None, None, None, WaitsFor.PARTS, WaitsFor.OUTWORK, WaitsFor.MACHINE)
        return _Plan(
            until=self.rng.choices(ends, weights)[0],
            thinks=draw(1, 6),
            comes=draw(1, 5),
            works=draw(1, 5),
            rests=draw(1, 6),
            finds=self.rng.random() < 0.2,
            waits=self.rng.choice(waits),
            rung=draw(2, 5),
        )

    # One job.

    def _job(self, plan: _Plan) -> Iterator[int]:
        """Do one job step by step; yield the working days to the next step."""
        head = plan.head or self.rng.choice(_HEADS)
        known = plan.customer or not (
            plan.until in ("draft", "declined", "lapsed") and self.rng.random() < 0.4
        )
        customer = self._whose(head, plan.customer) if known else None
        quote = self._call(plan, head, customer)
        if plan.until in ("draft", "offered"):
            return
        yield plan.thinks
        if customer is None or plan.until in ("declined", "lapsed"):
            self._no(quote, plan)
            return
        self._yes(quote, customer, len(quote.revisions[-1].ways))
        if plan.until == "accepted":
            return
        yield plan.comes
        order = self._book_in(quote, customer, plan)
        if plan.until == "booked in":
            return
        yield 1
        self._move(order, OrderMove.START, _BENCH)
        if plan.finds:
            self._ask(order, head)
            if plan.until == "a yes":
                yield 1
                self._ring(quote, "no answer, message left")
                return
            yield 1
            self._yes(quote, customer, 1)
            self._wait(order, None, "")
        if plan.waits:
            self._wait(order, plan.waits, self._next_step(plan.waits))
        if plan.until in ("on the bench", "waiting"):
            return
        yield plan.works
        yield from self._finish(order, customer, plan)

    def _finish(self, order: Order, customer: Customer, plan: _Plan) -> Iterator[int]:
        if order.waits_for:
            self._wait(order, None, "")
        demo_bench.write_down(self.session, order, self.bench, self._now(_BENCH, 0))
        if "condemned" in plan.until:
            for head in order.heads:
                why = "cracked through to the water jacket"
                orders.condemn_head(
                    self.session, order, order.version, head.tag, why, self._now(_BENCH)
                )
        else:
            self._move(order, OrderMove.MAKE_READY, _BENCH)
        if plan.until in ("ready", "condemned"):
            return
        yield 1
        self._move(order, OrderMove.TELL, _COUNTER)
        if plan.until in ("told", "condemned and told"):
            self._ring(order.quote, "told, will come")
            return
        yield plan.rests
        self._move(order, OrderMove.COLLECT, _COUNTER, collected_by=_contact(customer))
        yield from self._settle(order, customer)

    def _settle(self, order: Order, customer: Customer) -> Iterator[int]:
        """Invoice an order and take its money; now and then something is credited."""
        rng, session = self.rng, self.session
        if customer.collective:
            return  # invoiced with the others of its month
        invoice = documents.issue(session, [order.quote], self._now(_COUNTER))
        if customer.terms:
            yield rng.randint(5, 40)
        if rng.random() < 0.04:
            yield rng.randint(1, 8)
            part = max(1, invoice.gross // 10)
            currency = quotes.currency_of(session, order.quote)
            note = documents.credit(
                session,
                invoice,
                Credited(amount=currency.from_minor(part)),
                self._now(_ACCOUNTS),
                reason=rng.choice((Why.GOODWILL, Why.PRICE, Why.WORK)),
                because=rng.choice(_BECAUSE),
            )
            if note.left:
                payments.set_against(session, note, self._now(_ACCOUNTS))
        if rng.random() < 0.02:
            yield 100
            if invoice.left:
                debts.write_off(session, invoice, "gone away", self._now(_ACCOUNTS))
        elif invoice.left > 0:
            method = "bank transfer" if customer.terms else rng.choice(("card", "cash"))
            payments.pay(
                session, invoice.left, method, self._now(_ACCOUNTS), document=invoice
            )

    def _keep_books(self) -> None:
        """Count the till on Fridays; close the month before on its third working day.

        The customers who want one invoice a month get it on the first.
        """
        session, first = self.session, self.day.replace(day=1)
        if self.day.weekday() == _FRIDAY and (lies := till.expected_cash(session)) > 0:
            till.count_cash(session, lies, lies, "", self._now(_ACCOUNTS))
        if self.day == _back(first - timedelta(days=1), -1):
            for customer, came in invoices.collective(session, self.day):
                rows = [order.quote for order in came]
                made = documents.issue(session, rows, self._now(_ACCOUNTS))
                if made.left:
                    self._begin_payment(customer, made)
        if first.month % 2 and self.day == _back(first - timedelta(days=1), -2):
            now = self._now("the program", 0)
            records = learning.gather(session, self.day)
            learning.keep(session, learning.attempt(records, now, "new records"), now)
        if self.day == _back(first - timedelta(days=1), -3):
            closing.close(
                session, Month.of(first - timedelta(days=1)), self._now(_ACCOUNTS)
            )

    def _begin_payment(self, customer: Customer, invoice: DocumentIssued) -> None:
        self.begun += 1
        story = self._pays(customer, invoice)
        heapq.heappush(self.agenda, _Next(self.day, self.begun, story))

    def _pays(self, customer: Customer, invoice: DocumentIssued) -> Iterator[int]:
        yield self.rng.randint(8, 30)
        payments.pay(
            self.session,
            invoice.left,
            "bank transfer",
            self._now(_ACCOUNTS),
            customer_id=customer.id,
        )

    def _call(self, plan: _Plan, head: _Head, customer: Customer | None) -> Quote:
        rng, session = self.rng, self.session
        trade = customer is not None and bool(customer.terms)
        said = f"{head.head}: {rng.choice(head.works)}"
        ways = [Asked("", self._said(said, customer))]
        if rng.random() < 0.25:
            more = self._said(f"{said}, {head.found}", customer)
            ways = [Asked("As asked", ways[0].job), Asked(f"With {head.found}", more)]
        call_back = None if plan.rung is None else _back(self.day, -plan.rung)
        expected = _back(self.day, -plan.thinks - plan.comes)
        about = About(
            customer_id=customer.id if customer else None,
            caller=_contact(customer) if customer else self._stranger(),
            phone="" if customer else self._mobile(),
            order_number=f"TL-{rng.randint(1000, 9999)}" if trade else "",
            registration=f"{rng.choice('BDHKM')}{rng.choice('HLTVX')} "
            f"{rng.randint(100, 999)}",
            engine=head.engine,
            casting=_CASTINGS.get(head.head, "") if rng.random() < 0.5 else "",
            call_back=call_back,
            arrives=expected if customer and rng.random() < 0.7 else None,
        )
        quote = quotes.save(
            session,
            about,
            ways,
            self._now(rng.choice((_COUNTER, _COUNTER, _OWNER))),
            said=said,
            ready=_back(expected, -plan.works - 3),
            draft=plan.until == "draft",
        )
        going_on = plan.until not in ("draft", "declined", "lapsed")
        if going_on and (self.on - self.day).days < _FORETOLD:
            own_record.foretell(session, quote.revisions[-1])
        return quote

    def _said(self, text: str, customer: Customer | None) -> Job:
        edition = rates.in_force(self.session, self.day).edition
        terms = edition.terms.get(customer.terms) if customer else None
        return say(text, edition, terms=terms).candidates[0].job

    def _no(self, quote: Quote, plan: _Plan) -> None:
        if plan.until == "declined":
            now, why = self._now(_COUNTER), self.rng.choice(_NO)
            quotes.move(
                self.session, quote, quote.version, QuoteMove.DECLINE, now, why=why
            )
        else:
            self._ring(quote, "will think about it")
            quotes.call_back(self.session, quote, None, self._now(_COUNTER))

    def _yes(self, quote: Quote, customer: Customer, ways: int) -> None:
        now = self._now(_COUNTER)
        consent = Consent(
            by=_contact(customer),
            how=self.rng.choice((How.PHONE, How.PHONE, How.EMAIL, How.IN_PERSON)),
        )
        place = self.rng.randint(1, ways)
        quotes.accept(self.session, quote, quote.version, place, consent, now.at, now)

    def _book_in(self, quote: Quote, customer: Customer, plan: _Plan) -> Order:
        rng, now = self.rng, self._now(_COUNTER)
        approval = orders.latest_yes(self.session, quote)
        job = quotes.alternative(
            quotes.edition_of(self.session, quote.revisions[-1]),
            approval.way if approval else quotes.way_at(quote, 1),
            quote.revisions[-1].on,
        ).job
        if not customer.terms and rng.random() < 0.6:
            amount, method = (
                Decimal(rng.choice((50, 80, 100))),
                rng.choice(("card", "cash")),
            )
            deposits.take_deposit(self.session, quote, amount, method, now)
        came = [
            HeadCame(
                head.tag,
                came_with=rng.choice(_CAME_WITH),
                stands=rng.choice(_PLACES),
                casting=quote.casting,
            )
            for head in job.heads
        ]
        batch = f"{plan.batch}, {self.day.isoformat()}" if plan.batch else ""
        booked = BookedIn(came, up_to=customer.up_to, batch=batch)
        return orders.book_in(self.session, quote, booked, self._now(_COUNTER))

    def _ask(self, order: Order, head: _Head) -> None:
        """Offer what the bench found, and ask for a yes to it."""
        quote, found = order.quote, head.found
        last = quote.revisions[-1]
        jobs = quotes.ways_of(self.session, last)
        more = self._said(f"{last.said}, {found}", order.customer)
        labelled = [Asked("With " + found, more), Asked("As agreed", jobs[0].job)]
        quotes.revise(
            self.session,
            quote,
            quote.version,
            quotes.about(quote),
            labelled,
            self._now(_OWNER),
            said=f"{last.said}, {found}",
            ready=last.ready,
            why="found on the bench",
        )
        own_record.foretell(self.session, quote.revisions[-1])
        text = f"Your head is measured. It also needs: {found}. Shall we go on?"
        reply_by = _back(self.day, -3)
        orders.ask(self.session, order, text, self._now(_COUNTER), reply_by=reply_by)

    def _move(
        self, order: Order, step: OrderMove, who: str, *, collected_by: str = ""
    ) -> None:
        now = self._now(who)
        orders.move(
            self.session, order, order.version, step, now, collected_by=collected_by
        )

    def _wait(self, order: Order, on: WaitsFor | None, next_step: str) -> None:
        now = self._now(_BENCH)
        orders.wait(self.session, order, order.version, on or "", next_step, now)

    def _next_step(self, on: WaitsFor) -> str:
        due = _back(self.day, -self.rng.randint(2, 5)).strftime("%d/%m")
        return {
            WaitsFor.PARTS: f"guides due on {due}",
            WaitsFor.OUTWORK: f"back from the welder on {due}",
            WaitsFor.CUSTOMER: "wants to see the crack first",
        }.get(on, f"free on {due}")

    def _ring(self, quote: Quote, outcome: str) -> None:
        now = self._now(_COUNTER)
        orders.try_to_reach(self.session, quote, How.PHONE, outcome, now)

    # Who they are.

    def _customer(
        self, name: str, terms: str = "", contact: str = "", up_to: int | None = None
    ) -> None:
        at = len(self.owned)
        phone = f"+44 1632 960{at:03}" if terms else self._mobile()
        exempt = terms == "EXEMPT"
        mail = f"customer{at + 1}@example.invalid"
        people_there = ((contact, f"+44 7700 900{at:03}", ""),) if contact else ()
        details = Details(
            name,
            address=f"{at + 1} {self.rng.choice(self.given)} Street",
            town="Exampleton",
            phone=phone,
            email=mail,
            terms=terms,
            up_to=up_to,
            collective=terms == "FLEET",
            certificate="BM-207 (invented)" if exempt else "",
            certified_by="Revenue Office of Ambria" if exempt else "",
            certified_until=self.day + timedelta(days=1000) if exempt else None,
            contacts=people_there,
        )
        now = self._now(_COUNTER)
        row = customers.save(self.session, details, at=now.at, who=now.who)
        self.owned.append(row)

    def _whose(self, head: _Head, customer: int | None) -> Customer:
        """Return whose head it is: two in three are of the trade, fleets bring four."""
        if customer is not None:
            return self.owned[customer]
        trade = self.rng.random() < 0.65 or head.head.endswith("x4")
        among = self.owned[: len(_TRADE)] if trade else self.owned[len(_TRADE) :]
        return self.rng.choice(among)

    def _stranger(self) -> str:
        return f"{self.rng.choice(self.given)} {self.rng.choice(self.surnames)}"

    def _mobile(self) -> str:
        return f"+44 7700 900{self.rng.randint(100, 999)}"


def _contact(customer: Customer) -> str:
    contacts: Sequence[object] = customer.contacts
    return customer.contacts[0].name if contacts else customer.name


def _works(day: date) -> bool:
    return day.weekday() < 5


def _back(day: date, days: int) -> date:
    """Return the day so many working days before; negative: after."""
    step = timedelta(days=-1 if days > 0 else 1)
    for _ in range(abs(days)):
        day += step
        while not _works(day):
            day += step
    return day
