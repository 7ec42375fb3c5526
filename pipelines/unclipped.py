"""ACES 2.0 output transforms without their last clip, and the scene colours that reach a display's corners.

A lattice interpolates what goes on past black and white better than what stops there with a kink. The operators are
those of OpenColorIO's built-in SDR output transforms: clip to AP1, then the fixed function of ACES 2.0 in the
display's primaries; left out are the range after it and the display's curve. float32, as OpenColorIO has it.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rushlight.pipelines.display import Display
from rushlight.pipelines.gamuts import AP1, P3_D65, REC709

__all__ = ["can_unclip", "corners", "unclipped"]

Array = NDArray[np.float64]
_UPPER = 1024.0  # AP1 of the built-in's first clip, for a peak of 100 cd/m2
_CONFIG = """ocio_profile_version: 2.4
roles: {{default: ap0, scene_linear: ap0}}
file_rules:
  - !<Rule> {{name: Default, colorspace: ap0}}
displays:
  light:
    - !<View> {{name: light, colorspace: light}}
colorspaces:
  - !<ColorSpace> {{name: ap0}}
  - !<ColorSpace>
    name: light
    from_scene_reference: !<GroupTransform>
      children:
        - !<MatrixTransform> {{matrix: {to_ap1}}}
        - !<RangeTransform> {{min_in_value: 0, max_in_value: {upper}, min_out_value: 0, max_out_value: {upper}}}
        - !<MatrixTransform> {{matrix: {to_ap0}}}
        - !<FixedFunctionTransform> {{style: ACES2_OutputTransform, params: {params}}}
"""


def can_unclip(display: Display) -> bool:
    """Whether the display's ACES 2.0 transform is one of those that `unclipped` knows: SDR in its own primaries."""
    return not display.hdr and display.gamut in (REC709, P3_D65)


def _config(display: Display) -> str:
    to_ap0 = np.eye(4)
    to_ap0[:3, :3] = AP1.matrix_to_ap0()
    gamut = display.gamut
    return _CONFIG.format(
        to_ap1=np.linalg.inv(to_ap0).ravel().tolist(),
        to_ap0=to_ap0.ravel().tolist(),
        upper=_UPPER,
        params=[display.peak, *gamut.red, *gamut.green, *gamut.blue, *gamut.white],
    )


def unclipped(ap0: ArrayLike, display: Display) -> Array:
    """Display-linear RGB (..., 3), 1 the peak, of ACES2065-1 scene-linear (..., 3): below 0 and above 1 where the
    display's signal would be clipped. NaN and infinities give black."""
    linear = np.asarray(ap0, np.float64)
    linear = np.where(np.isfinite(linear).all(-1, keepdims=True), linear, 0.0)
    result = _transformed(linear, display)
    # At isolated, far too saturated colours the fixed function gives NaN (OpenColorIO 2.5.1; its own display transform
    # makes black of them): a colour next to it does.
    holes = ~np.isfinite(result).all(-1)
    if holes.any():
        result[holes] = _transformed(linear[holes] * 1.001, display)
    return np.nan_to_num(result, nan=0.0, posinf=0.0, neginf=0.0)


def _transformed(linear: Array, display: Display) -> Array:
    import OpenImageIO as oiio

    flat = np.ascontiguousarray(np.clip(linear, -65504, 65504).reshape(1, -1, 3), np.float32)
    result = np.empty(flat.shape, np.float64)
    with tempfile.TemporaryDirectory() as folder:  # OpenImageIO reads configs from files only
        config = Path(folder) / "light.ocio"
        config.write_text(_config(display), "utf-8")
        for start in range(0, flat.shape[1], 1 << 20):
            held = np.ascontiguousarray(flat[:, start : start + (1 << 20)])  # the buffer keeps no hold of it
            block = oiio.ImageBuf(held)
            out = oiio.ImageBufAlgo.colorconvert(
                block, "ap0", "light", unpremult=False, colorconfig=str(config), nthreads=1
            )
            if out.has_error:
                raise RuntimeError(out.geterror())
            result[:, start : start + (1 << 20)] = out.get_pixels(oiio.FLOAT)
    return result.reshape(linear.shape)


# Yellow and cyan through the inverse of OpenColorIO 2.5.1's ACES 2.0 transforms, which takes as long to set up as half a
# lattice to fill; the test takes them forward again.
_CORNERS = {
    REC709: (
        (5.365292549133301, 5.840465068817139, 0.0034448280930519104),
        (1.8764930963516235, 5.419483184814453, 6.270402431488037),
    ),
    P3_D65: (
        (4.55197286605835, 5.0162529945373535, -0.0024509415961802006),
        (1.5755573511123657, 4.752564430236816, 5.343860626220703),
    ),
}


def corners(display: Display) -> Array:
    """ACES2065-1 colours (2, 3) that the ACES 2.0 transform takes to the display's full yellow and full cyan."""
    return np.array(_CORNERS[display.gamut])
