"""Documents with their papers: issued, numbered, and made into files that are kept.

The content of an invoice or credit note is frozen by ``invoices``; here it gets its
paper and, where the buyer's side can read it, its EN 16931 XML. The PDF is made of
what is kept right after the transaction, or at the next start (``issuing``).
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import Session, undefer

from quoting.domain.errors import translatable
from quoting.domain.invoice import Document, Why
from quoting.domain.job import FreeLine, Override
from quoting.domain.legal_form import Form, title
from quoting.domain.quote import Customer as Whose
from quoting.i18n import Formats
from quoting.store.database import Database
from quoting.store.models import (
    Allocation,
    Customer,
    DepositTaken,
    DocumentIssued,
    Payment,
    Quote,
)
from quoting.workflow import deposits, invoices, issuing, payments, rates
from quoting.workflow.customers import NoSuchRecordError, address_of
from quoting.workflow.invoices import Credited, Taxed
from quoting.workflow.issuing import File
from quoting.workflow.quotes import Now

if TYPE_CHECKING:
    from quoting.papers.html import Paper

STATEMENT, RECEIPT = "statement of account", "receipt"


def issue(
    session: Session,
    of: Sequence[Quote],
    now: Now,
    *,
    extra: Mapping[int, Sequence[FreeLine]] | None = None,
    named: bool = True,
    deposits: bool = True,
    taxed: Taxed | None = None,
    despite: Override | None = None,
) -> DocumentIssued:
    """Issue an invoice with its paper; as ``invoices.issue``.

    Raises:
        RuleError: as there.
    """
    row = invoices.issue(
        session,
        of,
        now,
        extra=extra,
        named=named,
        deposits=deposits,
        taxed=taxed,
        despite=despite,
    )
    on_paper(session, row, now)
    return row


def credit(
    session: Session,
    invoice: DocumentIssued,
    what: Credited,
    now: Now,
    *,
    reason: Why,
    because: str,
) -> DocumentIssued:
    """Issue a credit note with its paper; as ``invoices.credit``.

    Raises:
        RuleError: as there.
    """
    row = invoices.credit(session, invoice, what, now, reason=reason, because=because)
    on_paper(session, row, now)
    return row


def pay_deposit_back(
    session: Session,
    deposit: DepositTaken,
    gross: int,
    method: str,
    why: str,
    now: Now,
) -> None:
    """Pay a deposit back; a credit note that belongs to it gets its paper.

    Raises:
        RuleError: as ``deposits.pay_deposit_back``.
    """
    moved = deposits.pay_deposit_back(session, deposit, gross, method, why, now)
    if deposit.document_id is not None:
        on_paper(session, invoices.by_number(session, moved.number), now)


def on_paper(session: Session, row: DocumentIssued, now: Now) -> None:
    """Give an issued document its paper, and its XML or the reason why it has none."""
    from quoting.papers.einvoice import NotInEn16931Error, cii

    document = invoices.content(session, row.id)
    row.paper_id = issuing.issue(
        session,
        _paper(session, document),
        kind=document.kind,
        number=document.number,
        quote_id=row.quote_id,
        customer_id=row.customer_id,
        at=now.at,
        who=now.who,
    )
    country = rates.in_force(session, document.on).edition.country(document.on)
    if country is None or not country.en16931:
        row.no_xml = str(NotInEn16931Error(why=_ELSEWHERE))
    else:
        try:
            row.xml = cii(document)
        except NotInEn16931Error as error:
            row.no_xml = str(error)
    session.flush()


_ELSEWHERE = translatable("the shop's country has no row that says it uses EN 16931")


def _paper(session: Session, document: Document) -> "Paper":
    from quoting.papers.issued import (
        PLAIN_ORDER,
        issued_paper,
        labels_of,
        number_of_region,
    )

    edition = rates.in_force(session, document.on).edition
    form = Form.FULL if document.buyer else Form.SIMPLIFIED
    words, country = edition.words, edition.country(document.on)
    shop = edition.shop
    return issued_paper(
        document,
        shop,
        Formats(document.locale, document.currency),
        shop.paper,
        title=title(words, document.kind, form) if words else "",
        tax_number=words.tax_number if words else "",
        register_number=words.register_number if words else "",
        of_region=number_of_region(edition),
        labels=labels_of(words),
        order=country.address if country else PLAIN_ORDER,
    )


def pay(
    session: Session,
    amount: int,
    method: str,
    now: Now,
    *,
    customer_id: int | None = None,
    document: DocumentIssued | None = None,
    by_hand: Mapping[str, int] | None = None,
    note: str = "",
) -> Payment:
    """Take a payment and issue its receipt; as ``payments.pay``.

    Raises:
        RuleError: as there.
    """
    row = payments.pay(
        session,
        amount,
        method,
        now,
        customer_id=customer_id,
        document=document,
        by_hand=by_hand,
        note=note,
    )
    row.paper_id = issuing.issue(
        session,
        _receipt(session, row, document),
        kind=RECEIPT,
        number=row.number,
        quote_id=None,
        customer_id=row.customer_id,
        at=now.at,
        who=now.who,
    )
    session.flush()
    return row


def _receipt(
    session: Session, row: Payment, document: DocumentIssued | None
) -> "Paper":
    from quoting.papers.receipt import Paid, PaymentReceipt, payment_receipt

    edition = rates.in_force(session, row.on).edition
    money, shop = edition.currency.from_minor, edition.shop
    paid = [
        Paid(pays.number, money(amount), money(pays.left))
        for amount, pays in session.execute(
            select(Allocation.amount, DocumentIssued)
            .join(DocumentIssued, DocumentIssued.id == Allocation.document_id)
            .where(Allocation.payment_id == row.id)
            .order_by(Allocation.id)
        )
    ]
    name = row.customer.name if row.customer else ""
    if document is not None and row.customer is None:
        name = document.buyer
    return payment_receipt(
        shop,
        PaymentReceipt(
            number=row.number,
            on=row.on,
            customer=Whose(
                name,
                address=address_of(row.customer) if row.customer else (),
            ),
            amount=money(row.amount),
            method=row.method,
            pays=tuple(paid),
            rounding=money(row.rounding),
            on_account=money(row.left),
            taken_by=row.by,
        ),
        Formats(shop.locale, edition.currency),
        shop.paper,
    )


def receipt_of(database: Database, payment_id: int) -> File:
    """Return the receipt for a payment as it was issued.

    Raises:
        NoPdfError: the machine lacks what a PDF needs; the content stays kept.
        NoSuchRecordError: there is no such payment, or none that has a receipt.
    """
    with database.reading() as session:
        paper_id = payments.payment_of(session, payment_id).paper_id
    if paper_id is None:
        raise NoSuchRecordError(what="receipt for payment", key=payment_id)
    return issuing.file_of(database, paper_id)


def file_of(database: Database, document_id: int) -> File:
    """Return a document's file as it was issued; make it first where it was not yet.

    Raises:
        NoPdfError: the machine lacks what a PDF needs; the content stays kept.
        NoSuchRecordError: there is no such document.
    """
    with database.reading() as session:
        row = invoices.of_number(session, document_id)
        paper_id = row.paper_id
    if paper_id is None:
        raise NoSuchRecordError(what="paper of document", key=document_id)
    return issuing.file_of(database, paper_id)


def xml_of(session: Session, document_id: int, syntax: str) -> tuple[str, bytes]:
    """Return a document as EN 16931 XML, in the syntax ``cii`` or ``ubl``.

    Raises:
        NoSuchRecordError: there is no such document, or it has no XML.
    """
    from quoting.papers.einvoice import ubl

    row = session.scalars(
        select(DocumentIssued)
        .where(DocumentIssued.id == document_id)
        .options(undefer(DocumentIssued.xml))
    ).one_or_none()
    if row is None or row.xml is None:
        raise NoSuchRecordError(what="XML of document", key=document_id)
    data = row.xml if syntax == "cii" else ubl(invoices.content(session, document_id))
    return f"{row.number}-{syntax}.xml".replace("/", "-"), data


def statement(session: Session, customer: Customer, now: Now) -> int:
    """Issue a customer's statement of account; return the key of the paper."""
    from quoting.papers.statement import Open
    from quoting.papers.statement import statement as statement_paper

    edition = rates.in_force(session, now.on).edition
    money, shop = edition.currency.from_minor, edition.shop
    account = payments.account(session, customer, now.on)
    rows = [
        Open(
            row.number, row.kind, row.on, row.pay_by, money(row.gross), money(row.left)
        )
        for row in account.owed
    ]
    rows += [
        Open(row.number, row.kind, row.on, None, -money(row.gross), -money(row.left))
        for row in account.credit_notes
    ]
    rows += [
        Open(
            row.number, "on account", row.on, None, -money(row.amount), -money(row.left)
        )
        for row in account.on_account
    ]
    paper = statement_paper(
        Whose(customer.name, address=address_of(customer)),
        sorted(rows, key=lambda row: row.on),
        shop,
        Formats(shop.locale, edition.currency),
        shop.paper,
        on=now.on,
    )
    return issuing.issue(
        session,
        paper,
        kind=STATEMENT,
        number=f"{customer.id}-{now.on.isoformat()}",
        quote_id=None,
        customer_id=customer.id,
        at=now.at,
        who=now.who,
    )
