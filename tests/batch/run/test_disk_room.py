"""Room: waiting for it by itself, and whole nights on a disk that is full at each kind of write."""

import errno
import json
import os
import subprocess
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from here import ENCODED, HereFarm, farm_here, files, run, small_day
from rushlight.batch.job_log import append_record, failure_record
from rushlight.batch.queue.state_machine import DEFAULT_POLICY
from rushlight.batch.queue.store import is_full, open_store
from rushlight.batch.report.page_pictures import Pictures
from rushlight.batch.run import disk_room as rooms
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Event, Stop
from rushlight.pipelines.errors import DeliveryError, ResourceError, from_os, no_room
from struck import MOMENTS, before

__all__ = ["farm_here"]
FULL = ResourceError("no space left on the disk", file="x")


class Told(EventStream):
    def __init__(self) -> None:
        super().__init__()
        self.told: list[Event] = []

    def event(self, event: Event) -> None:
        self.told.append(event)


@pytest.mark.parametrize(
    ("error", "full"),
    [
        (OSError(errno.ENOSPC, "full"), True),
        (OSError(errno.EDQUOT, "quota"), True),
        (OSError(errno.EIO, "fault"), False),
        (from_os(OSError(errno.ENOSPC, "full"), "x"), True),
        (from_os(OSError(errno.EDQUOT, "quota"), "x"), True),
        (from_os(OSError(errno.EROFS, "read-only"), "x"), False),
        (DeliveryError("is short"), False),
    ],
)
def test_what_is_a_want_of_room(error: Exception, full: bool) -> None:
    assert no_room(error) == full


@pytest.mark.parametrize("error", [FULL, OSError(errno.EDQUOT, "quota")])
def test_it_waits_says_so_once_and_writes_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    free, view, tries = iter([0, 0, 5, 5, 5, 9]), Told(), []
    monkeypatch.setattr(rooms, "free_bytes", lambda path: next(free))
    monkeypatch.setattr(rooms, "LOOK", 0)

    def write() -> str:
        tries.append(True)
        if len(tries) < 3:
            raise error
        return "done"

    assert Room(view, Stop()).to(tmp_path, write) == "done"
    assert [e.what for e in view.told] == ["paused", "resumed"]
    assert "; make room and it goes on" in view.told[0].text and "Errno" not in view.told[0].text
    assert next(free, None) is None  # it looked until there was more room, and then again


def test_a_first_attempt_that_was_begun_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Room, "_wait", lambda self, place: None)
    begun: Future[str] = Future()
    begun.set_exception(FULL)
    assert Room(Told(), Stop()).to(tmp_path, lambda: "again", begun=begun) == "again"
    good: Future[str] = Future()
    good.set_result("first")
    assert Room(Told(), Stop()).to(tmp_path, lambda: "again", begun=good) == "first"


def test_what_is_no_want_of_room_and_who_is_asked_to_stop(tmp_path: Path) -> None:
    def fails(error: Exception) -> Any:
        raise error

    with pytest.raises(DeliveryError):
        Room(Told(), Stop()).to(tmp_path, lambda: fails(DeliveryError("is short")))
    with pytest.raises(ResourceError):
        Room(Told(), Stop(level=1)).to(tmp_path, lambda: fails(FULL))
    with pytest.raises(ResourceError):
        Room(Told(), Stop(), patient=False).to(tmp_path, lambda: fails(FULL))


def test_a_quota_that_shows_nowhere_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rooms, "free_bytes", lambda path: 10**12)
    monkeypatch.setattr(rooms, "AGAIN", 0.01)
    tries = iter([OSError(errno.EDQUOT, "quota"), OSError(errno.EDQUOT, "quota"), None])

    def write() -> str:
        if error := next(tries):
            raise error
        return "done"

    assert Room(Told(), Stop()).to(tmp_path, write) == "done"


# --- whole nights


@pytest.fixture()
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=24m,mode=0700", "none", place]
    made = subprocess.run(mount, capture_output=True, text=True)
    if made.returncode:
        pytest.skip(f"a disk of its own needs root: {made.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)


def fill(disk: Path) -> None:
    """Take the last byte of it."""
    with (disk / "ballast").open("wb", buffering=0) as stream:
        try:
            while True:
                stream.write(bytes(1 << 16))
        except OSError as error:
            assert error.errno == errno.ENOSPC
    free = os.statvfs(disk)
    assert free.f_bavail == 0


STAGES = [m for m in MOMENTS if m not in ("reading", "planning", "starting", "measuring", "page", "waiting")]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[tuple[object, ...], dict[str, bytes]]:
    folder = tmp_path_factory.mktemp("room")
    command = ("render", small_day(folder), "--recipe", folder / "two.toml", "--keep-free", "0")
    with pytest.MonkeyPatch.context() as patch:
        from rushlight.batch.farm import dask_farm

        patch.setattr(dask_farm, "DaskFarm", lambda **options: HereFarm())
        code, said = run(*command, "--out", folder / "out")
    assert code == 0, said
    return command, files(folder / "out", "editorial", "viewing")


@pytest.mark.parametrize("stage", STAGES)
def test_a_disk_that_is_full_at_any_write(
    day: tuple[Any, ...], disk: Path, farm_here: HereFarm, monkeypatch: pytest.MonkeyPatch, stage: str
) -> None:
    """It is filled as that function is called, and there is room again once the night has paused."""
    command, wanted = day
    told: list[str] = []
    say = EventStream.event

    def event(self: EventStream, event: Event) -> None:
        if event.what in ("paused", "resumed", "retry", "failed", "set aside"):
            told.append(event.what)
            assert "no space left" in event.text or event.what == "resumed", event.text
        if event.what in ("paused", "retry"):
            (disk / "ballast").unlink(missing_ok=True)
        say(self, event)

    monkeypatch.setattr(EventStream, "event", event)
    before(stage, lambda: fill(disk), monkeypatch.setattr)
    monkeypatch.setitem(vars(DEFAULT_POLICY), "resource_wait", 0.1)
    monkeypatch.setattr(rooms, "AGAIN", 0.1)
    code, said = run(*command, "--out", disk / "out")
    assert code == 0 and set(told) <= {"paused", "resumed", "retry"}, said
    assert told in (["paused", "resumed"], ["retry"]) and "was not" not in said, (told, said)
    assert files(disk / "out", "editorial", "viewing") == wanted
    pictures = list((disk / "out" / "report" / "pictures").iterdir())
    assert len(pictures) >= 2 * len(Pictures.__annotations__) and all(
        p.stat().st_size > 500 for p in pictures
    )
    assert list((disk / "out" / "ascmhl").glob("0001*.mhl")) and not list(disk.rglob("*.part"))


def test_a_line_of_the_log_is_there_whole_or_not_at_all(disk: Path) -> None:
    """A full disk takes what fits into the last page."""
    append_record(disk, failure_record("a", "a", "failed", "x"))
    log = disk / "log" / "jobs.jsonl"
    before = log.read_bytes()
    fill(disk)
    for _ in range(2):
        with pytest.raises(ResourceError, match="no space left on the disk"):
            append_record(disk, failure_record("b", "b", "failed", "x" * 9999))
        assert log.read_bytes() == before
    (disk / "ballast").unlink()
    append_record(disk, failure_record("c", "c", "failed", "x"))
    assert [json.loads(line)["job"] for line in log.read_text().splitlines()] == ["a", "c"]


def test_a_queue_that_cannot_be_made_for_want_of_room(disk: Path) -> None:
    fill(disk)
    with pytest.raises(ResourceError, match="no space left") as found:
        open_store(disk / "q.sqlite")
    assert no_room(found.value) and is_full(found.value)


def test_queue_add_says_it_and_leaves_nothing_half(
    disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A person is there: no waiting."""
    day = small_day(tmp_path / "day")
    command = ("queue", "add", day, *ENCODED, "--out", disk / "out", "--queue", disk / "q.sqlite")
    before("queueing", lambda: fill(disk), monkeypatch.setattr)
    code, said = run(*command)
    assert code == 1 and "no space left on the disk" in said
    (disk / "ballast").unlink()
    code, said = run("queue", "list", "--queue", disk / "q.sqlite")
    assert code == 0 and "is empty" in said
    assert run(*command)[0] == 0
