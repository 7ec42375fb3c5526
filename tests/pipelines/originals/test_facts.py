"""What is known of a file: when two of its times are the same one."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recorded import movie
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.inside_folder import same_time

TIME = 1_795_000_000_123_456_789
MOMENTS = st.integers(0, 4 * 10**18)
STEPS = st.sampled_from([100, 1_000, 10_000_000, 1_000_000_000, 2_000_000_000])


@given(MOMENTS, STEPS)
def test_what_a_disk_cuts_off_is_no_change(time: int, step: int) -> None:
    cut = time // step * step
    assert same_time(time, cut) and same_time(cut, time) and same_time(time, time)


@given(MOMENTS, st.integers(1, 10**12))
def test_another_moment_is_a_change(time: int, later: int) -> None:
    """But where the earlier one is a round number, as a disk would have cut the later."""
    assert time % 100 == 0 or not same_time(time, time + later)


@pytest.mark.parametrize(
    "other",
    [TIME - 1, TIME + 1, TIME + 100, TIME // 100 * 100 - 100, TIME // 10**9 * 10**9 + 10**9, 0],
)
def test_near_misses(other: int) -> None:
    assert not same_time(TIME, other)


def test_a_delivered_file_on_a_share(tmp_path: Path) -> None:
    """The record was written from what the client still held; the server keeps 100 ns. Another size is another file."""
    path = tmp_path / "a.mov"
    path.write_bytes(b"picture")
    entry, other = (DeliveredMovie.read(movie(path="a.mov", bytes=count, mtime_ns=TIME)) for count in (7, 8))
    os.utime(path, ns=(TIME // 100 * 100, TIME // 100 * 100))
    assert still_there(tmp_path, entry) and not still_there(tmp_path, other)
    os.utime(path, ns=(TIME + 1, TIME + 1))
    assert not still_there(tmp_path, entry)
