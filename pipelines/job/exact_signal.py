"""An original's pictures as the signal that looks are evaluated on exactly: for stills, the slate card, and measuring."""

from __future__ import annotations

from collections.abc import Iterator

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.look import to_working
from rushlight.pipelines.formats.pixel_formats import PixelFormat, new_frame, planes
from rushlight.pipelines.grading.grader import to_rgb
from rushlight.pipelines.job.from_spec import working_format
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.originals.framing import Fit, Fitter, Placement, placement
from rushlight.pipelines.originals.probe import Facts

__all__ = ["Signal"]

BAND = 16  # rows at a time: they stay in the processor's cache, which saves two fifths

Array = NDArray[np.float64]


class Signal:
    """Decoding of a job's original. `format` is what `working` gives: scene-linear originals become ACEScct,
    float."""

    def __init__(self, job: JobSpec, facts: Facts) -> None:
        self.source, self.facts = job.source, facts
        self.encoding = find_encoding(job.look.encoding, exposure_index=job.look.exposure_index)
        self.linear = self.encoding.kind == "linear"
        self.format = working_format(job.look, facts)
        self.siting = facts.siting

    def working(self, image: av.VideoFrame) -> av.VideoFrame:
        """A decoded frame in the encoding that grades work in."""
        if not self.linear:
            return image
        source, out = self.facts.pixel_format, new_frame(self.format, image.width, image.height)
        for first in range(0, image.height, BAND):
            rows = slice(first, first + BAND)
            signal = to_working(to_rgb(image, source, "full", 1, rows=rows), self.encoding)
            for k, plane in enumerate(planes(out)):
                plane[rows] = signal[..., k]
        return out

    def fitted(self, image: av.VideoFrame, fit: Fit) -> tuple[Array, Placement]:
        """R'G'B' (h, w, 3) of a working frame, fitted, and where it sits in the raster: padding is not part of it."""
        place = self.place(fit)
        return self.resampled(image, fit, place), place

    def place(self, fit: Fit) -> Placement:
        """Where the picture sits in a raster."""
        return placement(fit, self.facts.width, self.facts.height, pixel_aspect=self.facts.pixel_aspect)

    def bands(
        self, image: av.VideoFrame, fit: Fit, place: Placement, height: int
    ) -> Iterator[tuple[slice, Array]]:
        """The same, so many rows at a time and where they lie in the picture: a whole one takes much memory."""
        fitter = Fitter(fit, self.format, place, siting=self.siting)
        fitted = fitter.fit(image)
        for first in range(0, place.height, height):
            rows = slice(first, min(first + height, place.height))
            yield rows, self._rgb(fitted, fitter.format, rows)

    def resampled(self, image: av.VideoFrame, fit: Fit, place: Placement) -> Array:
        """R'G'B' of the part of a working frame that `place` names, at its size."""
        fitter = Fitter(fit, self.format, place, siting=self.siting)
        return self._rgb(fitter.fit(image), fitter.format, slice(None))

    def _rgb(self, fitted: av.VideoFrame, pixel_format: PixelFormat, rows: slice) -> Array:
        return to_rgb(
            fitted,
            pixel_format,
            self.source.levels,
            self.source.matrix,
            chroma=self.source.chroma,
            siting=self.siting,
            rows=rows,
        )
