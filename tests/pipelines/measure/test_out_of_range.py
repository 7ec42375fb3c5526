"""What leaves the encoding's 0..1: counted by hand here, in a unit and through a whole night, and said in the record."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import rushlight
from logged import latest, read_records
from pictures import frame_of, write_sequence
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.measure.out_of_range import (
    pushed_out,
    range_counts,
    range_warnings,
    thinned,
)

REC709 = find_display("Rec.709 BT.1886")
NONE = {"over": 0, "under": 0, "outside": 0, "pixels": 100}


def look(**layers: Any) -> Look:
    return Look(encoding=find_encoding("S-Log3/S-Gamut3.Cine"), display=REC709, **layers)


def test_a_grid_of_pixels_with_their_own_chroma() -> None:
    for name, across, down in (("yuv420p", 2, 2), ("yuv422p10le", 2, 1), ("yuva444p12le", 1, 1)):
        y, x = np.mgrid[:400, :700]
        cy, cx = np.mgrid[: 400 // down, : 700 // across]
        frame = frame_of(name, (x + y) % 251, (cx * across) % 241, (cy * down) % 239)
        pixel_format = find_pixel_format(name)
        assert pixel_format is not None
        small, at = thinned(frame, pixel_format, samples=5000)
        assert (at.family, at.bits, at.sub_x, at.sub_y) == ("ycbcr", pixel_format.bits, 1, 1)
        first, second, third = planes(small)
        step = 6  # 700 * 400 / 5000 is 56, its root 7, made even
        y, x = np.mgrid[0:400:step, 0:700:step]
        assert (first == (x + y) % 251).all() and (second == x % 241).all() and (third == y % 239).all()
    rgb = frame_of("gbrp10le", *(np.full((6, 8), v) for v in (1, 2, 3)))
    pixel_format = find_pixel_format("gbrp10le")
    assert pixel_format is not None
    small, at = thinned(rgb, pixel_format)
    assert at.name == "gbrp10le" and [int(p[0, 0]) for p in planes(small)] == [1, 2, 3]


def test_pushed_out_is_what_was_inside_and_is_not() -> None:
    """S-Log3: code 1 is 38.4 of scene light (Sony, Technical Summary V1.0); a stop more than half of that leaves 0..1."""
    signal = np.array([[0.93] * 3, [0.9, 0.9, 0.93], [0.9] * 3, [1.2] * 3, [-0.1] * 3, [np.nan] * 3])
    assert pushed_out(look(exposure=1), signal) == {"over": 2, "under": 0, "pixels": 6}
    points = look(
        printer_points=(0, 0, -90)
    )  # a point is a twelfth of a stop: 0.0064 of this curve, 0.58 in all
    assert pushed_out(points, [[0.5] * 3, [0.6] * 3, [0.9, 0.9, 0.5]]) == {"over": 0, "under": 2, "pixels": 3}
    assert pushed_out(look(exposure=-1), signal)["over"] == 0
    assert pushed_out(look(white_balance=(0.4476, 0.4074)), signal)["over"] > 0  # tungsten: blue comes up


def test_sentences() -> None:
    assert range_warnings(look(), NONE, NONE) == []
    over = {"over": 12, "under": 1, "outside": 0, "pixels": 100}
    (said,) = range_warnings(look(), over, NONE)
    assert "12.00% of pixels above, 1.00% below; the display transform takes them" in said
    (said,) = range_warnings(look(cdl=CDL()), over, NONE)
    assert said.endswith("the CDL clamps them")
    (said,) = range_warnings(look(exposure=1, printer_points=(1, 0, 0), cdl=CDL()), NONE, over)
    assert said.startswith("pushed out of the encoding's 0 to 1 by exposure and printer points: 12.00%")
    (said,) = range_warnings(look(show_lut=ShowLut(name="x", lut=identity_lut(2))), over, NONE)
    assert said.endswith("the show LUT clamps them at its domain")
    (said,) = range_warnings(look(cdl=CDL(), grade_order="after"), over, NONE)
    assert said.endswith("takes them as they are")
    few = {"over": 3, "under": 0, "outside": 5, "pixels": 100_000}
    assert range_warnings(look(), few, few) == [
        "under 0.01% of pixels lie outside what the look spans and were clipped"
    ]


def test_a_night_says_what_left_the_range(tmp_path: Path) -> None:
    """An eighth of each clip is over the curve as it comes, a quarter is pushed over by the row; the record says both."""
    picture = np.full((64, 128, 3), 420, np.uint16)
    picture[:, :32] = 980
    rows = {
        "A001C001": ("LogC3,,", ()),
        "A001C002": ("LogC3,1,0.9", ("exposure", "25.00% of pixels above, 0.00% below; the CDL clamps them")),
    }
    for name in rows:
        write_sequence(tmp_path / name, [picture] * 3)
    lines = ["clip,encoding,exposure,saturation", *(f"{name},{cells}" for name, (cells, _) in rows.items())]
    # Levels narrow: code 1019 is 1.09 of the curve. An eighth of this clip is over it and an eighth under.
    far = np.full((64, 128, 3), 420, np.uint16)
    far[:, :16], far[:, 112:] = 1000, 30
    write_sequence(tmp_path / "A001C003", [far] * 3)
    lines[0] += ",levels"
    lines.append("A001C003,V-Log,,,narrow")
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "r.toml").write_text(
        '[look]\nsize = 17\n[[output]]\nname = "m"\nmake = "movie"\ncodec = "prores-422"\nsize = "128x64"\n'
    )
    out = tmp_path / "out"
    day, recipe = tmp_path / "day.csv", tmp_path / "r.toml"
    run = rushlight("render", day, "--recipe", recipe, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    records = {r["clip"]: r for r in latest(read_records(out)).values()}
    plain, pushed, far_out = (records[f"A001C00{n}"] for n in (1, 2, 3))
    assert plain["counts"]["over"] == plain["counts"]["pushed"]["pixels"] == 0
    assert not [w for w in plain["warnings"] if "0 to 1" in w]
    assert pushed["counts"]["pushed"]["over"] * 4 == pushed["counts"]["pushed"]["pixels"] > 0
    (said,) = [w for w in pushed["warnings"] if "0 to 1" in w]
    assert all(words in said for words in rows["A001C002"][1])
    assert (far_out["counts"]["over"], far_out["counts"]["under"]) == (3 * 16 * 64, 3 * 16 * 64)
    (said,) = [w for w in far_out["warnings"] if "0 to 1" in w]
    assert said == (
        "log codes outside the curve's 0 to 1: 12.50% of pixels above, 12.50% below; "
        "the display transform takes them as they are"
    )
    assert "12.50% of pixels above" in run.stdout + run.stderr


def test_stills_alone_are_counted_too(tmp_path: Path) -> None:
    far = np.full((64, 128, 3), 420, np.uint16)
    far[:, :16] = 1000
    write_sequence(tmp_path / "A001C001", [far] * 3)
    (tmp_path / "day.csv").write_text("clip,encoding,levels,saturation\nA001C001,V-Log,narrow,0.9\n")
    (tmp_path / "r.toml").write_text(
        '[[output]]\nname = "s"\nmake = "stills"\nkinds = ["png8", "tiff16"]\nsize = "128x64"\n'
    )
    out = tmp_path / "out"
    day, recipe = tmp_path / "day.csv", tmp_path / "r.toml"
    run = rushlight("render", day, "--recipe", recipe, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(out)).values()
    assert (record["counts"]["over"], record["counts"]["pixels"]) == (16 * 64, 128 * 64)  # one still, once
    (said,) = [w for w in record["warnings"] if "0 to 1" in w]
    assert "12.50% of pixels above, 0.00% below; the CDL clamps them" in said


@pytest.mark.parametrize("shape", [(3,), (4, 3), (2, 5, 3)])
def test_any_shape(shape: tuple) -> None:
    found = pushed_out(look(exposure=0.5), np.full(shape, 0.4))
    assert found == {"over": 0, "under": 0, "pixels": int(np.prod(shape[:-1]))}
    assert range_counts(np.full(shape, 0.4)) == found
    assert range_counts([[1.1, -0.1, np.nan], [np.inf, 0, 0], [np.nan] * 3]) == {
        "over": 2,
        "under": 1,
        "pixels": 3,
    }
