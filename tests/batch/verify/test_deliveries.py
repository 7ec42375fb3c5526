"""Verify finds what is wrong, by colour alone where it is colour, and passes what is right."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from here import rushlight
from logged import read_records
from ocio import through_file
from rushlight.batch.job_log import log_path
from rushlight.batch.records.verdicts import CheckVerdict, Verdict
from rushlight.batch.report.page_pictures import fitted
from rushlight.batch.verify import deliveries
from rushlight.batch.verify.colour_check import tile_array
from rushlight.batch.verify.compare import against_references, compare
from rushlight.batch.verify.deliveries import verify
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.formats.codecs import Tags, codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.segment_writer import MovieWriter
from rushlight.pipelines.outputs.stills import read_still, write_still
from rushlight.pipelines.recipe.read_recipe import shipped_recipes

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
HEAD = "clip,encoding,levels,slope,offset,power,saturation,cdl,lut\n"
RIGHT = "A001C007.mov,LogC3,narrow,1.04 1 0.96,0.004 0 -0.006,1 1 1,1.05,,\nA001C003.mov,S-Log3/S-Gamut3.Cine,narrow,1.06 1 0.97,0 0 0.004,1.02 1 1,1.08,,farrow.cube\n"


def rendered(folder: Path, rows: str, recipe: str) -> Path:
    """The night of those rows, its pictures a quarter as wide and high as the shipped recipe has them."""
    folder.mkdir()
    text = shipped_recipes().get(recipe) or Path(recipe).read_text()
    for whole, quarter in (("1920x1080", "480x270"), ("1280x720", "320x180")):
        text = text.replace(whole, quarter)
    (folder / "small.toml").write_text(text)
    for path in SAMPLES.iterdir():
        if path.suffix in (".mov", ".cube"):
            (folder / path.name).symlink_to(path)
    (folder / "day.csv").write_text(HEAD + rows)
    run = rushlight("render", folder / "day.csv", "--recipe", folder / "small.toml", "--out", folder / "out")
    assert run.returncode == 0, run.stderr
    return folder / "out"


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return rendered(tmp_path_factory.mktemp("right") / "r", RIGHT, "overnight")


def verdicts(out: Path) -> dict[str, dict[str, str]]:
    return {v.clip: {n: c.verdict for n, c in v.checks.items()} for v in verify(out, hashes=False)}


def test_what_is_right_passes(right: Path) -> None:
    for found in verify(right):
        assert all(c.verdict in ("pass", "cannot tell") for c in found.checks.values()), found
        for path, checks in found.files.items():
            if path.endswith((".mov", ".mp4")):
                assert checks["colour"].verdict == "pass" and checks["colour"].mean < 0.5, (
                    path,
                    checks,
                )


def test_the_sample_day_is_not_accused_of_flashing(right: Path) -> None:
    records = read_records(right)
    pictures = [picture for record in records for picture in record["colour"]["pictures"]]
    assert len(pictures) >= 4 and not any("flashes" in picture for picture in pictures)
    assert not any("flash" in text for record in records for text in record["warnings"])


WRONG = {
    "saturation off by 0.05": RIGHT.replace(",1.05,,", ",1.10,,").replace(",1.08,,", ",1.13,,"),
    "slope off by 0.02": RIGHT.replace("1.04 1 0.96", "1.06 1 0.96").replace("1.06 1 0.97", "1.08 1 0.97"),
    "no CDL": RIGHT.replace("1.04 1 0.96,0.004 0 -0.006,1 1 1,1.05", ",,,").replace(
        "1.06 1 0.97,0 0 0.004,1.02 1 1,1.08", ",,,"
    ),
    "narrow taken for full": RIGHT.replace("narrow", "full"),
}


@pytest.mark.parametrize(
    "fault", [f if "off by" in f else pytest.param(f, marks=pytest.mark.slow) for f in WRONG]
)
def test_wrong_colour_is_found_by_colour_alone(fault: str, right: Path, tmp_path: Path) -> None:
    wrong = rendered(tmp_path / "wrong", WRONG[fault], "editorial")
    mixed = tmp_path / "mixed"
    shutil.copytree(right, mixed)
    for path in (wrong / "editorial").iterdir():
        shutil.copy(path, mixed / "editorial" / path.name)
    for clip, checks in verdicts(mixed).items():
        assert checks["colour"] == "fail", (fault, clip)
        assert checks["timecode"] == checks["tags"] == "pass"
    rows = compare(right, wrong)
    assert {r.verdict for r in rows} == {"colour differs"}
    assert all(max(r.patches.worst, r.tiles.worst) > 0.3 for r in rows)


def remade(
    path: Path, change: Callable[[list[av.VideoFrame]], list[av.VideoFrame]], *, first: int = 0
) -> None:
    """The movie again, its pictures changed, by our own writer: tags and names right, contents not."""
    facts = probe(path)
    with open_source(facts) as source:
        frames = change([f.image for f in source.frames(0, facts.frames)])
    tags = Tags(primaries=1, transfer=1, matrix=1)
    settings = {
        "codec": codec("dnxhr-lb"),
        "container": "mov",
        "width": facts.width,
        "height": facts.height,
        "rate": facts.rate,
        "tags": tags,
    }
    part = path.with_suffix(".part")
    with MovieWriter(part, MovieFormat(**settings)) as writer:  # type: ignore[arg-type]
        for frame in frames:
            writer.write(frame)
    join(
        [part], [len(frames)], path, MovieFormat(**settings), timecode=facts.timecode + first, reel=facts.reel
    )  # type: ignore[arg-type]
    part.unlink()


def twisted(frames: list[av.VideoFrame]) -> list[av.VideoFrame]:
    """BT.709 codes as if the matrix had been BT.601's."""
    for frame in frames:
        y, b, r = (p.astype(float) for p in planes(frame))
        luma, cb, cr = (y - 16) / 219, (b - 128) / 224, (r - 128) / 224
        wide_b, wide_r = (np.repeat(c, 2, 1) for c in (cb, cr))
        rgb = np.stack(
            [luma + 1.5748 * wide_r, luma - 0.187324 * wide_b - 0.468124 * wide_r, luma + 1.8556 * wide_b], -1
        )
        new = rgb @ [0.299, 0.587, 0.114]
        planes(frame)[0][:] = np.clip(np.rint(16 + 219 * new), 0, 255)
        planes(frame)[1][:] = np.clip(np.rint(128 + 224 * ((rgb[..., 2] - new) / 1.772)[:, ::2]), 0, 255)
        planes(frame)[2][:] = np.clip(np.rint(128 + 224 * ((rgb[..., 0] - new) / 1.402)[:, ::2]), 0, 255)
    return frames


@pytest.mark.parametrize(
    ("fault", "change", "first", "check"),
    [
        ("matrix", twisted, 0, "colour"),
        ("a frame dropped", lambda f: f[:20] + f[21:], 0, "frames"),
        ("a frame repeated, one lost", lambda f: [*f[:20], f[19], *f[21:]], 0, "frames"),
        ("timecode off by one", lambda f: f, 1, "timecode"),
        ("encoded again", lambda f: f, 0, "hash"),
    ],
)
def test_what_happened_to_a_movie_is_found(
    fault: str, change: Callable, first: int, check: str, right: Path, tmp_path: Path
) -> None:  # type: ignore[type-arg]
    out = tmp_path / "out"
    shutil.copytree(right, out)
    path = out / "editorial" / "A001C007.mov"
    before = path.read_bytes()
    remade(path, change, first=first)
    (found,) = (v for v in verify(out) if v.clip == "A001C007.mov")
    checks = found.files["editorial/A001C007.mov"]
    assert checks[check].verdict == "fail", (fault, checks)
    if check != "hash":
        assert checks["hash"].verdict == "fail" and path.read_bytes() != before


def through_the_lut_again(frames: list[av.VideoFrame]) -> list[av.VideoFrame]:
    """Each picture's display R'G'B' taken for the camera's signal, and through the show LUT once more."""
    for frame in frames:
        y, b, r = (p.astype(float) for p in planes(frame))
        luma, cb, cr = (y - 16) / 219, *(np.repeat((c - 128) / 224, 2, 1) for c in (b, r))
        rgb = np.stack([luma + 1.5748 * cr, luma - 0.187324 * cb - 0.468124 * cr, luma + 1.8556 * cb], -1)
        twice = through_file(np.clip(rgb, 0, 1), SAMPLES / "farrow.cube")
        red, green, blue = np.moveaxis(np.clip(twice, 0, 1), -1, 0)
        luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
        planes(frame)[0][:] = np.rint(16 + 219 * luma)
        planes(frame)[1][:] = np.rint(128 + 224 * ((blue - luma) / 1.8556)[:, ::2])
        planes(frame)[2][:] = np.rint(128 + 224 * ((red - luma) / 1.5748)[:, ::2])
    return frames


def test_a_lut_applied_twice_is_found_by_colour_alone(right: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(right, out)
    remade(out / "editorial" / "A001C003.mov", through_the_lut_again)
    (found,) = (v for v in verify(out, hashes=False) if v.clip == "A001C003.mov")
    checks = found.files["editorial/A001C003.mov"]
    assert checks["colour"].verdict == "fail" and checks["colour"].mean > 2
    assert checks["timecode"].verdict == checks["tags"].verdict == "pass"


def test_swapped_movies_are_found_by_colour_alone(right: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(right, out)
    one, two = out / "editorial" / "A001C007.mov", out / "editorial" / "A001C003.mov"
    swap = one.read_bytes()
    one.write_bytes(two.read_bytes())
    two.write_bytes(swap)
    found = verdicts(out)
    assert found["A001C007.mov"]["colour"] == found["A001C003.mov"]["colour"] == "fail"


def test_swapped_clips_and_missing_files(right: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(right, out)
    one, two = out / "stills" / "A001C007.tif", out / "stills" / "A001C003.tif"
    swap = one.read_bytes()
    one.write_bytes(two.read_bytes())
    two.write_bytes(swap)
    (out / "viewing" / "A001C003.mp4").unlink()
    found = verdicts(out)
    assert found["A001C007.mov"]["colour"] == found["A001C003.mov"]["colour"] == "fail"
    assert found["A001C003.mov"]["frames"] == "fail"


def test_a_grey_clip_cannot_tell(right: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(right, out)
    lines = [json.loads(line) for line in log_path(out).read_text().splitlines()]
    for record in lines:
        for faults in record["colour"]["faults"]:
            faults["moved"]["saturation 0.05"] = (
                tile_array(faults["moved"]["saturation 0.05"]) * 0.02
            ).tolist()
    log_path(out).write_text("\n".join(map(json.dumps, lines)) + "\n")
    assert {c["colour"] for c in verdicts(out).values()} == {"cannot tell"}


def test_reference_frames_are_ranked(right: Path, tmp_path: Path) -> None:
    display = find_display("rec709")
    folder = tmp_path / "refs"
    folder.mkdir()
    start = Timecode.parse("10:05:59;12", FrameRate.parse("29.97"))
    place = str(start + 20).replace(":", ".").replace(";", ".")
    still = read_still(right / "stills" / "A001C007.tif")
    small = fitted(still, display, 350, 197)  # a monitor's own raster
    small = display.from_light(find_display("sRGB").to_light(small))
    kinds = {"png8": (".png", still), "jpeg": (".jpg", small), "tiff16": (".tif", small)}
    for kind, (suffix, seen) in kinds.items():
        write_still(folder / f"A001C007_{place}{suffix}", seen, kind, display=display)
    write_still(folder / "A001C003_19.46.13.06.jpg", still[::2, ::2], "jpeg", display=display)
    write_still(folder / "A009C001_01.00.00.00.png", still[::8, ::8], "png8", display=display)
    write_still(folder / f"A001C007.{place}.tiff", still[:, :250], "tiff8", display=display)
    (folder / "A001C003_19.46.13.07.jpg").write_bytes(b"no picture")
    run = rushlight("verify", right, "--no-hash", "--json", "--reference", folder)
    assert run.returncode == 0, run.stderr
    rows = {Path(r["reference"]).name: r for r in json.loads(run.stdout)["references"]}
    for suffix, _ in kinds.values():
        row = rows[f"A001C007_{place}{suffix}"]
        assert row["verdict"] == "matches" and row["mean"] < 0.5 and not row["text"], row
    assert rows["A001C003_19.46.13.06.jpg"]["verdict"] == "differs"
    assert rows["A001C003_19.46.13.06.jpg"]["mean"] > 5
    assert "shape differs: 250x270" in rows[f"A001C007.{place}.tiff"]["text"]
    assert rows["A001C003_19.46.13.07.jpg"]["verdict"] == "not compared"
    assert "no graded movie" in rows["A009C001_01.00.00.00.png"]["text"]
    means = [r["mean"] for r in rows.values() if r["mean"] is not None]
    assert means == sorted(means, reverse=True)
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(OptionError, match="named by clip and timecode"):
        against_references(right, empty)


def test_another_raster_and_codec_is_said_and_patches_and_tiles_compared(right: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "small.toml"
    recipe.write_text('[[output]]\nname = "editorial"\nmake = "movie"\ncodec = "h264"\nsize = "256x144"\n')
    other = rendered(tmp_path / "other", RIGHT.splitlines()[0] + "\n", str(recipe))
    run = rushlight("verify", other, "--against", right)
    words = " ".join(run.stdout.split())
    assert "same colour" in words and "only there" in words
    assert "the patches of the look and the tiles were compared" in words
    (row,) = (r for r in compare(other, right) if r.clip == "A001C007.mov")
    assert row.verdict == "same colour" and row.same_look and row.same_frames is False
    assert (
        "editorial is 256x144 h264, 40 frames here and 480x270 dnxhr-lb, 40 frames there" in row.differences
    )
    assert "viewing is only there" in row.differences
    assert row.patches.worst < 0.01 and row.tiles.mean < 0.3
    (same,) = (r for r in compare(right, right) if r.clip == "A001C007.mov")
    assert same.same_frames and not same.differences


def test_the_command(right: Path, tmp_path: Path) -> None:
    run = rushlight("verify", right, "--json")
    document = json.loads(run.stdout)
    assert run.returncode == 0 and {c["clip"] for c in document["clips"]} == {"A001C007.mov", "A001C003.mov"}
    assert set(document["clips"][0]["checks"]) == {"hash", "frames", "timecode", "tags", "colour", "sound"}
    assert "match the decision supplied" in rushlight("verify", right).stdout
    assert rushlight("verify", tmp_path).returncode == 2
    run = rushlight("verify", right, "--no-hash", "--json", "--against", right)
    document = json.loads(run.stdout)
    assert all("hash" not in c["checks"] for c in document["clips"])
    assert {r["verdict"] for r in document["against"]} == {"same colour"}
    out = tmp_path / "out"
    shutil.copytree(right, out)
    (out / "editorial" / "A001C007.mov").unlink()
    run = rushlight("verify", out)
    assert run.returncode == 1 and run.stdout.startswith("FAIL")


def test_a_right_file_of_low_quality_does_not_fail(tmp_path: Path) -> None:
    outputs = "".join(
        f'[[output]]\nname = "{size}"\nmake = "movie"\ncodec = "h264"\nsize = "{size}"\nquality = 28\npreset = "veryfast"\n'
        for size in ("128x72", "320x180")
    )
    (tmp_path / "r.toml").write_text(outputs)
    out = rendered(tmp_path / "small", RIGHT, str(tmp_path / "r.toml"))
    checks = [files["frames"] for found in verify(out, hashes=False) for files in found.files.values()]
    assert {c.verdict for c in checks} <= {"pass", "cannot tell"} and max(c.worst_luma for c in checks) > 1.0


@pytest.mark.parametrize(
    ("sound", "whole"), [("pass", "pass"), ("cannot tell", "pass"), ("fail", "fail"), ("warn", "warn")]
)
def test_sound_whose_source_is_gone_takes_nothing_from_the_pictures(
    sound: Verdict, whole: Verdict, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    checks = {"colour": CheckVerdict(verdict="pass", text=""), "sound": CheckVerdict(verdict=sound, text="")}
    monkeypatch.setattr(deliveries, "_file", lambda *_: checks)
    record = SimpleNamespace(
        outputs=[SimpleNamespace(path="a.mov")],
        clip="a",
        job="a",
        finished="",
        look=SimpleNamespace(grade=None),
    )
    found = deliveries.verify_clip(tmp_path, record)  # type: ignore[arg-type]
    assert found.verdict == whole and found.checks["sound"].verdict == sound
