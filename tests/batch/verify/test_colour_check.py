"""The verdict on colour: by size, by the share of a known fault, and 'cannot tell' where a picture cannot show one."""

from typing import Any

import numpy as np
import pytest

from recorded import movie, still
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill
from rushlight.batch.records.job_record import SCHEMA, JobRecord
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.verify.colour_check import HALF, TOLERANCE, colour_check, tile_array
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.measure.colour_difference import delta_e, lab
from rushlight.pipelines.measure.colour_tiles import FAULTS

REC709 = find_display("Rec.709 BT.1886")


def entry(**given: Any) -> DeliveredMovie | DeliveredStill:
    """The entry of a delivered file: an editing movie of 1920x1080, graded, unless that is given otherwise."""
    if given.get("kind") == "still":
        kept = {k: v for k, v in given.items() if k != "codec"}
        return DeliveredStill.read(still(**{"output": "o", "frame": 112, **kept}))
    return DeliveredMovie.read(movie(**{"output": "o", "codec": "dnxhr-lb", **given}))


MOVIE = entry()


def tiles(seed: int = 0) -> np.ndarray:
    """Tiles of a colourful picture."""
    rng = np.random.default_rng(seed)
    return lab(REC709.to_xyz(rng.uniform(0.15, 0.85, (9, 16, 3))))


def moved(base: np.ndarray) -> dict[str, np.ndarray]:
    """Tiles under each fault, less `base`: chroma grown by a fiftieth, light grown towards red."""
    more = base * [1, 1.02, 1.02]
    return {FAULTS[0]: more - base, FAULTS[1]: np.broadcast_to([0.8, 1.2, 0.6], base.shape)}


def logged(**colour: Any) -> JobRecord:
    """The record of a clip that begins at frame 100 of its original, with so much of its colour."""
    named = {"schema": SCHEMA, "job": "a", "clip": "a.mov", "status": "done", "first_frame": 100}
    return JobRecord.read({**named, "colour": colour})


def record(base: np.ndarray, faults: dict[str, np.ndarray]) -> JobRecord:
    sense = {n: float(np.nan_to_num(delta_e(base, base + step)).mean()) for n, step in faults.items()}
    kept = {n: step.tolist() for n, step in faults.items()}
    return logged(sensitivity=sense, faults=[{"outputs": ["o"], "frame": 112, "moved": kept}])


def verdict(base: np.ndarray, found: np.ndarray, faults: dict[str, np.ndarray], **given: Any) -> CheckVerdict:
    return colour_check({12: base.tolist()}, {12: found}, entry(**given), record(base, faults))


def codec_error(size: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, size, (9, 16, 3))


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_fault_of_the_size_of_the_codecs_error_is_found(name: str, sign: int) -> None:
    base = tiles()
    faults = moved(base)
    noise = codec_error(0.2)
    right, wrong = (
        verdict(base, base + noise, faults),
        verdict(base, base + noise + sign * faults[name], faults),
    )
    assert right.verdict == "pass" and max(map(abs, right.shares.values())) < HALF / 2
    assert wrong.verdict == "fail" and abs(wrong.shares[name]) > HALF
    assert delta_e(base, base + noise).mean() < TOLERANCE["intra"][0]  # by size alone it would have passed


def test_a_mixed_up_matrix_and_levels_are_named() -> None:
    rgb = np.random.default_rng(0).uniform(0.3, 0.7, (9, 16, 3))
    base = lab(REC709.to_xyz(rgb))
    luma = rgb @ [0.2126, 0.7152, 0.0722]
    red, blue = luma + 1.402 * (rgb[..., 0] - luma) / 1.5748, luma + 1.772 * (rgb[..., 2] - luma) / 1.8556
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    faults = moved(base)
    for wrong, name in (
        (np.stack([red, green, blue], -1), "a mixed-up matrix"),
        ((rgb * 219 + 16) / 255, "mixed-up levels"),
    ):
        found = verdict(base, lab(REC709.to_xyz(wrong)), faults)
        assert found.verdict == "fail" and name in found.text and found.shares[name] > 0.99


@pytest.mark.parametrize("codec", [{}, {"kind": "still", "still_kind": "jpeg", "frame": 112}])
def test_a_flat_colour_cannot_tell(codec: dict[str, Any]) -> None:
    """One colour has one error of the codec, whatever the number of tiles, and it may lie any way."""
    base = np.broadcast_to([55.0, 20.0, 12.0], (9, 16, 3))
    faults = moved(base)
    number = 0 if codec else 12
    for error in (0.1, 0.1 * faults[FAULTS[0]], 0.3 * faults[FAULTS[0]]):
        found = colour_check(
            {number: base.tolist()}, {number: base + error}, entry(**codec), record(base, faults)
        )
        assert found.verdict == "cannot tell" and FAULTS[0] in found.text


def test_a_grey_or_dark_clip_cannot_tell_even_where_nothing_moved() -> None:
    base = tiles() * [1, 0, 0]
    found = verdict(base, base, moved(base))
    assert found.verdict == "cannot tell" and found.text == f"this clip could not show {FAULTS[0]}"
    dark = tiles() * 0.05
    faults = {name: step * 0.02 for name, step in moved(dark).items()}
    assert verdict(dark, dark + codec_error(0.05), faults).verdict == "cannot tell"


def test_size_alone_where_no_tiles_under_a_fault_are_logged() -> None:
    base = tiles()
    bare = logged(sensitivity={"slope 0.02": 1.0})
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "pass"
    bare = logged(sensitivity={"slope 0.02": 0.05})
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "cannot tell"
    bare = logged()
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "cannot tell"
    assert colour_check({0: base.tolist()}, {0: base + 4}, MOVIE, bare).verdict == "fail"


def test_show_and_log_states() -> None:
    base = tiles()
    assert verdict(base, base + 0.05, moved(base), state="show").verdict == "pass"
    codes = np.full((9, 16, 3), 400.0)
    assert verdict(codes, codes + 0.4, moved(base), state="log").verdict == "pass"
    found = verdict(codes, codes + 3, moved(base), state="log")
    assert found.verdict == "fail" and found.unit == "ten-bit codes"


def test_covered_tiles_and_nothing_to_compare() -> None:
    base = tiles()
    covered = base.copy()
    covered[3, 4:9] = np.nan
    found = verdict(covered, base, moved(base))
    assert found.verdict == "pass" and found.mean == 0
    assert verdict(np.full_like(base, np.nan), base, moved(base)).verdict == "warn"
    assert colour_check({}, {}, MOVIE, record(base, moved(base))).verdict == "warn"
    assert np.isnan(tile_array([[[None, 1, 2]]])[0, 0, 0])


# --- the limits, pinned from both sides


@pytest.mark.parametrize("name", FAULTS)
def test_half_of_a_fault_is_found_and_less_is_not(name: str) -> None:
    base = tiles()
    faults = moved(base)
    for share, expected in ((0.47, "pass"), (-0.47, "pass"), (0.53, "fail"), (-0.53, "fail")):
        found = verdict(base, base + share * faults[name], faults)
        assert found.verdict == expected and found.shares[name] == pytest.approx(share, abs=0.01)
        if expected == "fail":
            assert f"0.53 times what {name} does, where 0.5 times is the limit" in found.text


LIMITS = {
    ("dnxhr-lb", 1920): (0.6, 1.2),
    ("dnxhr-lb", 960): (0.6, 1.2),
    ("dnxhr-lb", 640): (1.1, 2.2),
    ("prores-proxy", 640): (0.6, 1.2),
    ("mjpeg", 640): (0.6, 1.2),
    ("h264", 1280): (0.9, 3.0),
    ("hevc", 960): (0.9, 3.0),
    ("h264", 640): (0.9, 3.5),
    ("hevc-10", 640): (0.9, 3.5),
    ("jpeg", 320): (0.6, 1.2),
    ("png8", 1920): (0.35, 0.8),
    ("tiff16", 1920): (0.02, 0.06),
}


@pytest.mark.parametrize(("codec", "width"), LIMITS)
def test_a_figure_over_its_limit_fails_and_is_named_with_it(codec: str, width: int) -> None:
    """Tiles moved in no known way, a tenth under and over each limit: all alike for the mean, one in sixteen for the 95th
    percentile of one frame of four."""
    mean, frame = LIMITS[codec, width]
    kind = {"kind": "still", "still_kind": codec} if codec in ("jpeg", "png8", "tiff16") else {}
    made = entry(codec=codec, picture=[0, 0, width, width * 9 // 16], state="show", **kind)
    base = np.full((9, 16, 3), [60.0, 0.0, 0.0])
    lighter = np.array([1.0, 0.0, 0.0])
    lighter /= float(delta_e(base, base + lighter).mean())  # by one CIEDE2000
    few = np.zeros((9, 16, 1))
    few[:, 0] = 1  # 6.25 % of the tiles
    for over in (0.9, 1.1):
        moved_all = {n: base + mean * over * lighter for n in range(4)}
        moved_few = {n: base + (few * frame * over * lighter if n == 2 else 0) for n in range(4)}
        for found_tiles, limit, words in (
            (moved_all, mean, "in the mean"),
            (moved_few, frame, "at one frame's 95th percentile"),
        ):
            found = colour_check(dict.fromkeys(range(4), base.tolist()), found_tiles, made, logged())
            if over < 1:
                assert found.verdict == "pass", (limit, found)
                continue
            assert (
                found.verdict == "fail" and f"CIEDE2000 {words}, where {limit:g} is the limit" in found.text
            )
            assert found.text.count("is the limit") == 1


def test_log_codes_are_held_to_one_in_the_mean_and_two_at_the_95th_percentile() -> None:
    codes = np.full((9, 16, 3), 400.0)
    few = np.zeros((9, 16, 3))
    few[:, 0] = 1
    for off, expected, words in (
        (0.95, "pass", ""),
        (1.05, "fail", "by 1.05 in the mean, where 1 is the limit"),
        (1.9 * few, "pass", ""),
        (2.1 * few, "fail", "by 2.10 at the 95th percentile, where 2 is the limit"),
    ):
        found = colour_check({0: codes.tolist()}, {0: codes + off}, entry(state="log"), logged())
        assert found.verdict == expected and found.text.endswith(words), found


def test_a_fault_must_move_three_times_the_codecs_error_to_be_told() -> None:
    """The error is the codec's tolerance over the root of the number of colours: here 0.6 over the root of 144, 0.05."""
    base = tiles()
    for size, expected in ((0.9, "cannot tell"), (1.1, "pass")):
        faults = {}
        for name, step in moved(base).items():
            scale = size * 3 * 0.6 / np.sqrt(len(np.unique(np.rint(base.reshape(-1, 3)), axis=0)))
            for _ in range(4):  # CIEDE2000 is no straight line
                step = step * scale / float(delta_e(base, base + step).mean())
            faults[name] = step
        assert verdict(base, base, faults).verdict == expected
