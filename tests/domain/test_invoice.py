"""Invoices: what hangs on a line, and bits that add up to every row.

The sums stand in the docstrings and can be followed with a pocket calculator; their
figures are invented. The laws hold for any taxes, policies and currencies.
"""

from dataclasses import replace
from datetime import date

from builders import JOBS, ON, dec, edition, heads, with_operation
from hypothesis import given, settings
from hypothesis import strategies as st
from invoicing import editions, free, invoice, invoices, jobs, policies, rows, under

from quoting.domain.invoice import Bit, Deducted, Item, Kind, deposit_bits
from quoting.domain.job import Asked, AskedPart, Job, Outwork, OwnPrice
from quoting.domain.pricing import price
from quoting.domain.rates import Terms
from quoting.domain.tax import Amount, bases_of, split_gross
from quoting.files.job_file import read_job

LAWS = settings(max_examples=80, deadline=None)


def of_file(name, rates=None):
    """Return the invoice for a job file."""
    rates = rates or edition()
    [(_, job)] = read_job(JOBS / f"{name}.toml", rates).jobs
    return invoice(rates, job)


def borne(document, kind):
    """Return what each line bears of the adjustments of a kind, by its code."""
    by_place = {item.place: item.code or item.description for item in document.items}
    return [
        f"{by_place[bit.of]} {bit.amount}"
        for item in document.items
        if item.kind == kind
        for bit in item.bits
    ]


# Worked sums.


def test_a_discount_is_spread_over_the_lines_it_was_worked_out_on():
    """101.63 over 813.00: 12.5 % of each line, in cents 101.62; SKIM has the last one.

    125.40 x 101.63 / 813.00 = 15.6758 has the largest remainder. Parts, sundries and
    the disposal fee bear nothing of it.
    """
    document = of_file("T02")

    assert borne(document, "discount") == [
        "STRP -5.00", "ROCK -3.00", "HOTK -10.00", "MEAS -6.25", "MAGP -9.50",
        "GKNU -10.00", "SCUT -10.25", "SCUT -9.45", "VREF -8.50", "SSHM -1.50",
        "SKIM -15.68", "VACT -1.90", "SEAL -1.70", "ASSY -8.90",
    ]  # fmt: skip
    assert (document.net, document.tax) == (dec("796.61"), dec("159.32"))


def test_what_brings_a_condemned_head_to_its_cap_is_spread_over_the_work():
    """44.00 over 26 + 28 + 30 + 55 = 139.00: 8.2302, 8.8633, 9.4964, 17.4101.

    In cents 43.99; the largest remainder is 0.64 of MEAS.
    """
    document = of_file("T07")

    assert borne(document, "no_fix") == [
        "STRP -8.23", "WASH -8.86", "MEAS -9.50", "LEAK -17.41",
    ]  # fmt: skip
    assert (document.net, document.tax) == (dec("95.00"), dec("19.00"))


def test_an_exchange_surcharge_bears_nothing_of_the_discount():
    """420.00 - 63.00 + 150.00 = 507.00; 20 % of 357.00 = 71.40, of 150.00 = 30.00."""
    document = of_file("T08")

    assert borne(document, "discount") == ["exchange head -63.00"]
    assert [(item.kind, item.net, item.tax) for item in document.items] == [
        ("exchange", dec("420.00"), dec("84.00")),
        ("surcharge", dec("150.00"), dec("30.00")),
        ("discount", dec("-63.00"), dec("-12.60")),
    ]
    assert document.gross == dec("608.40")
    assert document.income == {
        "exchange": dec("420.00"),
        "surcharges": dec("150.00"),
        "discounts": dec("-63.00"),
    }


def test_a_sets_price_is_spread_over_its_members_only():
    """14.68 over 381.60; in cents 14.63, so the five largest remainders have one more.

    SHGT 0.7386, SCUT 2.5775, WASH 1.0772, MEAS 1.3464, VREF 2.6159. SKIM is in no set.
    """
    document = of_file("W13")

    assert borne(document, "set_price") == [
        "STRP -1.23", "WASH -1.08", "MEAS -1.35", "SCUT -2.58", "SCUT -2.15",
        "VREF -2.62", "SHGT -0.74", "VACT -0.58", "ASSY -2.35",
    ]  # fmt: skip


def test_a_discount_counts_what_a_line_has_of_its_sets_price():
    """41.79 over 417.92, such as 67.00 - 2.58 = 64.42: 6.4417, so 6.44.

    In cents 41.74; one more have SKIM 5.0998, VREF 6.5377, STRP 3.0768, SHGT 1.8459
    and MEAS 3.3648. Without the set's price it would be 6.70 for the 67.00.
    """
    by_code = {}
    for text in borne(of_file("W13"), "discount"):
        code, amount = text.split()
        by_code.setdefault(code, []).append(amount)

    assert by_code == {
        "STRP": ["-3.08"], "WASH": ["-2.69"], "MEAS": ["-3.37"],
        "SCUT": ["-6.44", "-5.38"], "VREF": ["-6.54"], "SHGT": ["-1.85"],
        "VACT": ["-1.46"], "ASSY": ["-5.88"], "SKIM": ["-5.10"],
    }  # fmt: skip


def test_prices_that_contain_tax_have_it_taken_out_of_each_line():
    """127.72 x 20/120 = 21.29: of 66.00 11.00, of 54.00 9.00, of 7.72 the rest 1.29."""
    rates = under(LAB="20", PAR="20")
    rates = with_operation(rates, "SKIM", base=dec("54.00"))
    rates = with_operation(rates, "LEAK", base=dec("66.00"))
    rates = replace(rates, policy=replace(rates.policy, inclusive=True))
    document = of_file("W17", rates)

    assert [(item.amount, item.net, item.tax) for item in document.items] == [
        (dec("66.00"), dec("55.00"), dec("11.00")),
        (dec("54.00"), dec("45.00"), dec("9.00")),
        (dec("7.72"), dec("6.43"), dec("1.29")),
    ]
    assert (document.net, document.tax) == (dec("106.43"), dec("21.29"))


def test_the_taxes_of_lines_are_shown_so_that_they_add_up():
    """924.24 x 19 % = 175.6056, so 175.61; rounded by the line it would be 175.59.

    Floors 44.25, 11.10, 44.44, 54.53, 21.27; the two missing cents go to 44.2548 and
    44.4448, which lose most.
    """
    amounts = ("232.92", "58.44", "233.92", "287.01", "111.95")
    document = invoice(under(LAB="19"), Job((), free=tuple(map(free, amounts))))

    assert [str(item.tax) for item in document.items] == [
        "44.26", "11.10", "44.45", "54.53", "21.27",
    ]  # fmt: skip
    assert document.tax == dec("175.61")
    assert document.gross == dec("1099.85")


#: Labour 412.50 and outwork 118.00 at 13.5 %; a part and its surcharge at 23 %.
MIXED = under(LAB="13.5", OUT="13.5", PAR="23", SUR="23")
MIXED_JOB = Job(
    (),
    free=(free("412.50"),),
    parts=(AskedPart(description="head", price=dec("287.35"), surcharge="CORE"),),
    outwork=(Outwork("weld", dec("118.00"), markup=dec("0")),),
    propose=False,
)


def deposit(final, amount):
    """Return the deposit invoice for *amount* towards *final*."""
    charged = [
        Amount(bit.amount, final.taxes_of[bit.code], bit.code)
        for item in final.items
        for bit in item.bits
    ]
    unit = final.currency.unit
    parts = split_gross(amount, charged, final.policy, unit)
    code = {entry.taxes: entry.code for entry in reversed(charged)}
    bits = deposit_bits([(code[part.taxes], part) for part in parts], final.policy)
    item = Item(1, "deposit", "", "Deposit", "deposits", bits)
    return replace(final, kind=Kind.DEPOSIT, number="DEP-0007", items=(item,))


def test_a_deposit_taxed_on_receipt_is_taken_off_with_its_own_tax():
    """300.00 over 602.12 : 537.94 is 158.44 and 141.56; tax in them 18.85 and 26.47.

    530.50 x 13.5 % = 71.62 and 437.35 x 23 % = 100.59, so 1140.06; 52.77 and 74.12 of
    tax are left and 840.06 to pay.
    """
    final = invoice(MIXED, MIXED_JOB)
    first = deposit(final, dec("300.00"))
    low, high = first.items[0].bits

    assert (low.gross, low.tax, low.net) == (
        dec("158.44"), dec("18.85"), dec("139.59"),
    )  # fmt: skip
    assert (high.gross, high.tax, high.net) == (
        dec("141.56"), dec("26.47"), dec("115.09"),
    )  # fmt: skip
    assert [row.amount for row in final.taxes] == [dec("71.62"), dec("100.59")]
    groups = tuple(
        row._replace(base=bit.net, amount=bit.tax)
        for row, bit in zip(final.taxes, (low, high), strict=True)
    )
    held = Deducted("DEP-0007", date(2026, 2, 3), dec("300.00"), groups)
    final = replace(final, deposits=(held,))
    assert held.tax == dec("45.32")
    assert final.tax - held.tax == dec("52.77") + dec("74.12")
    assert (final.deducted, final.due) == (dec("300.00"), dec("840.06"))


def test_an_agreed_total_is_borne_by_all_that_is_taxed_alike():
    """400.00 and 100.00 at 20 % are 600.00; called 540 all in, net 450.00: 50.00 less.

    40.00 of it hang on the 400.00 and 10.00 on the 100.00, though the codes differ.
    """
    rates = under(LAB="20", A="20")
    job = Job(
        (),
        free=(free("400.00"), free("100.00", "A")),
        call_it=OwnPrice(dec("540.00"), "agreed"),
    )
    document = invoice(rates, job)

    assert [(bit.of, bit.amount) for bit in document.items[-1].bits] == [
        (1, dec("-40.00")),
        (2, dec("-10.00")),
    ]
    assert (document.net, document.gross) == (dec("450.00"), dec("540.00"))


def test_each_warranty_hangs_on_the_lines_that_the_shop_bears_so_far():
    """100 % of LEAK 55.00 is on LEAK alone, 40 % of WASH 28.00 = 11.20 on WASH."""
    rates = under()
    [head] = heads(rates, "I4-16")
    job = Job(
        (head,),
        work=(Asked("WASH", warranty=dec("0.4")), Asked("LEAK", warranty=dec("1"))),
        propose=False,
    )

    assert borne(invoice(rates, job), "warranty") == ["WASH -11.20", "LEAK -55.00"]


def test_each_condemned_head_bears_its_own_cap():
    """Per head 50.00: head A 28 + 55 = 83.00 less 33.00, and head B the same.

    33.00 x 28 / 83 = 11.1325 and 33.00 x 55 / 83 = 21.8675.
    """
    rates = under()
    shop = replace(rates.shop, no_fix_cap=dec("50.00"), no_fix_per="head")
    rates = replace(rates, shop=shop)
    came = heads(rates, "I4-16", "I4-16", "I4-16")
    dead = tuple(replace(head, condemned_at="LEAK") for head in came[:2])
    job = Job(
        (*dead, came[2]),
        work=(Asked("WASH"), Asked("LEAK")),
        terms=Terms(code="T", name="none"),
        propose=False,
    )
    document = invoice(rates, job)

    where = [bit.of for item in document.items if item.kind == "no_fix"
             for bit in item.bits]  # fmt: skip
    assert borne(document, "no_fix") == ["WASH -11.13", "LEAK -21.87"] * 2
    assert where == [1, 2, 4, 5]


def test_a_collective_invoice_rounds_its_tax_once():
    """2 x 0.32 at 7.5 %: of 0.64 it is 0.048, so 0.05; alone each would have 0.02."""
    rates = under(LAB="7.5")
    job = Job((), free=(free("0.32"),))
    document = invoice(rates, job, job)

    assert invoice(rates, job).tax == dec("0.02")
    assert document.tax == dec("0.05")
    assert [item.tax for item in document.items] == [dec("0.03"), dec("0.02")]
    assert [item.place for item in document.items] == [1, 2]


def test_a_collective_invoice_taxes_a_line_as_that_line_where_lines_are_rounded():
    """A discount of 0.15 on three lines of 0.50, taxed at 10 % by the line.

    3 x 0.05 - round(0.015) 0.02 = 0.13 for each of two works; its parts of 0.05 would
    have 0.01 (half up) each, 0.12 in all.
    """
    rates = under(LAB="10")
    policy = replace(rates.policy, level="line", line_digits=2)
    rates = replace(rates, policy=policy)
    terms = Terms(code="T", name="Trade", discount_labour=dec("10"))
    line = free("0.50", discountable=True)
    job = Job((), free=(line,) * 3, terms=terms)

    assert invoice(rates, job).tax == dec("0.13")
    assert invoice(rates, job, job).tax == dec("0.26")


def test_a_tax_upon_an_unrounded_one_has_a_base_in_whole_cents():
    """1.5 % of 1.10 is 0.0165; the second tax stands on 1.1165, written as 1.12."""
    rates = under(LAB=["1.5", "10"])
    first, second = rates.tax_rows["LAB"]
    second = replace(second, order=2, base="net_and_prior")
    rates = replace(
        rates,
        tax_rows={**rates.tax_rows, "LAB": [first, second]},
        policy=replace(rates.policy, prior_rounded=False),
    )
    document = invoice(rates, Job((), free=(free("1.10"),)))

    assert [(row.base, row.amount) for row in document.taxes] == [
        (dec("1.10"), dec("0.02")),
        (dec("1.12"), dec("0.11")),
    ]


def test_a_condemned_head_alone_gives_an_invoice_that_its_deposit_more_than_pays():
    """95.00 + 19.00 = 114.00 less a deposit of 150.00: 36.00 go back."""
    document = of_file("T07")
    held = Deducted("RCT-0001", ON, dec("150.00"))

    assert replace(document, deposits=(held,)).due == dec("-36.00")


# Laws.


def summed(document):
    """Return base and tax by tax that the bits of a document add up to."""
    sums = {}
    for bit in (bit for item in document.items for bit in item.bits):
        taxes = document.taxes_of[bit.code]
        bases = bases_of(taxes, bit.net, bit.taxes)
        for tax, base, owed in zip(taxes, bases, bit.taxes, strict=True):
            was = sums.get(tax, (0, 0))
            sums[tax] = (was[0] + base, was[1] + owed)
    return sums


@LAWS
@given(invoices())
def test_bits_add_up_to_every_row_in_whole_units(document):
    assert summed(document) == rows(document)
    assert len(document.taxes) == len(rows(document))
    for _, base, owed in document.taxes:
        document.currency.to_minor(base)
        document.currency.to_minor(owed)


@LAWS
@given(st.data())
def test_an_invoice_charges_what_the_job_was_priced_at(data):
    rates = data.draw(editions())
    job = data.draw(jobs(rates))
    document, quoted = invoice(rates, job), price(rates, job, ON)

    totals = quoted.totals
    assert (document.net, document.tax, document.gross) == (
        totals.net, totals.tax, totals.total,
    )  # fmt: skip
    assert [item.amount for item in document.items] == [ln.net for ln in quoted.lines]
    assert {row.tax: row.amount for row in document.taxes} == {
        row.tax: row.amount for row in quoted.taxes
    }


@LAWS
@given(invoices(policy=policies.map(lambda p: replace(p, inclusive=True))))
def test_prices_that_contain_tax_are_the_gross(document):
    assert sum(item.amount for item in document.items) == document.gross
    assert all(bit.gross == bit.amount for item in document.items for bit in item.bits)


@LAWS
@given(invoices(policy=policies.map(lambda p: replace(p, inclusive=False))))
def test_prices_without_tax_are_the_net(document):
    assert sum(item.amount for item in document.items) == document.net


@LAWS
@given(st.data(), st.randoms())
def test_the_order_of_lines_changes_no_total(data, random):
    rates = data.draw(editions())
    lines = data.draw(
        st.lists(
            st.tuples(st.integers(0, 90_000), st.sampled_from(["LAB", "A", "B"])),
            min_size=2,
            max_size=6,
        )
    )
    frees = [free(n * rates.currency.unit, code) for n, code in lines]
    turned = random.sample(frees, len(frees))
    policy = replace(rates.policy, level="document")
    rates = replace(under_no_minimum(rates), policy=policy)

    first = invoice(rates, Job((), free=tuple(frees)))
    second = invoice(rates, Job((), free=tuple(turned)))
    assert {row.tax: row.amount for row in first.taxes} == {
        row.tax: row.amount for row in second.taxes
    }
    assert first.gross == second.gross


def under_no_minimum(rates):
    """Return *rates* without minimum charge and sundries."""
    shop = replace(rates.shop, job_minimum=dec("0"), sundries="NONE")
    return replace(rates, shop=shop)


@LAWS
@given(editions(), st.integers(1, 90_000), st.integers(1, 90_000))
def test_a_line_in_two_leaves_the_tax_of_the_document_as_it_was(rates, one, two):
    rates = under_no_minimum(rates)
    rates = replace(rates, policy=replace(rates.policy, level="document"))
    unit = rates.currency.unit
    whole = invoice(rates, Job((), free=(free((one + two) * unit),)))
    parted = invoice(rates, Job((), free=(free(one * unit), free(two * unit))))

    assert rows(whole) == rows(parted)


@LAWS
@given(invoices(most=1), st.integers(1, 60_000))
def test_a_deposit_is_the_sum_of_its_bits_and_changes_no_tax_of_the_invoice(
    document, paid
):
    gross = paid * document.currency.unit
    first = deposit(document, gross)
    [item] = first.items

    assert sum((bit.gross for bit in item.bits), dec("0")) == gross
    assert item.net + item.tax == gross
    held = Deducted("DEP-0001", ON, gross)
    final = replace(document, deposits=(held,))
    assert final.taxes == document.taxes
    assert final.due + gross == document.gross


def test_a_bit_is_net_and_all_its_taxes():
    bit = Bit("A", dec("100.00"), dec("100.00"), (dec("5.00"), dec("9.98")))

    assert (bit.tax, bit.gross) == (dec("14.98"), dec("114.98"))
