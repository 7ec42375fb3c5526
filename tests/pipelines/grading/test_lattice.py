"""Where lattice points lie and what they hold: LUTs to the bit, greys on diagonals, and errors on saturated patches."""

from dataclasses import replace

import numpy as np
import pytest

from patches import compared, cube
from rushlight.pipelines.colour.camera_encodings import encodings, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.grading.bake import bake
from rushlight.pipelines.grading.lattice import _balanced, lattice, lattice_kind, steps
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.luts.lut_nodes import Matrix, NodeLut

REC709 = find_display("Rec.709 BT.1886")
LOOK = Look(encoding=find_encoding("LogC3"), display=REC709)


def shown(size: int, **settings: object) -> Look:
    table = np.random.default_rng(size).random((size, size, size, 3))
    domain = {k: settings.pop(k) for k in ("domain_min", "domain_max") if k in settings}
    return replace(LOOK, show_lut=ShowLut(name="rough", lut=Lut(table=table, **domain), **settings))


@pytest.mark.parametrize(("size", "points"), [(2, 65), (17, 65), (32, 63), (33, 65), (50, 50), (65, 65)])
def test_a_show_lut_is_baked_exactly(size: int, points: int) -> None:
    """The roughest LUT there is, at any signal: the lattice's points are its own, or part its cells evenly."""
    look = shown(size)
    baked = bake(look)
    code = np.random.default_rng(0).uniform(-0.1, 1.15, (20000, 3))
    assert baked.size == points
    assert np.abs(baked.apply(code) - look.evaluate(code)).max() < 5e-5


def test_a_show_lut_of_other_levels_and_domain() -> None:
    code = np.random.default_rng(0).uniform(-0.07, 1.09, (20000, 3))
    wide = {"domain_min": (-0.5, 0.0, 0.1), "domain_max": (1.0, 2.0, 0.9)}
    for look in (
        shown(33, input_levels="narrow"),
        shown(33, **wide),
        replace(shown(33), grade_order="after", cdl=CDL(slope=(1, 1, 0.9), saturation=1.0)),
        replace(shown(33), cdl=CDL(slope=(1.1, 1, 0.9), saturation=1.2)),
    ):
        found, exact = bake(look).apply(code), look.evaluate(code)
        # A grade ahead is itself a table; one after bends what lies between the LUT's points where it clips only.
        limit = 5e-5 if look.cdl is None or look.grade_order == "after" else 0.02
        assert np.quantile(np.abs(found - exact), 0.999) < limit


def test_a_lut_that_gives_a_scene_is_baked_as_the_transform_is() -> None:
    """A matrix over ACES2065-1 ahead of ACES 2.0 errs as the transform alone does: no more than twice in the mean."""
    aces = find_encoding("ACES2065-1")
    warm = np.array([[0.6, 0.02, 0.0], [0.01, 0.55, 0.0], [0.0, 0.03, 0.45]])
    node = NodeLut(nodes=(Matrix(matrix=warm, offset=np.zeros(3)),))
    look = replace(LOOK, show_lut=ShowLut(name="warm", lut=node, encoding=aces, scene=aces))
    assert lattice_kind(look, 33) == "light"
    code = np.random.default_rng(0).uniform(0.2, 0.6, (4000, 3))
    found, plain = (np.abs(bake(x, size=33).apply(code) - x.evaluate(code)).mean() for x in (look, LOOK))
    assert found < 2 * plain, (found, plain)


def test_kinds() -> None:
    assert lattice_kind(LOOK, 65) == "light"
    assert lattice_kind(shown(33), 65) == "lut" and lattice_kind(shown(66), 65) == "even"
    assert lattice_kind(replace(shown(33), cdl=CDL(), cdl_space="ACEScct"), 65) == "even"
    assert lattice_kind(shown(33, encoding=find_encoding("V-Log")), 65) == "even"
    assert lattice_kind(replace(LOOK, display=find_display("PQ BT.2100")), 65) == "even"
    assert lattice_kind(replace(LOOK, grade_order="after", cdl=CDL(saturation=0.9)), 65) == "even"
    assert lattice_kind(replace(LOOK, transform="colorimetric"), 65) == "even"
    for look in (LOOK, shown(33), replace(LOOK, transform="colorimetric")):
        assert lattice(look, 17).light == (lattice_kind(look, 17) == "light")


@pytest.mark.parametrize("encoding", encodings(), ids=lambda e: e.name)
def test_greys_lie_on_diagonals(encoding) -> None:  # type: ignore[no-untyped-def]
    """The three axes are alike, so that greys are interpolated between greys; all rise."""
    look = replace(LOOK, encoding=encoding)
    made, signal = lattice(look, 9), steps(look)
    assert (made.places == made.places[1]).all()
    assert (np.diff(made.places) > 0).all() and (made.places[:, [0, -1]] == [0, 8]).all()
    for end in (0.0, 1.0):
        place = np.interp(end, signal, made.places[1])
        assert place == pytest.approx(round(place), abs=1e-4)


def test_balanced_errs_to_both_sides_alike() -> None:
    axis = np.arange(9.0)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    straight = np.stack([x + 2 * y, z, x - z], -1)
    assert _balanced(straight)[1:-1, 1:-1, 1:-1] == pytest.approx(straight[1:-1, 1:-1, 1:-1])
    bent = np.stack([x * x + y * z, (x + y + z) ** 2, x * y - z * z], -1)
    place = np.random.default_rng(0).uniform(2, 6, (60000, 3))
    a, b, c = place.T
    exact = np.stack([a * a + b * c, (a + b + c) ** 2, a * b - c * c], -1)
    before, after = (tetrahedral(t, place) - exact for t in (bent, _balanced(bent)))
    assert np.abs(after.mean(0)).max() < 0.1 * np.abs(before.mean(0)).max()
    assert np.abs(after).max() < np.abs(before).max()


def test_grey_is_within_codes_of_the_exact_look() -> None:
    """Black, grey, white, 4.0 and the end of the signal; up to white no channel of a grey runs from the others."""
    for name in ("LogC3", "LogC4", "Log3G10", "ACEScg"):
        look = replace(LOOK, encoding=find_encoding(name))
        baked, working = bake(look), look.working
        code = np.append(working.encode(np.array([0.0, 0.18, 0.6, 4.0])), 1.0)
        grey = np.repeat(code[:, None], 3, 1)
        off = (baked.apply(grey) - look.evaluate(grey)) * 1023
        assert np.abs(off[1:]).max() < 1 and np.abs(off[0]).max() < 4, name  # 4 is 0.0002 cd/m2
        assert np.ptp(off[1:3], axis=1).max() < 0.1 and np.ptp(off[3:], axis=1).max() < 1, name


def held(name: str, side: int) -> None:
    """At most half the plain lattice's worst error, 0.35 of its 99.9th percentile, 0.3 of its 99th, 0.4 of its mean."""
    plain, ours = compared(replace(LOOK, encoding=find_encoding(name)), cube(side))
    for found, wanted, share in zip(ours, plain, (0.5, 0.35, 0.3, 0.4), strict=True):
        assert found <= share * wanted, (name, ours, plain)


@pytest.mark.parametrize("name", ["LogC3", "LogC4", "S-Log3/S-Gamut3.Cine"])
def test_saturated_patches(name: str) -> None:
    held(name, 37)


@pytest.mark.slow
@pytest.mark.parametrize("side", [33, 97])
@pytest.mark.parametrize("name", [e.name for e in encodings() if e.kind == "log"])
def test_saturated_patches_of_every_encoding(name: str, side: int) -> None:
    held(name, side)
