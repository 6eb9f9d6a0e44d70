"""The ready-made e-mail, read back by the standard library's parser.

RFC 5322 (message), RFC 2045 to 2047 and RFC 2231 (MIME).
"""

import email
import unicodedata
from datetime import UTC, datetime, timedelta, timezone
from email import policy
from email.header import decode_header, make_header
from email.parser import BytesParser
from email.utils import parseaddr, parsedate_to_datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from quoting.papers.letter import Attachment, MailAddressError, Mailbox, email_draft

TO = Mailbox("ada@osgood.example", "Ada Osgood")
SHOP = Mailbox("counter@tallowlane.example", "Tallow Lane Heads")
WHEN = datetime(2026, 11, 25, 14, 5, tzinfo=timezone(timedelta(hours=1)))
PDF = Attachment("Request Q-0417.pdf", b"%PDF-1.7\n\x00\xff\r\n.\r\n")
PHOTO = Attachment("crack.jpg", b"\xff\xd8\xff\xe0photo", "image/jpeg")
HEADERS = {
    "Subject", "From", "To", "Date", "Message-ID", "X-Unsent", "MIME-Version",
    "Content-Type",
}  # fmt: skip


def draft(subject="Q-0417", text="Hello.", attachments=(PDF,), to=TO, sender=SHOP):
    return email_draft(subject, text, attachments, to, sender, WHEN)


def parsed(raw):
    return BytesParser(policy=policy.default).parsebytes(raw)


def body(letter):
    return letter.get_body(("plain",)).get_content().replace("\r\n", "\n")


def test_a_draft_has_its_addresses_subject_day_text_and_papers():
    letter = parsed(draft("Your head", "We found a crack.\n\nAda", (PDF, PHOTO)))

    assert letter["X-Unsent"] == "1"
    assert letter["Subject"] == "Your head"
    assert str(letter["To"]) == "Ada Osgood <ada@osgood.example>"
    assert str(letter["From"]) == "Tallow Lane Heads <counter@tallowlane.example>"
    assert parsedate_to_datetime(letter["Date"]) == datetime(
        2026, 11, 25, 13, 5, tzinfo=UTC
    )
    assert body(letter) == "We found a crack.\n\nAda\n"
    files = [
        (part.get_filename(), part.get_content_type(), part.get_content())
        for part in letter.iter_attachments()
    ]
    assert files == [
        ("Request Q-0417.pdf", "application/pdf", PDF.content),
        ("crack.jpg", "image/jpeg", PHOTO.content),
    ]
    assert not letter.defects


def test_a_draft_without_papers_is_plain_text():
    letter = parsed(draft(attachments=()))

    assert letter.get_content_type() == "text/plain"
    assert body(letter) == "Hello.\n"


def test_a_file_is_of_short_ascii_lines_that_end_as_the_standard_says():
    """RFC 5322 2.1.1: at most 998 characters a line, and CRLF at its end."""
    raw = draft("Kopf " * 60, "Ärger " * 500, (PDF, PHOTO))

    assert raw.isascii()
    assert raw.count(b"\n") == raw.count(b"\r") == raw.count(b"\r\n")
    assert max(map(len, raw.split(b"\r\n"))) <= 998


def test_the_same_letter_is_the_same_file_and_another_has_another_identity():
    others = [
        draft(subject="other"), draft(text="other"), draft(attachments=()),
        draft(attachments=(PHOTO,)), draft(to=SHOP), draft(sender=TO),
        draft(attachments=(PDF._replace(content=b"%PDF"),)),
        draft(attachments=(PDF._replace(name="other.pdf"),)),
    ]  # fmt: skip

    assert draft() == draft()
    others += [draft(subject="ab", text="c"), draft(subject="a", text="bc")]
    identities = {parsed(raw)["Message-ID"] for raw in (draft(), *others)}
    assert len(identities) == len(others) + 1


def test_the_identity_is_of_the_senders_domain():
    """RFC 5322 3.6.4: an identity is unique, best with a domain on its right side."""
    identity = parsed(draft())["Message-ID"]

    assert identity.startswith("<")
    assert identity.endswith("@tallowlane.example>")


INJECTED = [
    "Offer\r\nBcc: all@example.org",
    "Offer\nBcc: all@example.org",
    "Offer\rBcc: all@example.org",
    "Offer\r\n\r\nA body",
    "Offer\u2028Bcc: all@example.org",
    "Offer\x00\x0bBcc: all@example.org",
    "Offer =?utf-8?q?=0D=0ABcc:_all=40example.org?=",
]


@pytest.mark.parametrize("text", INJECTED)
def test_no_text_adds_a_header_or_a_reader(text):
    letter = parsed(
        draft(
            subject=text,
            text=text,
            to=Mailbox(TO.address, text),
            sender=Mailbox(SHOP.address, text),
            attachments=(PDF._replace(name=f"{text}.pdf"),),
        )
    )

    assert set(letter.keys()) == HEADERS
    assert [a.addr_spec for a in letter["To"].addresses] == [TO.address]
    assert [a.addr_spec for a in letter["From"].addresses] == [SHOP.address]
    [file] = letter.iter_attachments()
    assert set(file.keys()) == {
        "Content-Type", "Content-Transfer-Encoding", "Content-Disposition",
        "MIME-Version",
    }  # fmt: skip


def display_name(raw):
    """Return the reader's name, read as RFC 2047 6.2 has it: no space between words."""
    phrase, _ = parseaddr(email.message_from_bytes(raw)["To"])
    return str(make_header(decode_header(phrase)))


def kept(text):
    """Return what must come through of a text: all but spaces and controls."""
    return "".join(
        char
        for char in text
        if not char.isspace() and unicodedata.category(char) not in ("Cc", "Cs")
    )


@given(name=st.text(max_size=120))
@example('a" <evil@example.org>, "b\\')
@example('Osgood, "Ann" <evil@example.org>, \u00f6')
@example("\u00f6" * 90 + ", <evil@example.org>")
@example("\U0001f468\u200d\U0001f527 \u0648\u0631\u0634\u0629")
def test_any_name_goes_to_one_reader_and_keeps_its_letters(name):
    raw = draft(subject=name, to=Mailbox(TO.address, name))
    letter = parsed(raw)

    [reader] = letter["To"].addresses
    assert reader.addr_spec == TO.address
    assert kept(display_name(raw)) == kept(letter["Subject"]) == kept(name)
    assert set(letter.keys()) == HEADERS
    assert draft(subject=name, to=Mailbox(TO.address, name)) == raw


@pytest.mark.parametrize(
    "name",
    [
        "Zo\u00eb Osgood",
        'Osgood, "Ann" \u00f6',
        "\U0001f468\u200d\U0001f527 Garage",
        "\u0648\u0631\u0634\u0629 \u05de\u05d5\u05e1\u05da",
        "Amalgamated Upper and Lower Marlhaven Engine Owners' Repair Association, "
        "Northern Branch \u00e9",
    ],
)
def test_names_and_files_of_other_letters_come_through_whole(name):
    to = Mailbox(TO.address, name)
    file = PDF._replace(name=f"{name.replace(chr(34), '')}.pdf")
    raw = draft(name, f"{name}\n", (file,), to)
    letter = parsed(raw)

    assert letter["Subject"] == name
    assert display_name(raw) == name
    assert body(letter) == f"{name}\n"
    [part] = letter.iter_attachments()
    assert part.get_filename() == file.name


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/Q-1.pdf", "_.._etc_Q-1.pdf"),
        ("a\\b:c*.pdf", "a_b_c_.pdf"),
        ('Q "1" <x>|y?.pdf', "Q _1_ _x__y_.pdf"),
        ("", "paper"),
        ("...", "paper"),
    ],
)
def test_a_files_name_is_a_name_in_any_folder(name, kept):
    [part] = parsed(draft(attachments=(PDF._replace(name=name),))).iter_attachments()

    assert part.get_filename() == kept


@pytest.mark.parametrize(
    "address",
    [
        "", "ada", "ada@", "@osgood.example", "ada@osgood@example",
        "a da@osgood.example", "ada@osgood.example\r\nBcc: all@example.org",
        "ada@osgood.example, b@c.example", "Ada <ada@osgood.example>",
        "\u00e4da@osgood.example", "ada@osgood..example",
        "ada@" + "x" * 64 + ".example",
    ],
)  # fmt: skip
def test_what_is_no_address_is_refused_and_shown_back(address):
    for way in ({"to": Mailbox(address)}, {"sender": Mailbox(address)}):
        with pytest.raises(MailAddressError) as refused:
            draft(**way)
        assert repr(address) in str(refused.value)


def test_a_domain_of_other_letters_is_written_in_ascii():
    """RFC 3490: b\u00fccher becomes xn--bcher-kva, the usual example."""
    letter = parsed(draft(to=Mailbox("ada@b\u00fccher.example")))

    assert letter["To"].addresses[0].addr_spec == "ada@xn--bcher-kva.example"


def test_text_keeps_its_paragraphs_whatever_ended_its_lines():
    text = "One.\r\n\r\n.\rFrom here\n\u00a3 100\ttab \U0001f527"

    letter = email.message_from_bytes(draft(text=text), policy=policy.default)
    assert body(letter) == "One.\n\n.\nFrom here\n\u00a3 100\ttab \U0001f527\n"
