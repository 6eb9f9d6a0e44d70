"""Heads in, a yes, a sale: through the screens, with and without scripts.

The code on a tag is drawn by Chromium and read by ZXing, an outside reading of
ISO/IEC 18004 (QR code); PDF files are read by pypdf.
"""

import re
import zipfile
from io import BytesIO

import pypdf
import pytest
import zxingcpp
from at_the_counter import FOUR, GUIDES, PAIR, Shop
from PIL import Image
from playwright.sync_api import expect

from quoting.store.models import DocumentIssued

pytestmark = [pytest.mark.needs_browser, pytest.mark.needs_pdf]


@pytest.fixture
def shop(house):
    return Shop(house.database, house.clock)


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def page(request, seat):
    return seat("counter", scripts=request.param)


def press(page, name):
    """Press a button that leads to another page."""
    with page.expect_navigation():
        page.get_by_role("button", name=name).first.click()


def follow(page, name):
    """Follow a link that leads to another page."""
    with page.expect_navigation():
        page.get_by_role("link", name=name, exact=True).click()


def printed(page, title):
    """Return the file behind the only link to a paper, opened."""
    [link] = page.get_by_role("link", name=re.compile(f"^{title}")).all()
    answer = page.request.get(link.get_attribute("href"))
    assert answer.body().startswith(b"%PDF")
    return pypdf.PdfReader(BytesIO(answer.body()))


def text_of(pdf):
    return "\n".join(sheet.extract_text() for sheet in pdf.pages)


def codes(page, html):
    """Return what the codes of a paper say, as a camera reads them."""
    drawn = page.context.new_page()
    drawn.set_content(html)
    pictures = [code.screenshot() for code in drawn.locator("svg.code").all()]
    drawn.close()
    return [
        zxingcpp.read_barcode(Image.open(BytesIO(picture))).text for picture in pictures
    ]


def test_a_pair_is_booked_in_and_the_code_on_its_tag_opens_the_job(page, shop):
    shop.yes(shop.quote(("", PAIR), customer_id=shop.customer()))
    page.goto("/counter")
    follow(page, "Book in Q-00001")
    page.get_by_label("Shelf or tray").first.fill("Tray 4")
    page.get_by_label("Shelf or tray").last.fill("Tray 7")

    press(page, "Book in")

    assert "W-00001 for Brook Farm Engines" in page.inner_text("h1")
    assert "Tray 4" in page.inner_text("#head-A")
    assert len(printed(page, "Labels").pages) == 2
    assert "Tray 7" in text_of(printed(page, "Booking-in slip"))
    assert "W-00001" in text_of(printed(page, "Work order"))
    first, second = codes(page, shop.paper("tag labels")[1])
    assert first != second
    page.goto(second)
    assert page.url.endswith("/counter/orders/1#head-B")
    assert "Tray 7" in page.inner_text("tr:target")


def test_four_quotes_off_one_van_get_four_tags_and_one_slip(page, shop):
    customer = shop.customer()
    for _ in range(4):
        shop.yes(shop.quote(("", FOUR), customer_id=customer))
    page.goto("/counter")
    follow(page, "Book in Q-00001")
    for number in ("Q-00002", "Q-00003", "Q-00004"):
        page.get_by_label(number).check()
    press(page, "Book them in together")

    press(page, re.compile(r"^Book in$"))

    numbers = ["W-00001", "W-00002", "W-00003", "W-00004"]
    assert numbers[0] in page.inner_text("h1")
    for number in numbers[1:]:
        assert page.get_by_role("link", name=number, exact=True).count() == 1
    assert len(printed(page, "Labels").pages) == 4
    slip = text_of(printed(page, "Booking-in slip"))
    assert [number for number in numbers if number in slip] == numbers


def test_a_yes_to_one_of_two_ways_is_recorded_with_its_price(page, shop):
    ways = ("repair", FOUR), ("with guides", GUIDES)
    key = shop.quote(*ways, customer_id=shop.customer())
    page.goto(f"/quotes/{key}")
    page.get_by_role("radio", name="with guides").check()
    page.get_by_label("Who said it").fill("Ann Brook")

    press(page, "Record the yes")

    assert "The yes is on record." in page.inner_text("[role=status]")
    price = f"£{shop.told(GUIDES).total:,.2f}"
    assert "Yes from Ann Brook, by phone" in page.inner_text("main")
    assert re.search(f"to with guides up to {price} with tax", page.inner_text("main"))
    assert shop.read(key).ways_chosen == [2]


def test_a_sale_over_the_counter_ends_in_a_paid_invoice(page, shop):
    price = f"£{shop.told(FOUR).total:,.2f}"
    page.goto("/counter/sale")
    page.get_by_label("What is sold").fill(FOUR)
    page.get_by_label("Who buys").fill("Pat Ellery")
    if page.evaluate("matchMedia('(scripting: enabled)').matches"):
        page.wait_for_selector("#take")
        with page.expect_navigation():
            page.keyboard.press("Control+Enter")
    else:
        press(page, "Price it")
        assert page.inner_text(".big") == price
        page.get_by_label("Paid by").select_option("card")
        press(page, "Take the money")

    assert "Paid." in page.inner_text("[role=status]")
    assert price in text_of(printed(page, "Invoice"))
    assert [document.left for document in shop.rows(DocumentIssued)] == [0]


def test_a_months_file_says_that_it_is_written_and_how_it_compares(
    seat, house, tmp_path
):
    month = f"{house.clock():%Y-%m}"
    page = seat("accounts")
    page.goto(f"/accounts/months/{month}")
    for said in ("for the first time", f"same as sent {house.clock():%Y-%m-%d}"):
        with page.expect_download() as download:
            page.get_by_role("button", name="CSV tables").press("Enter")
        assert download.value.suggested_filename == f"month-{month}-csv.zip"
        status = page.locator("[data-files] [role=status]")
        expect(status).to_have_text(f"month-{month}-csv.zip is written, {said}.")
        download.value.save_as(tmp_path / "month.zip")
        assert zipfile.is_zipfile(tmp_path / "month.zip")
