"""OpenColorIO's own studio config, evaluated through OpenImageIO: the outside judge of colour."""

from pathlib import Path

import numpy as np
import OpenImageIO as oiio
from numpy.typing import NDArray

CONFIG = "ocio://studio-config-v4.0.0_aces-v2.0_ocio-v2.5"
SMALL = "ocio://cg-config-v1.0.0_aces-v1.3_ocio-v2.1"  # for files alone: each call reads its config, the other in 0.1 s

# Our names -> the config's.
SPACES = {
    "ARRI LogC3/Wide Gamut 3": "ARRI LogC3 (EI800)",
    "ARRI LogC4/Wide Gamut 4": "ARRI LogC4",
    "S-Log3/S-Gamut3": "S-Log3 S-Gamut3",
    "S-Log3/S-Gamut3.Cine": "S-Log3 S-Gamut3.Cine",
    "S-Log3/Venice S-Gamut3": "S-Log3 Venice S-Gamut3",
    "S-Log3/Venice S-Gamut3.Cine": "S-Log3 Venice S-Gamut3.Cine",
    "V-Log/V-Gamut": "V-Log V-Gamut",
    "Log3G10/REDWideGamutRGB": "Log3G10 REDWideGamutRGB",
    "Canon Log 2/Cinema Gamut": "CanonLog2 CinemaGamut D55",
    "Canon Log 3/Cinema Gamut": "CanonLog3 CinemaGamut D55",
    "D-Log/D-Gamut": "D-Log D-Gamut",
    "Apple Log/Rec.2020": "Apple Log",
    "Blackmagic Film Generation 5/Wide Gamut": "BMDFilm WideGamut Gen5",
    "ACEScct/AP1": "ACEScct",
    "ACEScc/AP1": "ACEScc",
    "ACEScg": "ACEScg",
    "Linear Rec.709": "Linear Rec.709 (sRGB)",
    "Linear Rec.2020": "Linear Rec.2020",
    "Linear P3-D65": "Linear P3-D65",
}


def converted(values: NDArray[np.float64], source: str, target: str) -> NDArray[np.float64]:
    """Values (..., 3) from one space of the config to another."""
    flat = np.ascontiguousarray(np.asarray(values, np.float32).reshape(1, -1, 3))
    out = oiio.ImageBufAlgo.colorconvert(oiio.ImageBuf(flat), source, target, colorconfig=CONFIG)
    assert not out.has_error, out.geterror()
    return np.asarray(out.get_pixels(oiio.FLOAT), np.float64).reshape(np.shape(values))


def displayed(
    values: NDArray[np.float64],
    source: str,
    display: str = "Rec.1886 Rec.709 - Display",
    view: str = "ACES 2.0 - SDR 100 nits (Rec.709)",
) -> NDArray[np.float64]:
    """Display R'G'B' (..., 3) of values in a space of the config."""
    flat = np.ascontiguousarray(np.asarray(values, np.float32).reshape(1, -1, 3))
    out = oiio.ImageBufAlgo.ociodisplay(
        oiio.ImageBuf(flat), display, view, fromspace=source, colorconfig=CONFIG
    )
    assert not out.has_error, out.geterror()
    return np.asarray(out.get_pixels(oiio.FLOAT), np.float64).reshape(np.shape(values))


def through_file(values: NDArray[np.float64], path: Path) -> NDArray[np.float64]:
    """Values (..., 3) through a LUT or CDL file as OpenColorIO reads it: a LUT by tetrahedra, a CDL without clamps."""
    flat = np.ascontiguousarray(np.asarray(values, np.float32).reshape(1, -1, 3))
    out = oiio.ImageBufAlgo.ociofiletransform(oiio.ImageBuf(flat), str(path), colorconfig=SMALL)
    assert not out.has_error, out.geterror()
    return np.asarray(out.get_pixels(oiio.FLOAT), np.float64).reshape(np.shape(values))
