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
    assert named_of(other).by_hash == {}


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
