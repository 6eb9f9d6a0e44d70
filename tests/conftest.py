"""What the machine must have for some tests, and how the suite says what it lacks."""

import os
from datetime import date

import pytest

#: Marker, and what a test with it needs.
NEEDS = {"needs_pdf": "Pango and HarfBuzz, to make PDF files"}

left_out = pytest.StashKey()


def pytest_configure(config):
    """Register the markers."""
    for name, what in NEEDS.items():
        config.addinivalue_line("markers", f"{name}: needs {what}")


def pytest_collection_modifyitems(config, items):
    """Leave out what this machine cannot run, unless everything is required.

    With QUOTING_REQUIRE_ALL=1 nothing is left out: what is missing fails.
    """
    config.stash[left_out] = {}
    if os.environ.get("QUOTING_REQUIRE_ALL") == "1":
        return
    for name in NEEDS:
        needing = [item for item in items if item.get_closest_marker(name)]
        if needing and (reason := LACKING[name]()):
            config.hook.pytest_deselected(items=needing)
            config.stash[left_out][name] = (len(needing), reason)
            items[:] = [item for item in items if item not in needing]


def pytest_terminal_summary(terminalreporter, config):
    """Name in one line what was left out."""
    for name, (count, reason) in config.stash[left_out].items():
        first = reason.splitlines()[0]
        terminalreporter.write_line(
            f"left out {count} tests that need {NEEDS[name]}: {first}", yellow=True
        )


def no_pdf():
    """Return why this machine can make no PDF; empty where it can."""
    from quoting.papers.html import Paper
    from quoting.papers.pdf import NoPdfError, to_pdf

    try:
        to_pdf(Paper("", "", date.min))
    except NoPdfError as error:
        return str(error)
    return ""


LACKING = {"needs_pdf": no_pdf}
