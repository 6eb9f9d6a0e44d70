"""What is said when something is refused or goes wrong, once and in plain words."""

from collections.abc import Iterable

from flask import Flask, current_app, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import HTTPException, SecurityError

from quoting.domain.errors import ProblemsError, RuleError, translatable
from quoting.store.database import (
    ChangedMeanwhileError,
    NotReadError,
    NotWrittenError,
    UnsureError,
)
from quoting.web.access import StaleFormError, opened_by
from quoting.web.wiring import wiring
from quoting.workflow import people
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.people import WaitError


class TypedWrongError(RuleError):
    """A form holds what cannot be taken; every problem of it is named at once.

    Attributes:
        lines: one for each problem.
    """

    message = translatable("{listing}")

    def __init__(self, lines: Iterable[str]) -> None:
        self.lines = tuple(lines)
        super().__init__(listing="\n".join(self.lines))


#: HTTP status by kind of refusal (RFC 9110, RFC 6585); 422 for every other.
_STATUS: tuple[tuple[type[RuleError], int], ...] = (
    (NoSuchRecordError, 404),
    (ChangedMeanwhileError, 409),
    (WaitError, 429),
    (NotWrittenError, 503),
    (NotReadError, 503),
    (UnsureError, 503),
)

#: Heading and what to do about it.
_SAID = {
    400: ("This could not be read", "Go back, load the page anew and send it again."),
    403: ("This door is not yours", ""),
    404: ("There is nothing here", "The address may have been typed wrong."),
    405: ("This page takes no such request", "Go back and use its buttons."),
    413: (
        "That was too much at once",
        "Nothing was kept. Send a smaller photo or fewer of them.",
    ),
    500: (
        "The program made a mistake",
        "It was not yours. What happened is in the log; what you were doing was not "
        "saved. Try it once more, and tell whoever looks after the program.",
    ),
}
_STALE = (
    "This page is from before",
    "It was opened before you signed in or out, so nothing was done. Go back, load the "
    "page anew and send it again.",
)
#: What is never handed back in a page.
_SECRET = ("password", "password_again", "old_password", "pin", "form_token")


def status_of(error: RuleError) -> int:
    """Return the HTTP status that goes with a refusal."""
    return next((code for kind, code in _STATUS if isinstance(error, kind)), 422)


def lines_of(error: RuleError) -> list[str]:
    """Return what a refusal says, one line a problem."""
    if isinstance(error, TypedWrongError):
        return [*error.lines]
    if isinstance(error, ProblemsError):
        return [str(problem) for problem in error.problems]
    return [str(error)]


def refused(template: str, error: RuleError, **values: object) -> ResponseReturnValue:
    """Show a form again with what was refused on top of it.

    Args:
        template: extends ``web/base.html``, which says what was refused.
        error: the refusal.
        values: what the template needs, with what was typed among it.
    """
    page = render_template(template, refusal=lines_of(error), **values)
    return page, status_of(error)


def handle(app: Flask) -> None:
    """Say every error that leaves a view."""
    app.register_error_handler(RuleError, _of_rule)
    app.register_error_handler(HTTPException, _of_http)
    app.register_error_handler(SecurityError, _of_wrong_host)


def _of_rule(error: RuleError) -> ResponseReturnValue:
    code = status_of(error)
    return _page(code, "This was refused", lines_of(error)), code


def _of_http(error: HTTPException) -> ResponseReturnValue:
    code = error.code or 500
    if code in range(300, 400):
        return error.get_response()
    if code == 401:
        return _signed_out()
    heading, advice = _SAID.get(code, _SAID[400 if code < 500 else 500])
    if isinstance(error, StaleFormError):
        heading, advice = _STALE
    if code == 403:
        advice = _who_may()
    return _page(code, heading, [advice]), code


def _of_wrong_host(_error: SecurityError) -> ResponseReturnValue:
    """Answer without a page: under a wrong name there are no addresses to link to."""
    text = f"The app answers at {wiring().settings.address} only.\n"
    return text, 400, {"Content-Type": "text/plain; charset=utf-8"}


def _signed_out() -> ResponseReturnValue:
    """Offer to send again what somebody sent after their session had ended."""
    again = [
        (name, value)
        for name, values in request.form.lists()
        for value in values
        if name not in _SECRET or name == "form_token"
    ]
    page = render_template(
        "web/error.html",
        heading="You are signed out",
        said=["Nothing was saved yet, and nothing that you typed is lost."],
        again=again,
        action=request.full_path.rstrip("?"),
    )
    return page, 401


def _who_may() -> str:
    roles = opened_by(current_app, str(request.endpoint))
    if not roles:
        return "Nobody may go there."
    with wiring().reading() as records:
        names = people.holders(records, roles - {people.ACCOUNT})
    person = wiring().person
    who = f"{person.name}, you" if person else "You"
    return f"{who} may not go there. Who may: {', '.join(names)}."


def _page(code: int, heading: str, said: list[str]) -> str:
    return render_template("web/error.html", heading=heading, said=said, code=code)
