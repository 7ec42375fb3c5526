"""State `log` from list to delivery: the original's code values, no display claimed, and what could not be kept is said."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import independent
from here import rushlight
from logged import latest, read_records
from pictures import texture, write_movie, write_sequence
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.formats.codecs import codec, log_notes
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.outputs.readback import read_back

OUTPUT = '[[output]]\nname = "{codec}"\nmake = "movie"\nstate = "log"\ncodec = "{codec}"\n'
RECIPE = "".join(OUTPUT.format(codec=c) for c in ("prores-422", "dnxhr-hqx"))
WIDTH, HEIGHT = 256, 144
LIST = "clip,encoding,levels\na.mov,S-Log3/S-Gamut3.Cine,full\nb,S-Log3/S-Gamut3.Cine,full\n"


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A 4:2:2 movie whose curve is on file codes, and an RGB sequence, as log pictures in two codecs."""
    folder = tmp_path_factory.mktemp("log")
    write_movie(folder / "a.mov", [texture("yuv422p10le", WIDTH, HEIGHT, n) for n in range(6)])
    rgb = [np.full((HEIGHT, WIDTH, 3), (700, 500, 300), np.uint16) for _ in range(3)]
    write_sequence(folder / "b", rgb)
    (folder / "day.csv").write_text(LIST)
    (folder / "log.toml").write_text(RECIPE)
    run = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "log.toml", "--out", folder / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    found = latest(read_records(folder / "out")).values()
    return folder, {r["clip"]: r for r in found}


@pytest.mark.parametrize("name", ["prores-422", "dnxhr-hqx"])
def test_code_values_are_the_originals_own(name: str, day: tuple[Path, Any]) -> None:
    """Whatever the levels of the curve are: nothing is scaled. The codec's own loss is all there is."""
    folder, _ = day
    before, after = (
        independent.raw(path, "yuv422p10le", WIDTH, HEIGHT, 2).astype(float)
        for path in (folder / "a.mov", folder / "out" / name / "a.mov")
    )
    off = after - before
    assert abs(off.mean()) < 0.2 and np.abs(off).mean() < 2, (off.mean(), np.abs(off).mean())


@pytest.mark.parametrize("name", ["prores-422", "dnxhr-hqx"])
def test_no_display_is_claimed(name: str, day: tuple[Path, Any]) -> None:
    folder, records = day
    for clip in ("a.mov", "b"):
        path = folder / "out" / name / f"{Path(clip).stem}.mov"
        delivered = read_back(path)
        assert delivered.tags[:3] == delivered.picture_tags[:3] == (2, 2, 1)
        said = independent.said(path)
        assert "bt709/unknown/unknown" in said and "iec61966" not in said
        assert all(e["display"] is None for e in records[clip]["outputs"])


def test_an_rgb_original_goes_by_bt709_at_its_levels_and_says_so(day: tuple[Path, Any]) -> None:
    folder, records = day
    samples = independent.raw(folder / "out" / "dnxhr-hqx" / "b.mov", "yuv422p10le", WIDTH, HEIGHT, 1)
    luma = 0.2126 * 700 + 0.7152 * 500 + 0.0722 * 300
    wanted = luma, 512 + (300 - luma) / 1.8556, 512 + (700 - luma) / 1.5748
    parts = np.split(samples.astype(float), [WIDTH * HEIGHT, WIDTH * HEIGHT * 3 // 2])
    for part, code in zip(parts, wanted, strict=True):
        assert part.mean() == pytest.approx(code, abs=1)
    said = [w for w in records["b"]["warnings"] if "BT.709" in w]
    assert said == [
        f"an RGB original: its log picture goes into {name} by BT.709 at the original's full levels"
        for name in ("prores-422", "dnxhr-hqx")
    ]
    assert not [w for w in records["a.mov"]["warnings"] if "log picture" in w]


def test_the_plan_says_it_first(day: tuple[Path, Any]) -> None:
    folder, _ = day
    request = Request(clip_list=folder / "day.csv", recipe=str(folder / "log.toml"))
    clips = {c.row.clip: c for c in prepare(request).plan.clips}
    assert any("an RGB original" in w for w in clips["b"].warnings)


@pytest.mark.parametrize(
    ("source", "name", "says"),
    [
        ("yuv422p10le", "prores-422", []),
        ("yuv444p12le", "prores-422", ["from 4:4:4 to 4:2:2", "12-bit codes are rounded to 10"]),
        ("yuv420p10le", "dnxhr-hqx", ["from 4:2:0 to 4:2:2"]),
        ("yuv420p10le", "hevc-10", []),
        ("yuv422p", "prores-422", []),  # times four: nothing is lost
        ("gbrp10le", "prores-422", ["BT.709 at the original's full levels"]),
    ],
)
def test_what_is_not_kept_is_said(source: str, name: str, says: list[str]) -> None:
    found = find_pixel_format(source)
    assert found is not None
    notes = log_notes(codec(name), found, levels="full")
    assert len(notes) == len(says) and all(w in n for w, n in zip(says, notes, strict=True))
    (linear,) = log_notes(codec(name), found, levels="full", linear=True)
    assert "ACEScct" in linear
