"""Which card is it? Told by what the camera recorded: names, sizes and the ends of its originals. Folders and volumes are renamed, and
their names come again with every card that is formatted."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import xxhash

from rushlight.batch.watch.card_files import CardFile, is_original
from rushlight.pipelines.heartbeat import beat

__all__ = ["CardKey", "key_of_card"]

END = 1 << 16  # bytes of each end
HEAD = 1 << 12  # bytes: names and times as they were recorded; a copy writes them first and never again
MOST = 256  # originals whose ends are read, evenly spread: a sequence is a file a frame


@dataclass(frozen=True, kw_only=True)
class CardKey:
    """What tells a card from any other: `whole` changes with any original on it, `head` (of the original `first`) only where it
    is another card in a folder of that name, or one that was formatted and used again."""

    whole: str
    first: str
    head: str


def key_of_card(folder: Path, files: Sequence[CardFile], first: str = "") -> CardKey:
    """The key of a card that is complete; `first` is the original that `head` is of, where it is there. OSError where one cannot
    be read."""
    ours = [
        file for file in files if is_original(file.name) and not os.path.basename(file.name).startswith(".")
    ]
    names = [file.name for file in ours]
    if first not in names:
        first = names[0] if names else ""
    state = xxhash.xxh3_128()
    for file in ours:
        state.update(f"{file.name}\0{file.size}\0".encode("utf-8", "surrogateescape"))
    for file in ours[:: max(1, -(-len(ours) // MOST))]:
        beat()
        state.update(_ends(folder / file.name, file.size))
    head = xxhash.xxh3_128_hexdigest(_ends(folder / first, 0)[:HEAD]) if first else ""
    return CardKey(whole=state.hexdigest(), first=first, head=head)


def _ends(path: Path, size: int) -> bytes:
    """The beginning of a file and, where `size` goes beyond it, its end."""
    with path.open("rb", buffering=0) as stream:
        start = stream.read(END)
        if size <= END:
            return start
        stream.seek(max(END, size - END))
        return start + stream.read(END)
