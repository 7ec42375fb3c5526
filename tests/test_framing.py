"""Framing through the command: what sits where in the delivered picture, and what is refused before the night."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import av
import independent
import numpy as np
import pytest
from command import rushlight
from numpy.typing import NDArray
from pictures import frame_of, write_movie
from rushlight.batch.records import latest, read_records
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe import parse_recipe

OUTPUT = (
    '[[output]]\nname = "{name}"\nmake = "movie"\ncodec = "dnxhr-hqx"\nsize = "{size}"\nstate = "graded"\n'
)
BLACK, QUARTERS = 64, ((200, 300), (400, 500))  # luma of the four quarters of the picture


def quartered(width: int = 512, height: int = 288) -> av.VideoFrame:
    luma = np.kron(np.array(QUARTERS), np.ones((height // 2, width // 2), int))
    flat = np.full((height, width // 2), 512)
    return frame_of("yuv422p10le", luma, flat, flat)


def rendered(
    folder: Path, recipe: str, rows: str = "clip,encoding\na.mov,Video Rec.709\n"
) -> dict[str, NDArray[Any]]:
    """The luma of the first frame of every output."""
    (folder / "day.csv").write_text(rows)
    (folder / "r.toml").write_text(recipe)
    run = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "r.toml", "--out", folder / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(folder / "out")).values()
    found = {}
    for entry in record["outputs"]:
        with av.open(str(folder / "out" / entry["path"])) as movie:
            size = movie.streams.video[0].width, movie.streams.video[0].height
        samples = independent.raw(folder / "out" / entry["path"], "yuv422p10le", *size)
        found[entry["output"]] = samples[: size[0] * size[1]].reshape(size[1], size[0]).astype(int)
    return found


def output(name: str, size: str, frame: str, more: str = "") -> str:
    return OUTPUT.format(name=name, size=size) + more + (f"[output.frame]\n{frame}\n" if frame else "")


def near(luma: NDArray[Any], wanted: int, *at: float) -> None:
    """A patch around a place (shares of the picture) has that code, within the codec's loss."""
    y, x = (round(share * length) for share, length in zip(at[::-1], luma.shape, strict=True))
    patch = luma[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3]
    assert abs(patch.mean() - wanted) <= 6, (at, patch.mean(), wanted)


def test_where_the_picture_sits(tmp_path: Path) -> None:
    write_movie(tmp_path / "a.mov", [quartered()] * 2)
    area = 'area = { x = 0, y = 144, width = 256, height = 144, raster = "512x288" }'
    found = rendered(
        tmp_path,
        output("pad", "256x256", "")
        + output("fill", "256x256", 'mode = "fill"')
        + output("stretch", "256x256", 'mode = "stretch"')
        + output("wide", "512x288", "desqueeze = 2.0")
        + output("turned", "256x144", "rotate = 180")
        + output("flipped", "256x144", "flip = true")
        + output("flopped", "256x144", "flop = true")
        + output("area", "256x144", area),
    )
    (one, two), (three, four) = QUARTERS
    pad = found["pad"]
    near(pad, BLACK, 0.5, 0.1), near(pad, BLACK, 0.5, 0.9)
    near(pad, one, 0.25, 0.4), near(pad, four, 0.75, 0.6)
    assert [int(n) for n in np.flatnonzero(np.abs(pad[:, 20] - BLACK) > 40)[[0, -1]]] == [56, 199]
    for name in ("fill", "stretch"):
        (
            near(found[name], one, 0.25, 0.02),
            near(found[name], four, 0.98, 0.98),
            near(found[name], three, 0.1, 0.9),
        )
    wide = found["wide"]  # 32:9 in 16:9: bars above and below
    near(wide, BLACK, 0.5, 0.2), near(wide, one, 0.02, 0.3), near(wide, four, 0.98, 0.7)
    for name, corner in (("turned", four), ("flipped", three), ("flopped", two)):
        near(found[name], corner, 0.25, 0.25)
    near(found["area"], three, 0.05, 0.05), near(found["area"], three, 0.95, 0.95)


def test_pixels_that_are_not_square_are_shown_at_their_shape(tmp_path: Path) -> None:
    codec = ("-vf", "setsar=2", "-c:v", "prores_ks", "-pix_fmt", "yuv422p10le")
    independent.write(tmp_path / "a.mov", [quartered()] * 2, *codec)
    wide = rendered(tmp_path, output("o", "512x288", ""))["o"]
    near(wide, BLACK, 0.5, 0.2), near(wide, QUARTERS[0][0], 0.02, 0.3)
    (tmp_path / "r.toml").write_text(output("o", "512x288", "desqueeze = 2.0"))
    run = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--json")
    (clip,) = json.loads(run.stdout)["clips"]
    assert any("widens them by 2: 4 in all" in w for w in clip["warnings"])


def test_guides_and_shades_lie_over_the_picture(tmp_path: Path) -> None:
    write_movie(tmp_path / "a.mov", [quartered()] * 2)
    guides = "guides = { aspect = 2.39, shade = 0.5, action_safe = 0.93, title_safe = 0.9, centre = true, opacity = 1.0 }\n"
    plain, drawn = rendered(
        tmp_path, output("plain", "512x288", "") + output("drawn", "512x288", "", guides)
    ).values()
    height = round(512 / 2.39)
    top = (288 - height) // 2
    above, inside = slice(20, top - 4), slice(top + 30, 120)
    shaded = (drawn[above, 100:150] - 64).mean() / (plain[above, 100:150] - 64).mean()
    assert abs(shaded - 0.5) < 0.05
    assert np.abs(drawn[inside, 100:150] - plain[inside, 100:150]).max() < 20
    white = {int(n) for n in np.flatnonzero(drawn[:, 100] > 800)}
    due = [top, top + height - 1]
    assert all(any(abs(n - d) <= 2 for n in white) for d in due), (white, due)
    safe = [(512 - round(512 * share)) // 2 for share in (0.93, 0.9)]
    across = {int(n) for n in np.flatnonzero(drawn[160, :60] > 800)}
    assert all(any(abs(n - d) <= 2 for n in across) for d in safe), (across, safe)
    assert drawn[144, 256] > 800 and plain[144, 256] < 600


def test_an_area_for_another_raster_is_refused_in_the_plan(tmp_path: Path) -> None:
    write_movie(tmp_path / "a.mov", [quartered()] * 2)
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,LogC3\n")
    area = 'area = { x = 0, y = 0, width = 640, height = 360, raster = "1920x1080" }'
    (tmp_path / "r.toml").write_text(output("o", "256x144", area))
    run = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--json")
    assert run.returncode == 2
    (problem,) = json.loads(run.stdout)["problems"]
    assert "is 512x288; the extraction area is drawn for 1920x1080" in problem["text"]
    with pytest.raises(RecipeError, match=r"1700.*reaches outside its raster 1920x1080") as caught:
        parse_recipe(output("o", "256x144", area.replace("x = 0", "x = 1700")))
    assert "frame.area" in str(caught.value)


@pytest.mark.parametrize("size", ["512x288", "256x144"])
def test_the_codes_of_a_jpeg_movie_are_full(size: str, tmp_path: Path) -> None:
    """Full in, narrow out, at its own size and at another; white stays white."""
    frames = [
        frame_of(
            "yuvj420p", np.kron([[0, 255], [100, 200]], np.ones((144, 256))), *(np.full((144, 256), 128),) * 2
        )
    ] * 2
    independent.write(tmp_path / "a.mov", frames, "-c:v", "mjpeg", "-q:v", "2")
    luma = rendered(tmp_path, output("o", size, ""))["o"]
    for code, *at in ((0, 0.2, 0.2), (255, 0.8, 0.2), (100, 0.2, 0.8), (200, 0.8, 0.8)):
        near(luma, round(64 + 876 * code / 255), *at)
