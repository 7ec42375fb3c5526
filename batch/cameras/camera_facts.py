"""Facts of the camera of a clip: what its row states, else what the header of the original does, each with who says so."""

from __future__ import annotations

from collections.abc import Mapping

from rushlight.batch.records.job_record import ClipRecord
from rushlight.batch.records.original import CameraFact
from rushlight.pipelines.originals.camera_header import HEADER_FACTS, header_facts

__all__ = ["FACT_COLUMNS", "camera_facts", "recorded_camera_facts"]

FACT_COLUMNS = tuple(HEADER_FACTS)  # columns of a list that state what headers do
_EXPOSURE_INDEX = "exposure_index"  # of the encoding; where the row states it, it is the camera's too


def camera_facts(
    row: Mapping[str, str],
    row_from: Mapping[str, str],
    header: Mapping[str, str],
    index: CameraFact | None = None,
) -> dict[str, CameraFact]:
    """Facts by name, in the order of `FACT_COLUMNS`. `row` has cells by column, `row_from` who says those that the list does
    not, `header` what the original's header states by its own keys, `index` the exposure index that defaults state."""
    stated = header_facts(header)
    found: dict[str, CameraFact] = {}
    for name in FACT_COLUMNS:
        column = _EXPOSURE_INDEX if name == "iso" and not row.get(name) else name
        if cell := row.get(column, ""):
            found[name] = CameraFact(value=cell, said_by=row_from.get(column, "the list"))
        elif name == "iso" and index:
            found[name] = index
        elif fact := stated.get(name):
            found[name] = CameraFact(value=fact.value, said_by=f"its header ({fact.key})")
    return found


def recorded_camera_facts(record: ClipRecord) -> dict[str, CameraFact]:
    """The same of a record: of its row and header as they are recorded. Those of older versions have no header."""
    header, iso = (record.source.header if record.source else {}), record.camera_facts.get("iso")
    ours = iso if iso and not iso.said_by.startswith(("its header", "the list")) else None  # of defaults
    return camera_facts(record.row or {}, record.row_from, header, index=ours)
