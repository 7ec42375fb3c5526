"""One distinct picture of a segment and the movies that share it; what is measured of it and drawn over it."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.burnin.canvas import graphics_white
from rushlight.pipelines.burnin.painter import Painter
from rushlight.pipelines.colour.camera_encodings import Levels
from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.formats.codecs import Tags
from rushlight.pipelines.formats.frame_pool import FramePool
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, planes
from rushlight.pipelines.grading.grader import Counts, Grader
from rushlight.pipelines.job.spec import FrameLine, MovieSpec
from rushlight.pipelines.measure import colour_tiles, flashes
from rushlight.pipelines.measure.checksum import frame_digest
from rushlight.pipelines.measure.luma_grid import luma_grid
from rushlight.pipelines.measure.signal_range import range_of_codes
from rushlight.pipelines.originals.framing import Fitter, Placement
from rushlight.pipelines.outputs.hdr_metadata import light_of
from rushlight.pipelines.outputs.segment_writer import MovieWriter
from rushlight.pipelines.recipe.model import Burnin, Guides

__all__ = [
    "Box",
    "Movie",
    "Picture",
    "copied",
    "draw_missing",
    "kept_painter",
    "measured_light",
    "rounded",
    "tiles_of",
    "written",
]

Box = tuple[int, int, int, int]
Tiles = list[list[list[float | None]]]  # (9, 16, 3)


@lru_cache(maxsize=16)
def kept_painter(
    burnin: Burnin | None,
    pixel_format: PixelFormat,
    levels: Levels,
    size: tuple[int, int],
    fields: tuple[tuple[str, str], ...],
    longest: tuple[tuple[str, int], ...],
    guides: Guides | None,
    picture: Box,
    transfer: int,
    lines: tuple[FrameLine, ...] = (),
) -> Painter:
    """The drawing of one output, kept for the next segment of the clip."""
    return Painter(
        burnin,
        pixel_format,
        levels,
        *size,
        dict(fields),
        longest=dict(longest),
        guides=guides,
        picture=picture,
        white=graphics_white(transfer),
        lines=lines,
    )


@dataclass(kw_only=True)
class Movie:
    spec: MovieSpec
    writer: MovieWriter
    painter: Painter | None
    lit: Grader | None  # makes the picture that light is measured of, where the movie states how bright it is
    lit_painter: Painter | None
    temporary: str  # from the output folder
    tiles: list[dict[str, object]] = field(default_factory=list)
    light: list[tuple[float, float]] = field(default_factory=list)  # of every frame, where it is PQ

    @property
    def covered(self) -> list[Box]:
        return self.painter.covered if self.painter else []


@dataclass(kw_only=True)
class Picture:
    """One distinct picture: outputs that share look, state, raster, framing and pixel format share it."""

    state: str
    look: str  # its name in the job; empty: the recipe's
    width: int
    height: int
    pixel_format: PixelFormat
    tags: Tags
    display: Display
    fitter: Fitter
    place: Placement
    grader: Grader
    movies: list[Movie] = field(default_factory=list)
    digests: list[str] = field(default_factory=list)
    grids: list[list[float]] = field(default_factory=list)
    level: list[dict[str, object]] = field(default_factory=list)  # a line a second
    over: int = 0
    under: int = 0
    outside: int = 0
    pixels: int = 0
    light: list[NDArray[np.uint16]] = field(default_factory=list)  # samples of every frame that has a display

    def note(self, views: list[NDArray[np.generic]], counts: Counts) -> None:
        """Measure a frame as it is graded, before anything is drawn over it."""
        self.digests.append(frame_digest(views))
        self.grids.append(luma_grid(views[0], self.box))
        self.over += counts.over
        self.under += counts.under
        self.outside += counts.outside
        self.pixels += counts.pixels
        if self.state != "log":
            levels, matrix = self.tags.levels, self.tags.matrix
            self.light.append(flashes.samples(views, self.pixel_format, levels, matrix, self.display))

    @property
    def box(self) -> Box:
        return self.place.x, self.place.y, self.place.width, self.place.height

    def note_level(self, views: list[NDArray[np.generic]], frame: int, offset: int, rate: Fraction) -> None:
        """The first frame of each second of the clip, as its side file has it: luma and R'G'B' of 0 to 1, and what leaves EBU R 103."""
        if self.state == "log" or offset % max(1, round(rate)):
            return
        found = range_of_codes(views, self.pixel_format, self.tags.levels, self.tags.matrix, self.box)
        self.level.append(
            {
                "frame": frame,
                "luma": [round(found.lowest_luma, 4), round(found.highest_luma, 4)],
                "rgb": [round(found.lowest, 4), round(found.highest, 4)],
                "outside": round(max(found.luma_outside, found.rgb_outside), 4),
            }
        )

    def facts(self) -> dict[str, object]:
        """Measurements of the segment, for its side file."""
        return {
            "state": self.state,
            **({"look": self.look} if self.look else {}),
            "raster": f"{self.width}x{self.height}",
            "pixel_format": self.pixel_format.name,
            "outputs": [m.spec.output for m in self.movies],
            "picture": list(self.box),
            "digests": self.digests,
            "grids": self.grids,
            "level": self.level,
            **({"light": flashes.packed(self.light)} if self.light else {}),
            "counts": {
                "over": self.over,
                "under": self.under,
                "outside": self.outside,
                "pixels": self.pixels,
            },
        }


def tiles_of(picture: Picture, views: list[NDArray[np.generic]], covered: list[Box]) -> Tiles:
    """A picture's tiles as they stand in the log: codes for state `log`, else L*a*b*."""
    if picture.state == "log":
        tiles = colour_tiles.tile_codes(views, picture.pixel_format, picture.box, covered)
    else:
        tiles = colour_tiles.tile_lab(
            views,
            picture.pixel_format,
            picture.tags.levels,
            picture.tags.matrix,
            picture.display,
            picture.box,
            covered,
        )
    return rounded(tiles)


def draw_missing(picture: Picture, graded: av.VideoFrame, number: int) -> None:
    """Black in place of a missing frame, and it says so."""
    pixel_format = find_pixel_format(graded.format.name)
    assert pixel_format is not None
    black = planes(graded)
    black[0][:] = int(16 << (pixel_format.bits - 8)) if picture.tags.levels == "narrow" else 0
    for plane in black[1:]:
        plane[:] = 1 << (pixel_format.bits - 1)
    text = Burnin.model_validate(
        {"text": [{"at": "centre", "text": f"frame {number} is missing", "size": 0.06}]}
    )
    Painter(
        text,
        pixel_format,
        picture.tags.levels,
        picture.width,
        picture.height,
        {},
        white=graphics_white(picture.tags.transfer),
    ).paint(graded, {})


def measured_light(
    picture: Picture, movie: Movie, fitted: av.VideoFrame, number: int, running: dict[str, str], slated: bool
) -> tuple[float, float]:
    """The light of a frame as it goes to the encoder, but before chroma is subsampled and codes are rounded."""
    assert movie.lit is not None
    lit, _ = movie.lit.grade(fitted, number)
    if slated:
        draw_missing(picture, lit, number)
    if movie.lit_painter:
        movie.lit_painter.paint(lit, running)
    light = light_of(lit, matrix=picture.tags.matrix, box=picture.box)
    movie.lit.frames.give_back(lit)
    return light


def rounded(tiles: NDArray[np.float64]) -> Tiles:
    """Tiles as they stand in the log: three decimals, null for a tile that is covered."""
    return [[[None if np.isnan(v) else round(float(v), 3) for v in tile] for tile in row] for row in tiles]


def written(movie: Movie, frame: av.VideoFrame, frames: FramePool) -> None:
    """The frame encoded, and given back: no encoder reads a picture once its call has returned."""
    movie.writer.write(frame)
    frames.give_back(frame)


def copied(frame: av.VideoFrame, frames: FramePool) -> av.VideoFrame:
    out = frames.take()
    for taken, given in zip(planes(frame), planes(out), strict=True):
        given[:] = taken
    return out
