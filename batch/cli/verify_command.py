"""`rushlight verify`, printed: verdicts for people in a table, or as one JSON document."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from rushlight.batch.records.verdicts import ORDER, ClipVerdicts, counted_as
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
    rows = [row for clip in clips for row in _rows(clip, names, whole=_counted_as(result, clip) == "pass")]
    print_table(["clip", "output", *names, "CIEDE2000 mean/95%/worst"], rows)
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


def _rows(clip: ClipVerdicts, names: Sequence[str], *, whole: bool) -> Iterator[list[str]]:
    """A clip's rows of the table: one of all its outputs where the `whole` clip passes, else one an output."""
    outputs = _by_output(clip)
    if whole and len(outputs) > 1:
        seen = {output: checks["colour"] for output, checks in outputs.items() if "colour" in checks}
        largest = max(seen, key=lambda output: _size(seen[output]), default="")
        figures = _three(seen.get(largest))
        yield [
            clip.clip,
            f"all {len(outputs)}",
            *_verdicts(clip.checks, names),
            f"{largest} {figures}" if largest and figures != "-" else figures,
        ]
        return
    for output, checks in sorted(outputs.items(), key=lambda pair: -_worst(pair[1].values())):
        yield [clip.clip, output, *_verdicts(checks, names), _three(checks.get("colour"))]


def _verdicts(checks: Mapping[str, CheckVerdict], names: Sequence[str]) -> list[str]:
    return [checks[name].verdict if name in checks else "-" for name in names]


def _by_output(clip: ClipVerdicts) -> dict[str, dict[str, CheckVerdict]]:
    """The worst of each check by output, whose name begins the paths of its files; of a clip without any by "-"."""
    found: dict[str, dict[str, CheckVerdict]] = {}
    for path, checks in clip.files.items():
        ours = found.setdefault(path.partition("/")[0], {})
        for name, check in checks.items():
            ours[name] = max(ours.get(name, check), check, key=lambda c: (ORDER[c.verdict], _size(c)))
    return found or {"-": dict(clip.checks)}


def _size(check: CheckVerdict) -> tuple[bool, float]:
    """By which colour checks are sorted: those in CIEDE2000 before those in codes, by their mean."""
    return check.unit == "CIEDE2000", check.mean or 0.0


def _worst(checks: Iterable[CheckVerdict]) -> int:
    return max((ORDER[check.verdict] for check in checks), default=0)


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
    unit = "" if check.unit in ("", "CIEDE2000") else f" {check.unit}"
    return f"{_two(check.mean)}/{_two(check.p95)}/{_two(check.worst)}{unit}"
