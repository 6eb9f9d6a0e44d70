"""How long papers take beside WeasyPrint on the very same HTML."""

from datetime import date

import pytest
from builders import DEMO, JOBS, RT1
from documents import invoice, paper
from floors import against

from quoting.files.edition import read_edition
from quoting.i18n import Formats
from quoting.papers.einvoice import cii
from quoting.papers.pdf import OPTIONS, to_hybrid, to_pdf
from quoting.workflow.estimates import from_file, quote_paper

pytestmark = pytest.mark.needs_pdf


def weasyprint(html, options=OPTIONS):
    """Lay out and write with nothing of ours in the way."""
    import weasyprint

    return weasyprint.HTML(string=html).write_pdf(**options)


def quote(folder, job):
    edition = read_edition(folder)
    estimate = from_file(job, edition)
    formats = Formats("en_GB", edition.currency)
    return edition, estimate, formats


def test_a_quote_of_one_page(benchmark):
    edition, estimate, formats = quote(RT1, JOBS / "T04.toml")
    html = quote_paper(edition, estimate, formats, "A4").html
    to_pdf(quote_paper(edition, estimate, formats, "A4"))

    def ours():
        return to_pdf(quote_paper(edition, estimate, formats, "A4"))

    assert benchmark(ours).startswith(b"%PDF-")

    against(benchmark, "WeasyPrint on the same HTML", weasyprint, html, repeat=12)


def test_the_quote_of_the_demonstration(benchmark):
    edition, estimate, formats = quote(DEMO, DEMO / "demo_job.toml")
    html = quote_paper(edition, estimate, formats, "A4").html

    def ours():
        return to_pdf(quote_paper(edition, estimate, formats, "A4"))

    assert benchmark(ours).startswith(b"%PDF-")
    assert estimate.on == date(2026, 11, 25)

    against(benchmark, "WeasyPrint on the same HTML", weasyprint, html)


def test_a_hybrid_invoice(benchmark):
    """PDF/A-3a and PDF/UA-1 with its XML, from the document to the bytes."""
    document = invoice("T01")
    html = paper(document).html

    def ours():
        return to_hybrid(paper(document), cii(document))

    assert benchmark(ours).startswith(b"%PDF-")

    same = {"pdf_variant": "pdf/a-3a"}
    against(benchmark, "the same as PDF/A-3a", weasyprint, html, same, repeat=12)
    against(benchmark, "plain WeasyPrint", weasyprint, html, {}, repeat=12)
