"""Customers: who they are, what they asked for, and what their papers need to say."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from flask import Blueprint, flash, render_template, request, url_for
from flask.typing import ResponseReturnValue

from quoting.store import audit
from quoting.store.models import Customer
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Choice, Day, Figure, Form, Lines, Sent, Text, Tick, shows
from quoting.web.wiring import wiring
from quoting.workflow import customers, quotes, rates
from quoting.workflow.customers import Details

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from quoting.domain.edition import Edition
    from quoting.i18n import Formats

bp = Blueprint("customers", __name__, url_prefix="/customers")

_NO_FORM = Sent()
#: Rows for people to speak to that are free beside those written down.
_FREE_ROWS = 2
_OF_A_PERSON = ("person", "phone", "mail")


class DetailsForm(Form):
    """What is written down of a customer, but for the people to speak to."""

    name = "details"

    called = Text("Name", longest=300, needed=True)
    address = Lines("Street and house", longest=1000)
    postcode = Text("Postcode", longest=80)
    town = Text("Town", longest=200)
    country = Choice("Country", hint="Empty: the shop's own.")
    phone = Text("Telephone", longest=80)
    email = Text("E-mail", longest=300)
    terms = Choice("Terms", hint="Empty: the shop's own.")
    up_to = Figure("May be spent without asking", hint="Empty: nothing.")
    collective = Tick("One invoice a month for all that was collected")
    tax_number = Text("Tax number", longest=80)
    register_number = Text("Register number", longest=80)
    certificate = Text(
        "Certificate by which they owe no tax",
        longest=80,
        hint="Its number. It counts where their terms charge no tax.",
    )
    certified_by = Text("Issued by", longest=200, hint="The office that gave it.")
    certified_until = Day("Holds until", hint="Empty: it has no end.")
    notes = Lines("Notes", longest=4000)


@bp.get("/<int:customer_id>")
@allow("counter", "accounts")
def page(customer_id: int) -> ResponseReturnValue:
    """Show a customer, and what they asked for and brought."""
    with wiring().reading() as session:
        on = wiring().today()
        edition = rates.in_force(session, on).edition
        return render_template(
            "web/customers/page.html",
            customer=customers.customer(session, customer_id),
            quotes=customers.came_before(session, customer_id=customer_id, most=50),
            state_on=quotes.state_on,
            terms=edition.terms,
            shows=shows(edition),
            on=on,
        )


@bp.get("/<int:customer_id>/details")
@allow("counter", "accounts")
def details(customer_id: int) -> ResponseReturnValue:
    """Show the form for what is written down of a customer."""
    return _details(customer_id)


def _details(customer_id: int, sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        row = customers.customer(session, customer_id)
        edition = rates.in_force(session, wiring().today()).edition
        form = _form(row, edition, sent)
        if form.name == sent.form:
            form.validate()
        people = [(each.name, each.phone, each.email) for each in row.contacts]
        trail = audit.story(session, "customer", row.id)
        return render_template(
            "web/customers/details.html",
            customer=row,
            form=form,
            sent=sent,
            seen=trail[-1].id if trail else 0,
            meanwhile=[e for e in trail if sent.changed and e.id > sent.seen],
            shows=shows(edition),
            people=[*people, *[("", "", "")] * _FREE_ROWS],
        )


def _form(row: Customer, edition: "Edition", sent: Sent) -> DetailsForm:
    known = {
        field: getattr(row, field) or None
        for field in Details._fields
        if field not in ("name", "contacts", "up_to")
    }
    up_to = None if row.up_to is None else edition.currency.from_minor(row.up_to)
    formats = shows(edition).formats
    form = DetailsForm(formats, sent, **known, called=row.name, up_to=up_to)
    form.country.choices = _countries(formats)
    form.terms.choices = [(each.code, each.name) for each in edition.terms.values()]
    return form


def _countries(formats: "Formats") -> list[tuple[str, str]]:
    named = formats.locale.territories.items()
    found = [(code, name) for code, name in named if len(code) == 2 and code.isalpha()]
    return sorted(found, key=lambda each: each[1])


@bp.post("/<int:customer_id>/details")
@allow("counter", "accounts")
def write_down(customer_id: int) -> ResponseReturnValue:
    """Write down who a customer is."""
    return forms.send(
        DetailsForm.name,
        lambda session: _write_down(session, customer_id),
        lambda sent: _details(customer_id, sent),
    )


def _write_down(session: "Session", customer_id: int) -> str:
    row = customers.customer(session, customer_id)
    edition = rates.in_force(session, wiring().today()).edition
    form = _form(row, edition, Sent(DetailsForm.name))
    form.check()
    up_to, now = form.up_to.data, wiring().now()
    customers.save(
        session,
        Details(
            name=form.called.value,
            address=form.address.data or "",
            postcode=form.postcode.data or "",
            town=form.town.data or "",
            country=form.country.data or "",
            phone=form.phone.data or "",
            email=form.email.data or "",
            terms=form.terms.data or "",
            tax_number=form.tax_number.data or "",
            register_number=form.register_number.data or "",
            collective=bool(form.collective.data),
            certificate=form.certificate.data or "",
            certified_by=form.certified_by.data or "",
            certified_until=form.certified_until.data,
            up_to=None if up_to is None else edition.currency.to_minor(up_to),
            notes=form.notes.data or "",
            contacts=tuple(_people()),
        ),
        at=now.at,
        who=now.who,
        customer_id=row.id,
        version=forms.number("version"),
    )
    flash(f"{row.name} is written down.")
    return url_for("customers.page", customer_id=row.id)


def _people() -> Iterator[tuple[str, str, str]]:
    """Yield the people to speak to, as typed; an empty row is left out.

    Raises:
        MissingError: somebody has no name.
    """
    rows = max(
        sum(key.startswith(each) for key in request.form) for each in _OF_A_PERSON
    )
    for i in range(1, 1 + rows):
        name, phone, mail = (forms.text(f"{each}{i}") for each in _OF_A_PERSON)
        if name:
            yield name, phone, mail
        elif phone or mail:
            raise forms.MissingError(what=f"The name that goes with {phone or mail}")
