"""`rushlight plan`: one screen, or one JSON document, that accounts for every row."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rushlight.batch.jobs import wanted
from rushlight.batch.plan import PlannedClip
from rushlight.batch.tables import print_table
from rushlight.batch.volumes import existing
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.recipe import MovieOutput, Recipe

if TYPE_CHECKING:
    from rushlight.batch.lists import Row
    from rushlight.batch.prepare import Prepared

__all__ = ["plan_document", "print_plan"]

# Mbit/s at 1920x1080 and 24 frames a second, roughly: what a codec is likely to take (from the codecs' published tables).
_RATES = {
    "prores-proxy": 36, "prores-lt": 82, "prores-422": 117, "dnxhr-lb": 36, "dnxhr-sq": 116, "dnxhr-hqx": 174, "dnxhd": 36,
    "h264": 14, "h264-10": 14, "hevc": 9, "hevc-10": 9, "mjpeg": 60,
}  # fmt: skip
FRAMES_A_SECOND = 12.0  # of 1920x1080 to two movies, one core: measured


def _problem(row: Row, error: RushlightError, kind: str) -> dict[str, Any]:
    return {
        "clip": row.clip,
        "kind": kind,
        "file": row.file,
        "line": row.line,
        "key": error.key or "",
        "text": error.text if error.file in (None, "", row.file) else f"{error.file}: {error.text}",
    }


def _clip(clip: PlannedClip, recipe: Recipe) -> dict[str, Any]:
    cdl = clip.decision.cdl
    grade = None
    if cdl is not None:
        grade = {
            "slope": list(cdl.slope),
            "offset": list(cdl.offset),
            "power": list(cdl.power),
            "saturation": cdl.saturation,
            "source": clip.decision.source,
            "reason": clip.decision.reason,
        }
    return {
        "clip": clip.row.clip,
        "path": str(clip.path),
        "line": clip.row.line,
        "reel": clip.reel,
        "first_timecode": str(clip.timecode),
        "last_timecode": str(clip.timecode + (clip.count - 1)),
        "first_frame": clip.first,
        "frames": clip.count,
        "rate": str(clip.rate.fraction),
        "codec": clip.facts.codec,
        "size": f"{clip.facts.width}x{clip.facts.height}",
        "encoding": clip.signal.encoding.name,
        "encoding_from": clip.signal.encoding_from,
        "levels": clip.signal.levels,
        "levels_from": clip.signal.levels_from,
        "grade": grade,
        "grade_reason": clip.decision.reason,
        "show_lut": clip.look.lut.name if clip.look.lut else None,
        "outputs": [o.name for o in recipe.output if wanted(clip, o)],
        "warnings": list(clip.warnings),
    }


def plan_document(prepared: Prepared) -> dict[str, Any]:
    """Everything that lists, grades and headers can show, JSON-able."""
    plan, recipe = prepared.plan, prepared.recipe
    clips = [_clip(c, recipe) for c in plan.clips]
    problems = [_problem(r, e, "set aside") for r, e in plan.wrong] + [
        _problem(r, e, "failed") for r, e in plan.broken
    ]
    frames = sum(c["frames"] for c in clips)
    size = _bytes(plan.clips, recipe)
    place = existing(prepared.request.out) if prepared.request.out else None
    return {
        "schema": "rushlight-plan-1",
        "recipe": recipe.name,
        "clips": clips,
        "problems": problems,
        "warnings": list(plan.warnings),
        "counts": {
            "rows": len(prepared.clip_list.rows),
            "planned": len(clips),
            "set_aside": len(plan.wrong),
            "failed": len(plan.broken),
            "ungraded": sum(1 for c in clips if c["grade"] is None),
            "frames": frames,
        },
        "media": _media(prepared),
        "estimate": {
            "bytes": size,
            "seconds_one_worker": round(frames / FRAMES_A_SECOND),
            "free_bytes": shutil.disk_usage(place).free if place else None,
        },
    }


def _media(prepared: Prepared) -> dict[str, Any] | None:
    media = prepared.media
    if media is None:
        return None
    return {
        "found": media.found,
        "listed": media.listed,
        "not_listed": [str(p) for p in media.not_listed],
        "unreadable": [{"path": str(p), "why": why} for p, why in media.unreadable],
        "ignored": media.ignored,
        "absent": [{"path": name, "manifest": str(manifest)} for name, manifest in media.absent],
    }


def _print_media(media: dict[str, Any]) -> None:
    """What lies under the media folders, and what of it no row names."""
    for path in media["not_listed"]:
        print(f"not listed: {_near(path)}")
    for entry in media["unreadable"]:
        print(f"not readable: {_near(entry['path'])}: {entry['why']}")
    for entry in media["absent"]:
        print(f"absent: {entry['path']}, which {_near(entry['manifest'])} names")
    print(
        f"{media['found']} found under the media folders = {media['listed']} listed + "
        f"{len(media['not_listed'])} not listed + {len(media['unreadable'])} not readable + "
        f"{media['ignored']} ignored"
        + (f"; {len(media['absent'])} absent that a manifest names" if media["absent"] else "")
    )


def _bytes(clips: list[PlannedClip], recipe: Recipe) -> int:
    total = 0.0
    for clip in clips:
        for output in recipe.output:
            if not wanted(clip, output):
                continue
            pixels = (
                (output.size.width * output.size.height)
                if output.size
                else clip.facts.width * clip.facts.height
            )
            if isinstance(output, MovieOutput):
                total += _RATES[output.codec] * 1e6 / 8 * (pixels / 2073600) * clip.count / 24
            else:
                total += pixels * 4
    return round(total)


def _near(place: str) -> str:
    """A place as a person at this folder would write it."""
    try:
        return str(Path(place).relative_to(Path.cwd()))
    except ValueError:
        return place


def print_plan(document: dict[str, Any]) -> None:
    """The plan for a person: what is wrong first, then every clip, then the sums."""
    for problem in document["problems"]:
        key = f"{problem['key']}: " if problem["key"] else ""
        print(f"{problem['kind'].upper()}  {problem['file']}:{problem['line']}: {key}{problem['text']}")
    if document["problems"]:
        print()
    rows = []
    for clip in document["clips"]:
        grade = clip["grade"]
        text = (
            "none"
            if grade is None
            else "{} / {} / {} / {:g}".format(
                *(" ".join(f"{v:.4g}" for v in grade[k]) for k in ("slope", "offset", "power")),
                grade["saturation"],
            )
        )
        reason = clip["grade_reason"] + (f" ({_near(grade['source'])})" if grade else "")
        rows.append(
            [
                clip["clip"],
                f"{clip['reel'] or '-'} {clip['first_timecode']} {clip['frames']}",
                f"{clip['encoding']} {clip['levels']}; {clip['encoding_from']}",
                f"{text}; {reason}" + (f'; LUT "{clip["show_lut"]}"' if clip["show_lut"] else ""),
                ", ".join(clip["outputs"]),
            ]
        )
    if rows:
        print_table(["clip", "reel, timecode, frames", "encoding, levels", "grade and why", "outputs"], rows)
    for clip in document["clips"]:
        for text in clip["warnings"]:
            print(f"note: {clip['clip']}: {text}")
    for text in document["warnings"]:
        print(f"note: {text}")
    if document["media"]:
        _print_media(document["media"])
    counts, estimate = document["counts"], document["estimate"]
    print(
        f"{counts['rows']} row(s) = {counts['planned']} planned + {counts['set_aside']} set aside + {counts['failed']} failed"
        + (
            f" + {left} not chosen or alike"
            if (left := counts["rows"] - counts["planned"] - counts["set_aside"] - counts["failed"])
            else ""
        )
        + f"; {counts['ungraded']} ungraded"
    )
    free = f", {estimate['free_bytes'] / 1e9:.0f} GB free" if estimate["free_bytes"] is not None else ""
    print(
        f"{counts['frames']} frames, about {estimate['seconds_one_worker'] / 60:.0f} min for one worker, "
        f"{estimate['bytes'] / 1e9:.1f} GB{free}"
    )
    sys.stdout.flush()
