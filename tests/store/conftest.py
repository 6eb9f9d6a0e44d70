"""Another program beside the test, at the same records."""

import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest


def _end(process):
    process.kill()
    process.communicate()


@pytest.fixture
def other_program():
    """Return what starts another program at the records; it is killed at the end."""
    with ExitStack() as ending:

        def start(database, *arguments):
            url = database.url.render_as_string(hide_password=False)
            process = subprocess.Popen(
                [sys.executable, Path(__file__).with_name("other_program.py"), url]
                + [str(argument) for argument in arguments],
                stdout=subprocess.PIPE,
                text=True,
            )
            ending.callback(_end, process)
            return process

        yield start
