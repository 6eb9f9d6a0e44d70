"""Accounts: the month's work of whoever keeps the books, in the browser."""

import csv
import io
import json
import re
import zipfile
from dataclasses import replace
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from html import unescape
from urllib.parse import unquote

import page as validator
import pytest
from at_the_counter import FOUR, Shop, form, send
from lxml import etree
from pypdf import PdfReader
from shop import part_payments
from sqlalchemy import select
from sqlalchemy.orm import undefer

from quoting.domain.job import Override
from quoting.domain.life import OrderMove
from quoting.store.models import (
    CashCount,
    DepositTaken,
    DocumentIssued,
    MonthAct,
    PaperMade,
    Payment,
    Quote,
    Trail,
)
from quoting.workflow import deposits, orders, quotes
from quoting.workflow.quotes import About, Asked


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def accounts(at):
    return at("accounts")


@pytest.fixture
def ready(shop):
    """Return the quote of an order that is ready, with its customer."""
    customer = shop.customer(address="1 Exampleton Road")
    key = shop.order(customer=customer)
    with shop.database.transaction() as session:
        row = orders.order_of(session, key)
        orders.move(session, row, row.version, OrderMove.MAKE_READY, shop.now)
        return row.quote_id


def issued(shop, accounts, quote, **typed):
    """Issue the invoice for a quote in the browser; return its row."""
    page = f"/accounts/invoice?quote={quote}"
    answer = send(accounts, page, "/accounts/invoice", **typed)
    assert answer.status_code == 303, answer.text
    return shop.rows(DocumentIssued)[-1]


def table(packed, name):
    """Return the rows of a table in an archive."""
    return list(csv.DictReader(io.StringIO(packed.read(name).decode())))


def on(row):
    return f"/accounts/documents/{row.id}"


def test_what_is_ready_is_to_be_invoiced_and_then_owed(shop, accounts, ready):
    assert "W-00001" in accounts.get("/accounts").text
    page = accounts.get(f"/accounts/invoice?quote={ready}").text
    total = shop.told(FOUR).total
    assert f"£{total:,.2f}" in page
    assert "Line by line as it was said yes to." in page

    row = issued(shop, accounts, ready, named="1", deposits="1")

    assert (row.number, row.gross) == ("I-00001", int(total * 100))
    text = accounts.get("/accounts").text
    assert "Everything that is ready or was handed over is invoiced." in text
    assert "Brook Farm Engines" in text


def test_a_double_click_issues_one_invoice(shop, accounts, ready):
    page = f"/accounts/invoice?quote={ready}"
    first = send(accounts, page, "/accounts/invoice", named="1")
    assert first.status_code == 303
    again = send(accounts, page, "/accounts/invoice", named="1")
    assert again.status_code == 422
    assert "is invoiced already, as I-00001" in again.text
    assert len(shop.rows(DocumentIssued)) == 1


def test_the_draft_of_an_invoice_leads_back_to_quote_and_account(accounts, ready):
    text = accounts.get(f"/accounts/invoice?quote={ready}").text
    assert f'href="/quotes/{ready}"' in text
    assert 'href="/accounts/customers/1"' in text


def test_what_was_typed_stays_when_an_invoice_is_refused(accounts, ready):
    page = f"/accounts/invoice?quote={ready}"
    answer = send(
        accounts, page, "/accounts/invoice", line1="Six weeks of storage",
        amount1="ninety", named="1",
    )  # fmt: skip
    assert answer.status_code == 422
    assert "Six weeks of storage" in answer.text
    assert 'value="ninety"' in answer.text


@pytest.mark.parametrize("code", ["NONE", "a\0b", "x" * 500])
@pytest.mark.parametrize("look", ["", "1"])
def test_a_tax_code_that_is_none_is_refused(shop, accounts, ready, code, look):
    page = f"/accounts/invoice?quote={ready}"
    answer = send(
        accounts, page, "/accounts/invoice", line1="Storage", amount1="90.00",
        code1=code, named="1", look=look,
    )  # fmt: skip
    assert answer.status_code == (200 if look else 422)
    assert f"There is no tax code {code[:40]};" in answer.text
    assert "Storage" in answer.text
    assert shop.rows(DocumentIssued) == []


@pytest.mark.parametrize("key", [10**10, 10**30, -1, "\u0661", "x"])
def test_under_a_key_that_none_can_be_there_is_nothing(accounts, key):
    for page in (
        f"/accounts/invoice?quote={key}",
        f"/accounts/documents/{key}",
        f"/accounts/customers/{key}",
        f"/accounts/payments/{key}/receipt",
    ):
        assert accounts.get(page).status_code == 404


def test_a_telephone_number_is_not_dropped_for_want_of_a_name(shop, at):
    key = shop.customer("Brook Farm Engines")
    page = f"/customers/{key}/details"
    answer = send(
        at("counter"), page, page, called="Brook Farm Engines", phone1="01632 960017"
    )
    assert answer.status_code == 422
    assert "The name that goes with 01632 960017: say it first." in answer.text
    assert 'value="01632 960017"' in answer.text


def test_more_than_was_said_yes_to_is_not_charged_without_the_owners_word(
    shop, accounts, at, ready
):
    page = f"/accounts/invoice?quote={ready}"
    more = {"line1": "Storage", "amount1": "900.00", "named": "1"}
    answer = send(accounts, page, "/accounts/invoice", **more, reason="because")
    assert answer.status_code == 422
    assert shop.rows(DocumentIssued) == []
    row = issued(shop, at("owner"), ready, **more, reason="agreed on the phone")
    assert row.number == "I-00001"


def test_a_payment_a_credit_and_a_refund_tell_one_story(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    due = row.gross
    pay = send(
        accounts, on(row), f"{on(row)}/pay", amount=f"{due / 100:.2f}", method="card"
    )
    assert pay.status_code == 303
    [paid] = shop.rows(Payment)
    assert (paid.amount, paid.method, paid.left) == (due, "card", 0)

    refused = send(
        accounts, on(row), f"{on(row)}/credit", what="amount", amount="9,999.00",
        reason_code="goodwill", because="a long wait",
    )  # fmt: skip
    assert refused.status_code == 422
    assert "a long wait" in refused.text
    send(
        accounts, on(row), f"{on(row)}/credit", what="amount", amount="10.00",
        reason_code="goodwill", because="a long wait",
    )  # fmt: skip
    note = shop.rows(DocumentIssued)[-1]
    assert (note.number, note.gross, note.left) == ("C-00001", 1000, 1000)

    send(
        accounts, on(note), f"{on(note)}/refund", how="back", amount="10.00",
        method="card", why="they asked for it",
    )  # fmt: skip
    told = accounts.get(f"{on(note)}/story").text
    for words in (
        "Quote saved", "Invoice issued", "Paid, card", "Credit note issued",
        "Paid back, card", "they asked for it", "a long wait",
    ):  # fmt: skip
        assert words in told
    assert "cost" not in told.lower()


def test_the_files_of_a_document_are_the_stored_ones(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    cii = accounts.get(f"{on(row)}/xml/cii")
    ubl = accounts.get(f"{on(row)}/xml/ubl")
    assert etree.QName(etree.fromstring(cii.data)).localname == "CrossIndustryInvoice"
    assert etree.QName(etree.fromstring(ubl.data)).localname == "Invoice"
    assert accounts.get(f"{on(row)}/xml/other").status_code == 404
    shop.customer("Another")
    assert accounts.get(f"{on(row)}/xml/cii").data == cii.data


@pytest.mark.needs_pdf
def test_an_invoice_is_printed_once_and_is_the_same_file_ever_after(
    shop, accounts, ready
):
    row = issued(shop, accounts, ready, named="1")
    first = accounts.get(f"{on(row)}/paper")
    assert first.data.startswith(b"%PDF")
    assert accounts.get(f"{on(row)}/paper").data == first.data


def test_a_deposit_is_paid_back_kept_or_moved(shop, accounts):
    quote = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    other = shop.quote(("", FOUR), caller="Pat")
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        key = deposits.take_deposit(session, row, Decimal(100), "cash", shop.now).id
    page, form = "/accounts/deposits", f"/accounts/deposits/{key}"
    assert "£100.00" in accounts.get(page).text
    refused = send(
        accounts, page, form, how="back", amount="200.00", method="card", why="x"
    )
    assert refused.status_code == 422
    assert "200.00 is more than the 100.00 that is left" in refused.text
    send(accounts, page, form, how="back", amount="40.00", method="card", why="less")
    said = accounts.get(page).text
    assert "£60.00 of it is still held" in said
    assert "D-00001, £60.00 left of £100.00" in said
    taken = accounts.get(f"/quotes/{quote}").text
    assert "£100.00 cash, 26 November 2026; £60.00 of it is still held" in taken
    send(accounts, page, form, how="move", to="Q-00002", why="same man")
    [row] = shop.rows(DepositTaken)
    assert (row.held, row.quote_id) == (6000, other)
    send(accounts, page, form, how="keep", why="never came", taxed="1")
    assert shop.rows(DepositTaken)[0].held == 0
    taken = accounts.get(f"/quotes/{other}").text
    assert "£100.00 cash, 26 November 2026; nothing of it is held any more" in taken


def test_a_work_order_says_what_is_left_of_a_deposit(shop, accounts, at, ready):
    """£40.00 of £100.00 are paid back."""
    key = deposit(shop, ready, 100)
    order = f"/counter/orders/{shop.read(ready).order.id}"
    taken = "<dt>taken</dt><dd>£100.00 cash"
    assert f"{taken}</dd>" in at("counter").get(order).text
    send(
        accounts, "/accounts/deposits", f"/accounts/deposits/{key}",
        how="back", amount="40", method="cash", why="less to do",
    )  # fmt: skip
    assert f"{taken}, of which £60.00 is still held</dd>" in (
        at("counter").get(order).text
    )


def deposit(shop, quote, amount):
    """Take a deposit for a quote; return its key."""
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, quote)
        return deposits.take_deposit(session, row, Decimal(amount), "cash", shop.now).id


def over(text):
    """Return what a page says is still held, by whole paragraphs."""
    return [
        unescape(re.sub(r"<[^>]+>", "", found))
        for found in re.findall(r"<p>(<b>.*? is still held for .*?)</p>", text)
    ]


def test_when_a_job_is_invoiced_its_pages_say_what_is_still_held_for_it(
    shop, accounts, at, ready
):
    """£960 more than the invoice comes to were taken."""
    total = shop.told(FOUR).total
    key = deposit(shop, ready, total + 960)
    order = f"/counter/orders/{shop.read(ready).order.id}"
    counter = at("counter")
    for page in (f"/quotes/{ready}", order):
        assert over(counter.get(page).text) == []

    row = issued(shop, accounts, ready, named="1", deposits="1")

    held = "£960.00 of deposit D-00001 is still held for Q-00001, and that is invoiced."
    for_counter = " Accounts pays it back, holds it for another job or keeps it."
    assert over(accounts.get(on(row)).text) == [held]
    assert over(counter.get(on(row)).text) == [held + for_counter]
    for page in (f"/quotes/{ready}", order):
        assert over(counter.get(page).text) == [held + for_counter]
    page = accounts.get(f"/quotes/{ready}").text
    for how in ("back", "move", "keep"):
        link = f"/accounts/deposits?deposit={key}&how={how}"
        assert f'href="{link}#deposit{key}"' in unescape(page)
        chosen = re.findall(
            r'name="how" value="(\w+)" checked', accounts.get(link).text
        )
        assert chosen == [how]
    send(
        accounts, "/accounts/deposits", f"/accounts/deposits/{key}",
        how="back", amount="960", method="cash", why="too much",
    )  # fmt: skip
    for page in (on(row), f"/quotes/{ready}"):
        assert over(accounts.get(page).text) == []


def test_when_heads_are_handed_over_or_condemned_it_is_said_what_is_held(
    shop, at, ready
):
    deposit(shop, ready, 50)
    page = f"/quotes/{ready}"
    order = f"/counter/orders/{shop.read(ready).order.id}"
    counter, bench = at("counter"), at("bench")
    send(counter, order, f"{order}/hand-over", collected_by="Brook")
    [said] = over(counter.get(order).text)
    assert "£50.00 of deposit D-00001 is still held for Q-00001" in said
    assert "and its heads are handed over. Its invoice takes it off" in said
    assert over(counter.get(page).text) == [said]
    assert over(bench.get(order).text) == []

    key = shop.order(customer=shop.customer("Another"))
    order = f"/counter/orders/{key}"
    deposit(shop, shop.order_now(key).quote_id, 20)
    assert over(counter.get(order).text) == []
    send(counter, order, f"{order}/condemn", tag="A", why="cracked")
    [said] = over(counter.get(order).text)
    assert "£20.00 of deposit D-00002 is still held for Q-00002" in said
    assert "and its heads are condemned. Its invoice takes it off: invoice it." in said


def test_when_they_say_no_it_is_said_what_is_held(shop, at):
    key = shop.quote(("", FOUR), caller="Pat")
    deposit(shop, key, 50)
    deposit(shop, key, 20)
    page = f"/quotes/{key}"
    counter = at("counter")
    assert over(counter.get(page).text) == []
    send(counter, page, f"{page}/step", move="decline", why="too dear")
    [said] = over(counter.get(page).text)
    assert said.startswith(
        "£70.00 of 2 deposits is still held for Q-00001, and they said no."
    )


def test_a_taxed_deposit_is_paid_back_by_a_credit_note_that_is_printed(
    shop, accounts, at
):
    with shop.database.transaction() as session:
        part_payments(session)
    quote = shop.yes(shop.quote(("", FOUR), customer_id=shop.customer()))
    page = f"/quotes/{quote}"
    send(at("counter"), page, f"{page}/deposit", amount="100", method="cash")
    [invoice] = shop.rows(DocumentIssued)
    assert "in the list of" in accounts.get(on(invoice)).text
    form_of = f"/accounts/deposits/{shop.rows(DepositTaken)[0].id}"
    send(accounts, "/accounts/deposits", form_of, how="back", amount="100.00",
         method="cash", why="not taken up")  # fmt: skip

    note = shop.rows(DocumentIssued)[-1]

    assert (note.kind, note.gross, note.left) == ("credit note", 10000, 0)
    assert "Used up" in accounts.get(on(note)).text
    assert "not taken up" in shop.paper("credit note")[1]
    assert accounts.get(f"{on(note)}/xml/cii").status_code == 200


def test_a_credit_note_is_paid_out_or_set_against_but_never_paid(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    total = f"{Decimal(row.gross) / 100}"
    more = f"{Decimal(row.gross) / 100 + 25}"
    send(accounts, on(row), f"{on(row)}/pay", amount=more, method="card")
    assert "£25.00 of it is on the account" in accounts.get(on(row)).text
    chosen = {"what": "amount", "amount": "20", "because": "a long wait"}
    unsaid = send(accounts, on(row), f"{on(row)}/credit", **chosen)
    assert unsaid.status_code == 422
    send(accounts, on(row), f"{on(row)}/credit", reason_code="goodwill", **chosen)
    note = shop.rows(DocumentIssued)[-1]
    page = accounts.get(on(note)).text
    against, back = (part.split("</form>")[0] for part in page.split("/refund")[1:])
    assert 'value="against"' in against
    assert 'value="against"' not in back
    tokens = form(accounts, on(note), f"{on(note)}/refund")
    pays = {**tokens, "amount": total, "method": "card"}
    paid = accounts.client.post(f"{on(note)}/pay", data=pays)

    assert paid.status_code == 422
    assert "is a credit note: pay it out" in paid.text
    send(accounts, on(note), f"{on(note)}/refund", how="against")
    assert "Nothing is owed that it could be set against" in accounts.get(on(note)).text


def test_looking_at_a_draft_again_refuses_nothing(accounts, ready):
    page = f"/accounts/invoice?quote={ready}"
    looked = send(accounts, page, "/accounts/invoice", look="1", named="1")
    assert 'role="alert"' not in looked.text
    refused = send(accounts, page, "/accounts/invoice", named="1", line1="Storage")
    assert refused.text.count("The amount of Storage") == 1


def test_the_till_is_counted(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    send(accounts, on(row), f"{on(row)}/pay", amount="50.00", method="cash")
    page = "/accounts/till"
    refused = send(accounts, page, page, counted="49.00", banked="40.00")
    assert refused.status_code == 422
    assert "49.00 is counted and 50.00 is expected" in refused.text
    send(accounts, page, page, counted="49.00", banked="40.00", note="wrong change")
    [count] = shop.rows(CashCount)
    assert (count.expected, count.counted, count.banked) == (5000, 4900, 4000)
    assert "£9.00" in accounts.get(page).text


def test_a_month_is_closed_sent_and_reopened_by_the_owner(
    shop, accounts, at, ready, clock
):
    issued(shop, accounts, ready, named="1")
    month = f"{clock():%Y-%m}"
    page = f"/accounts/months/{month}"
    assert "It reconciles" in accounts.get(page).text
    clock.on(days=31)
    accounts = at("accounts")
    assert send(accounts, page, f"{page}/close").status_code == 303
    assert "Closed" in accounts.get(page).text
    assert accounts.send(f"{page}/reopen", page, why="x").status_code == 403
    owner = at("owner")
    unsaid = send(owner, page, f"{page}/reopen", why="")
    assert unsaid.status_code == 422
    assert (
        "Why the month is opened again, which stays on record: say it first."
        in unsaid.text
    )
    assert send(owner, page, f"{page}/reopen", why="forgot one").status_code == 303
    assert [act.act for act in shop.rows(MonthAct)] == ["closed", "reopened"]


def test_the_months_files_hold_what_the_screen_shows(shop, accounts, ready, clock):
    row = issued(shop, accounts, ready, named="1")
    page = f"/accounts/months/{clock():%Y-%m}"
    answer = send(accounts, page, f"{page}/send", what="csv")
    with zipfile.ZipFile(io.BytesIO(answer.data)) as packed:
        [line] = list(
            csv.DictReader(io.StringIO(packed.read("documents.csv").decode()))
        )
        assert line["number"] == row.number
        assert Decimal(line["gross"]) == Decimal(row.gross) / 100
        journal = table(packed, "journal.csv")
        debit = sum(Decimal(each["debit"]) for each in journal)
        assert debit == sum(Decimal(each["credit"]) for each in journal) > 0
        assert json.loads(packed.read("datapackage.json"))["name"].startswith("month-")
    send(accounts, page, f"{page}/send", what="xml")
    send(accounts, page, f"{page}/send", what="csv")
    assert "Sent" in accounts.get(page).text
    with shop.database.reading() as session:
        said = session.scalars(select(MonthAct.why).order_by(MonthAct.id)).all()
    assert said == [
        f"month-{clock():%Y-%m}-csv.zip: for the first time",
        f"month-{clock():%Y-%m}-xml.zip: for the first time",
        f"month-{clock():%Y-%m}-csv.zip: same as sent {clock():%Y-%m-%d}",
    ]


def test_the_reader_reads_and_changes_nothing(shop, accounts, at, ready):
    row = issued(shop, accounts, ready, named="1")
    reader = at("reader")
    for page in ("/accounts", on(row), "/accounts/till", "/accounts/deposits"):
        assert reader.get(page).status_code == 200
    text = reader.get(on(row)).text
    assert "Credit it" not in text
    assert "Take a payment" not in text
    refused = reader.send(f"{on(row)}/pay", "/me", amount="1.00", method="cash")
    assert refused.status_code == 403
    assert shop.rows(Payment) == []


def test_the_accounts_are_named_as_the_accountant_does(shop, accounts, ready):
    issued(shop, accounts, ready, named="1")
    page = "/accounts/names"
    send(
        accounts, page, page, **{"code-debtors|": "1100", "name-debtors|": "Customers"}
    )
    text = accounts.get(page).text
    assert 'value="1100"' in text
    assert 'value="Customers"' in text


@pytest.mark.needs_pdf
def test_a_statement_says_what_is_open_and_is_kept(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    send(accounts, on(row), f"{on(row)}/pay", amount="50.00", method="card")
    page = f"/accounts/customers/{row.customer_id}"

    answer = send(accounts, page, f"{page}/statement")

    file = accounts.get(answer.location)
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(file.data)).pages)
    assert f"{(row.gross - 5000) / 100:,.2f}" in text
    assert "I-00001" in text
    report = validator.validate_pdf_bytes(
        file.data, profile=validator.ValidationProfile.PDF_UA_1
    )
    assert report.is_compliant, report.failures
    assert accounts.get(answer.location).data == file.data
    other = answer.location.replace(page, "/accounts/customers/99")
    assert accounts.get(other).status_code == 404


# Who owes no tax, and what the place asks of a whole document.


@pytest.fixture
def exempt(shop):
    """Return the quote of a ready order of an exempt customer, and their key."""

    def make(**details):
        customer = shop.customer(terms="EXEMPT", **details)
        key = shop.order(customer=customer, terms="EXEMPT")
        with shop.database.transaction() as session:
            row = orders.order_of(session, key)
            orders.move(session, row, row.version, OrderMove.MAKE_READY, shop.now)
            return row.quote_id

    return make


def test_a_certificate_stands_on_the_invoice_and_in_the_month(shop, accounts, exempt):
    quote = exempt(certificate="BM-207", certified_by="Revenue Office of Ambria")
    page = accounts.get(f"/accounts/invoice?quote={quote}").text
    assert "certificate BM-207 (Revenue Office of Ambria)" in page
    assert " and no tax" in page

    row = issued(shop, accounts, quote, named="1")

    assert row.tax == 0
    assert row.certificate == "BM-207 (Revenue Office of Ambria)"
    month = accounts.get(f"/accounts/months/{row.on:%Y-%m}").text
    assert "BM-207 (Revenue Office of Ambria)" in month


@pytest.mark.parametrize(
    ("details", "said"),
    [
        ({}, "needs its number and who issued it"),
        (
            {
                "certificate": "BM-207",
                "certified_by": "Revenue Office",
                "certified_until": date(2026, 11, 24),
            },
            "held until 2026-11-24",
        ),
    ],
)
def test_without_a_certificate_that_holds_tax_is_charged_and_said(
    shop, accounts, at, exempt, details, said
):
    quote = exempt(**details)
    page = accounts.get(f"/accounts/invoice?quote={quote}").text
    assert said in page
    row = issued(shop, at("owner"), quote, named="1", reason="the tax is due")

    assert row.tax > 0
    assert row.certificate == ""


def written_down(shop, quote, **details):
    """Write more down of the customer of a quote that stands already."""
    with shop.database.transaction() as session:
        customer = session.get_one(Quote, quote).customer
        for name, value in details.items():
            setattr(customer, name, value)


def test_a_certificate_that_came_after_the_quote_reaches_its_invoice(
    shop, accounts, ready
):
    told = shop.told(FOUR)
    assert told.tax > 0
    written_down(
        shop, ready, terms="EXEMPT", certificate="BM-207", certified_by="Revenue Office"
    )

    page = accounts.get(f"/accounts/invoice?quote={ready}").text
    assert "certificate BM-207 (Revenue Office). It came after the quote" in page
    row = issued(shop, accounts, ready, named="1")

    assert row.tax == 0
    assert row.net == told.net * 100
    assert row.certificate == "BM-207 (Revenue Office)"


def test_a_certificate_that_the_terms_do_not_use_is_said(shop, accounts, ready):
    written_down(shop, ready, certificate="BM-207", certified_by="Revenue Office")

    page = accounts.get(f"/accounts/invoice?quote={ready}").text
    assert "Certificate BM-207 is on record, and tax is charged all the same" in page
    assert issued(shop, accounts, ready, named="1").tax > 0


def test_what_a_place_asks_of_a_document_is_answered_on_its_draft(
    shop, accounts, ready
):
    page = f"/accounts/invoice?quote={ready}"
    assert "delivery_outside" in accounts.get(page).text
    looked = send(
        accounts,
        page,
        "/accounts/invoice",
        answer="delivery_outside",
        look="1",
        named="1",
    )
    assert "It came for the work and leaves the country again" in looked.text

    kept = send(
        accounts,
        page,
        "/accounts/invoice",
        **{
            "answer": "delivery_outside",
            "aside-GB-EXPORT": "no proof",
            "look": "1",
            "named": "1",
        },
    )
    assert 'value="no proof"' in kept.text
    row = issued(shop, accounts, ready, named="1", answer="delivery_outside")

    assert row.tax == 0


def test_what_was_said_of_the_tax_stays_in_a_draft_that_is_refused(accounts, ready):
    """A line without an amount refuses the draft; nothing that was typed is lost."""
    page = f"/accounts/invoice?quote={ready}"
    refused = send(
        accounts, page, "/accounts/invoice", look="1", named="1",
        answer="delivery_outside", line1="Storage",
        **{"aside-GB-EXPORT": "no proof"},
    )  # fmt: skip

    assert "The amount of Storage" in refused.text
    assert 'value="no proof"' in refused.text
    assert 'value="delivery_outside" checked' in refused.text


def test_a_draft_that_could_not_ask_of_the_tax_keeps_what_the_quote_says(
    shop, accounts
):
    """No yes refuses the draft when it is opened; the yes comes while it is open."""
    job = replace(
        shop.job(FOUR),
        answers=("delivery_outside",),
        aside={"GB-EXPORT": Override("Olive Owner", "no proof")},
    )
    with shop.database.transaction() as session:
        about = About(customer_id=shop.customer())
        key = quotes.save(session, about, [Asked("", job)], shop.now).id
    page = f"/accounts/invoice?quote={key}"
    opened = form(accounts, page, "/accounts/invoice")
    shop.yes(key)
    again = {**opened, "look": "1", "named": "1"}
    looked = accounts.client.post("/accounts/invoice", data=again)
    assert 'value="delivery_outside" checked' in looked.text
    assert 'value="no proof"' in looked.text

    row = issued(
        shop, accounts, key, named="1", answer="delivery_outside",
        **{"aside-GB-EXPORT": "no proof"},
    )  # fmt: skip

    assert row.tax > 0
    [entry] = [e for e in shop.rows(Trail) if "aside" in e.why]
    assert entry.why == "Olive Owner sets GB-EXPORT aside: no proof"


def test_a_rule_set_aside_charges_the_tax_and_says_who_and_why(shop, accounts, ready):
    row = issued(
        shop,
        accounts,
        ready,
        **{"named": "1", "answer": "delivery_outside", "aside-GB-EXPORT": "no proof"},
    )

    assert row.tax > 0
    [entry] = [e for e in shop.rows(Trail) if "aside" in e.why]
    assert entry.why == "Abel Accounts sets GB-EXPORT aside: no proof"


def test_shares_of_lines_that_no_document_has_are_refused(shop, accounts, ready):
    row = issued(shop, accounts, ready, named="1")
    for place in ("9" * 5000, "\u0661", "999"):
        answer = send(
            accounts, on(row), f"{on(row)}/credit", what="lines",
            reason_code="goodwill", because="a long wait", **{f"share{place}": "50"},
        )  # fmt: skip
        assert answer.status_code == 422
    assert [each.id for each in shop.rows(DocumentIssued)] == [row.id]


# Who a customer is.


def test_who_a_customer_is_can_be_written_down(shop, accounts):
    key = shop.customer(up_to=5000)
    page = f"/customers/{key}/details"
    answer = send(
        accounts, page, page, called="Brook Farm Engines", address="1 Mill Lane",
        postcode="BR1 2EX", town="Exampleton", country="IE", terms="FLEET",
        up_to="75.00", collective="1", tax_number="XA-1", certificate="C 1",
        certified_by="Revenue", certified_until="2027-01-31", person1="Mabel Brook",
        phone1="01632 960001", mail1="", person2="", phone2="", mail2="",
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
    text = accounts.get(f"/customers/{key}").text
    for told in (
        "1 Mill Lane", "BR1 2EX Exampleton", "Ireland", "XA-1", "C 1", "£75.00",
        "Mabel Brook", "one a month",
    ):  # fmt: skip
        assert told in text


def test_what_was_typed_of_a_customer_stays_with_every_problem(shop, accounts):
    key = shop.customer()
    page = f"/customers/{key}/details"
    answer = send(
        accounts, page, page, called="", town="Exampleton", country="Narnia",
        up_to="plenty", certified_until="soon", person1="Mabel Brook",
    )  # fmt: skip

    assert answer.status_code == 422
    for told in (
        "Name: say it first.",
        "&#39;soon&#39; is no day",
        'value="plenty"',
        'value="Exampleton"',
        'value="Mabel Brook"',
        "Country: say it first.",
    ):
        assert told in answer.text


def test_what_another_wrote_of_a_customer_meanwhile_is_shown_before_it_is_changed(
    shop, accounts, at
):
    key = shop.customer()
    page = f"/customers/{key}/details"
    seen = form(accounts, page, page)
    told = {"called": "Brook Farm Engines", "person1": "Mabel", "phone1": "0163"}
    send(at("counter"), page, page, **told)

    refused = accounts.client.post(page, data={**seen, **told, "town": "Exampleton"})

    assert refused.status_code == 409
    assert "Somebody else changed this meanwhile" in refused.text
    assert "Colin Counter: customer written down" in refused.text
    assert 'value="Exampleton"' in refused.text
    assert "Exampleton" not in accounts.get(f"/customers/{key}").text
    assert send(accounts, page, page, **told, town="Exampleton").status_code == 303
    assert "Exampleton" in accounts.get(f"/customers/{key}").text


# Paying early, and one invoice for a month.


def test_who_pays_early_is_told_what_that_takes_off_and_gets_it(shop, accounts):
    """The fleet's terms: 2 % of the total with tax, within ten days."""
    customer = shop.customer(terms="FLEET")
    key = shop.order(customer=customer, terms="FLEET")
    with shop.database.transaction() as session:
        row = orders.order_of(session, key)
        orders.move(session, row, row.version, OrderMove.MAKE_READY, shop.now)
        quote = row.quote_id
    row = issued(shop, accounts, quote, named="1")
    off = (Decimal(row.gross) * 2 / 100).quantize(Decimal(1), ROUND_HALF_UP)
    [html] = [paper.html for paper in papers(shop) if paper.kind == "invoice"]
    until = row.on + timedelta(days=10)

    assert f"Paid by {until.day} {until:%B %Y}, 2% or £{off / 100:,.2f} may be" in html
    page = accounts.get(on(row)).text
    assert f'value="{off / 100:,.2f}"' in page
    answer = send(
        accounts, on(row), f"{on(row)}/give-up", how="settlement",
        amount=str(off / 100), why="paid within ten days",
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
    assert shop.rows(DocumentIssued)[-1].left == row.gross - off


def test_after_the_days_are_over_nothing_is_offered_for_paying_early(shop, at, clock):
    customer = shop.customer(terms="FLEET")
    key = shop.order(customer=customer, terms="FLEET")
    with shop.database.transaction() as session:
        row = orders.order_of(session, key)
        orders.move(session, row, row.version, OrderMove.MAKE_READY, shop.now)
        quote = row.quote_id
    row = issued(shop, at("accounts"), quote, named="1")
    for days, offered in ((10, True), (1, False)):
        clock.on(days=days)
        page = at("accounts").get(on(row)).text
        assert ('name="how" value="settlement" checked' in page) is offered


def papers(shop):
    with shop.database.reading() as session:
        return list(session.scalars(select(PaperMade).options(undefer(PaperMade.html))))


def test_a_month_that_does_not_reconcile_says_so_on_top(shop, accounts, ready, clock):
    """One cent is missing in the document: its lines and its total are out."""
    row = issued(shop, accounts, ready, named="1")
    with shop.database.transaction() as session:
        session.get(DocumentIssued, row.id).net -= 1
    text = accounts.get(f"/accounts/months/{clock():%Y-%m}").text
    top = text.partition("For the accountant")[0]
    assert "This month does not reconcile." in top
    assert "lines = documents, before tax; each document: lines = net" in top
    assert "It reconciles" not in text
    assert "Out by £0.01" in text
    assert "Out by -1" in text  # one document less is in order
    assert row.number in text.partition("each document: lines = net</summary>")[2]


def test_a_month_that_has_not_begun_reconciles_nothing_yet(accounts, clock):
    page = f"/accounts/months/{clock().year + 2}-01"
    text = accounts.get(page).text
    assert "It has not begun." in text
    assert "It reconciles" not in text
    assert "Close it" not in text
    assert (
        "It reconciles so far" in accounts.get(f"/accounts/months/{clock():%Y-%m}").text
    )


@pytest.mark.parametrize("what", ["", "exe", "csv" * 40])
def test_a_month_has_no_other_files(shop, accounts, clock, what):
    page = f"/accounts/months/{clock():%Y-%m}"
    assert send(accounts, page, f"{page}/send", what=what).status_code == 400
    assert shop.rows(MonthAct) == []


def test_a_month_s_file_says_how_it_compares(accounts, clock):
    page = f"/accounts/months/{clock():%Y-%m}"
    for said in ("for the first time", f"same as sent {clock():%Y-%m-%d}"):
        answer = send(accounts, page, f"{page}/send", what="csv")
        assert unquote(answer.headers["X-Compared"]) == said
