"""Camera facts in an original's header: camera, lens, exposure index, white balance, shutter, by published keys.

Nothing here decides how a picture is read: encoding and exposure index are for a person to state. A value that is none
(EXIF's WhiteBalance of 0 is no temperature) is passed over; the header itself is always shown as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from rushlight.pipelines.visible_text import visible

__all__ = [
    "HEADER_FACTS",
    "HeaderFact",
    "HeaderKeys",
    "camera_in_header",
    "camera_line",
    "fact_number",
    "header_facts",
    "header_shown",
]

LONGEST = 120  # characters of a fact
MOST_SHOWN, LONGEST_SHOWN = 120, 300  # entries of a header as it is shown, and characters of each
_PROGRAMS = re.compile(
    r"ffmpeg|lavf|libavformat|openimageio", re.IGNORECASE
)  # who wrote the file is no camera
_NUMBER = re.compile(r"[+-]?\d{1,9}(?:\.\d{0,12})?(?:e[+-]?\d{1,2})?", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class HeaderFact:
    """A fact of the camera, and the header's key that states it."""

    value: str
    key: str


@dataclass(frozen=True, kw_only=True)
class HeaderKeys:
    """Keys that state a fact, most trusted first; `endings` of keys in a maker's own namespace, such as
    `org.example.camera.shutter_angle`; and the value as it is kept, empty for what is none."""

    says: str
    keys: tuple[str, ...]
    endings: str = ""
    read: Callable[[str], str] = str


def _number(text: str, least: float, most: float) -> float | None:
    """The number that a text begins with, one over another too; None outside `least` to `most`."""
    match = re.match(rf"\s*({_NUMBER.pattern})(?:\s*/\s*(\d{{1,9}}(?:\.\d{{0,6}})?))?", text, re.IGNORECASE)
    if not match or (match[2] and not float(match[2])):
        return None
    value = float(match[1]) / float(match[2] or 1)
    return value if least <= value <= most else None


def _iso(text: str) -> str:
    value = _number(re.sub(r"^\s*(iso|ei|asa)\s*", "", text, flags=re.IGNORECASE), 6, 10_000_000)
    return f"{value:.0f}" if value else ""


def _kelvin(text: str) -> str:
    value = _number(text, 1000, 50_000)
    return f"{value:.0f}K" if value else ""


def _tint(text: str) -> str:
    value = _number(text, -1000, 1000)
    return "" if value is None else f"{value + 0.0:+.4g}" if value else "0"


def _angle(text: str) -> str:
    value = None if re.search(r"\d\s*s(ec)?\b", text) else _number(text, 1, 360)
    return f"{value:.5g}°" if value else ""


def _time(text: str) -> str:
    value = _number(text, 1e-6, 3600)
    if not value:
        return ""
    return f"{value:.4g} s" if value >= 1 else f"1/{float(f'{1 / value:.4g}'):g} s"


def _millimetres(text: str) -> str:
    value = _number(text, 0.5, 10_000)
    return f"{value:.4g} mm" if value else ""


def _stop(letter: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        value = _number(re.sub(r"^\s*[ft]\s*/?\s*", "", text, flags=re.IGNORECASE), 0.3, 256)
        return f"{letter}{value:.3g}" if value else ""

    return read


# QuickTime: Apple, QuickTime File Format, metadata keys (`lens_model` from memory). MXF: identification set of SMPTE ST 377-1,
# 9.4, as FFmpeg names it; its product is the camera where that wrote the file. DPX: SMPTE ST 268, film and television
# headers; EXIF: CIPA DC-008, 4.6.5; both as OpenImageIO names them, which calls OpenEXR's `aperture` FNumber and `expTime`
# ExposureTime. OpenEXR: Standard Attributes, sections Camera ID, Camera State, Lens ID and Lens State.
HEADER_FACTS: Mapping[str, HeaderKeys] = MappingProxyType(
    {
        "camera_make": HeaderKeys(
            says="maker of the camera",
            keys=("com.apple.quicktime.make", "cameraMake", "make", "company_name"),
            endings=r"camera[._]?make",
        ),
        "camera_model": HeaderKeys(
            says="model of the camera",
            keys=("com.apple.quicktime.model", "cameraModel", "model", "dpx:InputDevice", "product_name"),
            endings=r"camera[._]?model",
        ),
        "camera_serial": HeaderKeys(
            says="serial number of the camera",
            keys=("cameraSerialNumber", "dpx:InputDeviceSerialNumber", "Exif:BodySerialNumber"),
            endings=r"(camera|body)?[._]?serial([._]?number)?",
        ),
        "lens": HeaderKeys(
            says="model of the lens",
            keys=("com.apple.quicktime.camera.lens_model", "lensModel", "Exif:LensModel"),
            endings=r"lens([._]?(model|name))?",
        ),
        "lens_serial": HeaderKeys(
            says="serial number of the lens",
            keys=("lensSerialNumber", "Exif:LensSerialNumber"),
            endings=r"lens[._]?serial([._]?number)?",
        ),
        "focal_length": HeaderKeys(
            says="focal length, in mm",
            keys=("nominalFocalLength", "effectiveFocalLength", "Exif:FocalLength"),
            endings=r"focal[._]?length",
            read=_millimetres,
        ),
        "aperture": HeaderKeys(
            says="aperture, as f-number",
            keys=("FNumber",),
            endings=r"aperture|f[._]?number",
            read=_stop("f/"),
        ),
        "t_stop": HeaderKeys(
            says="aperture, as T-stop", keys=("tStop",), endings=r"t[._]?stop", read=_stop("T")
        ),
        "iso": HeaderKeys(
            says="exposure index (ISO) that the camera was set to",
            keys=("isoSpeed", "Exif:PhotographicSensitivity", "Exif:ISOSpeed"),
            endings=r"iso|iso[._]?(speed|sensitivity)|exposure[._]?index([._]?asa)?|photographic[._]?sensitivity",
            read=_iso,
        ),
        "wb": HeaderKeys(
            says="white balance that the camera was set to, in kelvin",
            keys=("cameraCCTSetting",),
            endings=r"white[._]?balance([._]?(kelvin|cct))?|colou?r[._]?temperature|cct",
            read=_kelvin,
        ),
        "tint": HeaderKeys(
            says="tint that the camera was set to: above 0 greener, in the maker's unit",
            keys=("cameraTintSetting",),
            endings=r"(white[._]?balance[._]?)?tint([._]?cc)?",
            read=_tint,
        ),
        "shutter": HeaderKeys(
            says="shutter angle in degrees, else the time of exposure in seconds (`ExposureTime`)",
            keys=("shutterAngle", "dpx:ShutterAngle"),
            endings=r"shutter([._]?angle)?",
            read=_angle,
        ),
    }
)
_TIMES = HeaderKeys(says="", keys=("ExposureTime",), endings=r"exposure[._]?time|shutter", read=_time)
_LENS_MAKERS = HeaderKeys(says="", keys=("lensMake", "Exif:LensMake"))
_ALL = (*HEADER_FACTS.values(), _TIMES, _LENS_MAKERS)
_EXACT = {key.casefold() for keys in _ALL for key in keys.keys}
_ENDS = re.compile(rf"(^|[.:_/ ])({'|'.join(keys.endings for keys in _ALL if keys.endings)})$")


def header_facts(metadata: Mapping[str, str]) -> dict[str, HeaderFact]:
    """Facts of the camera by name, in the order of `HEADER_FACTS`; those that the header does not state are left out."""
    folded = ((key.casefold(), key, value.strip()) for key, value in metadata.items())
    said = {k: (key, text) for k, key, text in folded if text and (k in _EXACT or _ENDS.search(k))}
    if not said:
        return {}
    found = {name: fact for name, keys in HEADER_FACTS.items() if (fact := _stated(said, keys))}
    if "shutter" not in found and (fact := _stated(said, _TIMES)):
        found["shutter"] = fact
    if "camera_make" in found and _PROGRAMS.search(found["camera_make"].value):
        found.pop("camera_make")
        found.pop("camera_model", None)
    maker = _stated(said, _LENS_MAKERS)
    if maker and (lens := found.get("lens")) and not lens.value.casefold().startswith(maker.value.casefold()):
        found["lens"] = HeaderFact(value=f"{maker.value} {lens.value}"[:LONGEST], key=lens.key)
    return found


def _stated(said: Mapping[str, tuple[str, str]], keys: HeaderKeys) -> HeaderFact | None:
    named = [said[key.casefold()] for key in keys.keys if key.casefold() in said]
    if keys.endings:
        ending = re.compile(rf"(^|[.:_/ ])({keys.endings})$")
        named += [pair for key, pair in said.items() if ending.search(key) and _is_ours(key, keys.endings)]
    for key, text in named:
        if value := visible(keys.read(text))[:LONGEST]:
            return HeaderFact(value=value, key=visible(key)[:LONGEST])
    return None


def _is_ours(key: str, endings: str) -> bool:
    """False for the serial number of a lens where the camera's is meant, and for what a colour profile says of a device."""
    return not key.startswith("iccprofile:") and ("lens" in endings or "lens" not in key)


def fact_number(name: str, text: str) -> float | None:
    """The number of a fact as a header or a person writes it: 2.8 of `T2.8`. In mm, kelvin or degrees; of `exposure_time` in
    seconds, where a shutter is stated so. None where it is none."""
    if name == "exposure_time":
        return None if _angle(text) else _number(text, 1e-6, 3600)
    match = re.search(r"[+-]?\d+(\.\d+)?", HEADER_FACTS[name].read(text))
    return float(match[0]) if match else None


def camera_in_header(metadata: Mapping[str, str]) -> str:
    """Make, model and serial number in a line; empty where the header names no camera."""
    return camera_line({name: fact.value for name, fact in header_facts(metadata).items()})


def camera_line(said: Mapping[str, str]) -> str:
    """Make, model and serial number of a camera, as far as they are known, in a line."""
    make, model, serial = (said.get(f"camera_{part}", "") for part in ("make", "model", "serial"))
    if make and model.casefold().startswith(make.casefold()):
        make = ""
    return " ".join(part for part in (make, model, f"no. {serial}" if serial else "") if part)[:120]


def header_shown(metadata: Mapping[str, str]) -> dict[str, str]:
    """A header as it is shown raw: all that libraries find in it, hidden characters written out, long values cut."""
    shown = {
        visible(key)[:LONGEST]: text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} …"
        for key, value in sorted(metadata.items())
        if (text := visible(value.strip()))
    }
    return dict(list(shown.items())[:MOST_SHOWN])
