"""Fitting an original's picture into an output's raster, before the look and within its own family of codes.

`placement` is pure arithmetic. `Fitter` resamples by libswscale with accurate, bit-exact flags and stated
chroma positions; its result is 4:4:4, so that no second chroma filter follows. Padding is the engine's: display
black, never log black.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Literal

import av
import av.filter
from av.filter import Graph

from rushlight.pipelines.errors import RecipeError, SourceError
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.originals.facts import Siting

__all__ = ["Fit", "Fitter", "Placement", "Rect", "placement"]


@dataclass(frozen=True, kw_only=True)
class Rect:
    """A rectangle in pixels."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Fit asked for: a raster and how the picture is to sit in it."""

    width: int
    height: int
    mode: Literal["pad", "fill", "stretch"] = "pad"
    desqueeze: float = 1.0
    rotate: Literal[0, 180] = 0
    flip: bool = False  # top to bottom
    flop: bool = False  # left to right
    extraction: Rect | None = None  # in the original's pixels


@dataclass(frozen=True, kw_only=True)
class Placement:
    """Placement of the original's picture: `crop` in source pixels; `x`, `y`, `width`, `height` in the
    target."""

    crop: Rect
    x: int
    y: int
    width: int
    height: int


@lru_cache(maxsize=256)
def placement(
    fit: Fit, source_width: int, source_height: int, *, pixel_aspect: Fraction = Fraction(1)
) -> Placement:
    """Place the picture in the raster. Offsets and sizes in the target are even, in the source too (for
    subsampled chroma)."""
    whole = Rect(x=0, y=0, width=source_width, height=source_height)
    area = fit.extraction or whole
    if area.x < 0 or area.y < 0 or area.x + area.width > source_width or area.y + area.height > source_height:
        raise RecipeError(
            f"the extraction area {area.width}x{area.height}+{area.x}+{area.y} lies outside {source_width}x{source_height}",
            key="area",
        )
    squeeze = Fraction(pixel_aspect) * Fraction(fit.desqueeze).limit_denominator(10000)
    shape = Fraction(area.width) * squeeze / area.height
    room = Fraction(fit.width, fit.height)
    if fit.mode == "stretch" or abs(shape / room - 1) < Fraction(1, 1000):
        return Placement(crop=area, x=0, y=0, width=fit.width, height=fit.height)
    if fit.mode == "fill":
        if shape > room:
            width = _even(area.height * room / squeeze)
            crop = Rect(
                x=area.x + _even(Fraction(area.width - width, 2)), y=area.y, width=width, height=area.height
            )
        else:
            height = _even(area.width * squeeze / room)
            crop = Rect(
                x=area.x, y=area.y + _even(Fraction(area.height - height, 2)), width=area.width, height=height
            )
        return Placement(crop=crop, x=0, y=0, width=fit.width, height=fit.height)
    _refuse_sliver(fit, shape)
    if shape > room:
        height = max(2, _even(fit.width / shape))
        return Placement(
            crop=area, x=0, y=_even(Fraction(fit.height - height, 2)), width=fit.width, height=height
        )
    width = max(2, _even(fit.height * shape))
    return Placement(crop=area, x=_even(Fraction(fit.width - width, 2)), y=0, width=width, height=fit.height)


def _refuse_sliver(fit: Fit, shape: Fraction) -> None:
    """A picture smaller in the raster than the tiles it is measured by (16 by 9) comes of a damaged header."""
    width, height = min(Fraction(fit.width), fit.height * shape), min(Fraction(fit.height), fit.width / shape)
    if width < min(16, fit.width / 4) or height < min(9, fit.height / 4):
        raise SourceError(
            f"its picture is {float(shape):.4g} times as wide as high and would be {float(width):.3g}x{float(height):.3g} pixels of "
            f"{fit.width}x{fit.height}: the shape of its pixels is stated wrongly; a column `desqueeze` overrules its header"
        )


def _even(value: Fraction | int) -> int:
    return 2 * round(Fraction(value) / 2)


class Fitter:
    """Resamples frames of one format and size, on so many threads: the same bytes on any number. `format` is the pixel
    format of what it gives."""

    def __init__(
        self,
        fit: Fit,
        pixel_format: PixelFormat,
        place: Placement,
        *,
        siting: Siting = "left",
        threads: int = 1,
    ) -> None:
        self.place = place
        self._threads = threads
        self.format = pixel_format
        self._steps = self._needed(fit, pixel_format, place, siting)
        self._graph: Graph | None = None
        self._size = (0, 0)

    def _needed(
        self, fit: Fit, pixel_format: PixelFormat, place: Placement, siting: Siting
    ) -> list[tuple[str, str]]:
        crop = place.crop
        steps = []
        self._crop = crop
        flip = fit.flip != (fit.rotate == 180)
        flop = fit.flop != (fit.rotate == 180)
        self._flip, self._flop = flip, flop
        resized = (crop.width, crop.height) != (place.width, place.height)
        subsampled = pixel_format.family == "ycbcr" and (pixel_format.sub_x, pixel_format.sub_y) != (1, 1)
        if flip or flop or resized or (subsampled and siting == "centre"):
            # To 4:4:4 as well where only mirrored: a mirrored co-sited chroma sample would sit on the wrong side.
            # So is what sits in the centre, which the kernel does not read.
            if subsampled:
                base = "yuv444p" if pixel_format.bits == 8 else f"yuv444p{pixel_format.bits}le"
                found = find_pixel_format(base)
                assert found is not None
                self.format = found
            levels = "pc" if pixel_format.full_by_name else "tv"
            location = {"left": "left", "top-left": "topleft", "centre": "center"}[siting]
            steps.append(
                (
                    "scale",
                    f"{place.width}:{place.height}:flags=bicubic+accurate_rnd+full_chroma_int+bitexact"
                    f":in_chroma_loc={location}:out_chroma_loc={location}"
                    # The same on both sides: told nothing, the filter turns a tagged BT.709 frame into BT.601.
                    f":in_color_matrix=bt709:out_color_matrix=bt709:in_range={levels}:out_range={levels}",
                )
            )
            steps.append(("format", self.format.name))
        if flip:
            steps += [("vflip", ""), ("copy", "")]  # vflip alone gives rows of negative stride
        if flop:
            steps.append(("hflip", ""))
        return steps

    def fit(self, frame: av.VideoFrame) -> av.VideoFrame:
        """The picture area at its size in the target; the frame itself where nothing is to be done."""
        if self.format.is_float:
            return self._fit_float(frame)
        crop = self._crop
        cropped = (crop.width, crop.height) != (frame.width, frame.height)
        if not self._steps and not cropped:
            return frame
        if self._graph is None:
            self._graph = self._build(frame, cropped)
        self._graph.push(frame)
        fitted = self._graph.pull()
        assert isinstance(fitted, av.VideoFrame)
        return fitted

    def _fit_float(self, frame: av.VideoFrame) -> av.VideoFrame:
        """Float planes by our own filter: swscale takes them through 16 bits and clips what exceeds 1."""
        from rushlight.pipelines.originals.resample import resampled

        crop, place = self._crop, self.place
        whole = (crop.width, crop.height) == (frame.width, frame.height) == (place.width, place.height)
        if whole and not self._flip and not self._flop:
            return frame
        out = new_frame(self.format, place.width, place.height)
        for taken, given in zip(planes(frame), planes(out), strict=True):
            part = taken[crop.y : crop.y + crop.height, crop.x : crop.x + crop.width]
            part = part[:: -1 if self._flip else 1, :: -1 if self._flop else 1]
            given[:] = part if part.shape == given.shape else resampled(part, *given.shape)
        return out

    def _build(self, frame: av.VideoFrame, cropped: bool) -> Graph:
        graph = Graph()
        graph.threads = self._threads
        last = graph.add_buffer(
            width=frame.width, height=frame.height, format=frame.format, time_base=Fraction(1, 1000)
        )
        steps = list(self._steps)
        if cropped:
            crop = self._crop
            steps.insert(0, ("crop", f"{crop.width}:{crop.height}:{crop.x}:{crop.y}:exact=1"))
        for name, arguments in [*steps, ("buffersink", "")]:
            node = graph.add(name, arguments) if arguments else graph.add(name)
            last.link_to(node)
            last = node
        graph.configure()
        return graph
