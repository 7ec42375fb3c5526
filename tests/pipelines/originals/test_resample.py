"""Resampling of float pictures, against the sum written out, OpenImageIO's, and what the filter is known to keep."""

import numpy as np
import OpenImageIO as oiio
import pytest

from rushlight.pipelines.originals.resample import resampled

SIZES = [
    ((72, 128), (54, 96)),
    ((48, 64), (72, 128)),
    ((108, 192), (54, 96)),
    ((33, 47), (17, 90)),
    ((7, 5), (3, 9)),
]


def written_out(line: np.ndarray, target: int) -> np.ndarray:
    """One line by the definition: Keys 1981, equation 15, stretched where the line gets shorter."""
    source = len(line)
    scale = max(1.0, source / target)
    found = []
    for k in range(target):
        centre = (k + 0.5) * source / target - 0.5
        total = weights = 0.0
        for place in range(int(np.floor(centre - 2 * scale)), int(np.ceil(centre + 2 * scale)) + 1):
            x = abs(place - centre) / scale
            weight = (
                1.5 * x**3 - 2.5 * x**2 + 1 if x < 1 else -0.5 * x**3 + 2.5 * x**2 - 4 * x + 2 if x < 2 else 0
            )
            total += weight * line[min(max(place, 0), source - 1)]
            weights += weight
        found.append(total / weights)
    return np.array(found)


@pytest.mark.parametrize(("source", "target"), SIZES)
def test_each_line_is_the_sum_written_out(source: tuple[int, int], target: tuple[int, int]) -> None:
    picture = np.random.default_rng(0).uniform(-0.2, 3, source).astype(np.float32)
    columns = np.array([written_out(column, target[0]) for column in picture.T.astype(np.float64)]).T
    exact = np.array([written_out(row, target[1]) for row in columns])
    assert resampled(picture, *target) == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize(("source", "target"), SIZES)
def test_it_is_openimageios_filter(source: tuple[int, int], target: tuple[int, int]) -> None:
    """Within what its places in single precision allow."""
    picture = np.random.default_rng(1).random((*source, 1), np.float32)
    area = oiio.ROI(0, target[1], 0, target[0], 0, 1, 0, 1)
    other = oiio.ImageBufAlgo.resize(oiio.ImageBuf(picture), filtername="catmull-rom", roi=area)
    assert resampled(picture[..., 0], *target) == pytest.approx(
        other.get_pixels(oiio.FLOAT)[..., 0], abs=1e-4
    )


def test_flat_stays_flat_and_a_ramp_a_ramp() -> None:
    flat = np.full((20, 30), 0.18, np.float32)
    assert (resampled(flat, 11, 47) == np.float32(0.18)).all()
    ramp = np.tile(np.arange(64, dtype=np.float32), (8, 1))
    middle = resampled(ramp, 8, 128)[:, 8:-8]
    assert middle == pytest.approx(np.tile((np.arange(128) + 0.5) / 2 - 0.5, (8, 1))[:, 8:-8], abs=1e-5)


def test_its_own_size_is_itself() -> None:
    picture = np.random.default_rng(2).uniform(-1, 60000, (9, 13)).astype(np.float32)
    assert (resampled(picture, 9, 13) == picture).all()


def test_nan_and_infinity_spread_no_further_than_the_filter() -> None:
    picture = np.zeros((40, 40), np.float32)
    picture[20, 20] = np.nan
    assert np.isnan(resampled(picture, 20, 20)).sum() <= 25
    picture[20, 20] = np.inf
    assert np.isfinite(resampled(picture, 20, 20)).sum() >= 375
