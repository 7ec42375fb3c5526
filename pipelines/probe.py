"""What an original's header states: nothing here decodes a picture, and nothing is ever written.

Movies through PyAV, image sequences through OpenImageIO. A clip is a movie file, a movie in several files
`name_###.mov`, a folder holding one image sequence, or a sequence pattern `name.#######.dpx`.
"""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import xxhash
from rushlight.pipelines.errors import SourceError, TimecodeError, from_os
from rushlight.pipelines.facts import Facts, Levels, SoundTrack
from rushlight.pipelines.headers import interlaced, orientation
from rushlight.pipelines.pixels import PixelFormat, find_pixel_format
from rushlight.pipelines.spans import MOVIES, is_span, joined, span_files
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = ["MOVIES", "STILLS", "Facts", "SoundTrack", "full_hash", "probe", "sampled_hash", "sequence_files"]

STILLS = frozenset({".dpx", ".exr", ".tif", ".tiff", ".png"})
# Camera raw that our libraries cannot open as pictures; by extension, in the makers' own names.
RAW = frozenset({".r3d", ".braw", ".ari", ".arx", ".crm", ".rmf", ".nev", ".cine", ".dng", ".cin"} - {".cin"})


def probe(path: Path, *, rate: FrameRate | None = None) -> Facts:
    """The facts of one original. `rate` serves sequences whose headers state none (24 and a warning otherwise).

    SourceError naming the file for anything missing, unreadable, without a picture, or camera raw.
    """
    if path.suffix.lower() in RAW:
        raise SourceError("is camera raw, give a transcode: our libraries do not open it", file=str(path))
    if is_span(path):
        return joined(path, [_movie(file) for file in span_files(path)])
    if path.is_dir() or "#" in path.name or (path.suffix.lower() in STILLS and path.is_file()):
        return _sequence(path, rate)
    if not path.exists():
        raise SourceError("there is no such original", file=str(path))
    return _movie(path)


# --- movies


def _movie(path: Path) -> Facts:
    import av

    av.logging.set_level(None)
    try:
        with av.open(str(path)) as container:
            if not container.streams.video:
                raise SourceError("holds no picture", file=str(path))
            return _movie_facts(path, container, container.streams.video[0])
    except av.error.FFmpegError as error:
        raise SourceError(f"does not open as a movie: {error.strerror or error}", file=str(path)) from None
    except OSError as error:
        raise from_os(error, path, reading=True) from None


def _movie_facts(path: Path, container: Any, stream: Any) -> Facts:
    context = stream.codec_context
    warnings: list[str] = []
    stored = context.format.name if context.format else ""
    pixel_format = find_pixel_format(_within_family(stored))
    if pixel_format is None or not context.width:
        raise SourceError(
            f"has pictures of a kind that is not read here: {context.name} {stored or 'unknown'}",
            file=str(path),
        )
    fraction = stream.average_rate or stream.guessed_rate
    if not fraction:
        raise SourceError("states no frame rate", file=str(path))
    entries = list(stream.index_entries) if container.format.name in _INDEXED else []
    steps = _steps([e.timestamp for e in entries] or _first_stamps(container, stream))
    rotation, mirrored = orientation(path, container, stream)
    rate = _snapped(Fraction(fraction), stream, steps)
    frames = stream.frames or len(entries)
    shown = sum(not e.is_discard for e in entries)
    if shown < len(entries):  # an edit list leaves pictures out; the count of samples takes them in
        frames = max(shown, int(stream.duration * stream.time_base * rate.fraction) if stream.duration else 0)
    if not frames and stream.duration:
        frames = round(stream.duration * stream.time_base * rate.fraction)
    if not frames and container.duration:
        frames = round(Fraction(container.duration, 1_000_000) * rate.fraction)
        warnings.append("the frame count is worked out from the duration")
    if not frames:
        raise SourceError("states neither a frame count nor a duration", file=str(path))
    timecode, timecode_from, note = _movie_timecode(container, rate)
    warnings += [note] if note else []
    info = path.stat()
    sound = tuple(
        SoundTrack(
            index=a.index,
            codec=a.codec_context.name,
            sample_rate=a.rate,
            channels=a.codec_context.layout.nb_channels,
            layout=a.codec_context.layout.name,
        )
        for a in container.streams.audio
    )
    reel = next((s.metadata["reel_name"] for s in container.streams if s.metadata.get("reel_name")), "")
    levels: Levels | None = {1: "narrow", 2: "full"}.get(int(context.color_range))  # type: ignore[assignment]
    if pixel_format.full_by_name:
        levels = "full"
    return Facts(
        path=path,
        kind="movie",
        files=(path,),
        width=context.width,
        height=context.height,
        pixel_aspect=Fraction(stream.sample_aspect_ratio or 1) or Fraction(1),
        pixel_format=pixel_format,
        stored_format=stored,
        rate=rate,
        rate_from="header",
        frames=frames,
        timecode=timecode,
        timecode_from=timecode_from,
        reel=reel or container.metadata.get("reel_name", ""),
        levels_tag=levels,
        matrix_tag=int(context.colorspace),
        primaries_tag=int(context.color_primaries),
        transfer_tag=int(context.color_trc),
        codec=context.name,
        profile=str(context.profile or ""),
        container=path.suffix.lower().lstrip("."),
        sound=sound,
        rotation=rotation,
        mirrored=mirrored,
        interlaced=interlaced(path, stream),
        variable_rate=_varies(steps),
        metadata={**container.metadata, **stream.metadata},
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        warnings=tuple(warnings),
    )


_SAME_FAMILY = {
    "yuyv422": "yuv422p",
    "uyvy422": "yuv422p",
    "nv12": "yuv420p",
    "nv16": "yuv422p",
    "p010le": "yuv420p10le",
    "p210le": "yuv422p10le",
    "p012le": "yuv420p12le",
    "v210": "yuv422p10le",
    "rgb24": "gbrp",
    "bgr24": "gbrp",
    "rgba": "gbrp",
    "bgra": "gbrp",
    "rgb0": "gbrp",
    "bgr0": "gbrp",
    "argb": "gbrp",
    "abgr": "gbrp",
    "rgb48le": "gbrp16le",
    "rgb48be": "gbrp16le",
    "rgba64le": "gbrp16le",
    "rgba64be": "gbrp16le",
}


def _within_family(name: str) -> str:
    """The planar format that holds the same codes; the name itself where that is one already."""
    return _SAME_FAMILY.get(name, name)


_INDEXED = {"mov,mp4,m4a,3gp,3g2,mj2", "avi"}  # demultiplexers whose index has every picture


def _steps(stamps: Sequence[int]) -> set[int]:
    """Distinct steps between time stamps."""
    return {b - a for a, b in itertools.pairwise(sorted(stamps))}


def _first_stamps(container: Any, stream: Any) -> list[int]:
    """Time stamps of the first pictures, where no index has them; an MXF file has one edit rate, and needs none."""
    if container.format.name == "mxf":
        return []
    packets = itertools.islice(container.demux(stream), 250)
    return sorted(p.pts for p in packets if p.pts is not None)[:-16]  # later ones may lie between the last


def _varies(steps: set[int]) -> bool:
    """Whether frames last unequally; a tick more or less, where ticks are fine, is the rounding of a time stamp."""
    return len(steps) > 1 and (max(steps) - min(steps) > 1 or min(steps) < 10)


def _snapped(fraction: Fraction, stream: Any, steps: set[int]) -> FrameRate:
    if len(steps) == 1 and (step := next(iter(steps)) * stream.time_base):
        fraction = 1 / Fraction(step)
    for nominal in (24, 25, 30, 48, 50, 60, 96, 100, 120):
        for exact in (Fraction(nominal), Fraction(nominal * 1000, 1001)):
            if abs(fraction / exact - 1) < Fraction(1, 5000):
                return FrameRate(fraction=exact)
    return FrameRate(fraction=fraction)


def _movie_timecode(container: Any, rate: FrameRate) -> tuple[Timecode, str, str]:
    texts = [s.metadata.get("timecode") for s in container.streams] + [container.metadata.get("timecode")]
    text = next((t for t in texts if t), "")
    if not text:
        return Timecode(frames=0, rate=rate), "none", "has no timecode; counted from 00:00:00:00"
    try:
        return Timecode.parse(text, rate), "header", ""
    except TimecodeError as error:
        return (
            Timecode(frames=0, rate=rate),
            "none",
            f"its timecode is not one ({error.text}); counted from 00:00:00:00",
        )


# --- sequences

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
    if not found:
        raise SourceError("holds no image sequence (numbered DPX, EXR, TIFF or PNG files)", file=str(path))
    if len(found) > 1:
        names = ", ".join(f"{head}#{tail}" for head, tail in sorted(found)[:4])
        raise SourceError(f"holds several image sequences ({names}); name one of them", file=str(path))
    numbers = sorted(next(iter(found.values())))
    files = next(iter(found.values()))
    return tuple(files[n] for n in numbers), tuple(numbers)


def _sequence(path: Path, stated: FrameRate | None) -> Facts:
    import OpenImageIO as oiio

    files, numbers = sequence_files(path)
    reader = oiio.ImageInput.open(str(files[0]))
    if reader is None:
        raise SourceError(f"does not open as a picture: {oiio.geterror()}", file=str(files[0]))
    try:
        spec = reader.spec()
        kind = reader.format_name()
        if spec.nchannels < 3:
            raise SourceError(
                f"has {spec.nchannels} channel(s); red, green and blue are needed", file=str(files[0])
            )
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
        chroma = spec.getattribute("chromaticities")
        aspect = spec.getattribute("PixelAspectRatio")
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
            levels_tag=None,
            chromaticities=tuple(float(v) for v in chroma) if chroma else (),
            codec=kind,
            container=kind,
            metadata={
                a.name: str(a.value) for a in spec.extra_attribs if isinstance(a.value, str | int | float)
            },
            bytes=info.st_size * len(files),
            mtime_ns=max(info.st_mtime_ns, files[-1].stat().st_mtime_ns),
            warnings=tuple(warnings),
        )
    finally:
        reader.close()


def _sequence_format(spec: Any) -> PixelFormat:
    text = str(spec.format)
    bits = int(spec.getattribute("oiio:BitsPerSample") or 0)
    if text in ("half", "float", "double"):
        name = "gbrpf32le"
    elif text == "uint8":
        name = "gbrp"
    else:
        name = {10: "gbrp10le", 12: "gbrp12le"}.get(bits, "gbrp16le")
    found = find_pixel_format(name)
    assert found is not None
    return found


def _sequence_rate(spec: Any, stated: FrameRate | None) -> tuple[FrameRate, str]:
    for name in ("FramesPerSecond", "dpx:FrameRate", "dpx:TemporalFrameRate"):
        value = spec.getattribute(name)
        if not value:
            continue
        try:
            fraction = (
                Fraction(*value)
                if isinstance(value, tuple)
                else Fraction(float(value)).limit_denominator(100000)
            )
            return (
                FrameRate(fraction=fraction)
                if isinstance(value, tuple)
                else FrameRate.parse(f"{float(value):.4f}")
            ), "header"
        except (TimecodeError, ZeroDivisionError, ValueError, OverflowError):
            continue
    if stated:
        return stated, "stated"
    return FrameRate.parse(24), "assumed"


def _sequence_timecode(spec: Any, number: int, rate: FrameRate) -> tuple[Timecode, str]:
    value = spec.getattribute("smpte:TimeCode")
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


# --- hashes


def sampled_hash(facts: Facts) -> str:
    """`xxh3_128-first-last-MiB:<hex>` over size and the first and last MiB (of a sequence: of its first and last
    file, and every file's size). A hash of the ends, named as such: it proves no copy."""
    state = xxhash.xxh3_128()
    ends = (facts.files[0],) if len(facts.files) == 1 else (facts.files[0], facts.files[-1])
    try:
        for path in facts.files if len(facts.files) > 1 else ():
            state.update(f"{path.name}:{path.stat().st_size};".encode("utf-8", "surrogateescape"))
        for path in ends:
            with path.open("rb", buffering=0) as stream:
                size = os.fstat(stream.fileno()).st_size
                state.update(f"{size};".encode())
                state.update(stream.read(1 << 20))
                if size > 1 << 20:
                    stream.seek(max(1 << 20, size - (1 << 20)))
                    state.update(stream.read(1 << 20))
    except OSError as error:
        raise from_os(error, facts.path, reading=True) from None
    return f"xxh3_128-first-last-MiB:{state.hexdigest()}"


def full_hash(facts: Facts) -> str:
    """`xxh3_128:<hex>` over every byte of the original, of a sequence its files in order."""
    state = xxhash.xxh3_128()
    try:
        for path in facts.files:
            with path.open("rb", buffering=0) as stream:
                while block := stream.read(1 << 20):
                    state.update(block)
    except OSError as error:
        raise from_os(error, facts.path, reading=True) from None
    return f"xxh3_128:{state.hexdigest()}"
