"""The people of a test shop, their clock, and browsers that they sit at."""

import os
import re
import shutil
from datetime import UTC, datetime, timedelta

from argon2 import PasswordHasher

from quoting.web.wiring import Wiring
from quoting.workflow import people

#: The program that browser tests drive.
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")

START = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)
PASSWORD = "three short words"  # noqa: S105
#: How passwords are hashed, and how most tests hash them, in a thousandth of the time.
FULL = people.HASHER
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
#: One person a role, each signing in as the role is called.
NAMES = {
    "owner": "Olive Owner",
    "counter": "Colin Counter",
    "bench": "Bea Bench",
    "accounts": "Abel Accounts",
    "reader": "Rita Reader",
}
_TOKEN = re.compile(r'name="form_token" value="([^"]+)"')
_ONCE = re.compile(r'name="once" value="([^"]+)"')


class Clock:
    """A clock that stands until it is moved on."""

    def __init__(self):
        self.at = START

    def __call__(self):
        """Return the instant."""
        return self.at

    def on(self, **passed):
        """Move on by a timedelta's words."""
        self.at += timedelta(**passed)


class Browser:
    """A browser at the app: follows nothing by itself and fills in a form's tokens."""

    def __init__(self, app):
        self.client = app.test_client()
        self.get = self.client.get

    def token(self, page="/sign-in"):
        """Return the form token that a page carries."""
        return _TOKEN.search(self.get(page).text)[1]

    def send(self, address, page, **fields):
        """Fill in and send the form of *page* to *address*."""
        text = self.get(page).text
        tokens = {"form_token": _TOKEN.search(text)[1]}
        if once := _ONCE.search(text):
            tokens["once"] = once[1]
        return self.client.post(address, data={**tokens, **fields})

    def sign_in(self, name, password=PASSWORD, **fields):
        """Sign in by the form."""
        fields = {"sign_in": name, "password": password, **fields}
        return self.send("/sign-in", "/sign-in", **fields)


def records(app):
    """Return the records that an app works on."""
    [parts] = [part for part in app.extensions.values() if isinstance(part, Wiring)]
    return parts.database
