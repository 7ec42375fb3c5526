"""The chart as a camera records it: its patches decode to the published values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

from rushlight.batch.doctor.chart_original import ACROSS, GAP, MARGIN, SIDE, SIZE, write_chart
from rushlight.pipelines.colour.camera_encodings import encodings
from rushlight.pipelines.colour.chart import PATCHES


@pytest.mark.parametrize("encoding", [e for e in encodings() if e.kind == "log"][::5], ids=lambda e: e.name)
def test_patches_are_the_published_ones(tmp_path: Path, encoding: object) -> None:
    from rushlight.pipelines.colour.camera_encodings import Encoding

    assert isinstance(encoding, Encoding)
    path = tmp_path / "chart.0001.dpx"
    write_chart(path, encoding)
    picture = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT)
    assert picture.shape == (SIZE[1], SIZE[0], 3)
    for number, patch in enumerate(PATCHES.values()):
        row, column = divmod(number, ACROSS)
        y, x = MARGIN[1] + row * (SIDE + GAP) + SIDE // 2, MARGIN[0] + column * (SIDE + GAP) + SIDE // 2
        light = encoding.decode(picture[y, x].astype(np.float64)) @ encoding.matrix_to_ap0.T
        assert light == pytest.approx(patch, rel=0.03, abs=0.004)  # 10 bits of log
