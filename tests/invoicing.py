"""Invoices for tests: of priced jobs, and of random ones under random taxes."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from builders import ON, dec, edition, heads
from hypothesis import strategies as st

from quoting.domain.invoice import Document, Kind, Party, Work, items_of
from quoting.domain.job import (
    Asked,
    AskedPart,
    AskedSet,
    FreeLine,
    Job,
    Outwork,
    OwnPrice,
)
from quoting.domain.money import MODES
from quoting.domain.pricing import price
from quoting.domain.rates import TaxRow, Terms
from quoting.domain.tax import Policy

RT1 = edition()


def under(rates=RT1, **codes):
    """Return an edition that taxes these codes at these rates in XA, others at 0 %.

    A code may have several taxes: a list of rates, of XA, XB and XC.
    """
    rows = {}
    for code in rates.tax_rows:
        given = codes.get(code, "0")
        rows[code] = [
            TaxRow(code=code, label=f"{authority} {rate} %", authority=authority,
                   category="S" if dec(rate) else "E", rate=dec(rate))
            for authority, rate in zip(
                ("XA", "XB", "XC"),
                [given] if isinstance(given, str) else given,
                strict=False,
            )
        ]  # fmt: skip
    shop = replace(rates.shop, sundries="NONE", job_minimum=dec("0"))
    return replace(rates, tax_rows=rows, shop=shop)


def free(amount, code="", **known):
    """Return a line of work that no table knows."""
    return FreeLine(f"work at {amount}", amount=dec(amount), tax_code=code, **known)


def invoice(rates, *jobs, number="INV-0101", **known):
    """Return the invoice for *jobs*; several make it a collective one."""
    done = [Work(price(rates, job, ON)) for job in jobs]
    items, taxes = items_of(done, rates.policy, rates.currency.unit)
    return Document(
        **{
            "kind": Kind.INVOICE,
            "number": number,
            "on": ON,
            "supplied": ON,
            "pay_by": date(2026, 4, 1),
            "currency": rates.currency,
            "locale": rates.shop.locale,
            "seller": Party("Invented Head Works"),
            "buyer": Party("Invented Garage"),
            "policy": rates.policy,
            "items": items,
            "taxes": taxes,
            "taxes_of": {
                code: taxes
                for work in done
                for code, taxes in work.priced.taxes_of.items()
            },
            **known,
        }
    )


def rows(*documents):
    """Return base and tax by tax of what documents charge, credits taken off."""
    sums = {}
    for document in documents:
        sign = -1 if document.kind is Kind.CREDIT else 1
        for tax, base, amount in document.taxes:
            was = sums.get(tax, (0, 0))
            sums[tax] = (was[0] + sign * base, was[1] + sign * amount)
    return sums


# Random ones.

RATES = ("0", "1.5", "5", "7.25", "9.975", "13.5", "20", "23")
CHARGED = ("LAB", "PAR", "OUT", "SUR", "A", "B")

policies = st.builds(
    Policy,
    level=st.sampled_from(["document", "document", "line", "unit"]),
    document_mode=st.sampled_from(MODES),
    line_digits=st.sampled_from([None, 2, 3]),
    unit_step=st.sampled_from([None, dec("0.001"), dec("0.01")]),
    aggregate=st.booleans(),
    prior_rounded=st.booleans(),
    inclusive=st.booleans(),
)


@st.composite
def editions(draw, policy=policies):
    """Return RT-1 with one to three odd taxes a code, in a currency of 0 to 3 digits.

    Two codes often name the same tax beside others of their own.
    """
    tax_rows = dict(RT1.tax_rows)
    for code in (*CHARGED, "SUN", "FEE"):
        some = draw(st.lists(st.sampled_from(RATES), min_size=1, max_size=3))
        tax_rows[code] = [
            TaxRow(
                code=code, label=f"X{order}", authority=f"X{order}", rate=dec(rate),
                category="S" if dec(rate) else "E", order=order,
                base="net_and_prior" if order > 1 and draw(st.booleans()) else "net",
            )
            for order, rate in enumerate(some, start=1)
        ]  # fmt: skip
    digits = draw(st.sampled_from([0, 2, 2, 2, 3]))
    code = {0: "JPY", 2: "EUR", 3: "KWD"}[digits]
    cap = draw(st.sampled_from([None, dec("95"), dec("20")]))
    shop = replace(RT1.shop, currency=code, digits=digits, no_fix_cap=cap)
    return replace(RT1, shop=shop, tax_rows=tax_rows, policy=draw(policy))


@st.composite
def jobs(draw, rates):
    """Return a job with whatever can hang on its lines."""
    unit = rates.currency.unit
    amounts = st.one_of(st.integers(0, 40), st.integers(0, 60_000)).map(
        lambda n: n * unit
    )
    codes = st.sampled_from(CHARGED)
    shares = st.sampled_from([None, None, dec("1"), dec("0.4")])
    came = heads(rates, *["I4-16"] * draw(st.integers(1, 2)))
    if draw(st.integers(0, 3)) == 0:
        came = (replace(came[0], condemned_at="LEAK"), *came[1:])
    terms = Terms(
        code="T",
        name="Trade",
        discount_labour=draw(st.sampled_from([dec("0"), dec("12.5"), dec("100")])),
        discount_parts=draw(st.sampled_from([dec("0"), dec("7.5")])),
    )
    work = draw(
        st.lists(
            st.sampled_from(["STRP", "LEAK", "SKIM", "VREF"]), unique=True, max_size=3
        )
    )
    with_set = draw(st.booleans()) and "STRP" not in work
    call_it = OwnPrice(draw(amounts) + unit, "agreed") if draw(st.booleans()) else None
    return Job(
        came,
        work=tuple(Asked(code, warranty=draw(shares)) for code in work),
        sets=(AskedSet("VJOB"),) if with_set and not {"VREF", "LEAK"} & {*work} else (),
        free=tuple(
            FreeLine("free", amount=amount, tax_code=code, discountable=discountable)
            for amount, code, discountable in draw(
                st.lists(st.tuples(amounts, codes, st.booleans()), max_size=3)
            )
        ),
        parts=tuple(
            AskedPart(
                description="part", quantity=Decimal(draw(st.integers(1, 16))),
                price=amount, tax_code=code, warranty=draw(shares),
                surcharge=draw(st.sampled_from(["", "CORE"])),
            )
            for amount, code in draw(st.lists(st.tuples(amounts, codes), max_size=2))
        ),
        outwork=(Outwork("weld", draw(amounts) + unit),),
        terms=terms,
        rush=draw(st.sampled_from(["", "RUSH"])),
        call_it=call_it,
        propose=False,
    )  # fmt: skip


@st.composite
def invoices(draw, most=2, policy=policies):
    """Return an invoice of one job, or a collective one of several."""
    rates = draw(editions(policy))
    return invoice(
        rates, *(draw(jobs(rates)) for _ in range(draw(st.integers(1, most))))
    )
