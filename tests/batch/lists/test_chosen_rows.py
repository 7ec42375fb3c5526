"""Rows that `--only` takes, and rows of clips in several files."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.lists.chosen_rows import one_by_one, selected
from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.lists.find_media import MediaIndex
from rushlight.pipelines.errors import InputError


def test_only_takes_every_spelling_of_yes_and_repeats() -> None:
    found = read_csv("clip,Circled,scene\na,x,7\nb,yes,8\nc,no,7\nd,,7\n", file="d")
    assert [r.clip for r in selected(found, ["circled=yes"])] == ["a", "b"]
    assert [r.clip for r in selected(found, ["circled=yes", "SCENE=7"])] == ["a"]
    assert [r.clip for r in selected(found, ["circled="])] == ["d"]
    for wrong in ("circled", "take=1"):
        with pytest.raises(InputError, match=r"(it|the list) has clip, circled, scene"):
            selected(found, [wrong])


def test_a_clip_in_several_files_is_a_row_a_file(tmp_path: Path) -> None:
    for number in (1, 2):
        (tmp_path / f"GX_{number:02}.mp4").write_bytes(b"")
    rows = read_csv("clip,scene\nGX_##.mp4,7\nother.mov,8\n", file="d").rows
    found = list(one_by_one(rows, tmp_path, MediaIndex(())))
    assert [(r.clip, r["scene"]) for r in found] == [
        ("GX_01.mp4", "7"),
        ("GX_02.mp4", "7"),
        ("other.mov", "8"),
    ]
