"""Framing decision lists found by path and by name, each read once."""

from pathlib import Path

import pytest

from framings import canvas, context, write_fdl
from rushlight.batch.framing.framing_files import FramingFiles
from rushlight.pipelines.errors import FramingError
from rushlight.pipelines.text_files import desk

CONTEXT = context("A", canvas("c", (64, 64)))


def test_by_path_and_by_name(tmp_path: Path) -> None:
    shelf = tmp_path / "grades" / "frames"
    shelf.mkdir(parents=True)
    write_fdl(tmp_path / "here.fdl", CONTEXT)
    write_fdl(shelf / "show.fdl", CONTEXT)
    files = FramingFiles([tmp_path / "grades"])
    here = files.stated("here#A", tmp_path, "the row")
    assert here and (here.list.file, here.context, here.who) == (str(tmp_path / "here.fdl"), "A", "the row")
    assert here.reference == f"{tmp_path / 'here.fdl'}#A"
    for name in ("show", "SHOW.fdl"):
        show = files.stated(name, tmp_path, "the recipe")
        assert show and show.list.file == str(shelf / "show.fdl") and show.context == ""
    assert list(files.named) == [shelf / "show.fdl"]
    assert files.stated("none", tmp_path, "the row") is None and files.stated("", tmp_path, "") is None


def test_each_is_read_once_and_noted_to_be_kept(tmp_path: Path) -> None:
    path = write_fdl(tmp_path / "show.fdl", CONTEXT)
    files = FramingFiles()
    with desk({}) as read:
        first = files.stated("show.fdl", tmp_path, "the row")
        path.unlink()
        path.touch()
        second = files.stated("show.fdl#A", tmp_path, "the row")
    assert first and second and first.list is second.list
    assert set(read.read) == {str(path)} and b"framing_intents" in read.read[str(path)]


def test_one_that_is_not_there_or_is_there_twice(tmp_path: Path) -> None:
    with pytest.raises(FramingError, match="cannot be read: No such file") as caught:
        FramingFiles().stated("none.fdl", tmp_path, "the row")
    assert (caught.value.file, caught.value.key) == (str(tmp_path / "none.fdl"), "fdl")
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        write_fdl(tmp_path / folder / "show.fdl", CONTEXT)
    with pytest.raises(FramingError, match="2 framing decision lists are called 'show'"):
        FramingFiles([tmp_path]).stated("show", tmp_path / "c", "the row")
