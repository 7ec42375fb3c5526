"""The pages say what is so: their commands run, their links lead somewhere, and the reference is the code's own."""

from __future__ import annotations

import csv
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import click
import pytest

from here import HereFarm, farm_here, run  # noqa: F401
from reference import (
    FOLDER,
    RECIPE_WORDS,
    event_names,
    event_words,
    fields,
    pages,
    unsaid,
)
from rushlight.batch.cli.main import cli
from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.records.events import AnyEvent
from rushlight.pipelines.recipe import read_recipe
from rushlight.pipelines.recipe.clip_defaults import Model
from rushlight.pipelines.recipe.day_document import DayDocument
from rushlight.pipelines.recipe.model import Recipe
from rushlight.pipelines.recipe.read_recipe import parse_day, parse_recipe, shipped_recipes

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "CONTRIBUTING.md", "CHANGELOG.md")]
PAGES += sorted((ROOT / "docs").rglob("*.md"))
# Pages whose commands are run, one after the other in one folder: later ones go on from what earlier ones made.
RUN = (
    "README.md",
    "docs/a-day-on-the-cart.md",
    "docs/an-assistants-redo.md",
    "docs/handing-a-day-over.md",
    "docs/the-queue-through-a-day.md",
)
FRAMES = 3  # of each clip of the sample day, as its shortest has: enough for every command


def blocks(text: str, kind: str = "") -> Iterator[str]:
    """What stands in fences of a kind."""
    found = re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    yield from (block for name, block in found if name == kind)


def commands(text: str) -> list[list[str]]:
    """Our commands in a page's fenced and indented blocks, in words."""
    lines = [line for block in blocks(text) for line in block.splitlines()]
    lines += [line.strip() for line in text.splitlines() if line.startswith("    ")]
    parts = [part.strip() for line in lines for part in line.split(" && ")]
    return [shlex.split(p)[1:] for p in parts if re.match(r"(\.venv/bin/)?rushlight ", p)]


def inline(text: str) -> list[list[str]]:
    """Our commands in a page's running text."""
    plain = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    found = re.findall(r"`rushlight ([^`]+)`", plain)
    return [shlex.split(re.split(r" (?:\\?\||>) ", words)[0]) for words in found]


def parsed(words: list[str]) -> None:
    """UsageError where a command line has words that the commands do not take."""
    group: click.Command = cli
    while isinstance(group, click.Group) and words and words[0] in group.commands:
        group, words = group.commands[words[0]], words[1:]
    if words and "…" not in words and not isinstance(group, click.Group):
        group.make_context("rushlight", list(words))


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as a checkout looks to the commands: the sample day, a few frames of each clip."""
    folder = tmp_path_factory.mktemp("docs")
    shutil.copytree(ROOT / "sample_frames", folder / "sample_frames")
    day = folder / "sample_frames" / "day.csv"
    with day.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    with day.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, [*rows[0], "in", "out"])
        writer.writeheader()
        writer.writerows(row | {"in": "0", "out": str(FRAMES)} for row in rows)
    return folder


@pytest.mark.parametrize("page", RUN)
def test_the_commands_of_a_page_do_what_it_says(
    page: str,
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """Every one ends with 0, of pictures a sixth as wide as the recipes have them. (Pages are in the order of `RUN`: the
    file runs whole, in one process.)"""
    small = {name: re.sub(r'"\d+x\d+"', '"320x180"', text) for name, text in shipped_recipes().items()}
    monkeypatch.setattr(read_recipe, "shipped_recipes", lambda: small)
    monkeypatch.chdir(place)
    monkeypatch.setenv("XDG_STATE_HOME", str(place / "state"))
    found = commands((ROOT / page).read_text())
    assert found
    for words in found:
        code, said = run(*words)
        assert code == 0, (words, said)
    if page == RUN[0]:
        made = {p.name for p in (place / "out").iterdir()}
        rows = set(re.findall(r"^\| `(\w+)/", (ROOT / page).read_text(), re.MULTILINE))
        assert rows and rows <= made


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_commands_are_such_as_there_are(page: Path) -> None:
    for words in commands(page.read_text()) + inline(page.read_text()):
        try:
            parsed(words)
        except click.UsageError as error:
            pytest.fail(f"rushlight {' '.join(words)}: {error.format_message()}")


@pytest.mark.parametrize(
    "wrong",
    [["plan", "day.csv", "--frob"], ["render", "--replaced", "perhaps"], ["queue", "list", "day.csv"]],
)
def test_a_command_that_there_is_not_is_found(wrong: list[str]) -> None:
    with pytest.raises(click.UsageError):
        parsed(wrong)


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text()
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if "://" in target:
            continue
        path, _, anchor = target.partition("#")
        there = (page.parent / path) if path else page
        assert there.exists(), target
        if anchor:
            heads = re.findall(r"^#+ (.*)$", there.read_text(), re.MULTILINE)
            assert anchor in {re.sub(r"[^\w -]", "", h).lower().replace(" ", "-") for h in heads}, target


def test_every_page_is_reached_from_the_index() -> None:
    found, todo = set[Path](), [ROOT / "docs" / "README.md"]
    while todo:
        page = todo.pop().resolve()
        if page in found or page.suffix != ".md":
            continue
        found.add(page)
        todo += [page.parent / t for t in re.findall(r"\]\(([^)#\s]+\.md)", page.read_text())]
    assert {p for p in PAGES if p.is_relative_to(ROOT / "docs")} - found == set()


def test_documents_in_the_pages_are_read() -> None:
    """Tables of defaults, recipes and the list of the reference."""
    shown = [(page, block) for page in PAGES for block in blocks(page.read_text(), "toml")]
    assert shown
    for page, block in shown:
        parse = parse_recipe if "[[output]]" in block else parse_day
        assert parse(block, file=page.name).model_fields_set
    lists = [b for b in blocks((FOLDER / "lists.md").read_text()) if b.startswith("clip,")]
    assert [len(read_csv(block).rows) for block in lists] == [3] and not read_csv(lists[0]).problems


@pytest.mark.parametrize("name", pages())
def test_the_reference_is_current(name: str) -> None:
    made = (FOLDER / name).read_text()
    assert made == pages()[name], "python -m tests.support.reference --write"


def test_everything_is_explained() -> None:
    assert unsaid(Recipe, RECIPE_WORDS) == unsaid(DayDocument, RECIPE_WORDS) == []
    told = {name for model in get_args(AnyEvent) for name in event_words(model)}
    assert event_names() <= told


def test_a_setting_that_is_new_is_not_forgotten() -> None:
    class Small(Model):
        """Two settings."""

        said: int = 1
        silent: str = ""

    assert unsaid(Small, {"Small.said": "frames"}) == ["Small.silent"]
    assert "| `said` | a whole number | `1` | frames |" in fields(Small, {"Small.said": "frames"})
    assert "decision file" in fields(Recipe)  # from the comment beside it


def test_pages_are_of_a_size_to_be_read() -> None:
    assert (ROOT / "DEVELOPERS.md").stat().st_size <= 8192
    assert (ROOT / "docs" / "pictures" / "report.jpg").stat().st_size <= 150_000
