"""Originals held against their manifests: names and sizes first, then hashes, and one verdict on all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rushlight.batch.check.find_manifests import FoundManifest, FoundManifests, beside, named
from rushlight.batch.check.media_contents import Contents, contents_of
from rushlight.batch.check.read_hashes import verdicts_of
from rushlight.pipelines.manifests.chain import HISTORY
from rushlight.pipelines.manifests.verdicts import WORDS, FileVerdict, Word, by_names_and_sizes

__all__ = ["Checked", "Progress", "Whole", "check_media", "verdict_on_all"]

Whole = Literal["all match", "does not match", "manifest not intact", "nothing compared", "no manifest"]
SOUND = ("intact", "alone")


@dataclass(frozen=True, kw_only=True)
class Progress:
    """How far a check is: the file being read, bytes read, and the bytes of all files that are to be read."""

    path: str
    done: int
    bytes: int


@dataclass(frozen=True, kw_only=True)
class Checked:
    """Verdicts on some media: on all of it, with what to do in words, on each manifest and each file (the worst first)."""

    media: Path
    verdict: Whole
    text: str
    manifests: tuple[FoundManifest, ...]
    files: tuple[FileVerdict, ...]
    notes: tuple[str, ...] = ()

    @property
    def counts(self) -> dict[Word, int]:
        """Files of each verdict, the worst first."""
        return {word: sum(f.verdict == word for f in self.files) for word in WORDS}


def check_media(
    root: Path,
    manifest: Path | None = None,
    *,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Checked:
    """Hold all files below a folder against the manifests that lie there, or against the one that is named.

    Nothing is written. OptionError where the folder cannot be read, ManifestError where the manifest that was named is none.
    """
    contents = contents_of(root)
    found = beside(root, contents.histories) if manifest is None else named(root, manifest)
    if not found.manifests:
        return Checked(
            media=root,
            verdict="no manifest",
            text=_no_manifest(contents),
            manifests=(),
            files=_bare(contents),
        )
    verdicts, to_hash = by_names_and_sizes(contents.media, found.histories)
    whole = sum(file.size for file in to_hash)

    def tell(path: str, done: int) -> None:
        on_progress(Progress(path=path, done=done, bytes=whole))

    verdicts += verdicts_of(root, to_hash, on_bytes=tell)
    files = tuple(sorted(verdicts, key=lambda v: (WORDS.index(v.verdict), v.path)))
    verdict, text = verdict_on_all(found, files)
    return Checked(
        media=root, verdict=verdict, text=text, manifests=found.manifests, files=files, notes=found.notes
    )


def verdict_on_all(found: FoundManifests, files: tuple[FileVerdict, ...]) -> tuple[Whole, str]:
    """The verdict on all of it, and what it means."""
    words = {f.verdict for f in files} - {"matches", "ignored"}
    if words & {"differs", "missing", "cannot be read"}:
        text = "copy again what differs, is missing or cannot be read, while its source is still there"
        return "does not match", text
    if words:
        return (
            "does not match",
            "nothing says what the files were that no manifest names or has a usable hash of",
        )
    if any(each.verdict not in SOUND for each in found.manifests):
        return "manifest not intact", "ask whoever made the copy for the manifests as they were made"
    if not any(f.verdict == "matches" for f in files):
        return "nothing compared", "the manifests name no file that is here"
    return "all match", ""


def _bare(contents: Contents) -> tuple[FileVerdict, ...]:
    """Every file of media without a manifest."""
    verdicts, _ = by_names_and_sizes(contents.media, ())
    return tuple(sorted(verdicts, key=lambda v: (WORDS.index(v.verdict), v.path)))


def _no_manifest(contents: Contents) -> str:
    """What to do where no manifest was found."""
    if contents.loose:
        return f"{contents.loose[0]} lies here by itself: name it with --manifest"
    for above in contents.root.absolute().parents:
        if (above / HISTORY).is_dir():
            return f"{above} has one: check that folder"
    return f"there is no folder `{HISTORY}` in it; ask whoever made the copy for an ASC MHL 2.0 manifest"
