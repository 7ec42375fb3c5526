"""Speed measured on small pictures, in this process: every recipe that ships has one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path

import pytest

from rushlight.batch.doctor import speed
from rushlight.batch.doctor.speed import measure


class Here:
    """A pool that does its work at once, in this process."""

    def __init__(self, cores: int, mp_context: object) -> None: ...

    def __enter__(self) -> Here:
        return self

    def __exit__(self, *error: object) -> None: ...

    def map(self, function: Callable[..., float], payloads: list[object]) -> Iterator[float]:
        return map(function, payloads)

    def submit(self, function: Callable[..., float], payload: object) -> Future[float]:
        done: Future[float] = Future()
        done.set_result(function(payload))
        return done


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setattr(speed, "ProcessPoolExecutor", Here)
    monkeypatch.setattr(speed, "SIZE", (256, 144))
    monkeypatch.setattr(speed, "FRAMES", 2)
    monkeypatch.setattr(speed, "LENGTH", 3)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    return tmp_path


def test_movies_have_frames_a_second_and_stills_seconds(small: Path) -> None:
    told: list[str] = []
    (both,) = measure(["overnight"], cores=2, tell=told.append)
    assert told == ["overnight"] and both.recipe == "overnight"
    assert both.frames_a_second and both.frames_a_second > 0.1
    assert both.stills_seconds and both.stills_seconds > 0.001
    assert not list(small.iterdir()), "nothing is left behind"
