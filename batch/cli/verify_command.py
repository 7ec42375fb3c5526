"""`rushlight verify`, printed: verdicts for people in a table, or as one JSON document."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from rushlight.batch.api.requests import output_folders
from rushlight.batch.api.verify import (
    AloneClip,
    CheckVerdict,
    ComparedClip,
    Difference,
    ReferenceVerdict,
    VerifyResult,
    verify,
)
from rushlight.batch.records.verdicts import ClipVerdicts, counted_as
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted

__all__ = ["show_verify"]

NAMES = ("frames", "timecode", "tags", "colour", "sound", "hash")


def show_verify(
    folder: Path,
    *,
    no_hash: bool,
    against: Path | None,
    reference: Path | None,
    workers: int | None,
    as_json: bool,
) -> int:
    """Measure an output folder, or each of a day's. Exit code 1 if any clip fails."""
    folders = output_folders(folder)
    if len(folders) > 1 and not as_json:
        codes = []
        for each in folders:
            say(f"{each}:")
            codes.append(
                show_verify(
                    each,
                    no_hash=no_hash,
                    against=against,
                    reference=reference,
                    workers=workers,
                    as_json=False,
                )
            )
        return max(codes)
    progress = sys.stderr.isatty() and not as_json

    def on_clip(clip: str) -> None:
        if progress:
            say(f"measuring {clip}", error=True)

    result = verify(
        folder, no_hash=no_hash, against=against, reference=reference, workers=workers, on_clip=on_clip
    )
    if as_json:
        say_json(result.document())
    else:
        _print(result)
    if result.not_reported:
        say(f"rushlight: the report does not have these verdicts: {result.not_reported}", error=True)
    return 1 if result.failed else 0


def _print(result: VerifyResult) -> None:
    ranks = list(result.counts)  # the best verdict first
    clips = sorted(result.clips, key=lambda c: -ranks.index(_counted_as(result, c)))
    for clip in clips:
        for text in _damage(result, clip):
            say_wrapped(f"WARN  {clip.clip}: {text}")
        for name, check in clip.checks.items():
            if check.verdict != "pass":
                say_wrapped(f"{check.verdict.upper()}  {clip.clip}: {name}: {check.text}")
    names = [n for n in NAMES if n != "sound" or any("sound" in c.checks for c in clips)]
    rows = []
    for clip in clips:
        verdicts = (clip.checks[n].verdict if n in clip.checks else "-" for n in names)
        rows.append([clip.clip, *verdicts, _three(clip.checks.get("colour"))])
    print_table(["clip", *names, "CIEDE2000 mean / 95 % / worst"], rows)
    counts = Counter(_counted_as(result, clip) for clip in clips)
    bare = sum(_counted_as(result, c) == "pass" and c.decision == "none" for c in clips)
    without = f", {bare} without a decision match the show transform alone" if bare else ""
    said = (
        f"{counted(len(clips), 'clip')}: {counts['pass'] - bare} match the decision supplied{without}, "
        f"{counts['cannot tell']} cannot be told, {counts['warn']} with warnings, {counts['fail']} FAILED"
    )
    say_wrapped(said)
    for note in result.notes:
        say_wrapped(f"note: {note}")
    if result.against is not None:
        _print_against(result.against)
    if result.references is not None:
        _print_references(result.references)


def _damage(result: VerifyResult, clip: ClipVerdicts) -> Sequence[str]:
    """What is said of the damaged frames that a clip was delivered with."""
    return result.damaged.get((clip.folder, clip.job), ())


def _counted_as(result: VerifyResult, clip: ClipVerdicts) -> str:
    return counted_as(clip.verdict, _damage(result, clip))


def _print_against(rows: Sequence[ComparedClip | AloneClip]) -> None:
    print_table(
        [
            "clip",
            "against the other render",
            "patches mean / worst",
            "tiles mean / worst",
            "made differently",
        ],
        [[r.clip, r.verdict, _pair(r.patches), _pair(r.tiles), "; ".join(r.differences)] for r in rows],
    )
    if any(r.patches and r.differences for r in rows):
        say("Where rasters or codecs differ, the patches of the look and the tiles were compared.")


def _print_references(rows: Sequence[ReferenceVerdict]) -> None:
    print_table(
        ["reference frame", "timecode", "verdict", "mean", "worst", ""],
        [[Path(r.reference).name, r.timecode, r.verdict, _two(r.mean), _two(r.worst), r.text] for r in rows],
    )


def _two(figure: float | None) -> str:
    return "-" if figure is None else f"{figure:.2f}"


def _pair(figures: Difference | None) -> str:
    return f"{figures.mean:.2f} / {figures.worst:.2f}" if figures else "-"


def _three(check: CheckVerdict | None) -> str:
    if check is None or check.mean is None:
        return "-"
    return f"{_two(check.mean)} / {_two(check.p95)} / {_two(check.worst)}"
