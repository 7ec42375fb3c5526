"""`rushlight look`, printed: a table of codes after each layer, or one JSON document."""

from __future__ import annotations

from pathlib import Path
from typing import Unpack

from rushlight.batch.api.look import LookResult, look
from rushlight.batch.api.requests import RequestOptions
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.text_tables import print_table

__all__ = ["show_look"]


def show_look(
    clip_list: Path,
    clip: str,
    *,
    export: Path | None,
    size: int,
    plot: Path | None,
    picture: Path | None,
    at: str,
    compare: str,
    output: str,
    as_json: bool,
    **options: Unpack[RequestOptions],
) -> int:
    """The command. Gives the exit code."""
    result = look(
        clip_list,
        clip,
        export=export,
        size=size,
        plot=plot,
        picture=picture,
        at=at,
        compare=compare,
        output=output,
        **options,
    )
    if as_json:
        say_json(result.document())
    else:
        _print(result)
    return 0


def _print(result: LookResult) -> None:
    say(f"{result.clip}: {result.look}")
    if result.output:
        say(
            f"shown by {result.output}" + (f", as {result.name}" if result.name else ", as the recipe's look")
        )
    say(f"grade: {result.grade_reason}" + (f" ({result.grade_source})" if result.grade_source else ""))
    say(f"10-bit codes R G B after each layer; the file's levels are {result.levels}, the display's narrow\n")
    stages = list(next(iter(result.colours.values()))["after"])
    rows = [
        [
            name,
            *(" ".join(f"{v:.0f}" for v in entry["after"][stage]["code"]) for stage in stages),
            f"{entry['nits']:.2f}",
        ]
        for name, entry in result.colours.items()
    ]
    print_table(["colour", *stages, "cd/m2"], rows)
    for text in result.warnings:
        say(f"note: {text}")
    for path in (result.export, result.plot, result.picture):
        if path:
            say(f"written: {path}")
