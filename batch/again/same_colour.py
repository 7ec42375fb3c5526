"""Whether what was made again has the colour that it had: the digests of its pictures against those that the delivery's record has.

The digests are of the pictures before burn-in and encoding: equal ones are equal to the last bit, whatever the bytes of the files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.json_lines import parse_lines
from rushlight.batch.records.colour import Picture
from rushlight.batch.records.files import DeliveredStill
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.side_files import FrameLine
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import read_bytes

__all__ = ["SameColour", "same_colour"]

SHOWN = 6  # clips that a sentence names


@dataclass(frozen=True, kw_only=True)
class SameColour:
    """Clips by what their colour is beside that of the delivery that they were made again of."""

    same: tuple[str, ...]
    differs: tuple[str, ...]
    unknown: tuple[str, ...]  # nothing there can be compared with them

    def sentences(self, origin: Path, out: Path) -> Iterator[tuple[bool, str]]:
        """Sentences on it, each with True where it is a warning."""
        if self.same:
            yield (
                False,
                f"colour: {counted(len(self.same), 'clip')} as in {origin}, every frame to the last bit",
            )
        if self.differs:
            how = (
                f"; `rushlight verify {out} --against {origin}` says by how much"
                if out.resolve() != origin.resolve()
                else ""
            )
            yield (
                True,
                f"colour: {counted(len(self.differs), 'clip')} not as in {origin}: {shortened(self.differs, SHOWN)}{how}",
            )
        if self.unknown:
            yield (
                False,
                f"colour: {counted(len(self.unknown), 'clip')} with nothing to compare with in {origin}: {shortened(self.unknown, SHOWN)}",
            )


def same_colour(
    origin: Path, before: Mapping[str, JobRecord], out: Path, records: Iterable[JobRecord]
) -> SameColour:
    """Hold records of what was made in `out` against those that an output folder or a closed delivery had, `before`."""
    found: dict[bool | None, list[str]] = {True: [], False: [], None: []}
    for record in records:
        there = before.get(record.job) or _whole(record, before)
        found[_same(origin, there, out, record) if there else None].append(record.clip)
    return SameColour(same=tuple(found[True]), differs=tuple(found[False]), unknown=tuple(found[None]))


def _whole(part: JobRecord, before: Mapping[str, JobRecord]) -> JobRecord | None:
    """The record of the clip that an excerpt is of."""
    if not part.excerpt:
        return None
    clip = part.clip.removesuffix(f" {part.excerpt}")
    fits = (r for r in before.values() if r.clip == clip and not r.excerpt)
    return next((r for r in fits if r.first_frame <= part.first_frame < r.first_frame + r.frames), None)


def _same(origin: Path, there: JobRecord, out: Path, record: JobRecord) -> bool | None:
    """True where all that both have is alike, False where anything is not, None where they have nothing in common."""
    found = list[bool]()
    range_alike = (there.first_frame, there.frames) == (record.first_frame, record.frames)
    theirs = {name: picture for picture in there.colour.pictures for name in picture.outputs}
    for picture in record.colour.pictures:
        other = next((theirs[name] for name in picture.outputs if name in theirs), None)
        if other is None or _kind(other) != _kind(picture):
            continue
        if range_alike:
            found.append(other.digest == picture.digest)
        else:
            ours, known = _frames(out, picture), _frames(origin, other)
            found += [known[number] == digest for number, digest in ours.items() if number in known]
    stills = {_still(e): e.digest for e in there.outputs if isinstance(e, DeliveredStill)}
    made = (e for e in record.outputs if isinstance(e, DeliveredStill) and _still(e) in stills)
    found += [stills[_still(e)] == e.digest for e in made]
    return all(found) if found else None


def _kind(picture: Picture) -> tuple[str, str, str]:
    return picture.state, picture.raster, picture.pixel_format


def _still(entry: DeliveredStill) -> tuple[object, ...]:
    return entry.output, entry.frame, entry.still_kind, entry.state, entry.width, entry.height


def _frames(folder: Path, picture: Picture) -> dict[int, str]:
    """Digests of a picture's frames by number in the original; none where its side file is gone."""
    try:
        data = read_bytes(folder, picture.frames) if picture.frames else b""
    except (OSError, OutsideError):
        return {}
    lines, _ = parse_lines(data, FrameLine.read, file=str(folder / picture.frames))
    return {line.frame: line.digest for _, line in lines if line.picture == picture.index}
