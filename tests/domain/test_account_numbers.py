"""Accounts by IBAN in shop.toml, against the library python-stdnum.

ISO 13616 and ISO 7064, modulo 97-10. The library knows the form of the numbers of each
country besides, which the program does not ask for.
"""

import re
from dataclasses import replace

from builders import edition
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum import iban
from stdnum.iso7064 import mod_97_10

from quoting.domain.edition import assemble
from quoting.domain.errors import ProblemsError
from quoting.domain.rates import TABLES
from quoting.domain.tables import Sheet
from quoting.domain.tax import Policy

RATES = edition()
EMPTY = {name: Sheet(name, list(row.columns()), []) for name, row in TABLES.items()}
#: What follows the check digits, from the registry of ISO 13616 (from memory).
FORMS = {
    "DE": "[0-9]{18}",
    "FR": "[0-9]{10}[0-9A-Z]{11}[0-9]{2}",
    "GB": "[A-Z]{4}[0-9]{14}",
    "IE": "[A-Z]{4}[0-9]{14}",
    "MT": "[A-Z]{4}[0-9]{5}[0-9A-Z]{18}",
    "NO": "[0-9]{11}",
}


def refused(number):
    """Tell whether an account is a problem of shop.toml."""
    try:
        assemble(replace(RATES.shop, iban=number), Policy(), EMPTY)
    except ProblemsError as error:
        return any(problem.column == "iban" for problem in error.problems)
    return False


@st.composite
def accounts(draw):
    """Return an IBAN whose check digits the library has worked out."""
    country = draw(st.sampled_from(sorted(FORMS)))
    rest = draw(st.from_regex(FORMS[country], fullmatch=True))
    return country + iban.calc_check_digits(f"{country}xx{rest}") + rest


@given(accounts())
@settings(deadline=None)
def test_every_number_that_the_library_makes_is_an_account(number):
    assert iban.is_valid(number, check_country=False)
    assert not refused(number)
    assert not refused(iban.format(number).lower())


@given(accounts(), st.data())
@settings(deadline=None)
def test_a_wrong_digit_and_two_exchanged_ones_are_seen(number, data):
    """Modulo 97 sees every such mistake."""
    at = data.draw(st.sampled_from([m.start() for m in re.finditer("[0-9]", number)]))
    other = data.draw(st.sampled_from("0123456789".replace(number[at], "")))
    spoilt = [number[:at] + other + number[at + 1 :]]
    for pair in re.finditer("(?=([0-9])(?!\\1)([0-9]))", number[2:]):
        one, two = pair.start() + 2, pair.start() + 3
        spoilt.append(number[:one] + number[two] + number[one] + number[two + 1 :])
    for each in spoilt:
        assert not iban.is_valid(each, check_country=False)
        assert refused(each)


@given(st.from_regex("[A-Z]{2}[0-9]{2}[A-Z0-9]{11,30}", fullmatch=True))
@settings(deadline=None)
def test_whatever_looks_like_one_is_judged_as_the_library_judges_its_digits(number):
    fits = mod_97_10.is_valid(number[4:] + number[:4])
    assert refused(number) is not fits
