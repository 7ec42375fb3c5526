"""The sound of an original for a run of its frames, sample-exact.

Positions are worked out from the clip's start, round(n * 48000 / rate), and never added up. What lies before
or after the recorded sound is silence.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.container import InputContainer
from av.stream import Discard
from numpy.typing import NDArray

from rushlight.pipelines.formats.media_libraries import open_movie, source_errors, tick_of
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.originals.rotation_and_interlace import is_cut_short

__all__ = ["SAMPLE_RATE", "as_int32", "channels_of", "read_sound", "resampled", "samples_of"]

SAMPLE_RATE = 48000
BLOCK = 48000
Block = NDArray[np.int32]


def channels_of(facts: Facts) -> int:
    """Channels of all the original's sound streams together, in order."""
    return sum(track.channels for track in facts.sound)


def samples_of(frames: int, rate: Fraction) -> int:
    """Samples that `frames` last."""
    return round(frames * SAMPLE_RATE / rate)


def read_sound(facts: Facts, first: int, count: int) -> Iterator[Block]:
    """Blocks of int32 (channels, samples), `samples_of(count)` in all, from frame `first` of the original.

    Several streams give their channels in order. A rate other than 48 kHz is resampled. SourceError where the
    file does not open; sound that does not decode is silence.
    """
    rate = facts.rate.fraction
    begin = samples_of(first, rate)
    total = samples_of(first + count, rate) - begin
    if not facts.parts:
        yield from _read(facts, begin, total)
        return
    before = 0
    for part in facts.parts:
        start, end = samples_of(before, rate), samples_of(before + part.frames, rate)
        low, high = max(begin, start), min(begin + total, end)
        if low < high:
            yield from _read(part, low - start, high - low)
        before += part.frames


def _read(facts: Facts, begin: int, total: int) -> Iterator[Block]:
    readers = [_track(facts, k, begin) for k in range(len(facts.sound))]
    done = 0
    while done < total:
        size = min(BLOCK, total - done)
        yield np.concatenate([_take(reader, size) for reader in readers], axis=0)
        done += size


class _Reader:
    def __init__(self, pieces: Iterator[Block], channels: int) -> None:
        self.pieces = pieces
        self.rest: Block = np.zeros((channels, 0), np.int32)


def _take(reader: _Reader, size: int) -> Block:
    while reader.rest.shape[1] < size:
        piece = next(reader.pieces, None)
        if piece is None:
            piece = np.zeros((reader.rest.shape[0], size - reader.rest.shape[1]), np.int32)
        reader.rest = np.concatenate([reader.rest, piece], axis=1)
    taken, reader.rest = reader.rest[:, :size], reader.rest[:, size:]
    return taken


def _track(facts: Facts, index: int, begin: int) -> _Reader:
    return _Reader(_pieces(facts, index, begin), facts.sound[index].channels)


def _pieces(facts: Facts, index: int, begin: int) -> Iterator[Block]:
    """Sound of one stream at 48 kHz from sample `begin` of the picture's time, gaps filled with silence."""
    with source_errors(facts.path, "does not open for sound"):
        container = open_movie(facts.path)
    track = facts.sound[index]
    with container:
        stream = next(s for s in container.streams.audio if s.index == track.index)
        stream.codec_context.thread_count = 1
        for other in container.streams:
            if other.index != stream.index:
                other.discard = Discard.all  # of an index's packets, only the sound's are read
        rate = stream.codec_context.sample_rate
        pieces = _continuous(container, stream, round(Fraction(begin * rate, SAMPLE_RATE)), track.channels)
        yield from pieces if rate == SAMPLE_RATE else resampled(pieces, rate, SAMPLE_RATE, track.channels)


def _continuous(
    container: InputContainer, stream: av.AudioStream, begin: int, channels: int
) -> Iterator[Block]:
    """The stream's own samples from `begin`, in order and without a gap."""
    rate = stream.codec_context.sample_rate
    video = container.streams.video[0]
    start = Fraction(video.start_time or 0) * tick_of(video)
    lost = container.format.name == "mxf" and is_cut_short(Path(container.name))
    if begin > rate and not lost:  # without an index, a place in the file is guessed
        at = int((start + Fraction(begin, rate) - Fraction(1, 2)) / tick_of(stream))
        with suppress(av.error.FFmpegError):  # it is read from where it stands
            container.seek(max(at, 0), stream=stream, backward=True)
    at = begin
    for frame in _decoded(container, stream):
        if frame.pts is None:
            continue
        place = round((Fraction(frame.pts) * Fraction(frame.time_base or tick_of(stream)) - start) * rate)
        piece = as_int32(frame)
        if len(piece) != channels:  # not what the header says: silence, as what does not decode
            continue
        if place - at > 2:  # a rounding of time stamps is no gap
            yield np.zeros((piece.shape[0], place - at), np.int32)
            at = place
        skip = max(0, at - place) if at - place > 2 else 0
        if skip < piece.shape[1]:
            yield piece[:, skip:]
            at += piece.shape[1] - skip


def as_int32(frame: av.AudioFrame) -> Block:
    """A decoded frame as int32 (channels, n). By ourselves: a resampler crashes on more channels than it has a name for."""
    values = frame.to_ndarray()
    if not frame.format.is_planar:
        values = values.reshape(-1, frame.layout.nb_channels).T
    if values.dtype.kind == "f":
        scaled = np.rint(np.nan_to_num(values.astype(np.float64)) * 2**31)
        return np.ascontiguousarray(np.clip(scaled, -(2**31), 2**31 - 1), np.int32)
    if values.dtype == np.uint8:  # the one that is centred on 128
        return np.ascontiguousarray((values.astype(np.int32) - 128) << 24)
    bits = values.dtype.itemsize * 8
    return np.ascontiguousarray(values.astype(np.int64) << 32 >> bits, np.int32)


def resampled(pieces: Iterator[Block], rate: int, wanted: int, channels: int) -> Iterator[Block]:
    """Samples of one rate at another, each channel by itself. Only the ratio of the two rates counts."""
    each = [av.AudioResampler(format="s32p", layout="mono", rate=wanted) for _ in range(channels)]
    for piece in pieces:
        yield from _all_ready([_through(r, row, rate) for r, row in zip(each, piece, strict=True)])
    yield from _all_ready([r.resample(None) for r in each])


def _through(resampler: av.AudioResampler, samples: NDArray[np.int32], rate: int) -> list[av.AudioFrame]:
    frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples[None]), format="s32p", layout="mono")
    frame.sample_rate = rate
    return list(resampler.resample(frame))


def _all_ready(parts: list[list[av.AudioFrame]]) -> Iterator[Block]:
    rows = [
        np.concatenate([p.to_ndarray()[0] for p in row]) if row else np.zeros(0, np.int32) for row in parts
    ]
    if rows and rows[0].size:
        yield np.stack(rows)


def _decoded(container: InputContainer, stream: av.AudioStream) -> Iterator[av.AudioFrame]:
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except av.error.FFmpegError:
            return  # the file cannot be read on
        if packet is None:
            return
        try:
            yield from packet.decode()
        except av.error.FFmpegError:
            continue
