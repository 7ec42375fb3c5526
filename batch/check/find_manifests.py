"""Hash manifests read from where they lie: histories below the media with their chains, or the one that was named.

The hashes of a manifest are used only if it is as its chain says. A manifest that was named and lies in no history is taken
as it is, and said to stand alone.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from rushlight.pipelines.errors import ManifestError
from rushlight.pipelines.manifests.chain import CHAIN, HISTORY, Link, parse_chain
from rushlight.pipelines.manifests.hash_kinds import c4
from rushlight.pipelines.manifests.hash_list import HashList, Reference, parse_hash_list
from rushlight.pipelines.manifests.history import Generation, History
from rushlight.pipelines.text_files import read_bytes

__all__ = ["FoundManifest", "FoundManifests", "ManifestWord", "beside", "named"]

ManifestWord = Literal["intact", "alone", "changed", "missing", "not in the chain", "no chain", "not read"]

MOST = 10_000  # histories that are followed from a manifest that was named
CHANGED = "it is not as it was when it was entered in the chain (its C4 differs)"
UNCHAINED = "the chain of its history does not name it"


@dataclass(frozen=True, kw_only=True)
class FoundManifest:
    """One manifest, or a chain that is wrong: its path relative to the media, or as it was named, and its verdict with the finding in
    words. `files`: how many it names."""

    path: str
    verdict: ManifestWord
    text: str = ""
    files: int = 0
    made: str = ""
    maker: str = ""


@dataclass(frozen=True, kw_only=True)
class FoundManifests:
    """All manifests of some media, and their histories to compare with."""

    manifests: tuple[FoundManifest, ...] = ()
    histories: tuple[History, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass
class _Draft:
    """A history that is being read: `generations` by the names of their files."""

    folder: str
    generations: dict[str, Generation] = field(default_factory=dict)
    told: dict[str, FoundManifest] = field(default_factory=dict)
    digests: dict[str, str] = field(default_factory=dict)  # C4 of each manifest's bytes

    def place(self, name: str) -> str:
        return "/".join(part for part in (self.folder, HISTORY, name) if part)

    def tell(self, name: str, verdict: ManifestWord, text: str = "") -> None:
        self.told[name] = FoundManifest(path=self.place(name), verdict=verdict, text=text)

    def read(self, path: Path, name: str, number: int, verdict: ManifestWord, fault: str) -> None:
        """Take a manifest up; one whose text is none is told so instead."""
        try:
            data = _bytes(path)
            self.digests[name] = c4(data)
            listed = parse_hash_list(data)
        except ManifestError as error:
            line = f"line {error.line}: " if error.line else ""
            self.tell(name, "not read", f"{line}{error.text}")
            return
        self.told[name] = _told(self.place(name), verdict, fault, listed)
        self.generations[name] = Generation(
            number=number, name=self.place(name), hash_list=listed, fault=fault
        )

    def distrust(self, name: str, verdict: ManifestWord, fault: str) -> None:
        """A manifest turns out not to be as it was made."""
        self.told[name] = replace(self.told[name], verdict=verdict, text=fault)
        if name in self.generations:
            self.generations[name] = replace(
                self.generations[name], fault=f"{fault}; its hashes are not used"
            )

    def history(self) -> History:
        return History(self.folder, tuple(sorted(self.generations.values(), key=lambda g: g.number)))


def beside(root: Path, folders: Sequence[str]) -> FoundManifests:
    """The histories that lie in those folders below `root`, each with its chain, and the references from one to another."""
    drafts = {folder: _history(root / folder / HISTORY, folder) for folder in folders}
    for draft in list(drafts.values()):
        by, references = _references(draft)
        for reference in references:
            _hold(reference, by, draft.folder, drafts)
    return _found(drafts.values())


def named(root: Path, given: Path) -> FoundManifests:
    """The manifest that was named, a file or the folder of a history, as one of `root`.

    Histories below `root` count where it refers to them, and only by the manifests it refers to. ManifestError where it is
    none, or cannot be read.
    """
    if given.is_dir():
        place = given / HISTORY if (given / HISTORY).is_dir() else given
        draft = _history(place, "")
        if not draft.generations and all(told.verdict == "missing" for told in draft.told.values()):
            text = f"holds no ASC MHL manifest; give the file (.mhl), or its folder `{HISTORY}`"
            raise ManifestError(text, file=str(given))
    else:
        place, draft = given.parent, _one(given)
    draft.told = {name: replace(told, path=str(place / name)) for name, told in draft.told.items()}
    drafts, todo = [draft], [draft]
    while todo and len(drafts) < MOST:
        above = todo.pop()
        for reference in _references(above)[1]:
            below = _referred(root, above, reference)
            drafts.append(below)
            todo.append(below)
    return _found(drafts)


# --- one history


def _history(place: Path, folder: str) -> _Draft:
    """A history from its folder `ascmhl`, each manifest held to the chain."""
    draft = _Draft(folder)
    try:
        names = sorted(n for n in os.listdir(place) if n.lower().endswith(".mhl") and not n.startswith("._"))
    except OSError as error:
        draft.tell("", "not read", error.strerror or str(error))
        return draft
    links, fault = _chain(draft, place, names)
    if fault:
        for number, name in enumerate(names, 1):
            draft.read(place / name, name, number, "no chain", f"{fault}; its hashes are not used")
        return draft
    found = {_nfc(name): name for name in names}
    for link in links:
        name = found.pop(_nfc(link.name), "")
        if not name:
            draft.tell(link.name, "missing", "the chain names it, and it is not there")
            continue
        draft.read(place / name, name, link.generation, "intact", "")
        if name in draft.digests and draft.digests[name] != link.c4:
            draft.distrust(name, "changed", CHANGED)
    for number, name in enumerate(found.values(), len(links) + 1):
        draft.read(place / name, name, number, "intact", "")
        draft.distrust(name, "not in the chain", UNCHAINED)
    return draft


def _chain(draft: _Draft, place: Path, names: Sequence[str]) -> tuple[tuple[Link, ...], str]:
    """The chain of a history, or why there is none."""
    if not os.path.lexists(place / CHAIN):
        if names:
            return (), f"its history has no chain ({CHAIN}), so that nothing says it is as it was made"
        draft.tell("", "missing", f"the folder `{HISTORY}` holds no manifest")
        return (), ""
    try:
        links = parse_chain(_bytes(place / CHAIN))
    except ManifestError as error:
        line = f"line {error.line}: " if error.line else ""
        draft.tell(CHAIN, "not read", f"{line}{error.text}")
        return (), "the chain of its history cannot be read"
    if not links:
        draft.tell(CHAIN, "not read", "names no manifest")
    return links, ""


def _bytes(path: Path) -> bytes:
    if path.is_symlink():
        raise ManifestError("is a symbolic link, which is not followed")
    return read_bytes(path, ManifestError)


def _one(given: Path) -> _Draft:
    """A manifest that was named: held to the chain beside it, if that names it."""
    data = read_bytes(given, ManifestError)
    listed = parse_hash_list(data, file=str(given))
    draft = _Draft("")
    verdict: ManifestWord = "alone"
    text = "no chain names it, so that nothing says it is as it was made"
    if (links := _links_beside(given)) is not None:
        link = next((each for each in links if _nfc(each.name) == _nfc(given.name)), None)
        if link is None:
            verdict, text = "not in the chain", UNCHAINED
        else:
            verdict, text = ("intact", "") if link.c4 == c4(data) else ("changed", CHANGED)
    draft.told[given.name] = _told(given.name, verdict, text, listed)
    fault = f"{text}; its hashes are not used" if verdict not in ("intact", "alone") else ""
    draft.generations[given.name] = Generation(number=1, name=given.name, hash_list=listed, fault=fault)
    return draft


def _links_beside(given: Path) -> tuple[Link, ...] | None:
    """The chain that lies beside a manifest; None where there is none."""
    chain = given.parent / CHAIN
    return parse_chain(read_bytes(chain, ManifestError), file=str(chain)) if os.path.lexists(chain) else None


def _told(path: str, verdict: ManifestWord, text: str, listed: HashList) -> FoundManifest:
    return FoundManifest(
        path=path, verdict=verdict, text=text, files=len(listed.files), made=listed.made, maker=listed.maker
    )


# --- references between histories


def _split(reference: Reference) -> tuple[str, str]:
    """Folder of the history that is referred to, relative to the one that refers, and the manifest's file name."""
    folder, _, name = reference.path.rpartition("/")
    return re.sub(rf"/?{HISTORY}$", "", folder), name


def _references(draft: _Draft) -> tuple[str, tuple[Reference, ...]]:
    """The latest references of a history to others, and the manifest that has them."""
    for generation in reversed(draft.history().generations):
        if generation.hash_list.references and not generation.fault:
            return generation.name, generation.hash_list.references
    return "", ()


def _hold(reference: Reference, by: str, folder: str, drafts: dict[str, _Draft]) -> None:
    """Hold a manifest further down to the C4 by which it is referred to."""
    inside, name = _split(reference)
    place = f"{folder}/{inside}" if folder and inside else folder or inside
    draft = drafts.setdefault(place, _Draft(place))
    if name not in draft.told:
        draft.tell(name, "missing", f"{by} refers to it, and it is not there")
    elif name in draft.digests and draft.digests[name] != reference.c4:
        draft.distrust(name, "changed", f"it is not the one that {by} refers to (its C4 differs)")


def _referred(root: Path, above: _Draft, reference: Reference) -> _Draft:
    """A manifest further down that one refers to, from below `root`, by itself."""
    inside, name = _split(reference)
    draft = _Draft(f"{above.folder}/{inside}" if above.folder else inside)
    path = root / draft.folder / HISTORY / name
    if not inside or not os.path.lexists(path):  # a history does not refer to itself
        draft.tell(name, "missing", "the manifest that was named refers to it, and it is not there")
        return draft
    draft.read(path, name, 1, "intact", "")
    if name in draft.digests and draft.digests[name] != reference.c4:
        draft.distrust(
            name, "changed", "it is not the one that the manifest above refers to (its C4 differs)"
        )
    return draft


def _found(drafts: Iterable[_Draft]) -> FoundManifests:
    every = list(drafts)
    return FoundManifests(
        manifests=tuple(told for draft in every for told in draft.told.values()),
        histories=tuple(draft.history() for draft in every if draft.generations),
        notes=tuple(
            f"{generation.name} is written with backslashes; they were read as /"
            for draft in every
            for generation in draft.generations.values()
            if generation.hash_list.backslashes
        ),
    )


def _nfc(name: str) -> str:
    return unicodedata.normalize("NFC", name)
