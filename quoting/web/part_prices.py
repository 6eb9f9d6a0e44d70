"""Part prices: what do parts cost and sell for, since when, and from when on?"""

from typing import TYPE_CHECKING

from flask import Blueprint, flash, render_template, request, url_for
from flask.typing import ResponseReturnValue

from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Choice, Day, Figure, Form, Sent, Text, shows
from quoting.web.wiring import wiring
from quoting.workflow import part_prices, rates
from quoting.workflow.part_prices import NewPrice

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from quoting.domain.edition import Edition
    from quoting.workflow.quotes import Now

bp = Blueprint("part_prices", __name__, url_prefix="/rates")

#: So many parts stand on a screen; the search finds the others.
_MOST = 100
_LONGEST_SUPPLIER = 80
_NO_FORM = Sent()


class PriceForm(Form):
    """A new price of a part."""

    name = "part-price"

    part = Choice("Part", needed=True)
    valid_from = Day("From", needed=True)
    price = Figure("Price of one", hint="Empty: what it costs, with the mark-up.")
    cost = Figure("What one costs us", hint="Empty: what it cost before.")
    supplier = Text(
        "Supplier", longest=_LONGEST_SUPPLIER, hint="Empty: the one before."
    )


@bp.get("")
@bp.get("/parts")
@allow("counter")
def page() -> ResponseReturnValue:
    """Show what parts sell for, since when, and what is still to come."""
    return _page()


def _page(sent: Sent = _NO_FORM) -> str:
    sought, on = request.args.get("q", "").strip(), wiring().today()
    live = request.headers.get("X-Live") == "1"
    with wiring().reading() as session:
        edition = rates.in_force(session, on).edition
        found = part_prices.listed(session, on, sought)
        shown = found[:_MOST]
        form = _form(edition, sent, part=request.args.get("part"), valid_from=on)
        if form.name == sent.form:
            form.validate()
        return render_template(
            "web/rates/parts_found.html" if live else "web/rates/parts.html",
            found=shown,
            sells=part_prices.selling(edition, (each.part for each in shown), on),
            more=len(found) - len(shown),
            sought=sought,
            inclusive=edition.policy.inclusive,
            form=form,
            sent=sent,
            owner=_is_owner(),
            shows=shows(edition),
        )


def _form(edition: "Edition", sent: Sent, **defaults: object) -> PriceForm:
    form = PriceForm(shows(edition).formats, sent, **defaults)
    form.part.choices = [
        (p.code, f"{p.name} ({p.code})") for p in edition.parts.values()
    ]
    return form


def _is_owner() -> bool:
    person = wiring().person
    return person is not None and "owner" in person.roles


@bp.post("/parts")
@allow("owner")
def enter() -> ResponseReturnValue:
    """Keep a new price of a part."""
    return forms.send(
        PriceForm.name, lambda session: _enter(session, wiring().now()), _page
    )


def _enter(session: "Session", now: "Now") -> str:
    edition = rates.in_force(session, now.on).edition
    form = _form(edition, Sent(PriceForm.name))
    form.check()
    row = part_prices.enter(
        session,
        NewPrice(
            form.part.value,
            form.valid_from.value,
            form.price.data,
            form.cost.data,
            form.supplier.data or "",
        ),
        now,
    )
    begins = shows(edition).date(row.valid_from)
    flash(f"{edition.parts[row.part].name} has its new price from {begins} on.")
    return url_for("part_prices.page", q=row.part)
