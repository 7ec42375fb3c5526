"""Words of a command line in a sentence: messages have them between backticks, pages set them as code, a letter in quotes."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from rushlight.pipelines.visible_text import visible

__all__ = ["as_code", "in_quotes"]

# Between a pair that stands as a word does, so that one in the name of a file stays what it is.
_WORDS = re.compile(r"(?<![^\s(;:,])`([^`\n]+)`(?=[\s,.;:?)]|&#39;|'|$)")


def as_code(text: str) -> Markup:
    """A sentence for a page, escaped, with what stands between backticks as `code` elements."""
    return Markup(_WORDS.sub(r"<code>\1</code>", str(escape(visible(text, lines=True)))))


def in_quotes(text: str) -> str:
    """A sentence for plain text, with what stands between backticks in straight double quotes."""
    return _WORDS.sub(r'"\1"', text)
