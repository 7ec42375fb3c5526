"""Names, numbers and the folder that grows: nobody's is taken, what a kill left goes, what is not ours stays."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from rushlight.batch.handover import place as module
from rushlight.batch.handover.place import PART, checked_name, checked_place, close, deliveries_in, opened
from rushlight.pipelines.errors import DeliveryError, OptionError


def test_names() -> None:
    for name in ("editor", "the producer", "Schnitt Österreich", "x" * 100):
        assert checked_name(name) == name
    assert checked_name("O\u0308sterreich") == "\u00d6sterreich"
    with pytest.raises(OptionError, match="'a_b' would do"):
        checked_name("a:b")


def test_numbers_are_those_of_the_name_alone(tmp_path: Path) -> None:
    for name in (
        "editor_001",
        "Editor_007",
        "editor_12",
        "editor",
        "editor_x_009",
        "producer_030",
        "xeditor_040",
    ):
        (tmp_path / name).mkdir()
    assert sorted(deliveries_in(tmp_path, "editor")) == [1, 7]
    assert deliveries_in(tmp_path / "none", "editor") == {}
    with opened(tmp_path, "editor", 3) as opening:
        assert opening.number == 8 and opening.folder == tmp_path / "editor_008"
    with opened(tmp_path, "editor", 1000) as opening:
        assert opening.folder.name == "editor_1000"


def test_two_at_one_time_have_two_numbers(tmp_path: Path) -> None:
    with opened(tmp_path, "editor", 1) as one:
        (one.part / "x").touch()
        with opened(tmp_path, "editor", 1) as two:
            assert (one.number, two.number) == (1, 2) and (one.part / "x").exists()
            close(two)
        close(one)
    assert sorted(os.listdir(tmp_path)) == ["editor_001", "editor_002"]


def test_what_fails_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(KeyError), opened(tmp_path / "new", "editor", 1) as opening:
        (opening.part / "a" / "b").mkdir(parents=True)
        raise KeyError
    assert os.listdir(tmp_path / "new") == []


def test_a_link_in_its_place_is_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "kept").touch()
    to = tmp_path / "to"
    to.mkdir()
    (to / f".editor_001{PART}").symlink_to(other)
    with opened(to, "editor", 1) as opening:
        assert opening.number == 2
    assert (other / "kept").exists()


def test_links_left_in_it_are_removed_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "kept").touch()
    left = tmp_path / "to" / f".editor_001{PART}"
    left.mkdir(parents=True)
    (left / "link").symlink_to(other)
    with opened(tmp_path / "to", "editor", 1) as opening:
        assert opening.number == 1 and os.listdir(opening.part) == []
    assert (other / "kept").exists()


def test_a_name_that_was_taken_meanwhile(tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="is there already"), opened(tmp_path, "editor", 1) as opening:
        opening.folder.mkdir()
        close(opening)
    assert os.listdir(tmp_path) == ["editor_001"]


def test_a_place_is_whole(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "disk")
    assert checked_place(tmp_path / "out", tmp_path / "link" / "to") == tmp_path.resolve() / "disk" / "to"
    with pytest.raises(OptionError, match="inside the output folder itself"):
        checked_place(tmp_path / "out", tmp_path / "out" / ".." / "out" / "x")


def test_on_a_share_without_locks_nobodys_folder_is_cleared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unsupported(*_: object) -> None:
        raise OSError(errno.ENOTSUP, "Operation not supported")

    monkeypatch.setattr(module.fcntl, "flock", unsupported)
    with opened(tmp_path, "editor", 1) as one:
        (one.part / "x").touch()
        with opened(tmp_path, "editor", 1) as two:
            assert (one.number, two.number) == (1, 2)
        assert (one.part / "x").exists()


def test_what_may_stay_of_what_was_left(tmp_path: Path) -> None:
    left = tmp_path / f".editor_001{PART}"
    for name in ("e/A.mov", "e/B.mov", "v/sub/C.mov", "letter.txt"):
        (left / name).parent.mkdir(parents=True, exist_ok=True)
        (left / name).write_text(name)
    (tmp_path / "other").write_text("x")
    (left / "e" / "D.mov").symlink_to(tmp_path / "other")
    with opened(tmp_path, "editor", 1, {"e/A.mov", "e/D.mov", "e/Z.mov"}) as opening:
        there = [p.relative_to(left).as_posix() for p in sorted(opening.part.rglob("*"))]
        assert there == ["e", "e/A.mov"] and (tmp_path / "other").read_text() == "x"
