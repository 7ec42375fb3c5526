"""Display targets. Transfer functions by their standards; ACES 2.0 vectors measured on two OpenColorIOs."""

import numpy as np
import ocio
import pytest
from rushlight.pipelines.chart import PATCHES
from rushlight.pipelines.display import (
    displays,
    find_display,
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
        ("foliage", (0.27566, 0.34590, 0.19908)),
        ("orange", (0.68785, 0.41131, 0.17982)),
        ("blue", (0.11725, 0.17395, 0.47378)),
        ("red", (0.56603, 0.14702, 0.19310)),
        ("cyan", (0.11286, 0.43678, 0.51105)),
        ("white 9.5", (0.69620, 0.69638, 0.69439)),
        ("black 2", (0.14287, 0.14550, 0.14973)),
    ],
)
def test_chart_through_aces2(patch: str, rgb: tuple) -> None:
    assert output_transform(PATCHES[patch], REC709, "aces2") == pytest.approx(rgb, abs=2e-4)


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
