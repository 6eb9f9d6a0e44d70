"""From terms to what is asked for, before any head is chosen.

Pure. Within a clause sides, counts, cylinders and sizes go to the work that they stand
beside: *3 exhaust guides*, *guides exhaust*. What stands before or behind work that is
joined by *and* holds for all of it. Commas, semicolons and colons end a clause.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS, Side
from quoting.domain.hearing import OF_HEADS, Place, Sense, Term, key
from quoting.domain.lengths import MM_PER_INCH, Length
from quoting.domain.money import ONE, round_to
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


def both(size: Length) -> str:
    """Return *size* as it was typed, and in the other unit.

    >>> both(Length(Decimal("0.254"), "10 thou"))
    '10 thou = 0.254 mm'
    >>> both(Length(Decimal("0.10"), "0.10 mm"))
    '0.10 mm ≈ 0.0039 in'
    """
    if _METRIC.search(size.typed):
        inches = round_to(size.inches, _TENTH_THOU)
        sign = "=" if inches * MM_PER_INCH == size.mm else "≈"
        return f"{size.typed} {sign} {inches:f} in"
    return f"{size.typed} = {size.mm.normalize():f} mm"


_METRIC = re.compile("mm|millim|micron|hundredth", re.IGNORECASE)
_TENTH_THOU = Decimal("0.0001")


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
        terms: everything that was said of it.
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
    terms: list[Term] = field(default_factory=list)
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
    price: Term | None = None
    questions: list[Question] = field(default_factory=list)
    of_a_head: bool = False


def listen(
    text: str,
    words: Sequence[Word],
    terms: Sequence[Term],
    edition: Edition,
    book: Vocabulary,
    answered: Mapping[tuple[str, ...], str],
) -> Spoken:
    """Return what *terms* ask for.

    Args:
        text: that was said.
        words: of the text.
        terms: that were heard in them.
        edition: whose tables they are about.
        book: its vocabulary.
        answered: answers to earlier questions, by the key of the word.
    """
    return _Listener(text, words, terms, edition, book, answered).listen()


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
        terms: Sequence[Term],
        edition: Edition,
        book: Vocabulary,
        answered: Mapping[tuple[str, ...], str],
    ) -> None:
        self.text, self.words, self.terms = text, words, terms
        self.edition, self.book, self.answered = edition, book, answered
        self.operations = edition.operations
        self.said = Spoken([NOT_PLACED] * len(words), [""] * len(words))
        self.at = -1
        self.chain = 0
        self.current: Work | None = None  # of this clause
        self.last: Work | None = None
        self.joined = ""
        self.pending: list[Term] = []  # what narrows work that is still to come
        self.objects: list[Term] = []  # parts of the head, still without a verb
        self.flags: dict[str, Term] = {}  # without, maybe, own: still to be used
        self.without_used = False
        self.named_first = False
        self.loose: list[Term] = []
        self.scope: list[Term] = []  # what narrows all that follows a colon
        self.heard: Mapping[str, Callable[[Term], None]] = {
            "asked": self.on_asked,
            "break": self.on_break,
            "call_it": self.on_call_it,
            "condition": self.on_condition,
            "day": self.on_day,
            "fact": self.on_fact,
            "filler": self.on_filler,
            "fine": self.on_fine,
            "head": self.on_head,
            "heads": self.on_heads,
            "join": self.on_join,
            "maybe": self.on_maybe,
            "named": self.on_named,
            "object": self.on_object,
            "outside": self.on_outside,
            "own": self.on_own,
            "part": self.on_work,
            "private": self.on_filler,
            "quiet": self.on_filler,
            "reason": self.on_reason,
            "remembered": self.on_remembered,
            "rush": self.on_rush,
            "tenths": self.on_tenths,
            "times": self.on_times,
            "trade": self.on_trade,
            "unknown": self.on_unknown,
            "without": self.on_without,
            "work": self.on_work,
            **dict.fromkeys(_SELECTORS, self.on_selector),
            **dict.fromkeys(OF_HEADS, self.on_of_heads),
        }

    def listen(self) -> Spoken:
        self.open_clause()
        for at, term in enumerate(self.terms):
            self.at = at
            if on := self.heard.get(term.kind):
                on(term)
        self.close_clause("")
        for term in self.loose:
            self.place(term)
        return self.said

    # Marking words, and looking around.

    def words_of(self, of: Term | Work) -> str:
        return self.text[self.words[of.start].start : self.words[of.end - 1].end]

    def mark(self, term: Term, how: str = UNDERSTOOD, means: str = "") -> None:
        for at in range(term.start, term.end):
            if self.said.how[at] == NOT_PLACED or how == NOT_PLACED:
                self.said.how[at] = how
                self.said.means[at] = means or self.words_of(term)

    def beside(self) -> Term | None:
        """Return the term right before this one, fillers apart."""
        before = (self.terms[at] for at in range(self.at - 1, -1, -1))
        return next((term for term in before if term.kind not in _LIGHT), None)

    def after(self) -> Term | None:
        return self.terms[self.at + 1] if self.at + 1 < len(self.terms) else None

    def target(self) -> Term | None:
        """Return the work ahead that what is said now may belong to."""
        for term in self.terms[self.at + 1 :]:
            if term.kind not in _ON_THE_WAY:
                return term if term.kind in _TARGETS else None
        return None

    def touches(self, work: Work) -> bool:
        """Tell whether nothing but fillers stands between *work* and this term."""
        before = self.beside()
        return before is not None and before.end == work.end

    def works_of(self, senses: Sequence[Sense]) -> list[Operation]:
        return [self.operations[s.value] for s in senses if s.kind == "operation"]

    # Clauses.

    def open_clause(self) -> None:
        self.current, self.joined, self.flags = None, "", {}
        self.without_used = False
        shape = []
        for term in self.terms[self.at + 1 :]:
            if term.kind == "break":
                break
            if term.kind in _SHAPING:
                shape.append(term.kind != "work")
        #: guides 3 seats 4: what narrows work stands behind it.
        self.named_first = len(shape) > 1 and not shape[0] and shape[-1]

    def close_clause(self, mark: str) -> None:
        waiting, self.pending = self.pending, []
        if mark in _ENDS:
            self.scope = []
        if mark == ":" and self.current is None:
            self.scope = waiting  # cylinder 3: guides, seats
            return
        self.ask_about_objects()
        work, left = self.last, []
        for term in waiting:
            if term.kind in _MEASURES:
                self.loose.append(term)
            elif term.kind == "every" and not (work and self.can_take(work, "every")):
                self.mark(term, FILLER)  # skim 5 thou each
            else:
                left.append(term)
        if self.current is None and not any(term.kind in _WHERE for term in left):
            return  # a mere number is no news of the clause before
        if work is None:
            self.pending = [term for term in left if term.kind in _AHEAD]
        elif not work.left_out:
            first, *more = _groups(left)
            if not self.narrow_all(work, first):
                self.repeat(work, first)
            for terms in more:
                self.repeat(work, terms)

    def narrow_all(self, work: Work, terms: Sequence[Term]) -> bool:
        """Let all of *terms* narrow *work*, or none of them."""
        trial = replace(work, terms=[*work.terms])
        if not all(self.fit(trial, term) for term in terms):
            return False
        for term in terms:
            self.narrow(work, term)
        return True

    def repeat(self, work: Work, terms: Sequence[Term]) -> None:
        """Read *seats 4 exhaust, 4 inlet*: the same work once more."""
        again = Work(work.senses, work.start, work.end, work.said, work.noun, work.verb)
        telling = any(term.kind in _WHERE for term in terms)
        if work.senses and telling and self.narrow_all(again, terms):
            again.chain = work.chain
            self.said.works.append(again)
            self.last = again

    def on_break(self, term: Term) -> None:
        self.close_clause(term.value)
        self.mark(term, FILLER)
        work = self.current
        self.open_clause()
        if term.value == ":" and work is not None and not work.verb:
            self.current = work  # guides: knurl

    def on_join(self, term: Term) -> None:
        self.mark(term, FILLER)
        if self.pending:
            self.pending.append(term)  # 2 exhaust and 3 inlet guides
        elif self.current is not None:
            self.joined = term.value
        flag = self.flags.get("without")
        if flag and self.without_used and term.value == "and" and flag.value != "and":
            del self.flags["without"]  # no seals and skim it

    # What narrows work.

    def can_take(self, work: Work | Term, kind: str) -> bool:
        senses = work.senses
        if isinstance(work, Work) and work.answers:
            senses = tuple(s for answer in work.answers for s in answer.senses)
        kinds = {sense.kind for sense in senses}
        if kind == "label":
            return bool(kinds & {"operation", "set"})
        if kind == "number" and "part" in kinds:
            return True
        operations = self.works_of(senses)
        if kind == "size":
            operations = operations + [
                self.operations[code]
                for sense in senses
                if sense.kind == "set"
                for code in self.edition.sets[sense.value].operations
            ]
        return any(_takes(operation, kind) for operation in operations)

    def on_selector(self, term: Term) -> None:
        if term.kind == "label":
            self.said.labels.append(term.value)
            self.mark(term, means=term.value)
        if term.kind == "number" and (
            self.counts_cylinders(term) or self.counts_heads(term)
        ):
            return
        work = self.current
        if work and not self.pending and self.lists_on(work, term):
            self.joined = ""
            self.narrow(work, term)
        elif (
            work is None or self.joined or self.pending or self.is_for_next(work, term)
        ):
            self.pending.append(term)
        elif self.narrow(work, term):
            self.spread_back(work, term)
        else:
            self.pending.append(term)

    def lists_on(self, work: Work, term: Term) -> bool:
        """Read *guides 1E and 3E*: one more of the same kind."""
        same = term.kind in ("place", "cylinders") and term.kind == work.terms[-1].kind
        return same and self.target() is None

    def is_for_next(self, work: Work, term: Term) -> bool:
        """Tell whether what stands between two works belongs to the second.

        *seats 3 guides* has three guides, and *exhaust guides inlet seats* inlet seats;
        but *guides exhaust seats* has exhaust guides.
        """
        if self.named_first or term.kind not in _SHAPING:
            return False
        target = self.target()
        if target is None or not self.can_take(target, term.kind):
            return False
        return work.before or term.kind == "number"

    def counts_cylinders(self, number: Term) -> bool:
        """Read *truck six*, *pushrod four*: a word for a head, then its cylinders."""
        before = self.terms[self.at - 1] if self.at else None
        after = self.after()
        if before is None or before.kind not in OF_HEADS or before.kind == "layout":
            return False
        if any(sense.kind == "engine" for sense in self.said.of_heads):
            return False
        if after and (after.kind in _COUNTABLE or self.counts_places(after)):
            return False
        if number.number not in _ENGINES:
            return False
        cylinders = f"{number.number:.0f}"
        self.said.of_heads.append(Sense("engine", f" {cylinders}"))
        self.mark(number, means=f"{cylinders} cylinders")
        return True

    def counts_heads(self, number: Term) -> bool:
        """Read *2 bare heads*: a number, words for heads, and heads."""
        if self.current is not None and not self.joined:
            return False
        for term in self.terms[self.at + 1 :]:
            if term.kind == "head" and term.plural:
                self.set_heads(number, str(number.number))
                return True
            if term.kind not in OF_HEADS and term.kind not in ("condition", "filler"):
                return False
        return False

    def counts_places(self, work: Work | Term) -> bool:
        """Tell whether a number may say how many of a part *work* is done to."""
        return any(sense.kind == "part" for sense in work.senses) or any(
            operation.step is None and _takes(operation, "number")
            for operation in self.works_of(work.senses)
        )

    def narrow(self, work: Work, term: Term) -> bool:
        """Let *term* narrow *work*; False where it cannot."""
        if not self.fit(work, term):
            return False
        work.terms.append(term)
        self.mark(term)
        return True

    def fit(self, work: Work, term: Term) -> bool:
        if not self.can_take(work, term.kind):
            return False
        match term.kind:
            case "side" if term.value == "IE":
                work.every = True
            case "side":
                if work.side:
                    return False
                work.side = Side(term.value)
            case "every":
                work.every = True
            case "number":
                if not self.take_number(work, term.number or Decimal(0)):
                    return False
            case "quantity":
                counted = {each.counted_by for each in self.works_of(work.senses)}
                if work.number is not None or term.value not in counted:
                    return False
                work.number = term.number
            case "cylinders":
                work.cylinders += term.cylinders
            case "place" if term.place:
                work.places += (term.place,)
            case "label":
                work.labels += (term.value,)
            case "size":
                if work.size or work.bare:
                    return False
                work.size = term.size
        return True

    def take_number(self, work: Work, number: Decimal) -> bool:
        if not number or work.number is not None or work.bare or work.size:
            return False
        operations = self.works_of(work.senses)
        if operations and all(each.step is not None for each in operations):
            work.bare = f"{number:f}"
        elif number == number.to_integral_value():
            work.number = number
        else:
            return False
        return True

    def spread_back(self, work: Work, term: Term) -> None:
        """Let what stands behind work joined by *and* hold for all of it."""
        if work.bare_noun and term.kind in ("side", "cylinders", "place"):
            for other in self.said.works:
                if other.chain == work.chain and not other.narrowed:
                    self.narrow(other, term)

    def narrow_by(self, work: Work, terms: Sequence[Term]) -> None:
        """Let *terms* narrow *work*; what it cannot take waits for the next."""
        for term in terms:
            if term.kind == "own":
                work.own = True
                self.mark(term)
            elif term.kind not in _SELECTORS:
                self.mark(term, FILLER)
            elif not self.narrow(work, term):
                self.pending.append(term)

    # Work.

    def on_work(self, term: Term) -> None:
        outside = self.flags.pop("outside", None)
        before = self.beside()
        if outside and before and before.end == outside.end:
            return  # crank grind
        if not self.merged(term):
            self.add_work(term)

    def add_work(self, term: Term, answers: tuple[Answer, ...] = ()) -> None:
        """Take up work, with what was said before it and stands inside it."""
        before, joined = self.current, self.joined
        work = Work(
            term.senses,
            term.start,
            term.end,
            self.words_of(term),
            term.noun,
            term.verb,
            answers,
            term.plural,
            self.is_single(term),
            bare_noun=bool(term.noun and not term.verb),
            terms=[term],
        )
        self.mark(term, means=self.name(term))
        if before is not None and joined == "and":
            self.inherit_verb(work, before)
        self.take_objects(work)
        waiting, self.pending = self.pending, []
        first, *more = _groups(waiting)
        self.narrow_by(work, (*first, *term.inner))
        for selector in self.scope if not work.narrowed else ():
            self.narrow(work, selector)
        work.before = work.narrowed
        self.use_flags(work)
        if before is not None and joined == "or" and not work.left_out:
            before.senses = tuple(dict.fromkeys(before.senses + work.senses))
            before.end = work.end
            before.said = self.words_of(before)
            return  # knurl or replace guides: one of them
        if before is not None and joined:
            work.chain = before.chain
            if before.before and work.bare_noun and not work.narrowed:
                self.copy(before, work)
        else:
            self.chain += 1
            work.chain = self.chain
        self.said.works.append(work)
        for terms in more:
            self.repeat(work, terms)
        self.current = self.last = work
        self.joined = ""

    def name(self, term: Term) -> str:
        return " or ".join(self.book.name(sense) for sense in term.senses)

    def is_single(self, term: Term) -> bool:
        """Tell whether a part of the head was named by *a*: a guide, an inlet valve."""
        if not term.noun or term.plural:
            return False
        for word in reversed(self.words[max(term.end - 4, 0) : term.end - 1]):
            if word.kind == "mark":
                return False
            if word.text in ("a", "an"):
                return True
        return False

    def take_objects(self, work: Work) -> None:
        """Take up the parts of the head that were named before: valves: grind."""
        before = self.beside()
        if before and before.kind == "head":
            work.nouns.add(before.noun)
        objects, self.objects = self.objects, []
        for term in objects:
            if self.is_about(work.senses, term.noun):
                work.nouns.add(term.noun)
                self.mark(term)
            else:
                self.ask_about(term)

    def copy(self, one: Work, other: Work) -> None:
        """Let what stands before one work hold for the next: 2 guides and seats."""
        if self.can_take(other, "side"):
            other.side, other.every = one.side, one.every
            other.cylinders, other.places = one.cylinders, one.places
            if self.can_take(one, "side"):
                other.number = one.number
            other.before = other.narrowed

    def use_flags(self, work: Work) -> None:
        if self.without_used and not self.joined:
            self.flags.pop("without", None)  # no seals skim 10 thou
        if flag := self.flags.get("without"):
            work.left_out = self.without_used = True
            work.terms.append(flag)
            self.mark(flag)
        if flag := self.flags.pop("maybe", None):
            work.if_needed = True
            self.mark(flag)
        if flag := self.flags.pop("own", None):
            work.own = True
            self.mark(flag)

    def inherit_verb(self, work: Work, before: Work) -> None:
        """Read *grind valves and seats* as grinding both."""
        if before.verb and work.noun and not work.verb:
            found = self.book.phrases.find((*before.verb, work.noun))
            if found and all(sense.kind == "operation" for sense in found.senses):
                work.senses, work.verb = found.senses, before.verb

    def is_about(self, senses: Sequence[Sense], noun: str) -> bool:
        """Tell whether some operation of *senses* is done to a part of the head."""
        return any(self.book.fits(each.code, noun) for each in self.works_of(senses))

    def merged(self, term: Term) -> bool:
        """Read a verb and what it is done to as one: guides knurled, knurl the guides.

        The noun alone would be work of its own: new guides. The same said once more is
        merged too: skim the face, shim clearances.
        """
        work = self.current
        if work is None or self.joined or term.kind == "part":
            return False
        senses: tuple[Sense, ...] = ()
        verb, noun = work.verb, work.noun
        if noun and not verb and term.verb and not term.noun:
            senses, verb = self.done_to(work, term), term.verb
        elif verb and not noun and term.noun and not term.verb:
            noun = term.noun
            senses = tuple(s for s in work.senses if self.is_about([s], noun))
        if not senses and self.touches(work):
            fewer, more = sorted((work.senses, term.senses), key=len)
            senses = fewer if set(fewer) <= set(more) else ()
        if not senses:
            return False
        work.senses, work.verb, work.noun = senses, verb, noun
        work.terms.append(term)
        work.end = term.end
        work.plural = work.plural or term.plural
        work.said = self.words_of(work)
        self.mark(term, means=self.name(term))
        waiting, self.pending = self.pending, []
        self.narrow_by(work, (*waiting, *term.inner))
        return True

    def done_to(self, work: Work, verb: Term) -> tuple[Sense, ...]:
        """Return the senses of a verb that was said behind what it is done to."""
        exact = [
            Sense("operation", operation.code)
            for operation in self.works_of(verb.senses)
            if work.noun in stems(operation.counted_by.replace("_", " "))
        ]
        before = self.beside()
        colon = before is not None and before.kind == "break"
        if not exact and (
            colon or self.words[verb.end - 1].text.endswith(("ed", "ing"))
        ):
            exact = [s for s in verb.senses if self.is_about([s], work.noun)]
        return tuple(exact)

    def on_object(self, term: Term) -> None:
        """Take a part of the head to the verb that it belongs to."""
        work = self.current
        term = term._replace(noun=key(term.value)[0])
        own = self.flags.get("own") and self.book.consuming.get(term.value)
        verb = work.verb if work is not None and self.joined else ()
        found = self.book.phrases.find((*verb, term.noun)) if verb else None
        if own:
            self.add_work(term._replace(senses=(Sense("operation", own),)))
        elif found and found.senses[0].kind == "operation":
            self.add_work(term._replace(senses=found.senses, verb=verb))
        elif self.joined:
            self.ask_about(term)
        elif work is not None and self.is_about(work.senses, term.noun):
            work.nouns.add(term.noun)
            self.mark(term)
            waiting, self.pending = self.pending, []
            self.narrow_by(work, waiting)
        else:
            self.objects.append(term)

    def ask_about_objects(self) -> None:
        objects, self.objects = self.objects, []
        for term in objects:
            self.ask_about(term)

    def ask_about(self, term: Term) -> None:
        """Ask what is to be done to a part of the head that was only named."""
        if answers := self.book.done_to(term.noun):
            self.add_work(term._replace(senses=(), verb=()), answers)

    def on_asked(self, term: Term) -> None:
        self.add_work(term._replace(senses=()), self.book.answers[term.value])

    def on_remembered(self, term: Term) -> None:
        for sense in self.book.senses_of(term.value):
            kind = "work" if sense.kind in ("operation", "set") else sense.kind
            if on := self.heard.get(kind):
                on(term._replace(kind=kind, senses=(sense,)))

    def on_outside(self, term: Term) -> None:
        """Leave alone what is done to another part of the engine: deck the block."""
        work = self.current
        if work and not self.joined and self.touches(work):
            self.said.works.remove(work)
            for other in work.terms:
                self.mark(other, NOT_PLACED)
            self.current = None
        else:
            self.flags["outside"] = term

    # Left out, only if needed, the customer's own.

    def on_without(self, term: Term) -> None:
        self.flags["without"] = term
        self.without_used = False

    def on_maybe(self, term: Term) -> None:
        if self.current and not self.joined and not self.target():
            self.current.if_needed = True
            self.mark(term)
        else:
            self.flags["maybe"] = term

    def on_own(self, term: Term) -> None:
        if self.current and not self.target():
            self.current.own = True
            self.mark(term)
        else:
            self.flags["own"] = term

    def on_fine(self, term: Term) -> None:
        """Read *guides ok*: they are left alone."""
        work = self.current
        if work and not self.joined and work.noun and not work.verb:
            work.left_out = True
            self.mark(term)
        elif work is None:
            self.mark(term, FILLER)

    def on_named(self, _: Term) -> None:
        """Leave a thing that no work is done to, and how many of it there are."""
        self.forget_numbers()

    def forget_numbers(self) -> None:
        self.pending = [term for term in self.pending if term.kind != "number"]

    # Heads.

    def on_of_heads(self, term: Term) -> None:
        if term.kind == "material" and self.is_of_a_part(term):
            return
        if term.kind == "arrangement" and term.value == "single" and self.target():
            self.on_selector(term._replace(kind="number", number=ONE))
            return
        senses: Sequence[Sense] = term.senses
        flag = self.flags.get("without")
        if flag and term.kind == "fuel":
            other = "petrol" if term.value == "diesel" else "diesel"
            senses = (Sense("fuel", other),)
            del self.flags["without"]
            self.mark(flag)
        self.said.of_heads += senses
        self.said.of_a_head = True
        self.forget_numbers()
        means = " or ".join(f"{sense.kind} {sense.value}" for sense in senses)
        self.mark(term, means=means)

    def is_of_a_part(self, material: Term) -> bool:
        """Tell *iron guides* from an iron head."""
        before, after = self.beside(), self.after()
        of_head = before is not None and before.kind in OF_HEADS
        of_part = after is not None and after.noun in _GUIDE_OR_SEAT
        return material.value in _MATERIALS_OF_PARTS and of_part and not of_head

    def on_head(self, term: Term) -> None:
        self.said.of_a_head = True
        self.forget_numbers()
        self.mark(term)
        work = self.current
        if work and not self.joined and self.is_about(work.senses, term.noun):
            work.nouns.add(term.noun)
        if term.plural and not self.said.heads:
            self.said.heads = "all"

    def on_heads(self, term: Term) -> None:
        """Read both heads, 2 heads; but *both* guides are all, *a pair of* them two."""
        target = self.target()
        word = self.words[term.start].text
        alone = term.number is None and term.end == term.start + 1
        before = self.beside()
        of_head = before is not None and before.kind in OF_HEADS | {"head"}
        part = target and (target.kind == "object" or self.counts_places(target))
        if alone and word == "both" and part and not of_head:
            self.on_selector(term._replace(kind="every", senses=()))
        elif alone and word == "pair" and part:
            self.on_selector(term._replace(kind="number", number=Decimal(2)))
        else:
            heads = term.value if term.number is None else str(term.number)
            self.set_heads(term, heads)

    def set_heads(self, term: Term, heads: str) -> None:
        self.said.heads = heads
        self.said.of_a_head = True
        self.mark(term, means=f"{heads} heads")

    def on_times(self, term: Term) -> None:
        """Read guides x3, 3x guides; of anything else that many heads."""
        target, work = self.target(), self.current
        number = term._replace(kind="number")
        ahead = target is not None and self.counts_places(target)
        if ahead and term.value == "before":
            self.on_selector(number)
        elif not (
            work is not None
            and not self.joined
            and self.counts_places(work)
            and self.narrow(work, number)
        ):
            self.set_heads(term, str(term.number))

    def on_condition(self, term: Term) -> None:
        words = set(term.value.split())
        if flag := self.flags.pop("without", None):
            words = {_OPPOSITES[word] for word in words if word in _OPPOSITES}
            self.mark(flag)
        self.said.conditions |= words
        self.said.of_a_head = True
        self.mark(term, means=" ".join(sorted(words)))

    def on_fact(self, term: Term) -> None:
        name, word, *side = term.value.split()
        self.said.facts.append((name, word, side[0] if side else ""))
        self.said.of_a_head = True
        self.mark(term, means=f"{name}: {word}")

    # Why, when, for whom, for how much.

    def on_reason(self, term: Term) -> None:
        if flag := self.flags.pop("without", None):
            self.mark(flag)
        else:
            self.said.reasons.append(term.value)
            self.said.of_a_head = True
        self.mark(term, means=self.name(term))

    def on_rush(self, term: Term) -> None:
        if flag := self.flags.pop("without", None):
            self.mark(flag)
        else:
            self.said.rush = term.value
        self.mark(term, means=self.name(term))

    def on_day(self, term: Term) -> None:
        word = self.words_of(term)
        if not self.edition.rush:
            return
        self.mark(term, ASKED)
        answer = self.answered.get(key(word))
        if answer is not None:
            self.said.rush = answer if answer in self.edition.rush else ""
            return
        levels = [(code, rush.name) for code, rush in self.edition.rush.items()]
        text = f"{word}: is that a rush?"
        choices = (*levels, ("none", "no rush"))
        self.said.questions.append(Question(word, text, choices))

    def on_trade(self, term: Term) -> None:
        self.said.trade = self.words_of(term)
        self.mark(term, ASKED)

    def on_call_it(self, term: Term) -> None:
        self.said.price = term
        self.mark(term)

    # Sizes.

    def on_tenths(self, term: Term) -> None:
        """Ask whose tenths: of a millimetre, or of a thou."""
        said, number = self.words_of(term), term.number or ONE
        metric = Length(number / 10, f"{number / 10} mm")
        inches = number / 10000
        imperial = Length(inches * MM_PER_INCH, f"{inches:f} in")
        answer = self.answered.get(key(said)) or self.answered.get(_TENTH)
        if answer in ("mm", "in"):
            size = metric if answer == "mm" else imperial
            self.on_selector(term._replace(kind="size", size=size))
            return
        self.mark(term, ASKED)
        text = f"{said}: tenths of a millimetre, or of a thou?"
        choices = (("mm", both(metric)), ("in", both(imperial)))
        self.said.questions.append(Question(said, text, choices))

    def place(self, term: Term) -> None:
        """Give a size or quantity that stands alone to the work that can take it."""
        for work in self.said.works:
            if self.narrow(work, term):
                return
        code = self.book.sized
        implied = any(code in self.book.proposed(r) for r in self.said.reasons)
        behind = self.words[term.end].text if term.end < len(self.words) else ""
        if term.kind == "size" and code and (implied or behind == "off"):
            self.joined = ""
            self.add_work(term._replace(senses=(Sense("operation", code),)))
            self.said.works[-1].size = term.size

    # The rest.

    def on_filler(self, term: Term) -> None:
        self.mark(term, FILLER)

    def on_unknown(self, term: Term) -> None:
        word, raw = self.words[term.start], self.words_of(term)
        if word.kind == "unclear":
            near: tuple[str, ...] = (raw.replace(",", "."),)
        else:
            near = self.book.near(word.text) if word.kind == "word" else ()
        if near:
            text = f"{raw}: did you mean {' or '.join(near)}?"
            choices = tuple((each, each) for each in near)
            self.said.questions.append(Question(raw, text, choices))


_TENTH = key("tenth")


def _groups(terms: Sequence[Term]) -> list[list[Term]]:
    """Part terms where they are joined: 2 exhaust and 3 inlet."""
    groups: list[list[Term]] = [[]]
    for term in terms:
        if term.kind == "join":
            groups.append([])
        else:
            groups[-1].append(term)
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
