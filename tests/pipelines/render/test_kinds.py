"""Kinds of pictures: as few as their samples, and those of all movies of a clip."""

import subprocess
import sys
from dataclasses import dataclass
from typing import Any

import pytest

from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.job.spec import LookSpec
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput
from rushlight.pipelines.render.kinds import Kind, kinds_of, with_cards_test

LOG = Kind("yuv444p10le", "yuv420p", False)


@dataclass(frozen=True)
class Original:
    """As much of an original's facts as counts here."""

    pixel_format: PixelFormat | None


def test_kinds_are_as_few_as_their_samples() -> None:
    def kind(source: str, target: str, graded: bool = True) -> Kind:
        found = [find_pixel_format(name) for name in (source, target)]
        return Kind.of(found[0], found[1], graded=graded)  # type: ignore[arg-type]

    assert kind("yuv422p10le", "yuv422p") == kind("yuv420p12le", "yuv420p") == kind("gbrp12le", "yuvj420p")
    assert kind("yuv422p10le", "yuv422p") != kind("yuv422p10le", "yuv422p10le")
    assert kind("yuv420p", "yuv420p") != kind("yuv422p10le", "yuv420p") != kind("gbrpf32le", "yuv420p")
    assert kind("yuv422p10le", "yuv420p", False) == LOG != kind("gbrp10le", "yuv420p", False)


def movie(codec: str, **more: Any) -> MovieOutput:
    return MovieOutput.model_validate({"name": "m", "make": "movie", "codec": codec, **more})


@pytest.mark.parametrize(
    ("outputs", "look", "wanted"),
    [
        ([movie("dnxhr-lb"), movie("h264")], {}, {("yuv444p10le", "yuv420p", True)}),
        ([movie("dnxhr-lb", state="log")], {}, {tuple(LOG)}),
        ([movie("h264", card=48)], {}, {("yuv444p10le", "yuv420p", True), ("gbrpf32le", "yuv420p", False)}),
        ([movie("h264")], {"encoding": "ACES2065-1"}, {("gbrpf32le", "yuv420p", True)}),
        ([movie("hevc-10")], {"display": "PQ BT.2100"}, {("yuv444p10le", "yuv420p10le", True)}),
        ([StillsOutput.model_validate({"name": "s", "make": "stills", "kinds": ["jpeg"]})], {}, set()),
    ],
)
def test_the_kinds_of_a_clip(outputs: list[Any], look: dict[str, str], wanted: set[Any]) -> None:
    original = Original(find_pixel_format("yuv422p10le"))
    spec = LookSpec.model_validate({"encoding": "ARRI LogC3", **look})
    assert kinds_of([(output, spec) for output in outputs], original) == wanted  # type: ignore[arg-type]


def test_a_cards_test_needs_every_grade_in_sixteen_bits_as_well() -> None:
    graded = Kind("yuv444p", "yuv420p", True)
    fine = Kind("yuv444p", "yuv420p10le", True)
    assert with_cards_test([graded, LOG]) == {graded, fine, LOG} and with_cards_test([fine, LOG]) == {
        fine,
        LOG,
    }


def test_whoever_asks_for_kinds_loads_no_compiler() -> None:
    """Nor does the runner, nor a report whose pictures are made."""
    modules = "rushlight.pipelines.render.kinds, rushlight.batch.run.render, rushlight.batch.report.pages, rushlight.batch.api.render"
    code = f"import sys, {modules}; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
