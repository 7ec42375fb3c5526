"""Display targets. Transfer functions by their standards; ACES 2.0 vectors measured on two OpenColorIOs."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import colour
import ocio
from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import (
    Display,
    converted,
    displays,
    find_display,
    hlg_decode,
    hlg_encode,
    luma_weights,
    output_transform,
    pq_decode,
    pq_encode,
)
from rushlight.pipelines.errors import EncodingError

REC709 = find_display("Rec.709 BT.1886")


# SMPTE ST 2084: cd/m2 -> signal; 203 cd/m2 is 58 % (ITU-R BT.2408, table 1)
@pytest.mark.parametrize(
    ("nits", "signal"),
    [
        (0.1, 0.062337),
        (1, 0.149946),
        (10, 0.299699),
        (100, 0.508078),
        (203, 0.580689),
        (1000, 0.751827),
        (10000, 1.0),
    ],
)
def test_pq(nits: float, signal: float) -> None:
    assert pq_encode(nits) == pytest.approx(signal, abs=1e-6)
    assert pq_decode(signal) == pytest.approx(nits, rel=2e-5)


@pytest.mark.parametrize("encode, decode", [(pq_encode, pq_decode), (hlg_encode, hlg_decode)])
def test_hdr_curves_back_and_forth_any_shape_and_out_of_range(encode: Any, decode: Any) -> None:
    signal = np.linspace(0, 1, 60).reshape(4, 5, 3)
    assert decode(signal).shape == signal.shape
    assert encode(decode(signal)) == pytest.approx(signal, abs=1e-6)  # PQ of 0 cd/m2 is 7e-7: ST 2084
    assert np.isnan(encode(np.nan)) and np.isnan(decode(np.nan))
    assert encode(-5.0) == pytest.approx(encode(0.0)) and decode(-5.0) == decode(0.0)
    assert encode(np.inf) >= 1 and decode(np.inf) == decode(1.0)


# ITU-R BT.2100 table 5; 26.5 % scene light is 75 % (BT.2408 table 1)
@pytest.mark.parametrize(
    ("scene", "signal"), [(0, 0), (1 / 12, 0.5), (0.265, 0.750028), (0.5, 0.871643), (1, 1.0)]
)
def test_hlg(scene: float, signal: float) -> None:
    assert hlg_encode(scene) == pytest.approx(signal, abs=2e-6)


def test_bt1886_and_srgb() -> None:
    # BT.1886 with Lb = 0, Lw = 100: V = .5 is 18.946457 cd/m2; IEC 61966-2-1: code 118 is .18116424
    assert REC709.to_light(0.5) * 100 == pytest.approx(18.946457, abs=1e-5)
    assert find_display("sRGB").to_light(118 / 255) == pytest.approx(0.18116424, abs=1e-7)
    assert find_display("sRGB").from_light(0.18) == pytest.approx(0.461356, abs=1e-6)
    # ITU-R BT.1886 annex 1 with Lb = 0; IEC 61966-2-1 codes 1, 10, 11, 188; SMPTE RP 431-2: 2.6
    for signal, nits in ((0.1, 0.398107), (0.25, 3.589682), (0.75, 50.135694), (0.9, 77.657253)):
        assert REC709.to_light(signal) * 100 == pytest.approx(nits, abs=1e-5)
    for code, light in ((1, 0.00030353), (10, 0.00303527), (11, 0.00334654), (188, 0.50288646), (255, 1)):
        assert find_display("sRGB").to_light(code / 255) == pytest.approx(light, abs=1e-7)
    assert find_display("P3-D65").to_light(0.5) == pytest.approx(0.5**2.6)


# OpenColorIO's published display vectors: XYZ (.5, .4, .3), D65 white, to the display's signal.
@pytest.mark.parametrize(
    ("name", "signal"),
    [
        ("Rec.709", (0.937245093, 0.586817090, 0.573498106)),
        ("sRGB", (0.933793573, 0.564092030, 0.550040502)),
        ("P3-D65", (0.896805202, 0.627254278, 0.608228132)),
        ("Rec.2020", (0.830338273, 0.620393284, 0.583385370)),
    ],
)
def test_published_display_vectors(name: str, signal: tuple) -> None:
    display = find_display(name)
    light = np.linalg.solve(display.gamut.to_xyz(), [0.5, 0.4, 0.3])
    assert display.from_light(light) == pytest.approx(signal, abs=2e-5)
    assert display.to_xyz(signal) == pytest.approx([0.5, 0.4, 0.3], abs=2e-5)


def test_what_is_no_signal_and_no_light() -> None:
    for display in displays():
        odd = display.to_light([[np.nan, -1.0, 2.0], [-np.inf, np.inf, 0.5]])
        assert np.isfinite(odd).all() and odd.min() >= 0
        assert odd[0, 0] == pytest.approx(0, abs=1e-6)
        back = display.from_light([[np.nan, -1.0, 0.5], [0.1, 0.2, 1e9]])
        assert np.isfinite(back).all() and back.min() >= 0 and back.max() <= 1


@pytest.mark.parametrize(
    ("ap0", "signal"),
    [
        (0.01, 0.048821),
        (0.09, 0.262025),
        (0.18, 0.383118),
        (0.36, 0.521018),
        (0.9, 0.702907),
        (2, 0.830250),
        (16, 0.976048),
    ],
)
def test_aces2_neutrals(ap0: float, signal: float) -> None:
    assert output_transform([ap0] * 3, REC709, "aces2") == pytest.approx([signal] * 3, abs=5e-5)


# The chart through ACES 2.0 SDR Rec.709, BT.1886: measured on OpenColorIO 2.5.1 and 2.6.0, which agree.
@pytest.mark.parametrize(
    ("patch", "rgb"),
    [
        ("dark skin", (0.37568, 0.24750, 0.19381)),
        ("light skin", (0.61060, 0.49196, 0.44077)),
        ("blue sky", (0.30825, 0.40039, 0.50414)),
        ("foliage", (0.27566, 0.34590, 0.19908)),
        ("blue flower", (0.43690, 0.42839, 0.55706)),
        ("bluish green", (0.37697, 0.59124, 0.54223)),
        ("orange", (0.68785, 0.41131, 0.17982)),
        ("purplish blue", (0.22581, 0.28688, 0.53651)),
        ("moderate red", (0.63319, 0.28291, 0.32408)),
        ("purple", (0.28884, 0.17293, 0.33639)),
        ("yellow green", (0.51202, 0.59233, 0.25934)),
        ("orange yellow", (0.70964, 0.52543, 0.22143)),
        ("blue", (0.11725, 0.17395, 0.47378)),
        ("green", (0.22322, 0.48549, 0.23943)),
        ("red", (0.56603, 0.14702, 0.19310)),
        ("yellow", (0.71515, 0.62089, 0.23227)),
        ("magenta", (0.60656, 0.27994, 0.47788)),
        ("cyan", (0.11286, 0.43678, 0.51105)),
        ("white 9.5", (0.69620, 0.69638, 0.69439)),
        ("neutral 8", (0.61627, 0.61557, 0.61537)),
        ("neutral 6.5", (0.51723, 0.51719, 0.51746)),
        ("neutral 5", (0.40569, 0.40558, 0.40596)),
        ("neutral 3.5", (0.26813, 0.27098, 0.27305)),
        ("black 2", (0.14287, 0.14550, 0.14973)),
    ],
)
def test_chart_through_aces2(patch: str, rgb: tuple) -> None:
    assert output_transform(PATCHES[patch], REC709, "aces2") == pytest.approx(rgb, abs=2e-4)


def test_the_whole_chart_was_above() -> None:
    assert {row[0] for row in test_chart_through_aces2.pytestmark[0].args[1]} == set(PATCHES)


# Academy: ACES 2.0 SDR 100 nit, AP0 (.5, .4, .3) is XYZ (.26260215, .25207460, .20617345) of a D65 display, Rec.709 and P3
# (OpenColorIO, tests/cpu/transforms/BuiltinTransform_tests.cpp, within 1e-4)
@pytest.mark.parametrize("name", ["Rec.709", "sRGB", "P3-D65"])
def test_the_published_aces2_vector(name: str) -> None:
    display = find_display(name)
    shown = output_transform([0.5, 0.4, 0.3], display, "aces2")
    assert display.to_xyz(shown) == pytest.approx([0.26260215, 0.25207460, 0.20617345], abs=1e-4)


def test_one_display_s_light_on_another() -> None:
    """Against colour-science's matrices; back again; the same peak for all of SDR and, in cd/m2, between PQ and HLG."""
    p3, srgb, pq, hlg = (find_display(n) for n in ("P3-D65", "sRGB", "PQ", "HLG"))
    spaces = colour.RGB_COLOURSPACES
    matrix = spaces["ITU-R BT.709"].matrix_XYZ_to_RGB @ spaces["P3-D65"].matrix_RGB_to_XYZ
    inside = np.random.default_rng(2).uniform(0.35, 0.65, (6, 3))
    wanted = (inside**2.6 @ matrix.T) ** (1 / 2.4)
    assert converted(inside, p3, REC709) == pytest.approx(wanted, abs=1e-4)
    assert converted(converted(inside, p3, REC709), REC709, p3) == pytest.approx(inside, abs=1e-9)
    assert converted([1, 1, 1], p3, srgb) == pytest.approx([1, 1, 1], abs=1e-6)
    # ITU-R BT.2408-7 table 1: reference white, 203 cd/m2, is 58 % in PQ and 75 % in HLG on a 1000 cd/m2 display
    assert converted([0.580689] * 3, pq, hlg) == pytest.approx([0.75] * 3, abs=1e-3)
    assert pq.nits(converted(inside, hlg, pq)) == pytest.approx(hlg.nits(inside), rel=1e-6)
    assert converted([[np.nan, 0.5, 0.5], [2, -1, np.inf]], p3, REC709).tolist()[0][0] == 0
    assert converted(inside, REC709, REC709) == pytest.approx(inside)
    assert converted(np.full((2, 4, 3), 0.5), p3, REC709).shape == (2, 4, 3)
    with pytest.raises(EncodingError, match="SDR and HDR"):
        converted(inside, p3, pq)


def test_every_display_is_a_round_trip() -> None:
    rng = np.random.default_rng(0)
    for display in displays():
        signal = rng.uniform(0.05, 0.95, (40, 3))
        if display.curve == "hlg":
            signal = np.repeat(signal[:, :1], 3, 1)
        assert display.from_light(display.to_light(signal)) == pytest.approx(signal, abs=1e-9)
        assert display.to_xyz(signal).shape == signal.shape
        assert (np.isfinite(display.to_xyz([[np.nan, -1, 2]]))).all()
        assert luma_weights(display.matrix)[0] > 0.2


def test_white_is_the_peak() -> None:
    assert REC709.nits([1, 1, 1]) == pytest.approx(100)
    assert find_display("pq").nits([0.751827] * 3) == pytest.approx(1000, rel=1e-4)
    assert find_display("hlg").nits([1, 1, 1]) == pytest.approx(1000, rel=1e-6)


@pytest.mark.parametrize("kind", ["aces2", "colorimetric"])
def test_nan_infinities_negatives_and_shapes(kind: str) -> None:
    values = np.array([[np.nan, 0.1, 0.1], [np.inf, 1, 1], [-1, -1, -1], [65504, 65504, 65504]])
    for display in displays():
        out = output_transform(values, display, kind)  # type: ignore[arg-type]
        assert out.shape == values.shape and np.isfinite(out).all() and out.min() >= 0 and out.max() <= 1
        assert out[0] == pytest.approx([0, 0, 0], abs=1e-5) and out[2] == pytest.approx([0, 0, 0], abs=1e-5)


def test_colorimetric_goes_by_gamut_and_reference_white() -> None:
    """Primaries of each gamut reach its own corners; scene white is the SDR peak and 203 cd/m2 in HDR (BT.2408-7, table 1)."""
    for display in displays():
        source = Encoding(
            name="x", curve="linear", kind="linear", gamut=replace(display.gamut, cat="Bradford")
        )
        white = output_transform(source.to_ap0([1.0, 1, 1]), display, "colorimetric")
        assert display.nits(white) == pytest.approx(203 if display.hdr else 100, rel=1e-4)
        red = output_transform(source.to_ap0([0.5, 0.0, 0.0]), display, "colorimetric")
        assert red[1:] == pytest.approx([0, 0], abs=2e-3) and red[0] > 0.3


def test_rec2020_of_sdr_shows_the_rec709_rendering() -> None:
    """The config has no such view: the same light, in other primaries."""
    ap0 = np.array(list(PATCHES.values()))
    wide = find_display("Rec.2020")
    shown, same = output_transform(ap0, wide, "aces2"), output_transform(ap0, REC709, "aces2")
    assert wide.to_xyz(shown) == pytest.approx(REC709.to_xyz(same), abs=1e-6)


def test_colorimetric_is_the_untouched_scene() -> None:
    assert output_transform([0.18] * 3, REC709, "colorimetric") == pytest.approx(
        [0.18 ** (1 / 2.4)] * 3, abs=1e-4
    )


@pytest.mark.parametrize("name", ["P3-D65", "PQ BT.2100", "HLG BT.2100", "sRGB"])
def test_other_displays_against_opencolorio(name: str) -> None:
    display = find_display(name)
    ap0 = np.array(list(PATCHES.values()))
    theirs = ocio.displayed(ap0, "ACES2065-1", display.config_display, display.config_view)
    assert output_transform(ap0, display, "aces2") == pytest.approx(np.clip(theirs, 0, 1), abs=1e-6)


def test_names() -> None:
    assert find_display("rec 709").name == find_display("BT.1886").name == "Rec.709 BT.1886"
    assert (find_display("PQ").primaries, find_display("PQ").transfer, find_display("PQ").matrix) == (
        9,
        16,
        9,
    )
    with pytest.raises(EncodingError, match="HLG"):
        find_display("HLGG")
    with pytest.raises(EncodingError, match="matrix 3"):
        luma_weights(3)


@pytest.mark.parametrize(
    "display", [d for d in displays() if d.name != "Rec.2020 BT.1886"], ids=lambda d: d.name
)
def test_aces2_is_what_openimageio_makes_of_the_same_config(display: Display) -> None:
    """Two builds of OpenColorIO, 2.6 of its own package and 2.5.1 inside OpenImageIO, give the same bits."""
    rng = np.random.default_rng(7)
    ap0 = np.concatenate([rng.uniform(-0.1, 1.2, (5000, 3)), 2.0 ** rng.uniform(-14, 8, (5000, 3))])
    judged = ocio.displayed(ap0, "ACES2065-1", display.config_display, display.config_view)
    assert (output_transform(ap0, display, "aces2") == np.clip(judged, 0, 1)).all()
    assert output_transform(np.zeros((0, 3)), display, "aces2").shape == (0, 3)
