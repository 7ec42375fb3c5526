"""The slate card: what it shows is what the look makes of it, at any size, and nothing is lost without a word."""

import numpy as np
import pytest

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.render.slate_card import RAMP_STOPS, slate_card

FACTS = [
    ("Reel", "A001"),
    ("Scene", "41"),
    ("Take", ""),
    ("Timecode", "19:46:12:10"),
    ("Note", "the lamp is lit"),
]


def look(display: str = "Rec.709 BT.1886", transform: str = "none") -> Look:
    return Look(
        encoding=find_encoding("S-Log3/S-Gamut3.Cine"),
        display=find_display(display),
        cdl=CDL(slope=(1.05, 1.0, 0.97), saturation=1.1),
        transform=transform,  # type: ignore[arg-type]
    )


def shown(picture: np.ndarray, colour: np.ndarray) -> int:
    """Pixels of exactly that colour."""
    return int((np.abs(picture - colour).max(-1) < 1e-9).sum())


@pytest.mark.parametrize("state", ["show", "graded"])
def test_patches_and_ramp_are_the_looks_own(state: str) -> None:
    """Evaluated here anew from the ST 2065-1 values through the encoding."""
    clip = look(transform="aces2")
    card = slate_card(960, 540, title="A001C003", facts=FACTS, look=clip, state=state)  # type: ignore[arg-type]
    greys = [[0.18 * 2.0**stop] * 3 for stop in RAMP_STOPS]
    wanted = clip.evaluate(clip.encoding.from_ap0(np.array([*PATCHES.values(), *greys])), state)  # type: ignore[arg-type]
    for colour in np.clip(wanted, 0, 1):
        assert shown(card.picture, colour) > 400
    assert not card.warnings


def test_the_still_is_shown_whole_and_in_shape() -> None:
    still = np.zeros((270, 480, 3))
    still[...] = (0.2, 0.6, 0.3)
    still[40, 40] = np.nan
    card = slate_card(1280, 720, title="A001C003", facts=FACTS, look=look(), still=still)
    rows, columns = np.nonzero(np.abs(card.picture - (0.2, 0.6, 0.3)).max(-1) < 1e-6)
    wide, high = np.ptp(columns) + 1, np.ptp(rows) + 1
    assert wide > 0.5 * 1280 and wide / high == pytest.approx(16 / 9, rel=0.01)
    assert np.isfinite(card.picture).all()


@pytest.mark.parametrize(
    ("width", "height"),
    [(3840, 2160), (1920, 1080), (2048, 858), (1024, 1024), (720, 1280), (320, 180), (64, 36)],
)
def test_any_raster_stays_in_range(width: int, height: int) -> None:
    card = slate_card(
        width, height, title="A001C003", facts=FACTS, look=look(), still=np.full((100, 50, 3), 2.0)
    )
    assert card.picture.shape == (height, width, 3)
    assert card.picture.min() >= 0 and card.picture.max() <= 1


def test_what_cannot_be_shown_is_said() -> None:
    card = slate_card(640, 360, title="名前", facts=[("Note", "a very long note " * 20)], look=look())
    assert any("名前" in w for w in card.warnings) and any("too long" in w for w in card.warnings)
    crowded = slate_card(640, 360, title="x", facts=[(f"Fact {k}", "value") for k in range(60)], look=look())
    assert any("no room for" in w and "Fact 59" in w for w in crowded.warnings)


def test_a_fact_without_a_value_leaves_no_gap() -> None:
    with_it = slate_card(
        640, 360, title="x", facts=[("Reel", "A001"), ("Take", ""), ("Scene", "1")], look=look()
    )
    without = slate_card(640, 360, title="x", facts=[("Reel", "A001"), ("Scene", "1")], look=look())
    assert (with_it.picture == without.picture).all()


@pytest.mark.parametrize(
    ("display", "white"), [("Rec.709 BT.1886", 1.0), ("PQ BT.2100", 0.58), ("HLG BT.2100", 0.75)]
)
def test_text_is_at_graphics_white(display: str, white: float) -> None:
    """ITU-R BT.2408, table 1: 203 cd/m2, PQ 58 %, HLG 75 %."""
    card = slate_card(640, 360, title="HHHH", facts=[], look=look(display))
    title = card.picture[:60]
    assert title.max() == pytest.approx(white, abs=0.005)
