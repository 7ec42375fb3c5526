"""A made-up day: forty clips of two cameras, thirty takes of two recorders, one of them jammed two frames off, a take missing."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import rushlight
from logged import latest, read_records
from pictures import texture, write_movie
from recordings import bext, chunk, ixml, talk, write_wav
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RATE = FrameRate.parse(25)
OFF = 2 * 1920  # samples: recorder 2 is two frames ahead of the cameras
RECIPE = '[[output]]\nname = "codes"\nmake = "movie"\ncodec = "prores-proxy"\nstate = "log"\nsize = "64x36"\n'
LONG = 400  # frames of the clip that is listened to


def samples_at(slate: int) -> int:
    """When a slate's cameras roll: every ten minutes from nine."""
    return (9 * 3600 + slate * 600) * 48_000


def take(
    folder: Path, name: str, slate: int, number: int, first: int, samples: int = 9 * 48_000, **more: Any
) -> None:
    said = ixml(
        str(slate),
        str(number),
        more.pop("roll", "SR1"),
        reference=first,
        names=["MIX"],
        extra=more.pop("extra", ""),
    )
    heard_from = more.pop("heard_from", first)
    chunks = [chunk(b"bext", bext(first)), chunk(b"iXML", said)]
    write_wav(folder / name, samples, fill=talk(), first=heard_from, before=chunks)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Slates 1 to 20 are shot by camera A, and 1 to 20 by camera B at the same time: 40 clips. Recorder 1 has the first 14
    slates, recorder 2 (with its clock two frames ahead) 15 to 19; slate 20 was not recorded. Recorder 1 has six wild tracks, two
    false starts and three takes that no camera shot as well: 30 takes in all."""
    folder = tmp_path_factory.mktemp("day")
    one, two = folder / "sound" / "SR1", folder / "sound" / "SR2"
    for place in (folder / "cards", one, two):
        place.mkdir(parents=True)
    rows = ["clip,encoding,levels,scene,take,camera"]
    short = folder / "short.mov"
    picture = texture("yuvj420p", 64, 36, 1)
    for slate in range(1, 21):
        start = Timecode(frames=samples_at(slate) // 1920, rate=RATE)
        for camera in "AB":
            name = f"{camera}001C{slate:03}.mov"
            frames = LONG if name == "A001C015.mov" else 5
            far = (
                (talk()(samples_at(slate), frames * 1920) * np.int32(64)).repeat(2, 0)
                if frames == LONG
                else None
            )
            write_movie(
                folder / "cards" / name, [picture] * frames, codec="mjpeg", rate=Fraction(25), levels=2, timecode=str(start),
                reel=f"{camera}001", sound=far,
            )  # fmt: skip
            rows.append(f"{name},LogC3,full,{slate},1,{camera}")
    (folder / "day.csv").write_text("\n".join(rows) + "\n")
    (folder / "r.toml").write_text(RECIPE)
    for slate in range(1, 15):
        take(one, f"S{slate:02}T1.wav", slate, 1, samples_at(slate) - 48_000 + slate)
    for slate in range(15, 20):  # what was heard then has a time stamp that is two frames late
        begin = samples_at(slate) - 48_000
        take(two, f"S{slate:02}T1.wav", slate, 1, begin + OFF, 18 * 48_000, roll="SR2", heard_from=begin)
    for number in range(6):
        take(
            one, f"W{number}.wav", 99, number, samples_at(20) + number, extra="<WILD_TRACK>TRUE</WILD_TRACK>"
        )
    for number in range(2):
        take(
            one,
            f"F{number}.wav",
            3,
            1,
            samples_at(3) - 20_000 + number,
            extra="<FALSE_START>TRUE</FALSE_START>",
        )
    for number in range(3):
        take(one, f"X{number}.wav", 50, number, samples_at(40 + number))
    assert not short.exists()
    return folder


def given(day: Path) -> tuple[object, ...]:
    return day / "day.csv", "--recipe", day / "r.toml", "--media", day / "cards", "--sound", day / "sound"


def test_one_plan_screen_accounts_for_everything(day: Path) -> None:
    run = rushlight("plan", *given(day), "--json")
    document = json.loads(run.stdout)
    assert run.returncode == 0, run.stderr
    assert document["counts"]["planned"] == 40
    assert Counter(c["sound"]["kind"] for c in document["clips"]) == {"production": 38, "none": 2}
    for clip in document["clips"]:
        if clip["sound"]["kind"] == "production":
            (part,) = clip["sound"]["files"]
            assert Path(part[0]["path"]).name == f"S{int(clip['row']['scene']):02}T1.wav"
        else:
            assert clip["row"]["scene"] == "20" and any("no production sound" in w for w in clip["warnings"])
    sums = document["sound"]
    why = Counter(entry["why"] for entry in sums["not_used"])
    assert (sums["found"], sums["used"], why) == (
        30,
        19,
        {"wild track": 6, "false start": 2, "no planned clip is of its time": 3},
    )
    text = rushlight("plan", *given(day)).stdout
    assert "30 sound files found = 19 used + 11 not used + 0 not readable" in text
    assert "40 planned" in text and all(len(line) <= 100 for line in text.splitlines())


def test_the_two_frames_are_heard_and_nothing_is_moved(day: Path) -> None:
    out = day / "out"
    run = rushlight("render", *given(day), "--out", out, "--workers", 1, "--only", "clip=A001C015.mov")
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(out)).values()
    heard = record["sound"]["heard"]
    assert abs(heard["offset_ms"] + 80) < 1 and abs(heard["drift_ms"]) < 1 and len(heard["windows"]) == 3
    (warning,) = [w for w in record["warnings"] if "is heard" in w]
    assert (
        "80.0 ms (2.0 frames) before S15T1.wav: nothing was moved; sound_offset = -3840 samples would"
        in warning
    )
    assert record["sound"]["start"] == str(48_000 - OFF)
    shutil.rmtree(out)
