"""Excerpts of clips: a range (`--range CLIP=IN-OUT`) or one frame (`--still CLIP=TIMECODE`); and the rows of a list that they may mean."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.portable_name import same_name

__all__ = ["Excerpt", "excerpts_of", "keys_of", "rows_of", "unknown_clips"]

_FORMS = {
    "range": "CLIP=IN-OUT, such as A001C003=10:02:11:00-10:02:15:12, where out is the frame after the last",
    "still": "CLIP=TIMECODE, such as A001C003=10:02:12:00",
}


@dataclass(frozen=True, kw_only=True)
class Excerpt:
    """A part of a clip, as typed: timecodes as the clip is delivered, or the original's frame numbers. Without `begin` it is from the clip's
    first frame, without `end` (exclusive, as in an EDL) to its last; a still has no `end`."""

    clip: str
    begin: str
    end: str = ""
    still: bool = False

    def __str__(self) -> str:
        return (
            f"--still {self.clip}={self.begin}"
            if self.still
            else f"--range {self.clip}={self.begin}-{self.end}"
        )


def excerpts_of(ranges: Iterable[str], stills: Iterable[str]) -> tuple[Excerpt, ...]:
    """The excerpts that options ask for, each once. OptionError for what is none."""
    return tuple(dict.fromkeys([*(_range(text) for text in ranges), *(_still(text) for text in stills)]))


def _range(text: str) -> Excerpt:
    clip, points = _parted(text, "range")
    begin, dash, end = (part.strip() for part in points.partition("-"))
    if not dash or "-" in end or not (begin or end):
        raise _wrong(text, "range")
    return Excerpt(clip=clip, begin=begin, end=end)


def _still(text: str) -> Excerpt:
    clip, point = _parted(text, "still")
    if not point or "-" in point:
        raise _wrong(text, "still")
    return Excerpt(clip=clip, begin=point, still=True)


def _parted(text: str, option: str) -> tuple[str, str]:
    clip, equals, points = text.rpartition("=")  # a clip's name may have a `=`, a timecode has none
    if not equals or not clip.strip():
        raise _wrong(text, option)
    return clip.strip(), points.strip()


def _wrong(text: str, option: str) -> OptionError:
    quotes = "; a shell needs quotes around a `;`" if re.search(r":\d\d$", text) else ""
    return OptionError(f"--{option} {text!r}: takes {_FORMS[option]}{quotes}")


def keys_of(clip: str) -> set[str]:
    """What a clip may be called, from the name in a list or an option: its last part, that without its ending, and that before the
    numbers of a sequence or of several files; by the key of `same_name`."""
    name = same_name(clip.replace("\\", "/").rstrip("/").rpartition("/")[2])
    stem = name.rpartition(".")[0] or name
    return {name, stem, name.partition("#")[0].rstrip("._-") or name}


def unknown_clips(excerpts: Iterable[Excerpt], rows: Sequence[Row]) -> list[Excerpt]:
    """The excerpts whose clip no row names."""
    known = {key for row in rows for key in keys_of(row.clip)}
    return [each for each in excerpts if not keys_of(each.clip) & known]


def rows_of(excerpts: Iterable[Excerpt], rows: Sequence[Row]) -> list[Row]:
    """The rows that excerpts may mean, and all others of their names, which say in which folders they lie. OptionError for a clip that no
    row names."""
    excerpts = tuple(excerpts)
    for each in unknown_clips(excerpts, rows):
        near = difflib.get_close_matches(each.clip, [row.clip for row in rows], 1, 0.5)
        meant = f"; was {near[0]!r} meant?" if near else ""
        raise OptionError(f"{each}: the list has no clip {each.clip!r}{meant}")
    wanted = {key for each in excerpts for key in keys_of(each.clip)}
    return [row for row in rows if keys_of(row.clip) & wanted]
