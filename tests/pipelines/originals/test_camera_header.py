"""The camera that a header names, as containers write it; programs are none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.originals.camera_header import (
    HEADER_FACTS,
    LONGEST,
    LONGEST_SHOWN,
    camera_in_header,
    header_facts,
    header_shown,
)
from rushlight.pipelines.visible_text import visible

KEYS = [key for keys in HEADER_FACTS.values() for key in keys.keys]


@pytest.mark.parametrize(
    ("metadata", "wanted"),
    [
        ({"com.apple.quicktime.make": "Halden", "com.apple.quicktime.model": "H7"}, "Halden H7"),
        ({"make": "Halden", "model": "Halden H7", "serial_number": "0042"}, "Halden H7 no. 0042"),
        ({"cameraMake": "Halden", "cameraModel": "H7", "cameraSerialNumber": "42"}, "Halden H7 no. 42"),
        ({"dpx:InputDevice": "H7", "dpx:InputDeviceSerialNumber": "42"}, "H7 no. 42"),
        ({"org.halden.camera.serialNumber": "42"}, "no. 42"),
        ({"company_name": "FFmpeg", "product_name": "OP1a Muxer"}, ""),
        ({"make": " ", "encoder": "Lavf62"}, ""),
        ({}, ""),
    ],
)
def test_names(metadata: dict[str, str], wanted: str) -> None:
    assert camera_in_header(metadata) == wanted


def values(metadata: dict[str, str]) -> dict[str, str]:
    return {name: fact.value for name, fact in header_facts(metadata).items()}


@pytest.mark.parametrize(
    ("key", "text", "name", "wanted"),
    [
        ("isoSpeed", "800.0", "iso", "800"),
        ("Exif:PhotographicSensitivity", "1600", "iso", "1600"),
        ("org.halden.exposure_index", "EI 500", "iso", "500"),
        ("cameraCCTSetting", "5600.0", "wb", "5600K"),
        ("org.halden.WhiteBalanceKelvin", "3200", "wb", "3200K"),
        ("Exif:WhiteBalance", "1", "wb", ""),  # automatic or manual, no temperature
        ("cameraTintSetting", "-3.0", "tint", "-3"),
        ("cameraTintSetting", "0", "tint", "0"),
        ("dpx:ShutterAngle", "172.8000030517578", "shutter", "172.8°"),
        ("ExposureTime", "0.02083333395421505", "shutter", "1/48 s"),
        ("ExposureTime", "1/50", "shutter", "1/50 s"),
        ("ExposureTime", "2", "shutter", "2 s"),
        ("ExposureTime", "1/0", "shutter", ""),
        ("tStop", "2.799999952316284", "t_stop", "T2.8"),
        ("FNumber", "2.799999952316284", "aperture", "f/2.8"),
        ("Exif:FocalLength", "35.0", "focal_length", "35 mm"),
        ("com.apple.quicktime.camera.lens_model", "Norrin 35 mm", "lens", "Norrin 35 mm"),
        ("lensSerialNumber", "N351", "lens_serial", "N351"),
        ("Exif:BodySerialNumber", "42", "camera_serial", "42"),
        ("isoSpeed", "nan", "iso", ""),
        ("isoSpeed", "9" * 400, "iso", ""),
        ("iccprofile:cct", "5600", "wb", ""),
    ],
)
def test_a_key_and_its_value(key: str, text: str, name: str, wanted: str) -> None:
    assert values({key: text}) == ({name: wanted} if wanted else {})


def test_an_angle_beats_a_time_and_the_key_is_told() -> None:
    found = header_facts({"ExposureTime": "0.02", "shutterAngle": "180"})
    assert (found["shutter"].value, found["shutter"].key) == ("180°", "shutterAngle")


def test_the_serial_of_a_lens_is_not_the_cameras() -> None:
    assert values({"org.halden.lens.serial_number": "N351"}) == {"lens_serial": "N351"}
    assert values({"lensMake": "Norrin", "lensModel": "35 mm"}) == {"lens": "Norrin 35 mm"}


@given(st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=30), st.text(max_size=60), max_size=12))
def test_whatever_a_header_holds(metadata: dict[str, str]) -> None:
    for fact in header_facts(metadata).values():
        assert 0 < len(fact.value) <= LONGEST and visible(fact.value) == fact.value
    shown = header_shown(metadata)
    assert all(value and len(value) <= LONGEST_SHOWN + 2 for value in shown.values())
    camera_in_header(metadata)


def test_a_header_is_shown_as_it_is_and_cut() -> None:
    shown = header_shown({f"key{n:03}": "x" * 1000 for n in range(500)} | {"a\x1b": "b\u202ec", "none": " "})
    assert len(shown) == 120 and shown["a\\x1b"] == "b\\u202ec" and "none" not in shown
    assert shown["key000"] == "x" * 300 + " …"
