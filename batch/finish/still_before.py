"""The log picture of the frame that a clip's page shows as its still, framed alike: what the look was laid over.

It is made as the clip is finished, while its original is at hand; a report alone makes none. The values are the camera's, as grades
get them, and are shown as they stand.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report.page_pictures import STILL, shown_of, write_before
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import fit_of
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import Facts

__all__ = ["still_before"]


def still_before(job: JobSpec, facts: Facts, record: DeliveredRecord) -> None:
    """Write the picture beside the clip's others, where its page shows a still. SourceError where the original does not decode."""
    shown = shown_of(record)
    if shown is None:
        return
    entry, number = shown
    output = next(output for output in job.outputs if output.output == entry.output)
    scale = min(STILL[0] / entry.width, STILL[1] / entry.height, 1.0)
    width, height = (max(2, round(side * scale / 2) * 2) for side in (entry.width, entry.height))
    signal = Signal(job, facts)
    with open_source(facts, missing=job.source.missing, conform=job.source.conform) as source:
        image = signal.working(next(iter(source.frames(number, 1))).image)
    values, place = signal.fitted(image, fit_of(output.frame, width, height, facts))
    canvas = np.zeros((height, width, 3))
    canvas[place.y : place.y + place.height, place.x : place.x + place.width] = np.clip(values, 0, 1)
    write_before(Path(job.out), record, canvas)
