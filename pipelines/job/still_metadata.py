"""Clip metadata in a still: standard attributes of OpenEXR, EXIF and TIFF tags, and an XMP packet, by published names.

Sources: OpenEXR, Standard Attributes; CIPA DC-008 (EXIF) and DC-010 (exifEX, from memory); Adobe, XMP Specification Part 2
(dc, tiff, exif, and xmpDM, the dynamic media namespace). What none of them has a name for stands under its plain name: an
attribute in EXR, a property of our own namespace in XMP.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.originals.camera_header import fact_number
from rushlight.pipelines.outputs.stills import Attribute
from rushlight.pipelines.outputs.xmp_packet import xmp_packet

__all__ = ["EXR_NAMES", "EXR_NUMBERS", "TAGS", "XMP_NAMES", "still_attributes", "still_xmp", "timecode_word"]

EXR_NAMES = {
    "camera": "cameraLabel",
    "camera_make": "cameraMake",
    "camera_model": "cameraModel",
    "camera_serial": "cameraSerialNumber",
    "lens": "lensModel",
    "lens_serial": "lensSerialNumber",
}
EXR_NUMBERS = {
    "focal_length": "nominalFocalLength",
    "aperture": "aperture",
    "t_stop": "tStop",
    "iso": "isoSpeed",
    "white_balance": "cameraCCTSetting",
    "tint": "cameraTintSetting",
    "shutter": "shutterAngle",
    "exposure_time": "expTime",
}
TAGS = {  # TIFF and EXIF, as OpenImageIO names them
    "camera_make": "Make",
    "camera_model": "Model",
    "camera_serial": "Exif:BodySerialNumber",
    "lens": "Exif:LensModel",
    "lens_serial": "Exif:LensSerialNumber",
    "focal_length": "Exif:FocalLength",
    "aperture": "FNumber",
    "exposure_time": "ExposureTime",
    "iso": "Exif:PhotographicSensitivity",  # in JPEG alone: the library leaves it out of a TIFF
}
XMP_NAMES = {
    "scene": "xmpDM:scene",
    "camera": "xmpDM:cameraLabel",
    "note": "xmpDM:logComment",
    "production": "xmpDM:projectName",
    "day": "xmpDM:shotDay",
    "camera_make": "tiff:Make",
    "camera_model": "tiff:Model",
    "camera_serial": "exifEX:BodySerialNumber",
    "lens": "exifEX:LensModel",
    "lens_serial": "exifEX:LensSerialNumber",
    "focal_length": "exif:FocalLength",
    "aperture": "exif:FNumber",
    "exposure_time": "exif:ExposureTime",
    "iso": "exif:ISOSpeedRatings",
}
_BASE = (
    "camera_make",
    "camera_model",
)  # of TIFF itself: texts of EXIF the library puts in a JPEG where they do not belong
_YES = {"yes", "y", "true", "1", "x", "circled", "*"}
_LIGHT = "scene light"  # what an EXR holds: nothing of the look is in it


def still_attributes(
    job: JobSpec, said: Mapping[str, str], kind: str, timecode: Timecode
) -> dict[str, Attribute]:
    """Attributes of a still of this kind at this timecode, by OpenImageIO's names. `said` is its output's metadata
    (`output_metadata`). All have the clip and timecode as ImageDescription."""
    described: dict[str, Attribute] = {"ImageDescription": description_of(job, timecode)}
    if kind.startswith("png"):  # has XMP; its tEXt chunks have no names for the rest
        return described
    numbers = _numbers(said)
    if kind != "exr":
        there = {name: text for name, text in said.items() if name in TAGS and name not in EXR_NUMBERS}
        texts = {TAGS[name]: text for name, text in there.items() if kind != "jpeg" or name in _BASE}
        values = {TAGS[name]: _tag(name, value) for name, value in numbers.items() if name in TAGS}
        return described | texts | values
    counted = {*numbers, *(["shutter"] if "exposure_time" in numbers else [])}  # an ISO of "auto" stays text
    names = {EXR_NAMES.get(name, name): text for name, text in said.items() if name not in counted}
    exact = {EXR_NUMBERS[name]: ("float", value) for name, value in numbers.items()}
    return described | names | {"state": _LIGHT} | exact | _timing(job, timecode)


def _tag(name: str, value: float) -> Attribute:
    return ("int", min(int(value), 65535)) if name == "iso" else ("float", value)


def _numbers(said: Mapping[str, str]) -> dict[str, float]:
    """Numbers of the facts that have one, by name; a shutter as angle, else as `exposure_time`."""
    found = {}
    for name in EXR_NUMBERS:
        text = said.get("shutter" if name == "exposure_time" else name, "")
        value = fact_number("wb" if name == "white_balance" else name, text) if text else None
        if value is not None:
            found[name] = value
    return found


def _timing(job: JobSpec, timecode: Timecode) -> dict[str, Attribute]:
    rate = timecode.rate.fraction
    found: dict[str, Attribute] = {
        "framesPerSecond": ("rational", (rate.numerator, rate.denominator)),
        "smpte:TimeCode": ("timecode", (timecode_word(timecode), 0)),
    }
    if job.reel:
        found["reelName"] = job.reel
    try:
        captured = FrameRate.parse(job.fields.get("capture_rate", "")).fraction
        found["captureRate"] = ("rational", (captured.numerator, captured.denominator))
    except TimecodeError:
        pass
    return found


def timecode_word(timecode: Timecode) -> int:
    """A timecode as OpenEXR's TimeCode has it: BCD of SMPTE ST 12-1 in 32 bits. Above 30 frames a second the label counts pairs of
    frames, and the field mark is set in the second of a pair (ST 12-1, 12)."""
    text = str(timecode)
    hours, minutes, seconds, frames = (int(part) for part in text.replace(";", ":").split(":"))
    pairs = timecode.rate.nominal > 30
    mark = pairs and frames % 2
    frames = frames // 2 if pairs else frames
    word = 0
    for value in (hours, minutes, seconds, frames):
        word = word << 8 | value // 10 << 4 | value % 10
    return word | (0x40 if ";" in text else 0) | (0x8000 if mark else 0)


def description_of(job: JobSpec, timecode: Timecode) -> str:
    """Clip and timecode in a line: by it, `verify` knows what a still is of."""
    return f"{job.stem} {timecode}"


def still_xmp(job: JobSpec, said: Mapping[str, str], kind: str, timecode: Timecode) -> bytes:
    """The XMP packet of such a still; empty for EXR, which has attributes in its place."""
    if kind == "exr":
        return b""
    found = {"dc:title": job.stem, "dc:description": description_of(job, timecode)}
    numbers = _numbers(said)
    for name, published in XMP_NAMES.items():
        if name in EXR_NUMBERS:
            if name in numbers:
                found[published] = _xmp_number(name, numbers[name])
        elif name in said:
            found[published] = said[name]
    found |= {"xmpDM:tapeName": job.reel} if job.reel else {}
    found |= {"xmpDM:takeNumber": said["take"]} if said.get("take", "").isdecimal() else {}
    found |= (
        {"xmpDM:good": "True"} if said.get("circled", "").casefold() in ("yes", "y", "true", "1", "x") else {}
    )
    return xmp_packet(found | {f"rushlight:{name}": text for name, text in said.items()})


def _xmp_number(name: str, value: float) -> str:
    """An integer, or a rational such as `28/10`, as XMP has EXIF's numbers."""
    if name == "iso":
        return str(int(value))
    ratio = Fraction(value).limit_denominator(100_000)
    return f"{ratio.numerator}/{ratio.denominator}"
