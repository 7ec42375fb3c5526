"""One segment: the single function that a worker runs.

read -> fit to raster -> look -> colour checksum -> burn-in -> encode, for all outputs of a job from one
decode. It knows no database and no plan, and writes under the output folder's `.work/` only.
"""

from __future__ import annotations

import json
import platform
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from functools import cache, partial
from pathlib import Path

import av

from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import SourceError, from_os
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.heartbeat import beat, frame_made
from rushlight.pipelines.inside_folder import is_file, move, path_of, stat_of, write
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import (
    build_look,
    opened_facts,
    segment_name,
    side_name,
    still_name,
)
from rushlight.pipelines.job.spec import JobSpec, LookSpec, MovieSpec, SegmentSpec, StillsSpec
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.original_baseline import Baseline, framings
from rushlight.pipelines.measure.out_of_range import corrected_look, corrects, pushed_of
from rushlight.pipelines.originals.frame_sources import SourceFrame, open_source
from rushlight.pipelines.render.picture import (
    Picture,
    copied,
    draw_missing,
    measured_light,
    rounded,
    tiles_of,
    written,
)
from rushlight.pipelines.render.segment_pictures import SegmentPictures, baked_look
from rushlight.pipelines.render.segment_stills import SegmentStills
from rushlight.pipelines.render.threads import Ahead, Behind
from rushlight.pipelines.render.who_grades import WhoGrades

__all__ = ["render_segment"]

SIDE_SCHEMA = "rushlight-segment-1"


def render_segment(
    payload: Mapping[str, object], index: int, token: str, threads: int = 1, graphics: str = "auto"
) -> dict[str, object]:
    """Render segment `index` of a job, or find that it is there. Gives what the queue keeps: small, JSON-able.

    Files are written under temporary names that carry `token` and renamed when complete. `threads` may share the decoding,
    resizing and encoding of a frame, for there are idle cores; `graphics` says whether a card may grade, or must (who_grades.py).
    What is made is the same with any.
    """
    job = JobSpec.parse(payload)
    segment = job.segments[index]
    movies = [o for o in job.outputs if isinstance(o, MovieSpec)] if segment.movies else []
    if all(is_file(Path(job.out), name) for name in _made(job, segment, movies)):
        return _result(job, segment, movies)
    with ExitStack() as stack:
        work = _Segment(job, segment, movies, token, stack, threads, graphics)
        work.run()
    work.keep()
    return _result(job, segment, movies, work.graded.why_not)


def _made(job: JobSpec, segment: SegmentSpec, movies: list[MovieSpec]) -> list[str]:
    """The files that a finished segment has left, from the output folder."""
    inside = range(segment.first, segment.first + segment.count)
    stills = [
        still_name(job, output, still.file)
        for output in job.outputs
        if isinstance(output, StillsSpec)
        for still in output.stills
        if still.frame in inside
    ]
    return [side_name(job, segment), *(segment_name(job, o, segment.index) for o in movies), *stills]


def _result(
    job: JobSpec, segment: SegmentSpec, movies: list[MovieSpec], no_card: str = ""
) -> dict[str, object]:
    out = Path(job.out)
    files = [
        {"path": str(out / name), "bytes": stat_of(out, name).st_size} for name in _made(job, segment, movies)
    ]
    told = {"machine": platform.node(), "no_card": no_card} if no_card else {}
    return {"index": segment.index, "frames": segment.count, "files": files, **told}


class _Segment:
    """The making of one segment."""

    def __init__(
        self,
        job: JobSpec,
        segment: SegmentSpec,
        movies: list[MovieSpec],
        token: str,
        stack: ExitStack,
        threads: int,
        graphics: str,
    ) -> None:
        self.job, self.segment, self.token, self.stack, self.threads = job, segment, token, stack, threads
        self.out = Path(job.out)
        self.rate = FrameRate.parse(job.rate)
        self.facts = opened_facts(job.source)
        self.signal = Signal(job, self.facts)
        self.start = Timecode.parse(job.timecode, self.rate)
        self.samples = set(colour_tiles.sampled_frames(job.count, self.rate.fraction))
        self.baseline = Baseline(
            pixel_format=self.signal.format,
            levels=job.source.levels,
            matrix=job.source.matrix,
        )
        self.graded = WhoGrades(graphics)
        made = SegmentPictures(
            job,
            segment,
            movies,
            facts=self.facts,
            signal=self.signal,
            start=self.start,
            token=token,
            stack=stack,
            threads=threads,
            rows=self.graded,
        )
        self.pictures, self.warnings = made.pictures, made.warnings
        self.damage: list[dict[str, object]] = []
        self.sensitivity: dict[str, float] = {}
        self.faults: list[dict[str, object]] = []
        self.pushed: Counter[str] = Counter()
        # An exact look is made only where a still or a middle frame asks for it. This knows no segment: what makes the
        # stills, and has it, would keep the segment's pictures beyond its end.
        self.exact: Callable[[LookSpec], Look] = cache(partial(build_look, out=self.out))
        self.corrected = corrected_look(job)
        self.stills = SegmentStills(
            job,
            self.facts,
            self.signal,
            self.start,
            token,
            self.exact,
            counted=not self.pictures,
        )

    # --- frame by frame

    def run(self) -> None:
        """All frames of the segment, through every output."""
        source = open_source(
            self.facts,
            missing=self.job.source.missing,
            conform=self.job.source.conform,
            threads=self.threads,
        )
        self.stack.callback(source.close)
        frames = self.stack.enter_context(Ahead(source.frames(self.segment.first, self.segment.count)))
        behind = self.stack.enter_context(Behind())
        for frame in frames:
            beat()
            self._note_damage(frame)
            image = self.signal.working(frame.image)
            self._count_pushed(image)
            if self.pictures:
                sampled = frame.number - self.job.first in self.samples
                self.baseline.note(image, missing=frame.missing, sampled=sampled)
            for picture in self.pictures:
                self._graded(picture, image, frame, behind)
            self.graded.note(frame.number)
            self.stills.take(image, frame.number)
            self._sense(image, frame.number)
            frame_made(self.token)
        behind.finish()
        for picture in self.pictures:
            for movie in picture.movies:
                movie.writer.close()
                move(self.out, movie.temporary, segment_name(self.job, movie.spec, self.segment.index))

    def _note_damage(self, frame: SourceFrame) -> None:
        if not frame.damage:
            return
        place = str(self.start + (frame.number - self.job.first))
        if self.job.source.damaged == "fail" and not frame.missing:
            raise SourceError(f"frame {frame.number} ({place}): {frame.damage}", file=self.job.source.path)
        lost = {"lost": True} if frame.lost else {}
        self.damage.append({"frame": frame.number, "timecode": place, "what": frame.damage, **lost})

    def _count_pushed(self, image: av.VideoFrame) -> None:
        """Count the pixels that the row's corrections push out of the encoding."""
        if corrects(self.corrected) and any(o.state == "graded" for o in self.job.outputs):
            look = self.exact(self.corrected)
            self.pushed.update(pushed_of(image, self.signal.format, self.job.source, look))

    def _graded(self, picture: Picture, image: av.VideoFrame, frame: SourceFrame, behind: Behind) -> None:
        fitted = picture.fitter.fit(image)
        graded, counts = picture.grader.grade(fitted, frame.number)
        slated = frame.missing and self.job.source.missing == "slate"
        if slated:
            draw_missing(picture, graded, frame.number)
        views, frames = planes(graded), picture.grader.frames
        picture.note(views, counts)
        offset = frame.number - self.job.first
        picture.note_level(views, frame.number, offset, self.rate.fraction)
        for k, movie in enumerate(picture.movies):
            if offset in self.samples:
                movie.tiles.append({"frame": frame.number, "values": tiles_of(picture, views, movie.covered)})
            last = k == len(picture.movies) - 1
            drawn = graded if last else copied(graded, frames)
            if movie.painter:
                movie.painter.paint(drawn, self._running(frame.number))
            if movie.lit:
                running = self._running(frame.number)
                movie.light.append(measured_light(picture, movie, fitted, frame.number, running, slated))
            behind.do(partial(written, movie, drawn, frames))

    def _running(self, number: int) -> dict[str, str]:
        offset = number - self.job.first
        return {
            "timecode": str(self.start + offset),
            "frame": str(offset),
            "source_frame": str(self.facts.first_number + number),
        }

    def _sense(self, image: av.VideoFrame, number: int) -> None:
        """Sensitivity: what a small wrong grade would do to the middle frame, and to stills, by framing: the
        yardstick of `verify`."""
        middle = number == self.job.first + self.job.count // 2
        outputs = [
            o
            for o in self.job.outputs
            if o.state == "graded"
            and (any(s.frame == number for s in o.stills) if isinstance(o, StillsSpec) else middle)
        ]
        by_look: dict[str, list[MovieSpec | StillsSpec]] = {}
        for output in sorted(outputs, key=lambda o: o.look != ""):
            by_look.setdefault(output.look_key, []).append(output)
        for key, alike in by_look.items():
            baked = self.job.baked.get(key)
            quick = baked_look(str(path_of(self.out, baked))) if baked else None
            look = self.exact(self.job.look_of(alike[0]))
            for names, signal in framings(alike, self.facts, self.signal, image):
                base, moved = colour_tiles.fault_tiles(look, signal, quick)
                if middle and not self.sensitivity:
                    self.sensitivity = colour_tiles.sensitivity(base, moved)
                kept = {name: rounded(tiles) for name, tiles in moved.items()}
                self.faults.append({"outputs": names, "frame": number, "moved": kept})

    # --- keeping

    def keep(self) -> None:
        """Write what was found out beside the pictures."""
        facts = {
            "schema": SIDE_SCHEMA,
            "first": self.segment.first,
            "pictures": [p.facts() for p in self.pictures],
            "movies": {
                m.spec.output: {"tiles": m.tiles, "covered": [list(c) for c in m.covered], "light": m.light}
                for p in self.pictures
                for m in p.movies
            },
            "stills": self.stills.made,
            "graded_by": self.graded.kept(),
            "damage": self.damage,
            "warnings": list(dict.fromkeys(self.warnings)),
            "sensitivity": self.sensitivity,
            "faults": self.faults,
            "original": self.baseline.kept(),
            "pushed": self.pushed,
            "seen": self.stills.seen,
        }
        side = side_name(self.job, self.segment)
        try:
            write(self.out, side, json.dumps(facts, separators=(",", ":")).encode())
        except OSError as error:
            raise from_os(error, self.out / side) from None
