"""Probe: reads the facts that an original's header states. Nothing here decodes a picture, and nothing is
ever written.

Movies through PyAV, image sequences through OpenImageIO. A clip is a movie file, a movie in several files
`name_###.mov`, a folder holding one image sequence, or a sequence pattern `name.#######.dpx`.
"""

from __future__ import annotations

import itertools
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import xxhash

from rushlight.pipelines.errors import SourceError, TimecodeError, from_os
from rushlight.pipelines.formats.media_libraries import MOV, open_movie, source_errors, tick_of
from rushlight.pipelines.formats.mp4_boxes import sample_entries
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.cut_short import cut_short
from rushlight.pipelines.originals.facts import MOST_FRAMES, MOST_PIXELS, Facts, Levels, SoundTrack
from rushlight.pipelines.originals.image_sequences import (
    RAW,
    RAW_FRAMES,
    RAW_TEXT,
    STILLS,
    sequence,
    sequence_files,
)
from rushlight.pipelines.originals.rotation_and_interlace import (
    interlaced,
    is_atom,
    orientation,
)
from rushlight.pipelines.originals.spanned_clips import MOVIES, is_span, joined, span_files

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.index import IndexEntry
    from av.video.codeccontext import VideoCodecContext
    from av.video.stream import VideoStream

__all__ = [
    "MOVIES",
    "RAW",
    "RAW_FRAMES",
    "RAW_TEXT",
    "STILLS",
    "Facts",
    "SoundTrack",
    "ends_hash",
    "full_hash",
    "probe",
    "sampled_hash",
    "sequence_files",
]


def probe(path: Path, *, rate: FrameRate | None = None, files: Sequence[Path] = ()) -> Facts:
    """The facts of one original. `rate` serves sequences whose headers state none (24 and a warning otherwise);
    `files` are those of a span over several cards, in order.

    SourceError naming the file for anything missing, unreadable, without a picture, or camera raw, and for whatever a
    library raises about it: this is the one place where facts of an original are read.
    """
    with source_errors(path, "its header cannot be read"):
        return _facts(path, rate, files)


def _facts(path: Path, rate: FrameRate | None, files: Sequence[Path]) -> Facts:
    if path.suffix.lower() in RAW:
        raise SourceError(RAW_TEXT, file=str(path))
    if is_span(path):
        return joined(path, [_movie(file) for file in files or span_files(path)])
    if path.suffix.lower() in MOVIES and "#" not in path.name and path.is_file():
        return _movie(path)
    if path.is_dir() or "#" in path.name or (path.suffix.lower() in STILLS and path.is_file()):
        return sequence(path, rate)
    if not path.exists():
        raise SourceError("there is no such original", file=str(path))
    return _movie(path)


# --- movies


def _movie(path: Path) -> Facts:
    with source_errors(path, "does not open as a movie", why=cut_short), open_movie(path) as container:
        if not container.streams.video:
            raise SourceError("holds no picture", file=str(path))
        return _movie_facts(path, container, container.streams.video[0])


def _pixel_format(path: Path, stream: VideoStream) -> PixelFormat:
    """The format of a movie's pictures; SourceError for a codec, format or raster that is not read here."""
    context = stream.codec_context
    if context is None:
        raise SourceError(
            f"its picture is in a codec that is not read here{_named(path, b'vide')}; give a transcode",
            file=str(path),
        )
    stored = _stored_format(context)
    pixel_format = find_pixel_format(_within_family(stored))
    if pixel_format is None or not context.width:
        text = f"has pictures of a kind that is not read here: {context.name} {stored}"
        if not stored:
            text = f"its first pictures do not decode: {context.name}, damaged or of a kind that is not read here"
        raise SourceError(text, file=str(path))
    if not 0 < context.width * context.height <= MOST_PIXELS:
        text = f"states a raster of {context.width}x{context.height}, which no camera makes"
        raise SourceError(text, file=str(path))
    return pixel_format


def _stored_format(context: VideoCodecContext) -> str:
    return context.format.name if context.format else ""


def _movie_facts(path: Path, container: InputContainer, stream: VideoStream) -> Facts:
    pixel_format, context = _pixel_format(path, stream), stream.codec_context
    warnings: list[str] = []
    fraction = stream.average_rate or stream.guessed_rate
    if not fraction:
        raise SourceError("states no frame rate", file=str(path))
    entries = list(stream.index_entries) if container.format.name in _INDEXED else []
    steps = _steps(sorted(e.timestamp for e in entries) or _first_stamps(container, stream))
    rotation, mirrored = orientation(path, container, stream)
    warnings += _file_notes(path, container)
    rate = _snapped(Fraction(fraction), stream, steps)
    if not 1 <= rate.fraction <= 1000:
        text = f"states {float(rate.fraction):.4g} frames a second, which is outside 1 to 1000"
        raise SourceError(text, file=str(path))
    info = path.stat()
    frames, note = _frame_count(path, info.st_size, container, stream, entries, steps, rate)
    warnings += [note] if note else []
    timecode, timecode_from, note = _movie_timecode(container, rate)
    warnings += [note] if note else []
    sound, note = _sound(path, container)
    warnings += [note] if note else []
    metadata = {**container.metadata, **stream.metadata}
    reel = next((s.metadata["reel_name"] for s in container.streams if s.metadata.get("reel_name")), "")
    warnings += _text_notes((reel, *metadata, *metadata.values()))
    return Facts(
        path=path,
        kind="movie",
        files=(path,),
        width=context.width,
        height=context.height,
        capture_rate=_capture_rate(container),
        pixel_aspect=Fraction(stream.sample_aspect_ratio or 1) or Fraction(1),
        pixel_format=pixel_format,
        stored_format=_stored_format(context),
        rate=rate,
        rate_from="header",
        frames=frames,
        seconds=Fraction(stream.duration * tick_of(stream)) if stream.duration else None,
        timecode=timecode,
        timecode_from=timecode_from,
        reel=reel or container.metadata.get("reel_name", ""),
        levels_tag=_levels_tag(context, pixel_format),
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
        metadata=metadata,
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        warnings=tuple(warnings),
    )


def _file_notes(path: Path, container: InputContainer) -> list[str]:
    notes = [cut_short(path)] if container.format.name in ("mxf", MOV) else []
    if is_atom(container) and not container.streams.audio:
        notes.append("is an OP-Atom file, whose sound lies in files of its own: it has none here")
    return [text for text in notes if text]


def _text_notes(texts: Iterable[str]) -> list[str]:
    lost = "\ufffd" in "".join(texts)
    return (
        ["some of its metadata is not UTF-8 text; what cannot be read of it is shown as \ufffd"]
        if lost
        else []
    )


def _frame_count(
    path: Path,
    size: int,
    container: InputContainer,
    stream: VideoStream,
    entries: list[IndexEntry],
    steps: Counter[int],
    rate: FrameRate,
) -> tuple[int, str]:
    """Number of pictures that a movie shows, and what is to be said of that; SourceError where nothing tells,
    or where it cannot be."""
    note = ""
    frames = stream.frames or len(entries)
    shown = sum(not e.is_discard for e in entries)
    if shown < len(entries):  # an edit list leaves pictures out; the count of samples takes them in
        lasts = int(stream.duration * tick_of(stream) * rate.fraction) if stream.duration else 0
        frames = shown if _varies(steps) else max(shown, lasts)
    if _varies(steps) and not entries:
        frames = _counted(path)
    if not frames and stream.duration:
        frames = round(stream.duration * tick_of(stream) * rate.fraction)
    if not frames and container.duration:
        frames = round(Fraction(container.duration, 1_000_000) * rate.fraction)
        note = "the frame count is worked out from the duration"
    if not frames:
        raise SourceError("states neither a frame count nor a duration", file=str(path))
    if not 0 < frames <= min(MOST_FRAMES, size):
        raise SourceError(f"states {frames} frames in {size} bytes: its header is damaged", file=str(path))
    return frames, note


def _levels_tag(context: VideoCodecContext, pixel_format: PixelFormat) -> Levels | None:
    if pixel_format.full_by_name:
        return "full"
    return {1: "narrow", 2: "full"}.get(int(context.color_range))  # type: ignore[return-value]


def _named(path: Path, handler: bytes, number: int = 0) -> str:
    """The four letters of a track's codec in brackets, where a MOV or MP4 states them."""
    entries = sample_entries(path, handler)
    return f" ({entries[number]!r})" if number < len(entries) else ""


def _sound(path: Path, container: InputContainer) -> tuple[tuple[SoundTrack, ...], str]:
    """The sound tracks that can be decoded, and what is to be said of the others."""
    found: list[SoundTrack] = []
    lost: list[str] = []
    for number, stream in enumerate(container.streams.audio):
        context = stream.codec_context
        channels = context.layout.nb_channels if context else 0
        if not channels or not context.sample_rate:
            lost.append(f"{number + 1}{_named(path, b'soun', number)}")
            continue
        layout = context.layout.name
        track = SoundTrack(
            index=stream.index,
            codec=context.name,
            sample_rate=context.sample_rate,
            channels=channels,
            layout=layout,
        )
        found.append(track)
    if not lost:
        return tuple(found), ""
    rest = "channels are counted without it" if found else "it is delivered without sound"
    return tuple(found), f"its sound track {' and '.join(lost)} is in a codec that is not read here: {rest}"


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


_INDEXED = {MOV, "avi"}  # demultiplexers whose index has every picture


def _steps(stamps: Sequence[int]) -> Counter[int]:
    """The steps between time stamps in order, and how often each."""
    return Counter(b - a for a, b in itertools.pairwise(stamps))


def _first_stamps(container: InputContainer, stream: VideoStream) -> list[int]:
    """Time stamps of the first pictures, where no index has them; an MXF file has one edit rate, and needs none."""
    if container.format.name == "mxf":
        return []
    packets = itertools.islice(container.demux(stream), 250)
    return sorted(p.pts for p in packets if p.pts is not None)[:-16]  # later ones may lie between the last


def _counted(path: Path) -> int:
    """Pictures, one by one: where they last unequally and no index has them, nothing else tells."""
    with open_movie(path) as container:
        return sum(packet.size > 0 for packet in container.demux(container.streams.video[0]))


def _varies(steps: Counter[int]) -> bool:
    """True if frames last unequally; a tick more or less, where ticks are fine, is the rounding of a time
    stamp."""
    return len(steps) > 1 and (max(steps) - min(steps) > 1 or min(steps) < 10)


def _snapped(fraction: Fraction, stream: VideoStream, steps: Counter[int]) -> FrameRate:
    """The rate meant: of a variable one the commonest, which a camera falls short of now and then."""
    if len(steps) == 1 or _varies(steps):
        step = steps.most_common(1)[0][0] * tick_of(stream)
        fraction = 1 / Fraction(step) if step else fraction
    return _usual(fraction)


@lru_cache(maxsize=256)
def _usual(fraction: Fraction) -> FrameRate:
    """The usual rate that this one is within 1/5000 of; else the rate itself."""
    for nominal in (24, 25, 30, 48, 50, 60, 96, 100, 120):
        for exact in (Fraction(nominal), Fraction(nominal * 1000, 1001)):
            if abs(fraction / exact - 1) < Fraction(1, 5000):
                return FrameRate(fraction=exact)
    return FrameRate(fraction=fraction)


def _capture_rate(container: InputContainer) -> FrameRate | None:
    """Frames a second as exposed, where the container states them: the key `com.android.capture.fps` of MP4 metadata
    (Android's MediaRecorder); of others a list's column says it."""
    stated = container.metadata.get("com.android.capture.fps")
    try:
        return FrameRate.parse(stated) if stated else None
    except TimecodeError:
        return None


def _movie_timecode(container: InputContainer, rate: FrameRate) -> tuple[Timecode, str, str]:
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
            f"its timecode cannot be read ({error.text}); counted from 00:00:00:00",
        )


# --- hashes


def sampled_hash(facts: Facts) -> str:
    """`xxh3_128-first-last-MiB:<hex>` over size and the first and last MiB (of a sequence: of its first and last
    file, and every file's size). A hash of the ends, named as such: it proves no copy."""
    return ends_hash(facts.files, facts.path)


def ends_hash(files: Sequence[Path], named: Path) -> str:
    """The same of files in order; an error names `named`."""
    state = xxhash.xxh3_128()
    ends = (files[0],) if len(files) == 1 else (files[0], files[-1])
    try:
        for path in files if len(files) > 1 else ():
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
        raise from_os(error, named, reading=True) from None
    return f"xxh3_128-first-last-MiB:{state.hexdigest()}"


def full_hash(facts: Facts) -> str:
    """`xxh3_128:<hex>` over every byte of the original, of a sequence its files in order."""
    state = xxhash.xxh3_128()
    try:
        for path in facts.files:
            with path.open("rb", buffering=0) as stream:
                while block := stream.read(1 << 20):
                    state.update(block)
                    beat()
    except OSError as error:
        raise from_os(error, facts.path, reading=True) from None
    return f"xxh3_128:{state.hexdigest()}"
