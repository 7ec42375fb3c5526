"""Camera encodings against published code values, OpenColorIO's published vectors, and OpenColorIO itself."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ocio
from here import rushlight
from rushlight.pipelines.colour.camera_encodings import (
    EXPOSURE_INDEXES,
    Encoding,
    encodings,
    find_encoding,
    suggest_encoding,
)
from rushlight.pipelines.errors import EncodingError

ALL = [e.name for e in encodings()]
LOGS = [e.name for e in encodings() if e.kind == "log"]


def get(name: str) -> Encoding:
    return find_encoding(name)


# 10-bit codes of 0 %, 18 % and 90 % reflectance, and their source.
@pytest.mark.parametrize(
    ("name", "codes", "tolerance"),
    [
        ("LogC3", (94.94, 400.00, 572.30), 0.02),  # ARRI Log C curve document: grey is 400 at every EI
        ("LogC4", (95.00, 284.80, 427.57), 0.02),  # ARRI LogC4 specification 2023
        ("S-Log3/S-Gamut3.Cine", (95, 420, 598), 0.5),  # Sony Technical Summary v1.0, table
        ("S-Log2", (90, 347, 582), 0.5),  # Sony S-Log2 Technical Paper V1.0 (2012), p. 5
        ("S-Log", (90, 394, 636), 0.5),  # the same, p. 5
        ("V-Log", (128, 433, 602), 0.5),  # Panasonic V-Log/V-Gamut Reference Manual Rev. 1.0, figure 2.2
        ("Log3G10", (93.66, 341.00, 494.48), 0.02),  # RED white paper 915-0187: grey at one third
        ("Canon Log", (128, 351, 614), 0.5),  # Canon, table quoted in colour-science
        ("Canon Log 2", (95, 407.41, 575.24), 0.05),  # Canon white paper 2018
        ("Canon Log 3", (128, 351.29, 577.46), 0.05),  # Canon white paper 2018
        ("F-Log", (95, 470, 705), 0.5),  # Fujifilm F-Log Data Sheet
        ("F-Log2", (95, 400, 570), 0.5),  # Fujifilm F-Log2 Data Sheet
        ("N-Log", (127.23, 372.03, 603.20), 0.02),  # Nikon N-Log Specification 1.0.0, section 2
        ("L-Log", (92.07, 445.33, 633.81), 0.02),  # Leica L-Log Reference Manual
        ("D-Log", (95.04, 407.94, 586.12), 0.02),  # constants of DJI's white paper
        ("Apple Log", (153.94, 499.50, 697.37), 0.02),  # Apple Log Profile white paper
        (
            "Blackmagic Film Generation 5",
            (94.59, 392.38, 533.38),
            0.02,
        ),  # constants of the maker's 2021 paper
        ("Cineon", (95, 467.84, 671.43), 0.02),  # Kodak: black 95, white 685, 0.002 density a code
        ("ACEScc", (-366.69, 423.10, 558.68), 0.02),  # Academy S-2014-003
        ("ACEScct", (74.58, 423.10, 558.68), 0.02),  # Academy S-2016-001
        ("Video Rec.709", (0, 418.42, 970.94), 0.02),  # BT.709-6 item 1.2: .18 -> .409008, .9 -> .949110
    ],
)
def test_published_code_values(name: str, codes: tuple, tolerance: float) -> None:
    assert get(name).encode([0.0, 0.18, 0.9]) * 1023 == pytest.approx(codes, abs=tolerance)


@pytest.mark.parametrize("index", [160, 200, 400, 800, 1600])
def test_logc3_grey_is_400_at_every_exposure_index(index: int) -> None:
    white = {160: 585.05, 200: 583.28, 400: 577.78, 800: 572.30, 1600: 566.83}[index]
    encoding = find_encoding("LogC3", exposure_index=index)
    assert encoding.encode([0.18, 0.9]) * 1023 == pytest.approx((400.0, white), abs=0.02)
    assert find_encoding(f"LogC3 EI {index}") == encoding


@pytest.mark.parametrize("index", EXPOSURE_INDEXES)
def test_every_exposure_index_the_maker_publishes(index: int) -> None:
    """Grey at 400; and read at 800, light shot at another index is off by what check_values.md says (4.0 at EI 160, 1600)."""
    encoding = find_encoding("LogC3", exposure_index=index)
    assert encoding.encode([0.18])[0] * 1023 == pytest.approx(400, abs=0.05)
    stops = {160: 0.351, 400: 0.151, 1600: -0.151}.get(index)
    if stops:
        assert np.log2(get("LogC3").decode(encoding.encode([4.0])) / 4)[0] == pytest.approx(stops, abs=2e-3)


# OpenColorIO tests/cpu/transforms/BuiltinTransform_tests.cpp: log (0.5, 0.4, 0.3) to ACES2065-1.
@pytest.mark.parametrize(
    ("name", "ap0"),
    [
        ("LogC3", (0.401621428, 0.236455448, 0.064830001)),
        ("LogC4", (1.786878082, 0.743018593, 0.232840038)),
        ("S-Log3 S-Gamut3", (0.342259707, 0.172043362, 0.057188032)),
        ("S-Log3/S-Gamut3.Cine", (0.314942672, 0.170408018, 0.046854941)),
        ("S-Log3 Venice S-Gamut3", (0.35101694, 0.17165215, 0.05479717)),
        ("S-Log3 Venice S-Gamut3.Cine", (0.32222527, 0.17032611, 0.04477848)),
        ("V-Log", (0.306918773, 0.148128051, 0.046334439)),
        ("Log3G10", (0.887988237, 0.416932248, -0.025442211)),
        ("Canon Log 2", (0.408435767, 0.197486903, 0.034204558)),
        ("Canon Log 3", (0.496034920, 0.301015360, 0.083691829)),
        ("Apple Log", (0.153334766, 0.083515430, 0.032948254)),
        ("ACEScct", (0.386397223, 0.158557252, 0.043152538)),
    ],
)
def test_published_vectors_to_aces(name: str, ap0: tuple) -> None:
    assert get(name).to_ap0([0.5, 0.4, 0.3]) == pytest.approx(ap0, rel=1e-5, abs=2e-6)


def test_every_published_table_is_held() -> None:
    """Each curve that ships has its codes above, but for linear."""
    held = {get(row[0]).curve for row in test_published_code_values.pytestmark[0].args[1]}
    assert held == {e.curve for e in encodings()} - {"linear"}


AXIS = np.linspace(0.0, 1.0, 11)
CUBE = np.stack(np.meshgrid(AXIS, AXIS, AXIS, indexing="ij"), -1).reshape(-1, 3)
RAMP = np.repeat(np.linspace(0.0, 1.0, 1024)[:, None], 3, 1)
# DJI publishes D-Log's encoder and its decoder, each rounded: OpenColorIO follows one and we the other, 1.4e-6 apart.
FLOOR = {"D-Log/D-Gamut": 1.5e-6}


@pytest.mark.parametrize("name", ocio.SPACES)
def test_against_opencolorio(name: str) -> None:
    """Curve over a ramp of 1,024 within 2e-5, to ACES over an 11-cube within 1e-4, relative (to a pixel's largest).

    A floor of 1e-7 is what OpenColorIO's float32 makes of a code where the curve goes through 0. Each maker's
    adaptation is in it: the other one would be off by 7e-3 (check_values.md, trap 8).
    """
    encoding, floor = get(name), FLOOR.get(name, 1e-7)
    theirs = ocio.converted(RAMP, ocio.SPACES[name], "ACES2065-1")
    assert (np.abs(encoding.decode(RAMP) - theirs) <= 2e-5 * np.abs(theirs) + floor).all()
    theirs, ours = ocio.converted(CUBE, ocio.SPACES[name], "ACES2065-1"), encoding.to_ap0(CUBE)
    if name == "ACEScc/AP1":  # OpenColorIO clamps negative AP0 here
        keep = (ours >= 0).all(-1)
        assert keep.sum() > 300
        theirs, ours = theirs[keep], ours[keep]
    largest = np.abs(theirs).max(-1, keepdims=True)
    assert (np.abs(ours - theirs) <= 1e-4 * largest + floor).all()


def test_the_other_adaptation_would_show() -> None:
    """What the tests above would say of a maker's gamut with Bradford for CAT02, or the other way."""
    for name in ("LogC3", "S-Log3/S-Gamut3.Cine", "V-Log", "Log3G10", "Canon Log 3", "Apple Log"):
        ours = get(name)
        other = replace(
            ours, gamut=replace(ours.gamut, cat={"CAT02": "Bradford"}.get(ours.gamut.cat, "CAT02"))
        )
        right = ours.to_ap0(CUBE)
        moved = np.abs(other.to_ap0(CUBE) - right) / np.abs(right).max(-1, keepdims=True)
        assert 5e-3 < moved.max() < 9e-3


def test_video_against_opencolorio() -> None:
    """BT.709-6 publishes 1.099, 0.099 and 0.018; OpenColorIO's curve is the continuous one, 1.0993 and 0.0181."""
    theirs = ocio.converted(RAMP, "Camera Rec.709", "ACES2065-1")
    assert get("Video Rec.709").decode(RAMP) == pytest.approx(theirs, abs=6e-5)
    # BT.709-6 item 1.2, by hand: 4.5 L below 0.018, else 1.099 L^0.45 - 0.099
    assert get("video").encode([0.01, 0.018, 0.18, 0.5, 0.9, 1]) == pytest.approx(
        [0.045, 0.081248, 0.409008, 0.705515, 0.949110, 1], abs=2e-6
    )


@pytest.mark.parametrize(("code", "stops"), [(420, 0.06), (598, 0.33)])
def test_mixing_up_levels_costs_what_is_said(code: int, stops: float) -> None:
    """S-Log3's file codes of grey and 90 % white read as if they were scaled into narrow levels: too bright or dark by so much."""
    right, wrong = get("S-Log3/S-Gamut3").decode([code / 1023, (code - 64) / 876])
    assert abs(np.log2(wrong / right)) == pytest.approx(stops, abs=0.01)


@pytest.mark.parametrize("name", ALL)
def test_inverse_shapes_and_neutral(name: str) -> None:
    encoding = get(name)
    code = np.linspace(-0.05, 1.09, 60).reshape(4, 5, 3)  # all that narrow codes carry
    if encoding.curve in ("Apple Log", "Cineon"):  # they have a floor, at code 0
        code = np.maximum(code, 0.0)
    assert encoding.encode(encoding.decode(code)) == pytest.approx(code, abs=1e-9)
    assert encoding.from_ap0(encoding.to_ap0(code)) == pytest.approx(code, abs=1e-7)
    assert encoding.to_ap0(code).shape == code.shape
    neutral = encoding.to_ap0(np.repeat(encoding.encode(0.18), 3))
    assert neutral == pytest.approx([0.18] * 3, abs=1e-5)


@pytest.mark.parametrize("name", ALL)
def test_nan_infinities_and_negatives(name: str) -> None:
    encoding = get(name)
    assert np.isnan(encoding.decode([np.nan])).all() and np.isnan(encoding.encode([np.nan])).all()
    assert encoding.encode([np.inf])[0] > 1
    assert np.isfinite(encoding.decode([-0.07, -0.01])).all()
    odd = np.array([[np.nan, 0.4, 0.4], [np.inf, 0.4, 0.4], [-np.inf, 0.4, 0.4]])
    assert encoding.to_ap0(odd).shape == encoding.from_ap0(odd).shape == odd.shape  # and no warning
    below = encoding.encode([-0.05, -0.01, 0.0])
    assert np.isfinite(below).all() and (np.diff(below) >= 0).all()
    assert encoding.decode([np.inf])[0] >= 65504


def test_names_are_forgiving() -> None:
    for text, name in {
        "v-log": "V-Log/V-Gamut",
        "VLOG": "V-Log/V-Gamut",
        "log3g10": "Log3G10/REDWideGamutRGB",
        "Canon Log 3": "Canon Log 3/Cinema Gamut",
        "canon_log.3": "Canon Log 3/Cinema Gamut",
        "LogC4": "ARRI LogC4/Wide Gamut 4",
        "slog3 sgamut3cine": "S-Log3/S-Gamut3.Cine",
        "S-Log3 - S-Gamut3.Cine": "S-Log3/S-Gamut3.Cine",
        "ACES 2065-1": "ACES2065-1",
        "f-log2": "F-Log2/F-Gamut",
    }.items():
        assert find_encoding(text).name == name


# Issue: the encodings that must be there; a curve alone means its maker's gamut.
@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("LogC3", "ARRI LogC3/Wide Gamut 3"),
        ("LogC4", "ARRI LogC4/Wide Gamut 4"),
        ("S-Log", "S-Log/S-Gamut"),
        ("S-Log2", "S-Log2/S-Gamut"),
        ("S-Log3 S-Gamut3", "S-Log3/S-Gamut3"),
        ("S-Log3 S-Gamut3.Cine", "S-Log3/S-Gamut3.Cine"),
        ("S-Log3 Venice S-Gamut3", "S-Log3/Venice S-Gamut3"),
        ("S-Log3 Venice S-Gamut3.Cine", "S-Log3/Venice S-Gamut3.Cine"),
        ("V-Log", "V-Log/V-Gamut"),
        ("Log3G10", "Log3G10/REDWideGamutRGB"),
        ("Canon Log", "Canon Log/Cinema Gamut"),
        ("Canon Log 2", "Canon Log 2/Cinema Gamut"),
        ("Canon Log 3", "Canon Log 3/Cinema Gamut"),
        ("F-Log", "F-Log/F-Gamut"),
        ("F-Log2", "F-Log2/F-Gamut"),
        ("F-Log2 F-Gamut C", "F-Log2/F-Gamut C"),
        ("N-Log", "N-Log/N-Gamut"),
        ("L-Log", "L-Log/Rec.2020"),
        ("D-Log", "D-Log/D-Gamut"),
        ("Apple Log", "Apple Log/Rec.2020"),
        ("Blackmagic Film Generation 5", "Blackmagic Film Generation 5/Wide Gamut"),
        ("Cineon", "Cineon/Rec.709"),
        ("ACEScc", "ACEScc/AP1"),
        ("ACEScct", "ACEScct/AP1"),
        ("ACEScg", "ACEScg"),
        ("ACES2065-1", "ACES2065-1"),
        ("linear Rec.709", "Linear Rec.709"),
        ("video", "Video Rec.709"),
    ],
)
def test_what_ships(text: str, name: str) -> None:
    assert get(text).name == name and get(name).source
    assert bool(get(name).levels) == bool(get(name).levels_source)


def test_every_name_finds_itself_and_is_unique() -> None:
    assert len(set(ALL)) == len(ALL)
    assert [find_encoding(n).name for n in ALL] == ALL


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("S-Log3", "S-Log3/S-Gamut3.Cine, S-Log3/Venice S-Gamut3"),
        ("V-Lok", "V-Log/V-Gamut"),
        ("", "encodings"),
        ("LogC3 EI 750", "160, 200"),
    ],
)
def test_wrong_names_say_what_would_do(text: str, words: str) -> None:
    with pytest.raises(EncodingError, match=words.replace("(", r"\(")):
        find_encoding(text)


@given(st.text(max_size=30))
def test_junk_names(text: str) -> None:
    try:
        find_encoding(text)
    except EncodingError:
        pass


def test_metadata_only_suggests() -> None:
    assert suggest_encoding({"com.maker.gamma": "s-log3-cine"}) == "S-Log3/S-Gamut3.Cine"
    assert suggest_encoding({"encoder": "Lavf"}) is None


def test_makers_rules_for_levels() -> None:
    assert get("S-Log3/S-Gamut3").levels == "full" and "420" in get("S-Log3/S-Gamut3").levels_source
    assert get("LogC3").levels == "narrow"


def test_the_command_prints_the_table() -> None:
    """Name with gamut, code of 18 % grey, levels and source of each, in a hundred columns; the same as JSON."""
    run = rushlight("encodings")
    assert run.returncode == 0 and max(map(len, run.stdout.splitlines())) <= 100
    assert all(f"\n{name} " in run.stdout for name in ALL)
    rows = json.loads(rushlight("encodings", "--json").stdout)
    assert [row["name"] for row in rows] == ALL and all(row["source"] for row in rows)
    (sony,) = (row for row in rows if row["name"] == "S-Log3/S-Gamut3.Cine")
    assert (sony["gamut"], sony["grey"], sony["levels"]) == ("S-Gamut3.Cine", 420.0, "full")
    assert "420" in sony["levels_source"]
