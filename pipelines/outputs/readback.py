"""A delivered movie as an outsider finds it: reopened, every packet counted, one picture decoded."""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, fields
from fractions import Fraction
from pathlib import Path
from typing import TypedDict

import av
from av.container import InputContainer
from av.sidedata.sidedata import Type as SideData

from rushlight.pipelines.errors import DeliveryError, TimecodeError
from rushlight.pipelines.formats.codecs import Tags, readable_tags
from rushlight.pipelines.formats.media_libraries import open_movie, side_data, tick_of
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata
from rushlight.pipelines.outputs.mxf_packages import Umids, umid_text
from rushlight.pipelines.outputs.sound_tracks import Sound, name_comment, track_list, track_names

__all__ = ["Delivered", "check", "expected", "read_back", "tags_of"]

_PCM = re.compile(r"pcm_[suf](\d+)(?:[lb]e)?$")  # FFmpeg's names of PCM: pcm_s24le has 24 bits a sample
_LEVELS = {0: "", 1: "narrow", 2: "full"}


@dataclass(frozen=True, kw_only=True)
class Delivered:
    """A delivered movie as it describes itself. `tags` are the container's, `picture_tags` those of a decoded
    picture."""

    frames: int  # packets counted
    rate: str
    first_timecode: str
    reel: str
    width: int
    height: int
    pixel_format: str
    codec: str
    profile: str
    sample_entry: str  # MOV and MP4: "hvc1"
    tags: tuple[int, int, int, str]  # primaries, transfer, matrix, levels
    picture_tags: tuple[int, int, int, str]
    sound: tuple[tuple[str, int, int], ...]  # codec, channels, sample rate of each track
    sound_names: tuple[str, ...]  # of each track; empty where it has none
    sound_samples: tuple[int, ...]  # of each track: PCM counted, others by the container's edit list
    sound_seconds: float  # of the longest track
    peak: float  # most Mbit of pictures in any second, in decoding order
    light: tuple[int, int] | None  # MaxCLL and MaxFALL in cd/m2, of a decoded picture
    mastering: tuple[float, ...] | None  # R, G, B, white as x, y; darkest and brightest in cd/m2
    umids: Umids | None  # MXF: of the clip, its file and its reel
    metadata: Mapping[str, str]
    even: bool  # every picture lasts one frame of the rate, in order


def read_back(path: Path) -> Delivered:
    """Reopen a finished movie: every packet is counted, the first picture decoded. DeliveryError if it cannot be."""
    try:
        with open_movie(path) as container:
            if not container.streams.video:
                raise DeliveryError("holds no picture", file=str(path))
            return _read(path, container, container.streams.video[0])
    except av.error.FFmpegError as error:
        raise DeliveryError(f"does not open again: {error.strerror or error}", file=str(path)) from None


def _read(path: Path, container: InputContainer, stream: av.VideoStream) -> Delivered:
    context = stream.codec_context
    tracks = container.streams.audio
    for track in (stream, *tracks):
        if track.codec_context is None:
            raise DeliveryError(f"its {track.type} track is in a codec that is not known", file=str(path))
    context.thread_count = 1
    stamps: list[int] = []
    sizes: list[int] = []
    heard = {s.index: 0 for s in tracks}
    picture: av.VideoFrame | None = None
    for packet in container.demux(stream, *tracks):
        if not packet.size:
            continue
        beat()
        if packet.stream_index in heard:
            heard[packet.stream_index] += packet.size
            continue
        if packet.pts is None:
            raise DeliveryError("has pictures without a time stamp", file=str(path))
        stamps.append(packet.pts)
        sizes.append(packet.size)
        if picture is None:
            picture = next((p for p in packet.decode() if isinstance(p, av.VideoFrame)), None)
    if picture is None:
        picture = next(iter(context.decode(None)), None)
    if picture is None:
        raise DeliveryError("has no picture that decodes", file=str(path))
    rate = Fraction(stream.average_rate or stream.guessed_rate or 0)
    step = 1 / (rate * tick_of(stream)) if rate else Fraction(0)
    stamps.sort()
    texts = [s.metadata.get("timecode") for s in container.streams] + [container.metadata.get("timecode")]
    reels = [s.metadata.get("reel_name") for s in container.streams]
    reels += [container.metadata.get(key) for key in ("reel_name", "reel")]
    samples = tuple(_samples(s, heard[s.index]) for s in tracks)
    return Delivered(
        frames=len(stamps),
        rate=str(FrameRate(fraction=rate)) if rate else "",
        first_timecode=next((t for t in texts if t), ""),
        reel=next((r for r in reels if r), ""),
        width=context.width,
        height=context.height,
        pixel_format=picture.format.name,
        codec=context.name,
        profile=str(context.profile or ""),
        sample_entry=str(context.codec_tag) if container.format.name.startswith("mov") else "",
        tags=_tags(context),
        picture_tags=_tags(picture),
        sound=tuple((s.codec_context.name, s.codec_context.layout.nb_channels, s.rate) for s in tracks),
        sound_names=_sound_names(container),
        sound_samples=samples,
        sound_seconds=max((n / s.rate for n, s in zip(samples, tracks, strict=True)), default=0.0),
        peak=_peak(sizes, rate),
        light=_light(picture),
        mastering=_mastering(picture),
        umids=_umids(container, stream),
        metadata={**container.metadata, **stream.metadata},
        even=all(abs(stamp - stamps[0] - n * step) < 1 for n, stamp in enumerate(stamps)),
    )


def _tags(source: av.VideoCodecContext | av.VideoFrame) -> tuple[int, int, int, str]:
    points = (source.color_primaries, source.color_trc, source.colorspace)
    primaries, transfer, matrix = (int(p) for p in points)
    return primaries, transfer, matrix, _LEVELS.get(int(source.color_range), "")


def _sound_names(container: InputContainer) -> tuple[str, ...]:
    """Name of each sound track: a MOV or MP4 track's handler, in MXF a comment of the material package."""
    found = []
    for number, stream in enumerate(container.streams.audio, 1):
        name = stream.metadata.get("handler_name", "") or container.metadata.get(name_comment(number), "")
        found.append("" if name == "SoundHandler" else name)
    return tuple(found)


def _umids(container: InputContainer, stream: av.VideoStream) -> Umids | None:
    if "material_package_umid" not in container.metadata:
        return None
    return Umids(
        material=umid_text(container.metadata["material_package_umid"]),
        file=umid_text(stream.metadata.get("file_package_umid", "")),
        reel=umid_text(stream.metadata.get("reel_umid", "")),
    )


def _samples(stream: av.AudioStream, size: int) -> int:
    context = stream.codec_context
    if pcm := _PCM.match(context.name):
        return size // (int(pcm[1]) // 8 * context.layout.nb_channels)
    return round((stream.duration or 0) * tick_of(stream) * stream.rate)


def _peak(sizes: list[int], rate: Fraction) -> float:
    window = math.ceil(rate)
    here = most = sum(sizes[:window])
    for leaving, entering in zip(sizes, sizes[window:], strict=False):
        here += entering - leaving
        most = max(most, here)
    return most * 8 / 1e6


def _light(picture: av.VideoFrame) -> tuple[int, int] | None:
    data = side_data(picture, SideData.CONTENT_LIGHT_LEVEL)  # AVContentLightMetadata
    return struct.unpack_from("=2I", data) if data else None


def _mastering(picture: av.VideoFrame) -> tuple[float, ...] | None:
    data = side_data(
        picture, SideData.MASTERING_DISPLAY_METADATA
    )  # AVMasteringDisplayMetadata: ten AVRationals
    if not data:
        return None
    numbers = struct.unpack_from("=20i", data)
    return tuple(n / d if d else 0.0 for n, d in zip(numbers[::2], numbers[1::2], strict=True))


class Wanted(TypedDict, total=False):
    """Values of `Delivered` that a movie is held to, by its names. None is not checked."""

    frames: int
    rate: str
    first_timecode: str
    reel: str
    width: int
    height: int
    pixel_format: str
    profile: tuple[str, ...]  # readings that will do
    sample_entry: str | None
    tags: tuple[int, int, int, str]
    picture_tags: tuple[int, int, int, str]
    sound: tuple[tuple[str, int, int], ...]
    sound_names: tuple[str, ...] | None
    sound_samples: tuple[int, ...]
    sound_seconds: float
    peak: float | None  # a cap
    light: tuple[int, int] | None
    umids: Umids | None


def expected(
    movie: MovieFormat,
    *,
    frames: int,
    timecode: Timecode,
    reel: str = "",
    sound: Sound | None = None,
    hdr: HdrMetadata | None = None,
    umids: Umids | None = None,
) -> Wanted:
    """Values that `check` holds a movie to, if it was joined with these settings."""
    codec = movie.codec
    outside, inside = readable_tags(codec, movie.container, movie.tags)
    tracks = track_list(sound, movie.container) if sound else ()
    return {
        "frames": frames,
        "rate": str(movie.rate),
        "first_timecode": str(timecode),
        "reel": reel,
        "width": movie.width,
        "height": movie.height,
        "pixel_format": codec.pixel_format,
        "profile": codec.reads_as,
        "sample_entry": codec.tag or None,
        "tags": tags_of(outside),
        "picture_tags": tags_of(inside),
        "sound": tracks,
        "sound_names": track_names(sound, movie.container) if sound and sound.names else None,
        "sound_samples": tuple(sound.samples for _ in tracks) if sound else (),
        "peak": movie.peak,
        "light": (hdr.max_cll, hdr.max_fall) if hdr else None,
        "umids": umids,
    }


def check(delivered: Delivered, wanted: Wanted) -> list[str]:
    """Differences in words between a movie and what it should be; empty if there are none."""
    known = {f.name for f in fields(delivered)}
    faults = [] if delivered.even else ["pictures are not evenly spaced in time"]
    for name, value in wanted.items():
        assert name in known, name
        found = getattr(delivered, name)
        if value is None:
            continue
        if name == "profile":
            readings = wanted["profile"]
            good = not readings or found.lower() in [reading.lower() for reading in readings]
        elif name == "peak":
            good = delivered.peak <= (wanted["peak"] or math.inf)
        elif name == "sound_seconds":
            good = abs(delivered.sound_seconds - wanted["sound_seconds"]) <= 1024 / 48000 + 1e-6
        elif name == "rate":
            good = FrameRate.parse(delivered.rate or 1) == FrameRate.parse(wanted["rate"])
        elif name == "first_timecode":
            good = _same_timecode(delivered.first_timecode, wanted["first_timecode"], delivered.rate)
        else:
            good = found == value
        if not good:
            most = "at most " if name == "peak" else ""
            faults.append(f"{name.replace('_', ' ')} is {found!r}, should be {most}{value!r}")
    return faults


def _same_timecode(found: str, wanted: str, rate: str) -> bool:
    """Two spellings of one label: a reader writes frames of slow and fast rates with one digit or three."""
    try:
        frame_rate = FrameRate.parse(rate)
        head, _, frames = found.rpartition(";" if ";" in found else ":")
        padded = f"{head}{';' if ';' in found else ':'}{frames.zfill(2)}"
        return Timecode.parse(padded, frame_rate) == Timecode.parse(wanted, frame_rate)
    except TimecodeError:
        return found == wanted


def tags_of(tags: Tags) -> tuple[int, int, int, str]:
    """Tags as `Delivered` holds them."""
    return tags.primaries, tags.transfer, tags.matrix, tags.levels
