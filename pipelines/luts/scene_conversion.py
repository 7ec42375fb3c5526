"""Conversions between a camera encoding and ACES2065-1 as LUT files: written as CLF, and recognised by what they do.

Source: SMPTE ST 2136-1 (Common LUT Format), version 3: Range, LUT1D, Matrix. A written curve has 16384 points over codes from -0.1
to 1.2, more than a camera's file can carry: within 1e-6 of the light, 2e-4 where a curve has a corner. Outside it is level.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import Encoding, encodings, find_encoding
from rushlight.pipelines.colour.cdl import exact_numbers
from rushlight.pipelines.colour.curves import EXPOSURE_INDEXES
from rushlight.pipelines.luts.lut_nodes import AnyLut

__all__ = ["clf_of_conversion", "clf_of_matrix", "encoding_of_lut", "leads_back"]

Array = NDArray[np.float64]
LOW, HIGH, POINTS = -0.1, 1.2, 16384
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
_SPACE = "http://www.smpte-ra.org/ns/2136-1/2024"
_DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'


def clf_of_matrix(matrix: Array, *, ident: str, name: str, takes: str = "ACES2065-1") -> str:
    """A CLF text of a matrix (3, 3) that gives ACES2065-1. `ident` and the names are plain words or a URN."""
    return _document(ident, name, takes, _matrix(matrix))


@lru_cache(maxsize=16)
def clf_of_conversion(encoding: Encoding, *, ident: str, name: str) -> str:
    """A CLF text that makes ACES2065-1 of an encoding's code values, the curve's 0 to 1."""
    if encoding.kind == "linear":
        return clf_of_matrix(encoding.matrix_to_ap0, ident=ident, name=name, takes=name)
    light = encoding.decode(np.linspace(LOW, HIGH, POINTS))
    nodes = [
        f"  <Range {_DEPTHS}>",
        f"    <minInValue>{LOW}</minInValue>",
        f"    <maxInValue>{HIGH}</maxInValue>",
        "    <minOutValue>0.0</minOutValue>",
        "    <maxOutValue>1.0</maxOutValue>",
        "  </Range>",
        f"  <LUT1D {_DEPTHS}>",
        f'    <Array dim="{POINTS} 1">',
        *(f"{value:.10g}" for value in light),
        "    </Array>",
        "  </LUT1D>",
        *_matrix(encoding.matrix_to_ap0),
    ]
    return _document(ident, name, name, nodes)


def _matrix(matrix: Array) -> list[str]:
    rows = [exact_numbers(map(float, row)) for row in matrix]
    return [f"  <Matrix {_DEPTHS}>", '    <Array dim="3 3">', *rows, "    </Array>", "  </Matrix>"]


def _document(ident: str, name: str, takes: str, nodes: Sequence[str]) -> str:
    from xml.sax.saxutils import escape, quoteattr

    lines = [
        _HEAD,
        f'<ProcessList xmlns="{_SPACE}" id={quoteattr(ident)} name={quoteattr(name)} compCLFversion="3">',
        f"  <InputDescriptor>{escape(takes)}</InputDescriptor>",
        "  <OutputDescriptor>ACES2065-1</OutputDescriptor>",
        *nodes,
        "</ProcessList>",
    ]
    return "\n".join(lines) + "\n"


@cache
def _known() -> list[tuple[Encoding, Array]]:
    """Every encoding, and what it makes of the test colours."""
    found = []
    for entry in encodings():
        if entry.name not in ("Linear by header", "ACES2065-1"):
            indexes = EXPOSURE_INDEXES if entry.curve == "LogC3" else (None,)
            found += [find_encoding(entry.name, exposure_index=index) for index in indexes]
    return [(encoding, encoding.to_ap0(_codes())) for encoding in found]


@cache
def _codes() -> Array:
    axis = np.array([0.02, 0.1, 0.25, 0.4, 0.6, 0.8, 0.98])
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)


def encoding_of_lut(lut: AnyLut) -> Encoding | None:
    """The encoding whose code values a LUT makes ACES2065-1 of, to a thousandth; None for any other LUT."""
    given = lut.apply(_codes())
    return next((encoding for encoding, ap0 in _known() if _alike(given, ap0)), None)


def leads_back(lut: AnyLut, encoding: Encoding) -> bool:
    """True if a LUT makes an encoding's code values of ACES2065-1."""
    return bool(np.allclose(lut.apply(encoding.to_ap0(_codes())), _codes(), atol=1e-3))


def _alike(given: Array, expected: Array) -> bool:
    scale = np.abs(expected).max(-1, keepdims=True) + 1e-3
    return bool((np.abs(given - expected) < 1e-3 * scale).all())
