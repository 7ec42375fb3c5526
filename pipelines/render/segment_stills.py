"""The stills of one segment, from the exact evaluation of the look."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Literal, NamedTuple

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
from rushlight.pipelines.job.spec import JobSpec, LookSpec, StillSpec, StillsSpec
from rushlight.pipelines.job.still_metadata import still_attributes, still_xmp
from rushlight.pipelines.measure.out_of_range import range_counts
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.outputs.stills import write_still
from rushlight.pipelines.render.still_picture import StillPicture

__all__ = ["SegmentStills"]

# Rows evaluated at a time: they stay in the processor's cache, which saves a third, and the heap takes them again each time.
BAND = 16


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
        framed: dict[str, list[tuple[StillsSpec, StillSpec]]] = {}
        for output in self.job.outputs:
            if isinstance(output, StillsSpec):
                for still in output.stills:
                    if still.frame == number:
                        self.made.setdefault(output.output, [])
                        key = f"{output.width}x{output.height} {output.frame.model_dump_json()}"
                        framed.setdefault(key, []).append((output, still))
        for stills in framed.values():
            shown = self._shown(image, stills)
            for output, still in stills:
                self._still(output, still, shown[_what(output, still.kind)])

    def _shown(
        self, image: av.VideoFrame, stills: list[tuple[StillsSpec, StillSpec]]
    ) -> dict[What, StillPicture]:
        """What stills of one framing show, evaluated once each."""
        size = (stills[0][0].width, stills[0][0].height)
        fit = fit_of(stills[0][0].frame, *size, self.facts)
        place = self.signal.place(fit)
        shown: dict[What, StillPicture] = {}
        looks: dict[What, LookSpec] = {}
        for output, still in stills:
            what = _what(output, still.kind)
            looks[what] = self.job.look_of(output)
            if what not in shown:
                display = None if what.state == "log" else find_display(looks[what].display)
                shown[what] = StillPicture(size, place, display)
            shown[what].wants(still.kind)
        for rows, signal in self.signal.bands(image, fit, place, BAND):
            if self.counted:
                self.seen.update(range_counts(signal))
            for what, picture in shown.items():
                picture.put(rows, self._evaluated(signal, what.state, looks[what]))
        return shown

    def _evaluated(
        self, signal: NDArray[np.float64], kind: State | Literal["light"], spec: LookSpec
    ) -> NDArray[np.float64]:
        """A fitted signal as a still holds it: a state's display R'G'B', or its scene light as ACES2065-1."""
        if kind == "log":
            return np.clip(signal, 0, 1)
        look = self.look(spec)
        return look.working.to_ap0(signal) if kind == "light" else look.evaluate(signal, kind)

    def _still(self, output: StillsSpec, still: StillSpec, shown: StillPicture) -> None:
        if output.output not in self.said:
            self.said[output.output] = output_metadata(self.job, output)
        said, timecode = self.said[output.output], self.start + (still.frame - self.job.first)
        final = still_name(self.job, output, still.file)
        temporary = f"{os.path.dirname(final)}/.{self.token}.part{os.path.splitext(still.file)[1]}"
        display = find_display(self.job.look_of(output).display) if output.state != "log" else None
        try:
            write_still(
                fresh(self.out, temporary),
                shown.codes_of(still.kind),
                still.kind,
                display=display,
                metadata=still_attributes(self.job, said, still.kind, timecode),
                xmp=still_xmp(self.job, said, still.kind, timecode),
            )
            move(self.out, temporary, final)
        finally:
            unlink(self.out, temporary)
        entry: dict[str, object] = {"file": still.file, "kind": still.kind, "frame": still.frame}
        entry["picture"], entry["digest"] = list(shown.box), shown.digest
        if still.kind != "exr" and output.state != "log":
            entry["tiles"] = shown.tiles
        self.made[output.output].append(entry)


class What(NamedTuple):
    """What a still shows of a framing: a state, in which look where that is told apart."""

    state: State | Literal["light"]
    look: str


def _what(output: StillsSpec, kind: str) -> What:
    state: State | Literal["light"] = "light" if kind == "exr" else output.state
    return What(state, output.look if state in ("show", "graded") else "")
