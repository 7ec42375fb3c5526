"""Plane views are views, in the stated order."""

import numpy as np
import pytest

from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes


@pytest.mark.parametrize(
    ("name", "shapes"),
    [
        ("yuv422p10le", [(6, 10), (6, 5), (6, 5)]),
        ("yuv420p", [(6, 10), (3, 5), (3, 5)]),
        ("yuva444p12le", [(6, 10)] * 3),
        ("gbrpf32le", [(6, 10)] * 3),
    ],
)
def test_shapes_and_types(name: str, shapes: list[tuple[int, int]]) -> None:
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    views = planes(new_frame(pixel_format, 10, 6))
    assert [v.shape for v in views] == shapes
    assert all(v.dtype == pixel_format.dtype for v in views)


def test_views_write_through_and_rgb_is_in_rgb_order() -> None:
    pixel_format = find_pixel_format("gbrp")
    assert pixel_format is not None
    frame = new_frame(pixel_format, 4, 2)
    for value, view in zip((10, 20, 30), planes(frame), strict=True):
        view[:] = value
    assert frame.to_ndarray(format="rgb24")[0, 0].tolist() == [10, 20, 30]


def test_unknown_formats_are_none() -> None:
    assert find_pixel_format("pal8") is None
    assert np.dtype(np.uint8) == find_pixel_format("yuvj420p").dtype  # type: ignore[union-attr]
