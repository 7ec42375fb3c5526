"""One movie file of pictures: a segment. Temporary names are the caller's; so is deleting what was not finished."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
from av.codec.context import Flags
from av.container import OutputContainer

from rushlight.pipelines.errors import DeliveryError, from_os
from rushlight.pipelines.formats.codecs import Tags, colour_volume
from rushlight.pipelines.formats.movie_format import MovieFormat

__all__ = ["MovieWriter", "Tags", "new_picture_stream", "open_container", "tag_frame"]

_LEVELS = {"narrow": 1, "full": 2}
_TIMESCALE = "240000"  # edit lists are in this unit: a sample is 5, a frame at 24000/1001 is 10010
_AHEAD = 2  # pictures that x264 and x265 decode ahead of showing, by any preset
_PROGRESSIVE = 1  # AV_FIELD_PROGRESSIVE


def open_container(path: Path, container: str, *, index_first: bool = False) -> OutputContainer:
    """A container open for writing under any name; bit-exact, free metadata allowed in MOV and MP4.

    With `index_first` a MOV or MP4 is rewritten on closing so that it plays while it is still being fetched.
    """
    options = {"fflags": "+bitexact"}
    if container != "mxf":
        options["movie_timescale"] = _TIMESCALE
        options["movflags"] = "use_metadata_tags+write_colr" + ("+faststart" if index_first else "")
    try:
        return av.open(str(path), "w", format=container, options=options)
    except av.error.FFmpegError as error:
        raise from_os(error, path) from None
    except OSError as error:
        raise from_os(error, path) from None


def new_picture_stream(output: OutputContainer, movie: MovieFormat, *, threads: int = 1) -> av.VideoStream:
    """The picture stream of an open container, told everything; on one thread unless its bytes are the same on several."""
    codec, rate, tags = movie.codec, movie.rate, movie.tags
    stream = output.add_stream(codec.encoder, rate=rate.fraction, options=movie.options())
    assert isinstance(stream, av.VideoStream)
    stream.width, stream.height, stream.pix_fmt = movie.width, movie.height, codec.pixel_format
    context = stream.codec_context
    context.time_base = 1 / rate.fraction
    stream.time_base = 1 / rate.fraction
    context.thread_count = threads if codec.sliced else 1
    if codec.sliced:
        context.thread_type = "SLICE"  # not several pictures at once, which are held in memory
    context.flags |= int(Flags.bitexact)
    context.color_primaries, context.color_trc = tags.primaries, tags.transfer
    context.colorspace, context.color_range = tags.matrix, _LEVELS[tags.levels]
    context.sample_aspect_ratio = Fraction(1)
    context.field_order = _PROGRESSIVE
    if codec.tag and output.format.name in ("mov", "mp4"):
        context.codec_tag = codec.tag
    return stream


def tag_frame(frame: av.VideoFrame, tags: Tags) -> None:
    """Colour tags on one frame: some encoders take the bitstream's from here and nowhere else."""
    frame.color_primaries, frame.color_trc = tags.primaries, tags.transfer
    frame.colorspace, frame.color_range = tags.matrix, _LEVELS[tags.levels]


def _set_colour_volume(packet: av.Packet[av.VideoStream], volume: int) -> None:
    """Write the CLV field of a VC-3 picture header, which FFmpeg's encoder leaves at BT.709."""
    data = bytearray(packet)
    data[0x2C] = data[0x2C] & ~0b110 | volume << 1
    packet.update(bytes(data))


class MovieWriter:
    """Pictures into one file. Use as a context: an exception inside leaves a file that must not be used."""

    def __init__(self, path: Path, movie: MovieFormat, *, threads: int = 1) -> None:
        self.path = path
        self.tags = movie.tags
        self.frames = 0
        self._open = True
        self._encoded = 0
        self._ahead = 0 if movie.codec.intra else _AHEAD
        self._volume = colour_volume(movie.codec, movie.tags)
        self._time_base = 1 / movie.rate.fraction
        self._container = open_container(path, movie.container)
        try:
            self._stream = new_picture_stream(self._container, movie, threads=threads)
            self._stream.codec_context.open()
        except av.error.FFmpegError as error:
            self._container.close()
            raise DeliveryError(
                f"{movie.codec.name} does not take {movie.width}x{movie.height} at {movie.rate} frames a second:"
                f" {error.strerror or error}",
                file=str(path),
            ) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()

    def write(self, frame: av.VideoFrame) -> None:
        """The next picture; the frame is tagged and numbered here."""
        tag_frame(frame, self.tags)
        frame.pts, frame.time_base = self.frames, self._time_base
        self._encode(frame)
        self.frames += 1

    def _encode(self, frame: av.VideoFrame | None) -> None:
        try:
            for packet in self._stream.encode(frame):
                # libx265 gives any decoding time at all to the first pictures of a very short segment
                packet.dts = self._encoded - self._ahead
                self._encoded += 1
                if self._volume:
                    _set_colour_volume(packet, self._volume)
                self._container.mux(packet)
        except av.error.FFmpegError as error:
            raise from_os(error, self.path) from None
        except OSError as error:
            raise from_os(error, self.path) from None

    def close(self) -> int:
        """Finish the file; gives the number of pictures written. Closing twice is closing once."""
        if not self._open:
            return self.frames
        self._encode(None)
        self._open = False
        try:
            self._container.close()
        except av.error.FFmpegError as error:
            raise from_os(error, self.path) from None
        return self.frames

    def abandon(self) -> None:
        """Let go without finishing. What is left on the disk is the caller's to delete."""
        self._open = False
        try:
            self._container.close()
        except (av.error.FFmpegError, OSError):
            pass
