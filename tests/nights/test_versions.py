"""Upgrades in mid-show: what 0.1.0 and 0.2.0 left on a cart goes on working, and loses nothing on the way."""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from here import HereFarm, files, run
from logged import latest, read_records
from rushlight.batch.api.render import render
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.queue import migrations
from rushlight.batch.queue.migrations import VERSION
from rushlight.batch.queue.store import Store
from rushlight.pipelines.errors import ResourceError
from versions import VERSIONS, unpacked

DELIVERED = ("editorial", "viewing", "stills", "revisions")


@pytest.fixture(params=VERSIONS)
def cart(request: pytest.FixtureRequest) -> Iterator[Path]:
    with unpacked(request.param) as folder:
        yield folder


@pytest.fixture
def farm(monkeypatch: pytest.MonkeyPatch) -> HereFarm:
    """Every farm that is opened is this one."""
    made = HereFarm()
    monkeypatch.setattr(farms, "DaskFarm", lambda **options: made)
    return made


def request_of(cart: Path, name: str = "day.csv", out: str = "out") -> tuple[object, ...]:
    return (cart / name, "--recipe", cart / "small.toml", "--media", cart / "card", "--out", cart / out)


def test_render_again_makes_nothing(cart: Path, farm: HereFarm) -> None:
    before, log = files(cart / "out", *DELIVERED), (cart / "out/log/jobs.jsonl").read_bytes()
    code, said = run("render", *request_of(cart))
    assert code == 0, said
    assert not farm.calls
    assert files(cart / "out", *DELIVERED) == before
    assert (cart / "out/log/jobs.jsonl").read_bytes() == log
    assert "2 clips made earlier and unchanged" in said


def test_a_copy_of_the_folder_on_another_machine_makes_nothing(
    cart: Path, tmp_path: Path, farm: HereFarm
) -> None:
    there = shutil.copytree(cart, tmp_path / "show")
    shutil.rmtree(cart / "card")
    code, said = run("render", *request_of(there))
    assert (code, farm.calls) == (0, []), said


def test_from_makes_the_same_colour_or_says_what_to_give(cart: Path, farm: HereFarm) -> None:
    code, said = run("render", "--from", cart / "out", "--media", cart / "card", "--out", cart / "again")
    if not (cart / "out/log/inputs/requests.jsonl").exists():  # 0.1.0 kept no requests
        assert code == 2 and "give the list itself with --out" in said
        return
    assert code == 0, said
    assert "which recorded OpenColorIO 2.6.0 and no other version" in said
    assert f"colour: 2 clips as in {cart / 'out'}, every frame to the last bit" in said
    assert measured(cart / "again") == 2


def test_a_half_made_night_is_finished(cart: Path, farm: HereFarm) -> None:
    """What was delivered stays; the clip in hand is made whole by one version, the new one."""
    before = files(cart / "half", *DELIVERED)
    code, said = run("render", *request_of(cart, "half.csv", "half"))
    after = files(cart / "half", *DELIVERED)
    assert code == 0 and "1 clip made earlier and unchanged" in said, said
    assert {name: after[name] for name in before} == before and len(after) == 2 * len(before)
    assert all(task.key.startswith("A001C004") for task in farm.calls)
    assert not (cart / "half/.work").exists()


def test_a_queue_runs_or_says_what_to_do(cart: Path, farm: HereFarm) -> None:
    queue = ("--queue", cart / "queue.db")
    code, said = run("queue", "list", *queue)
    assert code == 0 and "A001C003" in said and "held" in said
    assert run("queue", "release", "--all", *queue)[0] == 0
    code, said = run("queue", "run", *queue)
    if code:  # the looks that 0.1.0 baked are not today's
        assert "add the clip's list again, which bakes it anew" in said
        words = request_of(cart, "half.csv", "later")
        assert run("queue", "add", *words, *queue)[0] == 0
        code, said = run("queue", "run", *queue)
    assert code == 0, said
    assert [r["status"] for r in latest(read_records(cart / "later")).values()] == ["done", "done"]


def measured(out: Path) -> int:
    """Clips of which `verify` finds timecode, tags and hash as recorded. At 64x36 this codec is too coarse for pictures to pass."""
    _, said = run("verify", out, "--json")
    clips = json.loads(said)["clips"]
    checks = [clip["checks"][name]["verdict"] for clip in clips for name in ("timecode", "tags", "hash")]
    assert set(checks) == {"pass"}, said
    return len(clips)


# --- what goes wrong on the way


def changed(cart: Path) -> None:
    """The list with another saturation of both clips: each is to be made again."""
    (cart / "day.csv").write_text((cart / "day.csv").read_text().replace("0.9", "0.8"))


def kept(before: dict[str, bytes], cart: Path) -> bool:
    """True if every delivered file of before is there, under its name or among the revisions."""
    return set(before.values()) <= set(files(cart / "out", *DELIVERED).values())


def test_a_record_that_is_half_written_costs_its_clip_alone(cart: Path, farm: HereFarm) -> None:
    """The machine of then went down while it wrote its last line: that clip is made again, as it was."""
    log, before = cart / "out/log/jobs.jsonl", files(cart / "out", *DELIVERED)
    torn = read_records(cart / "out")[-1]
    log.write_bytes(log.read_bytes()[:-200])
    whole = log.read_bytes().rpartition(b"\n")[0]
    code, said = run("render", *request_of(cart))
    assert code == 0 and "1 clip made earlier and unchanged" in said, said
    assert {task.key.partition("-")[0] for task in farm.calls} == {"A001C001"}
    after = files(cart / "out", *DELIVERED)
    theirs = {entry["path"] for entry in torn["outputs"]}
    for name in after.keys() - before.keys():  # its files that came out with other bytes by today's version
        assert after.pop(name) == before[name.split("/", 2)[2]], name
    assert {n: b for n, b in after.items() if n not in theirs} == {
        n: b for n, b in before.items() if n not in theirs
    }
    assert log.read_bytes().startswith(whole) and set(after) == set(before)
    again = latest(read_records(cart / "out"))
    assert len(again) == 2 and again[torn["job"]]["status"] == "done"
    if (cart / "day.toml").exists():  # looks of 0.1.0 are not today's to the last digit
        assert again[torn["job"]]["colour"]["digest"] == torn["colour"]["digest"]


def test_a_disk_that_is_full_loses_nothing_of_then(cart: Path, farm: HereFarm) -> None:
    """At the first write of all, and when the record of a clip is written, where the machine goes down while the night waits for room.
    A limit on the size of files stands for it."""
    log = cart / "out/log/jobs.jsonl"
    before, lines = files(cart / "out", *DELIVERED), log.read_bytes()
    changed(cart)
    options = {"recipe": str(cart / "small.toml"), "media": cart / "card"}

    def paused(event: dict[str, object]) -> None:
        if event["event"] == "paused":
            os._exit(9)

    for room, ends in ((0, 1), (len(lines), 9)):  # the first is refused at once, the second waits

        def night(room: int = room) -> None:
            signal.alarm(120)
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
            render(cart / "day.csv", out=cart / "out", on_event=paused, **options)

        assert in_a_process(night) == ends
        assert log.read_bytes() == lines and kept(before, cart)
    code, said = run("render", *request_of(cart))
    assert code == 0 and log.read_bytes().startswith(lines) and kept(before, cart), said
    assert [r["status"] for r in latest(read_records(cart / "out")).values()] == ["done", "done"]


def test_a_cleared_folder_goes_on(cart: Path, farm: HereFarm) -> None:
    out = cart / "out"
    before = files(out, *DELIVERED)
    old = sorted(name for name in before if name.startswith("revisions/"))
    code, said = run("space", out, cart / "half", "--keep-revisions", 0, "--remove")
    assert code == 0 and old == sorted(
        word.removesuffix(":").removeprefix(f"{out}/")
        for line in said.splitlines()
        if line.startswith("cleared  ")
        for word in line.split()[1:2]
    ), said
    assert files(out, *DELIVERED) == {name: data for name, data in before.items() if name not in old}
    code, said = run("render", *request_of(cart))
    assert (code, farm.calls) == (0, []), said
    page = (out / "report" / "index.html").read_text()
    assert all(f"was kept as {name}, cleared on " in page for name in old)


# --- a newer version's, and migrations

QUEUES = ("queue.db", "half/.work/queue.sqlite")


def whole(folder: Path) -> dict[Path, bytes]:
    """Every file of a folder."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Each table of a queue, whole."""
    with closing(sqlite3.connect(path)) as db:
        return {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in ("about", "job", "segment")}


def test_a_newer_queue_is_refused_and_left_as_it_is(cart: Path, farm: HereFarm) -> None:
    for name in QUEUES:
        with closing(sqlite3.connect(cart / name)) as db:
            db.execute("UPDATE about SET value=?", (str(int(VERSION) + 1),))
            db.commit()
    before = {name: (cart / name).read_bytes() for name in QUEUES}
    half = whole(cart / "half")
    for words in (
        ("queue", "list", "--queue", cart / "queue.db"),
        ("queue", "run", "--queue", cart / "queue.db"),
        ("render", *request_of(cart, "half.csv", "half")),
    ):
        code, said = run(*words)
        assert code and "which a newer rushlight wrote" in said, said
    assert "remove the folder .work" in said
    assert {name: (cart / name).read_bytes() for name in QUEUES} == before and not farm.calls
    assert whole(cart / "half") == half  # with "has changed nothing" in its words


def test_a_newer_record_is_read_and_nothing_is_added_to_it(cart: Path, farm: HereFarm) -> None:
    log = cart / "out/log/jobs.jsonl"
    log.write_text(log.read_text().replace('"rushlight-job-1"', '"rushlight-job-2"'))
    before = whole(cart / "out")
    changed(cart)
    code, said = run("render", *request_of(cart))
    assert (
        code == 2 and "newer rushlight (records rushlight-job-2" in said and "nothing was changed" in said
    ), said
    assert whole(cart / "out") == before
    code, said = run("handover", cart / "out", "--name", "editor", "--to", cart)
    assert (
        code == 2 and "Close the delivery with the newer one" in said and not (cart / "editor_001").exists()
    )
    run("space", cart / "out", "--keep-revisions", 0, "--remove")  # refused where there is anything to clear
    assert {path: path.read_bytes() for path in before} == before and not farm.calls
    assert measured(cart / "out") == 2


def test_a_queue_leaves_the_folder_of_a_newer_version_alone(cart: Path, farm: HereFarm) -> None:
    """Its clips stay queued, and whoever runs the queue is told the way back."""
    log = cart / "later/log/jobs.jsonl"
    log.write_text(
        (cart / "out/log/jobs.jsonl").read_text().replace('"rushlight-job-1"', '"rushlight-job-2"')
    )
    before = {path: path.read_bytes() for path in (cart / "later").rglob("*") if path.is_file()}
    queue = ("--queue", cart / "queue.db")
    assert run("queue", "release", "--all", *queue)[0] == 0
    code, said = run("queue", "run", *queue)
    assert code == 1 and not farm.calls, said
    assert "later was rendered into by a newer rushlight (records rushlight-job-2" in " ".join(said.split())
    assert "Its clips stay queued: run this queue with the newer one" in " ".join(said.split())
    assert "STOPPED" not in said
    with Store(cart / "queue.db") as store:
        assert [row.state for row in store.rows()] == ["queued", "queued"]
    assert {path: path.read_bytes() for path in (cart / "later").rglob("*") if path.is_file()} == before


def of_0_1_0(cart: Path) -> Path:
    path = cart / "queue.db"
    if dict(rows(path)["about"])["version"] == VERSION:
        pytest.skip("its queue is of today's version")
    return path


def in_a_process(work: Callable[[], object]) -> int:
    """The exit code of a process that does that: 0, or 1 where it raised ResourceError."""
    if child := os.fork():
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    code = 2
    try:
        work()
        code = 0
    except ResourceError:
        code = 1
    finally:
        os._exit(code)


def test_a_migration_keeps_a_copy(cart: Path) -> None:
    path = of_0_1_0(cart)
    before = rows(path)
    for _ in range(2):
        Store(path).close()
    copy = path.with_name("queue.db.version-1")
    assert rows(copy) == before and copy.stat().st_mode & 0o777 == 0o600
    assert dict(rows(path)["about"])["version"] == VERSION
    assert [row[:4] for row in rows(path)["job"]] == [row[:4] for row in before["job"]]


def test_a_migration_that_is_killed_has_changed_nothing(cart: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = of_0_1_0(cart)
    before = rows(path)
    monkeypatch.setattr(migrations, "_orders_apart", lambda db: os._exit(9))
    assert in_a_process(lambda: Store(path)) == 9
    monkeypatch.undo()
    assert rows(path) == before
    Store(path).close()
    assert (
        dict(rows(path)["about"])["version"] == VERSION
        and rows(path.with_name("queue.db.version-1")) == before
    )


@pytest.mark.parametrize("room", [0, 20_000])
def test_a_migration_without_room_has_changed_nothing(cart: Path, room: int) -> None:
    """A limit on the size of files stands for a full disk: writes fail in the same places."""
    path = of_0_1_0(cart)
    before = path.read_bytes()

    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        Store(path)

    assert in_a_process(work) == 1
    assert path.read_bytes() == before
    assert [p.name for p in cart.iterdir() if "version" in p.name] == []
    Store(path).close()
    assert dict(rows(path)["about"])["version"] == VERSION
