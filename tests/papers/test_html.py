"""The structure of the papers' HTML: what assistive technology and printing rely on.

Parsed by tinyhtml5, an outside parser by the WHATWG HTML standard that lists every
parse error.
"""

import re
from functools import cache

import pytest
from printing import JOBS, KINDS, LOOSE, board, made, named, paper, shop, with_lines
from tinyhtml5.parser import HTMLParser

from quoting.i18n import Formats

SVG = "{http://www.w3.org/2000/svg}"
EVERY = [
    *[(kind, name) for kind in KINDS for name in JOBS],
    ("price board", "no head"),
]


def parsed(html):
    """Return the root element, and the parse errors."""
    parser = HTMLParser(namespace_html_elements=False)
    return parser.parse(html), parser.errors


@cache
def tree(kind, name):
    return parsed(made(kind, JOBS[name], shop()).html)


@pytest.fixture(params=EVERY, ids=" of ".join)
def root(request):
    root, errors = tree(*request.param)
    assert errors == []
    return root


def text(element):
    return " ".join("".join(element.itertext()).split())


# --- Nesting ---


def test_the_parser_sees_what_is_wrong():
    """A negative control: a paragraph inside a table row, and a stray end tag."""
    html = paper("quote", LOOSE).html

    assert parsed(html.replace("</tr>", "<p>x</tr>", 1))[1]
    assert parsed(html.replace("</main>", "</div></main>"))[1]


def test_language_title_and_encoding_are_said(root):
    assert root.get("lang") == "en"
    assert text(root.find("head/title"))
    assert root.find("head/meta").get("charset") == "utf-8"


def test_one_first_heading_and_no_level_left_out(root):
    levels = [int(e.tag[1]) for e in root.iter() if re.fullmatch("h[1-6]", str(e.tag))]

    assert levels[0] == 1
    assert levels.count(1) == 1
    assert set(levels) <= {1, 2}


def test_the_first_heading_is_the_title_of_the_file(root):
    assert text(next(root.iter("h1"))) == text(root.find("head/title"))


def test_nothing_in_a_paper_acts(root):
    for element in root.iter():
        assert element.tag not in {
            "script",
            "iframe",
            "object",
            "embed",
            "form",
            "link",
        }
        for name, value in element.attrib.items():
            assert not name.startswith("on")
            assert "javascript:" not in value
            assert name not in ("href", "src")


def test_ids_are_unique_and_references_lead_somewhere(root):
    ids = [element.get("id") for element in root.iter() if element.get("id")]

    assert len(ids) == len(set(ids))
    for element in root.iter():
        for name in ("aria-labelledby", "aria-describedby"):
            assert element.get(name) is None or element.get(name) in ids


# --- Tables ---


def test_every_header_says_what_it_heads(root):
    """WCAG 2.2 success criterion 1.3.1, technique H63."""
    headers = list(root.iter("th"))

    assert headers
    assert {header.get("scope") for header in headers} <= {
        "col", "row", "colgroup", "rowgroup",
    }  # fmt: skip
    assert all(text(header) for header in headers)


def test_every_table_has_headers_and_regular_rows(root):
    for table in root.iter("table"):
        assert list(table.iter("th"))
        widths = {sum(row) for row in grid(table)}
        assert len(widths) == 1
        if (columns := len(table.findall("colgroup/col"))) > 0:
            assert widths == {columns}


def grid(table):
    """Yield each row's widths, cells from rows above counted in."""
    hanging = []
    for row in table.iter("tr"):
        cells = [
            (int(cell.get("colspan", 1)), int(cell.get("rowspan", 1))) for cell in row
        ]
        yield [*(width for width, _ in cells), *(width for width, _ in hanging)]
        left = [(width, rows - 1) for width, rows in (*hanging, *cells)]
        hanging = [(width, rows) for width, rows in left if rows > 0]


def test_long_tables_have_a_head_to_repeat(root):
    for table in root.iter("table"):
        if len(list(table.iter("tr"))) > 12:
            assert table.find("thead") is not None


def test_lists_hold_items_only(root):
    for element in (*root.iter("ol"), *root.iter("ul")):
        assert {child.tag for child in element} == {"li"}


# --- Figures ---


@pytest.mark.parametrize("kind", ["quote", "work order"])
def test_the_plan_is_one_image_with_a_name_and_a_description(kind):
    root, _ = parsed(paper(kind, JOBS["two heads"]).html)
    [figure] = root.iter(f"{SVG}svg")

    assert figure.get("role") == "img"
    assert text(figure.find(f"{SVG}title")) == "Plan of heads A (left), B (right)"
    says = text(figure.find(f"{SVG}desc"))
    assert "To be done: cylinder 1, exhaust 1." in says
    assert "To be done: cylinder 3, exhaust 1; cylinder 3, exhaust 2." in says


@pytest.mark.parametrize("name", ["no head", "side valve"])
@pytest.mark.parametrize("kind", KINDS)
def test_without_valves_there_is_no_plan(kind, name):
    assert "<svg" not in paper(kind, JOBS[name]).html


def test_under_the_plan_stands_what_is_filled():
    """8 of 16 valves get new guides in the second way; the first has no such work."""
    html = paper("quote", JOBS["two ways"]).html

    assert html.count("<svg") == 1
    assert "B. Filled: replace guides, size guides; 8 of 16 valves." in html


def test_where_every_valve_is_worked_on_all_are_filled():
    html = paper("work order", JOBS["one way"]).html

    assert "Filled: worked on, all 16 valves." in html
    assert len(re.findall('class="valve to-do"[^>]* data-position=', html)) == 16


# --- Texts from outside ---

TYPED = 'Tom & Jerry\'s <b>"Heads"</b> {{ 7*7 }} {% raw %} &lt; </main>'


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_typed_is_read_back_as_it_was_typed(kind):
    root, errors = parsed(paper(kind, named(TYPED)).html)
    [to] = [e for e in root.iter("p") if e.get("class") == "to"]

    assert errors == []
    assert TYPED in text(to)


def test_a_wide_sign_that_the_font_lacks_becomes_text_not_markup():
    """U+FF1C is a compatible form of < (Unicode NFKC)."""
    root, errors = parsed(paper("quote", named("\uff1cimg src=x\uff1e")).html)

    assert errors == []
    assert not list(root.iter("img"))
    assert "<img src=x>" in text(root)


def test_an_accent_never_joins_the_tag_before_it():
    """U+003E and U+0338 would be composed to U+226F (Unicode NFC)."""
    root, errors = parsed(paper("quote", named("\u0338Osgood")).html)

    assert errors == []
    assert "Osgood" in text(root)


def test_an_accent_typed_apart_is_joined_to_its_letter():
    """U+03B1 U+0314 is U+1F01, which the font has; it lacks the mark alone."""
    assert "\u1f01 Garage" in paper("quote", named("\u03b1\u0314 Garage")).html


def test_an_address_of_many_lines_is_all_there():
    lines = [f"line {n}" for n in range(1, 13)]
    job = LOOSE.replace('"4 Ferry Steps", "Marlhaven"', str(lines).replace("'", '"'))
    root, _ = parsed(paper("invoice", job).html)

    assert " ".join(lines) not in text(root)  # each on its own
    assert all(line in text(root) for line in lines)


# --- The papers' own words ---


def test_the_size_of_paper_comes_from_the_locale_unless_asked_for():
    assert "size: A4;" in paper("quote", LOOSE).html
    assert "size: Letter;" in paper("quote", LOOSE, size="Letter").html
    assert "size: Letter;" in paper("quote", LOOSE, shop(locale="en_US")).html
    assert "size: A4;" in board(shop(locale="en_US"), size="A4").html


def test_every_row_of_many_is_a_row_of_its_own():
    root, _ = parsed(paper("invoice", with_lines(200)).html)
    rows = [row for row in root.iter("tr") if "Repair number" in text(row)]

    assert len(rows) == 200


def test_papers_write_as_the_locale_does_and_name_the_currency_of_each_column():
    rates = shop(locale="de_DE", currency="EUR")
    root, _ = parsed(paper("quote", JOBS["two ways"], rates).html)
    heads = [text(head) for head in root.iter("th") if head.get("scope") == "col"]

    assert "A, EUR" in heads
    assert "B, EUR" in heads
    assert "527,78 \N{EURO SIGN}" in text(root)
    assert "25. November 2026" in text(root)
    assert Formats("de_DE", rates.currency).paper == "A4"


def test_amounts_of_a_table_stand_without_a_sign_so_that_the_decimals_line_up():
    rates = shop(locale="de_DE", currency="EUR")
    root, _ = parsed(paper("invoice", JOBS["two ways"], rates).html)
    figures = [text(e) for e in root.iter("td") if e.get("class") == "num"]

    assert "625,42" in figures
    assert all(re.fullmatch(r"-?[\d.]+,\d\d", figure) for figure in figures)
