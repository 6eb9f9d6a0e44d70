"""The counter: heads in, what they wait for, heads out; finding, and a sale."""

import email
import re
from datetime import date
from decimal import Decimal
from email.policy import default as modern
from html import unescape
from io import BytesIO

import pytest
from at_the_counter import FOUR, GUIDES, PAIR, Shop, form, send
from PIL import Image
from shop import other_tables, part_payments

from quoting.files import photo
from quoting.store.models import (
    Ask,
    DocumentIssued,
    KnownHead,
    Order,
    PaperMade,
    Payment,
    Photo,
    Quote,
    Trail,
)


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def counter(at):
    return at("counter")


def money(amount):
    return f"£{amount:,.2f}"


def picture(width=40, height=30, kind="PNG", **options):
    out = BytesIO()
    Image.new("RGB", (width, height), "grey").save(out, kind, **options)
    return out.getvalue()


def upload(browser, order_id, data, name="head.jpg", **fields):
    """Send a photo by the form of an order's page."""
    page = f"/counter/orders/{order_id}"
    tokens = form(browser, page, f"{page}/photos")
    file = {"photo": (BytesIO(data), name)}
    return browser.client.post(f"{page}/photos", data={**tokens, **fields, **file})


# Heads in.


@pytest.mark.parametrize("key", ["9" * 11, "9" * 30, "9" * 5000, "\u0661"])
def test_no_heads_are_booked_in_under_a_key_that_none_can_be(shop, counter, key):
    quote = shop.yes(shop.quote(("", PAIR), customer_id=shop.customer()))
    page = f"/counter/book-in?quote={quote}"

    assert counter.get(f"/counter/book-in?quote={key}").status_code == 303
    assert send(counter, page, "/counter/book-in", quote=key).status_code == 400
    assert shop.rows(Order) == []


def test_heads_are_booked_in_with_what_came_and_where_they_stand(shop, counter):
    key = shop.yes(shop.quote(("", PAIR), customer_id=shop.customer()))

    answer = send(
        counter, f"/counter/book-in?quote={key}", "/counter/book-in",
        **{
            f"{key}-tag": ["A", "B"],
            f"{key}-A-condition": ["dirty", "complete"],
            f"{key}-A-came-1": "8",
            f"{key}-A-came-0": "1",
            f"{key}-A-rest": "rocker cover, 2 brackets",
            f"{key}-A-remarks": "nick at stud 3",
            f"{key}-A-casting": "048 103-373 d",
            f"{key}-B-stands": "Shelf 3",
            "promised": "2026-12-08", f"{key}-up_to": "1,200.00",
            "second_contact": "Ann, 01632 960444",
        },
    )  # fmt: skip

    [order] = shop.rows(Order)
    assert answer.location == f"/counter/orders/{order.id}"
    order = shop.order_now(order.id)
    a, b = order.heads
    assert a.condition == "dirty, complete"
    assert a.came_with.splitlines() == [
        "camshaft", "8 cam caps", "rocker cover", "2 brackets",
    ]  # fmt: skip
    assert (a.remarks, a.casting, b.stands) == (
        "nick at stud 3", "048103373D", "Shelf 3",
    )  # fmt: skip
    assert (order.promised, order.up_to) == (date(2026, 12, 8), 120_000)
    slip = shop.paper("booking-in slip")[1]
    for said in ("8 cam caps", "nick at stud 3", "Shelf 3", "£1,200.00", "Ann, 01632"):
        assert said in slip
    assert "£" not in shop.paper("work order")[1]


def test_booking_in_says_that_the_heads_will_not_leave_over_the_limit(shop, counter):
    """Owed 2,370.00; two yeses of 50.00 and 18.5 % tax, 59.25 each, make 2,488.50.

    A third of them makes 2,547.75: more than the 2,500.00 of TRADE10.
    """
    customer = shop.customer(terms="TRADE10")
    shop.owes("2000.00", customer)
    keys = [shop.goods("50.00", customer) for _ in range(3)]
    page = "/counter/book-in?" + "&".join(f"quote={key}" for key in keys)

    assert "than the limit" not in counter.get(page.rpartition("&")[0]).text
    assert (
        "owes £2,370.00 and would owe £2,547.75 with this, more than the limit of "
        "£2,500.00"
    ) in counter.get(page).text


def test_the_code_on_a_tag_leads_to_its_head(shop, counter, at):
    key = shop.yes(shop.quote(("", PAIR), customer_id=shop.customer()))
    send(counter, f"/counter/book-in?quote={key}", "/counter/book-in")

    codes = re.findall(r"QR code: (http[^<]+)<", shop.paper("tag labels")[1])

    assert codes == [
        "http://localhost/counter/w/W-00001/A", "http://localhost/counter/w/W-00001/B",
    ]  # fmt: skip
    [order] = shop.rows(Order)
    lead = at("bench").get(codes[1].removeprefix("http://localhost"))
    assert lead.location == f"/counter/orders/{order.id}#head-B"
    assert counter.get("/counter/w/W-99999/A").status_code == 404


def test_a_form_sent_twice_books_in_once(shop, counter):
    key = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    fields = form(counter, f"/counter/book-in?quote={key}", "/counter/book-in")

    first = counter.client.post("/counter/book-in", data=fields)
    second = counter.client.post("/counter/book-in", data=fields)

    assert first.location == second.location
    assert len(shop.rows(Order)) == 1
    assert shop.paper("booking-in slip")


def test_heads_without_a_yes_or_a_customer_stay_out_and_nothing_typed_is_lost(
    shop, counter
):
    key = shop.yes(shop.quote(("", FOUR), caller="Pat"))
    other = shop.quote(("", FOUR), customer_id=shop.customer())
    for quote, reason in ((key, "names no customer"), (other, "not accepted yet")):
        answer = send(
            counter, f"/counter/book-in?quote={quote}", "/counter/book-in",
            second_contact="Ann kept",
        )  # fmt: skip

        assert answer.status_code == 422
        assert reason in answer.text
        assert 'value="Ann kept"' in answer.text
    assert not shop.rows(Order)
    assert not shop.rows(PaperMade)


def test_what_came_off_one_van_gets_one_slip_and_a_tag_for_every_head(shop, counter):
    customer = shop.customer()
    keys = [
        shop.yes(shop.quote(("", words), customer_id=customer))
        for words in (PAIR, FOUR, FOUR)
    ]
    first = counter.get(f"/counter/book-in?quote={keys[0]}").text
    assert "Did these come too?" in first

    page = "/counter/book-in?" + "&".join(f"quote={key}" for key in keys)
    limits = {f"{key}-up_to": "100" for key in keys}
    send(counter, page, "/counter/book-in", quote=keys, **limits)

    orders = shop.rows(Order)
    assert len(orders) == 3
    assert len({order.batch for order in orders}) == 1
    slip = shop.paper("booking-in slip")[1]
    assert all(order.number in slip for order in orders)
    assert "£300.00" in slip
    assert shop.paper("tag labels")[1].count("QR code:") == 4
    for order in orders:
        text = counter.get(f"/counter/orders/{order.id}").text
        assert text.count("Booking-in slip W-00001 and 2 more") >= 1


def test_heads_of_two_customers_are_not_booked_in_together(shop, counter):
    keys = [
        shop.yes(shop.quote(("", FOUR), customer_id=shop.customer(name)))
        for name in ("Brook", "Varnish")
    ]
    page = "/counter/book-in?" + "&".join(f"quote={key}" for key in keys)

    answer = send(counter, page, "/counter/book-in", quote=keys)

    assert answer.status_code == 422
    assert not shop.rows(Order)


# The work order.


def step(browser, order_id, **fields):
    page = f"/counter/orders/{order_id}"
    return send(browser, page, f"{page}/step", **fields)


@pytest.mark.needs_pdf
def test_an_order_goes_from_the_counter_to_the_bench_and_back_to_its_owner(
    shop, counter, clock
):
    key = shop.order()
    page = f"/counter/orders/{key}"
    step(counter, key, move="start")
    assert shop.order_now(key).state == "on the bench"
    step(counter, key, move="make ready")
    assert "Ready, and nobody was told" in counter.get("/counter").text
    assert shop.order_now(key).waits_for == "collection"
    step(counter, key, move="tell")
    clock.on(hours=1)

    send(counter, page, f"{page}/hand-over", collected_by="Ann")

    order = shop.order_now(key)
    assert (order.state, order.collected_by) == ("collected", "Ann")
    assert order.number in shop.paper("delivery note")[1]
    assert "£" not in shop.paper("delivery note")[1]
    assert shop.pdf("delivery note").startswith(b"%PDF")


def test_today_shows_each_order_where_it_belongs(shop, at, clock):
    key = shop.order()
    listed = lambda heading: re.search(  # noqa: E731
        rf'id="{heading}">.*?</section>', at("counter").get("/counter").text, re.DOTALL
    )[0].count("W-00001")
    assert (listed("working"), listed("waiting")) == (1, 0)
    page = f"/counter/orders/{key}"
    send(
        at("bench"), page, f"{page}/wait", waits_for="parts", next_step="Bea rings Hobb"
    )
    assert (listed("working"), listed("waiting")) == (0, 1)
    assert "Bea rings Hobb" in at("counter").get("/counter").text
    step(at("counter"), key, move="make ready")
    assert (listed("waiting"), listed("ready")) == (0, 1)
    step(at("counter"), key, move="tell")
    assert (listed("ready"), listed("uncollected")) == (0, 0)

    clock.on(days=14)

    assert listed("uncollected") == 1
    assert "local law applies" in at("counter").get("/counter").text


def test_an_empty_morning_says_what_to_do_next(counter):
    text = counter.get("/counter").text

    assert "Set a day to ring back on a quote" in text
    assert "Record a yes on a quote" in text
    assert "local law on uncollected goods applies" in text


def test_only_the_owner_hands_over_before_it_is_ready_and_says_why(shop, counter, at):
    key = shop.order()
    page = f"/counter/orders/{key}"
    assert f"{page}/hand-over" not in counter.get(page).text
    tokens = form(counter, page, f"{page}/wait")
    typed = {"collected_by": "Ann", "reason": "they take it elsewhere"}

    refused = counter.client.post(f"{page}/hand-over", data={**tokens, **typed})
    without = send(at("owner"), page, f"{page}/hand-over", collected_by="Ann")
    done = send(at("owner"), page, f"{page}/hand-over", **typed)

    assert (refused.status_code, without.status_code) == (422, 422)
    assert done.status_code == 303
    assert shop.order_now(key).state == "collected"
    text = at("owner").get(page).text
    assert "Olive Owner: they take it elsewhere" in text


def test_a_ready_order_over_the_limit_is_handed_over_by_the_owner_alone(
    shop, counter, at
):
    """Owed 2,370.00, the order 200.00 and 18.5 % tax, 237.00: 2,607.00 in all.

    That is 107.00 more than the 2,500.00 of TRADE10.
    """
    customer = shop.customer(terms="TRADE10")
    shop.owes("2000.00", customer)
    key = shop.ready(shop.goods("200.00", customer))
    page = f"/counter/orders/{key}"
    told = (
        "With it Brook Farm Engines would owe £2,607.00, £107.00 more than the limit "
        "of £2,500.00."
    )
    owner, typed = at("owner"), {"collected_by": "Ann", "reason": "pays on Friday"}
    assert told in counter.get(page).text
    assert f'action="{page}/hand-over"' not in counter.get(page).text
    assert told in owner.get(page).text
    assert "Why over the limit" in owner.get(page).text

    tokens = form(counter, page, f"{page}/wait")
    refused = counter.client.post(f"{page}/hand-over", data={**tokens, **typed})
    without = send(owner, page, f"{page}/hand-over", collected_by="Ann")
    assert (refused.status_code, without.status_code) == (422, 422)
    assert "2607.00 would be owed, 107.00 more than the limit" in without.text
    assert shop.order_now(key).state == "ready"
    done = send(owner, page, f"{page}/hand-over", **typed)

    assert done.status_code == 303
    assert shop.order_now(key).state == "collected"
    [entry] = [e for e in shop.rows(Trail) if e.what == "released over the limit"]
    assert (entry.who, entry.old, entry.new, entry.why) == (
        "Olive Owner", "limit 2500.00", "2607.00 owed", "Olive Owner: pays on Friday",
    )  # fmt: skip
    assert "Olive Owner: pays on Friday" in owner.get(page).text


def test_within_the_limit_heads_are_handed_over_without_a_reason(shop, counter):
    """2,370.00 and 109.70 with its 18.5 % tax, 129.99: 2,499.99 of 2,500.00."""
    customer = shop.customer(terms="TRADE10")
    shop.owes("2000.00", customer)
    key = shop.ready(shop.goods("109.70", customer))
    page = f"/counter/orders/{key}"

    assert "than the limit" not in counter.get(page).text
    send(counter, page, f"{page}/hand-over", collected_by="Ann")

    assert shop.order_now(key).state == "collected"
    assert "released over the limit" not in {e.what for e in shop.rows(Trail)}


def test_the_owner_reopens_what_was_handed_over_by_mistake(shop, counter, at):
    key = shop.order()
    page = f"/counter/orders/{key}"
    step(counter, key, move="make ready")
    send(counter, page, f"{page}/hand-over", collected_by="Ann")
    assert "/reopen" not in counter.get(page).text

    send(at("owner"), page, f"{page}/reopen", reason="the wrong head went")

    assert shop.order_now(key).state == "ready"
    assert shop.order_now(key).collected is None


def test_an_order_is_condemned_with_its_last_head(shop, counter):
    key = shop.order(PAIR)
    page = f"/counter/orders/{key}"

    send(counter, page, f"{page}/condemn", tag="A", why="crack at the pressure test")
    assert shop.order_now(key).state == "booked in"
    send(counter, page, f"{page}/condemn", tag="B", why="soft after overheating")

    order = shop.order_now(key)
    assert order.state == "condemned"
    assert all(head.condemned for head in order.heads)
    assert "crack at the pressure test" in counter.get(page).text


def test_a_head_is_not_condemned_without_a_reason(shop, counter):
    key = shop.order()
    page = f"/counter/orders/{key}"

    answer = send(counter, page, f"{page}/condemn", tag="A", why=" ")

    assert answer.status_code == 422
    assert not shop.order_now(key).heads[0].condemned


def test_what_another_changed_on_an_order_is_shown_before_it_is_changed_again(
    shop, counter, at
):
    key = shop.order()
    page = f"/counter/orders/{key}"
    stale = form(counter, page, f"{page}/wait")
    send(at("bench"), page, f"{page}/heads", **{"A-stands": "Tray 7"})

    typed = {"waits_for": "parts", "next_step": "kept words"}
    answer = counter.client.post(f"{page}/wait", data={**stale, **typed})

    assert answer.status_code == 409
    text = unescape(answer.text)
    assert "Bea Bench: heads written down (nothing → A: Tray 7)" in text
    assert 'value="kept words"' in text
    assert shop.order_now(key).waits_for == ""
    again = dict(re.findall(r'name="(version|seen)" value="(\d+)"', answer.text))
    answer = counter.client.post(
        f"{page}/wait", data={**stale, **typed, **again, "once": ""}
    )
    assert answer.status_code == 303


def test_where_a_head_stands_is_written_down_anew_and_the_rest_stays(shop, counter):
    key = shop.order()
    page = f"/counter/orders/{key}"

    send(
        counter, page, f"{page}/heads",
        **{"A-stands": "Tray 7", "A-came-0": "2", "A-rest": "3 dowels"},
    )  # fmt: skip

    [head] = shop.order_now(key).heads
    assert (head.stands, head.came_with) == ("Tray 7", "2 camshafts\n3 dowels")
    text = counter.get(page).text
    assert re.search(r'name="A-came-0"[^>]* value="2"', text)
    assert 'name="A-rest" type="text" value="3 dowels"' in text


def test_a_promised_day_moves_and_the_trail_says_why(shop, counter):
    key = shop.order()
    page = f"/counter/orders/{key}"

    send(counter, page, f"{page}/promise", on="2026-12-11", why="guides are late")

    assert shop.order_now(key).promised == date(2026, 12, 11)
    text = counter.get(page).text
    assert "guides are late" in text
    assert "11 December 2026" in text


def test_the_bench_reads_an_order_without_a_price(shop, at):
    key = shop.order()
    page = f"/counter/orders/{key}"

    text = at("bench").get(page).text

    assert "W-00001" in text
    assert "Strip the head" in text
    assert "£" not in text
    assert str(shop.told(FOUR).total) not in text


def test_the_bench_has_the_work_order_and_not_the_slip(shop, counter, at):
    key = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    send(counter, f"/counter/book-in?quote={key}", "/counter/book-in")
    bench = at("bench")

    slip, card = shop.paper("booking-in slip")[0], shop.paper("work order")[0]

    assert bench.get(f"/quotes/{key}/papers/{slip}").status_code == 403
    assert bench.get(f"/quotes/{key}/papers/{card}").status_code == 200


@pytest.mark.parametrize("what", ["slip", "labels", "work order"])
def test_a_paper_is_printed_again_as_things_stand_now(shop, counter, what):
    key = shop.order()
    page = f"/counter/orders/{key}"

    answer = send(counter, page, f"{page}/print", what=what)

    assert re.fullmatch(r"/quotes/\d+/papers/\d+", answer.location)


# Photos, and the message that asks for a yes.


def test_a_photo_is_made_small_upright_and_free_of_what_the_camera_wrote(shop, counter):
    key = shop.order()
    exif = Image.Exif()
    exif[0x010F] = "Secret Maker"
    exif[0x0112] = 6  # Source: Exif 2.32, tag 0x0112: the top is on the right

    upload(
        counter,
        key,
        picture(4000, 2000, "JPEG", exif=exif),
        tag="A",
        caption="as it came",
    )

    [row] = shop.rows(Photo)
    assert (row.tag, row.caption, row.taken_by) == ("A", "as it came", "Colin Counter")
    sent = counter.get(f"/counter/orders/{key}/photos/{row.id}")
    assert sent.mimetype == "image/jpeg"
    with Image.open(BytesIO(sent.data)) as kept:
        assert kept.size == (800, 1600) == (row.width, row.height)
        assert not kept.getexif()
    assert b"Secret Maker" not in sent.data


@pytest.mark.parametrize(
    "data", [b"", b"%PDF-1.7", b"<svg/>", picture()[:40], picture(kind="GIF")]
)
def test_what_is_no_photo_is_refused_and_its_words_are_kept(shop, counter, data):
    key = shop.order()

    answer = upload(counter, key, data, caption="kept words")

    assert answer.status_code == 422
    assert 'value="kept words"' in answer.text
    assert not shop.rows(Photo)


def test_a_picture_too_large_to_unpack_is_refused_before_it_is_unpacked(shop, counter):
    key = shop.order()
    bomb = BytesIO()
    Image.new("1", (20_000, 20_000)).save(bomb, "PNG")

    answer = upload(counter, key, bomb.getvalue())

    assert answer.status_code == 422
    assert "too large" in answer.text
    assert not shop.rows(Photo)


def test_a_file_too_heavy_is_refused(monkeypatch):
    monkeypatch.setattr(photo, "MOST_BYTES", 10)

    with pytest.raises(photo.TooBigPhotoError):
        photo.developed(picture())


def test_a_photo_is_shown_to_whoever_sees_its_order_and_to_nobody_else(
    shop, counter, at, browser
):
    key, other = shop.order(), shop.order(customer=1)
    upload(counter, key, picture())
    [row] = shop.rows(Photo)
    address = f"/counter/orders/{key}/photos/{row.id}"

    assert at("bench").get(address).status_code == 200
    assert at("accounts").get(address).status_code == 403
    assert browser.get(address).status_code == 303
    wrong = address.replace(f"orders/{key}", f"orders/{other}")
    assert counter.get(wrong).status_code == 404


def test_a_message_asks_for_a_yes_to_what_is_offered_now(shop, counter):
    customer = shop.customer(email="brook@example.org")
    key = shop.order(customer=customer)
    upload(counter, key, picture(), caption="crack at seat 3")
    [row] = shop.rows(Photo)
    quote_id = shop.order_now(key).quote_id
    shop.revise(quote_id, ("repair", FOUR), ("with guides", GUIDES))
    page = f"/counter/orders/{key}"

    send(
        counter, page, f"{page}/ask", text="The exhaust guides are worn.",
        photo_id=row.id, reply_by="2026-11-30",
    )  # fmt: skip

    paper_id, said = shop.paper("request for a yes")
    for words in (FOUR, GUIDES):
        assert money(shop.told(words).total) in said
    assert "The exhaust guides are worn." in said
    assert "crack at seat 3" in said
    assert "30 November 2026" in said
    order = shop.order_now(key)
    assert (order.waits_for, order.next_step) == ("a yes", "reply by 2026-11-30")
    draft = counter.get(f"/quotes/{quote_id}/papers/{paper_id}/letter").data
    letter = email.message_from_bytes(draft, policy=modern)
    assert "The exhaust guides are worn." in letter.get_body().get_content()


def test_a_new_yes_changes_the_route_and_the_order_waits_no_longer(shop, counter):
    key = shop.order()
    before = {s.operation: s.id for s in shop.order_now(key).steps}
    assert "GREP" not in before
    quote_id = shop.order_now(key).quote_id
    shop.revise(quote_id, ("", GUIDES))
    page = f"/counter/orders/{key}"
    send(counter, page, f"{page}/ask", text="Guides are worn", reply_by="2026-11-30")

    page = f"/quotes/{quote_id}"
    send(counter, page, f"{page}/yes", by="Ann", how="text message")

    order = shop.order_now(key)
    after = {s.operation: s.id for s in order.steps}
    assert "GREP" in after
    assert {code: after[code] for code in before} == before
    assert [s.place for s in order.steps] == list(range(1, len(order.steps) + 1))
    assert order.waits_for == ""
    assert "Replace guides" in counter.get(f"/counter/orders/{key}").text


def test_a_new_yes_to_less_takes_steps_off_the_route(shop, counter):
    key = shop.order(GUIDES)
    quote_id = shop.order_now(key).quote_id
    shop.revise(quote_id, ("", FOUR))
    page = f"/quotes/{quote_id}"

    send(counter, page, f"{page}/yes", by="Ann", how="text message")

    steps = shop.order_now(key).steps
    assert "GREP" not in {step.operation for step in steps}
    assert [step.place for step in steps] == list(range(1, len(steps) + 1))


def test_a_message_without_a_day_to_answer_is_refused(shop, counter):
    key = shop.order()
    page = f"/counter/orders/{key}"

    answer = send(counter, page, f"{page}/ask", text="kept words", reply_by="")

    assert answer.status_code == 422
    assert ">kept words</textarea>" in answer.text
    assert not shop.rows(Ask)


# Finding.


@pytest.mark.parametrize("typed", ["W-00001", "w-1", "w1", " W 00001 "])
def test_a_number_typed_in_full_leads_to_its_order(shop, counter, typed):
    key = shop.order()

    answer = counter.get("/counter/find", query_string={"q": typed})

    assert answer.location == f"/counter/orders/{key}"


@pytest.mark.parametrize("typed", ["2027/W-00001", "2027/w1", " 2027/w 1 "])
def test_a_number_that_begins_as_the_shop_says_is_found_and_stands_on_the_tag(
    shop, counter, typed
):
    with shop.database.transaction() as session:
        other_tables(session, number_order='"2027/W"')
    quote = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    send(counter, f"/counter/book-in?quote={quote}", "/counter/book-in")
    [order] = shop.rows(Order)

    answer = counter.get("/counter/find", query_string={"q": typed})

    assert answer.location == f"/counter/orders/{order.id}"
    [code] = re.findall(r"QR code: (http[^<]+)<", shop.paper("tag labels")[1])
    assert code == "http://localhost/counter/w/2027/W-00001/A"
    lead = counter.get(code.removeprefix("http://localhost"))
    assert lead.location == f"/counter/orders/{order.id}#head-A"


def test_a_quotes_number_leads_to_the_quote_when_its_heads_are_here_too(shop, counter):
    key = shop.order()

    answer = counter.get("/counter/find?q=q-1")

    assert answer.location == f"/quotes/{shop.order_now(key).quote_id}"


def test_an_order_is_found_by_the_casting_number_of_its_head(shop, counter):
    key = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    send(
        counter, f"/counter/book-in?quote={key}", "/counter/book-in",
        **{f"{key}-tag": "A", f"{key}-A-casting": "048 103-373 d"},
    )  # fmt: skip

    found = counter.get("/counter/find?q=048103373").text

    assert "W-00001" in found
    [known] = shop.rows(KnownHead)
    assert (known.casting, known.layout) == ("048103373D", "L04")


def test_finding_while_one_types_gives_only_what_was_found(shop, counter):
    shop.quote(("", FOUR), caller="Pat Caller", registration="EX26 ABC")

    live = counter.get("/counter/find?q=ex26", headers={"X-Live": "1"})
    page = counter.get("/counter/find?q=ex26")

    assert live.text.lstrip().startswith('<div data-live="found"')
    assert "Q-00001" in live.text
    assert "<!doctype html>" in page.text
    assert "Q-00001" in page.text


def test_a_customers_page_lists_what_they_asked_for(shop, counter):
    customer = shop.customer("Zoë Varnish")
    shop.quote(("", FOUR), customer_id=customer)

    text = counter.get(f"/customers/{customer}").text

    assert "Zoë Varnish" in text
    assert "Q-00001" in text


# A sale over the counter.


def ring_up(browser, **fields):
    """Price a sale, then take the money that is shown."""
    priced = send(browser, "/counter/sale", "/counter/sale/price", **fields)
    hidden = dict(
        re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', priced.text)
    )
    return hidden | fields


def test_a_sale_is_priced_invoiced_and_paid_in_one_go(shop, counter):
    fields = ring_up(counter, said=FOUR, name="Pat Ellery", method="card")
    assert Decimal(fields["shown"]) == shop.told(FOUR).total

    answer = counter.client.post("/counter/sale", data=fields)

    [quote] = shop.rows(Quote)
    assert answer.location == f"/quotes/{quote.id}"
    quote = shop.read(quote.id)
    assert (quote.state, quote.caller) == ("accepted", "Pat Ellery")
    [paid] = shop.rows(Payment)
    assert Decimal(paid.amount) / 100 == shop.told(FOUR).total
    assert paid.method == "card"
    [invoice] = shop.rows(DocumentIssued)
    assert invoice.left == 0
    assert money(shop.told(FOUR).total) in shop.paper("invoice")[1]
    assert quote.number not in counter.get("/counter").text
    page = counter.get(answer.location).text
    assert "Sold over the counter" in page
    assert ">Book in</a>" not in page


def test_a_known_buyer_is_found_and_buys_on_their_own_terms(shop, counter):
    customer = shop.customer("Brook Farm Engines", terms="TRADE10")
    asked = send(
        counter, "/counter/sale", "/counter/sale/price", said=FOUR, name="brook"
    )
    assert f'name="customer_id" value="{customer}"' in asked.text
    fields = ring_up(counter, said=FOUR, customer_id=customer, method="card")

    counter.client.post("/counter/sale", data=fields)

    [quote] = shop.rows(Quote)
    assert quote.customer_id == customer
    [paid] = shop.rows(Payment)
    assert Decimal(paid.amount) / 100 == Decimal(fields["shown"])
    assert Decimal(fields["shown"]) < shop.told(FOUR).total


def test_a_large_sale_names_its_buyer_where_the_country_asks_for_one(shop, counter):
    """Above 250 pounds: VAT Regulations 1995 (SI 1995/2518), reg. 16A."""
    fields = ring_up(counter, said=FOUR, method="card")

    answer = counter.client.post("/counter/sale", data=fields)

    assert answer.status_code == 422
    assert "names its buyer from 250" in answer.text
    assert shop.rows(Quote) == shop.rows(Payment) == []


def test_a_sale_sent_twice_takes_the_money_once(shop, counter):
    fields = ring_up(counter, said=FOUR, name="Pat Ellery", method="cash")

    first = counter.client.post("/counter/sale", data=fields)
    second = counter.client.post("/counter/sale", data=fields)

    assert first.location == second.location
    assert len(shop.rows(Payment)) == len(shop.rows(DocumentIssued)) == 1


def test_goods_are_sold_at_their_price_and_its_tax(counter):
    fields = {
        "goods": ["Gasket scraper", "Stud"], "price": ["10.00", "4.00"],
        "name": "Pat", "method": "cash",
    }  # fmt: skip
    priced = send(counter, "/counter/sale", "/counter/sale/price", **fields)

    # 14.00 and the demonstration's levy of 18.5 %: 2.59.
    assert 'class="big">£16.59<' in priced.text
    assert "£14.00 before tax" in priced.text


@pytest.mark.parametrize("price", ["", "-3", "cheap", "0"])
def test_goods_without_a_price_are_not_sold(shop, counter, price):
    fields = ring_up(counter, goods="Stud", price=price, method="cash")

    answer = counter.client.post("/counter/sale", data=fields | {"shown": "1.00"})

    assert answer.status_code == 422
    assert not shop.rows(Quote)


def test_no_money_is_taken_for_another_price_than_was_shown(shop, counter):
    fields = ring_up(counter, said=FOUR, method="cash") | {"shown": "1.00"}

    answer = counter.client.post("/counter/sale", data=fields)

    assert answer.status_code == 422
    assert not shop.rows(Quote)
    assert not shop.rows(Payment)


@pytest.mark.parametrize("said", ["", "v6", "a nonsense of words"])
def test_no_money_is_taken_before_it_is_clear_what_for(shop, counter, said):
    fields = ring_up(counter, said=said, method="cash")

    answer = counter.client.post("/counter/sale", data=fields | {"shown": "1.00"})

    assert answer.status_code == 422
    assert not shop.rows(Quote)


def test_a_sale_is_made_where_tax_falls_due_on_money_taken_before_an_invoice(
    shop, counter
):
    with shop.database.transaction() as session:
        part_payments(session)
    fields = ring_up(counter, said=FOUR, name="Pat Ellery", method="card")

    answer = counter.client.post("/counter/sale", data=fields)

    assert answer.status_code == 303
    [invoice] = shop.rows(DocumentIssued)
    assert Decimal(invoice.gross) / 100 == shop.told(FOUR).total


# Doors.


@pytest.mark.parametrize(
    "address", ["/counter", "/counter/find?q=w1", "/counter/sale", "/counter/book-in"]
)
def test_the_counter_is_shut_to_bench_and_accounts(at, address):
    for role in ("bench", "accounts"):
        assert at(role).get(address).status_code == 403


def test_the_bench_tells_nobody_and_hands_nothing_over(shop, counter, at):
    key = shop.order()
    step(counter, key, move="make ready")
    page = f"/counter/orders/{key}"
    bench = at("bench")
    tokens = form(bench, page, f"{page}/step")

    told = bench.client.post(f"{page}/step", data={**tokens, "move": "tell"})
    handed = bench.client.post(
        f"{page}/hand-over", data={**tokens, "collected_by": "x"}
    )

    assert (told.status_code, handed.status_code) == (403, 403)
    assert shop.order_now(key).told is None
