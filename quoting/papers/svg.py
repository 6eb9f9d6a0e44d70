"""What every drawing shares: its inks, its numbers, its words and the room they take.

Presentation attributes say every colour, for WeasyPrint knows neither ``var()`` nor a
page's style sheet inside SVG. A style sheet lets the page's colours in on a screen.
"""

import re
from html import escape
from unicodedata import east_asian_width

INK, SOFT, BLUE, RED, LINE = "#16222e", "#5a6672", "#17509a", "#9c2f1b", "#c9ced2"
PAPER = "#fff"  # nothing is printed; on a screen the style sheet knows better

FONT = 'font-family="Source Sans Pro, Source Sans 3, system-ui, sans-serif"'

#: The widest drawing for a screen of 390 CSS pixels, in drawing units.
PHONE = 358.0

#: Half the height of a capital, in ems.
CAP = 0.36


def n(value: float) -> str:
    """Return a number as SVG has it, of two decimals at most.

    >>> n(12.3456)
    '12.35'
    """
    return f"{round(value, 2):g}"


_NOT_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def text(words: str) -> str:
    """Return *words* for XML; a character that XML cannot hold becomes U+FFFD.

    >>> text("seats & guides")
    'seats &amp; guides'
    """
    return escape(_NOT_XML.sub("\ufffd", words))


#: Widths in ems, enough for the bold of the widest common sans-serif.
_NARROWEST = 0.38
_WIDTHS = dict.fromkeys("fijlrtI ,.", _NARROWEST) | dict.fromkeys("mwMW", 1.05)


def ems(words: str) -> float:
    """Return the width that *words* take at most, in ems."""
    return sum(
        1.05 if east_asian_width(letter) in "WF" else _WIDTHS.get(letter, 0.7)
        for letter in words
    )


def cut(words: str, room: float) -> str:
    """Return *words*, shortened to *room* ems; of one letter and a … at least.

    >>> cut("Cylinder head", 5)
    'Cylinde…'
    """
    shown = words[: int(room / _NARROWEST) + 2]
    while ems(shown) > room and len(shown) > 2:
        shown = shown.rstrip("…")[:-1].rstrip() + "…"
    return shown
