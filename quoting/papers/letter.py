"""A ready-made e-mail with papers attached, for the shop's own mail program to send.

The file is a draft: nothing is sent from here. The same letter gives the same bytes.
"""

from collections.abc import Sequence
from datetime import datetime
from email.errors import MessageError
from email.header import Header
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, quote
from hashlib import sha256
from typing import NamedTuple
from unicodedata import category

from quoting.domain.errors import RuleError, translatable


class MailAddressError(RuleError):
    """An address that no e-mail can go to or come from."""

    message = translatable(
        "{address!r} is no e-mail address; write one such as name@example.org."
    )


class Mailbox(NamedTuple):
    """An e-mail address and the name that stands before it."""

    address: str
    name: str = ""


class Attachment(NamedTuple):
    """A file that goes with a letter; ``kind`` is its media type, as in RFC 6838."""

    name: str
    content: bytes
    kind: str = "application/pdf"


def email_draft(
    subject: str,
    text: str,
    attachments: Sequence[Attachment],
    to: Mailbox,
    sender: Mailbox,
    date: datetime,
) -> bytes:
    """Return a letter as an .eml file that mail programs open as a draft.

    Line breaks and other controls in a subject or a name become spaces, so that no
    text can add a header. A file's name keeps its letters and loses what a folder
    could not hold. Identity and boundary are worked out from the content.

    Args:
        subject: one line.
        text: the body, plain.
        attachments: the files, in order.
        to: who gets it.
        sender: who writes it.
        date: when it was written; with its time zone.

    Raises:
        MailAddressError: one of the two addresses is none.

    Source:
        RFC 5322 (message), RFC 2045 to 2047 and 2231 (MIME); ``X-Unsent: 1`` marks a
        draft (common practice, no standard).
    """
    writer, reader = _checked(sender), _checked(to)
    parts = (subject, text, *writer, *reader, date.isoformat())
    identity = _identity(parts, attachments)
    letter = EmailMessage(policy=SMTP)
    letter["Date"] = format_datetime(date)
    letter["Message-ID"] = f"<{identity}@{writer.address.rpartition('@')[2]}>"
    letter["X-Unsent"] = "1"
    letter.set_content(_lines(text), cte="quoted-printable")
    for attachment in attachments:
        maintype, _, subtype = attachment.kind.partition("/")
        letter.add_attachment(
            attachment.content,
            maintype=maintype,
            subtype=subtype,
            filename=_file_name(attachment.name),
        )
    if attachments:
        letter.set_boundary(identity)
    top = (
        f"Subject: {_words('Subject', _one_line(subject))}",
        f"From: {_mailbox('From', writer)}",
        f"To: {_mailbox('To', reader)}",
    )
    return "".join(f"{header}\r\n" for header in top).encode() + letter.as_bytes()


def _checked(mailbox: Mailbox) -> Mailbox:
    """Return a mailbox fit for a header; a domain of other letters in its ASCII form.

    Raises:
        MailAddressError: the address is none.
    """
    local, _, domain = mailbox.address.strip().rpartition("@")
    try:
        ascii_domain = domain.encode("idna").decode("ascii")
        address = Address(addr_spec=f"{local}@{ascii_domain}")
    except (MessageError, ValueError, IndexError):
        raise MailAddressError(address=mailbox.address) from None
    return Mailbox(address.addr_spec, _one_line(mailbox.name))


def _mailbox(header: str, mailbox: Mailbox) -> str:
    words = _words(header, mailbox.name)
    if words == mailbox.name:
        words = f'"{quote(words)}"'
    return f"{words}\r\n <{mailbox.address}>"


#: Longer text is written in encoded words, which may be folded anywhere.
_PLAIN = 60


def _words(header: str, text: str) -> str:
    """Return one line of text for a header, in encoded words where it needs them.

    The words are made here, for an ``EmailMessage`` would hand on a text that looks
    like encoded words itself, and a reader would decode line breaks out of it.

    Source:
        RFC 2047: encoded words, of at most 75 characters.
    """
    if text.isascii() and len(text) <= _PLAIN and "=?" not in text:
        return text
    return Header(text, "utf-8", header_name=header).encode(linesep="\r\n")


#: Controls, the ends of lines and paragraphs, and halves of characters.
_CONTROLS = ("Cc", "Zl", "Zp", "Cs")


def _one_line(text: str) -> str:
    kept = (" " if category(char) in _CONTROLS else char for char in text)
    return " ".join("".join(kept).split())


def _lines(text: str) -> str:
    """Return a body whose lines end in one way, with one at the end."""
    lines = [
        "".join(c for c in line if c == "\t" or category(c) not in _CONTROLS)
        for line in text.splitlines()
    ]
    return "\n".join(lines) + "\n"


#: What no folder of any usual system takes in a name.
_NOT_IN_NAMES = str.maketrans(dict.fromkeys('/\\:*?"<>|', "_"))


def _file_name(name: str) -> str:
    return _one_line(name).translate(_NOT_IN_NAMES).lstrip(".") or "paper"


def _identity(parts: Sequence[str], attachments: Sequence[Attachment]) -> str:
    """Return what two letters share only if they are the same."""
    digest = sha256()
    pieces = [part.encode() for part in parts]
    for attachment in attachments:
        pieces += [attachment.name.encode(), attachment.kind.encode()]
        pieces.append(attachment.content)
    for piece in pieces:
        digest.update(len(piece).to_bytes(8, "big"))
        digest.update(piece)
    return digest.hexdigest()[:40]
