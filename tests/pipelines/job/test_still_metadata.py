"""Metadata of stills: numbers as the standards have them, timecode as readers read it."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.job.still_metadata import still_attributes, still_xmp
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.stills import write_still
from xmp import properties

SAID = {
    "take": "3B",
    "circled": "no",
    "lens": "N35",
    "focal_length": "35 mm",
    "aperture": "f/2.8",
    "t_stop": "T3.1",
    "iso": "EI 800",
    "white_balance": "5600 K",
    "tint": "-2.5",
    "shutter": "1/48 s",
}


def job(**given: str) -> JobSpec:
    return cast("JobSpec", SimpleNamespace(stem="A001C001", reel="A001", fields=given))


def at(text: str = "01:00:00:00", rate: str = "24") -> Timecode:
    return Timecode.parse(text, FrameRate.parse(rate))


def test_exr_states_numbers_in_the_units_of_its_attributes() -> None:
    found = still_attributes(job(capture_rate="47.952"), SAID, "exr", at(rate="23.976"))
    assert {name: value for name, value in found.items() if isinstance(value, tuple)} == {
        "nominalFocalLength": ("float", 35.0),
        "aperture": ("float", 2.8),
        "tStop": ("float", 3.1),
        "isoSpeed": ("float", 800.0),
        "cameraCCTSetting": ("float", 5600.0),
        "cameraTintSetting": ("float", -2.5),
        "expTime": ("float", pytest.approx(1 / 48)),  # no angle is stated
        "framesPerSecond": ("rational", (24000, 1001)),
        "captureRate": ("rational", (48000, 1001)),
        "smpte:TimeCode": ("timecode", (0x01000000, 0)),
    }
    assert (found["lensModel"], found["reelName"], found["take"]) == ("N35", "A001", "3B")


def test_what_is_no_number_is_no_attribute_of_a_number() -> None:
    said = {"iso": "auto", "white_balance": "daylight", "shutter": "open"}
    found = still_attributes(job(), said, "exr", at())
    assert not {"isoSpeed", "cameraCCTSetting", "shutterAngle", "expTime"} & found.keys()
    assert {name: found[name] for name in said} == said  # as text
    assert "exif:FNumber" not in properties(still_xmp(job(), said, "jpeg", at()))


def test_xmp_has_exifs_numbers_as_rationals() -> None:
    found = properties(still_xmp(job(), SAID, "tiff16", at()))
    assert (found["exif:FNumber"], found["exif:FocalLength"]) == ("14/5", "35/1")
    assert (found["exif:ExposureTime"], found["exif:ISOSpeedRatings"]) == ("1/48", "800")
    assert (
        not {"xmpDM:takeNumber", "xmpDM:good"} & found.keys()
    )  # take 3B is no integer, and it is not circled
    assert found["rushlight:take"] == "3B" and found["rushlight:white_balance"] == "5600 K"
    assert still_xmp(job(), SAID, "exr", at()) == b""


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("23:59:58:23", "24"),
        ("10:00:00:24", "25"),
        ("01:02:03;29", "29.97"),
        ("01:02:03:29", "29.97"),
        ("19:17:16:49", "50"),
        ("19:17:16:48", "50"),
        ("01:02:03;59", "59.94"),
    ],
)
def test_the_timecode_of_an_exr_is_read_as_it_was(text: str, rate: str, tmp_path: Path) -> None:
    attributes: Any = still_attributes(job(), {}, "exr", at(text, rate))
    write_still(tmp_path / "a.0001.exr", np.zeros((8, 8, 3)), "exr", metadata=attributes)
    facts = probe(tmp_path / "a.0001.exr")
    assert (str(facts.timecode), str(facts.rate), facts.timecode_from) == (text, rate, "header")
