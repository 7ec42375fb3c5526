"""OpenTimelineIO timelines (.otio) as clip lists: one row a picture clip, with its range and its ASC CDL.

The document is read here as plain JSON (the format's own: "OpenTimelineIO File Format Specification" and its schemas), not
by the library: that follows what a document says into memory that is not there, and ends the process (`tracks` of null
does). The library writes and reads the tests' timelines, to which this is held.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import PurePosixPath, PureWindowsPath
from urllib.parse import unquote, urlsplit

from rushlight.batch.lists.clip_list import ClipList, Row
from rushlight.pipelines.colour.cdl import CDL, Triple, stated_cdl
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import GradeError, ListError

__all__ = ["read_timeline"]

MAX_DEPTH = 400  # brackets within brackets: the parser recurses
MAX_BRACKETS = (
    4_000_000  # as many commas; each costs some hundred bytes, and a timeline of 10,000 clips has a million
)
MAX_CLIPS = 100_000
MAX_VALUE = 1e12  # frames; and of the rate, a second
_OTHERS = bytes(set(range(256)) - set(b"[]{}"))
Table = Mapping[str, object]


def read_timeline(text: str, *, file: str = "") -> ClipList:
    """Rows of a timeline's picture clips, in order. ListError where it is no timeline or has no clip.

    The clip is the file name of its media reference, else its name. `in` and `out` are the original's frame numbers
    where the reference states its range, else timecodes; at 29.97 and 59.94 those cannot be told without that range,
    since a frame count says nothing of drop-frame. A clip with effects on its speed, with a time that is none, or with a
    malformed CDL, is a problem of its row. The CDL is `metadata["cdl"]` with `asc_sop` and `asc_sat`, as
    opentimelineio's CMX adapter writes it. `line` of a row counts clips: the format has no lines.
    """
    _in_proportion(text, file)
    try:
        clips = list(_Document(json.loads(text, object_pairs_hook=_once)).clips())
    except ListError as error:
        raise error.at(file=file) from None
    except (ValueError, RecursionError, MemoryError) as error:
        raise ListError(f"is no .otio document: {str(error)[:200]}", file=file) from None
    if not clips:
        raise ListError("holds no picture clip", file=file)
    on = [(n, clip) for n, clip in enumerate(clips, 1) if clip.get("enabled") is not False]
    if not on:
        raise ListError("has every clip switched off", file=file)
    rows = tuple(_row(clip, file, n) for n, clip in on)
    off = len(clips) - len(on)
    warnings = (f"{file}: left out {counted(off, 'clip')} switched off in the timeline",) if off else ()
    return ClipList(file=file, rows=rows, columns=("clip", "in", "out"), warnings=warnings)


def _in_proportion(text: str, file: str) -> None:
    """ListError for a document that would cost the parser its stack or all memory: brackets are counted, strings or not."""
    data = text.encode("utf-8", "replace")
    brackets = data.translate(None, _OTHERS)
    for what, count in (("brackets", len(brackets)), ("commas", data.count(b","))):
        if count > MAX_BRACKETS:
            raise ListError(f"holds {count} {what}: no timeline", file=file)
    depth = 0
    for bracket in brackets:
        depth += 1 if bracket in b"[{" else -1
        if depth > MAX_DEPTH:
            raise ListError(f"nests over {MAX_DEPTH} deep: no timeline", file=file)


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """A table of a document. ListError for a key that stands in it twice: nobody can tell which was meant."""
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ListError(f"states {twice!r} twice in one place: it was put together wrongly", key=twice[:60])
    return found


# --- the document


class _Document:
    """A timeline's tables by their schemas; what is stated once and referred to later is looked up."""

    def __init__(self, whole: object) -> None:
        self.whole = whole
        self.stated: dict[str, Table] = {}
        waiting = [whole]
        while waiting:
            value = waiting.pop()
            if isinstance(value, dict):
                if isinstance(name := value.get("OTIO_REF_ID"), str):
                    self.stated[name] = value
                waiting += value.values()
            elif isinstance(value, list):
                waiting += value

    def clips(self) -> Iterator[Table]:
        """The clips of the video tracks, in order, those of nested stacks and tracks too."""
        kind = _kind(self.whole, "document")
        if kind != "Timeline":
            raise ListError(f"holds a {kind}; a list is a Timeline")
        stack = self.table(self.table(self.whole, "document").get("tracks"), "tracks")
        if _kind(stack, "tracks") != "Stack":
            raise ListError("is no stack of tracks", key="tracks")
        count = 0
        for n, track in enumerate(self.children(stack, "tracks")):
            place = f"tracks.children[{n}]"
            if _kind(track, place) in ("Track", "Sequence") and track.get("kind", "Video") == "Video":
                for clip in self.within(track, place, (id(stack),)):
                    count += 1
                    if count > MAX_CLIPS:
                        raise ListError(f"holds over {MAX_CLIPS} clips: no timeline", key=place)
                    yield clip

    def within(self, table: Table, place: str, above: tuple[int, ...]) -> Iterator[Table]:
        if id(table) in above or len(above) > MAX_DEPTH:
            raise ListError("holds itself", key=place)
        for n, child in enumerate(self.children(table, place)):
            where = f"{place}.children[{n}]"
            kind = _kind(child, where)
            if kind == "Clip":
                yield self.whole_clip(child, where)
            elif kind in ("Track", "Sequence", "Stack"):
                yield from self.within(child, where, (*above, id(table)))

    def children(self, table: Table, place: str) -> list[Table]:
        found = table.get("children")
        if found is None:
            return []
        if not isinstance(found, list):
            raise ListError(f"is {_shown(found)}; a list is needed", key=f"{place}.children")
        return [self.table(child, f"{place}.children[{n}]") for n, child in enumerate(found)]

    def table(self, value: object, place: str) -> Table:
        """A table, or the one that a reference stands for."""
        if isinstance(value, dict) and value.get("OTIO_SCHEMA") == "SerializableObjectRef.1":
            found = self.stated.get(str(value.get("id")))
            if found is None:
                raise ListError(f"refers to {_shown(value.get('id'))}, which is nowhere", key=place)
            return found
        if not isinstance(value, dict):
            raise ListError(f"is {_shown(value)}; a table is needed", key=place)
        return value

    def whole_clip(self, clip: Table, place: str) -> Table:
        """A clip with its media reference, or the active one of several, under `media_reference`."""
        one, several = clip.get("media_reference"), clip.get("media_references")
        if several is not None:
            key = clip.get("active_media_reference_key", "DEFAULT_MEDIA")
            one = several.get(key) if isinstance(several, dict) and isinstance(key, str) else several
        if isinstance(one, dict) and one.get("OTIO_SCHEMA") == "SerializableObjectRef.1":
            one = self.table(one, f"{place}.media_reference")
        return {**clip, "media_reference": one}


def _kind(table: object, place: str) -> str:
    """The schema of a table without its version."""
    if not isinstance(table, dict):
        raise ListError(f"is {_shown(table)}; a table with OTIO_SCHEMA is needed", key=place)
    schema = table.get("OTIO_SCHEMA")
    if not isinstance(schema, str) or not schema:
        raise ListError("has no OTIO_SCHEMA", key=place)
    return schema.partition(".")[0][:60]


def _shown(value: object) -> str:
    """A value in an error, on one short line."""
    text = json.dumps(value) if not isinstance(value, dict | list) else "a table" if value else "empty"
    return text if len(text) <= 60 else f"{text[:57]}…"


# --- one clip


def _row(clip: Table, file: str, number: int) -> Row:
    name, cells = "", {}
    grade: CDL | None = None
    problem: ListError | GradeError | None = None
    try:
        name = _name(clip)
        cells["clip"] = name
        if effects := clip.get("effects"):
            first = effects[0] if isinstance(effects, list) else effects
            raise ListError(
                f"{name} carries effects ({_kind(first, 'effects')}); they are not rendered here", key="in"
            )
        cells.update(_range(clip))
        metadata = _optional(clip, "metadata")
        grade = _grade(metadata.get("cdl"))
    except (ListError, GradeError) as error:
        text = error.text if not name or name in error.text else f"{name}: {error.text}"
        problem = type(error)(text, file=file, line=number, key=error.key)
    return Row(
        file=file, line=number, clip=name or f"(clip {number})", cells=cells, grade=grade, problem=problem
    )


def _optional(table: Table, key: str) -> Table:
    """A table within, empty where there is none. ListError for anything else."""
    found = table.get(key)
    if found is None:
        return {}
    if not isinstance(found, dict):
        raise ListError(f"is {_shown(found)}; a table is needed", key=key)
    return found


def _name(clip: Table) -> str:
    """The file that a clip names, else its own name."""
    url = _optional(clip, "media_reference").get("target_url") or ""
    name = clip.get("name") or ""
    if not isinstance(url, str) or not isinstance(name, str):
        raise ListError(f"is {_shown(name if isinstance(url, str) else url)}; text is needed", key="clip")
    name = _file_name(url) or name.strip()
    if not name or "\0" in name:
        raise ListError("names neither clip nor file", key="clip")
    try:
        name.encode()
    except UnicodeEncodeError:
        raise ListError("has a broken character in its name, which no file has", key="clip") from None
    return name


def _file_name(url: str) -> str:
    try:
        path = unquote(urlsplit(url).path) if url.lower().startswith("file:") else url
    except ValueError as error:
        raise ListError(f"has a media reference that is no URL: {error}", key="clip") from None
    pure = PureWindowsPath(path) if "\\" in path and "/" not in path else PurePosixPath(path)
    return pure.name


@dataclass(frozen=True, kw_only=True)
class _Time:
    """A count of frames at a rate, both exact."""

    value: Fraction
    rate: Fraction

    @property
    def seconds(self) -> Fraction:
        return self.value / self.rate


def _time(table: Table, key: str, place: str) -> _Time:
    """A RationalTime. ListError where rate or value is no number in use."""
    found = table.get(key)
    if not isinstance(found, dict):
        raise ListError(f"{place}.{key} is {_shown(found)}; a time is needed", key="in")
    numbers = []
    for name, least in (("value", -MAX_VALUE), ("rate", 0.0)):
        number = found.get(name)
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise ListError(f"{place}.{key}.{name} is {_shown(number)}; a number is needed", key="in")
        if not math.isfinite(number) or not least <= number <= MAX_VALUE or (name == "rate" and not number):
            raise ListError(
                f"{place}.{key}.{name} is {_shown(number)}, which is no {name} of a time", key="in"
            )
        numbers.append(Fraction(number))
    return _Time(value=numbers[0], rate=numbers[1])


def _range(clip: Table) -> dict[str, str]:
    wanted = _optional(clip, "source_range")
    if not wanted:
        return {}
    first, length = _time(wanted, "start_time", "source_range"), _time(wanted, "duration", "source_range")
    if length.value < 0:
        raise ListError("lasts less than no time", key="out")
    ends = (first.seconds, first.seconds + length.seconds)
    known = _optional(_optional(clip, "media_reference"), "available_range")
    if known:
        start = _time(known, "start_time", "available_range")
        points = [(end - start.seconds) * start.rate for end in ends]
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
    return {"in": _label(first.value, nominal), "out": _label(ends[1] * first.rate, nominal)}


def _label(frames: Fraction, nominal: int) -> str:
    if nominal < 1 or frames < 0 or abs(frames - round(frames)) > 1e-6:
        raise ListError("has a range that is no whole number of frames", key="in")
    seconds, frame = divmod(round(frames), nominal)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}:{frame:02}"


def _grade(found: object) -> CDL | None:
    if not found:
        return None
    try:
        if not isinstance(found, dict):
            raise TypeError
        sop, saturation = found.get("asc_sop"), found.get("asc_sat")
        triples = {name: _triple(sop[name]) for name in ("slope", "offset", "power")} if sop else {}
        saturation = None if saturation is None else float(saturation)
    except (AttributeError, KeyError, OverflowError, TypeError, ValueError):
        raise GradeError("has a malformed CDL in its metadata", key="cdl") from None
    return stated_cdl(triples, saturation) if triples or saturation is not None else None


def _triple(values: Iterable[str | float]) -> Triple:
    red, green, blue = (float(value) for value in values)
    return red, green, blue
