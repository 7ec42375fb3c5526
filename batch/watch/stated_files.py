"""What the manifests on a card say of its files: names and sizes, where all manifests are as they were made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from rushlight.batch.check.find_manifests import beside
from rushlight.batch.watch.card_files import CardFile
from rushlight.pipelines.errors import ManifestError
from rushlight.pipelines.manifests.chain import HISTORY

__all__ = ["manifests_among", "stated_sizes"]


def manifests_among(files: Sequence[CardFile]) -> tuple[CardFile, ...]:
    """The files of the histories (`ascmhl`) on a card: where they stay the same, so does what they say."""
    return tuple(file for file in files if HISTORY in file.name.split("/")[:-1])


def stated_sizes(folder: Path, manifests: Sequence[CardFile]) -> Mapping[str, int] | None:
    """Bytes by name of all files that the manifests on a card name. None where there are none, where one is not as its chain
    has it, and where one states no sizes: then nothing says that the card is complete."""
    folders = sorted({_above(file.name) for file in manifests if file.name.lower().endswith(".mhl")})
    if not folders:
        return None
    try:
        found = beside(folder, folders)
    except (OSError, ManifestError):
        return None
    if any(manifest.verdict != "intact" for manifest in found.manifests):
        return None
    sizes: dict[str, int] = {}
    for history in found.histories:
        for path, expected in history.files.items():
            if expected.size is None:
                return None
            sizes[history.outside(path)] = expected.size
    return sizes or None


def _above(name: str) -> str:
    """The folder that a history is of, from the name of one of its files."""
    return name.rpartition(f"{HISTORY}/")[0].rstrip("/")
