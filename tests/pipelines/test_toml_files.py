"""TOML of ours: every kind of string and key is read as the parser reads it, and what would stall it is refused at once."""

from __future__ import annotations

import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from here import rushlight
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_defaults, parse_recipe, shipped_recipes
from rushlight.pipelines.toml_files import DEPTH, MOST, PARTS, read_toml, toml_text

HOSTILE = {
    "a key of 1,000 parts": "a" + ".a" * 1000 + " = 1",
    "a key of 100,000 parts": "a" + ".a" * 100_000 + " = 1",
    "a key of 100,000 parts in quotes": '"a"' + ' . "a"' * 100_000 + " = 1",
    "a table of 100,000 parts": "[a" + ".a" * 100_000 + "]",
    "100,000 arrays inside each other": "a = " + "[" * 100_000 + "]" * 100_000,
    "100,000 tables inside each other": "a = " + "{b=" * 100_000 + "1" + "}" * 100_000,
    "a string without an end": 'a = "' + '\\"' * 500_000,
    "quotes without an end": "a = " + '"\\' * 500_000,
    "brackets that only close": "]" * 500_000,
    "longer than any of ours": "a = 1 #" + "x" * MOST,
    "a number of a million digits": "a = " + "9" * 1_000_000,
}


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("parse", [parse_recipe, parse_defaults])
def test_what_would_stall_the_parser_is_refused(kind: str, parse: object) -> None:
    start = time.process_time()
    with pytest.raises(RecipeError) as caught:
        parse(HOSTILE[kind], file="r.toml")  # type: ignore[operator]
    assert caught.value.file == "r.toml" and len(caught.value.text) < 400
    assert time.process_time() - start < 5  # it was minutes; most take milliseconds


@pytest.mark.parametrize(
    "text",
    [
        "a.b.\"c.d.e.f.g.h.i.j.k.l.m.n.o.p.q.r\".'s.t' = 1",
        'a = "' + "." * 100 + '" # ' + ".[{" * 100,
        'a = """\n' + "[.[.\n" * 50 + "\"\"\"\nb = '''" + "{.{." * 50 + "'''",
        "a" + ".a" * (PARTS - 1) + " = 1",
        "a = " + "[" * DEPTH + "]" * DEPTH,
        "a = 1.5\nb = [1.5, 2.5, " + "3.5, " * 100 + "]\nc = 2026-05-04T10:00:00.5Z",
        "a = '\\'\nb = \"\\\\\"",
    ],
)
def test_what_is_within_the_limits_is_read(text: str) -> None:
    assert read_toml(text, file="a.toml", error=RecipeError) == tomllib.loads(text)


def test_every_shipped_recipe_is_within_them() -> None:
    for text in shipped_recipes().values():
        assert read_toml(text, file="", error=RecipeError) == tomllib.loads(text)


@given(st.text(alphabet="ab.=[]{}\"'\\#\n\t ,1-", max_size=60))
def test_nothing_else_is_refused_that_the_parser_takes(text: str) -> None:
    try:
        wanted = tomllib.loads(text)
    except ValueError:
        with pytest.raises(RecipeError):
            read_toml(text, file="", error=RecipeError)
        return
    assert read_toml(text, file="", error=RecipeError) == wanted


def test_a_command_says_where_it_is(tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text("clip,encoding\nA.mov,LogC3\n")
    (tmp_path / "r.toml").write_text('name = "x"\n' + HOSTILE["a key of 100,000 parts"])
    run = rushlight("plan", "day.csv", "--recipe", "r.toml", cwd=tmp_path)
    assert run.returncode == 2 and "r.toml:2: has a key of more than 16 parts" in run.stderr + run.stdout


@given(st.text(st.characters(codec="utf-8")))
def test_a_text_is_written_as_it_is_read(text: str) -> None:
    assert read_toml(f"a = {toml_text(text)}", file="r.toml", error=RecipeError) == {"a": text}
