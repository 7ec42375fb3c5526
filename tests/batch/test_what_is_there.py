"""What of a clip is to be made: new, changed, under another name, or not there as it was recorded."""

from __future__ import annotations

from pathlib import Path

import pytest

from recorded import movie, recorded
from rushlight.batch.records.job_record import read_record
from rushlight.batch.what_is_there import paths_of, to_make, whole_again
from rushlight.pipelines.job.spec import MovieSpec, StillsSpec

SPEC = MovieSpec(
    output="editorial", identity="0" * 32, folder="editorial/A", state="log", width=64, height=36, file="a.mov", codec="prores-proxy",
    container="mov",
)  # fmt: skip


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        ({}, ""),
        ({"output": "viewing"}, "new"),
        ({"identity": "1" * 32}, "changed"),
        ({"path": "editorial/a.mov"}, "changed"),  # in another folder, for which it is to move
        ({"bytes": 5}, "missing or damaged"),
    ],
)
def test_what_is_to_be_made(tmp_path: Path, entry: dict[str, object], why: str) -> None:
    (tmp_path / "editorial" / "A").mkdir(parents=True)
    (place := tmp_path / "editorial" / "A" / "a.mov").write_bytes(b"1234")
    given = {"path": paths_of(SPEC)[0], "bytes": 4, "mtime_ns": place.stat().st_mtime_ns, **entry}
    found = to_make(tmp_path, (SPEC,), read_record(recorded("j", movie(**given))))
    assert [text for _, text in found] == ([why] if why else [])


def test_an_output_of_no_stills_is_made_with_its_clip_and_not_again(tmp_path: Path) -> None:
    none = StillsSpec(
        output="stills", identity="1" * 32, folder="stills", state="log", width=64, height=36, stills=()
    )
    assert [text for _, text in to_make(tmp_path, (none,), None)] == ["new"]
    assert to_make(tmp_path, (none,), read_record(recorded("j", movie()))) == ()


@pytest.mark.parametrize(
    ("mended", "says"),
    [
        ([], "give the same command: it is made again"),
        ([[0, 2]], "give the same command: it is made again"),
        ([[0, 3]], "move its files away (e/a.mov, v/b.mov) and give the same command: it is made anew"),
    ],
)
def test_how_a_clip_with_damaged_frames_is_made_anew(mended: list[list[int]], says: str) -> None:
    log = recorded("j", movie(path="e/a.mov"), movie(path="v/b.mov"))
    log["source"] = {**log["source"], "mended": mended}
    log["damage"] = [{"frame": 3, "kind": "damaged", "text": "x", "timecode": "01:00:00:03"}]
    assert whole_again(read_record(log)) == f"Once its original is copied again whole, {says}"
