"""`rushlight day`: a shooting day from one document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.day.found_media import FoundMedia, look_into
from rushlight.batch.day.starter import starter_text, still_missing, write_starter

__all__ = ["FoundCamera", "NewDay", "new"]


@dataclass(frozen=True, kw_only=True)
class FoundCamera:
    """A camera, as far as names and headers tell. `suggested`: the encoding that its headers name, to be checked."""

    name: str
    header: str
    clips: tuple[str, ...]
    formats: str
    suggested: str


@dataclass(frozen=True, kw_only=True)
class NewDay:
    """A day document that was written, what was found, and what a person still has to state."""

    file: Path
    cameras: tuple[FoundCamera, ...]
    sound: tuple[Path, ...]  # folders
    sound_files: int
    rates: Mapping[str, int]  # clips by frame rate
    unreadable: tuple[tuple[Path, str], ...]
    missing: tuple[str, ...]

    @classmethod
    def of(cls, file: Path, found: FoundMedia) -> NewDay:
        return cls(
            file=file.resolve(),
            cameras=tuple(
                FoundCamera(
                    name=group.name,
                    header=group.header,
                    clips=tuple(str(seen.path) for seen in group.clips),
                    formats=group.formats,
                    suggested=group.suggested,
                )
                for group in found.cameras
            ),
            sound=found.sound,
            sound_files=found.sound_files,
            rates=found.rates,
            unreadable=found.unreadable,
            missing=tuple(still_missing(found)),
        )

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        return {
            "schema": "rushlight-day-new-1",
            "file": str(self.file),
            "cameras": [vars(each) | {"clips": list(each.clips)} for each in self.cameras],
            "sound": [str(folder) for folder in self.sound],
            "sound_files": self.sound_files,
            "rates": dict(self.rates),
            "unreadable": [{"path": str(path), "why": why} for path, why in self.unreadable],
            "missing": list(self.missing),
        }


def new(media: str | Path, *, to: str | Path) -> NewDay:
    """Write a day document to begin with, from the headers of the originals under `media`, into the new file `to`.

    OptionError where that is there already or lies among originals, ListError where there is no original.
    """
    found, file = look_into(Path(media)), Path(to)
    write_starter(starter_text(found, file), file, found)
    return NewDay.of(file, found)
