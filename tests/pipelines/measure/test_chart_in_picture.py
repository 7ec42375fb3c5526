"""A chart in a picture: found where its corners say, in perspective, and its errors are those that were put in."""

from __future__ import annotations

import numpy as np
import pytest

import colour
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.gamuts import ACES_WHITE, AP0, D65, adaptation
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.measure.chart_in_picture import (
    ChartPlace,
    cct_and_duv,
    chart_found,
    chart_place,
    patch_light,
)

PUBLISHED = np.array(list(PATCHES.values()))
START = Timecode.parse("01:00:00:00", FrameRate.parse(24))
CORNERS = "100,60 420,90 400,300 80,260"


def look(**given: object) -> Look:
    return Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"), **given)  # type: ignore[arg-type]


def test_what_is_published_has_no_error() -> None:
    found = chart_found(PUBLISHED, look(cdl=CDL(slope=(1.1, 1, 0.9))))
    assert found.difference.max() < 1e-6 and found.exposure == pytest.approx(0, abs=1e-9)
    assert found.cct == pytest.approx(6504, abs=15) and found.duv == pytest.approx(0.0032, abs=2e-4)
    assert found.colour_of_greys > 5  # the grade's


@pytest.mark.parametrize("stops", [-2.0, -0.3, 1.0])
def test_exposure_is_told_in_stops(stops: float) -> None:
    found = chart_found(PUBLISHED * 2.0**stops, look())
    assert found.exposure == pytest.approx(stops, abs=1e-6) and found.cct == pytest.approx(6504, abs=15)
    assert found.difference.max() > 1


@pytest.mark.parametrize("kelvin", [3200, 4500, 5600, 9000])
def test_white_balance_is_told_as_cct(kelvin: int) -> None:
    """Greys that have the chromaticity of daylight or lamplight, as a picture has them that is balanced for another."""
    x, y = colour.temperature.CCT_to_xy(kelvin, "Kang 2002")
    white = np.array([x / y, 1, (1 - x - y) / y])
    cast = np.linalg.solve(adaptation(ACES_WHITE, D65, "CAT02") @ AP0.to_xyz(), white)
    found = chart_found(PUBLISHED * cast, look())
    assert found.cct == pytest.approx(kelvin, rel=0.01) and abs(found.duv) < 0.0015
    assert found.colour_of_greys > 3


def test_cct_and_duv_agree_with_the_library() -> None:
    for xy in ((0.3127, 0.3290), (0.3457, 0.3585), (0.44757, 0.40745), (0.33, 0.36), (0.31, 0.30)):
        xyz = colour.xy_to_XYZ(xy)
        uv = colour.UCS_to_uv(colour.XYZ_to_UCS(xyz))
        cct, duv = colour.temperature.uv_to_CCT(uv, "Ohno 2013")
        found = cct_and_duv(xyz)
        assert found[0] == pytest.approx(cct, rel=0.02) and found[1] == pytest.approx(duv, abs=3e-4)
    assert np.isnan(cct_and_duv((0, 0, 0))).all()


def test_patches_are_found_in_perspective() -> None:
    """Every pixel of a picture has the colour of the patch that it lies in, by the inverse of the map under test's own definition: a
    point inside a patch's quadrilateral."""
    place = chart_place(CORNERS, START, 10)
    assert place
    a, b, c, d = np.array(place.corners)
    seen = look()
    picture = np.full((360, 480, 3), 0.9)
    codes = seen.working.from_ap0(PUBLISHED)
    matrix, *_ = np.linalg.lstsq(*_equations(np.array([a, b, c, d])), rcond=None)
    back = np.append(matrix, 1.0).reshape(3, 3)
    y, x = np.mgrid[:360, :480] + 0.5
    u, v, w = np.einsum("ij,jhw->ihw", back, np.stack([x, y, np.ones_like(x)]))
    u, v = u / w, v / w
    inside = (u > 0) & (u < 1) & (v > 0) & (v < 1)
    index = (np.clip(v * 4, 0, 3.99).astype(int) * 6 + np.clip(u * 6, 0, 5.99).astype(int))[inside]
    picture[inside] = codes[index]
    assert patch_light(picture, seen, place) == pytest.approx(PUBLISHED, rel=1e-6)


def _equations(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """From the picture back to the square."""
    rows, wanted = [], []
    for (x, y), (u, v) in zip(corners, ((0, 0), (1, 0), (1, 1), (0, 1)), strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    return np.array(rows, float), np.array(wanted, float)


def test_a_chart_that_leaves_the_picture_is_said() -> None:
    place = ChartPlace(corners=((10, 10), (500, 10), (500, 90), (10, 90)), offset=0)
    with pytest.raises(ListError, match=r"leave the picture, which is 100x100"):
        patch_light(np.zeros((100, 100, 3)), look(), place)


@pytest.mark.parametrize(
    ("text", "offset"),
    [
        (CORNERS, 5),
        (CORNERS.replace(",", " "), 5),
        (f"{CORNERS} @ 01:00:00:03", 3),
        (f"{CORNERS}@01:00:00:00", 0),
        (f"{CORNERS}@01:00:01:00", 24),  # outside: whoever asks says so
    ],
)
def test_a_cell(text: str, offset: int) -> None:
    place = chart_place(text, START, 10)
    assert place and place.offset == offset and place.corners[2] == (400, 300)


def test_an_empty_cell_is_no_chart() -> None:
    assert chart_place("  ", START, 10) is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("100,60 420,90 400,300", "takes eight numbers"),
        (CORNERS + " 4", "takes eight numbers"),
        (CORNERS.replace("60", "-60"), "takes eight numbers"),
        (CORNERS.replace("60", "1e9"), "takes eight numbers"),
        ("100,60 80,260 400,300 420,90", "clockwise"),
        ("0,0 10,0 20,0 0,10", "three lie in a line"),
        ("100,60 400,300 420,90 80,260", "clockwise"),
        (f"{CORNERS} @ noon", "no timecode"),
    ],
)
def test_a_cell_that_is_none(text: str, words: str) -> None:
    with pytest.raises(ListError, match=words) as caught:
        chart_place(text, START, 10)
    assert caught.value.key == "chart"
