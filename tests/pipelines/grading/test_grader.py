"""The kernel: exact integers of BT.709, its judge Baked.apply, chroma siting, dither, and every processor alike."""

import os
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pictures import frame_of, texture
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.bake import Baked, bake
from rushlight.pipelines.grading.grader import Grader, code_scale, to_rgb
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.measure.checksum import frame_digest
from rushlight.pipelines.originals.framing import Placement, Rect

REC709 = find_display("Rec.709 BT.1886")


def identity() -> Baked:
    return bake(
        Look(
            encoding=find_encoding("LogC3"), display=REC709, show_lut=ShowLut(name="i", lut=identity_lut(2))
        ),
        size=17,
    )


@cache
def graded_look() -> Baked:
    grade = CDL(slope=(1.2, 1, 0.9), offset=(0.02, -0.01, 0), power=(1.1, 0.95, 1), saturation=1.2)
    return bake(Look(encoding=find_encoding("LogC3"), display=REC709, cdl=grade))


def fmt(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found


def whole(width: int, height: int) -> Placement:
    return Placement(crop=Rect(x=0, y=0, width=width, height=height), x=0, y=0, width=width, height=height)


def grader(
    baked: Baked | None, source: str, target: str, width: int, height: int, **settings: object
) -> Grader:
    place = settings.pop("placement", whole(width, height))
    values: dict = {"source_levels": "narrow", "dither": False, **settings}
    return Grader(
        baked, source=fmt(source), target=fmt(target), width=width, height=height, placement=place, **values
    )  # type: ignore[arg-type]


def ycbcr(rgb: np.ndarray, bits: int) -> np.ndarray:
    """BT.709-6 items 3.2 to 3.4, narrow, unrounded."""
    luma = rgb @ [0.2126, 0.7152, 0.0722]
    unit = 1 << (bits - 8)
    cb, cr = (rgb[..., 2] - luma) / 1.8556, (rgb[..., 0] - luma) / 1.5748
    return np.stack([(219 * luma + 16) * unit, (224 * cb + 128) * unit, (224 * cr + 128) * unit], -1)


# ITU-R BT.709 narrow integers of the 100 % bars (RP 219 table; read from FFmpeg's smptehdbars in 8 bits).
BARS = {
    (1, 1, 1): ((235, 128, 128), (940, 512, 512)),
    (1, 1, 0): ((219, 16, 138), (877, 64, 553)),
    (0, 1, 1): ((188, 154, 16), (754, 615, 64)),
    (0, 1, 0): ((173, 42, 26), (691, 167, 105)),
    (1, 0, 0): ((63, 102, 240), (250, 409, 960)),
    (0, 0, 1): ((32, 240, 118), (127, 960, 471)),
}


@pytest.mark.parametrize(
    ("target", "which"), [("yuv420p", 0), ("yuv422p", 0), ("yuv422p10le", 1), ("yuv444p10le", 1)]
)
def test_six_colour_patches_are_exact_integers(target: str, which: int) -> None:
    rgb = identity()
    for colour, codes in BARS.items():
        source = frame_of("gbrp10le", *(np.full((8, 8), 1023 * c) for c in colour))
        out, _ = grader(rgb, "gbrp10le", target, 8, 8, source_levels="full").grade(source, 0)
        for plane, code in zip(planes(out), codes[which], strict=True):
            assert (plane == code).all(), (colour, target)


@pytest.mark.parametrize("target", ["yuv420p", "yuv422p"])
def test_a_dithered_patch_keeps_its_mean(target: str) -> None:
    """The six at 75 %, whose codes lie between integers: within a twentieth of a code over a flat field."""
    for colour in BARS:
        signal = np.array(colour) * 0.75
        source = frame_of("gbrpf32le", *(np.full((128, 256), c, np.float32) for c in signal))
        out, _ = grader(identity(), "gbrpf32le", target, 256, 128, dither=True).grade(source, 3)
        for plane, code in zip(planes(out), ycbcr(signal, 8), strict=True):
            assert abs(plane.astype(float).mean() - code) <= 0.05, (colour, target)


@pytest.mark.parametrize("levels", ["narrow", "full"])
@pytest.mark.parametrize("name", ["yuv422p10le", "yuv444p12le", "yuv420p", "yuv444p10le"])
def test_to_rgb_inverts_the_matrix(name: str, levels: str) -> None:
    bits = fmt(name).bits
    rgb = np.random.default_rng(1).uniform(0.2, 0.8, 3)
    luma = float(rgb @ [0.2126, 0.7152, 0.0722])
    y_unit, y_zero, c_unit, c_zero = code_scale(bits, levels)  # type: ignore[arg-type]
    values = (
        y_zero + y_unit * luma,
        c_zero + c_unit * (rgb[2] - luma) / 1.8556,
        c_zero + c_unit * (rgb[0] - luma) / 1.5748,
    )
    shapes = [
        (4, 8),
        (4 // fmt(name).sub_y, 8 // fmt(name).sub_x),
        (4 // fmt(name).sub_y, 8 // fmt(name).sub_x),
    ]
    frame = frame_of(name, *(np.full(s, round(v)) for s, v in zip(shapes, values, strict=True)))
    found = to_rgb(frame, fmt(name), levels, 1)  # type: ignore[arg-type]
    assert found == pytest.approx(np.broadcast_to(rgb, found.shape), abs=3 / (1 << bits))


@pytest.mark.parametrize(
    "source", ["yuv422p10le", "yuv444p12le", "yuv420p", "yuv420p10le", "gbrp10le", "gbrp16le"]
)
@pytest.mark.parametrize("target", ["yuv444p10le", "yuv422p10le", "yuv420p"])
def test_kernel_is_held_to_the_plain_evaluation(source: str, target: str) -> None:
    """Luma within half a code of the float64 evaluation of the same tables; chroma likewise where it is not filtered."""
    baked, frame = graded_look(), texture(source, 46, 22)
    levels = "narrow" if fmt(source).family == "ycbcr" else "full"
    out, _ = grader(baked, source, target, 46, 22, source_levels=levels).grade(frame, 7)
    rgb = baked.apply(to_rgb(frame, fmt(source), levels, 1))  # type: ignore[arg-type]
    wanted = ycbcr(rgb, fmt(target).bits)
    assert np.abs(planes(out)[0] - wanted[..., 0]).max() <= 0.51
    if target == "yuv444p10le":
        for k in (1, 2):
            assert np.abs(planes(out)[k] - wanted[..., k]).max() <= 0.51
    else:
        padded = np.pad(wanted[..., 1], ((0, 0), (1, 1)), "edge")
        chroma = 0.25 * (padded[:, :-2:2] + padded[:, 2::2]) + 0.5 * padded[:, 1:-1:2]
        if fmt(target).sub_y == 2:
            chroma = (chroma[0::2] + chroma[1::2]) / 2
        assert np.abs(planes(out)[1] - chroma).max() <= 0.51


def test_pixels_that_the_lattice_cannot_follow_are_direct() -> None:
    """All colours there are: the kernel is still within half a code, and some are 20 codes from the lattice alone."""
    baked, rng = graded_look(), np.random.default_rng(8)
    frame = frame_of("gbrp16le", *(rng.integers(0, 65536, (160, 240)) for _ in range(3)))
    out, _ = grader(baked, "gbrp16le", "yuv444p10le", 240, 160, source_levels="full").grade(frame, 0)
    signal = to_rgb(frame, fmt("gbrp16le"), "full", 1)
    wanted, alone = (ycbcr(b.apply(signal), 10) for b in (baked, replace(baked, direct=None)))
    for k, plane in enumerate(planes(out)):
        assert np.abs(plane - wanted[..., k]).max() <= 0.52
    assert 0.0001 < (np.abs(wanted - alone).max(-1) > 4).mean() < 0.02 and np.abs(wanted - alone).max() > 20


def test_rows_know_nothing_of_their_neighbours() -> None:
    """A row gives the same codes whether the row before was evaluated directly somewhere or nowhere."""
    rng, shape = np.random.default_rng(8), (12, 240)
    some = [rng.integers(0, 65536, shape) for _ in range(3)]
    none = [rng.integers(25000, 26000, shape)] * 3
    one = grader(graded_look(), "gbrp16le", "yuv444p10le", 240, 12, source_levels="full")

    def graded(values: list[np.ndarray]) -> np.ndarray:
        return np.stack(planes(one.grade(frame_of("gbrp16le", *values), 0)[0]), -1)

    rows = np.array([0, 1, 1, 0, 0, 1, 0, 1, 0, 0, 0, 1], bool)[:, None]
    mixed = graded([np.where(rows, a, b) for a, b in zip(some, none, strict=True)])
    assert (mixed == np.where(rows[..., None], graded(some), graded(none))).all()


def bent(size: int = 9, points: int = 33) -> Baked:
    """Tables that no look gave: curves and shaper that differ by channel and are not straight, and a rough lattice."""
    rng = np.random.default_rng(5)
    rise = np.sort(rng.random((3, points)), 1)
    return Baked(
        lo=-0.075,
        hi=1.1,
        grade=np.sort(rng.random((3, 100)), 1).astype(np.float32),
        saturation=0.8,
        clamp=True,
        shaper=(rise / rise[:, -1:] * (size - 1)).astype(np.float32),
        shaper_lo=-0.1,
        shaper_hi=1.2,
        lattice=np.pad(rng.random((size, size, size, 3)), ((0, 0),) * 3 + ((0, 1),)).astype(np.float32),
        digest="",
    )


@pytest.mark.parametrize("width", [2, 5, 46, 63])
def test_bent_tables_and_odd_widths(width: int) -> None:
    """Any tables: the kernel is within rounding of `Baked.apply`, at widths that its groups of four do not divide."""
    baked, frame = bent(), texture("yuv444p10le", width, 7)
    out, _ = grader(baked, "yuv444p10le", "yuv444p10le", width, 7).grade(frame, 0)
    wanted = ycbcr(baked.apply(to_rgb(frame, fmt("yuv444p10le"), "narrow", 1)), 10)
    for k, plane in enumerate(planes(out)):
        assert np.abs(plane - wanted[..., k]).max() <= 0.52


# Where a chroma sample lies in luma pixels, across and down: ITU-T H.273, ChromaSampleLocType 0, 2 and 1.
SITES = {"left": (0.0, 0.5), "top-left": (0.0, 0.0), "centre": (0.5, 0.5)}


def slope(shape: tuple[int, int], name: str, siting: str) -> np.ndarray:
    """Chroma that rises evenly over the picture, sampled where the siting says."""
    pixel_format = fmt(name)
    across = SITES[siting][0] if pixel_format.sub_x == 2 else 0.0
    down = SITES[siting][1] if pixel_format.sub_y == 2 else 0.0
    y, x = np.mgrid[: shape[0] // pixel_format.sub_y, : shape[1] // pixel_format.sub_x].astype(float)
    return 0.35 + 0.006 * (x * pixel_format.sub_x + across) + 0.005 * (y * pixel_format.sub_y + down)


@pytest.mark.parametrize("siting", SITES)
@pytest.mark.parametrize("source", ["yuv420p12le", "yuv422p12le"])
def test_chroma_comes_in_where_it_lies(source: str, siting: str) -> None:
    shape = (16, 32)
    chroma = slope(shape, source, siting) * 4095
    frame = frame_of(source, np.full(shape, 2000), np.rint(chroma), np.rint(chroma))
    wanted = slope(shape, "yuv444p12le", siting)[2:-2, 2:-2]
    out, _ = grader(identity(), source, "yuv444p10le", 32, 16, source_siting=siting).grade(frame, 0)
    assert np.abs(planes(out)[1][2:-2, 2:-2] - wanted * 1023.75).max() <= 0.7
    rgb = to_rgb(frame, fmt(source), "narrow", 1, siting=siting)  # type: ignore[arg-type]
    cb = (rgb[..., 2] - rgb @ [0.2126, 0.7152, 0.0722]) / 1.8556
    assert (cb * 3584 + 2048)[2:-2, 2:-2] == pytest.approx(wanted * 4095, abs=0.6)


@pytest.mark.parametrize("name", ["yuv420p", "yuv422p10le", "yuv444p12le", "gbrp16le", "gbrpf32le"])
@pytest.mark.parametrize("siting", ["left", "top-left", "centre"])
def test_rows_alone_are_those_of_the_whole(name: str, siting: str) -> None:
    frame, dice = new_frame(fmt(name), 34, 22), np.random.default_rng(5)
    for plane in planes(frame):
        plane[:] = dice.integers(0, 200, plane.shape)
    whole = to_rgb(frame, fmt(name), "narrow", 1, siting=siting)  # type: ignore[arg-type]
    for first, last in ((0, 22), (0, 1), (3, 8), (21, 30)):
        rows = slice(first, last)
        part = to_rgb(frame, fmt(name), "narrow", 1, siting=siting, rows=rows)  # type: ignore[arg-type]
        assert part.tobytes() == np.ascontiguousarray(whole[first:last]).tobytes()


@pytest.mark.parametrize("siting", SITES)
@pytest.mark.parametrize("target", ["yuv420p10le", "yuv422p10le"])
@pytest.mark.parametrize("look", [True, False])
def test_chroma_goes_out_where_it_lies(target: str, siting: str, look: bool) -> None:
    shape = (16, 32)
    chroma = slope(shape, "yuv444p12le", siting) * 4095
    frame = frame_of("yuv444p12le", np.full(shape, 2000), np.rint(chroma), np.rint(chroma))
    out, _ = grader(
        identity() if look else None, "yuv444p12le", target, 32, 16, siting=siting, source_siting=siting
    ).grade(frame, 0)
    wanted = slope(shape, target, siting) * 1023.75
    assert np.abs(planes(out)[2] - wanted)[1:-1, 1:-1].max() <= 0.7


def test_float_signal_and_not_a_number() -> None:
    baked = graded_look()
    values = np.linspace(0.1, 0.9, 32).reshape(4, 8).astype(np.float32)
    values[1, 1], values[2, 2] = np.nan, np.inf
    out, _ = grader(baked, "gbrpf32le", "yuv444p10le", 8, 4, source_levels="full").grade(
        frame_of("gbrpf32le", values, values, values), 0
    )
    again, _ = grader(baked, "gbrpf32le", "yuv444p10le", 8, 4, source_levels="full").grade(
        frame_of("gbrpf32le", values, values, values), 0
    )
    assert all((a == b).all() for a, b in zip(planes(out), planes(again), strict=True))
    good = np.isfinite(values)
    wanted = ycbcr(baked.apply(np.repeat(values[..., None], 3, -1)), 10)[..., 0]
    assert np.abs(planes(out)[0] - wanted)[good].max() <= 0.51


def test_dither_is_fair_and_fixed_by_number_and_place() -> None:
    baked = identity()
    for code in (301, 402.5, 555.25, 700.75):
        flat = frame_of("gbrp16le", *(np.full((128, 256), round(code / 1023 * 65535)),) * 3)
        one, _ = grader(baked, "gbrp16le", "yuv420p", 256, 128, source_levels="full", dither=True).grade(
            flat, 3
        )
        same, _ = grader(baked, "gbrp16le", "yuv420p", 256, 128, source_levels="full", dither=True).grade(
            flat, 3
        )
        other, _ = grader(baked, "gbrp16le", "yuv420p", 256, 128, source_levels="full", dither=True).grade(
            flat, 4
        )
        assert (planes(one)[0] == planes(same)[0]).all()
        assert (planes(one)[0] != planes(other)[0]).any()
        assert planes(one)[0].astype(float).mean() == pytest.approx(
            16 + 219 * round(code / 1023 * 65535) / 65535, abs=0.05
        )
        assert planes(one)[1].astype(float).mean() == pytest.approx(128, abs=0.05)


def test_over_and_under_range_are_counted() -> None:
    luma = np.full((4, 8), 512, np.uint16)
    luma[0, :3], luma[1, :2] = 1000, 20
    frame = frame_of("yuv444p10le", luma, np.full((4, 8), 512), np.full((4, 8), 512))
    _, counts = grader(graded_look(), "yuv444p10le", "yuv444p10le", 8, 4).grade(frame, 0)
    assert (counts.over, counts.under, counts.outside, counts.pixels) == (3, 2, 0, 32)


def test_padding_is_display_black() -> None:
    place = Placement(crop=Rect(x=0, y=0, width=16, height=4), x=0, y=2, width=16, height=4)
    out, _ = grader(graded_look(), "yuv444p10le", "yuv420p", 16, 8, placement=place).grade(
        texture("yuv444p10le", 16, 4), 0
    )
    luma, cb, _ = planes(out)
    assert (luma[:2] == 16).all() and (luma[6:] == 16).all() and (luma[2:6] != 16).any()
    assert (cb[0] == 128).all() and (cb[3] == 128).all()


def test_file_codes_are_not_narrow_scaling() -> None:
    """S-Log3 grey is file code 420 by its maker's table; narrow scaling would have put it at 423.6."""
    encoding = find_encoding("S-Log3/S-Gamut3")
    frame = frame_of("yuv444p10le", np.full((2, 2), 420), np.full((2, 2), 512), np.full((2, 2), 512))
    assert encoding.decode(to_rgb(frame, fmt("yuv444p10le"), "full", 1, chroma="narrow")) == pytest.approx(
        0.18, abs=2e-4
    )
    assert encoding.decode(to_rgb(frame, fmt("yuv444p10le"), "narrow", 1))[0, 0, 0] == pytest.approx(
        0.18 * 2**-0.057, abs=1e-3
    )


@pytest.mark.parametrize(
    ("source", "target"),
    [("yuv422p10le", "yuv422p10le"), ("yuv444p10le", "yuv422p10le"), ("yuv444p12le", "yuv422p10le")],
)
def test_log_keeps_the_codes(source: str, target: str) -> None:
    frame = texture(source, 32, 16)
    out, _ = grader(None, source, target, 32, 16).grade(frame, 0)
    luma = planes(frame)[0].astype(float) / (1 << (fmt(source).bits - 10))
    assert np.abs(planes(out)[0] - luma).max() <= 0.5
    if source == target:
        assert all((a == b).all() for a, b in zip(planes(frame), planes(out), strict=True))


def test_log_of_an_rgb_original_goes_by_bt709_at_its_levels() -> None:
    frame = frame_of("gbrp10le", *(np.full((4, 8), v) for v in (700, 500, 300)))
    out, _ = grader(None, "gbrp10le", "yuv422p10le", 8, 4, source_levels="full").grade(frame, 0)
    luma = 0.2126 * 700 + 0.7152 * 500 + 0.0722 * 300
    assert [int(p[0, 0]) for p in planes(out)] == [
        round(luma),
        round(512 + (300 - luma) / 1.8556),
        round(512 + (700 - luma) / 1.5748),
    ]


DIGESTS = """
import sys; sys.path[:0] = {tests!r}
from test_grader import digests
print(*digests())
"""


def digests() -> list[str]:
    """Of a picture in each of three pairs of formats, graded."""
    found = []
    for source, target in (
        ("yuv422p10le", "yuv420p"),
        ("yuv420p10le", "yuv422p10le"),
        ("gbrp16le", "yuv444p10le"),
    ):
        levels = "full" if source[0] == "g" else "narrow"
        one = grader(graded_look(), source, target, 190, 62, source_levels=levels, dither=True)
        found.append(frame_digest(planes(one.grade(texture(source, 190, 62), 9)[0])))
    return found


def test_every_processor_gives_the_same_codes() -> None:
    """The kernel compiled for a generic processor, and for this one, agree to the bit. The lattice is baked the same way in both."""
    script = DIGESTS.format(tests=[os.path.dirname(__file__), str(Path(__file__).parents[2] / "support")])
    env = {**os.environ, "NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": ""}
    call = [sys.executable, "-W", "ignore", "-c", script]
    generic = subprocess.run(call, env=env, capture_output=True, text=True, check=True).stdout.split()
    assert generic == digests() and len(generic) == 3
