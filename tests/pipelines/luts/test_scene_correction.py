"""Exposure and white balance read back from a matrix over ACES2065-1."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.colour.camera_encodings import Encoding, encodings, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, working_encoding
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.lut_nodes import Curves, Decision, Matrix, Node, NodeLut, Range
from rushlight.pipelines.luts.scene_correction import correction_of, matrix_of

ALL = [e for e in encodings() if e.kind == "log"]
REC709 = find_display("Rec.709 BT.1886")


def look(encoding: Encoding, stops: float, white: tuple[float, float] | None) -> Look:
    return Look(encoding=encoding, display=REC709, exposure=stops, white_balance=white)


@pytest.mark.parametrize("encoding", [*ALL, find_encoding("ACES2065-1")], ids=lambda e: e.name)
@pytest.mark.parametrize(
    ("stops", "white"), [(0.0, None), (0.5, None), (-1.25, (0.4476, 0.4074)), (0.0, (0.3, 0.31))]
)
def test_what_was_written_is_read_back_digit_for_digit(
    encoding: Encoding, stops: float, white: tuple[float, float] | None
) -> None:
    found = look(encoding, stops, white)
    assert correction_of(found.correction_in_aces(), found.working) == (stops, white)


@given(st.floats(-8, 8), st.floats(0.25, 0.5), st.floats(0.25, 0.45), st.sampled_from(ALL))
def test_any_correction_comes_back(stops: float, x: float, y: float, encoding: Encoding) -> None:
    matrix = look(encoding, stops, (x, y)).correction_in_aces()
    found = correction_of(matrix, encoding)
    assert found is not None
    again = look(encoding, *found).correction_in_aces()
    assert np.allclose(again, matrix, rtol=1e-6, atol=1e-7 * np.abs(matrix).max())


@pytest.mark.parametrize(
    "matrix",
    [
        np.array([[0.9, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),  # crosstalk
        np.diag([1.0, 1.0, -0.5]),
        np.diag([1.2, 1.0, 0.8]),  # gains of ACES primaries are no von Kries adaptation
    ],
)
def test_any_other_matrix_is_none(matrix: np.ndarray) -> None:
    assert correction_of(matrix, working_encoding(find_encoding("LogC4"))) is None


def nodes(*found: Node) -> NodeLut:
    return NodeLut(nodes=found)


def test_a_lut_that_is_a_matrix_is_one() -> None:
    warm = np.array([[1.1, 0.02, 0.0], [0.0, 1.0, 0.01], [0.0, 0.0, 0.8]])
    node = Matrix(matrix=warm, offset=np.zeros(3))
    found = matrix_of(nodes(node))
    assert found is not None and np.allclose(found, warm)
    both = matrix_of(nodes(node, node))
    assert both is not None and np.allclose(both, warm @ warm)


@pytest.mark.parametrize(
    "lut",
    [
        identity_lut(17),  # clamps at 1
        nodes(Range(scale=1.0, offset=0.0, low=0.0, high=None)),
        nodes(Matrix(matrix=np.eye(3), offset=np.full(3, 0.01))),
        nodes(Curves(table=np.linspace(0, 2, 5)[:, None].repeat(3, 1))),
        nodes(Decision(cdl=CDL(saturation=0.9))),
    ],
)
def test_a_lut_that_is_no_matrix_is_none(lut: NodeLut) -> None:
    assert matrix_of(lut) is None
