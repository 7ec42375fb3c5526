"""`rushlight check`, printed: what is wrong first, then the sums; or one JSON document."""

from __future__ import annotations

import sys
from pathlib import Path

from rushlight.batch.api.check import CheckResult, check
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.progress_line import ProgressLine
from rushlight.batch.terminal.terminal_or_log import is_terminal
from rushlight.pipelines.counted import counted

__all__ = ["show_check"]

MOST = 200  # lines of one verdict; all stand in --json
PROCEDURE = "Keep to the production's own copy procedure."
OF_DELIVERY = f"A match proves that a file is what was handed over, and nothing more; a delivery is no backup. {PROCEDURE}"
CAUTION = f"A match proves that a file is what the maker of the manifest saw, not that the card was complete. {PROCEDURE}"


def show_check(media: Path, *, manifest: Path | None, as_json: bool) -> int:
    """Check a folder. Exit code 1 unless all match."""
    line = ProgressLine("checking") if is_terminal(sys.stderr) and not as_json else None
    try:
        result = check(media, manifest=manifest, on_progress=line or (lambda progress: None))
    finally:
        if line:
            line.clear()
    if as_json:
        say_json(result.document())
    else:
        _print(result)
    return result.code


def _print(result: CheckResult) -> None:
    for each in result.manifests:
        if each.verdict != "intact":
            say_wrapped(f"MANIFEST {each.verdict}  {each.path}: {each.text}")
    for verdict in result.counts:
        if verdict == "matches" or result.verdict == "no manifest":
            continue
        found = [f for f in result.files if f.verdict == verdict]
        for file in found[:MOST]:
            word = verdict if verdict == "ignored" else verdict.upper()
            say_wrapped(f"{word}  {file.path}: {file.text}")
        if len(found) > MOST:
            say(f"... and {len(found) - MOST} more: --json has all")
    for note in result.notes:
        say_wrapped(f"note: {note}")
    say_wrapped(f"{result.media}: {_sums(result)}")
    said = result.verdict.upper() if result.code else result.verdict
    say_wrapped(f"{said}{f': {result.text}' if result.text else ''}")
    caution = OF_DELIVERY if result.delivery else CAUTION
    say_wrapped(caution if result.manifests else f"Nothing was compared, and nothing is proved. {PROCEDURE}")


def _sums(result: CheckResult) -> str:
    """The files in numbers, by verdict, and the manifests that they were held against."""
    matches, manifests = result.counts["matches"], len(result.manifests)
    if not manifests:
        return f"{counted(len(result.files), 'file')} and no manifest to hold them against"
    others = "".join(f", {n} {word}" for word, n in result.counts.items() if n and word != "matches")
    intact = sum(m.verdict == "intact" for m in result.manifests)
    match = f"{counted(matches, 'file')} {'matches' if matches == 1 else 'match'}"
    return f"{match}{others}; {intact} of {counted(manifests, 'manifest')} intact"
