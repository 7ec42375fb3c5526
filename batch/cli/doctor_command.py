"""`rushlight doctor`: findings as they come, then the speeds as a table; or one document."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from rushlight.batch.api.doctor import Examination, Finding, Speed, doctor
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.terminal_or_log import is_terminal
from rushlight.batch.terminal.text_tables import print_table

__all__ = ["show_doctor"]

_MARKS = {"well": "well", "note": "NOTE", "in the way": "IN THE WAY"}


def show_doctor(folders: Sequence[Path], *, speed: bool, recipes: Sequence[str], as_json: bool) -> int:
    """The command. Gives 0 where nothing stands in the way, else 1."""
    if as_json:
        made = doctor(folders, speed=speed, recipes=recipes)
        say_json(made.document())
        return made.code
    made = doctor(folders, speed=speed, recipes=recipes, on_finding=_said, on_recipe=_going_on)
    _print_speeds(made)
    return made.code


def _said(found: Finding | Speed) -> None:
    if isinstance(found, Finding):
        advice = f"; {found.advice}" if found.advice else ""
        say_wrapped(f"{_MARKS[found.weight]:<11} {found.about}: {found.found}{advice}")


def _going_on(recipe: str) -> None:
    if is_terminal(sys.stderr):
        say(f"            speed of {recipe} …", error=True)


def _print_speeds(made: Examination) -> None:
    if not made.speeds:
        return
    say(f"\nSpeed with {made.cores} workers, of an original of 1920x1080 (ProRes 422, no sound):")
    rows = [
        [
            each.recipe,
            "" if each.frames_a_second is None else f"{each.frames_a_second:.0f}",
            "" if each.stills_seconds is None else f"{each.stills_seconds:.1f}",
        ]
        for each in made.speeds
    ]
    print_table(["recipe", "frames a second", "seconds of a core for a clip's stills"], rows)
    say("Originals of 3840x2160 take about four times as long; sound and hashes come on top.")
