"""A framing decision list read: its intents, and of each context the canvases with their decisions.

ASC Framing Decision List, versions 1.0 and 2.0 (American Society of Cinematographers, github.com/ascmitc/fdl). The
standard's own library reads and checks it; what is kept here are its numbers, in pixels of the canvas, origin top left.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.pipelines.errors import FramingError
from rushlight.pipelines.text_files import read_text

if TYPE_CHECKING:
    import fdl

__all__ = ["Canvas", "Context", "Decision", "FramingList", "Intent", "Region", "parse_fdl", "read_fdl"]

LARGEST = 2**31 - 1  # of any number
LONGEST = 4_000_000  # characters; the standard's own samples have some thousands
FAULTS = 3  # of a document that are told


@dataclass(frozen=True, kw_only=True)
class Region:
    """A rectangle of a canvas, in its pixels and fractions of them."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, kw_only=True)
class Intent:
    """A framing intent: what a picture is framed for."""

    id: str
    label: str

    @property
    def name(self) -> str:
        return self.label or self.id


@dataclass(frozen=True, kw_only=True)
class Decision:
    """A framing decision on a canvas: what is framed, and what is protected around it; None where it protects nothing."""

    id: str
    intent: str
    framing: Region
    protection: Region | None


@dataclass(frozen=True, kw_only=True)
class Canvas:
    """A canvas: the raster of a recording. `effective` is the part of it that has a picture; None: all of it."""

    id: str
    label: str
    width: int
    height: int
    squeeze: float  # by which the stored picture is to be widened
    effective: Region | None
    decisions: tuple[Decision, ...]


@dataclass(frozen=True, kw_only=True)
class Context:
    """A context: canvases of one camera, or of the clip that `clips` names; nothing in `clips` where it names none."""

    label: str
    clips: tuple[str, ...]
    canvases: tuple[Canvas, ...]


@dataclass(frozen=True, kw_only=True)
class FramingList:
    """A whole list. `default_intent` is an intent's id, or empty."""

    file: str
    intents: tuple[Intent, ...]
    default_intent: str
    contexts: tuple[Context, ...]

    def intent(self, name: str) -> Intent:
        """The intent of that id, or else of that label; "default" is the list's own. FramingError naming those that there are."""
        wanted = name.strip().casefold()
        found = [i for i in self.intents if i.id.casefold() == wanted]
        found = found or [i for i in self.intents if i.label.casefold() == wanted]
        if not found and wanted == "default":
            found = [i for i in self.intents if i.id == self.default_intent]
        if len(found) == 1:
            return found[0]
        known = ", ".join(f"{i.label!r} ({i.id})" if i.label else i.id for i in self.intents[:8]) or "none"
        if found:
            raise FramingError(
                f"{self.file} has {len(found)} framing intents {name!r}; say which by its id: {known}"
            )
        raise FramingError(f"{self.file} has no framing intent {name!r}; it has {known}")


def read_fdl(path: Path) -> FramingList:
    """The framing decisions of a .fdl file. FramingError naming it where it cannot be read or is none."""
    return parse_fdl(read_text(path, FramingError), file=str(path))


def parse_fdl(text: str, *, file: str = "") -> FramingList:
    """The framing decisions of a document's text, as its schema and its own rules have it. FramingError with what is wrong."""
    import fdl

    if len(text) > LONGEST:
        raise FramingError("is far too long for a framing decision list", file=file)
    try:
        with fdl.FDL.parse(_plain(text, file)) as document:
            document.validate()
            return _read(document, file)
    except fdl.FDLValidationError as error:
        raise FramingError(
            f"is no framing decision list that will do: {_faults(str(error))}", file=file
        ) from None
    except ValueError as error:
        raise FramingError(
            f"is no framing decision list: {' '.join(str(error).split())[:200]}", file=file
        ) from None


def _plain(text: str, file: str) -> bytes:
    """The document with numbers that the library can hold: one that is larger ends it, and our process with it (asc-fdl 1.0.2)."""

    def number(words: str) -> float:
        value = float(words)
        if not abs(value) <= LARGEST:
            raise FramingError(f"holds the number {words[:40]}, which no picture has", file=file)
        return value

    def whole(words: str) -> int:
        number(words)
        return int(words)

    try:
        value = json.loads(text, parse_float=number, parse_int=whole, parse_constant=number)
    except json.JSONDecodeError as error:
        raise FramingError(
            f"is no framing decision list, which is JSON: {error.msg}", file=file, line=error.lineno
        ) from None
    except RecursionError:
        raise FramingError("is no framing decision list: it nests too deep", file=file) from None
    return json.dumps(value, ensure_ascii=False).encode("utf-8", "replace")


def _faults(text: str) -> str:
    """What the library says is wrong, in a sentence: the first faults, each with its place."""
    lines = [line.strip() for line in text.splitlines()[1:] if line.strip()]
    if any(match := re.search(r"No schema found for version (\S+)", line) for line in lines):
        assert match
        return f"it is of version {match[1]}; 1.0 and 2.0 are read"
    more = f" (and {len(lines) - FAULTS} more)" if len(lines) > FAULTS else ""
    return "; ".join(line[:200] for line in lines[:FAULTS]) + more


def _read(document: fdl.FDL, file: str) -> FramingList:
    return FramingList(
        file=file,
        intents=tuple(Intent(id=i.id or "", label=i.label or "") for i in document.framing_intents),
        default_intent=document.default_framing_intent or "",
        contexts=tuple(
            Context(label=c.label or "", clips=_clips(c), canvases=tuple(map(_canvas, c.canvases)))
            for c in document.contexts
        ),
    )


def _clips(context: fdl.Context) -> tuple[str, ...]:
    """The names that a context's clip_id has for its clip: that of the clip, of its file, of its sequence without the counter."""
    named = context.clip_id
    if named is None:
        return ()
    found = [named.clip_name or "", re.split(r"[/\\]", named.file or "")[-1]]
    if named.sequence is not None:
        value, counter = re.split(r"[/\\]", named.sequence.value or "")[-1], named.sequence.idx or "#"
        found.append(value.partition(counter)[0].rstrip("._-"))
    return tuple(dict.fromkeys(name for name in found if name))


def _canvas(canvas: fdl.Canvas) -> Canvas:
    size = canvas.dimensions
    return Canvas(
        id=canvas.id,
        label=canvas.label or "",
        width=size.width,
        height=size.height,
        squeeze=canvas.anamorphic_squeeze,
        effective=_region(canvas.effective_dimensions, canvas.effective_anchor_point),
        decisions=tuple(
            Decision(
                id=d.id,
                intent=d.framing_intent_id,
                framing=_region(d.dimensions, d.anchor_point) or Region(x=0, y=0, width=0, height=0),
                protection=_region(d.protection_dimensions, d.protection_anchor_point),
            )
            for d in canvas.framing_decisions
        ),
    )


def _region(size: fdl.DimensionsInt | fdl.DimensionsFloat | None, at: fdl.PointFloat | None) -> Region | None:
    """A rectangle; None where there is none. One that states no place begins at the canvas's corner, as the schema has it."""
    if size is None:
        return None
    x, y = (at.x, at.y) if at is not None else (0.0, 0.0)
    return Region(x=float(x), y=float(y), width=float(size.width), height=float(size.height))
