"""The sound of a clip as a record has it: which it is and why, from which files, and how it was placed."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Literal

import numpy as np
from pydantic import Field

from rushlight.batch.records.shape import Count, Number, Shape, Whole
from rushlight.pipelines.measure.loudness import MOMENTARY, SHORT_TERM, STEP, Loudness
from rushlight.pipelines.measure.sound_lag import Heard
from rushlight.pipelines.originals.sound import SAMPLE_RATE

__all__ = [
    *("ClipSound", "HeardSound", "HeardWindow", "SoundFile", "SoundLoudness"),
    *("heard_record", "heard_warnings", "loudness_record"),
]

MOST = 240  # points of a measurement over time, of a clip of any length
PEAK = -1.0  # dBTP: what EBU R 128 (2023) permits at most
SILENT = -100.0  # LUFS; what is quieter is recorded as silence


class SoundFile(Shape):
    """A sound file that a clip's sound is from."""

    path: str = Field(description="Path of the sound file: absolute, as the runner saw it.")
    bytes: Whole = Field(description="Size of the file, in bytes.")
    mtime_ns: Whole = Field(description="Time of last change, in nanoseconds since 1970.")
    hash: str = Field(default="", description="Hash of the file's ends, `ALGORITHM:HEX`.")


class HeardWindow(Shape):
    """A window in which a clip's production sound was heard against the camera's."""

    at: Number = Field(description="Begin of the window, in seconds from the clip's first frame.")
    lag_ms: Number | None = Field(
        description="Milliseconds by which the camera's sound is later; null where it cannot be told."
    )


class HeardSound(Shape):
    """Production sound heard against the camera's own. Nothing is moved by it."""

    offset_ms: Number | None = Field(
        description="Milliseconds by which the camera's sound is later, the middle of all windows; null: cannot tell."
    )
    drift_ms: Number | None = Field(
        description="Milliseconds by which that grows from the first window that tells to the last; null: cannot tell."
    )
    windows: list[HeardWindow] = Field(default=[], description="Windows: at the start, middle and end.")
    peaks: list[list[Number]] = Field(
        default=[],
        description="Peaks of production sound and camera's over the first window, as shares of the loudest: a picture for people.",
    )


class SoundLoudness(Shape):
    """Loudness of a movie's sound as it was laid under its pictures, before it was coded: ITU-R BS.1770-5. Nothing is changed by it."""

    channels: Count = Field(
        description="Channels that were measured: both of two; of more the first two, where recorders put their mix."
    )
    integrated: Number | None = Field(description="Integrated loudness, in LUFS; null of silence.")
    true_peak: Number | None = Field(description="True peak, in dBTP; null of silence.")
    step: Number = Field(description="Seconds between the figures over time, a slate card's among them.")
    momentary: list[Number | None] = Field(
        description="Highest momentary loudness (0.4 s) of each step, in LUFS; null of silence and where there is none yet."
    )
    short_term: list[Number | None] = Field(
        description="Highest short-term loudness (3 s) of each step, likewise."
    )
    over: list[Count] = Field(description="Steps with samples above -1 dBFS, counted from 0.")


class ClipSound(Shape):
    """The sound of a clip, of a night that was given sound folders."""

    kind: Literal["production", "camera", "none"] = Field(
        description="production: a take of the sound recorder; camera: the original's own; none: no sound."
    )
    reason: str = Field(default="", description="Why it is that one.")
    files: list[list[SoundFile]] = Field(
        default=[], description="Files of the take: parts one after another, each of files side by side."
    )
    scene: str = Field(default="", description="Scene, as the recorder has it.")
    take: str = Field(default="", description="Take, as the recorder has it.")
    roll: str = Field(default="", description="Sound roll.")
    tracks: list[str] = Field(default=[], description="Names of the take's tracks in order.")
    start: str = Field(
        default="",
        description="Sample of the take under the clip's first delivered sample, a fraction; negative where the take begins later.",
    )
    step: str = Field(
        default="", description="Samples of the take for each delivered sample, a fraction; 1: copied."
    )
    silence: str = Field(
        default="", description="Runs of the clip that the take does not cover, by timecode."
    )

    heard: HeardSound | None = Field(
        default=None,
        description="Production sound heard against the camera's; null where there is no such pair.",
    )

    @property
    def file_names(self) -> tuple[str, ...]:
        """The names of its files, without their folders."""
        return tuple(file.path.replace("\\", "/").rpartition("/")[2] for part in self.files for file in part)


def heard_record(heard: Heard) -> HeardSound:
    """Record of what was heard, in milliseconds."""
    return HeardSound(
        offset_ms=_ms(heard.offset),
        drift_ms=_ms(heard.drift),
        peaks=[list(each) for each in heard.peaks],
        windows=[HeardWindow(at=round(w.at, 3), lag_ms=_ms(w.lag)) for w in heard.windows],
    )


def loudness_record(found: Loudness, channels: int) -> SoundLoudness:
    """Record of a measured loudness: of longer sound each run's highest, so that nothing loud is lost."""
    run = -(-len(found.peaks) // MOST) or 1

    def highest(values: Sequence[float], first: int = 0) -> list[float | None]:
        padded = np.full(-(-len(found.peaks) // run) * run, -np.inf)
        padded[first : first + len(values)] = values
        return [_decibels(value) for value in padded.reshape(-1, run).max(1)]

    peaks = highest(found.peaks)
    return SoundLoudness(
        channels=channels,
        integrated=_decibels(found.integrated),
        true_peak=_decibels(found.true_peak),
        step=round(run * STEP, 1),
        momentary=highest(found.momentary, MOMENTARY - 1),
        short_term=highest(found.short_term, SHORT_TERM - 1),
        over=[k for k, peak in enumerate(peaks) if peak is not None and peak > PEAK],
    )


def _decibels(value: float) -> float | None:
    return None if value < SILENT else round(float(value), 1)


def heard_warnings(heard: Heard, name: str, rate: Fraction) -> list[str]:
    """Warnings where production sound and the camera's own are more than half a frame apart, or drift by as much."""
    found, frame = [], float(1 / rate)
    if heard.offset is not None and abs(heard.offset) > frame / 2:
        moved = round(heard.offset * SAMPLE_RATE)
        found.append(
            f"the camera's sound is heard {abs(heard.offset) * 1000:.1f} ms ({abs(heard.offset) / frame:.1f} frames) "
            f"{'after' if heard.offset > 0 else 'before'} {name}: nothing was moved; sound_offset = {moved} samples would"
        )
    if heard.drift is not None and abs(heard.drift) > frame / 2:
        found.append(
            f"{name} and the camera's sound drift {abs(heard.drift) * 1000:.1f} ms ({abs(heard.drift) / frame:.1f} frames) "
            "apart over the clip: are their rates the same?"
        )
    return found


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds * 1000, 2)
