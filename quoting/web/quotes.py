"""The page of a quote: what was offered, to whom, and what became of it."""

from typing import TYPE_CHECKING

from flask import Blueprint, Response, abort, flash, render_template, request, url_for
from flask.typing import ResponseReturnValue

from quoting.domain.consent import Consent, How
from quoting.domain.job import Override
from quoting.domain.life import QuoteMove, QuoteState, moves_of_quote
from quoting.domain.lines import where
from quoting.store import audit
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Sent, shows
from quoting.web.wiring import wiring
from quoting.workflow import (
    counter_papers,
    customers,
    deposits,
    documents,
    invoices,
    issuing,
    orders,
    quotes,
    release,
)
from quoting.workflow.counter_papers import BENCH_PAPERS
from quoting.workflow.customers import Details
from quoting.workflow.search import search

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from quoting.store.models import Quote
    from quoting.workflow.quotes import Now

bp = Blueprint("quotes", __name__, url_prefix="/quotes")

#: How money is taken over a counter (common practice, no source).
METHODS = ("cash", "card", "bank transfer", "cheque")
#: How one tries to reach somebody (common practice, no source).
WAYS_TO_REACH = ("telephone", "text message", "e-mail", "in person")
#: What may be done to a quote with one button, in the words of the button.
STEPS = {
    QuoteMove.OFFER: "Offer it",
    QuoteMove.DECLINE: "They said no",
    QuoteMove.LAPSE: "Let it lapse",
}
DONE = {
    QuoteMove.OFFER: "It is offered.",
    QuoteMove.DECLINE: "The no is on record.",
    QuoteMove.LAPSE: "It has lapsed.",
}

_NO_FORM = Sent()


@bp.get("/<int:quote_id>")
@allow("counter", "accounts")
def page(quote_id: int) -> ResponseReturnValue:
    """Show a quote with all that belongs to it."""
    return _page(quote_id)


def _page(quote_id: int, sent: Sent = _NO_FORM, sought: str = "") -> str:
    with wiring().reading() as session:
        quote = quotes.quote_of(session, quote_id)
        latest = quote.revisions[-1]
        edition = quotes.edition_of(session, latest)
        state = quotes.state_on(quote, wiring().today())
        trail = audit.story(session, "quote", quote.id)
        return render_template(
            "web/quotes/page.html",
            quote=quote,
            latest=latest,
            done_to=_done_to(session, quote),
            over_limit=_over_limit(session, quote, state),
            shows=shows(edition),
            state=state,
            steps={m: STEPS[m] for m in moves_of_quote(state) if m in STEPS},
            may_accept=_may_accept(state),
            how_choices=forms.pairs(How),
            method_choices=forms.pairs(METHODS),
            reach_choices=forms.pairs(WAYS_TO_REACH),
            terms_choices=[(t.code, t.name) for t in edition.terms.values()],
            said_yes=quotes.approvals(session, quote),
            deposits=orders.deposits(session, quote),
            still_held=deposits.still_held(session, [quote], wiring().today()),
            taxed=deposits.taxed_on_receipt(session, wiring().today()),
            attempts=orders.attempts(session, quote),
            changed=orders.changed_since_yes(session, quote),
            reach=orders.reach(session, quote),
            papers=counter_papers.issued(session, quote),
            trail=trail,
            seen=trail[-1].id if trail else 0,
            meanwhile=[e for e in trail if sent.changed and e.id > sent.seen],
            sent=sent,
            now=forms.clock_face(wiring().clock()),
            sought=sought,
            hits=search(session, sought, subjects=("customer",)),
        )


def _done_to(session: "Session", quote: "Quote") -> dict[int, list[str]]:
    """Return of every line of each alternative what it is done to."""
    latest = quote.revisions[-1]
    number = shows(quotes.edition_of(session, latest)).formats.quantity
    return {
        way.place: [
            where(line, priced.job.heads, number) for line in priced.priced.lines
        ]
        for way, priced in zip(
            latest.ways, quotes.ways_of(session, latest), strict=True
        )
    }


def _over_limit(
    session: "Session", quote: "Quote", state: QuoteState
) -> release.OverLimit | None:
    """Return what its customer would owe too much; nothing of what is over."""
    if state in (QuoteState.DECLINED, QuoteState.LAPSED):
        return None
    return release.with_quotes(session, [quote], wiring().today())


def _may_accept(state: QuoteState) -> bool:
    """Tell whether whoever is there may record a yes in this state."""
    person = wiring().person
    owner = person is not None and "owner" in person.roles
    in_time = QuoteMove.ACCEPT in moves_of_quote(state)
    return in_time or (owner and state is QuoteState.LAPSED)


def _send(
    quote_id: int, form: str, do: "Callable[[Session, Quote, Now], str]"
) -> ResponseReturnValue:
    """Do what a form of the page asks for, or show the page again."""
    return forms.send(
        form,
        lambda session: do(session, quotes.quote_of(session, quote_id), wiring().now()),
        lambda sent: _page(quote_id, sent),
    )


def _back(quote: "Quote", said: str) -> str:
    flash(said)
    return url_for("quotes.page", quote_id=quote.id)


# A yes, a no, a later.


@bp.post("/<int:quote_id>/yes")
@allow("counter")
def accept(quote_id: int) -> ResponseReturnValue:
    """Record a yes to one of the alternatives."""
    return _send(quote_id, "yes", _accept)


def _accept(session: "Session", quote: "Quote", now: "Now") -> str:
    formats = shows(quotes.edition_of(session, quote.revisions[-1])).formats
    consent = Consent(
        by=forms.needed("by", "Who said yes"),
        how=forms.choice("how", How, "How the yes was said"),
        up_to=forms.amount("up_to", formats),
        note=forms.text("note"),
    )
    place = forms.number("place") or 1
    quotes.accept(
        session, quote, forms.number("version"), place, consent,
        forms.instant("said_at"), now, despite=override(),
    )  # fmt: skip
    if quote.order is not None:
        orders.agree_again(session, orders.order_of(session, quote.order.id), now)
    return _back(quote, "The yes is on record.")


def override() -> Override | None:
    """Return by which reason the owner sets a rule of the house aside, if at all."""
    person, reason = wiring().person, forms.text("reason")
    if person is None or "owner" not in person.roles or not reason:
        return None
    return Override(person.name, reason)


@bp.post("/<int:quote_id>/step")
@allow("counter")
def step(quote_id: int) -> ResponseReturnValue:
    """Offer a draft, record a no, or let an offer lapse."""
    return _send(quote_id, "step", _step)


def _step(session: "Session", quote: "Quote", now: "Now") -> str:
    move = forms.choice("move", QuoteMove, "What happens to it")
    if move not in STEPS:
        abort(400)
    version = forms.number("version")
    quotes.move(session, quote, version, move, now, why=forms.text("why"))
    return _back(quote, DONE[move])


@bp.post("/<int:quote_id>/ring-back")
@allow("counter")
def ring_back(quote_id: int) -> ResponseReturnValue:
    """Set the day on which the caller is rung again."""
    return _send(quote_id, "ring-back", _ring_back)


def _ring_back(session: "Session", quote: "Quote", now: "Now") -> str:
    on = forms.day("on")
    quotes.call_back(session, quote, on, now, version=forms.number("version"))
    said = "It stands on Today from that day on." if on else "Nobody rings back."
    return _back(quote, said)


@bp.post("/<int:quote_id>/attempt")
@allow("counter")
def attempt(quote_id: int) -> ResponseReturnValue:
    """Log an attempt to reach the customer."""
    return _send(quote_id, "attempt", _attempt)


def _attempt(session: "Session", quote: "Quote", now: "Now") -> str:
    outcome = forms.needed("outcome", "What came of it")
    orders.try_to_reach(session, quote, forms.text("how"), outcome, now)
    _back(quote, "The attempt is logged.")
    if quote.order is not None and "order" in request.form:
        return url_for("counter.order", order_id=quote.order.id)
    return url_for("quotes.page", quote_id=quote.id)


# Whose it is.


@bp.get("/<int:quote_id>/whose")
@allow("counter")
def find_customer(quote_id: int) -> ResponseReturnValue:
    """Find whose heads they are among the customers."""
    sought = request.args.get("q", "").strip()
    if request.headers.get("X-Live") != "1":
        return _page(quote_id, sought=sought)
    with wiring().reading() as session:
        trail = audit.story(session, "quote", quote_id)
        return render_template(
            "web/quotes/found.html",
            quote=quotes.quote_of(session, quote_id),
            sought=sought,
            seen=trail[-1].id if trail else 0,
            hits=search(session, sought, subjects=("customer",)),
        )


@bp.post("/<int:quote_id>/whose")
@allow("counter")
def whose(quote_id: int) -> ResponseReturnValue:
    """Write down whose heads they are: a customer who is known, or a new one."""
    return _send(quote_id, "whose", _whose)


def _whose(session: "Session", quote: "Quote", now: "Now") -> str:
    known = forms.number("customer_id")
    if not known:
        known = _new_customer(session, quote, now)
    quotes.whose(session, quote, forms.number("version"), known, now)
    return _back(quote, "It is written down whose it is.")


def _new_customer(session: "Session", quote: "Quote", now: "Now") -> int:
    edition = quotes.edition_of(session, quote.revisions[-1])
    up_to = forms.amount("up_to", shows(edition).formats)
    terms = forms.text("terms")
    row = customers.save(
        session,
        Details(
            name=forms.text("name"),
            address=forms.text("address"),
            phone=forms.text("phone"),
            email=forms.text("email"),
            terms=terms if terms in edition.terms else "",
            up_to=None if up_to is None else edition.currency.to_minor(up_to),
        ),
        at=now.at,
        who=now.who,
    )
    return row.id


# Money and papers.


@bp.post("/<int:quote_id>/deposit")
@allow("counter")
def deposit(quote_id: int) -> ResponseReturnValue:
    """Take a deposit and issue its receipt, or its invoice where it is taxed."""
    return _send(quote_id, "deposit", _deposit)


def _deposit(session: "Session", quote: "Quote", now: "Now") -> str:
    formats = shows(quotes.edition_of(session, quote.revisions[-1])).formats
    amount = forms.amount("amount", formats)
    if amount is None:
        raise forms.MissingError(what="The amount")
    taken = deposits.take_deposit(session, quote, amount, method(), now)
    if taken.document_id is None:
        counter_papers.receipt(session, quote, taken, now)
        return _back(quote, f"Receipt {taken.number} is among the papers.")
    invoice = invoices.of_number(session, taken.document_id)
    documents.on_paper(session, invoice, now)
    return _back(quote, f"Invoice {invoice.number} is among the papers.")


def method() -> str:
    """Return how money was taken.

    Raises:
        MissingError: in none of the ways that are offered.
    """
    given = forms.needed("method", "How it was paid")
    if given not in METHODS:
        raise forms.MissingError(what="How it was paid")
    return given


@bp.post("/<int:quote_id>/print")
@allow("counter", "accounts")
def print_quote(quote_id: int) -> ResponseReturnValue:
    """Issue the quote and lead to its file, or to an e-mail with it."""
    return _send(quote_id, "print", _print)


def _print(session: "Session", quote: "Quote", now: "Now") -> str:
    if request.form.get("what") == "difference":
        paper_id = counter_papers.difference(session, quote, now)
    else:
        paper_id = counter_papers.quote(session, quote, now)
    by_mail = request.form.get("by") == "e-mail"
    if by_mail and not quotes.on_paper(quote).email:
        raise counter_papers.NoAddressError(number=quote.number)
    endpoint = "quotes.letter" if by_mail else "quotes.paper"
    return url_for(endpoint, quote_id=quote.id, paper_id=paper_id)


@bp.get("/<int:quote_id>/papers/<int:paper_id>")
@allow("counter", "accounts", "bench")
def paper(quote_id: int, paper_id: int) -> ResponseReturnValue:
    """Return the file of an issued paper; the bench has those without a price."""
    with wiring().reading() as session:
        quote = quotes.quote_of(session, quote_id)
        issued = counter_papers.issued(session, quote)
    kind = next((p.kind for p in issued if p.id == paper_id), None)
    if kind is None:
        abort(404)
    if kind not in BENCH_PAPERS and not sees_prices():
        abort(403)
    file = issuing.file_of(wiring().database, paper_id)
    return _file(file.pdf, file.name, "application/pdf", "inline")


@bp.get("/<int:quote_id>/papers/<int:paper_id>/letter")
@allow("counter", "accounts")
def letter(quote_id: int, paper_id: int) -> ResponseReturnValue:
    """Return a ready-made e-mail with an issued paper."""
    draft = counter_papers.letter(wiring().database, quote_id, paper_id)
    return _file(draft.content, draft.name, "message/rfc822", "attachment")


def _file(content: bytes, name: str, kind: str, how: str) -> Response:
    answer = Response(content, mimetype=kind)
    answer.headers.set("Content-Disposition", how, filename=name)
    return answer


def sees_prices() -> bool:
    """Tell whether whoever is there may see what is charged."""
    person = wiring().person
    return person is not None and person.may(("counter", "accounts"))


@bp.get("/<int:quote_id>/changes")
@allow("counter", "accounts")
def changes(quote_id: int) -> ResponseReturnValue:
    """Show what changed since the last yes, and what it costs."""
    with wiring().reading() as session:
        quote = quotes.quote_of(session, quote_id)
        changed = orders.changed_since_yes(session, quote)
        if changed is None:
            raise counter_papers.NothingChangedError(number=quote.number)
        return render_template(
            "web/quotes/changes.html",
            quote=quote,
            changed=changed,
            reach=orders.reach(session, quote),
            shows=shows(changed.edition),
        )
