"""What the closed deliveries of an output folder name: nothing of that may go, linked or copied, whether it still holds or not."""

from __future__ import annotations

import json
import os
import re
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.handover.handover_log import HANDOVERS, origin_of
from rushlight.batch.json_lines import parse_lines
from rushlight.batch.records.handover import Handover
from rushlight.pipelines.errors import from_os
from rushlight.pipelines.inside_folder import read_bytes

__all__ = ["Named", "named_of"]

_FOLDER = re.compile(rb'"folder"\s*:\s*("(?:[^"\\]|\\.)*")')


@dataclass(frozen=True, kw_only=True)
class Named:
    """Deliveries by their log and by the folders beside the output folder, and why it is not known what others name."""

    handovers: tuple[Handover, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def by_hash(self) -> dict[str, str]:
        """The delivery that names a file, by the file's hash; the first of several."""
        found: dict[str, str] = {}
        for each in self.handovers:
            for file in each.files:
                found.setdefault(file.hash, each.folder)
        return found


def named_of(out: Path) -> Named:
    """The deliveries of an output folder. One whose line a killed process did not write is found by its folder, where it lies
    beside."""
    place = out / HANDOVERS
    try:
        data = read_bytes(out, HANDOVERS)
    except FileNotFoundError:
        data = b""
    except OSError as error:
        raise from_os(error, place, reading=True) from None
    lines, refused = parse_lines(data, Handover.read, file=str(place))
    known = [handover for _, handover in lines]
    names, origin = {each.folder for each in known}, origin_of(out)
    beside = (closed_delivery(path) for path in _beside(out) if path.name not in names)
    known += [each for each in beside if each and each.origin == origin]
    unread = tuple(
        f"{each.error}; what that delivery names is not known, so nothing may go. Its own handover.json says the same:"
        " put the line right, or take it out once you know"
        for each in refused
        if _folder_of(data, each.error.line or 0) not in {handover.folder for handover in known}
    )
    return Named(handovers=tuple(known), unread=unread)


def _folder_of(data: bytes, number: int) -> str:
    """The delivery that a damaged line is about, by its beginning; empty where it does not say."""
    said = _FOLDER.search(data.split(b"\n")[number - 1])
    try:
        return str(json.loads(said[1])) if said else ""
    except ValueError:
        return ""


def _beside(out: Path) -> list[Path]:
    try:
        with os.scandir(out.resolve().parent) as entries:
            return sorted(Path(entry.path) for entry in entries if entry.is_dir(follow_symlinks=False))
    except OSError:
        return []
