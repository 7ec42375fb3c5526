"""Grades for others: each clip's decision as .cdl and its look as an AMF, all decisions as .ccc and in EDLs, each look as a .cube and a .clf.

Sources: ASC CDL v1.2 for the XML, whose ids are the clips' names as delivered; the EDL is CMX 3600 with the names
of clips and reels uncut and the ASC_SOP and ASC_SAT comments of the trade. An EDL counts at one rate and in one
way, holds 999 events and ends before its record time comes round: further ones are numbered. A clip that rolls
over midnight stands in one of its own, for there are readers that refuse a whole EDL for it.
"""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath

import numpy as np

from rushlight.batch.decisions.aces_metadata_write import (
    AcesClip,
    LookFile,
    aces_documents,
    same_document,
    unsaid_of,
)
from rushlight.pipelines.colour.cdl import CDL, format_ccc, format_cdl, format_edl_comments
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import OutsideError, from_os
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import file_name, read_bytes, unlink, write
from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import JobSpec, LutSpec
from rushlight.pipelines.luts.clf import format_clf
from rushlight.pipelines.luts.cube_lut import format_cube
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.portable_name import safe_name

__all__ = [
    "GradedClip",
    "edls",
    "graded_clip",
    "handover_files",
    "look_file",
    "look_luts",
    "write_handover",
]

EVENTS = 999
CUBE_SIZE = 33


@dataclass(frozen=True, kw_only=True, eq=False)
class GradedClip:
    """One clip and its grade, as others need to know them. `start` is the timecode of its first delivered
    frame; `original` how an ACES Metadata File names it, where more is known than its name; `look_file` the file of a
    show LUT that gives a scene; `others` are looks of outputs that do
    not show its own, of which LUTs are written."""

    name: str
    reel: str
    start: Timecode
    frames: int
    look: Look
    original: AcesClip | None = None
    look_file: LookFile | None = None
    others: tuple[Look, ...] = ()

    @property
    def unsaid(self) -> Sequence[str]:
        """What its ACES Metadata File has no words for."""
        return unsaid_of(self.look, self.look_file)

    @property
    def looks(self) -> dict[str, Look]:
        """All its looks by digest."""
        return {look.digest(): look for look in (self.look, *self.others)}


def look_file(lut: LutSpec | None, data: Callable[[], bytes]) -> LookFile | None:
    """A LUT's file, which `data` gives, as an ACES Metadata File names it; None for one that leads to a display or is no UTF-8."""
    if lut is None or not lut.gives_scene:
        return None
    try:
        text = data().decode()
    except UnicodeDecodeError:
        return None
    digest = lut.digest.partition(":")[2]
    return f"{safe_name(lut.name)} {digest[:8]}{PurePath(lut.path).suffix}", text


def graded_clip(job: JobSpec) -> GradedClip:
    """A job's clip, with its exact look."""
    rate = FrameRate.parse(job.rate)
    return GradedClip(
        name=job.stem,
        reel=job.reel,
        start=Timecode.parse(job.timecode, rate),
        frames=job.count,
        look=build_look(job.look, Path(job.out)),
        others=tuple(build_look(look, Path(job.out)) for look in job.looks.values()),
        original=AcesClip(name=job.stem, original=Path(job.source.path).name, levels=job.source.levels),
        look_file=look_file(lut := job.look.lut, lambda: read_bytes(Path(job.out), lut.path) if lut else b""),
    )


def look_luts(look: Look, size: int = CUBE_SIZE, comments: Sequence[str] = ()) -> dict[str, str]:
    """A whole look as a 3D LUT, its text by suffix (`.cube`, `.clf`): from the camera's signal 0..1 to display R'G'B' 0..1, by the
    exact evaluation."""
    axis = np.linspace(0.0, 1.0, size)
    table = look.evaluate(np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1))
    lut = Lut(title=look.describe(), table=table)
    takes, gives = f"{look.working.name}, the curve's 0 to 1", f"{look.display.name}, full levels"
    named = f"Look {look.digest()}"
    return {
        ".cube": format_cube(lut, (look.describe(), f"In: {takes}. Out: {gives}.", named, *comments)),
        ".clf": format_clf(lut, ident=look.digest(), takes=takes, gives=gives, comments=(named, *comments)),
    }


def handover_files(
    clips: Sequence[GradedClip], title: str, *, made: datetime.datetime
) -> Iterator[tuple[str, str | None]]:
    """Names and texts, one after another; None for a name at which there must be nothing (a clip without a grade). `made` is
    the time, with a zone, that ACES Metadata Files state."""
    names = _names(clips)
    yield from _aces_files(clips, names, made)
    graded = []
    for clip, name in zip(clips, names, strict=True):
        if clip.look.cdl:
            graded.append(_decision(clip, name))
        yield f"{safe_name(name)}.cdl", format_cdl(graded[-1:]) if clip.look.cdl else None
    yield f"{safe_name(title)}.ccc", format_ccc(graded) if graded else None
    for suffix, text in edls(clips, title):
        yield f"{safe_name(title)}{suffix}.edl", text
    shown = [clip.looks for clip in clips]
    looks = {digest: look for each in shown for digest, look in each.items()}
    for digest, look in looks.items():
        users = [name for each, name in zip(shown, names, strict=True) if digest in each]
        stem = f"{look.working.name} to {look.display.name}".replace("/", "-")
        some = shortened(users, 8)
        name = f"{safe_name(stem)} {digest.partition(':')[2][:8]}"
        for suffix, text in look_luts(look, comments=[f"Clips: {some}"]).items():
            yield f"{name}{suffix}", text


def _aces_files(
    clips: Sequence[GradedClip], names: Sequence[str], made: datetime.datetime
) -> Iterator[tuple[str, str]]:
    """An ACES Metadata File a clip, and the look files that they name. Of clips of one name, none names its original: it would
    be the other's as well."""
    files: dict[str, str] = {}
    for clip, name in zip(clips, names, strict=True):
        original = clip.original or AcesClip(name=name)
        if name != clip.name:
            original = AcesClip(name=name, levels=original.levels)
        found = aces_documents(clip.look, original, made=made, look_file=clip.look_file)
        files |= found.files
        yield f"{safe_name(name)}.amf", found.text
    yield from files.items()


def write_handover(
    folder: Path, clips: Sequence[GradedClip], title: str, *, made: datetime.datetime | None = None
) -> list[Path]:
    """Write them all into `folder`, each under a temporary name first; gives the files that are there now. `made` is now, unless
    given. An ACES Metadata File that says the same already keeps its dates.

    ResourceError or DeliveryError where one cannot be written. Files of other names are left alone.
    """
    there = []
    for name, text in handover_files(clips, title, made=made or datetime.datetime.now(datetime.UTC)):
        try:
            if text is None:
                unlink(folder, file_name(name))
                continue
            folder.mkdir(parents=True, exist_ok=True)
            if not (name.endswith(".amf") and _is_there(folder, name, text)):
                write(folder, file_name(name), text.encode())
        except OSError as error:
            raise from_os(error, folder / name) from None
        there.append(folder / name)
    return there


def _is_there(folder: Path, name: str, text: str) -> bool:
    try:
        return same_document(read_bytes(folder, file_name(name)).decode("utf-8", "replace"), text)
    except (OSError, OutsideError):
        return False


def _names(clips: Sequence[GradedClip]) -> list[str]:
    """A name of its own for each clip: its own where it is alone, with the reel or a number where it is not."""
    plain = Counter(clip.name.casefold() for clip in clips)
    found: list[str] = []
    for clip in clips:
        name = clip.name if plain[clip.name.casefold()] == 1 or not clip.reel else f"{clip.name}.{clip.reel}"
        number, base = 2, name
        while name.casefold() in {f.casefold() for f in found}:
            name = f"{base}.{number}"
            number += 1
        found.append(name)
    return found


def _decision(clip: GradedClip, name: str) -> CDL:
    """The clip's CDL with its name, and in words what its numbers are over and what they leave out."""
    cdl = clip.look.cdl
    assert cdl is not None
    look = clip.look
    place = "ACEScct" if look.cdl_space == "ACEScct" else look.working.name
    parts = [cdl.description] if cdl.description else []
    if look.grade_order == "after":
        parts.append(f"after the show transform, in {look.display.name}")
    else:
        parts.append(f"in {place}")
    if not cdl.clamp:
        parts.append("not clamped")
    left_out = [
        text
        for text, there in (
            ("exposure", look.exposure),
            ("white balance", look.white_balance),
            ("printer points", look.printer_points),
        )
        if there
    ]
    if left_out:
        parts.append(f"the look also has {', '.join(left_out)}, which this does not hold")
    return replace(cdl, id=name, description="; ".join(parts))


def edls(clips: Sequence[GradedClip], title: str) -> Iterator[tuple[str, str]]:
    """EDLs of the clips end to end: a suffix for the name ("" where one is enough) and the text."""
    counted: dict[tuple[FrameRate, bool, bool], list[GradedClip]] = {}
    for clip in clips:
        rate, drop = clip.start.rate, clip.start.drop
        over = clip.start.frames + clip.frames >= rate.day(
            drop=drop
        )  # its out, exclusive, is midnight or later
        counted.setdefault((rate, drop, over), []).append(clip)
    ways = {(rate, drop) for rate, drop, _ in counted}
    for (rate, drop, over), group in counted.items():
        kind = f" {rate}{' drop' if drop else ''}" if len(ways) > 1 else ""
        kind += " over midnight" if over else ""
        parts = list(_parts(group, rate.day(drop=drop)))
        for number, part in enumerate(parts, 1):
            suffix = kind + (f" {number}" if len(parts) > 1 else "")
            yield suffix, _edl(part, f"{title}{suffix}", rate, drop)


def _parts(clips: Sequence[GradedClip], day: int) -> Iterator[list[GradedClip]]:
    room = day * 23 // 24  # record time starts at one hour
    part: list[GradedClip] = []
    used = 0
    for clip in clips:
        if part and (len(part) == EVENTS or used + clip.frames > room):
            yield part
            part, used = [], 0
        part.append(clip)
        used += clip.frames
    if part:
        yield part


def _edl(clips: Sequence[GradedClip], title: str, rate: FrameRate, drop: bool) -> str:
    lines = [f"TITLE: {_line(title)}", f"FCM: {'DROP FRAME' if drop else 'NON-DROP FRAME'}"]
    record = Timecode.parse(f"01:00:00{';' if drop else ':'}00", rate)
    for number, clip in enumerate(clips, 1):
        times = (clip.start, clip.start + clip.frames, record, record + clip.frames)
        record = record + clip.frames
        lines.append("")
        lines.append(f"{number:03}  {_reel(clip.reel)}  V  C  {' '.join(map(str, times))}")
        lines.append(f"* FROM CLIP NAME: {_line(clip.name)}")
        if clip.look.cdl:
            lines += format_edl_comments(clip.look.cdl).splitlines()
    return "\n".join(lines) + "\n"


def _line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


def _reel(reel: str) -> str:
    """A reel as one word of an EDL line; AX (no reel) is common practice, no source."""
    return re.sub(r"\s+", "_", _line(reel).strip()) or "AX"
