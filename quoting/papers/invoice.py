"""The invoice of an estimate, for a look at it: a specimen that is not issued.

It is the paper of a document like any that is issued, made of priced work.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

from quoting.domain.edition import Edition
from quoting.domain.invoice import (
    Deducted,
    Document,
    Item,
    Kind,
    Party,
    Work,
    bank,
    items_of,
    seller,
)
from quoting.domain.job import Job
from quoting.domain.legal_form import legends_for, not_shown, title
from quoting.domain.lines import Line
from quoting.domain.pricing import Priced
from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.html import Paper, on_paper
from quoting.papers.issued import PLAIN_ORDER, issued_paper, labels_of, number_of_region
from quoting.papers.priced_table import head_fact, how, text_of


def invoice_paper(
    edition: Edition,
    job: Job,
    priced: Priced,
    formats: Formats,
    size: str = "",
    *,
    number: str,
    on: date,
    supplied: date | None,
    customer: Customer,
    specimen: bool,
) -> Paper:
    """Return an invoice.

    Args:
        edition: that it was priced by.
        job: what was done.
        priced: the job, priced.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        number: of the invoice.
        on: its day.
        supplied: the day of supply, where that is another.
        customer: whose it is.
        specimen: say on top that it is not issued.
    """
    terms = job.terms or edition.terms[edition.shop.terms]
    unit = edition.currency.unit
    items, taxes = items_of([Work(priced)], edition.policy, unit)
    document = Document(
        kind=Kind.INVOICE,
        number=number,
        on=on,
        supplied=supplied or on,
        pay_by=on + timedelta(days=terms.payment_days),
        currency=edition.currency,
        locale=edition.shop.locale,
        seller=seller(edition.shop),
        buyer=Party(customer.name, customer.address),
        bank=bank(edition.shop),
        policy=edition.policy,
        items=as_quoted(items, priced.lines, edition, job, on_paper(formats)),
        taxes=taxes,
        taxes_of=priced.taxes_of,
        deposits=tuple(
            Deducted("", deposit.on or on, deposit.amount) for deposit in job.deposits
        ),
        order_number=customer.order_number,
        registration=customer.registration,
        heads=(head_fact(job)[1],) if job.heads else (),
    )
    country, words = edition.country(on), edition.words
    if words is not None:
        also = not_shown(document, edition.shop)
        document = replace(document, legends=legends_for(words, document, also))
    return issued_paper(
        document,
        edition.shop,
        formats,
        size,
        title=title(words, document.kind) if words else "",
        tax_number=words.tax_number if words else "",
        register_number=words.register_number if words else "",
        of_region=number_of_region(edition),
        labels=labels_of(words),
        order=country.address if country else PLAIN_ORDER,
        specimen=specimen,
    )


def as_quoted(
    items: Iterable[Item],
    lines: Iterable[Line],
    edition: Edition,
    job: Job,
    formats: Formats,
) -> tuple[Item, ...]:
    """Return items with the words that the customer read on the quote, sizes included.

    Args:
        items: of one job, as ``items_of`` gives them.
        lines: of that job, priced; an item each.
        edition: that it was priced by.
        job: what was done.
        formats: the reader's locale.
    """
    return tuple(
        replace(
            item,
            description=_said(edition, line, formats),
            detail=how(line, job, formats),
        )
        for item, line in zip(items, lines, strict=True)
    )


def _said(edition: Edition, line: Line, formats: Formats) -> str:
    """Return what was done; of what is without charge also why."""
    text = text_of(edition, line, formats)
    free = not line.net and not line.list_net
    return f"{text} ({line.reason})" if free and line.reason else text
