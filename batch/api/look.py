"""`rushlight look`: what one clip's look does to known colours, layer by layer, in code values and at the display."""

from __future__ import annotations

import difflib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypedDict, Unpack

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.requests import RequestOptions, request_of
from rushlight.batch.decisions.decision import GradeFiles
from rushlight.batch.decisions.grade_export import look_luts
from rushlight.batch.farm.scratch_folders import scratch_folder
from rushlight.batch.plan.jobs import job_spec, wanted
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.pipelines.colour.chart import COLOURS
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import OptionError, TimecodeError, from_os
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import LookSpec
from rushlight.pipelines.outputs.png_bytes import png_bytes

__all__ = ["LookResult", "exact_look", "find_clip", "look", "look_through"]


class AfterLayer(TypedDict):
    """A colour after a layer: R G B of the signal, and its 10-bit codes."""

    signal: list[float]
    code: list[float]


class ThroughLook(TypedDict):
    """A colour after each layer by name, and cd/m2 at the display."""

    after: dict[str, AfterLayer]
    nits: float


@dataclass(frozen=True, kw_only=True)
class LookResult:
    """A clip's look: its layers, and black, grey, white and the 24 patches after each of them.

    `colours`: name of a colour -> `after`: layer -> `signal` and 10-bit `code`, both R G B; and `nits`, cd/m2 at the display.
    """

    clip: str
    look: str
    digest: str
    layers: Sequence[Mapping[str, object]]
    levels: str
    grade_reason: str
    grade_source: str
    colours: Mapping[str, ThroughLook]
    warnings: tuple[str, ...]
    output: str = ""  # whose look it is, where one was asked for
    name: str = ""  # of that look, where it is not the recipe's
    export: Path | None = None  # what was written
    plot: Path | None = None
    picture: Path | None = None

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        document: dict[str, object] = {
            "schema": SCHEMA,
            "clip": self.clip,
            "look": self.look,
            "digest": self.digest,
            "layers": self.layers,
            "levels": self.levels,
            "grade_reason": self.grade_reason,
            "grade_source": self.grade_source,
            "colours": self.colours,
            "warnings": list(self.warnings),
        }
        if self.output:
            document |= {"output": self.output, "name": self.name}
        return document | {
            n: str(p)
            for n, p in (("export", self.export), ("plot", self.plot), ("picture", self.picture))
            if p
        }


SCHEMA = "rushlight-look-1"


def look(
    list: str | Path,
    clip: str,
    *,
    export: str | Path | None = None,
    size: int = 33,
    plot: str | Path | None = None,
    picture: str | Path | None = None,
    at: str = "",
    compare: str = "",
    output: str = "",
    cancel: Cancel | None = None,
    **options: Unpack[RequestOptions],
) -> LookResult:
    """Evaluate the look of `clip` on known colours. `export`: a .cube or .clf to be written, of `size` (33 or 65)
    points a side; `plot`: a .png of its curves and chromaticities; `picture`: a .png or .html of its frame `at` a timecode
    (else the middle one) log, show, graded and in exposure, and with `compare` under another grade, `none` or a decision file,
    `file#id`; `output`: the look that this output of the recipe shows, else the recipe's. InputError where the list has no such
    clip, the clip no such output, or a frame or grade is not there; CancelledError where it was cancelled."""
    with reading(cancel):
        prepared = prepare(request_of(list, options))
    planned = find_clip(prepared, clip)
    spec = _shown(prepared, planned, output) if output else planned.look
    exact = exact_look(prepared, planned, spec)
    result = look_through(planned, exact)
    if output:
        result = replace(result, output=output, name=planned.shows.get(output, ""))
    if export:
        path = _named(export, (".cube", ".clf"), "--export")
        _write(path, look_luts(exact, size, (f"Clip {planned.stem}",))[path.suffix.lower()].encode())
        result = replace(result, export=path.resolve())
    if plot:
        from rushlight.batch.look_pictures.curves_and_gamuts import look_picture

        path = _named(plot, (".png",), "--plot")
        _write(path, look_picture(exact, planned.stem))
        result = replace(result, plot=path.resolve())
    if picture:
        path = _named(picture, (".png", ".html"), "--picture")
        _write(path, _pictured(prepared, planned, exact, path, at, compare))
        result = replace(result, picture=path.resolve())
    elif at or compare:
        raise OptionError("--at and --compare go with --picture", key="--at" if at else "--compare")
    return result


def _pictured(prepared: Prepared, clip: PlannedClip, exact: Look, path: Path, at: str, compare: str) -> bytes:
    """The look on a frame of the clip, as the file's kind has it."""
    from rushlight.batch.look_pictures import look_frame

    number = _frame_at(clip, at)
    other = None
    if compare:
        cdl = None
        if compare.casefold() != "none":
            cdl = GradeFiles(prepared.request.grades).named(compare, Path(), "--compare").cdl
        other = (Path(compare).name, cdl)
    job = job_spec(
        clip,
        out=Path(),
        outputs=(),
        recipe=prepared.recipe,
        baked={},
        fields={},
        hashes=("", ""),
        sound_alone=True,
    )
    panels = look_frame.panels_of(look_frame.signal_of(job, clip.facts, clip.first + number), exact, other)
    title, timecode = f"{clip.stem} at {clip.timecode + number}", str(clip.timecode + number)
    if path.suffix.lower() == ".html":
        page = look_frame.page_of(panels, title=title, look=exact.describe(), timecode=timecode)
        return page.encode()
    return png_bytes(look_frame.sheet(panels, f"{title}: {exact.describe()}"))


def _frame_at(clip: PlannedClip, at: str) -> int:
    """The frame of a timecode, counted from the clip's first; the middle one where none is given."""
    if not at:
        return clip.count // 2
    try:
        number = clip.timecode.until(Timecode.parse(at, clip.rate))
    except TimecodeError as error:
        raise error.at(key="--at") from None
    if not 0 <= number < clip.count:
        last = clip.timecode + (clip.count - 1)
        raise OptionError(f"{at} is outside the clip: its frames are {clip.timecode} to {last}", key="--at")
    return number


def _named(path: str | Path, suffixes: Sequence[str], key: str) -> Path:
    path = Path(path)
    if path.suffix.lower() not in suffixes:
        raise OptionError(f"takes a name that ends in {' or '.join(suffixes)}", file=str(path), key=key)
    return path


def find_clip(prepared: Prepared, name: str) -> PlannedClip:
    """The planned clip of that name (as the list has it, its stem, or its file), without case.

    OptionError where there is none or several; the row's own error where the row is set aside.
    """
    wanted = name.strip().casefold()
    plan = prepared.plan
    fits = [
        c
        for c in plan.clips
        if wanted in {n.casefold() for n in (c.row.clip, c.stem, c.path.name, str(c.path))}
    ]
    if len(fits) == 1:
        return fits[0]
    if fits:
        places = ", ".join(f"{c.row.place} ({c.path})" for c in fits[:4])
        raise OptionError(f"{name!r} is {len(fits)} clips of the list: {places}; give its path", key="CLIP")
    for row, error in (*plan.wrong, *plan.broken):
        if row.clip.casefold() == wanted or Path(row.clip).stem.casefold() == wanted:
            raise error
    names = [c.row.clip for c in plan.clips]
    near = [n for n in names if wanted in n.casefold()] or difflib.get_close_matches(name, names, 1, 0.5)
    raise OptionError(
        f"the list has no clip {name!r}" + (f"; was {near[0]!r} meant?" if near else ""), key="CLIP"
    )


def _shown(prepared: Prepared, clip: PlannedClip, output: str) -> LookSpec:
    """The look that an output shows of a clip. OptionError where there is no such output, or it shows no look."""
    outputs = {each.name: each for each in prepared.recipe.output if wanted(clip, each)}
    if output not in outputs:
        text = f"{clip.row.clip} has no output {output!r}; it has {', '.join(outputs) or 'none'}"
        raise OptionError(text, key="--output")
    if outputs[output].state == "log":
        raise OptionError(f"{output} is in state log, which shows no look", key="--output")
    return clip.look_of(output)


def exact_look(prepared: Prepared, clip: PlannedClip, spec: LookSpec | None = None) -> Look:
    """An exact look of a planned clip, the recipe's if None, before there is an output folder that keeps its LUT."""
    spec = spec or clip.look
    with scratch_folder() as folder:
        if spec.lut:
            path = folder / spec.lut.path
            path.parent.mkdir(parents=True)
            path.write_bytes(prepared.luts.kept[path.name])
        return build_look(spec, folder)


def look_through(clip: PlannedClip, look: Look) -> LookResult:
    """All layers and, for every colour, its values after each: signal, 10-bit code, and cd/m2 at the display.

    Codes of the camera's signal and of what follows it are at the file's levels, those of the display at narrow ones.
    """
    names = list(COLOURS)
    stages = look.stages(look.working.from_ap0(np.array(list(COLOURS.values()))))
    nits = look.display.nits(stages[-1][1])
    on_display = {"display", "shown"} | ({"graded"} if look.grade_order == "after" else set())
    rows: dict[str, ThroughLook] = {}
    warnings: list[str] = []
    for index, name in enumerate(names):
        after: dict[str, AfterLayer] = {}
        for stage, values in stages:
            narrow = stage in on_display or clip.signal.levels == "narrow"
            signal = values[index]
            codes = signal * 876 + 64 if narrow else signal * 1023
            after[stage] = {
                "signal": [round(float(v), 6) for v in signal],
                "code": [round(float(v), 2) for v in codes],
            }
            # What a CDL clamps or a display clips is at an end; what a log layer pushes past one is named.
            if stage not in on_display and (signal.min() < -1e-9 or signal.max() > 1 + 1e-9):
                warnings.append(f"{name} is {_range(signal)} after {stage}: outside 0..1")
        rows[name] = {"after": after, "nits": round(float(nits[index]), 4)}
    return LookResult(
        clip=clip.row.clip,
        look=look.describe(),
        digest=look.digest(),
        layers=look.layers(),
        levels=clip.signal.levels,
        grade_reason=clip.decision.reason,
        grade_source=clip.decision.source,
        colours=rows,
        warnings=tuple(warnings),
    )


def _range(signal: NDArray[np.float64]) -> str:
    return f"{signal.min():.3f} to {signal.max():.3f}"


def _write(path: Path, data: bytes) -> None:
    """Under its final name only when whole."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        temporary.write_bytes(data)
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise from_os(error, path) from None
