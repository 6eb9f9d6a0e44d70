"""The font of all papers, and what it can print.

The font comes as a package, so a paper looks the same on every machine. A character
that it lacks would be an empty glyph, which PDF/UA forbids: such a character is
replaced by a lozenge, and the paper says so.
"""

import unicodedata
from collections.abc import Mapping
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


def printable(text: str) -> str:
    """Return *text* with what the font lacks replaced.

    A letter with an accent that the font lacks loses the accent; anything else
    becomes a lozenge; marks and controls that print nothing are dropped.
    """
    missing = lacks(text)
    if not missing:
        return text
    return text.translate({ord(char): _replacement(char) for char in missing})


def _replacement(char: str) -> str:
    if unicodedata.category(char) in ("Mn", "Me", "Cc", "Cf"):
        return ""
    bare = unicodedata.normalize("NFKD", char)
    kept = "".join(c for c in bare if not unicodedata.combining(c))
    return kept if kept and not lacks(kept) else LACKING
