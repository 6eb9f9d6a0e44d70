"""Words as people type them: cut apart, folded together, and read as numbers.

Pure. Case, hyphens, apostrophes, plurals and the usual verb endings do not matter:
*Re-facing valves* and *reface valve* fold alike. Where each word stood in the text is
kept, so that everything can be shown back as it was typed.
"""

import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal
from functools import cache
from typing import NamedTuple

#: Languages that write a comma before the decimals (Unicode CLDR, decimal symbols).
_COMMA_LANGUAGES = """
    bg ca cs da de el es et eu fi fr gl hr hu id is it lt lv nb nl nn no pl pt ro ru sk
    sl sr sv tr uk
"""
#: ... but in these countries a point.
_POINT_COUNTRIES = frozenset(("ch", "li"))

_UP_TO_TWENTY = """
    zero one two three four five six seven eight nine ten eleven twelve thirteen
    fourteen fifteen sixteen seventeen eighteen nineteen twenty
"""
_NUMBERS = {word: str(n) for n, word in enumerate(_UP_TO_TWENTY.split())} | {
    "thirty": "30",
    "forty": "40",
    "dozen": "12",
    "couple": "2",
    "half": "0.5",
    "quarter": "0.25",
    "¼": "0.25",
    "½": "0.5",
    "¾": "0.75",
}

#: Past forms that no ending tells.
_IRREGULAR = {"broke": "break", "blown": "blow"}

#: Words of their own: hydros are hydraulic followers, no test under pressure.
_NO_PLURALS = frozenset(("hydros",))

#: After these a point ends the abbreviation and not the sentence.
_ABBREVIATED = frozenset(("no", "nr", "cyl", "ex", "exh", "inl", "int", "approx"))

_APOSTROPHES = "'`\u2019\u00b4"
_HYPHENS = "-\u2010\u2011\u2013"
_LONGEST_NUMBER = 9

_PIECES = rf"""
    (?P<number>{{number}})
  | (?P<word>[^\W\d_]+(?:[{_APOSTROPHES}][^\W\d_]+)*|[¼½¾])
  | (?P<mark>\n|\S)
"""
_WITH_POINT = re.compile(
    _PIECES.format(
        number=r"0,[0-9]+|[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])(?:\.[0-9]+)?"
        r"|[0-9]+(?:\.[0-9]+)?|(?<![\w.])\.[0-9]+"
    ),
    re.VERBOSE,
)
_WITH_COMMA = re.compile(
    _PIECES.format(
        number=r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+(?![0-9])(?:,[0-9]+)?"
        r"|[0-9]+(?:[.,][0-9]+)?|(?<![\w.,])[.,][0-9]+"
    ),
    re.VERBOSE,
)
#: 1.200 is twelve hundred to one who writes decimals with a comma, unless he did not.
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}\.[0-9]{3}")


class Word(NamedTuple):
    """One word, number or mark of a text.

    Attributes:
        text: as folded: small letters, no apostrophe, singular.
        stem: what it shares with its verb forms; of a number its figures.
        start, end: where it stands in the text.
        kind: ``word``, ``number``, ``mark``, or ``unclear``: a number with a comma
            where the caller's language has a point, or one that may be thousands.
        glued: whether it touches what stands before it, but for a hyphen.
        value: of a number, in figures or in words.
        plural: whether folding took a plural ending away.
    """

    text: str
    stem: str
    start: int
    end: int
    kind: str
    glued: bool = False
    value: Decimal | None = None
    plural: bool = False


def split(text: str, language: str = "en") -> tuple[Word, ...]:
    """Return the words, numbers and marks of *text*, in order.

    Args:
        text: anything.
        language: of the caller, such as ``en`` or ``de-AT``; says whether a comma
            between two digits is a decimal mark.

    >>> [word.text for word in split("16v twin-cam, guides .10")]
    ['16', 'v', 'twin', 'cam', ',', 'guide', '0.10']
    >>> [word.text for word in split("skim 0,10", "de")]
    ['skim', '0.10']
    """
    decimal_comma = _has_decimal_comma(language)
    pieces = _WITH_COMMA if decimal_comma else _WITH_POINT
    found: list[Word] = []
    end = -1
    for match in pieces.finditer(text):
        raw, start, kind = match.group(), match.start(), match.lastgroup
        glued = start == end
        end = match.end()
        if kind == "number":
            found.append(_number(raw, start, glued, decimal_comma))
        elif kind == "mark":
            if not _holds_together(raw, text, start, found):
                found.append(Word(raw, raw, start, end, "mark", glued))
        else:
            folded, its_stem, value, plural = _folded(raw)
            found.append(
                Word(folded, its_stem, start, end, "word", glued, value, plural)
            )
    return tuple(found)


@cache
def _has_decimal_comma(language: str) -> bool:
    first, *others = re.split(r"[-_]", language.lower())
    return first in _COMMA_LANGUAGES.split() and _POINT_COUNTRIES.isdisjoint(others)


def _holds_together(mark: str, text: str, start: int, before: list[Word]) -> bool:
    """Tell whether a mark only holds a word together: twin-cam, cyl. 3."""
    if not before or before[-1].end != start:
        return False
    if mark in _HYPHENS:
        return text[start + 1 : start + 2].isalnum()
    return mark == "." and before[-1].text in _ABBREVIATED


def _number(raw: str, start: int, glued: bool, decimal_comma: bool) -> Word:
    end = start + len(raw)
    if _THOUSANDS.fullmatch(raw) if decimal_comma else raw.startswith("0,"):
        return Word(raw, raw, start, end, "unclear", glued)
    if len(raw) > _LONGEST_NUMBER:
        return Word(raw, raw, start, end, "word", glued)
    if not decimal_comma:
        figures = raw.replace(",", "")
    elif "," in raw or raw.count(".") > 1:
        figures = raw.replace(".", "").replace(",", ".")
    else:
        figures = raw
    figures = f"0{figures}" if figures.startswith(".") else figures
    return Word(figures, figures, start, end, "number", glued, Decimal(figures))


@cache
def _folded(raw: str) -> tuple[str, str, Decimal | None, bool]:
    """Return a word folded, its stem, its number, and whether it was plural."""
    text = raw if raw in _NUMBERS else unicodedata.normalize("NFKC", raw).casefold()
    text = re.sub(f"[{_APOSTROPHES}]", "", text)
    folded = _singular(text)
    if figures := _NUMBERS.get(folded):
        return folded, figures, Decimal(figures), False
    return folded, stem(folded), None, folded != text


def _singular(text: str) -> str:
    if text in _NO_PLURALS or len(text) <= 3 or text.endswith(("ss", "us", "is")):
        return text
    if text.endswith("ies") and len(text) > 4:
        return f"{text[:-3]}y"
    if text.endswith(("shes", "ches", "xes", "sses")):
        return text[:-2]
    return text.removesuffix("s")


@cache
def stem(text: str) -> str:
    """Return what the forms of a verb share; no word that anybody would print.

    >>> stem("skimming"), stem("skim"), stem("refaced"), stem("reface")
    ('skim', 'skim', 'refac', 'refac')
    """
    text = _IRREGULAR.get(text, text)
    if text.endswith("ied") and len(text) > 4:
        return f"{text[:-3]}y"
    for ending in ("ing", "ed"):
        base = text.removesuffix(ending)
        if base != text and len(base) > 2 and re.search("[aeiouy]", base):
            if base[-1] == base[-2] and base[-1] in "bdgmnprt":
                base = base[:-1]
            return _without_e(base)
    return _without_e(text)


def _without_e(text: str) -> str:
    return text[:-1] if len(text) > 3 and text.endswith("e") else text


def stems(texts: str) -> frozenset[str]:
    """Return the stems of several words.

    >>> sorted(stems("guide seats"))
    ['guid', 'seat']
    """
    return frozenset(word.stem for word in split(texts))


class Near:
    """Finds known words that are one slip of the finger away."""

    def __init__(self, known: Iterable[str]) -> None:
        self._by_loss: dict[str, list[str]] = {}
        for word in known:
            for loss in _losses(word):
                self._by_loss.setdefault(loss, []).append(word)

    def of(self, text: str) -> tuple[str, ...]:
        """Return the known words that differ by one letter or one swap, in order.

        >>> Near(["guide", "valve"]).of("giude")
        ('guide',)
        """
        found = dict.fromkeys(
            word for loss in _losses(text) for word in self._by_loss.get(loss, ())
        )
        return tuple(
            word
            for word in found
            if text not in (word, f"{word}s") and _one_slip(text, word)
        )


_SHORTEST = 5
_LONGEST = 24


def _losses(word: str) -> set[str]:
    if not _SHORTEST <= len(word) <= _LONGEST:
        return set()
    return {word, *(word[:at] + word[at + 1 :] for at in range(len(word)))}


def _one_slip(one: str, other: str) -> bool:
    if len(one) > len(other):
        one, other = other, one
    if len(one) < len(other):
        return any(other[:at] + other[at + 1 :] == one for at in range(len(other)))
    unlike = [at for at, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(unlike) == 2:
        first, second = unlike
        swapped = one[first] == other[second] and one[second] == other[first]
        return second == first + 1 and swapped
    return len(unlike) == 1
