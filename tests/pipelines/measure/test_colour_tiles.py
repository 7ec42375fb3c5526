"""Measuring: tiles that leave covered pixels out."""

from dataclasses import replace

import numpy as np
import pytest

from pictures import frame_of, texture
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.grading.bake import bake, regraded
from rushlight.pipelines.measure.checksum import colour_digest, frame_digest, picture_digest
from rushlight.pipelines.measure.colour_tiles import (
    fault_tiles,
    sampled_frames,
    sensitivity,
    tile_codes,
    tile_lab,
)

REC709 = find_display("Rec.709 BT.1886")


def test_tiles_of_a_flat_grey() -> None:
    pixel_format = find_pixel_format("yuv420p")
    assert pixel_format is not None
    frame = frame_of("yuv420p", np.full((90, 160), 126), np.full((45, 80), 128), np.full((45, 80), 128))
    tiles = tile_lab(planes(frame), pixel_format, "narrow", 1, REC709, (0, 0, 160, 90))
    assert tiles.shape == (9, 16, 3)
    light = ((126 - 16) / 219) ** 2.4
    assert tiles[4, 7] == pytest.approx([116 * light ** (1 / 3) - 16, 0, 0], abs=1e-6)
    assert tile_codes(planes(frame), pixel_format, (0, 0, 160, 90))[0, 0] == pytest.approx([504, 512, 512])


def test_covered_pixels_are_left_out_by_both_sides() -> None:
    pixel_format = find_pixel_format("yuv420p")
    assert pixel_format is not None
    frame = texture("yuv420p", 320, 180)
    box, covered = (0, 0, 320, 180), [(40, 20, 60, 30), (300, 160, 20, 20)]
    clean = tile_lab(planes(frame), pixel_format, "narrow", 1, REC709, box, covered)
    planes(frame)[0][20:50, 40:100] = 235
    planes(frame)[0][160:, 300:] = 16
    drawn = tile_lab(planes(frame), pixel_format, "narrow", 1, REC709, box, covered)
    assert np.nan_to_num(drawn) == pytest.approx(np.nan_to_num(clean), abs=1e-9)
    assert np.isnan(drawn[8, 15]).all()


def test_padding_is_no_part_of_the_picture() -> None:
    pixel_format = find_pixel_format("yuv422p10le")
    assert pixel_format is not None
    frame = frame_of("yuv422p10le", np.full((90, 160), 64), np.full((90, 80), 512), np.full((90, 80), 512))
    planes(frame)[0][20:70] = 500
    tiles = tile_lab(planes(frame), pixel_format, "narrow", 1, REC709, (0, 20, 160, 50))
    assert np.ptp(tiles[..., 0]) < 1e-6


def test_sampled_frames() -> None:
    from fractions import Fraction

    assert sampled_frames(1, Fraction(24)) == (0,)
    assert sampled_frames(700, Fraction(24)) == (0, 240, 350, 480, 699)


def test_sensitivity_tells_colour_from_grey() -> None:
    look = Look(encoding=find_encoding("LogC3"), display=REC709)
    encoding = look.encoding
    rng = np.random.default_rng(0)
    colours = encoding.encode(0.18 * 2.0 ** rng.uniform(-1.5, 1.5, (9, 16, 3))).repeat(4, 0).repeat(4, 1)
    grey = np.repeat(colours[..., 1:2], 3, -1)
    assert sensitivity(*fault_tiles(look, colours))["saturation 0.05"] > 0.2
    assert sensitivity(*fault_tiles(look, grey))["saturation 0.05"] < 0.01
    assert sensitivity(*fault_tiles(look, grey))["slope 0.02"] > 0.3


def test_sensitivity_by_the_baked_look_is_that_by_the_exact_one() -> None:
    grade = CDL(slope=(1.1, 1.0, 0.9), offset=(0.02, 0.0, -0.01), power=(1.0, 1.1, 0.95), saturation=0.85)
    look = Look(encoding=find_encoding("LogC3"), display=REC709, cdl=grade)
    rng = np.random.default_rng(1)
    code = look.encoding.encode(0.18 * 2.0 ** rng.uniform(-2, 2, (9, 16, 3))).repeat(4, 0).repeat(4, 1)
    exact = sensitivity(*fault_tiles(look, code))
    quick = sensitivity(*fault_tiles(look, code, bake(look, "graded", 33)))
    for name, value in exact.items():
        assert value > 0.2
        assert quick[name] == pytest.approx(value, rel=0.03)
    inside = replace(look, cdl_space="ACEScct")  # such a grade lies in the lattice: by the exact look
    assert regraded(bake(look, "graded", 17), inside) is None


def test_digests() -> None:
    frame = texture("yuv422p", 50, 20)  # 50 is no multiple of any row padding
    same = frame_of("yuv422p", *(p.copy() for p in planes(frame)))
    first = frame_digest(planes(frame))
    assert first == frame_digest(planes(same)) and len(first) == 32
    planes(same)[2][3, 3] ^= 1
    assert frame_digest(planes(same)) != first
    facts = {"state": "graded", "raster": "50x20", "pixel_format": "yuv422p"}
    digests = [first, frame_digest(planes(same))]
    assert picture_digest(digests, **facts) != picture_digest(digests[::-1], **facts)
    assert picture_digest(digests, **facts) != picture_digest(digests, **{**facts, "state": "show"})
    assert picture_digest(digests, **facts).startswith("rushlight-frames-1:")
    assert (
        colour_digest({"a": "1", "b": "2"})
        == colour_digest({"b": "2", "a": "1"})
        != colour_digest({"a": "1"})
    )
