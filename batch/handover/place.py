"""Where a delivery is put: its name and number, and the folder that has its final name only once it is complete.

It grows as `.NAME_NNN.rushlight-part` beside that name, held by a lock that goes with its process. What a kill left behind has
no holder; the next delivery of that name takes its number, and clears away what it has no use for.
"""

from __future__ import annotations

import errno
import fcntl
import os
import re
import shutil
import unicodedata
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.job_log import LOG
from rushlight.batch.records.handover import Handover
from rushlight.pipelines.errors import DeliveryError, OptionError, from_os
from rushlight.pipelines.inside_folder import is_file
from rushlight.pipelines.portable_name import safe_name, same_name

__all__ = [
    "Opening",
    "checked_name",
    "checked_place",
    "close",
    "deliveries_in",
    "drop_empty",
    "opened",
    "unknown_in",
]

PART = ".rushlight-part"
DIGITS = 3
TRIES = 1000


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A delivery that grows: `part` is its folder for now, `folder` what it will be."""

    part: Path
    folder: Path
    number: int


def checked_name(name: str) -> str:
    """The name of a delivery, its letters composed. OptionError for one that some disk would not take as a folder's."""
    name = unicodedata.normalize("NFC", name)
    if not name.strip():
        raise OptionError('is empty; give whoever gets the delivery, such as "editor"', key="--name")
    if safe_name(name) != name or len(name.encode()) > 100:
        raise OptionError(
            f"{name!r} is no name that every disk takes for a folder (or is longer than 100 bytes); {safe_name(name)[:60]!r} would do",
            key="--name",
        )
    return name


def checked_place(out: Path, to: Path) -> Path:
    """The folder that deliveries are put in, whole and without links. OptionError where it is a file, or lies inside an output
    folder or a closed delivery, which would no longer be what they are."""
    if to.exists() and not to.is_dir():
        raise OptionError("is a file; --to takes a folder", file=str(to), key="--to")
    place = to.resolve()
    for above in (place, *place.parents):
        if above == out.resolve():
            text = "lies inside the output folder itself; a delivery lies outside of it"
            raise OptionError(text, file=str(to), key="--to")
        if is_file(above, LOG) or closed_delivery(above):
            raise OptionError(
                f"lies inside {above}, which is an output folder or a closed delivery; give a folder outside of it",
                file=str(to),
                key="--to",
            )
    return place


def deliveries_in(to: Path, name: str) -> dict[int, Path]:
    """Everything in a folder that has the name of a delivery with a number, by that number."""
    found: dict[int, Path] = {}
    form = re.compile(rf"{re.escape(same_name(name))}_([0-9]{{{DIGITS},9}})")
    with suppress(FileNotFoundError):
        for path in sorted(to.iterdir()):
            if match := form.fullmatch(same_name(path.name)):
                found[int(match[1])] = path
    return found


def unknown_in(to: Path, name: str, origin: str, known: set[str]) -> list[Handover]:
    """Closed deliveries of an output folder (`origin`) whose folders its log does not name: a process was killed after it closed
    them, before it wrote that down."""
    found = [closed_delivery(path) for path in deliveries_in(to, name).values() if path.name not in known]
    return [each for each in found if each and each.origin == origin]


@contextmanager
def opened(to: Path, name: str, least: int, keep: Collection[str] = ()) -> Iterator[Opening]:
    """A new delivery of at least that number; what was put into it goes again unless `close` gave it its name. Of what a killed
    process left in it, files of the names in `keep` stay.

    ResourceError or DeliveryError where the folder cannot be made.
    """
    try:
        to.mkdir(parents=True, exist_ok=True)
        number, part, lock = _begun(to, name, max([least, *(n + 1 for n in deliveries_in(to, name))]), keep)
    except OSError as error:
        raise from_os(error, to) from None
    try:
        yield Opening(part=part, folder=to / f"{name}_{number:0{DIGITS}}", number=number)
    finally:
        if part.exists():
            shutil.rmtree(part, ignore_errors=True)
        os.close(lock)


def _begun(to: Path, name: str, number: int, keep: Collection[str]) -> tuple[int, Path, int]:
    """The first number from there on that nobody is at, its folder, empty but for files of the names in `keep`, and the lock on it."""
    for n in range(number, number + TRIES):
        part = to / f".{name}_{n:0{DIGITS}}{PART}"
        ours = _made(part)
        if part.is_symlink() or not part.is_dir():
            continue
        lock = os.open(part, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
        if _taken(lock, ours):
            _clear(part, keep)
            return n, part, lock
        os.close(lock)
    raise DeliveryError(f"has {TRIES} deliveries in the making that somebody is at", file=str(to))


def _clear(part: Path, keep: Collection[str]) -> None:
    """Remove what a killed process left, but files of these names. Links are removed, not followed."""
    for folder, folders, files in os.walk(part, topdown=False):
        for path in (Path(folder, name) for name in (*folders, *files)):
            if path.is_symlink() or (not path.is_dir() and path.relative_to(part).as_posix() not in keep):
                path.unlink()
    drop_empty(part)


def drop_empty(part: Path) -> None:
    """Remove folders in which nothing is, since their files were left out."""
    for folder, _, _ in os.walk(part, topdown=False):
        if folder != str(part) and not os.listdir(folder):
            os.rmdir(folder)


def _made(part: Path) -> bool:
    try:
        part.mkdir()
    except FileExistsError:
        return False
    return True


def _taken(lock: int, ours: bool) -> bool:
    """True if this process has the folder now. On a share without locks that is one that it made: of another nobody knows whether
    somebody is at it."""
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return ours and error.errno not in (errno.EWOULDBLOCK, errno.EACCES)
    return True


def close(opening: Opening) -> None:
    """Give a complete delivery its name, durably. DeliveryError where something has that name by now."""
    if os.path.lexists(opening.folder):
        raise DeliveryError(
            "is there already, and was not when this began; run again", file=str(opening.folder)
        )
    for folder in (opening.part, *(p for p in opening.part.rglob("*") if p.is_dir())):
        _sync(folder)
    try:
        os.rename(opening.part, opening.folder)
    except OSError as error:
        raise from_os(error, opening.folder) from None
    _sync(opening.folder.parent)


def _sync(folder: Path) -> None:
    with suppress(OSError):  # some shares take no fsync of folders
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
