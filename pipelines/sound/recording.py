"""One sound file as its header has it: a frozen record. Rates are exact fractions, never floats."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from rushlight.pipelines.sound.ixml import Track

__all__ = ["Clock", "Recording", "exact_hertz"]

_BASES = (32000, 44100, 48000, 88200, 96000, 176400, 192000)


def exact_hertz(stated: int) -> Fraction:
    """Samples a second that a whole number stands for: 47952 means 48000 x 1000/1001, which is no whole number.

    Taken as an integer 47952 is 1 ppm off, 3.6 ms an hour; 48048 = 48000 x 1001/1000 is exact as it stands.
    """
    for base in _BASES:
        slowed = Fraction(base * 1000, 1001)
        if stated in (int(slowed), round(slowed)):
            return slowed
    return Fraction(stated)


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Clock rates of a recording, of its time stamp and its samples (iXML's SPEED object)."""

    stamp_rate: Fraction  # samples a second of the time reference: TIMESTAMP_SAMPLE_RATE, else the file's
    digitizer_rate: Fraction  # samples a second that the converters really made
    timecode_rate: Fraction | None = None  # frames a second; None where nothing states it
    drop: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Recording:
    """A recording: what the header of one sound file states, and how many samples are there."""

    path: Path
    bytes: int
    mtime_ns: int
    form: str  # RIFF, RF64, BW64, FLAC, MOV
    codec: str  # by FFmpeg's name, such as pcm_s24le
    sample_rate: int  # Hz, as the header has it
    channels: int
    samples: int  # of each channel
    data_start: int = 0  # of RIFF, RF64 and BW64: where the samples begin in the file
    block: int = 0  # and bytes of one sample of all channels
    time_reference: int | None = None  # samples since midnight of the first sample
    clock: Clock
    date: str = ""  # yyyy-mm-dd of its beginning, as its bext has it
    scene: str = ""
    take: str = ""
    roll: str = ""  # sound roll
    project: str = ""
    note: str = ""
    circled: bool = False
    wild: bool = False
    no_good: bool = False
    false_start: bool = False
    family: str = ""  # FAMILY_UID: the same in all files of a take
    tracks: tuple[Track, ...] = ()  # one a channel, in the file's order
    notes: tuple[str, ...] = ()  # what is wrong with it, each a clause after its name

    @property
    def hertz(self) -> Fraction:
        """Samples a second that the header states, exactly."""
        return exact_hertz(self.sample_rate)

    @property
    def stamps_a_sample(self) -> Fraction:
        """Counts of the time reference for each of its samples: one, but in a file that was converted to another rate since."""
        ratio = self.clock.stamp_rate / self.hertz
        return ratio if abs(ratio - 1) > Fraction(1, 100) else Fraction(1)

    @property
    def end_reference(self) -> Fraction | None:
        """The time reference of the sample after its last: where a file that goes on begins."""
        if self.time_reference is None:
            return None
        return self.time_reference + self.samples * self.stamps_a_sample
