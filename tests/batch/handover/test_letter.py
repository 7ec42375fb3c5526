"""The letter says, in this order: what is missing, what is in it, what changed and why, how to check it, what it is not."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from recorded import movie, recorded, still
from rushlight.batch.handover.letter import CAUTION, heading, letter_text, sections
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.records.handover import HANDOVER, Handover
from rushlight.batch.records.job_record import MadeWith, read_record

RECORD = read_record(
    recorded(
        "A",
        movie(bytes=2_000_000_000),
        still(path="stills/A.tif", bytes=3_000_000, state="log", display=None),
    )
)
PIECES = [Piece(record=RECORD, entry=entry, since="changed") for entry in RECORD.outputs]


def handover(**given: Any) -> Handover:
    files = [
        {
            "path": p.entry.path, "output": p.entry.output, "job": "A", "clip": "A", "bytes": p.entry.bytes, "hash": p.entry.hash,
            "since": "first", "brought": "copied", "revision": 2,
        }
        for p in PIECES
    ]  # fmt: skip
    plain = {
        "schema": HANDOVER, "name": "editor", "number": 2, "folder": "editor_002", "closed": "2026-11-27T04:10:00+00:00",
        "title": "The Lamp Room, day 12", "origin": "0", "made_by": "1", "holds": "all", "outputs": ["editorial", "stills"],
        "with_record": True, "missing": [], "files": files,
        "others": ["editorial/clips.csv", "editorial/clips.otio", "grades/A.cdl", "log/jobs.jsonl"],
    }  # fmt: skip
    return Handover.read(plain | given)


@pytest.fixture
def new_york(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "America/New_York")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("new_york")
def test_it_says_when_by_the_clock_of_the_machine_too() -> None:
    assert heading(handover()).endswith("closed 2026-11-26 23:10 -05:00 (2026-11-27 04:10 UTC)")


def test_how_to_check_it_names_the_folder() -> None:
    text = one_line(letter_text(handover(), PIECES))
    assert '"rushlight check editor_002"' in text and '"rushlight verify editor_002"' in text
    assert (
        '"rushlight render --from editor_002 --media ORIGINALS --out NEW" makes it again in a new folder'
        in text
    )


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_the_first() -> None:
    text = letter_text(handover(), PIECES)
    assert text.startswith(
        "The Lamp Room, day 12: delivery editor_002, closed 2026-11-27 04:10 UTC\n\nMISSING\nNothing:"
    )
    assert "2 files of 1 clip, 2.0 GB." in text
    assert "  editorial: 1 movie, 2.0 GB: dnxhr-lb in mov 1920x1080, graded for Rec.709 BT.1886\n" in text
    assert "  stills: 1 still, 3 MB: tiff16 1920x1080, the camera's log, no look\n" in text
    assert "  grades: 1 file: the grades of these clips" in text
    assert CAUTION in one_line(text) and "since" not in text
    assert "  clips.csv, clips.otio: 2 files: clip tables" in text
    assert max(len(line) for line in text.splitlines()) <= 96


def test_it_says_with_what_it_was_made_and_how_to_ask_in_a_year() -> None:
    made = [
        {"outputs": ["editorial"], "versions": {"rushlight": "0.2.0", "numpy": "2.4", "processor": "x86_64"}}
    ]
    record = RECORD.model_copy(update={"made_with": [MadeWith.model_validate(each) for each in made]})
    text = one_line(letter_text(handover(), [Piece(record=record, entry=RECORD.outputs[0], since="changed")]))
    assert "MADE WITH 1 clip: rushlight 0.2.0, numpy 2.4, on x86_64. With the originals" in text
    assert '"rushlight plan --from"' in text and "which recorded no versions" in one_line(
        letter_text(handover(), PIECES)
    )
    assert "plan --from" not in letter_text(handover(others=[]), PIECES)  # without its record


def test_another_look_is_named() -> None:
    record = read_record(recorded("A", movie(look="producer", display="sRGB")))
    piece = Piece(record=record, entry=record.outputs[0], since="first")
    assert "graded for sRGB, look producer" in one_line(letter_text(handover(), [piece]))


def test_what_is_missing_is_first() -> None:
    missing = [
        {"clip": "B", "state": "failed", "text": "does not open"},
        {"clip": "C", "state": "not made yet"},
    ]
    titles = [s.title for s in sections(handover(missing=missing), PIECES)]
    assert titles == ["Missing: 2 things", "What is in it", "How to check it", "Made with", "What it is not"]
    lines = letter_text(handover(missing=missing), PIECES).splitlines()
    assert lines[2:6] == [
        "MISSING: 2 THINGS",
        "What follows was asked for and is not in this delivery, or not as it should be.",
        "  B: failed: does not open",
        "  C: not made yet",
    ]


def test_what_changed_and_what_is_gone() -> None:
    files = handover().plain()["files"]
    assert isinstance(files, list)
    files = [
        files[0] | {"since": "changed", "why": "another look"},
        files[1] | {"since": "renamed", "why": "was x"},
    ]
    gone = [{"path": "stills/old.tif", "clip": "A", "hash": files[0]["hash"], "why": "its clip is withdrawn"}]
    text = letter_text(
        handover(files=files, gone=gone, after="editor_001", holds="changes", unchanged=7), PIECES
    )
    assert (
        "Only what is new or changed since editor_001: 2 files of 1 clip, 2.0 GB. 7 files did not change, and are not in it."
        in one_line(text)
    )
    assert "CHANGED SINCE EDITOR_001\n  editorial/A001C001.mov: revision 2: another look\n" in text
    assert "UNDER ANOTHER NAME, AND OTHERWISE THE SAME SINCE EDITOR_001\n  stills/A.tif: was x\n" in text
    assert "NOT TO BE USED ANY MORE SINCE EDITOR_001\n  stills/old.tif: its clip is withdrawn\n" in text


def test_links_are_warned_of() -> None:
    files = handover().plain()["files"]
    assert isinstance(files, list)
    text = letter_text(handover(files=[files[0] | {"brought": "linked"}, files[1]]), PIECES)
    assert "1 file is not copied but linked" in one_line(text) and "change none" in one_line(text)


def test_without_its_record_nothing_is_promised() -> None:
    text = letter_text(handover(with_record=False), PIECES)
    assert (
        "The record was left out" in text and "rushlight verify" not in text and "render --from" not in text
    )


def test_nothing_hides_in_it() -> None:
    bad = handover(title="\x1b[2J\u202eevil", missing=[{"clip": "B\nC", "state": "failed"}])
    text = letter_text(bad, PIECES)
    assert "\x1b" not in text and "\u202e" not in text and "B\\nC" in text
    assert heading(bad).startswith("\x1b")  # it is the writing that shows it


def test_what_changed_for_one_reason_stands_together() -> None:
    (first, *_), clips = handover().plain()["files"], []  # type: ignore[misc]
    for number in range(8):
        clips.append(first | {"path": f"stills/{number}.tif", "since": "changed", "why": "another look"})
    clips.append(first | {"path": "e/A.mov", "since": "changed", "why": "other sound"})
    text = one_line(letter_text(handover(files=clips, after="editor_001"), PIECES))
    assert "stills/5.tif and 2 more: revision 2: another look e/A.mov: revision 2: other sound" in text


def test_what_the_records_warn_of_is_said_once() -> None:
    def piece(number: int, *warnings: str) -> Piece:
        record = read_record(recorded(f"C{number}", movie(), warnings=list(warnings)))
        return Piece(record=record, entry=record.outputs[0], since="first")

    pieces = [piece(n, "no reel is stated") for n in range(8)] + [
        piece(9, "delivered with 2 damaged frames: 01:00:00:03")
    ]
    text = letter_text(handover(), [*pieces, pieces[0]])
    part = one_line(text.split("NOTES ON CLIPS IN IT")[1].split("HOW TO CHECK")[0])
    assert part == (
        "C0, C1, C2, C3, C4, C5 and 2 more: no reel is stated C9: delivered with 2 damaged frames: 01:00:00:03"
    )
    assert "NOTES ON CLIPS" not in letter_text(handover(), PIECES)
