"""Text from outside as it may be shown: what steers a terminal, turns the reading order or cannot be seen is written out.

Names, notes, metadata and words of libraries may hold control characters (ESC starts a terminal's commands), the overrides
and isolates of the Unicode Bidirectional Algorithm (UAX #9; they make one name look like another), line and paragraph
separators, other format characters without a shape, and halves of surrogate pairs (bytes of a file name that are no UTF-8).
Letters of every script, accents, emoji and the joiners inside words stay as they are.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable

__all__ = ["json_text", "visible"]

# General categories Cc but LF, Cs, Zl, Zp, and Cf but the marks that have a shape (U+0600 and the like).
_HIDDEN = (
    r"\x00-\x09\x0b-\x1f\x7f-\x9f\xad\u061c\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff"
    r"\ufff0-\ufffb\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e007f"
)
# Joiners are spelling in Persian, the scripts of India and emoji, and hide anywhere else.
_WORD = r"[^\x00-\u02ff\u2000-\u206f\u3000\ud800-\udfff\ufeff\ufff0-\uffff\U000e0000-\U000e007f]"
_JOINER = rf"(?<!{_WORD})[\u200c\u200d]|[\u200c\u200d](?!{_WORD})"
_IN_LINES = re.compile(rf"[{_HIDDEN}]|{_JOINER}")
_IN_A_LINE = re.compile(rf"[\n{_HIDDEN}]|{_JOINER}")


def visible(text: str, *, lines: bool = False) -> str:
    r"""The text with what is hidden written as in `\x1b` and `\u202e`; with `lines` its line feeds stay."""
    return _written(text, lines, lambda c: c.encode("unicode_escape").decode())


def json_text(
    document: object,
    *,
    indent: int | None = None,
    separators: tuple[str, str] | None = None,
    allow_nan: bool = True,
) -> str:
    r"""A document as JSON that means exactly what it holds, what is hidden written as JSON has it (`\u001b`). The options
    are json.dumps' own."""
    text = json.dumps(document, indent=indent, separators=separators, allow_nan=allow_nan, ensure_ascii=False)
    return _written(text, True, lambda c: json.dumps(c)[1:-1])


def _written(text: str, lines: bool, write: Callable[[str], str]) -> str:
    if text.isprintable():
        return text
    return (_IN_LINES if lines else _IN_A_LINE).sub(lambda found: write(found[0]), text)
