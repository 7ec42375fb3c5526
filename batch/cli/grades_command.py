"""`rushlight grades`, printed: the clips and the files that were written."""

from __future__ import annotations

from pathlib import Path
from typing import Unpack

from rushlight.batch.api.grades import grades
from rushlight.batch.api.requests import RequestOptions, Undone
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import shortened

__all__ = ["show_grades"]


def show_grades(clip_list: Path, folder: Path, *, as_json: bool, **options: Unpack[RequestOptions]) -> int:
    """The command. Gives 0, or 1 where rows were set aside."""

    def on_set_aside(row: Undone) -> None:
        say(f"rushlight: {row.clip}: {row.error}", error=True)

    result = grades(clip_list, to=folder, on_set_aside=on_set_aside, **options)
    if as_json:
        say_json(result.document())
        return 1 if result.set_aside else 0
    print_table(
        ["clip", "reel", "from", "frames", "grade"],
        [
            [c.name, c.reel, str(c.start), str(c.frames), "CDL" if c.look.cdl else "none"]
            for c in result.clips
        ],
    )
    for text, clips in result.unsaid.items():
        few = shortened(clips, 3)
        say(f"AMF of {few}: {text}", error=True)
    kinds = ", ".join(sorted({f.suffix for f in result.files}))
    say(f"{len(result.files)} files in {result.folder}: {kinds}")
    return 1 if result.set_aside else 0
