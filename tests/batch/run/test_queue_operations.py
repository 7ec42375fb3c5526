"""The queue as its user drives it: lists join, clips are held, one runner, kill -9, and what is delivered."""

import json
import shutil
import signal
from pathlib import Path

import command
from command import started
from here import rushlight
from logged import latest, read_records
from rushlight.batch.queue.store import QueuedJob, open_store

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
SMALL = """[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "png8"]
at = ["middle"]
size = "320x180"
"""


def states(queue: Path) -> dict[str, str]:
    listed = rushlight("queue", "list", "--json", "--queue", queue)
    assert listed.returncode == 0, listed.stderr
    return {row["clip"]: row["state"] for row in json.loads(listed.stdout)}


def test_a_job_revised_while_it_runs_is_not_taken_for_done(tmp_path: Path) -> None:
    def job(identity: str) -> QueuedJob:
        return QueuedJob(
            key="a",
            out="o",
            clip="a",
            state="queued",
            priority=0,
            identity=identity,
            frames=1,
            added=0,
            payload={},
        )

    with open_store(tmp_path / "q.sqlite") as runner, open_store(tmp_path / "q.sqlite") as other:
        runner.add([job("old")])
        assert runner.set_state("a", "old", "running")
        seen = runner.version()
        other.add([job("old")])  # the same again: left running
        assert [r.state for r in runner.rows()] == ["running"]
        other.add([job("new")])
        assert runner.version() != seen
        assert not runner.set_state("a", "old", "done")
        assert [(r.state, r.identity) for r in runner.rows()] == [("queued", "new")]


def test_a_queue_from_add_to_delivery_through_kill_9(tmp_path: Path) -> None:
    queue, out = tmp_path / "q.sqlite", tmp_path / "out"
    given = ("--queue", queue)
    recipe = tmp_path / "small.toml"
    recipe.write_text(SMALL)
    day = ("queue", "add", SAMPLES / "day.csv", "--recipe", recipe, "--out", out, *given)
    assert rushlight(*day).returncode == 0
    assert "hold: 1 clip" in rushlight("queue", "hold", "B*", *given).stdout
    wrong = rushlight("queue", "hold", "nobody", *given)
    assert wrong.returncode == 2 and "'nobody' names no clip in this queue" in wrong.stderr
    assert states(queue) == {"A001C003.mov": "queued", "A001C007.mov": "queued", "B001C002": "held"}

    first = started("queue", "run", "--json", "--workers", 1, *given)
    assert first.stdout is not None
    assert any('"started"' in line for line in first.stdout)  # its first job, for which it took the folder
    first.send_signal(signal.SIGSTOP)  # it comes no further while others are turned away
    second = rushlight("queue", "run", *given)
    assert second.returncode == 2 and f"is being run by process {first.pid}" in second.stderr
    beside = rushlight("render", SAMPLES / "day.csv", "--recipe", recipe, "--out", out)
    assert beside.returncode == 2 and f"process {first.pid}" in beside.stderr
    first.send_signal(signal.SIGKILL)
    first.communicate()

    assert "release: 1 clip" in rushlight("queue", "release", "--all", *given).stdout
    run = command.rushlight("queue", "run", "--workers", 1, *given)
    assert run.returncode == 0, run.stdout + run.stderr
    assert set(states(queue).values()) == {"done"}
    records = read_records(out)
    assert [r["status"] for r in latest(records).values()] == ["done"] * 3 and len(records) == 3
    assert not [p for p in out.rglob("*") if ".part" in p.name] and not (out / ".work").exists()
    again = rushlight(*day)
    assert "0 clips queued, 3 made earlier" in again.stdout
    assert "drop: 3 clips" in rushlight("queue", "drop", "--all", *given).stdout
    assert states(queue) == {}


def test_a_clip_whose_disk_was_unplugged_is_retried(tmp_path: Path) -> None:
    queue, out, media = tmp_path / "q.sqlite", tmp_path / "out", tmp_path / "media"
    given = ("--queue", queue)
    shutil.copytree(SAMPLES / "B001C002", media / "B001C002")
    shutil.copytree(SAMPLES / "B001C002", media / "B001C003")
    (tmp_path / "day.csv").write_text(
        "clip,encoding,levels,lut\nB001C002,V-Log,full,farrow.cube\nB001C003,V-Log,full,farrow.cube\n"
    )
    shutil.copy(SAMPLES / "farrow.cube", tmp_path)
    (tmp_path / "small.toml").write_text(SMALL)
    day = (tmp_path / "day.csv", "--recipe", tmp_path / "small.toml", "--media", media, "--out", out)
    added = rushlight("queue", "add", *day, *given)
    assert added.returncode == 0, added.stderr

    (media / "B001C003").rename(tmp_path / "unplugged")
    run = rushlight("queue", "run", "--workers", 1, *given)
    assert run.returncode == 1 and "FAILED: 1 clip" in run.stdout and "B001C003" in run.stdout
    assert states(queue) == {"B001C002": "done", "B001C003": "failed"}
    delivered = {p: p.stat().st_mtime_ns for p in (out / "stills").iterdir()}
    assert delivered and all(p.stem.startswith("B001C002") for p in delivered)

    (tmp_path / "unplugged").rename(media / "B001C003")
    assert "nothing to run" in rushlight("queue", "run", *given).stdout  # until it is asked for
    retry = rushlight("queue", "retry", "--all", *given)
    assert "retry: 1 clip; left as they are: 1 done" in retry.stdout
    again = rushlight("queue", "run", "--workers", 1, *given)
    assert again.returncode == 0, again.stdout + again.stderr
    assert set(states(queue).values()) == {"done"}
    assert {r["clip"]: r["status"] for r in latest(read_records(out)).values()} == {
        "B001C002": "done",
        "B001C003": "done",
    }
    assert len(read_records(out)) == 3  # one failure, two deliveries: nothing was made twice
    assert {p: p.stat().st_mtime_ns for p in delivered} == delivered
    assert len(list((out / "stills").iterdir())) == 2 * len(delivered)
