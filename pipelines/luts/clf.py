"""A LUT as CLF text: the open exchange format of LUTs.

Source: SMPTE ST 2136-1 (Common LUT Format), version 3: ProcessList, LUT3D, blue varies fastest.
"""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.lattice_lut import Lut, table_lines
from rushlight.pipelines.visible_text import visible

__all__ = ["format_clf"]

_NAMESPACE = "http://www.smpte-ra.org/ns/2136-1/2024"


def format_clf(lut: Lut, *, ident: str, takes: str, gives: str, comments: Iterable[str] = ()) -> str:
    """A CLF text of a plain 3D LUT over 0..1, of 10 digits, tetrahedral. `takes` and `gives` name the signals. LutError if it has a 1D
    part or another domain."""
    if lut.shaper is not None or (lut.domain_min, lut.domain_max) != ((0.0,) * 3, (1.0,) * 3):
        raise LutError(
            "a LUT with a 1D part or another domain than 0 to 1 is not written as .clf; bake it into a plain one first"
        )
    notes = [f"  <Description>{_plain(comment)}</Description>" for comment in comments]
    name = quoteattr(_shown(lut.title) or "LUT")  # readers refuse an empty one
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<ProcessList xmlns="{_NAMESPACE}" id={quoteattr(_shown(ident))} name={name} compCLFversion="3">',
        *notes,
        f"  <InputDescriptor>{_plain(takes)}</InputDescriptor>",
        f"  <OutputDescriptor>{_plain(gives)}</OutputDescriptor>",
        '  <LUT3D inBitDepth="32f" outBitDepth="32f" interpolation="tetrahedral">',
        f'    <Array dim="{lut.size} {lut.size} {lut.size} 3">',
        table_lines(lut.table),
        "    </Array>",
        "  </LUT3D>",
        "</ProcessList>",
    ]
    return "\n".join(lines) + "\n"


def _shown(text: str) -> str:
    return visible(" ".join(text.split()))[:240]


def _plain(text: str) -> str:
    return escape(_shown(text))
