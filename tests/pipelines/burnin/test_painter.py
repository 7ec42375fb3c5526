"""Burn-in: running values change, text is legible on black and white, nothing it cannot draw becomes a box."""

import itertools
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pictures import frame_of, texture
from rushlight.batch.plan.prepare import kept_fonts
from rushlight.pipelines.burnin import watermark
from rushlight.pipelines.burnin.painter import Painter, check_fields, fields_of
from rushlight.pipelines.burnin.text_fields import parse_template, running_room
from rushlight.pipelines.burnin.text_masks import FONT, font_file
from rushlight.pipelines.errors import RecipeError, RushlightError
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.recipe.model import Burnin, Guides
from rushlight.pipelines.recipe.read_recipe import parse_recipe

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


def test_lines_of_one_anchor_read_downwards() -> None:
    for anchor in ANCHORS:
        p = painter(burnin(*({"at": anchor, "text": word} for word in ("one", "two", "three"))))
        tops = [y for _, y, _, _ in p.covered]
        assert tops == sorted(tops) and len(set(tops)) == 3
        heights = [h for _, _, _, h in p.covered]
        assert all(a + h <= b + 1 for a, h, b in zip(tops, heights, tops[1:], strict=False))


@pytest.mark.parametrize(
    "row", [("top-left", "top", "top-right"), ("left", "centre", "right"), ("bottom-left", "bottom-right")]
)
def test_neighbours_never_overlap(row: tuple[str, ...]) -> None:
    p = painter(burnin(*({"at": at, "text": "a clip with a very long name indeed " * 3} for at in row)))
    spans = sorted((x, x + w) for x, _, w, _ in p.covered)
    assert len(spans) == len(row) and all(a[1] <= b[0] for a, b in itertools.pairwise(spans))


def test_a_box_has_no_seams() -> None:
    frame = flat("yuv420p", 235)
    p = painter(burnin({"at": "centre", "text": "src {source_frame} / {timecode}", "backing": "box"}))
    p.paint(frame, RUNNING)
    (x, y, w, h) = p.covered[0]
    box = planes(frame)[0][y : y + h, x : x + w]
    assert set(box[0]) == set(box[:, 0]) == {round(235 * 0.35 + 16 * 0.65)}


@pytest.mark.parametrize("name", ["yuv420p", "yuv422p10le", "yuv444p12le", "yuv420p16le", "gbrp10le"])
@pytest.mark.parametrize("levels", ["narrow", "full"])
@pytest.mark.parametrize("opacity", [1.0, 0.4])
def test_blending_is_exact(name: str, levels: str, opacity: float) -> None:
    """White at the given opacity over a texture, against float arithmetic; BT.709 and H.273 codes of white and grey."""
    found = find_pixel_format(name)
    assert found is not None
    frame, before = texture(name, 320, 180, 3), texture(name, 320, 180, 3)
    p = Painter(
        burnin({"at": "centre", "text": "MMM", "size": 0.25, "opacity": opacity}), found, levels, 320, 180, {}
    )  # type: ignore[arg-type]
    p.paint(frame, RUNNING)
    unit = 1 << (found.bits - 8)
    white = 235 * unit if levels == "narrow" else (1 << found.bits) - 1
    for k, (new, old) in enumerate(zip(planes(frame), planes(before), strict=True)):
        goal = white if k == 0 or found.family == "rgb" else 128 * unit
        changed = new != old
        whole = (
            np.abs(new.astype(float) - (old * (1 - opacity) + goal * opacity))
            <= 0.5 + opacity * 2e-5 * 2**found.bits
        )
        assert whole[changed].mean() > 0.1  # the insides of the letters, not the soft edges
        if k == 0:
            assert (new[~p.mask()] == old[~p.mask()]).all()


@pytest.mark.parametrize("name", ["yuv420p", "yuv422p10le"])
def test_only_what_the_mask_says_is_touched(name: str) -> None:
    what = burnin(
        {"at": "bottom", "text": "{timecode} {clip}"},
        {"at": "top-left", "text": "{frame}", "backing": "box"},
        watermark="FOR {clip}",
    )
    frame, before = texture(name, 640, 360, 1), texture(name, 640, 360, 1)
    p = painter(what, name, {"clip": "A001C003"})
    p.paint(frame, RUNNING)
    changed = planes(frame)[0] != planes(before)[0]
    listed = np.zeros_like(p.mask())
    for x, y, w, h in p.covered:
        listed[y : y + h, x : x + w] = True
    assert changed.any() and not (changed & ~p.mask()).any() and not (p.mask() & ~listed).any()


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=60), st.sampled_from(ANCHORS))
def test_any_text_is_drawn_or_reported_and_stays_inside(note: str, at: str) -> None:
    p = painter(burnin({"at": at, "text": "{note}{frame}", "size": 0.08}), fields={"note": note})
    frame = flat("yuv420p", 90)
    p.paint(frame, RUNNING)
    for x, y, w, h in p.covered:
        assert x >= 0 and y >= 0 and x + w <= 640 and y + h <= 360


def test_braces_in_a_value_are_no_field() -> None:
    """A note is data: what it holds is shown, and never read as a template."""
    plain = painter(burnin({"at": "top", "text": "{note}"}), fields={"note": "see {timecode} {nothing}"})
    plain.paint(flat("yuv420p", 90), {})  # no running value is asked for
    assert [part.field for part in parse_template("{ Clip } x {a b}")] == ["clip", "", "a b"]


def test_a_value_too_long_for_its_room_is_an_error_not_a_wrong_number() -> None:
    p = painter(burnin({"at": "top", "text": "{frame}"}))
    with pytest.raises(RushlightError, match="no room"):
        p.paint(flat("yuv420p", 90), {"frame": "1234567"})
    painter(burnin({"at": "top", "text": "{frame}"}), longest={"frame": 7}).paint(
        flat("yuv420p", 90), {"frame": "1234567"}
    )
    painter(burnin({"at": "top", "text": "{timecode}"}), longest={"timecode": 12}).paint(
        flat("yuv420p", 90), {"timecode": "01:00:00:100"}
    )


@pytest.mark.parametrize("rate", ["24", "59.94", "100", "119.88", "240"])
def test_every_timecode_of_a_rate_has_room(rate: str) -> None:
    """Above 100 frames a second a label has twelve characters; all of them are drawn, and nothing beside them."""
    start = Timecode(frames=FrameRate.parse(rate).nominal * 86400 - 3, rate=FrameRate.parse(rate))
    room = dict(running_room(start, frames=2_000_000, last_number=12_345_678))
    assert room == {"timecode": 12 if start.rate.nominal > 100 else 11, "frame": 7, "source_frame": 8}
    p = painter(burnin({"at": "top", "text": "{timecode} {frame} {source_frame}"}), longest=room)
    for n in range(5):  # over midnight
        frame = flat("yuv420p", 90)
        values = {
            "timecode": str(start + n),
            "frame": str(1_999_995 + n),
            "source_frame": str(12_345_670 + n),
        }
        p.paint(frame, values)
        (x, y, w, h) = p.covered[0]
        changed = np.argwhere(planes(frame)[0] != 90)
        assert (changed.min(0) >= (y, x)).all() and (changed.max(0) < (y + h, x + w)).all()


def test_a_running_value_keeps_its_place() -> None:
    """A narrow 1 and a wide 0 take the same room: what stands behind does not move."""
    behind = []
    for value in ("111111", "000000"):
        frame = flat("yuv420p", 60)
        p = painter(burnin({"at": "left", "text": "{frame} END"}))
        p.paint(frame, {"frame": value})
        (x, y, w, h) = p.covered[0]
        behind.append(planes(frame)[0][y : y + h, x + w * 2 // 3 : x + w].copy())
    assert (behind[0] == behind[1]).all() and behind[0].max() > 225


def test_other_scripts_are_drawn_or_reported() -> None:
    p = painter(burnin({"at": "top", "text": "{note}"}), fields={"note": "名前"})
    assert any("名前" in w for w in p.warnings)
    assert not painter(burnin({"at": "top", "text": "Ångström é Ψυχή Ёлка e\u0301"})).warnings
    for text in ("שלום", "مرحبا", "नमस्ते", "👍", "x\u0336"):
        (said,) = painter(burnin({"at": "top", "text": "{note}"}), fields={"note": text}).warnings
        assert "cannot draw" in said and text in said


def test_what_cannot_be_drawn_is_a_question_mark_and_never_a_box() -> None:
    shown = []
    for note in ("名前", "??"):
        frame = flat("yuv420p", 60)
        painter(burnin({"at": "top", "text": "{note}"}), fields={"note": note}).paint(frame, {})
        shown.append(planes(frame)[0].copy())
    assert (shown[0] == shown[1]).all()


def test_a_watermark_covers_a_tenth_of_a_tile_at_most() -> None:
    frame, before = flat("yuv420p", 100), flat("yuv420p", 100)
    p = painter(burnin(watermark="VIEWING COPY"))
    p.paint(frame, RUNNING)
    changed = planes(frame)[0] != planes(before)[0]
    shares = [t.mean() for rows in np.array_split(changed, 9, 0) for t in np.array_split(rows, 16, 1)]
    assert 0 < max(shares) <= 0.1
    for y, x in zip(*np.nonzero(changed), strict=True):
        assert any(a <= x < a + w and b <= y < b + h for a, b, w, h in p.covered)


@pytest.mark.parametrize("text", ["VIEWING COPY", "A", "HELD / reel 12 of 14, day 3"])
def test_a_watermark_is_the_largest_of_all_sizes_that_keep_a_tenth(text: str) -> None:
    """What is found by passing sizes over is what trying every size finds."""
    width, height, size = 640, 360, watermark.LARGEST * 360
    while size > watermark.SMALLEST:
        plain = watermark._placed(text, round(size), width, height, FONT)
        if plain and watermark.worst_share(plain, width, height) <= watermark.SHARE_OF_TILE:
            break
        size *= watermark.STEP
    found = watermark._letters(text, width, height, FONT)
    assert [(m.x, m.y, m.mask.ink.shape) for m in found] == [(m.x, m.y, m.mask.ink.shape) for m in plain]


@pytest.mark.parametrize("background", [16, 100, 235])
def test_a_watermark_shows_on_any_background_and_runs_across(background: int) -> None:
    found = find_pixel_format("yuv420p")
    assert found is not None
    frame = flat("yuv420p", background, 1280, 720)
    Painter(burnin(watermark="VIEWING COPY"), found, "narrow", 1280, 720, {}).paint(frame, {})
    difference = np.abs(planes(frame)[0].astype(int) - background)
    assert difference.max() >= 24
    columns = np.flatnonzero(difference.max(0) >= 24)
    assert columns[-1] - columns[0] > 0.6 * 1280


def test_a_watermark_on_a_small_raster_is_drawn_and_said() -> None:
    found = find_pixel_format("yuv420p")
    assert found is not None
    p = Painter(burnin(watermark="VIEWING COPY"), found, "narrow", 256, 144, {})
    assert p.covered and "more than a tenth" in p.warnings[0]
    nowhere = Painter(burnin(watermark="x" * 2000), found, "narrow", 256, 144, {})
    assert not nowhere.covered and "left out" in nowhere.warnings[0]


def test_a_frame_costs_less_than_a_millisecond() -> None:
    """Processor time at 1920x1080 with six lines, four of them running, and a watermark: measured 0.2 ms."""
    found = find_pixel_format("yuv422p10le")
    assert found is not None
    texts = [
        {"at": a, "text": t}
        for a, t in (
            ("top-left", "{clip} {scene}"),
            ("top-right", "{look}"),
            ("bottom", "{timecode}"),
            ("bottom-left", "{frame}"),
            ("bottom-right", "{source_frame}"),
            ("top", "{timecode}"),
        )
    ]
    fields = {"clip": "A001C003", "scene": "41", "look": "farrow"}
    p = Painter(burnin(*texts, watermark="VIEWING COPY"), found, "narrow", 1920, 1080, fields)
    frame = flat("yuv422p10le", 90, 1920, 1080)
    p.paint(frame, RUNNING)
    best = 1.0
    for _ in range(5):
        start = time.thread_time()
        for _ in range(20):
            p.paint(frame, RUNNING)
        best = min(best, (time.thread_time() - start) / 20)
    assert best < 0.001


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
    for text, words in (("{timcode}", "did you mean {timecode}"), ("{clip", "brace"), ("{ }", "brace")):
        with pytest.raises(RecipeError, match=words):
            check_fields(burnin({"at": "top", "text": text}), [], key="k")
    with pytest.raises(RecipeError, match="every frame"):
        check_fields(burnin(watermark="{timecode}"), [], key="k")


@pytest.mark.parametrize(
    "font", ["nowhere.ttf", "/etc/passwd", "**", "*", "../x", "/", "a\0b.ttf", "[", "x" * 5000]
)
def test_an_unknown_font_is_refused(font: str) -> None:
    with pytest.raises(RecipeError, match="font"):
        painter(burnin({"at": "top", "text": "x"}, font=font))


def test_a_font_is_found_beside_the_recipe_and_a_bad_one_is_named(tmp_path: Path) -> None:
    shipped = font_file("DejaVuSans")
    (tmp_path / "own.ttf").write_bytes(shipped.read_bytes())
    assert font_file("own.ttf", tmp_path) == tmp_path / "own.ttf"
    output = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "h264"\n[output.burnin]\nwatermark = "x"\nfont = "own.ttf"'
    recipe = parse_recipe(output)
    assert list(kept_fonts(recipe, tmp_path, "r.toml")) == ["own.ttf"]
    for data in (b"", b"this is no font", shipped.read_bytes()[:400]):
        (tmp_path / "own.ttf").write_bytes(data)
        with pytest.raises(RecipeError, match="cannot be read") as caught:
            kept_fonts(recipe, tmp_path, "r.toml")
        assert (caught.value.file, caught.value.key) == ("r.toml", "output[0].burnin.font")
    (tmp_path / "own.ttf").unlink()
    with pytest.raises(RecipeError, match="there is no font file"):
        kept_fonts(recipe, tmp_path, "r.toml")
