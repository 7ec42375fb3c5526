"""A delivery is closed whole or not at all: what is in it, what is left out and said, and what ends it in the middle."""

from __future__ import annotations

import errno
import json
import os
import signal
from pathlib import Path
from typing import Any

import pytest

from handed import deliver, delivered, entry_of
from logged import append_record
from recorded import recorded
from rushlight.batch.check.check_media import check_media
from rushlight.batch.handover import bring as bringing
from rushlight.batch.handover import hand_over as handing
from rushlight.batch.handover import place
from rushlight.batch.handover.hand_over import Asked, Closed, hand_over
from rushlight.batch.handover.handover_log import HANDOVERS, read_handovers
from rushlight.batch.queue.locks import hold_folder
from rushlight.pipelines.errors import DeliveryError, OptionError, QueueError, ResourceError


def hand(out: Path, name: str = "editor", **given: Any) -> Closed:
    return hand_over(Asked(out=out, name=name, to=out.parent / "to", **given))


def folder_of(closed: Closed) -> Path:
    assert closed.folder is not None
    return closed.folder


def files_in(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


def one_line(letter: Path) -> str:
    return " ".join(letter.read_text().split())


def state_of(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file with its bytes and time, but what a handover may write."""
    return {
        name: ((folder / name).read_bytes(), (folder / name).stat().st_mtime_ns)
        for name in files_in(folder)
        if name != HANDOVERS
    }


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return delivered(tmp_path / "out")


def test_a_first_delivery(out: Path) -> None:
    before = state_of(out)
    closed = hand(out)
    folder = folder_of(closed)
    assert folder == out.parent / "to" / "editor_001"
    assert {
        "editorial/A001C001.mov",
        "viewing/A001C002.mp4",
        "editorial/clips.csv",
        "editorial/clips.otio",
        "letter.txt",
        "index.html",
        "handover.json",
        "log/jobs.jsonl",
    } <= files_in(folder)
    assert state_of(out) == before and not (out / ".work").exists()
    assert check_media(folder).verdict == "all match"
    assert os.listdir(folder.parent) == ["editor_001"]
    assert [h.folder for h in read_handovers(out)[0]] == ["editor_001"]
    manifest = next((folder / "ascmhl").glob("*.mhl"))
    assert manifest.name.startswith("0001_editor_001_")


def test_one_output(out: Path) -> None:
    folder = folder_of(hand(out, outputs=("viewing",)))
    assert not (folder / "editorial").exists() and (folder / "viewing").is_dir()
    lines = [json.loads(line) for line in (folder / "log" / "jobs.jsonl").read_text().splitlines()]
    assert [[e["output"] for e in line["outputs"]] for line in lines] == [["viewing"], ["viewing"]]
    with pytest.raises(
        OptionError, match="--outputs: no file of 'editing' is delivered; there are editorial, viewing"
    ):
        hand(out, outputs=("editing",))


def test_the_next_holds_what_changed(out: Path) -> None:
    hand(out)
    replaced = {
        "output": "editorial", "path": "editorial/A001C001.mov", "revision": 1, "kept": "", "why": "another look: warmer",
    }  # fmt: skip
    deliver(
        out, "A001C001", {"editorial/A001C001.mov": b"warmer", "viewing/A001C001.mp4": b"100C100A" * 20}, revision=2, replaced=[replaced]
    )  # fmt: skip
    deliver(out, "A001C003", {"editorial/A001C003.mov": b"new"})
    closed = hand(out)
    folder = folder_of(closed)
    assert folder.name == "editor_002" and closed.last == "editor_001"
    assert {p for p in files_in(folder) if p.startswith(("editorial/A", "viewing/A"))} == {
        "editorial/A001C001.mov",
        "editorial/A001C003.mov",
    }
    letter = one_line(folder / "letter.txt")
    assert " editorial/A001C001.mov: revision 2: another look: warmer " in letter
    assert "3 files did not change, and are not in it" in letter
    again = folder_of(hand(out, whole=True))
    assert again.name == "editor_003" and (again / "viewing" / "A001C002.mp4").is_file()


def test_where_nothing_changed_nothing_is_made(out: Path) -> None:
    hand(out)
    closed = hand(out)
    assert (closed.folder, closed.last, closed.missing) == (None, "editor_001", ())
    assert os.listdir(out.parent / "to") == ["editor_001"]


def test_another_receiver_has_numbers_of_its_own(out: Path) -> None:
    hand(out)
    folder = folder_of(hand(out, name="producer"))
    assert folder.name == "producer_001" and "editorial/A001C001.mov" in files_in(folder)


def test_two_days_in_one_place_are_numbered_on(out: Path, tmp_path: Path) -> None:
    other = delivered(tmp_path / "other")
    assert folder_of(hand(out)).name == "editor_001"
    closed = hand(other)
    assert folder_of(closed).name == "editor_002" and closed.last == ""


def test_what_is_gone_is_said(out: Path) -> None:
    hand(out)
    record = recorded("A001C002", entry_of(out, "editorial/new name.mov", b"A001C002" * 50))
    append_record(out, record)
    (out / "editorial" / "A001C002.mov").unlink()
    closed = hand(out)
    assert closed.handover is not None
    assert {g.path: g.why for g in closed.handover.gone} == {
        "editorial/A001C002.mov": "it has another name now: editorial/new name.mov",
        "viewing/A001C002.mp4": "nothing makes it any more",
    }
    (file,) = closed.handover.files
    assert (file.since, file.why) == ("renamed", "was editorial/A001C002.mov")
    assert hand(out).folder is None


def test_an_output_that_is_gone_as_a_whole_is_said(out: Path) -> None:
    hand(out)
    for name in ("A001C001", "A001C002"):
        append_record(out, recorded(name, entry_of(out, f"editorial/{name}.mov", name.encode() * 50)))
    closed = hand(out)
    assert closed.handover and [g.path for g in closed.handover.gone] == [
        "viewing/A001C001.mp4",
        "viewing/A001C002.mp4",
    ]
    letter = one_line(folder_of(closed) / "letter.txt")
    assert (
        "NOT TO BE USED ANY MORE SINCE EDITOR_001 viewing/A001C001.mp4: nothing makes it any more" in letter
    )
    with pytest.raises(OptionError, match="no file of 'viewing' is delivered; there are editorial"):
        hand(out, outputs=("viewing",))  # now it is neither there nor with the receiver


def test_missing_comes_first(out: Path) -> None:
    append_record(
        out,
        recorded("A001C009", status="failed", error="the original does not open")
        | {"outputs": [], "colour": {"digest": ""}},
    )
    closed = hand(out)
    assert [(m.clip, m.state, m.text) for m in closed.missing] == [
        ("A001C009", "failed", "the original does not open")
    ]
    lines = (folder_of(closed) / "letter.txt").read_text().splitlines()
    assert lines[2] == "MISSING: 1 THING" and "A001C009: failed: the original does not open" in lines[4]
    page = (folder_of(closed) / "index.html").read_text()
    assert page.index("A001C009") < page.index("What is in it")


@pytest.mark.parametrize("copy", [False, True])
@pytest.mark.parametrize("damage", ["bytes", "cut", "gone", "link"])
def test_a_file_that_is_not_as_it_was_made_is_not_handed_over(out: Path, damage: str, copy: bool) -> None:
    file = out / "editorial" / "A001C001.mov"
    time = file.stat().st_mtime_ns
    match damage:
        case "bytes":
            file.write_bytes(file.read_bytes().replace(b"A", b"B", 1))
            os.utime(file, ns=(time, time))
        case "cut":
            file.write_bytes(file.read_bytes()[:-1])
        case "gone":
            file.unlink()
        case "link":
            file.rename(out.parent / "elsewhere")
            file.symlink_to(out.parent / "elsewhere")
    closed = hand(out, copy=copy)
    (missing,) = closed.missing
    assert (missing.clip, missing.state) == ("editorial/A001C001.mov", "damaged")
    folder = folder_of(closed)
    assert not (folder / "editorial" / "A001C001.mov").exists()
    assert "damaged" in (folder / "letter.txt").read_text().splitlines()[4]
    assert check_media(folder).verdict == "all match"
    deliver(out, "A001C001", {"editorial/A001C001.mov": b"mended", "viewing/A001C001.mp4": b"100C100A" * 20})
    closed = hand(out)
    assert closed.missing == () and [f.path for f in closed.handover.files] == ["editorial/A001C001.mov"]  # type: ignore[union-attr]


def test_a_folder_whose_files_are_all_left_out_is_left_out_too(tmp_path: Path) -> None:
    out = tmp_path / "out"
    deliver(out, "A", {"editorial/day/A.mov": b"a", "viewing/A.mp4": b"v"})
    (out / "editorial" / "day" / "A.mov").write_bytes(b"b")
    folder = folder_of(hand(out))
    assert not (folder / "editorial").exists() and (folder / "viewing" / "A.mp4").is_file()


def test_linked_or_copied_is_said(out: Path) -> None:
    linked = folder_of(hand(out))
    assert os.path.samefile(linked / "editorial/A001C001.mov", out / "editorial/A001C001.mov")
    assert "4 files are not copied but linked" in one_line(linked / "letter.txt")
    copied = folder_of(hand(out, name="producer", copy=True))
    one, two = copied / "editorial/A001C001.mov", out / "editorial/A001C001.mov"
    assert not os.path.samefile(one, two) and one.read_bytes() == two.read_bytes()
    assert one.stat().st_mtime_ns == two.stat().st_mtime_ns
    assert "linked" not in (copied / "letter.txt").read_text()


def test_a_revision_leaves_a_linked_delivery_as_it_was(out: Path) -> None:
    folder = folder_of(hand(out))
    deliver(out, "A001C001", {"editorial/A001C001.mov": b"another"})
    assert (folder / "editorial/A001C001.mov").read_bytes() == b"A001C001" * 50
    assert check_media(folder).verdict == "all match"


@pytest.mark.parametrize("code", [errno.EXDEV, errno.EPERM, errno.EMLINK])
def test_where_there_can_be_no_link_it_is_copied(
    out: Path, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(bringing.os, "link", refuse)
    closed = hand(out)
    assert {f.brought for f in closed.handover.files} == {"copied"}  # type: ignore[union-attr]


def test_a_folder_on_a_disk_that_is_read_only(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As an archive is: nothing is written there, and what lies beside tells what was handed over."""

    def refuse(*_: object) -> None:
        raise ResourceError("the disk is read-only", file="x")

    monkeypatch.setattr(handing, "folder_held", refuse)
    monkeypatch.setattr(handing, "add_handover", refuse)
    closed = hand(out)
    assert folder_of(closed).name == "editor_001" and "the disk is read-only" in closed.notes[-1]
    assert "read-only" not in (folder_of(closed) / "letter.txt").read_text()
    assert hand(out).last == "editor_001" and not (out / HANDOVERS).exists()


def test_a_lock_that_cannot_be_looked_at_may_be_somebodys(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise DeliveryError("Permission denied", file="x")

    monkeypatch.setattr(handing, "folder_held", refuse)
    (out / ".work").mkdir()
    (out / ".work" / "runner").touch()
    with pytest.raises(DeliveryError, match="Permission denied"):
        hand(out)


def test_a_folder_that_is_being_rendered_into(out: Path) -> None:
    with hold_folder(out), pytest.raises(QueueError, match="is being rendered into by process"):
        hand(out)
    assert not (out.parent / "to").exists()


def test_the_folder_is_held_all_the_while(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = handing._sealed

    def look(*given: Any) -> None:
        with pytest.raises(QueueError, match=r"by process \d+ .* \(closing a delivery of it\)"):
            hold_folder(out)
        real(*given)

    monkeypatch.setattr(handing, "_sealed", look)
    assert hand(out).folder


@pytest.mark.parametrize(
    ("to", "words"),
    [
        ("out", "inside the output folder itself"),
        ("out/editorial", "inside the output folder itself"),
        ("link", "inside the output folder itself"),
        ("other/below", "which is an output folder or a closed delivery"),
        ("file", "is a file"),
    ],
)
def test_places_that_are_refused(out: Path, tmp_path: Path, to: str, words: str) -> None:
    delivered(tmp_path / "other")
    (tmp_path / "link").symlink_to(out)
    (tmp_path / "file").touch()
    with pytest.raises(OptionError, match=f"--to: .*{words}"):
        hand_over(Asked(out=out, name="editor", to=tmp_path / to))


def test_a_closed_delivery_is_neither_source_nor_place(out: Path) -> None:
    folder = folder_of(hand(out, with_record=False))
    assert not (folder / "log").exists()
    with pytest.raises(OptionError, match="closed delivery"):
        hand_over(Asked(out=out, name="editor", to=folder / "below"))
    with pytest.raises(OptionError, match="is the closed delivery editor_001"):
        hand_over(Asked(out=folder, name="editor"))


@pytest.mark.parametrize("name", ["", " ", "a/b", "..", "nul", "x" * 101, "a:b", ".hidden", "end."])
def test_names_that_are_refused(out: Path, name: str) -> None:
    with pytest.raises(OptionError, match="--name"):
        hand(out, name=name)


def test_nothing_to_hand_over(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(OptionError, match="nothing was rendered here"):
        hand(tmp_path / "empty")
    with pytest.raises(OptionError, match="is not a folder"):
        hand(tmp_path / "none")
    out = tmp_path / "out"
    append_record(out, recorded("A", status="failed", error="x") | {"colour": {"digest": ""}})
    with pytest.raises(OptionError, match="has no file of any output to hand over; 1 of its clips"):
        hand(out)
    assert not (tmp_path / "to" / "editor_001").exists()


def test_a_disk_without_room_is_seen_before(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(handing, "free_bytes", lambda path: 100)
    with pytest.raises(ResourceError, match="has 100 bytes free, and the files to be copied are"):
        hand(out, copy=True)
    assert os.listdir(out.parent / "to") == []
    assert hand(out).folder  # links need none


def test_what_a_killed_copy_left_needs_no_room_again(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left = out.parent / "to" / f".editor_001{place.PART}" / "editorial" / "A001C001.mov"
    left.parent.mkdir(parents=True)
    left.write_bytes((out / "editorial" / "A001C001.mov").read_bytes())
    whole = sum(p.stat().st_size for p in out.rglob("*.m*"))
    monkeypatch.setattr(handing, "free_bytes", lambda path: whole - left.stat().st_size)
    assert hand(out, copy=True).folder


@pytest.mark.parametrize("at", ["_write", "_sealed"])
def test_a_disk_that_fills_leaves_nothing_behind(out: Path, at: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    if at == "_write":
        monkeypatch.setattr(bringing, "_write", full)
    else:
        monkeypatch.setattr(handing, "write", full)
    before = state_of(out)
    with pytest.raises(ResourceError, match="no space left on the disk"):
        hand(out, copy=True)
    assert os.listdir(out.parent / "to") == [] and state_of(out) == before and not read_handovers(out)[0]
    monkeypatch.undo()
    assert folder_of(hand(out)).name == "editor_001"


def test_a_disk_that_does_not_give_back_what_was_written(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bringing, "_write", lambda new, block: new.write(bytes(len(block))))
    with pytest.raises(DeliveryError, match="does not read as it was written"):
        hand(out, copy=True)
    assert os.listdir(out.parent / "to") == []


def test_a_log_that_could_not_be_written_is_found_out_by_the_next(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed between the name and the line of the log."""
    monkeypatch.setattr(handing, "add_handover", lambda out, handover: None)
    hand(out)
    monkeypatch.undo()
    assert read_handovers(out)[0] == []
    assert hand(out).last == "editor_001"
    assert [h.number for h in read_handovers(out)[0]] == [1]


def test_a_damaged_line_of_what_was_handed_over_is_said(out: Path) -> None:
    hand(out)
    with (out / HANDOVERS).open("a") as stream:
        stream.write('{"schema": "rushlight-handover-1"}\n')
    closed = hand_over(Asked(out=out, name="editor", to=out.parent / "other"))
    assert closed.folder is None and "counts as never handed over" in " ".join(closed.notes)


def test_a_copy_goes_on_where_it_was_killed(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a file, a whole one that has changed since, and what is no part of it, are none of it."""
    left = out.parent / "to" / f".editor_001{place.PART}"
    for name in ("editorial/A001C001.mov", "viewing/A001C001.mp4"):
        (left / name).parent.mkdir(parents=True)
        (left / name).write_bytes((out / name).read_bytes())
    (left / "viewing" / "A001C002.mp4").write_bytes(b"half")
    (left / "viewing" / "A001C003.mp4").write_bytes(b"dropped since")
    deliver(out, "A001C001", {"editorial/A001C001.mov": b"anew", "viewing/A001C001.mp4": b"100C100A" * 20})
    copied: list[str] = []
    real = bringing._copied
    monkeypatch.setattr(bringing, "_copied", lambda *given: (copied.append(given[1]), real(*given))[1])
    folder = folder_of(hand(out, copy=True))
    assert sorted(copied) == ["editorial/A001C001.mov", "editorial/A001C002.mov", "viewing/A001C002.mp4"]
    assert check_media(folder).verdict == "all match" and not (folder / "viewing/A001C003.mp4").exists()
    assert (folder / "editorial/A001C001.mov").read_bytes() == b"anew"


def test_what_was_left_by_a_kill_is_cleared_away(out: Path) -> None:
    left = out.parent / "to" / f".editor_001{place.PART}"
    (left / "editorial").mkdir(parents=True)
    (left / "editorial" / "half").write_bytes(b"x")
    folder = folder_of(hand(out))
    assert folder.name == "editor_001" and not left.exists() and "editorial/half" not in files_in(folder)


MOMENTS = {
    "bring": "nothing",  # at its second file
    "write_tables": "nothing",
    "write_grades": "nothing",
    "write_record": "nothing",
    "_sealed": "nothing",
    "write_manifest": "nothing",
    "rename": "nothing",
    "add_handover": "all",
}


@pytest.mark.parametrize("moment", MOMENTS)
def test_killed_in_the_middle_and_run_again(out: Path, moment: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """SIGKILL at each step: either the whole delivery has its name or none has, and the same again makes it whole."""
    before, to = state_of(out), out.parent / "to"
    child = os.fork()
    if not child:
        owner = os if moment == "rename" else handing
        real, calls = getattr(owner, moment), []

        def struck(*given: Any, **options: Any) -> Any:
            calls.append(given)
            if moment != "bring" or len(calls) == 2:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*given, **options)

        setattr(owner, moment, struck)
        hand(out, copy=moment != "rename")
        os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    there = [name for name in os.listdir(to) if not name.startswith(".")]
    assert there == (["editor_001"] if MOMENTS[moment] == "all" else [])
    assert state_of(out) | {".work/runner": 0} == before | {".work/runner": 0}
    closed = hand(out)
    assert os.listdir(to) == ["editor_001"]
    assert (closed.folder is None) == (MOMENTS[moment] == "all")
    assert check_media(to / "editor_001").verdict == "all match"
    assert [h.folder for h in read_handovers(out)[0]] == ["editor_001"]
