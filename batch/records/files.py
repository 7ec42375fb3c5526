"""Delivered files as a record has them: movies and stills, each as it was read back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from annotated_types import Ge, Le
from pydantic import Field

from rushlight.batch.records.original import Levels
from rushlight.batch.records.shape import Box, Count, Name, Number, Shape, Side, State, Tiles, Whole
from rushlight.batch.records.sound import SoundLoudness

__all__ = [
    "ClipFraming",
    "DeliveredMovie",
    "DeliveredStill",
    "Light",
    "Output",
    "OutputFile",
    "OutputName",
    "Revision",
    "SoundLaid",
    "SoundTrack",
    "Tags",
    "framing_text",
    "revision_path",
]

Revision = Annotated[
    int,
    Ge(1),
    Le(10**6),
    Field(description="Revision of the clip in which it was made, counted from 1."),
]


class Tags(Shape):
    """Colour tags: code points of ITU-T H.273, and levels."""

    primaries: Count = Field(description="ColourPrimaries of H.273.")
    transfer: Count = Field(description="TransferCharacteristics of H.273.")
    matrix: Count = Field(description="MatrixCoefficients of H.273.")
    levels: Levels


class Light(Shape):
    """Light that an HDR movie states (CTA-861.3), in cd/m2."""

    max_cll: Count = Field(description="MaxCLL: the brightest pixel, in cd/m2.")
    max_fall: Count = Field(description="MaxFALL: the brightest frame's mean, in cd/m2.")


class SoundTrack(Shape):
    """One sound track of a movie."""

    codec: str = Field(description="Codec, by FFmpeg's name.")
    channels: Count = Field(description="Number of channels.")
    sample_rate: Count = Field(description="Samples a second.")
    name: str = Field(default="", description="Name of the track; empty where it has none.")


class SoundLaid(Shape):
    """How sound was laid under a movie's pictures, by the recipe's words: enough to lay it again and compare."""

    lay: Literal["copy", "mix", "silent"] = Field(description="copy, mix or silent.")
    channels: list[Count] = Field(default=[], description="Channels by number, in order; empty: all.")
    tracks: list[str] = Field(
        default=[], description="Tracks of production sound by name, in order; empty: all."
    )
    camera_sound: bool = Field(default=False, description="True where the camera's sound is kept beside it.")


OutputName = Annotated[str, Field(description="Name of the output in the recipe.")]
FilePath = Annotated[Name, Field(description="Path of the file from the output folder, with `/`.")]
StateOf = Annotated[
    State, Field(description="State of the colour: log, show (show transform alone), or graded.")
]
LookOf = Annotated[
    str, Field(description="Name of its look in the record's `looks`; empty: the clip's `look`.")
]
Identity = Annotated[
    str,
    Field(description="Hex digest of all that makes the file what it is; another means it is made again."),
]
Frames = Annotated[Count, Field(description="Number of frames in the file, slate card and all.")]
FirstTimecode = Annotated[str, Field(description="Timecode of the first frame, `HH:MM:SS:FF`.")]
Bytes = Annotated[Whole, Field(description="Size of the file, in bytes.")]
ModifiedNs = Annotated[Whole, Field(description="Time of last change, in nanoseconds since 1970.")]
FileHash = Annotated[
    str, Field(pattern=r"^xxh3_128:[0-9a-f]{32}$", description="XXH3 of the file, 128 bits.")
]
Width = Annotated[Side, Field(description="Width of the raster, in pixels.")]
Height = Annotated[Side, Field(description="Height of the raster, in pixels.")]
PictureBox = Annotated[
    Box, Field(description="Picture within the raster: x, y, width, height in pixels; the rest is black.")
]
Covered = Annotated[list[Box], Field(description="Boxes under burn-in: x, y, width, height in pixels.")]
Display = Annotated[
    str | None, Field(description="Display that it is made for; null where it shows log or scene light.")
]


class DeliveredMovie(Shape):
    """A delivered movie, read back after it was made."""

    output: OutputName
    kind: Literal["movie"] = Field(description="Kind of output: movie.")
    path: FilePath
    state: StateOf
    look: LookOf = ""
    identity: Identity
    picture_identity: str = Field(
        default="",
        description="Hex digest of all that makes its pictures what they are; empty of older versions.",
    )
    frames: Frames
    card: Count = Field(default=0, description="Frames of a slate card before the clip's first.")
    first_timecode: FirstTimecode
    bytes: Bytes
    mtime_ns: ModifiedNs
    hash: FileHash
    codec: str = Field(description="Codec, by the recipe's name.")
    container: str = Field(default="", description="Container: mov, mp4 or mxf.")
    pixel_format: str = Field(description="Pixel format, by FFmpeg's name.")
    width: Width
    height: Height
    rate: str = Field(description="Frames a second: a decimal or a fraction.")
    tags: Tags = Field(description="Colour tags of the container.")
    picture_tags: Tags = Field(description="Colour tags in the pictures' own stream.")
    light: Light | None = Field(
        default=None, description="Light that an HDR movie states; null where it states none."
    )
    reel: str = Field(description="Reel that the file states; empty where it states none.")
    clip_name: str = Field(
        default="", description="Name of the clip, as an MXF states it; empty of older versions."
    )
    umid: str = Field(
        default="",
        description="UMID of the clip that an MXF states (its material package); empty of other containers, and of older versions.",
    )
    sound: list[SoundTrack] = Field(default=[], description="Sound tracks in order.")
    sound_laid: SoundLaid | None = Field(
        default=None,
        description="How its sound was laid; null where it has none, or an older version made it.",
    )
    loudness: SoundLoudness | None = Field(
        default=None,
        description="Loudness of its sound; null where it has none, or an older version made it.",
    )
    picture: PictureBox
    covered: Covered
    display: Display
    revision: Revision = 1


class DeliveredStill(Shape):
    """A delivered still."""

    output: OutputName
    kind: Literal["still"] = Field(description="Kind of output: still.")
    still_kind: str = Field(description="Format of the still, by the recipe's name.")
    path: FilePath
    state: StateOf
    look: LookOf = ""
    identity: Identity
    frame: Count = Field(description="Frame number in the original.")
    frames: Frames
    first_timecode: FirstTimecode
    bytes: Bytes
    mtime_ns: ModifiedNs
    hash: FileHash
    width: Width
    height: Height
    picture: PictureBox
    digest: str = Field(description="Digest of the picture's 16-bit codes.")
    tiles: Tiles | None = Field(
        default=None, description="Mean colour of a grid of tiles, CIE L*a*b*; null where it has no display."
    )
    covered: Covered
    display: Display
    revision: Revision = 1


OutputFile = DeliveredMovie | DeliveredStill
Output = Annotated[OutputFile, Field(discriminator="kind")]


def revision_path(entry: Output) -> str:
    """Path under which a file that was replaced is kept, from the output folder."""
    return f"revisions/{entry.revision}/{entry.path}"


class ClipFraming(Shape):
    """What a framing decision makes of an output."""

    output: str = Field(description="Name of the output in the recipe.")
    intent: str = Field(
        description="Framing intent that it is framed for, by its label; empty of lines alone."
    )
    crop: str = Field(
        description="framing, protection, effective or canvas: what is delivered of the canvas."
    )
    area: Box | None = Field(
        default=None,
        description="That in whole pixels of the original: x, y, width, height; null where all of it is delivered.",
    )
    squeeze: Number = Field(description="How many times wider the picture is made than it is stored.")
    lines: list[str] = Field(default=[], description="Framing intents that frame lines are drawn of.")
    decision: str = Field(description="Id of the framing decision.")
    context: str = Field(description="Label of its context.")
    canvas: str = Field(description="Id and size of its canvas.")
    source: str = Field(description="Framing decision list, by its path.")
    reason: str = Field(
        description="Why it is this clip's: who names the list, and what its context was found by."
    )

    @property
    def sentence(self) -> str:
        """What is delivered, in short: `Theatrical, protection 4448x1861+0+617; lines of Streaming`."""
        parts = []
        if self.intent:
            of = "" if self.crop == "framing" else f", {self.crop}"
            at = f" {self.area[2]}x{self.area[3]}+{self.area[0]}+{self.area[1]}" if self.area else " whole"
            parts.append(
                f"{self.intent}{of}{at}" + (f", squeeze {self.squeeze:g}" if self.squeeze != 1 else "")
            )
        if self.lines:
            parts.append(f"lines of {', '.join(self.lines)}")
        return ", ".join(parts)


def framing_text(found: Sequence[ClipFraming]) -> str:
    """What framing decisions make of a clip's outputs, of which list, and why it is that, in a line; empty where there are none."""
    if not found:
        return ""
    made = "; ".join(f"{framing.output} {framing.sentence}" for framing in found)
    first = found[0]
    return f"{made}; by {first.source.rpartition('/')[2]}, {first.context or first.canvas} ({first.reason})"
