"""Show LUTs with curves ahead of their lattice, and curves alone: baked as exactly as a lattice alone."""

from dataclasses import replace

import numpy as np
import pytest

from patches import compared, cube
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.grading.bake import bake, lattice_digest
from rushlight.pipelines.grading.lattice import lattice_kind
from rushlight.pipelines.grading.lut_lattice import can_be_shaped
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
    Node,
    NodeLut,
    Range,
)

LOOK = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"))
AXIS = np.linspace(0, 1, 1024)
BENT = np.stack([AXIS**0.7, AXIS**1.3, 3 * AXIS**2 - 2 * AXIS**3], -1)  # a curve of its own a channel
CURVES = Curves(table=BENT)
ROUGH = Lattice(lut=Lut(table=np.random.default_rng(33).random((33, 33, 33, 3))))
WIDE = Lattice(lut=Lut(table=ROUGH.lut.table, domain_min=(-0.5, 0.0, 0.1), domain_max=(1.0, 2.0, 0.9)))
NARROW = Lattice(
    lut=Lut(table=ROUGH.lut.table * 0.8 + 0.08)
)  # in its range: what leaves it is cut at the points
LEGAL = Range(scale=1023 / 876, offset=-64 / 876, low=0.0, high=1.0)
HALVES = HalfCurves(
    table=np.repeat(np.tanh(np.nan_to_num(np.arange(65536, dtype=np.uint16).view(np.float16), posinf=0, neginf=0).astype(float))[:, None], 3, 1)
)  # fmt: skip


def shown(lut: AnyLut, **settings: object) -> Look:
    return replace(LOOK, show_lut=ShowLut(name="shaped", lut=lut, **settings))


def nodes(*given: Node) -> NodeLut:
    return NodeLut(nodes=given)


@pytest.mark.parametrize(
    "look",
    [
        shown(nodes(CURVES, ROUGH)),
        shown(replace(ROUGH.lut, shaper=BENT)),
        shown(replace(WIDE.lut, shaper=BENT, shaper_min=(-0.05,) * 3, shaper_max=(1.05,) * 3)),
        shown(nodes(CURVES, WIDE), input_levels="narrow"),
        shown(nodes(Exponent(power=(1.1, 1.0, 0.9)), NARROW), output_levels="narrow"),
        shown(nodes(CURVES)),
        shown(nodes(CURVES), output_levels="narrow"),
        shown(nodes(CURVES), input_levels="narrow"),
        shown(nodes(HALVES)),
        shown(nodes(ROUGH)),
        replace(shown(nodes(CURVES, ROUGH)), grade_order="after", cdl=CDL(slope=(0.9, 0.9, 0.9))),
    ],
)
def test_curves_and_a_lattice_are_baked_within_a_tenth_of_a_code(look: Look) -> None:
    """The roughest lattice there is. Where a curve is infinitely steep or ends, within a step of the shaper, a code or two."""
    code = np.random.default_rng(0).uniform(-0.07, 1.09, (20000, 3))
    assert lattice_kind(look, 65) == "shaped"
    off = np.abs(bake(look).apply(code) - look.evaluate(code)) * 1023
    assert np.quantile(off, 0.998) < 0.1 and off.max() < 3


def test_a_clamp_anywhere_costs_a_fraction_of_a_code_within_a_step_of_it() -> None:
    look = shown(nodes(LEGAL))
    code = np.random.default_rng(0).uniform(-0.07, 1.09, (20000, 3))
    off = np.abs(bake(look).apply(code) - look.evaluate(code)) * 1023
    assert off.max() < 0.2 and np.quantile(off, 0.99) < 0.02


def test_a_grade_ahead_is_still_ahead_of_it() -> None:
    """One lattice for every clip of the show."""
    plain = shown(nodes(CURVES, ROUGH))
    look = replace(plain, exposure=0.5, cdl=CDL(slope=(1.1, 1, 0.9), saturation=1.2))
    assert lattice_digest(look, "graded") == lattice_digest(plain, "graded")
    code = np.random.default_rng(0).uniform(-0.07, 1.09, (20000, 3))
    assert np.quantile(np.abs(bake(look).apply(code) - look.evaluate(code)), 0.99) * 1023 < 20


def test_curves_alone_in_the_light_of_another_display() -> None:
    look = shown(nodes(CURVES), display=find_display("P3-D65"))
    even, baked = compared(look, cube(17))
    assert baked.p99 <= even.p99 * 1.1 and baked.mean < 2


def test_kinds_and_what_is_not_shaped() -> None:
    big = Lattice(lut=Lut(table=np.zeros((66, 66, 66, 3))))
    mixed = Matrix(matrix=np.full((3, 3), 1 / 3), offset=np.zeros(3))
    sat = Decision(cdl=CDL(saturation=0.9))
    for lut in (nodes(CURVES, big), nodes(mixed), nodes(CURVES, mixed, ROUGH), nodes(sat, ROUGH)):
        assert not can_be_shaped(lut, 65) and lattice_kind(shown(lut), 65) == "even"
    assert can_be_shaped(nodes(Decision(cdl=CDL(slope=(1.1, 1, 1))), ROUGH), 65)
    assert can_be_shaped(nodes(Matrix(matrix=np.diag([1.0, 0.9, 0.8]), offset=np.zeros(3))), 65)
    inside = replace(shown(nodes(CURVES, ROUGH)), white_balance=(0.35, 0.36))
    assert lattice_kind(inside, 65) == "even"
    assert lattice_kind(shown(nodes(CURVES, ROUGH), encoding=find_encoding("V-Log")), 65) == "even"


GAMUT = Matrix(matrix=np.array([[1.6, -0.5, -0.1], [-0.1, 1.2, -0.1], [0.0, -0.2, 1.2]]), offset=np.zeros(3))
ANTILOG = Logarithm(
    base=10.0,
    log_slope=(0.24719,) * 3,
    log_offset=(0.385537,) * 3,
    lin_slope=(5.555556,) * 3,
    lin_offset=(0.052272,) * 3,
    breaks=(0.010591,) * 3,
    inverse=True,
)
CUT = Range(scale=1.0, offset=0.0, low=0.0, high=1.0)
POWER = Exponent(power=(1 / 2.4,) * 3)
ALIKE = Curves(table=np.repeat(BENT[:, :1], 3, 1))


@pytest.mark.parametrize(
    "look",
    [
        shown(nodes(ROUGH, ALIKE)),
        shown(nodes(CURVES, ROUGH, ALIKE)),
        shown(nodes(CURVES, ROUGH, ALIKE), input_levels="narrow"),
        shown(nodes(ROUGH, CUT, POWER)),
    ],
)
def test_a_curve_after_the_lattice_is_after_it(look: Look) -> None:
    code = np.random.default_rng(0).uniform(-0.07, 1.09, (20000, 3))
    assert lattice_kind(look, 65) == "shaped, curved"
    off = np.abs(bake(look).apply(code) - look.evaluate(code)) * 1023
    assert np.quantile(off, 0.998) < 0.2 and off.max() < 4


def test_white_and_black_of_a_lattice_that_a_curve_follows_are_exact() -> None:
    """Where a clamp bends the curve, at 0 and at 1, it has a knot."""
    for value in (0.0, 1.0):
        flat = Lattice(lut=Lut(table=np.full((2, 2, 2, 3), value)))
        look = shown(nodes(flat, ALIKE))
        assert lattice_kind(look, 65) == "shaped, curved"
        assert bake(look).apply((0.5, 0.4, 0.3)) == pytest.approx((value,) * 3, abs=1e-4)


@pytest.mark.parametrize("levels", ["full", "narrow"])
def test_clamps_of_a_formula_bend_nothing_between_the_points(levels: str) -> None:
    """A tenth of what evenly spaced points of the display's signal err by, at the worst and in the mean."""
    look = shown(nodes(ANTILOG, GAMUT, CUT, POWER), output_levels=levels)
    assert lattice_kind(look, 65) == "even, curved"
    even, baked = compared(look, cube(33))
    assert even.worst > 200 and even.mean > 2
    assert baked.worst < even.worst / 4 and baked.p99 < even.p99 / 10 and baked.mean < even.mean / 5


def test_curves_that_are_not_alike_or_not_level_are_in_the_lattice() -> None:
    rising = Exponent(power=(1.5, 1.5, 1.5))  # at 4/3 and at 2 both are 1 on the display
    assert lattice_kind(shown(nodes(GAMUT, CURVES)), 65) == "even"
    assert lattice_kind(shown(nodes(GAMUT, rising)), 65) == "even, curved"
    assert lattice_kind(shown(nodes(GAMUT, Exponent(power=(0.5, 0.5, 0.5)))), 65) == "even, curved"
    slow = Range(scale=0.5, offset=0.0, low=None, high=None)
    lifted = Range(scale=1.0, offset=0.5, low=None, high=None)
    for end in (slow, lifted):
        assert lattice_kind(shown(nodes(GAMUT, end)), 65) == "even"
    curved = nodes(ROUGH, ALIKE)
    assert lattice_kind(shown(curved, display=find_display("P3-D65")), 65) == "shaped"
    assert lattice_kind(replace(shown(curved), grade_order="after", cdl=CDL()), 65) == "shaped"


def test_a_plain_cube_is_baked_to_the_bit_as_before_other_kinds_were_read() -> None:
    table = np.stack(np.meshgrid([0.0, 0.5], [0.0, 1.0], [0.0, 1.0], indexing="ij"), -1)
    baked = bake(shown(Lut(table=table)))
    assert baked.digest == "sha256:8e4c6596424f1c433fb3c87529697048294caefddc66830805eb21a55198a70e"
