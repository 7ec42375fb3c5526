"""A plan as a list that says everything itself: `plan --write`, which `render` takes back to the same clips and looks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.lists import GRADE_COLUMNS, write_csv

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rushlight.batch.plan import PlannedClip
    from rushlight.batch.prepare import Prepared

__all__ = ["plan_list"]

EXPLICIT = ("clip", "in", "out", "reel", "encoding", "levels", "exposure_index", *GRADE_COLUMNS, "lut")


def plan_list(prepared: Prepared, folder: Path) -> str:
    """CSV text, for a file in `folder`, of every row: planned ones with path, signal and grade in numbers, the others as they stood.

    Other columns pass through.
    """
    rows: dict[int, Mapping[str, str]] = {row.line: row.cells for row, _ in prepared.plan.wrong}
    rows.update({row.line: row.cells for row, _ in prepared.plan.broken})
    rows.update({clip.row.line: _explicit(clip, folder) for clip in prepared.plan.clips})
    columns = dict.fromkeys((*EXPLICIT, *prepared.clip_list.columns))
    columns |= dict.fromkeys(c for cells in rows.values() for c in cells)
    return write_csv(tuple(columns), [rows[line] for line in sorted(rows)])


def _explicit(clip: PlannedClip, folder: Path) -> dict[str, str]:
    cells = {k: v for k, v in clip.row.cells.items() if k not in (*GRADE_COLUMNS, "cdl")}
    if (folder / clip.row.clip).absolute() != clip.path.absolute():  # else its name reads the same from there
        cells["clip"] = str(clip.path.absolute())
    cells["reel"] = clip.reel
    cells["encoding"] = clip.signal.encoding.name
    if clip.signal.levels_stated:  # what follows from header and encoding follows again
        cells["levels"] = clip.signal.levels
    if clip.signal.encoding.exposure_index:
        cells["exposure_index"] = str(clip.signal.encoding.exposure_index)
    if cells.get("lut") and cells["lut"].lower() != "none":
        cells["lut"] = str((Path(clip.row.file).parent / cells["lut"]).absolute())
    cdl = clip.decision.cdl
    if cdl is not None:
        for column, value in (("slope", cdl.slope), ("offset", cdl.offset), ("power", cdl.power)):
            cells[column] = " ".join(repr(v) for v in value)
        cells["saturation"] = repr(cdl.saturation)
    return cells
