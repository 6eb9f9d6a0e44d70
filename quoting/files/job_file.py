"""A job written down in a TOML file: read it, or name every problem with its line."""

import datetime
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from quoting.domain.country import Answer
from quoting.domain.edition import Edition
from quoting.domain.edition_problems import layout_mistakes
from quoting.domain.errors import Problem, ProblemsError, RuleError
from quoting.domain.head import (
    CONDITIONS,
    FACTS,
    SIDES,
    Fact,
    Head,
    Layout,
    Position,
    PositionError,
    Side,
    parse_position,
    tags,
)
from quoting.domain.job import (
    Asked,
    AskedFee,
    AskedPart,
    AskedSet,
    Deposit,
    Exemption,
    FreeLine,
    Job,
    Outwork,
    Override,
    OwnPrice,
    Selection,
    agreed_prices,
)
from quoting.domain.lengths import Length, LengthError, parse_length
from quoting.domain.quote import MOST_ALTERNATIVES, Customer, holds_until
from quoting.domain.rates import TABLES, side_of
from quoting.domain.tables import (
    CODE,
    CODES,
    DATE,
    MARGIN,
    NOT_NEGATIVE,
    PERCENT,
    POSITIVE,
    SHARE,
    TEXT,
    YES_NO,
    CellError,
    Kind,
    Table,
    choice,
    choices,
    column,
    near,
)
from quoting.domain.work import RefusedError
from quoting.files import toml
from quoting.files.toml import Document, Keys

Row = TypeVar("Row")
Top = TypeVar("Top", bound="JobRow")


def _positions(text: str) -> tuple[Position, ...]:
    try:
        return tuple(parse_position(part) for part in text.replace(";", " ").split())
    except PositionError as error:
        raise CellError(str(error)) from None


def _cylinders(text: str) -> tuple[int, ...]:
    parts = text.replace(";", " ").split()
    if not all(part.isascii() and part.isdecimal() for part in parts):
        raise CellError
    return tuple(int(part) for part in parts)


#: Millimetres, and in brackets how they were said: 0.254 mm (8-10 thou).
_SAID = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,40})?) mm \((.+)\)", re.DOTALL)


def read_size(text: str, unit: str = "mm") -> Length:
    """Read a size; what was said in no form of figures stands behind it in brackets.

    Args:
        text: a length, or millimetres and the words that they were said in.
        unit: of a bare number.

    Raises:
        LengthError: *text* is neither.

    >>> read_size("0.254 mm (8-10 thou)").typed
    '8-10 thou'
    """
    if said := _SAID.fullmatch(text):
        return Length(Decimal(said.group(1)), said.group(2))
    return parse_length(text, unit)


def _size(text: str) -> str:
    try:
        read_size(text)
    except LengthError as error:
        raise CellError(str(error)) from None
    return text


POSITIONS = Kind("string", "valves with the head's tag, such as A3E1 A4E1", _positions)
CYLINDERS = Kind("string", "numbers of cylinders, such as [1, 2]", _cylinders)
SIZE = Kind("string", "a length such as 0.15 mm, 0.006 in or 6 thou", _size)


@dataclass(frozen=True, kw_only=True, eq=False)
class JobRow:
    """What holds for a whole job."""

    reason: str = column(CODE, "Why it came", default="", refers="reasons")
    terms: str = column(
        CODE, "The customer's terms; missing: the shop's", default="", refers="terms"
    )
    rush: str = column(CODE, "Level of hurry", default="", refers="rush")
    propose: bool = column(
        YES_NO, "Whether what work brings along and uses up is put in", default=True
    )
    minutes_factor: Decimal = column(
        POSITIVE, "Factor on all minutes of the edition", default=Decimal(1)
    )
    answers: tuple[str, ...] = column(
        choices(*Answer), "What taxes hang on and is so", default=()
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class AsideRow:
    """A rule of the tax that somebody sets aside."""

    rule: str = column(CODE, "Code of the rule", refers="tax_rules")
    by: str = column(TEXT, "Who sets it aside")
    reason: str = column(TEXT, "Why")


@dataclass(frozen=True, kw_only=True, eq=False)
class OfferRow:
    """What an offer says beside its jobs."""

    date: datetime.date = column(DATE, "Day of the quote")
    number: str = column(TEXT, "Number of the quote", default="")
    valid_until: datetime.date | None = column(
        DATE, "Last day it holds; missing: the shop's own rule", default=None
    )
    tax_point: datetime.date | None = column(
        DATE, "Day whose tax rates apply; missing: the day of the quote", default=None
    )
    ready: datetime.date | None = column(DATE, "Day it can be ready", default=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class TopRow(JobRow, OfferRow):
    """What holds for the whole file."""


@dataclass(frozen=True, eq=False)
class OwnLayout(Layout):
    """A layout that is written out in a job and stands in no table."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeadRow:
    """A head that came."""

    layout: str = column(CODE, "Layout, or an inline table of counts", refers="layouts")
    tag: str = column(CODE, "Tag; missing: A, B, C in order", default="")
    label: str = column(TEXT, "left, right or any text", default="")
    condition: tuple[str, ...] = column(
        choices(*CONDITIONS), "How it arrived", default=()
    )
    condemned_at: str = column(
        CODE, "Test that condemned it", default="", refers="operations"
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkRow:
    """An operation asked for."""

    op: str = column(CODE, "Operation", refers="operations")
    heads: tuple[str, ...] = column(CODES, "Tags; missing: all heads", default=())
    which: str = column(choice("all", "inlet", "exhaust"), "Which side", default="all")
    cylinders: tuple[int, ...] = column(CYLINDERS, "These cylinders only", default=())
    positions: tuple[Position, ...] = column(
        POSITIONS, "Exactly these valves, such as A3E1", default=()
    )
    number: Decimal | None = column(
        POSITIVE, "So many of them, or the quantity measured", default=None
    )
    size: str = column(SIZE, "Size, such as 0.15 mm or 4 thou", default="")
    price: Decimal | None = column(
        NOT_NEGATIVE, "Own price for all of it", default=None
    )
    discountable: bool = column(
        YES_NO, "Whether the own price is discounted", default=False
    )
    warranty: Decimal | None = column(SHARE, "Share that the shop bears", default=None)
    set_up_again: bool = column(
        YES_NO, "Whether the machine is set up once more for it", default=False
    )
    reason: str = column(TEXT, "Why the price was set by hand", default="")
    despite_by: str = column(TEXT, "Who sets a rule of the house aside", default="")
    despite_reason: str = column(TEXT, "... and why", default="")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetRow:
    """A set of work asked for."""

    set: str = column(CODE, "Set of work", refers="sets")
    heads: tuple[str, ...] = column(CODES, "Tags; missing: all heads", default=())
    size: str = column(SIZE, "Size for what has one, such as 0.15 mm", default="")
    price: Decimal | None = column(NOT_NEGATIVE, "Own price of the set", default=None)
    discountable: bool = column(
        YES_NO, "Whether the own price is discounted", default=False
    )
    reason: str = column(TEXT, "Why the price was set by hand", default="")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartRow:
    """A part: of the table, or described here."""

    part: str = column(CODE, "Code of parts.csv", default="", refers="parts")
    description: str = column(TEXT, "Or what it is", default="")
    quantity: Decimal | None = column(
        POSITIVE, "How many; missing: as many as the work uses up", default=None
    )
    price: Decimal | None = column(NOT_NEGATIVE, "Price of one", default=None)
    cost: Decimal | None = column(NOT_NEGATIVE, "Cost of one", default=None)
    markup: Decimal | None = column(PERCENT, "Mark-up on the cost", default=None)
    margin: Decimal | None = column(MARGIN, "Or margin on the price", default=None)
    tax_code: str = column(CODE, "Tax code", default="", refers="tax_codes")
    group: str = column(choice("parts", "exchange"), "Income group", default="parts")
    discountable: bool = column(YES_NO, "Whether it is discounted", default=True)
    surcharge: str = column(CODE, "Exchange surcharge", default="", refers="surcharges")
    old_unit: str = column(
        choice("full", "part", "none"), "Grade of an old unit handed in", default=""
    )
    worth: Decimal | None = column(
        NOT_NEGATIVE,
        "Worth of one old unit as agreed; counts where tax is due on it",
        default=None,
    )
    own_stock: bool = column(YES_NO, "Whether the customer brings it", default=False)
    warranty: Decimal | None = column(SHARE, "Share that the shop bears", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FeeRow:
    """A fee asked for, or left out."""

    fee: str = column(CODE, "Fee", refers="fees")
    quantity: Decimal = column(NOT_NEGATIVE, "How often; 0 leaves it out")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CallItRow:
    """A round figure for all of it, with tax."""

    amount: Decimal = column(POSITIVE, "Total with tax")
    reason: str = column(TEXT, "Why")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InvoiceRow:
    """What an invoice needs beside the job."""

    number: str = column(TEXT, "Number of the invoice")
    date: datetime.date = column(DATE, "Day of the invoice")
    supplied: datetime.date | None = column(
        DATE, "Day of supply, if another", default=None
    )


class Section(NamedTuple, Generic[Row]):
    """A part of a job file: one table, or a list of them."""

    table: Table[Row]
    many: bool


TOP = Table("", TopRow, "Keys at the top of the file")
JOB = Table("", JobRow, "Keys of a job that stands alone")
JOB_SECTIONS: Mapping[str, Section[Any]] = {
    "heads": Section(Table("heads", HeadRow, "The heads that came"), True),
    "work": Section(Table("work", WorkRow, "Operations asked for"), True),
    "sets": Section(Table("sets", SetRow, "Sets of work asked for"), True),
    "free": Section(Table("free", FreeLine, "Work that no table knows"), True),
    "parts": Section(Table("parts", PartRow, "Parts"), True),
    "outwork": Section(Table("outwork", Outwork, "Work of another shop"), True),
    "fees": Section(Table("fees", FeeRow, "Fees"), True),
    "deposits": Section(Table("deposits", Deposit, "Deposits"), True),
    "exempt": Section(Table("exempt", Exemption, "Exemption from tax"), False),
    "aside": Section(Table("aside", AsideRow, "Rules of the tax set aside"), True),
    "call_it": Section(Table("call_it", CallItRow, "A round figure"), False),
}
SECTIONS: Mapping[str, Section[Any]] = {
    "customer": Section(Table("customer", Customer, "Whose head it is"), False),
    **JOB_SECTIONS,
    "invoice": Section(Table("invoice", InvoiceRow, "The invoice"), False),
}

#: Keys of a head that hold tables of facts rather than a text.
FACT_KEYS = ("facts", "inlet", "exhaust", "positions")


@dataclass(frozen=True, slots=True)
class Invoice:
    """Number and days of an invoice, as the file gives them."""

    number: str
    on: datetime.date
    supplied: datetime.date | None


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file that was read.

    Attributes:
        jobs: label and job of each alternative; one without a label where the file
            has none.
        places: where each alternative's rows of work and sets stand, for messages.
    """

    number: str
    on: datetime.date
    tax_point: datetime.date
    valid_until: datetime.date
    ready: datetime.date | None
    customer: Customer
    jobs: tuple[tuple[str, Job], ...]
    invoice: Invoice | None
    document: Document
    places: tuple[Mapping[str, Keys], ...]

    def problems(self, error: RuleError, alternative: int) -> ProblemsError:
        """Return a refusal of *alternative* as problems with their lines."""
        if not isinstance(error, RefusedError):
            return ProblemsError(
                [Problem(self.document.file, None, "", "", str(error))]
            )
        found = []
        for refusal in error.refusals:
            path = (*self.places[alternative].get(refusal.table, ()), refusal.row)
            line = self.document.line(path)
            found.append(
                Problem(self.document.file, line, refusal.table, "", str(refusal.error))
            )
        return ProblemsError(found)


def read_job(path: Path, edition: Edition) -> JobFile:
    """Read the job file *path* for *edition*.

    Raises:
        ProblemsError: with every problem of the file; nothing is priced.
    """
    document = toml.load(path)
    problems: list[Problem] = []
    common = {k: v for k, v in document.values.items() if k != "alternatives"}
    listed = document.values.get("alternatives", [])
    if not isinstance(listed, list) or not all(isinstance(a, dict) for a in listed):
        allowed = "allowed: tables headed [[alternatives]]"
        problems.append(document.problem(("alternatives",), listed, allowed))
        listed = []
    if len(listed) > MOST_ALTERNATIVES:
        allowed = f"allowed: at most {MOST_ALTERNATIVES} alternatives"
        problems.append(document.problem(("alternatives",), len(listed), allowed))
    readers = [
        _Alternative(document, edition, common, own, ("alternatives", index))
        for index, own in enumerate(listed or [{}])
    ]
    for reader in readers:
        reader.read()
        problems += reader.problems
    if problems:
        raise ProblemsError(sorted(dict.fromkeys(problems), key=_row))
    first = readers[0]
    top = first.top
    return JobFile(
        number=top.number,
        on=top.date,
        tax_point=top.tax_point or top.date,
        valid_until=top.valid_until or holds_until(edition, top.date),
        ready=top.ready,
        customer=first.only("customer") or Customer(),
        jobs=tuple((reader.label, reader.job) for reader in readers),
        invoice=_invoice(first.only("invoice")),
        document=document,
        places=tuple(reader.places for reader in readers),
    )


def job_in(document: Document, edition: Edition) -> Job:
    """Return the one job of *document*: keys of a job file, without those of an offer.

    Raises:
        ProblemsError: with every problem of the document.
    """
    places = {key: (key,) for key in document.values}
    reader = _Reader(document, edition, JOB, JOB_SECTIONS, document.values, places)
    reader.read()
    if reader.problems:
        raise ProblemsError(reader.problems)
    return reader.job


class _Reader(Generic[Top]):
    """Reads one job; its keys may stand at several places of a document."""

    top: Top
    job: Job

    def __init__(
        self,
        document: Document,
        edition: Edition,
        table: Table[Top],
        sections: Mapping[str, Section[Any]],
        values: Mapping[str, Any],
        places: Mapping[str, Keys],
    ) -> None:
        self.document = document
        self.edition = edition
        self.table = table
        self.sections = sections
        self.values = values
        self.places = places
        self.rows: dict[str, list[tuple[Any, Keys]]] = {}
        self.problems: list[Problem] = []

    def read(self) -> None:
        """Read everything: a job, or what keeps it from being one."""
        self.rows = {name: self._rows(name, of) for name, of in self.sections.items()}
        rows = self.rows
        declined = self._declined()
        top = self._top()
        heads = self._heads(rows["heads"])
        work = [self._asked(row, path) for row, path in rows["work"]]
        sets = [self._asked_set(row, path) for row, path in rows["sets"]]
        for row, path in rows["free"]:
            if (row.hours is None) == (row.amount is None):
                self._wrong((*path, "hours"), row.hours, "either hours or an amount")
        for row, path in rows["parts"]:
            if not row.part and not row.description:
                self._wrong((*path, "part"), None, "either a part or a description")
        if self.problems or top is None:
            return
        self.top = top
        terms = self.edition.terms[top.terms or self.edition.shop.terms]
        called = self.only("call_it")
        self.job = Job(
            heads=heads,
            reason=top.reason,
            work=tuple(work),
            sets=tuple(sets),
            free=tuple(row for row, _ in rows["free"]),
            parts=tuple(_part(row) for row, _ in rows["parts"]),
            outwork=tuple(row for row, _ in rows["outwork"]),
            fees=tuple(AskedFee(r.fee, r.quantity) for r, _ in rows["fees"]),
            terms=terms,
            agreed=agreed_prices(self.edition, terms),
            exemption=self.only("exempt"),
            rush=top.rush,
            call_it=OwnPrice(called.amount, called.reason) if called else None,
            deposits=tuple(row for row, _ in rows["deposits"]),
            propose=top.propose,
            declined=declined,
            minutes_factor=top.minutes_factor,
            answers=tuple(top.answers),
            aside={r.rule: Override(r.by, r.reason) for r, _ in rows["aside"]},
        )

    def only(self, name: str) -> Any:
        """Return the row of a section that has one, if it is there."""
        return next((row for row, _ in self.rows[name]), None)

    def _top(self) -> Top | None:
        leave = (*self.sections, "declined")
        top, problems = toml.record(
            self.document, self.table, self.values, leave=leave, places=self.places
        )
        self.problems += problems
        self._refer(self.table, self.values, ())
        return top

    # Rows of text.

    def _wrong(self, path: Keys, found: object, allowed: str) -> None:
        self.problems.append(self.document.problem(path, found, allowed))

    def _rows(self, name: str, section: Section[Row]) -> list[tuple[Row, Keys]]:
        if name not in self.values:
            return []
        place = self.places[name]
        value = self.values[name]
        listed = value if section.many else [value]
        shape = f"[[{name}]]" if section.many else f"[{name}]"
        if not isinstance(listed, list) or not all(isinstance(v, dict) for v in listed):
            self._wrong(place, value, f"allowed: {shape} with keys of its own")
            return []
        rows = []
        leave = FACT_KEYS if name == "heads" else ()
        for index, given in enumerate(listed):
            path = (*place, index) if section.many else place
            values = given
            if name == "heads" and isinstance(given.get("layout"), dict):
                values = {**given, "layout": _INLINE}
            row, problems = toml.record(
                self.document, section.table, values, path, leave
            )
            self.problems += problems
            self._refer(section.table, given, path)
            if row is not None:
                self._check_coins(row, path)
                rows.append((row, path))
        return rows

    def _refer(self, table: Table[Any], values: Mapping[str, Any], path: Keys) -> None:
        """Check that every code of a row is in the table that it refers to."""
        for name, about in table.columns().items():
            given = values.get(name, "")
            if not about.refers or isinstance(given, dict):
                continue  # a layout written out; in any other place already a problem
            code = toml.as_text(given)
            known = _codes(self.edition, about.refers)
            if code and code not in known:
                place = (*path, name) if path else self.places.get(name, (name,))
                allowed = f"allowed: a code of {about.refers}.csv{near(code, known)}"
                self._wrong(place, code, allowed)

    def _check_coins(self, row: object, path: Keys) -> None:
        """Refuse an amount that stands on a line and has no coins of its currency."""
        for name in _ON_A_LINE.get(type(row), ()):
            amount = getattr(row, name)
            currency = self.edition.currency
            if amount is not None and amount % currency.unit:
                allowed = f"at most {currency.digits} decimals, as {currency.code} has"
                self._wrong((*path, name), amount, allowed)

    # Heads.

    def _heads(self, rows: Iterable[tuple[HeadRow, Keys]]) -> tuple[Head, ...]:
        heads: list[Head] = []
        for row, path in rows:
            taken = [head.tag for head in heads]
            tag = row.tag.upper() or next(t for t in tags() if t not in taken)
            if tag in taken:
                self._wrong((*path, "tag"), tag, "another head has this tag")
            values = self._at(path)
            layout = self._layout(row, values, path)
            if layout is None:
                continue
            heads.append(
                Head(
                    tag=tag,
                    layout=layout,
                    label=row.label,
                    facts=self._facts(values.get("facts", {}), (*path, "facts")),
                    side_facts={
                        side: self._facts(values[side.word], (*path, side.word), side)
                        for side in SIDES
                        if side.word in values
                    },
                    position_facts=self._position_facts(values, path, tag, layout),
                    condition=frozenset(row.condition),
                    condemned_at=row.condemned_at,
                )
            )
        return tuple(heads)

    def _at(self, path: Keys) -> Mapping[str, Any]:
        value: Any = self.document.values
        for key in path:
            value = value[key]
        return value  # type: ignore[no-any-return]

    def _layout(
        self, row: HeadRow, values: Mapping[str, Any], path: Keys
    ) -> Layout | None:
        given = values["layout"]
        if not isinstance(given, dict):
            return self.edition.layouts.get(row.layout)
        named = {"code": _INLINE, "name": _inline_name(given), **given}
        layout, problems = toml.record(
            self.document, _LAYOUTS, named, (*path, "layout")
        )
        self.problems += problems
        if layout is not None:
            for key, found, allowed in layout_mistakes(layout):
                self._wrong((*path, "layout", key), found, allowed)
            if layout.size_class not in (classes := self.edition.size_classes):
                allowed = f"allowed: {', '.join(classes)}"
                self._wrong((*path, "layout", "size_class"), layout.size_class, allowed)
        return layout

    def _facts(
        self, values: Any, path: Keys, side: Side | None = None
    ) -> dict[str, Fact]:
        if not isinstance(values, dict):
            self._wrong(path, values, "allowed: a table of facts")
            return {}
        facts: dict[str, Fact] = {}
        for name, value in values.items():
            if name == "at":
                continue
            kind = FACTS.get(name)
            if kind is None or (side and kind.scope != "side"):
                known = [n for n, k in FACTS.items() if not side or k.scope == "side"]
                self._wrong((*path, name), name, f"known facts: {', '.join(known)}")
            elif not kind.words:
                try:
                    facts[name] = NOT_NEGATIVE.read(toml.as_text(value))
                except ValueError:
                    self._wrong((*path, name), value, "allowed: a number such as 5.5")
            else:
                words = value if isinstance(value, list) else [value]
                if any(word not in kind.words for word in words) or (
                    len(words) != 1 and not kind.several
                ):
                    allowed = f"allowed: {', '.join(kind.words)}"
                    self._wrong((*path, name), value, allowed)
                else:
                    facts[name] = frozenset(words) if kind.several else words[0]
        return facts

    def _position_facts(
        self, values: Mapping[str, Any], path: Keys, tag: str, layout: Layout
    ) -> dict[Position, Mapping[str, Fact]]:
        facts: dict[Position, Mapping[str, Fact]] = {}
        there = {p for side in SIDES for p in Head(tag, layout).positions(side)}
        listed = values.get("positions", [])
        if not isinstance(listed, list) or not all(isinstance(v, dict) for v in listed):
            allowed = "allowed: tables of facts, each with at"
            self._wrong((*path, "positions"), listed, allowed)
            return {}
        for index, row in enumerate(listed):
            place = (*path, "positions", index)
            if not row.get("at"):
                self._wrong((*place, "at"), None, "the valves are missing")
            for text in _listed(row.get("at", [])):
                position = self._position(text, (*place, "at"))
                if position and position not in there:
                    self._wrong((*place, "at"), text, f"allowed: a valve of head {tag}")
                elif position:
                    facts[position] = self._facts(row, place, position.side)
        return facts

    def _position(self, text: str, path: Keys) -> Position | None:
        try:
            return parse_position(text)
        except PositionError as error:
            self._wrong(path, text, str(error))
            return None

    # Work.

    def _asked(self, row: WorkRow, path: Keys) -> Asked:
        side = None if row.which == "all" else side_of(row.which)
        if row.despite_by and not row.despite_reason:
            self._wrong((*path, "despite_reason"), None, "a reason is needed")
        if row.despite_reason and not row.despite_by:
            self._wrong((*path, "despite_by"), None, "a name is needed")
        return Asked(
            operation=row.op,
            heads=tuple(tag.upper() for tag in row.heads),
            which=Selection(side, row.cylinders, row.positions, row.number),
            size=self._size(row.size),
            own=self._own(row, path),
            warranty=row.warranty,
            again=row.set_up_again,
            despite=(
                Override(row.despite_by, row.despite_reason) if row.despite_by else None
            ),
        )

    def _asked_set(self, row: SetRow, path: Keys) -> AskedSet:
        return AskedSet(
            set=row.set,
            heads=tuple(tag.upper() for tag in row.heads),
            size=self._size(row.size),
            own=self._own(row, path),
        )

    def _own(self, row: WorkRow | SetRow, path: Keys) -> OwnPrice | None:
        if row.price is None:
            return None
        if not row.reason:
            self._wrong((*path, "reason"), None, "a price set by hand needs a reason")
        return OwnPrice(row.price, row.reason, row.discountable)

    def _size(self, text: str) -> Length | None:
        return read_size(text, self.edition.shop.size_unit) if text else None

    def _declined(self) -> dict[str, str]:
        declined = self.values.get("declined", {})
        place = self.places.get("declined", ())
        if not isinstance(declined, dict):
            self._wrong(place, declined, "allowed: [declined] with code = reason")
            return {}
        known = {*self.edition.operations, *self.edition.parts_of}
        for code in declined:
            if code not in known:
                allowed = f"an operation or kind of part{near(code, known)}"
                self._wrong((*place, code), code, f"allowed: {allowed}")
        return {code: str(reason) for code, reason in declined.items()}


class _Alternative(_Reader[TopRow]):
    """Reads one alternative: the common keys, each replaced where it has its own."""

    def __init__(
        self,
        document: Document,
        edition: Edition,
        common: Mapping[str, Any],
        own: Mapping[str, Any],
        place: Keys,
    ) -> None:
        self.label = str(own.get("label", ""))
        own = {key: value for key, value in own.items() if key != "label"}
        values = {**common, **own}
        places = {key: (*place, key) if key in own else (key,) for key in values}
        super().__init__(document, edition, TOP, SECTIONS, values, places)

    def _top(self) -> TopRow | None:
        top = super()._top()
        start = self.edition.shop.valid_from
        if top is not None and top.date < start:
            allowed = f"the edition is in force from {start.isoformat()}"
            self._wrong(("date",), top.date, allowed)
        return top


#: Amounts that are printed as they are given; others are rounded first.
_ON_A_LINE: Mapping[type, tuple[str, ...]] = {
    WorkRow: ("price",),
    SetRow: ("price",),
    CallItRow: ("amount",),
    Deposit: ("amount",),
}


def _row(problem: Problem) -> int:
    return problem.row or 0


_INLINE = "own"
_LAYOUTS = Table("layouts", OwnLayout, TABLES["layouts"].about)


def _inline_name(given: Mapping[str, Any]) -> str:
    counts = [given.get(key, 0) for key in ("cylinders", "inlet", "exhaust")]
    return f"{counts[0]} cylinders, {counts[1]} + {counts[2]} valves each"


def _codes(edition: Edition, table: str) -> Collection[str]:
    if table == "tax_codes":
        return edition.tax_rows
    return getattr(edition, table)  # type: ignore[no-any-return]


def _invoice(row: InvoiceRow | None) -> Invoice | None:
    return Invoice(row.number, row.date, row.supplied) if row else None


def _listed(value: Any) -> list[str]:
    return [str(v) for v in value] if isinstance(value, list) else [str(value)]


def _part(row: PartRow) -> AskedPart:
    return AskedPart(
        code=row.part,
        description=row.description,
        quantity=row.quantity,
        price=row.price,
        cost=row.cost,
        markup=row.markup,
        margin=row.margin,
        tax_code=row.tax_code,
        group=row.group,
        discountable=row.discountable,
        surcharge=row.surcharge,
        old_unit=row.old_unit,
        worth=row.worth,
        own_stock=row.own_stock,
        warranty=row.warranty,
    )
