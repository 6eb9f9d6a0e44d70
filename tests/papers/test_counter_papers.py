"""Slip, delivery note, deposit receipt and request: what stands on them, and as PDF.

Validated by page-validation, an outside reading of ISO 14289-1 (PDF/UA-1).
"""

import base64
import io
import re
from datetime import date
from decimal import Decimal

import page as validator
import pytest
from PIL import Image
from printing import Printed, Shown, shop

from quoting.domain.counter import (
    ArrivedHead,
    Authority,
    BookingIn,
    Delivery,
    DepositReceipt,
    Item,
    ReturnedHead,
    TaggedHead,
    called,
    counted,
)
from quoting.domain.job import Deposit
from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.delivery import delivery_note
from quoting.papers.pdf import to_pdf
from quoting.papers.receipt import deposit_receipt
from quoting.papers.request import (
    Choice,
    NotAPictureError,
    Photo,
    Request,
    request_for_yes,
)
from quoting.papers.slip import booking_in_slip

ON = date(2026, 11, 25)
GARAGE = Customer(
    name="Osgood & Daughters Garage",
    address=("4 Ferry Steps", "Marlhaven"),
    phone="+44 1632 960418",
    email="ada@osgood.example",
    order_number="OD-2231",
    registration="REG 2231",
)
LAYOUT = "Four-cylinder 16-valve twin-cam, aluminium"

LONG = (
    "Amalgamated Upper and Lower Marlhaven Agricultural, Marine, Stationary and "
    "Narrow-Gauge Engine Owners' Mutual Repair Association, Northern Branch"
)
NAMES = {
    "long": LONG,
    "one long word": "Seatinsertcounterboringandrefacing" * 4,
    "emoji with joiners": "\U0001f468\u200d\U0001f527 Garage \U0001f3fd",
    "arabic": "\u0648\u0631\u0634\u0629",
    "hebrew and a direction": "\u202e\u05de\u05d5\u05e1\u05da\u202c Garage",
    "markup": "</table><img src=x> & Sons",
}


def van(count=4):
    """Return *count* heads off one van, two to a work order."""
    return tuple(
        ArrivedHead(
            head=TaggedHead(f"W-{417 + n // 2}", "AB"[n % 2], LAYOUT, label),
            condition=("complete", "overheated"),
            came_with=(Item("bucket followers, numbered", 16), Item("camshaft")),
            parts_from="the customer",
            place=f"shelf 3, tray {n + 1}",
        )
        for n, label in zip(range(count), ("left", "right") * count, strict=False)
    )


def slip(size="", customer=GARAGE, heads=None, locale="en_GB", **agreed):
    booking = BookingIn(ON, customer, van() if heads is None else heads, **agreed)
    return booking_in_slip(shop().shop, booking, formats(locale), size)


def note(size="", customer=GARAGE, heads=None, **told):
    returned = tuple(
        ReturnedHead(arrived.head, "repaired", arrived.came_with)
        for arrived in (van() if heads is None else heads)
    )
    values = {
        "parts": (Item("head gasket set"),),
        "old_parts": (Item("exhaust guides", 8),),
        "guarantee": "Twelve months on our work.",
        "guaranteed_until": date(2027, 11, 25),
        **told,
    }
    delivery = Delivery("D-0099", ON, customer, returned, **values)
    return delivery_note(shop().shop, delivery, formats(), size)


def receipt(size="", customer=GARAGE, **deposit):
    paid = Deposit(**{"amount": Decimal("100.00"), "method": "card", **deposit})
    what = DepositReceipt("R-0031", ON, customer, paid, "Q-0417", "W-417", "Ruth")
    return deposit_receipt(shop().shop, what, formats(), size)


REPAIR = Choice("Repair", ("new exhaust guides", "skim"), Decimal("812.40"))
STOP = Choice("Stop here", ("what is done so far",), Decimal("92.00"))


def request(size="", customer=GARAGE, choices=(REPAIR, STOP), **told):
    asked = Request(
        number="Q-0417",
        on=ON,
        customer=customer,
        text="All eight exhaust guides are worn.\n\nWe have stopped.",
        choices=choices,
        reply_by=date(2026, 11, 27),
        **told,
    )
    return request_for_yes(shop().shop, asked, formats(), size)


KINDS = {"slip": slip, "note": note, "receipt": receipt, "request": request}


def formats(locale="en_GB"):
    return Formats(locale, shop().currency)


def failures(pdf):
    """Return the rules of PDF/UA-1 that a file breaks."""
    profile = validator.ValidationProfile.PDF_UA_1
    report = validator.validate_pdf_bytes(pdf, profile=profile)
    assert report.is_compliant == (not report.failures)
    return {failure.rule_id for failure in report.failures}


def text(paper):
    return Shown(paper).text


# --- The booking-in slip ---


def test_a_slip_lists_four_heads_of_two_orders_each_with_all_that_was_taken_down():
    this = text(slip())

    assert "Booking-in slip W-417 and 1 more" in this
    assert "4 heads left with us" in this
    assert "work orders W-417, W-418" in this
    assert (
        f"W-418 B right {LAYOUT} complete, overheated "
        "16 bucket followers, numbered, camshaft the customer shelf 3, tray 4"
    ) in this
    assert "your order OD-2231 registration REG 2231" in this


def test_heads_of_one_order_are_named_by_their_tags_alone():
    this = text(slip(heads=van(2)))

    assert "Booking-in slip W-417 for" in this
    assert re.search(r"stands at A left .* B right ", this)


def test_a_head_that_came_bare_says_so_rather_than_nothing():
    bare = ArrivedHead(TaggedHead("W-1", "A", LAYOUT))

    assert f"{LAYOUT} nothing" in text(slip(heads=(bare,)))


def test_a_slip_says_how_far_the_shop_may_go_without_asking():
    authority = Authority(Decimal("650.00"), "Ada Osgood, +44 1632 960419")
    this = text(slip(authority=authority))

    assert "comes to no more than £650.00 with tax. Above that we ask first." in this
    assert "If we cannot reach you We ask Ada Osgood, +44 1632 960419." in this


def test_without_an_authority_every_change_is_asked_about():
    this = text(slip())

    assert "We ask you before anything beyond what was agreed is done." in this
    assert "without asking as long as" not in this
    assert "If we cannot reach you" not in this


def test_a_slip_names_the_deposit_the_price_if_condemned_and_local_law():
    deposit = Deposit(Decimal("100.00"), ON, "card")
    this = text(slip(deposits=(deposit,), condemned=Decimal("92.00")))

    assert "Deposit taken £100.00, card, 25 November 2026" in this
    assert "you pay at most £92.00 with tax" in this
    assert "local law applies" in this
    assert "local law applies" in text(slip())


def test_a_slip_without_deposit_or_test_names_neither():
    this = text(slip())

    assert "Deposit taken" not in this
    assert "cannot be repaired" not in this


def test_titles_and_lists_count_what_they_leave_out():
    assert called([]) == ""
    assert called(["W-1", "W-2"]) == "W-1 and 1 more"
    assert counted([Item("shim", 16), Item("cam")]) == ("16 shim", "cam")


# --- The delivery note ---


def test_a_delivery_note_lists_heads_parts_old_parts_and_the_guarantee():
    this = text(note())

    assert f"W-417 A left {LAYOUT} repaired 16 bucket followers, numbered" in this
    assert "Parts, not fitted how many what handed over 1 head gasket set" in this
    assert "Your old parts how many what handed over 8 exhaust guides" in this
    assert "Twelve months on our work. Until 25 November 2027." in this


def test_a_delivery_note_shows_no_price():
    this = text(note())

    assert not re.search(r"[£$€]|GBP|\btax\b|\d\.\d\d\b", this)


def test_a_delivery_note_leaves_out_what_there_is_none_of():
    bare = note(heads=(), parts=(), old_parts=(), guarantee="", guaranteed_until=None)

    assert re.findall("<h2>(.*?)</h2>", bare.html) == ["Received"]
    assert re.findall("<h2>(.*?)</h2>", note().html) == [
        "Heads", "Parts, not fitted", "Your old parts", "Guarantee", "Received",
    ]  # fmt: skip


# --- The receipt ---


def test_a_receipt_has_number_day_method_amount_and_what_it_is_for():
    this = text(receipt())

    assert "Deposit receipt R-0031" in this
    assert (
        "deposit received £100.00 received on 25 November 2026 paid by card "
        "for quote Q-0417 for work order W-417"
    ) in this


def test_a_receipt_is_no_invoice_and_names_no_tax():
    """Directive 2006/112/EC article 203: tax on an invoice is owed, even if wrong."""
    this = text(receipt())

    assert "This is a receipt for a payment, not an invoice." in this
    assert not re.search(r"\btax\b|INVENTED-0417|%", this)


def test_money_paid_on_another_day_than_the_receipts_shows_that_day():
    this = text(receipt(on=date(2026, 11, 23)))

    assert "received on 23 November 2026" in this
    assert "date 25 November 2026" in this


# --- The request for a yes ---


def test_a_request_has_text_choices_with_contents_and_totals_and_the_day_to_answer():
    this = text(request(if_silent="The head is set aside."))

    assert "All eight exhaust guides are worn. We have stopped." in this
    assert "A. Repair new exhaust guides; skim £812.40" in this
    assert "B. Stop here what is done so far £92.00" in this
    assert "Tell us the letter, in writing, by 27 November 2026" in this
    assert "☐ A. Repair ☐ B. Stop here ☐ none of these" in this
    assert "The head is set aside." in this


def test_a_single_choice_is_a_plain_yes_or_no():
    this = text(request(choices=(REPAIR,)))

    assert "Tell us yes or no, in writing" in this
    assert "☐ yes ☐ no" in this
    assert "A. Repair" not in this


def jpeg(width=40):
    file = io.BytesIO()
    Image.new("RGB", (width, 30), "grey").save(file, "JPEG")
    return file.getvalue()


def test_photos_stand_in_the_page_itself_with_their_captions_as_alternatives():
    pictures = [jpeg(width) for width in (40, 50, 60)]
    photos = tuple(
        Photo(data, f'Crack {n}" wide') for n, data in enumerate(pictures, 1)
    )
    html = request(photos=photos).html

    found = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)" alt="([^"]+)"', html)
    assert [base64.b64decode(data) for data, _ in found] == pictures
    assert [alt for _, alt in found] == [f"Crack {n}&#34; wide" for n in (1, 2, 3)]
    assert html.count('class="photos row"') == 2


def test_a_photo_that_is_no_jpeg_is_refused_by_its_caption():
    with pytest.raises(NotAPictureError, match="The photo 'crack' is no JPEG"):
        Photo(b"\x89PNG\r\n\x1a\n", "crack")


# --- As PDF ---


@pytest.mark.needs_pdf
@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("kind", KINDS)
def test_papers_are_valid_pdf_ua_1_on_one_page_and_the_same_bytes_again(kind, size):
    """A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1)."""
    this = Printed(KINDS[kind](size))

    assert failures(this.pdf) == set()
    [page] = this.reader.pages
    points = {"A4": (595, 842), "Letter": (612, 792)}[size]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == points
    assert to_pdf(KINDS[kind](size)) == this.pdf


@pytest.mark.needs_pdf
@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
@pytest.mark.parametrize("kind", KINDS)
def test_no_name_breaks_a_paper(kind, name):
    customer = Customer(name, (name,), order_number=name, engine=name)
    this = Printed(KINDS[kind](customer=customer))

    assert failures(this.pdf) == set()
    assert "<img" not in this.paper.html


@pytest.mark.needs_pdf
def test_long_words_in_every_cell_of_a_head_are_printed_in_full():
    word = NAMES["one long word"]
    head = TaggedHead("W-1", "A", word, word)
    arrived = ArrivedHead(head, (word,), (Item(word, 2),), word, word)
    printed = Printed(slip(heads=(arrived,)))

    assert failures(printed.pdf) == set()
    assert re.sub(r"\s", "", printed.text).count(word) == 6


@pytest.mark.needs_pdf
@pytest.mark.parametrize("kind", ["slip", "note"])
def test_sixty_heads_have_their_header_row_on_each_page_and_one_place_to_sign(kind):
    this = Printed(KINDS[kind](heads=van(60)))

    assert failures(this.pdf) == set()
    assert len(this.pages) > 2
    tags = [tag for page in this.pages for tag in re.findall(r"W-\d+ [AB] ", page)]
    assert len(tags) == len(set(tags)) == 60
    for page in this.pages:
        if re.search(r"W-\d+ [AB] ", page):
            assert "head layout" in page
    assert sum("signature" in page for page in this.pages) == 1


@pytest.mark.needs_pdf
@pytest.mark.parametrize("locale", ["ar_EG", "ja_JP", "de_DE", "hi_IN"])
def test_a_slip_in_any_locale_is_valid_and_has_no_lozenge(locale):
    deposit = Deposit(Decimal("100.00"), ON, "card")
    this = Printed(slip(locale=locale, deposits=(deposit,)))

    assert failures(this.pdf) == set()
    assert "\N{LOZENGE}" not in this.text


@pytest.mark.needs_pdf
def test_photos_are_printed_as_valid_pdf_ua_1():
    photos = (Photo(jpeg(40), "Crack"), Photo(jpeg(50), "Crack, nearer"))
    this = Printed(request(photos=photos))

    assert failures(this.pdf) == set()
    [page] = this.reader.pages
    assert sorted(picture.image.size for picture in page.images) == [(40, 30), (50, 30)]
