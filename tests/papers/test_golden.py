"""Golden HTML: one job, each of its papers as it was looked at and found right.

To renew a file: delete it and run this test. It writes the file as the paper is now and
fails once; look at the difference and at the printed paper before keeping it. The style
sheet and the lines of the drawing are left out, tags start on lines of their own.
"""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from builders import RT1, dec, edition, with_operation
from printing import board, paper

from quoting.domain.rates import Caution, Limit

GOLDEN = Path(__file__).parent / "golden"

#: A valve job and new exhaust guides as the second way; every kind of line is in it.
JOB = """
number = "Q-1"
date = 2026-03-02
ready = 2026-03-11
terms = "TRADE10"
propose = false

[customer]
name = "Ampersand & Sons <machinists>"
address = ["1 Example Row", "Nowhere"]
order_number = "A-17"
engine = "two litres"

[[heads]]
layout = "I4-16"
condition = ["bare", "clean"]

[[sets]]
set = "VJOB"

[[work]]
op = "SKIM"
size = "0.15 mm"

[[free]]
description = "Dress the housing"
hours = "0.5"

[[outwork]]
description = "Weld the ear"
cost = "62.00"

[[parts]]
description = "stem seals"
quantity = 16
cost = "1.15"

[[parts]]
description = "head gasket"
quantity = 1
own_stock = true

[[deposits]]
amount = "100.00"

[[alternatives]]
label = "Valve job"

[[alternatives]]
label = "Valve job with new guides"

[[alternatives.work]]
op = "GREP"
which = "exhaust"
[[alternatives.work]]
op = "SKIM"
size = "0.15 mm"

[invoice]
number = "INV-1"
date = 2026-03-12
supplied = 2026-03-11
"""


def rates():
    """Return RT-1 with two cautions, three readings, and a measuring that decides."""
    read = with_operation(
        edition(RT1),
        "MEAS",
        readings=("FLAT", "SWID", "THCK"),
        gate=True,
        on_board=True,
    )
    return replace(
        with_operation(read, "GREP", on_board=True),
        limits=[
            Limit(
                code="FLAT",
                name="Flatness",
                place="head",
                unit="mm",
                maximum=dec("0.05"),
                source="shop",
            ),
            Limit(
                code="SWID",
                name="Seat width",
                place="seat",
                unit="mm",
                minimum=dec("1.0"),
                maximum=dec("1.5"),
                source="maker",
            ),
            Limit(code="THCK", name="Thickness", place="head", unit="mm"),
        ],
        cautions=[
            Caution(code="HOT", name="heat", rank=1, text="Hot.", operations=("WASH",)),
            Caution(
                code="DUST", name="dust", rank=2, text="Dust.", operations=("SCUT",)
            ),
        ],
    )


def told(html):
    """Return a paper's HTML line by line, without style sheet, drawing and fonts."""
    html = re.sub(r"<style>.*?</style>", "<style></style>", html, flags=re.DOTALL)
    html = re.sub(r"(</desc>).*?(</svg>)", r"\1\2", html, flags=re.DOTALL)
    html = re.sub(r"(<svg )[^>]*>", r"\1>", html)
    html = re.sub(r"\s*(<(?!/))", r"\n\1", html)
    return [line.rstrip() for line in html.splitlines() if line.strip()]


PAPERS = {
    "quote": lambda: paper("quote", JOB, rates()),
    "work-order": lambda: paper("work order", JOB, rates(), alternative=2),
    "invoice": lambda: paper("invoice", JOB, rates(), alternative=2),
    "price-board": lambda: board(rates()),
}


@pytest.mark.parametrize("name", PAPERS)
def test_a_paper_is_as_it_was_found_right(name):
    """See the top of this file for how to renew what it is compared with."""
    golden = GOLDEN / f"{name}.html"
    lines = told(PAPERS[name]().html)
    if not golden.exists():
        golden.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
        pytest.fail(f"{golden.name} was missing and is written: look at it, run again")

    assert lines == golden.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("name", PAPERS)
def test_no_golden_file_knows_this_machine(name):
    golden = (GOLDEN / f"{name}.html").read_text(encoding="utf-8")

    assert "file:" not in golden
    assert str(Path.home()) not in golden
