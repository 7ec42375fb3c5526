"""Colour checksums: of the pixels alone, in order, under their state and raster; and hashes of files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xxhash

from rushlight.pipelines.heartbeat import beats
from rushlight.pipelines.measure.checksum import colour_digest, file_hash, frame_digest, picture_digest

PLANE = np.arange(96, dtype=np.uint16).reshape(8, 12)
FRAMES = ("00" * 16, "11" * 16)
FORMAT = {"state": "graded", "raster": "1920x1080", "pixel_format": "yuv422p10le"}


def test_a_frame_is_its_pixels_without_padding() -> None:
    padded = np.zeros((8, 16), np.uint16)
    padded[:, :12] = PLANE
    assert (
        frame_digest([padded[:, :12]])
        == frame_digest([PLANE])
        == xxhash.xxh3_128(PLANE.tobytes()).hexdigest()
    )
    assert frame_digest([PLANE, PLANE[:4]]) != frame_digest([PLANE[:4], PLANE])
    changed = PLANE.copy()
    changed[7, 11] ^= 1
    assert frame_digest([changed]) != frame_digest([PLANE])


def test_a_picture_is_its_frames_in_order_and_what_they_are() -> None:
    whole = picture_digest(FRAMES, **FORMAT)
    assert whole.startswith("rushlight-frames-1:") and len(whole.partition(":")[2]) == 64
    assert picture_digest(iter(FRAMES), **FORMAT) == whole
    others = [picture_digest(FRAMES[::-1], **FORMAT), picture_digest(FRAMES[:1], **FORMAT)]
    others += [picture_digest(FRAMES, **{**FORMAT, key: "x"}) for key in FORMAT]
    assert len({whole, *others}) == 6


def test_a_clip_is_its_pictures_whatever_their_order() -> None:
    one = colour_digest({"a": "1", "b": "2"})
    assert one == colour_digest({"b": "2", "a": "1"})
    assert one != colour_digest({"a": "2", "b": "1"})
    assert one.startswith("rushlight-colour-1:")


def test_a_file_is_hashed_in_blocks_with_a_beat_each(tmp_path: Path) -> None:
    data = np.random.default_rng(1).bytes(2_500_000)
    (tmp_path / "file").write_bytes(data)
    before = beats()
    assert file_hash(tmp_path / "file") == f"xxh3_128:{xxhash.xxh3_128(data).hexdigest()}"
    assert beats() - before >= 3
