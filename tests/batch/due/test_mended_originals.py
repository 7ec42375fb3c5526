"""Whether an original is another copy than its clip was made of, of what its record says and what is looked at."""

from __future__ import annotations

import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from recorded import movie, recorded
from rushlight.batch.due import mended_originals
from rushlight.batch.due.mended_originals import NOTHING, Mended, mended_since, spoilt_text
from rushlight.batch.records.job_record import JobRecord, read_record
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.originals.damaged_places import LookedAt

SOURCE = {"sampled": "ends"}


def record(*damaged: int, **source: Any) -> JobRecord:
    damage = [{"frame": frame, "timecode": f"01:00:00:{frame:02}"} for frame in damaged]
    return read_record(recorded("j", movie(path="e/a.mov"), damage=damage, source=SOURCE | source))


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What was asked for, and the frames that are found sound."""
    found: dict[str, Any] = {"asked": [], "sound": ()}

    def look(facts: Any, frames: Any, *, conform: bool) -> LookedAt:
        found["asked"].append(sorted(frames))
        if found.get("error"):
            raise found["error"]
        sound = frozenset(found["sound"]) & frozenset(frames)
        return LookedAt(sound=sound, damaged=frozenset(found.get("looked", frames)) - sound)

    monkeypatch.setattr(mended_originals, "look_again", look)
    return found


def since(found: JobRecord | None, sampled: str = "ends", frames: range = range(100)) -> Mended:
    facts: Any = Path("a.mov")
    return mended_since(found, sampled, facts, frames)


def test_only_what_is_damaged_on_record_is_looked_at(looks: dict[str, Any]) -> None:
    assert since(None) is NOTHING and since(record(5), "others") is NOTHING
    assert since(record()) == NOTHING == since(record(5), frames=range(6, 9))
    assert looks["asked"] == []
    assert since(record(5, 40), frames=range(10)) == NOTHING and looks["asked"] == [[5]]


def test_one_frame_that_is_read_is_enough(looks: dict[str, Any]) -> None:
    looks["sound"] = {5, 6, 9}
    found = since(record(5, 6, 9))
    assert found.runs == ((5, 6), (9, 9)) and found.text == "its damaged frames 5-6, 9 can be read now"
    assert found.identity("ends") == "ends+mended:[[5, 6], [9, 9]]" and NOTHING.identity("ends") == "ends"
    found = since(record(5, 7))
    assert found.runs == ((5, 5),)
    assert found.text == "its damaged frame 5 can be read now; 1 other still cannot"
    looks["looked"] = {5, 6, 9}
    found = since(record(*range(5, 95)))
    assert found.text == "3 frames of 3 that were looked at, of 90 damaged ones, can be read now"


def test_what_was_found_once_stays_part_of_the_original(looks: dict[str, Any]) -> None:
    assert since(record(mended=[[5, 6]])) == Mended(runs=((5, 6),)) and looks["asked"] == []
    looks["sound"] = {40}
    found = since(record(40, mended=[[5, 6]]))
    assert found.runs == ((5, 6), (40, 40)) and found.text


def test_runs_of_a_damaged_record_are_not_counted_out(looks: dict[str, Any]) -> None:
    looks["sound"] = {5}
    tracemalloc.start()
    try:
        found = since(record(5, mended=[[3_000_000, 2_000_000_000], [9, 3], [10, 3_000_000], [7, 8]]))
        assert tracemalloc.get_traced_memory()[1] < 1_000_000
    finally:
        tracemalloc.stop()
    assert found.runs == ((5, 5), (7, 8), (10, 2_000_000_000)) and found.text


def test_what_is_no_proof_is_not_asked_for_again(looks: dict[str, Any]) -> None:
    found = since(record(6, 40, mended=[[5, 6]]))
    assert found == Mended(runs=((5, 6),), by_hand=True) and looks["asked"] == []
    looks["error"] = SourceError("does not open", file="a.mov")
    assert since(record(5)) == NOTHING


def test_sentences_on_what_is_still_damaged() -> None:
    said = spoilt_text("A001", record(5), NOTHING)
    assert said == (
        "A001 was delivered with 1 damaged frame: 01:00:00:05. Once its original is copied again whole, give the same command:"
        " it is made again"
    )
    assert "move its files away (e/a.mov) and give" in spoilt_text("A001", record(5), Mended(by_hand=True))
    assert spoilt_text("A001", record(), NOTHING) == "" == spoilt_text("A001", None, NOTHING)
