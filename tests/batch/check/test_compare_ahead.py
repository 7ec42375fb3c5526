"""Originals compared ahead of their rendering: few at a time, once a run, and never called verified before."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from manifests import HASH
from rushlight.batch.check import compare_ahead
from rushlight.batch.check.compare_ahead import AHEAD, CompareAhead
from rushlight.batch.records.original import ManifestCheck, ToCompare
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.pipelines.errors import SourceError


@pytest.fixture
def ahead() -> Iterator[CompareAhead]:
    found = CompareAhead()
    yield found
    found.close()


def record(path: Path, data: bytes = b"1", *, deliver: bool = False) -> PlannedRecord:
    """What is planned of a clip of that original, whose manifest has `data`."""
    row = ToCompare(path=str(path), bytes=len(data), kind="xxh64", hash=HASH["xxh64"](data), manifest="1.mhl")
    return PlannedRecord(
        manifest=ManifestCheck(verdict="not compared yet"), compare=[row], deliver_differing=deliver
    )


def settled(ahead: CompareAhead, key: str, planned: PlannedRecord) -> None:
    """Wait until a job is ready."""
    for _ in range(1000):
        if ahead.ready(key, lambda: planned):
            return
        threading.Event().wait(0.01)
    pytest.fail("it never was")


def test_what_has_nothing_to_compare_is_ready_at_once(ahead: CompareAhead) -> None:
    planned = PlannedRecord()
    assert ahead.ready("a", lambda: planned) and ahead.proven("a", planned, "a.mov") is planned


def test_a_match_is_in_what_was_planned(ahead: CompareAhead, tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(b"1")
    settled(ahead, "a", record(path))
    proven = ahead.proven("a", record(path), str(path))
    assert proven.manifest and proven.manifest.verdict == "matches"
    assert (proven.compare, proven.warnings) == ([], [])


def test_what_differs_is_refused_unless_the_recipe_takes_it(ahead: CompareAhead, tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(b"2")
    settled(ahead, "a", record(path))
    with pytest.raises(SourceError, match=r"is not as its manifest has it \(differs: its xxh64 is"):
        ahead.proven("a", record(path), str(path))
    proven = ahead.proven("a", record(path, deliver=True), str(path))
    assert (
        proven.manifest and proven.manifest.verdict == "differs" and "is not verified" in proven.warnings[0]
    )


def test_a_file_is_read_once_for_all_jobs_of_a_clip_and_again_once_it_changed(
    ahead: CompareAhead, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(b"2")
    read: list[str] = []
    before = compare_ahead.compared

    def noted(rows: Sequence[ToCompare], *more: object) -> ManifestCheck:
        read.extend(row.path for row in rows)
        return before(rows, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(compare_ahead, "compared", noted)
    for key in ("a+1", "a+2"):
        settled(ahead, key, record(path))
    ahead.forget()
    settled(ahead, "a+1", record(path))
    assert len(read) == 1
    path.write_bytes(b"1 ")
    path.write_bytes(b"1")
    ahead.forget()
    settled(ahead, "a+1", record(path))
    assert len(read) == 2 and ahead.proven("a+1", record(path), "a").manifest.verdict == "matches"  # type: ignore[union-attr]


def test_what_could_not_be_read_is_tried_again(ahead: CompareAhead, tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    settled(ahead, "a", record(path))
    with pytest.raises(SourceError, match="cannot be read: No such file"):
        ahead.proven("a", record(path), str(path))
    path.write_bytes(b"1")
    settled(ahead, "a", record(path))
    assert ahead.proven("a", record(path), str(path)).manifest.verdict == "matches"  # type: ignore[union-attr]


def test_few_clips_wait_to_be_read_and_others_are_not_held_up(
    ahead: CompareAhead, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go = threading.Event()
    monkeypatch.setattr(
        compare_ahead, "compared", lambda *more: (go.wait(10), ManifestCheck(verdict="matches"))[1]
    )
    asked: list[str] = []

    def planned(key: str) -> PlannedRecord:
        asked.append(key)
        return record(tmp_path / key)

    keys = [f"{n}" for n in range(AHEAD + 2)]
    for _ in range(3):
        assert not any(ahead.ready(key, lambda key=key: planned(key)) for key in keys)  # type: ignore[misc]
    assert len(asked) == len(keys)  # each was looked at once
    assert ahead.ready("plain", PlannedRecord)
    assert ahead.ready("away", lambda: None) and not ahead.knows("away")
    go.set()
    for key in keys:
        settled(ahead, key, record(tmp_path / key))


def test_a_night_that_ends_does_not_wait_for_a_long_file(tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    with path.open("wb") as stream:
        stream.truncate(50_000_000_000)  # sparse: minutes to read
    row = ToCompare(path=str(path), bytes=50_000_000_000, kind="md5", hash="0" * 32, manifest="1.mhl")
    ahead = CompareAhead()
    assert not ahead.ready("a", lambda: PlannedRecord(compare=[row]))
    for _ in range(500):
        if text := ahead.news():
            break
        threading.Event().wait(0.01)
    assert text.startswith("comparing a.mov with its manifest: ") and text.endswith("of 50.0 GB")
    assert ahead.news() == ""  # said a moment ago
    ahead.close()
    for thread in [t for t in threading.enumerate() if t.name.startswith(("compare", "hash"))]:
        thread.join(10)
        assert not thread.is_alive()
