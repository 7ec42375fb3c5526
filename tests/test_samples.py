"""The sample day is what truth.json says it is, and a day worth demonstrating with."""

import csv
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import independent
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL, parse_cdl
from rushlight.pipelines.grading.grader import to_rgb
from rushlight.pipelines.luts.cube_lut import parse_cube
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe

SAMPLES = Path(__file__).resolve().parent.parent / "sample_frames"
TRUTH: dict[str, dict[str, Any]] = json.loads((SAMPLES / "truth.json").read_text())
with (SAMPLES / "day.csv").open(newline="") as lines:
    ROWS = {row["clip"]: row for row in csv.DictReader(lines)}


def signal(clip: str, number: int) -> np.ndarray:
    """The log signal R'G'B' of one frame."""
    facts = probe(SAMPLES / clip)
    with open_source(facts) as source:
        (frame,) = source.frames(number, 1)
    return to_rgb(frame.image, facts.pixel_format, ROWS[clip]["levels"], 1)  # type: ignore[arg-type]


def grade(row: dict[str, str]) -> CDL:
    if row["cdl"]:
        name, _, key = row["cdl"].partition("#")
        return next(c for c in parse_cdl((SAMPLES / name).read_text()) if c.id == key)
    values = {k: tuple(float(v) for v in row[k].split()) for k in ("slope", "offset", "power")}
    return CDL(**values, saturation=float(row["saturation"]))  # type: ignore[arg-type]


@pytest.mark.parametrize("clip", TRUTH)
def test_each_clip_is_what_it_is_said_to_be(clip: str) -> None:
    facts, truth = probe(SAMPLES / clip), TRUTH[clip]
    assert (facts.frames, facts.width, facts.height) == (truth["frames"], truth["width"], truth["height"])
    assert facts.rate.fraction == Fraction(truth["rate"]) and str(facts.timecode) == truth["timecode"]
    assert find_encoding(ROWS[clip]["encoding"]).name == find_encoding(truth["encoding"]).name
    if facts.kind == "movie":
        assert (facts.reel, facts.codec) == ("A001", "prores") and facts.levels_tag == ROWS[clip]["levels"]
        assert [(t.sample_rate, t.channels) for t in facts.sound] == [(48000, 2)]
    else:
        assert facts.pixel_format.name == "gbrp10le"


def test_the_day_has_three_encodings_three_grades_and_a_drop_frame_minute() -> None:
    assert set(ROWS) == set(TRUTH)
    assert len({row["encoding"] for row in ROWS.values()}) == 3
    grades = [grade(row) for row in ROWS.values()]
    assert len({g.numbers() for g in grades}) == 3 and not any(g.is_identity for g in grades)
    assert {Path(row["cdl"].partition("#")[0]).suffix for row in ROWS.values() if row["cdl"]} == {
        ".cdl",
        ".ccc",
    }
    start = probe(SAMPLES / "A001C007.mov").timecode
    last = start + (TRUTH["A001C007.mov"]["frames"] - 1)
    assert start.drop and str(start)[:5] != str(last)[:5]


@pytest.mark.parametrize("clip", [clip for clip, truth in TRUTH.items() if truth["patches"]])
def test_chart_and_ramp_decode_to_their_scene_linear_values(clip: str) -> None:
    """Colour-science encoded them; our curves, gamuts, levels and matrix bring them back, through grain and codec."""
    truth = TRUTH[clip]
    codes = signal(clip, truth["frames"] // 2)
    to_ap0 = find_encoding(ROWS[clip]["encoding"]).to_ap0
    assert len(truth["patches"]) == 24 and len(truth["ramp"]) == 11
    for place in [*truth["patches"].values(), *truth["ramp"]]:
        x, y, wanted = place["x"], place["y"], np.array(place["ap0"])
        found = to_ap0(codes[y - 3 : y + 4, x - 3 : x + 4].reshape(-1, 3)).mean(0)
        assert found == pytest.approx(wanted, rel=0.04, abs=0.004)


@pytest.mark.parametrize("clip", TRUTH)
def test_something_moves_and_the_log_picture_is_flat(clip: str) -> None:
    first, last = signal(clip, 0), signal(clip, TRUTH[clip]["frames"] - 1)
    assert (np.abs(last - first).max(-1) > 0.03).mean() > 0.001
    low, high = np.percentile(first, [5, 95])
    assert low > 0.05 and high < 0.75 and np.percentile(first, 95) - np.percentile(first, 5) < 0.5


@pytest.mark.parametrize("clip", [clip for clip in TRUTH if clip.endswith(".mov")])
def test_sound_has_a_pip_at_each_second_and_the_picture_s_length(clip: str) -> None:
    samples = independent.sound(SAMPLES / clip)
    rate, frames = Fraction(TRUTH[clip]["rate"]), TRUTH[clip]["frames"]
    assert samples.shape == (2, round(frames * 48000 / rate))
    level = np.abs(samples[0].astype(float) / 2**31)
    assert level.max() < 0.25  # no clipping, no fright
    for second in range(int(frames / rate) + 1):
        at = samples[0, second * 48000 + 480 : second * 48000 + 1920].astype(float)
        assert np.argmax(np.abs(np.fft.rfft(at * np.hanning(len(at))))) * 48000 / len(at) == pytest.approx(
            1000, abs=40
        )


def test_the_show_lut_is_a_plain_33_point_cube() -> None:
    lut = parse_cube((SAMPLES / "farrow.cube").read_text())
    assert lut.table.shape == (33, 33, 33, 3) and lut.title == "farrow"
    neutral = lut.table[np.arange(33), np.arange(33), np.arange(33)]
    assert (np.diff(neutral[2:], axis=0) >= 0).all() and neutral.min() >= 0 and neutral.max() <= 1


def test_originals_carry_no_path_of_the_machine_that_made_them() -> None:
    for path in sorted((SAMPLES / "B001C002").glob("*.dpx")):
        assert path.read_bytes()[36:136].rstrip(b"\0") == path.name.encode()  # SMPTE ST 268: file name
