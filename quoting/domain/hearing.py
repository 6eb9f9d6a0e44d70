"""From words to chunks: a chunk is a run of words that says one thing by itself.

Pure. The longest known phrase wins; sides, counts, cylinders and fillers may stand
inside a phrase of the tables (*replace 3 exhaust guides*). Figures are read by what
stands beside them: 16v, v6, 4 cyl, cyl 3, x2, 10 thou, 3E1.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.head import MOST_CYLINDERS, Side
from quoting.domain.lengths import MM_PER_INCH, MM_PER_THOU, UNITS, Length
from quoting.domain.money import ONE
from quoting.domain.words import Word, split, stem, stems


class Sense(NamedTuple):
    """One meaning of a phrase: ``operation SKIM``, ``material iron``, ``side E``."""

    kind: str
    value: str = ""


#: Kinds of sense that come from the edition's tables.
OF_TABLES = frozenset(("operation", "set", "reason", "layout", "rush", "part"))

#: Kinds of sense that say which head it is.
OF_HEADS = frozenset(
    (
        "arrangement",
        "chamber",
        "cooling",
        "engine",
        "fuel",
        "layout",
        "material",
        "train",
        "use",
        "valves",
        "valves_a_cylinder",
    )
)

_WORTH_GUESSING = OF_TABLES | OF_HEADS | {"condition", "object", "side"}

_NOUNS = stems("guide seat valve tip spring seal face head stud bolt thread")
_BARE = stems("guide seat valve stem seal")
_RENEWALS = stems("replace replacement renew change install")
_ARTICLES = frozenset(("the", "a", "an"))
#: Marks that may stand in a phrase; between phrases they join.
_JOINS = frozenset("/&+")


class Node:
    """A place in a tree of phrases: what is said here, and what may follow.

    Attributes:
        then: the places that follow, by word stem.
        senses: what is said if the phrase ends here.
        noun: stem of the part of the head that the phrase names, else empty.
        verb: stems of its other words.
        spelt: how it must be spelt, without spaces; empty: stems are enough.
    """

    __slots__ = ("noun", "senses", "spelt", "then", "verb")

    def __init__(self) -> None:
        self.then: dict[str, Node] = {}
        self.senses: tuple[Sense, ...] = ()
        self.noun = ""
        self.verb: tuple[str, ...] = ()
        self.spelt: set[str] = set()

    def put(
        self,
        path: Sequence[str],
        sense: Sense,
        phrase: Sequence[str] = (),
        spelt: str = "",
    ) -> None:
        """Let word stems lead to *sense*; *phrase* is what they are a way to write."""
        node = self
        for each in path:
            if (after := node.then.get(each)) is None:
                after = node.then[each] = Node()
            node = after
        if spelt:
            node.spelt.add(spelt)
        if not node.senses:
            node.noun, node.verb = _noun_and_verb(phrase or path)
        if sense not in node.senses:
            node.senses = (*node.senses, sense)

    def find(self, path: Sequence[str]) -> "Node | None":
        """Return where word stems lead, if anything is said there."""
        node: Node | None = self
        for each in path:
            node = node.then.get(each) if node else None
        return node if node and node.senses else None


def _noun_and_verb(path: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    if all(each in _BARE for each in path):
        return path[-1], ()
    if path[-1] in _NOUNS:
        return path[-1], tuple(path[:-1])
    if path[0] in _NOUNS:
        return path[0], tuple(path[1:])
    return "", tuple(path)


class Phrases:
    """Every phrase that can be heard, as trees of word stems.

    Attributes:
        roots: of the trees; what an earlier one says goes before. The first holds the
            phrases as they are, the second other ways to write them, the others the
            phrases that these were laid over.
        codes: codes to be taken letter by letter, in small letters, with their sense.
        letters: words that mean something by themselves, whatever their stem does.
        words: of phrases that name heads, parts of them or work.
    """

    def __init__(
        self, over: "Phrases | None" = None, letters: Mapping[str, Sense] | None = None
    ) -> None:
        self.roots: tuple[Node, ...] = (Node(), Node(), *(over.roots if over else ()))
        self.codes: dict[str, Sense] = {}
        self.letters: dict[str, Sense] = {**(over.letters if over else letters or {})}
        self.words: dict[str, None] = dict(over.words) if over else {}

    def add(self, phrase: str, sense: Sense) -> tuple[str, ...]:
        """Let *phrase* say *sense*; also joined to one word or, of work, turned round.

        Words of the tables may be said in any form (skimmed, skimming), plain words
        only as they are: who came with a head has no cam.

        Returns:
            The word stems of the phrase, its articles left out.
        """
        words = [w for w in split(phrase) if w.kind != "mark" or w.text in _JOINS]
        if sense.kind in _WORTH_GUESSING:
            self.words.update((word.text, None) for word in words)
        whole = tuple(_branch(word) for word in words)
        path, spelt = whole, _spelt(words)
        if sense.kind in OF_TABLES:
            if len(words) == 1:
                self.letters.pop(words[0].text, None)
            path = tuple(each for each in whole if each not in _ARTICLES) or whole
            spelt = ""
        as_is, otherwise = self.roots[:2]
        as_is.put(path, sense, spelt=spelt)
        for at in range(len(whole) - 1):
            if joined := _joined(words, at):
                way = (*whole[:at], joined, *whole[at + 2 :])
                otherwise.put(way, sense, path, spelt)
        turns = sense.kind == "operation" and len(path) == 2
        if turns and path[1] in _NOUNS and path[0] not in _NOUNS:
            otherwise.put(path[::-1], sense, path)
        return path

    def find(self, path: Sequence[str]) -> Node | None:
        """Return where word stems lead, if anything is said there."""
        return next((node for root in self.roots if (node := root.find(path))), None)


def key(phrase: str) -> tuple[str, ...]:
    """Return the word stems of *phrase*: what all ways of writing it share.

    >>> key("Two-Tenths") == key("2 tenth")
    True
    """
    return tuple(_branch(word) for word in split(phrase))


def _branch(word: Word) -> str:
    if word.text == "&":
        return "and"
    return "new" if word.stem in _RENEWALS else word.stem


def _spelt(words: Sequence[Word]) -> str:
    return "".join(
        word.stem
        if word.value is not None
        else "and"
        if word.text == "&"
        else word.text
        for word in words
    )


def _joined(words: Sequence[Word], at: int) -> str:
    """Return the stem of two words in one: fly cut, flycut."""
    one, other = words[at : at + 2]
    both = one.kind == other.kind == "word"
    return stem(one.text + other.text) if both else ""


class Place(NamedTuple):
    """A valve as said at the bench; the tag is empty where it was left out."""

    tag: str
    cylinder: int
    side: Side
    number: int


class Chunk(NamedTuple):
    """One run of words and what it says.

    Attributes:
        kind: of its sense, where it is a phrase; ``work`` is an operation or a set;
            ``unknown`` says nothing.
        start, end: its words, the end not included.
        senses: several where it fits several things.
        number: of a count, a quantity or an amount.
        cylinders: that it names.
        place: the valve that it names.
        size: the length that it names.
        noun, verb: stems of a phrase, apart.
        inner: chunks that stand inside a phrase.
        plural: whether its last word is in the plural.
    """

    kind: str
    start: int
    end: int
    senses: tuple[Sense, ...] = ()
    number: Decimal | None = None
    cylinders: tuple[int, ...] = ()
    place: Place | None = None
    size: Length | None = None
    noun: str = ""
    verb: tuple[str, ...] = ()
    inner: tuple["Chunk", ...] = ()
    plural: bool = False

    @property
    def value(self) -> str:
        """Return the value of its first sense."""
        return self.senses[0].value if self.senses else ""


def hear(
    text: str, words: Sequence[Word], phrases: Phrases, more: Node | None = None
) -> tuple[Chunk, ...]:
    """Return the chunks of *words*: one after the other, together all of them.

    Args:
        text: that the words were split from.
        words: of the text.
        phrases: that can be heard.
        more: a further tree of phrases, such as what the shop answered earlier.
    """
    return tuple(_Ear(text, words, phrases, more).chunks())


_BREAKS = frozenset(",;:.!?()[]{}|\n-\u2013\u2014")
_QUIET = frozenset("'\"*_\u2018\u2019\u201c\u201d\u2026")
_MONEY = frozenset("£$€")
_TIMES = ("x", "\u00d7")
_STANDING = {
    "v": "vee",
    "vee": "vee",
    "i": "inline",
    "l": "inline",
    "inline": "inline",
    "straight": "inline",
    "slant": "inline",
    "flat": "flat",
    "boxer": "flat",
    "opposed": "flat",
}
_CYLINDERS_OF_ENGINES = frozenset((1, 2, 3, 4, 5, 6, 8, 10, 12, 16))
_MOST_OF_AN_ENGINE = 16
#: So few valves no head has; so many cylinders it has.
_FEW_CYLINDERS = frozenset((2, 3, 4, 5, 6))
_CYLINDER = ("cyl", "cylinder", "pot")
_NUMBER = ("no", "number", "nr", "#")
_VALVE = ("v", "valve", "valver")
_EACH = ("a", "per", "each", "/")
#: After these *in* is no side: put new guides in.
_PUT = stems("put fit press get knock bring book come it them drop send")
_EXHAUST = ("ex", "exh")
#: What one of each unit is in millimetres; *in* is not always one.
_MILLIMETRES = {unit: mm for unit, mm in UNITS.items() if unit != "in"} | {
    "millimetre": ONE,
    "millimeter": ONE,
    "hundredth": Decimal("0.01"),
    "micron": Decimal("0.001"),
    "thousandth": MM_PER_THOU,
    "\u2033": MM_PER_INCH,
    "\u201d": MM_PER_INCH,
}
_QUANTITIES = {
    "hour": "hour",
    "hr": "hour",
    "h": "hour",
    "cm": "cm",
    "centimetre": "cm",
    "centimeter": "cm",
    "week": "week",
    "kg": "kg",
    "kilo": "kg",
}
_CALL_IT = key("call it")
#: Longer words that a figure may follow.
_BEFORE = frozenset((*_STANDING, *_CYLINDER, *_NUMBER, "call"))
#: May stand inside a phrase of the tables.
_INSIDE = frozenset(("number", "side", "every", "cylinders", "place", "filler", "own"))
_NARROWING = frozenset(("number", "side", "cylinders", "place"))
_VALVE_STEM = stem("valve")
_OF_VALVES = stems("guide seat seal spring stem")
#: Give way to a figure as long: half is a filler by itself, 10 an earlier answer.
_YIELDING = frozenset(("filler", "remembered", "unknown"))
_MOST_INSIDE = 4
_LONGEST_PLAIN = 4


_Way = tuple[Node, int, int, tuple[Chunk, ...]]


class _Ear:
    def __init__(
        self, text: str, words: Sequence[Word], phrases: Phrases, more: Node | None
    ) -> None:
        self.text = text
        self.words = words
        self.phrases = phrases
        self.roots = (*phrases.roots, more) if more else phrases.roots
        self.branches = [_branch(word) for word in words]
        self.inside: dict[int, Chunk | None] = {}
        self.before = ""  # the kind of the chunk before

    def chunks(self) -> Iterator[Chunk]:
        at = 0
        while at < len(self.words):
            figure, phrase = self._figure(at), self._phrase(at)
            chunk = phrase or self._single(at)
            if figure and (figure.end > chunk.end or chunk.kind in _YIELDING):
                chunk = figure
            yield chunk
            at, self.before = chunk.end, chunk.kind

    def _single(self, at: int) -> Chunk:
        text = self.words[at].text
        if text in _BREAKS:
            return Chunk("break", at, at + 1, (Sense("break", text),))
        if text in _JOINS:
            return Chunk("join", at, at + 1, (Sense("join", "and"),))
        return Chunk("quiet" if text in _QUIET else "unknown", at, at + 1)

    # Phrases.

    def _phrase(self, at: int) -> Chunk | None:
        """Return the longest phrase from *at*; of equals the one with least inside."""
        most = (0, 0)
        found: Chunk | None = None
        starts = {self.branches[at], self._joined(at)}
        for root in self.roots:
            if starts.isdisjoint(root.then):
                continue
            for node, end, inner in self._ways(root, at):
                if node.spelt and _spelt(self.words[at:end]) not in node.spelt:
                    continue
                said = end - at - sum(chunk.end - chunk.start for chunk in inner)
                more = (said, -len(inner)) > most
                if more and not self._cuts(end) and not self._parts(node, at, end):
                    most = said, -len(inner)
                    found = self._chunk_of(node, at, end, inner)
        letter = self._letter(at)
        return letter if letter and (not found or found.end == letter.end) else found

    def _letter(self, at: int) -> Chunk | None:
        sense = self.phrases.letters.get(self.words[at].text)
        return Chunk(sense.kind, at, at + 1, (sense,)) if sense else None

    def _ways(
        self, root: Node, start: int
    ) -> Iterator[tuple[Node, int, tuple[Chunk, ...]]]:
        """Yield every phrase from *start*: its node, its end, what stands inside."""
        waiting: list[_Way] = [(root, start, start, ())]
        while waiting:
            node, at, end, inner = waiting.pop()
            if at == end and node.senses and (not inner or _of_tables(node)):
                yield node, end, inner
            if at >= len(self.words) or not node.then:
                continue
            if after := node.then.get(self._joined(at)):
                waiting.append((after, at + 2, at + 2, inner))
            if light := self._light(at) if self._may_part(start, at, inner) else None:
                waiting.append((node, light.end, end, (*inner, light)))
            if after := node.then.get(self.branches[at]):
                waiting.append((after, at + 1, at + 1, inner))

    def _joined(self, at: int) -> str:
        return _joined(self.words, at) if at + 1 < len(self.words) else ""

    def _cuts(self, at: int) -> bool:
        """Tell whether valve guides, valve seals ... would be cut apart at *at*."""
        near = self.branches[at - 1 : at + 1]
        return len(near) == 2 and near[0] == _VALVE_STEM and near[1] in _OF_VALVES

    def _parts(self, node: Node, at: int, end: int) -> bool:
        """Tell whether a set must be heard as its parts: seats and guides exhaust."""
        sets = all(sense.kind == "set" for sense in node.senses)
        joined = "and" in self.branches[at:end]
        return sets and joined and any(self._narrows(each) for each in self._clause(at))

    def _clause(self, at: int) -> range:
        """Return where the words of the clause around *at* stand."""
        start = end = at
        while start > 0 and self._text_at(start - 1) not in _BREAKS - {":"}:
            start -= 1
        while end < len(self.words) and self._text_at(end) not in _BREAKS:
            end += 1
        return range(start, end)

    def _narrows(self, at: int) -> bool:
        light = self._light(at)
        return light is not None and light.kind in _NARROWING

    def _may_part(self, start: int, at: int, inner: tuple[Chunk, ...]) -> bool:
        """Tell whether a chunk may stand inside here; not after a part of the head."""
        return (
            at > start
            and len(inner) < _MOST_INSIDE
            and self.branches[start] not in _NOUNS
        )

    def _light(self, at: int) -> Chunk | None:
        """Return the chunk at *at* if it may stand inside a phrase."""
        if at not in self.inside:
            if self._cuts(at + 1):
                self.inside[at] = Chunk("filler", at, at + 1)  # new valve guides
                return self.inside[at]
            chunk = self._figure(at) or self._plain(at) or self._letter(at)
            self.inside[at] = chunk if chunk and chunk.kind in _INSIDE else None
        return self.inside[at]

    def _plain(self, at: int) -> Chunk | None:
        """Return the longest plain phrase at *at* that may stand inside another."""
        best = None
        node = self.phrases.roots[-2]
        for end in range(at, min(at + _LONGEST_PLAIN, len(self.words))):
            if (after := node.then.get(self.branches[end])) is None:
                break
            node = after
            inside = node.senses and node.senses[0].kind in _INSIDE
            if inside and _spelt(self.words[at : end + 1]) in node.spelt:
                best = self._chunk_of(node, at, end + 1, ())
        return best

    def _chunk_of(
        self, node: Node, at: int, end: int, inner: tuple[Chunk, ...]
    ) -> Chunk:
        senses = node.senses
        kinds = {sense.kind for sense in senses}
        if len(kinds) > 1:
            # What must be asked goes before what the tables say, that before plain
            # words; and a reason proposes its set by itself.
            first = [kind for kind in ("asked", "reason") if kind in kinds]
            kept = set(first[:1]) or kinds & OF_TABLES or kinds
            senses = tuple(sense for sense in senses if sense.kind in kept)
        kind = senses[0].kind
        return Chunk(
            "work" if kind in ("operation", "set") else kind,
            at,
            end,
            senses,
            noun=node.noun,
            verb=node.verb,
            inner=inner,
            plural=self.words[end - 1].plural,
        )

    # Looking at single words; past the end there is nothing.

    def _text_at(self, at: int) -> str:
        return self.words[at].text if 0 <= at < len(self.words) else ""

    def _stem_at(self, at: int) -> str:
        return self.words[at].stem if 0 <= at < len(self.words) else ""

    def _value_at(self, at: int) -> Decimal | None:
        return self.words[at].value if 0 <= at < len(self.words) else None

    def _whole_at(self, at: int) -> int | None:
        value = self._value_at(at)
        whole = value is not None and value == value.to_integral_value()
        return int(value) if value is not None and whole else None

    def _glued(self, at: int) -> bool:
        """Tell whether a word at *at* touches the one before."""
        word = self.words[at] if at < len(self.words) else None
        return word is not None and word.glued and word.kind != "mark"

    def _kind_at(self, at: int) -> str:
        node = self.phrases.find(self.branches[at : at + 1])
        return node.senses[0].kind if node and at < len(self.words) else ""

    # Figures, and what they count.

    def _figure(self, at: int) -> Chunk | None:
        if chunk := self._code(at):
            return chunk
        word = self.words[at]
        if word.value is None and len(word.text) > 2 and word.text not in _BEFORE:
            return None
        return (
            self._place(at)
            or self._engine(at)
            or self._valves(at)
            or self._inlet(at)
            or self._cylinders(at)
            or self._money(at)
            or self._times(at)
            or self._run_together(at)
            or self._counted(at)
        )

    def _code(self, at: int) -> Chunk | None:
        end = at + 1
        while self._glued(end):
            end += 1
        raw = self.text[self.words[at].start : self.words[end - 1].end]
        sense = self.phrases.codes.get(raw.casefold())
        return Chunk(sense.kind, at, end, (sense,)) if sense else None

    def _place(self, at: int) -> Chunk | None:
        """Read 3E1, 3E, A3E1."""
        start, first, tag = at, self.words[at], ""
        if first.kind == "word" and len(first.text) <= 2 and self._glued(at + 1):
            tag = first.text.upper()
            at += 1
        cylinder, letter = self._whole_at(at), self._text_at(at + 1).upper()
        if cylinder is None or letter not in ("I", "E") or not self._glued(at + 1):
            return None
        at += 2
        number = 1
        if self._glued(at):
            number = self._whole_at(at) or 0
            at += 1
        fits = 1 <= cylinder <= MOST_CYLINDERS and 1 <= number <= MOST_CYLINDERS
        if not fits or self._glued(at):
            return None
        place = Place(tag, cylinder, Side(letter), number)
        return Chunk("place", start, at, place=place)

    def _engine(self, at: int) -> Chunk | None:
        """Read v6, i4, straight six, flat 4, six in line, four cylinder."""
        text, start = self._text_at(at), at
        standing = _STANDING.get(text, "")
        if text == "in" and self._text_at(at + 1) == "line":
            standing, at = "inline", at + 1
        if standing:
            at += 1
            letter = len(text) == 1 and text != "v"
            if self._counts_valves(at) or (letter and not self._glued(at)):
                return None
        cylinders = self._whole_at(at)
        if cylinders not in _CYLINDERS_OF_ENGINES:
            return None
        at += 1
        if standing:
            if len(text) == 1 and self._glued(at):
                return None
            named = self._text_at(at) in _CYLINDER and self._value_at(at + 1) is None
            return _of_head("engine", f"{standing} {cylinders}", start, at + named)
        if self._text_at(at) in _CYLINDER or self._text_at(at) == "banger":
            alone = self._value_at(at + 1) is None or self._counts_valves(at + 1)
            return _of_head("engine", f" {cylinders}", start, at + 1) if alone else None
        if self._text_at(at) == "inline" and self._value_at(at + 1) is None:
            return _of_head("engine", f"inline {cylinders}", start, at + 1)
        in_line = self._text_at(at) == "in" and self._text_at(at + 1) == "line"
        if in_line and self._text_at(at + 2) != "bore":
            return _of_head("engine", f"inline {cylinders}", start, at + 2)
        return None

    def _counts_valves(self, at: int) -> bool:
        return self._value_at(at) is not None and self._text_at(at + 1) in _VALVE

    def _valves(self, at: int) -> Chunk | None:
        """Read 16v, 16 valve, 4 valves a cylinder; not 8 valves, which may be work."""
        number = self._whole_at(at)
        if number is None or not self._counts_valves(at) or self._glued(at + 2):
            return None
        if self._text_at(at + 2) in _EACH and self._text_at(at + 3) in _CYLINDER:
            return _of_head("valves_a_cylinder", str(number), at, at + 4)
        if self.words[at + 1].plural or self._is_four_then_work(number, at + 1):
            return None
        return _of_head("valves", str(number), at, at + 2)

    def _is_four_then_work(self, number: int, at: int) -> bool:
        """Tell whether a number behind a word for a head counts cylinders.

        A diesel four valve job is a valve job; a diesel 16 valve job has 16 valves.
        """
        behind_head = self.before in OF_HEADS and number in _FEW_CYLINDERS
        work = self._phrase(at) if behind_head else None
        return work is not None and work.kind == "work" and work.end > at + 1

    def _inlet(self, at: int) -> Chunk | None:
        """Read *in* as the inlet side: in guides, 2 in 2 ex."""
        if self._text_at(at) != "in" or self._stem_at(at - 1) in _PUT:
            return None
        before_part = at + 1 < len(self.words) and self.branches[at + 1] in _BARE
        near = {self._text_at(each) for each in range(at - 4, at + 5)}
        if before_part or not near.isdisjoint(_EXHAUST):
            return _of_head("side", "I", at, at + 1)
        return None

    def _cylinders(self, at: int) -> Chunk | None:
        """Read cyl 3, cylinders 2 and 3, no. 4, number 1 cylinder, #2, 1 2 4."""
        start, plural = at, self.words[at].plural
        if self._text_at(at) in _CYLINDER:
            at += 1
        if self._text_at(at) in _NUMBER and not self.words[at].plural:
            at += 1
        in_a_row = at == start and self._in_a_row(at)
        if not in_a_row and (
            at == start or not self._wholes_at(at) or self._measures(at)
        ):
            return None
        found, end = self._cylinder_list(at, plural)
        end += self._text_at(end) in _CYLINDER
        return Chunk("cylinders", start, end, cylinders=found) if found else None

    def _in_a_row(self, at: int) -> bool:
        """Tell whether numbers follow each other, as cylinders do: seats 1 2 4."""
        one, two = self._whole_at(at), self._whole_at(at + 1)
        if not one or not two or self._glued(at + 1) or self._measures(at + 1):
            return False
        return one < two <= MOST_CYLINDERS and self.words[at + 1].kind == "number"

    def _measures(self, at: int) -> bool:
        """Tell whether the number at *at* belongs to a unit: 16v, 10 thou."""
        after = self._text_at(at + 1)
        return after in _VALVE or after in _MILLIMETRES

    def _cylinder_list(self, at: int, plural: bool) -> tuple[tuple[int, ...], int]:
        """Return the cylinders from *at*, and where their list ends."""
        found: list[int] = []
        end = at
        while numbers := self._wholes_at(at):
            if max(numbers) > _MOST_OF_AN_ENGINE or (found and self._measures(at)):
                break
            through = self._glued(at) if at == end else self._text_at(end) == "to"
            if found and through:
                found += range(found[-1] + 1, numbers[0])
            found += numbers
            at = end = at + 1
            if self._value_at(at) is None:
                if not self._goes_on(at, plural):
                    break
                at += 1
        return tuple(found), end

    def _wholes_at(self, at: int) -> tuple[int, ...]:
        """Return the whole number at *at*, or both of 2,3 where a comma is decimal."""
        word = self.words[at] if at < len(self.words) else None
        if word is None or word.value is None:
            return ()
        one, comma, other = self.text[word.start : word.end].partition(",")
        if comma and one and word.kind == "number":
            return int(one), int(other)
        number = self._whole_at(at)
        return (number,) if number else ()

    def _goes_on(self, at: int, plural: bool) -> bool:
        """Tell whether a list of cylinders goes on: but not in cyl 2, 3 guides."""
        text = self._text_at(at)
        if text == ",":
            return plural or (self.words[at].glued and self._glued(at + 1))
        return text in ("and", "&", "+", "/", "to")

    def _money(self, at: int) -> Chunk | None:
        """Read £600, 450 quid, call it 600 all in."""
        start = at
        agreed = tuple(self.branches[at : at + 2]) == _CALL_IT
        if agreed:
            at += 2
            at += self._text_at(at) == "at"
        sign = self._text_at(at) in _MONEY
        at += sign
        amount = self._value_at(at)
        if not amount or self.words[at].kind != "number":
            return None
        named = self._kind_at(at + 1) == "money"
        end = at + 1 + named
        if not agreed:
            return Chunk("money", start, end) if sign or named else None
        gross = self._phrase(end) if end < len(self.words) else None
        if gross and gross.kind == "gross":
            end = gross.end
        return Chunk("call_it", start, end, number=amount)

    def _times(self, at: int) -> Chunk | None:
        """Read x2, 2x, 2 off."""
        if self._text_at(at) in _TIMES and (number := self._value_at(at + 1)):
            return Chunk("times", at, at + 2, (Sense("times", "behind"),), number)
        number, after = self._value_at(at), self._text_at(at + 1)
        if number and after in (*_TIMES, "off") and not self._glued(at + 2):
            return Chunk("times", at, at + 2, (Sense("times", "before"),), number)
        return None

    def _run_together(self, at: int) -> Chunk | None:
        """Read 1e9, 9E9, 4g63, 1/64 as one thing that nothing is made of."""
        end = at + 1
        while end < len(self.words) and self.words[end].glued:
            if self.words[end].kind == "mark" and self._text_at(end) != "/":
                break
            end += 1
        last = end - 1
        figures = self._value_at(at) is not None and self._value_at(last) is not None
        if not figures or last - at != 2 or self.words[last].kind != "number":
            return None
        return Chunk("unknown", at, end)

    def _counted(self, at: int) -> Chunk | None:
        """Read 10 thou, two tenths, 2 hours, 2 heads, 3 of 16, 3."""
        if self._text_at(at) == "a" and self._text_at(at + 1) == "tenth":
            return Chunk("tenths", at, at + 2, number=ONE)
        number = self._value_at(at)
        if number is None:
            return None
        start, end = at, at + 1
        if self.words[at].kind == "word":
            while self._text_at(end) in ("a", "of"):
                end += 1  # half a thou
        upper = end + (self._text_at(end) in ("to", "or"))
        second = self._value_at(upper)
        through = upper > end or self._glued(upper)
        if second and through and self._unit_at(upper + 1):
            number, end = max(number, second), upper + 1  # 8-10 thou
        after = self._text_at(end)
        if self._unit_at(end):
            return self._sized(start, end, number)
        if after == "tenth":
            return Chunk("tenths", start, end + 1, number=number)
        if after in _QUANTITIES and (after != "h" or self._glued(end)):
            senses = (Sense("quantity", _QUANTITIES[after]),)
            return Chunk("quantity", start, end + 1, senses, number)
        cylinder = after == "cylinder"
        if self._text_at(end + cylinder) == "head" and not self._is_reason(end):
            return Chunk("heads", start, end + 1 + cylinder, number=number)
        if after in ("of", "out"):
            of = end + 1 + (after == "out")
            if (whole := self._whole_at(of)) and whole >= number:
                return Chunk("number", start, of + 1, number=number)
        return Chunk("number", start, start + 1, number=number)

    def _is_reason(self, at: int) -> bool:
        """Tell whether a reason is named from here on, as in three, head gasket."""
        phrase = self._phrase(at)
        return phrase is not None and phrase.kind == "reason"

    def _unit_at(self, at: int) -> Decimal | None:
        """Return what one of the unit at *at* is in millimetres."""
        text = self._text_at(at)
        if text == "in":
            before = self._value_at(at - 1)
            broken = before is not None and before != before.to_integral_value()
            return MM_PER_INCH if broken else None  # 0.010 in; but 2 in 2 ex
        return _MILLIMETRES.get(text)

    def _sized(self, start: int, at: int, number: Decimal) -> Chunk | None:
        """Read a number and its unit, such as 10 thousandths of an inch."""
        unit, end = self._unit_at(at), at + 1
        parts = {"thousandth": 1000, "hundredth": 100}.get(self._text_at(at))
        if parts and self._text_at(end) == "of":
            end += 1 + (self._text_at(end + 1) in _ARTICLES)
            if whole := _MILLIMETRES.get(self._text_at(end)):
                unit, end = whole / parts, end + 1
        if not number or unit is None:
            return None
        typed = self.text[self.words[start].start : self.words[end - 1].end]
        return Chunk("size", start, end, size=Length(number * unit, typed))


def _of_tables(node: Node) -> bool:
    return all(sense.kind in OF_TABLES for sense in node.senses)


def _of_head(kind: str, value: str, start: int, end: int) -> Chunk:
    return Chunk(kind, start, end, (Sense(kind, value),))
