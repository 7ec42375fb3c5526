"""What lies under the media folders against what the list names: both ways, and the counts add up."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.folders import find_originals
from rushlight.batch.plan import Plan
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.probe import STILLS, probe

__all__ = ["Media", "reconcile"]

MAX_MANIFEST = 200_000_000  # bytes


@dataclass(frozen=True, kw_only=True)
class Media:
    """Everything under the media folders: `found` = listed + not listed + not readable + ignored.

    An image sequence counts as one. `absent` are files that an offload's ASC MHL manifest names and that are not
    there, each with the manifest; they are not among the found.
    """

    listed: int
    not_listed: tuple[Path, ...]
    unreadable: tuple[tuple[Path, str], ...]
    ignored: int
    absent: tuple[tuple[str, Path], ...]

    @property
    def found(self) -> int:
        return self.listed + len(self.not_listed) + len(self.unreadable) + self.ignored


def reconcile(folders: Sequence[Path], plan: Plan, leave_out: Sequence[Path] = ()) -> Media | None:
    """The media folders against a plan; None where no folder was given. Originals that no row names are opened, to
    tell those that could be rendered from those that our libraries do not read."""
    if not folders:
        return None
    found = find_originals(folders, leave_out=leave_out)
    broken = {_key(path): error.text for path, error in plan.unopened}
    files = (
        file for clip in plan.clips for file in clip.facts.files
    )  # a clip in several files names them all
    named = {_key(path) for path in (*plan.named, *files)} - set(broken)
    listed, not_listed = 0, []
    unreadable = [
        (path, "is camera raw, give a transcode: our libraries do not open it") for path in found.raw
    ]
    for path in found.originals:
        key = _key(path)
        if key in named:
            listed += 1
        elif key in broken:
            unreadable.append((path, broken[key]))
        else:
            try:
                probe(path)
                not_listed.append(path)
            except SourceError as error:
                unreadable.append((path, error.text))
    return Media(
        listed=listed,
        not_listed=tuple(not_listed),
        unreadable=tuple(unreadable),
        ignored=found.ignored,
        absent=tuple(_absent(folders)),
    )


def _key(path: Path) -> Path:
    """One path for an original however it was named: a sequence is its folder with the part before the number."""
    path = path.absolute()
    if path.is_dir():
        files = sorted(
            p.name for p in path.iterdir() if p.suffix.lower() in STILLS and not p.name.startswith(".")
        )
        return _key(path / files[0]) if files else path
    if path.suffix.lower() not in STILLS:
        return path
    return path.with_name(re.sub(r"[0-9]+$|#+$", "", path.stem) + "#" + path.suffix)


def _absent(folders: Sequence[Path]) -> list[tuple[str, Path]]:
    """Files that the newest manifest of each `ascmhl` folder names and that are not there."""
    from defusedxml import ElementTree

    missing: list[tuple[str, Path]] = []
    for folder in folders:
        for history in sorted(folder.rglob("ascmhl")):
            manifests = sorted(history.glob("*.mhl"))
            if not manifests or manifests[-1].stat().st_size > MAX_MANIFEST:
                continue
            try:
                tree = ElementTree.parse(manifests[-1])
            except (ElementTree.ParseError, ValueError, OSError):
                missing.append(("(the manifest itself cannot be read)", manifests[-1]))
                continue
            for node in tree.iter():
                if node.tag.rpartition("}")[2] != "hash":
                    continue
                name = next((n.text or "" for n in node if n.tag.rpartition("}")[2] == "path"), "")
                if name and not (history.parent / name).exists():
                    missing.append((name, manifests[-1]))
    return missing
