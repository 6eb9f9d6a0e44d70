"""Who may enter: the one gate that every request goes through.

A view names the roles that open it (``@allow("counter")``) or says that anybody may
come (``@public``); one that says neither is refused to everybody. An owner may enter
everywhere. What is sent to be done is checked here for the token of its form too.
"""

import hmac
import secrets
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar, cast
from urllib.parse import urlsplit

from flask import Flask, current_app, g, redirect, request, session, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session
from werkzeug.exceptions import BadRequest, Forbidden, Unauthorized

from quoting.store.models import User
from quoting.web.wiring import wiring
from quoting.workflow import people
from quoting.workflow.people import Account, Person
from quoting.workflow.quotes import Now

#: How long one stays signed in: at most, and without doing anything.
LONGEST_SESSION = timedelta(hours=12)
LONGEST_PAUSE = timedelta(hours=2)
#: How long a bench device stays signed in after it was registered.
DEVICE_LIFE = timedelta(days=730)
#: How exactly the last sign of life is noted.
_TICK = timedelta(minutes=1)

_EVERYBODY = frozenset({"everybody"})
_SAFE = ("GET", "HEAD", "OPTIONS")
#: The only pages while nobody has an account.
_FIRST = ("people.first", "people.set_up")

View = TypeVar("View", bound=Callable[..., Any])


class StaleFormError(BadRequest):
    """A form does not carry the token of this session."""


def allow(*roles: str) -> Callable[[View], View]:
    """Let in whoever holds one of *roles*, and owners."""

    def declare(view: View) -> View:
        view.opened_by = frozenset(roles)  # type: ignore[attr-defined]
        return view

    return declare


def public(view: View) -> View:
    """Let in everybody, signed in or not."""
    view.opened_by = _EVERYBODY  # type: ignore[attr-defined]
    return view


def opened_by(app: Flask, endpoint: str) -> frozenset[str]:
    """Return the roles that open an endpoint; empty: it declares none and is shut."""
    return cast(
        frozenset[str], getattr(app.view_functions[endpoint], "opened_by", frozenset())
    )


def may_enter(endpoint: str) -> bool:
    """Tell whether whoever is there may enter an endpoint of this app."""
    wanted = opened_by(current_app, endpoint)
    if wanted == _EVERYBODY:
        return True
    person = wiring().person
    return bool(wanted) and person is not None and person.may(wanted)


def gate() -> ResponseReturnValue | None:
    """Let a request in, send it to where one gets in, or refuse it.

    Raises:
        Unauthorized: nobody is signed in, and something was sent.
        Forbidden: somebody is, without the role.
        StaleFormError: something was sent without its form's token.
    """
    if request.endpoint == "static":
        return None
    with ExitStack() as stack:
        records = stack.enter_context(wiring().reading())
        g.person, g.zone = _who(records)
        set_up = g.person is not None or people.is_set_up(records)
        wiring().go_on_with(records, stack.pop_all())
    if not set_up and request.endpoint not in _FIRST:
        return redirect(url_for("people.first"), 303)
    if request.endpoint is None:
        return None
    if not may_enter(request.endpoint):
        return _refused()
    if request.method not in _SAFE:
        _check_form()
    return None


def _refused() -> ResponseReturnValue:
    person = wiring().person
    wanted = opened_by(current_app, str(request.endpoint))
    if not wanted or (person is not None and person.user_id is not None):
        raise Forbidden
    if request.method not in _SAFE:
        raise Unauthorized
    return redirect(url_for("people.sign_in", next=request.full_path.rstrip("?")), 303)


# Who is there.


def _who(records: Session) -> tuple[Person | None, str]:
    """Return who this browser belongs to just now, and the shop's time zone."""
    if (account := _signed_in(records)) is not None:
        return account.person, account.zone
    token = request.cookies.get(device_cookie())
    person = people.device(records, token) if token else None
    return person, people.zone(records)


def _signed_in(records: Session) -> Account | None:
    if "person" not in session:
        return None
    at = wiring().clock()
    since = datetime.fromtimestamp(session["since"], UTC)
    seen = datetime.fromtimestamp(session["seen"], UTC)
    if at - since >= LONGEST_SESSION or at - seen >= LONGEST_PAUSE:
        return None
    account = people.account(records, session["person"])
    if account is None or not account.active:
        return None
    if not hmac.compare_digest(account.stamp, session["stamp"]):
        return None
    if at - seen >= _TICK:
        session["seen"] = int(at.timestamp())
    return account


def sign_in(row: User) -> None:
    """Begin a session for somebody who was just recognised, and drop the old one.

    The form token stays for the same person, so that what they had typed before their
    session ended can still be sent.
    """
    token = session.get("form_token") if session.get("person") == row.id else None
    session.clear()
    now = int(wiring().clock().timestamp())
    session.update(person=row.id, stamp=row.stamp, since=now, seen=now)
    session["form_token"] = token or secrets.token_urlsafe(32)


def sign_out() -> None:
    """End the session of this browser."""
    session.clear()


def device_cookie() -> str:
    """Return the name of the cookie that a bench device keeps."""
    return "__Host-bench" if wiring().settings.secure else "bench"


def sign_work(initials: str, pin: str) -> Now:
    """Return whose initials and PIN these are, and when: who signs a piece of work.

    Raises:
        WaitError: too many failed attempts with these initials or from here.
        UnknownSignatureError: they do not belong together.
    """
    guessed = {"pin": initials, "address": address()}
    with wiring().transaction() as records:
        people.knock(records, guessed, at=wiring().clock())
    with wiring().reading() as records:
        row = people.recognise_signature(records, initials, pin)
    with wiring().transaction() as records:
        people.welcome(records, guessed)
    return replace(wiring().now(), who=row.name)


def address() -> str:
    """Return where a request comes from."""
    return request.remote_addr or ""


# Forms.


def form_token() -> str:
    """Return what every form of this session carries, in the field ``form_token``."""
    if "form_token" not in session:
        session["form_token"] = secrets.token_urlsafe(32)
    return cast(str, session["form_token"])


def once_token() -> str:
    """Return a new value for the field ``once`` of a form that makes something.

    ``Wiring.once`` knows by it a form that is sent twice.
    """
    return secrets.token_urlsafe(24)


def _check_form() -> None:
    kept = session.get("form_token", "")
    sent = request.headers.get("X-Form-Token") or request.form.get("form_token", "")
    if not kept or not hmac.compare_digest(kept.encode(), sent.encode()):
        raise StaleFormError


def here(target: str) -> str:
    r"""Return *target* if it is a page of this app, else the first page.

    >>> here("/phone?said=v6"), here("//example.org/"), here("/\\example.org")
    ('/phone?said=v6', '/', '/')
    """
    parts = urlsplit(target)
    outside = parts.scheme or parts.netloc or not target.startswith("/")
    sly = target.startswith(("//", "/\\")) or any(
        ord(char) < ord(" ") for char in target
    )
    return "/" if outside or sly else target
