"""OpenTimelineIO timelines (.otio) as clip lists: one row a picture clip, with its range and its ASC CDL."""

from __future__ import annotations

from pathlib import PurePosixPath, PureWindowsPath
from typing import Any
from urllib.parse import unquote, urlsplit

from rushlight.batch.lists import ClipList, Row
from rushlight.pipelines.cdl import CDL
from rushlight.pipelines.errors import GradeError, ListError

__all__ = ["read_timeline"]

MAX_DEPTH = 400  # brackets within brackets: the parser recurses
MAX_BRACKETS = 4_000_000  # each costs the parser some hundred bytes; a timeline of 10,000 clips has a million
_OTHERS = bytes(set(range(256)) - set(b"[]{}"))


def read_timeline(text: str, *, file: str = "") -> ClipList:
    """Rows of a timeline's picture clips, in order. ListError where it is no timeline or has no clip.

    The clip is the file name of its media reference, else its name. `in` and `out` are the original's frame numbers
    where the reference states its range, else timecodes; at 29.97 and 59.94 those cannot be told without that range,
    since a frame count says nothing of drop-frame. A clip with effects on its speed, or a malformed CDL, is a problem
    of its row. The CDL is `metadata["cdl"]` with `asc_sop` and `asc_sat`, as opentimelineio's CMX adapter writes it.
    `line` of a row counts clips: the format has no lines.
    """
    _in_proportion(text, file)
    import opentimelineio as otio

    try:
        timeline = otio.adapters.read_from_string(text, "otio_json")
    except Exception as error:  # the library raises many kinds, without a common ancestor
        raise ListError(f"is no .otio document: {str(error)[:200]}", file=file) from None
    if not isinstance(timeline, otio.schema.Timeline):
        raise ListError(f"holds a {type(timeline).__name__}; a list is a Timeline", file=file)
    clips = [clip for track in timeline.video_tracks() for clip in track.find_clips()]
    if not clips:
        raise ListError("holds no picture clip", file=file)
    off = sum(not clip.enabled for clip in clips)
    rows = tuple(_row(clip, file, n) for n, clip in enumerate(clips, 1) if clip.enabled)
    if not rows:
        raise ListError("has every clip switched off", file=file)
    warnings = (f"{file}: {off} clip(s) that are switched off are left out",) if off else ()
    return ClipList(file=file, rows=rows, columns=("clip", "in", "out"), warnings=warnings)


def _in_proportion(text: str, file: str) -> None:
    """ListError for a document that would cost the parser its stack or all memory: brackets are counted, strings or not."""
    brackets = text.encode("utf-8", "replace").translate(None, _OTHERS)
    if len(brackets) > MAX_BRACKETS:
        raise ListError(f"holds {len(brackets)} brackets: no timeline", file=file)
    depth = 0
    for bracket in brackets:
        depth += 1 if bracket in b"[{" else -1
        if depth > MAX_DEPTH:
            raise ListError(f"nests over {MAX_DEPTH} deep: no timeline", file=file)


def _row(clip: Any, file: str, number: int) -> Row:
    url = getattr(clip.media_reference, "target_url", "") or ""
    name = _file_name(url) or clip.name.strip()
    cells = {"clip": name}
    grade: CDL | None = None
    problem: ListError | GradeError | None = None
    try:
        if not name or "\0" in name:
            raise ListError("names neither clip nor file", key="clip")
        if clip.effects:
            raise ListError(
                f"{name} carries effects ({clip.effects[0].schema_name()}); they are not rendered here",
                key="in",
            )
        cells.update(_range(clip))
        grade = _grade(clip.metadata.get("cdl"))
    except (ListError, GradeError) as error:
        problem = error.at(file=file, line=number)
    return Row(
        file=file, line=number, clip=name or f"(clip {number})", cells=cells, grade=grade, problem=problem
    )


def _file_name(url: str) -> str:
    path = unquote(urlsplit(url).path) if url.lower().startswith("file:") else url
    pure = PureWindowsPath(path) if "\\" in path and "/" not in path else PurePosixPath(path)
    return pure.name


def _range(clip: Any) -> dict[str, str]:
    wanted = clip.source_range
    if wanted is None:
        return {}
    first, end = wanted.start_time, wanted.end_time_exclusive()
    known = getattr(clip.media_reference, "available_range", None)
    if known is not None:
        rate = known.start_time.rate
        points = [(t - known.start_time).value_rescaled_to(rate) for t in (first, end)]
        if any(abs(p - round(p)) > 1e-3 for p in points):
            raise ListError("begins or ends between two frames of its original", key="in")
        first_frame, end_frame = (round(p) for p in points)
        if first_frame < 0:
            raise ListError(f"begins {-first_frame} frames before its original", key="in")
        return {"in": str(first_frame), "out": str(end_frame)}
    nominal = round(first.rate)
    if nominal != first.rate and nominal % 30 == 0:
        raise ListError(
            "has no range of its media, and at this rate a frame count does not tell drop-frame from non-drop",
            key="in",
        )
    return {"in": _label(first.value, nominal), "out": _label(end.value, nominal)}


def _label(frames: float, nominal: int) -> str:
    if nominal < 1 or frames < 0 or frames != int(frames):
        raise ListError("has a range that is no whole number of frames", key="in")
    seconds, frame = divmod(int(frames), nominal)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}:{frame:02}"


def _grade(found: Any) -> CDL | None:
    if not found:
        return None
    try:
        sop, saturation = found.get("asc_sop"), found.get("asc_sat")
        numbers: dict[str, Any] = (
            {k: tuple(float(v) for v in sop[k]) for k in ("slope", "offset", "power")} if sop else {}
        )
        if any(len(v) != 3 for v in numbers.values()):
            raise ValueError
        if saturation is not None:
            numbers["saturation"] = float(saturation)
    except (AttributeError, KeyError, TypeError, ValueError):
        raise GradeError("has a malformed CDL in its metadata", key="cdl") from None
    return CDL(**numbers) if numbers else None
