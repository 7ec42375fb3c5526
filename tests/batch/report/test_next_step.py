"""The usual next step by kind of problem; none where a sentence has its own, or is of no known kind."""

from __future__ import annotations

import pytest

from rushlight.batch.check.clip_originals import refusal
from rushlight.batch.records.original import ManifestCheck
from rushlight.batch.report.next_step import MEASURED, next_step


@pytest.mark.parametrize(
    ("problem", "says"),
    [
        ("failed: /out/a.mov: no space left on the disk", "Make room on that disk"),
        ("failed: /out/a.mov: the disk is read-only", "See to that disk"),
        ("failed: /out/a.mov: out of memory", "fewer --workers"),
        ("set aside: 3 workers died on it", "fewer --workers"),
        ("failed: /media/a.mov: was cut short: it ends within a frame", "copy it again where it differs"),
        ("failed: /media/a.mov: does not open as a movie: Invalid data", "Play the original elsewhere"),
        ("not readable: states no frame rate", "Play the original elsewhere"),
        ("failed: /media/a.mov: none of its pictures decodes: frame 0", "Play the original elsewhere"),
        ("set aside: day.csv:3: clip: A1: there is no such original; looked in /media", "Bring its card"),
        ("named by a manifest of the offload, and not there", "Bring its card"),
        (
            "set aside: day.csv:4: grade: has no grade, and the recipe refuses ungraded clips: none fits",
            "its grade",
        ),
        ("set aside: day.csv:5: slope: '1 1' has 2 numbers", "Mend that line of the list"),
        (
            "set aside: day.csv:5: look: 'Warm' is none of 3",
            "Mend that line of the list",
        ),  # no verb: a column
        ("failed: /media/a.mov: Permission denied", "permissions"),
        ("failed: /out/a.mov: was made, but has 3 frames", "makes it anew"),
        ("failed: /out/a.tif: does not open again: bad header", "makes it anew"),
        (f"{MEASURED}hash: editorial/a.mov: the file's bytes have changed", "Hand nothing of this clip on"),
        (f"{MEASURED}frames: editorial/a.mov: is not there", "makes the file anew"),
        ("the decoder reports 3 errors", "Look at these frames"),
        ("not made yet", "it goes on where it was"),
        (
            "stands in a.csv and b.csv with another range and grade in each; what b.csv says is used, since it was read last",
            "make the rows alike",
        ),
        (
            "stands in a.csv and b.csv, with its original in another folder for each; that of b.csv is used",
            "make the rows alike",
        ),
        ("failed: a fault of rushlight's own while it was planned: KeyError: 1", "CONTRIBUTING.md"),
    ],
)
def test_each_kind_has_its_step(problem: str, says: str) -> None:
    step = next_step(problem)
    assert says in step and not step.endswith(".")


@pytest.mark.parametrize(
    "problem",
    [
        "failed: /media/a.mov: has changed since it was planned; run again",
        "not readable: is camera raw, give a transcode: our libraries do not open it",
        "set aside: day.csv:5: clip: 'A1' is the name of 2 originals; write more of its path",
        "set aside: day.csv:2: timecode: '1' is not a timecode; write hh:mm:ss:ff, or hh:mm:ss;ff for drop-frame",
        "set aside: day.csv:2: encoding: is not stated; a column `encoding` or --encoding says it",
        'set aside: a.mov: is interlaced; the recipe refuses it (interlaced = "as it is" takes it)',
        "set aside: day.csv:4: slope: takes three numbers, such as 1.1 1 0.95; found '1 1'",
        "set aside: day.csv:7: both numbers and a file; remove one of them",
        f"{MEASURED}record: nothing can be measured. Render it again, or put the log back from a copy",
        "failed: something that nobody has thought of",
    ],
)
def test_a_sentence_that_says_what_would_do_is_left_alone(problem: str) -> None:
    assert next_step(problem) == ""


def test_an_original_that_is_not_as_its_manifest_has_it_says_itself() -> None:
    assert (
        next_step(f"set aside: {refusal(ManifestCheck(verdict='differs', text='2 bytes'), '/media/a.mov')}")
        == ""
    )
