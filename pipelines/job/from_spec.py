"""A job's plain values resolved: its look, its original's facts, its tags, its framing, and where its files lie.

What `render` and the finishing of a job both need to know alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.errors import ChangedError, SourceError, from_os
from rushlight.pipelines.formats.codecs import Tags, codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.inside_folder import path_of, read_bytes, same_time
from rushlight.pipelines.job.spec import JobSpec, LookSpec, MovieSpec, SegmentSpec, SourceSpec, StillsSpec
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.lut_nodes import AnyLut
from rushlight.pipelines.luts.lut_spaces import lut_output
from rushlight.pipelines.originals.framing import Fit, Placement, Rect
from rushlight.pipelines.originals.probe import Facts, probe
from rushlight.pipelines.outputs.segment_writer import MovieWriter
from rushlight.pipelines.recipe.model import Frame

__all__ = [
    "NO_SOUND",
    "box_in_raster",
    "build_look",
    "drawn_fields",
    "fit_of",
    "font_of",
    "movie_format",
    "movie_tags",
    "opened_facts",
    "segment_name",
    "segment_writer",
    "side_name",
    "still_name",
    "work_name",
    "working_format",
]

NO_SOUND = "no sound"  # as burn-in says it


def work_name(job: JobSpec) -> str:
    """Path of a job's unfinished files, from the output folder."""
    return f".work/{job.job}"


def segment_name(job: JobSpec, output: MovieSpec, index: int) -> str:
    """A finished segment of one output; named by identity, so that a changed output never finds an old one."""
    return f"{work_name(job)}/{output.identity}/{index:06d}.mov"


def side_name(job: JobSpec, segment: SegmentSpec) -> str:
    """Path of a segment's side file (digests, grids, tiles), beside its pictures."""
    key = "-".join(sorted(o.identity[:8] for o in job.outputs))
    return f"{work_name(job)}/facts/{segment.index:06d}-{segment.first}-{segment.count}-{key[:60]}.json"


def still_name(job: JobSpec, output: StillsSpec, file: str) -> str:
    """A finished still that has no final name yet."""
    return f"{work_name(job)}/{output.identity}/{file}"


def drawn_fields(fields: Mapping[str, str], sound: str) -> dict[str, str]:
    """A clip's burn-in fields as an output shows them: of one that carries no sound (by its lay) `sound` says so."""
    return {**fields, **({"sound": NO_SOUND} if sound in ("none", "silent") else {})}


def movie_format(job: JobSpec, output: MovieSpec, tags: Tags) -> MovieFormat:
    """The format of an output's pictures in its delivered container; `tags` are those of its display."""
    if output.transfer_tag is not None:
        tags = replace(tags, transfer=output.transfer_tag)
    return MovieFormat(
        codec=codec(output.codec),
        container=output.container,
        width=output.width,
        height=output.height,
        rate=FrameRate.parse(job.rate),
        tags=tags,
        quality=output.quality,
        preset=output.preset,
        peak=output.peak,
    )


def segment_writer(
    path: Path, job: JobSpec, output: MovieSpec, tags: Tags, *, threads: int = 1
) -> MovieWriter:
    """The writer of one segment of an output, whatever is in it: segments join only if all were written alike."""
    return MovieWriter(path, replace(movie_format(job, output, tags), container="mov"), threads=threads)


def font_of(job: JobSpec, output: MovieSpec) -> str:
    """The font that an output was given, as the output folder keeps it; "" for the default one."""
    return str(path_of(Path(job.out), output.font)) if output.font else ""


@lru_cache(maxsize=8)
def _lut(data: bytes, file: str) -> AnyLut:
    """A show LUT, kept: its clips share it, in the runner and in each worker. LutError where the file is none."""
    return parse_lut(data, file=file)


def build_look(spec: LookSpec, out: Path) -> Look:
    """The exact look of a job, its LUT from the output folder's inputs."""
    show_lut = None
    if spec.lut:
        gives = lut_output(spec.lut.output_space) if spec.lut.output_space else None
        path = out / spec.lut.path
        try:
            data = read_bytes(out, spec.lut.path)
        except OSError as error:
            raise from_os(error, path, reading=True) from None
        show_lut = ShowLut(
            name=spec.lut.name,
            lut=_lut(data, str(path)),
            interpolation=spec.lut.interpolation,
            input_levels=spec.lut.input,
            output_levels=spec.lut.output,
            encoding=find_encoding(spec.lut.input_space) if spec.lut.input_space else None,
            display=gives if isinstance(gives, Display) else None,
            scene=gives if isinstance(gives, Encoding) else None,
            contains_grade=spec.lut.contains_grade,
        )
    grade = CDL(**spec.grade.model_dump()) if spec.grade else None
    return Look(
        encoding=find_encoding(spec.encoding, exposure_index=spec.exposure_index),
        display=find_display(spec.display),
        exposure=spec.exposure,
        white_balance=spec.white_balance,
        printer_points=spec.printer_points,
        cdl=grade,
        cdl_space=spec.grade_space,
        show_lut=show_lut,
        transform=spec.transform,
        grade_order=spec.grade_order,
    )


def opened_facts(source: SourceSpec) -> Facts:
    """The original's facts, once it is sure to be the file that was planned. ChangedError if it is another."""
    rate = FrameRate.parse(source.rate) if source.rate else None
    facts = probe(Path(source.path), rate=rate, files=tuple(map(Path, source.files)))
    if facts.bytes != source.bytes or not same_time(facts.mtime_ns, source.mtime_ns):
        raise ChangedError("has changed since it was planned; run again", file=source.path)
    return facts


def working_format(look: LookSpec, facts: Facts) -> PixelFormat:
    """Pixel format of a clip's frames as grades work on them: the original's own; of scene-linear ones float, for ACEScct."""
    linear = find_encoding(look.encoding, exposure_index=look.exposure_index).kind == "linear"
    found = find_pixel_format("gbrpf32le") if linear else facts.pixel_format
    assert found is not None
    return found


def movie_tags(job: JobSpec, output: MovieSpec, facts: Facts) -> Tags:
    """Colour tags of one movie. A log picture has no display: its primaries and transfer stay unspecified, and
    its range tag is the original's own, whatever its curve's levels are."""
    which = codec(output.codec)
    if output.state == "log":
        matrix = facts.matrix if facts.pixel_format.family == "ycbcr" else 1
        return Tags(matrix=matrix, levels=facts.levels_tag or "narrow")
    display = find_display(job.look_of(output).display)
    return Tags(
        primaries=display.primaries,
        transfer=display.transfer,
        matrix=which.matrix or display.matrix,
        levels=which.levels,
    )


def fit_of(frame: Frame, width: int, height: int, facts: Facts) -> Fit:
    """The recipe's framing as the raster takes it. SourceError where an extraction area is for another raster.

    A turn by 180 degrees or a mirror that the header states comes first: the area is drawn on the upright picture.
    """
    extraction = None
    if frame.area:
        raster = frame.area.raster
        if (raster.width, raster.height) != (facts.width, facts.height):
            raise SourceError(
                f"is {facts.width}x{facts.height}; the extraction area is drawn for {raster}",
                file=str(facts.path),
            )
        area = frame.area
        x, y = _stored_at(area.x, area.y, area.width, area.height, facts)
        extraction = Rect(x=int(x), y=int(y), width=area.width, height=area.height)
    return Fit(
        width=width,
        height=height,
        mode=frame.mode,
        desqueeze=frame.desqueeze,
        rotate=180 if (frame.rotate == 180) != (facts.rotation == 180) else 0,
        flip=frame.flip,
        flop=frame.flop != facts.mirrored,
        extraction=extraction,
    )


def _stored_at(x: float, y: float, width: float, height: float, facts: Facts) -> tuple[float, float]:
    """Where the corner of an area of the upright picture lies in the picture as it is stored."""
    if facts.rotation == 180:
        y = facts.height - y - height
    if facts.mirrored != (facts.rotation == 180):
        x = facts.width - x - width
    return x, y


def box_in_raster(
    x: float, y: float, width: float, height: float, *, fit: Fit, place: Placement, facts: Facts
) -> Rect:
    """An area of the upright original, in its pixels, as the output's raster shows it: edges to the nearest pixel. It may reach
    outside."""
    x, y = _stored_at(x, y, width, height, facts)
    across, down = place.width / place.crop.width, place.height / place.crop.height
    left, top = (x - place.crop.x) * across, (y - place.crop.y) * down
    wide, high = width * across, height * down
    if fit.flop != (fit.rotate == 180):
        left = place.width - left - wide
    if fit.flip != (fit.rotate == 180):
        top = place.height - top - high
    x0, x1 = round(place.x + left), round(place.x + left + wide)
    y0, y1 = round(place.y + top), round(place.y + top + high)
    return Rect(x=x0, y=y0, width=x1 - x0, height=y1 - y0)
