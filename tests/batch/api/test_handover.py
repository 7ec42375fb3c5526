"""`rushlight.handover`: a value a caller can trust."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import rushlight
from handed import deliver, delivered
from rushlight.batch.schemas import SCHEMAS


def test_the_result_and_its_document(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    found = rushlight.handover(out, name="editor", to=tmp_path / "to", outputs="viewing")
    assert (found.number, found.code, found.last, len(found.files)) == (1, 0, "", 2)
    assert found.folder == tmp_path.resolve() / "to" / "editor_001"
    assert found.letter and found.letter.is_file() and found.page and found.page.is_file()
    document = found.document()
    assert document["place"] == str(found.folder)
    SCHEMAS["rushlight-handover-1"].model().validate_python(document["handover"])  # type: ignore[attr-defined]
    again = rushlight.handover(out, name="editor", to=tmp_path / "to", outputs=["viewing"])
    assert again.folder is again.page is again.letter is None and again.code == 0
    assert again.document() == {
        "place": None,
        "handover": None,
        "last": "editor_001",
        "missing": [],
        "notes": again.document()["notes"],
    }
    assert rushlight.handover(out, name="editor", to=tmp_path / "to", all=True, copy=True).number == 2


def test_what_is_missing_is_a_code(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    (out / "viewing" / "A001C001.mp4").unlink()
    found = rushlight.handover(out, name="editor", to=tmp_path / "to")
    assert found.code == 1 and found.missing[0].state == "damaged"


def test_it_can_be_cancelled_and_leaves_nothing(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    cancel = rushlight.Cancel()
    with pytest.raises(rushlight.CancelledError, match="before the delivery was closed"):
        rushlight.handover(
            out,
            name="editor",
            to=tmp_path / "to",
            copy=True,
            cancel=cancel,
            on_progress=lambda progress: cancel.cancel(),
        )
    assert os.listdir(tmp_path / "to") == [] and not (out / ".work").exists()


def test_a_day_with_one_recipe_and_with_several(tmp_path: Path) -> None:
    day = tmp_path / "day.toml"
    day.write_text('out = "out"\nmedia = ["media"]\nrecipes = ["overnight"]\n')
    deliver(tmp_path / "out", "A", {"editorial/A.mov": b"a"})
    assert rushlight.handover(day, name="editor").folder == tmp_path.resolve() / "editor_001"
    day.write_text('out = "out"\nmedia = ["media"]\nrecipes = ["overnight", "editorial-prores"]\n')
    with pytest.raises(rushlight.InputError, match="hand over each by itself"):
        rushlight.handover(day, name="editor")


def test_what_was_handed_over_is_listed(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    assert rushlight.handovers(out) == ()
    made = rushlight.handover(out, name="editor", to=tmp_path / "to")
    assert rushlight.handovers(str(out)) == (made.handover,)
    with pytest.raises(rushlight.InputError, match="is not a folder"):
        rushlight.handovers(tmp_path / "none")
