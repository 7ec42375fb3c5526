"""The queue's commands on small clips: what joins, is held, goes first, and where a queue may lie."""

import json
import shutil
import signal
import sqlite3
import time
from pathlib import Path

import pytest

from command import started
from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records
from rushlight.batch import disks
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.queue.store import queue_of

CLIPS = {"A001C001": 2, "A001C002": 3, "A001C003": 4}


def listed(queue: Path) -> dict[str, str]:
    code, said = run("queue", "list", "--json", "--queue", queue)
    assert code == 0, said
    return {row["clip"][:8]: row["state"] for row in json.loads(said)}


def made(farm: HereFarm) -> list[str]:
    found = [t.arguments[0]["stem"] for t in farm.calls if t.function.endswith("finish_job")]
    farm.calls.clear()
    return found


@pytest.fixture
def day(tmp_path: Path) -> tuple[object, ...]:
    """`add` with its list, recipe and queue; --out is for the test to give."""
    day = small_day(tmp_path / "day", CLIPS)
    return ("queue", "add", day, "--recipe", tmp_path / "day" / "two.toml", "--queue", tmp_path / "q.sqlite")


def test_held_clips_wait_urgent_ones_go_first_and_a_failed_one_is_retried(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    day: tuple[object, ...],
) -> None:
    queue, out = tmp_path / "q.sqlite", tmp_path / "out"
    given = ("--queue", queue)
    farm_here.slots = 1
    assert "3 clips queued" in run(*day, "--out", out)[1]
    assert run(*day, "--out", out, "--only", "clip=A001C001.mov", "--priority", "5")[0] == 0
    assert "hold: 1 clip" in run("queue", "hold", "A001C003.mov", *given)[1]
    assert run(*day, "--out", out)[0] == 0  # the same again lets nothing go that was held
    assert listed(queue) == {"A001C001": "queued", "A001C002": "queued", "A001C003": "held"}
    assert run(*day, "--out", out, "--only", "clip=A001C001.mov", "--priority", "5")[0] == 0

    def fails(task: object) -> None:
        if "A001C002" in task.key:  # type: ignore[attr-defined]
            raise ZeroDivisionError("made to fail")

    farm_here.before = fails
    code, said = run("queue", "run", *given)
    assert code == 1 and "FAILED: 1 clip" in said, said
    assert made(farm_here) == ["A001C001"]
    assert listed(queue) == {"A001C001": "done", "A001C002": "failed", "A001C003": "held"}
    farm_here.before = lambda task: None
    assert "retry: 1 clip; left as they are: 1 done, 1 held" in run("queue", "retry", "--all", *given)[1]
    assert "release: 1 clip" in run("queue", "release", "A001C003.mov", *given)[1]
    code, said = run("queue", "run", *given)
    assert code == 0 and made(farm_here) == ["A001C003", "A001C002"]  # long ones first
    assert {r["status"] for r in latest(read_records(out)).values()} == {"done"}
    assert len(files(out, "editorial", "viewing")) == 6 and not (out / ".work").exists()
    assert "drop: 3 clips" in run("queue", "drop", "--all", *given)[1] and listed(queue) == {}
    assert len(files(out, "editorial", "viewing")) == 6  # what was delivered stays
    assert "nothing to run" in run("queue", "run", *given)[1]


def test_a_list_joins_a_running_queue_and_a_revised_row_has_its_turn(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    day: tuple[object, ...],
) -> None:
    out, other = tmp_path / "out", tmp_path / "other"
    assert run(*day, "--out", out, "--only", "clip=A001C001.mov")[0] == 0
    joined: list[int] = []

    def join(task: object) -> None:
        if not joined:
            joined.append(run(*day, "--out", other, "--only", "clip=A001C002.mov")[0])
            slopes = {c: {"slope": "1.2 1 1", "offset": "0 0 0", "power": "1 1 1"} for c in CLIPS}
            write_list(Path(str(day[2])), slopes)  # a grade is revised while its clip is being made
            joined.append(run(*day, "--out", out, "--only", "clip=A001C001.mov")[0])

    farm_here.before = join
    code, said = run("queue", "run", "--queue", tmp_path / "q.sqlite")
    assert code == 0 and joined == [0, 0], said
    assert sorted(made(farm_here)) == ["A001C001", "A001C002"]  # the earlier grade is not finished
    (first,), (second,) = read_records(out), read_records(other)
    assert "1.2 1 1" in json.dumps(first["look"]) and first["revision"] == 1
    assert second["clip"] == "A001C002.mov" and (other / "report" / "index.html").is_file()


def test_two_recipes_of_one_list_are_two_jobs(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    day: tuple[object, ...],
) -> None:
    out = tmp_path / "out"
    (tmp_path / "day" / "stills.toml").write_text(
        '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'
    )
    other = tuple(tmp_path / "day" / "stills.toml" if str(a).endswith("two.toml") else a for a in day)
    for add in (day, other, day):
        assert run(*add, "--out", out, "--only", "clip=A001C001.mov")[0] == 0
    assert run("queue", "run", "--queue", tmp_path / "q.sqlite")[0] == 0
    (record,) = latest(read_records(out)).values()
    assert {e["output"] for e in record["outputs"]} == {"editorial", "viewing", "stills"}


def test_one_runner_a_folder_and_two_side_by_side(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    day: tuple[object, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    render = ("render", *day[2:5], "--out")
    answers: list[tuple[int, str]] = []

    def meanwhile(task: object) -> None:
        if not answers:
            answers.append(run(*render, tmp_path / "out"))  # the same folder: told who runs
            with monkeypatch.context() as patch:
                patch.setattr(farms, "DaskFarm", lambda **options: HereFarm())
                answers.append(run(*render, tmp_path / "beside"))  # another: goes on beside it
            assert run(*day, "--out", tmp_path / "out")[0] == 0  # and a queue may be filled meanwhile

    farm_here.before = meanwhile
    code, said = run(*render, tmp_path / "out")
    assert code == 0, said
    assert answers[0][0] == 2 and "is being rendered into by process" in answers[0][1]
    assert answers[1][0] == 0 and "delivered 3 clips" in answers[1][1]
    assert files(tmp_path / "out", "editorial") == files(tmp_path / "beside", "editorial")
    farm_here.calls.clear()
    code, said = run("queue", "run", "--queue", tmp_path / "q.sqlite")  # all of it is there by now
    assert code == 0 and said.count("made earlier, unchanged: A001C00") == 3 and not farm_here.calls, said


def test_on_a_network_share_the_queue_lies_in_the_state_folder(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    day: tuple[object, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    share = Path("/dev/shm") / f"rushlight-{tmp_path.name}-{time.time_ns()}"
    try:
        share.mkdir()
    except OSError:
        pytest.skip("needs /dev/shm to stand in for a share")
    try:
        kind = disks.network_file_system(share)
        monkeypatch.setattr(disks, "_NETWORK", frozenset({*disks._NETWORK, kind or "tmpfs"}))
        if not disks.network_file_system(share):
            pytest.skip("/dev/shm is no tmpfs here")
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
        seen: list[bool] = []

        def look(task: object) -> None:
            seen.append(queue_of(share / "out").is_file() and not list(share.rglob("*.sqlite")))

        farm_here.before = look
        code, said = run("render", *day[2:5], "--out", share / "out")
        assert code == 0 and seen and all(seen), said
        assert str(queue_of(share / "out")).startswith(str(tmp_path / "state"))
        assert not queue_of(share / "out").exists() and not (share / "out" / ".work").exists()
        code, said = run("queue", "list", "--queue", share / "q.sqlite")
        assert code == 2 and "lies on a network file system (tmpfs)" in said and "local disk" in said
        monkeypatch.setenv("XDG_STATE_HOME", str(share / "state"))
        code, said = run("render", *day[2:5], "--out", share / "more")
        assert code == 2 and "XDG_STATE_HOME" in said
    finally:
        shutil.rmtree(share)


def test_stay_takes_what_joins_until_it_is_told_to_stop(tmp_path: Path, day: tuple[object, ...]) -> None:
    queue, out = tmp_path / "q.sqlite", tmp_path / "out"
    process = started("queue", "run", "--stay", "--json", "--workers", 1, "--queue", queue)
    try:
        assert process.stdout is not None and '"begin"' in process.stdout.readline()
        assert run(*day, "--out", out, "--only", "clip=A001C001.mov")[0] == 0
        deadline = time.monotonic() + 120
        while not (out / "report" / "index.html").is_file() and time.monotonic() < deadline:
            time.sleep(0.2)
        assert (
            listed(queue) == {"A001C001": "done"} and process.poll() is None
        )  # its pages made, it waits for more
        process.send_signal(signal.SIGINT)
        said, errors = process.communicate(timeout=60)
        assert process.returncode == 0, said + errors
        assert json.loads(said.splitlines()[-1])["done"] == ["A001C001.mov"]
    finally:
        process.kill()
        process.communicate()


def test_ctrl_c_twice_stops_now_and_the_same_command_goes_on(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day = small_day(tmp_path / "day", {"A001C001": 150, "A001C002": 120})
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--workers", 1, "--json", "--out")
    process = started(*command, tmp_path / "out")
    try:
        assert process.stdout is not None
        for line in process.stdout:
            if '"segment"' in line:
                break
        process.send_signal(signal.SIGINT)
        for line in process.stdout:
            if '"stopping"' in line:
                break
        process.send_signal(signal.SIGINT)
        said, errors = process.communicate(timeout=60)
    finally:
        process.kill()
        process.communicate()
    assert process.returncode == 3 and "stopped at once" in errors, said + errors
    assert len(done := [r for r in read_records(tmp_path / "out") if r["status"] == "done"]) < 2, done
    assert run(*command, tmp_path / "whole")[0] == 0
    whole = files(tmp_path / "whole", "editorial", "viewing")
    assert all(whole[name] == data for name, data in files(tmp_path / "out", "editorial", "viewing").items())
    farm_here.calls.clear()
    assert run(*command, tmp_path / "out")[0] == 0
    segments = [t for t in farm_here.calls if t.function.endswith("render_segment")]
    assert len(segments) < 4 + 3  # what was finished before is not rendered again
    assert files(tmp_path / "out", "editorial", "viewing") == whole


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"patches": {"black": {"xyz": [0, 0, None], "lab": [0, 0, 0]}}}, "patches: "),
        ({"patches": {"black": 1}}, "black: its xyz is not three numbers"),
        ({"fields": None}, "fields: "),
        ({"rate": 24}, "rate: "),
    ],
)
def test_a_job_that_is_damaged_in_the_queue_fails_before_anything_of_it_is_rendered(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    change: dict[str, object],
    said: str,
) -> None:
    day, queue, out = small_day(tmp_path / "day", {"A": 2, "B": 2}), tmp_path / "q.sqlite", tmp_path / "out"
    run("queue", "add", day, "--recipe", day.parent / "two.toml", "--out", out, "--queue", queue)
    with sqlite3.connect(queue) as db:
        ((payload,),) = db.execute("SELECT payload FROM job WHERE clip='A.mov'").fetchall()
        db.execute("UPDATE job SET payload=? WHERE clip='A.mov'", (json.dumps(json.loads(payload) | change),))
    db.close()
    code, found = run("queue", "run", "--queue", queue)
    assert code == 1 and "the queue holds this job damaged" in found and "add its list again" in found, found
    assert said in found and "rushlight's own" not in found and "pydantic" not in found, found
    assert sorted(files(out, "editorial", "viewing")) == ["editorial/B.mov", "viewing/B.mp4"]
    assert len([t for t in farm_here.calls if "/A" in str(t.arguments[0]["source"])]) == 1
