"""In and out: the frames of an original that a row takes, with handles; and the frames of a clip that an excerpt takes, or its cell `stills`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.excerpt import Excerpt, keys_of
from rushlight.batch.plan.clip_sound import shown_of
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.sound.take_matching import Chosen
from rushlight.pipelines.errors import OptionError, TimecodeError
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.measure.chart_in_picture import chart_place
from rushlight.pipelines.portable_name import same_name
from rushlight.pipelines.sound.placing import fit

__all__ = [
    "excerpted",
    "frame_range",
    "keep_excerpts",
    "marked_stills",
    "with_chart_note",
    "with_still_notes",
]


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


def excerpted(clip: PlannedClip, excerpt: Excerpt) -> PlannedClip:
    """The part of a clip that an excerpt asks for: without handles, under the timecode and over the sound that it has in the clip.
    TimecodeError where a point is none, or lies outside what is delivered of the clip."""
    first = _in_clip(excerpt.begin, clip) if excerpt.begin else 0
    last = first + 1 if excerpt.still else _in_clip(excerpt.end, clip) if excerpt.end else clip.count
    if first >= clip.count or last > clip.count:
        text = excerpt.begin if first >= clip.count else excerpt.end
        more = (
            "; the original has more, which the list's in and out leave out"
            if clip.count < clip.facts.frames
            else ""
        )
        raise TimecodeError(f"{text!r} lies outside: {_runs(clip)}{more}")
    if last <= first:
        raise TimecodeError(f"{excerpt.end!r} is not after {excerpt.begin!r}; out is exclusive, as in an EDL")
    begin = clip.timecode + first
    part = replace(
        clip,
        first=clip.first + first,
        count=last - first,
        timecode=begin,
        excerpt=str(begin) if excerpt.still else f"{begin}-{begin + (last - first)}",
        still=excerpt.still,
    )
    return replace(part, sound=_sound_under(part, clip.sound))


def _sound_under(clip: PlannedClip, sound: Chosen | None) -> Chosen | None:
    if sound is None or sound.take is None or sound.stated is None:
        return sound
    return replace(
        sound, fit=fit(sound.take, shown_of(clip), rate=sound.stated.rate, offset=sound.stated.offset)
    )


def _in_clip(text: str, clip: PlannedClip) -> int:
    """Frames from a clip's first to a point of it. What counts in drop-frame may be typed with colons alone, as shells like it."""
    if re.fullmatch(r"[0-9]{1,12}", text):
        point = int(text) - clip.first
        return point if point >= 0 else clip.facts.frames + 1
    head, _, frames = text.rpartition(":")
    if clip.timecode.drop and text.count(":") == 3:
        text = f"{head};{frames}"
    return clip.timecode.until(Timecode.parse(text, clip.rate))


def _runs(clip: PlannedClip) -> str:
    end = clip.timecode + clip.count
    return f"{clip.row.clip} is delivered from {clip.timecode} to {end} ({clip.count} frames)"


def keep_excerpts(plan: Plan, excerpts: Iterable[Excerpt]) -> None:
    """Leave nothing in a plan but the excerpts that are asked for, each once, and rows that are wrong and of which one is asked for.

    OptionError that names every excerpt that lies outside its clip, or may be of several."""
    found: dict[tuple[int, str, bool], PlannedClip] = {}
    faults, used, undone = list[str](), set[int](), set[str]()
    for excerpt in excerpts:
        clips = _meant(excerpt.clip, plan.clips)
        if not clips:
            undone |= keys_of(excerpt.clip)
            continue
        try:
            clip, part = _one(excerpt, clips)
        except (TimecodeError, OptionError) as error:
            faults.append(f"{excerpt}: {error.text}")
            continue
        used.add(id(clip))
        found.setdefault((id(clip), part.excerpt, part.still), part)
    if faults:
        raise OptionError("; ".join(faults))

    def is_asked(row: Row) -> bool:
        return bool(keys_of(row.clip) & undone)

    wrong = [(row, error) for row, error in plan.wrong if is_asked(row)]
    broken = [(row, error) for row, error in plan.broken if is_asked(row)]
    plan.not_chosen += len(plan.clips) - len(used)
    plan.not_chosen += len(plan.wrong) + len(plan.broken) - len(wrong) - len(broken)
    plan.one_by_one += len(found) - len(used)
    plan.clips, plan.wrong, plan.broken = list(found.values()), wrong, broken
    plan.missing = plan.missing if wrong else []


def _meant(name: str, clips: Sequence[PlannedClip]) -> list[PlannedClip]:
    """The clips of a name: as the list has it, its path, its place in the output folder; else its file's or its own."""
    typed = same_name(name)

    def exact(clip: PlannedClip) -> set[str]:
        place = [f"{clip.folder}/{clip.stem}"] if clip.folder else []
        return {same_name(n) for n in (clip.row.clip, str(clip.path), *place)}

    return (
        [clip for clip in clips if typed in exact(clip)]
        or [clip for clip in clips if typed in {same_name(clip.path.name), same_name(clip.stem)}]
        or [clip for clip in clips if keys_of(name) & (keys_of(clip.row.clip) | {same_name(clip.stem)})]
    )


def _one(excerpt: Excerpt, clips: Sequence[PlannedClip]) -> tuple[PlannedClip, PlannedClip]:
    """The one of several clips that an excerpt is of, and the part: where it is outside all others. TimecodeError or OptionError."""
    fits, outside = list[tuple[PlannedClip, PlannedClip]](), list[TimecodeError]()
    for clip in clips:
        try:
            fits.append((clip, excerpted(clip, excerpt)))
        except TimecodeError as error:
            outside.append(error)
    if len(fits) == 1:
        return fits[0]
    if not fits and len(clips) == 1:
        raise outside[0]
    runs = "; ".join(
        f"{_called(clip)} ({clip.row.place}) from {clip.timecode} to {clip.timecode + clip.count}"
        for clip in clips[:6]
    )
    if not fits:
        raise OptionError(f"lies in none of the {len(clips)} clips of that name: {runs}")
    raise OptionError(f"may be of {len(fits)} clips: {runs}; name one of them so")


def _called(clip: PlannedClip) -> str:
    """The name that tells a clip from others of its name: its place in the output folder."""
    return f"{clip.folder}/{clip.stem}" if clip.folder else clip.row.clip


# --- stills


def with_still_notes(clip: PlannedClip) -> PlannedClip:
    """The clip, saying which timecodes in its cell `stills` lie outside it. TimecodeError for what is no timecode."""
    outside = [n for n in marked_stills(clip.row["stills"], clip.timecode) if n >= clip.count]
    if not outside:
        return clip
    listed = ", ".join(str(clip.timecode + n) for n in outside)
    last = clip.timecode + (clip.count - 1)
    note = f"no still at {listed}: the clip's frames are {clip.timecode} to {last}"
    return replace(clip, warnings=(*clip.warnings, note))


def with_chart_note(clip: PlannedClip) -> PlannedClip:
    """The clip, saying where the timecode in its cell `chart` lies outside it. ListError for what is no such cell."""
    place = chart_place(clip.row["chart"], clip.timecode, clip.count)
    if place is None or place.offset < clip.count:
        return clip
    last = clip.timecode + (clip.count - 1)
    note = f"no chart at {clip.timecode + place.offset}: the clip's frames are {clip.timecode} to {last}"
    return replace(clip, warnings=(*clip.warnings, note))


def marked_stills(text: str, start: Timecode) -> list[int]:
    """The frames after `start` of the timecodes in a cell, between commas, spaces, or `;` and a space. TimecodeError with key
    `stills` for anything else."""
    try:
        return [
            start.until(Timecode.parse(t, start.rate)) for t in re.split(r"[,\s]+|;\s+", text.strip()) if t
        ]
    except TimecodeError as error:
        raise error.at(key="stills") from None
