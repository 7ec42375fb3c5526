"""Delivered files get other names as they are; none takes another's place, and log, pages, manifest and verify agree."""

from __future__ import annotations

import shutil
from pathlib import Path

from here import files
from recorded import movie, recorded
from rushlight.batch.finish.other_names import Move, give_way, in_the_way, moved
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import DeliveredRecord, read_record


def entry(out: Path, name: str, text: bytes = b"") -> DeliveredMovie:
    """A file of a folder as a record has it, made if there is something to put into it."""
    path = out / name
    if text:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text)
    info = path.stat()
    return DeliveredMovie.read(movie(path=name, bytes=info.st_size, mtime_ns=info.st_mtime_ns))


def moves(out: Path, *names: tuple[str, str]) -> list[Move]:
    return [
        Move(job=f"j{n}", entry=entry(out, old, f"{old} as it is".encode()), path=new)
        for n, (old, new) in enumerate(names)
    ]


def test_names_that_go_round_in_a_circle(tmp_path: Path) -> None:
    given = moves(
        tmp_path,
        ("e/1.mov", "e/2.mov"),
        ("e/2.mov", "e/3.mov"),
        ("e/3.mov", "e/1.mov"),
        ("e/4.mov", "e/d/5.mov"),
    )
    before = files(tmp_path, "e")
    assert len(moved(tmp_path, given)) == 4
    assert files(tmp_path, "e") == {each.path: before[each.entry.path] for each in given}
    assert not list(tmp_path.glob(".work/renamed/*"))


def test_no_file_takes_the_place_of_anothers(tmp_path: Path) -> None:
    given = moves(tmp_path, ("e/1.mov", "e/2.mov"), ("e/3.mov", "e/1.mov"))
    (tmp_path / "e" / "2.mov").write_bytes(b"somebody's")
    before = files(tmp_path, "e")
    assert moved(tmp_path, given) == []
    assert files(tmp_path, "e") == before


def test_a_night_that_was_killed_between_a_move_and_its_record(tmp_path: Path) -> None:
    given = moves(tmp_path, ("e/1.mov", "e/x/2.mov"))
    assert moved(tmp_path, given) == given
    assert moved(tmp_path, given) == given  # as the next night has it, from the old record
    assert set(files(tmp_path, "e")) == {"e/x/2.mov"}


def test_a_file_that_is_not_as_recorded_stays(tmp_path: Path) -> None:
    given = moves(tmp_path, ("e/1.mov", "e/2.mov"))
    (tmp_path / "e" / "1.mov").write_bytes(b"changed since")
    assert moved(tmp_path, given) == [] and set(files(tmp_path, "e")) == {"e/1.mov"}


def test_another_case_alone_is_a_move(tmp_path: Path) -> None:
    given = moves(tmp_path, ("e/a.mov", "e/A.mov"))
    assert moved(tmp_path, given) == given and set(files(tmp_path, "e")) == {"e/A.mov"}


def test_folders_that_are_empty_now_go(tmp_path: Path) -> None:
    assert moved(tmp_path, moves(tmp_path, ("e/a/b/1.mov", "e/c/1.mov")))
    assert not (tmp_path / "e" / "a").exists()
    moved(tmp_path, [Move(job="j", entry=entry(tmp_path, "e/c/1.mov"), path="f/1.mov")])
    assert (tmp_path / "e").is_dir()  # the output's own stays


def test_a_file_gives_way_before_its_new_one_is_made(tmp_path: Path) -> None:
    one = entry(tmp_path, "viewing/4.mp4", b"four")
    record = read_record(recorded("j1", {**one.plain(), "output": "viewing"}, movie(path="editorial/4.mov")))
    assert isinstance(record, DeliveredRecord)
    assert in_the_way(record, [], {"viewing/4.mp4": "j1"}) == []
    waits = in_the_way(record, [], {"viewing/4.mp4": "j2"})
    assert [each.path for each in waits] == ["viewing/4.mp4"]
    left = give_way(tmp_path, record, waits, keep=True)
    assert give_way(tmp_path, record, waits, keep=True) == left  # once more, as after a full disk
    assert [each.output for each in left.outputs] == ["editorial"] and left.revision == record.revision + 1
    assert files(tmp_path, "viewing", "revisions") == {"revisions/1/viewing/4.mp4": b"four"}
    assert "viewing: not made again yet" in left.error
    again = entry(tmp_path, "viewing/4.mp4", b"four")
    record = read_record(recorded("j1", {**again.plain(), "output": "viewing"}))
    shutil.rmtree(tmp_path / "revisions")
    gone = give_way(tmp_path, record, list(record.outputs), keep=False)
    assert files(tmp_path, "viewing", "revisions") == {} and gone.replaced[0].kept == ""
