"""Beats: counted, and where long work is left by what its own thread asked to be called."""

import threading

import pytest

from rushlight.pipelines.heartbeat import at_each_beat, beat, beating, beats, frame_made, frames_made


class Enough(BaseException):
    """Raised by a beat."""


def stop() -> None:
    raise Enough


def test_each_beat_counts() -> None:
    before = beats()
    beat()
    assert list(beating("ab")) == ["a", "b"]
    assert beats() == before + 3


def test_work_is_left_at_a_beat_and_only_in_here() -> None:
    left = []
    with pytest.raises(Enough), at_each_beat(stop):
        for step in beating(range(9)):
            left.append(step)
    assert left == []  # a beat comes ahead of each step
    beat()
    seen = []
    with at_each_beat(lambda: seen.append("outer")):
        with at_each_beat(lambda: seen.append("inner")):
            beat()
        beat()
    assert seen == ["inner", "outer"]


def test_other_threads_are_not_disturbed() -> None:
    with at_each_beat(stop):
        thread = threading.Thread(target=beat)
        failed: list[object] = []
        threading.excepthook, before = failed.append, threading.excepthook  # type: ignore[assignment]
        try:
            thread.start()
            thread.join()
        finally:
            threading.excepthook = before
    assert failed == []


def test_frames_are_counted_by_the_work_that_they_are_of() -> None:
    for _ in range(3):
        frame_made("7-1")
    assert frames_made() == ("7-1", 3)
    frame_made("7-2")
    assert frames_made() == ("7-2", 1)
