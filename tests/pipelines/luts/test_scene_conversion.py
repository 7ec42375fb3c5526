"""Conversions to ACES2065-1 as CLF: OpenColorIO and we read the encoding's own numbers, and know it again."""

from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio
import pytest

from rushlight.pipelines.colour.camera_encodings import Encoding, encodings, find_encoding
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.lut_nodes import Curves, NodeLut
from rushlight.pipelines.luts.scene_conversion import (
    clf_of_conversion,
    clf_of_matrix,
    encoding_of_lut,
    leads_back,
)

ALL = [e for e in encodings() if e.name not in ("Linear by header", "ACES2065-1")]
ALL += [find_encoding("LogC3", exposure_index=index) for index in (200, 400, 1600)]
ALL = [find_encoding("LogC3") if e.curve == "LogC3" and e.exposure_index == 800 else e for e in ALL]


def text(encoding: Encoding) -> bytes:
    return clf_of_conversion(encoding, ident="urn:uuid:0", name=encoding.name).encode()


@pytest.mark.parametrize("encoding", ALL, ids=lambda e: f"{e.name} {e.exposure_index or ''}")
def test_a_conversion_is_the_encoding_and_is_known_again(encoding: Encoding, tmp_path: Path) -> None:
    (tmp_path / "in.clf").write_bytes(text(encoding))
    lut = parse_lut(text(encoding), file="in.clf")
    rng = np.random.default_rng(0)
    code = np.concatenate(
        [rng.uniform(-0.06, 1.09, (500, 3)), rng.uniform(-0.06, 1.09, (500, 1)).repeat(3, 1)]
    )
    exact = encoding.to_ap0(code)
    scale = np.abs(exact).max(-1, keepdims=True) + 1e-3
    assert (np.abs(lut.apply(code) - exact) / scale).max() < 2e-4  # where a curve has a corner; else 1e-6
    values = code.astype(np.float32)
    processor = ocio.Config.CreateRaw().getProcessor(ocio.FileTransform(src=str(tmp_path / "in.clf")))
    processor.getDefaultCPUProcessor().applyRGB(values)
    assert (np.abs(values - exact) / scale).max() < 1e-3  # float32, whose steps the steepest curves magnify
    assert encoding_of_lut(lut) == encoding


def test_any_other_lut_is_no_encoding() -> None:
    assert encoding_of_lut(identity_lut(2)) is None
    matrix = find_encoding("ACEScg").matrix_to_ap0 * 1.01
    assert (
        encoding_of_lut(parse_lut(clf_of_matrix(matrix, ident="x", name="x").encode(), file="x.clf")) is None
    )


def test_the_way_back() -> None:
    encoding = find_encoding("ACEScct")
    forward = parse_lut(text(encoding), file="in.clf")
    light = np.linspace(0, 1, 5)[:, None].repeat(3, 1)
    assert not leads_back(forward, encoding) and not leads_back(
        NodeLut(nodes=(Curves(table=light),)), encoding
    )

    class Back(NodeLut):
        def apply(self, rgb: object, interpolation: str = "tetrahedral") -> np.ndarray:
            return encoding.from_ap0(rgb)  # type: ignore[arg-type]

    assert leads_back(Back(nodes=()), encoding)
