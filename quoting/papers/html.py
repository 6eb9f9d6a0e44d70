"""Filling a paper's template: one environment, one page design, one font."""

from collections.abc import Mapping
from datetime import date
from functools import cache
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


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(folder("templates"), encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


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
        block: further cells of the title block: label and text.
        values: everything else that the template names.

    Returns:
        The paper. Where text has characters that the font lacks they are replaced,
        and the paper says so.
    """
    title = f"{kind} {number}".strip()
    page = _environment().get_template(f"papers/{template}.html")
    everything = {
        "shop": shop,
        "language": "en",
        "paper": size or formats.paper,
        "faces": fonts.faces(),
        "kind": kind,
        "number": number,
        "title": title,
        "made": made.isoformat(),
        "block": block,
        "lozenge": fonts.LACKING,
        **values,
    }
    html = page.render(everything, lozenges=False)
    if fonts.lacks(html):
        html = page.render(everything, lozenges=True)
    return Paper(fonts.printable(html), fonts.printable(title), made)
