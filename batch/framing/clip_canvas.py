"""Which canvases of a framing decision list are a clip's, and why: by its name, by its reel, by its camera, by its size.

A canvas is the raster of a recording: it fits an original of its very size and no other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from rushlight.batch.decisions.grade_lookup import camera_name, plain_name
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.read_fdl import Canvas, Context
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import FramingError

__all__ = ["Found", "FramedClip", "find_canvases"]


@dataclass(frozen=True, kw_only=True)
class FramedClip:
    """What a list may tell a clip by."""

    names: tuple[str, ...]
    reel: str
    camera: str  # its letter, or what its row calls it; empty where nobody says
    width: int  # of the original, as it is stored
    height: int


@dataclass(frozen=True, kw_only=True)
class Found:
    """A canvas of a clip, its context, and the reason."""

    context: Context
    canvas: Canvas
    reason: str


def find_canvases(said: ClipFdl, clip: FramedClip) -> tuple[Found, ...]:
    """The canvases that fit a clip, of the first rank that has a context for it; none where no context is for it.

    FramingError with both sizes where contexts are for it and none of their canvases has its size.
    """
    contexts = said.list.contexts
    if said.context:
        chosen = _stated(said, contexts)
        return _fitting(said, chosen, clip)
    names = {plain_name(n) for n in clip.names}
    short = {camera_name(n) for n in clip.names} - {""}
    letter = _camera(clip.camera)

    def names_it(context: Context) -> bool:
        return any(plain_name(c) in names or camera_name(c) in short for c in context.clips)

    free = [c for c in contexts if not c.clips]
    ranks: tuple[tuple[str, Iterable[Context], Callable[[Context], bool]], ...] = (
        ("its context names the clip", contexts, names_it),
        ("its context is the clip's reel", free, lambda c: _same(c.label, clip.reel)),
        ("its context is the clip's camera", free, lambda c: bool(letter) and _camera(c.label) == letter),
        ("its canvas has the clip's size", free, lambda c: not (letter and _is_letter(c.label))),
    )
    for reason, among, fits in ranks:
        if found := [c for c in among if fits(c)]:
            return _fitting(said, [(c, reason) for c in found], clip)
    return ()


def _stated(said: ClipFdl, contexts: Iterable[Context]) -> list[tuple[Context, str]]:
    """The contexts of a stated label, or the canvases of a stated id. FramingError naming those that there are."""
    found = [c for c in contexts if _same(c.label, said.context)]
    if not found:
        for context in contexts:
            if same := tuple(c for c in context.canvases if c.id == said.context):
                found.append(Context(label=context.label, clips=context.clips, canvases=same))
    if not found:
        known = ", ".join(repr(c.label) for c in list(contexts)[:8]) or "none"
        raise FramingError(
            f"{said.list.file} has no context and no canvas {said.context!r}; its contexts are {known}"
        )
    return [(c, f"{said.who} says so") for c in found]


def _fitting(said: ClipFdl, contexts: Iterable[tuple[Context, str]], clip: FramedClip) -> tuple[Found, ...]:
    every = [Found(context=c, canvas=v, reason=reason) for c, reason in contexts for v in c.canvases]
    found = tuple(f for f in every if (f.canvas.width, f.canvas.height) == (clip.width, clip.height))
    if found or not every:
        return found
    known = dict.fromkeys(
        f"{f.canvas.width}x{f.canvas.height} ({f.context.label or f.canvas.id})" for f in every
    )
    some = shortened(list(known), 6)
    raise FramingError(
        f"the original is {clip.width}x{clip.height}, and {'the canvas' if len(known) == 1 else 'no canvas'} of"
        f" {said.list.file} {'is' if len(known) == 1 else 'has that size; they are'} {some}: a framing decision is for a"
        " recording of its very size; `none` in column `fdl` delivers the whole picture"
    )


def _same(label: str, name: str) -> bool:
    return bool(name) and label.strip().casefold() == name.strip().casefold()


def _camera(label: str) -> str:
    """A camera's name as it is compared: `B Cam`, `camera_b` and `B` are one (common practice, no source)."""
    words = re.split(r"[\s_-]+", label.strip().casefold())
    return " ".join(w for w in words if w not in ("cam", "camera")) or label.strip().casefold()


def _is_letter(label: str) -> bool:
    """True if a label is that of a camera by its letter: not for a clip of another one."""
    return re.fullmatch(r"[a-z]", _camera(label)) is not None
