"""Priced lines as a customer reads them: one table, a column for each alternative."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from math import ceil
from typing import NamedTuple

from markupsafe import Markup

from quoting.domain.edition import Edition
from quoting.domain.head import Position, Side
from quoting.domain.job import Job
from quoting.domain.lines import Line, where, why
from quoting.domain.pricing import Priced
from quoting.domain.quote import Customer
from quoting.i18n import Formats
from quoting.papers.figures import State, head_plan
from quoting.papers.fonts import printable

#: Stands where an alternative does not have a row.
NOTHING = "\N{EN DASH}"

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

Way = tuple[Job, Priced]

_CHARGES = "Charges and discounts"


class Row(NamedTuple):
    """One thing charged: what, how it is worked out, and its amount in each column.

    ``keep``: no page ends after it.
    """

    text: str
    small: str
    how: Sequence[str]
    amounts: Sequence[str]
    letters: str = ""
    keep: bool = False


class Section(NamedTuple):
    """Rows under one heading, and what stands among them without charge."""

    title: str
    rows: Sequence[Row]
    free: str
    last: bool


class Sum(NamedTuple):
    """A row of the totals."""

    text: str
    small: str
    amounts: Sequence[str]
    strong: bool = False


class Table(NamedTuple):
    """The lines and sums of one or more priced jobs.

    Attributes:
        columns: heading of each column of amounts.
        amount_mm: width of such a column.
        lettered: the lines carry the letters of their taxes.
    """

    columns: Sequence[str]
    sections: Sequence[Section]
    sums: Sequence[Sum]
    amount_mm: int
    lettered: bool = False


#: Of a column of amounts: a figure's width, and the gap before it.
FIGURE_MM, GAP_MM = 1.9, 4


def priced_table(
    edition: Edition,
    ways: Sequence[Way],
    formats: Formats,
    letters: Mapping[str, str] | None = None,
) -> Table:
    """Return priced jobs side by side; what they share stands on one row.

    Args:
        edition: that they were priced by.
        ways: the jobs, a column each.
        formats: the reader's locale.
        letters: for each tax code the letters of its rows in a tax table.
    """
    keyed = [_keyed(edition, priced) for _, priced in ways]
    sections: dict[str, list[_Key]] = {}
    for lines in keyed:
        for key in lines:
            _place(sections.setdefault(key.title, []), key, list(lines))
    made = [
        _section(title, sections[title], keyed, edition, ways, formats, letters or {})
        for title in sorted(sections, key=_late)
    ]
    if len(made) == 1:
        made = [made[0]._replace(title="")]
    code = formats.currency.code
    columns = [f"{letter}, {code}" for letter in LETTERS[: len(ways)]]
    sums = list(_sums([priced for _, priced in ways], formats))
    written = [*columns, *(printable(a) for total in sums for a in total.amounts)]
    return Table(
        columns=columns if len(ways) > 1 else [code],
        sections=kept_together(made),
        sums=sums,
        amount_mm=GAP_MM + ceil(FIGURE_MM * max(map(len, written))),
        lettered=letters is not None,
    )


#: Rows of the lines that are on the page of the sums at least.
ROWS_WITH_SUMS = 3


def kept_together(sections: Sequence[Section]) -> list[Section]:
    """Keep two rows under each heading, and the last rows with the sums."""
    kept = []
    before = sum(len(section.rows) for section in sections) - ROWS_WITH_SUMS
    for section in sections:
        rows = [
            row._replace(keep=index >= before or (not index and len(section.rows) > 1))
            for index, row in enumerate(section.rows)
        ]
        before -= len(rows)
        kept.append(section._replace(rows=rows, last=section is sections[-1]))
    return kept


class _Key(NamedTuple):
    """What makes lines of two alternatives the same row."""

    title: str
    kind: str
    code: str
    description: str
    side: str
    size: str
    again: int


_TITLES = {
    "labour": "Work",
    "free": "Work",
    "part": "Parts",
    "exchange": "Exchange head",
    "worth": "Exchange head",
    "surcharge": "Exchange head",
    "outwork": "Work of other shops",
}
_ORDER = list(dict.fromkeys([*_TITLES.values(), _CHARGES]))


def _late(title: str) -> int:
    """Return where a section stands: sets of work first, charges last."""
    return _ORDER.index(title) + 1 if title in _ORDER else 0


def _keyed(edition: Edition, priced: Priced) -> Mapping[_Key, Line]:
    keyed: dict[_Key, Line] = {}
    for line in priced.lines:
        title = _TITLES.get(line.kind, _CHARGES)
        if line.set:
            title = edition.sets[line.set].name
        key = _Key(
            title,
            line.kind,
            line.code,
            line.description,
            line.side or "",
            line.size.typed if line.size else "",
            again=0,
        )
        while key in keyed:
            key = key._replace(again=key.again + 1)
        keyed[key] = line
    return keyed


def _place(keys: list[_Key], key: _Key, order: Sequence[_Key]) -> None:
    """Put a row where its own alternative has it: after the row before it."""
    if key in keys:
        return
    before = [k for k in order[: order.index(key)] if k in keys]
    keys.insert(keys.index(before[-1]) + 1 if before else len(keys), key)


def _section(
    title: str,
    keys: Sequence[_Key],
    keyed: Sequence[Mapping[_Key, Line]],
    edition: Edition,
    ways: Sequence[Way],
    formats: Formats,
    letters: Mapping[str, str],
) -> Section:
    rows, free = [], []
    for key in keys:
        lines = [lines.get(key) for lines in keyed]
        first = next(line for line in lines if line)
        text = text_of(edition, first, formats)
        if not any(line.net or line.list_net for line in lines if line):
            said = f"{text} ({first.reason})" if first.reason else text
            free.append(said[:1].lower() + said[1:])
            continue
        rows.append(_row(text, first.because, lines, ways, formats, letters))
    return Section(title, rows, "; ".join(free), last=False)


def text_of(edition: Edition, line: Line, formats: Formats) -> str:
    """Return what a line says is done."""
    text = line.description
    if line.kind == "set_price":
        text = "Difference to the price of the set"
    elif line.kind == "labour":
        operation = edition.operations[line.code]
        text = operation.says or operation.name
    return f"{text}, {formats.length(line.size)}" if line.size else text


def _row(
    text: str,
    small: str,
    lines: Sequence[Line | None],
    ways: Sequence[Way],
    formats: Formats,
    letters: Mapping[str, str],
) -> Row:
    said: dict[str, list[str]] = {}
    for letter, line, (job, _) in zip(LETTERS, lines, ways, strict=False):
        if line:
            said.setdefault(how(line, job, formats), []).append(letter)
    codes = dict.fromkeys(code for line in lines if line for code, _ in line.shares)
    return Row(
        text=text,
        small=small,
        how=[
            f"{', '.join(of)}: {words}" if len(said) > 1 else words
            for words, of in said.items()
        ],
        amounts=[formats.amount(line.net) if line else NOTHING for line in lines],
        letters=" ".join(dict.fromkeys(letters[code] for code in codes))
        if letters
        else "",
    )


def how(line: Line, job: Job, formats: Formats) -> str:
    """Return the arithmetic, and before it the valves or heads where not all."""
    arithmetic = why(line, formats.amount, formats.quantity)
    place = where(line, job.heads, formats.quantity)
    singled_out = line.positions and not place.startswith("all ")
    some_heads = line.heads and len(line.heads) < len(job.heads)
    if singled_out or some_heads or not arithmetic:
        return f"{place}: {arithmetic}" if arithmetic else place
    return arithmetic


def _sums(ways: Sequence[Priced], formats: Formats) -> Iterable[Sum]:
    totals = [formats.amount(priced.totals.total) for priced in ways]
    contained = ways[0].inclusive and any(priced.totals.tax for priced in ways)
    if contained:
        yield Sum("Total with tax", "", totals, strong=True)
    else:
        nets = [formats.amount(priced.totals.net) for priced in ways]
        yield Sum("Net", "", nets)
    taxes = dict.fromkeys(group.tax for priced in ways for group in priced.taxes)
    for tax in taxes:
        groups = [
            next((group for group in priced.taxes if group.tax == tax), None)
            for priced in ways
        ]
        bases = [formats.amount(group.base) for group in groups if group]
        yield Sum(
            f"{tax.label} in it" if contained else tax.label,
            tax.reason or (f"on {bases[0]}" if len(ways) == 1 else ""),
            [formats.amount(group.amount) if group else NOTHING for group in groups],
        )
    if not contained:
        yield Sum("Total", "", totals, strong=True)


# What stands around the table.


def job_facts(
    edition: Edition, job: Job, customer: Customer
) -> Iterable[tuple[str, str]]:
    """Yield what every paper says of the job beside its number and date."""
    yield "your order", customer.order_number
    yield "registration", customer.registration
    yield "engine", customer.engine
    if job.reason:
        yield "why it came", edition.reasons[job.reason].name


def head_fact(job: Job) -> tuple[str, str]:
    """Return which heads a job is for, the words empty where none came."""
    layouts = Counter(head.layout.name for head in job.heads)
    named = [f"{n} x {name}" if n > 1 else name for name, n in layouts.items()]
    return "heads" if len(job.heads) > 1 else "head", "; ".join(named)


class MarkedPlan(NamedTuple):
    """A plan of the heads with valves marked, and the sentence under it.

    ``singled_out`` tells whether the marks stand for work on some valves only.
    """

    picture: Markup
    words: str
    singled_out: bool


class Marks(NamedTuple):
    """The valves worth marking, the sentence that says why, and if it singles out."""

    valves: frozenset[Position]
    words: str
    singled_out: bool


def marks(edition: Edition, job: Job, priced: Priced) -> Marks | None:
    """Return the valves worth marking on a plan; None where the heads have none.

    Marked are the valves of work that is done to some valves only, for that is what one
    wants to see; where there is none, every valve that is worked on.
    """
    every = {p for head in job.heads for side in Side for p in head.positions(side)}
    if not every:
        return None
    worked: dict[str, set[Position]] = {}
    for line in priced.lines:
        if line.kind == "labour" and line.positions:
            worked.setdefault(line.code, set()).update(line.positions)
    some = {code: valves for code, valves in worked.items() if len(valves) < len(every)}
    if not some:
        marked = frozenset(place for valves in worked.values() for place in valves)
        words = f"Filled: worked on, all {len(every)} valves." if marked else ""
        return Marks(marked, words, singled_out=False)
    marked = frozenset(next(iter(some.values())))
    names = [
        edition.operations[code].name.lower()
        for code, valves in some.items()
        if valves == marked
    ]
    words = f"Filled: {', '.join(names)}; {len(marked)} of {len(every)} valves."
    return Marks(marked, words, singled_out=True)


def marked_plan(
    edition: Edition, job: Job, priced: Priced, name: str
) -> MarkedPlan | None:
    """Return the plan of a job's heads with its ``marks``; None without valves."""
    found = marks(edition, job, priced)
    if found is None:
        return None
    states = dict.fromkeys(found.valves, State.TO_DO)
    picture = Markup(head_plan(job.heads, states, name=name))  # noqa: S704
    return MarkedPlan(picture, found.words, found.singled_out)
