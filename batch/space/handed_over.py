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

_TEXT = rb'\s*:\s*("(?:[^"\\]|\\.)*")'
_BEGINS = re.compile(rb'"folder"\s*:')  # of a delivery; two where two lines run into one
_WHICH = re.compile(rb'"folder"' + _TEXT + rb'\s*,\s*"closed"' + _TEXT)


@dataclass(frozen=True, kw_only=True)
class Named:
    """Deliveries by their log and by the folders beside the output folder, and why it is not known what others name."""

    handovers: tuple[Handover, ...] = ()
    beside: tuple[
        Handover, ...
    ] = ()  # of other output folders, or of this one under another name or in another place
    unread: tuple[str, ...] = ()

    @property
    def by_hash(self) -> dict[str, str]:
        """The delivery that names a file, by the file's hash; the first of several."""
        found: dict[str, str] = {}
        for each in (*self.handovers, *self.beside):
            for file in each.files:
                found.setdefault(file.hash, each.folder)
        return found

    @property
    def by_place(self) -> dict[tuple[str, str], str]:
        """The same by the file's job and its place once it is replaced: a record's hash may have been changed. Of this folder's alone, since
        others have jobs of the same names."""
        return {
            (file.job, f"revisions/{file.revision}/{file.path}"): each.folder
            for each in reversed(self.handovers)
            for file in each.files
        }


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
    names, origin = {_which(each) for each in known}, origin_of(out)
    beside = [each for path in _beside(out) if (each := closed_delivery(path)) and _which(each) not in names]
    known += [each for each in beside if each.origin == origin]
    others = tuple(each for each in beside if each.origin != origin)
    told = {_which(each) for each in (*known, *others)}
    unread = tuple(
        f"{each.error}; what that delivery names is not known, so nothing may go. Its own handover.json says the same:"
        " put the line right, or take it out once you know"
        for each in refused
        if not _is_told(data.split(b"\n")[(each.error.line or 0) - 1], told)
    )
    return Named(handovers=tuple(known), beside=others, unread=unread)


def _which(handover: Handover) -> tuple[str, str]:
    """What tells a delivery: folders of one name may have been put in several places."""
    return handover.folder, handover.closed


def _is_told(line: bytes, told: set[tuple[str, str]]) -> bool:
    """True if all deliveries that a damaged line is about, by its words, are told of elsewhere."""
    try:
        found = [(json.loads(folder), json.loads(closed)) for folder, closed in _WHICH.findall(line)]
    except ValueError:
        return False
    return bool(found) and len(found) == len(_BEGINS.findall(line)) and set(found) <= told


def _beside(out: Path) -> list[Path]:
    try:
        with os.scandir(out.resolve().parent) as entries:
            return sorted(Path(entry.path) for entry in entries if entry.is_dir(follow_symlinks=False))
    except OSError:
        return []
