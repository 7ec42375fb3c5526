"""One frame of a clip, as each layer of its look has it: log, show and graded, exposure in false colours, and under another grade.

All are the exact evaluation, in sRGB for a page or a desk's screen: to find a mistake by, not to judge colour.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.look_pictures.exposure_colours import BANDS, HIGHEST, LOWEST, exposure_colours, legend
from rushlight.batch.report.page_templates import render_page
from rushlight.pipelines.burnin.text_masks import drawable, text_mask, text_width
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import converted, find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.framing import Fit
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.png_bytes import png_bytes

__all__ = ["Panel", "page_of", "panels_of", "sheet", "signal_of"]

Array = NDArray[np.float64]
WIDE = 960  # pixels of a panel, at most
BAND = 16  # rows evaluated at a time
CAPTION, GAP, LETTERS = 44, 12, 22  # pixels: a caption's height, between panels, and of its letters
SCALE = 56  # of the legend with its figures
INK, PAPER = 0.92, 0.11


@dataclass(frozen=True, kw_only=True)
class Panel:
    """A picture with its caption: `name` is one word for a script, `rgb` sRGB (h, w, 3) in 0..1."""

    name: str
    caption: str
    rgb: Array


def signal_of(job: JobSpec, facts: Facts, number: int) -> Array:
    """R'G'B' (h, w, 3) of frame `number` of the original, as the grade gets it, no wider than a panel. SourceError where it does not decode."""
    signal = Signal(job, facts)
    aspect = float(facts.pixel_aspect) * facts.width / facts.height
    width = min(WIDE, facts.width) // 2 * 2
    fit = Fit(width=width, height=max(2, round(width / aspect / 2) * 2), mode="stretch")
    with open_source(facts) as source:
        image = next(iter(source.frames(number, 1))).image
    values, _ = signal.fitted(signal.working(image), fit)
    return values


def panels_of(signal: Array, look: Look, other: tuple[str, CDL | None] | None = None) -> tuple[Panel, ...]:
    """The panels: log, show (where a grade stands beside it), graded, exposure, and with `other` (its name, its grade) that one."""
    found = [Panel(name="log", caption="log, as the camera has it", rgb=np.clip(signal, 0, 1))]
    if look.cdl is not None or other is not None:
        found.append(_evaluated("show", "show: without a grade", signal, look, "show"))
    graded = look.describe() if look.cdl is None else f"graded: {_grade_words(look.cdl)}"
    found.append(_evaluated("graded", graded, signal, look, "graded"))
    if other is not None:
        name, cdl = other
        words = f"{name}: {_grade_words(cdl) if cdl else 'no grade'}"
        found.append(_evaluated("other", words, signal, replace(look, cdl=cdl), "graded"))
    exposure = exposure_colours(signal, look.working)
    found.append(
        Panel(name="exposure", caption="exposure in stops from 18 % grey, before the grade", rgb=exposure)
    )
    return tuple(found)


def _evaluated(name: str, caption: str, signal: Array, look: Look, state: str) -> Panel:
    shown = np.empty_like(signal)
    for first in range(0, len(signal), BAND):
        rows = slice(first, first + BAND)
        shown[rows] = look.evaluate(signal[rows], state)  # type: ignore[arg-type]
    screen = find_display("sRGB")
    if look.display.hdr:  # no conversion is defined: its light up to SDR's peak, the rest clipped
        rgb = screen.from_light(np.clip(look.display.to_light(shown), 0, 1))
        caption += f" ({look.display.name}: light up to 100 cd/m2)"
    else:
        rgb = converted(shown, look.display, screen)
    return Panel(name=name, caption=caption, rgb=rgb)


def _grade_words(cdl: CDL) -> str:
    def triple(values: Sequence[float]) -> str:
        return " ".join(f"{v:.3g}" for v in (values if len(set(values)) > 1 else values[:1]))

    return f"slope {triple(cdl.slope)}, offset {triple(cdl.offset)}, power {triple(cdl.power)}, saturation {cdl.saturation:.3g}"


def sheet(panels: Sequence[Panel], title: str) -> Array:
    """All panels in one picture, two across, each with its caption; the legend under the exposure."""
    height, width = panels[0].rgb.shape[:2]
    cells = [_cell(panel, width) for panel in panels]
    if len(cells) % 2:
        cells.append(np.full((height + CAPTION + SCALE, width, 3), PAPER))
    gap = np.full((cells[0].shape[0], GAP, 3), PAPER)
    rows = [np.concatenate([cells[k], gap, cells[k + 1]], 1) for k in range(0, len(cells), 2)]
    return np.concatenate([_line(title, rows[0].shape[1], CAPTION), *rows], 0)


def _cell(panel: Panel, width: int) -> Array:
    scale = np.full((SCALE, width, 3), PAPER)
    if panel.name == "exposure":
        scale[4:26] = legend(22, width)
        step = width / len(BANDS)
        for stop in range(LOWEST + 1, HIGHEST):
            _write(scale, f"{stop:+d}" if stop else "grey", round((stop - LOWEST) * step), 28, centred=True)
    return np.concatenate([_line(panel.caption, width, CAPTION), panel.rgb, scale], 0)


def _line(text: str, width: int, height: int) -> Array:
    line = np.full((height, width, 3), PAPER)
    _write(line, text, 8, (height - LETTERS) // 2 - 2, centred=False)
    return line


def _write(canvas: Array, text: str, x: int, y: int, *, centred: bool) -> None:
    clean, _, font = drawable(text)
    size = 16 if centred else LETTERS
    while size > 11 and text_width(clean, size, font) > canvas.shape[1] - x:
        size -= 1
    ink = text_mask(clean, size, font, "none").ink
    left = max(0, x - ink.shape[1] // 2 if centred else x)
    rows, columns = min(ink.shape[0], canvas.shape[0] - y), min(ink.shape[1], canvas.shape[1] - left)
    part = canvas[y : y + rows, left : left + columns]
    part += (INK - part) * ink[:rows, :columns, None]


def page_of(panels: Sequence[Panel], *, title: str, look: str, timecode: str) -> str:
    """The panels as a page that holds its pictures itself."""
    shown = [
        {
            "caption": panel.caption,
            "width": panel.rgb.shape[1],
            "data": base64.b64encode(png_bytes(panel.rgb)).decode(),
        }
        for panel in panels
    ]
    scale = base64.b64encode(png_bytes(_cell(panels[-1], panels[-1].rgb.shape[1])[-SCALE:])).decode()
    return render_page(
        "look.html",
        title=title,
        look=look,
        timecode=timecode,
        panels=shown,
        scale=scale,
        lowest=LOWEST,
        highest=f"+{HIGHEST}",
    )
