"""What was cleared of an output folder: lines of `log/cleared.jsonl`, each on the disk before the file goes.

A line is of a name with a hash, since another clip's file may have the name later. It says that a file was to go: one that is still
there, since a machine stopped in between, is there.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from rushlight.batch.job_log import add_line
from rushlight.batch.json_lines import parse_lines
from rushlight.batch.records.job_record import Replaced
from rushlight.batch.records.space import Cleared, ClearedBefore
from rushlight.pipelines.errors import OutsideError, from_os
from rushlight.pipelines.inside_folder import append, is_file, read_bytes
from rushlight.pipelines.visible_text import json_text

__all__ = ["CLEARED_LOG", "ClearedFiles", "add_cleared", "cleared_before", "cleared_files", "read_cleared"]

CLEARED_LOG = "log/cleared.jsonl"
ClearedFiles = Mapping[tuple[str, str], Cleared]  # by path and hash


def read_cleared(out: Path) -> list[Cleared]:
    """All that was cleared, in order; lines that do not read are left out: nothing is made or removed by them."""
    with suppress(OSError, OutsideError):
        found, _ = parse_lines(read_bytes(out, CLEARED_LOG), Cleared.read, file=str(out / CLEARED_LOG))
        return [each for _, each in found]
    return []


def add_cleared(out: Path, cleared: Cleared) -> None:
    """Add a line, on the disk before this returns. ResourceError or DeliveryError where that fails."""
    try:
        with append(out, CLEARED_LOG) as stream:
            add_line(stream, json_text(cleared.plain(), separators=(",", ":")).encode())
    except OSError as error:
        raise from_os(error, out / CLEARED_LOG) from None


def cleared_before(out: Path) -> list[ClearedBefore]:
    """What was cleared and is not there any more, by day and rule."""
    sums: dict[tuple[str, str], list[int]] = {}
    lines: dict[tuple[str, str, str], Cleared] = {}
    for line in read_cleared(out):
        # Written down twice where the command was killed in between, perhaps with a part of a working folder gone; what was replaced at
        # another time is another thing.
        known = lines.get(thing := (line.path, line.hash, line.replaced), line)
        most = {"files": max(known.files, line.files), "bytes": max(known.bytes, line.bytes)}
        lines[thing] = line.model_copy(update=most)
    last = {line.path: line for line in lines.values()}  # those before had to go for it to be there
    for each in lines.values():
        if each is not last[each.path] or not _is_there(out, each):
            of = sums.setdefault((each.cleared[:10], each.rule), [0, 0])
            of[:] = of[0] + each.files, of[1] + each.bytes
    return [
        ClearedBefore(day=day, rule=rule, files=files, bytes=size)
        for (day, rule), (files, size) in sorted(sums.items())
    ]


def _is_there(out: Path, line: Cleared) -> bool:
    """True if what was to go is there; in a working folder, files that were there then."""
    if line.kind == "revision":
        return os.path.lexists(out / line.path)
    found = (Path(folder, name) for folder, _, names in os.walk(out / line.path) for name in names)
    return any(_is_older(path, line.cleared) for path in found)


def _is_older(path: Path, moment: str) -> bool:
    """True of a plain file that was last written before a moment."""
    with suppress(OSError, ValueError):
        info = path.lstat()
        return stat.S_ISREG(info.st_mode) and info.st_mtime < datetime.fromisoformat(moment).timestamp()
    return False


def cleared_files(out: Path, replaced: Iterable[Replaced]) -> ClearedFiles:
    """Of files that were kept as revisions, those that were cleared since and are not there any more."""
    lines = {(each.path, each.hash): each for each in read_cleared(out)}
    by_path = {each.path: each for each in lines.values()}
    found: dict[tuple[str, str], Cleared] = {}
    for old in replaced:
        line = lines.get((old.kept, old.hash)) or (by_path.get(old.kept) if not old.hash else None)
        if line and not is_file(out, old.kept):
            found[old.kept, old.hash] = line
    return found
