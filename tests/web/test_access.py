import re
from urllib.parse import urlsplit

import pytest
from browsing import NAMES, Browser
from flask import Blueprint

from quoting.web.access import allow, here, opened_by, public
from quoting.workflow.people import ACCOUNT, OWNER, ROLES, Person

#: Whatever anybody may open; every other address is for somebody.
FOR_ALL = {
    "static", "people.first", "people.set_up", "people.sign_in", "people.recognise",
}  # fmt: skip
#: Who may go where, by how the address begins.
DOORS = {
    "/people": {"owner"},
    "/me": {"owner", "counter", "bench", "accounts", "reader"},
    "/sign-out": {"owner", "counter", "bench", "accounts", "reader"},
    "/phone": {"owner", "counter"},
}


def routes(app):
    """Return endpoint, a method and an address for every route."""
    found = []
    adapter = app.url_map.bind("localhost")
    for rule in app.url_map.iter_rules():
        values = {
            name: "screen.css" if name == "name" else 1 for name in rule.arguments
        }
        url = urlsplit(adapter.build(rule.endpoint, values)).path
        found += [
            (rule.endpoint, method, url)
            for method in rule.methods - {"HEAD", "OPTIONS"}
        ]
    return found


def let_in(answer):
    """Tell whether the gate let a request through: to the view, or to the form check.

    Something sent without a form's token gets as far as 400.
    """
    to_sign_in = answer.status_code == 303 and "/sign-in" in answer.location
    return answer.status_code not in (401, 403) and not to_sign_in


def test_every_route_says_whom_it_is_for(app):
    undeclared = [name for name in app.view_functions if not opened_by(app, name)]

    assert undeclared == []


def test_only_the_doors_that_must_be_are_open_to_all(app):
    everybody = {"everybody"}

    assert {e for e in app.view_functions if opened_by(app, e) == everybody} == FOR_ALL


def test_nobody_gets_in_without_signing_in(app):
    client = app.test_client()
    for endpoint, method, url in routes(app):
        answer = client.open(url, method=method, buffered=True)
        if endpoint in FOR_ALL:
            assert "sign-in?" not in answer.headers.get("Location", ""), url
            assert answer.status_code not in (401, 403), url
        elif method == "GET":
            assert answer.status_code == 303, url
            assert answer.location.startswith("/sign-in?next="), url
        else:
            assert answer.status_code == 401, url


@pytest.mark.parametrize("role", NAMES)
def test_a_role_opens_its_doors_and_no_other(app, at, role):
    browser = at(role)
    for endpoint, method, url in routes(app):
        if endpoint in FOR_ALL:
            continue
        declared = opened_by(app, endpoint)
        expected = role == OWNER or role in declared or ACCOUNT in declared
        assert (
            let_in(browser.client.open(url, method=method, buffered=True)) == expected
        ), url
        for start, roles in DOORS.items():
            if url.startswith(start):
                assert expected == (role in roles), url


def test_a_bench_device_may_do_what_the_bench_does_and_has_no_account(app, at):
    tablet = at("owner")
    tablet.send("/people/devices", "/people", device="Tablet at the vice")
    for endpoint, method, url in routes(app):
        if endpoint in FOR_ALL or endpoint == "home":
            continue
        expected = "bench" in opened_by(app, endpoint)
        assert (
            let_in(tablet.client.open(url, method=method, buffered=True)) == expected
        ), url


def test_a_view_that_says_nothing_is_shut_even_to_the_owner(app, at):
    app.add_url_rule("/forgotten", "forgotten", lambda: "in")

    assert at("owner").get("/forgotten").status_code == 403


def test_a_blueprint_is_entered_by_the_roles_that_its_views_name(app, at):
    place = Blueprint("place", __name__, url_prefix="/place")
    place.get("/a")(allow("accounts")(lambda: "a"))
    place.get("/b", endpoint="b")(public(lambda: "b"))
    app.register_blueprint(place)

    accounts, counter = at("accounts"), at("counter")

    assert accounts.get("/place/a").text == "a"
    assert counter.get("/place/a").status_code == 403
    assert Browser(app).get("/place/b").text == "b"


def test_who_is_refused_reads_who_may(at):
    answer = at("bench").get("/people")

    assert answer.status_code == 403
    assert "Bea Bench, you may not go there. Who may: Olive Owner." in answer.text


def test_the_navigation_holds_only_places_that_there_are_and_one_may_enter(at):
    def places(browser):
        nav = browser.get("/me").text.partition("<nav")[2].partition("</nav>")[0]
        return re.findall(r'<a href="([^"]+)"', nav)

    assert places(at("owner"))[-1] == "/people"
    assert "/people" not in places(at("counter"))
    for browser in (at("owner"), at("accounts")):
        assert all(browser.get(url).status_code == 200 for url in places(browser))


def test_an_owner_holds_every_role():
    owner = Person(1, "Olive", frozenset({OWNER}))

    assert all(owner.may([role]) for role in ROLES)


@pytest.mark.parametrize(
    "target",
    [
        "//example.org", "/\\example.org", "https://example.org/", "\\\\example.org",
        "/\t/example.org", "javascript:alert(1)", "example.org", "", "/\n/example.org",
    ],
)  # fmt: skip
def test_after_signing_in_one_stays_in_this_app(target):
    assert here(target) == "/"


def test_after_signing_in_one_is_where_one_wanted_to_be(browser):
    wanted = browser.get("/people?x=1").location
    answer = browser.send(
        "/sign-in", wanted, sign_in="owner", password="three short words",
        next="/people?x=1",
    )  # fmt: skip

    assert wanted == "/sign-in?next=/people?x%3D1"
    assert answer.location == "/people?x=1"
