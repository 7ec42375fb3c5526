"""LUT files as OpenColorIO reads them, as nodes that are evaluated here in float64.

OpenColorIO parses; its own evaluation is float32 with fast logarithms and powers, 2e-5 off. It evaluates only what has
no formula here: CTF's nodes that are no part of CLF, and inverse tables.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.interpolation import Interpolation
from rushlight.pipelines.errors import GradeError, LutError, said
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.luts.lut_nodes import (
    AnyLut,
    Curves,
    Decision,
    Exponent,
    HalfCurves,
    Lattice,
    Logarithm,
    Matrix,
    MonCurve,
    Node,
    NodeLut,
    Range,
)

if TYPE_CHECKING:
    import PyOpenColorIO as ocio

__all__ = ["read_by_opencolorio"]

Array = NDArray[np.float64]
Triple = tuple[float, float, float]
_CTF = "Color Transform Format"
_CONFIG = """ocio_profile_version: 2
roles: {default: raw}
colorspaces:
  - !<ColorSpace> {name: raw, isdata: true}
"""


def read_by_opencolorio(data: bytes, suffix: str, *, file: str = "") -> AnyLut:
    """The LUT of a file's bytes, UTF-8 without a mark; `suffix` says which reader. LutError, with the line where OpenColorIO
    gives one."""
    try:
        group = _processor(data, suffix).createGroupTransform()
        nodes = tuple(_node(transform) for transform in group)
    except LutError as error:
        raise error.at(file=file) from None
    except Exception as error:  # its own class, and whatever a binding makes of a fault
        raise _fault(error, file) from None
    title = _title(group)
    if len(nodes) == 1 and isinstance(nodes[0], Lattice):
        lut = nodes[0].lut
        return Lut(table=lut.table, title=title, interpolation=lut.interpolation)
    return NodeLut(nodes=nodes, title=title)


def _processor(data: bytes, suffix: str) -> ocio.Processor:
    """Processor of a file's bytes; no file is written, and none but this one can be asked for."""
    import PyOpenColorIO as ocio

    name = hashlib.sha256(data).hexdigest()

    class OneFile(ocio.PyConfigIOProxy):  # type: ignore[misc]
        def getConfigData(self) -> str:
            return _CONFIG

        def getLutData(self, path: str) -> list[int]:
            if path != f"{name}{suffix}":
                raise RuntimeError(f"the file names another file, {path[:80]!r}, which is not read")
            return list(data)

        def getFastLutFileHash(self, path: str) -> str:
            return path

    proxy = OneFile()  # the configuration does not keep it alive
    config = ocio.Config.CreateFromConfigIOProxy(proxy)
    processor = config.getProcessor(ocio.FileTransform(src=f"{name}{suffix}"))
    del proxy
    return processor


def _fault(error: Exception, file: str) -> LutError:
    """OpenColorIO's words on a file, without those on the formats that it tried in vain."""
    text = " ".join(str(error).rpartition("failed with:")[2].split())
    line = re.search(r"[Aa]t line \(?(\d+)\)?[.:]?\s*", text)
    if line:
        text = (text[: line.start()] + text[line.end() :]).strip()
    text = re.sub(
        r"Error parsing \S+( \w+)? file \(\S*\)\.?\s*|Error is:\s*|\bCTF/CLF parsing error[:.]\s*", "", text
    )
    text = re.sub(
        r"(?: in|\. In|The transform file:)? *\b[0-9a-f]{64}\.\w+", "", text
    )  # the name that it knows the file by
    text = text.strip(" .:") or said(error)
    return LutError(
        f"is not a LUT that can be read: {text[:240]}", file=file, line=int(line[1]) if line else None
    )


def _title(group: ocio.GroupTransform) -> str:
    facts = group.getFormatMetadata()
    described = [c.getElementValue() for c in facts.getChildElements() if c.getElementName() == "Description"]
    return str(facts.getName() or (described[0] if described else ""))


def _node(transform: ocio.Transform) -> Node:
    made = _MADE.get(type(transform).__name__)
    node = made(transform) if made else None
    return node or _Evaluated.of(transform)


def _forward(transform: ocio.Transform) -> bool:
    import PyOpenColorIO as ocio

    return bool(transform.getDirection() == ocio.TRANSFORM_DIR_FORWARD)


def _lut1d(transform: ocio.Lut1DTransform) -> Node | None:
    import PyOpenColorIO as ocio

    if not _forward(transform) or transform.getHueAdjust() != ocio.HUE_NONE:
        return None
    with np.errstate(invalid="ignore"):  # the table of half floats has NaN in its place
        table = np.array(transform.getData(), np.float64).reshape(-1, 3)
    if transform.getInputHalfDomain():
        return HalfCurves(table=np.nan_to_num(table, posinf=65504.0, neginf=-65504.0))
    return Curves(table=_finite(table))


def _lut3d(transform: ocio.Lut3DTransform) -> Node | None:
    import PyOpenColorIO as ocio

    if not _forward(transform):
        return None
    size = int(transform.getGridSize())
    stated: dict[object, Interpolation] = {
        ocio.INTERP_LINEAR: "trilinear",
        ocio.INTERP_TETRAHEDRAL: "tetrahedral",
    }
    table = _finite(np.array(transform.getData(), np.float64)).reshape(size, size, size, 3)
    return Lattice(lut=Lut(table=table, interpolation=stated.get(transform.getInterpolation())))


def _finite(table: Array) -> Array:
    if not np.isfinite(table).all():
        raise LutError("has values in its table that are not finite")
    return table


def _matrix(transform: ocio.MatrixTransform) -> Node | None:
    whole, offset = np.array(transform.getMatrix(), np.float64).reshape(4, 4), np.array(transform.getOffset())
    alpha = (*whole[3], *whole[:3, 3], offset[3])
    if alpha != (0, 0, 0, 1, 0, 0, 0, 0):
        raise LutError("has a matrix that mixes alpha with colour; a picture here has no alpha")
    if not _forward(transform):
        inverse = np.asarray(np.linalg.inv(whole[:3, :3]), np.float64)
        return Matrix(matrix=inverse, offset=-inverse @ offset[:3])
    return Matrix(matrix=whole[:3, :3], offset=offset[:3])


def _range(transform: ocio.RangeTransform) -> Node | None:
    if not _forward(transform):
        return None
    low = transform.getMinOutValue() if transform.hasMinOutValue() else None
    high = transform.getMaxOutValue() if transform.hasMaxOutValue() else None
    if low is not None and high is not None:
        low_in, high_in = transform.getMinInValue(), transform.getMaxInValue()
        scale = (high - low) / (high_in - low_in)
        return Range(scale=scale, offset=low - scale * low_in, low=low, high=high)
    moved = (
        low - transform.getMinInValue()
        if low is not None
        else high - transform.getMaxInValue()
        if high is not None
        else 0.0
    )
    return Range(scale=1.0, offset=moved, low=low, high=high)


def _log(transform: ocio.LogTransform) -> Node | None:
    one, nil = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)
    return Logarithm(
        base=transform.getBase(),
        log_slope=one,
        log_offset=nil,
        lin_slope=one,
        lin_offset=nil,
        inverse=not _forward(transform),
    )


def _log_affine(transform: ocio.LogAffineTransform) -> Logarithm:
    return Logarithm(
        base=transform.getBase(),
        log_slope=_triple(transform.getLogSideSlopeValue()),
        log_offset=_triple(transform.getLogSideOffsetValue()),
        lin_slope=_triple(transform.getLinSideSlopeValue()),
        lin_offset=_triple(transform.getLinSideOffsetValue()),
        inverse=not _forward(transform),
    )


def _log_camera(transform: ocio.LogCameraTransform) -> Logarithm:
    slope = _triple(transform.getLinearSlopeValue())  # NaN where none is stated
    return replace(
        _log_affine(transform),
        breaks=_triple(transform.getLinSideBreakValue()),
        straight=None if np.isnan(slope).any() else slope,
    )


def _exponent(transform: ocio.ExponentTransform) -> Node | None:
    import PyOpenColorIO as ocio

    power = _colour_only(transform.getValue(), 1.0)
    styles: dict[object, Literal["clamp", "mirror", "pass"]] = {
        ocio.NEGATIVE_CLAMP: "clamp",
        ocio.NEGATIVE_MIRROR: "mirror",
        ocio.NEGATIVE_PASS_THRU: "pass",
    }
    style = styles.get(transform.getNegativeStyle())
    if style is None:
        return None
    if not _forward(transform):
        power = (1 / power[0], 1 / power[1], 1 / power[2])
    return Exponent(power=power, negative=style)


def _mon_curve(transform: ocio.ExponentWithLinearTransform) -> Node | None:
    import PyOpenColorIO as ocio

    style = transform.getNegativeStyle()
    if style not in (ocio.NEGATIVE_LINEAR, ocio.NEGATIVE_MIRROR):
        return None
    return MonCurve(
        power=_colour_only(transform.getGamma(), 1.0),
        offset=_colour_only(transform.getOffset(), 0.0),
        mirror=style == ocio.NEGATIVE_MIRROR,
        inverse=not _forward(transform),
    )


def _cdl(transform: ocio.CDLTransform) -> Node | None:
    import PyOpenColorIO as ocio

    if not _forward(transform):
        return None
    try:
        cdl = CDL(
            slope=_triple(transform.getSlope()),
            offset=_triple(transform.getOffset()),
            power=_triple(transform.getPower()),
            saturation=transform.getSat(),
            clamp=transform.getStyle() == ocio.CDL_ASC,
        )
    except GradeError as error:
        raise LutError(f"holds an ASC CDL that is none: {error.text}") from None
    return Decision(cdl=cdl)


def _triple(values: Iterable[float]) -> Triple:
    red, green, blue = (float(v) for v in values)
    return red, green, blue


def _colour_only(values: Sequence[float], alpha: float) -> Triple:
    if values[3] != alpha:
        raise LutError("changes alpha; a picture here has none")
    return _triple(values[:3])


_MADE: dict[str, Callable[[ocio.Transform], Node | None]] = {
    "Lut1DTransform": _lut1d,
    "Lut3DTransform": _lut3d,
    "MatrixTransform": _matrix,
    "RangeTransform": _range,
    "LogTransform": _log,
    "LogAffineTransform": _log_affine,
    "LogCameraTransform": _log_camera,
    "ExponentTransform": _exponent,
    "ExponentWithLinearTransform": _mon_curve,
    "CDLTransform": _cdl,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class _Evaluated:
    """A node that OpenColorIO evaluates, in float32. `text` is the node as CTF."""

    text: str
    name: str

    @classmethod
    def of(cls, transform: ocio.Transform) -> _Evaluated:
        import PyOpenColorIO as ocio

        group = ocio.GroupTransform([transform])
        name = re.sub(r"(?<=[a-z])(?=[A-Z0-9])", " ", type(transform).__name__.removesuffix("Transform"))
        text = re.sub(r' id="[^"]*"', ' id="node"', group.write(_CTF, ocio.Config.CreateRaw()), count=1)
        return cls(text=text, name=name if _forward(transform) else f"inverse {name}")

    @property
    def label(self) -> str:
        return f"{self.name} by OpenColorIO"

    @property
    def alone(self) -> bool:
        return False

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        found = np.ascontiguousarray(values, np.float32)
        if found.size:
            _evaluator(self.text).applyRGB(found)
        return found.astype(np.float64)


@cache
def _evaluator(text: str) -> ocio.CPUProcessor:
    import PyOpenColorIO as ocio

    return _processor(text.encode(), ".ctf").getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
