"""The form of a call: what stands in it, as typed, and how it is read.

What cannot be read stays as it was typed, and the field says why.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from quoting.domain.country import Answer
from quoting.domain.enquiry import Enquiry
from quoting.domain.errors import ProblemsError, RuleError
from quoting.domain.head import (
    CONDITIONS,
    Position,
    PositionError,
    parse_position,
)
from quoting.domain.job import (
    Asked,
    AskedSet,
    FreeLine,
    Job,
    Override,
    OwnPrice,
    Selection,
)
from quoting.domain.lengths import Length, LengthError, parse_length
from quoting.domain.quote import (
    Alternative,
    offer,
)
from quoting.domain.rates import side_of
from quoting.domain.tax_rules import first_named
from quoting.files import job_document
from quoting.i18n import Formats
from quoting.web.forms import set_aside
from quoting.workflow import (
    customers,
)
from quoting.workflow.customers import NoSuchRecordError

if TYPE_CHECKING:
    from sqlalchemy.orm import Session
    from werkzeug.datastructures import MultiDict

    from quoting.domain.edition import Edition
    from quoting.store.models import Customer

ROWS = 3


class AddedRow(NamedTuple):
    """One row of work added by hand, as typed."""

    op: str = ""
    which: str = ""
    number: str = ""
    size: str = ""


class FreeRow(NamedTuple):
    """One free line, as typed."""

    what: str = ""
    amount: str = ""


class Wanted(NamedTuple):
    """What of the form decides the price, as typed."""

    said: str
    base: str
    layout: str
    heads: str
    reason: str
    condition: tuple[str, ...]
    rush: str
    sets: tuple[str, ...]
    added: tuple[AddedRow, ...]
    free: tuple[FreeRow, ...]
    out: tuple[str, ...]
    own: tuple[tuple[str, str], ...]
    pick: str
    at: tuple[str, ...]
    call_it: str
    tax_asked: str
    tax_yes: tuple[str, ...]
    aside: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Call:
    """What stands in the form, as typed, and what is wrong with it."""

    said: str = ""
    base: str = ""
    layout: str = ""
    heads: str = ""
    reason: str = ""
    condition: tuple[str, ...] = ()
    terms: str = ""
    rush: str = ""
    sets: tuple[str, ...] = ()
    added: tuple[AddedRow, ...] = ()
    free: tuple[FreeRow, ...] = ()
    out: tuple[str, ...] = ()
    own: Mapping[str, str] = field(default_factory=dict)
    pick: str = ""
    at: tuple[str, ...] = ()
    call_it: str = ""
    tax_asked: str = ""
    tax_yes: tuple[str, ...] = ()
    aside: tuple[tuple[str, str], ...] = ()
    headline: str = ""
    label: str = ""
    ways: tuple[str, ...] = ()
    customer_id: str = ""
    caller: str = ""
    phone: str = ""
    email: str = ""
    order_number: str = ""
    registration: str = ""
    engine: str = ""
    casting: str = ""
    arrives: str = ""
    ready: str = ""
    call_back: str = ""
    quote: str = ""
    version: str = ""
    why: str = ""
    wrong: Mapping[str, str] = field(default_factory=dict)

    @property
    def wanted(self) -> Wanted:
        """Return what decides the price."""
        typed = {name: getattr(self, name) for name in Wanted._fields}
        return Wanted(**typed | {"own": tuple(self.own.items())})


_PLAIN = (
    "said", "base", "layout", "heads", "reason", "terms", "rush", "pick", "call_it",
    "headline", "label", "customer_id", "caller", "phone", "email", "order_number",
    "registration", "engine", "casting", "arrives", "ready", "call_back", "quote",
    "version", "why", "tax_asked",
)  # fmt: skip


def typed(form: "MultiDict[str, str]") -> Call:
    """Return what was sent, without judging it."""
    columns = [form.getlist(f"add_{name}") for name in AddedRow._fields]
    plain: dict[str, Any] = {name: form.get(name, "").strip() for name in _PLAIN}
    return Call(
        **plain,
        condition=tuple(form.getlist("condition")),
        sets=tuple(code for code in form.getlist("set") if code),
        added=tuple(AddedRow(*row) for row in zip(*columns, strict=False)),
        free=tuple(
            FreeRow(*row)
            for row in zip(
                form.getlist("free_what"), form.getlist("free_amount"), strict=False
            )
        ),
        out=tuple(form.getlist("out")),
        own={
            name[4:]: text.strip()
            for name, text in form.items()
            if name.startswith("own-") and text.strip()
        },
        at=tuple(form.getlist("at")),
        tax_yes=tuple(form.getlist("tax_yes")),
        aside=tuple(set_aside(form).items()),
        ways=tuple(form.getlist("way")),
    )


def key_of(text: str) -> int:
    """Return a key or count that a form carries; 0, which is neither, if it is none."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


class CallReader:
    """Makes sense of who calls about which quote, noting what cannot be read."""

    def __init__(self, call: Call) -> None:
        self.call = call
        self.wrong: dict[str, str] = {}

    def customer(self, session: "Session") -> "Customer | None":
        """Return whose call it is, if that was picked."""
        text = self.call.customer_id
        if not text:
            return None
        try:
            return customers.customer(session, key_of(text))
        except NoSuchRecordError:
            self.wrong["matches"] = "Nobody on record was picked; pick who calls again."
            return None

    def quote(self) -> int | None:
        """Return the key of the quote that is revised; None: the call is a new one."""
        text = self.call.quote
        if text and not key_of(text):
            self.wrong["said"] = "No quote is revised here; saved, this is a new one."
        return key_of(text) or None

    def kept(self, edition: "Edition", on: date) -> dict[str, Alternative]:
        """Return the ways that were kept, by their text; what cannot be is told."""
        ways = {}
        for text in filter(None, self.call.ways):
            label, _, job = text.partition("\n")
            try:
                read = job_document.read(job, edition)
                way = offer(edition, label, read, on)
            except RuleError as error:
                why_not = str(error)
            else:
                if way.priced.lines:
                    ways[text] = way
                    continue
                why_not = "It asks for no work."
            named = label[:80] or "a way"
            self.wrong["tell"] = f"Kept before and no more: {named}. {why_not}"
        return ways

    def day(self, name: str) -> date | None:
        """Return the day of a field; None where there is none, or none can be read."""
        text = getattr(self.call, name)
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.wrong[name] = "Write the day like 2026-12-24."
            return None


class WorkReader:
    """Makes an enquiry of what was typed, noting what cannot be read."""

    def __init__(
        self, wanted: Wanted, edition: "Edition", formats: Formats, who: str
    ) -> None:
        self.wanted, self.edition, self.formats = wanted, edition, formats
        self.who = who
        self.wrong: dict[str, str] = {}

    def enquiry(self) -> Enquiry:
        """Return what is asked for, without what cannot be read."""
        wanted, base = self.wanted, self._base(self.wanted.base)
        return Enquiry(
            said=wanted.said,
            base=base,
            layout=wanted.layout if wanted.layout in self.edition.layouts else "",
            heads=self._heads(),
            reason=wanted.reason if wanted.reason in self.edition.reasons else "",
            condition=tuple(c for c in wanted.condition if c in CONDITIONS) or None,
            work=tuple(self._work()),
            sets=tuple(
                AskedSet(code) for code in wanted.sets if code in self.edition.sets
            ),
            left_out=dict.fromkeys(wanted.out, "left out on the phone"),
            own=self._own(),
            positions=self._positions(),
            free=tuple(self._free()),
            rush=wanted.rush if wanted.rush in self.edition.rush else "",
            call_it=self._call_it(),
            answers=self._answers(),
            aside=self._aside(base.aside if base else {}),
        )

    def _answers(self) -> tuple[str, ...] | None:
        if not self.wanted.tax_asked:
            return None
        return tuple(answer for answer in Answer if answer in self.wanted.tax_yes)

    def _aside(self, before: Mapping[str, Override]) -> dict[str, Override] | None:
        """Return what is set aside; who did so before keeps the name."""
        if not self.wanted.tax_asked:
            return None
        rules = {rule.code for rule in self.edition.rules}
        said = {
            code: Override(self.who, reason)
            for code, reason in self.wanted.aside
            if code in rules
        }
        return first_named(said, before)

    def _base(self, text: str) -> Job | None:
        if not text:
            return None
        try:
            return job_document.read(text, self.edition)
        except ProblemsError as error:
            self.wrong["base"] = str(error)
            return None

    def _heads(self) -> int | None:
        text = self.wanted.heads
        if not text:
            return None
        if not 1 <= key_of(text) <= 26:
            self.wrong["heads"] = "How many heads came: 1 to 26."
            return None
        return key_of(text)

    def _amount(self, name: str, text: str) -> Decimal | None:
        try:
            amount = self.formats.read(text)
            self.edition.currency.to_minor(amount)
        except RuleError as error:
            self.wrong[name] = str(error)
            return None
        if not 0 <= amount <= 10_000_000:
            self.wrong[name] = "An amount is neither negative nor endless."
            return None
        return amount

    def _size(self, name: str, text: str) -> Length | None:
        if not text:
            return None
        try:
            return parse_length(text, self.edition.shop.size_unit)
        except LengthError as error:
            self.wrong[name] = str(error)
            return None

    def _work(self) -> list[Asked]:
        rows = []
        for index, row in enumerate(self.wanted.added):
            code = row.op.split(" ")[0].strip().upper()
            if not code:
                continue
            if code not in self.edition.operations:
                self.wrong[f"added{index}"] = f"There is no operation {code}."
                continue
            number = None
            if row.number:
                number = self._amount(f"added{index}", row.number)
            rows.append(
                Asked(
                    code,
                    which=Selection(side=side_of(row.which), number=number),
                    size=self._size(f"added{index}", row.size),
                )
            )
        return rows

    def _positions(self) -> dict[str, tuple[Position, ...]]:
        if self.wanted.pick not in self.edition.operations or not self.wanted.at:
            return {}
        found = []
        for text in self.wanted.at:
            try:
                found.append(parse_position(text))
            except PositionError as error:
                self.wrong["at"] = str(error)
        return {self.wanted.pick: tuple(found)} if found else {}

    def _own(self) -> dict[str, OwnPrice]:
        own = {}
        for code, text in self.wanted.own:
            amount = self._amount(f"own-{code}", text)
            if amount is not None:
                own[code] = OwnPrice(amount, "agreed on the phone")
        return own

    def _free(self) -> list[FreeLine]:
        rows = []
        for index, row in enumerate(self.wanted.free):
            if not row.what.strip() and not row.amount.strip():
                continue
            if not row.what.strip():
                self.wrong[f"free{index}"] = "Say what is done for this amount."
                continue
            amount = self._amount(f"free{index}", row.amount)
            if amount is not None:
                rows.append(FreeLine(row.what.strip(), amount=amount))
        return rows

    def _call_it(self) -> OwnPrice | None:
        if not self.wanted.call_it:
            return None
        amount = self._amount("call_it", self.wanted.call_it)
        return None if amount is None else OwnPrice(amount, "agreed on the phone")
