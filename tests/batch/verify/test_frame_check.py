"""Frames in their place: what a low quality does at a small raster is told from what is wrong."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.verify.frame_check import frame_check
from rushlight.pipelines.formats.pixel_formats import find_pixel_format


def _measured_frames(size: str, codec_name: str, fault: str) -> CheckVerdict:
    """The check of 40 frames that drift by half a code each, under noise as h264 has it at quality 28 of a small raster; with a fault
    planted."""
    dice = np.random.default_rng(3)
    logged = 80 + np.cumsum(dice.uniform(-0.6, 0.6, (40, 16)), axis=0) + np.linspace(0, 60, 16)
    found = logged + dice.uniform(-1.3, 1.3, (40, 16))
    match fault:
        case "swapped":
            found[[5, 30]] = found[[30, 5]]
        case "black":
            found[12] = 16
        case "one cell of one frame":
            found[12, 3] += 6
        case "lifted":
            found += 1.3
        case "one frame lifted":
            found[12] += 1.4
        case "another clip":
            found = found[:, ::-1]
        case "stands still":
            logged[20:] += 8
            found[20:] = found[19]
    width, height = (int(n) for n in size.split("x"))
    entry: Any = SimpleNamespace(
        codec=codec_name, width=width, height=height, picture=(0, 0, width, height), covered=(), frames=40
    )
    facts: Any = SimpleNamespace(pixel_format=find_pixel_format("yuv420p"))
    return frame_check(40, 0, found, logged, entry, facts)


@pytest.mark.parametrize("size", ["128x72", "320x180", "640x360"])
def test_a_coarse_picture_cannot_tell_and_gives_the_figure(size: str) -> None:
    check = _measured_frames(size, "h264", "none")
    assert (
        check.verdict == "cannot tell"
        and f"{check.worst_luma:.2f} codes" in check.text
        and size in check.text
    )


@pytest.mark.parametrize("size", ["128x72", "640x360"])
@pytest.mark.parametrize(
    "fault",
    [
        "swapped",
        "black",
        "one cell of one frame",
        "lifted",
        "one frame lifted",
        "another clip",
        "stands still",
    ],
)
def test_what_is_wrong_is_found_in_a_coarse_picture_too(fault: str, size: str) -> None:
    assert _measured_frames(size, "h264", fault).verdict == "fail"


@pytest.mark.parametrize(("size", "codec_name"), [("960x540", "h264"), ("128x72", "prores-proxy")])
def test_a_large_raster_and_an_intra_codec_keep_their_limit(size: str, codec_name: str) -> None:
    assert _measured_frames(size, codec_name, "none").verdict == "fail"
