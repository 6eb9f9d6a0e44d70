"""How long a cold answer of the command line takes, process start included."""

import csv
import io
import os
import subprocess
import sys

from builders import DEMO
from floors import against

from quoting.files.edition import read_edition

FLOOR = "import decimal, tomllib, csv, click"


#: As installed: compiled modules are kept, whatever this shell is set to.
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def start(*words):
    subprocess.run(
        [sys.executable, *words],
        check=True,
        env=ENVIRONMENT,
        stdout=subprocess.DEVNULL,
    )


def test_a_job_file_answered_as_json_from_cold(benchmark):
    """The floor is a process that imports what any such answer must."""
    words = ("-m", "quoting", "price", str(DEMO / "demo_job.toml"), "--json")

    benchmark.pedantic(start, words, rounds=12)

    against(benchmark, f"python -c {FLOOR!r}", start, "-c", FLOOR, repeat=12)


def test_plain_words_answered_as_json_from_cold(benchmark):
    words = ("-m", "quoting", "price", "--say", "v6 24v x2 overheated", "--json")

    benchmark.pedantic(start, words, rounds=12)

    against(benchmark, f"python -c {FLOOR!r}", start, "-c", FLOOR, repeat=12)


def test_reading_and_checking_the_demonstration_tables(benchmark):
    """The floor reads the same bytes and splits the same cells."""
    files = sorted(DEMO.rglob("*.csv"))

    def cells():
        texts = [path.read_text("utf-8") for path in files]
        return [list(csv.reader(io.StringIO(text, newline=""))) for text in texts]

    edition = benchmark(read_edition, DEMO)
    assert len(edition.operations) == 69

    against(benchmark, "csv.reader over the same files", cells)
