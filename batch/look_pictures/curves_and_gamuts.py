"""A look as a picture: what a grey ramp becomes, and where the chart's colours go in the chromaticity diagram."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.chart import COLOURS
from rushlight.pipelines.colour.gamuts import ACES_WHITE, AP0, REC709, Gamut, adaptation
from rushlight.pipelines.colour.look import Look

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["look_picture"]

Array = NDArray[np.float64]
STOPS = 8.0
INKS = ("#c0392b", "#1e8449", "#2471a3")


def look_picture(look: Look, title: str) -> bytes:
    """A PNG. Left: the camera's signal and the display's R'G'B' over stops from 18 % grey. Right: CIE 1931 xy with the
    spectral locus, both gamuts, and each patch as the scene has it, adapted to the display's white (ring), and as the
    display shows it (dot)."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(13, 6), dpi=110, layout="constrained")
    left, right = figure.subplots(1, 2)
    _curves(left, look)
    _chromaticities(right, look)
    figure.suptitle(f"{_plain(title)}: {_plain(look.describe())}", fontsize=9, wrap=True, parse_math=False)
    data = io.BytesIO()
    figure.savefig(data, format="png", metadata={"Software": None})
    return data.getvalue()


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _curves(axes: Axes, look: Look) -> None:
    stops = np.linspace(-STOPS, STOPS, 321)
    grey = np.repeat(0.18 * 2.0 ** stops[:, None], 3, 1)
    code = look.working.from_ap0(grey)
    shown = look.stages(code)[-1][1]
    axes.plot(
        stops, code[:, 1] * 100, color="0.45", ls="--", lw=1.2, label=f"camera signal ({look.working.name})"
    )
    if np.ptp(shown, axis=1).max() < 1 / 1023:  # one curve would hide the others
        axes.plot(stops, shown[:, 1] * 100, color="0.1", lw=1.8, label="display R', G' and B'")
    else:
        for k, (name, ink) in enumerate(zip("RGB", INKS, strict=True)):
            axes.plot(stops, shown[:, k] * 100, color=ink, lw=1.6, label=f"display {name}'")
    axes.axvline(0, color="0.8", lw=0.8)
    axes.annotate("18 %", (0, 101), fontsize=8, ha="center", color="0.4")
    axes.axhspan(0, 100, color="0.97", zorder=0)
    axes.set(xlim=(-STOPS, STOPS), ylim=(-6, 112), xlabel="stops from 18 % grey (ACES2065-1 scene-linear)")
    axes.set_ylabel(f"signal, % of its range; display {look.display.name}")
    axes.grid(color="0.9", lw=0.6)
    axes.legend(fontsize=8, loc="upper left", frameon=False)
    light = axes.twinx()
    ticks = np.linspace(0, 100, 6)
    light.set(ylim=axes.get_ylim(), ylabel="cd/m2 of that signal in all three")
    nits = look.display.nits(np.repeat(ticks[:, None] / 100, 3, 1))
    light.set_yticks(ticks, [f"{v:.0f}" if v >= 10 else f"{v:.2g}" for v in nits])


def _chromaticities(axes: Axes, look: Look) -> None:
    from colour import MSDS_CMFS

    locus = _xy(np.asarray(MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].values))
    axes.plot(*np.vstack([locus, locus[:1]]).T, color="0.6", lw=1)
    scene = np.array(list(COLOURS.values()))[3:]
    shown = look.stages(look.working.from_ap0(scene))[-1][1]
    to_xyz = adaptation(ACES_WHITE, look.display.gamut.white, "CAT02") @ AP0.to_xyz()
    before, after = _xy(scene @ to_xyz.T), _xy(look.display.to_xyz(shown))
    for gamut, style in ((look.working.gamut, "--"), (look.display.gamut, "-")):
        _triangle(axes, gamut, style)
    paint = _srgb(look, shown)
    for a, b, ink in zip(before, after, paint, strict=True):
        axes.plot(*zip(a, b, strict=True), color="0.75", lw=0.7, zorder=2)
        axes.scatter(a[0], a[1], s=26, facecolors="none", edgecolors="0.35", lw=0.9, zorder=3)
        axes.scatter(b[0], b[1], s=34, color=[tuple(ink)], edgecolors="0.2", lw=0.5, zorder=4)
    axes.plot(*look.display.gamut.white, marker="+", color="black", ms=9, ls="none", label="display white")
    axes.scatter([], [], facecolors="none", edgecolors="0.35", label="patch in the scene, adapted to D65")
    axes.scatter([], [], color="0.5", edgecolors="0.2", label="patch at the display")
    axes.set(xlim=(-0.05, 0.85), ylim=(-0.08, 0.92), xlabel="CIE 1931 x", ylabel="y", aspect="equal")
    axes.grid(color="0.93", lw=0.6)
    axes.legend(fontsize=8, loc="upper right", frameon=False)


def _triangle(axes: Axes, gamut: Gamut, style: str) -> None:
    corners = np.array([gamut.red, gamut.green, gamut.blue, gamut.red])
    axes.plot(*corners.T, color="0.15", ls=style, lw=1.1, label=gamut.name)


def _xy(xyz: Array) -> Array:
    total = xyz.sum(-1, keepdims=True)
    return np.where(total > 0, xyz / np.where(total > 0, total, 1), np.nan)[..., :2]


def _srgb(look: Look, shown: Array) -> Array:
    """The dots' own colours for a computer screen; HDR is brought to its graphics white."""
    xyz = look.display.to_xyz(shown) / (2.03 if look.display.curve == "pq" else 1.0)
    linear = np.clip(xyz @ np.linalg.inv(REC709.to_xyz()).T, 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
