"""A delivered track of sound against what it should be: sample by sample, in decibels, or by level and offset."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Difference", "difference", "lossy_difference"]

FULL = 2.0**31
QUIET = FULL * 1e-4  # -80 dB: a stretch without sound has no level and no place
STRETCH = 1 << 16  # samples that are looked at for a lossy codec's offset
MOST = 4096  # samples of offset that are looked for: AAC's encoders are ahead by 1024 to 2112
Block = NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class Difference:
    """`changed` samples (of 24 bits) of `samples`, the first of them at `first`; `error_db`: the power of the difference over
    that of the sound, None where there is no sound."""

    samples: int
    changed: int
    first: int | None
    error_db: float | None
    length: int  # samples that the delivered file has


def difference(wanted: Iterable[Block], found: Iterable[Block]) -> Difference:
    """Two streams of blocks (channels, samples) as 24-bit codes. Memory is a block."""
    samples = changed = length = 0
    first: int | None = None
    signal = error = 0.0
    rest = _Rest(found)
    for block in wanted:
        other = rest.take(block.shape[1])
        a, b = (x.astype(np.int64) >> 8 for x in (block, other))
        rows = a != b[: len(a)] if len(b) >= len(a) else np.ones(a.shape, bool)
        if rows.any():
            changed += int(rows.sum())
            first = samples + int(np.argmax(rows.any(axis=0))) if first is None else first
        if len(b) >= len(a):
            error += float(((a - b[: len(a)]).astype(np.float64) ** 2).sum())
        signal += float((a.astype(np.float64) ** 2).sum())
        samples += block.shape[1]
    length = rest.taken
    ratio = None if signal == 0 else 10 * float(np.log10(max(error, 1e-9) / signal))
    return Difference(samples=samples, changed=changed, first=first, error_db=ratio, length=length)


class _Rest:
    """Blocks given out in other lengths, silence after their end."""

    def __init__(self, blocks: Iterable[Block]) -> None:
        self.blocks = iter(blocks)
        self.rest: Block | None = None
        self.taken = 0

    def take(self, size: int) -> Block:
        parts, have = ([self.rest], self.rest.shape[1]) if self.rest is not None else ([], 0)
        while have < size and (block := next(self.blocks, None)) is not None:
            parts.append(block)
            have += block.shape[1]
        self.taken += min(have, size)
        if have < size:
            parts.append(np.zeros((len(parts[0]) if parts else 1, size - have), np.int32))
        whole = np.concatenate(parts, axis=1)
        self.rest = whole[:, size:]
        return whole[:, :size]


def lossy_difference(wanted: Block, found: Block) -> tuple[int, float] | None:
    """Samples by which one channel of `found` is late against `wanted` (both 1-D, of one stretch) and its level in dB over the
    other's; None where there is too little sound to tell."""
    count = min(len(wanted), len(found), STRETCH)
    a, b = (x[:count].astype(np.float64) for x in (wanted, found))
    if count < MOST or np.sqrt(np.mean(a**2)) < QUIET:
        return None
    size = 1 << int(np.ceil(np.log2(2 * count)))
    cross = np.fft.irfft(np.fft.rfft(b, size) * np.conj(np.fft.rfft(a, size)), size)
    values = np.concatenate([cross[-MOST:], cross[: MOST + 1]])
    level = 10 * float(np.log10(max(float(np.mean(b**2)), 1e-9) / float(np.mean(a**2))))
    return int(np.argmax(values)) - MOST, level
