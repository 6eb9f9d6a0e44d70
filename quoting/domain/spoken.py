"""From chunks to what is asked for, before any head is chosen.

Pure. Within a clause sides, counts, cylinders and sizes go to the work that they stand
beside: *3 exhaust guides*, *guides exhaust*. What stands before or behind work that is
joined by *and* holds for all of it. Commas, semicolons and colons end a clause.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS, Side
from quoting.domain.hearing import OF_HEADS, Chunk, Place, Sense, key
from quoting.domain.lengths import Length, parse_length
from quoting.domain.money import ONE
from quoting.domain.rates import Operation
from quoting.domain.vocabulary import Answer, Vocabulary
from quoting.domain.words import Word, stems


class Question(NamedTuple):
    """Something to ask back.

    Attributes:
        word: what the answer is remembered under.
        text: the question, in English.
        choices: each answer's codes, and how it is called.
    """

    word: str
    text: str
    choices: tuple[tuple[str, str], ...] = ()


@dataclass
class Work:
    """Work that is asked for or left out, as far as words alone say.

    Attributes:
        senses: what it may be.
        start, end: its words.
        said: the caller's own words.
        noun, verb: stems of the phrase, apart.
        nouns: stems of the parts of the head that stand beside it.
        answers: where it must be asked: what it may mean.
        plural: whether the caller said it in the plural.
        single: one of them, as in *a guide*.
        chain: which works are joined by *and*.
        before: whether what narrows it was said before it.
        bare_noun: no work was named, only a part of the head.
        chunks: everything that was said of it.
    """

    senses: tuple[Sense, ...]
    start: int
    end: int
    said: str
    noun: str = ""
    verb: tuple[str, ...] = ()
    answers: tuple[Answer, ...] = ()
    plural: bool = False
    single: bool = False
    chain: int = 0
    before: bool = False
    bare_noun: bool = False
    nouns: set[str] = field(default_factory=set)
    chunks: list[Chunk] = field(default_factory=list)
    side: Side | None = None
    every: bool = False
    number: Decimal | None = None
    cylinders: tuple[int, ...] = ()
    places: tuple[Place, ...] = ()
    labels: tuple[str, ...] = ()
    size: Length | None = None
    bare: str = ""  # a size that names no unit
    own: bool = False
    left_out: bool = False
    if_needed: bool = False

    @property
    def word(self) -> str:
        """Return what an answer about it is remembered under."""
        return " ".join(self.said.casefold().split())

    @property
    def narrowed(self) -> bool:
        """Tell whether anything was said of where it is done."""
        where = (self.side, self.every, self.number, self.cylinders, self.places)
        return any(where)


UNDERSTOOD, ASKED, FILLER, NOT_PLACED = "understood", "asked", "filler", "not placed"


@dataclass
class Spoken:
    """What was said.

    Attributes:
        how: what became of each word: one of the four words above.
        means: what each word was taken for.
        of_heads: which head it is.
        heads: how many came; ``all`` of the engine's; or empty.
        labels: left, right ..., in the order said.
        conditions: how they came.
        facts: name, word and side (or empty) of what is known of them.
        reasons: codes of why they came.
        works: what is asked for.
        rush: code of a level of hurry.
        trade: the words for trade terms.
        price: a price agreed for all of it.
        questions: what must be asked, whatever the head.
        of_a_head: whether anything was said that only a head has.
    """

    how: list[str]
    means: list[str]
    of_heads: list[Sense] = field(default_factory=list)
    heads: str = ""
    labels: list[str] = field(default_factory=list)
    conditions: set[str] = field(default_factory=set)
    facts: list[tuple[str, str, str]] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    works: list[Work] = field(default_factory=list)
    rush: str = ""
    trade: str = ""
    price: Chunk | None = None
    questions: list[Question] = field(default_factory=list)
    of_a_head: bool = False


def listen(
    text: str,
    words: Sequence[Word],
    chunks: Sequence[Chunk],
    edition: Edition,
    book: Vocabulary,
    answered: Mapping[tuple[str, ...], str],
) -> Spoken:
    """Return what *chunks* ask for.

    Args:
        text: that was said.
        words: of the text.
        chunks: that were heard in them.
        edition: whose tables they are about.
        book: its vocabulary.
        answered: answers to earlier questions, by the key of the word.
    """
    return _Listener(text, words, chunks, edition, book, answered).listen()


_SELECTORS = frozenset(
    ("side", "every", "number", "cylinders", "place", "label", "size", "quantity")
)
#: Marks that end what a colon began.
_ENDS = (";", ":", ".", "\n")
_WHERE = frozenset(("every", "side", "cylinders", "place", "label"))
#: May be said before any work: cylinder 3, new guides.
_AHEAD = frozenset(("cylinders", "place", "label"))
_MEASURES = frozenset(("size", "quantity"))
_SHAPING = frozenset(("work", "side", "number", "cylinders", "place"))
_LIGHT = frozenset(("filler", "quiet"))
_ON_THE_WAY = _SELECTORS | _LIGHT | {"own", "maybe", "material"}
_TARGETS = frozenset(("work", "object", "part"))
_COUNTABLE = frozenset(("named", "object", "part", "side", "unknown"))
_ENGINES = frozenset((2, 3, 4, 5, 6, 8, 10, 12))
_GUIDE_OR_SEAT = stems("guide seat")
_MATERIALS_OF_PARTS = ("iron", "bronze")
_OPPOSITES = {"bare": "complete", "stripped": "complete", "clean": "dirty"}


class _Listener:
    def __init__(
        self,
        text: str,
        words: Sequence[Word],
        chunks: Sequence[Chunk],
        edition: Edition,
        book: Vocabulary,
        answered: Mapping[tuple[str, ...], str],
    ) -> None:
        self.text, self.words, self.chunks = text, words, chunks
        self.edition, self.book, self.answered = edition, book, answered
        self.operations = edition.operations
        self.said = Spoken([NOT_PLACED] * len(words), [""] * len(words))
        self.at = -1
        self.chain = 0
        self.current: Work | None = None  # of this clause
        self.last: Work | None = None
        self.joined = ""
        self.pending: list[Chunk] = []  # what narrows work that is still to come
        self.objects: list[Chunk] = []  # parts of the head, still without a verb
        self.flags: dict[str, Chunk] = {}  # without, maybe, own: still to be used
        self.without_used = False
        self.named_first = False
        self.loose: list[Chunk] = []
        self.scope: list[Chunk] = []  # what narrows all that follows a colon
        self.handlers: Mapping[str, Callable[[Chunk], None]] = {
            "asked": self._on_asked,
            "break": self._on_break,
            "call_it": self._on_call_it,
            "condition": self._on_condition,
            "day": self._on_day,
            "fact": self._on_fact,
            "filler": self._on_filler,
            "fine": self._on_fine,
            "head": self._on_head,
            "heads": self._on_heads,
            "join": self._on_join,
            "maybe": self._on_maybe,
            "named": self._on_named,
            "object": self._on_object,
            "outside": self._on_outside,
            "own": self._on_own,
            "part": self._on_work,
            "private": self._on_filler,
            "quiet": self._on_filler,
            "reason": self._on_reason,
            "remembered": self._on_remembered,
            "rush": self._on_rush,
            "tenths": self._on_tenths,
            "times": self._on_times,
            "trade": self._on_trade,
            "unknown": self._on_unknown,
            "without": self._on_without,
            "work": self._on_work,
            **dict.fromkeys(_SELECTORS, self._on_selector),
            **dict.fromkeys(OF_HEADS, self._on_of_heads),
        }

    def listen(self) -> Spoken:
        self._open_clause()
        for at, chunk in enumerate(self.chunks):
            self.at = at
            if on := self.handlers.get(chunk.kind):
                on(chunk)
        self._close_clause("")
        for chunk in self.loose:
            self._place(chunk)
        return self.said

    # Marking words, and looking around.

    def _words_of(self, of: Chunk | Work) -> str:
        return self.text[self.words[of.start].start : self.words[of.end - 1].end]

    def _mark(self, chunk: Chunk, how: str = UNDERSTOOD, means: str = "") -> None:
        for at in range(chunk.start, chunk.end):
            if self.said.how[at] == NOT_PLACED or how == NOT_PLACED:
                self.said.how[at] = how
                self.said.means[at] = means or self._words_of(chunk)

    def _beside(self) -> Chunk | None:
        """Return the chunk right before this one, fillers apart."""
        before = (self.chunks[at] for at in range(self.at - 1, -1, -1))
        return next((chunk for chunk in before if chunk.kind not in _LIGHT), None)

    def _after(self) -> Chunk | None:
        return self.chunks[self.at + 1] if self.at + 1 < len(self.chunks) else None

    def _target(self) -> Chunk | None:
        """Return the work ahead that what is said now may belong to."""
        for chunk in self.chunks[self.at + 1 :]:
            if chunk.kind not in _ON_THE_WAY:
                return chunk if chunk.kind in _TARGETS else None
        return None

    def _touches(self, work: Work) -> bool:
        """Tell whether nothing but fillers stands between *work* and this chunk."""
        before = self._beside()
        return before is not None and before.end == work.end

    def _works_of(self, senses: Sequence[Sense]) -> list[Operation]:
        return [self.operations[s.value] for s in senses if s.kind == "operation"]

    # Clauses.

    def _open_clause(self) -> None:
        self.current, self.joined, self.flags = None, "", {}
        self.without_used = False
        shape = []
        for chunk in self.chunks[self.at + 1 :]:
            if chunk.kind == "break":
                break
            if chunk.kind in _SHAPING:
                shape.append(chunk.kind != "work")
        #: guides 3 seats 4: what narrows work stands behind it.
        self.named_first = len(shape) > 1 and not shape[0] and shape[-1]

    def _close_clause(self, mark: str) -> None:
        waiting, self.pending = self.pending, []
        if mark in _ENDS:
            self.scope = []
        if mark == ":" and self.current is None:
            self.scope = waiting  # cylinder 3: guides, seats
            return
        self._ask_about_objects()
        work, left = self.last, []
        for chunk in waiting:
            if chunk.kind in _MEASURES:
                self.loose.append(chunk)
            elif chunk.kind == "every" and not (work and self._can_take(work, "every")):
                self._mark(chunk, FILLER)  # skim 5 thou each
            else:
                left.append(chunk)
        if self.current is None and not any(chunk.kind in _WHERE for chunk in left):
            return  # a mere number is no news of the clause before
        if work is None:
            self.pending = [chunk for chunk in left if chunk.kind in _AHEAD]
        elif not work.left_out:
            first, *more = _groups(left)
            if not self._narrow_all(work, first):
                self._repeat(work, first)
            for chunks in more:
                self._repeat(work, chunks)

    def _narrow_all(self, work: Work, chunks: Sequence[Chunk]) -> bool:
        """Let all of *chunks* narrow *work*, or none of them."""
        trial = replace(work, chunks=[*work.chunks])
        if not all(self._fit(trial, chunk) for chunk in chunks):
            return False
        for chunk in chunks:
            self._narrow(work, chunk)
        return True

    def _repeat(self, work: Work, chunks: Sequence[Chunk]) -> None:
        """Read *seats 4 exhaust, 4 inlet*: the same work once more."""
        again = Work(work.senses, work.start, work.end, work.said, work.noun, work.verb)
        telling = any(chunk.kind in _WHERE for chunk in chunks)
        if work.senses and telling and self._narrow_all(again, chunks):
            again.chain = work.chain
            self.said.works.append(again)
            self.last = again

    def _on_break(self, chunk: Chunk) -> None:
        self._close_clause(chunk.value)
        self._mark(chunk, FILLER)
        work = self.current
        self._open_clause()
        if chunk.value == ":" and work is not None and not work.verb:
            self.current = work  # guides: knurl

    def _on_join(self, chunk: Chunk) -> None:
        self._mark(chunk, FILLER)
        if self.pending:
            self.pending.append(chunk)  # 2 exhaust and 3 inlet guides
        elif self.current is not None:
            self.joined = chunk.value
        flag = self.flags.get("without")
        if flag and self.without_used and chunk.value == "and" and flag.value != "and":
            del self.flags["without"]  # no seals and skim it

    # What narrows work.

    def _can_take(self, work: Work | Chunk, kind: str) -> bool:
        senses = work.senses
        if isinstance(work, Work) and work.answers:
            senses = tuple(s for answer in work.answers for s in answer.senses)
        kinds = {sense.kind for sense in senses}
        if kind == "label":
            return bool(kinds & {"operation", "set"})
        if kind == "number" and "part" in kinds:
            return True
        operations = self._works_of(senses)
        if kind == "size":
            operations = operations + [
                self.operations[code]
                for sense in senses
                if sense.kind == "set"
                for code in self.edition.sets[sense.value].operations
            ]
        return any(_takes(operation, kind) for operation in operations)

    def _on_selector(self, chunk: Chunk) -> None:
        if chunk.kind == "label":
            self.said.labels.append(chunk.value)
            self._mark(chunk, means=chunk.value)
        if chunk.kind == "number" and (
            self._counts_cylinders(chunk) or self._counts_heads(chunk)
        ):
            return
        work = self.current
        if work and not self.pending and self._lists_on(work, chunk):
            self.joined = ""
            self._narrow(work, chunk)
        elif (
            work is None
            or self.joined
            or self.pending
            or self._is_for_next(work, chunk)
        ):
            self.pending.append(chunk)
        elif self._narrow(work, chunk):
            self._spread_back(work, chunk)
        else:
            self.pending.append(chunk)

    def _lists_on(self, work: Work, chunk: Chunk) -> bool:
        """Read *guides 1E and 3E*: one more of the same kind."""
        same = (
            chunk.kind in ("place", "cylinders") and chunk.kind == work.chunks[-1].kind
        )
        return same and self._target() is None

    def _is_for_next(self, work: Work, chunk: Chunk) -> bool:
        """Tell whether what stands between two works belongs to the second.

        *seats 3 guides* has three guides, and *exhaust guides inlet seats* inlet seats;
        but *guides exhaust seats* has exhaust guides.
        """
        if self.named_first or chunk.kind not in _SHAPING:
            return False
        target = self._target()
        if target is None or not self._can_take(target, chunk.kind):
            return False
        return work.before or chunk.kind == "number"

    def _counts_cylinders(self, number: Chunk) -> bool:
        """Read *truck six*, *pushrod four*: a word for a head, then its cylinders."""
        before = self.chunks[self.at - 1] if self.at else None
        after = self._after()
        if before is None or before.kind not in OF_HEADS or before.kind == "layout":
            return False
        if any(sense.kind == "engine" for sense in self.said.of_heads):
            return False
        if after and (after.kind in _COUNTABLE or self._counts_places(after)):
            return False
        if number.number not in _ENGINES:
            return False
        cylinders = f"{number.number:.0f}"
        self.said.of_heads.append(Sense("engine", f" {cylinders}"))
        self._mark(number, means=f"{cylinders} cylinders")
        return True

    def _counts_heads(self, number: Chunk) -> bool:
        """Read *2 bare heads*: a number, words for heads, and heads."""
        if self.current is not None and not self.joined:
            return False
        for chunk in self.chunks[self.at + 1 :]:
            if chunk.kind == "head" and chunk.plural:
                self._set_heads(number, str(number.number))
                return True
            if chunk.kind not in OF_HEADS and chunk.kind not in ("condition", "filler"):
                return False
        return False

    def _counts_places(self, work: Work | Chunk) -> bool:
        """Tell whether a number may say how many of a part *work* is done to."""
        return any(sense.kind == "part" for sense in work.senses) or any(
            operation.step is None and _takes(operation, "number")
            for operation in self._works_of(work.senses)
        )

    def _narrow(self, work: Work, chunk: Chunk) -> bool:
        """Let *chunk* narrow *work*; False where it cannot."""
        if not self._fit(work, chunk):
            return False
        work.chunks.append(chunk)
        self._mark(chunk)
        return True

    def _fit(self, work: Work, chunk: Chunk) -> bool:
        if not self._can_take(work, chunk.kind):
            return False
        match chunk.kind:
            case "side" if chunk.value == "IE":
                work.every = True
            case "side":
                if work.side:
                    return False
                work.side = Side(chunk.value)
            case "every":
                work.every = True
            case "number":
                if not self._take_number(work, chunk.number or Decimal(0)):
                    return False
            case "quantity":
                counted = {each.counted_by for each in self._works_of(work.senses)}
                if work.number is not None or chunk.value not in counted:
                    return False
                work.number = chunk.number
            case "cylinders":
                work.cylinders += chunk.cylinders
            case "place" if chunk.place:
                work.places += (chunk.place,)
            case "label":
                work.labels += (chunk.value,)
            case "size":
                if work.size or work.bare:
                    return False
                work.size = chunk.size
        return True

    def _take_number(self, work: Work, number: Decimal) -> bool:
        if not number or work.number is not None or work.bare or work.size:
            return False
        operations = self._works_of(work.senses)
        if operations and all(each.step is not None for each in operations):
            work.bare = f"{number:f}"
        elif number == number.to_integral_value():
            work.number = number
        else:
            return False
        return True

    def _spread_back(self, work: Work, chunk: Chunk) -> None:
        """Let what stands behind work joined by *and* hold for all of it."""
        if work.bare_noun and chunk.kind in ("side", "cylinders", "place"):
            for other in self.said.works:
                if other.chain == work.chain and not other.narrowed:
                    self._narrow(other, chunk)

    def _narrow_by(self, work: Work, chunks: Sequence[Chunk]) -> None:
        """Let *chunks* narrow *work*; what it cannot take waits for the next."""
        for chunk in chunks:
            if chunk.kind == "own":
                work.own = True
                self._mark(chunk)
            elif chunk.kind not in _SELECTORS:
                self._mark(chunk, FILLER)
            elif not self._narrow(work, chunk):
                self.pending.append(chunk)

    # Work.

    def _on_work(self, chunk: Chunk) -> None:
        outside = self.flags.pop("outside", None)
        before = self._beside()
        if outside and before and before.end == outside.end:
            return  # crank grind
        if not self._merged(chunk):
            self._add_work(chunk)

    def _add_work(self, chunk: Chunk, answers: tuple[Answer, ...] = ()) -> None:
        """Take up work, with what was said before it and stands inside it."""
        before, joined = self.current, self.joined
        work = Work(
            chunk.senses,
            chunk.start,
            chunk.end,
            self._words_of(chunk),
            chunk.noun,
            chunk.verb,
            answers,
            chunk.plural,
            self._is_single(chunk),
            bare_noun=bool(chunk.noun and not chunk.verb),
            chunks=[chunk],
        )
        self._mark(chunk, means=self._name(chunk))
        if before is not None and joined == "and":
            self._inherit_verb(work, before)
        self._take_objects(work)
        waiting, self.pending = self.pending, []
        first, *more = _groups(waiting)
        self._narrow_by(work, (*first, *chunk.inner))
        for selector in self.scope if not work.narrowed else ():
            self._narrow(work, selector)
        work.before = work.narrowed
        self._use_flags(work)
        if before is not None and joined == "or" and not work.left_out:
            before.senses = tuple(dict.fromkeys(before.senses + work.senses))
            before.end = work.end
            before.said = self._words_of(before)
            return  # knurl or replace guides: one of them
        if before is not None and joined:
            work.chain = before.chain
            if before.before and work.bare_noun and not work.narrowed:
                self._copy(before, work)
        else:
            self.chain += 1
            work.chain = self.chain
        self.said.works.append(work)
        for chunks in more:
            self._repeat(work, chunks)
        self.current = self.last = work
        self.joined = ""

    def _name(self, chunk: Chunk) -> str:
        return " or ".join(self.book.name(sense) for sense in chunk.senses)

    def _is_single(self, chunk: Chunk) -> bool:
        """Tell whether a part of the head was named by *a*: a guide, an inlet valve."""
        if not chunk.noun or chunk.plural:
            return False
        for word in reversed(self.words[max(chunk.end - 4, 0) : chunk.end - 1]):
            if word.kind == "mark":
                return False
            if word.text in ("a", "an"):
                return True
        return False

    def _take_objects(self, work: Work) -> None:
        """Take up the parts of the head that were named before: valves: grind."""
        before = self._beside()
        if before and before.kind == "head":
            work.nouns.add(before.noun)
        objects, self.objects = self.objects, []
        for chunk in objects:
            if self._is_about(work.senses, chunk.noun):
                work.nouns.add(chunk.noun)
                self._mark(chunk)
            else:
                self._ask_about(chunk)

    def _copy(self, one: Work, other: Work) -> None:
        """Let what stands before one work hold for the next: 2 guides and seats."""
        if self._can_take(other, "side"):
            other.side, other.every = one.side, one.every
            other.cylinders, other.places = one.cylinders, one.places
            if self._can_take(one, "side"):
                other.number = one.number
            other.before = other.narrowed

    def _use_flags(self, work: Work) -> None:
        if self.without_used and not self.joined:
            self.flags.pop("without", None)  # no seals skim 10 thou
        if flag := self.flags.get("without"):
            work.left_out = self.without_used = True
            work.chunks.append(flag)
            self._mark(flag)
        if flag := self.flags.pop("maybe", None):
            work.if_needed = True
            self._mark(flag)
        if flag := self.flags.pop("own", None):
            work.own = True
            self._mark(flag)

    def _inherit_verb(self, work: Work, before: Work) -> None:
        """Read *grind valves and seats* as grinding both."""
        if before.verb and work.noun and not work.verb:
            found = self.book.phrases.find((*before.verb, work.noun))
            if found and all(sense.kind == "operation" for sense in found.senses):
                work.senses, work.verb = found.senses, before.verb

    def _is_about(self, senses: Sequence[Sense], noun: str) -> bool:
        """Tell whether some operation of *senses* is done to a part of the head."""
        return any(self.book.fits(each.code, noun) for each in self._works_of(senses))

    def _merged(self, chunk: Chunk) -> bool:
        """Read a verb and what it is done to as one: guides knurled, knurl the guides.

        The noun alone would be work of its own: new guides. The same said once more is
        merged too: skim the face, shim clearances.
        """
        work = self.current
        if work is None or self.joined or chunk.kind == "part":
            return False
        senses: tuple[Sense, ...] = ()
        verb, noun = work.verb, work.noun
        if noun and not verb and chunk.verb and not chunk.noun:
            senses, verb = self._done_to(work, chunk), chunk.verb
        elif verb and not noun and chunk.noun and not chunk.verb:
            noun = chunk.noun
            senses = tuple(s for s in work.senses if self._is_about([s], noun))
        if not senses and self._touches(work):
            fewer, more = sorted((work.senses, chunk.senses), key=len)
            senses = fewer if set(fewer) <= set(more) else ()
        if not senses:
            return False
        work.senses, work.verb, work.noun = senses, verb, noun
        work.chunks.append(chunk)
        work.end = chunk.end
        work.plural = work.plural or chunk.plural
        work.said = self._words_of(work)
        self._mark(chunk, means=self._name(chunk))
        waiting, self.pending = self.pending, []
        self._narrow_by(work, (*waiting, *chunk.inner))
        return True

    def _done_to(self, work: Work, verb: Chunk) -> tuple[Sense, ...]:
        """Return the senses of a verb that was said behind what it is done to."""
        exact = [
            Sense("operation", operation.code)
            for operation in self._works_of(verb.senses)
            if work.noun in stems(operation.counted_by.replace("_", " "))
        ]
        before = self._beside()
        colon = before is not None and before.kind == "break"
        if not exact and (
            colon or self.words[verb.end - 1].text.endswith(("ed", "ing"))
        ):
            exact = [s for s in verb.senses if self._is_about([s], work.noun)]
        return tuple(exact)

    def _on_object(self, chunk: Chunk) -> None:
        """Take a part of the head to the verb that it belongs to."""
        work = self.current
        chunk = chunk._replace(noun=key(chunk.value)[0])
        own = self.flags.get("own") and self.book.consuming.get(chunk.value)
        verb = work.verb if work is not None and self.joined else ()
        found = self.book.phrases.find((*verb, chunk.noun)) if verb else None
        if own:
            self._add_work(chunk._replace(senses=(Sense("operation", own),)))
        elif found and found.senses[0].kind == "operation":
            self._add_work(chunk._replace(senses=found.senses, verb=verb))
        elif self.joined:
            self._ask_about(chunk)
        elif work is not None and self._is_about(work.senses, chunk.noun):
            work.nouns.add(chunk.noun)
            self._mark(chunk)
            waiting, self.pending = self.pending, []
            self._narrow_by(work, waiting)
        else:
            self.objects.append(chunk)

    def _ask_about_objects(self) -> None:
        objects, self.objects = self.objects, []
        for chunk in objects:
            self._ask_about(chunk)

    def _ask_about(self, chunk: Chunk) -> None:
        """Ask what is to be done to a part of the head that was only named."""
        if answers := self.book.done_to(chunk.noun):
            self._add_work(chunk._replace(senses=(), verb=()), answers)

    def _on_asked(self, chunk: Chunk) -> None:
        self._add_work(chunk._replace(senses=()), self.book.answers[chunk.value])

    def _on_remembered(self, chunk: Chunk) -> None:
        for sense in self.book.senses_of(chunk.value):
            kind = "work" if sense.kind in ("operation", "set") else sense.kind
            if on := self.handlers.get(kind):
                on(chunk._replace(kind=kind, senses=(sense,)))

    def _on_outside(self, chunk: Chunk) -> None:
        """Leave alone what is done to another part of the engine: deck the block."""
        work = self.current
        if work and not self.joined and self._touches(work):
            self.said.works.remove(work)
            for other in work.chunks:
                self._mark(other, NOT_PLACED)
            self.current = None
        else:
            self.flags["outside"] = chunk

    # Left out, only if needed, the customer's own.

    def _on_without(self, chunk: Chunk) -> None:
        self.flags["without"] = chunk
        self.without_used = False

    def _on_maybe(self, chunk: Chunk) -> None:
        if self.current and not self.joined and not self._target():
            self.current.if_needed = True
            self._mark(chunk)
        else:
            self.flags["maybe"] = chunk

    def _on_own(self, chunk: Chunk) -> None:
        if self.current and not self._target():
            self.current.own = True
            self._mark(chunk)
        else:
            self.flags["own"] = chunk

    def _on_fine(self, chunk: Chunk) -> None:
        """Read *guides ok*: they are left alone."""
        work = self.current
        if work and not self.joined and work.noun and not work.verb:
            work.left_out = True
            self._mark(chunk)
        elif work is None:
            self._mark(chunk, FILLER)

    def _on_named(self, _: Chunk) -> None:
        """Leave a thing that no work is done to, and how many of it there are."""
        self._forget_numbers()

    def _forget_numbers(self) -> None:
        self.pending = [chunk for chunk in self.pending if chunk.kind != "number"]

    # Heads.

    def _on_of_heads(self, chunk: Chunk) -> None:
        if chunk.kind == "material" and self._is_of_a_part(chunk):
            return
        if chunk.kind == "arrangement" and chunk.value == "single" and self._target():
            self._on_selector(chunk._replace(kind="number", number=ONE))
            return
        senses: Sequence[Sense] = chunk.senses
        flag = self.flags.get("without")
        if flag and chunk.kind == "fuel":
            other = "petrol" if chunk.value == "diesel" else "diesel"
            senses = (Sense("fuel", other),)
            del self.flags["without"]
            self._mark(flag)
        self.said.of_heads += senses
        self.said.of_a_head = True
        self._forget_numbers()
        means = " or ".join(f"{sense.kind} {sense.value}" for sense in senses)
        self._mark(chunk, means=means)

    def _is_of_a_part(self, material: Chunk) -> bool:
        """Tell *iron guides* from an iron head."""
        before, after = self._beside(), self._after()
        of_head = before is not None and before.kind in OF_HEADS
        of_part = after is not None and after.noun in _GUIDE_OR_SEAT
        return material.value in _MATERIALS_OF_PARTS and of_part and not of_head

    def _on_head(self, chunk: Chunk) -> None:
        self.said.of_a_head = True
        self._forget_numbers()
        self._mark(chunk)
        work = self.current
        if work and not self.joined and self._is_about(work.senses, chunk.noun):
            work.nouns.add(chunk.noun)
        if chunk.plural and not self.said.heads:
            self.said.heads = "all"

    def _on_heads(self, chunk: Chunk) -> None:
        """Read both heads, 2 heads; but *both* guides are all, *a pair of* them two."""
        target = self._target()
        word = self.words[chunk.start].text
        alone = chunk.number is None and chunk.end == chunk.start + 1
        before = self._beside()
        of_head = before is not None and before.kind in OF_HEADS | {"head"}
        part = target and (target.kind == "object" or self._counts_places(target))
        if alone and word == "both" and part and not of_head:
            self._on_selector(chunk._replace(kind="every", senses=()))
        elif alone and word == "pair" and part:
            self._on_selector(chunk._replace(kind="number", number=Decimal(2)))
        else:
            heads = chunk.value if chunk.number is None else str(chunk.number)
            self._set_heads(chunk, heads)

    def _set_heads(self, chunk: Chunk, heads: str) -> None:
        self.said.heads = heads
        self.said.of_a_head = True
        self._mark(chunk, means=f"{heads} heads")

    def _on_times(self, chunk: Chunk) -> None:
        """Read guides x3, 3x guides; of anything else that many heads."""
        target, work = self._target(), self.current
        number = chunk._replace(kind="number")
        ahead = target is not None and self._counts_places(target)
        if ahead and chunk.value == "before":
            self._on_selector(number)
        elif not (
            work is not None
            and not self.joined
            and self._counts_places(work)
            and self._narrow(work, number)
        ):
            self._set_heads(chunk, str(chunk.number))

    def _on_condition(self, chunk: Chunk) -> None:
        words = set(chunk.value.split())
        if flag := self.flags.pop("without", None):
            words = {_OPPOSITES[word] for word in words if word in _OPPOSITES}
            self._mark(flag)
        self.said.conditions |= words
        self.said.of_a_head = True
        self._mark(chunk, means=" ".join(sorted(words)))

    def _on_fact(self, chunk: Chunk) -> None:
        name, word, *side = chunk.value.split()
        self.said.facts.append((name, word, side[0] if side else ""))
        self.said.of_a_head = True
        self._mark(chunk, means=f"{name}: {word}")

    # Why, when, for whom, for how much.

    def _on_reason(self, chunk: Chunk) -> None:
        if flag := self.flags.pop("without", None):
            self._mark(flag)
        else:
            self.said.reasons.append(chunk.value)
            self.said.of_a_head = True
        self._mark(chunk, means=self._name(chunk))

    def _on_rush(self, chunk: Chunk) -> None:
        if flag := self.flags.pop("without", None):
            self._mark(flag)
        else:
            self.said.rush = chunk.value
        self._mark(chunk, means=self._name(chunk))

    def _on_day(self, chunk: Chunk) -> None:
        word = self._words_of(chunk)
        if not self.edition.rush:
            return
        self._mark(chunk, ASKED)
        answer = self.answered.get(key(word))
        if answer is not None:
            self.said.rush = answer if answer in self.edition.rush else ""
            return
        levels = [(code, rush.name) for code, rush in self.edition.rush.items()]
        text = f"{word}: is that a rush?"
        choices = (*levels, ("none", "no rush"))
        self.said.questions.append(Question(word, text, choices))

    def _on_trade(self, chunk: Chunk) -> None:
        self.said.trade = self._words_of(chunk)
        self._mark(chunk, ASKED)

    def _on_call_it(self, chunk: Chunk) -> None:
        if chunk.number is None or chunk.number % self.edition.currency.unit:
            self._mark(chunk, NOT_PLACED)
            return
        self.said.price = chunk
        self._mark(chunk)

    # Sizes.

    def _on_tenths(self, chunk: Chunk) -> None:
        """Ask whose tenths: of a millimetre, or of a thou."""
        said, number = self._words_of(chunk), chunk.number or ONE
        metric = parse_length(f"{number / 10:f}", "mm")
        imperial = parse_length(f"{number / 10_000:f}", "in")
        answer = self.answered.get(key(said)) or self.answered.get(_TENTH)
        if answer in ("mm", "in"):
            size = metric if answer == "mm" else imperial
            self._on_selector(chunk._replace(kind="size", size=size))
            return
        self._mark(chunk, ASKED)
        text = f"{said}: tenths of a millimetre, or of a thou?"
        choices = (("mm", metric.in_both_units), ("in", imperial.in_both_units))
        self.said.questions.append(Question(said, text, choices))

    def _place(self, chunk: Chunk) -> None:
        """Give a size or quantity that stands alone to the work that can take it."""
        for work in self.said.works:
            if self._narrow(work, chunk):
                return
        code = self.book.sized
        implied = any(code in self.book.proposed(r) for r in self.said.reasons)
        behind = self.words[chunk.end].text if chunk.end < len(self.words) else ""
        if chunk.kind == "size" and code and (implied or behind == "off"):
            self.joined = ""
            self._add_work(chunk._replace(senses=(Sense("operation", code),)))
            self.said.works[-1].size = chunk.size

    # The rest.

    def _on_filler(self, chunk: Chunk) -> None:
        self._mark(chunk, FILLER)

    def _on_unknown(self, chunk: Chunk) -> None:
        word, raw = self.words[chunk.start], self._words_of(chunk)
        near: tuple[str, ...]
        if word.kind == "unclear" and "," in raw:
            near = (raw.replace(",", "."),)
        elif word.kind == "unclear":
            near = (raw.replace(".", ""), raw.replace(".", ","))
        else:
            near = self.book.near(word.text) if word.kind == "word" else ()
        if near:
            text = f"{raw}: did you mean {' or '.join(near)}?"
            choices = tuple((each, each) for each in near)
            self.said.questions.append(Question(raw, text, choices))


_TENTH = key("tenth")


def _groups(chunks: Sequence[Chunk]) -> list[list[Chunk]]:
    """Part chunks where they are joined: 2 exhaust and 3 inlet."""
    groups: list[list[Chunk]] = [[]]
    for chunk in chunks:
        if chunk.kind == "join":
            groups.append([])
        else:
            groups[-1].append(chunk)
    return groups


def _takes(operation: Operation, kind: str) -> bool:
    by = COUNTS[operation.counted_by].by
    match kind:
        case "side" | "place":
            return by == "position"
        case "cylinders":
            return by in ("position", "cylinder")
        case "every":
            return by not in ("job", "chosen", "measured")
        case "number":
            counted = by != "job" and operation.counted_by != "head"
            return counted or operation.step is not None
        case "size":
            return operation.step is not None
    return by == "measured"  # quantity
