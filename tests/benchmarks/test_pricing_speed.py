"""How long a price takes beside the sums a person would write out by hand.

``pytest tests/benchmarks --benchmark-enable`` prints the ratios; docs/benchmarks.md
keeps them with machine and date. Nothing here is asserted but that both agree.
"""

import json
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from builders import DEMO
from floors import against

from quoting.domain.head import Head
from quoting.domain.job import Asked, AskedPart, Job
from quoting.domain.lengths import parse_length
from quoting.domain.pricing import price
from quoting.files import job_document
from quoting.files.edition import read_edition

ON = date(2026, 11, 25)
CENT = Decimal("0.01")
FORTY = """
BOOK CAMO STRP PLGO WASH DYEP HARD LEAK MEAS SPRT CSBW CAMC SREM SINS GREP GSIZ SCUT
SBLU VREF SHGT SSHM BCUT VTIP SKIM SKMN CCMS DEBR WSHF PLGF RELK VACT SEAL ASSY CAMI
CLRS
"""


def forty_lines():
    """Return the demo edition and a job of 40 lines: two heads of a 24-valve V6."""
    rates = read_edition(DEMO)
    layout = rates.layouts["L08"]
    size = parse_length("0.15 mm")
    work = tuple(
        Asked(code, size=size if code == "SKIM" else None) for code in FORTY.split()
    )
    job = Job(
        heads=(Head("A", layout, "left"), Head("B", layout, "right")),
        work=work,
        parts=(AskedPart("SEAL-5_5", quantity=Decimal(48)),),
        terms=rates.terms["TRADE10"],
        rush="RUSH",
        propose=False,
    )
    return rates, job


def by_hand(rows, parts, fees, shop):
    """Do every multiplication and rounding of lines, minutes, cost, totals and tax."""

    def cents(amount):
        return amount.quantize(CENT, ROUND_HALF_UP)

    labour = minutes_in_all = cost_in_all = Decimal(0)
    lines = []
    for code, base, bases, unit, quantity, factors, setup, each, hourly in rows:
        factor = Decimal(1)
        for of in factors:
            factor *= of
        net = cents(base * bases + unit * quantity * factor)
        minutes = setup * bases + each * quantity * factor
        cost = cents(minutes * hourly / 60)
        lines.append((code, net, minutes, cost))
        labour += net
        minutes_in_all += minutes
        cost_in_all += cost
    discount = cents(labour * shop["discount"] / 100)
    rush = cents(labour * shop["rush"] / 100)
    make_up = max(Decimal(0), shop["minimum"] - (labour - discount + rush))
    sundries = min(shop["cap"], cents((labour - discount) * shop["sundries"] / 100))
    nets = [labour, -discount, rush, make_up, sundries]
    for price_each, cost_each, quantity in parts:
        nets.append(cents(price_each * quantity))
        cost_in_all += cents(cost_each * quantity)
    nets += [cents(price_each * quantity) for price_each, quantity in fees]
    net = sum(nets)
    tax = cents(net * shop["tax"] / 100)
    return lines, net, tax, net + tax, minutes_in_all, cost_in_all


def figures(rates, job, priced):
    """Return what the loop starts from: the figures of every line, looked up."""
    rows = []
    for line in priced.lines:
        if line.kind == "labour":
            operation = rates.operations[line.code]
            rate = rates.rates(job.heads[0].layout.size_class)[line.code]
            factors = [modifier.factor for modifier in line.modifiers]
            hourly = rates.work_centres[operation.work_centre].cost_rate
            rows.append(
                (
                    line.code, line.base, line.bases, line.unit_price, line.quantity,
                    factors, rate.setup, rate.each, hourly,
                )
            )  # fmt: skip
    seal = rates.parts["SEAL-5_5"]
    each = seal.cost * (100 + rates.shop.parts_markup) / 100
    parts = [(each.quantize(CENT, ROUND_HALF_UP), seal.cost, Decimal(48))]
    fees = [(ln.unit_price, ln.quantity) for ln in priced.lines if ln.kind == "fee"]
    sundries = rates.sundries[rates.shop.sundries]
    shop = {
        "discount": job.terms.discount_labour,
        "rush": rates.rush[job.rush].percent,
        "minimum": rates.shop.job_minimum,
        "sundries": sundries.percent,
        "cap": sundries.cap,
        "tax": rates.taxes("LAB", ON)[0].rate,
    }
    return rows, parts, fees, shop


def test_pricing_forty_lines_again(benchmark):
    """The floor does the same sums with nothing looked up, chosen or explained.

    As while a caller speaks: the heads and most of the work were priced before.
    """
    rates, job = forty_lines()
    start = figures(rates, job, price(rates, job, ON))
    check(by_hand(*start), price(rates, job, ON))

    benchmark(price, rates, job, ON)

    against(benchmark, "the sums by hand", by_hand, *start)


def test_pricing_forty_lines_for_the_first_time(benchmark):
    """The same with nothing kept from an earlier price."""
    rates, job = forty_lines()
    start = figures(rates, job, price(rates, job, ON))

    def fresh():
        rates.kept.clear()
        return price(rates, job, ON)

    check(by_hand(*start), benchmark(fresh))

    against(benchmark, "the sums by hand", by_hand, *start)


def check(sums, priced):
    """Hold both to the same figures."""
    lines, net, tax, total, minutes, cost = sums
    totals = priced.totals
    assert (net, tax, total) == (totals.net, totals.tax, totals.total)
    assert (minutes, cost) == (totals.minutes, totals.cost)
    assert len(lines) == sum(line.kind == "labour" for line in priced.lines)


def test_a_job_that_the_form_holds_beside_json_alone(benchmark):
    """Every keystroke on the phone reads such a job and writes it again."""
    rates, job = forty_lines()
    text = job_document.write(job)

    def ours():
        return job_document.write(job_document.read(text, rates))

    def alone():
        return json.dumps(json.loads(text))

    assert benchmark(ours) == text
    against(benchmark, "json on the same text", alone)
