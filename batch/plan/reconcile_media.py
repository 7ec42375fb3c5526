"""Reconcile the media folders with the list: both ways, and the counts add up; and its originals with their hash manifests."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypedDict

from rushlight.batch.check.clip_originals import REFUSED, ClipCheck, ClipOriginals, refusal, with_verdict
from rushlight.batch.check.find_manifests import beside
from rushlight.batch.lists.find_media import originals_below
from rushlight.batch.lists.folder_list import find_originals
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.records.request import AskedWalk
from rushlight.pipelines.errors import RushlightError, SourceError
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.manifests.chain import HISTORY
from rushlight.pipelines.originals.probe import RAW_TEXT, STILLS, probe
from rushlight.pipelines.recipe.model import Recipe

__all__ = [
    "Media",
    "MediaSums",
    "Walk",
    "hold_to_manifests",
    "media_text",
    "original_key",
    "originals_named",
    "reconcile",
    "taken_together",
]


@dataclass(frozen=True, kw_only=True)
class Walk:
    """Files found below some media folders: each original with its key and, where it does not open, the
    reason; how many other files lie in each folder; and the files that an offload's ASC MHL manifest names
    and that are not there."""

    folders: tuple[str, ...] = ()
    originals: tuple[tuple[str, str, str], ...] = ()  # path, key, reason
    ignored: Mapping[str, int] = field(default_factory=dict)
    absent: tuple[tuple[str, str], ...] = ()  # file, manifest

    @classmethod
    def of(cls, kept: AskedWalk) -> Walk:
        """As a request's document keeps it."""
        return cls(
            folders=tuple(kept.folders),
            originals=tuple((path, key, why) for path, key, why in kept.originals),
            ignored=kept.ignored,
            absent=tuple((name, manifest) for name, manifest in kept.absent),
        )


class Unreadable(TypedDict):
    """An original that does not open, and why."""

    path: str
    why: str


class Absent(TypedDict):
    """A file that a manifest of the offload names, and that is not there."""

    path: str
    manifest: str


class MediaSums(TypedDict):
    """Media folders in plain values, as `plan --json` has them: found = listed + not listed + unreadable + ignored."""

    found: int
    listed: int
    not_listed: list[str]
    unreadable: list[Unreadable]
    ignored: int
    absent: list[Absent]


@dataclass(frozen=True, kw_only=True)
class Media:
    """Everything under the media folders: `found` = listed + not listed + not readable + ignored.

    An image sequence counts as one. `absent` are files that an offload's ASC MHL manifest names and that are not
    there, each with the manifest; they are not among the found. `walk` has the same for other requests to be added to.
    """

    listed: int
    not_listed: tuple[Path, ...]
    unreadable: tuple[tuple[Path, str], ...]
    ignored: int
    absent: tuple[tuple[str, Path], ...]
    walk: Walk = Walk()

    @property
    def found(self) -> int:
        return self.listed + len(self.not_listed) + len(self.unreadable) + self.ignored


def originals_named(plan: Plan) -> set[Path]:
    """The keys of the originals that a plan's rows name, chosen or not."""
    return set(_keys_named(plan).values())


def _keys_named(plan: Plan) -> dict[Path, Path]:
    """The same, by the path that was found for each."""
    files = (
        file for clip in plan.clips for file in clip.facts.files
    )  # a clip in several files names them all
    return {path: original_key(path) for path in {*plan.named, *files}}


def reconcile(
    folders: Sequence[Path], plan: Plan, leave_out: Sequence[Path] = (), named: Collection[str] = ()
) -> Media | None:
    """The media folders against a plan; None where no folder was given. Originals that no row names are opened, to
    tell those that could be rendered from those that our libraries do not read. `named`: keys that other lists name."""
    if not folders:
        return None
    found = find_originals(folders, leave_out=leave_out)
    broken = {original_key(path): error.text for path, error in plan.unopened}
    keys = _keys_named(plan)
    ours = set(keys.values())
    originals = [(path, path, RAW_TEXT) for path in found.raw]
    for path in beating(found.originals):
        key = keys.get(path) or original_key(path)
        originals.append((path, key, broken.get(key, "") if key in ours or key in broken else _unread(path)))
    walk = Walk(
        folders=tuple(str(folder.absolute()) for folder in folders),
        originals=tuple((str(path.absolute()), str(key), why) for path, key, why in originals),
        ignored=found.ignored_in,
        absent=tuple((name, str(manifest)) for name, manifest in _absent(folders, leave_out)),
    )
    sums = taken_together([walk], {*map(str, ours), *named})
    assert sums is not None
    return Media(
        listed=sums["listed"],
        not_listed=tuple(map(Path, sums["not_listed"])),
        unreadable=tuple((Path(entry["path"]), entry["why"]) for entry in sums["unreadable"]),
        ignored=sums["ignored"],
        absent=tuple((entry["path"], Path(entry["manifest"])) for entry in sums["absent"]),
        walk=walk,
    )


def _unread(path: Path) -> str:
    """Why an original does not open; empty where it does."""
    try:
        probe(path)
    except RushlightError as error:
        return error.text
    return ""


def taken_together(walks: Sequence[Walk], named: Collection[str]) -> MediaSums | None:
    """The media of several requests, in the order in which they were read, against the keys that rows name; None without any.

    Each original counts once. What a later one says of a folder holds of all that lies below it.
    """
    if not walks:
        return None
    originals: dict[str, tuple[str, str]] = {}
    ignored: dict[str, int] = {}
    absent: dict[tuple[str, str], None] = {}
    for walk in walks:
        below = [folder.rstrip("/") + "/" for folder in walk.folders]

        def again(path: str, below: Sequence[str] = below) -> bool:
            return f"{path}/".startswith(tuple(below))

        originals = {path: known for path, known in originals.items() if not again(path)}
        ignored = {place: count for place, count in ignored.items() if not again(place)}
        absent = {entry: None for entry in absent if not again(entry[1])}
        originals |= {path: (key, why) for path, key, why in walk.originals}
        ignored |= walk.ignored
        absent |= dict.fromkeys(walk.absent)
    readable = [(path, key) for path, (key, why) in originals.items() if not why]
    unreadable: list[Unreadable] = [{"path": path, "why": why} for path, (_, why) in originals.items() if why]
    not_listed = [path for path, key in readable if key not in named]
    return {
        "found": len(originals) + sum(ignored.values()),
        "listed": len(readable) - len(not_listed),
        "not_listed": not_listed,
        "unreadable": unreadable,
        "ignored": sum(ignored.values()),
        "absent": [{"path": name, "manifest": manifest} for name, manifest in absent],
    }


def media_text(media: MediaSums) -> str:
    """The sum in words: found = listed + not listed + not readable + ignored."""
    return (
        f"{media['found']} found = {media['listed']} listed + {len(media['not_listed'])} not listed + "
        f"{len(media['unreadable'])} not readable + {media['ignored']} ignored"
    )


def original_key(path: Path) -> Path:
    """One path for an original however it was named: a sequence is its folder with the part before the number."""
    path = path.absolute()
    with suppress(OSError):  # it may not be looked into
        if path.is_dir():
            files = sorted(
                p.name for p in path.iterdir() if p.suffix.lower() in STILLS and not p.name.startswith(".")
            )
            return original_key(path / files[0]) if files else path
    if path.suffix.lower() not in STILLS:
        return path
    return path.with_name(re.sub(r"[0-9]+$|#+$", "", path.stem) + "#" + path.suffix)


def _absent(folders: Sequence[Path], leave_out: Sequence[Path]) -> list[tuple[str, Path]]:
    """Files that the history of a folder (its `ascmhl`) names and that are not there, each with its manifest; a manifest that
    cannot be read is named itself."""
    missing: list[tuple[str, Path]] = []
    for place, inner, _ in originals_below(folders, leave_out):
        if HISTORY not in inner:
            continue
        found = beside(place, [""])
        missing += [
            (f"(the manifest itself: {each.text})", place / each.path)
            for each in found.manifests
            if each.verdict == "not read"
        ]
        missing += [
            (path, place / expected.manifest)
            for history in found.histories
            for path, expected in history.files.items()
            if not history.patterns.leaves_out(path) and not os.path.exists(place / path)
        ]
    return missing


# --- originals against their manifests


def hold_to_manifests(plan: Plan, manifests: Sequence[str], recipe: Recipe, folders: Sequence[Path]) -> None:
    """Hold the originals of a plan against the manifests that were given, by name and size: those that differ are not made
    unless the recipe says so, and those that are not verified say it. ManifestError where one that was named is none."""
    if not manifests or not plan.clips:
        return
    originals = [Path(os.path.abspath(file)) for clip in plan.clips for file in clip.facts.files]
    found = ClipOriginals(manifests, originals, folders)
    plan.warnings += found.notes
    kept = []
    for clip in plan.clips:
        try:
            kept.append(_held(clip, found.of(clip.facts.files), recipe))
        except SourceError as error:
            plan.broken.append((clip.row, error))
            plan.unopened.append((clip.path, error))  # it may still be growing
    plan.clips = kept


def _held(clip: PlannedClip, check: ClipCheck, recipe: Recipe) -> PlannedClip:
    """The clip with the verdict on its original. SourceError where it is not to be delivered."""
    said = check.record()
    if said.verdict in REFUSED and not recipe.deliver_differing:
        raise refusal(said, str(clip.path))
    return replace(clip, manifest=check, warnings=tuple(with_verdict(said, clip.warnings)))
