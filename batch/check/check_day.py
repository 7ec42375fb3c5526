"""All media of a day held against its manifests: those that lie in the media, those that the day names, or both; each file is read once."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rushlight.batch.check.check_media import Checked, Progress, verdict_on_all
from rushlight.batch.check.clip_originals import AUTO, ClipOriginals, of_each_file
from rushlight.batch.check.find_manifests import FoundManifest, FoundManifests, beside, named
from rushlight.batch.check.media_contents import Contents, contents_of
from rushlight.batch.check.read_hashes import verdicts_of
from rushlight.pipelines.manifests.verdicts import WORDS, FileVerdict, ToHash, by_names_and_sizes

__all__ = ["check_day"]

NO_MANIFEST = "ask whoever made the copies for an ASC MHL 2.0 manifest of each"


def check_day(
    day: Path,
    media: Sequence[Path],
    given: Sequence[str],
    *,
    notes: Sequence[str] = (),
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Checked:
    """Hold all files below the media folders of a day against manifests: `given` are paths, and `auto` for those that lie in the media.

    A media folder that is not there, and a manifest of whose files none is there, count as missing. Paths are given from the folder of the
    day's document. Nothing is written. OptionError where a folder cannot be read, ManifestError where a manifest is none.
    """
    roots = [Path(os.path.abspath(folder)) for folder in media]
    there = [root for root in dict.fromkeys(roots) if root.is_dir()]
    held = _Held(there, [Path(os.path.abspath(each)) for each in given if each != AUTO], auto=AUTO in given)
    for root in roots:
        if root not in there:
            held.missing(root, "a media folder of the day is not there")
    return _checked(day, held, notes, on_progress)


@dataclass
class _Held:
    """The media folders by names and sizes, with paths from the root of the file system."""

    roots: Sequence[Path]
    manifests: Sequence[Path]
    auto: bool
    verdicts: list[FileVerdict] = field(default_factory=list)
    to_hash: dict[str, ToHash] = field(default_factory=dict)
    found: list[FoundManifest] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        contents = [contents_of(root) for root in self.roots]
        for each in contents:
            self.hold(each, beside(each.root, each.histories) if self.auto else FoundManifests())
        files = [each.root / file.path for each in contents for file in each.media.files]
        folders = ClipOriginals(given=(), originals=files, folders=self.roots)
        for manifest in self.manifests:
            if root := folders.root_of(manifest):
                self.hold(contents_of(root), named(root, manifest))
            else:
                self.missing(manifest, "of the files that this manifest names none is in the day's media")

    def hold(self, contents: Contents, found: FoundManifests) -> None:
        """One folder against the histories that are of it."""
        root, own = contents.root, set(self.manifests)
        verdicts, to_hash = by_names_and_sizes(contents.media, found.histories)
        self.verdicts += [
            replace(v, path=_from_top(root, v.path)) for v in verdicts if root / v.path not in own
        ]
        for file in to_hash:
            path = _from_top(root, file.path)
            before = self.to_hash.get(path)
            expected = (*(before.expected if before else ()), *file.expected)
            self.to_hash[path] = replace(file, path=path, expected=expected)
        self.found += [replace(m, path=str(root / m.path)) for m in found.manifests]
        self.notes += found.notes

    def missing(self, path: Path, text: str) -> None:
        """Something that should be there is not."""
        self.verdicts.append(FileVerdict(path=str(path)[1:], verdict="missing", text=text))


def _checked(
    day: Path, held: _Held, notes: Sequence[str], on_progress: Callable[[Progress], None]
) -> Checked:
    base = Path(os.path.abspath(day)).parent
    to_hash = list(held.to_hash.values())
    whole = sum(file.size for file in to_hash)

    def tell(path: str, done: int) -> None:
        on_progress(Progress(path=_from(base, path), done=done, bytes=whole))

    verdicts = of_each_file([*held.verdicts, *verdicts_of(Path("/"), to_hash, on_bytes=tell)])
    files = tuple(
        replace(verdict, path=_from(base, verdict.path))
        for verdict in sorted(verdicts, key=lambda v: (WORDS.index(v.verdict), v.path))
    )
    manifests = tuple(dict.fromkeys(replace(m, path=_from(base, m.path[1:])) for m in held.found))
    verdict, text = verdict_on_all(FoundManifests(manifests=manifests), files)
    if not manifests and not any(file.verdict == "missing" for file in files):
        verdict, text = "no manifest", NO_MANIFEST
    said = tuple(dict.fromkeys([*notes, *held.notes]))
    return Checked(media=day, verdict=verdict, text=text, manifests=manifests, files=files, notes=said)


def _from_top(root: Path, path: str) -> str:
    """A path below a folder, from the root of the file system; of a folder with `/` at its end, as it was."""
    return f"{root}/{path}"[1:]


def _from(base: Path, path: str) -> str:
    """A path from the root of the file system as people read it: from the day's folder, or whole where it is not below it."""
    return f"/{path}".removeprefix(f"{base}/")
