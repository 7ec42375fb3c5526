"""The samples of a take, from any sample of it on: PCM read from the file as it stands, other codecs through FFmpeg.

Samples are int32 with the loudest at the top, whatever the file's width: what is copied into 24 bits is what was recorded.
Before the first and after the last sample there is silence. Memory is a block, however long the take.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.media_libraries import open_movie, source_errors, tick_of
from rushlight.pipelines.originals.sound import as_int32, resampled
from rushlight.pipelines.sound.recording import Recording
from rushlight.pipelines.sound.take import Take

__all__ = ["played", "read_take"]

BLOCK = 48000
Block = NDArray[np.int32]


def played(take: Take, start: Fraction, step: Fraction, count: int) -> Iterator[Block]:
    """Blocks of int32 (channels, samples), `count` in all, at 48 kHz: sample k of them is at `start` + k x `step` of the take.

    A step of 1 copies, from the nearest sample; another resamples (libswresample), begun ahead of the start so that its
    filter has settled. SourceError where a file does not open.
    """
    if step == 1:
        yield from read_take(take, round(start), count)
        return
    begin = _aligned(start, step)
    lead = round((start - begin) / step)
    needed = _ceil((lead + count) * step) + 2000
    source = read_take(take, begin, needed)
    dropped, done = 0, 0
    near = max(1, 48000 // step.numerator)  # rates of the usual size; their ratio is what counts
    for block in resampled(source, step.numerator * near, step.denominator * near, take.channels):
        skip = min(lead - dropped, block.shape[1])
        dropped += skip
        piece = block[:, skip : skip + count - done]
        if piece.shape[1]:
            yield piece
            done += piece.shape[1]
    if done < count:
        yield np.zeros((take.channels, count - done), np.int32)


def _aligned(start: Fraction, step: Fraction) -> int:
    """A sample some way ahead of `start` from which on whole steps lead to it, as nearly as can be."""
    ahead = round(start) - step.numerator * max(1, -(-2000 // step.numerator))
    return ahead


def _ceil(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)


def read_take(take: Take, start: int, count: int) -> Iterator[Block]:
    """`count` samples of a take's own from its sample `start` on, which may lie before its first."""
    before, place, end = 0, start, start + count
    for part, gap in zip(take.parts, take.gaps, strict=True):
        before += gap
        length = Take.part_samples(part)
        low, high = max(place, before), min(end, before + length)
        if low < high:
            yield from _silence(take.channels, low - place)
            yield from _beside(part, low - before, high - low)
            place = high
        before += length
    yield from _silence(take.channels, end - place)


def _silence(channels: int, count: int) -> Iterator[Block]:
    for done in range(0, max(0, count), BLOCK):
        yield np.zeros((channels, min(BLOCK, count - done)), np.int32)


def _beside(part: tuple[Recording, ...], start: int, count: int) -> Iterator[Block]:
    """The files of a set side by side; one that is shorter ends in silence."""
    readers = [_blocks(recording, start, count) for recording in part]
    for pieces in zip(*readers, strict=True):
        yield np.concatenate(pieces, axis=0) if len(pieces) > 1 else pieces[0]


def _blocks(recording: Recording, start: int, count: int) -> Iterator[Block]:
    """`count` samples of one file in blocks of BLOCK, silence after its end."""
    there = max(0, min(count, recording.samples - start))
    pieces = _pcm(recording, start, there) if recording.block else _decoded(recording, start, there)
    rest: Block = np.zeros((recording.channels, 0), np.int32)
    for done in range(0, count, BLOCK):
        size = min(BLOCK, count - done)
        while rest.shape[1] < size:
            piece = next(pieces, None)
            if piece is None:
                piece = np.zeros((recording.channels, size - rest.shape[1]), np.int32)
            rest = np.concatenate([rest, piece], axis=1)
        yield rest[:, :size]
        rest = rest[:, size:]


def _pcm(recording: Recording, start: int, count: int) -> Iterator[Block]:
    with source_errors(recording.path, "cannot be read"), recording.path.open("rb", buffering=0) as stream:
        stream.seek(recording.data_start + start * recording.block)
        for done in range(0, count, BLOCK):
            wanted = min(BLOCK, count - done) * recording.block
            raw = b""
            while len(raw) < wanted and (more := stream.read(wanted - len(raw))):
                raw += more
            if len(raw) < wanted:
                raise SourceError("ends before the samples its header had", file=str(recording.path))
            yield _values(raw, recording.codec, recording.channels)


def _values(raw: bytes, codec: str, channels: int) -> Block:
    """Interleaved PCM as int32 (channels, n)."""
    if codec == "pcm_s24le":
        octets = np.zeros((len(raw) // 3, 4), np.uint8)
        octets[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        values = octets.view("<i4")[:, 0]
    elif codec == "pcm_u8":
        values = (np.frombuffer(raw, np.uint8).astype(np.int32) - 128) << 24
    elif codec == "pcm_s16le":
        values = np.frombuffer(raw, "<i2").astype(np.int32) << 16
    elif codec == "pcm_s32le":
        values = np.frombuffer(raw, "<i4")
    else:
        floats = np.frombuffer(raw, "<f4" if codec == "pcm_f32le" else "<f8").astype(np.float64)
        scaled = np.rint(np.nan_to_num(floats) * 2**31)
        values = np.clip(scaled, -(2**31), 2**31 - 1).astype(np.int32)
    return np.ascontiguousarray(values.reshape(-1, channels).T, np.int32)


def _decoded(recording: Recording, start: int, count: int) -> Iterator[Block]:
    """Samples of a FLAC, MOV or MP4 file, its streams side by side."""
    with source_errors(recording.path, "does not open for sound"), open_movie(recording.path) as container:
        numbers = [
            s.index for s in container.streams.audio if s.codec_context and s.codec_context.sample_rate
        ]
    readers = [_stream(recording, number, start, count) for number in numbers]
    for pieces in zip(*readers, strict=True):
        yield np.concatenate(pieces, axis=0)


def _stream(recording: Recording, number: int, start: int, count: int) -> Iterator[Block]:
    """One stream from its sample `start` on in blocks of BLOCK, placed by its time stamps."""
    import av

    with source_errors(recording.path, "does not decode"), open_movie(recording.path) as container:
        stream = next(s for s in container.streams.audio if s.index == number)
        rate, channels = recording.sample_rate, stream.codec_context.layout.nb_channels
        zero = Fraction(stream.start_time or 0) * tick_of(stream)
        if start > rate:
            at = int((zero + Fraction(start, rate) - Fraction(1, 2)) / tick_of(stream))
            with suppress(av.error.FFmpegError):  # it is read from where it stands
                container.seek(max(at, 0), stream=stream, backward=True)
        rest: Block = np.zeros((channels, 0), np.int32)
        at, done = start, 0
        for frame in container.decode(stream):
            if frame.pts is None:
                continue
            place = round((Fraction(frame.pts) * Fraction(frame.time_base or tick_of(stream)) - zero) * rate)
            piece = as_int32(frame)
            if place > at:
                piece = np.concatenate([np.zeros((channels, place - at), np.int32), piece], axis=1)
                place = at
            piece = piece[:, at - place :]
            at += piece.shape[1]
            rest = np.concatenate([rest, piece], axis=1)
            while rest.shape[1] >= BLOCK and done < count:
                yield rest[:, : min(BLOCK, count - done)]
                done += min(BLOCK, count - done)
                rest = rest[:, BLOCK:]
            if done >= count:
                return
    while done < count:
        size = min(BLOCK, count - done)
        silent = np.zeros((channels, max(0, size - rest.shape[1])), np.int32)
        yield np.concatenate([rest[:, :size], silent], axis=1)
        rest, done = rest[:, size:], done + size
