"""The folders that cards arrive in, and the files of a card, as one look finds them. Links are not followed.

One look at 5,000 files takes some 20 ms on a local disk, so that looking again and again is the truth: what tells of changes by
itself hears nothing of what other machines write to a share, and misses files in folders made together.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from rushlight.batch.lists.find_media import is_system
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.probe import MOVIES, RAW, RAW_FRAMES, STILLS
from rushlight.pipelines.originals.unfinished import is_passing_name

__all__ = ["CardFile", "CardPlace", "card_places", "clips_among", "files_of_card", "is_original"]

_BESIDE = "._"  # what macOS keeps of a file in one beside it
_ORIGINALS = MOVIES | STILLS | RAW | RAW_FRAMES


class CardFile(NamedTuple):
    """A file of a card: its path from the card's folder, with `/`; bytes; time (ns) by the clock of its disk, which is compared with
    nothing but itself. A tuple, since thousands are compared at every look."""

    name: str
    size: int
    mtime_ns: int


@dataclass(frozen=True, kw_only=True)
class CardPlace:
    """A folder that is a card. `alone`: only the files that lie in it, since the folders in it are cards themselves."""

    folder: Path
    alone: bool = False


def card_places(media: Path, leave_out: Iterable[Path] = ()) -> list[CardPlace]:
    """The cards of a folder that cards arrive in: the folders in it; and itself where it holds originals.

    Hidden and system folders, links, `leave_out` and what this program wrote are none. OSError where it cannot be looked into.
    """
    avoided = {path.absolute() for path in leave_out}
    found, own = [], False
    with os.scandir(media) as entries:
        for entry in sorted(entries, key=lambda e: e.name):
            if entry.is_symlink() or is_system(entry.name):
                continue
            folder = media / entry.name
            if not entry.is_dir(follow_symlinks=False):
                own = own or is_original(entry.name)
            elif folder.absolute() not in avoided and not (folder / "log" / "jobs.jsonl").is_file():
                found.append(CardPlace(folder=folder))
    return [*([CardPlace(folder=media, alone=True)] if own else []), *found]


def files_of_card(place: CardPlace, leave_out: Iterable[Path] = ()) -> tuple[CardFile, ...]:
    """The files of a card, in order of name. What a system leaves behind is none; what a copy hides until it is whole is.
    OSError where the card, or a folder of it, cannot be read."""
    avoided = {path.absolute() for path in leave_out}
    found: list[CardFile] = []
    folders = [("", str(place.folder))]
    while folders:
        above, folder = folders.pop()
        beat()
        with os.scandir(folder) as entries:
            here = list(entries)
        names = {entry.name for entry in here}
        for entry in here:
            if entry.is_symlink():
                continue
            if entry.is_dir(follow_symlinks=False):
                if not (place.alone or is_system(entry.name) or Path(entry.path).absolute() in avoided):
                    folders.append((f"{above}{entry.name}/", entry.path))
            elif _counts(entry.name, names) and entry.is_file(follow_symlinks=False):
                info = entry.stat(follow_symlinks=False)
                found.append(
                    CardFile(name=f"{above}{entry.name}", size=info.st_size, mtime_ns=info.st_mtime_ns)
                )
    return tuple(sorted(found))


def _counts(name: str, beside: set[str]) -> bool:
    """True of a file of the card: all that is not a system's own. What macOS keeps beside a file counts while that is not there."""
    if name.startswith(_BESIDE):
        return is_original(name) and name.removeprefix(_BESIDE) not in beside
    return is_passing_name(name) or not is_system(name)


def is_original(name: str) -> bool:
    """True of a file that a camera may have recorded, by its suffix."""
    return os.path.splitext(name)[1].lower() in _ORIGINALS


def clips_among(files: Sequence[CardFile]) -> int:
    """Number of clips by the names of their files: a movie each, and a sequence for files that differ in their last number alone."""
    names = [f.name for f in files if is_original(f.name) and not os.path.basename(f.name).startswith(".")]
    movies = [n for n in names if os.path.splitext(n)[1].lower() not in STILLS | RAW_FRAMES]
    counts: dict[str, int] = {}
    for name in set(names) - set(movies):
        stem, suffix = os.path.splitext(name)
        series = re.sub(r"[0-9]+$", "#", stem) + suffix
        counts[series] = counts.get(series, 0) + 1
    return len(movies) + sum(count > 1 for count in counts.values())
