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
from quoting.domain.invoice import Document, Item, Kind, Party, Reference
from quoting.domain.money import HUNDRED, ONE, ZERO

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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
_UNNUMBERED = translatable("it has no number yet")
_NOWHERE = translatable("the country of {whose} is not written down")
_NO_LINE = translatable("nothing stands on it")
_SEVERAL = translatable(
    "{code} names {count} taxes, and EN 16931 has exactly one for a line"
)
_FINE = translatable("EN 16931 has two decimals, and {currency} has more")
_STRANGE = translatable("{category} is no category of EN 16931")
_RATE = translatable("category {category} does not go with a rate of {rate} %")
_MIXED = translatable("some of it is outside the tax (O) and some is not")
_FAR = translatable(
    "its tax at {rate} % is one unit of money or more off: rounded often, or kept"
)
_NO_NUMBER = translatable("{whose} has no tax number for category {category}")
_UNREFERRED = translatable("it corrects no invoice")
_UNTIMED = translatable("it says neither when nor how it is to be paid")
#: The shop, where a reason names it.
_SHOP = translatable("the shop")


class _Line(NamedTuple):
    """One invoice line (BG-25)."""

    place: int
    name: str
    text: str
    code: str
    quantity: Decimal
    basis: Decimal
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


class _Trader(NamedTuple):
    """Seller (BG-4) or buyer (BG-7), and what its numbers count as.

    Attributes:
        party: as the document names it.
        vat: VAT identifier (BT-31, BT-48).
        local: number with the tax office that is no VAT identifier (BT-32).
        identifier: what tells a seller apart that neither the register nor a VAT
            identifier does (BT-29; BR-CO-26).
    """

    party: Party
    vat: str
    local: str = ""
    identifier: str = ""


@dataclass(frozen=True, slots=True)
class _Figures:
    """What both syntaxes say."""

    seller: _Trader
    buyer: _Trader
    lines: tuple[_Line, ...]
    adjustments: tuple[_Adjustment, ...]
    vat: tuple[_Vat, ...]

    @property
    def line_total(self) -> Decimal:
        return sum((line.net for line in self.lines), ZERO)

    def together(self, *, charges: bool) -> Decimal | None:
        """Return the sum of the charges or allowances; None: there are none.

        A sum of nothing is said where a charge of nothing stands (BR-CO-11, 12).
        """
        amounts = [a.amount for a in self.adjustments if a.charge is charges]
        return sum(amounts, ZERO) if amounts else None

    @property
    def delivered_to(self) -> str:
        """Return the country that goods go to where they cross a border (BT-80)."""
        crosses = any(vat.category == "K" for vat in self.vat)
        return self.buyer.party.country if crosses else ""


def _figures(document: Document) -> _Figures:
    """Sort what a document charges into lines, adjustments and tax rows.

    What only adjusts other lines becomes lines where nothing else stands on the
    document, as on a credit note for the sundries alone (BR-16).

    Raises:
        NotInEn16931Error: EN 16931 cannot say it.
    """
    buyer = _named(document)
    _check_taxes(document)
    vat = _breakdown(document)
    lines: list[_Line] = []
    adjustments: list[_Adjustment] = []
    alone = all(item.kind in _ADJUSTMENTS for item in document.items)
    for item in document.items:
        for code, net in _nets(item).items():
            tax = document.taxes_of[code][0]
            if alone or item.kind not in _ADJUSTMENTS:
                lines.append(_line(item, len(lines) + 1, net, tax.category, tax.rate))
                continue
            adjustments.append(
                _Adjustment(net >= 0, abs(net), _name(item), tax.category, tax.rate)
            )
    if not lines:
        raise NotInEn16931Error(why=_NO_LINE)
    seller, buying = _traders(document.seller, buyer, [row.category for row in vat])
    return _Figures(seller, buying, tuple(lines), tuple(adjustments), vat)


def _nets(item: Item) -> "Mapping[str, Decimal]":
    """Return what an item charges before tax, by tax code."""
    nets: dict[str, Decimal] = {}
    for bit in item.bits:
        nets[bit.code] = nets.get(bit.code, ZERO) + bit.net
    return nets


def _name(item: Item) -> str:
    return _text(item.description) or item.code or item.kind


def _line(item: Item, place: int, net: Decimal, category: str, rate: Decimal) -> _Line:
    """Return a line; below nothing its quantity is, never its price (BR-27)."""
    counted = item.quantity if item.quantity and item.quantity > 0 else ONE
    return _Line(
        place=place,
        name=_name(item),
        text=item.detail,
        code=item.code,
        quantity=counted if net >= 0 else -counted,
        basis=counted,
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
        rows[tax.category, tax.rate] = _Vat(
            tax.category, tax.rate, base + group.base, owed + group.amount, reason
        )
    for row in rows.values():
        if abs(row.tax - row.base * row.rate / HUNDRED) >= ONE:  # BR-CO-17
            raise NotInEn16931Error(why=_FAR.format(rate=_figure(row.rate)))
    return tuple(rows.values())


def _named(document: Document) -> Party:
    """Return the buyer, where the document says whose, when and what it corrects.

    Raises:
        NotInEn16931Error: something of that is missing, or too fine.
    """
    buyer = document.buyer
    if buyer is None or not buyer.name.strip():
        raise NotInEn16931Error(why=_NOBODY)
    if not document.number:
        raise NotInEn16931Error(why=_UNNUMBERED)
    if document.currency.digits > 2:
        raise NotInEn16931Error(why=_FINE.format(currency=document.currency.code))
    for whose, party in ((_SHOP, document.seller), (buyer.name, buyer)):
        if not party.country:
            raise NotInEn16931Error(why=_NOWHERE.format(whose=whose))
    if document.kind is Kind.CREDIT and not document.refers:
        raise NotInEn16931Error(why=_UNREFERRED)
    if document.kind is not Kind.CREDIT and not (document.pay_by or document.terms):
        raise NotInEn16931Error(why=_UNTIMED)
    return buyer


def _check_taxes(document: Document) -> None:
    """Refuse taxes that EN 16931 cannot say.

    Raises:
        NotInEn16931Error: with the reason.
    """
    categories = set()
    for code in dict.fromkeys(bit.code for item in document.items for bit in item.bits):
        taxes = document.taxes_of[code]
        if len(taxes) != 1:
            raise NotInEn16931Error(why=_SEVERAL.format(code=code, count=len(taxes)))
        category, rate = taxes[0].category, taxes[0].rate
        if category not in _CATEGORIES:
            raise NotInEn16931Error(why=_STRANGE.format(category=category))
        if (category == "S") != (rate > 0):
            why = _RATE.format(category=category, rate=_figure(rate))
            raise NotInEn16931Error(why=why)
        categories.add(category)
    if "O" in categories and len(categories) > 1:
        raise NotInEn16931Error(why=_MIXED)


def _traders(
    seller: Party, buyer: Party, categories: "Sequence[str]"
) -> tuple[_Trader, _Trader]:
    """Return seller and buyer with the numbers that the categories ask for.

    Outside the tax (O) neither shows a VAT identifier.

    Raises:
        NotInEn16931Error: a number is missing.

    Source:
        EN 16931 BR-CO-26; BR-S-02, BR-AE-02, BR-IC-02, BR-G-02, BR-O-02 and alike.
    """
    sells = "".join(seller.tax_number.split()).upper()
    vat, buyers = seller.vat_identifier, buyer.vat_identifier
    local = "" if vat else sells
    for category in categories:
        if not (sells or (category == "O" and seller.register_number)) or (
            category in ("K", "G") and not vat
        ):
            raise NotInEn16931Error(
                why=_NO_NUMBER.format(whose=_SHOP, category=category)
            )
        registered = category == "AE" and buyer.register_number
        if category in ("AE", "K") and not (buyers or registered):
            raise NotInEn16931Error(
                why=_NO_NUMBER.format(whose=buyer.name, category=category)
            )
    if "O" in categories:
        vat = buyers = ""
    apart = "" if vat or seller.register_number else sells
    return _Trader(seller, vat, local, apart), _Trader(buyer, buyers)


# What both syntaxes write alike.


def _text(text: str) -> str:
    """Return a text without what XML or a PDF/A file may not hold."""
    return _NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", text).strip()


def _amount(amount: Decimal) -> str:
    return f"{amount:.2f}"


def _figure(figure: Decimal) -> str:
    return f"{figure.normalize():f}"


def _before(document: Document) -> list[Reference]:
    """Return the preceding invoices (BG-3): what is corrected, or taken off."""
    taken = [
        Reference(each.number, each.on) for each in document.deposits if each.taxes
    ]
    return [*document.refers, *taken]


def _notes(document: Document) -> list[str]:
    notes = [document.because, *document.legends]
    return [note for note in map(_text, notes) if note]


#: Vehicle licence number, in UNTDID 1153; invoiced object, in UNTDID 1001.
_LICENCE, _OBJECT = "ABZ", "130"


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

    def say(
        self, parent: etree._Element, path: str, text: str, **attributes: str
    ) -> None:
        """Add the elements of *path* only where there is a text for the last one."""
        if said := _text(text):
            self.put(parent, path, said, **attributes)

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
    _cii_agreement(w, deal, document, figures)
    delivery = put(deal, "ram:ApplicableHeaderTradeDelivery")
    w.say(
        delivery,
        "ram:ShipToTradeParty/ram:PostalTradeAddress/ram:CountryID",
        figures.delivered_to,
    )
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
    w.say(product, "ram:SellerAssignedID", line.code)
    put(product, "ram:Name", line.name)
    w.say(product, "ram:Description", line.text)
    price = put(row, "ram:SpecifiedLineTradeAgreement/ram:NetPriceProductTradePrice")
    put(price, "ram:ChargeAmount", _amount(abs(line.net)))
    put(price, "ram:BasisQuantity", _figure(line.basis), unitCode=line.unit)
    put(
        row,
        "ram:SpecifiedLineTradeDelivery/ram:BilledQuantity",
        _figure(line.quantity),
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


def _cii_agreement(
    w: _Writer, deal: etree._Element, document: Document, figures: _Figures
) -> None:
    agreement = w.put(deal, "ram:ApplicableHeaderTradeAgreement")
    _cii_party(w, agreement, "ram:SellerTradeParty", figures.seller, selling=True)
    _cii_party(w, agreement, "ram:BuyerTradeParty", figures.buyer, selling=False)
    for path, number in (
        ("ram:SellerOrderReferencedDocument", document.quote),
        ("ram:BuyerOrderReferencedDocument", document.order_number),
    ):
        w.say(agreement, f"{path}/ram:IssuerAssignedID", number)
    if document.registration.strip():
        vehicle = w.put(agreement, "ram:AdditionalReferencedDocument")
        w.put(vehicle, "ram:IssuerAssignedID", document.registration)
        w.put(vehicle, "ram:TypeCode", _OBJECT)
        w.put(vehicle, "ram:ReferenceTypeCode", _LICENCE)


def _cii_party(
    w: _Writer, parent: etree._Element, name: str, trader: _Trader, *, selling: bool
) -> None:
    put, say, party = w.put, w.say, trader.party
    row = put(parent, name)
    say(row, "ram:ID", trader.identifier)
    put(row, "ram:Name", party.name)
    say(row, "ram:SpecifiedLegalOrganization/ram:ID", party.register_number)
    if selling and (party.phone or party.email):
        contact = put(row, "ram:DefinedTradeContact")
        put(contact, "ram:PersonName", party.name)
        say(
            contact,
            "ram:TelephoneUniversalCommunication/ram:CompleteNumber",
            party.phone,
        )
        say(contact, "ram:EmailURIUniversalCommunication/ram:URIID", party.email)
    address = put(row, "ram:PostalTradeAddress")
    say(address, "ram:PostcodeCode", party.postcode)
    for tag, text in zip(("One", "Two", "Three"), _street(party), strict=False):
        put(address, f"ram:Line{tag}", text)
    say(address, "ram:CityName", party.town)
    put(address, "ram:CountryID", party.country)
    say(address, "ram:CountrySubDivisionName", party.region)
    say(row, "ram:URIUniversalCommunication/ram:URIID", party.email, schemeID="EM")
    number = "ram:SpecifiedTaxRegistration/ram:ID"
    say(row, number, trader.vat, schemeID="VA")
    say(row, number, trader.local, schemeID="FC")


def _street(party: Party) -> list[str]:
    """Return at most three address lines; the last one holds what is more."""
    lines = [line for line in party.address if line.strip()]
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
        w.say(account, "ram:AccountName", document.bank.holder)
        w.say(
            means,
            "ram:PayeeSpecifiedCreditorFinancialInstitution/ram:BICID",
            document.bank.bic,
        )
    for vat in figures.vat:
        tax = put(row, "ram:ApplicableTradeTax")
        put(tax, "ram:CalculatedAmount", _amount(vat.tax))
        put(tax, "ram:TypeCode", "VAT")
        w.say(tax, "ram:ExemptionReason", vat.reason)
        put(tax, "ram:BasisAmount", _amount(vat.base))
        put(tax, "ram:CategoryCode", vat.category)
        w.say(tax, "ram:ExemptionReasonCode", _REASON_CODES.get(vat.category, ""))
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
    if document.terms or document.pay_by:
        terms = put(row, "ram:SpecifiedTradePaymentTerms")
        w.say(terms, "ram:Description", document.terms)
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
    rows: list[tuple[str, Decimal | None]] = [
        ("LineTotalAmount", figures.line_total),
        ("ChargeTotalAmount", figures.together(charges=True)),
        ("AllowanceTotalAmount", figures.together(charges=False)),
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
    if document.order_number or document.quote:
        order = put(top, "cac:OrderReference")
        put(order, "cbc:ID", document.order_number or "NA")
        w.say(order, "cbc:SalesOrderID", document.quote)
    for number, on in _before(document):
        earlier = put(top, "cac:BillingReference/cac:InvoiceDocumentReference")
        put(earlier, "cbc:ID", number)
        put(earlier, "cbc:IssueDate", on.isoformat())
    if document.registration.strip():
        vehicle = put(top, "cac:AdditionalDocumentReference")
        put(vehicle, "cbc:ID", document.registration, schemeID=_LICENCE)
        put(vehicle, "cbc:DocumentTypeCode", _OBJECT)
    _ubl_party(w, "cac:AccountingSupplierParty", figures.seller, selling=True)
    _ubl_party(w, "cac:AccountingCustomerParty", figures.buyer, selling=False)
    delivery = put(top, "cac:Delivery")
    put(delivery, "cbc:ActualDeliveryDate", document.supplied.isoformat())
    w.say(
        delivery,
        "cac:DeliveryLocation/cac:Address/cac:Country/cbc:IdentificationCode",
        figures.delivered_to,
    )
    if document.bank.iban:
        means = put(top, "cac:PaymentMeans")
        put(means, "cbc:PaymentMeansCode", "58")
        put(means, "cbc:PaymentID", document.number)
        account = put(means, "cac:PayeeFinancialAccount")
        put(account, "cbc:ID", document.bank.iban.replace(" ", ""))
        w.say(account, "cbc:Name", document.bank.holder)
        w.say(account, "cac:FinancialInstitutionBranch/cbc:ID", document.bank.bic)
    w.say(top, "cac:PaymentTerms/cbc:Note", document.terms)
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
    if reason:
        w.say(row, "cbc:TaxExemptionReasonCode", _REASON_CODES.get(category, ""))
        w.put(row, "cbc:TaxExemptionReason", reason)
    w.put(row, "cac:TaxScheme/cbc:ID", "VAT")


def _ubl_party(w: _Writer, name: str, trader: _Trader, *, selling: bool) -> None:
    put, say, party = w.put, w.say, trader.party
    row = put(w.root, f"{name}/cac:Party")
    say(row, "cbc:EndpointID", party.email, schemeID="EM")
    say(row, "cac:PartyIdentification/cbc:ID", trader.identifier)
    address = put(row, "cac:PostalAddress")
    street = _street(party)
    for tag, text in zip(
        ("cbc:StreetName", "cbc:AdditionalStreetName"), street, strict=False
    ):
        put(address, tag, text)
    say(address, "cbc:CityName", party.town)
    say(address, "cbc:PostalZone", party.postcode)
    say(address, "cbc:CountrySubentity", party.region)
    if len(street) > 2:
        put(address, "cac:AddressLine/cbc:Line", street[2])
    put(address, "cac:Country/cbc:IdentificationCode", party.country)
    for number, scheme in ((trader.vat, "VAT"), (trader.local, "TAX")):
        if number:
            of = put(row, "cac:PartyTaxScheme")
            put(of, "cbc:CompanyID", number)
            put(of, "cac:TaxScheme/cbc:ID", scheme)
    legal = put(row, "cac:PartyLegalEntity")
    put(legal, "cbc:RegistrationName", party.name)
    say(legal, "cbc:CompanyID", party.register_number)
    if selling and (party.phone or party.email):
        contact = put(row, "cac:Contact")
        put(contact, "cbc:Name", party.name)
        say(contact, "cbc:Telephone", party.phone)
        say(contact, "cbc:ElectronicMail", party.email)


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
        ("AllowanceTotalAmount", figures.together(charges=False)),
        ("ChargeTotalAmount", figures.together(charges=True)),
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
    put(row, quantity, _figure(line.quantity), unitCode=line.unit)
    put(row, "cbc:LineExtensionAmount", _amount(line.net), currencyID=code)
    item = put(row, "cac:Item")
    w.say(item, "cbc:Description", line.text)
    put(item, "cbc:Name", line.name)
    w.say(item, "cac:SellersItemIdentification/cbc:ID", line.code)
    _ubl_category(w, item, "cac:ClassifiedTaxCategory", line.category, line.rate)
    price = put(row, "cac:Price")
    put(price, "cbc:PriceAmount", _amount(abs(line.net)), currencyID=code)
    put(price, "cbc:BaseQuantity", _figure(line.basis), unitCode=line.unit)
