"""Facts of an original, known before a picture is decoded: one frozen record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal

from rushlight.pipelines.formats.pixel_formats import PixelFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

__all__ = ["MOST_FRAMES", "MOST_PIXELS", "Facts", "Levels", "Siting", "SoundTrack"]

MOST_PIXELS = (
    200_000_000  # of a raster: a header that states more is damaged (the largest sensor has some 150 million)
)
MOST_FRAMES = 24 * 3600 * 120  # of a clip: a day at 120

Levels = Literal["narrow", "full"]
Siting = Literal["left", "top-left", "centre"]


@dataclass(frozen=True, kw_only=True)
class SoundTrack:
    """One sound stream of an original."""

    index: int  # stream index in the file
    codec: str
    sample_rate: int  # Hz
    channels: int
    layout: str


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Facts that the header of one original states."""

    path: Path
    kind: Literal["movie", "sequence"]
    files: tuple[Path, ...]  # one movie, a span's or a sequence's files in order
    first_number: int = 0  # of a sequence: the number of its first file
    missing: tuple[int, ...] = ()  # of a sequence: frame numbers (from 0) without a file
    width: int
    height: int
    pixel_aspect: Fraction = Fraction(1)
    pixel_format: PixelFormat
    stored_format: str  # as the file names it, before conversion within the family
    rate: FrameRate
    rate_from: str  # "header", "stated", "assumed"
    capture_rate: FrameRate | None = None  # frames a second as exposed; `rate` is what they are played at
    frames: int
    seconds: Fraction | None = None  # what the picture track lasts, where a movie's header says it
    timecode: Timecode
    timecode_from: str  # "header", "file number", "none"
    reel: str = ""
    levels_tag: Levels | None = None
    matrix_tag: int = 2  # H.273; 2 is unspecified
    primaries_tag: int = 2
    transfer_tag: int = 2
    chromaticities: tuple[float, ...] = ()
    codec: str = ""
    profile: str = ""
    container: str = ""
    sound: tuple[SoundTrack, ...] = ()
    rotation: int = 0  # degrees clockwise that the picture is to be shown turned by
    mirrored: bool = False  # to be shown left to right, ahead of the turn
    interlaced: bool = False
    variable_rate: bool = False
    metadata: Mapping[str, str] = field(default_factory=dict)
    bytes: int = 0
    mtime_ns: int = 0
    parts: tuple[Facts, ...] = ()  # of a span: what each of its files states, in order
    warnings: tuple[str, ...] = ()

    @property
    def matrix(self) -> int:
        """The matrix to decode by: the tag, or BT.709 where it is unspecified."""
        return self.matrix_tag if self.matrix_tag in (1, 5, 6, 9) else 1

    @property
    def siting(self) -> Siting:
        """Chroma siting: centre for JPEG (JFIF 1.02), top-left for BT.2020 4:2:0 (BT.2020-2
        table 4), left else. What a stream's own header says of it is not to be had from the library."""
        if self.codec == "mjpeg":
            return "centre"
        return "top-left" if self.matrix_tag == 9 and self.pixel_format.sub_y == 2 else "left"
