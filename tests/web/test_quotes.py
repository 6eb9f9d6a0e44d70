"""The page of a quote: who may do what to it, and what is on record afterwards."""

import email
from datetime import date
from decimal import Decimal
from email.policy import default as modern
from html import unescape
from io import BytesIO

import pytest
from at_the_counter import FOUR, GUIDES, Shop, form, send
from pypdf import PdfReader
from shop import part_payments

from quoting.store.models import Attempt, Customer, DepositTaken, DocumentIssued
from quoting.workflow import quotes

TWO = (("repair", FOUR), ("with guides", GUIDES))


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def counter(at):
    return at("counter")


def money(amount):
    return f"£{amount:,.2f}"


def test_alternatives_stand_side_by_side_with_the_sums_of_the_calculation(
    shop, counter
):
    key = shop.quote(*TWO, caller="Pat Caller")

    page = counter.get(f"/quotes/{key}").text

    for _label, words in TWO:
        totals = shop.told(words)
        for amount in (totals.net, totals.tax, totals.total):
            assert money(amount) in page
    assert "Q-00001 for Pat Caller" in page


def test_a_yes_is_kept_with_who_how_and_up_to_what(shop, counter):
    key = shop.quote(*TWO, caller="Pat Caller")
    page = f"/quotes/{key}"

    answer = send(
        counter, page, f"{page}/yes", place="2", by="Pat Caller", how="e-mail",
        said_at="2026-11-26T08:30", up_to="1,100.00", note="go on then",
    )  # fmt: skip

    assert answer.status_code == 303
    [yes] = shop.read(key).yeses
    assert (yes.said_by, yes.how, yes.note) == ("Pat Caller", "e-mail", "go on then")
    assert yes.up_to == 110_000
    assert shop.read(key).ways_chosen == [2]
    assert yes.said_at.isoformat() == "2026-11-26T08:30:00+00:00"
    assert shop.read(key).state == "accepted"
    text = counter.get(page).text
    assert "yes recorded" in text
    assert "go on then" in text


def test_a_yes_without_an_amount_allows_what_was_offered_and_no_more(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    send(counter, page, f"{page}/yes", by="Pat", how="by phone")

    [yes] = shop.read(key).yeses
    assert Decimal(yes.up_to) / 100 == shop.told(FOUR).total


def test_a_button_pressed_twice_records_one_yes(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    fields = form(counter, page, f"{page}/yes") | {"by": "Pat", "how": "by phone"}

    first = counter.client.post(f"{page}/yes", data=fields)
    second = counter.client.post(f"{page}/yes", data=fields)

    assert first.location == second.location
    assert len(shop.read(key).yeses) == 1


def test_what_somebody_else_changed_is_shown_and_what_was_typed_is_kept(
    shop, counter, at
):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    stale = form(counter, page, f"{page}/yes")
    send(at("owner"), page, f"{page}/step", move="decline", why="found it cheaper")
    typed = {"by": "Pat Kept", "how": "by phone", "note": "words of the caller"}

    answer = counter.client.post(f"{page}/yes", data={**stale, **typed})

    assert answer.status_code == 409
    assert shop.read(key).state == "declined"
    assert not shop.read(key).yeses
    text = unescape(answer.text)
    assert "What changed meanwhile" in text
    assert "Olive Owner: quote: decline (offered → declined), found it cheaper" in text


def test_typed_text_stands_in_the_form_again_when_something_is_wrong(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    answer = send(
        counter, page, f"{page}/yes", by="Pat", how="by phone", up_to="a bit",
        note="kept words",
    )  # fmt: skip

    assert answer.status_code == 422
    assert "'a bit' is no figure here" in unescape(answer.text)
    assert ">kept words</textarea>" in answer.text
    assert 'value="a bit"' in answer.text


def test_an_offer_that_lapsed_is_accepted_by_the_owner_by_name_only(
    shop, counter, at, clock
):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    stale = form(counter, page, f"{page}/yes")
    days = shop.edition.shop.validity_days
    clock.on(days=days + 1)
    counter, owner = at("counter"), at("owner")
    stale["form_token"] = counter.token(page)
    typed = {"by": "Pat", "how": "by phone", "reason": "promised on the phone"}

    refused = counter.client.post(f"{page}/yes", data={**stale, **typed})
    without = send(owner, page, f"{page}/yes", by="Pat", how="by phone")
    with_reason = send(owner, page, f"{page}/yes", **typed)

    assert refused.status_code == 422
    assert "lapsed" in refused.text
    assert without.status_code == 422
    assert with_reason.status_code == 303
    assert shop.read(key).state == "accepted"
    assert "Olive Owner: promised on the phone" in owner.get(page).text


def test_an_offer_holds_on_its_last_day(shop, at, clock):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    clock.on(days=shop.edition.shop.validity_days)

    send(at("counter"), page, f"{page}/yes", by="Pat", how="signed")

    assert shop.read(key).state == "accepted"


@pytest.mark.parametrize(
    ("move", "state"), [("decline", "declined"), ("lapse", "lapsed")]
)
def test_an_offer_ends_by_a_no_or_by_lapsing(shop, counter, move, state):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    send(counter, page, f"{page}/step", move=move)

    assert shop.read(key).state == state


def test_a_caller_who_is_to_be_rung_back_stands_on_today_that_morning(shop, at, clock):
    key = shop.quote(("", FOUR), caller="Pat Caller")
    page = f"/quotes/{key}"
    send(at("counter"), page, f"{page}/ring-back", on="2026-11-28")
    assert "Pat Caller" not in at("counter").get("/counter").text

    clock.on(days=2)

    assert "Pat Caller" in at("counter").get("/counter").text


def test_a_day_that_is_none_is_refused_and_kept(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    answer = send(counter, page, f"{page}/ring-back", on="next week")

    assert answer.status_code == 422
    assert 'value="next week"' in answer.text
    assert shop.read(key).call_back is None


def test_an_attempt_to_reach_somebody_is_logged(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    send(counter, page, f"{page}/attempt", how="telephone", outcome="no answer")

    [attempt] = shop.rows(Attempt)
    assert (attempt.how, attempt.outcome) == ("telephone", "no answer")
    assert attempt.by == "Colin Counter"


def test_a_new_customer_is_written_down_from_the_quote(shop, counter):
    key = shop.quote(("", FOUR), caller="Pat Caller", phone="01632 960333")
    page = f"/quotes/{key}"

    send(
        counter, page, f"{page}/whose", name="Pat Caller & Sons",
        phone="01632 960333", email="pat@example.org", up_to="500",
    )  # fmt: skip

    [customer] = shop.rows(Customer)
    assert (customer.name, customer.up_to) == ("Pat Caller & Sons", 50_000)
    assert shop.read(key).customer_id == customer.id
    found = counter.get("/counter/find?q=caller").text
    assert f"/quotes/{key}" in found


def test_a_known_customer_is_found_while_one_types(shop, counter):
    customer = shop.customer("Zoë Varnish")
    shop.customer("Brook Farm Engines")
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    live = counter.get(f"{page}/whose?q=zoe+v", headers={"X-Live": "1"}).text
    assert "<html" not in live
    assert "Zoë Varnish" in live
    assert "Brook" not in live
    send(counter, f"{page}/whose?q=zoe+v", f"{page}/whose", customer_id=customer)

    assert shop.read(key).customer_id == customer


@pytest.mark.needs_pdf
def test_a_deposit_gets_a_receipt_with_its_amount(shop, counter):
    key = shop.quote(("", FOUR), caller="Pat Caller")
    page = f"/quotes/{key}"

    send(counter, page, f"{page}/deposit", amount="150.00", method="cash")

    [taken] = shop.read(key).money
    assert (taken.amount, taken.method) == (15_000, "cash")
    text = PdfReader(BytesIO(shop.pdf("receipt"))).pages[0].extract_text()
    assert "150.00" in text
    assert taken.number in text
    assert "Q-00001" in text


@pytest.mark.parametrize("amount", ["0", "-5", "1.005", "lots", ""])
def test_a_deposit_that_is_no_amount_is_refused(shop, counter, amount):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    answer = send(counter, page, f"{page}/deposit", amount=amount, method="cash")

    assert answer.status_code == 422
    assert not shop.rows(DepositTaken)


def test_a_deposit_gets_an_invoice_where_tax_falls_due_on_it(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    with shop.database.transaction() as session:
        part_payments(session)

    answer = send(counter, page, f"{page}/deposit", amount="10", method="cash")

    assert answer.status_code == 303
    [invoice] = shop.rows(DocumentIssued)
    [taken] = shop.rows(DepositTaken)
    assert taken.document_id == invoice.id
    assert money(10) in shop.paper("deposit invoice")[1]
    assert f"Invoice {invoice.number} is among the papers" in counter.get(page).text


@pytest.mark.needs_pdf
def test_a_printed_quote_is_kept_and_printed_again_byte_for_byte(shop, counter, clock):
    key = shop.quote(*TWO)
    page = f"/quotes/{key}"

    first = send(counter, page, f"{page}/print", by="paper").location
    printed = counter.get(first).data
    clock.on(hours=1)
    again = send(counter, page, f"{page}/print", by="paper").location

    assert again == first
    assert counter.get(again).data == printed
    text = "".join(p.extract_text() for p in PdfReader(BytesIO(printed)).pages)
    assert money(shop.told(FOUR).total) in text
    assert money(shop.told(FOUR).cost) not in text


@pytest.mark.needs_pdf
def test_an_email_draft_carries_the_quote_to_its_customer(shop, counter):
    customer = shop.customer("Brook Farm", email="brook@example.org")
    key = shop.quote(("", FOUR), customer_id=customer)
    page = f"/quotes/{key}"

    draft = counter.get(send(counter, page, f"{page}/print", by="e-mail").location)

    letter = email.message_from_bytes(draft.data, policy=modern)
    assert letter["To"].addresses[0].addr_spec == "brook@example.org"
    [attached] = letter.iter_attachments()
    assert attached.get_content() == shop.pdf("quote")
    assert "Q-00001" in letter.get_body().get_content()


@pytest.mark.needs_pdf
def test_a_page_that_was_printed_from_still_makes_the_email(shop, counter):
    customer = shop.customer("Brook Farm", email="brook@example.org")
    key = shop.quote(("", FOUR), customer_id=customer)
    page = f"/quotes/{key}"
    fields = form(counter, page, f"{page}/print")

    paper = counter.client.post(f"{page}/print", data={**fields, "by": "paper"})
    letter = counter.client.post(f"{page}/print", data={**fields, "by": "e-mail"})

    assert letter.location == f"{paper.location}/letter"


def test_no_email_draft_is_made_without_an_address(shop, counter):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"

    answer = send(counter, page, f"{page}/print", by="e-mail")

    assert answer.status_code == 422
    assert "No e-mail address" in answer.text


def test_what_changed_since_the_yes_adds_up_to_the_difference_of_the_totals(
    shop, counter
):
    key = shop.yes(shop.quote(("", FOUR)))
    shop.revise(key, ("", GUIDES))

    page = counter.get(f"/quotes/{key}/changes").text

    more = shop.told(GUIDES).total - shop.told(FOUR).total
    assert f'class="big">{money(more)}<' in page
    assert "Replace guides" in page
    sheet = send(counter, f"/quotes/{key}/changes", f"/quotes/{key}/print", by="paper")
    assert sheet.status_code == 303
    assert money(more) in shop.paper("difference sheet")[1]


def test_a_difference_is_shown_only_where_something_changed(shop, counter):
    key = shop.yes(shop.quote(("", FOUR)))

    assert counter.get(f"/quotes/{key}/changes").status_code == 422
    assert "What changed since the yes" not in counter.get(f"/quotes/{key}").text


def test_a_revision_after_a_yes_needs_a_new_yes(shop, counter):
    key = shop.yes(shop.quote(("", FOUR)))
    shop.revise(key, ("", GUIDES))
    page = f"/quotes/{key}"
    assert "What changed since the yes" in counter.get(page).text

    send(counter, page, f"{page}/yes", by="Pat", how="text message")

    assert len(shop.read(key).yeses) == 2
    assert "What changed since the yes" not in counter.get(page).text


def test_the_page_says_how_far_the_work_may_go_without_asking(shop, counter):
    """The invented shop's rule: a tenth before tax, and never more than 50.00."""
    key = shop.quote(("", FOUR))
    assert "without asking." not in counter.get(f"/quotes/{key}").text

    shop.yes(key)

    net = shop.told(FOUR).net
    limit = net + min(round(net / 10, 2), Decimal(50))
    page = counter.get(f"/quotes/{key}").text
    assert f"May come to <b>{money(limit)}</b> before tax without asking." in page


@pytest.mark.parametrize("where", ["/quotes/{quote}", "/quotes/{quote}/changes",
                                   "/counter/orders/{order}"])  # fmt: skip
def test_a_revision_beyond_what_was_allowed_says_by_how_much(shop, counter, where):
    order = shop.order()
    key = shop.order_now(order).quote_id
    shop.revise(key, ("", GUIDES))

    page = counter.get(where.format(quote=key, order=order)).text

    net = shop.told(FOUR).net
    limit = net + min(round(net / 10, 2), Decimal(50))
    over = shop.told(GUIDES).net - limit
    assert f"{money(over)} more than the {money(limit)} that may be charged" in page


def test_a_revision_within_what_was_allowed_asks_for_no_yes(shop, counter):
    customer = shop.customer(up_to=900_000)
    key = shop.yes(shop.quote(("", FOUR), customer_id=customer))
    shop.revise(key, ("", GUIDES))

    page = counter.get(f"/quotes/{key}").text

    assert "needs no new yes" in page
    assert 'class="refusal"' not in page


def test_what_to_do_comes_before_what_is_offered(shop, counter):
    order = shop.order()
    quote = shop.order_now(order).quote_id

    page = counter.get(f"/quotes/{quote}").text
    assert page.index("What to do with it") < page.index("What is offered")
    page = counter.get(f"/counter/orders/{order}").text
    assert page.index("What to do with it") < page.index("The head</h2>")


@pytest.mark.parametrize("page", ["/counter/find?q=brook", "/customers/{customer}"])
def test_a_list_shows_an_offer_past_its_last_day_as_lapsed(shop, at, clock, page):
    customer = shop.customer()
    shop.quote(("", FOUR), customer_id=customer)
    page = page.format(customer=customer)
    assert ">offered<" in at("counter").get(page).text

    clock.on(days=shop.edition.shop.validity_days + 1)

    text = at("counter").get(page).text
    assert ">lapsed<" in text
    assert ">offered<" not in text


def test_accounts_read_a_quote_and_change_nothing(shop, at):
    key = shop.quote(("", FOUR))
    page = f"/quotes/{key}"
    accounts = at("accounts")
    token = accounts.token(page)

    assert accounts.get(page).status_code == 200
    answer = accounts.client.post(
        f"{page}/step", data={"form_token": token, "move": "decline"}
    )
    assert answer.status_code == 403
    assert shop.read(key).state == "offered"


def test_the_bench_is_shown_no_quote(shop, at):
    key = shop.quote(("", FOUR))

    assert at("bench").get(f"/quotes/{key}").status_code == 403


def test_only_the_owner_is_shown_what_a_job_costs(shop, counter, at):
    key = shop.quote(("", FOUR))
    cost = money(shop.told(FOUR).cost)

    assert cost in at("owner").get(f"/quotes/{key}").text
    assert cost not in counter.get(f"/quotes/{key}").text


def test_a_paper_of_another_quote_is_not_found_under_this_one(shop, counter):
    one, other = shop.quote(("", FOUR)), shop.quote(("", FOUR))
    page = f"/quotes/{one}"
    paper = send(counter, page, f"{page}/print", by="paper").location

    assert counter.get(paper.replace(page, f"/quotes/{other}")).status_code == 404


def test_a_quote_that_is_not_there_is_not_found(counter):
    assert counter.get("/quotes/99").status_code == 404


def test_the_state_of_a_quote_follows_its_last_day(shop):
    key = shop.quote(("", FOUR))
    quote = shop.read(key)

    assert quotes.state_on(quote, quote.valid_until) == "offered"
    assert quotes.state_on(quote, date(2027, 6, 1)) == "lapsed"
