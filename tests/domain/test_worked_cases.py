"""Worked sums of an invented shop (edition RT-1), to the cent.

The arithmetic stands in each docstring and can be followed with a pocket calculator.
The conventions are common practice, no source; the figures are invented.
"""

from dataclasses import replace
from decimal import Decimal

import pytest
from builders import (
    JOBS,
    dec,
    edition,
    with_agreed_price,
    with_class_price,
    with_modifier,
    with_operation,
)

from quoting.domain.job import Exemption
from quoting.domain.pricing import price
from quoting.files.job_file import read_job


def priced(name, rates=None):
    rates = rates or edition()
    file = read_job(JOBS / f"{name}.toml", rates)
    [(_, job)] = file.jobs
    return price(rates, job, file.tax_point)


def nets(result, kind="labour"):
    """Return (code, side, net) of the lines of one kind, in order."""
    return [
        f"{line.code}{f'-{line.side.word[:2]}' if line.side else ''} {line.net}"
        for line in result.lines
        if line.kind == kind
    ]


def totals(result):
    return f"{result.totals.net} {result.totals.tax} {result.totals.total}"


def test_t01_one_twin_cam_head():
    """Labour 585.20 + sundries 4 % 23.41 + disposal 6.50 + seals 16 x 1.61 = 640.87."""
    result = priced("T01")

    assert nets(result) == [
        "STRP 32.00", "WASH 28.00", "MEAS 35.00", "LEAK 55.00",
        "SCUT-in 67.00", "SCUT-ex 56.00", "VREF 68.00", "SHGT 19.20", "SKIM 51.00",
        "VACT 15.20", "SEAL 13.60", "ASSY 61.20", "CAMI 24.00", "CLRS 60.00",
    ]  # fmt: skip
    sums = result.totals
    assert (sums.labour, sums.sundries) == (dec("585.20"), dec("23.41"))
    assert (sums.fees, sums.parts) == (dec("6.50"), dec("25.76"))
    assert totals(result) == "640.87 128.17 769.04"


def test_t02_two_iron_heads_with_a_discount_and_a_deposit():
    """813.00 - 101.63 + 25.00 (capped from 28.45) + 13.00 + 13.92 + 33.32 = 796.61.

    12.5 % of 813.00 is 101.625: half up 101.63, where half-even would give 101.62.
    """
    result = priced("T02")

    assert nets(result) == [
        "STRP 40.00", "ROCK 24.00", "HOTK 80.00", "MEAS 50.00", "MAGP 76.00",
        "GKNU-ex 80.00", "SCUT-in 82.00", "SCUT-ex 75.60", "VREF 68.00", "SSHM 12.00",
        "SKIM 125.40", "VACT 15.20", "SEAL 13.60", "ASSY 71.20",
    ]  # fmt: skip
    sums = result.totals
    assert (sums.labour, sums.discount) == (dec("813.00"), dec("101.63"))
    assert (sums.sundries, sums.fees) == (dec("25.00"), dec("13.00"))
    assert nets(result, "part") == [" 13.92", " 33.32"]
    assert totals(result) == "796.61 159.32 955.93"
    assert (sums.deposits, sums.due) == (dec("150.00"), dec("805.93"))


def test_t03_three_of_sixteen_guides():
    """12 + 3 x 16 x 1.15 = 67.20; 15 + 3 x 7 = 36.00; 3.60; 2.85; 109.65 in all."""
    result = priced("T03")

    assert nets(result) == ["GREP-ex 67.20", "SCUT-ex 36.00", "SHGT-ex 3.60",
                            "VACT-ex 2.85"]  # fmt: skip
    assert nets(result, "part") == [" 26.67"]
    assert result.totals.sundries == dec("4.39")
    assert totals(result) == "140.71 28.14 168.85"


def test_t03_guides_bring_their_seats_heights_and_vacuum_test_along():
    """Asked for the three guides alone, the rules propose the rest, there only."""
    rates = edition()
    file = read_job(JOBS / "T03.toml", rates)
    [(_, job)] = file.jobs
    guides = [asked for asked in job.work if asked.operation == "GREP"]
    asked = replace(
        job, work=tuple(guides), propose=True, declined={"SEAL": "fits his own"}
    )
    result = price(rates, asked, file.tax_point)

    assert totals(result) == "140.71 28.14 168.85"
    where = {line.code: line.positions for line in result.lines if line.positions}
    assert set(where) == {"GREP", "SCUT", "SHGT", "VACT"}
    assert set(where.values()) == {guides[0].which.positions}
    assert [n.text for n in result.notices] == ["Fit stem seals declined: fits his own"]


def test_t04_minimum_charges_of_operation_and_job():
    """2 x 4.25 is lifted to 15.00; 45.00 - 15.00 make-up; 4 % of 15.00 sundries."""
    result = priced("T04")

    assert nets(result) == ["VREF 15.00"]
    assert (result.totals.make_up, result.totals.sundries) == (
        dec("30.00"),
        dec("0.60"),
    )
    assert totals(result) == "45.60 9.12 54.72"


def test_t05_outwork_and_small_stems():
    """GREP 12 + 2 x 16 x 1.15 = 48.80; weld 62.00 x 1.15 = 71.30; labour 248.60."""
    result = priced("T05")

    assert nets(result) == [
        "STRP 14.00", "BLST 18.00", "MEAS 20.00", "GREP-ex 48.80", "SCUT-in 28.00",
        "SCUT-ex 14.00", "SHGT 4.80", "SKIM 45.00", "VACT 3.80", "SEAL 3.40",
        "ASSY 22.80", "SPKI 26.00",
    ]  # fmt: skip
    assert nets(result, "part") == [" 27.44", " 76.72", " 10.64", " 5.95"]
    assert result.totals.outwork == dec("71.30")
    assert totals(result) == "450.59 90.12 540.71"


def test_t06_diesel_head():
    """582.70 - 58.27 + 20.98 + 6.50 + 52.50 + 6.65 + 9.84 = 620.90."""
    result = priced("T06")

    assert result.totals.labour == dec("582.70")
    assert (result.totals.discount, result.totals.sundries) == (
        dec("58.27"),
        dec("20.98"),
    )
    assert nets(result, "part") == [" 52.50", " 6.65", " 9.84"]
    assert totals(result) == "620.90 124.18 745.08"


def test_t07_condemned_after_the_test():
    """26.00 + 28.00 + 30.00 + 55.00 = 139.00, capped at 95.00: less 44.00."""
    result = priced("T07")

    assert nets(result) == ["STRP 26.00", "WASH 28.00", "MEAS 30.00", "LEAK 55.00"]
    assert nets(result, "no_fix") == [" -44.00"]
    assert result.totals.make_up == result.totals.sundries == result.totals.fees == 0
    assert totals(result) == "95.00 19.00 114.00"
    assert result.totals.due == dec("14.00")


def test_t08_exchange_head():
    """420.00 - 15 % 63.00 + 150.00 surcharge, no discount on it; tax 20 % of 507.00."""
    result = priced("T08")

    sums = result.totals
    assert (sums.exchange, sums.discount) == (dec("420.00"), dec("63.00"))
    assert sums.surcharges == dec("150.00")
    assert totals(result) == "507.00 101.40 608.40"


def test_t09_labour_untaxed():
    """G0: 574.00 - 57.40 + 6.50 = 523.10; G1: 83.44 + 20.66 = 104.10 x 8.25 % = 8.59.

    Tax rounded a line would be 2.31 + 4.57 + 1.70 = 8.58.
    """
    result = priced("T09", edition(tax="labour_untaxed"))

    groups = {str(group.tax.rate): group for group in result.taxes}
    assert groups["0"].base == dec("523.10")
    assert (groups["8.25"].base, groups["8.25"].amount) == (dec("104.10"), dec("8.59"))
    assert totals(result) == "627.20 8.59 635.79"


def test_t10_exempt_customer_in_a_hurry():
    """1269.80 - 190.47 + 317.45 + 25.00 (capped from 43.17) + 13.00 + 38.64."""
    result = priced("T10")

    sums = result.totals
    assert sums.labour == dec("1269.80")
    assert (sums.discount, sums.rush) == (dec("190.47"), dec("317.45"))
    assert (sums.sundries, sums.fees, sums.parts) == (
        dec("25.00"), dec("13.00"), dec("38.64"),
    )  # fmt: skip
    assert totals(result) == "1473.42 0.00 1473.42"
    [group] = result.taxes
    assert group.tax.reason == "exempt institute, certificate C-5"


def timed():
    rates = with_operation(
        edition(), "SCUT", priced_by="time", base=None, unit_inlet=None,
        unit_exhaust=None, setup_minutes=dec("20"), unit_minutes=dec("4.5"),
    )  # fmt: skip
    rates = with_operation(
        rates, "VREF", priced_by="time", unit=None, minimum=dec("0"),
        setup_minutes=dec("8"), unit_minutes=dec("2.8"),
    )  # fmt: skip
    return with_modifier(rates, "HARD", factor=dec("1.2"))


def test_w11_priced_by_time():
    """20 + 36 = 56.0 min 72.80; 43.2 min 56.16; 8 + 44.8 = 52.8 min 68.64; L 197.60."""
    result = priced("W11", timed())

    assert nets(result) == ["SCUT-in 72.80", "SCUT-ex 56.16", "VREF 68.64"]
    minutes = [line.minutes for line in result.lines if line.kind == "labour"]
    assert minutes == [dec("56.0"), dec("43.2"), dec("52.8")]
    assert totals(result) == "205.50 41.10 246.60"


def test_w12_size_class_pair_break_and_agreed_price():
    """15 x 1.5 + 12 x 6.50 = 100.50; 84.00; 2 x 70 + 2 x 8 = 156.00; 2 x 40 = 80.00.

    L 420.50; 10 % of 340.50 = 34.05; sundries 4 % of 386.45 = 15.46.
    """
    rates = with_operation(edition(), "SCUT", pair_break=dec("0.5"))
    rates = with_class_price(
        rates, operation="SKIM", size_class="large", base=dec("70"), unit=dec("8")
    )
    rates = with_agreed_price(rates, terms="TRADE10", operation="LEAK", base=dec("40"))
    result = priced("W12", rates)

    assert nets(result) == ["LEAK 80.00", "SCUT-in 100.50", "SCUT-ex 84.00",
                            "SKIM 156.00"]  # fmt: skip
    assert (result.totals.discount, result.totals.sundries) == (
        dec("34.05"), dec("15.46"),
    )  # fmt: skip
    assert totals(result) == "401.91 80.38 482.29"


def test_w13_set_price_with_something_left_out():
    """S 395.20, without seals S' 381.60.

    F' = 380.00 x 381.60 / 395.20 = 366.92, so the adjustment is -14.68.
    """
    result = priced("W13")

    assert nets(result, "set_price") == ["VJOB -14.68"]
    assert result.totals.labour == dec("417.92")
    assert (result.totals.discount, result.totals.sundries) == (
        dec("41.79"), dec("15.05"),
    )  # fmt: skip
    assert totals(result) == "397.68 79.54 477.22"


def test_w14_own_price_and_free_line():
    """32 + 55 + 40 (list 51) + 1.5 x 78 = 244.00.

    10 % of 87.00 = 8.70; sundries 4 % of 235.30 = 9.41.
    """
    result = priced("W14")

    [skim] = [line for line in result.lines if line.code == "SKIM"]
    assert (skim.net, skim.list_net) == (dec("40.00"), dec("51.00"))
    assert skim.reason == "same customer as last week"
    assert result.totals.labour == dec("244.00")
    assert (result.totals.discount, result.totals.sundries) == (
        dec("8.70"), dec("9.41"),
    )  # fmt: skip
    assert totals(result) == "244.71 48.94 293.65"


def test_w15_rush_and_make_up_over_two_codes():
    """Rush 9.25 -> A 3.75, B 5.50; make-up 13.75 -> A 5.57, B 8.18; sundries 1.48 A."""
    rates = with_operation(
        edition(job_minimum="60.00"), "VREF", tax_code="A", base=None
    )
    rates = with_operation(rates, "THRD", tax_code="B")
    sundries = {"SUN": replace(rates.sundries["SUN"], tax_code="A")}
    result = priced("W15", replace(rates, sundries=sundries))

    shares = {line.kind: dict(line.shares) for line in result.lines}
    assert shares["rush"] == {"A": dec("3.75"), "B": dec("5.50")}
    assert shares["make_up"] == {"A": dec("5.57"), "B": dec("8.18")}
    assert result.totals.sundries == dec("1.48")
    assert [(g.base, g.amount) for g in result.taxes] == [
        (dec("25.80"), dec("5.16")),
        (dec("35.68"), dec("1.78")),
    ]
    assert totals(result) == "61.48 6.94 68.42"


def test_w16_call_it_600_all_in():
    """635.79 -> 600.00 = 493.65 at 0 % + 106.35 at 8.25 %, of which tax is 8.11.

    493.65 - 523.10 = -29.45; 98.24 - 104.10 = -5.86.
    """
    result = priced("W16", edition(tax="labour_untaxed"))

    assert nets(result, "call_it") == [" -29.45", " -5.86"]
    assert totals(result) == "591.89 8.11 600.00"


def test_w17_prices_that_contain_tax():
    """54.00 + 66.00 + 4 x 1.93 = 127.72 with 20 %: tax 127.72 x 20/120 = 21.29."""
    result = priced("W17", inclusive())

    assert totals(result) == "106.43 21.29 127.72"


def test_w17_an_exempt_customer_pays_no_tax_in_an_inclusive_edition():
    """45.00 + 55.00 + 6.43 = 106.43."""
    rates = inclusive()
    file = read_job(JOBS / "W17.toml", rates)
    [(_, job)] = file.jobs
    exempt = replace(job, exemption=Exemption("EXEMPT", "exempt institute"))
    result = price(rates, exempt, file.tax_point)

    assert [line.net for line in result.lines] == [
        dec("55.00"), dec("45.00"), dec("6.43"),
    ]  # fmt: skip
    assert totals(result) == "106.43 0.00 106.43"


def inclusive():
    rates = edition(sundries="NONE", job_minimum="0")
    rates = with_operation(rates, "SKIM", base=dec("54.00"))
    rates = with_operation(rates, "LEAK", base=dec("66.00"))
    return replace(rates, policy=replace(rates.policy, inclusive=True))


def test_w18_one_of_two_heads():
    """(2 x 45 + 4 x 6) x 1.10 = 125.40; 38.00; 44.00; 29.00; 15.00 lifted; 1.90."""
    result = priced("W18")

    assert nets(result) == ["MAGP 38.00", "GREP-ex 44.00", "SCUT-ex 29.00",
                            "VREF-ex 15.00", "SKIM 125.40", "VACT-ex 1.90"]  # fmt: skip
    assert result.totals.labour == dec("253.30")
    assert nets(result, "part") == [" 17.78"]
    assert totals(result) == "281.21 56.24 337.45"


ALL = sorted(path.stem for path in JOBS.glob("[TW]*.toml"))


@pytest.mark.parametrize("name", ALL)
def test_the_lines_add_up_to_the_net(name):
    rates = {"W11": timed, "W17": inclusive}.get(name, edition)()
    result = priced(name, rates)

    lines = sum((line.net for line in result.lines), Decimal(0))
    sums = result.totals
    assert lines == (sums.total if result.inclusive else sums.net)
    assert sums.net + sums.tax == sums.total
    assert lines == (
        sums.labour - sums.discount + sums.rush + sums.make_up + sums.sundries
        + sums.fees + sums.parts + sums.outwork + sums.exchange + sums.surcharges
        + sums.adjustment
    )  # fmt: skip
