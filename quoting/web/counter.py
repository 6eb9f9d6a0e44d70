"""Counter: what is on my counter, what waits for whom, whom do I ring today?"""

import re
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from flask import (
    Blueprint,
    Response,
    abort,
    flash,
    redirect,
    render_template,
    request,
    url_for,
)
from flask.typing import ResponseReturnValue
from sqlalchemy import select
from sqlalchemy.orm import joinedload

from quoting.domain.enquiry import Enquiry, jobs
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import CONDITIONS
from quoting.domain.job import Asked, AskedPart, OwnPrice, Selection
from quoting.domain.life import OrderMove, OrderState, WaitsFor, moves_of_order
from quoting.files.photo import developed
from quoting.papers.slip import UNCOLLECTED
from quoting.store import audit, numbering
from quoting.store.models import Order, Quote, Trail
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.bench import written
from quoting.web.forms import Sent, shows
from quoting.web.quotes import (
    METHODS,
    WAYS_TO_REACH,
    method,
    override,
    sees_prices,
)
from quoting.web.wiring import wiring
from quoting.workflow import (
    counter_papers,
    customers,
    deposits,
    orders,
    quotes,
    rates,
    release,
    sales,
)
from quoting.workflow.bench import codes_of
from quoting.workflow.orders import BookedIn, HeadCame
from quoting.workflow.search import search
from quoting.workflow.today import today as look

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy.orm import Session

    from quoting.domain.edition import Edition
    from quoting.domain.quote import Alternative
    from quoting.workflow.quotes import Now
    from quoting.workflow.search import Hit

bp = Blueprint("counter", __name__, url_prefix="/counter")

#: What comes with a head and goes missing (common practice, no source): one, several.
CAME_WITH = (
    ("camshaft", "camshafts"),
    ("cam cap", "cam caps"),
    ("follower", "followers"),
    ("shim", "shims"),
    ("rocker shaft", "rocker shafts"),
    ("head bolt", "head bolts"),
    ("sensor", "sensors"),
    ("manifold", "manifolds"),
)
#: Days that somebody is given to answer, if nothing else is said.
DAYS_TO_ANSWER = 3
#: Rows of work and of goods on the screen of a sale.
_WORK_ROWS, _GOODS_ROWS = 3, 2
#: A number as people type it: with or without its dash, its leading zeros, capitals.
_NUMBER = re.compile(
    r"([A-Z0-9][A-Z0-9/-]{0,9}?)(?:\W+|(?<=[A-Z]))0*([0-9]{1,9})", re.IGNORECASE
)
_NO_FORM = Sent()


# Today, and finding.


@bp.get("")
@allow("counter")
def today() -> ResponseReturnValue:
    """Show what the counter should look at this morning."""
    with wiring().reading() as session:
        on = wiring().today()
        edition = rates.in_force(session, on).edition
        return render_template(
            "web/counter/today.html",
            today=look(session, on),
            on=on,
            since=orders.since,
            state_on=quotes.state_on,
            shows=shows(edition),
            uncollected=UNCOLLECTED,
        )


@bp.get("/find")
@allow("counter")
def find() -> ResponseReturnValue:
    """Find customers, quotes and work orders; a number typed in full leads there."""
    sought = request.args.get("q", "").strip()
    live = request.headers.get("X-Live") == "1"
    with wiring().reading() as session:
        if not live and (address := _numbered(session, sought)):
            return redirect(address, 303)
        hits = [(hit, _where(hit)) for hit in search(session, sought)]
        page = "web/counter/found.html" if live else "web/counter/find.html"
        on = wiring().today()
        return render_template(page, sought=sought, hits=hits, on=on)


def _numbered(session: "Session", sought: str) -> str:
    """Return the page of a number typed in full, or nothing."""
    match = _NUMBER.fullmatch(sought)
    if match is None:
        return ""
    number = numbering.written(match[1].upper(), int(match[2]))
    key = session.scalar(select(Order.id).where(Order.number == number))
    if key:
        return url_for("counter.order", order_id=key)
    key = session.scalar(select(Quote.id).where(Quote.number == number))
    return url_for("quotes.page", quote_id=key) if key else ""


def _where(hit: "Hit") -> str:
    if hit.subject == "customer":
        return url_for("customers.page", customer_id=hit.id)
    if hit.order is not None:
        return url_for("counter.order", order_id=hit.order)
    return url_for("quotes.page", quote_id=hit.id)


# Heads in.


@bp.get("/book-in")
@allow("counter")
def book_in() -> ResponseReturnValue:
    """Show the form that books the heads of one quote, or of several, in."""
    chosen = forms.keys(request.args.getlist("quote"))
    if not chosen:
        return redirect(url_for("counter.today"), 303)
    return _book_in(chosen)


def _book_in(chosen: "Sequence[int]", sent: Sent = _NO_FORM) -> str:
    with wiring().reading() as session:
        rows = [quotes.quote_of(session, key) for key in dict.fromkeys(chosen)]
        first = rows[0]
        edition = quotes.edition_of(session, first.revisions[-1])
        return render_template(
            "web/counter/book_in.html",
            coming=[(row, *_agreed(session, row)) for row in rows],
            others=_others(session, first, rows),
            over_limit=release.with_quotes(session, rows, wiring().today()),
            first=first,
            sent=sent,
            conditions=CONDITIONS,
            came_with=CAME_WITH,
            shows=shows(edition),
        )


def _agreed(session: "Session", row: Quote) -> "tuple[Alternative | None, int | None]":
    """Return what was said yes to, and up to how much; None where nothing was."""
    said_yes = orders.latest_yes(session, row)
    if said_yes is None:
        return None, None
    then = said_yes.way.revision
    edition = quotes.edition_of(session, then)
    return quotes.alternative(edition, said_yes.way, then.on), said_yes.up_to


def _others(session: "Session", first: Quote, rows: "Sequence[Quote]") -> list[Quote]:
    """Return what the same customer said yes to and did not bring yet."""
    if first.customer_id is None:
        return []
    here = {row.id for row in rows}
    came = look(session, wiring().today()).came
    return [r for r in came if r.customer_id == first.customer_id and r.id not in here]


@bp.post("/book-in")
@allow("counter")
def booked_in() -> ResponseReturnValue:
    """Book heads in: a work order for every quote, one slip for all of them."""
    chosen = forms.keys(request.form.getlist("quote"))
    if not chosen:
        abort(400)
    return forms.send(
        "book-in",
        lambda session: _bring_in(session, chosen, wiring().now()),
        lambda sent: _book_in(chosen, sent),
    )


class SeveralCustomersError(RuleError):
    """Heads of several customers would stand on one slip."""

    message = translatable(
        "Heads of different customers are booked in one after the other."
    )


def _bring_in(session: "Session", chosen: "Sequence[int]", now: "Now") -> str:
    rows = [quotes.quote_of(session, key) for key in dict.fromkeys(chosen)]
    if len({row.customer_id for row in rows}) > 1:
        raise SeveralCustomersError
    formats = shows(quotes.edition_of(session, rows[0].revisions[-1])).formats
    limits = [forms.amount(f"{row.id}-up_to", formats) for row in rows]
    promised, second = forms.day("promised"), forms.text("second_contact")
    batch = rows[0].number if len(rows) > 1 else ""
    came = [
        orders.book_in(
            session,
            row,
            BookedIn(
                _heads(f"{row.id}-"),
                promised,
                None if up_to is None else formats.currency.to_minor(up_to),
                second,
                batch,
            ),
            now,
        )
        for row, up_to in zip(rows, limits, strict=True)
    ]
    counter_papers.booking_in(session, came, now)
    counter_papers.labels(session, came, _tag_address(), now)
    for order in came:
        counter_papers.work_order(session, order, now)
    flash(f"Booked in as {', '.join(order.number for order in came)}.")
    return url_for("counter.order", order_id=came[0].id)


def _heads(prefix: str) -> list[HeadCame]:
    """Return what was written down of every head whose fields begin so."""
    tags = request.form.getlist(f"{prefix}tag")
    return [_head(f"{prefix}{tag}-", tag) for tag in tags]


def _head(name: str, tag: str) -> HeadCame:
    counts = [
        (forms.number(f"{name}came-{place}"), names)
        for place, names in enumerate(CAME_WITH)
    ]
    lines = [
        one if count == 1 else f"{count} {several}"
        for count, (one, several) in counts
        if count
    ]
    rest = forms.text(f"{name}rest").replace(",", "\n").splitlines()
    return HeadCame(
        tag=tag,
        condition=", ".join(request.form.getlist(f"{name}condition")),
        came_with="\n".join([*lines, *(line.strip() for line in rest if line.strip())]),
        remarks=forms.text(f"{name}remarks"),
        stands=forms.text(f"{name}stands"),
        casting=forms.text(f"{name}casting"),
    )


def _tag_address() -> str:
    """Return the address that the code on a tag holds, with gaps for order and tag."""
    door = wiring().settings.address or request.host_url.rstrip("/")
    return door + url_for("counter.tag", number="-", tag="-").replace(
        "/-/-", "/{order}/{tag}"
    )


@bp.get("/w/<path:number>/<tag>")
@allow("counter", "bench")
def tag(number: str, tag: str) -> ResponseReturnValue:
    """Lead from the code on a tag to its head."""
    with wiring().reading() as session:
        row = orders.order_called(session, number)
    return redirect(
        url_for("counter.order", order_id=row.id, _anchor=f"head-{tag}"), 303
    )


# The work order.

#: What may happen to a work order with one button, in the words of the button.
STEPS = {
    OrderMove.START: "Start",
    OrderMove.MAKE_READY: "Ready",
    OrderMove.TELL: "Told them",
    OrderMove.BACK_TO_THE_BENCH: "Back to the bench",
}


def _may_step(move: OrderMove) -> bool:
    """Tell whether whoever is there has a button for a move; the bench tells nobody."""
    return move in STEPS and (move is not OrderMove.TELL or sees_prices())


@bp.get("/orders/<int:order_id>")
@allow("counter", "bench")
def order(order_id: int) -> ResponseReturnValue:
    """Show a work order: its heads, where they are and what they wait for."""
    return order_page(order_id)


def order_page(order_id: int, sent: Sent = _NO_FORM) -> str:
    """Return the page of a work order, with a form as it was sent."""
    with wiring().reading() as session:
        row = orders.order_of(session, order_id)
        latest = row.quote.revisions[-1]
        edition = quotes.edition_of(session, latest)
        trail = _trail(session, row)
        state = OrderState(row.state)
        on = wiring().today()
        shown = shows(edition)
        papers = counter_papers.issued(session, row.quote)
        if not sees_prices():
            papers = [p for p in papers if p.kind in counter_papers.BENCH_PAPERS]
        return render_template(
            "web/counter/order.html",
            order=row,
            quote=row.quote,
            latest=latest,
            shows=shown,
            edition=edition,
            prices=sees_prices(),
            with_it=_with_it(session, row),
            over_limit=release.refused(session, row, on),
            steps={m: STEPS[m] for m in moves_of_order(state) if _may_step(m)},
            state=state,
            on=on,
            since=orders.since,
            conditions=CONDITIONS,
            came_with=CAME_WITH,
            came=counter_papers.items,
            waits=forms.pairs(WaitsFor),
            reach_choices=forms.pairs(WAYS_TO_REACH),
            head_choices=[(h.tag, f"Head {h.tag}") for h in row.heads],
            bench=written(session, row, edition),
            codes_of=codes_of,
            photos=(photos := orders.photos(session, row)),
            photo_choices=[(p.id, p.caption or shown.when(p.taken)) for p in photos],
            asks=orders.asks(session, row),
            attempts=orders.attempts(session, row.quote),
            said_yes=orders.latest_yes(session, row.quote),
            changed=orders.changed_since_yes(session, row.quote),
            reach=orders.reach(session, row.quote),
            deposits=orders.deposits(session, row.quote),
            still_held=deposits.still_held(session, [row.quote], on),
            papers=papers,
            reply_by=on + timedelta(days=DAYS_TO_ANSWER),
            trail=trail,
            seen=trail[-1].id if trail else 0,
            meanwhile=[e for e in trail if sent.changed and e.id > sent.seen],
            sent=sent,
        )


def _trail(session: "Session", row: Order) -> list[Trail]:
    """Return the story of an order; with the quote's for whoever sees prices."""
    story = audit.story(session, "order", row.id)
    if not sees_prices():
        return [entry for entry in story if entry.what != "asked for a yes"]
    story += audit.story(session, "quote", row.quote_id)
    return sorted(story, key=lambda entry: entry.id)


def _with_it(session: "Session", row: Order) -> list[Order]:
    """Return the other orders that came off the same van."""
    if not row.batch:
        return []
    query = select(Order).where(Order.batch == row.batch, Order.id != row.id)
    return list(session.scalars(query.options(joinedload(Order.customer))))


def _send(
    order_id: int, form: str, do: "Callable[[Session, Order, Now], str]"
) -> ResponseReturnValue:
    """Do what a form of an order's page asks for, or show the page again."""
    return forms.send(
        form,
        lambda session: do(session, orders.order_of(session, order_id), wiring().now()),
        lambda sent: order_page(order_id, sent),
    )


def _back(row: Order, said: str) -> str:
    flash(said)
    return url_for("counter.order", order_id=row.id)


@bp.post("/orders/<int:order_id>/step")
@allow("counter", "bench")
def step(order_id: int) -> ResponseReturnValue:
    """Start it, make it ready, say that they were told, take it back to the bench."""
    return _send(order_id, "step", _step)


def _step(session: "Session", row: Order, now: "Now") -> str:
    move = forms.choice("move", OrderMove, "What happens to it")
    if not _may_step(move):
        abort(403)
    orders.move(session, row, forms.number("version"), move, now)
    return _back(row, f"{row.number} is {row.state}.")


@bp.post("/orders/<int:order_id>/hand-over")
@allow("counter")
def hand_over(order_id: int) -> ResponseReturnValue:
    """Hand the heads over and issue the delivery note."""
    return _send(order_id, "hand-over", _hand_over)


def _hand_over(session: "Session", row: Order, now: "Now") -> str:
    collected_by = forms.needed("collected_by", "Who collects")
    version = forms.number("version")
    release.hand_over(session, row, version, collected_by, now, despite=override())
    counter_papers.delivery(session, row, now)
    return _back(row, "Handed over; the delivery note is among the papers.")


@bp.post("/orders/<int:order_id>/reopen")
@allow("owner")
def reopen(order_id: int) -> ResponseReturnValue:
    """Take back what was handed over by mistake."""
    return _send(order_id, "reopen", _reopen)


def _reopen(session: "Session", row: Order, now: "Now") -> str:
    forms.needed("reason", "Why it is reopened")
    version = forms.number("version")
    orders.move(session, row, version, OrderMove.REOPEN, now, despite=override())
    return _back(row, f"{row.number} is {row.state} again.")


@bp.post("/orders/<int:order_id>/condemn")
@allow("counter", "bench")
def condemn(order_id: int) -> ResponseReturnValue:
    """Condemn a head; with the last one the work order is condemned."""
    return _send(order_id, "condemn", _condemn)


def _condemn(session: "Session", row: Order, now: "Now") -> str:
    head, why = forms.text("tag"), forms.text("why")
    orders.condemn_head(session, row, forms.number("version"), head, why, now)
    return _back(row, f"Head {head} is condemned; {row.number} is {row.state}.")


@bp.post("/orders/<int:order_id>/wait")
@allow("counter", "bench")
def wait(order_id: int) -> ResponseReturnValue:
    """Write down what it waits for and the next step."""
    return _send(order_id, "wait", _wait)


def _wait(session: "Session", row: Order, now: "Now") -> str:
    on = forms.text("waits_for")
    if on:
        forms.choice("waits_for", WaitsFor, "What it waits for")
    next_step = forms.text("next_step")
    orders.wait(session, row, forms.number("version"), on, next_step, now)
    return _back(row, f"It waits for {on}." if on else "It waits for nothing.")


@bp.post("/orders/<int:order_id>/promise")
@allow("counter")
def promise(order_id: int) -> ResponseReturnValue:
    """Promise the heads for another day."""
    return _send(order_id, "promise", _promise)


def _promise(session: "Session", row: Order, now: "Now") -> str:
    on, why = forms.day("on"), forms.text("why")
    orders.promise(session, row, forms.number("version"), on, why, now)
    return _back(row, "The day is written down." if on else "No day is promised.")


@bp.post("/orders/<int:order_id>/heads")
@allow("counter", "bench")
def heads(order_id: int) -> ResponseReturnValue:
    """Write down anew what came with the heads and where they stand."""
    return _send(order_id, "heads", _write_heads)


def _write_heads(session: "Session", row: Order, now: "Now") -> str:
    orders.put(session, row, forms.number("version"), _heads(""), now)
    return _back(row, "The heads are written down.")


@bp.post("/orders/<int:order_id>/print")
@allow("counter")
def print_again(order_id: int) -> ResponseReturnValue:
    """Issue slip, labels or work order as they stand now."""
    return _send(order_id, "print", _print)


def _print(session: "Session", row: Order, now: "Now") -> str:
    together = sorted([row, *_with_it(session, row)], key=lambda one: one.id)
    match request.form.get("what"):
        case "slip":
            paper_id = counter_papers.booking_in(session, together, now)
        case "labels":
            paper_id = counter_papers.labels(session, together, _tag_address(), now)
        case "work order":
            paper_id = counter_papers.work_order(session, row, now)
        case _:
            abort(400)
    return url_for("quotes.paper", quote_id=row.quote_id, paper_id=paper_id)


# Photos, and the message that asks for a yes.


@bp.post("/orders/<int:order_id>/photos")
@allow("counter", "bench")
def add_photo(order_id: int) -> ResponseReturnValue:
    """Keep a photo of a head."""
    return _send(order_id, "photo", _add_photo)


def _add_photo(session: "Session", row: Order, now: "Now") -> str:
    sent = request.files.get("photo")
    if sent is None or not sent.filename:
        raise forms.MissingError(what="Which photo")
    picture = developed(sent.read(), sent.filename)
    head = forms.text("tag")
    orders.keep_photo(
        session, row, picture.jpeg, (picture.width, picture.height), now,
        tag=head if head in {one.tag for one in row.heads} else "",
        caption=forms.text("caption"),
    )  # fmt: skip
    return _back(row, "The photo is kept.")


@bp.get("/orders/<int:order_id>/photos/<int:photo_id>")
@allow("counter", "bench")
def photo(order_id: int, photo_id: int) -> ResponseReturnValue:
    """Return a photo to whoever may see its work order."""
    with wiring().reading() as session:
        row = orders.order_of(session, order_id)
        image = counter_papers.picture(session, row, photo_id).image
    answer = Response(image, mimetype="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=3600"
    return answer


@bp.post("/orders/<int:order_id>/ask")
@allow("counter")
def ask(order_id: int) -> ResponseReturnValue:
    """Keep and issue the message that asks for a yes."""
    return _send(order_id, "ask", _ask)


def _ask(session: "Session", row: Order, now: "Now") -> str:
    reply_by = forms.day("reply_by")
    if reply_by is None:
        raise counter_papers.NoReplyDayError
    photo_id = forms.number("photo_id") or None
    if photo_id is not None:
        counter_papers.picture(session, row, photo_id)
    message = forms.needed("text", "What was found")
    asked = orders.ask(session, row, message, now, photo_id=photo_id, reply_by=reply_by)
    counter_papers.request(session, row, asked, now)
    return _back(row, "The message is among the papers: print it, or send it.")


# A sale on one screen.


class Row(NamedTuple):
    """A row of work or of goods, as typed."""

    what: str = ""
    figure: str = ""


@dataclass(frozen=True, kw_only=True)
class Till:
    """What stands in the form of a sale, and what it comes to."""

    said: str
    work: tuple[Row, ...]
    goods: tuple[Row, ...]
    ways: "tuple[tuple[str, str, Alternative], ...]" = ()
    wrong: tuple[str, ...] = ()
    hits: "tuple[Hit, ...]" = ()
    customer: str = ""
    asked: bool = False


@bp.get("/sale")
@allow("counter")
def sale() -> ResponseReturnValue:
    """Show an empty sale."""
    with wiring().reading() as session:
        return _sale(session, "web/counter/sale.html", _NO_FORM)


@bp.post("/sale/price")
@allow("counter")
def price_sale() -> ResponseReturnValue:
    """Price a sale: the whole screen, or what changed of it for the script."""
    live = request.headers.get("X-Live") == "1"
    page = "web/counter/sale_live.html" if live else "web/counter/sale.html"
    with wiring().reading() as session:
        return _sale(session, page, Sent("sale"))


@bp.post("/sale")
@allow("counter")
def sold() -> ResponseReturnValue:
    """Take the money: quote, yes and invoice in one go."""

    def again(sent: Sent) -> str:
        with wiring().reading() as session:
            return _sale(session, "web/counter/sale.html", sent)

    return forms.send("sale", lambda session: _sell(session, wiring().now()), again)


def _sale(session: "Session", page: str, sent: Sent) -> str:
    edition = rates.in_force(session, wiring().today()).edition
    return render_template(
        page,
        till=_till(session, edition),
        inclusive=edition.policy.inclusive,
        shows=shows(edition),
        sent=sent,
        method_choices=forms.pairs(METHODS),
        operations=[(o.code, o.name) for o in edition.operations.values()],
        work_rows=_WORK_ROWS,
        goods_rows=_GOODS_ROWS,
    )


def _rows(what: str, figure: str) -> tuple[Row, ...]:
    pairs = zip(request.form.getlist(what), request.form.getlist(figure), strict=False)
    return tuple(Row(one.strip(), two.strip()) for one, two in pairs)


def _till(session: "Session", edition: "Edition") -> Till:
    """Return what stands in the form, priced as far as it can be."""
    work, goods = _rows("op", "number"), _rows("goods", "price")
    said, name = forms.text("said"), forms.text("name")
    till = Till(said=said, work=work, goods=goods)
    if not (said or any(r.what for r in work) or any(r.what for r in goods)):
        return till
    wrong: list[str] = []
    ways: list[tuple[str, str, Alternative]] = []
    try:
        enquiry = _enquiry(edition, till)
        terms_of = customers.customer(session, key).terms if (key := _buyer()) else ""
        terms = edition.terms.get(terms_of, edition.terms[edition.shop.terms])
        understood = jobs(
            enquiry,
            edition,
            language=shows(edition).formats.locale.language,
            terms=terms,
            remembered=quotes.answers(session),
        )
    except RuleError as error:
        return Till(said=said, work=work, goods=goods, wrong=(str(error),), asked=True)
    if understood.said:
        wrong += [f"Could not place: {text}" for text in understood.said.not_placed]
    for way in understood.candidates:
        if way.refused:
            wrong += way.refused
            continue
        layout = way.job.heads[0].layout.code if way.job.heads else ""
        try:
            priced = sales.priced(edition, way.job, wiring().today())
        except RuleError as error:
            wrong.append(str(error))
        else:
            ways.append((layout, way.label, priced))
    hits = () if _buyer() or not name else search(session, name, subjects=("customer",))
    return Till(
        said=said,
        work=work,
        goods=goods,
        ways=tuple(ways),
        wrong=tuple(dict.fromkeys(wrong)),
        hits=tuple(hits)[:5],
        customer=customers.customer(session, _buyer()).name if _buyer() else "",
        asked=True,
    )


def _buyer() -> int:
    return forms.number("customer_id")


def _enquiry(edition: "Edition", till: Till) -> Enquiry:
    formats = shows(edition).formats
    asked = []
    for row in till.work:
        if row.what in edition.operations:
            number = formats.read(row.figure) if row.figure else None
            asked.append(Asked(row.what, which=Selection(number=number)))
    goods = [
        AskedPart(
            description=row.what or "Goods",
            quantity=Decimal(1),
            price=forms.figure(row.figure, formats),
        )
        for row in till.goods
        if row.what or row.figure
    ]
    call_it = forms.amount("call_it", formats)
    return Enquiry(
        said=till.said,
        layout=forms.text("layout"),
        work=tuple(asked),
        parts=tuple(goods),
        call_it=OwnPrice(call_it, "agreed over the counter") if call_it else None,
    )


class WhichHeadError(RuleError):
    """What is sold could be for several heads, or cannot be priced."""

    message = translatable(
        "Choose which head it is, and mend what is marked, before money is taken."
    )


def _sell(session: "Session", now: "Now") -> str:
    edition = rates.in_force(session, now.on).edition
    till = _till(session, edition)
    if not till.asked:
        raise sales.NothingToPayError
    if len(till.ways) != 1 or till.wrong:
        raise WhichHeadError
    [(_, _, way)] = till.ways
    shown = forms.text("shown")
    quote = sales.sell(
        session,
        sales.Sale(
            way.job,
            Decimal(shown) if shown.replace(".", "", 1).isdecimal() else Decimal(0),
            method(),
            _buyer() or None,
            forms.text("name"),
            till.said,
        ),
        now,
    )
    flash("Paid. The invoice is among the papers.")
    return url_for("quotes.page", quote_id=quote.id)
