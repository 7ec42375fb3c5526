"""Two renders compared from their logs; reference frames found by their names."""

import copy
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from logged import append_record
from recorded import movie, recorded, still
from rushlight.batch.api.verify import VerifyResult
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.verdicts import ReferenceVerdict, Verdicts
from rushlight.batch.schemas import SCHEMAS, json_schema
from rushlight.batch.verify import compare as compare_module
from rushlight.batch.verify.compare import against_references, compare, reference_frames
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.measure.look_patches import patches

LOOK = Look(
    encoding=find_encoding("LogC3"),
    display=find_display("Rec.709 BT.1886"),
    cdl=CDL(slope=(1.04, 1.0, 0.96), saturation=1.05),
)
TILES = np.random.default_rng(0).uniform(20, 60, (9, 16, 3)).round(3).tolist()


def record(clip: str, look: Look = LOOK, **given: Any) -> dict[str, Any]:
    entry = still(output="editorial", **given) if given.get("kind") == "still" else movie(**given)
    colour = {
        "digest": "",
        "patches": patches(look),
        "pictures": [{"outputs": ["editorial"], "digest": "rushlight-frames-1:1"}],
        "tiles": {"editorial": [{"frame": 0, "values": TILES}]},
        "sensitivity": {},
    }
    return recorded(clip, entry, look={"digest": look.digest(), "description": ""}, colour=colour)


def folder(path: Path, *records: dict[str, Any]) -> Path:
    path.mkdir()
    for each in records:
        append_record(path, each)
    return path


def test_a_slope_of_a_twothousandth_differs_and_the_same_look_does_not(tmp_path: Path) -> None:
    assert LOOK.cdl is not None
    moved = replace(LOOK, cdl=replace(LOOK.cdl, slope=(1.0405, 1.0, 0.96)))
    here = folder(tmp_path / "here", record("a.mov"), record("b.mov"), record("c.mov"))
    there = folder(tmp_path / "there", record("a.mov"), record("b.mov", moved), record("d.mov"))
    rows = {r.clip: r for r in compare(here, there)}
    assert rows["a.mov"].verdict == "same colour" and rows["a.mov"].patches.worst == 0
    assert rows["a.mov"].same_look and rows["a.mov"].same_frames and rows["a.mov"].differences == []
    assert rows["b.mov"].verdict == "colour differs" and not rows["b.mov"].same_look
    assert 0.01 < rows["b.mov"].patches.worst < 0.2
    assert rows["c.mov"].verdict == "only here" and rows["d.mov"].verdict == "only there"
    assert [r.clip for r in compare(here, there)][-1] == "a.mov"  # the largest first


def test_tiles_decide_where_looks_say_the_same(tmp_path: Path) -> None:
    other = copy.deepcopy(record("a.mov", width=1280, height=720, codec="h264"))
    other["colour"]["tiles"]["editorial"][0]["values"] = np.add(TILES, [1, 2, 0]).tolist()
    (row,) = compare(folder(tmp_path / "1", record("a.mov")), folder(tmp_path / "2", other))
    assert row.verdict == "colour differs" and row.tiles.mean > 0.3 and row.patches.worst == 0
    assert row.differences == [
        "editorial is 1920x1080 dnxhr-lb, 48 frames here and 1280x720 h264, 48 frames there"
    ]


def test_stills_serve_where_there_is_no_movie(tmp_path: Path) -> None:
    bare = record("a.mov", kind="still", still_kind="tiff16", frame=0, tiles=TILES)
    bare["colour"]["tiles"], bare["colour"]["pictures"] = {}, []
    (row,) = compare(folder(tmp_path / "1", record("a.mov")), folder(tmp_path / "2", bare))
    assert row.tiles.worst == 0 and row.same_frames is None
    assert row.differences == ["editorial is only here"]


@pytest.mark.parametrize(
    ("name", "clip", "digits"),
    [
        ("A001C003_10.05.59.12.jpg", "A001C003", "10055912"),
        ("A001_C003 10055912.TIFF", "A001_C003", "10055912"),
        ("A001-10:05:59;12.png", "A001", "10055912"),
        ("A001C003.jpg", "", ""),
        ("A001C003_10.05.59.12.txt", None, ""),
        (".A001C003_10.05.59.12.jpg", None, ""),
    ],
)
def test_reference_frames_by_name(name: str, clip: str | None, digits: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(b"")
    found = [(stem, number) for _, stem, number in reference_frames(tmp_path)]
    assert found == ([(clip, digits)] if clip is not None else [])


def test_what_verify_prints_of_both_is_of_the_published_schema(tmp_path: Path) -> None:
    """Clips alone and compared, frames compared and not: each has its model, and the document reads back as it is."""
    here = folder(tmp_path / "here", record("a.mov"), record("b.mov"))
    there = folder(tmp_path / "there", record("a.mov"), record("d.mov"))
    frames = tmp_path / "frames"
    frames.mkdir()
    for name in ("a_10.05.59.12.jpg", "gone_01.00.00.00.jpg", "plain.png"):
        (frames / name).write_bytes(b"no picture")
    rows = against_references(here, frames)
    assert {row.verdict for row in rows} == {"not compared"} and all(row.text for row in rows)
    rows.append(rows[0].model_copy(update={"verdict": "differs", "mean": 2.5, "worst": 9.0}))
    result = VerifyResult(
        measured="2026-11-27T04:10:00+00:00",
        clips=(),
        notes=("a note",),
        against=tuple(compare(here, there)),
        references=tuple(rows),
    )
    document = json.loads(json.dumps(result.document()))
    schema = json_schema(SCHEMAS["rushlight-verify-1"])
    Draft202012Validator(schema).validate(document)
    assert Verdicts.read(document).plain() == document
    verdicts = {row["clip"]: row["verdict"] for row in document["against"]}
    assert verdicts == {"a.mov": "same colour", "b.mov": "only here", "d.mov": "only there"}
    for wrong in ({"verdict": "fine"}, {"differences": "none"}, {"patches": 1}):
        damaged = {**document, "against": [{**document["against"][0], **wrong}]}
        assert not Draft202012Validator(schema).is_valid(damaged)
        with pytest.raises(OptionError, match="against"):
            Verdicts.read(damaged)


def test_a_reference_is_of_the_clip_of_its_name_that_has_its_timecode(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of one name: a whole clip, an excerpt of it, a clip of another camera with other timecode, and one with the same as that."""
    whole, part = record("a", path="e/A/c.mov"), record("a-24", path="e/A/c-24.mov", frames=12)
    part |= {"source": whole["source"], "clip": "A/c.mov 24-36"}
    other = record("b", path="e/B/c.mov", first_timecode="02:00:00:00")
    here = folder(tmp_path / "here", whole, other, part)
    seen: list[str] = []

    def against(folder: Path, path: Path, clip: str, digits: str, entry: DeliveredMovie) -> ReferenceVerdict:
        seen.append(entry.path)
        return compare_module._untold(path, clip, "")

    monkeypatch.setattr(compare_module, "_against", against)
    frames = tmp_path / "frames"
    frames.mkdir()
    for digits in ("01000012", "02000012", "03000000"):
        (frames / f"c_{digits}.jpg").write_bytes(b"")
    against_references(here, frames)
    assert seen == ["e/A/c.mov", "e/B/c.mov", "e/A/c.mov"]
    append_record(here, record("d", path="e/D/c.mov", first_timecode="02:00:00:00"))
    texts = [row.text for row in against_references(here, frames)]
    assert texts == ["", "2 clips of this name have that timecode: /media/b, /media/d", ""]


def with_look(each: dict[str, Any], look: Look, name: str = "producer") -> dict[str, Any]:
    """The record with another output, of another look."""
    said = {
        "digest": look.digest(),
        "description": "",
        "display": look.display.name,
        "patches": patches(look),
    }
    return each | {
        "looks": {name: said},
        "outputs": [*each["outputs"], movie(output="copy", look=name, path="copy/A001C001.mov")],
    }


def test_other_looks_are_compared_each_with_its_own(tmp_path: Path) -> None:
    assert LOOK.cdl is not None
    warm = replace(LOOK, cdl=replace(LOOK.cdl, slope=(1.2, 1.0, 0.8)))
    here = folder(tmp_path / "here", *(with_look(record(clip), warm) for clip in ("a.mov", "b.mov", "c.mov")))
    other, renamed = with_look(record("b.mov"), LOOK), with_look(record("c.mov"), warm, "P3")
    rows = {
        r.clip: r
        for r in compare(here, folder(tmp_path / "there", with_look(record("a.mov"), warm), other, renamed))
    }
    assert rows["a.mov"].same_look and rows["a.mov"].verdict == "same colour"
    assert rows["b.mov"].verdict == "colour differs" and not rows["b.mov"].same_look
    assert rows["c.mov"].verdict == "same colour" and not rows["c.mov"].same_look
    assert rows["c.mov"].differences == ["look 'producer' is only here", "look 'P3' is only there"]


def test_tiles_are_compared_of_one_look_only(tmp_path: Path) -> None:
    """The first graded movie of each is of another look: what both have of the recipe's is compared."""
    one, two = with_look(record("a.mov"), LOOK), with_look(record("a.mov"), LOOK)
    for each, tiles in ((one, TILES), (two, np.add(TILES, 5).tolist())):
        each["colour"]["tiles"]["copy"] = [{"frame": 0, "values": tiles}]
        each["outputs"].reverse()
    (row,) = compare(folder(tmp_path / "1", one), folder(tmp_path / "2", two))
    assert row.tiles is not None and row.tiles.worst == 0
