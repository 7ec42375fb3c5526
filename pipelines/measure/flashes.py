"""Flashing pictures: general and red flashes of a delivered picture, by the published limits of ITU-R BT.1702. A caution, no test of
safety: broadcasters have their own licensed test, and it decides.

ITU-R BT.1702-3 (2023), "Guidance for the reduction of photosensitive epileptic seizures caused by television", annex 1. No page of it
was at hand: what is marked "from memory" below is from memory of the recommendation. Red is measured as WCAG 2.1 (W3C 2018) words
it, in its definition of "general flash and red flash thresholds", from memory as well.

A picture is sampled at 32 by 18 points of its whole raster, bars and all. A place flashes where its light goes up and down again, or
down and up; what counts is that one place does so too often, and that enough places do at the same time. Flashes that wander over the
picture, each place of it seldom, regular patterns, and sequences of more than five seconds within the limits are not looked for.
"""

from __future__ import annotations

import base64
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.formats.pixel_formats import PixelFormat
from rushlight.pipelines.measure.colour_tiles import rgb_at

__all__ = ["AREA", "CHANGE", "DARKER", "FLASHES", "Flashing", "flashing", "packed", "samples", "unpacked"]

CHANGE = (
    20.0  # cd/m2: least change, up or down, of a potentially harmful flash (BT.1702 annex 1; from memory)
)
DARKER = 160.0  # cd/m2: the darker of its two pictures lies below (BT.1702 annex 1; from memory)
CONTRAST = (
    1 / 17
)  # Michelson contrast from which on a change counts above that, in HDR (BT.1702-2 on; from memory)
AREA = 0.25  # of the screen, that more than this may not flash (BT.1702 annex 1; from memory)
FLASHES = 3  # in any second, that are still allowed (BT.1702 annex 1; from memory)
WHITE = 200.0  # cd/m2 of SDR white at home: 10 % and 0.8 of white, as WCAG 2.1 words the two limits of light, are then those above
SATURATED = 0.8  # least share of red in R + G + B, linear, of a saturated red (WCAG 2.1; from memory)
RED_UNIT, RED_CHANGE = (
    320.0,
    20.0,
)  # a change of (R - G - B) x 320 by more than 20 counts, R, G, B to 1 (WCAG 2.1; from memory)
COLUMNS, ROWS = 32, 18
HALF = 2.0  # samples are kept in halves of a cd/m2, and of a unit of red

Codes = NDArray[
    np.uint16
]  # (frames, 2, ROWS * COLUMNS): light in halves of cd/m2; red in whole units, twice, and 1 if saturated
Flags = NDArray[np.bool_]
Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Flashing:
    """A run of frames, from 0 and both included, in which more than AREA of the picture flashes more than FLASHES times a second."""

    kind: Literal["general", "red"]
    first: int
    last: int
    area: float  # the largest share of the picture that flashes at once


def samples(
    planes: Sequence[NDArray[np.generic]],
    pixel_format: PixelFormat,
    levels: str,
    matrix: int,
    display: Display,
) -> Codes:
    """Light and red of one delivered frame (2, ROWS * COLUMNS), from its codes. HDR is taken as it is meant (HLG on a display of
    1000 cd/m2), SDR on a screen of WHITE."""
    height, width = planes[0].shape
    rows = ((np.arange(ROWS) + 0.5) * height / ROWS).astype(np.intp)
    columns = ((np.arange(COLUMNS) + 0.5) * width / COLUMNS).astype(np.intp)
    rgb = display.to_light(rgb_at(planes, pixel_format, levels, matrix, rows, columns)).reshape(-1, 3)
    unit = WHITE if not display.hdr else 100.0 if display.curve == "pq" else display.peak
    light = rgb @ display.gamut.to_xyz()[1] * unit
    whole = rgb.sum(-1)
    red = np.maximum(0.0, 2 * rgb[:, 0] - whole) * (RED_UNIT * unit / WHITE)
    saturated = (rgb[:, 0] >= SATURATED * whole) & (whole > 0)
    top = np.iinfo(np.uint16).max
    return np.stack(
        [
            np.minimum(np.rint(light * HALF), top).astype(np.uint16),
            (2 * np.minimum(np.rint(red), top // 2) + saturated).astype(np.uint16),
        ]
    )


def packed(frames: Sequence[Codes]) -> str:
    """Samples of several frames as text: what changes from frame to frame, deflated. Still pictures take next to nothing."""
    codes = np.stack(frames)
    steps = np.diff(codes, axis=0, prepend=np.uint16(0))  # modulo 2**16
    return base64.b64encode(zlib.compress(steps.astype("<u2").tobytes(), 1)).decode()


def unpacked(text: str) -> Codes:
    """Samples of all frames of a text of `packed`. ValueError for what is none."""
    try:
        data = zlib.decompress(base64.b64decode(text, validate=True))
    except (ValueError, zlib.error):
        raise ValueError("holds no samples of light") from None
    if len(data) % (4 * ROWS * COLUMNS):
        raise ValueError("holds samples of light in part")
    steps = np.frombuffer(data, "<u2").reshape(-1, 2, ROWS * COLUMNS)
    return np.cumsum(steps, axis=0, dtype=np.uint16)


def flashing(parts: Iterable[Codes], rate: Fraction, *, hdr: bool) -> list[Flashing]:
    """Runs of flashing frames of a clip, from the samples of its parts in order; `rate` is in frames a second. Sorted by frame."""
    general, red = _Places(rate, _least_hdr if hdr else _least_sdr), _Places(rate, _least_red)
    for part in parts:
        for light, redness in part:
            general.take(light / HALF, np.ones(light.shape, bool))
            red.take((redness >> 1).astype(np.float64), (redness & 1).astype(bool))
    found = [*general.runs("general"), *red.runs("red")]
    return sorted(found, key=lambda run: (run.first, run.kind))


def _least_sdr(darker: Values) -> Values:
    """Least change that counts, by the darker of two pictures; in cd/m2."""
    return np.where(darker < DARKER, CHANGE, np.inf)


def _least_hdr(darker: Values) -> Values:
    return np.where(darker < DARKER, CHANGE, darker * (2 * CONTRAST / (1 - CONTRAST)))


def _least_red(darker: Values) -> Values:
    return np.full(darker.shape, RED_CHANGE + 0.5)  # more than 20, of whole units


class _Places:
    """The sampled places of a clip, frame after frame: what rises and falls in each, and from when to when it flashes too often."""

    def __init__(self, rate: Fraction, least: Callable[[Values], Values]) -> None:
        self._second, self._least = float(rate), least
        self._frame = -1
        count = ROWS * COLUMNS
        self._turned = np.zeros(count, np.int8)  # 1 after a rise, -1 after a fall
        last = 2 * FLASHES + 2
        self._changes = np.repeat(
            np.arange(-last, 0.0)[:, None] * 1e9, count, 1
        )  # frames of each place's last, in order
        self._marked = np.full(count, -1)  # frame up to which a place is known to flash too often
        self._steps: Counter[int] = Counter()  # places that begin to flash at a frame, less those that end

    def take(self, values: Values, counts: Flags) -> None:
        """The next frame: a value of each place, and whether it is of a kind that makes a change count, on either side of it."""
        self._frame += 1
        if self._frame == 0:
            self._low, self._high = values.copy(), values.copy()
            self._low_counts, self._high_counts = counts.copy(), counts.copy()
        lower, higher = values < self._low, values > self._high
        self._low[lower], self._low_counts[lower] = values[lower], counts[lower]
        self._high[higher], self._high_counts[higher] = values[higher], counts[higher]
        rises = (
            (self._turned != 1) & (values - self._low >= self._least(self._low)) & (counts | self._low_counts)
        )
        falls = (
            (self._turned != -1) & (self._high - values >= self._least(values)) & (counts | self._high_counts)
        )
        if not (rises.any() or falls.any()):
            return
        self._high[rises], self._high_counts[rises], self._turned[rises] = values[rises], counts[rises], 1
        self._low[falls], self._low_counts[falls], self._turned[falls] = values[falls], counts[falls], -1
        changed = np.flatnonzero(rises | falls)
        self._changes[:-1, changed] = self._changes[1:, changed]
        self._changes[-1, changed] = self._frame
        # Changes come in pairs: of the last eight, every second one from the first leads a flash.
        leading = self._changes[0, changed], self._changes[-2, changed]
        often = changed[leading[1] - leading[0] < self._second]
        for first, places in _counted(np.maximum(self._changes[0, often], self._marked[often] + 1)):
            self._steps[first] += places
            self._steps[self._frame + 1] -= places
        self._marked[often] = self._frame

    def runs(self, kind: Literal["general", "red"]) -> Iterator[Flashing]:
        """Runs in which more than AREA of the places flash."""
        places, first, most = 0, None, 0.0
        for frame in sorted(self._steps):
            places += self._steps[frame]
            area = places / (ROWS * COLUMNS)
            if area > AREA:
                first, most = frame if first is None else first, max(most, area)
            elif first is not None:
                yield Flashing(kind=kind, first=first, last=frame - 1, area=round(most, 3))
                first, most = None, 0.0


def _counted(frames: Values) -> Iterator[tuple[int, int]]:
    """Frames, and how often each is there."""
    values, counts = np.unique(frames.astype(np.int64), return_counts=True)
    return zip(values.tolist(), counts.tolist(), strict=True)
