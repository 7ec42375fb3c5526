"""Mixed rates: played and exposed, 24 beside 23.976, variable rate, labels at another rate."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import independent
from here import rushlight
from logged import latest, read_records
from pictures import number_of, numbered, write_movie
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.rates import exposed_rate, relabelled
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe

OUTPUT = '[[output]]\nname = "e"\nmake = "movie"\ncodec = "prores-proxy"\nsize = "128x72"\n'
VARIABLE = ("-vf", "setpts='if(lt(N,20),N,20+(N-20)*2)/24/TB'", "-fps_mode", "vfr", "-c:v", "libx264")


def planned(folder: Path, rows: str, recipe: str = "") -> Prepared:
    (folder / "day.csv").write_text(rows)
    (folder / "r.toml").write_text(recipe + OUTPUT)
    return prepare(Request(clip_list=folder / "day.csv", recipe=str(folder / "r.toml")))


def test_24_beside_23_976_is_said_once_for_the_list(tmp_path: Path) -> None:
    for name, rate in (("a", Fraction(24)), ("b", Fraction(24000, 1001)), ("c", Fraction(25))):
        write_movie(tmp_path / f"{name}.mov", [numbered(n) for n in range(3)], rate=rate)
    rows = "clip,encoding\n" + "".join(f"{n}.mov,LogC3\n" for n in "abc")
    (said,) = planned(tmp_path, rows).plan.warnings
    assert "1 clip at 23.976 (b.mov) and 1 clip at 24 (a.mov)" in said and "42 seconds" in said
    with_show = planned(tmp_path, rows, 'show_rate = "24"\n').plan
    assert with_show.warnings == []
    assert [any("drift apart" in w for w in c.warnings) for c in with_show.clips] == [False, True, False]
    assert any("show's is 24" in w for w in with_show.clips[2].warnings)


def test_exposed_and_played_rates_are_two_fields(tmp_path: Path) -> None:
    """From the container's own key, or the list's column, which is believed."""
    frames = [numbered(n) for n in range(4)]
    tags = ("-movflags", "use_metadata_tags", "-metadata", "com.android.capture.fps=120.000000")
    independent.write(tmp_path / "a.mp4", frames, "-c:v", "libx264", "-pix_fmt", "yuv420p", *tags)
    write_movie(tmp_path / "b.mov", frames)
    assert str(probe(tmp_path / "a.mp4").capture_rate) == "120"
    assert probe(tmp_path / "b.mov").capture_rate is None
    rows = "clip,encoding,capture_rate\na.mp4,LogC3,\nb.mov,LogC3,48\nb.mov,LogC3,quick\n"
    prepared = planned(tmp_path, rows)
    document = plan_document(prepared)
    assert [(c["rate"], c["capture_rate"]) for c in document["clips"]] == [("24", "120"), ("24", "48")]
    assert "off-speed: exposed at 48, played at 24" in document["clips"][1]["warnings"]
    assert [p["key"] for p in document["problems"]] == ["capture_rate"]
    row = Row(file="", line=1, clip="a", cells={"capture_rate": "60"})
    warnings: list[str] = []
    facts = probe(tmp_path / "a.mp4")
    assert str(exposed_rate(row, facts, facts.rate, warnings)) == "60" and "the file says 120" in warnings[0]
    with pytest.raises(TimecodeError):
        exposed_rate(replace(row, cells={"capture_rate": "x"}), facts, facts.rate, [])


def test_variable_rate_is_refused_or_taken_frame_for_frame(tmp_path: Path) -> None:
    independent.write(tmp_path / "a.mp4", [numbered(n, 128, 72, "yuv420p") for n in range(60)], *VARIABLE)
    rows = "clip,encoding\na.mp4,LogC3\n"
    ((_, error),) = planned(tmp_path, rows).plan.broken
    assert "variable frame rate" in error.text
    (clip,) = planned(tmp_path, rows, 'variable_rate = "conform"\n').plan.clips
    assert (clip.count, str(clip.rate), clip.retimed) == (60, "12", True)  # the commonest step
    assert any("frame for frame" in w and "longer" in w for w in clip.warnings)


def test_frame_for_frame_takes_every_frame_once_and_no_sound(tmp_path: Path) -> None:
    """One of variable rate and one of 60 frames a second, both at the show's 24."""
    frames = [numbered(n) for n in range(60)]
    tone = np.full((2, 48000), 1 << 28, np.int32)
    write_movie(tmp_path / "a.mov", frames, rate=Fraction(60), timecode="10:00:00:50", sound=tone)
    independent.write(tmp_path / "b.mp4", [numbered(n, 128, 72, "yuv420p") for n in range(60)], *VARIABLE)
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,Video Rec.709\nb.mp4,Video Rec.709\n")
    recipe = 'show_rate = "24"\noff_speed = "frame for frame"\nvariable_rate = "conform"\n'
    (tmp_path / "r.toml").write_text(recipe + OUTPUT)
    out = tmp_path / "out"
    run = rushlight(
        "render", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--out", out, "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert {(r["frames"], r["rate"]) for r in latest(read_records(out)).values()} == {(60, "24")}
    for name, label in (("a", "10:00:00:23"), ("b", "00:00:00:00")):
        made = out / "e" / f"{name}.mov"
        facts = probe(made)
        assert (facts.frames, str(facts.rate), str(facts.timecode)) == (60, "24", label)
        with open_source(facts) as source:
            assert [number_of(f.image) for f in source.frames(0, 60)] == list(range(60))
        assert not facts.sound or not independent.sound(made).any()


@given(st.integers(0, 86399), st.integers(0, 59), st.sampled_from(["24", "29.97", "30", "50", "59.94"]))
def test_every_label_has_one_at_another_rate(second: int, frame: int, rate: str) -> None:
    source = FrameRate.parse("59.94")
    start = Timecode(frames=second * 59 + frame, rate=source, drop=True)
    found = relabelled(start, FrameRate.parse(rate))
    assert str(found)[:8] == str(start)[:8] and int(str(found)[9:]) <= max(int(str(start)[9:]), 2)
    assert found.drop == FrameRate.parse(rate).can_drop
