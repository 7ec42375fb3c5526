"""An original's pictures as the signal that looks are evaluated on exactly: for stills, the slate card, and measuring."""

from __future__ import annotations

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.look import to_working
from rushlight.pipelines.formats.pixel_formats import new_frame, planes
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
        source = self.facts.pixel_format
        whole = None if source.family == "rgb" else to_rgb(image, source, "full", 1)
        out = new_frame(self.format, image.width, image.height)
        for first in range(0, image.height, BAND):
            rows = slice(first, first + BAND)
            linear = to_rgb(image, source, "full", 1, rows=rows) if whole is None else whole[rows]
            signal = to_working(linear, self.encoding)
            for k, plane in enumerate(planes(out)):
                plane[rows] = signal[..., k]
        return out

    def fitted(self, image: av.VideoFrame, fit: Fit) -> tuple[Array, Placement]:
        """R'G'B' (h, w, 3) of a working frame, fitted, and where it sits in the raster: padding is not part of it."""
        place = placement(fit, self.facts.width, self.facts.height, pixel_aspect=self.facts.pixel_aspect)
        return self.resampled(image, fit, place), place

    def resampled(self, image: av.VideoFrame, fit: Fit, place: Placement) -> Array:
        """R'G'B' of the part of a working frame that `place` names, at its size."""
        fitter = Fitter(fit, self.format, place, siting=self.siting)
        return to_rgb(
            fitter.fit(image),
            fitter.format,
            self.source.levels,
            self.source.matrix,
            chroma=self.source.chroma,
            siting=self.siting,
        )
