"""`rushlight verify`, printed: verdicts for people in a table, or as one JSON document."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from rushlight.batch.api.verify import verify
from rushlight.batch.console import say, say_json, say_wrapped
from rushlight.batch.text_tables import print_table
from rushlight.pipelines.counted import counted

__all__ = ["show_verify"]

NAMES = ("frames", "timecode", "tags", "colour", "hash")


def show_verify(
    folder: Path, *, no_hash: bool, against: Path | None, reference: Path | None, as_json: bool
) -> int:
    """Measure an output folder. Exit code 1 if any clip fails."""
    progress = sys.stderr.isatty() and not as_json

    def on_clip(clip: str) -> None:
        if progress:
            say(f"measuring {clip}", error=True)

    result = verify(folder, no_hash=no_hash, against=against, reference=reference, on_clip=on_clip)
    document = result.document()
    if as_json:
        say_json(document)
    else:
        _print(document)
    if result.not_reported:
        say(f"rushlight: the report does not have these verdicts: {result.not_reported}", error=True)
    return 1 if result.failed else 0


def _print(result: dict[str, Any]) -> None:
    ranks = list(result["counts"])  # the best verdict first
    clips = sorted(result["clips"], key=lambda c: -ranks.index(c["verdict"]))
    for clip in clips:
        for name, check in clip["checks"].items():
            if check["verdict"] != "pass":
                say_wrapped(f"{check['verdict'].upper()}  {clip['clip']}: {name}: {check['text']}")
    rows = []
    for clip in clips:
        colour = clip["checks"].get("colour", {})
        figures = (
            f"{colour['mean']:.2f} / {colour['p95']:.2f} / {colour['worst']:.2f}" if "mean" in colour else "-"
        )
        rows.append([clip["clip"], *(clip["checks"].get(n, {}).get("verdict", "-") for n in NAMES), figures])
    print_table(["clip", *NAMES, "CIEDE2000 mean / 95 % / worst"], rows)
    counts = result["counts"]
    bare = sum(c["verdict"] == "pass" and c["decision"] == "none" for c in clips)
    without = f", {bare} without a decision match the show transform alone" if bare else ""
    said = (
        f"{counted(len(clips), 'clip')}: {counts['pass'] - bare} match the decision supplied{without}, "
        f"{counts['cannot tell']} cannot be told, {counts['warn']} with warnings, {counts['fail']} FAILED"
    )
    say_wrapped(said)
    for note in result.get("notes", ()):
        say_wrapped(f"note: {note}")
    if "against" in result:
        print_table(
            [
                "clip",
                "against the other render",
                "patches mean / worst",
                "tiles mean / worst",
                "made differently",
            ],
            [
                [r["clip"], r["verdict"], _pair(r["patches"]), _pair(r["tiles"]), "; ".join(r["differences"])]
                for r in result["against"]
            ],
        )
        if any(r["patches"] and r["differences"] for r in result["against"]):
            say("Where rasters or codecs differ, the patches of the look and the tiles were compared.")
    if "references" in result:
        print_table(
            ["reference frame", "timecode", "verdict", "mean", "worst", ""],
            [
                [
                    Path(r["reference"]).name,
                    r.get("timecode", ""),
                    r["verdict"],
                    "-" if r["mean"] is None else f"{r['mean']:.2f}",
                    "-" if r["worst"] is None else f"{r['worst']:.2f}",
                    r["text"],
                ]
                for r in result["references"]
            ],
        )


def _pair(figures: dict[str, float] | None) -> str:
    return f"{figures['mean']:.2f} / {figures['worst']:.2f}" if figures else "-"
