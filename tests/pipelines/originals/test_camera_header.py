"""The camera that a header names, as containers write it; programs are none."""

import pytest

from rushlight.pipelines.originals.camera_header import camera_in_header


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
