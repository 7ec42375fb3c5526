"""Places under `revisions/`: where a file that gave its name up is kept, and where the next one can be. Nothing there ever takes
another's place: a number that is taken is passed over.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from itertools import count
from pathlib import Path

from rushlight.batch.records.files import Output
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import stat_of

__all__ = ["free_place", "kept_place", "linked_place", "places_of"]


def places_of(out: Path, path: str) -> Iterator[tuple[int, str]]:
    """The files that are kept of a name, a path from the output folder: number and place, by number."""
    try:
        names = os.listdir(out / "revisions")
    except OSError:
        return
    for number in sorted(int(name) for name in names if name.isascii() and name.isdigit()):
        place = f"revisions/{number}/{path}"
        if os.path.lexists(out / place):
            yield number, place


def kept_place(out: Path, entry: Output) -> str:
    """Place at which a delivered file is kept as its record has it; empty where it is not. That of its own revision comes first."""
    places = [place for number, place in places_of(out, entry.path) if number >= entry.revision]
    return next((p for p in places if still_there(out, entry.model_copy(update={"path": p}))), "")


def linked_place(out: Path, path: str) -> str:
    """Place at which the file that stands at a name is kept as well, as a second name of it; empty where it is not."""
    for _, place in places_of(out, path):
        with suppress(OSError, OutsideError):
            if os.path.samestat(stat_of(out, path), stat_of(out, place)):
                return place
    return ""


def free_place(out: Path, path: str, revision: int) -> str:
    """The first place from that revision on that nothing has."""
    places = (f"revisions/{number}/{path}" for number in count(max(1, revision)))
    return next(place for place in places if not os.path.lexists(out / place))
