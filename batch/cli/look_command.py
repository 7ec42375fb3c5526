"""`rushlight look`, printed: a table of codes after each layer, or one JSON document."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rushlight.batch.api.look import look
from rushlight.batch.cli.console import say, say_json
from rushlight.batch.cli.text_tables import print_table

__all__ = ["show_look"]


def show_look(
    clip_list: Path,
    clip: str,
    *,
    export: Path | None,
    size: int,
    plot: Path | None,
    as_json: bool,
    **options: Any,
) -> int:
    """The command. Gives the exit code."""
    document = look(clip_list, clip, export=export, size=size, plot=plot, **options).document()
    if as_json:
        say_json(document)
    else:
        _print(document)
    return 0


def _print(document: dict[str, Any]) -> None:
    say(f"{document['clip']}: {document['look']}")
    say(
        f"grade: {document['grade_reason']}"
        + (f" ({document['grade_source']})" if document["grade_source"] else "")
    )
    say(
        f"10-bit codes R G B after each layer; the file's levels are {document['levels']}, the display's narrow\n"
    )
    stages = list(next(iter(document["colours"].values()))["after"])
    rows = [
        [
            name,
            *(" ".join(f"{v:.0f}" for v in entry["after"][stage]["code"]) for stage in stages),
            f"{entry['nits']:.2f}",
        ]
        for name, entry in document["colours"].items()
    ]
    print_table(["colour", *stages, "cd/m2"], rows)
    for text in document["warnings"]:
        say(f"note: {text}")
    for what in ("export", "plot"):
        if what in document:
            say(f"written: {document[what]}")
