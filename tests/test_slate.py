"""Burn-in: running values change, text is legible on black and white, nothing it cannot draw becomes a box."""

import numpy as np
import pytest
from pictures import frame_of
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.pixels import find_pixel_format, planes
from rushlight.pipelines.recipe import Burnin, Guides
from rushlight.pipelines.slate import Painter, check_fields, fields_of

ANCHORS = ["top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom", "bottom-right"]


def burnin(*texts: dict, **rest: object) -> Burnin:
    return Burnin.model_validate({"text": list(texts), **rest})


def flat(name: str, luma: int, width: int = 640, height: int = 360):  # type: ignore[no-untyped-def]
    found = find_pixel_format(name)
    assert found is not None
    shape = (height // found.sub_y, width // found.sub_x)
    neutral = 128 << (found.bits - 8)
    return frame_of(
        name,
        np.full((height, width), luma << (found.bits - 8)),
        np.full(shape, neutral + 20),
        np.full(shape, neutral - 20),
    )


def painter(
    what: Burnin | None, name: str = "yuv420p", fields: dict | None = None, **rest: object
) -> Painter:
    found = find_pixel_format(name)
    assert found is not None
    return Painter(what, found, "narrow", 640, 360, fields or {}, **rest)  # type: ignore[arg-type]


RUNNING = {"timecode": "10:12:04:11", "frame": "12", "source_frame": "86412"}


@pytest.mark.parametrize("name", ["yuv420p", "yuv422p", "yuv422p10le", "yuv444p10le"])
@pytest.mark.parametrize("background", [16, 235])
def test_legible_on_black_and_on_white(name: str, background: int) -> None:
    frame = flat(name, background)
    p = painter(burnin({"at": "centre", "text": "A001C003", "size": 0.1}), name)
    p.paint(frame, RUNNING)
    (x, y, w, h) = p.covered[0]
    unit = 1 << (planes(frame)[0].dtype.itemsize * 8 - 8 if name.endswith("p") else 2)
    inside = planes(frame)[0][y : y + h, x : x + w].astype(float) / unit
    assert inside.max() > 230 and inside.min() < 22
    outside = planes(frame)[0].copy()
    outside[y : y + h, x : x + w] = background * unit
    assert (outside == background * unit).all()


def test_running_values_change_on_every_frame_and_fixed_text_does_not() -> None:
    p = painter(
        burnin({"at": "bottom", "text": "{timecode}"}, {"at": "top-left", "text": "{clip}"}),
        fields={"clip": "A001"},
    )
    seen = set()
    for n in range(24):
        frame = flat("yuv420p", 60)
        p.paint(frame, {**RUNNING, "timecode": f"10:12:04:{n:02}"})
        luma = planes(frame)[0]
        seen.add(luma[300:].tobytes())
        top = luma[:100].tobytes() if n == 0 else top  # type: ignore[has-type]  # noqa: F821
        assert luma[:100].tobytes() == top
    assert len(seen) == 24


@pytest.mark.parametrize("anchor", ANCHORS)
def test_anchors_lie_inside(anchor: str) -> None:
    p = painter(burnin({"at": anchor, "text": "Scene 12 take 3"}))
    x, y, w, h = p.covered[0]
    assert x >= 0 and y >= 0 and x + w <= 640 and y + h <= 360
    assert ("left" in anchor) == (x < 40) and ("right" in anchor) == (x + w > 600)
    assert anchor.startswith("top") == (y < 40) and anchor.startswith("bottom") == (y + h > 320)


def test_long_text_shrinks_before_it_is_cut() -> None:
    short, long, endless = (painter(burnin({"at": "top", "text": "wide " * n})) for n in (3, 25, 59))
    assert long.covered[0][3] < short.covered[0][3] and not long.warnings
    assert endless.covered[0][2] <= 640 and any("cut" in w for w in endless.warnings)


def test_other_scripts_are_drawn_or_reported() -> None:
    p = painter(burnin({"at": "top", "text": "{note}"}), fields={"note": "名前"})
    assert any("名前" in w for w in p.warnings)
    assert not painter(burnin({"at": "top", "text": "Ångström é"})).warnings


def test_a_watermark_covers_a_tenth_of_a_tile_at_most() -> None:
    frame, before = flat("yuv420p", 100), flat("yuv420p", 100)
    p = painter(burnin(watermark="VIEWING COPY"))
    p.paint(frame, RUNNING)
    changed = planes(frame)[0] != planes(before)[0]
    shares = [t.mean() for rows in np.array_split(changed, 9, 0) for t in np.array_split(rows, 16, 1)]
    assert 0 < max(shares) <= 0.1
    for y, x in zip(*np.nonzero(changed), strict=True):
        assert any(a <= x < a + w and b <= y < b + h for a, b, w, h in p.covered)


def test_guides_and_shade() -> None:
    frame = flat("yuv420p", 200)
    painter(None, guides=Guides(aspect=2.39, shade=0.5, action_safe=0.9, centre=True)).paint(frame, RUNNING)
    luma = planes(frame)[0]
    assert luma[10, 300] == pytest.approx(0.5 * 200 + 0.5 * 16, abs=1) and luma[100, 300] == 200
    assert luma[180, 320] != 200


def test_fields() -> None:
    what = burnin({"at": "top", "text": "{Clip} {timecode} {weather}"}, watermark="{reel}")
    assert fields_of(what) == ("clip", "timecode", "weather", "reel")
    check_fields(what, ["Weather"], key="k")
    with pytest.raises(RecipeError, match="weather") as caught:
        check_fields(what, [], key="output[0].burnin.text")
    assert caught.value.key == "output[0].burnin.text"


def test_an_unknown_font_is_refused() -> None:
    with pytest.raises(RecipeError, match="font"):
        painter(burnin({"at": "top", "text": "x"}, font="nowhere.ttf"))
