"""The request for a yes: what was found, what can be done, and by when to answer."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quoting.domain.errors import RuleError, translatable
from quoting.domain.quote import Customer
from quoting.domain.rates import Shop
from quoting.i18n import Formats
from quoting.papers.html import Paper, fill, on_paper
from quoting.papers.priced_table import LETTERS


class NotAPictureError(RuleError):
    """A photo is no JPEG."""

    message = translatable("The photo {caption!r} is no JPEG picture.")


#: The first bytes of a JPEG file: start of image and of a marker; ISO/IEC 10918-1.
_JPEG = b"\xff\xd8\xff"


@dataclass(frozen=True, slots=True)
class Photo:
    """A JPEG picture and what it shows, in words.

    Raises:
        NotAPictureError: the bytes are no JPEG.
    """

    jpeg: bytes
    caption: str

    def __post_init__(self) -> None:
        if not self.jpeg.startswith(_JPEG):
            raise NotAPictureError(caption=self.caption)


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to go on.

    Attributes:
        label: such as "repair".
        contains: what it contains, in words.
        total: of all of it, with tax.
    """

    label: str
    contains: tuple[str, ...]
    total: Decimal


@dataclass(frozen=True, slots=True)
class Request:
    """What a customer is asked.

    Attributes:
        number: of the quote or work order.
        on: the day it is asked.
        customer: who is asked.
        text: what was found; an empty line parts paragraphs.
        choices: one or more ways to go on; one is a plain yes or no.
        reply_by: the day an answer is needed.
        photos: of what was found.
        if_silent: what happens where no answer comes; may be empty.
    """

    number: str
    on: date
    customer: Customer
    text: str
    choices: tuple[Choice, ...]
    reply_by: date
    photos: tuple[Photo, ...] = ()
    if_silent: str = ""


def request_for_yes(
    shop: Shop, request: Request, formats: Formats, size: str = ""
) -> Paper:
    """Return the page that asks a customer for a decision.

    Args:
        shop: that asks.
        request: the finding, the photos and the choices.
        formats: the reader's locale.
        size: ``A4`` or ``Letter``; empty: as the locale's country has it.
    """
    formats = on_paper(formats)
    reply_by = formats.date(request.reply_by)
    return fill(
        "request",
        shop=shop,
        formats=formats,
        size=size,
        kind="We need your answer,",
        number=request.number,
        made=request.on,
        block=[("date", formats.date(request.on)), ("answer by", reply_by)],
        values={
            "customer": request.customer,
            "facts": [
                ("date", formats.date(request.on)),
                ("answer by", reply_by),
                ("your order", request.customer.order_number),
                ("registration", request.customer.registration),
                ("engine", request.customer.engine),
            ],
            "paragraphs": [part for part in request.text.split("\n\n") if part.strip()],
            "photos": _rows(request.photos),
            "choices": [
                {
                    "letter": letter,
                    "label": choice.label,
                    "contains": choice.contains,
                    "total": formats.money(choice.total),
                }
                for letter, choice in zip(LETTERS, request.choices, strict=False)
            ],
            "reach": " · ".join(text for text in (shop.phone, shop.email) if text),
            "reply_by": reply_by,
            "if_silent": request.if_silent,
        },
    )


#: Photos beside each other.
PHOTOS_IN_A_ROW = 2


def _rows(photos: Sequence[Photo]) -> list[list[tuple[str, str]]]:
    """Return the address and the caption of each photo, row by row."""
    told = [
        (f"data:image/jpeg;base64,{b64encode(photo.jpeg).decode()}", photo.caption)
        for photo in photos
    ]
    starts = range(0, len(told), PHOTOS_IN_A_ROW)
    return [told[start : start + PHOTOS_IN_A_ROW] for start in starts]
