"""Flashing pictures: what is found just over each limit and not just under it, at its frames, and what samples keep of a frame."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import frame_of
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.measure.flashes import COLUMNS, ROWS, Flashing, flashing, packed, samples, unpacked

PLACES = COLUMNS * ROWS
REC709, PQ = find_display("Rec.709 BT.1886"), find_display("PQ BT.2100")
RED, DIM_RED, ORANGE = (2 * 300 + 1), (2 * 279 + 1), 2 * 300  # redness twice, and 1 if saturated


def clip(
    light: list[float], share: float = 1.0, rest: float = 50.0, red: list[int] | None = None
) -> np.ndarray:
    """Frames in which a share of the places has that light (and redness), and the others the same always."""
    found = np.full((len(light), 2, PLACES), round(2 * rest), np.uint16)
    found[:, 1] = 0
    found[:, 0, : round(share * PLACES)] = 2 * np.array(light)[:, None]
    if red:
        found[:, 1, : round(share * PLACES)] = np.array(red)[:, None]
    return found


def square(low: float, high: float, period: int, flashes: int, still: int = 30) -> list[float]:
    """Light that is high for half a period, so many times, with still frames before and after."""
    up = period // 2
    return [low] * still + ([high] * up + [low] * (period - up)) * flashes + [low] * still


def found(light: list[float], rate: str = "25", hdr: bool = False, **more: float) -> list[Flashing]:
    return flashing([clip(light, **more)], Fraction(rate), hdr=hdr)


def test_a_flash_pattern_is_found_at_its_frames() -> None:
    """Four flashes, five frames apart at 25 a second: from the first change to the last."""
    (run,) = found(square(40, 100, 5, 4), share=0.6)
    assert run == Flashing(kind="general", first=30, last=30 + 3 * 5 + 2, area=0.601)


@pytest.mark.parametrize(("change", "seen"), [(19.5, False), (20, True)])
@pytest.mark.parametrize("up", [True, False])
def test_changes_of_less_than_20_cd_are_none(change: float, seen: bool, up: bool) -> None:
    low, high = (60, 60 + change) if up else (60 + change, 60)
    assert bool(found(square(low, high, 6, 5))) == seen


@pytest.mark.parametrize(("darker", "seen"), [(159.5, True), (160, False)])
def test_the_darker_picture_lies_below_160_cd(darker: float, seen: bool) -> None:
    assert bool(found(square(darker, darker + 35, 6, 5))) == seen


@pytest.mark.parametrize(("change", "seen"), [(49.5, False), (50, True)])
def test_above_it_in_hdr_a_contrast_of_a_seventeenth_counts(change: float, seen: bool) -> None:
    assert bool(found(square(400, 400 + change, 6, 5), hdr=True)) == seen
    assert not found(square(400, 400 + change, 6, 5))


@pytest.mark.parametrize(("flashes", "seen"), [(3, False), (4, True)])
def test_three_flashes_are_allowed(flashes: int, seen: bool) -> None:
    assert bool(found(square(20, 120, 4, flashes))) == seen


@pytest.mark.parametrize(
    ("rate", "apart", "seen"),
    [("25", 9, False), ("25", 8, True), ("30", 10, False), ("30", 9, True), ("24000/1001", 8, False)],
)
def test_flashes_a_third_of_a_second_apart_are_allowed(rate: str, apart: int, seen: bool) -> None:
    """BT.1702 itself names nine frames of 25 a second and ten of 30 (from memory of the recommendation)."""
    assert bool(found(square(20, 120, apart, 12), rate=rate)) == seen


@pytest.mark.parametrize(("share", "seen"), [(0.25, False), (0.26, True)])
def test_a_quarter_of_the_picture_may_flash(share: float, seen: bool) -> None:
    assert bool(found(square(20, 120, 6, 5), share=share)) == seen


def test_a_fast_fade_counts_like_a_cut() -> None:
    wave = 80 + 60 * np.sin(2 * np.pi * 5 * np.arange(75) / 25)
    (run,) = found(wave.tolist())
    assert run.first <= 5 and run.last >= 70


def test_a_slow_fade_and_one_cut_are_none() -> None:
    assert not found([*np.linspace(0, 190, 100), *np.linspace(190, 0, 100)])
    assert not found([10] * 20 + [190] * 20 + [10] * 20)


def test_noise_is_no_flash() -> None:
    random = np.random.default_rng(24)
    light = np.clip(100 + random.normal(0, 4, (100, PLACES)), 0, 200)
    frames = np.stack([np.rint(2 * light), np.zeros_like(light)], 1).astype(np.uint16)
    assert not flashing([frames], Fraction(24), hdr=False)


@pytest.mark.parametrize(
    ("one", "other", "seen"),
    [(RED, 0, True), (0, RED, True), (RED, DIM_RED, True), (RED, DIM_RED + 2, False), (ORANGE, 0, False)],
)
def test_saturated_red_flashes_whatever_its_light(one: int, other: int, seen: bool) -> None:
    """The same light throughout; more than 20 of redness, with a saturated red on either side."""
    red = ([one] * 3 + [other] * 3) * 5
    runs = flashing([clip([15.0] * len(red), red=red)], Fraction(25), hdr=False)
    assert [run.kind for run in runs] == (["red"] if seen else [])


@given(cuts=st.lists(st.integers(1, 89), max_size=6), period=st.integers(2, 7))
def test_where_a_clip_is_cut_into_segments_makes_no_difference(cuts: list[int], period: int) -> None:
    whole = clip(square(30, 90, period, 8, still=10), share=0.5)
    parts = [part for part in np.split(whole, sorted({c for c in cuts if c < len(whole)}))]
    packs = [unpacked(packed(list(part))) for part in parts]
    assert flashing(packs, Fraction(24), hdr=False) == flashing([whole], Fraction(24), hdr=False) != []


@given(st.integers(1, 5), st.integers(0, 2**32 - 1))
def test_samples_are_kept_as_they_are(frames: int, seed: int) -> None:
    codes = np.random.default_rng(seed).integers(0, 2**16, (frames, 2, PLACES), np.uint16)
    assert np.array_equal(unpacked(packed(list(codes))), codes)


def test_still_pictures_take_next_to_nothing() -> None:
    assert len(packed(list(clip([77.0] * 48)))) < 1000


@pytest.mark.parametrize("text", ["", "no base64!", "AAAA", packed(list(clip([1.0] * 2)))[:-8]])
def test_what_is_no_packed_light_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="light"):
        unpacked(text)


def test_light_of_sdr_is_that_of_a_screen_of_200_cd() -> None:
    """Narrow ten-bit codes by ITU-R BT.709: white, half of white's light, black."""
    half = round(64 + 876 * 0.5 ** (1 / 2.4))
    for code, light in ((940, 200), (half, 100), (64, 0)):
        frame = frame_of(
            "yuv422p10le", np.full((72, 128), code), np.full((72, 64), 512), np.full((72, 64), 512)
        )
        pixel_format = find_pixel_format("yuv422p10le")
        assert pixel_format
        seen = samples(planes(frame), pixel_format, "narrow", 1, REC709)
        assert seen.shape == (2, PLACES) and abs(seen[0] / 2 - light).max() <= 0.5 and not seen[1].any()


def test_light_of_pq_is_absolute_and_a_share_of_the_raster_is_that_of_the_places() -> None:
    luma = np.full((72, 128), 64)
    luma[:, :32] = round(64 + 876 * 0.58)  # 203 cd/m2 (ITU-R BT.2408-7, table 1)
    frame = frame_of("yuv422p10le", luma, np.full((72, 64), 512), np.full((72, 64), 512))
    pixel_format = find_pixel_format("yuv422p10le")
    assert pixel_format
    light = samples(planes(frame), pixel_format, "narrow", 9, PQ)[0] / 2
    assert abs(light.max() - 203) < 2 and (light > 100).mean() == 0.25


def test_redness_of_codes() -> None:
    """Primaries of BT.709 at full signal, as RGB codes: red has 320 and is saturated, the others none."""
    pixel_format = find_pixel_format("gbrp")
    assert pixel_format
    for rgb, red in (((255, 0, 0), 2 * 320 + 1), ((0, 255, 0), 0), ((0, 0, 255), 0), ((255, 255, 255), 0)):
        frame = frame_of("gbrp", *(np.full((36, 64), rgb[k], np.uint8) for k in (0, 1, 2)))
        assert (samples(planes(frame), pixel_format, "full", 1, REC709)[1] == red).all()
