"""What lies in a folder of a shooting day, from headers alone: its clips by camera, what does not read, and the sound recordist's
folders. Nothing is decoded, and nothing is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path

from rushlight.batch.cameras.camera_groups import CameraGroup, Seen, camera_groups
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.find_media import is_system, originals_below
from rushlight.batch.lists.folder_list import find_originals
from rushlight.batch.plan.reels import reel_of
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import ListError, OptionError, RushlightError, own_fault
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.probe import RAW_TEXT, probe
from rushlight.pipelines.sound.read_recording import WAVES

__all__ = ["FoundMedia", "look_into"]

AT_ONCE = 8  # headers read side by side: a network's disk answers several as fast as one
_RECORDERS = (*WAVES, ".flac")
_SOUND = {
    "sound",
    "audio",
    "production sound",
    "prod sound",
    "sound rolls",
    "bwf",
    "wav",
}  # of folders beside the media


@dataclass(frozen=True, kw_only=True)
class FoundMedia:
    """Originals by camera, and the folders that hold sound files. `unreadable` has each file with its reason."""

    folder: Path
    cameras: tuple[CameraGroup, ...]
    unreadable: tuple[tuple[Path, str], ...] = ()
    sound: tuple[Path, ...] = ()
    sound_files: int = 0

    @property
    def clips(self) -> tuple[Seen, ...]:
        return tuple(seen for group in self.cameras for seen in group.clips)

    @property
    def rates(self) -> dict[str, int]:
        """Clips by frame rate, the commonest first; without sequences whose headers state none."""
        said = Counter(str(s.facts.rate) for s in self.clips if s.facts.rate_from == "header")
        return dict(said.most_common())


def look_into(folder: Path) -> FoundMedia:
    """Read the headers of a folder's originals. OptionError where it is no folder, ListError where it holds no original."""
    if not folder.is_dir():
        raise OptionError("is not a folder; MEDIA is the folder that holds the cards", file=str(folder))
    found = find_originals([folder])
    if not found.originals and not found.raw:
        raise ListError(
            f"holds no original (movies, or numbered DPX, EXR, TIFF or PNG); {counted(found.ignored, 'other file')}",
            file=str(folder),
        )
    seen: list[Seen] = []
    unreadable = [(path, RAW_TEXT) for path in found.raw]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        read = pool.map(_seen, found.originals, repeat(folder))
        for path, result in zip(found.originals, read, strict=True):
            beat()
            if isinstance(result, Seen):
                seen.append(result)
            else:
                unreadable.append((path, result.text))
    sound, count = _sound(folder)
    return FoundMedia(
        folder=folder,
        cameras=tuple(camera_groups(seen)),
        unreadable=tuple(sorted(unreadable)),
        sound=sound,
        sound_files=count,
    )


def _seen(path: Path, folder: Path) -> Seen | RushlightError:
    try:
        facts = probe(path)
        row = Row(file="", line=0, clip=f"{folder.absolute().name}/{path.relative_to(folder).as_posix()}")
        return Seen.of(row, path, facts, reel_of(row, path, facts))
    except Exception as error:
        return own_fault(error, "read", path)


def _sound(folder: Path) -> tuple[tuple[Path, ...], int]:
    """The folders of sound files under a folder, else those beside it that are named as such, the topmost alone; and how many
    files they hold."""
    found = _with_sound([folder])
    if not found:
        try:
            beside = sorted(p for p in folder.absolute().parent.iterdir() if p.name.casefold() in _SOUND)
        except OSError:
            beside = []
        found = _with_sound(path for path in beside if path.is_dir())
    tops = [path for path in found if not any(other in path.parents for other in found)]
    return tuple(tops), sum(found.values())


def _with_sound(folders: Iterable[Path]) -> dict[Path, int]:
    """Folders with files of a sound recorder directly in them, and how many."""
    counts = {}
    for place, _, names in originals_below(folders):
        count = sum(Path(n).suffix.lower() in _RECORDERS and not is_system(n) for n in names)
        if count:
            counts[place] = count
    return counts
