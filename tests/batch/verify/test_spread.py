"""Clips measured by several processes: verdicts as by one, in their order, whatever becomes of a process."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from logged import append_record
from recorded import movie, recorded
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.verdicts import ClipVerdicts
from rushlight.batch.verify import deliveries
from rushlight.batch.verify.spread import spread


def night(folder: Path, *names: str) -> list[DeliveredRecord]:
    folder.mkdir(exist_ok=True)
    for name in names:
        append_record(folder, recorded(name, movie(path=f"editorial/{name}.mov")))
    return deliveries.delivered_clips(folder)


def spread_toys(folder: Path, records: list[DeliveredRecord], workers: int = 2) -> list[ClipVerdicts]:
    told: list[str] = []
    found = spread(
        folder, records, hashes=False, workers=workers, on_clip=told.append, function="toymeasure:measure"
    )
    assert told == [r.clip for r in records] == [v.clip for v in found]
    return found


def processes(folder: Path) -> list[int]:
    return [int(line.split()[-1]) for line in (folder / "processes.txt").read_text().splitlines()]


def gone(process: int) -> bool:
    with suppress(OSError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    return True


def test_each_process_that_dies_costs_its_clip_and_no_other(tmp_path: Path) -> None:
    names = ["late", "exit", "a", "segfault", "odd", "b", "c"]
    found = spread_toys(tmp_path, night(tmp_path, *names))
    assert [v.verdict for v in found] == ["pass", "fail", "pass", "fail", "fail", "pass", "pass"]
    texts = [v.checks["frames"].text for v in found]
    assert texts[0] == "hashes False"
    assert "exit status 9" in texts[1] and "SIGSEGV" in texts[3] and "odd" in texts[4]
    assert len(set(processes(tmp_path))) == 4  # two, and one for each that died
    assert all(gone(p) for p in processes(tmp_path))


def test_processes_load_nothing_from_the_folder_somebody_works_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = tmp_path / "work"
    work.mkdir()
    for name in ("av", "numpy", "struct", "xxhash"):
        (work / f"{name}.py").write_text("open('run', 'a').write(__name__)")
    monkeypatch.chdir(work)
    found = spread_toys(tmp_path, night(tmp_path, "a", "b"))
    assert [v.verdict for v in found] == ["pass", "pass"] and not (work / "run").exists()


def test_a_real_folder_gives_what_one_process_gives(tmp_path: Path) -> None:
    """Verdicts, texts and order; a line of the log that does not read comes last in both."""
    night(tmp_path, "A001C003", "A001C001", "A001C002")
    with (tmp_path / "log" / "jobs.jsonl").open("a") as log:
        log.write('{"schema": "rushlight-job-1", "job": "torn"\n')
    one, two = (deliveries.verify(tmp_path, workers=n) for n in (1, 2))
    assert [v.plain() for v in one] == [v.plain() for v in two]
    assert [v.checks["frames"].text for v in one[:3]] == [
        f"editorial/A001C00{n}.mov: is not there" for n in (3, 1, 2)
    ]
    assert len(one) == 4


@pytest.mark.parametrize(("frames", "workers"), [(24, 1), (2400, 7)])
def test_a_small_folder_starts_no_processes(
    frames: int, workers: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a", "b"):
        append_record(
            tmp_path,
            recorded(name, movie(path=f"editorial/{name}.mov", frames=frames, width=1920, height=1080)),
        )
    asked: list[int] = []
    monkeypatch.setattr(deliveries, "default_workers", lambda: 7)
    monkeypatch.setattr(deliveries, "spread", lambda *_, workers, **__: asked.append(workers) or [])
    deliveries.verify(tmp_path)
    assert asked == ([workers] if workers > 1 else [])


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_stopped_or_killed_the_processes_end_at_once(number: signal.Signals, tmp_path: Path) -> None:
    """Ctrl-C, and a kill of who started them, in the middle of clips that take ten minutes."""
    night(tmp_path, "slow1", "slow2", "slow3")
    script = (
        "import sys; from pathlib import Path; sys.path[:0] = sys.argv[2:]\n"
        "from rushlight.batch.verify.deliveries import delivered_clips; from rushlight.batch.verify.spread import spread\n"
        "spread(f := Path(sys.argv[1]), delivered_clips(f), hashes=False, workers=2, on_clip=str, function='toymeasure:measure')"
    )
    support = str(Path(__file__).parents[2] / "support")
    run = subprocess.Popen([sys.executable, "-c", script, str(tmp_path), support], stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 60
        while not (tmp_path / "processes.txt").exists() or len(processes(tmp_path)) < 2:
            assert time.monotonic() < end and run.poll() is None
            time.sleep(0.05)
        os.kill(run.pid, number)
        run.wait(60)
        while not all(gone(p) for p in processes(tmp_path)):
            assert time.monotonic() < end + 60
            time.sleep(0.05)
        assert len(processes(tmp_path)) == 2  # the third was not begun
    finally:
        run.kill()
        for process in processes(tmp_path):
            with suppress(OSError):
                os.kill(process, signal.SIGKILL)
