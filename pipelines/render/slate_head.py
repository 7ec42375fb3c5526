"""The slate card at a movie's head, as a segment of its own: frames before the clip's first, outside every measurement.

The colour checksum knows nothing of it, since a card is no picture of the clip.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.burnin.text_fields import card_facts
from rushlight.pipelines.formats.codecs import codec, siting
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import (
    build_look,
    drawn_fields,
    fit_of,
    font_of,
    movie_tags,
    segment_writer,
)
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.framing import Placement, Rect
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import light_of, states_light
from rushlight.pipelines.outputs.segment_writer import Tags
from rushlight.pipelines.render.kinds import LIT
from rushlight.pipelines.render.picture import kept_painter
from rushlight.pipelines.render.slate_card import slate_card

__all__ = ["Head", "display_frame", "write_head"]

SHARE = 0.6  # of the card, that its still takes


@dataclass(frozen=True, kw_only=True)
class Head:
    """Facts found in making the head: the light of one frame, where the movie states light, and what is to be
    said."""

    light: tuple[float, float] | None
    warnings: tuple[str, ...]


def write_head(path: Path, job: JobSpec, output: MovieSpec, facts: Facts) -> Head:
    """`output.card` frames of the clip's card in `path`, encoded as a segment of that output. The still on it is the
    clip's middle frame in the output's framing; a watermark lies over the card as over the picture."""
    tags, rate = movie_tags(job, output, facts), FrameRate.parse(job.rate)
    look = build_look(job.look_of(output), Path(job.out))
    assert output.state != "log"  # a card is a picture of the look's display
    card = slate_card(
        output.width,
        output.height,
        title=job.fields.get("clip", job.stem),
        facts=card_facts(
            {**job.fields, **output.fields},
            state=output.state,
            first=Timecode.parse(job.timecode, rate),
            count=job.count,
            encoding=look.encoding.name,
        ),
        look=look,
        state=output.state,
        still=look.evaluate(_still(job, output, facts), output.state),
        font=font_of(job, output),
    )
    frame, warnings = display_frame(card.picture, job, output, tags, codec(output.codec).pixel_format)
    light = None
    if states_light(output.codec, tags.transfer):
        light = light_of(display_frame(card.picture, job, output, tags, LIT)[0], matrix=tags.matrix)
    with segment_writer(path, job, output, tags) as writer:
        for _ in range(output.card):
            beat()
            writer.write(frame)
    return Head(light=light, warnings=(*card.warnings, *warnings))


def _still(job: JobSpec, output: MovieSpec, facts: Facts) -> NDArray[np.float64]:
    """The signal of the clip's middle frame, as the output frames it, of about the size that it has on the card."""
    signal = Signal(job, facts)
    with open_source(facts, missing=job.source.missing, conform=job.source.conform) as source:
        image = next(iter(source.frames(job.first + job.count // 2, 1))).image
    width, height = (max(2, round(SHARE * size / 2) * 2) for size in (output.width, output.height))
    fit = fit_of(output.frame, width, height, facts)
    return signal.fitted(signal.working(image), fit)[0]


def display_frame(
    picture: NDArray[np.float64], job: JobSpec, output: MovieSpec, tags: Tags, name: str
) -> tuple[av.VideoFrame, list[str]]:
    """Display R'G'B' as codes of a pixel format, the output's watermark over it, and what could not be drawn.
    Rounded and not dithered: flat patches are flat."""
    source, target = find_pixel_format("gbrpf32le"), find_pixel_format(name)
    assert source is not None and target is not None
    height, width, _ = picture.shape
    frame = new_frame(source, width, height)
    for k, plane in enumerate(planes(frame)):
        plane[:] = picture[..., k]
    whole = Rect(x=0, y=0, width=width, height=height)
    grader = Grader(
        None,
        source=source,
        source_levels=tags.levels,
        target=target,
        target_levels=tags.levels,
        target_matrix=tags.matrix,
        siting=siting(codec(output.codec), tags),
        width=width,
        height=height,
        placement=Placement(crop=whole, x=0, y=0, width=width, height=height),
    )
    drawn = grader.grade(frame, 0)[0]
    if not (output.burnin and output.burnin.watermark):
        return drawn, []
    painter = kept_painter(
        output.burnin.model_copy(update={"text": (), "font": font_of(job, output)}),
        target,
        tags.levels,
        (width, height),
        tuple(drawn_fields({**job.fields, **output.fields}, output.sound).items()),
        (),
        None,
        (0, 0, width, height),
        tags.transfer,
    )
    painter.paint(drawn, {})
    return drawn, painter.warnings
