"""Frame lines drawn: where they lie, dashed or not, named, and cut at the raster's edge."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.burnin.canvas import Canvas
from rushlight.pipelines.burnin.frame_lines import draw_frame_lines
from rushlight.pipelines.job.spec import FrameLine


def test_a_line_lies_inside_its_box() -> None:
    canvas = Canvas(320, 180)
    boxes = draw_frame_lines(canvas, [FrameLine(x=40, y=20, width=240, height=140)])
    rows, columns = np.flatnonzero(canvas.covered.any(1)), np.flatnonzero(canvas.covered.any(0))
    assert (rows[0], rows[-1], columns[0], columns[-1]) == (20, 159, 40, 279)
    white = canvas.white > 0.5
    assert white.sum() == 2 * 240 + 2 * 138  # one pixel wide, each corner once
    assert canvas.white[20, 40:280].min() == 1 and not canvas.covered[22:158, 42:278].any()
    assert canvas.keep[21, 41:279].max() < 0.5 and canvas.white[21, 41:279].max() == 0  # its dark edge
    drawn = np.zeros((180, 320), bool)
    for x, y, width, height in boxes:
        drawn[y : y + height, x : x + width] = True
    assert (drawn == canvas.covered).all()


def test_what_is_protected_is_dashed() -> None:
    canvas = Canvas(320, 1080)
    draw_frame_lines(canvas, [FrameLine(x=0, y=0, width=320, height=1080, dashed=True)])
    top = canvas.covered[0, :80]
    assert top.tolist() == ([True] * 24 + [False] * 16) * 2
    assert canvas.covered[2:82, 0].tolist() == ([True] * 24 + [False] * 16) * 2


def test_names_stand_over_one_another_in_the_corner() -> None:
    lines = [FrameLine(x=20, y=20, width=300, height=300, label=name) for name in ("Theatrical", "Streaming")]
    canvas = Canvas(480, 360)
    boxes = [b for b in draw_frame_lines(canvas, lines) if b[3] > 3 and b[2] > 3]
    (x0, y0, _, h0), (x1, y1, _, h1) = boxes
    assert x0 == x1 and y1 + h1 == y0 and y1 > 20 and y0 + h0 < 320
    for x, y, width, height in boxes:
        assert canvas.covered[y : y + height, x : x + width].mean() > 0.1


def test_a_name_without_room_is_left_out() -> None:
    canvas = Canvas(64, 36)
    boxes = draw_frame_lines(canvas, [FrameLine(x=50, y=0, width=20, height=36, label="a very long name")])
    assert all(width == 1 or height == 1 for _, _, width, height in boxes)


numbers = st.integers(-400, 400)


@given(numbers, numbers, st.integers(1, 800), st.integers(1, 800), st.booleans())
def test_no_rectangle_lies_outside(x: int, y: int, width: int, height: int, dashed: bool) -> None:
    canvas = Canvas(128, 72)
    line = FrameLine(x=x, y=y, width=width, height=height, label="n", dashed=dashed)
    for left, top, wide, high in draw_frame_lines(canvas, [line]):
        assert 0 <= left < left + wide <= 128 and 0 <= top < top + high <= 72
