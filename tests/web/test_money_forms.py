"""Forms of Accounts that are filled in seldom: old units, months of work, credits."""

import re
from html import unescape

import pytest
from at_the_counter import FOUR, Shop, form, send

from quoting.store.models import (
    DocumentIssued,
    DocumentLine,
    Payment,
    SurchargeHeld,
)
from quoting.workflow import documents, quotes


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def accounts(at):
    return at("accounts")


def on(row):
    return f"/accounts/documents/{row.id}"


# Exchange surcharges: an exchange head of 400.00 with the surcharge of surcharges.csv.


@pytest.fixture
def exchanged(shop):
    """Return what invoices an exchange head with a surcharge; it returns the row."""

    def sell(surcharge):
        quote = shop.goods("400.00", shop.customer(), surcharge=surcharge)
        with shop.database.transaction() as session:
            documents.issue(session, [quotes.quote_of(session, quote)], shop.now)
        return shop.rows(DocumentIssued)[-1]

    return sell


def judge(shop, accounts, row, **typed):
    """Fill in and send the form of an old unit."""
    [held] = shop.rows(SurchargeHeld)
    page = on(row)
    return send(accounts, page, f"{page}/surcharge", surcharge=str(held.id), **typed)


def test_an_old_unit_that_came_back_in_full_has_its_surcharge_and_tax_credited(
    shop, accounts, exchanged
):
    """150.00 and 18.5 % of it, 27.75, go back."""
    row = exchanged("OLDCAR")
    assert row.gross == 65175  # 550.00 and 101.75
    text = accounts.get(on(row)).text
    assert "£150.00 held before tax, back by 26 December 2026." in text

    answer = judge(
        shop, accounts, row, share="back", part="100", why="complete, no cracks"
    )

    assert answer.status_code == 303, answer.text
    note = shop.rows(DocumentIssued)[-1]
    assert (note.number, note.net, note.tax) == ("C-00001", 15000, 2775)
    assert (note.because, note.corrects_id) == ("complete, no cracks", row.id)
    [held] = shop.rows(SurchargeHeld)
    assert (held.held, held.kept) == (0, 0)
    assert "Old unit" not in accounts.get(on(row)).text
    assert "No old unit is waited for." in accounts.get("/accounts").text


def test_an_old_unit_that_is_worth_a_part_has_that_credited_and_the_rest_kept(
    shop, accounts, exchanged
):
    """60 % of 150.00 are 90.00, with 16.65 of tax; 60.00 are left and forfeited."""
    row = exchanged("OLDCAR")
    judge(shop, accounts, row, share="back", part="60", why="face pitted")
    note = shop.rows(DocumentIssued)[-1]
    assert (note.net, note.tax) == (9000, 1665)
    assert "£60.00 held before tax" in accounts.get(on(row)).text

    answer = judge(shop, accounts, row, share="kept", part="40", why="rest is scrap")

    assert answer.status_code == 303, answer.text
    [held] = shop.rows(SurchargeHeld)
    assert (held.held, held.kept, held.why) == (0, 6000, "rest is scrap")
    assert len(shop.rows(DocumentIssued)) == 2


def test_a_surcharge_whose_old_unit_never_comes_is_forfeited_and_earned(
    shop, accounts, exchanged
):
    row = exchanged("OLDCAR")
    judge(shop, accounts, row, share="kept", part="100", why="never came")

    [held] = shop.rows(SurchargeHeld)
    assert (held.held, held.kept, held.kept_number) == (0, 15000, "K-00001")
    assert len(shop.rows(DocumentIssued)) == 1
    assert shop.posted("surcharge kept") == {
        "exchange surcharges held": 15000,
        "income surcharges kept": -15000,
    }
    told = accounts.get(f"{on(row)}/story").text
    assert "Exchange surcharge kept" in told
    assert "never came" in told
    month = accounts.get(f"/accounts/months/{row.on:%Y-%m}").text
    assert "It reconciles" in month


def test_where_the_tax_of_a_surcharge_is_kept_it_is_said_and_does_not_go_back(
    shop, accounts, exchanged
):
    row = exchanged("OLDBIG")
    text = accounts.get(on(row)).text
    assert "£280.00 held before tax, back by 10 January 2027." in text
    assert "Its tax stays charged when it comes back." in text

    judge(shop, accounts, row, share="back", part="100", why="as new")

    note = shop.rows(DocumentIssued)[-1]
    assert (note.net, note.tax) == (28000, 0)


@pytest.mark.parametrize("share", ["back", "kept"])
def test_an_old_unit_is_not_judged_without_a_reason_and_what_was_typed_stays(
    shop, accounts, exchanged, share
):
    row = exchanged("OLDCAR")
    answer = judge(shop, accounts, row, share=share, part="60", why="")

    assert answer.status_code == 422
    assert "How the old unit came back, or why it does not: say it first." in (
        answer.text
    )
    assert 'name="part" inputmode="decimal" value="60"' in answer.text
    [held] = shop.rows(SurchargeHeld)
    assert (held.held, held.kept) == (15000, 0)


# One invoice for a month, from its list.


def handed_over(shop, counter, customer):
    """Book in, make ready and hand over; return the key of the order."""
    quote = shop.yes(shop.quote(("", FOUR), customer_id=customer))
    key = shop.ready(quote)
    page = f"/counter/orders/{key}"
    send(counter, page, f"{page}/hand-over", collected_by="Brook")
    return key


def test_the_work_of_a_month_is_invoiced_together_from_its_list(shop, at, clock):
    customer = shop.customer(collective=True, address="1 Exampleton Road")
    first, second = (handed_over(shop, at("counter"), customer) for _ in range(2))
    nothing = "No customer who wants one invoice a month has work of an earlier month"
    assert nothing in at("accounts").get("/accounts").text
    clock.on(days=5)  # from 26 November to 1 December
    third = handed_over(shop, at("counter"), customer)
    accounts = at("accounts")

    text = accounts.get("/accounts").text
    assert "W-00001, W-00002</td>" in text
    [link] = re.findall(r'href="([^"]+)" aria-label="Invoice the month of', text)
    page = unescape(link)
    keys = [str(shop.order_now(key).quote_id) for key in (first, second)]
    assert page == "/accounts/invoice?" + "&".join(f"quote={key}" for key in keys)
    assert "Invoice for Q-00001, Q-00002" in accounts.get(page).text

    tokens = form(accounts, page, "/accounts/invoice")
    typed = {**tokens, "quote": keys, "named": "1", "deposits": "1"}
    answer = accounts.client.post("/accounts/invoice", data=typed)

    assert answer.status_code == 303, answer.text
    [row] = shop.rows(DocumentIssued)
    assert row.net == 2 * shop.told(FOUR).net * 100
    lines = shop.rows(DocumentLine)
    assert {line.work for line in lines} == {"W-00001", "W-00002"}
    assert [shop.order_now(key).invoiced for key in (first, second, third)] == [
        True, True, False,
    ]  # fmt: skip
    assert nothing in accounts.get("/accounts").text


# Shares, and debts given up.


@pytest.mark.parametrize("typed", ["150", "-5", "0"])
def test_a_share_of_a_line_that_is_none_is_refused_with_what_is_allowed(
    shop, accounts, exchanged, typed
):
    row = exchanged("OLDCAR")
    said = (
        "cannot be credited: write more than 0 and at most 100, where 100 is all of "
        "the line."
    )
    by_line = send(
        accounts, on(row), f"{on(row)}/credit", what="lines", share1=typed,
        reason_code="goodwill", because="scratched",
    )  # fmt: skip
    unit = judge(shop, accounts, row, share="back", part=typed, why="heavy")

    assert (by_line.status_code, unit.status_code) == (422, 422)
    assert f"{typed} per cent of Exchange head {said}" in by_line.text
    assert f"{typed} per cent of Exchange surcharge" in unit.text
    assert said in unit.text
    assert len(shop.rows(DocumentIssued)) == 1


def heading(text):
    """Return what the page of a document calls it, and the line below."""
    [(name, line)] = re.findall(
        r'<h2 id="left">(.*?)</h2>\n<p class="big">.*?</p>\n<p class="soft">(.*?)</p>',
        text,
    )
    return name, line


def test_what_is_written_off_is_called_that_and_not_settled(shop, accounts):
    """74.00 of 474.00 are paid, 400.00 written off; of the next all 474.00."""
    customer = shop.customer()
    for _ in range(3):
        shop.owes("400.00", customer)
    part, whole, paid = shop.rows(DocumentIssued)
    send(accounts, on(part), f"{on(part)}/pay", amount="74.00", method="card")
    for row in (part, whole):
        send(accounts, on(row), f"{on(row)}/give-up", how="write-off", why="bankrupt")
    send(accounts, on(paid), f"{on(paid)}/pay", amount="474.00", method="card")

    name, line = heading(accounts.get(on(part)).text)
    assert (name, line.endswith("; £400.00 is written off")) == (
        "Written off in part", True,
    )  # fmt: skip
    name, line = heading(accounts.get(on(whole)).text)
    assert (name, line.endswith("; £474.00 is written off")) == ("Written off", True)
    assert heading(accounts.get(on(paid)).text)[0] == "Settled"
    text = re.sub("<[^>]+>", "", accounts.get(f"/accounts/customers/{customer}").text)
    settled, off = text.split("Settled lately")[1].split("Written off lately")
    assert "I-00003 of 26 November 2026: £474.00" in settled
    assert "I-00001" not in settled
    assert "I-00002" not in settled
    assert "I-00001 of 26 November 2026: £400.00 of £474.00" in off
    assert "I-00002 of 26 November 2026: £474.00 of £474.00" in off


def test_a_discount_for_paying_early_is_said_where_an_invoice_is_settled(
    shop, accounts
):
    """9.48 are 2 % of 474.00."""
    shop.owes("400.00", shop.customer())
    [row] = shop.rows(DocumentIssued)
    send(accounts, on(row), f"{on(row)}/pay", amount="464.52", method="card")
    send(
        accounts, on(row), f"{on(row)}/give-up", how="settlement", amount="9.48",
        why="paid within ten days",
    )  # fmt: skip
    name, line = heading(accounts.get(on(row)).text)
    assert name == "Settled, less a discount for paying early"
    assert line.endswith("; £9.48 was let go for paying early")


# What is credited in full.


def test_an_invoice_that_was_credited_in_full_takes_no_payment(shop, accounts):
    """Its page was opened before somebody credited it."""
    shop.owes("400.00", shop.customer())
    [row] = shop.rows(DocumentIssued)
    seen = form(accounts, on(row), f"{on(row)}/pay")
    credited = send(
        accounts, on(row), f"{on(row)}/credit", what="all", reason_code="goodwill",
        because="never fitted",
    )  # fmt: skip
    assert credited.status_code == 303, credited.text

    pays = {**seen, "amount": "474.00", "method": "card"}
    refused = accounts.client.post(f"{on(row)}/pay", data=pays)

    assert refused.status_code == 422
    assert (
        "I-00001 is credited in full: nothing is owed on it. Take the payment for the "
        "invoice that stands, or on the customer&#39;s account."
    ) in refused.text
    assert shop.rows(Payment) == []


def test_an_invoice_that_is_credited_in_part_is_paid(shop, accounts):
    """474.00 less 100.00 are 374.00."""
    shop.owes("400.00", shop.customer())
    [row] = shop.rows(DocumentIssued)
    send(
        accounts, on(row), f"{on(row)}/credit", what="amount", amount="100.00",
        reason_code="goodwill", because="scratched",
    )  # fmt: skip
    answer = send(accounts, on(row), f"{on(row)}/pay", amount="374.00", method="card")
    assert answer.status_code == 303, answer.text
    assert shop.rows(DocumentIssued)[0].left == 0
