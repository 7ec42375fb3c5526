"""`rushlight look`: what one clip's look does to known colours, layer by layer, in code values and at the display."""

from __future__ import annotations

import difflib
import os
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.batch.console import say, say_json
from rushlight.batch.farm.scratch_folders import scratch_folder
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.text_tables import print_table
from rushlight.pipelines.colour.chart import COLOURS
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import OptionError, from_os
from rushlight.pipelines.job.from_spec import build_look

__all__ = ["exact_look", "find_clip", "look_document", "show_look"]


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
        raise OptionError(f"{name!r} is {len(fits)} clips of the list: {places}; write its path", key="CLIP")
    for row, error in (*plan.wrong, *plan.broken):
        if row.clip.casefold() == wanted or Path(row.clip).stem.casefold() == wanted:
            raise error
    near = difflib.get_close_matches(name, [c.row.clip for c in plan.clips], 1, 0.5)
    raise OptionError(
        f"the list has no clip {name!r}" + (f"; was {near[0]!r} meant?" if near else ""), key="CLIP"
    )


def exact_look(prepared: Prepared, clip: PlannedClip) -> Look:
    """The exact look of a planned clip, before there is an output folder that keeps its LUT."""
    with scratch_folder() as folder:
        if clip.look.lut:
            path = folder / clip.look.lut.path
            path.parent.mkdir(parents=True)
            path.write_text(prepared.luts.texts[clip.look.lut.digest], "utf-8")
        return build_look(clip.look, folder)


def look_document(clip: PlannedClip, look: Look) -> dict[str, Any]:
    """All layers and, for every colour, its values after each: signal, 10-bit code, and cd/m2 at the display.

    Codes of the camera's signal and of what follows it are at the file's levels, those of the display at narrow ones.
    """
    names = list(COLOURS)
    stages = look.stages(look.working.from_ap0(np.array(list(COLOURS.values()))))
    nits = look.display.nits(stages[-1][1])
    on_display = {"display", "shown"} | ({"graded"} if look.grade_order == "after" else set())
    rows: dict[str, Any] = {}
    warnings: list[str] = []
    for index, name in enumerate(names):
        after = {}
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
    return {
        "schema": "rushlight-look-1",
        "clip": clip.row.clip,
        "look": look.describe(),
        "digest": look.digest(),
        "layers": look.layers(),
        "levels": clip.signal.levels,
        "grade_reason": clip.decision.reason,
        "grade_source": clip.decision.source,
        "colours": rows,
        "warnings": warnings,
    }


def _range(signal: Any) -> str:
    return f"{signal.min():.3f} to {signal.max():.3f}"


def show_look(
    request: Request, name: str, *, export: Path | None, size: int, plot: Path | None, as_json: bool
) -> int:
    """The command: print the document, and write what was asked for. Gives the exit code."""
    prepared = prepare(request)
    clip = find_clip(prepared, name)
    look = exact_look(prepared, clip)
    document = look_document(clip, look)
    if export:
        from rushlight.batch.decisions.grade_export import look_cube

        if export.suffix.lower() != ".cube":
            raise OptionError("takes a name that ends in .cube", file=str(export), key="--export")
        _write(export, look_cube(look, size, (f"Clip {clip.stem}",)).encode())
        document["export"] = str(export.resolve())
    if plot:
        from rushlight.batch.cli.look_plot import look_picture

        if plot.suffix.lower() != ".png":
            raise OptionError("takes a name that ends in .png", file=str(plot), key="--plot")
        _write(plot, look_picture(look, clip.stem))
        document["plot"] = str(plot.resolve())
    if as_json:
        say_json(document)
    else:
        _print(document)
    return 0


def _write(path: Path, data: bytes) -> None:
    """Under its final name only when whole."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        temporary.write_bytes(data)
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise from_os(error, path) from None


def _print(document: dict[str, Any]) -> None:
    say(f"{document['clip']}: {document['look']}")
    say(
        f"grade: {document['grade_reason']}"
        + (f" ({document['grade_source']})" if document["grade_source"] else "")
    )
    say(
        f"10-bit codes R G B after each layer; the file's levels are {document['levels']}, the display's narrow\n"
    )
    stages = list(next(iter(document["colours"].values()))["after"])
    rows = [
        [
            name,
            *(" ".join(f"{v:.0f}" for v in entry["after"][stage]["code"]) for stage in stages),
            f"{entry['nits']:.2f}",
        ]
        for name, entry in document["colours"].items()
    ]
    print_table(["colour", *stages, "cd/m2"], rows)
    for text in document["warnings"]:
        say(f"note: {text}")
    for what in ("export", "plot"):
        if what in document:
            say(f"written: {document[what]}")
