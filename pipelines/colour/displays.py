"""Display targets: what a monitor makes of code values, and the transforms that lead there.

Code points are ITU-T H.273's. Display R'G'B' is 0..1 of the signal range, before narrow or full levels.
ACES 2.0 output transforms are OpenColorIO's, evaluated in float32 with a pinned built-in config.
"""

from __future__ import annotations

import difflib
import os
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.gamuts import ACES_WHITE, AP0, D65, P3_D65, REC709, REC2020, Gamut, adaptation
from rushlight.pipelines.errors import EncodingError

if TYPE_CHECKING:
    import PyOpenColorIO as ocio

__all__ = [
    "ACES_CONFIG",
    "Display",
    "Transform",
    "converted",
    "displays",
    "find_display",
    "luma_weights",
    "opencolorio_version",
    "output_transform",
]

# OpenColorIO says on the terminal that ACES 2.0's function is experimental; what it gives is held by tests.
os.environ.setdefault("OCIO_LOGGING_LEVEL", "none")

ACES_CONFIG = "ocio://studio-config-v4.0.0_aces-v2.0_ocio-v2.5"
Transform = Literal["aces2", "colorimetric"]
Curve = Literal["bt1886", "srgb", "gamma2.6", "pq", "hlg"]
Array = NDArray[np.float64]

# BT.601, BT.709, BT.2020 item 3.2/4: Kr and Kb by H.273 matrix code.
_LUMA = {1: (0.2126, 0.0722), 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}


def luma_weights(matrix: int) -> tuple[float, float]:
    """Kr and Kb of an H.273 matrix code (1, 5, 6 or 9). EncodingError for another."""
    try:
        return _LUMA[matrix]
    except KeyError:
        raise EncodingError(f"matrix {matrix} is none of BT.709 (1), BT.601 (5, 6) or BT.2020 (9)") from None


@dataclass(frozen=True, kw_only=True)
class Display:
    """One kind of monitor signal."""

    name: str
    gamut: Gamut
    curve: Curve
    peak: float  # cd/m2 of a signal of 1 (PQ: of the mastering display)
    primaries: int
    transfer: int
    matrix: int
    config_display: str  # of the OpenColorIO config
    config_view: str

    @property
    def hdr(self) -> bool:
        return self.curve in ("pq", "hlg")

    def to_light(self, rgb: ArrayLike) -> Array:
        """Display-linear RGB (..., 3) of the signal: 1 is `peak`, or for PQ 100 cd/m2. Values outside 0..1 are clipped, NaN is 0."""
        signal = np.asarray(rgb, np.float64)
        signal = np.clip(np.where(np.isnan(signal), 0.0, signal), 0.0, 1.0)
        if self.curve == "bt1886":  # ITU-R BT.1886 Annex 1 with Lb = 0, as the ACES transforms have it
            return signal**2.4
        if self.curve == "gamma2.6":  # SMPTE RP 431-2, section 7.2
            return signal**2.6
        if self.curve == "srgb":  # IEC 61966-2-1:1999, section 5.2
            return np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
        if self.curve == "pq":  # SMPTE ST 2084:2014, equation 4.1
            return pq_decode(signal) / 100.0
        # ITU-R BT.2100-2, table 5: inverse OETF, then the OOTF of a 1000 cd/m2 display, gamma 1.2
        scene = hlg_decode(signal)
        luma = scene @ np.array([0.2627, 0.6780, 0.0593])
        return scene * luma[..., None] ** 0.2

    def from_light(self, light: ArrayLike) -> Array:
        """The inverse of `to_light`; what lies outside 0..1 of the signal is clipped."""
        linear = np.asarray(light, np.float64)
        linear = np.maximum(np.where(np.isnan(linear), 0.0, linear), 0.0)
        if self.curve == "pq":
            return np.clip(pq_encode(linear * 100.0), 0.0, 1.0)
        if self.curve == "hlg":
            luma = linear @ np.array([0.2627, 0.6780, 0.0593])
            with np.errstate(divide="ignore", invalid="ignore"):
                scene = np.where(luma[..., None] > 0, linear * luma[..., None] ** (1 / 1.2 - 1), 0.0)
            return np.clip(hlg_encode(scene), 0.0, 1.0)
        linear = np.minimum(linear, 1.0)
        if self.curve == "bt1886":
            return linear ** (1 / 2.4)
        if self.curve == "gamma2.6":
            return linear ** (1 / 2.6)
        return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)

    def to_xyz(self, rgb: ArrayLike) -> Array:
        """CIE XYZ (..., 3) of the signal, relative: Y is 1 for `peak`, or for PQ for 100 cd/m2."""
        return self.to_light(rgb) @ self.gamut.to_xyz().T

    def nits(self, rgb: ArrayLike) -> Array:
        """Luminance in cd/m2 of signals (..., 3)."""
        unit = 100.0 if self.curve == "pq" else self.peak
        luminance: Array = self.to_xyz(rgb)[..., 1] * unit
        return luminance


def converted(rgb: ArrayLike, source: Display, target: Display) -> Array:
    """The signal (..., 3) with which `target` shows the light of `rgb` (..., 3) on `source`, clipped to its gamut and peak.

    The same CIE XYZ in cd/m2; both whites are D65. NaN gives black. EncodingError between SDR and HDR, for which
    there is no one conversion.
    """
    if source.hdr != target.hdr:
        raise EncodingError(f"{source.name} and {target.name}: no conversion is defined between SDR and HDR")
    if source == target:
        return np.asarray(rgb, np.float64)
    units = [100.0 if display.curve == "pq" else display.peak for display in (source, target)]
    matrix = np.linalg.solve(target.gamut.to_xyz(), source.gamut.to_xyz()) * (units[0] / units[1])
    return target.from_light(source.to_light(rgb) @ matrix.T)


_M1, _M2 = 2610 / 16384, 2523 / 32
_C1, _C2, _C3 = 3424 / 4096, 2413 / 128, 2392 / 128


def pq_decode(signal: ArrayLike) -> Array:
    """cd/m2 (0..10000) of a PQ signal 0..1. SMPTE ST 2084:2014, equation 4.1."""
    power = np.clip(np.asarray(signal, np.float64), 0, 1) ** (1 / _M2)
    result: Array = 10000.0 * (np.maximum(power - _C1, 0) / (_C2 - _C3 * power)) ** (1 / _M1)
    return result


def pq_encode(nits: ArrayLike) -> Array:
    """PQ signal 0..1 of cd/m2; clipped to 0..10000. SMPTE ST 2084:2014, equation 5.2."""
    power = (np.clip(np.asarray(nits, np.float64), 0, 10000) / 10000.0) ** _M1
    result: Array = ((_C1 + _C2 * power) / (1 + _C3 * power)) ** _M2
    return result


_A, _B, _C = 0.17883277, 0.28466892, 0.55991073


def hlg_encode(scene: ArrayLike) -> Array:
    """HLG signal of scene light 0..1. ITU-R BT.2100-2, table 5, OETF."""
    light = np.maximum(np.asarray(scene, np.float64), 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(
            light <= 1 / 12, np.sqrt(3 * light), _A * np.log(np.maximum(12 * light - _B, 1e-9)) + _C
        )


def hlg_decode(signal: ArrayLike) -> Array:
    """Scene light 0..1 of an HLG signal. ITU-R BT.2100-2, table 5, inverse OETF."""
    value = np.clip(np.asarray(signal, np.float64), 0, 1)
    return np.where(value <= 0.5, value**2 / 3, (np.exp((value - _C) / _A) + _B) / 12)


_SDR_709 = "ACES 2.0 - SDR 100 nits (Rec.709)"


def _display(
    name: str, gamut: Gamut, curve: Curve, peak: float, points: tuple[int, int, int], place: str, view: str
) -> Display:
    primaries, transfer, matrix = points
    return Display(
        name=name,
        gamut=gamut,
        curve=curve,
        peak=peak,
        primaries=primaries,
        transfer=transfer,
        matrix=matrix,
        config_display=f"{place} - Display",
        config_view=view,
    )


_DISPLAYS = (
    _display("Rec.709 BT.1886", REC709, "bt1886", 100, (1, 1, 1), "Rec.1886 Rec.709", _SDR_709),
    _display("sRGB", REC709, "srgb", 100, (1, 13, 1), "sRGB", _SDR_709),
    _display("P3-D65", P3_D65, "gamma2.6", 100, (12, 17, 1), "P3-D65", "ACES 2.0 - SDR 100 nits (P3 D65)"),
    _display("Rec.2020 BT.1886", REC2020, "bt1886", 100, (9, 14, 9), "Rec.1886 Rec.709", _SDR_709),
    _display(
        "PQ BT.2100", REC2020, "pq", 1000, (9, 16, 9), "Rec.2100-PQ", "ACES 2.0 - HDR 1000 nits (Rec.2020)"
    ),
    _display(
        "HLG BT.2100", REC2020, "hlg", 1000, (9, 18, 9), "Rec.2100-HLG", "ACES 2.0 - HDR 1000 nits (P3 D65)"
    ),
)
_ALSO = {
    "rec709": "Rec.709 BT.1886",
    "bt709": "Rec.709 BT.1886",
    "bt1886": "Rec.709 BT.1886",
    "rec1886": "Rec.709 BT.1886",
    "p3": "P3-D65",
    "p3d6526": "P3-D65",
    "rec2020": "Rec.2020 BT.1886",
    "bt2020": "Rec.2020 BT.1886",
    "pq": "PQ BT.2100",
    "rec2100pq": "PQ BT.2100",
    "hlg": "HLG BT.2100",
    "rec2100hlg": "HLG BT.2100",
}


def displays() -> tuple[Display, ...]:
    """All display targets."""
    return _DISPLAYS


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def find_display(name: str) -> Display:
    """The display of that name, forgiving about case and punctuation. EncodingError naming the choices."""
    key = _plain(name)
    known = {_plain(d.name): d for d in _DISPLAYS}
    known |= {also: next(d for d in _DISPLAYS if d.name == full) for also, full in _ALSO.items()}
    if key in known:
        return known[key]
    near = difflib.get_close_matches(key, known, 1)
    hint = f"; did you mean {known[near[0]].name!r}?" if near else ""
    raise EncodingError(f"{name!r} is no display; takes {', '.join(d.name for d in _DISPLAYS)}{hint}")


@cache
def _processor(display: str, view: str) -> ocio.CPUProcessor:
    """OpenColorIO's processor from ACES2065-1 to a view of the pinned config."""
    import PyOpenColorIO as ocio

    config = ocio.Config.CreateFromBuiltinConfig(ACES_CONFIG.removeprefix("ocio://"))
    forward = ocio.TRANSFORM_DIR_FORWARD
    return config.getProcessor("ACES2065-1", display, view, forward).getDefaultCPUProcessor()


def opencolorio_version() -> str:
    """Version of the OpenColorIO that evaluates ACES 2.0 here."""
    import PyOpenColorIO as ocio

    return str(ocio.__version__)


def output_transform(ap0: ArrayLike, display: Display, kind: Transform) -> Array:
    """Display R'G'B' (..., 3) in 0..1 of ACES2065-1 scene-linear (..., 3).

    `aces2`: the ACES 2.0 output transform (float32). `colorimetric`: no tone mapping; scene 1.0 is the SDR peak
    (203 cd/m2 in HDR, ITU-R BT.2408-7, table 1), out-of-gamut values are clipped; Bradford adaptation to D65.
    NaN and +inf give black, as the ACES transform has it.
    """
    linear = np.asarray(ap0, np.float64)
    finite = np.isfinite(linear)
    if not finite.all():
        linear = np.where(finite.all(-1, keepdims=True), linear, 0.0)
    if kind == "colorimetric":
        matrix = np.linalg.solve(
            display.gamut.to_xyz(), adaptation(ACES_WHITE, D65, "Bradford") @ AP0.to_xyz()
        )
        scale = {"pq": 203 / 100, "hlg": 203 / 1000}.get(display.curve, 1.0)
        return display.from_light(linear @ matrix.T * scale)
    return _aces2(linear, display)


def _aces2(ap0: Array, display: Display) -> Array:
    values = np.ascontiguousarray(np.clip(ap0, -65504, 65504), np.float32).reshape(-1, 3)
    if values.size:
        _processor(display.config_display, display.config_view).applyRGB(values)
    result = np.clip(values.astype(np.float64).reshape(ap0.shape), 0.0, 1.0)
    if (
        display.name == "Rec.2020 BT.1886"
    ):  # the config has no such display: the Rec.709 rendering in Rec.2020's primaries
        light = find_display("Rec.709 BT.1886").to_light(result)
        return display.from_light(light @ np.linalg.solve(display.gamut.to_xyz(), REC709.to_xyz()).T)
    return result
