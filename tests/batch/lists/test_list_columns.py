"""The columns of a list: those that the code reads are those of the table, and every example in it is taken."""

import ast
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from framings import canvas, context, write_fdl
from here import write_list
from ltc_signal import ltc
from pictures import numbered, write_movie
from rushlight.batch.cameras.camera_facts import FACT_COLUMNS
from rushlight.batch.lists.camera_columns import CAMERA_COLUMNS
from rushlight.batch.lists.list_columns import CHOICES, COLUMNS, GRADE_COLUMNS
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.sound.sound_statements import SOUND_COLUMNS
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

ROOT = Path(__file__).resolve().parents[3]
SAMPLES = ROOT / "sample_frames"
RECIPE = """
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
size = "128x72"

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg"]
at = ["list"]
size = "128x72"
"""
# Read only by being shown, picked or passed on by name.
SHOWN = {"unit", "approved_by", "approved_at", *FACT_COLUMNS}


def read_of_rows(text: str) -> Iterator[str]:
    """Columns that a module reads: `row["x"]` of what is annotated as a Row, and `clip.row["x"]`."""
    for function in ast.walk(ast.parse(text)):
        if not isinstance(function, ast.FunctionDef):
            continue
        arguments = [*function.args.args, *function.args.kwonlyargs]
        rows = {a.arg for a in arguments if a.annotation and ast.unparse(a.annotation) == "Row"}
        for node in ast.walk(function):
            if not (isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant)):
                continue
            of_clip = isinstance(node.value, ast.Attribute) and node.value.attr == "row"
            if of_clip or (isinstance(node.value, ast.Name) and node.value.id in rows):
                yield str(node.slice.value)


def test_what_is_read_is_in_the_table() -> None:
    found = {column for path in (ROOT / "batch").rglob("*.py") for column in read_of_rows(path.read_text())}
    assert len(found) > 15
    assert found - COLUMNS.keys() == set()
    assert {*GRADE_COLUMNS, *CAMERA_COLUMNS, *SOUND_COLUMNS, *CHOICES} - COLUMNS.keys() == set()
    # Nothing is in the table that nobody reads.
    told = "".join(p.read_text() for p in (ROOT / "batch").rglob("*.py") if p.name != "list_columns.py")
    assert {column for column in COLUMNS.keys() - SHOWN if f'"{column}"' not in told} == set()


def test_a_column_that_is_new_is_found() -> None:
    assert list(read_of_rows('def f(row: Row, other: dict): return row["lens"] + other["x"]')) == ["lens"]
    assert list(read_of_rows('def f(clip: PlannedClip): return clip.row["lens"]')) == ["lens"]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("columns")
    signal = (ltc(Timecode.parse("01:00:00:00", FrameRate.parse(24)), 8) * 2**30).astype(np.int32)
    sound = np.stack([np.zeros_like(signal), signal])  # timecode on the second track
    write_movie(folder / "A001C003.mov", [numbered(n) for n in range(8)], sound=sound)
    for name in ("farrow.cube", "garden.cdl"):
        shutil.copy(SAMPLES / name, folder / name)
    write_fdl(folder / "farrow.fdl", context("B Cam", canvas("gate", (128, 72))))
    (folder / "one.toml").write_text(RECIPE)
    return folder


@pytest.mark.parametrize("column", COLUMNS)
def test_the_example_is_taken(column: str, place: Path) -> None:
    cells = {} if column in ("clip", "encoding", "levels") else {column: COLUMNS[column].example}
    cells = {name: text.replace(",", " ") for name, text in cells.items()}  # as a CSV cell without quotes
    if column.startswith("lut_"):
        cells["lut"] = COLUMNS["lut"].example
    name = Path(COLUMNS["clip"].example).stem
    day = write_list(place / "day.csv", {name: cells})
    plan = prepare(Request(clip_list=day, recipe=str(place / "one.toml"))).plan
    assert [clip.row.clip for clip in plan.clips] == [f"{name}.mov"], [str(e) for _, e in plan.wrong]
    assert not [w for w in plan.warnings if "passes through" in w]
    if column in CHOICES:
        assert COLUMNS[column].example in CHOICES[column]
