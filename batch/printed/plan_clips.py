"""The clips of a plan, printed: by scene in a line each; and each clip for itself, with its grade and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import PurePosixPath

from rushlight.batch.api.plan_document import Clip, short_grade
from rushlight.batch.records.sound import ClipSound
from rushlight.batch.terminal.console import say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted

__all__ = ["MOST_NAMED", "file_of", "names_of", "print_clips", "print_scenes"]

MOST_NAMED = 4  # clips named in a line


def names_of(clips: Sequence[Clip]) -> list[str]:
    """The clips as a person has them: without their folders, where no two are of one name."""
    names = [clip["clip"].rpartition("/")[2] for clip in clips]
    return names if len(set(names)) == len(names) else [clip["clip"] for clip in clips]


def file_of(place: str) -> str:
    """The file of a place, without its folders, and what stands there: the document has the whole path."""
    path, mark, ident = place.partition("#")
    if "://" in path or path.startswith("--"):
        return place
    return path.rpartition("/")[2] + mark + ident


def print_scenes(clips: Sequence[Clip]) -> None:
    """A line a scene, in the order of the list; of clips without a scene a line a reel."""
    groups: dict[tuple[str, str], list[Clip]] = {}
    for clip in clips:
        scene = clip["row"].get("scene", "")
        groups.setdefault((scene, "" if scene else clip["reel"]), []).append(clip)
    rows = []
    for (scene, reel), found in groups.items():
        circled = sum(
            bool(clip["row"].get("circled")) and clip["row"]["circled"].lower() not in NO for clip in found
        )
        graded = sum(clip["grade"] is not None for clip in found)
        cameras = dict.fromkeys(clip["row"].get("camera", "") for clip in found)
        rows.append(
            [
                f"scene {scene}" if scene else f"reel {reel}" if reel else "no scene",
                str(len(found)),
                ", ".join(dict.fromkeys(filter(None, (clip["row"].get("take", "") for clip in found))))
                or "-",
                str(circled or "-"),
                ", ".join(filter(None, cameras)) or "-",
                _time(sum((_seconds(clip) for clip in found), Fraction(0))),
                "all" if graded == len(found) else f"{graded} of {len(found)}",
            ]
        )
    print_table(["", "clips", "takes", "circled", "camera", "length", "graded"], rows)


NO = {"no", "n", "false", "0"}


def print_clips(clips: Sequence[Clip], numbers: Mapping[str, int]) -> None:
    """Each clip: its length, grade and why, encoding, sound and what else is known, a line each; `numbers` are those of its notes."""
    same_outputs = len({tuple(clip["outputs"]) for clip in clips}) == 1
    for name, clip in zip(names_of(clips), clips, strict=True):
        say_wrapped(
            "   ".join(
                filter(None, [name, _scene_text(clip), _time(_seconds(clip)), f"reel {clip['reel'] or '-'}"])
            )
        )
        lines = {
            "grade": _grade_text(clip),
            "encoding": f"{clip['encoding']} {clip['levels']}; {file_of(clip['encoding_from'])}",
            "timecode": f"in {clip['first_timecode']}, out {clip['end_timecode']}, {counted(clip['frames'], 'frame')}",
            "sound": _sound_text(clip),
            "original": str((clip["manifest"] or {}).get("verdict", "")),
            "outputs": "" if same_outputs else ", ".join(clip["outputs"]) or "none",
            "notes": ", ".join(str(numbers[text]) for text in dict.fromkeys(clip["warnings"])),
        }
        for key, text in lines.items():
            if text:
                say_wrapped(f"  {key + ':':<9} {text}", indent=" " * 12)


def _seconds(clip: Clip) -> Fraction:
    return clip["frames"] / Fraction(clip["rate"])


def _time(seconds: Fraction) -> str:
    """A length for a person: 1.7 s, 42 s, 12:05, 1:02:03."""
    if seconds < 10:
        return f"{float(seconds):.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    return f"{minutes}:{rest:02}" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02}:{rest:02}"


def _scene_text(clip: Clip) -> str:
    """Scene, take and whether it is circled, and who says so where the list does not."""
    row = clip["row"]
    said = [
        f"scene {row['scene']}" if row.get("scene") else "",
        f"take {row['take']}" if row.get("take") else "",
    ]
    said += ["circled"] if row.get("circled") and row["circled"].lower() not in NO else []
    sources = dict.fromkeys(file_of(source) for source in clip["row_from"].values())
    return " ".join(filter(None, said)) + (f" (by {', '.join(sources)})" if sources else "")


def _sound_text(clip: Clip) -> str:
    """The sound of a clip and why it is that, in short; empty where no sound folder was given."""
    if clip["sound"] is None:
        return ""
    sound = ClipSound.read(clip["sound"])
    if sound.kind != "production":
        return f"{sound.kind}; {sound.reason}"
    first = sound.files[0][0].path.rpartition("/")[2]
    more = sum(map(len, sound.files)) - 1
    return f"{first}{f' and {more} more' if more else ''}; {sound.reason}"


def _grade_text(clip: Clip) -> str:
    """A clip's grade, its place and the reason, in short."""
    grade = clip["grade"]
    if grade is None:
        text = f"none; {clip['grade_reason']}"
    else:
        text = f"{short_grade(grade)}; {file_of(grade['source'])}: {clip['grade_reason']}"
    lut = clip["look"]["lut"]
    suffix = PurePosixPath(str(lut["path"])).suffix if isinstance(lut, dict) else ".cube"
    kind = f" ({suffix})" if suffix != ".cube" else ""
    return text + (f'; LUT "{clip["show_lut"]}"{kind}' if clip["show_lut"] else "")
