"""What verify failed is handed over only with that said first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from handed import delivered
from recorded import movie, recorded
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.handover.measured import measured_note, measured_wrong
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.records.job_record import read_record
from rushlight.batch.records.verdicts import VERDICTS, Verdicts
from rushlight.batch.report.kept_results import keep_verdicts

MADE = "2026-11-27T01:00:00+00:00"


def verdicts(files: dict[str, str], *, job: str = "A", made: str = MADE) -> Verdicts:
    checks: dict[str, Any] = {
        path: {"hash": {"verdict": "pass", "text": ""}, "colour": {"verdict": word, "text": f"off in {path}"}}
        for path, word in files.items()
    }
    clip = {"clip": job, "job": job, "made": made, "verdict": "fail", "checks": {}, "files": checks}
    return Verdicts.read({"schema": VERDICTS, "measured": "2026-11-27T05:00:00+00:00", "clips": [clip]})


def pieces(*paths: str) -> list[Piece]:
    entries = [movie(path=path, output=path.partition("/")[0]) for path in paths]
    record = read_record(recorded("A", *entries, finished=MADE))
    return [Piece(record=record, entry=entry, since="first") for entry in record.outputs]


def test_what_failed_is_told_by_file() -> None:
    both = pieces("e/A.mov", "v/A.mp4")
    found = verdicts({"e/A.mov": "fail", "v/A.mp4": "warn"})
    (wrong,) = measured_wrong(both, found)
    assert (wrong.clip, wrong.state) == (
        "e/A.mov",
        "measured wrong",
    ) and "colour: off in e/A.mov" in wrong.text
    assert measured_note(both, found) == (
        "of its 2 files, 2 were measured since they were made (`rushlight verify`), last at 2026-11-27 05:00 UTC, and 1 failed"
    )
    assert measured_wrong(pieces("v/A.mp4"), found) == []


def test_what_was_made_anew_since_was_not_measured() -> None:
    old = verdicts({"e/A.mov": "fail"}, made="2026-11-26T01:00:00+00:00")
    for found in (None, old, verdicts({"e/A.mov": "fail"}, job="B")):
        assert measured_wrong(pieces("e/A.mov"), found) == []
        assert "were not measured" in measured_note(pieces("e/A.mov"), found)


def test_in_a_delivery(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    keep_verdicts(verdicts({"editorial/A001C001.mov": "fail"}, job="A001C001"), out)
    closed = hand_over(Asked(out=out, name="editor"))
    assert [m.state for m in closed.missing] == ["measured wrong"] and closed.folder
    assert (closed.folder / "editorial/A001C001.mov").is_file()
    letter = (closed.folder / "letter.txt").read_text()
    assert letter.index("measured wrong") < letter.index("WHAT IS IN IT")
    assert not (closed.folder / "log/verify.json").exists()
