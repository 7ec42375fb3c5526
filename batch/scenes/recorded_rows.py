"""Scene, take, circled, note, lens and the like that came after a clip was delivered, in its record: what was made does not
show them."""

from __future__ import annotations

from rushlight.batch.cameras.camera_facts import FACT_COLUMNS, recorded_camera_facts
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.scenes.scene_tables import SCENE_COLUMNS

__all__ = ["renewed"]


def renewed(record: JobRecord, row: Row) -> JobRecord:
    """The record with what a row says now of scene and the like; itself where that is nothing new.

    A cell of the list that recorded it stays where this row says nothing; one that was filled from elsewhere goes with its source.
    """
    known = dict(record.row or {})
    columns = dict.fromkeys((*SCENE_COLUMNS, *FACT_COLUMNS, *row.filled, *record.row_from))
    said = {c: row[c] for c in columns if row[c] or c in record.row_from}
    sources = {c: source for c, source in row.filled.items() if c in said}
    if all(known.get(c, "") == cell for c, cell in said.items()) and sources == dict(record.row_from):
        return record
    cells = {c: cell for c, cell in (known | said).items() if cell or c not in said}
    gone = set(
        record.row_from.values()
    )  # a fact that one of these said is its source's, told anew or taken back
    facts = {name: fact for name, fact in record.camera_facts.items() if fact.said_by not in gone}
    new = record.model_copy(update={"row": cells, "row_from": sources, "camera_facts": facts})
    return new.model_copy(update={"camera_facts": recorded_camera_facts(new)})
