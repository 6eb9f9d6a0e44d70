"""EN 16931 invoices: an issued document as XML, in the syntaxes CII and UBL 2.1.

Everything is taken from the frozen document; nothing is worked out but sums of its
bits. A line goes out with its count as quantity and as base quantity and its net as
price, so that quantity x price / base quantity is the net to the cent. Adjustments are
allowances and charges of the document, one for each tax code.

Source:
    EN 16931-1:2017 (semantic model, BT and BG numbers), its CII and UBL bindings
    CEN/TS 16931-3-3 and 16931-3-2; the Factur-X / ZUGFeRD profile EN 16931.
"""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from lxml import etree

from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import Bit, Document, Item, Kind, Party, Reference
from quoting.domain.money import ONE, ZERO

if TYPE_CHECKING:
    from collections.abc import Sequence

SPECIFICATION = "urn:cen.eu:en16931:2017"
#: UNTDID 1001: commercial invoice, credit note, prepayment invoice.
TYPES = {Kind.INVOICE: "380", Kind.CREDIT: "381", Kind.DEPOSIT: "386"}
#: Categories that charge nothing and owe a reason.
_WITHOUT_TAX = ("E", "AE", "K", "G", "O")
_CATEGORIES = ("S", "Z", *_WITHOUT_TAX)
#: CEF code list VATEX: the reason of a category that has only one.
_REASON_CODES = {"AE": "VATEX-EU-AE", "K": "VATEX-EU-IC", "G": "VATEX-EU-G"}
#: What an allowance or charge is: UNTDID 5189 and 7161.
_DISCOUNT, _CHARGE = "95", "ABK"
#: What is charged or taken off for the whole document.
_ADJUSTMENTS = frozenset(
    (
        "set_price",
        "discount",
        "rush",
        "make_up",
        "sundries",
        "no_fix",
        "warranty",
        "call_it",
    )
)
_UNITS = {"hour": "HUR"}
_PIECE = "C62"
_NOT_IN_XML = re.compile(
    "[^\t\n\r\N{SPACE}-\N{LATIN SMALL LETTER Y WITH DIAERESIS}"
    "\u0100-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|[\x7f-\x9f]"
)


class NotInEn16931Error(RuleError):
    """A document cannot be written as an EN 16931 invoice."""

    message = translatable("It has no XML, because {why}.")


_NOBODY = translatable("it names no buyer")
_NOWHERE = translatable("the country of {whose} is not written down")
_SEVERAL = translatable("{code} names several taxes, and EN 16931 has one for a line")
_FINE = translatable("EN 16931 has two decimals, and {currency} has more")
_STRANGE = translatable("{category} is no category of EN 16931")
_UNREFERRED = translatable("it corrects no invoice")


class _Line(NamedTuple):
    """One invoice line (BG-25)."""

    place: int
    name: str
    text: str
    code: str
    quantity: Decimal
    unit: str
    net: Decimal
    category: str
    rate: Decimal


class _Adjustment(NamedTuple):
    """A document level allowance or charge (BG-20, BG-21)."""

    charge: bool
    amount: Decimal
    reason: str
    category: str
    rate: Decimal


class _Vat(NamedTuple):
    """One row of the VAT breakdown (BG-23)."""

    category: str
    rate: Decimal
    base: Decimal
    tax: Decimal
    reason: str


@dataclass(frozen=True, slots=True)
class _Figures:
    """What both syntaxes say."""

    lines: tuple[_Line, ...]
    adjustments: tuple[_Adjustment, ...]
    vat: tuple[_Vat, ...]

    @property
    def line_total(self) -> Decimal:
        return sum((line.net for line in self.lines), ZERO)

    def together(self, *, charges: bool) -> Decimal:
        return sum((a.amount for a in self.adjustments if a.charge is charges), ZERO)


def _figures(document: Document) -> _Figures:
    _check(document)
    lines: list[_Line] = []
    adjustments: list[_Adjustment] = []
    for item in document.items:
        by_code: dict[str, list[Bit]] = {}
        for bit in item.bits:
            by_code.setdefault(bit.code, []).append(bit)
        for code, bits in by_code.items():
            tax = document.taxes_of[code][0]
            net = sum((bit.net for bit in bits), ZERO)
            if item.kind in _ADJUSTMENTS:
                adjustments.append(
                    _Adjustment(
                        net > 0, abs(net), item.description, tax.category, tax.rate
                    )
                )
            else:
                lines.append(_line(item, len(lines) + 1, net, tax.category, tax.rate))
    return _Figures(tuple(lines), tuple(adjustments), _breakdown(document))


def _line(item: Item, place: int, net: Decimal, category: str, rate: Decimal) -> _Line:
    counted = item.quantity if item.quantity and item.quantity > 0 else ONE
    return _Line(
        place=place,
        name=item.description,
        text=item.detail,
        code=item.code,
        quantity=counted,
        unit=_UNITS.get(item.noun, _PIECE),
        net=net,
        category=category,
        rate=rate,
    )


def _breakdown(document: Document) -> tuple[_Vat, ...]:
    rows: dict[tuple[str, Decimal], _Vat] = {}
    for group in document.taxes:
        tax = group.tax
        before = rows.get((tax.category, tax.rate))
        base, owed = (before.base, before.tax) if before else (ZERO, ZERO)
        reason = (tax.reason or tax.label) if tax.category in _WITHOUT_TAX else ""
        if tax.category == "AE":
            reason = "Reverse charge"
        rows[tax.category, tax.rate] = _Vat(
            tax.category, tax.rate, base + group.base, owed + group.amount, reason
        )
    return tuple(rows.values())


def _check(document: Document) -> None:
    """Refuse what EN 16931 cannot say.

    Raises:
        NotInEn16931Error: with the reason.
    """
    buyer = document.buyer
    if buyer is None:
        raise NotInEn16931Error(why=_NOBODY)
    if document.currency.digits > 2:
        raise NotInEn16931Error(why=_FINE.format(currency=document.currency.code))
    for whose, party in (("the shop", document.seller), (buyer.name, buyer)):
        if not party.country:
            raise NotInEn16931Error(why=_NOWHERE.format(whose=whose))
    for item in document.items:
        for bit in item.bits:
            taxes = document.taxes_of[bit.code]
            if len(taxes) != 1:
                raise NotInEn16931Error(why=_SEVERAL.format(code=bit.code))
            if taxes[0].category not in _CATEGORIES:
                raise NotInEn16931Error(why=_STRANGE.format(category=taxes[0].category))
    if document.kind is Kind.CREDIT and not document.refers:
        raise NotInEn16931Error(why=_UNREFERRED)


# What both syntaxes write alike.


def _text(text: str) -> str:
    """Return a text without what XML or a PDF/A file may not hold."""
    return _NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", text).strip()


def _amount(amount: Decimal) -> str:
    return f"{amount:.2f}"


def _figure(figure: Decimal) -> str:
    return f"{figure.normalize():f}"


def _is_vat(party: Party) -> bool:
    """Tell whether a tax number is a VAT identifier: it begins with its country."""
    return party.tax_number[:2] in (party.country, _VAT_PREFIX.get(party.country))


def _needs_identifier(party: Party) -> bool:
    """Tell whether only a tax number that is no VAT identifier tells a seller apart.

    Source:
        EN 16931 BR-CO-26.
    """
    return bool(party.tax_number) and not (party.register_number or _is_vat(party))


#: Countries whose VAT identifiers begin otherwise (EN 16931 BR-CO-09).
_VAT_PREFIX = {"GR": "EL", "GB": "XI"}


def _before(document: Document) -> list[Reference]:
    """Return the preceding invoices (BG-3): what is corrected, or taken off."""
    taken = [
        Reference(each.number, each.on) for each in document.deposits if each.taxes
    ]
    return [*document.refers, *taken]


def _notes(document: Document) -> list[str]:
    notes = [document.because, *document.legends]
    return [note for note in map(_text, notes) if note]


def _terms(document: Document) -> str:
    if document.terms:
        return _text(document.terms)
    return _text(document.because) or "Settled with the documents named here"


class _Writer:
    """Writes elements under one root."""

    def __init__(self, root: str, spaces: dict[str | None, str]) -> None:
        self.spaces = spaces
        self.root = etree.Element(self._name(root), nsmap=spaces)

    def _name(self, name: str) -> str:
        prefix, _, local = name.rpartition(":")
        return f"{{{self.spaces[prefix or None]}}}{local}"

    def put(
        self,
        parent: etree._Element,
        path: str,
        text: str | None = None,
        **attributes: str,
    ) -> etree._Element:
        """Add the elements of *path* to *parent*; the last one holds *text*."""
        for name in path.split("/"):
            parent = etree.SubElement(parent, self._name(name))
        if text is not None:
            parent.text = _text(text)
        for key, value in attributes.items():
            parent.set(key, value)
        return parent

    def written(self) -> bytes:
        return bytes(
            etree.tostring(
                self.root, xml_declaration=True, encoding="UTF-8", pretty_print=True
            )
        )


# CII.

_CII = "urn:un:unece:uncefact:data:standard:"
_CII_SPACES: dict[str | None, str] = {
    "rsm": f"{_CII}CrossIndustryInvoice:100",
    "ram": f"{_CII}ReusableAggregateBusinessInformationEntity:100",
    "udt": f"{_CII}UnqualifiedDataType:100",
    "qdt": f"{_CII}QualifiedDataType:100",
}


def cii(document: Document) -> bytes:
    """Return a document as a Cross Industry Invoice; the same one, the same bytes.

    Raises:
        NotInEn16931Error: EN 16931 cannot say it.
    """
    figures = _figures(document)
    w = _Writer("rsm:CrossIndustryInvoice", _CII_SPACES)
    put = w.put
    put(
        w.root,
        "rsm:ExchangedDocumentContext/ram:GuidelineSpecifiedDocumentContextParameter"
        "/ram:ID",
        SPECIFICATION,
    )
    head = put(w.root, "rsm:ExchangedDocument")
    put(head, "ram:ID", document.number)
    put(head, "ram:TypeCode", TYPES[document.kind])
    _cii_day(w, put(head, "ram:IssueDateTime"), document.on)
    for note in _notes(document):
        put(head, "ram:IncludedNote/ram:Content", note)
    deal = put(w.root, "rsm:SupplyChainTradeTransaction")
    for line in figures.lines:
        _cii_line(w, deal, line)
    _cii_agreement(w, deal, document)
    delivery = put(deal, "ram:ApplicableHeaderTradeDelivery")
    at = put(delivery, "ram:ActualDeliverySupplyChainEvent/ram:OccurrenceDateTime")
    _cii_day(w, at, document.supplied)
    _cii_settlement(w, deal, document, figures)
    return w.written()


def _cii_day(w: _Writer, parent: etree._Element, on: date, kind: str = "udt") -> None:
    w.put(parent, f"{kind}:DateTimeString", f"{on:%Y%m%d}", format="102")


def _cii_line(w: _Writer, deal: etree._Element, line: _Line) -> None:
    put = w.put
    row = put(deal, "ram:IncludedSupplyChainTradeLineItem")
    put(row, "ram:AssociatedDocumentLineDocument/ram:LineID", str(line.place))
    product = put(row, "ram:SpecifiedTradeProduct")
    if line.code:
        put(product, "ram:SellerAssignedID", line.code)
    put(product, "ram:Name", line.name)
    if line.text:
        put(product, "ram:Description", line.text)
    price = put(row, "ram:SpecifiedLineTradeAgreement/ram:NetPriceProductTradePrice")
    put(price, "ram:ChargeAmount", _amount(line.net))
    count = _figure(line.quantity)
    put(price, "ram:BasisQuantity", count, unitCode=line.unit)
    put(
        row,
        "ram:SpecifiedLineTradeDelivery/ram:BilledQuantity",
        count,
        unitCode=line.unit,
    )
    settlement = put(row, "ram:SpecifiedLineTradeSettlement")
    tax = put(settlement, "ram:ApplicableTradeTax")
    put(tax, "ram:TypeCode", "VAT")
    put(tax, "ram:CategoryCode", line.category)
    if line.category != "O":
        put(tax, "ram:RateApplicablePercent", _figure(line.rate))
    put(
        settlement,
        "ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount",
        _amount(line.net),
    )


def _cii_agreement(w: _Writer, deal: etree._Element, document: Document) -> None:
    agreement = w.put(deal, "ram:ApplicableHeaderTradeAgreement")
    if document.registration:
        w.put(agreement, "ram:BuyerReference", document.registration)
    _cii_party(w, agreement, "ram:SellerTradeParty", document.seller)
    if document.buyer is not None:
        _cii_party(w, agreement, "ram:BuyerTradeParty", document.buyer)
    for path, number in (
        ("ram:SellerOrderReferencedDocument", document.quote),
        ("ram:BuyerOrderReferencedDocument", document.order_number),
    ):
        if number:
            w.put(agreement, f"{path}/ram:IssuerAssignedID", number)


def _cii_party(w: _Writer, parent: etree._Element, name: str, party: Party) -> None:
    put = w.put
    row = put(parent, name)
    seller = name == "ram:SellerTradeParty"
    if seller and _needs_identifier(party):
        put(row, "ram:ID", party.tax_number)
    put(row, "ram:Name", party.name)
    if party.register_number:
        put(row, "ram:SpecifiedLegalOrganization/ram:ID", party.register_number)
    if seller and (party.phone or party.email):
        contact = put(row, "ram:DefinedTradeContact")
        put(contact, "ram:PersonName", party.name)
        if party.phone:
            put(
                contact,
                "ram:TelephoneUniversalCommunication/ram:CompleteNumber",
                party.phone,
            )
        if party.email:
            put(contact, "ram:EmailURIUniversalCommunication/ram:URIID", party.email)
    address = put(row, "ram:PostalTradeAddress")
    if party.postcode:
        put(address, "ram:PostcodeCode", party.postcode)
    for tag, text in zip(("One", "Two", "Three"), _street(party), strict=False):
        put(address, f"ram:Line{tag}", text)
    if party.town:
        put(address, "ram:CityName", party.town)
    put(address, "ram:CountryID", party.country)
    if party.region:
        put(address, "ram:CountrySubDivisionName", party.region)
    if party.email:
        put(
            row,
            "ram:URIUniversalCommunication/ram:URIID",
            party.email,
            schemeID="EM",
        )
    if party.tax_number and (seller or _is_vat(party)):
        kind = "VA" if _is_vat(party) else "FC"
        put(row, "ram:SpecifiedTaxRegistration/ram:ID", party.tax_number, schemeID=kind)


def _street(party: Party) -> list[str]:
    """Return at most three address lines; the last one holds what is more."""
    lines = list(party.address)
    return [*lines[:2], ", ".join(lines[2:])] if len(lines) > 3 else lines


def _cii_settlement(
    w: _Writer, deal: etree._Element, document: Document, figures: _Figures
) -> None:
    put = w.put
    row = put(deal, "ram:ApplicableHeaderTradeSettlement")
    put(row, "ram:PaymentReference", document.number)
    put(row, "ram:InvoiceCurrencyCode", document.currency.code)
    if document.bank.iban:
        means = put(row, "ram:SpecifiedTradeSettlementPaymentMeans")
        put(means, "ram:TypeCode", "58")
        account = put(means, "ram:PayeePartyCreditorFinancialAccount")
        put(account, "ram:IBANID", document.bank.iban.replace(" ", ""))
        if document.bank.holder:
            put(account, "ram:AccountName", document.bank.holder)
        if document.bank.bic:
            put(
                means,
                "ram:PayeeSpecifiedCreditorFinancialInstitution/ram:BICID",
                document.bank.bic,
            )
    for vat in figures.vat:
        tax = put(row, "ram:ApplicableTradeTax")
        put(tax, "ram:CalculatedAmount", _amount(vat.tax))
        put(tax, "ram:TypeCode", "VAT")
        if vat.reason:
            put(tax, "ram:ExemptionReason", vat.reason)
        put(tax, "ram:BasisAmount", _amount(vat.base))
        put(tax, "ram:CategoryCode", vat.category)
        if code := _REASON_CODES.get(vat.category):
            put(tax, "ram:ExemptionReasonCode", code)
        if vat.category != "O":
            put(tax, "ram:RateApplicablePercent", _figure(vat.rate))
    for each in figures.adjustments:
        adjustment = put(row, "ram:SpecifiedTradeAllowanceCharge")
        put(
            adjustment,
            "ram:ChargeIndicator/udt:Indicator",
            "true" if each.charge else "false",
        )
        put(adjustment, "ram:ActualAmount", _amount(each.amount))
        put(adjustment, "ram:ReasonCode", _CHARGE if each.charge else _DISCOUNT)
        put(adjustment, "ram:Reason", each.reason)
        tax = put(adjustment, "ram:CategoryTradeTax")
        put(tax, "ram:TypeCode", "VAT")
        put(tax, "ram:CategoryCode", each.category)
        if each.category != "O":
            put(tax, "ram:RateApplicablePercent", _figure(each.rate))
    terms = put(row, "ram:SpecifiedTradePaymentTerms")
    put(terms, "ram:Description", _terms(document))
    if document.pay_by:
        _cii_day(w, put(terms, "ram:DueDateDateTime"), document.pay_by)
    _cii_totals(w, row, document, figures)
    for number, on in _before(document):
        earlier = put(row, "ram:InvoiceReferencedDocument")
        put(earlier, "ram:IssuerAssignedID", number)
        _cii_day(w, put(earlier, "ram:FormattedIssueDateTime"), on, "qdt")


def _cii_totals(
    w: _Writer, row: etree._Element, document: Document, figures: _Figures
) -> None:
    sums = w.put(row, "ram:SpecifiedTradeSettlementHeaderMonetarySummation")
    charges, allowances = (
        figures.together(charges=True),
        figures.together(charges=False),
    )
    rows: list[tuple[str, Decimal | None]] = [
        ("LineTotalAmount", figures.line_total),
        ("ChargeTotalAmount", charges or None),
        ("AllowanceTotalAmount", allowances or None),
        ("TaxBasisTotalAmount", document.net),
        ("TaxTotalAmount", document.tax),
        ("GrandTotalAmount", document.gross),
        ("TotalPrepaidAmount", document.deducted or None),
        ("DuePayableAmount", document.due),
    ]
    for name, amount in rows:
        if amount is not None:
            cell = w.put(sums, f"ram:{name}", _amount(amount))
            if name == "TaxTotalAmount":
                cell.set("currencyID", document.currency.code)


# UBL.

_UBL = "urn:oasis:names:specification:ubl:schema:xsd:"


def ubl(document: Document) -> bytes:
    """Return a document as UBL 2.1 Invoice or CreditNote; the same, the same bytes.

    Raises:
        NotInEn16931Error: EN 16931 cannot say it.

    Source:
        OASIS Universal Business Language 2.1; CEN/TS 16931-3-2.
    """
    figures = _figures(document)
    credit = document.kind is Kind.CREDIT
    root = "CreditNote" if credit else "Invoice"
    w = _Writer(
        root,
        {
            None: f"{_UBL}{root}-2",
            "cac": f"{_UBL}CommonAggregateComponents-2",
            "cbc": f"{_UBL}CommonBasicComponents-2",
        },
    )
    put, top = w.put, w.root
    put(top, "cbc:CustomizationID", SPECIFICATION)
    put(top, "cbc:ID", document.number)
    put(top, "cbc:IssueDate", document.on.isoformat())
    if document.pay_by and not credit:
        put(top, "cbc:DueDate", document.pay_by.isoformat())
    put(top, f"cbc:{root}TypeCode", TYPES[document.kind])
    for note in _notes(document):
        put(top, "cbc:Note", note)
    put(top, "cbc:DocumentCurrencyCode", document.currency.code)
    if document.registration:
        put(top, "cbc:BuyerReference", document.registration)
    if document.order_number or document.quote:
        order = put(top, "cac:OrderReference")
        put(order, "cbc:ID", document.order_number or "NA")
        if document.quote:
            put(order, "cbc:SalesOrderID", document.quote)
    for number, on in _before(document):
        earlier = put(top, "cac:BillingReference/cac:InvoiceDocumentReference")
        put(earlier, "cbc:ID", number)
        put(earlier, "cbc:IssueDate", on.isoformat())
    _ubl_party(w, "cac:AccountingSupplierParty", document.seller)
    if document.buyer is not None:
        _ubl_party(w, "cac:AccountingCustomerParty", document.buyer)
    put(top, "cac:Delivery/cbc:ActualDeliveryDate", document.supplied.isoformat())
    if document.bank.iban:
        means = put(top, "cac:PaymentMeans")
        put(means, "cbc:PaymentMeansCode", "58")
        put(means, "cbc:PaymentID", document.number)
        account = put(means, "cac:PayeeFinancialAccount")
        put(account, "cbc:ID", document.bank.iban.replace(" ", ""))
        if document.bank.holder:
            put(account, "cbc:Name", document.bank.holder)
        if document.bank.bic:
            put(account, "cac:FinancialInstitutionBranch/cbc:ID", document.bank.bic)
    put(top, "cac:PaymentTerms/cbc:Note", _terms(document))
    code = document.currency.code
    for each in figures.adjustments:
        row = put(top, "cac:AllowanceCharge")
        put(row, "cbc:ChargeIndicator", "true" if each.charge else "false")
        put(
            row,
            "cbc:AllowanceChargeReasonCode",
            _CHARGE if each.charge else _DISCOUNT,
        )
        put(row, "cbc:AllowanceChargeReason", each.reason)
        put(row, "cbc:Amount", _amount(each.amount), currencyID=code)
        _ubl_category(w, row, "cac:TaxCategory", each.category, each.rate)
    _ubl_totals(w, document, figures)
    for line in figures.lines:
        _ubl_line(w, root, line, code)
    return w.written()


def _ubl_category(
    w: _Writer,
    parent: etree._Element,
    name: str,
    category: str,
    rate: Decimal,
    reason: str = "",
) -> None:
    row = w.put(parent, name)
    w.put(row, "cbc:ID", category)
    if category != "O":
        w.put(row, "cbc:Percent", _figure(rate))
    if reason and (code := _REASON_CODES.get(category)):
        w.put(row, "cbc:TaxExemptionReasonCode", code)
    if reason:
        w.put(row, "cbc:TaxExemptionReason", reason)
    w.put(row, "cac:TaxScheme/cbc:ID", "VAT")


def _ubl_party(w: _Writer, name: str, party: Party) -> None:
    put = w.put
    row = put(w.root, f"{name}/cac:Party")
    if party.email:
        put(row, "cbc:EndpointID", party.email, schemeID="EM")
    seller = name == "cac:AccountingSupplierParty"
    if seller and _needs_identifier(party):
        put(row, "cac:PartyIdentification/cbc:ID", party.tax_number)
    address = put(row, "cac:PostalAddress")
    street = _street(party)
    for tag, text in zip(
        ("cbc:StreetName", "cbc:AdditionalStreetName"), street, strict=False
    ):
        put(address, tag, text)
    if party.town:
        put(address, "cbc:CityName", party.town)
    if party.postcode:
        put(address, "cbc:PostalZone", party.postcode)
    if party.region:
        put(address, "cbc:CountrySubentity", party.region)
    if len(street) > 2:
        put(address, "cac:AddressLine/cbc:Line", street[2])
    put(address, "cac:Country/cbc:IdentificationCode", party.country)
    if party.tax_number and (seller or _is_vat(party)):
        scheme = put(row, "cac:PartyTaxScheme")
        put(scheme, "cbc:CompanyID", party.tax_number)
        put(scheme, "cac:TaxScheme/cbc:ID", "VAT" if _is_vat(party) else "TAX")
    legal = put(row, "cac:PartyLegalEntity")
    put(legal, "cbc:RegistrationName", party.name)
    if party.register_number:
        put(legal, "cbc:CompanyID", party.register_number)
    if seller and (party.phone or party.email):
        contact = put(row, "cac:Contact")
        put(contact, "cbc:Name", party.name)
        if party.phone:
            put(contact, "cbc:Telephone", party.phone)
        if party.email:
            put(contact, "cbc:ElectronicMail", party.email)


def _ubl_totals(w: _Writer, document: Document, figures: _Figures) -> None:
    put, code = w.put, document.currency.code
    total = put(w.root, "cac:TaxTotal")
    put(total, "cbc:TaxAmount", _amount(document.tax), currencyID=code)
    for vat in figures.vat:
        row = put(total, "cac:TaxSubtotal")
        put(row, "cbc:TaxableAmount", _amount(vat.base), currencyID=code)
        put(row, "cbc:TaxAmount", _amount(vat.tax), currencyID=code)
        _ubl_category(w, row, "cac:TaxCategory", vat.category, vat.rate, vat.reason)
    sums = put(w.root, "cac:LegalMonetaryTotal")
    rows: Sequence[tuple[str, Decimal | None]] = (
        ("LineExtensionAmount", figures.line_total),
        ("TaxExclusiveAmount", document.net),
        ("TaxInclusiveAmount", document.gross),
        ("AllowanceTotalAmount", figures.together(charges=False) or None),
        ("ChargeTotalAmount", figures.together(charges=True) or None),
        ("PrepaidAmount", document.deducted or None),
        ("PayableAmount", document.due),
    )
    for name, amount in rows:
        if amount is not None:
            put(sums, f"cbc:{name}", _amount(amount), currencyID=code)


def _ubl_line(w: _Writer, root: str, line: _Line, code: str) -> None:
    put = w.put
    row = put(w.root, f"cac:{root}Line")
    put(row, "cbc:ID", str(line.place))
    quantity = (
        "cbc:CreditedQuantity" if root == "CreditNote" else "cbc:InvoicedQuantity"
    )
    count = _figure(line.quantity)
    put(row, quantity, count, unitCode=line.unit)
    put(row, "cbc:LineExtensionAmount", _amount(line.net), currencyID=code)
    item = put(row, "cac:Item")
    if line.text:
        put(item, "cbc:Description", line.text)
    put(item, "cbc:Name", line.name)
    if line.code:
        put(item, "cac:SellersItemIdentification/cbc:ID", line.code)
    _ubl_category(w, item, "cac:ClassifiedTaxCategory", line.category, line.rate)
    price = put(row, "cac:Price")
    put(price, "cbc:PriceAmount", _amount(line.net), currencyID=code)
    put(price, "cbc:BaseQuantity", count, unitCode=line.unit)
