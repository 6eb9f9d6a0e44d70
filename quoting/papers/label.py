"""The tag label: one small page for each head, read by eye and by camera."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from markupsafe import Markup

from quoting.domain.counter import TaggedHead, called, orders_of
from quoting.domain.errors import RuleError, translatable
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers import fonts
from quoting.papers.html import Paper, fill, on_paper

if TYPE_CHECKING:
    from segno import QRCode

#: Width and height of a label.
LABEL = "62mm 100mm"

#: The finest symbol on a label: 65 modules a side and the quiet zone, 0.5 mm each.
MOST_VERSION = 12

#: Modules left blank around a symbol; ISO/IEC 18004, quiet zone of a QR code.
QUIET_ZONE = 4


class AddressTooLongError(RuleError):
    """An address makes a code too fine for a label."""

    message = translatable(
        "An address of {length} characters is too long for the code on a label. "
        "Give the job a shorter one."
    )


@dataclass(frozen=True, slots=True)
class Label:
    """What a label says of a head.

    Attributes:
        head: which one.
        customer: whose it is.
        on: the day it was booked in.
        url: address of the job, which the code holds.
        cautions: names of what can hurt someone, the most dangerous first.
    """

    head: TaggedHead
    customer: str
    on: date
    url: str
    cautions: tuple[str, ...] = ()


def tag_labels(shop: Shop, labels: Sequence[Label], formats: Formats) -> Paper:
    """Return the labels of heads, a page of 62 x 100 mm for each.

    Args:
        shop: whose labels they are.
        labels: at least one; the day of the first is the paper's.
        formats: the shop's locale.

    Raises:
        AddressTooLongError: an address does not fit the code.
    """
    formats = on_paper(formats)
    orders = orders_of(label.head for label in labels)
    return fill(
        "label",
        shop=shop,
        formats=formats,
        size=LABEL,
        kind="Labels" if len(labels) > 1 else "Label",
        number=called(orders),
        made=labels[0].on,
        block=[],
        values={
            "labels": [
                {
                    "head": label.head,
                    "customer": label.customer,
                    "date": formats.date(label.on),
                    "code": _drawn(label.url),
                    "cautions": ", ".join(label.cautions),
                    "lacking": not all(map(fonts.legible, _texts(label))),
                }
                for label in labels
            ],
        },
    )


def _texts(label: Label) -> tuple[str, ...]:
    head = label.head
    names = (head.order, head.tag, head.label, head.layout, label.customer)
    return (*names, *label.cautions)


def qr_code(url: str) -> "QRCode":
    """Return the QR code of an address, of error correction M or better.

    Raises:
        AddressTooLongError: it would be too fine for a label.

    Source:
        ISO/IEC 18004, QR code.
    """
    import segno

    try:
        code = segno.make_qr(url, error="m")
    except segno.DataOverflowError:
        raise AddressTooLongError(length=len(url)) from None
    if int(code.version) > MOST_VERSION:
        raise AddressTooLongError(length=len(url))
    return code


def _drawn(url: str) -> Markup:
    """Return the code as lines of an SVG, with its address as the text of the figure.

    Nothing in it comes from outside but that text, which is escaped.
    """
    picture = qr_code(url).svg_inline(
        border=QUIET_ZONE,
        omitsize=True,
        svgclass="code",
        lineclass=None,
        title=f"QR code: {url}",
    )
    return Markup(picture)  # noqa: S704
