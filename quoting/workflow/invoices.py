"""What was done, invoiced: the document is worked out, numbered and frozen at once.

Issuing takes the number, keeps the content and posts to the journal in one
transaction; the PDF is made of that content right afterwards (``issuing``). What is
issued never changes: it is corrected by a credit note.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from types import MappingProxyType
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from quoting.domain import credit as crediting
from quoting.domain import invoice as invoicing
from quoting.domain.consent import (
    HardCeilingError,
    check_ceiling,
)
from quoting.domain.country import Answer, Wording
from quoting.domain.difference import Change, changes
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import (
    CodeShare,
    Deducted,
    Document,
    Item,
    Kind,
    Party,
    Why,
    Work,
    tax_rows,
)
from quoting.domain.job import FreeLine, Job, Override
from quoting.domain.journal import of_document
from quoting.domain.legal_form import (
    check_buyer_owes,
    legends_for,
    not_shown,
    which_document,
)
from quoting.domain.life import OrderState, sets_aside
from quoting.domain.money import HUNDRED, ZERO, round_to
from quoting.domain.pricing import Priced, price
from quoting.domain.quote import Alternative, last_gate
from quoting.domain.rates import Terms
from quoting.domain.tax import Group, Tax
from quoting.domain.tax_rules import Certificate, exempted, first_named
from quoting.domain.tax_rules import Change as RuleChange
from quoting.files import document_file
from quoting.i18n import Formats
from quoting.store.models import (
    Allocation,
    Customer,
    DepositMoved,
    DepositTaken,
    DocumentCode,
    DocumentIssued,
    DocumentLine,
    DocumentTax,
    GivenUp,
    Order,
    OrderInvoiced,
    Quote,
    SurchargeHeld,
)
from quoting.workflow import journal, numbers, orders, quotes, rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.quotes import Now


class AlreadyInvoicedError(RuleError):
    """Work was invoiced before, and that invoice stands."""

    message = translatable(
        "{work} is invoiced already, as {invoice}. Credit that first if it is wrong."
    )


class MixedInvoiceError(RuleError):
    """Work of several customers, currencies or price modes was to stand together."""

    message = translatable(
        "One invoice is for one customer, in one currency and one way of pricing; "
        "{work} does not fit the others."
    )


class NothingToInvoiceError(RuleError):
    """An invoice would have no lines."""

    message = translatable("There is nothing to invoice: choose the work first.")


class NoCreditOfCreditError(RuleError):
    """A credit note was to be credited."""

    message = translatable("{number} is a credit note; make a new invoice instead.")


class DepositInvoiceError(RuleError):
    """The invoice of a deposit was to be credited, and the deposit held on."""

    message = translatable(
        "{number} is the invoice of a deposit. Pay the deposit back in the list of "
        "deposits held: its credit note comes with it."
    )


class CertificateUnusedError(RuleError):
    """A customer has a certificate, and terms that charge tax."""

    message = translatable(
        "Certificate {number} is on record, and tax is charged all the same, as the "
        "customer's terms charge it. If it covers this work, give the customer terms "
        "without tax."
    )


class Taxed(NamedTuple):
    """What only a person can say of the tax of a document.

    Attributes:
        answers: what is so, as ``country.Answer``.
        aside: by its code, who sets a rule of the place aside, and why.
    """

    answers: tuple[str, ...] = ()
    aside: Mapping[str, Override] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Draft:
    """An invoice that is not issued yet.

    Attributes:
        document: as it would be issued.
        differs: what it charges beside what was said yes to, work by work.
        over: what is charged without a yes on record, as a refusal; None: nothing.
        deposits: what is held for the work, in the order taken.
        taxed: what was said of its tax.
        changes: the tax codes that rules of the place give its lines, and why.
        certificate: by which the customer owes no tax; empty: there is none.
        refused: why tax is charged although terms charge none or a certificate is on
            record; None: nothing speaks against it.
        late: whether the certificate came after the quote, which charged tax.
    """

    document: Document
    differs: tuple[tuple[str, tuple[Change, ...]], ...]
    over: RuleError | None
    deposits: tuple[DepositTaken, ...]
    taxed: Taxed
    changes: tuple[RuleChange, ...]
    certificate: str
    refused: RuleError | None
    late: bool


@dataclass(frozen=True, slots=True)
class _Done:
    """Work of one quote as it is charged."""

    quote: Quote
    order: Order | None
    edition: Edition
    job: Job
    agreed: Alternative
    priced: Priced
    refused: RuleError | None

    @property
    def number(self) -> str:
        """Return the number by which the shop calls it."""
        return self.order.number if self.order else self.quote.number


def draft(
    session: Session,
    of: Sequence[Quote],
    on: date,
    *,
    extra: Mapping[int, Sequence[FreeLine]] | None = None,
    supplied: date | None = None,
    named: bool = True,
    deposits: bool = True,
    taxed: Taxed | None = None,
) -> Draft:
    """Return the invoice for what was done, without issuing it.

    Args:
        session: to read from.
        of: the quotes whose work it is for; several make a collective invoice.
        on: its day.
        extra: by key of a quote, lines that stand in no quote, such as storage.
        supplied: day of supply; None: the day the last of the work was ready.
        named: whether it names the buyer.
        deposits: whether what is held for the work is taken off.
        taxed: what is said of its tax; None: what was said on the quote.

    Raises:
        AlreadyInvoicedError: some of it is invoiced.
        BuyerAtHomeError, NumbersNeededError: the buyer cannot be left to owe the tax.
        BuyerNeededError: the shop's country has the buyer named.
        MixedInvoiceError: it does not belong on one invoice.
        NothingToInvoiceError: *of* is empty.
        NoYesError: nothing was said yes to.
    """
    if not of:
        raise NothingToInvoiceError
    supplied = supplied or max((_ready(quote, on) for quote in of), default=on)
    work = [
        _done(session, quote, supplied, (extra or {}).get(quote.id, ()), taxed)
        for quote in of
    ]
    _check_together(work)
    lead = work[0]
    edition, shop = lead.edition, lead.edition.shop
    formats = Formats(shop.locale, edition.currency)
    items, taxes = invoicing.items_of(
        [Work(done.priced, done.number if len(work) > 1 else "") for done in work],
        edition.policy,
        edition.currency.unit,
    )
    if not items:
        raise NothingToInvoiceError
    terms = lead.job.terms or edition.terms[shop.terms]
    document = Document(
        kind=Kind.INVOICE,
        on=on,
        supplied=supplied,
        pay_by=on + timedelta(days=terms.payment_days),
        currency=edition.currency,
        locale=shop.locale,
        seller=invoicing.seller(shop),
        buyer=buyer(lead.quote, edition) if named else None,
        bank=invoicing.bank(shop),
        policy=edition.policy,
        items=_as_quoted(items, work, formats),
        taxes=taxes,
        taxes_of={
            code: taxes for done in work for code, taxes in done.priced.taxes_of.items()
        },
        order_number=lead.quote.order_number if len(work) == 1 else "",
        registration=lead.quote.registration if len(work) == 1 else "",
        quote=lead.quote.number if len(work) == 1 else "",
        work=_delivered(work, formats),
    )
    if (country := edition.country(on)) is not None:
        which_document(country, document.gross, edition.currency.code, named=named)
    ruled = tuple(dict.fromkeys(c for done in work for c in done.priced.changes))
    elsewhere = any(c.holds and c.rule.rule == Answer.IN_UNION for c in ruled)
    check_buyer_owes(document, elsewhere=elsewhere)
    held = _held(session, work) if deposits else []
    document = replace(document, deposits=_deducted(session, document, held))
    words = rates.in_force(session, on).edition.words
    document = replace(document, terms=_early(document, terms, formats, words))
    return Draft(
        document,
        tuple((done.number, changes(done.agreed.priced, done.priced)) for done in work),
        _over(session, work),
        tuple(held),
        Taxed(lead.job.answers, lead.job.aside),
        ruled,
        lead.job.exemption.certificate if lead.job.exemption else "",
        lead.refused,
        late=lead.job.exemption is not None and not lead.agreed.priced.exempt,
    )


def _as_quoted(
    items: Sequence[Item], work: Iterable[_Done], formats: Formats
) -> tuple[Item, ...]:
    from quoting.papers.html import on_paper
    from quoting.papers.invoice import as_quoted

    said: list[Item] = []
    for done in work:
        lines = done.priced.lines
        its = items[len(said) : len(said) + len(lines)]
        said += as_quoted(its, lines, done.edition, done.job, on_paper(formats))
    return tuple(said)


def _delivered(work: Sequence[_Done], formats: Formats) -> str:
    """Return the work orders; of several with the day of the note that bears each."""
    orders = [done.order for done in work if done.order]
    if len(work) == 1:
        return orders[0].number if orders else ""
    return "; ".join(
        f"{order.number}, delivered {formats.date(order.collected)}"
        if order.collected
        else order.number
        for order in orders
    )


def _early(
    document: Document, terms: Terms, formats: Formats, words: Wording | None
) -> str:
    """Return what somebody who pays early may take off, as printed; mostly nothing.

    What it means for the tax is a legend of the country, which *words* has.
    """
    off = early_discount(document.due, terms, document.currency.unit)
    if not off or document.due <= 0:
        return ""
    until = formats.date(document.on + timedelta(days=terms.settlement_days))
    percent, rest = formats.percent(terms.settlement), document.due - off
    if words is None or not words.pay_by:
        return (
            f"Paid by {until}, {percent} or {formats.money(off)} may be taken off: "
            f"then {formats.money(rest)} settles it."
        )
    pay_by = f"{words.pay_by[:1].upper()}{words.pay_by[1:]}"
    return (
        f"{pay_by} {until}: {formats.money(rest)} ({formats.money(-off)}, {percent})."
    )


def early_discount(due: Decimal, terms: Terms, unit: Decimal) -> Decimal:
    """Return what paying early takes off a sum with tax, by some terms."""
    return round_to(due * terms.settlement / HUNDRED, unit)


def _ready(quote: Quote, on: date) -> date:
    order = quote.order
    return min(on, (order.collected or order.ready or on) if order else on)


def _done(
    session: Session,
    quote: Quote,
    tax_point: date,
    extra: Sequence[FreeLine],
    taxed: Taxed | None,
) -> _Done:
    invoice = invoice_of(session, quote)
    if invoice is not None:
        raise AlreadyInvoicedError(work=quote.number, invoice=invoice.number)
    yes = orders.latest_yes(session, quote)
    if yes is None:
        raise orders.NoYesError(number=quote.number)
    revision = yes.way.revision
    edition = quotes.edition_of(session, revision)
    agreed = quotes.alternative(edition, yes.way, revision.on)
    job = _as_done(edition, agreed.job, agreed.priced, quote.order)
    job = replace(job, free=(*job.free, *extra), deposits=())
    if taxed is not None:
        aside = first_named(taxed.aside, job.aside)
        job = replace(job, answers=taxed.answers, aside=aside)
    job, refused = _by_certificate(edition, job, quote.customer, tax_point)
    priced = price(edition, job, tax_point)
    return _Done(quote, quote.order, edition, job, agreed, priced, refused)


def _by_certificate(
    edition: Edition, job: Job, customer: Customer | None, tax_point: date
) -> tuple[Job, RuleError | None]:
    """Return a job without tax by a customer's certificate, or taxed and why.

    A certificate that came after the quote counts as well: what terms the customer
    has today says whether it frees from tax; all else stays as it was agreed.
    """
    terms = job.terms or edition.terms[edition.shop.terms]
    if job.exemption is not None:
        return job, None
    certificate, frees = Certificate("", ""), terms
    if customer is not None:
        certificate = Certificate(
            customer.certificate, customer.certified_by, customer.certified_until
        )
        if not frees.exempt_code:
            frees = edition.terms.get(customer.terms, terms)
    if not frees.exempt_code:
        number = certificate.number.strip()
        return job, CertificateUnusedError(number=number) if number else None
    try:
        exemption = exempted(
            certificate,
            code=frees.exempt_code,
            reason=frees.exempt_reason,
            on=tax_point,
        )
    except RuleError as error:
        return replace(job, terms=replace(terms, exempt_code="")), error
    return replace(job, exemption=exemption), None


def _as_done(edition: Edition, job: Job, priced: Priced, order: Order | None) -> Job:
    """Return a job with the heads condemned that the work order says are."""
    gate = last_gate(edition, priced)
    if order is None or gate is None:
        return job
    condemned = {head.tag for head in order.heads if head.condemned}
    return replace(
        job,
        heads=tuple(
            replace(head, condemned_at=head.condemned_at or gate)
            if head.tag in condemned
            else head
            for head in job.heads
        ),
    )


def _check_together(work: Sequence[_Done]) -> None:
    lead = work[0]
    for done in work[1:]:
        fits = (
            done.quote.customer_id is not None
            and done.quote.customer_id == lead.quote.customer_id
            and done.edition.currency == lead.edition.currency
            and done.priced.inclusive == lead.priced.inclusive
        )
        if not fits:
            raise MixedInvoiceError(work=done.number)


def _over(session: Session, work: Iterable[_Done]) -> RuleError | None:
    """Return why some of the work needs another yes, or None."""
    for done in work:
        try:
            check_over(session, done.quote, done.edition, done.priced, done.agreed)
        except RuleError as error:
            return error
    return None


def check_over(
    session: Session,
    quote: Quote,
    edition: Edition,
    priced: Priced,
    agreed: Alternative,
) -> None:
    """Refuse to charge more than was said yes to and ``orders.without_asking`` allows.

    Raises:
        NeedsYesError: it is more.
        HardCeilingError: it is more, and nobody may set that aside.
        NoYesError: nothing was said yes to.
    """
    yes = orders.latest_yes(session, quote)
    if yes is None:
        raise orders.NoYesError(number=quote.number)
    ceiling, totals = edition.ceiling, priced.totals
    pre_tax = ceiling is not None and ceiling.basis == "pre_tax"
    amount = totals.net if pre_tax else totals.total
    limit = orders.without_asking(quote, yes, edition, agreed)
    check_ceiling(amount, limit, ceiling)


def buyer(quote: Quote, edition: Edition) -> Party:
    """Return whose heads they were as a document names them.

    A customer of whom no country is written down is of the shop's own.
    """
    paper, known = quotes.on_paper(quote), quote.customer
    home = edition.shop.country
    if known is None:
        return Party(
            name=paper.name, phone=paper.phone, email=paper.email, country=home
        )
    return Party(
        name=paper.name,
        address=tuple(filter(str.strip, known.address.splitlines())),
        postcode=known.postcode,
        town=known.town,
        country=known.country or home,
        tax_number=known.tax_number,
        register_number=known.register_number,
        email=paper.email,
        phone=paper.phone,
    )


# Deposits taken off.


def _held(session: Session, work: Iterable[_Done]) -> list[DepositTaken]:
    keys = [done.quote.id for done in work]
    return list(
        session.scalars(
            select(DepositTaken)
            .where(DepositTaken.quote_id.in_(keys), DepositTaken.held > 0)
            .order_by(DepositTaken.id)
        )
    )


def _deducted(
    session: Session, document: Document, held: Iterable[DepositTaken]
) -> tuple[Deducted, ...]:
    """Return what deposits take off, never more than is due."""
    due, taken = document.gross, []
    money = document.currency.from_minor
    for row in held:
        gross = min(money(row.held), due)
        if gross <= 0:
            break
        due -= gross
        if row.document_id is None:
            taken.append(Deducted(row.number, row.on, gross))
            continue
        paper = content(session, row.document_id)
        part = _part(session, row.document_id, paper, gross)
        bits = (bit for item in part for bit in item.bits)
        codes = _by_code(CodeShare(bit.code, bit.net, bit.tax) for bit in bits)
        taxes = tax_rows(part, paper.taxes_of)
        taken.append(
            Deducted(paper.number, paper.on, gross, taxes, tuple(codes.values()))
        )
    return tuple(taken)


def taxes_within(
    session: Session, row: DepositTaken, gross: Decimal
) -> tuple[Group, ...]:
    """Return the tax in *gross* of a deposit that was taxed on receipt; else empty.

    What is left of a deposit takes the tax that is left of it; a part of that is as a
    credit note for it would be.
    """
    if row.document_id is None:
        return ()
    paper = content(session, row.document_id)
    part = _part(session, row.document_id, paper, gross)
    return tax_rows(part, paper.taxes_of)


def _part(
    session: Session, paper_id: int, paper: Document, gross: Decimal
) -> tuple[Item, ...]:
    """Return a part of what is left of a deposit, as a credit note would have it."""
    before = taken_back(session, of_number(session, paper_id), paper)
    return crediting.credit_amount(paper, before, gross)


# Issuing.


def issue(
    session: Session,
    of: Sequence[Quote],
    now: Now,
    *,
    on: date | None = None,
    extra: Mapping[int, Sequence[FreeLine]] | None = None,
    supplied: date | None = None,
    named: bool = True,
    deposits: bool = True,
    taxed: Taxed | None = None,
    despite: Override | None = None,
) -> DocumentIssued:
    """Issue the invoice for what was done.

    Args:
        session: of a transaction.
        of: the quotes whose work it is for.
        now: who issues it.
        on: its day; None: today.
        extra: as for ``draft``.
        supplied: as for ``draft``.
        named: whether it names the buyer.
        deposits: whether what is held for the work is taken off.
        taxed: as for ``draft``.
        despite: who charges more than was said yes to, and why.

    Raises:
        BackDatedError: a later day is used in the series.
        MonthLockedError: the month is closed.
        NeedsYesError, HardCeilingError: more is charged than was said yes to.
        RuleError: as ``draft``.
    """
    day = on or now.on
    made = draft(
        session,
        of,
        day,
        extra=extra,
        supplied=supplied,
        named=named,
        deposits=deposits,
        taxed=taxed,
    )
    if made.over is not None and not _may_pass(made.over, despite):
        raise made.over
    row = keep(
        session,
        made.document,
        now,
        customer_id=of[0].customer_id,
        quote_id=of[0].id if len(of) == 1 else None,
        why="; ".join(_whys(made.taxed, despite)),
    )
    row.certificate = made.certificate
    for quote in of:
        if quote.order:
            quote.order.invoiced = True
        session.add(
            OrderInvoiced(
                document_id=row.id,
                order_id=quote.order.id if quote.order else None,
                quote_id=quote.id,
            )
        )
    document = replace(made.document, number=row.number)
    for taken, deposit in zip(document.deposits, made.deposits, strict=False):
        gross = document.currency.to_minor(taken.gross)
        deposit.held -= gross
        session.add(
            DepositMoved(
                deposit_id=deposit.id,
                number=row.number,
                how=APPLIED,
                on=day,
                gross=gross,
                tax_before=document.currency.to_minor(taken.tax),
                tax_now=0,
                document_id=row.id,
                at=now.at,
                by=now.who,
            )
        )
    session.flush()
    return row


APPLIED = "applied"
SETTLEMENT = "settlement discount"


def _whys(taxed: Taxed, despite: Override | None) -> Iterator[str]:
    if despite is not None:
        yield f"{despite.by}: {despite.reason}"
    for rule, (by, reason) in taxed.aside.items():
        yield f"{by} sets {rule} aside: {reason}"


def _may_pass(over: RuleError, despite: Override | None) -> bool:
    return sets_aside(despite) and not isinstance(over, HardCeilingError)


def keep(
    session: Session,
    document: Document,
    now: Now,
    *,
    customer_id: int | None,
    quote_id: int | None,
    corrects_id: int | None = None,
    method: str = "",
    why: str = "",
) -> DocumentIssued:
    """Number a document, freeze it and post it; all of it or nothing.

    Args:
        session: of a transaction.
        document: without a number.
        now: who issues it.
        customer_id: whose.
        quote_id: what it is for, if that is one quote.
        corrects_id: the invoice that a credit note corrects.
        method: how a deposit was paid, or is paid back.
        why: a rule was set aside.

    Raises:
        BackDatedError: a later day is used in the series.
        MonthLockedError: the month is closed.
    """
    journal.check_open(session, document.on)
    number = numbers.take(session, document.kind, document.on)
    edition = rates.in_force(session, document.on).edition
    also = not_shown(document, edition.shop)
    legends = legends_for(edition.words, document, also) if edition.words else ()
    document = replace(document, number=number, legends=legends)
    minor = document.currency.to_minor
    deposit = any(item.kind == "deposit" for item in document.items)
    left = ZERO if deposit else document.due
    row = DocumentIssued(
        kind=document.kind,
        number=number,
        on=document.on,
        supplied=document.supplied,
        pay_by=document.pay_by,
        customer_id=customer_id,
        quote_id=quote_id,
        corrects_id=corrects_id,
        buyer=document.buyer.name if document.buyer else "",
        currency=document.currency.code,
        net=minor(document.net),
        tax=minor(document.tax),
        gross=minor(document.gross),
        deducted=minor(document.deducted),
        left=minor(left),
        settled=None if left else document.on,
        reason=document.reason or "",
        because=document.because,
        issued=now.at,
        issued_by=now.who,
        content=document_file.write(document),
    )
    session.add(row)
    session.flush()
    _keep_rows(session, row, document)
    if document.kind is Kind.INVOICE:
        _hold_surcharges(session, document, row)
    journal.post(
        session,
        document.kind,
        number,
        document.on,
        of_document(document, method),
        document.currency,
        now,
        tax_date=document.supplied,
        customer_id=customer_id,
        narrative=row.buyer,
    )
    quotes.note(
        session,
        "document",
        row.id,
        now,
        f"{document.kind} issued",
        new=f"{number}: {document.gross} {document.currency.code}",
        why=why or document.because,
    )
    return row


def _keep_rows(session: Session, row: DocumentIssued, document: Document) -> None:
    minor = document.currency.to_minor
    for item in document.items:
        income = "discounts" if item.kind == "discount" else item.group
        session.add(
            DocumentLine(
                document_id=row.id,
                place=item.place,
                kind=item.kind,
                code=item.code,
                description=item.description,
                income=income,
                work=item.work,
                net=minor(item.net),
                tax=minor(item.tax),
            )
        )
    bits = (bit for item in document.items for bit in item.bits)
    charged = _by_code(CodeShare(bit.code, bit.net, bit.tax) for bit in bits)
    before = _by_code(share for each in document.deposits for share in each.codes)
    for code in dict.fromkeys([*charged, *before]):
        nothing = CodeShare(code, ZERO, ZERO)
        own, due = charged.get(code, nothing), before.get(code, nothing)
        session.add(
            DocumentCode(
                document_id=row.id,
                code=code,
                net=minor(own.net),
                tax=minor(own.tax),
                before_net=minor(due.net),
                before_tax=minor(due.tax),
            )
        )
    rows = {group.tax: group for group in document.taxes}
    taken: dict[Tax, Group] = {}
    for group in (group for each in document.deposits for group in each.taxes):
        was = taken.get(group.tax, Group(group.tax, ZERO, ZERO))
        taken[group.tax] = Group(
            group.tax, was.base + group.base, was.amount + group.amount
        )
    for place, of in enumerate(dict.fromkeys([*rows, *taken]), 1):
        none = Group(of, ZERO, ZERO)
        row_of, fell_due = rows.get(of, none), taken.get(of, none)
        session.add(
            DocumentTax(
                document_id=row.id,
                place=place,
                authority=of.authority,
                category=of.category,
                rate=f"{of.rate.normalize():f}",
                label=of.label,
                reason=of.reason,
                base=minor(row_of.base),
                amount=minor(row_of.amount),
                before_base=minor(fell_due.base),
                before_tax=minor(fell_due.amount),
            )
        )
    session.flush()


def _by_code(shares: Iterable[CodeShare]) -> dict[str, CodeShare]:
    sums: dict[str, CodeShare] = {}
    for share in shares:
        was = sums.get(share.code, CodeShare(share.code, ZERO, ZERO))
        sums[share.code] = CodeShare(
            share.code, was.net + share.net, was.tax + share.tax
        )
    return sums


# Credit notes.


@dataclass(frozen=True, slots=True)
class Credited:
    """What is credited: all that is left, lines by their share, or an amount.

    Attributes:
        lines: by place the share that is credited.
        amount: with tax, over all that is left.
        keep_tax: places of lines whose tax does not go back with them.
    """

    lines: Mapping[int, Decimal] | None = None
    amount: Decimal | None = None
    keep_tax: frozenset[int] = frozenset()


def credit_draft(
    session: Session,
    invoice: DocumentIssued,
    what: Credited,
    on: date,
    reason: Why,
    because: str,
) -> Document:
    """Return the credit note for an invoice, without issuing it.

    Raises:
        NoCreditOfCreditError: it is a credit note itself.
        RuleError: as ``domain.credit``.
    """
    if invoice.kind == Kind.CREDIT:
        raise NoCreditOfCreditError(number=invoice.number)
    document = content(session, invoice.id)
    before = taken_back(session, invoice, document)
    if what.amount is not None:
        items = crediting.credit_amount(document, before, what.amount)
    elif what.lines is not None:
        items = crediting.credit_lines(
            document, before, what.lines, keep_tax=what.keep_tax
        )
    else:
        items = crediting.credit_all(document, before)
    return crediting.credit_note(document, items, on=on, reason=reason, because=because)


def credit(
    session: Session,
    invoice: DocumentIssued,
    what: Credited,
    now: Now,
    *,
    reason: Why,
    because: str,
    on: date | None = None,
    method: str = "",
) -> DocumentIssued:
    """Issue a credit note; it settles what is still owed of its invoice first.

    Raises:
        BackDatedError, MonthLockedError: as ``issue``.
        DepositInvoiceError: it is a deposit's, and no *method* pays that back.
        RuleError: as ``credit_draft``.
    """
    if invoice.kind == Kind.DEPOSIT and not method:
        raise DepositInvoiceError(number=invoice.number)
    locked = session.scalars(
        select(DocumentIssued).where(DocumentIssued.id == invoice.id).with_for_update()
    ).one()
    document = credit_draft(session, locked, what, on or now.on, reason, because)
    row = keep(
        session,
        document,
        now,
        customer_id=locked.customer_id,
        quote_id=locked.quote_id,
        corrects_id=locked.id,
        method=method,
    )
    if (part := min(row.left, locked.left)) > 0:
        set_against(session, locked, part, now, credit=row)
    _give_surcharges_back(session, document, locked)
    if not stands(session, locked):
        _open_again(session, locked)
    return row


def _open_again(session: Session, invoice: DocumentIssued) -> None:
    """Let the work of an invoice that was credited in full be invoiced again."""
    for order in session.scalars(
        select(Order)
        .join(OrderInvoiced, OrderInvoiced.order_id == Order.id)
        .where(OrderInvoiced.document_id == invoice.id)
    ):
        order.invoiced = False
    session.flush()


def _hold_surcharges(session: Session, document: Document, row: DocumentIssued) -> None:
    """Hold what was charged for old units that were not handed in with the work."""
    edition = rates.in_force(session, document.on).edition
    held: dict[str, SurchargeHeld] = {}
    for item in document.items:
        if item.group != "surcharges":
            continue
        net = document.currency.to_minor(item.net)
        if net < 0 and item.code in held:
            held[item.code].held = max(held[item.code].held + net, 0)
            continue
        about = edition.surcharges.get(item.code)
        held[item.code] = SurchargeHeld(
            document_id=row.id,
            place=item.place,
            description=item.description,
            net=net,
            held=net,
            tax_back=about is None or edition.gives_tax_back(about, document.supplied),
            return_by=document.on + timedelta(days=about.days) if about else None,
        )
        session.add(held[item.code])
    session.flush()


def _give_surcharges_back(
    session: Session, note: Document, invoice: DocumentIssued
) -> None:
    held = {
        row.place: row
        for row in session.scalars(
            select(SurchargeHeld).where(SurchargeHeld.document_id == invoice.id)
        )
    }
    for item in note.items:
        if item.place in held:
            back = note.currency.to_minor(item.net)
            held[item.place].held -= min(back, held[item.place].held)
    session.flush()


def set_against(
    session: Session,
    document: DocumentIssued,
    amount: int,
    now: Now,
    *,
    credit: DocumentIssued,
) -> None:
    """Set an amount of a credit note against a document, in the smallest unit."""
    credit.left -= amount
    document.left -= amount
    session.add(
        Allocation(
            credit_id=credit.id,
            document_id=document.id,
            on=credit.on,
            amount=amount,
            at=now.at,
            by=now.who,
        )
    )
    for row in (credit, document):
        if not row.left:
            row.settled = credit.on
    session.flush()


# Reading.


def of_number(session: Session, document_id: int) -> DocumentIssued:
    """Return a document by key.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(DocumentIssued, document_id)
    if row is None:
        raise NoSuchRecordError(what="document", key=document_id)
    return row


def content(session: Session, document_id: int) -> Document:
    """Return a document as it was issued.

    Raises:
        NoSuchRecordError: there is none.
    """
    text = session.scalar(
        select(DocumentIssued.content).where(DocumentIssued.id == document_id)
    )
    if text is None:
        raise NoSuchRecordError(what="document", key=document_id)
    return document_file.read(text)


def credits_of(session: Session, invoice: DocumentIssued) -> list[Document]:
    """Return the credit notes of an invoice as they were issued, the oldest first."""
    texts = session.scalars(
        select(DocumentIssued.content)
        .where(DocumentIssued.corrects_id == invoice.id)
        .order_by(DocumentIssued.id)
    )
    return [document_file.read(text) for text in texts]


def taken_back(
    session: Session, invoice: DocumentIssued, document: Document
) -> list[Document]:
    """Return what nobody gets back any more of an invoice, as notes against it.

    These are its credit notes, the exchange surcharges that were kept, and what was
    given up; of a deposit's invoice, what was used or kept of the deposit.
    """
    if invoice.kind == Kind.DEPOSIT:
        return _used_up(session, invoice, document)
    notes = credits_of(session, invoice)
    for row in session.scalars(
        select(SurchargeHeld).where(
            SurchargeHeld.document_id == invoice.id, SurchargeHeld.kept > 0
        )
    ):
        share = {row.place: Decimal(row.kept) / row.net}
        items = crediting.credit_lines(document, notes, share)
        notes.append(replace(document, items=items))
    gone = select(func.sum(GivenUp.gross)).where(GivenUp.document_id == invoice.id)
    if given_up := int(session.scalar(gone) or 0):
        amount = document.currency.from_minor(given_up)
        items = crediting.credit_amount(document, notes, amount)
        notes.append(replace(document, items=items))
    return notes


def _used_up(
    session: Session, paper: DocumentIssued, document: Document
) -> list[Document]:
    """Return what became of a deposit, in order, as notes against its invoice."""
    notes: list[Document] = []
    given = {row.number: row for row in credits_of(session, paper)}
    for moved in session.scalars(
        select(DepositMoved)
        .join(DepositTaken, DepositTaken.id == DepositMoved.deposit_id)
        .where(DepositTaken.document_id == paper.id, DepositMoved.number != "")
        .order_by(DepositMoved.id)
    ):
        note = given.get(moved.number)
        if note is None:
            part = document.currency.from_minor(moved.gross)
            items = crediting.credit_amount(document, notes, part)
            note = replace(document, items=items)
        notes.append(note)
    return notes


def by_number(session: Session, number: str) -> DocumentIssued:
    """Return a document by its number; it has to exist."""
    return session.scalars(
        select(DocumentIssued).where(DocumentIssued.number == number)
    ).one()


def invoice_of(session: Session, quote: Quote) -> DocumentIssued | None:
    """Return the invoice that stands for a quote's work; None: not invoiced.

    An invoice that was credited in full, but for a discount, does not stand.
    """
    row = session.scalars(
        select(DocumentIssued)
        .join(OrderInvoiced, OrderInvoiced.document_id == DocumentIssued.id)
        .where(OrderInvoiced.quote_id == quote.id)
        .order_by(DocumentIssued.id.desc())
        .limit(1)
    ).one_or_none()
    if row is None or not stands(session, row):
        return None
    return row


def invoiced_by(session: Session, document: DocumentIssued) -> list[Quote]:
    """Return the quotes whose work an invoice is for, or the one that it corrects."""
    return list(
        session.scalars(
            select(Quote)
            .join(OrderInvoiced, OrderInvoiced.quote_id == Quote.id)
            .where(OrderInvoiced.document_id == (document.corrects_id or document.id))
            .order_by(Quote.id)
        )
    )


def credited(session: Session, invoice: DocumentIssued) -> int:
    """Return how much of an invoice is credited, in the smallest unit."""
    return sum(
        session.scalars(
            select(DocumentIssued.gross).where(DocumentIssued.corrects_id == invoice.id)
        )
    )


def stands(session: Session, invoice: DocumentIssued) -> bool:
    """Tell whether an invoice is not credited in full; one of nothing stands.

    One that was credited but for a discount for paying early does not.
    """
    gone = select(func.coalesce(func.sum(GivenUp.gross), 0)).where(
        GivenUp.document_id == invoice.id, GivenUp.how == SETTLEMENT
    )
    back = credited(session, invoice) + int(session.scalar(gone) or 0)
    return back < invoice.gross or not invoice.gross


_DONE = (OrderState.READY, OrderState.CONDEMNED, OrderState.COLLECTED)


def to_invoice(session: Session, most: int = 200) -> list[Order]:
    """Return the orders that are ready or gone and not invoiced, the oldest first."""
    return list(
        session.scalars(
            select(Order)
            .where(
                Order.invoiced.is_(False),
                Order.state.in_(_DONE),
            )
            .order_by(Order.id)
            .limit(most)
        )
    )


def collective(session: Session, on: date) -> list[tuple[Customer, list[Order]]]:
    """Return the customers who want one invoice a month, and what it would be for.

    What was handed over to them by the end of the month before *on* and not invoiced.
    """
    first = on.replace(day=1)
    found: dict[int, tuple[Customer, list[Order]]] = {}
    for order in session.scalars(
        select(Order)
        .join(Customer, Customer.id == Order.customer_id)
        .where(
            Order.invoiced.is_(False),
            Order.state == OrderState.COLLECTED,
            Order.collected < first,
            Customer.collective.is_(True),
        )
        .order_by(Customer.name, Order.id)
    ):
        entry = found.setdefault(order.customer_id, (order.customer, []))
        entry[1].append(order)
    return list(found.values())


def left_by_line(
    invoice: Document, notes: Sequence[Document]
) -> list[tuple[invoicing.Item, Decimal]]:
    """Return the lines that can be credited, with what is left of each, tax included.

    Adjustments that hang on lines are credited with them and are not listed.
    """
    left = crediting.left_of(invoice, notes)
    return [
        (item, crediting.left_of_line(left, item.place))
        for item in invoice.items
        if any(not bit.of for bit in item.bits)
    ]
