"""Folders under other names elsewhere: a task's paths as a worker's machine has them, and its answer's as the runner has them.

What is told with a path of the runner's (`/Volumes/DAY`) is looked for where it was said that others mount it
(`/mnt/day`), and last under the runner's own path. A worker tells the right folder by what is in it, never by
its name alone: an empty mount point holds neither the original nor the output folder's `.work`. Identities and
digests never see any of this: the mapping is applied to a task on its way out, and undone on its way back.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import Field

from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.shape import Shape
from rushlight.pipelines.errors import DeliveryError, OptionError, RushlightError
from rushlight.pipelines.inside_folder import make_folder, stat_of

__all__ = [
    "Mount",
    "PlacedJob",
    "Unfit",
    "awaited",
    "homeward",
    "original_there",
    "outward",
    "parse_mount",
    "recognisable",
    "seen_here",
]

PATIENCE = 60.0  # seconds: a network file system shows another machine's new file that much later at worst


@dataclass(frozen=True, kw_only=True)
class Mount:
    """A folder of the runner's, and its path on other machines. Both absolute, without a slash at the end."""

    here: str
    there: str


class Unfit(RushlightError):
    """This machine lacks something every worker must see: another one has to do the task."""


def parse_mount(text: str) -> Mount:
    """`HERE=THERE`. OptionError where one of the two is no absolute path."""
    here, equals, there = text.partition("=")
    if not equals or not here.startswith("/") or not there.startswith("/"):
        raise OptionError(
            f"{text!r} maps nothing; --map takes HERE=THERE, two absolute paths such as /Volumes/DAY=/mnt/day"
        )
    return Mount(here=os.path.normpath(here), there=os.path.normpath(there))


def _moved(path: str, source: str, target: str) -> str | None:
    """A path at or under `source`, at or under `target` instead; None where it is not under it."""
    if path == source:
        return target
    start = source.rstrip("/") + "/"
    return target.rstrip("/") + "/" + path[len(start) :] if path.startswith(start) else None


def _places(path: str, mounts: Sequence[Mount]) -> list[str]:
    """Paths at which a path of the runner's may be found, the longest mapped folder first, the path itself
    last."""
    longest = sorted(mounts, key=lambda m: -len(m.here))
    moved = (_moved(path, m.here, m.there) for m in longest)
    return [*(p for p in moved if p is not None), path]


def original_there(path: str) -> bool:
    """True if an original is there; of a pattern of several files, if its folder is."""
    return os.path.exists(path) or ("#" in os.path.basename(path) and os.path.isdir(os.path.dirname(path)))


class PlacedFile(Shape):
    """A file of a job, by its path."""

    path: str


class PlacedSource(PlacedFile):
    """The original of a job; `files` are those of one that lies in several folders."""

    files: list[str] = Field(default=[])


class PlacedSound(Shape):
    """The production sound of a job: parts one after another, each of files side by side."""

    parts: list[list[PlacedFile]]


class PlacedJob(Shape):
    """A job as workers are sent it: what of it is a path. All else is passed on as it is."""

    out: str
    source: PlacedSource | None = None
    production: PlacedSound | None = None


def outward(job: PlacedJob, mounts: Sequence[Mount]) -> PlacedJob:
    """A job with the paths of this machine. Unfit where the output folder, the original or its sound is not here."""
    outs = _places(job.out, mounts)
    out = next((p for p in outs if os.path.isdir(os.path.join(p, ".work"))), None)
    if out is None:
        raise Unfit(f"does not see the output folder {job.out}{_looked(outs)}")
    moved: dict[str, object] = {"out": out}
    if job.source:
        moved["source"] = _source(job.source, mounts)
    if job.production:
        moved["production"] = _sound(job.production, mounts)
    return job.model_copy(update=moved)


def _source(source: PlacedSource, mounts: Sequence[Mount]) -> PlacedSource:
    places = _places(source.path, mounts)
    path = next((p for p in places if original_there(p)), None)
    if path is None:
        raise Unfit(f"does not see the original{_looked(places)}", file=source.path)
    moved: dict[str, object] = {"path": path}
    if source.files:
        several = (_places(file, mounts) for file in source.files)
        moved["files"] = [next((p for p in each if os.path.exists(p)), each[-1]) for each in several]
    return source.model_copy(update=moved)


def _sound(sound: PlacedSound, mounts: Sequence[Mount]) -> PlacedSound:
    def here(file: PlacedFile) -> PlacedFile:
        places = _places(file.path, mounts)
        path = next((p for p in places if os.path.exists(p)), None)
        if path is None:
            raise Unfit(f"does not see the production sound{_looked(places)}", file=file.path)
        return file.model_copy(update={"path": path})

    return sound.model_copy(update={"parts": [[here(file) for file in part] for part in sound.parts]})


def _looked(places: Sequence[str]) -> str:
    return "" if len(places) == 1 else f" (looked at {', '.join(places)})"


def _apart(job: PlacedJob) -> list[str]:
    """Files of a job that lie apart from its original's path: of production sound, and of other cards."""
    sound = [file.path for part in job.production.parts for file in part] if job.production else []
    return [*sound, *(job.source.files if job.source else ())]


def homeward(value: object, here: PlacedJob, there: PlacedJob) -> object:
    """A worker's answer (a segment's files, a record, an error) with the runner's paths, from the job as each has it."""

    apart = dict(zip(_apart(there), _apart(here), strict=True))

    def home(path: str) -> str:
        if here.source and there.source and path == there.source.path:
            return here.source.path
        return apart.get(path) or _moved(path, there.out, here.out) or path

    def at_home(entry: object) -> object:
        path = entry.get("path") if isinstance(entry, dict) else None
        if not isinstance(entry, dict) or not isinstance(path, str):
            return entry
        files = entry.get("files")
        moved = {"files": [home(str(file)) for file in files]} if isinstance(files, list) else {}
        return {**entry, "path": home(path), **moved}

    if isinstance(value, RushlightError):
        if value.file:
            value.file = home(value.file)
        return value
    if not isinstance(value, dict):
        return value
    found = dict(value)
    if isinstance(files := found.get("files"), list):
        found["files"] = [at_home(file) for file in files]
    if "source" in found:
        found["source"] = at_home(found["source"])
    return found


def recognisable(out: Path) -> None:
    """Make sure that other machines can tell the output folder."""
    out.mkdir(parents=True, exist_ok=True)
    make_folder(out, ".work")


def awaited(files: Iterable[tuple[str, int]], patience: float = PATIENCE) -> str:
    """Wait until files that another machine wrote are visible here with their sizes; gives the first that stays away."""
    deadline = time.monotonic() + patience
    for path, size in files:
        while _size(path) != size:
            if time.monotonic() >= deadline:
                return path
            time.sleep(0.2)
    return ""


def _size(path: str) -> int:
    try:
        return os.stat(path).st_size
    except OSError:
        return -1


def seen_here(out: Path, record: JobRecord, patience: float = PATIENCE) -> JobRecord:
    """A job's record with its files' times as this machine sees them. DeliveryError where one does not come in sight."""
    away = awaited(((str(out / entry.path), entry.bytes) for entry in record.outputs), patience)
    if away:
        raise DeliveryError("was delivered by a worker, but is not here", file=away)
    outputs = [
        entry.model_copy(update={"mtime_ns": stat_of(out, entry.path).st_mtime_ns})
        for entry in record.outputs
    ]
    return record.model_copy(update={"outputs": outputs})
