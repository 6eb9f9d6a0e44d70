"""Who works here: setting up, signing in and out, the people page, one's own page."""

from collections.abc import Callable
from datetime import datetime
from typing import TypedDict
from zoneinfo import available_timezones

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from quoting.domain.errors import RuleError
from quoting.resources import folder
from quoting.store.models import User
from quoting.web import access
from quoting.web.access import DEVICE_LIFE, address, allow, device_cookie, here, public
from quoting.web.errors import refused
from quoting.web.wiring import wiring
from quoting.workflow import people, rates
from quoting.workflow.people import ACCOUNT, OWNER, PasswordsDifferError

bp = Blueprint("people", __name__)


# Setting up, signing in and out.


@public
@bp.get("/first")
def first() -> ResponseReturnValue:
    """Ask for the first owner and the shop's time zone, as long as nobody is here."""
    with wiring().reading() as session:
        if people.is_set_up(session):
            return redirect(url_for("people.sign_in"), 303)
    return render_template("web/people/first.html", zones=_zones())


@public
@bp.post("/first")
def set_up() -> ResponseReturnValue:
    """Make the first owner and sign them in."""
    form = request.form
    try:
        password = _twice()
        with wiring().transaction() as session:
            row = people.open_shop(
                session,
                form.get("sign_in", ""),
                form.get("name", ""),
                password,
                form.get("zone", ""),
                at=wiring().clock(),
            )
            if "demonstration" in form:
                tables = folder("rates_demo")
                rates.bring_in(session, tables, at=wiring().clock(), who=row.name)
    except RuleError as error:
        return refused("web/people/first.html", error, zones=_zones())
    access.sign_in(row)
    flash("The shop is open. Let in whoever works with you.")
    return redirect(url_for("people.index"), 303)


def _zones() -> dict[str, list[str]]:
    """Return the names of time zones by continent."""
    by_continent: dict[str, list[str]] = {}
    for zone in sorted(available_timezones()):
        continent, slash, _ = zone.partition("/")
        if slash and continent not in ("Etc", "SystemV", "posix", "right"):
            by_continent.setdefault(continent, []).append(zone)
    return {**by_continent, "No place": ["UTC"]}


@public
@bp.get("/sign-in")
def sign_in() -> ResponseReturnValue:
    """Ask who is there."""
    return render_template("web/people/sign_in.html", target=request.args.get("next"))


@public
@bp.post("/sign-in")
def recognise() -> ResponseReturnValue:
    """Sign somebody in, and take them where they wanted to go."""
    typed, password = request.form.get("sign_in", ""), request.form.get("password", "")
    target = request.form.get("next", "")
    guessed = {"name": typed, "address": address()}
    try:
        with wiring().transaction() as session:
            people.knock(session, guessed, at=wiring().clock())
        with wiring().reading() as session:
            row = people.recognise(session, typed, password)
        with wiring().transaction() as session:
            people.welcome(session, guessed)
            people.renew(session, row.id, password)
    except RuleError as error:
        return refused("web/people/sign_in.html", error, target=target)
    access.sign_in(row)
    return redirect(here(target), 303)


@allow(ACCOUNT)
@bp.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    """End this session."""
    access.sign_out()
    return redirect(url_for("people.sign_in"), 303)


# One's own page.


@allow(ACCOUNT)
@bp.get("/me")
def me() -> ResponseReturnValue:
    """Show one's own password, PIN and keys."""
    return render_template("web/people/me.html")


@allow(ACCOUNT)
@bp.post("/me/password")
def my_password() -> ResponseReturnValue:
    """Change one's own password; every other session of one's own ends."""
    typed = request.form.get("old_password", "")
    try:
        password = _twice()
        with wiring().reading() as session:
            sign_in = _me(session).sign_in
        guessed = {"name": sign_in, "address": address()}
        with wiring().transaction() as session:
            people.knock(session, guessed, at=wiring().clock())
        with wiring().reading() as session:
            people.recognise(session, sign_in, typed)
        with wiring().transaction() as session:
            people.welcome(session, guessed)
            row = _me(session)
            people.set_password(session, row, password, **_by())
    except RuleError as error:
        return refused("web/people/me.html", error)
    access.sign_in(row)
    flash("Your new password counts from now on; you were signed out elsewhere.")
    return redirect(url_for("people.me"), 303)


@allow(ACCOUNT)
@bp.post("/me/pin")
def my_pin() -> ResponseReturnValue:
    """Set one's own PIN."""
    try:
        with wiring().transaction() as session:
            people.set_pin(
                session, _me(session), request.form.get("pin", "").strip(), **_by()
            )
    except RuleError as error:
        return refused("web/people/me.html", error)
    flash("Your PIN is kept.")
    return redirect(url_for("people.me"), 303)


@allow(ACCOUNT)
@bp.post("/me/keys")
def my_keys() -> ResponseReturnValue:
    """Switch single keys on or off (WCAG 2.2, 2.1.4)."""
    with wiring().transaction() as session:
        _me(session).shortcuts = "shortcuts" in request.form
    flash("That is kept.")
    return redirect(url_for("people.me"), 303)


# Everybody, for the owner.


@allow(OWNER)
@bp.get("/people")
def index() -> ResponseReturnValue:
    """Show who works here and which devices stay signed in."""
    return _index()


def _index(error: RuleError | None = None) -> ResponseReturnValue:
    with wiring().reading() as session:
        values = {
            "people": people.everybody(session),
            "devices": people.devices(session),
            "zones": _zones(),
            "zone": people.zone(session),
        }
    if error is not None:
        return refused("web/people/index.html", error, **values)
    return render_template("web/people/index.html", **values)


@allow(OWNER)
@bp.post("/people")
def add() -> ResponseReturnValue:
    """Open an account."""
    form = request.form
    try:
        password = _twice()
        with wiring().transaction() as session:
            row = people.add(
                session,
                form.get("sign_in", ""),
                form.get("name", ""),
                form.getlist("role"),
                password,
                initials=form.get("initials", ""),
                **_by(),
            )
    except RuleError as error:
        return _index(error)
    flash(f"{row.name} can sign in as {row.sign_in}.")
    return redirect(url_for("people.index"), 303)


@allow(OWNER)
@bp.get("/people/<int:user_id>")
def show(user_id: int) -> ResponseReturnValue:
    """Show one account."""
    with wiring().reading() as session:
        return render_template("web/people/person.html", row=_row(session, user_id))


@allow(OWNER)
@bp.post("/people/<int:user_id>")
def change(user_id: int) -> ResponseReturnValue:
    """Change name, roles and initials."""
    form = request.form

    def do(session: Session, row: User) -> str:
        people.change(
            session,
            row,
            form.get("name", ""),
            form.getlist("role"),
            form.get("initials", ""),
            **_by(),
        )
        return f"{row.name}: kept."

    return _with_account(user_id, do)


@allow(OWNER)
@bp.post("/people/<int:user_id>/password")
def set_password(user_id: int) -> ResponseReturnValue:
    """Set somebody's password, and end their sessions."""

    def do(session: Session, row: User) -> str:
        people.set_password(session, row, _twice(), **_by())
        return f"{row.name} has a new password and was signed out everywhere."

    return _with_account(user_id, do)


@allow(OWNER)
@bp.post("/people/<int:user_id>/pin")
def set_pin(user_id: int) -> ResponseReturnValue:
    """Set somebody's PIN."""
    pin = request.form.get("pin", "").strip()

    def do(session: Session, row: User) -> str:
        people.set_pin(session, row, pin, **_by())
        return f"{row.name}'s PIN is kept." if pin else f"{row.name} has no PIN now."

    return _with_account(user_id, do)


@allow(OWNER)
@bp.post("/people/<int:user_id>/active")
def set_active(user_id: int) -> ResponseReturnValue:
    """Close an account, or open it again."""
    active = request.form.get("active") == "1"

    def do(session: Session, row: User) -> str:
        people.set_active(session, row, active=active, **_by())
        said = "may come in again" if active else "was signed out and stays out"
        return f"{row.name} {said}."

    return _with_account(user_id, do)


@allow(OWNER)
@bp.post("/people/zone")
def set_zone() -> ResponseReturnValue:
    """Settle the time zone of the shop's calendar."""
    try:
        with wiring().transaction() as session:
            people.set_zone(session, request.form.get("zone", ""), **_by())
    except RuleError as error:
        return _index(error)
    flash("The shop's calendar follows that zone from now on.")
    return redirect(url_for("people.index"), 303)


@allow(OWNER)
@bp.post("/people/devices")
def register_device() -> ResponseReturnValue:
    """Make this browser a bench device, and sign the owner out of it."""
    name = request.form.get("device", "")
    try:
        with wiring().transaction() as session:
            token = people.register_device(session, name, **_by())
    except RuleError as error:
        return _index(error)
    access.sign_out()
    flash(f"{name.strip()} stays signed in at the bench. You are signed out here.")
    response = redirect(url_for("home"), 303)
    response.set_cookie(
        device_cookie(),
        token,
        max_age=DEVICE_LIFE,
        httponly=True,
        samesite="Lax",
        secure=wiring().settings.secure,
    )
    return response


@allow(OWNER)
@bp.post("/people/devices/<int:device_id>/end")
def end_device(device_id: int) -> ResponseReturnValue:
    """Sign a bench device out for good."""
    with wiring().transaction() as session:
        people.end_device(session, device_id, **_by())
    flash("That device is signed out.")
    return redirect(url_for("people.index"), 303)


def _with_account(
    user_id: int, do: Callable[[Session, User], str]
) -> ResponseReturnValue:
    """Do something to an account and say so, or show its page with the refusal."""
    try:
        with wiring().transaction() as session:
            row = _row(session, user_id)
            said = do(session, row)
    except RuleError as error:
        with wiring().reading() as session:
            return refused("web/people/person.html", error, row=_row(session, user_id))
    person = wiring().person
    if person is not None and person.user_id == row.id:
        access.sign_in(row)
    flash(said)
    return redirect(url_for("people.show", user_id=user_id), 303)


def _row(session: Session, user_id: int) -> User:
    return people.user(session, user_id) or abort(404)


def _me(session: Session) -> User:
    person = wiring().person
    return _row(session, person.user_id if person and person.user_id else 0)


class _By(TypedDict):
    at: datetime
    who: str


def _by() -> _By:
    """Return who does something, and when, as the workflow takes it."""
    return _By(at=wiring().clock(), who=wiring().who)


def _twice() -> str:
    """Return the password that was typed twice."""
    password = request.form.get("password", "")
    if password != request.form.get("password_again", ""):
        raise PasswordsDifferError
    return password
