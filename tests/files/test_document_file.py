"""A kept document reads back as the document it was; what is none is refused."""

import json
from dataclasses import fields, replace
from datetime import date
from decimal import Decimal

import pytest
from builders import ON, dec
from hypothesis import given, settings
from hypothesis import strategies as st
from invoicing import free, invoice, invoices, under

from quoting.domain.credit import credit_all, credit_note
from quoting.domain.errors import RuleError
from quoting.domain.invoice import Bank, Deducted, Kind, Party, Reference, Why
from quoting.domain.job import Job
from quoting.domain.money import Currency
from quoting.files.document_file import UnreadableDocumentError, read, write

LAWS = settings(max_examples=60, deadline=None)

TEXTS = st.text(st.characters(codec="utf-8"), max_size=12)
DAYS = st.dates(date(1990, 1, 1), date(2190, 1, 1))

parties = st.builds(
    Party,
    name=TEXTS,
    address=st.lists(TEXTS, max_size=3).map(tuple),
    **{field.name: TEXTS for field in fields(Party)[2:]},
)


@st.composite
def documents(draw):
    """Return a document with something in every field."""
    document = draw(invoices())
    held = st.builds(
        Deducted, TEXTS, DAYS, st.decimals(0, 99, places=2), st.just(document.taxes)
    )
    return replace(
        document,
        kind=draw(st.sampled_from(Kind)),
        number=draw(TEXTS),
        on=draw(DAYS),
        pay_by=draw(st.none() | DAYS),
        seller=draw(parties),
        buyer=draw(st.none() | parties),
        bank=draw(st.builds(Bank, TEXTS, TEXTS, TEXTS)),
        deposits=tuple(draw(st.lists(held, max_size=2))),
        refers=tuple(draw(st.lists(st.builds(Reference, TEXTS, DAYS), max_size=2))),
        reason=draw(st.none() | st.sampled_from(Why)),
        because=draw(TEXTS),
        order_number=draw(TEXTS),
        registration=draw(TEXTS),
        quote=draw(TEXTS),
        work=draw(TEXTS),
        heads=tuple(draw(st.lists(TEXTS, max_size=2))),
        legends=tuple(draw(st.lists(TEXTS, max_size=2))),
        terms=draw(TEXTS),
    )


def simple(**known):
    """Return an invoice of one line of 100.00 at 20 %."""
    return invoice(under(LAB="20"), Job((), free=(free("100.00"),)), **known)


@LAWS
@given(documents())
def test_what_was_written_reads_back_as_it_was(document):
    back = read(write(document))

    assert back == document
    # Labels and reasons tell no two taxes apart, and 1.0 is equal to 1.00; yet the
    # paper prints both.
    assert repr(back) == repr(replace(document, taxes_of=back.taxes_of))
    assert write(back) == write(document)
    assert {code: repr(taxes) for code, taxes in back.taxes_of.items()} == {
        code: repr(taxes) for code, taxes in document.taxes_of.items()
    }


def test_equal_documents_give_the_same_text_however_their_codes_are_ordered():
    document = invoice(
        under(LAB="20", A="5"), Job((), free=(free("1.00"), free("2.00", "A")))
    )
    turned = replace(document, taxes_of=dict(reversed(document.taxes_of.items())))

    assert list(turned.taxes_of) != list(document.taxes_of)
    assert write(turned) == write(document)


def test_amounts_are_kept_to_their_last_nought_and_as_text():
    text = write(simple(currency=Currency("EUR", 2)))
    floats = []
    json.loads(text, parse_float=floats.append)

    assert '"amount":"100.00"' in text
    assert floats == []
    assert read(text).currency == Currency("EUR", 2)


def test_the_policy_and_the_taxes_of_each_code_are_kept():
    document = simple()
    policy = replace(
        document.policy, level="unit", unit_step=dec("0.005"), cash_step=dec("0.05")
    )
    back = read(write(replace(document, policy=policy)))

    assert back.policy == policy
    [tax] = back.taxes_of["LAB"]
    assert (tax.label, tax.rate) == ("XA 20 %", dec("20"))


def test_a_credit_note_keeps_what_it_corrects_and_why():
    document = simple()
    credit = credit_note(
        document,
        credit_all(document, []),
        on=ON,
        reason=Why.MISTAKE,
        because="wrong head",
    )
    back = read(write(credit))

    assert back.kind is Kind.CREDIT
    assert back.reason is Why.MISTAKE
    assert back.refers == (Reference("INV-0101", ON),)
    assert back.pay_by is None


def changed(**values):
    """Return the text of a document with other values in it."""
    return json.dumps({**json.loads(write(simple())), **values})


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "Expecting value"),
        ("half a docum", "Expecting value"),
        ("[]", "[] is not of the type dict"),
        ("{}", "missing"),
        ("[" * 100_000, "recursion"),
        (changed(invented="x"), "Document has no invented"),
        (changed(number=5), "5 is not of the type str"),
        (changed(on="yesterday"), "yesterday"),
        (changed(kind="receipt"), "receipt"),
        (changed(items="none"), "'none' is not of the type list"),
        (changed(buyer={"name": ["A"]}), "['A'] is not of the type str"),
        (changed(currency={"code": "EUR", "digits": True}), "True is not of the type"),
        (changed(deposits=[{"number": "D", "on": "2026-02-03", "gross": 3.5}]),
         "3.5 is not of the type str"),
        (changed(deposits=[{"number": "D", "on": "2026-02-03", "gross": "much"}]),
         "'much' is no figure"),
        (changed(deposits=[{"number": "D", "on": "2026-02-03", "gross": "NaN"}]),
         "'NaN' is no figure"),
    ],
)  # fmt: skip
def test_what_is_no_document_is_refused_in_words(text, why):
    with pytest.raises(UnreadableDocumentError) as refused:
        read(text)

    assert str(refused.value).startswith("This is no document of the records: ")
    assert why in str(refused.value)
    assert isinstance(refused.value, RuleError)


@LAWS
@given(st.recursive(
    st.none() | st.booleans() | st.integers() | TEXTS,
    lambda inner: st.lists(inner) | st.dictionaries(TEXTS, inner),
    max_leaves=8,
))  # fmt: skip
def test_any_other_json_is_refused_and_nothing_else_happens(value):
    with pytest.raises(UnreadableDocumentError):
        read(json.dumps(value))


@LAWS
@given(st.data())
def test_a_damaged_document_is_refused_or_reads_as_something_that_writes(data):
    text = write(simple())
    where = data.draw(st.integers(0, len(text) - 1))
    damaged = text[:where] + data.draw(TEXTS) + text[where + 1 :]
    try:
        document = read(damaged)
    except UnreadableDocumentError:
        return
    assert read(write(document)) == document


def test_an_amount_with_an_exponent_is_kept_as_it_is():
    document = simple(deposits=(Deducted("D-1", ON, Decimal("1E+2")),))

    assert str(read(write(document)).deposits[0].gross) == "1E+2"
