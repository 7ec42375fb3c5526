"""A frame through each layer: panels are the exact look, in sRGB, and what is compared is another grade alone."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.batch.look_pictures.look_frame import CAPTION, GAP, SCALE, page_of, panels_of, sheet
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look

WARM = CDL(slope=(1.1, 1.0, 0.9), offset=(0.0, 0.0, 0.0), power=(1.0, 1.0, 1.0), saturation=1.1)
COLD = CDL(slope=(0.9, 1.0, 1.1), offset=(0.01, 0.0, 0.0), power=(1.0, 1.0, 1.0), saturation=1.0)
SIGNAL = np.random.default_rng(2).uniform(0.1, 0.8, (40, 64, 3))


def look(cdl: CDL | None, display: str = "sRGB") -> Look:
    return Look(
        encoding=find_encoding("LogC3"), display=find_display(display), cdl=cdl, transform="colorimetric"
    )


def test_panels_are_the_exact_look() -> None:
    exact = look(WARM)
    panels = {p.name: p for p in panels_of(SIGNAL, exact, ("cold.cdl", COLD))}
    assert list(panels) == ["log", "show", "graded", "other", "exposure"]
    assert (panels["log"].rgb == SIGNAL).all()
    for name, wanted in (("show", exact), ("graded", exact), ("other", look(COLD))):
        state = "show" if name == "show" else "graded"
        assert panels[name].rgb == pytest.approx(wanted.evaluate(SIGNAL, state), abs=1e-9)
    assert panels["graded"].caption == "graded: slope 1.1 1 0.9, offset 0, power 1, saturation 1.1"
    assert panels["other"].caption.startswith("cold.cdl: slope 0.9")


def test_without_a_grade_nothing_is_shown_twice() -> None:
    assert [p.name for p in panels_of(SIGNAL, look(None))] == ["log", "graded", "exposure"]
    assert [p.name for p in panels_of(SIGNAL, look(None), ("none", None))] == [
        *("log", "show", "graded", "other", "exposure"),
    ]


def test_another_display_is_converted_for_the_screen_and_hdr_says_so() -> None:
    sdr, hdr = (panels_of(SIGNAL, look(None, name))[1] for name in ("Rec.709 BT.1886", "Rec.2100 PQ"))
    assert sdr.rgb != pytest.approx(look(None, "Rec.709 BT.1886").evaluate(SIGNAL, "graded"), abs=1e-3)
    assert "100 cd/m2" in hdr.caption and hdr.rgb.min() >= 0 and hdr.rgb.max() <= 1


@pytest.mark.parametrize("count", [3, 4, 5])
def test_a_sheet_has_two_across(count: int) -> None:
    panels = panels_of(SIGNAL, look(WARM), ("cold", COLD))[:count]
    drawn = sheet(panels, "A001 at 10:00:00:00")
    assert drawn.shape == (CAPTION + (count + 1) // 2 * (40 + CAPTION + SCALE), 2 * 64 + GAP, 3)
    first = drawn[2 * CAPTION : 2 * CAPTION + 40, :64]
    assert (first == panels[0].rgb).all()


def test_a_page_holds_its_pictures_and_escapes_its_words() -> None:
    page = page_of(panels_of(SIGNAL, look(WARM)), title="<b>A001</b>", look="x", timecode="10:00:00:00")
    assert (
        page.count("data:image/png;base64,") == 5
        and "<b>A001" not in page
        and "http" not in page.split("<body>")[1]
    )
