"""The stills of one segment, from the exact evaluation of the look."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, State
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.inside_folder import fresh, move, unlink
from rushlight.pipelines.job.clip_metadata import output_metadata
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import fit_of, still_name
from rushlight.pipelines.job.spec import JobSpec, LookSpec, StillsSpec
from rushlight.pipelines.job.still_metadata import still_attributes, still_xmp
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.checksum import frame_digest
from rushlight.pipelines.measure.out_of_range import range_counts
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.framing import Placement
from rushlight.pipelines.outputs.stills import write_still
from rushlight.pipelines.render.picture import rounded

__all__ = ["SegmentStills"]

BAND = 64  # rows evaluated at a time: they stay in the processor's cache, which saves a third


class SegmentStills:
    """Stills as the frames come. `look` gives an exact look when one is asked for; `counted`: there is no movie whose kernel
    counts what is out of range, so that is counted here."""

    def __init__(
        self,
        job: JobSpec,
        facts: Facts,
        signal: Signal,
        start: Timecode,
        token: str,
        look: Callable[[LookSpec], Look],
        *,
        counted: bool,
    ) -> None:
        self.job, self.facts, self.signal = job, facts, signal
        self.start, self.token, self.look, self.counted = start, token, look, counted
        self.out = Path(job.out)
        self.made: dict[str, list[dict[str, object]]] = {}  # by output
        self.said: dict[str, dict[str, str]] = {}  # metadata by output
        self.seen: Counter[str] = Counter()  # as the kernel counts

    def take(self, image: av.VideoFrame, number: int) -> None:
        """Write the stills of the frame of this number."""
        fitted: dict[str, tuple[NDArray[np.float64], Placement]] = {}
        shown: dict[str, NDArray[np.float64]] = {}  # what several files show, evaluated once
        for output in self.job.outputs:
            if not isinstance(output, StillsSpec):
                continue
            for still in output.stills:
                if still.frame != number:
                    continue
                key = f"{output.width}x{output.height} {output.frame.model_dump_json()}"
                if key not in fitted:
                    fit = fit_of(output.frame, output.width, output.height, self.facts)
                    fitted[key] = self.signal.fitted(image, fit)
                    if self.counted:
                        self.seen.update(range_counts(fitted[key][0]))
                signal, place = fitted[key]
                kind: State | Literal["light"] = "light" if still.kind == "exr" else output.state
                name = output.look if kind in ("show", "graded") else ""
                this = f"{kind} {name} {key}"
                if this not in shown:
                    shown[this] = self._shown(signal, kind, self.job.look_of(output))
                self._still(output, still.kind, still.file, number, shown[this], place)

    def _shown(
        self, signal: NDArray[np.float64], kind: State | Literal["light"], spec: LookSpec
    ) -> NDArray[np.float64]:
        """A fitted signal as a still holds it: a state's display R'G'B', or its scene light as ACES2065-1."""
        if kind == "log":
            return np.clip(signal, 0, 1)
        look, found = self.look(spec), np.empty_like(signal)
        for first in range(0, len(signal), BAND):
            rows = slice(first, first + BAND)
            found[rows] = (
                look.working.to_ap0(signal[rows]) if kind == "light" else look.evaluate(signal[rows], kind)
            )
        return found

    def _still(
        self,
        output: StillsSpec,
        kind: str,
        file: str,
        number: int,
        picture: NDArray[np.float64],
        place: Placement,
    ) -> None:
        box = (place.x, place.y, place.width, place.height)
        if box != (0, 0, output.width, output.height):
            canvas = np.zeros((output.height, output.width, 3))
            canvas[place.y : place.y + place.height, place.x : place.x + place.width] = picture
            picture = canvas
        display = find_display(self.job.look_of(output).display)
        if output.output not in self.said:
            self.said[output.output] = output_metadata(self.job, output)
        said, timecode = self.said[output.output], self.start + (number - self.job.first)
        final = still_name(self.job, output, file)
        temporary = f"{os.path.dirname(final)}/.{self.token}.part{os.path.splitext(file)[1]}"
        try:
            write_still(
                fresh(self.out, temporary),
                picture,
                kind,
                display=display if output.state != "log" else None,
                metadata=still_attributes(self.job, said, kind, timecode),
                xmp=still_xmp(self.job, said, kind, timecode),
            )
            move(self.out, temporary, final)
        finally:
            unlink(self.out, temporary)
        codes = np.rint(np.clip(np.nan_to_num(picture), 0, 1) * 65535).astype("<u2")
        entry: dict[str, object] = {"file": file, "kind": kind, "frame": number, "picture": list(box)}
        entry["digest"] = frame_digest([codes])
        if kind != "exr" and output.state != "log":
            entry["tiles"] = rounded(colour_tiles.tile_lab_rgb(picture, display, box))
        self.made.setdefault(output.output, []).append(entry)
