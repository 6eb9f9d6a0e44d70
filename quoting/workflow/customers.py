"""Whose heads they are: customers, the people to speak to, and heads met before."""

from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from quoting.domain.errors import RuleError, translatable
from quoting.domain.money import Currency
from quoting.store import audit
from quoting.store.database import ChangedMeanwhileError
from quoting.store.models import Contact, Customer, KnownHead, Order, OrderHead, Quote
from quoting.workflow.search import index, words_of


class NoSuchRecordError(RuleError):
    """Nothing is kept under a key."""

    message = translatable("There is no {what} {key}; it may have been typed wrong.")


class NamelessError(RuleError):
    """A customer has no name."""

    message = translatable("A customer needs a name.")


class Details(NamedTuple):
    """What is written down of a customer.

    Attributes:
        address: street and house, a line each.
        country: by ISO 3166-1 alpha-2; empty: the shop's.
        up_to: what may be spent without asking, in the smallest unit; None: nothing.
        collective: whether they get one invoice a month.
        certificate: number of the paper by which they owe no tax.
        certified_by: who issued it.
        certified_until: its last day; None: it has no end.
        contacts: name, telephone and e-mail of each person to speak to.
    """

    name: str
    address: str = ""
    postcode: str = ""
    town: str = ""
    country: str = ""
    phone: str = ""
    email: str = ""
    terms: str = ""
    tax_number: str = ""
    register_number: str = ""
    collective: bool = False
    certificate: str = ""
    certified_by: str = ""
    certified_until: date | None = None
    up_to: int | None = None
    notes: str = ""
    contacts: tuple[tuple[str, str, str], ...] = ()


def save(
    session: Session,
    details: Details,
    *,
    at: datetime,
    who: str,
    customer_id: int | None = None,
    version: int | None = None,
) -> Customer:
    """Write down a customer, new or known.

    Args:
        session: of a transaction.
        details: all that is known of them from now on.
        at: when.
        who: does it.
        customer_id: of one who is known.
        version: of one who is known, as it was seen; None: whatever it is.

    Raises:
        ChangedMeanwhileError: others wrote them down since *version*.
        NamelessError: the name is empty.
        NoSuchRecordError: *customer_id* names nobody.
    """
    if not details.name.strip():
        raise NamelessError
    if customer_id is None:
        row = Customer(created=at)
        session.add(row)
        old = ""
    else:
        row = customer(session, customer_id)
        if version not in (None, row.version):
            raise ChangedMeanwhileError
        # The version counts every change, one of whom to speak to as well.
        flag_modified(row, "name")
        old = _told(row)
    for field in Details._fields[:-1]:
        setattr(row, field, getattr(details, field))
    row.name = details.name.strip()
    row.contacts = [
        Contact(name=name, phone=phone, email=email)
        for name, phone, email in details.contacts
        if name.strip()
    ]
    session.flush()
    texts = [row.name, row.email, *(contact.name for contact in row.contacts)]
    phones = [row.phone, *(contact.phone for contact in row.contacts)]
    index(session, "customer", row.id, words_of(texts, phones))
    audit.record(
        session,
        at=at,
        who=who,
        what="customer written down",
        subject="customer",
        subject_id=row.id,
        old=old,
        new=_told(row),
    )
    return row


def _told(row: Customer) -> str:
    people = "; ".join(f"{c.name} {c.phone} {c.email}" for c in row.contacts)
    told = (
        row.name,
        row.address,
        f"{row.postcode} {row.town}".strip(),
        row.country,
        row.phone,
        row.email,
        row.terms,
        row.tax_number,
        row.register_number,
        "one invoice a month" if row.collective else "",
        f"{row.certificate} ({row.certified_by})" if row.certificate else "",
        f"until {row.certified_until}" if row.certified_until else "",
    )
    limit = "" if row.up_to is None else f"up to {row.up_to} of the smallest unit"
    return " | ".join(text for text in (*told, limit, people, row.notes) if text)


def customer(session: Session, customer_id: int) -> Customer:
    """Return a customer by key.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(Customer, customer_id)
    if row is None:
        raise NoSuchRecordError(what="customer", key=customer_id)
    return row


def address_of(row: Customer) -> tuple[str, ...]:
    """Return a customer's address line by line."""
    lines = (*row.address.splitlines(), f"{row.postcode} {row.town}")
    return tuple(line.strip() for line in lines if line.strip())


def authority(row: Customer, currency: Currency) -> str:
    """Return what may be spent without asking, as typed; empty for nothing."""
    return "" if row.up_to is None else str(currency.from_minor(row.up_to))


def came_before(
    session: Session,
    *,
    customer_id: int | None = None,
    casting: str = "",
    most: int = 5,
) -> list[Quote]:
    """Return the latest quotes of a customer, or of heads with a casting number."""
    query = select(Quote).order_by(Quote.id.desc()).limit(most)
    if customer_id is not None:
        query = query.where(Quote.customer_id == customer_id)
    if casting:
        query = query.where(Quote.casting == casting_key(casting))
    if customer_id is None and not casting:
        return []
    return list(session.scalars(query))


def casting_key(text: str) -> str:
    """Return a casting number as it is kept: capitals and figures only.

    >>> casting_key("048 103-373 d")
    '048103373D'
    """
    return "".join(char for char in text.upper() if char.isalnum())


def known_head(session: Session, casting: str) -> KnownHead | None:
    """Return what is known of the heads with a casting number."""
    key = casting_key(casting)
    if not key:
        return None
    return session.scalar(select(KnownHead).where(KnownHead.casting == key))


def remember_head(
    session: Session,
    casting: str,
    *,
    layout: str,
    name: str = "",
    sizes: str = "",
    limits: str = "",
    notes: str = "",
) -> KnownHead:
    """Keep what is known of the heads with a casting number, new or known."""
    row = known_head(session, casting)
    if row is None:
        row = KnownHead(casting=casting_key(casting))
        session.add(row)
    row.layout = layout
    row.name, row.sizes, row.limits, row.notes = (
        given or kept or ""
        for given, kept in (
            (name, row.name),
            (sizes, row.sizes),
            (limits, row.limits),
            (notes, row.notes),
        )
    )
    session.flush()
    return row


def past_jobs(session: Session, head: KnownHead, most: int = 20) -> list[Order]:
    """Return the latest work orders that such a head came with."""
    return list(
        session.scalars(
            select(Order)
            .join(OrderHead, OrderHead.order_id == Order.id)
            .where(OrderHead.known_head_id == head.id)
            .order_by(Order.id.desc())
            .limit(most)
        )
    )
