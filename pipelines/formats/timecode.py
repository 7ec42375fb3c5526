"""Frame rates and SMPTE timecode.

Source: SMPTE ST 12-1:2014 (time address, drop-frame compensation in clause 5.2.2; text form `;` before the
frames for drop-frame is common practice, no source). A `Timecode` is a frame count since midnight; it wraps at 24 hours as the label does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache

from rushlight.pipelines.errors import TimecodeError

__all__ = ["FrameRate", "Timecode"]

_NTSC = Fraction(1000, 1001)
_LABEL = re.compile(r"(\d{1,2}):(\d{2}):(\d{2})([:;.,])(\d{2,3})")

_RATE = re.compile(r"\d{1,7}(\.\d{0,25})?|\d{1,9}\s*/\s*\d{1,9}")


@lru_cache(maxsize=1024)
def _stated_rate(text: str) -> Fraction:
    try:
        if not _RATE.fullmatch(text):  # 1e999999999 is a fraction as well, and fills the memory
            rate = Fraction(0)
        elif "/" in text:
            rate = Fraction(text)
        else:
            decimal = Fraction(text)
            whole = round(decimal)
            exact = whole * _NTSC
            near = abs(decimal - exact) < Fraction(1, 100) and decimal != whole
            rate = exact if near else decimal
    except (ValueError, ZeroDivisionError, OverflowError):
        rate = Fraction(0)
    if not 1 <= rate <= 1000:
        raise TimecodeError(f"{text[:40]!r} is not a frame rate; write it as 24, 23.976 or 24000/1001")
    return rate


@dataclass(frozen=True, kw_only=True, order=True)
class FrameRate:
    """Frames a second as an exact fraction: 24000/1001, never 23.976."""

    fraction: Fraction

    @classmethod
    def parse(cls, value: str | int | float | Fraction) -> FrameRate:
        """From `24`, `23.976`, `29.97`, `24000/1001` or a Fraction.

        A decimal within 0.01 of an N x 1000/1001 rate means that rate (23.98 and 23.976 alike), as the trade
        writes it. TimecodeError for anything that is not a rate from 1 to 1000 frames a second.
        """
        return cls(fraction=_stated_rate(str(value).strip()))

    @cached_property
    def nominal(self) -> int:
        """Whole frames a timecode second counts: 24 for 23.976."""
        return round(self.fraction)

    @property
    def can_drop(self) -> bool:
        """Drop-frame exists for 29.97 and its multiples only."""
        return self.nominal % 30 == 0 and self.fraction == self.nominal * _NTSC

    @property
    def dropped(self) -> int:
        """Labels dropped at each minute not divisible by ten: 2 at 29.97, 4 at 59.94."""
        return self.nominal // 15

    def day(self, *, drop: bool) -> int:
        """Frames in 24 hours of labels."""
        return 86400 * self.nominal - (self.dropped * 1296 if drop else 0)

    def seconds(self, frames: int) -> Fraction:
        """Real time that `frames` take."""
        return frames / self.fraction

    def __str__(self) -> str:
        if self.fraction.denominator == 1:
            return str(self.fraction.numerator)
        text = f"{float(self.fraction):.3f}".rstrip("0")
        return (
            text
            if FrameRate.parse(text) == self
            else f"{self.fraction.numerator}/{self.fraction.denominator}"
        )


@dataclass(frozen=True, kw_only=True)
class Timecode:
    """A time address: `frames` since midnight at `rate`, labelled with or without drop-frame.

    `frames` is taken modulo 24 hours, negatives too: one frame before midnight is 23:59:59:23 at 24.
    """

    frames: int
    rate: FrameRate
    drop: bool = False

    def __post_init__(self) -> None:
        if self.drop and not self.rate.can_drop:
            raise TimecodeError(f"drop-frame timecode does not exist at {self.rate} frames a second")
        object.__setattr__(self, "frames", self.frames % self.rate.day(drop=self.drop))

    @classmethod
    def parse(cls, text: str, rate: FrameRate) -> Timecode:
        """From `hh:mm:ss:ff`, or `hh:mm:ss;ff` (also `.` or `,`) for drop-frame.

        TimecodeError for anything else: hours past 23, a frame number the rate does not have, a label that
        drop-frame leaves out (00:01:00;00), `;` at a rate that has no drop-frame.
        """
        match = _LABEL.fullmatch(text.strip())
        if not match:
            raise TimecodeError(
                f"{text[:40]!r} is not a timecode; write hh:mm:ss:ff, or hh:mm:ss;ff for drop-frame"
            )
        hours, minutes, seconds, number = (int(match[k]) for k in (1, 2, 3, 5))
        drop = match[4] != ":"
        if hours > 23 or minutes > 59 or seconds > 59:
            raise TimecodeError(f"{text!r} is past 23:59:59")
        if number >= rate.nominal:
            raise TimecodeError(
                f"{text!r} has frame {number}, but {rate} frames a second ends at {rate.nominal - 1:02}"
            )
        if drop and not rate.can_drop:
            raise TimecodeError(f"{text!r} is drop-frame, which does not exist at {rate} frames a second")
        if drop and seconds == 0 and minutes % 10 and number < rate.dropped:
            raise TimecodeError(f"{text!r} does not exist: drop-frame leaves this label out")
        count = ((hours * 60 + minutes) * 60 + seconds) * rate.nominal + number
        if drop:
            whole_minutes = hours * 60 + minutes
            count -= rate.dropped * (whole_minutes - whole_minutes // 10)
        return cls(frames=count, rate=rate, drop=drop)

    def __add__(self, frames: int) -> Timecode:
        return Timecode(frames=self.frames + frames, rate=self.rate, drop=self.drop)

    def until(self, other: Timecode) -> int:
        """Frames from here forward to `other`, across midnight if need be: 0 to one day less one."""
        if (other.rate, other.drop) != (self.rate, self.drop):
            raise TimecodeError(f"{self} at {self.rate} and {other} at {other.rate} do not count alike")
        return (other.frames - self.frames) % self.rate.day(drop=self.drop)

    @property
    def dotted(self) -> str:
        """The label as a file's name has it: with dots, since no system takes colons."""
        return str(self).replace(":", ".").replace(";", ".")

    def __str__(self) -> str:
        count = self.frames
        if self.drop:
            tens, rest = divmod(count, 600 * self.rate.nominal - 9 * self.rate.dropped)
            minute = 60 * self.rate.nominal - self.rate.dropped
            count += self.rate.dropped * (9 * tens + max(0, (rest - self.rate.dropped) // minute))
        seconds, number = divmod(count, self.rate.nominal)
        digits = 3 if self.rate.nominal > 100 else 2
        return (
            f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
            f"{';' if self.drop else ':'}{number:0{digits}}"
        )
