"""Forecast of room: what is to be made, by output folder and output, against what is free on each disk."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TypedDict, cast

from rushlight.batch.disks import free_bytes, mount_of, size_text
from rushlight.batch.records.files import Output
from rushlight.batch.room.output_sizes import Measured, is_guess, output_bytes
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import stat_of
from rushlight.pipelines.job.spec import OutputSpec

__all__ = [
    "OutputRoom",
    "RoomDocument",
    "RoomForecast",
    "ToMake",
    "VolumeRoom",
    "forecast_room",
    "kept_bytes",
]

AT_ONCE = 3  # clips whose segments lie beside the files that they are joined to


class OutputBytes(TypedDict):
    """What an output is likely to take, in bytes: `make` is to be made, `replaced` is there and replaced, `older` lies under revisions/;
    `guess`: what is to be made depends on the pictures."""

    out: str
    output: str
    volume: str
    clips: int
    make: int
    replaced: int
    older: int
    guess: bool


class VolumeBytes(TypedDict):
    """A disk, in bytes: `work` lies beside `make` while clips are joined; `missing` is too little, `keep_free` counted."""

    volume: str
    free: int
    keep_free: int
    make: int
    work: int
    replaced: int
    cleared: int
    missing: int


class RoomDocument(TypedDict):
    """Room on the disks, of all recipes of a day."""

    outputs: list[OutputBytes]
    volumes: list[VolumeBytes]


@dataclass(frozen=True, kw_only=True)
class ToMake:
    """Outputs of one clip that are to be made in a folder; `replaced`: the delivered files that they stand in for."""

    out: Path
    job: str
    outputs: tuple[OutputSpec, ...]
    frames: int
    rate: Fraction
    channels: int = 2  # of its sound
    replaced: tuple[Output, ...] = ()
    measured: Measured = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class OutputRoom:
    """One output of a folder, in bytes: `make` is likely to be made, `replaced` lies there and is replaced (it stays under revisions/, or
    is cleared with `--replaced remove`), `older` lies under revisions/ and stays; `guess`: `make` depends on the pictures."""

    out: Path
    output: str
    volume: str
    clips: int = 0
    make: int = 0
    replaced: int = 0
    older: int = 0
    guess: bool = False


@dataclass(frozen=True, kw_only=True)
class VolumeRoom:
    """One disk, in bytes: `make` and, for clips in hand, `work` are likely to be written; `cleared` would go with `--replaced remove`;
    `missing` is what there is not, beside the room that is kept free."""

    volume: str
    free: int
    keep_free: int
    make: int
    work: int
    replaced: int
    cleared: int
    missing: int

    @property
    def text(self) -> str:
        """A sentence on a disk that has too little room."""
        beside = f" and {size_text(self.work)} beside it while clips are joined" if self.work else ""
        text = (
            f"{self.volume} has {size_text(self.free)} free, of which {size_text(self.keep_free)} are kept free; about {size_text(self.make)} "
            f"are to be made there{beside}: about {size_text(self.missing)} too little. The night will pause there until there is room"
        )
        if self.replaced > self.cleared:
            text += f"; --replaced remove would clear {size_text(self.replaced)} of what is replaced"
        return f"{text}. `rushlight space` says what the output folders there hold, and which old revisions may go"


@dataclass(frozen=True, kw_only=True)
class RoomForecast:
    """What a night is likely to take."""

    outputs: tuple[OutputRoom, ...]
    volumes: tuple[VolumeRoom, ...]
    apart: tuple[str, ...] = ()  # a sentence on each output that lies on another disk than its output folder

    @property
    def warnings(self) -> list[str]:
        """A sentence on each disk that has too little room, and on what cannot be delivered where it is to go."""
        return [volume.text for volume in self.volumes if volume.missing] + list(self.apart)

    def document(self) -> RoomDocument:
        """The same in plain values."""
        outputs = [cast("OutputBytes", {**vars(each), "out": str(each.out)}) for each in self.outputs]
        return {"outputs": outputs, "volumes": [cast("VolumeBytes", dict(vars(v))) for v in self.volumes]}


def forecast_room(
    items: Iterable[ToMake],
    *,
    keep_free: int,
    remove: bool = False,
    kept: Callable[[Path], dict[str, int]] = lambda out: {},
    free: Callable[[Path], int] = free_bytes,
    volume_of: Callable[[Path], str] = mount_of,
) -> RoomForecast:
    """The forecast of what is to be made. `remove`: what is replaced is removed; `kept`: bytes that lie under revisions/ of a folder, by
    output; `free` and `volume_of`: bytes that are free where a path lies or will lie, and the disk it lies on."""
    sums = _Sums(volume_of)
    for item in items:
        sums.add(item)
    older = {out: kept(out) for out in sorted({out for out, _ in sums.of})}
    for out, by_output in older.items():
        for output in by_output:
            sums.entry(out, output)
    outputs = tuple(
        OutputRoom(
            out=out,
            output=output,
            volume=sums.disk(out, output),
            clips=clips,
            make=make,
            replaced=replaced,
            older=older[out].get(output, 0),
            guess=(out, output) in sums.guesses,
        )
        for (out, output), (clips, make, replaced) in sorted(sums.of.items())
    )
    volumes = []
    for volume, place in sorted(sums.places.items()):
        ours = [each for each in outputs if each.volume == volume]
        make, replaced = sum(each.make for each in ours), sum(each.replaced for each in ours)
        work = sum(sorted(sums.movies.get(volume, ()), reverse=True)[:AT_ONCE])
        cleared, there = replaced if remove else 0, free(place)
        need = make + work - cleared + keep_free if make else 0
        volumes.append(
            VolumeRoom(
                volume=volume,
                free=there,
                keep_free=keep_free,
                make=make,
                work=work,
                replaced=replaced,
                cleared=cleared,
                missing=max(0, need - there),
            )
        )
    apart = tuple(
        _apart(each, sums.disk(each.out))
        for each in outputs
        if each.make and each.volume != sums.disk(each.out)
    )
    return RoomForecast(outputs=outputs, volumes=tuple(volumes), apart=apart)


def _apart(room: OutputRoom, disk: str) -> str:
    """Why an output cannot be delivered: a file takes its final name by renaming, which no system does across disks."""
    return (
        f"{room.out / room.output} lies on another disk ({room.volume}) than {room.out} ({disk}), and no file can take its name there: "
        f"{room.clips} of its clips would fail. An output folder has to be on one disk as a whole; another recipe may have another one"
    )


class _Sums:
    """Sums of what is to be made, by folder and output."""

    def __init__(self, volume_of: Callable[[Path], str]) -> None:
        self.of: dict[tuple[Path, str], list[int]] = {}  # clips, bytes to make, bytes replaced
        self.guesses = set[tuple[Path, str]]()
        self.movies: dict[str, list[int]] = {}  # disk with the work in hand -> bytes of movies of each clip
        self.places: dict[str, Path] = {}  # disk -> a path on it
        self._volume_of, self._on = volume_of, dict[tuple[Path, str], str]()

    def add(self, item: ToMake) -> None:
        movies = 0
        for spec in item.outputs:
            size = output_bytes(
                spec, frames=item.frames, rate=item.rate, channels=item.channels, measured=item.measured
            )
            movies += size if spec.make == "movie" else 0
            found = self.entry(item.out, spec.output)
            found[0] += 1
            found[1] += size
            if is_guess(spec, item.measured):
                self.guesses.add((item.out, spec.output))
        self.movies.setdefault(self.disk(item.out), []).append(movies)
        for entry in item.replaced:
            self.entry(item.out, entry.output)[2] += _size(item.out, entry)

    def entry(self, out: Path, output: str) -> list[int]:
        self.disk(out, output)
        return self.of.setdefault((out, output), [0, 0, 0])

    def disk(self, out: Path, output: str = "") -> str:
        """The disk of an output, or of a folder itself, where its work in hand lies."""
        if (out, output) not in self._on:
            place = out / output
            self._on[out, output] = self._volume_of(place)
            self.places.setdefault(self._on[out, output], place)
        return self._on[out, output]


def kept_bytes(out: Path) -> dict[str, int]:
    """Bytes of files that lie under revisions/ of an output folder, by output. A file with a second name elsewhere counts: it goes
    nowhere when that is replaced."""
    found: dict[str, int] = {}
    top = out / "revisions"
    for folder, folders, names in os.walk(top):
        folders.sort()
        parts = Path(folder).relative_to(top).parts
        if len(parts) < 2:
            continue
        for name in names:
            try:
                found[parts[1]] = found.get(parts[1], 0) + os.lstat(os.path.join(folder, name)).st_size
            except OSError:
                continue
    return found


def _size(out: Path, entry: Output) -> int:
    """Bytes of a delivered file, as far as it is there."""
    try:
        return stat_of(out, entry.path).st_size
    except (OSError, OutsideError):
        return 0
