"""Text from outside, as it may be shown: nothing steers a terminal, turns the order of reading or hides."""

import json
import re
import sys
import unicodedata
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rushlight.pipelines.visible_text import json_text, visible

BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
SHAPED = {*"\u06dd\u070f\u0890\u0891\u08e2\U000110bd\U000110cd", *map(chr, range(0x600, 0x606))}
SHAPED |= {c for c in map(chr, range(0x13430, 0x13440))}  # they place hieroglyphs
JOINERS = "\u200c\u200d"
PIECES = st.characters(exclude_categories=()) | st.sampled_from(BIDI + JOINERS + "\x1b\x07\x9b\n\r")
# Two halves of a pair in a row are one character to whoever reads JSON.
ANYTHING = st.text(PIECES).filter(lambda text: not re.search("[\ud800-\udbff][\udc00-\udfff]", text))


def hidden(text: str) -> set[str]:
    return {
        c
        for c in text
        if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp", "Cf") and c not in SHAPED and c not in JOINERS
    }


@given(ANYTHING, st.booleans())
@example("A\x1b]0;taken\x07\x9b31m", False)
@example("\u202egpj.mov\u2069\u2028\u2029\x00\x7f\x85\udcff\U000e0041\ufeff\u00ad", True)
def test_nothing_hidden_is_left(text: str, lines: bool) -> None:
    shown = visible(text, lines=lines)
    assert hidden(shown) <= ({"\n"} if lines else set())
    assert visible(shown, lines=lines) == shown
    shown.encode()  # no half of a pair is left


def test_every_code_point() -> None:
    for code in range(sys.maxunicode + 1):
        character = chr(code)
        assert not hidden(visible(character)), hex(code)
        plain = unicodedata.category(character)[0] in "LMNPS" or character in SHAPED
        assert not plain or visible(character) == character, hex(code)


@pytest.mark.parametrize(
    "text",
    [
        "Café, übergroß, Łódź",
        "第一場 テイク２ 컷",
        "مشهد ۱۲ خارجي",
        "סצנה 4",
        "می‌خواهم",  # written with the zero width non-joiner
        "क्‍ष",  # with the joiner
        "👩‍🚀 ❤️‍🔥 🏳️‍🌈 👍🏽",
        "葛󠄀城",  # a variant of a name's letter
        "C:\\new\\x1b",
        "a b c",  # spaces of other widths
    ],
)
def test_what_people_write_stays(text: str) -> None:
    assert visible(text) == text and json.loads(json_text(text)) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[2J", r"\x1b[2J"),
        ("a\tb\r\n", r"a\tb\r\n"),
        ("\u202evom.A", r"\u202evom.A"),
        ("caf\udce9.mov", r"caf\udce9.mov"),
        ("A\u200dB", r"A\u200dB"),
        ("A\u200c", r"A\u200c"),
        ("م\u200c\u200cم", r"م\u200c\u200cم"),
        ("x\U000e0041", r"x\U000e0041"),
    ],
)
def test_how_it_is_written(text: str, shown: str) -> None:
    assert visible(text) == shown


def test_line_feeds_stay_where_lines_may() -> None:
    assert visible("a\nb\r\n", lines=True) == "a\nb\\r\n"


@given(st.recursive(ANYTHING | st.integers(), lambda x: st.lists(x) | st.dictionaries(ANYTHING, x)))
@example({"clip": "\U000e0041\udcff\ud83d\u202e"})
def test_json_is_exact_and_hides_nothing(document: Any) -> None:
    for indent in (None, 2):
        text = json_text(document, indent=indent)
        assert json.loads(text) == document
        assert hidden(text) <= {"\n"} and (indent or "\n" not in text)
