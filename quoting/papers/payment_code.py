"""A code that a banking app reads, for a credit transfer in euro.

Source:
    European Payments Council, EPC069-12 v2.1: Quick Response Code, Guidelines to
    enable data capture for the initiation of a SEPA credit transfer.
"""

from decimal import Decimal

from quoting.domain.invoice import Document

#: Limits of EPC069-12: characters of the name and of the text, and the amount.
_NAME, _TEXT, _MOST = 70, 140, Decimal("999999999.99")


def payment_code(document: Document) -> str:
    """Return the code as SVG; empty where the standard does not apply.

    It applies to an amount above nothing in euro to an account known by its IBAN.
    """
    bank = document.bank
    if document.currency.code != "EUR" or not bank.iban:
        return ""
    if not 0 < document.due <= _MOST:
        return ""
    from segno.helpers import make_epc_qr

    code = make_epc_qr(
        name=(bank.holder or document.seller.name)[:_NAME],
        iban=bank.iban.replace(" ", ""),
        amount=document.due,
        text=document.number[:_TEXT],
        bic=bank.bic or None,
        encoding="utf-8",
    )
    return str(
        code.svg_inline(
            border=4,
            omitsize=True,
            svgclass="code",
            lineclass=None,
            title="Code for a banking app: pays this document by transfer",
        )
    )
