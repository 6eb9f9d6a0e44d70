import re
from dataclasses import replace

import pytest
from browsing import PASSWORD, Browser, records
from flask import Blueprint, redirect, render_template_string, request

from quoting.domain.errors import Problem, ProblemsError, RuleError
from quoting.store.database import ChangedMeanwhileError, NotWrittenError
from quoting.store.models import Once
from quoting.web.access import allow, public
from quoting.web.wiring import wiring
from quoting.workflow import once, people
from quoting.workflow.customers import NoSuchRecordError

PAGES = ["/sign-in", "/me", "/people", "/people/1", "/nowhere", "/static/screen.css"]


# Headers and cookies.


@pytest.mark.parametrize("page", PAGES)
def test_every_answer_lets_nothing_but_the_app_s_own_files_run(at, page):
    headers = at("owner").client.get(page, buffered=True).headers

    assert headers["Content-Security-Policy"] == (
        "default-src 'none'; script-src 'self'; style-src 'self'; "
        "img-src 'self' data:; font-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert "geolocation=()" in headers["Permissions-Policy"]
    assert "Strict-Transport-Security" not in headers


@pytest.mark.parametrize(
    "page", ["/sign-in", "/me", "/people", "/people/3", "/nowhere"]
)
def test_no_page_needs_a_script_or_style_of_its_own(at, page):
    text = at("owner").get(page).text

    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))


@pytest.mark.parametrize("page", ["/sign-in", "/me", "/nowhere"])
def test_pages_are_not_kept_by_the_browser(at, page):
    assert at("owner").get(page).headers["Cache-Control"] == "no-store"


def test_files_are_kept_for_good_by_their_content_and_asked_again_without_it(browser):
    address = re.search(r"/static/screen\.css\?v=\w+", browser.get("/sign-in").text)[0]
    for_good = browser.client.get(address, buffered=True)
    again = browser.client.get("/static/screen.css?v=old", buffered=True)

    assert for_good.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert again.headers["Cache-Control"] == "no-cache"
    assert for_good.data == again.data


@pytest.mark.parametrize(
    "name", ["../web/base.html", "%2e%2e/web/base.html", "none.css"]
)
def test_only_files_of_the_static_folder_are_given_out(browser, name):
    assert browser.get(f"/static/{name}").status_code == 404


def cookies(answer):
    return answer.headers.getlist("Set-Cookie")


def test_cookies_are_out_of_reach_of_scripts_and_of_other_sites(browser):
    [cookie] = cookies(browser.sign_in("owner"))

    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Expires" not in cookie


def test_over_https_cookies_and_browsers_stay_on_https(make_app, settings):
    browser = Browser(make_app(replace(settings, secure=True)))
    page = browser.client.get("/sign-in", base_url="https://localhost")

    assert all("Secure" in cookie for cookie in cookies(page))
    assert all(cookie.startswith("__Host-") for cookie in cookies(page))
    assert page.headers["Strict-Transport-Security"] == "max-age=63072000"


def test_a_session_signed_with_another_secret_is_nobody_s(app, make_app, settings):
    browser = Browser(make_app(replace(settings, secret="another")))
    browser.sign_in("owner")
    cookie = browser.client.get_cookie("session")
    stranger = Browser(app)
    stranger.client.set_cookie("session", cookie.value)

    assert stranger.get("/people").status_code == 303


def test_without_a_secret_of_its_own_the_app_keeps_one_with_the_records(
    make_app, settings
):
    first = make_app(replace(settings, secret=""))
    second = make_app(replace(settings, secret=""))
    with records(first).transaction() as session:
        kept = people.setup(session).secret

    assert first.secret_key == second.secret_key == kept
    assert len(kept) == 64


def test_an_app_with_an_address_answers_to_no_other_name(make_app, settings):
    app = make_app(replace(settings, address="https://heads.example"))
    client = app.test_client()

    for host, code in (
        ("heads.example", 303),
        ("localhost", 303),
        ("evil.example", 400),
    ):
        assert client.get("/", base_url=f"http://{host}").status_code == code
    answer = client.get("/", base_url="http://evil.example")
    assert answer.text == "The app answers at https://heads.example only.\n"


# Forms.


@pytest.mark.parametrize("token", [None, "", "wrong", "\u00e9"])
def test_what_is_sent_without_the_token_of_its_session_is_not_done(at, database, token):
    browser = at("owner")
    data = {"name": "Eve", "sign_in": "eve", "role": "owner", "password": PASSWORD,
            "password_again": PASSWORD}  # fmt: skip
    if token is not None:
        data["form_token"] = token
    answer = browser.client.post("/people", data=data)

    assert answer.status_code == 400
    assert "nothing was done" in answer.text
    with database.reading() as session:
        assert "eve" not in [row.sign_in for row in people.everybody(session)]


def test_the_token_of_another_session_does_not_do(at):
    browser, other = at("owner"), at("owner")
    data = {"form_token": other.token("/people")}

    assert browser.client.post("/sign-out", data=data).status_code == 400


def test_signing_in_needs_the_token_of_its_page(browser):
    data = {"sign_in": "owner", "password": PASSWORD}

    assert browser.client.post("/sign-in", data=data).status_code == 400


def test_setting_up_needs_the_token_of_its_page(places, make_app, settings):
    app = make_app(replace(settings, database=places.new("sqlite")))
    answer = app.test_client().post("/first", data={"name": "Eve"})

    assert answer.status_code == 400
    with records(app).reading() as session:
        assert not people.is_set_up(session)


def test_a_script_sends_the_token_as_a_header(at):
    browser = at("owner")
    headers = {"X-Form-Token": browser.token("/me")}

    assert browser.client.post("/sign-out", headers=headers).status_code == 303


@pytest.fixture
def place(app):
    """Return a place of the app that raises, makes and takes what a test asks for."""
    bp = Blueprint("place", __name__, url_prefix="/place")
    bp.made = []

    @bp.get("/form")
    @allow("counter")
    def form():
        return render_template_string(
            '<input name="form_token" value="{{ form_token() }}">'
            '<input name="once" value="{{ once_token() }}">'
        )

    @bp.post("/make")
    @allow("counter")
    def make():
        def paper():
            bp.made.append(request.form["what"])
            return f"/place/{len(bp.made)}"

        with wiring().transaction() as session:
            address = wiring().once(session, paper)
            if "fail" in request.form:
                raise RuleError
        return redirect(address, 303)

    @bp.get("/raise")
    @public
    def fail():
        raise bp.error

    app.register_blueprint(bp)
    return bp


def tokens(browser):
    text = browser.get("/place/form").text
    return {
        name: re.search(f'name="{name}" value="([^"]+)"', text)[1]
        for name in ("form_token", "once")
    }


def test_a_form_sent_twice_makes_one_thing_and_leads_there_twice(place, at):
    browser = at("counter")
    data = {**tokens(browser), "what": "paper"}
    answers = [browser.client.post("/place/make", data=data) for _ in range(2)]

    assert place.made == ["paper"]
    assert [answer.location for answer in answers] == ["/place/1", "/place/1"]


def test_a_form_loaded_anew_makes_another_thing(place, at):
    browser = at("counter")
    for _ in range(2):
        browser.client.post("/place/make", data={**tokens(browser), "what": "paper"})

    assert len(place.made) == 2


@pytest.mark.usefixtures("place")
def test_a_form_that_was_refused_can_be_sent_again(at):
    browser = at("counter")
    data = {**tokens(browser), "what": "paper"}
    refused = browser.client.post("/place/make", data={**data, "fail": "1"})
    again = browser.client.post("/place/make", data=data)

    assert (refused.status_code, again.status_code) == (422, 303)


@pytest.mark.usefixtures("place")
def test_forms_are_forgotten_after_a_month(at, clock, database):
    browser = at("counter")
    browser.client.post("/place/make", data={**tokens(browser), "what": "a"})
    clock.on(days=31)
    browser.sign_in("counter")
    browser.client.post("/place/make", data={**tokens(browser), "what": "b"})

    with database.reading() as session:
        assert [row.result for row in session.query(Once)] == ["/place/2"]
        assert once.already(session, "") is None


# What is said when something goes wrong.


class RefusedError(RuleError):
    """An invented rule."""

    message = "A head of {size} <mm> does not fit."


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (RefusedError(size=9), 422, "A head of 9 &lt;mm&gt; does not fit."),
        (NoSuchRecordError(what="quote", key=9), 404, "There is no quote 9"),
        (NotWrittenError(reason="the disk is full"), 503, "the disk is full"),
        (ChangedMeanwhileError(), 409, "Somebody else changed this meanwhile"),
    ],
)
def test_what_the_rules_refuse_is_said_once_with_its_status(
    app, place, error, code, said
):
    place.error = error
    answer = Browser(app).get("/place/raise")

    assert answer.status_code == code
    assert answer.text.count(said) == 1


def test_every_problem_of_a_file_stands_on_its_own_line(app, place):
    place.error = ProblemsError(
        Problem("parts.csv", row, "price", "x", "a price") for row in (2, 5)
    )
    text = Browser(app).get("/place/raise").text

    assert len(re.findall(r"<p>parts\.csv, row [25], column price", text)) == 2


def test_a_mistake_of_the_program_is_logged_and_not_shown(app, place, caplog):
    place.error = ZeroDivisionError("secret inside")
    answer = Browser(app).get("/place/raise")

    assert answer.status_code == 500
    assert "The program made a mistake" in answer.text
    assert "secret inside" not in answer.text
    assert "secret inside" in caplog.text


def test_too_much_at_once_is_refused_in_plain_words(at):
    answer = at("owner").client.post(
        "/people",
        data=bytes(20 * 1024 * 1024 + 1),
        content_type="multipart/form-data; boundary=photo",
    )

    assert answer.status_code == 413
    assert "That was too much at once" in answer.text


def test_a_page_that_there_is_not_shows_the_way_back(at):
    answer = at("owner").get("/nowhere")

    assert answer.status_code == 404
    assert 'href="/people"' in answer.text


def test_every_page_has_its_language_a_skip_link_and_one_heading(at):
    """WCAG 2.2: 3.1.1 Language of Page, 2.4.1 Bypass Blocks, 2.4.6 Headings."""
    browser = at("owner")
    for page in ("/sign-in", "/me", "/people", "/people/1", "/nowhere"):
        text = browser.get(page).text
        assert '<html lang="en">' in text
        assert '<a class="skip" href="#main">' in text
        assert text.count("<h1") == 1
