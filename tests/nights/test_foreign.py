"""Originals from outside: one that is wrong costs one clip, is named, and the others are delivered."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

import command
import foreign
from command import CALL
from foreign import FAIL, PASS
from here import files, rushlight
from logged import latest, read_records
from rushlight.batch.due import due_outputs
from rushlight.batch.plan import plan_row, twins
from rushlight.batch.plan import prepare as planning
from rushlight.batch.plan.request import Request
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of
from rushlight.pipelines.errors import DeliveryError, SourceError
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.readback import read_back

RECIPE = """
[[output]]
name = "proxy"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "128x72"
"""
GOOD = ("A001C001.mov", "A001C002.mov")


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A card with two good originals and one of every kind from outside."""
    folder = tmp_path_factory.mktemp("foreign") / "card"
    for number, name in enumerate(GOOD):
        folder.mkdir(exist_ok=True)
        foreign.good(folder / name, 100 * number)
    for kind in FAIL | PASS:
        foreign.make(folder, kind)
    for path in folder.rglob("*"):  # nobody waits for them to stand still
        os.utime(path, (1_700_000_000, 1_700_000_000))
    (folder.parent / "small.toml").write_text(RECIPE)
    return folder


def written(path: Path, names: list[str]) -> Path:
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("clip", "encoding"))
        rows.writerows((n, "ACEScg" if "." not in n else "LogC3") for n in names)
    return path


@pytest.mark.parametrize("kind", FAIL)
def test_what_cannot_be_read_is_an_error_of_that_file(card: Path, kind: str) -> None:
    name, _, says = FAIL[kind]
    if "none of its pictures" in says:  # its header is whole: the pictures tell
        with open_source(probe(card / name)) as source:
            assert all(frame.lost and frame.damage for frame in source.frames(0, foreign.FRAMES))
        return
    with pytest.raises(SourceError) as caught:
        probe(card / name)
    assert says in caught.value.text and name in str(caught.value.file)
    str(caught.value).encode()  # it can be printed anywhere


@pytest.mark.parametrize("kind", PASS)
def test_what_can_be_read_is_read(card: Path, kind: str) -> None:
    name, _, says = PASS[kind]
    facts = probe(card / name)
    assert facts.frames == foreign.FRAMES
    assert says in " ".join(facts.warnings)
    json.dumps(dict(facts.metadata), ensure_ascii=False).encode()
    with open_source(facts) as source:
        assert [f.damage for f in source.frames(0, foreign.FRAMES)] == [""] * foreign.FRAMES


@pytest.mark.parametrize("listed", [True, False], ids=["listed", "in the media folder"])
def test_plan_goes_on(card: Path, tmp_path: Path, listed: bool) -> None:
    names = [*GOOD, *(n for n, _, _ in (FAIL | PASS).values())] if listed else list(GOOD)
    run = rushlight("plan", written(tmp_path / "day.csv", names), "--media", card, "--json")
    assert run.returncode in ((1, 2) if listed else (0,)), run.stderr
    plan = json.loads(run.stdout)
    planned = {clip["clip"] for clip in plan["clips"]}
    assert set(GOOD) <= planned
    told = {Path(e["path"]).name: e["why"] for e in plan["media"]["unreadable"]}
    for name, _, says in FAIL.values():
        if "none of its pictures" not in says:
            assert says in told[name if name in told else f"{name}_000001.dng"]
    if listed:
        assert planned == {*GOOD, *(n for n, _, _ in PASS.values())} | {
            "F001C005.mov",
            "F001C006.mov",
            "F001C014",
        }
        told = {p["clip"]: p["text"] for p in plan["problems"]}
        assert {n for n, _, says in FAIL.values() if "none of its pictures" not in says} == set(told)


@pytest.fixture(scope="module")
def night(card: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, int]:
    """All of them in one list, rendered; the output folder, what was said, and the exit code."""
    folder = tmp_path_factory.mktemp("night")
    names = [*GOOD, *(n for n, _, _ in (FAIL | PASS).values())]
    day = written(folder / "day.csv", names)
    recipe = card.parent / "small.toml"
    run = command.rushlight(
        "render", day, "--media", card, "--recipe", recipe, "--out", folder / "out", "--workers", 2
    )
    return folder / "out", run.stdout + run.stderr, run.returncode


def test_a_night_delivers_all_that_can_be_delivered(night: tuple[Path, str, int]) -> None:
    out, said, code = night
    assert code == 1, said
    records = {r["clip"]: r for r in latest(read_records(out)).values()}
    for name in [*GOOD, *(n for n, _, _ in PASS.values())]:
        assert records[name]["status"] == "done", records[name].get("error")
    assert len(files(out, "proxy")) == len(GOOD) + len(PASS)
    for name, _, says in FAIL.values():
        assert records[name]["status"] == "failed" and says in records[name]["error"]
        assert f"{name}" in said
    page = (out / "report" / "index.html").read_text()
    assert all(name in page for name, _, _ in (FAIL | PASS).values())


def test_a_folder_that_merely_contains_them_costs_nothing(card: Path, tmp_path: Path) -> None:
    day, out = written(tmp_path / "day.csv", list(GOOD)), tmp_path / "out"
    words = ("--media", card, "--recipe", card.parent / "small.toml", "--out", out, "--workers", 2)
    run = rushlight("render", day, *words)
    assert run.returncode == 0, run.stdout + run.stderr
    assert {Path(p).stem for p in files(out, "proxy")} == {Path(name).stem for name in GOOD}
    page = (out / "report" / "index.html").read_text()
    assert all(name in page for name, _, _ in (FAIL | PASS).values())


def test_sound_that_cannot_be_read_is_said_and_the_picture_delivered(night: tuple[Path, str, int]) -> None:
    out, _, _ = night
    record = next(r for r in latest(read_records(out)).values() if r["clip"] == "L001C005.mov")
    assert record["outputs"][0]["sound"] == []
    assert any("sound track 1 ('XYZ2')" in text for text in record["warnings"])


@pytest.mark.parametrize("step", ["resolve_clip", "files_of", "plan_clip"])
def test_a_fault_of_our_own_costs_the_plan_one_clip(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    whole = getattr(plan_row, step)

    def odd(clip: object, *rest: object, **more: object) -> object:
        if GOOD[0] in str(clip):
            raise ZeroDivisionError("odd")
        return whole(clip, *rest, **more)

    monkeypatch.setattr(plan_row, step, odd)
    day = written(tmp_path / "day.csv", list(GOOD))
    prepared = planning.prepare(Request(clip_list=day, media=(card,), out=tmp_path / "out"))
    assert [c.row.clip for c in prepared.plan.clips] == [GOOD[1]]
    (row, error), *_ = prepared.plan.broken
    assert row.clip == GOOD[0] and "a fault of rushlight's own" in error.text
    jobs_of(prepared, tmp_path / "out", EventStream())
    record = next(iter(latest(read_records(tmp_path / "out")).values()))
    assert record["status"] == "failed" and "(log/errors.txt shows where)" in record["error"]
    assert "ZeroDivisionError: odd" in (tmp_path / "out" / "log" / "errors.txt").read_text()


@pytest.mark.parametrize("check", ["reel_doubts", "rate_doubts", "twin_notes"])
def test_a_fault_of_our_own_in_a_check_over_all_clips_costs_none(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, check: str
) -> None:
    monkeypatch.setattr(twins if check == "twin_notes" else planning, check, lambda *given: 1 // 0)
    plan = planning.prepare(Request(clip_list=written(tmp_path / "day.csv", list(GOOD)), media=(card,))).plan
    assert [c.row.clip for c in plan.clips] == list(GOOD)
    assert any("a check over all clips was left out" in text for text in plan.warnings)


def test_a_fault_of_our_own_costs_one_clip_its_job(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = due_outputs.output_specs

    def odd(clip: object, *rest: object) -> object:
        if clip.row.clip == GOOD[0]:  # type: ignore[attr-defined]
            raise ZeroDivisionError("odd")
        return whole(clip, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(due_outputs, "output_specs", odd)
    day = written(tmp_path / "day.csv", list(GOOD))
    prepared = planning.prepare(Request(clip_list=day, media=(card,), out=tmp_path / "out"))
    turns, _, _ = jobs_of(prepared, tmp_path / "out", EventStream())
    assert {turn.spec.clip for turn in turns} == {GOOD[1]}
    assert [row.clip for row, _ in prepared.plan.broken] == [GOOD[0]]


@pytest.mark.skipif(
    os.geteuid() != 0 or not shutil.which("setpriv"), reason="needs root, to put aside what root may read"
)
def test_what_may_not_be_read_is_named(card: Path, tmp_path: Path) -> None:
    """A folder that may be listed and not entered, one that may not be listed, and a file that may not be opened."""
    media = tmp_path / "media"
    for name, mode in (("listed", 0o444), ("closed", 0o000), ("open", 0o755)):
        (media / name).mkdir(parents=True)
        shutil.copy(card / GOOD[0], media / name / f"{name}.mov")
        (media / name).chmod(mode)
    shutil.copy(card / GOOD[1], media / "open" / "shut.mov")
    (media / "open" / "shut.mov").chmod(0)
    written(tmp_path / "day.csv", ["open.mov", "shut.mov", "listed.mov", "closed.mov"])
    bound = ("setpriv", "--bounding-set=-dac_override,-dac_read_search")  # root to whom modes apply
    run = subprocess.run(
        [*bound, *CALL, "plan", tmp_path / "day.csv", "--media", media, "--json"],
        capture_output=True,
        text=True,
    )
    assert run.returncode == 1, run.stderr
    plan = json.loads(run.stdout)
    assert [clip["clip"] for clip in plan["clips"]] == ["open.mov"]
    assert {p["clip"] for p in plan["problems"]} == {"shut.mov", "listed.mov", "closed.mov"}
    told = {Path(e["path"]).name: e["why"] for e in plan["media"]["unreadable"]}
    assert told.keys() == {"shut.mov", "listed.mov"} and all("ermission" in why for why in told.values())


@pytest.mark.parametrize(("before", "track"), [(b"apch", "video"), (b"in24", "audio")])
def test_a_delivery_in_a_codec_that_nobody_knows_is_told(tmp_path: Path, before: bytes, track: str) -> None:
    path = foreign.good(tmp_path / "a.mov")
    assert read_back(path).frames == foreign.FRAMES
    foreign.patched(path, before, b"XYZ3", path.read_bytes().index(b"stsd"))
    with pytest.raises(DeliveryError, match=f"its {track} track is in a codec that is not known"):
        read_back(path)
