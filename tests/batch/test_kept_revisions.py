"""Places under revisions/: each file is found where it is kept, and none ever takes another's place."""

from __future__ import annotations

import os
from pathlib import Path

from recorded import movie
from rushlight.batch.kept_revisions import free_place, kept_place, linked_place, places_of
from rushlight.batch.records.files import DeliveredMovie

NAME = "a/x.mov"


def put(out: Path, place: str, text: str) -> DeliveredMovie:
    """A file, and the entry of one that was delivered with those bytes."""
    (out / place).parent.mkdir(parents=True, exist_ok=True)
    (out / place).write_text(text)
    info = (out / place).stat()
    told = {"bytes": info.st_size, "mtime_ns": info.st_mtime_ns}
    return DeliveredMovie.read(movie(output="a", path=NAME, identity=text) | told)


def test_a_number_that_is_taken_is_passed_over(tmp_path: Path) -> None:
    assert list(places_of(tmp_path, NAME)) == [] and free_place(tmp_path, NAME, 1) == f"revisions/1/{NAME}"
    put(tmp_path, f"revisions/1/{NAME}", "one")
    put(tmp_path, f"revisions/3/{NAME}", "three!")
    (tmp_path / "revisions/notes").mkdir()
    assert list(places_of(tmp_path, NAME)) == [(1, f"revisions/1/{NAME}"), (3, f"revisions/3/{NAME}")]
    assert [free_place(tmp_path, NAME, n).split("/")[1] for n in (1, 2, 3)] == ["2", "2", "4"]
    (tmp_path / "revisions/2").symlink_to(tmp_path / "elsewhere")
    (tmp_path / f"revisions/4/{NAME}").parent.mkdir(parents=True)
    (tmp_path / f"revisions/4/{NAME}").symlink_to("nowhere")  # a link has its name too
    assert free_place(tmp_path, NAME, 3) == f"revisions/5/{NAME}"


def test_a_file_is_found_by_what_its_record_has_and_by_its_other_name(tmp_path: Path) -> None:
    put(tmp_path, f"revisions/1/{NAME}", "somebody else's")
    old = put(tmp_path, NAME, "old")
    assert kept_place(tmp_path, old) == linked_place(tmp_path, NAME) == ""
    (tmp_path / "revisions/2/a").mkdir(parents=True)
    os.link(tmp_path / NAME, tmp_path / f"revisions/2/{NAME}")
    assert kept_place(tmp_path, old) == linked_place(tmp_path, NAME) == f"revisions/2/{NAME}"
    assert kept_place(tmp_path, old.model_copy(update={"revision": 3})) == ""  # none is kept before its own
    (tmp_path / NAME).unlink()
    assert kept_place(tmp_path, old) == f"revisions/2/{NAME}" and linked_place(tmp_path, NAME) == ""
