"""Pictures of a segment and the movies that show them, set up from the job: what differs in nothing that is seen is one
picture, graded once."""

from __future__ import annotations

import json
import os
from contextlib import ExitStack
from functools import lru_cache
from pathlib import Path

from rushlight.pipelines.burnin.painter import Painter
from rushlight.pipelines.burnin.text_fields import running_room
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.formats.codecs import Tags, codec, siting
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.grading.bake import Baked, load_baked
from rushlight.pipelines.grading.grader import Grader, Rows
from rushlight.pipelines.inside_folder import fresh, path_of, unlink
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import (
    drawn_fields,
    fit_of,
    font_of,
    movie_tags,
    segment_name,
    segment_writer,
)
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, SegmentSpec
from rushlight.pipelines.originals.framing import Fitter, Placement, placement
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import states_light
from rushlight.pipelines.render.compiled import make_ready
from rushlight.pipelines.render.kinds import LIT, Kind
from rushlight.pipelines.render.picture import Movie, Picture, kept_painter

__all__ = ["SegmentPictures", "baked_look"]


@lru_cache(maxsize=8)
def baked_look(path: str) -> Baked:
    """A look as its file has it, kept for the next segment."""
    return load_baked(Path(path))


class SegmentPictures:
    """The pictures of one segment, and what is to be known of their movies (`warnings`).

    `rows` is who grades. Files are written under temporary names that carry `token`; `stack` closes and removes them where the segment fails.
    """

    def __init__(
        self,
        job: JobSpec,
        segment: SegmentSpec,
        movies: list[MovieSpec],
        *,
        facts: Facts,
        signal: Signal,
        start: Timecode,
        token: str,
        stack: ExitStack,
        threads: int,
        rows: Rows,
    ) -> None:
        self.job, self.segment, self.facts, self.signal, self.start = job, segment, facts, signal, start
        self.token, self.stack, self.threads, self.rows = token, stack, threads, rows
        self.out = Path(job.out)
        self.warnings: list[str] = []
        self._keyed: dict[str, Picture] = {}
        for spec in movies:
            picture = self._picture(spec)
            picture.movies.append(self._movie(spec, picture))
        self.pictures = list(self._keyed.values())

    def _picture(self, spec: MovieSpec) -> Picture:
        which = codec(spec.codec)
        pixel_format = find_pixel_format(which.pixel_format)
        assert pixel_format is not None
        tags = movie_tags(self.job, spec, self.facts)
        place_of_chroma = siting(which, tags)
        key = json.dumps(
            [
                spec.look_key,
                spec.width,
                spec.height,
                spec.frame.model_dump(mode="json"),
                which.pixel_format,
                place_of_chroma,
                tags.primaries,
                tags.transfer,
                tags.matrix,
                tags.levels,
                spec.dither,
            ]
        )
        if key in self._keyed:
            return self._keyed[key]
        fit = fit_of(spec.frame, spec.width, spec.height, self.facts)
        place = placement(fit, self.facts.width, self.facts.height, pixel_aspect=self.facts.pixel_aspect)
        fitter = Fitter(fit, self.signal.format, place, siting=self.signal.siting, threads=self.threads)
        picture = Picture(
            state=spec.state,
            look=spec.look,
            width=spec.width,
            height=spec.height,
            pixel_format=pixel_format,
            tags=tags,
            display=find_display(self.job.look_of(spec).display),
            fitter=fitter,
            place=place,
            grader=self._grader(spec, fitter, place, tags, pixel_format),
        )
        self._keyed[key] = picture
        return picture

    def _grader(
        self, spec: MovieSpec, fitter: Fitter, place: Placement, tags: Tags, target: PixelFormat
    ) -> Grader:
        make_ready(Kind.of(fitter.format, target, graded=spec.state != "log"))
        return Grader(
            baked_look(str(path_of(self.out, self.job.baked[spec.look_key])))
            if spec.state != "log"
            else None,
            source=fitter.format,
            source_levels=self.job.source.levels,
            source_chroma=self.job.source.chroma,
            source_matrix=self.job.source.matrix,
            source_top_sited=self.signal.siting == "top-left",
            target=target,
            target_levels=tags.levels,
            target_matrix=tags.matrix,
            siting=siting(codec(spec.codec), tags),
            width=spec.width,
            height=spec.height,
            placement=place,
            dither=spec.dither,
            rows=self.rows,
        )

    def _movie(self, spec: MovieSpec, picture: Picture) -> Movie:
        final = segment_name(self.job, spec, self.segment.index)
        temporary = f"{os.path.dirname(final)}/.{os.path.basename(final)}.{self.token}.part"
        self.stack.callback(unlink, self.out, temporary)
        painter = self._painter(spec, picture, picture.pixel_format)
        self.warnings += painter.warnings if painter else []
        lit = find_pixel_format(LIT) if states_light(spec.codec, picture.tags.transfer) else None
        grader = self._grader(spec, picture.fitter, picture.place, picture.tags, lit) if lit else None
        path = fresh(self.out, temporary)
        writer = self.stack.enter_context(
            segment_writer(path, self.job, spec, picture.tags, threads=self.threads)
        )
        return Movie(
            spec=spec,
            writer=writer,
            painter=painter,
            lit=grader,
            lit_painter=self._painter(spec, picture, lit) if lit else None,
            temporary=temporary,
        )

    def _painter(self, spec: MovieSpec, picture: Picture, pixel_format: PixelFormat) -> Painter | None:
        if not (spec.burnin or spec.guides or spec.lines):
            return None
        last = self.facts.first_number + self.facts.frames
        return kept_painter(
            spec.burnin and spec.burnin.model_copy(update={"font": font_of(self.job, spec)}),
            pixel_format,
            picture.tags.levels,
            (spec.width, spec.height),
            tuple(drawn_fields({**self.job.fields, **spec.fields}, spec.sound).items()),
            running_room(self.start, frames=self.job.count, last_number=last),
            spec.guides,
            picture.box,
            picture.tags.transfer,
            spec.lines,
        )
