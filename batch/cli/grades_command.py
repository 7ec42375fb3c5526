"""`rushlight grades`: the grades of a list for others, before or after the night, as .cdl, .ccc, EDL and .cube.

Only headers are read. A clip twice in the list with another range or grade is written twice, under names of its own.
"""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.cli.look_command import exact_look
from rushlight.batch.console import say, say_json
from rushlight.batch.decisions.grade_export import GradedClip, write_handover
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.text_tables import print_table
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import OptionError

__all__ = ["graded_clips", "show_grades"]


def graded_clips(prepared: Prepared) -> list[GradedClip]:
    """The planned clips in the list's order, each with its exact look and the timecode of its first frame."""
    looks: dict[str, Look] = {}
    found = []
    for clip in prepared.plan.clips:
        key = clip.look.model_dump_json()
        if key not in looks:
            looks[key] = exact_look(prepared, clip)
        found.append(
            GradedClip(
                name=clip.stem, reel=clip.reel, start=clip.timecode, frames=clip.count, look=looks[key]
            )
        )
    return found


def show_grades(request: Request, folder: Path, *, as_json: bool) -> int:
    """The command: write the files into `folder` and say which. Gives 0, or 1 where rows were set aside.

    OptionError where `folder` is a file or no clip of the list can be planned.
    """
    if folder.exists() and not folder.is_dir():
        raise OptionError("is a file; --to takes a folder", file=str(folder), key="--to")
    prepared = prepare(request)
    aside = [*prepared.plan.wrong, *prepared.plan.broken]
    for row, error in aside:
        say(f"rushlight: {row.clip}: {error}", error=True)
    clips = graded_clips(prepared)
    if not clips:
        raise OptionError(
            "no clip of the list can be read, so there is no grade to write", file=str(request.clip_list)
        )
    stem = request.clip_list.absolute()
    files = write_handover(folder, clips, stem.name if stem.is_dir() else stem.stem)
    if as_json:
        say_json(
            {
                "schema": "rushlight-grades-1",
                "folder": str(folder.resolve()),
                "files": [file.name for file in files],
                "clips": [
                    {
                        "clip": c.name,
                        "reel": c.reel,
                        "start": str(c.start),
                        "frames": c.frames,
                        "graded": c.look.cdl is not None,
                        "look": c.look.digest(),
                    }
                    for c in clips
                ],
                "set_aside": [{"clip": row.clip, "error": str(error)} for row, error in aside],
            }
        )
    else:
        print_table(
            ["clip", "reel", "from", "frames", "grade"],
            [[c.name, c.reel, str(c.start), str(c.frames), "CDL" if c.look.cdl else "none"] for c in clips],
        )
        say(f"{len(files)} files in {folder.resolve()}: " + ", ".join(sorted({f.suffix for f in files})))
    return 1 if aside else 0
