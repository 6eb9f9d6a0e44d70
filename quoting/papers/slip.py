"""The booking-in slip: what was left, how it arrived, and what may be done to it.

One slip lists every head that a customer left on a day, of one work order or several.
"""

from collections.abc import Iterator, Sequence

from quoting.domain.counter import BookingIn, called, counted, orders_of
from quoting.domain.job import Deposit
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper

#: Whether a shop may charge for keeping a head or sell it is not for a paper to say.
UNCOLLECTED = (
    "A head that is not collected stays yours. Whether storing it is charged for, and "
    "what may be done with it after which notice: local law applies."
)


def booking_in_slip(
    shop: Shop, booking: BookingIn, formats: Formats, size: str = ""
) -> Paper:
    """Return the slip that a customer signs when heads are left.

    Args:
        shop: that takes them in.
        booking: the heads and what was agreed.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    customer = booking.customer
    orders = orders_of(arrived.head for arrived in booking.heads)
    promised = formats.date(booking.promised) if booking.promised else ""
    return fill(
        "slip",
        shop=shop,
        formats=formats,
        size=size,
        kind="Booking-in slip",
        number=called(orders),
        made=booking.on,
        block=[("customer", customer.name), ("date", formats.date(booking.on))],
        values={
            "customer": customer,
            "facts": [
                ("date", formats.date(booking.on)),
                ("work orders" if len(orders) > 1 else "work order", ", ".join(orders)),
                ("telephone", customer.phone),
                ("e-mail", customer.email),
                ("your order", customer.order_number),
                ("registration", customer.registration),
                ("engine", customer.engine),
                ("to be ready", promised),
            ],
            "several": len(orders) > 1,
            "heads": booking.heads,
            "counted": counted,
            "left": _left(len(booking.heads)),
            "agreed": list(_agreed(booking, formats)),
            "know": list(_know(booking, formats)),
        },
    )


def _left(heads: int) -> str:
    return f"{heads} heads left with us" if heads != 1 else "One head left with us"


def _agreed(
    booking: BookingIn, formats: Formats
) -> Iterator[tuple[str, Sequence[str]]]:
    """Yield what was agreed: its heading and its sentences."""
    if booking.deposits:
        taken = [_taken(deposit, formats) for deposit in booking.deposits]
        yield "Deposit taken", taken
    authority = booking.authority
    if authority.up_to is None:
        may = "We ask you before anything beyond what was agreed is done."
    else:
        may = (
            "We may go on without asking as long as all of it comes to no more than "
            f"{formats.money(authority.up_to)} with tax. Above that we ask first."
        )
    yield "Without asking", [may]
    if authority.second_contact:
        yield "If we cannot reach you", [f"We ask {authority.second_contact}."]


def _taken(deposit: Deposit, formats: Formats) -> str:
    when = formats.date(deposit.on) if deposit.on else ""
    said = [formats.money(deposit.amount), deposit.method, when]
    return ", ".join(text for text in said if text)


def _know(booking: BookingIn, formats: Formats) -> Iterator[tuple[str, Sequence[str]]]:
    """Yield what one should know before leaving a head."""
    if booking.condemned is not None:
        yield (
            "If it cannot be repaired",
            [
                "We stop at the test that shows it, and you pay at most "
                f"{formats.money(booking.condemned)} with tax."
            ],
        )
    yield "Not collected", [UNCOLLECTED]
