"""HTML into a tagged PDF/UA-1 file, with or without XML, the same bytes every time.

WeasyPrint and the libraries under it are loaded when the first PDF is made, not before:
pricing and checking do without them.
"""

import contextlib
import io
import logging
import os
import sys
from datetime import UTC, datetime, time
from functools import cache, partial
from pathlib import Path
from typing import Any

from quoting.domain.errors import RuleError, translatable
from quoting.papers import fonts
from quoting.papers.html import Paper


class NoPdfError(RuleError):
    """The libraries that make PDF files are missing."""

    message = translatable(
        "No PDF can be made: the Pango library is missing. {remedy}\n({detail})"
    )


_REMEDIES = {
    "linux": "On Debian or Ubuntu: "
    "sudo apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0",
    "darwin": "On macOS: brew install pango",
    "win32": "On Windows: pip install gstreamer-libs, or install Pango with MSYS2",
}

#: Where Homebrew keeps libraries, on both kinds of machine.
_HOMEBREW = ("/opt/homebrew/lib", "/usr/local/lib")


@cache
def _weasyprint() -> Any:
    """Import WeasyPrint; find the libraries it needs.

    Raises:
        NoPdfError: they are missing.
    """
    if sys.platform == "win32":
        _offer_packaged_libraries()
    elif sys.platform == "darwin":
        known = os.environ.get("DYLD_FALLBACK_LIBRARY_PATH", "").split(":")
        paths = [path for path in (*known, *_HOMEBREW) if path]
        os.environ["DYLD_FALLBACK_LIBRARY_PATH"] = ":".join(paths)
    banner = io.StringIO()  # WeasyPrint prints one when a library is missing
    try:
        with contextlib.redirect_stdout(banner):
            import weasyprint
    except OSError as error:
        remedy = _REMEDIES.get(sys.platform, "Install Pango.")
        raise NoPdfError(remedy=remedy, detail=str(error).splitlines()[0]) from None
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    return weasyprint


def _offer_packaged_libraries() -> None:
    """Let Windows find Pango in the packages that carry it."""
    from importlib.util import find_spec

    for name in ("gstreamer_libs", "gstreamer_ext_runtime"):
        spec = find_spec(name)
        for place in (spec.submodule_search_locations or ()) if spec else ():
            bin_folder = str(Path(place) / "bin")
            for key in ("PATH", "WEASYPRINT_DLL_DIRECTORIES"):
                os.environ[key] = os.pathsep.join(
                    part for part in (bin_folder, os.environ.get(key, "")) if part
                )


OPTIONS = {"pdf_variant": "pdf/ua-1"}


#: How the address of a photo begins that stands in the paper itself.
PHOTO = "data:image/jpeg;base64,"


def to_pdf(paper: Paper) -> bytes:
    """Print a paper as PDF/UA-1 with its font embedded.

    The same paper gives the same bytes. Only the files of the font and photos that
    stand in the paper itself are read; any other address is refused.

    Raises:
        NoPdfError: the libraries are missing.

    Source:
        ISO 14289-1 (PDF/UA-1).
    """
    return bytes(document(paper).write_pdf(**OPTIONS))


#: What the metadata of a hybrid file says of the XML in it.
_FX = "urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#"
_UA = "http://www.aiim.org/pdfua/ns/id/"
XML_NAME, PROFILE = "factur-x.xml", "EN 16931"


def to_hybrid(paper: Paper, xml: bytes) -> bytes:
    """Print an invoice as one file that people and programs read.

    The same paper and XML give the same bytes.

    Args:
        paper: the invoice.
        xml: the same invoice as CII; attached as an alternative of the paper.

    Raises:
        NoPdfError: the libraries are missing.

    Source:
        ISO 19005-3 (PDF/A-3, level a), ISO 14289-1 (PDF/UA-1), and the extension
        schema of Factur-X / ZUGFeRD for its metadata.
    """
    when = datetime.combine(paper.made, time(), UTC)
    page = _weasyprint().HTML(string=paper.html, url_fetcher=_font_fetcher())
    laid_out = page.render(pdf_variant=_HYBRID)
    pdf = b""
    for attempt in range(_ATTEMPTS):
        laid_out.metadata.attachments = [
            _weasyprint().Attachment(
                string=xml,
                name=XML_NAME,
                description="The invoice as EN 16931 XML" + " " * attempt,
                relationship="Alternative",
                created=when,
                modified=when,
            )
        ]
        finish = partial(_finish, again=attempt > 0)
        pdf = bytes(laid_out.write_pdf(pdf_variant=_HYBRID, finisher=finish))
        if _AMBIGUOUS not in pdf:
            break
    return pdf


_HYBRID = "pdf/a-3a"
#: Where data ends with a carriage return, a reader may take that for a part of the end
#: of line after it and miss a byte (ISO 19005-3, 6.1.7.1). About one file in a hundred
#: has it by chance; it is written anew, a blank longer.
_AMBIGUOUS = b"\r\nendstream"
_ATTEMPTS = 9


def _finish(_document: Any, pdf: Any, *, again: bool) -> None:
    """Say in one RDF block, uncompressed, what the file is; name the XML once.

    When written *again*, what would be ambiguous compressed stays uncompressed.
    """
    from pydyf import Array, Stream

    metadata = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
    head, end, tail = b"".join(metadata.stream).rpartition(b"</rdf:RDF>")
    metadata.stream = [head + _described().encode() + end + tail]
    metadata.compress = False
    pdf.catalog["AF"] = Array(dict.fromkeys(pdf.catalog["AF"]))
    if again:
        for each in pdf.objects:
            if isinstance(each, Stream) and each.data.endswith(_AMBIGUOUS):
                each.compress = False


def _described() -> str:
    """Return the RDF of the attached XML, of PDF/UA-1, and of both their schemas."""
    named = (
        ("DocumentType", "INVOICE", "Kind of document"),
        ("DocumentFileName", XML_NAME, "Name of the embedded XML file"),
        ("Version", "1.0", "Version of the XML schema"),
        ("ConformanceLevel", PROFILE, "Profile of the embedded XML"),
    )
    values = "".join(f"<fx:{name}>{value}</fx:{name}>" for name, value, _ in named)
    schemas = _schema(
        "Factur-X PDFA Extension Schema",
        _FX,
        "fx",
        [(name, "Text", "external", words) for name, _, words in named],
    ) + _schema(
        "PDF/UA identification schema",
        _UA,
        "pdfuaid",
        [("part", "Integer", "internal", "Part of PDF/UA")],
    )
    return (
        f'<rdf:Description rdf:about="" xmlns:fx="{_FX}">{values}</rdf:Description>'
        f'<rdf:Description rdf:about="" xmlns:pdfuaid="{_UA}" pdfuaid:part="1"/>'
        '<rdf:Description rdf:about="" '
        'xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" '
        'xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" '
        'xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">'
        f"<pdfaExtension:schemas><rdf:Bag>{schemas}</rdf:Bag></pdfaExtension:schemas>"
        "</rdf:Description>"
    )


def _schema(
    title: str, space: str, prefix: str, properties: list[tuple[str, str, str, str]]
) -> str:
    rows = "".join(
        '<rdf:li rdf:parseType="Resource">'
        f"<pdfaProperty:name>{name}</pdfaProperty:name>"
        f"<pdfaProperty:valueType>{kind}</pdfaProperty:valueType>"
        f"<pdfaProperty:category>{category}</pdfaProperty:category>"
        f"<pdfaProperty:description>{words}</pdfaProperty:description></rdf:li>"
        for name, kind, category, words in properties
    )
    return (
        '<rdf:li rdf:parseType="Resource">'
        f"<pdfaSchema:schema>{title}</pdfaSchema:schema>"
        f"<pdfaSchema:namespaceURI>{space}</pdfaSchema:namespaceURI>"
        f"<pdfaSchema:prefix>{prefix}</pdfaSchema:prefix>"
        f"<pdfaSchema:property><rdf:Seq>{rows}</rdf:Seq></pdfaSchema:property></rdf:li>"
    )


def document(paper: Paper) -> Any:
    """Return the paper laid out in pages, as WeasyPrint's document."""
    page = _weasyprint().HTML(string=paper.html, url_fetcher=_font_fetcher())
    return page.render(**OPTIONS)


@cache
def _font_fetcher() -> Any:
    """Return a fetcher for the files of the font and photos in the paper only."""
    allowed = frozenset(fonts.faces().values())

    class FontFetcher(_weasyprint().urls.URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            if url not in allowed and not url.startswith(PHOTO):
                raise ValueError(f"A paper fetches nothing: {url}")
            return super().fetch(url, headers)

    return FontFetcher()
