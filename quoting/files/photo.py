"""A photo as the shop keeps it: a JPEG of its own making, and nothing else of the file.

What a camera or somebody else put into the file beside the picture (place, owner, other
formats) is left behind, because only the picture's own dots are written anew.
"""

import io
from typing import NamedTuple

from PIL import Image, ImageOps, UnidentifiedImageError

from quoting.domain.errors import RuleError, translatable

#: Dots along the longer side of a kept photo: valve seats can be told on it, and a
#: page with two prints sharp.
LONGEST_SIDE = 1600
#: Dots that are unpacked at all; more is no photo of a workshop's camera.
MOST_DOTS = 64_000_000
#: Bytes of one file.
MOST_BYTES = 15 * 1024 * 1024
FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITY = 85


class NotAPhotoError(RuleError):
    """A file is no picture that can be shown."""

    message = translatable(
        "{name} is no photo that can be kept here: send a JPEG, PNG or WebP picture."
    )


class TooBigPhotoError(RuleError):
    """A picture is too large to be unpacked."""

    message = translatable(
        "{name} is too large to be kept: at most {megabytes} MB and {megadots} million "
        "dots."
    )


class Photo(NamedTuple):
    """A JPEG picture and its size in dots."""

    jpeg: bytes
    width: int
    height: int


def developed(data: bytes, name: str = "This file") -> Photo:
    """Return a picture as it is kept: upright, small enough, without anything beside.

    Args:
        data: the file that was sent.
        name: what it is called in a refusal.

    Raises:
        NotAPhotoError: it is no JPEG, PNG or WebP picture, or a damaged one.
        TooBigPhotoError: it has more bytes or dots than are taken.
    """
    too_big = TooBigPhotoError(
        name=name,
        megabytes=MOST_BYTES // 1024**2,
        megadots=MOST_DOTS // 1_000_000,
    )
    if len(data) > MOST_BYTES:
        raise too_big
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_DOTS:
                raise too_big
            picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise too_big from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError):
        raise NotAPhotoError(name=name) from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=_QUALITY, optimize=True, exif=b"")
    return Photo(out.getvalue(), upright.width, upright.height)
