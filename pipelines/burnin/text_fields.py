"""Fields in burn-in text: `{clip}`, `{timecode}`, and any column of the clip list; and the facts on a slate card."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.recipe.model import Burnin

__all__ = [
    "CARD_FIELDS",
    "DAY_FIELDS",
    "FIELDS",
    "RUNNING",
    "Part",
    "card_facts",
    "card_values",
    "check_fields",
    "fields_of",
    "parse_template",
    "running_room",
    "unknown_field",
]

RUNNING = ("timecode", "frame", "source_frame")  # other values on every frame
CARD_FIELDS = (
    "clip",
    "reel",
    "scene",
    "take",
    "camera",
    "capture_rate",
    "date",
    "look",
    "grade",
    "recipe",
    "note",
)
DAY_FIELDS = ("production", "day", "unit", "day_title")  # of the day document; a row overrules
FIELDS = (*CARD_FIELDS, "sound", *DAY_FIELDS, *RUNNING)
_FIELD = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, kw_only=True)
class Part:
    """A piece of a template: fixed `text`, or the name of a `field`."""

    text: str = ""
    field: str = ""


def parse_template(text: str) -> tuple[Part, ...]:
    """The pieces of a template in order; names of fields in lower case. A brace without its other half is text."""
    parts = []
    for number, piece in enumerate(_FIELD.split(text)):
        if number % 2 and not piece.strip():
            parts.append(Part(text="{" + piece + "}"))
        elif number % 2:
            parts.append(Part(field=piece.strip().lower()))
        elif piece:
            parts.append(Part(text=piece))
    return tuple(parts)


def fields_of(burnin: Burnin) -> tuple[str, ...]:
    """The names of the fields that a burn-in shows, in order of first use."""
    texts = [line.text for line in burnin.text] + [burnin.watermark]
    return tuple(dict.fromkeys(part.field for text in texts for part in parse_template(text) if part.field))


def check_fields(burnin: Burnin, columns: Iterable[str], *, key: str) -> None:
    """RecipeError for a field that neither exists nor is a column of the list, and for a brace left open."""
    known = {*FIELDS, *(column.lower() for column in columns)}
    for text in [line.text for line in burnin.text] + [burnin.watermark]:
        for part in parse_template(text):
            if not part.field and ("{" in part.text or "}" in part.text):
                raise RecipeError(f"{text!r} has a brace that belongs to no field", key=key)
    for name in fields_of(burnin):
        if name not in known:
            raise unknown_field(name, known, key=key)
    for part in parse_template(burnin.watermark):
        if part.field in RUNNING:
            raise RecipeError(
                f"{{{part.field}}} changes on every frame and cannot be in a watermark", key=key
            )


def unknown_field(
    name: str, known: Iterable[str], *, key: str, fields: Iterable[str] = FIELDS
) -> RecipeError:
    """The error for a field that there is none of; `known` are those that there are, the list's columns beside `fields`."""
    near = difflib.get_close_matches(name, sorted(known), 1)
    hint = f"did you mean {{{near[0]}}}? " if near else ""
    listed = ", ".join("{" + each + "}" for each in fields)
    return RecipeError(f"{{{name}}} is no field; {hint}There are {listed} and the list's columns", key=key)


def running_room(start: Timecode, *, frames: int, last_number: int) -> tuple[tuple[str, int], ...]:
    """Characters to keep for each running field of a clip: the frames of a timecode have three digits above 100 a second."""
    return (
        ("timecode", len(str(start))),
        ("frame", max(6, len(str(frames)))),
        ("source_frame", max(6, len(str(last_number)))),
    )


def card_values(fields: Mapping[str, str]) -> list[str]:
    """All that a slate card says of these fields, for its identity. A card of no day keeps the one that it always had."""
    title = fields.get("day_title", "")
    return [*(fields.get(name, "") for name in CARD_FIELDS), *([title] if title else [])]


def card_facts(
    fields: Mapping[str, str], *, state: str, first: Timecode, count: int, encoding: str
) -> list[tuple[str, str]]:
    """Label and value of each fact on a clip's slate card; a value may be empty. `first` is of the clip's first frame."""
    shown = {name: fields.get(name, "") for name in CARD_FIELDS}
    scene = ", take ".join(text for text in (shown["scene"], shown["take"]) if text)
    shot = f", shot at {shown['capture_rate']}" if shown["capture_rate"] else ""
    grade = shown["grade"] if state == "graded" else "left out"
    return [
        ("Production", fields.get("day_title", "")),
        ("Reel", shown["reel"]),
        ("Camera", shown["camera"]),
        ("Scene", scene),
        ("Date", shown["date"]),
        ("Timecode", f"{first} to {first + (count - 1)}"),
        ("Length", f"{count} frames at {first.rate}{shot}"),
        ("Encoding", encoding),
        ("Look", shown["look"]),
        ("Grade", "" if grade in shown["look"] else grade),
        ("Recipe", shown["recipe"]),
        ("Note", shown["note"]),
    ]
