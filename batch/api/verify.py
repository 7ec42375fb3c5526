"""`rushlight verify`: deliveries measured against the log, and the verdicts kept beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import read_log
from rushlight.batch.records.verdicts import VERDICTS, Verdicts
from rushlight.batch.report.kept_results import keep_verdicts
from rushlight.batch.report.pages import write_report
from rushlight.batch.verify.colour_check import Check
from rushlight.batch.verify.compare import against_references, compare
from rushlight.batch.verify.deliveries import ORDER, ClipVerdict
from rushlight.batch.verify.deliveries import verify as measure
from rushlight.pipelines.inside_folder import is_file

__all__ = ["Check", "ClipVerdict", "VerifyResult", "verify"]

CHECKS = ("frames", "timecode", "tags", "colour", "hash", "record")  # the last only where the log is damaged


@dataclass(frozen=True, kw_only=True)
class VerifyResult:
    """Verdicts on every delivered clip: "pass", "cannot tell", "warn" or "fail".

    `against` and `references` are None unless they were asked for. `not_reported` says why the report does not have
    these verdicts; empty where it has them.
    """

    measured: str  # when, as ISO 8601 in UTC
    clips: tuple[ClipVerdict, ...]
    notes: tuple[str, ...] = ()
    against: tuple[Mapping[str, Any], ...] | None = None
    references: tuple[Mapping[str, Any], ...] | None = None
    not_reported: str = ""

    @property
    def failed(self) -> tuple[ClipVerdict, ...]:
        return tuple(clip for clip in self.clips if clip.verdict == "fail")

    @property
    def counts(self) -> dict[str, int]:
        """Clips of each verdict, the best verdict first."""
        return {name: sum(clip.verdict == name for clip in self.clips) for name in ORDER}

    def document(self) -> dict[str, Any]:
        """The document that the command prints with `--json`."""
        document = verdicts_document(self)
        if self.notes:
            document["notes"] = list(self.notes)
        for name, rows in (("against", self.against), ("references", self.references)):
            if rows is not None:
                document[name] = list(rows)
        return document


def verdicts_document(result: VerifyResult) -> dict[str, Any]:
    """Verdicts as JSON: `clips[].checks {hash, frames, timecode, tags, colour}`, each with its figures."""

    def plain(check: Check) -> dict[str, Any]:
        return {"verdict": check.verdict, "text": check.text, **check.figures}

    return {
        "schema": VERDICTS,
        "measured": result.measured,
        "clips": [
            {
                "clip": v.clip,
                "job": v.job,
                "made": v.made,
                "decision": "supplied" if v.decided else "none",
                "verdict": v.verdict,
                "checks": {name: plain(v.checks[name]) for name in CHECKS if name in v.checks},
                "files": {
                    path: {name: plain(c) for name, c in checks.items()} for path, checks in v.files.items()
                },
            }
            for v in result.clips
        ],
        "counts": result.counts,
    }


def verify(
    dir: str | Path,
    *,
    no_hash: bool = False,
    against: str | Path | None = None,
    reference: str | Path | None = None,
    on_clip: Callable[[str], None] = lambda clip: None,
) -> VerifyResult:
    """Measure the deliveries of an output folder: frames, timecode, tags, colour.

    The verdicts are kept beside its log, and its report shows them. `against`: another render of the list, whose colour is
    compared. `reference`: a folder of frames taken from a monitor. `on_clip` is told each clip before it is measured.
    OptionError where a folder has no log.
    """
    folder = Path(dir)
    clips = tuple(measure(folder, hashes=not no_hash, on_clip=on_clip))
    measured = datetime.now(UTC).isoformat(timespec="seconds")
    notes = tuple(read_log(folder).notes)
    compared = tuple(compare(folder, Path(against))) if against else None
    looked_at = tuple(against_references(folder, Path(reference))) if reference else None
    return VerifyResult(
        measured=measured,
        clips=clips,
        notes=notes,
        against=compared,
        references=looked_at,
        not_reported=_keep(folder, VerifyResult(measured=measured, clips=clips)),
    )


def _keep(folder: Path, result: VerifyResult) -> str:
    """Keep the verdicts and bring the report up to date. Gives why that could not be done: it costs no verdict."""
    try:
        keep_verdicts(Verdicts.read(verdicts_document(result)), folder)
        if is_file(folder, "report/index.html"):
            write_report(folder)
    except Exception as error:
        return unexpected(folder, "making the report", error)
    return ""
