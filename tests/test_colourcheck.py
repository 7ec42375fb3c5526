"""The verdict on colour: by size, by the share of a known fault, and 'cannot tell' where a picture cannot show one."""

from typing import Any

import numpy as np
import pytest

from rushlight.batch.colourcheck import HALF, TOLERANCE, colour_check, tile_array
from rushlight.pipelines.display import find_display
from rushlight.pipelines.measure import FAULTS, delta_e, lab

REC709 = find_display("Rec.709 BT.1886")
MOVIE = {
    "kind": "movie",
    "output": "o",
    "codec": "dnxhr-lb",
    "state": "graded",
    "display": "Rec.709 BT.1886",
    "tags": {"matrix": 1},
}


def tiles(seed: int = 0) -> np.ndarray:
    """Tiles of a colourful picture."""
    rng = np.random.default_rng(seed)
    return lab(REC709.to_xyz(rng.uniform(0.15, 0.85, (9, 16, 3))))


def moved(base: np.ndarray) -> dict[str, np.ndarray]:
    """Tiles under each fault, less `base`: chroma grown by a fiftieth, light grown towards red."""
    more = base * [1, 1.02, 1.02]
    return {FAULTS[0]: more - base, FAULTS[1]: np.broadcast_to([0.8, 1.2, 0.6], base.shape)}


def record(base: np.ndarray, faults: dict[str, np.ndarray]) -> dict[str, Any]:
    sense = {n: float(delta_e(base, base + step).mean()) for n, step in faults.items()}
    kept = {n: step.tolist() for n, step in faults.items()}
    entry = {"outputs": ["o"], "frame": 112, "moved": kept}
    return {"first_frame": 100, "colour": {"sensitivity": sense, "faults": [entry]}}


def verdict(base: np.ndarray, found: np.ndarray, faults: dict[str, np.ndarray], **entry: Any) -> Any:
    return colour_check({12: base.tolist()}, {12: found}, {**MOVIE, **entry}, record(base, faults))


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
    assert right.verdict == "pass" and max(map(abs, right.figures["shares"].values())) < HALF / 2
    assert wrong.verdict == "fail" and abs(wrong.figures["shares"][name]) > HALF
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
        assert found.verdict == "fail" and name in found.text and found.figures["shares"][name] > 0.99


@pytest.mark.parametrize("codec", [{}, {"kind": "still", "still_kind": "jpeg", "frame": 112}])
def test_a_flat_colour_cannot_tell(codec: dict[str, Any]) -> None:
    """One colour has one error of the codec, whatever the number of tiles, and it may lie any way."""
    base = np.broadcast_to([55.0, 20.0, 12.0], (9, 16, 3))
    faults = moved(base)
    number = 0 if codec else 12
    for error in (0.1, 0.1 * faults[FAULTS[0]], 0.3 * faults[FAULTS[0]]):
        found = colour_check(
            {number: base.tolist()}, {number: base + error}, {**MOVIE, **codec}, record(base, faults)
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
    bare = {"first_frame": 100, "colour": {"sensitivity": {"slope 0.02": 1.0}}}
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "pass"
    bare["colour"] = {"sensitivity": {"slope 0.02": 0.05}}
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "cannot tell"
    bare["colour"] = {}
    assert colour_check({0: base.tolist()}, {0: base + 0.05}, MOVIE, bare).verdict == "cannot tell"
    assert colour_check({0: base.tolist()}, {0: base + 4}, MOVIE, bare).verdict == "fail"


def test_show_and_log_states() -> None:
    base = tiles()
    assert verdict(base, base + 0.05, moved(base), state="show").verdict == "pass"
    codes = np.full((9, 16, 3), 400.0)
    assert verdict(codes, codes + 0.4, moved(base), state="log").verdict == "pass"
    found = verdict(codes, codes + 3, moved(base), state="log")
    assert found.verdict == "fail" and found.figures["unit"] == "ten-bit codes"


def test_covered_tiles_and_nothing_to_compare() -> None:
    base = tiles()
    covered = base.copy()
    covered[3, 4:9] = np.nan
    found = verdict(covered, base, moved(base))
    assert found.verdict == "pass" and found.figures["mean"] == 0
    assert verdict(np.full_like(base, np.nan), base, moved(base)).verdict == "warn"
    assert colour_check({}, {}, MOVIE, record(base, moved(base))).verdict == "warn"
    assert np.isnan(tile_array([[[None, 1, 2]]])[0, 0, 0])
