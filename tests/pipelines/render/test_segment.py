"""One segment: the same files and the same facts on any number of threads."""

from __future__ import annotations

import json
from pathlib import Path

from here import ENCODED, HereFarm, farm_here, files, run  # noqa: F401
from pictures import numbered, write_movie

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
