"""ICC profiles that say what a still's numbers are: primaries, white and curve of a display.

Source: ICC.1:2022 (profile version 4.4): header 7.2, tags 9.2, parametricCurveType 10.18, s15Fixed16ArrayType
10.22. Colorants are adapted to the D50 of the profile connection space by Bradford, Annex E. PQ and HLG displays
have no profile here.
"""

from __future__ import annotations

import struct

import numpy as np

from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.colour.gamuts import adaptation

__all__ = ["profile"]

D50_XYZ = (0.9642, 1.0, 0.8249)  # ICC.1:2022, 7.2.16
D50_XY = (0.34570, 0.35854)

# parametricCurveType: function type and parameters (ICC.1:2022, table 68)
_CURVES = {
    "bt1886": (0, (2.4,)),
    "gamma2.6": (0, (2.6,)),
    "srgb": (3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
}


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _text(text: str) -> bytes:
    data = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(data), 28) + data


def _xyz(values: object) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_fixed(float(v)) for v in np.asarray(values))


def profile(display: Display) -> bytes | None:
    """The profile of an SDR display, or None for PQ and HLG. Its description is the display's name."""
    if display.curve not in _CURVES:
        return None
    function, parameters = _CURVES[display.curve]
    adapt = adaptation(display.gamut.white, D50_XY, "Bradford")
    colorants = adapt @ display.gamut.to_xyz()
    curve = b"para\0\0\0\0" + struct.pack(">HH", function, 0) + b"".join(_fixed(p) for p in parameters)
    tags = {
        b"desc": _text(display.name),
        b"cprt": _text("No copyright; use freely"),
        b"wtpt": _xyz(D50_XYZ),
        b"rXYZ": _xyz(colorants[:, 0]),
        b"gXYZ": _xyz(colorants[:, 1]),
        b"bXYZ": _xyz(colorants[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
        b"chad": b"sf32\0\0\0\0" + b"".join(_fixed(float(v)) for v in adapt.reshape(-1)),
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body = b"", b""
    places: dict[bytes, tuple[int, int]] = {}
    for name, data in tags.items():
        if data not in places:
            places[data] = (offset + len(body), len(data))
            body += data + b"\0" * (-len(data) % 4)
        table += name + struct.pack(">II", *places[data])
    header = struct.pack(
        ">I4sI4s4s4s12s4s4sI4s4sQI12s4s16s28s",
        offset + len(body),
        b"\0\0\0\0",
        0x04400000,
        b"mntr",
        b"RGB ",
        b"XYZ ",
        struct.pack(">6H", 2026, 1, 1, 0, 0, 0),
        b"acsp",
        b"\0\0\0\0",
        0,
        b"\0\0\0\0",
        b"\0\0\0\0",
        0,
        0,
        b"".join(_fixed(v) for v in D50_XYZ),
        b"\0\0\0\0",
        b"\0" * 16,
        b"\0" * 28,
    )
    return header + struct.pack(">I", len(tags)) + table + body
