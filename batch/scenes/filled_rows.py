"""A row's empty cells filled from elsewhere, each with who says so: tables before names, and the sound of the take that was matched.
What the row says itself is never overruled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePath

from rushlight.batch.lists.clip_list import ClipList, Row
from rushlight.batch.scenes.scene_names import scene_in_name
from rushlight.batch.scenes.scene_tables import SCENE_COLUMNS, SceneTables
from rushlight.batch.sound.take_matching import Chosen

__all__ = ["filled_from_sound", "filled_list"]

NAME = "its file's name"


def filled_list(clips: ClipList, tables: SceneTables, *, names: bool) -> ClipList:
    """A list with its rows' empty cells filled from tables and, where `names` says so, from the clips' names."""
    rows = tuple(_filled(row, tables, names) for row in clips.rows)
    columns = dict.fromkeys((*clips.columns, *SCENE_COLUMNS, *tables.columns))
    return replace(clips, rows=rows, columns=tuple(columns))


def _filled(row: Row, tables: SceneTables, names: bool) -> Row:
    if not row.whole:
        return row
    said = tables.of(row.clip)
    if names and not {"scene", "take"} & {*said, *(c for c, v in row.cells.items() if v)}:
        said |= {column: (cell, NAME) for column, cell in scene_in_name(PurePath(row.clip).stem).items()}
    return filled(row, said)


def filled(row: Row, said: Mapping[str, tuple[str, str]]) -> Row:
    """The row with its empty cells filled: `said` has cell and source by column."""
    new = {column: pair for column, pair in said.items() if pair[0] and not row[column]}
    if not new:
        return row
    cells = {**row.cells, **{column: cell for column, (cell, _) in new.items()}}
    return replace(row, cells=cells, filled={**row.filled, **{c: source for c, (_, source) in new.items()}})


def filled_from_sound(row: Row, sound: Chosen | None) -> Row:
    """The row with what its matched take's header says (iXML's SCENE, TAKE, CIRCLED, NOTE). Scene and take are one statement: with
    one of them known already, the other is not taken from a take that says another."""
    if sound is None or sound.take is None:
        return row
    first = sound.take.first
    source = f"sound {sound.take.name}"
    said = {"note": first.note, "circled": "yes" if first.circled else ""}
    pair = {"scene": first.scene, "take": first.take}
    if all(not row[column] or not cell or _same(row[column], cell) for column, cell in pair.items()):
        said |= pair
    return filled(row, {column: (cell, source) for column, cell in said.items()})


def _same(one: str, other: str) -> bool:
    return one.strip().casefold().lstrip("0") == other.strip().casefold().lstrip("0")
