"""Segments into the delivered movie: packets copied, never encoded again; sound, timecode, reel and tags added."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TypeAlias, cast

import av
from av.container import InputContainer, OutputContainer

from rushlight.pipelines.errors import DeliveryError, from_os
from rushlight.pipelines.formats.codecs import Codec
from rushlight.pipelines.formats.media_libraries import open_movie
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.mp4_boxes import add_to_sample_entry, enable_sound_tracks
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata, metadata_boxes, with_metadata
from rushlight.pipelines.outputs.segment_writer import new_picture_stream, open_container
from rushlight.pipelines.outputs.sound_tracks import (
    SAMPLE_RATE,
    Sound,
    SoundTracks,
    name_comment,
    track_names,
)

__all__ = ["Sound", "join"]

Packet: TypeAlias = "av.Packet[av.VideoStream]"


def join(
    segments: Sequence[Path],
    counts: Sequence[int],
    path: Path,
    movie: MovieFormat,
    *,
    timecode: Timecode,
    reel: str = "",
    metadata: Mapping[str, str] | None = None,
    sound: Sound | None = None,
    hdr: HdrMetadata | None = None,
) -> None:
    """Write `path` (a temporary name) from finished segments of `counts` pictures. `hdr` is for HEVC.

    DeliveryError if a segment does not hold the pictures it should; ResourceError where the disk is full. A file
    left by an error must not be used: deleting it is the caller's.
    """
    container = movie.container
    try:
        with ExitStack() as stack:
            output = stack.enter_context(open_container(path, container, index_first=container == "mp4"))
            first = stack.enter_context(open_movie(segments[0]))
            for key, value in sorted((metadata or {}).items()):
                output.metadata[key] = value
            stream = _stream_for(output, first, movie, hdr, stack)
            stream.metadata["timecode"] = str(timecode)
            if reel:
                stream.metadata["reel_name"] = reel
                if container == "mxf":  # its muxer takes the reel from the file's metadata
                    output.metadata["reel_name"] = reel
            for number, name in enumerate(track_names(sound, container) if sound else (), 1):
                if name and container == "mxf":
                    output.metadata[name_comment(number)] = name
            tracks = SoundTracks(output, sound, container) if sound else None
            output.start_encoding()
            _copy(list(zip(segments, counts, strict=True)), output, stream, first, movie, hdr, tracks)
        if container == "mov" and sound and len(sound.tracks) > 1:
            enable_sound_tracks(path)
    except OSError as error:  # FFmpeg's errors are among them
        raise from_os(error, path) from None


def _stream_for(
    output: OutputContainer,
    first: InputContainer,
    movie: MovieFormat,
    hdr: HdrMetadata | None,
    stack: ExitStack,
) -> av.VideoStream:
    """The picture stream of the joined movie: of long-GOP codecs as the `first` segment has it."""
    if movie.codec.intra:
        stream = new_picture_stream(output, movie)
        stream.codec_context.open()
        return stream
    template = stack.enter_context(_described(first, hdr)) if hdr else first
    return _copied_stream(output, template.streams.video[0], movie.codec, movie.rate)


def _copy(
    segments: Sequence[tuple[Path, int]],
    output: OutputContainer,
    stream: av.VideoStream,
    first: InputContainer,
    movie: MovieFormat,
    hdr: HdrMetadata | None,
    tracks: SoundTracks | None,
) -> None:
    """The packets of all segments (each with its number of pictures) into the stream, and the sound beside them."""
    codec, rate = movie.codec, movie.rate
    depth = 0 if codec.intra else first.streams.video[0].codec_context.reorder_depth
    settings = None if codec.intra else _settings(first)
    base = 0
    for segment, count in segments:
        for decoded, shown, packet in _packets(segment, count, rate, settings):
            sent = _bright(packet, hdr) if hdr and packet.is_keyframe else packet
            _place(sent, base + shown, base + decoded - depth, rate)
            sent.stream = stream
            output.mux(sent)
            beat()
        base += count
        if tracks:
            tracks.until(round(base * SAMPLE_RATE / rate.fraction))
    if tracks:
        tracks.finish()


def _copied_stream(
    output: OutputContainer, template: av.VideoStream, codec: Codec, rate: FrameRate
) -> av.VideoStream:
    """A stream as the segments have it: their parameter sets, not a new encoder's."""
    stream = output.add_stream_from_template(template, opaque=True)
    stream.codec_context.codec_tag = codec.tag
    stream.codec_context.framerate = rate.fraction
    stream.time_base = 1 / rate.fraction
    return stream


def _described(segment: InputContainer, hdr: HdrMetadata) -> InputContainer:
    """A movie of one picture whose sample entry has the metadata: the muxer copies it from a template alone."""
    assert segment.streams.video[0].codec_context.name == "hevc"
    small = io.BytesIO()
    with av.open(small, "w", format="mp4", options={"fflags": "+bitexact"}) as output:
        stream = output.add_stream_from_template(segment.streams.video[0], opaque=True)
        packet = next(p for p in segment.demux(segment.streams.video[0]) if p.size)
        packet.stream = stream
        output.mux(packet)
    return av.open(io.BytesIO(add_to_sample_entry(small.getvalue(), metadata_boxes(hdr))), "r")


def _bright(packet: Packet, hdr: HdrMetadata) -> Packet:
    """A key picture with the metadata in the stream as well."""
    sent = cast("Packet", av.Packet(with_metadata(bytes(packet), hdr)))  # its stream is set when it is sent
    sent.is_keyframe = True
    return sent


def _settings(segment: InputContainer) -> bytes:
    """The parameter sets that all segments of one stream must share."""
    return bytes(segment.streams.video[0].codec_context.extradata or b"")


def _packets(
    path: Path, count: int, rate: FrameRate, settings: bytes | None
) -> Iterator[tuple[int, int, Packet]]:
    """A segment's packets, each with its place in the order of decoding and of showing."""
    with open_movie(path) as segment:
        if settings is not None and _settings(segment) != settings:
            raise DeliveryError(
                "segments were encoded with different settings and cannot be joined", file=str(path)
            )
        packets = (packet for packet in segment.demux(segment.streams.video[0]) if packet.size)
        shown: list[int] = []
        start: int | None = None
        for packet in packets:
            if packet.pts is None:
                raise DeliveryError("a segment's pictures have no time stamps", file=str(path))
            start = packet.pts if start is None else start  # a closed group: decoded first is shown first
            shown.append(round((packet.pts - start) * packet.time_base * rate.fraction))
            yield len(shown) - 1, shown[-1], packet
    if len(shown) != count:
        raise DeliveryError(f"a segment holds {len(shown)} pictures instead of {count}", file=str(path))
    if sorted(shown) != list(range(count)):
        raise DeliveryError("a segment's pictures are not evenly spaced in time", file=str(path))


def _place(packet: Packet, shown: int, decoded: int, rate: FrameRate) -> None:
    """Set when a packet is shown and decoded, in frames of the whole movie.

    Pictures are decoded one a frame, ahead by as many as the stream says it reorders: a segment's own decoding
    times will not do, for one of a single picture is not ahead.
    """
    packet.time_base = 1 / rate.fraction
    packet.pts, packet.dts, packet.duration = shown, decoded, 1
