"""A take set against a clip's timecode, to the sample: pure arithmetic in fractions, never floats, never rounded to a frame.

The frame number of a take's first sample, counted from midnight, is time reference / TIMESTAMP_SAMPLE_RATE x timecode rate
(iXML specification, SPEED). Drop-frame timecode is a count of frames first and samples after. A frame of the picture lasts
as many of the take's samples as its converters made in it (digitizer rate / frames a second as shot), and 48000 / frames a
second as delivered in the delivered file. Where the two are equal samples are copied, whatever rate the header states: that
is the whole of pull-down. Else they are resampled by the ratio of the two, and it is said.

Two clocks that run at different rates (24 and 23.976, drop-frame and not) agree at no time but midnight: such a take has a
`problem` that says how far it would be off, and is for nobody to choose silently.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.sound import SAMPLE_RATE, samples_of
from rushlight.pipelines.sound.recording import Clock, Recording
from rushlight.pipelines.sound.take import Take

__all__ = ["Fit", "Shown", "fit", "frames_of_day"]


@dataclass(frozen=True, kw_only=True)
class Shown:
    """The run of a clip that is delivered. `timecode` is its first frame's, as labelled; `first` and `frames` count in the
    original. `ahead`: seconds that the camera's clock is ahead of the recorder's."""

    timecode: Timecode
    first: int
    frames: int
    shot: Fraction  # frames a second as exposed
    delivered: Fraction  # and as delivered
    ahead: Fraction = Fraction(0)

    @property
    def samples(self) -> int:
        """Samples that it lasts in a delivered file."""
        return samples_of(self.first + self.frames, self.delivered) - samples_of(self.first, self.delivered)

    def label(self, sample: int) -> str:
        """The timecode of the frame in which a delivered sample of it lies."""
        return str(self.timecode + int(sample * self.delivered / SAMPLE_RATE))


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Placement of a take under a clip: delivered sample k of the clip is the take's sample `start` + k x
    `step`.

    `covered` are the delivered samples from and up to which there is sound (equal where there is none). `problem` says why
    the place is not to be trusted; empty where it is. `said` is what a person should know of it.
    """

    start: Fraction
    step: Fraction
    covered: tuple[int, int]
    total: int  # delivered samples of the clip
    days: int = 0  # midnights between the take's first sample and the clip's first frame, -1 where the clip began before
    problem: str = ""
    said: tuple[str, ...] = ()

    @property
    def overlap(self) -> int:
        return self.covered[1] - self.covered[0]

    @property
    def whole(self) -> bool:
        return self.overlap == self.total


def frames_of_day(reference: int, clock: Clock, rate: Fraction) -> Fraction:
    """Frames from midnight to a sample that a recording numbers so."""
    return reference / clock.stamp_rate * rate


def fit(
    take: Take, shown: Shown, *, rate: Fraction | None = None, offset: Fraction = Fraction(0)
) -> Fit | None:
    """Place a take under a clip; None where it has no time reference. `rate`: the rate of its timecode,
    stated in place of what its file says. `offset`: delivered samples by which its sound is moved later."""
    first = take.first
    if first.time_reference is None:
        return None
    clock, said = first.clock, list[str]()
    stated = rate or clock.timecode_rate
    if stated is None:
        said.append(f"states no timecode rate; the picture's {FrameRate(fraction=shown.shot)} is taken")
    rate_is_stated, rate = rate is not None, stated or shown.shot
    own, picture = FrameRate(fraction=rate), FrameRate(fraction=shown.shot)
    digitizer = _digitizer(first)
    a_frame = digitizer / shown.shot
    step = a_frame * shown.delivered / SAMPLE_RATE
    begins = frames_of_day(first.time_reference, clock, rate) * picture.nominal / own.nominal
    problem = _problem(first, own, shown, begins, digitizer, stated=rate_is_stated)
    ahead = shown.ahead * shown.shot
    apart, days = _apart(shown, begins, ahead, take.samples / a_frame)
    start = apart * a_frame - offset * step
    said += _how(first, digitizer, step, own, shown)
    if ahead:
        said.append(
            f"the camera's clock is {float(shown.ahead):g} s ahead: its sound is taken that much earlier"
        )
    if offset:
        said.append(
            f"moved {float(abs(offset)):.10g} samples {'later' if offset > 0 else 'earlier'}, as stated"
        )
    return Fit(
        start=start,
        step=step,
        covered=_covered(start, step, take.samples, shown.samples),
        total=shown.samples,
        days=days,
        problem=problem,
        said=tuple(said),
    )


def _digitizer(first: Recording) -> Fraction:
    """Samples a second that were really made. Of a file that was converted since, its header's rate holds."""
    stated = first.clock.digitizer_rate
    return stated if abs(stated / first.hertz - 1) < Fraction(1, 100) else first.hertz


def _apart(shown: Shown, begins: Fraction, ahead: Fraction, lasts: Fraction) -> tuple[Fraction, int]:
    """Frames from a take's first sample to the clip's first frame, across midnight if that is where they meet; and the
    midnights between."""
    timecode = shown.timecode
    day = timecode.rate.day(drop=timecode.drop)
    wrapped = (timecode.frames - ahead - begins) % day

    def overlap(apart: Fraction) -> Fraction:
        return min(apart + shown.frames, lasts) - max(apart, Fraction(0))

    apart = max((wrapped, wrapped - day), key=overlap)
    return apart, round((apart - (timecode.frames - ahead - begins % day)) / day)


def _covered(start: Fraction, step: Fraction, samples: int, total: int) -> tuple[int, int]:
    """The delivered samples from and up to which a take has sound."""
    start = Fraction(round(start)) if step == 1 else start
    low = min(max(0, _ceil(-start / step)), total)
    return low, max(low, min(total, _ceil((samples - start) / step)))


def _ceil(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)


def _problem(
    first: Recording, own: FrameRate, shown: Shown, begins: Fraction, digitizer: Fraction, *, stated: bool
) -> str:
    """Why two clocks do not agree, with the offset it would make; empty where they do. A `stated` rate says that its count of
    frames holds, whatever its labels leave out."""
    timecode, clock = shown.timecode, first.clock
    picture = FrameRate(fraction=shown.shot)
    assert first.time_reference is not None
    if _second(own) != _second(picture):
        alike = _second(own) == _second(FrameRate(fraction=shown.delivered))
        if alike and clock.stamp_rate / own.fraction * own.nominal == digitizer / _second(picture):
            return ""  # numbered for the delivered rate, and recorded for it as well
        seconds = abs(1 - _second(picture) / _second(own)) * begins / picture.nominal
        return (
            f"its timecode runs at {own} frames a second and the picture's at {picture}: read at the picture's rate "
            f"it would lie {float(seconds):.1f} s away ({round(seconds * picture.nominal)} frames); "
            "state `sound_rate` if you know which holds"
        )
    if (
        not stated
        and own.can_drop
        and picture.can_drop
        and clock.drop is not None
        and clock.drop != timecode.drop
    ):
        minutes = int(begins) // (60 * picture.nominal)
        frames = picture.dropped * (minutes - minutes // 10)
        words = ("drop-frame", "non-drop")
        return (
            f"its timecode is {words[not clock.drop]} and the picture's {words[not timecode.drop]}: at that hour the "
            f"same label is {frames} frames ({float(frames / picture.fraction):.1f} s) away; state `sound_rate` if its count of frames "
            f"holds, and a `sound_offset` of {frames if clock.drop else -frames} frames as well if its labels do"
        )
    return ""


def _second(rate: FrameRate) -> Fraction:
    """Seconds of timecode that go by in a second: 1 at 24, 25 and 30, 1000/1001 at 23.976 and 29.97."""
    return rate.fraction / rate.nominal


def _how(first: Recording, digitizer: Fraction, step: Fraction, own: FrameRate, shown: Shown) -> list[str]:
    """Note on what was done to its samples, unless they were simply copied; and a count that differs where it
    does no harm."""
    said = []
    shot, delivered = FrameRate(fraction=shown.shot), FrameRate(fraction=shown.delivered)
    if own.nominal != shot.nominal and _second(own) == _second(shot):
        said.append(
            f"its timecode counts {own.nominal} frames a second, the picture's {shot.nominal}: it makes no offset"
        )
    if step != 1:
        ratio = 1 / step
        why = (
            f"delivered at {delivered}, shot at {shot}"
            if shot != delivered
            else f"recorded at {_hertz(digitizer)} Hz"
        )
        said.append(f"resampled by {ratio.numerator}/{ratio.denominator} to 48000 Hz: {why}")
    elif first.sample_rate != SAMPLE_RATE:
        said.append(
            f"{first.sample_rate} Hz relabelled as 48000 Hz, not resampled: shot at {shot}, delivered at {delivered}"
        )
    elif digitizer != SAMPLE_RATE:
        said.append(
            f"recorded at {_hertz(digitizer)} samples a second: played at 48000 they are the pull-down, not resampled"
        )
    return said


def _hertz(value: Fraction) -> str:
    return f"{float(value):.8g}"
