"""What a file is against what was handed over: new, changed and why, renamed, unchanged; and what holds no more."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded, still
from rushlight.batch.handover.what_changed import Compared, compared, output_names
from rushlight.batch.job_log import latest
from rushlight.batch.records.handover import HandoverFile
from rushlight.batch.records.job_record import JobRecord, read_record


def hash_of(number: int) -> str:
    return f"xxh3_128:{number:032}"


def file(path: str, number: int, job: str = "A", **more: Any) -> dict[str, Any]:
    made = still if path.endswith(".tif") else movie
    return made(path=path, output=path.partition("/")[0], hash=hash_of(number), **more)


def clip(job: str, *files: dict[str, Any], **more: Any) -> JobRecord:
    return read_record(recorded(job, *files, **more))


def held(found: Compared) -> dict[str, HandoverFile]:
    """As if all of it had been handed over."""
    return {
        p.entry.path: HandoverFile(
            path=p.entry.path, output=p.entry.output, job=p.record.job, clip=p.record.clip, bytes=1, hash=p.entry.hash,
            revision=p.entry.revision, since=p.since, brought="copied",
        )
        for p in found.pieces
    }  # fmt: skip


def against(log: list[JobRecord], before: dict[str, HandoverFile] | None, *outputs: str) -> Compared:
    known = latest(log)
    return compared(known, log, outputs or output_names(known.values()), before)


def words(found: Compared) -> dict[str, tuple[str, str]]:
    return {p.entry.path: (p.since, p.why) for p in found.pieces}


FIRST = clip("A", file("e/A.mov", 1), file("v/A.mp4", 2))


def test_the_first() -> None:
    assert words(against([FIRST], None)) == {"e/A.mov": ("first", ""), "v/A.mp4": ("first", "")}


def test_each_kind() -> None:
    before = held(against([FIRST], None))
    why = {"output": "e", "path": "e/A.mov", "revision": 1, "kept": "", "why": "another look: warmer"}
    second = clip(
        "A", file("e/A.mov", 3, revision=2), file("v/other name.mp4", 2), replaced=[why], revision=2
    )
    found = against([FIRST, second, clip("B", file("e/B.mov", 9))], before)
    assert words(found) == {
        "e/A.mov": ("changed", "another look: warmer"),
        "v/other name.mp4": ("renamed", "was v/A.mp4"),
        "e/B.mov": ("new", ""),
    }
    assert [(g.path, g.why) for g in found.gone] == [("v/A.mp4", "it has another name now: v/other name.mp4")]
    assert len(found.to_bring(whole=False)) == 3


def test_two_revisions_since_are_both_told() -> None:
    def why(revision: int, text: str) -> dict[str, Any]:
        return {"output": "e", "path": "e/A.mov", "revision": revision, "kept": "", "why": text}

    before = held(against([FIRST], None))
    rest = file("v/A.mp4", 2)
    log = [FIRST, clip("A", file("e/A.mov", 3, revision=2), rest, replaced=[why(1, "another look")])]
    assert words(against([*log], before))["e/A.mov"] == ("changed", "another look")
    middle = held(against([*log], before))
    log.append(clip("A", file("e/A.mov", 4, revision=3), rest, replaced=[why(2, "other sound")]))
    assert words(against(log, before))["e/A.mov"] == ("changed", "another look; then other sound")
    assert words(against(log, middle))["e/A.mov"] == ("changed", "other sound")


def test_made_again_without_a_revision_is_said_so() -> None:
    found = against([FIRST, clip("A", file("e/A.mov", 5), file("v/A.mp4", 2))], held(against([FIRST], None)))
    assert words(found)["e/A.mov"] == ("changed", "made again; the record has no revision that says why")


def test_what_holds_no_more() -> None:
    before = held(against([FIRST, clip("B", file("e/B.mov", 4))], None))
    failed = read_record(
        recorded("B", status="failed", error="x") | {"outputs": [], "colour": {"digest": ""}}
    )
    found = against([clip("A", file("e/A 2.mov", 7)), failed], before, "e", "v")
    assert {g.path: g.why for g in found.gone} == {
        "e/A.mov": "in its place: e/A 2.mov",
        "v/A.mp4": "nothing makes it any more",
        "e/B.mov": "its clip failed",
    }


def test_an_output_that_was_not_chosen_is_not_gone() -> None:
    before = held(against([FIRST], None))
    assert against([FIRST], before, "e").gone == ()


STILLS = st.dictionaries(st.integers(0, 6), st.integers(1, 5), max_size=5)


@given(st.lists(STILLS, min_size=1, max_size=5), st.booleans())
def test_who_gets_every_delivery_has_what_there_is(states: list[dict[int, int]], whole: bool) -> None:
    """Whatever a folder has from one delivery to the next: taking in what is new and throwing away what is gone leaves
    exactly its files."""
    log: list[JobRecord] = []
    before: dict[str, HandoverFile] | None = None
    receiver: dict[str, str] = {}
    for state in states:
        files = [file(f"s/{name}.tif", number) for name, number in state.items()]
        log.append(clip("A", *files))
        found = against(log, before, "s")
        for gone in found.gone:
            receiver.pop(gone.path)
        receiver |= {p.entry.path: p.entry.hash for p in found.to_bring(whole=whole)}
        assert receiver == {entry["path"]: entry["hash"] for entry in files}
        before = held(found)
