"""Accounts: what is to be invoiced, who owes what, what is held, and the month."""

from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple
from urllib import parse

from flask import Blueprint, Response, abort, flash, render_template, request, url_for
from flask.typing import ResponseReturnValue

from quoting.domain import place
from quoting.domain.ageing import BANDS, Since
from quoting.domain.country import Answer, Country, Region
from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError
from quoting.domain.invoice import Kind, Why
from quoting.domain.job import FreeLine, Override
from quoting.domain.month import Month
from quoting.domain.rates import Shop
from quoting.domain.tax import Policy
from quoting.domain.tax_rules import asked
from quoting.store.models import DepositTaken, DocumentIssued, Payment, Quote
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Sent, Shows, shows
from quoting.web.quotes import METHODS, method, override
from quoting.web.wiring import wiring
from quoting.workflow import (
    closing,
    customers,
    debts,
    deposits,
    documents,
    exports,
    invoices,
    issuing,
    month,
    orders,
    payments,
    quotes,
    rates,
    story,
    surcharges,
)
from quoting.workflow import till as tills
from quoting.workflow.invoices import Credited, Taxed

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from quoting.workflow.quotes import Now

bp = Blueprint("accounts", __name__, url_prefix="/accounts")

_NO_FORM = Sent()
#: Rows for what stands in no quote, on the page of an invoice that is not issued yet.
_EXTRA_ROWS = 2
#: Days after which a deposit counts as left over.
LEFT_OVER = 60


@bp.get("")
@allow("accounts", "reader")
def today() -> ResponseReturnValue:
    """Show what is to be invoiced, what is owed and what is held."""
    with wiring().reading() as session:
        on = wiring().today()
        return render_template(
            "web/accounts/today.html",
            to_invoice=invoices.to_invoice(session),
            collective=invoices.collective(session, on),
            owing=payments.owing(session),
            left_over=deposits.left_over(session, on, LEFT_OVER),
            surcharges=surcharges.held(session),
            months=month.months(session, on)[:12],
            closed=month.last_closed(session),
            place=_place(rates.in_force(session, on).edition, on),
            on=on,
            days=LEFT_OVER,
            shows=_shows(session),
        )


class _Place(NamedTuple):
    """What the rows of the shop's place say, and where its own tables differ."""

    country: Country | None
    region: Region | None
    shop: Shop
    policy: Policy
    cash_differs: bool
    net_to_consumers: bool
    paper_differs: bool


def _place(edition: Edition, on: date) -> _Place:
    return _Place(
        edition.country(on),
        edition.region,
        edition.shop,
        edition.policy,
        place.cash_differs(edition, on),
        place.net_to_consumers(edition, on),
        place.paper_differs(edition, on),
    )


def _shows(session: "Session") -> Shows:
    return shows(rates.in_force(session, wiring().today()).edition)


# Invoicing.


@bp.get("/invoice")
@allow("counter", "accounts")
def draft() -> ResponseReturnValue:
    """Show an invoice before it is issued, beside what was said yes to."""
    return _draft()


@bp.post("/invoice")
@allow("counter", "accounts")
def issue() -> ResponseReturnValue:
    """Issue the invoice, or show it again with what was typed."""
    if request.form.get("look"):
        return _draft(Sent("invoice"))
    return forms.send("invoice", _issue, _draft)


def _chosen() -> list[int]:
    return forms.keys(request.values.getlist("quote"))


def _draft(sent: Sent = _NO_FORM) -> str:
    chosen = _chosen()
    with wiring().reading() as session:
        rows = [quotes.quote_of(session, key) for key in chosen]
        if not rows:
            abort(404)
        formats = _shows(session).formats
        made, said = None, sent.said
        try:
            made = invoices.draft(
                session,
                rows,
                wiring().today(),
                extra={rows[0].id: _extra(_shows(session))},
                named=_named(rows),
                deposits=_with_deposits(),
                taxed=_taxed(),
            )
        except RuleError as error:
            said = tuple(dict.fromkeys((*said, str(error))))
        edition = quotes.edition_of(session, rows[0].revisions[-1])
        return render_template(
            "web/accounts/invoice.html",
            rows=rows,
            draft=made,
            taxed=made.taxed if made else _taxed(),
            asks=asked(edition.rules),
            said=said,
            sent=Sent("invoice", said) if said else sent,
            named=_named(rows),
            deposits=_with_deposits(),
            extra_rows=range(1, _EXTRA_ROWS + 1),
            tax_codes=sorted(edition.tax_rows),
            formats=formats,
            shows=_shows(session),
        )


def _named(rows: list[Quote]) -> bool:
    if request.method == "GET":
        return bool(rows[0].customer_id)
    return "named" in request.form


def _taxed() -> Taxed | None:
    """Return what was said of the tax; None: nobody was asked."""
    person = wiring().person
    if "tax_asked" not in request.form or person is None:
        return None
    return Taxed(
        tuple(answer for answer in Answer if answer in request.form.getlist("answer")),
        {
            rule: Override(person.name, why)
            for rule, why in forms.set_aside(request.form).items()
        },
    )


def _with_deposits() -> bool:
    return request.method == "GET" or "deposits" in request.form


def _extra(how: Shows) -> list[FreeLine]:
    """Return the lines that stand in no quote.

    Raises:
        RuleError: a line has words and no amount, or an amount that is none.
    """
    lines = []
    for i in range(1, _EXTRA_ROWS + 1):
        words = forms.text(f"line{i}")
        amount = forms.amount(f"amount{i}", how.formats)
        if words and amount is None:
            raise forms.MissingError(what=f"The amount of {words}")
        if amount is not None and not words:
            raise forms.MissingError(what=f"What {how.formats.money(amount)} is for")
        if amount is not None:
            code = forms.text(f"code{i}")
            lines.append(FreeLine(words, amount=amount, tax_code=code, group="fees"))
    return lines


def _issue(session: "Session") -> str:
    rows = [quotes.quote_of(session, key) for key in _chosen()]
    how = _shows(session)
    document = documents.issue(
        session,
        rows,
        wiring().now(),
        extra={rows[0].id: _extra(how)} if rows else None,
        named=_named(rows),
        deposits=_with_deposits(),
        taxed=_taxed(),
        despite=override(),
    )
    return _back(document, f"{document.number} is issued.")


def _back(document: DocumentIssued, said: str) -> str:
    flash(said)
    return url_for("accounts.document", document_id=document.id)


# A document.


@bp.get("/documents/<int:document_id>")
@allow("counter", "accounts", "reader")
def document(document_id: int) -> ResponseReturnValue:
    """Show a document, what is owed of it, and what can be done with it."""
    return _document(document_id)


def _document(document_id: int, sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        row = invoices.of_number(session, document_id)
        paper = invoices.content(session, document_id)
        notes = invoices.taken_back(session, row, paper)
        left = invoices.left_by_line(paper, notes)
        credited = invoices.credited(session, row)
        on = wiring().today()
        country = rates.in_force(session, row.on).edition.country(row.on)
        return render_template(
            "web/accounts/document.html",
            row=row,
            paper=paper,
            left=left,
            credited=credited,
            told=story.of_document(session, row),
            held=deposits.held_for(session, row),
            still_held=deposits.still_held(
                session, invoices.invoiced_by(session, row), on
            ),
            country=country,
            kept_until=country and place.kept_until(country, row.on),
            late=country and place.late_for_credit(country, row.on, on),
            surcharges=surcharges.of_document(session, row),
            given_up=debts.of_document(session, row),
            early=debts.early(session, row, on),
            in_cash=payments.in_cash(session, row.left, on),
            reasons=forms.pairs(Why),
            method_choices=forms.pairs(METHODS),
            shows=_shows(session),
            sent=sent,
            kinds=Kind,
        )


def _send(
    document_id: int,
    form: str,
    do: "Callable[[Session, DocumentIssued, Now], str]",
) -> ResponseReturnValue:
    """Do what a form of a document's page asks for, or show the page again."""
    return forms.send(
        form,
        lambda session: _back(
            invoices.of_number(session, document_id),
            do(session, invoices.of_number(session, document_id), wiring().now()),
        ),
        lambda sent: _document(document_id, sent),
    )


@bp.post("/documents/<int:document_id>/credit")
@allow("accounts")
def credit(document_id: int) -> ResponseReturnValue:
    """Issue a credit note for all of an invoice, some lines, or an amount."""
    return _send(document_id, "credit", _credit)


def _credit(session: "Session", row: DocumentIssued, now: "Now") -> str:
    how = _shows(session)
    note = documents.credit(
        session,
        row,
        _credited(how),
        now,
        reason=forms.choice("reason_code", Why, "Why it is credited"),
        because=forms.needed("because", "Why, in words"),
    )
    return f"{note.number} is issued."


def _credited(how: Shows) -> Credited:
    match forms.text("what"):
        case "amount":
            amount = forms.amount("amount", how.formats)
            if amount is None:
                raise forms.MissingError(what="The amount to credit, tax included")
            return Credited(amount=amount)
        case "lines":
            return Credited(lines=_shares(how))
        case _:
            return Credited()


def _shares(how: Shows) -> Mapping[int, Decimal]:
    """Return by place which share of a line is credited: per cent, empty for none."""
    shares = {}
    for name in request.form:
        if name.startswith("share") and forms.text(name):
            for place in forms.keys([name[5:]]):
                shares[place] = how.formats.read(forms.text(name)) / 100
    return shares


@bp.post("/documents/<int:document_id>/pay")
@allow("counter", "accounts")
def pay(document_id: int) -> ResponseReturnValue:
    """Take a payment for a document."""
    return _send(document_id, "pay", _pay)


def _pay(session: "Session", row: DocumentIssued, now: "Now") -> str:
    paid = documents.pay(
        session,
        _minor(session, "amount", "What is paid"),
        method(),
        now,
        document=row,
        note=forms.text("note"),
    )
    said = f"{paid.number} is on record; its number opens the receipt."
    if paid.left:
        said += f" {_shows(session).minor(paid.left)} of it is on the account."
    return said


def _minor(session: "Session", name: str, what: str) -> int:
    """Return an amount in the smallest unit.

    Raises:
        MissingError: none was typed.
        RuleError: as ``forms.amount``.
    """
    how = _shows(session)
    amount = forms.amount(name, how.formats)
    if amount is None:
        raise forms.MissingError(what=what)
    return how.currency.to_minor(amount)


@bp.post("/documents/<int:document_id>/give-up")
@allow("accounts")
def give_up(document_id: int) -> ResponseReturnValue:
    """Write a debt off, take its tax back, or let it go for paying early."""
    return _send(document_id, "give-up", _give_up)


def _give_up(session: "Session", row: DocumentIssued, now: "Now") -> str:
    why = forms.needed("why", "Why")
    match forms.text("how"):
        case "relief":
            gave = debts.relief(session, row, why, now)
        case "settlement":
            gross = _minor(session, "amount", "The discount, tax included")
            gave = debts.settle_early(session, row, gross, why, now)
        case _:
            gave = debts.write_off(session, row, why, now)
    return f"{gave.number}: {gave.how}."


@bp.post("/documents/<int:document_id>/refund")
@allow("accounts")
def refund(document_id: int) -> ResponseReturnValue:
    """Pay an open credit note back, or set it against what is owed."""
    return _send(document_id, "refund", _refund)


def _refund(session: "Session", row: DocumentIssued, now: "Now") -> str:
    if forms.text("how") == "against":
        return _set_against(session, row, now)
    amount = _minor(session, "amount", "What is paid back")
    paid = payments.refund(session, row, amount, method(), forms.text("why"), now)
    return f"{paid.number} is on record."


def _set_against(
    session: "Session", source: DocumentIssued | Payment, now: "Now"
) -> str:
    used = payments.set_against(session, source, now)
    if not used:
        return "Nothing is owed that it could be set against; it stays as it is."
    return f"{_shows(session).minor(used)} is set against what is owed."


@bp.post("/documents/<int:document_id>/deposit")
@allow("counter", "accounts")
def apply_deposit(document_id: int) -> ResponseReturnValue:
    """Pay an invoice from a deposit that is held."""
    return _send(document_id, "deposit", _apply_deposit)


def _apply_deposit(session: "Session", row: DocumentIssued, now: "Now") -> str:
    deposit = deposits.of_key(session, forms.number("deposit"))
    part = min(deposit.held, row.left)
    deposits.apply_deposit(session, deposit, row, part, now)
    return f"{_shows(session).minor(part)} of {deposit.number} is applied."


@bp.post("/documents/<int:document_id>/surcharge")
@allow("counter", "accounts")
def surcharge(document_id: int) -> ResponseReturnValue:
    """Write down that an old unit came back, in full or in part, or never will."""
    return _send(document_id, "surcharge", _surcharge)


def _surcharge(session: "Session", row: DocumentIssued, now: "Now") -> str:
    held = surcharges.of_key(session, forms.number("surcharge"))
    why = forms.needed("why", "How the old unit came back, or why it does not")
    share = forms.text("share")
    if share == "kept":
        surcharges.keep(session, held, why, now)
        return "The surcharge is kept."
    part = _shows(session).formats.read(forms.needed("part", "Which share")) / 100
    note = documents.credit(
        session,
        row,
        Credited(
            lines={held.place: part},
            keep_tax=frozenset(() if held.tax_back else (held.place,)),
        ),
        now,
        reason=Why.RETURNED,
        because=why,
    )
    return f"{note.number} is issued for it."


@bp.get("/documents/<int:document_id>/paper")
@allow("counter", "accounts", "reader")
def paper(document_id: int) -> ResponseReturnValue:
    """Return the document's file as it was issued."""
    file = documents.file_of(wiring().database, document_id)
    return _download(file.pdf, file.name, "application/pdf", inline=True)


@bp.get("/payments/<int:payment_id>/receipt")
@allow("counter", "accounts", "reader")
def receipt(payment_id: int) -> ResponseReturnValue:
    """Return the receipt for a payment as it was issued."""
    file = documents.receipt_of(wiring().database, payment_id)
    return _download(file.pdf, file.name, "application/pdf", inline=True)


@bp.get("/documents/<int:document_id>/xml/<syntax>")
@allow("counter", "accounts", "reader")
def xml(document_id: int, syntax: str) -> ResponseReturnValue:
    """Return the document as EN 16931 XML."""
    if syntax not in ("cii", "ubl"):
        abort(404)
    with wiring().reading() as session:
        name, data = documents.xml_of(session, document_id, syntax)
    return _download(data, name, "application/xml")


def _download(data: bytes, name: str, kind: str, *, inline: bool = False) -> Response:
    response = Response(data, mimetype=kind)
    how = "inline" if inline else "attachment"
    response.headers["Content-Disposition"] = f'{how}; filename="{name}"'
    return response


@bp.get("/quotes/<int:quote_id>/story")
@allow("counter", "accounts", "reader")
def quote_story(quote_id: int) -> ResponseReturnValue:
    """Show everything that came of a quote, in order."""
    with wiring().reading() as session:
        quote = quotes.quote_of(session, quote_id)
        return render_template(
            "web/accounts/story.html",
            title=f"The story of {quote.number}",
            told=story.of_quote(session, quote),
            shows=_shows(session),
        )


@bp.get("/documents/<int:document_id>/story")
@allow("counter", "accounts", "reader")
def document_story(document_id: int) -> ResponseReturnValue:
    """Show the story of a document, in order."""
    with wiring().reading() as session:
        row = invoices.of_number(session, document_id)
        return render_template(
            "web/accounts/story.html",
            title=f"The story of {row.number}",
            told=story.of_document(session, row),
            shows=_shows(session),
        )


# A customer's account.


@bp.get("/customers/<int:customer_id>")
@allow("counter", "accounts", "reader")
def account(customer_id: int) -> ResponseReturnValue:
    """Show what a customer owes, and what is held for them."""
    return _account(customer_id)


def _account(customer_id: int, sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        customer = customers.customer(session, customer_id)
        account = payments.account(session, customer, wiring().today())
        return render_template(
            "web/accounts/customer.html",
            customer=customer,
            account=account,
            written_off=debts.written_off(session, account.settled),
            method_choices=forms.pairs(METHODS),
            shows=_shows(session),
            sent=sent,
            on=wiring().today(),
        )


@bp.post("/customers/<int:customer_id>/pay")
@allow("counter", "accounts")
def pay_account(customer_id: int) -> ResponseReturnValue:
    """Take a payment and set it against what is owed, oldest first or by hand."""

    def do(session: "Session") -> str:
        customers.customer(session, customer_id)
        paid = documents.pay(
            session,
            _minor(session, "amount", "What is paid"),
            method(),
            wiring().now(),
            customer_id=customer_id,
            by_hand=_by_hand(session),
            note=forms.text("note"),
        )
        flash(f"{paid.number} is on record.")
        return url_for("accounts.account", customer_id=customer_id)

    return forms.send("pay", do, lambda sent: _account(customer_id, sent))


def _by_hand(session: "Session") -> dict[str, int] | None:
    """Return what of a payment pays which document; None: the oldest first."""
    how = _shows(session)
    shares = {}
    for name in request.form:
        if name.startswith("to-") and forms.text(name):
            amount = forms.amount(name, how.formats)
            if amount is not None:
                shares[name[3:]] = how.currency.to_minor(amount)
    return shares or None


@bp.post("/customers/<int:customer_id>/on-account")
@allow("accounts")
def on_account(customer_id: int) -> ResponseReturnValue:
    """Pay money on account back, or set it against what is owed."""

    def do(session: "Session") -> str:
        paid = payments.payment_of(session, forms.number("payment"))
        now = wiring().now()
        if forms.text("how") == "against":
            flash(_set_against(session, paid, now))
        else:
            amount = _minor(session, "amount", "What is paid back")
            back = payments.refund(
                session, paid, amount, method(), forms.text("why"), now
            )
            flash(f"{back.number} is on record.")
        return url_for("accounts.account", customer_id=customer_id)

    return forms.send("on-account", do, lambda sent: _account(customer_id, sent))


@bp.post("/customers/<int:customer_id>/statement")
@allow("counter", "accounts")
def statement(customer_id: int) -> ResponseReturnValue:
    """Issue a statement of account and lead to its file."""

    def do(session: "Session") -> str:
        customer = customers.customer(session, customer_id)
        paper_id = documents.statement(session, customer, wiring().now())
        return url_for("accounts.kept", customer_id=customer_id, paper_id=paper_id)

    return forms.send("statement", do, lambda sent: _account(customer_id, sent))


@bp.get("/customers/<int:customer_id>/papers/<int:paper_id>")
@allow("counter", "accounts", "reader")
def kept(customer_id: int, paper_id: int) -> ResponseReturnValue:
    """Return a statement of account as it was issued."""
    with wiring().reading() as session:
        if not issuing.belongs(session, paper_id, customer_id):
            abort(404)
    file = issuing.file_of(wiring().database, paper_id)
    return _download(file.pdf, file.name, "application/pdf", inline=True)


# Deposits.


@bp.get("/deposits")
@allow("accounts", "reader")
def held() -> ResponseReturnValue:
    """Show every deposit that is held."""
    return _deposits()


def _deposits(sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        on = wiring().today()
        return render_template(
            "web/accounts/deposits.html",
            held=deposits.held(session),
            asked=dict.fromkeys(
                forms.keys(request.args.getlist("deposit")),
                request.args.get("how", ""),
            ),
            on=on,
            since=orders.since,
            days=LEFT_OVER,
            method_choices=forms.pairs(METHODS),
            taxed_if_kept=deposits.taxed_if_kept(session, on),
            shows=_shows(session),
            sent=sent,
        )


@bp.post("/deposits/<int:deposit_id>")
@allow("accounts")
def settle_deposit(deposit_id: int) -> ResponseReturnValue:
    """Pay a deposit back, keep it, or hold it for another job."""

    def do(session: "Session") -> str:
        deposit = deposits.of_key(session, deposit_id)
        now, why = wiring().now(), forms.needed("why", "Why")
        match forms.text("how"):
            case "keep":
                deposits.keep_deposit(
                    session,
                    deposit,
                    deposit.held,
                    why,
                    now,
                    taxed="taxed" in request.form,
                )
            case "move":
                number = forms.needed("to", "The quote it is for")
                deposits.move_deposit(session, deposit, number, why, now)
            case _:
                amount = _minor(session, "amount", "What is paid back")
                documents.pay_deposit_back(session, deposit, amount, method(), why, now)
        flash(_settled(deposit, _shows(session)))
        return url_for("accounts.held")

    return forms.send(f"deposit{deposit_id}", do, _deposits)


def _settled(deposit: DepositTaken, how: Shows) -> str:
    if deposit.held:
        return f"{deposit.number}: {how.minor(deposit.held)} of it is still held."
    return f"{deposit.number} is settled."


# The till.


@bp.get("/till")
@allow("counter", "accounts", "reader")
def till() -> ResponseReturnValue:
    """Show what should lie in the till, and how it was counted before."""
    return _till()


def _till(sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        return render_template(
            "web/accounts/till.html",
            expected=tills.expected_cash(session),
            counts=tills.cash_counts(session),
            shows=_shows(session),
            sent=sent,
        )


@bp.post("/till")
@allow("counter", "accounts")
def count() -> ResponseReturnValue:
    """Write down what the till holds, and what goes to the bank."""

    def do(session: "Session") -> str:
        how = _shows(session)
        banked = forms.amount("banked", how.formats) or Decimal(0)
        counted = how.formats.read(forms.needed("counted", "What was counted"))
        row = tills.count_cash(
            session,
            how.currency.to_minor(counted),
            how.currency.to_minor(banked),
            forms.text("note"),
            wiring().now(),
        )
        flash(f"{row.number} is on record.")
        return url_for("accounts.till")

    return forms.send("till", do, _till)


# Months.


@bp.get("/months/<text>")
@allow("accounts", "reader")
def month_page(text: str) -> ResponseReturnValue:
    """Show a month: its figures, and whether they reconcile."""
    return _month(text)


def _month(text: str, sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        on = wiring().today()
        which = Month.read(text)
        report = month.report(session, which, on)
        return render_template(
            "web/accounts/month.html",
            report=report,
            acts=closing.acts(session, which),
            over=Month.of(on) > which,
            begun=Month.of(on) >= which,
            bands=BANDS,
            aged=[(since, report.ages(since)) for since in Since],
            shows=_shows(session),
            sent=sent,
            on=on,
        )


@bp.post("/months/<text>/close")
@allow("accounts")
def close_month(text: str) -> ResponseReturnValue:
    """Close a month."""

    def do(session: "Session") -> str:
        which = Month.read(text)
        closing.close(session, which, wiring().now(), why=forms.text("why"))
        flash(f"{which} is closed.")
        return url_for("accounts.month_page", text=str(which))

    return forms.send("close", do, lambda sent: _month(text, sent))


@bp.post("/months/<text>/reopen")
@allow("owner")
def reopen_month(text: str) -> ResponseReturnValue:
    """Open a closed month again, by name and with a reason."""

    def do(session: "Session") -> str:
        which = Month.read(text)
        why = forms.needed(
            "why", "Why the month is opened again, which stays on record"
        )
        closing.reopen(session, which, why, wiring().now())
        flash(f"{which} is open again.")
        return url_for("accounts.month_page", text=str(which))

    return forms.send("reopen", do, lambda sent: _month(text, sent))


@bp.post("/months/<text>/send")
@allow("accounts", "reader")
def send_month(text: str) -> ResponseReturnValue:
    """Write a file of a month; a header says how it compares with the last one."""
    which = Month.read(text)
    what = forms.text("what")
    if what not in exports.KINDS:
        abort(400)
    file = exports.send(wiring().database, which, what, wiring().now())
    response = _download(file.data, file.name, file.kind)
    response.headers["X-Compared"] = parse.quote(exports.compared(file))
    return response


@bp.get("/names")
@allow("accounts", "reader")
def names() -> ResponseReturnValue:
    """Show the shop's own codes and names of the journal's accounts."""
    return _names()


def _names(sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        return render_template(
            "web/accounts/names.html",
            rows=month.account_names(session),
            sent=sent,
            shows=_shows(session),
        )


@bp.post("/names")
@allow("accounts")
def name_accounts() -> ResponseReturnValue:
    """Write down the shop's own codes and names of the journal's accounts."""

    def do(session: "Session") -> str:
        given = {
            key[5:]: (forms.text(key), forms.text(f"name-{key[5:]}"))
            for key in request.form
            if key.startswith("code-")
        }
        month.name_accounts(session, given, wiring().now())
        flash("The accounts are named.")
        return url_for("accounts.names")

    return forms.send("names", do, _names)
