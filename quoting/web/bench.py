"""The bench: minutes and findings, written down on the page of their work order."""

from typing import TYPE_CHECKING, NamedTuple

from flask import Blueprint, abort, flash, url_for
from flask.typing import ResponseReturnValue

from quoting.domain.head import COUNTS
from quoting.store.models import Clocked, Order
from quoting.web import forms
from quoting.web.access import allow
from quoting.web.wiring import wiring
from quoting.workflow import bench, orders, people

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from quoting.domain.edition import Edition
    from quoting.domain.rates import Finding
    from quoting.workflow.quotes import Now

bp = Blueprint("bench", __name__, url_prefix="/orders")


class ToFind(NamedTuple):
    """A finding that the heads of an order can have, and what is written down of it.

    Attributes:
        noun: what is looked at, in the plural.
        at_risk: how many there are, or were looked at; None where that is not known.
        affected: how many had it; None where nobody looked yet.
    """

    finding: "Finding"
    noun: str
    at_risk: int | None
    affected: int | None


class Written(NamedTuple):
    """What the page of a work order shows and asks of the bench."""

    minutes: list[Clocked]
    operations: list[tuple[str, str]]
    findings: list[ToFind]
    people: list[str]


def written(session: "Session", order: Order, edition: "Edition") -> Written:
    """Return what is written down of an order, and what can be."""
    codes = list(dict.fromkeys(step.operation for step in order.steps))
    return Written(
        bench.clocked(session, order),
        [
            (code, edition.operations[code].name)
            for code in codes
            if code in edition.operations
        ],
        _to_find(session, order, edition),
        [person.name for person in people.everybody(session) if person.active],
    )


def _to_find(session: "Session", order: Order, edition: "Edition") -> list[ToFind]:
    counts = bench.work_of(order).counts
    there = {row.finding: row for row in bench.found(session, order)}
    rows = []
    for code, finding in edition.findings.items():
        counted = COUNTS[finding.counted_by]
        number = counts.get(finding.counted_by)
        row = there.get(code)
        if finding.condemns or not (number or row or counted.by == "chosen"):
            continue
        rows.append(
            ToFind(
                finding,
                counted.plural,
                row.at_risk if row else number,
                row.affected if row else None,
            )
        )
    return rows


def _send(
    order_id: int, form: str, do: "Callable[[Session, Order, Now], str]"
) -> ResponseReturnValue:
    from quoting.web.counter import order_page

    def work(session: "Session") -> str:
        order = orders.order_of(session, order_id)
        flash(do(session, order, wiring().now()))
        return url_for("counter.order", order_id=order.id, _anchor="bench")

    return forms.send(form, work, lambda sent: order_page(order_id, sent))


@bp.post("/<int:order_id>/minutes")
@allow("counter", "bench")
def clock(order_id: int) -> ResponseReturnValue:
    """Write minutes down, for the whole job or for some of its operations."""

    def do(session: "Session", order: Order, now: "Now") -> str:
        row = bench.clock(
            session,
            order,
            bench.read_minutes(forms.needed("minutes", "The minutes")),
            now,
            operations=forms.several("operation"),
            person=forms.text("person"),
        )
        return f"{row.minutes} minutes are written down."

    return _send(order_id, "minutes", do)


@bp.post("/<int:order_id>/minutes/<int:key>")
@allow("counter", "bench")
def leave_out(order_id: int, key: int) -> ResponseReturnValue:
    """Keep minutes and no longer learn from them, or learn from them again."""

    def do(session: "Session", order: Order, now: "Now") -> str:
        row = bench.clocked_of(session, key)
        if row.order_id != order.id:
            abort(404)
        bench.leave_out(session, row, forms.text("why"), now)
        return "They are not learnt from." if row.aside else "They count again."

    return _send(order_id, f"minutes{key}", do)


@bp.post("/<int:order_id>/findings")
@allow("counter", "bench")
def find(order_id: int) -> ResponseReturnValue:
    """Write down what inspections found, nothing found as well."""

    def do(session: "Session", order: Order, now: "Now") -> str:
        counts = {
            key[9:]: (
                forms.whole(f"at-risk-{key[9:]}") if forms.text(key) else None,
                forms.whole(key),
            )
            for key in forms.names()
            if key.startswith("affected-")
        }
        bench.write_found(session, order, counts, now)
        return "What was found is written down."

    return _send(order_id, "findings", do)
