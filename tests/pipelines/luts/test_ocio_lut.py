"""CLF nodes against values computed by hand in float64, from the formulas of ST 2136-1; other formats against OpenColorIO."""

import math
import pickle
import struct
from pathlib import Path

import numpy as np
import pytest

import ocio
from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.lut_nodes import AnyLut, NodeLut

EXACT = 1e-12
VALUES = np.array([[-0.1, 0.0, 0.1], [0.3, 0.5, 0.7], [0.9, 1.0, 1.2]])


def clf(body: str, version: str = "3", kind: str = "clf") -> AnyLut:
    stated = f'compCLFversion="{version}"' if kind == "clf" else f'version="{version}"'
    text = f'<?xml version="1.0"?>\n<ProcessList id="x" {stated}>\n{body}\n</ProcessList>\n'
    return parse_lut(text.encode(), file=f"x.{kind}")


def node(name: str, body: str, depths: tuple[str, str] = ("32f", "32f"), more: str = "") -> str:
    return f'<{name} inBitDepth="{depths[0]}" outBitDepth="{depths[1]}"{more}>{body}</{name}>'


def by_hand(function: object) -> np.ndarray:
    return np.vectorize(function, otypes=[float])(VALUES)


PARAMS = 'base="10" logSideSlope="0.25" logSideOffset="0.4" linSideSlope="5" linSideOffset="0.05"'
TINY = 2.0**-126


def lin_to_log(x: float) -> float:
    return 0.25 * math.log10(max(5 * x + 0.05, TINY)) + 0.4


def log_to_lin(y: float) -> float:
    return (10 ** ((y - 0.4) / 0.25) - 0.05) / 5


SLOPE = 0.25 * 5 / (0.1 * math.log(10))  # of the curve at 0.01 of light, where 5 x + 0.05 is 0.1
AT_BREAK = 0.25 * -1 + 0.4


@pytest.mark.parametrize(
    ("style", "params", "formula"),
    [
        ("linToLog", PARAMS, lin_to_log),
        ("logToLin", PARAMS, log_to_lin),
        (
            "cameraLinToLog",
            PARAMS + ' linSideBreak="0.01"',
            lambda x: lin_to_log(x) if x > 0.01 else SLOPE * (x - 0.01) + AT_BREAK,
        ),
        (
            "cameraLogToLin",
            PARAMS + ' linSideBreak="0.01"',
            lambda y: log_to_lin(y) if y > AT_BREAK else (y - AT_BREAK) / SLOPE + 0.01,
        ),
        (
            "cameraLinToLog",
            PARAMS + ' linSideBreak="0.01" linearSlope="4"',
            lambda x: lin_to_log(x) if x > 0.01 else 4 * (x - 0.01) + AT_BREAK,
        ),
        ("log10", "", lambda x: math.log10(max(x, TINY))),
        ("log2", "", lambda x: math.log2(max(x, TINY))),
        ("antiLog10", "", lambda y: 10**y),
        ("antiLog2", "", lambda y: 2**y),
    ],
)
def test_logarithms(style: str, params: str, formula: object) -> None:
    inside = f"<LogParams {params}/>" if params else ""
    found = clf(node("Log", inside, more=f' style="{style}"')).apply(VALUES)
    assert found == pytest.approx(by_hand(formula), rel=EXACT, abs=EXACT)


LOW = (0.055 * 2.4 / (1.4 * 1.055)) ** 2.4
LINE = 1.4 / 0.055 * LOW


def mon(x: float) -> float:
    return ((x + 0.055) / 1.055) ** 2.4 if x >= 0.055 / 1.4 else x * LINE


def mon_back(y: float) -> float:
    return 1.055 * y ** (1 / 2.4) - 0.055 if y >= LOW else y / LINE


@pytest.mark.parametrize(
    ("style", "formula"),
    [
        ("basicFwd", lambda x: max(x, 0.0) ** 2.4),
        ("basicRev", lambda x: max(x, 0.0) ** (1 / 2.4)),
        ("basicMirrorFwd", lambda x: math.copysign(abs(x) ** 2.4, x)),
        ("basicMirrorRev", lambda x: math.copysign(abs(x) ** (1 / 2.4), x)),
        ("basicPassThruFwd", lambda x: x**2.4 if x > 0 else x),
        ("basicPassThruRev", lambda x: x ** (1 / 2.4) if x > 0 else x),
        ("monCurveFwd", mon),
        ("monCurveRev", mon_back),
        ("monCurveMirrorFwd", lambda x: math.copysign(mon(abs(x)), x)),
        ("monCurveMirrorRev", lambda x: math.copysign(mon_back(abs(x)), x)),
    ],
)
def test_exponents(style: str, formula: object) -> None:
    offset = ' offset="0.055"' if "mon" in style else ""
    found = clf(node("Exponent", f'<ExponentParams exponent="2.4"{offset}/>', more=f' style="{style}"'))
    assert found.apply(VALUES) == pytest.approx(by_hand(formula), rel=EXACT, abs=EXACT)


def limits(*pairs: tuple[str, float]) -> str:
    return "".join(f"<{name}>{value}</{name}>" for name, value in pairs)


BOTH = limits(("minInValue", 64), ("maxInValue", 940), ("minOutValue", 0), ("maxOutValue", 1023))


@pytest.mark.parametrize(
    ("body", "more", "depth", "formula"),
    [
        (BOTH, "", "10i", lambda x: min(max((x * 1023 - 64) / 876, 0.0), 1.0)),
        (BOTH, ' style="noClamp"', "10i", lambda x: (x * 1023 - 64) / 876),
        (limits(("minInValue", 0.2), ("minOutValue", 0.2)), "", "32f", lambda x: max(x, 0.2)),
        (limits(("maxInValue", 0.8), ("maxOutValue", 0.8)), "", "32f", lambda x: min(x, 0.8)),
    ],
)
def test_ranges(body: str, more: str, depth: str, formula: object) -> None:
    found = clf(node("Range", body, (depth, depth), more)).apply(VALUES)
    assert found == pytest.approx(by_hand(formula), rel=EXACT, abs=EXACT)


def test_a_matrix_from_and_to_code_values() -> None:
    """10-bit codes in, 12-bit codes out: 4 is nearly one; offsets are of 4095."""
    rows = "4 0.5 0 10  0 4 0 20  0.25 0 4 30"
    found = clf(node("Matrix", f'<Array dim="3 4">{rows}</Array>', ("10i", "12i"))).apply(VALUES)
    matrix = np.array([[4, 0.5, 0], [0, 4, 0], [0.25, 0, 4]])
    wanted = (np.einsum("ij,nj->ni", matrix, VALUES * 1023) + np.array([10, 20, 30])) / 4095
    assert found == pytest.approx(wanted, rel=EXACT)
    plain = clf(node("Matrix", '<Array dim="3 3">0 1 0  0 0 1  1 0 0</Array>')).apply(VALUES)
    assert plain.tolist() == VALUES[:, [1, 2, 0]].tolist()


CURVE = '<Array dim="3 1">0 1000 4095</Array>'


def test_a_1d_lut_of_bit_depths() -> None:
    """Three points over the 10-bit range, 12-bit codes out; the table is kept as float32 holds it."""
    found = clf(node("LUT1D", CURVE, ("10i", "12i"))).apply(VALUES)
    wanted = np.interp(VALUES, [0, 0.5, 1], np.array([0, 1000, 4095]) / 4095)
    assert found == pytest.approx(wanted, abs=3e-8)


def test_an_index_map_of_files_before_clf_3() -> None:
    """64 is the first entry and 940 the last: code 502 is the middle one."""
    body = node("LUT1D", f'<IndexMap dim="2">64@0 940@2</IndexMap>{CURVE}', ("10i", "12i"))
    found = clf(body, "2.0").apply(VALUES)
    wanted = np.interp(VALUES * 1023, [64, 502, 940], np.array([0, 1000, 4095]) / 4095)
    assert found == pytest.approx(wanted, abs=3e-8)
    for version, kind in (("3", "clf"), ("1.3", "ctf"), ("2.0", "ctf")):  # OpenColorIO leaves it out silently
        with pytest.raises(LutError, match="IndexMap"):
            clf(body, version, kind)


HALVES = np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float64)


@pytest.mark.parametrize("raw", [False, True])
def test_a_half_domain(raw: bool) -> None:
    """Output 2 x + 1 at every half float: between two of them on the straight line, also below 0; past 65504 as at it."""
    with np.errstate(invalid="ignore", over="ignore"):
        outputs = 2 * HALVES + 1
        bits = outputs.astype(np.float16)
    if raw:
        rows = "\n".join(str(b) for b in bits.view(np.uint16))
    else:
        rows = "\n".join(f"{v:.9g}" for v in outputs)
    more = ' halfDomain="true"' + (' rawHalfs="true"' if raw else "")
    depth = "16f" if raw else "32f"
    lut = clf(node("LUT1D", f'<Array dim="65536 1">{rows}</Array>', (depth, depth), more))
    values = np.array([[-0.75, 0.0, 0.3333], [1000.7, -1000.7, 1e-7], [1e6, -1e6, np.nan]])
    wanted = 2 * np.clip(np.nan_to_num(values), -65504, 65504) + 1
    if raw:
        inside = np.abs(wanted) < 65504
        assert lut.apply(values)[inside] == pytest.approx(wanted[inside], rel=5e-4)
        assert lut.apply([0.25, 0.5, 2])[0] == 1.5  # what a half float holds is exact
    else:
        assert lut.apply(values) == pytest.approx(wanted, rel=1e-7)


@pytest.mark.parametrize("clamp", [True, False])
def test_an_asc_cdl(clamp: bool) -> None:
    body = (
        "<SOPNode><Slope>1.1 1 0.9</Slope><Offset>0.01 0 -0.02</Offset><Power>1.2 1 0.9</Power></SOPNode>"
        "<SatNode><Saturation>0.8</Saturation></SatNode>"
    )
    found = clf(node("ASC_CDL", body, more=f' style="{"Fwd" if clamp else "FwdNoClamp"}"')).apply(VALUES)

    def cut(x: float) -> float:
        return min(max(x, 0.0), 1.0) if clamp else x

    for row, result in zip(VALUES, found, strict=True):
        sop = []
        for x, s, o, p in zip(row, (1.1, 1, 0.9), (0.01, 0, -0.02), (1.2, 1, 0.9), strict=True):
            y = cut(x * s + o)
            sop.append(y**p if y > 0 else y)
        luma = 0.2126 * sop[0] + 0.7152 * sop[1] + 0.0722 * sop[2]
        assert result == pytest.approx([cut(luma + 0.8 * (y - luma)) for y in sop], rel=EXACT)


CORNERS = "\n".join(f"{r * 0.5} {g} {b}" for r in (0, 1) for g in (0, 1) for b in (0, 1))


def test_a_3d_lut_is_a_lattice_and_its_own_interpolation_holds() -> None:
    body = f'<Array dim="2 2 2 3">{CORNERS}</Array>'
    plain, stated = clf(node("LUT3D", body)), clf(node("LUT3D", body, more=' interpolation="trilinear"'))
    assert isinstance(plain, Lut) and isinstance(stated, Lut)
    assert (plain.interpolation, stated.interpolation) == (None, "trilinear")
    assert plain.apply((0.25, 0.5, 0.75)) == pytest.approx((0.125, 0.5, 0.75))
    assert plain.digest() != stated.digest()
    one = "\n".join("1 1 1" if k == 6 else "0 0 0" for k in range(8))  # (1, 1, 0) alone
    node_lut = clf(node("LUT3D", f'<Array dim="2 2 2 3">{one}</Array>', more=' interpolation="trilinear"'))
    assert node_lut.apply((0.9, 0.5, 0.2), "tetrahedral")[0] == pytest.approx(0.9 * 0.5 * 0.8)


def test_a_1d_and_a_3d_lut_are_one_look() -> None:
    lut = clf(
        node("LUT1D", CURVE, ("10i", "12i"))
        + node("LUT3D", f'<Array dim="2 2 2 3">{CORNERS}</Array>', ("12i", "32f"))
    )
    assert isinstance(lut, NodeLut) and lut.labels() == ["1D LUT 3", "3D LUT 2"] and lut.size == 2
    assert lut.apply((0.5, 0.5, 0.5)) == pytest.approx(np.array([0.5, 1, 1]) * 1000 / 4095, abs=3e-8)


FILES = {
    "curve.spi1d": "Version 1\nFrom -0.1 1.2\nLength 4\nComponents 1\n{\n 0\n .2\n .5\n 1\n}\n",
    "cube.spi3d": "SPILUT 1.0\n3 3\n2 2 2\n"
    + "".join(f"{r} {g} {b} {r * 0.5} {g} {b}\n" for r in (0, 1) for g in (0, 1) for b in (0, 1)),
    "shaped.csp": "CSPLUTV100\n3D\n\nBEGIN METADATA\nnotes, 1,5\nEND METADATA\n\n"
    + "4\n0 .1 .5 1\n0 .5 .8 2\n" * 3
    + "\n2 2 2\n"
    + "".join(f"{r * 0.5} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1)),
    "curve.csp": "CSPLUTV100\n1D\n\n" + "2\n0 1\n0 1\n" * 3 + "\n3\n0 0 0\n.2 .3 .4\n1 1 1\n",
}


@pytest.mark.parametrize("name", FILES)
def test_other_formats_read_as_opencolorio_reads_them(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(FILES[name])
    values = np.random.default_rng(5).uniform(-0.2, 1.3, (200, 3))
    lut = parse_lut(FILES[name].encode(), file=name)
    assert lut.apply(values) == pytest.approx(ocio.through_file(values, tmp_path / name), abs=1e-6)
    again = pickle.loads(pickle.dumps(lut))
    assert again.digest() == lut.digest() and again.apply(values).tolist() == lut.apply(values).tolist()


def test_a_spi1d_by_hand() -> None:
    lut = parse_lut(FILES["curve.spi1d"].encode(), file="curve.spi1d")
    third = 1.3 / 3
    assert lut.apply((-0.1, -0.1 + third, -0.1 + 1.5 * third)) == pytest.approx((0, 0.2, 0.35), abs=1e-7)


def test_nodes_beyond_clf_are_opencolorios_in_float32_and_travel() -> None:
    curve = '<Array dim="3 1">0 .2 1</Array>'
    lut = clf(node("InverseLUT1D", curve), "2.0", "ctf")
    assert isinstance(lut, NodeLut) and lut.labels() == ["inverse Lut 1D by OpenColorIO"]
    assert lut.apply((0.1, 0.2, 0.6)) == pytest.approx((0.25, 0.5, 0.75), abs=1e-6)
    again = pickle.loads(pickle.dumps(lut))
    assert again.apply((0.1, 0.2, 0.6)).tolist() == lut.apply((0.1, 0.2, 0.6)).tolist()
    assert again.digest() == lut.digest()


def test_digests_tell_nodes_apart() -> None:
    texts = [
        node("Exponent", f'<ExponentParams exponent="{power}"/>', more=f' style="{style}"')
        for power in (2.2, 2.4)
        for style in ("basicFwd", "basicMirrorFwd")
    ]
    assert len({clf(text).digest() for text in texts}) == 4
    note = "<Description>another note</Description>"
    assert clf(note + texts[0]).digest() == clf(texts[0]).digest()


def test_float32_of_a_table_is_all_that_is_lost() -> None:
    third = struct.unpack("f", struct.pack("f", 1 / 3))[0]
    lut = clf(node("LUT1D", '<Array dim="2 1">0 0.3333333333333333</Array>'))
    assert lut.apply((1.0, 1.0, 1.0))[0] == third
