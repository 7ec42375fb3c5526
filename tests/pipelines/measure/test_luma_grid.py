"""Mean luma of a picture in sixteen cells."""

import numpy as np
import pytest

from rushlight.pipelines.measure.luma_grid import luma_grid


def test_luma_grid() -> None:
    luma = np.arange(8 * 12).reshape(8, 12).astype(np.uint8)
    wanted = [luma[2 * i : 2 * i + 2, 3 * j : 3 * j + 3].mean() for i in range(4) for j in range(4)]
    assert luma_grid(luma, (0, 0, 12, 8)) == pytest.approx(wanted)
    odd = np.random.default_rng(0).integers(0, 256, (45, 83)).astype(np.uint8)
    assert np.mean(luma_grid(odd, (0, 0, 83, 45))) == pytest.approx(odd.mean(), rel=0.02)


@pytest.mark.parametrize("box", [(0, 0, 33, 20), (8, 0, 32, 20), (0, 4, 32, 20), (-1, 0, 8, 8), (0, 0, 0, 8)])
def test_a_picture_outside_its_raster_is_not_measured(box: tuple[int, int, int, int]) -> None:
    with pytest.raises(ValueError, match="inside 32x20"):
        luma_grid(np.zeros((20, 32), np.uint8), box)
