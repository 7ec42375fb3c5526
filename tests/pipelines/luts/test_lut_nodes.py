"""Nodes of LUTs: what files cannot say, and what goes for all. Values by hand are in test_ocio_lut.py."""

import pickle

import numpy as np
import pytest

from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.luts.lattice_lut import Lut, identity_lut
from rushlight.pipelines.luts.lut_nodes import (
    Curves,
    Decision,
    Exponent,
    Lattice,
    Logarithm,
    Matrix,
    MonCurve,
    Node,
    NodeLut,
    Range,
)

ONE, NIL = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)
NODES: tuple[Node, ...] = (
    Curves(table=np.array([[0.0, 0, 0], [0.3, 0.4, 0.5], [1, 1, 1]]), low=(-1, -1, -1)),
    Lattice(lut=identity_lut(3)),
    Matrix(matrix=np.eye(3)[::-1] * 0.9, offset=np.array([0.1, 0, 0])),
    Range(scale=2.0, offset=0.1, low=0.0, high=None),
    Logarithm(base=10.0, log_slope=ONE, log_offset=NIL, lin_slope=ONE, lin_offset=ONE),
    Exponent(power=(2.2, 2.2, 2.2), negative="mirror"),
    MonCurve(power=(2.4, 2.4, 2.4), offset=(0.055, 0.055, 0.055)),
    Decision(cdl=CDL(slope=(1.1, 1, 0.9), saturation=0.8)),
)


def test_nodes_act_in_order_on_any_shape() -> None:
    lut = NodeLut(nodes=(NODES[2], NODES[3]))
    values = np.random.default_rng(1).random((4, 5, 3))
    wanted = np.maximum((values[..., ::-1] * 0.9 + [0.1, 0, 0]) * 2 + 0.1, 0)
    assert lut.apply(values) == pytest.approx(wanted, rel=1e-15)
    assert lut.apply(np.zeros((0, 3))).shape == (0, 3)


@pytest.mark.parametrize("node", NODES, ids=lambda node: node.label)
def test_a_node_travels_and_its_numbers_are_its_digest(node: Node) -> None:
    lut = NodeLut(nodes=(node,), title="one")
    again = pickle.loads(pickle.dumps(lut))
    values = np.random.default_rng(2).uniform(-0.5, 1.5, (50, 3))
    assert again.apply(values).tolist() == lut.apply(values).tolist()
    assert again.digest() == lut.digest()
    others = [NodeLut(nodes=(other,)).digest() for other in NODES]
    assert others.count(lut.digest()) == 1


@pytest.mark.parametrize("node", NODES, ids=lambda node: node.label)
def test_a_nan_is_the_lower_end_of_tables_and_clamps_and_stays_one_in_arithmetic(node: Node) -> None:
    found = node.apply(np.array([[np.nan, 0.5, 0.5]]), "tetrahedral")
    clamps = isinstance(node, Curves | Lattice | Range | Decision | Logarithm)
    assert np.isfinite(found).all() == clamps


def test_size_is_of_the_last_lattice_else_of_the_longest_curve() -> None:
    curve, long = NODES[0], Curves(table=np.zeros((17, 3)))
    assert NodeLut(nodes=(long, NODES[1], curve)).size == 3
    assert NodeLut(nodes=(curve, long)).size == 17
    assert NodeLut(nodes=(NODES[2],)).size == 0


def test_the_interpolation_that_a_lattice_states() -> None:
    stated = Lattice(lut=Lut(table=identity_lut(2).table, interpolation="trilinear"))
    assert NodeLut(nodes=(NODES[0], stated)).interpolation == "trilinear"
    assert NodeLut(nodes=(NODES[0], NODES[1])).interpolation is None
