"""The wheel holds all that the program needs, and runs away from the checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """Build the wheel and unpack it somewhere else."""
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out],
        cwd=CHECKOUT,
        check=True,
        capture_output=True,
    )
    [wheel] = out.glob("*.whl")
    target = out / "unpacked"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(target)
    return target


def test_templates_and_demonstration_tables_are_inside_the_package(unpacked):
    assert (unpacked / "quoting" / "templates" / "papers" / "quote.html").is_file()
    assert (unpacked / "quoting" / "rates_demo" / "operations.csv").is_file()
    assert not (unpacked / "tests").exists()


def test_the_unpacked_wheel_prices_its_own_demonstration(unpacked, tmp_path):
    done = subprocess.run(
        [sys.executable, "-P", "-m", "quoting", "price", "--json",
         unpacked / "quoting" / "rates_demo" / "demo_job.toml"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert '"total": ' in done.stdout
    where = subprocess.run(
        [sys.executable, "-P", "-c", "import quoting; print(quoting.__file__)"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert where.stdout.startswith(str(unpacked))
