"""The benchmarks' own parts: contenders alternate, whole process trees are counted, and both do the same work."""

import json
import os
import subprocess
import sys
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

import independent
from card_as_c import needs_compiler
from pictures import numbered, write_movie
from toy_cupy import toy_cupy

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT)) if str(ROOT) not in sys.path else None

from tests.benchmarks.rows import Bench, Row  # noqa: E402
from tests.benchmarks.timing import Cost, alternating, median_ratio, timed  # noqa: E402


def test_contenders_take_turns_and_medians_are_given() -> None:
    order: list[str] = []
    walls = {"ours": iter((3.0, 1.0, 2.0)), "theirs": iter((9.0, 7.0, 8.0))}

    def run(name: str) -> Cost:
        order.append(name)
        return Cost(wall=next(walls[name]), cpu=1.0)

    found = alternating({name: lambda name=name: run(name) for name in walls}, 3)
    assert order == ["ours", "theirs"] * 3
    assert (found["ours"].wall, found["theirs"].wall) == (2.0, 8.0)


def test_the_median_is_of_the_ratios_and_not_the_ratio_of_medians() -> None:
    ours, theirs = ([Cost(wall=w, cpu=0.0) for w in walls] for walls in ((1, 9, 4), (2, 3, 8)))
    assert median_ratio(ours, theirs) == 0.5


def test_the_cost_is_that_of_children_of_children() -> None:
    work = "import time; t = time.process_time()\nwhile time.process_time() - t < 0.4: pass"
    nested = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {work!r}], check=True)"
    cost = timed([[sys.executable, "-c", nested]], cores=1)
    assert 0.4 <= cost.cpu < 3 and cost.wall >= 0.4
    with pytest.raises(subprocess.CalledProcessError) as caught:
        timed([[sys.executable, "-c", "print('why'); raise SystemExit(3)"]])
    assert "why" in caught.value.output


@pytest.mark.parametrize(
    ("figure", "at_least", "met"), [(0.4, False, True), (0.5, False, False), (0.5, True, True)]
)
def test_a_row_says_whether_its_goal_is_met(figure: float, at_least: bool, met: bool) -> None:
    assert Row(what="x", figure=figure, goal=0.45, at_least=at_least).met is met
    assert Row(what="x", figure=figure).met is None


def test_plain_ffmpeg_makes_the_same_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Same source, same look, same raster and codec: else the comparison would be of two different jobs."""
    from tests.benchmarks import media

    clip = write_movie(tmp_path / "A001C001.mov", [numbered(k, 256, 144) for k in range(6)])
    monkeypatch.setattr(media, "movie", lambda *_: clip)
    bench = Bench(folder=tmp_path / "b", runs=1)
    bench.folder.mkdir()
    outputs = [("editorial", "dnxhr-lb", "256x144")]
    bench.ours([clip], bench.recipe(*outputs), workers=1)
    ours = independent.raw_frames(tmp_path / "b" / "out" / "editorial" / "A001C001.mov", "gray", 256, 144)
    for tuned in (True, False):
        bench.theirs([clip], outputs, tuned=tuned)
        theirs = independent.raw_frames(tmp_path / "b" / "plain" / "A001C001-editorial.mov", "gray", 256, 144)
        assert ours.shape == theirs.shape == (6, 144, 256)
        upper = np.abs(ours[:, :100].astype(int) - theirs[:, :100].astype(int))  # burn-in lies below
        assert upper.mean() < 1.5
        lower = [
            np.abs(v[:, 110:140].astype(int) - v[:, 110:140].astype(int)[:1]).max() for v in (ours, theirs)
        ]
        assert min(lower) > 40  # the timecode runs in both


def test_the_command_lists_its_measures() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--help"],
        cwd=ROOT,
        env={**os.environ, "PYTHONSAFEPATH": ""},  # a farm of this process may have left a worker's
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0 and all(
        name in run.stdout
        for name in (
            "ffmpeg",
            "bare",
            "workers",
            "kernel",
            "start",
            "memory",
            "bake",
            "day",
            "overnight",
            "sample",
            "sequences",
            "more",
            "light",
            "card",
            "card-shared",
        )
    )


@needs_compiler
def test_the_table_of_a_card_counts_what_differs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from tests.support import card_table

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy())  # type: ignore[arg-type]
    few = {what: (lambda share, part=part: islice(part(share), 2)) for what, part in card_table.PARTS.items()}
    few.popitem()  # which takes seconds
    monkeypatch.setattr(card_table, "PARTS", few)
    monkeypatch.setattr(sys, "argv", ["card_table", "--quick", "--to", str(tmp_path / "table.md")])
    assert card_table.main() == 0
    table = (tmp_path / "table.md").read_text()
    assert "Toy, driver" in table and table.count(" | 2 | ") == 3 and table.count(" | 0 | 0 | ") == 3
    right = card_table.graded

    def wrong(baked: object, way: object, rows: object, frame: object) -> tuple[bytes, tuple[int, int, int]]:
        found, counts = right(baked, way, rows, frame)  # type: ignore[arg-type]
        return (found, counts) if rows is card_table.grade_rows else (found[:-1] + b"?", counts)

    monkeypatch.setattr(card_table, "graded", wrong)
    assert card_table.main() == 1 and "differs: Way(" in capsys.readouterr().out


@pytest.mark.slow
def test_a_quick_run_gives_every_row(tmp_path: Path) -> None:
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "tests.benchmarks",
            "--quick",
            "--runs",
            "1",
            "--json",
            str(tmp_path / "rows.json"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stderr
    rows = json.loads((tmp_path / "rows.json").read_text())
    assert len(rows) >= 24 and all(row["figure"] >= 0 for row in rows)
