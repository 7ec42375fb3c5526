"""Nothing grows beyond what a reader holds in mind: modules of 400 lines, functions of 60, whatever their room; and types say
what a thing is: `Any` only where a library has no types."""

from __future__ import annotations

import ast
import io
import tokenize
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULE, FUNCTION = 400, 60  # lines at most
ANYS = 1  # lines at most, of all modules: numpy takes arrays by names of which one is its own
DEBTS: set[tuple[str, str]] = set()  # to be ended


@cache
def modules() -> dict[str, str]:
    """The text of every module by its place."""
    found = (p for top in ("pipelines", "batch") for p in sorted((ROOT / top).rglob("*.py")))
    return {str(p.relative_to(ROOT)): p.read_text() for p in found}


parsed = cache(ast.parse)


def lines_but_for_tables(text: str) -> int:
    """A module's lines; an assignment at its top that is a table (a literal of ten lines or more) counts as one."""
    tables = [
        node
        for node in parsed(text).body
        if isinstance(node, ast.Assign | ast.AnnAssign) and (node.end_lineno or 0) - node.lineno >= 10
    ]
    return len(text.splitlines()) - sum((n.end_lineno or 0) - n.lineno for n in tables)


def long_functions(text: str) -> list[tuple[str, int]]:
    """Functions beyond the limit and their lines, from `def` to the last; one inside another is part of both."""
    found = [n for n in ast.walk(parsed(text)) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    lengths = [(n.name, (n.end_lineno or 0) - n.lineno + 1) for n in found]
    return [(name, length) for name, length in lengths if length > FUNCTION]


def lines_with_any(text: str) -> set[int]:
    """Numbers of the lines that name `Any`, imports aside."""
    if "Any" not in text:
        return set()
    imports = {n.lineno for n in ast.walk(parsed(text)) if isinstance(n, ast.Import | ast.ImportFrom)}
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    return {t.start[0] for t in tokens if t.type == tokenize.NAME and t.string == "Any"} - imports


def test_types_say_what_a_thing_is() -> None:
    found = {name: len(lines_with_any(text)) for name, text in modules().items()}
    assert sum(found.values()) <= ANYS, {name: n for name, n in found.items() if n}


def test_every_any_is_found() -> None:
    text = "from typing import Any\nimport typing\ndef f(a: Any, b: Any) -> typing.Any:\n    # Any\n    'Any'\nAlias = dict[str, Any]\n"
    assert lines_with_any(text) == {3, 6}


def test_no_module_is_long() -> None:
    lengths = {name: lines_but_for_tables(text) for name, text in modules().items()}
    assert {name: n for name, n in lengths.items() if n > MODULE} == {}


def test_no_function_is_long() -> None:
    found = [(name, *long) for name, text in modules().items() for long in long_functions(text)]
    assert [(module, name, lines) for module, name, lines in found if (module, name) not in DEBTS] == []


def test_what_is_long_is_found() -> None:
    body = "    pass\n" * FUNCTION
    assert long_functions(f"class A:\n  async def f():\n{body}") == [("f", FUNCTION + 1)]
    assert long_functions(f"def f():\n{body[:-9]}") == []
    assert lines_but_for_tables("a = 1\n" * (MODULE + 1)) == MODULE + 1
    assert lines_but_for_tables("TABLE = (\n" + "    1,\n" * 500 + ")\n") == 1
