"""A PNG in memory is one that others read to the code."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

from rushlight.pipelines.outputs.png_bytes import png_bytes


@pytest.mark.parametrize("size", [(1, 1), (7, 13), (256, 255)])
def test_another_reader_gets_every_code(size: tuple[int, int], tmp_path: Path) -> None:
    rgb = np.random.default_rng(1).uniform(-0.2, 1.2, (*size, 3))
    rgb[0, 0] = np.nan
    data = png_bytes(rgb)
    assert data == png_bytes(rgb)
    (tmp_path / "a.png").write_bytes(data)
    seen = oiio.ImageBuf(str(tmp_path / "a.png")).get_pixels(oiio.UINT8)
    wanted = np.rint(np.clip(np.nan_to_num(rgb), 0, 1) * 255).astype(np.uint8)
    assert (seen == wanted).all() and seen.shape == (*size, 3)
