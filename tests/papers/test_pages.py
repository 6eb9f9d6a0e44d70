"""How papers break over pages, and that nothing on them is cut off or overlaps."""

import re

import pytest
from printing import (
    CUSTOMER,
    HEAD,
    INVOICE,
    JOBS,
    KINDS,
    LOOKED_AT,
    LOOSE,
    OVERHEATED,
    TOP,
    named,
    paper,
    printed,
    shop,
    shown,
    with_lines,
)

from quoting.papers.pdf import document

pytestmark = pytest.mark.needs_pdf

#: One page holds about twenty lines of these: around there, and well beyond.
COUNTS = [17, 18, 19, 20, 24, 25, 60]


def squeezed(text):
    return re.sub(r"\s", "", text)


# --- Everything is there ---


@pytest.mark.parametrize(("kind", "name"), LOOKED_AT)
def test_every_word_of_the_html_is_on_the_pdf(kind, name):
    on_paper = squeezed(printed(kind, JOBS[name]).text)

    for words in shown(kind, JOBS[name]).chunks:
        assert squeezed(words) in on_paper


@pytest.mark.parametrize("kind", [*KINDS, "price board"])
def test_every_page_closes_with_the_title_block(kind):
    this = printed(kind, JOBS["two ways"])

    for number, page in enumerate(this.pages, 1):
        assert page.endswith(f"page {number} of {len(this.pages)}")
        assert "Tallow Lane Heads" in page


def test_every_page_of_a_specimen_says_so():
    for page in printed("invoice", JOBS["two ways"]).pages:
        assert "specimen not issued" in page


@pytest.mark.parametrize(
    ("kind", "job", "most"),
    [
        ("quote", JOBS["two ways"], 2),
        ("quote", JOBS["one way"], 2),
        ("quote", LOOSE, 1),
        ("quote", JOBS["side valve"], 1),
        ("quote", with_lines(60), 3),
        ("invoice", JOBS["two ways"], 2),
        ("invoice", LOOSE, 1),
        ("work order", LOOSE, 1),
        ("work order", JOBS["two ways"], 4),
        ("price board", "", 2),
    ],
)
def test_papers_are_no_longer_than_they_need_to_be(kind, job, most):
    assert len(printed(kind, job).pages) <= most


# --- Breaks ---


@pytest.mark.parametrize("count", COUNTS)
def test_totals_are_never_alone_and_a_heading_is_never_last(count):
    pages = printed("quote", with_lines(count)).pages

    for page in pages:
        if "Repair number" in page:
            assert "What will be done worked out from GBP" in page
        if "Charges and discounts" in page:
            assert re.search(r"Charges and discounts \w.*? \d+\.\d\d ", page)
        if " Total " in page:
            rows_before = re.findall(r"\d\.\d\d (?=[A-Z])", page[: page.index(" Net ")])
            assert len(rows_before) >= 2
            assert re.search(r" Net [\d.,]+ Levy .* Total [\d.,]+", page)
    assert sum(" Total " in page for page in pages) == 1
    assert sum("How to say yes" in page for page in pages) == 1


@pytest.mark.parametrize("kind", ["quote", "invoice"])
def test_the_header_row_stands_on_each_page_of_sixty_lines(kind):
    this = printed(kind, with_lines(60))

    assert len(this.pages) >= 2
    for page in this.pages:
        if "Repair number" in page:
            assert "worked out from" in page
    numbers = [int(n) for n in re.findall(r"Repair number (\d+)", this.text)]
    assert numbers == list(range(1, 61))


def test_the_rows_of_the_route_card_and_of_readings_have_their_headers_on_each_page():
    pages = printed("work order", JOBS["two ways"]).pages
    routed = [page for page in pages if re.search(r"\d the head|\d+ valves \d", page)]
    read = [page for page in pages if "4E1" in page and "timing end" not in page]

    assert len(routed) > 1
    assert len(read) > 1
    for page in routed:
        assert "no. at step where planned minutes initials" in page
    for page in read:
        assert "valve" in page
        assert "found left" in page


def test_a_row_of_several_lines_is_not_split():
    """Each row's first and last word are on the same page, wherever it falls."""
    words = "Begin {n} " + "dress the broken ear of the housing " * 6 + "end {n}"
    pages = printed("quote", with_lines(40, words)).pages

    for n in range(1, 41):
        [at] = [i for i, page in enumerate(pages) if f"Begin {n} " in page]
        assert re.search(rf"Begin {n} (?:(?!Begin).)*end {n} ", pages[at])


@pytest.mark.parametrize("count", [13, 14, 15, 16])
def test_a_total_a_deposit_and_what_is_to_pay_stay_together(count):
    """On an invoice of these lengths the page ends somewhere among them."""
    deposit = '[[deposits]]\namount = "5.00"\n'
    pages = printed("invoice", with_lines(count) + deposit).pages

    [at] = [page for page in pages if "Deposits received" in page]
    assert re.search(r" Net .* Total .* Deposits received -5\.00 To pay ", at)


def test_what_else_one_should_know_stays_in_one_piece_with_the_yes():
    """On US Letter the demonstration's second page ends among it."""
    pages = printed("quote", JOBS["two ways"], locale="en_US").pages

    words = ("What else you should know", "Guarantee", "How to say yes")
    assert [page for page in pages if all(word in page for word in words)]
    assert sum(any(word in page for word in words) for page in pages) == 1


# --- Nothing is cut off, nothing overlaps ---

LONG = (
    "Amalgamated Upper and Lower Marlhaven Agricultural, Marine, Stationary and "
    "Narrow-Gauge Engine Owners' Mutual Repair Association, Northern Branch"
)
ONE_WORD = "Seatinsertcounterboringandrefacing" * 4
LENGTHY = f"""{TOP}
[customer]
name = "{LONG}"
address = ["{LONG[:90]}", "{ONE_WORD}"]
order_number = "{ONE_WORD}"
engine = "{LONG}"
{INVOICE}{HEAD}{OVERHEATED}
[[free]]
description = "{ONE_WORD}"
amount = "1234567.89"
[[free]]
description = "{LONG}"
amount = "0.01"
"""
TIGHT = {
    "long words": (LENGTHY, {}),
    "three decimals": (LENGTHY, {"currency": "KWD", "digits": 3}),
    "big figures": (
        LENGTHY + "".join(f'[[alternatives]]\nlabel = "{w}"\n' for w in "xyz"),
        {"currency": "KWD", "digits": 3},
    ),
    "code for a sign": (JOBS["two ways"], {"locale": "ar_EG", "currency": "EGP"}),
    "long dates": (JOBS["two ways"], {"locale": "eu_ES", "currency": "EUR"}),
    "US Letter": (JOBS["three ways"], {"locale": "en_US"}),
    "six heads": (JOBS["six single heads"], {}),
}
BOTH = ("long words", "three decimals")


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        *[("work order" if name == "six heads" else "quote", name) for name in TIGHT],
        *[("invoice", name) for name in BOTH],
    ],
)
def test_text_stays_within_its_cell_and_the_page(kind, name):
    job, values = TIGHT[name]

    assert not list(outside(paper(kind, job, shop(**values))))


def test_a_long_name_does_not_push_the_work_order_or_its_title_block_off_the_page():
    assert not list(outside(paper("work order", named(LONG))))


def test_text_that_is_too_wide_for_its_cell_would_be_noticed():
    """The same, where no word may be broken: a negative control."""
    rigid = paper("quote", LENGTHY)
    rigid = rigid._replace(
        html=rigid.html.replace("overflow-wrap: anywhere", "overflow-wrap: normal")
    )

    assert list(outside(rigid))


SLACK = 0.5  # of a CSS pixel


def outside(paper):
    """Yield every text that sticks out of its table cell or of the page's area."""
    for page in document(paper).pages:
        area = page._page_box
        yield from sticking_out(area, 0, area.width + area.margin_left + 1)
        for box in area.descendants():
            if type(box).__name__ == "TableCellBox":  # of a table or of areas in a row
                left = box.position_x
                right = left + box.border_width()
                yield from sticking_out(box, left, right)
        bottom = area.margin_top + area.height + area.margin_bottom
        for box in area.descendants():
            if getattr(box, "text", "") and box.position_y + box.height > bottom:
                yield box.text


def sticking_out(box, left, right):
    for inner in box.descendants():
        if getattr(inner, "text", "").strip():
            if inner.position_x < left - SLACK:
                yield inner.text
            if inner.position_x + inner.width > right + SLACK:
                yield inner.text


# --- Paper ---


@pytest.mark.parametrize(
    ("locale", "size", "points"),
    [
        ("en_GB", "A4", (595, 842)),
        ("en_GB", "Letter", (612, 792)),
        ("en_US", "", (612, 792)),
        ("de_DE", "", (595, 842)),
    ],
)
def test_paper_is_a4_or_letter(locale, size, points):
    """A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1).

    Which country uses which: Unicode CLDR, supplemental data.
    """
    [page] = printed("quote", LOOSE, size, locale=locale).reader.pages

    assert (round(page.mediabox.width), round(page.mediabox.height)) == points


def test_both_papers_take_a_customer_without_an_address():
    job = LOOSE.replace(CUSTOMER, '[customer]\nname = "Cash"\n')
    for size in ("A4", "Letter"):
        assert len(printed("invoice", job, size).pages) == 1
