"""The format of one movie's pictures: all that its segments, the joined file and what reads it back must agree on."""

from __future__ import annotations

from dataclasses import dataclass

from rushlight.pipelines.formats.codecs import Codec, Tags, encoder_options
from rushlight.pipelines.formats.timecode import FrameRate

__all__ = ["MovieFormat"]


@dataclass(frozen=True, kw_only=True)
class MovieFormat:
    """Codec, settings and tags of a movie's pictures."""

    codec: Codec
    container: str  # "mov", "mp4" or "mxf"
    width: int
    height: int
    rate: FrameRate
    tags: Tags
    quality: float | None = None
    preset: str = ""
    peak: float | None = None  # Mbit/s over any second

    def options(self) -> dict[str, str]:
        """Every option of the encoder. RecipeError for what the codec does not take."""
        return encoder_options(
            self.codec,
            rate=self.rate,
            size=(self.width, self.height),
            tags=self.tags,
            quality=self.quality,
            preset=self.preset,
            peak=self.peak,
        )
