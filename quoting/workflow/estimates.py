"""An estimate: what a file or a caller asks for, priced, and the papers made of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.quote import Alternative, Customer, Quote, holds_until, offer
from quoting.files.job_file import Invoice, read_job
from quoting.files.result import as_json as priced_as_json

if TYPE_CHECKING:
    from quoting.domain.spoken import Question
    from quoting.i18n import Formats
    from quoting.papers.html import Paper


class NothingPricedError(RuleError):
    """The words name no head and no work that could be priced."""

    message = translatable("Nothing could be priced from {text!r}. {reasons}")


class NoSuchTermsError(RuleError):
    """A code names no terms."""

    message = translatable("There are no terms {code}; there are: {known}.")


class NoInvoiceNumberError(RuleError):
    """An invoice was asked for and nothing gives its number."""

    message = translatable(
        "An invoice needs its number: write [invoice] with number and date "
        "into the job file."
    )


class NoSuchAlternativeError(RuleError):
    """A number names no alternative."""

    message = translatable("There is no alternative {number}; there are {count}.")


@dataclass(frozen=True, slots=True)
class Estimate:
    """One or more priced ways to do what was asked for; the first leads.

    Attributes:
        candidates: the ways differ in the head, which the words leave open.
        not_placed: the caller's words that nothing was made of.
        questions: what must be asked back, beside what pricing itself asks.
        echoed: sizes in both units, as they were understood.
    """

    number: str
    on: date
    valid_until: date
    ready: date | None
    customer: Customer
    ways: tuple[Alternative, ...]
    candidates: bool = False
    not_placed: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    echoed: tuple[str, ...] = ()
    invoice: Invoice | None = None


def from_file(path: Path, edition: Edition) -> Estimate:
    """Price a job file.

    Raises:
        ProblemsError: with every problem of the file; nothing is priced.
    """
    file = read_job(path, edition)
    ways = []
    for index, (label, job) in enumerate(file.jobs):
        try:
            ways.append(offer(edition, label, job, file.tax_point))
        except RuleError as error:
            raise file.problems(error, index) from None
    return Estimate(
        number=file.number,
        on=file.on,
        valid_until=file.valid_until,
        ready=file.ready,
        customer=file.customer,
        ways=tuple(ways),
        invoice=file.invoice,
    )


def from_words(
    text: str,
    edition: Edition,
    on: date,
    *,
    language: str = "en",
    terms: str = "",
    answers: Mapping[str, str] | None = None,
) -> Estimate:
    """Price what a caller says.

    Args:
        text: plain shop words.
        edition: to price by.
        on: day of the price.
        language: of the caller, such as ``de``; it decides the decimal mark.
        terms: code of the customer's terms; empty: the shop's own.
        answers: what earlier questions were answered: word and code.

    Raises:
        NothingPricedError: the words name nothing that can be priced as said.
        NoSuchTermsError: *terms* names none.
    """
    from quoting.domain.phrase import say

    if terms and terms not in edition.terms:
        raise NoSuchTermsError(code=terms, known=", ".join(edition.terms))
    agreed = edition.terms[terms] if terms else None
    said = say(text, edition, language=language, terms=agreed, remembered=answers)
    ways = tuple(
        offer(edition, candidate.label, candidate.job, on)
        for candidate in said.candidates
        if not candidate.refused
    )
    questions = tuple(_in_full(question) for question in said.questions)
    refused = dict.fromkeys(why for way in said.candidates for why in way.refused)
    if not ways:
        unplaced = [f"Could not place: {'; '.join(said.not_placed)}."]
        reasons = [*refused, *questions, *(unplaced if said.not_placed else [])]
        raise NothingPricedError(text=text, reasons=" ".join(reasons))
    return Estimate(
        number="",
        on=on,
        valid_until=holds_until(edition, on),
        ready=None,
        customer=Customer(),
        ways=ways,
        candidates=len(ways) > 1,
        not_placed=said.not_placed,
        questions=(*questions, *refused),
        echoed=said.echoed,
    )


def _in_full(question: "Question") -> str:
    """Return a question with its choices, each with the code that answers it."""
    choices = [f"{label} = {code}" for code, label in question.choices]
    return f"{question.text} ({'; '.join(choices)})" if choices else question.text


def as_json(estimate: Estimate) -> str:
    """Return an estimate as JSON, every amount an exact decimal string."""
    results = [(way.label, way.priced) for way in estimate.ways]
    questions = [
        *estimate.questions,
        *(notice.text for way in estimate.ways for notice in way.priced.questions),
    ]
    return priced_as_json(
        [] if estimate.candidates else results,
        results if estimate.candidates else [],
        estimate.not_placed,
        dict.fromkeys(questions),
    )


def quote_paper(
    edition: Edition, estimate: Estimate, formats: "Formats", size: str
) -> "Paper":
    """Return the quote of an estimate."""
    from quoting.papers.quote import quote_paper as paper

    quote = Quote(
        number=estimate.number,
        on=estimate.on,
        valid_until=estimate.valid_until,
        customer=estimate.customer,
        alternatives=estimate.ways,
        ready=estimate.ready,
    )
    return paper(edition, quote, formats, size)


def work_order_paper(
    edition: Edition, estimate: Estimate, formats: "Formats", size: str, number: int = 1
) -> "Paper":
    """Return the work order of one alternative, counted from 1.

    Raises:
        NoSuchAlternativeError: there are fewer.
    """
    from quoting.domain.work_order import work_order
    from quoting.papers.work_order import work_order_paper as paper

    way = _way(estimate, number)
    order = work_order(
        edition,
        way.job,
        way.priced,
        number=estimate.number,
        on=estimate.on,
        customer=estimate.customer,
        promised=estimate.ready,
    )
    return paper(edition, order, way.priced, formats, size)


def specimen_invoice(
    edition: Edition, estimate: Estimate, formats: "Formats", size: str, number: int = 1
) -> "Paper":
    """Return the invoice of one alternative, headed as a specimen that is not issued.

    Raises:
        NoInvoiceNumberError: the estimate gives no number.
        NoSuchAlternativeError: there are fewer alternatives.
    """
    from quoting.papers.invoice import invoice_paper

    if estimate.invoice is None:
        raise NoInvoiceNumberError
    way = _way(estimate, number)
    return invoice_paper(
        edition,
        way.job,
        way.priced,
        formats,
        size,
        number=estimate.invoice.number,
        on=estimate.invoice.on,
        supplied=estimate.invoice.supplied,
        customer=estimate.customer,
        specimen=True,
    )


def _way(estimate: Estimate, number: int) -> Alternative:
    if not 1 <= number <= len(estimate.ways):
        raise NoSuchAlternativeError(number=number, count=len(estimate.ways))
    return estimate.ways[number - 1]
