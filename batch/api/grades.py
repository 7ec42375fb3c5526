"""`rushlight grades`: the grades of a list for others, before or after the night, as .cdl, .ccc, EDL, AMF, .cube and .clf.

Only headers are read. A clip twice in the list with another range or grade is written twice, under names of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Unpack

from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.look import exact_look
from rushlight.batch.api.requests import RequestOptions, Undone, request_of
from rushlight.batch.decisions.aces_metadata_write import LookFile, aces_clip
from rushlight.batch.decisions.grade_export import GradedClip, look_file, write_handover
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.job.spec import LookSpec, LutSpec

__all__ = ["GradesResult", "graded_clips", "grades"]


@dataclass(frozen=True, kw_only=True)
class GradesResult:
    """The files that were written, and of what. Rows of the list that are wrong are in `set_aside`; `unsaid` is what ACES
    Metadata Files have no words for, each sentence with the clips it is true of."""

    folder: Path  # absolute
    files: tuple[Path, ...]
    clips: tuple[GradedClip, ...]
    set_aside: tuple[Undone, ...]
    unsaid: Mapping[str, tuple[str, ...]]

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        return {
            "schema": "rushlight-grades-1",
            "folder": str(self.folder),
            "files": [file.name for file in self.files],
            "clips": [
                {
                    "clip": c.name,
                    "reel": c.reel,
                    "start": str(c.start),
                    "frames": c.frames,
                    "graded": c.look.cdl is not None,
                    "look": c.look.digest(),
                }
                for c in self.clips
            ],
            "unsaid": [{"text": text, "clips": clips} for text, clips in self.unsaid.items()],
            "set_aside": [{"clip": each.clip, "error": str(each.error)} for each in self.set_aside],
        }


def grades(
    list: str | Path,
    *,
    to: str | Path,
    on_set_aside: Callable[[Undone], None] = lambda row: None,
    cancel: Cancel | None = None,
    **options: Unpack[RequestOptions],
) -> GradesResult:
    """Write the grades of a list into the folder `to`. `on_set_aside` is told each row that is wrong, ahead of the rest.

    OptionError where `to` is a file or no clip of the list can be planned; CancelledError where it was cancelled.
    """
    request, folder = request_of(list, options), Path(to)
    if folder.exists() and not folder.is_dir():
        raise OptionError("is a file; --to takes a folder", file=str(folder), key="--to")
    with reading(cancel):
        prepared = prepare(request)
    aside = tuple(Undone.of(*each) for each in (*prepared.plan.wrong, *prepared.plan.broken))
    for row in aside:
        on_set_aside(row)
    clips = graded_clips(prepared)
    if not clips:
        raise OptionError(
            "no clip of the list can be read, so there is no grade to write", file=str(request.clip_list)
        )
    stem = request.clip_list.absolute()
    name = request.title.text or (stem.name if stem.is_dir() else stem.stem)
    files = write_handover(folder, clips, name)
    return GradesResult(
        folder=folder.resolve(),
        files=tuple(files),
        clips=tuple(clips),
        set_aside=aside,
        unsaid=_unsaid(clips),
    )


def _unsaid(clips: Sequence[GradedClip]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for clip in clips:
        for text in clip.unsaid:
            found[text] = (*found.get(text, ()), clip.name)
    return found


def graded_clips(prepared: Prepared) -> list[GradedClip]:
    """The planned clips in the list's order, each with its exact look and the timecode of its first frame."""
    exact: dict[LookSpec, Look] = {}
    found = []
    for clip in prepared.plan.clips:
        specs = (clip.look, *clip.looks.values())
        exact |= {spec: exact_look(prepared, clip, spec) for spec in specs if spec not in exact}
        found.append(
            GradedClip(
                name=clip.stem,
                reel=clip.reel,
                start=clip.timecode,
                frames=clip.count,
                look=exact[clip.look],
                others=tuple(exact[spec] for spec in clip.looks.values()),
                original=aces_clip(clip.stem, clip.facts, clip.signal.levels),
                look_file=_look_file(prepared, clip.look.lut),
            )
        )
    return found


def _look_file(prepared: Prepared, lut: LutSpec | None) -> LookFile | None:
    return look_file(lut, lambda: prepared.luts.kept[PurePath(lut.path).name] if lut else b"")
