"""Originals of a list against the manifests that are given with it: names and sizes when it is planned, hashes before a clip is
rendered. One manifest may be of any card; `auto` takes the histories of the folders that the originals lie in.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rushlight.batch.check.find_manifests import FoundManifests, beside, named
from rushlight.batch.check.media_contents import contents_of
from rushlight.batch.check.read_hashes import verdicts_of
from rushlight.batch.records.original import ManifestCheck, ToCompare
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import ManifestError, SourceError
from rushlight.pipelines.manifests.chain import HISTORY
from rushlight.pipelines.manifests.hash_list import StatedHash
from rushlight.pipelines.manifests.history import Expected
from rushlight.pipelines.manifests.verdicts import (
    WORDS,
    FileVerdict,
    FoundFile,
    FoundMedia,
    ToHash,
    by_names_and_sizes,
    plain,
)

__all__ = [
    "AUTO",
    "REFUSED",
    "ClipCheck",
    "ClipOriginals",
    "compared",
    "of_each_file",
    "refusal",
    "with_verdict",
]

AUTO = "auto"
SOUND = ("intact", "alone")
REFUSED = ("differs", "cannot be read")  # verdicts on a clip that is not delivered unless the recipe says so
UNVERIFIED = "its original is not verified"


@dataclass(frozen=True, kw_only=True)
class ClipCheck:
    """One clip's original so far: verdicts on its files, and those that are to be hashed, each with the folder it is relative to."""

    verdicts: tuple[FileVerdict, ...] = ()
    to_hash: tuple[tuple[Path, ToHash], ...] = ()

    @property
    def rows(self) -> list[ToCompare]:
        """The hashes that are to be compared, one a file and manifest."""
        return [
            ToCompare(
                path=str(root / file.path),
                bytes=file.size,
                kind=expected.hash.kind,
                hash=expected.hash.value,
                manifest=expected.manifest,
                note=file.note,
            )
            for root, file in self.to_hash
            for expected in file.expected
            if expected.hash
        ]

    @property
    def worst(self) -> FileVerdict | None:
        """The worst verdict so far; None where every file is still to be hashed."""
        return min(self.verdicts, key=lambda v: WORDS.index(v.verdict), default=None)

    def record(self) -> ManifestCheck:
        """The verdict as plan, record and page have it."""
        worst = self.worst
        if worst is None or (self.to_hash and worst.verdict == "matches"):
            name = self.to_hash[0][1].expected[0].manifest
            text = f"name and size are as {name} has them; its hash is compared before it is rendered"
            return ManifestCheck(verdict="not compared yet", text=text, manifest=name)
        same = [v for v in self.verdicts if v.verdict == worst.verdict]
        files = len(self.verdicts) + len(self.to_hash)
        text = worst.text if files == 1 else f"{len(same)} of {counted(files, 'file')}"
        if files > 1 and worst.verdict != "matches":
            text += f", first {Path(worst.path).name}: {worst.text}"
        return ManifestCheck(
            verdict=worst.verdict if worst.verdict != "ignored" else "not in the manifest",
            text=text,
            manifest=worst.manifest,
            kind=worst.kind if files == 1 else "",
            hash=worst.stated if files == 1 else "",
            found=worst.found if files == 1 else "",
        )


def compared(
    rows: Sequence[ToCompare], so_far: ManifestCheck, on_bytes: Callable[[int], None] = lambda done: None
) -> ManifestCheck:
    """The verdict once these hashes are compared too: each file is read once. `on_bytes` is told now and then how many bytes
    were. `so_far` is the verdict by names and sizes."""
    root = Path("/")
    files: dict[str, list[ToCompare]] = {}
    for row in rows:
        files.setdefault(row.path, []).append(row)
    wanted = [
        ToHash(path=path[1:], size=same[0].bytes, expected=tuple(map(_expected, same)), note=same[0].note)
        for path, same in files.items()
    ]
    found = verdicts_of(root, wanted, on_bytes=lambda path, done: on_bytes(done))
    verdicts = tuple(replace(verdict, path=f"/{verdict.path}") for verdict in found)
    now = ClipCheck(verdicts=verdicts).record()
    order: dict[str, int] = {word: n for n, word in enumerate(WORDS)}
    return min((now, so_far), key=lambda check: order.get(check.verdict, len(order)))


def refusal(check: ManifestCheck, path: str) -> SourceError:
    """Why a clip whose original is not as its manifest has it is not delivered."""
    key = "`deliver_differing = true` in the recipe delivers such clips"
    text = f"its original is not as its manifest has it ({check.sentence}), so it is not delivered; copy it again"
    return SourceError(f"{text} ({key})", file=path)


def with_verdict(check: ManifestCheck, warnings: Iterable[str]) -> list[str]:
    """A clip's warnings with the one that its original is not verified, where it is not."""
    found = [text for text in warnings if not text.startswith(UNVERIFIED)]
    if check.verdict not in ("matches", "not compared yet"):
        found.append(f"{UNVERIFIED}: {check.sentence}")
    return found


def _expected(row: ToCompare) -> Expected:
    stated = StatedHash(kind=row.kind, value=row.hash)
    return Expected(path=row.path, generation=0, manifest=row.manifest, size=row.bytes, hash=stated)


def of_each_file(verdicts: Iterable[FileVerdict]) -> list[FileVerdict]:
    """One verdict a file, of several manifests the worst; that one does not name it counts where none does."""
    found: dict[str, FileVerdict] = {}
    for verdict in verdicts:
        other = found.get(verdict.path)
        if other is None or other.verdict == "not in the manifest":
            found[verdict.path] = verdict
        elif verdict.verdict != "not in the manifest":
            found[verdict.path] = min(other, verdict, key=lambda v: WORDS.index(v.verdict))
    return list(found.values())


@dataclass
class ClipOriginals:
    """The manifests that were given, held against these originals by name and size. ManifestError where one that was named is
    none, or fits several folders alike."""

    given: Sequence[str]
    originals: Sequence[Path]  # every file of every clip, absolute
    folders: Sequence[
        Path
    ]  # that originals are looked for in: no folder above them is looked into for `auto`
    notes: list[str] = field(default_factory=list)  # a sentence on each manifest that is not as it should be
    _verdicts: dict[Path, list[FileVerdict]] = field(default_factory=dict)
    _to_hash: dict[Path, list[tuple[Path, ToHash]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for given in dict.fromkeys(self.given):
            if given == AUTO:
                for root in self._tops():
                    self._hold(root, beside(root, contents_of(root).histories))
            else:
                place = Path(os.path.abspath(given))
                if own := self.root_of(place):
                    self._hold(own, named(own, place))

    def of(self, files: Sequence[Path]) -> ClipCheck:
        """The original that consists of these files."""
        verdicts: list[FileVerdict] = []
        to_hash: list[tuple[Path, ToHash]] = []
        for file in files:
            path = Path(os.path.abspath(file))
            wanted, known = self._to_hash.get(path, []), self._verdicts.get(path, [])
            to_hash += wanted
            verdicts += [v for v in known if not wanted or v.verdict != "not in the manifest"]
            if not wanted and not known:
                text = "no manifest that was given is of its folder"
                verdicts.append(FileVerdict(path=str(path), verdict="not in the manifest", text=text))
        return ClipCheck(verdicts=tuple(of_each_file(verdicts)), to_hash=tuple(to_hash))

    def _hold(self, root: Path, found: FoundManifests) -> None:
        """Names and sizes of the originals below a folder."""
        told = [replace(m, path=str(root / m.path)) for m in found.manifests]
        self.notes += [f"manifest {m.path}: {m.verdict}: {m.text}" for m in told if m.verdict not in SOUND]
        inside = [path for path in dict.fromkeys(self.originals) if path.is_relative_to(root)]
        files = tuple(_found(path, path.relative_to(root).as_posix()) for path in inside)
        verdicts, to_hash = by_names_and_sizes(FoundMedia(files=files), found.histories)
        by_path = {verdict.path: verdict for verdict in verdicts}
        hashed = {file.path: file for file in to_hash}
        for path, file in zip(inside, files, strict=True):
            if file.path in hashed:
                self._to_hash.setdefault(path, []).append((root, hashed[file.path]))
                continue
            verdict = by_path.get(file.path)
            if verdict is None or verdict.verdict == "ignored":
                text = "a pattern of the manifest leaves it out"
                verdict = FileVerdict(path=file.path, verdict="not in the manifest", text=text)
            self._verdicts.setdefault(path, []).append(replace(verdict, path=str(path)))

    def _tops(self) -> list[Path]:
        """The outermost folders with a history that the originals lie in."""
        limits = {Path(os.path.abspath(folder)) for folder in self.folders}
        tops: dict[Path, None] = {}
        for place in dict.fromkeys(path.parent for path in self.originals):
            above = [place, *place.parents]
            end = max((n for n, folder in enumerate(above) if folder in limits), default=0)
            holding = [folder for folder in above[: end + 1] if (folder / HISTORY).is_dir()]
            if holding:
                tops[holding[-1]] = None
        return list(tops)

    def root_of(self, given: Path) -> Path | None:
        """The folder that a manifest is of: that of its history, if originals lie there; else the one below which most of
        the files that it names lie, in their sizes. None where no original is one of them, which is noted."""
        own = given if given.is_dir() else given.parent
        history = given.is_dir() or own.name == HISTORY
        own = own.parent if own.name == HISTORY else own
        if history and any(path.is_relative_to(own) for path in self.originals):
            return own
        roots = self._roots(named(own, given))
        best = [root for root, rank in roots.items() if rank == max(roots.values())]
        if not best:
            self.notes.append(f"manifest {given} names none of these originals")
            return None
        if len(best) > 1 and own not in best:
            text = f"fits {best[0]} and {best[1]} alike; put it into the folder `{HISTORY}` of the one that it is of"
            raise ManifestError(text, file=str(given))
        return own if own in best else best[0]

    def _roots(self, found: FoundManifests) -> dict[Path, tuple[int, int]]:
        """Folders below which files of a manifest lie: how many of the right size, and how many by name."""
        names = {
            plain(h.outside(path)): expected.size
            for h in found.histories
            for path, expected in h.files.items()
        }
        by_end: dict[str, list[str]] = {}
        for name in names:
            by_end.setdefault(name.rpartition("/")[2], []).append(name)
        roots: dict[Path, tuple[int, int]] = {}
        for path in dict.fromkeys(self.originals):
            whole = plain(path.as_posix())
            for name in by_end.get(plain(path.name), ()):
                if whole.endswith(f"/{name}"):
                    root = path.parents[name.count("/")]
                    sized, count = roots.get(root, (0, 0))
                    roots[root] = (sized + (_found(path, name).size == names[name]), count + 1)
        return roots


def _found(path: Path, inside: str) -> FoundFile:
    try:
        return FoundFile(path=inside, size=path.stat().st_size)
    except OSError as error:
        return FoundFile(path=inside, fault=error.strerror or str(error))
