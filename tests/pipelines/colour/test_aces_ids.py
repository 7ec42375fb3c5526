"""ACES transform ids: each is in OpenColorIO's built-in config, and means there what it means here."""

import re
from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio
import pytest

from rushlight.pipelines.colour import aces_ids
from rushlight.pipelines.colour.aces_ids import (
    conversion_ids,
    display_of,
    encoding_of,
    is_aces1_rendering,
    output_id,
    short,
)
from rushlight.pipelines.colour.camera_encodings import Encoding, encodings, find_encoding
from rushlight.pipelines.colour.curves import EXPOSURE_INDEXES
from rushlight.pipelines.colour.displays import ACES_CONFIG, displays, find_display

CONFIG = ocio.Config.CreateFromBuiltinConfig(ACES_CONFIG.removeprefix("ocio://"))
V1, V2 = "urn:ampas:aces:transformId:v1.5:", "urn:ampas:aces:transformId:v2.0:"
CUBE = np.stack(np.meshgrid(*[np.linspace(0.05, 0.85, 5)] * 3, indexing="ij"), -1).reshape(-1, 3)
ALL: list[Encoding] = [
    find_encoding(e.name, exposure_index=index)
    for e in encodings()
    for index in (EXPOSURE_INDEXES if e.curve == "LogC3" else (None,))
]
REGISTERED = [e for e in ALL if conversion_ids(e)]


def ids_in(space: object) -> set[str]:
    return set(space.getInterchangeAttribute("amf_transform_ids").split())  # type: ignore[attr-defined]


SPACES = {ident: s.getName() for s in CONFIG.getColorSpaces() for ident in ids_in(s)}


def test_sixteen_encodings_have_ids_of_the_registry() -> None:
    assert len(REGISTERED) == 16


@pytest.mark.parametrize("encoding", REGISTERED, ids=lambda e: e.name)
def test_an_id_is_the_configs_and_means_the_same_numbers(encoding: Encoding) -> None:
    ids = conversion_ids(encoding)
    assert ids is not None
    assert SPACES[ids.to_aces] == SPACES[ids.from_aces]
    values = CUBE.astype(np.float32)
    CONFIG.getProcessor(SPACES[ids.to_aces], "ACES2065-1").getDefaultCPUProcessor().applyRGB(values)
    # OpenColorIO cuts what ACEScc takes below 0
    np.testing.assert_allclose(
        np.maximum(encoding.to_ap0(CUBE), 0), np.maximum(values, 0), rtol=2e-3, atol=2e-4
    )


@pytest.mark.parametrize("encoding", REGISTERED, ids=lambda e: e.name)
def test_an_encoding_comes_back_from_its_ids(encoding: Encoding) -> None:
    ids = conversion_ids(encoding)
    assert ids is not None
    assert encoding_of(ids.to_aces) == encoding == encoding_of(ids.from_aces, to_aces=False)
    assert encoding_of(ids.from_aces) is None is encoding_of(ids.to_aces, to_aces=False)
    # the schema's pattern of a colour space conversion
    assert re.fullmatch(V2 + r"CSC\.\S+\.\S+\.a\d+\.v\d+", ids.to_aces)


def test_another_exposure_index_is_another_curve_and_has_no_id() -> None:
    assert conversion_ids(find_encoding("LogC3", exposure_index=400)) is None
    assert encoding_of(f"{V2}CSC.Arri.LogC3_to_ACES.a2.v1") == find_encoding("LogC3", exposure_index=800)


@pytest.mark.parametrize("display", displays(), ids=lambda d: d.name)
def test_an_output_transform_is_the_displays_and_the_views(display: object) -> None:
    """The id stands in the config on the colour space of the display and on the view that shows it."""
    shown = find_display(display.name)  # type: ignore[attr-defined]
    ident = output_id(shown)
    if shown.name == "Rec.2020 BT.1886":
        assert ident == ""
        return
    assert ident in ids_in(CONFIG.getColorSpace(shown.config_display))
    assert ident in ids_in(CONFIG.getViewTransform(shown.config_view))
    assert display_of(ident) == shown and not is_aces1_rendering(ident)


@pytest.mark.parametrize(
    ("ident", "name"),
    [
        ("ACEScsc.Academy.LogC_EI800_AWG_to_ACES.a1.1.0", "ARRI LogC3/Wide Gamut 3"),
        ("IDT.ARRI.Alexa-v3-logC-EI800.a1.v2", "ARRI LogC3/Wide Gamut 3"),
        ("IDT.ARRI.ARRI-LogC4.a1.v1", "ARRI LogC4/Wide Gamut 4"),
        ("ACEScsc.Academy.SLog3_SGamut3_to_ACES.a1.1.0", "S-Log3/S-Gamut3"),
        ("ACEScsc.Academy.SLog3_SGamut3Cine_to_ACES.a1.1.0", "S-Log3/S-Gamut3.Cine"),
        ("IDT.Sony.SLog3_SGamut3.a1.v1", "S-Log3/S-Gamut3"),
        ("IDT.Sony.SLog3_SGamut3Cine.a1.v1", "S-Log3/S-Gamut3.Cine"),
        ("ACEScsc.Academy.SLog3_Venice_SGamut3_to_ACES.a1.1.0", "S-Log3/Venice S-Gamut3"),
        ("ACEScsc.Academy.SLog3_Venice_SGamut3Cine_to_ACES.a1.1.0", "S-Log3/Venice S-Gamut3.Cine"),
        ("IDT.Sony.Venice_SLog3_SGamut3Cine.a1.v1", "S-Log3/Venice S-Gamut3.Cine"),
        ("ACEScsc.Academy.VLog_VGamut_to_ACES.a1.1.0", "V-Log/V-Gamut"),
        ("ACEScsc.Academy.Log3G10_RWG_to_ACES.a1.1.0", "Log3G10/REDWideGamutRGB"),
        ("ACEScsc.Academy.CLog2_CGamut_to_ACES.a1.1.0", "Canon Log 2/Cinema Gamut"),
        ("IDT.Canon.CanonLog3_CinemaGamut_D55.a1.v2", "Canon Log 3/Cinema Gamut"),
        ("IDT.Apple.AppleLog_BT2020.a1.v1", "Apple Log/Rec.2020"),
        ("IDT.BlackmagicDesign.BMDFilm_WideGamut_Gen5.a1.v1", "Blackmagic Film Generation 5/Wide Gamut"),
        ("ACEScsc.Academy.ACEScct_to_ACES.a1.0.3", "ACEScct/AP1"),
        ("ACEScsc.ACEScct_to_ACES.a1.0.3", "ACEScct/AP1"),
    ],
)
def test_ids_of_aces_1_that_mean_the_same_are_read(ident: str, name: str) -> None:
    found = encoding_of(V1 + ident)
    assert found is not None and found.name == name


@pytest.mark.parametrize(
    "ident",
    [
        f"{V1}IDT.ARRI.Alexa-v3-logC-EI400.a1.v2",  # another curve
        f"{V1}IDT.Sony.SLog2_SGamut_Daylight_10i.a1.v1",  # another matrix by the light
        f"{V1}IDT.Canon.CanonLog2_CinemaGamut_Tng.a1.v2",
        f"{V1}ACEScsc.Academy.ACES_to_ACEScct.a1.0.3",  # the other way
        f"{V1}ACEScsc.Academy.ACEScct_to_ACES.a2.0.0",
        f"{V2}CSC.Arri.LogC4_to_ACES.a1.v1",  # its number is a2
        f"{V2}CSC.Acme.LogX_to_ACES.a1.v1",
        "CSC.Arri.LogC4_to_ACES.a2.v1",
        "",
    ],
)
def test_any_other_id_is_none(ident: str) -> None:
    assert encoding_of(ident) is None


def test_aces_1_renders_another_picture() -> None:
    assert is_aces1_rendering(f"{V1}RRT.a1.0.3")
    assert display_of(f"{V1}RRTODT.Academy.Rec709_100nits_dim.a1.0.3") is None


def test_an_id_in_short() -> None:
    assert short(f"{V2}CSC.Arri.LogC4_to_ACES.a2.v1") == "CSC.Arri.LogC4_to_ACES.a2.v1"
    assert short(f" {V1}RRT.a1.0.3\n") == "RRT.a1.0.3"
    assert set(aces_ids.__all__) >= {"conversion_ids", "encoding_of"}


def test_the_page_has_every_id() -> None:
    page = (Path(__file__).resolve().parents[3] / "docs/reference/aces.md").read_text()
    named = set(re.findall(r"`((?:CSC|Output)\.[\w.-]+v1)`", page))
    ids = [conversion_ids(e) for e in REGISTERED]
    assert named == {short(i.to_aces) for i in ids if i} | {
        short(output_id(d)) for d in displays() if output_id(d)
    }
