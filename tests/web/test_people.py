import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta

import pytest
from argon2 import PasswordHasher
from browsing import FULL, NAMES, PASSWORD, START, Browser, records
from click.testing import CliRunner
from sqlalchemy import select

from quoting.cli import main
from quoting.resources import folder
from quoting.settings import Settings
from quoting.store.audit import broken, story
from quoting.store.database import Database
from quoting.store.models import Setup, SignInAttempt, User
from quoting.web.access import sign_work
from quoting.workflow import people, rates
from quoting.workflow.people import UnknownSignatureError, WaitError

OTHER = "four quite other words"
TWICE = {"password": OTHER, "password_again": OTHER}


def user(database, sign_in):
    with database.reading() as session:
        return session.scalars(select(User).where(User.sign_in == sign_in)).one()


# Setting up.


@pytest.fixture
def new_app(places, make_app):
    """Return the app of a shop where nobody has an account yet."""
    return make_app(Settings(database=places.new("sqlite")))


OWNER = {
    "name": "Olive Owner", "sign_in": "olive", "password": PASSWORD,
    "password_again": PASSWORD, "zone": "Australia/Perth",
}  # fmt: skip


@pytest.mark.parametrize("url", ["/", "/sign-in", "/people", "/me", "/nowhere"])
def test_every_page_leads_to_setting_up_while_nobody_is_there(new_app, url):
    answer = Browser(new_app).get(url)

    assert (answer.status_code, answer.location) == (303, "/first")


def test_setting_up_makes_an_owner_who_is_signed_in_and_settles_the_zone(new_app):
    browser = Browser(new_app)
    answer = browser.send("/first", "/first", **OWNER)

    assert answer.location == "/people"
    assert "Olive Owner" in browser.get("/people").text
    assert user(records(new_app), "olive").roles == "owner"
    with records(new_app).reading() as session:
        assert session.scalars(select(Setup)).one().zone == "Australia/Perth"


@pytest.mark.parametrize(
    ("chosen", "called"),
    [({"demonstration": "1"}, "Tallow Lane Heads"), ({}, "The shop")],
)
def test_setting_up_brings_in_the_demonstration_s_tables_only_if_asked(
    new_app, chosen, called
):
    browser = Browser(new_app)
    browser.send("/first", "/first", **OWNER, **chosen)

    assert f'<a class="shop" href="/">{called}</a>' in browser.get("/people").text


def test_setting_up_says_that_tax_and_wording_are_examples(new_app):
    text = Browser(new_app).get("/first").text

    assert "are examples" in text
    assert "licensed tax adviser and a lawyer" in text


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("password_again", OTHER, "not the same"),
        ("zone", "Mars/Olympus", "Choose the time zone"),
        ("name", " ", "Give a name"),
        ("sign_in", "", "Give a name"),
    ],
)
def test_setting_up_keeps_what_was_typed_when_it_is_refused(
    new_app, field, typed, said
):
    answer = Browser(new_app).send("/first", "/first", **{**OWNER, field: typed})

    assert answer.status_code == 422
    assert said in answer.text
    kept = OWNER["name"] if field != "name" else OWNER["sign_in"]
    assert f'value="{kept}"' in answer.text
    assert PASSWORD not in answer.text
    with records(new_app).reading() as session:
        assert not people.is_set_up(session)


def test_of_two_who_set_up_at_the_same_moment_one_becomes_the_owner(new_app):
    browsers = [Browser(new_app) for _ in range(4)]
    tokens = [browser.token("/first") for browser in browsers]

    def set_up(number):
        fields = {"sign_in": f"olive{number}", "form_token": tokens[number]}
        answer = browsers[number].client.post("/first", data={**OWNER, **fields})
        return answer.status_code

    with ThreadPoolExecutor(4) as pool:
        codes = list(pool.map(set_up, range(4)))

    assert sorted(codes) == [303, 422, 422, 422]
    with records(new_app).reading() as session:
        assert len(people.everybody(session)) == 1


def test_there_is_no_setting_up_once_somebody_is_there(browser):
    assert browser.get("/first").location == "/sign-in"


# Signing in and out.


def test_signing_in_takes_any_spelling_of_the_name(browser):
    assert browser.sign_in("  OWNER ").status_code == 303


def test_what_a_wrong_name_and_a_wrong_password_get_is_the_same(browser):
    wrong_name = browser.sign_in("nobody")
    wrong_password = browser.sign_in("owner", OTHER)

    assert wrong_name.status_code == wrong_password.status_code == 422
    said = "That name and password do not belong together."
    assert said in wrong_name.text
    assert said in wrong_password.text


def test_an_unknown_name_costs_as_much_work_as_a_wrong_password(database, monkeypatch):
    """Argon2's work is in its verification: both times once, at the same cost."""
    hashes = []

    class Watched(PasswordHasher):
        def verify(self, kept, typed):
            hashes.append(kept)
            return super().verify(kept, typed)

    monkeypatch.setattr(people, "HASHER", Watched())
    for name in ("owner", "nobody"):
        with database.reading() as session, pytest.raises(people.UnknownPersonError):
            people.recognise(session, name, "wrong")

    assert len(hashes) == 2
    assert hashes[0].split("$")[:4] == hashes[1].split("$")[:4]


def test_signing_out_ends_the_session(at):
    browser = at("bench")
    browser.send("/sign-out", "/me")

    assert browser.get("/me").location == "/sign-in?next=/me"


def test_signing_in_gives_a_new_session_and_drops_the_old_one(app):
    browser = Browser(app)
    planted = browser.token()
    browser.sign_in("bench")

    assert browser.token("/me") != planted


def test_nothing_of_the_session_before_is_kept(browser):
    with browser.client.session_transaction() as session:
        session["planted"] = "by somebody else"
    browser.sign_in("bench")

    with browser.client.session_transaction() as session:
        assert "planted" not in session


def test_whom_the_records_call_inactive_is_out_whatever_the_session_says(at, database):
    bench = at("bench")
    with database.transaction() as session:
        session.scalars(
            select(User).where(User.sign_in == "bench")
        ).one().active = False

    assert bench.get("/me").status_code == 303


@pytest.mark.parametrize(
    ("pauses", "inside"),
    [
        ([timedelta(minutes=119)], True),
        ([timedelta(minutes=120)], False),
        ([timedelta(minutes=100)] * 7, True),
        ([timedelta(minutes=90)] * 8, False),
    ],
)
def test_a_session_ends_after_two_hours_of_nothing_or_twelve_in_all(
    at, clock, pauses, inside
):
    """7 x 100 minutes = 11 h 40; 8 x 90 minutes = 12 h."""
    browser = at("bench")
    for pause in pauses:
        clock.at += pause
        last = browser.get("/me").status_code

    assert (last == 200) == inside


def test_what_was_typed_before_the_session_ended_can_still_be_sent(at, clock):
    browser = at("owner")
    form = {"form_token": browser.token("/people"), "device": "Tablet <1>"}
    clock.on(hours=3)
    answer = browser.client.post("/people/devices", data={**form, "password": "secret"})

    assert answer.status_code == 401
    assert "Tablet &lt;1&gt;" in answer.text
    assert "secret" not in answer.text

    browser.sign_in("owner")
    assert browser.client.post("/people/devices", data=form).status_code == 303


def test_somebody_else_cannot_send_what_was_typed_before(at):
    browser = at("owner")
    form = {"form_token": browser.token("/people")}
    browser.sign_in("counter")

    assert browser.client.post("/sign-out", data=form).status_code == 400


# Guessing.


def test_the_sixth_guess_waits_and_even_the_right_one_is_not_looked_at(browser, clock):
    for _ in range(5):
        assert browser.sign_in("owner", "wrong").status_code == 422
    answer = browser.sign_in("owner")

    assert answer.status_code == 429
    assert "Wait 30 seconds, then try again" in answer.text

    clock.on(seconds=30)
    assert browser.sign_in("owner").status_code == 303


def test_the_wait_doubles_up_to_a_quarter_of_an_hour(browser, clock):
    """30 s, 1, 2, 4, 8 and then 15 minutes; none is waited in vain."""
    for _ in range(5):
        browser.sign_in("owner", "wrong")
    for wait in (30, 60, 120, 240, 480, 900, 900):
        clock.on(seconds=wait - 1)
        assert browser.sign_in("owner", "wrong").status_code == 429
        clock.on(seconds=1)
        assert browser.sign_in("owner", "wrong").status_code == 422


def test_waiting_guesses_do_not_lengthen_the_wait(browser, clock):
    for _ in range(5):
        browser.sign_in("owner", "wrong")
    for _ in range(20):
        assert browser.sign_in("owner").status_code == 429
    clock.on(seconds=30)

    assert browser.sign_in("owner").status_code == 303


def test_the_right_password_takes_the_failures_back(browser):
    for _ in range(3):
        for _ in range(4):
            browser.sign_in("owner", "wrong")
        assert browser.sign_in("owner").status_code == 303


def test_failures_of_one_do_not_keep_another_out(browser):
    for _ in range(6):
        browser.sign_in("owner", "wrong")

    assert browser.sign_in("counter").status_code == 303


def test_an_address_that_tries_many_names_waits(browser):
    for number in range(20):
        assert browser.sign_in(f"guess{number}").status_code == 422

    assert browser.sign_in("counter").status_code == 429


def test_guesses_at_the_same_moment_do_not_slip_through(app):
    def guess(_):
        return Browser(app).sign_in("owner", "wrong").status_code

    with ThreadPoolExecutor(8) as pool:
        codes = list(pool.map(guess, range(16)))

    assert codes.count(422) == 5
    assert codes.count(429) == 11


def test_failures_are_kept_without_the_names_that_were_typed(browser, database):
    browser.sign_in("a secret typed into the wrong field", "wrong")

    with database.reading() as session:
        kept = [row.who for row in session.scalars(select(SignInAttempt))]
    assert len(kept) == 2
    assert not any("secret" in who for who in kept)


# Passwords.


def test_passwords_and_pins_are_kept_as_argon2id_only(database):
    """RFC 9106 section 4, second recommended option: t=3, m=64 MiB, p=4."""
    row = user(database, "owner")

    assert FULL.hash(PASSWORD).startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert row.password.startswith("$argon2id$")
    assert row.pin.startswith("$argon2id$")


def test_a_hash_of_an_old_kind_is_renewed_when_its_owner_signs_in(
    browser, database, monkeypatch
):
    monkeypatch.setattr(people, "HASHER", FULL)
    assert "$m=8,t=1,p=1$" in user(database, "bench").password
    browser.sign_in("bench")

    assert "$m=65536,t=3,p=4$" in user(database, "bench").password
    assert browser.sign_in("bench").status_code == 303


def test_a_password_typed_on_another_keyboard_is_the_same(database):
    """NIST SP 800-63B asks for NFKC: ``e`` with an accent in one or two characters."""
    with database.transaction() as session:
        row = session.get(User, 1)
        people.set_password(
            session, row, "cafe\u0301 cafe\u0301 au lait", at=START, who="t"
        )
    with database.reading() as session:
        assert (
            people.recognise(session, row.sign_in, "caf\u00e9 caf\u00e9 au lait").id
            == 1
        )


@pytest.mark.parametrize("password", ["nine char", "x" * 201, "Counterperson"])
def test_a_password_that_is_too_short_too_long_or_the_name_is_refused(at, password):
    answer = at("owner").send(
        "/people", "/people", name="C", sign_in="counterperson", role="counter",
        password=password, password_again=password,
    )  # fmt: skip

    assert answer.status_code == 422
    assert "10 to 200 characters" in answer.text


def test_a_new_password_ends_ones_other_sessions_and_not_this_one(at):
    here, elsewhere = at("bench"), at("bench")
    answer = here.send("/me/password", "/me", old_password=PASSWORD, **TWICE)

    assert answer.status_code == 303
    assert here.get("/me").status_code == 200
    assert elsewhere.get("/me").status_code == 303


def test_ones_own_password_is_changed_only_by_who_knows_the_old_one(at, browser):
    answer = at("bench").send("/me/password", "/me", old_password="wrong", **TWICE)

    assert answer.status_code == 422
    assert browser.sign_in("bench").status_code == 303


def test_the_owner_sets_a_password_and_the_old_sessions_end(at, browser, database):
    bench = at("bench")
    at("owner").send("/people/3/password", "/people/3", **TWICE)

    assert user(database, "bench").id == 3
    assert bench.get("/me").status_code == 303
    assert browser.sign_in("bench").status_code == 422
    assert browser.sign_in("bench", OTHER).status_code == 303


# Everybody.


def test_the_owner_lets_somebody_in_with_several_roles(at, browser):
    answer = at("owner").send(
        "/people", "/people", name="Cleo", sign_in="Cleo", initials="c l",
        role=["counter", "accounts"], **TWICE,
    )  # fmt: skip

    assert answer.status_code == 303
    assert browser.sign_in("cleo", OTHER).status_code == 303
    assert "counter, accounts" in at("owner").get("/people").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"sign_in": "BENCH"}, "Somebody signs in as bench already"),
        ({"initials": "be"}, "Bea Bench signs work as BE already"),
        ({"role": []}, "Choose at least one role"),
        ({"role": ["king"]}, "Choose at least one role"),
        ({"name": "x" * 201}, "201 characters are more than the 200"),
    ],
)
def test_what_would_mix_people_up_is_refused_and_stays_typed(
    at, database, fields, said
):
    asked = {"name": "Cleo", "sign_in": "cleo", "role": ["counter"], **TWICE, **fields}
    answer = at("owner").send("/people", "/people", **asked)

    assert answer.status_code == 422
    assert said in answer.text
    assert f'value="{asked["sign_in"]}"' in answer.text
    with database.reading() as session:
        assert len(people.everybody(session)) == len(NAMES)


def test_a_change_of_roles_counts_at_once(at):
    owner, bench = at("owner"), at("bench")
    assert bench.get("/people").status_code == 403
    owner.send("/people/3", "/people/3", name="Bea", role=["bench", "owner"])

    assert bench.get("/people").status_code == 200


def test_a_closed_account_is_out_at_once_and_can_be_opened_again(at, browser):
    owner, bench = at("owner"), at("bench")
    owner.send("/people/3/active", "/people/3", active="0")

    assert bench.get("/me").status_code == 303
    assert browser.sign_in("bench").status_code == 422

    owner.send("/people/3/active", "/people/3", active="1")
    assert browser.sign_in("bench").status_code == 303


@pytest.mark.parametrize(
    ("address", "fields"),
    [
        ("/people/1/active", {"active": "0"}),
        ("/people/1", {"name": "Olive", "role": ["counter"]}),
    ],
)
def test_the_last_owner_stays_one(at, database, address, fields):
    answer = at("owner").send(address, "/people/1", **fields)

    assert answer.status_code == 422
    assert "Olive Owner is the only owner left" in answer.text
    row = user(database, "owner")
    assert (row.active, row.roles, row.name) == (True, "owner", "Olive Owner")


def test_what_happens_to_an_account_stands_in_the_trail_without_secrets(at, database):
    at("owner").send("/people/3/password", "/people/3", **TWICE)
    at("owner").send("/people/3", "/people/3", name="Bea B", role=["bench"])

    with database.reading() as session:
        entries = story(session, "user", 3)
        assert broken(session) is None
    assert [(entry.what, entry.who) for entry in entries[-2:]] == [
        ("password set", "Olive Owner"),
        ("account changed", "Olive Owner"),
    ]
    told = " ".join(entry.old + entry.new for entry in entries)
    assert OTHER not in told
    assert "argon2" not in told


def test_an_account_that_there_is_not_is_said_to_be_missing(at):
    assert at("owner").get("/people/99").status_code == 404


def test_single_keys_can_be_switched_off(at):
    """WCAG 2.2, 2.1.4: a mechanism is available to turn the shortcut off."""
    bench = at("bench")
    assert 'data-shortcuts="on"' in bench.get("/me").text
    bench.send("/me/keys", "/me")

    assert 'data-shortcuts="off"' in bench.get("/me").text


def test_the_shop_s_day_is_that_of_its_own_zone(at, clock):
    """16:30 UTC on 26 November is already 27 November in Perth (UTC+8)."""
    owner = at("owner")
    clock.on(hours=7, minutes=30)
    owner.sign_in("owner")
    owner.send("/people/zone", "/people", zone="Australia/Perth")
    fields = {"name": "Late", "sign_in": "late", "role": ["bench"], **TWICE}
    owner.send("/people", "/people", **fields)

    assert "27 November 2026" in owner.get("/people/6").text


# Bench devices and signing work.


def test_registering_a_device_signs_the_owner_out_of_it(at):
    tablet = at("owner")
    tablet.send("/people/devices", "/people", device="Tablet at the vice")

    assert tablet.get("/people").location.startswith("/sign-in")
    assert "Tablet at the vice" in tablet.get("/sign-in").text


def test_a_device_stays_signed_in_for_weeks_until_the_owner_ends_it(at, clock):
    tablet = at("owner")
    tablet.send("/people/devices", "/people", device="Tablet")
    clock.on(days=60)
    assert "<span>Tablet</span>" in tablet.get("/sign-in").text

    at("owner").send("/people/devices/1/end", "/people")
    assert "<span>Tablet</span>" not in tablet.get("/sign-in").text


def test_a_device_s_token_is_not_in_the_records(at, database):
    tablet = at("owner")
    tablet.send("/people/devices", "/people", device="Tablet")
    token = tablet.client.get_cookie("bench").value

    with database.reading() as session:
        [device] = people.devices(session)
    assert len(token) >= 43
    assert token not in device.token


def test_work_is_signed_by_initials_and_pin(app):
    with app.test_request_context():
        assert sign_work(" b e", "2468").who == "Bea Bench"


@pytest.mark.parametrize(
    ("initials", "pin"), [("BE", "1357"), ("ZZ", "2468"), ("", ""), ("BE", "")]
)
def test_work_is_not_signed_by_anything_else(app, initials, pin):
    with app.test_request_context(), pytest.raises(UnknownSignatureError):
        sign_work(initials, pin)


def test_guessing_a_pin_is_slowed_down(app, clock):
    with app.test_request_context():
        for _ in range(5):
            with pytest.raises(UnknownSignatureError):
                sign_work("BE", "0000")
        with pytest.raises(WaitError, match="30 seconds"):
            sign_work("BE", "2468")
        clock.on(seconds=30)
        assert sign_work("BE", "2468").who == "Bea Bench"


@pytest.mark.parametrize(
    "pin", ["123", "123456789", "12a4", "\u0661\u0662\u0663\u0664"]
)
def test_a_pin_is_four_to_eight_digits(at, pin):
    answer = at("bench").send("/me/pin", "/me", pin=pin)

    assert answer.status_code == 422
    assert "4 to 8 digits" in answer.text


def test_who_loses_the_initials_loses_the_pin(at, database):
    at("owner").send("/people/3", "/people/3", name="Bea", role=["bench"], initials="")

    assert user(database, "bench").pin == ""


# The command line.


def test_user_add_opens_an_account_with_the_password_from_standard_input(tmp_path):
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    done = CliRunner().invoke(
        main,
        ["user", "add", "Olive Owner", "--role", "owner", "--sign-in", "olive",
         "--password-stdin", "--database", url],
        input=f"{PASSWORD}\n",
    )  # fmt: skip
    again = CliRunner().invoke(
        main,
        ["user", "add", "Bea", "--role", "bench", "--database", url],
        input="short\nshort\n",
    )

    assert (done.exit_code, done.output) == (0, "Olive Owner can sign in as olive.\n")
    assert again.exit_code == 2
    assert "10 to 200 characters" in again.output


def test_rates_import_brings_an_edition_into_the_records(tmp_path):
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    command = ["rates", "import", str(folder("rates_demo")), "--database", url]
    done = CliRunner().invoke(main, command)
    refused = CliRunner().invoke(main, [*command[:2], str(tmp_path), *command[3:]])

    assert done.output == (
        "2026 autumn of Tallow Lane Heads is in force from 2026-11-01.\n"
    )
    assert refused.exit_code == 2
    with closing(Database(url)) as database, database.reading() as session:
        assert rates.in_force(session, START.date()).edition.shop.currency == "GBP"


def test_serve_makes_the_records_and_answers(tmp_path):
    url = f"sqlite:///{tmp_path / 'new' / 'shop.db'}"
    script = (
        "import sys, waitress, quoting.cli\n"
        "def serve(app, **options):\n"
        "    answer = app.test_client().get('/first')\n"
        "    print(options['host'], options['port'], answer.status_code)\n"
        "waitress.serve = serve\n"
        "quoting.cli.main(sys.argv[1:])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "serve", "--port", "8123", "--database", url],
        capture_output=True,
        text=True,
        check=True,
    )

    assert "Open http://127.0.0.1:8123/ in a browser." in done.stdout
    assert "127.0.0.1 8123 200" in done.stdout


def test_pricing_at_the_command_line_loads_neither_the_app_nor_the_records():
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "quoting", "price", "--say", "v6"],
        capture_output=True,
        text=True,
        check=False,
    )
    loaded = set(re.findall(r"\| +(\w+)", done.stderr))

    assert "quoting" in loaded
    assert not loaded & {"flask", "sqlalchemy", "argon2", "waitress", "alembic"}
