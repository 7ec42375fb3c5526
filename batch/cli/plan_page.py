"""`rushlight plan`, printed: one screen that accounts for every row."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from rushlight.batch.api.plan_document import (
    Clip,
    MediaSums,
    PlanDocument,
    RoomDocument,
    SoundCounts,
    near,
    short_grade,
)
from rushlight.batch.records.files import ClipFraming, framing_text
from rushlight.batch.records.missing import Missing
from rushlight.batch.records.original import CameraFact, facts_text
from rushlight.batch.records.sound import ClipSound
from rushlight.batch.terminal.console import say, say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted

__all__ = ["print_plan"]

MOST_NAMED = 4  # clips of one camera, named in a line


def _print_media(media: MediaSums) -> None:
    """Print the originals under the media folders, and those that no row names."""
    for path in media["not_listed"]:
        say_wrapped(f"not listed: {near(path)}")
    for each in media["unreadable"]:
        say_wrapped(f"not readable: {near(each['path'])}: {each['why']}")
    for file in media["absent"]:
        say_wrapped(f"absent: {file['path']}, which {near(file['manifest'])} names")
    say_wrapped(
        f"{media['found']} found under the media folders = {media['listed']} listed + "
        f"{len(media['not_listed'])} not listed + {len(media['unreadable'])} not readable + "
        f"{media['ignored']} ignored"
        + (f"; {len(media['absent'])} absent that a manifest names" if media["absent"] else "")
    )


def _print_sound(sound: SoundCounts) -> None:
    """Print the sums of the sound files, and those that no clip of the list uses."""
    for entry in sound["not_used"]:
        say_wrapped(f"sound not used: {near(entry['path'])}" + (f": {entry['why']}" if entry["why"] else ""))
    for entry in sound["unreadable"]:
        say_wrapped(f"sound not readable: {near(entry['path'])}: {entry['why']}")
    say_wrapped(
        f"{counted(sound['found'], 'sound file')} found = {sound['used']} used + {len(sound['not_used'])} not used + "
        f"{len(sound['unreadable'])} not readable"
    )


def _sound_text(clip: Clip) -> str:
    """The sound of a clip and why it is that, in short."""
    if clip["sound"] is None:
        return "-"
    sound = ClipSound.read(clip["sound"])
    if sound.kind != "production":
        return f"{sound.kind}; {sound.reason}"
    first = sound.files[0][0].path.rpartition("/")[2]
    more = sum(map(len, sound.files)) - 1
    return f"{first}{f' and {more} more' if more else ''}; {sound.reason}"


def _names(clips: Sequence[Clip]) -> list[str]:
    """The clips as a table has them: without their folders, where no two are of one name."""
    names = [clip["clip"].rpartition("/")[2] for clip in clips]
    return names if len(set(names)) == len(names) else [clip["clip"] for clip in clips]


def _scene_text(clip: Clip) -> str:
    """Scene, take and whether it is circled, and who says so where the list does not."""
    said = [clip["row"].get("scene", ""), clip["row"].get("take", "")]
    said += ["circled"] if clip["row"].get("circled") else []
    sources = dict.fromkeys(_name(source) for source in clip["row_from"].values())
    return " ".join(filter(None, said)) + (f"; {', '.join(sources)}" if sources else "") or "-"


def _minutes(seconds: float) -> str:
    return f"about {seconds / 60:.0f} min" if seconds >= 60 else "less than a minute"


def _name(place: str) -> str:
    """The file of a place, without its folders, and what stands there: the document has the whole path."""
    path, mark, ident = place.partition("#")
    return (
        path.rpartition("/")[2] + mark + ident if "://" not in path and not path.startswith("--") else place
    )


def _print_clips(document: PlanDocument) -> dict[str, int]:
    """Print a line a clip; gives the notes with the numbers that the lines have of them."""
    clips = document["clips"]
    notes: dict[str, int] = {}
    for clip in clips:
        for text in clip["warnings"]:
            notes.setdefault(text, len(notes) + 1)
    made = {tuple(clip["outputs"]) for clip in clips}
    heading = ["clip", "reel", "timecode", "frames", "encoding, levels", "grade and why", "notes"]
    rows = [
        [
            name,
            clip["reel"] or "-",
            f"{clip['first_timecode']} {clip['last_timecode']}",
            str(clip["frames"]),
            f"{clip['encoding']} {clip['levels']}; {_name(clip['encoding_from'])}",
            _grade_text(clip),
            " ".join(str(notes[text]) for text in dict.fromkeys(clip["warnings"])),
        ]
        for name, clip in zip(_names(clips), clips, strict=True)
    ]
    if len(made) > 1:
        heading.insert(6, "outputs")
        for row, clip in zip(rows, clips, strict=True):
            row.insert(6, ", ".join(clip["outputs"]) or "none")
    if any(clip["row_from"] for clip in clips):
        heading.insert(6, "scene, take and who says so")
        for row, clip in zip(rows, clips, strict=True):
            row.insert(6, _scene_text(clip))
    if any(clip["manifest"] for clip in clips):
        heading.insert(6, "original")
        for row, clip in zip(rows, clips, strict=True):
            row.insert(6, str((clip["manifest"] or {}).get("verdict", "-")))
    if document["sound"]:
        heading.insert(6, "sound and why")
        for row, clip in zip(rows, clips, strict=True):
            row.insert(6, _sound_text(clip))
    if rows:
        print_table(heading, rows)
    if len(made) == 1:
        say_wrapped(f"outputs of each: {', '.join(*made) or 'none'}")
    for clip in clips:
        if clip["excerpt"]:
            say_wrapped(f"{clip['clip']}: {', '.join(clip['files'])}; the whole clip is left as it is")
    for text in _other_looks(clips):
        say_wrapped(text)
    return notes


def _print_framing(clips: Sequence[Clip]) -> None:
    """Print what framing decisions make of the clips' outputs, and why they are theirs, once for all clips that are alike."""
    alike: dict[str, list[str]] = {}
    for name, clip in zip(_names(clips), clips, strict=True):
        if text := framing_text([ClipFraming.read(said) for said in clip["framing"]]):
            alike.setdefault(text, []).append(name)
    for text, names in alike.items():
        more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
        say_wrapped(f"framing: {text}: {', '.join(names[:MOST_NAMED])}{more}")


def _print_camera_facts(clips: Sequence[Clip]) -> None:
    """Print camera, lens and settings of the clips, once for all that are alike; nothing where nobody states any."""
    alike: dict[str, list[tuple[str, bool]]] = {}
    for name, clip in zip(_names(clips), clips, strict=True):
        facts = {key: CameraFact.read(fact) for key, fact in clip["camera_facts"].items()}
        if text := facts_text(facts):
            by_header = all(fact.said_by.startswith("its header") for fact in facts.values())
            alike.setdefault(text, []).append((name, by_header))
    for text, said in alike.items():
        names = [name for name, _ in said]
        more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
        who = "by the header" if all(by_header for _, by_header in said) else "by list and header"
        say_wrapped(f"camera: {text}, {who}: {', '.join(names[:MOST_NAMED])}{more}")


def _other_looks(clips: Sequence[Clip]) -> list[str]:
    """A line for each look that is not the recipe's: whose it is, and of how many clips where it is not all."""
    shown: dict[tuple[str, str], dict[str, int]] = {}
    for clip in clips:
        for output, look in clip.get("looks", {}).items():
            transform = {"aces2": "ACES 2.0"}.get(look["transform"], look["transform"])
            text = f'LUT "{look["show_lut"]}"' if look["show_lut"] else transform
            counts = shown.setdefault((look["name"], f"{text} for {look['display']}"), {})
            counts[output] = counts.get(output, 0) + 1
    lines = []
    for (name, text), counts in shown.items():
        some = max(counts.values())
        of = f" ({counted(some, 'clip')})" if some < len(clips) else ""
        lines.append(f"look of {', '.join(counts)}: {name}; {text}{of}")
    return lines


def print_plan(document: PlanDocument) -> None:
    """The plan for a person: what is wrong first, then every clip with the numbers of its notes, then the sums."""
    if document["title"]:
        say_wrapped(document["title"])
    grouped = {clip for each in document["missing"] for clip in each["alone"]}
    for each in document["missing"]:
        missing = Missing.read(each)
        say_wrapped(f"MISSING  {missing.sentence}")
        for line in missing.lines.splitlines():
            say(f"    {line}")
    for problem in document["problems"]:
        if problem["clip"] in grouped and problem["key"] == "encoding":
            continue
        key = f"{problem['key']}: " if problem["key"] else ""
        place = near(problem["file"]) + (f":{problem['line']}" if problem["line"] else "")
        clip_name = f"{problem['clip']}: " if problem["clip"] else ""
        say_wrapped(f"{problem['kind'].upper()}  {place}: {clip_name}{key}{problem['text']}")
    if document["problems"]:
        say()
    notes = _print_clips(document)
    for text, number in notes.items():
        say_wrapped(f"note {number}: {text}")
    for text in document["warnings"]:
        say_wrapped(f"note: {text}")
    _print_camera_facts(document["clips"])
    _print_framing(document["clips"])
    if document["media"]:
        _print_media(document["media"])
    if document["sound"]:
        _print_sound(document["sound"])
    counts, estimate = document["counts"], document["estimate"]
    parts = any(clip["excerpt"] for clip in document["clips"])
    several = "several parts of a clip" if parts else "files one by one"
    say_wrapped(
        f"{counted(counts['rows'], 'row')}"
        + (f" + {counts['one_by_one']} for {several}" if counts["one_by_one"] else "")
        + f" = {counts['planned']} planned + {counts['set_aside']} set aside + {counts['failed']} failed"
        + (f" + {counts['alike']} alike" if counts["alike"] else "")
        + (f" + {counts['not_chosen']} not chosen" if counts["not_chosen"] else "")
        + f"; {counts['ungraded']} ungraded"
    )
    free = estimate["free_bytes"]
    say_wrapped(
        f"{counts['frames']} frames, {_minutes(estimate['seconds_one_worker'])} for one worker, "
        f"{estimate['bytes'] / 1e9:.1f} GB"
        + (f", {free / 1e9:.0f} GB free" if free is not None else " (free space: give --out)")
    )
    if "room" in document:
        _print_room(document["room"])
    if "forecast" in document:
        say_wrapped(str(document["forecast"]["text"]))


def _print_room(room: RoomDocument) -> None:
    """Print what each output is likely to take, and on which disk."""
    several = len({each["out"] for each in room["outputs"]}) > 1
    rows = [
        [
            f"{_name(each['out'])}/{each['output']}" if several else each["output"],
            str(each["clips"]),
            _size(each["make"]),
            _size(each["replaced"]),
            _size(each["older"]),
            each["volume"],
        ]
        for each in room["outputs"]
    ]
    if rows:
        say()
        print_table(["output", "clips to make", "about", "replaces", "older kept", "disk"], rows)
    for disk in room["volumes"]:
        beside = f", {_size(disk['work'])} beside it for clips in hand" if disk["work"] else ""
        cleared = (
            f"; {_size(disk['replaced'])} of it is replaced and stays under revisions/, unless --replaced remove clears it"
            if disk["replaced"]
            else ""
        )
        say_wrapped(
            f"disk {disk['volume']}: about {_size(disk['make'])} to make{beside}, {_size(disk['free'])} free{cleared}"
        )


def _size(size: int) -> str:
    if not size:
        return "-"
    return f"{size / 1e9:.1f} GB" if size >= 1e8 else f"{max(size / 1e6, 0.1):.1f} MB"


def _grade_text(clip: Clip) -> str:
    """A clip's grade, its place and the reason, in short."""
    grade = clip["grade"]
    if grade is None:
        text = f"none; {clip['grade_reason']}"
    else:
        text = f"{short_grade(grade)}; {_name(grade['source'])}: {clip['grade_reason']}"
    lut = clip["look"]["lut"]
    suffix = PurePosixPath(str(lut["path"])).suffix if isinstance(lut, dict) else ".cube"
    kind = f" ({suffix})" if suffix != ".cube" else ""
    return text + (f'; LUT "{clip["show_lut"]}"{kind}' if clip["show_lut"] else "")
