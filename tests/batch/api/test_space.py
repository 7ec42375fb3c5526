"""`rushlight.space`: a value a caller can trust, of one folder, several and a day."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

import rushlight
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.records.space import Cleared
from rushlight.batch.schemas import SCHEMAS
from rushlight.batch.space import clear
from superseded import revise, revised


def by_hand(*folders: Path) -> int:
    return sum(p.lstat().st_size for folder in folders for p in folder.rglob("*") if p.is_file())


def test_the_result_and_its_document(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    found = rushlight.space(out)
    assert (found.code, len(found.may_go), found.cleared) == (0, 2, ()) and found.bytes == by_hand(out)
    cleared = rushlight.space(out, keep_revisions=0, remove=True)
    assert len(cleared.cleared) == 6 and cleared.bytes == by_hand(out) and cleared.may_go == ()
    for each in (found, cleared):
        SCHEMAS["rushlight-space-1"].model().validate_python(each.document())  # type: ignore[attr-defined]


def test_two_folders_add_up_and_a_file_with_two_names_is_once_on_the_disk(tmp_path: Path) -> None:
    one, other = revised(tmp_path / "one"), revised(tmp_path / "other", 2)
    delivery = hand_over(Asked(out=one, name="editor")).folder
    assert delivery
    found = rushlight.space([one, other, delivery])
    assert [Path(folder.folder) for folder in found.folders] == [one, other, delivery]
    assert found.bytes == by_hand(one, other, delivery) == sum(folder.bytes for folder in found.folders)
    blocks = {
        p.lstat().st_ino: p.lstat().st_blocks * 512
        for folder in (one, other, delivery)
        for p in folder.rglob("*")
        if p.is_file()
    }
    assert found.disk == sum(blocks.values()) < sum(folder.disk for folder in found.folders)


def test_a_file_that_goes_under_its_names_in_two_folders_frees_its_bytes_once(tmp_path: Path) -> None:
    one = revised(tmp_path / "one")
    shutil.copytree(one, tmp_path / "other", copy_function=os.link)
    alone, both = (
        rushlight.space(one, keep_revisions=0),
        rushlight.space([one, tmp_path / "other"], keep_revisions=0),
    )
    assert alone.freed == 0 and [folder.freed for folder in both.folders] == [0, 0]
    blocks = [os.lstat(one / each.path).st_blocks * 512 for each in alone.may_go]
    assert len(both.may_go) == 12 and both.freed == sum(blocks) > 0


def test_a_wrong_folder_stops_it_before_anything_goes(tmp_path: Path) -> None:
    one, wrong = revised(tmp_path / "one"), tmp_path / "wrong"
    wrong.mkdir()
    (wrong / "film.mov").write_bytes(b"somebody's")
    before = by_hand(one)
    for folders, text in (
        ([one, wrong], "nothing was rendered here"),
        ([one, one], "given twice"),
        ([one, one / "editorial" / ".."], "given twice"),
        ([one, one / "revisions"], "lies inside"),
        ([], "at least one"),
    ):
        with pytest.raises(rushlight.InputError, match=text):
            rushlight.space(folders, keep_revisions=0, remove=True)
    assert by_hand(one) == before


@pytest.mark.parametrize("key", ["keep_revisions", "older_than"])
@pytest.mark.parametrize("value", [-1, 10**7, 10**30, True, 1.0, 1.5, float("nan"), "2"])
def test_a_number_that_is_none_is_one_error(tmp_path: Path, key: str, value: Any) -> None:
    out = revised(tmp_path / "out")
    with pytest.raises(rushlight.InputError, match=f"--{key.replace('_', '-')}: takes a whole number from"):
        rushlight.space(out, **{key: value}, remove=True)
    with pytest.raises(rushlight.InputError, match="--older-than"):
        rushlight.space(out, older_than=0, remove=True)
    assert len(list(out.glob("revisions/*/*/*"))) == 6


def test_a_folder_that_is_rendered_into_costs_those_before_it_nothing(tmp_path: Path) -> None:
    """Who reads that it was refused takes it that nothing went."""
    one, other = revised(tmp_path / "one"), revised(tmp_path / "other")
    before = by_hand(one)
    with hold_folder(other), pytest.raises(rushlight.QueueError, match="other: is being rendered into"):
        rushlight.space([one, other], keep_revisions=0, remove=True)
    assert by_hand(one) == before and not (one / ".work").exists()
    (other / "log" / "jobs.jsonl").write_text(
        (other / "log" / "jobs.jsonl").read_text().replace("rushlight-job-1", "rushlight-job-2")
    )
    with pytest.raises(rushlight.InputError, match="newer rushlight"):
        rushlight.space([one, other], keep_revisions=0, remove=True)
    assert by_hand(one) == before


def test_a_disk_that_fills_says_what_went_of_the_folders_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other = revised(tmp_path / "one"), revised(tmp_path / "other")
    real = clear.add_cleared

    def full(out: Path, line: Cleared) -> None:
        if out == other:
            raise rushlight.ResourceError("has no room left", file=str(out))
        real(out, line)

    monkeypatch.setattr(clear, "add_cleared", full)
    with pytest.raises(rushlight.ResourceError, match=f"Cleared before it: 6 things of {one}"):
        rushlight.space([one, other], keep_revisions=0, remove=True)
    assert not (one / "revisions").exists() and (other / "revisions").exists()


def test_a_day_has_a_policy_of_its_own_and_options_overrule_it(tmp_path: Path) -> None:
    day = tmp_path / "day.toml"
    day.write_text(
        'recipes = ["overnight", "stills"]\nout = "out"\n[space]\nkeep_revisions = 1\nolder_than = 2\n'
    )
    for name in ("overnight", "stills"):
        revised(tmp_path / "out" / name)
    found = rushlight.space(day)
    assert [Path(folder.folder).name for folder in found.folders] == ["overnight", "stills"]
    assert found.folders[0].policy.rule == "keep_revisions = 1, older_than = 2 days"
    assert rushlight.space(day, keep_revisions=0).folders[0].policy.rule.startswith("keep_revisions = 0, old")
    assert rushlight.space([day]).folders == found.folders
    assert rushlight.space(tmp_path / "out" / "stills").folders[0].policy.rule == "keep_revisions = 2"


def test_it_can_be_cancelled(tmp_path: Path) -> None:
    cancel = rushlight.Cancel()
    cancel.cancel()
    out = revised(tmp_path / "out")
    with pytest.raises(rushlight.CancelledError, match="before all was looked through"):
        rushlight.space(out, cancel=cancel)


def test_what_could_not_be_cleared_is_a_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = revised(tmp_path / "out")
    revise(out, "A001C003", {"editorial/A001C003.mov": b"x"})

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "unlink", refused)
    found = rushlight.space(out, remove=True)
    assert found.code == 1 and found.cleared == () and len(found.may_go) == 2
