"""Frames used again, and only once they were given back."""

from __future__ import annotations

import numpy as np

from rushlight.pipelines.formats.frame_pool import SPARE, FramePool
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes


def pool() -> FramePool:
    found = find_pixel_format("yuv422p10le")
    assert found is not None
    return FramePool(found, 64, 36)


def test_a_frame_is_given_again_only_once_it_was_given_back() -> None:
    frames = pool()
    first, second = frames.take(), frames.take()
    planes(first)[0][:], planes(second)[0][:] = 100, 200
    assert (planes(first)[0] == 100).all()  # two frames at once share no memory
    frames.give_back(first)
    again, other = frames.take(), frames.take()
    assert again is first and other is not first and other is not second
    assert (again.width, again.height, again.format.name) == (64, 36, "yuv422p10le")


def test_no_more_is_kept_than_is_of_use() -> None:
    frames = pool()
    taken = [frames.take() for _ in range(5)]
    for frame in taken:
        frames.give_back(frame)
    found = [frames.take() for _ in range(5)]
    assert sum(any(f is t for t in taken) for f in found) == SPARE


def test_a_frame_is_written_over_whatever_still_looks_at_it() -> None:
    frames = pool()
    frame = frames.take()
    view = planes(frame)[0]
    frames.give_back(frame)
    del frame
    planes(frames.take())[0][:] = 7
    assert np.all(view == 7)
