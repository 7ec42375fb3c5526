"""A delivered movie or still as an outsider finds it: reopened, counted, one picture decoded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from rushlight.pipelines.codecs import Tags
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = ["Delivered", "check", "read_back"]

_LEVELS = {0: "", 1: "narrow", 2: "full"}


@dataclass(frozen=True, kw_only=True)
class Delivered:
    """What a movie says of itself. `tags` are the container's, `picture_tags` those of a decoded picture."""

    frames: int  # packets counted
    rate: str
    first_timecode: str
    reel: str
    width: int
    height: int
    pixel_format: str
    codec: str
    profile: str
    tags: tuple[int, int, int, str]  # primaries, transfer, matrix, levels
    picture_tags: tuple[int, int, int, str]
    sound: tuple[tuple[str, int, int], ...]  # codec, channels, sample rate of each track
    sound_seconds: float
    metadata: Mapping[str, str]
    even: bool  # every picture lasts one frame of the rate, in order


def read_back(path: Path) -> Delivered:
    """Reopen a finished movie: every packet is counted, the first picture decoded. DeliveryError if it cannot be."""
    av.logging.set_level(None)
    try:
        with av.open(str(path)) as container:
            if not container.streams.video:
                raise DeliveryError("holds no picture", file=str(path))
            return _read(path, container, container.streams.video[0])
    except av.error.FFmpegError as error:
        raise DeliveryError(f"does not open again: {error.strerror or error}", file=str(path)) from None


def _read(path: Path, container: Any, stream: Any) -> Delivered:
    context = stream.codec_context
    context.thread_count = 1
    stamps: list[int] = []
    picture = None
    for packet in container.demux(stream):
        if not packet.size:
            continue
        stamps.append(packet.pts)
        if picture is None:
            picture = next(iter(packet.decode()), None)
    if picture is None:
        for late in context.decode(None):
            picture = late
            break
    if picture is None:
        raise DeliveryError("has no picture that decodes", file=str(path))
    rate = Fraction(stream.average_rate or stream.guessed_rate or 0)
    stamps.sort()
    step = 1 / (rate * Fraction(stream.time_base)) if rate else Fraction(0)
    start = stamps[0]
    even = all(abs(stamp - start - n * step) < 1 for n, stamp in enumerate(stamps))
    texts = [s.metadata.get("timecode") for s in container.streams] + [container.metadata.get("timecode")]
    reels = [s.metadata.get("reel_name") for s in container.streams] + [
        container.metadata.get("reel_name"),
        container.metadata.get("reel"),
    ]
    sound = [s for s in container.streams.audio]
    seconds = [float(s.duration * s.time_base) for s in sound if s.duration]
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
        tags=(
            int(context.color_primaries),
            int(context.color_trc),
            int(context.colorspace),
            _LEVELS.get(int(context.color_range), ""),
        ),
        picture_tags=(
            int(picture.color_primaries),
            int(picture.color_trc),
            int(picture.colorspace),
            _LEVELS.get(int(picture.color_range), ""),
        ),
        sound=tuple((s.codec_context.name, s.codec_context.layout.nb_channels, s.rate) for s in sound),
        sound_seconds=max(seconds, default=0.0),
        metadata={**container.metadata, **stream.metadata},
        even=even,
    )


def check(delivered: Delivered, expected: Mapping[str, Any]) -> list[str]:
    """Differences in words between a movie and what it should be; empty if there are none.

    `expected` maps names of `Delivered` to values; `profile` may be a tuple of readings that will do, `tags`
    holds for container and picture alike, `sound_seconds` within one AAC frame.
    """
    known = {f.name for f in fields(delivered)}
    faults = [] if delivered.even else ["pictures are not evenly spaced in time"]
    for name, wanted in expected.items():
        assert name in known, name
        found = getattr(delivered, name)
        if name == "profile":
            good = not wanted or any(str(found).lower() == str(w).lower() for w in wanted)
        elif name == "sound_seconds":
            good = abs(found - wanted) <= 1024 / 48000 + 1e-6
        elif name == "rate":
            good = FrameRate.parse(found or 1) == FrameRate.parse(wanted)
        elif name == "first_timecode":
            good = _same_timecode(found, wanted, delivered.rate)
        else:
            good = found == wanted
        if not good:
            faults.append(f"{name.replace('_', ' ')} is {found!r}, should be {wanted!r}")
    return faults


def _same_timecode(found: str, wanted: str, rate: str) -> bool:
    try:
        frame_rate = FrameRate.parse(rate)
        return Timecode.parse(found, frame_rate) == Timecode.parse(wanted, frame_rate)
    except Exception:
        return found == wanted


def tags_of(tags: Tags) -> tuple[int, int, int, str]:
    """Tags as `Delivered` holds them."""
    return tags.primaries, tags.transfer, tags.matrix, tags.levels
