"""The font of all papers, and what it can print.

The font comes as a package, so a paper looks the same on every machine. A character
that it lacks would be an empty glyph, which PDF/UA forbids: such a character is
replaced by its nearest form or a lozenge, and where it is a lozenge the paper says so.
"""

import re
import unicodedata
from collections.abc import Callable, Mapping
from functools import cache
from importlib.util import find_spec
from pathlib import Path

LACKING = "\N{LOZENGE}"

#: Weight in style sheets and file in the package.
FACES: Mapping[int, str] = {
    400: "SourceSansPro-Regular.ttf",
    600: "SourceSansPro-Semibold.ttf",
}


def faces() -> Mapping[int, str]:
    """Return the address of the font's file for each weight."""
    return {weight: (_folder() / file).as_uri() for weight, file in FACES.items()}


@cache
def _folder() -> Path:
    spec = find_spec("font_source_sans_pro")
    if spec is None or spec.origin is None:
        raise FileNotFoundError("the package font-source-sans-pro is not installed")
    return Path(spec.origin).parent / "files"


@cache
def _printable() -> frozenset[str]:
    """Return every character that all faces have."""
    from fontTools.ttLib import TTFont

    sets = []
    for file in FACES.values():
        with TTFont(_folder() / file, lazy=True) as font:
            sets.append({chr(code) for code in font.getBestCmap()})
    return frozenset(set.intersection(*sets)) | {"\n", "\t"}


def lacks(text: str) -> frozenset[str]:
    """Return the characters of *text* that the font cannot print."""
    if text.isascii() and text.isprintable():
        return frozenset()
    return frozenset(text) - _printable()


def legible(text: str) -> bool:
    """Return whether *text* can be printed with nothing lost that a reader sees.

    >>> legible("1 234,50 \N{EURO SIGN}"), legible("7 \N{DEVANAGARI LETTER MA}")
    (True, False)
    """
    return all(
        unicodedata.category(char) == "Cf"
        or not lacks(unicodedata.normalize("NFKC", char))
        for char in lacks(text)
    )


def printable(text: str, write: Callable[[str], str] = str) -> str:
    """Return *text* with what the font lacks replaced.

    A letter with an accent that the font lacks loses the accent, a space of another
    width becomes a space; controls and accents that stand on no letter are dropped;
    anything else becomes a lozenge.

    Args:
        text: to be printed; accents best joined to their letters (NFC).
        write: writes what stands for a character; ``html.escape`` in markup, so that
            a wide ``<`` never becomes a tag.

    >>> from html import escape
    >>> printable("\N{FULLWIDTH LESS-THAN SIGN}b", escape)
    '&lt;b'
    """
    new = {ord(char): write(_replacement(char)) for char in lacks(text)}
    return _stray_accents().sub("", text.translate(new))


@cache
def _stray_accents() -> re.Pattern[str]:
    """Return a pattern of accents after a space, a tag or nothing.

    A layout would put them on a dotted circle of its own.
    """
    accents = sorted(c for c in _printable() if unicodedata.category(c) in ("Mn", "Me"))
    return re.compile(rf"(?<![^\s>])[{''.join(accents)}]+")


def _replacement(char: str) -> str:
    category = unicodedata.category(char)
    if category in ("Mn", "Me", "Cc", "Cf"):
        return ""
    if category in ("Zs", "Zl", "Zp"):
        return " "
    alike = unicodedata.normalize("NFKC", char)
    if not lacks(alike):
        return alike
    parts = unicodedata.normalize("NFKD", char)
    bare = "".join(part for part in parts if not unicodedata.combining(part))
    return bare if bare and not lacks(bare) else LACKING
