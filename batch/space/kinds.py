"""Which kind of thing each file of an output folder is, by its records: every file is of one kind, so that kinds add up to the whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import PurePosixPath
from typing import get_args

from rushlight.batch.job_log import latest
from rushlight.batch.records.files import DeliveredMovie, revision_path
from rushlight.batch.records.handover import Handover
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.space import Holds, Kind
from rushlight.batch.report.clip_tables import TABLES
from rushlight.batch.space.survey import Found, disk_bytes

__all__ = ["Kinds"]

ORDER = get_args(Kind)
_OURS = {".work": "work", "ascmhl": "manifests", "report": "pages", "log": "log"}
_INPUTS = ("log/inputs/", "log/requests/")
_LOOKS = "log/inputs/looks/"
_CLOSED = ("handover.json", "letter.txt", "index.html")  # of a closed delivery


class Kinds:
    """The kinds of the files of an output folder with these records; of a closed delivery, by what it says of itself."""

    def __init__(self, records: Sequence[JobRecord], delivery: Handover | None = None) -> None:
        now = [entry for record in latest(records).values() for entry in record.outputs]
        ever = [entry for record in records for entry in record.outputs]
        self._outputs = {entry.path: entry.output for entry in now}
        self._former = {entry.path for entry in ever}
        self._revisions = {revision_path(entry) for entry in ever}
        self._revisions |= {old.kept for record in records for old in record.replaced}
        movies = {e.path.partition("/")[0] for e in ever if isinstance(e, DeliveredMovie)}
        self._pages = {f"{folder}/{name}" for folder in movies for name in TABLES}
        if delivery:
            self._outputs = {file.path: file.output for file in delivery.files}
            self._pages |= {*delivery.others, *_CLOSED}

    def of(self, name: str) -> tuple[str, str]:
        """The kind of a file by its name from the folder, and of an output's its name."""
        if output := self._outputs.get(name):
            return "output", output
        if name.startswith(_LOOKS):
            return "looks", ""
        if name.startswith(_INPUTS):
            return "inputs", ""
        top = PurePosixPath(name).parts[0] if "/" in name else ""
        if top in _OURS:
            return _OURS[top], ""
        if name in self._revisions:
            return "revisions", ""
        if name in self._pages:
            return "pages", ""
        return ("former" if name in self._former else "other"), ""

    def holds(self, files: Iterable[Found]) -> list[Holds]:
        """What these files are, by kind; on the disk a file with names of two kinds counts with the first."""
        groups: dict[tuple[str, str], list[Found]] = {}
        for file in files:
            groups.setdefault(self.of(file.name), []).append(file)
        counted: set[tuple[int, int]] = set()
        return [
            Holds.read(
                {
                    "kind": kind,
                    "output": output,
                    "files": len(found),
                    "bytes": sum(file.bytes for file in found),
                    "disk": disk_bytes(found, counted),
                }
            )
            for (kind, output), found in sorted(
                groups.items(), key=lambda pair: (ORDER.index(pair[0][0]), pair[0][1])
            )
        ]
