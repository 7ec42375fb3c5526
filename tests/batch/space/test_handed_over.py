"""What closed deliveries name: by the log, by their folders beside, and what happens where a line does not read."""

from __future__ import annotations

import shutil
from pathlib import Path

from handed import delivered
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.handover.handover_log import HANDOVERS
from rushlight.batch.space.handed_over import named_of


def test_by_the_log_also_where_the_delivery_is_on_its_way(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    assert named_of(out).by_hash == {}
    hand_over(Asked(out=out, name="editor", to=tmp_path / "to"))
    shutil.rmtree(tmp_path / "to")
    found = named_of(out)
    assert set(found.by_hash.values()) == {"editor_001"} and len(found.by_hash) == 4 and not found.unread


def test_one_that_was_not_written_down_is_found_beside(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    hand_over(Asked(out=out, name="editor"))
    line = (out / HANDOVERS).read_bytes()
    for torn in (b"", line[:500], line[:500] + b"\n"):  # killed before its line, or in it
        (out / HANDOVERS).write_bytes(torn)
        found = named_of(out)
        assert len(found.by_hash) == 4 and not found.unread
    other = delivered(tmp_path / "other")  # the delivery beside is not of this one
    assert not named_of(other).handovers


def test_one_beside_counts_where_the_folder_has_another_name_now(tmp_path: Path) -> None:
    """It was not written down, and says of itself that it is of another place: its hashes tell what it has."""
    out = delivered(tmp_path / "out")
    hand_over(Asked(out=out, name="editor"))
    (out / HANDOVERS).unlink()
    out = out.rename(tmp_path / "out of Monday")
    assert set(named_of(out).by_hash.values()) == {"editor_001"} and len(named_of(out).by_hash) == 4


def test_what_was_handed_over_of_a_copy_of_the_folder_counts(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    shutil.copytree(out, tmp_path / "copy")
    hand_over(Asked(out=tmp_path / "copy", name="editor"))
    assert len(named_of(out).by_hash) == 4


def test_two_lines_that_run_into_one_are_two_deliveries(tmp_path: Path) -> None:
    """The first is beside; what the second names is not known."""
    out = delivered(tmp_path / "out")
    hand_over(Asked(out=out, name="editor"))
    hand_over(Asked(out=out, name="producer", to=tmp_path / "to"))
    lines = (out / HANDOVERS).read_bytes().splitlines()
    for data in (b"".join(lines), lines[0][:700] + lines[1], lines[0] + lines[1][:500] + b"\n"):
        (out / HANDOVERS).write_bytes(data)
        assert len(named_of(out).unread) == 1


def test_a_damaged_line_is_not_told_by_another_delivery_of_its_name(tmp_path: Path) -> None:
    """One went to another disk and its line was damaged; the next of that name took its number."""
    out = delivered(tmp_path / "out")
    folder = hand_over(Asked(out=out, name="editor", to=tmp_path / "to")).folder
    assert folder
    line = (out / HANDOVERS).read_bytes().replace(b'"files"', b'"flies"')
    (out / HANDOVERS).write_bytes(line.replace(b'"closed":"2', b'"closed":"1'))  # at another time
    again = hand_over(Asked(out=out, name="editor")).folder
    assert again and again.name == folder.name
    assert len(named_of(out).unread) == 1


def test_a_line_that_does_not_read_is_said(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    hand_over(Asked(out=out, name="editor", to=tmp_path / "to"))
    line = (out / HANDOVERS).read_bytes()
    for damaged in (line[:500], line.replace(b'"files"', b'"flies"'), b"{}\n" + line, b"\xff\n"):
        (out / HANDOVERS).write_bytes(damaged)
        found = named_of(out)
        assert (
            len(found.unread) == 1
            and "handovers.jsonl:1:" in found.unread[0]
            and "nothing may go" in found.unread[0]
        )
