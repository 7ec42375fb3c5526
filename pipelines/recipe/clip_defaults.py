"""Defaults: statements on many clips at once, as keys of a document: defaults by camera, reel and file, and
the change record's settings."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

__all__ = ["STATED", "Changes", "Default", "Model"]


class Model(BaseModel):
    """A table of a document: frozen, and no key that is not known."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True, defer_build=True)


class Default(Model):
    """Default: what is true of every clip of a camera, a reel or a file pattern; a row overrules it."""

    camera: str = ""
    reel: str = ""  # `*` and `?` stand for characters
    file: str = ""  # the same; of the whole path where it has a `/`
    encoding: str = ""
    levels: Literal["", "narrow", "full"] = ""
    exposure_index: int | None = Field(default=None, ge=1, le=1_000_000)
    lut: str = ""
    lut_input: str = ""  # what that LUT takes and gives, or the recipe's: a space, levels, or both
    lut_output: str = ""
    fdl: str = ""
    rotation: Literal[0, 180] | None = None  # degrees, as the picture is to be turned; beats the header's
    desqueeze: float | None = Field(
        default=None, ge=0.25, le=4
    )  # width over stored width; beats the header's
    clock_offset: float | None = Field(
        default=None, ge=-86400, le=86400
    )  # seconds that its timecode is ahead, for grade changes and production sound alike
    timecode_from: str = ""  # "track 2": the audio track of the original that has timecode (LTC)
    sound_offset: str = ""  # as the recipe's
    sound_rate: str = ""  # frames a second of the sound's timecode, in place of what its files say
    sound_roll: str = ""  # the sound roll its takes are on; `*` and `?` stand for characters

    @model_validator(mode="after")
    def _whole(self) -> Default:
        if sum(map(bool, (self.camera, self.reel, self.file))) != 1:
            raise ValueError("takes one of camera, reel and file to say which clips it is for")
        if not self.says():
            raise ValueError(f"states nothing; takes {', '.join(STATED[:-1])} or {STATED[-1]}")
        return self

    def says(self) -> dict[str, str]:
        """Statements of a default, by key, as a row's cell would have them."""
        found = {key: getattr(self, key) for key in STATED}
        return {
            key: f"{value:.10g}" if isinstance(value, float) else str(value)
            for key, value in found.items()
            if value not in (None, "")
        }

    @property
    def rank(self) -> int:
        """0 for a file pattern, 1 for a reel, 2 for a camera: the narrower is trusted more."""
        return 0 if self.file else 1 if self.reel else 2

    @property
    def selector(self) -> str:
        key = ("file", "reel", "camera")[self.rank]
        return f'{key} = "{getattr(self, key)}"'


STATED = (
    "encoding",
    "levels",
    "exposure_index",
    "lut",
    "lut_input",
    "lut_output",
    "fdl",
    "rotation",
    "desqueeze",
    "clock_offset",
    "timecode_from",
    "sound_offset",
    "sound_rate",
    "sound_roll",
)


class Changes(Model):
    """Settings of the record of grade changes made on set, and how clips are matched with it."""

    held_at: Literal["cut", "first frame"] = "cut"
    utc_offset: str = (
        ""  # of the cameras' timecode, +02:00: for changes that state a clock, and for dates in headers
    )
    ahead: dict[str, float] = Field(default_factory=dict)  # seconds, by camera letter: its timecode is ahead
    jammed: str = ""  # hh:mm, when timecode was last set to the clock: where the record does not say
