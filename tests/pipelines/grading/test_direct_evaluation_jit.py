"""Rows that take a share of the transform itself: compiled from the same text, the same numbers."""

import numba as nb
import numpy as np
import pytest

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.grading.direct_evaluation import evaluated
from rushlight.pipelines.grading.direct_evaluation_jit import FEW, marks, take_shares
from rushlight.pipelines.grading.lattice import direct_of, steps

WIDTH = 301


@nb.njit
def rows(width, place, which, few, exact, row, size, out):  # type: ignore[no-untyped-def]
    if marks(out[3], width):
        take_shares(out[3], width, size, place, which, few, exact, row, out[0], out[1], out[2])


def run(place: np.ndarray, table: np.ndarray, row: np.ndarray) -> np.ndarray:
    out = tetrahedral(table.astype(np.float64), place.T.astype(np.float64)).T.astype(np.float32)
    out, which = np.ascontiguousarray(out), np.zeros(WIDTH, np.int32)
    few, exact = np.zeros((3, FEW), np.float32), np.zeros((3, FEW))
    rows(WIDTH, place, which, few, exact, row, len(table), out)
    return out


@pytest.mark.parametrize("size", [65, 129])
@pytest.mark.parametrize("share", [0.0, 1.0, None])
def test_rows_take_the_share_that_the_fourth_value_says(share: float | None, size: int) -> None:
    """Nowhere, everywhere and between; on points, edges, ties and the far corner too."""
    look = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"))
    signal = steps(look)
    places = np.repeat((size - 1) * (signal - signal[0])[None] / np.ptp(signal), 3, 0) * np.array(
        [[1], [1.01], [0.99]]
    )
    row = direct_of(look, places, size)
    rng = np.random.default_rng(2)
    table = rng.random((size, size, size, 4)).astype(np.float32)
    place = rng.uniform(0, size - 1, (3, WIDTH)).astype(np.float32)
    place[:, :40] = np.round(place[:, :40])
    place[0, 40:80] = place[1, 40:80]
    place[1, 80:120] = place[2, 80:120]
    place[:, 120] = size - 1
    if share is not None:
        table[..., 3] = share
    found = run(place, table, row)
    bare = run(place, table * np.array([1, 1, 1, 0], np.float32), row)
    part = found[3]
    assert part == pytest.approx(share, abs=1e-6) if share is not None else np.ptp(part) > 0.5
    exact = evaluated(place.T.astype(np.float64), row).T
    assert found[:3] == pytest.approx(bare[:3] * (1 - part) + exact * part, abs=2e-5)
    if share == 0:
        assert (found == bare).all()


def test_marked_pixels_side_by_side_are_those_that_lie_apart() -> None:
    """A run of them is taken where it lies, others are put side by side first: to the bit the same."""
    look = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"))
    signal, size = steps(look), 65
    row = direct_of(look, np.repeat((size - 1) * (signal - signal[0])[None] / np.ptp(signal), 3, 0), size)
    rng = np.random.default_rng(3)
    place = rng.uniform(0, size - 1, (3, WIDTH)).astype(np.float32)
    given = np.concatenate([rng.random((3, WIDTH)), np.ones((1, WIDTH))]).astype(np.float32)
    found = []
    for apart in (1, 2):
        room = WIDTH * apart + 16
        wide, out = np.zeros((3, room), np.float32), np.zeros((4, room), np.float32)
        wide[:, : WIDTH * apart : apart], out[:, : WIDTH * apart : apart] = place, given
        few, exact = np.zeros((3, FEW), np.float32), np.zeros((3, FEW))
        rows(WIDTH * apart, wide, np.zeros(room, np.int32), few, exact, row, size, out)
        found.append(out[:, : WIDTH * apart : apart])
    assert (found[0] == found[1]).all() and (found[0][:3] != given[:3]).all()
