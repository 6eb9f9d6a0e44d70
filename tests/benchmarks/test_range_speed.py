"""How long the range of a price takes beside pricing the job as often.

Eight findings are possible: each is priced for one and for all that are affected, and
then up to nineteen combinations that were drawn.
"""

from dataclasses import replace
from datetime import date

from builders import DEMO, heads
from floors import against

from quoting.domain.extras import ANY, BetaBinomial, Counts, Expected
from quoting.domain.job import Job
from quoting.domain.outcomes import Possible, outcomes
from quoting.domain.pricing import price
from quoting.files.edition import read_edition

ON = date(2026, 11, 25)


def eight(rates, at_risk):
    """Return the demonstration's findings and more like them, each often enough."""
    listed = rates.findings
    guides, bowed = listed["guides-worn"], listed["bowed"]
    more = (
        replace(guides, code="tips-worn", counted_by="valve", operations=("VTIP",)),
        replace(bowed, code="manifold-warped", operations=("SKMN",)),
        replace(
            bowed, code="plugs-rusted", operations=("PLGO",), values=("aluminium",)
        ),
    )
    findings = [each for each in listed.values() if not each.condemns]
    for finding in (*findings, *more):
        number = at_risk[finding.counted_by]
        counts = Counts(60, 20, 60 * number, 40)
        outcome = BetaBinomial(number, float(finding.share), 0.4)
        yield Possible(
            finding, Expected(finding.code, outcome, 0, 1, counts, ANY, counts)
        )


def test_a_range_of_eight_possible_extras(benchmark):
    """A 16-valve twin cam that overheated, on trade terms, as on the phone."""
    rates = read_edition(DEMO)
    job = Job(heads(rates, "L04"), reason="OVERHEATED", terms=rates.terms["TRADE10"])
    priced = price(rates, job, ON)
    at_risk = {**job.heads[0].layout.counts, "hole": 10}
    possible = list(eight(rates, at_risk))

    come = benchmark(outcomes, rates, job, ON, priced, possible)

    assert len(possible) == len(come.extras) == 8
    assert come.floor.total < come.high.total

    def as_often():
        return [price(rates, job, ON) for _ in range(2 * 8 + 4)]

    against(benchmark, "20 times the price as asked", as_often)
