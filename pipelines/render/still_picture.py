"""The picture of stills, row by row as it is evaluated: kept as the codes that files hold, since values take four times as much."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.checksum import frame_digest
from rushlight.pipelines.originals.framing import Placement
from rushlight.pipelines.outputs.stills import codes
from rushlight.pipelines.render.picture import Tiles, rounded

__all__ = ["StillPicture"]

Array = NDArray[np.float64]


class StillPicture:
    """A picture of that size, black but for `place`, for files of the kinds that it `wants`; `display` is what it is tagged and
    measured for."""

    def __init__(self, size: tuple[int, int], place: Placement, display: Display | None) -> None:
        self.size, self.place, self.display = size, place, display
        self.box = (place.x, place.y, place.width, place.height)
        self._codes = {"png16": self._black(np.uint16)}  # of which there is a digest, whatever the files hold
        self._step = colour_tiles.step_of(size[0])
        self._thin = np.zeros((-(-size[1] // self._step), -(-size[0] // self._step), 3))

    def _black(self, kind: type[np.generic]) -> NDArray[np.generic]:
        width, height = self.size
        return np.zeros((height, width, 3), kind)

    def wants(self, kind: str) -> None:
        """Have it for files of this kind as well."""
        like = _like(kind)
        if like not in self._codes:
            self._codes[like] = self._black(np.float16 if like == "exr" else np.uint8)

    def put(self, rows: slice, values: Array) -> None:
        """Take rows of the picture: display R'G'B' in 0..1 (clipped; NaN is 0), or scene light."""
        x, y, width, _ = self.box
        for like, kept in self._codes.items():
            kept[y + rows.start : y + rows.stop, x : x + width] = codes(values, like)
        if self.display:
            step = self._step
            first, left = -(y + rows.start) % step, -x % step
            some = values[first::step, left::step]
            top, start = (y + rows.start + first) // step, (x + left) // step
            self._thin[top : top + some.shape[0], start : start + some.shape[1]] = some

    def codes_of(self, kind: str) -> NDArray[np.generic]:
        """(h, w, 3) as a file of this kind holds it."""
        return self._codes[_like(kind)]

    @cached_property
    def digest(self) -> str:
        """Over its codes in 16 bits."""
        return frame_digest([self._codes["png16"].astype("<u2", copy=False)])

    @cached_property
    def tiles(self) -> Tiles:
        """L*a*b* of its tiles, as a record has them."""
        assert self.display
        return rounded(colour_tiles.tile_lab_rgb(self._thin, self.display, self.box, step=self._step))


def _like(kind: str) -> str:
    """A kind whose codes are those of this one."""
    return "exr" if kind == "exr" else "png16" if kind.endswith("16") else "png8"
