"""What the words of a shop mean: plain words of the trade, and an edition's own.

Pure. The plain words are English as spoken in the UK, the US and Australia (common
practice, no source). Operations, sets of work, reasons, layouts, levels of hurry and
parts come with their names and aliases from the edition, which goes first.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache, cached_property
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

from quoting.domain.edition import Edition
from quoting.domain.hearing import OF_HEADS, Phrases, Sense, hear, key
from quoting.domain.rates import WorkSet
from quoting.domain.words import Near, split, stem

#: Kind and value of a sense | the phrases that say it.
_PLAIN = """
material iron | iron; cast iron; grey iron; ci
material aluminium | aluminium; aluminum; alloy; light alloy; ali; ally; alu; alum
material bronze | bronze
train dohc | twin cam; dohc; twin overhead cam; double overhead cam; dual overhead cam
train dohc | twin camshaft
train sohc | single cam; single overhead cam; sohc
train sohc dohc | ohc; overhead cam; overhead camshaft; cam in head
train ohv | ohv; pushrod; push rod; overhead valve
train side_valve | side valve; flathead; flat head; l head
train desmo | desmo; desmodromic
train quad | quad cam; four cam
fuel diesel | diesel; derv; oil burner
fuel petrol | petrol; gasoline; gas
chamber prechamber | idi; indirect; indirect injection; indirect diesel
chamber prechamber | prechamber diesel; precombustion diesel
chamber flat | common rail; direct diesel; direct injection diesel
cooling air | air cooled
cooling water | water cooled; liquid cooled
use cycle | motorcycle; motorbike; motor cycle; bike
use aircraft | aircraft; aero; aeroplane; airplane; aviation
use marine | marine; boat; outboard
use plant | plant; tractor; digger; excavator; fork lift; truck; lorry; generator
use plant | genset; mower; dumper; loader
use road | car; van; ute; pickup
arrangement vee | vee
arrangement flat | boxer; horizontally opposed; flat engine
arrangement single | single; single cylinder; single cyl; single pot
arrangement separate | separate heads; individual heads
engine inline 2 | parallel twin; vertical twin
engine inline 3 | triple
engine vee 2 | v twin; vee twin
engine flat 2 | flat twin
side I | inlet; intake; suction; inl; int; inlet side; intake side
side E | exhaust; outlet; exh; ex; exhaust side
side IE | both sides; inlet and exhaust; exhaust and inlet; inlet / exhaust
side IE | intake and exhaust; exhaust and intake; inlet exhaust; intake exhaust
side IE | in and ex; ex and in; in / ex; in ex; in and exh; inl and exh
every | all; every; each; all of them; the lot; full set; complete set; whole set
every | set of; full set of; complete set of; all round; throughout
head | head; cylinder head; top; lid
heads 1 | single head; one bank
heads 2 | both; both heads; both banks; both of them; pair; pair of heads
heads all | set of heads; all heads; all the heads
label left | {left; left hand; lh; l / h}
label right | {right; right hand; rh; r / h}
label nearside | {nearside; n / s; passenger side; passengers side}
label offside | {offside; o / s; driver side; drivers side}
label bank 1 | bank 1; first bank
label bank 2 | bank 2; second bank
label front | front head; front bank
label rear | rear head; rear bank; back head; back bank
object valve | valve; poppet
object spring | spring
object stud | stud; bolt
object hole | hole
object thread | thread
named | rocker bridge; valve bridge; crosshead; yoke; follower; cam follower; lifter
named | lash adjuster; hydraulic lifter; hydraulic follower; head bolt; rocker cover
named | cam cover; valve cover; glow plug; spark plug; injector
outside | block; crank; crankshaft; crankcase; bottom end; big end; main bearing
outside | short engine; short motor; short block; piston; conrod; con rod; rod; bore
outside | cylinder bore; flywheel; brake disc; brake drum; gearbox; sump
condition bare | bare; bare casting
condition bare clean | bare clean; bare and clean; clean and bare; clean bare
condition stripped | in bits; in pieces; in boxes; in a box
condition complete | complete; head complete; built up; fully built; as removed
condition complete | cams still in; in one piece
condition complete | still together; still assembled; not stripped; unstripped
condition dirty | dirty; filthy; oily; sludged; mucky; greasy; caked; not clean
condition dirty | not cleaned
condition clean | already clean; already cleaned; clean already; been cleaned
condition clean | has been cleaned; its clean; is clean; comes clean; nice and clean
fact face bowed | bowed; warped; banana; bent head
fact seats hard | hard seats
fact seats hard I | hard inlet seats; hard intake seats
fact seats hard E | hard exhaust seats
fact valves sodium | sodium valves; sodium filled; sodium filled valves
fact valves sodium E | sodium exhaust valves; sodium filled exhaust valves
fact valves titanium | titanium valves
fact valves plated | plated valves; coated valves; nitrided valves
fact deposits lead | leaded petrol; leaded fuel; lead deposits
fact gasket old | old gasket; asbestos; asbestos gasket
without and | without; w / o; leave out; leaving out; leave off; leave; skip; omit
without and | except; excluding; excl; minus; less; apart from; but not
without | no; not; dont; do not; doesnt need; does not need; no need for; no need to
without | never mind; dont want; dont need; no new; not the
fine | fine; good; ok; okay; alright; all right; sound; within limits; are ok
fine | are good; are fine; is ok; is good; is fine
maybe | if needed; if required; if necessary; if worn; if wanted; if it needs it
maybe | if they need it; as required; as needed; as necessary; where needed
maybe | where required; where necessary; only if needed; only if required
maybe | only if worn; maybe; perhaps; possibly; might need; may need
own | own; customers own; his own; her own; their own; my own; customer supplied
own | free issue; customer supply; customer supplies; customer supplying
own | supplied by customer; customers supplying
own | customer will supply
day | today; tonight; tomorrow; same day; next day; by today; by tonight
day | by tomorrow; for today; for tomorrow
trade | trade; trade price; wholesale; account; on account; jobber
private | retail; private; private customer; cash sale; walk in
agreed | call it
gross | all in; including tax; including vat; including gst; inc vat; inc tax
gross | inc gst; incl vat; incl tax; tax included
money | quid; pound; dollar; buck; euro; gbp; usd; aud; eur
join and | and; n; plus; as well as; along with
join or | or; nor
break | but; then; and then; also
"""

#: May be swallowed: they say nothing of head or work.
_FILLERS = """
    a an the this that these those it its is are was were be been am as at by for from
    of off on onto to up with into in out us me my we our i you your he his she her hers
    they their them him ive weve hes id ill im youve please pls plz ta thank thanks
    cheers need needs want wants wanted wanting wanna like would could can should will
    shall get getting got have having has had do does did doing done take taking put
    putting bring bringing brought come comes coming came send sent go goes going make
    give look looks looking say says said think reckon reckons just only so well there
    here now about around approx some any set bit job work how much what whats price
    quote estimate ballpark cost hi hello hiya hey mate guy bloke chap lady fella client
    customer caller engine motor quick fit fitted fitting worn bad gone shot tired
    knackered poor alone
"""

#: What may stand behind left, right and their like.
_OF_LABELS = ("", " head", " bank", " hand head", " hand bank", " side head")

#: Past forms that say how the head came, and not what to do with it.
_TO_THE_LETTER: Mapping[str, Sense] = {
    "stripped": Sense("condition", "stripped"),
    "dismantled": Sense("condition", "stripped"),
    "disassembled": Sense("condition", "stripped"),
    "assembled": Sense("condition", "complete"),
    "degreased": Sense("condition", "clean"),
}

#: What fits several kinds of work and is asked | each answer in plain words, with +
#: between what goes together.
_ASKED = """
cut and lap; cut and lap in; lap and cut | cut seats + lap valves
cut and lap; cut and lap in; lap and cut | cut seats + reface valves
cut and lap; cut and lap in; lap and cut | valve job
decarb; decarbonise; decarbonize; decoke; decarbon | remove carbon
decarb; decarbonise; decarbonize; decoke; decarbon | valve job
complete head | full head job
complete head | as removed
"""


class Answer(NamedTuple):
    """A possible answer to what must be asked: its senses, and how it is called."""

    senses: tuple[Sense, ...]
    label: str

    @property
    def codes(self) -> str:
        """Return the codes of the answer, with a space between."""
        return " ".join(sense.value for sense in self.senses)


class Vocabulary:
    """All phrases of an edition, and what is known of the work that they name.

    Attributes:
        phrases: that can be heard.
        answers: to each phrase that must be asked, by the value of its sense.
        consuming: the operation that uses up a kind of part, by the kind.
        sized: the operation that has a size, if there is one such alone.
    """

    def __init__(self, edition: Edition) -> None:
        self._tables: Mapping[str, Mapping[str, Any]] = {
            "operation": edition.operations,
            "set": edition.sets,
            "reason": edition.reasons,
            "layout": edition.layouts,
            "rush": edition.rush,
        }
        self.consuming = {
            operation.consumes: operation.code
            for operation in edition.operations.values()
            if operation.consumes
        }
        sized = [o.code for o in edition.operations.values() if o.step is not None]
        self.sized = sized[0] if len(sized) == 1 else ""
        self.phrases = Phrases(over=_plain_phrases())
        self._paths: dict[Sense, list[tuple[str, ...]]] = {}
        self._add_tables()
        self._add_parts(edition)
        self.answers: dict[str, tuple[Answer, ...]] = {}
        for phrases, plain in _rows(_ASKED):
            if answer := self._answer(plain):
                known = self.answers.get(phrases, ())
                self.answers[phrases] = (*known, answer)
                for phrase in phrases.split(";"):
                    self.phrases.add(phrase, Sense("asked", phrases))

    def _add_tables(self) -> None:
        for kind in ("operation", "reason", "rush"):
            for code, record in self._tables[kind].items():
                sense = Sense(kind, code)
                self._paths[sense] = [
                    self.phrases.add(phrase, sense)
                    for phrase in (record.name, *record.aliases)
                ]
        for code in self._tables["rush"]:
            self.phrases.add(code, Sense("rush", code))
        for phrase, work in self._telling("set"):
            reason = self._reason_of(phrase, work)
            self.phrases.add(phrase, reason or Sense("set", work.code))
        for phrase, layout in self._telling("layout"):
            self.phrases.add(phrase, Sense("layout", layout.code))
        for code in self._tables["layout"]:
            self.phrases.codes[code.casefold()] = Sense("layout", code)

    def _telling(self, kind: str) -> Iterator[tuple[str, Any]]:
        """Yield the phrases of sets or layouts that say more than plain words do.

        Named in words for heads alone they are no phrases: "i4 8v" names every such
        head, and "diesel head" no set of work.
        """
        for record in self._tables[kind].values():
            for phrase in (record.name, *record.aliases):
                if not _names_a_head(phrase):
                    yield phrase, record

    def _reason_of(self, phrase: str, work: WorkSet) -> Sense | None:
        """Return the reason that proposes a set, where the set's phrase says it."""
        said = f" {' '.join(key(phrase))} "
        for code, reason in self._tables["reason"].items():
            sense = Sense("reason", code)
            paths = self._paths[sense] if reason.set == work.code else ()
            if any(f" {' '.join(path)} " in said for path in paths):
                return sense
        return None

    def _add_parts(self, edition: Edition) -> None:
        for part in edition.parts.values():
            if part.kind in self.consuming:
                continue  # it comes with the work
            for phrase in (part.name, *part.aliases):
                found = self.phrases.find(key(phrase))
                if found is None or found.senses[0].kind != "operation":
                    self.phrases.add(phrase, Sense("part", part.kind))

    def _answer(self, plain: str) -> Answer | None:
        """Return the answer that *plain* words give, if this edition has them all."""
        found = [self.phrases.find(key(phrase)) for phrase in plain.split("+")]
        senses = [node.senses[0] for node in found if node]
        return self.answer(senses) if len(senses) == len(found) else None

    def answer(self, senses: Sequence[Sense]) -> Answer:
        """Return *senses* as one answer, called by their names."""
        return Answer(tuple(senses), ", ".join(self.name(sense) for sense in senses))

    def name(self, sense: Sense) -> str:
        """Return what people call it."""
        record = self._tables.get(sense.kind, {}).get(sense.value)
        return record.name if record else sense.value.replace("_", " ")

    def senses_of(self, codes: str) -> tuple[Sense, ...]:
        """Return what an answer given earlier means: codes, or words that are known."""
        senses = [
            next(
                (Sense(kind, code) for kind, of in self._tables.items() if code in of),
                None,
            )
            for code in codes.split()
        ]
        if all(senses):
            return tuple(filter(None, senses))
        found = self.phrases.find(key(codes))
        return found.senses[:1] if found else ()

    def proposed(self, reason: str) -> tuple[str, ...]:
        """Return the operations of the set that a reason proposes."""
        work = self._tables["set"].get(self._tables["reason"][reason].set)
        return work.operations if work else ()

    def fits(self, code: str, noun: str) -> int:
        """Return how well an operation goes with a part of the head; 0: not at all."""
        name, *aliases = self._paths[Sense("operation", code)]
        counted = self._tables["operation"][code].counted_by.split("_")
        return (
            4 * (noun in name)
            + 2 * (noun in map(stem, counted))
            + any(noun in alias for alias in aliases)
        )

    def done_to(self, noun: str) -> tuple[Answer, ...]:
        """Return what may be done to a part of the head, the commonest first."""
        return self._done_to.get(noun, ())

    @cached_property
    def _done_to(self) -> Mapping[str, tuple[Answer, ...]]:
        often: dict[str, dict[Sense, int]] = {}
        for sense, paths in self._paths.items():
            for path in paths:
                if sense.kind == "operation" and len(path) > 1:
                    counts = often.setdefault(path[-1], {})
                    counts[sense] = counts.get(sense, 0) + 1
        return {
            noun: tuple(
                self.answer([sense])
                for sense in sorted(counts, key=lambda it: -counts[it])[:_MOST_ANSWERS]
            )
            for noun, counts in often.items()
        }

    def near(self, text: str) -> tuple[str, ...]:
        """Return known words that are one slip of the finger from *text*."""
        return self._near.of(text)

    @cached_property
    def _near(self) -> Near:
        return Near(
            word
            for word in self.phrases.words
            if len(word) >= _TELLING or self.phrases.find(key(word))
        )


#: Words of so many letters may be what was meant, even if only a phrase has them.
_TELLING = 7
_MOST_ANSWERS = 4
_OF_A_HEAD = OF_HEADS | {"break", "filler", "head", "heads", "number", "side"}


@cache
def _plain_phrases() -> Phrases:
    fillers = {word.text: Sense("filler") for word in split(_FILLERS)}
    phrases = Phrases(letters={**fillers, **_TO_THE_LETTER})
    for about, plain in _rows(_PLAIN):
        kind, _, value = about.partition(" ")
        labelled = plain.startswith("{")
        for phrase in plain.strip("{}").split(";"):
            for what in _OF_LABELS if labelled else ("",):
                phrases.add(phrase + what, Sense(kind, value))
    return phrases


@cache
def _names_a_head(phrase: str) -> bool:
    """Tell whether plain words for heads are all of a phrase."""
    chunks = hear(phrase, split(phrase), _plain_phrases())
    return all(chunk.kind in _OF_A_HEAD for chunk in chunks)


def _rows(table: str) -> list[tuple[str, str]]:
    rows = (line.partition("|") for line in table.strip().splitlines())
    return [(first.strip(), second.strip()) for first, _, second in rows]


_built: WeakKeyDictionary[Edition, Vocabulary] = WeakKeyDictionary()


def vocabulary(edition: Edition) -> Vocabulary:
    """Return the vocabulary of *edition*, built once."""
    if (known := _built.get(edition)) is None:
        known = _built[edition] = Vocabulary(edition)
    return known
