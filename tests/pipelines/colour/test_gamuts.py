"""Gamuts: published matrices, the adaptation of each maker, and whites that are none."""

import numpy as np
import pytest

import colour
from rushlight.pipelines.colour.gamuts import (
    ACES_WHITE,
    AP0,
    AP1,
    D65,
    GAMUTS,
    P3_D65,
    REC709,
    REC2020,
    Gamut,
    adaptation,
    white_xyz,
)


# The second row of RGB to XYZ: BT.709-6 and BT.2020-2 derive their luma from it; SMPTE ST 2065-1, S-2014-004 for AP0, AP1.
@pytest.mark.parametrize(
    ("gamut", "row"),
    [
        (REC709, (0.212639, 0.715169, 0.072192)),
        (REC2020, (0.262700, 0.677998, 0.059302)),
        (P3_D65, (0.228975, 0.691739, 0.079287)),
        (AP1, (0.272229, 0.674082, 0.053690)),
        (AP0, (0.343966, 0.728166, -0.072133)),
    ],
)
def test_luminance_rows(gamut: Gamut, row: tuple) -> None:
    assert gamut.to_xyz()[1] == pytest.approx(row, abs=1e-6)
    assert gamut.to_xyz() @ [1, 1, 1] == pytest.approx(white_xyz(gamut.white))


def test_published_matrices() -> None:
    # IEC 61966-2-1, section 5.2: linear sRGB to XYZ, four decimals
    assert REC709.to_xyz() == pytest.approx(
        np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]), abs=1e-4
    )
    # Academy S-2014-004: ACEScg to ACES2065-1
    wanted = [
        [0.6954522414, 0.1406786965, 0.1638690622],
        [0.0447945634, 0.8596711185, 0.0955343182],
        [-0.0055258826, 0.0040252103, 1.0015006723],
    ]
    assert AP1.matrix_to_ap0() == pytest.approx(np.array(wanted), abs=1e-9)
    # ICC.1:2022 annex E: Bradford, and the chromatic adaptation from D65 to D50 that profiles state
    d50 = (0.3457, 0.3585)
    bradford = [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]]
    assert adaptation(D65, d50, "Bradford") == pytest.approx(np.array(bradford), abs=5e-4)


@pytest.mark.parametrize("name", GAMUTS)
def test_white_goes_to_white_and_back(name: str) -> None:
    gamut = GAMUTS[name]
    matrix = gamut.matrix_to_ap0()
    assert matrix.shape == (3, 3) and matrix @ [1, 1, 1] == pytest.approx([1, 1, 1], abs=1e-9)
    signal = np.random.default_rng(0).uniform(-0.5, 20, (4, 5, 3))
    there = signal @ matrix.T
    assert there.shape == signal.shape
    assert there @ np.linalg.inv(matrix).T == pytest.approx(signal, abs=1e-9)
    assert np.isnan(np.array([np.nan, 0.1, 0.1]) @ matrix.T).all()


@pytest.mark.parametrize(("cat", "theirs"), [("CAT02", "CAT02"), ("Bradford", "Bradford")])
def test_adaptation_against_colour_science(cat: str, theirs: str) -> None:
    given, wanted = white_xyz(D65), white_xyz(ACES_WHITE)
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(given, wanted, theirs)
    ours = adaptation(D65, ACES_WHITE, cat)
    assert ours == pytest.approx(matrix, abs=1e-6)
    assert ours @ given == pytest.approx(wanted)
    assert adaptation(ACES_WHITE, D65, cat) @ ours == pytest.approx(np.eye(3), abs=1e-12)


def test_no_adaptation_and_no_white() -> None:
    assert (adaptation(D65, D65, "CAT02") == np.eye(3)).all()
    assert (adaptation(D65, ACES_WHITE, "none") == np.eye(3)).all()
    assert np.isnan(adaptation((np.nan, 0.3), D65, "CAT02")).any()
    assert not np.isfinite(white_xyz((np.inf, 0.3))).all()
    assert white_xyz((-0.1, 0.4))[0] < 0  # negative chromaticities are arithmetic: wide primaries have them
    with pytest.raises(KeyError):
        adaptation(D65, ACES_WHITE, "another")


# check_values.md 1.3, where colour-science and OpenColorIO's source agree
@pytest.mark.parametrize(
    ("name", "primaries"),
    [
        ("Wide Gamut 3", (0.684, 0.313, 0.221, 0.848, 0.0861, -0.102)),
        ("Wide Gamut 4", (0.7347, 0.2653, 0.1424, 0.8576, 0.0991, -0.0308)),
        ("S-Gamut3", (0.730, 0.280, 0.140, 0.855, 0.100, -0.050)),
        ("S-Gamut3.Cine", (0.766, 0.275, 0.225, 0.800, 0.089, -0.087)),
        ("V-Gamut", (0.730, 0.280, 0.165, 0.840, 0.100, -0.030)),
        ("REDWideGamutRGB", (0.780308, 0.304253, 0.121595, 1.493994, 0.095612, -0.084589)),
        ("Cinema Gamut", (0.740, 0.270, 0.170, 1.140, 0.080, -0.100)),
        ("D-Gamut", (0.71, 0.31, 0.21, 0.88, 0.09, -0.08)),
        ("F-Gamut", (0.708, 0.292, 0.170, 0.797, 0.131, 0.046)),
        ("N-Gamut", (0.708, 0.292, 0.170, 0.797, 0.131, 0.046)),
        ("F-Gamut C", (0.7347, 0.2653, 0.0263, 0.9737, 0.1173, -0.0224)),
        ("Blackmagic Wide Gamut", (0.717722, 0.317118, 0.228041, 0.861569, 0.100584, -0.082045)),
    ],
)
def test_published_primaries(name: str, primaries: tuple) -> None:
    gamut = GAMUTS[name]
    assert (*gamut.red, *gamut.green, *gamut.blue) == pytest.approx(primaries, abs=1e-6)
    # check_values.md, trap 8: the adaptation of the ACES input transforms
    bradford = {"V-Gamut", "REDWideGamutRGB", "F-Gamut", "N-Gamut", "F-Gamut C"}
    assert gamut.cat == ("Bradford" if name in bradford else "CAT02")
