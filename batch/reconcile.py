"""What lies under the media folders against what the list names: both ways, and the counts add up."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from rushlight.batch.folders import find_originals
from rushlight.batch.names import originals_below
from rushlight.batch.plan import Plan
from rushlight.pipelines.errors import ListError, RushlightError
from rushlight.pipelines.probe import RAW_TEXT, STILLS, probe
from rushlight.pipelines.texts import read_bytes

__all__ = ["Media", "reconcile"]

MAX_TAGS = 4_000_000  # of a manifest: a file has some eight


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
    unreadable = [(path, RAW_TEXT) for path in found.raw]
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
            except RushlightError as error:
                unreadable.append((path, error.text))
    return Media(
        listed=listed,
        not_listed=tuple(not_listed),
        unreadable=tuple(unreadable),
        ignored=found.ignored,
        absent=tuple(_absent(folders, leave_out)),
    )


def _key(path: Path) -> Path:
    """One path for an original however it was named: a sequence is its folder with the part before the number."""
    path = path.absolute()
    with suppress(OSError):  # it may not be looked into
        if path.is_dir():
            files = sorted(
                p.name for p in path.iterdir() if p.suffix.lower() in STILLS and not p.name.startswith(".")
            )
            return _key(path / files[0]) if files else path
    if path.suffix.lower() not in STILLS:
        return path
    return path.with_name(re.sub(r"[0-9]+$|#+$", "", path.stem) + "#" + path.suffix)


def _absent(folders: Sequence[Path], leave_out: Sequence[Path]) -> list[tuple[str, Path]]:
    """Files that the newest manifest of each `ascmhl` folder names and that are not there; a manifest that cannot be
    read is named itself."""
    missing: list[tuple[str, Path]] = []
    for place, inner, _ in originals_below(folders, leave_out):
        for history in [place / "ascmhl"] if "ascmhl" in inner else []:
            manifests = sorted(history.glob("*.mhl"))
            if not manifests:
                continue
            try:
                for name in _named_by(manifests[-1]):
                    if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
                        missing.append(
                            (f"{name} (outside the manifest's folder: not looked for)", manifests[-1])
                        )
                    elif not (history.parent / name).exists():
                        missing.append((name, manifests[-1]))
            except ListError as error:
                missing.append((f"(the manifest itself {error.text})", manifests[-1]))
    return missing


def _named_by(manifest: Path) -> Iterator[str]:
    """The paths of an ASC MHL manifest's hashes. ListError where it is none."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.ElementTree import iterparse

    data = read_bytes(manifest, ListError)
    if data.count(b"<") > MAX_TAGS or re.search(rb"<[^>]{100000}", data):
        raise ListError("cannot be read: it is out of all proportion", file=str(manifest))
    try:
        for _, node in iterparse(io.BytesIO(data)):
            kind = node.tag.rpartition("}")[2]
            if kind == "hash":
                name = next((n.text or "" for n in node if n.tag.rpartition("}")[2] == "path"), "")
                if name and "\0" not in name:
                    yield name
            if kind != "path":
                node.clear()
    except (ParseError, ValueError, LookupError) as error:  # what defusedxml refuses is a ValueError
        raise ListError(f"cannot be read: {error}", file=str(manifest)) from None
