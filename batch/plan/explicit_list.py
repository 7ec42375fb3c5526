"""A plan as a list that says everything itself: `plan --write`, which `render` takes back to the same clips and looks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.lists.clip_list import write_csv
from rushlight.batch.lists.list_columns import GRADE_COLUMNS
from rushlight.batch.plan.clip_sound import stated_cells
from rushlight.pipelines.colour.camera_encodings import find_encoding

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rushlight.batch.decisions.lut_files import LutFiles
    from rushlight.batch.plan.model import PlannedClip
    from rushlight.batch.plan.prepare import Prepared

__all__ = ["plan_list"]

EXPLICIT = ("clip", "in", "out", "reel", "encoding", "levels", "exposure_index", *GRADE_COLUMNS, "lut")


def plan_list(prepared: Prepared, folder: Path, look_of: Callable[[PlannedClip], str]) -> str:
    """CSV text, for a file in `folder`, of every row: planned ones with path, signal and grade in numbers, the others as they stood.

    `look_of` names a clip's look as burn-in does: a decision's id is not among its numbers. Other columns pass
    through. Rows that say the same as another, and rows not chosen, are left out.
    """
    plan = prepared.plan
    rows: list[tuple[int, Mapping[str, str]]] = [(r.line, r.cells) for r, _ in (*plan.wrong, *plan.broken)]
    rows += [(c.row.line, _explicit(c, folder, prepared.luts) | {"look": look_of(c)}) for c in plan.clips]
    rows.sort(key=lambda entry: entry[0])
    columns = dict.fromkeys((*EXPLICIT, *prepared.clip_list.columns))
    columns |= dict.fromkeys(c for _, cells in rows for c in cells)
    return write_csv(tuple(columns), [cells for _, cells in rows])


def _explicit(clip: PlannedClip, folder: Path, luts: LutFiles) -> dict[str, str]:
    cells = {k: v for k, v in clip.row.cells.items() if k not in (*GRADE_COLUMNS, "cdl")}
    cells["clip"] = clip.row.clip  # of a clip in several files, each for itself, no longer the pattern
    if (folder / clip.row.clip).absolute() != clip.path.absolute():  # else its name reads the same from there
        cells["clip"] = str(clip.path.absolute())
    cells["reel"] = clip.reel
    cells["encoding"] = clip.signal.encoding.name
    if clip.signal.levels_stated:  # what follows from header and encoding follows again
        cells["levels"] = clip.signal.levels
    index = clip.signal.encoding.exposure_index
    if index and (
        clip.signal.exposure_index_from or index != find_encoding(cells["encoding"]).exposure_index
    ):
        cells["exposure_index"] = str(clip.signal.encoding.exposure_index)
    if cells.get("lut") and cells["lut"].lower() != "none":
        cells["lut"] = str(luts.find(cells["lut"], Path(clip.row.file).parent).absolute())
    if clip.fdl and clip.fdl.who != "the recipe":
        cells["fdl"] = clip.fdl.reference
    if clip.facts.rate_from == "stated":
        cells["rate"] = str(clip.facts.rate.fraction)
    if clip.camera.rotation is not None:
        cells["rotation"] = str(clip.camera.rotation)
    if clip.camera.desqueeze is not None:
        cells["desqueeze"] = str(clip.camera.desqueeze)
    if clip.camera.clock_offset is not None:
        cells["clock_offset"] = str(clip.camera.clock_offset)
    cells |= stated_cells(clip)
    cdl = clip.decision.cdl
    if clip.decision.aces and clip.decision.aces.looks:  # it says more than numbers: in which space they act
        cells["cdl"] = str(Path(clip.decision.aces.file).absolute())
    elif cdl is not None:
        for column, value in (("slope", cdl.slope), ("offset", cdl.offset), ("power", cdl.power)):
            cells[column] = " ".join(repr(v) for v in value)
        cells["saturation"] = repr(cdl.saturation)
    return cells
