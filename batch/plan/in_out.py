"""In and out: the frames of an original that a row takes, with handles."""

from __future__ import annotations

import re

from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import Timecode

__all__ = ["frame_range"]


def frame_range(
    row_in: str, row_out: str, *, start: Timecode, frames: int, handles: int = 0
) -> tuple[int, int, tuple[str, ...]]:
    """First frame and count from `in` and `out` (timecodes, or the original's frame numbers; `out` exclusive).

    Handles are added on both sides and clipped at the file's ends with a warning. TimecodeError with key
    `in` or `out` where a point lies outside the original or the range is empty.
    """
    first = _point(row_in, start, "in") if row_in else 0
    last = _point(row_out, start, "out") if row_out else frames
    if first >= frames or last > frames or last <= 0:
        key, text = ("in", row_in) if first >= frames else ("out", row_out)
        here = f"the original runs {start} to {start + frames} ({frames} frames)"
        raise TimecodeError(f"{text!r} lies outside: {here}", key=key)
    if last <= first:
        raise TimecodeError(
            f"{row_out!r} is not after in {row_in!r}; out is exclusive, as in an EDL", key="out"
        )
    if not (row_in or row_out):
        return 0, frames, ()
    warnings = []
    if first < handles:
        warnings.append(f"the head handle is {first} of {handles} frames: the original starts there")
    if frames - last < handles:
        warnings.append(f"the tail handle is {frames - last} of {handles} frames: the original ends there")
    first, last = max(first - handles, 0), min(last + handles, frames)
    return first, last - first, tuple(warnings)


def _point(text: str, start: Timecode, key: str) -> int:
    text = text.strip()
    if re.fullmatch(r"[0-9]{1,12}", text):
        return int(text)
    try:
        return start.until(Timecode.parse(text, start.rate))
    except TimecodeError as error:
        raise error.at(key=key) from None
