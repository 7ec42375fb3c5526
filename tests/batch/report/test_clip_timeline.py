"""The clip timeline, read by OpenTimelineIO itself and by our own reader of lists."""

import json
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recorded import movie, recorded
from rushlight.batch.lists.otio import read_timeline
from rushlight.batch.records.job_record import read_record
from rushlight.batch.report.clip_table import clips_by_folder
from rushlight.batch.report.clip_timeline import clips_otio
from rushlight.pipelines.outputs.mxf_packages import umids_of
from rushlight.pipelines.visible_text import visible


def text(*outputs: dict[str, Any], **more: Any) -> str:
    return clips_otio(
        "editorial", clips_by_folder([read_record(recorded("a-1", *outputs, **more))])["editorial"]
    )


def read(document: str) -> Any:
    """Clips as the library has them, and the document as it writes it again."""
    timeline = otio.adapters.read_from_string(document, "otio_json")
    again = otio.adapters.read_from_string(otio.adapters.write_to_string(timeline, "otio_json"), "otio_json")
    assert again.is_equivalent_to(timeline)
    return list(timeline.find_clips())


def test_a_clip_has_its_media_its_range_and_its_colour() -> None:
    umid = umids_of("a", "").material
    picture = {"digest": "rushlight-picture-1:ab", "outputs": ["editorial"]}
    document = text(
        movie(
            path="editorial/A001/A001C003.mxf",
            clip_name="A001C003",
            umid=umid,
            frames=50,
            card=2,
            first_timecode="09:59:59:22",
        ),
        row={"scene": "12A", "take": "3"},
        look={"digest": "sha256:1", "description": "LogC3, CDL", "layers": [], "grade": None},
        colour={"digest": "d", "pictures": [picture], "tiles": {}, "sensitivity": {}},
    )
    (clip,) = read(document)
    media = clip.media_reference
    assert isinstance(media, otio.schema.ExternalReference)
    assert (clip.name, media.target_url) == ("A001C003", "A001/A001C003.mxf")
    assert (
        media.available_range.start_time.to_timecode() == "09:59:59:22"
        and media.available_range.duration.value == 50
    )
    assert (
        clip.source_range.start_time.to_timecode() == "10:00:00:00" and clip.source_range.duration.value == 48
    )
    told = clip.metadata["rushlight"]
    assert told["colour_digest"] == "rushlight-picture-1:ab" and told["display"] == "Rec.709 BT.1886"
    assert dict(told["look"]) == {"digest": "sha256:1", "description": "LogC3, CDL"}
    assert (told["reel"], told["scene"], told["umid"], told["state"]) == ("A001", "12A", umid, "graded")
    assert "cdl" not in clip.metadata, "a grade that is in the pictures must not be put on them again"


@pytest.mark.parametrize(
    ("rate", "timecode"),
    [
        ("23.976", "10:00:00:00"),
        ("29.97", "10:00:00;00"),
        ("29.97", "10:00:00:00"),
        ("25", "00:00:00:00"),
        ("59.94", "01:02:00;04"),
    ],
)
def test_timecode_and_rate_are_the_files_own(rate: str, timecode: str) -> None:
    (clip,) = read(text(movie(rate=rate, first_timecode=timecode), rate=rate, first_timecode=timecode))
    start = clip.media_reference.available_range.start_time
    assert start.to_timecode(start.rate, ";" in timecode) == timecode
    assert (
        clip.source_range == clip.media_reference.available_range
        and clip.metadata["rushlight"]["start"] == timecode
    )


def test_a_row_with_in_and_out_is_a_subclip() -> None:
    (clip,) = read(text(movie(), row={"in": "01:00:00:12", "out": "01:00:01:12"}))
    assert (
        clip.source_range.start_time.to_timecode() == "01:00:00:12" and clip.source_range.duration.value == 24
    )
    assert clip.media_reference.available_range.duration.value == 48


def test_names_are_written_as_urls_and_found_again(tmp_path: Path) -> None:
    for name in ("two words.mov", "50%.mov", "täke#1?.mov"):
        (clip,) = read(text(movie(path=f"editorial/{name}")))
        assert otio.url_utils.filepath_from_url(clip.media_reference.target_url) == name


def test_clips_stand_one_after_another_in_one_track() -> None:
    found = clips_by_folder(
        [
            read_record(recorded(f"{n}", movie(path=f"editorial/{n}.mov", first_timecode=f"0{n}:00:00:00")))
            for n in (3, 1, 2)
        ]
    )
    timeline = otio.adapters.read_from_string(clips_otio("editorial", found["editorial"]), "otio_json")
    assert [c.name for c in timeline.video_tracks()[0]] == ["1", "2", "3"] and len(timeline.tracks) == 1
    assert timeline.duration().value == 3 * 48


def test_our_own_reader_takes_it_as_a_list() -> None:
    rows = read_timeline(
        text(movie(card=5, frames=53, first_timecode="00:59:59:19"), row={"in": "12", "out": "36"})
    ).rows
    assert [(r.clip, r.cells["in"], r.cells["out"], r.problem) for r in rows] == [
        ("A001C001.mov", "17", "41", None)
    ]


@settings(deadline=None)
@given(st.dictionaries(st.sampled_from(["scene", "take", "note"]), st.text(st.characters(), max_size=20)))
def test_whatever_a_row_says_the_library_reads_it(row: dict[str, str]) -> None:
    document = text(movie(), row={**row, "day": "\udc80"}).encode().decode()
    (clip,) = read(document)
    told = json.loads(document)["tracks"]["children"][0]["children"][0]["metadata"]["rushlight"]
    assert {key: told.get(key, "") for key in row} == {k: visible(v, lines=True) for k, v in row.items()}
    assert clip.metadata["rushlight"]["reel"] == "A001"
