"""Headers of an image sequence: files, rate, timecode, channels. Through OpenImageIO; nothing is decoded."""

from __future__ import annotations

import os
import re
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.pipelines.errors import SourceError, TimecodeError, from_os
from rushlight.pipelines.formats.media_libraries import image_fault
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.facts import MOST_FRAMES, MOST_PIXELS, Facts
from rushlight.pipelines.originals.raw_mosaic import is_mosaic

if TYPE_CHECKING:
    from OpenImageIO import ImageSpec

__all__ = [
    "RAW",
    "RAW_FRAMES",
    "RAW_TEXT",
    "STILLS",
    "as_stored",
    "refusal",
    "rgb_channels",
    "sequence",
    "sequence_files",
]

# Camera raw that our libraries cannot open as pictures; by extension, in the makers' own names.
RAW = frozenset({".r3d", ".braw", ".ari", ".arx", ".crm", ".rmf", ".nev", ".cine", ".dng"})
RAW_FRAMES = frozenset({".dng", ".ari", ".arx"})  # those of which a clip is a folder, a file a frame
RAW_TEXT = "is camera raw, give a transcode: our libraries do not open it"
STILLS = frozenset({".dpx", ".exr", ".tif", ".tiff", ".png"})
Stated = str | int | float | tuple[int | float, ...]  # values of a header
_NUMBERED = re.compile(r"(?P<head>.*?)(?P<number>\d+)(?P<tail>\.[A-Za-z0-9]+)")


def sequence_files(path: Path) -> tuple[tuple[Path, ...], tuple[int, ...]]:
    """Files of one image sequence in order of number, and those numbers.

    `path` is a folder holding one sequence, a pattern with `#`, or one of its files. SourceError if there is
    none, or if a folder holds several.
    """
    if path.is_dir():
        folder, wanted = path, None
    elif "#" in path.name:
        folder = path.parent
        head, _, tail = path.name.partition("#")
        wanted = (head, tail.lstrip("#"))
    else:
        folder = path.parent
        match = _NUMBERED.fullmatch(path.name)
        if not match:
            return (path,), (0,)
        wanted = (match["head"], match["tail"])
    found: dict[tuple[str, str], dict[int, Path]] = {}
    try:
        entries = sorted(os.scandir(folder), key=lambda e: e.name)
    except OSError as error:
        raise from_os(error, folder, reading=True) from None
    for entry in entries:
        match = _NUMBERED.fullmatch(entry.name)
        if not match or entry.name.startswith(".") or Path(entry.name).suffix.lower() not in STILLS:
            continue
        key = (match["head"], match["tail"])
        if wanted is None or key == wanted:
            found.setdefault(key, {})[int(match["number"])] = folder / entry.name
    if not found and path.is_dir() and any(Path(e.name).suffix.lower() in RAW for e in entries):
        raise SourceError(RAW_TEXT, file=str(path))
    if not found:
        raise SourceError("holds no image sequence (numbered DPX, EXR, TIFF or PNG files)", file=str(path))
    if len(found) > 1:
        names = ", ".join(f"{head}#{tail}" for head, tail in sorted(found)[:4])
        raise SourceError(f"holds several image sequences ({names}); name one of them", file=str(path))
    numbers = sorted(next(iter(found.values())))
    files = next(iter(found.values()))
    return tuple(files[n] for n in numbers), tuple(numbers)


def sequence(path: Path, stated: FrameRate | None) -> Facts:
    """The facts of an image sequence, from the header of its first file. `stated` is its rate where headers have none."""
    import OpenImageIO as oiio

    files, numbers = sequence_files(path)
    if numbers[-1] - numbers[0] >= MOST_FRAMES:
        raise SourceError(
            f"has {len(files)} files with numbers from {numbers[0]} to {numbers[-1]}, which is no sequence",
            file=str(path),
        )
    if files[0].suffix.lower() in (".tif", ".tiff") and is_mosaic(files[0]):
        raise SourceError(MOSAIC, file=str(files[0]))
    reader = oiio.ImageInput.open(str(files[0]), as_stored())
    if reader is None:
        raise SourceError(f"does not open as a picture: {image_fault()}", file=str(files[0]))
    try:
        spec = reader.spec()
        kind = reader.format_name()
        if why := refusal(spec):
            raise SourceError(why, file=str(files[0]))
        if reader.has_error:
            raise SourceError(f"its header is damaged: {image_fault(reader)}", file=str(files[0]))
        return _facts(path, files, numbers, spec, kind, stated)
    finally:
        reader.close()


def _facts(
    path: Path,
    files: tuple[Path, ...],
    numbers: tuple[int, ...],
    spec: ImageSpec,
    kind: str,
    stated: FrameRate | None,
) -> Facts:
    """The facts by the header of the first file: `spec`, as OpenImageIO gives it, of a file of this `kind`."""
    info = files[0].stat()
    warnings: list[str] = []
    rate, rate_from = _sequence_rate(spec, stated)
    if rate_from == "assumed":
        warnings.append("its headers state no frame rate; taken as 24")
    timecode, timecode_from = _sequence_timecode(spec, numbers[0], rate)
    frames = numbers[-1] - numbers[0] + 1
    have = set(numbers)
    missing = tuple(n - numbers[0] for n in range(numbers[0], numbers[-1] + 1) if n not in have)
    if missing:
        warnings.append(f"{len(missing)} of its files are missing")
    chroma = _numbers(spec, "chromaticities")
    aspect = _number(spec, "PixelAspectRatio")
    rotation, mirrored = _ORIENTATIONS.get(int(_number(spec, "Orientation") or 1), (0, False))
    return Facts(
        path=path,
        kind="sequence",
        files=files,
        first_number=numbers[0],
        missing=missing,
        width=spec.full_width,
        height=spec.full_height,
        pixel_aspect=Fraction(float(aspect)).limit_denominator(1000) if aspect else Fraction(1),
        pixel_format=_sequence_format(spec),
        stored_format=f"{kind} {spec.format}",
        rate=rate,
        rate_from=rate_from,
        frames=frames,
        timecode=timecode,
        timecode_from=timecode_from,
        rotation=rotation,
        mirrored=mirrored,
        capture_rate=_capture_rate(spec),
        chromaticities=tuple(float(v) for v in chroma),
        codec=kind,
        container=kind,
        metadata={
            readable(a.name): readable(_as_text(a.value))
            for a in spec.extra_attribs
            if isinstance(a.value, str | int | float | tuple)
        },
        bytes=info.st_size * len(files),
        mtime_ns=max(info.st_mtime_ns, files[-1].stat().st_mtime_ns),
        warnings=tuple(warnings),
    )


MOSAIC = "is camera raw (a sensor's mosaic in a TIFF or DNG file): give a transcode, RGB as DPX, EXR, TIFF or a movie"


def refusal(spec: ImageSpec) -> str:
    """Why a picture with this header is not read here; empty where it is."""
    if spec.deep:
        return (
            "is a deep picture (several samples a pixel, by distance): give it flattened, as plain R, G and B"
        )
    if not rgb_channels(spec):
        names = ", ".join(readable(name) for name in spec.channelnames[:8])
        return f"has no channels R, G and B, which are needed; it has {names}"
    if not (0 < spec.full_width * spec.full_height <= MOST_PIXELS) or spec.full_width < 1 or spec.depth > 1:
        return f"states a raster of {spec.full_width}x{spec.full_height}, which no camera makes"
    return ""


def readable(text: str) -> str:
    """A text of a header, with U+FFFD where its bytes are not UTF-8."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _as_text(value: Stated) -> str:
    """A header's value as text; several numbers with spaces between."""
    return " ".join(str(each) for each in value) if isinstance(value, tuple) else str(value)


def as_stored() -> ImageSpec:
    """OpenImageIO's settings to read samples as they are stored, not multiplied by an alpha channel."""
    import OpenImageIO as oiio

    config = oiio.ImageSpec()
    config.attribute("oiio:UnassociatedAlpha", 1)
    return config


def rgb_channels(spec: ImageSpec) -> list[int]:
    """Indices of red, green and blue among a picture's channels; empty where it has not all three."""
    names = [name.upper() for name in spec.channelnames]
    return [names.index(c) for c in "RGB"] if {"R", "G", "B"} <= set(names) else []


# TIFF 6.0, section 8, Orientation, as OpenImageIO gives it for DPX as well: degrees clockwise, mirrored ahead of the turn.
_ORIENTATIONS = {
    1: (0, False), 2: (0, True), 3: (180, False), 4: (180, True),
    5: (270, True), 6: (90, False), 7: (90, True), 8: (270, False),
}  # fmt: skip


def _stated(spec: ImageSpec, name: str) -> Stated | None:
    """Value that a header states under a name; None where that is nothing, or an array in place of a value."""
    value = spec.getattribute(name)
    return value if isinstance(value, str | int | float | tuple) else None


def _number(spec: ImageSpec, name: str) -> str | int | float | None:
    """The same of one number, which some headers have as text."""
    value = _stated(spec, name)
    return None if isinstance(value, tuple) else value


def _numbers(spec: ImageSpec, name: str) -> tuple[int | float, ...]:
    """The same of several; empty where a header has one value."""
    value = _stated(spec, name)
    return value if isinstance(value, tuple) else ()


def _capture_rate(spec: ImageSpec) -> FrameRate | None:
    """The attribute `captureRate` of OpenEXR: frames a second as exposed, whatever they are played at."""
    value = _stated(spec, "captureRate")
    try:
        return FrameRate.parse(Fraction(*value)) if isinstance(value, tuple) else None
    except (TimecodeError, ZeroDivisionError):
        return None


def _sequence_format(spec: ImageSpec) -> PixelFormat:
    text = str(spec.format)
    bits = int(_number(spec, "oiio:BitsPerSample") or 0)
    if text in ("half", "float", "double"):
        name = "gbrpf32le"
    elif text == "uint8":
        name = "gbrp"
    else:
        name = {10: "gbrp10le", 12: "gbrp12le"}.get(bits, "gbrp16le")
    found = find_pixel_format(name)
    assert found is not None
    return found


def _sequence_rate(spec: ImageSpec, stated: FrameRate | None) -> tuple[FrameRate, str]:
    for name in ("FramesPerSecond", "dpx:FrameRate", "dpx:TemporalFrameRate"):
        value = _stated(spec, name)
        if not value:
            continue
        try:
            rate = Fraction(*value) if isinstance(value, tuple) else f"{float(value):.4f}"
            return FrameRate.parse(rate), "header"
        except (TimecodeError, ZeroDivisionError, ValueError, OverflowError):
            continue
    if stated:
        return stated, "stated"
    return FrameRate.parse(24), "assumed"


def _sequence_timecode(spec: ImageSpec, number: int, rate: FrameRate) -> tuple[Timecode, str]:
    value = _numbers(spec, "smpte:TimeCode")
    if value:
        word = int(value[0]) & 0xFFFFFFFF
        digits = [(word >> shift) & 0xFF for shift in (24, 16, 8, 0)]
        hours, minutes, seconds = ((d >> 4 & 7) * 10 + (d & 15) for d in digits[:3])
        frames = (digits[3] >> 4 & 3) * 10 + (digits[3] & 15)
        drop = bool(digits[3] & 0x40) and rate.can_drop
        if (
            rate.nominal > 30
        ):  # ST 12-1 clause 12: the count runs in frame pairs, the field mark gives the odd one
            frames = frames * 2 + (digits[2] >> 7)
        text = f"{hours:02}:{minutes:02}:{seconds:02}{';' if drop else ':'}{frames:02}"
        try:
            return Timecode.parse(text, rate), "header"
        except TimecodeError:
            pass
    return Timecode(frames=number, rate=rate), "file number"
