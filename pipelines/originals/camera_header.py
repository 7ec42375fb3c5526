"""The camera that an original's header names: make, model and serial number, by the names that containers have for them."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["camera_in_header"]

# Apple's QuickTime metadata keys, SMPTE 268M (DPX) as OpenImageIO names its fields, OpenEXR's standard attributes, and the
# MXF identification set (SMPTE ST 377-1, 9.4), whose product is the camera where the camera wrote the file.
_KEYS = {
    "make": ("com.apple.quicktime.make", "make", "cameramake", "company_name"),
    "model": ("com.apple.quicktime.model", "model", "cameramodel", "dpx:inputdevice", "product_name"),
    "serial": (
        "cameraserialnumber",
        "dpx:inputdeviceserialnumber",
        "serialnumber",
        "serial_number",
        "serial",
    ),
}
_SERIAL = re.compile(r"(^|[.:_])(camera)?[._]?serial([._]?number)?$")
_PROGRAMS = re.compile(
    r"ffmpeg|lavf|libavformat|openimageio", re.IGNORECASE
)  # who wrote the file is no camera


def camera_in_header(metadata: Mapping[str, str]) -> str:
    """Make, model and serial number in a line; empty where the header names no camera."""
    said = {key.casefold(): value.strip() for key, value in metadata.items() if value.strip()}
    words = {part: next((said[k] for k in keys if k in said), "") for part, keys in _KEYS.items()}
    words["serial"] = words["serial"] or next((v for k, v in said.items() if _SERIAL.search(k)), "")
    if _PROGRAMS.search(words["make"]):
        words["make"] = words["model"] = ""
    make, model, serial = words["make"], words["model"], words["serial"]
    if make and model.casefold().startswith(make.casefold()):
        make = ""
    return " ".join(part for part in (make, model, f"no. {serial}" if serial else "") if part)[:120]
