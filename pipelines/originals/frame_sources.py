"""Originals as frames by number: frame N is frame N, whatever the container's index says.

Opened read-only. Damage never shifts a number: a frame that cannot be decoded is given as the one before it
(or black), with the damage named.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Literal, Self

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.errors import RushlightError, SourceError, said
from rushlight.pipelines.formats.media_libraries import image_fault
from rushlight.pipelines.formats.pixel_formats import new_frame, planes
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.image_sequences import as_stored, refusal, rgb_channels
from rushlight.pipelines.originals.movie_decoder import Reading
from rushlight.pipelines.originals.probe import Facts

if TYPE_CHECKING:
    from OpenImageIO import ImageSpec

__all__ = ["MovieSource", "SequenceSource", "Source", "SourceFrame", "SpanSource", "open_source"]

Missing = Literal["fail", "hold", "slate"]


@dataclass(frozen=True, kw_only=True, eq=False)
class SourceFrame:
    """One frame of an original. `damage` says what is wrong with it; `missing` that there is no such file."""

    number: int
    image: av.VideoFrame
    damage: str = ""
    missing: bool = False
    lost: bool = False  # nothing of it was decoded: the one before stands in, or black


class MovieSource:
    """Frames of one movie file. `conform` takes one of variable rate frame for frame: numbers count pictures, not time."""

    def __init__(self, facts: Facts, *, conform: bool = False, threads: int = 1) -> None:
        self.facts = facts
        self._reading = Reading(facts, conform=conform, threads=threads)
        self._reformatter = av.video.reformatter.VideoReformatter()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go."""
        self._reading.close()

    def frames(self, first: int, count: int) -> Iterator[SourceFrame]:
        """`count` frames from number `first`, in order, each once."""
        wanted = first
        last: av.VideoFrame | None = None
        note = ""
        for number, image, damage in self._reading.pictures(first):
            if number is None or image is None:
                note = damage
                continue
            alike = (image.width, image.height) == (self.facts.width, self.facts.height)
            if number < wanted:
                beat()
                last = image if alike else last
                continue
            while wanted < min(number, first + count):
                yield self._lost(wanted, last, note or "the frame is absent from the file")
                wanted += 1
                note = ""
            if wanted >= first + count:
                return
            if not alike:
                what = f"is {image.width}x{image.height}, the clip {self.facts.width}x{self.facts.height}"
                yield self._lost(wanted, last, what)
            else:
                yield SourceFrame(number=wanted, image=self._planar(image), damage=damage)
                last = image
            wanted += 1
            if wanted == first + count:
                return
        while wanted < first + count:
            yield self._lost(wanted, last, note or "the file ends before this frame")
            wanted += 1

    def _lost(self, number: int, last: av.VideoFrame | None, damage: str) -> SourceFrame:
        image = self._planar(last) if last is not None else _black(self.facts)
        return SourceFrame(number=number, image=image, damage=damage, lost=True)

    def _planar(self, image: av.VideoFrame) -> av.VideoFrame:
        name = self.facts.pixel_format.name
        if image.format.name == name:
            return image
        return self._reformatter.reformat(image, format=name, threads=1)


class SpanSource:
    """Frames of a movie in several files, numbered through; one file is open at a time."""

    def __init__(self, facts: Facts, *, threads: int = 1) -> None:
        self.facts = facts
        self._threads = threads

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Nothing is held open between runs of frames."""

    def frames(self, first: int, count: int) -> Iterator[SourceFrame]:
        """`count` frames from number `first` of the whole clip."""
        begin = 0
        for part in self.facts.parts:
            low, high = max(first, begin), min(first + count, begin + part.frames)
            if low < high:
                with MovieSource(part, threads=self._threads) as source:
                    for frame in source.frames(low - begin, high - low):
                        yield replace(frame, number=frame.number + begin)
            begin += part.frames


class SequenceSource:
    """Frames of an image sequence: RGB planes with the file's own codes, or scene-linear float."""

    def __init__(self, facts: Facts, *, missing: Missing = "fail") -> None:
        self.facts = facts
        self.missing = missing
        absent = set(facts.missing)
        present = (n for n in range(facts.frames) if n not in absent)
        self._files: dict[int, Path] = dict(zip(present, facts.files, strict=True))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Nothing is held open between frames."""

    def frames(self, first: int, count: int) -> Iterator[SourceFrame]:
        """`count` frames from number `first`. SourceError for a missing file where the policy is to fail."""
        last: av.VideoFrame | None = None
        for number in range(first, first + count):
            path = self._files.get(number)
            if path is None:
                yield self._absent(number, last)
                continue
            image, damage = _read(path, self.facts)
            lost = image is None
            if image is None:
                image = last if last is not None else _black(self.facts)
            yield SourceFrame(number=number, image=image, damage=damage, lost=lost)
            last = image

    def _absent(self, number: int, last: av.VideoFrame | None) -> SourceFrame:
        if self.missing == "fail":
            raise SourceError(
                f"file number {self.facts.first_number + number} is missing", file=str(self.facts.path)
            )
        if self.missing == "hold" and last is None:
            earlier = max((n for n in self._files if n < number), default=None)
            last = _read(self._files[earlier], self.facts)[0] if earlier is not None else None
        image = last if self.missing == "hold" and last is not None else _black(self.facts)
        return SourceFrame(number=number, image=image, damage="the file is missing", missing=True, lost=True)


def _black(facts: Facts) -> av.VideoFrame:
    image = new_frame(facts.pixel_format, facts.width, facts.height)
    neutral = 1 << (facts.pixel_format.bits - 1)
    for index, plane in enumerate(planes(image)):
        if facts.pixel_format.family == "ycbcr":
            plane[:] = neutral if index else 64 << (facts.pixel_format.bits - 8) >> 2
        else:
            plane[:] = 0
    return image


def _read(path: Path, facts: Facts) -> tuple[av.VideoFrame | None, str]:
    """The picture of one file over its display window, and what is wrong with it, whatever the library raises."""
    try:
        return _picture(path, facts)
    except (RushlightError, MemoryError):
        raise
    except Exception as error:
        return None, f"{path.name} cannot be read: {said(error)}"


def _picture(path: Path, facts: Facts) -> tuple[av.VideoFrame | None, str]:
    import OpenImageIO as oiio

    reader = oiio.ImageInput.open(str(path), as_stored())
    if reader is None:
        return None, f"{path.name} does not open: {image_fault()}"
    try:
        spec = reader.spec()
        pixel_format = facts.pixel_format
        if (spec.full_width, spec.full_height) != (facts.width, facts.height):
            return (
                None,
                f"{path.name} is {spec.full_width}x{spec.full_height}, the sequence {facts.width}x{facts.height}",
            )
        kind = oiio.FLOAT if pixel_format.is_float else oiio.UINT8 if pixel_format.bits == 8 else oiio.UINT16
        if why := refusal(spec):
            return None, f"{path.name} {why}"
        at = rgb_channels(spec)
        low, high = min(at), max(at) + 1
        pixels = reader.read_image(0, 0, low, high, kind)
        if pixels is None or reader.has_error:
            return None, f"{path.name} does not read whole: {image_fault(reader)}"
    finally:
        reader.close()
    if pixel_format.bits in (10, 12):
        pixels = pixels >> (16 - pixel_format.bits)
    image = new_frame(pixel_format, facts.width, facts.height)
    whole = (spec.x, spec.y, spec.width, spec.height) == (
        spec.full_x,
        spec.full_y,
        spec.full_width,
        spec.full_height,
    )
    for plane, channel in zip(planes(image), at, strict=True):
        if whole:
            plane[:] = pixels[..., channel - low]
        else:
            _window(plane, pixels[..., channel - low], spec)
    return image, ""


def _window(plane: NDArray[np.generic], pixels: NDArray[np.generic], spec: ImageSpec) -> None:
    """Lay the data window over the display window: outside it is 0, what reaches beyond is cut."""
    plane[:] = 0
    left, top = spec.x - spec.full_x, spec.y - spec.full_y
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + spec.width, spec.full_width), min(top + spec.height, spec.full_height)
    if x1 > x0 and y1 > y0:
        plane[y0:y1, x0:x1] = np.asarray(pixels)[y0 - top : y1 - top, x0 - left : x1 - left]


Source = MovieSource | SpanSource | SequenceSource


def open_source(
    facts: Facts, *, missing: Missing = "fail", conform: bool = False, threads: int = 1
) -> Source:
    """The source for these facts. `conform` takes a variable-rate movie frame for frame."""
    if facts.kind == "sequence":
        return SequenceSource(facts, missing=missing)
    if facts.parts:
        return SpanSource(facts, threads=threads)
    return MovieSource(facts, conform=conform, threads=threads)
