"""Sound laid under pictures: which tracks a container gets, and feeding them in step with the pictures.

MOV and MXF get PCM of 24 bits, MP4 gets AAC. Production sound is not a loudspeaker layout: a track of more than
two channels has its channels in order and none of them named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

import av
import numpy as np
from av.codec.context import Flags
from av.container import OutputContainer
from numpy.typing import NDArray

__all__ = ["SAMPLE_RATE", "Sound", "SoundTracks", "name_comment", "track_list", "track_names"]

SAMPLE_RATE = 48000
_AAC_BITS = {1: 96_000, 2: 192_000}


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """Sound to be laid under the pictures: blocks of int32 (channels, samples) at 48 kHz, and the total.

    `tracks` are the channels of each track in order, for originals with several (their sum is `channels`);
    empty for one track of all. `names` are those of the channels, where they have any.
    """

    channels: int
    samples: int
    blocks: Iterable[NDArray[np.int32]]
    tracks: tuple[int, ...] = ()
    names: tuple[str, ...] = ()


def track_names(sound: Sound, container: str) -> tuple[str, ...]:
    """A name for each track that the container gets, of its channels' names; empty where there is none."""
    names, found, first = sound.names or ("",) * sound.channels, [], 0
    for _, channels, _ in track_list(sound, container):
        found.append(" + ".join(name for name in dict.fromkeys(names[first : first + channels]) if name))
        first += channels
    return tuple(found)


def name_comment(track: int) -> str:
    """The metadata key of an MXF file under which a track (from 1) has its name: FFmpeg writes it as a tagged value of the
    material package, and nothing nearer to the track."""
    return f"comment_Sound track {track}"


def track_list(sound: Sound, container: str) -> tuple[tuple[str, int, int], ...]:
    """Codec, channels and sample rate of each track that the container gets, as a reader will report them.

    Mono tracks in MXF. In MP4 one track of up to two channels, or a mono track for each: players give AAC of
    more channels to loudspeakers that production sound was not made for.
    """
    each = (1,) * sound.channels
    if container == "mxf":
        return tuple(("pcm_s24le", n, SAMPLE_RATE) for n in each)
    if container == "mp4":
        return tuple(("aac", n, SAMPLE_RATE) for n in (each if sound.channels > 2 else (sound.channels,)))
    assert not sound.tracks or sum(sound.tracks) == sound.channels
    return tuple(("pcm_s24le", n, SAMPLE_RATE) for n in sound.tracks or (sound.channels,))


def _layout(channels: int) -> str:
    return {1: "mono", 2: "stereo"}.get(channels, f"{channels}C")  # "4C": four, unnamed


class SoundTracks:
    """The sound streams of an open container, fed as far as the pictures have come."""

    def __init__(self, output: OutputContainer, sound: Sound, container: str) -> None:
        self.output = output
        self.total = sound.samples
        self._blocks: Iterator[NDArray[np.int32]] = iter(sound.blocks)
        self._rest: NDArray[np.int32] = np.zeros((sound.channels, 0), np.int32)
        self._done = 0
        self._streams: list[tuple[av.AudioStream, int]] = []
        titles = track_names(sound, container)
        for (name, channels, rate), title in zip(track_list(sound, container), titles, strict=True):
            stream = output.add_stream(name, rate=rate, layout=_layout(channels))
            assert isinstance(stream, av.AudioStream)
            if title and container != "mxf":  # a MOV or MP4 track is called by its handler
                stream.metadata["handler_name"] = title
            context = stream.codec_context
            context.flags |= int(Flags.bitexact)
            context.thread_count = 1
            context.format = "fltp" if name == "aac" else "s32"
            if name == "aac":
                context.bit_rate = _AAC_BITS[channels]
            stream.time_base = Fraction(1, rate)
            self._streams.append((stream, channels))

    def until(self, sample: int) -> None:
        """Feed sound up to that sample of the whole; silence where there is no more."""
        sample = min(sample, self.total)
        while self._done + self._rest.shape[1] < sample:
            block = next(self._blocks, None)
            if block is None:
                short = sample - self._done - self._rest.shape[1]
                block = np.zeros((self._rest.shape[0], short), np.int32)
            self._rest = np.concatenate([self._rest, block], axis=1)
        wanted = sample - self._done
        piece, self._rest = self._rest[:, :wanted], self._rest[:, wanted:]
        if wanted:
            self._encode(piece)
        self._done = sample

    def _encode(self, piece: NDArray[np.int32]) -> None:
        first = 0
        for stream, channels in self._streams:
            part = piece[first : first + channels]
            first += channels
            if stream.codec_context.format.name == "fltp":
                data: NDArray[np.generic] = (part.astype(np.float64) / 2**31).astype(np.float32)
            else:
                data = part.T.reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(data), format=stream.codec_context.format.name, layout=_layout(channels)
            )
            frame.sample_rate = SAMPLE_RATE
            frame.pts, frame.time_base = self._done, Fraction(1, SAMPLE_RATE)
            self.output.mux(stream.encode(frame))

    def finish(self) -> None:
        """Feed the rest, and flush."""
        self.until(self.total)
        for stream, _ in self._streams:
            self.output.mux(stream.encode(None))
