"""The whole call by keyboard, in a real browser, with and without scripts."""

from datetime import UTC, datetime, timedelta

import pytest

pytestmark = pytest.mark.needs_browser

CALL = "v6 24v x2 overheated"
#: "hello" to a figure in twenty seconds: about two key actions a second.
MOST_KEYS = 45


class Keys:
    """A keyboard that counts."""

    def __init__(self, page):
        self.page, self.pressed = page, 0

    def type(self, text):
        """Type a text, one key action a letter."""
        self.page.keyboard.type(text)
        self.pressed += len(text)

    def press(self, key):
        """Press one key, or one with a modifier."""
        self.page.keyboard.press(key)
        self.pressed += 1


def test_a_call_becomes_a_saved_quote_within_the_key_actions_of_a_call(seat):
    page = seat("owner")
    page.goto("/phone")
    page.focus("#said")
    keys = Keys(page)
    keys.type(CALL)
    page.wait_for_selector(".big")
    keys.press("Control+Enter")
    page.wait_for_url("**/quotes/*")

    assert "Q-00001" in page.inner_text("main")
    assert keys.pressed <= MOST_KEYS


def test_a_call_is_saved_by_keyboard_without_scripts_too(seat):
    page = seat("owner", scripts=False)
    page.goto("/phone")
    page.focus("#said")
    keys = Keys(page)
    keys.type(CALL)
    keys.press("Tab")
    keys.press("Tab")
    with page.expect_navigation():
        keys.press("Enter")

    assert "Q-00001" in page.inner_text("main")
    assert keys.pressed <= MOST_KEYS


def test_the_price_follows_each_key(seat):
    page = seat("owner")
    page.goto("/phone")
    page.focus("#said")
    page.keyboard.type("16v skim")
    page.wait_for_selector(".big")
    first = page.inner_text(".big")
    page.keyboard.type(", guides exhaust")
    page.wait_for_function(
        "was => document.querySelector('.big')?.textContent !== was", arg=first
    )

    assert page.evaluate("document.activeElement.name") == "said"
    assert page.input_value("#said") == "16v skim, guides exhaust"


@pytest.mark.parametrize("scripts", [True, False])
def test_enter_prices_and_saves_nothing(seat, scripts):
    page = seat("owner", scripts=scripts)
    page.goto("/phone")
    page.focus("#said")
    page.keyboard.type(CALL)
    page.keyboard.press("Enter")
    page.wait_for_selector(".big")

    assert "/phone" in page.url
    assert "/quotes" not in page.url
    assert page.input_value("#said") == CALL


def test_a_valve_on_the_plan_is_picked_by_keyboard(seat):
    page = seat("owner")
    page.goto("/phone")
    page.focus("#said")
    page.keyboard.type("16v, guides exhaust")
    page.wait_for_selector('[role=checkbox][data-position="A3E1"]')
    page.click("text=Only these valves")
    with page.expect_response("**/phone/price"):
        page.select_option("[name=pick]", index=1)
    page.locator('[role=checkbox][data-position="A3E1"]').focus()
    with page.expect_response("**/phone/price"):
        page.keyboard.press("Space")
    page.wait_for_selector('[role=checkbox][aria-checked="true"]')

    assert page.is_checked('[name=at][value="A3E1"]')
    assert page.evaluate("document.activeElement.dataset.position") == "A3E1"


def test_an_answer_under_way_does_not_undo_what_was_done_since(seat):
    page = seat("owner")
    page.clock.install()
    page.goto("/phone")
    page.focus("#said")
    page.keyboard.type("16v, guides exhaust")
    page.click("text=Only these valves")
    with page.expect_response("**/phone/price"):
        page.select_option("[name=pick]", index=1)
    page.locator('[role=checkbox][data-position="A3E1"]').focus()
    page.clock.pause_at(datetime.now(UTC) + timedelta(hours=1))
    held = []

    def hold(route):
        held.append(route)

    page.route("**/phone/price", hold)
    page.focus("#said")
    page.keyboard.type(" ")
    page.clock.run_for(1000)

    page.locator('[role=checkbox][data-position="A3E1"]').focus()
    page.keyboard.press("Space")
    with page.expect_response("**/phone/price"):
        held.pop().continue_()
    page.evaluate("fetch(location)")

    assert page.is_checked('[name=at][value="A3E1"]')


def test_slash_jumps_to_the_line_unless_it_is_switched_off(seat):
    page = seat("owner")
    page.goto("/phone")
    page.focus("text=Sign out")
    page.keyboard.press("/")

    assert page.evaluate("document.activeElement.id") == "said"
    assert page.input_value("#said") == ""
