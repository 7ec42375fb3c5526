"""What a delivery lacks, in the order in which it matters."""

from __future__ import annotations

from typing import Any

from recorded import movie, recorded
from rushlight.batch.handover.what_is_missing import lacking, sayings
from rushlight.batch.job_log import Refused, failure_record, latest
from rushlight.batch.plan.reconcile_media import Walk
from rushlight.batch.plan.request_ledger import Asked, Asking, day_of
from rushlight.batch.records.job_record import JobRecord, read_record
from rushlight.pipelines.errors import OptionError


def done(job: str, *outputs: str, **more: Any) -> JobRecord:
    return read_record(recorded(job, *(movie(path=f"{o}/{job}.mov", output=o) for o in outputs), **more))


def found(
    records: list[JobRecord], *, outputs: tuple[str, ...] = ("e", "v"), **asked: bool
) -> list[tuple[str, str, str]]:
    """What is missing of a day whose list asks for these jobs too (True: dropped)."""
    rows = tuple(
        Asked(job=job, clip=job, line=n, asks="x", dropped=gone)
        for n, (job, gone) in enumerate(asked.items())
    )
    known = latest(records)
    day = day_of([Asking(list="/day.csv", recipe="r", rows=rows)], known)
    return [(each.clip, each.state, each.text) for each in lacking(day, known, (), outputs)]


def test_nothing() -> None:
    assert found([done("A", "e", "v")], A=False) == []


def test_every_state() -> None:
    records = [
        done("A", "e", "v"),
        done("B", "e"),
        done("C", "e", "v", error="viewing: the disk is read-only"),
        failure_record("D", "D", "failed", "does not decode"),
        failure_record("E", "E", "set aside", "no encoding"),
        read_record(recorded("F", movie(path="e/F.mov", output="e"), status="failed", error="does not open")),
    ]
    assert found(records, A=False, Z=False, Y=True) == [
        ("C", "failed", "viewing: the disk is read-only"),
        ("D", "failed", "does not decode"),
        ("F", "failed", "does not open; what is here of it was delivered before that"),
        ("E", "set aside", "no encoding"),
        ("Z", "not made yet", ""),
        ("B", "no file", "it has no file of v, of which other clips have one"),
        ("Y", "dropped", "taken out of the queue by hand"),
    ]


def test_a_part_of_a_clip_has_what_was_asked_for() -> None:
    part = done("A-part", "v", excerpt="01:00:00:00-01:00:00:12")
    assert found([done("A", "e"), done("B", "e"), part], A=False) == []


def test_an_output_of_another_recipe_is_not_missed() -> None:
    other = {"recipe": {"name": "other", "digest": "sha256:1"}}
    assert found([done("A", "e"), done("B", "v", **other)]) == []


def test_a_range_or_a_still_of_a_clip_lacks_nothing() -> None:
    """And the others do not lack what was made of it alone."""
    part = done("A 10.00.00.00", "v", "stills", excerpt="10:00:00:00")
    assert found([done("A", "e", "v"), part], outputs=("e", "v", "stills")) == []


def test_an_output_that_is_not_chosen_is_not_missed() -> None:
    assert found([done("A", "e", "v"), done("B", "e")], outputs=("e",)) == []


def test_a_line_that_does_not_read() -> None:
    refused = Refused(error=OptionError("is torn", file="jobs.jsonl", line=3), clip="A", job="A")
    (one,) = lacking(day_of([], {}), {}, [refused], ("e",))
    assert (one.clip, one.state) == ("A", "no record") and "jobs.jsonl:3" in one.text


def test_originals_that_are_in_no_list_or_do_not_read_are_named() -> None:
    walk = Walk(
        folders=("/card",),
        originals=(
            *((f"/card/A{n}.mov", f"A{n}", "") for n in range(8)),
            ("/card/A8.mov", "A8", "does not open"),
        ),
    )
    asking = Asking(list="/day.csv", recipe="r", rows=(), walk=walk)
    assert sayings(day_of([asking], {})) == [
        "8 originals of the media stand in no list, so that nothing was made of them: A0.mov, A1.mov, A2.mov, A3.mov, A4.mov,"
        " A5.mov and 2 more",
        "1 original of the media could not be read: A8.mov",
    ]


def test_ungraded_clips_are_said() -> None:
    known = latest([done("A", "e")])
    assert sayings(day_of([], known)) == [
        "1 clip of the whole day delivered without a colour decision, through the show transform alone"
    ]
