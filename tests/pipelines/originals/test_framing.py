"""Fitting: where the picture sits, and resampling that neither aliases nor shifts chroma."""

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pictures import frame_of, texture
from rushlight.pipelines.errors import RecipeError, SourceError
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, planes
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.originals.framing import Fit, Fitter, Placement, Rect, placement


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
    assume(mode != "pad" or 0.03 < width * squeeze / height < 140)  # the rest would be a sliver
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


def sites(pixel_format: PixelFormat, plane: int, siting: str, width: int, height: int) -> tuple[Any, Any]:
    """Where a plane's samples sit, in pixels of luma: across (w,) and down (h, 1)."""
    sub_x, sub_y = (pixel_format.sub_x, pixel_format.sub_y) if plane else (1, 1)
    across = sub_x * np.arange(width // sub_x) + (0 if siting != "centre" else (sub_x - 1) / 2)
    down = sub_y * np.arange(height // sub_y) + (0 if siting == "top-left" else (sub_y - 1) / 2)
    return across, down[:, None]


def wave(across: Any, down: Any, plane: int) -> Any:
    return 128 + 80 * np.sin(2 * np.pi * across / 97 + plane) * np.cos(2 * np.pi * down / 89 + plane * 0.7)


def shift_of(plane: Any, at: tuple[Any, Any], k: int, wide: float, high: float) -> Any:
    """How far right and down of its due place the wave lies in a resized plane, in pixels of its luma: least squares
    over the inner three quarters, level and contrast left open."""

    def due(dx: float, dy: float) -> Any:
        return wave((at[0] + dx + 0.5) * wide - 0.5, (at[1] + dy + 0.5) * high - 0.5, k)

    height, width = plane.shape
    inner = slice(height // 8, -height // 8), slice(width // 8, -width // 8)
    base, step = due(0, 0), 1e-3
    parts = [(due(step, 0) - base) / step, (due(0, step) - base) / step, base - base.mean(), base * 0 + 1]
    matrix = np.stack([part[inner].ravel() for part in parts], 1)
    values = plane.astype(float)[inner].ravel()
    unit = values.mean() / base[inner].mean()
    return np.linalg.lstsq(matrix, values / unit - base[inner].ravel(), rcond=None)[0][:2]


CASES = [
    ("yuv422p10le", "left"),
    ("yuv420p10le", "left"),
    ("yuv420p10le", "top-left"),
    ("yuv420p", "left"),
    ("yuvj420p", "centre"),
    ("yuvj422p", "centre"),
]


@pytest.mark.parametrize(("name", "siting"), CASES)
@pytest.mark.parametrize(
    "target", ["yuv422p10le left", "yuv420p10le left", "yuv420p10le top-left", "yuvj420p centre"]
)
def test_chroma_does_not_shift(name: str, siting: str, target: str) -> None:
    """Waves in luma and chroma, each sampled where it sits, resized up and down and sited anew by the kernel: both chroma
    planes stay within 0.025 of an output luma pixel of luma, across and down (measured: 0.02 at most)."""
    width, height = 512, 288
    source, (target_name, target_siting) = find_pixel_format(name), target.split()
    made = find_pixel_format(target_name)
    assert source is not None and made is not None
    unit = 1 << (source.bits - 8)
    waves = [wave(*sites(source, k, siting, width, height), k) * unit for k in range(3)]
    frame = frame_of(name, *(np.rint(w) for w in waves))
    for size in ((256, 144), (512, 288), (768, 432), (384, 216), (170, 96)):
        if size[0] == width and siting != target_siting:
            continue  # a log picture of the same size and kind keeps its codes where they are
        fit = Fit(width=size[0], height=size[1])
        place = placement(fit, width, height)
        fitted = Fitter(fit, source, place, siting=siting)  # type: ignore[arg-type]
        grader = Grader(
            None, source=fitted.format, source_levels="narrow", source_top_sited=siting == "top-left",
            source_matrix=1, target=made, target_levels="narrow", target_matrix=1, siting=target_siting,
            width=size[0], height=size[1], placement=place, dither=False,
        )  # type: ignore[arg-type]  # fmt: skip
        out, _ = grader.grade(fitted.fit(frame), 0)
        moved = [
            shift_of(plane, sites(made, k, target_siting, *size), k, width / size[0], height / size[1])
            for k, plane in enumerate(planes(out))
        ]
        assert np.abs(np.array(moved[1:]) - moved[0]).max() < 0.025, (size, moved)
        assert np.abs(moved[0]).max() < 0.01


@pytest.mark.parametrize("name", ["yuv444p10le", "yuv422p10le", "gbrp16le", "gbrpf32le"])
@pytest.mark.parametrize("side", [512, 384, 256, 128])
def test_no_aliasing_on_a_zone_plate(name: str, side: int) -> None:
    """What is too fine for the smaller raster becomes grey instead of false rings: of its contrast, by cycles a pixel of the
    output, at most 0.16 is left from 0.7 to 0.85 and 0.03 beyond; what the raster can hold stays whole to a quarter
    (measured: 0.153, 0.026, 0.98 to 1.02)."""
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    n = 768
    rows, columns = np.mgrid[0:n, 0:n].astype(float)
    radius = np.hypot(columns - (n - 1) / 2, rows - (n - 1) / 2)
    scale = 1 if pixel_format.is_float else 1 << pixel_format.bits
    zone = (0.5 + 0.4 * np.cos(np.pi * radius**2 / n)) * scale  # radius / n cycles a pixel
    flat = np.full((n // pixel_format.sub_y, n // pixel_format.sub_x), 0.5 * scale)
    whole = zone if pixel_format.is_float else np.rint(zone)
    frame = frame_of(name, whole, *((flat, flat) if pixel_format.family == "ycbcr" else (whole, whole)))
    out = planes(fitter(name, Fit(width=side, height=side), n, n).fit(frame))[0].astype(float)
    rows, columns = np.mgrid[0:side, 0:side]
    radius = np.hypot(columns - (side - 1) / 2, rows - (side - 1) / 2) * n / side
    cycles = radius / side

    def left(low: float, high: float) -> float:
        ring = out[(cycles >= low) & (cycles < high) & (radius < n / 2)]
        return float(ring.std() / (0.4 * scale / np.sqrt(2))) if ring.size > 50 else 0.0

    assert 0.97 < left(0, 0.25) < 1.03
    assert left(0.7, 0.85) < 0.16 and left(0.85, 9) < 0.03


@pytest.mark.parametrize("name", ["yuvj420p", "yuvj422p", "yuvj444p"])
def test_full_codes_of_jpeg_stay(name: str) -> None:
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    shape = (36 // pixel_format.sub_y, 64 // pixel_format.sub_x)
    for codes in ((0, 128, 128), (255, 128, 128), (63, 2, 250)):
        frame = frame_of(name, np.full((36, 64), codes[0]), *(np.full(shape, c) for c in codes[1:]))
        frame.color_range, frame.colorspace = 2, 5
        for size in ((64, 36), (32, 18)):
            fit = Fit(width=size[0], height=size[1])
            out = Fitter(fit, pixel_format, placement(fit, 64, 36), siting="centre").fit(frame)
            assert [int(p.mean()) for p in planes(out)] == list(codes)


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


@pytest.mark.parametrize("aspect", [Fraction(1, 500), Fraction(500)])
def test_pixels_that_no_lens_makes_are_refused(aspect: Fraction) -> None:
    with pytest.raises(SourceError, match=r"wide as high .*desqueeze"):
        placement(Fit(width=96, height=54), 1920, 1080, pixel_aspect=aspect)
    assert placement(Fit(width=8, height=4), 1920, 1080).width == 8


@pytest.mark.parametrize("source", ["yuv422p10le", "yuv420p", "gbrp12le"])
@pytest.mark.parametrize(
    "fit",
    [Fit(width=192, height=108), Fit(width=190, height=82, flip=True, flop=True), Fit(width=416, height=222)],
    ids=["half", "mirrored", "larger"],
)
def test_the_same_bytes_on_one_two_and_four_threads(source: str, fit: Fit) -> None:
    pixel_format = find_pixel_format(source)
    assert pixel_format is not None
    frame = texture(source, 384, 218)
    place = placement(fit, 384, 218)
    made = []
    for threads in (1, 2, 4, 7):
        fitted = Fitter(fit, pixel_format, place, threads=threads).fit(frame)
        made.append([plane.tobytes() for plane in planes(fitted)])
    assert all(m == made[0] for m in made)
