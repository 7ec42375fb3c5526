"""A folder cleared: only what was shown, written down first; killed anywhere it tells the truth; what must stay stays."""

from __future__ import annotations

import errno
import json
import os
import random
import shutil
import signal
import tempfile
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logged import latest, read_records
from rushlight.batch.cleared_log import CLEARED_LOG, read_cleared
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.handover.handover_log import HANDOVERS
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.records.space import SpaceFolder, SpacePolicy
from rushlight.batch.report.pages import write_report
from rushlight.batch.run.report_and_manifest import pages_are_current
from rushlight.batch.space import clear, folder_space
from rushlight.batch.space.folder_space import clear_through, look_after, look_through
from rushlight.pipelines.errors import DeliveryError, OptionError, QueueError, ResourceError
from superseded import revise, revised


def look(out: Path, keep: int = 2, days: int | None = None, *, remove: bool = False) -> SpaceFolder:
    policy = SpacePolicy(keep_revisions=keep, older_than=days)
    found = look_through(out, policy, to_clear=remove)
    if remove and found.clears:
        with clear.held(out):
            went = clear_through(out, policy)
        found = look_after(out, policy, went)
    return found.told


def files_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return revised(tmp_path / "out")


def test_a_dry_run_changes_nothing(out: Path) -> None:
    before = files_of(out)
    told = look(out, 0)
    assert files_of(out) == before and not (out / ".work").exists()
    assert [each.path for each in told.may_go] == sorted(p for p in before if p.startswith("revisions/"))
    assert told.bytes == sum(map(len, before.values())) == sum(each.bytes for each in told.holds)
    assert told.files == len(before) and told.freed == sum(
        os.lstat(out / e.path).st_blocks * 512 for e in told.may_go
    )


def test_what_was_shown_goes_and_nothing_else(out: Path) -> None:
    write_report(out)
    before, shown = files_of(out), look(out, 1).may_go
    told = look(out, 1, remove=True)
    after = files_of(out)
    assert told.cleared == shown and told.may_go == [] and told.unread == []
    assert set(before) - set(after) == {each.path for each in shown}
    assert set(after) - set(before) == {CLEARED_LOG}
    assert {p for p in before if p in after and before[p] != after[p]} <= {
        p for p in before if p.startswith("report/")
    }
    assert not (out / "revisions" / "1").exists() and (out / "revisions" / "3").is_dir()
    assert not (out / ".work").exists()
    lines = read_cleared(out)
    assert [(e.path, e.hash, e.bytes, e.rule) for e in lines] == [
        (e.path, e.hash, e.bytes, "keep_revisions = 1") for e in shown
    ]
    assert look(out, 1, remove=True).cleared == [] and len(read_cleared(out)) == 4
    look(out, 0, remove=True)
    assert not (out / "revisions").exists()


def test_pages_say_what_was_cleared(out: Path) -> None:
    write_report(out)
    page = out / "report" / "index.html"
    assert "kept as revisions/3/editorial/A001C001.mov" in page.read_text()
    look(out, 0, remove=True)
    said = "was kept as revisions/3/editorial/A001C001.mov, cleared on "
    assert said in page.read_text() and "by rule (keep_revisions = 0)" in page.read_text()
    batch = json.loads((out / "report" / "batch.json").read_text())
    assert [each["path"] for each in batch["cleared"]] == [each.path for each in read_cleared(out)]
    page.unlink()
    write_report(out)
    assert said in page.read_text()


def test_pages_older_than_what_was_cleared_are_made_again(out: Path) -> None:
    """A night after one that was killed between the two."""
    look(out, 0, remove=True)
    assert pages_are_current(out)
    later = (out / "report" / "index.html").stat().st_mtime_ns + 10**9
    os.utime(out / CLEARED_LOG, ns=(later, later))
    assert not pages_are_current(out)


def test_killed_before_its_page_the_same_command_makes_that(out: Path) -> None:
    """Nothing is left to clear then, and the page tells of files that are gone."""
    write_report(out)
    dying = mock.patch.object(folder_space, "write_report", side_effect=KeyboardInterrupt)
    with dying, pytest.raises(KeyboardInterrupt):
        look(out, 0, remove=True)
    assert not pages_are_current(out)
    assert look(out, 0, remove=True).cleared == [] and pages_are_current(out)
    assert len(json.loads((out / "report" / "batch.json").read_text())["cleared"]) == 6
    before = (out / "report" / "index.html").stat().st_mtime_ns
    look(out, 0, remove=True)
    assert (out / "report" / "index.html").stat().st_mtime_ns == before


def test_a_still_that_was_cleared_is_not_shown_beside_the_new_one(tmp_path: Path) -> None:
    out = tmp_path / "out"
    for number in range(2):
        revise(out, "A001C001", {"stills/A001C001.tif": b"still %d" % number})
    with mock.patch("rushlight.batch.report.page_clip.SHOWN", (".tif",)):
        write_report(out)
        page = out / "report" / "index.html"
        assert '"../revisions/1/stills/A001C001.tif"' in page.read_text()
        look(out, 0, remove=True)
        assert '"../revisions/1/stills/A001C001.tif"' not in page.read_text()


def test_nothing_that_a_delivery_names_goes(out: Path) -> None:
    """Linked or copied, of the delivery before last, and of one whose folder is gone."""
    for copy in (False, True):
        hand_over(Asked(out=out, name="copied" if copy else "linked", copy=copy))
    shutil.rmtree(out.parent / "copied_001")
    revise(out, "A001C001", {"editorial/A001C001.mov": b"newest", "viewing/A001C001.mp4": b"n"})
    hand_over(Asked(out=out, name="linked"))
    revise(out, "A001C001", {"editorial/A001C001.mov": b"last", "viewing/A001C001.mp4": b"l"})
    told = look(out, 0, remove=True)
    assert {each.path.split("/")[1] for each in told.cleared} == {"1", "2", "3"}
    assert sorted(p for p in files_of(out) if p.startswith("revisions/")) == [
        f"revisions/{n}/{p}" for n in (4, 5) for p in ("editorial/A001C001.mov", "viewing/A001C001.mp4")
    ]
    assert {(e.folder, e.files) for e in told.handed_over} == {
        ("linked_001", 4),
        ("copied_001", 4),
        ("linked_002", 2),
    }


def test_what_was_handed_over_stays_where_the_log_has_another_hash_of_it(out: Path) -> None:
    """A digit of its record was changed, by hand or by a failing disk; size and time are as they were."""
    hand_over(Asked(out=out, name="editor", to=out.parent / "to"))
    for entry in latest(read_records(out))["A001C001"]["outputs"]:
        log = out / "log" / "jobs.jsonl"
        log.write_text(log.read_text().replace(entry["hash"], "xxh3_128:" + "0" * 32))
    revise(out, "A001C001", {"editorial/A001C001.mov": b"newest", "viewing/A001C001.mp4": b"n"})
    told = look(out, 0, remove=True)
    assert len(told.cleared) == 6 and not any(each.revision == 4 for each in told.cleared)
    assert [(each.why, each.files) for each in told.stays] == [("handed over in editor_001", 2)]


def test_a_handover_log_that_does_not_read_lets_nothing_go(out: Path) -> None:
    (out / HANDOVERS).write_bytes(b'{"schema": "rushlight-handover-1", "na')
    before = files_of(out)
    told = look(out, 0, remove=True)
    assert told.cleared == told.may_go == [] and files_of(out) == before
    assert "handovers.jsonl:1:" in told.unread[0] and "nothing may go" in told.unread[0]


def test_a_closed_delivery_is_shown_and_never_cleared(out: Path) -> None:
    folder = hand_over(Asked(out=out, name="editor")).folder
    assert folder
    for name in ("revisions", "log"):  # as if it were an output folder too
        shutil.copytree(out / name, folder / name, copy_function=shutil.copy2, dirs_exist_ok=True)
    assert len(look(out, 0).may_go) == 6
    before = files_of(folder)
    told = look(folder, 0, remove=True)
    assert told.delivery == "editor_001" and told.may_go == told.cleared == []
    assert told.bytes == sum(map(len, before.values())) and files_of(folder) == before


def test_a_folder_that_is_not_ours_is_refused(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "a.mov").write_bytes(b"x")
    with pytest.raises(OptionError, match=r"has no log/jobs\.jsonl: nothing was rendered here"):
        look(tmp_path / "other", remove=True)
    with pytest.raises(OptionError, match="is not a folder"):
        look(tmp_path / "none")


def test_a_folder_of_a_newer_version_is_shown_and_not_cleared(out: Path) -> None:
    log = out / "log" / "jobs.jsonl"
    log.write_text(log.read_text().replace("rushlight-job-1", "rushlight-job-2"))
    assert len(look(out, 0).may_go) == 6
    with pytest.raises(OptionError, match="newer rushlight"):
        look(out, 0, remove=True)


def test_a_newer_version_that_came_before_it_was_held_is_left_alone(out: Path) -> None:
    policy = SpacePolicy(keep_revisions=0, older_than=None)
    assert look_through(out, policy, to_clear=True).clears
    log, before = out / "log" / "jobs.jsonl", files_of(out / "revisions")
    log.write_text(log.read_text().replace("rushlight-job-1", "rushlight-job-2"))
    with clear.held(out), pytest.raises(OptionError, match="newer rushlight"):
        clear_through(out, policy)
    assert files_of(out / "revisions") == before


def test_a_night_that_runs_is_respected(out: Path) -> None:
    before = files_of(out)
    with hold_folder(out):
        assert len(look(out, 0).may_go) == 6  # looking is no harm
        with pytest.raises(QueueError, match="is being rendered into by process"):
            look(out, 0, remove=True)
    assert {p: d for p, d in files_of(out).items() if p != ".work/runner"} == before
    look(out, 0, remove=True)
    assert (out / ".work").is_dir()  # it was there before


def test_revisions_behind_a_link_stay(out: Path, tmp_path: Path) -> None:
    shutil.move(out / "revisions", tmp_path / "elsewhere")
    (out / "revisions").symlink_to(tmp_path / "elsewhere")
    before = files_of(tmp_path / "elsewhere")
    told = look(out, 0, remove=True)
    assert told.cleared == [] and told.links == 1 and files_of(tmp_path / "elsewhere") == before


def test_a_finished_clips_work_goes_with_days(out: Path) -> None:
    place = out / ".work" / "A001C002" / "0.mov"
    place.parent.mkdir(parents=True)
    place.write_bytes(b"segment")
    os.utime(place, (1, 1))
    (place.parent / "link").symlink_to(out / "editorial")
    with mock.patch.object(folder_space.time, "time", lambda: 2_000_000_000.0):
        told = look(out, 9, 5, remove=True)
    assert [each.path for each in told.cleared] == [".work/A001C002"]
    assert os.listdir(place.parent) == ["link"]  # which is not ours
    assert (out / "editorial" / "A001C002.mov").read_bytes() == b"two"
    assert read_cleared(out)[0].kind == "work" and read_cleared(out)[0].rule.endswith("older_than = 5 days")


# --- disks


def test_a_full_disk_is_one_error_and_nothing_goes(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, write = files_of(out), os.write
    room = [1]

    def full(handle: int, data: bytes = b"", **_: object) -> int:
        if room.pop() if room else False:
            return write(handle, data)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(
        ResourceError, match=r"1 thing went before: what goes is written down first\. Free a megabyte"
    ) as told:
        look(out, 0, remove=True)
    assert told.value.file == str(out / CLEARED_LOG)
    assert set(before) - set(files_of(out)) == {"revisions/1/editorial/A001C001.mov"}
    with pytest.raises(ResourceError, match="nothing was cleared: what goes is written down first"):
        look(out, 0, remove=True)
    monkeypatch.undo()
    monkeypatch.setattr(os, "mkdir", full)  # nor for the lock
    monkeypatch.setattr("pathlib.Path.mkdir", full)
    with pytest.raises(ResourceError, match=r"nothing was cleared: what goes is written down first"):
        look(out, 0, remove=True)
    monkeypatch.undo()
    assert len(look(out, 0, remove=True).cleared) == 5 and len(read_cleared(out)) == 6


def test_a_read_only_disk_is_one_error(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def read_only(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("pathlib.Path.mkdir", read_only)
    monkeypatch.setattr(os, "mkdir", read_only)
    before = files_of(out)
    assert len(look(out, 0).may_go) == 6
    with pytest.raises((ResourceError, DeliveryError), match="the disk is read-only"):
        look(out, 0, remove=True)
    assert files_of(out) == before


def test_a_folder_without_rights_is_one_error(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "unlink", refused)
    told = look(out, 0, remove=True)
    monkeypatch.undo()
    assert told.cleared == [] and len(told.may_go) == 6  # they are there, and it says so
    assert sum("could not be taken away" in text for text in told.unread) == 6
    page = write_report(out).read_text()
    assert "cleared on" not in page and "kept as revisions/3/" in page


# --- killed


STEPS = ("add_cleared", "unlink_as", "drop_empty", "stat_of")


@pytest.mark.parametrize("number", range(12))
def test_killed_at_any_step_it_tells_the_truth(out: Path, number: int) -> None:
    """SIGKILL before or after a step, each drawn with a fixed seed; then all is as it says, and the same again ends it."""
    draw = random.Random(number)
    step, turn, after = draw.choice(STEPS), draw.randrange(1, 6), draw.random() < 0.5
    write_report(out)
    before = files_of(out)
    child = os.fork()
    if child == 0:
        try:
            real, calls = getattr(clear, step), [0]

            def struck(*words: object, **named: object) -> object:
                calls[0] += 1
                if calls[0] == turn and not after:
                    os.kill(os.getpid(), signal.SIGKILL)
                found = real(*words, **named)
                if calls[0] == turn:
                    os.kill(os.getpid(), signal.SIGKILL)
                return found

            setattr(clear, step, struck)
            look(out, 0, remove=True)
        finally:
            os._exit(7)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    then = files_of(out)
    gone = set(before) - set(then)
    assert gone <= {each.path for each in read_cleared(out)}  # nothing went that is not written down
    assert all(path.startswith("revisions/") for path in gone)
    told = look(out, 0)
    assert {each.path for each in told.may_go} | gone == {p for p in before if p.startswith("revisions/")}
    assert told.bytes == sum(map(len, then.values()))
    write_report(out)
    page = (out / "report" / "index.html").read_text()
    for name in ("editorial/A001C001.mov", "viewing/A001C001.mp4"):
        place = f"revisions/3/{name}"
        assert (f"was kept as {place}, cleared on" in page) == (place in gone)
        assert (f"; kept as {place}<" in page) == (place not in gone)
    look(out, 0, remove=True)
    assert not [p for p in files_of(out) if p.startswith("revisions/")]  # an empty folder may be left
    assert {p for p in before if not p.startswith(("revisions/", "report/"))} < set(files_of(out))


# --- whatever the history


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(data=st.data())
def test_no_current_foreign_or_handed_over_file_ever_goes(data: st.DataObject) -> None:
    """Any history of clips, deliveries, hands and disks: with any policy."""
    with tempfile.TemporaryDirectory() as place:
        out = Path(place) / "show" / "out"
        handed: set[bytes] = set()
        events = st.sampled_from(["revise", "revise", "revise", "hand", "foreign", "lose", "twin", "remove"])
        for number, event in enumerate(data.draw(st.lists(events, min_size=1, max_size=14))):
            clip = data.draw(st.sampled_from(["A", "B"]))
            movie, view = f"editorial/{clip}.mov", f"viewing/{clip}.mp4"
            if event == "revise" or not (out / "log").exists():
                some = data.draw(st.sampled_from([(movie,), (view,), (movie, view)]))
                days = data.draw(st.sampled_from([0, 3, 90]))
                files = {path: f"{path} {number}".encode() for path in some}
                revise(out, clip, files, days=days, keep=data.draw(st.booleans()))
            elif event == "hand":
                found = hand_over(Asked(out=out, name="editor", copy=data.draw(st.booleans())))
                if found.handover:
                    handed |= {(out / f.path).read_bytes() for f in found.handover.files}
            elif event == "foreign":
                mine = out / data.draw(
                    st.sampled_from(["revisions/1/editorial/mine", "notes", "revisions/n"])
                )
                mine.parent.mkdir(parents=True, exist_ok=True)
                mine.write_bytes(b"mine")
            elif event == "lose":
                (out / movie).unlink(missing_ok=True)
            elif event == "twin":  # a person's own link to a revision
                for old in sorted((out / "revisions").glob("*/editorial/*.mov"))[:1]:
                    (out / f"twin {number}").hardlink_to(old)
            else:
                _cleared(out, data, handed)
        _cleared(out, data, handed)


def _cleared(out: Path, data: st.DataObject, handed: set[bytes]) -> None:
    before, beside = files_of(out), files_of(out.parent)
    keep, days = data.draw(st.integers(0, 3)), data.draw(st.sampled_from([None, 1, 30]))
    with mock.patch.object(folder_space, "write_report"):
        shown = look(out, keep, days)
        told = look(out, keep, days, remove=True)
    after = files_of(out)
    gone = set(before) - set(after)
    assert gone == {each.path for each in shown.may_go} == {each.path for each in told.cleared}
    assert {p: d for p, d in after.items() if p != CLEARED_LOG} == {
        p: d for p, d in before.items() if p not in gone and p != CLEARED_LOG
    }
    now = {entry["path"] for record in latest(read_records(out)).values() for entry in record["outputs"]}
    assert not gone & now and all(path.startswith("revisions/") for path in gone)
    assert not {before[path] for path in gone} & ({b"mine"} | handed)
    outside = {p: d for p, d in beside.items() if not p.startswith("out/")}
    assert {p: d for p, d in files_of(out.parent).items() if not p.startswith("out/")} == outside
    assert shown.bytes == sum(map(len, before.values())) == sum(each.bytes for each in shown.holds)
    assert told.bytes == sum(map(len, after.values()))
