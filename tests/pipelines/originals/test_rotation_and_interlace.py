"""Turned, mirrored and interlaced originals: known by their headers, as FFmpeg writes them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import independent
from here import rushlight
from pictures import numbered, texture, write_movie
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.job.from_spec import fit_of
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.framing import Fitter, placement
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.originals.rotation_and_interlace import turn_of
from rushlight.pipelines.recipe.model import Frame

TURNS = {  # FFmpeg turns anticlockwise
    "90": (("-display_rotation", "90"), 270, False),
    "180": (("-display_rotation", "180"), 180, False),
    "270": (("-display_rotation", "270"), 90, False),
    "45": (("-display_rotation", "45"), 315, False),
    "left to right": (("-display_hflip",), 0, True),
    "top to bottom": (("-display_vflip",), 180, True),
    "none": ((), 0, False),
}


@pytest.fixture(scope="module")
def upright(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("upright") / "a.mov"
    codec = ("-c:v", "libx264", "-qp", "4", "-pix_fmt", "yuv422p10le")
    return independent.write(path, [numbered(n + 5, 128, 72) for n in range(4)], *codec)


@pytest.mark.parametrize("ending", ["mov", "mp4", "mkv"])
@pytest.mark.parametrize("turn", TURNS)
def test_the_display_matrix_is_read(turn: str, ending: str, upright: Path, tmp_path: Path) -> None:
    arguments, rotation, mirrored = TURNS[turn]
    path = tmp_path / f"a.{ending}"
    independent.ffmpeg(*arguments, "-i", upright, "-c", "copy", path)
    facts = probe(path)
    assert (facts.rotation, facts.mirrored, facts.frames) == (rotation, mirrored, 4)


@pytest.mark.parametrize("turn", ["180", "left to right", "top to bottom", "none"])
@pytest.mark.parametrize("recipe", [{}, {"rotate": 180}, {"flop": True}])
def test_it_is_shown_as_ffmpeg_shows_it(turn: str, recipe: dict, upright: Path, tmp_path: Path) -> None:
    """FFmpeg turns pictures by the same header when it decodes; the recipe's own turn comes on top."""
    path = tmp_path / "a.mov"
    independent.ffmpeg(*TURNS[turn][0], "-i", upright, "-c", "copy", path)
    wanted = independent.raw(path, "yuv422p10le", 128, 72, 1)[: 128 * 72].reshape(72, 128).astype(int)
    if recipe.get("rotate"):
        wanted = wanted[::-1, ::-1]
    if recipe.get("flop"):
        wanted = wanted[:, ::-1]
    facts = probe(path)
    fit = fit_of(Frame(**recipe), 128, 72, facts)
    with open_source(facts) as source:
        (frame,) = source.frames(1, 1)
    fitter = Fitter(fit, facts.pixel_format, placement(fit, 128, 72))
    assert np.abs(planes(fitter.fit(frame.image))[0].astype(int) - wanted).max() <= 1


def test_an_area_is_drawn_on_the_upright_picture(upright: Path, tmp_path: Path) -> None:
    area = {"x": 8, "y": 4, "width": 64, "height": 36, "raster": "128x72"}
    wanted = {"180": (56, 32), "left to right": (56, 4), "top to bottom": (8, 32), "none": (8, 4)}
    for turn, place in wanted.items():
        path = tmp_path / "a.mov"
        independent.ffmpeg(*TURNS[turn][0], "-i", upright, "-c", "copy", path)
        found = fit_of(Frame.model_validate({"area": area}), 64, 36, probe(path)).extraction
        assert found and (found.x, found.y) == place, turn


def test_what_is_not_turned_is_refused_by_name(upright: Path, tmp_path: Path) -> None:
    independent.ffmpeg("-display_rotation", "90", "-i", upright, "-c", "copy", tmp_path / "a.mov")
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,LogC3\n")
    run = rushlight("plan", tmp_path / "day.csv", "--json")
    assert run.returncode == 1 and "turned by 270 degrees clockwise" in run.stdout


def test_turns_of_matrices() -> None:
    assert turn_of(1, 0, 0, 1) == (0, False)
    assert turn_of(2, 0, 0, 2) == (0, False)  # a scale alone turns nothing
    assert turn_of(0, 1, 1, 0) == (270, True)


FIELDS = ("-vf", "setparams=field_mode=tff", "-flags", "+ildct+ilme")
INTERLACED = {
    "prores.mov": ("-c:v", "prores_ks", "-pix_fmt", "yuv422p10le"),
    "dnxhd.mov": ("-c:v", "dnxhd", "-b:v", "145M", "-pix_fmt", "yuv422p", "-s", "1920x1080"),
    "dnxhd.mxf": ("-c:v", "dnxhd", "-b:v", "145M", "-pix_fmt", "yuv422p", "-s", "1920x1080"),
    "h264.mp4": ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-x264-params", "tff=1"),
    "h264.mxf": ("-c:v", "libx264", "-pix_fmt", "yuv422p10le", "-x264-params", "tff=1:keyint=1"),
    "h264.mts": ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-x264-params", "tff=1", "-f", "mpegts"),
    "hevc.mp4": ("-c:v", "libx265", "-pix_fmt", "yuv420p", "-x265-params", "interlace=tff:log-level=error"),
}


@pytest.mark.parametrize("name", INTERLACED)
def test_interlaced_and_progressive_are_told_apart(name: str, tmp_path: Path) -> None:
    frames = [texture("yuv422p10le", 128, 72, n) for n in range(4)]
    rate = "30000/1001" if "dnxhd" in name else "25"
    path = independent.write(tmp_path / name, frames, *FIELDS, *INTERLACED[name], rate=rate)
    assert probe(path).interlaced
    plain = tuple(a.replace("tff=1", "keyint=12").replace("interlace=tff:", "") for a in INTERLACED[name])
    path = independent.write(tmp_path / f"p{name}", frames, *plain, rate=rate)
    assert not probe(path).interlaced


@pytest.mark.parametrize("name", ["prores.mov", "dnxhd.mov"])
def test_a_mov_that_leaves_it_open_is_asked_in_its_pictures(name: str, tmp_path: Path) -> None:
    frames = [texture("yuv422p10le", 128, 72, n) for n in range(2)]
    path = independent.write(tmp_path / name, frames, *FIELDS, *INTERLACED[name], rate="30000/1001")
    path.write_bytes(path.read_bytes().replace(b"fiel", b"free"))
    assert probe(path).interlaced


def test_interlaced_is_refused_unless_the_recipe_takes_it(tmp_path: Path) -> None:
    frames = [texture("yuv422p10le", 128, 72, n) for n in range(4)]
    independent.write(tmp_path / "a.mov", frames, *FIELDS, *INTERLACED["prores.mov"], rate="25")
    write_movie(tmp_path / "b.mov", frames)
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,LogC3\nb.mov,LogC3\n")
    recipe = 'interlaced = "{}"\n[[output]]\nname = "e"\nmake = "movie"\ncodec = "prores-proxy"\n'
    for policy, wrong in (("refuse", 1), ("as it is", 0)):
        (tmp_path / "r.toml").write_text(recipe.format(policy))
        run = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--json")
        assert run.returncode == (1 if wrong else 0)
        assert run.stdout.count("is interlaced") == wrong
