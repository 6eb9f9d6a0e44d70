"""The PDF files: valid PDF/UA-1, one embedded font, the same bytes, nothing fetched.

Validated by page-validation, an outside reading of ISO 14289-1 (PDF/UA-1).
"""

import logging
import os
import re
import subprocess
import sys
import threading
import unicodedata
from dataclasses import replace
from functools import cache
from hashlib import sha256
from html import escape
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from urllib.parse import unquote, urlsplit

import page as validator
import pytest
from fontTools.ttLib import TTFont
from printing import (
    JOBS,
    KINDS,
    LOOKED_AT,
    LOOSE,
    Printed,
    board,
    named,
    paper,
    printed,
    shop,
    shown,
)

from quoting.papers import fonts
from quoting.papers.html import Paper
from quoting.papers.pdf import OPTIONS, to_pdf

pytestmark = pytest.mark.needs_pdf

#: Currency and its decimals (ISO 4217) for the locales that papers are looked at in.
LOCALES = {
    "en_GB": ("GBP", 2), "en_US": ("USD", 2), "de_DE": ("EUR", 2),
    "fr_CA": ("CAD", 2), "ja_JP": ("JPY", 0), "ar_EG": ("EGP", 2),
    "hi_IN": ("INR", 2), "de_CH": ("CHF", 2), "sv_SE": ("SEK", 2),
    "ar_KW": ("KWD", 3),
}  # fmt: skip
#: Scripts, directions, numerals and orders of words of many kinds.
VARIED = {
    "am_ET": ("ETB", 2), "az_AZ": ("AZN", 2), "bn_BD": ("BDT", 2),
    "el_GR": ("EUR", 2), "eu_ES": ("EUR", 2), "fa_IR": ("IRR", 0),
    "fr_FR": ("EUR", 2), "he_IL": ("ILS", 2), "hu_HU": ("HUF", 2),
    "ka_GE": ("GEL", 2), "km_KH": ("KHR", 2), "ko_KR": ("KRW", 0),
    "lv_LV": ("EUR", 2), "ml_IN": ("INR", 2), "my_MM": ("MMK", 2),
    "nl_NL": ("EUR", 2), "pl_PL": ("PLN", 2), "ru_RU": ("RUB", 2),
    "ta_LK": ("LKR", 2), "th_TH": ("THB", 2), "tr_TR": ("TRY", 2),
    "ur_PK": ("PKR", 2), "vi_VN": ("VND", 0), "yo_NG": ("NGN", 2),
    "zh_CN": ("CNY", 2),
}  # fmt: skip


def failures(pdf):
    """Return the rules of PDF/UA-1 that a file breaks."""
    profile = validator.ValidationProfile.PDF_UA_1
    report = validator.validate_pdf_bytes(pdf, profile=profile)
    assert report.is_compliant == (not report.failures)
    return {failure.rule_id for failure in report.failures}


def in_locale(kind, locale):
    """Return a short paper of a kind as a shop of another country would print it."""
    currency, digits = (LOCALES | VARIED)[locale]
    values = {"locale": locale, "currency": currency, "digits": digits}
    if kind != "price board":
        return printed(kind, LOOSE, **values)
    rates = shop(**values)
    few = {
        code: replace(row, on_board=code in ("LEAK", "SCUT", "SKIM"))
        for code, row in rates.operations.items()
    }
    return Printed(board(replace(rates, operations=few)))


@cache
def laid_out(html, **options):
    """Return a PDF of *html*, made without anything of ours."""
    import weasyprint

    return weasyprint.HTML(string=html).write_pdf(**options)


# --- PDF/UA-1 ---


@pytest.mark.parametrize(("kind", "name"), LOOKED_AT)
def test_papers_are_valid_pdf_ua_1(kind, name):
    assert failures(printed(kind, JOBS[name]).pdf) == set()


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("kind", [*KINDS, "price board"])
def test_papers_of_each_locale_are_valid_pdf_ua_1(kind, locale):
    assert failures(in_locale(kind, locale).pdf) == set()


@pytest.mark.parametrize("locale", VARIED)
def test_a_quote_in_any_script_is_valid_and_has_no_lozenge_in_money_or_dates(locale):
    this = in_locale("quote", locale)

    assert failures(this.pdf) == set()
    assert fonts.LACKING not in this.text


@pytest.mark.parametrize(
    ("locale", "money", "day"),
    [
        ("ar_EG", "EGP 55.02", "2026-11-25"),
        ("ar_KW", "KWD 55.015", "2026-11-25"),  # 46.426 and 18.5 % of it, 8.589
        ("th_TH", "THB 55.02", "2026-11-25"),
        ("ja_JP", "\N{YEN SIGN}55", "2026-11-25"),
        ("hi_IN", "\N{INDIAN RUPEE SIGN}55.02", "2026-11-25"),
        ("zh_CN", "\N{YEN SIGN}55.02", "2026-11-25"),
        ("he_IL", "ILS 55.02", "2026-11-25"),
        ("de_CH", "CHF 55.02", "25. November 2026"),
        ("sv_SE", "55,02 kr", "25 november 2026"),
        ("el_GR", "55,02 \N{EURO SIGN}", "25 Νοεμβρίου 2026"),
    ],
)
def test_what_the_font_lacks_is_written_as_iso_code_and_iso_date(locale, money, day):
    """ISO 4217 code and ISO 8601 date; where the font can, as Unicode CLDR has it."""
    text = in_locale("quote", locale).text

    assert money in text
    assert f"date {day}" in text


NAMES = {
    "chinese and japanese": "\u5c71\u7530\u81ea\u52d5\u8eca",
    "arabic": "\u0648\u0631\u0634\u0629",
    "emoji with joiners": "\U0001f468\u200d\U0001f527 Garage \U0001f3fd",
    "private use": "Osgood \ue000\U000f0000",
    "controls": "Osgood\\u0085 Garage\\u0090",
    "marks and joiners": "Os\u200dgood \ufeff\u2066Garage\u2069 \u00ad\u202e",
    "unassigned": "Osgood \u0378 \U000e0fff",
    "spaces and lines": "Os\u2003good\u3000Gar\\u2028age\\u2029",
    "accents apart": "Zoe\u0308 O\u0323\u0301do\u0301n",
    "wide letters": "\uff2f\uff53\uff47\uff4f\uff4f\uff44 \ufb01\ufb00",
    "first a mark": "\u0338\u0301Osgood",
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_name_that_the_font_lacks_breaks_no_paper(name):
    job = LOOSE.replace("Osgood & Daughters Garage", name)

    assert failures(printed("work order", job).pdf) == set()


@pytest.mark.parametrize("kind", KINDS)
def test_a_paper_says_so_where_a_lozenge_stands_for_a_character(kind):
    lacking = printed(kind, named("\u5c71 Garage"))

    assert failures(lacking.pdf) == set()
    assert "\N{LOZENGE} Garage" in lacking.text
    assert "A lozenge (\N{LOZENGE}) stands for a character" in lacking.text
    assert "lozenge" not in shown(kind, named("Zoë O\u0301sgood")).text
    assert "lozenge" not in shown(kind, named("Os\u200egood \N{LOZENGE}")).text


def test_every_character_that_the_font_has_prints_as_valid_pdf_ua_1():
    """All of them on one paper: letters, digits, signs, accents, spaces."""
    faces = [TTFont(unquote(urlsplit(url).path)) for url in fonts.faces().values()]
    every = set.intersection(*(set(face.getBestCmap()) for face in faces))
    text = escape("".join(map(chr, sorted(every))))
    this = paper("quote", named("NAME"))

    assert len(every) > 1000
    html = this.html.replace("NAME", text)
    assert failures(to_pdf(this._replace(html=html))) == set()


BROKEN = {
    "no language": (lambda html: html.replace(' lang="en"', "", 1), "LANGUAGE"),
    "no title": (lambda html: re.sub("<title>.*?</title>", "", html), "TITLE"),
    "no text for the figure": (
        lambda html: re.sub("<title id=.*?</title>", "", html),
        "FIGURE-ALTERNATIVE-TEXT",
    ),
    "a character without a glyph": (
        lambda html: html.replace("Osgood", "\ue000"),
        "NOTDEF-GLYPH",
    ),
}


@pytest.mark.parametrize(("break_it", "rule"), BROKEN.values(), ids=BROKEN)
def test_the_validator_sees_what_is_wrong(break_it, rule):
    """Negative controls: each of these HTML changes must fail its own rule."""
    html = printed("quote", JOBS["side valve"]).paper.html
    html = html.replace("</main>", TINY_FIGURE + "</main>")
    assert failures(laid_out(html, **OPTIONS)) == set()

    [failed] = failures(laid_out(break_it(html), **OPTIONS))
    assert rule in failed


TINY_FIGURE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">'
    '<title id="tiny">A dot</title><circle cx="4" cy="4" r="3"/></svg>'
)


def test_the_validator_refuses_an_untagged_file():
    untagged = laid_out(paper("quote", LOOSE).html)

    assert "PDFUA1-STRUCT-TREE-ROOT-001" in failures(untagged)


# --- What the file says of itself ---


@pytest.mark.parametrize("kind", [*KINDS, "price board"])
def test_language_and_title_are_set_and_the_title_is_shown(kind):
    this = printed(kind, JOBS["two ways"])
    root = this.reader.trailer["/Root"]
    title = {
        "quote": "Quote Q-0417",
        "work order": "Work order Q-0417",
        "invoice": "Invoice INV-0417",
        "price board": "Price board",
    }[kind]

    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert this.reader.metadata.title == title
    assert this.reader.metadata.author == "Tallow Lane Heads"


@pytest.mark.parametrize("kind", [*KINDS, "price board"])
def test_the_day_of_a_paper_is_the_only_date_in_its_file(kind):
    this = printed(kind, JOBS["two ways"])
    metadata = this.reader.metadata

    day = this.paper.made
    assert metadata.creation_date_raw == metadata.modification_date_raw
    assert metadata.creation_date_raw == f"D:{day:%Y%m%d}"


@pytest.mark.parametrize(("kind", "name"), LOOKED_AT)
def test_the_packaged_font_is_embedded_and_no_other_is_used(kind, name):
    assert set(font_names(printed(kind, JOBS[name]))) <= OURS


@pytest.mark.parametrize("locale", VARIED)
def test_no_script_makes_another_font_creep_in(locale):
    assert set(font_names(in_locale("quote", locale))) <= OURS


OURS = {"Source-Sans-Pro", "Source-Sans-Pro-Semi-Bold"}


def font_names(printed):
    """Yield the name of each font of each page; all must be embedded subsets."""
    for page in printed.reader.pages:
        for reference in page["/Resources"]["/Font"].values():
            font = reference.get_object()
            subset, name = font["/BaseFont"].lstrip("/").split("+")
            assert len(subset) == 6
            [inner] = font["/DescendantFonts"]
            assert "/FontFile2" in inner.get_object()["/FontDescriptor"].get_object()
            yield name


def test_another_font_would_be_noticed():
    """A negative control: what the font lacks, laid out without replacing it."""
    html = paper("quote", LOOSE).html.replace("Osgood", "\U0001f600 \u05d0")
    this = printed("quote", LOOSE)
    other = Printed(this.paper._replace(html=html))

    assert not set(font_names(other)) <= OURS


def test_a_figure_has_its_text_in_the_file():
    """PDF/UA-1 7.3: a figure has an alternative."""
    reader = printed("quote", JOBS["two ways"]).reader
    figures = [
        element
        for element in (reader.get_object(n) for n in range(1, reader_size(reader)))
        if isinstance(element, dict) and element.get("/S") == "/Figure"
    ]

    assert [figure["/Alt"] for figure in figures] == ["Plan of head A"]


def reader_size(reader):
    return reader.trailer["/Size"]


# --- The same bytes ---


@pytest.mark.parametrize("kind", [*KINDS, "price board"])
def test_the_same_paper_made_again_is_the_same_file(kind):
    again = paper(kind, LOOSE) if kind in KINDS else printed(kind, LOOSE).paper

    assert to_pdf(again) == printed(kind, LOOSE).pdf


OTHER_PROCESS = """
import sys
from hashlib import sha256
from printing import JOBS, printed
print(sha256(printed("quote", JOBS["two ways"]).pdf).hexdigest())
"""


def test_another_process_in_another_zone_makes_the_same_file():
    tests = str(Path(__file__).parents[1])
    elsewhere = {"TZ": "Pacific/Auckland", "PYTHONHASHSEED": "1", "PYTHONPATH": tests}
    run = subprocess.run(
        [sys.executable, "-c", OTHER_PROCESS],
        env={**os.environ, **elsewhere},
        capture_output=True,
        text=True,
        check=True,
    )

    here = sha256(printed("quote", JOBS["two ways"]).pdf).hexdigest()
    assert run.stdout.strip() == here


# --- Nothing is fetched ---


@pytest.fixture
def asked():
    """Yield the address of a server, and the list of what it is asked for."""
    wanted = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            wanted.append(self.path)
            self.send_error(404)

        def log_message(self, *_arguments):
            """Keep quiet."""

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.01,))
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}", wanted
        server.shutdown()
        thread.join()


HOSTILE = [
    '<img src="{address}/img">',
    "<img src={address}/bare>",
    '<link rel="stylesheet" href="{address}/css">',
    "</style><style>@import url({address}/import);</style>",
    '"><iframe src="{address}/frame"></iframe>',
    '<svg><image href="{address}/svg"/></svg>',
    '<a href="javascript:alert(1)" style="background: url({address}/a)">x</a>',
    "\uff1cimg src={address}/wide\uff1e",
    "\ufe64img src={address}/small\ufe65",
    "\uff1cimg src=\uff02{address}/quoted\uff02\uff1e",
]


def test_markup_in_any_text_is_text_and_nothing_is_fetched(asked):
    """Names of customer, engine, head and shop, and descriptions, of every kind."""
    address, wanted = asked
    texts = [text.format(address=address) for text in HOSTILE]
    job = (
        named(texts[0]).replace("[customer]", f"[customer]\nengine = '{texts[7]}'")
        + f"[[heads]]\nlayout = 'L27'\nlabel = '{texts[1]}'\n"
        + "".join(f"[[free]]\ndescription = '{t}'\namount = 1\n" for t in texts)
    )
    for kind in KINDS:
        html = paper(kind, job, shop(name=texts[1])).html
        assert not re.search(r"<(img|link|iframe|image|a|script)\b", html)
        assert html.count("<style>") == 1
    this = printed("quote", job, name=texts[1])

    assert wanted == []
    on_paper = re.sub(r"\s", "", this.text)
    for text in texts:
        assert re.sub(r"\s", "", unicodedata.normalize("NFKC", text)) in on_paper


@pytest.mark.parametrize("scheme", ["http", "file"])
def test_even_real_markup_would_fetch_nothing_but_the_font(asked, tmp_path, scheme):
    address, wanted = asked
    picture = tmp_path / "picture.svg"
    picture.write_text('<svg xmlns="http://www.w3.org/2000/svg"><text>x</text></svg>')
    source = f"{address}/real" if scheme == "http" else picture.as_uri()
    this = paper("quote", LOOSE)
    html = this.html.replace("Osgood", f'<img alt="a" src="{source}">')
    refused = []
    handler = logging.Handler()
    handler.emit = lambda record: refused.append(record.getMessage())
    log = logging.getLogger("weasyprint")
    log.addHandler(handler)
    try:
        to_pdf(Paper(html, this.title, this.made))
    finally:
        log.removeHandler(handler)

    assert wanted == []
    assert any("fetches nothing" in message for message in refused)


def test_the_server_would_have_been_asked_by_a_plain_layout(asked):
    """A negative control: the same picture without our fetcher."""
    address, wanted = asked
    html = paper("quote", LOOSE).html
    laid_out(html.replace("Osgood", f'<img alt="a" src="{address}/real">'))

    assert wanted == ["/real"]
