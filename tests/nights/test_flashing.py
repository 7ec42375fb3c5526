"""Flashing pictures through whole nights: a pattern of known frequency and area is found at its frames, across segments; one within the
limits is not, nor is a day of ordinary pictures. It costs no clip."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import av
import numpy as np

from here import ENCODED, HereFarm, farm_here, run  # noqa: F401
from logged import read_records
from pictures import frame_of, write_movie

SAMPLES = Path(__file__).resolve().parents[2] / "sample_frames"
DARK, BRIGHT = 300, 620  # LogC3 codes, narrow
FRAMES = 96  # two segments of two seconds
RECIPE = """
name = "flashing"
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "128x72"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "128x72"

[[output]]
name = "codes"
make = "movie"
state = "log"
codec = "prores-422"
size = "128x72"
"""


def frames(bright: set[int], columns: int) -> list[av.VideoFrame]:
    """Dark frames, of which some have so many bright columns of 128."""
    found = []
    for number in range(FRAMES):
        luma = np.full((72, 128), DARK)
        if number in bright:
            luma[:, :columns] = BRIGHT
        found.append(frame_of("yuv422p10le", luma, np.full((72, 64), 512), np.full((72, 64), 512)))
    return found


def test_a_night_with_flashing_clips(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    card = tmp_path / "card"
    card.mkdir()
    six_hertz = {number for first in range(36, 60, 4) for number in (first, first + 1)}
    three_hertz = {number for first in range(0, 96, 8) for number in range(first, first + 4)}
    write_movie(card / "A001C001.mov", frames(six_hertz, 64), timecode="01:00:00:00")
    write_movie(card / "A001C002.mov", frames(six_hertz, 31), timecode="02:00:00:00")
    write_movie(card / "A001C003.mov", frames(three_hertz, 128), timecode="03:00:00:00")
    recipe = tmp_path / "flashing.toml"
    recipe.write_text(RECIPE)
    code, said = run("render", card, "--recipe", recipe, "--out", tmp_path / "out", *ENCODED)
    assert code == 0, said
    records: dict[str, Any] = {record["clip"]: record for record in read_records(tmp_path / "out")}
    found = {name: record["colour"]["pictures"] for name, record in records.items()}
    flashes = [{"kind": "general", "first": "01:00:01:12", "last": "01:00:02:10", "area": 0.5}]
    for picture in found["A001C001.mov"]:
        assert picture.get("flashes", []) == ([] if picture["state"] == "log" else flashes)
    assert len(found["A001C001.mov"]) == 3
    for name in ("A001C002.mov", "A001C003.mov"):
        assert not any("flashes" in picture for picture in found[name])
        assert not any("flash" in text for text in records[name]["warnings"])
    (warning,) = [text for text in records["A001C001.mov"]["warnings"] if "flash" in text]
    assert warning == (
        "caution: may flash more than the limits of ITU-R BT.1702 allow, at 01:00:01:12 to 01:00:02:10; this is no test of"
        " safety: the broadcaster's own licensed test decides"
    )
    page = (tmp_path / "out" / "report" / "index.html").read_text()
    look_at = page.partition('id="look-at"')[2].partition("</details>")[0]
    assert "A001C001" in look_at and "may flash more" in look_at and "A001C002" not in look_at
    assert "safe" not in page.replace("no test of safety", "")


def test_the_sample_day_is_not_accused(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    recipe = tmp_path / "small.toml"
    recipe.write_text(RECIPE.partition('[[output]]\nname = "viewing"')[0].replace("128x72", "64x36"))
    code, said = run("render", SAMPLES / "day.csv", "--recipe", recipe, "--out", tmp_path / "out")
    assert code == 0, said
    records = read_records(tmp_path / "out")
    assert len(records) == 3 and sum(record["frames"] for record in records) == 83
    for record in records:
        assert not any("flashes" in picture for picture in record["colour"]["pictures"])
        assert not any("flash" in text for text in record["warnings"])
