"""Fitting: where the picture sits, and resampling that neither aliases nor shifts chroma."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictures import frame_of, texture
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.pixels import find_pixel_format, planes
from rushlight.pipelines.raster import Fit, Fitter, Placement, Rect, placement


def box(p: Placement) -> tuple[int, int, int, int]:
    return p.x, p.y, p.width, p.height


@pytest.mark.parametrize(
    ("fit", "source", "wanted"),
    [
        (Fit(width=1920, height=1080), (3840, 2160), (0, 0, 1920, 1080)),
        (Fit(width=1920, height=1080), (4096, 1716), (0, 138, 1920, 804)),
        (Fit(width=1920, height=1080), (1440, 1080), (240, 0, 1440, 1080)),
        (Fit(width=1920, height=1080, desqueeze=2), (2880, 2160), (0, 180, 1920, 720)),
        (Fit(width=1920, height=1080, mode="stretch"), (1440, 1080), (0, 0, 1920, 1080)),
        (Fit(width=1920, height=1080, mode="fill"), (4096, 1716), (0, 0, 1920, 1080)),
    ],
)
def test_placement(fit: Fit, source: tuple[int, int], wanted: tuple) -> None:
    assert box(placement(fit, *source)) == wanted


def test_fill_crops_the_middle_and_pixel_aspect_counts() -> None:
    crop = placement(Fit(width=1920, height=1080, mode="fill"), 4096, 1716).crop
    assert (crop.width, crop.height, crop.x, crop.y) == (3050, 1716, 524, 0)
    assert box(placement(Fit(width=1920, height=1080), 1440, 1080, pixel_aspect=Fraction(4, 3))) == (
        0,
        0,
        1920,
        1080,
    )


def test_an_area_outside_the_picture_is_refused() -> None:
    with pytest.raises(RecipeError, match="outside"):
        placement(Fit(width=64, height=36, extraction=Rect(x=10, y=0, width=100, height=50)), 100, 60)


@given(
    st.integers(32, 9000),
    st.integers(32, 5000),
    st.sampled_from(["pad", "fill", "stretch"]),
    st.floats(0.5, 2),
)
def test_everything_is_even_and_inside(width: int, height: int, mode: str, squeeze: float) -> None:
    place = placement(Fit(width=1280, height=720, mode=mode, desqueeze=squeeze), width, height)  # type: ignore[arg-type]
    assert all(v % 2 == 0 for v in box(place))
    assert place.x >= 0 and place.x + place.width <= 1280 and place.y >= 0 and place.y + place.height <= 720
    assert place.crop.x >= 0 and place.crop.x + place.crop.width <= width + 1


def fitter(name: str, fit: Fit, width: int, height: int) -> Fitter:
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    return Fitter(fit, pixel_format, placement(fit, width, height))


def test_equal_size_is_the_frame_itself() -> None:
    frame = texture("yuv422p10le", 64, 36)
    assert fitter("yuv422p10le", Fit(width=64, height=36), 64, 36).fit(frame) is frame


@pytest.mark.parametrize(
    ("flip", "flop", "rotate"), [(True, False, 0), (False, True, 0), (False, False, 180), (True, True, 180)]
)
def test_mirrors(flip: bool, flop: bool, rotate: int) -> None:
    frame = texture("yuv444p10le", 32, 16)
    out = fitter("yuv444p10le", Fit(width=32, height=16, flip=flip, flop=flop, rotate=rotate), 32, 16).fit(
        frame
    )  # type: ignore[arg-type]
    luma = planes(frame)[0]
    luma = luma[::-1] if flip != (rotate == 180) else luma
    luma = luma[:, ::-1] if flop != (rotate == 180) else luma
    assert np.abs(planes(out)[0].astype(int) - luma).max() <= 1


@pytest.mark.parametrize("name", ["yuv422p10le", "yuv420p10le"])
def test_chroma_does_not_shift(name: str) -> None:
    """An edge at the same place in luma and co-sited chroma stays together after halving: within 0.05 pixel."""
    width, height = 512, 32
    ramp = np.clip((np.arange(width) - 255.0) / 24, -1, 1)
    luma = np.tile(np.rint(500 + 200 * ramp), (height, 1))
    chroma = np.rint(512 + 200 * ramp[::2])
    rows = height // (2 if "420" in name else 1)
    frame = frame_of(name, luma, np.tile(chroma, (rows, 1)), np.tile(chroma, (rows, 1)))
    out = planes(fitter(name, Fit(width=256, height=16), width, height).fit(frame))
    places = [np.interp(v, p[8].astype(float), np.arange(256)) for p, v in ((out[0], 500), (out[1], 512))]
    assert abs(places[0] - places[1]) < 0.05


def test_no_aliasing_on_a_zone_plate() -> None:
    """Detail too fine for the smaller raster becomes grey: under 5 % of its contrast is left."""
    y, x = np.mgrid[0:512, 0:512].astype(float)
    radius = np.hypot(x - 256, y - 256)
    zone = 512 + 400 * np.cos(np.pi * radius**2 / 512)
    flat = np.full((512, 512), 512.0)
    frame = frame_of("yuv444p10le", np.rint(zone), flat, flat)
    out = planes(fitter("yuv444p10le", Fit(width=256, height=256), 512, 512).fit(frame))[0].astype(float)
    small = np.hypot(*(np.mgrid[0:256, 0:256] - 127.75))
    beyond = (small > 90) & (small < 120)
    inside = small < 30
    assert out[beyond].std() < 0.12 * out[inside].std()


def test_flat_stays_flat_in_every_format() -> None:
    for name in ("yuv420p", "yuv422p10le", "yuv444p12le", "gbrp10le", "gbrp16le", "gbrpf32le"):
        pixel_format = find_pixel_format(name)
        assert pixel_format is not None
        value = 0.4 if pixel_format.is_float else 0.4 * (1 << pixel_format.bits)
        shapes = [
            (36, 64),
            (36 // pixel_format.sub_y, 64 // pixel_format.sub_x),
            (36 // pixel_format.sub_y, 64 // pixel_format.sub_x),
        ]
        frame = frame_of(name, *(np.full(s, value).astype(pixel_format.dtype) for s in shapes))
        out = planes(fitter(name, Fit(width=32, height=18), 64, 36).fit(frame))
        for plane in out:
            assert np.abs(plane.astype(float) - np.float64(pixel_format.dtype.type(value))).max() <= {
                32: 1e-5,
                16: 3,
            }.get(pixel_format.bits, 1), name


def test_float_keeps_what_exceeds_one() -> None:
    value = np.full((36, 64), 1.37, np.float32)
    out = planes(
        fitter("gbrpf32le", Fit(width=32, height=18, flip=True), 64, 36).fit(
            frame_of("gbrpf32le", value, value, value)
        )
    )
    assert out[0] == pytest.approx(np.full((18, 32), 1.37), abs=1e-6)


@pytest.mark.parametrize(("colorspace", "color_range"), [(1, 1), (1, 2), (5, 1), (9, 1), (2, 0)])
@pytest.mark.parametrize("name", ["yuv422p10le", "yuv420p", "yuv444p12le"])
def test_tags_change_no_code(name: str, colorspace: int, color_range: int) -> None:
    """A saturated flat colour keeps its three codes through a resize, whatever its frame is tagged."""
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    unit = 1 << (pixel_format.bits - 8)
    shape = (36 // pixel_format.sub_y, 64 // pixel_format.sub_x)
    frame = frame_of(
        name, np.full((36, 64), 63 * unit), np.full(shape, 102 * unit), np.full(shape, 240 * unit)
    )
    frame.colorspace, frame.color_range = colorspace, color_range
    for width, height in ((32, 18), (128, 72)):
        out = planes(fitter(name, Fit(width=width, height=height), 64, 36).fit(frame))
        for plane, code in zip(out, (63, 102, 240), strict=True):
            assert np.abs(plane.astype(int) - code * unit).max() <= 1
