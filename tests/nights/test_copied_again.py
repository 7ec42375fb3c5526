"""An original that was damaged in its middle and is copied again whole, of the same size, ends and time: the clip is made again."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from command import started
from damaged_card import CLIPS, Card, card, day, listed, made, overwritten, records, render
from here import HereFarm, farm_here, run
from pictures import number_in
from rushlight.batch.due import mended_originals
from rushlight.pipelines.originals.damaged_places import LookedAt
from rushlight.pipelines.originals.probe import probe, sampled_hash
from test_damage import luma

__all__ = ["card", "day", "farm_here"]


def test_each_is_made_again_once_and_the_old_is_kept(card: Card, day: Path, farm_here: HereFarm) -> None:
    render(day)
    before = records(day)
    assert all(before[clip]["damage"] for clip in CLIPS) and len(made(farm_here)) == 3
    old = {e["path"]: (day / "out" / e["path"]).read_bytes() for r in before.values() for e in r["outputs"]}
    for command in ("render", "plan"):  # nothing new: the same message, and nothing is made
        said = render(day, command=command)
        assert "intra.mov was delivered with 1 damaged frame: 00:00:01:00. Once its original" in said
        assert "can be read now" not in said and made(farm_here) == []

    card.put(card.whole)
    said = render(day, command="plan")
    assert "intra.mov: its damaged frame 28 can be read now; `render` makes it again" in said
    assert made(farm_here) == [] and records(day) == before
    said = render(day)
    assert "intra.mov: its damaged frame 28 can be read now; made again" in said
    assert "shot: its damaged frame 5 can be read now; made again" in said
    spoilt = sorted(each["frame"] for each in before["group.mp4"]["damage"])
    assert f"group.mp4: its damaged frames {spoilt[0]}-{spoilt[-1]} can be read now; made again" in said
    assert made(farm_here) == ["group", "intra", "shot"]
    for clip, record in records(day).items():
        assert record["revision"] == 2 and record["damage"] == [], clip
        assert not any("damaged" in text for text in record["warnings"])
        ends = sampled_hash(probe(card.folder / clip))  # of a sequence the sizes of all its files are in it
        assert record["source"]["sampled"] == ends
        assert (before[clip]["source"]["sampled"] == ends) == (clip != "shot")
        (gone,) = record["replaced"]
        assert gone["why"] == "another copy of the original, in which damaged frames can be read"
        assert (day / "out" / gone["kept"]).read_bytes() == old[gone["path"]]
        pictures = luma(day / "out" / record["outputs"][0]["path"])
        if clip != "shot":
            assert [number_in(picture) for picture in pictures] == list(range(60))
    assert "can be read now" not in render(day) and made(farm_here) == []


def test_a_copy_that_is_damaged_elsewhere_is_made_again_each_time(
    card: Card, day: Path, farm_here: HereFarm
) -> None:
    listed(day, card, "intra.mov")
    render(day)
    made(farm_here)
    path = card.folder / "intra.mov"
    card.put(card.whole, "intra")
    overwritten(path, 33)
    os.utime(path, ns=(1_700_000_000 * 10**9, 1_700_000_000 * 10**9))
    assert "its damaged frame 28 can be read now" in render(day) and made(farm_here) == ["intra"]
    assert [each["frame"] for each in records(day)["intra.mov"]["damage"]] == [33]
    assert "can be read now" not in render(day) and made(farm_here) == []
    card.put(card.whole, "intra")
    assert "its damaged frame 33 can be read now" in render(day) and made(farm_here) == ["intra"]
    record = records(day)["intra.mov"]
    assert record["damage"] == [] and record["source"]["mended"] == [[28, 28], [33, 33]]
    assert record["revision"] == 3


def test_what_is_read_here_and_not_where_it_is_made_is_made_once_more_and_no_oftener(
    card: Card, day: Path, farm_here: HereFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed(day, card, "intra.mov")
    render(day)
    made(farm_here)

    def misled(facts: Any, frames: Any, **more: object) -> LookedAt:
        return LookedAt(sound=frozenset(frames), damaged=frozenset())

    monkeypatch.setattr(mended_originals, "look_again", misled)
    assert "made again" in render(day) and made(farm_here) == ["intra"]
    for _ in range(2):
        said = render(day)
        assert "made again" not in said and made(farm_here) == []
        assert "copied again whole, move its files away (e/intra.mov) and give the same command" in said


def test_one_that_does_not_open_any_more_is_as_ever(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "group.mp4")
    render(day)
    before, path = records(day), card.folder / "group.mp4"
    made(farm_here)
    path.unlink()
    code, said = run("render", day / "day.csv", "--recipe", day / "r.toml", "--out", day / "out")
    path.write_bytes(b"")
    os.utime(path, ns=(1_700_000_000 * 10**9, 1_700_000_000 * 10**9))
    assert code == 1 and "can be read now" not in said and made(farm_here) == []
    assert (day / "out" / before["group.mp4"]["outputs"][0]["path"]).exists()


def test_a_missing_file_of_a_sequence_that_is_there_now(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "shot")
    (card.folder / "shot" / "shot.0086403.dpx").rename(day / "away.dpx")
    try:
        render(day)
        assert {each["frame"] for each in records(day)["shot"]["damage"]} == {3, 5}
        made(farm_here)
    finally:
        (day / "away.dpx").rename(card.folder / "shot" / "shot.0086403.dpx")
    card.put(card.whole, "shot")
    render(day)
    assert made(farm_here) == ["shot"] and records(day)["shot"]["damage"] == []
    render(day)
    assert made(farm_here) == []


def test_killed_while_it_is_made_again(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "intra.mov")
    render(day)
    before, out = records(day)["intra.mov"], day / "out"
    path = before["outputs"][0]["path"]
    old = (out / path).read_bytes()
    card.put(card.whole, "intra")
    options = ("--recipe", day / "r.toml", "--out", out, "--workers", 1)
    night = started("render", day / "day.csv", *options, start_new_session=True)
    while night.poll() is None and not list(out.glob(".work/intra-*/facts/000000-*.json")):
        time.sleep(0.01)
    os.killpg(night.pid, signal.SIGKILL)
    night.communicate()
    assert night.returncode == -signal.SIGKILL
    assert (out / path).read_bytes() == old and records(day)["intra.mov"] == before
    made(farm_here)
    (first,) = out.glob(".work/intra-*/*/000000.mov")
    left, seen = first.stat().st_mtime_ns, []
    farm_here.before = lambda task: seen.append(first.stat().st_mtime_ns)
    assert "its damaged frame 28 can be read now; made again" in render(day)
    assert set(seen) == {left} and made(farm_here) == ["intra"]  # what was finished is not rendered again
    after = records(day)["intra.mov"]
    assert after["damage"] == [] and after["revision"] == 2
    assert (out / "revisions" / "1" / path).read_bytes() == old
    assert "can be read now" not in render(day) and made(farm_here) == []


def test_a_closed_delivery_keeps_the_files_that_it_was_closed_with(
    card: Card, day: Path, farm_here: HereFarm
) -> None:
    listed(day, card, "shot")
    render(day, "--replaced", "remove")
    path = records(day)["shot"]["outputs"][0]["path"]
    old = (day / "out" / path).read_bytes()
    code, said = run("handover", day / "out", "--name", "editor", "--to", day)
    assert code == 0, said
    (delivery,) = (file.parent for file in day.glob("*/handover.json"))
    before = {file: file.read_bytes() for file in delivery.rglob("*") if file.is_file()}
    assert old in before.values()
    card.put(card.whole, "shot")
    assert "its damaged frame 5 can be read now; made again" in render(day, "--replaced", "remove")
    assert (day / "out" / path).read_bytes() != old
    assert {file: file.read_bytes() for file in delivery.rglob("*") if file.is_file()} == before
