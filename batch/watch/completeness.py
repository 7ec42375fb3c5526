"""Is a card complete? By its manifest, or by having stood still; a pure function of what was seen, and when by our own clock.

A copy ends without a word. A manifest is written last, so one whose files are all there says so at once. Without one, the card must
not have changed (names, sizes, times) over some looks and a time that is longer than servers take to show what others write;
and no file of it may look unfinished, since some copies claim a file's whole size first, and set its time back at the end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rushlight.batch.disks import size_text
from rushlight.batch.watch.card_files import CardFile, is_original
from rushlight.pipelines.counted import counted

__all__ = ["MANIFEST", "STILL", "Found", "How", "Patience", "Stillness", "is_due", "judged", "seen_again"]

How = Literal["by manifest", "by having stood still"]
MANIFEST: How = "by manifest"
STILL: How = "by having stood still"


@dataclass(frozen=True, kw_only=True)
class Patience:
    """How long a card must stand still to be complete; and how long until one that still looks unfinished is taken as it is."""

    quiet: float = 60.0  # seconds; attributes that a share's client keeps may be as old as that
    looks: int = 3  # in which it was the same, at least
    unfinished: float = 600.0  # seconds


@dataclass(frozen=True, kw_only=True)
class Stillness:
    """A card's files as they were seen last, since when they are so (by our clock, which never jumps), and in how many looks."""

    files: tuple[CardFile, ...]
    since: float
    looks: int = 1

    def lasted(self, now: float, patience: Patience) -> bool:
        """True if it has stood still for long enough."""
        return self.looks >= patience.looks and now - self.since >= patience.quiet


@dataclass(frozen=True, kw_only=True)
class Found:
    """A verdict: how the card is complete, or None while it arrives; and what there is to know of it. One that is `held` stands
    still, but its files do not look complete: somebody may have to do something."""

    how: How | None
    text: str = ""
    held: bool = False


def seen_again(before: Stillness | None, files: tuple[CardFile, ...], now: float) -> Stillness:
    """One more look."""
    if before is None or before.files != files:
        return Stillness(files=files, since=now)
    return Stillness(files=files, since=before.since, looks=before.looks + 1)


def is_due(still: Stillness, now: float, patience: Patience, stated: Mapping[str, int] | None) -> bool:
    """True if it is time to look into the files themselves: it has stood still, or all that its manifest names is there."""
    return still.lasted(now, patience) or (stated is not None and not _lacking(still.files, stated))


def judged(
    still: Stillness,
    now: float,
    patience: Patience,
    *,
    unfinished: Sequence[str] = (),
    stated: Mapping[str, int] | None = None,
) -> Found:
    """The verdict on a card. `unfinished` are sentences on files that are not written to their end; `stated` the sizes by name
    that a whole manifest states, None without one."""
    lacking = _lacking(still.files, stated) if stated else []
    if not unfinished and stated and not lacking:
        return Found(how=MANIFEST)
    if not still.lasted(now, patience):
        return Found(how=None, text=_so_far(still, stated, patience))
    if not unfinished and not lacking:
        return Found(how=STILL)
    why = unfinished[0] if unfinished else _lacking_text(lacking)
    if len(unfinished) > 1:
        why += f", and {counted(len(unfinished) - 1, 'more such file')}"
    if now - still.since < patience.unfinished:
        return Found(how=None, text=f"{why}; it waits for that", held=True)
    return Found(
        how=STILL, text=f"{why}, and nothing has changed for {_minutes(now - still.since)}: taken as it is"
    )


def _lacking(files: Sequence[CardFile], stated: Mapping[str, int]) -> list[str]:
    """Names that a manifest states and that are not there with their sizes; of no use where it leaves out an original."""
    sizes = {file.name: file.size for file in files}
    unnamed = [name for name in sizes if is_original(name) and name not in stated]
    return [name for name, size in stated.items() if sizes.get(name) != size] + unnamed


def _lacking_text(names: Sequence[str]) -> str:
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f"the files and the manifest do not fit: {names[0]}{more}"


def _so_far(still: Stillness, stated: Mapping[str, int] | None, patience: Patience) -> str:
    if stated:
        there = len(stated) - sum(name in stated for name in _lacking(still.files, stated))
        return f"{there} of {counted(len(stated), 'file')} of its manifest so far"
    size = sum(file.size for file in still.files)
    text = f"{counted(len(still.files), 'file')} so far, {size_text(size)}"
    return f"{text}; taken in once nothing has changed for {patience.quiet:.0f} s"


def _minutes(seconds: float) -> str:
    return counted(round(seconds / 60), "minute") if seconds >= 90 else f"{seconds:.0f} s"
