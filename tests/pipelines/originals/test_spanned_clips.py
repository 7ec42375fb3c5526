"""Clips in several files: joined where the timecode runs on, refused with the gap named, or each for itself."""

import json
import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import independent
from here import rushlight
from logged import latest, read_records
from pictures import number_of, numbered, write_movie
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import full_hash, probe
from rushlight.pipelines.originals.sound import SAMPLE_RATE, read_sound, samples_of
from rushlight.pipelines.originals.spanned_clips import span_files

RECIPE = """
encoding = "ARRI LogC3"
levels = "narrow"
several_files = "{several}"

[[output]]
name = "edit"
make = "movie"
codec = "prores-proxy"
size = "480x270"
"""


def chapters(
    folder: Path,
    counts: tuple[int, ...] = (9, 7, 8),
    *,
    rate: Fraction = Fraction(30000, 1001),
    start: str = "23:59:59;20",
    gaps: tuple[int, ...] = (0, 0, 0),
) -> NDArray[np.int32]:
    """`A001C001_001.mov` and on; gives the sound of them all."""
    frame_rate = FrameRate(fraction=rate)
    label, begin = Timecode.parse(start, frame_rate), 0
    total = samples_of(sum(counts), rate)
    sound = np.random.default_rng(5).integers(-(1 << 22), 1 << 22, (2, total), dtype=np.int32) << 8
    for k, count in enumerate(counts):
        label += gaps[k]
        low, high = samples_of(begin, rate), samples_of(begin + count, rate)
        write_movie(
            folder / f"A001C001_{k + 1:03}.mov",
            [numbered(n, 128, 72) for n in range(begin, begin + count)],
            rate=rate,
            timecode=str(label),
            sound=sound[:, low:high],
        )
        label, begin = label + count, begin + count
    return sound


def test_frames_and_sound_run_through_and_over_midnight(tmp_path: Path) -> None:
    sound = chapters(tmp_path)
    facts = probe(tmp_path / "A001C001_###.mov")
    assert (facts.frames, str(facts.timecode), len(facts.files)) == (24, "23:59:59;20", 3)
    assert facts.bytes == sum(p.stat().st_size for p in tmp_path.iterdir())
    assert full_hash(facts).startswith("xxh3_128:")
    with open_source(facts) as source:
        for first, count in ((0, 24), (8, 2), (9, 7), (15, 3), (3, 20), (23, 1)):
            found = list(source.frames(first, count))
            assert [f.number for f in found] == list(range(first, first + count))
            assert [number_of(f.image) for f in found] == list(range(first, first + count))
            assert not any(f.damage for f in found)
            heard = np.concatenate(list(read_sound(facts, first, count)), axis=1)
            low, high = (samples_of(n, facts.rate.fraction) for n in (first, first + count))
            assert np.array_equal(heard, sound[:, low:high]), (first, count)
    assert SAMPLE_RATE == 48000


@pytest.mark.parametrize(("apart", "words"), [(3, "a gap of 3 frames"), (-2, "an overlap of 2 frames")])
def test_what_does_not_run_on_is_named(apart: int, words: str, tmp_path: Path) -> None:
    chapters(tmp_path, gaps=(0, 0, apart))
    with pytest.raises(SourceError, match=words) as caught:
        probe(tmp_path / "A001C001_###.mov")
    assert "A001C001_003.mov" in str(caught.value) and "A001C001_002.mov" in str(caught.value)


def test_a_missing_file_and_no_file_are_named(tmp_path: Path) -> None:
    chapters(tmp_path)
    (tmp_path / "A001C001_002.mov").unlink()
    with pytest.raises(SourceError, match="lacks its file number 2"):
        probe(tmp_path / "A001C001_###.mov")
    with pytest.raises(SourceError, match="no files match"):
        probe(tmp_path / "B_###.mov")


def test_files_of_another_kind_or_without_timecode_are_not_joined(tmp_path: Path) -> None:
    write_movie(tmp_path / "a_1.mov", [numbered(n) for n in range(4)])
    write_movie(tmp_path / "a_2.mov", [numbered(n, 160, 90) for n in range(4)], timecode="01:00:00:04")
    with pytest.raises(SourceError, match="its width is 160, not 128"):
        probe(tmp_path / "a_#.mov")
    write_movie(tmp_path / "a_2.mov", [numbered(n) for n in range(4)], timecode="", reel="")
    with pytest.raises(SourceError, match="has no timecode"):
        probe(tmp_path / "a_#.mov")


def test_a_gap_fails_the_clip_and_each_file_for_itself_is_delivered(tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    chapters(tmp_path / "card", (4, 4, 4), gaps=(0, 0, 5))
    run, found = rendered(tmp_path, "join", "card/A001C001_###.mov")
    assert run.returncode != 0 and "a gap of 5 frames" in run.stdout + run.stderr
    run, found = rendered(tmp_path, "each", "card/A001C001_###.mov")
    assert run.returncode == 0, run.stdout + run.stderr
    assert {c: r["frames"] for c, r in found.items()} == {f"card/A001C001_00{k}.mov": 4 for k in (1, 2, 3)}
    (tmp_path / "next").mkdir()
    chapters(tmp_path / "next", (4, 4, 4), start="01:00:00;00")
    run, found = rendered(tmp_path, "joined", "next/A001C001_###.mov")
    assert run.returncode == 0, run.stdout + run.stderr
    (made,) = (tmp_path / "joined").rglob("A001C001*.mov")
    assert independent.count(made) == 12 and independent.timecode(made) == "01:00:00;00"
    assert len({p.name for p in (tmp_path / "each").rglob("A001C001_*.mov")}) == 3


def rendered(
    tmp_path: Path, name: str, clip: str
) -> tuple[subprocess.CompletedProcess[str], dict[str, dict[str, Any]]]:
    """One clip through `rushlight render`; recipe and output folder by `name`."""
    recipe = tmp_path / f"{name}.toml"
    recipe.write_text(RECIPE.format(several="each" if name == "each" else "join"))
    (tmp_path / "day.csv").write_text(f"clip\n{clip}\n")
    out = tmp_path / name
    run = rushlight("render", tmp_path / "day.csv", "--recipe", recipe, "--out", out, "--workers", 1)
    return run, {r["clip"]: r for r in latest(read_records(out)).values()}


# --- chapters of an uncut original, on two cards


def cut(whole: Path, places: list[Path], counts: list[int], rate: Fraction, start: Timecode) -> None:
    """Chapters of a movie: its packets copied, its sound cut to the sample, each with its own timecode."""
    begin = 0
    for place, count in zip(places, counts, strict=True):
        place.parent.mkdir(parents=True, exist_ok=True)
        since = f"{float(begin / rate):.9f}"
        low, high = samples_of(begin, rate), samples_of(begin + count, rate)
        raw = place.with_suffix(".wav")
        part = f"atrim=start_sample={low}:end_sample={high},asetpts=PTS-STARTPTS"
        independent.ffmpeg("-i", whole, "-vn", "-af", part, "-c:a", "pcm_s24le", raw)
        picture = (
            "-ss",
            since,
            "-i",
            whole,
            "-i",
            raw,
            "-frames:v",
            count,
            "-map",
            "0:v",
            "-map",
            "1:a",
            "-c",
            "copy",
        )
        independent.ffmpeg(*picture, "-timecode", start + begin, place)
        raw.unlink()
        begin += count


@pytest.mark.parametrize("codec", ["prores", "h264"])
def test_a_clip_over_two_cards_is_the_uncut_original(codec: str, tmp_path: Path) -> None:
    """Pixel for pixel and sample for sample, through `render` too; on the cards the chapters lie in folders of their own."""
    rate, counts = Fraction(24000, 1001), [24, 24, 12]
    frame_rate = FrameRate(fraction=rate)
    start = Timecode.parse("23:59:59:10", frame_rate)
    frames = [numbered(n, 128, 72) for n in range(60)]
    total = samples_of(60, rate)
    tone = np.random.default_rng(3).integers(-(1 << 22), 1 << 22, (2, total), dtype=np.int32) << 8
    bare = write_movie(tmp_path / "bare.mov", frames, rate=rate, timecode=str(start), sound=tone, reel="")
    long = ("-c:v", "libx264", "-pix_fmt", "yuv422p10le", "-x264-params", "keyint=12:min-keyint=12:bframes=2")
    coder = long if codec == "h264" else ("-c:v", "copy")
    whole = tmp_path / "A001_C001.mov"
    independent.ffmpeg("-i", bare, *coder, "-c:a", "copy", "-timecode", start, whole)
    cards = [tmp_path / "CARD1" / "CLIPS", tmp_path / "CARD1" / "CLIPS", tmp_path / "CARD2" / "CLIPS"]
    cut(whole, [c / f"A001_C001_{k + 1:03}.mov" for k, c in enumerate(cards)], counts, rate, start)
    uncut = probe(whole)
    spread = probe(cards[0] / "A001_C001_###.mov", files=tuple(sorted(tmp_path.glob("CARD?/*/*.mov"))))
    assert (spread.frames, spread.timecode) == (uncut.frames, uncut.timecode) and uncut.frames == 60
    with open_source(uncut) as one, open_source(spread) as several:
        for a, b in zip(one.frames(0, 60), several.frames(0, 60), strict=True):
            assert number_of(a.image) == a.number and not a.damage and not b.damage
            assert all((p == q).all() for p, q in zip(planes(a.image), planes(b.image), strict=True))
    for first, count in ((0, 60), (20, 30), (47, 3)):
        heard = [np.concatenate(list(read_sound(f, first, count)), axis=1) for f in (uncut, spread)]
        assert np.array_equal(*heard) and heard[0].any()
    recipe = tmp_path / "r.toml"
    recipe.write_text(RECIPE.format(several="join").replace("480x270", "128x72"))
    (tmp_path / "day.csv").write_text("clip\nA001_C001.mov\nA001_C001_###.mov\n")
    media = [a for n in (2, 1) for a in ("--media", tmp_path / f"CARD{n}")]
    run = rushlight(
        "render", tmp_path / "day.csv", *media, "--recipe", recipe, "--out", tmp_path / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    one, several = sorted(latest(read_records(tmp_path / "out")).values(), key=lambda r: len(r["clip"]))
    assert one["colour"]["digest"] == several["colour"]["digest"]
    made = [tmp_path / "out" / r["outputs"][0]["path"] for r in (one, several)]
    assert independent.timecode(made[0]) == independent.timecode(made[1]) == "23:59:59:10"
    assert np.array_equal(*(independent.sound(m) for m in made))
    assert (independent.sound(made[1]) == tone).all()
    assert [Path(file).parent for file in several["source"]["files"]] == cards and "files" not in one[
        "source"
    ]
    for moved, told in ((False, "pass"), (True, "cannot tell")):
        if moved:
            (cards[2] / "A001_C001_003.mov").rename(tmp_path / "away.mov")
        run = rushlight("verify", tmp_path / "out", "--no-hash", "--json")
        checks = {c["clip"]: next(iter(c["files"].values())) for c in json.loads(run.stdout)["clips"]}
        assert checks["A001_C001.mov"]["sound"]["verdict"] == "pass"
        sound = checks["A001_C001_###.mov"]["sound"]
        assert sound["verdict"] == told and ("A001_C001_003.mov" in sound["text"]) is moved, sound


def test_two_cards_with_a_gap_between_them_or_with_copies(tmp_path: Path) -> None:
    one, two, copy = (tmp_path / n for n in ("one", "two", "copy"))
    for folder in (one, two, copy):
        folder.mkdir()
    chapters(one, (4, 4, 4), gaps=(0, 0, 2), start="01:00:00;00")
    (one / "A001C001_003.mov").rename(two / "A001C001_003.mov")
    (copy / "A001C001_002.mov").write_bytes((one / "A001C001_002.mov").read_bytes())
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001_###.mov,LogC3\n")
    media = [a for f in (one, two, copy) for a in ("--media", f)]
    run = rushlight("plan", tmp_path / "day.csv", *media, "--json")
    assert run.returncode == 1 and "a gap of 2 frames" in run.stdout
    (two / "A001C001_003.mov").unlink()
    run = rushlight("plan", tmp_path / "day.csv", *media, "--json")
    (clip,) = json.loads(run.stdout)["clips"]  # the copy is not taken twice
    assert clip["frames"] == 8


def test_folders_whose_numbers_do_not_run_on_are_other_clips(tmp_path: Path) -> None:
    names = {"a": (1, 2), "b": (1, 2, 3), "c": (5,), "d": (3, 4)}
    for folder, numbers in names.items():
        (tmp_path / folder).mkdir()
        for number in numbers:
            (tmp_path / folder / f"x_{number}.mov").touch()
    found = span_files(tmp_path / "a" / "x_#.mov", [tmp_path / f for f in "bcd"])
    assert [f"{p.parent.name}{p.name[2]}" for p in found] == ["a1", "a2", "d3", "d4", "c5"]
