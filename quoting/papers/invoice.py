"""The invoice: every line with its tax, a table of taxes, and what is to be paid."""

from collections.abc import Mapping
from datetime import date, timedelta

from quoting.domain.edition import Edition
from quoting.domain.job import Job
from quoting.domain.pricing import Priced
from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.priced_table import LETTERS, Sum, head_fact, job_facts, priced_table


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
    formats = on_paper(formats)
    table = priced_table(edition, [(job, priced)], formats, _tax_letters(priced))
    totals = priced.totals
    paid = ""
    if totals.deposits:
        received = Sum("Deposits received", "", [formats.amount(-totals.deposits)])
        due = Sum("To pay", "", [formats.amount(totals.due)], strong=True)
        table = table._replace(sums=[*table.sums, received, due])
        paid = (
            f"{formats.money(totals.total)} less {formats.money(totals.deposits)} "
            "received before"
        )
    terms = job.terms or edition.terms[edition.shop.terms]
    return fill(
        "invoice",
        shop=edition.shop,
        formats=formats,
        size=size,
        kind="Invoice",
        number=number,
        made=on,
        block=[
            ("date", formats.date(on)),
            *([("specimen", "not issued")] if specimen else []),
        ],
        values={
            "specimen": specimen,
            "customer": customer,
            "facts": [
                ("date", formats.date(on)),
                ("tax number", edition.shop.tax_number),
                *job_facts(edition, job, customer),
                head_fact(job),
            ],
            "to_pay": formats.money(totals.due),
            "paid": paid,
            "pay_by": formats.date(on + timedelta(days=terms.payment_days)),
            "supplied": formats.date(supplied) if supplied else "",
            "table": table,
            "currency": formats.currency.code,
            "taxes": [
                {
                    "letter": letter,
                    "label": group.tax.label,
                    "reason": group.tax.reason,
                    "base": formats.amount(group.base),
                    "amount": formats.amount(group.amount),
                }
                for letter, group in zip(LETTERS, priced.taxes, strict=False)
            ],
        },
    )


def _tax_letters(priced: Priced) -> Mapping[str, str]:
    """Return for each tax code of a job the letters of its rows in the tax table."""
    letters = dict(zip([g.tax for g in priced.taxes], LETTERS, strict=False))
    return {
        code: "".join(letters[tax] for tax in taxes)
        for code, taxes in priced.taxes_of.items()
    }
