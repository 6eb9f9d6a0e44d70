"""The tables of the shop's records.

Columns only: rules are in ``domain``, use cases in ``workflow``. An amount is an
integer of the currency's smallest unit with the currency in the same row (decision
0009); an instant is kept in UTC; a day is the shop's own calendar day. Whole files
stand last in their row: SQLite reads through what stands before a column.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Annotated, Any

from sqlalchemy import (
    BigInteger,
    DateTime,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
    event,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from quoting.domain.errors import RuleError, translatable


class Utc(TypeDecorator[datetime]):
    """An instant: aware in Python, UTC without a zone in the database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(
        self, value: datetime | None, _dialect: Any
    ) -> datetime | None:
        """Return the instant as it is kept."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} is no instant: it has no zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def result_processor(
        self, dialect: Any, coltype: Any
    ) -> Callable[[Any], datetime | None]:
        """Return what makes a kept instant aware again.

        What is written together has one instant, so most rows of a long list were
        read before.
        """
        kept = self.impl_instance.result_processor(dialect, coltype)

        @lru_cache(maxsize=256)
        def instant(value: Any) -> datetime | None:
            read = kept(value) if kept else value
            return read.replace(tzinfo=UTC) if read else None

        return instant


Key = Annotated[int, mapped_column(primary_key=True)]
Code = Annotated[str, mapped_column(String(80), default="")]
Words = Annotated[str, mapped_column(Text, default="")]
Minor = Annotated[int, mapped_column(BigInteger, default=0)]
Instant = Annotated[datetime, mapped_column(Utc)]


class Record(DeclarativeBase):
    """What every table shares: names of constraints that migrations can rely on."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class TooLongError(RuleError):
    """A text is longer than its column, on every database; nothing was changed."""

    message = translatable(
        "{given} characters are more than the {longest} that are kept of: {text}"
    )


class UnprintableError(RuleError):
    """A text holds a NUL, which no paper shows and PostgreSQL does not keep."""

    message = translatable("This text holds a character that cannot be kept: {text}")


@event.listens_for(Record, "attribute_instrument", propagate=True)
def _keep_to_the_length(_record: type[Record], _name: str, attribute: Any) -> None:
    """Refuse what one database would cut off, refuse or keep as it pleases."""
    columns = getattr(attribute.property, "columns", ())
    if not columns or not isinstance(columns[0].type, String):
        return
    longest = columns[0].type.length

    @event.listens_for(attribute, "set")
    def check(_row: Record, value: object, _old: object, _event: object) -> None:
        if not isinstance(value, str):
            return
        if longest is not None and len(value) > longest:
            raise TooLongError(
                given=len(value), longest=longest, text=f"{value[:40]}..."
            )
        if "\0" in value:
            raise UnprintableError(text=value.replace("\0", "\N{SYMBOL FOR NULL}")[:40])


# Who works here.


class Setup(Record):
    """What was settled once for the whole shop; one row."""

    __tablename__ = "setup"

    id: Mapped[Key]
    secret: Mapped[str] = mapped_column(String(200))
    zone: Mapped[str] = mapped_column(String(60), default="UTC")
    confidence: Mapped[int] = mapped_column(default=0)
    by_machinist: Mapped[bool] = mapped_column(default=True)


class User(Record):
    """A person who signs in, or signs work by initials."""

    __tablename__ = "users"

    id: Mapped[Key]
    sign_in: Mapped[str] = mapped_column(String(80), unique=True)
    name: Mapped[str] = mapped_column(String(200))
    initials: Mapped[Code]
    password: Mapped[Words]
    pin: Mapped[Words]
    roles: Mapped[Code]
    stamp: Mapped[str] = mapped_column(String(40))
    active: Mapped[bool] = mapped_column(default=True)
    shortcuts: Mapped[bool] = mapped_column(default=True)
    created: Mapped[Instant]


class Device(Record):
    """A shared bench device that stays signed in."""

    __tablename__ = "devices"

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(String(200))
    token: Mapped[str] = mapped_column(String(64), unique=True)
    created: Mapped[Instant]
    active: Mapped[bool] = mapped_column(default=True)


class SignInAttempt(Record):
    """A failed attempt to sign in, for throttling."""

    __tablename__ = "sign_in_attempts"
    __table_args__ = (Index(None, "who", "at"),)

    id: Mapped[Key]
    who: Mapped[str] = mapped_column(String(200))
    at: Mapped[Instant]


# Whose heads.


class Customer(Record):
    """Whose heads they are: a person, garage or firm."""

    __tablename__ = "customers"

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(String(300), index=True)
    address: Mapped[Words]
    phone: Mapped[Code]
    email: Mapped[str] = mapped_column(String(300), default="")
    terms: Mapped[Code]
    tax_number: Mapped[Code]
    up_to: Mapped[int | None] = mapped_column(BigInteger)
    notes: Mapped[Words]
    created: Mapped[Instant]
    postcode: Mapped[Code]
    town: Mapped[str] = mapped_column(String(200), default="")
    country: Mapped[str] = mapped_column(String(2), default="")
    register_number: Mapped[Code]
    collective: Mapped[bool] = mapped_column(default=False)
    certificate: Mapped[Code]
    certified_by: Mapped[str] = mapped_column(String(200), default="")
    certified_until: Mapped[date | None]
    version: Mapped[int] = mapped_column()
    contacts: Mapped[list["Contact"]] = relationship(
        order_by="Contact.id", cascade="all, delete-orphan"
    )

    __mapper_args__ = {"version_id_col": version}  # noqa: RUF012 declared so by SQLAlchemy


class Contact(Record):
    """A person to speak to at a customer's."""

    __tablename__ = "contacts"

    id: Mapped[Key]
    customer_id: Mapped[int] = mapped_column(ForeignKey("customers.id"), index=True)
    name: Mapped[str] = mapped_column(String(300))
    phone: Mapped[Code]
    email: Mapped[str] = mapped_column(String(300), default="")


class KnownHead(Record):
    """A casting the shop has met: its layout, sizes, the maker's limits, notes."""

    __tablename__ = "known_heads"

    id: Mapped[Key]
    casting: Mapped[str] = mapped_column(String(80), unique=True)
    name: Mapped[str] = mapped_column(String(300), default="")
    layout: Mapped[Code]
    sizes: Mapped[Words]
    limits: Mapped[Words]
    notes: Mapped[Words]


# What is charged.


class RateEdition(Record):
    """A dated set of rate tables, as the files it came in.

    It never changes once it is no draft any more; a draft is in force on no day.
    """

    __tablename__ = "editions"

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(String(200))
    valid_from: Mapped[date] = mapped_column(index=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    imported: Mapped[Instant]
    draft: Mapped[bool] = mapped_column(default=False)
    made_of_id: Mapped[int | None] = mapped_column(ForeignKey("editions.id"))
    files: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    made_of: Mapped["RateEdition | None"] = relationship(remote_side="RateEdition.id")


class PartPrice(Record):
    """What a part costs or sells for from a day on; newer than the edition's."""

    __tablename__ = "part_prices"
    __table_args__ = (UniqueConstraint("part", "valid_from"),)

    id: Mapped[Key]
    part: Mapped[Code]
    valid_from: Mapped[date]
    price: Mapped[int | None] = mapped_column(BigInteger)
    cost: Mapped[int | None] = mapped_column(BigInteger)
    currency: Mapped[str] = mapped_column(String(3))
    supplier: Mapped[Code]


class Answer(Record):
    """What the shop means by a word that fits several kinds of work."""

    __tablename__ = "answers"

    id: Mapped[Key]
    word: Mapped[str] = mapped_column(String(200), unique=True)
    codes: Mapped[str] = mapped_column(String(400))


# What is offered.


class Quote(Record):
    """An offer under one number; what it holds stands in its revisions."""

    __tablename__ = "quotes"
    __table_args__ = (Index(None, "state", "on"),)

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), unique=True)
    state: Mapped[str] = mapped_column(String(20))
    customer_id: Mapped[int | None] = mapped_column(
        ForeignKey("customers.id"), index=True
    )
    caller: Mapped[str] = mapped_column(String(300), default="")
    phone: Mapped[Code]
    email: Mapped[str] = mapped_column(String(300), default="")
    order_number: Mapped[Code]
    registration: Mapped[Code]
    engine: Mapped[str] = mapped_column(String(200), default="")
    casting: Mapped[str] = mapped_column(String(80), default="", index=True)
    on: Mapped[date]
    valid_until: Mapped[date]
    call_back: Mapped[date | None] = mapped_column(index=True)
    arrives: Mapped[date | None]
    over_the_counter: Mapped[bool] = mapped_column(default=False)
    version: Mapped[int] = mapped_column()
    customer: Mapped[Customer | None] = relationship()
    revisions: Mapped[list["Revision"]] = relationship(
        order_by="Revision.number", back_populates="quote"
    )
    order: Mapped["Order | None"] = relationship(back_populates="quote")

    __mapper_args__ = {"version_id_col": version}  # noqa: RUF012 declared so by SQLAlchemy


class Revision(Record):
    """One state of an offer: what was said, by which edition, with which ways."""

    __tablename__ = "revisions"
    __table_args__ = (UniqueConstraint("quote_id", "number"),)

    id: Mapped[Key]
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"))
    number: Mapped[int]
    edition_id: Mapped[int] = mapped_column(ForeignKey("editions.id"), index=True)
    on: Mapped[date]
    valid_until: Mapped[date]
    ready: Mapped[date | None]
    said: Mapped[Words]
    saved: Mapped[Instant]
    saved_by: Mapped[str] = mapped_column(String(200))
    quote: Mapped[Quote] = relationship(back_populates="revisions")
    edition: Mapped[RateEdition] = relationship()
    ways: Mapped[list["Way"]] = relationship(
        order_by="Way.place", back_populates="revision"
    )


class Way(Record):
    """One alternative of a revision: the job asked for and what it comes to."""

    __tablename__ = "ways"
    __table_args__ = (UniqueConstraint("revision_id", "place"),)

    id: Mapped[Key]
    revision_id: Mapped[int] = mapped_column(ForeignKey("revisions.id"))
    place: Mapped[int]
    label: Mapped[str] = mapped_column(String(200), default="")
    job: Mapped[Words]
    currency: Mapped[str] = mapped_column(String(3))
    net: Mapped[Minor]
    tax: Mapped[Minor]
    total: Mapped[Minor]
    condemned: Mapped[int | None] = mapped_column(BigInteger)
    cost: Mapped[Minor]
    revision: Mapped[Revision] = relationship(back_populates="ways")
    lines: Mapped[list["WayLine"]] = relationship(order_by="WayLine.place")


class WayLine(Record):
    """One priced line of an alternative, as it was offered."""

    __tablename__ = "way_lines"
    __table_args__ = (UniqueConstraint("way_id", "place"),)

    id: Mapped[Key]
    way_id: Mapped[int] = mapped_column(ForeignKey("ways.id"))
    place: Mapped[int]
    kind: Mapped[str] = mapped_column(String(20))
    code: Mapped[Code]
    description: Mapped[Words]
    income: Mapped[str] = mapped_column(String(20), default="")
    quantity: Mapped[str] = mapped_column(String(40), default="")
    tax_code: Mapped[Code]
    net: Mapped[Minor]


class Approval(Record):
    """A yes on record: who said it, how, when, to what and up to how much."""

    __tablename__ = "approvals"

    id: Mapped[Key]
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"), index=True)
    way_id: Mapped[int] = mapped_column(ForeignKey("ways.id"))
    said_by: Mapped[str] = mapped_column(String(300))
    how: Mapped[str] = mapped_column(String(40))
    said_at: Mapped[Instant]
    up_to: Mapped[Minor]
    currency: Mapped[str] = mapped_column(String(3))
    note: Mapped[Words]
    recorded: Mapped[Instant]
    recorded_by: Mapped[str] = mapped_column(String(200))
    way: Mapped[Way] = relationship()


# What is done.


class Order(Record):
    """A work order: the heads that came and how far they are."""

    __tablename__ = "orders"
    __table_args__ = (
        Index(None, "state", "promised"),
        Index(None, "invoiced", "state"),
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), unique=True)
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"), unique=True)
    way_id: Mapped[int] = mapped_column(ForeignKey("ways.id"))
    customer_id: Mapped[int] = mapped_column(ForeignKey("customers.id"), index=True)
    state: Mapped[str] = mapped_column(String(20))
    batch: Mapped[Code] = mapped_column(index=True)
    booked: Mapped[Instant]
    on: Mapped[date]
    promised: Mapped[date | None]
    up_to: Mapped[int | None] = mapped_column(BigInteger)
    second_contact: Mapped[str] = mapped_column(String(300), default="")
    waits_for: Mapped[Code]
    waits_since: Mapped[date | None]
    next_step: Mapped[str] = mapped_column(String(300), default="")
    ready: Mapped[date | None]
    told: Mapped[date | None]
    collected: Mapped[date | None]
    collected_by: Mapped[str] = mapped_column(String(300), default="")
    invoiced: Mapped[bool] = mapped_column(default=False)
    work: Mapped[str] = mapped_column(Text, default="", deferred=True)
    version: Mapped[int] = mapped_column()
    quote: Mapped[Quote] = relationship(back_populates="order")
    way: Mapped[Way] = relationship()
    customer: Mapped[Customer] = relationship()
    heads: Mapped[list["OrderHead"]] = relationship(
        order_by="OrderHead.tag", back_populates="order"
    )
    steps: Mapped[list["OrderStep"]] = relationship(order_by="OrderStep.place")

    __mapper_args__ = {"version_id_col": version}  # noqa: RUF012 declared so by SQLAlchemy


class OrderHead(Record):
    """One head that came: its tag, condition, what came with it, where it stands."""

    __tablename__ = "order_heads"
    __table_args__ = (UniqueConstraint("order_id", "tag"),)

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"))
    known_head_id: Mapped[int | None] = mapped_column(
        ForeignKey("known_heads.id"), index=True
    )
    tag: Mapped[str] = mapped_column(String(8))
    label: Mapped[Code]
    layout: Mapped[str] = mapped_column(String(300))
    casting: Mapped[str] = mapped_column(String(80), default="")
    condition: Mapped[str] = mapped_column(String(200), default="")
    came_with: Mapped[Words]
    remarks: Mapped[Words]
    stands: Mapped[str] = mapped_column(String(120), default="")
    condemned: Mapped[bool] = mapped_column(default=False)
    order: Mapped[Order] = relationship(back_populates="heads")


class OrderStep(Record):
    """One step of an order's route card."""

    __tablename__ = "order_steps"
    __table_args__ = (UniqueConstraint("order_id", "place"),)

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"))
    place: Mapped[int]
    operation: Mapped[Code]
    phase: Mapped[Code]
    centre: Mapped[Code]
    minutes: Mapped[str] = mapped_column(String(20))
    positions: Mapped[Words]
    gate: Mapped[bool]


class Clocked(Record):
    """Minutes written down for a work order, or for some of its operations.

    ``operations`` joins their codes by +; empty is the whole job. What is set aside
    is kept and not learnt from.
    """

    __tablename__ = "clocked"

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    operations: Mapped[Words]
    minutes: Mapped[str] = mapped_column(String(20))
    person: Mapped[str] = mapped_column(String(200), default="")
    on: Mapped[date]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    aside: Mapped[str] = mapped_column(String(300), default="")


class Found(Record):
    """How many were looked at for one finding, and how many had it; 0 as well."""

    __tablename__ = "found"
    __table_args__ = (UniqueConstraint("order_id", "finding"),)

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"))
    finding: Mapped[Code]
    at_risk: Mapped[int]
    affected: Mapped[int]
    on: Mapped[date]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class Changeover(Record):
    """A day from which some operations go differently: a new machine, a new way."""

    __tablename__ = "changeovers"

    id: Mapped[Key]
    on: Mapped[date]
    operations: Mapped[Words]
    what: Mapped[str] = mapped_column(String(300), default="")
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class EarlierJobs(Record):
    """Past jobs that were brought in from a folder of tables; never changed."""

    __tablename__ = "earlier_jobs"

    id: Mapped[Key]
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    jobs: Mapped[int]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    content: Mapped[str] = mapped_column(Text, deferred=True)


class Learning(Record):
    """What was learnt from the records at one time; one that failed has no state."""

    __tablename__ = "learnings"
    __table_args__ = (Index(None, "good", "id"),)

    id: Mapped[Key]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    why: Mapped[str] = mapped_column(String(300))
    on: Mapped[date]
    edition_id: Mapped[int] = mapped_column(ForeignKey("editions.id"))
    sha256: Mapped[str] = mapped_column(String(64), index=True)
    jobs: Mapped[int]
    rows: Mapped[int]
    milliseconds: Mapped[int]
    good: Mapped[bool]
    said: Mapped[Words]
    state: Mapped[str] = mapped_column(Text, default="", deferred=True)


class Foretold(Record):
    """What an alternative was foretold to take when it was offered.

    Minutes are those that so many per cent of such jobs stay within; amounts are with
    tax, in the smallest unit, and empty where nothing was claimed.
    """

    __tablename__ = "foretold"

    id: Mapped[Key]
    way_id: Mapped[int] = mapped_column(ForeignKey("ways.id"), unique=True)
    learning_id: Mapped[int] = mapped_column(ForeignKey("learnings.id"))
    minutes: Mapped[Words]
    low: Mapped[int | None] = mapped_column(BigInteger)
    likely: Mapped[int | None] = mapped_column(BigInteger)
    high: Mapped[int | None] = mapped_column(BigInteger)
    told: Mapped[Words]


class Photo(Record):
    """A photo of a head, re-encoded by the app."""

    __tablename__ = "photos"

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    tag: Mapped[Code]
    caption: Mapped[str] = mapped_column(String(300), default="")
    width: Mapped[int]
    height: Mapped[int]
    taken: Mapped[Instant]
    taken_by: Mapped[str] = mapped_column(String(200))
    image: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)


class Ask(Record):
    """A message that asks a customer for a yes."""

    __tablename__ = "asks"

    id: Mapped[Key]
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    revision_id: Mapped[int] = mapped_column(ForeignKey("revisions.id"))
    text: Mapped[Words]
    photo_id: Mapped[int | None] = mapped_column(ForeignKey("photos.id"))
    reply_by: Mapped[date | None]
    sent: Mapped[Instant]
    sent_by: Mapped[str] = mapped_column(String(200))
    revision: Mapped[Revision] = relationship()


class Attempt(Record):
    """An attempt to reach a customer."""

    __tablename__ = "attempts"

    id: Mapped[Key]
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"), index=True)
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    how: Mapped[str] = mapped_column(String(40))
    outcome: Mapped[Words]


class DepositTaken(Record):
    """Money taken before there is an invoice, and what of it is still held."""

    __tablename__ = "deposits"
    __table_args__ = (Index(None, "held"),)

    id: Mapped[Key]
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"), index=True)
    number: Mapped[str] = mapped_column(String(20), unique=True)
    amount: Mapped[Minor]
    currency: Mapped[str] = mapped_column(String(3))
    on: Mapped[date]
    method: Mapped[str] = mapped_column(String(40))
    taken: Mapped[Instant]
    taken_by: Mapped[str] = mapped_column(String(200))
    held: Mapped[Minor]
    document_id: Mapped[int | None] = mapped_column(ForeignKey("documents.id"))
    quote: Mapped[Quote] = relationship()


class DepositMoved(Record):
    """What became of a deposit, or of a part of it: applied, paid back, kept, moved."""

    __tablename__ = "deposit_moves"

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), default="")
    deposit_id: Mapped[int] = mapped_column(ForeignKey("deposits.id"), index=True)
    how: Mapped[str] = mapped_column(String(20))
    on: Mapped[date] = mapped_column(index=True)
    gross: Mapped[Minor]
    tax_before: Mapped[Minor]
    tax_now: Mapped[Minor]
    document_id: Mapped[int | None] = mapped_column(ForeignKey("documents.id"))
    quote_id: Mapped[int | None] = mapped_column(ForeignKey("quotes.id"))
    method: Mapped[str] = mapped_column(String(40), default="")
    why: Mapped[Words]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


# Money.


class DocumentIssued(Record):
    """An invoice, deposit invoice or credit note; its content is frozen.

    ``left`` is what is still owed of it, or of a credit note what is not used yet.
    """

    __tablename__ = "documents"
    __table_args__ = (
        Index(None, "on", "kind"),
        Index(None, "settled", "on"),
        Index(None, "customer_id", "settled"),
    )

    id: Mapped[Key]
    kind: Mapped[str] = mapped_column(String(20))
    number: Mapped[str] = mapped_column(String(20), unique=True)
    on: Mapped[date]
    supplied: Mapped[date]
    pay_by: Mapped[date | None]
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customers.id"))
    quote_id: Mapped[int | None] = mapped_column(ForeignKey("quotes.id"), index=True)
    corrects_id: Mapped[int | None] = mapped_column(
        ForeignKey("documents.id"), index=True
    )
    buyer: Mapped[str] = mapped_column(String(300), default="")
    currency: Mapped[str] = mapped_column(String(3))
    net: Mapped[Minor]
    tax: Mapped[Minor]
    gross: Mapped[Minor]
    deducted: Mapped[Minor]
    left: Mapped[Minor]
    settled: Mapped[date | None]
    reason: Mapped[Code]
    because: Mapped[Words]
    certificate: Mapped[Code]
    issued: Mapped[Instant]
    issued_by: Mapped[str] = mapped_column(String(200))
    no_xml: Mapped[str] = mapped_column(String(300), default="")
    paper_id: Mapped[int | None] = mapped_column(ForeignKey("papers.id"), index=True)
    xml: Mapped[bytes | None] = mapped_column(LargeBinary, deferred=True)
    content: Mapped[str] = mapped_column(Text, deferred=True)
    customer: Mapped[Customer | None] = relationship()


class DocumentLine(Record):
    """One line of a document."""

    __tablename__ = "document_lines"
    __table_args__ = (UniqueConstraint("document_id", "place"),)

    id: Mapped[Key]
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"))
    place: Mapped[int]
    kind: Mapped[str] = mapped_column(String(20))
    code: Mapped[Code]
    description: Mapped[Words]
    income: Mapped[str] = mapped_column(String(40), default="")
    work: Mapped[str] = mapped_column(String(20), default="")
    net: Mapped[Minor]
    tax: Mapped[Minor]


class DocumentCode(Record):
    """What a document charges under one tax code, and what fell due with deposits."""

    __tablename__ = "document_codes"
    __table_args__ = (UniqueConstraint("document_id", "code"),)

    id: Mapped[Key]
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"))
    code: Mapped[Code]
    net: Mapped[Minor]
    tax: Mapped[Minor]
    before_net: Mapped[Minor]
    before_tax: Mapped[Minor]


class DocumentTax(Record):
    """One row of a document's tax table.

    ``before`` is what of it fell due with deposits that are taken off; a tax that only
    they have stands in a row of its own that charges nothing.
    """

    __tablename__ = "document_taxes"
    __table_args__ = (UniqueConstraint("document_id", "place"),)

    id: Mapped[Key]
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"))
    place: Mapped[int]
    authority: Mapped[str] = mapped_column(String(200))
    category: Mapped[str] = mapped_column(String(8))
    rate: Mapped[str] = mapped_column(String(20))
    label: Mapped[str] = mapped_column(String(200), default="")
    reason: Mapped[Words]
    base: Mapped[Minor]
    amount: Mapped[Minor]
    before_base: Mapped[Minor]
    before_tax: Mapped[Minor]


class OrderInvoiced(Record):
    """A work order that an invoice is for; an order has one, unless it is credited."""

    __tablename__ = "orders_invoiced"

    id: Mapped[Key]
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"), index=True)
    order_id: Mapped[int | None] = mapped_column(ForeignKey("orders.id"), index=True)
    quote_id: Mapped[int] = mapped_column(ForeignKey("quotes.id"), index=True)


class Payment(Record):
    """Money from a customer, or below nothing paid back to one.

    ``left`` is what of it is not set against a document: money on account.
    """

    __tablename__ = "payments"
    __table_args__ = (
        Index(None, "on"),
        Index(None, "customer_id", "settled"),
        Index(None, "settled", "on"),
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), unique=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customers.id"))
    on: Mapped[date]
    method: Mapped[str] = mapped_column(String(40))
    currency: Mapped[str] = mapped_column(String(3))
    amount: Mapped[Minor]
    rounding: Mapped[Minor]
    left: Mapped[Minor]
    settled: Mapped[date | None]
    note: Mapped[Words]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    paper_id: Mapped[int | None] = mapped_column(ForeignKey("papers.id"))
    customer: Mapped[Customer | None] = relationship()


class Allocation(Record):
    """What of a payment or a credit note is set against a document.

    A refund is set against what is paid back: a credit note or an earlier payment.
    """

    __tablename__ = "allocations"

    id: Mapped[Key]
    payment_id: Mapped[int | None] = mapped_column(
        ForeignKey("payments.id"), index=True
    )
    credit_id: Mapped[int | None] = mapped_column(
        ForeignKey("documents.id"), index=True
    )
    document_id: Mapped[int | None] = mapped_column(
        ForeignKey("documents.id"), index=True
    )
    deposit_id: Mapped[int | None] = mapped_column(
        ForeignKey("deposits.id"), index=True
    )
    refund_id: Mapped[int | None] = mapped_column(ForeignKey("payments.id"), index=True)
    on: Mapped[date] = mapped_column(index=True)
    amount: Mapped[Minor]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class AllocationTax(Record):
    """The tax in what was received for a document, by the rows of its tax table."""

    __tablename__ = "allocation_taxes"

    id: Mapped[Key]
    allocation_id: Mapped[int] = mapped_column(ForeignKey("allocations.id"), index=True)
    place: Mapped[int]
    base: Mapped[Minor]
    amount: Mapped[Minor]


class GivenUp(Record):
    """A debt that was written off, relieved, or let go as a discount for paying early.

    ``how`` is one of write-off, relief and settlement discount.
    """

    __tablename__ = "given_up"

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), unique=True)
    how: Mapped[str] = mapped_column(String(24))
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"), index=True)
    on: Mapped[date] = mapped_column(index=True)
    gross: Mapped[Minor]
    tax: Mapped[Minor]
    currency: Mapped[str] = mapped_column(String(3))
    why: Mapped[Words]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class SurchargeHeld(Record):
    """An exchange surcharge that was charged, and what of it is still held."""

    __tablename__ = "surcharges_held"
    __table_args__ = (Index(None, "held"),)

    id: Mapped[Key]
    document_id: Mapped[int] = mapped_column(ForeignKey("documents.id"), index=True)
    place: Mapped[int]
    description: Mapped[Words]
    net: Mapped[Minor]
    held: Mapped[Minor]
    tax_back: Mapped[bool] = mapped_column(default=True)
    return_by: Mapped[date | None]
    kept_on: Mapped[date | None] = mapped_column(index=True)
    kept: Mapped[Minor]
    kept_number: Mapped[str] = mapped_column(String(20), default="")
    kept_at: Mapped[datetime | None] = mapped_column(Utc)
    kept_by: Mapped[str] = mapped_column(String(200), default="")
    why: Mapped[Words]
    document: Mapped[DocumentIssued] = relationship()


class CashCount(Record):
    """The till at the end of a day: counted, expected, and taken to the bank."""

    __tablename__ = "cash_counts"

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(String(20), unique=True)
    on: Mapped[date] = mapped_column(index=True)
    currency: Mapped[str] = mapped_column(String(3))
    counted: Mapped[Minor]
    expected: Mapped[Minor]
    banked: Mapped[Minor]
    note: Mapped[Words]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class Entry(Record):
    """One line of the journal; lines are only ever added."""

    __tablename__ = "entries"
    __table_args__ = (
        Index(None, "on", "currency"),
        Index(None, "document_number"),
        Index(None, "role", "detail", "on"),
    )

    id: Mapped[Key]
    event: Mapped[str] = mapped_column(String(24))
    document_number: Mapped[str] = mapped_column(String(20))
    line: Mapped[int]
    on: Mapped[date]
    tax_date: Mapped[date]
    role: Mapped[str] = mapped_column(String(24))
    detail: Mapped[str] = mapped_column(String(200), default="")
    amount: Mapped[Minor]
    base: Mapped[Minor]
    authority: Mapped[str] = mapped_column(String(200), default="")
    category: Mapped[str] = mapped_column(String(8), default="")
    rate: Mapped[str] = mapped_column(String(20), default="")
    currency: Mapped[str] = mapped_column(String(3))
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customers.id"))
    narrative: Mapped[Words]
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))


class AccountName(Record):
    """The shop's own code and name for an account of the journal."""

    __tablename__ = "account_names"
    __table_args__ = (UniqueConstraint("role", "detail"),)

    id: Mapped[Key]
    role: Mapped[str] = mapped_column(String(24))
    detail: Mapped[str] = mapped_column(String(200), default="")
    code: Mapped[str] = mapped_column(String(40))
    name: Mapped[str] = mapped_column(String(200))


class MonthBalance(Record):
    """What an account came to at the end of a month, kept when the month is closed."""

    __tablename__ = "month_balances"
    __table_args__ = (UniqueConstraint("month", "role", "detail", "currency"),)

    id: Mapped[Key]
    month: Mapped[str] = mapped_column(String(7))
    role: Mapped[str] = mapped_column(String(24))
    detail: Mapped[str] = mapped_column(String(200), default="")
    currency: Mapped[str] = mapped_column(String(3))
    amount: Mapped[Minor]


class MonthAct(Record):
    """A month was closed, reopened or sent.

    Of what was sent (``what`` kind of file), and of all tables when it was closed, a
    digest of every row is kept to compare with, and its SHA-256.
    """

    __tablename__ = "month_acts"

    id: Mapped[Key]
    month: Mapped[str] = mapped_column(String(7), index=True)
    act: Mapped[str] = mapped_column(String(12))
    what: Mapped[str] = mapped_column(String(8), default="")
    at: Mapped[Instant]
    by: Mapped[str] = mapped_column(String(200))
    why: Mapped[Words]
    sha256: Mapped[str] = mapped_column(String(64), default="")
    sent: Mapped[bytes | None] = mapped_column(LargeBinary, deferred=True)


# Papers, numbers and the trail.


class PaperMade(Record):
    """A paper as it was issued: its frozen content, and the file made of it."""

    __tablename__ = "papers"
    __table_args__ = (
        Index(None, "quote_id", "kind"),
        Index(None, "customer_id", "kind"),
    )

    id: Mapped[Key]
    kind: Mapped[str] = mapped_column(String(40))
    number: Mapped[str] = mapped_column(String(40))
    quote_id: Mapped[int | None] = mapped_column(ForeignKey("quotes.id"))
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customers.id"))
    title: Mapped[str] = mapped_column(String(300))
    made: Mapped[date]
    sha256: Mapped[str] = mapped_column(String(64), default="", index=True)
    issued: Mapped[Instant]
    issued_by: Mapped[str] = mapped_column(String(200))
    html: Mapped[str] = mapped_column(Text, deferred=True)
    pdf: Mapped[bytes | None] = mapped_column(LargeBinary, deferred=True)


class Series(Record):
    """The next number of a series, and the last day it was used."""

    __tablename__ = "series"

    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    next: Mapped[int]
    last_on: Mapped[date | None]


class Once(Record):
    """A form that was sent: the same form sent again leads to the same result."""

    __tablename__ = "once"

    token: Mapped[str] = mapped_column(String(64), primary_key=True)
    at: Mapped[Instant]
    result: Mapped[str] = mapped_column(String(300))


class Trail(Record):
    """One entry of the audit trail; entries are only ever added."""

    __tablename__ = "trail"
    __table_args__ = (Index(None, "subject", "subject_id"),)

    id: Mapped[Key]
    at: Mapped[Instant]
    who: Mapped[str] = mapped_column(String(200))
    what: Mapped[str] = mapped_column(String(80))
    subject: Mapped[str] = mapped_column(String(40))
    subject_id: Mapped[int]
    old: Mapped[Words]
    new: Mapped[Words]
    why: Mapped[Words]
    before: Mapped[str] = mapped_column(String(64), unique=True)
    seal: Mapped[str] = mapped_column(String(64), unique=True)


#: Words in the order of their characters, whatever the database sorts names by.
_BY_CHARACTER = String(80).with_variant(String(80, collation="C"), "postgresql")


class SearchWord(Record):
    """A word by which a customer, quote or order is found."""

    __tablename__ = "search_words"
    __table_args__ = (
        Index(None, "subject", "word", "subject_id"),
        Index(None, "subject", "subject_id", "word"),
    )

    id: Mapped[Key]
    word: Mapped[str] = mapped_column(_BY_CHARACTER)
    subject: Mapped[str] = mapped_column(String(20))
    subject_id: Mapped[int]
