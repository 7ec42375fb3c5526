"""Sizes that outputs are likely to have, held to what tiny renders really take."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from here import rushlight, small_day
from pictures import numbered, write_movie
from rushlight.batch.api.plan import plan
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.room.output_sizes import is_guess, measured_in, movie_bytes, output_bytes, stills_bytes
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.job.spec import MovieSpec

STILLS = ("jpeg", "png8", "png16", "tiff8", "tiff16", "exr")


def factors(name: str) -> tuple[float, float]:
    """How much less and how much more than a guess a real file may have: DNx is fixed, ProRes aims at most at its bits, and what the
    others take depends on the picture."""
    if name.startswith("dnx"):
        return 1.2, 1.2
    return (2.0, 1.1) if name.startswith("prores") else (4.0, 4.0)


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clip of twelve small frames in every codec and still."""
    folder = tmp_path_factory.mktemp("sizes")
    small_day(folder, {"A001C001": 1})
    write_movie(folder / "A001C001.mov", [numbered(n, 256, 144) for n in range(12)])
    recipe = ""
    for name, codec in CODECS.items():
        size = "1280x720" if codec.bit_rates else "256x144"
        recipe += f'[[output]]\nname = "{name}"\nmake = "movie"\ncodec = "{name}"\nsize = "{size}"\nsound = "none"\n'
    for kind in STILLS:
        recipe += f'[[output]]\nname = "{kind}"\nmake = "stills"\nkinds = ["{kind}"]\nsize = "256x144"\n'
    (folder / "all.toml").write_text(recipe)
    out = folder / "out"
    found = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "all.toml", "--media", folder, "--out", out
    )
    assert found.returncode == 0, found.stderr
    return out


def sizes(out: Path) -> dict[str, int]:
    return {e.output: e.bytes for record in latest(read_log(out).records).values() for e in record.outputs}


@pytest.mark.parametrize("name", CODECS)
def test_a_movie_takes_what_was_said_within_a_factor(rendered: Path, name: str) -> None:
    width, height = (1280, 720) if CODECS[name].bit_rates else (256, 144)
    guess = movie_bytes(name, width=width, height=height, frames=12, rate=Fraction(24))
    less, more = factors(name)
    real = sizes(rendered)[name]
    assert guess / less <= real <= guess * more, f"{guess / real:.2f} of what it took"


@pytest.mark.parametrize("kind", STILLS)
def test_a_still_takes_what_was_said_within_a_factor(rendered: Path, kind: str) -> None:
    real = sizes(rendered)[kind]
    assert real / 2 <= stills_bytes([kind], width=256, height=144) <= real * 2


def test_what_the_log_says_beats_the_guess(rendered: Path) -> None:
    measured = measured_in(latest(read_log(rendered).records).values())
    spec = MovieSpec(
        output="h264", folder="h264", state="graded", width=256, height=144, identity="x", file="x.mp4",
        codec="h264", container="mp4", frame={"mode": "pad"}, guides=None,
    )  # fmt: skip
    known = output_bytes(spec, frames=1200, rate=Fraction(24), measured=measured)
    assert known == pytest.approx(100 * sizes(rendered)["h264"], rel=0.01)
    other = spec.model_copy(update={"width": 512})
    assert output_bytes(other, frames=1200, rate=Fraction(24), measured=measured) == output_bytes(
        other, frames=1200, rate=Fraction(24)
    )


def test_what_depends_on_the_picture_is_a_guess_until_it_is_in_the_log() -> None:
    spec = MovieSpec(
        output="v", folder="v", state="graded", width=256, height=144, identity="x", file="x.mp4",
        codec="h264", container="mp4", frame={"mode": "pad"}, guides=None,
    )  # fmt: skip
    assert is_guess(spec, {}) and is_guess(spec, {("v", "h264", 512, 288): 1.0})
    assert not is_guess(spec, {("v", "h264", 256, 144): 1.0})
    assert not is_guess(spec.model_copy(update={"codec": "dnxhr-lb"}), {})


def test_the_sum_of_all_clips_has_their_sound(tmp_path: Path) -> None:
    """It was under what a small render took: of small pictures the sound is a third."""
    small_day(tmp_path, {"A001C001": 24})
    recipe = '[[output]]\nname = "e"\nmake = "movie"\ncodec = "dnxhr-lb"\nsize = "256x144"\nsound = "{}"\n'

    def size(sound: str) -> int:
        (tmp_path / "one.toml").write_text(recipe.format(sound))
        return plan(tmp_path / "day.csv", recipe=tmp_path / "one.toml").document()["estimate"]["bytes"]

    assert size("mix") - size("none") == 2 * 48_000 * 3


def test_sound_quality_and_peak_count() -> None:
    spec = MovieSpec(
        output="v", folder="v", state="graded", width=1920, height=1080, identity="x", file="x.mov",
        codec="prores-proxy", container="mov", frame={"mode": "pad"}, guides=None,
    )  # fmt: skip

    def size(**update: object) -> int:
        return output_bytes(spec.model_copy(update=update), frames=240, rate=Fraction(24), channels=4)

    assert size() - size(sound="none") == 10 * 4 * 48_000 * 3
    assert size(sound="mix") - size(sound="none") == 10 * 2 * 48_000 * 3
    assert size(card=24) > size()
    long = {"codec": "h264", "container": "mp4", "sound": "none"}
    assert size(**long, quality=14.0) > 1.9 * size(**long) > 3.7 * size(**long, quality=26.0)
    assert size(**long, peak=1.0) == 10 * 125_000 + 20_000


def test_plan_says_the_same_of_what_is_there(rendered: Path) -> None:
    folder = rendered.parent
    found = rushlight(
        "plan",
        folder / "day.csv",
        "--recipe",
        folder / "all.toml",
        "--media",
        folder,
        "--out",
        rendered,
        "--json",
    )
    room = json.loads(found.stdout)["room"]
    assert room["outputs"] == [] and room["volumes"] == [], "nothing is to be made"
    assert json.loads(found.stdout)["to_make"] == 0
