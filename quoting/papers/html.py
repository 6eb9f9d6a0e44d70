"""Filling a paper's template: one environment, one page design, one font."""

import unicodedata
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any, NamedTuple

from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers import fonts
from quoting.resources import folder

if TYPE_CHECKING:
    from jinja2 import Environment


class Paper(NamedTuple):
    """A paper ready to be printed: its HTML, title and day."""

    html: str
    title: str
    made: date


def on_paper(formats: Formats) -> Formats:
    """Return *formats* that write only what the font of the papers has."""
    return replace(formats, legible=fonts.legible)


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(folder("templates"), encoding="utf-8"),
        autoescape=True,
        finalize=_composed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _composed(value: object) -> object:
    """Join letters and their accents, before there is markup that could be joined."""
    return unicodedata.normalize("NFC", value) if type(value) is str else value


def fill(
    template: str,
    *,
    shop: Shop,
    formats: Formats,
    size: str,
    kind: str,
    number: str,
    made: date,
    block: list[tuple[str, str]],
    values: Mapping[str, Any],
) -> Paper:
    """Fill a template of ``templates/papers``.

    Args:
        template: its name without folder and ending.
        shop: whose paper it is.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
        kind: what it is called in the title block.
        number: its number; may be empty.
        made: its day, which is the only date in the file's own data.
        block: further cells of the title block: label and text, empty ones left out.
        values: everything else that the template names.

    Returns:
        The paper. Characters that the font lacks are replaced; where that took a
        lozenge the paper says so.
    """
    title = unicodedata.normalize("NFC", f"{kind} {number}".strip())
    page = _environment().get_template(f"papers/{template}.html")
    everything = {
        "shop": shop,
        "language": "en",
        "paper": size or formats.paper,
        "faces": fonts.faces(),
        "title": title,
        "made": made.isoformat(),
        "block": [(shop.name, title), *block],
        "lozenge": fonts.LACKING,
        **values,
    }
    asked = page.render(everything, lozenges=False)
    html = fonts.printable(asked, escape)
    if html.count(fonts.LACKING) > asked.count(fonts.LACKING):
        html = fonts.printable(page.render(everything, lozenges=True), escape)
    return Paper(html, fonts.printable(title), made)
