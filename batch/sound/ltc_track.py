"""Timecode that was recorded on an audio track of an original (LTC): read where a row or default says `timecode_from = "track N"`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.sound import SAMPLE_RATE, channels_of, read_sound
from rushlight.pipelines.sound.ltc import start_timecode

__all__ = ["with_ltc"]

LISTENED = 5  # seconds from the first frame on


def with_ltc(row: Row, said: Mapping[str, str], facts: Facts) -> Row:
    """The row with the timecode of its original's LTC track in its cell `timecode`, where that is empty and a track is stated.
    `said` are what defaults state. ListError with key `timecode_from` where nothing is heard there."""
    stated = row["timecode_from"] or said.get("timecode_from", "")
    if not stated or row["timecode"]:
        return row
    match = re.fullmatch(r"track (\d{1,3})", stated.strip().lower())
    if not match:
        raise ListError(
            f"{stated[:40]!r} will not do; takes an audio track of the original: track 2", key="timecode_from"
        )
    number, there = int(match[1]), channels_of(facts)
    if not 1 <= number <= there:
        raise ListError(f"there is no audio track {number}: the original has {there}", key="timecode_from")
    frames = min(facts.frames, round(LISTENED * facts.rate.fraction))
    heard = (
        np.concatenate([block[number - 1] for block in read_sound(facts, 0, frames)]).astype(np.float64)
        / 2**31
    )
    timecode = start_timecode(heard, facts.rate, SAMPLE_RATE)
    if timecode is None:
        raise ListError(
            f"no timecode (LTC) at {facts.rate} is heard on audio track {number}", key="timecode_from"
        )
    return replace(row, cells={**row.cells, "timecode": str(timecode)})
