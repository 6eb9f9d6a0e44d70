"""The delivery note: what goes back, signed for. No price ever stands on it."""

from quoting.domain.counter import Delivery, Item, counted, orders_of
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper


def delivery_note(
    shop: Shop, delivery: Delivery, formats: Formats, size: str = ""
) -> Paper:
    """Return the note that goes with heads and parts that are handed over.

    Args:
        shop: that hands them over.
        delivery: what goes back.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    customer = delivery.customer
    orders = orders_of(returned.head for returned in delivery.heads)
    until = delivery.guaranteed_until
    return fill(
        "delivery",
        shop=shop,
        formats=formats,
        size=size,
        kind="Delivery note",
        number=delivery.number,
        made=delivery.on,
        block=[("customer", customer.name), ("date", formats.date(delivery.on))],
        values={
            "customer": customer,
            "facts": [
                ("date", formats.date(delivery.on)),
                ("work orders" if len(orders) > 1 else "work order", ", ".join(orders)),
                ("your order", customer.order_number),
                ("registration", customer.registration),
                ("engine", customer.engine),
            ],
            "several": len(orders) > 1,
            "heads": delivery.heads,
            "counted": counted,
            "loose": [
                (title, said)
                for title, items in (
                    ("Parts, not fitted", delivery.parts),
                    ("Your old parts", delivery.old_parts),
                )
                if (said := [_told(item) for item in items])
            ],
            "guarantee": delivery.guarantee,
            "until": formats.date(until) if until else "",
        },
    )


def _told(item: Item) -> tuple[str, str]:
    return str(item.count), item.text
