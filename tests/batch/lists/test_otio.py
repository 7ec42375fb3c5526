""".otio lists: written by opentimelineio itself, from an EDL and by hand; hostile documents."""

import json
import random
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.lists.edl import read_edl
from rushlight.batch.lists.otio import read_timeline
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import ListError

EDL = """TITLE: day
FCM: NON-DROP FRAME
001  A001 V     C        01:00:00:01 01:00:00:03 01:00:00:00 01:00:00:02
* FROM CLIP NAME: A001C001
* ASC_SOP (1.1 1.0 0.9) (0.01 0.0 -0.01) (1.0 1.02 1.0)
* ASC_SAT 0.9
"""
T = otio.opentime.RationalTime


def written(clip: otio.schema.Clip) -> str:
    timeline = otio.schema.Timeline()
    track = otio.schema.Track(kind="Video")
    track.append(clip)
    timeline.tracks.append(track)
    return str(otio.adapters.write_to_string(timeline, "otio_json"))


def clip_of(first: float, count: float, rate: float, start: float | None, url: str = "") -> otio.schema.Clip:
    known = None if start is None else otio.opentime.TimeRange(T(start, rate), T(100, rate))
    return otio.schema.Clip(
        name="A001C001",
        media_reference=otio.schema.ExternalReference(target_url=url, available_range=known),
        source_range=otio.opentime.TimeRange(T(first, rate), T(count, rate)),
    )


def test_an_edl_through_opentimelineio_says_the_same(tmp_path: Path) -> None:
    timeline = otio.adapters.read_from_string(EDL, "cmx_3600", rate=24)
    (row,) = read_timeline(otio.adapters.write_to_string(timeline, "otio_json"), file="day.otio").rows
    (same,) = read_edl(EDL, file="day.edl").rows
    assert (row.clip, row["in"], row["out"], row.grade) == (same.clip, same["in"], same["out"], same.grade)
    assert row.grade == CDL(
        slope=(1.1, 1.0, 0.9), offset=(0.01, 0.0, -0.01), power=(1.0, 1.02, 1.0), saturation=0.9
    )


def test_planned_from_its_file(tmp_path: Path) -> None:
    write_movie(tmp_path / "A001 C001.mov", [numbered(k) for k in range(6)])
    clip = clip_of(86402, 3, 24, 86400, "file:///Volumes/day/A001%20C001.mov")
    (tmp_path / "day.otio").write_text(written(clip))
    plan = prepare(Request(clip_list=tmp_path / "day.otio", media=(tmp_path,), encoding="LogC3")).plan
    (found,) = plan.clips
    assert (found.first, found.count, found.stem, str(found.timecode)) == (2, 3, "A001 C001", "01:00:00:02")


def test_what_is_not_known_is_a_problem_of_its_row() -> None:
    rate = 30000 / 1001
    (row,) = read_timeline(written(clip_of(1000, 10, rate, None))).rows
    assert row.problem and "drop-frame" in str(row.problem)
    (row,) = read_timeline(written(clip_of(1010, 10, rate, 1000))).rows
    assert not row.problem and (row["in"], row["out"]) == ("10", "20")
    clip = clip_of(0, 10, 24, 0)
    clip.effects.append(otio.schema.LinearTimeWarp(time_scalar=2.0))
    assert "effects" in str(read_timeline(written(clip)).rows[0].problem)
    clip = clip_of(0, 10, 24, 0)
    clip.metadata["cdl"] = {"asc_sop": {"slope": [1, 2], "offset": [0, 0, 0], "power": [1, 1, 1]}}
    assert "CDL" in str(read_timeline(written(clip)).rows[0].problem)


@pytest.mark.parametrize("text", ["", "{}", "[]", "[" * 100_000, '{"OTIO_SCHEMA": "Clip.2"}', "\0"])
def test_no_timeline(text: str) -> None:
    with pytest.raises(ListError):
        read_timeline(text, file="day.otio")


@given(st.text(max_size=300))
def test_junk_is_a_clear_error(text: str) -> None:
    with pytest.raises(ListError):
        read_timeline(text)


@given(st.data())
def test_a_damaged_document_is_rows_or_a_clear_error(data: st.DataObject) -> None:
    clip = clip_of(5, 10, 24, 0, "file:///x/A001C001.mov")
    clip.metadata["cdl"] = {
        "asc_sop": {"slope": [1, 1, 1], "offset": [0, 0, 0], "power": [1, 1, 1]},
        "asc_sat": 0.9,
    }
    text = written(clip)
    for _ in range(data.draw(st.integers(1, 3))):
        at, length = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 40))
        text = (
            text[:at]
            + data.draw(st.sampled_from(["", "null", "[]", "{}", "-1", "1e400", '"x"', ",", "NaN"]))
            + text[at + length :]
        )
    try:
        for row in read_timeline(text, file="x.otio").rows:
            assert row.clip
    except ListError as error:
        assert error.file == "x.otio"


@pytest.mark.parametrize("value", ["null", "[]", "{}", "-1", "1e400", '"x"', "true", "[[]]", "1e999999999"])
def test_any_one_value_replaced_is_rows_or_a_clear_error(value: str) -> None:
    clip = clip_of(5, 10, 24, 0, "file:///x/A001C001.mov")
    clip.metadata["cdl"] = {
        "asc_sop": {"slope": [1, 1, 1], "offset": [0, 0, 0], "power": [1, 1, 1]},
        "asc_sat": 0.9,
    }
    text = written(clip)
    for match in re.finditer(r'": ("[^"]*"|[-\d.]+|true|false|null)', text):
        changed = text[: match.start(1)] + value + text[match.end(1) :]
        try:
            read_timeline(changed, file="x.otio")
        except ListError as error:
            assert error.file == "x.otio"


# --- held to the library, on what it writes itself


def random_timeline(dice: random.Random) -> otio.schema.Timeline:
    """Tracks of both kinds with nested stacks, gaps, transitions, clips that are off, several references."""

    def span(rate: float) -> otio.opentime.TimeRange:
        return otio.opentime.TimeRange(T(dice.randrange(100, 500), rate), T(dice.randrange(1, 50), rate))

    def clip() -> otio.schema.Clip:
        rate = dice.choice([24.0, 25.0, 24000 / 1001])
        known = dice.choice([None, otio.opentime.TimeRange(T(dice.randrange(100), rate), T(9999, rate))])
        reference = otio.schema.ExternalReference(
            target_url=dice.choice(["", "file:///x/A%20001.mov", "C:\\x\\B001.mov"]), available_range=known
        )
        made = otio.schema.Clip(
            name=f"C{dice.randrange(999):03}", source_range=dice.choice([None, span(rate), span(rate)])
        )
        if dice.random() < 0.8:
            made.media_reference = reference
        if dice.random() < 0.2:
            made.set_media_references(
                {"DEFAULT_MEDIA": otio.schema.MissingReference(), "hi": reference}, "hi"
            )
        if dice.random() < 0.3:
            made.metadata["cdl"] = {"asc_sat": dice.choice([0.9, 1, "x"])}
        made.enabled = dice.random() < 0.8
        return made

    def fill(parent: Any, depth: int) -> None:
        for _ in range(dice.randrange(1, 4)):
            kind = dice.randrange(6)
            if kind == 0:
                parent.append(otio.schema.Gap(duration=T(10, 24)))
            elif kind == 1 and depth:
                inner = dice.choice([otio.schema.Stack, otio.schema.Track])(name="inner")
                fill(inner, depth - 1)
                parent.append(inner)
            else:
                parent.append(clip())

    timeline = otio.schema.Timeline()
    for _ in range(dice.randrange(1, 4)):
        track = otio.schema.Track(kind=dice.choice(["Video", "Video", "Audio"]))
        fill(track, 2)
        timeline.tracks.append(track)
    return timeline


def test_the_same_clips_ranges_and_grades_as_the_library_finds() -> None:
    dice = random.Random(20261127)
    seen = 0
    for _ in range(150):
        timeline = random_timeline(dice)
        text = otio.adapters.write_to_string(timeline, "otio_json")
        clips = [c for t in timeline.video_tracks() for c in t.find_clips() if c.enabled]
        if not clips:
            with pytest.raises(ListError):
                read_timeline(text)
            continue
        rows = read_timeline(text, file="day.otio").rows
        assert len(rows) == len(clips)
        for row, clip in zip(rows, clips, strict=True):
            seen += 1
            url = getattr(clip.media_reference, "target_url", "")
            assert row.clip == {"file:///x/A%20001.mov": "A 001.mov", "C:\\x\\B001.mov": "B001.mov"}.get(
                url, clip.name
            )
            known = getattr(clip.media_reference, "available_range", None)
            if clip.source_range and known and not row.problem:
                first = clip.source_range.start_time - known.start_time
                assert row["in"] == str(round(first.value_rescaled_to(known.start_time.rate)))
                end = clip.source_range.end_time_exclusive() - known.start_time
                assert row["out"] == str(round(end.value_rescaled_to(known.start_time.rate)))
            if not clip.source_range and not row.problem:
                assert "in" not in row.cells
            saturation = clip.metadata.get("cdl", {}).get("asc_sat")
            assert (row.grade.saturation if row.grade else "x") == (saturation or "x") or row.problem
    assert seen > 250


# --- documents that end the library's process, or would


def document(**given: Any) -> str:
    return json.dumps({"OTIO_SCHEMA": "Timeline.1", "name": "x"} | given)


def test_tracks_of_null_end_the_library_and_not_us() -> None:
    text = document(tracks=None)
    code = f"import opentimelineio as o; o.adapters.read_from_string({text!r}, 'otio_json').video_tracks()"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True).returncode < 0
    )  # the reason for all this
    with pytest.raises(ListError, match=r"day.otio: tracks: is null; a table is needed"):
        read_timeline(text, file="day.otio")


@pytest.mark.parametrize(
    ("tracks", "says"),
    [
        ([], "is empty; a table is needed"),
        ({}, "has no OTIO_SCHEMA"),
        ({"OTIO_SCHEMA": "Clip.2"}, "is no stack of tracks"),
        ({"OTIO_SCHEMA": 7}, "has no OTIO_SCHEMA"),
        ({"OTIO_SCHEMA": "Stack.1", "children": 5}, "tracks.children: is 5; a list is needed"),
        ({"OTIO_SCHEMA": "Stack.1", "children": [None]}, "tracks.children[0]: is null"),
        (
            {"OTIO_SCHEMA": "Stack.1", "children": [{"OTIO_SCHEMA": "SerializableObjectRef.1", "id": "t"}]},
            "nowhere",
        ),
    ],
)
def test_what_is_wrong_with_a_document_is_told_by_its_place(tracks: Any, says: str) -> None:
    with pytest.raises(ListError) as told:
        read_timeline(document(tracks=tracks), file="day.otio")
    assert says in str(told.value)


def test_a_track_that_holds_itself_and_one_stated_elsewhere() -> None:
    loop = {"OTIO_SCHEMA": "SerializableObjectRef.1", "id": "t"}
    clip = json.loads(written(clip_of(5, 10, 24, 0)))["tracks"]["children"][0]["children"][0]
    track = {"OTIO_SCHEMA": "Track.1", "OTIO_REF_ID": "t", "kind": "Video", "children": [clip, loop]}
    with pytest.raises(ListError, match="holds itself"):
        read_timeline(document(tracks={"OTIO_SCHEMA": "Stack.1", "children": [track]}))
    track["children"] = [clip]
    found = read_timeline(document(tracks={"OTIO_SCHEMA": "Stack.1", "children": [track, loop]}))
    assert len(found.rows) == 2  # the same twice over


def test_a_block_that_stands_twice_is_refused() -> None:
    text = written(clip_of(5, 10, 24, 0))
    at = text.index('"metadata"')
    doubled = text[:at] + text[at : text.index(",", at) + 1] + text[at:]
    with pytest.raises(ListError, match="states 'metadata' twice in one place"):
        read_timeline(doubled, file="day.otio")


@pytest.mark.parametrize(
    "value", ["NaN", "Infinity", "-Infinity", "1e400", "1e300", "0", "null", '"24"', "true", "{}"]
)
@pytest.mark.parametrize("key", ["rate", "value"])
def test_a_rate_or_value_that_is_no_number_is_its_clips_problem_by_name(key: str, value: str) -> None:
    good = written(clip_of(5, 10, 24, 0)).replace('"A001C001"', '"B002C002"')
    clip = json.dumps(json.loads(good)["tracks"]["children"][0]["children"][0])
    bad = clip.replace("B002C002", "A001C001")
    bad = re.sub(rf'("source_range".*?"start_time".*?"{key}": )[\d.]+', rf"\g<1>{value}", bad, count=1)
    text = good.replace('"children": [', f'"children": [{bad}, ', 2).replace(
        f'"children": [{bad}, ', '"children": [', 1
    )
    rows = read_timeline(text, file="day.otio").rows
    assert [row.clip for row in rows] == ["A001C001", "B002C002"] and not rows[1].problem
    if (key, value) != ("value", "0"):
        assert rows[0].problem and "A001C001" in str(rows[0].problem) and f".{key} is" in str(rows[0].problem)


def test_names_that_no_file_has() -> None:
    for name, says in (
        ("\ud800", "broken character"),
        ("a\0b", "names neither"),
        (None, "names neither"),
        (5, "text"),
    ):
        clip = json.loads(written(clip_of(5, 10, 24, 0)))
        clip["tracks"]["children"][0]["children"][0]["name"] = name
        (row,) = read_timeline(json.dumps(clip), file="day.otio").rows
        assert row.clip == "(clip 1)" and says in str(row.problem)
    (row,) = read_timeline(written(clip_of(5, 10, 24, 0, "file://[x"))).rows
    assert "no URL" in str(row.problem)


# --- a mutator of text


def mutants(seed: int, count: int) -> list[str]:
    """Documents changed by a piece cut, doubled, moved or replaced, up to four times over."""
    dice = random.Random(seed)
    seeds = [otio.adapters.write_to_string(random_timeline(dice), "otio_json") for _ in range(5)]
    values = [
        "null",
        "[]",
        "{}",
        "-1",
        "1e400",
        '"x"',
        ",",
        "NaN",
        "true",
        "[",
        "}",
        "\0",
        '"OTIO_REF_ID"',
        "1" * 5000,
    ]
    found = []
    for _ in range(count):
        text = dice.choice(seeds)
        for _ in range(dice.randrange(1, 5)):
            at, size = dice.randrange(len(text) or 1), dice.choice([0, 1, 5, 40, 400, 7000])
            piece = text[at : at + size]
            other = dice.randrange(len(text) or 1)
            text = {
                0: lambda t, a=at, s=size: t[:a] + dice.choice(values) + t[a + s :],
                1: lambda t, a=at, p=piece: t[:a] + p + t[a:],
                2: lambda t, a=at, s=size: t[:a] + t[a + s :],
                3: lambda t, o=other, p=piece: t[:o] + p + t[o:],
                4: lambda t, o=other: (
                    t[:o] + re.sub(r": [^\s,{\[]+", lambda _: f": {dice.choice(values)}", t[o:], count=1)
                ),
            }[dice.randrange(5)](text)
        found.append(text)
    return found


def held(texts: list[str]) -> None:
    for text in texts:
        try:
            for row in read_timeline(text, file="x.otio").rows:
                assert row.clip and (row.problem is None or str(row.problem))
        except ListError as error:
            assert error.file == "x.otio" and len(str(error)) < 500


def test_mutants_are_rows_or_a_clear_error() -> None:
    held(mutants(1, 300))


@pytest.mark.slow
def test_20_000_mutants_are_rows_or_a_clear_error() -> None:
    held(mutants(2, 20_000))
