"""Framing through the command: what sits where in the delivered picture, and what is refused before the night."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray

import independent
from here import rushlight
from logged import latest, read_records
from pictures import frame_of, write_movie
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_recipe

OUTPUT = (
    '[[output]]\nname = "{name}"\nmake = "movie"\ncodec = "dnxhr-hqx"\nsize = "{size}"\nstate = "graded"\n'
)
BLACK, QUARTERS = 64, ((200, 300), (400, 500))  # luma of the four quarters of the picture


def quartered(width: int = 512, height: int = 288) -> av.VideoFrame:
    luma = np.kron(np.array(QUARTERS), np.ones((height // 2, width // 2), int))
    flat = np.full((height, width // 2), 512)
    return frame_of("yuv422p10le", luma, flat, flat)


def output(name: str, size: str, frame: str, *, take: str = "plain", more: str = "") -> str:
    only = f'only = {{ take = "{take}" }}\n'
    return OUTPUT.format(name=name, size=size) + only + more + (f"[output.frame]\n{frame}\n" if frame else "")


AREA = 'area = {{ x = {x}, y = 144, width = 256, height = 144, raster = "{raster}" }}'
GUIDES = "guides = { aspect = 2.39, shade = 0.5, action_safe = 0.93, title_safe = 0.9, centre = true, opacity = 1.0 }\n"
OUTPUTS = [
    output("pad", "256x256", ""),
    output("fill", "256x256", 'mode = "fill"'),
    output("stretch", "256x256", 'mode = "stretch"'),
    output("wide", "512x288", "desqueeze = 2.0"),
    output("turned", "256x144", "rotate = 180"),
    output("flipped", "256x144", "flip = true"),
    output("flopped", "256x144", "flop = true"),
    output("area", "256x144", AREA.format(x=0, raster="512x288")),
    output("whole", "512x288", ""),
    output("drawn", "512x288", "", more=GUIDES),
    output("shape", "512x288", "", take="not square"),
    output("same", "512x288", "", take="jpeg"),
    output("half", "256x144", "", take="jpeg"),
]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three originals: plain, one whose pixels are twice as wide as high, and motion JPEG."""
    folder = tmp_path_factory.mktemp("framing")
    write_movie(folder / "a.mov", [quartered()] * 2)
    wide = ("-vf", "setsar=2", "-c:v", "prores_ks", "-pix_fmt", "yuv422p10le")
    independent.write(folder / "b.mov", [quartered()] * 2, *wide)
    levels = np.kron([[0, 255], [100, 200]], np.ones((144, 256)))
    full = frame_of("yuvj420p", levels, *(np.full((144, 256), 128),) * 2)
    independent.write(folder / "c.mov", [full] * 2, "-c:v", "mjpeg", "-q:v", "2")
    rows = "clip,encoding,take\na.mov,Video Rec.709,plain\nb.mov,Video Rec.709,not square\nc.mov,Video Rec.709,jpeg\n"
    (folder / "day.csv").write_text(rows)
    return folder


@pytest.fixture(scope="module")
def found(day: Path) -> dict[str, NDArray[Any]]:
    """The luma of the first frame of every output."""
    (day / "r.toml").write_text("".join(OUTPUTS))
    run = rushlight(
        "render", day / "day.csv", "--recipe", day / "r.toml", "--out", day / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    pictures = {}
    for record in latest(read_records(day / "out")).values():
        for entry in record["outputs"]:
            with av.open(str(day / "out" / entry["path"])) as movie:
                size = movie.streams.video[0].width, movie.streams.video[0].height
            samples = independent.raw(day / "out" / entry["path"], "yuv422p10le", *size)
            pictures[entry["output"]] = samples[: size[0] * size[1]].reshape(size[1], size[0]).astype(int)
    return pictures


def near(luma: NDArray[Any], wanted: int, *at: float) -> None:
    """A patch around a place (shares of the picture) has that code, within the codec's loss."""
    y, x = (round(share * length) for share, length in zip(at[::-1], luma.shape, strict=True))
    patch = luma[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3]
    assert abs(patch.mean() - wanted) <= 6, (at, patch.mean(), wanted)


def test_where_the_picture_sits(found: dict[str, NDArray[Any]]) -> None:
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


def test_pixels_that_are_not_square_are_shown_at_their_shape(
    day: Path, found: dict[str, NDArray[Any]]
) -> None:
    near(found["shape"], BLACK, 0.5, 0.2)
    near(found["shape"], QUARTERS[0][0], 0.02, 0.3)
    (day / "twice.toml").write_text(output("o", "512x288", "desqueeze = 2.0", take="not square"))
    run = rushlight("plan", day / "day.csv", "--recipe", day / "twice.toml", "--json")
    warnings = {c["clip"]: " ".join(c["warnings"]) for c in json.loads(run.stdout)["clips"]}
    assert "widens them by 2: 4 in all" in warnings["b.mov"] and "in all" not in warnings["a.mov"]


def test_guides_and_shades_lie_over_the_picture(found: dict[str, NDArray[Any]]) -> None:
    plain, drawn = found["whole"], found["drawn"]
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


def test_an_area_for_another_raster_is_refused_in_the_plan(day: Path) -> None:
    other = output("o", "256x144", AREA.format(x=0, raster="1920x1080"))
    (day / "other.toml").write_text(other)
    run = rushlight("plan", day / "day.csv", "--recipe", day / "other.toml", "--json")
    assert run.returncode == 1
    (problem,) = json.loads(run.stdout)["problems"]  # the others are not for this output
    assert "is 512x288; the extraction area is drawn for 1920x1080" in problem["text"]
    with pytest.raises(RecipeError, match=r"256x144 at 1700.*reaches outside its raster 1920x1080") as caught:
        parse_recipe(other.replace("x = 0", "x = 1700"))
    assert "frame.area" in str(caught.value)


@pytest.mark.parametrize("name", ["same", "half"])
def test_the_codes_of_a_jpeg_movie_are_full(name: str, found: dict[str, NDArray[Any]]) -> None:
    """Full in, narrow out, at its own size and at another; white stays white."""
    for code, *at in ((0, 0.2, 0.2), (255, 0.8, 0.2), (100, 0.2, 0.8), (200, 0.8, 0.8)):
        near(found[name], round(64 + 876 * code / 255), *at)
