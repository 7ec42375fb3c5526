"""Colour checksums of graded pictures, taken before anything is drawn over them.

`rushlight-frames-1`: each frame's planes, row padding left out, hashed by XXH3-128; the digests in order of frame
hashed by SHA-256 under a header of state, raster and pixel format. Segments and workers are no part of it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
import xxhash
from numpy.typing import NDArray

from rushlight.pipelines.heartbeat import beat

__all__ = ["colour_digest", "file_hash", "frame_digest", "picture_digest"]


def frame_digest(planes: Sequence[NDArray[np.generic]]) -> str:
    """32 hex digits over one frame's planes."""
    state = xxhash.xxh3_128()
    for plane in planes:
        if plane.flags.c_contiguous:
            state.update(plane.data)
        else:
            state.update(np.ascontiguousarray(plane).data)
    return state.hexdigest()


def picture_digest(frames: Iterable[str], *, state: str, raster: str, pixel_format: str) -> str:
    """`rushlight-frames-1:<hex>` of a picture's frame digests in order."""
    whole = hashlib.sha256(f"rushlight-frames-1 {state} {raster} {pixel_format}\n".encode())
    for digest in frames:
        whole.update(bytes.fromhex(digest))
    return f"rushlight-frames-1:{whole.hexdigest()}"


def colour_digest(pictures: Mapping[str, str]) -> str:
    """`rushlight-colour-1:<hex>`: all pictures of a clip in one, by their names in order."""
    whole = hashlib.sha256(b"rushlight-colour-1\n")
    for name in sorted(pictures):
        whole.update(f"{name} {pictures[name]}\n".encode())
    return f"rushlight-colour-1:{whole.hexdigest()}"


def file_hash(path: Path) -> str:
    """`xxh3_128:<hex>` over the whole file, as the job record keeps it."""
    state = xxhash.xxh3_128()
    with path.open("rb", buffering=0) as stream:
        while block := stream.read(1 << 20):
            beat()
            state.update(block)
    return f"xxh3_128:{state.hexdigest()}"
