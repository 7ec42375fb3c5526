"""Production sound under an output's pictures: which of a take's tracks, in which order, and the camera's beside them.

Tracks are copied or picked, never mixed and never made louder or quieter: an output that asks for a mix gets the tracks that
are called so, else the first two, which is where recorders put their mix (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from fractions import Fraction
from itertools import chain
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.counted import counted
from rushlight.pipelines.outputs.sound_tracks import Sound
from rushlight.pipelines.sound.take import Take
from rushlight.pipelines.sound.take_samples import played

__all__ = ["MOST_AAC", "Production", "production_under", "track_label"]

MOST_AAC = 8  # channels that an MP4 carries, a track each
MOST_NAME = 60  # characters of a track's name in a delivered file
Block = NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class Production:
    """A take, and where it lies under the clip: delivered sample k is its sample `start` + k x `step`."""

    take: Take
    start: Fraction
    step: Fraction

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(track_label(t.name, t.place) for t in self.take.tracks)


def track_label(name: str, place: int) -> str:
    """Label of a track in a delivered file: its name, shortened, else its number."""
    return name[:MOST_NAME].strip() or f"track {place}"


def production_under(
    production: Production,
    *,
    total: int,
    before: int,
    lay: Literal["copy", "mix"],
    channels: Sequence[int] = (),
    tracks: Sequence[str] = (),
    container: str,
    camera: tuple[int, Iterator[Block]] | None = None,
) -> tuple[Sound, tuple[str, ...]]:
    """`total` samples of a take after `before` of silence, and what is to be said of it.

    `tracks` are names, `channels` numbers from 1, in the order wanted; all without either. A number that it does not have is
    silent, a name is left out, and both are said. `camera`: channels and blocks of the camera's sound, kept as further tracks.
    """
    names, said = production.names, list[str]()
    picked = _picked(production, channels, tracks, said)
    if lay == "mix" or (container == "mp4" and len(picked) > MOST_AAC):
        if lay != "mix":
            said.append(
                f"{len(picked)} sound tracks are more than an MP4 takes ({MOST_AAC}): its mix alone is laid"
            )
        picked, camera = _mix(picked, names), None
    source = played(production.take, production.start, production.step, total)
    blocks: Iterator[Block] = (_rows(block, picked) for block in source)
    labels = tuple(names[p - 1] if p <= len(names) else f"track {p}" for p in picked)
    if camera is not None:
        count, theirs = camera
        blocks = _beside(blocks, theirs, count)
        labels += tuple(f"camera {k}" for k in range(1, count + 1))
    silence = [np.zeros((len(labels), before), np.int32)] if before else []
    each = () if lay == "mix" or container == "mp4" else (1,) * len(labels)
    sound = Sound(
        channels=len(labels), samples=before + total, blocks=chain(silence, blocks), tracks=each, names=labels
    )
    return sound, tuple(said)


def _picked(
    production: Production, channels: Sequence[int], tracks: Sequence[str], said: list[str]
) -> list[int]:
    """The take's tracks that an output wants, by number."""
    names, found = production.names, list[int]()
    absent = []
    for wanted in tracks:
        fitting = [k for k, n in enumerate(names, 1) if fnmatchcase(n.casefold(), wanted.casefold())]
        found += [k for k in fitting if k not in found]
        absent += [] if fitting else [wanted]
    if absent:
        there = ", ".join(names)
        said.append(
            f"the recipe asks for sound track {' and '.join(absent)}; {production.take.name} has {there}: left out"
        )
    if tracks:
        return found or list(range(1, len(names) + 1))
    if missing := sorted({c for c in channels if c > len(names)}):
        listed = " and ".join(map(str, missing))
        said.append(
            f"the recipe asks for sound channel {listed}; the take has {counted(len(names), 'track')}: silent there"
        )
    return list(channels) or list(range(1, len(names) + 1))


def _mix(picked: Sequence[int], names: Sequence[str]) -> list[int]:
    """Two tracks as the mix: those called so, else the first two; one alone stands on both sides."""
    called = [p for p in picked if p <= len(names) and "mix" in names[p - 1].casefold()]
    pair = (called or list(picked))[:2]
    return pair if len(pair) == 2 else pair * 2


def _rows(block: Block, picked: Sequence[int]) -> Block:
    silent = np.zeros(block.shape[1], np.int32)
    return np.stack([block[p - 1] if p <= len(block) else silent for p in picked])


def _beside(ours: Iterator[Block], theirs: Iterator[Block], count: int) -> Iterator[Block]:
    """Two streams of blocks of unlike lengths, side by side; the second is silent where it ends first."""
    rest = np.zeros((count, 0), np.int32)
    for block in ours:
        while rest.shape[1] < block.shape[1]:
            piece = next(theirs, None)
            if piece is None:
                piece = np.zeros((count, block.shape[1] - rest.shape[1]), np.int32)
            rest = np.concatenate([rest, piece], axis=1)
        yield np.concatenate([block, rest[:, : block.shape[1]]], axis=0)
        rest = rest[:, block.shape[1] :]
