"""In and out: frames of timecodes and numbers, `out` exclusive, handles as far as the original goes, and what lies outside."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.plan.in_out import frame_range
from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

START = Timecode.parse("01:00:00:00", FrameRate.parse("24"))


@pytest.mark.parametrize(
    ("given_in", "given_out", "found"),
    [
        ("", "", (0, 100)),
        ("10", "20", (10, 10)),
        ("01:00:01:00", "", (24, 76)),
        ("", "01:00:01:00", (0, 24)),
        (" 01:00:00:10 ", "100", (10, 90)),
    ],
)
def test_frames_of_a_range(given_in: str, given_out: str, found: tuple[int, int]) -> None:
    assert frame_range(given_in, given_out, start=START, frames=100) == (*found, ())


def test_handles_are_clipped_at_the_ends_and_said() -> None:
    assert frame_range("20", "80", start=START, frames=100, handles=8) == (12, 76, ())
    first, count, warnings = frame_range("5", "98", start=START, frames=100, handles=8)
    assert (first, count) == (0, 100)
    assert warnings == (
        "the head handle is 5 of 8 frames: the original starts there",
        "the tail handle is 2 of 8 frames: the original ends there",
    )
    assert frame_range("", "", start=START, frames=100, handles=8) == (0, 100, ())


@pytest.mark.parametrize(
    ("given_in", "given_out", "key", "says"),
    [
        ("100", "", "in", r"'100' lies outside: .*\(100 frames\)"),
        ("", "101", "out", "'101' lies outside"),
        ("", "0", "out", "lies outside"),
        ("20", "20", "out", "out is exclusive"),
        ("00:59:59:00", "00:59:59:12", "in", "lies outside"),
        ("noon", "", "in", "noon"),
    ],
)
def test_what_is_no_range(given_in: str, given_out: str, key: str, says: str) -> None:
    with pytest.raises(TimecodeError, match=says) as found:
        frame_range(given_in, given_out, start=START, frames=100)
    assert found.value.key == key


@given(st.integers(0, 99), st.integers(1, 100), st.integers(0, 200))
def test_a_range_lies_in_its_original_and_holds_what_was_asked(first: int, last: int, handles: int) -> None:
    if last <= first:
        return
    begin, count, _ = frame_range(str(first), str(last), start=START, frames=100, handles=handles)
    assert 0 <= begin <= first
    assert last <= begin + count <= 100
