"""Papers for tests: a job as text in, its papers out, and what stands on them."""

import io
import re
import tempfile
from dataclasses import replace
from functools import cache, cached_property
from html.parser import HTMLParser
from pathlib import Path

from builders import DEMO, edition
from PIL import Image, ImageDraw
from pypdf import PdfReader

from quoting.i18n import Formats
from quoting.papers.html import Paper
from quoting.papers.pdf import to_pdf
from quoting.papers.price_board import price_board
from quoting.workflow import estimates

DEMO_JOB = (DEMO / "demo_job.toml").read_text(encoding="utf-8")

TOP = 'number = "Q-0417"\ndate = 2026-11-25\nready = 2026-12-04\n'
CUSTOMER = """
[customer]
name = "Osgood & Daughters Garage"
address = ["4 Ferry Steps", "Marlhaven"]
order_number = "OD-2231"
"""
INVOICE = '[invoice]\nnumber = "INV-0417"\ndate = 2026-12-04\n'
HEAD = '[[heads]]\nlayout = "L04"\n'
OVERHEATED = '[[sets]]\nset = "OVERHEAT"\nsize = "0.15 mm"\n'

#: Two springs and five valves that came without a head: the shortest of papers.
LOOSE = (
    TOP + CUSTOMER + INVOICE + '[[work]]\nop = "VREF"\nnumber = 5\n'
    '[[work]]\nop = "SPRT"\nnumber = 16\n'
)

#: One text for each kind of job that looks different on paper.
JOBS = {
    "one way": TOP + CUSTOMER + INVOICE + HEAD + OVERHEATED,
    "two ways": DEMO_JOB,
    "three ways": f"""{TOP}terms = "TRADE10"
{CUSTOMER}{INVOICE}{HEAD}{OVERHEATED}
[[alternatives]]
label = "Repair"
[[alternatives]]
label = "Repair with new exhaust guides and two seats"
[[alternatives.work]]
op = "GREP"
which = "exhaust"
[[alternatives.work]]
op = "SINS"
positions = ["A2E1", "A3E2"]
[[alternatives]]
label = "Clean and test only"
sets = [{{set = "TESTSKIM", size = "0.15 mm"}}]
""",
    "two heads": f"""{TOP}{CUSTOMER}{INVOICE}{OVERHEATED}
[[heads]]
layout = "L10"
label = "left"
[[heads]]
layout = "L10"
label = "right"
[[work]]
op = "GREP"
positions = ["A1E1", "B3E1", "B3E2"]
""",
    "six single heads": TOP
    + CUSTOMER
    + INVOICE
    + '[[heads]]\nlayout = "L18"\n' * 6
    + '[[sets]]\nset = "DIESEL"\n'
    + '[[work]]\nop = "SINS"\npositions = ["A1E1", "C1E2", "F1I1"]\n',
    "no head": LOOSE,
    "side valve": f"""{TOP}{CUSTOMER}{INVOICE}
[[heads]]
layout = "L16"
[[work]]
op = "SKIM"
size = "0.20 mm"
""",
    "everything": f"""{TOP}rush = "RUSH"
{CUSTOMER}{INVOICE}{HEAD}{OVERHEATED}
[declined]
SEAL = "fits his own"
[[free]]
description = "Dress the thermostat housing"
hours = "0.5"
[[outwork]]
description = "Weld the crack between the seats"
cost = "62.00"
[[parts]]
description = "Exchange head"
price = "420.00"
group = "exchange"
surcharge = "OLDCAR"
[[parts]]
description = "head gasket set"
quantity = 1
own_stock = true
[[deposits]]
amount = "150.00"
[call_it]
amount = "1100.00"
reason = "agreed on the phone"
""",
    "exempt": f"""{TOP}{CUSTOMER}{INVOICE}{HEAD}{OVERHEATED}
[exempt]
code = "EXEMPT"
reason = "exempt body"
certificate = "XA-0001"
""",
}

#: What is made into PDF of each kind; a work order takes long to lay out.
LOOKED_AT = [
    *[("quote", name) for name in JOBS],
    *[("invoice", n) for n in JOBS if n not in ("one way", "three ways", "two heads")],
    *[("work order", n) for n in ("two ways", "side valve", "no head")],
]

KINDS = {
    "quote": estimates.quote_paper,
    "work order": estimates.work_order_paper,
    "invoice": estimates.specimen_invoice,
}


def named(name):
    """Return the shortest job for a customer of this name."""
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    return LOOSE.replace("Osgood & Daughters Garage", quoted)


def with_lines(count, text="Repair number {n}"):
    """Return a job of *count* free lines, each of another amount."""
    rows = [
        f'[[free]]\ndescription = "{text.format(n=n)}"\n'
        f'amount = "{10 + n}.{n % 100:02}"\n'
        for n in range(1, count + 1)
    ]
    return TOP + CUSTOMER + INVOICE + "".join(rows)


@cache
def _taxed(tax):
    return edition(DEMO, tax=tax) if tax else edition(DEMO)


@cache
def shop(tax="", **values):
    """Return the demonstration's edition with another tax or other shop values."""
    rates = _taxed(tax)
    return replace(rates, shop=replace(rates.shop, **values))


def estimate(job, rates=None):
    """Return a job file's estimate by the demonstration's rates, or others."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(job, encoding="utf-8")
        return estimates.from_file(path, rates or shop())


def paper(kind, job, rates=None, *, size="", alternative=1):
    """Return a paper of a job, in the shop's own locale."""
    rates = rates or shop()
    formats = Formats(rates.shop.locale, rates.currency)
    if kind == "quote":
        return KINDS[kind](rates, estimate(job, rates), formats, size)
    return KINDS[kind](rates, estimate(job, rates), formats, size, alternative)


def board(rates=None, size=""):
    """Return the price board."""
    rates = rates or shop()
    formats = Formats(rates.shop.locale, rates.currency)
    return price_board(rates, formats, rates.shop.valid_from, size)


class Shown:
    """A paper as HTML, and the text that a reader sees of it."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.html = paper.html

    @cached_property
    def chunks(self):
        """Return the text between one tag and the next, piece by piece."""
        reader = _Reader()
        reader.feed(self.html)
        return reader.seen

    @cached_property
    def text(self):
        """Return all of it, every run of white space one space."""
        return spaced(" ".join(self.chunks))


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []
        self.unseen = 0

    def handle_starttag(self, tag, _attributes):
        self.unseen += tag in _UNSEEN

    def handle_endtag(self, tag):
        self.unseen -= tag in _UNSEEN

    def handle_data(self, text):
        if not self.unseen:
            self.seen.append(text)


_UNSEEN = ("head", "title", "desc")


class Printed:
    """A paper as PDF, read back."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.pdf = to_pdf(paper)

    @property
    def reader(self):
        """Return the file as pypdf reads it; nothing big is kept."""
        return PdfReader(io.BytesIO(self.pdf))

    @cached_property
    def pages(self):
        """Return the text of each page, every run of white space one space."""
        return [spaced(page.extract_text()) for page in self.reader.pages]

    @cached_property
    def text(self):
        """Return the text of all pages."""
        return " ".join(self.pages)


def spaced(text):
    """Return *text* with every run of white space as one space."""
    return re.sub(r"\s+", " ", text).strip()


def made(kind, job, rates, size=""):
    """Return a paper of any kind; the price board needs no job."""
    if kind == "price board":
        return board(rates, size)
    return paper(kind, job, rates, size=size)


@cache
def shown(kind, job="", size="", **values):
    """Return a job's paper as HTML, by rates of a shop with other values."""
    return Shown(made(kind, job, shop(**values), size))


@cache
def printed(kind, job="", size="", **values):
    """Return it as PDF; made once in a run of the tests."""
    return Printed(made(kind, job, shop(**values), size))


#: Pixels of a module of a drawn code.
MODULE = 4

#: A step of the outline: where to go, or how far to go dark.
STEP = re.compile(r"([Mmh])(-?[\d.]+)(?: ?(-?[\d.]+))?")


def drawn(svg):
    """Return the picture that an SVG of horizontal strokes draws, and its width."""
    [side] = set(map(int, re.search(r'viewBox="0 0 (\d+) (\d+)"', svg).groups()))
    picture = Image.new("L", (side * MODULE, side * MODULE), "white")
    draw = ImageDraw.Draw(picture)
    x = y = 0.0
    for step, first, second in STEP.findall(re.search(r' d="([^"]+)"', svg)[1]):
        if step == "h":
            box = [x, y - 0.5, x + float(first), y + 0.5]
            left, top, right, bottom = (round(edge * MODULE) for edge in box)
            draw.rectangle((left, top, right - 1, bottom - 1), fill="black")
            x += float(first)
        elif step == "M":
            x, y = float(first), float(second)
        else:
            x, y = x + float(first), y + float(second)
    return picture, side
