"""The verdict on a file's colour, from its tiles and the logged ones.

Two questions. Is the difference larger than this codec makes? And does it lie in the direction of a known fault: what
saturation 0.05 or slope 0.02 would do to each tile of this clip is in the log, and what a mixed-up matrix or levels
would do follows from the logged tiles. A codec's errors differ from tile to tile and a fault's do not, so the share of
a fault that a difference holds (its projection) tells a fault of half the size of the codec's own error. Where a
picture has too few colours for that, or they move too little, the verdict is 'cannot tell'.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NotRequired, TypedDict

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, OutputFile
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.shape import TileValues
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.pipelines.colour.displays import find_display, luma_weights
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.measure.colour_difference import delta_e, lab, xyz_of_lab

__all__ = ["TOLERANCE", "colour_check", "limits", "tile_array"]

Array = NDArray[np.float64]

# Mean CIEDE2000 over tiles that a codec may move a picture by, and the most of any sampled frame's 95th percentile.
# The mean is about twice what was measured over the real originals at the lowest shipped quality
# (`python tests/support/faults.py`), or what rounding to 8 bits may do to a flat colour; the percentile is about a fifth over
# what was measured. In a picture under SMALL a tile has so few pixels that codecs move it further. See docs/decisions/0028.
TOLERANCE = {
    "deep still": (0.02, 0.06),
    "still": (0.35, 0.8),
    "jpeg": (0.60, 1.2),
    "intra": (0.60, 1.2),
    "long": (0.90, 3.0),
    "small dnxhr-lb": (1.10, 2.2),
    "small long": (0.90, 3.5),
}
SMALL = 960  # pixels across the picture area
CODE_TOLERANCE = 2.0  # state `log`: ten-bit codes of a tile's mean, for 95 % of tiles; half of it in the mean
SENSE = 3.0  # a fault must move the clip by this many times the codec's error to be told
HALF = 0.5  # the share of a fault from which on it is found


class _Figures(TypedDict):
    """Figures of a colour check, by their names in the verdict."""

    mean: float
    p95: float
    worst: float
    frames: int
    unit: str
    worst_frame_p95: NotRequired[float]
    shares: NotRequired[Mapping[str, float]]
    error: NotRequired[float]


def tile_array(values: TileValues) -> Array:
    """A record's tiles (9, 16, 3), None as NaN."""
    return np.array(
        [[[np.nan if v is None else v for v in tile] for tile in row] for row in values], np.float64
    )


def colour_check(
    wanted: Mapping[int, TileValues], tiles: Mapping[int, Array], entry: OutputFile, record: JobRecord
) -> CheckVerdict:
    """A file's tiles (9, 16, 3) by frame against the logged ones, and whether this clip could show a wrong grade."""
    pairs = {n: (tile_array(values), tiles[n]) for n, values in sorted(wanted.items()) if n in tiles}
    if entry.state == "log":
        return _codes(np.array([np.abs(a - b).max(-1) for a, b in pairs.values()]))
    off = np.array([delta_e(a, b) for a, b in pairs.values()])
    if not off.size or np.isnan(off).all():
        return CheckVerdict(verdict="warn", text="no logged tiles to compare with")
    mean = float(np.nanmean(off))
    worst_frame = max(float(np.nanpercentile(f, 95)) for f in off if not np.isnan(f).all())
    figures = _figures(off, "CIEDE2000")
    figures["worst_frame_p95"] = round(worst_frame, 4)
    limit, limit_frame = limits(entry)
    found = _by_faults(pairs, mean, entry, record) if entry.state == "graded" else _Faults()
    if found.shares:
        figures["shares"], figures["error"] = found.shares, found.error
    like = [name for name, share in found.shares.items() if abs(share) >= HALF]
    over = [
        f"{value:.2f} CIEDE2000 {what}, where {most:g} is the limit"
        for value, most, what in (
            (mean, limit, "in the mean"),
            (worst_frame, limit_frame, "at one frame's 95th percentile"),
        )
        if value > most
    ]
    if over or like:
        text = f"colour is off by {' and '.join(over) or f'{mean:.2f} CIEDE2000 in the mean'}"
        return CheckVerdict(verdict="fail", text=text + _likeness(like, found.shares, bool(over)), **figures)
    if found.blind:
        text, sense = f"this clip could not show {found.blind}", record.colour.sensitivity
        return CheckVerdict(verdict="cannot tell", text=text, **figures, sensitivity=sense)
    return CheckVerdict(verdict="pass", text="", **figures)


def _likeness(like: Sequence[str], shares: Mapping[str, float], large: bool) -> str:
    """The fault that a difference is like, in words. Where it is `large`, only if it is about that fault and
    no more."""
    near = min(like, key=lambda name: abs(abs(shares[name]) - 1), default="")
    if not near or (large and abs(shares[near]) >= 1.5):
        return ""
    return f", {abs(shares[near]):.2f} times what {near} does, where {HALF:g} times is the limit"


def _figures(off: Array, unit: str) -> _Figures:
    return {
        "mean": round(float(np.nanmean(off)), 4),
        "p95": round(float(np.nanpercentile(off, 95)), 4),
        "worst": round(float(np.nanmax(off)), 4),
        "frames": len(off),
        "unit": unit,
    }


def _codes(off: Array) -> CheckVerdict:
    """State `log` has no display: the codes themselves."""
    if not off.size or np.isnan(off).all():
        return CheckVerdict(verdict="warn", text="no logged tiles to compare with")
    figures = _figures(off, "ten-bit codes")
    if figures["mean"] <= CODE_TOLERANCE / 2 and figures["p95"] <= CODE_TOLERANCE:
        return CheckVerdict(verdict="pass", text="", **figures)
    over = [
        f"{value:.2f} {what}, where {most:g} is the limit"
        for value, most, what in (
            (figures["mean"], CODE_TOLERANCE / 2, "in the mean"),
            (figures["p95"], CODE_TOLERANCE, "at the 95th percentile"),
        )
        if value > most
    ]
    text = f"ten-bit codes have moved by {' and '.join(over)}"
    return CheckVerdict(verdict="fail", text=text, **figures)


def limits(entry: OutputFile) -> tuple[float, float]:
    """CIEDE2000 that a file's codec may move its tiles by: in the mean, and at any sampled frame's 95th percentile."""
    kind = _kind(entry)
    if isinstance(entry, DeliveredMovie) and entry.picture[2] < SMALL:
        small = "small long" if kind == "long" else f"small {entry.codec}"
        return TOLERANCE.get(small, TOLERANCE[kind])
    return TOLERANCE[kind]


def _kind(entry: OutputFile) -> str:
    if isinstance(entry, DeliveredStill):
        kind = entry.still_kind
        return "jpeg" if kind == "jpeg" else "deep still" if kind.endswith("16") else "still"
    return "intra" if codec(entry.codec).intra else "long"


# --- faults


@dataclass(frozen=True, kw_only=True)
class _Faults:
    """Share of each fault in a difference; the faults, in words, that this clip could not show."""

    shares: Mapping[str, float] = field(default_factory=dict)
    blind: str = ""
    error: float = 0.0  # CIEDE2000 along a fault that the codec may have made


def _by_faults(
    pairs: Mapping[int, tuple[Array, Array]],
    mean: float,
    entry: OutputFile,
    record: JobRecord,
) -> _Faults:
    moved = _moved(entry, record)
    if moved is None or moved[0] not in pairs:
        # No tiles under a fault, as in a log of an older version: by size alone.
        sense = record.colour.sensitivity or {"a wrong grade": 0.0}
        return _Faults(blind=" or ".join(name for name, size in sense.items() if size < SENSE * mean))
    logged, found = pairs[moved[0]]
    there = ~np.isnan(logged).any(-1) & ~np.isnan(found).any(-1)
    base, off = logged[there], (found - logged)[there]
    if not len(base):
        return _Faults(blind=" or ".join(moved[1]))
    # A codec's error is independent in tiles of different colours only: a flat picture has one error, not 144, and
    # that one may by chance undo a fault. So it is taken for as large as this codec makes it, or twice what is found.
    colours = len(np.unique(np.rint(base), axis=0))
    error = max(TOLERANCE[_kind(entry)][0], 2 * float(delta_e(base, base + off).mean())) / np.sqrt(colours)
    directions = {name: step[there] for name, step in moved[1].items()} | dict(_mixed_up(base, entry))
    told = {
        name: step
        for name, step in directions.items()
        if float(delta_e(base, base + step).mean()) >= SENSE * error
    }
    return _Faults(
        shares={n: round(float((off * step).sum() / (step * step).sum()), 3) for n, step in told.items()},
        blind=" or ".join(name for name in moved[1] if name not in told),
        error=round(float(error), 4),
    )


def _moved(entry: OutputFile, record: JobRecord) -> tuple[int, dict[str, Array]] | None:
    """The frame whose tiles under each fault were logged, counted as `wanted` counts, and by how much they move."""
    still = entry.frame if isinstance(entry, DeliveredStill) else None
    for faults in record.colour.faults:
        if entry.output in faults.outputs and still in (None, faults.frame):
            number = faults.frame - record.first_frame if still is None else 0
            return number, {name: tile_array(values) for name, values in faults.moved.items()}
    return None


def _mixed_up(base: Array, entry: OutputFile) -> Iterator[tuple[str, Array]]:
    """Shift of tiles (n, 3) L*a*b* if the matrix or the levels were mixed up, taken as flat colours."""
    if isinstance(entry, DeliveredStill):
        return
    display = find_display(entry.display or "")
    rgb = display.from_light(xyz_of_lab(base) @ np.linalg.inv(display.gamut.to_xyz()).T)
    matrix = entry.tags.matrix
    other = 5 if matrix == 1 else 1
    kr, kb = luma_weights(matrix)
    luma = rgb @ np.array([kr, 1 - kr - kb, kb])
    cb, cr = (rgb[..., 2] - luma) / (2 * (1 - kb)), (rgb[..., 0] - luma) / (2 * (1 - kr))
    kr, kb = luma_weights(other)
    red, blue = luma + 2 * (1 - kr) * cr, luma + 2 * (1 - kb) * cb
    wrong = np.stack([red, (luma - kr * red - kb * blue) / (1 - kr - kb), blue], -1)
    yield "a mixed-up matrix", lab(display.to_xyz(wrong)) - base
    yield "mixed-up levels", lab(display.to_xyz((16 + 219 * rgb) / 255)) - base
