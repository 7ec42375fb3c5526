"""The sound of a clip as a record has it: which it is and why, from which files, and how it was placed."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rushlight.batch.records.shape import Shape, Whole

__all__ = ["ClipSound", "SoundFile"]


class SoundFile(Shape):
    """A sound file that a clip's sound is from."""

    path: str = Field(description="Path of the sound file: absolute, as the runner saw it.")
    bytes: Whole = Field(description="Size of the file, in bytes.")
    mtime_ns: Whole = Field(description="Time of last change, in nanoseconds since 1970.")
    hash: str = Field(default="", description="Hash of the file's ends, `ALGORITHM:HEX`.")


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
