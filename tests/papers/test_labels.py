"""Tag labels: a small page a head, with a code that a camera reads.

The code is read by ZXing, an outside reading of ISO/IEC 18004 (QR code).
"""

import re
from dataclasses import replace
from datetime import date

import page as validator
import pytest
import zxingcpp
from PIL import ImageDraw
from printing import MODULE, Printed, Shown, drawn, shop

from quoting.domain.counter import TaggedHead
from quoting.i18n import Formats
from quoting.papers.label import (
    MOST_VERSION,
    QUIET_ZONE,
    AddressTooLongError,
    Label,
    qr_code,
    tag_labels,
)
from quoting.papers.pdf import to_pdf

URL = "https://heads.example.org/jobs/W-0417/A"
LEFT = Label(
    head=TaggedHead("W-0417", "A", "Four-cylinder 16-valve, aluminium", "left"),
    customer="Osgood & Daughters Garage",
    on=date(2026, 11, 25),
    url=URL,
    cautions=("sodium-filled valves", "lifting"),
)
RIGHT = replace(
    LEFT,
    head=replace(LEFT.head, tag="B", label="right"),
    url=URL.replace("/A", "/B"),
    cautions=(),
)


def labels(*several):
    return tag_labels(shop().shop, several, Formats("en_GB", shop().currency))


def failures(pdf):
    """Return the rules of PDF/UA-1 that a file breaks."""
    profile = validator.ValidationProfile.PDF_UA_1
    report = validator.validate_pdf_bytes(pdf, profile=profile)
    return {failure.rule_id for failure in report.failures}


def codes(paper):
    """Return the SVG of each code on a paper."""
    return re.findall(r'<svg [^>]*class="code".*?</svg>', paper.html)


@pytest.mark.parametrize(
    "url", [URL, URL + "?a=1&b=2", "HTTPS://HEADS.EXAMPLE.ORG/7", URL + "x" * 200]
)
def test_the_code_on_a_label_reads_as_the_jobs_address(url):
    [svg] = codes(labels(replace(LEFT, url=url)))
    picture, _ = drawn(svg)

    [read] = zxingcpp.read_barcodes(picture)
    assert read.text == url
    assert str(read.format) in ("QRCode", "BarcodeFormat.QRCode", "QR Code")


def test_each_head_has_the_code_of_its_own_address():
    read = [
        zxingcpp.read_barcodes(drawn(svg)[0])[0].text
        for svg in codes(labels(LEFT, RIGHT))
    ]

    assert read == [LEFT.url, RIGHT.url]


@pytest.mark.parametrize("length", [1, 20, 60, 120, 250])
def test_a_code_withstands_a_damage_of_fifteen_per_cent_or_more(length):
    """ISO/IEC 18004: level M restores about 15 %, Q 25 %, H 30 %."""
    assert qr_code("x" * length).error in ("M", "Q", "H")


def test_a_code_reads_with_a_scratch_across_it():
    picture, _ = drawn(codes(labels(LEFT))[0])
    width, height = picture.size
    scratch = (width // 2, height // 2, width // 2 + 3 * MODULE, height // 2 + MODULE)
    ImageDraw.Draw(picture).rectangle(scratch, fill="white")

    assert zxingcpp.read_barcodes(picture)[0].text == URL


def test_a_code_keeps_four_modules_blank_around_it():
    """ISO/IEC 18004: the quiet zone of a QR code is four modules wide."""
    picture, side = drawn(codes(labels(LEFT))[0])
    inked = picture.point(lambda grey: 255 - grey).getbbox()

    assert QUIET_ZONE == 4
    assert inked == (4 * MODULE, 4 * MODULE, (side - 4) * MODULE, (side - 4) * MODULE)


def test_the_finest_code_has_modules_of_half_a_millimetre():
    """ISO/IEC 18004: a symbol of version v is 17 + 4 v modules wide."""
    side = 17 + 4 * MOST_VERSION + 2 * QUIET_ZONE
    [width] = re.findall(r"\.code \{[^}]*width: (\d+)mm", labels(LEFT).html)

    assert int(width) / side >= 0.5


def test_an_address_too_long_for_the_label_is_refused_with_its_length():
    """ISO/IEC 18004: version 12 at level M holds 287 bytes."""
    assert int(qr_code("x" * 287).version) == MOST_VERSION
    for length in (288, 5000):
        with pytest.raises(AddressTooLongError, match=f"of {length} characters"):
            labels(replace(LEFT, url="x" * length))


def test_a_label_shows_order_tag_position_customer_layout_day_and_cautions():
    this = Shown(labels(LEFT)).text

    assert this == (
        "W-0417 A left Caution: sodium-filled valves, lifting "
        "Osgood & Daughters Garage Four-cylinder 16-valve, aluminium "
        "booked in 25 November 2026 Tallow Lane Heads"
    )
    assert "Caution" not in Shown(labels(RIGHT)).text


def test_a_label_says_so_where_a_lozenge_stands_for_a_character():
    this = Shown(labels(replace(LEFT, customer="\u5c71 Garage"), RIGHT)).text

    assert "\N{LOZENGE} Garage" in this
    assert this.count("a character that this label cannot print") == 1


@pytest.mark.needs_pdf
def test_labels_are_valid_pdf_ua_1_a_page_a_head_and_the_same_bytes_again():
    this = Printed(labels(LEFT, RIGHT))

    assert failures(this.pdf) == set()
    assert this.paper.title == "Labels W-0417"
    left, right = this.pages
    assert "left" in left
    assert "right" in right
    for page in this.reader.pages:
        points = (float(page.mediabox.width), float(page.mediabox.height))
        assert points == pytest.approx((62 / 25.4 * 72, 100 / 25.4 * 72), abs=0.1)
    assert to_pdf(labels(LEFT, RIGHT)) == this.pdf


@pytest.mark.needs_pdf
@pytest.mark.parametrize(
    "name",
    [
        "W" * 300,
        "Amalgamated Upper and Lower Marlhaven Engine Owners' Association",
        "\U0001f468\u200d\U0001f527 Garage",
        "\u202e\u05de\u05d5\u05e1\u05da\u202c",
        "</section><img src=x>",
        "",
    ],
    ids=["wide", "long", "emoji", "right to left", "markup", "none"],
)
def test_no_name_needs_a_second_page_or_breaks_a_label(name):
    head = TaggedHead(name, "AB", name, name)
    label = replace(LEFT, head=head, customer=name, cautions=(name, "lifting"))
    this = Printed(labels(label, label))

    assert failures(this.pdf) == set()
    assert len(this.pages) == 2
    assert all("Tallow Lane Heads" in page for page in this.pages)
    assert "<img" not in this.paper.html


@pytest.mark.needs_pdf
def test_sixty_heads_are_sixty_labels_in_their_order():
    several = [
        replace(LEFT, head=TaggedHead(f"W-{n}", "A", "Single")) for n in range(100, 160)
    ]
    this = Printed(labels(*several))

    assert failures(this.pdf) == set()
    assert [re.findall(r"W-\d+", page) for page in this.pages] == [
        [f"W-{n}"] for n in range(100, 160)
    ]
