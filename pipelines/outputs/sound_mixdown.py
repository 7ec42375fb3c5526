"""Sound under an output's pictures: the original's channels copied, mapped or mixed down, or silence.

Mixing down to two gives the left side the odd channels and the right side the even ones, each at the mean of its
channels, which cannot clip: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import chain
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.originals.sound import channels_of, read_sound, samples_of
from rushlight.pipelines.outputs.production_sound import MOST_AAC, Production, production_under
from rushlight.pipelines.outputs.sound_tracks import Sound

__all__ = ["mixed", "sound_under"]

Block = NDArray[np.int32]


def sound_under(
    facts: Facts,
    *,
    first: int,
    count: int,
    rate: Fraction,
    sound: Literal["copy", "mix", "silent", "none"],
    channels: tuple[int, ...] = (),
    container: str,
    retimed: bool = False,
    card: int = 0,
    production: Production | None = None,
    named: tuple[str, ...] = (),
    camera_sound: bool = False,
) -> tuple[Sound | None, tuple[str, ...]]:
    """The sound of `count` frames from `first`, ahead of it the silence of `card` frames; and what is to be said of it.

    `channels` are the original's, from 1, in the order wanted; one that it does not have is silent and said. None where
    there is no sound to lay: an original without any has none, unless a silent track is asked for. A `retimed` one is
    silent, for its sound would not be in step. Tracks stay apart as the original's streams are, mapped ones where those
    are all mono. `production` sound stands in place of the camera's, whatever the clip's speed; with `camera_sound` the
    camera's is kept as further tracks of a MOV or MXF.
    """
    found = channels_of(facts)
    before, total = samples_of(card, rate), samples_of(first + count, rate) - samples_of(first, rate)
    if production and sound in ("copy", "mix"):
        keep = camera_sound and found and container != "mp4" and not retimed
        return production_under(
            production,
            total=total,
            before=before,
            lay=sound,
            channels=channels,
            tracks=named,
            container=container,
            camera=(found, read_sound(facts, first, count)) if keep else None,
        )
    if sound == "none" or (not found and sound != "silent"):
        return None, ()
    if sound == "silent" or retimed:
        return Sound(channels=2, samples=before + total, blocks=iter(())), ()
    said = []
    blocks = read_sound(facts, first, count)
    tracks = tuple(t.channels for t in facts.sound) if len(facts.sound) > 1 else ()
    if channels:
        absent = sorted({c for c in channels if c > found})
        if absent:
            listed = " and ".join(map(str, absent))
            said.append(f"the recipe asks for sound channel {listed}; the original has {found}: silent there")
        blocks, found = _picked(blocks, channels), len(channels)
        tracks = (1,) * found if set(tracks) == {1} else ()
    if sound == "mix" or (container == "mp4" and found > MOST_AAC):
        if sound != "mix":
            said.append(f"{found} sound channels are more than an MP4 takes ({MOST_AAC}): mixed down to two")
        blocks, found, tracks = map(mixed, blocks), 2, ()
    silence = [np.zeros((found, before), np.int32)] if before else []
    return Sound(channels=found, samples=before + total, blocks=chain(silence, blocks), tracks=tracks), tuple(
        said
    )


def _picked(blocks: Iterator[Block], channels: tuple[int, ...]) -> Iterator[Block]:
    for block in blocks:
        silent = np.zeros(block.shape[1], np.int32)
        yield np.stack([block[c - 1] if c <= len(block) else silent for c in channels])


def mixed(block: Block) -> Block:
    """Samples (channels, n) as two channels (2, n); one channel stands on both sides."""
    wide = block.astype(np.int64)
    left, right = wide[0::2], wide[1::2] if len(wide) > 1 else wide
    return np.stack([left.sum(0) // len(left), right.sum(0) // len(right)]).astype(np.int32)
