"""Surfaces and lights of the sample scenes, as measured spectra.

Every surface is a reflectance of colour-science's ISO 17321-1 chart (or a mix of them), every light a standard illuminant
or a black body; the two meet as spectra, integrated with the CIE 1931 observer to scene-linear ACES2065-1.
"""

import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science warns of the optional packages it does without
    import colour

CHART = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
NAMES = list(CHART)
CMFS = (
    colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 780, 10))
)
AP0 = colour.RGB_COLOURSPACES["ACES2065-1"]
D65_WHITE = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
TO_ACES_WHITE = colour.adaptation.matrix_chromatic_adaptation_VonKries(
    D65_WHITE, colour.xy_to_XYZ(AP0.whitepoint), transform="CAT02"
)
FLAT = np.ones(len(CMFS.wavelengths))


def light(name, kelvin=None):
    """An illuminant as 41 samples, its Y normalised to 1."""
    sd = (
        colour.sd_blackbody(kelvin, CMFS.shape)
        if kelvin
        else colour.SDS_ILLUMINANTS[name].copy().align(CMFS.shape)
    )
    return sd.values / (sd.values @ CMFS.values[:, 1])


def patch(name):
    """A patch's reflectance as 41 samples."""
    return CHART[name].copy().align(CMFS.shape).values


def seen(reflectance, illuminant):
    """ACES2065-1 linear RGB of a reflectance under an illuminant; D65 is the camera's white."""
    xyz = (reflectance * illuminant) @ CMFS.values
    return np.maximum((TO_ACES_WHITE @ xyz) @ AP0.matrix_XYZ_to_RGB.T, 0)


SKYLIGHT, DUSK, AFTERGLOW, LAMP = light(None, 9000), light(None, 12000), light(None, 3100), light("A")
MORNING = 0.5 * light("D65") + 0.5 * light(None, 11000)


def table(materials, lights):
    """(material, light, 3): each reflectance under each light."""
    return np.array([[seen(m, i) for i in lights] for m in materials])
