"""What an original's pictures are like, gathered by segment and put together."""

import numpy as np
import pytest

from pictures import frame_of, texture
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.measure.original_baseline import Baseline, at_top, original_of, runs

# Signals of no light: LogC3 at EI 800 (ARRI, "ALEXA Log C Curve"), ACEScct (AMPAS S-2016-001)
LOGC3, ACESCCT = 0.092809, 0.0729055


def gathered(name: str, frames: list, missing: set[int] = frozenset()) -> Baseline:
    found = find_pixel_format(name)
    assert found is not None
    levels = "narrow" if found.family == "ycbcr" else "full"
    base = Baseline(pixel_format=found, levels=levels, matrix=1)  # type: ignore[arg-type]
    for number, frame in enumerate(frames):
        base.note(frame, missing=number in missing, sampled=number == 0)
    return base


def flat(code: float) -> object:
    y, c = np.full((90, 160), code), np.full((90, 80), 512)
    return frame_of("yuv422p10le", y, c, c)


def test_black_repeated_and_missing_over_the_joint_of_segments() -> None:
    black = 64 + 876 * 0.0928  # LogC3 of no light, in narrow codes
    frames = [texture("yuv422p10le", 160, 90, k) for k in range(4)]
    first = gathered("yuv422p10le", [frames[0], flat(black), flat(black + 9), frames[1]])
    second = gathered("yuv422p10le", [frames[1], frames[2], frames[2], flat(300)], missing={2})
    found = original_of([first, second], LOGC3)
    assert found["black"] == [[1, 2]]
    assert found["repeated"] == [[4, 4]]  # the first of the second segment repeats the last of the first
    assert found["held"] == [[6, 6]]  # a frame held in place of a missing one is not the original's own
    assert 0 < found["clipped"] < 0.2
    assert original_of([], 0.0) == {}


def test_float_and_rgb_originals() -> None:
    dark, red = np.full((90, 160), 0.0729, np.float32), np.full((90, 160), 0.5, np.float32)
    frames = [frame_of("gbrpf32le", dark, dark, dark), frame_of("gbrpf32le", red, dark, dark)]
    assert original_of([gathered("gbrpf32le", frames)], ACESCCT)["black"] == [[0, 0]]
    codes = np.full((90, 160), 95)
    frames = [frame_of("gbrp10le", codes, codes, codes), frame_of("gbrp10le", codes, codes, codes + 200)]
    assert original_of([gathered("gbrp10le", frames)], LOGC3)["black"] == [[0, 0]]


@pytest.mark.parametrize(("name", "height"), [("yuv422p10le", 1082), ("yuv420p", 2162), ("gbrp10le", 1081)])
def test_large_pictures_are_thinned_by_rows(name: str, height: int) -> None:
    frame = texture(name, 160, height, 1)
    views = planes(frame)
    light = views[0] if name.startswith("yuv") else np.max(views, axis=0)
    thin = light[:: height // 540].astype(np.float64)
    edges = [-(-k * thin.shape[0] // 4) for k in range(5)]
    wanted = [thin[edges[i] : edges[i + 1], 40 * j : 40 * j + 40].mean() for i in range(4) for j in range(4)]
    found = gathered(name, [frame])
    unit, zero = {"yuv422p10le": (876, 64), "yuv420p": (219, 16), "gbrp10le": (1023, 0)}[name]
    assert found.grids[0] == pytest.approx([(mean - zero) / unit for mean in wanted], abs=1e-5)


def test_a_flat_top_counts_as_clipped() -> None:
    rgb = np.random.default_rng(0).uniform(0.1, 0.6, (100, 100, 3))
    assert at_top(rgb) < 0.03
    rgb[:30, :, 1] = 0.8
    assert at_top(rgb) == pytest.approx(0.3)
    rgb[50:] = np.nan
    assert at_top(rgb) == pytest.approx(0.3)


def test_runs() -> None:
    assert runs([]) == [] and runs([0, 0]) == []
    assert runs([1, 1, 0, 1, 0, 0, 1]) == [[0, 1], [3, 3], [6, 6]]
