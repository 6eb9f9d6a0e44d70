"""The app: made of settings and a clock, and nothing that a module keeps."""

import hashlib
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from urllib.parse import urlsplit

from flask import (
    Flask,
    Response,
    current_app,
    redirect,
    request,
    send_from_directory,
    url_for,
)
from flask.typing import ResponseReturnValue
from jinja2 import StrictUndefined
from werkzeug.routing import IntegerConverter, Map

from quoting.domain.errors import RuleError
from quoting.i18n import Formats
from quoting.resources import folder
from quoting.settings import Settings, from_environment
from quoting.store.database import Database
from quoting.web import (
    accounts,
    bench,
    counter,
    customers,
    editions,
    errors,
    learning,
    part_prices,
    people,
    phone,
    quotes,
)
from quoting.web.access import (
    LONGEST_SESSION,
    allow,
    form_token,
    gate,
    may_enter,
    once_token,
    public,
)
from quoting.web.forms import MOST_KEY
from quoting.web.wiring import Clock, Wiring, clock, wire, wiring
from quoting.workflow.people import ACCOUNT, ROLES, SHORTEST_PASSWORD, setup
from quoting.workflow.rates import NoEditionError

#: Bytes that may be sent at once, and bytes of it that are text.
MOST_SENT = 20 * 1024 * 1024
MOST_TYPED = 1024 * 1024

#: What the navigation shows, by how its address begins, if there is a page there.
PLACES = ("phone", "counter", "bench", "accounts", "rates", "people")

#: Source: W3C Content Security Policy Level 3; nothing but the app's own files runs.
_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
#: Seconds of two years and of one.
_HSTS = "max-age=63072000"
_FOR_GOOD = "public, max-age=31536000, immutable"


def create_app(settings: Settings | None = None, *, clock: Clock = clock) -> Flask:
    """Return the app over the records that *settings* name; they must be there.

    Args:
        settings: those of the environment if none are given.
        clock: returns an aware instant.
    """
    settings = settings or from_environment()
    app = Flask("quoting", static_folder=None, template_folder=folder("templates"))
    database = Database(settings.database)
    wire(app, Wiring(database, settings, clock))
    app.config.update(
        SECRET_KEY=settings.secret or _kept_secret(database),
        SESSION_COOKIE_NAME="__Host-session" if settings.secure else "session",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=settings.secure,
        PERMANENT_SESSION_LIFETIME=LONGEST_SESSION,
        MAX_CONTENT_LENGTH=MOST_SENT,
        MAX_FORM_MEMORY_SIZE=MOST_TYPED,
        TRUSTED_HOSTS=_hosts(settings.address),
    )
    app.jinja_options = {"undefined": StrictUndefined}
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.globals.update(
        form_token=form_token,
        once_token=once_token,
        asset=_asset,
        places=_places,
        shop_name=_shop_name,
        may_enter=may_enter,
        day=_day,
        role_names=ROLES,
        shortest_password=SHORTEST_PASSWORD,
    )
    app.context_processor(lambda: {"person": wiring().person})
    app.before_request(gate)
    app.after_request(_dress)
    app.teardown_request(lambda _raised: wiring().let_go())
    errors.handle(app)
    app.url_map.converters["int"] = _Key
    app.add_url_rule("/", "home", _home)
    app.add_url_rule("/static/<path:name>", "static", _static)
    for module in (
        phone,
        counter,
        bench,
        quotes,
        customers,
        accounts,
        part_prices,
        editions,
        learning,
        people,
    ):
        app.register_blueprint(module.bp)
    return app


class _Key(IntegerConverter):
    """A key in an address; under one that no database keeps there is nothing."""

    def __init__(self, url_map: Map) -> None:
        super().__init__(url_map, max=MOST_KEY)


def _kept_secret(database: Database) -> str:
    with database.transaction() as session:
        return setup(session).secret


def _hosts(address: str) -> list[str] | None:
    """Return the names that the app answers to; None: to every one."""
    host = urlsplit(address).hostname
    return [host, "localhost", "127.0.0.1"] if host else None


@allow(*ROLES, ACCOUNT)
def _home() -> ResponseReturnValue:
    """Go to the first place of whoever is there."""
    first = next((url for _name, url, _here in _places()), url_for("people.me"))
    return redirect(first, 303)


@public
def _static(name: str) -> Response:
    """Return a file of the app; for good if it is asked for by its content."""
    response = send_from_directory(_assets(), name)
    kept = request.args.get("v") == _hash(name, _mtime(name))
    response.headers["Cache-Control"] = _FOR_GOOD if kept else "no-cache"
    return response


def _assets() -> Path:
    return folder("templates") / "static"


def _asset(name: str) -> str:
    """Return the address of a file of the app, which changes with its content."""
    return url_for("static", name=name, v=_hash(name, _mtime(name)))


def _mtime(name: str) -> int:
    return (_assets() / name).stat().st_mtime_ns


@lru_cache(maxsize=64)
def _hash(name: str, _changed: int) -> str:
    return hashlib.sha256((_assets() / name).read_bytes()).hexdigest()[:16]


def _places() -> list[tuple[str, str, bool]]:
    """Return the places that whoever is there may enter.

    Returns:
        A place's name, its address, and whether one is in it.
    """
    doors = {
        rule.rule: rule.endpoint
        for rule in current_app.url_map.iter_rules()
        if "GET" in (rule.methods or ())
    }
    found = []
    for place in PLACES:
        url = f"/{place}"
        if url in doors and may_enter(doors[url]):
            inside = f"{request.path}/".startswith(f"{url}/")
            found.append((place.capitalize(), url, inside))
    return found


def _shop_name() -> str:
    """Return what the shop is called, in the edition in force."""
    try:
        return wiring().edition().edition.shop.name
    except RuleError:  # none yet, or the records do not answer and a page says so
        return "The shop"


def _day(at: datetime) -> str:
    """Return the shop's calendar day of an instant, as its place writes days."""
    day = wiring().day(at)
    try:
        edition = wiring().edition().edition
    except NoEditionError:
        return day.isoformat()
    return Formats(edition.shop.locale, edition.currency).date(day)


def _dress(response: Response) -> Response:
    """Give a response the headers that every one has."""
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    if wiring().settings.secure:
        response.headers.setdefault("Strict-Transport-Security", _HSTS)
    return response
