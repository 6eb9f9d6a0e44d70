"""HTML into a tagged PDF/UA-1 file, the same bytes every time.

WeasyPrint and the libraries under it are loaded when the first PDF is made, not before:
pricing and checking do without them.
"""

import contextlib
import io
import logging
import os
import sys
from functools import cache
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
