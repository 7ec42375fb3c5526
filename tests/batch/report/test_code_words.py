"""What messages have between backticks is code on a page and in quotes in a letter; names of files stay what they are."""

import pytest

from rushlight.batch.report.code_words import as_code, in_quotes
from rushlight.batch.report.page_templates import environment


@pytest.mark.parametrize(
    ("said", "page", "letter"),
    [
        ("a column `encoding` or", "a column <code>encoding</code> or", 'a column "encoding" or'),
        (
            "(`rushlight check`), `a`: `b <c>`.",
            "(<code>rushlight check</code>), <code>a</code>: <code>b &lt;c&gt;</code>.",
            '("rushlight check"), "a": "b <c>".',
        ),
        ("a `[[default]]` table", "a <code>[[default]]</code> table", 'a "[[default]]" table'),
        ("/a`b`c.mov: one ` alone", "/a`b`c.mov: one ` alone", "/a`b`c.mov: one ` alone"),
        ("<b>`\x1b`</b>", r"&lt;b&gt;`\x1b`&lt;/b&gt;", "<b>`\x1b`</b>"),
    ],
)
def test_commands_stand_out_and_all_else_is_escaped(said: str, page: str, letter: str) -> None:
    assert as_code(said) == page
    assert environment().from_string("{{ said | code }}").render(said=said) == page
    assert in_quotes(said) == letter
