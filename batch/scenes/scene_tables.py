"""Tables of scene, take, circled and note that come later than the clips: CSV, joined by a clip's name.

A clip in no table is made all the same. A table states nothing that changes a picture by itself; what a row says stands.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.cameras.camera_facts import FACT_COLUMNS
from rushlight.batch.decisions.grade_lookup import camera_name, plain_name
from rushlight.batch.lists.list_columns import COLUMNS
from rushlight.batch.lists.table_file import Table, read_table
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import InputError, ListError
from rushlight.pipelines.text_files import read_text

__all__ = ["SCENE_COLUMNS", "SceneTables", "read_scene_tables"]

SCENE_COLUMNS = ("scene", "take", "circled", "note")
_TAKEN = {*SCENE_COLUMNS, *FACT_COLUMNS, "unit", "approved_by", "approved_at"}  # of a list's columns
_NAMES = ("clip", "name", "file")


@dataclass(frozen=True, kw_only=True)
class _Line:
    place: str  # FILE:LINE
    clip: str
    cells: Mapping[str, str]


@dataclass(kw_only=True)
class SceneTables:
    """All tables of a request. `warnings` are what is wrong with one of them: nothing is taken from that."""

    columns: tuple[str, ...] = ()
    warnings: list[str] = field(default_factory=list)
    _named: dict[str, list[_Line]] = field(default_factory=lambda: defaultdict(list))
    _used: set[str] = field(default_factory=set)

    def add(self, path: Path) -> None:
        """Another table. What is wrong with it as a whole is a warning: it costs no clip."""
        try:
            table = read_table(read_text(path, ListError), ListError, file=str(path))
            lines = list(_lines(table, path))
        except InputError as error:
            self.warnings.append(f"{error}; nothing is taken from this table")
            return
        self.columns = tuple(dict.fromkeys((*self.columns, *(c for line in lines for c in line.cells))))
        for line in lines:
            self._named[plain_name(line.clip)].append(line)
            if (camera := camera_name(line.clip)) and camera != plain_name(line.clip):
                self._named[camera].append(line)

    def of(self, clip: str) -> dict[str, tuple[str, str]]:
        """What the tables say of a clip, by column: the cell and where it stands. A cell that two lines say differently is
        neither's, with a warning."""
        lines = self._named.get(plain_name(clip)) or self._named.get(camera_name(clip) or "-", [])
        said: dict[str, dict[str, str]] = defaultdict(dict)
        for line in lines:
            self._used.add(line.place)
            for column, cell in line.cells.items():
                said[column].setdefault(cell, line.place)
        found = {}
        for column, cells in said.items():
            if len(cells) > 1:
                both = " and ".join(f"{cell!r} ({place})" for cell, place in list(cells.items())[:3])
                self.warnings.append(f"{clip}: tables say {column} {both}; neither is used: a row may say it")
            else:
                ((cell, place),) = cells.items()
                found[column] = cell, place
        return found

    def unused(self) -> list[str]:
        """A warning for each table with lines that fitted no clip."""
        by_file: dict[str, dict[str, str]] = defaultdict(dict)
        for lines in self._named.values():
            for line in lines:
                if line.place not in self._used:
                    by_file[line.place.rpartition(":")[0]][line.place] = line.clip
        return [
            f"{file}: {counted(len(clips), 'line')} fit no clip of this list: {shortened(list(clips.values()))}"
            for file, clips in by_file.items()
        ]


def read_scene_tables(paths: Iterable[Path]) -> SceneTables:
    """Read tables of scenes, in order."""
    tables = SceneTables()
    for path in paths:
        tables.add(path)
    return tables


def _lines(table: Table, path: Path) -> Iterator[_Line]:
    """The lines of a table that name a clip. ListError for a table without names, or one that states what is a list's to say."""
    name = next((column for column in _NAMES if column in table.columns), None)
    if name is None:
        raise ListError(
            "has no column `clip`, by which its lines are joined", file=str(path), line=table.line
        )
    deciding = [c for c in table.columns if c in COLUMNS and c not in _TAKEN and c != name]
    if deciding:
        raise ListError(
            f"states `{deciding[0]}`, which is for a list or the day's `[[default]]` tables; a table takes"
            f" {', '.join(sorted(_TAKEN))} and columns of your own",
            file=str(path),
            line=table.line,
            key=deciding[0],
        )
    for line, cells in table.values():
        clip = cells.pop(name, "")
        if clip and cells:
            yield _Line(place=f"{path}:{line}", clip=clip, cells=cells)
