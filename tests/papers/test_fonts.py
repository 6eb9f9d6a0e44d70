"""What papers do with characters that their font lacks.

Unicode names of the replaced characters stand beside each case.
"""

import unicodedata
from html import escape

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from quoting.papers import fonts


def cmap(weight):
    path = fonts.faces()[weight].removeprefix("file://")
    with TTFont(path) as font:
        return set(map(chr, font.getBestCmap()))


def test_the_faces_are_the_files_of_the_font_package():
    assert set(fonts.faces()) == {400, 600}
    assert all(url.startswith("file://") for url in fonts.faces().values())


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("Zoë Ödön, Łódź, Ελλάς, Киев", "Zoë Ödön, Łódź, Ελλάς, Киев"),
        ("£ € ₹ ₫ ₺ ₽", "£ € ₹ ₫ ₺ ₽"),
        ("\u5c71\u7530", "\N{LOZENGE}\N{LOZENGE}"),  # two ideographs
        ("\U0001f527", "\N{LOZENGE}"),  # WRENCH
        ("\ue000", "\N{LOZENGE}"),  # private use
        ("\uffe5", "\N{YEN SIGN}"),  # FULLWIDTH YEN SIGN
        ("\uff21\uff22", "AB"),  # FULLWIDTH LATIN CAPITAL LETTER A, B
        ("\u01c6", "d\u017e"),  # LATIN SMALL LETTER DZ WITH CARON: dz, its caron kept
        ("\u1e00", "A"),  # LATIN CAPITAL LETTER A WITH RING BELOW loses the ring
        ("a\u2003b\u3000c\u2028d", "a b c d"),  # EM SPACE, IDEOGRAPHIC SPACE, LINE SEP.
        ("a\u200db\u200ec\u2060d\u2066e", "abcde"),  # joiners, mark, isolate
        ("a\x00b\x1bc\x7fd", "abcd"),  # controls
        ("two\nlines\tand a tab", "two\nlines\tand a tab"),
        ("\u0301Osgood \u0302x", "Osgood x"),  # accents on nothing
        ("x\u0301\u0302", "x\u0301\u0302"),  # accents on a letter
    ],
)
def test_what_the_font_lacks_is_replaced_by_its_nearest_form(text, printed):
    assert fonts.printable(text) == printed


def test_in_markup_what_stands_for_a_character_is_escaped():
    """FULLWIDTH LESS-THAN SIGN, AMPERSAND and QUOTATION MARK."""
    assert fonts.printable("\uff1cb\uff06\uff02", escape) == "&lt;b&amp;&quot;"


def test_accents_right_after_a_tag_go_and_accents_on_a_letter_stay():
    assert fonts.printable("<p>\u0301x e\u0301</p>", escape) == "<p>x e\u0301</p>"


@given(st.text())
def test_after_replacing_the_font_has_everything(text):
    assert set(fonts.printable(text)) <= cmap(400) & cmap(600) | {"\n", "\t"}


@given(st.text())
def test_replacing_again_changes_nothing(text):
    once = fonts.printable(text)

    assert fonts.printable(once) == once


@given(st.text(st.characters(codec="latin-1", exclude_categories=["C", "Z", "M"])))
def test_western_texts_are_left_as_they_are(text):
    assert fonts.printable(text) == text


@given(st.text())
def test_a_text_is_legible_only_if_nothing_of_it_becomes_a_lozenge(text):
    if fonts.legible(text):
        new = fonts.printable(text).count(fonts.LACKING)
        assert new == text.count(fonts.LACKING)


@pytest.mark.parametrize(
    ("text", "legible"),
    [
        ("1\u202f234,50\u00a0\N{EURO SIGN}", True),
        ("\u200f-1,234.50\u00a0", True),  # RIGHT-TO-LEFT MARK prints nothing
        ("\uffe51,235", True),  # FULLWIDTH YEN SIGN has a like form
        ("7 \u0645\u0627\u0631\u0633 2026", False),  # Arabic
        ("2026\u5e743\u67087\u65e5", False),  # year, month, day in ideographs
        ("", True),
    ],
)
def test_legible_is_what_loses_nothing_in_print(text, legible):
    assert fonts.legible(text) is legible


def test_the_lozenge_itself_is_in_the_font():
    assert unicodedata.name(fonts.LACKING) == "LOZENGE"
    assert fonts.LACKING in cmap(400) & cmap(600)
