"""One segment: the same files and the same facts on any number of threads, and nothing of it is kept."""

from __future__ import annotations

import gc
import json
from pathlib import Path

from here import ENCODED, HereFarm, farm_here, files, run  # noqa: F401
from pictures import numbered, write_movie
from rushlight.batch.farm.tasks import Task
from rushlight.pipelines.render.segment import _Segment

RECIPE = """
name = "two"
[[output]]
name = "editorial"
make = "movie"
codec = "dnxhr-lb"
container = "mov"
size = "256x144"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "256x144"
[output.burnin]
text = [{ at = "bottom", text = "{timecode}", size = 0.1 }]
"""

STILLS = """
[[output]]
name = "stills"
make = "stills"
kinds = ["png8"]
at = ["middle"]
size = "160x90"
"""


def test_idle_cores_change_no_byte(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    pictures = [numbered(n, 512, 288) for n in range(4)]
    card = tmp_path / "card"
    card.mkdir()
    write_movie(card / "A001C001.mov", pictures)
    recipe = tmp_path / "two.toml"
    recipe.write_text(RECIPE)
    made, colours, threads = [], [], []
    for cores in (1, 4):
        farm_here.slots, farm_here.cores = 1, cores
        out = tmp_path / f"out{cores}"
        code, said = run("render", card, "--recipe", recipe, "--out", out, *ENCODED)
        assert code == 0, said
        made.append(files(out, "editorial", "viewing"))
        record = json.loads((out / "log" / "jobs.jsonl").read_text())
        colours.append(record["colour"])
        threads += [t.arguments[3] for t in farm_here.calls if t.function.endswith("render_segment")]
        assert not any("threads" in t.payload for t in farm_here.calls)
        farm_here.calls.clear()
    assert threads == [1, 4]
    assert len(made[0]) == 2 and made[0] == made[1]
    assert colours[0]["digest"] and colours[0] == colours[1]


def test_nothing_of_a_segment_outlives_its_end(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """Its pictures' memory is free at once, not whenever Python looks for cycles: at 3840x2160 it is 150 MB."""
    card = tmp_path / "card"
    card.mkdir()
    write_movie(card / "A001C001.mov", [numbered(n, 512, 288) for n in range(2)])
    recipe = tmp_path / "stills.toml"
    recipe.write_text(RECIPE + STILLS)
    made: list[int] = []

    def look(task: Task) -> None:
        if task.function.endswith("finish_job"):
            made.append(sum(type(o) is _Segment for o in gc.get_objects()))  # isinstance asks dead proxies

    farm_here.before = look
    gc.collect()
    gc.disable()
    try:
        code, said = run("render", card, "--recipe", recipe, "--out", tmp_path / "out", *ENCODED)
    finally:
        gc.enable()
    assert code == 0, said
    assert made == [0]
