"""Phone: what do I tell the caller?

One form holds the call. It is priced as one types, by sending the whole form and taking
back the parts of the page that changed; without scripts a button does the same.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, cast

from flask import (
    Blueprint,
    flash,
    get_template_attribute,
    redirect,
    render_template,
    request,
    url_for,
)
from markupsafe import Markup

from quoting.domain.country import Answer
from quoting.domain.enquiry import ToTell, Understood, jobs, to_tell
from quoting.domain.errors import RuleError
from quoting.domain.head import (
    CONDITIONS,
    Head,
    Position,
    Side,
)
from quoting.domain.job import (
    Job,
)
from quoting.domain.lines import Line, where, why
from quoting.domain.quote import (
    MOST_ALTERNATIVES,
    Alternative,
    offer,
)
from quoting.domain.rates import Operation, Terms
from quoting.domain.tax_rules import asked
from quoting.files import job_document
from quoting.i18n import Formats
from quoting.web.access import allow
from quoting.web.call import ROWS, Call, CallReader, Wanted, WorkReader, key_of, typed
from quoting.web.errors import status_of
from quoting.web.wiring import wiring
from quoting.workflow import (
    customers,
    learning,
    own_record,
    prospects,
    quotes,
    rates,
    release,
)
from quoting.workflow.search import Hit, search

if TYPE_CHECKING:
    from flask.typing import ResponseReturnValue
    from sqlalchemy.orm import Session

    from quoting.domain.edition import Edition
    from quoting.domain.outcomes import Outcomes, Sums
    from quoting.files.learnt_state import LearntState
    from quoting.store.models import Customer, Quote
    from quoting.workflow.prospects import Minutes

bp = Blueprint("phone", __name__, url_prefix="/phone")


class _Timed(NamedTuple):
    """How sure the price of timed work is to be, in per cent, and by what."""

    confidence: int
    state: "LearntState"


class Offered(NamedTuple):
    """What the work that is asked for may be, and what it costs.

    ``refused`` and ``wrong`` say why not: what cannot be done, and what cannot be read
    by the field it stands in.
    """

    understood: Understood
    ways: tuple[Alternative, ...]
    refused: tuple[str, ...]
    told: ToTell | None
    trade_name: str
    wrong: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What the page shows of a call."""

    call: Call
    edition: "Edition"
    formats: Formats
    offered: Offered
    kept: tuple[Alternative, ...] = ()
    plan: Markup | None = None
    plan_says: str = ""
    valves: tuple[tuple[str, bool], ...] = ()
    matches: tuple[Hit, ...] = ()
    customer: str = ""
    before: tuple["Quote", ...] = ()
    terms: Terms | None = None
    over_limit: release.OverLimit | None = None
    may_come_to: "Outcomes | None" = None
    minutes: "Minutes | None" = None

    @property
    def first(self) -> Alternative | None:
        """Return the way that leads: the only one, or the one that was picked."""
        ways = self.offered.ways
        return ways[0] if len(ways) == 1 else None

    @property
    def tasks(self) -> list[Operation]:
        """Return the work that can be put on picked valves only."""
        planned = self.first.priced.plan.tasks if self.first else ()
        return list({task.operation.code: task.operation for task in planned}.values())

    @property
    def net_first(self) -> bool:
        """Tell whether this caller thinks in prices before tax."""
        said = self.call.headline or (self.terms.headline if self.terms else "")
        return said == "net"

    def money(self, amount: Decimal) -> str:
        """Return an amount as the shop writes it."""
        return self.formats.money(amount)

    def minor(self, amount: int) -> str:
        """Return an amount in the smallest unit as the shop writes it."""
        return self.money(self.edition.currency.from_minor(amount))

    def headline(self, way: Alternative) -> str:
        """Return the figure that is said first."""
        totals = way.priced.totals
        return self.money(totals.net if self.net_first else totals.total)

    def other(self, way: Alternative) -> str:
        """Return the other figure, with what it is."""
        totals = way.priced.totals
        if not totals.tax:
            return "no tax is charged"
        if self.net_first:
            return f"{self.money(totals.total)} with tax"
        return f"{self.money(totals.net)} before tax"

    def rows(self, way: Alternative) -> Markup:
        """Return the lines of a way as rows of the table."""
        heads, formats, own = way.job.heads, self.formats, self.call.own
        lines = way.priced.lines
        rows = [_row(line, heads, formats, own.get(line.code)) for line in lines]
        return Markup("").join(rows)

    @property
    def asks(self) -> tuple[Answer, ...]:
        """Return what only a person knows of the tax."""
        return asked(self.edition.rules)

    @property
    def tax_yes(self) -> tuple[str, ...]:
        """Return what of it is answered with yes."""
        ways = self.offered.ways
        return ways[0].job.answers if ways else self.call.tax_yes

    @property
    def aside(self) -> Mapping[str, str]:
        """Return why rules of the tax are set aside, by their code; empty: may be."""
        way = self.first
        if way is None:
            return dict(self.call.aside)
        may = {change.rule.code: "" for change in way.priced.changes}
        return may | {code: why for code, (_, why) in way.job.aside.items()}

    def said_first(self, sums: "Sums") -> Decimal:
        """Return the one of two sums that is said first."""
        return sums.net if self.net_first else sums.total

    @staticmethod
    def hours(minutes: float) -> str:
        """Return minutes as hours and minutes.

        >>> Shown.hours(401.2)
        '6 h 41'
        """
        hours, rest = divmod(round(minutes), 60)
        return f"{hours} h {rest:02}" if hours else f"{rest} min"

    @property
    def range_bar(self) -> Markup:
        """Return the range of money as a drawing."""
        from quoting.papers.plots import range_bar

        assert self.may_come_to is not None  # noqa: S101
        money = self.may_come_to
        return range_bar(
            *map(self.said_first, (money.floor, money.low, money.likely, money.high)),
            formats=self.formats,
        )

    @property
    def also_say(self) -> str:
        """Return what to say to the caller of what may come on top."""
        if self.may_come_to is None:
            return ""
        said = []
        for each in self.may_come_to.weightiest[:2]:
            low, high = self.said_first(each.one), self.said_first(each.all)
            figure = self.money(low)
            if low != high:
                figure = f"{self.money(low)} for one up to {self.money(high)} for all"
            said.append(f"{each.finding.says}, which adds {figure}")
        if not said:
            return ""
        return f"Some such heads have {'; some have '.join(said)}. I ask you first."

    @property
    def sentence(self) -> str:
        """Return what to say to the caller."""
        way = self.first
        if way is None or self.offered.told is None:
            return ""
        said = [f"{self.headline(way)} as you ask it, {self.other(way)}."]
        if way.condemned is not None:
            said.append(
                "If the test shows that it cannot be repaired we stop there, and you "
                f"pay at most {self.money(way.condemned)}."
            )
        if self.offered.told.not_included:
            said.append("What the tests find comes on top; I ask you first.")
        until = self.formats.date(self.offered.told.valid_until)
        said.append(f"The price holds until {until}.")
        return " ".join(said)


@lru_cache(maxsize=4096)
def _row(
    line: Line, heads: tuple[Head, ...], formats: Formats, own: str | None
) -> Markup:
    """Return a line of the table; from key to key most of them stay as they are."""
    row = get_template_attribute("web/phone/line.html", "row")
    drawn = row(
        line,
        on=where(line, heads, formats.quantity),
        price=formats.money(line.net),
        why=why(line, formats.amount, formats.quantity),
        own=own,
    )
    return cast(Markup, drawn)


def show(session: "Session", call: Call) -> Shown:
    """Price what stands in the form and gather what the page shows.

    Args:
        session: of a reading transaction.
        call: what was typed.
    """
    on = wiring().today()
    edition = rates.in_force(session, on).edition
    reader = CallReader(call)
    for name in ("arrives", "ready", "call_back"):
        reader.day(name)
    customer, kept = reader.customer(session), reader.kept(edition, on)
    quote = reader.quote()
    terms = _terms(edition, call, customer.terms if customer else "")
    answers = tuple(quotes.answers(session).items())
    confidence, found = learning.chosen(session)[0], None
    if confidence:
        found = learning.state(session)
    offered = _offered(
        call.wanted,
        edition,
        on,
        terms.code,
        answers,
        _Timed(confidence, found[1]) if found else None,
        person.name if call.aside and (person := wiring().person) else "",
    )
    shown = Shown(
        call=replace(
            call,
            customer_id=str(customer.id) if customer else "",
            quote=str(quote or ""),
            ways=tuple(kept),
            wrong={**offered.wrong, **reader.wrong},
        ),
        edition=edition,
        formats=Formats(edition.shop.locale, edition.currency),
        offered=offered,
        kept=tuple(kept.values()),
        customer=customer.name if customer else "",
        terms=terms,
        matches=_matches(session, call) if customer is None else (),
        before=_before(session, customer, call.casting),
    )
    if customer is not None:
        more = shown.first.priced.totals.total if shown.first else Decimal(0)
        minor = edition.currency.to_minor(more)
        over = release.over_limit(session, customer, minor, on, revises=quote)
        shown = replace(shown, over_limit=over)
    if shown.first is None:
        return shown
    plan, plan_says = _plan(shown, shown.first)
    valves = tuple(_valves(shown, shown.first))
    return replace(shown, plan=plan, plan_says=plan_says, valves=valves)


def _with_prospects(session: "Session", shown: Shown) -> Shown:
    """Return what the page shows with what the job may come to.

    What it may take is worked out for the owner alone.
    """
    way, found = shown.first, learning.state(session)
    if way is None or found is None or not way.priced.lines:
        return shown
    job = found[1], shown.edition, way.job, way.priced
    try:
        money = prospects.money(*job, wiring().today())
    except RuleError:
        return shown  # what is asked for can be priced, and what may be found cannot
    person = wiring().person
    owner = person is not None and "owner" in person.roles
    minutes = prospects.minutes(*job, money.extras) if owner else None
    return replace(shown, may_come_to=money, minutes=minutes)


def _page(session: "Session", shown: Shown, **more: object) -> str:
    parts = {**_choices(shown), "live": False, **more}
    shown = _with_prospects(session, shown)
    return render_template("web/phone/call.html", shown=shown, **parts)


def _terms(edition: "Edition", call: Call, of_customer: str) -> Terms:
    for code in (call.terms, of_customer, edition.shop.terms):
        if code in edition.terms:
            return edition.terms[code]
    raise AssertionError(edition.shop.terms)


@lru_cache(maxsize=128)
def _offered(
    wanted: Wanted,
    edition: "Edition",
    on: date,
    terms: str,
    answers: tuple[tuple[str, str], ...],
    timed: "_Timed | None",
    who: str,
) -> Offered:
    """Return the prices of what is wanted, which follow from nothing but this.

    Half of what is typed during a call is a name or a number and changes no price.
    """
    formats = Formats(edition.shop.locale, edition.currency)
    reader = WorkReader(wanted, edition, formats, who)
    understood = jobs(
        reader.enquiry(),
        edition,
        language=formats.locale.language,
        terms=edition.terms[terms],
        remembered=dict(answers),
    )
    ways: list[Alternative] = []
    refused: list[str] = []
    for label, job, why_not, work in understood.candidates:
        refused += why_not
        if why_not:
            continue
        try:
            way = offer(edition, label, job, on, work=work)
            if timed is not None:
                way = prospects.with_confidence(*timed, edition, way, on, work)
            ways.append(way)
        except RuleError as error:
            refused.append(str(error))
    trade = next(
        (each for each in edition.terms.values() if each.discount_labour), None
    )
    told = None
    if len(ways) == 1:
        compared = trade if ways[0].priced.lines else None
        told = to_tell(edition, ways[0], on, compared)
    return Offered(
        understood,
        tuple(ways),
        tuple(dict.fromkeys(refused)),
        told,
        trade.name if trade else "",
        reader.wrong,
    )


def _valves(shown: Shown, way: Alternative) -> list[tuple[str, bool]]:
    picked = set(shown.call.at)
    return [(place.filed, place.filed in picked) for place in _every_valve(way.job)]


def _every_valve(job: Job) -> list[Position]:
    return [p for head in job.heads for side in Side for p in head.positions(side)]


def _plan(shown: Shown, way: Alternative) -> tuple[Markup | None, str]:
    """Return the plan with what is worked on, or what is picked, and what it shows."""
    from quoting.papers.priced_table import marks

    found = marks(shown.edition, way.job, way.priced)
    if found is None:
        return None, ""
    marked, words = found.valves, found.words
    if task := shown.edition.operations.get(shown.call.pick):
        lines = [line for line in way.priced.lines if line.code == task.code]
        marked = frozenset(place for line in lines for place in line.positions)
        words = f"Filled: {task.name.lower()}."
    every = _every_valve(way.job)
    picked = frozenset(place for place in every if place.filed in shown.call.at)
    return _drawn(way.job.heads, marked, picked), words


@lru_cache(maxsize=256)
def _drawn(
    heads: tuple[Head, ...], marked: frozenset[Position], picked: frozenset[Position]
) -> Markup:
    from quoting.papers.figures import State, head_plan

    states = dict.fromkeys(marked, State.TO_DO)
    drawn = head_plan(
        heads, states, picked=picked, controls=True, widest=480, name="plan"
    )
    return Markup(drawn)  # noqa: S704


def _matches(session: "Session", call: Call) -> tuple[Hit, ...]:
    typed = call.caller or call.phone
    return tuple(search(session, typed, subjects=("customer",)))[:5] if typed else ()


def _before(
    session: "Session", customer: "Customer | None", casting: str
) -> tuple["Quote", ...]:
    if customer is None and not casting:
        return ()
    key = customer.id if customer else None
    return tuple(
        customers.came_before(session, customer_id=key, casting=casting, most=3)
    )


# What the browser asks for.


@bp.get("")
@allow("counter")
def new() -> "ResponseReturnValue":
    """Show an empty call, or one that goes on from an earlier job."""
    with wiring().reading() as session:
        call = Call(said=request.args.get("say", "").strip())
        shown = show(session, call)
        return _page(session, shown)


@bp.post("/price")
@allow("counter")
def price() -> "ResponseReturnValue":
    """Price the call: the whole page, or what changed of it for the script."""
    live = request.headers.get("X-Live") == "1"
    with wiring().reading() as session:
        shown = show(session, typed(request.form))
        if live:
            return render_template("web/phone/live.html", shown=shown, live=True)
        return _page(session, shown)


@bp.post("/range")
@allow("counter")
def come_to() -> "ResponseReturnValue":
    """Return what the job may take and come to: a part of the page of its own."""
    with wiring().reading() as session:
        shown = _with_prospects(session, show(session, typed(request.form)))
        return render_template("web/phone/range.html", shown=shown)


@bp.post("/keep")
@allow("counter")
def keep() -> "ResponseReturnValue":
    """Keep what is priced as an alternative and go on with another one."""
    with wiring().reading() as session:
        call = typed(request.form)
        shown = show(session, call)
        call, way = shown.call, shown.first
        if way is None or call.wrong or len(call.ways) >= MOST_ALTERNATIVES - 1:
            return _page(session, shown), 422
        label = call.label or way.label or f"Way {len(call.ways) + 1}"
        text = f"{label}\n{job_document.write(way.job)}"
        again = replace(
            call,
            ways=(*call.ways, text),
            base=job_document.write(way.job),
            label="",
            said="",
            out=(),
            own={},
            added=(),
            free=(),
            at=(),
            sets=(),
            call_it="",
        )
        shown = show(session, again)
        return _page(session, shown)


@bp.post("/answer")
@allow("counter")
def answer() -> "ResponseReturnValue":
    """Remember what the shop means by a word, and price the call again."""
    word, _, codes = request.form.get("answer", "").partition("=")
    with wiring().transaction() as session:
        if word and codes:
            quotes.remember_answer(session, word, codes)
        shown = show(session, typed(request.form))
        return _page(session, shown)


@bp.post("/again/<int:quote_id>")
@allow("counter")
def again(quote_id: int) -> "ResponseReturnValue":
    """Take an earlier job as the beginning of this call."""
    with wiring().reading() as session:
        text = quotes.job_text(session, quote_id)
        call = replace(typed(request.form), base=text, said="")
        shown = show(session, call)
        return _page(session, shown)


@bp.post("/save")
@allow("counter")
def save() -> "ResponseReturnValue":
    """Save the call as a quote, or show the form again with what is in the way."""
    call = typed(request.form)
    try:
        with wiring().transaction() as session:
            shown = show(session, call)
            if shown.first is None or shown.call.wrong or shown.offered.refused:
                return _page(session, shown, unsaved=True), 422
            address = wiring().once(session, lambda: _saved(session, shown))
    except RuleError as refused:
        with wiring().reading() as session:
            shown = show(session, call)
            stopped = str(refused)
            return _page(session, shown, stopped=stopped), status_of(refused)
    return redirect(address, 303)


def _saved(session: "Session", shown: Shown) -> str:
    call, now = shown.call, wiring().now()
    assert shown.first is not None  # noqa: S101
    ways = [
        *(quotes.Asked(way.label, way.job) for way in shown.kept),
        quotes.Asked(call.label or shown.first.label, shown.first.job),
    ]
    reader = CallReader(call)
    about = quotes.About(
        customer_id=key_of(call.customer_id) or None,
        caller=call.caller,
        phone=call.phone,
        email=call.email,
        order_number=call.order_number,
        registration=call.registration,
        engine=call.engine,
        casting=call.casting,
        call_back=reader.day("call_back"),
        arrives=reader.day("arrives"),
    )
    if call.quote:
        quote = quotes.quote_of(session, key_of(call.quote))
        quotes.revise(
            session,
            quote,
            key_of(call.version),
            about,
            ways,
            now,
            said=call.said,
            ready=reader.day("ready"),
            why=call.why,
        )
    else:
        quote = quotes.save(
            session,
            about,
            ways,
            now,
            said=call.said,
            ready=reader.day("ready"),
            draft=request.form.get("do") == "draft",
        )
        flash(f"Saved as {quote.number}.")
    own_record.foretell(session, quote.revisions[-1])
    return url_for("quotes.page", quote_id=quote.id)


@bp.get("/revise/<int:quote_id>")
@allow("counter")
def revise(quote_id: int) -> "ResponseReturnValue":
    """Open a saved quote in the form, to be saved as its next revision."""
    with wiring().reading() as session:
        quote = quotes.quote_of(session, quote_id)
        latest = quote.revisions[-1]
        *others, last = latest.ways
        about = quotes.about(quote)
        call = Call(
            base=last.job,
            label=last.label,
            ways=tuple(f"{way.label}\n{way.job}" for way in others),
            quote=str(quote.id),
            version=str(quote.version),
            customer_id=str(about.customer_id or ""),
            caller=about.caller,
            phone=about.phone,
            email=about.email,
            order_number=about.order_number,
            registration=about.registration,
            engine=about.engine,
            casting=about.casting,
            arrives=_iso(about.arrives),
            ready=_iso(latest.ready),
            call_back=_iso(about.call_back),
        )
        shown = show(session, call)
        return _page(session, shown)


def _iso(day: date | None) -> str:
    return day.isoformat() if day else ""


def _choices(shown: Shown) -> dict[str, object]:
    """Return what the form chooses from."""
    edition = shown.edition
    return {
        "layouts": edition.layouts.values(),
        "operations": edition.operations.values(),
        "sets": edition.sets.values(),
        "reasons": edition.reasons.values(),
        "all_terms": edition.terms.values(),
        "rushes": edition.rush.values(),
        "conditions": CONDITIONS,
        "rows": ROWS,
        "unsaved": False,
        "stopped": "",
    }
