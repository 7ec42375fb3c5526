"""Damaged places of an original looked at again: frames that did not decode once, decoded now.

Ends, size and time of a file say nothing of its middle. Only these places are decoded, and of a codec with groups of pictures from the
key picture before: a few of them, of at most two seconds each, so that a clip costs seconds at most however much of it is damaged.
"""

from __future__ import annotations

import os
from collections.abc import Collection
from dataclasses import dataclass

import av

from rushlight.pipelines.errors import from_os
from rushlight.pipelines.formats.codecs import segment_frames
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.rotation_and_interlace import is_cut_short

__all__ = ["LookedAt", "look_again"]

MOST = 3  # places
_Key = tuple[object, ...]
_seen: dict[_Key, LookedAt] = {}  # of this process: a watched day plans the same clips again and again


@dataclass(frozen=True, kw_only=True)
class LookedAt:
    """Frames that were looked at, by their numbers in the original: those that decode cleanly, and those that do not."""

    sound: frozenset[int]
    damaged: frozenset[int]


def look_again(facts: Facts, frames: Collection[int], *, conform: bool = False) -> LookedAt:
    """Decode frames that were damaged, or the first, middle and last place of many. `conform` as it is in `open_source`.

    SourceError where the original does not open or cannot be read. A file that stays as it is by its size, times and inode is decoded once a process.
    """
    places = _places(frames, segment_frames(facts.rate))
    key = (str(facts.path), conform, tuple(map(tuple, places)), *_states(facts, places))
    if key not in _seen:
        if len(_seen) > 1000:
            _seen.clear()
        try:
            _seen[key] = _looked_at(facts, places, conform=conform)
        except av.error.FFmpegError as error:
            raise from_os(error, facts.path, reading=True) from error
    return _seen[key]


def _places(frames: Collection[int], most: int) -> list[list[int]]:
    """The frames that are looked at, in places of at most so many frames from first to last."""
    found: list[list[int]] = []
    for frame in sorted(frames):
        if found and frame - found[-1][0] < most:
            found[-1].append(frame)
        else:
            found.append([frame])
    if len(found) <= MOST:
        return found
    return [found[index * (len(found) - 1) // (MOST - 1)] for index in range(MOST)]


def _states(facts: Facts, places: list[list[int]]) -> list[object]:
    """State of the files that these frames lie in; None for one that is not there."""
    files = list(facts.files)
    if facts.kind == "sequence":
        absent = set(facts.missing)
        present = dict(zip((n for n in range(facts.frames) if n not in absent), facts.files, strict=True))
        files = [present[n] for place in places for n in place if n in present]
    found: list[object] = []
    for path in files:
        try:
            info = os.stat(path)
        except OSError:
            found.append(None)
            continue
        found.append((str(path), info.st_size, info.st_mtime_ns, info.st_ctime_ns, info.st_ino))
    return found


def _looked_at(facts: Facts, places: list[list[int]], *, conform: bool) -> LookedAt:
    wanted = {frame for place in places for frame in place}
    sound = set[int]()
    if facts.kind == "sequence":
        runs = [(frame, 1) for frame in sorted(wanted)]
    elif any(path.suffix.lower() == ".mxf" and is_cut_short(path) for path in facts.files):
        runs = []  # its index is gone: it could only be decoded from its beginning, and it is not whole
    else:
        runs = [(place[0], place[-1] - place[0] + 1) for place in places]
    with open_source(facts, missing="slate", conform=conform) as source:
        for first, count in runs:
            for frame in source.frames(first, count):
                beat()
                if not frame.damage:
                    sound.add(frame.number)
    return LookedAt(sound=frozenset(sound & wanted), damaged=frozenset(wanted - sound))
