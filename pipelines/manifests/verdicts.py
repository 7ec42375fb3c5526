"""Verdicts on files against what manifests say of them: names and sizes first, hashes for those that are left.

A file that several histories name (a card's own, and that of the folder that cards were collected in) matches only where it
is as each of them has it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from rushlight.pipelines.manifests.hash_kinds import KINDS
from rushlight.pipelines.manifests.history import Expected, History
from rushlight.pipelines.manifests.ignore_patterns import IgnorePatterns

__all__ = [
    "WORDS",
    "FileVerdict",
    "FoundFile",
    "FoundMedia",
    "ToHash",
    "Word",
    "by_hash",
    "by_names_and_sizes",
    "unread",
]

Word = Literal[
    "matches", "differs", "missing", "not in the manifest", "no usable hash", "cannot be read", "ignored"
]
WORDS: tuple[Word, ...] = (
    "differs",
    "missing",
    "cannot be read",
    "no usable hash",
    "not in the manifest",
    "matches",
    "ignored",
)  # the worst first


@dataclass(frozen=True, kw_only=True)
class FoundFile:
    """A file as it lies there: its path with `/` relative to the media, its size in bytes, or why it cannot be read."""

    path: str
    size: int = 0
    fault: str = ""


@dataclass(frozen=True, kw_only=True)
class FoundMedia:
    """All that lies below a folder: files, folders, and folders that could not be looked into with the reason."""

    files: tuple[FoundFile, ...] = ()
    folders: frozenset[str] = frozenset()
    closed: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class FileVerdict:
    """A file's verdict, with the finding in words. `kind`, `stated` and `found` are there where hashes were compared, `size` where
    the file is there; `manifest` names the one that states it."""

    path: str
    verdict: Word
    text: str = ""
    size: int | None = None
    kind: str = ""
    stated: str = ""
    found: str = ""
    manifest: str = ""


@dataclass(frozen=True, kw_only=True)
class ToHash:
    """A file whose name and size are right: what is expected of its hash."""

    path: str
    size: int
    expected: tuple[Expected, ...]
    note: str = ""

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of hash to take, in one reading."""
        return tuple(dict.fromkeys(e.hash.kind for e in self.expected if e.hash))


def by_names_and_sizes(
    media: FoundMedia, histories: Sequence[History]
) -> tuple[list[FileVerdict], list[ToHash]]:
    """Verdicts that names and sizes give, and the files that are to be hashed; each in order of paths."""
    expected = _expected(histories)
    ignored = _Ignored(histories)
    named, notes = _pairs([f.path for f in media.files], expected)
    verdicts: list[FileVerdict] = []
    to_hash: list[ToHash] = []
    left_out: set[str] = set()
    for file in media.files:
        if top := ignored.top(file.path):
            left_out.add(top)
            continue
        stated = expected.get(named.get(file.path, ""), ())
        found = _by_size(file, stated, notes.get(file.path, ""))
        verdicts.append(found) if isinstance(found, FileVerdict) else to_hash.append(found)
    verdicts += [
        FileVerdict(path=path, verdict="ignored", text="a pattern of the manifest leaves it out")
        for path in left_out
    ]
    verdicts += [
        FileVerdict(path=f"{folder}/", verdict="cannot be read", text=why)
        for folder, why in media.closed.items()
        if not ignored.top(f"{folder}/-")
    ]
    there = set(named.values())
    verdicts += [v for v in _missing(expected, there, media) if not ignored.top(v.path)]
    verdicts += [v for v in _missing_folders(histories, expected, media) if not ignored.top(v.path)]
    return sorted(verdicts, key=lambda v: v.path), sorted(to_hash, key=lambda t: t.path)


def by_hash(file: ToHash, digests: Mapping[str, str]) -> FileVerdict:
    """Verdict on a file by its hashes, by kind and as a manifest writes them."""
    first = file.expected[0]
    for expected in file.expected:
        if not expected.hash:
            continue
        kind = KINDS[expected.hash.kind]
        stated, found = kind.plain(expected.hash.value), digests[kind.name]
        if stated != found:
            text = f"its {kind.name} is {found}; {expected.manifest} has {stated}"
            return _of(file, "differs", text, expected, found)
    return _of(file, "matches", file.note, first, digests[first.hash.kind] if first.hash else "")


def unread(file: ToHash, why: str) -> FileVerdict:
    """Verdict on a file that could not be read to its end."""
    return _of(file, "cannot be read", why, file.expected[0], "")


def _of(file: ToHash, word: Word, text: str, expected: Expected, found: str) -> FileVerdict:
    stated = expected.hash
    return FileVerdict(
        path=file.path,
        verdict=word,
        text=text,
        size=file.size,
        kind=stated.kind if stated else "",
        stated=KINDS[stated.kind].plain(stated.value) if stated else "",
        found=found,
        manifest=expected.manifest,
    )


# --- names


def _expected(histories: Sequence[History]) -> dict[str, tuple[Expected, ...]]:
    """What every history expects, by path; of several the innermost's first."""
    found: dict[str, tuple[Expected, ...]] = {}
    for history in sorted(histories, key=lambda h: -len(h.folder)):
        for path, expected in history.files.items():
            place = history.outside(path)
            found[place] = (*found.get(place, ()), expected)
    return found


def plain(path: str) -> str:
    """A path in one Unicode form (NFC), with `/` for a backslash: for names that are not equal as they stand."""
    return unicodedata.normalize("NFC", path).replace("\\", "/")


def _pairs(paths: Sequence[str], expected: Iterable[str]) -> tuple[dict[str, str], dict[str, str]]:
    """The name in the manifest of each file that is there, and what is to be said of it: the same name, or after a miss the same
    in another Unicode form or with backslashes. One that fits two is neither's."""
    names = set(expected)
    pairs = {path: path for path in paths if path in names}
    others = _alone(path for path in paths if path not in names)
    notes = {}
    for key, name in _alone(name for name in names if name not in pairs).items():
        if key in others:
            pairs[others[key]] = name
            notes[others[key]] = "its name is written otherwise in the manifest (Unicode form or backslashes)"
    return pairs, notes


def _alone(paths: Iterable[str]) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for path in paths:
        found.setdefault(plain(path), []).append(path)
    return {key: same[0] for key, same in found.items() if len(same) == 1}


class _Ignored:
    """The ignore patterns of all histories, each for what lies in its folder; the standard's own everywhere."""

    def __init__(self, histories: Sequence[History]) -> None:
        self._histories = histories
        self._own = IgnorePatterns()
        self._tops: dict[str, str] = {}

    def top(self, path: str) -> str:
        """The path, or the outermost folder of it (with a `/` at its end), that is left out; empty where nothing is."""
        folder = path.endswith("/")
        bare = path.rstrip("/")
        if top := self._folder_top(bare.rpartition("/")[0]):
            return top
        return (f"{bare}/" if folder else bare) if self._leaves_out(bare, folder) else ""

    def _folder_top(self, folder: str) -> str:
        if folder and folder not in self._tops:
            self._tops[folder] = self.top(f"{folder}/")
        return self._tops.get(folder, "")

    def _leaves_out(self, path: str, folder: bool) -> bool:
        inside = [(h, p) for h in self._histories if (p := h.inside(path)) is not None]
        if not inside:
            return self._own.leaves_out(path, folder=folder)
        return any(history.patterns.leaves_out(p, folder=folder) for history, p in inside)


def _missing(
    expected: Mapping[str, tuple[Expected, ...]], there: set[str], media: FoundMedia
) -> Iterable[FileVerdict]:
    for path, stated in expected.items():
        if path in there:
            continue
        closed = next((f for f in media.closed if path.startswith(f"{f}/")), None)
        text = (
            f"its folder cannot be looked into: {media.closed[closed]}"
            if closed is not None
            else (f"{stated[0].manifest} names it, and it is not there")
        )
        word: Word = "missing" if closed is None else "cannot be read"
        yield FileVerdict(path=path, verdict=word, text=text, manifest=stated[0].manifest)


def _missing_folders(
    histories: Sequence[History], expected: Iterable[str], media: FoundMedia
) -> Iterable[FileVerdict]:
    """Folders that are not there and of which no file says so."""
    full = {plain(p.rpartition("/")[0]) for p in expected}
    full |= {folder[:n] for folder in full for n, sign in enumerate(folder) if sign == "/"}
    there = {plain(f) for f in media.folders} | {plain(f) for f in media.closed}
    for history in histories:
        for folder in sorted(history.folders):
            path = history.outside(folder)
            if plain(path) not in full and plain(path) not in there:
                yield FileVerdict(
                    path=f"{path}/",
                    verdict="missing",
                    text="the manifest has this folder, and it is not there",
                )


# --- sizes


def _by_size(file: FoundFile, stated: Sequence[Expected], note: str) -> FileVerdict | ToHash:
    name = stated[0].manifest if stated else ""
    if file.fault:
        return FileVerdict(path=file.path, verdict="cannot be read", text=file.fault, manifest=name)
    if not stated:
        return FileVerdict(
            path=file.path, verdict="not in the manifest", text="no manifest names it", size=file.size
        )
    for expected in stated:
        if expected.size is not None and expected.size != file.size:
            text = f"is {file.size} bytes long; {expected.manifest} has {expected.size}"
            return FileVerdict(
                path=file.path, verdict="differs", text=text, size=file.size, manifest=expected.manifest
            )
    usable = [expected for expected in stated if expected.hash]
    if not usable:
        return FileVerdict(
            path=file.path,
            verdict="no usable hash",
            text=f"{name}: {stated[0].fault}",
            size=file.size,
            manifest=name,
        )
    renamed = next((f"was {e.previous} before it was renamed" for e in stated if e.previous), "")
    notes = "; ".join(part for part in (note, renamed) if part)
    return ToHash(path=file.path, size=file.size, expected=tuple(usable), note=notes)
