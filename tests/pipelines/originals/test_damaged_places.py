"""Damaged frames looked at again: few places, each frame told as it decodes now, and nothing twice that stays as it is."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import independent
from damaged_card import LONG, START, overwritten
from pictures import numbered, write_movie, write_sequence
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.heartbeat import at_each_beat
from rushlight.pipelines.originals import damaged_places
from rushlight.pipelines.originals.damaged_places import look_again
from rushlight.pipelines.originals.probe import probe


def looked(path: Path, *frames: int) -> tuple[list[int], list[int]]:
    found = look_again(probe(path), frames)
    return sorted(found.sound), sorted(found.damaged)


@given(st.frozensets(st.integers(0, 5000)), st.integers(1, 60))
def test_places_are_few_short_and_reach_from_first_to_last(frames: frozenset[int], most: int) -> None:
    found = damaged_places._places(frames, most)
    assert len(found) <= damaged_places.MOST
    assert all(place[-1] - place[0] < most and set(place) <= frames for place in found)
    if frames:
        assert found[0][0] == min(frames) and found[-1][-1] == max(frames)
    if max(frames, default=0) - min(frames, default=0) < most:
        assert {frame for place in found for frame in place} == frames


@pytest.mark.parametrize("kind", ["intra", "group"])
def test_a_movie_that_is_copied_again(tmp_path: Path, kind: str) -> None:
    path, frames = tmp_path / "a.mov", [numbered(n) for n in range(30)]
    if kind == "intra":
        write_movie(path, frames)
    else:
        independent.write(path, frames, *LONG, "-timecode", START)
    whole, time = path.read_bytes(), path.stat().st_mtime_ns
    overwritten(path, 12)
    facts = probe(path)
    spoilt = [12] if kind == "intra" else list(range(12, 24))
    assert looked(path, *spoilt, 2) == ([2], spoilt)
    path.write_bytes(whole)
    os.utime(path, ns=(time, time))
    found = look_again(facts, spoilt)  # by what was known of the damaged one: size and time are the same
    assert (sorted(found.sound), found.damaged) == (spoilt, frozenset())


def test_a_file_that_stays_is_decoded_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, calls = write_movie(tmp_path / "a.mov", [numbered(n) for n in range(5)]), list[Any]()
    opened = damaged_places.open_source
    monkeypatch.setattr(damaged_places, "open_source", lambda *a, **k: calls.append(a) or opened(*a, **k))
    facts = probe(path)
    assert look_again(facts, {3}) == look_again(facts, {3}) and len(calls) == 1
    path.write_bytes(path.read_bytes())
    os.utime(path, ns=(facts.mtime_ns, facts.mtime_ns))
    look_again(facts, {3})
    assert len(calls) == 2


def test_files_of_a_sequence(tmp_path: Path) -> None:
    codes = [np.full((16, 32, 3), 200 + 4 * n, np.uint16) for n in range(8)]
    shot = write_sequence(tmp_path / "shot", codes, first=100)
    middle = shot / "shot.0000103.dpx"
    whole = middle.read_bytes()
    middle.write_bytes(whole[:2100])
    (shot / "shot.0000105.dpx").unlink()
    assert looked(shot, 3, 5) == ([], [3, 5])
    middle.write_bytes(whole)
    assert looked(shot, 3, 5) == ([3], [5])


def test_frames_behind_the_end_and_originals_that_do_not_open(tmp_path: Path) -> None:
    path = write_movie(tmp_path / "a.mov", [numbered(n) for n in range(5)])
    assert looked(path, 4, 9) == ([4], [9])
    facts = probe(path)
    path.write_bytes(b"no movie")
    with pytest.raises(SourceError):
        look_again(facts, {3})


def test_a_movie_without_its_index_is_not_decoded_from_its_beginning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_movie(tmp_path / "a.mxf", [numbered(n) for n in range(5)], timecode="", reel="")
    assert looked(path, 3) == ([3], [])
    monkeypatch.setattr(damaged_places, "is_cut_short", lambda path: True)
    assert looked(path, 2) == ([], [2])


def test_a_stop_is_heard_on_the_way_from_a_far_key_picture(tmp_path: Path) -> None:
    path, seen = tmp_path / "a.mov", list[None]()
    one = ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-g", "100", "-sc_threshold", "0")
    independent.write(path, [numbered(n) for n in range(40)], *one)
    with at_each_beat(lambda: seen.append(None)):
        assert looked(path, 39) == ([39], [])
    assert len(seen) >= 40


def test_what_the_library_says_of_it_is_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A clip that is finished does not fail by it."""

    def broken(*_: object, **__: object) -> None:
        raise av.error.InvalidDataError(1, "invalid data", str(path))

    path = write_movie(tmp_path / "a.mov", [numbered(n) for n in range(2)])
    monkeypatch.setattr(damaged_places, "open_source", broken)
    with pytest.raises(SourceError, match="invalid data") as raised:
        looked(path, 1)
    assert "a.mov" in str(raised.value)
