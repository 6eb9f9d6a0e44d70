"""Editions of the rate tables: which one holds when, and what a draft would change."""

from typing import TYPE_CHECKING

from flask import Blueprint, flash, render_template, url_for
from flask.typing import ResponseReturnValue

from quoting.store import audit
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Day, Form, Sent, shows
from quoting.web.wiring import wiring
from quoting.workflow import drafts, rates

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.orm import Session

    from quoting.store.models import RateEdition
    from quoting.workflow.quotes import Now

bp = Blueprint("editions", __name__, url_prefix="/rates/editions")

#: So many of the quotes that a draft moves stand on its page, furthest first.
_MOST = 20
_THROW_AWAY = "throw-away"
_NO_FORM = Sent()


class InForceForm(Form):
    """From when on a draft holds."""

    name = "in-force"

    day = Day("From", needed=True, hint="Quotes told before keep their prices.")


@bp.get("")
@allow("owner")
def index() -> ResponseReturnValue:
    """Show every edition, and what each is on this day."""
    today = wiring().today()
    with wiring().reading() as session:
        current = rates.in_force(session, today)
        return render_template(
            "web/rates/editions.html",
            rows=[
                (row, _state(row, current.id, today)) for row in drafts.every(session)
            ],
            shows=shows(current.edition),
        )


def _state(row: "RateEdition", current: int, today: "date") -> str:
    if row.draft:
        return "draft"
    if row.id == current:
        return "in force"
    return "to come" if row.valid_from > today else "before"


@bp.get("/<int:edition_id>")
@allow("owner")
def page(edition_id: int) -> ResponseReturnValue:
    """Show what an edition changed in the one that it was made of."""
    return _page(edition_id)


def _page(edition_id: int, sent: Sent = _NO_FORM) -> str:
    today = wiring().today()
    with wiring().reading() as session:
        row = drafts.made(session, edition_id)
        writes = shows(rates.in_force(session, today).edition)
        form = InForceForm(writes.formats, sent, day=today)
        if form.name == sent.form:
            form.validate()
        return render_template(
            "web/rates/edition.html",
            row=row,
            effect=drafts.effect(session, row, today),
            change=drafts.change,
            entries=audit.story(session, "edition", row.id),
            most=_MOST,
            form=form,
            sent=sent,
            throw_away=_THROW_AWAY,
            shows=writes,
        )


@bp.post("/<int:edition_id>")
@allow("owner")
def put_in_force(edition_id: int) -> ResponseReturnValue:
    """Let a draft hold from a day on."""
    return forms.send(
        InForceForm.name,
        lambda session: _put_in_force(session, edition_id, wiring().now()),
        lambda sent: _page(edition_id, sent),
    )


def _put_in_force(session: "Session", edition_id: int, now: "Now") -> str:
    row = drafts.made(session, edition_id)
    writes = shows(rates.in_force(session, now.on).edition)
    form = InForceForm(writes.formats, Sent(InForceForm.name))
    form.check()
    drafts.put_in_force(session, row, form.day.value, now)
    flash(f"{row.name} holds from {writes.date(row.valid_from)} on.")
    return url_for("editions.index")


@bp.post("/<int:edition_id>/throw-away")
@allow("owner")
def throw_away(edition_id: int) -> ResponseReturnValue:
    """Take a draft out of the records."""
    return forms.send(
        _THROW_AWAY,
        lambda session: _throw_away(session, edition_id, wiring().now()),
        lambda sent: _page(edition_id, sent),
    )


def _throw_away(session: "Session", edition_id: int, now: "Now") -> str:
    row = drafts.made(session, edition_id)
    drafts.throw_away(session, row, now)
    flash(f"{row.name} is thrown away. Nothing was priced by it.")
    return url_for("editions.index")
