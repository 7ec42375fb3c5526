"""Segments into the delivered movie: packets copied, never encoded again; sound, timecode, reel and tags added."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray
from rushlight.pipelines.codecs import Codec, Tags, encoder_options
from rushlight.pipelines.errors import DeliveryError, from_os
from rushlight.pipelines.timecode import FrameRate, Timecode
from rushlight.pipelines.writers import new_picture_stream, open_container

__all__ = ["Sound", "join"]

SAMPLE_RATE = 48000
_LAYOUTS = {1: "mono", 2: "stereo", 3: "2.1", 4: "quad", 5: "5.0", 6: "5.1", 7: "6.1", 8: "7.1"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """Sound to be laid under the pictures: blocks of int32 (channels, samples) at 48 kHz, and the total."""

    channels: int
    samples: int
    blocks: Iterable[NDArray[np.int32]]


def join(
    segments: Sequence[Path],
    counts: Sequence[int],
    path: Path,
    *,
    codec: Codec,
    container: str,
    width: int,
    height: int,
    rate: FrameRate,
    tags: Tags,
    timecode: Timecode,
    reel: str = "",
    metadata: Mapping[str, str] | None = None,
    sound: Sound | None = None,
    quality: float | None = None,
    preset: str = "",
    peak: float | None = None,
) -> None:
    """Write `path` (a temporary name) from finished segments.

    DeliveryError if a segment does not hold the pictures it should; ResourceError where the disk is full.
    """
    try:
        with open_container(path, container) as output:
            for key, value in sorted((metadata or {}).items()):
                output.metadata[key] = value
            first = av.open(str(segments[0]))
            try:
                if codec.intra:
                    options = encoder_options(codec, rate=rate, quality=quality, preset=preset, peak=peak)
                    stream = new_picture_stream(
                        output, codec=codec, width=width, height=height, rate=rate, tags=tags, options=options
                    )
                    stream.codec_context.open()
                else:
                    stream = output.add_stream_from_template(first.streams.video[0], opaque=True)
                    stream.time_base = 1 / rate.fraction
                stream.metadata["timecode"] = str(timecode)
                if reel:
                    stream.metadata["reel_name"] = reel
                    if container == "mxf":  # its muxer takes the reel from the file's metadata
                        output.metadata["reel_name"] = reel
                tracks = _sound_tracks(output, sound, container) if sound else None
                output.start_encoding()
                _copy(output, stream, segments, counts, rate, tracks, codec)
            finally:
                first.close()
    except av.error.FFmpegError as error:
        raise from_os(error, path) from None
    except OSError as error:
        raise from_os(error, path) from None


def _copy(
    output: Any,
    stream: Any,
    segments: Sequence[Path],
    counts: Sequence[int],
    rate: FrameRate,
    tracks: _Tracks | None,
    codec: Codec,
) -> None:
    base = 0
    extradata: bytes | None = None
    for path, count in zip(segments, counts, strict=True):
        with av.open(str(path)) as segment:
            source = segment.streams.video[0]
            if not codec.intra:
                found = bytes(source.codec_context.extradata or b"")
                if extradata is not None and found != extradata:
                    raise DeliveryError(
                        "segments were encoded with different settings and cannot be joined", file=str(path)
                    )
                extradata = found
            packets = 0
            for packet in segment.demux(source):
                if not packet.size:
                    continue
                step = Fraction(packet.time_base)
                offset = Fraction(base) / rate.fraction / step
                if offset.denominator != 1:
                    raise DeliveryError("a segment's time scale does not divide its rate", file=str(path))
                packet.pts += int(offset)
                packet.dts += int(offset)
                packet.stream = stream
                output.mux(packet)
                packets += 1
            if packets != count:
                raise DeliveryError(f"a segment holds {packets} pictures instead of {count}", file=str(path))
        base += count
        if tracks:
            tracks.until(round(base * SAMPLE_RATE / rate.fraction))
    if tracks:
        tracks.finish()


class _Tracks:
    """Sound streams fed in step with the pictures."""

    def __init__(self, output: Any, sound: Sound, codec_name: str, split: bool) -> None:
        self.output = output
        self.blocks: Iterator[NDArray[np.int32]] = iter(sound.blocks)
        self.total = sound.samples
        self.done = 0
        self.rest: NDArray[np.int32] = np.zeros((sound.channels, 0), np.int32)
        self.coded = codec_name == "aac"
        width = 1 if split else sound.channels
        self.split = split
        self.streams = []
        for _ in range(sound.channels if split else 1):
            stream = output.add_stream(codec_name, rate=SAMPLE_RATE, layout=_LAYOUTS[width])
            if self.coded:
                stream.codec_context.bit_rate = 96000 * max(width, 2) // 1 if width > 1 else 96000
                stream.codec_context.format = "fltp"
            else:
                stream.codec_context.format = "s32"
            stream.codec_context.thread_count = 1
            stream.time_base = Fraction(1, SAMPLE_RATE)
            self.streams.append(stream)

    def until(self, sample: int) -> None:
        """Feed sound up to that sample of the whole."""
        sample = min(sample, self.total)
        while self.done + self.rest.shape[1] < sample:
            block = next(self.blocks, None)
            if block is None:
                short = sample - self.done - self.rest.shape[1]
                block = np.zeros((self.rest.shape[0], short), np.int32)
            self.rest = np.concatenate([self.rest, block], axis=1)
        piece, self.rest = self.rest[:, : sample - self.done], self.rest[:, sample - self.done :]
        if piece.shape[1]:
            self._encode(np.ascontiguousarray(piece))
        self.done = sample

    def _encode(self, piece: NDArray[np.int32]) -> None:
        for index, stream in enumerate(self.streams):
            part = piece[index : index + 1] if self.split else piece
            if self.coded:
                data = (part.astype(np.float64) / 2**31).astype(np.float32)
                frame = av.AudioFrame.from_ndarray(
                    np.ascontiguousarray(data), format="fltp", layout=_LAYOUTS[part.shape[0]]
                )
            else:
                packed = np.ascontiguousarray(part.T.reshape(1, -1))
                frame = av.AudioFrame.from_ndarray(packed, format="s32", layout=_LAYOUTS[part.shape[0]])
            frame.sample_rate = SAMPLE_RATE
            frame.pts = self.done
            frame.time_base = Fraction(1, SAMPLE_RATE)
            self.output.mux(stream.encode(frame))

    def finish(self) -> None:
        self.until(self.total)
        for stream in self.streams:
            self.output.mux(stream.encode(None))


def _sound_tracks(output: Any, sound: Sound, container: str) -> _Tracks:
    if container == "mp4":
        return _Tracks(output, sound, "aac", False)
    return _Tracks(output, sound, "pcm_s24le", container == "mxf")
