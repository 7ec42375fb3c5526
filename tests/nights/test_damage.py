"""Damaged, short and incomplete originals through the command: delivered with every place listed, or failed, as the recipe says."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import independent
from damaged_card import LONG, overwritten
from here import rushlight
from logged import latest, read_records
from pictures import number_in, numbered, write_movie, write_sequence
from rushlight.pipelines.counted import counted
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RECIPE = """
damaged_frames = "{damaged}"
missing_frames = "{missing}"

[[output]]
name = "e"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
"""
START = Timecode.parse("23:59:59:20", FrameRate.parse(24))
ALL = ("intra.mov", "group.mp4", "short.mov", "shot", "gaps", "sound.mov")


def bad_day(folder: Path) -> None:
    frames = [numbered(n, 256, 144) for n in range(60)]
    write_movie(folder / "intra.mov", frames, timecode=str(START))
    overwritten(folder / "intra.mov", 9)
    independent.write(folder / "group.mp4", frames, *LONG, "-timecode", START)
    overwritten(folder / "group.mp4", 24)
    tone = np.random.default_rng(1).integers(-(1 << 22), 1 << 22, (2, 2000 * 60), dtype=np.int32) << 8
    whole = write_movie(folder / "whole.mov", frames, timecode=str(START), sound=tone)
    independent.ffmpeg("-i", whole, "-c", "copy", "-movflags", "+faststart", folder / "short.mov")
    data = (folder / "short.mov").read_bytes()
    (folder / "short.mov").write_bytes(data[: len(data) * 3 // 4])
    independent.ffmpeg("-i", whole, "-c", "copy", folder / "sound.mov")
    whole.unlink()
    codes = [np.full((144, 256, 3), 200 + 4 * n, np.uint16) for n in range(10)]
    shot = write_sequence(folder / "shot", codes, first=START.frames % START.rate.day(drop=False))
    for number in (0, 3):
        (shot / f"shot.{START.frames + 3 + number:07}.dpx").unlink()
    shutil.copytree(shot, folder / "gaps")
    whole_file = shot / f"shot.{START.frames + 8:07}.dpx"
    whole_file.write_bytes(whole_file.read_bytes()[:5000])
    (folder / "day.csv").write_text("clip,encoding\n" + "".join(f"{c},Video Rec.709\n" for c in ALL))


def made(folder: Path, damaged: str, missing: str) -> tuple[int, str, dict[str, dict[str, Any]]]:
    (folder / "r.toml").write_text(RECIPE.format(damaged=damaged, missing=missing))
    out = folder / f"{damaged}-{missing}"
    run = rushlight("render", folder / "day.csv", "--recipe", folder / "r.toml", "--out", out, "--workers", 1)
    return run.returncode, run.stdout + run.stderr, {r["clip"]: r for r in latest(read_records(out)).values()}


def luma(path: Path) -> np.ndarray:
    return independent.raw_frames(path, "gray", 256, 144)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bad day")
    bad_day(folder)
    return folder


def test_what_is_damaged_is_delivered_and_listed_by_timecode(day: Path) -> None:
    code, said, found = made(day, "deliver", "hold")
    assert code == 0, said
    listed = {clip: {d["frame"]: d["timecode"] for d in r["damage"]} for clip, r in found.items()}
    assert all(label == str(START + number) for d in listed.values() for number, label in d.items())
    assert set(listed["intra.mov"]) == {9} and listed["sound.mov"] == {}
    assert listed["intra.mov"][9] == "00:00:00:05"  # over midnight
    group = set(listed["group.mp4"])
    assert {24, 25, 35} <= group <= set(range(22, 36))
    short = sorted(listed["short.mov"])
    assert short == list(range(short[0], 60)) and 30 <= short[0] < 55
    assert set(listed["shot"]) == {3, 6, 8} and set(listed["gaps"]) == {3, 6}
    for clip, record in found.items():
        path = day / "deliver-hold" / record["outputs"][0]["path"]
        pictures = luma(path)
        assert len(pictures) == record["frames"] == (10 if clip in ("shot", "gaps") else 60)
        assert independent.timecode(path) == str(START)
        if clip not in ("shot", "gaps"):
            wrong = {n for n, p in enumerate(pictures) if number_in(p) != n}
            assert wrong <= set(listed[clip]), clip
        if listed[clip]:
            assert any(
                f"delivered with {counted(len(listed[clip]), 'damaged frame')}:" in w
                for w in record["warnings"]
            )
            assert clip in said and "delivered with " in said and "damaged frame" in said
    held = luma(day / "deliver-hold" / found["shot"]["outputs"][0]["path"]).reshape(10, -1).mean(1)
    assert abs(held[3] - held[2]) < 0.5 and abs(held[6] - held[5]) < 0.5 and abs(held[4] - held[3]) > 0.5
    heard = independent.sound(day / "deliver-hold" / found["short.mov"]["outputs"][0]["path"])
    whole = independent.sound(day / "deliver-hold" / found["sound.mov"]["outputs"][0]["path"])
    assert heard.shape == whole.shape == (2, 120000) and (heard[:, :40000] == whole[:, :40000]).all()


def test_damaged_frames_are_not_forgotten_when_another_file_is_made_again(day: Path) -> None:
    (day / "one.csv").write_text("clip,encoding\nintra.mov,Video Rec.709\n")
    still = (
        '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nat = ["first"]\nsize = "256x144"\n'
    )
    (day / "two.toml").write_text(RECIPE.format(damaged="deliver", missing="hold") + still)
    out = day / "again"

    def run() -> tuple[str, dict[str, Any]]:
        command = ("render", day / "one.csv", "--recipe", day / "two.toml", "--out", out, "--workers", 1)
        found = rushlight(*command)
        (record,) = latest(read_records(out)).values()
        return found.stdout + found.stderr, record

    _, first = run()
    (picture,) = (out / entry["path"] for entry in first["outputs"] if entry["kind"] == "still")
    picture.unlink()
    _, second = run()
    assert picture.exists() and [each["frame"] for each in second["damage"]] == [9]
    assert sum("delivered with 1 damaged frame: 00:00:00:05" in text for text in second["warnings"]) == 1
    said, _ = run()
    assert (
        "intra.mov was delivered with 1 damaged frame: 00:00:00:05. Once its original is copied again whole"
        in " ".join(said.split())
    )
    for entry in second["outputs"]:
        (out / entry["path"]).unlink()
    said, third = run()
    assert "delivered 1 clip" in said and third["damage"] == second["damage"] and len(third["outputs"]) == 2


def test_what_is_damaged_fails_its_clip_and_no_other(day: Path) -> None:
    code, said, found = made(day, "fail", "slate")
    assert code == 1, said
    status = {clip: record["status"] for clip, record in found.items()}
    assert status == dict.fromkeys(ALL, "failed") | {"sound.mov": "done", "gaps": "done"}
    assert "frame 9 (00:00:00:05)" in said and "FAILED: 4 clips" in said
    # missing files are not damage: the recipe has a word for them
    record = found["gaps"]
    assert [d["frame"] for d in record["damage"]] == [3, 6]
    pictures = luma(day / "fail-slate" / record["outputs"][0]["path"])
    assert pictures[3].max() > 200 and pictures[3].min() < 20  # text on black
    assert pictures[2].max() - pictures[2].min() < 6
    (day / "r.toml").write_text(RECIPE.format(damaged="fail", missing="fail"))
    run = rushlight("plan", day / "day.csv", "--recipe", day / "r.toml", "--json")
    problems = {p["clip"]: p["text"] for p in json.loads(run.stdout)["problems"]}
    assert run.returncode == 1 and set(problems) == {"shot", "gaps"}
    assert all("lacks 2 of its files" in text for text in problems.values())
