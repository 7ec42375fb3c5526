"""Machine code: known to be there or missing without compiling, compiled by one process of a machine, and of the types that segments use."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

from rushlight.pipelines.card import graphics
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
from rushlight.pipelines.grading import grader as graders
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.grading.kernel import chroma_rows, grade_rows
from rushlight.pipelines.originals.framing import Placement, Rect
from rushlight.pipelines.render import compiled
from rushlight.pipelines.render.compiled import make_ready
from rushlight.pipelines.render.kinds import Kind, with_cards_test

CHEAP = Kind("yuv444p10le", "yuv420p", False)  # state `log`: no look, so quickly compiled
CHILD = """
import sys
from numba.core import event
from rushlight.pipelines.render.compiled import compile_kinds, missing_kinds
from rushlight.pipelines.render.kinds import Kind
class Count(event.Listener):
    count = 0
    def on_start(self, event): self.count += 1
    def on_end(self, event): pass
kinds, count = [Kind(*%r)], Count()
with event.install_listener("numba:compile", count):
    missing = len(missing_kinds(kinds))
    looked = count.count
    print(missing, flush=True)
    sys.stdin.readline()
    count.count = 0
    compile_kinds(kinds)
print(looked, count.count, len(missing_kinds(kinds)), flush=True)
"""


def child(cache: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", CHILD % (tuple(CHEAP),)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={"PATH": "", "NUMBA_CACHE_DIR": str(cache)},
    )


def test_of_processes_that_come_together_one_compiles_and_the_others_find_it(tmp_path: Path) -> None:
    both = [child(tmp_path) for _ in range(2)]
    assert [one.stdout.readline() for one in both] == ["1\n", "1\n"]  # type: ignore[union-attr]
    for one in both:
        one.stdin.write("go\n")  # type: ignore[union-attr]
        one.stdin.flush()  # type: ignore[union-attr]
    said = [[int(word) for word in one.communicate()[0].split()] for one in both]
    assert [looked for looked, _, _ in said] == [1, 1]  # was about to compile, and did not
    assert [missing for _, _, missing in said] == [0, 0]
    fewer, more = sorted(count for _, count, _ in said)
    assert more > 5 and fewer == 1  # the one that it looked whether it is there with
    later = child(tmp_path)
    assert later.communicate("go\n")[0].split() == ["0", "0", "0", "0"]
    assert not [p for p in tmp_path.rglob("*") if p.is_file() and p.suffix not in (".nbi", ".nbc")]


@pytest.mark.parametrize(
    "names", [("yuv422p10le", "yuv422p"), ("yuv422p12le", "yuv420p"), ("gbrp16le", "yuvj420p")]
)
def test_a_kind_has_the_types_of_the_pictures_that_it_stands_for(names: tuple[str, str]) -> None:
    """Whatever the look: with and without a grade, with light and with direct evaluation, one piece of code does."""
    source, target = (find_pixel_format(name) for name in names)
    assert source is not None and target is not None
    make_ready(Kind.of(source, target, graded=True))
    before = len(grade_rows.signatures)
    plain = compiled.plain_look()
    lit = replace(
        plain,
        grade=np.zeros((3, 16), np.float32),
        clamp=True,
        light=np.zeros(1000, np.float32),
        direct=np.zeros(2000, np.float32),
    )
    for look in (plain, lit):
        graders._tables(look, 1)
        Grader(
            look,
            source=source,
            source_levels="narrow",
            target=target,
            width=64,
            height=36,
            placement=Placement(crop=Rect(x=0, y=0, width=40, height=36), x=12, y=0, width=40, height=36),
        )
        tables = graders._tables(look, 1)
        assert [type(value) for value in tables] == [type(value) for value in graders._tables(plain, 1)]
    frame = new_frame(source, 64, 36)
    for plane in planes(frame):
        plane[:] = 0
    whole = Placement(crop=Rect(x=0, y=0, width=64, height=36), x=0, y=0, width=64, height=36)
    Grader(
        plain, source=source, source_levels="full", target=target, width=64, height=36, placement=whole
    ).grade(frame, 7)
    assert len(grade_rows.signatures) == before


def test_code_of_state_log_is_ready_as_well() -> None:
    make_ready(CHEAP)
    assert len(chroma_rows.signatures) >= 1


@pytest.mark.parametrize("source", ["yuv444p", "yuv444p10le", "gbrp", "gbrpf32le"])
def test_a_cards_test_of_itself_finds_all_that_it_runs_compiled(
    source: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The processor's half of it has the types of the kinds that are named for it. Nothing is run."""
    given = find_pixel_format(source)
    assert given is not None
    calls: list[Any] = []

    def noted(*arguments: Any) -> tuple[int, int, int]:
        calls.append(arguments)
        return 0, 0, 0

    def types() -> set[Any]:
        found = {tuple(map(numba.typeof, arguments)) for arguments in calls}
        calls.clear()
        return found

    def grade(kind: Kind) -> Any:
        target = find_pixel_format(kind.target)
        assert target is not None
        whole = Placement(crop=Rect(x=0, y=0, width=16, height=16), x=0, y=0, width=16, height=16)
        frame = new_frame(given, 16, 16)
        Grader(
            compiled.plain_look(),
            source=given,
            source_levels="narrow",
            target=target,
            width=16,
            height=16,
            placement=whole,
            rows=noted,
        ).grade(frame, 0)
        return calls[-1]

    asked = grade(Kind(source, "yuv420p", True))
    for kind in with_cards_test([Kind(source, "yuv420p", True)]):
        grade(kind)
    ready = types()
    monkeypatch.setattr(graphics, "grade_rows", noted)
    assert graphics.Graphics._test(noted, *asked[:5])  # type: ignore[arg-type]
    assert len(ready) == 2 and types() == ready
