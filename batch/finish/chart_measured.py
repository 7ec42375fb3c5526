"""The chart that a row says is in its picture, measured in one frame of the original as the clip is finished."""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.records.colour import Chart, chart_record
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.measure.chart_in_picture import chart_found, chart_place, patch_light
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.framing import Fit
from rushlight.pipelines.originals.probe import Facts

__all__ = ["chart_measured"]


def chart_measured(job: JobSpec, facts: Facts) -> tuple[Chart | None, list[str]]:
    """The chart, and a warning where the row names one that could not be measured: that costs no clip."""
    text = (PlannedRecord.read(job.record).row or {}).get("chart", "")
    start = Timecode.parse(job.timecode, FrameRate.parse(job.rate))
    try:
        place = chart_place(text, start, job.count)
        if place is None or place.offset >= job.count:  # the plan has said that it lies outside
            return None, []
        number, signal = job.first + place.offset, Signal(job, facts)
        with open_source(facts, missing=job.source.missing, conform=job.source.conform) as source:
            image = signal.working(next(iter(source.frames(number, 1))).image)
        values, _ = signal.fitted(image, Fit(width=facts.width, height=facts.height, mode="stretch"))
        look = build_look(job.look, Path(job.out))
        found = chart_found(patch_light(values, look, place), look)
    except RushlightError as error:
        return None, [f"the chart in the picture was not measured: {error.text}"]
    return chart_record(place, found, frame=number, timecode=str(start + place.offset)), []
