"""The colour of what was made again, held against the record of the delivery."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from recorded import movie, recorded, still
from rushlight.batch.again.same_colour import same_colour
from rushlight.batch.records.job_record import JobRecord, read_record

LUMA = [0.0] * 16


def clip(
    folder: Path,
    job: str = "a",
    *,
    frames: str = "abcdef",
    first: int = 0,
    raster: str = "64x36",
    **given: Any,
) -> JobRecord:
    """A record of a clip whose frames have these digests; `stills` are those of its stills by frame."""
    place = f"log/frames/{job}.jsonl"
    (folder / place).parent.mkdir(parents=True, exist_ok=True)
    lines = [
        {"picture": 0, "frame": first + n, "digest": digest, "luma": LUMA} for n, digest in enumerate(frames)
    ]
    (folder / place).write_text("".join(json.dumps(line) + "\n" for line in lines))
    picture = {
        "state": "graded",
        "raster": raster,
        "pixel_format": "yuv420p",
        "digest": frames,
        "outputs": ["editorial"],
        "index": 0,
        "frames": place,
    }
    stills = [still(frame=number, digest=digest) for number, digest in given.pop("stills", {}).items()]
    colour = {
        "digest": "",
        "pictures": [picture],
        "patches": {},
        "tiles": {},
        "sensitivity": {},
        "faults": [],
    }
    record = recorded(job, movie(), *stills, colour=colour, frames=len(frames), first_frame=first, **given)
    return read_record(record)


def held(tmp_path: Path, there: JobRecord, here: JobRecord) -> tuple[int, int, int]:
    found = same_colour(tmp_path / "then", {there.job: there}, tmp_path / "now", [here])
    return len(found.same), len(found.differs), len(found.unknown)


@pytest.mark.parametrize(
    ("then", "now", "found"),
    [
        ({}, {}, (1, 0, 0)),
        ({}, {"frames": "abcdeX"}, (0, 1, 0)),
        ({}, {"raster": "32x18", "frames": "ABCDEF"}, (0, 0, 1)),  # another recipe's
        ({}, {"frames": "cd", "first": 2}, (1, 0, 0)),  # another range: those that both have
        ({}, {"frames": "cX", "first": 2}, (0, 1, 0)),
        ({}, {"frames": "xy", "first": 9}, (0, 0, 1)),
        ({"stills": {3: "s"}}, {"stills": {3: "s"}}, (1, 0, 0)),
        ({"stills": {3: "s"}}, {"stills": {3: "t"}}, (0, 1, 0)),
        ({"stills": {3: "s"}}, {"stills": {4: "t"}}, (1, 0, 0)),  # the movie tells
    ],
)
def test_frames_tell(
    tmp_path: Path, then: dict[str, Any], now: dict[str, Any], found: tuple[int, int, int]
) -> None:
    assert held(tmp_path, clip(tmp_path / "then", **then), clip(tmp_path / "now", **now)) == found


def test_a_part_is_held_against_its_clip(tmp_path: Path) -> None:
    part = {"job": "b", "clip": "a 01:00:00:02-01:00:00:04", "excerpt": "01:00:00:02-01:00:00:04", "first": 2}
    whole = clip(tmp_path / "then")
    assert held(tmp_path, whole, clip(tmp_path / "now", frames="cd", **part)) == (1, 0, 0)
    assert held(tmp_path, whole, clip(tmp_path / "now", frames="cX", **part)) == (0, 1, 0)
    (tmp_path / "then" / "log" / "frames" / "a.jsonl").unlink()
    assert held(tmp_path, whole, clip(tmp_path / "now", frames="cd", **part)) == (0, 0, 1)
    other = clip(tmp_path / "now", frames="cd", **{**part, "clip": f"z {part['excerpt']}"})
    assert held(tmp_path, whole, other) == (0, 0, 1)


def test_it_is_said_in_sentences(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    there = {job: clip(one, job) for job in "ab"}
    found = same_colour(one, there, two, [clip(two, "a"), clip(two, "b", frames="abcdeX"), clip(two, "c")])
    assert list(found.sentences(one, two)) == [
        (False, f"colour: 1 clip as in {one}, every frame to the last bit"),
        (
            True,
            f"colour: 1 clip not as in {one}: b; `rushlight verify {two} --against {one}` says by how much",
        ),
        (False, f"colour: 1 clip with nothing to compare with in {one}: c"),
    ]
