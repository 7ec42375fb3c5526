"""The job record's shape: every wrong type and missing key is told by key; what is newer or not ours is kept."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logged import append_record
from recorded import movie, recorded, still
from rushlight.batch import job_log
from rushlight.batch.job_log import failure_record, latest, log_path, not_yet_record, read_log
from rushlight.batch.records.job_record import SCHEMA, is_newer, read_record
from rushlight.pipelines.errors import OptionError

TILES = [[[50.0, 1.5, None]] * 16] * 9
FULL = recorded(
    "A001-1",
    movie(),
    still(tiles=TILES),
    look={
        "digest": "sha256:0",
        "description": "LogC3 -> Rec.709",
        "grade": {"slope": [1, 1.0, 1], "offset": [0, 0, 0], "power": [1, 1, 1], "saturation": 1.05},
        "layers": [{"layer": "display", "name": "Rec.709 BT.1886"}],
    },
    colour={
        "digest": "rushlight-colour-1:0",
        "pictures": [{"digest": "d", "outputs": ["editorial"], "index": 0, "frames": "log/frames/A.jsonl"}],
        "patches": {"grey 18 %": {"lab": [50, 0, 0], "xyz": [0.18, 0.18, 0.18]}},
        "tiles": {"editorial": [{"frame": 24, "values": TILES}]},
        "sensitivity": {"saturation 0.05": 0.3},
        "faults": [{"outputs": ["editorial"], "frame": 24, "moved": {"saturation 0.05": TILES}}],
    },
    original={"black": [[0, 2]], "repeated": [], "held": [], "clipped": 0.01},
    counts={"over": 0, "under": 0, "pixels": 100},
    replaced=[
        {"output": "editorial", "path": "a", "revision": 1, "kept": "", "hash": "", "why": "another look"}
    ],
)
FREE = {"error", "finished"}  # texts that nobody computes with


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every value within, of a list its first."""
    if path:
        yield path
    inner = (
        value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else ()
    )
    for key, below in inner:
        yield from places(below, (*path, key))


def changed(path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    record = json.loads(json.dumps(FULL))
    here: Any = record
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = value
    return record


def test_a_whole_record_passes_and_what_is_not_ours_is_kept(tmp_path: Path) -> None:
    read_record(FULL)
    append_record(tmp_path, FULL | {"weather": {"rain": True}})
    assert read_log(tmp_path).records[0].plain()["weather"] == {"rain": True}
    read_record(failure_record("a", "a.mov", "failed", "does not open").plain())


def with_mood(value: Any) -> Any:
    """The same with a field of somebody else's in every object, but for maps by name and rows of text."""
    if isinstance(value, list):
        return [with_mood(each) for each in value]
    if not isinstance(value, dict):
        return value
    maps = {"patches", "tiles", "sensitivity", "moved", "row"}
    inner = {k: with_inner(v) if k in maps else with_mood(v) for k, v in value.items()}
    return {**inner, "mood": {"colour": "blue"}}


def with_inner(value: Any) -> Any:
    """A map by name: its values have the field, itself it has not."""
    if isinstance(value, list):
        return with_mood(value)
    return {k: with_mood(v) for k, v in value.items()} if isinstance(value, dict) else value


def test_what_is_not_ours_is_kept_wherever_it_stands(tmp_path: Path) -> None:
    """In every object within, through the model, the log and the log again."""
    strange = with_mood(FULL)
    assert json.dumps(strange).count('"mood"') > 10
    record = read_record(strange)
    assert record.plain() == strange
    job_log.append_record(tmp_path, record)
    job_log.append_record(tmp_path, read_log(tmp_path).records[0])
    assert [each.plain() for each in read_log(tmp_path).records] == [strange, strange]


ODD = ({"x": []}, [[[]]], "\udce9", -(10**30), True, 1e300)


@pytest.mark.parametrize("path", list(places(FULL)), ids=lambda p: ".".join(map(str, p)))
def test_any_wrong_type_is_told_by_its_key(path: tuple[Any, ...]) -> None:
    """Of the six values one at least is wrong everywhere but in what nobody reads; none is anything but told."""
    refused = 0
    for value in ODD:
        try:
            read_record(changed(path, value))
        except OptionError as error:
            refused += 1
            assert error.key and str(path[0]) in error.key and len(str(error)) < 400
    unread = {"container", "sound", "hash", "xyz"} & set(map(str, path[-1:])) or (
        path[0] == "row" and len(path) > 1
    )
    assert refused or unread, path


def test_a_clip_whose_name_is_not_utf_8_keeps_its_record(tmp_path: Path) -> None:
    append_record(tmp_path, recorded("Caf\udce9.mov"))
    assert [r.plain()["clip"] for r in read_log(tmp_path).records] == ["Caf\udce9.mov"]


def test_a_clip_that_is_not_made_yet_is_shown_as_one_that_failed_and_no_log_has_it(tmp_path: Path) -> None:
    shown, failed = not_yet_record("a", "a.mov").plain(), failure_record("a", "a.mov", "failed", "").plain()
    assert list(shown) == list(failed) and shown == failed | {
        "status": "not yet",
        "finished": shown["finished"],
    }
    with pytest.raises(OptionError, match="status"):
        read_record(shown)


def test_missing_keys_are_told() -> None:
    needed = {
        "job",
        "clip",
        "status",
        "frames",
        "first_frame",
        "source",
        "look",
        "outputs",
        "colour",
        "warnings",
    }
    for key in needed:
        record = {k: v for k, v in FULL.items() if k != key}
        with pytest.raises(OptionError) as told:
            read_record(record)
        assert key in str(told.value.key)
    entry = {k: v for k, v in movie().items() if k != "hash"}
    with pytest.raises(OptionError, match=r"outputs\[0\]\.hash: is damaged: is missing"):
        read_record(recorded("a", entry))
    with pytest.raises(OptionError, match=r"outputs\[0\]\.first_timecode"):
        read_record(recorded("a", movie(first_timecode="25:61:00:99")))


def test_another_schema_is_refused_and_a_newer_version_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    for schema in ("other", None, 7, "rushlight-job-x", "rushlight-job-0"):
        with pytest.raises(OptionError, match="schema"):
            read_record(FULL | {"schema": schema})
    newer = FULL | {"schema": "rushlight-job-2", "mood": "blue"}
    assert is_newer("rushlight-job-2") and not is_newer(SCHEMA)
    append_record(tmp_path, newer)
    log = read_log(tmp_path)
    assert (
        [record.plain() for record in log.records] == [newer]
        and not log.refused
        and "newer version (rushlight-job-2)" in log.notes[0]
    )
    with pytest.raises(OptionError, match="colour"):
        read_record({k: v for k, v in newer.items() if k != "colour"})


def test_a_line_that_a_later_record_stands_in_for_is_a_note(tmp_path: Path) -> None:
    append_record(tmp_path, recorded("a"))
    with log_path(tmp_path).open("ab") as stream:
        stream.write(
            b'{"schema":"rushlight-job-1","job":"b","clip":"b.mov","sta\n{"job":"a","clip":"a.mov"}\n'
        )
    append_record(tmp_path, recorded("b"))
    log = read_log(tmp_path)
    assert list(latest(log.records)) == ["a", "b"]
    assert [(each.clip, each.error.line) for each in log.refused] == [("a.mov", 3)]
    (note,) = log.notes
    assert ":2: is torn" in note and note.endswith("a later record of b.mov holds")


def test_a_torn_last_line_is_a_note_wherever_it_tears(tmp_path: Path) -> None:
    append_record(tmp_path, recorded("a"))
    append_record(tmp_path, FULL)
    whole = log_path(tmp_path).read_bytes()
    first = whole.index(b"\n") + 1
    for cut in range(first + 1, len(whole) - 1, (len(whole) - first) // 60):
        log_path(tmp_path).write_bytes(whole[:cut])
        log = read_log(tmp_path)
        assert [r.job for r in log.records] == ["a"] and not log.refused and len(log.notes) == 1
    log_path(tmp_path).write_bytes(whole[:-1])  # all but its end of line
    assert len(read_log(tmp_path).records) == 2


def test_damaged_frames_are_told_by_their_warning_or_by_the_record() -> None:
    damage = [{"frame": 3, "timecode": "01:00:00:03", "what": "does not decode"}, {"frame": 4}]
    said = "delivered with 2 damaged frames: 01:00:00:03, 01:00:00:04"
    for given, texts in (
        ({}, []),
        ({"warnings": ["odd", "was delivered with 2 damaged frames once"]}, []),
        ({"warnings": ["odd", said], "damage": damage}, [said]),
        ({"warnings": [said]}, [said]),
        ({"damage": damage}, ["delivered with 2 damaged frames: 01:00:00:03"]),
        ({"damage": damage[1:]}, ["delivered with 1 damaged frame"]),
    ):
        assert read_record(recorded("A001-1", movie(), **given)).damage_texts() == texts
