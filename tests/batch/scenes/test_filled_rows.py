"""Empty cells filled, each with who says so: the row before all, tables before names, the matched take's sound last."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from rushlight.batch.lists.clip_list import ClipList, Row
from rushlight.batch.scenes.filled_rows import NAME, filled_from_sound, filled_list
from rushlight.batch.scenes.scene_tables import SceneTables, read_scene_tables
from rushlight.batch.sound.take_matching import Chosen


def listed(clip: str, **cells: str) -> ClipList:
    row = Row(file="day.toml", line=1, clip=clip, cells={"clip": clip, **cells})
    return ClipList(file="day.toml", rows=(row,), columns=("clip", *cells))


def table(place: Path, text: str) -> SceneTables:
    (place / "t.csv").write_text(text)
    return read_scene_tables([place / "t.csv"])


def test_a_row_is_never_overruled(tmp_path: Path) -> None:
    found = filled_list(listed("a.mov", scene="7"), table(tmp_path, "clip,scene,take\na,8,2\n"), names=True)
    (row,) = found.rows
    assert (row["scene"], row["take"]) == ("7", "2")
    assert row.filled == {"take": f"{tmp_path}/t.csv:2"}
    assert found.columns == ("clip", "scene", "take", "circled", "note")


def test_a_table_comes_before_the_name(tmp_path: Path) -> None:
    clips = listed("cards/sc12_tk3.mov")
    (row,) = filled_list(clips, SceneTables(), names=True).rows
    assert row.filled == {"scene": NAME, "take": NAME} and (row["scene"], row["take"]) == ("12", "3")
    (row,) = filled_list(clips, SceneTables(), names=False).rows
    assert row.filled == {}
    (row,) = filled_list(clips, table(tmp_path, "clip,scene\nsc12_tk3,14\n"), names=True).rows
    assert (row["scene"], row["take"]) == ("14", "")  # half of a name's statement would be another's take


def sound(**said: Any) -> Chosen:
    first = SimpleNamespace(**{"scene": "", "take": "", "note": "", "circled": False} | said)
    return Chosen(take=SimpleNamespace(first=first, name="T01.wav"), reason="timecode")  # type: ignore[arg-type]


def test_the_take_that_was_matched() -> None:
    (row,) = listed("a.mov").rows
    found = filled_from_sound(row, sound(scene="12A", take="3", circled=True, note="crow"))
    assert {c: found[c] for c in found.filled} == {
        "scene": "12A",
        "take": "3",
        "circled": "yes",
        "note": "crow",
    }
    assert set(found.filled.values()) == {"sound T01.wav"}
    assert filled_from_sound(row, None) is row and filled_from_sound(row, Chosen(reason="none")) is row
    assert filled_from_sound(row, sound()) is row


def test_a_take_of_another_scene_gives_no_number_to_this_one() -> None:
    (row,) = listed("a.mov", scene="12").rows
    assert filled_from_sound(row, sound(scene="014", take="3"))["take"] == ""
    assert filled_from_sound(row, sound(scene="012", take="3"))["take"] == "3"
    whole = replace(row, cells={**row.cells, "circled": "no", "note": "mine"})
    assert filled_from_sound(whole, sound(circled=True, note="theirs")) is whole
