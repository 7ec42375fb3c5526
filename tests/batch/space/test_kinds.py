"""Every file is of one kind, and the kinds add up to the whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.job_log import read_records
from rushlight.batch.report.pages import write_report
from rushlight.batch.space.kinds import Kinds
from rushlight.batch.space.survey import survey
from superseded import revise, revised


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("editorial/A001C001.mov", ("output", "editorial")),
        ("viewing/A001C001.mp4", ("output", "viewing")),
        ("revisions/1/editorial/A001C001.mov", ("revisions", "")),
        ("revisions/1/editorial/A001C001.mov.bak", ("other", "")),
        ("revisions/1/notes.txt", ("other", "")),
        ("log/jobs.jsonl", ("log", "")),
        ("log/inputs/requests.jsonl", ("inputs", "")),
        ("log/requests/a.json", ("inputs", "")),
        ("log/inputs/looks/a.npz", ("looks", "")),
        ("report/index.html", ("pages", "")),
        ("editorial/clips.csv", ("pages", "")),
        ("elsewhere/clips.csv", ("other", "")),
        ("ascmhl/0001.mhl", ("manifests", "")),
        (".work/A001C001/0.mov", ("work", "")),
        ("editorial/mine.mov", ("other", "")),
        ("log", ("other", "")),
        ("notes.txt", ("other", "")),
        ("editorial/old.mov", ("former", "")),
    ],
)
def test_a_name_is_of_one_kind(tmp_path: Path, name: str, kind: tuple[str, str]) -> None:
    out = revised(tmp_path / "out")
    revise(out, "A001C003", {"editorial/old.mov": b"old"})
    revise(out, "A001C003", {"editorial/old.mov": b"other"})
    log = read_records(out)
    log[-1] = log[-1].model_copy(update={"outputs": []})
    assert Kinds(log).of(name) == kind


def test_kinds_add_up(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    write_report(out)
    (out / "notes.txt").write_text("mine")
    found = survey(out)
    holds = Kinds(read_records(out)).holds(found.files)
    assert sum(each.bytes for each in holds) == found.bytes
    assert sum(each.files for each in holds) == len(found.files)
    assert {each.kind for each in holds} == {"output", "revisions", "log", "pages", "other"}
    sizes = {(each.kind, each.output): each.bytes for each in holds}
    assert sizes["other", ""] == 4 and sizes["output", "viewing"] == 1 + 4 * len("A001C001 revision 4")


def test_nothing_of_a_closed_delivery_is_not_ours(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    write_report(out)
    folder = hand_over(Asked(out=out, name="editor")).folder
    assert folder
    found = survey(folder)
    holds = Kinds(read_records(folder), closed_delivery(folder)).holds(found.files)
    assert "other" not in {each.kind for each in holds}
    assert sum(each.bytes for each in holds) == found.bytes
