"""The counter's papers: what the records hold, gathered for a paper and issued.

Every function takes a session of a transaction and returns the key of the issued paper;
its file is made afterwards by ``issuing.file_of``.
"""

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session, undefer

from quoting.domain.counter import (
    ArrivedHead,
    Authority,
    BookingIn,
    Delivery,
    DepositReceipt,
    Item,
    ReturnedHead,
    TaggedHead,
    called,
)
from quoting.domain.errors import RuleError, translatable
from quoting.domain.job import Deposit
from quoting.domain.money import ZERO
from quoting.i18n import Formats
from quoting.papers.letter import Attachment, Mailbox, email_draft
from quoting.store.models import (
    Ask,
    DepositTaken,
    Order,
    OrderHead,
    PaperMade,
    Photo,
    Quote,
)
from quoting.workflow import issuing, orders, own_record, quotes
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now

if TYPE_CHECKING:
    from quoting.domain.edition import Edition
    from quoting.domain.quote import Alternative
    from quoting.papers.html import Paper
    from quoting.store.database import Database

QUOTE, DIFFERENCE, RECEIPT = "quote", "difference sheet", "receipt"
SLIP, LABELS, WORK_ORDER = "booking-in slip", "tag labels", "work order"
REQUEST, DELIVERY = "request for a yes", "delivery note"
#: Papers without a price, which the bench may have.
BENCH_PAPERS = (LABELS, WORK_ORDER)

_COUNTED = re.compile(r"([0-9]{1,4}) (.+)")


class NothingChangedError(RuleError):
    """There is nothing to show differences of."""

    message = translatable("Nothing was changed in {number} since the last yes.")


class NoReplyDayError(RuleError):
    """A request for a yes names no day."""

    message = translatable("Say by which day an answer is needed.")


class NoAddressError(RuleError):
    """There is nobody to write to."""

    message = translatable(
        "No e-mail address is written down for {number}: write one down first."
    )


# What is offered.


def quote(session: Session, row: Quote, now: Now) -> int:
    """Issue the quote at its latest revision."""
    from quoting.papers.quote import quote_paper

    revision = row.revisions[-1]
    edition = quotes.edition_of(session, revision)
    offer = quotes.offered(session, row, revision)
    paper = quote_paper(
        edition,
        offer,
        _formats(edition),
        edition.shop.paper,
        own_record.on_top(session, revision),
    )
    return _issue(session, paper, QUOTE, offer.number, row, now)


def difference(session: Session, row: Quote, now: Now) -> int:
    """Issue the sheet of what changed since the last yes.

    Raises:
        NothingChangedError: nothing did.
    """
    from quoting.papers.difference import Revision, difference_sheet

    changed = orders.changed_since_yes(session, row)
    if changed is None:
        raise NothingChangedError(number=row.number)
    latest = row.revisions[-1]
    number = f"{row.number}/{latest.number}"
    sheet = difference_sheet(
        changed.edition,
        Revision(
            number=number,
            on=latest.on,
            customer=quotes.on_paper(row),
            before=changed.before,
            after=changed.after,
            agreed=changed.agreed.said_at.date(),
        ),
        _formats(changed.edition),
        changed.edition.shop.paper,
    )
    return _issue(session, sheet, DIFFERENCE, number, row, now)


def receipt(session: Session, row: Quote, taken: DepositTaken, now: Now) -> int:
    """Issue the receipt for money that was taken."""
    from quoting.papers.receipt import deposit_receipt

    edition = quotes.edition_of(session, row.revisions[-1])
    paper = deposit_receipt(
        edition.shop,
        DepositReceipt(
            number=taken.number,
            on=taken.on,
            customer=quotes.on_paper(row),
            deposit=_deposit(edition, taken),
            quote=row.number,
            order=row.order.number if row.order else "",
            taken_by=taken.taken_by,
        ),
        _formats(edition),
        edition.shop.paper,
    )
    return _issue(session, paper, RECEIPT, taken.number, row, now)


def _deposit(edition: "Edition", taken: DepositTaken) -> Deposit:
    amount = edition.currency.from_minor(taken.amount)
    return Deposit(amount, taken.on, taken.method)


# Heads in.


def booking_in(session: Session, came: Sequence[Order], now: Now) -> int:
    """Issue one slip for the heads of one order, or of several that came together."""
    from quoting.papers.slip import booking_in_slip

    first = came[0]
    ways = [_agreed(session, order) for order in came]
    edition = ways[0][0]
    money = edition.currency.from_minor
    limits = [order.up_to for order in came]
    paper = booking_in_slip(
        edition.shop,
        BookingIn(
            on=first.on,
            customer=quotes.on_paper(first.quote),
            heads=tuple(
                _arrived(head, way)
                for order, (_, way) in zip(came, ways, strict=True)
                for head in order.heads
            ),
            deposits=tuple(
                _deposit(edition, taken)
                for order in came
                for taken in orders.deposits(session, order.quote)
            ),
            authority=Authority(
                None if None in limits else money(sum(filter(None, limits))),
                first.second_contact,
            ),
            promised=max((o.promised for o in came if o.promised), default=None),
            condemned=_all_condemned(way for _, way in ways),
        ),
        _formats(edition),
        edition.shop.paper,
    )
    number = called([order.number for order in came])
    return _issue(session, paper, SLIP, number, first.quote, now)


def _agreed(session: Session, order: Order) -> tuple["Edition", "Alternative"]:
    edition, _, way = orders.on_paper(session, order)
    return edition, way


def _all_condemned(ways: "Iterable[Alternative]") -> Decimal | None:
    """Return what is owed if every head is condemned; None where no test decides."""
    amounts = [way.condemned for way in ways]
    if any(amount is None for amount in amounts):
        return None
    return sum((amount for amount in amounts if amount is not None), ZERO)


def _arrived(head: OrderHead, way: "Alternative") -> ArrivedHead:
    theirs = [
        line.description
        for line in way.priced.lines
        if line.kind == "part" and line.reason
    ]
    said = [*head.condition.split(", "), head.remarks]
    return ArrivedHead(
        tagged(head),
        condition=tuple(text for text in said if text),
        came_with=items(head.came_with),
        parts_from=f"customer's own: {', '.join(theirs)}" if theirs else "",
        place=head.stands,
    )


def tagged(head: OrderHead) -> TaggedHead:
    """Return a head as its tag names it."""
    return TaggedHead(head.order.number, head.tag, head.layout, head.label)


def items(came_with: str) -> tuple[Item, ...]:
    r"""Return what came with a head, one thing a line as it is kept.

    >>> items("10 head bolts\nrocker cover")
    (Item(text='head bolts', count=10), Item(text='rocker cover', count=1))
    """
    found = []
    for line in came_with.splitlines():
        match = _COUNTED.fullmatch(line.strip())
        if match:
            found.append(Item(match[2], int(match[1])))
        elif line.strip():
            found.append(Item(line.strip()))
    return tuple(found)


def labels(session: Session, came: Sequence[Order], address: str, now: Now) -> int:
    """Issue the tag labels of the heads of one order or several.

    Args:
        session: of the transaction.
        came: the orders.
        address: of a head's page, with ``{order}`` and ``{tag}`` in it.
        now: who issues them, and when.
    """
    from quoting.papers.label import Label, tag_labels

    edition, _ = _agreed(session, came[0])
    made = []
    for order in came:
        _, work, _ = orders.on_paper(session, order)
        cautions = tuple(caution.name for caution in work.cautions)
        made += [
            Label(
                tagged(head),
                order.customer.name,
                order.on,
                address.format(order=order.number, tag=head.tag),
                cautions,
            )
            for head in order.heads
        ]
    paper = tag_labels(edition.shop, made, _formats(edition))
    number = called([order.number for order in came])
    return _issue(session, paper, LABELS, number, came[0].quote, now)


def work_order(session: Session, order: Order, now: Now) -> int:
    """Issue the work order with its route card."""
    from quoting.papers.work_order import work_order_paper

    edition, work, way = orders.on_paper(session, order)
    paper = work_order_paper(
        edition, work, way.priced, _formats(edition), edition.shop.paper
    )
    return _issue(session, paper, WORK_ORDER, order.number, order.quote, now)


# A question, and heads out.


def request(session: Session, order: Order, ask: Ask, now: Now) -> int:
    """Issue the message that asks for a yes, with its photo and the alternatives.

    Raises:
        NoReplyDayError: it names no day.
    """
    from quoting.papers.request import Choice, Request, request_for_yes
    from quoting.papers.request import Photo as Shown

    if ask.reply_by is None:
        raise NoReplyDayError
    edition = quotes.edition_of(session, ask.revision)
    formats = _formats(edition)
    money = edition.currency.from_minor
    photos = []
    if ask.photo_id is not None:
        photo = picture(session, order, ask.photo_id)
        photos.append(Shown(photo.image, photo.caption or f"Head {photo.tag}"))
    paper = request_for_yes(
        edition.shop,
        Request(
            number=order.number,
            on=now.on,
            customer=quotes.on_paper(order.quote),
            text="\n".join(ask.text.splitlines()),
            choices=tuple(
                Choice(
                    way.label or "As offered",
                    tuple(dict.fromkeys(line.description for line in way.lines)),
                    money(way.total),
                )
                for way in ask.revision.ways
            ),
            reply_by=ask.reply_by,
            photos=tuple(photos),
            if_silent=_if_silent(order, formats),
        ),
        formats,
        edition.shop.paper,
    )
    return _issue(session, paper, REQUEST, f"{order.number}/{ask.id}", order.quote, now)


def _if_silent(order: Order, formats: Formats) -> str:
    if order.up_to is None:
        return "Without an answer the work stops there and your head waits."
    limit = formats.money(formats.currency.from_minor(order.up_to))
    return (
        f"Without an answer we keep to the {limit} with tax that you allowed; what "
        "would come to more waits."
    )


def picture(session: Session, order: Order, photo_id: int) -> Photo:
    """Return a photo of an order with its bytes.

    Raises:
        NoSuchRecordError: the order has no such photo.
    """
    row = session.scalar(
        select(Photo)
        .where(Photo.id == photo_id, Photo.order_id == order.id)
        .options(undefer(Photo.image))
    )
    if row is None:
        raise NoSuchRecordError(what="photo", key=photo_id)
    return row


def delivery(session: Session, order: Order, now: Now) -> int:
    """Issue the note that goes with heads that are handed over."""
    from quoting.papers.delivery import delivery_note

    edition = quotes.edition_of(session, order.quote.revisions[-1])
    condemned = all(head.condemned for head in order.heads)
    paper = delivery_note(
        edition.shop,
        Delivery(
            number=order.number,
            on=order.collected or now.on,
            customer=quotes.on_paper(order.quote),
            heads=tuple(
                ReturnedHead(
                    tagged(head),
                    "condemned" if head.condemned else "done as agreed",
                    items(head.came_with),
                )
                for head in order.heads
            ),
            guarantee="" if condemned else edition.shop.guarantee,
        ),
        _formats(edition),
        edition.shop.paper,
    )
    return _issue(session, paper, DELIVERY, order.number, order.quote, now)


# The papers of a job, and letters with them.


def issued(session: Session, row: Quote) -> list[PaperMade]:
    """Return the papers of a quote and its order, and those of its batch."""
    papers = issuing.papers_of(session, row.id)
    if row.order is None or not row.order.batch:
        return papers
    together = select(Order.quote_id).where(Order.batch == row.order.batch)
    shared = session.scalars(
        select(PaperMade).where(
            PaperMade.quote_id.in_(together),
            PaperMade.quote_id != row.id,
            PaperMade.kind.in_((SLIP, LABELS)),
        )
    )
    return sorted((*papers, *shared), key=lambda paper: paper.id)


class Letter(NamedTuple):
    """An e-mail draft as a file."""

    name: str
    content: bytes


def letter(database: "Database", quote_id: int, paper_id: int) -> Letter:
    """Return an issued paper as the attachment of a ready-made e-mail.

    Raises:
        NoSuchRecordError: the quote has no such paper.
        NoAddressError: the customer has no e-mail address.
        MailAddressError: the customer's, or the shop's, is none.
    """
    with database.reading() as session:
        row = quotes.quote_of(session, quote_id)
        paper = next((p for p in issued(session, row) if p.id == paper_id), None)
        if paper is None:
            raise NoSuchRecordError(what="paper", key=paper_id)
        shop = quotes.edition_of(session, row.revisions[-1]).shop
        customer = quotes.on_paper(row)
        if not customer.email:
            raise NoAddressError(number=row.number)
        said = _said(session, row, paper, shop.how_to_accept)
    greeting = f"Dear {customer.name}," if customer.name else "Good day,"
    text = "\n\n".join((greeting, said, "\n".join((shop.name, shop.phone))))
    file = issuing.file_of(database, paper_id)
    content = email_draft(
        f"{paper.title} - {shop.name}",
        text,
        [Attachment(file.name, file.pdf)],
        Mailbox(customer.email, customer.name),
        Mailbox(shop.email, shop.name),
        paper.issued,
    )
    return Letter(file.name.removesuffix("pdf") + "eml", content)


def _said(session: Session, row: Quote, paper: PaperMade, how: str) -> str:
    if paper.kind == REQUEST:
        ask = session.get(Ask, int(paper.number.rpartition("/")[2]))
        return ask.text if ask else ""
    if paper.kind == QUOTE:
        until = row.valid_until.isoformat()
        said = f"our quote {paper.number} is attached. It holds until {until}."
        return f"{said}\n\n{how}." if how else said
    return f"our {paper.kind} {paper.number} is attached."


def _formats(edition: "Edition") -> Formats:
    return Formats(edition.shop.locale, edition.currency)


def _issue(
    session: Session, paper: "Paper", kind: str, number: str, row: Quote, now: Now
) -> int:
    return issuing.issue(
        session,
        paper,
        kind=kind,
        number=number,
        quote_id=row.id,
        at=now.at,
        who=now.who,
    )
