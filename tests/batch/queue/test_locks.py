"""One runner a queue, one an output folder; a lock goes with its process."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from rushlight.batch.queue.locks import Lock, folder_held, hold_folder, hold_queue, runner_of
from rushlight.pipelines.errors import QueueError, ResourceError, RushlightError


def test_a_second_one_is_told_who(tmp_path: Path) -> None:
    with hold_queue(tmp_path / "q.sqlite"), hold_folder(tmp_path / "out"):
        me = rf"process {os.getpid()} on {os.uname().nodename}, since \d\d:\d\d"
        with pytest.raises(QueueError, match=rf"q.sqlite: is being run by {me}"):
            hold_queue(tmp_path / "q.sqlite")
        with pytest.raises(QueueError, match=rf"out: is being rendered into by {me}"):
            hold_folder(tmp_path / "out")
        hold_folder(tmp_path / "other").release()
    hold_queue(tmp_path / "q.sqlite").release()
    hold_folder(tmp_path / "out").release()


def test_a_lock_whose_folder_was_taken_away_is_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The holder ends by removing `.work`: who opened the file before that must not believe to have it."""
    import fcntl

    holder = hold_folder(tmp_path)
    taken, flock = [], fcntl.flock

    def late(handle: int, how: int) -> None:
        if not taken:
            taken.append(handle)
            shutil.rmtree(tmp_path / ".work")
            holder.release()
        flock(handle, how)

    monkeypatch.setattr(fcntl, "flock", late)
    with hold_folder(tmp_path) as lock:
        assert lock.place.is_file()
        monkeypatch.setattr(fcntl, "flock", flock)
        with pytest.raises(QueueError):
            hold_folder(tmp_path)


def test_what_is_no_render_leaves_no_lock_behind(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), folder_held(tmp_path, "counting it"):
        with pytest.raises(QueueError, match=r"\(counting it\)"):
            hold_folder(tmp_path)
        raise ZeroDivisionError
    assert not list(tmp_path.iterdir())
    (tmp_path / ".work" / "A001").mkdir(parents=True)
    with folder_held(tmp_path, "counting it"):
        pass
    assert (tmp_path / ".work" / "runner").is_file()  # a night's own folder


def test_it_goes_with_its_process(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from rushlight.batch.queue.locks import hold_folder\n"
        "lock = hold_folder(Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None and process.stdin is not None
    assert process.stdout.readline() == "held\n"
    with pytest.raises(QueueError, match=f"process {process.pid} "):
        hold_folder(tmp_path)
    process.kill()
    process.wait()
    process.stdin.close()
    process.stdout.close()
    hold_folder(tmp_path).release()


def test_a_place_that_cannot_be_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RushlightError) as caught:
        Lock(tmp_path / "file", "lock", "{who}")
    assert not isinstance(caught.value, ResourceError)


def test_who_runs_a_queue_is_seen_without_taking_it(tmp_path: Path) -> None:
    queue = tmp_path / "q.sqlite"
    assert runner_of(queue) == "" and not list(tmp_path.iterdir())
    with hold_queue(queue):
        assert runner_of(queue).startswith(f"process {os.getpid()} on {os.uname().nodename}, since ")
    assert runner_of(queue) == ""
    with hold_queue(queue):
        pass
