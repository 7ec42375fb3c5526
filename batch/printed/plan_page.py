"""`rushlight plan`, printed: one screen that accounts for every row."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.batch.api.plan_document import (
    Clip,
    Counts,
    Estimate,
    MediaSums,
    PlanDocument,
    RoomDocument,
    SoundCounts,
    near,
)
from rushlight.batch.disks import size_text
from rushlight.batch.printed.plan_clips import (
    MOST_NAMED,
    file_of,
    names_of,
    print_clips,
    print_scenes,
)
from rushlight.batch.records.files import ClipFraming, framing_text
from rushlight.batch.records.original import CameraFact, facts_text
from rushlight.batch.records.summary import Missing
from rushlight.batch.room.output_sizes import GUESS_RANGE
from rushlight.batch.terminal.console import say, say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted, shortened

__all__ = ["print_plan"]

MOST_SHOWN = 12  # clips, or files without one, that are shown each for itself, unless all are asked for


def _print_each(lines: Sequence[str], what: str, all_files: bool) -> None:
    """Print a line a file; of many, unless all are asked for, the first few and how many more there are: media may be a whole show's."""
    shown = lines if all_files or len(lines) <= MOST_SHOWN else lines[:MOST_NAMED]
    for line in shown:
        say_wrapped(f"{what}: {line}")
    if more := len(lines) - len(shown):
        say_wrapped(f"{what}: {more} more; --clips and --json name each")


def _print_media(media: MediaSums, all_files: bool) -> None:
    """Print the originals under the media folders, and those that no row names."""
    _print_each([near(path) for path in media["not_listed"]], "not listed", all_files)
    _print_each(
        [f"{near(each['path'])}: {each['why']}" for each in media["unreadable"]], "not readable", all_files
    )
    absent = [f"{file['path']}, which {near(file['manifest'])} names" for file in media["absent"]]
    _print_each(absent, "absent", all_files)
    say_wrapped(
        f"{media['found']} found under the media folders = {media['listed']} listed + "
        f"{len(media['not_listed'])} not listed + {len(media['unreadable'])} not readable + "
        f"{media['ignored']} ignored"
        + (f"; {len(media['absent'])} absent that a manifest names" if media["absent"] else "")
    )


def _print_sound(sound: SoundCounts, all_files: bool) -> None:
    """Print the sums of the sound files, and those that no clip of the list uses."""
    for what, entries in (("not used", sound["not_used"]), ("not readable", sound["unreadable"])):
        lines = [near(e["path"]) + (f": {e['why']}" if e["why"] else "") for e in entries]
        _print_each(lines, f"sound {what}", all_files)
    say_wrapped(
        f"{counted(sound['found'], 'sound file')} found = {sound['used']} used + {len(sound['not_used'])} not used + "
        f"{len(sound['unreadable'])} not readable"
    )


def _minutes(seconds: float) -> str:
    return f"about {seconds / 60:.0f} min" if seconds >= 60 else "less than a minute"


def _estimate(estimate: Estimate, counts: Counts, to_make: int | None) -> str:
    """What all clips take; ahead of it, how many of them are to be made, where an output folder says what is there."""
    planned, free = counts["planned"], estimate["free_bytes"]
    if to_make == 0:
        return f"nothing to make: {counted(planned, 'clip')} made earlier and unchanged"
    made = planned - (planned if to_make is None else to_make)
    ahead = f"{counted(planned - made, 'clip')} to make, {made} made earlier and unchanged; all {planned}: "
    return (
        f"{ahead if made else ''}{counted(counts['frames'], 'frame')}, "
        f"{_minutes(estimate['seconds_one_worker'])} for one worker, about {size_text(estimate['bytes'])}"
        + (f", {size_text(free)} free" if free is not None else " (free space: give --out)")
    )


def _print_framing(clips: Sequence[Clip]) -> None:
    """Print what framing decisions make of the clips' outputs, and why they are theirs, once for all clips that are alike."""
    alike: dict[str, list[str]] = {}
    for name, clip in zip(names_of(clips), clips, strict=True):
        if text := framing_text([ClipFraming.read(said) for said in clip["framing"]]):
            alike.setdefault(text, []).append(name)
    for text, names in alike.items():
        say_wrapped(f"framing: {text}: {shortened(names, MOST_NAMED)}")


def _print_camera_facts(clips: Sequence[Clip]) -> None:
    """Print camera, lens and settings of the clips, once for all that are alike; nothing where nobody states any."""
    alike: dict[str, list[tuple[str, bool]]] = {}
    for name, clip in zip(names_of(clips), clips, strict=True):
        facts = {key: CameraFact.read(fact) for key, fact in clip["camera_facts"].items()}
        if text := facts_text(facts):
            by_header = all(fact.said_by.startswith("its header") for fact in facts.values())
            alike.setdefault(text, []).append((name, by_header))
    for text, said in alike.items():
        names = [name for name, _ in said]
        who = "by the header" if all(by_header for _, by_header in said) else "by list and header"
        say_wrapped(f"camera: {text}, {who}: {shortened(names, MOST_NAMED)}")


def _other_looks(clips: Sequence[Clip]) -> list[str]:
    """A line for each look that is not the recipe's: whose it is, and of how many clips where it is not all."""
    shown: dict[tuple[str, str], dict[str, int]] = {}
    for clip in clips:
        for output, look in clip.get("looks", {}).items():
            text = ("LUT " if look["show_lut"] else "") + ", then ".join(look["shown_by"])
            counts = shown.setdefault((look["name"], f"{text} for {look['display']}"), {})
            counts[output] = counts.get(output, 0) + 1
    lines = []
    for (name, text), counts in shown.items():
        some = max(counts.values())
        of = f" ({counted(some, 'clip')})" if some < len(clips) else ""
        lines.append(f"look of {', '.join(counts)}: {name}; {text}{of}")
    return lines


def _print_problems(document: PlanDocument) -> None:
    """Print what is missing, once a camera, and what else is wrong, in the order of the list."""
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


def _print_notes(clips: Sequence[Clip]) -> dict[str, int]:
    """Print each note once, with the clips that it is of; gives its number."""
    concerned: dict[str, list[str]] = {}
    for name, clip in zip(names_of(clips), clips, strict=True):
        for text in dict.fromkeys(clip["warnings"]):
            concerned.setdefault(text, []).append(name)
    for number, (text, names) in enumerate(concerned.items(), 1):
        say_wrapped(f"note {number}: {shortened(names, MOST_NAMED)}: {text}")
    return {text: number for number, text in enumerate(concerned, 1)}


def print_plan(document: PlanDocument, *, all_clips: bool = False) -> None:
    """The plan for a person: what is wrong, then what is doubtful, then the clips by scene, then the sums. Each clip for itself where
    they are few, or `all_clips` are asked for."""
    if document["title"]:
        say_wrapped(document["title"])
    _print_problems(document)
    clips = document["clips"]
    numbers = _print_notes(clips)
    for text in document["warnings"]:
        say_wrapped(f"note: {text}")
    if clips:
        if numbers or document["warnings"]:
            say()
        print_scenes(clips)
        say()
        if all_clips or len(clips) <= MOST_SHOWN:
            print_clips(clips, numbers)
        else:
            say("--clips shows each clip: its grade and why, encoding, timecode, sound")
        made = {tuple(clip["outputs"]) for clip in clips}
        if len(made) == 1:
            say_wrapped(f"outputs of each: {', '.join(*made) or 'none'}")
        for clip in clips:
            if clip["excerpt"]:
                say_wrapped(f"{clip['clip']}: {', '.join(clip['files'])}; the whole clip is left as it is")
        for text in _other_looks(clips):
            say_wrapped(text)
    _print_camera_facts(clips)
    _print_framing(clips)
    if document["media"]:
        _print_media(document["media"], all_clips)
    if document["sound"]:
        _print_sound(document["sound"], all_clips)
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
    if counts["planned"]:
        say_wrapped(_estimate(estimate, counts, document.get("to_make")))
    if "room" in document:
        _print_room(document["room"])
    if "forecast" in document:
        say_wrapped(str(document["forecast"]["text"]))


def _print_room(room: RoomDocument) -> None:
    """Print what each output is likely to take, and on which disk."""
    several = len({each["out"] for each in room["outputs"]}) > 1
    rows = [
        [
            f"{file_of(each['out'])}/{each['output']}" if several else each["output"],
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
    if guesses := dict.fromkeys(each["output"] for each in room["outputs"] if each["guess"]):
        say_wrapped(f"{', '.join(guesses)}: a guess, until a clip of it is made here: {GUESS_RANGE}")
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
    return size_text(size) if size else "-"
