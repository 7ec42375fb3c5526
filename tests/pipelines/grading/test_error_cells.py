"""Cells that err too much are marked, and what is not marked errs little."""

import numpy as np

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.grading.direct_evaluation import evaluated
from rushlight.pipelines.grading.error_cells import LIMIT, marked
from rushlight.pipelines.grading.lattice import direct_of, lattice
from rushlight.pipelines.grading.shaper import light_curve, on_curve

DISPLAY = find_display("Rec.709 BT.1886")
LOOK = Look(encoding=find_encoding("LogC3"), display=DISPLAY)


def test_what_is_not_marked_errs_little() -> None:
    """Anywhere in the lattice, with the shares taken: a tenth as many as before are off by more than LIMIT."""
    made, curve = lattice(LOOK, 65), light_curve(DISPLAY)
    direct = direct_of(LOOK, made.places, 65)
    assert made.share is not None and direct is not None
    assert set(np.unique(made.share)) == {0.0, 1.0} and 0.01 < made.share.mean() < 0.06
    place = np.random.default_rng(3).uniform(0, 64, (200000, 3))
    exact = evaluated(place, direct)
    bare = tetrahedral(made.values, place)
    share = tetrahedral(np.repeat(made.share[..., None], 3, -1), place)
    before, after = (
        np.abs(on_curve(curve, found) - on_curve(curve, exact)).max(1)
        for found in (bare, bare + share * (exact - bare))
    )
    assert (before > LIMIT).mean() > 0.002 and (after > LIMIT).mean() < 0.0004
    assert after.max() < 0.6 * before.max()


def test_a_lattice_that_is_wrong_somewhere_is_marked_there() -> None:
    """One point moved: the eight cells about it, and so their 27 points."""
    made = lattice(LOOK, 65)
    direct = direct_of(LOOK, made.places, 65)
    assert direct is not None and made.share is not None
    spot = np.array([30, 30, 30])
    assert not made.share[27:34, 27:34, 27:34].any()
    wrong = made.values.copy()
    wrong[tuple(spot)] += 0.2
    share = marked(wrong, light_curve(DISPLAY), direct)
    around = np.zeros_like(share)
    around[29:32, 29:32, 29:32] = 1
    assert (share == np.maximum(made.share, around))[27:34, 27:34, 27:34].all()
