"""Frames used again. The memory of a new one is made page by page as it is first written to, which takes a tenth of the
time that grading it does."""

from __future__ import annotations

from collections import deque

import av

from rushlight.pipelines.formats.pixel_formats import PixelFormat, new_frame

__all__ = ["FramePool"]

SPARE = 1  # frames kept for later: one is let go about as often as one is asked for


class FramePool:
    """Frames of one format and size, on whichever thread. Their samples are those of an earlier picture: write every one."""

    def __init__(self, pixel_format: PixelFormat, width: int, height: int) -> None:
        self._made = pixel_format, width, height
        self._spare: deque[av.VideoFrame] = deque(maxlen=SPARE)

    def take(self) -> av.VideoFrame:
        """A frame that is nobody else's."""
        try:
            return self._spare.pop()
        except IndexError:
            return new_frame(*self._made)

    def give_back(self, frame: av.VideoFrame) -> None:
        """Let a frame that was taken here be written over; nothing may read it any more."""
        self._spare.append(frame)
