"""Learning: what the shop's own jobs say of its times, and how past ranges did.

For the owner. Times are learnt by themselves; what is done with them is the owner's:
all, some or part of the way they become a draft of a new edition.
"""

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import exp, sqrt
from typing import TYPE_CHECKING, NamedTuple

from flask import (
    Blueprint,
    abort,
    flash,
    redirect,
    render_template,
    request,
    url_for,
)
from flask.typing import ResponseReturnValue
from sqlalchemy import select

from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import COUNTS
from quoting.domain.money import round_to
from quoting.store.models import Learning, Order
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.forms import Sent, Shows, shows
from quoting.web.wiring import wiring
from quoting.workflow import bench, drafts, learning, own_record, rates
from quoting.workflow.drafts import NewTimes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy.orm import Session

    from quoting.domain.calibration import Incident, LeftOut
    from quoting.domain.edition import Edition
    from quoting.domain.labour import Interval, Line
    from quoting.domain.rates import Operation
    from quoting.files.learnt_state import LearntState
    from quoting.papers.plots import Covered

bp = Blueprint("learning", __name__, url_prefix="/rates")

_NO_FORM = Sent()
#: More clockings that the page says the worth of.
_MORE = 10
#: How far towards the learnt minutes the new ones go, in per cent.
_STEPS = (100, 75, 50, 25)
#: Records that are listed; the plots show all.
_LISTED = 40
_THOUSANDTH = Decimal("0.001")


class NothingChosenError(RuleError):
    """No operation was chosen."""

    message = translatable("Choose at least one operation first.")


class NothingLearntError(RuleError):
    """Nothing was learnt of an operation that was to take its own minutes."""

    message = translatable("Nothing was learnt of {code}; leave it out.")


class NoSuchStepError(RuleError):
    """The way from the book to the own minutes is none that is offered."""

    message = translatable("Say how far to go from the book to your own minutes.")


class NotLearntError(RuleError):
    """Nothing was learnt yet."""

    message = translatable("Nothing was learnt yet: learn from the records first.")


def _digits(minutes: float) -> int:
    return 2 if minutes < 10 else 1 if minutes < 50 else 0


class Wording:
    """Minutes and intervals as the pages write them."""

    def __init__(self, how: Shows) -> None:
        self.formats = how.formats

    def figure(self, minutes: float) -> str:
        """Return minutes with as many decimals as they are worth."""
        return self.formats.number(Decimal(f"{minutes:.{_digits(minutes)}f}"))

    def whole(self, minutes: float) -> str:
        """Return minutes of a job, to the minute."""
        return self.formats.number(Decimal(round(minutes)))

    def interval(self, of: "Interval") -> str:
        """Return minutes with the two that hold 90 %: ``4.90 (4.45 to 5.39)``."""
        return f"{self.figure(of.median)} ({self.range(of)})"

    def range(self, of: "Interval") -> str:
        """Return the two minutes that hold 90 %, as fine as the middle ones."""
        digits = _digits(of.median)
        low, high = (Decimal(f"{end:.{digits}f}") for end in (of.low, of.high))
        return f"{self.formats.number(low)} to {self.formats.number(high)}"

    def share(self, of: float) -> str:
        """Return a share in whole per cent."""
        return self.formats.percent(Decimal(round(100 * of)))


@dataclass(frozen=True)
class Learnt:
    """An operation: the book's minutes and the shop's own, ready to be shown."""

    operation: "Operation"
    line: "Line"
    state: "LearntState"
    words: Wording

    @property
    def code(self) -> str:
        """Return its code."""
        return self.operation.code

    @cached_property
    def noun(self) -> str:
        """Return what a unit of it is called."""
        operation = self.operation
        return "step" if operation.step else COUNTS[operation.counted_by].singular

    @property
    def book(self) -> str:
        """Return the book's minutes in words."""
        line = self.line
        return " and ".join(
            f"{self.words.figure(minutes)} min a {what}"
            for minutes, what in (
                (line.book_setup, "set-up"),
                (line.book_unit, self.noun),
            )
            if minutes
        )

    @property
    def own(self) -> str:
        """Return the shop's own minutes in words, with the interval that holds 90 %."""
        return " and ".join(
            f"{self.words.interval(minutes)} a {what}"
            for minutes, what in (
                (self.line.setup, "set-up"),
                (self.line.unit, self.noun),
            )
            if minutes
        )

    @property
    def sentence(self) -> str:
        """Return what the jobs say, as one machinist tells another."""
        line = self.line
        if line.carried:
            return (
                f"{self.operation.name}: too few jobs ({line.jobs}): book {self.book}, "
                f"carried to {self.own} by your shop's general pace."
            )
        jobs = "job" if line.jobs == 1 else "jobs"
        times = "once" if line.clocked == 1 else f"{line.clocked} times"
        clocked = f" ({times} clocked by itself)" if line.clocked else ""
        return (
            f"{self.operation.name}: book {self.book}; your last {line.jobs} {jobs}"
            f"{clocked} say {self.own}.{self.usual}"
        )

    @property
    def usual(self) -> str:
        """Return what a usual quantity takes; empty where that says no more."""
        quantity = self.state.labour.calibration.usual.get(self.code)
        if not quantity or not self.line.setup or not self.line.unit:
            return ""
        units = max(1, round(quantity))
        noun = self.noun if units == 1 else COUNTS[self.operation.counted_by].plural
        whole = self.state.labour.whole(self.code, units)
        return f" With {units} {noun}: {self.words.interval(whole)} min."

    @property
    def moves(self) -> float:
        """Return by how much a usual quantity takes longer than in the book."""
        line = self.line
        quantity = self.state.labour.calibration.usual.get(self.code, 1.0)
        book = line.book_setup + line.book_unit * quantity
        return self.state.labour.whole(self.code, quantity).median / book - 1

    def new_times(self, way: Decimal) -> NewTimes:
        """Return the minutes that lie so far (0 to 1) from the book to the own ones."""
        old = self.operation.setup_minutes, self.operation.unit_minutes
        own = self.line.setup, self.line.unit
        setup, unit = (
            None
            if to is None
            else round_to(book + way * (Decimal(to.median) - book), _THOUSANDTH)
            for book, to in zip(old, own, strict=True)
        )
        return NewTimes(self.code, setup, unit)


class Next(NamedTuple):
    """An operation that is worth clocking by itself, and what that would bring."""

    learnt: Learnt
    now: str
    then: str


def _learnt(edition: "Edition", state: "LearntState", how: Shows) -> dict[str, Learnt]:
    """Return the operations that have minutes in the book and in the edition."""
    words = Wording(how)
    known = state.labour.own_weights
    return {
        code: Learnt(operation, state.labour.line(code), state, words)
        for code, operation in edition.operations.items()
        if code in known
    }


def _next(found: "Mapping[str, Learnt]", state: "LearntState") -> list[Next]:
    rows = []
    for code in state.labour.clock_next(count=3):
        if code not in found:
            continue
        learnt = found[code]
        quantity = state.labour.calibration.usual.get(code, 1.0)
        rows.append(
            Next(
                learnt,
                learnt.words.range(state.labour.whole(code, quantity)),
                learnt.words.range(state.labour.if_clocked(code, _MORE)),
            )
        )
    return rows


@bp.get("/learning")
@allow("owner")
def page() -> ResponseReturnValue:
    """Show what past jobs say of the times of the book."""
    return _page()


def _page(sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        edition = rates.in_force(session, wiring().today()).edition
        how = shows(edition)
        found = learning.state(session)
        rows: dict[str, Learnt] = {}
        people: Mapping[str, Interval] = {}
        after, state = [], None
        confidence, by_machinist = learning.chosen(session)
        if found is not None:
            state = found[1]
            rows = _learnt(edition, state, how)
            after = _next(rows, state)
            people = state.labour.people() if by_machinist else {}
        return render_template(
            "web/learning/page.html",
            last=learning.latest(session),
            used=learning.in_use(session),
            rows=sorted(
                (row for row in rows.values() if not row.line.carried),
                key=lambda row: -row.line.jobs,
            ),
            carried=[row for row in rows.values() if row.line.carried],
            after=after,
            more=_MORE,
            people=people,
            words=Wording(how),
            only_totals=state is not None
            and bool(state.labour.calibration.rows)
            and not state.labour.calibration.clocked,
            incidents=_incidents(session, state),
            left_out=_left_out(session, state),
            changeovers=learning.changeovers(session),
            codes_of=bench.codes_of,
            operations=edition.operations,
            confidence=confidence,
            confidences=[(str(c), _CONFIDENCES[c]) for c in learning.CONFIDENCES],
            by_machinist=by_machinist,
            steps=[(str(step), _steps_words(how, step)) for step in _STEPS],
            shows=how,
            sent=sent,
        )


def _steps_words(how: Shows, step: int) -> str:
    way = how.formats.percent(Decimal(step))
    return f"all the way, {way}" if step == 100 else f"{way} of the way"


_CONFIDENCES = {
    0: "as in the book",
    50: "half of such jobs stay within it",
    80: "80 of 100 stay within it",
    90: "90 of 100 stay within it",
}


def _orders(session: "Session", numbers: "set[str]") -> "dict[str, int]":
    query = select(Order.number, Order.id).where(Order.number.in_(numbers))
    return dict(session.execute(query).all())


def _incidents(
    session: "Session", state: "LearntState | None"
) -> "list[tuple[Incident, int | None]]":
    """Return the records that look like no ordinary work, with their order's key."""
    incidents = state.labour.calibration.incidents[:_LISTED] if state else ()
    keys = _orders(session, {each.job for each in incidents})
    return [(each, keys.get(each.job)) for each in incidents]


def _left_out(
    session: "Session", state: "LearntState | None"
) -> "list[tuple[LeftOut, int | None]]":
    left = state.labour.calibration.left_out[:_LISTED] if state else ()
    keys = _orders(session, {each.job for each in left})
    return [(each, keys.get(each.job)) for each in left]


def _send(form: str, do: "Callable[[Session], str]") -> ResponseReturnValue:
    def work(session: "Session") -> str:
        flash(do(session))
        return url_for("learning.page")

    return forms.send(form, work, _page)


@bp.post("/learning/learn")
@allow("owner")
def learn() -> ResponseReturnValue:
    """Learn from the records as they are now."""
    now = wiring().now()
    wiring().let_go()  # what is read below is younger than what the gate read
    key = learning.learn(wiring().database, now, "asked for")
    with wiring().reading() as session:
        row = session.get_one(Learning, key)
    flash(row.said or f"Learnt from {row.jobs} jobs with {row.rows} records.")
    return redirect(url_for("learning.page"), 303)


@bp.post("/learning/choose")
@allow("owner")
def choose() -> ResponseReturnValue:
    """Choose how timed work is priced, and whether people are told apart."""

    def do(session: "Session") -> str:
        learning.choose(
            session,
            confidence=_confidence(),
            by_machinist="by_machinist" in request.form,
            now=wiring().now(),
        )
        return "It is set up so."

    return _send("choose", do)


def _confidence() -> int:
    """Return the confidence that was chosen.

    Raises:
        NoSuchConfidenceError: none was.
    """
    confidence = forms.whole("confidence")
    if confidence is None:
        raise learning.NoSuchConfidenceError
    return confidence


@bp.post("/learning/changeover")
@allow("owner")
def changeover() -> ResponseReturnValue:
    """Write down that some operations go differently from now on."""

    def do(session: "Session") -> str:
        codes = forms.several("operation")
        if not codes:
            raise NothingChosenError
        what = forms.needed("what", "What changed")
        bench.change_over(session, codes, what, wiring().now())
        return "It is taken into account from today on."

    return _send("changeover", do)


@bp.post("/learning/accept")
@allow("owner")
def accept() -> ResponseReturnValue:
    """Draft an edition in which some operations take their own minutes."""

    def do(session: "Session") -> str:
        found = learning.state(session)
        if found is None:
            raise NotLearntError
        now = wiring().now()
        edition = rates.in_force(session, now.on).edition
        rows = _learnt(edition, found[1], shows(edition))
        way, chosen = Decimal(_way()) / 100, _chosen(rows)
        row = drafts.draft(
            session,
            [learnt.new_times(way) for learnt in chosen],
            now,
            why="learnt from past jobs",
        )
        flash(f"{row.name} is drafted. Nothing is priced by it yet.")
        return url_for("editions.page", edition_id=row.id)

    return forms.send("accept", do, _page)


def _way() -> int:
    """Return how far to go from the book to the own minutes, in per cent.

    Raises:
        NoSuchStepError: so far is not offered.
    """
    way = forms.number("way")
    if way not in _STEPS:
        raise NoSuchStepError
    return way


def _chosen(rows: "Mapping[str, Learnt]") -> list[Learnt]:
    """Return the operations that were chosen to take their own minutes.

    Raises:
        NothingChosenError: none was.
        NothingLearntError: of one of them nothing was learnt.
    """
    codes = list(dict.fromkeys(forms.several("take")))
    if not codes:
        raise NothingChosenError
    for code in codes:
        if code not in rows:
            raise NothingLearntError(code=code[:40])
    return [rows[code] for code in codes]


@bp.get("/learning/<code>")
@allow("owner")
def operation(code: str) -> ResponseReturnValue:
    """Show the jobs that an operation's minutes were learnt from."""
    from quoting.papers import plots

    with wiring().reading() as session:
        edition = rates.in_force(session, wiring().today()).edition
        how = shows(edition)
        found = learning.state(session)
        rows = _learnt(edition, found[1], how) if found else {}
        if found is None or code not in rows:
            abort(404)
        learnt, state = rows[code], found[1]
        points = [p for p in state.points if code in p.operations]
        alone = [p for p in points if p.operations == (code,)]
        shown = alone if len(alone) >= _FEW else points
        calibration = state.labour.calibration
        reach = exp(_EIGHTY * sqrt(calibration.noise**2 + calibration.job**2))
        whole = state.labour.whole(code, calibration.usual.get(code, 1.0))
        name = learnt.operation.name
        return render_template(
            "web/learning/operation.html",
            learnt=learnt,
            points=list(reversed(shown))[:_LISTED],
            number=len(shown),
            alone=shown is alone,
            scatter=plots.jobs_against_estimate(
                [plots.Point(p.expected, p.minutes, p.incident, p.job) for p in shown],
                unit="min",
                title=f"{name}: recorded against expected minutes",
                formats=how.formats,
                band=reach,
            ),
            drift=plots.drift(
                [plots.Moment(p.on, p.minutes / p.expected, p.incident) for p in shown],
                estimate=1.0,
                low=whole.low / whole.median,
                high=whole.high / whole.median,
                title=f"{name}: recorded over expected minutes, by day",
                formats=how.formats,
                marks=[
                    (row.on, row.what)
                    for row in learning.changeovers(session)
                    if code in bench.codes_of(row)
                ],
            ),
            keys=_orders(session, {p.job for p in shown[-_LISTED:]}),
            words=learnt.words,
            shows=how,
        )


#: Fewer records of an operation alone say less than all jobs that hold it.
_FEW = 5
#: Of the normal distribution: 80 % lie within so many sds of its middle.
_EIGHTY = 1.2816


# The shop's own record.


@bp.get("/record")
@allow("owner")
def record() -> ResponseReturnValue:
    """Show how often past ranges held, by month and by set of work."""
    from quoting.papers import plots

    with wiring().reading() as session:
        edition = rates.in_force(session, wiring().today()).edition
        how = shows(edition)
        words = Wording(how)
        jobs = own_record.came(session)
        months, sets = own_record.by_month(jobs), own_record.by_sets(jobs)
        names = {
            codes: " + ".join(
                edition.sets[code].name if code in edition.sets else code
                for code in codes.split()
            )
            or "no set of work"
            for codes in sets
        }
        return render_template(
            "web/learning/record.html",
            jobs=list(reversed(jobs)),
            listed=_LISTED,
            all={nominal: own_record.coverage(jobs, nominal) for nominal in _RANGES},
            money=own_record.within_money(jobs),
            pictures=[
                plots.coverage(
                    [
                        _covered(label, own_record.coverage(of, nominal))
                        for label, of in rows
                    ],
                    title=f"Inside the {words.share(nominal)} range, {by}",
                    formats=how.formats,
                )
                for nominal in _RANGES
                for by, rows in (
                    ("by month", list(months.items())),
                    ("by work", [(names[codes], of) for codes, of in sets.items()]),
                )
            ],
            tables=[
                (
                    "Month",
                    [
                        (month, [own_record.coverage(of, n) for n in _RANGES])
                        for month, of in months.items()
                    ],
                ),
                (
                    "Work",
                    [
                        (names[codes], [own_record.coverage(of, n) for n in _RANGES])
                        for codes, of in sets.items()
                    ],
                ),
            ],
            words=words,
            shows=how,
        )


_RANGES = tuple(own_record.RANGES)


def _covered(label: str, of: own_record.Coverage) -> "Covered":
    from quoting.papers.plots import Covered

    reach = of.reach
    return Covered(
        label,
        of.jobs,
        of.share,
        of.nominal,
        max(0.0, of.share - reach),
        min(1.0, of.share + reach),
    )
