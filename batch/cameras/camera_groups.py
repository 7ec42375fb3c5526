"""Clips by the camera that shot them: by its letter, else by what headers and names say; and the `[[default]]` tables that would
state something of a camera once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cached_property
from pathlib import Path

from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.colour.camera_encodings import suggest_encoding
from rushlight.pipelines.originals.camera_header import camera_in_header
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.toml_files import toml_text

__all__ = ["CameraGroup", "Seen", "camera_groups"]

LEAST = 3  # letters of a name that files of one camera share


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A clip whose header was read."""

    clip: str  # as the list names it
    path: Path
    facts: Facts
    reel: str = ""
    letter: str = ""  # of its camera

    @classmethod
    def of(cls, row: Row, path: Path, facts: Facts, reel: str) -> Seen:
        letter = camera_letter(row["camera"], reel).upper()
        return cls(clip=row.clip, path=path, facts=facts, reel=reel, letter=letter)

    @property
    def header(self) -> tuple[str, str]:
        """The camera and the encoding that its header names; empty where it names none."""
        return camera_in_header(self.facts.metadata), suggest_encoding(self.facts.metadata) or ""

    @cached_property
    def place(self) -> str:
        return self.path.absolute().as_posix()


@dataclass(frozen=True, kw_only=True)
class CameraGroup:
    """Clips of one camera, as far as names and headers tell. `selectors` choose all of them and no other of the clips seen."""

    letter: str
    header: str  # make, model, serial number
    suggested: str  # encoding that the headers name: never to be applied unasked
    clips: tuple[Seen, ...]
    selectors: tuple[tuple[str, str], ...]  # key and value of `[[default]]`
    kinds: tuple[
        CameraGroup, ...
    ] = ()  # the same by codec, where its clips are of several, as those of one camera rarely are

    @property
    def name(self) -> str:
        """`camera A`, or what else it is known by."""
        if self.letter:
            return f"camera {self.letter}"
        more = f" and {len(self.selectors) - 1} more" if len(self.selectors) > 1 else ""
        return self.header or f"a camera without a name ({self.selectors[0][1]}{more})"

    @property
    def formats(self) -> str:
        """What its clips are: codecs, rasters, rates and the levels that their tags state, each once."""
        facts = [seen.facts for seen in self.clips]
        parts = (
            [f"{f.codec or f.container} {f.profile}".strip() for f in facts],
            [f"{f.width}x{f.height}" for f in facts],
            [f"{f.rate} fps" for f in facts if f.rate_from == "header"],
            [f"levels tagged {f.levels_tag}" for f in facts if f.levels_tag],
        )
        return ", ".join(" and ".join(dict.fromkeys(part)) for part in parts if part)

    def tables(self, statements: Iterable[str]) -> str:
        """The lines for a day document or a file of defaults: a table for each selector, with these statements."""
        lines: list[str] = []
        for key, value in self.selectors:
            lines += ["[[default]]", f"{key} = {toml_text(value)}", *statements]
        return "\n".join(lines)


def camera_groups(clips: Sequence[Seen]) -> list[CameraGroup]:
    """The clips by camera, in order of letter and name.

    A letter is one camera, unless headers under it name several; without a letter it is what the header names, else files of
    one kind, with a selector for each of their cards.
    """
    letters: dict[str, list[Seen]] = defaultdict(list)
    for seen in clips:
        letters[seen.letter].append(seen)
    groups: dict[tuple[str, ...], list[Seen]] = defaultdict(list)
    for letter, members in letters.items():
        named = {seen.header for seen in members if any(seen.header)}
        for seen in members:
            if letter:
                key = (letter, *(seen.header if len(named) > 1 else ()))
            elif any(seen.header):
                key = ("", *seen.header)
            else:
                facts = seen.facts
                key = ("", "", "", facts.container, facts.codec, f"{facts.width}x{facts.height}")
            groups[key].append(seen)
    found = [_group(members, clips) for _, members in sorted(groups.items(), key=lambda item: item[0])]
    return sorted(found, key=lambda group: (not group.letter, group.letter))


def _group(members: list[Seen], every: Sequence[Seen]) -> CameraGroup:
    headers = [seen.header for seen in members]
    kinds: dict[tuple[str, str], list[Seen]] = defaultdict(list)
    for seen in members:
        kinds[seen.facts.codec, seen.facts.profile].append(seen)
    parts = tuple(_group(part, every) for part in kinds.values()) if len(kinds) > 1 else ()
    return CameraGroup(
        letter=members[0].letter,
        header=next((camera for camera, _ in headers if camera), ""),
        suggested=next((encoding for _, encoding in headers if encoding), ""),
        clips=tuple(members),
        selectors=_selectors(members, every),
        kinds=parts,
    )


def _selectors(members: list[Seen], every: Sequence[Seen]) -> tuple[tuple[str, str], ...]:
    """What chooses these clips and no other: their camera, their reels, their cards, names that begin alike, else each by name."""
    ours = {seen.place for seen in members}
    others = [seen for seen in every if seen.place not in ours]
    letter = members[0].letter
    if letter and all(seen.letter != letter for seen in others):
        return (("camera", letter),)
    reels = tuple(dict.fromkeys(seen.reel for seen in members))
    if all(reels) and len(reels) <= 4 and not any(seen.reel in reels for seen in others):
        return tuple(("reel", reel) for reel in reels)
    folders: dict[str, list[Seen]] = defaultdict(list)
    for seen in members:
        folders[_folder(seen)].append(seen)
    found = []
    for folder, inside in folders.items():
        places = {seen.place for seen in inside}
        rest = [seen for seen in every if seen.place not in places]
        found += [("file", pattern) for pattern in _patterns(folder, inside, rest)]
    return tuple(found)


def _folder(seen: Seen) -> str:
    """The folder that a clip lies in, as far as the list names it."""
    folder = seen.clip.rpartition("/")[0]
    return folder if folder and seen.path.absolute().parent.as_posix().endswith(folder) else ""


def _patterns(folder: str, ours: list[Seen], others: list[Seen]) -> list[str]:
    """File patterns that choose these clips of one folder and none of the others: a card, else names that begin alike, else each.

    A folder that the list begins with is where cards arrive: it is no card, and what comes into it later may be of any camera.
    """
    names = [seen.path.name for seen in ours]
    if not folder:
        return [_plain(name) for name in names]
    start = _shared(names).rstrip("0123456789")
    wide = [f"{_plain(folder)}/*"] if "/" in folder.strip("/") else []
    if len(start) >= LEAST and len(names) > 1:
        wide.append(f"{_plain(folder)}/{_plain(start)}*")
    for pattern in wide:
        if all(_fits(pattern, seen) for seen in ours) and not any(_fits(pattern, seen) for seen in others):
            return [pattern]
    return [f"{_plain(folder)}/{_plain(name)}" for name in names]


def _shared(names: Sequence[str]) -> str:
    """The letters that all names begin with."""
    low, high = min(names), max(names)
    return low[: next((n for n, (a, b) in enumerate(zip(low, high, strict=False)) if a != b), len(low))]


def _plain(text: str) -> str:
    """A name as a pattern that means itself; `?` for what a document in UTF-8 cannot hold."""
    return "".join(f"[{c}]" if c in "[*?" else "?" if "\ud800" <= c <= "\udfff" else c for c in text)


def _fits(pattern: str, seen: Seen) -> bool:
    """As a table's `file` chooses (apply_defaults.py)."""
    name = seen.place if "/" in pattern else seen.path.name
    return fnmatchcase(name.lower(), (f"*/{pattern}" if "/" in pattern else pattern).lower())
