"""Minutes and findings on the page of a work order."""

import pytest
from at_the_counter import Shop, form, send

from quoting.store.models import Clocked, Found


@pytest.fixture
def shop(database, clock):
    return Shop(database, clock)


@pytest.fixture
def order(shop):
    return shop.order()


@pytest.fixture
def bench(at):
    return at("bench")


def page(order):
    return f"/counter/orders/{order}"


def clock_in(browser, order, **typed):
    return send(browser, page(order), f"/orders/{order}/minutes", **typed)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("95", "95"), ("1:35", "95"), ("95.5", "95.5"), ("95,50", "95.5")],
)
def test_minutes_of_the_whole_job_are_written_down_in_one_figure(
    shop, bench, order, typed, kept
):
    answer = clock_in(bench, order, minutes=typed, person="Elias")
    assert answer.status_code == 303, answer.text

    [row] = shop.rows(Clocked)
    assert (row.minutes, row.operations, row.person) == (kept, "", "Elias")
    assert "the whole job" in bench.get(page(order)).text


@pytest.mark.parametrize(
    "typed",
    [
        "0",
        "-5",
        "10001",
        "ten",
        "",
        "nan",
        "1_0",
        "\u0661\u0662",
        "1e9",
        "1e1",
        "1e-999",
        "1:x",
        "-1:90",
        "1:-5",
        "1:75",
    ],
)
def test_minutes_that_cannot_be_are_refused_and_stay_typed(shop, bench, order, typed):
    answer = clock_in(bench, order, minutes=typed, person="Elias", operation="SKIM")

    assert answer.status_code == 422
    assert f'value="{typed}"' in answer.text
    assert 'value="SKIM" checked' in answer.text
    assert shop.rows(Clocked) == []


def test_minutes_of_single_operations_name_work_of_the_order(shop, bench, order):
    clock_in(bench, order, minutes="40", operation=["SKIM", "LEAK"])
    refused = clock_in(bench, order, minutes="40", operation="WELD")

    assert [row.operations for row in shop.rows(Clocked)] == ["LEAK+SKIM"]
    assert refused.status_code == 422
    assert "holds no WELD" in refused.text
    text = bench.get(page(order)).text
    assert "Pressure test, Skim the face</th>" in text


def test_minutes_are_left_out_with_a_reason_and_counted_again(shop, bench, order):
    clock_in(bench, order, minutes="400")
    [row] = shop.rows(Clocked)
    address = f"/orders/{order}/minutes/{row.id}"

    assert send(bench, page(order), address, why="").status_code == 422
    send(bench, page(order), address, why="the clock ran over lunch")
    assert [row.aside for row in shop.rows(Clocked)] == ["the clock ran over lunch"]
    send(bench, page(order), address)
    assert [row.aside for row in shop.rows(Clocked)] == [""]


def test_findings_are_kept_with_how_many_were_looked_at(shop, bench, order):
    typed = {
        "affected-guides-worn": "3", "at-risk-guides-worn": "16",
        "affected-bowed": "0", "at-risk-bowed": "1",
        "affected-seats-gone": "", "at-risk-seats-gone": "16",
    }  # fmt: skip
    answer = send(bench, page(order), f"/orders/{order}/findings", **typed)
    assert answer.status_code == 303, answer.text

    kept = {row.finding: (row.affected, row.at_risk) for row in shop.rows(Found)}
    assert kept == {"guides-worn": (3, 16), "bowed": (0, 1)}
    assert "Guides worn 3 of 16" in bench.get(page(order)).text


def test_findings_that_cannot_be_are_refused_together_and_nothing_is_kept(
    shop, bench, order
):
    typed = {
        "affected-guides-worn": "17", "at-risk-guides-worn": "16",
        "affected-bowed": "1", "at-risk-bowed": "",
        "affected-seats-gone": "2", "at-risk-seats-gone": "16",
    }  # fmt: skip
    answer = send(bench, page(order), f"/orders/{order}/findings", **typed)

    assert answer.status_code == 422
    assert "<p>Guides worn: 17 of 16 cannot be" in answer.text
    assert "<p>Head bowed: 1 of nothing cannot be" in answer.text
    assert 'value="17"' in answer.text
    assert shop.rows(Found) == []


@pytest.mark.parametrize("count", ["10001", "99999999999"])
def test_nobody_looks_at_more_than_a_work_order_can_bring(shop, bench, order, count):
    typed = {"affected-bowed": "0", "at-risk-bowed": count}
    answer = send(bench, page(order), f"/orders/{order}/findings", **typed)

    assert answer.status_code == 422
    assert shop.rows(Found) == []


@pytest.mark.parametrize("code", ["no-such-thing", "", "x" * 200, "a\0b", "condemned"])
def test_a_finding_that_cannot_be_written_down_is_refused(shop, bench, order, code):
    if code == "condemned":
        findings = shop.edition.findings.values()
        code = next(finding.code for finding in findings if finding.condemns)
    typed = {f"affected-{code}": "1", f"at-risk-{code}": "1"}
    answer = send(bench, page(order), f"/orders/{order}/findings", **typed)

    assert answer.status_code == 422
    assert "x" * 50 not in answer.text
    assert shop.rows(Found) == []


def test_minutes_that_two_people_leave_out_stay_left_out(shop, bench, order):
    clock_in(bench, order, minutes="400")
    [row] = shop.rows(Clocked)
    address = f"/orders/{order}/minutes/{row.id}"
    opened_before = form(bench, page(order), address)

    send(bench, page(order), address, why="the clock ran over lunch")
    bench.client.post(address, data={**opened_before, "why": "a slip of the pen"})
    assert [row.aside for row in shop.rows(Clocked)] == ["a slip of the pen"]


def test_a_finding_is_taken_back_by_emptying_it(shop, bench, order):
    address = f"/orders/{order}/findings"
    send(bench, page(order), address, **{"affected-bowed": "1", "at-risk-bowed": "1"})
    send(bench, page(order), address, **{"affected-bowed": "", "at-risk-bowed": "1"})
    assert shop.rows(Found) == []
