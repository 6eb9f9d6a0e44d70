"""The say-it line: from what a caller says in shop words to the job it means.

Pure. ``say`` gives one job, or candidates side by side where half a description fits
several heads. Nothing is dropped: every word is understood, asked about, a filler, or
shown back as not placed. Nothing dangerous is chosen: what fits several kinds of work
is settled by what stands beside it and by the head, else asked, and the shop's answer
comes in again as *remembered*. Sizes are echoed in both units.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import islice
from typing import NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.head import COUNTS, SIDES, Head, Layout, Position, Side, tags
from quoting.domain.hearing import Chunk, Node, Place, Sense, hear, key
from quoting.domain.job import (
    Asked,
    AskedPart,
    AskedSet,
    Job,
    OwnPrice,
    Selection,
    agreed_prices,
)
from quoting.domain.lengths import Length, parse_length
from quoting.domain.money import ONE
from quoting.domain.rates import Operation, Part, Terms, narrowest
from quoting.domain.spoken import (
    ASKED,
    FILLER,
    NOT_PLACED,
    UNDERSTOOD,
    Question,
    Spoken,
    Work,
    listen,
)
from quoting.domain.vocabulary import Vocabulary, vocabulary
from quoting.domain.which_head import (
    FACTS_OF_HEADS,
    fits,
    fitting,
    labels,
    nearest,
)
from quoting.domain.words import Word, split
from quoting.domain.work import Plan, RefusedError, plan

MOST_CANDIDATES = 3
MOST_CHOICES = 12
MOST_HEADS = 26


class Heard(NamedTuple):
    """A run of the caller's words, and what became of it.

    Attributes:
        start, end: where it stands in the text.
        said: the caller's own words.
        how: ``understood``, ``asked``, ``filler`` or ``not placed``.
        means: what it was taken for.
    """

    start: int
    end: int
    said: str
    how: str
    means: str = ""


class Candidate(NamedTuple):
    """A job that the words may mean.

    Attributes:
        label: how it differs from the others; alone: the layout's name.
        job: what was said, for this layout.
        refused: why the work cannot be done as said, if so.
        work: what is to be done; None where it cannot be.
    """

    label: str
    job: Job
    refused: tuple[str, ...] = ()
    work: Plan | None = None


def planned(edition: Edition, label: str, job: Job) -> Candidate:
    """Return a job with its plan, or with every reason why it cannot be done.

    Args:
        edition: to whose tables the codes of the job belong.
        label: how it differs from other candidates.
        job: that somebody may mean.
    """
    try:
        return Candidate(label, job, work=plan(edition, job))
    except RefusedError as error:
        return Candidate(label, job, tuple(str(why.error) for why in error.refusals))


@dataclass(frozen=True, slots=True)
class Said:
    """What a text line says.

    Attributes:
        candidates: at most ``MOST_CANDIDATES``, in the order of the layouts.
        heard: every word of the text, in order.
        questions: what must be asked back.
        echoed: every size in both units.
    """

    candidates: tuple[Candidate, ...]
    heard: tuple[Heard, ...]
    questions: tuple[Question, ...]
    echoed: tuple[str, ...]

    @property
    def not_placed(self) -> tuple[str, ...]:
        """Return what could not be placed, word for word, in order."""
        return tuple(heard.said for heard in self.heard if heard.how == NOT_PLACED)

    @property
    def understood(self) -> tuple[Heard, ...]:
        """Return what was understood, in order."""
        return tuple(heard for heard in self.heard if heard.how == UNDERSTOOD)


def say(
    text: str,
    edition: Edition,
    *,
    language: str = "en",
    terms: Terms | None = None,
    remembered: Mapping[str, str] | None = None,
) -> Said:
    """Return the jobs that *text* may mean, and what is left open.

    Never raises for any text.

    Args:
        text: one line of plain speech, such as ``16v overheated, guides exhaust``.
        edition: whose tables and aliases it is about.
        language: of the caller; says whether 0,10 is a number.
        terms: of the customer, if known.
        remembered: answers to earlier questions: the question's word, and the codes of
            the answer.
    """
    words = split(text, language)
    book = vocabulary(edition)
    answered = {key(word): codes for word, codes in (remembered or {}).items()}
    chunks = hear(text, words, book.phrases, _tree(answered, book))
    spoken = listen(text, words, chunks, edition, book, answered)
    return _Interpreter(edition, book, spoken, answered, terms).said(text, words)


def _tree(answered: Mapping[tuple[str, ...], str], book: Vocabulary) -> Node | None:
    """Return the words that only earlier answers explain, as a tree."""
    root = Node()
    for path, codes in answered.items():
        if path and book.phrases.find(path) is None:
            root.put(path, Sense("remembered", codes))
    return root if root.then else None


@dataclass
class _Parcel:
    """What a job is put together from."""

    work: list[Asked] = field(default_factory=list)
    sets: list[AskedSet] = field(default_factory=list)
    parts: list[AskedPart] = field(default_factory=list)
    declined: dict[str, str] = field(default_factory=dict)


class _Interpreter:
    """Turns what was spoken into jobs, layout by layout."""

    def __init__(
        self,
        edition: Edition,
        book: Vocabulary,
        spoken: Spoken,
        answered: Mapping[tuple[str, ...], str],
        terms: Terms | None,
    ) -> None:
        self.edition = edition
        self.book = book
        self.spoken = spoken
        self.answered = answered
        self.terms = terms
        self.questions: dict[str, Question] = {}
        self.echoed: dict[str, None] = {}

    def said(self, text: str, words: Sequence[Word]) -> Said:
        for question in self.spoken.questions:
            self._ask(question)
        self._ask_of_terms()
        self._ask_of_reasons()
        return Said(
            candidates=tuple(self._candidates()),
            heard=_runs(text, words, self.spoken),
            questions=tuple(self.questions.values()),
            echoed=tuple(self.echoed),
        )

    def _ask(self, question: Question) -> None:
        self.questions.setdefault(question.word, question)

    def _ask_about(self, work: Work, text: str, *choices: tuple[str, str]) -> None:
        self._ask(Question(work.word, text, choices))
        for at in range(work.start, work.end):
            if self.spoken.how[at] == UNDERSTOOD:
                self.spoken.how[at] = ASKED

    def _ask_which(self, layouts: Iterable[Layout], text: str) -> None:
        choices = ((layout.code, layout.name) for layout in layouts)
        self._ask(Question("head", text, tuple(islice(choices, MOST_CHOICES))))

    def _answer_to(self, word: str) -> str:
        return self.answered.get(key(word), "")

    # Candidates.

    def _candidates(self) -> Iterator[Candidate]:
        said, every = self.spoken.of_heads, self.edition.layouts.values()
        layouts = fitting(every, said) if said else []
        if not layouts:
            yield from self._without_head()
            return
        shown = layouts[:MOST_CANDIDATES]
        if len(layouts) > len(shown):
            self._ask_which(layouts, "More heads fit: which one is it?")
        for layout, label in zip(shown, labels(shown), strict=True):
            job = self._job(
                self._parcel(layout, self._heads(layout)), self._heads(layout)
            )
            yield planned(self.edition, label, job)

    def _without_head(self) -> Iterator[Candidate]:
        """Yield the one job that needs no head, if it is: reface 2 valves."""
        spoken, every = self.spoken, self.edition.layouts.values()
        parcel = self._parcel(None, ())
        wanted = [self.edition.operations[asked.operation] for asked in parcel.work]
        loose = all(operation.counted_by in _LOOSE for operation in wanted)
        counted = all(asked.which.number for asked in parcel.work)
        if spoken.of_heads:
            near = nearest(every, spoken.of_heads)
            self._ask_which(
                near, "No head in the tables fits all of that: which is it?"
            )
        elif wanted and loose and counted and not (spoken.of_a_head or parcel.sets):
            job = self._job(parcel, ())
            yield planned(self.edition, "loose parts, no head", job)
        elif spoken.works or spoken.of_a_head:
            self._ask_which(every, "Which head is it?")

    def _job(self, parcel: _Parcel, heads: tuple[Head, ...]) -> Job:
        spoken = self.spoken
        terms = self.terms or self.edition.terms.get(self._answer_to("trade"))
        if not (spoken.works or spoken.reasons):
            self._ask_what()
        anything = parcel.work or parcel.sets or parcel.parts or spoken.reasons
        if spoken.price and not anything:
            self._leave_open([spoken.price])
        price = spoken.price.number if spoken.price and anything else None
        return Job(
            heads=heads,
            reason=self._reason,
            work=tuple(dict.fromkeys(parcel.work)),
            sets=tuple(dict.fromkeys(parcel.sets)),
            parts=tuple(dict.fromkeys(parcel.parts)),
            terms=terms,
            agreed=agreed_prices(self.edition, terms) if terms else {},
            rush=spoken.rush,
            call_it=OwnPrice(price, "agreed on the phone") if price else None,
            declined=parcel.declined,
        )

    # The heads.

    def _heads(self, layout: Layout) -> tuple[Head, ...]:
        spoken = self.spoken
        facts = {
            sense.kind: sense.value
            for sense in spoken.of_heads
            if sense.kind in FACTS_OF_HEADS and not fits(layout, [sense])
        }
        side_facts: dict[Side, dict[str, str]] = {}
        for name, word, side in spoken.facts:
            known = side_facts.setdefault(Side(side), {}) if side else facts
            known[name] = word
        count = self._how_many(layout)
        named = self._labels(count)
        return tuple(
            Head(
                tag,
                layout,
                label=named[at] if at < len(named) else "",
                facts={**facts},
                side_facts={side: {**known} for side, known in side_facts.items()},
                condition=frozenset(spoken.conditions),
            )
            for at, tag in enumerate(islice(tags(), count))
        )

    def _how_many(self, layout: Layout) -> int:
        """Return how many heads came; one of the engine's unless more were said."""
        spoken, heads = self.spoken, self.spoken.heads
        tagged = [
            _TAGS.index(place.tag) + 1
            for work in spoken.works
            for place in work.places
            if place.tag in _TAGS
        ]
        if not (heads or spoken.labels or tagged) and layout.heads > 1:
            heads = self._answer_to("heads")
            pair = "both heads" if layout.heads == 2 else f"all {layout.heads} heads"
            if not heads:
                text = f"One head of the engine's {layout.heads} is priced: one or all?"
                self._ask(Question("heads", text, (("1", "one head"), ("all", pair))))
        if heads == "all":
            return layout.heads
        if heads.isdecimal():
            return min(max(int(heads), 1), MOST_HEADS)
        return max(1, len(set(spoken.labels)), *tagged)

    def _labels(self, count: int) -> tuple[str, ...]:
        """Return the labels of the heads, in order; of one head what was said."""
        said = tuple(dict.fromkeys(self.spoken.labels))
        if not said or count == 1:
            return (" ".join(said),)
        return next((pair for pair in _PAIRS if said[0] in pair), said)

    def _tags_of(self, work: Work, heads: Sequence[Head]) -> tuple[str, ...]:
        """Return the tags of the heads that *work* is done on; none for all of them."""
        if len(heads) < 2:
            return ()
        found = {}
        for label in work.labels:
            pair = next(pair for pair in _PAIRS if label in pair)
            head = heads[pair.index(label)]
            if label != head.label or label.startswith("bank"):
                self._ask_bank(label, heads)
            found[head.tag] = head
        return tuple(found)

    def _ask_bank(self, label: str, heads: Sequence[Head]) -> None:
        """Ask which head a bank is: left and right are no other words for 1 and 2."""
        text = f"{label}: which head is that? Bank 1 is where cylinder 1 is."
        choices = ((heads[0].tag, "the left one"), (heads[1].tag, "the right one"))
        self._ask(Question(label, text, choices))

    # The work.

    def _parcel(self, layout: Layout | None, heads: tuple[Head, ...]) -> _Parcel:
        """Return all work and parts that were said, on heads of *layout*."""
        parcel = _Parcel()
        for work in self.spoken.works:
            senses = self._settle(work, heads)
            if work.left_out and work.narrowed:
                self._leave_open(work.chunks)  # no exhaust guides: what of the others?
            elif not (
                work.if_needed and not work.left_out and self._ask_if(work, senses)
            ):
                for sense in senses:
                    self._add(sense, work, layout, heads, parcel)
        return parcel

    def _leave_open(self, chunks: Iterable[Chunk]) -> None:
        for chunk in chunks:
            for at in range(chunk.start, chunk.end):
                self.spoken.how[at] = NOT_PLACED

    def _ask_if(self, work: Work, senses: Sequence[Sense]) -> bool:
        """Ask whether work that may not be needed is priced; False where it is."""
        if self._answer_to(work.word):
            return False
        answer = self.book.answer(senses)
        text = f"{answer.label}: only if needed. Price it now?"
        self._ask_about(work, text, (answer.codes, answer.label))
        return True

    def _add(
        self,
        sense: Sense,
        work: Work,
        layout: Layout | None,
        heads: tuple[Head, ...],
        parcel: _Parcel,
    ) -> None:
        code = sense.value
        if work.left_out:
            if sense.kind in ("operation", "part"):
                parcel.declined[code] = "left out, as asked"
        elif sense.kind == "operation":
            operation = self.edition.operations[code]
            parcel.work += self._asked(work, operation, layout, heads)
            if work.own and operation.consumes:
                self._add_part(operation.consumes, work, layout, heads, parcel)
        elif sense.kind == "set":
            size = self._size(work, self.edition.sets[code].name)
            parcel.sets.append(AskedSet(code, self._tags_of(work, heads), size))
        elif sense.kind == "part":
            self._add_part(code, work, layout, heads, parcel)
        elif sense.kind == "condition":
            self.spoken.conditions.add(code)

    def _settle(self, work: Work, heads: tuple[Head, ...]) -> tuple[Sense, ...]:
        """Return what *work* is; nothing where it must be asked."""
        answers = work.answers
        if not answers:
            senses = self._by_what_stands_beside(work)
            senses = self._by_the_head(senses, heads)
            if len(senses) == 1:
                return senses
            answers = tuple(self.book.answer([sense]) for sense in senses)
        codes = self._answer_to(work.word)
        for answer in answers:
            if codes == answer.codes:
                return answer.senses
        choices = ((answer.codes, answer.label) for answer in answers)
        self._ask_about(work, f"{work.said}: which work is that?", *choices)
        return ()

    def _by_what_stands_beside(self, work: Work) -> tuple[Sense, ...]:
        """Return the senses of *work* that go best with the parts named beside it."""
        senses = work.senses
        nouns = work.nouns | ({work.noun} if work.verb and work.noun else set())
        works = all(sense.kind == "operation" for sense in senses)
        if len(senses) < 2 or not nouns or not works:
            return senses
        score = {
            sense: max(self.book.fits(sense.value, noun) for noun in nouns)
            for sense in senses
        }
        most = max(score.values())
        return tuple(sense for sense in senses if score[sense] == most)

    def _by_the_head(
        self, senses: tuple[Sense, ...], heads: Sequence[Head]
    ) -> tuple[Sense, ...]:
        """Leave out what these heads do not have, and what may not be done to them.

        Of tests the one stays that is made for the material: magnetic powder on iron.
        """
        if len(senses) < 2 or not heads:
            return senses
        left = tuple(s for s in senses if self._is_possible(s, heads[0])) or senses
        tests = tuple(sense for sense in left if self._is_made_for_material(sense))
        return tests if len(tests) == 1 else left

    def _is_possible(self, sense: Sense, head: Head) -> bool:
        if sense.kind == "part":
            return self._part(sense.value, head.layout) is not None
        operation = self.edition.operations.get(sense.value)
        if sense.kind != "operation" or operation is None:
            return True
        if not head.layout.counts.get(operation.counted_by, 1):
            return False
        return not any(
            all(condition.met_by(head.known(side)) for side in SIDES)
            for _, condition in self.edition.related("not_on").get(sense.value, ())
        )

    def _is_made_for_material(self, sense: Sense) -> bool:
        operation = self.edition.operations.get(sense.value)
        rows = self.edition.related("not_on").get(sense.value, ())
        material = any(relation.fact == "material" for relation, _ in rows)
        return material and operation is not None and operation.gate

    def _asked(
        self,
        work: Work,
        operation: Operation,
        layout: Layout | None,
        heads: Sequence[Head],
    ) -> Iterable[Asked]:
        """Return the rows of the job for an operation that was said."""
        code, on = operation.code, self._tags_of(work, heads)
        count = COUNTS[operation.counted_by]
        there = layout is None or layout.counts.get(operation.counted_by, 1)
        if count.by == "position" and there:
            return self._on_valves(work, operation, layout, heads, on)
        if count.by_people:
            if len(heads) > 1 and not on:
                on = (heads[0].tag,)
            which = Selection(number=work.number or self._one(work, operation))
        elif count.by == "cylinder" and there:
            which = Selection(cylinders=work.cylinders, number=work.number)
        elif count.by == "head" and operation.counted_by != "head":
            which = Selection(number=work.number)
        else:
            which = Selection()
        return [Asked(code, on, which, self._size(work, operation.name))]

    def _one(self, work: Work, operation: Operation) -> Decimal:
        """Return 1 where nobody said how many, and ask unless one was named."""
        count = COUNTS[operation.counted_by]
        if work.plural or count.by == "measured":
            text = f"{operation.name}: how many {count.plural}? One is priced."
            self._ask(Question(work.word, text))
        return ONE

    def _on_valves(
        self,
        work: Work,
        operation: Operation,
        layout: Layout | None,
        heads: Sequence[Head],
        on: tuple[str, ...],
    ) -> Iterator[Asked]:
        code, number = operation.code, work.number
        where = Selection(work.side, work.cylinders)
        if number is None and work.single and not work.every:
            number = ONE
        if work.places:
            places = tuple(self._position(place, heads) for place in work.places)
            yield Asked(code, on, Selection(positions=places))
        elif number is None or layout is None:
            yield Asked(code, on, where._replace(number=number))
        elif work.cylinders:
            which = self._of_cylinders(work, operation, layout, number)
            yield Asked(code, on, which)
        else:
            each = self._each(operation, layout, work.side)
            named = on or tuple(head.tag for head in heads)
            if number == each * len(named):
                yield Asked(code, on, where)
            elif not each < number < each * len(named):
                yield Asked(code, on, where._replace(number=number))
            else:
                text = f"{operation.name}: how many of the {number} are on which head?"
                self._ask(Question(work.word, text))
                yield from _head_by_head(code, work.side, number, each, named)

    def _of_cylinders(
        self, work: Work, operation: Operation, layout: Layout, number: Decimal
    ) -> Selection:
        """Return *number* valves of the cylinders said; if not all, which is asked."""
        there = self._each(operation, layout, work.side) // layout.cylinders
        there *= len(set(work.cylinders))
        if number >= there:
            return Selection(work.side, work.cylinders)
        text = f"{operation.name}: which {number} of those {there}?"
        self._ask(Question(work.word, text))
        return Selection(work.side, number=number)

    def _each(self, operation: Operation, layout: Layout, side: Side | None) -> int:
        """Return how many a head has of what an operation is counted by."""
        sides = (side,) if side else SIDES
        valves = layout.cylinders * sum(layout.a_cylinder(each) for each in sides)
        return valves * layout.a_valve(operation.counted_by)

    def _position(self, place: Place, heads: Sequence[Head]) -> Position:
        tag = place.tag or (heads[0].tag if heads else _TAGS[0])
        if not place.tag and len(heads) > 1:
            bench = f"{place.cylinder}{place.side}{place.number}"
            choices = tuple((head.tag, f"head {head.tag}") for head in heads)
            self._ask(Question(bench, f"{bench}: on which head?", choices))
        return Position(tag, place.cylinder, place.side, place.number)

    # Sizes.

    def _size(self, work: Work, name: str) -> Length | None:
        """Return the size said, and echo it; what can hardly be meant is asked."""
        size = work.size
        if size is None and work.bare:
            unit = self.edition.shop.size_unit
            size = parse_length(work.bare, unit)
            thousandths = unit == "mm" and _THOUSANDTHS.search(work.bare)
            if thousandths or not _is_likely(size):
                size = self._in_some_unit(work.bare, work.bare, None)
        elif size is not None and size.mm > _LARGEST:
            figure = _FIGURE.search(size.typed)
            if figure:
                size = self._in_some_unit(figure.group(), size.typed, size)
        if size is not None:
            self.echoed[f"{name}: {size.in_both_units}"] = None
        return size

    def _in_some_unit(
        self, figure: str, word: str, otherwise: Length | None
    ) -> Length | None:
        """Ask in which unit a figure is, of those that make sense for a face."""
        sizes = {unit: parse_length(figure, unit) for unit in ("mm", "thou", "in")}
        sizes["hundredths"] = parse_length(f"{Decimal(figure) / 100:f}", "mm")
        if answer := sizes.get(self._answer_to(word)):
            return answer
        choices = tuple(
            (unit, size.in_both_units)
            for unit, size in sizes.items()
            if _is_likely(size)
        )
        self._ask(Question(word, f"{word}: in which unit?", choices))
        return otherwise

    # Parts.

    def _add_part(
        self,
        kind: str,
        work: Work,
        layout: Layout | None,
        heads: Sequence[Head],
        parcel: _Parcel,
    ) -> None:
        part = self._part(kind, layout)
        if part is None:
            where = f" for {layout.name}" if layout else ""
            self._ask_about(work, f"{work.said}: no such part in the tables{where}.")
            return
        quantity = work.number
        if kind in self.book.consuming:
            quantity = None  # as many as the work on this job uses up
        elif quantity is None:
            quantity = Decimal(max(len(heads), 1))
            if work.plural:
                text = f"{part.name}: how many? {quantity} priced."
                self._ask(Question(work.word, text))
        parcel.parts.append(AskedPart(part.code, quantity=quantity, own_stock=work.own))

    def _part(self, kind: str, layout: Layout | None) -> Part | None:
        return narrowest(self.edition.parts_of.get(kind, ()), layout)

    # What is asked whatever the head.

    @property
    def _reason(self) -> str:
        """Return the reason that proposes most work, of those said."""

        def extent(code: str) -> int:
            return len(self.book.proposed(code))

        return max(self.spoken.reasons, key=extent, default="")

    def _ask_of_reasons(self) -> None:
        codes = dict.fromkeys(self.spoken.reasons)
        if len(codes) > 1:
            reasons = self.edition.reasons
            name = reasons[self._reason].name
            text = f"More than one reason was given; {name} is priced. Which one?"
            choices = tuple((code, reasons[code].name) for code in codes)
            self._ask(Question("reason", text, choices))

    def _ask_of_terms(self) -> None:
        said, terms = self.spoken.trade, self.edition.terms
        if said and not self.terms and self._answer_to("trade") not in terms:
            own = self.edition.shop.terms
            choices = tuple((c, each.name) for c, each in terms.items() if c != own)
            self._ask(Question("trade", f"{said}: on which terms?", choices))

    def _ask_what(self) -> None:
        sets = self.edition.sets.items()
        choices = ((code, work.name) for code, work in sets if work.on_board)
        shown = tuple(islice(choices, MOST_CHOICES))
        self._ask(Question("work", "What is to be done?", shown))


_LOOSE = ("valve", "spring")
_TAGS = tuple(islice(tags(), MOST_HEADS))
_PAIRS = (
    ("left", "right"),
    ("nearside", "offside"),
    ("bank 1", "bank 2"),
    ("front", "rear"),
)
#: Sizes that may be meant of a face, in millimetres (common practice, no source).
_SMALLEST, _LARGEST = Decimal("0.03"), Decimal("2.5")
#: Three decimals are said of inches: .010 is ten thou (common practice, no source).
_THOUSANDTHS = re.compile(r"\.[0-9]{3}")
_FIGURE = re.compile(r"[0-9]*\.?[0-9]+")


def _is_likely(size: Length) -> bool:
    return _SMALLEST <= size.mm <= _LARGEST


def _head_by_head(
    code: str, side: Side | None, number: Decimal, each: int, named: Iterable[str]
) -> Iterator[Asked]:
    """Yield *number* of an operation, one head filled after the other."""
    for tag in named:
        now = min(number, Decimal(each))
        number -= now
        if now:
            yield Asked(
                code, (tag,), Selection(side, number=None if now == each else now)
            )


def _runs(text: str, words: Sequence[Word], spoken: Spoken) -> tuple[Heard, ...]:
    """Gather neighbours of one fate; fillers between what is not placed go with it."""
    runs: list[Heard] = []
    fillers: list[Heard] = []
    for word, how, means in zip(words, spoken.how, spoken.means, strict=True):
        heard = Heard(word.start, word.end, text[word.start : word.end], how, means)
        last = runs[-1] if runs else None
        bridges = word.kind != "mark" or word.text in "/&+"
        if how == FILLER and bridges and last and last.how == NOT_PLACED:
            fillers.append(heard)
            continue
        alike = last is not None and last.how == how
        if last and alike and (how == NOT_PLACED or last.means == means):
            said = text[last.start : word.end]
            runs[-1] = last._replace(end=word.end, said=said)
        else:
            runs += [*fillers, heard]
        fillers = []
    return tuple(runs + fillers)
