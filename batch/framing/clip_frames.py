"""The frames of all outputs of one clip, and what is to be said where one has no framing decision."""

from __future__ import annotations

from collections.abc import Iterable

from rushlight.batch.framing.clip_canvas import FramedClip, find_canvases
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.output_framing import ClipCanvases, OutputFrame, asked_of, frame_output
from rushlight.batch.lists.camera_columns import Camera
from rushlight.pipelines.errors import FramingError, InputError
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput

__all__ = ["clip_frames"]


def clip_frames(
    outputs: Iterable[tuple[int, MovieOutput | StillsOutput]],
    clip: FramedClip,
    facts: Facts,
    camera: Camera,
    said: ClipFdl | None,
    *,
    none_stated: bool,
    refuse: bool,
) -> tuple[dict[str, OutputFrame], list[str]]:
    """The frame of each output (with its place in the recipe), by its name, and notes.

    `none_stated`: the clip is to have no framing. FramingError where its decision will not do; with `refuse` also where it has none.
    """
    outputs = tuple(outputs)
    asking = [output for _, output in outputs if asked_of(output)]
    canvases: ClipCanvases | None = None
    if said and asking:
        try:
            canvases = ClipCanvases(said=said, found=find_canvases(said, clip))
        except FramingError as error:
            raise error.at(key="fdl") from None
    frames: dict[str, OutputFrame] = {}
    notes: list[str] = []
    unframed: dict[tuple[str, str], list[str]] = {}
    for index, output in outputs:
        try:
            frame = frames[output.name] = frame_output(output, camera, facts, canvases)
        except FramingError as error:
            raise error.at(key=f"output[{index}]") from None
        except InputError as error:
            raise error.at(key=f"output[{index}].frame") from None
        notes += frame.notes
        if output.frame.desqueeze != 1 and facts.pixel_aspect != 1 and camera.desqueeze is None:
            notes.append(
                f"its header states pixels {float(facts.pixel_aspect):.4g} wide, and {output.name} widens them by "
                f"{output.frame.desqueeze:.4g}: {float(facts.pixel_aspect) * output.frame.desqueeze:.4g} in all"
            )
        if frame.missing and not none_stated:
            why, what = _why(canvases, frame.missing, clip), _what(output, frame)
            if refuse:
                raise FramingError(
                    f"{why}, and the recipe refuses clips without framing", key=f"output[{index}].frame"
                )
            unframed.setdefault((why, what), []).append(output.name)
    notes += [f"unframed: {why}; {what}: {', '.join(names)}" for (why, what), names in unframed.items()]
    if said and not asking and said.who != "the recipe":
        notes.append(f"no output of it asks for a framing: {said.list.file} is not used")
    return frames, list(dict.fromkeys(notes))


def _why(canvases: ClipCanvases | None, missing: tuple[str, ...], clip: FramedClip) -> str:
    """Why a clip has no decision of the intents that are asked for."""
    if canvases is None:
        return "no framing decision list is stated for it (column `fdl`, a default's or the recipe's)"
    file = canvases.said.list.file
    if not canvases.found:
        known = ", ".join(repr(c.label) for c in canvases.said.list.contexts[:6]) or "none"
        camera = f" of camera {clip.camera}" if clip.camera else ""
        return f"{file} has no context for this clip{camera}; its contexts are {known}"
    return f"{file} has no decision of {' and '.join(map(repr, missing))} on canvas {canvases.found[0].canvas.id}"


def _what(output: MovieOutput | StillsOutput, frame: OutputFrame) -> str:
    """What is delivered without the decision."""
    whole = output.frame.framing and output.frame.framing in frame.missing
    return "delivered with the whole picture" if whole else "delivered without its frame line"
