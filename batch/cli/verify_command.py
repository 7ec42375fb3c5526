"""`rushlight verify`, printed: verdicts for people in a table, or as one JSON document."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rushlight.batch.console import say, say_json, say_wrapped
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import read_log
from rushlight.batch.report.kept_results import VERDICTS, keep_verdicts
from rushlight.batch.text_tables import print_table
from rushlight.batch.verify.compare import against_references, compare
from rushlight.batch.verify.deliveries import ORDER, ClipVerdict, verify
from rushlight.pipelines.inside_folder import is_file

__all__ = ["show_verify"]

NAMES = ("frames", "timecode", "tags", "colour", "hash")
EVERY = (*NAMES, "record")  # the last only where the log itself is damaged


def document(verdicts: list[ClipVerdict]) -> dict[str, Any]:
    """Verdicts as JSON: `clips[].checks {hash, frames, timecode, tags, colour}`, each with its figures."""

    def check(found: Any) -> dict[str, Any]:
        return {"verdict": found.verdict, "text": found.text, **found.figures}

    return {
        "schema": VERDICTS,
        "measured": datetime.now(UTC).isoformat(timespec="seconds"),
        "clips": [
            {
                "clip": v.clip,
                "job": v.job,
                "made": v.made,
                "decision": "supplied" if v.decided else "none",
                "verdict": v.verdict,
                "checks": {name: check(v.checks[name]) for name in EVERY if name in v.checks},
                "files": {
                    path: {name: check(c) for name, c in checks.items()} for path, checks in v.files.items()
                },
            }
            for v in verdicts
        ],
        "counts": {name: sum(v.verdict == name for v in verdicts) for name in ORDER},
    }


def show_verify(
    folder: Path, *, hashes: bool, against: Path | None, references: Path | None, as_json: bool
) -> int:
    """Measure an output folder. Exit code 1 if any clip fails."""
    progress = sys.stderr.isatty() and not as_json

    def on_clip(clip: str) -> None:
        if progress:
            say(f"measuring {clip}", error=True)

    verdicts = verify(folder, hashes=hashes, on_clip=on_clip)
    result = document(verdicts)
    if notes := read_log(folder).notes:
        result["notes"] = notes
    if against:
        result["against"] = compare(folder, against)
    if references:
        result["references"] = against_references(folder, references)
    if as_json:
        say_json(result)
    else:
        _print(result)
    _keep(folder, {k: v for k, v in result.items() if k not in ("against", "references", "notes")})
    return 1 if any(v.verdict == "fail" for v in verdicts) else 0


def _keep(folder: Path, found: dict[str, Any]) -> None:
    """Keep the verdicts beside the log and bring the report up to date. A folder that cannot be written costs nothing."""
    try:
        keep_verdicts(found, folder)
        if is_file(folder, "report/index.html"):
            from rushlight.batch.report.pages import write_report

            write_report(folder)
    except Exception as error:
        text = unexpected(folder, "making the report", error)
        say(f"rushlight: the report does not have these verdicts: {text}", error=True)


def _print(result: dict[str, Any]) -> None:
    clips = sorted(result["clips"], key=lambda c: -ORDER[c["verdict"]])
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
        f"{len(clips)} clip(s): {counts['pass'] - bare} match the decision supplied{without}, "
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
