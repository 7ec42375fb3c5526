"""All that lies below a folder of originals: files with their sizes, folders, and where hash manifests are. Nothing is opened."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.manifests.chain import HISTORY
from rushlight.pipelines.manifests.verdicts import FoundFile, FoundMedia

__all__ = ["Contents", "contents_of"]


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What was found below `root`. `histories` are folders (relative, empty for the root) that hold `ascmhl`; `loose` are
    files `*.mhl` that lie right in the root."""

    root: Path
    media: FoundMedia
    histories: tuple[str, ...]
    loose: tuple[str, ...]


def contents_of(root: Path) -> Contents:
    """Read the names and sizes below a folder, without following links. OptionError where it is none or cannot be read."""
    files: list[FoundFile] = []
    folders: set[str] = set()
    closed: dict[str, str] = {}
    histories: list[str] = []
    todo = [""]
    while todo:
        beat()
        folder = todo.pop()
        try:
            with os.scandir(root / folder) as entries:
                inside = sorted(entries, key=lambda entry: entry.name)
        except OSError as error:
            if not folder:
                raise _no_folder(root, error) from None
            closed[folder] = error.strerror or str(error)
            continue
        for entry in inside:
            path = f"{folder}/{entry.name}" if folder else entry.name
            if not entry.is_dir(follow_symlinks=False):
                files.append(_file(entry, path))
            elif entry.name == HISTORY:
                histories.append(folder)
            else:
                folders.add(path)
                todo.append(path)
    media = FoundMedia(
        files=tuple(sorted(files, key=lambda f: f.path)), folders=frozenset(folders), closed=closed
    )
    loose = tuple(f.path for f in media.files if "/" not in f.path and f.path.lower().endswith(".mhl"))
    return Contents(root=root, media=media, histories=tuple(sorted(histories)), loose=loose)


def _file(entry: os.DirEntry[str], path: str) -> FoundFile:
    try:
        info = entry.stat(follow_symlinks=False)
        if stat.S_ISLNK(info.st_mode):
            target = os.readlink(entry.path)
            return FoundFile(path=path, fault=f"is a symbolic link to {target}, which is not followed")
    except OSError as error:
        return FoundFile(path=path, fault=error.strerror or str(error))
    if not stat.S_ISREG(info.st_mode):
        return FoundFile(path=path, fault="is a pipe or a device; a file is needed")
    return FoundFile(path=path, size=info.st_size)


def _no_folder(root: Path, error: OSError) -> OptionError:
    if isinstance(error, NotADirectoryError):
        return OptionError("is a file; give the folder of the card or copy", file=str(root))
    return OptionError(f"cannot be looked into: {error.strerror or error}", file=str(root))
