"""Credit notes: what goes back with a line, and never more than is left.

The sums stand in the docstrings and can be followed with a pocket calculator; their
figures are invented. The laws hold for any taxes, policies and currencies.
"""

from contextlib import suppress
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from builders import JOBS, ON, dec, edition
from hypothesis import given, settings
from hypothesis import strategies as st
from invoicing import free, invoice, invoices, rows, under

from quoting.domain.credit import (
    NotAShareError,
    NothingCreditedError,
    NothingLeftError,
    ReasonNeededError,
    TooMuchCreditedError,
    credit_all,
    credit_amount,
    credit_lines,
    credit_note,
    left_of,
    left_of_line,
)
from quoting.domain.invoice import Kind, Reference, Why
from quoting.domain.job import AskedPart, Job, Outwork
from quoting.domain.rates import Terms
from quoting.files.job_file import read_job

LAWS = settings(max_examples=80, deadline=None)

LATER = date(2026, 3, 9)


def of_file(name):
    """Return the invoice for a job file."""
    rates = edition()
    [(_, job)] = read_job(JOBS / f"{name}.toml", rates).jobs
    return invoice(rates, job)


def mixed(**known):
    """Return labour 412.50, outwork 118.00 at 13.5 %; parts 287.35, 150.00 at 23 %."""
    return invoice(
        under(LAB="13.5", OUT="13.5", PAR="23", SUR="23"),
        Job(
            (),
            free=(free("412.50"),),
            parts=(
                AskedPart(description="head", price=dec("287.35"), surcharge="CORE"),
            ),
            outwork=(Outwork("weld", dec("118.00"), markup=dec("0")),),
            propose=False,
        ),
        **known,
    )


def note(document, items):
    """Return the credit note that takes *items* back."""
    return credit_note(
        document, items, on=LATER, reason=Why.PRICE, because="agreed by telephone"
    )


def place(document, described):
    """Return the place of the line that is described so."""
    [item] = [item for item in document.items if item.description == described]
    return item.place


def figures(items):
    """Return kind, net and tax of each item."""
    return [f"{item.kind} {item.net} {item.tax}" for item in items]


def totals(document):
    return f"{document.net} {document.tax} {document.gross}"


# Worked sums.


def test_a_share_of_an_exchange_surcharge_goes_back_with_its_tax():
    """60 % of 150.00 is 90.00, and 20 % tax 18.00: 108.00.

    417.00 + 83.40 = 500.40 are kept of 507.00 + 101.40 = 608.40.
    """
    document = of_file("T08")
    surcharge = {place(document, "Exchange surcharge"): dec("0.6")}
    credit = note(document, credit_lines(document, [], surcharge))

    assert totals(credit) == "90.00 18.00 108.00"
    assert document.gross - credit.gross == dec("500.40")
    assert document.net - credit.net == dec("417.00")


def test_a_surcharge_whose_tax_is_kept_goes_back_without_it():
    """150.00 of 150.00 go back; 30.00 of tax at 20 % stay.

    Sales and Use Tax Annotation 315.0370 (California, seen quoted): a returned charge
    for the old unit of a new part goes back, the tax on it does not.
    """
    document = of_file("T08")
    where = place(document, "Exchange surcharge")
    items = credit_lines(document, [], {where: dec("1")}, keep_tax=[where])
    credit = note(document, items)

    assert (credit.net, credit.tax, credit.gross) == (150, 0, 150)
    assert credit.taxes[0].base == dec("150.00")
    rest = note(document, credit_all(document, [credit]))
    assert credit.gross + rest.gross == document.gross


def test_a_line_takes_its_discount_along():
    """420.00 - 63.00 = 357.00, with 20 % 71.40: 428.40; 180.00 with tax are left."""
    document = of_file("T08")
    where = place(document, "exchange head")
    credit = note(document, credit_lines(document, [], {where: dec("1")}))

    assert figures(credit.items) == ["exchange 420.00 84.00", "discount -63.00 -12.60"]
    assert totals(credit) == "357.00 71.40 428.40"
    assert left_of_line(left_of(document, []), where) == dec("428.40")
    assert left_of_line(left_of(document, [credit]), where) == 0
    [rest] = credit_all(document, [credit])
    assert (rest.kind, rest.net + rest.tax) == ("surcharge", dec("180.00"))


def test_a_line_takes_its_sets_price_and_its_discount_along():
    """67.00 - 2.58 of the set's 14.68 - 6.44 of the discount's 41.79 = 57.98.

    At 20 % 67.00 has 13.40 of the tax; 2.58 has 0.516 and 6.44 has 1.288, which are
    0.52 and 1.29 where nobody else has lost more by rounding: 11.59, so 69.57.
    """
    document = of_file("W13")
    first_cut = next(item for item in document.items if item.code == "SCUT")
    credit = note(document, credit_lines(document, [], {first_cut.place: dec("1")}))

    assert figures(credit.items) == [
        "labour 67.00 13.40", "set_price -2.58 -0.52", "discount -6.44 -1.29",
    ]  # fmt: skip
    assert totals(credit) == "57.98 11.59 69.57"


def test_a_part_of_a_line_takes_that_part_of_all_that_hangs_on_it():
    """A quarter of 100.00 less 10 %: 25.00 - 2.50 = 22.50, tax 20 % 4.50: 27.00."""
    document = invoice(
        under(LAB="20"),
        Job(
            (),
            free=(free("100.00", discountable=True),),
            terms=Terms(code="T", name="Trade", discount_labour=dec("10")),
        ),
    )
    credit = note(document, credit_lines(document, [], {1: dec("0.25")}))

    assert figures(credit.items) == ["free 25.00 5.00", "discount -2.50 -0.50"]
    assert totals(credit) == "22.50 4.50 27.00"


def test_half_of_a_price_that_contains_its_tax_is_half_of_that_price():
    """7.72 is 6.43 and 1.29; half of it 3.86: tax 0.645, so 0.65, net 3.21.

    Halves rounded each by itself would be 3.22 and 0.65, a cent too much.
    """
    rates = under(LAB="20")
    rates = replace(rates, policy=replace(rates.policy, inclusive=True))
    document = invoice(rates, Job((), free=(free("7.72"),)))
    first = note(document, credit_lines(document, [], {1: dec("0.5")}))
    second = note(document, credit_lines(document, [first], {1: dec("0.5")}))

    assert totals(first) == "3.21 0.65 3.86"
    assert totals(second) == "3.22 0.64 3.86"


def test_an_amount_is_spread_over_the_rates_by_what_is_left_of_them():
    """100.00 over 602.12 : 537.94 is 52.81 and 47.19.

    Tax in them 52.81 x 13.5/113.5 = 6.28 and 47.19 x 23/123 = 8.82; net 84.90.
    """
    document = mixed()
    credit = note(document, credit_amount(document, [], dec("100.00")))

    assert [(row.base, row.amount) for row in credit.taxes] == [
        (dec("46.53"), dec("6.28")),
        (dec("38.37"), dec("8.82")),
    ]
    assert totals(credit) == "84.90 15.10 100.00"


def test_the_tax_in_an_amount_is_rounded_once_and_not_by_the_line():
    """10.00 of twenty lines of 1.20 with tax: 10.00 x 20/120 = 1.67, net 8.33.

    By the line it would be twenty times 0.50 with 0.08: 1.60 of tax.
    """
    document = invoice(under(LAB="20"), Job((), free=(free("1.00"),) * 20))
    credit = note(document, credit_amount(document, [], dec("10.00")))

    assert totals(document) == "20.00 4.00 24.00"
    assert totals(credit) == "8.33 1.67 10.00"


def test_credits_of_a_mixed_invoice():
    """Old unit 150.00 + 34.50 = 184.50; 20.00 off the head's price + 4.60 = 24.60.

    1140.06 - 184.50 - 24.60 = 930.96.
    """
    document = mixed()
    returned = note(
        document,
        credit_lines(document, [], {place(document, "Exchange surcharge"): dec("1")}),
    )
    share = dec("20.00") / dec("287.35")
    cheaper = note(
        document, credit_lines(document, [returned], {place(document, "head"): share})
    )

    assert totals(returned) == "150.00 34.50 184.50"
    assert totals(cheaper) == "20.00 4.60 24.60"
    rest = note(document, credit_all(document, [returned, cheaper]))
    assert rest.gross == dec("930.96")


def test_the_last_credit_takes_what_is_left_of_a_line():
    """0.10 with 0.03 of tax (25 %, 0.025): two thirds have 0.03 and 0.01 each.

    0.04 and 0.01 are left for the last one.
    """
    document = invoice(under(LAB="25"), Job((), free=(free("0.10"),)))
    third = Decimal(1) / 3
    first = note(document, credit_lines(document, [], {1: third}))
    second = note(document, credit_lines(document, [first], {1: third}))
    last = note(document, credit_all(document, [first, second]))

    assert totals(document) == "0.10 0.03 0.13"
    assert [totals(each) for each in (first, second, last)] == [
        "0.03 0.01 0.04", "0.03 0.01 0.04", "0.04 0.01 0.05",
    ]  # fmt: skip


def test_a_credit_of_all_is_the_invoice_row_by_row():
    document = of_file("T02")
    credit = note(document, credit_all(document, []))

    assert [item.bits for item in credit.items] == [
        item.bits for item in document.items
    ]
    assert credit.taxes == document.taxes
    assert totals(credit) == totals(document)


# The paper, and what is refused.


def test_a_credit_note_refers_to_its_invoice_and_asks_for_no_money():
    document = mixed(number="INV-0042", terms="30 days")
    credit = credit_note(
        document,
        credit_all(document, []),
        on=LATER,
        reason=Why.RETURNED,
        because="  old unit came back ",
        legends=("Keep this note.",),
    )

    assert credit.kind is Kind.CREDIT
    assert credit.refers == (Reference("INV-0042", ON),)
    assert (credit.reason, credit.because) == (Why.RETURNED, "old unit came back")
    assert (credit.on, credit.pay_by, credit.number) == (LATER, None, "")
    assert (credit.legends, credit.terms) == (("Keep this note.",), "")
    assert credit.supplied == document.supplied
    assert credit.policy == document.policy


def test_a_credit_note_needs_a_reason_in_words():
    document = mixed()

    with pytest.raises(ReasonNeededError, match="Say why"):
        credit_note(
            document,
            credit_all(document, []),
            on=LATER,
            reason=Why.GOODWILL,
            because="  ",
        )


def test_more_of_a_line_than_is_left_is_refused_with_the_figures():
    """60 % of 150.00 went back; another 90.00 is more than the 60.00 left."""
    document = of_file("T08")
    surcharge = {place(document, "Exchange surcharge"): dec("0.6")}
    first = note(document, credit_lines(document, [], surcharge))

    with pytest.raises(TooMuchCreditedError) as refused:
        credit_lines(document, [first], surcharge)
    assert str(refused.value) == (
        "90.00 is more than the 60.00 that is left of Exchange surcharge."
    )


def test_a_larger_amount_than_is_left_is_refused_with_the_figures():
    document = of_file("T08")
    first = note(document, credit_amount(document, [], dec("600.00")))

    with pytest.raises(TooMuchCreditedError) as refused:
        credit_amount(document, [first], dec("8.41"))
    assert str(refused.value) == (
        "8.41 is more than the 8.40 that is left of INV-0101."
    )
    assert note(document, credit_amount(document, [first], dec("8.40")))


def test_what_is_credited_already_is_refused():
    document = of_file("T08")
    where = place(document, "exchange head")
    line = note(document, credit_lines(document, [], {where: dec("1")}))
    everything = note(document, credit_all(document, []))

    with pytest.raises(NothingLeftError, match="All of exchange head is credited"):
        credit_lines(document, [line], {where: dec("0.1")})
    with pytest.raises(NothingLeftError, match="All of INV-0101 is credited"):
        credit_all(document, [everything])
    with pytest.raises(NothingLeftError, match="All of INV-0101 is credited"):
        credit_amount(document, [everything], dec("0.01"))


@pytest.mark.parametrize(
    ("share", "percent"), [("0", "0"), ("-0.5", "-50"), ("1.01", "101"), ("1.5", "150")]
)
def test_a_share_beyond_the_line_is_refused_with_what_is_allowed(share, percent):
    said = rf"^{percent} per cent of .* write more than 0 and at most 100,"
    with pytest.raises(NotAShareError, match=said):
        credit_lines(mixed(), [], {1: dec(share)})


def test_a_share_that_is_not_worth_a_cent_is_refused():
    with pytest.raises(NothingCreditedError, match="Say what is credited"):
        credit_lines(mixed(), [], {1: dec("0.00001")})


def test_no_lines_and_no_amount_are_refused():
    with pytest.raises(NothingCreditedError):
        credit_lines(mixed(), [], {})
    with pytest.raises(NothingCreditedError):
        credit_amount(mixed(), [], dec("0.00"))


def test_a_line_that_the_invoice_does_not_have_is_refused():
    with pytest.raises(NothingLeftError, match="All of 99 is credited"):
        credit_lines(mixed(), [], {99: dec("1")})


# Laws.

REFUSED = (NothingCreditedError, NothingLeftError, TooMuchCreditedError)
SHARES = st.sampled_from([Decimal(n) / 12 for n in (1, 2, 3, 4, 6, 8, 11, 12)])
TAKEN = st.one_of(
    st.tuples(st.just("line"), st.integers(0, 30), SHARES),
    st.tuples(st.just("amount"), st.just(0), SHARES),
)


def take(document, notes, how, where, share):
    """Return the items of a credit note for a line or an amount."""
    if how == "line":
        chosen = document.items[where % len(document.items)].place
        return credit_lines(document, notes, {chosen: share})
    rest = sum((bit.rest.gross for bit in left_of(document, notes)), dec("0"))
    unit = document.currency.unit
    return credit_amount(document, notes, (rest * share).quantize(unit))


def columns(bit):
    return (bit.amount, bit.net, *bit.taxes)


@LAWS
@given(invoices(), st.lists(TAKEN, max_size=6))
def test_credits_in_any_order_come_to_nothing_in_every_row(document, steps):
    notes = []
    for step in steps:
        try:
            items = take(document, notes, *step)
        except REFUSED:
            continue
        notes.append(note(document, items))
        for bit in left_of(document, notes):
            for whole, rest in zip(columns(bit.whole), columns(bit.rest), strict=True):
                assert min(whole, 0) <= rest <= max(whole, 0)
    with suppress(NothingLeftError):
        notes.append(note(document, credit_all(document, notes)))
    assert all(base == tax == 0 for base, tax in rows(document, *notes).values())
    assert sum(each.net for each in notes) == document.net
    assert sum(each.gross for each in notes) == document.gross
    assert not any(any(columns(bit.rest)) for bit in left_of(document, notes))


@LAWS
@given(invoices(), SHARES)
def test_an_amount_is_credited_to_the_smallest_unit(document, share):
    try:
        items = take(document, [], "amount", 0, share)
    except REFUSED:
        return
    wanted = (document.gross * share).quantize(document.currency.unit)
    assert note(document, items).gross == wanted


@LAWS
@given(invoices(), st.data())
def test_lines_credited_one_by_one_or_together_give_the_same(document, data):
    left = left_of(document, [])
    able = [
        item.place
        for item in document.items
        if any(
            bit.rest.gross and (bit.whole.of or bit.place) == item.place for bit in left
        )
    ]
    if not able:
        return
    chosen = data.draw(st.lists(st.sampled_from(able), min_size=1, unique=True))
    together = credit_lines(document, [], dict.fromkeys(chosen, Decimal(1)))
    notes = []
    for where in chosen:
        notes.append(note(document, credit_lines(document, notes, {where: Decimal(1)})))

    assert sum(each.gross for each in notes) == note(document, together).gross
    assert sum(each.net for each in notes) == note(document, together).net
