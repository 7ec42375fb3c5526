"""Clip table `clips.otio` of a folder of movies: a timeline of all its clips one after another, each with its media.

Written as the format's plain JSON (OpenTimelineIO File Format Specification, serialized schemas), since the library reads
nothing of a user's here; the tests read it with the library. `Clip.1` is read by every version of it. A clip lasts as its row
states it (`in` and `out`), else as the whole file after its slate card; the media's range is the whole file's, in frames
since midnight at the file's own rate.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from urllib.parse import quote

from rushlight.batch.records.shape import Plain
from rushlight.batch.report.clip_table import TableClip
from rushlight.pipelines.visible_text import json_text, visible

__all__ = ["clips_otio"]

_TOLD = (
    *("umid", "reel_umid", "scene", "take", "camera", "circled", "note", "sound_roll", "sound_files"),
    *("state", "display", "colour_digest", "hash", "original", "original_hash", "output", "revision"),
)


def clips_otio(name: str, clips: Sequence[TableClip]) -> str:
    """The timeline of one folder's movies, called `name`."""
    track = _table("Track.1", name="clips", kind="Video", children=[_clip(clip) for clip in clips])
    stack = _table("Stack.1", name="tracks", children=[track])
    timeline = _table("Timeline.1", name=visible(name), tracks=stack)
    return json_text(timeline, indent=1, allow_nan=False) + "\n"


def _clip(clip: TableClip) -> Plain:
    card, frames = clip.entry.card, clip.entry.frames
    first, count = clip.used or (card, frames - card)
    media = _table(
        "ExternalReference.1",
        name=visible(clip.name),
        target_url=quote(os.fsencode(clip.file), safe="/"),  # relative, as URLs are written (RFC 3986)
        available_range=_range(clip, 0, frames),
    )
    told = _table(
        "Clip.1", name=visible(clip.name), source_range=_range(clip, first, count), media_reference=media
    )
    return told | {"metadata": {"rushlight": _metadata(clip)}}


def _metadata(clip: TableClip) -> Plain:
    cells, look = clip.cells(), clip.record.look_of(clip.entry)
    told: Plain = {
        key: cells[key] if key == "revision" else visible(str(cells[key]), lines=True) for key in _TOLD
    }
    return {
        "reel": visible(clip.entry.reel),
        "start": str(clip.start),  # says drop-frame, which a count of frames does not
        **{key: value for key, value in told.items() if value != ""},
        "look": {"digest": look.digest, "description": visible(look.description)},
    }


def _table(schema: str, **fields: object) -> Plain:
    """An object of the format: what every object has, and its own fields."""
    return {"OTIO_SCHEMA": schema, "metadata": {}, **fields}


def _range(clip: TableClip, first: int, count: int) -> Plain:
    return {
        "OTIO_SCHEMA": "TimeRange.1",
        "start_time": _time(clip, clip.start.frames + first),
        "duration": _time(clip, count),
    }


def _time(clip: TableClip, frames: int) -> Plain:
    rate = float(clip.start.rate.fraction)
    return {"OTIO_SCHEMA": "RationalTime.1", "rate": rate, "value": float(frames)}
