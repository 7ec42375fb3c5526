"""An output's frame for one clip: what is stated of it, or what a framing decision says; its raster, and its frame lines.

Desqueeze first, then scale (ASC FDL, geometry): an area of the canvas becomes the picture's extraction area, in whole pixels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rushlight.batch.framing.clip_canvas import Found
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.read_fdl import Canvas, Context, Decision, Intent, Region
from rushlight.batch.lists.camera_columns import Camera, framed
from rushlight.batch.records.files import ClipFraming
from rushlight.pipelines.errors import FramingError
from rushlight.pipelines.job.from_spec import box_in_raster, fit_of
from rushlight.pipelines.job.spec import FrameLine
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.framing import Fit, Placement, Rect, placement
from rushlight.pipelines.recipe.model import Area, Frame, Guides, MovieOutput, Size, StillsOutput

__all__ = ["ClipCanvases", "OutputFrame", "asked_of", "frame_output", "framing_record", "whole_pixels"]

WHOLE = {1: "whole", 2: "even"}  # as asc-fdl calls it
SMALLEST = 16  # pixels of an extraction area


@dataclass(frozen=True, kw_only=True)
class OutputFrame:
    """An output's frame for one clip, in numbers: `width` and `height` are its raster's. `missing` are framing intents that are
    asked for and that no decision is of."""

    frame: Frame
    width: int
    height: int
    lines: tuple[FrameLine, ...] = ()
    record: ClipFraming | None = None
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def identity(self, guides: Guides | None) -> dict[str, object]:
        """What of it changes a movie: numbers, not the names of intents."""
        found: dict[str, object] = {"frame": self.frame.model_dump(mode="json")}
        if guides and guides.framing:
            found["guides"] = guides.model_dump(mode="json", exclude={"framing", "protection"})
            found["lines"] = [line.model_dump(mode="json") for line in self.lines]
        return found


def framing_record(frames: Mapping[str, OutputFrame]) -> dict[str, object]:
    """What a record says of a clip's framing decisions: nothing where there are none."""
    found = [frame.record.plain() for frame in frames.values() if frame.record]
    return {"framing": found} if found else {}


@dataclass(frozen=True, kw_only=True)
class Decided:
    """A framing decision, with its intent, its canvas and its context."""

    context: Context
    canvas: Canvas
    decision: Decision
    intent: Intent
    reason: str


@dataclass(frozen=True, kw_only=True)
class ClipCanvases:
    """The canvases that are a clip's, of the list that is stated for it."""

    said: ClipFdl
    found: tuple[Found, ...]

    def decision(self, name: str) -> Decided | None:
        """The decision of an intent by id or label; None without one. FramingError where there is no such intent, or where
        several decisions of it differ."""
        intent = self.said.list.intent(name)
        found = [(f, d) for f in self.found for d in f.canvas.decisions if d.intent == intent.id]
        if len({(d.framing, d.protection, f.canvas.squeeze, f.canvas.effective) for f, d in found}) > 1:
            some = ", ".join(f"{f.context.label!r} canvas {f.canvas.id}" for f, _ in found[:6])
            raise FramingError(
                f"{len(found)} decisions of {self.said.list.file} for {intent.name!r} fit this clip and differ: {some}; column"
                " `fdl` says which, with # and a context's label or a canvas's id"
            )
        if not found:
            return None
        on, decision = found[0]
        return Decided(
            context=on.context, canvas=on.canvas, decision=decision, intent=intent, reason=on.reason
        )


def asked_of(output: MovieOutput | StillsOutput) -> tuple[str, ...]:
    """The framing intents that an output asks for: first the one it is framed by."""
    lines = output.guides.framing if output.guides else ()
    return (*([output.frame.framing] if output.frame.framing else ()), *lines)


def frame_output(
    output: MovieOutput | StillsOutput, camera: Camera, facts: Facts, canvases: ClipCanvases | None
) -> OutputFrame:
    """The frame of an output. FramingError with key `frame` or `guides` where its decision will not do; SourceError or RecipeError
    where the picture cannot be placed."""
    by = _of(canvases, output.frame.framing, "frame.framing")
    guides = output.guides
    drawn = {n: f for n in (guides.framing if guides else ()) if (f := _of(canvases, n, "guides.framing"))}
    frame, notes = output.frame, list[str]()
    if output.frame.framing:
        frame = output.frame.model_copy(update={"framing": "", "crop": "framing"})
    if by:
        region, notes = _region(by.canvas, by.decision, output.frame.crop)
        update = {
            "area": _area(region, facts, even=output.size is None),
            "desqueeze": _squeeze(by.canvas, facts),
        }
        frame = frame.model_copy(update=update)
    frame = framed(frame, camera, facts)
    width, height = _raster(output, frame if by else None, facts)
    fit = fit_of(frame, width, height, facts)
    place = placement(fit, facts.width, facts.height, pixel_aspect=facts.pixel_aspect)
    first = by or next(iter(drawn.values()), None)
    notes = [*notes, *(_shape_notes(first.canvas, frame, camera, facts) if first else ())]
    lines = [_line(line, fit, place, facts) for line in drawn.values()]
    if guides and guides.protection:
        lines += [
            _line(line, fit, place, facts, dashed=True) for line in drawn.values() if line.decision.protection
        ]
    having = {*drawn, *([output.frame.framing] if by else ())}
    return OutputFrame(
        frame=frame,
        width=width,
        height=height,
        lines=tuple(lines),
        record=_record(output, frame, by, first, drawn, canvases, facts) if first and canvases else None,
        missing=tuple(dict.fromkeys(name for name in asked_of(output) if name not in having)),
        notes=tuple(f"{output.name}: {note}" for note in notes),
    )


def _line(by: Decided, fit: Fit, place: Placement, facts: Facts, *, dashed: bool = False) -> FrameLine:
    """The frame line of what a decision frames, with its intent's name; dashed, of what it protects."""
    region = by.decision.protection if dashed and by.decision.protection else by.decision.framing
    box = box_in_raster(region.x, region.y, region.width, region.height, fit=fit, place=place, facts=facts)
    return FrameLine(
        x=box.x,
        y=box.y,
        width=box.width,
        height=box.height,
        label="" if dashed else by.intent.name,
        dashed=dashed,
    )


def _of(canvases: ClipCanvases | None, name: str, key: str) -> Decided | None:
    if canvases is None or not name:
        return None
    try:
        return canvases.decision(name)
    except FramingError as error:
        raise error.at(key=key) from None


def _region(canvas: Canvas, decision: Decision, crop: str) -> tuple[Region | None, list[str]]:
    """What is delivered of a canvas: None for all of it; and what is to be said of that."""
    if crop == "protection" and decision.protection is None:
        return decision.framing, [f"decision {decision.id} protects nothing; what it frames is delivered"]
    if crop == "effective" and canvas.effective is None:
        return None, [f"canvas {canvas.id} states no effective area; all of it is delivered"]
    regions = {"framing": decision.framing, "protection": decision.protection, "effective": canvas.effective}
    return regions.get(crop), []


def _area(region: Region | None, facts: Facts, *, even: bool) -> Area | None:
    """A region in whole pixels of the original. FramingError with key `frame` where it lies outside, or is too small."""
    if region is None:
        return None
    rect = whole_pixels(region, facts, even=even)
    if (rect.x, rect.y, rect.width, rect.height) == (0, 0, facts.width, facts.height):
        return None
    raster = Size(width=facts.width, height=facts.height)
    return Area(x=rect.x, y=rect.y, width=rect.width, height=rect.height, raster=raster)


def whole_pixels(region: Region, facts: Facts, *, even: bool = False) -> Rect:
    """A region of the original to the nearest whole pixels, and to even ones where its chroma has fewer samples than its luma; with
    `even` its size to even ones in any case, as encoders need it of their rasters.

    FramingError with key `frame` where it reaches outside by more than that, or is too small.
    """
    import fdl

    found = []
    for what, start, length, whole, sub in (
        ("wide", region.x, region.width, facts.width, facts.pixel_format.sub_x),
        ("high", region.y, region.height, facts.height, facts.pixel_format.sub_y),
    ):
        if start + length > whole + 0.5:
            raise FramingError(
                f"its framing decision reaches to pixel {start + length:g} of a canvas that is {whole} {what}",
                key="frame",
            )
        step = 2 if even or sub > 1 else 1
        size = min(fdl.fdl_round(length, WHOLE[step], "round"), whole // step * step)
        if size < SMALLEST:
            raise FramingError(
                f"its framing decision is {length:g} pixels {what}; {SMALLEST} are the least that is delivered",
                key="frame",
            )
        at = min(fdl.fdl_round(start, WHOLE[sub], "round"), (whole - size) // sub * sub)
        found.append((at, size))
    (x, width), (y, height) = found
    return Rect(x=x, y=y, width=width, height=height)


def _squeeze(canvas: Canvas, facts: Facts) -> float:
    """By how much the picture is to be widened beyond what its header states. FramingError with key `frame` for what is no squeeze."""
    if not 0.25 <= canvas.squeeze <= 4:
        raise FramingError(
            f"canvas {canvas.id} states a squeeze of {canvas.squeeze:g}; 0.25 to 4 are taken", key="frame"
        )
    return float(Fraction(canvas.squeeze).limit_denominator(10000) / facts.pixel_aspect)


def _shape_notes(canvas: Canvas, frame: Frame, camera: Camera, facts: Facts) -> list[str]:
    """What is to be said where the picture is not widened as its canvas says, or its header says otherwise. A row or a default is
    believed before the list, and the list before the header."""
    wide, header = frame.desqueeze * float(facts.pixel_aspect), float(facts.pixel_aspect)
    if abs(wide / canvas.squeeze - 1) > 0.001:
        who = (
            "as is stated of the clip" if camera.desqueeze is not None else "since lines alone are asked for"
        )
        return [
            f"is made {wide:.4g} times as wide as stored, {who}; canvas {canvas.id} says {canvas.squeeze:g}"
        ]
    if camera.desqueeze is None and header != 1 and abs(header / canvas.squeeze - 1) > 0.001:
        return [
            f"is made {wide:.4g} times as wide as stored, as canvas {canvas.id} says; its header says {header:.4g}"
        ]
    return []


def _raster(output: MovieOutput | StillsOutput, frame: Frame | None, facts: Facts) -> tuple[int, int]:
    """The raster: the output's; else that of what is framed, desqueezed; without a framing the original's."""
    if output.size:
        return output.size.width, output.size.height
    if frame is None:
        return facts.width // 2 * 2, facts.height // 2 * 2
    size = frame.area or facts
    squeeze = Fraction(frame.desqueeze).limit_denominator(10000) * facts.pixel_aspect
    return 2 * round(size.width * squeeze / 2), 2 * round(Fraction(size.height, 2))


def _record(
    output: MovieOutput | StillsOutput,
    frame: Frame,
    by: Decided | None,
    first: Decided,
    drawn: Mapping[str, Decided],
    canvases: ClipCanvases,
    facts: Facts,
) -> ClipFraming:
    area = frame.area if by else None
    return ClipFraming(
        output=output.name,
        intent=by.intent.name if by else "",
        crop=output.frame.crop if by else "canvas",
        area=[area.x, area.y, area.width, area.height] if area else None,
        squeeze=round(frame.desqueeze * float(facts.pixel_aspect), 6),
        lines=[line.intent.name for line in drawn.values()],
        decision=first.decision.id,
        context=first.context.label,
        canvas=f"{first.canvas.id} {first.canvas.width}x{first.canvas.height}",
        source=canvases.said.list.file,
        reason=f"{canvases.said.who} names the list; {first.reason}",
    )
