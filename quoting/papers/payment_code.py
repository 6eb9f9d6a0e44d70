"""A code that a banking app reads, for a credit transfer in euro.

Source:
    European Payments Council, EPC069-12 v2.1: Quick Response Code, Guidelines to
    enable data capture for the initiation of a SEPA credit transfer. Version 002,
    coded character set 1 (UTF-8), error correction level M, at most 331 bytes.
"""

from quoting.domain.invoice import Document

#: Characters of the name and of the text, by EPC069-12.
_NAME, _TEXT = 70, 140


def payment_code(document: Document) -> str:
    """Return the code as SVG; empty where the standard does not apply.

    It applies to 0.01 to 999,999,999.99 in euro, to an account known by its IBAN.
    """
    bank = document.bank
    if document.currency.code != "EUR" or not bank.iban:
        return ""
    from segno.helpers import make_epc_qr

    try:
        code = make_epc_qr(
            name=_one_line(bank.holder or document.seller.name)[:_NAME],
            iban="".join(bank.iban.split()),
            amount=document.due,
            text=_one_line(document.number)[:_TEXT],
            bic="".join(bank.bic.split()) or None,
            encoding="utf-8",
        )
    except ValueError:  # beyond what the standard's fields or its 331 bytes hold
        return ""
    return str(
        code.svg_inline(
            border=4,
            omitsize=True,
            svgclass="code",
            lineclass=None,
            title="Code for a banking app: pays this document by transfer",
        )
    )


def _one_line(text: str) -> str:
    """Return a text without what would begin another element of the code."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def in_fours(iban: str) -> str:
    """Return an IBAN as it is printed: in groups of four.

    Source:
        ISO 13616-1, print format.

    >>> in_fours("IE29AIBK93115212345678")
    'IE29 AIBK 9311 5212 3456 78'
    """
    plain = "".join(iban.split())
    return " ".join(plain[i : i + 4] for i in range(0, len(plain), 4))
