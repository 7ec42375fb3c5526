"""An original that somebody is still writing waits, then is taken; it is no error by itself."""

import os
import shutil
import threading
import time
from pathlib import Path

import pytest

from here import HereFarm, farm_here, files, run, small_day  # noqa: F401
from logged import latest, read_records
from pictures import numbered, write_movie
from rushlight.batch.plan import growing_originals
from rushlight.batch.plan.growing_originals import Growth, growing_text, state_of


@pytest.fixture(autouse=True)
def soon_calm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(growing_originals, "CALM", 1.0)


def copied_slowly(source: Path, target: Path, seconds: float) -> threading.Thread:
    """A copy that takes so long, in twenty writes; its first piece is there when this returns."""
    data = source.read_bytes()
    step = -(-len(data) // 20)
    target.write_bytes(data[:step])

    def rest() -> None:
        for start in range(step, len(data), step):
            time.sleep(seconds / 20)
            with target.open("ab") as stream:
                stream.write(data[start : start + step])

    thread = threading.Thread(target=rest)
    thread.start()
    return thread


def test_a_file_that_is_being_appended_to_is_waited_for(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    whole = shutil.move(tmp_path / "day" / "A001C002.mov", tmp_path / "card.mov")
    copying = copied_slowly(Path(whole), tmp_path / "day" / "A001C002.mov", 3.0)
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    code, said = run(*command)
    copying.join()
    assert code == 0, said
    assert "waiting: A001C002.mov: still growing" in said and "SET ASIDE" not in said and "FAILED" not in said
    assert said.index("done A001C001.mov") < said.index("waiting: A001C002") < said.index("done A001C002.mov")
    records = read_records(out)
    assert [(r["clip"], r["status"], r["frames"]) for r in records] == [
        ("A001C001.mov", "done", 4),
        ("A001C002.mov", "done", 6),
    ]
    assert not (out / ".work").exists() and (out / "report" / "index.html").is_file()


def test_one_that_grows_after_it_was_planned_is_planned_again(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """It opens when planned, with fewer frames: a worker notices, and no half a clip is delivered."""
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    movie = tmp_path / "day" / "A001C002.mov"
    grown: list[str] = []

    def grow(task: object) -> None:
        if not grown and "A001C002" in task.key:  # type: ignore[attr-defined]
            grown.append("x")
            write_movie(movie, [numbered(n) for n in range(9)], timecode="02:00:00:00")

    farm_here.before = grow
    code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 0 and grown, said
    assert "A001C002.mov changed and is read again" in said and "FAILED" not in said
    found = {r["clip"]: (r["status"], r["frames"]) for r in latest(read_records(out)).values()}
    assert found == {"A001C001.mov": ("done", 4), "A001C002.mov": ("done", 9)}
    assert all(r["status"] == "done" for r in read_records(out))


def test_the_same_in_a_queue(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out, queue = small_day(tmp_path / "day"), tmp_path / "out", tmp_path / "q.sqlite"
    whole = shutil.move(tmp_path / "day" / "A001C001.mov", tmp_path / "card.mov")
    copying = copied_slowly(Path(whole), tmp_path / "day" / "A001C001.mov", 1.5)
    recipe = ("--recipe", tmp_path / "day" / "two.toml", "--out", out)
    code, said = run("queue", "add", day, *recipe, "--queue", queue)
    copying.join()
    assert code == 0 and "waiting: A001C001.mov" in said, said
    assert (
        said.index("1 clip queued") < said.index("waiting") < said.index("2 clips queued")
    )  # of the list so far
    write_movie(tmp_path / "day" / "A001C002.mov", [numbered(n) for n in range(8)], timecode="02:00:00:00")
    code, said = run("queue", "run", "--queue", queue)
    assert code == 0 and "A001C002.mov changed and is read again" in said, said
    found = {r["clip"]: (r["status"], r["frames"]) for r in latest(read_records(out)).values()}
    assert found == {"A001C001.mov": ("done", 4), "A001C002.mov": ("done", 8)}


def test_a_list_is_told_whole_after_an_original_was_waited_for(tmp_path: Path) -> None:
    day, queue = small_day(tmp_path / "day"), tmp_path / "q.sqlite"
    (tmp_path / "day" / "A001C002.mov").write_bytes(b"this is no movie, and never will be")
    day.write_text(day.read_text() + "A001C001.mov,nonsense,narrow\n")
    given = (day, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out", "--queue", queue)
    code, said = run("queue", "add", *given)
    assert code == 1 and said.rstrip().endswith("1 clip queued, 1 set aside, 1 failed"), said
    assert said.count("'nonsense'") == 1, said  # not once a look


def test_one_that_stands_still_and_does_not_open_fails(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    (tmp_path / "day" / "A001C002.mov").write_bytes(b"this is no movie, and never will be")
    code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 1 and "FAILED: 1 clip" in said and "A001C002.mov" in said and "waiting" in said
    os.utime(tmp_path / "day" / "A001C002.mov", (1, 1))  # an old one is no candidate: nothing is waited for
    code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 1 and "waiting" not in said


def test_still_by_a_clock_of_our_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(growing_originals, "CALM", 10.0)
    now = [100.0]
    growth = Growth(clock=lambda: now[0], now=lambda: 1e9, sleep=lambda s: now.__setitem__(0, now[0] + s))
    path = tmp_path / "x.mov"
    path.write_text("a")
    os.utime(path, (2e9, 2e9))  # the clock was set back: from the future, and fresh for ever
    assert growth.fresh(path) and not growth.still(path)
    now[0] += 9
    assert not growth.still(path)
    path.write_text("ab")
    now[0] += 9
    assert not growth.still(path)
    assert growth.wait([path], lambda: False) and now[0] >= 128
    assert not growth.wait([tmp_path / "other"], lambda: True)
    os.utime(path, (1e9 - 11, 1e9 - 11))
    assert not growth.fresh(path)


def test_a_sequence_grows_by_its_files(tmp_path: Path) -> None:
    before = state_of(tmp_path)
    (tmp_path / "a.0001.dpx").write_text("x")
    one = state_of(tmp_path)
    assert before[0] == 0 and one[:2] == (1, 1) == state_of(tmp_path / "a.####.dpx")[:2]
    assert state_of(tmp_path / "absent.mov") == (0, 0, 0)
    assert "a.mov, b.mov, c.mov, d.mov and 1 more" in growing_text(Path(f"{n}.mov") for n in "abcde")


def test_permissions_are_the_umasks_or_as_asked(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day = small_day(tmp_path / "day", {"A001C001": 2})
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out")
    before = os.umask(0o027)
    try:
        assert run(*command, tmp_path / "plain")[0] == 0
        assert run(*command, tmp_path / "asked", "--mode", "664")[0] == 0
        assert os.umask(0o027) == 0o027
    finally:
        os.umask(before)
    for out, file, folder in (("plain", 0o640, 0o750), ("asked", 0o664, 0o775)):
        found = list((tmp_path / out).rglob("*"))
        assert len(files(tmp_path / out, "editorial", "viewing")) == 2
        for path in found:
            assert path.stat().st_mode & 0o777 == (folder if path.is_dir() else file), path
    for text in ("7", "777", "064", "rw", "-664", "1664"):
        code, said = run(*command, tmp_path / "no", "--mode", text)
        assert code == 2 and "--mode" in said and not (tmp_path / "no").exists()


def test_size_and_time_are_of_one_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.mov").write_bytes(b"a")
    stat, seen = Path.stat, []

    def written_to(path: Path, **named: bool) -> os.stat_result:
        found = stat(path, **named)
        if path.name == "a.mov":
            seen.append(found)
            path.write_bytes(b"a" * (len(seen) + 1))
            os.utime(path, ns=(0, len(seen)))
        return found

    monkeypatch.setattr(Path, "stat", written_to)
    assert state_of(tmp_path / "a.mov") in [(1, each.st_size, each.st_mtime_ns) for each in seen]
