"""ACES transform ids: which camera encoding or display an id means, and which id to write for one.

Source: the registry of ACES transforms (transforms.json of aces-core, v2.0.0), which also OpenColorIO's built-in configs carry
as `amf_transform_ids`; ids are taken from there as they stand, since their numbers follow no rule. Ids of ACES 1 are read where
they mean the same conversion, and never written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.displays import Display, find_display

__all__ = [
    "SPACE",
    "ConversionIds",
    "conversion_ids",
    "display_of",
    "encoding_of",
    "is_aces1_rendering",
    "output_id",
    "short",
]

SPACE = "urn:ampas:aces:transformId:"
_V1, _V2 = f"{SPACE}v1.5:", f"{SPACE}v2.0:"


@dataclass(frozen=True, kw_only=True)
class ConversionIds:
    """Ids of the two conversions between a camera encoding and ACES2065-1."""

    to_aces: str
    from_aces: str


# Encoding -> namespace, name and version of `NAME_to_ACES`; Blackmagic's way back stands under another namespace.
_REGISTERED = {
    "ARRI LogC3/Wide Gamut 3": ("Arri", "LogC3", "a2.v1"),
    "ARRI LogC4/Wide Gamut 4": ("Arri", "LogC4", "a2.v1"),
    "S-Log3/S-Gamut3": ("Sony", "SLog3_SGamut3", "a2.v1"),
    "S-Log3/S-Gamut3.Cine": ("Sony", "SLog3_SGamut3Cine", "a2.v1"),
    "S-Log3/Venice S-Gamut3": ("Sony", "Venice_SLog3_SGamut3", "a2.v1"),
    "S-Log3/Venice S-Gamut3.Cine": ("Sony", "Venice_SLog3_SGamut3Cine", "a2.v1"),
    "V-Log/V-Gamut": ("Panasonic", "VLog_VGamut", "a2.v1"),
    "Log3G10/REDWideGamutRGB": ("Red", "Log3G10_RWG", "a2.v1"),
    "Canon Log 2/Cinema Gamut": ("Canon", "CLog2_CGamut", "a1.v1"),
    "Canon Log 3/Cinema Gamut": ("Canon", "CLog3_CGamut", "a1.v1"),
    "D-Log/D-Gamut": ("DJI", "DLog_DGamut", "a1.v1"),
    "Apple Log/Rec.2020": ("Apple", "AppleLog_BT2020", "a2.v1"),
    "Blackmagic Film Generation 5/Wide Gamut": ("Blackmagic", "BMDFilm_WideGamut_Gen5", "a2.v1"),
    "ACEScc/AP1": ("Academy", "ACEScc", "a2.v1"),
    "ACEScct/AP1": ("Academy", "ACEScct", "a2.v1"),
    "ACEScg": ("Academy", "ACEScg", "a2.v1"),
}
_WAY_BACK = {"Blackmagic": "Academy"}

# Names of ACES 1: of ACEScsc (conversions of releases 1.0 to 1.3, both ways), and whole ids of input transforms.
_ACES1_CONVERSIONS = {
    "LogC_EI800_AWG": "ARRI LogC3/Wide Gamut 3",
    "SLog3_SGamut3": "S-Log3/S-Gamut3",
    "SLog3_SGamut3Cine": "S-Log3/S-Gamut3.Cine",
    "SLog3_Venice_SGamut3": "S-Log3/Venice S-Gamut3",
    "SLog3_Venice_SGamut3Cine": "S-Log3/Venice S-Gamut3.Cine",
    "VLog_VGamut": "V-Log/V-Gamut",
    "Log3G10_RWG": "Log3G10/REDWideGamutRGB",
    "CLog2_CGamut": "Canon Log 2/Cinema Gamut",
    "CLog3_CGamut": "Canon Log 3/Cinema Gamut",
    "ACEScc": "ACEScc/AP1",
    "ACEScct": "ACEScct/AP1",
    "ACEScg": "ACEScg",
}
_ACES1_INPUTS = {
    "IDT.ARRI.Alexa-v3-logC-EI800.a1.v2": "ARRI LogC3/Wide Gamut 3",
    "IDT.ARRI.ARRI-LogC4.a1.v1": "ARRI LogC4/Wide Gamut 4",
    "IDT.Sony.SLog3_SGamut3.a1.v1": "S-Log3/S-Gamut3",
    "IDT.Sony.SLog3_SGamut3Cine.a1.v1": "S-Log3/S-Gamut3.Cine",
    "IDT.Sony.Venice_SLog3_SGamut3.a1.v1": "S-Log3/Venice S-Gamut3",
    "IDT.Sony.Venice_SLog3_SGamut3Cine.a1.v1": "S-Log3/Venice S-Gamut3.Cine",
    "IDT.Canon.CanonLog2_CinemaGamut_D55.a1.v2": "Canon Log 2/Cinema Gamut",
    "IDT.Canon.CanonLog3_CinemaGamut_D55.a1.v2": "Canon Log 3/Cinema Gamut",
    "IDT.Apple.AppleLog_BT2020.a1.v1": "Apple Log/Rec.2020",
    "IDT.BlackmagicDesign.BMDFilm_WideGamut_Gen5.a1.v1": "Blackmagic Film Generation 5/Wide Gamut",
}
_ACES1_CONVERSION = re.compile(
    re.escape(_V1) + r"ACEScsc\.(?:Academy\.)?(?:(\w+)_to_ACES|ACES_to_(\w+))\.a1\.[0-3]\.\d"
)

# Display -> name of its ACES 2.0 output transform. Rec.2020 BT.1886 has none: it is shown as Rec.709 in other primaries.
_OUTPUTS = {
    "Rec.709 BT.1886": "Rec709-D65_100nit_in_Rec709-D65_BT1886",
    "sRGB": "Rec709-D65_100nit_in_Rec709-D65_sRGB-Piecewise",
    "P3-D65": "P3-D65_48nit_in_P3-D65_Gamma2pt6",
    "PQ BT.2100": "Rec2100-D65_1000nit_in_Rec2100-D65_ST2084",
    "HLG BT.2100": "P3-D65_1000nit_in_Rec2100-D65_HLG",
}


def conversion_ids(encoding: Encoding) -> ConversionIds | None:
    """Ids of the conversions between an encoding and ACES2065-1; None where the registry has none, and for ACES2065-1 itself."""
    if encoding.name not in _REGISTERED or encoding.exposure_index not in (
        None,
        800,
    ):  # of LogC3 EI 800 alone
        return None
    owner, name, version = _REGISTERED[encoding.name]
    back = _WAY_BACK.get(owner, owner)
    return ConversionIds(
        to_aces=f"{_V2}CSC.{owner}.{name}_to_ACES.{version}",
        from_aces=f"{_V2}CSC.{back}.ACES_to_{name}.{version}",
    )


@cache
def _conversions() -> dict[str, tuple[Encoding, bool]]:
    """Every id of ACES 2, and the whole ones of ACES 1: its encoding, and whether it leads to ACES."""
    found: dict[str, tuple[Encoding, bool]] = {}
    for encoding in map(find_encoding, _REGISTERED):
        if ids := conversion_ids(encoding):
            found[ids.to_aces] = encoding, True
            found[ids.from_aces] = encoding, False
    found |= {f"{_V1}{ident}": (find_encoding(name), True) for ident, name in _ACES1_INPUTS.items()}
    return found


def encoding_of(ident: str, *, to_aces: bool = True) -> Encoding | None:
    """The encoding that an id converts to ACES2065-1, or from it; None for an id that is not known here or leads the other way."""
    ident = ident.strip()
    if match := _ACES1_CONVERSION.fullmatch(ident):
        name = _ACES1_CONVERSIONS.get(match[1] or match[2])
        return find_encoding(name) if name and bool(match[1]) == to_aces else None
    encoding, way = _conversions().get(ident, (None, to_aces))
    return encoding if way == to_aces else None


def output_id(display: Display) -> str:
    """Id of the ACES 2.0 output transform for a display; empty where the registry has none."""
    name = _OUTPUTS.get(display.name)
    return f"{_V2}Output.Academy.{name}.a2.v1" if name else ""


def display_of(ident: str) -> Display | None:
    """The display that an id of an ACES 2.0 output transform is for; None for one that is not shown here."""
    return next((d for d in map(find_display, _OUTPUTS) if output_id(d) == ident.strip()), None)


def is_aces1_rendering(ident: str) -> bool:
    """True of an output transform of ACES 1: another rendering, and another picture, than ACES 2.0's for the same display."""
    return ident.strip().startswith(_V1)


def short(ident: str) -> str:
    """An id without what all ids begin with, as a person reads it: `CSC.Arri.LogC4_to_ACES.a2.v1`."""
    return ident.strip().removeprefix(_V1).removeprefix(_V2)
