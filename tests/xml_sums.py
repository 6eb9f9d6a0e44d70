"""The sums of an EN 16931 file, worked out again from its own fields."""

from decimal import ROUND_HALF_UP, Decimal

from lxml import etree

from quoting.domain.money import round_to
from quoting.papers.einvoice import cii

CENT = Decimal("0.01")
_CII = "urn:un:unece:uncefact:data:standard"
RAM = f"{{{_CII}:ReusableAggregateBusinessInformationEntity:100}}"


def rows(tree, path):
    """Return the elements at a path of names."""
    steps = "/".join(f"{RAM}{step}" for step in path.split("/"))
    return tree.findall(f".//{steps}")


def value(row, name, default=None):
    """Return the figure in a child of an element."""
    text = row.findtext(f".//{RAM}{name}")
    return default if text is None else Decimal(text)


def check_totals(tree):
    """Work out each line and each total again, to the cent."""
    line_nets = []
    for line in rows(tree, "IncludedSupplyChainTradeLineItem"):
        quantity, basis = value(line, "BilledQuantity"), value(line, "BasisQuantity")
        net = (quantity * value(line, "ChargeAmount") / basis).quantize(
            CENT, ROUND_HALF_UP
        )
        assert net == value(line, "LineTotalAmount")
        line_nets.append(net)
    adjustments = {"true": Decimal(0), "false": Decimal(0)}
    for each in rows(tree, "SpecifiedTradeAllowanceCharge"):
        sign = each.findtext(f"{RAM}ChargeIndicator/*")
        adjustments[sign] += value(each, "ActualAmount")
    [sums] = rows(tree, "SpecifiedTradeSettlementHeaderMonetarySummation")
    net = sum(line_nets) + adjustments["true"] - adjustments["false"]
    tax = sum(
        value(row, "CalculatedAmount")
        for row in rows(tree, "ApplicableHeaderTradeSettlement/ApplicableTradeTax")
    )
    assert value(sums, "LineTotalAmount") == sum(line_nets)
    assert value(sums, "TaxBasisTotalAmount") == net
    assert value(sums, "TaxTotalAmount") == tax
    assert value(sums, "GrandTotalAmount") == net + tax
    prepaid = value(sums, "TotalPrepaidAmount", Decimal(0))
    assert value(sums, "DuePayableAmount") == net + tax - prepaid


def check_taxes(document, *, contained=False):
    """Work out each tax again: on the net, or where prices contain it in the gross.

    It is *contained* as well where an amount with tax was taken or given back.

    Worked: 20 % in 0.03 is 0.03 x 20 / 120 = 0.005, so 0.01 and a net of 0.02, though
    20 % on 0.02 would be 0.00.
    """
    mode = document.policy.document_mode
    for row in rows(
        etree.fromstring(cii(document)),
        "ApplicableHeaderTradeSettlement/ApplicableTradeTax",
    ):
        base, tax = value(row, "BasisAmount"), value(row, "CalculatedAmount")
        rate = value(row, "RateApplicablePercent", Decimal(0))
        on, of = base, Decimal(100)
        if contained or document.policy.inclusive:
            on, of = base + tax, 100 + rate
        assert tax == round_to(on * rate / of, CENT, mode)
