"""An invented shop after ten years of work, written in bulk: for benchmarks only.

Rows go straight into the tables, so that a run takes a minute instead of a morning;
what they hold is what the use cases write. Everybody and everything is made up:
telephone numbers begin with +999, which no country has.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from sqlalchemy import Connection, insert, select

from quoting.domain.edition import Edition
from quoting.domain.head import Head
from quoting.domain.phrase import say
from quoting.domain.quote import Alternative, holds_until, offer
from quoting.domain.work_order import work_order
from quoting.files import job_document
from quoting.files.edition import read_edition
from quoting.store.database import Database
from quoting.store.models import (
    Approval,
    Customer,
    Order,
    OrderHead,
    OrderStep,
    Quote,
    Record,
    Revision,
    SearchWord,
    Series,
    Trail,
    Way,
    WayLine,
)
from quoting.store.numbering import written
from quoting.workflow import rates
from quoting.workflow.demo_shop import dated
from quoting.workflow.quotes import OnPaper
from quoting.workflow.search import words_of

YEARS = 10
WHO = "Invented counter"
_BATCH = 2_000

SHORT = (
    "16v twin cam leak test",
    "16v twin cam skim 0.10",
    "8v single cam skim 0.15",
    "i4 8v iron: skim 0.10",
    "v6 24v x2 skim 0.10",
    "v8 32v x2 skim 0.15",
    "16v diesel leak test",
    "12v three skim 0.10",
    "straight six ohv: seats all",
    "plant diesel four leak test",
    "20v four: valve stem seals",
    "16v twin cam vacuum test",
)
LONG = (
    "16v twin cam overheated",
    "i4 8v iron valve job",
    "10v five: guides all",
    "v6 24v x2 overheated",
    "8v twin cam: guides all, seats all",
    "16v twin cam snapped belt",
    "motorcycle single 4v: guides exhaust",
)
GIVEN = """
Ansel Bryn Cosima Dorrit Edda Fenn Gwil Hesper Idris Jory Kester Lowen Merrin Nerys
Orla Piran Quill Rosen Senara Tamsin
"""
FIRST = """
Marl Tal Os Fer Hob Cop Wend Brack Hazel Quen Stan Thorn Ush Vel Win Yar Ald Bran
Cross Dun
"""
LAST = """
low good ry bley sett ham combe wick stow den field mere ridge thorpe
"""
TRADES = (
    "Garage",
    "Motors",
    "Auto Repairs",
    "Plant Hire",
    "Classics",
    "Marine",
    "Garage & Sons",
    "Haulage",
)


class Worked(NamedTuple):
    """A phrase, priced once, and what a job of it writes."""

    said: str
    way: Alternative
    job: str
    lines: tuple[dict[str, object], ...]
    steps: tuple[dict[str, object], ...]


@dataclass(frozen=True, slots=True)
class Shop:
    """What was written, for whoever searches it."""

    on: date
    jobs: int
    lines: int
    customers: tuple[str, ...]
    numbers: tuple[str, ...]
    registrations: tuple[str, ...]
    phones: tuple[str, ...]


def fill(
    database: Database,
    folder: Path,
    *,
    on: date,
    jobs: int = 60_000,
    lines: int = 500_000,
    seed: int = 1,
) -> Shop:
    """Write ten years of jobs that end on *on* into empty tables.

    Args:
        database: with its tables and nothing in them.
        folder: of the rate tables.
        on: last day of the shop.
        jobs: how many quotes, three in four of them with a work order.
        lines: how many priced lines in all, about.
        seed: of everything that is made up.
    """
    start = on - timedelta(days=365 * YEARS)
    at = datetime.combine(start, time(7), UTC)
    with TemporaryDirectory() as name:
        earlier = dated(folder, Path(name), start, "2016 autumn")
        edition = read_edition(earlier)
        with database.transaction() as session:
            edition_id = rates.bring_in(session, earlier, at=at, who=WHO)
    short, long = ([_worked(edition, said) for said in told] for told in (SHORT, LONG))
    rng = random.Random(seed)  # noqa: S311  (what is made up need not be secret)
    writer = _Writer(rng, start, on, edition, edition_id)
    with database.reading() as session:
        last = session.scalars(select(Trail).order_by(Trail.id.desc()).limit(1)).one()
        writer.keys[Trail], writer.seal = last.id, last.seal
    with database.engine.execution_options(writing=True).begin() as connection:
        writer.customers(connection, jobs // 10)
        writer.jobs(connection, jobs, short, long, _share(short, long, lines / jobs))
    with database.transaction() as session:
        session.connection().exec_driver_sql("ANALYZE")
    return writer.shop()


def _worked(edition: Edition, said: str) -> Worked:
    job = say(said, edition).candidates[0].job
    way = offer(edition, "", job, edition.shop.valid_from)
    minor = edition.currency.to_minor
    card = work_order(
        edition,
        job,
        way.priced,
        number="W",
        on=edition.shop.valid_from,
        customer=OnPaper(),
    )
    return Worked(
        said,
        way,
        job_document.write(job),
        tuple(
            {
                "place": place,
                "kind": line.kind,
                "code": line.code,
                "description": line.description,
                "income": line.group,
                "quantity": "" if line.quantity is None else f"{line.quantity:f}",
                "tax_code": line.tax_code,
                "net": minor(line.net),
            }
            for place, line in enumerate(way.priced.lines, 1)
        ),
        tuple(
            {
                "place": step.number,
                "operation": step.operation.code,
                "phase": step.phase,
                "centre": step.centre.code,
                "minutes": f"{step.minutes:f}",
                "positions": "",
                "gate": step.gate,
            }
            for step in card.steps
        ),
    )


def _share(short: Sequence[Worked], long: Sequence[Worked], wanted: float) -> float:
    """Return which share of long jobs gives so many lines a job."""
    few, many = (
        sum(len(worked.lines) for worked in told) / len(told) for told in (short, long)
    )
    return (wanted - few) / (many - few)


class _Writer:
    """Makes rows and writes them by the thousand."""

    def __init__(
        self,
        rng: random.Random,
        start: date,
        on: date,
        edition: Edition,
        edition_id: int,
    ) -> None:
        self.rng = rng
        self.given, self.first, self.last = GIVEN.split(), FIRST.split(), LAST.split()
        self.start, self.on = start, on
        self.edition, self.edition_id = edition, edition_id
        self.rows: dict[type[Record], list[dict[str, object]]] = {}
        self.keys: dict[type[Record], int] = {}
        self.known: list[tuple[str, str]] = []
        self.count = self.lines = 0
        self.seal = ""
        self.samples: list[tuple[str, str]] = []

    def shop(self) -> Shop:
        names, phones = zip(*self.known, strict=True)
        numbers, registrations = zip(*self.samples, strict=True)
        return Shop(
            self.on, self.count, self.lines, names, numbers, registrations, phones
        )

    def customers(self, connection: Connection, count: int) -> None:
        """Write customers: the first quarter trade, the others private."""
        for at in range(count):
            trade = at < count // 4
            name, phone = self._name(trade=trade), self._phone()
            self.known.append((name, phone))
            key = self._add(
                Customer,
                name=name,
                address=f"{at} Invented Street\nExampleton",
                phone=phone,
                email=f"c{at}@example.invalid",
                terms="TRADE10" if trade else "",
                up_to=10_000 if trade else None,
                tax_number="",
                notes="",
                created=datetime.combine(self.start, time(8), UTC),
            )
            self._found_by("customer", key, words_of([name], [phone]))
        self._write(connection)

    def jobs(
        self,
        connection: Connection,
        count: int,
        short: Sequence[Worked],
        long: Sequence[Worked],
        share: float,
    ) -> None:
        """Write quotes in the order of their days, most with a work order."""
        days = (self.on - self.start).days
        for at in range(count):
            day = self.start + timedelta(days=at * days // count)
            told = long if self.rng.random() < share else short
            self._job(at, day, self.rng.choice(told))
            if at % _BATCH == 0:
                self._write(connection)
        for series, model in (("quote", Quote), ("order", Order)):
            self._add(Series, name=series, next=self.keys[model] + 1, last_on=self.on)
        self._write(connection)

    def _job(self, at: int, day: date, worked: Worked) -> None:
        customer = self._customer()
        name, phone = self.known[customer - 1]
        fate = self.rng.random()
        state = "accepted" if fate < 0.75 else "declined" if fate < 0.88 else "lapsed"
        recent = (self.on - day).days < 12
        if state == "lapsed" and recent:
            state = "offered"
        about = {
            "caller": "" if fate < 0.9 else self._name(trade=False),
            "phone": self._phone() if fate >= 0.9 else "",
            "order_number": f"PO-{self.rng.randrange(100_000):05}",
            "registration": self._registration(),
            "engine": worked.way.job.heads[0].layout.name,
            "casting": f"TL{self.rng.randrange(10_000):04}A",
        }
        number = written("Q", at + 1)
        quote = self._add(
            Quote,
            number=number,
            state=state,
            customer_id=customer,
            email="",
            on=day,
            valid_until=holds_until(self.edition, day),
            call_back=self.on if state == "offered" and fate < 0.9 else None,
            arrives=None,
            version=1,
            **about,
        )
        saved = datetime.combine(day, time(9), UTC)
        way = self._offered(quote, day, saved, worked)
        numbers = [
            number,
            phone,
            about["phone"],
            about["order_number"],
            about["registration"],
            about["casting"],
        ]
        if state == "accepted":
            numbers.append(self._order(quote, way, customer, day, saved, worked))
        self._found_by(
            "quote", quote, words_of([about["caller"], about["engine"], name], numbers)
        )
        self._note("quote", quote, "quote saved", saved)
        self.count += 1
        self.samples.append((number, about["registration"]))

    def _offered(self, quote: int, day: date, saved: datetime, worked: Worked) -> int:
        revision = self._add(
            Revision,
            quote_id=quote,
            number=1,
            edition_id=self.edition_id,
            on=day,
            valid_until=holds_until(self.edition, day),
            ready=day + timedelta(days=7),
            said=worked.said,
            saved=saved,
            saved_by=WHO,
        )
        totals, minor = worked.way.priced.totals, self.edition.currency.to_minor
        condemned = worked.way.condemned
        way = self._add(
            Way,
            revision_id=revision,
            place=1,
            label="",
            job=worked.job,
            currency=self.edition.currency.code,
            net=minor(totals.net),
            tax=minor(totals.tax),
            total=minor(totals.total),
            condemned=None if condemned is None else minor(condemned),
            cost=minor(totals.cost),
        )
        for line in worked.lines:
            self._add(WayLine, way_id=way, **line)
        self.lines += len(worked.lines)
        return way

    def _order(
        self,
        quote: int,
        way: int,
        customer: int,
        day: date,
        saved: datetime,
        worked: Worked,
    ) -> str:
        """Write the yes and the work order; return its number."""
        self._add(
            Approval,
            quote_id=quote,
            way_id=way,
            said_by="the caller",
            how="phone",
            said_at=saved,
            up_to=0,
            currency=self.edition.currency.code,
            note="",
            recorded=saved,
            recorded_by=WHO,
        )
        at = self.keys.get(Order, 0) + 1
        number = written("W", at)
        here = (self.on - day).days < 12
        ready = None if here and self.rng.random() < 0.7 else day + timedelta(days=6)
        collected = None if here else day + timedelta(days=9)
        waits = self.rng.choice(("", "", "parts", "yes", "outwork"))
        order = self._add(
            Order,
            number=number,
            quote_id=quote,
            way_id=way,
            customer_id=customer,
            state="collected" if collected else "ready" if ready else "on the bench",
            batch="",
            booked=saved,
            on=day,
            promised=day + timedelta(days=7),
            up_to=None,
            second_contact="",
            waits_for="" if ready else waits,
            waits_since=day if waits and not ready else None,
            next_step="",
            ready=ready,
            told=ready if collected else None,
            collected=collected,
            collected_by="the customer" if collected else "",
            version=1,
        )
        for head in worked.way.job.heads:
            self._head(order, head)
        for step in worked.steps:
            self._add(OrderStep, order_id=order, **step)
        self._note("order", order, "booked in", saved)
        return number

    def _head(self, order: int, head: Head) -> None:
        self._add(
            OrderHead,
            order_id=order,
            known_head_id=None,
            tag=head.tag,
            label=head.label,
            layout=head.layout.name,
            casting="",
            condition="",
            came_with="",
            remarks="",
            stands=f"shelf {self.rng.randrange(1, 30)}",
            condemned=False,
        )

    def _note(self, subject: str, key: int, what: str, at: datetime) -> None:
        before = self.seal
        self.seal = sha256(f"{before}{subject}{key}".encode()).hexdigest()
        self._add(
            Trail,
            at=at,
            who=WHO,
            what=what,
            subject=subject,
            subject_id=key,
            old="",
            new="",
            why="",
            before=before,
            seal=self.seal,
        )

    def _found_by(self, subject: str, key: int, words: set[str]) -> None:
        for word in sorted(words):
            self._add(SearchWord, word=word, subject=subject, subject_id=key)

    # What is made up.

    def _customer(self) -> int:
        """Return whose heads they are: seven in ten are of the trade."""
        trade = len(self.known) // 4
        if self.rng.random() < 0.7:
            return self.rng.randrange(trade) + 1
        return self.rng.randrange(trade, len(self.known)) + 1

    def _name(self, *, trade: bool) -> str:
        surname = (
            self.rng.choice(self.first) + self.rng.choice(self.last)
        ).capitalize()
        if trade:
            return f"{surname} {self.rng.choice(TRADES)}"
        return f"{self.rng.choice(self.given)} {surname}"

    def _phone(self) -> str:
        return f"+999 {self.rng.randrange(100):02} {self.rng.randrange(10**6):06}"

    def _registration(self) -> str:
        letters = "".join(self.rng.choices("ABCDEFGHJKLMNPRSTVWXY", k=2))
        return f"{letters} {self.rng.randrange(10_000):04}"

    # Rows.

    def _add(self, model: type[Record], **values: object) -> int:
        key = self.keys[model] = self.keys.get(model, 0) + 1
        if model is not Series:
            values["id"] = key
        self.rows.setdefault(model, []).append(values)
        return key

    def _write(self, connection: Connection) -> None:
        for model, rows in self._in_order():
            connection.execute(insert(model.__table__), rows)
        self.rows.clear()

    def _in_order(self) -> Iterator[tuple[type[Record], list[dict[str, object]]]]:
        """Yield the rows of each table after those that they point at."""
        tables = Record.metadata.sorted_tables
        models = sorted(self.rows, key=lambda model: tables.index(model.__table__))
        yield from ((model, self.rows[model]) for model in models)
